"""The pages on which an item is entered and taken in."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import catalogue, stock
from inventory.kinds import KINDS
from inventory.models import Item, ItemChange, Unit
from inventory.reservations import reserve
from tests.factories import BatchFactory, BinFactory, ItemFactory, UnitFactory
from tests.inventory.views.test_labels import text
from tests.inventory.views.test_shelf import client_as

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> Client:
    return client_as("storekeeper")


def test_a_kind_is_chosen_then_its_measurements_then_it_is_taken_in(keeper: Client) -> None:
    bin = BinFactory.create(name="B4")
    assert f'href="{reverse("item-new")}"' in text(keeper, "catalogue")
    assert 'href="?kind=seat_cutter"' in text(keeper, "item-new")
    asks = text(keeper, "item-new", kind="seat_cutter")
    assert 'name="pilot"' in asks
    assert 'name="thread"' not in asks
    told = {"number": "S-1", "diameter": '7/8"', "pilot": "16,4"}
    added = keeper.post(reverse("item-new") + "?kind=seat_cutter", told)
    assert added.headers["Location"] == reverse("item-take-in", args=["S-1"])
    assert Item.objects.get().diameter == 22_225_000
    sent = {"tag": "SC-1", "bin": "B4", "site": bin.site.name, "request_key": "k"}
    for _ in range(2):
        taken = keeper.post(added.headers["Location"], sent)
        assert taken.headers["Location"] == reverse("unit", args=["SC-1"])
    assert Unit.objects.get().bin == bin


def test_what_cannot_be_read_is_told_and_everything_typed_is_still_there(keeper: Client) -> None:
    refused = keeper.post(
        reverse("item-new") + "?kind=seat_cutter", {"number": "S-1", "diameter": "wide", "pilot": "16"}
    )
    assert refused.status_code == 400
    page = refused.content.decode()
    assert 'value="wide"' in page
    assert 'value="16"' in page
    assert 'id="id_item_diameter_error"' in page
    empty = keeper.post(reverse("item-new") + "?kind=seat_cutter", {})
    assert empty.status_code == 400
    assert 'id="id_item_number_error"' in empty.content.decode()
    assert not Item.objects.exists()


def test_how_an_item_wears_is_entered_and_stands_on_its_page_for_those_who_may_change_it(keeper: Client) -> None:
    item = ItemFactory.create(number="T-1", kind="tap", life=100)
    assert f'href="{reverse("item-care", args=["T-1"])}"' in text(keeper, "item", "T-1")
    fitter = client_as("fitter")
    assert reverse("item-care", args=["T-1"]) not in text(fitter, "item", "T-1")
    told = {"number": "T-1", "life": "90", "factors": "steel 150\nbronze or brass 80", "request_key": "k"}
    kept = keeper.post(reverse("item-care", args=["T-1"]), told)
    assert kept.headers["Location"] == reverse("item", args=["T-1"])
    assert "80 % in bronze or brass, 150 % in steel" in text(fitter, "item", "T-1")
    refused = keeper.post(reverse("item-care", args=["T-1"]), told | {"factors": "stele 150", "request_key": "m"})
    assert refused.status_code == 400
    page = refused.content.decode()
    assert 'id="id_care_factors_error"' in page
    assert "stele 150" in page
    item.refresh_from_db()
    assert item.life == 90


def test_an_item_that_is_not_there_is_not_taken_in(keeper: Client) -> None:
    assert keeper.get(reverse("item-take-in", args=["nothing"])).status_code == 404


@pytest.mark.parametrize("count", [2, 20])
def test_what_is_asked_of_the_database_does_not_grow(keeper: Client, count: int) -> None:
    for n in range(count):
        ItemFactory.create(number=f"D-{n}")
        BinFactory.create(name=f"B{n}")
    for address in (
        reverse("item-new") + "?kind=tap",
        reverse("item-take-in", args=["D-1"]),
        reverse("item-measures", args=["D-1"]),
    ):
        with CaptureQueriesContext(connection) as queries:
            keeper.get(address)
        assert len(queries) <= 9, [query["sql"] for query in queries]


def test_a_missing_pilot_is_entered_from_the_items_page_and_stands_in_its_history(keeper: Client) -> None:
    ItemFactory.create(kind="seat_cutter", number="S/1 ä%", diameter=22_000_000, usable_length=None, thread="")
    address = reverse("item-measures", args=["S/1 ä%"])
    assert f'href="{address}"' in text(keeper, "item", "S/1 ä%")
    assert "cannot be matched on pilot" in text(keeper, "item", "S/1 ä%")
    fitter = client_as("fitter")
    assert address not in text(fitter, "item", "S/1 ä%")
    assert fitter.get(address).status_code == 403
    page = keeper.get(address)
    form = page.context["form"]
    told = {name: form[name].value() or "" for name in form.fields} | {"pilot": '0.65"', "why": "measured"}
    for _ in range(2):  # pressed twice
        kept = keeper.post(address, told)
        assert kept.headers["Location"] == reverse("item", args=["S/1 ä%"]) + "#changes"
    shown = text(fitter, "item", "S/1 ä%")
    assert "cannot be matched" not in shown
    assert "pilot not entered → " in " ".join(shown.replace('<span class="size">', "").split())
    assert "16.51 mm (0.6500 in)" in shown
    assert "Why: measured" in shown
    assert ItemChange.objects.count() == 1


def test_a_measurement_that_cannot_be_read_is_told_with_all_that_was_typed(keeper: Client) -> None:
    ItemFactory.create(kind="seat_cutter", number="S-1", diameter=22_000_000, usable_length=None, thread="")
    address = reverse("item-measures", args=["S-1"])
    form = keeper.get(address).context["form"]
    told = {name: form[name].value() or "" for name in form.fields} | {"pilot": "<b>thin", "why": "so & so"}
    refused = keeper.post(address, told)
    assert refused.status_code == 400
    page = refused.content.decode()
    assert 'id="id_measures_pilot_error"' in page
    assert 'value="&lt;b&gt;thin"' in page
    assert 'value="so &amp; so"' in page
    assert keeper.post(address, {}).status_code == 400


def test_who_keeps_something_of_it_and_what_was_reground_stand_on_the_page_of_its_measurements(keeper: Client) -> None:
    unit = UnitFactory.create(tag="D-31", item__kind="drill", item__number="D")
    Unit.objects.filter(pk=unit.pk).update(own_diameter=14_400_000)
    now = timezone.now()
    for n in range(3):
        window = (unit.pk, now + timedelta(days=n), now + timedelta(days=n + 1), 0)
        reserve(label=f"J-{n}", link=f"/jobs/J-{n}/", unit_holds=[window], by="x", as_of=now)
    page = text(keeper, "item-measures", "D")
    assert [f'href="/jobs/J-{n}/"' in page for n in range(3)] == [True] * 3
    assert "14.4 mm (0.5669 in)" in page


@pytest.mark.parametrize("kind", [kind.code for kind in KINDS.values() if kind.measures])
def test_what_it_cannot_be_matched_on_stands_on_its_page_and_in_the_catalogue(keeper: Client, kind: str) -> None:
    catalogue.add_item(kind=kind, number="N-1")
    words = [measure.replace("_", " ") for measure in KINDS[kind].measures]
    page, listed = text(keeper, "item", "N-1"), text(keeper, "catalogue")
    assert [word for word in words if f"it cannot be matched on {word}" not in page] == []
    assert f"cannot be matched</strong> on {', '.join(words)}</span>" in listed


@pytest.mark.parametrize("number", ["S/1 ä%", "100%41", "Ø14", "?x#y", "a//b", "x/", "/x", 'it\'s "so"', "~x", "&amp;"])
def test_whatever_number_an_item_is_given_its_pages_are_found_by_it(keeper: Client, number: str) -> None:
    added = keeper.post(reverse("item-new") + "?kind=drill", {"number": number, "diameter": "14,5"})
    assert added.status_code == 302
    item = Item.objects.get()
    assert item.number == number
    assert keeper.get(added.headers["Location"]).status_code == 200
    for name in ("item", "item-care", "item-measures", "item-take-in"):
        page = keeper.get(reverse(name, args=[item.address]))
        assert page.status_code == 200, name
        assert page.context["item"] == item


@pytest.mark.parametrize("number", ["~12", "..", "a/../b", " ", "x" * 41])
def test_a_number_that_no_address_could_name_is_refused_at_its_field(keeper: Client, number: str) -> None:
    refused = keeper.post(reverse("item-new") + "?kind=drill", {"number": number, "diameter": "14,5"})
    assert refused.status_code == 400
    assert list(refused.context["form"].errors) == ["number"]
    assert 'value="14,5"' in refused.content.decode()
    item = ItemFactory.create(number="D-1", kind="drill")
    told = {"number": number, "life": "5", "request_key": "k"}
    if number.strip():
        refused = keeper.post(reverse("item-care", args=["D-1"]), told)
        assert (refused.status_code, list(refused.context["form"].errors)) == (400, ["number"])
    item.refresh_from_db()
    assert item.number == "D-1"


@pytest.mark.parametrize(
    ("kind", "field", "typed", "kept"),
    [
        ("tap", "thread", "M14 x 1,5", "M|14000000|1500000nm|R"),
        ("tap", "thread", "14x1.5", "M|14000000|1500000nm|R"),
        ("tap", "thread", "M14x1.5 LH", "M|14000000|1500000nm|L"),
        ("drill", "diameter", '7/8"', 22_225_000),
        ("drill", "diameter", "0", None),
        ("drill", "diameter", "-3", None),
        ("drill", "diameter", "1e9", None),
        ("drill", "diameter", "14.5 kg", None),
        ("drill", "usable_length", "١٢٠", None),
        ("torque_wrench", "torque_max", "1e9", None),
        ("fixture", "hand", "X", None),
    ],
)
def test_awkward_sizes_are_read_or_refused_at_their_field(
    keeper: Client, kind: str, field: str, typed: str, kept: object
) -> None:
    sent = keeper.post(reverse("item-new") + f"?kind={kind}", {"number": "N-1", field: typed})
    if kept is None:
        assert sent.status_code == 400
        assert list(sent.context["form"].errors) == [field]
        assert len(sent.context["form"].errors[field]) == 1
        assert not Item.objects.exists()
    else:
        assert getattr(Item.objects.get(), field) == kept


def test_the_unit_of_a_bare_number_is_named_where_sizes_are_asked_for(keeper: Client) -> None:
    millimetres, metres = "A size without a unit is read in mm", "A torque without a unit is read in N·m"
    for kind, told in (("drill", (True, False)), ("torque_wrench", (False, True)), ("oil", (False, False))):
        page = text(keeper, "item-new", kind=kind)
        assert (millimetres in page, metres in page) == told, kind
    ItemFactory.create(number="D-1", kind="drill")
    assert millimetres in text(keeper, "item-measures", "D-1")
    assert millimetres not in text(keeper, "item-care", "D-1")


def test_what_is_asked_of_an_item_is_said_in_the_words_of_its_kind(keeper: Client) -> None:
    pitch = text(keeper, "item-new", kind="pitch_gauge")
    assert "Finest pitch" in pitch
    assert "square" not in pitch
    assert "(DC" not in pitch
    insert = text(keeper, "item-new", kind="insert")
    assert "Thread outside" in insert
    assert "Thread inside" in insert
    assert "Inner" not in insert
    drill = text(keeper, "item-new", kind="drill")
    assert "(DC)" in drill
    collar = text(keeper, "item-new", kind="stop_collar")
    assert "Bore" in collar
    assert "utting" not in collar


def test_a_retired_items_stock_is_still_used_and_expired_lots_are_named_beside_what_is_on_hand(keeper: Client) -> None:
    item = ItemFactory.create(number="A-1", kind="adhesive")
    over = BatchFactory.create(item=item, quantity=3, expires=timezone.now().date() - timedelta(days=40))
    BatchFactory.create(item=item, bin=over.bin, quantity=2, lot="good", expires=None)
    page = " ".join(text(keeper, "item", "A-1").split())
    assert "<dt>On hand</dt><dd>2</dd>" in page
    assert "On hand leaves out 3 more that are past the last good day." in page
    assert "Minimum / order point / maximum" in page
    catalogue.retire_item(item, by="x", as_of=timezone.now())
    assert "What is here is still used." in text(keeper, "item", "A-1")


def test_the_diameter_of_a_reground_tool_says_in_which_unit_it_is_read(keeper: Client) -> None:
    unit = UnitFactory.create(tag="D-31", item__kind="drill", item__number="D")
    stock.send_unit(unit=unit, why="regrind", to="Whet", until=None, by="x", as_of=timezone.now())
    page = text(keeper, "unit", "D-31")
    assert 'id="id_returnform_diameter_helptext">in mm; write in behind it for inches' in page


def test_the_tick_of_a_new_bin_stands_before_its_label(keeper: Client) -> None:
    ItemFactory.create(number="D-1", kind="drill")
    page = text(keeper, "item-take-in", "D-1")
    tick = page[page.index('class="field tick"') :].split("</p>")[0]
    assert tick.index("<input") < tick.index("<label")
