"""The methods side by side: whether each holds, what its kit lacks, when it starts, its price, the metal that goes."""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import catalogue, purchasing, reservations
from inventory.models import Item, Unit
from repairs import choices, jobs
from repairs.choices import Compared, Money, compare, judged
from repairs.jobs import JobPlan
from repairs.methods.values import DOUBTFUL, FITS, NOT_CHECKED, ORDER, RULED_OUT, SIGNED, Check, Option
from tests.factories import SupplierFactory
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING

pytestmark = pytest.mark.django_db

HELD = {"damage": "stripped", "grade": "8.8", "shear": "400 MPa", "reach": "40", "bore": "12.5", "off_axis": "0.1 mm"}
BUY = {"kind": "setting_tool", "thread": "M14x1.5"}


def _without(*kinds: str) -> list[dict[str, str]]:
    return [row for row in BUSH_KIT if row["kind"] not in kinds]


def _offer(item: Item, *, price: int = 1000, lead_days: int = 1, carriage: int = 0, currency: str = "EUR") -> None:
    supplier = SupplierFactory.create(carriage=carriage, currency=currency)
    purchasing.add_offer(supplier=supplier, items=[(item, 1)], price=price, lead_days=lead_days)


def _compared(bench: Bench, plan: JobPlan, method: str = "flanged_bush", group: str = "A") -> Compared:
    return next(each for each in compare(plan, as_of=bench.as_of)[group] if each.method == method)


def _day(bench: Bench, days: int) -> date:
    return bench.as_of.date() + timedelta(days=days)


# The methods themselves


