from decimal import Decimal

import pytest

from inventory.threads import Thread, compare, covered, look_alikes, read, series
from inventory.wording import say

EVERYTHING = covered()


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("M14x1.5", "9/16-18 UNF"),
        ("M8x1", "5/16-24 UNF"),
        ("M5x0.8", "#10-32 UNF"),
        ("M14x1.5", "M14x1.25"),
        ("M16x1.5", "EG M14x1.5"),
        ("M14x1.5", "EG M12x1.5"),
        ("M5x0.8", "2 BA"),
        ("#10-32 UNF", "2 BA"),
        ("M10x1.25", "3/8-20 BSF"),
        ("M6x1", "0 BA"),
        ("1/4-20 UNC", "1/4-20 BSW"),
        ("3/8-16 UNC", "3/8-16 BSW"),
        ("1/2-13 UNC", "1/2-12 BSW"),
        ("1/4-26 BSF", "1/4-26 cycle"),
        ("1/4-26 BSF", "1/4-26 brass"),
    ],
)
def test_the_known_twins_come_out_from_both_sides(one: str, other: str) -> None:
    """The look-alikes that the trade warns of, from one side and from the other."""
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


def test_every_whitworth_size_is_a_look_alike_of_the_unified_one_of_equal_pitch() -> None:
    unified = {(thread.nominal, thread.pitch): thread for thread in series("UN")}
    pairs = [(thread, unified[key]) for thread in series("BSW") if (key := (thread.nominal, thread.pitch)) in unified]
    assert len(pairs) > 10
    for british, american in pairs:
        reasons = {twin.thread: twin.reason for twin in look_alikes(british, series("UN"))}
        assert reasons[american].code == "look_alike_angle"
        assert (reasons[american]["angle"], reasons[american]["other_angle"]) == ("55", "60")


@pytest.mark.parametrize(
    ("one", "other", "code", "data"),
    [
        ("1/4-26 BSF", "1/4-26 brass", "look_alike_same", {}),
        ("1/4-26 BSF", "1/4-26 cycle", "look_alike_angle", {"angle": "55", "other_angle": "60"}),
        ("M16x1.5", "EG M14x1.5", "look_alike_size", {"difference_nm": 51_000}),
        (
            "M14x1.5",
            "9/16-18 UNF",
            "look_alike_pitch",
            {
                "turns": "4",
                "pitch_difference_nm": 88_889,
                "difference_nm": 287_500,
            },
        ),
        (
            "M14x1.5",
            "M14x1.25",
            "look_alike_other_pitch",
            {"turns": "1.3", "pitch_difference_nm": 250_000},
        ),
        (
            "M6x1",
            "0 BA",
            "look_alike_angle",
            {"angle": "60", "other_angle": "47.5"},
        ),
        (
            "M10x1.25",
            "3/8-20 BSF",
            "look_alike_pitch",
            {
                "turns": "15.6",
                "pitch_difference_nm": 20_000,
                "difference_nm": 475_000,
                "angle": "60",
                "other_angle": "55",
            },
        ),
    ],
)
def test_a_fitter_is_told_what_will_happen(one: str, other: str, code: str, data: dict[str, object]) -> None:
    reason = compare(read(one).thread, read(other).thread).reason
    names = {"thread": one, "other": other}
    assert (reason.code, dict(reason.data)) == (code, names | data)


def test_look_alikes_are_mutual() -> None:
    for thread in (*series("BSF"), *series("BA"), *series("G")):
        for twin in look_alikes(thread, EVERYTHING):
            assert thread in {back.thread for back in look_alikes(twin.thread, [thread])}


def test_every_look_alike_of_every_thread_has_a_sentence_without_gaps() -> None:
    for thread in EVERYTHING[::9]:
        for twin in look_alikes(thread, EVERYTHING):
            sentence = say(twin.reason)
            assert twin.thread.designation in sentence
            assert "nothing entered" not in sentence
