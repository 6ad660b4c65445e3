"""Limits of size per class: ISO 965-1 from its tables, ASME B1.1 from its formulas and rounding. PURE."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from functools import lru_cache

from inventory.errors import Reason
from inventory.threads.profiles import MINOR_DEPTH, PITCH_DEPTH, basic, rounded
from inventory.threads.published import table
from inventory.threads.thread import INCH, SYSTEMS, Thread, ThreadError, plain

_THIRD = Decimal(1) / 3
_UM = Decimal("0.001")
_ZERO = Decimal(0)
_ISO_CLASS = re.compile(r"([3-9])([GHgh])(?:([3-9])([GHgh]))?", re.ASCII)
# Recommended classes, finest first. The ten of ISO 965-1 without 6f and 6e, whose deviations are not tabled
# here.
_CLASSES: dict[tuple[str, bool], tuple[str, ...]] = {
    ("M", True): ("4H", "5H", "6H", "7H", "6G"),
    ("M", False): ("4h", "6h", "6g"),
    ("EG-M", True): ("4H5H", "5H", "6H"),
    ("UN", True): ("3B", "2B"),
    ("UN", False): ("3A", "2A"),
    ("STI-UN", True): ("3B", "2B"),
}
_DEFAULTS: dict[tuple[str, bool], tuple[str, ...]] = {
    ("M", True): ("6H", "5H", "4H"),
    ("M", False): ("6g",),
    ("EG-M", True): ("5H", "4H5H"),
    ("UN", True): ("2B",),
    ("UN", False): ("2A",),
    ("STI-UN", True): ("2B",),
}


@dataclass(frozen=True, slots=True)
class InternalLimits:
    """Limits of a hole's thread in mm. `computed`: from a formula, not from a table; `source` says which."""

    major_min: Decimal
    pitch_min: Decimal
    pitch_max: Decimal
    minor_min: Decimal
    minor_max: Decimal
    thread_class: str
    source: str
    computed: bool


@dataclass(frozen=True, slots=True)
class ExternalLimits:
    """Limits of a bolt's thread in mm. `minor_max` is d3 at the rounded root at its largest."""

    major_min: Decimal
    major_max: Decimal
    pitch_min: Decimal
    pitch_max: Decimal
    minor_max: Decimal
    thread_class: str
    source: str
    computed: bool


# --- ISO 965-1 ---------------------------------------------------------------------------------------------

_FACTORS = {
    "TD1": {"4": "0.63", "5": "0.8", "6": "1", "7": "1.25", "8": "1.6"},
    "Td": {"4": "0.63", "6": "1", "8": "1.6"},
    "TD2": {"4": "0.85", "5": "1.06", "6": "1.32", "7": "1.7", "8": "2.12"},
    "Td2": {"3": "0.5", "4": "0.63", "5": "0.8", "6": "1", "7": "1.25", "8": "1.6", "9": "2"},
}
_RANGES = tuple(
    (Decimal(low), Decimal(high))
    for low, high in (
        ("0.99", "1.4"),
        ("1.4", "2.8"),
        ("2.8", "5.6"),
        ("5.6", "11.2"),
        ("11.2", "22.4"),
        ("22.4", "45"),
        ("45", "90"),
        ("90", "180"),
    )
)
_R40 = tuple(Decimal(step) / 100 for step in (
    100, 106, 112, 118, 125, 132, 140, 150, 160, 170, 180, 190, 200, 212, 224, 236, 250, 265, 280, 300, 315,
    335, 355, 375, 400, 425, 450, 475, 500, 530, 560, 600, 630, 670, 710, 750, 800, 850, 900, 950, 1000,
))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tolerance:
    """One tolerance or deviation of ISO 965-1 in micrometres; `how` is read, memory or computed."""

    um: int
    how: str

    @property
    def mm(self) -> Decimal:
        """The same in mm.

        >>> Tolerance(300, "read").mm
        Decimal('0.300')
        """
        return self.um * _UM


@lru_cache(maxsize=1)
def _tabled() -> dict[tuple[str, str, str, str], Tolerance]:
    return {
        (row["quantity"], row["to"], row["pitch"], row["grade"]): Tolerance(int(row["um"]), row["how"])
        for row in table("iso965_1").rows
    }


