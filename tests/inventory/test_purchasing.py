"""Suppliers and their offers."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import purchasing
from inventory.errors import Refused
from inventory.models import Offer, Order
from tests.factories import BinFactory, InsertFactory, ItemFactory, SupplierFactory, TapFactory

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


# Orders

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def _offer(pack: int = 1, **of: Any) -> Offer:
    supplier = of.pop("supplier", None) or SupplierFactory.create(name="Nord Tools")
    item = of.pop("item", None) or TapFactory.create()
    return purchasing.add_offer(supplier=supplier, items=[(item, 1)], price=1000, pack=pack, lead_days=4)


def _placed(offer: Offer, **given: Any) -> Order:
    asked: dict[str, Any] = {
        "supplier": offer.supplier.name, "number": "2026-001", "lines": [(offer.pk, 3, 950)], "by": "Bram",
        "as_of": NOW, "due": date(2026, 3, 6),
    }  # fmt: skip
    return purchasing.place_order(**asked | given)


def test_an_order_is_written_with_the_price_agreed_and_told_as_on_order_until_it_is_closed() -> None:
    offer = _offer(pack=10)
    order = _placed(offer)
    assert (order.state, order.by, order.due) == ("placed", "Bram", date(2026, 3, 6))
    item = offer.lines.get().item_id
    (coming,) = purchasing.on_order([item])[item]
    assert (coming.number, coming.packs, coming.pieces, coming.due) == ("2026-001", 3, 30, date(2026, 3, 6))
    assert [(each.number, each.goods) for each in purchasing.open_orders()] == [("2026-001", 2850)]
    for who in ("Ada", "Ben"):
        closed = purchasing.close_order(number="2026-001", state="received", by=who, as_of=NOW)
        assert (closed.closed_by, closed.closed_at) == ("Ada", NOW), "the first who closed it did"
    assert purchasing.on_order([item]) == {}
    assert list(purchasing.open_orders()) == []
    with pytest.raises(Refused) as refused:
        purchasing.close_order(number="2026-001", state="cancelled", by="Ada", as_of=NOW)
    assert refused.value.reason.code == "order_closed"


def test_the_same_request_writes_one_order_and_the_same_key_for_another_supplier_is_refused() -> None:
    offer = _offer()
    first, again = (_placed(offer, request_key="k", number=number) for number in ("2026-001", "2026-002"))
    assert first == again
    other = _offer(supplier=SupplierFactory.create(name="Sud Tools"), item=TapFactory.create(lead=50))
    with pytest.raises(Refused) as refused:
        _placed(other, request_key="k", number="2026-003")
    assert refused.value.reason.code == "request_key_reused"
    assert Order.objects.count() == 1


@pytest.mark.parametrize(
    ("code", "given"),
    [
        ("order_without_lines", {"lines": []}),
        ("supplier_unknown", {"supplier": "Nobody"}),
        ("order_number_taken", {"number": "TAKEN"}),
        ("order_numbered", {"number": ""}),
        ("order_by_somebody", {"by": ""}),
        ("offer_not_on_sale", {"lines": [(10**6, 1, 1)]}),
        ("order_line_packs_positive", {"packs": 0}),
        ("order_line_price_not_negative", {"price": -1}),
        ("order_line_twice", {"times": 2}),
    ],
)
def test_an_order_that_cannot_be_is_refused_by_name_and_leaves_nothing(code: str, given: dict[str, Any]) -> None:
    offer = _offer()
    _placed(offer, number="TAKEN")
    line = (offer.pk, given.pop("packs", 1), given.pop("price", 950))
    with pytest.raises(Refused) as refused:
        _placed(offer, **{"lines": [line] * given.pop("times", 1)} | given)
    assert refused.value.reason.code == code
    assert Order.objects.count() == 1


def test_what_is_no_longer_sold_or_anothers_is_not_ordered() -> None:
    offer = _offer()
    Offer.objects.update(active=False)
    other = _offer(supplier=SupplierFactory.create(name="Sud Tools"), item=TapFactory.create(lead=50))
    for line in ((offer.pk, 1, 1), (other.pk, 1, 1)):
        with pytest.raises(Refused) as refused:
            _placed(offer, lines=[line])
        assert refused.value.reason.code == "offer_not_on_sale"


def test_the_number_proposed_follows_the_last_of_its_year() -> None:
    assert purchasing.next_number(NOW) == "2026-001"
    offer = _offer()
    for number in ("2026-009", "2026-A", "2025-700", "2026-1 a"):
        _placed(offer, number=number)
    assert purchasing.next_number(NOW) == "2026-010"


@pytest.mark.parametrize("rows", [2, 20])
def test_what_is_on_order_is_read_in_one_query_however_much(rows: int) -> None:
    supplier = SupplierFactory.create()
    offers = [_offer(supplier=supplier, item=TapFactory.create(lead=10 + n)) for n in range(rows)]
    for number, offer in enumerate(offers):
        _placed(offer, number=f"N-{number}")
    items = [offer.lines.get().item_id for offer in offers]
    with CaptureQueriesContext(connection) as asked:
        assert len(purchasing.on_order(items)) == rows
    assert len(asked) == 1
    with CaptureQueriesContext(connection) as asked:
        assert sum(len(order.lines.all()) for order in purchasing.open_orders()) == rows
    assert len(asked) == 3  # orders with their suppliers, their lines, the offers of those


def test_an_order_that_told_what_came_of_it_tells_no_lead_time_of_what_never_came() -> None:
    supplier, bin = SupplierFactory.create(name="Nord Tools"), BinFactory.create()
    came, never = InsertFactory.create(number="I-1"), InsertFactory.create(number="I-2")
    offers = [purchasing.add_offer(supplier=supplier, items=[(item, 1)], price=1) for item in (came, never)]
    order = _placed(offers[0], lines=[(offer.pk, 5, 1) for offer in offers])
    lines = {each.item.pk: each.line for each in purchasing.expected(order)}
    arrived = [purchasing.Came(lines[came.pk], came.pk, bin, quantity=5)]
    purchasing.receive_order(number=order.number, came=arrived, by="x", as_of=NOW + timedelta(days=3))
    purchasing.receive_order(number=order.number, came=[], complete=True, by="x", as_of=NOW + timedelta(days=90))
    assert purchasing.lead_days([came.pk, never.pk], since=NOW) == {came.pk: [3]}
    assert purchasing.lead_days([never.pk], since=NOW) == {}
    assert purchasing.lead_days([came.pk], since=NOW) == {came.pk: [3]}


@pytest.mark.parametrize("came", [{"quantity": 5}, {"quantity": 3, "tags": ("T-1",)}, {}])
def test_tools_come_by_their_tags_and_by_no_number(came: dict[str, Any]) -> None:
    offer = _offer(item=TapFactory.create())
    (line,) = purchasing.expected(_placed(offer))
    arrived = purchasing.Came(line.line, line.item.pk, BinFactory.create(), **came)
    with pytest.raises(Refused) as refused:
        purchasing.receive_order(number="2026-001", came=[arrived], by="x", as_of=NOW)
    assert refused.value.reason.code == "tags_missing"
    assert purchasing.expected(order=purchasing.order_numbered("2026-001"))[0].came == 0
