"""Will it hold: one way of repairing one hole, judged with numbers, and which input would change that. PURE.

What is typed comes in as whole nanometres and newton millimetres, whatever unit it was typed in. Each sum says what
a thread carries, against what it is held, and by how much it holds or falls short; nothing entered is "not checked".
Loads are compared as they are summed; printed ones are rounded, what there is down and what is needed up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from types import MappingProxyType

from inventory.errors import Reason
from inventory.quantities import to_mm, to_nm
from inventory.threads import Thread, basic
from repairs.strength.bolts import BoltMetal, galvanized_carries_less, proof_load, ultimate_load
from repairs.strength.metals import Metal
from repairs.strength.stripping import (
    ALEXANDER,
    BOSS_GIVEN_FROM,
    BOSS_NOT_GIVEN,
    H28,
    Fit,
    alexander_loads,
    boss_factor,
    up_to_nm,
    worst,
)
from repairs.strength.tightening import Band, Head, long_preload, short_preload

HOLDS, SIGNS, RULED_OUT, NOT_CHECKED = "holds", "signs", "ruled_out", "not_checked"

# From bad to good. What is not checked stands between: it may turn out either way, but it rules nothing out.
_ORDER = (RULED_OUT, SIGNS, NOT_CHECKED, HOLDS)


@dataclass(frozen=True, slots=True)
class Rule:
    """One number that the judging stands on, its unit and where it comes from; the shop may set its own."""

    value: Decimal
    unit: str
    source: str


RULES: dict[str, Rule] = {
    "torque_over": Rule(Decimal("1.35"), "times the torque without tear-out", "MIL-STD-2193C(SH) 5.2.9.1"),
    "threads_least": Rule(Decimal(3), "threads that hold, at least", "equipment workmanship standard, low-trust copy"),
    "nut_factor_least": Rule(Decimal("0.16"), "K", "K 0.20 and 25 % of a torque wrench, NASA TM-106943"),
    "nut_factor_most": Rule(Decimal("0.28"), "K", "K 0.20, 25 % and 5 % of relaxation, NASA TM-106943"),
    "friction_least": Rule(Decimal("0.10"), "friction", "the least column read of VDI 2230's fine-thread table"),
    "friction_most": Rule(Decimal("0.14"), "friction", "the largest column read of VDI 2230's fine-thread table"),
    "bolt_over": Rule(
        Decimal(1),
        "times the least strength of its class",
        "the least of the class; VDI 2230-1 wants the largest, of which no table was seen",
    ),
    "doubt_length": Rule(Decimal("0.5"), "mm either way", "depth by rule or gauge, common practice, no source"),
    "doubt_edge": Rule(Decimal("0.5"), "mm either way", "common practice, no source"),
    "doubt_torque": Rule(Decimal(4), "% either way", "ISO 6789, torque wrenches over 10 N·m, from memory"),
    "doubt_metal": Rule(Decimal(10), "% either way", "rule of thumb"),
}
DEFAULTS: Mapping[str, Decimal] = MappingProxyType({code: rule.value for code, rule in RULES.items()})


@dataclass(frozen=True, slots=True)
class Joint:
    """One bolt in one hole as it would be repaired: all that the judging needs. None is "not entered".

    `outer` is the thread that stands in the parent metal, None where the bolt itself does. `engaged` is the effective
    length in nm of the thread in the parent, `bolt_engaged` of the bolt in the insert (the insert's whole length is
    taken where nobody entered how far the bolt reaches). `insert` is a solid insert's metal; a `wire` is not summed.
    `drilled` is the hole's diameter in nm where it is wider than its class. `bite` is the fresh thread in per cent that
    an outer thread finds in a hole repaired before: so much of the parent's area counts (rule of thumb, no source).
    `torque` is in N·mm, `edge` from axis to edge in nm, `head` what turns under the wrench. `bolt_class` is the bolt's
    thread class.
    """

    bolt: Thread
    engaged: int
    outer: Thread | None = None
    bolt_engaged: int | None = None
    grade: BoltMetal | None = None
    metal: Metal | None = None
    insert: Metal | None = None
    wire: bool = False
    drilled: int | None = None
    bite: Decimal = Decimal(100)
    torque: int | None = None
    edge: int | None = None
    head: Head | None = None
    bolt_class: str = ""
    galvanized: bool = False

    @property
    def parent_thread(self) -> Thread:
        """The thread that stands in the parent metal.

        >>> m14, m16 = Thread("M", 14_000_000, 1_500_000), Thread("M", 16_000_000, 1_500_000)
        >>> [Joint(m14, 20_000_000, outer=outer).parent_thread.designation for outer in (m16, None)]
        ['M16x1.5', 'M14x1.5']
        """
        return self.outer or self.bolt


@dataclass(frozen=True, slots=True)
class Sum:
    """One thing that may fail: what it carries and what it is held against, in N; why, and what would help.

    `what` is the thread that strips, "parent_thread", "insert_thread" (the inner one), "insert_outer_thread" or
    "bolt_thread", or the "bolt" itself under its torque. `against` is "ultimate" or "torque", `margin` carries/needed
    - 1 or None. `by` names the formula that gave the smaller load.
    """

    what: str
    status: str
    reason: Reason
    carries: float | None = None
    needed: float | None = None
    against: str = ""
    margin: float | None = None
    remedies: tuple[Reason, ...] = ()
    by: str = ""


@dataclass(frozen=True, slots=True)
class Turn:
    """One input that, wrong by its doubt alone, would change the verdict: which, which way, and what it would be.

    `code` is "length", "edge", "torque" or "metal"; `reason` tells it with its numbers.
    """

    code: str
    less: bool
    status: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether one repair holds: "holds", "signs" (an engineer), "ruled_out" or "not_checked".

    `governs` is the sum that decides, the worst; `margin` its margin. `missing` is what nobody entered, `notes` what
    was assumed. `preload` is the band in N from the torque, `turns` what would change the verdict.
    """

    status: str
    sums: tuple[Sum, ...]
    governs: str
    margin: float | None
    reasons: tuple[Reason, ...] = ()
    missing: tuple[Reason, ...] = ()
    notes: tuple[Reason, ...] = ()
    preload: Band | None = None
    turns: tuple[Turn, ...] = ()