def test_every_method_has_its_row_in_the_shops_order_and_the_planned_one_is_marked(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    found = compare(bench.plan(GROUP), as_of=bench.as_of)
    assert list(found) == ["A"]
    assert [each.method for each in found["A"]] == list(ORDER)
    assert [each.method for each in found["A"] if each.planned] == ["flanged_bush"]
    assert {each.method for each in found["A"] if each.by_choice} >= {"oversize_bolt", "plug_or_weld", "scrap_part"}


def test_a_method_that_is_ruled_out_says_why_and_what_would_change_it(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    keyed = _compared(bench, bench.plan(GROUP), "keyed_bush")
    assert (keyed.verdict, keyed.option, keyed.metal_away) == (RULED_OUT, None, None)
    assert [reason.code for reason in keyed.why] == ["no_size_for_bolt"]
    assert [reason.code for reason in keyed.remedies] == ["load_a_family"]
    assert (keyed.start.day, keyed.cost) == (None, ())


def test_what_holds_says_by_how_much_its_weakest_thread_holds(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    wire = _compared(bench, bench.plan(GROUP | HELD | {"method": ""}), "wire_insert")
    assert wire.option is not None
    assert wire.option.strength is not None
    assert (wire.verdict, wire.margin) == ("holds", wire.option.strength.margin)
    (reason,) = wire.why
    assert (reason.code, reason["what"]) == ("carries_more", wire.option.strength.governs)
    assert wire.margin is not None
    assert abs(float(reason["margin"]) - wire.margin * 100) < 0.51


def test_what_strips_first_is_told_before_what_is_short_of_room(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    near = _compared(bench, bench.plan(GROUP | HELD | {"shear": "60 MPa", "edge": "13.3"}))
    assert near.verdict == "signs"
    assert near.why[0].code == "carries_less"
    assert "edge_between" in [reason.code for reason in near.why]


def test_what_nobody_entered_is_not_checked_and_named(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    bush = _compared(bench, bench.plan(GROUP))
    assert bush.verdict == NOT_CHECKED
    assert {"parent_metal_missing", "bolt_grade_missing"} <= {reason.code for reason in bush.why}
    assert bush.margin is None


def test_what_somebody_answers_for_is_told_as_signed_and_never_as_holding(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP | {"edge": "13.3"})
    option = jobs.plan_job(job, as_of=bench.as_of).groups[0].chosen
    assert option is not None
    assert [check.reason.code for check in choices.signed_for(option)] == ["edge_between", "seat_near_edge"]
    said = {"size": jobs.size_code(option.size), "by": "Ida", "answers": "Jonna Brackwell", "why": "thick boss"}
    jobs.accept(job, group="A", method="flanged_bush", as_of=bench.as_of, **said)
    bush = _compared(bench, jobs.plan_job(job, as_of=bench.as_of))
    assert (bush.verdict, [reason.code for reason in bush.why]) == (SIGNED, ["edge_between", "seat_near_edge"])


def test_of_several_verdicts_the_worst_is_told(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    bush = _compared(bench, bench.plan(GROUP)).option
    assert bush is not None
    reason = bush.checks[0].reason
    for told, verdict in (
        ((FITS,), "holds"), ((FITS, NOT_CHECKED), NOT_CHECKED), ((NOT_CHECKED, SIGNED), SIGNED),
        ((SIGNED, DOUBTFUL), "signs"), ((DOUBTFUL, RULED_OUT), RULED_OUT),
    ):  # fmt: skip
        option = Option(bush.method, bush.size, tuple(Check(status, reason) for status in told))
        assert judged(option) == (verdict, (reason,))


def test_the_metal_that_goes_for_good_is_told_a_hole(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    plan = bench.plan(GROUP | {"bore": "12.5", "damage": "stripped"})
    taken = {each.method: each.metal_away for each in compare(plan, as_of=bench.as_of)["A"] if each.option}
    flanged, plain = taken["flanged_bush"], taken["plain_bush"]
    assert flanged is not None
    assert plain is not None
    assert flanged > plain > Decimal(0), "the seat of the flange is cut besides"


# When it can start, and what it costs


def test_a_complete_kit_starts_on_the_planned_day_and_costs_nothing(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    bush = _compared(bench, bench.plan(GROUP))
    assert (bush.complete, bush.matches, bush.gaps) == (True, 11, 0)
    assert (bush.start.day, bush.start.by, bush.cost, bush.unsold) == (_day(bench, 2), "at_hand", (), 0)


def test_what_is_short_is_bought_and_the_last_of_it_says_when(bench: Bench) -> None:
    bench.stock(*_without("setting tool", "tap"))
    tap = {
        "thread_class": "6H",
        "lead": 20,
        "flute": "straight",
        "action": "cut",
        "life": 40,
        "usable_length": 60_000_000,
    }
    _offer(
        catalogue.add_item(kind="tap", number="T-16", thread="M16x1.5", **tap), price=4000, lead_days=1, carriage=500
    )
    _offer(catalogue.add_item(number="ST", **BUY), price=2500, lead_days=9, carriage=690)
    bush = _compared(bench, bench.plan(GROUP))
    assert (bush.gaps, bush.unsold) == (2, 0)
    assert bush.cost == (Money("EUR", 6500, 1190),)
    assert bush.cost[0].total == 7690
    assert (bush.start.day, bush.start.by) == (_day(bench, 9), "bought")
    assert bush.start.need is not None
    assert bush.start.need.kind == "setting_tool"


def test_what_comes_before_the_planned_day_moves_nothing(bench: Bench) -> None:
    bench.stock(*_without("setting tool"))
    _offer(catalogue.add_item(number="ST", **BUY), lead_days=1)
    bush = _compared(bench, bench.plan(GROUP))
    assert (bush.start.day, bush.start.by, bush.start.need) == (_day(bench, 2), "at_hand", None)


def test_each_method_has_a_basket_of_its_own(bench: Bench) -> None:
    bench.stock(*_without("hole gauge", "setting tool"))
    gauge = catalogue.add_item(kind="hole_gauge", number="GH", thread="M16x1.5", thread_class="6H")
    _offer(gauge, price=740, carriage=550)
    found = {each.method: each for each in compare(bench.plan(GROUP, GROUP), as_of=bench.as_of)["B"]}
    alone = Money("EUR", 740, 550)
    assert [found[method].cost for method in ("flanged_bush", "plain_bush")] == [(alone,), (alone,)]
    assert found["flanged_bush"].unsold == 1, "nobody sells the setting tool"


def test_what_nobody_sells_and_nobody_has_leaves_the_day_unknown(bench: Bench) -> None:
    bench.stock(*_without("setting tool"))
    catalogue.add_item(number="ST", **BUY)
    bush = _compared(bench, bench.plan(GROUP))
    assert (bush.start.day, bush.start.by, bush.unsold, bush.cost) == (None, "not_known", 1, ())
    assert bush.start.need is not None
    assert bush.start.need.kind == "setting_tool"


def test_what_is_on_loan_is_back_the_day_after_unless_a_new_one_comes_sooner(bench: Bench) -> None:
    lent = SETTING | {"away why": "loan", "away until": "+6d", "away with": "Mill Lane"}
    bench.stock(*_without("setting tool"), lent)
    bush = _compared(bench, bench.plan(GROUP))
    assert (bush.start.day, bush.start.by) == (_day(bench, 7), "returns"), "it is away to the end of that day"
    _offer(Item.objects.get(kind="setting_tool"), lead_days=4)
    bush = _compared(bench, bench.plan(GROUP))
    assert (bush.start.day, bush.start.by) == (_day(bench, 4), "bought")


def test_what_is_held_for_others_is_waited_for_until_their_hold_ends(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    tool = Unit.objects.get(tag="ST-14")
    start = bench.as_of + timedelta(days=1)
    held = [(tool.pk, start, start + timedelta(days=4, hours=3), 0)]
    reservations.reserve(label="K-1", link="/k/", unit_holds=held, batch_holds=[], by="Ida", as_of=bench.as_of)
    bush = _compared(bench, bench.plan(GROUP))
    assert (bush.start.day, bush.start.by) == (_day(bench, 6), "returns"), "free from the afternoon of the fifth day on"


def test_what_is_sold_only_in_a_set_costs_the_set_and_comes_with_it(bench: Bench) -> None:
    bench.stock(*_without("setting tool", "final gauge"))
    tool = catalogue.add_item(number="ST", **BUY)
    gauge = catalogue.add_item(kind="final_gauge", number="GF", thread="M14x1.5", thread_class="6H")
    supplier = SupplierFactory.create(carriage=300)
    purchasing.add_offer(supplier=supplier, items=[(tool, 1), (gauge, 1)], price=9000, lead_days=5)
    _offer(gauge, price=8000)
    bush = _compared(bench, bench.plan(GROUP))
    assert bush.cost == (Money("EUR", 9000, 300),), "the gauge is in the set, and not bought besides"
    assert (bush.start.day, bush.unsold) == (_day(bench, 5), 0)


def test_currencies_stand_side_by_side_the_shops_own_first(bench: Bench) -> None:
    bench.stock(*_without("setting tool", "oil"))
    _offer(catalogue.add_item(number="ST", **BUY), price=2000, carriage=100, currency="CHF")
    _offer(Item.objects.create(kind="oil", number="OIL"), price=740, carriage=550)
    bush = _compared(bench, bench.plan(GROUP))
    assert bush.cost == (Money("EUR", 740, 550), Money("CHF", 2000, 100))


def test_a_method_without_a_kit_says_nothing_of_days_and_money(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    scrapped = _compared(bench, bench.plan(GROUP), "scrap_part")
    assert not scrapped.asks_for_kit
    assert not scrapped.complete
    assert (scrapped.start.day, scrapped.start.by, scrapped.cost) == (None, "not_known", ())


# How it is asked


@pytest.mark.parametrize("count", [2, 20])
def test_two_groups_and_twenty_take_the_queries_of_one_shopping_list(bench: Bench, count: int) -> None:
    bench.stock(*_without("setting tool"))
    _offer(catalogue.add_item(number="ST", **BUY))
    plan = bench.plan(*[GROUP | {"holes": "1"}] * count)
    with CaptureQueriesContext(connection) as queries:
        found = compare(plan, as_of=bench.as_of)
    tables = [re.search(r'FROM "(\w+)"', query["sql"]) for query in queries.captured_queries]
    assert [table and table[1] for table in tables] == [
        "inventory_item", "inventory_offer", "inventory_offeritem", "inventory_pricebreak",
    ]  # fmt: skip
    assert len(found) == count


def test_a_plan_of_a_list_has_nothing_to_compare(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    (plan,) = jobs.plan_jobs([bench.save(GROUP)], as_of=bench.as_of, side_by_side=False)
    with pytest.raises(ValueError, match="side by side"):
        compare(plan, as_of=bench.as_of)
