"""What no answer may ever do, on random needs and shelves, within the budget and beyond it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.errors import Reason
from inventory.kinds import KINDS, Facts, Held, StockLine
from repairs.matching import Line, match, search, smallest, walking
from repairs.matching.smallest import BudgetSpent, Smallest
from repairs.methods.values import DOUBTFUL, GAP, MATCH, Lead, Need
from tests.repairs.matching.shelf import (
    END,
    LABEL,
    M14,
    M16,
    M16_COARSE,
    M16_FINER,
    M18,
    MM,
    PILOTED,
    START,
    WINDOW,
    batch,
    cutter,
    drill,
    need,
    tap,
    tap_need,
    unit,
)

DAY = timedelta(days=1)


@st.composite
def _needs(draw: st.DrawFn) -> list[Need]:
    """A few needs of every sort, some of them asking the same."""
    needs = []
    for number in range(draw(st.integers(1, 6))):
        kind = draw(
            st.sampled_from(
                ["tap", "tap", "drill", "final_gauge", "insert", "torque_wrench", "fixture", "oil", "adhesive"]
            )
        )
        asked: dict[str, Any] = {}
        if kind == "tap":
            asked = {
                "thread": draw(st.sampled_from([M16.key, M16_COARSE.key])),
                "classes": draw(st.sampled_from([(), ("6H",), ("5H", "6H")])),
                "reach": draw(st.sampled_from([None, 50 * MM])),
                "lead": draw(st.sampled_from([None, Lead(20, 20), Lead(20, 40)])),
                "flutes": draw(st.sampled_from([(), ("straight", "spiral")])),
                "action": draw(st.sampled_from(["", "cut"])),
            }
        elif kind == "drill":
            asked = {"diameter": WINDOW, "doubt_above": draw(st.sampled_from([None, 14_626_000]))}
        elif kind == "insert":
            asked = {"thread": M16.key, "inner": M14.key, "family": "own/1", "length": 20 * MM}
        elif kind == "torque_wrench":
            torque = draw(st.sampled_from([20_000, 90_000, None]))
            asked = {"torque": torque, "unjudged": () if torque else (Reason("torque_missing", bolt="M14x1.5"),)}
        elif kind == "adhesive":
            asked = {"cures": draw(st.booleans())}
        elif kind == "fixture":
            asked = {"name": "cover", "hand": draw(st.sampled_from(["", "L", "R"]))}
        amount = draw(st.integers(0, 6))
        counted = KINDS[kind].counted
        needs.append(
            need(
                kind, f"A.{number}", **asked,
                holes=0 if counted else amount, quantity=amount if counted else 0,
                split=draw(st.booleans()), start=START + draw(st.sampled_from([0, 2])) * DAY,
            )
        )  # fmt: skip
    for drilling in [each for each in needs if each.kind == "drill"]:
        needs.append(replace(PILOTED[1], id=f"{drilling.id}.seat", pilot_of=drilling.id, holes=2))
    return needs


@st.composite
def _stock(draw: st.DrawFn) -> list[StockLine]:
    """A dozen lines with every fault of a shelf."""
    lines = []
    for number in range(draw(st.integers(0, 14))):
        kind = draw(
            st.sampled_from(
                [
                    "tap",
                    "tap",
                    "drill",
                    "drill",
                    "seat_cutter",
                    "final_gauge",
                    "insert",
                    "torque_wrench",
                    "fixture",
                    "oil",
                    "adhesive",
                ]
            )
        )
        counted = KINDS[kind].counted

        def pick(*values: Any) -> Any:
            return draw(st.sampled_from(values))

        facts = Facts(
            item=number + 1,
            kind=kind,
            name=pick("cover", "Cover", "case", "") if kind == "fixture" else "",
            thread=pick(M16.key, M16.key, M16_COARSE.key, M16_FINER.key, M16.mirrored().key, None)
            if kind in ("tap", "insert")
            else None,
            thread_class=pick("6H", "6H", "5H", ""),
            inner=pick(M14.key, M14.key, M18.key, None) if kind == "insert" else None,
            diameter=pick(14_300_000, 14_400_000, 14_500_000, 14_650_000, None)
            if kind == "drill"
            else 22 * MM
            if kind == "seat_cutter"
            else None,
            pilot=pick(14_350_000, 14_450_000, 13 * MM, None) if kind == "seat_cutter" else None,
            usable_length=pick(60 * MM, 60 * MM, 40 * MM, None),
            lead=pick(20, 40, 80, None),
            flute=pick("straight", "spiral", "point", ""),
            action=pick("cut", "cut", "form", ""),
            insert_length=pick(20 * MM, 20 * MM, 15 * MM, None),
            hand=pick("L", "R", ""),
            torque_min=pick(5_000, None),
            torque_max=pick(50_000, 200_000, None),
            family=pick("own/1", "own/1", "own/2", "other/1", ""),
            cure_hours=pick(12, 47, 48, 200, None) if kind == "adhesive" else None,
        )
        held = pick(
            (),
            (),
            (Held("J-1", START, START + DAY, holes=1, quantity=1),),
            (Held(LABEL, START, END, holes=2, quantity=2),),
        )
        away = pick(
            {},
            {},
            {},
            {"condition": "away", "away_why": "loan", "away_until": pick(None, date(2026, 3, 1), date(2026, 3, 3))},
        )
        state = {"condition": pick("new", "serviceable", "serviceable", "due_regrind")} | away
        lines.append(
            StockLine(
                tag="" if counted else f"T-{number}",
                facts=facts,
                site=pick("Main", "Main", "Main", "Annex"),
                bin=pick("A", "B"),
                walk=1,
                unit=None if counted else number + 1,
                batch=number + 1 if counted else None,
                life_left=None if counted else pick(None, 0, 3, 5, 9),
                on_hand=9 if counted else 0,
                available=pick(0, 2, 5) if counted else 0,
                holds=held,
                calibration_due=pick(None, date(2026, 3, 3), date(2026, 3, 4), date(2026, 9, 1)),
                expires=pick(None, date(2026, 3, 3), date(2026, 3, 4)),
                **state,
            )
        )
    return lines


def _violations(lines: Sequence[Line]) -> list[str]:
    """Every rule that an answer breaks, worked out from need and stock alone."""
    broken: list[str] = []
    spent: dict[tuple[bool, int | None], int] = defaultdict(int)
    by_id = {line.need.id: line for line in lines}

    def rule(holds: bool, name: str, line: Line) -> None:
        if not holds:
            broken.append(f"{line.need.id}: {name}")

    for line in lines:
        asked = line.need
        kind = KINDS[asked.kind]
        rule((line.status == GAP) == (not line.takes), "a gap takes nothing, all else something", line)
        rule(line.status != GAP or bool(line.reasons), "a gap says why", line)
        doubt = any(take.status == DOUBTFUL for take in line.takes)
        rule(line.status == GAP or (line.status == DOUBTFUL) == doubt, "doubtful by its takes", line)
        rule(line.status != DOUBTFUL or bool(line.reasons), "doubtful says why", line)
        wanted = 0 if kind.shared else asked.quantity if kind.counted else asked.holes
        if line.takes:
            rule(sum(take.holes + take.quantity for take in line.takes) == wanted, "served whole", line)
            rule(len(line.takes) == 1 or asked.split or kind.counted, "split only where allowed", line)
        for take in line.takes:
            facts, stock = take.line.facts, take.line
            rule(facts.kind == asked.kind, "kind", line)
            rule(asked.thread in (None, facts.thread), "thread", line)
            rule(asked.inner in (None, facts.inner), "inner thread", line)
            rule(not asked.classes or facts.thread_class in asked.classes, "class", line)
            rule(asked.family in ("", facts.family), "family", line)
            rule(asked.length in (None, facts.insert_length), "insert length", line)
            rule(asked.diameter is None or (facts.diameter or 0) in asked.diameter, "window", line)
            rule(asked.reach is None or (facts.usable_length or 0) >= asked.reach, "reach", line)
            rule(asked.lead is None or 0 < (facts.lead or 0) <= asked.lead.doubt, "lead", line)
            rule(not asked.flutes or facts.flute in asked.flutes, "flute", line)
            rule(asked.action in ("", facts.action), "action", line)
            rule(asked.name.lower() in ("", facts.name.lower()), "name", line)
            rule(asked.hand in ("", facts.hand), "hand", line)
            torque = asked.torque
            rule(torque is None or (facts.torque_min or 10**9) <= torque <= (facts.torque_max or 0), "torque", line)
            rule(stock.site == asked.site, "site", line)
            back = stock.away_until is not None and stock.away_until < asked.start.date()
            rule(stock.condition in ("new", "serviceable") or (stock.condition == "away" and back), "condition", line)
            for hold in stock.holds if stock.unit else ():
                apart = hold.end is not None and hold.end <= asked.start
                rule(hold.label == LABEL or apart, "held by another", line)
            last = (asked.end - timedelta(seconds=1)).date()
            rule(stock.calibration_due is None or stock.calibration_due >= last, "calibration", line)
            rule(stock.expires is None or stock.expires >= last, "expiry", line)
            sure = (
                (asked.doubt_above is None or (facts.diameter or 0) <= asked.doubt_above)
                and (asked.lead is None or (facts.lead or 0) <= asked.lead.match)
                and (not kind.calibrated or stock.calibration_due is not None)
                and (not kind.perishable or stock.expires is not None)
                and (not asked.cures or 0 < (facts.cure_hours or 0) < (asked.end - asked.start) / timedelta(hours=1))
                and (asked.kind != "torque_wrench" or asked.torque is not None)
            )
            rule(sure or take.status == DOUBTFUL, "a doubt passed over", line)
            if asked.pilot_of:
                drills = {drilled.line.facts.diameter for drilled in by_id[asked.pilot_of].takes}
                rule(len(drills) <= 1, "drills of one diameter", line)
                for size in drills:
                    rule(1 <= (size or 0) - (facts.pilot or 0) <= 150_000, "pilot under the drill", line)
                rule(bool(drills) or take.status == DOUBTFUL, "pilot without a drill", line)
            own = [hold for hold in stock.holds if hold.label == LABEL]
            spent[stock.batch is None, stock.unit or stock.batch] += take.holes + take.quantity
            if stock.batch is not None:
                on_shelf = stock.available + sum(hold.quantity for hold in own)
                rule(on_shelf >= 1, "something on the shelf", line)
                rule(spent[False, stock.batch] <= on_shelf, "quantity", line)
            elif stock.life_left is not None:
                life = stock.life_left + sum(hold.holes for hold in own)
                rule(spent[True, stock.unit] <= max(0, life), "life", line)
    return broken


@settings(max_examples=250, derandomize=True)
@given(_needs(), _stock())
def test_no_answer_ever_violates_its_need(needs: list[Need], stock: list[StockLine]) -> None:
    assert _violations(match(needs, stock, label=LABEL)) == []


@settings(max_examples=150, derandomize=True)
@given(_needs(), _stock(), _stock())
def test_more_stock_never_raises_the_number_of_gaps(
    needs: list[Need], stock: list[StockLine], more: list[StockLine]
) -> None:
    more = [
        replace(
            line,
            tag=f"{line.tag}x",
            unit=line.unit and line.unit + 100,
            batch=line.batch and line.batch + 100,
        )
        for line in more
    ]
    few, many = match(needs, stock, label=LABEL), match(needs, [*stock, *more], label=LABEL)
    assert [line.status for line in many].count(GAP) <= [line.status for line in few].count(GAP)


@settings(max_examples=150, derandomize=True)
@given(_needs(), _stock(), st.randoms(use_true_random=False))
def test_the_order_of_the_stock_never_shows(needs: list[Need], stock: list[StockLine], random: Any) -> None:
    shuffled = list(stock)
    random.shuffle(shuffled)
    assert match(needs, shuffled, label=LABEL) == match(needs, stock, label=LABEL)


@settings(max_examples=60, derandomize=True)
@given(_needs(), _stock())
def test_beyond_the_budget_the_answer_is_still_sound(needs: list[Need], stock: list[StockLine]) -> None:
    exact = match(needs, stock, label=LABEL)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(smallest, "SETS", 0)
        patch.setattr(walking, "WALKS", 0)
        hasty = match(needs, stock, label=LABEL)
        assert _violations(hasty) == []
        assert [line.status for line in hasty].count(GAP) == [line.status for line in exact].count(GAP)
        patch.setattr(search, "ANSWERS", 0)
        assert _violations(match(needs, stock, label=LABEL)) == []


def test_twenty_groups_that_share_the_same_few_tools_stay_within_the_budget(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search, "ANSWERS", 2_000)
    monkeypatch.setattr(smallest, "SETS", 2_000)

    whole_run = Smallest.run

    def run(self: Smallest) -> None:
        try:
            whole_run(self)
        except BudgetSpent:
            pytest.fail("the budget ended first, so this is not proven to be the best")

    monkeypatch.setattr(Smallest, "run", run)
    needs = []
    for number in range(20):
        for each in (*PILOTED, tap_need(), need("final_gauge"), need("oil", quantity=1)):
            pilot_of = f"{number}.{each.pilot_of}" if each.pilot_of else ""
            needs.append(replace(each, id=f"{number}.{each.id}", pilot_of=pilot_of))
    stock = [
        *(drill(f"D-1{n}", 14_400_000 + n % 3 * 100_000, life_left=20 + n) for n in range(8)),
        *(cutter(f"C-2{n}", 14_350_000 + n % 3 * 100_000, life_left=40 + n) for n in range(5)),
        *(tap(f"T-3{n}", life_left=30 + n) for n in range(6)),
        *(
            unit(f"G-4{n}", "final_gauge", {"thread": M14.key, "thread_class": "6H"}, calibration_due=date(2027, 1, 1))
            for n in range(6)
        ),
        batch("O1", 1, "oil", 3),
    ]
    lines = match(needs, stock)
    assert _violations(lines) == []
    assert {line.status for line in lines} == {MATCH}
