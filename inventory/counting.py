"""Stock counts: bins counted by several people, blind or beside the book, judged line by line, posted in one act.

What somebody finds is an entry, kept with what the book said at that moment: stock may move while a count is open, and
what is posted is the *difference* that was found then, so that a later issue stands. A line is right where found equals
book. People who found different differences are both shown, and somebody decides; the last one never wins unseen.

A line is told to be counted again where its difference would leave less than nothing, or where a unit that was found
elsewhere than the book has it has moved since. Whoever counts blind is shown nothing that the book says.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, Exists, F, Max, OuterRef, Q, QuerySet, Sum, Value
from django.db.models.functions import Abs, Upper

from inventory import catalogue, stock
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import Facts
from inventory.models import Batch, Bin, CountBin, CountEntry, CountLine, Item, Movement, Site, StockCount, Unit
from inventory.reservations import lock
from inventory.stock import AT_HAND, aware

RECENT = timedelta(days=365)  # a lot that lay in a bin within a year is asked for, be there any of it or not


class PostRefused(Refused):
    """A count cannot be posted; `lines` says why of each line that stands in the way, `reason` the first."""

    def __init__(self, lines: Mapping[int, Reason]) -> None:
        super().__init__(next(iter(lines.values())))
        self.lines = dict(lines)


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


# Begin, enter


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

    What the same person (`counter`, their login) entered before with the same figure is not entered anew. With
    `nothing_else` the bin is done: what the book has there and nobody entered was not found. A request that is repeated
    enters nothing.
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
            lines = {_key(line): line for line in CountLine.objects.filter(count=counted, bin=bin)}
            expected_units, expected_batches = _expected(bin) if nothing_else else (set(), set())
            units, batches = lock(
                units={each.unit for each in wanted if each.unit} | expected_units,
                batches={each.batch for each in wanted if each.batch} | expected_batches,
            )
            _refuse_unknown(wanted, units, batches, bin)
            entries = _entries(lines.values())
            fresh = [
                (each, "counted")
                for each in wanted
                if not _entered(lines.get(_of(each)), entries, who, each, request_key)
            ]
            if nothing_else:
                named = {_of(each) for each in wanted}
                fresh += [
                    (each, "left")
                    for each in _left(bin, units, batches, expected_units, expected_batches)
                    if _of(each) not in named and not _live(lines.get(_of(each)), entries)
                ]
                CountBin.objects.filter(pk=place.pk).update(done_at=at, done_by=str(by))
            return _write(counted, bin, lines, fresh, units, batches, at, str(by), who, request_key)
    except Refused as refused:
        if refused.reason.code == "count_entry_request_key_taken":
            return []  # its twin was a moment ahead
        raise


Key = tuple[int | None, int | None, int | None, str, str]


def _key(line: CountLine) -> Key:
    return (line.unit_id, line.batch_id, line.item_id, line.lot.upper(), (line.called or "").upper())


def _of(finding: Finding) -> Key:
    return (finding.unit, finding.batch, finding.item, finding.lot.upper(), finding.tag.upper())


def _open_bin(count: int, bin: int) -> tuple[StockCount, CountBin]:
    """The count, locked, and its bin. Raises `Refused`: count_unknown, count_closed, count_bin_unknown."""
    counted = locked_count(count)
    if counted.state != "open":
        raise Refused(Reason("count_closed", count=count, state=counted.state))
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
        there = Batch.objects.filter(bin=bin, item__in=items).values_list("item", "lot", "pk")
        batches = {(item, lot.upper()): pk for item, lot, pk in there}
    found: dict[Key, Finding] = {}
    for each in findings:
        if unit := units.get(each.tag.upper()) if each.tag else None:
            each = Finding(each.found, unit=unit)
        elif batch := batches.get((each.item, each.lot.upper())) if each.item else None:
            each = Finding(each.found, batch=batch)
        found[_of(each)] = each
    return list(found.values())


def _refuse_unknown(
    findings: Iterable[Finding], units: Mapping[int, Unit], batches: Mapping[int, Batch], bin: int
) -> None:
    for each in findings:
        if each.unit and each.unit not in units:
            raise Refused(Reason("unit_unknown", id=each.unit))
        if each.batch and (each.batch not in batches or batches[each.batch].bin_id != bin):
            raise Refused(Reason("batch_unknown", id=each.batch))


def _here(bin: int) -> tuple[QuerySet[Unit], QuerySet[Batch]]:
    """The units and batches that the book has in a bin now."""
    units = Unit.objects.filter(bin=bin, condition__in=AT_HAND, issued_to="")
    return units, Batch.objects.filter(bin=bin, on_hand__gt=0)


def _expected(bin: int) -> tuple[set[int], set[int]]:
    units, batches = _here(bin)
    return set(units.values_list("pk", flat=True)), set(batches.values_list("pk", flat=True))


def _left(
    bin: int, units: Mapping[int, Unit], batches: Mapping[int, Batch], of_units: set[int], of_batches: set[int]
) -> list[Finding]:
    """What was not found by saying that nothing else is there, as the book has it under lock."""
    return [
        *(Finding(0, unit=pk) for pk in sorted(of_units) if pk in units and _book_of_unit(units[pk], bin)),
        *(Finding(0, batch=pk) for pk in sorted(of_batches) if pk in batches and batches[pk].on_hand > 0),
    ]


def _book_of_unit(unit: Unit, bin: int) -> int:
    return int(unit.condition in AT_HAND and not unit.issued_to and unit.bin_id == bin)


def _entries(lines: Iterable[CountLine]) -> dict[int, list[CountEntry]]:
    """The entries of these lines, in their order. One query."""
    found: dict[int, list[CountEntry]] = defaultdict(list)
    for entry in CountEntry.objects.filter(line__in=[line.pk for line in lines]).order_by("pk"):
        found[entry.line_id].append(entry)
    return found


def _live(line: CountLine | None, entries: Mapping[int, Sequence[CountEntry]]) -> list[CountEntry]:
    """The entries of a line that count: those after it was asked to be counted again."""
    return [] if line is None else [each for each in entries.get(line.pk, ()) if each.pk > line.again_after]


def _entered(
    line: CountLine | None, entries: Mapping[int, Sequence[CountEntry]], who: str, finding: Finding, key: str | None
) -> bool:
    """Whether this very figure stands as the person's own, or this very request has entered one."""
    if line is None:
        return False
    if key is not None and any(each.request_key == key for each in entries.get(line.pk, ())):
        return True
    own = _own(line, entries, who)
    return own is not None and own.found == finding.found


