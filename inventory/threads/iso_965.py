"""Limits of metric threads: ISO 965-1 from its tables, elsewhere its formulas with the standard's rounding. PURE."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from inventory.threads.profiles import basic
from inventory.threads.published import table
from inventory.threads.thread import SYSTEMS, Thread, plain
from inventory.threads.values import ExternalLimits, InternalLimits

_THIRD = Decimal(1) / 3
_UM = Decimal("0.001")
_ZERO = Decimal(0)
_ISO_CLASS = re.compile(r"([3-9])([GHgh])(?:([3-9])([GHgh]))?", re.ASCII)
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


def _tolerances(
    thread: Thread, thread_class: str, internal: bool
) -> tuple[Tolerance, Tolerance, Tolerance | None] | None:
    """Crest and flank tolerance and the deviation (None at H and h); None for what is no ISO class of this side."""
    match = _ISO_CLASS.fullmatch(thread_class)
    if not match or match[2].isupper() != internal or match[4] not in (None, match[2]):
        return None
    pitch = thread.pitch_mm
    crest = tolerance("TD1" if internal else "Td", pitch, match[3] or match[1])
    flank = tolerance("TD2" if internal else "Td2", pitch, match[1], thread.nominal_mm)
    if crest is None or flank is None:
        return None
    return crest, flank, tolerance("es_g", pitch) if match[2] in "Gg" else None


def _source(found: tuple[Tolerance, ...]) -> tuple[str, bool]:
    computed = any(part.how == "computed" for part in found)
    if computed:
        return "ISO 965-1:1998 clause 13, formulas rounded to R40", True
    memory = any(part.how == "memory" for part in found)
    return "ISO 965-1:1998 tables 1 to 6" + (" (a value from memory)" if memory else ""), False


def internal(thread: Thread, thread_class: str) -> InternalLimits | None:
    """Limits of a metric hole in mm, None for a class that ISO 965-1 does not have for it.

    >>> limits = internal(Thread("M", 16_000_000, 1_500_000), "6H")
    >>> limits.minor_min, limits.minor_max
    (Decimal('14.376'), Decimal('14.676'))
    """
    sizes = basic(thread)
    hole = bool(SYSTEMS[thread.system].bolt)
    found = _tolerances(thread, thread_class, internal=True)
    if found is None:
        return None
    crest, flank, lift = found
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


def external(thread: Thread, thread_class: str) -> ExternalLimits | None:
    """Limits of a metric bolt in mm, None for a class that ISO 965-1 does not have for it.

    >>> external(Thread("M", 14_000_000, 1_500_000), "6g").major_max
    Decimal('13.968')
    """
    sizes = basic(thread)
    found = _tolerances(thread, thread_class, internal=False)
    if found is None:
        return None
    crest, flank, lift = found
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
