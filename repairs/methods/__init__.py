"""Repair methods: each rules itself in or out for a hole, with numbers, and lists its steps and their needs.
PURE.

threads -> methods -> needs. A method's choice of size never looks at stock, so that more stock never makes a
plan worse. A new method is one file here with `CODE`, `depths`, `window`, `checks` and `operations`, and its
name in `METHODS` below; one without an insert says in `sizes` what it cuts and in `BY_CHOICE` whether only a
foreman may choose it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Protocol

from inventory.errors import Reason
from repairs.methods import (
    chase,
    flanged_bush,
    holding,
    keyed_bush,
    oversize_bolt,
    oversize_insert,
    plain_bush,
    plug_or_weld,
    room,
    scrap,
    wire_insert,
)
from repairs.methods.steps import Fit
from repairs.methods.values import (
    DOUBTFUL,
    FITS,
    RULED_OUT,
    SIGNED,
    Check,
    HoleGroup,
    Limits,
    MethodPlan,
    Option,
    Size,
    Step,
    Window,
)
from repairs.strength import SIGNS

__all__ = ["METHODS", "Method", "consider", "fit_of", "overrule", "pick"]


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


class BareMethod(Method, Protocol):
    """What the file of a method without an insert offers besides."""

    BY_CHOICE: bool

    def sizes(self, group: HoleGroup, limits: Limits) -> tuple[Size, ...]:
        """The threads that it would cut in the metal itself."""


INSERTED: dict[str, Method] = {
    "wire_insert": wire_insert,
    "flanged_bush": flanged_bush,
    "plain_bush": plain_bush,
    "keyed_bush": keyed_bush,
    "oversize_insert": oversize_insert,
}
BARE: dict[str, BareMethod] = {
    "chase": chase,
    "oversize_bolt": oversize_bolt,
    "plug_or_weld": plug_or_weld,
    "scrap_part": scrap,
}
METHODS: dict[str, Method] = {**INSERTED, **BARE}


def consider(group: HoleGroup, sizes: Sequence[Size], limits: Limits) -> tuple[MethodPlan, ...]:
    """What every method says to one hole group, in the shop's order of methods.

    `sizes` are the sizes of all families; those for another bolt thread, hand included, are left aside. A
    method's options stand in order of preference: like for like first; then the least outside diameter; then
    what the hole's depth takes without doubt; then what the sum of strength finds nothing against; then the
    shortest insert that engages the bolt as long as the shop's rule wants, else the longest; plain forms before
    those without a tang and screw-locking ones.
    Chosen is the first that no check rules out. Lengths are in nm, sources stand in each check. Stock is not
    asked.

    >>> from datetime import UTC, datetime
    >>> from inventory.threads import read
    >>> day, m14 = datetime(2026, 3, 2, tzinfo=UTC), read("M14x1.5").thread
    >>> group = HoleGroup("A", m14, 4, day, day, "Main", depth=40_000_000, before="none", made="cut")
    >>> bush = Size("flanged_bush", "own", "1", m14, read("M16x1.5").thread, 21_000_000, flange=21_800_000,
    ...             seat=22_000_000, seat_depth=2_000_000, locate="flange", lock="expansion")
    >>> plans = consider(group, [bush], Limits())
    >>> [plan.method for plan in plans if plan.chosen is not None]
    ['oversize_bolt', 'flanged_bush', 'plug_or_weld', 'scrap_part']
    >>> [step.code for step in pick(plans, "").steps][:5]
    ['clamp', 'drill', 'deburr', 'seat', 'tap']
    """
    own = [size for size in sizes if size.inner == group.bolt]
    return tuple(_plan(code, group, own, limits) for code in limits.order)


def pick(plans: Sequence[MethodPlan], wished: str) -> Option | None:
    """The option that is planned: of the wished method if one is wished, even when it is ruled out (then
    None), else of the first method in the shop's order that stands and that nobody needs to choose.

    >>> pick((MethodPlan("wire_insert"), MethodPlan("flanged_bush")), "") is None
    True
    """
    stand = [plan.chosen for plan in plans if plan.chosen is not None]
    if wished:
        return next((option for option in stand if option.method == wished), None)
    return next((option for option in stand if not option.by_choice), None)


def overrule(
    group: HoleGroup, option: Option, signed: Collection[str], sizes: Sequence[Size], limits: Limits
) -> Option | None:
    """The option as somebody answers for it: the checks whose seals are `signed` count as signed, its steps are made.

    A check with other numbers than were signed for (`Check.seal`) is not. None where what rules it out was not signed
    for, or cannot be. `sizes` are those of all families for this bolt.

    >>> from repairs.methods import example
    >>> near, wire = example.holes(edge=12_000_000), example.wire()
    >>> refused = next(plan.options[0] for plan in consider(near, [wire], Limits()) if plan.method == "wire_insert")
    >>> refused.ruled_out, overrule(near, refused, (), [wire], Limits()) is None
    (True, True)
    >>> seals = [check.seal for check in refused.wants_a_name]
    >>> option = overrule(near, refused, seals, [wire], Limits())
    >>> option.checks[1].status, len(option.steps) > 0
    ('signed', True)
    """
    checks = tuple(
        replace(check, status=SIGNED)
        if check.seal in signed and check.status in (DOUBTFUL, RULED_OUT) and not check.beyond_signing
        else check
        for check in option.checks
    )
    answered = replace(option, checks=checks)
    if answered.ruled_out:
        return None
    if answered.steps:
        return answered
    own = [size for size in sizes if size.inner == group.bolt]
    return replace(answered, steps=METHODS[option.method].operations(fit_of(group, option.size, own, limits)))


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
    kept = again or size.method == chase.CODE
    if not kept and size.method not in room.NEW_METAL:
        window = room.cleaned_up(group, window) or window
    same = room.same_again_depth(group, size, depths) if kept else None
    budget = same or room.budget(group, size, depths, window, limits)
    below = room.set_down_here(group, size, depths)
    old = _old_keyed(group, own)
    removal = old.removal_drill if old is not None else None
    if removal is None or old is None:
        return Fit(group, size, limits, window, budget, again, below=below)
    tolerance = room.up(limits["cutter_tolerance"])
    near = Window(removal - tolerance, removal + tolerance)
    return Fit(group, size, limits, window, budget, again, near, old.removal_depth, below)


def _plan(code: str, group: HoleGroup, own: Sequence[Size], limits: Limits) -> MethodPlan:
    method, bare = METHODS[code], BARE.get(code)
    sizes = bare.sizes(group, limits) if bare else [size for size in own if size.method == code]
    if not sizes:
        bolt = group.bolt.designation
        if bare:
            return MethodPlan(code, reasons=(Reason("no_larger_bolt", bolt=bolt),))
        reason = Reason("no_size_for_bolt", method=method.CODE, bolt=bolt)
        return MethodPlan(
            method.CODE, reasons=(reason,), remedies=(Reason("load_a_family", method=method.CODE, bolt=bolt),)
        )
    fits = [fit_of(group, size, own, limits) for size in sizes]
    longest = _longest(fits)
    by_size = {fit.size: fit for fit in fits}
    options = sorted(
        (_option(method, fit, own, sizes, longest) for fit in fits),
        key=lambda option: _preference(option, group, limits),
    )
    chosen = next((option for option in options if not option.ruled_out), None)
    if chosen is not None:
        if chosen.strength is not None:
            turning = replace(chosen, strength=holding.judged(by_size[chosen.size], turns=True))
            options[options.index(chosen)] = chosen = turning
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
    short = size.length < room.engagement_wanted(group, limits, size.inner)
    unsure = any(check.status == DOUBTFUL and check.reason.code in room.DEPTH_DOUBTS for check in option.checks)
    verdict = option.strength
    return (
        not option.like_for_like,
        size.outer.major_mm,
        unsure,
        verdict is not None and verdict.status in (SIGNS, RULED_OUT),
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


def _option(
    method: Method, fit: Fit, own: Sequence[Size], rivals: Sequence[Size], longest: dict[tuple[str, str], int]
) -> Option:
    """One size judged; `own` are the sizes of all families for the bolt, `rivals` all that this method has."""
    group, size, limits = fit.group, fit.size, fit.limits
    earlier = room.earlier_checks(group, size)
    failed = any(check.status == RULED_OUT for check in earlier)  # then its bite tells nothing more
    bites = not fit.kept and method.CODE not in room.NEW_METAL
    bitten = (*room.bite_checks(group, size, limits), *_stepped_up(fit, rivals)) if bites and not failed else ()
    verdict = None if method is scrap else holding.judged(fit)
    checks = (
        *fit.budget.checks,
        *room.crack_checks(group, method.CODE),
        *room.edge_checks(group, size, limits, cut=not fit.kept),
        *method.checks(group, size, limits),
        *earlier,
        *bitten,
        *(() if fit.kept else room.made_checks(group)),
        *(room.clean_up_checks(group, size, method.window(size)) if bites else ()),
        *(room.axis_checks(group) if fit.kept else ()),
        *_removal_checks(group, own),
        room.engagement_check(group, size, limits),
        *room.reach_checks(group, size, fit.below),
        *(holding.checks(verdict) if verdict else ()),
        *room.answers_missing(group),
    )
    if method is scrap:  # nothing of the old part is judged
        checks = method.checks(group, size, limits)
    if not fit.kept:
        checks = tuple(_with_longest(check, size, longest) for check in checks)
    told = tuple(_with_remedy(check, group, size, rivals, longest, limits) for check in checks)
    away = Decimal(0) if fit.kept else room.metal_away(group, size, method.depths(size, limits), fit.budget.deeper)
    option = Option(
        method.CODE,
        size,
        told,
        like_for_like=fit.again,
        strength=verdict,
        metal_away=None if method.CODE in room.NEW_METAL else away,
        by_choice=method.CODE in BARE and BARE[method.CODE].BY_CHOICE,
    )
    return option if option.ruled_out else replace(option, steps=method.operations(fit))


def _stepped_up(fit: Fit, rivals: Sequence[Size]) -> tuple[Check, ...]:
    """Told on a size that takes over from a smaller one for want of fresh metal, with the numbers of the
    largest such.
    """
    smaller = {other.outer: other for other in rivals if other.outer.major_mm < fit.size.outer.major_mm}
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
    rivals: Sequence[Size],
    longest: dict[tuple[str, str], int],
    limits: Limits,
) -> Check:
    """The check with what would change its ruling, where the method has it."""
    code = check.reason.code
    remedy: Reason | None = None
    if check.status == RULED_OUT and code in (
        "bite_short",
        "not_cleaned_up",
        "parent_failed_at_size",
        "receiving_thread_fails",
    ):
        remedy = _step_up(group, size, rivals, limits)
    elif check.status == RULED_OUT and code in ("depth_short", "through_too_thin", "same_again_too_long"):
        remedy = _shorter(size, rivals, longest)
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


def _step_up(group: HoleGroup, size: Size, rivals: Sequence[Size], limits: Limits) -> Reason:
    larger = [
        other
        for other in rivals
        if other.outer.major_mm > size.outer.major_mm
        and room.bites(group, other, limits)
        and room.cleaned_up(group, METHODS[other.method].window(other)) is not None
    ]
    if not larger:
        return Reason("no_larger_size", method=size.method, outer=size.outer.designation)
    next_up = min(larger, key=lambda other: (other.outer.major_mm, other.family, other.outer.pitch_mm))
    named = {"family": next_up.family_key} if next_up.inserted else {}
    return Reason("step_up", outer=next_up.outer.designation, **named)


def _shorter(size: Size, rivals: Sequence[Size], longest: dict[tuple[str, str], int]) -> Reason:
    best = longest.get((size.family_key, size.outer.key))
    if best is not None:
        return Reason("shorter_fits", longest_nm=best)
    lengths = [other.length for other in rivals if (other.family_key, other.outer) == (size.family_key, size.outer)]
    return Reason("none_short_enough", shortest_nm=min(lengths))
