"""What a crib is judged by: months in the shop's zone, parts of wholes, and "not known" where nothing tells."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from types import SimpleNamespace

import pytest

from inventory import figures, purchasing
from inventory.figures import Point
from tests.factories import InsertFactory, SupplierFactory, UnitFactory

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
    assert found.total.percent == pytest.approx(100 / 3)


def test_overdue_calibrations_are_known_of_today_alone() -> None:
    for day in (date(2026, 6, 14), date(2026, 6, 15), date(2026, 9, 1)):
        UnitFactory.create(calibration_due=day)
    found = figures.overdue_calibrations(as_of=NOW)
    assert (found.total.part, found.total.whole) == (1, 3)
    assert [point.known for point in found.points] == [False] * 11 + [True]


def test_where_nothing_was_counted_the_accuracy_is_not_known() -> None:
    assert figures.stock_accuracy(None, as_of=NOW).total.percent is None
    asked: list[tuple[datetime, datetime]] = []

    def accuracy(since: datetime, until: datetime) -> SimpleNamespace:
        asked.append((since, until))
        return SimpleNamespace(right=9, lines=10)

    assert figures.stock_accuracy(accuracy, as_of=NOW).total == Point(date(2026, 6, 1), 108, 120)
    assert all(until == since for (_, until), (since, _) in pairwise(asked))
    assert asked[-1][1] == NOW
