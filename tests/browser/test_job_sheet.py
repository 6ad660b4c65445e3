"""A job in a real browser: found, read, accepted, reserved and released; by mouse, by keyboard, without JavaScript."""

from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, ViewportSize, expect

from inventory.models import Reservation, Unit
from repairs import jobs
from repairs.models import HoleGroup, Job
from tests.browser.screen import log_in, picture, runs_off
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP


@pytest.fixture(autouse=True)
def workshop(account: None, tmp_path: Path) -> Bench:
    """Jobs of every sort: complete, with gaps in magnesium, doubtful, without a method, with two groups."""
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*BUSH_KIT)
    bench.save(GROUP, number="J-1", part='serial = "HM-7"\ndrawing = "QW-44"')
    bench.save(GROUP | {"material": "magnesium"}, number="J-2", part='safety = "brakes"')
    bench.save(GROUP | {"made": "unknown", "thread": "M14"}, number="J-3")
    bench.save(GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""}, number="J-4")
    bench.save(GROUP | {"holes": "1"}, GROUP | {"holes": "2", "method": "wire insert"}, number="J-5")
    return bench


def _open(page: Page, number: str) -> None:
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.goto(f"/jobs/{number}/")
    expect(page.get_by_role("heading", name=f"Job {number}")).to_be_visible()


def _tab_to(page: Page, target: Locator, presses: int = 80) -> None:
    for _ in range(presses):
        if target.evaluate("each => each === document.activeElement"):
            break
        page.keyboard.press("Tab")
    expect(target).to_be_focused()


@pytest.mark.parametrize("number", ["J-1", "J-2", "J-3", "J-4", "J-5"])
@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_sheet_is_read_at_this_width(page: Page, width: int, number: str) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    _open(page, number)
    picture(page, f"job-{number}-{width}")
    assert runs_off(page) == []
    groups = 2 if number == "J-5" else 1
    expect(page.locator("svg.drawing:visible")).to_have_count(groups)
    expect(page.locator(f"svg.drawing.{'narrow' if width < 768 else 'wide'}:visible")).to_have_count(groups)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_that_can_be_pressed_is_large_enough_for_a_thumb(page: Page, scheme: Any) -> None:
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size(ViewportSize(width=390, height=900))
    _open(page, "J-5")
    page.locator("details").evaluate_all("all => all.forEach(each => { each.open = true })")
    picture(page, f"job-J-5-390-{scheme}-open")
    assert runs_off(page) == []
    pressed = page.locator("a:visible, button:visible, summary:visible").all()
    assert len(pressed) > 20
    for each in pressed:
        box = each.bounding_box()
        if box is not None and box["x"] >= 0:  # the link that skips to the sheet waits outside until it is reached
            assert box["height"] >= 43.9, each.inner_text()


