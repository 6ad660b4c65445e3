"""The page of one order: what came goes into its bins, all of it or none, and is told afterwards."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory import purchasing, stock
from inventory.errors import Refused
from inventory.models import Batch, Delivery, Movement, Order, Unit
from inventory.roles import give_role
from tests.factories import BinFactory, InsertFactory, ItemFactory, SupplierFactory, TapFactory

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def keeper() -> Client:
    user = User.objects.create_user("bram")
    give_role(user, "storekeeper")
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def order() -> Order:
    """Two packs of ten bushes, and two taps."""
    firm = SupplierFactory.create(name="Nord")
    bush = purchasing.add_offer(supplier=firm, items=[(InsertFactory.create(name="bush"), 1)], pack=10, price=100)
    tap = purchasing.add_offer(supplier=firm, items=[(TapFactory.create(name="tap"), 1)], price=3000)
    BinFactory.create(name="D1")
    lines = [(bush.pk, 2, 100), (tap.pk, 2, 3000)]
    return purchasing.place_order(supplier="Nord", number="B/1", lines=lines, by="Bram", as_of=NOW - timedelta(days=6))


def sent(order: Order, *values: dict[str, Any], **whole: Any) -> dict[str, Any]:
    typed = dict(whole)
    for each, of in zip(purchasing.expected(order), values, strict=False):
        typed |= {f"line-{each.line}-{each.item.pk}-{name}": value for name, value in of.items()}
    return typed


def post(client: Client, order: Order, *values: dict[str, Any], **whole: Any) -> Any:
    return client.post(reverse("order-receive", args=[order.number]), sent(order, *values, **whole))


BUSHES, TAPS = {"pieces": "20", "bin": "d1", "lot": "L-7", "expires": "2030-01-31"}, {"tags": "T-1, T-2", "bin": "D1"}


def test_what_came_goes_through_the_ledger_into_its_bin_and_closes_the_order(keeper: Client, order: Order) -> None:
    answer = post(keeper, order, BUSHES, TAPS, note="LS 44", request_key="k")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/orders/B/1/#came")
    batch = Batch.objects.get()
    assert (batch.on_hand, batch.lot, batch.expires, batch.bin.name) == (20, "L-7", date(2030, 1, 31), "D1")
    assert sorted(Unit.objects.values_list("tag", flat=True)) == ["T-1", "T-2"]
    assert set(Movement.objects.values_list("act", "reason", "by")) == {("received", "B/1", "bram")}
    order.refresh_from_db()
    assert (order.state, order.closed_by) == ("received", "bram")
    assert stock.disagreements() == []
    shown = keeper.get(reverse("order", args=["B/1"])).content.decode()
    assert "note LS 44" in shown
    again = post(keeper, order, BUSHES, TAPS, note="LS 44", request_key="k")
    assert again.status_code == 302
    assert (Delivery.objects.count(), Movement.objects.count()) == (1, 3)


def test_a_part_leaves_the_rest_on_order_until_nothing_more_will_come(keeper: Client, order: Order) -> None:
    assert post(keeper, order, BUSHES | {"pieces": "12"}, {"tags": "", "bin": ""}).status_code == 302
    items = {each.item.kind: each.item.pk for each in purchasing.expected(order)}
    coming = purchasing.on_order(items.values())
    (bushes,), (taps,) = coming[items["insert"]], coming[items["tap"]]
    assert (bushes.packs, bushes.pieces, taps.packs, taps.pieces) == (1, 8, 2, 2)
    assert post(keeper, order, {"pieces": ""}, {}, complete="on").status_code == 302
    order.refresh_from_db()
    assert order.state == "received"
    assert purchasing.on_order(items.values()) == {}
    late = post(keeper, order, BUSHES, {})
    assert late.status_code == 409
    assert "is received already" in late.content.decode()


def test_more_may_come_than_was_ordered(keeper: Client, order: Order) -> None:
    post(keeper, order, BUSHES | {"pieces": "25"}, TAPS)
    assert (Batch.objects.get().on_hand, Order.objects.get().state) == (25, "received")
    shown = keeper.get(reverse("order", args=[order.number])).content.decode()
    came = shown[shown.index('id="came"') :]
    assert "25 came, <strong>5 more than ordered</strong>" in came
    assert came.count("more than ordered") == 1  # of the taps as many came as were ordered


def test_what_came_beyond_the_order_is_told_while_the_rest_is_still_to_come(keeper: Client, order: Order) -> None:
    post(keeper, order, BUSHES | {"pieces": "25"}, {})
    shown = keeper.get(reverse("order", args=[order.number])).content.decode()
    assert Order.objects.get().state == "placed"
    assert "<strong>5 more than ordered</strong>; <strong>0</strong> still to come" in shown


def test_every_wrong_tag_and_every_unknown_bin_is_told_at_once_at_its_own_line(keeper: Client, order: Order) -> None:
    for tag in ("t-9", "T-8"):
        stock.receive_unit(item=TapFactory.create(), tag=tag, bin=BinFactory.create(), by="x", as_of=NOW)
    long = "T" * 41
    answer = post(keeper, order, BUSHES | {"bin": "Z9"}, TAPS | {"tags": f"T-9, T-8, T-1, T-1, {long}", "bin": "Z8"})
    assert answer.status_code == 400
    bushes, taps = answer.context["lines"]
    assert [fault.code for fault in bushes.errors.as_data()["bin"]] == ["bin_unknown"]
    assert [fault.code for fault in taps.errors.as_data()["bin"]] == ["bin_unknown"]
    assert sorted(fault.code for fault in taps.errors.as_data()["tags"]) == [
        "tag_taken", "tag_taken_in_other_letters", "tag_too_long", "tag_typed_twice",
    ]  # fmt: skip
    told = " ".join(taps.errors["tags"])
    assert [tag in told for tag in ("t-9", "T-8", "T-1 stands there twice", long)] == [True] * 4
    assert not answer.context["whole"].non_field_errors()
    answer = post(keeper, order, BUSHES, TAPS | {"tags": "T-8, T-1"})  # the act itself refuses, and names it
    assert answer.context["lines"][1].errors["tags"] == ["Another unit already has this tag: T-8."]
    assert not answer.context["whole"].non_field_errors()
    assert (Batch.objects.count(), Delivery.objects.count(), Unit.objects.count()) == (0, 0, 2)


def test_a_tag_that_two_lines_of_a_delivery_name_is_told_at_the_second(keeper: Client) -> None:
    firm = SupplierFactory.create(name="Nord")
    lines = [
        (purchasing.add_offer(supplier=firm, items=[(TapFactory.create(), 1)], price=1).pk, 1, 1) for _ in range(2)
    ]
    BinFactory.create(name="D1")
    order = purchasing.place_order(supplier="Nord", number="B-4", lines=lines, by="x", as_of=NOW)
    answer = post(keeper, order, {"tags": "T-1", "bin": "D1"}, {"tags": "t-1", "bin": "D1"})
    assert answer.status_code == 400
    first, second = answer.context["lines"]
    assert not first.errors
    assert second.errors["tags"] == ["t-1 stands there twice; each tool needs a tag of its own."]
    assert not Unit.objects.exists()


@pytest.mark.parametrize(
    ("bushes", "taps", "sentence"),
    [
        (BUSHES | {"bin": "Z9"}, {}, "There is no bin “Z9”."),
        (BUSHES | {"bin": ""}, {}, "-bin_error"),
        (BUSHES | {"pieces": "some"}, {}, "some"),
        (BUSHES | {"packed": "2031-01-01"}, {}, "still to come"),
        (BUSHES | {"expires": "2025-06-01"}, {}, "Expired stock that is really here comes in by a sheet."),
        (BUSHES | {"expires": "2220-01-31"}, {}, "is the year right?"),
        (BUSHES, TAPS | {"tags": "T-1, T-1"}, "stands there twice"),
        (BUSHES, TAPS | {"tags": "T-9, T-1"}, "T-9"),
        ({"pieces": ""}, {}, "Nothing is entered that came"),
    ],
)
def test_what_is_wrong_is_told_at_its_field_and_nothing_is_taken_in(
    keeper: Client, order: Order, bushes: dict[str, Any], taps: dict[str, Any], sentence: str
) -> None:
    stock.receive_unit(item=TapFactory.create(), tag="t-9", bin=BinFactory.create(), by="x", as_of=NOW)
    answer = post(keeper, order, bushes, taps, note="kept")
    assert answer.status_code in (400, 404, 409)
    shown = answer.content.decode()
    assert 'role="alert"' in shown
    assert sentence in shown
    assert 'value="kept"' in shown
    assert (Batch.objects.count(), Delivery.objects.count(), Unit.objects.count()) == (0, 0, 1)


def test_a_calibration_is_asked_of_what_is_calibrated_alone(keeper: Client, order: Order) -> None:
    assert "calibration_due" not in keeper.get(reverse("order", args=[order.number])).content.decode()
    gauge = purchasing.add_offer(
        supplier=SupplierFactory.create(name="Süd"), items=[(ItemFactory.create(kind="depth_gauge"), 1)], price=9
    )
    purchasing.place_order(supplier="Süd", number="B-9", lines=[(gauge.pk, 1, 9)], by="Bram", as_of=NOW)
    assert "-calibration_due" in keeper.get(reverse("order", args=["B-9"])).content.decode()


def test_lead_times_run_from_the_order_to_its_last_piece_and_cancelled_ones_tell_nothing(order: Order) -> None:
    bushes, taps = purchasing.expected(order)
    shelf = BinFactory.create()
    ids, since = [bushes.item.pk, taps.item.pk], NOW - timedelta(days=99)

    def come(as_of: datetime, line: Any, **of: Any) -> None:
        came = purchasing.Came(line=line.line, item=line.item.pk, bin=shelf, **of)
        purchasing.receive_order(number="B/1", came=[came], by="x", as_of=as_of)

    come(NOW - timedelta(days=3), bushes, quantity=10)
    assert purchasing.lead_days(ids, since=since) == {}  # the rest is still to come
    come(NOW, bushes, quantity=10)
    come(NOW + timedelta(days=1), taps, tags=("T-1", "T-2"))
    assert purchasing.lead_days(ids, since=since) == {bushes.item.pk: [6], taps.item.pk: [7]}
    for number, state in (("B-2", "cancelled"), ("B-3", "received")):
        offer = bushes.offer.pk
        purchasing.place_order(supplier="Nord", number=number, lines=[(offer, 1, 1)], by="x", as_of=NOW)
        purchasing.close_order(number=number, state=state, by="x", as_of=NOW + timedelta(days=2))
    assert purchasing.lead_days(ids, since=since)[bushes.item.pk] == [6, 2]


def test_a_line_of_another_order_and_a_key_of_another_delivery_are_refused(order: Order) -> None:
    stranger = purchasing.Came(line=order.lines.get(packs=2, price=100).pk + 900, item=1, bin=BinFactory.create())
    with pytest.raises(Refused, match="order_line_unknown"):
        purchasing.receive_order(number="B/1", came=[stranger], by="x", as_of=NOW)
    purchasing.receive_order(number="B/1", came=[], complete=True, by="x", as_of=NOW, request_key="k")
    offer = order.lines.first()
    assert offer is not None
    purchasing.place_order(supplier="Nord", number="B-2", lines=[(offer.offer_id, 1, 1)], by="x", as_of=NOW)
    with pytest.raises(Refused, match="request_key_reused"):
        purchasing.receive_order(number="B-2", came=[], complete=True, by="x", as_of=NOW, request_key="k")
