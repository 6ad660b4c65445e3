"""The catalogue: what the shop knows of each item, and the facts that matching reads of it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, Facts
from inventory.models import Item
from inventory.threads import Thread, read

# The columns behind `Facts`, in the order of its fields; in those of `_KEYS` "" stands for None.
FACTS = (
    "id", "kind", "name", "thread", "thread_class", "inner", "diameter", "pilot", "usable_length", "lead",
    "flute", "action", "insert_length", "flange", "hand", "torque_min", "torque_max", "family", "life",
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
