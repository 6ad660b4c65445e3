"""The catalogue: threads read once and kept as keys, what is not entered told as such."""

from datetime import UTC, datetime
from typing import Any

import pytest

from inventory import catalogue, stock
from inventory.errors import Refused
from inventory.kinds import Facts
from inventory.models import Item, ItemChange
from inventory.threads import ThreadError, read
from tests.factories import InsertFactory, ItemFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)


def test_a_thread_is_kept_as_its_key_with_what_was_typed_beside_it() -> None:
    item = catalogue.add_item(kind="tap", thread="M 14 X 1,5 - 6H LH")
    assert item.thread == read("M14x1.5-LH").thread.key
    assert (item.thread_class, item.as_typed) == ("6H", "M 14 X 1,5 - 6H LH")


def test_a_thread_may_be_given_as_itself() -> None:
    thread = read("9/16-18").thread
    item = catalogue.add_item(kind="setting_tool", thread=thread)
    assert (item.thread, item.as_typed) == (thread.key, thread.designation)


def test_the_facts_of_an_item_are_what_was_entered_and_none_where_nothing_was() -> None:
    item = InsertFactory.create(number="IN-1", flange=21_000_000)
    assert catalogue.facts(item) == Facts(
        item=item.pk,
        kind="insert",
        thread=read("M16x1.5").thread.key,
        inner=read("M14x1.5").thread.key,
        insert_length=20_000_000,
        flange=21_000_000,
        family="own-flanged/1",
    )
    unmeasured = catalogue.facts(ItemFactory.create(kind="seat_cutter", diameter=22_000_000))
    assert (unmeasured.thread, unmeasured.inner, unmeasured.missing()) == (None, None, ("pilot",))


def test_a_kind_knows_whether_its_things_are_counted() -> None:
    assert InsertFactory.create().counted
    assert not TapFactory.create().counted


@pytest.mark.parametrize(
    ("code", "fields"),
    [
        ("kind_unknown", {"kind": "hammer"}),
        ("thread_class_twice", {"kind": "tap", "thread": "M14x1.5-5H", "thread_class": "6H"}),
        ("item_number_taken", {"kind": "tap", "number": "TP-1"}),
        ("item_diameter_positive", {"kind": "drill", "diameter": 0}),
        ("item_lead_positive", {"kind": "tap", "lead": -1}),
        ("item_torque_range", {"kind": "torque_wrench", "torque_min": 9, "torque_max": 8}),
        ("item_flute_known", {"kind": "tap", "flute": "wavy"}),
        ("item_action_known", {"kind": "tap", "action": "tear"}),
        ("item_hand_known", {"kind": "fixture", "hand": "X"}),
        ("item_life_positive", {"kind": "tap", "life": 0}),
        ("item_cure_hours_positive", {"kind": "adhesive", "cure_hours": 0}),
    ],
)
def test_what_cannot_be_is_refused_by_name(code: str, fields: dict[str, Any]) -> None:
    catalogue.add_item(kind="tap", number="TP-1")
    with pytest.raises(Refused) as refused:
        catalogue.add_item(**fields)
    assert refused.value.reason.code == code


def test_a_thread_that_cannot_be_read_is_refused_in_the_readers_words() -> None:
    with pytest.raises(ThreadError):
        catalogue.add_item(kind="tap", thread="M14x15")


def test_items_are_found_by_the_shops_own_number_and_many_may_have_none() -> None:
    first, _, _ = (
        ItemFactory.create(number="DR-1"),
        ItemFactory.create(number=None),
        ItemFactory.create(number=""),
    )
    assert catalogue.by_number(["DR-1", "DR-2"]) == {"DR-1": first}


def test_the_catalogue_lists_what_could_serve_though_none_is_on_the_shelf() -> None:
    tap = TapFactory.create(number="T-1")
    TapFactory.create(thread="M14x1.5")
    drill = ItemFactory.create(diameter=14_500_000)
    ItemFactory.create(diameter=15_000_000)
    oil = ItemFactory.create(kind="oil")
    ItemFactory.create(kind="cleaner")
    found = catalogue.listed(
        kinds={"tap", "drill", "oil"},
        threads={read("M16x1.5").thread.key},
        diameters={(14_376_000, 14_676_000)},
    )
    assert {(number, facts.item) for number, facts in found} == {("T-1", tap.pk), ("", drill.pk), ("", oil.pk)}
    assert dict(found)["T-1"] == catalogue.facts(tap)
    assert catalogue.listed(kinds=()) == []


