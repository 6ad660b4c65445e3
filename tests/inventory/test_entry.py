"""Items entered by hand, and what is taken in of one."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from inventory import catalogue, stock
from inventory.catalogue import facts
from inventory.forms.entry import CareForm, ItemForm, MeasuresForm, TakeInForm, asked, cared_for, measured
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


@pytest.mark.parametrize(
    ("typed", "written", "others"),
    [
        ("M14", "M14x2", "M14x1.5"),
        ("m 14 LH", "M14x2-LH", "M14x1.5-LH"),
        ("EG M14", "EG M14x2", "EG M14x1.5"),
        ("1/4-20", "1/4-20 UNC", "1/4-20 BSW"),
    ],
)
def test_a_thread_that_could_be_several_is_refused_with_what_to_write(typed: str, written: str, others: str) -> None:
    form = form_of("setting_tool", number="S-1", thread=typed)
    assert form.added() is None
    (told,) = form.errors["thread"]
    assert f"write {written} if" in told
    assert others in told
    item = form_of("setting_tool", number="S-1", thread=written).added()
    assert item is not None
    wrong = measures_of(item, thread=typed)
    assert wrong.measured(by="x") is None
    assert list(wrong.errors) == ["thread"]
    assert wrong["thread"].value() == typed


@pytest.mark.parametrize("typed", ["M14x2", "1/2 UNC", "3/8 BSW", "9/16-18", "14x1.5", "2 BA", "M18 spark plug"])
def test_a_thread_whose_pitch_follows_from_what_is_written_is_taken(typed: str) -> None:
    assert form_of("setting_tool", number="S-1", thread=typed).added() is not None


def test_an_item_from_a_sheet_keeps_its_thread_without_a_pitch_while_nobody_touches_it() -> None:
    thread = read("M14").thread.key
    item = ItemFactory.create(kind="proof_bolt", thread="M14", as_typed="M14", diameter=None, usable_length=None)
    kept = measures_of(item, usable_length="90").measured(by="x")
    assert kept is not None
    assert (kept.thread, kept.as_typed) == (thread, "M14")


def test_a_number_that_is_taken_is_told_at_the_number() -> None:
    ItemFactory.create(number="T-1")
    form = form_of("tap", **TAP)
    assert form.added() is None
    assert list(form.errors) == ["number"]


def test_a_rule_of_the_table_is_told_at_its_field() -> None:
    form = form_of("torque_wrench", number="W-1", torque_min="100", torque_max="20")
    assert form.added() is None
    assert list(form.errors) == ["torque_min"]


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
    bin = BinFactory.create(name="B4")
    item = ItemFactory.create(kind="tap")
    assert take_in(item, tag="T-9", bin="B4", site=bin.site.name).taken_in(by="x") is not None
    form = take_in(item, tag="T-9", bin="N1", site=bin.site.name, new_bin="on", request_key="m")
    assert form.taken_in(by="x") is None
    assert list(form.errors) == ["tag"]
    assert not Bin.objects.filter(name="N1").exists()


def test_a_tag_that_is_taken_and_a_bin_that_is_not_there_are_told_at_once() -> None:
    bin = BinFactory.create(name="B4")
    item = ItemFactory.create(kind="tap")
    assert take_in(item, tag="T-9", bin="B4", site=bin.site.name).taken_in(by="x") is not None
    form = take_in(item, tag="t-9", bin="Z9", site=bin.site.name, request_key="m")
    assert form.taken_in(by="x") is None
    assert set(form.errors) == {"tag", "bin"}
    assert "T-9" in form.errors["tag"][0]
    assert len(form.errors["bin"]) == 1
    gauge = ItemFactory.create(kind="depth_gauge")
    form = take_in(gauge, tag="T-9", bin="B4", site="Nowhere", calibration_due="2025-01-01", request_key="n")
    assert form.taken_in(by="x") is None
    assert set(form.errors) == {"tag", "site", "calibration_due"}


@pytest.mark.parametrize(
    ("field", "day", "told"),
    [
        ("expires", "2026-03-01", "Expired stock that is really here comes in by a sheet."),
        ("expires", "2025-06-01", "is over already"),
        ("expires", "2126-06-01", "more than 20 years ahead"),
        ("packed", "2026-03-03", "still to come"),
        ("packed", "2126-03-01", "still to come"),
    ],
)
def test_a_slip_in_a_day_is_asked_back_at_its_field(field: str, day: str, told: str) -> None:
    bin = BinFactory.create(name="B4")
    item = ItemFactory.create(kind="adhesive")
    form = take_in(item, quantity="3", bin="B4", site=bin.site.name, **{field: day})
    assert form.taken_in(by="x") is None
    assert list(form.errors) == [field]
    assert told in form.errors[field][0]
    assert form[field].value() == day
    assert not Movement.objects.exists()
    today = take_in(item, quantity="3", bin="B4", site=bin.site.name, **{field: "2026-03-02"})
    assert today.taken_in(by="x") is not None


@pytest.mark.parametrize("day", ["2026-03-01", "2099-12-31"])
def test_a_gauge_comes_in_with_no_calibration_that_is_over_or_beyond_belief(day: str) -> None:
    bin = BinFactory.create(name="B4")
    item = ItemFactory.create(kind="depth_gauge")
    form = take_in(item, tag="G-1", bin="B4", site=bin.site.name, calibration_due=day)
    assert form.taken_in(by="x") is None
    assert list(form.errors) == ["calibration_due"]
    assert take_in(item, tag="G-1", bin="B4", site=bin.site.name).taken_in(by="x") is not None


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
    assert care_of(item, number="T-1", life="80", request_key="m").cared(by="Ida") is not None
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


@pytest.mark.parametrize("typed", ["", "  "])
def test_an_item_that_has_a_number_keeps_one_and_may_get_another(typed: str) -> None:
    item = ItemFactory.create(kind="oil", number="1045")
    form = care_of(item, number=typed, why="kept")
    assert form.cared(by="Ida") is None
    assert list(form.errors) == ["number"]
    assert "1045" in form.errors["number"][0]
    assert form["why"].value() == "kept"
    item.refresh_from_db()
    assert (item.number, ItemChange.objects.count()) == ("1045", 0)
    kept = care_of(item, number="1046", request_key="m").cared(by="Ida")
    assert kept is not None
    assert kept.number == "1046"


def test_an_item_gets_a_number_of_its_own_and_none_that_is_taken() -> None:
    ItemFactory.create(number="T-1")
    item = ItemFactory.create(kind="oil", number=None)
    form = care_of(item, number="T-1")
    assert form.cared(by="Ida") is None
    assert list(form.errors) == ["number"]
    assert care_of(item, number="O-1", request_key="m").cared(by="Ida") is not None
    assert Item.objects.get(pk=item.pk).address == "O-1"


# Measurements


def measures_of(item: Item, page: MeasuresForm | None = None, **typed: str) -> MeasuresForm:
    """The form as a page was filled in with, with what is typed over it."""
    page = page or MeasuresForm(item=item, as_of=MONDAY)
    told = {name: page[name].value() or "" for name in page.fields}
    return MeasuresForm(told | typed, item=Item.objects.get(pk=item.pk), as_of=MONDAY)


@pytest.fixture
def tap() -> Item:
    item = form_of("tap", **TAP).added()
    assert item is not None
    return item


def test_a_page_of_measurements_is_filled_in_as_it_was_typed_or_in_millimetres(tap: Item) -> None:
    page = MeasuresForm(item=tap, as_of=MONDAY)
    assert {name: page[name].value() for name in page.fields if name in catalogue.MEASURED} == {
        "name": "", "thread": "M14 x 1,5", "thread_class": "6H", "usable_length": "120.65 mm", "lead": "4",
        "flute": "straight", "action": "cut",
    }  # fmt: skip
    assert set(measured(KINDS["tap"])) == set(asked(KINDS["tap"])) - set(catalogue.CARE)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_takes_what_it_is_filled_in_with_and_changes_nothing(kind: str) -> None:
    typed = {
        "name": "thing", "thread": "M16 x 1,5", "inner": "M14x1.5", "thread_class": "6H", "diameter": "19/32 in",
        "pilot": "14,4", "usable_length": "4 3/4 in", "lead": "1,5", "flute": "point", "action": "form",
        "insert_length": "20", "flange": "22", "hand": "L", "torque_min": "0", "torque_max": "33 ft-lb",
        "family": "own/1", "cure_hours": "12", "step_diameter": "0.610\"", "step_length": "30", "takes_least": "4",
        "takes_most": "12,5",
    }  # fmt: skip
    if kind in ("insert", "plug", "proof_bolt"):  # which screw into a hole
        typed["thread_class"] = "6g"
    form = form_of(kind, number="N-1", **{name: text for name, text in typed.items() if name in asked(KINDS[kind])})
    item = form.added()
    assert item is not None, form.errors
    assert facts(item).missing() == ()
    before = catalogue.measures_of(Item.objects.get(pk=item.pk))
    unchanged = measures_of(item)
    assert unchanged.measured(by="x") is None
    assert [fault.code for fault in unchanged.non_field_errors().as_data()] == ["item_measured_nothing"]
    retyped = measures_of(item, name="another")
    assert retyped.measured(by="x") is not None
    assert catalogue.measures_of(Item.objects.get(pk=item.pk)) == before | {"name": "another"}


def test_every_measurement_may_be_emptied_and_is_then_what_the_item_cannot_be_matched_on(tap: Item) -> None:
    emptied = measures_of(tap, thread="", thread_class="", usable_length="", lead="", flute="", action="")
    item = emptied.measured(by="Ida")
    assert item is not None
    assert facts(item).missing() == KINDS["tap"].measures
    assert item.as_typed == ""


def test_a_thread_that_is_typed_anew_is_kept_as_it_is_typed_and_brings_its_class(tap: Item) -> None:
    item = measures_of(tap, thread="M16 X 1,5 - 6G", thread_class="").measured(by="Ida")
    assert item is not None
    assert (item.thread, item.thread_class, item.as_typed) == (read("M16x1.5").thread.key, "6G", "M16 X 1,5 - 6G")
    twice = measures_of(item, thread_class="6H")
    assert twice.measured(by="Ida") is None
    assert list(twice.errors) == ["thread_class"]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"thread": "M14 x"}, "thread"),
        ({"thread_class": "wobbly"}, "thread_class"),
        ({"usable_length": "-3"}, "usable_length"),
        ({"usable_length": "0"}, "usable_length"),
        ({"usable_length": "1e9"}, "usable_length"),
        ({"lead": "0"}, "lead"),
        ({"flute": "wavy"}, "flute"),
        ({"name": "x" * 161}, "name"),
        ({"thread_class": "x" * 13}, "thread_class"),
    ],
)
def test_a_bad_measurement_is_told_at_its_field_and_nothing_typed_is_lost(
    tap: Item, typed: dict[str, str], field: str
) -> None:
    form = measures_of(tap, **({"lead": "2"} | typed))
    assert form.measured(by="x") is None
    assert list(form.errors) == [field]
    assert len(form.errors[field]) == 1
    assert form[field].value() == typed[field]
    assert form["lead"].value() == typed.get("lead", "2")
    assert not ItemChange.objects.exists()


@pytest.mark.parametrize(
    ("kind", "there", "typed", "field"),
    [
        ("seat_cutter", {"diameter": "22"}, {"pilot": "22"}, "pilot"),
        ("insert", {"thread": "M14x1.5"}, {"inner": "M16x1.5"}, "inner"),
        ("boring_head", {"takes_most": "12"}, {"takes_least": "13"}, "takes_least"),
        ("step_drill", {"diameter": "12"}, {"step_diameter": "11"}, "step_diameter"),
    ],
)
def test_what_does_not_go_with_what_is_known_is_told_by_hand_as_by_sheet(
    kind: str, there: dict[str, str], typed: dict[str, str], field: str
) -> None:
    item = form_of(kind, number="N-1", **there).added()
    assert item is not None
    form = measures_of(item, **typed)
    assert form.measured(by="x") is None
    assert list(form.errors) == [field]
    new = form_of(kind, number="N-2", **there, **typed)
    assert new.added() is None
    assert list(new.errors) == [field]


def test_whoever_comes_second_sees_what_changed_keeps_what_he_typed_and_sets_nothing_back(tap: Item) -> None:
    ida, jon = (MeasuresForm(item=tap, as_of=MONDAY) for _ in range(2))
    assert measures_of(tap, ida, usable_length="100", lead="2").measured(by="Ida") is not None
    second = measures_of(tap, jon, lead="3", flute="spiral")
    assert second.measured(by="Jon") is None
    assert set(second.errors) == {"__all__", "usable_length", "lead"}
    assert "by Ida" in second.non_field_errors()[0]
    assert "from 4 to 2" in second.errors["lead"][0]
    assert {name: second[name].value() for name in ("usable_length", "lead", "flute")} == {
        "usable_length": "100 mm", "lead": "3", "flute": "spiral",
    }  # fmt: skip
    item = measures_of(tap, second).measured(by="Jon")  # pressed again, knowing
    assert item is not None
    assert (item.usable_length, item.lead, item.flute) == (100_000_000, 30, "spiral")
    assert ItemChange.objects.latest("pk").was == {"lead": 20, "flute": "straight"}


@pytest.mark.parametrize("seen", ["", "{}", "[1]", "{" * 3000, '{"kind": "drill"}'])
def test_a_page_that_says_nothing_of_what_it_showed_writes_nothing(tap: Item, seen: str) -> None:
    form = measures_of(tap, seen=seen, lead="2")
    assert form.measured(by="x") is None
    assert [fault.code for fault in form.non_field_errors().as_data()] == ["item_measured_since"]
    again = measures_of(tap, form)
    assert again.measured(by="x") is not None
