"""All that is known of one thread and class, in one frozen value. PURE."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

from inventory.threads.drills import Drill, DrillChoice, DrillError, drill_choices, tap_drill
from inventory.threads.insert_holes import MajorRange, insert_hole, insert_hole_tap_major
from inventory.threads.limits import class_as_written, classes, external_limits, internal_limits, limits_of_class
from inventory.threads.look_alikes import LookAlike, look_alikes
from inventory.threads.profiles import Basic, Vertex, basic, outline, stress_area
from inventory.threads.published import table
from inventory.threads.thread import SYSTEMS, Thread, ThreadError, covered, uses
from inventory.threads.values import ExternalLimits, InternalLimits


@dataclass(frozen=True, slots=True)
class InsertHoleSizes:
    """The hole that a wire insert for a bolt is wound into: thread, sizes, limits, largest tap, drills."""

    thread: Thread
    basic: Basic
    limits: InternalLimits
    tap_major: MajorRange
    drills: tuple[DrillChoice, ...]


@dataclass(frozen=True, slots=True)
class Dossier:
    """One thread and class: sizes in Decimal mm (`inches` turns them), areas in mm2, angle in degrees.

    `internal` is None where the class that was asked for is one of the outside only, `external` likewise and for
    insert holes. `internal_classes` and `external_classes` are all that the thread has. `tap_drill` is the usual
    drill (None where no standard one fits), `drills` every one in the window of `internal`, best first. `bolt` is the
    thread that goes into an insert hole's insert, `insert_hole` the hole that is cut for a bolt's insert.
    `how_listed` is how its line in the table of sizes is known (read, library, memory; "" if no table lists it).
    `sources` name all that the numbers rest on.
    """

    thread: Thread
    standard: str
    series: str
    uses: tuple[str, ...]
    how_listed: str
    angle: Decimal
    pitch_mm: Decimal
    tpi: Decimal | None
    basic: Basic
    outline: tuple[Vertex, ...]
    stress_area_mm2: Decimal
    internal: InternalLimits | None
    external: ExternalLimits | None
    internal_classes: tuple[str, ...]
    external_classes: tuple[str, ...]
    tap_drill: Drill | None
    drills: tuple[DrillChoice, ...]
    bolt: Thread | None
    insert_hole: InsertHoleSizes | None
    look_alikes: tuple[LookAlike, ...]
    sources: tuple[str, ...]


@lru_cache(maxsize=512)
def dossier(thread: Thread, thread_class: str = "") -> Dossier:
    """Everything about a thread: for the class that is named, or for the default ones of both sides.

    A class that both sides have ("close") is answered for both. Look-alikes are looked for among all covered threads
    of its hand. Raises ThreadError `thread_class_unknown` for a class that the thread does not have.

    >>> found = dossier(Thread("M", 14_000_000, 1_500_000))
    >>> found.internal.minor_max, found.external.thread_class, found.insert_hole.thread.designation
    (Decimal('12.676'), '6g', 'EG M14x1.5')
    >>> [twin.thread.designation for twin in found.look_alikes][:2], found.tap_drill.name
    (['EG M12x1.5', '9/16-16 BSF'], '12.5 mm')
    >>> dossier(Thread("M", 14_000_000, 1_500_000), "6g").internal is None
    True
    """
    thread_class = class_as_written(thread, thread_class.strip())
    system = SYSTEMS[thread.system]
    inside, outside = classes(thread), classes(thread, internal=False)
    internal: InternalLimits | None = None
    external: ExternalLimits | None = None
    if not thread_class:
        internal = internal_limits(thread)
        external = external_limits(thread) if outside else None
    else:
        limits = limits_of_class(thread, thread_class)
        internal = limits if isinstance(limits, InternalLimits) else None
        if thread_class in outside or isinstance(limits, ExternalLimits):
            external = external_limits(thread, thread_class)
    hole = _insert_hole(thread)
    drill = _tap_drill(thread)
    published = thread.published
    sources = [
        f"{system.standard}: sizes of {table(system.sizes).source}",
        *(limits.source for limits in (internal, external, hole and hole.limits) if limits),
        *([drill.source] if drill else []),
        *([hole.tap_major.source] if hole else []),
    ]
    return Dossier(
        thread=thread,
        standard=system.standard,
        series=thread.series,
        uses=uses(thread),
        how_listed=published.how if published else "",
        angle=system.angle,
        pitch_mm=thread.pitch_mm,
        tpi=thread.tpi,
        basic=basic(thread),
        outline=outline(thread),
        stress_area_mm2=stress_area(thread),
        internal=internal,
        external=external,
        internal_classes=inside,
        external_classes=outside,
        tap_drill=drill,
        drills=drill_choices(thread, internal.thread_class) if internal else (),
        bolt=replace(thread, system=system.bolt) if system.bolt else None,
        insert_hole=hole,
        look_alikes=look_alikes(thread, covered(thread.hand)),
        sources=tuple(dict.fromkeys(sources)),
    )


def _tap_drill(thread: Thread) -> Drill | None:
    try:
        return tap_drill(thread)
    except DrillError:
        return None


def _insert_hole(thread: Thread) -> InsertHoleSizes | None:
    try:
        hole = insert_hole(thread)
    except ThreadError:
        return None
    return InsertHoleSizes(
        thread=hole,
        basic=basic(hole),
        limits=internal_limits(hole),
        tap_major=insert_hole_tap_major(hole),
        drills=drill_choices(hole),
    )
