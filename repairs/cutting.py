"""How fast each tool is run and fed by parent material and diameter, what it is oiled with, what to mind. PURE.

Diameters are whole nanometres, cutting speeds Decimal m/min, feeds Decimal mm a turn, rpm whole numbers that are always
rounded down, torques floats in N·m. Materials and operations are codes as text. Figures stand in `published/`:
`cutting_speeds.csv`, `drill_feeds.csv`, `lubricants.csv`. What no source was found for is None: not checked.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache

from inventory.errors import Reason
from inventory.quantities import to_mm, to_nm
from inventory.threads.published import table

PUBLISHED = os.path.join(os.path.dirname(__file__), "published")

OPERATIONS = ("drill", "seat", "countersink", "tap")

FOOT = Decimal("0.3048")  # m
INCH = Decimal("25.4")  # mm
_PI = Decimal("3.14159265358979323846")

# Under this magnesium chips are of low risk; TM 43-0106 (T.O. 1-1A-9).
MAGNESIUM_UNDER = 700 * FOOT
MAGNESIUM_SOURCE = "TM 43-0106 (T.O. 1-1A-9)"

# Soluble oil is mixed with water; in magnesium water makes hydrogen and feeds a fire (TM 43-0106).
WATER_MIXED = frozenset({"soluble_oil"})

_OF_THE_DRILL = "of the drill"


@dataclass(frozen=True, slots=True)
class Published:
    """One row of `cutting_speeds.csv`: least and most cutting speed in m/min, or shares of the drill's speed.

    `scope` "any": for the material where nothing more is known of it; "grade": for the grade named alone.
    """

    operation: str
    material: str
    scope: str
    grade: str
    least: Decimal
    most: Decimal
    table: str
    source: str
    how: str


@dataclass(frozen=True, slots=True)
class Speed:
    """How fast a tool runs: the window of cutting speeds in m/min and of rpm, and the rpm that is set.

    `chosen` is None where even the slowest step of the spindle is too fast. `how` is "read", "memory" or "rule".
    """

    operation: str
    material: str
    diameter: int
    least: Decimal
    most: Decimal
    least_rpm: int
    most_rpm: int
    chosen: int | None
    source: str
    how: str


@dataclass(frozen=True, slots=True)
class Feed:
    """How far a drill goes in at each turn, mm: least and most."""

    least: Decimal
    most: Decimal
    source: str
    how: str


@dataclass(frozen=True, slots=True)
class Lubricant:
    """What a cut is made with: codes of which any one does; "dry" is one of them."""

    codes: tuple[str, ...]
    source: str
    how: str


# Speeds


def turns(cutting_speed: Decimal, diameter: Decimal) -> Decimal:
    """Turns a minute, not rounded: n = 1000 v / (pi d), v in m/min and d in mm.

    Most tables print ft/min: times 0.3048 first. Raises ValueError for a diameter that is not above nought.

    >>> round(turns(Decimal(22), Decimal(10)), 2), round(turns(100 * FOOT, Decimal("12.7")), 1)
    (Decimal('700.28'), Decimal('763.9'))
    """
    if diameter <= 0:
        raise ValueError(f"a tool of {diameter} mm cuts nothing")
    return 1000 * cutting_speed / (_PI * diameter)


def cutting_speed(rpm: int, diameter: Decimal) -> Decimal:
    """Cutting speed in m/min at the rim of a tool of `diameter` mm: v = pi d n / 1000.

    >>> round(cutting_speed(1350, Decimal(12)), 1)
    Decimal('50.9')
    """
    return _PI * diameter * rpm / 1000


@cache
def published(operation: str, material: str) -> tuple[Published, ...]:
    """Every row that stands for an operation in a material, of all sources, whatever the grade.

    >>> [(row.table, round(row.least / FOOT), round(row.most / FOOT)) for row in published("tap", "zinc")]
    [("tap maker's table of tapping speeds", 60, 150)]
    """
    found = []
    for row in table("cutting_speeds", PUBLISHED).rows:
        if (row["operation"], row["material"]) != (operation, material):
            continue
        unit = {"ft/min": FOOT, "m/min": Decimal(1), _OF_THE_DRILL: Decimal(1)}[row["unit"]]
        found.append(
            Published(
                operation=operation,
                material=material,
                scope=row["scope"],
                grade=row["grade"],
                least=Decimal(row["least"]) * unit,
                most=Decimal(row["most"]) * unit,
                table=row["source"],
                source=_source(row),
                how=row["how"],
            )
        )
    return tuple(found)


def _source(row: dict[str, str]) -> str:
    return " ".join(filter(None, (row["source"], row["edition"]))) + f", {row['clause']}"


def _lowest(rows: Iterable[Published]) -> Published | None:
    """The window of the table that begins lowest, from its lowest row to its highest."""
    rows = tuple(rows)
    if not rows:
        return None
    first = min(rows, key=lambda row: (row.least, row.most))
    return replace(first, most=max(row.most for row in rows if row.table == first.table))


def _window(operation: str, drill: Published | None, own: Published | None) -> Published | None:
    """The row as a window in m/min: a seat's or countersink's is a share of the drill's."""
    if own is not None or drill is None:
        return own
    for share in published(operation, "any"):
        return replace(
            drill,
            operation=operation,
            least=drill.least * share.least,
            most=drill.most * share.most,
            source=f"{share.source}; {drill.source}",
            how=share.how if share.how != "read" else drill.how,
        )
    return None


