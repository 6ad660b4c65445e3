from decimal import Decimal

import pytest

from inventory.threads import (
    Thread,
    ThreadError,
    basic,
    insert_hole,
    insert_hole_depth,
    insert_hole_tap_major,
    percent_of_thread,
    read,
    series,
)
from inventory.threads.published import table


def test_the_hole_keeps_size_pitch_and_hand_of_the_bolt() -> None:
    assert insert_hole(read("M14x1.5 LH").thread) == read("EG M14x1.5 LH").thread
    assert insert_hole(read("5/16-18 UNC").thread) == read("STI 5/16-18").thread


def test_a_hole_is_no_bolt_and_has_no_insert_hole_of_its_own() -> None:
    with pytest.raises(ThreadError) as refused:
        insert_hole(read("EG M14x1.5").thread)
    assert refused.value.reason.code == "thread_no_insert_hole"
    with pytest.raises(ThreadError) as refused:
        insert_hole_tap_major(read("M14x1.5").thread)
    assert refused.value.reason["thread"] == "M14x1.5"


def test_a_bush_finds_three_per_cent_of_thread_after_a_wire_insert_and_none_after_a_real_tap() -> None:
    """Trap: M16x1.5 in a hole that held an M14x1.5 wire insert."""
    bush, hole = read("M16x1.5").thread, insert_hole(read("M14x1.5").thread)
    assert Decimal(3) < percent_of_thread(bush, basic(hole).major, "5/8H") < Decimal("3.2")
    assert insert_hole_tap_major(hole).tap_min > bush.major_mm


def test_sizes_below_the_least_insert_have_no_insert_hole() -> None:
    for typed in ("M1.6", "#0-80"):
        with pytest.raises(ThreadError) as refused:
            insert_hole(read(typed).thread)
        assert refused.value.reason.code == "thread_no_insert_hole"


def test_every_printed_tap_stands_over_its_basic_major_by_the_fitted_allowance() -> None:
    """The fit is what serves where no row is printed: it must agree with all rows that are."""
    for row in table("asme_b94_9").rows:
        thread = Thread.from_key(row["key"])
        printed = insert_hole_tap_major(thread)
        assert not printed.computed
        twin = Thread(thread.system, thread.nominal + 127_000, thread.pitch)
        fitted = insert_hole_tap_major(twin)
        assert fitted.computed
        for side in ("tap_min", "tap_max"):
            rise = getattr(printed, side) - printed.basic
            assert abs(rise - (getattr(fitted, side) - fitted.basic)) <= Decimal("0.006"), row


def test_a_left_hand_hole_takes_the_printed_row_of_its_twin() -> None:
    hole = read("EG M14x1.5").thread
    assert insert_hole_tap_major(hole.mirrored()) == insert_hole_tap_major(hole)


def test_every_insert_hole_has_a_largest_tap_above_its_basic_major() -> None:
    for system in ("EG-M", "STI-UN"):
        for thread in series(system):
            found = insert_hole_tap_major(thread)
            assert found.basic < found.tap_min < found.tap_max


@pytest.mark.parametrize(
    ("typed", "length", "bottoming", "drilled"),
    [("M10x1.25", "15", True, "20"), ("M10x1.25", "10", True, "15"), ("M10x1.25", "10", False, "17.5")],
)
def test_the_depths_of_a_blind_m10x1_25_hole(typed: str, length: str, bottoming: bool, drilled: str) -> None:
    rule = insert_hole_depth(read(typed).thread, Decimal(length), bottoming)
    assert rule.drill_depth == Decimal(drilled)
    assert sum(part for _, part in rule.parts) == rule.drill_depth
    assert not rule.computed


def test_only_a_plug_tap_up_to_8_mm_has_a_point_to_make_room_for() -> None:
    codes = {
        (typed, bottoming): [code for code, _ in insert_hole_depth(read(typed).thread, Decimal(8), bottoming).parts]
        for typed in ("M8", "M10")
        for bottoming in (True, False)
    }
    assert {key for key, parts in codes.items() if "tap_point" in parts} == {("M8", False)}


def test_the_rule_for_inch_sizes_is_marked_as_taken_from_metric() -> None:
    rule = insert_hole_depth(read("5/16-18").thread, Decimal("11.906"), bottoming=False)
    assert rule.computed
    assert "metric rule" in rule.source


def test_an_insert_of_no_length_is_refused() -> None:
    with pytest.raises(ValueError, match="length"):
        insert_hole_depth(read("M8").thread, Decimal(0), bottoming=True)
