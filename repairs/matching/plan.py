"""The stock in order, the needs of a job, and which lines could serve which need. PURE."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import tzinfo
from typing import Any

from inventory.errors import Reason
from inventory.kinds import StockLine
from inventory.threads import Thread, ThreadError
from repairs.matching.amounts import least_of, on_shelf, room_of
from repairs.matching.judging import DOUBT, REFUSAL, Finding, fit_for_use, guided, measurements, other_thread
from repairs.methods.values import Need, Window


def order(line: StockLine) -> tuple[Any, ...]:
    """Tags in order; what shares a tag, as batches without a lot do, by what it is.

    >>> from inventory.kinds import Facts
    >>> lines = [StockLine(tag, Facts(1, "tap"), "Main", "B4", unit=unit) for tag, unit in (("T-2", 1), ("T-1", 2))]
    >>> [line.tag for line in sorted(lines, key=order)]
    ['T-1', 'T-2']
    """
    return (line.tag, line.unit is None, line.unit or line.batch or 0, line.site, line.bin, line.facts.item)


class Stock:
    """The stock in order, found by kind and thread, and what its measurements say to a question.

    Nothing here depends on whose job it is, so that jobs planned together share one.
    """

    def __init__(self, lines: Sequence[StockLine]) -> None:
        self.lines = sorted(lines, key=order)
        self.of_kind: dict[str, list[int]] = defaultdict(list)
        self.of_thread: dict[tuple[str, str], list[int]] = defaultdict(list)
        for index, line in enumerate(self.lines):
            self.of_kind[line.facts.kind].append(index)
            self.of_thread[line.facts.kind, line.facts.thread or ""].append(index)
        self._questions: dict[int, tuple[Need, tuple[Any, ...]]] = {}
        self._measured: dict[tuple[tuple[Any, ...], int, int | None], list[Finding]] = {}

    def question(self, need: Need) -> tuple[Any, ...]:
        """All that a judgement reads of a need, but for how much it takes and which drill guides it."""
        known = self._questions.get(id(need))
        if known is None:  # the need is kept beside it, so that no other one comes to have its identity
            known = self._questions[id(need)] = (need, _question(need))
        return known[1]

    def measured(self, need: Need, line: StockLine) -> list[Finding]:
        """What a line's measurements say; units of one item and size say the same, but for where a look-alike lies."""
        key = (self.question(need), line.facts.item, line.facts.diameter)
        found = self._measured.get(key)
        if found is None:
            found = list(measurements(need, line))
            if not any(reason.code == "look_alike" for _, reason in found):
                self._measured[key] = found
        return found

    def nearby(self, need: Need) -> list[int]:
        """The lines that may come near to a need: of its kind, and of its thread, hand aside, where it has one."""
        if not need.thread:
            return self.of_kind[need.kind]
        keys = {need.thread, _mirrored(need.thread), ""}
        return sorted(index for key in keys for index in self.of_thread.get((need.kind, key), ()))


def _question(need: Need) -> tuple[Any, ...]:
    return (
        need.kind, need.start, need.end, need.site, need.thread, need.classes, need.inner, need.family,
        need.length, need.diameter, need.hole_thread, need.doubt_above, guided(need), need.reach, need.lead,
        need.flutes, need.action, need.hand, need.name, need.torque, need.cures, need.unjudged,
    )  # fmt: skip


def _mirrored(key: str) -> str:
    try:
        return Thread.from_key(key).mirrored().key
    except ThreadError:
        return key


class Shelf:
    """The stock as one job sees it, with every judgement kept: needs that ask the same are judged once."""

    def __init__(self, stock: Stock, label: str, zone: tzinfo) -> None:
        self.stock, self.label, self.zone = stock, label, zone
        self.lines = stock.lines
        self._rooms: dict[tuple[int, tuple[str, ...]], int | None] = {}
        self._judged: dict[tuple[tuple[Any, ...], int], list[Finding]] = {}
        self._candidates: dict[tuple[Any, ...], tuple[int, ...]] = {}
        self._alike: dict[tuple[str, str | None, str | None], tuple[Reason, ...]] = {}

    def room(self, index: int, materials: tuple[str, ...]) -> int | None:
        """What a job that cuts these materials may take of a line, see `room_of`."""
        line = self.lines[index]
        key = (index, materials if line.factors else ())
        if key not in self._rooms:
            self._rooms[key] = room_of(line, self.label, key[1])
        return self._rooms[key]

    def judged(self, need: Need, index: int) -> list[Finding]:
        """What is found of one line for this need, before pilot and quantity."""
        key = (self.stock.question(need), index)
        found = self._judged.get(key)
        if found is None:
            line = self.lines[index]
            found = [*self.stock.measured(need, line), *fit_for_use(need, line, self.label, self.zone)]
            self._judged[key] = found
        return found

    def candidates(self, need: Need) -> tuple[int, ...]:
        """The lines that nothing refuses, before pilot and quantity, in order."""
        key = self.stock.question(need)
        found = self._candidates.get(key)
        if found is None:
            stock = self.stock
            asked = stock.of_thread.get((need.kind, need.thread), ()) if need.thread else stock.of_kind[need.kind]
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
            lines = (self.lines[index] for index in self.stock.of_kind[need.kind])
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
        cut: dict[str, set[str]] = defaultdict(set)
        for need in needs:
            cut[need.kind].add(need.material)
        self._cut = {kind: tuple(sorted(materials)) for kind, materials in cut.items()}
        self.edges = [self._edges(need) for need in needs]
        self.taken: list[list[tuple[int, int]]] = [[] for _ in needs]
        self.drilled: dict[int, int | Window] = {}  # of a guided cutter: the hole it runs in
        self.spent: dict[int, int] = defaultdict(int)  # what the job takes, by stock line

    def room(self, index: int) -> int | None:
        """How much this job may take of a line; of a unit in holes of what the job cuts with its kind."""
        return self.shelf.room(index, self._cut.get(self.shelf.lines[index].facts.kind, ()))

    def harder(self, index: int) -> str:
        """Of the materials that this job cuts with a line's kind, the one in whose holes its life is counted."""
        line = self.shelf.lines[index]
        return max(self._cut.get(line.facts.kind, ("",)), key=line.percent)

    def _edges(self, need: Need) -> dict[int, bool]:
        """The lines that may serve, and whether without doubt."""
        shelf, least = self.shelf, least_of(need)
        loose = guided(need) and need.pilot_of not in {other.id for other in self.needs}
        edges = {}
        for index in shelf.candidates(need):
            room = self.room(index)
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
