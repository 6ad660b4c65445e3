"""Finding things on the shelf: what the tables have for what somebody types.

`find` asks first whether the text is a tag, a bin, a lot or a catalogue number as it stands, then for what
`queries.read_query` made of it. A word that means nothing here is named and never passed over in silence. A thread is
compared as a key; look-alikes are told beside the matches and are none of them. What one answer reads is bounded: a
page of items, a few lines of each, and no total.
"""

from __future__ import annotations

import difflib
import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, Upper

from inventory.catalogue import facts
from inventory.errors import Reason
from inventory.kinds import KINDS, Facts, plain
from inventory.models import Batch, BatchHold, Bin, Item, Unit, UnitHold
from inventory.queries import CANDIDATES, KNOWN, Query, by_diameter, by_thread, read_query
from inventory.stock import GONE, distinct_threads
from inventory.threads import LookAlike, Thread, look_alikes

PAGE = 20  # items, or lines of a list
LINES = 6  # lines of one item beside others; its own page has all
SHORT = 5  # lines of each list where nothing was typed
SOON = timedelta(days=30)  # a calibration that falls due within these days is told: a habit of the trade, no source
EXAMPLE = "M14x1.5 tap"
_FAR = date(9999, 12, 31)

# --- units and batches as they are at a moment -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kept:
    """One active hold: for whom, the path that tells more, from when to when, holes of life or pieces."""

    label: str
    link: str
    start: datetime
    end: datetime | None
    amount: int


@dataclass(frozen=True, slots=True)
class Shelved:
    """A unit or a batch at a moment.

    `state` is one of lost, retired, away, issued, due_regrind, calibration_over, held (now), at_hand of a unit;
    none_left, expired, all_held, at_hand of a batch. `held` is the hold that says most: that of now, else the next.
    `life_left` is the item's life less what was used of it and what active holds will take; None where no life is kept.
    `overdue`: it is away, and the last day of that is over; `calibration_over`: so is that of its calibration.
    """

    facts: Facts
    state: str
    unit: Unit | None = None
    batch: Batch | None = None
    holds: tuple[Kept, ...] = ()
    held: Kept | None = None
    life_left: int | None = None
    overdue: bool = False
    calibration_over: bool = False

    @property
    def thing(self) -> Any:
        """The unit or the batch itself."""
        return self.unit or self.batch

    @property
    def reground_to(self) -> int | None:
        """What a unit cuts since it was reground (nm), where that is not what its item says."""
        own = self.unit.own_diameter if self.unit else None
        return None if own == self.facts.diameter else own

    @property
    def free(self) -> int:
        """What of a batch is kept for nobody."""
        return self.batch.on_hand - self.batch.held if self.batch else 0

    @property
    def life_over(self) -> int:
        """The holes that were cut or promised beyond a unit's life."""
        return max(0, -(self.life_left or 0))

    @property
    def promised(self) -> int:
        """The holes that active holds will take of a unit's life."""
        return sum(hold.amount for hold in self.holds)

    @property
    def calibrated(self) -> bool:
        """Whether such a thing must be in calibration."""
        return KINDS[self.facts.kind].calibrated

    @property
    def uncalibrated(self) -> bool:
        """Whether it must be in calibration and none is on record: somebody signs for it when it is issued."""
        return self.calibrated and self.unit is not None and self.unit.calibration_due is None

    @property
    def perishable(self) -> bool:
        """Whether nobody uses such a thing without an expiry date."""
        return KINDS[self.facts.kind].perishable


