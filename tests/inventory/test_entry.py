"""Items entered by hand, and what is taken in of one."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from inventory import catalogue, stock
from inventory.catalogue import facts
from inventory.forms.entry import CareForm, ItemForm, TakeInForm, asked, cared_for
from inventory.kinds import KINDS
from inventory.models import Bin, Item, ItemChange, LifeFactor, Movement
from inventory.threads import read
from tests.factories import BinFactory, ItemFactory

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db

TAP = {
    "number": "T-1", "thread": "M14 x 1,5", "thread_class": "6H", "usable_length": "4 3/4 in", "lead": "4",
    "flute": "straight", "action": "cut", "life": "200",
}  # fmt: skip


def form_of(kind: str, **typed: str) -> ItemForm:
    return ItemForm(typed, kind=KINDS[kind])


def take_in(item: Item, **typed: str) -> TakeInForm:
    return TakeInForm({"request_key": "k", **typed}, item=item, as_of=MONDAY)


def test_every_kind_asks_for_what_it_must_carry() -> None:
    for kind in KINDS.values():
        assert set(kind.measures) <= set(asked(kind)), kind.code
        assert set(ItemForm(kind=kind).fields) == set(asked(kind))


def test_a_tap_is_entered_as_people_write_it() -> None:
    item = form_of("tap", **TAP).added()
    assert item is not None
    assert (item.thread, item.thread_class, item.as_typed) == (read("M14x1.5").thread.key, "6H", "M14 x 1,5")
    assert (item.usable_length, item.lead, item.life) == (120_650_000, 40, 200)
    assert facts(item).missing() == ()


def test_a_class_in_the_thread_counts_and_another_beside_it_is_refused() -> None:
    item = form_of("tap", **(TAP | {"thread": "M14x1.5-6H", "thread_class": ""})).added()
    assert item is not None
    assert item.thread_class == "6H"
    form = form_of("tap", **(TAP | {"number": "T-2", "thread": "M14x1.5-6H", "thread_class": "5H"}))
    assert form.added() is None
    assert list(form.errors) == ["thread_class"]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"thread": "M14 x"}, "thread"),
        ({"usable_length": "long"}, "usable_length"),
        ({"lead": "0"}, "lead"),
        ({"life": "0"}, "life"),
        ({"number": ""}, "number"),
        ({"flute": "wavy"}, "flute"),
    ],
)
def test_what_cannot_be_read_is_told_at_its_field_and_kept(typed: dict[str, str], field: str) -> None:
    form = form_of("tap", **(TAP | typed))
    assert form.added() is None
    assert list(form.errors) == [field]
    assert form["thread"].value() == (TAP | typed)["thread"]
    assert not Item.objects.exists()


def test_what_is_left_out_is_named_as_what_it_cannot_be_matched_on() -> None:
    item = form_of("seat_cutter", number="S-1", diameter="22").added()
    assert item is not None
    assert facts(item).missing() == ("pilot",)


def test_a_number_that_is_taken_is_told_at_the_number() -> None:
    ItemFactory.create(number="T-1")
    form = form_of("tap", **TAP)
    assert form.added() is None
    assert list(form.errors) == ["number"]


def test_a_rule_of_the_table_is_told_at_its_field() -> None:
    form = form_of("torque_wrench", number="W-1", torque_min="100", torque_max="20")
    assert form.added() is None
    assert list(form.errors) == ["torque_max"]


def test_a_tool_comes_into_its_bin_once_however_often_it_is_pressed() -> None:
    bin = BinFactory.create(name="B4")
    item = ItemFactory.create(kind="tap")
    told: dict[str, Any] = {"tag": "T-9", "bin": "b4", "site": bin.site.name, "reason": "bought at the door"}
    unit = take_in(item, **told).taken_in(by="x")
    assert unit == take_in(item, **told).taken_in(by="x")
    line = Movement.objects.get(unit=unit)
    assert (line.act, line.to_bin, line.reason) == ("received", bin, "bought at the door")
    assert stock.disagreements() == []


def test_a_bin_that_is_not_there_is_told_and_made_where_it_is_new() -> None:
    site = BinFactory.create(name="B4").site
    item = ItemFactory.create(kind="oil")
    told = {"quantity": "3", "bin": "N1", "site": site.name, "lot": "L7", "expires": "2027-01-31"}
    form = take_in(item, **told)
    assert form.taken_in(by="x") is None
    assert list(form.errors) == ["bin"]
    batch = take_in(item, **told, new_bin="on").taken_in(by="x")
    assert batch is not None
    assert (batch.bin, batch.bin.name) == (Bin.objects.get(name="N1"), "N1")
    assert batch.item == item
    assert stock.batch_by_id(batch.pk).expires == date(2027, 1, 31)


def test_a_refused_take_in_leaves_no_new_bin_behind() -> None:
    site = BinFactory.create(name="B4").site
    item = ItemFactory.create(kind="oil")
    form = take_in(
        item, quantity="3", bin="N1", site=site.name, new_bin="on", packed="2027-02-01", expires="2027-01-31"
    )
    assert form.taken_in(by="x") is None
    assert list(form.errors) == ["expires"]
    assert not Bin.objects.filter(name="N1").exists()


def test_a_site_that_is_not_there_is_told_at_the_site() -> None:
    BinFactory.create(name="B4")
    form = take_in(ItemFactory.create(kind="tap"), tag="T-1", bin="B4", site="Nowhere")
    assert form.taken_in(by="x") is None
    assert list(form.errors) == ["site"]


# Wear and care


def care_of(item: Item, **typed: str) -> CareForm:
    return CareForm({"request_key": "k", **typed}, item=item, as_of=MONDAY)


def test_each_kind_is_cared_for_as_it_wears_is_calibrated_or_is_packed() -> None:
    assert cared_for(KINDS["tap"]) == ("number", "life", "most_regrinds")
    assert cared_for(KINDS["torque_wrench"]) == ("number", "calibration_days")
    assert cared_for(KINDS["insert"]) == ("number", "pack_size")


def test_life_factors_are_entered_by_the_words_of_the_materials_and_stand_there_when_it_is_opened_again() -> None:
    item = ItemFactory.create(kind="tap", life=100)
    typed = {
        "number": "T-1",
        "life": "80",
        "most_regrinds": "2",
        "factors": "Steel 150\ngrey cast iron 120 %",
        "why": "tried",
    }
    for _ in range(2):
        assert care_of(item, **typed).cared(by="Ida") == item
    item.refresh_from_db()
    assert (item.life, item.most_regrinds) == (80, 2)
    assert catalogue.factors_of(item) == {"steel": 150, "grey_iron": 120}
    change = ItemChange.objects.get()
    assert (change.act, change.by, change.reason) == ("care", "Ida", "tried")
    again = CareForm(item=item, as_of=MONDAY)
    assert again["factors"].value() == "grey cast iron 120\nsteel 150"
    assert again["life"].value() == 80
    assert care_of(item, life="80", request_key="m").cared(by="Ida") is not None
    assert catalogue.factors_of(item) == {}


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("stele 150", "material_unknown"),
        ("steel", "life_factor_unreadable"),
        ("steel 0", "life_factor_unreadable"),
        ("steel 10001", "life_factor_unreadable"),
        ("steel 150; steel 120", "life_factor_twice"),
    ],
)
def test_a_factor_that_cannot_be_read_is_told_at_its_field_and_nothing_is_changed(typed: str, code: str) -> None:
    item = ItemFactory.create(kind="tap", life=100)
    LifeFactor.objects.create(item=item, material="bronze", percent=80)
    form = care_of(item, life="60", factors=typed)
    assert form.cared(by="Ida") is None
    assert list(form.errors) == ["factors"]
    assert form.errors.as_data()["factors"][0].code == code
    assert form["factors"].value() == typed
    item.refresh_from_db()
    assert (item.life, catalogue.factors_of(item)) == (100, {"bronze": 80})


def test_a_life_of_nothing_is_told_at_the_life() -> None:
    form = care_of(ItemFactory.create(kind="tap", life=100), life="0")
    assert form.cared(by="Ida") is None
    assert list(form.errors) == ["life"]


def test_an_item_gets_a_number_of_its_own_and_none_that_is_taken() -> None:
    ItemFactory.create(number="T-1")
    item = ItemFactory.create(kind="oil", number=None)
    form = care_of(item, number="T-1")
    assert form.cared(by="Ida") is None
    assert list(form.errors) == ["number"]
    assert care_of(item, number="O-1", request_key="m").cared(by="Ida") is not None
    assert Item.objects.get(pk=item.pk).address == "O-1"
