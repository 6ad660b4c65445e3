"""The crib's own pages in a real browser: an order point taken by one press, an order taken in, at phone and tablet."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone
from playwright.sync_api import Page, ViewportSize, expect

from inventory import purchasing, stock
from inventory.models import Batch, OrderPoint
from inventory.roles import give_role
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.factories import BatchFactory, BinFactory, InsertFactory, SupplierFactory

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def workshop(account: None) -> None:
    """A bush with half a year of use and an order of it that is on its way."""
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    now = timezone.now()
    item = InsertFactory.create(number="8001", name="bush")
    batch = BatchFactory.create(item=item, bin=BinFactory.create(name="H1"), quantity=100, as_of=now - timedelta(180))
    for at in range(32):
        stock.issue_batch(batch=batch, quantity=3, label=f"J-{at}", by="Ida", as_of=now - timedelta(179 - at * 5))
    offer = purchasing.add_offer(
        supplier=SupplierFactory.create(name="Nord"), items=[(item, 1)], pack=10, price=1500, lead_days=7
    )
    purchasing.place_order(supplier="Nord", number="B-1", lines=[(offer.pk, 1, 1500)], by="Bram", as_of=now)


@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180)])
def test_a_proposal_is_taken_and_an_order_taken_in(page: Page, width: int, height: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=height))
    log_in(page)
    page.goto("/shelf/order-points/")
    page.get_by_text("Proposed:").click()
    expect(page.get_by_text("Use a day: 96")).to_be_visible()
    page.get_by_role("button", name="Take the proposal for 8001").click()
    expect(page.get_by_text("As proposed.")).to_be_visible()
    picture(page, f"crib-order-point-{width}")
    assert runs_off(page) == []
    row = OrderPoint.objects.get()
    page.reload()
    assert OrderPoint.objects.count() == 1
    page.goto("/orders/B-1/")
    page.get_by_label("How many came").fill("6")
    page.get_by_label("Into bin").fill("h1")
    page.get_by_label("Lot").fill("L-2")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("4 still to come")).to_be_visible()
    picture(page, f"crib-order-{width}")
    assert runs_off(page) == []
    assert Batch.objects.get(lot="L-2").on_hand == 6
    assert row.order_point is not None
    page.goto("/attention/")
    page.get_by_role("button", name="Make an address").click()
    expect(page.get_by_label("Address")).to_have_value(re.compile(r"/calendar/.+\.ics$"))
