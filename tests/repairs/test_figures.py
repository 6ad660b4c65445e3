"""What a crib is judged by, as far as jobs tell: kits that were whole, lines that were filled, and how it is drawn."""

from datetime import UTC, date, datetime

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory import counting, stock
from inventory.figures import Figure, Point
from repairs import figures, jobs
from repairs.management.commands.demo import load_workshop
from repairs.models import Kit
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, TAP_16

pytestmark = pytest.mark.django_db


def test_a_kit_is_judged_when_it_is_released_and_the_last_time_counts(bench: Bench) -> None:
    bench.stock(*(row for row in BUSH_KIT if row != TAP_16))
    job = jobs.book(bench.save(GROUP, number="J-1"), by="Ida", as_of=bench.as_of)
    kit = Kit.objects.get()
    assert (kit.asked - kit.filled, kit.job) == (1, job)
    whole, lines = figures.kits(as_of=bench.as_of)
    assert (whole.total.part, whole.total.whole) == (0, 1)
    assert (lines.total.part, lines.total.whole) == (kit.filled, kit.asked)
    jobs.release(job, by="Ida", as_of=bench.as_of)
    bench.stock(TAP_16)
    jobs.book(job, by="Ida", as_of=bench.as_of)
    whole, lines = figures.kits(as_of=bench.as_of)
    assert (whole.total.part, whole.total.whole) == (1, 1)
    assert lines.total.percent == 100


def test_where_nothing_was_released_it_is_not_known(admin_client: Client) -> None:
    whole, _ = figures.kits(as_of=datetime(2026, 6, 1, tzinfo=UTC))
    assert whole.total.percent is None
    shown = admin_client.get(reverse("figures")).content.decode()
    assert shown.count("Not known") == 5
    assert "nothing was counted" in shown


def test_a_month_that_is_not_known_leaves_a_gap_in_the_line() -> None:
    points = (
        Point(date(2026, 1, 1), 1, 2), Point(date(2026, 2, 1), 2, 2), Point(date(2026, 3, 1), known=False),
        Point(date(2026, 4, 1), 0, 3),
    )  # fmt: skip
    drawn = figures.trend(Figure("line_fill", points))
    assert [dot.point.month.month for dot in drawn.dots] == [1, 2, 4]
    assert len(drawn.lines) == 1
    (low, _), (middle, _), (high, _) = drawn.rules
    assert [dot.y for dot in drawn.dots] == [middle, high, low]


def test_each_figure_of_the_demo_has_a_trend_that_came_through_the_real_acts() -> None:
    now = timezone.now()
    load_workshop(as_of=now)
    found = {each.code: each for each in figures.all_of_them(as_of=now, accuracy=counting.accuracy)}
    assert list(found) == [
        "kit_completeness", "line_fill", "stock_accuracy", "overdue_calibrations", "emergency_purchases",
    ]  # fmt: skip
    for code, figure in found.items():
        drawn = figures.trend(figure)
        assert len(drawn.dots) >= 8, code
        assert len(drawn.lines) >= 7, code
        assert len({dot.y for dot in drawn.dots}) > 1, f"{code} says the same of every month"
    assert stock.disagreements() == []
    assert list(counting.open_counts()) == []