def worse(one: str, other: str) -> str:
    """The worse of two statuses: ruled out, then signs, then not checked, then holds.

    >>> worse("holds", "not_checked"), worse("signs", "ruled_out")
    ('not_checked', 'ruled_out')
    """
    return min(one, other, key=_ORDER.index)


def preload_band(joint: Joint, rules: Mapping[str, Decimal] = DEFAULTS) -> Band | None:
    """The band of preload in N from the joint's torque: the wider of short and long form, None without a torque.

    The long form (VDI 2230-1 5.4.3) is summed where the head's faces are known, the short one always.

    >>> band = preload_band(Joint(Thread("M", 14_000_000, 1_500_000), 20_000_000, torque=100_000))
    >>> round(band.least), round(band.most)
    (25510, 44643)
    """
    if joint.torque is None:
        return None
    nut = Band(float(rules["nut_factor_least"]), float(rules["nut_factor_most"]))
    short = short_preload(joint.torque, joint.bolt.nominal_mm, nut)
    if joint.head is None:
        return short
    friction = Band(float(rules["friction_least"]), float(rules["friction_most"]))
    long = long_preload(joint.torque, joint.bolt, joint.head, friction)
    return Band(min(short.least, long.least), max(short.most, long.most))


@dataclass(frozen=True, slots=True)
class _Demand:
    """What is asked of every thread of one joint, in N: the bolt's loads and the most that its torque may pull."""

    ultimate: float | None
    proof: float | None
    pull: float | None
    torque: int | None
    over: float


def _percent(share: float) -> str:
    """A share as per cent to one decimal, without a sign; what is there is never told as 0.0."""
    percent = abs(share) * 100
    return f"{percent:.1f}" if percent >= 0.05 or not percent else "under 0.1"


def _least_nm(length: int, carries: float, needed: float) -> int | None:
    return to_nm(up_to_nm(length / 1e6 * needed / carries), "up") if carries > 0 else None


