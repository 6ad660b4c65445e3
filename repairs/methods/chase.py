"""Chase with a tap: a thread that is only burred or dirty is cut clean again, no metal is taken away. PURE."""

from __future__ import annotations

from inventory.errors import Reason
from repairs.methods import bare, room, steps
from repairs.methods.bare import depths, window
from repairs.methods.values import DOUBTFUL, NOT_CHECKED, RULED_OUT, Check, HoleGroup, Limits, Size, Step

__all__ = ["BY_CHOICE", "CODE", "checks", "depths", "operations", "sizes", "window"]

CODE = "chase"
BY_CHOICE = False


def sizes(group: HoleGroup, limits: Limits) -> tuple[Size, ...]:
    """The bolt's own thread, as deep as the hole has it.

    >>> from repairs.methods import example
    >>> [sizes(example.holes(depth=depth), Limits())[0].length for depth in (40_000_000, 15_000_000)]
    [21000000, 10500000]
    """
    wanted, there = room.engagement_wanted(group, limits), bare.takes(group.bolt, group, limits)
    return (bare.sized(CODE, group.bolt, wanted if there is None else min(wanted, there)),)


def checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """Only a burred thread is chased: one that is stripped, worn or in an old insert is ruled out [common practice].

    What nobody said is wrong rules it out too, since a stripped thread chased is still a stripped thread. Whether
    enough of the flanks is left, the gauge decides.

    >>> from repairs.methods import example
    >>> told = ({"damage": "burred", "passes_gauge": "yes"}, {"damage": "burred"}, {"damage": "stripped"}, {})
    >>> [[check.status for check in checks(example.holes(**each), example.bush(), Limits())] for each in told]
    [[], ['not_checked'], ['ruled_out'], ['ruled_out']]
    """
    if group.before not in ("none", "unknown"):
        return (Check(RULED_OUT, Reason("chase_in_an_insert", before=group.before)),)
    if group.damage != "burred":
        known = group.damage not in ("", "unknown")
        remedy = None if known else Reason("tell_the_damage")
        return (Check(RULED_OUT, Reason("chase_only_burred", damage=group.damage or "unknown"), remedy),)
    if group.passes_gauge == "no":
        return (Check(RULED_OUT, Reason("receiving_thread_fails", outer=size.outer.designation)),)
    found = [Check(DOUBTFUL, Reason("before_unknown_to_chase"))] if group.before == "unknown" else []
    if group.passes_gauge == "unknown":
        found.append(Check(NOT_CHECKED, Reason("flanks_left_unknown", outer=size.outer.designation)))
    return tuple(found)


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Run the tap through by hand, clean, gauge, prove.

    >>> from repairs.methods import example
    >>> print(*(step.code for step in operations(example.fit(example.bare("chase", "M14x1.5", 21)))))
    chase clean final_gauge torque
    """
    tap = steps.tap(fit)
    by_hand = Step(
        "chase",
        tuple(steps.renamed(need, "chase") for need in tap.needs),
        tap.settings,
        (Reason("old_bolt_all_out"), Reason("start_in_the_old_thread"), *tap.cautions),
    )
    every = (by_hand, steps.clean(fit), *bare.proved(fit))
    return steps.safe_in_magnesium(fit, steps.with_speeds(fit, every))
