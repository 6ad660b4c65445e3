"""The page "threads" in a real browser: awkward spellings by keyboard alone, at every width, back and reload."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect

from tests.browser.screen import log_in, picture, runs_off

WIDTHS = [390, 820, 1280]


def opened(page: Page, width: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.get_by_role("link", name="Threads").click()
    expect(page.get_by_role("heading", name="Threads")).to_be_visible()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_thread_is_read_back_and_drawn_at_this_width(page: Page, width: int) -> None:
    opened(page, width)
    for typed, read in (("M14 x 1,5", "M14x1.5"), ("9/16 UNF", "9/16-18 UNF"), ("3/8 whit", "3/8-16 BSW")):
        page.get_by_label("Thread", exact=True).fill(typed)
        page.get_by_role("button", name="Show").click()
        expect(page.locator("#read-back")).to_have_text(read)
        expect(page.get_by_role("img", name=f"Profile of {read}").first).to_be_visible()
        picture(page, f"threads-{read.replace('/', '_')}-{width}")
        assert runs_off(page) == []


def test_the_keyboard_alone_is_enough_and_nothing_typed_is_lost(page: Page) -> None:
    opened(page, 390)
    field = page.locator("#id_q")
    for _ in range(20):
        page.keyboard.press("Tab")
        if field.evaluate("each => each === document.activeElement"):
            break
    expect(field).to_be_focused()
    page.keyboard.type("14x1.5")
    page.keyboard.press("Enter")
    expect(page.locator("#read-back")).to_have_text("M14x1.5")
    expect(page.get_by_text("metric assumed").or_(page.get_by_text("Taken as"))).to_be_visible()
    for typed in ('7/8"', "M14x15", "1/4 26"):
        field.fill(typed)
        page.keyboard.press("Enter")
        expect(page.locator("#q-wrong")).to_be_visible()
        expect(field).to_have_value(typed)
        assert page.locator(".wrong").count() == 1
        assert runs_off(page) == []
    page.go_back()
    expect(field).to_have_value("M14x15")
    page.reload()
    expect(field).to_have_value("M14x15")


def test_a_question_is_answered_with_one_press(page: Page) -> None:
    opened(page, 390)
    page.locator("#id_q").fill("1/4 26")
    page.get_by_role("button", name="Show").click()
    page.get_by_role("link", name="1/4-26 cycle").click()
    expect(page.locator("#read-back")).to_have_text("1/4-26 cycle")


def test_a_measured_thread_is_found_and_opened(page: Page) -> None:
    opened(page, 390)
    page.get_by_text("What is this thread?").click()
    page.get_by_label("Outside diameter").fill("9,47")
    page.get_by_label("Threads per inch").fill("20")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="3/8-20 BSF").click()
    expect(page.locator("#read-back")).to_have_text("3/8-20 BSF")


def test_nothing_typed_is_no_fault(page: Page) -> None:
    opened(page, 390)
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".wrong")).to_have_count(0)


@pytest.mark.parametrize("width", [390, 1280])
def test_a_refusal_a_question_and_a_bare_hole_fit_this_width(page: Page, width: int) -> None:
    opened(page, width)
    for typed in ("9/16-19", "1/4", "M64", "1 1/2-18", "2 BA"):
        page.locator("#id_q").fill(typed)
        page.keyboard.press("Enter")
        expect(page.locator("#id_q")).to_have_value(typed)
        picture(page, f"threads-{typed.replace('/', '_')}-{width}")
        assert runs_off(page) == []


def test_look_alikes_are_reached_by_keyboard_and_back_leads_home(page: Page) -> None:
    opened(page, 1280)
    page.locator("#id_q").fill("M14x1.5")
    page.keyboard.press("Enter")
    twin = page.get_by_role("link", name="9/16-18 UNF", exact=True)
    for _ in range(60):
        page.keyboard.press("Tab")
        if twin.evaluate("each => each === document.activeElement"):
            break
    expect(twin).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#read-back")).to_have_text("9/16-18 UNF")
    page.go_back()
    expect(page.locator("#read-back")).to_have_text("M14x1.5")
    page.reload()
    expect(page.locator("#id_q")).to_have_value("M14x1.5")


def test_the_page_works_without_javascript(browser: Browser, account: None, live_server: Any) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    opened(page, 390)
    page.locator("#id_q").fill("1/4 26")
    page.get_by_role("button", name="Show").click()
    page.get_by_role("link", name="1/4-26 cycle").click()
    expect(page.locator("#read-back")).to_have_text("1/4-26 cycle")
    page.get_by_text("What is this thread?").click()
    page.get_by_label("Inside diameter").fill("14.5")
    page.get_by_label("Pitch", exact=True).fill("1.5")
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("link", name="EG M14x1.5")).to_be_visible()
    context.close()
