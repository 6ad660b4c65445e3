"""Plug or weld, then drill and tap anew: the hole is filled with metal and gets its own thread again. PURE."""

from __future__ import annotations

from inventory.errors import Reason
from repairs.methods import bare, steps
from repairs.methods.bare import depths, window
from repairs.methods.values import DOUBTFUL, NOT_CHECKED, Check, HoleGroup, Limits, Size, Step

__all__ = ["BY_CHOICE", "CODE", "checks", "depths", "operations", "sizes", "window"]

CODE = "plug_or_weld"
BY_CHOICE = True


def sizes(group: HoleGroup, limits: Limits) -> tuple[Size, ...]:
    """The bolt's own thread in the new metal.

    >>> from repairs.methods import example
    >>> [size.inner.designation for size in sizes(example.holes(), Limits())]
    ['M14x1.5']
    """
    return bare.cut_in(CODE, group.bolt, group, limits)


def checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """It is signed for: heat softens and may crack a casting, and a plug is only as good as its own thread [common].

    How strong the filled-in metal is nobody entered, so its thread is not checked.

    >>> from repairs.methods import example
    >>> [check.status for check in checks(example.holes(), example.bare(CODE, "M14x1.5", 21), Limits())]
    ['doubtful', 'not_checked']
    """
    return (
        Check(DOUBTFUL, Reason("filled_by_a_qualified_hand", material=group.material)),
        Check(NOT_CHECKED, Reason("filler_strength_missing")),
    )


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Open up, fill, dress the face; then as a new hole: drill, chamfer, tap, clean, gauge, prove.

    >>> from repairs.methods import example
    >>> print(*(step.code for step in operations(example.fit(example.bare(CODE, "M14x1.5", 21)))))
    clamp open_up fill dress drill chamfer tap clean final_gauge torque
    """
    heat = (Reason("magnesium_welding"),) if fit.group.material == "magnesium" else ()
    filled = (
        Step("open_up", settings=(Reason("open_up_to_sound_metal"),)),
        Step("fill", settings=(Reason("fill_with_metal"),), cautions=(Reason("weld_by_its_procedure"), *heat)),
        Step("dress", settings=(Reason("dress_flush"),)),
    )
    return steps.in_order(fit, cutting=(*filled, *bare.drilled_and_tapped(fit)), after=bare.proved(fit))
