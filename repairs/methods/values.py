"""The values that repair methods speak in: hole groups, sizes, needs, steps, checks, the shop's limits. PURE.

Lengths in whole nanometres, torques in newton millimetres, lead in tenths of a thread, times as aware
UTC datetimes in half-open windows. None means that nothing was entered: it is "not checked", never "OK".
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from inventory.errors import Reason
from inventory.threads import Thread

FITS, DOUBTFUL, RULED_OUT, NOT_CHECKED = "fits", "doubtful", "ruled_out", "not_checked"
MATCH, GAP = "match", "gap"

BEFORE = ("none", "wire_insert", "solid_bush", "keyed_bush", "unknown")
FAILED = ("", "insert", "parent", "unknown")
MADE = ("cut", "formed", "unknown")
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


@dataclass(frozen=True, slots=True)
class Size:
    """One insert of a family: what it is and what the family says about its hole.

    `drill` None: the window follows from the outer thread; a family that gives its own (keyed bushes)
    overrules it. `seat` is the diameter of flange seat or countersink, `seat_depth` how deep it is cut
    (a flange's thickness); `below` how far the insert is set under the surface; `nose` the room that
    the setting tool needs beneath the insert in a blind hole. `locate` says what stops the insert
    ("flange", "tap_shoulder", "depth_stop", "tool_collar"), `lock` what holds it ("expansion", "adhesive",
    "keys", "friction"). `standing` is "published" or "house".
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

    @property
    def family_key(self) -> str:
        """Family and edition as stock carries them.

        >>> from inventory.threads import read
        >>> m14, m16 = read("M14x1.5").thread, read("M16x1.5").thread
        >>> Size("flanged_bush", "own-flanged", "1", m14, m16, 20_000_000).family_key
        'own-flanged/1'
        """
        return f"{self.family}/{self.edition}"


@dataclass(frozen=True, slots=True)
class Lead:
    """What tap lead a hole allows, in tenths of a thread: up to `match` it does, up to `doubt` only just."""

    match: int
    doubt: int


@dataclass(frozen=True, slots=True)
class Need:
    """What one step requires of one thing. Fields left at None or empty ask nothing.

    `id` is unique in a job ("A.tap"). `classes` are the thread classes that serve, best first.
    `diameter` is the window a cutting edge must lie in and `hole_thread` the thread that is cut into that hole
    afterwards, for its per cent of thread; above `doubt_above` it is doubtful, since drills
    cut oversize. `pilot_of` names the need whose chosen drill guides this cutter's pilot, `pilot_under`
    how far below that drill the pilot may be. `reach` is the least usable length. `holes` is the life
    used, `split` whether several units may share it; `quantity` counts consumables. A date (calibration,
    expiry) must still be good at `end`. `cures` asks for an adhesive that cures before `end`. `unjudged` is what
    nobody entered, so that no thing can be judged by it: whatever is taken is doubtful for it.
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
    flutes: tuple[str, ...] = ()
    action: str = ""
    hand: str = ""
    name: str = ""
    torque: int | None = None
    holes: int = 0
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
    """One judgement of the room: its status ("fits", "doubtful", "ruled_out", "not_checked") and why.

    `remedy` says what would change a ruling.
    """

    status: str
    reason: Reason
    remedy: Reason | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One method with one size for one hole group: checks, and the steps it takes if not ruled out.

    `like_for_like`: the old insert comes out and the same goes back, neither drill nor tap is needed.
    """

    method: str
    size: Size
    checks: tuple[Check, ...] = ()
    steps: tuple[Step, ...] = ()
    like_for_like: bool = False

    @property
    def ruled_out(self) -> bool:
        """Whether any check rules this option out."""
        return any(check.status == RULED_OUT for check in self.checks)

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


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of the shop: its value, unit and where it comes from."""

    value: Decimal
    unit: str
    source: str


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
}

ORDER = ("wire_insert", "flanged_bush", "plain_bush", "keyed_bush")


@dataclass(frozen=True, slots=True)
class Limits:
    """The shop's limits as one frozen value: numbers by code and the order in which methods are preferred.

    >>> Limits()["bite_least"]
    Decimal('75')
    """

    values: tuple[tuple[str, Limit], ...] = field(default_factory=lambda: tuple(DEFAULTS.items()))
    order: tuple[str, ...] = ORDER

    def __getitem__(self, code: str) -> Decimal:
        return dict(self.values)[code].value

    def source(self, code: str) -> str:
        """Where a limit comes from.

        >>> Limits().source("bite_least")
        'rule of thumb'
        """
        return dict(self.values)[code].source
