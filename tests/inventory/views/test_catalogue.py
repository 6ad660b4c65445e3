"""The page of the catalogue: kinds, doubles, what cannot be matched, and what is bought no more."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Item, ItemChange
from tests.factories import ItemFactory
from tests.inventory.views.test_labels import text
from tests.inventory.views.test_shelf import client_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> Client:
    return client_as("storekeeper")


def test_doubles_stand_side_by_side_and_one_press_takes_one_in_place_of_the_other(keeper: Client) -> None:
    for number in ("D-1", "D-2"):
        ItemFactory.create(number=number)
    ItemFactory.create(number="C-1", kind="seat_cutter", diameter=22_000_000)
    shown = text(keeper, "catalogue")
    assert "<strong>the same</strong> in all that is entered" in shown
    assert "Buy D-2 in place of D-1" in shown
    assert "cannot be matched</strong> on pilot" in shown
    sent = {"item": "D-1", "successor": "D-2", "key": "k"}
    for _ in range(2):
        answer = keeper.post(reverse("item-supersede"), sent)
        assert answer.headers["Location"] == reverse("item", args=["D-1"])
    assert ItemChange.objects.count() == 1
    page = text(keeper, "item", "D-1")
    assert "No longer bought." in page
    assert f'href="{reverse("item", args=["D-2"])}"' in page
    refused = keeper.post(reverse("item-supersede"), {"item": "D-2", "successor": "D-1", "key": "m"})
    assert refused.status_code == 409
    assert "D-1 is no longer bought itself" in refused.content.decode()
    assert "Buy D-2" not in text(client_as("fitter"), "catalogue")


def test_an_item_is_retired_and_bought_again_by_one_press_each(keeper: Client) -> None:
    ItemFactory.create(number="D-1")
    keeper.post(reverse("item-retire"), {"item": "D-1", "key": "a"})
    assert Item.objects.get().retired
    assert "no longer bought" in text(keeper, "shelf", q="drills")
    keeper.post(reverse("item-retire"), {"item": "D-1", "key": "b", "back": "1"})
    assert not Item.objects.get().retired


@pytest.mark.parametrize("count", [2, 20])
def test_what_is_asked_of_the_database_does_not_grow(keeper: Client, count: int) -> None:
    for n in range(count):
        ItemFactory.create(number=f"D-{n}")
    with CaptureQueriesContext(connection) as queries:
        keeper.get(reverse("catalogue"))
    assert len(queries) == 4
