"""The plan as a document: always of its published form, told apart by what it decides, and ready at a glance."""

import csv
import io
import json
from datetime import timedelta
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from inventory import catalogue, purchasing
from repairs import jobs
from repairs.buying import ShoppingList
from repairs.cards import (
    SCHEMA_VERSION,
    SHOPPING_HEADS,
    digest,
    document,
    readiness_rows,
    schema,
    shopping_csv,
    shopping_document,
)
from repairs.forms import read_job_file
from repairs.models import HoleGroup
from tests.factories import SupplierFactory
from tests.repairs.bench import Bench
from tests.repairs.conftest import Demo
from tests.repairs.test_whole_path import AFTER_WIRE, BUSH_KIT, GROUP, SETTING, SHALLOW, TAP_16


def _valid(found: dict[str, Any]) -> None:
    again = json.loads(json.dumps(found))
    assert again == found, "nothing but JSON values"
    checker = Draft202012Validator.FORMAT_CHECKER
    errors = Draft202012Validator(schema(), format_checker=checker).iter_errors(again)
    assert [f"{list(error.path)}: {error.message[:200]}" for error in errors] == []


def test_the_schema_is_itself_valid() -> None:
    Draft202012Validator.check_schema(schema())
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema()["properties"]["schema"] == {"const": SCHEMA_VERSION}


def _objects(found: Any, path: str = "#") -> list[str]:
    """Where the schema tells of an object and leaves open which properties it has or must have."""
    if isinstance(found, list):
        return [each for number, inner in enumerate(found) for each in _objects(inner, f"{path}/{number}")]
    if not isinstance(found, dict):
        return []
    loose = "properties" in found and found.get("type") == "object" and not (
        set(found.get("required", ())) == set(found["properties"]) and found.get("additionalProperties") is False
    )  # fmt: skip
    return ([path] if loose else []) + [
        each for key, inner in found.items() for each in _objects(inner, f"{path}/{key}")
    ]


def test_the_schema_leaves_no_property_open() -> None:
    assert _objects(schema()) == []


def test_the_plan_of_every_demo_job_is_of_the_published_form(demo: Demo) -> None:
    assert len(demo.documents) == 15
    for found in demo.documents.values():
        _valid(found)
    for _, found in demo.files.values():
        _valid(found)


ODD: dict[str, tuple[dict[str, str], ...]] = {
    "nothing entered but what must be": (
        {
            "thread": "M14x1.5",
            "holes": "1",
            "hole": "blind",
            "depth": "unknown",
            "before": "unknown",
            "made": "unknown",
        },
    ),
    "no family has this thread": (GROUP | {"thread": "M36x4"},),
    "no method stands": (GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""},),
    "the wished method is ruled out and others stand": (GROUP | {"thread": "M10x1.25", "method": "keyed bush"},),
    "stepped up": (AFTER_WIRE,),
    "left hand, inch and three groups": (GROUP | {"thread": "M14x1.5 LH"}, GROUP | {"thread": "5/16-18"}, SHALLOW),
    "a window of its own": (GROUP, GROUP | {"starts": "+20d"}),
}


@pytest.mark.parametrize("groups", ODD.values(), ids=ODD.keys())
def test_the_plan_of_an_odd_job_is_of_the_published_form(bench: Bench, groups: tuple[dict[str, str], ...]) -> None:
    part = 'safety = "aircraft"\nhand = "right"'
    _valid(document(bench.plan(*groups, part=part)))  # a bare shelf
    bench.stock(*BUSH_KIT)
    _valid(document(bench.plan(*groups, part=part), units="in"))


def test_the_form_refuses_what_is_not_of_it(bench: Bench) -> None:
    found = document(bench.plan(GROUP))
    for wrong in (found | {"extra": 1}, found | {"schema": 2}, {**found, "complete": "yes"}):
        assert not Draft202012Validator(schema()).is_valid(wrong)


