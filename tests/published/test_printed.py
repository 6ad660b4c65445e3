"""Limits and basic sizes as public tables print them, row by row, beside the cases of `geometry.json`."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from inventory.threads import basic, limits_of_class, read, stress_area
from inventory.threads.profiles import FORMS
from inventory.threads.thread import series

INCH = Decimal("25.4")


def rows(name: str) -> list[dict[str, str]]:
    lines = (Path(__file__).parent / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("# ")))


@pytest.mark.parametrize(
    "row", rows("printed_limits.csv"), ids=lambda row: f"{row['thread']} {row['class']} {row['what']}"
)
def test_a_printed_limit_is_met_to_its_last_place(row: dict[str, str]) -> None:
    assert_met(row)


@pytest.mark.parametrize(
    "row", rows("remembered_limits.csv"), ids=lambda row: f"{row['thread']} {row['class']} {row['what']}"
)
def test_a_limit_agrees_with_what_is_remembered_of_its_table(row: dict[str, str]) -> None:
    """From memory, every row: should one differ, the standard is to be looked up, not the formula bent."""
    assert_met(row)


def assert_met(row: dict[str, str]) -> None:
    scale = INCH if row["unit"] == "in" else Decimal(1)
    limits = limits_of_class(read(row["thread"]).thread, row["class"])
    found = [getattr(limits, f"{row['what']}_{end}") / scale for end in ("min", "max")]
    assert found == [Decimal(row["least"]), Decimal(row["most"])], row["source"]


@pytest.mark.parametrize("row", rows("stress_areas.csv"), ids=lambda row: row["thread"])
def test_a_printed_stress_area_is_met_to_its_last_place(row: dict[str, str]) -> None:
    """Rows that say so are from memory."""
    printed, scale = Decimal(row["area"]), INCH * INCH if row["unit"] == "in2" else Decimal(1)
    found = stress_area(read(row["thread"]).thread) / scale
    last = Decimal(1).scaleb(int(printed.as_tuple().exponent))
    places = last.scaleb(max(0, printed.adjusted() - 2)) if row["unit"] == "mm2" else last
    assert abs(found - printed) <= places / 2, row["source"]


@pytest.mark.parametrize("row", rows("printed_basics.csv"), ids=lambda row: row["thread"])
def test_a_printed_basic_size_is_met(row: dict[str, str]) -> None:
    scale = INCH if row["unit"] == "in" else Decimal(1)
    sizes = basic(read(row["thread"]).thread)
    for name, found in (("pitch_diameter", sizes.pitch_diameter), ("minor", sizes.minor_internal)):
        if row[name]:
            assert abs(found / scale - Decimal(row[name])) <= Decimal(row["tolerance"]), row["source"]


@pytest.mark.parametrize("system", ["BA", "G"])
def test_the_sizes_that_a_table_prints_follow_from_its_form(system: str) -> None:
    """A slip in a table of basic sizes would show: BS 93 rounds the depth to 0.005 mm, ISO 228-1 sizes to 0.001."""
    form, rounding = (FORMS["ba"], Decimal("0.0025")) if system == "BA" else (FORMS["whitworth"], Decimal("0.0011"))
    for thread in series(system):
        sizes, depth = basic(thread), form.pitch * thread.pitch_mm
        assert abs(sizes.major - depth - sizes.pitch_diameter) <= rounding, thread
        assert abs(sizes.major - 2 * depth - sizes.minor_internal) <= 2 * rounding, thread


def test_the_pitches_of_ba_are_powers_of_nine_tenths() -> None:
    """k BA has a pitch of 0.9^k mm and a diameter of 6 p^1.2 mm, each to two figures (from memory of BS 93 annex A)."""
    for number, thread in enumerate(reversed(series("BA"))):
        assert thread.size == str(number)
        assert thread.pitch_mm == round(Decimal("0.9") ** number, 2)
        size = 6 * Decimal("0.9") ** (number * Decimal("1.2"))
        assert abs(thread.nominal_mm - size) <= (Decimal("0.05") if size >= 1 else Decimal("0.005")), thread
