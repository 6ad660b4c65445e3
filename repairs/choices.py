"""Choices: the methods of a hole group side by side, with what a foreman decides by.

Will it hold and by how much, is the kit there, from which day on can it start, what does it cost to buy what is short,
and how much metal goes for good. Each method is looked at by itself, with the size that it would take; what the
job's other groups take from the shelf meanwhile is not counted. For the sheet of one job, since lists ask for less.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.conf import settings

from inventory.errors import Reason
from repairs import jobs
from repairs.buying import Purchase, ShoppingList, WholeSet
from repairs.jobs import GroupPlan, JobPlan, MethodReadiness, SizePlan
from repairs.matching import Line
from repairs.methods.values import DOUBTFUL, FITS, GAP, MATCH, NOT_CHECKED, RULED_OUT, Check, Need, Option
from repairs.strength import HOLDS, SIGNS, Sum

# What the first day hangs on: the shelf as it is, something bought, something that comes back, or nobody knows.
AT_HAND, BOUGHT, RETURNS, UNKNOWN = "at_hand", "bought", "returns", "not_known"

_AGAINST = {"ultimate": "what_breaks_the_bolt", "torque": "it_must_under_its_torque"}


@dataclass(frozen=True, slots=True)
class Money:
    """What it costs to buy what is short, in one currency: goods and carriage in minor units, each supplier's once."""

    currency: str
    goods: int
    carriage: int

    @property
    def total(self) -> int:
        """Goods and carriage."""
        return self.goods + self.carriage


@dataclass(frozen=True, slots=True)
class Start:
    """The first day on which a method can start, None where that is not known; what it hangs on, and which need."""

    day: date | None
    by: str = AT_HAND
    need: Need | None = None


@dataclass(frozen=True, slots=True)
class Compared:
    """One method beside the others. `option` is the size that it would take, None where it is ruled out.

    `verdict` is "holds", "signed" (somebody answers for it by name), "signs" (an engineer would), "not_checked" or
    "ruled_out"; `why` says by how much, which limit or what is missing, worst first, `remedies` what would change it.
    `margin` is the share by which the sum that governs holds or falls short, None where not all were checked. The
    counts are of the kit, `unsold` how many gaps nobody sells. A method that takes no kit from here has neither a
    start nor a cost that is known.
    """

    method: str
    option: Option | None
    planned: bool
    verdict: str
    margin: float | None = None
    why: tuple[Reason, ...] = ()
    remedies: tuple[Reason, ...] = ()
    matches: int = 0
    gaps: int = 0
    doubtful: int = 0
    start: Start = Start(None, UNKNOWN)
    cost: tuple[Money, ...] = ()
    unsold: int = 0

    @property
    def asks_for_kit(self) -> bool:
        """Whether it needs anything of the shelf."""
        return bool(self.matches or self.gaps or self.doubtful)

    @property
    def complete(self) -> bool:
        """Whether all of its kit is there without a doubt."""
        return self.asks_for_kit and not self.gaps and not self.doubtful

    @property
    def metal_away(self) -> Decimal | None:
        """What is cut out of the part, mm3 a hole; None where it is not known."""
        return self.option.metal_away if self.option else None

    @property
    def by_choice(self) -> bool:
        """Whether it is never planned by itself."""
        return self.option is not None and self.option.by_choice


Comparison = dict[str, tuple[Compared, ...]]


def compare(plan: JobPlan, *, as_of: datetime, currency: str = "EUR") -> Comparison:
    """The methods of every group of a plan, by the group's letter, in the shop's order.

    The plan was made with its methods side by side (`jobs.plan_job`). What is short is bought from whom it is
    cheapest in time, ordered on the day of `as_of`; `currency` is the shop's own. As many queries as one shopping
    list takes, however many groups and methods there are.
    """
    told = [
        (group, answer, answer.sizes[0] if answer.sizes else None) for group in plan.groups for answer in group.methods
    ]
    alone = [_alone(plan, group, size) for group, _, size in told if size is not None]
    baskets = iter(jobs.baskets(alone, as_of=as_of, currency=currency))
    found: dict[str, list[Compared]] = {group.group.code: [] for group in plan.groups}
    for group, answer, size in told:
        one = _ruled_out(answer) if size is None else _standing(group, size, next(baskets), currency)
        found[group.group.code].append(one)
    return {code: tuple(each) for code, each in found.items()}


def _alone(plan: JobPlan, group: GroupPlan, size: SizePlan) -> JobPlan:
    """The job as if this group with this size were all of it, on the group's own days."""
    only = replace(group, chosen=size.option, lines=size.lines)
    return replace(plan, start=group.group.start, end=group.group.end, groups=(only,))


def _ruled_out(answer: MethodReadiness) -> Compared:
    plan = answer.plan
    if plan.chosen is not None:
        raise ValueError("a plan without its methods side by side has nothing to compare")
    return Compared(plan.method, None, False, RULED_OUT, why=plan.reasons, remedies=plan.remedies)


