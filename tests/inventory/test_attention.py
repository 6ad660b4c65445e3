"""What needs attention: each matter once, under its head, from the day on which it does."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import attention, order_points, policy, purchasing, stock
from tests.factories import (
    BatchFactory,
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


def told(**of: Any) -> dict[str, list[str]]:
    return {part.code: [each.what for each in part.matters] for part in attention.needed(as_of=of.get("as_of", NOW))}


def test_an_empty_crib_needs_nothing() -> None:
    assert attention.needed(as_of=NOW) == []


def test_calibrations_are_due_up_to_their_last_good_day_and_over_after_it() -> None:
    gauge = ItemFactory.create(kind="hole_gauge", thread="M18x1.5", thread_class="6H", name="plug")
    for tag, day in (("G-1", TODAY - DAY), ("G-2", TODAY), ("G-3", TODAY + 30 * DAY), ("G-4", TODAY + 31 * DAY)):
        UnitFactory.create(item=gauge, tag=tag, calibration_due=day)
    assert told() == {"calibration_overdue": ["G-1, plug"], "calibration_due": ["G-2, plug", "G-3, plug"]}
    policy.settle(code="ahead_days", value="1", why="x", by="Ada", as_of=NOW)
    assert told()["calibration_due"] == ["G-2, plug"]


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
    assert told() == {"expired": ["bush L-1"], "expires_soon": ["bush L-2"]}
    stock.scrap_batch(batch=batch, quantity=10, reason="over age", by="Bram", as_of=NOW)
    assert told() == {"expires_soon": ["bush L-2"]}


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
    assert told() == {"order_point": ["b", "a"]}


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
    assert told() == {"dead_stock": ["spoilt", "never"], "slow_stock": ["slow", "taken"]}


@pytest.mark.parametrize("count", [2, 20])
def test_as_many_queries_are_asked_however_much_there_is(count: int) -> None:
    for at in range(count):
        item = InsertFactory.create(name=f"bush {at}")
        BatchFactory.create(item=item, expires=TODAY, as_of=NOW - 900 * DAY)
        order_points.set_order_point(item=item, minimum=1, order_point=90, maximum=99, why="x", by="B", as_of=NOW)
        UnitFactory.create(calibration_due=TODAY - DAY)
    with CaptureQueriesContext(connection) as asked:
        parts = attention.needed(as_of=NOW)
    assert [len(part.matters) for part in parts] == [count] * 4
    # settings; order points: set, items, batches, on order, set; orders; away; regrind; calibrations; expiries; use (2)
    assert len(asked) == 13
