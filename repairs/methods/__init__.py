"""Repair methods: each rules itself in or out for a hole, with numbers, and lists its steps and their needs.
PURE.

threads -> methods -> needs. A method's choice of size never looks at stock, so that more stock never makes a
plan worse. A new method is one file here with `CODE`, `depths`, `window`, `checks` and `operations`, and its
name in `METHODS` below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from inventory.errors import Reason
from repairs.methods import flanged_bush, keyed_bush, plain_bush, room, wire_insert
from repairs.methods.steps import Fit
from repairs.methods.values import (
    DOUBTFUL,
    FITS,
    RULED_OUT,
    Check,
    HoleGroup,
    Limits,
    MethodPlan,
    Option,
    Size,
    Step,
    Window,
)

__all__ = ["METHODS", "Method", "consider", "fit_of", "pick"]


class Method(Protocol):
    """What a method's file offers."""

    CODE: str

    def depths(self, size: Size, limits: Limits) -> room.Depths:
        """What an insert takes of the hole's depth, in nm."""

    def window(self, size: Size) -> Window:
        """The drill's window, in nm."""

    def checks(self, group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
        """Judgements that this method alone makes."""

    def operations(self, fit: Fit) -> tuple[Step, ...]:
        """The steps in their order, each with its needs."""


METHODS: dict[str, Method] = {
    "wire_insert": wire_insert,
    "flanged_bush": flanged_bush,
    "plain_bush": plain_bush,
    "keyed_bush": keyed_bush,
}


def consider(group: HoleGroup, sizes: Sequence[Size], limits: Limits) -> tuple[MethodPlan, ...]:
    """What every method says to one hole group, in the shop's order of methods.

    `sizes` are the sizes of all families; those for another bolt thread, hand included, are left aside. A
    method's options stand in order of preference: like for like first; then the least outside diameter; then
    what the hole's depth takes without doubt; then the shortest insert that engages the bolt as long as the
    shop's rule wants, else the longest; plain forms before those without a tang and screw-locking ones.
    Chosen is the first that no check rules out. Lengths are in nm, sources stand in each check. Stock is not
    asked.

    >>> from datetime import UTC, datetime
    >>> from inventory.threads import read
    >>> day, m14 = datetime(2026, 3, 2, tzinfo=UTC), read("M14x1.5").thread
    >>> group = HoleGroup("A", m14, 4, day, day, "Main", depth=40_000_000, before="none", made="cut")
    >>> bush = Size("flanged_bush", "own", "1", m14, read("M16x1.5").thread, 21_000_000, flange=21_800_000,
    ...             seat=22_000_000, seat_depth=2_000_000, locate="flange", lock="expansion")
    >>> plans = consider(group, [bush], Limits())
    >>> [(plan.method, plan.chosen is not None) for plan in plans]
    [('wire_insert', False), ('flanged_bush', True), ('plain_bush', False), ('keyed_bush', False)]
    >>> [step.code for step in plans[1].chosen.steps][:5]
    ['clamp', 'drill', 'deburr', 'seat', 'tap']
    """
    own = [size for size in sizes if size.inner == group.bolt]
    return tuple(_plan(METHODS[code], group, own, limits) for code in limits.order if code in METHODS)


def pick(plans: Sequence[MethodPlan], wished: str) -> Option | None:
    """The option that is planned: of the wished method if one is wished, even when it is ruled out (then
    None), else of the first method in the shop's order that stands.

    >>> pick((MethodPlan("wire_insert"), MethodPlan("flanged_bush")), "") is None
    True
    """
    asked = [plan for plan in plans if plan.method == wished] if wished else plans
    return next((plan.chosen for plan in asked if plan.chosen is not None), None)


def fit_of(group: HoleGroup, size: Size, own: Sequence[Size], limits: Limits) -> Fit:
    """What the steps of one size are made from: its drill window, depth budget, whether it goes back like for
    like.

    `own` are the sizes of all families for this bolt: among them is the old keyed bush whose removal drill a
    step needs. Lengths in nm.

    >>> from repairs.methods import example
    >>> fit_of(example.holes(), example.bush(), [], Limits()).drill
    Window(least=14376000, most=14676000)
    """
    method = METHODS[size.method]
    window, depths = method.window(size), method.depths(size, limits)
    again = room.goes_back(group, size)
    same = room.same_again_depth(group, size, depths) if again else None
    budget = same or room.budget(group, size, depths, window, limits)
    below = room.set_down_here(group, size, depths)
    old = _old_keyed(group, own)
    removal = old.removal_drill if old is not None else None
    if removal is None or old is None:
        return Fit(group, size, limits, window, budget, again, below=below)
    tolerance = room.up(limits["cutter_tolerance"])
    near = Window(removal - tolerance, removal + tolerance)
    return Fit(group, size, limits, window, budget, again, near, old.removal_depth, below)


def _plan(method: Method, group: HoleGroup, own: Sequence[Size], limits: Limits) -> MethodPlan:
    sizes = [size for size in own if size.method == method.CODE]
    if not sizes:
        bolt = group.bolt.designation
        reason = Reason("no_size_for_bolt", method=method.CODE, bolt=bolt)
        return MethodPlan(
            method.CODE, reasons=(reason,), remedies=(Reason("load_a_family", method=method.CODE, bolt=bolt),)
        )
    fits = [fit_of(group, size, own, limits) for size in sizes]
    longest = _longest(fits)
    options = sorted(
        (_option(method, fit, own, longest) for fit in fits),
        key=lambda option: _preference(option, group, limits),
    )
    chosen = next((option for option in options if not option.ruled_out), None)
    if chosen is not None:
        return MethodPlan(method.CODE, tuple(options), chosen)
    ruling = [check for option in _telling(options) for check in option.checks if check.status == RULED_OUT]
    return MethodPlan(
        method.CODE,
        tuple(options),
        reasons=tuple(dict.fromkeys(check.reason for check in ruling)),
        remedies=tuple(dict.fromkeys(check.remedy for check in ruling if check.remedy is not None)),
    )


def _preference(option: Option, group: HoleGroup, limits: Limits) -> tuple[object, ...]:
    size = option.size
    short = size.length < room.engagement_wanted(group, limits)
    unsure = any(check.status == DOUBTFUL and check.reason.code in room.DEPTH_DOUBTS for check in option.checks)
    return (
        not option.like_for_like,
        size.outer.major_mm,
        unsure,
        short,
        -size.length if short else size.length,
        size.locking,
        size.tang_free,
        size.family,
        size.edition,
        size.outer.pitch_mm,
    )


def _telling(options: Sequence[Option]) -> list[Option]:
    """Of each outside thread the option that comes nearest: fewest rulings, then the shortest insert."""
    nearest: dict[str, Option] = {}
    for option in options:
        key = option.size.outer.key
        if key not in nearest or _distance(option) < _distance(nearest[key]):
            nearest[key] = option
    return list(nearest.values())


def _distance(option: Option) -> tuple[int, int]:
    return sum(check.status == RULED_OUT for check in option.checks), option.size.length


def _longest(fits: Sequence[Fit]) -> dict[tuple[str, str], int]:
    """The longest insert that the hole's depth takes, nm, by family and outside thread; of an unknown depth none."""
    found: dict[tuple[str, str], int] = {}
    for fit in fits:
        if not any(
            check.status in (DOUBTFUL, RULED_OUT) or check.reason.code in room.DEPTH_UNKNOWN
            for check in fit.budget.checks
        ):
            key = (fit.size.family_key, fit.size.outer.key)
            found[key] = max(found.get(key, 0), fit.size.length)
    return found


def _option(method: Method, fit: Fit, own: Sequence[Size], longest: dict[tuple[str, str], int]) -> Option:
    group, size, limits = fit.group, fit.size, fit.limits
    earlier = room.earlier_checks(group, size)
    failed = any(check.status == RULED_OUT for check in earlier)  # then its bite tells nothing more
    bitten = () if fit.again or failed else (*room.bite_checks(group, size, limits), *_stepped_up(fit, own))
    checks = (
        *fit.budget.checks,
        *room.edge_checks(group, size, limits, cut=not fit.again),
        *method.checks(group, size, limits),
        *earlier,
        *bitten,
        *(() if fit.again else room.made_checks(group)),
        *_removal_checks(group, own),
        room.engagement_check(group, size, limits),
        *room.answers_missing(group),
    )
    if not fit.again:
        checks = tuple(_with_longest(check, size, longest) for check in checks)
    told = tuple(_with_remedy(check, group, size, own, longest, limits) for check in checks)
    option = Option(method.CODE, size, told, like_for_like=fit.again)
    return option if option.ruled_out else replace(option, steps=method.operations(fit))


def _stepped_up(fit: Fit, own: Sequence[Size]) -> tuple[Check, ...]:
    """Told on a size that takes over from a smaller one for want of fresh metal, with the numbers of the
    largest such.
    """
    smaller = {
        other.outer: other
        for other in own
        if other.method == fit.size.method and other.outer.major_mm < fit.size.outer.major_mm
    }
    for _, other in sorted(smaller.items(), key=lambda item: item[0].major_mm, reverse=True):
        for check in room.bite_checks(fit.group, other, fit.limits):
            if check.status == RULED_OUT:
                data = {key: check.reason[key] for key in ("now", "bite", "bite_basic", "basis", "least", "source")}
                refused, taken = other.outer.designation, fit.size.outer.designation
                return (Check(FITS, Reason("stepped_up", refused=refused, outer=taken, **data)),)
    return ()


def _old_keyed(group: HoleGroup, own: Sequence[Size]) -> Size | None:
    """The keyed bush that now stands in the hole, where a family names its removal drill."""
    if group.before != "keyed_bush":
        return None
    named = (size for size in own if size.removal_drill is not None and size.outer == group.before_thread)
    return next(named, None)


def _removal_checks(group: HoleGroup, own: Sequence[Size]) -> tuple[Check, ...]:
    if group.before == "keyed_bush" and _old_keyed(group, own) is None:
        return (Check(DOUBTFUL, Reason("removal_drill_unknown")),)
    return ()


def _with_remedy(
    check: Check,
    group: HoleGroup,
    size: Size,
    own: Sequence[Size],
    longest: dict[tuple[str, str], int],
    limits: Limits,
) -> Check:
    """The check with what would change its ruling, where the families have it."""
    code = check.reason.code
    remedy: Reason | None = None
    if check.status == RULED_OUT and code in (
        "bite_short",
        "parent_failed_at_size",
        "receiving_thread_fails",
    ):
        remedy = _step_up(group, size, own, limits)
    elif check.status == RULED_OUT and code in ("depth_short", "through_too_thin", "same_again_too_long"):
        remedy = _shorter(size, own, longest)
    elif code == "engagement_short":
        best = longest.get((size.family_key, size.outer.key), 0)
        longer = best > size.length
        remedy = Reason("longer_fits", longest_nm=best) if longer else Reason("engineer_signs")
    return Check(check.status, check.reason, remedy) if remedy is not None else check


def _with_longest(check: Check, size: Size, longest: dict[tuple[str, str], int]) -> Check:
    """The check with the longest insert that this hole takes, where a shorter one already engages the bolt enough."""
    best = longest.get((size.family_key, size.outer.key), 0)
    if check.reason.code != "engagement_enough" or best < size.length:
        return check
    return replace(check, reason=Reason("engagement_enough", **check.reason.data, longest_nm=best))


def _step_up(group: HoleGroup, size: Size, own: Sequence[Size], limits: Limits) -> Reason:
    larger = [
        other
        for other in own
        if other.method == size.method
        and other.outer.major_mm > size.outer.major_mm
        and room.bites(group, other, limits)
    ]
    if not larger:
        return Reason("no_larger_size", method=size.method, outer=size.outer.designation)
    next_up = min(larger, key=lambda other: (other.outer.major_mm, other.family))
    return Reason("step_up", outer=next_up.outer.designation, family=next_up.family_key)


def _shorter(size: Size, own: Sequence[Size], longest: dict[tuple[str, str], int]) -> Reason:
    best = longest.get((size.family_key, size.outer.key))
    if best is not None:
        return Reason("shorter_fits", longest_nm=best)
    lengths = [other.length for other in own if (other.family_key, other.outer) == (size.family_key, size.outer)]
    return Reason("none_short_enough", shortest_nm=min(lengths))