def _own(line: CountLine, entries: Mapping[int, Sequence[CountEntry]], who: str) -> CountEntry | None:
    """The last figure that this person entered of a line and that counts; deciding is no counting."""
    mine = [each for each in _live(line, entries) if each.counter == who and each.how != "decided"]
    return mine[-1] if mine else None


def _write(
    count: StockCount,
    bin: int,
    lines: dict[Key, CountLine],
    findings: Sequence[tuple[Finding, str]],
    units: Mapping[int, Unit],
    batches: Mapping[int, Batch],
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
        lines |= {_key(line): line for line in CountLine.objects.filter(count=count, bin=bin)}
    last: dict[tuple[int | None, int | None], int] = {
        (unit, batch): pk
        for unit, batch, pk in Movement.objects.filter(
            Q(unit__in=[each.unit for each, _ in findings if each.unit])
            | Q(batch__in=[each.batch for each, _ in findings if each.batch])
        )
        .order_by()
        .values_list("unit", "batch")
        .annotate(last=Max("pk"))
    }
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
        return _book_of_unit(units[finding.unit], bin)
    return batches[finding.batch].on_hand if finding.batch else 0


# The sheet of one bin, for whoever counts


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
    entries = _entries(lines)
    units, _ = _here(bin)
    lately = Movement.objects.filter(batch=OuterRef("pk"), at__gte=aware(as_of) - RECENT)
    lots = Batch.objects.filter(bin=bin).filter(Q(on_hand__gt=0) | Q(Exists(lately)))
    things: dict[Key, tuple[Unit | None, Batch | None, Item | None, str, str]] = {}
    if not count.blind:
        for unit in units.select_related("item"):
            things[(unit.pk, None, None, "", "")] = (unit, None, unit.item, "", "")
    for batch in lots.select_related("item"):
        things[(None, batch.pk, None, "", "")] = (None, batch, batch.item, batch.lot, "")
    by_key = {_key(line): line for line in lines}
    for key, line in by_key.items():
        own = _own(line, entries, counter)
        # What was never seen but left over tells what the book has; blind, only what the reader found is shown.
        hidden = own is None or (count.blind and own.how == "left")
        if hidden and not (line.again_after and not count.blind):
            continue
        item = line.item or (line.unit.item if line.unit else line.batch.item if line.batch else None)
        things.setdefault(key, (line.unit, line.batch, item, line.lot, line.called or ""))
    rows = [_row(key, thing, by_key.get(key), entries, counter, count.blind, bin) for key, thing in things.items()]
    rows.sort(key=_in_order)
    tagged = tuple(row for row in rows if row.batch is None and (row.unit or row.called))
    return Sheet(place, tagged, tuple(row for row in rows if row not in tagged))


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
    own = _own(line, entries, counter) if line else None
    if blind and own is not None and own.how == "left":
        own = None
    book = _book_of_unit(unit, bin) if unit else batch.on_hand if batch else 0
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
        again=bool(line and line.again_after and not _live(line, entries)),
        book=None if blind else book,
        others=any(each.counter != counter and each.how == "counted" for each in _live(line, entries)),
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


# The review, for whoever posts


@dataclass(frozen=True, slots=True)
class Voice:
    """What one person found, against what the book said then."""

    entry: int
    by: str
    at: datetime
    how: str
    found: int
    book: int
    position: int

    @property
    def difference(self) -> int:
        return self.found - self.book


@dataclass(frozen=True, slots=True)
class Judged:
    """A line of a count against the book. `state` is right, differs, disputed, again or not_counted.

    `why` says what is to be done about a line that cannot be posted; `deed` what posting does with one that differs.
    """

    line: CountLine | None
    bin: Bin
    unit: Unit | None
    batch: Batch | None
    item: Item | None
    lot: str
    called: str
    facts: Facts | None
    state: str
    voices: tuple[Voice, ...] = ()
    book: int = 0
    found: int | None = None
    why: Reason | None = None
    deed: Reason | None = None

    @property
    def difference(self) -> int:
        return (self.found or 0) - self.book


@dataclass(frozen=True, slots=True)
class Review:
    """A count as it would be posted now; `seen` is the last entry that it has regard to."""

    judged: tuple[Judged, ...]
    seen: int

    def of(self, *states: str) -> tuple[Judged, ...]:
        return tuple(each for each in self.judged if each.state in states)

    @property
    def accuracy(self) -> Accuracy:
        """Of the lines that are counted and settled."""
        settled = self.of("right", "differs")
        off = [each.difference for each in settled]
        return Accuracy(1, len(settled), off.count(0), sum(map(abs, off)))


def review(count: StockCount) -> Review:
    """Every line judged against the book, bin by bin. A fixed number of queries, however many lines."""
    lines = list(
        CountLine.objects.filter(count=count)
        .select_related("bin", "unit__item", "unit__bin", "batch__item", "item")
        .order_by("bin__walk", "bin__name", "pk")
    )
    entries = _entries(lines)
    voices = {line.pk: _voices(line, entries) for line in lines}
    moved = _moved_since(lines)
    now_known = _known_since(count, lines)
    where: dict[int, list[Bin]] = defaultdict(list)
    for line in lines:
        if line.unit_id and any(voice.found for voice in voices[line.pk]):
            where[line.unit_id].append(line.bin)
    judged = [_judged(line, voices[line.pk], moved, now_known, where) for line in lines]
    found = [each for each in judged if each is not None]
    found += _not_counted(count, {_place(line) for line in lines if voices[line.pk]})
    found.sort(key=lambda each: (each.bin.walk, each.bin.name, each.bin.pk, _thing_order(each)))
    return Review(tuple(found), max((each.pk for of in entries.values() for each in of), default=0))


def _thing_order(each: Judged) -> tuple[str, str, str]:
    return (each.item.kind if each.item else "~", each.lot, each.unit.tag if each.unit else each.called)


def _place(line: CountLine) -> tuple[int, int | None, int | None]:
    return (line.bin_id, line.unit_id, line.batch_id)


def _voices(line: CountLine, entries: Mapping[int, Sequence[CountEntry]]) -> tuple[Voice, ...]:
    """The last figure of each person since the line was last decided; what was decided is a voice of its own."""
    latest: dict[str, CountEntry] = {}
    for entry in _live(line, entries):
        if entry.how == "decided":
            latest.clear()
        latest["" if entry.how == "decided" else entry.counter] = entry
    return tuple(
        Voice(each.pk, each.by, each.at, each.how, each.found, each.book, each.position)
        for each in sorted(latest.values(), key=lambda each: each.pk)
    )


def _moved_since(lines: Iterable[CountLine]) -> dict[int, int]:
    """The last movement of each unit that changed where it is; holes cut and a calibration do not. One query."""
    units = {line.unit_id for line in lines if line.unit_id}
    rows: Any = (
        Movement.objects.filter(unit__in=units).exclude(act__in=("used", "calibrated")).order_by().values_list("unit")
    )
    return dict(rows.annotate(last=Max("pk"))) if units else {}


def _known_since(count: StockCount, lines: Iterable[CountLine]) -> set[int]:
    """Lines of what the book did not know and knows by now. Two queries at most."""
    lots = {(line.bin_id, line.item_id, line.lot): line.pk for line in lines if line.item_id}
    tags = {line.called.upper(): line.pk for line in lines if line.called}
    known: set[int] = set()
    if lots:
        there = Batch.objects.filter(item__in={item for _, item, _ in lots}, bin__in={bin for bin, _, _ in lots})
        known |= {lots[row] for row in there.values_list("bin", "item", "lot") if row in lots}
    if tags:
        folded = Unit.objects.alias(folded=Upper("tag")).filter(folded__in=[Upper(Value(tag)) for tag in sorted(tags)])
        known |= {tags[tag.upper()] for tag in folded.values_list("tag", flat=True) if tag.upper() in tags}
    return known


def _judged(
    line: CountLine,
    voices: tuple[Voice, ...],
    moved: Mapping[int, int],
    now_known: set[int],
    where: Mapping[int, Sequence[Bin]],
) -> Judged | None:
    """One line; None where nothing is to be said of it: no entry counts, or there is none of it on either side."""
    item = line.item or (line.unit.item if line.unit else line.batch.item if line.batch else None)
    lot = line.batch.lot if line.batch else line.lot
    of: Any = {
        "line": line, "bin": line.bin, "unit": line.unit, "batch": line.batch, "item": item, "lot": lot,
        "called": line.called or "", "facts": catalogue.facts(item) if item else None, "voices": voices,
    }  # fmt: skip
    if not voices:
        return None
    good = voices
    if line.unit_id:
        last = moved.get(line.unit_id, 0)
        good = tuple(each for each in voices if not each.difference or last <= each.position)
    newest = (good or voices)[-1]
    of |= {"book": newest.book, "found": newest.found}
    if not good:
        return Judged(**of, state="again", why=Reason("count_moved_since", tag=str(line.unit)))
    if len({each.difference for each in good}) > 1:
        return Judged(**of, state="disputed", why=Reason("count_disputed", people=tuple(each.by for each in good)))
    if line.pk in now_known and newest.found:
        return Judged(**of, state="again", why=Reason("count_known_since"))
    if line.batch and line.batch.on_hand + newest.difference < 0:
        why = Reason("count_below_nothing", on_hand=line.batch.on_hand, fewer=-newest.difference)
        return Judged(**of, state="again", why=why)
    bins = where.get(line.unit_id or 0, ())
    if newest.found and len(bins) > 1:
        why = Reason("count_found_twice", tag=str(line.unit), bins=tuple(bin.name for bin in bins))
        return Judged(**of, state="disputed", why=why)
    if not newest.found and not newest.book:
        return None
    if not newest.difference:
        return Judged(**of, state="right")
    return Judged(**of, state="differs", deed=_deed(line, newest, bins))


def _deed(line: CountLine, voice: Voice, found_in: Sequence[Bin]) -> Reason:
    """What posting does with a line that differs."""
    if line.batch:
        short = max(0, line.batch.held - line.batch.on_hand - voice.difference)
        return Reason(
            "count_sets_batch", on_hand=line.batch.on_hand, left=line.batch.on_hand + voice.difference, short=short
        )
    if line.item:
        return Reason("count_receives", quantity=voice.found, lot=line.lot)
    unit = line.unit
    if unit is None:
        return Reason("count_cannot_take_in", tag=line.called or "")
    if not voice.found:
        return (
            Reason("count_finds_elsewhere", bin=found_in[0].name) if found_in else Reason("count_loses", tag=unit.tag)
        )
    if unit.condition == "retired":
        return Reason("count_leaves_retired", tag=unit.tag)
    if unit.condition == "lost":
        return Reason("count_finds_lost", tag=unit.tag, bin=line.bin.name)
    if unit.away_why:
        return Reason("count_finds_away", tag=unit.tag, bin=line.bin.name, why=unit.away_why, who=unit.away_with)
    if unit.issued_to:
        return Reason("count_finds_issued", tag=unit.tag, bin=line.bin.name, label=unit.issued_to)
    return Reason("count_moves", tag=unit.tag, place=unit.bin.name, bin=line.bin.name)


def _not_counted(count: StockCount, counted: set[tuple[int, int | None, int | None]]) -> list[Judged]:
    """What the book has in the bins of a count and nobody has entered. Three queries."""
    bins = {each.bin_id: each.bin for each in CountBin.objects.filter(count=count).select_related("bin")}
    units = Unit.objects.filter(bin__in=bins, condition__in=AT_HAND, issued_to="").select_related("item")
    batches = Batch.objects.filter(bin__in=bins, on_hand__gt=0).select_related("item")
    things: list[Unit | Batch] = [*units, *batches]
    found = []
    for thing in things:
        unit, batch = (thing, None) if isinstance(thing, Unit) else (None, thing)
        if (thing.bin_id, unit.pk if unit else None, batch.pk if batch else None) not in counted:
            found.append(
                Judged(
                    line=None,
                    bin=bins[thing.bin_id],
                    unit=unit,
                    batch=batch,
                    item=thing.item,
                    lot=batch.lot if batch else "",
                    called="",
                    facts=catalogue.facts(thing.item),
                    state="not_counted",
                    book=batch.on_hand if batch else 1,
                )
            )
    return found


# Decide, ask again, post, abandon


def decide(*, count: int, entry: int, by: Any, as_of: datetime, counter: str = "") -> CountEntry:
    """Of what several found of one line, this entry stands: it is entered once more, as decided.

    Doing so again changes nothing. Raises `Refused`: count_unknown, count_closed, count_entry_unknown where it is none
    of this count or no longer counts.
    """
    with act():
        counted = _still_open(count)
        chosen = CountEntry.objects.select_related("line").filter(pk=entry, line__count=counted).first()
        if chosen is None or chosen.pk <= chosen.line.again_after:
            raise Refused(Reason("count_entry_unknown"))
        last = chosen.line.entries.order_by("-pk")[0]
        if last.pk == chosen.pk and last.how == "decided":
            return last
        same = ("found", "book", "position")
        if last.how == "decided" and all(getattr(last, name) == getattr(chosen, name) for name in same):
            return last
        return CountEntry.objects.create(
            line=chosen.line,
            how="decided",
            found=chosen.found,
            book=chosen.book,
            position=chosen.position,
            at=aware(as_of),
            by=str(by),
            counter=counter or str(by),
        )


def ask_again(*, count: int, line: int) -> CountLine:
    """Have a line counted again: what was entered of it until now no longer counts.

    Raises `Refused`: count_unknown, count_closed, count_line_unknown.
    """
    with act():
        counted = _still_open(count)
        found = CountLine.objects.filter(pk=line, count=counted).first()
        if found is None:
            raise Refused(Reason("count_line_unknown"))
        found.again_after = found.entries.aggregate(last=Max("pk"))["last"] or 0
        found.save(update_fields=["again_after"])
        CountBin.objects.filter(count=counted, bin=found.bin_id).update(done_at=None, done_by="")
        return found


def _still_open(count: int) -> StockCount:
    counted = locked_count(count)
    if counted.state != "open":
        raise Refused(Reason("count_closed", count=count, state=counted.state))
    return counted


def post(
    *,
    count: int,
    by: Any,
    as_of: datetime,
    reason: str = "",
    reasons: Mapping[int, str] | None = None,
    seen: int | None = None,
    request_key: str | None = None,
) -> StockCount:
    """Post a count, all of it or nothing: every difference goes into the ledger with its reason.

    `reasons` gives the reason of a line (by its id), `reason` that of all others. `seen` is the `Review.seen` on which
    somebody decided: where more was entered since, nothing is posted. What nobody counted stays as it is.
    Raises `PostRefused` with count_disputed, count_found_twice, count_moved_since, count_known_since,
    count_below_nothing, reason_missing; `Refused` with count_unknown, count_closed, count_went_on, count_empty.
    """
    at = aware(as_of)
    with act():
        counted = locked_count(count)
        if counted.state == "posted" and request_key is not None and counted.close_key == request_key:
            return counted
        if counted.state != "open":
            raise Refused(Reason("count_closed", count=count, state=counted.state))
        of: Any = CountLine.objects.filter(count=counted).values_list("unit", "batch")
        lock(units={unit for unit, _ in of if unit}, batches={batch for _, batch in of if batch})
        now = review(counted)
        if seen is not None and seen != now.seen:
            raise Refused(Reason("count_went_on"))
        lines = [each for each in now.judged if each.line is not None]
        if not lines:
            raise Refused(Reason("count_empty"))
        given = {each.line.pk: (reasons or {}).get(each.line.pk, "") or reason for each in lines if each.line}
        in_the_way = {each.line.pk: each.why for each in lines if each.line and each.why}
        in_the_way |= {
            each.line.pk: Reason("reason_missing")
            for each in lines
            if each.line and each.state == "differs" and not given[each.line.pk]
        }
        if in_the_way:
            raise PostRefused(in_the_way)
        for each in lines:
            if each.line is not None:
                _settle(each, each.line, given[each.line.pk], at, by)
        return _close(counted, "posted", at, by, reason, request_key)


def _settle(judged: Judged, line: CountLine, reason: str, at: datetime, by: Any) -> None:
    """Write down what a line came to and book it."""
    line.book, line.found = judged.book, judged.found
    if judged.state == "differs":
        line.reason, line.movement = reason, _booked(judged, line, {"as_of": at, "by": by, "reason": reason})
    line.save(update_fields=["book", "found", "reason", "movement"])


def _booked(judged: Judged, line: CountLine, entry: Any) -> Movement | None:
    """The movement of a line that differs; None where the ledger has nothing to say of it."""
    if line.batch:
        return stock.count_batch(batch=line.batch, difference=judged.difference, **entry)
    if line.item:
        # The same lot was packed on the same day, wherever it lies.
        known = Batch.objects.filter(item=line.item, lot=line.lot).exclude(lot="").first()
        dates: Any = {"packed": known.packed, "expires": known.expires} if known else {}
        batch = stock.receive_batch(
            item=line.item, quantity=judged.found or 0, bin=line.bin, lot=line.lot, **dates, **entry
        )
        return batch.movements.order_by("-pk").first()
    deed = judged.deed.code if judged.deed else ""
    if line.unit is None or deed in ("count_finds_elsewhere", "count_leaves_retired"):
        return None
    if judged.found:
        return stock.find_unit(unit=line.unit, bin=line.bin, **entry)
    return stock.lose_unit(unit=line.unit, **entry)


def abandon(*, count: int, reason: str, by: Any, as_of: datetime, request_key: str | None = None) -> StockCount:
    """Give a count up: nothing is posted, its bins may be counted anew. Doing so again changes nothing.

    Raises `Refused`: count_unknown, reason_missing, count_closed where it is posted.
    """
    if not reason:
        raise Refused(Reason("reason_missing"))
    with act():
        counted = locked_count(count)
        if counted.state == "abandoned":
            return counted
        if counted.state != "open":
            raise Refused(Reason("count_closed", count=count, state=counted.state))
        return _close(counted, "abandoned", aware(as_of), by, reason, request_key)


def _close(counted: StockCount, state: str, at: datetime, by: Any, reason: str, key: str | None) -> StockCount:
    counted.state, counted.closed_at, counted.closed_by = state, at, str(by)
    counted.reason, counted.close_key = reason, key
    counted.save(update_fields=["state", "closed_at", "closed_by", "reason", "close_key"])
    CountBin.objects.filter(count=counted).update(open=False)
    return counted


# Reads


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
    figures = CountLine.objects.filter(count__in=page).order_by().values("count").annotate(**_FIGURES)
    by_count = {row["count"]: _accuracy(row, 1) for row in figures}
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
        """Right lines of a hundred, rounded down to a tenth: with one wrong line never 100. None without lines."""
        return None if not self.lines else Decimal(self.right * 1000 // self.lines) / 10


_MET = Q(found__isnull=False) & ~Q(found=0, book=0)
_FIGURES: dict[str, Any] = {
    "lines_met": Count("pk", filter=_MET),
    "right": Count("pk", filter=_MET & Q(found=F("book"))),
    "off": Sum(Abs(F("found") - F("book")), filter=_MET),
}


def _accuracy(row: Mapping[str, Any], counts: int) -> Accuracy:
    return Accuracy(counts, row["lines_met"], row["right"], row["off"] or 0)


def accuracy(since: datetime, until: datetime) -> Accuracy:
    """The accuracy of the stock by all counts posted in this half-open window: see `Accuracy`. One query."""
    lines = CountLine.objects.filter(
        count__state="posted", count__closed_at__gte=aware(since), count__closed_at__lt=aware(until)
    )
    row = lines.aggregate(**_FIGURES, counts=Count("count", distinct=True))
    return _accuracy(row, row["counts"])


def accuracy_of(count: StockCount) -> Accuracy:
    """The accuracy that one posted count found. One query."""
    return _accuracy(CountLine.objects.filter(count=count).aggregate(**_FIGURES), 1)


def sites() -> list[str]:
    """The names of the sites that have bins."""
    return list(Site.objects.filter(bins__isnull=False).distinct().order_by("name").values_list("name", flat=True))