def test_a_job_without_holes_is_of_the_published_form(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    HoleGroup.objects.all().delete()
    _valid(document(jobs.plan_job(job, as_of=bench.as_of)))


# The digest


def test_the_digest_does_not_change_with_the_moment_nor_with_the_units_that_lead(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    found = document(jobs.plan_job(job, as_of=bench.as_of))
    later = document(jobs.plan_job(job, as_of=bench.as_of + timedelta(hours=5)))
    assert later["as_of"] != found["as_of"]
    assert digest(later) == digest(found)
    assert digest(document(jobs.plan_job(job, as_of=bench.as_of), units="in")) == digest(found)
    assert len(digest(found)) == 64


@pytest.mark.parametrize("turn", [0, 1])
def test_the_digest_does_not_change_with_the_order_of_stock_rows(bench: Bench, turn: int) -> None:
    spare = [TAP_16 | {"tag": "T-99"}, SETTING | {"tag": "ST-99"}]
    rows = [*BUSH_KIT, *spare]
    bench.stock(*rows)
    one = document(bench.plan(GROUP))
    places = {row.get("tag") or row["lot"]: number for number, row in enumerate(rows)}
    assert {take["tag"] for line in one["groups"][0]["lines"] for take in line["takes"]} <= set(places)
    from inventory.models import Unit

    # The same shelf with its rows the other way round: each unit gets the row, not the tag or bin, of another.
    units = list(Unit.objects.order_by("pk"))
    rows_of = {unit.pk: (unit.tag, unit.item_id, unit.bin_id, unit.calibration_due, unit.condition) for unit in units}
    keys = [unit.pk for unit in units]
    turned = keys[::-1] if turn else keys[3:] + keys[:3]
    for unit in units:
        Unit.objects.filter(pk=unit.pk).update(tag=f"x{unit.pk}")
    for key, other in zip(keys, turned, strict=True):
        tag, item, shelf, due, condition = rows_of[other]
        Unit.objects.filter(pk=key).update(tag=tag, item=item, bin=shelf, calibration_due=due, condition=condition)
    assert digest(document(bench.plan(GROUP))) == digest(one)


def test_the_digest_does_not_change_by_the_jobs_own_booking(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    before = digest(document(jobs.plan_job(job, as_of=bench.as_of)))
    jobs.book(job, by="Ida", as_of=bench.as_of)
    assert digest(document(jobs.plan_job(job, as_of=bench.as_of))) == before


def test_the_digest_changes_with_what_is_decided(bench: Bench) -> None:
    bench.stock(*(row for row in BUSH_KIT if row is not SETTING))
    found = {digest(document(bench.plan(GROUP))), digest(document(bench.plan(GROUP | {"depth": "41"})))}
    bench.stock(SETTING)
    found.add(digest(document(bench.plan(GROUP))))
    assert len(found) == 3


# Readiness


def _short(bench: Bench, *groups: dict[str, str]) -> list[tuple[str, str, int, int, int, str]]:
    return [
        (row.holes, row.method, row.matches, row.gaps, row.doubtful, " ".join(row.short))
        for row in readiness_rows(bench.plan(*groups))
    ]


def test_a_group_that_has_everything_is_short_of_nothing(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    assert _short(bench, GROUP) == [("4 × M14x1.5", "flanged bush", 11, 0, 0, "")]


def test_each_group_has_its_row_and_gaps_stand_before_doubts(bench: Bench) -> None:
    lent = SETTING | {"away why": "loan", "away until": "+20d"}
    bench.stock(*(row for row in BUSH_KIT if row is not SETTING), lent)
    first, second = _short(bench, GROUP, GROUP | {"holes": "1", "made": "unknown", "edge": "18"})
    assert first == (
        "4 × M14x1.5", "flanged bush", 10, 1, 0,
        "Gap: setting tool M14x1.5. 1 would do, but is not at hand; ST-14 is away on loan until 2026-03-22.",
    )  # fmt: skip
    assert second[:4] == ("1 × M14x1.5", "flanged bush", 10, 1)
    assert second[4] == 2
    assert second[5].index("Gap:") < second[5].index("Doubtful: Edge:") < second[5].index("Doubtful: How the old")


def test_rows_are_told_apart_by_group_and_part_where_there_are_several(bench: Bench) -> None:
    def told(*groups: dict[str, str], text: str = "") -> list[tuple[str, str]]:
        request = read_job_file(bench.job(*groups, part='serial = "7"') + text, as_of=bench.as_of)
        return [(row.group, row.part) for row in readiness_rows(jobs.plan_request(request, as_of=bench.as_of))]

    other = bench.job(GROUP).partition("[[parts]]")[2].replace("Casing", "Cover")
    assert told(GROUP) == [("", "")]
    assert told(GROUP, GROUP) == [("A", ""), ("B", "")]
    assert told(GROUP, text="[[parts]]" + other) == [("A", "Casing 7"), ("B", "Cover")]


def test_a_saved_job_names_its_parts_as_the_unsaved_one_did(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, part='serial = "7"')
    found = document(jobs.plan_job(job, as_of=bench.as_of))
    assert found["groups"][0]["part"] == "Casing 7"
    assert document(bench.plan(GROUP, part='serial = "7"'))["groups"][0]["part"] == "Casing 7"


def test_a_group_without_a_method_says_why_of_the_wished_one_or_of_all(bench: Bench) -> None:
    ((_, method, *counts, told),) = _short(bench, GROUP | {"hole": "through", "floor": "", "depth": "9"})
    assert (method, counts) == ("none stands", [0, 0, 0])
    assert told.startswith("Flanged bush: The metal is 9 mm")
    assert "Wire insert" not in told
    ((_, _, *_, told),) = _short(bench, GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""})
    for name in ("Wire insert:", "Flanged bush:", "Plain bush:", "Keyed bush: No family"):
        assert name in told


# The shopping list


def _shopping(bench: Bench) -> ShoppingList:
    """A tap that is offered in euros, in pounds and in a set, and a setting tool that nobody sells."""
    bench.stock(*(row for row in BUSH_KIT if row not in (TAP_16, SETTING)))
    tap = catalogue.add_item(
        kind="tap", number="=T-1", thread="M16x1.5", thread_class="6H", usable_length=60_000_000, lead=20,
        flute="straight", action="cut", life=40,
    )  # fmt: skip
    oil = catalogue.add_item(kind="oil", number="OIL")
    for currency, price, items in (("EUR", 3100, [tap]), ("GBP", 50, [tap]), ("EUR", 4000, [tap, oil])):
        supplier = SupplierFactory.create(currency=currency, carriage=1200, minimum=6000)
        purchasing.add_offer(
            supplier=supplier, items=[(item, 1) for item in items], price=price, lead_days=1, name="tap and more",
        )  # fmt: skip
    plans = [bench.plan(GROUP), bench.plan(GROUP | {"hole": "through", "floor": "", "depth": "2"}, number="J-2")]
    return jobs.shopping(plans, as_of=bench.as_of)


def test_a_shopping_list_as_a_document_says_all_of_it_in_json_values(bench: Bench) -> None:
    found = shopping_document(_shopping(bench))
    assert json.loads(json.dumps(found)) == found
    tap, tool = found["rows"]
    assert (tap["purchase"]["total_minor"], tap["purchase"]["currency"], tap["purchase"]["packs"]) == (4300, "EUR", 1)
    assert (tap["needed_on"], tap["purchase"]["order_by"]) == ("2026-03-04", "2026-03-03")
    assert [note["code"] for note in tap["notes"]] == ["price_in_other_currency"]
    assert tap["notes"][0]["text"].startswith("In GBP it would be GBP 12.50 from")
    assert tool["purchase"] is None
    assert [note["code"] for note in tool["notes"]] == ["not_in_catalogue"]
    assert [(each["lines"], each["total_minor"], each["parts_total_minor"]) for each in found["sets"]] == [
        ([1], 5200, 4300)
    ]
    assert found["sets"][0]["note"]["text"] == (
        "Sold whole, it meets line 1 for EUR 52.00 with carriage; bought alone they come to EUR 43.00."
    )
    (order,) = found["orders"]
    assert (order["goods_minor"], order["carriage_minor"], order["short_of_minimum_minor"]) == (3100, 1200, 2900)
    assert order["notes"][0]["text"].endswith("takes no order under EUR 60.00; it lacks EUR 29.00.")
    assert found["totals"] == [{"currency": "EUR", "total_minor": 4300}]
    assert [note["text"] for note in found["notes"]] == [
        "No method stands for group A of J-2, so nothing is listed for it."
    ]


def test_a_shopping_list_for_a_spreadsheet_has_one_line_a_gap_and_no_formulas(bench: Bench) -> None:
    rows = list(csv.DictReader(io.StringIO(shopping_csv(_shopping(bench)))))
    assert [row["what"] for row in rows] == ["buy", "nothing to buy", "or the set"]
    assert all(set(row) == set(SHOPPING_HEADS) and None not in row.values() for row in rows)
    tap, tool, whole = rows
    assert (tap["a pack"], tap["carriage"], tap["total"], tap["currency"]) == ("31.00", "12.00", "43.00", "EUR")
    assert (tap["jobs"], tap["needed on"], tap["order by"], tap["days late"]) == (
        "J-1",
        "2026-03-04",
        "2026-03-03",
        "0",
    )
    assert tap["item"].startswith("'=T-1 tap")
    assert tool["notes"].startswith("Nothing in the catalogue would do")
    assert whole["goods"] == "40.00"
