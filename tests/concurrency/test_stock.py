"""One request that many send at once: every act on the stock is done once, and all are given the same answer."""

import multiprocessing
import random
from datetime import UTC, datetime

import pytest

from inventory import stock
from inventory.errors import Refused
from inventory.models import Batch, Bin, Item, Movement, Person, Unit
from tests.concurrency.race import race
from tests.factories import BatchFactory, BinFactory, InsertFactory, ItemFactory, PersonFactory, UnitFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)


def _sent_many_times(deed: str, key: str) -> str:
    """What the act answers: the movement of that key, whoever of the writers made it."""
    by, unit, batch = {"as_of": MONDAY, "by": "race", "request_key": key}, Unit.objects.first(), Batch.objects.first()
    assert unit is not None
    assert batch is not None
    match deed:
        case "lend":
            return str(stock.lend_unit(unit=unit, to=Person.objects.get(), until=None, **by).pk)
        case "lend to a new name":
            to = stock.person_of(name="Bo")
            return str(stock.lend_unit(unit=unit, to=to, until=None, **by).pk)
        case "receive into a new bin":
            bin, item = stock.bin_of(site=unit.bin.site.name, name="Z9"), Item.objects.get(kind="drill")
            return str(stock.receive_unit(item=item, tag="N-1", bin=bin, **by).pk)
        case "issue":
            return str(stock.issue_batch(batch=batch, quantity=2, label="J-1", **by).pk)
        case "receive a unit":
            item = Item.objects.get(kind="drill")
            return str(stock.receive_unit(item=item, tag="N-1", bin=unit.bin, **by).pk)
        case _:
            item = Item.objects.get(kind="insert")
            return str(stock.receive_batch(item=item, bin=batch.bin, lot="L2", quantity=3, **by).pk)


@pytest.mark.parametrize(
    "deed",
    ["lend", "lend to a new name", "issue", "receive a unit", "receive into a new bin", "receive a batch"],
)
def test_an_act_that_is_sent_many_times_at_once_is_done_once_and_answered_alike(deed: str) -> None:
    bin = BinFactory.create()
    PersonFactory.create()
    UnitFactory.create(item=ItemFactory.create(), bin=bin)
    BatchFactory.create(item=InsertFactory.create(), bin=bin, lot="L1", quantity=10)
    before = Movement.objects.count()

    def attempt(chance: random.Random) -> str:
        return _sent_many_times(deed, "pressed twice")

    told = race(attempt, tries=3)
    assert len(told) == 1, told
    assert Movement.objects.count() == before + 1
    assert Person.objects.count() == 1 + (deed == "lend to a new name")
    assert Bin.objects.count() == 1 + (deed == "receive into a new bin")
    assert stock.disagreements() == []


def _carry(chance: random.Random) -> str:
    """Put one piece of a lot into the other bin, from whichever bin chance will."""
    batch = chance.choice(list(Batch.objects.select_related("item", "bin").order_by("pk")))
    other = Bin.objects.exclude(pk=batch.bin_id).get()
    try:
        stock.move_batch(batch=batch, quantity=1, bin=other, as_of=MONDAY, by="race")
    except Refused:  # its bin was empty at that moment
        return "refused"
    return "moved"


def test_of_a_lot_that_many_carry_to_and_fro_between_two_bins_no_piece_is_lost() -> None:
    item = InsertFactory.create()
    for bin in (BinFactory.create(), BinFactory.create()):
        BatchFactory.create(item=item, bin=bin, lot="L1", quantity=20)
    told = race(_carry, tries=25)
    assert set(told) <= {"moved", "refused"}, told
    assert told["moved"] > 100
    assert sum(Batch.objects.values_list("on_hand", flat=True)) == 40
    assert stock.disagreements() == []
