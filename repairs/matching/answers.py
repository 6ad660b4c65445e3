"""What a need is told once everything is handed out; for a gap where it comes from and what comes nearest. PURE."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from typing import Any

from inventory.errors import Reason
from inventory.kinds import KINDS, StockLine
from inventory.threads import Thread, ThreadError
from repairs.matching.amounts import demand_of, holds_of_others, may_split, overlaps, short, shortage
from repairs.matching.judging import DOUBT, REFUSAL, Finding, guided, judgement_of, pilot_in
from repairs.matching.lines import Line, NearMiss, Take
from repairs.matching.plan import Plan
from repairs.methods.values import DOUBTFUL, GAP, MATCH, Need

NEAR_DIAMETER = 600_000  # nm outside its window up to which a tool is still named; common practice, no source
NEAREST = 5  # near misses named for a gap

_FAR = frozenset({"other_kind", "other_thread", "other_name", "look_alike"})  # no near miss, whatever else it is
_LITTLE = frozenset({"life_short", "quantity_short"})
_HELD = frozenset({"held", "held_open", "held_until", "quantity_held"})
_NOT_HERE = _HELD | {"away", "away_open", "away_late", "other_site"}  # it would do, and only cannot be had


class Answers:
    """Puts a plan in which everything is handed out into lines, and says of each gap why."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.needs, self.shelf = plan, plan.needs, plan.shelf

    def line(self, index: int) -> Line:
        """The answer for one need, once everything is handed out."""
        need, shelf = self.needs[index], self.shelf
        alike = shelf.look_alikes(need)
        if not self.plan.taken[index]:
            reasons, near = self._explain(index)
            return Line(need, GAP, (), reasons, near, alike)
        counted = KINDS[need.kind].counted
        takes, doubts = [], []
        for number, amount in self.plan.taken[index]:
            found = self._found(index, number)
            judgement = judgement_of(found)
            doubts += [reason for weight, reason in found if weight == DOUBT]
            holes, quantity = (0, amount) if counted else (amount, 0)
            takes.append(Take(shelf.lines[number], holes, quantity, judgement.status, judgement.reasons))
        return Line(need, DOUBTFUL if doubts else MATCH, tuple(takes), tuple(dict.fromkeys(doubts)), (), alike)

    def _found(self, index: int, number: int) -> list[Finding]:
        """What is found of a line for a need, the pilot against the drill that was chosen."""
        need, found = self.needs[index], list(self.shelf.judged(self.needs[index], number))
        pilot = self.shelf.lines[number].facts.pilot
        if guided(need) and pilot is not None:
            if index in self.plan.drilled:
                found.append(pilot_in(need, pilot, self.plan.drilled[index]))
            elif index in self.plan.drill_of:
                drill = self.needs[self.plan.drill_of[index]]
                found += [pilot_in(need, pilot, drill.diameter)] if drill.diameter else []
            else:
                found.append((DOUBT, Reason("pilot_without_drill", pilot_nm=pilot)))
        return found

    def _explain(self, index: int) -> tuple[tuple[Reason, ...], tuple[NearMiss, ...]]:
        """Where a gap comes from, and what comes nearest."""
        need, shelf = self.needs[index], self.shelf
        demand, counted = demand_of(need), KINDS[need.kind].counted
        fitting: list[int] = []
        held: list[int] = []
        not_here: list[tuple[int, list[Reason]]] = []
        misses: list[tuple[int, int, int, NearMiss]] = []
        for number in shelf.stock.nearby(need):
            line = shelf.lines[number]
            refusals = self._refusals(index, number)
            if any(reason.code in _FAR or _far_off(reason) for reason in refusals):
                continue
            if lacking := shortage(need, line, shelf.label):
                refusals.append(lacking)
            if not refusals or all(reason.code in _LITTLE for reason in refusals):
                fitting.append(number)
            elif all(reason.code in _HELD for reason in refusals):
                held.append(number)
            elif all(reason.code in _NOT_HERE for reason in refusals):
                not_here.append((number, refusals))
            if not refusals:
                room = self.plan.room(number)
                if demand and room is not None:
                    refusals = [
                        short(line, shelf.label, room - self.plan.spent[number], demand, self.plan.harder(number))
                    ]
                else:
                    continue
            off = sum(reason.data.get("by_nm", 0) for reason in refusals)
            misses.append((len(refusals), off, number, NearMiss(line, tuple(refusals))))
        near = tuple(miss for *_, miss in sorted(misses, key=lambda miss: miss[:3])[:NEAREST])
        if fitting:
            return (self._too_little(index, fitting, demand, counted),), near
        if held:
            return (self._all_held(need, held),), near
        if not_here:
            return (self._none_at_hand(need, not_here),), near
        if misses:
            return (Reason("none_fits", count=len(misses)),), near
        thread = _designation(need.thread)
        return (Reason("none_owned", kind=need.kind, thread=thread),), ()

    def _refusals(self, index: int, number: int) -> list[Reason]:
        """What refuses a line for a need that is left a gap.

        The drill was chosen without this cutter. Where something else keeps the cutter from being taken, its pilot
        is no further fault so long as it runs under some drill of the window.
        """
        need = self.needs[index]
        refusals = [reason for weight, reason in self._found(index, number) if weight == REFUSAL]
        pilot, guide = self.shelf.lines[number].facts.pilot, self.plan.drill_of.get(index)
        if len(refusals) > 1 and pilot is not None and guide is not None:
            window = self.needs[guide].diameter
            if window is not None and pilot_in(need, pilot, window)[0] < REFUSAL:
                refusals = [reason for reason in refusals if reason.code != "pilot_not_under_drill"]
        return refusals

    def _none_at_hand(self, need: Need, lines: list[tuple[int, list[Reason]]]) -> Reason:
        """What would do and is away, elsewhere or held: which is back first, who holds the rest, where they stand."""
        refusals = [reason for _, several in lines for reason in several]
        away = [
            (several[0].data.get("until") or date.max, self.shelf.lines[number].tag, several[0]["why"])
            for number, several in lines
            if len(several) == 1 and several[0].code in ("away", "away_open", "away_late")
        ]
        until, tag, why = min(away, default=(date.max, "", ""))
        return Reason(
            "none_at_hand",
            count=len(lines),
            tag=tag,
            why=why,
            until="" if until == date.max else until,
            sites=tuple(sorted({reason["site"] for reason in refusals if reason.code == "other_site"})),
            tags=tuple(
                sorted(
                    self.shelf.lines[number].tag
                    for number, several in lines
                    if any(reason.code == "other_site" for reason in several)
                )
            ),
            labels=tuple(sorted({label for reason in refusals for label in _labels(reason)})),
        )

    def _too_little(self, index: int, fitting: list[int], demand: int, counted: bool) -> Reason:
        """Why a need is a gap although lines fit it: too little is left, or no pilot goes with them."""
        need, shelf = self.needs[index], self.shelf
        rooms = [self.plan.room(number) for number in fitting]
        spent = sum(self.plan.spent[number] for number in fitting)
        if index in self.plan.drill_of.values():
            sizes: dict[int | None, int] = defaultdict(int)
            for number, room in zip(fitting, rooms, strict=True):
                left = demand if room is None else room - self.plan.spent[number]
                size = shelf.lines[number].facts.diameter
                sizes[size] = sizes[size] + left if may_split(need) else max(sizes[size], left)
            if max(sizes.values()) >= demand:
                return Reason("no_pilot_goes_with_it", count=len(fitting))
            if may_split(need) and sum(sizes.values()) >= demand:
                return Reason("drills_differ", left=max(sizes.values()), needed=demand)
        count, left = len(fitting), sum(room or 0 for room in rooms)
        if counted:
            needed = max(1, demand)
            return Reason("quantity_short_in_all", count=count, available=left, taken=spent, needed=needed)
        told: dict[str, Any] = {"count": count, "taken": spent, "needed": demand}
        harder = [(number, self.plan.harder(number)) for number in fitting]
        if weighed := [material for number, material in harder if shelf.lines[number].percent(material) != 100]:
            told["material"] = weighed[0]
        if not may_split(need):
            return Reason("life_short_in_each", left=max(room or 0 for room in rooms), **told)
        return Reason("life_short_in_all", left=left, **told)

    def _all_held(self, need: Need, held: list[int]) -> Reason:
        """Who holds all that would do, and when the first of them is free for as long as the need lasts."""
        own = self.shelf.label
        lines = [self.shelf.lines[number] for number in held]
        holds = [
            hold
            for line in lines
            for hold in holds_of_others(line, own)
            if line.batch is not None or overlaps(hold, need.start, need.end)
        ]
        labels = tuple(sorted({hold.label for hold in holds}))
        free = [moment for line in lines if line.batch is None and (moment := _first_free(need, line, own))]
        if not free:
            return Reason("all_held_open", count=len(lines), labels=labels)
        return Reason("all_held", count=len(lines), labels=labels, first_free=min(free))


def _labels(reason: Reason) -> tuple[str, ...]:
    """Whose holds a reason tells of."""
    if reason.code == "quantity_held":
        return tuple(reason["labels"])
    return (reason["label"],) if reason.code in _HELD else ()


def _far_off(reason: Reason) -> bool:
    return reason.code in ("diameter_under", "diameter_over") and reason["by_nm"] > NEAR_DIAMETER


def _designation(key: str | None) -> str:
    try:
        return Thread.from_key(key).designation if key else ""
    except ThreadError:
        return key or ""


def _first_free(need: Need, line: StockLine, own: str) -> datetime | None:
    """When a unit is first free for as long as the need lasts; None where a hold has no end."""
    holds = holds_of_others(line, own)
    lasts = need.end - need.start
    for moment in sorted({need.start, *(hold.end for hold in holds if hold.end and hold.end > need.start)}):
        if not any(overlaps(hold, moment, moment + lasts) for hold in holds):
            return moment
    return None
