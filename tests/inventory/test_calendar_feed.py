"""The crib's dates as a calendar: read by other code than ours, opened by a secret that can be renewed and ended."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import vobject
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import calendar_feed, purchasing, stock
from inventory.models import CalendarAddress
from inventory.roles import give_role
from tests.factories import BatchFactory, InsertFactory, PersonFactory, SupplierFactory, UnitFactory

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture
def keeper() -> User:
    user = User.objects.create_user("bram", password="x")
    give_role(user, "storekeeper")
    return user


@pytest.fixture
def dates() -> None:
    """One date of each sort; a name with all that a calendar must escape, and long enough to be folded."""
    name = "bush; M14x1.5, “wide” \\ Ø 24 – " + "ü" * 60
    UnitFactory.create(tag="G-1", calibration_due=date(2026, 6, 9))
    BatchFactory.create(item=InsertFactory.create(name=name), lot="L-1", expires=date(2026, 12, 31))
    away = UnitFactory.create(tag="D-1")
    stock.lend_unit(unit=away, to=PersonFactory.create(name="Ida\nStone"), until=date(2026, 5, 1), by="x", as_of=NOW)
    offer = purchasing.add_offer(supplier=SupplierFactory.create(name="Nord"), items=[(away.item, 1)], price=1)
    purchasing.place_order(
        supplier="Nord", number="B-1", lines=[(offer.pk, 1, 1)], by="x", due=date(2026, 6, 20), as_of=NOW
    )


def events(text: bytes) -> dict[str, Any]:
    found = vobject.readOne(text.decode())
    return {event.uid.value.split("-")[0]: event for event in getattr(found, "vevent_list", [])}


def test_every_date_is_a_whole_day_that_another_program_reads(dates: None) -> None:
    found = events(calendar_feed.calendar(as_of=NOW, site="crib.example"))
    days = {sort: (event.dtstart.value, event.dtend.value - event.dtstart.value) for sort, event in found.items()}
    assert days == {
        "calibration": (date(2026, 6, 9), DAY), "expiry": (date(2026, 12, 31), DAY),
        "away": (date(2026, 5, 1), DAY), "order": (date(2026, 6, 20), DAY),
    }  # fmt: skip
    assert all(event.dtstart.params == {} or event.dtstart.value_param == "DATE" for event in found.values())
    assert {event.dtstamp.value for event in found.values()} == {NOW}
    told = found["expiry"].summary.value
    named = "L-1, insert: bush; M14x1.5, “wide” \\ Ø 24 – " + "ü" * 60
    assert f"{named} M14x1.5 in M16x1.5, 20 mm long" in told
    assert "Ida" in found["away"].summary.value


def test_lines_are_folded_at_75_octets_and_end_as_the_standard_asks(dates: None) -> None:
    text = calendar_feed.calendar(as_of=NOW, site="crib.example")
    assert text.startswith(b"BEGIN:VCALENDAR\r\n")
    assert text.endswith(b"END:VCALENDAR\r\n")
    lines = text.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert any(line.startswith(b" ") for line in lines)
    for line in lines:
        line.decode()  # no letter is cut in two
    assert b"DTSTART;VALUE=DATE:20260609" in lines
    assert b"VERSION:2.0" in lines


def test_the_name_of_an_event_stays_the_same_and_no_two_share_one(dates: None) -> None:
    first = calendar_feed.calendar(as_of=NOW, site="crib.example")
    later = calendar_feed.calendar(as_of=NOW + 40 * DAY, site="crib.example")
    names = [line for line in first.split(b"\r\n") if line.startswith(b"UID:")]
    assert names == [line for line in later.split(b"\r\n") if line.startswith(b"UID:")]
    assert len(set(names)) == 4


def test_an_empty_crib_has_an_empty_calendar() -> None:
    assert events(calendar_feed.calendar(as_of=NOW, site="crib.example")) == {}


def test_where_a_sort_has_more_dates_than_a_calendar_gets_an_event_says_so(monkeypatch: Any) -> None:
    monkeypatch.setattr(calendar_feed, "MOST", 2)
    for at in range(5):
        UnitFactory.create(tag=f"G-{at}", calibration_due=date(2026, 6, 9))
    text = calendar_feed.calendar(as_of=NOW, site="crib.example").decode()
    assert text.count("BEGIN:VEVENT") == 3
    found = vobject.readOne(text)
    assert any(event.summary.value.startswith("3 more dates of this sort") for event in found.vevent_list)


@pytest.mark.parametrize("count", [2, 20])
def test_as_many_queries_are_asked_however_many_dates_there_are(count: int) -> None:
    for at in range(count):
        UnitFactory.create(tag=f"G-{at}", calibration_due=date(2026, 6, 9))
        BatchFactory.create(lot=f"L-{at}", expires=date(2026, 6, 9))
    with CaptureQueriesContext(connection) as asked:
        calendar_feed.calendar(as_of=NOW, site="crib.example")
    assert len(asked) == 4  # calibrations, batches, what is away, orders


# The secret


def test_a_secret_opens_it_without_a_log_in_and_only_its_digest_is_kept(keeper: User, client: Client) -> None:
    secret = calendar_feed.renew(owner=keeper, as_of=NOW)
    assert secret not in str(list(CalendarAddress.objects.values()))
    answer = client.get(reverse("calendar", args=[secret]))
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert "Set-Cookie" not in answer.headers
    for wrong in (secret[:-1], secret.swapcase(), "x"):
        assert client.get(reverse("calendar", args=[wrong])).status_code == 404


def test_renewing_ends_the_one_before_and_ending_ends_it(keeper: User) -> None:
    first = calendar_feed.renew(owner=keeper, as_of=NOW)
    second = calendar_feed.renew(owner=keeper, as_of=NOW)
    assert (calendar_feed.opens(first), calendar_feed.opens(second)) == (False, True)
    calendar_feed.end(owner=keeper, as_of=NOW)
    assert not calendar_feed.opens(second)
    assert calendar_feed.address_of(keeper) is None


def test_it_ends_with_the_account_and_with_the_role_of_its_owner(keeper: User) -> None:
    secret = calendar_feed.renew(owner=keeper, as_of=NOW)
    keeper.groups.clear()
    assert not calendar_feed.opens(secret)
    give_role(keeper, "fitter")
    assert calendar_feed.opens(secret)
    User.objects.update(is_active=False)
    assert not calendar_feed.opens(secret)


def test_the_page_shows_the_address_once(keeper: User, client: Client) -> None:
    client.force_login(keeper)
    shown = client.post(reverse("calendar-address"), {"act": "renew"}).content.decode()
    address = shown.split('id="address"')[1].split(">")[1].split("<")[0]
    assert Client().get(address).status_code == 200
    page = client.get(reverse("attention")).content.decode()
    assert address not in page
    assert "Renew the address" in page
    client.post(reverse("calendar-address"), {"act": "end"})
    assert Client().get(address).status_code == 404
