"""A process that is killed in the middle of acts on stock: every act is there whole or not at all."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection, connections
from django.db.models import Count, Sum

from inventory import reservations, stock
from inventory.errors import Refused
from inventory.models import Batch, BatchHold, Bin, Movement, Reservation, Unit, UnitHold
from tests.factories import BatchFactory, BinFactory, InsertFactory, TapFactory, UnitFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DAY = timedelta(days=1)
WHO: dict[str, Any] = {"as_of": MONDAY, "by": "Ida"}
KILLS, PIECES, HOLDS = 20, 60, 6


def _deeds(seed: int, units: list[Unit], bins: list[Bin]) -> list[Callable[[], Any]]:
    """Acts of one write and of many: what is lost while it is held writes to each of its holds as well."""
    chance = random.Random(seed)
    unit, batch = lambda: chance.choice(units), lambda: chance.choice(list(Batch.objects.order_by("pk")))
    few, label, bin = lambda: chance.randint(1, 6), lambda: f"J-{chance.randrange(3)}", lambda: chance.choice(bins)
    why = {"reason": "round"}

    def hold_and_lose() -> None:
        lost, kept = unit(), batch()
        for number in range(HOLDS):
            start = MONDAY + number * DAY
            wish = [(lost.pk, start, start + DAY, 1)]
            reservations.reserve(label=label(), unit_holds=wish, batch_holds=[(kept.pk, 2)], **WHO)
        stock.lose_unit(unit=lost, **why, **WHO)
        stock.find_unit(unit=Unit.objects.get(pk=lost.pk), bin=bin(), **why, **WHO)
        stock.adjust_batch(batch=kept, found=chance.randrange(9), **why, **WHO)  # cuts several holds short

    def receive() -> None:
        stock.receive_batch(item=batch().item, bin=bin(), lot=f"L{few()}", quantity=few() * 4, **WHO)

    return [
        hold_and_lose, hold_and_lose, receive, receive,
        lambda: stock.issue_unit(unit=unit(), label=label(), **WHO),
        lambda: stock.give_back_unit(unit=unit(), holes=few(), **WHO),
        lambda: stock.issue_batch(batch=batch(), quantity=few(), label=label(), **WHO),
        lambda: stock.give_back_batch(batch=batch(), quantity=few(), label=label(), **WHO),
        lambda: stock.scrap_batch(batch=batch(), quantity=few(), **why, **WHO),
        lambda: stock.move_batch(batch=batch(), quantity=few(), bin=bin(), **WHO),
    ]  # fmt: skip


def _work(seed: int, units: list[Unit], bins: list[Bin]) -> None:
    chance, deeds = random.Random(seed), _deeds(seed, units, bins)
    while True:
        try:
            chance.choice(deeds)()
        except Refused:
            continue


def _whole() -> None:
    """What no check of balances can see: an act that wrote some of its rows, which agree with each other."""
    assert stock.disagreements() == []
    moved = Movement.objects.filter(act="moved", batch__isnull=False)
    assert (moved.aggregate(total=Sum("quantity"))["total"] or 0) == 0, "it left one bin and came into none"
    for gone in Unit.objects.filter(condition="lost"):
        assert gone.movements.order_by("pk").last().act == "lost"
        assert not gone.holds.filter(active=True).exists()
    # A reservation of both has its hold of each, and none is half let go.
    for made in Reservation.objects.annotate(units=Count("unit_holds", distinct=True)):
        assert (made.units, made.batch_holds.count()) == (1, 1)
    assert not BatchHold.objects.filter(active=True, reservation__state="released").exists()
    assert not UnitHold.objects.filter(active=True, reservation__state="released").exists()


def test_a_process_killed_twenty_times_in_the_middle_of_acts_leaves_every_act_whole() -> None:
    bins = [BinFactory.create() for _ in range(3)]
    units = [UnitFactory.create(item=TapFactory.create(life=None), bin=bins[0]) for _ in range(3)]
    item = InsertFactory.create()
    for lot in ("L1", "L2"):
        BatchFactory.create(item=item, lot=lot, bin=bins[0], quantity=PIECES)
    chance, acts = random.Random(5), []
    for round_ in range(KILLS):
        before = Movement.objects.count()
        # A process must not go on with a connection, nor with a pool's threads, of the one it came from.
        connections.close_all()
        if connection.vendor == "postgresql":
            connection.close_pool()
        context: Any = multiprocessing.get_context("fork")
        process = context.Process(target=_work, args=(round_, units, bins))
        process.start()
        waited = time.monotonic()
        while Movement.objects.count() == before and time.monotonic() < waited + 30:
            time.sleep(0.005)  # it is at work now: a kill before its first act would prove nothing
        time.sleep(chance.uniform(0.0, 0.25))
        assert process.is_alive(), "it ended by itself"
        os.kill(process.pid, signal.SIGKILL)
        process.join(30)
        assert process.exitcode == -signal.SIGKILL
        _whole()
        acts.append(Movement.objects.count() - before)
    assert min(acts) > 0
    done = set(Movement.objects.values_list("act", flat=True))
    assert done >= {"received", "issued", "given_back", "scrapped", "adjusted", "lost", "moved"}


def test_an_act_that_is_not_one_transaction_would_be_seen() -> None:
    bins = [BinFactory.create() for _ in range(2)]
    batch = BatchFactory.create(bin=bins[0], quantity=10)
    stock.move_batch(batch=batch, quantity=4, bin=bins[1], **WHO)
    _whole()
    Movement.objects.create(at=MONDAY, by="Ida", act="moved", batch=batch, quantity=-2, from_bin=bins[0])
    Batch.objects.filter(pk=batch.pk).update(on_hand=4)
    assert stock.disagreements() == []
    with pytest.raises(AssertionError, match="came into none"):
        _whole()
