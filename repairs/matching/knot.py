"""Needs that share stock lines, and how each of them can be served with a set of those lines. PURE."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from itertools import product
from typing import Any

from inventory.kinds import KINDS
from repairs.matching.amounts import demand_of, may_split
from repairs.matching.flow import bits, pour
from repairs.matching.judging import DOUBT, NOTE, pilot_in
from repairs.matching.plan import Group, Plan, order
from repairs.matching.walking import Use
from repairs.methods.values import Window

Cost = tuple[int, int]  # gaps, doubtful lines


@dataclass(frozen=True, slots=True)
class Mode:
    """One way to serve a group: the drill's diameter (None: no drill decides, or it is left a gap).

    `masks` are for each need of the group the lines that serve it without and with doubt. `drills`: the first
    need must be served, since the others run in its hole.
    """

    diameter: int | None
    drills: bool
    masks: tuple[tuple[int, int], ...]


@dataclass(slots=True)
class GroupType:
    """Groups that ask the same of the same lines, so that they are interchangeable."""

    number: int
    demands: tuple[int, ...]
    splits: tuple[bool, ...]
    modes: tuple[Mode, ...]
    lines: int = 0
    members: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        for mode in self.modes:
            for clean, doubtful in mode.masks:
                self.lines |= clean | doubtful

    @property
    def ladder(self) -> object:
        """What puts types on one ladder, see `Search.fewest`: needs of their own that may be split."""
        if len(self.demands) == 1 and self.splits[0] and self.demands[0]:
            return self.modes
        return self.number


@dataclass(frozen=True, slots=True)
class Option:
    """One answer for a group: its cost and, for each need, the lines it may take from (0: a gap).

    `endless`: nothing in it can run out. `loads` are demand and lines of the needs that take something.
    """

    cost: Cost
    endless: bool
    masks: tuple[int, ...]
    loads: tuple[tuple[int, int], ...]
    diameter: int | None


@dataclass(frozen=True, slots=True)
class Choice:
    """A knot's answer: the lines used and the option of each group."""

    lines: int
    options: tuple[Option, ...]
    use: Use


