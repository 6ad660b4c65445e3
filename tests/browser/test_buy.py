"""Buying in a real browser: read narrow and wide, ordered once, by keyboard, without JavaScript, and on paper."""

from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from django.utils import timezone
from playwright.sync_api import Browser, Page, ViewportSize, expect

from inventory import catalogue, purchasing
from inventory.models import Order
from inventory.roles import give_role
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, HOLE_GAUGE, SETTING, TAP_16

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> None:
    """Two jobs that lack a tap, a setting tool that comes late, and a gauge that nobody sells; a set beside them."""
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*(row for row in BUSH_KIT if row not in (TAP_16, SETTING, HOLE_GAUGE)))
    tap = catalogue.add_item(
        kind="tap", number="TP-16", name="hand tap", thread="M16x1.5", thread_class="6H", usable_length=60_000_000,
        lead=20, flute="straight", action="cut", life=40,
    )  # fmt: skip
    tool = catalogue.add_item(kind="setting_tool", number="ST-14", thread="M14x1.5")
    nord = purchasing.add_supplier(name="Nord Tools", carriage=500, minimum=40_000)
    sud = purchasing.add_supplier(name="Sud Tools", carriage=900)
    purchasing.add_offer(supplier=nord, items=[(tap, 1)], price=3100, lead_days=1, number="N-16")
    purchasing.add_offer(supplier=sud, items=[(tool, 1)], price=8000, lead_days=9, number="S-14")
    purchasing.add_offer(supplier=sud, items=[(tap, 1), (tool, 1)], price=9900, lead_days=1, name="bush set")
    bench.save(GROUP, number="J-1")
    bench.save(GROUP, GROUP | {"hole": "through", "floor": "", "depth": "2"}, number="J-2")


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_list_is_read_at_this_width(page: Page, width: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    log_in(page)
    page.get_by_role("link", name="Buy").click()
    expect(page.get_by_role("heading", name="By supplier")).to_be_visible()
    expect(page.locator(".buy-list tbody tr")).to_have_count(4)  # of the gauge a line a job
    expect(page.get_by_text("not on offer", exact=True)).to_have_count(2)
    expect(page.locator(".buy-list .when .gap", has_text="late")).to_be_visible()
    picture(page, f"buy-{width}")
    assert runs_off(page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_and_all_that_can_be_pressed_is_large_enough(page: Page, scheme: Any) -> None:
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size(ViewportSize(width=390, height=900))
    log_in(page)
    page.get_by_role("link", name="Buy").click()
    expect(page.get_by_role("heading", name="By supplier")).to_be_visible()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    for pressed in page.locator("main :is(a, button, select, label.tick):visible").all():
        box = pressed.bounding_box()
        assert box is None or box["height"] >= 43.9, pressed.inner_text()


def test_an_order_is_written_by_keyboard_alone_and_reload_and_back_do_no_harm(page: Page) -> None:
    log_in(page)
    page.goto("/buy/")
    page.get_by_role("button", name="Write order to Nord Tools").focus()
    page.keyboard.press("Shift+Tab")
    number = page.locator("input:focus")
    expect(number).to_have_value(f"{timezone.now().year}-001")
    number.fill("B-77")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_have_text("Written:")
    expect(page.get_by_role("status")).to_be_in_viewport()
    expect(page.locator(".coming")).to_contain_text("on order: 2 packs")
    picture(page, "buy-ordered")
    page.reload()
    page.go_back()
    page.go_forward()
    assert [order.number for order in Order.objects.all()] == ["B-77"]
    nord = page.locator("article", has=page.get_by_role("button", name="Write order to Nord Tools"))
    expect(nord.get_by_role("checkbox")).not_to_be_checked()
    page.get_by_role("button", name="Cancel B-77").click()
    expect(page.locator(".coming")).to_have_count(0)


def test_an_order_from_a_page_that_stood_open_is_refused_where_it_was_pressed(page: Page) -> None:
    log_in(page)
    page.goto("/buy/")
    offer = purchasing.offers_for([each.pk for each in catalogue.by_number(["TP-16"]).values()])[0]
    purchasing.place_order(
        supplier=offer.supplier, number="N-1", lines=[(offer.offer, 2, 3100)], by="x", as_of=timezone.now()
    )
    page.get_by_role("button", name="Write order to Nord Tools").click()
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("somebody ordered meanwhile")
    expect(alert).to_be_in_viewport()
    picture(page, "buy-refused")
    assert Order.objects.count() == 1


def test_the_list_of_one_job_is_chosen_and_ordered_without_javascript(browser: Browser, live_server: Any) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    log_in(page)
    page.goto("/buy/")
    page.get_by_label("For", exact=True).select_option("J-2")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_role("heading", name="Buy for J-2")).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="List for a spreadsheet").click()
    assert "hand tap" in download.value.path().read_text(encoding="utf-8-sig")
    page.get_by_role("button", name="Write order to Nord Tools").click()
    expect(page.locator(".coming")).to_contain_text("on order: 1 pack")
    context.close()


def test_on_paper_the_list_stands_without_what_is_pressed(page: Page) -> None:
    log_in(page)
    page.goto("/buy/")
    page.emulate_media(media="print")
    picture(page, "buy-print")
    for hidden in ("Log out", "Show", "Write order to Nord Tools"):
        expect(page.get_by_role("button", name=hidden)).to_be_hidden()
    expect(page.locator(".buy-list")).to_be_visible()
    expect(page.get_by_role("heading", name="Nord Tools")).to_be_visible()