def _strips(what: str, thread: Thread, length: int, carries: float, by: str, demand: _Demand) -> Sum:
    """One thread that strips at `carries` N over `length` nm, held against the bolt and against its torque."""
    goal = demand.ultimate if demand.ultimate is not None else (demand.pull or 0.0) * demand.over
    said = {
        "what": what,
        "thread": thread.designation,
        "engaged_nm": length,
        "carries_newton": math.floor(carries),
        "source": by,
    }
    if demand.ultimate is None and demand.pull is None:
        return Sum(what, NOT_CHECKED, Reason("strips_at", **said), carries, by=by)
    least = _least_nm(length, carries, goal)
    remedies: tuple[Reason, ...] = ()
    if least is not None and carries < goal:
        remedies = (Reason("engage_more", least_nm=least),)
    if demand.ultimate is not None and carries >= demand.ultimate:
        return _sum(what, HOLDS, "bolt_breaks_first", said, carries, demand.ultimate, "ultimate", by, least)
    if demand.pull is not None and carries < demand.over * demand.pull:
        if demand.torque is not None and carries > 0:
            most = math.floor(demand.torque * carries / (demand.over * demand.pull))
            remedies += (Reason("torque_less", most_nmm=most),) if most else ()
        if carries < demand.pull:
            return _sum(what, RULED_OUT, "strips_at_torque", said, carries, demand.pull, "torque", by, least, remedies)
        needed = demand.over * demand.pull
        return _sum(what, SIGNS, "strips_near_torque", said, carries, needed, "torque", by, least, remedies)
    if demand.ultimate is None:
        needed = demand.over * (demand.pull or 0.0)
        return _sum(what, NOT_CHECKED, "holds_its_torque", said, carries, needed, "torque", by, least)
    below_proof = demand.proof is not None and carries < demand.proof
    return _sum(
        what,
        SIGNS,
        "strips_before_proof" if below_proof else "strips_before_bolt",
        said,
        carries,
        demand.ultimate,
        "ultimate",
        by,
        least,
        remedies,
    )


def _sum(
    what: str,
    status: str,
    code: str,
    said: Mapping[str, object],
    carries: float,
    needed: float,
    against: str,
    by: str,
    least: int | None,
    remedies: tuple[Reason, ...] = (),
) -> Sum:
    margin = carries / needed - 1
    numbers = {**said, "needed_newton": math.ceil(needed), "margin": _percent(margin), "least_nm": least}
    return Sum(what, status, Reason(code, **numbers), carries, needed, against, margin, remedies, by)


def _smaller(plain: float, factored: float) -> tuple[float, str]:
    return (factored, ALEXANDER) if factored < plain else (plain, H28)


def _pair(
    names: tuple[str, str],
    fit: Fit,
    length: int,
    hole: Metal | None,
    screw: float | None,
    dilation: float,
    share: float,
) -> list[tuple[str, float, str]]:
    """What hole and screw of one pair carry, by the stricter formula; `share` of the hole's thread is there.

    Where the other part's strength is not known, that part's bending factor is taken at its worst.
    """
    mm, found = to_mm(length), []
    unknown = 1e9  # so strong, or so weak, that the factor is at its end: 0.897 is the least of both
    if hole is not None:
        loads = alexander_loads(fit, mm, hole.shear_here, screw or hole.shear_here / unknown, dilation)
        plain = float(fit.hole_area(mm)) * hole.shear_here
        found.append((names[0], *_smaller(plain * share, loads[0] * share)))
    if screw is not None:
        loads = alexander_loads(fit, mm, hole.shear_here if hole else screw / unknown, screw, dilation)
        found.append((names[1], *_smaller(float(fit.screw_area(mm)) * screw, loads[1])))
    return found


