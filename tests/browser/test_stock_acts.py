"""Regrind, calibration and a new bin on the pages of a unit and a batch, in a real browser at phone and tablet."""

import pytest
from django.contrib.auth import get_user_model
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, ViewportSize, expect

from inventory import stock
from inventory.models import Batch, LifeFactor, Unit
from inventory.roles import give_role
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.factories import BatchFactory, BinFactory, InsertFactory, ItemFactory, UnitFactory

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def crib(account: None) -> None:
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    here = BinFactory.create(name="B4")
    BinFactory.create(name="C9")
    item = ItemFactory.create(number="D-145", life=20, most_regrinds=3)
    LifeFactor.objects.create(item=item, material="grey_iron", percent=150)
    drill = UnitFactory.create(tag="D-1", item=item, bin=here, holes_cut=19)
    stock.send_unit(unit=drill, why="regrind", as_of=timezone.now(), by="Ida")
    UnitFactory.create(tag="G-1", item=ItemFactory.create(kind="indicator", number="G", calibration_days=365), bin=here)
    BatchFactory.create(item=InsertFactory.create(number="IN-1", pack_size=4), lot="L1", bin=here, quantity=11)


@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180)])
def test_a_drill_comes_back_reground_a_gauge_is_calibrated_and_a_lot_moves(page: Page, width: int, height: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=height))
    log_in(page)
    page.goto(reverse("unit", args=["D-1"]))
    page.get_by_text("It is back").click()
    page.get_by_label("Its diameter now").fill("14.4")
    page.get_by_role("button", name="Put D-1 back").click()
    expect(page.get_by_text("1 of at most 3")).to_be_visible()
    page.get_by_text("Holes were cut with it").click()
    page.get_by_label("Holes cut").fill("4")
    page.get_by_label("In which material").select_option("grey iron")
    page.get_by_role("button", name="Book the holes").click()
    expect(page.get_by_text("14 of 20 holes (4 cut, which took 6)")).to_be_visible()
    picture(page, f"stock-reground-{width}")
    assert runs_off(page) == []
    page.goto(reverse("unit", args=["G-1"]))
    page.get_by_text("It was calibrated here").click()
    page.get_by_label("Certificate").fill("C-17")
    picture(page, f"stock-calibrate-{width}")
    page.get_by_role("button", name="Book the calibration").click()
    expect(page.get_by_text("certificate C-17")).to_be_visible()
    assert Unit.objects.get(tag="G-1").calibration_due is not None
    page.goto(reverse("batch", args=[Batch.objects.get(lot="L1").pk]))
    expect(page.get_by_text("2 packs of 4 and 3 loose")).to_be_visible()
    page.get_by_text("It gets another bin").click()
    page.get_by_label("Into bin").fill("c9")
    page.get_by_role("button", name="Move them").click()
    expect(page.get_by_text("0 free, 0 held")).to_be_visible()
    picture(page, f"stock-moved-{width}")
    assert runs_off(page) == []
    assert stock.disagreements() == []
