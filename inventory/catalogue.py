"""The catalogue: what the shop knows of each item, and the facts that matching reads of it."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations, islice
from typing import Any

from django.db.models import Q

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, Facts
from inventory.models import Item, ItemChange, LifeFactor
from inventory.threads import Thread, read

# The columns behind `Facts`, in the order of its fields; in those of `_KEYS` "" stands for None.
FACTS = (
    "id", "kind", "name", "thread", "thread_class", "inner", "diameter", "pilot", "usable_length", "lead",
    "flute", "action", "insert_length", "flange", "hand", "torque_min", "torque_max", "family", "life",
    "cure_hours", "step_diameter", "step_length", "takes_least", "takes_most",
)  # fmt: skip
_KEYS = (FACTS.index("thread"), FACTS.index("inner"))
# How a thing is called, wears and is cared for: no measurement, and changed when the shop learns better.
CARE = ("number", "life", "most_regrinds", "calibration_days", "pack_size")
# What is measured of a thing, by its columns. Its kind is none of it: what turns out to be of another is another item.
MEASURED = (*(column for column in FACTS[2:] if column not in CARE), "as_typed")
# What makes two items the same thing: everything that was measured, and the name where nothing else tells.
SAME = FACTS[1:]


def facts_of(row: Sequence[Any]) -> Facts:
    """The frozen facts of one item from a row of its `FACTS` columns."""
    values = list(row)
    for index in _KEYS:
        values[index] = values[index] or None
    return Facts(*values)


def facts(item: Item) -> Facts:
    """The frozen facts of one item."""
    return facts_of([getattr(item, column) for column in FACTS])


def thread_key(thread: Thread | str) -> tuple[str, str, str]:
    """Key, class and text as typed of a thread that is given as itself or as somebody writes it.

    Raises the reader's own `ThreadError`.
    """
    if isinstance(thread, Thread):
        return thread.key, "", thread.designation
    reading = read(thread)
    return reading.thread.key, reading.thread_class, reading.typed


def refuse_number(number: str | None) -> None:
    """Raises `Refused` (item_number_like_an_address) where no address could name an item of that number: one that is
    written as that of an item without a number is, or that a browser would take for a way up."""
    if number and (re.fullmatch(r"~[0-9]+", number) or {".", ".."} & set(number.split("/"))):
        raise Refused(Reason("item_number_like_an_address", typed=number))


def new_item(
    *,
    kind: str,
    thread: Thread | str = "",
    inner: Thread | str = "",
    as_typed: str = "",
    thread_class: str = "",
    number: str | None = None,
    **measures: Any,
) -> Item:
    """An item that is not saved yet, its threads read into keys.

    A class may stand in the thread as written or beside it; where both say one, they must agree.
    Raises `Refused`: kind_unknown, thread_class_twice, item_number_like_an_address, or what the thread's reader says.
    """
    if kind not in KINDS:
        raise Refused(Reason("kind_unknown", typed=kind, known=tuple(KINDS)))
    refuse_number(number)
    key, read_class, typed = thread_key(thread) if thread else ("", "", "")
    if thread_class and read_class and thread_class != read_class:
        raise Refused(Reason("thread_class_twice", typed=typed, thread_class=thread_class))
    return Item(
        kind=kind,
        number=number or None,
        as_typed=as_typed or typed,
        thread=key,
        thread_class=thread_class or read_class,
        inner=thread_key(inner)[0] if inner else "",
        counted=KINDS[kind].counted,
        **measures,
    )


def add_item(**fields: Any) -> Item:
    """Add an item to the catalogue; fields as `new_item` takes them.

    A measurement that its kind must carry may be left out: the item is then shown as one that cannot be
    matched on it (`Facts.missing`), and never matched. Raises `Refused` as `new_item` does, and
    item_number_taken or another rule of the table.
    """
    item = new_item(**fields)
    with act():
        item.save(force_insert=True)
    return item


def by_number(numbers: Collection[str]) -> dict[str, Item]:
    """Items by the shop's own catalogue number; a number that is not there is not in the answer."""
    return {str(item.number): item for item in Item.objects.filter(number__in=numbers)}