class Knot:
    """Needs that share stock lines, solved together. Lines are bits of a mask, in the order of the shelf."""

    def __init__(self, plan: Plan, groups: list[Group]) -> None:
        self.plan, self.groups = plan, groups
        self.numbers = sorted({line for group in groups for index in group for line in plan.edges[index]})
        self.bit = {number: 1 << k for k, number in enumerate(self.numbers)}
        self.lines = [plan.shelf.lines[number] for number in self.numbers]
        self.rooms = [plan.room(number) for number in self.numbers]
        self.all = (1 << len(self.numbers)) - 1
        self.beyond = 1 << len(self.numbers)  # a line without end that is nowhere: what takes of it goes short
        self.endless = sum(1 << k for k, room in enumerate(self.rooms) if room is None) | self.beyond
        self.wearing = self.all & ~self.endless if not KINDS[self.lines[0].facts.kind].counted else 0
        types: dict[tuple[Any, ...], GroupType] = {}
        for member, group in enumerate(groups):
            needs = [plan.needs[index] for index in group]
            asked = tuple(map(demand_of, needs)), tuple(map(may_split, needs)), self._modes(group)
            types.setdefault(asked, GroupType(len(types), *asked)).members.append(member)
        self.types = list(types.values())
        self._options: dict[tuple[int, int], tuple[list[Option], list[Option]]] = {}
        self.of_kind = [
            sum(1 << k for k, line in enumerate(self.lines) if line.facts.kind == kind)
            for kind in {line.facts.kind: None for line in self.lines}
        ]
        self.steps_left = 0

    def _modes(self, group: Group) -> tuple[Mode, ...]:
        """How a group can be served: a lone need in one way, a drill with cutters once for each diameter."""
        masks = [
            (
                sum(self.bit[line] for line, clean in self.plan.edges[index].items() if clean),
                sum(self.bit[line] for line, clean in self.plan.edges[index].items() if not clean),
            )
            for index in group
        ]
        if len(group) == 1:
            return (Mode(None, False, tuple(masks)),)
        sizes: dict[int, int] = defaultdict(int)
        for line in self.plan.edges[group[0]]:
            diameter = self.plan.shelf.lines[line].facts.diameter
            if diameter is not None:
                sizes[diameter] |= self.bit[line]
        modes = []
        for diameter, of_size in sorted(sizes.items()):
            fits = [self._piloted(index, diameter, NOTE) for index in group[1:]]
            cut = [(clean & fit, doubtful & fit) for (clean, doubtful), fit in zip(masks[1:], fits, strict=True)]
            drill = (masks[0][0] & of_size, masks[0][1] & of_size)
            modes.append(Mode(diameter, True, (drill, *cut)))
        window = self.plan.needs[group[0]].diameter
        fits = [self._piloted(index, window, DOUBT) if window else 0 for index in group[1:]]
        unguided = [(0, (clean | doubtful) & fit) for (clean, doubtful), fit in zip(masks[1:], fits, strict=True)]
        return (*modes, Mode(None, False, ((0, 0), *unguided)))

    def _piloted(self, index: int, drilled: int | Window, weight: int) -> int:
        """The cutters whose pilot runs in such a hole."""
        need, lines = self.plan.needs[index], self.plan.shelf.lines
        return sum(
            self.bit[line]
            for line in self.plan.edges[index]
            if pilot_in(need, lines[line].facts.pilot or 0, drilled)[0] <= weight
        )

    def options(self, group_type: GroupType, chosen: int) -> tuple[list[Option], list[Option]]:
        """What a group of this type can do with the chosen lines, cheapest first.

        First those that decide gaps and doubts: none dearer than the first that nothing can run out of, for
        that one is always to be had. Then the same with all that cost no more, which may waste less life.
        """
        key = (group_type.number, chosen & group_type.lines)
        known = self._options.get(key)
        if known is None:
            found = [option for mode in group_type.modes for option in self._of_mode(group_type, mode, chosen)]
            found.sort(key=lambda option: (option.cost, not option.endless))
            self.steps_left -= len(found) // 4
            end = next(place for place, option in enumerate(found) if option.endless)
            full = [option for option in found if option.cost <= found[end].cost]
            known = self._options[key] = (found[: end + 1], full)
        return known

    def _of_mode(self, group_type: GroupType, mode: Mode, chosen: int) -> Iterator[Option]:
        several = []
        for part, (clean, doubtful) in enumerate(mode.masks):
            answers = self._answers(
                group_type.demands[part], group_type.splits[part], clean & chosen, doubtful & chosen
            )
            several.append([(rank, mask) for rank, mask in answers if mask or part or not mode.drills])
        for together in product(*several):
            ranks, masks = [rank for rank, _ in together], tuple(mask for _, mask in together)
            loads = tuple(
                (demand, mask) for demand, mask in zip(group_type.demands, masks, strict=True) if demand and mask
            )
            yield Option(
                cost=(ranks.count(2), ranks.count(1)),
                endless=all(mask & self.endless for _, mask in loads),
                masks=masks,
                loads=loads,
                diameter=mode.diameter,
            )

    def _answers(self, demand: int, split: bool, clean: int, doubtful: int) -> Iterator[tuple[int, int]]:
        """How one need can be served: (0 clean, 1 doubtful or 2 gap, lines). Ends with what cannot run out.

        A need that is not split takes all from one line, so each line that can run out is an answer of its
        own; those without end are alike and stand together.
        """
        for rank, mask in ((0, clean), (1, clean | doubtful)):
            if not (mask if rank == 0 else doubtful):
                continue
            if split or not demand:
                yield rank, mask
            else:
                for k in bits((mask if rank == 0 else doubtful) & ~self.endless):
                    yield rank, 1 << k
                if mask & self.endless:
                    yield rank, mask & self.endless
            if not demand or mask & self.endless:
                return
        yield 2, 0

    def floor(self, chosen: int) -> Cost:
        """The fewest gaps and doubtful lines that are possible if nothing ran out."""
        gaps = doubts = 0
        for group_type in self.types:
            cost = self.options(group_type, chosen)[0][0].cost
            gaps += cost[0] * len(group_type.members)
            doubts += cost[1] * len(group_type.members)
        return gaps, doubts

    def use(self, lines: int) -> Use:
        """What a set of lines walks to and takes."""
        used = [self.lines[k] for k in bits(lines)]
        return Use(
            frozenset((line.site, line.bin, line.walk) for line in used),
            tuple(order(line) for line in used),
            tuple(sorted(line.expires or date.max for line in used)),
        )

    def hand_out(self, choice: Choice) -> None:
        """Write into the plan what each need takes."""
        wants: list[tuple[int, int]] = []
        owners: list[int] = []
        for group, option in zip(self.groups, choice.options, strict=True):
            for part, (index, mask) in enumerate(zip(group, option.masks, strict=True)):
                if part:
                    drill = self.plan.needs[group[0]].diameter
                    drilled = drill if option.diameter is None else option.diameter
                    if drilled is not None:
                        self.plan.drilled[index] = drilled
                if mask:
                    owners.append(index)
                    wants.append((demand_of(self.plan.needs[index]), mask))
        given = pour(wants, self.rooms, self.endless)
        for index, (demand, mask), lines in zip(owners, wants, given or (), strict=True):
            amounts = {k: amount for k, amount in sorted(lines.items()) if amount}
            left = demand - sum(amounts.values())
            if left or not demand:
                first = mask & self.endless if left else mask
                amounts[next(bits(first))] = left
            for k, amount in amounts.items():
                self.plan.taken[index].append((self.numbers[k], amount))
                self.plan.spent[self.numbers[k]] += amount
