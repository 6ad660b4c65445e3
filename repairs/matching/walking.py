"""Of equally good choices, the one that walks least over the whole job. PURE."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

WALKS = 20_000  # steps of the search for the least walking in one cluster of knots

Bin = tuple[str, str, int]  # site, bin, walk number


@dataclass(frozen=True, slots=True)
class Use:
    """What a choice of stock lines walks to and takes, and the last good days of that in order (`date.max`: none)."""

    bins: frozenset[Bin]
    tags: tuple[tuple[Any, ...], ...]
    expiries: tuple[date, ...] = ()


def least_walking(knots: Sequence[Sequence[Use]]) -> list[int]:
    """Which use of each knot walks least over the whole job, each bin once; then the tags in order.

    All uses of one knot are of one size, so the joint row of tags is least where each knot's own is.

    >>> near, far = ("Main", "A1", 1), ("Main", "Z9", 9)
    >>> tap_near, tap_far = Use(frozenset({near}), (("T-2",),)), Use(frozenset({far}), (("T-1",),))
    >>> least_walking([[tap_far, tap_near]]), least_walking([[tap_far, tap_near], [Use(frozenset({far}), (("D-1",),))]])
    ([1], [0, 0])
    """
    free: set[Bin] = set()  # bins that are walked to in any case
    left = [list(range(len(uses))) for uses in knots]
    settled: set[int] = set()
    changed = True
    while changed:
        changed = False
        for number, uses in enumerate(knots):
            if number in settled:
                continue
            left[number] = _undominated(uses, left[number], free)
            if len(left[number]) == 1:
                free |= uses[left[number][0]].bins
                settled.add(number)
                changed = True
    choice = [several[0] for several in left]
    open_ones = [number for number in range(len(knots)) if number not in settled]
    for cluster in _clusters(knots, left, open_ones, free):
        choice_of = _walk(knots, left, cluster, free)
        for number in cluster:
            choice[number] = choice_of[number]
    return choice


def _undominated(uses: Sequence[Use], among: list[int], free: set[Bin]) -> list[int]:
    """Leave out a use where another goes to none but its bins and comes first by tags."""
    kept: list[int] = []
    for number in sorted(among, key=lambda number: uses[number].tags):
        bins = uses[number].bins - free
        if not any(uses[other].bins - free <= bins for other in kept):
            kept.append(number)
    return kept


def _clusters(
    knots: Sequence[Sequence[Use]],
    left: list[list[int]],
    numbers: list[int],
    free: set[Bin],
) -> Iterator[list[int]]:
    """Knots that can go to the same bin belong together."""
    bins = {number: {b for use in left[number] for b in knots[number][use].bins} - free for number in numbers}
    waiting = list(numbers)
    while waiting:
        cluster = [waiting.pop(0)]
        for number in cluster:
            joined = [other for other in waiting if bins[other] & bins[number]]
            cluster += joined
            waiting = [other for other in waiting if other not in joined]
        yield sorted(cluster)


def _walk(
    knots: Sequence[Sequence[Use]],
    left: list[list[int]],
    cluster: list[int],
    free: set[Bin],
) -> dict[int, int]:
    """The least walk of one cluster by branch and bound; within `WALKS` steps the exact one."""
    best: tuple[int, list[tuple[Any, ...]]] | None = None
    best_choice: dict[int, int] = {}
    choice: dict[int, int] = {}
    steps = 0

    def dive(place: int, walked: int, seen: frozenset[Bin]) -> None:
        nonlocal best, best_choice, steps
        steps += 1
        if best and (walked > best[0] or steps > WALKS):
            return
        if place == len(cluster):
            tags = sorted(tag for number in cluster for tag in knots[number][choice[number]].tags)
            if best is None or (walked, tags) < best:
                best, best_choice = (walked, tags), dict(choice)
            return
        number = cluster[place]
        ways = []
        for use in left[number]:
            new = knots[number][use].bins - seen
            ways.append((sum(walk for *_, walk in new), knots[number][use].tags, use))
        for more, _, use in sorted(ways):
            choice[number] = use
            dive(place + 1, walked + more, seen | knots[number][use].bins)

    dive(0, 0, frozenset(free))
    return best_choice
