"""A count judged line by line against the book, as it would be posted now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max, Value
from django.db.models.functions import Upper

from inventory import catalogue
from inventory.counting.entering import entries_of, live
from inventory.counting.figures import Accuracy
from inventory.errors import Reason
from inventory.kinds import Facts
from inventory.models import Batch, Bin, CountBin, CountEntry, CountLine, Item, Movement, StockCount, Unit
from inventory.stock import AT_HAND


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
    entries = entries_of(lines)
    voices = {line.pk: _voices(line, entries) for line in lines}
    moved = _moved_since(lines)
    now_known = _known_since(count, lines)
    where: dict[int, list[Bin]] = defaultdict(list)
    for line in lines:
        if line.unit_id and _seen_there(line, voices[line.pk], moved):
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
    for entry in live(line, entries):
        if entry.how == "decided":
            latest.clear()
        latest["" if entry.how == "decided" else entry.counter] = entry
    return tuple(
        Voice(each.pk, each.by, each.at, each.how, each.found, each.book, each.position)
        for each in sorted(latest.values(), key=lambda each: each.pk)
    )


def _seen_there(line: CountLine, voices: Sequence[Voice], moved: Mapping[int, int]) -> bool:
    """Whether a unit was seen in this bin since it last moved: the newest who looked since then tells."""
    since = [voice for voice in voices if voice.position >= moved.get(line.unit_id or 0, 0)]
    return bool(since and since[-1].found)


def _moved_since(lines: Iterable[CountLine]) -> dict[int, int]:
    """The last movement of each unit that changed where it is; holes cut and a calibration do not. One query."""
    units = {line.unit_id for line in lines if line.unit_id}
    moves = Movement.objects.filter(unit__in=units).exclude(act__in=("used", "adjusted", "calibrated"))
    rows: Any = moves.order_by().values_list("unit")
    return dict(rows.annotate(last=Max("pk"))) if units else {}


def _known_since(count: StockCount, lines: Iterable[CountLine]) -> set[int]:
    """Lines of what the book did not know and knows by now. Two queries at most."""
    lots = {(line.bin_id, line.item_id, line.lot.upper()): line.pk for line in lines if line.item_id}
    tags = {line.called.upper(): line.pk for line in lines if line.called}
    known: set[int] = set()
    if lots:
        there = Batch.objects.filter(item__in={item for _, item, _ in lots}, bin__in={bin for bin, _, _ in lots})
        rows = {(bin, item, lot.upper()) for bin, item, lot in there.values_list("bin", "item", "lot")}
        known |= {lots[row] for row in rows if row in lots}
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
