"""Limits of the British systems: Whitworth and brass, cycle, BA, and pipe threads of Whitworth form. PURE."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from inventory.threads.profiles import basic
from inventory.threads.thread import INCH, Thread
from inventory.threads.values import ExternalLimits, InternalLimits

_THIRD = Decimal(1) / 3
_SHARE = {"close": Decimal(2) / 3, "medium": Decimal(1), "normal": Decimal("1.5"), "free": Decimal("1.5")}
_BS84 = "BS 84 (formulas as Machinery's Handbook prints them), engaged over one diameter, rounded to 0.0001 in"
_BS811 = (
    "BS 811 names the classes; its tables of tolerances were not seen: formulas of BS 84 taken in their place, "
    "rounded to 0.0001 in"
)
_BRASS = "no standard; formulas of BS 84 for the Whitworth form, rounded to 0.0001 in"
_SOURCES = {"CYCLE": _BS811, "BRASS": _BRASS}


# --- BS 84 -------------------------------------------------------------------------------------------------


def _inch(value: Decimal) -> Decimal:
    """Inches to four places, in mm."""
    return value.quantize(Decimal("0.0001"), ROUND_HALF_UP) * INCH


def _unit(thread: Thread) -> tuple[Decimal, Decimal]:
    """T = 0.002 D^(1/3) + 0.003 L^(1/2) + 0.005 p^(1/2) with L = D, and the root of the pitch; inch (BS 84)."""
    size, root = thread.nominal_mm / INCH, (thread.pitch_mm / INCH).sqrt()
    value = Decimal("0.002") * size**_THIRD + Decimal("0.003") * size.sqrt() + Decimal("0.005") * root
    return value, root


def whitworth_crest(thread: Thread) -> Decimal:
    """Minor-diameter tolerance of a nut of Whitworth or cycle form in inch (BS 84): one for every class.

    0.2 p + 0.004 from 26 threads per inch up, + 0.005 for 24 and 22, + 0.007 from 20 down.

    >>> whitworth_crest(Thread("BSW", 6_350_000, 40))
    Decimal('0.0170')
    """
    half_threads = thread.pitch
    rest = "0.004" if half_threads >= 52 else "0.005" if half_threads >= 44 else "0.007"
    return (thread.pitch_mm / INCH / 5 + Decimal(rest)).quantize(Decimal("0.0001"), ROUND_HALF_UP)


def whitworth_internal(thread: Thread, thread_class: str) -> InternalLimits:
    """Limits of a nut in mm; the class is close, medium, normal or free (the last two are the same 3/2 T).

    >>> limits = whitworth_internal(Thread("BSW", 12_700_000, 24), "normal")
    >>> limits.minor_min / INCH, limits.minor_max / INCH
    (Decimal('0.3933'), Decimal('0.4170'))
    """
    sizes, (unit, _) = basic(thread), _unit(thread)
    return InternalLimits(
        major_min=sizes.major,
        pitch_min=sizes.pitch_diameter,
        pitch_max=sizes.pitch_diameter + _inch(_SHARE[thread_class] * unit),
        minor_min=sizes.minor_internal,
        minor_max=sizes.minor_internal + whitworth_crest(thread) * INCH,
        thread_class=thread_class,
        source=_SOURCES.get(thread.system, _BS84),
        computed=True,
    )


def whitworth_external(thread: Thread, thread_class: str) -> ExternalLimits:
    """Limits of a bolt in mm; the class is close, medium or free. Bolts have no allowance: they start at the basic
    sizes.

    >>> limits = whitworth_external(Thread("BSF", 9_525_000, 40), "medium")
    >>> (limits.major_max - limits.major_min) / INCH, (limits.pitch_max - limits.pitch_min) / INCH
    (Decimal('0.0066'), Decimal('0.0044'))
    """
    sizes, (unit, root) = basic(thread), _unit(thread)
    flank = _SHARE[thread_class] * unit
    return ExternalLimits(
        major_min=sizes.major - _inch(flank + Decimal("0.01") * root),
        major_max=sizes.major,
        pitch_min=sizes.pitch_diameter - _inch(flank),
        pitch_max=sizes.pitch_diameter,
        minor_max=sizes.minor_external,
        thread_class=thread_class,
        source=_SOURCES.get(thread.system, _BS84),
        computed=True,
    )


# --- BS 93 -------------------------------------------------------------------------------------------------

_BS93 = "BS 93:2008 annex B and Machinery's Handbook 31 p.2115, formulas rounded to 0.001 mm"


def _mm(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.001"), ROUND_HALF_UP)


def ba_internal(thread: Thread) -> InternalLimits:
    """Limits of a BA nut in mm; there is one class. Effective 0.12 p + 0.03, minor 0.375 p.

    >>> ba_internal(Thread("BA", 4_700_000, 810_000)).minor_max
    Decimal('4.034')
    """
    sizes, pitch = basic(thread), thread.pitch_mm
    return InternalLimits(
        major_min=sizes.major,
        pitch_min=sizes.pitch_diameter,
        pitch_max=sizes.pitch_diameter + _mm(Decimal("0.12") * pitch + Decimal("0.03")),
        minor_min=sizes.minor_internal,
        minor_max=sizes.minor_internal + _mm(Decimal("0.375") * pitch),
        thread_class="normal",
        source=_BS93,
        computed=True,
    )


def ba_external(thread: Thread, thread_class: str) -> ExternalLimits:
    """Limits of a BA bolt in mm, class close or normal.

    Close: major 0.15 p, effective 0.08 p + 0.02. Normal: major 0.20 p (0.25 p from 11 BA on), effective
    0.10 p + 0.025, and up to 10 BA an allowance of 0.025 mm.

    >>> limits = ba_external(Thread("BA", 4_700_000, 810_000), "normal")
    >>> limits.major_max, limits.major_min
    (Decimal('4.675'), Decimal('4.513'))
    """
    sizes, pitch = basic(thread), thread.pitch_mm
    large = pitch >= Decimal("0.35")  # 10 BA and larger
    if thread_class == "close":
        allowance = Decimal(0)
        crest, flank = Decimal("0.15") * pitch, Decimal("0.08") * pitch + Decimal("0.02")
    else:
        allowance = Decimal("0.025") if large else Decimal(0)
        crest = Decimal("0.2" if large else "0.25") * pitch
        flank = Decimal("0.1") * pitch + Decimal("0.025")
    return ExternalLimits(
        major_min=sizes.major - allowance - _mm(crest),
        major_max=sizes.major - allowance,
        pitch_min=sizes.pitch_diameter - allowance - _mm(flank),
        pitch_max=sizes.pitch_diameter - allowance,
        minor_max=sizes.minor_external - allowance,
        thread_class=thread_class,
        source=_BS93,
        computed=True,
    )


# --- ISO 228-1 ---------------------------------------------------------------------------------------------

_ISO228 = "ISO 228-1:2000 table 1 (as a public library's data give it)"


def _pipe(thread: Thread) -> dict[str, Decimal]:
    """The printed tolerances of a pipe size in mm."""
    published = thread.published
    if published is None:
        raise LookupError(f"{thread.key} is no size of ISO 228-1")
    return {name: Decimal(text) for name, text in published.row.items() if name.endswith("_tolerance")}


def pipe_internal(thread: Thread) -> InternalLimits:
    """Limits of a parallel pipe hole in mm; there is one class. LookupError for a size that the table lacks.

    >>> pipe_internal(Thread("G", 13_157_000, 38)).minor_max
    Decimal('11.890')
    """
    sizes, printed = basic(thread), _pipe(thread)
    return InternalLimits(
        major_min=sizes.major,
        pitch_min=sizes.pitch_diameter,
        pitch_max=sizes.pitch_diameter + printed["pitch_tolerance"],
        minor_min=sizes.minor_internal,
        minor_max=sizes.minor_internal + printed["internal_minor_tolerance"],
        thread_class="internal",
        source=_ISO228,
        computed=False,
    )


def pipe_external(thread: Thread, thread_class: str) -> ExternalLimits:
    """Limits of a parallel pipe thread in mm, class A or B: B has twice the pitch-diameter tolerance of A.

    >>> [pipe_external(Thread("G", 13_157_000, 38), name).pitch_min for name in "AB"]
    [Decimal('12.176'), Decimal('12.051')]
    """
    sizes, printed = basic(thread), _pipe(thread)
    flank = printed["pitch_tolerance"] * (2 if thread_class == "B" else 1)
    return ExternalLimits(
        major_min=sizes.major - printed["external_major_tolerance"],
        major_max=sizes.major,
        pitch_min=sizes.pitch_diameter - flank,
        pitch_max=sizes.pitch_diameter,
        minor_max=sizes.minor_external,
        thread_class=thread_class,
        source=_ISO228,
        computed=False,
    )
