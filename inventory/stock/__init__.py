"""The stock: where things stand and who has them, every change through the ledger.

Each act writes exactly one movement and the balance that follows from it, in one transaction. A balance never
goes below zero: what cannot be is refused with the numbers. What was lost, though, is always recorded, and
where less is left than is held, the same act cuts the holds short that start last.
"""

from inventory.stock.agreement import disagreements
from inventory.stock.batches import (
    adjust_batch,
    batch_by_id,
    batch_of,
    batch_short,
    count_batch,
    give_back_batch,
    issue_batch,
    receive_batch,
    scrap_batch,
)
from inventory.stock.ledger import AT_HAND, GONE, Entry, Explained, aware, movements, used_for
from inventory.stock.places import (
    add_bin,
    add_person,
    bin_at,
    bin_named,
    people_names,
    person,
    site,
    site_names,
    unit_counts,
)
from inventory.stock.shelf import distinct_threads, lines
from inventory.stock.units import (
    find_unit,
    give_back_unit,
    issue_unit,
    lend_unit,
    lose_unit,
    receive_unit,
    return_unit,
    scrap_unit,
    send_unit,
    tag_taken,
    unit_by_tag,
    unit_held,
    use_unit,
    worn,
)

__all__ = [
    "AT_HAND",
    "GONE",
    "Entry",
    "Explained",
    "add_bin",
    "add_person",
    "adjust_batch",
    "aware",
    "batch_by_id",
    "batch_of",
    "batch_short",
    "bin_at",
    "bin_named",
    "count_batch",
    "disagreements",
    "distinct_threads",
    "find_unit",
    "give_back_batch",
    "give_back_unit",
    "issue_batch",
    "issue_unit",
    "lend_unit",
    "lines",
    "lose_unit",
    "movements",
    "people_names",
    "person",
    "receive_batch",
    "receive_unit",
    "return_unit",
    "scrap_batch",
    "scrap_unit",
    "send_unit",
    "site",
    "site_names",
    "tag_taken",
    "unit_by_tag",
    "unit_counts",
    "unit_held",
    "use_unit",
    "used_for",
    "worn",
]
