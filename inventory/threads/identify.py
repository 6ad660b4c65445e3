"""What is this thread? Candidates for what was measured, ranked, and what would tell them apart. PURE."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

from inventory.errors import Reason
from inventory.threads.limits import external_limits, internal_limits
from inventory.threads.profiles import basic
from inventory.threads.thread import INCH, SYSTEMS, Thread, ThreadError, covered, plain

# Doubts where none is stated; rules of thumb, no source: a calliper on a worn crest, a pitch gauge held to the light,
# half a thread on a count over an inch.
DOUBT_MM = Decimal("0.05")
PITCH_DOUBT_MM = Decimal("0.02")
TPI_DOUBT = Decimal("0.5")
# A candidate is shown up to so many doubts off; the nearest few always are, so that an answer is never empty.
_FARTHEST = 4
_AT_LEAST = 3
# Counting threads over 25 mm tells two pitches apart when the counts differ by this much (rule of thumb).
_COUNTED = 25
_COUNT_STEP = Decimal("0.5")
_MICRO = 1_000_000
# What can be measured: a nanometre to a metre, and counts over an inch.
_LEAST, _MOST = Decimal("0.000001"), Decimal(1000)
_MOST_TPI = Decimal(200)
# What the bench meets most comes first among equals (common practice, no source).
_COMMON = {
    "coarse": 0,
    "UNC": 1,
    "UNF": 1,
    "spark plug": 1,
    "fine": 2,
    "BSW": 2,
    "BSF": 2,
    "BA": 2,
    "G": 2,
    "26 tpi": 3,
}


@dataclass(frozen=True, slots=True)
class Candidate:
    """A thread that fits what was measured.

    `diameter_off_mm` is how far the measured diameter lies outside the limits of the default class (0 inside; a worn
    crest lies below), `pitch_off_mm` how far the pitch is off, each None where that was not measured. `off_by` is the
    larger of the two in doubts, to 0.01. `tell_apart` says what would tell it from the best candidate (the best one
    from the next that is not the same thread under another name): reasons

    - `tell_apart_by_count` (thread, other, count, other_count: threads over 25 mm);
    - `tell_apart_by_angle` (thread, other, angle, other_angle);
    - `tell_apart_by_outside`, `tell_apart_by_inside` (thread, other, size_nm, other_size_nm: basic major or minor);
    - `tell_apart_by_little` (thread, other, difference_nm) where none of these does;
    - `tell_apart_by_nothing` (thread, other) where the two are the same in all but the name.
    """

    thread: Thread
    off_by: Decimal
    diameter_off_mm: Decimal | None
    pitch_off_mm: Decimal | None
    tell_apart: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class _Sizes:
    """What a thread is measured by, in nm."""

    thread: Thread
    outside: tuple[int, int] | None
    inside: tuple[int, int]
    pitch: int
    common: int


@lru_cache(maxsize=4096)
def _sizes(thread: Thread) -> _Sizes:
    hole = internal_limits(thread)
    outside = None
    if not SYSTEMS[thread.system].bolt:
        bolt = external_limits(thread)
        outside = round(bolt.major_min * _MICRO), round(bolt.major_max * _MICRO)
    return _Sizes(
        thread,
        outside,
        (round(hole.minor_min * _MICRO), round(hole.minor_max * _MICRO)),
        round(thread.pitch_mm * _MICRO),
        _COMMON.get(thread.series, 4) + (3 if SYSTEMS[thread.system].bolt else 0),
    )


def identify(
    *,
    outside_mm: Decimal | None = None,
    inside_mm: Decimal | None = None,
    pitch_mm: Decimal | None = None,
    tpi: Decimal | None = None,
    doubt_mm: Decimal | None = None,
    pitch_doubt_mm: Decimal | None = None,
    among: Iterable[Thread] | None = None,
    most: int = 12,
) -> tuple[Candidate, ...]:
    """The threads that a measurement may belong to, nearest first, `most` at the most.

    Measured is the outside diameter of a bolt *or* the inside (minor) diameter of a hole, in mm, and the pitch in mm
    *or* in threads per inch; either may be missing. `doubt_mm` and `pitch_doubt_mm` are how far the measurement may
    be wrong (0.05 mm; 0.02 mm, or half a thread per inch: rules of thumb). Compared are the limits of the default
    class and the exact pitch. Insert holes are among the answers to an inside diameter. `among` limits the choice;
    without it all covered right-hand threads are looked at (hand is seen, not measured).

    Raises ThreadError: `measured_nothing`, `measured_twice` (both diameters or both pitches), `measured_impossible`
    (measured: a size or a doubt under a nanometre or over a metre, a count that is not from 1 to 200).

    >>> [found.thread.designation for found in identify(outside_mm=Decimal("9.47"), tpi=Decimal(20))][:2]
    ['3/8-20 BSF', '3/8-20 UN']
    >>> best = identify(outside_mm=Decimal("6.3"), pitch_mm=Decimal("0.98"))[0]
    >>> best.thread.designation, best.off_by, [reason.code for reason in best.tell_apart]
    ('1/4-26 BSF', Decimal('0.15'), ['tell_apart_by_angle'])
    """
    if (outside_mm is not None and inside_mm is not None) or (pitch_mm is not None and tpi is not None):
        raise ThreadError(Reason("measured_twice"))
    sizes_mm = [(size, _LEAST, _MOST) for size in (outside_mm, inside_mm, pitch_mm, doubt_mm, pitch_doubt_mm)]
    for measured, low, high in [*sizes_mm, (tpi, Decimal(1), _MOST_TPI)]:
        if measured is not None and not (measured.is_finite() and low <= measured <= high):
            raise ThreadError(Reason("measured_impossible", measured=str(measured)[:40]))
    diameter = outside_mm or inside_mm
    pitch = INCH / tpi if tpi else pitch_mm
    if diameter is None and pitch is None:
        raise ThreadError(Reason("measured_nothing"))
    doubt = doubt_mm or DOUBT_MM
    pitch_doubt = pitch_doubt_mm or (INCH / tpi - INCH / (tpi + TPI_DOUBT) if tpi else PITCH_DOUBT_MM)
    ranked = []
    for sizes in map(_sizes, covered() if among is None else among):
        window = sizes.outside if inside_mm is None else sizes.inside
        if window is None:
            continue
        off = None if diameter is None else _outside(round(diameter * _MICRO), window)
        pitch_off = None if pitch is None else abs(round(pitch * _MICRO) - sizes.pitch)
        doubts = (off or 0) / (doubt * _MICRO), (pitch_off or 0) / (pitch_doubt * _MICRO)
        middle = abs(2 * round((diameter or 0) * _MICRO) - sum(window))
        ranked.append((max(doubts), sum(doubts), sizes.common, middle, sizes.thread.key, sizes, off, pitch_off))
    ranked.sort(key=lambda row: row[:5])
    kept = [row for index, row in enumerate(ranked) if row[0] <= _FARTHEST or index < _AT_LEAST][:most]
    threads = [row[5].thread for row in kept]
    return tuple(
        Candidate(
            thread=sizes.thread,
            off_by=off_by.quantize(Decimal("0.01"), ROUND_HALF_UP),
            diameter_off_mm=None if off is None else Decimal(off).scaleb(-6),
            pitch_off_mm=None if pitch_off is None else Decimal(pitch_off).scaleb(-6),
            tell_apart=_told(sizes.thread, threads, doubt, inside=inside_mm is not None),
        )
        for off_by, _, _, _, _, sizes, off, pitch_off in kept
    )


def _outside(size: int, window: tuple[int, int]) -> int:
    return max(window[0] - size, size - window[1], 0)


def _told(thread: Thread, threads: list[Thread], doubt: Decimal, inside: bool) -> tuple[Reason, ...]:
    """What tells a candidate from the best one, or the best one from the next that can be told from it."""
    if thread != threads[0]:
        return tell_apart(thread, threads[0], doubt, inside)
    against = [tell_apart(thread, other, doubt, inside) for other in threads[1:]]
    telling = [found for found in against if found[0].code != "tell_apart_by_nothing"]
    return next(iter([*telling, *against]), ())


def tell_apart(thread: Thread, other: Thread, doubt_mm: Decimal = DOUBT_MM, inside: bool = False) -> tuple[Reason, ...]:
    """Which measurements tell two threads apart, the easiest first; never empty.

    Counting over 25 mm where the counts differ by half a thread, the flank-angle gauge where the angles differ, the
    diameter (`inside`: a hole's) where the basic ones in mm are more than twice the doubt apart: rules of thumb on the
    geometry of the profiles. Else the reason says that little or nothing does.

    >>> bsf, cycle = Thread("BSF", 6_350_000, 52), Thread("CYCLE", 6_350_000, 52)
    >>> [reason.code for reason in tell_apart(bsf, cycle)]
    ['tell_apart_by_angle']
    >>> tell_apart(Thread("M", 6_000_000, 1_000_000), bsf)[0]["other_count"]
    '25.6'
    """
    names = {"thread": thread.designation, "other": other.designation}
    found = []
    counts = [_COUNTED / each.pitch_mm for each in (thread, other)]
    if abs(counts[0] - counts[1]) >= _COUNT_STEP:
        count, other_count = (plain(each.quantize(Decimal("0.1"), ROUND_HALF_UP)) for each in counts)
        found.append(Reason("tell_apart_by_count", **names, count=count, other_count=other_count))
    angles = [SYSTEMS[each.system].angle for each in (thread, other)]
    if angles[0] != angles[1]:
        angle, other_angle = (plain(each) for each in angles)
        found.append(Reason("tell_apart_by_angle", **names, angle=angle, other_angle=other_angle))
    sizes = [basic(each) for each in (thread, other)]
    size, other_size = (round((each.minor_internal if inside else each.major) * _MICRO) for each in sizes)
    if abs(size - other_size) > 2 * doubt_mm * _MICRO:
        code = "tell_apart_by_inside" if inside else "tell_apart_by_outside"
        found.append(Reason(code, **names, size_nm=size, other_size_nm=other_size))
    if found:
        return tuple(found)
    if size != other_size or thread.pitch_mm != other.pitch_mm:
        return (Reason("tell_apart_by_little", **names, difference_nm=abs(size - other_size)),)
    return (Reason("tell_apart_by_nothing", **names),)