def test_an_item_is_found_at_its_address_with_a_number_or_without() -> None:
    named = catalogue.add_item(kind="drill", number="DR/1")
    nameless = catalogue.add_item(kind="drill")
    assert (named.address, nameless.address) == ("DR/1", f"~{nameless.pk}")
    assert [catalogue.item_at(each.address) for each in (named, nameless)] == [named, nameless]
    for address in ("DR/2", f"~{named.pk}", "~x", "~" + "9" * 30, ""):
        with pytest.raises(Refused) as refused:
            catalogue.item_at(address)
        assert refused.value.reason.code == "item_unknown"


# What is no longer bought


def test_what_is_retired_is_proposed_to_nobody_and_its_units_stay_until_used_up() -> None:
    item = TapFactory.create(number="TP-16")
    UnitFactory.create(tag="T-16", item=item)
    asked: dict[str, Any] = {"kinds": ["tap"], "threads": [item.thread]}
    assert [number for number, _ in catalogue.listed(**asked)] == ["TP-16"]
    catalogue.retire_item(item, by="Ida", as_of=NOW, reason="breaks")
    assert catalogue.listed(**asked) == []
    assert [line.tag for line in stock.lines(**asked)] == ["T-16"]
    catalogue.restore_item(item, by="Ida", as_of=NOW)
    assert [number for number, _ in catalogue.listed(**asked)] == ["TP-16"]
    assert list(ItemChange.objects.values_list("act", "by", "reason")) == [
        ("retired", "Ida", "breaks"),
        ("restored", "Ida", ""),
    ]


def test_the_last_successor_is_bought_in_place_of_an_item() -> None:
    first, second, third = (TapFactory.create(number=f"TP-{n}") for n in range(3))
    catalogue.supersede_item(first, second, by="x", as_of=NOW, request_key="k1")
    catalogue.supersede_item(first, second, by="x", as_of=NOW, request_key="k1")  # pressed twice
    catalogue.supersede_item(second, third, by="x", as_of=NOW)
    first.refresh_from_db()
    assert catalogue.current(first) == third
    assert ItemChange.objects.count() == 2


def test_what_cannot_take_the_place_of_an_item_is_refused() -> None:
    tap, other, drill = TapFactory.create(), TapFactory.create(name="b"), ItemFactory.create()
    for successor, code in ((tap, "item_not_its_own_successor"), (drill, "successor_of_other_kind")):
        with pytest.raises(Refused, match=code):
            catalogue.supersede_item(tap, successor, by="x", as_of=NOW)
    catalogue.supersede_item(tap, other, by="x", as_of=NOW)
    with pytest.raises(Refused, match="successor_retired"):  # and so no chain leads back
        catalogue.supersede_item(other, tap, by="x", as_of=NOW)


def test_doubles_are_found_by_what_was_measured_and_other_sizes_are_none() -> None:
    same = [ItemFactory.create(number=number) for number in ("D-1", "D-2")]
    bare = ItemFactory.create(number="D-3", usable_length=None)
    ItemFactory.create(number="D-4", usable_length=60_000_000)
    ItemFactory.create(number="D-5", diameter=14_600_000)
    found = catalogue.overview()
    pairs = {(each.first.number, each.second.number): each.same for each in found.alike}
    assert pairs == {("D-1", "D-2"): True, ("D-1", "D-3"): False, ("D-2", "D-3"): False, ("D-3", "D-4"): False}
    assert [(item.number, missing) for item, missing in found.unmatched] == [(bare.number, ("usable_length",))]
    assert found.counts == (("drill", 5, 0),)
    catalogue.supersede_item(same[0], same[1], by="x", as_of=NOW)
    found = catalogue.overview()
    assert ("D-1", "D-2") not in {(each.first.number, each.second.number) for each in found.alike}
    assert found.counts == (("drill", 4, 1),)


# Measured anew


def seen(item: Item) -> dict[str, Any]:
    return catalogue.measures_of(Item.objects.get(pk=item.pk))