def _of_scope(operation: str, material: str, scope: str, grade: str | None = None) -> Published | None:
    def rows(of: str) -> list[Published]:
        return [row for row in published(of, material) if row.scope == scope and grade in (None, row.grade)]

    return _window(operation, _lowest(rows("drill")), _lowest(rows(operation)))


def _set(row: Published, diameter: int, spindle: Sequence[int]) -> Speed:
    least, most = row.least, row.most
    if row.material == "magnesium":
        least, most = min(least, MAGNESIUM_UNDER), min(most, MAGNESIUM_UNDER)
    across = to_mm(diameter)
    low, high = math.floor(turns(least, across)), math.floor(turns(most, across))
    return Speed(
        operation=row.operation,
        material=row.material,
        diameter=diameter,
        least=least,
        most=most,
        least_rpm=low,
        most_rpm=high,
        chosen=step_down(low, high, spindle),
        source=row.source,
        how=row.how,
    )


def step_down(least: int, most: int, spindle: Sequence[int] = ()) -> int | None:
    """The rpm to set for a window of rpm: never above `most`, and as near its lower end as the spindle allows.

    A stepless spindle (no steps) takes the lower end itself. One with steps takes its slowest step within the window;
    where none lies within, the next below it, for a tool that runs slow only takes longer. None where even the slowest
    step is above `most`.

    >>> steps = (250, 500, 1000, 2000)
    >>> step_down(480, 1100, steps), step_down(600, 900, steps), step_down(100, 200, steps), step_down(480, 1100)
    (500, 500, None, 480)
    """
    if not spindle:
        return least or None
    within = [step for step in spindle if least <= step <= most]
    below = [step for step in spindle if step < least]
    return min(within) if within else max(below, default=None)


def speed(operation: str, material: str, diameter: int, spindle: Sequence[int] = ()) -> Speed | None:
    """How fast to run a tool of `diameter` nm; `spindle` are the machine's steps in rpm, none for a stepless one.

    Published tables differ by a factor of two and more. The window is that of the table that begins lowest, and the
    work starts at its lower end (see `step_down`); its rpm are floored. For a tap the diameter is its thread's own. A
    seat cutter takes 0.5 to 0.85 of the drill's speed at the seat's diameter (rule of thumb), a countersink a quarter
    of it at its largest. Magnesium is capped at 700 ft/min (TM 43-0106). None where no figure was found: not checked.
    Raises ValueError for a diameter that is not above nought.

    >>> drill = speed("drill", "cast_aluminium", 14_500_000, (500, 1000, 1400, 2000, 2800))
    >>> drill.least_rpm, drill.most_rpm, drill.chosen, drill.source.split(",")[0]
    (1338, 2007, 1400, 'NAVEDTRA 14345')
    >>> speed("drill", "wood", 14_500_000) is None
    True
    """
    row = _of_scope(operation, material, "any")
    return None if row is None else _set(row, diameter, spindle)