def item_at(address: str) -> Item:
    """The item of a number, or of an `Item.address` of one without a number. Raises `Refused`: item_unknown."""
    found = Item.objects.filter(number=address).first()
    if found is None and re.fullmatch(r"~[0-9]{1,18}", address):
        found = Item.objects.filter(pk=int(address[1:]), number__isnull=True).first()
    if found is None:
        raise Refused(Reason("item_unknown", number=address))
    return found


def wanted(
    kinds: Collection[str],
    threads: Collection[str],
    diameters: Collection[tuple[int, int]],
    inner: Collection[str],
) -> Any:
    """The condition on an item that could serve or be taken for what serves, told to the way to its columns.

    Of the given kinds: those whose thread key is in `threads`, whose inner key is in `inner`, whose diameter lies
    in one of the closed ranges `diameters` (nm); all of kinds that are matched by neither, and all that lack the
    measurement. The answer is a function: "item__" leads from a unit, "" is the item itself. `own` leads to the
    diameter that a unit has of its own since it was reground, which counts before the item's.
    """
    measured = {code: set(KINDS[code].measures) for code in kinds}
    by_thread = [code for code, names in measured.items() if names & {"thread", "inner"}]
    by_diameter = [code for code, names in measured.items() if "diameter" in names and code not in by_thread]
    by_inner = [code for code in by_thread if "inner" in measured[code]]
    by_neither = [code for code in kinds if code not in by_thread and code not in by_diameter]
    ranges = _merged(diameters)

    def condition(way: str, own: str = "") -> Q:
        thread = Q(**{f"{way}thread__in": ["", *threads]})
        within = Q(**{f"{way}diameter__isnull": True})
        for least, most in ranges:
            within |= Q(**{f"{way}diameter__range": (least, most)})
        if own:
            reground = Q()
            for least, most in ranges:
                reground |= Q(**{f"{own}__range": (least, most)})
            within = Q(**{f"{own}__isnull": True}) & within
            within = within | reground if ranges else within
        return (
            Q(**{f"{way}kind__in": by_thread}) & thread
            | Q(**{f"{way}kind__in": by_inner, f"{way}inner__in": ["", *inner]})
            | Q(**{f"{way}kind__in": by_diameter}) & within
            | Q(**{f"{way}kind__in": by_neither})
        )

    return condition


def _merged(ranges: Collection[tuple[int, int]]) -> list[tuple[int, int]]:
    """The same closed ranges, those that touch made one, so that many needs make few conditions."""
    merged: list[tuple[int, int]] = []
    for least, most in sorted(ranges):
        if merged and least <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], most))
        else:
            merged.append((least, most))
    return merged


def listed(
    *,
    kinds: Collection[str],
    threads: Collection[str] = (),
    diameters: Collection[tuple[int, int]] = (),
) -> list[tuple[str, Facts]]:
    """Every item of the catalogue that could serve, with units on the shelf or without: its number and its facts.

    What `wanted` says, in the order of kinds and numbers; an item without a number of its own has "", one that is no
    longer bought is left out. One query.
    """
    rows = (
        Item.objects.filter(retired=False)
        .filter(wanted(kinds, threads, diameters, ())(""))
        .values_list("number", *FACTS)
    )
    return [(number or "", facts_of(row)) for number, *row in rows]


# What is no longer bought


def retire_item(item: Item, *, by: str, as_of: datetime, reason: str = "", request_key: str | None = None) -> Item:
    """An item is bought no more: no list proposes it. What the crib has of it stays, and is taken until used up."""
    return _changed(item, "retired", {"retired": True}, by=by, as_of=as_of, reason=reason, request_key=request_key)


def restore_item(item: Item, *, by: str, as_of: datetime, reason: str = "", request_key: str | None = None) -> Item:
    """An item is bought again, and nothing stands in its place any more."""
    anew = {"retired": False, "successor": None}
    return _changed(item, "restored", anew, by=by, as_of=as_of, reason=reason, request_key=request_key)


def supersede_item(
    item: Item, successor: Item, *, by: str, as_of: datetime, reason: str = "", request_key: str | None = None
) -> Item:
    """From now on the successor is bought in an item's place; what the crib has of the item stays until used up.

    Raises `Refused`: item_not_its_own_successor, successor_of_other_kind, successor_retired. Since a successor is still
    bought, no chain of successors leads back to where it began.
    """
    return _changed(
        item, "superseded", {"retired": True}, by=by, as_of=as_of, reason=reason, request_key=request_key, to=successor
    )


