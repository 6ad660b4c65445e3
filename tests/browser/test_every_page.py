"""Every page, narrow and wide, on light paper and on dark: nothing for axe-core to find, nothing off the edge.

The pages are those of the demo workshop, with a job of each sort. `TEST_PICTURES=folder` keeps a picture of each.
"""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from django.utils import timezone
from playwright.sync_api import Browser, Page

from inventory.models import Batch, Item, Order, Unit
from repairs.management.commands.demo import PASSWORD, load_workshop
from tests.browser.screen import picture, runs_off

PAGES = {
    "today": "/",
    "jobs": "/jobs/",
    "jobs-short": "/jobs/?readiness=short",
    "job-complete": "/jobs/J-1041/",
    "job-gaps": "/jobs/J-1044/",
    "job-doubtful": "/jobs/J-1055/",
    "job-unplanned": "/jobs/J-1050/",
    "job-mirrored": "/jobs/J-1053/",
    "proving": "/jobs/J-1044/proving/",
    "proving-lineage": "/jobs/J-1045/proving/",
    "proving-done": "/jobs/J-0987/proving/",
    "job-new": "/jobs/new/",
    "buy": "/buy/",
    "buy-job": "/buy/?job=J-1044",
    "shelf": "/shelf/",
    "shelf-tap": "/shelf/?q=M14x1.5+tap",
    "shelf-drill": "/shelf/?q=drill+14.4-14.7",
    "shelf-what": "/shelf/?q=M14x15+wobbler",
    "unit": "/shelf/units/{tag}/",
    "item": "/shelf/items/{item}/",
    "batch": "/shelf/batches/{batch}/",
    "bin": "/shelf/bins/{site}/{bin}/",
    "counter": "/shelf/counter/",
    "catalogue": "/shelf/catalogue/",
    "item-new": "/shelf/new-item/",
    "item-new-tap": "/shelf/new-item/?kind=tap",
    "item-take-in": "/shelf/take-in/{item}/",
    "item-measures": "/shelf/measures/{item}/",
    "item-care": "/shelf/care/{item}/",
    "attention": "/attention/",
    "order-points": "/shelf/order-points/",
    "order-point": "/shelf/items/8009/",
    "crib-settings": "/settings/crib/",
    "figures": "/figures/",
    "order": "/orders/{order}/",
    "threads": "/threads/?q=M14x1.5",
    "threads-what": "/threads/?q=1/4+26",
    "not-there": "/jobs/J-0/",
}
# Pages of the storekeeper alone; others are told which role it takes.
KEEPERS = {"item-new", "item-new-tap", "item-take-in", "item-care", "item-measures", "counter"}
# A page that is refused answers with its status, which the browser tells of itself.
EXPECTED = "Failed to load resource"
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture
def site(transactional_db: None, live_server: Any) -> str:
    load_workshop(as_of=timezone.now())
    return str(live_server.url)


def _addresses() -> dict[str, str]:
    unit = Unit.objects.select_related("bin__site").filter(holds__active=True).order_by("tag")[0]
    item = Item.objects.filter(number__isnull=False).order_by("number")[0]
    given = {
        "tag": unit.tag,
        "item": item.number,
        "batch": Batch.objects.order_by("id")[0].pk,
        "site": unit.bin.site.name,
        "bin": unit.bin.name,
        "order": Order.objects.filter(state="placed").order_by("id")[0].number,
    }
    return {name: address.format(**given) for name, address in PAGES.items()}


def _log_in(page: Page, login: str) -> None:
    assert get_user_model().objects.filter(username=login).exists()
    page.goto("/login/")
    page.get_by_label("Username").fill(login)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()


def _found(page: Page) -> list[str]:
    answer = Axe().run(page, options=RULES).response
    return [
        f"{each['id']}: {node['target']} {node.get('failureSummary', '')}"
        for each in answer["violations"]
        for node in each["nodes"]
    ]


@pytest.mark.parametrize(
    ("width", "scheme", "login"),
    [
        (390, "light", "foreman"),
        (820, "dark", "storekeeper"),
        (1280, "light", "storekeeper"),
        (1280, "dark", "foreman"),
    ],
)
def test_axe_finds_nothing_and_nothing_runs_off_any_page(
    browser: Browser, site: str, width: int, scheme: Any, login: str
) -> None:
    context = browser.new_context(base_url=site, viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda told: said.append(told.text) if told.type == "error" else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto("/login/")
    wrong = {"login": _found(page)} if _found(page) else {}
    _log_in(page, login)
    for name, address in _addresses().items():
        answer = page.goto(address)
        assert answer is not None
        refused = login == "foreman" and name in KEEPERS
        assert answer.status == (404 if name == "not-there" else 403 if refused else 200), name
        picture(page, f"{name}-{width}-{scheme}")
        if told := _found(page) + [f"runs off: {each}" for each in runs_off(page)]:
            wrong[name] = told
    context.close()
    assert wrong == {}
    assert [each for each in said if EXPECTED not in each] == [], "the browser complained"
