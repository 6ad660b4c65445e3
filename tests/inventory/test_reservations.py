"""Reservations: the whole set or nothing, looked at again under lock, safe to repeat."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import reservations, stock
from inventory.errors import Reason, Refused
from inventory.models import Batch, BatchHold, Reservation, UnitHold
from tests.factories import BatchFactory, PersonFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
NOWHERE = 10**12  # an id that no row has, however many a database has given out
DAY = timedelta(days=1)
WHO: dict[str, Any] = {"as_of": MONDAY, "by": "Foreman"}


def _refusal(**given: Any) -> tuple[Reason, ...]:
    before = Reservation.objects.count()
    with pytest.raises(reservations.ReservationRefused) as refused:
        reservations.reserve(**{"label": "J-9", **WHO, **given})
    assert Reservation.objects.count() == before
    assert refused.value.reason == refused.value.reasons[0]
    assert stock.disagreements() == []
    return refused.value.reasons


def test_a_set_is_held_and_let_go_of_as_a_whole() -> None:
    tap, gauge, batch = (
        UnitFactory.create(item=TapFactory.create()),
        UnitFactory.create(),
        BatchFactory.create(quantity=10),
    )
    reservation = reservations.reserve(
        label="J-1",
        link="/jobs/J-1/",
        unit_holds=[(gauge.pk, MONDAY + DAY, MONDAY + 2 * DAY, 0), (tap.pk, MONDAY, MONDAY + 2 * DAY, 4)],
        batch_holds=[(batch.pk, 5)],
        **WHO,
    )
    batch.refresh_from_db()
    assert (reservation.state, reservation.by, batch.held) == ("active", "Foreman", 5)
    assert reservation.batch_holds.get().start == MONDAY
    assert list(reservation.unit_holds.order_by("unit").values_list("unit", "holes")) == [
        (tap.pk, 4), (gauge.pk, 0),
    ]  # fmt: skip
    for _ in range(2):  # letting go twice changes nothing
        released = reservations.release(reservation=reservation, by="Foreman", as_of=MONDAY + DAY)
    batch.refresh_from_db()
    assert (released.state, released.released_at, batch.held) == ("released", MONDAY + DAY, 0)
    assert not UnitHold.objects.filter(active=True).exists()
    assert not BatchHold.objects.filter(active=True).exists()
    assert stock.disagreements() == []


def test_everything_in_the_way_is_named_and_nothing_is_held() -> None:
    taken, worn, gone, out = (
        UnitFactory.create(tag=f"T-{n}", item=TapFactory.create(life=10, lead=10 + n)) for n in range(4)
    )
    batch = BatchFactory.create(quantity=3, lot="L1")
    reservations.reserve(
        label="J-1", unit_holds=[(taken.pk, MONDAY, MONDAY + DAY, 0), (worn.pk, MONDAY + 90 * DAY,
                     MONDAY + 91 * DAY, 7)], **WHO,
    )  # fmt: skip
    stock.lose_unit(unit=gone, reason="lost", **WHO)
    stock.lend_unit(unit=out, to=PersonFactory.create(), until=date(2026, 3, 2), **WHO)
    noon = MONDAY + DAY / 2
    found = _refusal(
        unit_holds=[(pk, noon, noon + 5 * DAY, 4) for pk in (taken.pk, worn.pk, gone.pk, out.pk, NOWHERE)],
        batch_holds=[(batch.pk, 4), (NOWHERE, 1)],
    )  # fmt: skip
    assert [(reason.code, reason.data.get("tag", reason.data.get("id"))) for reason in found] == [
        ("unit_held", "T-0"),
        ("life_short", "T-1"),
        ("unit_not_at_hand", "T-2"),
        ("unit_away", "T-3"),
        ("unit_unknown", NOWHERE),
        ("batch_short", None),
        ("batch_unknown", NOWHERE),
    ]
    assert (found[0]["label"], found[0]["start"], found[0]["end"]) == ("J-1", MONDAY, MONDAY + DAY)
    assert (found[1]["left"], found[1]["needed"]) == (3, 4)
    assert (found[5]["available"], found[5]["needed"], found[5]["lot"]) == (3, 4, "L1")
    assert Batch.objects.get(pk=batch.pk).held == 0


def test_windows_are_half_open_so_that_one_may_follow_the_other_at_once() -> None:
    tap = UnitFactory.create()
    for start in (MONDAY, MONDAY + DAY, MONDAY - DAY):
        reservations.reserve(label="J-1", unit_holds=[(tap.pk, start, start + DAY, 0)], **WHO)
    _refusal(unit_holds=[(tap.pk, MONDAY + DAY - timedelta(microseconds=1), MONDAY + 3 * DAY, 0)])


def test_life_counts_in_every_hold_whatever_its_window() -> None:
    tap = UnitFactory.create(item=TapFactory.create(life=10), holes_cut=2)
    first = reservations.reserve(label="J-1", unit_holds=[(tap.pk, MONDAY, MONDAY + DAY, 5)], **WHO)
    later = [(tap.pk, MONDAY + 60 * DAY, MONDAY + 61 * DAY, 4)]
    assert [(reason.code, reason["left"]) for reason in _refusal(unit_holds=later)] == [("life_short", 3)]
    reservations.release(reservation=first, **WHO)
    reservations.reserve(label="J-2", unit_holds=later, **WHO)


def test_a_tool_that_is_back_before_the_window_can_be_held() -> None:
    tap = UnitFactory.create()
    stock.send_unit(unit=tap, why="calibration", until=date(2026, 3, 5), **WHO)
    assert _refusal(unit_holds=[(tap.pk, datetime(2026, 3, 5, 7, tzinfo=UTC), MONDAY + 9 * DAY, 0)])
    reservations.reserve(
        label="J-1", unit_holds=[(tap.pk, datetime(2026, 3, 6, 0, tzinfo=UTC), MONDAY + 9 * DAY, 0)], **WHO
    )


def test_the_last_day_away_ends_when_it_ends_in_the_shop(settings: Any) -> None:
    settings.SHOP_ZONE = ZoneInfo("Pacific/Auckland")  # 13 hours ahead in March
    tap = UnitFactory.create()
    stock.send_unit(unit=tap, why="calibration", until=date(2026, 3, 5), **WHO)
    ends = MONDAY + 9 * DAY
    assert _refusal(unit_holds=[(tap.pk, datetime(2026, 3, 5, 10, 59, tzinfo=UTC), ends, 0)])
    reservations.reserve(label="J-1", unit_holds=[(tap.pk, datetime(2026, 3, 5, 11, 0, tzinfo=UTC), ends, 0)], **WHO)


def test_a_tool_due_for_regrind_or_away_without_a_date_cannot_be_held() -> None:
    due, away = UnitFactory.create(condition="due_regrind"), UnitFactory.create()
    stock.lend_unit(unit=away, to=PersonFactory.create(), until=None, **WHO)
    found = _refusal(unit_holds=[(unit.pk, MONDAY + 99 * DAY, MONDAY + 100 * DAY, 0) for unit in (due, away)])
    assert [reason.code for reason in found] == ["unit_not_at_hand", "unit_away"]


def test_a_repeated_request_answers_with_the_reservation_that_is_there() -> None:
    tap = UnitFactory.create()
    given: dict[str, Any] = {
        "label": "J-1", "unit_holds": [(tap.pk, MONDAY, MONDAY + DAY, 0)], "request_key": "k", **WHO,
    }  # fmt: skip
    first = reservations.reserve(**given)
    assert reservations.reserve(**given) == first
    assert Reservation.objects.count() == 1
    with pytest.raises(Refused) as refused:
        reservations.reserve(**{**given, "label": "J-2"})
    assert refused.value.reason == Reason("request_key_reused", label="J-1")


@pytest.mark.parametrize(
    ("code", "given"),
    [
        ("reservation_empty", {"unit_holds": [], "batch_holds": []}),
        ("reservation_labelled", {"label": ""}),
        ("reservation_link_on_this_site", {"link": "https://elsewhere.example"}),
        ("reservation_link_on_this_site", {"link": "//elsewhere.example"}),
        ("unit_hold_ends_after_start", {"ends": MONDAY}),
        ("unit_hold_holes_not_negative", {"holes": -1}),
        ("batch_hold_quantity_positive", {"quantity": 0}),
        ("unit_held_twice", {"times": 2}),
        ("batch_held_twice", {"batches": 2}),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(code: str, given: dict[str, Any]) -> None:
    tap, batch = UnitFactory.create(), BatchFactory.create()
    wish = (tap.pk, MONDAY, given.pop("ends", MONDAY + DAY), given.pop("holes", 0))
    kept = (batch.pk, given.pop("quantity", 1))
    asked = {
        "label": "J-1",
        "unit_holds": [wish] * given.pop("times", 1),
        "batch_holds": [kept] * given.pop("batches", 1),
    } | given
    with pytest.raises(Refused) as refused:
        reservations.reserve(**asked, **WHO)
    assert refused.value.reason.code == code
    assert not Reservation.objects.exists()


def test_letting_go_gives_back_only_what_is_still_kept() -> None:
    batch = BatchFactory.create(quantity=10)
    reservation = reservations.reserve(label="J-1", batch_holds=[(batch.pk, 8)], **WHO)
    stock.adjust_batch(batch=batch, found=5, reason="count", **WHO)
    stock.issue_batch(batch=batch, quantity=2, label="J-1", **WHO)
    reservations.release(reservation=reservation, **WHO)
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held) == (3, 0)
    assert stock.disagreements() == []


@pytest.mark.parametrize("rows", [2, 20])
def test_a_reservation_is_made_in_as_many_queries_for_two_units_as_for_twenty(rows: int) -> None:
    units = [UnitFactory.create(item=TapFactory.create()) for _ in range(rows)]
    batch = BatchFactory.create()
    with CaptureQueriesContext(connection) as asked:
        reservations.reserve(
            label="J-1",
            unit_holds=[(unit.pk, MONDAY, MONDAY + DAY, 1) for unit in units],
            batch_holds=[(batch.pk, 1)],
            request_key="k",
            **WHO,
        )
    verbs = [query["sql"].split()[0] for query in asked]
    assert [verb for verb in verbs if verb not in ("SAVEPOINT", "RELEASE", "BEGIN")] == [
        "SELECT",  # a repeated request?
        "SELECT",  # the units, locked
        "SELECT",  # the batches, locked
        "SELECT",  # a twin of this request that was ahead?
        "SELECT",  # the units' holds
        "INSERT",  # the reservation
        "INSERT",  # its unit holds
        "INSERT",  # its batch holds
        "UPDATE",  # one batch's balance
    ]
