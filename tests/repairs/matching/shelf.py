"""Needs and stock lines that the tests of the matcher are laid out with."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from inventory.kinds import Facts, StockLine
from inventory.threads import Thread
from repairs.matching import Judgement, Line
from repairs.methods.values import Lead, Need, Window

START, END = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 5, tzinfo=UTC)  # until the 4th, inclusive
MM = 1_000_000
M14, M16, M18 = (Thread("M", size * MM, 1_500_000) for size in (14, 16, 18))
M16_FINER, M16_COARSE = Thread("M", 16 * MM, 1_250_000), Thread("M", 16 * MM, 2_000_000)
WINDOW = Window(14_376_000, 14_676_000)  # M16x1.5, 6H minor diameter (ISO 965-1)
LABEL = "J-7"


def need(kind: str, id: str = "", **asked: Any) -> Need:
    """A need at Main from the 2nd to the 4th of March."""
    base = Need(id or f"A.{kind}", "A", kind, kind, START, END, "Main")
    return replace(base, **asked)


def tap_need(**asked: Any) -> Need:
    """A tap as a blind M16x1.5 hole asks for it, for four holes."""
    blind: dict[str, Any] = {
        "thread": M16.key,
        "classes": ("6H",),
        "reach": 50 * MM,
        "lead": Lead(20, 35),
        "flutes": ("straight", "spiral"),
        "action": "cut",
        "holes": 4,
        "split": True,
    }
    return need("tap", **(blind | asked))


def unit(tag: str, kind: str, facts: dict[str, Any] | None = None, **state: Any) -> StockLine:
    """A tagged unit in bin A1 of Main; its number is the number in its tag."""
    number = int("".join(filter(str.isdigit, tag)) or 0)
    line = StockLine(tag, Facts(item=number, kind=kind, **(facts or {})), "Main", "A1", walk=1, unit=number)
    return replace(line, **state)


def tap(tag: str, facts: dict[str, Any] | None = None, **state: Any) -> StockLine:
    """A tap that serves `tap_need` unless told otherwise."""
    good = {
        "thread": M16.key,
        "thread_class": "6H",
        "usable_length": 60 * MM,
        "lead": 20,
        "flute": "straight",
        "action": "cut",
    }
    return unit(tag, "tap", good | (facts or {}), **state)


def drill(tag: str, diameter: int, **state: Any) -> StockLine:
    return unit(tag, "drill", {"diameter": diameter, "usable_length": 120 * MM}, **state)


def cutter(tag: str, pilot: int | None, **state: Any) -> StockLine:
    return unit(tag, "seat_cutter", {"diameter": 22 * MM, "pilot": pilot}, **state)


def batch(
    lot: str, number: int, kind: str, available: int, facts: dict[str, Any] | None = None, **state: Any
) -> StockLine:
    line = StockLine(
        lot,
        Facts(item=number, kind=kind, **(facts or {})),
        "Main",
        "A1",
        batch=number,
        on_hand=available,
        available=available,
    )
    return replace(line, **state)


def inserts(lot: str, number: int, available: int, facts: dict[str, Any] | None = None, **state: Any) -> StockLine:
    good = {"thread": M16.key, "inner": M14.key, "insert_length": 20 * MM, "family": "own-flanged/1"}
    return batch(lot, number, "insert", available, good | (facts or {}), **state)


def insert_need(quantity: int = 4, **asked: Any) -> Need:
    wanted: dict[str, Any] = {"thread": M16.key, "inner": M14.key, "length": 20 * MM, "family": "own-flanged/1"}
    return need("insert", **(wanted | {"quantity": quantity} | asked))


def codes(judgement: Judgement) -> list[str]:
    return [reason.code for reason in judgement.reasons]


def only(line: Line) -> tuple[str, list[str]]:
    return line.status, [reason.code for reason in line.reasons]


PILOTED = [
    need("drill", diameter=WINDOW, doubt_above=14_626_000, holes=4, split=True),
    need("seat_cutter", diameter=Window(21_900_000, 22_100_000), pilot_of="A.drill", pilot_under=Window(1, 150_000),
         holes=4, split=True),
]  # fmt: skip
