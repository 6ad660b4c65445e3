"""Keyed bush: wound into a hole of its own drill, then keys are driven down beside its thread. PURE."""

from __future__ import annotations

from inventory.errors import Reason
from inventory.quantities import to_mm
from inventory.threads import internal_limits, percent_of_thread
from repairs.methods import room, steps
from repairs.methods.values import Check, HoleGroup, Limits, Size, Step, Window

CODE = "keyed_bush"


def depths(size: Size, limits: Limits) -> room.Depths:
    """Set-down + insert + lead + clearance, in nm [common practice; the published table gives the set-down
    alone].

    >>> from inventory.threads import read
    >>> inner, outer = read("5/16-18 UNC").thread, read("1/2-13 UNC").thread
    >>> size = Size("keyed_bush", "keyed", "1", inner, outer, 11_112_500, below=Window(254_000, 762_000))
    >>> depths(size, Limits()).thickness
    11366500
    """
    return room.bush_depths(size, limits)


def window(size: Size) -> Window:
    """The drill's window in nm: the family's own, since it lies above the minor limits of the outer thread.

    A family without one falls back on those limits.

    >>> from repairs.methods import example
    >>> window(example.keyed()), window(example.keyed(drill=None))
    (Window(least=11459375, most=11559375), Window(least=10591800, most=11023600))
    """
    return size.drill or room.class_window(size.outer)


def checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """The judgement of its own: the wall between bolt thread and outer thread.

    >>> from repairs.methods import example
    >>> checks(example.holes(), example.keyed(), Limits())[0].status
    'fits'
    """
    return (room.wall_check(size, limits),)


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Drill, countersink, tap, clean, gauge; wind in to the set-down, drive the keys, measure, gauge, prove.

    The countersink takes the burr off with it, so there is no step of its own for that.

    >>> from repairs.methods import example
    >>> print(*(step.code for step in operations(example.fit(example.keyed()))))
    clamp drill countersink tap clean hole_gauge wind_in drive_keys set_down final_gauge torque
    """
    size = fit.size
    source = size.source
    sink = steps.countersink(fit, "countersink", size.seat, source=source) if size.seat is not None else None
    driver = steps.need(fit, "drive_keys", "key_driver", thread=size.inner.key)
    return steps.in_order(
        fit,
        cutting=(
            steps.drill(fit, settings=(_own_drill(size, fit.drill),), oversize=size.drill is None),
            sink or steps.chamfer(fit),
            steps.tap(fit),
        ),
        after=(
            steps.wind_in(fit, cautions=(Reason("below_before_keys"),)),
            Step("drive_keys", (driver,), cautions=(Reason("keys_down_in_parent"),)),
            steps.set_down(fit),
            steps.final_gauge(fit),
            steps.torque(fit),
        ),
    )


def _own_drill(size: Size, window: Window) -> Reason:
    if size.drill is None:
        return steps.window_told(size.outer, window)
    limits = internal_limits(size.outer)
    middle = (window.least + window.most) // 2
    return Reason(
        "drill_of_the_family",
        thread=size.outer.designation,
        thread_class=limits.thread_class,
        drill_nm=middle,
        least_nm=window.least,
        most_nm=window.most,
        class_least_nm=room.up(limits.minor_min),
        class_most_nm=room.down(limits.minor_max),
        percent=format(percent_of_thread(size.outer, to_mm(middle), "5/8H"), "f"),
        basis="5/8 H",
        family=size.family_key,
        source=size.source,
    )
