import contextlib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.threads import (
    DrillError,
    Thread,
    drills_in,
    internal_limits,
    percent_of_thread,
    read,
    read_drill,
    series,
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
    assert tap_drill(read("9/16-18").thread).name == "33/64 in"


def test_a_tap_drill_says_where_it_comes_from() -> None:
    assert tap_drill(read("M10").thread).source == "ISO 2306:1972"
    assert "D - P" in tap_drill(read("M30").thread).source
    assert "75 %" in tap_drill(read("7/8-9").thread).source
    assert "middle" in tap_drill(read("EG M14x1.5").thread).source
    assert tap_drill(M16.mirrored()) == tap_drill(M16)


def _some_drill_fits(thread: Thread) -> bool:
    limits = internal_limits(thread)
    return bool(drills_in(int(limits.minor_min * 1_000_000), int(limits.minor_max * 1_000_000)))


def test_a_tap_drill_by_rule_lies_inside_the_default_class() -> None:
    for system in ("M", "UN", "EG-M", "STI-UN"):
        for thread in series(system):
            if thread.nominal > 20_000_000 and not _some_drill_fits(thread):
                continue  # over 20 mm drills stand too far apart for the finest pitches
            drill = tap_drill(thread)
            limits = internal_limits(thread)
            outside = not limits.minor_min <= drill.mm <= limits.minor_max
            assert not outside or thread in {read("9/16-18").thread, read("5/8-18").thread}


def test_no_standard_drill_for_a_window_between_two_is_said() -> None:
    with pytest.raises(DrillError) as refused:
        tap_drill(Thread("EG-M", 60_000_000, 350_000))
    assert refused.value.reason.code == "drill_none_fits"
    assert refused.value.reason["least_nm"] < refused.value.reason["most_nm"]