def _stripping(joint: Joint, demand: _Demand, width: float) -> list[Sum]:
    """Every thread that may strip; `width` is that of the metal around the parent's thread, in its diameters."""
    dilation = boss_factor(width)
    drilled = to_mm(joint.drilled) if joint.drilled is not None else None
    share = float(joint.bite) / 100
    bolt = joint.grade.shear if joint.grade else None
    outer_screw = (joint.insert.shear_here if joint.insert else None) if joint.outer else bolt
    in_parent = worst(joint.parent_thread, "" if joint.outer else joint.bolt_class, drilled=drilled)
    names = ("parent_thread", "insert_outer_thread" if joint.outer else "bolt_thread")
    loads = [
        (name, joint.parent_thread, joint.engaged, load, by)
        for name, load, by in _pair(
            names, in_parent, joint.engaged, joint.metal, None if joint.wire else outer_screw, dilation, share
        )
    ]
    if joint.outer:
        length = joint.engaged if joint.bolt_engaged is None else joint.bolt_engaged
        fit = worst(joint.bolt, joint.bolt_class)
        metal = None if joint.wire else joint.insert
        loads += [
            (name, joint.bolt, length, load, by)
            for name, load, by in _pair(("insert_thread", "bolt_thread"), fit, length, metal, bolt, dilation, 1.0)
        ]
    if width < BOSS_GIVEN_FROM:
        loads = [(name, thread, length, load, f"{by}; {BOSS_NOT_GIVEN}") for name, thread, length, load, by in loads]
    return [_strips(what, thread, length, load, by, demand) for what, thread, length, load, by in loads]


def _stretch(joint: Joint, band: Band, torque: int) -> Sum | None:
    """The bolt itself under the most that its torque may pull: within its proof load, past it, or broken.

    The proof load (ISO 898-1, SAE J429) is in pure tension, though a wrench twists the bolt as well. It is the limit
    all the same: at the friction of that largest pull, twist and tension together reach the yield strength (VDI
    2230-1 5.5.1 with v = 1) at 0.99 to 1.07 of the proof load, for classes 8.8 to 12.9 from M6 to M20. VDI's v = 0.9 is
    not compared: it is a share of the yield strength that a designer chooses a torque by, and here the torque is given.
    """
    if joint.grade is None:
        return None
    proof, ultimate = proof_load(joint.grade, joint.bolt), ultimate_load(joint.grade, joint.bolt)
    said = {
        "thread": joint.bolt.designation,
        "grade": joint.grade.code,
        "pull_least_newton": math.floor(band.least),
        "pull_most_newton": math.ceil(band.most),
        "proof_newton": math.floor(proof),
        "source": joint.grade.source,
    }
    margin = proof / band.most - 1
    if band.most <= proof:
        within = Reason("bolt_within_proof", margin=_percent(margin), **said)
        return Sum("bolt", HOLDS, within, proof, band.most, "torque", margin, by=joint.grade.source)
    remedies = (Reason("torque_less", most_nmm=math.floor(torque * proof / band.most)),)
    if band.least < ultimate:
        past = Reason("bolt_past_proof", margin=_percent(margin), **said)
        return Sum("bolt", SIGNS, past, proof, band.most, "torque", margin, remedies, by=joint.grade.source)
    breaks = Reason("bolt_breaks_at_torque", ultimate_newton=math.floor(ultimate), **said)
    margin = ultimate / band.least - 1
    return Sum("bolt", RULED_OUT, breaks, ultimate, band.least, "torque", margin, remedies, by=joint.grade.source)


def _missing(joint: Joint) -> tuple[list[Reason], list[Reason]]:
    """What nobody entered: first what no verdict stands without, then what only a part of it does."""
    first, then = [], []
    if joint.metal is None:
        first.append(Reason("parent_metal_missing"))
    if joint.grade is None:
        first.append(Reason("bolt_grade_missing"))
    if joint.outer and not joint.wire and joint.insert is None:
        first.append(Reason("insert_metal_missing"))
    if joint.torque is None:
        then.append(Reason("torque_not_entered"))
    if joint.edge is None:
        then.append(Reason("edge_not_entered"))
    if joint.outer and joint.bolt_engaged is None:
        then.append(Reason("bolt_reach_not_entered"))
    return first, then


