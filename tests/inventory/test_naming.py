"""How an item is named: always with the size that tells it from others of its kind."""

import pytest

from inventory import naming
from inventory.kinds import Facts
from inventory.threads import read

INNER, OUTER = (read(text).thread.key for text in ("M14x1.5", "M18x1.5"))
MM = 1_000_000


def test_two_inserts_that_share_a_name_differ_by_their_length() -> None:
    one, other = (
        Facts(item=at, kind="insert", name="Wire insert", inner=INNER, thread=OUTER, insert_length=long * MM)
        for at, long in ((1, 14), (2, 21))
    )
    assert naming.named(one) == "Wire insert M14x1.5 in M18x1.5, 14 mm long"
    assert naming.named(other) == "Wire insert M14x1.5 in M18x1.5, 21 mm long"


@pytest.mark.parametrize(
    ("of", "words"),
    [
        (Facts(1, "final_gauge", "GO/NO GO plug", thread=OUTER, thread_class="6H"), "M18x1.5 6H"),
        (Facts(1, "seat_cutter", "seat cutter", diameter=22 * MM, pilot=15 * MM), "22 mm"),
        (Facts(1, "torque_wrench", torque_min=10_000, torque_max=60_000), "10 N·m to 60 N·m"),
        (Facts(1, "tap_wrench", takes_least=4 * MM, takes_most=9 * MM), "4 mm to 9 mm"),
        (Facts(1, "tap_wrench", takes_most=9 * MM), "to 9 mm"),
        (Facts(1, "adhesive", "anaerobic"), ""),
        (Facts(1, "tap", thread="not a key"), "not a key"),
    ],
)
def test_each_kind_is_named_by_what_tells_it_apart(of: Facts, words: str) -> None:
    assert naming.size(of) == words
    assert naming.named(of).endswith(words or "adhesive: anaerobic")


def test_a_reground_tool_is_named_by_what_it_cuts_now_and_in_the_reader_s_units() -> None:
    drill = Facts(1, "drill", "drill, HSS", diameter=14_500_000, usable_length=120 * MM)
    assert naming.named(drill, own_diameter=14_450_000) == "drill, HSS 14.45 mm, 120 mm usable"
    assert naming.named(drill, "in") == "drill, HSS 0.5709 in, 4.7244 in usable"
    assert naming.size(drill, both=True) == "14.5 mm (0.5709 in)"
