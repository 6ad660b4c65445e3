"""Sizes as people type them, and as they are shown."""

from collections.abc import Callable
from contextlib import suppress
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import Refused
from inventory.quantities import (
    read_day,
    read_length,
    read_money,
    read_torque,
    show_length,
    show_money,
    show_torque,
    to_mm,
    to_nm,
)


@pytest.mark.parametrize(
    ("typed", "nm"),
    [
        ("15.5", 15_500_000),
        ("15,5", 15_500_000),
        ("15.5mm", 15_500_000),
        ("15.5 MM", 15_500_000),
        ("1.55 cm", 15_500_000),
        ("0.0155 m", 15_500_000),
        ("19/32 in", 15_081_250),
        ('19/32"', 15_081_250),
        ("19/32″", 15_081_250),
        ('0.610"', 15_494_000),
        (".610 inch", 15_494_000),
        ("610 thou", 15_494_000),
        ("1 1/8 in", 28_575_000),
        ('1-1/8"', 28_575_000),
        ("½ in", 12_700_000),
        ("1½ in", 38_100_000),
        ("1/64 in", 396_875),
        ("0.0001 in", 2_540),
        ("25 µm", 25_000),
        ("2 ft", 609_600_000),
    ],
)
def test_a_length_is_read_as_people_type_it(typed: str, nm: int) -> None:
    assert read_length(typed) == nm


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("", "length_empty"),
        ("  ", "length_empty"),
        ("long", "length_unreadable"),
        ("1.2.3", "length_unreadable"),
        ("1,234.5", "length_unreadable"),
        ("1/0 in", "length_unreadable"),
        ("nan", "length_unreadable"),
        ("9" * 50, "length_unreadable"),
        ("5 kg", "length_unit_unknown"),
        ("5 mm * 3", "length_unit_unknown"),
        ("5 x", "length_unit_unknown"),
        ("0", "length_not_positive"),
        ("-3", "length_not_positive"),
        ("−3 mm", "length_not_positive"),
        ("0.1 nm", "length_not_positive"),
        ("11 m", "length_absurd"),
        ("1/8", "length_fraction_without_unit"),
        ("1 1/8", "length_fraction_without_unit"),
    ],
)
def test_what_is_no_length_is_refused_by_name(typed: str, code: str) -> None:
    with pytest.raises(Refused) as refused:
        read_length(typed)
    assert refused.value.reason.code == code


def test_a_bare_fraction_is_an_inch_where_inches_are_what_is_asked() -> None:
    assert read_length("3/8", default_unit="in") == 9_525_000


@pytest.mark.parametrize(
    ("typed", "nmm"),
    [
        ("45", 45_000),
        ("45 N·m", 45_000),
        ("45Nm", 45_000),
        ("4500 N·cm", 45_000),
        ("45000 N·mm", 45_000),
        # 1 lbf·ft = 1.3558179483314004 N·m, from 0.45359237 kg, 0.3048 m and 9.80665 m/s² (all exact).
        ("100 ft-lb", 135_582),
        ("100 lbf·ft", 135_582),
        ("1200 in lbs", 135_582),
        ("10 kgf·m", 98_066),  # 98,066.5 exactly: half to even
        ("10 kgm", 98_066),
    ],
)
def test_a_torque_is_read_as_people_type_it(typed: str, nmm: int) -> None:
    assert read_torque(typed) == nmm


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("", "torque_empty"),
        ("tight", "torque_unreadable"),
        ("5 N", "torque_unit_unknown"),
        ("0", "torque_not_positive"),
        ("-1", "torque_not_positive"),
        ("200 kN·m", "torque_absurd"),
    ],
)
def test_what_is_no_torque_is_refused_by_name(typed: str, code: str) -> None:
    with pytest.raises(Refused) as refused:
        read_torque(typed)
    assert refused.value.reason.code == code


def test_money_is_whole_minor_units_and_never_rounded() -> None:
    assert [read_money(text) for text in ("12.50", "12,5", "EUR 7", "0")] == [1250, 1250, 700, 0]
    assert read_money("900", "JPY") == 900
    for typed, currency, code in (
        ("1.005", "EUR", "money_too_fine"),
        ("9.5", "JPY", "money_too_fine"),
        ("a lot", "EUR", "money_unreadable"),
        ("-1", "EUR", "money_unreadable"),
    ):
        with pytest.raises(Refused) as refused:
            read_money(typed, currency)
        assert refused.value.reason.code == code
    assert show_money(1250) == "EUR 12.50"
    assert show_money(5, "USD") == "USD 0.05"


def test_a_window_is_rounded_inward_and_never_across_its_limits() -> None:
    least, most = Decimal("14.3762345678"), Decimal("14.6761234567")
    assert to_mm(to_nm(least, "up")) >= least
    assert to_mm(to_nm(most, "down")) <= most
    assert show_length(14_676_000, rounding="down") == "14.676 mm (0.5777 in)"
    assert show_length(14_376_000, rounding="up") == "14.376 mm (0.5660 in)"


def test_what_is_there_is_never_shown_as_nothing() -> None:
    assert show_length(2_540) == "0.003 mm (0.0001 in)"
    assert show_length(400) == "0.0004 mm (0.0000 in)"
    assert show_length(0) == "0 mm (0.0000 in)"


def test_inches_come_first_where_they_are_asked_for() -> None:
    assert show_length(15_081_250, "in") == "0.5938 in (15.081 mm)"
    assert show_torque(135_582, "in") == "100 lbf·ft (135.582 N·m)"


@given(st.integers(min_value=1, max_value=10_000_000_000))
def test_a_length_written_in_full_is_read_back_exactly(nm: int) -> None:
    assert read_length(f"{to_mm(nm):f} mm") == nm
    assert to_nm(to_mm(nm)) == nm


@pytest.mark.parametrize("reader", [read_length, read_torque, read_money])
@given(text=st.text(max_size=60) | st.text(alphabet="0123456789.,/ -½inm\"Nlb'", max_size=12))
def test_no_text_raises_anything_but_a_refusal(reader: Callable[[str], int], text: str) -> None:
    with suppress(Refused):
        assert reader(text) >= 0


@pytest.mark.parametrize("typed", ["soon", "2026-13-01", "5d", "+5", "", "+99999d", "-99999d9"])
def test_what_is_no_day_is_refused(typed: str) -> None:
    today = date(9990, 1, 1)
    with pytest.raises(Refused) as refused:
        read_day(typed, today)
    assert refused.value.reason.code == "date_unreadable"