def _notes(joint: Joint) -> list[Reason]:
    notes = []
    if joint.wire:
        notes.append(Reason("wire_not_summed"))
    if joint.metal is not None:
        metal = joint.metal
        numbers = {"word": metal.word, "shear_mpa": round(metal.shear_here), "source": metal.source}
        share = f"{metal.share * 100:.0f}" if metal.share < 1 else ""
        ratio = f"{metal.ratio:.2f}" if metal.ratio else ""
        notes.append(Reason("metal_counted", basis=metal.basis, share=share, ratio=ratio, **numbers))
        if metal.how == "memory":
            notes.append(Reason("metal_from_memory", word=metal.word, source=metal.source))
    if joint.grade is not None:
        notes.append(Reason("bolt_at_its_least", grade=joint.grade.code, source=joint.grade.source))
    if joint.bite < 100:
        notes.append(Reason("bite_counted", bite=f"{joint.bite:.1f}"))
    return notes


def _judged(joint: Joint, rules: Mapping[str, Decimal]) -> Verdict:
    """The verdict on the inputs as they are, before anybody doubts them."""
    band, grade = preload_band(joint, rules), joint.grade
    demand = _Demand(
        ultimate=ultimate_load(grade, joint.bolt) * float(rules["bolt_over"]) if grade else None,
        proof=proof_load(grade, joint.bolt) if grade else None,
        pull=band.most if band else None,
        torque=joint.torque,
        over=float(rules["torque_over"]),
    )
    outside = basic(joint.parent_thread).major
    width = float(2 * to_mm(joint.edge) / outside) if joint.edge is not None else math.inf
    sums = _stripping(joint, demand, width)
    stretch = _stretch(joint, band, joint.torque) if band and joint.torque is not None else None
    sums += [stretch] if stretch else []
    first, then = _missing(joint)
    status = HOLDS
    for each in sums:
        status = worse(status, each.status)
    if first:
        status = worse(status, NOT_CHECKED)
    reasons = []
    if width < BOSS_GIVEN_FROM:
        reasons.append(Reason("edge_below_factor", edge_nm=joint.edge, least_nm=to_nm(outside * Decimal("0.7"), "up")))
    threads = min(
        to_mm(joint.engaged) / joint.parent_thread.pitch_mm,
        to_mm(joint.engaged if joint.bolt_engaged is None else joint.bolt_engaged) / joint.bolt.pitch_mm,
    )
    if threads < rules["threads_least"]:
        reasons.append(Reason("threads_few", threads=f"{threads:.1f}", least=f"{rules['threads_least']:f}"))
    if joint.galvanized and galvanized_carries_less(joint.bolt):
        reasons.append(Reason("galvanized_reduced", thread=joint.bolt.designation))
    if reasons:
        status = worse(status, SIGNS)
    decided = min(
        (each for each in sums if each.margin is not None),
        key=lambda each: (_ORDER.index(each.status), each.margin),
        default=None,
    )
    return Verdict(
        status=status,
        sums=tuple(sums),
        governs=decided.what if decided else "",
        margin=decided.margin if decided else None,
        reasons=tuple(reasons),
        missing=tuple(first + then),
        notes=tuple(_notes(joint)),
        preload=band,
    )


def _times(value: float, percent: Decimal, sign: int) -> float:
    return value * (1 + sign * float(percent) / 100)


def _shifted(joint: Joint, code: str, sign: int, doubt: Decimal) -> Joint | None:
    """The joint with one input off by its doubt, up or down; None where that input was not entered."""
    if code == "length":
        off = sign * to_nm(doubt)
        bolt = joint.bolt_engaged
        return replace(
            joint,
            engaged=max(0, joint.engaged + off),
            bolt_engaged=None if bolt is None else max(0, bolt + off),
        )
    if code == "edge":
        return None if joint.edge is None else replace(joint, edge=max(0, joint.edge + sign * to_nm(doubt)))
    if code == "torque":
        return None if joint.torque is None else replace(joint, torque=round(_times(joint.torque, doubt, sign)))
    if joint.metal is None:
        return None
    metal = joint.metal
    return replace(
        joint,
        metal=replace(metal, tensile=_times(metal.tensile, doubt, sign), shear=_times(metal.shear, doubt, sign)),
    )


# What is measured when the job is taken in; the metal is looked up.
_MEASURED = ("length", "edge", "torque")
_GIVEN = {
    "length": "engaged_length",
    "edge": "distance_to_the_edge",
    "torque": "torque",
    "metal": "strength_of_the_metal",
}
_SAID = {SIGNS: "an_engineer_signs"}
_BETTER = {"length": 1, "edge": 1, "torque": -1, "metal": 1}


