"""One worked repair for the docstrings of these rooms, and to try them at a prompt: M14x1.5 in M16x1.5. PURE.

Four blind holes, 40 mm deep at full diameter with 12 mm of cast aluminium below. The bush is invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from inventory.threads import insert_hole, read
from repairs.methods import fit_of
from repairs.methods.steps import Fit
from repairs.methods.values import HoleGroup, Limits, Size, Window

MM = 1_000_000


def holes(**answers: Any) -> HoleGroup:
    """The hole group, with other answers where they are given; lengths in nm.

    >>> holes(depth=17 * MM).bolt.designation
    'M14x1.5'
    """
    group = HoleGroup(
        code="A",
        bolt=read("M14x1.5").thread,
        as_typed="M14x1.5",
        holes=4,
        start=datetime(2026, 12, 1, 6, tzinfo=UTC),
        end=datetime(2026, 12, 2, 6, tzinfo=UTC),
        site="Main",
        depth=40 * MM,
        floor=12 * MM,
        edge=30 * MM,
        material="cast_aluminium",
        before="none",
        made="cut",
        torque=80_000,
    )
    return replace(group, **answers)


def bush(**facts: Any) -> Size:
    """The flanged bush, with other facts where they are given; lengths in nm.

    >>> bush().outer.designation
    'M16x1.5'
    """
    size = Size(
        method="flanged_bush",
        family="example",
        edition="1",
        inner=read("M14x1.5").thread,
        outer=read("M16x1.5").thread,
        length=21 * MM,
        standing="house",
        source="invented for this example",
        seat=22 * MM,
        seat_depth=2 * MM,
        flange=21_800_000,
        locate="flange",
        lock="expansion",
        nose=4 * MM,
    )
    return replace(size, **facts)


def wire(**facts: Any) -> Size:
    """A wire insert for the same bolt, 1.5 D long, with other facts where they are given; lengths in nm.

    >>> wire().outer.designation
    'EG M14x1.5'
    """
    bolt = read("M14x1.5").thread
    size = Size(
        method="wire_insert",
        family="wire-metric",
        edition="2005",
        inner=bolt,
        outer=insert_hole(bolt),
        length=21 * MM,
        below=Window(1_125_000, 2_250_000),
    )
    return replace(size, **facts)


def keyed(**facts: Any) -> Size:
    """A keyed bush 5/16-18 in 1/2-13 (TM 9-2520-215-34 table 1), with other facts where they are given.

    >>> keyed().drill
    Window(least=11459375, most=11559375)
    """
    size = Size(
        method="keyed_bush",
        family="keyed-heavy",
        edition="1",
        inner=read("5/16-18 UNC").thread,
        outer=read("1/2-13 UNC").thread,
        length=12_700_000,
        source="TM 9-2520-215-34 table 1",
        drill=Window(11_459_375, 11_559_375),
        seat=13_096_875,
        below=Window(254_000, 762_000),
        removal_drill=10_318_750,
        removal_depth=6_350_000,
        lock="keys",
    )
    return replace(size, **facts)


def bare(method: str, thread: str, length: int) -> Size:
    """A thread `length` mm long in the metal itself, by a method without an insert.

    >>> bare("chase", "M14x1.5", 21).inserted
    False
    """
    cut = read(thread).thread
    return Size(method, "", "", cut, cut, length * MM)


def fit(size: Size | None = None, **answers: Any) -> Fit:
    """The example considered as a whole, what steps are made from.

    >>> fit().budget.drill
    Window(least=30500000, most=32000000)
    """
    size = size or bush()
    bolt = {"bolt": size.inner} if size.inserted else {}
    return fit_of(holes(**{**bolt, **answers}), size, [size], Limits())
