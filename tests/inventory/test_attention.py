"""What needs attention: each matter once, under its head, from the day on which it does."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import attention, order_points, policy, purchasing, reservations, stock
from inventory.wording import say
from tests.factories import (
    BatchFactory,
    BinFactory,
    InsertFactory,
    ItemFactory,
    PersonFactory,
    SupplierFactory,
    TapFactory,
    UnitFactory,
)

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
TODAY = date(2026, 6, 1)
DAY = timedelta(days=1)
PLUG = "hole gauge: plug M18x1.5 6H"
SIZE = "M14x1.5 in M16x1.5, 20 mm long"


def told(**of: Any) -> dict[str, list[str]]:
    return {part.code: [each.what for each in part.matters] for part in attention.needed(as_of=of.get("as_of", NOW))}


def test_an_empty_crib_needs_nothing() -> None:
    assert attention.needed(as_of=NOW) == []


def test_calibrations_are_due_up_to_their_last_good_day_and_over_after_it() -> None:
    gauge = ItemFactory.create(kind="hole_gauge", thread="M18x1.5", thread_class="6H", name="plug")
    for tag, day in (("G-1", TODAY - DAY), ("G-2", TODAY), ("G-3", TODAY + 30 * DAY), ("G-4", TODAY + 31 * DAY)):
        UnitFactory.create(item=gauge, tag=tag, calibration_due=day)
    assert told() == {"calibration_overdue": [f"G-1, {PLUG}"], "calibration_due": [f"G-2, {PLUG}", f"G-3, {PLUG}"]}
    policy.settle(code="ahead_days", value="1", why="x", by="Ada", as_of=NOW)
    assert told()["calibration_due"] == [f"G-2, {PLUG}"]


def test_a_gauge_of_which_no_calibration_is_on_record_presses_and_a_drill_needs_none() -> None:
    gauge = ItemFactory.create(kind="hole_gauge", thread="M18x1.5", thread_class="6H", name="plug")
    units = [UnitFactory.create(item=gauge, tag=tag) for tag in ("G-1", "G-2", "G-3")]
    UnitFactory.create(tag="D-1")
    stock.lose_unit(unit=units[1], reason="gone", by="Bram", as_of=NOW)
    stock.send_unit(unit=units[2], why="calibration", to="Marl Metrology", until=TODAY + 5 * DAY, by="Bram", as_of=NOW)
    (part,) = attention.needed(as_of=NOW)
    assert (part.code, part.pressing) == ("calibration_missing", True)
    assert [(each.what, each.who) for each in part.matters] == [
        (f"G-1, {PLUG}", ""),
        (f"G-3, {PLUG}", "Marl Metrology"),
    ]
    stock.calibrate_unit(unit=units[0], due=TODAY + 90 * DAY, by="Bram", as_of=NOW)
    stock.return_unit(unit=units[2], calibration_due=TODAY + 90 * DAY, by="Bram", as_of=NOW)
    assert attention.needed(as_of=NOW) == []


def test_what_is_lent_with_no_day_agreed_is_told_after_what_presses() -> None:
    unit = UnitFactory.create(tag="IT-031")
    stock.lend_unit(unit=unit, to=PersonFactory.create(name="Cleo Varga"), until=None, by="Ida", as_of=NOW)
    (part,) = attention.needed(as_of=NOW)
    (matter,) = part.matters
    assert (part.code, part.pressing, matter.tag, matter.who, matter.day) == (
        "loan_open", False, "IT-031", "Cleo Varga", None,
    )  # fmt: skip
    assert matter.why is not None
    assert say(matter.why) == "No day was agreed for its return."
    unit.refresh_from_db()
    stock.return_unit(unit=unit, by="Ida", as_of=NOW)
    assert attention.needed(as_of=NOW) == []


def test_what_is_not_back_is_told_with_who_has_it_and_what_is_lost_is_not() -> None:
    unit = UnitFactory.create(tag="D-1", item=ItemFactory.create(name="twist drill"))
    ida = PersonFactory.create(name="Ida Stone")
    stock.lend_unit(unit=unit, to=ida, until=TODAY - DAY, by="Bram", as_of=NOW - 9 * DAY)
    (part,) = attention.needed(as_of=NOW)
    (matter,) = part.matters
    assert (part.code, matter.who, matter.day, matter.address) == (
        "loan_overdue", "Ida Stone", TODAY - DAY, "/shelf/units/D-1/",
    )  # fmt: skip
    assert attention.needed(as_of=NOW - 2 * DAY) == []
    unit.refresh_from_db()
    stock.lose_unit(unit=unit, reason="never came back", by="Bram", as_of=NOW)
    assert attention.needed(as_of=NOW) == []


def test_batches_past_their_day_are_told_until_they_are_empty() -> None:
    batch = BatchFactory.create(lot="L-1", expires=TODAY - DAY, item=InsertFactory.create(name="bush"), as_of=NOW)
    BatchFactory.create(lot="L-2", expires=TODAY, item=InsertFactory.create(name="bush"), as_of=NOW)
    assert told() == {"expired": [f"L-1, insert: bush {SIZE}"], "expires_soon": [f"L-2, insert: bush {SIZE}"]}
    stock.scrap_batch(batch=batch, quantity=10, reason="over age", by="Bram", as_of=NOW)
    assert told() == {"expires_soon": [f"L-2, insert: bush {SIZE}"]}


def test_a_tap_whose_life_is_used_up_is_due_for_regrind_since_its_last_hole() -> None:
    unit = UnitFactory.create(item=TapFactory.create(name="tap", life=4), tag="T-1")
    stock.use_unit(unit=unit, holes=4, label="J-1", by="Ida", as_of=NOW - 5 * DAY)
    (part,) = attention.needed(as_of=NOW)
    assert (part.code, part.matters[0].day) == ("due_regrind", TODAY - 5 * DAY)


def test_an_order_is_late_after_the_day_it_is_due() -> None:
    item = InsertFactory.create()
    offer = purchasing.add_offer(supplier=SupplierFactory.create(name="Nord"), items=[(item, 1)], price=1)
    for number, due in (("B-1", TODAY - DAY), ("B-2", TODAY)):
        purchasing.place_order(
            supplier="Nord", number=number, lines=[(offer.pk, 1, 1)], due=due, by="Bram", as_of=NOW - 9 * DAY
        )
    assert told() == {"order_late": ["B-1"]}


def test_what_stands_at_its_order_point_is_told_the_lowest_first() -> None:
    for name, three in (("a", (2, 10, 20)), ("b", (11, 12, 20)), ("c", (2, 9, 20))):
        item = InsertFactory.create(name=name)
        BatchFactory.create(item=item, as_of=NOW)
        least, point, most = three
        order_points.set_order_point(
            item=item, minimum=least, order_point=point, maximum=most, why="x", by="Bram", as_of=NOW
        )
    assert told() == {"order_point": [f"insert: {name} {SIZE}" for name in "ba"]}


def test_stock_that_no_job_took_is_slow_and_then_dead_and_what_is_shared_never_is() -> None:
    def lying(name: str, days: int) -> Any:
        return BatchFactory.create(item=InsertFactory.create(name=name), as_of=NOW - days * DAY)

    lying("never", 400), lying("slow", 200), lying("fresh", 100)
    taken = lying("taken", 500)
    stock.issue_batch(batch=taken, quantity=1, label="J-1", by="Ida", as_of=NOW - 181 * DAY)
    kept = lying("kept", 500)
    stock.issue_batch(batch=kept, quantity=1, label="J-1", by="Ida", as_of=NOW - 180 * DAY)
    spoilt = lying("spoilt", 500)
    stock.scrap_batch(batch=spoilt, quantity=1, reason="over age", by="Ida", as_of=NOW - DAY)
    BatchFactory.create(item=ItemFactory.create(kind="oil", name="oil"), as_of=NOW - 800 * DAY)
    assert told() == {
        "dead_stock": [f"insert: {name} {SIZE}" for name in ("spoilt", "never")],
        "slow_stock": [f"insert: {name} {SIZE}" for name in ("slow", "taken")],
    }


def test_a_tool_that_nobody_used_is_slow_and_then_dead_and_one_that_is_out_or_kept_is_neither() -> None:
    def lying(tag: str, days: int) -> Any:
        item = ItemFactory.create(name="drill")
        return UnitFactory.create(item=item, tag=tag, holes_cut=9, as_of=NOW - days * DAY)

    lying("never", 400), lying("slow", 200), lying("fresh", 100)
    who: dict[str, Any] = {"by": "Ida"}
    used = lying("used", 500)
    stock.use_unit(unit=used, holes=1, as_of=NOW - 190 * DAY, **who)
    issued = lying("issued", 500)
    stock.issue_unit(unit=issued, label="J-1", as_of=NOW - 460 * DAY, **who)
    stock.give_back_unit(unit=issued, as_of=NOW - 450 * DAY, **who)
    recent = lying("recent", 500)
    stock.lend_unit(unit=recent, to=PersonFactory.create(), until=None, as_of=NOW - 200 * DAY, **who)
    stock.return_unit(unit=recent, as_of=NOW - 20 * DAY, **who)
    out, away, moved, kept = (lying(tag, 500) for tag in ("out", "away", "moved", "kept"))
    stock.issue_unit(unit=out, label="J-1", as_of=NOW - 400 * DAY, **who)
    stock.send_unit(unit=away, why="regrind", as_of=NOW - 400 * DAY, **who)
    stock.move_unit(unit=moved, bin=BinFactory.create(), as_of=NOW - DAY, **who)
    window = (kept.pk, NOW + DAY, NOW + 2 * DAY, 4)
    reservations.reserve(label="J-2", link="", unit_holds=[window], batch_holds=[], by="Ada", as_of=NOW)
    parts = {part.code: part for part in attention.needed(as_of=NOW)}
    assert set(parts) == {"dead_stock", "slow_stock"}
    told = {code: [(m.what.split(",")[0], m.day, m.why and m.why.code) for m in parts[code].matters] for code in parts}
    assert told == {
        "dead_stock": [
            ("moved", TODAY - 500 * DAY, "stands_never_used"), ("issued", TODAY - 450 * DAY, "stands_unused"),
            ("never", TODAY - 400 * DAY, "stands_never_used"),
        ],
        "slow_stock": [
            ("slow", TODAY - 200 * DAY, "stands_never_used"), ("used", TODAY - 190 * DAY, "stands_unused"),
        ],
    }  # fmt: skip


def test_what_lies_unused_is_told_with_what_it_is_worth_where_a_price_is_known() -> None:
    drill, bush = ItemFactory.create(name="drill"), InsertFactory.create(name="bush")
    UnitFactory.create(item=drill, tag="D-1", as_of=NOW - 400 * DAY)
    BatchFactory.create(item=bush, quantity=7, as_of=NOW - 410 * DAY)
    UnitFactory.create(item=TapFactory.create(name="tap"), tag="T-1", as_of=NOW - 420 * DAY)
    firm = SupplierFactory.create(name="Nord", currency="GBP")
    purchasing.add_offer(supplier=firm, items=[(drill, 1)], price=1250)
    purchasing.add_offer(supplier=firm, items=[(bush, 1)], pack=4, price=1000)
    purchasing.add_offer(supplier=firm, items=[(bush, 1)], pack=10, price=2450)  # a piece is cheaper of these
    (part,) = attention.needed(as_of=NOW)
    assert [each.why and each.why["worth_minor"] for each in part.matters] == [None, 1715, 1250]
    assert [say(each.why) for each in part.matters if each.why] == [
        "Never issued, lent or used.", "7 pieces, none ever taken; worth GBP 17.15 at today's price.",
        "Never issued, lent or used; worth GBP 12.50 at today's price.",
    ]  # fmt: skip
    assert [say(each) for each in part.worth] == ["Worth GBP 29.65 at today's prices: 2 of 3 have one."]


@pytest.mark.parametrize("count", [2, 20])
def test_as_many_queries_are_asked_however_much_there_is(count: int) -> None:
    for at in range(count):
        item = InsertFactory.create(name=f"bush {at}")
        BatchFactory.create(item=item, expires=TODAY, as_of=NOW - 900 * DAY)
        order_points.set_order_point(item=item, minimum=1, order_point=90, maximum=99, why="x", by="B", as_of=NOW)
        UnitFactory.create(calibration_due=TODAY - DAY)
        UnitFactory.create(item=ItemFactory.create(kind="indicator"))
    with CaptureQueriesContext(connection) as asked:
        parts = attention.needed(as_of=NOW)
    assert [len(part.matters) for part in parts] == [count] * 5
    # settings; order points: set, items, batches, on order, set; orders; away (2); calibrations (2); regrind; expiries;
    # use of what is counted (3) and of units; offers (1: there are none)
    assert len(asked) == 18
