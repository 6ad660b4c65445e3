"""What a crib is judged by: the crib's own figures and those of kits and jobs, each with its trend as coordinates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from inventory import figures as crib
from inventory.figures import Accuracy, Figure, Point
from repairs.models import Kit

WIDTH, HEIGHT, LEFT, TOP = 720, 200, 46, 12  # of a trend's drawing, in its own units
FOOT = 30  # under its axis, for the months


def kits(*, as_of: datetime) -> tuple[Figure, Figure]:
    """Kit completeness and line fill, by the month in which a job's kit was released. One query."""
    newest = {
        job: (at, asked, filled)
        for job, at, asked, filled in Kit.objects.order_by("id").values_list("job", "at", "asked", "filled")
        if asked
    }
    whole = ((at, int(filled == asked), 1) for at, asked, filled in newest.values())
    lines = ((at, filled, asked) for at, asked, filled in newest.values())
    return (
        Figure("kit_completeness", crib.by_month(as_of, whole)),
        Figure("line_fill", crib.by_month(as_of, lines)),
    )


def all_of_them(*, as_of: datetime, accuracy: Accuracy | None = None) -> list[Figure]:
    """Every figure in the order of the page; three queries, and what `accuracy` asks."""
    return [
        *kits(as_of=as_of),
        crib.stock_accuracy(accuracy, as_of=as_of),
        crib.overdue_calibrations(as_of=as_of),
        crib.emergency_purchases(as_of=as_of),
    ]


@dataclass(frozen=True, slots=True)
class Dot:
    """A month of a trend that is known: where it is drawn, and what it says."""

    x: float
    y: float
    point: Point


@dataclass(frozen=True, slots=True)
class Trend:
    """A figure as coordinates: dots of known months, lines between neighbours, rules at 0, 50 and 100 percent."""

    dots: tuple[Dot, ...]
    lines: tuple[tuple[float, float, float, float], ...]
    rules: tuple[tuple[float, int], ...]
    months: tuple[tuple[float, str], ...]


def trend(figure: Figure) -> Trend:
    """A figure's months drawn from left to right, 0 to 100 percent; a month that is not known leaves a gap."""
    count = len(figure.points)
    step = (WIDTH - LEFT - 20) / max(1, count - 1)
    high = HEIGHT - TOP - FOOT

    def at(percent: float) -> float:
        return round(TOP + high * (1 - percent / 100), 1)

    places = [round(LEFT + 10 + step * number, 1) for number in range(count)]
    dots: list[Dot | None] = [
        None if point.percent is None else Dot(x, at(point.percent), point)
        for x, point in zip(places, figure.points, strict=True)
    ]
    lines = tuple((one.x, one.y, other.x, other.y) for one, other in pairwise(dots) if one and other)
    months = tuple((x, f"{point.month:%m}") for x, point in zip(places, figure.points, strict=True))
    return Trend(tuple(dot for dot in dots if dot), lines, tuple((at(each), each) for each in (0, 50, 100)), months)
