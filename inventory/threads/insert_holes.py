"""Holes that receive wire inserts: their thread, the largest tap, and how deep they are drilled. PURE."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

from inventory.errors import Reason
from inventory.threads.profiles import basic, rounded
from inventory.threads.published import table
from inventory.threads.thread import INCH, SYSTEMS, Thread, ThreadError

_HOLES = {system.bolt: system.code for system in SYSTEMS.values() if system.bolt}


@dataclass(frozen=True, slots=True)
class MajorRange:
    """Basic major diameter of a hole's thread and a tap's least and largest one, in mm."""

    basic: Decimal
    tap_min: Decimal
    tap_max: Decimal
    source: str
    computed: bool


@dataclass(frozen=True, slots=True)
class DepthRule:
    """Least depths in mm from the surface: drilled at full diameter, and of full thread.

    `parts` adds up to `drill_depth`, each with its code: insert_length, tap_point, tap_lead, set_down,
    clearance.
    """

    drill_depth: Decimal
    full_thread_depth: Decimal
    parts: tuple[tuple[str, Decimal], ...]
    source: str
    computed: bool


def insert_hole(thread: Thread) -> Thread:
    """The thread of the hole that a wire insert for this bolt is wound into; the hand is kept.

    Raises ThreadError `thread_no_insert_hole` (thread) for a system or a size that has no wire inserts.

    >>> insert_hole(Thread("M", 14_000_000, 1_500_000, "L")).designation
    'EG M14x1.5-LH'
    >>> insert_hole(Thread("UN", 7_937_500, 36)).designation
    'STI 5/16-18'
    """
    system = _HOLES.get(thread.system)
    if system is None or thread.nominal < SYSTEMS[system].least:
        raise ThreadError(Reason("thread_no_insert_hole", thread=thread.designation))
    return replace(thread, system=system)


@lru_cache(maxsize=1)
def _printed_taps() -> dict[str, tuple[Decimal, Decimal]]:
    return {
        row["key"]: (Decimal(row["tap_min"]) * INCH, Decimal(row["tap_max"]) * INCH) for row in table("asme_b94_9").rows
    }


# What the printed rows of ASME B94.9 add to the basic major diameter. Inch (table 25): by threads per inch,
# least first reached; the 24 rows read fit exactly, 11 tpi and coarser carry the steps on. All have 0.0010
# in between their limits. Metric (table 26a): 0.081 P over basic, the limits apart by the steps of
# `_METRIC_BAND`; the 16 rows read fit within 0.003 mm.
_INCH_RISE = (
    (52, "0.0015"),
    (38, "0.0018"),
    (28, "0.0021"),
    (22, "0.0024"),
    (18, "0.0027"),
    (14, "0.0030"),
    (12, "0.0033"),
    (9, "0.0036"),
    (7, "0.0039"),
    (0, "0.0042"),
)
_METRIC_BAND = (("0.65", "0.0254"), ("1.1", "0.0406"), ("9", "0.0635"))


def insert_hole_tap_major(thread: Thread) -> MajorRange:
    """Major diameter of the tap that cuts an insert hole, in mm: printed, or fitted to the printed rows.

    Give the hole's thread (EG-M, STI-UN). Printed: ASME B94.9-2008 tables 25 and 26a (Machinery's Handbook
    31 p.1006 and 1007); elsewhere `computed`, by the allowances that those rows follow. The largest tap is
    what a later bush must find fresh metal beyond. Raises ThreadError `thread_no_insert_hole` for a bolt's
    thread.

    >>> major = insert_hole_tap_major(Thread("EG-M", 14_000_000, 1_500_000))
    >>> major.basic, major.tap_max.quantize(Decimal("0.001")), major.computed
    (Decimal('15.949'), Decimal('16.132'), False)
    """
    system = SYSTEMS[thread.system]
    if not system.bolt:
        raise ThreadError(Reason("thread_no_insert_hole", thread=thread.designation))
    least = basic(thread).major
    printed = _printed_taps().get(replace(thread, hand="R").key)
    if printed:
        return MajorRange(least, *printed, source="ASME B94.9-2008 tables 25 and 26a", computed=False)
    if system.inch:
        tpi = Decimal(thread.pitch) / 2
        tap_min = least + next(Decimal(rise) for coarsest, rise in _INCH_RISE if tpi >= coarsest) * INCH
        band = Decimal("0.0010") * INCH
    else:
        tap_min = rounded(least + Decimal("0.081") * thread.pitch_mm, inch=False)
        band = next(Decimal(band) for widest, band in _METRIC_BAND if thread.pitch_mm <= Decimal(widest))
    return MajorRange(
        least,
        tap_min,
        tap_min + band,
        source="allowances fitted to ASME B94.9-2008 tables 25 and 26a",
        computed=True,
    )


def insert_hole_depth(bolt_thread: Thread, length_mm: Decimal, bottoming: bool) -> DepthRule:
    """How deep a blind hole for a wire insert is drilled and threaded at least, in mm.

    `length_mm` is the insert's nominal length L. With a plug tap L + 6 P, and half a diameter more up to 8
    mm for the tap's point; with a bottoming tap L + 4 P; full thread L + P (depth rule printed beside ASME
    B18.29.2M). For inch sizes the same rule is taken (`computed`: their printed form was not found). Raises
    ThreadError `thread_no_insert_hole`; ValueError for a length that is not above 0.

    >>> rule = insert_hole_depth(Thread("M", 8_000_000, 1_250_000), Decimal("12"), bottoming=False)
    >>> rule.drill_depth, rule.full_thread_depth
    (Decimal('23.50'), Decimal('13.25'))
    >>> [code for code, _ in rule.parts]
    ['insert_length', 'tap_point', 'tap_lead', 'set_down', 'clearance']
    """
    if length_mm <= 0:
        raise ValueError("an insert has a length above 0")
    insert_hole(bolt_thread)
    pitch, size = bolt_thread.pitch_mm, bolt_thread.nominal_mm
    parts: list[tuple[str, Decimal]] = [("insert_length", length_mm)]
    if not bottoming and size <= 8:
        parts.append(("tap_point", size / 2))
    parts += [("tap_lead", (2 if bottoming else 4) * pitch), ("set_down", pitch), ("clearance", pitch)]
    inch = SYSTEMS[bolt_thread.system].inch
    return DepthRule(
        drill_depth=sum((part for _, part in parts), Decimal(0)),
        full_thread_depth=length_mm + pitch,
        parts=tuple(parts),
        source="ASME B18.29.2M-2005, depth of tapped holes" + (" (metric rule taken for inch sizes)" if inch else ""),
        computed=inch,
    )
