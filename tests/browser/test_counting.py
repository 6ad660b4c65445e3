"""A stock count in a real browser, on a phone and on a tablet: begun, left, gone on with, by two people, posted."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth import get_user_model
from django.utils import timezone
from playwright.sync_api import Browser, Page, ViewportSize, expect

from inventory import counting, stock
from inventory.counting import Finding
from inventory.models import Batch, Bin, Movement, StockCount, Unit
from inventory.roles import give_role
from tests.browser.screen import NAME, PASSWORD, log_in, picture, runs_off
from tests.factories import BatchFactory, BinFactory, InsertFactory, SiteFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def crib(account: None) -> None:
    """Two bins: a lot and two taps in the one, a lot in the other; whoever logs in posts, Ben counts too."""
    give_role(get_user_model().objects.get(username=NAME), "storekeeper")
    give_role(get_user_model().objects.create_user("ben", password=PASSWORD), "fitter")
    site, tap = SiteFactory.create(name="Main"), TapFactory.create(number="TP-16", name="hand tap")
    first, second = (BinFactory.create(name=f"B{at}", walk=at, site=site) for at in (4, 5))
    insert = InsertFactory.create(number="8001", name="flanged bush")
    BatchFactory.create(bin=first, lot="L-9", quantity=12, item=insert)
    BatchFactory.create(bin=second, lot="L-7", quantity=30, item=insert)
    for tag in ("T-16", "T-17"):
        UnitFactory.create(tag=tag, item=tap, bin=first)


def look(page: Page, name: str) -> None:
    """Nothing runs off, nothing for axe-core to find, and a picture."""
    assert runs_off(page) == []
    picture(page, name)
    assert Axe().run(page).response["violations"] == []


@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180)])
def test_two_people_count_blind_one_leaves_and_comes_back_and_it_is_posted(
    page: Page, browser: Browser, live_server: Any, width: int, height: int
) -> None:
    page.set_viewport_size(ViewportSize(width=width, height=height))
    log_in(page)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.goto("/tag/B4")
    page.get_by_role("link", name="Count this bin").click()
    expect(page.get_by_label("B4")).to_be_checked()
    page.get_by_label("B5").check()
    look(page, f"counts-{width}")
    page.get_by_role("button", name="Begin with the bins ticked").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Bin B4")
    expect(page.get_by_text("book 12")).to_have_count(0)
    page.get_by_role("button", name="Save and go to bin B5").click()
    expect(page.get_by_role("alert")).to_contain_text("How many of it are there?")
    look(page, f"count-sheet-{width}")
    field = page.get_by_label("L-9")
    box = field.bounding_box()
    assert box
    assert box["height"] >= 56  # for gloves
    field.fill("10")
    page.get_by_label("Tags, one a line").click()
    for scanned in ("T-16", f"{live_server.url}/tag/T-17"):
        page.keyboard.type(scanned)
        page.keyboard.press("Enter")  # a scanner ends each so: a new line, nothing is sent
    page.get_by_role("button", name="Save and go to bin B5").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Bin B5")

    page.goto("/shelf/")  # called away
    page.get_by_role("link", name="Stock counts").click()
    expect(page.get_by_text("1 of 2 bins done")).to_be_visible()
    page.get_by_role("link", name="Count 1").or_(page.get_by_role("link", name=", Main")).first.click()
    expect(page.get_by_role("link", name="Go on with bin B5")).to_be_visible()
    look(page, f"count-{width}")
    page.get_by_role("link", name="Go on with bin B5").click()
    page.get_by_label("L-7").fill("30")
    page.get_by_role("button", name="Save: the last bin").click()

    context = browser.new_context(base_url=live_server.url, viewport=ViewportSize(width=width, height=height))
    other = context.new_page()
    other.goto("/")
    other.get_by_label("Username").fill("ben")
    other.get_by_label("Password").fill(PASSWORD)
    other.get_by_role("button", name="Log in").click()
    other.goto("/tag/B4")  # his scan of the bin's label opens its sheet
    expect(other.get_by_text("somebody else has counted it")).to_be_visible()
    other.get_by_label("L-9").fill("11")
    other.get_by_role("button", name="Save", exact=False).first.click()
    expect(other.get_by_text("Every bin is done.")).to_be_visible()
    expect(other.get_by_role("link", name="Review and post")).to_have_count(0)
    context.close()

    page.get_by_role("link", name="Review and post").click()
    expect(page.get_by_text("found different figures: decide which stands")).to_be_visible()
    look(page, f"count-dispute-{width}")
    page.get_by_role("button", name="11 stands, as ben entered").click()
    page.get_by_role("button", name="Post the count").click()
    expect(page.get_by_role("alert").first).to_be_visible()
    page.get_by_label("One reason for all that differ").fill("one fell behind the drawer")
    look(page, f"count-review-{width}")
    page.get_by_role("button", name="Post the count").click()
    expect(page.get_by_role("heading", name="What it came to")).to_be_visible()
    look(page, f"count-posted-{width}")
    assert StockCount.objects.get().state == "posted"
    assert sorted(Batch.objects.values_list("lot", "on_hand")) == [("L-7", 30), ("L-9", 11)]
    assert set(Unit.objects.values_list("condition", flat=True)) == {"new"}
    assert stock.disagreements() == []
    page.goto("/figures/")
    expect(page.get_by_text("75.0 %")).to_be_visible()


@pytest.mark.parametrize("scripts", [True, False])
@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180)])
def test_a_press_at_one_line_of_the_review_keeps_the_reasons_typed_at_others(
    browser: Browser, live_server: Any, width: int, height: int, scripts: bool
) -> None:
    lots = {batch.lot: batch for batch in Batch.objects.all()}
    bin, now = lots["L-9"].bin, timezone.now()
    count = counting.start(site="Main", bins=[bin.pk, lots["L-7"].bin_id], blind=True, by="Ben", as_of=now)
    entry: Any = {"count": count.pk, "by": "Ben", "counter": "ben", "as_of": now, "nothing_else": True}
    taps = [Finding(1, unit=unit.pk) for unit in Unit.objects.filter(tag="T-16")]
    counting.enter(bin=bin.pk, findings=[Finding(10, batch=lots["L-9"].pk), *taps], **entry)
    counting.enter(bin=lots["L-7"].bin_id, findings=[Finding(29, batch=lots["L-7"].pk)], **entry)
    size = ViewportSize(width=width, height=height)
    context = browser.new_context(base_url=live_server.url, viewport=size, java_script_enabled=scripts)
    page = context.new_page()
    log_in(page)
    page.goto(f"/shelf/counts/{count.pk}/review/")
    row = page.get_by_role("row")
    row.filter(has_text="L-9").get_by_label("Its own reason").fill("fell behind the drawer")
    page.get_by_label("One reason for all that differ").fill("yearly count")
    page.get_by_role("button", name="Count T-17 again").click()
    expect(page.get_by_role("status")).to_contain_text("T-17 in bin B4 is asked for again")
    expect(page.get_by_label("One reason for all that differ")).to_have_value("yearly count")
    own = row.filter(has_text="L-9").get_by_label("Its own reason")
    expect(own).to_have_value("fell behind the drawer")
    own.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Nothing is posted until you press")
    expect(row.filter(has_text="L-9").get_by_label("Its own reason")).to_have_value("fell behind the drawer")
    page.reload()  # sends the press once more, which does nothing more
    expect(row.filter(has_text="L-9").get_by_label("Its own reason")).to_have_value("fell behind the drawer")
    assert runs_off(page) == []
    page.get_by_role("button", name="Post the count", exact=True).click()
    expect(page.get_by_role("heading", name="What it came to")).to_be_visible()
    assert sorted(Movement.objects.filter(act="counted").values_list("batch__lot", "reason")) == [
        ("L-7", "yearly count"), ("L-9", "fell behind the drawer"),
    ]  # fmt: skip
    context.close()


@pytest.mark.parametrize("scripts", [True, False])
@pytest.mark.parametrize(("width", "height"), [(390, 844), (820, 1180)])
def test_what_is_scanned_or_typed_wrong_into_a_figure_is_told_and_enter_never_ends_a_bin(
    browser: Browser, live_server: Any, width: int, height: int, scripts: bool
) -> None:
    lot = Batch.objects.get(lot="L-9")
    count = counting.start(site="Main", bins=[lot.bin_id], blind=True, by="Ben", as_of=timezone.now())
    size = ViewportSize(width=width, height=height)
    context = browser.new_context(base_url=live_server.url, viewport=size, java_script_enabled=scripts)
    page = context.new_page()
    log_in(page)
    page.goto(f"/shelf/counts/{count.pk}/bins/{lot.bin_id}/")
    for typed in ("T-16", "12,0", "-3", "9" * 30):
        page.get_by_label("L-9").focus()
        page.keyboard.press("ControlOrMeta+a")
        page.keyboard.type(typed)  # as a scanner does, which ends with Enter
        page.keyboard.press("Enter")
        expect(page.get_by_role("alert")).to_contain_text(f"“{typed}” must be a whole number")
        expect(page.get_by_label("L-9")).to_have_value(typed)
    page.get_by_label("L-9").fill("10")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("This bin is not done yet")
    expect(page.get_by_text("you found 10")).to_be_visible()
    page.reload()
    assert runs_off(page) == []
    assert count.bins.get().done_at is None
    Bin.objects.filter(pk=lot.bin_id).update(name="B44")  # renamed meanwhile
    stock.issue_batch(batch=lot, quantity=2, label="J-1", by="Ida", as_of=timezone.now())  # and moved under the count
    page.get_by_role("button", name="Save: the last bin").click()
    expect(page.get_by_text("Every bin is done.")).to_be_visible()
    page.go_back()
    page.get_by_role("button", name="Save: the last bin").click()  # pressed again
    expect(page.get_by_text("Every bin is done.")).to_be_visible()
    (line,) = [each for each in counting.review(count).of("differs") if each.batch]
    assert (line.difference, line.bin.name) == (-2, "B44"), "the two that were issued since are no difference"
    context.close()
