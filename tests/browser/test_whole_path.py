"""The foreman's whole path in a real browser: a new job is typed, read back, saved, found short, reserved, seen on the
shelf, shopped for and released; at three widths, once by keyboard alone, once without JavaScript."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, ViewportSize, expect

from inventory.models import Reservation, UnitHold
from repairs.models import Job
from tests.browser.screen import log_in, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING

ANSWERS = {
    "site": "Main",
    "starts": "+2d",
    "parts-0-name": "pump casing",
    **{f"parts-0-groups-0-{key}": text for key, text in GROUP.items()},
}


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> None:
    """All of the kit but the setting tool, and one job before, so that the next number is J-2."""
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*(row for row in BUSH_KIT if row is not SETTING))
    bench.save(GROUP | {"starts": "+40d", "ends": "+41d"}, number="J-1")


def _named(page: Page, name: str) -> Locator:
    return page.locator(f'[name="{name}"]')


def _answer(page: Page) -> None:
    expect(page.get_by_role("heading", name="New job")).to_be_visible()
    for name, text in ANSWERS.items():
        if page.locator(f'select[name="{name}"]').count():
            _named(page, name).select_option(text)
        else:
            _named(page, name).fill(text)


def _reserved(page: Page) -> None:
    """On the sheet after the press: what is held is what matched, and the gap stays open."""
    expect(page.get_by_text("foreman reserved this on")).to_be_visible()
    expect(page.get_by_role("heading", name="Not complete: 10 match, 1 gap, 0 doubtful")).to_be_visible()
    assert UnitHold.objects.filter(active=True, reservation__label="J-2").count() == 8
    assert Job.objects.get(number="J-2").state == "booked"


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_from_a_typed_thread_to_a_reserved_kit_and_a_shopping_list(page: Page, width: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    log_in(page)
    page.get_by_role("link", name="New job").click()
    _answer(page)
    expect(page.locator("#parts-0-groups-0-thread-read")).to_contain_text("Read as M14x1.5")
    page.get_by_role("button", name="Save job").click()
    page.wait_for_url("**/jobs/J-2/")
    expect(page.get_by_text("None owned: there is no setting tool for M14x1.5").first).to_be_visible()
    assert runs_off(page) == []
    page.get_by_role("button", name="Reserve the matched set").click()
    _reserved(page)
    page.get_by_role("link", name="Shelf").click()
    page.get_by_label("Find on the shelf").fill("M16x1.5 tap")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="T-16").click()
    held = page.get_by_role("link", name="J-2").first
    expect(held).to_be_visible()
    assert runs_off(page) == []
    held.click()
    page.wait_for_url("**/jobs/J-2/")
    page.get_by_role("link", name="Buy", exact=True).click()
    expect(page.get_by_text("setting tool M14x1.5").first).to_be_visible()
    assert runs_off(page) == []
    page.goto("/jobs/J-2/")
    page.get_by_role("button", name="Release all of it").click()
    expect(page.get_by_text("released by foreman")).to_be_visible()
    assert not UnitHold.objects.filter(active=True).exists()


def _tab_to(page: Page, wanted: Locator) -> None:
    for _ in range(200):
        if wanted.evaluate("each => each === document.activeElement"):
            expect(wanted).to_be_in_viewport()
            return
        page.keyboard.press("Tab")
    raise AssertionError("it is not reached by the Tab key")


def test_the_whole_path_by_keyboard_alone(page: Page) -> None:
    log_in(page)
    _tab_to(page, page.get_by_role("link", name="New job"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="New job")).to_be_visible()
    for name, text in ANSWERS.items():
        page.locator("main").focus()  # every question is reached from the top, whatever stands in between
        _tab_to(page, _named(page, name))
        page.keyboard.type(text)
    page.locator("main").focus()
    _tab_to(page, page.get_by_role("button", name="Save job"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/jobs/J-2/")
    _tab_to(page, page.get_by_role("button", name="Reserve the matched set"))
    page.keyboard.press("Enter")
    _reserved(page)
    _tab_to(page, page.get_by_role("button", name="Release all of it"))
    page.keyboard.press("Enter")
    expect(page.get_by_text("released by foreman")).to_be_visible()


def test_the_whole_path_without_javascript(browser: Browser, live_server: Any) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    log_in(page)
    page.get_by_role("link", name="New job").click()
    _answer(page)
    page.get_by_role("button", name="Save job").click()
    page.wait_for_url("**/jobs/J-2/")
    page.get_by_role("button", name="Reserve the matched set").click()
    _reserved(page)
    page.goto("/buy/?job=J-2")
    expect(page.get_by_text("setting tool M14x1.5").first).to_be_visible()
    page.goto("/jobs/J-2/")
    page.get_by_role("button", name="Release all of it").click()
    expect(page.get_by_text("released by foreman")).to_be_visible()
    assert Reservation.objects.get(label="J-2").state == "released"
    context.close()
