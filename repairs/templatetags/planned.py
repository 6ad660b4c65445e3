"""What a plan holds, in the words of the trade: reasons, codes, needs, sizes and takes on pages."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html

from inventory.errors import Reason
from inventory.quantities import show_force, show_stress, show_volume
from repairs import wording
from repairs.cards import line_reason
from repairs.matching import Line, Take
from repairs.methods.values import WEAKEST, Need, Size
from repairs.strength import metal

register = template.Library()


@register.filter
def said(reason: Reason, units: str = "mm") -> str:
    """The sentence of a reason, of either app."""
    return wording.say(reason, units)


@register.filter
def word(code: str) -> str:
    """The trade's word for a code."""
    return wording.word(code)


@register.filter
def named(need: Need, units: str = "mm") -> str:
    """A need in a few words."""
    return wording.name(need, units)


@register.filter
def asked(need: Need, units: str = "mm") -> str:
    """What is asked of a need beyond its name: class, family, lead, reach, how many."""
    return wording.describe(need, units).removeprefix(wording.name(need, units)).removeprefix(", ")


@register.filter
def sized(size: Size, units: str = "mm") -> str:
    """An insert size in words."""
    return wording.size_words(size, units)


@register.filter
def alloy(code: str) -> str:
    """The parent metal by its code in the table."""
    return metal(code).word if code and code != WEAKEST else wording.word(code)


@register.filter
def as_volume(mm3: Decimal | None, units: str = "mm") -> str:
    """Cubic millimetres of metal, the preferred unit first; "" for none."""
    return "" if mm3 is None else show_volume(mm3, units)


@register.filter
def as_stress(kpa: int | None, units: str = "mm") -> str:
    """Kilopascals as a strength, the preferred unit first; "" for none."""
    return "" if kpa is None else show_stress(round(kpa / 1000), units)


@register.filter
def carried(newton: float | None, units: str = "mm") -> str:
    """A load that is there, rounded down; "" for none."""
    return "" if newton is None else show_force(math.floor(newton), units)


@register.filter
def wanted(newton: float | None, units: str = "mm") -> str:
    """A load that is needed, rounded up; "" for none."""
    return "" if newton is None else show_force(math.ceil(newton), units)


@register.filter
def share(margin: float | None) -> str:
    """A margin in per cent with its sign; "" for none."""
    return "" if margin is None else f"{margin * 100:+.1f} %".replace("-", "\u2212")


@register.filter
def because(line: Line, units: str = "mm") -> str:
    """Why a line is no match, in a sentence or two."""
    return line_reason(line, units)


@register.filter
def alike(reasons: Iterable[Reason]) -> str:
    """The look-alikes of a line by name, with where each lies."""
    return wording.look_alike_words(reasons)


@register.filter
def is_kept(take: Take, job: str) -> bool:
    """Whether what is taken is reserved for the job already."""
    return any(hold.label == job for hold in take.line.holds)


@register.simple_tag
def linked(text: Any, view: str, *args: Any, **kwargs: Any) -> str:
    """A link to a page of the site; the text alone where no address can be made of a name."""
    try:
        address = reverse(view, args=args, kwargs=kwargs)
    except NoReverseMatch:
        return format_html("{}", text)
    return format_html('<a href="{}">{}</a>', address, text)
