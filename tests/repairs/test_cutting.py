"""How fast each tool is run and fed: steps of the spindle, units, the metal, and what is told of it."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import Reason
from inventory.threads.published import table
from repairs import cutting
from repairs.cutting import (
    FOOT,
    MAGNESIUM_UNDER,
    OPERATIONS,
    PUBLISHED,
    WATER_MIXED,
    cutting_speed,
    feed,
    lubricant,
    magnesium_most,
    published,
    slower_grades,
    speed,
    step_down,
    tap_torque,
    tap_torque_by_pitch,
    told,
    turns,
)
from repairs.methods.values import MATERIALS
from repairs.wording import say

MM = 1_000_000
STEPS = (80, 150, 250, 400, 630, 1000, 1600, 2500)
cuts = st.tuples(st.sampled_from(OPERATIONS), st.sampled_from(list(MATERIALS)))
diameters = st.integers(min_value=MM, max_value=120 * MM)
spindles = st.lists(st.integers(min_value=20, max_value=6000), max_size=9, unique=True).map(sorted).map(tuple)


def found_at(operation: str, material: str, diameter: int, spindle: tuple[int, ...] = ()) -> cutting.Speed:
    found = speed(operation, material, diameter, spindle)
    assert found is not None
    return found


def codes(reasons: tuple[Reason, ...]) -> list[str]:
    return [reason.code for reason in reasons]


# Steps of the spindle


@pytest.mark.parametrize(
    ("least", "most", "chosen"),
    [
        (480, 1100, 630),  # the slowest within, not the fastest
        (630, 630, 630),
        (631, 999, 630),  # none within: the next below, never the nearer one above
        (629, 629, 400),
        (80, 90, 80),
        (10, 79, None),  # even the slowest is too fast
        (3000, 4000, 2500),
    ],
)
def test_a_window_is_rounded_down_to_a_step(least: int, most: int, chosen: int | None) -> None:
    assert step_down(least, most, STEPS) == chosen
    assert step_down(least, most, STEPS[::-1]) == chosen, "the order of the steps says nothing"


def test_a_stepless_spindle_takes_the_lower_end_floored() -> None:
    found = found_at("drill", "cast_aluminium", 14_500_000)
    assert found.chosen == found.least_rpm == 1338
    assert 1338 < turns(200 * FOOT, Decimal("14.5")) < 1339


@given(cut=cuts, diameter=diameters, spindle=spindles)
def test_what_is_set_is_a_step_and_never_above_the_window(
    cut: tuple[str, str], diameter: int, spindle: tuple[int, ...]
) -> None:
    operation, material = cut
    found = found_at(operation, material, diameter, spindle)
    assert found.least_rpm <= found.most_rpm
    assert cutting_speed(found.most_rpm, Decimal(diameter) / MM) <= found.most, "floored, so never over the speed"
    if found.chosen is None:
        assert min(spindle) > found.most_rpm
    else:
        assert found.chosen <= found.most_rpm
        assert not spindle or found.chosen in spindle


@given(cut=cuts, one=diameters, other=diameters, spindle=spindles)
def test_a_larger_tool_never_runs_faster(cut: tuple[str, str], one: int, other: int, spindle: tuple[int, ...]) -> None:
    operation, material = cut
    small = found_at(operation, material, min(one, other), spindle)
    large = found_at(operation, material, max(one, other), spindle)
    assert large.most_rpm <= small.most_rpm
    assert (large.chosen or 0) <= (small.chosen or 0)


def test_a_spindle_that_is_too_fast_is_said_so_and_nothing_is_set() -> None:
    settings, cautions = told("tap", "steel", 30 * MM, (400, 800))
    assert "cut_at" not in codes(settings)
    assert cautions[0].code == "cut_too_fast"
    assert cautions[0]["most_rpm"] == 161
    assert "161 rpm is the most, and the slowest step is 400" in say(cautions[0])


def test_a_step_below_the_window_says_so() -> None:
    settings, _ = told("drill", "steel", 14_500_000, STEPS)
    assert settings[0].code == "cut_below"
    assert (settings[0]["rpm"], settings[0]["least_rpm"], settings[0]["most_rpm"]) == (400, 468, 535)


# The tables


@pytest.mark.parametrize("operation", OPERATIONS)
@pytest.mark.parametrize("material", MATERIALS)
def test_every_parent_material_has_a_published_speed(operation: str, material: str) -> None:
    assert found_at(operation, material, 10 * MM).source


def test_where_tables_differ_by_a_factor_of_two_the_lower_one_counts() -> None:
    printed = {(row.least / FOOT, row.most / FOOT) for row in published("tap", "grey_iron") if row.scope == "any"}
    assert printed == {(30, 60), (50, 100)}
    found = found_at("tap", "grey_iron", 16 * MM)
    assert (found.least / FOOT, found.most / FOOT) == (30, 60)
    assert "merchant" in found.source


@pytest.mark.parametrize(
    ("material", "least", "most"),
    [("cast_aluminium", 200, 300), ("wrought_aluminium", 200, 300), ("grey_iron", 70, 150), ("steel", 70, 80)],
)
def test_drills_begin_with_the_navy_manuals_figures(material: str, least: int, most: int) -> None:
    found = found_at("drill", material, 12_700_000)
    assert (found.least, found.most) == (least * FOOT, most * FOOT)
    assert found.source.startswith("NAVEDTRA 14345")
    assert found.how == "read"


def test_a_window_runs_over_all_that_one_table_says_of_a_material() -> None:
    found = found_at("drill", "ductile_iron", 10 * MM)
    assert (found.least, found.most) == (70 * FOOT, 100 * FOOT)


def test_a_table_in_metres_is_not_taken_for_feet() -> None:
    """76 m/min in zinc; as feet it would be a third of that."""
    assert found_at("drill", "zinc", 10 * MM).least == 76
    assert found_at("drill", "zinc", 10 * MM).least_rpm == 2419


def test_a_seat_takes_its_share_of_the_drills_speed_at_its_own_diameter() -> None:
    drill, seat = (found_at(operation, "cast_aluminium", 22 * MM) for operation in ("drill", "seat"))
    assert (seat.least, seat.most) == (drill.least * Decimal("0.5"), drill.most * Decimal("0.85"))
    assert (seat.least_rpm, seat.most_rpm) == (441, 1124)
    assert seat.how == "rule"
    assert "rule of thumb" in seat.source
    assert "NAVEDTRA" in seat.source


def test_a_countersink_takes_a_quarter() -> None:
    drill, cone = (found_at(operation, "grey_iron", 20 * MM) for operation in ("drill", "countersink"))
    assert (cone.least * 4, cone.most * 4) == (drill.least, drill.most)


def test_slower_grades_are_told_the_fastest_first_and_faster_ones_not() -> None:
    grades = [grade for grade, _ in slower_grades("drill", "steel", 10 * MM)]
    assert grades == ["alloy steel", "stainless steel"]
    stainless = dict(slower_grades("drill", "steel", 10 * MM))["stainless steel"]
    assert (stainless.least, stainless.most) == (30 * FOOT, 40 * FOOT), "the lower of two tables"
    _, cautions = told("tap", "steel", 10 * MM, STEPS)
    assert [reason["grade"] for reason in cautions] == ["alloy steel", "tool steel", "stainless steel"]
    assert slower_grades("seat", "steel", 10 * MM)[1][1].most == 40 * FOOT * Decimal("0.85")
    assert slower_grades("tap", "wood", 10 * MM) == ()


@pytest.mark.parametrize("name", ["cutting_speeds", "lubricants"])
def test_every_row_names_its_source_and_how_it_is_known(name: str) -> None:
    for row in table(name, PUBLISHED).rows:
        assert row["source"], row
        assert row["clause"], row
        assert row["how"] in ("read", "rule"), row


def test_every_row_is_of_a_known_operation_scope_and_order() -> None:
    for row in table("cutting_speeds", PUBLISHED).rows:
        assert row["operation"] in OPERATIONS
        assert row["scope"] in ("any", "grade")
        assert row["grade"] or row["scope"] == "any", "a row for one grade names it"
        assert Decimal(0) < Decimal(row["least"]) <= Decimal(row["most"])


# Feed


@pytest.mark.parametrize(
    ("diameter", "least", "most"),
    [
        (3_175_000, "0.001", "0.002"),
        (3_175_001, "0.002", "0.004"),
        (6_350_000, "0.002", "0.004"),
        (12_700_000, "0.004", "0.007"),
        (14_500_000, "0.007", "0.015"),
        (30 * MM, "0.015", "0.025"),
    ],
)
def test_a_feed_follows_the_diameter_in_inches_a_turn(diameter: int, least: str, most: str) -> None:
    found = feed("grey_iron", diameter)
    assert found is not None
    assert (found.least / cutting.INCH, found.most / cutting.INCH) == (Decimal(least), Decimal(most))


def test_no_feed_below_the_table_or_for_an_unknown_material() -> None:
    assert feed("steel", 300_000) is None
    assert feed("wood", 10 * MM) is None
    assert feed("", 10 * MM) is None


def test_a_feed_is_told_for_drills_alone_and_in_both_units() -> None:
    settings, _ = told("drill", "grey_iron", 10 * MM, ())
    fed = next(reason for reason in settings if reason.code == "feed_at")
    assert (fed["least_nm"], fed["most_nm"]) == (101_600, 177_800)
    assert "0.0040 in" in say(fed, "in")
    for operation in ("seat", "countersink", "tap"):
        assert "feed_at" not in codes(told(operation, "grey_iron", 10 * MM, ())[0])


# Magnesium


@pytest.mark.parametrize("operation", OPERATIONS)
@given(diameter=diameters, spindle=spindles)
def test_magnesium_stays_under_700_feet_a_minute(operation: str, diameter: int, spindle: tuple[int, ...]) -> None:
    found = found_at(operation, "magnesium", diameter, spindle)
    assert found.most <= MAGNESIUM_UNDER
    if found.chosen is not None:
        assert cutting_speed(found.chosen, Decimal(diameter) / MM) < MAGNESIUM_UNDER


def test_a_faster_table_would_be_capped_in_magnesium_and_nowhere_else(monkeypatch: pytest.MonkeyPatch) -> None:
    def faster(operation: str, material: str) -> tuple[cutting.Published, ...]:
        return tuple(replace(row, least=600 * FOOT, most=1000 * FOOT) for row in published(operation, material))

    monkeypatch.setattr(cutting, "published", faster)
    capped, free = (found_at("drill", material, 10 * MM) for material in ("magnesium", "steel"))
    assert (capped.least, capped.most) == (600 * FOOT, 700 * FOOT)
    assert capped.most_rpm == magnesium_most(10 * MM) == 6791
    assert free.most == 1000 * FOOT


@pytest.mark.parametrize("operation", OPERATIONS)
def test_magnesium_brings_its_caution_and_no_water(operation: str) -> None:
    settings, cautions = told(operation, "magnesium", 16 * MM, STEPS)
    minded = cautions[-1]
    assert minded.code == "magnesium_cut"
    assert minded["most_rpm"] == 4244
    for words in ("never above 4244 rpm", "700 ft/min", "sharp tool", "no dwelling", "never with a water-mix"):
        assert words in say(minded)
    oil = next(reason for reason in settings if reason.code == "lubricant_is")
    assert not WATER_MIXED & set(oil["lubricants"])
    assert "Cutting fluid: dry, mineral oil, any one of the 2" in say(oil)
    assert "magnesium_cut" not in codes(told(operation, "steel", 16 * MM, STEPS)[1])


def test_magnesium_is_minded_even_where_the_diameter_is_not_known() -> None:
    _, cautions = told("drill", "magnesium", None, STEPS)
    assert codes(cautions) == ["cutting_diameter_missing", "magnesium_cut"]
    assert say(cautions[1]).startswith("Magnesium: a sharp tool")


# What is not known


@pytest.mark.parametrize("operation", OPERATIONS)
def test_an_unknown_material_is_not_checked(operation: str) -> None:
    assert speed(operation, "wood", 10 * MM, STEPS) is None
    assert lubricant(operation, "wood") is None
    settings, cautions = told(operation, "wood", 10 * MM, STEPS)
    assert codes(cautions) == ["cutting_not_checked", "cutting_not_checked"]
    assert [reason["what"] for reason in cautions] == ["speed", "lubricant"]
    assert codes(settings) == (["tap_by_hand"] if operation == "tap" else [])
    assert "not checked" in say(cautions[0])


def test_no_material_and_no_diameter_are_told_apart() -> None:
    assert codes(told("drill", "", 10 * MM, STEPS)[1]) == ["cutting_material_missing"]
    assert codes(told("drill", "steel", None, STEPS)[1]) == ["cutting_diameter_missing"]
    assert codes(told("drill", "steel", None, STEPS)[0]) == ["lubricant_is"]


def test_an_unknown_operation_finds_nothing() -> None:
    assert speed("ream", "steel", 10 * MM) is None
    assert lubricant("ream", "steel") is None


@pytest.mark.parametrize("material", ["zinc", "ductile_iron"])
def test_a_metal_whose_lubricant_nobody_published_says_so(material: str) -> None:
    settings, cautions = told("drill", material, 10 * MM, ())
    assert "cut_at" in codes(settings)
    assert cautions[-1].code == "cutting_not_checked"
    assert cautions[-1]["what"] == "lubricant"


@pytest.mark.parametrize("diameter", [0, -1])
def test_a_tool_of_no_diameter_is_refused(diameter: int) -> None:
    with pytest.raises(ValueError, match="cuts nothing"):
        speed("drill", "steel", diameter)


# Taps


def test_a_hand_tap_is_turned_back_half_a_turn_by_common_practice() -> None:
    settings, _ = told("tap", "bronze", 10 * MM, ())
    hand = next(reason for reason in settings if reason.code == "tap_by_hand")
    assert hand["source"] == "common practice, no source"
    assert "half a turn back after each turn" in say(hand)


def test_one_printed_figure_is_told_as_one() -> None:
    settings, _ = told("drill", "zinc", 10 * MM, ())
    assert "least_rpm" not in settings[0].data
    assert "the window is 2419 (" in say(settings[0])


@pytest.mark.parametrize(("diameter", "hole"), [("8", "8"), ("8", "8.5"), ("8", "0")])
def test_a_tap_that_cuts_nothing_or_all_is_refused(diameter: str, hole: str) -> None:
    with pytest.raises(ValueError, match="leaves a tap"):
        tap_torque(Decimal(diameter), Decimal(hole), force=1300)


@pytest.mark.parametrize(("pitch", "diameter"), [("0", "8"), ("1.25", "0")])
def test_a_thread_without_pitch_or_diameter_is_refused(pitch: str, diameter: str) -> None:
    with pytest.raises(ValueError, match="is none"):
        tap_torque_by_pitch(Decimal(pitch), Decimal(diameter), force=2500)


@given(st.decimals("6.1", "7.8", places=2), st.decimals("0.01", "0.19", places=2))
def test_a_tighter_hole_turns_harder(hole: Decimal, less: Decimal) -> None:
    loose, tight = (tap_torque(Decimal(8), each, force=1300) for each in (hole, hole - less))
    assert tight > loose
