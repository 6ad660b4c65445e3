"""Leads of taps by the name of their chamfer. PURE."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.errors import Reason
from inventory.threads.published import table
from inventory.threads.thread import ThreadError


@dataclass(frozen=True, slots=True)
class TapLead:
    """The lead of a tap of one form, in threads: least and most as printed, and who prints them."""

    form: str
    least: Decimal
    most: Decimal
    source: str


@cache
def tap_leads() -> tuple[TapLead, ...]:
    """Every form: A to F of DIN 2197, taper, plug and bottoming (TM 9-254), first to third of a hand tap set.

    >>> [lead.form for lead in tap_leads()][:3]
    ['A', 'B', 'C']
    """
    return tuple(
        TapLead(row["form"], Decimal(row["least"]), Decimal(row["most"]), row["source"])
        for row in table("tap_leads").rows
    )


def tap_lead(form: str) -> TapLead:
    """The lead of a form in threads, its name in any case, with or without "form" before it.

    Raises ThreadError `tap_form_unknown` (typed, known).

    >>> tap_lead("form c").least, tap_lead("Bottoming").most
    (Decimal('2'), Decimal('2'))
    """
    name = form.strip().lower().removeprefix("form").strip()
    for lead in tap_leads():
        if lead.form.lower() == name:
            return lead
    raise ThreadError(Reason("tap_form_unknown", typed=form[:40], known=tuple(lead.form for lead in tap_leads())))