def shelved(units: Iterable[Unit], batches: Iterable[Batch], *, as_of: datetime) -> list[Shelved]:
    """These units and batches as they are now; read with item, bin and site. At most two queries."""
    units, batches = list(units), list(batches)
    kept: dict[Any, list[Kept]] = defaultdict(list)
    if units:
        holds = UnitHold.objects.filter(unit__in=[unit.pk for unit in units], active=True).order_by("start", "id")
        rows = holds.values_list("unit", "reservation__label", "reservation__link", "start", "end", "holes")
        for pk, label, link, start, end, holes in rows:
            kept[Unit, pk].append(Kept(label, link, start, end, holes))
    if batches:
        pieces = BatchHold.objects.filter(batch__in=[batch.pk for batch in batches], active=True)
        for pk, label, link, start, amount in pieces.order_by("start", "id").values_list(
            "batch", "reservation__label", "reservation__link", "start", F("quantity") - F("short") - F("issued")
        ):
            if amount:  # what was handed out lies there no more
                kept[Batch, pk].append(Kept(label, link, start, None, amount))
    known: dict[int, Facts] = {}
    today = as_of.astimezone(settings.SHOP_ZONE).date()
    found = []
    for unit in units:
        of = known.setdefault(unit.item_id, facts(unit.item))
        found.append(_unit(unit, of, tuple(kept[Unit, unit.pk]), as_of, today))
    for batch in batches:
        of, of_it = known.setdefault(batch.item_id, facts(batch.item)), tuple(kept[Batch, batch.pk])
        state = _state_of_batch(batch, today)
        found.append(Shelved(of, state, batch=batch, holds=of_it, held=of_it[0] if of_it else None))
    return found


def _unit(unit: Unit, of: Facts, holds: tuple[Kept, ...], as_of: datetime, today: date) -> Shelved:
    ahead = [hold for hold in holds if hold.end is None or hold.end > as_of]
    state = "held" if ahead and ahead[0].start <= as_of else "at_hand"
    over = unit.calibration_due is not None and unit.calibration_due < today
    if over:
        state = "calibration_over"
    if unit.condition not in ("new", "serviceable"):
        state = unit.condition
    if unit.issued_to:
        state = "issued"
    left = None if of.life is None else of.life - unit.life_used - sum(hold.amount for hold in holds)
    overdue = unit.away_until is not None and unit.away_until < today
    held = ahead[0] if ahead else None
    return Shelved(of, state, unit=unit, holds=holds, held=held, life_left=left, overdue=overdue, calibration_over=over)


def _state_of_batch(batch: Batch, today: date) -> str:
    if batch.on_hand == 0:
        return "none_left"
    if batch.expires is not None and batch.expires < today:
        return "expired"
    return "at_hand" if batch.held < batch.on_hand else "all_held"


def _units() -> QuerySet[Unit]:
    return Unit.objects.select_related("item", "bin__site")


def _batches() -> QuerySet[Batch]:
    return Batch.objects.select_related("item", "bin__site")


@dataclass(frozen=True, slots=True)
class Stretch:
    """A page of lines, and where the next one begins; "" where there is none."""

    lines: tuple[Shelved, ...]
    after: str = ""


def stretch(units: QuerySet[Unit], batches: QuerySet[Batch], *, after: str, as_of: datetime) -> Stretch:
    """A page of these units and, after them, of these batches, in the order in which they came in. At most four
    queries."""
    sort, at = _cursor(after)
    found: list[Any] = []
    if sort != "b":
        found = list(units.filter(pk__gt=at).order_by("pk")[: PAGE + 1])
        at = 0
    if len(found) <= PAGE:
        found += batches.filter(pk__gt=at).order_by("pk")[: PAGE + 1 - len(found)]
    page = found[:PAGE]
    more = f"{'u' if isinstance(page[-1], Unit) else 'b'}{page[-1].pk}" if len(found) > PAGE else ""
    lines = shelved(
        (each for each in page if isinstance(each, Unit)),
        (each for each in page if isinstance(each, Batch)),
        as_of=as_of,
    )
    return Stretch(tuple(lines), more)


def _cursor(after: str) -> tuple[str, int]:
    match = re.fullmatch(r"([ub])([0-9]{1,18})", after)
    return (match[1], int(match[2])) if match else ("u", 0)


def of_item(item: Item, *, after: str = "", as_of: datetime) -> Stretch:
    """Every unit and batch of an item, gone and used up ones too."""
    return stretch(_units().filter(item=item), _batches().filter(item=item), after=after, as_of=as_of)


