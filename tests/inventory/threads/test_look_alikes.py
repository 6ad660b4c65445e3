from decimal import Decimal

import pytest

from inventory.threads import Thread, compare, look_alikes, read, series

EVERYTHING = [*series("M"), *series("UN"), *series("EG-M"), *series("STI-UN")]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("M14x1.5", "9/16-18 UNF"),
        ("M8x1", "5/16-24 UNF"),
        ("M5x0.8", "#10-32 UNF"),
        ("M14x1.5", "M14x1.25"),
        ("M16x1.5", "EG M14x1.5"),
    ],
)
def test_the_known_twins_come_out_from_both_sides(one: str, other: str) -> None:
    """The look-alikes of the trade that the covered systems hold."""
    first, second = read(one).thread, read(other).thread
    assert second in {found.thread for found in look_alikes(first, EVERYTHING)}
    assert first in {found.thread for found in look_alikes(second, EVERYTHING)}


def test_how_far_off_a_twin_is() -> None:
    twin = compare(read("M14x1.5").thread, read("9/16-18").thread)
    assert twin.diameter_difference_mm == Decimal("0.2875")
    assert twin.pitch_difference_mm == Decimal("-0.0889")
    assert twin.angle_difference == 0
    assert twin.turns_to_quarter_pitch == Decimal("4.0")


def test_equal_pitches_never_bind() -> None:
    assert compare(read("M16x1.5").thread, read("EG M14x1.5").thread).turns_to_quarter_pitch is None


def test_the_thread_itself_the_other_hand_and_far_threads_are_no_look_alikes() -> None:
    m14 = read("M14x1.5").thread
    assert look_alikes(m14, [m14, m14.mirrored(), read("M20x1.5").thread, read("M15x1").thread]) == ()


def test_another_pitch_of_the_same_size_always_counts() -> None:
    found = look_alikes(read("M14x1.5").thread, series("M"))
    assert {"M14x2", "M14x1.25", "M14x1"} <= {twin.thread.designation for twin in found}


def test_the_most_deceptive_comes_first_whatever_the_order_of_the_shelf() -> None:
    m5 = read("M5x0.8").thread
    shelf = [read("M5x0.5").thread, read("#10-32").thread]
    assert look_alikes(m5, shelf) == look_alikes(m5, reversed(shelf))
    assert look_alikes(m5, shelf)[0].thread == read("#10-32").thread


def test_left_hand_twins_are_found_among_left_hand_threads() -> None:
    found = look_alikes(read("M14x1.5 LH").thread, [read("9/16-18 LH").thread, read("9/16-18").thread])
    assert [twin.thread for twin in found] == [Thread("UN", 14_287_500, 36, "L")]
