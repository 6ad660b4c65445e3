"""Scrap: the part is replaced. What is cracked, or left with too little metal, is not repaired. PURE."""

from __future__ import annotations

from inventory.errors import Reason
from repairs.methods import bare, steps
from repairs.methods.bare import depths, window
from repairs.methods.values import NOT_CHECKED, Check, HoleGroup, Limits, Size, Step

__all__ = ["BY_CHOICE", "CODE", "checks", "depths", "operations", "sizes", "window"]

CODE = "scrap_part"
BY_CHOICE = True


def sizes(group: HoleGroup, limits: Limits) -> tuple[Size, ...]:
    """The bolt's own thread, in a new part.

    >>> from repairs.methods import example
    >>> len(sizes(example.holes(), Limits()))
    1
    """
    return bare.cut_in(CODE, group.bolt, group, limits)[:1]


def checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """Nothing rules it out; the new part is not looked at here.

    >>> from repairs.methods import example
    >>> checks(example.holes(), example.bare(CODE, "M14x1.5", 21), Limits())[0].status
    'not_checked'
    """
    return (Check(NOT_CHECKED, Reason("new_part_not_looked_at")),)


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Mark the part so that nobody fits it, and replace it.

    >>> from repairs.methods import example
    >>> [step.code for step in operations(example.fit(example.bare(CODE, "M14x1.5", 21)))]
    ['mark_scrap']
    """
    return (Step("mark_scrap", settings=(Reason("mark_it_unfit"),)),)
