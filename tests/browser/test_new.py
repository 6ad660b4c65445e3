"""The page "New job" in a real browser: read and drawn while it is typed, by keyboard alone, without JavaScript."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, ViewportSize, expect

from inventory import stock
from repairs.models import Job
from tests.browser.screen import log_in, picture, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP

WIDTHS = [390, 820, 1280]
SELECTS = ("hole", "material", "before", "made", "method")


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> None:
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*BUSH_KIT)
    bench.save(GROUP, number="J-11")
    stock.add_bin(site="Yard", name="Y1")


def opened(page: Page, width: int = 1280) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    log_in(page)
    expect(page.get_by_role("button", name="Log out")).to_be_visible()
    page.goto("/jobs/new/")
    expect(page.locator("#number")).to_have_value("J-12")


def field(page: Page, key: str, group: int = 0, part: int = 0) -> Locator:
    return page.locator(f"#parts-{part}-groups-{group}-{key}")


def answer(page: Page, group: int = 0, **answers: str) -> None:
    for key, text in answers.items():
        if key in SELECTS:
            field(page, key, group).select_option(text)
        else:
            field(page, key, group).fill(text)


def answer_all(page: Page) -> None:
    page.get_by_label("First day").first.fill("+2d")
    page.get_by_label("Site").select_option("Main")
    page.get_by_label("What it is").fill("pump casing")
    answer(page, **GROUP)


def saying(text: str) -> re.Pattern[str]:
    return re.compile(re.escape(text))


def section(page: Page, group: int = 0) -> Locator:
    return page.locator(".live").nth(group).get_by_role("img")


@pytest.mark.parametrize("width", WIDTHS)
def test_a_job_is_typed_drawn_planned_and_saved_at_this_width(page: Page, width: int) -> None:
    opened(page, width)
    picture(page, f"new-empty-{width}")
    assert runs_off(page) == []
    answer(page, thread="14x1.5")
    read = page.locator("#parts-0-groups-0-thread-read")
    expect(read).to_contain_text("Read as M14x1.5, fine series")
    expect(read.locator(".loud")).to_have_text("Taken as metric: M14x1.5.")
    expect(page.locator(".live figcaption")).to_contain_text("Drawn as it is")
    picture(page, f"new-thread-{width}")
    answer_all(page)
    expect(page.locator(".live figcaption")).to_contain_text("Drawn repaired: flanged bush M14x1.5 in M16x1.5")
    expect(section(page)).to_have_attribute("aria-label", saying("depth 40"))
    answer(page, depth="36", edge="25")
    expect(section(page)).to_have_attribute("aria-label", saying("edge 25"))
    expect(section(page)).to_have_attribute("aria-label", saying("depth 36"))
    fields, drawn = page.locator(".asked").bounding_box(), page.locator(".live").bounding_box()
    assert fields is not None
    assert drawn is not None
    if width == 1280:
        assert drawn["x"] >= fields["x"] + fields["width"], "beside the questions"
        assert abs(drawn["y"] - fields["y"]) < 40
    else:
        assert drawn["y"] >= fields["y"] + fields["height"] - 1, "under the questions"
    page.locator(".decide").get_by_role("button", name="Show plan").click()
    expect(page.get_by_role("heading", name="Plan of J-12")).to_be_focused()
    expect(page.get_by_text("Complete: 11 match, 0 gap, 0 doubtful, and")).to_be_visible()
    picture(page, f"new-plan-{width}")
    assert runs_off(page) == []
    page.get_by_role("button", name="Save job").click()
    page.wait_for_url("**/jobs/J-12/")
    assert Job.objects.get(number="J-12").groups.get().depth == 36_000_000


@pytest.mark.parametrize("width", WIDTHS)
def test_faults_stand_at_their_fields_and_the_first_has_the_focus(page: Page, width: int) -> None:
    opened(page, width)
    answer_all(page)
    answer(page, thread="1/4 26", depth="4 apples", before="wire insert")
    wrong = page.locator("#parts-0-groups-0-depth-wrong")
    frame = "element => getComputedStyle(element).borderTopWidth"
    expect(wrong).to_contain_text("apples")
    page.locator(".decide").get_by_role("button", name="Show plan").click()
    expect(page.get_by_role("alert")).to_contain_text("2 answers to put right")
    expect(field(page, "thread")).to_be_focused()
    expect(field(page, "thread")).to_be_in_viewport()
    expect(field(page, "thread")).to_have_attribute("aria-invalid", "true")
    expect(field(page, "thread")).to_have_value("1/4 26")
    expect(field(page, "depth")).to_have_value("4 apples")
    picture(page, f"new-faults-{width}")
    assert runs_off(page) == []
    answer(page, depth="40")
    expect(wrong).to_be_hidden()
    assert field(page, "depth").evaluate(frame) == "1px", "the red frame goes with its sentence"
    page.get_by_role("button", name="1/4-26 BSF").click()
    expect(field(page, "thread")).to_have_value("1/4-26 BSF")
    expect(field(page, "thread")).to_be_focused()


def test_parts_and_groups_come_and_go_in_place(page: Page) -> None:
    opened(page)
    answer_all(page)
    page.get_by_label("Hand").select_option("left")
    page.get_by_role("button", name="Copy holes A").click()
    expect(field(page, "thread", 1)).to_be_focused()
    answer(page, 1, thread="9/16 UNF", method="")
    expect(section(page, 1)).to_have_attribute("aria-label", saying("9/16-18 UNF"))
    expect(section(page, 0)).to_have_attribute("aria-label", saying("M14x1.5"))
    page.get_by_role("button", name="Add its mirror image of part 1").click()
    expect(page.locator("#parts-1-serial")).to_be_focused()
    expect(page.locator("#parts-1-hand")).to_have_value("right")
    expect(field(page, "thread", 1, 1)).to_have_value("9/16 UNF")
    page.get_by_role("button", name="Remove holes B").click()
    back = page.get_by_role("button", name="Put the removed holes back")
    expect(back).to_be_focused()
    expect(page.locator(".holes")).to_have_count(3)
    back.click()
    expect(page.locator(".holes")).to_have_count(4)
    expect(field(page, "thread", 1)).to_have_value("9/16 UNF")
    page.get_by_role("button", name="Remove part 2").click()
    expect(page.locator(".holes")).to_have_count(2)
    picture(page, "new-two-groups-1280")


def test_what_stands_there_now_is_asked_only_where_something_may(page: Page) -> None:
    opened(page, 390)
    earlier = page.locator(".earlier")
    expect(earlier).to_be_hidden()
    answer(page, before="wire insert")
    expect(earlier).to_be_visible()
    answer(page, before="none")
    expect(earlier).to_be_hidden()
    answer(page, before="unknown")
    answer(page, before_major="16.1", before="none")
    expect(earlier).to_be_visible()  # what was typed never disappears


def test_the_keyboard_alone_is_enough(page: Page) -> None:
    opened(page, 390)
    page.locator("#owner").focus()
    typed = {
        "site": "Main", "starts": "+2d", "parts-0-name": "pump casing", "parts-0-groups-0-thread": "M14 x 1,5",
        "parts-0-groups-0-holes": "4", "parts-0-groups-0-hole": "blind", "parts-0-groups-0-depth": "40",
        "parts-0-groups-0-floor": "10", "parts-0-groups-0-edge": "30", "parts-0-groups-0-made": "cut",
        "parts-0-groups-0-before": "none",
    }  # fmt: skip
    for _ in range(60):
        page.keyboard.press("Tab")
        name = page.evaluate("document.activeElement.name")
        if name in typed:
            page.keyboard.type(typed.pop(name))
            if not typed:
                expect(page.locator(".live figcaption")).to_contain_text("Drawn repaired: wire insert")
        expect(page.locator(":focus")).to_be_in_viewport()
        if page.evaluate("document.activeElement.value") == "save":
            break
    assert typed == {}, "every question is reached"
    page.keyboard.press("Enter")
    page.wait_for_url("**/jobs/J-12/")


def test_enter_in_a_field_shows_the_plan_and_saves_nothing(page: Page) -> None:
    opened(page)
    answer_all(page)
    field(page, "depth").press("Enter")
    expect(page.get_by_role("heading", name="Plan of J-12")).to_be_focused()
    assert not Job.objects.filter(number="J-12").exists()


def test_pressed_twice_in_a_row_the_job_is_saved_once(page: Page) -> None:
    opened(page)
    answer_all(page)
    page.get_by_role("button", name="Save job").dblclick()
    page.wait_for_url("**/jobs/J-12/")
    assert Job.objects.filter(number="J-12").count() == 1


def test_what_was_typed_stands_there_again_on_the_way_back(page: Page) -> None:
    opened(page)
    answer_all(page)
    page.get_by_role("link", name="Threads").click()
    expect(page.get_by_role("heading", name="Threads")).to_be_visible()
    page.go_back()
    expect(field(page, "thread")).to_have_value(GROUP["thread"])
    expect(field(page, "before")).to_have_value("none")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_accessible_empty_wrong_and_planned(page: Page, scheme: Any) -> None:
    page.emulate_media(color_scheme=scheme)
    opened(page)
    answer_all(page)
    answer(page, thread="1/4 26", before="wire insert")
    press = page.locator(".decide").get_by_role("button", name="Show plan")
    press.click()
    expect(field(page, "thread")).to_be_focused()
    assert violations(page) == []
    answer(page, thread="M14 x 1,5", before="none")
    press.click()
    expect(page.get_by_role("heading", name="Plan of J-12")).to_be_focused()
    assert violations(page) == []


def violations(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [f"{each['id']}: {node['html'][:160]}" for each in found for node in each["nodes"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_that_can_be_pressed_is_large_enough_for_a_thumb(page: Page, scheme: Any) -> None:
    page.emulate_media(color_scheme=scheme)
    opened(page, 390)
    answer_all(page)
    answer(page, thread="1/4 26")
    page.get_by_role("button", name="Copy holes A").click()
    expect(field(page, "thread", 1)).to_be_focused()
    picture(page, f"new-390-{scheme}")
    small = page.evaluate(
        """() => [...document.querySelectorAll('#sheet :is(a, button, input, select, summary)')]
             .filter(each => each.checkVisibility() && !each.classList.contains('on-enter') && each.type != 'hidden'
                             && each.getBoundingClientRect().height < 44)
             .map(each => each.outerHTML.slice(0, 80))"""
    )
    assert small == []


def test_the_page_works_without_javascript(browser: Browser, workshop: None, live_server: Any) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    opened(page)
    answer_all(page)
    page.get_by_role("button", name="Copy holes A").click()
    expect(field(page, "thread", 1)).to_have_value("M14 x 1,5")
    expect(page.locator(".live figcaption").first).to_contain_text("Drawn repaired: flanged bush")
    answer(page, 1, thread='7/8"')
    page.get_by_role("button", name="Save job").click()
    expect(field(page, "thread", 1)).to_be_focused()
    page.get_by_role("button", name="7/8-14 UNF").click()
    answer(page, 1, method="")
    page.get_by_role("button", name="Save job").click()
    page.wait_for_url("**/jobs/J-12/")
    assert Job.objects.get(number="J-12").groups.count() == 2
    context.close()
