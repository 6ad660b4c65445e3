"""A real browser on a live site, and somebody who may log in; what the browser complains of fails the test."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from playwright.sync_api import Browser, Page, sync_playwright

from inventory.roles import give_role
from tests.browser.screen import ARGS, NAME, PASSWORD


@pytest.fixture(scope="module")  # not longer: what it patches must not reach other tests
def browser(chromium: str) -> Iterator[Browser]:
    with pytest.MonkeyPatch.context() as patched, sync_playwright() as playwright:
        # The page is driven from a loop of its own; the tables are only touched from this thread.
        patched.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        started = playwright.chromium.launch(executable_path=chromium, args=ARGS)
        yield started
        started.close()


@pytest.fixture
def account(transactional_db: None) -> None:
    """Somebody with a name and a password."""
    give_role(get_user_model().objects.create_user(NAME, password=PASSWORD), "foreman")


@pytest.fixture
def page(browser: Browser, account: None, live_server: Any) -> Iterator[Page]:
    context = browser.new_context(base_url=live_server.url, viewport={"width": 1280, "height": 900})
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    opened.on("pageerror", lambda error: said.append(str(error)))
    yield opened
    context.close()
    # Answers like any other, with the reason on the page.
    refused = ("the server responded with a status of 409", "the server responded with a status of 400")
    assert [each for each in said if not any(answer in each for answer in refused)] == [], "the browser complained"
