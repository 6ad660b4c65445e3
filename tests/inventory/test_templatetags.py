"""How values stand on pages: both units, the shop's own days, a window's last day as people say it."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from pytest_django.fixtures import Settings

from inventory.errors import Reason
from inventory.templatetags import shown

MIDNIGHT = datetime(2026, 3, 3, 23, 0, tzinfo=UTC)  # midnight of the 4th in Berlin


@pytest.fixture(autouse=True)
def _in_berlin(settings: Settings) -> None:
    settings.SHOP_ZONE = ZoneInfo("Europe/Berlin")


def test_moments_and_days_are_those_of_the_shop() -> None:
    assert shown.moment(MIDNIGHT) == "2026-03-04 00:00"
    assert shown.day(MIDNIGHT) == "2026-03-04"
    assert shown.last_day(MIDNIGHT) == "2026-03-03", "a window to midnight ends the day before"
    assert shown.day(date(2026, 3, 4)) == "2026-03-04"


def test_sizes_torques_and_prices_stand_with_their_units() -> None:
    assert (shown.as_length(14_500_000), shown.as_length(14_500_000, "in")) == (
        "14.5 mm (0.5709 in)",
        "0.5709 in (14.5 mm)",
    )
    assert shown.torque(45_000) == "45 N·m (33.2 lbf·ft)"
    assert shown.money(1250, "EUR") == "EUR 12.50"


def test_a_thread_stands_by_its_designation_and_what_is_none_as_it_is() -> None:
    assert shown.designation("M|14000000|1500000nm|R") == "M14x1.5"
    assert shown.designation("no key") == "no key"


def test_what_is_not_there_is_shown_as_nothing() -> None:
    for shows in (shown.as_length, shown.torque, shown.money, shown.moment, shown.day, shown.last_day):
        assert shows(None) == ""
    assert shown.designation("") == ""


def test_a_reason_is_told_in_the_readers_units() -> None:
    reason = Reason("drill_size_impossible", diameter_nm=14_500_000)
    assert shown.told({}, reason) == "A drill of 14.5 mm (0.5709 in) cannot be."
    assert shown.told({"units": "in"}, reason) == "A drill of 0.5709 in (14.5 mm) cannot be."