def care_for(
    item: Item,
    *,
    anew: Mapping[str, Any],
    factors: Mapping[str, int],
    by: str,
    as_of: datetime,
    reason: str = "",
    request_key: str | None = None,
) -> Item:
    """How an item is numbered, wears and is cared for (`CARE`: life, most regrinds, days between calibrations, pieces
    in a pack), and how much of its life a hole takes by parent material, in percent, in place of what was said before.

    An item that has a number keeps one, perhaps another: its pages and everybody's labels are found by it.

    Raises `Refused`: item_number_taken, item_number_like_an_address, item_number_kept, item_life_positive and the
    other rules of these columns, life_factor_positive.
    """
    refuse_number(anew.get("number"))
    if item.number and "number" in anew and not anew["number"]:
        raise Refused(Reason("item_number_kept", number=item.number))
    if strange := set(anew) - set(CARE):
        raise ValueError(strange)
    return _changed(
        item, "care", dict(anew), by=by, as_of=as_of, reason=reason, request_key=request_key, factors=factors
    )


class MeasuredSince(Refused):
    """Somebody else measured the item since it was shown; `changed` says of each column what it was and is now."""

    def __init__(self, reason: Reason, changed: Mapping[str, tuple[Any, Any]]) -> None:
        super().__init__(reason)
        self.changed = dict(changed)


def measures_of(item: Item) -> dict[str, Any]:
    """What is measured of an item (`MEASURED`), in base units."""
    return {column: getattr(item, column) for column in MEASURED}


def measure(
    item: Item,
    *,
    anew: Mapping[str, Any],
    seen: Mapping[str, Any],
    by: str,
    as_of: datetime,
    reason: str = "",
    request_key: str | None = None,
) -> Item:
    """Correct or complete what is measured of an item (`MEASURED`): columns in base units, threads as their keys.

    `seen` is what whoever corrects it was shown, as `measures_of` tells it. What is held stays held: every plan judges
    it by its new measurements from then on. Units that have a diameter of their own since they were reground keep it.
    Raises `MeasuredSince` (item_measured_since) where something differs from what was shown, and `Refused` with
    item_measured_nothing and the rules of these columns.
    """
    if strange := {*anew, *seen} - set(MEASURED):
        raise ValueError(strange)

    def refuse_moved(kept: Item) -> None:
        changed = {
            column: (value, getattr(kept, column)) for column, value in seen.items() if getattr(kept, column) != value
        }
        if changed:
            last = kept.changes.filter(act="measured").order_by("-pk").first()
            told = {"by": last.by, "at": last.at} if last is not None else {}
            raise MeasuredSince(Reason("item_measured_since", **told), changed)
        if all(getattr(kept, column) == value for column, value in anew.items()):
            raise Refused(Reason("item_measured_nothing"))

    return _changed(
        item, "measured", dict(anew), by=by, as_of=as_of, reason=reason, request_key=request_key, look=refuse_moved
    )


def factors_of(item: Item) -> dict[str, int]:
    """The life factors of an item in percent, by the code of the material. One query."""
    return dict(item.life_factors.values_list("material", "percent"))


