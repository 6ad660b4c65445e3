"""Limits of Unified threads: the formulas of ASME B1.1 with its rounding. PURE."""

from __future__ import annotations

from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

from inventory.threads.profiles import MINOR_DEPTH, PITCH_DEPTH, basic, rounded
from inventory.threads.published import table
from inventory.threads.thread import INCH, SYSTEMS, Thread
from inventory.threads.values import ExternalLimits, InternalLimits

_THIRD = Decimal(1) / 3
_SOURCE = "ASME B1.1-2003 clause 5.8, formulas with the standard's rounding"
_FACTORS = {"2A": "1", "3A": "0.75", "2B": "1.3", "3B": "0.975"}


def _inch(value: Decimal, places: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)


def _flank(thread: Thread) -> Decimal:
    """Pitch-diameter tolerance of class 2A in inch, to 6 decimals as the standard carries it."""
    size, pitch = thread.nominal_mm / INCH, thread.pitch_mm / INCH
    # The length of engagement that the standard's tables take: one diameter for the graded and the coarsest
    # constant-pitch series, nine pitches for the others.
    whole = thread.series in ("UNC", "UNF") or thread.pitch in (8, 12, 16)
    engaged = size if whole else 9 * pitch
    value = (
        Decimal("0.0015") * size**_THIRD + Decimal("0.0015") * engaged.sqrt() + Decimal("0.015") * pitch ** (2 * _THIRD)
    )
    return _inch(value, 6)


@lru_cache(maxsize=1)
def _departures() -> dict[tuple[str, str, str], tuple[Decimal, str]]:
    return {
        (row["key"], row["thread_class"], row["quantity"]): (Decimal(row["value"]), row["how"])
        for row in table("asme_b1_1_departures").rows
    }


def _printed(thread: Thread, thread_class: str, quantity: str, computed: Decimal) -> tuple[Decimal, str]:
    """A tolerance or allowance in inch to 4 decimals: as printed where the table departs, and how that is known."""
    known = _departures().get((replace(thread, hand="R").key, thread_class, quantity))
    return known or (_inch(computed, 4), "")


def _source(*how: str) -> str:
    if not any(how):
        return _SOURCE
    return f"{_SOURCE}; a value as the table prints it" + (" (from memory)" if "memory" in how else "")


def unified_crest(thread: Thread, thread_class: str) -> Decimal:
    """Minor-diameter tolerance of a Unified hole of class 2B or 3B in inch, to 4 decimals (ASME B1.1 5.8).

    >>> unified_crest(Thread("UN", 7_540_625, 72), "2B")
    Decimal('0.0066')
    """
    size, pitch, tpi = thread.nominal_mm / INCH, thread.pitch_mm / INCH, Decimal(thread.pitch) / 2
    small = Decimal("0.05") * pitch ** (2 * _THIRD) + Decimal("0.03") * pitch / size - Decimal("0.002")
    most = Decimal("0.394") * pitch
    if thread_class == "3B":
        least = Decimal("0.23") * pitch - Decimal("1.5") * pitch**2 if tpi >= 13 else Decimal("0.12") * pitch
        value = max(min(small, most), least)
    else:
        usual = Decimal("0.25") * pitch - Decimal("0.4") * pitch**2
        if size >= Decimal("0.25"):
            value = usual if tpi >= 4 else Decimal("0.15") * pitch
        else:
            value = max(min(small, most), usual)
    return _inch(value, 4)


def internal(thread: Thread, thread_class: str) -> InternalLimits | None:
    """Limits of a Unified hole in mm, None for another class than 2B and 3B.

    >>> (internal(Thread("UN", 14_287_500, 36), "2B").minor_max / INCH).quantize(Decimal("0.0001"))
    Decimal('0.5150')
    """
    if thread_class not in ("2B", "3B"):
        return None
    major, pitch = thread.major_mm / INCH, thread.pitch_mm / INCH
    flank, how = _printed(thread, thread_class, "tolerance", _flank(thread) * Decimal(_FACTORS[thread_class]))
    pitch_min = _inch(major - PITCH_DEPTH * pitch, 4)
    minor = _inch(major - MINOR_DEPTH * pitch, 6)
    # Sizes from No. 6 up print the minor limits of 2B to three places, and 3B starts at the same least size.
    hole = bool(SYSTEMS[thread.system].bolt)
    short = thread.nominal_mm >= Decimal("0.138") * INCH and not hole
    minor_min = _inch(minor, 3 if short else 4)
    minor_max = _inch(minor + unified_crest(thread, thread_class), 3 if short and thread_class == "2B" else 4)
    source = _source(how)
    if hole:
        source = f"profile of ASME B18.29.1, tolerances of {source}; the hole table itself was not seen"
    return InternalLimits(
        major_min=rounded(thread.major_mm, inch=True),
        pitch_min=pitch_min * INCH,
        pitch_max=(pitch_min + flank) * INCH,
        minor_min=minor_min * INCH,
        minor_max=minor_max * INCH,
        thread_class=thread_class,
        source=source,
        computed=True,
    )


def external(thread: Thread, thread_class: str) -> ExternalLimits | None:
    """Limits of a Unified bolt in mm, None for another class than 2A and 3A.

    >>> (external(Thread("UN", 6_350_000, 40), "2A").pitch_max / INCH).quantize(Decimal("0.0001"))
    Decimal('0.2164')
    """
    if thread_class not in ("2A", "3A"):
        return None
    sizes = basic(thread)
    pitch = thread.pitch_mm / INCH
    full = _flank(thread)
    allowance, lift_how = _printed(thread, thread_class, "allowance", full * Decimal("0.3"))
    if thread_class == "3A":
        allowance = Decimal(0)
    flank, flank_how = _printed(thread, thread_class, "tolerance", full * Decimal(_FACTORS[thread_class]))
    crest = _inch(Decimal("0.06") * pitch ** (2 * _THIRD), 4)
    major_max = thread.nominal_mm / INCH - allowance
    pitch_max = sizes.pitch_diameter / INCH - allowance
    return ExternalLimits(
        major_min=_inch(major_max - crest, 4) * INCH,
        major_max=_inch(major_max, 4) * INCH,
        pitch_min=_inch(pitch_max - flank, 4) * INCH,
        pitch_max=_inch(pitch_max, 4) * INCH,
        minor_max=sizes.minor_external - allowance * INCH,
        thread_class=thread_class,
        source=_source(lift_how, flank_how),
        computed=True,
    )
