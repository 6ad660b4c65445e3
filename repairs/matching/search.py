"""The fewest gaps and doubtful lines that a set of stock lines allows, and the least life wasted by it. PURE."""

from __future__ import annotations

from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from itertools import accumulate

from repairs.matching.flow import bits, pour
from repairs.matching.knot import Cost, GroupType, Knot, Option

ANSWERS = 40_000  # steps of the search for the fewest gaps and doubtful lines in one knot


class Search:
    """Branch and bound over what the groups of one knot can do; every step is counted off `knot.steps_left`."""

    def __init__(self, knot: Knot) -> None:
        self.knot = knot

    def best(self) -> tuple[Cost, list[Option]]:
        """The fewest gaps and doubtful lines with all lines of the knot, and an answer that has them."""
        self.knot.steps_left = ANSWERS
        found = self.fewest(self.knot.all)
        if found is None:  # cannot be: leaving all gaps always stands
            raise AssertionError("no answer for a knot")
        return found

    def fewest(self, chosen: int, limit: Cost | None = None) -> tuple[Cost, list[Option]] | None:
        """The fewest gaps, then doubtful lines, with these lines and the option of each group.

        None if that is more than `limit`. Branch and bound over the groups for which something can run out.

        Groups of one type are interchangeable, so along the row their options never go back to a cheaper
        one. Lone needs that may be split and have the same candidates are put on one ladder by demand:
        clean first, then doubtful, then gaps. Nothing is lost by that. If a gap asked for less than a
        served need, the two could change places and take less from every line. If a clean need took more
        than a doubtful one, the smaller could take its share out of the larger's clean lines, and the
        larger take over the smaller's lines and keep the rest of its own: as many clean, nothing more
        taken. A need that may not be split would not fit so, which is why it is on no ladder.
        """
        options: list[Option | None] = [None] * len(self.knot.groups)
        gaps = doubts = 0
        hungry: list[tuple[GroupType, int]] = []
        for group_type in self.knot.types:
            first = self.knot.options(group_type, chosen)[0][0]
            if not first.endless:
                hungry += [(group_type, member) for member in group_type.members]
                continue
            for member in group_type.members:
                options[member] = first
            gaps += first.cost[0] * len(group_type.members)
            doubts += first.cost[1] * len(group_type.members)
        ladders: dict[object, int] = {}
        hungry.sort(key=lambda each: (ladders.setdefault(each[0].ladder, len(ladders)), each[0].demands, each[1]))
        rest = self._rest(hungry, chosen)
        crowd = self._crowd(hungry, chosen)
        bound = (limit[0], limit[1] + 1) if limit else (2 * len(self.knot.plan.needs), 0)
        best: tuple[Cost, list[Option | None]] | None = None

        def dive(place: int, cost: Cost, loads: dict[int, int], rung: int) -> None:
            nonlocal best, bound
            self.knot.steps_left -= 1
            if (cost[0] + rest[place][0], cost[1] + rest[place][1]) >= bound:
                return
            short = self._short_of(crowd[place], loads)
            if short > rest[place][0] and (cost[0] + short, cost[1]) >= bound:
                return
            if (best and limit) or (self.knot.steps_left < 0 and (best or limit)):
                return
            if place == len(hungry):
                best, bound = (cost, list(options)), cost
                return
            group_type, member = hungry[place]
            same = place and hungry[place - 1][0].ladder == group_type.ladder
            for step, option in enumerate(self.knot.options(group_type, chosen)[0]):
                if same and step < rung:
                    continue
                more = self._loaded(loads, option)
                if more is not loads and self._fits(more) is None:
                    continue
                options[member] = option
                dive(place + 1, (cost[0] + option.cost[0], cost[1] + option.cost[1]), more, step)

        dive(0, (gaps, doubts), {}, 0)
        return (best[0], [option for option in best[1] if option]) if best else None

    def _rest(self, row: list[tuple[GroupType, int]], chosen: int) -> list[Cost]:
        """For each place in a row of groups the least that those from there on cost."""
        rest = [(0, 0)]
        for group_type, _ in reversed(row):
            cost = self.knot.options(group_type, chosen)[0][0].cost
            rest.append((rest[-1][0] + cost[0], rest[-1][1] + cost[1]))
        return rest[::-1]

    def _crowd(self, row: list[tuple[GroupType, int]], chosen: int) -> list[list[tuple[int, int, list[int]]]]:
        """For each place in a row of groups, what the needs from there on ask of each kind's lines.

        Per kind its lines, their whole room, and the sums of the smallest 1, 2, ... demands; of needs that can
        be met, and only from what runs out.
        """
        crowd: list[list[tuple[int, int, list[int]]]] = [[]]
        asked: dict[int, list[int]] = {lines: [] for lines in self.knot.of_kind}
        for group_type, _ in reversed(row):
            for part, demand in enumerate(group_type.demands):
                lines = 0
                for option in self.knot.options(group_type, chosen)[0]:
                    lines |= option.masks[part]
                if demand and lines and not lines & self.knot.endless:
                    insort(next(asked[of_kind] for of_kind in self.knot.of_kind if of_kind & lines), demand)
            crowd.append(
                [
                    (lines, sum(self.knot.rooms[k] or 0 for k in bits(lines & chosen)), list(accumulate(demands)))
                    for lines, demands in asked.items()
                    if demands
                ]
            )
        return crowd[::-1]

    def _short_of(self, crowd: list[tuple[int, int, list[int]]], loads: dict[int, int]) -> int:
        """How many more needs must go short for what is already taken, at least."""
        short = 0
        for lines, room, sums in crowd:
            left = room - sum(demand for mask, demand in loads.items() if mask & lines)
            short += len(sums) - bisect_right(sums, left)
        return short

    def _loaded(self, loads: dict[int, int], option: Option) -> dict[int, int]:
        """Demand by lines, with what an option adds that can run out."""
        more = loads
        for demand, mask in option.loads:
            if not mask & self.knot.endless:
                more = dict(loads) if more is loads else more
                more[mask] = more.get(mask, 0) + demand
        return more

    def _fits(self, loads: dict[int, int]) -> list[dict[int, int]] | None:
        self.knot.steps_left -= len(loads) // 2
        return pour([(demand, mask) for mask, demand in loads.items()], self.knot.rooms, self.knot.endless)

    def kept(self, options: list[Option], chosen: int) -> list[Option] | None:
        """The same answers with fewer lines to take from; None if they do not stand with these."""
        cut = []
        loads: dict[int, int] = {}
        for option in options:
            masks = tuple(mask & chosen for mask in option.masks)
            if any(mask and not left for mask, left in zip(option.masks, masks, strict=True)):
                return None
            less = tuple((demand, mask & chosen) for demand, mask in option.loads)
            cut.append(replace(option, masks=masks, loads=less))
            loads = self._loaded(loads, cut[-1])
        return cut if self._fits(loads) is not None else None

    # life wasted

    def waste(self, chosen: int, cost: Cost, options: list[Option]) -> tuple[int, list[Option]]:
        """The least life left over in the chosen units at this cost, and the options that leave it."""
        whole = sum(self.knot.rooms[k] or 0 for k in bits(chosen & self.knot.wearing))
        if not whole:
            return 0, options
        asked: dict[int, int] = defaultdict(int)
        row: list[tuple[GroupType, int]] = []
        for group_type in self.knot.types:
            full = self.knot.options(group_type, chosen)[1]
            lines = [0] * len(group_type.demands)
            for option in full:
                lines = [held | mask for held, mask in zip(lines, option.masks, strict=True)]
            for demand, mask in zip(group_type.demands, lines, strict=True):
                if demand and mask & ~self.knot.endless:
                    asked[mask | self.knot.beyond] += demand * len(group_type.members)
            if len(full) > 1:
                row += [(group_type, member) for member in group_type.members]
        roof = self._taken(asked)
        best, taken = list(options), self._spent(options)
        if taken >= roof:
            return whole - taken, best
        trial = list(options)
        rest = self._rest(row, chosen)
        fixed = [option for place, option in enumerate(options) if place not in {member for _, member in row}]
        start = (sum(option.cost[0] for option in fixed), sum(option.cost[1] for option in fixed))
        first: dict[int, int] = {}
        for option in fixed:
            first = self._loaded(first, option)

        def dive(place: int, spent: Cost, loads: dict[int, int], rung: int) -> None:
            nonlocal best, taken
            self.knot.steps_left -= 1
            if self.knot.steps_left < 0 or taken >= roof:
                return
            if (spent[0] + rest[place][0], spent[1] + rest[place][1]) > cost:
                return
            if place == len(row):
                if (now := self._spent(trial)) > taken:
                    best, taken = list(trial), now
                return
            group_type, member = row[place]
            same = place and row[place - 1][0] is group_type
            for step, option in enumerate(self.knot.options(group_type, chosen)[1]):
                if same and step < rung:
                    continue
                more = self._loaded(loads, option)
                if more is not loads and self._fits(more) is None:
                    continue
                trial[member] = option
                dive(place + 1, (spent[0] + option.cost[0], spent[1] + option.cost[1]), more, step)

        dive(0, start, first, 0)
        return whole - taken, best

    def _taken(self, asked: dict[int, int]) -> int:
        """How much of the lines that run out these demands take at most."""
        given = self._fits(asked)
        return sum(sum(lines.values()) for lines in given or ())

    def _spent(self, options: Iterable[Option]) -> int:
        asked: dict[int, int] = defaultdict(int)
        for option in options:
            for demand, mask in option.loads:
                if mask & ~self.knot.endless:
                    asked[mask] += demand
        return self._taken(asked)