def test_one_finds_reserves_and_releases_by_keyboard_alone(page: Page) -> None:
    log_in(page)
    _tab_to(page, page.get_by_role("link", name="Jobs", exact=True))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Jobs")).to_be_visible()
    _tab_to(page, page.get_by_role("link", name="J-1", exact=True))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Complete: 11 match, 0 gap, 0 doubtful")).to_be_visible()
    _tab_to(page, page.get_by_role("button", name="Reserve the matched set"))
    page.keyboard.press("Enter")
    expect(page.get_by_text("foreman reserved this on")).to_be_visible()
    picture(page, "job-reserved")
    _tab_to(page, page.get_by_text("9 units and 2 lots are kept for it"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("table").first).to_contain_text("T-16")
    picture(page, "job-reserved-kept")
    _tab_to(page, page.get_by_role("button", name="Release all of it"))
    page.keyboard.press("Enter")
    expect(page.get_by_text("released by foreman")).to_be_visible()
    assert Job.objects.get(number="J-1").state == "planned"


def test_two_presses_reload_and_back_give_one_reservation(page: Page) -> None:
    _open(page, "J-1")
    page.get_by_role("button", name="Reserve the matched set").dblclick()
    expect(page.get_by_text("foreman reserved this on")).to_be_visible()
    page.reload()
    expect(page.get_by_text("foreman reserved this on")).to_be_visible()
    page.go_back()
    button = page.get_by_role("button", name="Reserve the matched set")
    if button.count():  # the page as it was, out of the browser's memory
        button.click()
    page.goto("/jobs/J-1/")
    expect(page.get_by_text("foreman reserved this on")).to_be_visible()
    assert Reservation.objects.count() == 1


def test_where_the_shelf_moved_the_sheet_says_what_changed_at_the_press(page: Page) -> None:
    page.set_viewport_size(ViewportSize(width=390, height=900))
    _open(page, "J-1")
    Unit.objects.filter(tag="T-16").update(condition="lost")
    with page.expect_response(lambda answer: answer.url.endswith("/reserve/")) as answered:
        page.get_by_role("button", name="Reserve the matched set").click()
    assert answered.value.status == 409
    alert = page.get_by_role("alert")
    expect(alert).to_be_in_viewport()
    expect(alert).to_contain_text("1 line changed after the plan was shown")
    expect(alert).to_contain_text("was match, T-16; now gap")
    picture(page, "job-moved-390")
    assert runs_off(page) == []
    page.get_by_role("button", name="Reserve the matched set").click()
    expect(page.get_by_text("foreman reserved this on")).to_be_visible()


def test_another_foreman_is_told_who_was_first(page: Page, workshop: Bench) -> None:
    _open(page, "J-1")
    jobs.book(Job.objects.get(number="J-1"), by="Ida", as_of=workshop.as_of)
    page.get_by_role("button", name="Reserve the matched set").click()
    expect(page.get_by_role("alert")).to_contain_text("booked already, by Ida")
    picture(page, "job-taken")


def test_without_javascript_one_accepts_reserves_and_releases(
    browser: Browser, workshop: Bench, live_server: Any
) -> None:
    context = browser.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    _open(page, "J-1")
    wire = page.locator("#A-wire_insert")
    wire.locator("summary").first.click()
    wire.get_by_role("button", name="Accept").first.click()
    expect(wire.locator("summary").first).to_contain_text("Wire insert: accepted")
    assert HoleGroup.objects.get(job__number="J-1").accepted_by == "foreman"
    page.get_by_role("button", name="Take the acceptance back").click()
    expect(page.locator("#A-flanged_bush > summary")).to_contain_text("Flanged bush: planned")
    page.get_by_role("button", name="Reserve the matched set").click()
    expect(page.get_by_text("foreman reserved this on")).to_be_visible()
    page.get_by_role("button", name="Release all of it").click()
    expect(page.get_by_text("released by foreman")).to_be_visible()
    page.goto("/jobs/")
    page.get_by_label("Readiness").select_option("doubtful")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".jobs-list tbody")).to_have_count(1)
    expect(page.locator(".jobs-list tbody")).to_contain_text("J-3")
    context.close()


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_list_is_narrowed_as_one_chooses_and_back_goes_back(page: Page, width: int) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=900))
    log_in(page)
    page.get_by_role("link", name="Jobs", exact=True).click()
    listed = page.locator(".jobs-list tbody")
    expect(listed).to_have_count(5)
    picture(page, f"jobs-{width}")
    assert runs_off(page) == []
    page.get_by_label("Readiness").select_option("no method")
    expect(listed).to_have_count(1)
    expect(listed).to_contain_text("J-4")
    assert "readiness=unplanned" in page.url
    page.get_by_label("Number, owner or part").fill("nobody")
    page.get_by_label("Number, owner or part").press("Enter")
    expect(page.get_by_text("No job is like that.")).to_be_visible()
    page.reload()
    expect(page.get_by_text("No job is like that.")).to_be_visible()
    expect(page.get_by_label("Number, owner or part")).to_have_value("nobody")
    page.go_back()
    expect(listed).to_have_count(1)


def test_on_paper_stand_the_drawing_the_steps_and_nothing_to_press(page: Page) -> None:
    _open(page, "J-1")
    page.emulate_media(media="print", color_scheme="dark")
    page.set_viewport_size(ViewportSize(width=703, height=1000))  # A4 less its margins
    expect(page.locator("svg.drawing.wide")).to_be_visible()
    expect(page.locator("svg.drawing.narrow")).to_be_hidden()
    expect(page.locator("button:visible")).to_have_count(0)
    expect(page.get_by_role("navigation")).to_have_count(0)
    expect(page.locator(".steps")).to_be_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    picture(page, "job-print")
    drawn, facts = page.locator(".hero > figure").bounding_box(), page.locator(".hero > .holes").bounding_box()
    assert drawn
    assert facts
    assert facts["x"] > drawn["x"] + drawn["width"], "side by side, so that both stand below the title block"
    assert runs_off(page) == []
