"""The sheet of one bin, as one person who counts sees it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q

from inventory import catalogue
from inventory.counting.entering import Key, book_of_unit, entries_of, here, key_of_line, live, own_entry
from inventory.errors import Reason, Refused
from inventory.kinds import Facts
from inventory.models import Batch, CountBin, CountEntry, CountLine, Item, Movement, StockCount, Unit
from inventory.stock import aware

RECENT = timedelta(days=365)  # a lot that lay in a bin within a year is asked for, be there any of it or not


@dataclass(frozen=True, slots=True)
class Row:
    """One thing on the sheet of a bin: what it is and what the reader entered of it. `book` is None in a blind count.

    `name` tells it from every other on the sheet; `again`: it is to be counted once more; `others`: somebody else's
    figure of it stands.
    """

    name: str
    unit: Unit | None
    batch: Batch | None
    item: Item | None
    lot: str
    called: str
    facts: Facts | None
    found: int | None
    at: datetime | None
    again: bool
    book: int | None
    others: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """A bin of a count as one person sees it: tagged things, and things that are counted out."""

    place: CountBin
    units: tuple[Row, ...]
    batches: tuple[Row, ...]


def sheet(*, count: StockCount, bin: int, counter: str, as_of: datetime) -> Sheet:
    """The sheet of a bin: in a blind count the lots that lay there within a year, and what this person entered; else
    what the book has there too, with its figures. Six queries, however many rows.

    Raises `Refused`: count_bin_unknown.
    """
    place = CountBin.objects.filter(count=count, bin=bin).select_related("bin__site").first()
    if place is None:
        raise Refused(Reason("count_bin_unknown", count=count.pk))
    lines = list(
        CountLine.objects.filter(count=count, bin=bin)
        .select_related("unit__item", "batch__item", "item")
        .order_by("pk")
    )
    entries = entries_of(lines)
    units, _ = here(bin)
    lately = Movement.objects.filter(batch=OuterRef("pk"), at__gte=aware(as_of) - RECENT)
    lots = Batch.objects.filter(bin=bin).filter(Q(on_hand__gt=0) | Q(Exists(lately)))
    things: dict[Key, tuple[Unit | None, Batch | None, Item | None, str, str]] = {}
    if not count.blind:
        for unit in units.select_related("item"):
            things[(unit.pk, None, None, "", "")] = (unit, None, unit.item, "", "")
    for batch in lots.select_related("item"):
        things[(None, batch.pk, None, "", "")] = (None, batch, batch.item, batch.lot, "")
    by_key = {key_of_line(line): line for line in lines}
    for key, line in by_key.items():
        own = own_entry(line, entries, counter)
        # What was never seen but left over tells what the book has; blind, only what the reader found is shown.
        hidden = own is None or (count.blind and own.how == "left")
        if hidden and not (line.again_after and not count.blind):
            continue
        item = line.item or (line.unit.item if line.unit else line.batch.item if line.batch else None)
        things.setdefault(key, (line.unit, line.batch, item, line.lot, line.called or ""))
    rows = [_row(key, thing, by_key.get(key), entries, counter, count.blind, bin) for key, thing in things.items()]
    rows.sort(key=_in_order)
    tagged = [row.batch is None and bool(row.unit or row.called) for row in rows]
    return Sheet(
        place,
        tuple(row for row, one in zip(rows, tagged, strict=True) if one),
        tuple(row for row, one in zip(rows, tagged, strict=True) if not one),
    )


def _row(
    key: Key,
    thing: tuple[Unit | None, Batch | None, Item | None, str, str],
    line: CountLine | None,
    entries: Mapping[int, Sequence[CountEntry]],
    counter: str,
    blind: bool,
    bin: int,
) -> Row:
    unit, batch, item, lot, called = thing
    own = own_entry(line, entries, counter) if line else None
    if blind and own is not None and own.how == "left":
        own = None
    book = book_of_unit(unit, bin) if unit else batch.on_hand if batch else 0
    name = f"unit-{unit.pk}" if unit else f"batch-{batch.pk}" if batch else f"line-{line.pk}" if line else ""
    return Row(
        name=name,
        unit=unit,
        batch=batch,
        item=item,
        lot=batch.lot if batch else lot,
        called=called,
        facts=catalogue.facts(item) if item else None,
        found=own.found if own else None,
        at=own.at if own else None,
        again=bool(line and line.again_after and not live(line, entries)),
        book=None if blind else book,
        others=any(each.counter != counter and each.how == "counted" for each in live(line, entries)),
    )


def _in_order(row: Row) -> tuple[str, str, str, str]:
    """By what the thing is called, never by how many there are."""
    item = row.item
    return (
        item.kind if item else "~",
        item.number or "" if item else "",
        row.lot,
        row.unit.tag if row.unit else row.called,
    )
