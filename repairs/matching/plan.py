"""The stock in order, the needs of a job, and which lines could serve which need. PURE."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import tzinfo
from typing import Any

from inventory.errors import Reason
from inventory.kinds import StockLine
from repairs.matching.amounts import least_of, on_shelf, room_of
from repairs.matching.judging import DOUBT, REFUSAL, Finding, findings, guided, other_thread
from repairs.methods.values import Need, Window


def order(line: StockLine) -> tuple[Any, ...]:
    """Tags in order; what shares a tag, as batches without a lot do, by what it is.

    >>> from inventory.kinds import Facts
    >>> lines = [StockLine(tag, Facts(1, "tap"), "Main", "B4", unit=unit) for tag, unit in (("T-2", 1), ("T-1", 2))]
    >>> [line.tag for line in sorted(lines, key=order)]
    ['T-1', 'T-2']
    """
    return (line.tag, line.unit is None, line.unit or line.batch or 0, line.site, line.bin, line.facts.item)


class Shelf:
    """The stock in order, with every judgement kept: needs that ask the same are judged once."""

    def __init__(self, stock: Sequence[StockLine], label: str, zone: tzinfo) -> None:
        self.lines = sorted(stock, key=order)
        self.label, self.zone = label, zone
        self.rooms = [room_of(line, label) for line in self.lines]
        self.of_kind: dict[str, list[int]] = defaultdict(list)
        self.of_thread: dict[tuple[str, str], list[int]] = defaultdict(list)
        for index, line in enumerate(self.lines):
            self.of_kind[line.facts.kind].append(index)
            if line.facts.thread:
                self.of_thread[line.facts.kind, line.facts.thread].append(index)
        self._judged: dict[tuple[tuple[Any, ...], int], list[Finding]] = {}
        self._candidates: dict[tuple[Any, ...], tuple[int, ...]] = {}
        self._alike: dict[tuple[str, str | None, str | None], tuple[Reason, ...]] = {}

    @staticmethod
    def _question(need: Need) -> tuple[Any, ...]:
        """All that a judgement reads of a need, but for how much it takes and which drill guides it."""
        return (
            need.kind, need.start, need.end, need.site, need.thread, need.classes, need.inner, need.family,
            need.length, need.diameter, need.hole_thread, need.doubt_above, guided(need), need.reach, need.lead,
            need.flutes, need.action, need.hand, need.name, need.torque,
        )  # fmt: skip

    def judged(self, need: Need, index: int) -> list[Finding]:
        """What is found of one line for this need, before pilot and quantity."""
        key = (self._question(need), index)
        found = self._judged.get(key)
        if found is None:
            line = self.lines[index]
            found = self._judged[key] = findings(need, line, self.label, self.zone)
        return found

    def candidates(self, need: Need) -> tuple[int, ...]:
        """The lines that nothing refuses, before pilot and quantity, in order."""
        key = self._question(need)
        found = self._candidates.get(key)
        if found is None:
            asked = self.of_thread.get((need.kind, need.thread), ()) if need.thread else self.of_kind[need.kind]
            found = tuple(
                index
                for index in asked
                if (
                    need.diameter is None
                    or ((size := self.lines[index].facts.diameter) is not None and size in need.diameter)
                )
                and all(weight < REFUSAL for weight, _ in self.judged(need, index))
            )
            self._candidates[key] = found
        return found

    def look_alikes(self, need: Need) -> tuple[Reason, ...]:
        """Everything of the need's kind that starts like it and must not be taken for it."""
        if not need.thread and not need.inner:
            return ()
        key = (need.kind, need.thread, need.inner)
        found = self._alike.get(key)
        if found is None:
            lines = (self.lines[index] for index in self.of_kind[need.kind])
            others = (
                other_thread(wanted, line, carried)
                for line in lines
                for wanted, carried in ((need.thread, line.facts.thread), (need.inner, line.facts.inner))
                if wanted and carried and wanted != carried
            )
            found = tuple(dict.fromkeys(other for other in others if other.code == "look_alike"))
            self._alike[key] = found
        return found


Group = tuple[int, ...]  # indexes of needs decided together: one need, or a drill and the cutters it guides


class Plan:
    """The needs of a job, what could serve each, and in the end what does."""

    def __init__(self, needs: Sequence[Need], shelf: Shelf) -> None:
        self.needs, self.shelf = needs, shelf
        where = {need.id: index for index, need in enumerate(needs)}
        if len(where) < len(needs):
            raise ValueError("two needs of one id")
        self.drill_of = {
            index: where[need.pilot_of] for index, need in enumerate(needs) if guided(need) and need.pilot_of in where
        }
        if any(drill in self.drill_of for drill in self.drill_of.values()):
            raise ValueError("the drill that guides a pilot cannot have a pilot itself")
        self.edges = [self._edges(need) for need in needs]
        self.taken: list[list[tuple[int, int]]] = [[] for _ in needs]
        self.drilled: dict[int, int | Window] = {}  # of a guided cutter: the hole it runs in
        self.spent: dict[int, int] = defaultdict(int)  # what the job takes, by stock line

    def _edges(self, need: Need) -> dict[int, bool]:
        """The lines that may serve, and whether without doubt."""
        shelf, least = self.shelf, least_of(need)
        loose = guided(need) and need.pilot_of not in {other.id for other in self.needs}
        edges = {}
        for index in shelf.candidates(need):
            room = shelf.rooms[index]
            if (room is None or room >= least) and on_shelf(shelf.lines[index], shelf.label):
                edges[index] = not loose and all(weight < DOUBT for weight, _ in shelf.judged(need, index))
        return edges

    def knots(self) -> list[list[Group]]:
        """The groups of needs, parted into knots that share no stock line."""
        guided: dict[int, list[int]] = defaultdict(list)
        for cutter, drill in self.drill_of.items():
            guided[drill].append(cutter)
        groups = [(i, *guided[i]) for i in range(len(self.needs)) if i not in self.drill_of]
        root = list(range(len(groups)))

        def top(number: int) -> int:
            while root[number] != number:
                root[number] = root[root[number]]
                number = root[number]
            return number

        first: dict[int, int] = {}
        for number, group in enumerate(groups):
            for index in group:
                for line in self.edges[index]:
                    root[top(number)] = top(first.setdefault(line, number))
        knots: dict[int, list[Group]] = defaultdict(list)
        for number, group in enumerate(groups):
            if any(self.edges[index] for index in group):
                knots[top(number)].append(group)
        return list(knots.values())
