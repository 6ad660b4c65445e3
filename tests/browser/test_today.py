"""The first page in a real browser: narrow and wide, by keyboard alone, without JavaScript; nothing runs off it."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, ViewportSize, expect

from repairs import jobs
from repairs.models import Job
from tests.browser.screen import NAME, PASSWORD, log_in, picture, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING, SHALLOW


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> None:
    """Jobs of every sort: booked, with gaps, doubtful, without a method; one starts today and one is over."""
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP, number="J-1"), by="Ida", as_of=bench.as_of)
    bench.save(GROUP, SHALLOW, number="J-2")
    bench.save(GROUP | {"starts": "+20d", "made": "unknown"}, number="J-3")
    bench.save(GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""}, number="J-4")
    day = timedelta(days=1)
    midnight = bench.as_of.replace(hour=0, minute=0, second=0, microsecond=0)
    starting = bench.save(GROUP, number="J-5")
    Job.objects.filter(pk=starting.pk).update(start=midnight, end=midnight + day)
    over = bench.save(GROUP | {"starts": "+40d"}, number="J-6")
    jobs.book(over, by="Ida", as_of=bench.as_of)
    Job.objects.filter(pk=over.pk).update(start=midnight - 3 * day, end=midnight - day)


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_day_is_read_at_this_width_without_scrolling_the_page(page: Page, width: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    page.goto("/")
    picture(page, f"login-{width}")
    assert runs_off(page) == []
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    for region, told in (
        ("Wait to be released", ["J-6", "still reserved by Ida"]),
        ("Start on this day", ["J-5"]),
        ("Start within the week", ["J-1", "J-2", "J-4"]),
        ("Short", ["J-2", f"setting tool {SETTING['thread']}", "held for J-1", "No method"]),
        ("Doubtful", ["J-3", "How the old thread was made"]),
    ):
        for each in told:
            expect(page.get_by_role("region", name=region)).to_contain_text(each)
    picture(page, f"today-{width}")
    assert runs_off(page) == []


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
            assert box["height"] >= 43.9, pressed.inner_text()


def test_one_logs_in_and_opens_a_job_by_keyboard_alone(page: Page) -> None:
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
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="J-6")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Job J-6")).to_be_visible()


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
    page.get_by_role("region", name="Short").get_by_role("link", name="J-2").click()
    expect(page.get_by_role("heading", name="Job J-2")).to_be_visible()
    context.close()
