"""Eight writers at once want the same few things: nothing is held twice, and every answer is a plain one.

The same with guard off and no lock does hold things twice, so that these races are known to mean something.
"""

import multiprocessing
import random
import time
from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from inventory import guards, reservations, stock
from inventory.errors import Refused
from inventory.models import Batch, Reservation, UnitHold
from tests.concurrency.race import Try, held_twice, race
from tests.factories import BatchFactory, UnitFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

SLOTS = 30
MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
HOUR = timedelta(hours=1)


def _window(chance: random.Random) -> tuple[datetime, datetime]:
    start = MONDAY + chance.randrange(SLOTS) * HOUR
    return start, start + chance.randint(1, 4) * HOUR


def _reserving(units: list[int]) -> Try:
    def attempt(chance: random.Random) -> str:
        try:
            reservations.reserve(
                label=f"J-{chance.random()}",
                # Two of the three in no order: writers would lock each other out if the act did not sort.
                unit_holds=[(unit, *_window(chance), 0) for unit in chance.sample(units, 2)],
                by="race",
                as_of=MONDAY,
            )
        except Refused as refused:
            return refused.reason.code
        return "held"

    return attempt


def _without_a_lock(units: list[int], look: bool) -> Try:
    """Writes past the act: blindly, or after a look that nothing keeps true until the hold is written."""

    def attempt(chance: random.Random) -> str:
        unit, (start, end) = chance.choice(units), _window(chance)
        if look:
            if UnitHold.objects.filter(unit=unit, active=True, start__lt=end, end__gt=start).exists():
                return "seen"
            time.sleep(0.002)
        try:
            with transaction.atomic():
                reservation = Reservation.objects.create(label="J", at=MONDAY, by="race")
                UnitHold.objects.create(reservation=reservation, unit_id=unit, start=start, end=end)
        except IntegrityError as error:
            reason = guards.refusal(error)
            return reason.code if reason else "unnamed"
        return "held"

    return attempt


def test_nothing_is_held_twice_and_every_refusal_is_a_named_one() -> None:
    units = [UnitFactory.create().pk for _ in range(3)]
    told = race(_reserving(units))
    assert set(told) == {"held", "unit_held"}
    assert held_twice() == 0
    assert UnitHold.objects.count() == 2 * told["held"] > 0
    assert Reservation.objects.count() == told["held"]


@pytest.mark.parametrize("look", [False, True])
def test_the_guard_alone_keeps_writers_without_a_lock_from_holding_twice(look: bool) -> None:
    units = [UnitFactory.create().pk for _ in range(3)]
    told = race(_without_a_lock(units, look))
    assert held_twice() == 0
    assert told.keys() - {"seen"} == {"held", "unit_hold_overlap"}


@pytest.mark.parametrize("look", [False, True])
def test_without_the_guard_writers_without_a_lock_do_hold_twice(look: bool) -> None:
    units = [UnitFactory.create().pk for _ in range(3)]
    guards.lift(connection)
    try:
        told = race(_without_a_lock(units, look))
        twice = held_twice()
    finally:
        UnitHold.objects.all().delete()
        guards.lay(connection)
    assert twice > 0
    assert told.keys() - {"seen"} == {"held"}


def test_a_batch_is_never_held_beyond_what_is_there() -> None:
    batch = BatchFactory.create(quantity=50)

    def attempt(chance: random.Random) -> str:
        try:
            reservations.reserve(label="J", batch_holds=[(batch.pk, 1)], by="race", as_of=MONDAY)
        except Refused as refused:
            return refused.reason.code
        return "held"

    assert race(attempt, tries=10) == {"held": 50, "batch_short": 30}
    assert Batch.objects.get().held == 50
    assert stock.disagreements() == []


def test_holding_and_letting_go_at_once_keeps_the_balance_true() -> None:
    batch = BatchFactory.create(quantity=5)

    def attempt(chance: random.Random) -> str:
        try:
            held = reservations.reserve(label="J", batch_holds=[(batch.pk, 2)], by="race", as_of=MONDAY)
        except Refused as refused:
            return refused.reason.code
        if chance.random() < 0.1:
            stock.adjust_batch(batch=batch, found=chance.randint(3, 6), reason="count", by="race", as_of=MONDAY)
        reservations.release(reservation=held, by="race", as_of=MONDAY)
        return "held and let go"

    told = race(attempt, tries=10)
    assert set(told) <= {"held and let go", "batch_short"}
    assert Batch.objects.get().held == 0
    assert stock.disagreements() == []


def test_one_request_that_is_sent_many_times_at_once_makes_one_reservation() -> None:
    unit, others = UnitFactory.create().pk, [UnitFactory.create().pk for _ in range(3)]

    def attempt(chance: random.Random) -> str:
        reservation = reservations.reserve(
            label="J-1",
            unit_holds=[(chance.choice([unit, *others]), MONDAY, MONDAY + HOUR, 0)],
            by="race",
            as_of=MONDAY,
            request_key="pressed twice",
        )
        return str(reservation.pk)

    assert len(race(attempt, tries=3)) == 1
    assert UnitHold.objects.count() == 1
