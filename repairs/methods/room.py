"""The room that a repair needs: depth part by part, metal to the edge, bite, wall; what rules an insert out.
PURE.

Sums are made in `Decimal` millimetres and compared in whole nanometres; what is needed is rounded up, what
there is is rounded down, so that rounding never makes a repair fit that does not. Every judgement is a
`Check` whose reason carries the numbers; nothing entered is "not checked".
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal

from inventory.errors import Reason
from inventory.quantities import to_mm, to_nm
from inventory.threads import (
    SYSTEMS,
    Thread,
    ThreadError,
    basic,
    insert_hole,
    insert_hole_tap_major,
    internal_limits,
)
from repairs.methods.values import (
    DOUBTFUL,
    FITS,
    MATERIALS,
    NOT_CHECKED,
    RULED_OUT,
    Check,
    Deep,
    HoleGroup,
    Lead,
    Limits,
    Size,
    Window,
)

# Lead as the depth rule of ASME B18.29.2M counts it, in tenths of a thread: two threads for a bottoming tap,
# four for a plug tap. What a tap of each sort really has, 1-2, 3-5 and 7-10, is TM 9-254's.
SHORTEST, BOTTOMING, PLUG, LONGEST_PLUG, TAPER = 10, 20, 40, 50, 100

# A drill of 118 degrees ends in a point of half its diameter x cot 59 degrees = 0.30 diameters (geometry).
DRILL_POINT = Decimal("0.3")

# Plug taps up to 8 mm end in a point of half a diameter (ASME B18.29.2M for insert-hole taps; others:
# common).
POINTED_UP_TO = 8_000_000

# Depth of the basic internal thread a side, 5/8 H = 0.541266 P (ISO 68-1): the whole of what a bush can bite.
BITE_HEIGHT = Decimal("0.541266")

# Less than this, in nm, nobody drills deeper: a thousandth of a millimetre, the least that is ever shown.
LEAST_DEEPER = 1_000

# Doubts about the depth: an insert without one is preferred to an insert with one.
DEPTH_DOUBTS = ("depth_only_just", "floor_missing_to_deepen", "floor_thin")

# Told where nobody entered how deep the hole is, or how thick its metal: then nothing is known to fit.
DEPTH_UNKNOWN = ("depth_missing", "thickness_missing", "same_again_depth_missing", "depth_not_known")

# Methods after which the thread stands in new metal: nothing of the old hole is cut, or judged, any more.
NEW_METAL = ("plug_or_weld", "scrap_part")

# What a hole holds after each method's repair, as the answer about it is given.
INSERT_OF = {
    "wire_insert": "wire_insert",
    "flanged_bush": "solid_bush",
    "plain_bush": "solid_bush",
    "keyed_bush": "keyed_bush",
    "oversize_insert": "solid_bush",
}


def up(mm: Decimal) -> int:
    """Millimetres as whole nanometres, rounded up: for what is needed.

    >>> up(Decimal("1.4111111"))
    1411112
    """
    return to_nm(mm, "up")


def down(mm: Decimal) -> int:
    """Millimetres as whole nanometres, rounded down: for what there is.

    >>> down(Decimal("1.4111119"))
    1411111
    """
    return to_nm(mm, "down")


def class_window(thread: Thread) -> Window:
    """The drill's window in nm: the minor limits of a hole's thread, default class, rounded inward.

    Source: the limits of `inventory.threads.internal_limits` (ISO 965-1, ASME B1.1).

    >>> from inventory.threads import read
    >>> class_window(read("M16x1.5").thread)
    Window(least=14376000, most=14676000)
    """
    limits = internal_limits(thread)
    return Window(up(limits.minor_min), down(limits.minor_max))


@dataclass(frozen=True, slots=True)
class Depths:
    """What one insert takes of a hole's depth, in nm, before the tap's lead is counted.

    `parts` are named and add up: ("seat" or "set_down", ...), ("insert" or "thread", ...), ("clearance", ...). `pitch`
    is the outer thread's in mm. `point` is the pointed end of a small plug tap, `nose` what the setting tool
    needs beneath the insert (the lead's room serves it, so the larger of the two counts). `thread` is the
    least depth of full thread, `thickness` the least metal of a through hole; `source` says whose rule it is.
    """

    parts: tuple[tuple[str, int], ...]
    pitch: Decimal
    point: int
    nose: int
    thread: int
    thickness: int
    source: str

    @property
    def base(self) -> int:
        """All parts together, nm.

        >>> Depths((("insert", 10), ("clearance", 2)), Decimal(1), 0, 0, 10, 10, "").base
        12
        """
        return sum(nm for _, nm in self.parts)

    def needed(self, lead: int) -> int:
        """Depth at full diameter for a tap whose lead counts as `lead` tenths of a thread, nm.

        >>> Depths((("insert", 10_000_000),), Decimal("1.25"), 4_000_000, 0, 0, 0, "").needed(PLUG)
        19000000
        """
        point = self.point if lead > BOTTOMING else 0
        return self.base + max(up(self.pitch * lead / 10) + point, self.nose)

    @property
    def numbers(self) -> dict[str, int]:
        """The sum as reason data: each part that there is, both leads and what they need.

        >>> Depths((("insert", 10_000_000),), Decimal("1.25"), 0, 0, 0, 0, "").numbers["needed_bottoming_nm"]
        12500000
        """
        return {
            **{f"{name}_nm": nm for name, nm in self.parts},
            "lead_bottoming_nm": up(self.pitch * BOTTOMING / 10),
            "lead_plug_nm": up(self.pitch * PLUG / 10),
            **({"point_nm": self.point} if self.point else {}),
            **({"nose_nm": self.nose} if self.nose else {}),
            "needed_bottoming_nm": self.needed(BOTTOMING),
            "needed_plug_nm": self.needed(PLUG),
        }


@dataclass(frozen=True, slots=True)
class Budget:
    """What the depth of a hole allows one insert; lengths in nm.

    `lead` None: any lead does (through hole). `drill` is how deep to drill at full diameter, least and most,
    None where a through hole's thickness was not entered. `drill_reach` and `tap_reach` are the least usable
    lengths. `deeper` is how far below today's depth the hole is taken at most, `deep` what a tap's lead is added to.
    """

    checks: tuple[Check, ...]
    lead: Lead | None
    drill: Window | None
    drill_reach: int | None
    tap_reach: int | None
    deeper: int = 0
    deep: Deep | None = None

    @property
    def stands(self) -> bool:
        """Whether no check of the depth rules the insert out.

        >>> Budget((), None, None, None, None).stands
        True
        """
        return all(check.status != RULED_OUT for check in self.checks)


def point_of(diameter: int) -> int:
    """Length of a drill's point in nm, 0.3 of its diameter (118 degrees), rounded up.

    >>> point_of(10_483_000)
    3144900
    """
    return up(DRILL_POINT * to_mm(diameter))


def thread_now(group: HoleGroup) -> Thread | None:
    """The thread that stands in the parent metal today, or None where it was not told.

    A wire insert stands in the insert-hole thread of its bolt, so that need not be told.

    >>> from datetime import UTC, datetime
    >>> from inventory.threads import read
    >>> day = datetime(2026, 3, 2, tzinfo=UTC)
    >>> group = HoleGroup("A", read("M14x1.5").thread, 4, day, day, "Main", before="wire_insert")
    >>> thread_now(group).designation
    'EG M14x1.5'
    """
    if group.before_thread is not None:
        return group.before_thread
    if group.before == "none":
        return group.bolt
    if group.before != "wire_insert":
        return None
    try:
        return insert_hole(group.bolt)
    except ThreadError:  # a system without wire inserts of its own
        return None


def budget(group: HoleGroup, size: Size, depths: Depths, drill: Window, limits: Limits) -> Budget:
    """Judge one insert by the depth of the hole and the metal under it.

    Blind holes: what is needed at full diameter (ASME B18.29.2M for wire inserts; for bushes common practice:
    seat or set-down + insert + lead + one pitch of clearance) against the depth as it is, plus what may be
    drilled deeper: floor - drill point - the least floor left, never negative. Through holes: the insert with
    its seat against the metal's thickness. `drill` is the window of the hole to be drilled. Lengths in nm.

    >>> from repairs.methods import example, wire_insert
    >>> m10 = example.read("M10x1.25").thread
    >>> size = example.wire(inner=m10, outer=insert_hole(m10), length=15_000_000)
    >>> group = example.holes(bolt=m10, depth=17_000_000, floor=3_000_000)
    >>> judged = budget(group, size, wire_insert.depths(size, Limits()), wire_insert.window(size), Limits())
    >>> judged.checks[0].status, judged.checks[0].reason["needed_bottoming_nm"]
    ('ruled_out', 20000000)
    """
    if group.through:
        return _through(group, depths, drill)
    found = _blind(group, size, depths, drill, limits)
    if group.depth is None:
        return found
    return replace(found, deep=Deep(group.depth + found.deeper, depths.base, up(depths.pitch)))


def _through(group: HoleGroup, depths: Depths, drill: Window) -> Budget:
    name, held = next((name, nm) for name, nm in depths.parts if name in ("insert", "thread"))
    numbers = {f"{name}_nm": held, "needed_nm": depths.thickness}
    if depths.thickness > held:
        numbers["above_nm"] = depths.thickness - held
    if group.depth is None:
        missing = Check(NOT_CHECKED, Reason("thickness_missing", **numbers))
        return Budget((missing,), None, None, None, None)
    # Beyond the lead of the longest tap there is nothing to cut: a thick wall is not drilled right through.
    drilled = min(group.depth, depths.base + up(depths.pitch * TAPER / 10))
    numbers["thickness_nm"] = group.depth
    thick = group.depth >= depths.thickness
    check = (
        Check(FITS, Reason("through_fits", **numbers))
        if thick
        else Check(RULED_OUT, Reason("through_too_thin", **numbers, short_nm=depths.thickness - group.depth))
    )
    return Budget(
        checks=(check,),
        lead=None,
        drill=Window(drilled, drilled),
        drill_reach=drilled + point_of(drill.most),
        tap_reach=min(group.depth, depths.thread) + up(depths.pitch * PLUG / 10),
    )


def _blind(group: HoleGroup, size: Size, depths: Depths, drill: Window, limits: Limits) -> Budget:
    numbers, source = depths.numbers, depths.source
    plug, bottoming = depths.needed(PLUG), depths.needed(BOTTOMING)
    if group.depth is None:
        missing = Check(NOT_CHECKED, Reason("depth_missing", **numbers, source=source))
        lead, most = Lead(LONGEST_PLUG, TAPER), depths.needed(LONGEST_PLUG)
        return _planned(depths, drill, (missing,), lead, plug, most, deeper=0)
    deeper = _may_go_deeper(group, drill, limits)
    have = group.depth + (deeper or 0)
    numbers["depth_nm"] = group.depth
    if deeper is not None:
        numbers["deeper_nm"] = deeper
        if not deeper and group.floor:
            numbers["floor_nm"] = group.floor  # why it stays as deep as it is
    doubt = up(limits["doubt_length"])
    if min(abs(have - plug), abs(have - bottoming)) < doubt:
        numbers["within_nm"] = doubt
    lead = _lead(have, depths)
    if lead.doubt >= SHORTEST:
        if group.floor is not None:
            # The point may not come nearer to the back than the shop's least; a shallower lead comes first.
            safe = group.depth + group.floor - point_of(drill.most) - up(limits["floor_least"])
            have = max(min(have, safe), min(have, bottoming))
            # A tap that would just do at today's depth stays doubtful: nobody drills deeper for it.
            lead = Lead(_lead(have, depths).match, lead.doubt)
            if have < group.depth:
                numbers["within_nm"] = have
        least = plug if lead.match >= PLUG else bottoming if lead.match >= BOTTOMING else have
        most = min(have, depths.needed(LONGEST_PLUG))
        checks = [_depth_check(lead, least, group.depth, numbers, source)]
        checks += _floor_checks(group, drill, max(least, most), limits)
        deepened = max(0, most - group.depth)
        return _planned(depths, drill, tuple(checks), lead, least, most, deepened)
    if deeper is None:
        wanted = bottoming - group.depth
        unknown = Reason("floor_missing_to_deepen", **numbers, source=source, wanted_nm=wanted)
        lead, most = Lead(BOTTOMING, LONGEST_PLUG), depths.needed(LONGEST_PLUG)
        return _planned(depths, drill, (Check(DOUBTFUL, unknown),), lead, bottoming, most, wanted)
    short = Reason("depth_short", **numbers, source=source, short_nm=bottoming - have)
    return _planned(depths, drill, (Check(RULED_OUT, short),), lead, have, have, deeper=0)


def _planned(
    depths: Depths, drill: Window, checks: tuple[Check, ...], lead: Lead, least: int, most: int, deeper: int
) -> Budget:
    counted = PLUG if lead.match >= PLUG else BOTTOMING
    return Budget(
        checks=checks,
        lead=lead,
        drill=Window(least, max(least, most)),
        drill_reach=max(least, most) + point_of(drill.most),
        tap_reach=depths.thread + up(depths.pitch * counted / 10),
        deeper=deeper,
    )


def _may_go_deeper(group: HoleGroup, drill: Window, limits: Limits) -> int | None:
    if group.floor is None:
        return None
    room = group.floor - point_of(drill.most) - up(limits["floor_least"])
    return room if room >= LEAST_DEEPER else 0


def _lead(have: int, depths: Depths) -> Lead:
    """The leads that a depth allows: `match` by the published count, `doubt` by the tap's real lead.

    The hole is planned for a plug tap's lead at most; a taper tap that a deep hole would take is doubtful,
    because the hole has to be drilled deeper for it than planned.
    """
    room = have - depths.base
    if room < depths.nose:
        return Lead(0, 0)

    def threads(nm: int) -> int:
        return max(0, int((to_mm(nm) * 10 / depths.pitch).to_integral_value(ROUND_FLOOR)))

    plain, pointed = threads(room), threads(room - depths.point)
    bottoming = BOTTOMING if plain >= BOTTOMING else 0
    match = min(pointed, LONGEST_PLUG) if pointed >= PLUG else bottoming
    return Lead(match, max(match, min(plain, BOTTOMING), min(pointed, TAPER)))


def _depth_check(lead: Lead, least: int, depth: int, numbers: dict[str, int], source: str) -> Check:
    data = {**numbers, "by_nm": max(0, least - depth)}
    if lead.match >= PLUG:
        if least > depth:
            return Check(FITS, Reason("depth_fits_deepened", **data, source=source))
        return Check(FITS, Reason("depth_fits", **data, source=source))
    if lead.match >= BOTTOMING:
        return Check(FITS, Reason("depth_bottoming_only", **data, source=source))
    return Check(DOUBTFUL, Reason("depth_only_just", **data, source=source, lead=f"{lead.doubt / 10:.1f}"))


def _floor_checks(group: HoleGroup, drill: Window, drilled: int, limits: Limits) -> list[Check]:
    """Whether drilling `drilled` deep, the most that the fitter is told, cuts into a floor that is thin."""
    if group.floor is None:
        return [Check(NOT_CHECKED, Reason("floor_missing"))]
    if group.depth is None:
        return []
    left = group.floor + group.depth - drilled - point_of(drill.most)
    old = thread_now(group)
    untouched = group.floor - down(DRILL_POINT * basic(old).minor_internal) if old is not None else group.floor
    data = {"floor_nm": group.floor, "point_nm": point_of(drill.most), "left_nm": left}
    if left >= up(limits["floor_least"]) or left >= untouched > 0:
        return []
    if left <= 0:
        return [Check(RULED_OUT, Reason("floor_breaks_through", **data))]
    least = up(limits["floor_least"])
    return [Check(DOUBTFUL, Reason("floor_thin", **data, least_nm=least, source=limits.source("floor_least")))]


def same_again_depth(group: HoleGroup, size: Size, depths: Depths) -> Budget:
    """Judge the depth where the thread in the metal is kept: the same insert goes back, or the thread is chased.

    Nothing is drilled. For a tap that chases it, the lead is what the hole has room for under the thread.

    >>> from datetime import UTC, datetime
    >>> from inventory.threads import read
    >>> day, m14 = datetime(2026, 3, 2, tzinfo=UTC), read("M14x1.5").thread
    >>> group = HoleGroup("A", m14, 1, day, day, "Main", depth=20_000_000, before="wire_insert")
    >>> depths = Depths((("insert", 21_000_000),), Decimal("1.5"), 0, 0, 21_000_000, 21_000_000, "")
    >>> same_again_depth(group, Size("wire_insert", "w", "1", m14, m14, 21_000_000), depths).stands
    False
    """
    needed = depths.thickness if group.through else depths.thread
    lead = Lead(LONGEST_PLUG, TAPER) if group.depth is None else _lead(group.depth, depths)
    reach = depths.thread + up(depths.pitch * PLUG / 10)
    if not size.inserted:
        known = group.depth is not None
        told = Reason("thread_kept", length_nm=size.length) if known else Reason("depth_not_known")
        check = Check(FITS if known else NOT_CHECKED, told)
        return Budget((check,), None if group.through else lead, None, None, reach)
    if group.depth is None:
        check = Check(NOT_CHECKED, Reason("same_again_depth_missing", needed_nm=needed))
    elif group.depth < needed:
        check = Check(
            RULED_OUT,
            Reason("same_again_too_long", needed_nm=needed, depth_nm=group.depth, length_nm=size.length),
        )
    else:
        check = Check(FITS, Reason("same_again_depth", needed_nm=needed, depth_nm=group.depth))
    return Budget((check,), None, None, None, None)


def set_down_here(group: HoleGroup, size: Size, depths: Depths) -> Window | None:
    """How far the insert is set under the surface of this hole, in nm; None where its flange stands on it.

    As its family has it; in a through hole no farther than the metal beneath it allows, so that its end does not
    stand out: what is thicker than the least metal it needs may go into its set-down.

    >>> from repairs.methods import example, wire_insert
    >>> size = example.wire()
    >>> depths = wire_insert.depths(size, Limits())
    >>> [set_down_here(example.holes(through=True, depth=nm), size, depths) for nm in (21_000_000, 30_000_000)]
    [Window(least=1125000, most=1125000), Window(least=1125000, most=2250000)]
    """
    below = size.below
    if below is None or not group.through or group.depth is None:
        return below
    spare = max(0, group.depth - depths.thickness)
    return Window(below.least, min(below.most, below.least + spare))


def edge_checks(group: HoleGroup, size: Size, limits: Limits, *, cut: bool = True) -> tuple[Check, ...]:
    """Metal to the nearest edge, outside the thread and outside the seat, against the shop's two limits.

    Comfortable: 0.75 of the outside diameter between hole and edge (TM 9-2815-225-34&P). Least: three pitches
    (the edge rule of tapped holes applied to the insert, a rule of thumb; here also asked outside a seat).
    Between the two an engineer signs. A hole that is not cut again (`cut` False) is never ruled out by its
    edge. Where the thread itself would break out over the edge nobody can sign for it. Lengths in nm.

    >>> from repairs.methods import example
    >>> [edge_checks(example.holes(edge=mm * 1_000_000), example.bush(seat=None), Limits())[0].status
    ...  for mm in (12, 13, 20)]
    ['ruled_out', 'doubtful', 'fits']
    >>> edge_checks(example.holes(edge=8_000_000), example.bush(), Limits())[0].reason.code
    'thread_breaks_edge'
    """
    if group.edge is None:
        return (Check(NOT_CHECKED, Reason("edge_missing", outer=size.outer.designation)),)
    outside = basic(size.outer).major
    comfortable = up(limits["edge_comfortable"] * outside)
    least = up(limits["edge_least_pitches"] * size.outer.pitch_mm)
    metal = group.edge - up(outside / 2)
    data = {
        "outer": size.outer.designation,
        "edge_nm": group.edge,
        "metal_nm": metal,
        "comfortable_nm": comfortable,
        "least_nm": least,
    }
    worst = RULED_OUT if cut else DOUBTFUL
    # A margin that is smaller than the doubt of what was measured is said to be so, whichever way it falls.
    doubt = up(limits["doubt_edge"])
    nearest = min((abs(metal - limit), limit) for limit in (least, comfortable))[0]
    if nearest < doubt:
        data["within_nm"] = doubt
    if metal <= 0:
        broken = {"outer": size.outer.designation, "edge_nm": group.edge, "across_nm": up(outside)}
        checks = [Check(worst, Reason("thread_breaks_edge", **broken))]
    elif metal < least:
        source = limits.source("edge_least_pitches")
        checks = [Check(worst, Reason("edge_too_near", **data, short_nm=least - metal, source=source))]
    elif metal < comfortable:
        source = limits.source("edge_comfortable")
        checks = [Check(DOUBTFUL, Reason("edge_between", **data, source=source))]
    else:
        checks = [Check(FITS, Reason("edge_fits", **data, source=limits.source("edge_comfortable")))]
    if size.seat is not None:
        outside_seat = group.edge - (size.seat + 1) // 2
        seat = {"seat_nm": size.seat, "edge_nm": group.edge, "metal_nm": outside_seat, "least_nm": least}
        if outside_seat <= 0:
            checks.append(Check(worst, Reason("seat_breaks_edge", **seat)))
        elif outside_seat < least:
            source = limits.source("edge_least_pitches")
            checks.append(Check(DOUBTFUL, Reason("seat_near_edge", **seat, source=source)))
    return tuple(checks)


def wall_check(size: Size, limits: Limits) -> Check:
    """Wall of a bush between its bolt thread and its outside thread, in nm.

    With equal pitches cut in step the wall is half the difference of the majors; the worst, out of step or
    with unlike pitches, is (outer root d3 - inner major) / 2 (ISO 68-1 roots). About 1 mm or more (rule of
    thumb) is asked of the shop's own bushes; a published size is shown and not judged, its maker answers for
    it.

    >>> from inventory.threads import read
    >>> m14, m16 = read("M14x1.5").thread, read("M16x1.5").thread
    >>> size = Size("flanged_bush", "own", "1", m14, m16, 21_000_000, "house")
    >>> check = wall_check(size, Limits())
    >>> check.status, check.reason.code, check.reason["wall_nm"], check.reason["out_of_step_nm"]
    ('fits', 'wall_in_step', 1000000, 80000)
    """
    inner, outer = size.inner, size.outer
    worst = down((basic(outer).minor_external - basic(inner).major) / 2)
    least = up(limits["wall_least"])
    data = {
        "inner": inner.designation,
        "outer": outer.designation,
        "out_of_step_nm": max(0, worst),
        "least_nm": least,
        "source": limits.source("wall_least"),
    }
    if size.standing == "published":
        return Check(FITS, Reason("wall_published", **(data | {"wall_nm": worst, "source": size.source})))
    if inner.pitch_mm == outer.pitch_mm:
        wall = down((basic(outer).major - basic(inner).major) / 2)
        if wall >= least:
            return Check(FITS, Reason("wall_in_step", **data, wall_nm=wall))
    else:
        wall = worst
        if wall >= least:
            return Check(FITS, Reason("wall_fits", **data, wall_nm=wall))
    if wall <= 0:
        return Check(RULED_OUT, Reason("wall_none", **data, wall_nm=wall))
    return Check(DOUBTFUL, Reason("wall_thin", **data, wall_nm=wall))


@dataclass(frozen=True, slots=True)
class Major:
    """The major diameter that is already cut into the parent metal, mm: on basic sizes and as it really is.

    `how` says where `real` comes from: "measured", "tap" (the largest that its tap may cut) or "basic".
    """

    basic: Decimal
    real: Decimal
    how: str
    source: str


def major_now(group: HoleGroup) -> Major | None:
    """The major diameter now in the parent metal, or None where nothing tells it.

    Measured where it was measured; else for an insert hole the largest that a real tap cuts (ASME B94.9),
    since such taps cut some hundredths over basic; else the basic size, because no standard bounds it
    upwards.

    >>> from repairs.methods import example
    >>> major = major_now(example.holes(before="wire_insert"))
    >>> major.basic, major.real.quantize(Decimal("0.001")), major.how
    (Decimal('15.949'), Decimal('16.132'), 'tap')
    """
    thread = thread_now(group)
    if group.before_major is not None:
        measured = to_mm(group.before_major)
        return Major(basic(thread).major if thread is not None else measured, measured, "measured", "measured")
    if thread is None:
        return None
    if SYSTEMS[thread.system].bolt:
        tap = insert_hole_tap_major(thread)
        return Major(basic(thread).major, tap.tap_max, "tap", tap.source)
    return Major(basic(thread).major, basic(thread).major, "basic", "ISO 68-1")


def bite(outer: Thread, major: Decimal) -> Decimal:
    """Fresh thread that a new thread finds in a hole whose old major diameter is `major` mm, in per cent, 0
    to 100.

    Fresh metal a side over the basic depth of thread a side, 5/8 H = 0.541266 P (ISO 68-1).

    >>> from inventory.threads import read
    >>> bite(read("M16x1.5").thread, Decimal("15.9486")).quantize(Decimal("0.1"))
    Decimal('3.2')
    >>> bite(read("M16x1.5").thread, Decimal("16.2"))
    Decimal('0')
    """
    share = (basic(outer).major - major) / 2 / (BITE_HEIGHT * outer.pitch_mm) * 100
    return min(Decimal(100), max(Decimal(0), share))


def across(group: HoleGroup, major: Major) -> Decimal:
    """How wide the old thread reaches about the right axis, mm: with its axis off, its groove lies farther out.

    >>> from repairs.methods import example
    >>> group = example.holes(off_axis=200_000)
    >>> across(group, major_now(group))
    Decimal('14.400000')
    """
    return major.real + 2 * to_mm(group.off_axis or 0)


def _tenths(percent: Decimal) -> str:
    # Rounded down, so that no figure below a limit reads as the limit.
    return format(percent.quantize(Decimal("0.1"), ROUND_FLOOR), "f")


def bite_checks(group: HoleGroup, size: Size, limits: Limits) -> tuple[Check, ...]:
    """Whether the new outer thread finds fresh metal in this hole; below the shop's limit it is ruled out.

    Judged by the measured or the tap's largest major diameter, with the value on basic sizes beside it.
    What was not told about the hole is doubtful.

    >>> from repairs.methods import example
    >>> check = bite_checks(example.holes(before="wire_insert"), example.bush(), Limits())[0]
    >>> check.status, check.reason["bite"], check.reason["bite_basic"]
    ('ruled_out', '0.0', '3.1')
    """
    checks = []
    if group.before == "unknown":
        checks.append(Check(DOUBTFUL, Reason("before_unknown", outer=size.outer.designation)))
    major = major_now(group)
    if major is None:
        if group.before != "unknown":
            checks.append(Check(DOUBTFUL, Reason("before_thread_missing", before=group.before)))
        return tuple(checks)
    now = thread_now(group)
    percent = bite(size.outer, across(group, major))
    least = limits["bite_least"]
    fits = percent >= least
    if fits and group.before == "none" and group.before_major is None:
        return tuple(checks)
    data = {
        "outer": size.outer.designation,
        "now": now.designation if now is not None else "",
        "major_nm": up(major.real),
        "bite": _tenths(percent),
        "bite_basic": _tenths(bite(size.outer, major.basic)),
        "basis": "5/8 H",
        "least": format(least.normalize(), "f"),
        "how": major.how,
        "source": limits.source("bite_least"),
        **({"major_source": major.source} if major.how != "measured" else {}),
        **({"off_nm": group.off_axis} if group.off_axis else {}),
    }
    if fits:
        checks.append(Check(FITS, Reason("bite_fits", **data)))
    else:
        checks.append(Check(RULED_OUT, Reason("bite_short", **data)))
    return tuple(checks)


def bites(group: HoleGroup, size: Size, limits: Limits) -> bool:
    """Whether nothing about the hole's earlier thread rules this size out.

    >>> from datetime import UTC, datetime
    >>> from inventory.threads import read
    >>> day, m14 = datetime(2026, 3, 2, tzinfo=UTC), read("M14x1.5").thread
    >>> group = HoleGroup("A", m14, 4, day, day, "Main", before="wire_insert")
    >>> [bites(group, Size("flanged_bush", "own", "1", m14, read(outer).thread, 21_000_000), Limits())
    ...  for outer in ("M16x1.5", "M18x1.5")]
    [False, True]
    """
    return all(check.status != RULED_OUT for check in bite_checks(group, size, limits))


def goes_back(group: HoleGroup, size: Size) -> bool:
    """Whether this size may go back like for like: the same kind of insert stood in the same thread, and
    nothing told says that the parent's thread failed or no longer passes its hole gauge.

    >>> from repairs.methods import example
    >>> told = {"before": "wire_insert", "failed": "insert", "passes_gauge": "yes"}
    >>> goes_back(example.holes(**told), example.wire()), goes_back(example.holes(**told), example.bush())
    (True, False)
    """
    return (
        group.before == INSERT_OF.get(size.method)
        and thread_now(group) == size.outer
        and group.failed != "parent"
        and group.passes_gauge != "no"
    )


def crack_checks(group: HoleGroup, method: str) -> tuple[Check, ...]:
    """A cracked casting is replaced, not repaired (TM 5-3895-372-34); a weld is its welder's and engineer's to judge.

    >>> from repairs.methods import example
    >>> [check.status for method in ("wire_insert", "plug_or_weld", "scrap_part")
    ...  for check in crack_checks(example.holes(damage="cracked"), method)]
    ['ruled_out', 'doubtful']
    """
    if group.damage != "cracked" or method == "scrap_part":
        return ()
    status = DOUBTFUL if method == "plug_or_weld" else RULED_OUT
    return (Check(status, Reason("cracked"), Reason("replace_the_part")),)


def earlier_checks(group: HoleGroup, size: Size) -> tuple[Check, ...]:
    """What the hole's earlier repair says about this size, apart from its bite.

    The parent's thread failed: not the same size again [common]; after a wire insert not a wire insert at
    all, "the next one is a solid bush or more" [common]. Like for like with an answer missing is doubtful.

    >>> from repairs.methods import example
    >>> check = earlier_checks(example.holes(before="wire_insert", failed="parent"), example.wire())[0]
    >>> check.status, check.reason.code
    ('ruled_out', 'wire_failed_in_parent')
    """
    if group.before in ("none", "unknown") or group.before != INSERT_OF.get(size.method):
        return ()
    outer = size.outer.designation
    if group.failed == "parent":
        if group.before == "wire_insert":
            remedy = Reason("solid_bush_or_more")
            return (Check(RULED_OUT, Reason("wire_failed_in_parent", outer=outer), remedy),)
        if thread_now(group) == size.outer:
            return (Check(RULED_OUT, Reason("parent_failed_at_size", outer=outer)),)
        return ()
    checks = []
    if thread_now(group) == size.outer:
        if group.failed in ("", "unknown"):
            checks.append(Check(DOUBTFUL, Reason("failed_unknown", outer=outer)))
        elif group.before == "wire_insert":
            checks.append(Check(FITS, Reason("wire_failed_once", outer=outer)))
        if group.passes_gauge == "no":
            checks.append(Check(RULED_OUT, Reason("receiving_thread_fails", outer=outer)))
        elif group.passes_gauge == "unknown":
            checks.append(Check(DOUBTFUL, Reason("gauge_unknown", outer=outer)))
        if group.before == "solid_bush" and group.passes_gauge != "no":
            checks.append(Check(DOUBTFUL, Reason("old_bush_form_unknown", method=size.method)))
    return tuple(checks)


def cleaned_up(group: HoleGroup, drill: Window) -> Window | None:
    """The drill's window in a worn or off-axis hole, in nm: it begins where the drill leaves nothing of the old hole.

    A hole of diameter b whose axis is e off its place is gone once a hole of b + 2 e stands on the right axis
    (geometry). None where even the widest drill of the window leaves some of it.

    >>> from repairs.methods import example
    >>> window = Window(14_376_000, 14_676_000)
    >>> [cleaned_up(example.holes(bore=14_200_000, off_axis=off), window) for off in (None, 150_000, 300_000)]
    [Window(least=14376000, most=14676000), Window(least=14500000, most=14676000), None]
    """
    needed = gone_at(group)
    if needed is None or needed <= drill.least:
        return drill
    return Window(needed, drill.most) if needed <= drill.most else None


def gone_at(group: HoleGroup) -> int | None:
    """The diameter in nm of the least hole on the right axis that leaves nothing of the hole as it is; None: unknown.

    The minor diameter of the thread that stands in it is the least that it can be: it is taken where the axis is off
    and nobody measured how wide the hole is, or something narrower was written down.

    >>> from repairs.methods import example
    >>> gone_at(example.holes(off_axis=200_000)), gone_at(example.holes(bore=1_000_000)), gone_at(example.holes())
    (12776000, 12376000, None)
    """
    if group.bore is None and not group.off_axis:
        return None
    now = thread_now(group)
    known = [each for each in (group.bore, up(basic(now).minor_internal) if now else None) if each is not None]
    return max(known) + 2 * (group.off_axis or 0) if known else None


def clean_up_checks(group: HoleGroup, size: Size, drill: Window) -> tuple[Check, ...]:
    """Whether the drill takes the whole of a worn or off-axis hole away; what it leaves would be no thread.

    `drill` is the window that the method asks for, in nm.

    >>> from repairs.methods import example
    >>> window = Window(14_376_000, 14_676_000)
    >>> [clean_up_checks(example.holes(bore=bore), example.bush(), window)[0].status
    ...  for bore in (14_000_000, 15_000_000)]
    ['fits', 'ruled_out']
    >>> clean_up_checks(example.holes(damage="worn"), example.bush(), window)[0].status
    'not_checked'
    """
    needed = gone_at(group)
    if needed is None:
        return (Check(NOT_CHECKED, Reason("bore_missing")),) if group.damage == "worn" else ()
    numbers = {"gone_least_nm": needed, "most_nm": drill.most, "outer": size.outer.designation}
    if group.off_axis:
        numbers["off_nm"] = group.off_axis
    if cleaned_up(group, drill) is None:
        return (Check(RULED_OUT, Reason("not_cleaned_up", **numbers, over_nm=needed - drill.most)),)
    return (Check(FITS, Reason("cleaned_up", **numbers)),)


def axis_checks(group: HoleGroup) -> tuple[Check, ...]:
    """Told where the thread in the metal is kept: an axis that is off stays off.

    >>> from repairs.methods import example
    >>> [check.status for off in (None, 300_000) for check in axis_checks(example.holes(off_axis=off))]
    ['doubtful']
    """
    return (Check(DOUBTFUL, Reason("axis_stays_off", off_nm=group.off_axis)),) if group.off_axis else ()


def reach_checks(group: HoleGroup, size: Size, below: Window | None) -> tuple[Check, ...]:
    """Whether the bolt engages the whole insert and does not bottom, where somebody entered how far it reaches in.

    `below` is how far the insert is set under the surface. A bolt that is short of the insert's end or meets the
    bottom is doubtful: another bolt puts it right. Lengths in nm.

    >>> from repairs.methods import example
    >>> [check.status for reach in (20, 24, 41) for check in reach_checks(
    ...     example.holes(reach=reach * 1_000_000), example.bush(), None)]
    ['doubtful', 'fits', 'doubtful']
    """
    if group.reach is None:  # with an insert the sum of strength says so, whose lengths it concerns
        return () if size.inserted else (Check(NOT_CHECKED, Reason("bolt_reach_not_entered")),)
    top = below.most if below is not None else size.seat_depth
    numbers = {"reach_nm": group.reach, "end_nm": top + size.length}
    checks = []
    if group.reach < top + size.length:
        checks.append(Check(DOUBTFUL, Reason("bolt_short", **numbers, short_nm=top + size.length - group.reach)))
    if not group.through and group.depth is not None and group.reach > group.depth:
        over = Reason("bolt_bottoms", reach_nm=group.reach, depth_nm=group.depth, over_nm=group.reach - group.depth)
        checks.append(Check(DOUBTFUL, over))
    return tuple(checks) or (Check(FITS, Reason("bolt_reaches", **numbers)),)


def metal_away(group: HoleGroup, size: Size, depths: Depths, deeper: int) -> Decimal | None:
    """What the repair cuts out of the parent metal, mm3 a hole; None where today's thread or depth is not known.

    A thread's hole is counted at its pitch diameter, or at the bore that was measured where that is wider, over the
    depth that the new thread is cut; a seat by its diameter and depth; what is drilled `deeper` nm at the new pitch
    diameter. Drill points are not counted.

    >>> from repairs.methods import example, solid_bush
    >>> group, size = example.holes(), example.bush()
    >>> metal_away(group, size, solid_bush.depths(size, Limits()), 0).quantize(Decimal(1))
    Decimal('1419')
    """
    now = thread_now(group)
    if now is None or group.depth is None:
        return None
    old, new = max(basic(now).pitch_diameter, to_mm(group.bore or 0)), basic(size.outer).pitch_diameter
    quarter = Decimal("0.7853981633974483")
    length = to_mm(depths.thread)
    seat = (to_mm(size.seat) ** 2 - new**2) * to_mm(size.seat_depth) if size.seat is not None else Decimal(0)
    away = (new**2 - old**2) * length + max(Decimal(0), seat) + new**2 * to_mm(deeper)
    return max(Decimal(0), quarter * away)


def made_checks(group: HoleGroup) -> tuple[Check, ...]:
    """What the making of the old thread says: unknown is doubtful; formed by the screw is told, for its
    neighbours.

    Threads that a thread-forming screw pressed into a soft casting often shear once an ordinary bolt goes in
    [common practice, contested]; this repair drills that thread away.

    >>> from repairs.methods import example
    >>> made_checks(example.holes(made="cut")), made_checks(example.holes(made="unknown"))[0].status
    ((), 'doubtful')
    """
    if group.made == "formed":
        return (Check(FITS, Reason("made_formed")),)
    return (Check(DOUBTFUL, Reason("made_unknown")),) if group.made == "unknown" else ()


def engagement_wanted(group: HoleGroup, limits: Limits, bolt: Thread | None = None) -> int:
    """Least length of thread the bolt should hold in, nm: 1.5 D in soft metal, 1 D in hard (TM
    5-2330-325-13&P).

    Where no material was entered, soft is assumed. `bolt` is another bolt than the group's.

    >>> from repairs.methods import example
    >>> [engagement_wanted(example.holes(material=metal), Limits()) for metal in ("magnesium", "steel", "")]
    [21000000, 14000000, 21000000]
    """
    material = MATERIALS.get(group.material)
    soft = material.soft if material is not None else True
    return up(limits["engagement_soft" if soft else "engagement_hard"] * (bolt or group.bolt).nominal_mm)


def engagement_check(group: HoleGroup, size: Size, limits: Limits) -> Check:
    """Whether the insert is as long as the shop's rule of engagement wants; shorter is doubtful.

    >>> from repairs.methods import example
    >>> engagement_check(example.holes(), example.bush(length=14_000_000), Limits()).status
    'doubtful'
    """
    wanted = engagement_wanted(group, limits, size.inner)
    material = MATERIALS.get(group.material)
    soft = material is None or material.soft
    data = {
        "length_nm": size.length,
        "wanted_nm": wanted,
        "material": group.material,
        "source": limits.source("engagement_soft" if soft else "engagement_hard"),
    }
    if size.length >= wanted:
        return Check(FITS, Reason("engagement_enough", **data))
    return Check(DOUBTFUL, Reason("engagement_short", **data))


def answers_missing(group: HoleGroup) -> tuple[Check, ...]:
    """What was not entered and is asked for no one size in particular: the material, the torque.

    >>> from repairs.methods import example
    >>> [check.reason.code for check in answers_missing(example.holes(material="", torque=None))]
    ['material_missing', 'torque_missing']
    """
    checks = []
    if group.material not in MATERIALS:
        checks.append(Check(NOT_CHECKED, Reason("material_missing")))
    if group.torque is None:
        checks.append(Check(NOT_CHECKED, Reason("torque_missing", bolt=group.bolt.designation)))
    return tuple(checks)


def bush_depths(size: Size, limits: Limits) -> Depths:
    """The depth budget of a bush with a seat or a set-down [common practice]: it + insert + clearance, nm.

    A flange stands in its seat, so the seat counts; without one the deepest set-down does. In a through hole
    the shallowest set-down is enough.

    >>> from repairs.methods import example
    >>> depths = bush_depths(example.bush(), Limits())
    >>> depths.parts, depths.needed(PLUG)
    ((('seat', 2000000), ('insert', 21000000), ('clearance', 1500000)), 30500000)
    """
    outer = size.outer
    flanged = size.flange is not None
    top = size.seat_depth if flanged else (size.below.most if size.below is not None else 0)
    shallow = size.seat_depth if flanged else (size.below.least if size.below is not None else 0)
    return Depths(
        parts=(
            ("seat" if flanged else "set_down", top),
            ("insert", size.length),
            ("clearance", up(limits["clearance_pitches"] * outer.pitch_mm)),
        ),
        pitch=outer.pitch_mm,
        point=outer.nominal // 2 if outer.nominal <= POINTED_UP_TO else 0,
        nose=size.nose,
        thread=top + size.length,
        thickness=shallow + size.length,
        source="common practice, no source",
    )
