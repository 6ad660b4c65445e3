"""What a repair holds: one way of repairing a hole group handed to `repairs.strength` and its verdict as checks. PURE.

What nobody entered is left out of the sum and told as not checked. The threads that carry are counted without the
chamfered ends of the insert (a pitch of them, common practice) or of the wire (0.75 P, ASME B18.29.2M-2005).
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from functools import lru_cache

from inventory.errors import Refused
from inventory.quantities import to_mm
from inventory.threads import ThreadError, external_limits
from repairs.methods import room
from repairs.methods.steps import Fit
from repairs.methods.values import DOUBTFUL, FITS, NOT_CHECKED, RULED_OUT, WEAKEST, Check, HoleGroup
from repairs.strength import (
    HOLDS,
    SIGNS,
    BoltMetal,
    Joint,
    Metal,
    Verdict,
    bolt_metal,
    effective_length,
    hexagon_head,
    judge,
    metal,
    metals,
    own_metal,
)

WIRE_ENDS = Decimal("0.75")  # pitches of a wire insert that are no full turn at most (ASME B18.29.2M-2005)

# What the room says already of the same missing answer.
_TOLD_BY_THE_ROOM = ("torque_not_entered", "edge_not_entered")


def parent_metal(group: HoleGroup) -> Metal | None:
    """The parent metal that the sum counts on: one's own strengths, else the alloy, else none.

    "weakest" is the least shear strength that the table has of the group's material.

    >>> from repairs.methods import example
    >>> parent_metal(example.holes()) is None, parent_metal(example.holes(shear=130_000)).shear_here
    (True, 130.0)
    >>> parent_metal(example.holes(alloy="weakest")).code
    'en-ac-43000-sand-f'
    """
    if group.tensile is not None or group.shear is not None:
        return own_metal(
            tensile=None if group.tensile is None else group.tensile / 1000,
            shear=None if group.shear is None else group.shear / 1000,
            kind=group.material,
        )
    if group.alloy == WEAKEST:
        of_kind = [each for each in metals() if each.kind == group.material]
        return min(of_kind, key=lambda each: each.shear_here, default=None)
    return metal(group.alloy) if group.alloy else None


def bolt_of(fit: Fit) -> BoltMetal | None:
    """The strengths of the bolt's class in the size that it screws in with, None where none was entered.

    >>> from repairs.methods import example
    >>> bolt_of(example.fit()), bolt_of(example.fit(grade="10.9")).tensile
    (None, 1040.0)
    """
    if not fit.group.grade:
        return None
    try:
        return bolt_metal(fit.group.grade, fit.size.inner)
    except Refused:  # the next oversize bolt may be larger than its class is made: then its strength is not known
        return None


def joint_of(fit: Fit) -> Joint:
    """The joint as it would be repaired, for `repairs.strength`.

    >>> from repairs.methods import example
    >>> joint = joint_of(example.fit(edge=30_000_000))
    >>> joint.engaged, joint.outer.designation, joint.bite
    (19500000, 'M16x1.5', Decimal('100'))
    """
    group, size = fit.group, fit.size
    wire = size.method == "wire_insert"
    lost = (WIRE_ENDS if wire else fit.limits["thread_ends_lost"]) * size.outer.pitch_mm
    inner_lost = (WIRE_ENDS if wire else fit.limits["thread_ends_lost"]) * size.inner.pitch_mm
    engaged = room.down(effective_length(to_mm(size.length), lost=lost))
    reached = None
    if group.reach is not None:
        top = fit.below.most if fit.below is not None else size.seat_depth
        held = min(size.length, max(0, group.reach - top))
        reached = room.down(effective_length(to_mm(held), lost=inner_lost))
    drilled = fit.drill.most
    if group.bore is not None and size.method not in room.NEW_METAL:
        drilled = max(drilled, group.bore)
    major = None if fit.kept or size.method in room.NEW_METAL else room.major_now(group)
    if major is not None:  # where an older thread was cut wider, the new one stands over its root
        drilled = max(drilled, room.up(room.across(group, major)))
    if wire and reached is not None:  # a coil hands on only what the bolt beside it pulls
        engaged = min(engaged, reached)
    return Joint(
        bolt=size.inner,
        outer=size.outer if size.inserted else None,
        engaged=engaged if size.inserted or reached is None else reached,
        bolt_engaged=reached if size.inserted else None,
        grade=bolt_of(fit),
        metal=None if size.method in room.NEW_METAL else parent_metal(group),  # a filling's metal is not asked for
        insert=metal(size.metal) if size.metal and not wire else None,
        wire=wire,
        drilled=drilled,
        bite=_bite(fit),
        torque=group.torque,
        edge=group.edge,
        head=hexagon_head(size.inner),
        bolt_class=_bolt_class(fit),
    )


def _bolt_class(fit: Fit) -> str:
    """The class that was written where it is one of the bolt's (6g, 2A), "" where it is the hole's (6H, 2B) or none."""
    if not fit.group.bolt_class:
        return ""
    try:
        return external_limits(fit.size.inner, fit.group.bolt_class).thread_class
    except ThreadError:
        return ""


def _bite(fit: Fit) -> Decimal:
    if fit.kept or fit.size.method in room.NEW_METAL:
        return Decimal(100)
    major = room.major_now(fit.group)
    return Decimal(100) if major is None else room.bite(fit.size.outer, room.across(fit.group, major))


def judged(fit: Fit, *, turns: bool = False) -> Verdict:
    """The verdict on one way of repairing the group's holes, by the shop's own rules; with `turns` what would turn it.

    >>> from repairs.methods import example
    >>> judged(example.fit()).status
    'not_checked'
    """
    found = _judged(joint_of(fit), tuple(fit.limits.rules.items()), turns)
    if fit.size.method in room.NEW_METAL:  # the filling's strength is asked for, and told, by the method itself
        return replace(found, missing=tuple(each for each in found.missing if each.code != "parent_metal_missing"))
    return found


@lru_cache(maxsize=4096)
def _judged(joint: Joint, rules: tuple[tuple[str, Decimal], ...], turns: bool) -> Verdict:
    return judge(joint, dict(rules), turns=turns)


def checks(verdict: Verdict) -> tuple[Check, ...]:
    """The verdict as checks of a plan: every sum that falls short, what is within the doubt, what was not entered.

    Where all holds, the sum that governs is told with its margin.

    >>> from repairs.methods import example
    >>> [check.reason.code for check in checks(judged(example.fit()))]
    ['parent_metal_missing', 'bolt_grade_missing', 'insert_metal_missing', 'bolt_reach_not_entered']
    """
    found = [
        Check(RULED_OUT if each.status != SIGNS else DOUBTFUL, each.reason, next(iter(each.remedies), None))
        for each in verdict.sums
        if each.status in (SIGNS, RULED_OUT)
    ]
    found += [Check(DOUBTFUL, reason) for reason in verdict.reasons]
    governing = [each for each in verdict.sums if each.what == verdict.governs and each.status == HOLDS]
    if not found and governing and governing[0].margin is not None:
        found.append(Check(FITS, governing[0].reason))
    found += [Check(NOT_CHECKED, each) for each in verdict.missing if each.code not in _TOLD_BY_THE_ROOM]
    return tuple(found)
