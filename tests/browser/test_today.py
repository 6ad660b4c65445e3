"""The first page in a real browser: narrow and wide, by keyboard alone, without JavaScript; nothing runs off it."""

from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, ViewportSize, expect

from repairs import jobs
from tests.browser.screen import NAME, PASSWORD, log_in, picture, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING, SHALLOW


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> None:
    """Four jobs: everything there, a gap, a doubt, no method."""
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP, number="J-1"), by="Ida", as_of=bench.as_of)
    bench.save(GROUP, SHALLOW, number="J-2")
    bench.save(GROUP | {"starts": "+20d", "made": "unknown"}, number="J-3")
    bench.save(GROUP | {"hole": "through", "depth": "2", "method": ""}, number="J-4")


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_table_is_read_at_this_width_without_scrolling_the_page(page: Page, width: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    page.goto("/")
    picture(page, f"login-{width}")
    assert runs_off(page) == []
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    assert page.locator("tbody th[scope=row]").all_inner_texts() == ["J-1", "J-2", "J-2", "J-3", "J-4"]
    expect(page.get_by_text(f"setting tool {SETTING['thread']}").first).to_be_visible()
    expect(page.get_by_text("held for J-1").first).to_be_visible()
    picture(page, f"today-{width}")
    assert runs_off(page) == []
    cut = page.evaluate(
        "() => { const table = document.querySelector('.scroll'); return table.scrollWidth - table.clientWidth }"
    )
    assert cut <= 0, "the table itself has to be scrolled sideways"
    edges = page.evaluate(
        """() => [...document.querySelectorAll('tbody td')].map(cell =>
             new Set([...cell.querySelectorAll('p')].map(told => told.getBoundingClientRect().left)).size)"""
    )
    assert max(edges) == 1, "what is short stands one below the other"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_that_can_be_pressed_is_large_enough_for_a_thumb(page: Page, scheme: Any) -> None:
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size(ViewportSize(width=390, height=900))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    picture(page, f"today-390-{scheme}")
    for pressed in page.locator("a:visible, button:visible, input:visible").all():
        box = pressed.bounding_box()
        if box is not None and box["x"] >= 0:  # the link that skips to the sheet waits outside until it is reached
            assert box["height"] >= 44, pressed.inner_text()


def test_one_logs_in_by_keyboard_alone(page: Page) -> None:
    page.goto("/")
    expect(page.get_by_label("Username")).to_be_focused()
    page.keyboard.type(NAME)
    page.keyboard.press("Tab")
    expect(page.get_by_label("Password")).to_be_focused()
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Tab")
    button = page.get_by_role("button", name="Log in")
    expect(button).to_be_focused()
    assert button.evaluate("each => getComputedStyle(each).outlineStyle") == "solid", "one sees where one is"
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="Skip to the sheet")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()


def test_a_wrong_password_is_answered_in_one_sentence(page: Page) -> None:
    log_in(page, "wrong")
    alert = page.get_by_role("alert")
    expect(alert).to_have_count(1)
    expect(alert).to_have_text("The name and the password do not go together; mind capital letters.")
    expect(page.get_by_label("Username")).to_have_value(NAME)
    picture(page, "login-wrong")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.get_by_role("button", name="Log out").click()
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()


def test_the_page_works_without_javascript(browser: Browser, workshop: None, live_server: Any) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    expect(page.locator("tbody th[scope=row]")).to_have_count(5)
    context.close()