def test_what_is_measured_anew_is_written_down_with_what_it_was_and_is_done_once() -> None:
    item = catalogue.add_item(kind="seat_cutter", number="S-1", diameter=22_000_000)
    told: dict[str, Any] = {"anew": {"pilot": 16_400_000, "diameter": 22_225_000}, "seen": seen(item)}
    told |= {"by": "Ida", "as_of": NOW, "reason": "measured at the bench", "request_key": "k"}
    assert catalogue.facts(catalogue.measure(item, **told)).missing() == ()
    assert catalogue.measure(item, **told).pilot == 16_400_000
    (change,) = catalogue.history(item)
    assert (change.act, change.by, change.at, change.reason) == ("measured", "Ida", NOW, "measured at the bench")
    assert change.was == {"pilot": None, "diameter": 22_000_000}
    assert change.now == {"pilot": 16_400_000, "diameter": 22_225_000}


def test_whoever_measures_second_is_told_what_changed_since_and_nothing_is_written() -> None:
    item = catalogue.add_item(kind="seat_cutter", number="S-1", diameter=22_000_000)
    shown = seen(item)
    catalogue.measure(item, anew={"pilot": 16_400_000}, seen=shown, by="Ida", as_of=NOW)
    with pytest.raises(catalogue.MeasuredSince) as since:
        catalogue.measure(item, anew={"diameter": 22_500_000}, seen=shown, by="Jon", as_of=NOW)
    assert since.value.changed == {"pilot": (None, 16_400_000)}
    assert since.value.reason["by"] == "Ida"
    assert (seen(item)["diameter"], ItemChange.objects.count()) == (22_000_000, 1)


def test_what_is_no_measurement_or_breaks_a_rule_is_not_written() -> None:
    item = catalogue.add_item(kind="step_drill", diameter=10_000_000, step_diameter=12_000_000)
    with pytest.raises(ValueError, match="kind"):
        catalogue.measure(item, anew={"kind": "drill"}, seen={}, by="x", as_of=NOW)
    with pytest.raises(Refused) as refused:
        catalogue.measure(item, anew={"diameter": 12_000_000}, seen=seen(item), by="x", as_of=NOW)
    assert refused.value.reason.code == "item_step_over_diameter"
    with pytest.raises(Refused) as refused:
        catalogue.measure(item, anew={"diameter": 10_000_000}, seen=seen(item), by="x", as_of=NOW)
    assert refused.value.reason.code == "item_measured_nothing"
    assert not ItemChange.objects.exists()


def test_every_act_on_an_item_writes_down_what_it_changed() -> None:
    item = catalogue.add_item(kind="tap", number="T-1", life=100)
    told: dict[str, Any] = {"by": "Ida", "as_of": NOW}
    catalogue.care_for(item, anew={"number": "T-2", "life": 100}, factors={"steel": 150}, **told)
    catalogue.retire_item(item, **told)
    assert [(each.was, each.now) for each in reversed(catalogue.history(item))] == [
        ({"number": "T-1", "life_factors": {}}, {"number": "T-2", "life_factors": {"steel": 150}}),
        ({"retired": False}, {"retired": True}),
    ]


def test_what_is_measured_alike_is_told_of_as_perhaps_the_same() -> None:
    one = catalogue.add_item(kind="drill", number="D-1", diameter=14_500_000, usable_length=120_000_000)
    two = catalogue.add_item(kind="drill", number="D-2", diameter=14_000_000, usable_length=120_000_000)
    assert catalogue.alike(two) == []
    catalogue.measure(two, anew={"diameter": 14_500_000}, seen=seen(two), by="x", as_of=NOW)
    two.refresh_from_db()
    assert [(each.second, each.same) for each in catalogue.alike(two)] == [(one, True)]


@pytest.mark.parametrize("number", ["~12", ".", "..", "a/../b", "./x"])
def test_a_number_that_is_written_as_an_address_is_refused(number: str) -> None:
    with pytest.raises(Refused) as refused:
        catalogue.add_item(kind="oil", number=number)
    assert refused.value.reason.code == "item_number_like_an_address"
    item = catalogue.add_item(kind="oil")
    with pytest.raises(Refused):
        catalogue.care_for(item, anew={"number": number}, factors={}, by="x", as_of=NOW)
