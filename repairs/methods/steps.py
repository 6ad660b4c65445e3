"""The operations that repair methods share, each with its needs, its settings and what to mind. PURE.

Which tool follows which thread: the insert's inside, setting tool and final gauge follow the bolt's thread;
tap, hole gauge and the insert's outside the outer one; the drill the method and the outer thread; drill, seat
cutter and countersink have neither hand nor thread form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal
from typing import Any

from inventory.errors import Reason
from inventory.kinds import KINDS
from inventory.quantities import to_mm
from inventory.threads import (
    DrillError,
    Thread,
    basic,
    classes,
    classes_that_serve,
    default_class,
    internal_limits,
    percent_of_thread,
    tap_drill,
)
from repairs import cutting
from repairs.methods.room import DRILL_POINT, Budget, down, up
from repairs.methods.values import HoleGroup, Limits, Need, Size, Step, Window

BLIND_FLUTES = ("straight", "spiral")  # a spiral point pushes its chips ahead: through holes only

# Steps that may set magnesium alight: the metal is cut, or steel is struck or cut in it, whatever the method.
CUTTING = ("open_up", "dress", "drill", "chamfer", "countersink", "seat", "tap", "chase")
STRIKING = ("remove_old", "break_tang", "drive_keys")


@dataclass(frozen=True, slots=True)
class Fit:
    """One insert considered in one hole group: what its steps are made from.

    `drill` is the window of the hole to be drilled, in nm; `again` means like for like; `removal` is the
    window of the drill that takes an old keyed bush out, None where there is none or it is not known; `below` is
    how far the insert is set under the surface of this hole.
    """

    group: HoleGroup
    size: Size
    limits: Limits
    drill: Window
    budget: Budget
    again: bool = False
    removal: Window | None = None
    removal_depth: int | None = None
    below: Window | None = None

    @property
    def kept(self) -> bool:
        """Whether the thread in the metal is kept: the same insert goes back, or the thread is only chased.

        >>> from repairs.methods import example
        >>> example.fit().kept, example.fit(example.bare("chase", "M14x1.5", 21)).kept
        (False, True)
        """
        return self.again or self.size.method == "chase"


def need(fit: Fit, step: str, kind: str, *, called: str = "", **asked: Any) -> Need:
    """A need of one step, with the group's window and site; tools that wear are asked for the group's holes.

    `called` names the need where the kind alone would not be unique in the group.

    >>> from repairs.methods import example
    >>> asked = need(example.fit(), "wind_in", "setting_tool", thread=example.bush().inner.key)
    >>> asked.id, asked.holes
    ('A.setting_tool', 0)
    """
    group = fit.group
    cutting: dict[str, Any] = (
        {"holes": group.holes, "material": group.material, "split": True} if KINDS[kind].wears else {}
    )
    return Need(
        id=f"{group.code}.{called or kind}",
        group=group.code,
        step=step,
        kind=kind,
        start=group.start,
        end=group.end,
        site=group.site,
        **(cutting | asked),
    )


def renamed(asked: Need, step: str) -> Need:
    """The same need at a step of another name.

    >>> from repairs.methods import example
    >>> renamed(need(example.fit(), "tap", "tap"), "chase").step
    'chase'
    """
    return replace(asked, step=step)


def _gauged(fit: Fit, step: str, kind: str, thread: Thread, wanted: str = "") -> Need:
    serving = classes_that_serve(thread, wanted or default_class(thread))
    return need(fit, step, kind, thread=thread.key, classes=serving)


def clamp(fit: Fit) -> Step:
    """Clamp the part and find the hole's axis: the fixture that the part names, of its hand, and an
    indicator.

    Nobody is asked whether a piece of the old bolt is stuck in the hole, so that is told wherever a tap will go
    in; like for like none does, and the old insert takes what is in it out with it.

    >>> from repairs.methods import example
    >>> [need.kind for need in clamp(example.fit(fixture="F-2", hand="L")).needs]
    ['fixture', 'indicator']
    """
    needs = [need(fit, "clamp", "indicator")]
    if fit.group.fixture:
        needs.insert(0, need(fit, "clamp", "fixture", name=fit.group.fixture, hand=fit.group.hand))
    tapped = () if fit.again else (Reason("old_bolt_all_out"),)
    return Step("clamp", tuple(needs), cautions=(*tapped, Reason("bore_a_bad_axis")))


def remove_old(fit: Fit) -> tuple[Step, ...]:
    """Take out the insert of an earlier repair, where there is one.

    Wire inserts and solid bushes come out by an extractor for the bolt's thread; the keys of a keyed bush are
    drilled away first, by the drill that the published table names. The thread that is left in the metal matters
    only where the same goes back into it; anything else drills it away.

    >>> from repairs.methods import example
    >>> remove_old(example.fit()), remove_old(example.fit(before="wire_insert"))[0].needs[0].kind
    ((), 'extractor')
    """
    group = fit.group
    if group.before not in ("wire_insert", "solid_bush", "keyed_bush"):
        return ()
    kept = (Reason("keep_receiving_thread"),) if fit.again else ()
    if group.before != "keyed_bush":
        extractor = need(fit, "remove_old", "extractor", thread=group.bolt.key)
        return (Step("remove_old", (extractor,), cautions=kept),)
    if fit.removal is None:
        return (Step("remove_old", cautions=(Reason("removal_drill_unknown"), *kept)),)
    depth = fit.removal_depth or 0
    drill = need(fit, "remove_old", "removal_drill", diameter=fit.removal, reach=depth or None)
    settings = (Reason("removal_depth", depth_nm=depth),) if depth else ()
    return (Step("remove_old", (drill,), settings, (Reason("keys_in_and_break"), *kept)),)


def drill(fit: Fit, *, settings: Sequence[Reason] = (), oversize: bool = True) -> Step:
    """Drill to the window; above its top less what drills cut oversize it is doubtful, unless `oversize` is
    off.

    >>> from repairs.methods import example
    >>> cut = drill(example.fit()).needs[0]
    >>> cut.diameter, cut.doubt_above, cut.reach
    (Window(least=14376000, most=14676000), 14626000, 36402800)
    """
    group, window = fit.group, fit.drill
    above = max(window.least, window.most - up(fit.limits["drill_oversize"])) if oversize else None
    needs = [
        need(
            fit,
            "drill",
            "drill",
            diameter=window,
            hole_thread=fit.size.outer.key,
            doubt_above=above,
            reach=fit.budget.drill_reach,
        )
    ]
    told = [*settings, *_how_deep(fit)]
    cautions = [Reason("eye_protection"), *usual_drill_outside(fit.size.outer, window)]
    if fit.budget.deeper:
        cautions.append(Reason("drilled_deeper", by_nm=fit.budget.deeper))
    if group.made == "formed" and group.before in ("none", "unknown"):  # an earlier repair drilled it away
        cautions.append(Reason("drill_formed_thread_away"))
    return Step("drill", tuple(needs), tuple(told), tuple(cautions))


def safe_in_magnesium(fit: Fit, steps: Sequence[Step]) -> tuple[Step, ...]:
    """The same steps; in magnesium what must be at hand from the first one on that cuts or strikes, and what to
    mind at each.

    Metal-fire powder and a dry bin with a lid for the chips are asked for once, at the first such step: they
    stay by until the last. Never water, and steel struck or cut in magnesium can light the chips (T.O. 1-1A-9,
    TM 43-0106); which powders do not serve is from memory. The maker's instructions and local codes govern.

    >>> from repairs.methods import example, keyed_bush
    >>> made = keyed_bush.operations(example.fit(example.keyed(), material="magnesium"))
    >>> [(step.code, [caution.code for caution in step.cautions]) for step in made if step.code in STRIKING]
    [('drive_keys', ['keys_down_in_parent', 'magnesium_struck'])]
    >>> [need.kind for need in made[1].needs]
    ['drill', 'safety', 'chip_bin']
    """
    if fit.group.material != "magnesium":
        return tuple(steps)
    guarded = []
    at_hand = False
    for step in steps:
        minded = []
        if step.code in CUTTING:
            minded.append(Reason("magnesium_chips"))
        if step.code in STRIKING:
            minded.append(Reason("magnesium_struck"))
        needs = step.needs
        if minded and not at_hand:
            powder = need(fit, step.code, "safety", name="metal-fire powder", quantity=1)
            needs = (*needs, powder, need(fit, step.code, "chip_bin"))
            at_hand = True
        guarded.append(replace(step, needs=needs, cautions=(*step.cautions, *minded)))
    return tuple(guarded)


# Which step cuts how, for its speed and lubricant.
_CUT_AS = {
    "drill": "drill",
    "seat": "seat",
    "countersink": "countersink",
    "chamfer": "countersink",
    "tap": "tap",
    "chase": "tap",
}
_TOLD_ONCE = ("seat", "countersink", "chamfer")  # slower grades are told at the drill, and need not be again


def with_speeds(fit: Fit, steps: Sequence[Step]) -> tuple[Step, ...]:
    """The same steps, each that cuts with its speed, feed and lubricant as `repairs.cutting` has them.

    The speed is that of the largest diameter that the step may cut, rounded down to the machine's spindle steps.
    Where no material was entered nothing is told: that is said of the hole once, among the checks.

    >>> from repairs.methods import example
    >>> [setting.code for setting in with_speeds(example.fit(), (tap(example.fit()),))[0].settings]
    ['tap_thread', 'cut_at', 'tap_by_hand', 'lubricant_is']
    """
    if not fit.group.material:
        return tuple(steps)
    found = []
    for step in steps:
        operation = _CUT_AS.get(step.code)
        if operation is None:
            found.append(step)
            continue
        settings, cautions = cutting.told(operation, fit.group.material, _cut_across(fit, step), fit.limits.spindle)
        if step.code in _TOLD_ONCE:
            cautions = tuple(caution for caution in cautions if caution.code != "cut_slower")
        found.append(replace(step, settings=(*step.settings, *settings), cautions=(*step.cautions, *cautions)))
    return tuple(found)


def _cut_across(fit: Fit, step: Step) -> int | None:
    """The largest diameter in nm that a step cuts, None where it is not known."""
    if step.code == "drill":
        return fit.drill.most
    if step.code in ("tap", "chase"):
        return up(basic(fit.size.outer).major)
    windows = [asked.diameter for asked in step.needs if asked.diameter is not None]
    if step.code == "seat":
        return fit.size.seat
    return windows[0].least if windows else None


def _how_deep(fit: Fit) -> list[Reason]:
    depth = fit.budget.drill
    if depth is None:
        return []
    point = up(DRILL_POINT * to_mm(fit.drill.most))
    if fit.group.through and fit.group.depth == depth.least:
        return [Reason("drill_through", depth_nm=depth.least, point_nm=point)]
    deepest = {"deepest_nm": depth.most} if depth.most > depth.least else {}
    return [Reason("drill_depth", least_nm=depth.least, most_nm=depth.most, **deepest, point_nm=point)]


def window_told(thread: Thread, window: Window) -> Reason:
    """The drill's window with its class and the per cent of thread at both ends on both bases, each named.

    >>> from inventory.threads import read
    >>> from repairs.methods.room import class_window
    >>> m16 = read("M16x1.5").thread
    >>> told = window_told(m16, class_window(m16))
    >>> told["at_least_5_8"], told["at_most_5_8"], told["at_least_3_4"], told["at_most_3_4"]
    ('100.0', '81.5', '83.3', '68.0')
    """
    limits = internal_limits(thread)
    ends = {
        f"at_{end}_{basis.replace('/', '_').removesuffix('H')}": _percent(thread, size, basis)
        for end, size in (("least", window.least), ("most", window.most))
        for basis in ("5/8H", "3/4H")
    }
    return Reason(
        "drill_window",
        thread=thread.designation,
        thread_class=limits.thread_class,
        least_nm=window.least,
        most_nm=window.most,
        source=limits.source,
        **ends,
    )


def _percent(thread: Thread, size: int, basis: str) -> str:
    return format(percent_of_thread(thread, to_mm(size), basis).quantize(Decimal("0.1")), "f")


def usual_drill_outside(thread: Thread, window: Window) -> tuple[Reason, ...]:
    """Told where the drill that is usually taken for a thread lies above the window, by a hair as it may be.

    Published tapping drills: ISO 2306, ASME B1.1 practice, as `inventory.threads.tap_drill` names them. Where
    a family has a drill of its own, larger than that, nothing is told. Lengths in nm.

    >>> from inventory.threads import read
    >>> from repairs.methods.room import class_window
    >>> outer = read("9/16-18 UNF").thread
    >>> told = usual_drill_outside(outer, class_window(outer))[0]
    >>> told["drill"], told["over_nm"]
    ('33/64 in', 15875)
    """
    try:
        usual = tap_drill(thread)
    except DrillError:
        return ()
    if usual.diameter_nm <= window.most:
        return ()
    over = usual.diameter_nm - window.most
    return (
        Reason(
            "usual_drill_outside",
            drill=usual.name,
            drill_nm=usual.diameter_nm,
            most_nm=window.most,
            over_nm=over,
            thread=thread.designation,
        ),
    )


def deburr(fit: Fit) -> Step:
    """Take the burr off the hole's mouth, by hand.

    >>> from repairs.methods import example
    >>> deburr(example.fit()).code
    'deburr'
    """
    return Step("deburr", cautions=(Reason("flat_and_clean_face"),) if fit.size.flange is not None else ())


def countersink(fit: Fit, step: str, diameter: int, *, source: str) -> Step:
    """Cut a countersink or chamfer of `diameter` nm at the hole's mouth; a cone as wide or wider does it.

    >>> from repairs.methods import example
    >>> countersink(example.fit(), "countersink", 13_096_875, source="").needs[0].diameter
    Window(least=13096875, most=39290625)
    """
    window = Window(diameter, down(fit.limits["countersink_widest"] * to_mm(diameter)))
    told = Reason("countersink_to", diameter_nm=diameter, source=source)
    return Step(step, (need(fit, step, "countersink", diameter=window),), (told,))


def chamfer(fit: Fit) -> Step:
    """Chamfer the mouth to the outer thread's major diameter, so that the insert finds its first turn.

    >>> from repairs.methods import example
    >>> chamfer(example.fit(example.wire())).needs[0].diameter.least
    15949000
    """
    return countersink(fit, "chamfer", up(basic(fit.size.outer).major), source="common practice, no source")


def seat(fit: Fit) -> Step:
    """Cut the flange's seat; the cutter's pilot runs in the drilled hole, just under the drill that is
    chosen.

    >>> from repairs.methods import example
    >>> cutter = seat(example.fit()).needs[0]
    >>> cutter.diameter, cutter.pilot_of, cutter.pilot_under
    (Window(least=21900000, most=22100000), 'A.drill', Window(least=1, most=150000))
    """
    size, tolerance = fit.size, up(fit.limits["cutter_tolerance"])
    if size.seat is None:
        raise ValueError("a flanged bush has a seat; its family was not read as one")
    cutter = need(
        fit,
        "seat",
        "seat_cutter",
        diameter=Window(size.seat - tolerance, size.seat + tolerance),
        pilot_of=f"{fit.group.code}.drill",
        pilot_under=Window(1, down(fit.limits["pilot_clearance"])),
    )
    told = Reason("seat_to", diameter_nm=size.seat, depth_nm=size.seat_depth, family=size.family_key)
    return Step("seat", (cutter,), (told,))


def tap(fit: Fit) -> Step:
    """Tap the outer thread: class, lead and flute that this hole allows, cutting since the hole is drilled
    for it.

    >>> from repairs.methods import example
    >>> tool = tap(example.fit()).needs[0]
    >>> tool.thread, tool.lead, tool.flutes, tool.action
    ('M|16000000|1500000nm|R', Lead(match=50, doubt=100), ('straight', 'spiral'), 'cut')
    """
    outer, through = fit.size.outer, fit.group.through
    serving = classes_that_serve(outer, default_class(outer))
    tool = need(
        fit,
        "tap",
        "tap",
        thread=outer.key,
        classes=serving,
        lead=fit.budget.lead,
        deep=fit.budget.deep,
        flutes=() if through else BLIND_FLUTES,
        action="cut",
        reach=fit.budget.tap_reach,
    )
    cautions = [] if through else [Reason("clear_chips_before_bottom")]
    if fit.size.inner.pitch_mm == outer.pitch_mm and fit.size.standing == "house":
        cautions.append(Reason("threads_in_step"))
    return Step("tap", (tool,), (Reason("tap_thread", thread=outer.designation, classes=serving),), tuple(cautions))


def clean(fit: Fit, *needs: Need) -> Step:
    """Clean the hole: no chip and no oil may stay where the insert is to hold.

    >>> from repairs.methods import example
    >>> clean(example.fit()).code
    'clean'
    """
    return Step("clean", needs, cautions=(Reason("compressed_air"),))


def hole_gauge(fit: Fit) -> Step:
    """Gauge the outer thread in the parent now: once the insert is in, that thread is covered.

    The minor diameter is measured too; its limits are those that the hole was drilled to. A pair of plain plugs,
    a bore gauge or a calliper will all do for that, so no one tool is asked for.

    >>> from repairs.methods import example
    >>> hole_gauge(example.fit()).needs[0].thread
    'M|16000000|1500000nm|R'
    """
    gauge = _gauged(fit, "hole_gauge", "hole_gauge", fit.size.outer)
    told = () if fit.again else (Reason("minor_measured", least_nm=fit.drill.least, most_nm=fit.drill.most),)
    cautions = (Reason("gauge_decides"),) if fit.again else ()
    return Step("hole_gauge", (gauge,), told, cautions)


def insert(fit: Fit) -> Need:
    """The inserts: of this family, edition, thread pair and length, with the shop's allowance for scrap.

    >>> from repairs.methods import example
    >>> wanted = insert(example.fit())
    >>> wanted.quantity, wanted.family, wanted.length
    (5, 'example/1', 21000000)
    """
    size, holes = fit.size, fit.group.holes
    percent = fit.limits["scrap"]
    spare = int((Decimal(holes) * percent / 100).to_integral_value(ROUND_CEILING))
    return need(
        fit,
        "wind_in",
        "insert",
        thread=size.outer.key,
        inner=size.inner.key,
        family=size.family_key,
        length=size.length,
        quantity=holes + spare,
        why=(Reason("scrap_allowance", holes=holes, spare=spare, percent=format(percent.normalize(), "f")),),
    )


def wind_in(fit: Fit, *needs: Need, settings: Sequence[Reason] = (), cautions: Sequence[Reason] = ()) -> Step:
    """Wind the insert in with what the method uses for it; in magnesium with a barrier compound in the joint.

    Steel in magnesium wants a corrosion barrier [memory]. Where an adhesive fills the same joint, whether the two
    go together is their makers' to say.

    >>> from repairs.methods import example
    >>> [need.kind for need in wind_in(example.fit()).needs]
    ['insert']
    >>> [need.kind for need in wind_in(example.fit(material="magnesium")).needs]
    ['insert', 'corrosion_barrier']
    """
    told, asked = [*cautions], [insert(fit), *needs]
    if fit.again:
        told.append(Reason("same_length_as_before", length_nm=fit.size.length))
    if fit.group.material == "magnesium":
        asked.append(need(fit, "wind_in", "corrosion_barrier", quantity=1))
        told.append(Reason("barrier_in_magnesium"))
        if fit.size.lock == "adhesive":
            told.append(Reason("barrier_beside_adhesive"))
    return Step("wind_in", tuple(asked), tuple(settings), tuple(told))


def set_down(fit: Fit) -> Step:
    """Measure how far the insert stands under the surface; a flange is flush with it.

    >>> from repairs.methods import example
    >>> set_down(example.fit()).settings[0].code, set_down(example.fit(example.wire())).settings[0].code
    ('flange_flush', 'set_down_between')
    """
    below = fit.below
    gauge = need(fit, "set_down", "depth_gauge", reach=below.most if below else fit.size.seat_depth or None)
    if below is None:
        return Step("set_down", (gauge,), (Reason("flange_flush", depth_nm=fit.size.seat_depth),))
    told: dict[str, int] = {"deepest_nm": below.most} if below.most > below.least else {}
    if below != fit.size.below and fit.group.depth is not None:
        told["thickness_nm"] = fit.group.depth
    between = Reason("set_down_between", least_nm=below.least, most_nm=below.most, **told)
    return Step("set_down", (gauge,), (between,))


def final_gauge(fit: Fit) -> Step:
    """Gauge the bolt's thread in the insert, in the class of hole that was written down, else the default.

    >>> from repairs.methods import example
    >>> final_gauge(example.fit()).needs[0].thread
    'M|14000000|1500000nm|R'
    """
    inner, written = fit.size.inner, fit.group.bolt_class
    wanted = written if written in classes(inner) else ""
    return Step("final_gauge", (_gauged(fit, "final_gauge", "final_gauge", inner, wanted),))


def torque(fit: Fit) -> Step:
    """Prove the repair by the bolt's torque; the bolt engages the whole insert and does not bottom.

    Where no torque was entered no wrench's range can be judged, so that any wrench is doubtful.

    >>> from repairs.methods import example
    >>> torque(example.fit()).needs[0].torque
    80000
    """
    size, group = fit.size, fit.group
    top = fit.below.most if fit.below else size.seat_depth
    end = top + size.length
    if group.through and group.depth is not None:
        end = min(end, group.depth)  # a wire insert's own length is a little less than it is named for
    told = [Reason("bolt_engages" if size.inserted else "bolt_engages_metal", from_nm=top, to_nm=end)]
    if group.torque is not None:
        told.append(Reason("torque_to" if size.inserted else "torque_bare", torque_nmm=group.torque))
    cautions = [Reason("bolt_must_not_bottom")] if not group.through else []
    if group.made == "formed":
        cautions.append(Reason("ordinary_bolt_only"))
    unjudged = (Reason("torque_missing", bolt=group.bolt.designation),) if group.torque is None else ()
    wrench = need(fit, "torque", "torque_wrench", torque=group.torque, unjudged=unjudged)
    return Step("torque", (wrench,), tuple(told), tuple(cautions))


def in_order(
    fit: Fit, *, cutting: Sequence[Step], after: Sequence[Step], cleaners: Sequence[Need] = ()
) -> tuple[Step, ...]:
    """All steps in their order: clamp, remove the old insert, `cutting`, clean and gauge the hole, `after`.

    Like for like nothing is cut: the old insert comes out, its thread is gauged and the same goes back; the
    part is clamped only where the old insert must be drilled out. In magnesium as `safe_in_magnesium` has it.

    >>> from repairs.methods import example
    >>> told = {"before": "wire_insert", "failed": "insert", "passes_gauge": "yes"}
    >>> [step.code for step in in_order(example.fit(example.wire(), **told), cutting=(), after=())]
    ['remove_old', 'clean', 'hole_gauge']
    """
    removal = remove_old(fit)
    drilled = any(each.kind == "removal_drill" for step in removal for each in step.needs)
    clamped = () if fit.again and not drilled else (clamp(fit),)
    every = (
        *clamped,
        *removal,
        *(() if fit.again else cutting),
        clean(fit, *cleaners),
        *((hole_gauge(fit),) if fit.size.inserted else ()),  # without an insert nothing covers it later
        *after,
    )
    return safe_in_magnesium(fit, with_speeds(fit, every))
