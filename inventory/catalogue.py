"""The catalogue: what the shop knows of each item, and the facts that matching reads of it."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from typing import Any

from django.db.models import Q

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, Facts
from inventory.models import Item
from inventory.threads import Thread, read

# The columns behind `Facts`, in the order of its fields; in those of `_KEYS` "" stands for None.
FACTS = (
    "id", "kind", "name", "thread", "thread_class", "inner", "diameter", "pilot", "usable_length", "lead",
    "flute", "action", "insert_length", "flange", "hand", "torque_min", "torque_max", "family", "life",
    "cure_hours", "step_diameter", "step_length", "takes_least", "takes_most",
)  # fmt: skip
_KEYS = (FACTS.index("thread"), FACTS.index("inner"))
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
    Raises `Refused`: kind_unknown, thread_class_twice, or what the thread's reader says.
    """
    if kind not in KINDS:
        raise Refused(Reason("kind_unknown", typed=kind, known=tuple(KINDS)))
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
    measurement. The answer is a function: "item__" leads from a unit, "" is the item itself.
    """
    measured = {code: set(KINDS[code].measures) for code in kinds}
    by_thread = [code for code, names in measured.items() if names & {"thread", "inner"}]
    by_diameter = [code for code, names in measured.items() if "diameter" in names and code not in by_thread]
    by_inner = [code for code in by_thread if "inner" in measured[code]]
    by_neither = [code for code in kinds if code not in by_thread and code not in by_diameter]
    ranges = _merged(diameters)

    def condition(way: str) -> Q:
        thread = Q(**{f"{way}thread__in": ["", *threads]})
        within = Q(**{f"{way}diameter__isnull": True})
        for least, most in ranges:
            within |= Q(**{f"{way}diameter__range": (least, most)})
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

    What `wanted` says, in the order of kinds and numbers; an item without a number of its own has "". One query.
    """
    rows = Item.objects.filter(wanted(kinds, threads, diameters, ())("")).values_list("number", *FACTS)
    return [(number or "", facts_of(row)) for number, *row in rows]
