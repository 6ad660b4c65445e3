"""Stock counts: bins counted by several people, blind or beside the book, judged line by line, posted in one act.

What somebody finds is an entry, kept with what the book said at that moment: stock may move while a count is open, and
what is posted is the *difference* that was found then, so that a later issue stands. A line is right where found equals
book. People who found different differences are both shown, and somebody decides; the last one never wins unseen.

A line is told to be counted again where its difference would leave less than nothing, or where a unit that was found
elsewhere than the book has it has moved since. Whoever counts blind is shown nothing that the book says.
"""

from inventory.counting.bin_sheet import Row, Sheet, sheet
from inventory.counting.entering import Finding, enter, locked_count, start
from inventory.counting.figures import Accuracy, accuracy, accuracy_of
from inventory.counting.judging import Judged, Review, Voice, review
from inventory.counting.listing import (
    Place,
    bins_to_count,
    closed_counts,
    count_by_id,
    count_of_bin,
    next_place,
    open_counts,
    places,
    posted_lines,
    sites,
)
from inventory.counting.posting import PostRefused, abandon, ask_again, decide, post

__all__ = [
    "Accuracy",
    "Finding",
    "Judged",
    "Place",
    "PostRefused",
    "Review",
    "Row",
    "Sheet",
    "Voice",
    "abandon",
    "accuracy",
    "accuracy_of",
    "ask_again",
    "bins_to_count",
    "closed_counts",
    "count_by_id",
    "count_of_bin",
    "decide",
    "enter",
    "locked_count",
    "next_place",
    "open_counts",
    "places",
    "post",
    "posted_lines",
    "review",
    "sheet",
    "sites",
    "start",
]