def _changed(
    item: Item,
    deed: str,
    anew: dict[str, Any],
    *,
    by: str,
    as_of: datetime,
    reason: str,
    request_key: str | None,
    to: Item | None = None,
    factors: Mapping[str, int] | None = None,
    look: Callable[[Item], None] | None = None,
) -> Item:
    """One act on the catalogue: lock in the order of ids, change, write down; one that is repeated does nothing."""
    with act():
        ids = sorted({item.pk, *([to.pk] if to else [])})
        held = {each.pk: each for each in Item.objects.select_for_update(no_key=True).filter(pk__in=ids).order_by("pk")}
        kept = held[item.pk]
        if request_key and ItemChange.objects.filter(request_key=request_key, item=kept, act=deed).exists():
            return kept
        if look is not None:
            look(kept)
        if to is not None:
            anew = {**anew, "successor": _fit_successor(kept, held[to.pk])}
        differ = [name for name, value in anew.items() if getattr(kept, name) != value and name != "successor"]
        was, now = {name: getattr(kept, name) for name in differ}, {name: anew[name] for name in differ}
        for name, value in anew.items():
            setattr(kept, name, value)
        kept.save(update_fields=list(anew))
        if factors is not None:
            if (before := factors_of(kept)) != factors:
                was["life_factors"], now["life_factors"] = before, dict(factors)
            kept.life_factors.all().delete()
            LifeFactor.objects.bulk_create(
                LifeFactor(item=kept, material=material, percent=percent) for material, percent in factors.items()
            )
        ItemChange.objects.create(
            item=kept,
            at=as_of,
            by=by,
            act=deed,
            successor=to,
            was=was,
            now=now,
            reason=reason,
            request_key=request_key,
        )
        return kept


def _fit_successor(item: Item, successor: Item) -> Item:
    if item.pk == successor.pk:
        raise Refused(Reason("item_not_its_own_successor"))
    told = {"item": item.address, "successor": successor.address}
    if item.kind != successor.kind:
        raise Refused(Reason("successor_of_other_kind", **told))
    if successor.retired:
        raise Refused(Reason("successor_retired", **told))
    return successor


def current(item: Item) -> Item:
    """What is bought in place of an item: the last of its successors, itself where there is none."""
    while item.successor is not None:
        item = item.successor
    return item


@dataclass(frozen=True, slots=True)
class Alike:
    """Two items that may be one: `same` in all that was measured, or alike in it where both say something."""

    first: Item
    second: Item
    same: bool


def history(item: Item, most: int = 20) -> list[ItemChange]:
    """What happened to an item, the last first. One query."""
    return list(item.changes.select_related("successor").order_by("-pk")[:most])


def alike(item: Item, most: int = 5) -> list[Alike]:
    """Other items that are bought and may be the same thing. One query."""
    there = Item.objects.filter(kind=item.kind, thread=item.thread, inner=item.inner, diameter=item.diameter)
    others = [each for each in there.filter(retired=False).exclude(pk=item.pk) if _key(each) == _key(item)]
    return [pair for other in others for pair in _pairs([item, other])][:most]


# The catalogue as a whole


@dataclass(frozen=True, slots=True)
class Overview:
    """Kinds with how many items of each are bought and how many are not, what cannot be matched, and doubles."""

    counts: tuple[tuple[str, int, int], ...]
    unmatched: tuple[tuple[Item, tuple[str, ...]], ...]
    alike: tuple[Alike, ...]


SHOWN = 100  # of each list


def overview() -> Overview:
    """The catalogue as it stands, every item read once. One query."""
    bought: dict[str, int] = defaultdict(int)
    over: dict[str, int] = defaultdict(int)
    groups: dict[tuple[Any, ...], list[Item]] = defaultdict(list)
    unmatched: list[tuple[Item, tuple[str, ...]]] = []
    for item in Item.objects.order_by("kind", "number", "id"):
        (over if item.retired else bought)[item.kind] += 1
        if item.retired:
            continue
        if missing := facts(item).missing():
            unmatched.append((item, missing))
        if key := _key(item):
            groups[key].append(item)
    counts = tuple((code, bought[code], over[code]) for code in KINDS if bought[code] or over[code])
    pairs = (pair for group in groups.values() for pair in _pairs(group))
    return Overview(counts, tuple(unmatched[:SHOWN]), tuple(islice(pairs, SHOWN)))


def _key(item: Item) -> tuple[Any, ...]:
    """What two items must have in common to be compared at all: thread and diameter, or the name where nothing else
    tells them apart."""
    if item.thread or item.inner or item.diameter:
        return (item.kind, item.thread, item.inner, item.diameter)
    return (item.kind, item.name.casefold())


def _pairs(group: Sequence[Item]) -> Iterator[Alike]:
    for first, second in combinations(group, 2):
        values = [(getattr(first, column), getattr(second, column)) for column in SAME if column != "name"]
        if all(one == other or one in (None, "") or other in (None, "") for one, other in values):
            yield Alike(first, second, all(one == other for one, other in values) and first.name == second.name)