def preferred(value: Decimal) -> Decimal:
    """The nearest number of the R40 preferred series, a whole one half to even (ASME B1.13M-2005 6.2 a).

    >>> preferred(Decimal("184.2"))
    Decimal('180')
    """
    power = Decimal(1).scaleb(value.adjusted())
    return min((step * power for step in _R40), key=lambda step: abs(step - value)).quantize(
        Decimal(1), ROUND_HALF_EVEN
    )


def tolerance(quantity: str, pitch_mm: Decimal, grade: str = "", size_mm: Decimal = _ZERO) -> Tolerance | None:
    """A tolerance of ISO 965-1: the table's value, or the formula's with the standard's rounding.

    `quantity` is "es_g" (deviation of g without sign, EI of G), "TD1", "Td", "TD2" or "Td2"; `grade` a
    digit; `size_mm` the nominal size for the last two. Formulas: clause 13 of the 1998 edition. None for a
    grade that the quantity does not have, for a size outside 0.99 to 180 mm, and where the table names a
    pitch but leaves the grade out on purpose: too wide for so fine a thread.

    >>> tolerance("TD1", Decimal("1.5"), "6")
    Tolerance(um=300, how='read')
    >>> tolerance("TD2", Decimal("0.75"), "6", Decimal(20)).how
    'computed'
    >>> tolerance("TD1", Decimal("0.25"), "6") is None
    True
    """
    low, high = _ZERO, _ZERO
    if quantity in ("TD2", "Td2"):
        low, high = next((span for span in _RANGES if span[0] < size_mm <= span[1]), (_ZERO, _ZERO))
        if not high:
            return None
    to, pitch = plain(high) if high else "", plain(pitch_mm)
    tabled = _tabled().get((quantity, to, pitch, grade))
    if tabled:
        return tabled
    if quantity == "es_g":
        return Tolerance(int(preferred(15 + 11 * pitch_mm)), "computed")
    factor = _FACTORS[quantity].get(grade)
    if factor is None or (quantity, to, pitch, "4") in _tabled():
        return None
    if quantity == "TD1":
        fine = 433 * pitch_mm - 190 * pitch_mm ** Decimal("1.22")
        value = 230 * pitch_mm ** Decimal("0.7") if pitch_mm >= 1 else fine
    elif quantity == "Td":
        value = 180 * pitch_mm ** (2 * _THIRD) - Decimal("3.15") / pitch_mm.sqrt()
    else:
        value = 90 * pitch_mm ** Decimal("0.4") * (low * high).sqrt() ** Decimal("0.1")
    return Tolerance(int(preferred(value * Decimal(factor))), "computed")


def _iso_tolerances(thread: Thread, thread_class: str, internal: bool) -> tuple[Tolerance, Tolerance, Tolerance | None]:
    """Crest and flank tolerance and the deviation (None at H and h); refuses what is no ISO class of this
    side.
    """
    match = _ISO_CLASS.fullmatch(thread_class)
    if not match or match[2].isupper() != internal or match[4] not in (None, match[2]):
        raise _unknown_class(thread, thread_class, internal)
    pitch = thread.pitch_mm
    crest = tolerance("TD1" if internal else "Td", pitch, match[3] or match[1])
    flank = tolerance("TD2" if internal else "Td2", pitch, match[1], thread.nominal_mm)
    if crest is None or flank is None:
        raise _unknown_class(thread, thread_class, internal)
    return crest, flank, tolerance("es_g", pitch) if match[2] in "Gg" else None


def _source(found: tuple[Tolerance, ...]) -> tuple[str, bool]:
    computed = any(part.how == "computed" for part in found)
    if computed:
        return "ISO 965-1:1998 clause 13, formulas rounded to R40", True
    memory = any(part.how == "memory" for part in found)
    return "ISO 965-1:1998 tables 1 to 6" + (" (a value from memory)" if memory else ""), False


