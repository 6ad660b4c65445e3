"""Eight people at once enter one line, and eight post one count: every figure is kept, and it is posted once.

The same past the acts does collide and does post twice, so that these races are known to mean something.
"""

import multiprocessing
import random
import time
from datetime import UTC, datetime

import pytest
from django.db import IntegrityError, transaction

from inventory import counting, guards, stock
from inventory.counting import Finding
from inventory.errors import Refused
from inventory.models import Batch, CountEntry, CountLine, Movement, StockCount
from tests.concurrency.race import race
from tests.factories import BatchFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)


@pytest.fixture
def batch() -> Batch:
    return BatchFactory.create(quantity=100)


@pytest.fixture
def count(batch: Batch) -> StockCount:
    return counting.start(site="Main", bins=[batch.bin_id], blind=True, by="race", as_of=MONDAY)


def test_of_people_who_enter_one_line_at_once_every_figure_is_kept(batch: Batch, count: StockCount) -> None:
    def attempt(chance: random.Random) -> str:
        who = f"{chance.random()}"
        finding = Finding(chance.randrange(90, 100), batch=batch.pk)
        counting.enter(count=count.pk, bin=batch.bin_id, findings=[finding], by=who, as_of=MONDAY)
        return "entered"

    told = race(attempt, tries=4)
    assert set(told) == {"entered"}
    assert (CountLine.objects.count(), CountEntry.objects.count()) == (1, told["entered"])
    (judged,) = counting.review(count).judged
    assert (judged.state, len(judged.voices)) == ("disputed", told["entered"])


def test_past_the_act_people_who_enter_one_line_at_once_do_collide(batch: Batch, count: StockCount) -> None:
    def attempt(chance: random.Random) -> str:
        if CountLine.objects.filter(count=count, batch=batch).exists():
            return "seen"
        time.sleep(0.05)  # nothing keeps true what was seen
        try:
            with transaction.atomic():
                CountLine.objects.create(count=count, bin_id=batch.bin_id, batch=batch)
        except IntegrityError as error:
            reason = guards.refusal(error)
            return reason.code if reason else "unnamed"
        return "entered"

    assert race(attempt, tries=2).keys() >= {"entered", "count_line_batch_twice"}


def _entered(batch: Batch, count: StockCount) -> None:
    finding = Finding(98, batch=batch.pk)
    counting.enter(count=count.pk, bin=batch.bin_id, findings=[finding], by="Ida", as_of=MONDAY)


def test_a_count_that_many_post_at_once_is_posted_once(batch: Batch, count: StockCount) -> None:
    _entered(batch, count)

    def attempt(chance: random.Random) -> str:
        try:
            counting.post(count=count.pk, reason="race", by="race", as_of=MONDAY)
        except Refused as refused:
            return refused.reason.code
        return "posted"

    told = race(attempt, tries=4)
    assert set(told) == {"posted", "count_closed"}
    assert told["posted"] == Movement.objects.filter(act="counted").count() == 1
    assert Batch.objects.get().on_hand == 98
    assert stock.disagreements() == []


def test_past_the_act_a_count_that_many_post_at_once_is_posted_more_than_once(batch: Batch, count: StockCount) -> None:
    _entered(batch, count)

    def attempt(chance: random.Random) -> str:
        if StockCount.objects.get().state != "open":
            return "count_closed"
        time.sleep(0.05)
        stock.count_batch(batch=batch, difference=-2, reason="race", by="race", as_of=MONDAY)
        StockCount.objects.filter(state="open").update(state="posted", closed_at=MONDAY)
        return "posted"

    told = race(attempt, tries=2)
    assert told["posted"] > 1
    assert Batch.objects.get().on_hand < 98
