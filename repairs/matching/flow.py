"""Whether the life and quantity in some lines suffice for some demands, as a flow. PURE.

A set of lines is a mask: bit k stands for the line in place k.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise


def bits(mask: int) -> Iterator[int]:
    """The places of the bits that are set in a mask, lowest first.

    >>> list(bits(0b1101))
    [0, 2, 3]
    """
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def pour(wants: Sequence[tuple[int, int]], rooms: Sequence[int | None], endless: int) -> list[dict[int, int]] | None:
    """Share the rooms of the lines among wants of (demand, lines), or None where that cannot be.

    A want that also has a line without end (`endless`) takes as much as it can of the others and is never short.
    A plain augmenting path: first all that must be served, then the rest, which never takes back what an
    earlier one was given in all, so that as much as possible is taken from the lines that run out.

    >>> pour([(3, 0b01), (4, 0b11)], [5, 2], 0)
    [{0: 3}, {0: 2, 1: 2}]
    >>> pour([(3, 0b01), (5, 0b11)], [5, 2], 0) is None
    True
    """
    given: list[dict[int, int]] = [{} for _ in wants]
    must = [not mask & endless for _, mask in wants]
    masks = [mask & ~endless for _, mask in wants]
    reached = 0
    for mask in masks:
        reached |= mask
    left_in = {k: rooms[k] or 0 for k in bits(reached)}
    for want in sorted(range(len(wants)), key=lambda want: not must[want]):
        left, lines = wants[want][0], list(bits(masks[want]))
        whole = min(((left_in[k], k) for k in lines if left_in[k] >= left), default=None)
        for k in [whole[1]] if whole else sorted(lines, key=lambda k: -left_in[k]):
            if amount := min(left, left_in[k]):
                given[want][k] = amount
                left_in[k] -= amount
                left -= amount
        while left:
            path = _path(want, masks, given, left_in)
            if path is None:
                break
            amount = min(left, left_in[path[0][1]], *(given[w][k] for (w, _), (_, k) in pairwise(path)))
            left_in[path[0][1]] -= amount
            for w, k in path:
                given[w][k] = given[w].get(k, 0) + amount
            for (w, _), (_, k) in pairwise(path):
                given[w][k] -= amount
            left -= amount
        if left and must[want]:
            return None
    return given


def _path(
    want: int, masks: list[int], given: list[dict[int, int]], left_in: dict[int, int]
) -> list[tuple[int, int]] | None:
    """From a line with room back to the want: each (want, line) takes more and gives up the next line."""
    via: dict[int, int] = {want: -1}  # want -> the line it would give up
    taker: dict[int, int] = {}  # line -> the want that would take it
    queue = [want]
    for w in queue:
        for k in bits(masks[w]):
            if k in taker:
                continue
            taker[k] = w
            if left_in[k]:
                path = [(w, k)]
                while via[w] >= 0:
                    k = via[w]
                    w = taker[k]
                    path.append((w, k))
                return path
            for other, taken in enumerate(given):
                if other not in via and taken.get(k):
                    via[other] = k
                    queue.append(other)
    return None
