"""What a crib is judged by, as far as its own tables tell: each figure by month, its parts beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any

from django.conf import settings
from django.db.models import Q

from inventory.kinds import CALIBRATED
from inventory.models import Movement, Order, Unit
from inventory.quantities import per_cent
from inventory.stock import GONE

MONTHS = 12
_ENDS = ("lost", "scrapped")
_NEVER = date.min  # the last good day where no calibration is on record: it is over on any day


@dataclass(frozen=True, slots=True)
class Point:
    """A figure in one month: `part` of `whole`. `known` is False where nothing tells of it."""

    month: date
    part: int = 0
    whole: int = 0
    known: bool = True

    @property
    def percent(self) -> float | None:
        """None where nothing is known, or there was nothing to be judged by."""
        return float(per_cent(self.part, self.whole)) if self.known and self.whole else None


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: its months, the last of them the present one, and what it comes to over all of them.

    `better` says whether more of it is better or less.
    """

    code: str
    points: tuple[Point, ...]
    better: str = "more"
    now: Point | None = None

    @property
    def total(self) -> Point:
        """Over all months, or as it is now where it is counted at a moment and not over a time."""
        if self.now is not None:
            return self.now
        known = [point for point in self.points if point.known]
        return Point(
            self.points[-1].month, sum(point.part for point in known), sum(point.whole for point in known), bool(known)
        )


def months(as_of: datetime, count: int = MONTHS) -> list[date]:
    """The first days of the last months in the shop's zone, the present one last."""
    day = as_of.astimezone(settings.SHOP_ZONE).date().replace(day=1)
    found = [day]
    while len(found) < count:
        found.append((found[-1] - timedelta(days=1)).replace(day=1))
    return found[::-1]


def began(month: date) -> datetime:
    """The moment at which a month begins in the shop's zone, in UTC."""
    return datetime.combine(month, time.min, settings.SHOP_ZONE).astimezone(UTC)


def by_month(as_of: datetime, rows: Iterable[tuple[datetime, int, int]]) -> tuple[Point, ...]:
    """Rows of (when, part, whole) summed up month by month; rows of before the first month are left out."""
    sums: dict[date, list[int]] = {month: [0, 0] for month in months(as_of)}
    for at, part, whole in rows:
        found = sums.get(at.astimezone(settings.SHOP_ZONE).date().replace(day=1))
        if found is not None:
            found[0], found[1] = found[0] + part, found[1] + whole
    return tuple(Point(month, part, whole) for month, (part, whole) in sums.items())


def emergency_purchases(*, as_of: datetime) -> Figure:
    """Orders that were marked urgent, of all that were placed. One query."""
    rows = Order.objects.exclude(state__in=("draft", "cancelled")).filter(at__gte=began(months(as_of)[0]))
    told = ((at, int(bool(why)), 1) for at, why in rows.values_list("at", "urgent_why"))
    return Figure("emergency_purchases", by_month(as_of, told), better="less")


def overdue_calibrations(*, as_of: datetime) -> Figure:
    """Units whose calibration is over, or of which none is on record though their kind must be calibrated, of all that
    must be or carry a date: now, and as the ledger has it of the last day of each month before. Two queries.

    One of which none was ever on record counts from the day it came. One that has a date counts from the first one
    that the ledger tells; a month in which it tells of no unit is not known.
    """
    starts, today = months(as_of), as_of.astimezone(settings.SHOP_ZONE).date()
    never = Q(calibration_due__isnull=True, item__kind__in=CALIBRATED)
    rows = Unit.objects.filter(never | Q(calibration_due__isnull=False))
    units = list(rows.values_list("pk", "condition", "calibration_due"))
    missing = {unit for unit, _, day in units if day is None}
    now = _over(starts[-1], [day or _NEVER for _, condition, day in units if condition not in GONE], today)
    dated = Q(unit__in=Movement.objects.filter(calibration_due__isnull=False).values("unit"))
    tells = Q(calibration_due__isnull=False) | Q(quantity__gt=0) | Q(act__in=_ENDS)
    told: Any = Movement.objects.filter(tells, dated | Q(unit__in=Unit.objects.filter(never).values("pk")))
    lines = list(told.order_by("at", "pk").values_list("at", "unit", "act", "quantity", "calibration_due"))
    points: list[Point] = []
    due: dict[int, date | None] = {}
    gone: set[int] = set()
    at = 0
    for month, after in pairwise(starts):
        while at < len(lines) and lines[at][0] < began(after):
            _, unit, deed, quantity, day = lines[at]
            due[unit] = day or due.get(unit, _NEVER if unit in missing else None)
            if deed in _ENDS:
                gone.add(unit)
            elif quantity > 0:
                gone.discard(unit)
            at += 1
        there = [day for unit, day in due.items() if unit not in gone]
        points.append(_over(month, there, after - timedelta(days=1)))
    return Figure("overdue_calibrations", (*points, now), better="less", now=now)


def _over(month: date, due: Sequence[date | None], day: date) -> Point:
    """How many of these last good days are over on a day; not known where there is none."""
    dated = [each for each in due if each is not None]
    return Point(month, sum(each < day for each in dated), len(dated), known=bool(dated))


Accuracy = Callable[[datetime, datetime], Any]  # of a window: an object with `right` of `lines`


def stock_accuracy(accuracy: Accuracy | None, *, as_of: datetime) -> Figure:
    """Lines of posted counts that were found as booked, of all that were counted; a query a month.

    `accuracy` is how a window is judged; without it nothing was counted.
    """
    starts = months(as_of)
    if accuracy is None:
        return Figure("stock_accuracy", tuple(Point(month) for month in starts))
    points = []
    for month, after in zip(starts, (*starts[1:], as_of), strict=True):
        until = after if isinstance(after, datetime) else began(after)
        judged = accuracy(began(month), until)
        points.append(Point(month, judged.right, judged.lines))
    return Figure("stock_accuracy", tuple(points))
