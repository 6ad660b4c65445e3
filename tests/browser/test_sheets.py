"""Sheets in a real browser at the bench: sent, mapped, put right, taken in, written out; on a phone and on a tablet."""

from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from playwright.sync_api import Browser, Page, ViewportSize, expect

from inventory.models import Unit
from inventory.roles import give_role
from inventory.sheets import sending
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.factories import UnitFactory

pytestmark = pytest.mark.django_db(transaction=True)

HEAD = "Tool type;DC;LU;Our tag;OAL;Site;Bin\n"
FAULTY = HEAD + "drill;14,5;120;D-1;180;Main;A1\ndrill;much;90;D-2;120;Main;A1\ndrill;19/32 in;90;N-1;120;Main;A1\n"
GOOD = FAULTY.replace("much", "9").replace("N-1", "D-3")


@pytest.fixture(autouse=True)
def keeper(account: None) -> None:
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    UnitFactory.create(tag="n-1")


def _send(page: Page, text: str) -> None:
    page.goto("/shelf/sheets/")
    page.get_by_label("Sheet of stock").set_input_files(
        {"name": "drills.csv", "mimeType": "text/csv", "buffer": text.encode("cp1252")}
    )
    page.get_by_role("button", name="Send it").click()


def _looked_over(page: Page, name: str) -> None:
    picture(page, name)
    assert runs_off(page) == [], name
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true })")
    found = Axe().run(page)
    assert found.violations_count == 0, f"{name}: {found.generate_report()}"
    for pressed in page.locator("main :is(a, button, input, select, summary):visible").all():
        box = pressed.bounding_box()
        if box is not None and pressed.get_attribute("type") != "checkbox":  # its label is pressed as well
            assert box["height"] >= 43.9, (name, pressed.inner_text())


@pytest.mark.parametrize("size", [(390, 844), (820, 1180)])
def test_a_sheet_is_mapped_put_right_and_taken_in(page: Page, size: tuple[int, int], tmp_path: Path) -> None:
    page.set_viewport_size(ViewportSize(width=size[0], height=size[1]))
    log_in(page)
    page.get_by_role("link", name="Shelf").click()
    page.get_by_role("link", name="Sheets in and out").click()
    expect(page.get_by_label("Sheet of stock")).to_be_visible()
    _looked_over(page, f"sheets-{size[0]}")
    _send(page, FAULTY)
    expect(page.get_by_text("cells parted by semicolon")).to_be_visible()
    expect(page.get_by_label("DC", exact=True)).to_have_value("diameter")
    expect(page.get_by_text("overall length: not kept here")).to_be_visible()
    page.get_by_label("Our tag").select_option("tag")
    _looked_over(page, f"sheet-columns-{size[0]}")
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("status")).to_contain_text("2 to put right")
    expect(page.get_by_text("row 3, diameter “much”")).to_be_visible()
    expect(page.get_by_text("row 4, tag “N-1”")).to_be_visible()
    expect(page.get_by_role("button", name="Take it in")).to_have_count(0)
    _looked_over(page, f"sheet-faults-{size[0]}")
    _send(page, GOOD)
    page.get_by_label("Our tag").select_option("tag")
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("status")).to_contain_text("No fault was found.")
    _looked_over(page, f"sheet-good-{size[0]}")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("status")).to_contain_text("Taken in by")
    _looked_over(page, f"sheet-taken-{size[0]}")
    page.reload()
    page.go_back()
    page.go_forward()
    assert Unit.objects.filter(tag__startswith="D-").count() == 3
    page.goto("/shelf/sheets/")
    page.get_by_label("As", exact=True).select_option("csv")
    page.get_by_label("Headings").select_option("iso")
    with page.expect_download() as came:
        page.get_by_role("button", name="Write it").click()
    came.value.save_as(tmp_path / "out.csv")
    assert "D-3" in (tmp_path / "out.csv").read_text(encoding="utf-8-sig")


@pytest.mark.parametrize("script", [True, False])
def test_a_large_sheet_shows_how_far_it_is_with_scripts_and_without(
    browser: Browser, live_server: Any, script: bool
) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=script)
    page = context.new_page()
    log_in(page)
    rows = "".join(f"drill;{5 + n % 90};80;B-{n};;Main;A1\n" for n in range(sending.SMALL + 1500))
    _send(page, HEAD.replace("Our tag", "tag") + rows)
    page.get_by_role("button", name="Look at it").click()
    if script:
        expect(page.get_by_role("button", name="Take it in")).to_be_visible(timeout=60_000)
    else:
        _look_until(page, "No fault was found.")
    page.get_by_role("button", name="Take it in").click()
    if script:
        expect(page.get_by_role("status")).to_contain_text("Taken in by", timeout=60_000)
    else:
        _look_until(page, "Taken in by")
    assert Unit.objects.filter(tag__startswith="B-").count() == sending.SMALL + 1500
    context.close()


def _look_until(page: Page, told: str) -> None:
    for _ in range(100):
        if page.get_by_text(told).count():
            return
        expect(page.get_by_role("progressbar")).to_have_count(1)
        page.get_by_role("link", name="Look again").click()
        page.wait_for_timeout(300)
    raise AssertionError(told)