def slower_grades(
    operation: str, material: str, diameter: int, spindle: Sequence[int] = ()
) -> tuple[tuple[str, Speed], ...]:
    """Grades of the material that are cut slower than `speed` says, each with its own speed, the fastest first.

    Nobody is asked for the grade, so whoever knows it must be told. Diameter in nm; sources as in `speed`.

    >>> [(grade, one.most_rpm) for grade, one in slower_grades("tap", "steel", 10_000_000)]
    [('alloy steel', 242), ('tool steel', 242), ('stainless steel', 194)]
    """
    common = _of_scope(operation, material, "any")
    if common is None:
        return ()
    rows = published(operation, material) or published("drill", material)
    found = []
    for grade in dict.fromkeys(row.grade for row in rows if row.scope == "grade"):
        row = _of_scope(operation, material, "grade", grade)
        if row is not None and row.least < common.least:
            found.append((grade, _set(row, diameter, spindle)))
    return tuple(sorted(found, key=lambda pair: -pair[1].least))


def magnesium_most(diameter: int) -> int:
    """The rpm that a tool of `diameter` nm must stay at or under in magnesium: 700 ft/min, floored.

    TM 43-0106 (T.O. 1-1A-9): under 700 ft/min the risk of a fire is low.

    >>> magnesium_most(14_500_000)
    4683
    """
    return math.floor(turns(MAGNESIUM_UNDER, to_mm(diameter)))


# Feed, lubricant


def feed(material: str, diameter: int) -> Feed | None:
    """Feed of a drill of `diameter` nm in mm a turn: by diameter alone, the lower end for the harder materials.

    NAVEDTRA 14345, whose table is in inches a revolution. None for a material that nothing is published of, or a drill
    smaller than the table's smallest, 0.0135 in.

    >>> found = feed("steel", 12_700_000)
    >>> found.least, found.most
    (Decimal('0.1016'), Decimal('0.1778'))
    """
    if not published("drill", material):
        return None
    across, feeds = to_mm(diameter) / INCH, table("drill_feeds", PUBLISHED)
    for row in feeds.rows:
        if Decimal(row["over"]) < across and (not row["to"] or across <= Decimal(row["to"])):
            return Feed(Decimal(row["least"]) * INCH, Decimal(row["most"]) * INCH, feeds.source, row["how"])
    return None


def lubricant(operation: str, material: str, grade: str = "") -> Lubricant | None:
    """What to cut with; seats and countersinks take the drill's. None where nothing was found: not checked.

    Machinery's Handbook, OD 1645, TM 43-0106, a tap merchant's table. Nothing mixed with water in magnesium.

    >>> lubricant("tap", "grey_iron").codes, lubricant("seat", "magnesium").codes, lubricant("tap", "zinc")
    (('dry', 'soluble_oil'), ('dry', 'mineral_oil'), None)
    """
    wanted = ("tap" if operation == "tap" else "drill", material, grade)
    for row in table("lubricants", PUBLISHED).rows:
        if (row["operation"], row["material"], row["grade"]) == wanted and operation in OPERATIONS:
            return Lubricant(tuple(row["lubricants"].split()), _source(row), row["how"])
    return None


# Torque of a tap


def tap_torque(
    diameter: Decimal, hole: Decimal, *, force: float, factor: float = 1.0, half_angle: float = 30.0
) -> float:
    """Mean torque of a sharp cutting tap in N·m, from the hole's diameter; no margin for friction in it.

    T = tan(half angle) kc K (D - D0)^2 (D + 2 D0) / 24000: D and D0 (the hole) in mm, `force` kc in MPa, `factor` K of
    the tap's form. Published with this form: kc 3600 to 4000 carbon steel, 4200 stainless, 1300 cast aluminium, 2900
    grey iron; K of a hand plug tap 1.35 in steel, 1.25 in cast iron and aluminium. Its kc must not be taken for that of
    `tap_torque_by_pitch`. Raises ValueError for a hole that leaves no thread.

    >>> round(tap_torque(Decimal(8), Decimal("6.8"), force=1300, factor=1.25), 3)
    1.216
    """
    if not 0 < hole < diameter:
        raise ValueError(f"a hole of {hole} mm leaves a tap of {diameter} mm nothing to cut, or all of it")
    shape = float((diameter - hole) ** 2 * (diameter + 2 * hole))
    return math.tan(math.radians(half_angle)) * force * factor * shape / 24000


