"""Needs against the shelf: match, gap or doubtful, line by line, with the reason and its numbers. PURE.

`judge` weighs one need against one stock line, whatever else the job takes. `match` decides for a whole job
at once, since units are shared: one unit may serve several steps and hole groups and its life is spent
once.

The best answer, in this order: fewest gaps; fewest doubtful lines; fewest stock lines; least life wasted
(what is left in the used units after the job, so the worn one that still suffices); first what expires
first (the last good days of the used lines in order, none last); least walking (walk numbers of the bins, each bin
once); the used tags in order.

Where an item has a factor for a parent material, its life counts in holes of that material, rounded down to whole
ones over all that the job takes of a unit; where a job cuts several materials, in holes of the one that takes most
(see `amounts.room_of`). So no unit is ever given more than it can do, and what is left is counted in those holes too.

What a need takes: a thing that is cut with gives `holes` of its life (a life that is not kept has no end),
a consumable gives `quantity`. A shared pack, a quantity of 0 and everything else takes nothing, but of a
batch at least one must be there. A need is served whole or is a gap. Several units serve one need only
where `split` says so; batches always may. A cutter that names `pilot_of` runs in the hole of the drill
taken for that need, so all drills taken for it are of one diameter. Where that need is left a gap, the
pilot is judged by the window and the cutter is doubtful.

How it is found. Needs that share candidates, or a pilot, form one knot; each knot is solved by itself:

1. Each need is clean, doubtful or a gap, and a drill that guides a pilot has a diameter. A set of such
   answers stands if the life suffices, which is a flow from needs to lines. Branch and bound over the
   answers gives the fewest gaps and doubtful lines with the whole shelf.
2. Sets of stock lines are tried by size, smallest first, until one gives the same gaps and doubtful lines.
   A set must hit the candidates of every need that is served, which cuts nearly all of them off. All sets
   of that size are kept that waste the least life.
3. Of what each knot has left to choose, the bins are joined over the whole job: least walking, then tags.

What always holds: no need is ever violated; and the stock is put in order first, so the order of its rows never
shows, and the same needs and stock give the same answer.

What holds only within the budget: each step has one of its own (`ANSWERS`, `SETS`, `WALKS`). Within them the answer
is the exact optimum, and more stock never raises the number of gaps, since what stands on a shelf still stands when
something is added to it. It takes dozens of interchangeable units of nearly used-up life in one knot to go beyond.
Then gaps and doubtful lines are the fewest that were found, proven only if they equal the lower bound of step 1, and
with more stock they may be more, since there is more to search; the set of lines is thinned one by one, so that none
of it can be spared, but a smaller one may exist; waste, walking and tags are not proven.

The rooms, from the bottom: `lines` (the values), `amounts` (what a need takes and a line has), `judging` (one need,
one line), `plan` (needs, shelf and who could serve whom), `flow` (does the life suffice), `knot` (what each group can
do), `search` (step 1), `smallest` (step 2), `walking` (step 3), `answers` (the lines, and why there is a gap).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, tzinfo

from inventory.kinds import StockLine
from repairs.matching.answers import NEAR_DIAMETER, NEAREST, Answers
from repairs.matching.judging import judge, judge_item
from repairs.matching.knot import Knot
from repairs.matching.lines import REFUSED, Judgement, Line, NearMiss, Take
from repairs.matching.plan import Plan, Shelf, Stock
from repairs.matching.search import ANSWERS
from repairs.matching.smallest import SETS, Smallest
from repairs.matching.walking import WALKS, least_walking
from repairs.methods.values import Need

__all__ = [
    "ANSWERS",
    "NEAREST",
    "NEAR_DIAMETER",
    "REFUSED",
    "SETS",
    "WALKS",
    "Judgement",
    "Line",
    "NearMiss",
    "Shelf",
    "Stock",
    "Take",
    "judge",
    "judge_item",
    "match",
]


def match(
    needs: Sequence[Need], stock: Sequence[StockLine] | Shelf, *, label: str = "", zone: tzinfo = UTC
) -> tuple[Line, ...]:
    """Decide for all needs of a job at once what is taken for each, in the order of the needs.

    The objective, what counts as served and what is guaranteed stand at the head of this package. `label` and
    `zone` as in `judge`. Whoever matches often against one stock gives a `Shelf`, which has both and keeps what it
    judged. Raises ValueError for two needs of one id, or a pilot whose drill has one itself.

    >>> from datetime import datetime
    >>> from inventory.kinds import Facts
    >>> from repairs.methods.values import Window
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need = Need("A.drill", "A", "drill", "drill", start, end, "", diameter=Window(14_376_000, 14_676_000),
    ...             holes=8, split=True)
    >>> drill = Facts(item=1, kind="drill", diameter=14_500_000, usable_length=120_000_000, life=60)
    >>> worn = StockLine("D-30", drill, "Main", "B4", unit=1, life_left=9)
    >>> fresh = StockLine("D-31", drill, "Main", "B4", unit=2, life_left=60)
    >>> [(line.status, [take.line.tag for take in line.takes]) for line in match([need], [fresh, worn])]
    [('match', ['D-30'])]
    >>> match([need], [])[0].reasons[0].code
    'none_owned'
    """
    plan = Plan(needs, stock if isinstance(stock, Shelf) else Shelf(Stock(stock), label, zone))
    knots = [Knot(plan, groups) for groups in plan.knots()]
    choices = [Smallest(knot).choices() for knot in knots]
    walks = least_walking([[choice.use for choice in several] for several in choices])
    for knot, several, walk in zip(knots, choices, walks, strict=True):
        knot.hand_out(several[walk])
    answers = Answers(plan)
    return tuple(answers.line(index) for index in range(len(needs)))
