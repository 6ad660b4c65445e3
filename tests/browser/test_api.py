"""The schema in the browser: nothing from outside, nothing to complain of, and an endpoint tried from the page."""

from __future__ import annotations

from urllib.parse import urlsplit

from playwright.sync_api import Page, expect

from tests.browser.screen import log_in, picture


def test_the_api_is_read_and_tried_in_the_browser_without_anything_from_outside(page: Page) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    log_in(page)
    page.goto("/api/")
    expect(page.get_by_text("/api/jobs/{number}/reserve/")).to_be_visible()
    assert page.locator(".opblock").count() >= 11
    row = page.locator("#operations-jobs-jobs")
    row.locator(".opblock-summary-control").click()
    row.get_by_role("button", name="Try it out").click()
    row.get_by_role("button", name="Execute").click()
    expect(row.locator(".live-responses-table tbody .response-col_status").first).to_contain_text("200")
    picture(page, "api")
    here = urlsplit(page.url).netloc
    assert {urlsplit(url).netloc for url in asked if not url.startswith(("data:", "blob:"))} == {here}


def test_what_the_page_sends_carries_the_sign_that_it_is_ours(page: Page) -> None:
    log_in(page)
    page.goto("/api/")
    row = page.locator("#operations-plan-plan")
    row.locator(".opblock-summary-control").click()
    row.get_by_role("button", name="Try it out").click()
    row.get_by_role("button", name="Execute").click()
    status = row.locator(".live-responses-table tbody .response-col_status").first
    expect(status).to_contain_text("200")  # not 403: the session's own token went with it
