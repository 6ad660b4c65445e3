"""The fewest stock lines that do for a knot what all of them would do. PURE."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from repairs.matching.flow import bits
from repairs.matching.knot import Choice, Cost, GroupType, Knot, Option
from repairs.matching.search import Search

SETS = 6_000  # steps of the search for the fewest stock lines in one knot, before it is thinned instead


class BudgetSpent(Exception):
    """The budget of a search is used up."""


class Smallest:
    """The smallest sets of lines that give a knot the same gaps and doubtful lines as all of them do.

    By size, smallest first; within a size a branch takes one line out of a set of which at least one is
    needed, and the later branches of that set leave it out, so that no set comes twice.
    """

    def __init__(self, knot: Knot) -> None:
        self.knot, self.search = knot, Search(knot)
        self.cost, self.options = self.search.best()
        knot.steps_left = SETS
        self.found: list[tuple[int, int, list[Option]]] = []
        self.slack = slack = knot.floor(knot.all) != self.cost  # some group goes short, it is not settled which
        musts: set[int] = set()
        loads: dict[int, int] = defaultdict(int)
        self.sure: list[tuple[GroupType, Cost]] = []  # must do as well as with the whole shelf
        self.asked = 0
        for group_type in knot.types:
            full = knot.options(group_type, knot.all)[1]
            if group_type.lines & knot.wearing:
                self.asked += sum(group_type.demands) * len(group_type.members)
            if slack and not full[0].endless:
                continue
            self.sure.append((group_type, full[0].cost))
            cheapest = [option for option in full if option.cost == full[0].cost]
            for part, demand in enumerate(group_type.demands):
                if all(option.masks[part] for option in cheapest):
                    lines = 0
                    for option in cheapest:
                        lines |= option.masks[part]
                    musts.add(lines)
                    if demand and not lines & knot.endless:
                        loads[lines] += demand * len(group_type.members)
        self.musts = sorted(musts, key=lambda mask: (mask.bit_count(), mask))
        self.loads = [
            (demand, sorted(((knot.rooms[k] or 0, k) for k in bits(lines)), key=lambda each: -each[0]))
            for lines, demand in loads.items()
        ]
        self.twin = self._twins()

    def _twins(self) -> list[int]:
        """For each line a mask of the one before it that differs in its tag alone (0: none).

        Such a line is only ever taken together with its twin: that serves as well and its tag comes first.
        """
        knot, twin = self.knot, []
        last: dict[tuple[Any, ...], int] = {}
        for k, line in enumerate(knot.lines):
            column = tuple(
                (clean >> k & 1, doubtful >> k & 1)
                for group_type in knot.types
                for mode in group_type.modes
                for clean, doubtful in mode.masks
            )
            alike = (knot.rooms[k], line.expires, line.site, line.bin, line.walk, column)
            twin.append(last.get(alike, 0))
            last[alike] = 1 << k
        return twin

    def choices(self) -> list[Choice]:
        """All choices with the fewest gaps, doubtful lines and stock lines, the least waste and the soonest expiries.

        All sets are of one size, so the joint row of days is least where each knot's own is.
        """
        try:
            self.run()
        except BudgetSpent:
            if not self.found:
                self.thin(self.options)
        found = [Choice(lines, tuple(options), self.knot.use(lines)) for _, lines, options in self.found]
        soonest = min(choice.use.expiries for choice in found)
        return [choice for choice in found if choice.use.expiries == soonest]

    def run(self) -> None:
        """Fill `found`. Raises BudgetSpent where the budget of the knot ends first."""
        for size in range(len(self.knot.lines) + 1):
            self._grow(0, 0, size)
            if self.found:
                return

    def _grow(self, chosen: int, banned: int, more: int) -> None:
        knot = self.knot
        knot.steps_left -= 1
        if knot.steps_left < 0:
            raise BudgetSpent
        open_to = knot.all & ~chosen & ~banned
        if self._hopeless(chosen, open_to, more):
            return
        branch = self._needed(chosen, open_to)
        if branch is None:
            if not more:
                self._weigh(chosen)
                return
            branch = open_to & self._scarce(chosen)
        if not more:
            return
        for k in bits(branch):
            if self.twin[k] & ~chosen:
                banned |= 1 << k
                continue
            self._grow(chosen | 1 << k, banned, more - 1)
            banned |= 1 << k

    def _hopeless(self, chosen: int, open_to: int, more: int) -> bool:
        """Whether `more` lines cannot do: too many disjoint sets still to hit, or too little life."""
        seen = apart = 0
        for must in self.musts:
            if not must & chosen:
                if not must & open_to:
                    return True
                if not must & seen:
                    seen |= must
                    apart += 1
        if apart > more:
            return True
        if self.found and self.knot.wearing and self._leftover(chosen, open_to, more) > self.found[0][0]:
            return True
        for demand, rooms in self.loads:
            have, picks = 0, more
            for room, k in rooms:
                if chosen >> k & 1:
                    have += room
                elif picks and open_to >> k & 1:
                    have += room
                    picks -= 1
            if have < demand:
                return True
        return False

    def _leftover(self, chosen: int, open_to: int, more: int) -> int:
        """What at least is left of life with these lines and as many more, whatever is taken."""
        knot = self.knot
        whole = sum(knot.rooms[k] or 0 for k in bits(chosen & knot.wearing))
        if more and not open_to & ~knot.wearing:
            whole += sum(sorted(knot.rooms[k] or 0 for k in bits(open_to))[:more])
        return whole - self.asked

    def _needed(self, chosen: int, open_to: int) -> int | None:
        """Lines of which any set that does must have one more; None if the chosen ones may do."""
        sets = [must & open_to for must in self.musts if not must & chosen]
        if sets:
            return min(sets, key=int.bit_count)
        for group_type, cost in self.sure:
            if self.knot.options(group_type, chosen)[0][0].cost > cost:
                return group_type.lines & open_to
        return open_to if self.knot.floor(chosen) > self.cost else None

    def _scarce(self, chosen: int) -> int:
        """Lines of which one more is needed where the chosen ones would do if nothing ran out."""
        if self.slack:
            return self.knot.all
        lines = 0
        for group_type in self.knot.types:
            if not self.knot.options(group_type, chosen)[0][0].endless:
                lines |= group_type.lines
        return lines

    def _weigh(self, chosen: int) -> None:
        """Keep a set that does, if no smaller waste is known."""
        served = self.search.fewest(chosen, self.cost)
        if served is None:
            return
        waste, options = self.search.waste(chosen, *served)
        if self.found and waste < self.found[0][0]:
            self.found = []
        if not self.found or waste == self.found[0][0]:
            self.found.append((waste, chosen, options))

    def thin(self, options: list[Option]) -> None:
        """Beyond the budget: from all lines leave out one after the other as long as nothing gets worse.

        First those with the least in them, so that few are left; what then stands is not proven smallest.
        """
        knot = self.knot
        chosen = knot.all
        order = sorted(
            range(len(knot.lines)),
            key=lambda k: (knot.rooms[k] is None, knot.rooms[k] or 0, -knot.lines[k].walk, -k),
        )
        for k in order:
            fewer = chosen & ~(1 << k)
            served = self.search.kept(options, fewer)
            if served is None:
                knot.steps_left = 20 + 4 * len(knot.groups)
                found = self.search.fewest(fewer, self.cost)
                served = found[1] if found else None
            if served:
                chosen, options = fewer, served
        self.found = [(0, chosen, options)]
