"""What a browser test does with a page: log in, take a picture, see what runs off it."""

import os
from pathlib import Path

from playwright.sync_api import Page

NAME, PASSWORD = "foreman", "hunter-of-threads"

ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
PICTURES = os.environ.get("TEST_PICTURES")  # a folder, for whoever wants to look at the pages


def log_in(page: Page, password: str = PASSWORD) -> None:
    """Log in as somebody does, from the first page on."""
    page.goto("/")
    page.get_by_label("Username").fill(NAME)
    page.get_by_label("Password").fill(password)
    with page.expect_navigation():
        page.get_by_role("button", name="Log in").click()


def picture(page: Page, name: str) -> None:
    """Keep a picture of the page where a folder for them is named."""
    if PICTURES:
        # A hidden caret would leave a style behind that the site forbids, which htmx would carry over.
        page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=True, caret="initial")


def runs_off(page: Page) -> list[str]:
    """What reaches beyond the page's width, where the page itself would have to be scrolled for it."""
    page.wait_for_load_state()  # between two pages there is nothing to measure
    return page.evaluate(  # type: ignore[no-any-return]
        """() => document.documentElement.scrollWidth <= document.documentElement.clientWidth ? [] :
           [...document.querySelectorAll('body *')]
             .filter(each => each.getBoundingClientRect().right > document.documentElement.clientWidth)
             .map(each => each.tagName + '.' + each.className)"""
    )