def of_bin(bin: Bin, *, after: str = "", as_of: datetime) -> Stretch:
    """What has its place in a bin."""
    units = _units().filter(bin=bin).exclude(condition__in=GONE)
    return stretch(units, _batches().filter(bin=bin, on_hand__gt=0), after=after, as_of=as_of)


# --- lists by what is the matter ---------------------------------------------------------------------------


def _list(state: str, today: date) -> QuerySet[Any]:
    """Units or batches that a list holds, each with the day by which it is ordered."""
    if state == "expired":
        return _batches().filter(expires__lt=today, on_hand__gt=0).annotate(day=F("expires"))
    if state == "due_regrind":
        return _units().filter(condition="due_regrind").annotate(day=Value(_FAR))
    if state == "due_calibration":
        due = _units().filter(calibration_due__lte=today + SOON).exclude(condition__in=GONE)
        return due.exclude(away_why="calibration").annotate(day=F("calibration_due"))
    why = {"loan": "loan", "at_regrind": "regrind", "at_calibration": "calibration"}
    away = _units().filter(condition="away")
    away = away.filter(away_why=why[state]) if state in why else away
    return away.annotate(day=Coalesce("away_until", Value(_FAR)))


def listed(
    state: str,
    *,
    of: Q | None = None,
    at: Q | None = None,
    sized: Q | None = None,
    after: str = "",
    as_of: datetime,
    page: int = PAGE,
) -> Stretch:
    """A page of the things that are away, due for regrind, due for calibration or expired, the most urgent first.

    Two queries at most. `of` narrows it to some items, `at` to some bins, `sized` to units of some size.
    """
    rows = _list(state, as_of.astimezone(settings.SHOP_ZONE).date()).filter(at or Q())
    if sized and state != "expired":
        rows = rows.filter(sized)
    if of:
        rows = rows.filter(item__in=Item.objects.filter(of).order_by().values("pk"))
    day, last_pk = _day_cursor(after)
    if day is not None:
        rows = rows.filter(Q(day__gt=day) | Q(day=day, pk__gt=last_pk))
    found = list(rows.order_by("day", "pk")[: page + 1])
    last = found[page - 1] if len(found) > page else None
    things = found[:page]
    lines = shelved([], things, as_of=as_of) if state == "expired" else shelved(things, [], as_of=as_of)
    return Stretch(tuple(lines), f"{last.day.isoformat()}_{last.pk}" if last is not None else "")


def _day_cursor(after: str) -> tuple[date | None, int]:
    """The day and the id that a page of a list ended with; no day where nobody gave that."""
    match = re.fullmatch(r"([0-9]{4}-[0-9]{2}-[0-9]{2})_([0-9]{1,18})", after)
    try:
        return (date.fromisoformat(match[1]), int(match[2])) if match else (None, 0)
    except ValueError:
        return None, 0


def overview(*, as_of: datetime) -> dict[str, Stretch]:
    """The first lines of each list: what somebody who types nothing should see."""
    states = ("away", "due_calibration", "due_regrind", "expired")
    return {state: listed(state, as_of=as_of, page=SHORT) for state in states}


# --- finding -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OfItem:
    """An item of the catalogue with the first lines of it; `more`: its own page has others."""

    item: Item
    facts: Facts
    lines: tuple[Shelved, ...]
    more: bool


@dataclass(frozen=True, slots=True)
class Found:
    """The answer to a text: what was understood, what was not, and what there is.

    `understood` says the query back, None where nothing was. `exact` are units and batches whose tag or lot the text
    is, `bins` and `numbers` bins and items that it names. `items` is a page of what fits, `lines` one of a list such as
    "away"; `after` is where the next page begins. `look_alikes` are threads on the shelf, never to be taken for the one
    that was asked, each with the text that finds it. `other_pitches` are threads of the same diameter that stand on the
    shelf, where no pitch was written and nothing of the one that was filled in stands there. `notes` say what was
    filled in, left out or not understood; `candidates` are texts that would do.
    """

    query: Query
    understood: Reason | None = None
    exact: tuple[Shelved, ...] = ()
    bins: tuple[Bin, ...] = ()
    numbers: tuple[Item, ...] = ()
    items: tuple[OfItem, ...] = ()
    lines: tuple[Shelved, ...] = ()
    after: str = ""
    look_alikes: tuple[tuple[LookAlike, str], ...] = ()
    other_pitches: tuple[tuple[Thread, str], ...] = ()
    notes: tuple[Reason, ...] = ()
    candidates: tuple[str, ...] = ()

    @property
    def anything(self) -> bool:
        """Whether there is something to show."""
        return bool(self.exact or self.bins or self.numbers or self.items or self.lines)


