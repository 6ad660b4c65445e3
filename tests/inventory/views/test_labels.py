"""The pages of labels: what is chosen and printed, and what opens when one is scanned."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import labels, stock
from tests.factories import BatchFactory, BinFactory, SiteFactory, TapFactory, UnitFactory
from tests.inventory.views.test_shelf import client_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> Client:
    return client_as("storekeeper")


def text(client: Client, name: str, *args: Any, status: int = 200, **asked: Any) -> str:
    answer = client.get(reverse(name, args=args), asked)
    assert answer.status_code == status
    return re.sub(r"\s+", " ", answer.content.decode())


def shelf(count: int) -> None:
    item, main = TapFactory(), SiteFactory(name="Main")
    for n in range(count):
        bin_ = BinFactory(name=f"B{n}", site=main)
        UnitFactory(tag=f"T-{n}", item=item, bin=bin_)
        BatchFactory(bin=bin_, lot=f"L-{n}", expires=date(2027, 3, 31))


# Chosen


def test_units_of_a_search_bins_of_a_site_and_single_things_are_chosen(keeper: Client) -> None:
    shelf(3)
    assert "<strong>3 labels</strong> on 1 sheet" in text(keeper, "labels", q="M16x1.5 tap")
    assert "<strong>3 labels</strong>" in text(keeper, "labels", site="Main")
    assert "<strong>1 label</strong>" in text(keeper, "labels", unit="T-1")
    assert "<strong>3 labels</strong>" in text(keeper, "labels", q="inserts")
    shown = text(keeper, "labels", q="M16x1.5 tap", sheet="38.1x21.2", start="64")
    assert "<strong>3 labels</strong> on 2 sheets" in shown
    assert "There is nothing to print a label of." in text(keeper, "labels", q="M20 tap")


def test_a_tag_a_bin_or_a_lot_that_is_searched_for_gives_its_label(keeper: Client) -> None:
    shelf(2)
    for typed in ("T-1", "B1", "l-1"):
        assert "<strong>1 label</strong>" in text(keeper, "labels", q=typed)


def test_what_is_gone_gets_no_label_from_a_search(keeper: Client) -> None:
    shelf(3)
    unit = stock.unit_by_tag("T-0")
    stock.lose_unit(unit=unit, reason="fell into the pit", as_of=timezone.now(), by="x")
    assert "<strong>2 labels</strong>" in text(keeper, "labels", q="M16x1.5 tap")


def test_the_pdf_is_downloaded_and_what_is_wrong_is_told_where_it_was_asked_for(keeper: Client) -> None:
    shelf(2)
    answer = keeper.get(reverse("labels-pdf"), {"q": "tap", "sheet": "70x37", "start": "2"})
    assert answer.content.startswith(b"%PDF")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="labels.pdf"'
    assert "This sheet has 24 labels" in text(keeper, "labels-pdf", q="tap", sheet="70x37", start="25", status=400)
    shown = text(keeper, "labels-pdf", q="tap", sheet="70x37", top="20", status=400)
    assert "run off the paper" in shown
    assert 'value="20"' in shown
    assert "cannot be read as a length" in text(keeper, "labels-pdf", q="tap", sheet="70x37", left="x", status=400)
    text(keeper, "labels-pdf", q="M20 tap", sheet="70x37", status=409)


def test_a_bound_on_one_printing_is_told(keeper: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    shelf(3)
    for room in (labels, __import__("inventory.views.labels", fromlist=["MOST"])):
        monkeypatch.setattr(room, "MOST", 2)
    assert "More than 2 are too many for one printing" in text(keeper, "labels", site="Main")


def test_codes_lead_to_the_site_s_own_address_and_one_that_opens_here_alone_is_told(
    keeper: Client, settings: Any
) -> None:
    shelf(1)
    settings.ALLOWED_HOSTS = ["localhost", "testserver"]
    asked = {"unit": "T-0"}
    here = keeper.get(reverse("labels"), asked, headers={"host": "localhost:8000"}).content.decode()
    assert "opens on this machine alone" in here
    settings.SITE_ADDRESS = "https://crib.example"
    told = keeper.get(reverse("labels"), asked, headers={"host": "localhost:8000"}).content.decode()
    assert "https://crib.example" in told
    assert "alone" not in told


# Scanned


def test_a_scanned_unit_shows_what_can_be_done_with_it_first(keeper: Client) -> None:
    shelf(1)
    answer = keeper.get(reverse("tag", args=["t-0"]))
    assert answer.headers["Location"] == reverse("unit", args=["T-0"]) + "?scanned=1"
    shown = keeper.get(answer.headers["Location"]).content.decode()
    assert shown.index('id="acts"') < shown.index('id="facts"')
    assert "Lend it" in shown
    fitters = client_as("fitter").get(answer.headers["Location"]).content.decode()
    assert "Lend it" not in fitters
    stock.lose_unit(unit=stock.unit_by_tag("T-0"), reason="gone", as_of=timezone.now(), by="x")
    lost = keeper.get(answer.headers["Location"]).content.decode()
    assert "lost" in lost
    assert "Lend it" not in lost


def test_a_scanned_bin_or_batch_opens_its_page(keeper: Client) -> None:
    shelf(1)
    batch = labels.opened("L-0")
    answer = keeper.get(reverse("tag", args=[f"~b{batch.pk}"]), follow=True)
    assert answer.context["thing"] == batch
    bin_ = labels.opened("B0")
    assert keeper.get(reverse("tag", args=[f"~s{bin_.pk}"]), follow=True).context["bin"] == bin_


def test_a_field_takes_what_a_scanner_types(keeper: Client) -> None:
    shelf(1)
    assert "autofocus" in text(keeper, "tag-field")
    for typed in ("T-0", "http://testserver/tag/T-0", "  t-0 "):
        answer = keeper.get(reverse("tag-field"), {"tag": typed})
        assert answer.headers["Location"] == reverse("unit", args=["T-0"]) + "?scanned=1"


def test_an_unknown_tag_is_told_in_one_sentence_with_tags_that_are_near_and_a_search(keeper: Client) -> None:
    UnitFactory(tag="T-160")
    shown = text(keeper, "tag", "T-16O", status=404)
    assert "Nothing here carries “T-16O”. Is T-160 meant?" in shown
    assert f'href="{reverse("unit", args=["T-160"])}"' in shown
    assert f'href="{reverse("shelf")}?q=T-16O"' in shown
    assert "Nothing here carries “&lt;b&gt;”" in text(keeper, "tag", "<b>", status=404)


def test_a_name_of_several_is_asked_back(keeper: Client) -> None:
    for site in ("Main", "Yard"):
        BinFactory(name="B4", site=SiteFactory(name=site))
    shown = text(keeper, "tag-field", tag="b4")
    assert "“b4” is the name of several; which one is it?" in shown
    assert shown.count('class="press size"') == 2


# What they cost


@pytest.mark.parametrize("count", [2, 20])
def test_what_is_asked_of_the_database_does_not_grow(keeper: Client, count: int) -> None:
    shelf(count)
    pins = {
        (("labels", ()), (("q", "tap"),)): 14,
        (("labels", ()), (("site", "Main"),)): 5,
        (("labels", ()), (("unit", "T-0"), ("unit", "T-1"))): 5,
        (("tag", ("T-1",)), ()): 4,
        (("tag", ("nothing",)), ()): 7,
    }
    counted = {}
    for (name, args), asked in pins:
        with CaptureQueriesContext(connection) as queries:
            keeper.get(reverse(name, args=args), {key: [v for k, v in asked if k == key] for key, _ in asked})
        counted[(name, args), asked] = len(queries)
    assert counted == pins
