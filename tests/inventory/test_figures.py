"""What a crib is judged by: months in the shop's zone, parts of wholes, and "not known" where nothing tells."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from types import SimpleNamespace

import pytest

from inventory import figures, purchasing, stock
from inventory.figures import Point
from tests.factories import BinFactory, InsertFactory, ItemFactory, SupplierFactory, UnitFactory

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 15, 12, 0, tzinfo=UTC)


def test_the_months_end_with_the_present_one() -> None:
    found = figures.months(NOW)
    assert (len(found), found[0], found[-1]) == (12, date(2025, 7, 1), date(2026, 6, 1))


def test_what_is_urgent_is_counted_of_what_was_ordered_and_cancelled_orders_are_none() -> None:
    firm = SupplierFactory.create(name="Nord")
    offer = purchasing.add_offer(supplier=firm, items=[(InsertFactory.create(), 1)], price=1)
    for at, why in enumerate(("", "a pump stands still", "", "")):
        purchasing.place_order(
            supplier="Nord", number=f"B-{at}", lines=[(offer.pk, 1, 1)], by="x", as_of=NOW - timedelta(days=at * 20),
            urgent_why=why,
        )  # fmt: skip
    purchasing.close_order(number="B-3", state="cancelled", by="x", as_of=NOW)
    found = figures.emergency_purchases(as_of=NOW)
    assert [(point.part, point.whole) for point in found.points[-3:]] == [(0, 0), (1, 2), (0, 1)]
    assert found.points[-3].percent is None
    assert found.total.percent == 33.3


def test_calibrations_that_are_over_today_are_told_of_all_that_carry_a_date() -> None:
    for day in (date(2026, 6, 14), date(2026, 6, 15), date(2026, 9, 1)):
        UnitFactory.create(calibration_due=day)
    found = figures.overdue_calibrations(as_of=NOW)
    assert (found.total.part, found.total.whole) == (1, 3)


def test_a_unit_that_must_be_calibrated_and_never_was_counts_as_over_and_a_drill_does_not() -> None:
    UnitFactory.create(item=ItemFactory.create(kind="torque_wrench"), as_of=datetime(2026, 4, 20, tzinfo=UTC))
    UnitFactory.create()
    lost = UnitFactory.create(item=ItemFactory.create(kind="torque_wrench"), as_of=datetime(2026, 4, 20, tzinfo=UTC))
    stock.lose_unit(unit=lost, reason="gone", by="x", as_of=datetime(2026, 5, 20, tzinfo=UTC))
    found = figures.overdue_calibrations(as_of=NOW)
    assert [(point.part, point.whole, point.known) for point in found.points[-4:]] == [
        (0, 0, False), (2, 2, True), (1, 1, True), (1, 1, True),
    ]  # fmt: skip


def test_each_month_tells_the_calibrations_that_were_over_on_its_last_day_whatever_was_done_since() -> None:
    def at(month: int, day: int = 1) -> datetime:
        return datetime(2026, month, day, 8, 0, tzinfo=UTC)

    item, bin = ItemFactory.create(kind="hole_gauge"), BinFactory.create()
    dated = {"item": item, "bin": bin, "by": "x"}
    first = stock.receive_unit(tag="G-1", calibration_due=date(2026, 2, 20), as_of=at(1), **dated)
    lost = stock.receive_unit(tag="G-2", calibration_due=date(2026, 2, 27), as_of=at(1), **dated)
    stock.receive_unit(tag="G-3", calibration_due=date(2026, 2, 28), as_of=at(2), **dated)
    stock.receive_unit(tag="G-4", as_of=at(1), **dated)
    stock.calibrate_unit(unit=first, due=date(2026, 12, 31), as_of=at(3, 10), by="x")
    stock.lose_unit(unit=lost, reason="gone", as_of=at(4, 10), by="x")
    found = figures.overdue_calibrations(as_of=NOW)
    known = {point.month.month: (point.part, point.whole) for point in found.points if point.known}
    # 28 February is G-3's last good day; G-1 is good again from 10 March on, and G-2 is gone in April. Of G-4 none was
    # ever on record, and so it counts as over from the day it came.
    assert known == {1: (1, 3), 2: (3, 4), 3: (3, 4), 4: (2, 3), 5: (2, 3), 6: (2, 3)}
    assert [point.known for point in found.points[:6]] == [False] * 6
    assert stock.disagreements() == []


def test_where_nothing_was_counted_the_accuracy_is_not_known() -> None:
    assert figures.stock_accuracy(None, as_of=NOW).total.percent is None
    asked: list[tuple[datetime, datetime]] = []

    def accuracy(since: datetime, until: datetime) -> SimpleNamespace:
        asked.append((since, until))
        return SimpleNamespace(right=9, lines=10)

    assert figures.stock_accuracy(accuracy, as_of=NOW).total == Point(date(2026, 6, 1), 108, 120)
    assert all(until == since for (_, until), (since, _) in pairwise(asked))
    assert asked[-1][1] == NOW