def find(text: str, *, as_of: datetime, after: str = "") -> Found:
    """What there is on the shelf for a text as somebody types it. The number of queries does not grow with the shelf.

    `after` is where an earlier page ended. Nothing is refused: what cannot be read is told in `notes`.
    """
    query = read_query(text)
    found = _exact(query, as_of) if not after else Found(query)
    if query.question is not None:
        asked = replace(found, notes=(query.question,), candidates=query.candidates)
        return _with_contents(found, as_of) if found.anything else asked
    if query.named is not None and not found.anything:
        return replace(found, notes=(_nothing_named(*query.named),))
    if found.anything and not (query.kinds or query.state):
        return _with_contents(found, as_of)  # the text is a name, and is answered as one: a bin G1 is no pipe thread
    if not (query.says_something or query.state or query.words or query.place):
        return replace(found, notes=query.notes)
    place, lost = _place(query)
    at = Q() if place is None else Q(bin__in=place)
    unknown: tuple[str, ...] = ()
    of, of_words = _items(query), _named(query.words)
    if query.words:
        unknown = _unknown(of, query.words)
        of_words = _named([word for word in query.words if word not in unknown])
    if unknown and not (query.says_something or query.state):
        return _not_understood(found, unknown, lost)
    kept = replace(query, words=tuple(word for word in query.words if word not in unknown))
    found = _not_understood(replace(found, query=kept, understood=_understood(kept)), unknown, lost)
    found = replace(found, notes=(*query.notes, *found.notes))
    if query.state:
        page = listed(query.state, of=of & of_words, at=at, sized=_sized(query), after=after, as_of=as_of)
        return replace(found, lines=page.lines, after=page.after)
    items, more = _page(query, of & of_words, at, after, as_of)
    found = replace(found, items=items, after=more)
    return found if after else _beside(found)


def everything(text: str, *, as_of: datetime, most: int) -> tuple[Unit | Batch | Bin, ...]:
    """Every unit, batch and bin that a text finds, `most` at most, in the order of their bins; what is gone or used up
    is left out, unless the text is its very name. Six queries more than `find`."""
    found = find(text, as_of=as_of)
    if found.understood is None:  # the text is a name: of units and lots, of bins, of items
        named: list[Unit | Batch | Bin] = [line.thing for line in found.exact]
        of = Q(pk__in=[each.item.pk for each in found.items])
        things: list[Unit | Batch | Bin] = [*named, *found.bins]
        return tuple(things or _of(of, Q(), most) if found.items or things else ())[:most]
    place, _ = _place(found.query)
    at = Q() if place is None else Q(bin__in=place)
    of = _items(found.query) & _named(found.query.words)
    if found.query.state:
        rows = _list(found.query.state, as_of.astimezone(settings.SHOP_ZONE).date()).filter(at)
        rows = rows if found.query.state == "expired" else rows.filter(_sized(found.query))
        return tuple(rows.filter(item__in=Item.objects.filter(of).order_by().values("pk")).order_by("day", "pk")[:most])
    return tuple(_of(of, at, most, _sized(found.query)))


def _of(of: Q, at: Q, most: int, sized: Q | None = None) -> list[Unit | Batch | Bin]:
    """Units, such as are `sized` so, and batches of these items. Two queries."""
    items = Item.objects.filter(of).order_by().values("pk")
    units = _units().filter(at, sized or Q(), item__in=items).exclude(condition__in=GONE)
    batches = _batches().filter(at, item__in=items, on_hand__gt=0)
    found: list[Unit | Batch | Bin] = [*units.order_by("bin__site__name", "bin__walk", "tag")[:most]]
    return [*found, *batches.order_by("bin__site__name", "bin__walk", "pk")[:most]][:most]


