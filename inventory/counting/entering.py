"""Counts begun, and what people find in the bins entered beside what the book says at that moment."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max, Q, QuerySet, Value
from django.db.models.functions import Upper

from inventory import stock
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.models import Batch, Bin, CountBin, CountEntry, CountLine, Item, Movement, StockCount, Unit
from inventory.reservations import lock
from inventory.stock import AT_HAND, aware


@dataclass(frozen=True, slots=True)
class Finding:
    """What somebody found in a bin: so many of a `unit` (1 or 0), of a `batch`, of a `lot` of an `item`, or of what
    carries this `tag`. Ids, but for the two that are read off the thing."""

    found: int
    unit: int | None = None
    batch: int | None = None
    item: int | None = None
    lot: str = ""
    tag: str = ""


def start(
    *, site: str, bins: Collection[int], blind: bool, by: Any, as_of: datetime, request_key: str | None = None
) -> StockCount:
    """Begin to count these bins (ids) of a site.

    Raises `Refused`: site_unknown, count_without_bins, count_bin_elsewhere, bins_being_counted where another open count
    has one of them, bin_in_one_open_count where that began at the same moment.
    """
    at = aware(as_of)
    place = stock.site(site)
    wanted = set(bins)
    try:
        with act():
            done = StockCount.objects.filter(request_key=request_key).first() if request_key else None
            if done is not None:
                return done
            if not wanted:
                raise Refused(Reason("count_without_bins"))
            known = list(Bin.objects.filter(pk__in=wanted, site=place).order_by("pk"))
            if len(known) < len(wanted):
                raise Refused(Reason("count_bin_elsewhere", site=site))
            held = (
                CountBin.objects.filter(open=True, bin__in=wanted).select_related("bin", "count").order_by("bin__name")
            )
            if taken := list(held):
                names = tuple(each.bin.name for each in taken)
                raise Refused(Reason("bins_being_counted", bins=names, count=taken[0].count_id, by=taken[0].count.by))
            count = StockCount.objects.create(site=place, blind=blind, at=at, by=str(by), request_key=request_key)
            CountBin.objects.bulk_create(CountBin(count=count, bin=bin) for bin in known)
            return count
    except Refused as refused:
        if request_key and refused.reason.code in ("count_request_key_taken", "bin_in_one_open_count"):
            done = StockCount.objects.filter(request_key=request_key).first()
            if done is not None:
                return done
        raise


def enter(
    *,
    count: int,
    bin: int,
    findings: Iterable[Finding],
    by: Any,
    as_of: datetime,
    counter: str = "",
    nothing_else: bool = False,
    request_key: str | None = None,
) -> list[CountEntry]:
    """Keep what somebody found in a bin, each with what the book says at this moment; answers with what is new.

    A figure that the same person (`counter`, their login) enters again is a count anew where the thing moved since, or
    where its line was decided; else it is not entered twice. With `nothing_else` the bin is done: what the book has
    there and nobody entered was not found. A request that is repeated enters nothing.
    Raises `Refused`: count_unknown, count_closed, count_bin_unknown, count_found_negative, unit_unknown,
    batch_unknown, item_unknown, item_is_tagged.
    """
    at, who = aware(as_of), counter or str(by)
    wanted = list(findings)
    for each in wanted:
        if each.found < 0:
            raise Refused(Reason("count_found_negative", found=each.found))
    try:
        with act():
            counted, place = _open_bin(count, bin)
            wanted = _known(wanted, bin)
            lines = {key_of_line(line): line for line in CountLine.objects.filter(count=counted, bin=bin)}
            expected_units, expected_batches = _expected(bin) if nothing_else else (set(), set())
            units, batches = lock(
                units={each.unit for each in wanted if each.unit} | expected_units,
                batches={each.batch for each in wanted if each.batch} | expected_batches,
            )
            _refuse_unknown(wanted, units, batches, bin)
            entries = entries_of(lines.values())
            last = _last_moved(units, batches)
            fresh = [
                (each, "counted")
                for each in wanted
                if not _entered(lines.get(_of(each)), entries, who, each, last, request_key)
            ]
            if nothing_else:
                named = {_of(each) for each in wanted}
                fresh += [
                    (each, "left")
                    for each in _left(bin, units, batches, expected_units, expected_batches)
                    if _of(each) not in named and not live(lines.get(_of(each)), entries)
                ]
                CountBin.objects.filter(pk=place.pk).update(done_at=at, done_by=str(by))
            return _write(counted, bin, lines, fresh, units, batches, last, at, str(by), who, request_key)
    except Refused as refused:
        if refused.reason.code == "count_entry_request_key_taken":
            return []  # its twin was a moment ahead
        raise


Key = tuple[int | None, int | None, int | None, str, str]
Thing = tuple[int | None, int | None]  # a unit or a batch, by its id


def key_of_line(line: CountLine) -> Key:
    return (line.unit_id, line.batch_id, line.item_id, line.lot.upper(), (line.called or "").upper())


def _of(finding: Finding) -> Key:
    return (finding.unit, finding.batch, finding.item, finding.lot.upper(), finding.tag.upper())


def _open_bin(count: int, bin: int) -> tuple[StockCount, CountBin]:
    """The count, locked, and its bin. Raises `Refused`: count_unknown, count_closed, count_bin_unknown."""
    counted = open_count(count)
    place = CountBin.objects.filter(count=counted, bin=bin).first()
    if place is None:
        raise Refused(Reason("count_bin_unknown", count=count))
    return counted, place


def locked_count(pk: int) -> StockCount:
    """The count until the transaction ends: whoever enters, decides or posts does so one after the other.

    Raises `Refused`: count_unknown.
    """
    counted = StockCount.objects.select_for_update(no_key=True, of=("self",)).filter(pk=pk).first()
    if counted is None:
        raise Refused(Reason("count_unknown", count=pk))
    return counted


def open_count(pk: int) -> StockCount:
    """The same, where it goes on. Raises `Refused`: count_unknown, count_closed."""
    counted = locked_count(pk)
    if counted.state != "open":
        raise Refused(Reason("count_closed", count=pk, state=counted.state))
    return counted


def _known(findings: Sequence[Finding], bin: int) -> list[Finding]:
    """The findings with each tag and lot that the book knows as its unit or batch; each thing once, the last figure."""
    tags = {each.tag.upper() for each in findings if each.tag}
    units: dict[str, int] = {}
    if tags:
        folded = Unit.objects.alias(folded=Upper("tag")).filter(folded__in=[Upper(Value(tag)) for tag in sorted(tags)])
        units = {tag.upper(): pk for pk, tag in folded.values_list("pk", "tag")}
    items = {each.item for each in findings if each.item}
    batches: dict[tuple[int, str], int] = {}
    if items:
        counted = dict(Item.objects.filter(pk__in=items).values_list("pk", "counted"))
        for item in sorted(items):
            if item not in counted:
                raise Refused(Reason("item_unknown", number=f"~{item}"))
            if not counted[item]:
                raise Refused(Reason("item_is_tagged", item=str(Item.objects.get(pk=item))))
        there = list(Batch.objects.filter(bin=bin, item__in=items).order_by("-pk").values_list("item", "lot", "pk"))
        # As it is written; only where no lot reads so, capitals and small letters are alike.
        batches = {(item, lot.upper()): pk for item, lot, pk in there} | {(item, lot): pk for item, lot, pk in there}
    found: dict[Key, Finding] = {}
    for each in findings:
        if unit := units.get(each.tag.upper()) if each.tag else None:
            each = Finding(each.found, unit=unit)
        elif batch := _batch_of(each, batches):
            each = Finding(each.found, batch=batch)
        found[_of(each)] = each
    return list(found.values())


def _batch_of(finding: Finding, batches: Mapping[tuple[int, str], int]) -> int | None:
    if finding.item is None:
        return None
    return batches.get((finding.item, finding.lot)) or batches.get((finding.item, finding.lot.upper()))


def _refuse_unknown(
    findings: Iterable[Finding], units: Mapping[int, Unit], batches: Mapping[int, Batch], bin: int
) -> None:
    for each in findings:
        if each.unit and each.unit not in units:
            raise Refused(Reason("unit_unknown", id=each.unit))
        if each.batch and (each.batch not in batches or batches[each.batch].bin_id != bin):
            raise Refused(Reason("batch_unknown", id=each.batch))


def here(bin: int) -> tuple[QuerySet[Unit], QuerySet[Batch]]:
    """The units and batches that the book has in a bin now."""
    units = Unit.objects.filter(bin=bin, condition__in=AT_HAND, issued_to="")
    return units, Batch.objects.filter(bin=bin, on_hand__gt=0)


def _expected(bin: int) -> tuple[set[int], set[int]]:
    units, batches = here(bin)
    return set(units.values_list("pk", flat=True)), set(batches.values_list("pk", flat=True))


def _left(
    bin: int, units: Mapping[int, Unit], batches: Mapping[int, Batch], of_units: set[int], of_batches: set[int]
) -> list[Finding]:
    """What was not found by saying that nothing else is there, as the book has it under lock."""
    return [
        *(Finding(0, unit=pk) for pk in sorted(of_units) if pk in units and book_of_unit(units[pk], bin)),
        *(Finding(0, batch=pk) for pk in sorted(of_batches) if pk in batches and batches[pk].on_hand > 0),
    ]


def book_of_unit(unit: Unit, bin: int) -> int:
    return int(unit.condition in AT_HAND and not unit.issued_to and unit.bin_id == bin)


def entries_of(lines: Iterable[CountLine]) -> dict[int, list[CountEntry]]:
    """The entries of these lines, in their order. One query."""
    found: dict[int, list[CountEntry]] = defaultdict(list)
    for entry in CountEntry.objects.filter(line__in=[line.pk for line in lines]).order_by("pk"):
        found[entry.line_id].append(entry)
    return found


def live(line: CountLine | None, entries: Mapping[int, Sequence[CountEntry]]) -> list[CountEntry]:
    """The entries of a line that count: those after it was asked to be counted again."""
    return [] if line is None else [each for each in entries.get(line.pk, ()) if each.pk > line.again_after]


def _entered(
    line: CountLine | None,
    entries: Mapping[int, Sequence[CountEntry]],
    who: str,
    finding: Finding,
    last: Mapping[Thing, int],
    key: str | None,
) -> bool:
    """Whether this figure stands as the person's own of the thing as it is, or this very request has entered one."""
    if line is None:
        return False
    if key is not None and any(each.request_key == key for each in entries.get(line.pk, ())):
        return True
    own = own_entry(line, entries, who)
    if own is None or own.found != finding.found or own.position != last.get((finding.unit, finding.batch), 0):
        return False
    return not any(each.how == "decided" and each.pk > own.pk for each in live(line, entries))


