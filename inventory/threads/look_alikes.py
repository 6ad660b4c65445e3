"""Threads that start by hand and must never be taken for one another, computed from their profiles. PURE."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from inventory.threads.profiles import basic
from inventory.threads.thread import SYSTEMS, Thread

# How near two threads must be for one to start in the other by hand. Rules of thumb, no source: diameters
# within four tenths of the finer pitch leave some flank over flank, and two turns are felt as "it goes in".
_REACH = Decimal("0.4")
_LEAST_TURNS = 2


@dataclass(frozen=True, slots=True)
class LookAlike:
    """A thread that could be taken for another, and how far it is off (its own less the other's).

    Differences in mm and degrees. `turns_to_quarter_pitch`: turns until the pitch error has grown to a
    quarter of the finer pitch, where it binds or cuts; None for equal pitches, which never bind.
    """

    thread: Thread
    diameter_difference_mm: Decimal
    pitch_difference_mm: Decimal
    angle_difference: Decimal
    turns_to_quarter_pitch: Decimal | None


def compare(thread: Thread, other: Thread) -> LookAlike:
    """How far `other` is off `thread`, whether or not it is near enough to be mistaken for it.

    >>> compare(Thread("M", 14_000_000, 1_500_000), Thread("UN", 14_287_500, 36)).turns_to_quarter_pitch
    Decimal('4.0')
    """
    finer = min(thread.pitch_mm, other.pitch_mm)
    step = other.pitch_mm - thread.pitch_mm
    return LookAlike(
        thread=other,
        diameter_difference_mm=basic(other).major - basic(thread).major,
        pitch_difference_mm=step.quantize(Decimal("0.0001"), ROUND_HALF_UP),
        angle_difference=SYSTEMS[other.system].angle - SYSTEMS[thread.system].angle,
        turns_to_quarter_pitch=((finer / 4 / abs(step)).quantize(Decimal("0.1"), ROUND_HALF_UP) if step else None),
    )


def look_alikes(thread: Thread, among: Iterable[Thread]) -> tuple[LookAlike, ...]:
    """Those of `among` that could be taken for `thread`, the most deceptive first.

    Of the same hand, not the thread itself: every thread of the same system and nominal size with another
    pitch; and every one whose major diameter lies within 0.4 of the finer pitch and that turns in twice or
    more before a quarter of a pitch is lost. Insert holes are compared by their own diameters, so that an EG
    M14x1.5 hole is a twin of M16x1.5. The other hand is no look-alike: it does not start.

    >>> m14, unf = Thread("M", 14_000_000, 1_500_000), Thread("UN", 14_287_500, 36)
    >>> spark_plug = Thread("M", 14_000_000, 1_250_000)
    >>> [found.thread.designation for found in look_alikes(m14, [unf, m14, spark_plug])]
    ['9/16-18 UNF', 'M14x1.25']
    >>> bush, insert_hole = Thread("M", 16_000_000, 1_500_000), Thread("EG-M", 14_000_000, 1_500_000)
    >>> [found.thread.designation for found in look_alikes(bush, [insert_hole])]
    ['EG M14x1.5']
    """
    found = []
    for other in among:
        if other == thread or other.hand != thread.hand:
            continue
        difference = compare(thread, other)
        turns = difference.turns_to_quarter_pitch
        near = abs(difference.diameter_difference_mm) <= _REACH * min(thread.pitch_mm, other.pitch_mm)
        same_size = (other.system, other.nominal) == (thread.system, thread.nominal)
        if same_size or (near and (turns is None or turns >= _LEAST_TURNS)):
            found.append(difference)

    def deception(difference: LookAlike) -> tuple[Decimal, Decimal, str]:
        turns = difference.turns_to_quarter_pitch
        return (
            -turns if turns is not None else Decimal(-10_000),
            abs(difference.diameter_difference_mm),
            difference.thread.key,
        )

    return tuple(sorted(found, key=deception))
