"""How values are shown on pages: sizes with both units, moments and days in the shop's zone, reasons as sentences."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django import template
from django.conf import settings

from inventory import naming
from inventory.errors import Reason
from inventory.kinds import symbol
from inventory.quantities import show_length, show_money, show_torque
from inventory.threads import Thread, ThreadError
from inventory.wear import materials
from inventory.wording import say

register = template.Library()


@register.filter
def as_length(nm: int | None, units: str = "mm") -> str:
    """Nanometres as a length, the preferred unit first; "" for none."""
    return "" if nm is None else show_length(nm, units)


@register.filter
def torque(nmm: int | None, units: str = "mm") -> str:
    """Newton millimetres as a torque, the preferred unit first; "" for none."""
    return "" if nmm is None else show_torque(nmm, units)


@register.filter
def money(minor: int | None, currency: str = "EUR") -> str:
    """Minor units as a price; "" for none."""
    return "" if minor is None else show_money(minor, currency)


@register.filter
def designation(key: str) -> str:
    """A thread's designation from its key; the key itself where it is none."""
    try:
        return Thread.from_key(key).designation if key else ""
    except ThreadError:
        return key


@register.filter
def moment(at: datetime | None) -> str:
    """A moment in the shop's zone, to the minute."""
    return "" if at is None else at.astimezone(settings.SHOP_ZONE).strftime("%Y-%m-%d %H:%M")


@register.filter
def day(at: datetime | date | None) -> str:
    """The day of a moment in the shop's zone."""
    if isinstance(at, datetime):
        at = at.astimezone(settings.SHOP_ZONE).date()
    return "" if at is None else at.isoformat()


@register.filter
def last_day(end: datetime | None) -> str:
    """The last day of a half-open window, as people say it: a window to midnight ends the day before."""
    return "" if end is None else day(end - timedelta(microseconds=1))


@register.filter
def in_packs(pieces: int, size: int) -> str:
    """So many pieces as they lie in the bin: "3 packs of 25 and 4 loose"; "" where there are none."""
    packs, loose = divmod(pieces, size)
    full = f"{packs} {'pack' if packs == 1 else 'packs'} of {size}" if packs else ""
    return " and ".join(part for part in (full, f"{loose} loose" if loose else "") if part)


@register.filter
def called(item: Any, units: str = "mm") -> str:
    """An item as it stands in a list: what it is, and its size."""
    return naming.named(item, units)


@register.filter
def what_it_is(item: Any) -> str:
    """An item by its kind and its name, where its size is set apart beside it."""
    return naming.called(item)


@register.filter
def sized(item: Any, units: str = "mm") -> str:
    """The size of an item in both units, as it is set apart beside what it is."""
    return naming.size(item, units, both=True)


@register.filter
def long(item: Any, units: str = "mm") -> str:
    """The length of an item in both units, where its kind is told apart by that."""
    return naming.length(item, units, both=True)


@register.filter
def matter(what: Any, units: str = "mm") -> str:
    """What needs attention, in words."""
    return str(what.words(units))


@register.filter
def tenths(number: int | None) -> str:
    """A count of tenths as a number: a lead of 40 is 4 threads."""
    return "" if number is None else f"{Decimal(number) / 10:g}"


@register.filter
def signed(number: int | None) -> str:
    """A difference with its sign: "+2", "−3", "0"; "" for none."""
    return "" if number is None else f"{number:+d}".replace("-", "−") if number else "0"


@register.filter
def spaced(code: str) -> str:
    """A code as words: "usable_length" is "usable length"."""
    return code.replace("_", " ")


@register.filter
def differences(change: Any, units: str = "mm") -> list[tuple[str, str, str]]:
    """What an `ItemChange` changed: the name of each, what it was and what it is since, "" where nothing was entered.

    How a thread was written is told only where the thread itself stayed.
    """
    was, now = change.was, change.now
    names = [name for name in now if name != "retired" and (name != "as_typed" or "thread" not in now)]
    return [
        (_NAMES.get(name, spaced(name)), _measured(name, was[name], units), _measured(name, now[name], units))
        for name in names
    ]


_NAMES = {"inner": "thread inside", "as_typed": "written as", "number": "item number", "action": "works by"}
_LENGTHS = frozenset(
    {"diameter", "pilot", "usable_length", "insert_length", "flange", "step_diameter", "step_length", "takes_least",
     "takes_most"}
)  # fmt: skip


def _measured(name: str, value: Any, units: str) -> str:
    if value in (None, "", {}):
        return ""
    if name in ("thread", "inner"):
        return designation(value)
    if name in _LENGTHS:
        return as_length(value, units)
    if name in ("torque_min", "torque_max"):
        return torque(value, units)
    if name == "lead":
        return f"{tenths(value)} threads"
    if name == "life_factors":
        words = materials()
        return ", ".join(f"{percent} % in {words.get(code, code)}" for code, percent in sorted(value.items()))
    return str(value)


@register.filter
def iso_symbol(kind: str, measure: str) -> str:
    """What ISO 13399 calls a measurement of a kind, "" where it has no symbol for it."""
    return symbol(kind, measure)


@register.simple_tag(takes_context=True)
def told(context: dict[str, Any], reason: Reason) -> str:
    """The sentence of a reason of the crib, in the reader's units."""
    return say(reason, context.get("units", "mm"))
