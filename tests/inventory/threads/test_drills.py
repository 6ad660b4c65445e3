import contextlib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.threads import (
    DrillError,
    Thread,
    ThreadError,
    classes,
    covered,
    drill_choices,
    drills_in,
    internal_limits,
    percent_of_thread,
    read,
    read_drill,
    tap_drill,
)

M16 = read("M16x1.5").thread


@pytest.mark.parametrize(
    ("typed", "diameter_nm", "name"),
    [
        ("14.5", 14_500_000, "14.5 mm"),
        ("15.5", 15_500_000, "15.5 mm"),
        ("14,5 mm", 14_500_000, "14.5 mm"),
        ("14.50MM", 14_500_000, "14.5 mm"),
        ("Ø 6.8", 6_800_000, "6.8 mm"),
        ("7", 7_000_000, "7 mm"),
        ("19/32", 15_081_250, "19/32 in"),
        ("19/32 in", 15_081_250, "19/32 in"),
        ('19/32"', 15_081_250, "19/32 in"),
        ("38/64", 15_081_250, "19/32 in"),
        ("1 1/16", 26_987_500, "1 1/16 in"),
        ("1-1/16 inch", 26_987_500, "1 1/16 in"),
        ("½", 12_700_000, "1/2 in"),
        ("1½ in", 38_100_000, "1 1/2 in"),
        ('0.610"', 15_494_000, "0.61 in"),
        (".610 in", 15_494_000, "0.61 in"),
        ("0.610", 610_000, "0.61 mm"),
        ("#7", 5_105_400, "#7"),
        ("No. 7", 5_105_400, "#7"),
        ("no 7", 5_105_400, "#7"),
        ("№7", 5_105_400, "#7"),
        ("#80", 342_900, "#80"),
        ("Q", 8_432_800, "Q"),
        ("letter q", 8_432_800, "Q"),
        ("q drill", 8_432_800, "Q"),
    ],
)
def test_a_drill_is_read_in_all_usual_spellings(typed: str, diameter_nm: int, name: str) -> None:
    drill = read_drill(typed)
    assert (drill.diameter_nm, drill.name) == (diameter_nm, name)


def test_the_caller_says_what_a_bare_number_means() -> None:
    assert read_drill("0.610", default_unit="in").diameter_nm == 15_494_000
    assert read_drill("14.5 mm", default_unit="in").diameter_nm == 14_500_000
    with pytest.raises(ValueError, match="unit"):
        read_drill("14.5", default_unit="furlong")


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("", "drill_empty"),
        ("  ", "drill_empty"),
        ("fourteen", "drill_unreadable"),
        ("14.5.1", "drill_unreadable"),
        ("-3", "drill_unreadable"),
        ("1/0", "drill_unreadable"),
        ("3" * 41, "drill_unreadable"),
        ("#81", "drill_unknown_name"),
        ("#0", "drill_unknown_name"),
        ("0", "drill_size_impossible"),
        ("900", "drill_size_impossible"),
        ("1/3", "drill_too_fine"),
        ("14.1234567", "drill_too_fine"),
    ],
)
def test_what_is_no_drill_is_refused_by_name(typed: str, code: str) -> None:
    with pytest.raises(DrillError) as refused:
        read_drill(typed)
    assert refused.value.reason.code == code


@given(st.text(max_size=45))
def test_no_text_raises_anything_but_a_drill_error(text: str) -> None:
    with contextlib.suppress(DrillError):
        assert read_drill(text).diameter_nm > 0


@pytest.mark.parametrize(
    ("typed", "inside", "per_cent"),
    [
        ("14.0", False, "123.17"),
        ("14.4", True, "98.53"),
        ("14.5", True, "92.38"),
        ("14.7", False, "80.06"),
        ("9/16", False, "105.46"),
    ],
)
def test_five_drills_against_the_window_of_m16x1_5(typed: str, inside: bool, per_cent: str) -> None:
    """Window 14.376 to 14.676 (ISO 965-1, 6H); rounding never crosses a limit: 14.676 is not 14.7."""
    limits, drill = internal_limits(M16), read_drill(typed)
    assert (limits.minor_min <= drill.mm <= limits.minor_max) is inside
    assert percent_of_thread(M16, drill.mm, "5/8H") == Decimal(per_cent)
    assert (drill.diameter_nm in {found.diameter_nm for found in drills_in(14_376_000, 14_676_000)}) is inside


def test_the_window_takes_both_ends_in_and_can_be_asked_for_some_series() -> None:
    found = drills_in(12_700_000, 13_000_000)
    assert [drill.name for drill in found] == ["1/2 in", "12.7 mm", "12.75 mm", "12.8 mm", "12.9 mm", "13 mm"]
    assert [drill.name for drill in drills_in(6_350_000, 6_350_000)] == ["1/4 in", "E"]
    assert [drill.name for drill in drills_in(6_300_000, 6_400_000, series=["letter"])] == ["E"]
    assert drills_in(2, 1) == ()
    with pytest.raises(ValueError, match="series"):
        drills_in(1, 2, series=["wood"])


def test_every_standard_drill_is_read_back_from_its_own_name() -> None:
    for drill in drills_in(0, 60_000_000):
        assert read_drill(drill.name).diameter_nm == drill.diameter_nm


