"""The counter in a real browser: a kit goes out in three presses, comes back in three, and a break is on the board."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from django.utils import timezone
from playwright.sync_api import Browser, Page, ViewportSize, expect

from inventory import stock
from inventory.models import Batch, Unit
from inventory.roles import give_role
from repairs import jobs
from repairs.models import Job
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, TAP_16

pytestmark = pytest.mark.django_db(transaction=True)

SIZES = [(390, 844), (820, 1180)]


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> None:
    """A job with its kit reserved, a second one that keeps the same tap later, and a spare hand tap."""
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*BUSH_KIT, TAP_16 | {"tag": "HT-16", "thread": "M8", "name": "hand tap"})
    jobs.book(bench.save(GROUP, number="J-1"), by="Ida", as_of=bench.as_of)
    bench.stock(*({**row, "lot": f"{row['lot']}-2"} for row in BUSH_KIT if "lot" in row))
    later = bench.save(GROUP, number="J-2")
    day = later.end - later.start
    Job.objects.filter(pk=later.pk).update(start=later.start + 2 * day, end=later.end + 2 * day)
    jobs.book(Job.objects.get(number="J-2"), by="Ida", as_of=bench.as_of)


class Presses:
    """Counts what is pressed; filling in and scanning is none, the Enter that a scanner sends after a tag is."""

    def __init__(self) -> None:
        self.count = 0

    def link(self, page: Page, name: str) -> None:
        self.count += 1
        page.get_by_role("link", name=name, exact=True).first.click()

    def button(self, page: Page, name: str) -> None:
        self.count += 1
        page.get_by_role("button", name=name, exact=True).click()

    def enter(self, page: Page) -> None:
        self.count += 1
        page.keyboard.press("Enter")


def _seen(page: Page, name: str) -> None:
    picture(page, name)
    assert runs_off(page) == [], name
    found = Axe().run(page)
    assert found.violations_count == 0, f"{name}: {found.generate_report()}"


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_a_kit_is_issued_and_taken_back_in_three_presses_each_and_a_broken_tap_is_on_the_board(
    page: Page, width: int, height: int
) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=height))
    log_in(page)
    issue = Presses()
    issue.link(page, "Issue and take back")
    expect(page.get_by_label("Job, or a tag that is kept for it")).to_be_focused()
    _seen(page, f"counter-{width}")
    page.keyboard.type("j-1")
    issue.enter(page)
    expect(page.get_by_role("heading", name="Kit of J-1")).to_be_visible()
    page.get_by_label("Further tags").fill("ht-16")
    _seen(page, f"counter-issue-{width}")
    issue.button(page, "Issue")
    expect(page.get_by_role("status")).to_contain_text("issued to J-1")
    assert issue.count == 3
    assert set(Unit.objects.values_list("issued_to", flat=True)) == {"J-1"}

    # What the job has in hand is no gap of its own, nor of the one that keeps it later.
    page.goto("/jobs/J-1/")
    expect(page.locator("#verdict")).to_contain_text("Complete: 11 match, 0 gap")
    page.goto("/")

    back = Presses()
    back.link(page, "Issue and take back")
    expect(page.get_by_label("Job, or a tag that is kept for it")).to_be_focused()
    page.keyboard.type("http://localhost/tag/T-16")
    back.enter(page)
    expect(page.get_by_role("heading", name="In hand at J-1")).to_be_visible()
    tap, hand_tap = Unit.objects.get(tag="T-16"), Unit.objects.get(tag="HT-16")
    expect(page.locator(f"#id_in-u{tap.pk}-holes")).to_have_value("4")
    page.locator(f"#id_in-u{tap.pk}-holes").fill("3")
    page.locator(f"#id_in-u{hand_tap.pk}-condition").select_option("due_regrind")
    _seen(page, f"counter-back-{width}")
    for pressed in page.locator("main :is(a, button, input, select, textarea):visible").all():
        box = pressed.bounding_box()
        if box is not None and pressed.get_attribute("type") != "checkbox":  # its label is pressed as well
            assert box["height"] >= 43.9, pressed.evaluate("each => each.outerHTML")
    broke = page.get_by_role("button", name="T-16 broke", exact=True)
    broke.focus()
    broke.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("T-16 is written off")
    expect(page.locator(f"#id_in-u{hand_tap.pk}-condition")).to_have_value("due_regrind")
    _seen(page, f"counter-broke-{width}")
    tap.refresh_from_db()
    assert (tap.condition, tap.holes_cut) == ("retired", 3)
    back.button(page, "Take back")
    expect(page.get_by_role("status")).to_contain_text("back from J-1")
    assert back.count == 3
    hand_tap.refresh_from_db()
    assert (hand_tap.condition, hand_tap.issued_to) == ("due_regrind", "")

    page.get_by_role("link", name="Today").click()
    short = page.get_by_role("region", name="Short")
    expect(short).to_contain_text("J-1")
    expect(short).to_contain_text("J-2")
    expect(short).to_contain_text("tap")
    _seen(page, f"counter-today-{width}")
    page.goto("/jobs/J-2/")
    expect(page.locator("#verdict")).to_contain_text("gap")
    assert stock.disagreements() == []


def test_the_counter_works_without_javascript_by_keyboard_alone(browser: Browser, live_server: Any) -> None:
    context = browser.new_context(java_script_enabled=False, base_url=live_server.url)
    page = context.new_page()
    log_in(page)
    page.goto("/shelf/counter/")
    expect(page.get_by_label("Job, or a tag that is kept for it")).to_be_focused()
    page.keyboard.type("T-16")
    page.keyboard.press("Enter")
    page.get_by_label("Further tags").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("issued to J-1")
    bushes = Batch.objects.get(lot="B-1")
    page.locator(f"#id_in-b{bushes.pk}-pieces").fill("1")
    page.keyboard.press("Enter")  # the first button of the form takes back; none of those that write off
    expect(page.get_by_role("status")).to_contain_text("back from J-1")
    assert not Unit.objects.filter(condition__in=("lost", "retired")).exists()
    assert stock.in_hand(labels=["J-1"])[bushes.pk, "J-1"] == 4
    context.close()