def _iso_internal(thread: Thread, thread_class: str) -> InternalLimits:
    sizes = basic(thread)
    hole = bool(SYSTEMS[thread.system].bolt)
    crest, flank, lift = _iso_tolerances(thread, thread_class, internal=True)
    source, computed = _source((crest, flank, *((lift,) if lift else ())))
    if hole:
        source = f"profile of ASME B18.29.2M, grades of {source}; the hole table itself was not seen"
    rise = lift.mm if lift else _ZERO
    return InternalLimits(
        major_min=sizes.major + rise,
        pitch_min=sizes.pitch_diameter + rise,
        pitch_max=sizes.pitch_diameter + rise + flank.mm,
        minor_min=sizes.minor_internal + rise,
        minor_max=sizes.minor_internal + rise + crest.mm,
        thread_class=thread_class,
        source=source,
        computed=computed or hole,
    )


def _iso_external(thread: Thread, thread_class: str) -> ExternalLimits:
    sizes = basic(thread)
    crest, flank, lift = _iso_tolerances(thread, thread_class, internal=False)
    source, computed = _source((crest, flank, *((lift,) if lift else ())))
    drop = lift.mm if lift else _ZERO
    return ExternalLimits(
        major_min=sizes.major - drop - crest.mm,
        major_max=sizes.major - drop,
        pitch_min=sizes.pitch_diameter - drop - flank.mm,
        pitch_max=sizes.pitch_diameter - drop,
        minor_max=sizes.minor_external - drop,
        thread_class=thread_class,
        source=source,
        computed=computed,
    )


# --- ASME B1.1 ---------------------------------------------------------------------------------------------

_UN_SOURCE = "ASME B1.1-2003 clause 5.8, formulas with the standard's rounding"


def _inch(value: Decimal, places: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)


def _un_flank(thread: Thread) -> Decimal:
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


def _un_internal(thread: Thread, thread_class: str) -> InternalLimits:
    major, pitch = thread.major_mm / INCH, thread.pitch_mm / INCH
    flank = _inch(_un_flank(thread) * Decimal("1.3" if thread_class == "2B" else "0.975"), 4)
    pitch_min = _inch(major - PITCH_DEPTH * pitch, 4)
    minor = _inch(major - MINOR_DEPTH * pitch, 6)
    # Sizes from No. 6 up print the minor limits of 2B to three places, and 3B starts at the same least size.
    hole = bool(SYSTEMS[thread.system].bolt)
    short = thread.nominal_mm >= Decimal("0.138") * INCH and not hole
    minor_min = _inch(minor, 3 if short else 4)
    minor_max = _inch(minor + unified_crest(thread, thread_class), 3 if short and thread_class == "2B" else 4)
    source = _UN_SOURCE
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


def _un_external(thread: Thread, thread_class: str) -> ExternalLimits:
    sizes = basic(thread)
    pitch = thread.pitch_mm / INCH
    full = _un_flank(thread)
    allowance = _inch(full * Decimal("0.3"), 4) if thread_class == "2A" else Decimal(0)
    flank = _inch(full * Decimal("1" if thread_class == "2A" else "0.75"), 4)
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
        source=_UN_SOURCE,
        computed=True,
    )


# --- all systems -------------------------------------------------------------------------------------------


def _unknown_class(thread: Thread, thread_class: str, internal: bool) -> ThreadError:
    return ThreadError(
        Reason(
            "thread_class_unknown",
            thread_class=thread_class,
            thread=thread.designation,
            known=_CLASSES.get((thread.system, internal), ()),
        )
    )


def classes(of: Thread | str, internal: bool = True) -> tuple[str, ...]:
    """Known classes of a system or of one thread, finest first.

    () where the side does not exist: an insert hole has no outside. Of a thread only those that its pitch
    has limits for: ISO 965-1 gives no 6H under 0.3 mm pitch.

    >>> classes("M"), classes("UN", internal=False)
    (('4H', '5H', '6H', '7H', '6G'), ('3A', '2A'))
    >>> classes(Thread("M", 2_000_000, 250_000))
    ('4H', '5H')
    """
    if isinstance(of, str):
        return _CLASSES.get((of, internal), ())
    return tuple(name for name in _CLASSES.get((of.system, internal), ()) if _has(of, name, internal))


