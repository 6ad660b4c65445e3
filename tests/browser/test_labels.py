"""Labels in a real browser, on a phone and on a tablet: printed, scanned, and something done with what was scanned."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
import zxingcpp
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from playwright.sync_api import Page, ViewportSize, expect

from inventory.models import Unit
from inventory.roles import give_role
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.factories import BatchFactory, BinFactory, PersonFactory, SiteFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def crib(account: None) -> None:
    """Two taps and a lot in a bin; whoever logs in keeps the stores too."""
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    bin_ = BinFactory.create(name="B4", site=SiteFactory(name="Main"))
    item = TapFactory.create(number="TP-16", name="hand tap")
    for tag in ("T-16", "T 16/2 grün 50%"):
        UnitFactory.create(tag=tag, item=item, bin=bin_)
    BatchFactory.create(bin=bin_, lot="L-9")
    PersonFactory.create(name="Ida Stone", badge="7")


@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180)])
def test_a_label_is_printed_scanned_and_its_tool_lent(page: Page, tmp_path: Path, width: int, height: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=height))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.goto("/shelf/?q=M16x1.5+tap")
    page.get_by_role("link", name="Labels of all that is found").click()
    expect(page.get_by_role("status")).to_contain_text("2 labels on 1 sheet")
    assert runs_off(page) == []
    picture(page, f"labels-{width}")
    assert Axe().run(page).response["violations"] == []
    page.get_by_label("Sheet").select_option("38.1x21.2")
    with page.expect_download() as download:
        page.get_by_role("button", name="Labels as PDF").click()
    printed = tmp_path / "labels.pdf"
    download.value.save_as(printed)
    if not shutil.which("pdftoppm"):
        pytest.skip("there is no poppler-utils on this machine")
    raw = subprocess.run(["pdftoppm", "-gray", "-r", "300", printed], capture_output=True, check=True).stdout
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", raw)
    assert head
    dots = memoryview(raw[head.end() :]).cast("B", (int(head[2]), int(head[1])))
    addresses = {code.text for code in zxingcpp.read_barcodes(dots, zxingcpp.BarcodeFormat.QRCode)}
    assert len(addresses) == 2
    (odd,) = (address for address in addresses if "%25" in address)
    page.goto(odd)
    expect(page.get_by_role("heading", level=1)).to_contain_text("T 16/2 grün 50%")
    assert runs_off(page) == []
    picture(page, f"scanned-{width}")
    assert Axe().run(page).response["violations"] == []
    page.get_by_text("Lend it").click()
    page.get_by_label("To whom").fill("Ida Stone")
    page.get_by_role("button", name="Lend T 16/2").click()
    expect(page.get_by_text("on loan").first).to_be_visible()
    assert Unit.objects.get(tag="T 16/2 grün 50%").away_with == "Ida Stone"


@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180)])
def test_a_scanner_types_into_the_field_and_an_unknown_tag_is_told(page: Page, width: int, height: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=height))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.goto("/tag/")
    expect(page.locator("input[autofocus]")).to_be_focused()
    page.keyboard.type("T-61")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("Nothing here carries “T-61”")
    assert runs_off(page) == []
    picture(page, f"tag-unknown-{width}")
    assert Axe().run(page).response["violations"] == []
    page.get_by_label("Tag, bin, lot").fill("t-16")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("T-16")