def _standing(group: GroupPlan, size: SizePlan, basket: ShoppingList, currency: str) -> Compared:
    option = size.option
    counts = Counter(line.status for line in size.lines)
    verdict, why = judged(option)
    short = [line for line in size.lines if line.status == GAP]
    bought, sets = _bought(basket, currency)
    return Compared(
        method=option.method,
        option=option,
        planned=option is group.chosen,
        verdict=verdict,
        margin=option.strength.margin if option.strength and verdict != NOT_CHECKED else None,
        why=why,
        remedies=_remedies(option),
        matches=counts[MATCH],
        gaps=counts[GAP],
        doubtful=counts[DOUBTFUL],
        start=_start(group.group.start, short, _arrivals(basket, bought, sets)) if size.lines else Start(None, UNKNOWN),
        cost=_cost((*bought.values(), *sets), currency),
        unsold=len(basket.rows) - len(bought.keys() | {at for each in sets for at in each.rows}),
    )


def judged(option: Option) -> tuple[str, tuple[Reason, ...]]:
    """Whether an option holds, and why, the worst first: by how much, which limit, or what was not entered."""
    sums = {each.reason: each for each in option.strength.sums} if option.strength else {}
    wanted = {HOLDS: FITS, SIGNS: DOUBTFUL}.get(option.verdict, option.verdict)
    telling = [check.reason for check in option.checks if check.status == wanted]
    loads = sorted((sums[reason] for reason in telling if reason in sums), key=lambda each: each.margin or 0)
    room = [reason for reason in telling if reason not in sums]
    if option.verdict == HOLDS:
        room = [] if loads else room[:1]
    return option.verdict, (*map(_briefly, loads), *room)


def _briefly(of: Sum) -> Reason:
    """A sum in as few words as a table has room for."""
    if of.margin is None:
        return of.reason
    percent = abs(of.margin) * 100
    return Reason(
        "carries_more" if of.margin >= 0 else "carries_less",
        what=of.what,
        margin=f"{percent:.0f}" if percent >= 10 else f"{percent:.1f}",
        against=_AGAINST[of.against],
    )


def _remedies(option: Option) -> tuple[Reason, ...]:
    return tuple(dict.fromkeys(check.remedy for check in option.wants_a_name if check.remedy is not None))


# What is short: when it can be there, and what it costs


def _bought(basket: ShoppingList, currency: str) -> tuple[dict[int, Purchase], tuple[WholeSet, ...]]:
    """What is bought gap by gap, and the sets for what is sold in no other way; nothing is bought twice."""
    alone = {at: row.purchase for at, row in enumerate(basket.rows) if row.purchase is not None}
    open_rows = set(range(len(basket.rows))) - alone.keys()
    sets: list[WholeSet] = []
    while serving := [each for each in basket.sets if open_rows & set(each.rows)]:
        best = min(serving, key=lambda each: (each.late, each.offer.currency != currency, each.total, each.offer.offer))
        sets.append(best)
        open_rows -= set(best.rows)
    inside = {at for each in sets for at in each.rows}
    return {at: purchase for at, purchase in alone.items() if at not in inside}, tuple(sets)


def _arrivals(basket: ShoppingList, bought: dict[int, Purchase], sets: Iterable[WholeSet]) -> dict[str, date]:
    """The day on which each need's purchase is there, by the need's id."""
    days = {at: purchase.arrives for at, purchase in bought.items()}
    days |= {at: each.arrives for each in sets for at in each.rows}
    return {demand.need.id: days[at] for at, row in enumerate(basket.rows) if at in days for demand in row.gap.demands}


def _start(planned: datetime, short: Sequence[Line], arrivals: dict[str, date]) -> Start:
    """The planned day, or the first on which the last of what is short is there: bought, or come back."""
    latest = Start(planned.astimezone(settings.SHOP_ZONE).date())
    for line in short:
        ways = [(day, by) for day, by in ((arrivals.get(line.need.id), BOUGHT), (_back(line), RETURNS)) if day]
        if not ways:
            return Start(None, UNKNOWN, line.need)
        day, by = min(ways)
        if latest.day is None or day > latest.day:
            latest = Start(day, by, line.need)
    return latest


def _back(line: Line) -> date | None:
    """The first day on which something that would do is back or free again, as far as anybody has entered."""
    for reason in line.reasons:
        if reason.code == "none_at_hand" and reason["until"]:
            until: date = reason["until"]
            return until + timedelta(days=1)  # it is away to the end of that day
        if reason.code == "all_held":
            free: datetime = reason["first_free"]
            day = free.astimezone(settings.SHOP_ZONE)
            return day.date() if day.time() == day.min.time() else day.date() + timedelta(days=1)
    return None


def _cost(bought: Iterable[Purchase | WholeSet], currency: str) -> tuple[Money, ...]:
    goods: Counter[str] = Counter()
    carriage: dict[str, dict[str, int]] = {}
    for each in bought:
        code = each.offer.currency
        goods[code] += each.goods
        carriage.setdefault(code, {})[each.offer.supplier] = each.offer.carriage
    codes = sorted(goods, key=lambda code: (code != currency, code))
    return tuple(Money(code, goods[code], sum(carriage[code].values())) for code in codes)


def signed_for(option: Option) -> tuple[Check, ...]:
    """What somebody answers for by name when this option is accepted, what is ruled out first."""
    return tuple(sorted(option.wants_a_name, key=lambda check: check.status != RULED_OUT))