def _all_off(joint: Joint, rules: Mapping[str, Decimal], good: bool) -> Joint:
    for code in _MEASURED:
        sign = _BETTER[code] if good else -_BETTER[code]
        joint = _shifted(joint, code, sign, rules[f"doubt_{code}"]) or joint
    return joint


def _turn(code: str, less: bool, doubt: Decimal, status: str) -> Reason:
    said = {"given": _GIVEN[code], "way": "less" if less else "more", "status": _SAID.get(status, status)}
    if code in ("length", "edge"):
        return Reason("length_would_turn", by_nm=to_nm(doubt), **said)
    return Reason("share_would_turn", percent=f"{doubt.normalize():f}", **said)


def sensitivity(joint: Joint, rules: Mapping[str, Decimal] = DEFAULTS) -> tuple[Turn, ...]:
    """Which one input, wrong by its doubt, would change the verdict: length, edge, torque, or the metal's strength.

    Each is moved alone, both ways, and the joint is judged anew on what was entered; what was not entered is not moved.

    >>> from repairs.strength.bolts import bolt_metal
    >>> from repairs.strength.metals import own_metal
    >>> m10 = Thread("M", 10_000_000, 1_500_000)
    >>> soft = Joint(m10, 16_000_000, grade=bolt_metal("8.8", m10), metal=own_metal(shear=130))
    >>> [(turn.code, turn.less, turn.status) for turn in sensitivity(soft)]
    [('metal', False, 'holds')]
    """
    now = _judged(joint, rules).status
    found = []
    for code in (*_MEASURED, "metal"):
        doubt = rules[f"doubt_{code}"]
        for sign in (-1, 1):
            moved = _shifted(joint, code, sign, doubt)
            if moved is not None and (status := _judged(moved, rules).status) != now:
                found.append(Turn(code, sign < 0, status, _turn(code, sign < 0, doubt, status)))
    return tuple(found)


def judge(joint: Joint, rules: Mapping[str, Decimal] = DEFAULTS, *, turns: bool = True) -> Verdict:
    """Whether this repair holds, with every number: the verdict on one option.

    Each thread's stripping load (FED-STD-H28/2B, or Alexander's factors where they give less) is held against the
    bolt's ultimate load: it "holds" where the bolt breaks first. Where the thread strips first an engineer "signs";
    under the most that the torque may pull the repair is "ruled_out", under 1.35 times that (MIL-STD-2193C) it is
    told so. A margin that the measuring doubt (lengths, edge and torque at their bad ends together) would eat up makes
    "holds" into "signs", and where their good ends would do it a shortfall says so. Without the parent's metal, the
    bolt's grade or a solid insert's metal it is "not_checked", unless something already decides against it. `turns`
    off leaves out what would change the verdict, which costs as much again. Raises ThreadError for an unknown class.

    >>> from repairs.strength.bolts import bolt_metal
    >>> from repairs.strength.metals import metal
    >>> m10 = Thread("M", 10_000_000, 1_500_000)
    >>> joint = Joint(m10, 17_000_000, grade=bolt_metal("8.8", m10), metal=metal("en-gjs-500-7"))
    >>> found = judge(joint)
    >>> found.status, found.governs, round(found.margin, 2)
    ('holds', 'bolt_thread', 1.79)
    >>> judge(replace(joint, engaged=9_000_000, metal=None)).status
    'not_checked'
    """
    found = _judged(joint, rules)
    reasons, status = list(found.reasons), found.status
    shortfall = any(each.status in (SIGNS, RULED_OUT) for each in found.sums)
    if status == HOLDS and _judged(_all_off(joint, rules, good=False), rules).status != HOLDS:
        reasons.append(Reason("margin_within_doubt", margin=_percent(found.margin or 0.0)))
        status = SIGNS
    elif shortfall and _ORDER.index(_judged(_all_off(joint, rules, good=True), rules).status) > _ORDER.index(status):
        reasons.append(Reason("short_within_doubt", margin=_percent(found.margin or 0.0)))
    turning = sensitivity(joint, rules) if turns else ()
    return replace(found, status=status, reasons=tuple(reasons), turns=turning)
