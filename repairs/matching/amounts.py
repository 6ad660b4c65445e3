"""How much a need takes, how much of a stock line the job may have, and who holds the rest. PURE."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from inventory.errors import Reason
from inventory.kinds import KINDS, Held, StockLine
from repairs.methods.values import Need


def demand_of(need: Need) -> int:
    """What the need takes away: holes of life, or a quantity of a consumable that is not a shared pack.

    >>> from datetime import UTC
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> tap, insert, oil = (Need("A", "A", "step", kind, start, end, "", holes=8, quantity=9)
    ...                     for kind in ("tap", "insert", "oil"))
    >>> demand_of(tap), demand_of(insert), demand_of(oil)
    (8, 9, 0)
    """
    kind = KINDS[need.kind]
    if kind.shared:
        return 0
    return need.quantity if kind.counted else need.holes


def may_split(need: Need) -> bool:
    """Whether several units or batches may serve the need together; batches always may.

    >>> from datetime import UTC
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> [may_split(Need("A", "A", "step", kind, start, end, "")) for kind in ("tap", "insert")]
    [False, True]
    """
    return need.split or KINDS[need.kind].counted


def least_of(need: Need) -> int:
    """What one line must have at least to serve the need, alone or, where it may be split, with others.

    >>> from datetime import UTC
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> [least_of(Need("A", "A", "step", "tap", start, end, "", holes=8, split=split)) for split in (False, True)]
    [8, 1]
    """
    demand = demand_of(need)
    return min(1, demand) if may_split(need) else demand


def _own(hold: Held, label: str) -> bool:
    return bool(label) and hold.label == label


def holds_of_others(line: StockLine, label: str) -> list[Held]:
    """The holds that are not the job's own; without a label all are others'.

    >>> from inventory.kinds import Facts
    >>> line = StockLine("T-1", Facts(1, "tap"), "Main", "B4", holds=(Held("J-1", None, None), Held("J-2", None, None)))
    >>> [hold.label for hold in holds_of_others(line, "J-1")]
    ['J-2']
    """
    return [hold for hold in line.holds if not _own(hold, label)]


def overlaps(hold: Held, since: datetime, until: datetime) -> bool:
    """Whether a hold and a half-open window share a moment; a hold without start or end goes on for ever.

    >>> from datetime import UTC
    >>> second, fourth = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> overlaps(Held("J-1", None, second), second, fourth), overlaps(Held("J-1", second, None), second, fourth)
    (False, True)
    """
    return (hold.start is None or hold.start < until) and (hold.end is None or hold.end > since)


def on_shelf(line: StockLine, label: str) -> int:
    """How much of a batch the job may have, its own holds given back and what it has in hand; 1 for a unit.

    >>> from inventory.kinds import Facts
    >>> holds = Held("J-1", None, None, quantity=2), Held("J-2", None, None, quantity=3)
    >>> line = StockLine("L1", Facts(1, "insert"), "Main", "B4", batch=1, on_hand=9, available=4, holds=holds)
    >>> on_shelf(line, "J-1")
    6
    """
    if line.batch is None:
        return 1
    return line.available + sum(hold.quantity + hold.in_hand for hold in line.holds if _own(hold, label))


def room_of(line: StockLine, label: str, materials: Collection[str] = ()) -> int | None:
    """How much (holes or quantity) the job may take from a line before it is used up; None without end.

    Holes are those of the parent `materials` that the job cuts with such things: n of them take n x percent / 100 of
    the life, rounded up once over all that is taken of the unit. Where a job cuts several materials, a hole in any of
    them counts as one in the material that takes most, so that what is planned never takes more than there is.

    >>> from inventory.kinds import Facts
    >>> from dataclasses import replace
    >>> tap = StockLine("T-1", Facts(1, "tap"), "Main", "B4", unit=1, life_left=9)
    >>> room_of(tap, ""), room_of(StockLine("O1", Facts(2, "oil"), "Main", "B4", batch=1, available=3), "")
    (9, None)
    >>> harder = replace(tap, factors=(("steel", 150),))
    >>> [room_of(harder, "", materials) for materials in (["bronze"], ["steel"], ["bronze", "steel"])]
    [9, 6, 6]
    """
    kind = KINDS[line.facts.kind]
    if kind.shared:
        return None
    if kind.counted:
        return max(0, on_shelf(line, label))
    if line.life_left is None:
        return None
    life = max(0, line.life_left + sum(hold.holes for hold in line.holds if _own(hold, label)))
    return life * 100 // max((line.percent(material) for material in materials), default=100)


def life_of(line: StockLine, holes: dict[str, int]) -> int:
    """The life that so many holes, by parent material, take of a unit, rounded up once over all of them.

    >>> from inventory.kinds import Facts
    >>> tap = StockLine("T-1", Facts(1, "tap"), "Main", "B4", unit=1, factors=(("steel", 150),))
    >>> life_of(tap, {"steel": 3}), life_of(tap, {"steel": 3, "bronze": 2})
    (5, 7)
    """
    return -(-sum(line.percent(material) * count for material, count in holes.items()) // 100)


def shortage(need: Need, line: StockLine, label: str) -> Reason | None:
    """Why too little is left for the need in a line of its kind; where it may be split, one hole or piece is enough.

    >>> from datetime import UTC
    >>> from inventory.kinds import Facts
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> tap = StockLine("T-1", Facts(1, "tap"), "Main", "B4", unit=1, life_left=5)
    >>> found = shortage(Need("A.tap", "A", "tap", "tap", start, end, "", holes=8), tap, "")
    >>> found and (found.code, dict(found.data))
    ('life_short', {'tag': 'T-1', 'left': 5, 'needed': 8})
    """
    if on_shelf(line, label) < 1:
        return short(line, label, 0, max(1, demand_of(need)))
    room = room_of(line, label, (need.material,))
    if room is not None and room < least_of(need):
        return short(line, label, room, demand_of(need), need.material)
    return None


def short(line: StockLine, label: str, left: int, needed: int, material: str = "") -> Reason:
    """That only `left` is left in a line for `needed`, and of a batch who holds the rest.

    Where a hole in the parent material takes another part of a unit's life than a plain one, the reason tells it.

    >>> from inventory.kinds import Facts
    >>> line = StockLine("L1", Facts(1, "insert"), "Main", "B4", batch=1, on_hand=9)
    >>> short(line, "", 6, 8).code
    'quantity_short'
    """
    if line.batch is None:
        percent = line.percent(material)
        told: dict[str, Any] = {"percent": percent, "material": material} if percent != 100 else {}
        return Reason("life_short", tag=line.tag, left=left, needed=needed, **told)
    holders = {hold.label for hold in holds_of_others(line, label) if hold.quantity}
    if not holders:
        return Reason("quantity_short", available=left, on_hand=line.on_hand, needed=needed)
    return Reason("quantity_held", available=left, on_hand=line.on_hand, needed=needed, labels=tuple(sorted(holders)))