def _has(thread: Thread, thread_class: str, internal: bool) -> bool:
    try:
        (internal_limits if internal else external_limits)(thread, thread_class)
    except ThreadError:
        return False
    return True


def default_class(thread: Thread, internal: bool = True) -> str:
    """The class that is meant when none is written: 6H, 6g, 2B, 2A, 5H for a metric insert hole.

    ISO 965-1 12.2 names 6H and 6g (5H for the finest); for Unified and insert holes common practice, no
    source. Raises ThreadError `thread_side_missing` for the outside of an insert hole, which does not exist.

    >>> default_class(Thread("M", 14_000_000, 1_500_000)), default_class(Thread("M", 2_000_000, 250_000))
    ('6H', '5H')
    """
    for name in _DEFAULTS.get((thread.system, internal), ()):
        if _has(thread, name, internal):
            return name
    raise ThreadError(Reason("thread_side_missing", thread=thread.designation))


@lru_cache(maxsize=4096)
def internal_limits(thread: Thread, thread_class: str = "") -> InternalLimits:
    """Limits of size in mm of a hole's thread, for the default class where none is given.

    ISO 965-1 from its tables (ISO 965-2 prints the same sums), ASME B1.1 from its formulas. Raises
    ThreadError `thread_class_unknown`, or `thread_class_too_wide` where the standard has no such grade for
    the pitch.

    >>> limits = internal_limits(Thread("M", 16_000_000, 1_500_000))
    >>> limits.minor_min, limits.minor_max, limits.thread_class
    (Decimal('14.376'), Decimal('14.676'), '6H')
    """
    thread_class = thread_class or default_class(thread)
    if not SYSTEMS[thread.system].inch:
        return _iso_internal(thread, thread_class)
    if thread_class not in _CLASSES[thread.system, True]:
        raise _unknown_class(thread, thread_class, internal=True)
    return _un_internal(thread, thread_class)


@lru_cache(maxsize=4096)
def external_limits(thread: Thread, thread_class: str = "") -> ExternalLimits:
    """Limits of size in mm of a bolt's thread, for the default class where none is given.

    Raises ThreadError as `internal_limits` does, and `thread_side_missing` for an insert-hole thread.

    >>> limits = external_limits(Thread("M", 14_000_000, 1_500_000))
    >>> limits.major_min, limits.major_max
    (Decimal('13.732'), Decimal('13.968'))
    """
    thread_class = thread_class or default_class(thread, internal=False)
    system = SYSTEMS[thread.system]
    if system.bolt:
        raise ThreadError(Reason("thread_side_missing", thread=thread.designation))
    if not system.inch:
        return _iso_external(thread, thread_class)
    if thread_class not in _CLASSES[thread.system, False]:
        raise _unknown_class(thread, thread_class, internal=False)
    return _un_external(thread, thread_class)


def classes_that_serve(thread: Thread, wanted: str = "") -> tuple[str, ...]:
    """Classes whose taps and gauges may make and check one of class `wanted`, the wanted one first.

    A tap or a gauge rules the flanks, so a class serves when its pitch-diameter limits lie inside the wanted
    ones: a hole that a 5H gauge passes is a 6H hole too. Coarser ones never serve. "" wants the default class
    of a hole. Raises ThreadError as `internal_limits` does.

    >>> classes_that_serve(Thread("M", 14_000_000, 1_500_000), "6H")
    ('6H', '5H', '4H')
    >>> classes_that_serve(Thread("UN", 9_525_000, 32), "3B")
    ('3B',)
    """
    internal = not wanted or (wanted.upper() == wanted and not wanted.endswith("A"))
    wanted = wanted or default_class(thread)

    def flanks(name: str) -> tuple[Decimal, Decimal]:
        limits = internal_limits(thread, name) if internal else external_limits(thread, name)
        return limits.pitch_min, limits.pitch_max

    low, high = flanks(wanted)
    inside = [
        name
        for name in reversed(classes(thread, internal))
        if name != wanted and low <= flanks(name)[0] and flanks(name)[1] <= high
    ]
    return (wanted, *inside)