def tap_torque_by_pitch(pitch: Decimal, diameter: Decimal, *, force: float) -> float:
    """Torque of a cutting tap in N·m from pitch and diameter in mm, `force` kc in MPa: kc P^2 d / 8000.

    Published with this form: kc 2300 to 2600 steel, 3200 stainless, 800 and 680 aluminium with long and short chips,
    1250 grey iron. Its kc must not be taken for that of `tap_torque`. Raises ValueError for what is not above nought.

    >>> round(tap_torque_by_pitch(Decimal("1.25"), Decimal(8), force=2500), 3)
    3.906
    """
    if pitch <= 0 or diameter <= 0:
        raise ValueError(f"a thread of {diameter} x {pitch} mm is none")
    return force * float(pitch**2 * diameter) / 8000


# What is told


def told(
    operation: str, material: str, diameter: int | None, spindle: Sequence[int] = ()
) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """What the fitter sets for one step, and what he minds: two tuples of reasons, lengths in nm, speeds in rpm.

    `diameter` None: not known, and so no speed is told. What no figure was found for is told as not checked, among
    what to mind. Half a turn back for each turn of a hand tap is common practice, without a source.

    >>> settings, cautions = told("tap", "magnesium", 16_000_000, ())
    >>> [reason.code for reason in settings], [reason.code for reason in cautions]
    (['cut_at', 'tap_by_hand', 'lubricant_is'], ['magnesium_cut'])
    """
    settings: list[Reason] = []
    cautions: list[Reason] = []
    if not material:
        cautions.append(Reason("cutting_material_missing", operation=operation))
    elif diameter is None:
        cautions.append(Reason("cutting_diameter_missing", operation=operation))
    else:
        settings += _speed_told(operation, material, diameter, spindle)
        cautions += _speed_minded(operation, material, diameter, spindle)
    if operation == "tap":
        settings.append(Reason("tap_by_hand", source="common practice, no source"))
    oil = lubricant(operation, material)
    if oil is not None:
        choice = {"count": len(oil.codes)} if len(oil.codes) > 1 else {}
        settings.append(Reason("lubricant_is", lubricants=oil.codes, **choice, source=oil.source))
    elif material:
        cautions.append(Reason("cutting_not_checked", what="lubricant", operation=operation, material=material))
    if material == "magnesium":
        most = {} if diameter is None else {"most_rpm": magnesium_most(diameter)}
        cautions.append(Reason("magnesium_cut", **most, source=MAGNESIUM_SOURCE))
    return tuple(settings), tuple(cautions)


def _speed_told(operation: str, material: str, diameter: int, spindle: Sequence[int]) -> list[Reason]:
    found = speed(operation, material, diameter, spindle)
    reasons = []
    if found is not None and found.chosen is not None:
        reasons.append(
            Reason(
                "cut_at" if found.chosen >= found.least_rpm else "cut_below",
                operation=operation,
                rpm=found.chosen,
                **_rpm_window(found),
                diameter_nm=diameter,
                source=found.source,
            )
        )
    fed = feed(material, diameter) if operation == "drill" else None
    if fed is not None:
        reasons.append(Reason("feed_at", least_nm=to_nm(fed.least), most_nm=to_nm(fed.most), source=fed.source))
    return reasons


def _rpm_window(found: Speed) -> dict[str, int]:
    """Least and most rpm; the most alone where the table prints one figure."""
    least = {} if found.least_rpm == found.most_rpm else {"least_rpm": found.least_rpm}
    return {**least, "most_rpm": found.most_rpm}


def _speed_minded(operation: str, material: str, diameter: int, spindle: Sequence[int]) -> list[Reason]:
    found = speed(operation, material, diameter, spindle)
    if found is None:
        return [Reason("cutting_not_checked", what="speed", operation=operation, material=material)]
    reasons = []
    if found.chosen is None:
        reasons.append(
            Reason(
                "cut_too_fast",
                operation=operation,
                slowest_rpm=min(spindle, default=0),
                most_rpm=found.most_rpm,
                diameter_nm=diameter,
                source=found.source,
            )
        )
    for grade, slower in slower_grades(operation, material, diameter, spindle):
        reasons.append(
            Reason(
                "cut_slower",
                operation=operation,
                grade=grade,
                rpm=slower.chosen,
                **_rpm_window(slower),
                diameter_nm=diameter,
                source=slower.source,
            )
        )
    return reasons
