"""The values that repair methods speak in: hole groups, sizes, needs, steps, checks, the shop's limits. PURE.

Lengths in whole nanometres, torques in newton millimetres, lead in tenths of a thread, times as aware
UTC datetimes in half-open windows. None means that nothing was entered: it is "not checked", never "OK".
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from inventory.errors import Reason
from inventory.threads import Thread
from repairs.strength import HOLDS, RULES, SIGNS, Rule, Verdict

FITS, DOUBTFUL, RULED_OUT, NOT_CHECKED = "fits", "doubtful", "ruled_out", "not_checked"
SIGNED = "signed"  # doubtful, or ruled out by a rule that may be overruled, and somebody answers for it by name
MATCH, GAP = "match", "gap"

# What rules a repair out because it cannot be made: nobody can sign that away.
IMPOSSIBLE = (
    "depth_short",
    "floor_breaks_through",
    "through_too_thin",
    "same_again_too_long",
    "seat_breaks_edge",
    "thread_breaks_edge",
    "wall_none",
    "not_cleaned_up",
    "chase_in_an_insert",
    "bolt_breaks_at_torque",
    "cracked",
)

BEFORE = ("none", "wire_insert", "solid_bush", "keyed_bush", "unknown")
FAILED = ("", "insert", "parent", "unknown")
MADE = ("cut", "formed", "unknown")
DAMAGE = ("", "burred", "worn", "stripped", "cracked", "unknown")
WEAKEST = "weakest"  # the alloy of somebody who knows the metal alone: the weakest of its kind in the table
YES_NO = ("yes", "no", "unknown")


@dataclass(frozen=True, slots=True)
class Material:
    """A parent material: its word and whether threads in it count as held by soft metal."""

    code: str
    word: str
    soft: bool


MATERIALS: dict[str, Material] = {
    material.code: material
    for material in (
        Material("cast_aluminium", "cast aluminium", soft=True),
        Material("wrought_aluminium", "wrought aluminium", soft=True),
        Material("magnesium", "magnesium", soft=True),
        Material("zinc", "zinc die casting", soft=True),
        Material("bronze", "bronze or brass", soft=True),
        Material("grey_iron", "grey cast iron", soft=False),
        Material("ductile_iron", "ductile iron", soft=False),
        Material("steel", "steel", soft=False),
    )
}


@dataclass(frozen=True, slots=True)
class Window:
    """A closed range of sizes in nm.

    >>> 14_500_000 in Window(14_376_000, 14_676_000)
    True
    """

    least: int
    most: int

    def __contains__(self, size: int) -> bool:
        return self.least <= size <= self.most


@dataclass(frozen=True, slots=True)
class HoleGroup:
    """n like holes that are repaired together, and what was answered about them.

    `depth` is the depth at full diameter of a blind hole as it is now, or the metal's thickness for a
    through one; `floor` the metal below that depth; `edge` from the axis to the nearest edge.
    `before` is what was done to the hole earlier, `before_thread` the thread that now stands in the
    parent metal because of it, `before_major` its measured major diameter. `torque` is what the bolt
    is proved to. `part` (its name and serial number), `fixture`, `hand` and `safety`
    (what the part is critical for, such as "brakes") come from the part.

    `damage` is what is wrong with the thread, `bore` the widest diameter of the hole as it is now and `off_axis`
    how far its axis stands from where it belongs. `grade` is the bolt's class or grade ("10.9"), `reach` how far
    it reaches in from the surface. `alloy` names a row of `strength.metals` or is "weakest"; `tensile` and `shear`
    are somebody's own strengths of the parent metal in kPa, which count before the alloy's.
    """

    code: str
    bolt: Thread
    holes: int
    start: datetime
    end: datetime
    site: str
    as_typed: str = ""
    bolt_class: str = ""
    notes: tuple[Reason, ...] = ()
    positions: tuple[str, ...] = ()
    through: bool = False
    depth: int | None = None
    floor: int | None = None
    edge: int | None = None
    material: str = ""
    before: str = "unknown"
    before_thread: Thread | None = None
    before_major: int | None = None
    failed: str = ""
    passes_gauge: str = "unknown"
    made: str = "unknown"
    torque: int | None = None
    fixture: str = ""
    hand: str = ""
    safety: str = ""
    wished: str = ""
    part: str = ""
    damage: str = ""
    bore: int | None = None
    off_axis: int | None = None
    grade: str = ""
    alloy: str = ""
    tensile: int | None = None
    shear: int | None = None
    reach: int | None = None


@dataclass(frozen=True, slots=True)
class Size:
    """One insert of a family: what it is and what the family says about its hole.

    `drill` None: the window follows from the outer thread; a family that gives its own (keyed bushes)
    overrules it. `seat` is the diameter of flange seat or countersink, `seat_depth` how deep it is cut
    (a flange's thickness); `below` how far the insert is set under the surface; `nose` the room that
    the setting tool needs beneath the insert in a blind hole. `locate` says what stops the insert
    ("flange", "tap_shoulder", "depth_stop", "tool_collar"), `lock` what holds it ("expansion", "adhesive",
    "keys", "friction"). `standing` is "published" or "house". `metal` names the row of `strength.metals` that a
    solid insert is made of, "" where the family does not say.

    A method without an insert (`BARE`) has sizes too, that belong to no family: `inner` is the thread that the
    bolt screws into, and so is `outer`; `length` is how much of it is cut.
    """

    method: str
    family: str
    edition: str
    inner: Thread
    outer: Thread
    length: int
    standing: str = "published"
    source: str = ""
    drill: Window | None = None
    seat: int | None = None
    seat_depth: int = 0
    flange: int | None = None
    below: Window | None = None
    removal_drill: int | None = None
    removal_depth: int | None = None
    locate: str = ""
    lock: str = ""
    tang_free: bool = False
    locking: bool = False
    nose: int = 0
    metal: str = ""

    @property
    def family_key(self) -> str:
        """Family and edition as stock carries them.

        >>> from inventory.threads import read
        >>> m14, m16 = read("M14x1.5").thread, read("M16x1.5").thread
        >>> Size("flanged_bush", "own-flanged", "1", m14, m16, 20_000_000).family_key
        'own-flanged/1'
        """
        return f"{self.family}/{self.edition}"

    @property
    def inserted(self) -> bool:
        """Whether an insert stands between bolt and parent metal.

        >>> from inventory.threads import read
        >>> m14 = read("M14x1.5").thread
        >>> Size("chase", "", "", m14, m14, 20_000_000).inserted
        False
        """
        return self.method not in BARE


@dataclass(frozen=True, slots=True)
class Lead:
    """What tap lead a hole allows, in tenths of a thread: up to `match` it does, up to `doubt` only just."""

    match: int
    doubt: int


@dataclass(frozen=True, slots=True)
class Deep:
    """What a blind hole has for a tap, in nm: its depth, what is used of it before the lead is counted, the pitch."""

    depth: int
    used: int
    pitch: int


@dataclass(frozen=True, slots=True)
class Need:
    """What one step requires of one thing. Fields left at None or empty ask nothing.

    `id` is unique in a job ("A.tap"). `classes` are the thread classes that serve, best first. `diameter` is the
    window a cutting edge must lie in and `hole_thread` the thread that is cut into that hole afterwards, for its
    per cent of thread; above `doubt_above` it is doubtful, since drills cut oversize. `pilot_of` names the need
    whose chosen drill guides this cutter's pilot, `pilot_under` how far below that drill the pilot may be. `reach`
    is the least usable length, `deep` the depth that a tap's own lead is added up with. `holes` is the life used,
    counted in the parent `material` (its code, "" where that does not matter or is not known), `split` whether several
    units may share it; `quantity` counts consumables. A date (calibration, expiry) must still be good at `end`. `cures`
    asks for an adhesive that cures before `end`. `unjudged` is what nobody entered, so that no thing can be
    judged by it: whatever is taken is doubtful for it.
    """

    id: str
    group: str
    step: str
    kind: str
    start: datetime
    end: datetime
    site: str
    thread: str | None = None
    classes: tuple[str, ...] = ()
    inner: str | None = None
    family: str = ""
    length: int | None = None
    diameter: Window | None = None
    hole_thread: str | None = None
    doubt_above: int | None = None
    pilot_of: str = ""
    pilot_under: Window | None = None
    reach: int | None = None
    lead: Lead | None = None
    deep: Deep | None = None
    flutes: tuple[str, ...] = ()
    action: str = ""
    hand: str = ""
    name: str = ""
    torque: int | None = None
    holes: int = 0
    material: str = ""
    quantity: int = 0
    split: bool = False
    cures: bool = False
    unjudged: tuple[Reason, ...] = ()
    why: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One operation of a method: what it needs, what is set, what to mind.

    `settings` are numbers for the fitter (depths, diameters), `cautions` what could go wrong, each a
    code with data.
    """

    code: str
    needs: tuple[Need, ...] = ()
    settings: tuple[Reason, ...] = ()
    cautions: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Check:
    """One judgement: its status ("fits", "doubtful", "ruled_out", "not_checked", or "signed") and why.

    `remedy` says what would change a ruling.
    """

    status: str
    reason: Reason
    remedy: Reason | None = None

    @property
    def seal(self) -> str:
        """What somebody signs: the code with a short hash of its numbers. Where the numbers move, the seal is another.

        >>> near, nearer = (Check(DOUBTFUL, Reason("edge_between", metal_nm=nm)) for nm in (12, 11))
        >>> near.seal.partition(":")[0], near.seal == nearer.seal
        ('edge_between', False)
        """
        return f"{self.reason.code}:{hashlib.sha256(str(self.reason).encode()).hexdigest()[:12]}"

    @property
    def beyond_signing(self) -> bool:
        """Whether nobody can sign this ruling away: the repair cannot be made, or would find no metal at all.

        >>> [Check(RULED_OUT, Reason("bite_short", bite=bite)).beyond_signing for bite in ("0.0", "60.0")]
        [True, False]
        """
        if self.status != RULED_OUT:
            return False
        return self.reason.code in IMPOSSIBLE or (self.reason.code == "bite_short" and self.reason["bite"] == "0.0")


@dataclass(frozen=True, slots=True)
class Option:
    """One method with one size for one hole group: checks, and the steps it takes if not ruled out.

    `like_for_like`: the old insert comes out and the same goes back, neither drill nor tap is needed.
    `strength` is the sum of what holds, whose judgements stand among the checks too. `metal_away` is what is cut
    out of the parent, mm3 a hole, None where the hole's depth or today's diameter is not known. `by_choice`: it is
    never planned by itself, a foreman chooses it.
    """

    method: str
    size: Size
    checks: tuple[Check, ...] = ()
    steps: tuple[Step, ...] = ()
    like_for_like: bool = False
    strength: Verdict | None = None
    metal_away: Decimal | None = None
    by_choice: bool = False

    @property
    def ruled_out(self) -> bool:
        """Whether any check rules this option out."""
        return any(check.status == RULED_OUT for check in self.checks)

    @property
    def wants_a_name(self) -> tuple[Check, ...]:
        """What somebody must answer for by name before this option is accepted: what is doubtful or ruled out."""
        return tuple(check for check in self.checks if check.status in (DOUBTFUL, RULED_OUT))

    @property
    def impossible(self) -> Check | None:
        """The first ruling that nobody can sign away, None where there is none."""
        return next((check for check in self.checks if check.beyond_signing), None)

    @property
    def verdict(self) -> str:
        """Whether it holds: "ruled_out", "signs" (an engineer does), "signed" (somebody answers for it by name),
        "not_checked" or "holds", the worst that is told.

        >>> from inventory.threads import read
        >>> m14 = read("M14x1.5").thread
        >>> chase = Size("chase", "", "", m14, m14, 20_000_000)
        >>> told = [(Check(status, Reason("made_unknown")),) for status in (DOUBTFUL, SIGNED, FITS)]
        >>> [Option("chase", chase, checks).verdict for checks in told]
        ['signs', 'signed', 'holds']
        """
        told = {check.status for check in self.checks}
        worst = next((status for status in (RULED_OUT, DOUBTFUL, SIGNED, NOT_CHECKED) if status in told), FITS)
        return {DOUBTFUL: SIGNS, FITS: HOLDS}.get(worst, worst)

    @property
    def needs(self) -> tuple[Need, ...]:
        """All needs in the order of the steps."""
        return tuple(need for step in self.steps for need in step.needs)


@dataclass(frozen=True, slots=True)
class MethodPlan:
    """What one method says to one hole group.

    `options` are every size of every family for this bolt, in order of preference; `chosen` is the first
    that stands, or None; then `reasons` says why the method is ruled out and `remedies` what would help.
    Neither the order nor the choice looks at stock, so more stock never makes a plan worse.
    """

    method: str
    options: tuple[Option, ...] = ()
    chosen: Option | None = None
    reasons: tuple[Reason, ...] = ()
    remedies: tuple[Reason, ...] = ()


Limit = Rule  # one limit of the shop: its value, unit and where it comes from

DEFAULTS: dict[str, Limit] = {
    "edge_comfortable": Limit(Decimal("0.75"), "outside diameters of metal", "TM 9-2815-225-34&P"),
    "edge_least_pitches": Limit(
        Decimal(3),
        "pitches + half the outside diameter, axis to edge",
        "rule of thumb for tapped holes, applied to the insert",
    ),
    "bite_least": Limit(Decimal(75), "% fresh thread", "rule of thumb"),
    "engagement_soft": Limit(Decimal("1.5"), "bolt diameters", "TM 5-2330-325-13&P"),
    "engagement_hard": Limit(Decimal(1), "bolt diameters", "TM 5-2330-325-13&P"),
    "drill_oversize": Limit(Decimal("0.05"), "mm below the top of the window", "rule of thumb"),
    "pilot_clearance": Limit(Decimal("0.15"), "mm under the drill at most", "common practice, no source"),
    "clearance_pitches": Limit(Decimal(1), "pitches below the tap's lead", "common practice, no source"),
    "floor_least": Limit(Decimal(2), "mm of metal under the drill point", "common practice, no source"),
    "wall_least": Limit(Decimal(1), "mm between inner and outer thread", "rule of thumb"),
    "scrap": Limit(Decimal(10), "% of inserts, rounded up", "common practice, no source"),
    "cutter_tolerance": Limit(
        Decimal("0.1"),
        "mm either side of the size that a seat cutter or removal drill is named for",
        "common practice, no source",
    ),
    "stop_clearance": Limit(
        Decimal("0.5"), "mm that a stop collar's bore may be over the bolt's diameter", "common practice, no source"
    ),
    "countersink_widest": Limit(Decimal(3), "times the diameter to be cut, at most", "common practice, no source"),
    "thread_ends_lost": Limit(
        Decimal(1), "pitches at the chamfered ends of a thread that carry nothing", "common practice, no source"
    ),
    **RULES,
}

# Roughly in rising order of metal taken away; what is really taken is summed for each.
ORDER = (
    "chase",
    "oversize_bolt",
    "wire_insert",
    "flanged_bush",
    "plain_bush",
    "keyed_bush",
    "oversize_insert",
    "plug_or_weld",
    "scrap_part",
)
BARE = ("chase", "oversize_bolt", "plug_or_weld", "scrap_part")  # without an insert
INSERTS = tuple(code for code in ORDER if code not in BARE)


@dataclass(frozen=True, slots=True)
class Limits:
    """The shop's limits as one frozen value: numbers by code and the order in which methods are preferred.

    `spindle` are the speeds that the machine has, rpm, the slowest first; empty: it runs at any.

    >>> Limits()["bite_least"]
    Decimal('75')
    """

    values: tuple[tuple[str, Limit], ...] = field(default_factory=lambda: tuple(DEFAULTS.items()))
    order: tuple[str, ...] = ORDER
    spindle: tuple[int, ...] = ()

    def __getitem__(self, code: str) -> Decimal:
        return dict(self.values)[code].value

    @property
    def rules(self) -> dict[str, Decimal]:
        """The numbers that the sum of strength stands on, by code.

        >>> Limits().rules["torque_over"]
        Decimal('1.35')
        """
        values = dict(self.values)
        return {code: values[code].value for code in RULES}

    def source(self, code: str) -> str:
        """Where a limit comes from.

        >>> Limits().source("bite_least")
        'rule of thumb'
        """
        return dict(self.values)[code].source
