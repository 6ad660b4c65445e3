"""The shelf in a real browser: found by what is typed, moved by mouse and by keyboard, without JavaScript too."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from django.utils import timezone
from playwright.sync_api import Browser, Page, ViewportSize, expect

from inventory import stock
from inventory.models import Batch, Movement, Unit
from inventory.roles import give_role
from repairs import jobs
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING, TAP_16

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> None:
    """A kit that a job holds, look-alikes, things away, due and expired; whoever logs in keeps the stores too."""
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    bench = Bench(tmp_path, timezone.now())
    bench.stock(
        *BUSH_KIT,
        TAP_16 | {"tag": "T-16C", "thread": "M16x2", "name": "hand tap"},
        TAP_16 | {"tag": "T-17", "holes cut": "200"},
        {"kind": "drill", "tag": "D-144", "diameter": "14.4", "usable length": "120", "life": "100"},
        {"kind": "indicator", "tag": "DI-9", "calibration due": "-9d"},
        {"kind": "oil", "lot": "OIL-9", "quantity": "2", "expires": "-9d"},
    )
    stock.add_person(name="Ida Stone", badge="7")
    bench.stock(SETTING | {"tag": "ST-15"})
    lent = Unit.objects.get(tag="ST-15")
    stock.lend_unit(unit=lent, to=stock.person("7"), until=None, as_of=timezone.now(), by="x")
    jobs.book(bench.save(GROUP, number="J-1"), by="Ida", as_of=bench.as_of)


def _pages() -> dict[str, str]:
    return {
        "shelf": "/shelf/",
        "shelf-taps": "/shelf/?q=M16x1.5+tap",
        "shelf-question": "/shelf/?q=zork+tap+14",
        "shelf-drills": "/shelf/?q=drill+14.4-14.7",
        "unit": "/shelf/units/T-16/",
        "unit-away": "/shelf/units/ST-15/",
        "batch": f"/shelf/batches/{Batch.objects.get(lot='B-1').pk}/",
        "bin": "/shelf/bins/Main/B1-1/",
        "item": f"/shelf/items/{Unit.objects.get(tag='T-16').item.address}/",
    }


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_every_page_of_the_shelf_is_read_at_this_width(page: Page, width: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    for name, address in _pages().items():
        page.goto(address)
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        picture(page, f"{name}-{width}")
        assert runs_off(page) == [], address


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_and_all_that_can_be_pressed_is_large_enough(page: Page, scheme: Any) -> None:
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size(ViewportSize(width=390, height=900))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    for name, address in _pages().items():
        page.goto(address)
        page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true })")
        found = Axe().run(page)
        assert found.violations_count == 0, f"{name}: {found.generate_report()}"
        for pressed in page.locator("main :is(a, button, input, select, summary):visible").all():
            box = pressed.bounding_box()
            if box is not None and pressed.get_attribute("type") != "checkbox":  # its label is pressed as well
                assert box["height"] >= 43.9, (name, pressed.inner_text())


def test_what_is_typed_is_said_back_and_leads_to_the_unit_and_to_the_job_that_holds_it(page: Page) -> None:
    log_in(page)
    page.get_by_role("link", name="Shelf").click()
    box = page.get_by_label("Find on the shelf")
    expect(box).to_be_focused()
    page.keyboard.type("tap m16 x 1,5")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("taps for M16x1.5")
    expect(page.get_by_role("link", name="T-16", exact=True)).to_have_count(1)
    expect(page.get_by_role("heading", name="Look-alikes here")).to_be_visible()
    page.get_by_role("link", name="T-16", exact=True).click()
    expect(page.get_by_role("heading", name="Unit T-16")).to_be_visible()
    page.locator(".holds").get_by_role("link", name="J-1").click()
    expect(page.get_by_role("heading", name="Job J-1")).to_be_visible()


def test_a_question_is_answered_by_a_press(page: Page) -> None:
    log_in(page)
    page.goto("/shelf/?q=tap+16")
    expect(page.get_by_role("alert")).to_contain_text("which is it")
    page.get_by_role("link", name="tap M16x1.5").click()
    expect(page.get_by_label("Find on the shelf")).to_have_value("tap M16x1.5")
    expect(page.get_by_role("link", name="T-16", exact=True)).to_be_visible()


def test_a_unit_is_lent_by_keyboard_alone_and_reload_and_back_do_no_harm(page: Page) -> None:
    log_in(page)
    page.goto("/shelf/units/D-144/")
    fold = page.locator("summary", has_text="Lend it")
    fold.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(page.get_by_label("To whom")).to_be_focused()
    page.keyboard.type("ida stone")
    page.keyboard.press("Tab")
    until = (timezone.now() + timedelta(days=9)).date()
    page.get_by_label("Until the end of").fill(until.isoformat())
    page.get_by_role("button", name="Lend D-144").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".title-block")).to_contain_text(f"on loan with Ida Stone until {until}")
    expect(page.get_by_role("status")).to_have_text("Written:")
    picture(page, "unit-lent")
    page.reload()
    page.go_back()
    page.go_forward()
    expect(page.locator(".title-block")).to_contain_text("on loan")
    assert Movement.objects.filter(unit__tag="D-144", act="lent").count() == 1


def test_what_is_refused_stands_at_the_press_and_nothing_typed_is_lost(page: Page) -> None:
    log_in(page)
    page.goto("/shelf/units/D-144/")
    stock.scrap_unit(unit=Unit.objects.get(tag="D-144"), reason="snapped", as_of=timezone.now(), by="x")
    page.get_by_text("Holes were cut with it").click()
    page.get_by_label("Holes cut").fill("4")
    page.get_by_label("For job").fill("J-1")
    page.get_by_role("button", name="Book the holes").click()
    alert = page.get_by_role("alert")
    expect(alert).to_have_text("D-144 is retired.")
    expect(alert).to_be_in_viewport()
    expect(page.get_by_label("Holes cut")).to_have_value("4")
    expect(page.get_by_label("For job")).to_have_value("J-1")
    picture(page, "unit-refused")


def test_stock_is_found_and_moved_without_javascript(browser: Browser, live_server: Any) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    log_in(page)
    page.get_by_role("link", name="Shelf").click()
    page.get_by_label("Find on the shelf").fill("B-1")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="B-1", exact=True).click()
    page.get_by_text("Set to what was counted").click()
    page.get_by_label("Counted").fill("7")
    page.get_by_label("Why it differs").fill("count of March")
    page.get_by_role("button", name="Set it").click()
    expect(page.locator(".title-block")).to_contain_text("7:")
    expect(page.locator("tr.done")).to_contain_text("count of March")
    context.close()
