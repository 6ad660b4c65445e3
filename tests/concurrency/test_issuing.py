"""One kit that many issue at once: each thing goes out once, all lines of a press or none of them."""

import multiprocessing
import random
from datetime import UTC, datetime, timedelta

import pytest

from inventory import issuing, stock
from inventory.errors import Refused
from inventory.models import Batch, Movement, Unit
from inventory.reservations import reserve
from tests.concurrency.race import TRIES, WRITERS, race
from tests.factories import BatchFactory, UnitFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)


@pytest.fixture(autouse=True)
def a_kit(transactional_db: None) -> None:
    units = [UnitFactory.create(tag=f"T-{n}") for n in range(4)]
    batch = BatchFactory.create(quantity=10)
    wishes = [(unit.pk, MONDAY, MONDAY + timedelta(1), 0) for unit in units]
    reserve(label="J-1", unit_holds=wishes, batch_holds=[(batch.pk, 5)], by="race", as_of=MONDAY)


def _issue(chance: random.Random, key: str | None) -> str:
    """The whole kit, its lines in any order, as two people at two screens would press it."""
    units = list(Unit.objects.values_list("pk", flat=True))
    chance.shuffle(units)
    try:
        count = issuing.issue(
            "J-1", units=units, batches={Batch.objects.get().pk: 5}, by="race", as_of=MONDAY, request_key=key
        )
    except Refused as refused:
        return refused.reason.code
    return f"{count} lines"


def test_a_kit_that_many_issue_at_once_goes_out_to_one_of_them() -> None:
    told = race(lambda chance: _issue(chance, None), tries=3)
    assert told == {"5 lines": 1, "unit_issued": WRITERS * 3 - 1}
    assert Movement.objects.filter(act="issued").count() == 5
    assert stock.disagreements() == []


def test_a_kit_that_one_press_issues_many_times_goes_out_once_and_all_are_answered_alike() -> None:
    told = race(lambda chance: _issue(chance, "pressed twice"), tries=3)
    assert told == {"5 lines": WRITERS * 3}
    assert Movement.objects.filter(act="issued").count() == 5
    assert stock.disagreements() == []


def test_kits_that_go_out_and_come_back_at_once_never_wait_for_each_other_for_ever() -> None:
    def attempt(chance: random.Random) -> str:
        units = list(Unit.objects.values_list("pk", flat=True))
        chance.shuffle(units)
        try:
            if chance.random() < 0.5:
                issuing.issue("J-1", units=units, batches={Batch.objects.get().pk: 1}, by="race", as_of=MONDAY)
            else:
                issuing.take_back("J-1", units=dict.fromkeys(units, (0, None)), by="race", as_of=MONDAY)
        except Refused as refused:
            return refused.reason.code
        return "done"

    told = race(attempt, tries=TRIES // 2)
    assert set(told) <= {"done", "unit_issued", "unit_not_issued", "batch_short"}, told
    assert stock.disagreements() == []