def _exact(query: Query, as_of: datetime) -> Found:
    """What carries the whole text as its tag, name, lot or number, capitals or small letters. Six queries at most."""
    sort, name = query.named or ("", query.typed)
    if not name or len(name) > 40:
        return Found(query)
    folded = Upper(Value(name))
    units, batches, bins, items = [], [], [], []
    if sort in ("", "tag"):
        units = list(_units().alias(folded=Upper("tag")).filter(folded=folded))
    if sort in ("", "lot"):
        batches = list(_batches().alias(folded=Upper("lot")).filter(folded=folded).order_by("pk")[:PAGE])
    if sort in ("", "bin"):
        named = Bin.objects.select_related("site").alias(folded=Upper("name")).filter(folded=folded)
        bins = list(named.order_by("site__name", "name")[:PAGE])
    if sort in ("", "number"):
        items = list(Item.objects.alias(folded=Upper("number")).filter(folded=folded).order_by("pk")[:PAGE])
    lines = shelved(units, batches, as_of=as_of)
    return Found(query, exact=tuple(lines), bins=tuple(bins), numbers=tuple(items))


def _with_contents(found: Found, as_of: datetime) -> Found:
    """What was found by its name, items with their first lines, one bin with what is in it. Five queries at most."""
    if found.numbers:
        items, _ = _page(found.query, Q(pk__in=[item.pk for item in found.numbers]), Q(), "", as_of)
        return replace(found, items=items, numbers=())
    if len(found.bins) == 1 and not found.exact:
        return replace(found, lines=of_bin(found.bins[0], as_of=as_of).lines)
    return found


def _nothing_named(sort: str, name: str) -> Reason:
    if sort == "tag":
        return Reason("tag_unknown", tag=name)
    return Reason("nothing_of_this_name", sort=sort, name=name)


def _items(query: Query) -> Q:
    """The condition on items that a query's kinds and sizes make."""
    kinds = query.kinds or tuple(KINDS)
    threaded = [kind for kind in kinds if by_thread(kind)]
    found = Q()
    if query.thread is not None and threaded:
        key = query.thread.key
        if query.inner is not None:
            found |= Q(kind__in=threaded, thread=key, inner=query.inner.key)
        else:
            inside = [kind for kind in threaded if "inner" in KINDS[kind].measures]
            found |= Q(kind__in=threaded, thread=key) | Q(kind__in=inside, inner=key)
    if query.diameter is not None:
        reground = Unit.objects.filter(own_diameter__range=query.diameter).exclude(condition__in=GONE)
        of_the_size = Q(diameter__range=query.diameter) | Q(pk__in=reground.order_by().values("item"))
        found |= Q(kind__in=_measured(query)) & of_the_size
    if query.torque is not None:
        found |= Q(kind="torque_wrench", torque_min__lte=query.torque, torque_max__gte=query.torque)
    if not found and query.kinds:
        found = Q(kind__in=kinds)
    for column in ("thread_class", "flute", "action"):
        if getattr(query, column):
            found &= Q(**{column: getattr(query, column)})
    return found


def _measured(query: Query) -> list[str]:
    """The kinds that the diameter of a query is asked of: beside a thread, drills alone."""
    return ["drill"] if query.thread is not None else [kind for kind in query.kinds or KINDS if by_diameter(kind)]


def _sized(query: Query) -> Q:
    """The condition on units that a query's diameter makes: of their item's size, or reground to that size.

    A unit that was reground *from* that size is not left out: it is told what it cuts by now.
    """
    if query.diameter is None:
        return Q()
    size = Q(item__diameter__range=query.diameter) | Q(own_diameter__range=query.diameter)
    return ~Q(item__kind__in=_measured(query)) | size


def _named(words: Collection[str]) -> Q:
    """The condition that an item has each word in its name, its family or at the head of its number."""
    found = Q()
    for word in words:
        found &= Q(name__icontains=word) | Q(family__icontains=word) | Q(number__istartswith=word)
    return found