def _last_moved(units: Collection[int], batches: Collection[int]) -> dict[Thing, int]:
    """The last movement of each of these things. One query."""
    rows: Any = Movement.objects.filter(Q(unit__in=units) | Q(batch__in=batches)).order_by()
    return {(unit, batch): pk for unit, batch, pk in rows.values_list("unit", "batch").annotate(last=Max("pk"))}


def own_entry(line: CountLine, entries: Mapping[int, Sequence[CountEntry]], who: str) -> CountEntry | None:
    """The last figure that this person entered of a line and that counts; deciding is no counting."""
    mine = [each for each in live(line, entries) if each.counter == who and each.how != "decided"]
    return mine[-1] if mine else None


def _write(
    count: StockCount,
    bin: int,
    lines: dict[Key, CountLine],
    findings: Sequence[tuple[Finding, str]],
    units: Mapping[int, Unit],
    batches: Mapping[int, Batch],
    last: Mapping[Thing, int],
    at: datetime,
    by: str,
    who: str,
    key: str | None,
) -> list[CountEntry]:
    if not findings:
        return []
    new = [
        CountLine(
            count=count, bin_id=bin, unit_id=each.unit, batch_id=each.batch, item_id=each.item,
            lot=each.lot, called=each.tag or None,
        )
        for each, _ in findings if _of(each) not in lines
    ]  # fmt: skip
    if new:
        CountLine.objects.bulk_create(new)
        lines |= {key_of_line(line): line for line in CountLine.objects.filter(count=count, bin=bin)}
    return CountEntry.objects.bulk_create(
        CountEntry(
            line=lines[_of(each)],
            how=how,
            found=each.found,
            book=_book(each, units, batches, bin),
            position=last.get((each.unit, each.batch), 0),
            at=at,
            by=by,
            counter=who,
            request_key=key,
        )
        for each, how in findings
    )


def _book(finding: Finding, units: Mapping[int, Unit], batches: Mapping[int, Batch], bin: int) -> int:
    """What the book says of a thing that is locked, in this bin: of what it does not know, nothing."""
    if finding.unit:
        return book_of_unit(units[finding.unit], bin)
    return batches[finding.batch].on_hand if finding.batch else 0
