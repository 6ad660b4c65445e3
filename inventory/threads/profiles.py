"""Basic sizes, tensile stress area and per cent of thread, from the 60 degree profile of ISO 68-1. PURE."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from inventory.threads.thread import INCH, SQRT3, SYSTEMS, Thread

_PI = Decimal("3.1415926535897932384626433833")
# Depths below the major diameter, on diameter, in pitches: H = sqrt(3)/2 P.
PITCH_DEPTH = SQRT3 / 2 * 3 / 4  # 3/4 H = 0.649519 P
MINOR_DEPTH = SQRT3 / 2 * 5 / 4  # 5/4 H = 1.082532 P
ROOT_DEPTH = SQRT3 / 2 * 17 / 12  # 17/12 H = 1.226869 P
_FULL_THREAD = {"5/8H": MINOR_DEPTH, "3/4H": SQRT3 * 3 / 4}


@dataclass(frozen=True, slots=True)
class Basic:
    """Basic diameters in mm. `minor_internal` is D1, `minor_external` d3 at the rounded root."""

    major: Decimal
    pitch_diameter: Decimal
    minor_internal: Decimal
    minor_external: Decimal


def rounded(size: Decimal, inch: bool, places: int | None = None) -> Decimal:
    """A diameter in mm rounded as its standard prints it: 0.001 mm, or 0.0001 in (then exact in mm).

    >>> rounded(Decimal("5.52445"), inch=True), rounded(Decimal("7.18812"), inch=False)
    (Decimal('5.52450'), Decimal('7.188'))
    """
    if inch:
        step = Decimal(1).scaleb(-(4 if places is None else places))
        return (size / INCH).quantize(step, ROUND_HALF_UP) * INCH
    return size.quantize(Decimal(1).scaleb(-(3 if places is None else places)), ROUND_HALF_UP)


def basic(thread: Thread) -> Basic:
    """Basic sizes in mm (ISO 68-1, ISO 724, ASME B1.1).

    D2 = D - 0.649519 P, D1 = D - 1.082532 P, d3 = D - 1.226869 P.
    Rounded as the standard prints them, 0.001 mm or 0.0001 in. For an insert hole the same profile stands on
    its own major diameter D + 1.299038 P (proportions of ASME B18.29.2M). d3 of a Unified thread is taken at
    the same 17/12 H, the deeper of the roots in print.

    >>> basic(Thread("M", 14_000_000, 1_500_000)).minor_internal
    Decimal('12.376')
    >>> basic(Thread("EG-M", 14_000_000, 1_500_000)).major
    Decimal('15.949')
    """
    inch = SYSTEMS[thread.system].inch
    major, pitch = thread.major_mm, thread.pitch_mm
    return Basic(
        major=rounded(major, inch),
        pitch_diameter=rounded(major - PITCH_DEPTH * pitch, inch),
        minor_internal=rounded(major - MINOR_DEPTH * pitch, inch),
        minor_external=rounded(major - ROOT_DEPTH * pitch, inch),
    )


def stress_area(thread: Thread) -> Decimal:
    """Tensile stress area in mm2 to 0.01.

    Metric pi/4 (d - 0.938194 P)2 (ISO 898-1 9.1.6.1), Unified pi/4 (D - 0.974279 P)2 (FED-STD-H28/2B II.B.1).
    For an insert-hole thread the area of its bolt.

    >>> stress_area(Thread("M", 8_000_000, 1_250_000))
    Decimal('36.61')
    """
    depth = SQRT3 * 9 / 16 if SYSTEMS[thread.system].inch else (PITCH_DEPTH + ROOT_DEPTH) / 2
    mean = thread.nominal_mm - depth * thread.pitch_mm
    return (_PI / 4 * mean * mean).quantize(Decimal("0.01"), ROUND_HALF_UP)


def percent_of_thread(thread: Thread, drill_mm: Decimal, basis: str) -> Decimal:
    """Depth of thread that a hole of `drill_mm` leaves, in per cent of the full depth, to 0.01.

    `basis` is "5/8H" (the ISO basic depth, 1.082532 P on diameter) or "3/4H" (1.299038 P, the basis of
    American drill tables, Machinery's Handbook 31 p.2155). Raises ValueError for another basis.

    >>> percent_of_thread(Thread("M", 16_000_000, 1_500_000), Decimal("14.5"), "5/8H")
    Decimal('92.38')
    >>> percent_of_thread(Thread("M", 16_000_000, 1_500_000), Decimal("14.5"), "3/4H")
    Decimal('76.98')
    """
    if basis not in _FULL_THREAD:
        raise ValueError(f"unknown basis {basis!r}")
    depth = (thread.major_mm - drill_mm) / (_FULL_THREAD[basis] * thread.pitch_mm)
    return (depth * 100).quantize(Decimal("0.01"), ROUND_HALF_UP)
