"""Deliveries of the same lots and what is handed out of them meanwhile: nobody waits in a ring, and nothing is lost."""

import multiprocessing
import random
from datetime import UTC, datetime

import pytest
from django.db.models import Sum

from inventory import issuing, purchasing, stock
from inventory.errors import Refused
from inventory.models import Batch, Bin, Item, Movement, Order
from inventory.purchasing import Came
from tests.concurrency.race import race
from tests.factories import BatchFactory, BinFactory, InsertFactory, SupplierFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
WHO = {"as_of": MONDAY, "by": "race"}
ORDERS = 12


def _write(chance: random.Random) -> str:
    """Take in an order that nobody has yet, its lots in any order, or hand out both lots at once."""
    bin, items = Bin.objects.get(), list(Item.objects.order_by("pk"))
    try:
        if chance.random() < 0.5:
            issuing.issue("J-1", batches={batch.pk: 1 for batch in Batch.objects.order_by("-pk")}, **WHO)
            return "issued"
        order = chance.choice(list(Order.objects.filter(state="placed")))
        lines = {each.item.pk: each.line for each in purchasing.expected(order)}
        chance.shuffle(items)
        came = [Came(lines[item.pk], item.pk, bin, quantity=2, lot="L1") for item in items]
        purchasing.receive_order(number=order.number, came=came, **WHO)
        return "received"
    except (Refused, IndexError):  # another was ahead with this order, or has taken in the last
        return "refused"


def test_what_comes_in_and_what_goes_out_of_the_same_lots_do_not_wait_for_each_other_in_a_ring() -> None:
    supplier, bin = SupplierFactory.create(), BinFactory.create()
    items = [InsertFactory.create(number=f"I-{number}") for number in range(3)]
    for item in items:
        BatchFactory.create(item=item, bin=bin, lot="L1", quantity=200)
    offers = [purchasing.add_offer(supplier=supplier, items=[(item, 1)], price=1) for item in items]
    for number in range(ORDERS):
        lines = [(offer.pk, 2, 1) for offer in offers]
        purchasing.place_order(supplier=supplier.name, number=f"O-{number}", lines=lines, **WHO)
    told = race(_write, tries=30)
    assert {"issued", "received"} <= set(told) <= {"issued", "received", "refused"}, told
    rows = Movement.objects.filter(act="received", reason__startswith="O-").order_by()
    came = dict(rows.values_list("batch").annotate(Sum("quantity")))
    assert set(came.values()) == {2 * Order.objects.filter(state="received").count()}
    assert stock.disagreements() == []
