"""What the methods without an insert share: the bolt screws into the parent metal itself. PURE."""

from __future__ import annotations

from inventory.threads import Thread
from repairs.methods import room, steps
from repairs.methods.values import HoleGroup, Limits, Size, Step, Window


def depths(size: Size, limits: Limits) -> room.Depths:
    """Thread + lead + clearance, in nm [common practice, no source].

    >>> from repairs.methods import example
    >>> depths(example.bare("oversize_bolt", "M16x1.5", 24), Limits()).needed(room.PLUG)
    31500000
    """
    outer = size.outer
    return room.Depths(
        parts=(("thread", size.length), ("clearance", room.up(limits["clearance_pitches"] * outer.pitch_mm))),
        pitch=outer.pitch_mm,
        point=outer.nominal // 2 if outer.nominal <= room.POINTED_UP_TO else 0,
        nose=0,
        thread=size.length,
        thickness=size.length,
        source="common practice, no source",
    )


def window(size: Size) -> Window:
    """The drill's window in nm: the minor limits of the thread, default class.

    >>> from repairs.methods import example
    >>> window(example.bare("oversize_bolt", "M16x1.5", 24))
    Window(least=14376000, most=14676000)
    """
    return room.class_window(size.outer)


def takes(thread: Thread, group: HoleGroup, limits: Limits) -> int | None:
    """The longest of this thread that the hole takes as it is, nm; None where its depth was not entered.

    A blind hole keeps the lead of a bottoming tap and the clearance under it.

    >>> from repairs.methods import example
    >>> m16 = example.read("M16x1.5").thread
    >>> [takes(m16, example.holes(depth=depth), Limits()) for depth in (24_000_000, 3_000_000, None)]
    [19500000, 0, None]
    """
    if group.depth is None or group.through:
        return group.depth
    least = thread.pitch_mm * room.BOTTOMING / 10 + limits["clearance_pitches"] * thread.pitch_mm
    return max(0, group.depth - room.up(least))


def cut_in(method: str, thread: Thread, group: HoleGroup, limits: Limits) -> tuple[Size, ...]:
    """One thread as sizes of a method: as long as the shop's rule of engagement asks, and, where the hole takes less
    than that but at least a diameter, as long as it takes too.

    >>> from repairs.methods import example
    >>> m16 = example.read("M16x1.5").thread
    >>> [size.length for size in cut_in("oversize_bolt", m16, example.holes(depth=24_000_000), Limits())]
    [24000000, 19500000]
    """
    wanted = room.engagement_wanted(group, limits, thread)
    there = takes(thread, group, limits)
    lengths = [wanted] if there is None or not thread.nominal <= there < wanted else [wanted, there]
    return tuple(sized(method, thread, length) for length in lengths)


def sized(method: str, thread: Thread, length: int) -> Size:
    """A thread cut `length` nm deep in the metal itself, as a size of a method.

    >>> from repairs.methods import example
    >>> sized("chase", example.read("M14x1.5").thread, 21_000_000).inserted
    False
    """
    return Size(method, "", "", thread, thread, length, source="common practice, no source")


def drilled_and_tapped(fit: steps.Fit) -> tuple[Step, ...]:
    """Drill to the class's window, chamfer, tap: the cutting steps of a thread in the metal itself.

    >>> from repairs.methods import example
    >>> [step.code for step in drilled_and_tapped(example.fit(example.bare("oversize_bolt", "M16x1.5", 24)))]
    ['drill', 'chamfer', 'tap']
    """
    told = (steps.window_told(fit.size.outer, fit.drill),)
    return (steps.drill(fit, settings=told), steps.chamfer(fit), steps.tap(fit))


def proved(fit: steps.Fit) -> tuple[Step, ...]:
    """The closing steps: gauge the bolt's thread, prove it by torque.

    >>> from repairs.methods import example
    >>> [step.code for step in proved(example.fit(example.bare("oversize_bolt", "M16x1.5", 24)))]
    ['final_gauge', 'torque']
    """
    return (steps.final_gauge(fit), steps.torque(fit))
