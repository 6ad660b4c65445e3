"""Counts as they are listed, and the bins of each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Q, QuerySet

from inventory.counting.figures import FIGURES, Accuracy, accuracy_from
from inventory.errors import Reason, Refused
from inventory.models import Bin, CountBin, CountEntry, CountLine, Site, StockCount


def count_by_id(pk: int) -> StockCount:
    """The count of this id, with its site. Raises `Refused`: count_unknown."""
    found = StockCount.objects.select_related("site").filter(pk=pk).first()
    if found is None:
        raise Refused(Reason("count_unknown", count=pk))
    return found


def _listed() -> QuerySet[StockCount]:
    done = Count("bins", filter=Q(bins__done_at__isnull=False))
    return StockCount.objects.select_related("site").annotate(all_bins=Count("bins"), done_bins=done)


def open_counts() -> QuerySet[StockCount]:
    """Counts that go on, the last begun first, each with `all_bins` and `done_bins`."""
    return _listed().filter(state="open").order_by("-pk")


def closed_counts(*, before: int = 0, most: int = 20) -> tuple[list[tuple[StockCount, Accuracy]], int]:
    """A page of closed counts, the last first, each with its accuracy, and the id that the next page is `before`."""
    rows = _listed().exclude(state="open").order_by("-pk")
    found = list((rows.filter(pk__lt=before) if before else rows)[: most + 1])
    page = found[:most]
    figures = CountLine.objects.filter(count__in=page).order_by().values("count").annotate(**FIGURES)
    by_count = {row["count"]: accuracy_from(row, 1) for row in figures}
    nothing = Accuracy(1, 0, 0, 0)
    return [(each, by_count.get(each.pk, nothing)) for each in page], page[-1].pk if len(found) > most else 0


@dataclass(frozen=True, slots=True)
class Place:
    """A bin of a count and who has entered something there."""

    bin: Bin
    done_at: datetime | None
    done_by: str
    people: tuple[str, ...]


def places(count: StockCount) -> tuple[Place, ...]:
    """The bins of a count in the order of the walk. Two queries."""
    rows: Any = CountEntry.objects.filter(line__count=count).order_by("line__bin", "by")
    people: dict[int, list[str]] = defaultdict(list)
    for bin, by in rows.values_list("line__bin", "by").distinct():
        people[bin].append(by)
    bins = CountBin.objects.filter(count=count).select_related("bin__site").order_by("bin__walk", "bin__name", "pk")
    return tuple(Place(each.bin, each.done_at, each.done_by, tuple(people[each.bin_id])) for each in bins)


def next_place(of: Sequence[Place], after: int | None = None) -> Place | None:
    """The bin to go on with: the first not done on the walk from `after` (a bin's id) on, then from its start."""
    at = next((number for number, each in enumerate(of) if each.bin.pk == after), -1)
    return next(
        (each for each in (*of[at + 1 :], *of[: at + 1]) if each.done_at is None and each.bin.pk != after), None
    )


def bins_to_count(site: str) -> list[tuple[Bin, int | None]]:
    """The bins of a site in the order of the walk, each with the open count that has it. Two queries."""
    held = dict(CountBin.objects.filter(open=True, bin__site__name=site).values_list("bin", "count"))
    return [(bin, held.get(bin.pk)) for bin in Bin.objects.filter(site__name=site).order_by("walk", "name", "pk")]


def count_of_bin(bin: Bin) -> int | None:
    """The open count that has this bin, if one has."""
    return CountBin.objects.filter(bin=bin, open=True).values_list("count", flat=True).first()


def posted_lines(count: StockCount) -> list[CountLine]:
    """The lines of a posted count with what they came to, those that differ first."""
    rows = CountLine.objects.filter(count=count, found__isnull=False)
    rows = rows.select_related("bin__site", "unit__item", "batch__item", "item", "movement")
    return sorted(rows.order_by("bin__walk", "bin__name", "pk"), key=lambda line: line.book == line.found)


def sites() -> list[str]:
    """The names of the sites that have bins."""
    return list(Site.objects.filter(bins__isnull=False).distinct().order_by("name").values_list("name", flat=True))
