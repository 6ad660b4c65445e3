"""A process that is killed while it counts: a count is posted whole or not at all, and is gone on with afterwards."""

import multiprocessing
import os
import random
import signal
import time
from datetime import UTC, datetime

import pytest
from django.db import connection, connections
from django.db.models import F, Q

from inventory import counting, stock
from inventory.counting import Finding
from inventory.models import Batch, Bin, CountLine, Movement, StockCount
from tests.factories import BatchFactory, BinFactory, InsertFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
KILLS, BINS, EACH = 20, 3, 15


def _go_on() -> None:
    """Whatever count is open is gone on with and posted, and the next one begun, for ever: every lot is off by one."""
    while True:
        bins = list(Bin.objects.values_list("pk", flat=True))
        count = counting.open_counts().first() or counting.start(
            site="Main", bins=bins, blind=False, by="Ida", as_of=MONDAY
        )
        off = 1 if count.pk % 2 else -1
        while place := counting.next_place(counting.places(count)):
            lots = Batch.objects.filter(bin=place.bin)
            counting.enter(
                count=count.pk, bin=place.bin.pk, by="Ida", as_of=MONDAY, nothing_else=True,
                findings=[Finding(lot.on_hand + off, batch=lot.pk) for lot in lots],
            )  # fmt: skip
        counting.post(count=count.pk, reason="killed", by="Ida", as_of=MONDAY)


def _done() -> tuple[int, int]:
    return StockCount.objects.count(), CountLine.objects.count()


def test_a_count_whose_process_is_killed_is_posted_whole_or_not_at_all_twenty_times() -> None:
    item = InsertFactory.create()
    for _ in range(BINS):
        bin = BinFactory.create()
        for lot in range(EACH):
            BatchFactory.create(item=item, bin=bin, lot=f"{bin.pk}-{lot}", quantity=10)
    chance, left_open = random.Random(7), 0
    for _ in range(KILLS):
        before = _done()
        # A process must not go on with a connection, nor with a pool's threads, of the one it came from.
        connections.close_all()
        if connection.vendor == "postgresql":
            connection.close_pool()
        process = multiprocessing.get_context("fork").Process(target=_go_on)
        process.start()
        posted = StockCount.objects.filter(state="posted").count()
        while _done() == before and StockCount.objects.filter(state="posted").count() == posted:
            time.sleep(0.005)
            assert process.is_alive(), "the process ended by itself"
        time.sleep(chance.uniform(0, 0.4))
        os.kill(process.pid or 0, signal.SIGKILL)
        process.join(30)
        assert process.exitcode == -signal.SIGKILL, "the process ended by itself"
        assert stock.disagreements() == []
        for count in StockCount.objects.all():
            lines = CountLine.objects.filter(count=count)
            booked = lines.filter(movement__isnull=False, found=F("book") + (1 if count.pk % 2 else -1)).count()
            if count.state == "posted":
                assert (lines.count(), booked) == (BINS * EACH, BINS * EACH)
            else:
                assert not lines.filter(Q(movement__isnull=False) | Q(found__isnull=False)).exists()
                assert lines.count() % EACH == 0  # a bin is entered whole, too
                left_open += 1
        posted = StockCount.objects.filter(state="posted").count()
        assert Movement.objects.filter(act="counted").count() == posted * BINS * EACH
    assert left_open, "no count was ever open when its process was killed, which proves nothing"
    assert StockCount.objects.filter(state="posted").exists(), "no count was ever posted, which proves nothing"
