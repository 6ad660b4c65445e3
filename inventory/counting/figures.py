"""How true the book was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Count, F, Q, Sum
from django.db.models.functions import Abs

from inventory.models import CountLine, StockCount
from inventory.quantities import per_cent
from inventory.stock import aware


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How true the book was: lines counted, lines whose found equals book, and pieces that the others were off.

    A line is one unit or batch in one bin. Plus and minus are never netted: two lines that are one too many and one too
    few are two wrong lines and two pieces off. Lines where neither the book nor the bin had any are left out.
    """

    counts: int
    lines: int
    right: int
    pieces_off: int

    @property
    def per_cent(self) -> Decimal | None:
        """Right lines of a hundred: with one wrong line never 100. None without lines."""
        return per_cent(self.right, self.lines) if self.lines else None


_MET = Q(found__isnull=False) & ~Q(found=0, book=0)
FIGURES: dict[str, Any] = {
    "lines_met": Count("pk", filter=_MET),
    "right": Count("pk", filter=_MET & Q(found=F("book"))),
    "off": Sum(Abs(F("found") - F("book")), filter=_MET),
}


def accuracy_from(row: Mapping[str, Any], counts: int) -> Accuracy:
    return Accuracy(counts, row["lines_met"], row["right"], row["off"] or 0)


def accuracy(since: datetime, until: datetime) -> Accuracy:
    """The accuracy of the stock by all counts posted in this half-open window: see `Accuracy`. One query."""
    lines = CountLine.objects.filter(
        count__state="posted", count__closed_at__gte=aware(since), count__closed_at__lt=aware(until)
    )
    row = lines.aggregate(**FIGURES, counts=Count("count", distinct=True))
    return accuracy_from(row, row["counts"])


def accuracy_of(count: StockCount) -> Accuracy:
    """The accuracy that one posted count found. One query."""
    return accuracy_from(CountLine.objects.filter(count=count).aggregate(**FIGURES), 1)
