"""How an item is named wherever it stands in words: what it is, its size, its number. PURE.

Everything that names an item asks here: pages, labels, sentences, the calendar. So twenty inserts that share a name are
never told apart by their numbers alone. Only the preferred unit is shown, for a name is no measurement.
"""

from __future__ import annotations

from typing import Any

from inventory.kinds import KINDS
from inventory.quantities import show_length, show_torque
from inventory.threads import Thread, ThreadError


def called(of: Any) -> str:
    """What an item (or its `Facts`) is: its kind and its name, by the name alone where that says the kind.

    >>> from inventory.kinds import Facts
    >>> called(Facts(item=1, kind="drill")), called(Facts(item=1, kind="final_gauge", name="thread plug"))
    ('drill', 'final gauge: thread plug')
    >>> called(Facts(item=1, kind="insert", name="Wire insert"))
    'Wire insert'
    """
    kind = KINDS[of.kind].word
    if not of.name:
        return kind
    return str(of.name) if kind in of.name.lower() else f"{kind}: {of.name}"


def size(of: Any, units: str = "mm", own_diameter: int | None = None, *, both: bool = False) -> str:
    """What tells an item from others of its kind: its thread and class, its diameter, the torque or the sizes it takes.

    Lengths in nm, torques in N·mm; `own_diameter` is that of a unit since it was reground; `both` shows both units.

    >>> from inventory.kinds import Facts
    >>> size(Facts(item=1, kind="tap", thread="M|14000000|1500000nm|R", thread_class="6H"))
    'M14x1.5 6H'
    >>> size(Facts(item=1, kind="step_drill", diameter=8_500_000, step_diameter=10_500_000))
    '8.5 mm and 10.5 mm'
    >>> size(Facts(item=1, kind="drill", diameter=14_500_000), "in"), size(Facts(item=1, kind="drill"))
    ('0.5709 in', '')
    """
    parts = []
    threads = [_thread(key) for key in (of.inner, of.thread) if key]
    if threads:
        parts.append(" in ".join(threads) + (f" {of.thread_class}" if of.thread_class else ""))
    if diameter := own_diameter or of.diameter:
        step = of.step_diameter
        parts.append(_length(diameter, units, both) + (f" and {_length(step, units, both)}" if step else ""))
    if of.torque_max:
        parts.append(f"{_torque(of.torque_min or 0, units, both)} to {_torque(of.torque_max, units, both)}")
    if of.takes_most:
        least = f"{_length(of.takes_least, units, both)} to " if of.takes_least else "to "
        parts.append(least + _length(of.takes_most, units, both))
    return ", ".join(parts)


def length(of: Any, units: str = "mm", *, both: bool = False) -> str:
    """How long an item is where its kind is told apart by that; "" where it is not, or where none was entered.

    >>> from inventory.kinds import Facts
    >>> length(Facts(item=1, kind="insert", insert_length=14_000_000))
    '14 mm long'
    >>> length(Facts(item=1, kind="drill", usable_length=120_000_000))
    '120 mm usable'
    """
    if of.insert_length:
        return f"{_length(of.insert_length, units, both)} long"
    if of.usable_length and "usable_length" in KINDS[of.kind].measures:
        return f"{_length(of.usable_length, units, both)} usable"
    return ""


def named(of: Any, units: str = "mm", own_diameter: int | None = None) -> str:
    """An item in words with its size, as it stands in a list or in a sentence.

    >>> from inventory.kinds import Facts
    >>> fits = "M|14000000|1500000nm|R"
    >>> named(Facts(item=1, kind="insert", name="Wire insert", inner=fits, insert_length=14_000_000))
    'Wire insert M14x1.5, 14 mm long'
    """
    whole = ", ".join(part for part in (size(of, units, own_diameter), length(of, units)) if part)
    return f"{called(of)} {whole}".strip()


def _thread(key: str) -> str:
    try:
        return Thread.from_key(key).designation
    except ThreadError:
        return key


def _length(nm: int, units: str, both: bool) -> str:
    shown = show_length(nm, units)
    return shown if both else shown.split(" (")[0]


def _torque(nmm: int, units: str, both: bool) -> str:
    shown = show_torque(nmm, units)
    return shown if both else shown.split(" (")[0]
