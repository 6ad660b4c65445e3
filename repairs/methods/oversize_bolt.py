"""Next oversize bolt or stud: the hole is drilled and tapped for a larger one, no insert goes in. PURE."""

from __future__ import annotations

from inventory.errors import Reason
from inventory.threads import SYSTEMS, Thread, series
from repairs.methods import bare, steps
from repairs.methods.bare import depths, window
from repairs.methods.values import DOUBTFUL, Check, HoleGroup, Limits, Size, Step

__all__ = ["BY_CHOICE", "CODE", "checks", "depths", "operations", "sizes", "window"]

CODE = "oversize_bolt"
BY_CHOICE = True  # it changes the customer's bolt and the hole in the other part
NEXT = 2  # how many of the next larger diameters are weighed


def sizes(group: HoleGroup, limits: Limits) -> tuple[Size, ...]:
    """The next larger published diameters of the bolt's own system and hand, in its pitch and in the coarse one.

    >>> from repairs.methods import example
    >>> [(size.inner.designation, size.length) for size in sizes(example.holes(), Limits())]
    [('M15x1.5', 22500000), ('M16x2', 24000000), ('M16x1.5', 24000000)]
    """
    bolt = group.bolt
    if SYSTEMS[bolt.system].bolt:
        return ()
    larger = [thread for thread in series(bolt.system) if thread.nominal > bolt.nominal]
    next_up = sorted({thread.nominal for thread in larger})[:NEXT]
    found: list[Size] = []
    for nominal in next_up:
        threads = [thread for thread in larger if thread.nominal == nominal]
        for thread in threads:
            if thread is threads[0] or thread.pitch == bolt.pitch:
                found += bare.cut_in(CODE, Thread(bolt.system, nominal, thread.pitch, bolt.hand), group, limits)
    return tuple(found)


def checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """It is signed for: the owner gets another bolt, and the hole in the other part is opened for it.

    >>> from repairs.methods import example
    >>> [check.reason.code for check in checks(example.holes(), example.bare(CODE, "M16x1.5", 24), Limits())]
    ['another_bolt']
    """
    return (Check(DOUBTFUL, Reason("another_bolt", bolt=size.inner.designation, was=group.bolt.designation)),)


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Clamp, drill, chamfer, tap, clean, gauge, prove.

    >>> from repairs.methods import example
    >>> print(*(step.code for step in operations(example.fit(example.bare(CODE, "M16x1.5", 24)))))
    clamp drill chamfer tap clean final_gauge torque
    """
    return steps.in_order(fit, cutting=bare.drilled_and_tapped(fit), after=bare.proved(fit))