def _unknown(of: Q, words: Sequence[str]) -> tuple[str, ...]:
    """The words that no item among those has. One query."""
    counts = {f"word{at}": Count("pk", filter=_named([word])) for at, word in enumerate(words)}
    found = Item.objects.filter(of).order_by().aggregate(**counts)
    return tuple(word for at, word in enumerate(words) if not found[f"word{at}"])


def _not_understood(found: Found, words: Sequence[str], place: str) -> Found:
    """The answer with a note on each word that means nothing here, and with texts that would do."""
    notes, candidates = list(found.notes), list(found.candidates)
    for word in words:
        near = _near(word)
        notes.append(Reason("word_not_understood", word=word, near=near, example="" if near else EXAMPLE))
        parts = found.query.typed.split()
        candidates += [" ".join(each if part.strip(",;:?") == word else part for part in parts) for each in near]
    if place:
        notes.append(Reason("place_unknown", name=place))
    return replace(found, notes=tuple(notes), candidates=tuple(dict.fromkeys(candidates))[:CANDIDATES])


def _near(word: str) -> tuple[str, ...]:
    """Words that this one may have meant: kinds spelt alike, and tags that begin so. One query."""
    folded = word.upper()
    tags = Unit.objects.alias(folded=Upper("tag")).filter(folded__gte=folded, folded__lt=f"{folded}\U0010ffff")
    begin = tags.order_by("folded").values_list("tag", flat=True)[:3] if len(word) > 1 else ()
    alike = difflib.get_close_matches(plain(word), KNOWN, n=2, cutoff=0.75)
    return (*alike, *(tag for tag in begin if tag.upper().startswith(folded)))


def _place(query: Query) -> tuple[QuerySet[Any, Any] | None, str]:
    """The bins that "in B4" or "at Yard" means; the name itself where there are none. One query."""
    if not query.place:
        return None, ""
    folded = Upper(Value(query.place))
    bins = Bin.objects.alias(folded=Upper("name"), of=Upper("site__name"))
    bins = bins.filter(Q(folded=folded) | Q(of=folded)).order_by()
    return (bins.values("pk"), "") if bins.exists() else (None, query.place)


def _page(query: Query, of: Q, at: Q, after: str, as_of: datetime) -> tuple[tuple[OfItem, ...], str]:
    """A page of items, each with its first lines, and where the next begins. Five queries at most.

    How far the lines of an item go is found beside the item, so that thousands of units of one are never read.
    """
    order = ["kind", "size", "pk"] if query.diameter is not None else ["kind", "pk"]
    sized = _sized(query)
    units = Unit.objects.filter(at, sized, item=OuterRef("pk")).exclude(condition__in=GONE).order_by("pk")
    batches = Batch.objects.filter(at, item=OuterRef("pk"), on_hand__gt=0).order_by("pk")
    # Where a size is asked, also what has none of its own may be found: by a thread, or by what one unit of it cuts.
    rows = Item.objects.annotate(size=Coalesce("diameter", 0)).filter(of, *_beyond(after, order)).order_by(*order)
    if at:
        rows = rows.filter(Q(Exists(units)) | Q(Exists(batches)))
    items = list(
        rows.annotate(
            unit_end=Subquery(units.values("pk")[LINES : LINES + 1]),
            batch_end=Subquery(batches.values("pk")[LINES : LINES + 1]),
        )[: PAGE + 1]
    )
    shown: list[Any] = items[:PAGE]
    lines = shelved(
        _units().filter(at, sized, _first(shown, "unit_end")).exclude(condition__in=GONE).order_by("tag")
        if shown
        else (),
        _batches().filter(at, _first(shown, "batch_end"), on_hand__gt=0).order_by("expires", "pk") if shown else (),
        as_of=as_of,
    )
    by_item: dict[int, list[Shelved]] = defaultdict(list)
    for line in lines:
        by_item[line.facts.item].append(line)
    found = tuple(
        OfItem(item, facts(item), tuple(by_item[item.pk]), item.unit_end is not None or item.batch_end is not None)
        for item in shown
    )
    last = shown[-1] if len(items) > PAGE else None
    return found, "" if last is None else "~".join(str(getattr(last, name)) for name in order)


