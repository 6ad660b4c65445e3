"""The pages of order points: how each item stands, the proposal with its arithmetic, and one press that takes it."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import order_points, policy, purchasing, stock
from inventory.models import CribSetting, Item, OrderPoint
from inventory.roles import give_role
from tests.factories import BatchFactory, InsertFactory, SupplierFactory, TapFactory

pytestmark = pytest.mark.django_db


def client_as(role: str) -> Client:
    user = User.objects.create_user(f"a {role}")
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def keeper() -> Client:
    return client_as("storekeeper")


@pytest.fixture
def item() -> Item:
    """A bush with half a year of use, ten in a pack."""
    now = timezone.now()
    item = InsertFactory.create(number="8/1", name="bush")
    batch = BatchFactory.create(item=item, quantity=100, as_of=now - timedelta(days=180))
    for at in range(30):
        stock.issue_batch(batch=batch, quantity=3, label=f"J-{at}", by="Ida", as_of=now - timedelta(days=179 - at * 5))
    purchasing.add_offer(
        supplier=SupplierFactory.create(name="Nord"), items=[(item, 1)], pack=10, price=1500, lead_days=7
    )
    return item


def flat(answer: Any) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def seen(shown: str) -> str:
    return shown.split('name="seen" value="')[1].split('"')[0]


def test_two_bushes_that_share_a_name_are_told_apart_by_their_size_in_every_list(keeper: Client) -> None:
    now, nord = timezone.now(), SupplierFactory.create(name="Nord")
    offers = []
    for number, long in (("80/1", 14), ("80/2", 21)):
        bush = InsertFactory.create(number=number, name="wire insert", insert_length=long * 1_000_000)
        order_points.set_order_point(item=bush, minimum=1, order_point=9, maximum=20, why="x", by="Ada", as_of=now)
        offers.append(purchasing.add_offer(supplier=nord, items=[(bush, 1)], price=100))
    lines = [(offer.pk, 3, 100) for offer in offers]
    purchasing.place_order(supplier="Nord", number="B-1", lines=lines, by="Ada", as_of=now)
    for name, of in (("order-points", ()), ("attention", ()), ("order", ("B-1",))):
        page = flat(keeper.get(reverse(name, args=of)))
        for long in (14, 21):
            assert f"ire insert M14x1.5 in M16x1.5, {long} mm long" in page, (name, long)


def test_the_page_shows_how_each_item_stands_and_the_arithmetic(keeper: Client, item: Item) -> None:
    shown = flat(keeper.get(reverse("order-points")))
    assert "Use a day: 90 ÷ 181 days = 0.4972, standard deviation" in shown
    assert "Use over the lead time: 0.4972 × 7 = 3.481." in shown
    assert "Take the proposal for 8/1" in shown
    assert "<dt>Free</dt><dd>10</dd>" in shown


def test_one_press_takes_the_proposal_as_it_was_shown_and_a_second_changes_nothing(keeper: Client, item: Item) -> None:
    shown = flat(keeper.get(reverse("order-points")))
    sent = {"seen": seen(shown), "key": "k", "back": "list"}
    for _ in range(2):
        answer = keeper.post(reverse("order-point-take", args=["8/1"]), sent)
        assert answer.headers["Location"] == f"/shelf/order-points/#item-{item.pk}"
    row = OrderPoint.objects.get()
    assert f"{row.minimum}/{row.order_point}/{row.maximum}" == sent["seen"]
    assert (row.by, row.why) == ("a storekeeper", "As proposed.")


def test_a_proposal_that_moved_since_is_refused_at_its_item(keeper: Client, item: Item) -> None:
    sent = {"seen": seen(flat(keeper.get(reverse("order-points")))), "key": "k"}
    policy.settle(code="service", value="99.9", why="x", by="Ada", as_of=timezone.now())
    answer = keeper.post(reverse("order-point-take", args=["8/1"]), sent)
    assert answer.status_code == 409
    assert "has changed since the page was shown" in flat(answer)
    assert not OrderPoint.objects.exists()


def test_it_is_set_by_hand_on_the_items_page_and_what_is_wrong_stands_at_its_field(keeper: Client, item: Item) -> None:
    address = reverse("order-point-set", args=["8/1"])
    wrong = keeper.post(address, {"minimum": "9", "order_point": "4", "maximum": "20", "why": "by eye"})
    assert wrong.status_code == 409
    assert "The order point must not be below the minimum." in flat(wrong)
    assert 'value="by eye"' in flat(wrong)
    half = keeper.post(address, {"minimum": "9", "why": "by eye"})
    assert "are given together, or none of them" in flat(half)
    assert keeper.post(address, {"minimum": "2", "order_point": "4", "maximum": "20"}).status_code == 400
    right = keeper.post(address, {"minimum": "2", "order_point": "12", "maximum": "20", "why": "by eye"})
    assert right.status_code == 302
    shown = flat(keeper.get(reverse("item", args=["8/1"])))
    assert "At or below its order point" in shown
    assert "10 bring it up to 20" in shown
    low = flat(keeper.get(reverse("order-points"), {"show": "low"}))
    assert "bush" in low


def test_a_tool_has_no_order_point_on_its_page_and_takes_none(keeper: Client) -> None:
    tap = TapFactory.create(number="3001")
    assert "order-point" not in flat(keeper.get(reverse("item", args=["3001"])))
    answer = keeper.post(
        reverse("order-point-set", args=[tap.number]), {"minimum": "1", "order_point": "1", "maximum": "1", "why": "x"}
    )
    assert answer.status_code in (404, 409)
    assert not OrderPoint.objects.exists()
    assert keeper.post(reverse("order-point-take", args=["3001"]), {"seen": "x"}).status_code == 404


def test_a_fitter_reads_and_sets_nothing(item: Item) -> None:
    shown = flat(client_as("fitter").get(reverse("item", args=["8/1"])))
    assert "Use a day" in shown
    assert "Set the order point" not in shown
    assert "A storekeeper sets it." in shown


@pytest.mark.parametrize("count", [2, 20])
def test_the_page_asks_a_fixed_number_of_queries(keeper: Client, count: int) -> None:
    now = timezone.now()
    for at in range(count):
        each = InsertFactory.create(number=f"I-{at}")
        BatchFactory.create(item=each)
        order_points.set_order_point(item=each, minimum=1, order_point=2, maximum=3, why="x", by="B", as_of=now)
    keeper.get(reverse("order-points"))
    with CaptureQueriesContext(connection) as asked:
        keeper.get(reverse("order-points"))
    assert len(asked) == 13  # session, user, roles, and ten of the room


# What the crib has settled


def test_a_setting_is_settled_with_why_and_what_makes_no_sense_stands_at_its_field(keeper: Client) -> None:
    address = reverse("crib-settings-settle")
    wrong = keeper.post(address, {"code": "service", "value": "100", "why": "all of them"})
    assert wrong.status_code == 400
    assert "a number from 50 to 99.9" in flat(wrong)
    assert 'value="all of them"' in flat(wrong)
    assert keeper.post(address, {"code": "service", "value": "98", "why": ""}).status_code == 400
    right = keeper.post(address, {"code": "service", "value": "98", "why": "a pump stood still"})
    assert right.headers["Location"] == "/settings/crib/#service"
    assert CribSetting.objects.get().by == "a storekeeper"
    shown = flat(client_as("fitter").get(reverse("crib-settings")))
    assert "a pump stood still" in shown
    assert "Set it" not in shown