def test_two_published_tap_drills_lie_a_hair_above_2b_and_are_given_all_the_same() -> None:
    """Machinery's Handbook 31 p.2168 against ASME B1.1: 0.0006 and 0.0001 in over."""
    for typed, drill, over in (("9/16-18", "33/64", "0.000625"), ("5/8-18", "37/64", "0.000125")):
        thread = read(typed).thread
        excess = read_drill(drill).mm - internal_limits(thread).minor_max
        assert excess == Decimal(over) * Decimal("25.4")
        assert tap_drill(thread).name == f"{drill} in"


def test_a_tap_drill_says_where_it_comes_from() -> None:
    assert tap_drill(read("M10").thread).source == "ISO 2306:1972"
    assert "D - P" in tap_drill(read("M36").thread).source
    assert "75 %" in tap_drill(read("7/8-9").thread).source
    assert "middle" in tap_drill(read("EG M14x1.5").thread).source
    assert "82 %" in tap_drill(read("3/8 cycle").thread).source
    assert tap_drill(M16.mirrored()) == tap_drill(M16)


def _some_drill_fits(thread: Thread) -> bool:
    limits = internal_limits(thread)
    return bool(drills_in(int(limits.minor_min * 1_000_000), int(limits.minor_max * 1_000_000)))


def test_a_tap_drill_by_rule_lies_inside_the_default_class() -> None:
    above = set()
    for thread in covered():
        if thread.nominal > 20_000_000 and not _some_drill_fits(thread):
            continue  # over 20 mm drills stand too far apart for the finest pitches
        drill, limits = tap_drill(thread), internal_limits(thread)
        if not limits.minor_min <= drill.mm <= limits.minor_max:
            above.add(thread.designation)
    assert above == {"9/16-18 UNF", "5/8-18 UNF", "G 1 1/2"}


def test_the_choices_for_a_window_tell_position_and_per_cent_on_every_basis_best_first() -> None:
    choices = drill_choices(M16)
    assert [choice.drill.name for choice in choices] == ["14.5 mm", "14.6 mm", "14.4 mm"]
    assert choices[0].flag == "published"
    assert choices[0].position == Decimal("0.413")
    assert (choices[0].percent_5_8, choices[0].percent_3_4) == (Decimal("92.38"), Decimal("76.98"))
    assert choices[0].percent_basic == choices[0].percent_5_8
    assert [choice.flag for choice in choices[1:]] == ["", ""]


def test_a_usual_drill_above_its_window_is_flagged_and_not_silently_refused() -> None:
    for typed, name in (("9/16-18 UNF", "33/64 in"), ("5/8-18 UNF", "37/64 in"), ("G 1 1/2", "45.5 mm")):
        last = drill_choices(read(typed).thread)[-1]
        assert (last.drill.name, last.flag) == (name, "published_above")
        assert 1 < last.position < Decimal("1.06")


def test_a_published_drill_below_a_lifted_window_is_flagged_too() -> None:
    assert drill_choices(M16, "6G")[0].flag == "published"
    below = drill_choices(read("M6x0.75").thread, "6G")[-1]
    assert (below.drill.name, below.flag) == ("5.2 mm", "published_below")
    assert below.position < 0


def test_without_a_published_drill_the_choices_stand_about_the_usual_one() -> None:
    thread = read("M36").thread
    assert drill_choices(thread)[0].drill.diameter_nm == tap_drill(thread).diameter_nm
    assert {choice.flag for choice in drill_choices(thread)} == {""}


def test_a_window_without_a_drill_has_no_choices() -> None:
    assert drill_choices(Thread("EG-M", 60_000_000, 350_000)) == ()


def test_a_published_drill_that_is_no_standard_step_is_a_choice_all_the_same() -> None:
    choice = drill_choices(read("G 1 3/4").thread)[0]
    assert (choice.drill.name, choice.flag) == ("51 mm", "published")


def test_choices_for_a_class_that_a_hole_does_not_have_are_refused() -> None:
    with pytest.raises(ThreadError):
        drill_choices(M16, "6g")


def test_every_choice_lies_inside_its_window_unless_its_flag_says_otherwise() -> None:
    for thread in covered():
        for name in classes(thread):
            for choice in drill_choices(thread, name):
                outside = choice.flag in ("published_above", "published_below")
                assert (0 <= choice.position <= 1) is not outside, (thread, choice)


def test_no_standard_drill_for_a_window_between_two_is_said() -> None:
    with pytest.raises(DrillError) as refused:
        tap_drill(Thread("EG-M", 60_000_000, 350_000))
    assert refused.value.reason.code == "drill_none_fits"
    assert refused.value.reason["least_nm"] < refused.value.reason["most_nm"]


@pytest.mark.parametrize(("typed", "usual"), [("M64", "58 mm"), ("M52x1.5", "50.5 mm"), ("M55x1.5", "53.5 mm")])
def test_large_threads_have_their_drill_too(typed: str, usual: str) -> None:
    # D - P (ISO 2306 practice); 50.5 and 53.5 mm are in nobody's rack and are named all the same
    thread = read(typed).thread
    assert tap_drill(thread).name == usual
    assert drill_choices(thread)[0].drill.name == usual
