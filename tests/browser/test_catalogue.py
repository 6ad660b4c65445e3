"""The page of the catalogue in a real browser: read at every width, and one press on it."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from playwright.sync_api import Page, ViewportSize, expect

from inventory.roles import give_role
from tests.browser.screen import NAME, log_in, picture, runs_off
from tests.factories import ItemFactory

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180), (1280, 900)])
def test_one_of_two_doubles_is_bought_in_place_of_the_other(page: Page, account: None, width: int, height: int) -> None:
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    for number in ("D-145", "D-145-OLD"):
        ItemFactory.create(number=number, name="drill, HSS")
    ItemFactory.create(number="C-22", kind="seat_cutter", diameter=22_000_000)
    page.set_viewport_size(ViewportSize(width=width, height=height))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.goto("/shelf/catalogue/")
    expect(page.get_by_text("on pilot")).to_be_visible()
    assert runs_off(page) == []
    picture(page, f"catalogue-{width}")
    assert Axe().run(page).response["violations"] == []
    page.get_by_role("button", name="Buy D-145 in place of D-145-OLD").click()
    expect(page.get_by_text("No longer bought.")).to_be_visible()
    assert runs_off(page) == []
    picture(page, f"superseded-{width}")
    assert Axe().run(page).response["violations"] == []
