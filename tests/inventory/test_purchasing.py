"""Suppliers and their offers."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import purchasing
from inventory.errors import Refused
from inventory.models import Offer
from tests.factories import InsertFactory, ItemFactory, SupplierFactory, TapFactory

pytestmark = pytest.mark.django_db


def test_an_offer_is_read_with_everything_that_buying_weighs() -> None:
    supplier = purchasing.add_supplier(name="Nord Tools", currency="GBP", carriage=650, minimum=5000)
    insert = InsertFactory.create()
    offer = purchasing.add_offer(
        supplier=supplier, items=[(insert, 1)], pack=10, price=4200, breaks=[(5, 3900)], lead_days=4,
        number="N-1", name="bush",
    )  # fmt: skip
    assert purchasing.offers_for([insert.pk]) == [
        purchasing.OfferFacts(
            offer=offer.pk, supplier="Nord Tools", number="N-1", name="bush", pieces=((insert.pk, 10),),
            price=4200, currency="GBP", breaks=((5, 3900),), lead_days=4, carriage=650, minimum=5000,
        )
    ]  # fmt: skip


def test_a_set_is_offered_for_each_of_its_items_and_told_whole() -> None:
    tap, drill, other = TapFactory.create(), ItemFactory.create(), InsertFactory.create()
    purchasing.add_offer(supplier=SupplierFactory.create(), items=[(tap, 1), (drill, 2)], price=9900)
    for item in (tap, drill):
        (offer,) = purchasing.offers_for([item.pk])
        assert set(offer.pieces) == {(tap.pk, 1), (drill.pk, 2)}
    assert purchasing.offers_for([other.pk]) == []


def test_an_offer_no_longer_on_sale_is_not_offered() -> None:
    item = TapFactory.create()
    purchasing.add_offer(supplier=SupplierFactory.create(), items=[(item, 1)], price=1)
    Offer.objects.update(active=False)
    assert purchasing.offers_for([item.pk]) == []


@pytest.mark.parametrize(
    ("code", "given"),
    [
        ("offer_without_items", {"items": []}),
        ("price_break_not_cheaper", {"breaks": [(5, 90), (10, 95)]}),
        ("price_break_above_one_pack", {"breaks": [(1, 90)]}),
        ("price_break_twice", {"breaks": [(5, 90), (5, 90)]}),
        ("offer_pack_positive", {"pack": 0}),
        ("offer_price_not_negative", {"price": -1}),
        ("offer_lead_not_negative", {"lead_days": -1}),
        ("offer_item_twice", {"times": 2}),
        ("offer_item_quantity_positive", {"quantity": 0}),
    ],
)
def test_an_offer_that_cannot_be_is_refused_by_name_and_leaves_nothing(code: str, given: dict[str, Any]) -> None:
    items = [(TapFactory.create(), given.pop("quantity", 1))] * given.pop("times", 1)
    with pytest.raises(Refused) as refused:
        purchasing.add_offer(**{"supplier": SupplierFactory.create(), "items": items, "price": 100} | given)
    assert refused.value.reason.code == code
    assert not Offer.objects.exists()


@pytest.mark.parametrize(
    ("code", "given"),
    [
        ("currency_unknown", {"currency": "eur"}),
        ("supplier_name_taken", {"name": "Nord Tools"}),
        ("supplier_carriage_not_negative", {"carriage": -1}),
        ("supplier_minimum_not_negative", {"minimum": -1}),
    ],
)
def test_a_supplier_that_cannot_be_is_refused_by_name(code: str, given: dict[str, Any]) -> None:
    purchasing.add_supplier(name="Nord Tools")
    with pytest.raises(Refused) as refused:
        purchasing.add_supplier(**{"name": "Sud Tools"} | given)
    assert refused.value.reason.code == code


@pytest.mark.parametrize("rows", [2, 20])
def test_offers_are_read_in_three_queries_however_many(rows: int) -> None:
    items = [TapFactory.create(lead=10 + n) for n in range(rows)]
    for item in items:
        purchasing.add_offer(supplier=SupplierFactory.create(), items=[(item, 1)], price=100, breaks=[(5, 90)])
    with CaptureQueriesContext(connection) as asked:
        assert len(purchasing.offers_for([item.pk for item in items])) == rows
    assert [query["sql"].split(' FROM "')[1].split('"')[0] for query in asked] == [
        "inventory_offer", "inventory_offeritem", "inventory_pricebreak",
    ]  # fmt: skip
