"""An item's wear and care in a real browser: by the keyboard alone, on a phone and on a desk."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from playwright.sync_api import Browser, expect

from inventory.models import LifeFactor
from inventory.roles import give_role
from tests.browser.screen import PASSWORD, picture, runs_off
from tests.factories import ItemFactory


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_a_life_factor_is_entered_by_the_keyboard_and_a_misspelt_one_keeps_what_was_typed(
    browser: Browser, live_server: Any, transactional_db: None, width: int
) -> None:
    give_role(get_user_model().objects.create_user("keeper", password=PASSWORD), "storekeeper")
    item = ItemFactory.create(number="T-1", kind="tap", life=100)
    context = browser.new_context(base_url=live_server.url, viewport={"width": width, "height": 900})
    page = context.new_page()
    page.goto("/login/?next=/shelf/items/T-1/")
    page.get_by_label("Username").fill("keeper")
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Wear and care").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Life", exact=True).focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("90")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type("stele 150")
    page.get_by_role("button", name="Save").focus()
    page.keyboard.press("Enter")
    wrong = page.get_by_role("alert")
    expect(wrong).to_contain_text("steel is spelt alike")
    expect(page.get_by_label("Life factors in percent")).to_have_value("stele 150")
    expect(page.get_by_label("Life", exact=True)).to_have_value("90")
    picture(page, f"care-{width}")
    assert runs_off(page) == []
    assert [each["id"] for each in Axe().run(page).response["violations"]] == []
    page.get_by_label("Life factors in percent").fill("steel 150\nbronze or brass 80")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("80 % in bronze or brass, 150 % in steel").first).to_be_visible()
    picture(page, f"care-kept-{width}")
    page.go_back()
    page.get_by_role("button", name="Save").click()  # the same press once more
    expect(page.get_by_text("80 % in bronze or brass, 150 % in steel").first).to_be_visible()
    assert dict(LifeFactor.objects.filter(item=item).values_list("material", "percent")) == {"steel": 150, "bronze": 80}
    context.close()


@pytest.mark.parametrize("width", [390, 1280])
def test_a_pilot_is_entered_afterwards_and_who_comes_second_is_told(
    browser: Browser, live_server: Any, transactional_db: None, width: int
) -> None:
    give_role(get_user_model().objects.create_user("keeper", password=PASSWORD), "storekeeper")
    ItemFactory.create(number="S/1", kind="seat_cutter", diameter=22_000_000, usable_length=None, thread="")
    context = browser.new_context(
        base_url=live_server.url, viewport={"width": width, "height": 900}, java_script_enabled=False
    )
    page = context.new_page()
    page.goto("/login/?next=/shelf/items/S/1/")
    page.get_by_label("Username").fill("keeper")
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Measurements").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/shelf/measures/**")
    other = context.new_page()
    other.goto(page.url)
    expect(page.get_by_label("Diameter")).to_have_value("22 mm")
    page.get_by_label("Pilot").fill("thin")
    page.get_by_role("button", name="Save").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("“thin”")
    expect(page.get_by_label("Pilot")).to_have_value("thin")
    page.get_by_label("Pilot").fill('0.65"')
    page.get_by_label("Why").fill("measured at the bench")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="What was changed")).to_be_visible()
    expect(page.get_by_text("Why: measured at the bench")).to_be_visible()
    picture(page, f"measures-kept-{width}")
    assert runs_off(page) == []
    other.get_by_label("Diameter").fill('7/8"')
    other.get_by_role("button", name="Save").click()
    expect(other.get_by_role("alert").first).to_contain_text("was changed while this page stood open, by keeper")
    expect(other.get_by_label("Pilot")).to_have_value("16.51 mm")
    expect(other.get_by_label("Diameter")).to_have_value('7/8"')
    picture(other, f"measures-second-{width}")
    assert runs_off(other) == []
    other.get_by_role("button", name="Save").click()
    expect(other.get_by_text("22.225 mm (0.8750 in)").first).to_be_visible()
    context.close()
