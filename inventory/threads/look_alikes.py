"""Threads that start by hand and must never be taken for one another, computed from their profiles. PURE."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from inventory.errors import Reason
from inventory.threads.profiles import basic
from inventory.threads.thread import SYSTEMS, Thread, plain

# How near two threads must be for one to start in the other by hand. Rules of thumb, no source: diameters
# within four tenths of the finer pitch leave some flank over flank, and two turns are felt as "it goes in".
_REACH = Decimal("0.4")
_LEAST_TURNS = 2
_NM_PER_MM = 1_000_000


@dataclass(frozen=True, slots=True)
class LookAlike:
    """A thread that could be taken for another, and how far it is off (its own less the other's).

    Differences in mm and degrees. `turns_to_quarter_pitch`: turns until the pitch error has grown to a
    quarter of the finer pitch, where it binds or cuts; None for equal pitches, which never bind. `reason` is what
    a fitter needs to be told:

    - `look_alike_same` (thread, other): the same in all but the name;
    - `look_alike_angle` (thread, other, angle, other_angle): equal pitch, other flanks;
    - `look_alike_size` (thread, other, difference_nm): equal pitch and flanks, another diameter;
    - `look_alike_pitch` (thread, other, turns, pitch_difference_nm, and where they differ difference_nm, angle and
      other_angle): it starts and binds;
    - `look_alike_other_pitch` (the same data): its pitch is so far off that it hardly starts.

    Differences in a reason have no sign.
    """

    thread: Thread
    diameter_difference_mm: Decimal
    pitch_difference_mm: Decimal
    angle_difference: Decimal
    turns_to_quarter_pitch: Decimal | None
    reason: Reason


def compare(thread: Thread, other: Thread) -> LookAlike:
    """How far `other` is off `thread`, whether or not it is near enough to be mistaken for it.

    Major diameters are compared, of insert holes their own; geometry of the basic profiles, no source.

    >>> found = compare(Thread("M", 14_000_000, 1_500_000), Thread("UN", 14_287_500, 36))
    >>> found.turns_to_quarter_pitch, found.reason.code
    (Decimal('4.0'), 'look_alike_pitch')
    >>> compare(Thread("BSF", 6_350_000, 52), Thread("CYCLE", 6_350_000, 52)).reason["other_angle"]
    '60'
    """
    finer = min(thread.pitch_mm, other.pitch_mm)
    step = other.pitch_mm - thread.pitch_mm
    size = basic(other).major - basic(thread).major
    angles = SYSTEMS[thread.system].angle, SYSTEMS[other.system].angle
    turns = (finer / 4 / abs(step)).quantize(Decimal("0.1"), ROUND_HALF_UP) if step else None
    return LookAlike(
        thread=other,
        diameter_difference_mm=size,
        pitch_difference_mm=step.quantize(Decimal("0.0001"), ROUND_HALF_UP),
        angle_difference=angles[1] - angles[0],
        turns_to_quarter_pitch=turns,
        reason=_told(thread, other, abs(size), abs(step), angles, turns),
    )


def _told(
    thread: Thread,
    other: Thread,
    size: Decimal,
    step: Decimal,
    angles: tuple[Decimal, Decimal],
    turns: Decimal | None,
) -> Reason:
    data: dict[str, str | int] = {"thread": thread.designation, "other": other.designation}
    if angles[0] != angles[1]:
        data |= {"angle": plain(angles[0]), "other_angle": plain(angles[1])}
    difference_nm = round(size * _NM_PER_MM)
    if turns is not None:
        data |= {"turns": plain(turns), "pitch_difference_nm": round(step * _NM_PER_MM)}
        if difference_nm:
            data["difference_nm"] = difference_nm
        return Reason("look_alike_pitch" if turns >= _LEAST_TURNS else "look_alike_other_pitch", **data)
    if "angle" in data:
        return Reason("look_alike_angle", **data)
    if difference_nm:
        return Reason("look_alike_size", **data, difference_nm=difference_nm)
    return Reason("look_alike_same", **data)


def look_alikes(thread: Thread, among: Iterable[Thread]) -> tuple[LookAlike, ...]:
    """Those of `among` that could be taken for `thread`, the most deceptive first.

    Of the same hand, not the thread itself: every thread of the same system and nominal size with another
    pitch; and every one whose major diameter lies within 0.4 of the finer pitch and that turns in twice or
    more before a quarter of a pitch is lost. Insert holes are compared by their own diameters, so that an EG
    M14x1.5 hole is a twin of M16x1.5. The other hand is no look-alike: it does not start. For all that there are, ask
    among `covered(thread.hand)`.

    >>> m14, unf = Thread("M", 14_000_000, 1_500_000), Thread("UN", 14_287_500, 36)
    >>> spark_plug = Thread("M", 14_000_000, 1_250_000)
    >>> [found.thread.designation for found in look_alikes(m14, [unf, m14, spark_plug])]
    ['9/16-18 UNF', 'M14x1.25']
    >>> bush, insert_hole = Thread("M", 16_000_000, 1_500_000), Thread("EG-M", 14_000_000, 1_500_000)
    >>> [found.thread.designation for found in look_alikes(bush, [insert_hole])]
    ['EG M14x1.5']
    """
    major, pitch = basic(thread).major, thread.pitch_mm
    found = []
    for other in among:
        if other == thread or other.hand != thread.hand:
            continue
        finer = min(pitch, other.pitch_mm)
        near = abs(basic(other).major - major) <= _REACH * finer
        starts = abs(other.pitch_mm - pitch) * 4 * _LEAST_TURNS <= finer
        same_size = (other.system, other.nominal) == (thread.system, thread.nominal)
        if same_size or (near and starts):
            found.append(compare(thread, other))

    def deception(difference: LookAlike) -> tuple[Decimal, Decimal, str]:
        turns = difference.turns_to_quarter_pitch
        return (
            -turns if turns is not None else Decimal(-10_000),
            abs(difference.diameter_difference_mm),
            difference.thread.key,
        )

    return tuple(sorted(found, key=deception))