def _first(items: Sequence[Any], end: str) -> Q:
    found = Q(pk__in=[])
    whole = [item.pk for item in items if getattr(item, end) is None]
    if whole:
        found |= Q(item__in=whole)
    for item in items:
        if getattr(item, end) is not None:
            found |= Q(item=item.pk, pk__lt=getattr(item, end))
    return found


def _beyond(after: str, order: Sequence[str]) -> list[Q]:
    """The condition that an item comes after the one that a page ended with."""
    parts = after.split("~") if after else []
    if len(parts) != len(order) or parts[0] not in KINDS or not all(re.fullmatch("[0-9]{1,18}", e) for e in parts[1:]):
        return []
    values: list[Any] = [parts[0], *map(int, parts[1:])]
    found = Q()
    for at, name in enumerate(order):
        same = dict(zip(order[:at], values, strict=False))
        found |= Q(**same, **{f"{name}__gt": values[at]})
    return [found]


def _understood(query: Query) -> Reason | None:
    """The query said back."""
    kinds = tuple(KINDS[kind].plural for kind in query.kinds)
    if not (query.says_something or query.state or query.words or query.place):
        return None
    one = query.diameter is not None and query.diameter[0] == query.diameter[1]
    window = query.diameter if query.diameter and not one and query.thread is None else (None, None)
    return Reason(
        "looked_for",
        kinds=kinds or ("everything",),
        state=query.state,
        inner=query.inner.designation if query.inner else "",
        outer=query.thread.designation if query.thread and query.inner else "",
        thread=query.thread.designation if query.thread and not query.inner else "",
        thread_class=query.thread_class,
        flute=query.flute,
        action=query.action,
        diameter_nm=query.diameter[0] if query.diameter and one else None,
        least_nm=window[0],
        most_nm=window[1],
        torque_nmm=query.torque,
        words=query.words,
        place=query.place,
    )


def _beside(found: Found) -> Found:
    """The answer with threads on the shelf, of the kinds asked for, that could be taken for the one asked for; and
    where its pitch was filled in and nothing of it stands there, with the other pitches that do. Two queries at most.
    """
    query = found.query
    kinds = [kind for kind in query.kinds or KINDS if by_thread(kind)]
    if query.thread is None or not kinds:
        return found
    there = [Thread.from_key(key) for key in distinct_threads(kinds)]
    words = " ".join(KINDS[kind].word for kind in query.kinds)
    others: list[Thread] = []
    if "pitch_assumed_coarse" in {note.code for note in query.notes} and not any(of.lines for of in found.items):
        others = _standing(query, kinds, [each for each in there if _other_pitch(each, query.thread)])
    return replace(
        found,
        look_alikes=tuple(
            (alike, f"{words} {alike.thread.designation}".strip())
            for alike in look_alikes(query.thread, there)
            if alike.thread not in others
        ),
        other_pitches=tuple((each, f"{words} {each.designation} {query.thread_class}".strip()) for each in others),
    )


def _other_pitch(one: Thread, other: Thread) -> bool:
    """Whether two threads differ in their pitch alone."""
    return one != other and (one.system, one.nominal, one.hand) == (other.system, other.nominal, other.hand)


def _standing(query: Query, kinds: Sequence[str], threads: Sequence[Thread]) -> list[Thread]:
    """Of these threads those of which something stands on the shelf, the coarsest first. One query, none for none."""
    if not threads:
        return []
    of = Q(pk__in=[])
    for each in threads:
        of |= _items(replace(query, kinds=tuple(kinds), thread=each))
    units = Unit.objects.filter(item=OuterRef("pk")).exclude(condition__in=GONE)
    batches = Batch.objects.filter(item=OuterRef("pk"), on_hand__gt=0)
    rows = Item.objects.filter(of).filter(Q(Exists(units)) | Q(Exists(batches))).order_by()
    keys = {key for row in rows.values_list("thread", "inner").distinct() for key in row}
    return sorted((each for each in threads if each.key in keys), key=lambda each: -each.pitch)
