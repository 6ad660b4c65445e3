"""When to order a consumable again and how much, from what was used and how long orders took; PURE.

The order point is compared with the *position*: what is on hand and not held, and what is on order. It is the least
whole number of pieces that lasts, until what is ordered today has come, in at least the wanted share of cases (the
service level). Use over the lead time is taken as normal where its mean is 10 pieces or more, with
σ = √(L·s_d² + D²·s_L²), and as Poisson below that, where the normal distribution promises what it does not hold.
Whatever is reckoned is rounded up and never down: a textbook that rounds 23.26 to 23 is short more often than it says.

A mean of a few days is no mean: below the least days looked at and the least days on which something was used, the
answer is "unknown: too little history" (both common practice, no source, the shop's to change).

Counts are whole pieces, times whole days of the shop's calendar, money minor units; means are exact fractions, and
only what is irrational (a root, a quantile) is a float.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from statistics import NormalDist
from typing import Any

from inventory.errors import Reason

FAST_FROM = 10  # mean use over the lead time from which the normal distribution stands in for Poisson
DAYS_A_YEAR = 365


@dataclass(frozen=True, slots=True)
class Spread:
    """A mean and, where there were two values or more, their variance (n − 1); both exact. `count` values."""

    mean: Fraction
    variance: Fraction | None
    count: int

    @property
    def sd(self) -> float | None:
        """The standard deviation; None where it is not known."""
        return None if self.variance is None else math.sqrt(self.variance)


@dataclass(frozen=True, slots=True)
class Move:
    """One line of the ledger, of one item: the day, the act, the job's label and the change of what lies there."""

    day: date
    act: str
    label: str
    change: int


@dataclass(frozen=True, slots=True)
class Tier:
    """From this many pieces on, a piece costs `price` minor units: a break of price, itself included."""

    least: int
    price: Fraction


@dataclass(frozen=True, slots=True)
class Lot:
    """How much to order at once: pieces (not rounded), the price of one, and what a year of that costs."""

    pieces: float
    price: Fraction
    cost: float


@dataclass(frozen=True, slots=True)
class Terms:
    """What the shop has settled: the share of cases to last in, the least history, what an order and keeping cost.

    `order_cost` in minor units an order, `hold_rate` the share of its price that keeping a piece for a year costs.
    """

    service: Fraction
    least_days: int
    least_uses: int
    order_cost: int
    hold_rate: Fraction


@dataclass(frozen=True, slots=True)
class Proposal:
    """What would be reasonable, with its arithmetic line by line; all None where the history is too short for it."""

    minimum: int | None
    order_point: int | None
    maximum: int | None
    lines: tuple[Reason, ...]

    @property
    def known(self) -> bool:
        return self.order_point is not None


# --- what was used and how long it took --------------------------------------------------------------------

TAKEN = ("issued", "used", "lost", "scrapped")  # what a job takes; scrapping counts where a job did it


def use_by_day(moves: Iterable[Move]) -> dict[date, int]:
    """Pieces used a day: issued, used, and what a job lost or spoilt, less what came back.

    What comes back is taken off the day on which that job had it last, for it was not used on that day. What was
    scrapped for no job (over age), counted or moved is no use.

    >>> moves = [Move(date(2026, 3, 2), "issued", "J-1", -10), Move(date(2026, 3, 5), "given_back", "J-1", 4)]
    >>> use_by_day(moves)
    {datetime.date(2026, 3, 2): 6}
    """
    out: dict[str, list[tuple[date, int]]] = defaultdict(list)
    used: dict[date, int] = defaultdict(int)
    for move in moves:
        if move.act == "given_back":
            left = move.change
            while left > 0 and out[move.label]:
                day, pieces = out[move.label].pop()
                back = min(left, pieces)
                left, used[day] = left - back, used[day] - back
                if back < pieces:
                    out[move.label].append((day, pieces - back))
        elif move.act in TAKEN and (move.act in ("issued", "used") or move.label) and move.change < 0:
            used[move.day] -= move.change
            out[move.label].append((move.day, -move.change))
    return {day: pieces for day, pieces in sorted(used.items()) if pieces}


def spread(values: Sequence[int]) -> Spread:
    """Mean and variance (n − 1) of whole numbers. Raises ValueError for none at all.

    >>> spread([2, 4, 6])
    Spread(mean=Fraction(4, 1), variance=Fraction(4, 1), count=3)
    """
    if not values:
        raise ValueError("no values")
    count = len(values)
    mean = Fraction(sum(values), count)
    variance = sum(((value - mean) ** 2 for value in values), Fraction(0)) / (count - 1) if count > 1 else None
    return Spread(mean, variance, count)


def daily(used: dict[date, int], *, first: date, last: date) -> Spread:
    """Use a day from `first` to `last`, both taken in, the days without any counted as nought.

    >>> daily({date(2026, 3, 2): 6}, first=date(2026, 3, 1), last=date(2026, 3, 3)).mean
    Fraction(2, 1)
    """
    days = (last - first).days + 1
    return spread([used.get(first + timedelta(days=at), 0) for at in range(days)])


# --- the order point ---------------------------------------------------------------------------------------


def over_lead_time(use: Spread, lead: Spread) -> tuple[Fraction, float]:
    """Mean and standard deviation of the use over a lead time: D·L, and √(L·s_d² + D²·s_L²).

    What is not known to vary is taken as not varying; who shows the result says so.

    >>> over_lead_time(Spread(Fraction(100), Fraction(100), 9), Spread(Fraction(2), Fraction(0), 9))
    (Fraction(200, 1), 14.142135623730951)
    """
    variance = lead.mean * (use.variance or 0) + use.mean**2 * (lead.variance or 0)
    return use.mean * lead.mean, math.sqrt(variance)


def deviations(service: Fraction | float) -> float:
    """By how many standard deviations the order point stands above the mean: z. Raises ValueError outside 0…1.

    >>> round(deviations(0.95), 4)
    1.6449
    """
    if not 0 < service < 1:
        raise ValueError("a service level lies between 0 and 1")
    return NormalDist().inv_cdf(float(service))


def normal_point(mean: Fraction | float, sd: float, service: Fraction | float) -> float:
    """The level that a normal use over the lead time stays within in this share of cases: mean + z·σ, not rounded.

    >>> round(normal_point(200, 14.142136, 0.95), 3)
    223.262
    """
    return float(mean) + deviations(service) * sd


def normal_order_point(mean: Fraction, sd: float, service: Fraction | float) -> int:
    """The same in whole pieces, rounded up, and not below nought.

    >>> normal_order_point(Fraction(200), 14.142136, 0.95)
    224
    """
    if sd == 0:
        return max(0, math.ceil(mean))
    return max(0, math.ceil(normal_point(mean, sd, service)))


def normal_reached(mean: Fraction | float, sd: float, pieces: int) -> float:
    """In which share of cases so many pieces last where the use is normal.

    >>> round(normal_reached(200, 14.142136, 223), 4)
    0.9481
    """
    if sd == 0:
        return float(pieces >= mean)
    return NormalDist(float(mean), sd).cdf(pieces)


def poisson_reached(means: Sequence[Fraction | float], pieces: int) -> float:
    """In which share of cases so many pieces last: P(use ≤ pieces), averaged over the mean uses of equal weight.

    Each recorded lead time gives one mean; where it never varied, or nothing is known of it, there is one.

    >>> round(poisson_reached([5], 9), 5)
    0.96817
    """
    return math.fsum(_within(float(mean), pieces) for mean in means) / len(means)


def _within(mean: float, pieces: int) -> float:
    """P(X ≤ pieces) for Poisson of this mean; by logarithms, so that a large mean does not vanish."""
    if pieces < 0:
        return 0.0
    if mean == 0:
        return 1.0
    terms = (math.exp(count * math.log(mean) - mean - math.lgamma(count + 1)) for count in range(pieces + 1))
    return min(1.0, math.fsum(terms))


def poisson_order_point(means: Sequence[Fraction | float], service: Fraction | float) -> int:
    """The fewest pieces that last in this share of cases where the use is Poisson. Raises ValueError outside 0…1.

    >>> [poisson_order_point([5], service) for service in (0.9, 0.95, 0.99)]
    [8, 9, 11]
    """
    if not 0 < service < 1:
        raise ValueError("a service level lies between 0 and 1")
    low, high = 0, 1
    while poisson_reached(means, high) < service:
        low, high = high + 1, high * 2
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if poisson_reached(means, middle) >= service else (middle + 1, high)
    return low


def lasting(mean: Fraction | float, order_point: int, lot: int) -> float:
    """In which share of the time something is left, where lots of so many are ordered at this order point.

    The position then takes every value from one above the order point to a lot above it alike: the share is the mean
    of P(use ≤ position) over them (Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., 5.5: the cost of an
    (r, Q) policy is least at the smallest r for which this reaches p/(p + h)).

    >>> [round(lasting(3, order_point, 5), 3) for order_point in (2, 3)]
    [0.867, 0.936]
    """
    return math.fsum(_within(float(mean), order_point + above) for above in range(1, lot + 1)) / lot


# --- how much at once --------------------------------------------------------------------------------------


def order_quantity(demand: Fraction | float, order_cost: Fraction | float, hold: Fraction | float) -> float:
    """The cheapest quantity to order at once, √(2·K·D/h), not rounded; demand and holding of the same time.

    >>> order_quantity(100, 100, Fraction(2, 100))
    1000.0
    """
    return math.sqrt(2 * order_cost * demand / hold)


def yearly_cost(
    pieces: Fraction | float, demand: Fraction | float, order_cost: Fraction | float, hold: Fraction | float
) -> float:
    """What ordering and keeping cost in that time, without the goods: K·D/q + h·q/2.

    >>> yearly_cost(1000, 100, 100, Fraction(2, 100))
    20.0
    """
    return float(order_cost) * float(demand) / float(pieces) + float(hold) * float(pieces) / 2


def cheapest_lot(
    demand: Fraction | float,
    order_cost: Fraction | float,
    tiers: Sequence[Tier],
    *,
    hold_rate: Fraction | float = 0,
    hold_each: Fraction | float = 0,
    pack: int = 1,
    most: float = math.inf,
) -> Lot:
    """The quantity whose goods, orders and keeping cost least where more pieces are cheaper (all-units breaks).

    A break counts from its own quantity on. Keeping a piece costs `hold_each` and `hold_rate` of its price. With
    `pack` above nought whole packs are ordered; 0 leaves the quantity as it is reckoned. Never more than `most` pieces
    at once, but one pack, since nobody sells less.

    >>> tiers = [Tier(1, Fraction(500)), Tier(200, Fraction(475)), Tier(500, Fraction(450))]
    >>> cheapest_lot(1000, 200, tiers, hold_rate=Fraction(1, 5), pack=0)
    Lot(pieces=500.0, price=Fraction(450, 1), cost=472900.0)
    >>> cheapest_lot(1000, 200, tiers, hold_rate=Fraction(1, 5), pack=10, most=444).pieces
    200.0
    """
    found: list[Lot] = []
    limit = max(most, pack or tiers[0].least)
    for at, tier in enumerate(tiers):
        hold = hold_each + hold_rate * tier.price
        top = min(limit, tiers[at + 1].least - (pack or 0) if at + 1 < len(tiers) else math.inf)
        best = order_quantity(demand, order_cost, hold) if hold else float(demand)
        wanted = [min(max(best, tier.least), top)]
        if pack:
            whole = wanted[0] / pack
            wanted = [number * pack for number in (math.floor(whole), math.ceil(whole))]
        for pieces in wanted:
            if tier.least <= pieces <= top and pieces > 0:
                cost = float(demand) * float(tier.price) + yearly_cost(pieces, demand, order_cost, hold)
                found.append(Lot(float(pieces), tier.price, cost))
    return min(found, key=lambda lot: (lot.cost, lot.pieces))


# --- where things stand ------------------------------------------------------------------------------------


def position(*, on_hand: int, held: int, on_order: int) -> int:
    """What the order point is compared with: free on the shelf, and on order. May be below nought.

    >>> position(on_hand=200, held=0, on_order=1000)
    1200
    """
    return on_hand - held + on_order


def wanted(*, position: int, order_point: int, maximum: int) -> int:
    """How many pieces bring an item up to its maximum; 0 while it stands above its order point.

    >>> wanted(position=6, order_point=6, maximum=30), wanted(position=7, order_point=6, maximum=30)
    (24, 0)
    """
    return max(0, maximum - position) if position <= order_point else 0


# --- the proposal ------------------------------------------------------------------------------------------


def propose(
    used: dict[date, int],
    *,
    first: date,
    last: date,
    leads: Sequence[int],
    offered: int | None,
    terms: Terms,
    tiers: Sequence[Tier] = (),
    pack: int = 1,
    currency: str = "",
    shelf_days: int | None = None,
    perishable: bool = False,
) -> Proposal:
    """Minimum, order point and maximum for one item, with the arithmetic line by line.

    `used` are pieces by day, looked at from `first` to `last`; `leads` the days that orders of it took, `offered` the
    days that the offer names where there were none; `tiers` the prices of a piece, `pack` the pieces of a pack.
    Minimum is what is there to be safe, order point less mean use; maximum the order point and the cheapest lot, or
    one pack where nobody offers it. The maximum is never more than is used in a year, nor in `shelf_days`, the days
    for which it keeps from its delivery on, None where that is not known; where the order point and one pack are more
    already, that is told. A `perishable` item of which it is not known is told too.

    >>> terms = Terms(Fraction(95, 100), 90, 5, 1500, Fraction(20, 100))
    >>> propose({}, first=date(2026, 1, 1), last=date(2026, 1, 9), leads=[], offered=4, terms=terms).lines[0].code
    'history_too_short'
    """
    days, uses = (last - first).days + 1, sum(pieces > 0 for pieces in used.values())
    if days < terms.least_days or uses < terms.least_uses:
        short = Reason(
            "history_too_short",
            days=max(0, days), least_days=terms.least_days, uses=uses, least_uses=terms.least_uses,
        )  # fmt: skip
        return Proposal(None, None, None, (short,))
    use = daily(used, first=first, last=last)
    total = sum(used.values())
    lines = [Reason("use_a_day", pieces=total, days=days, mean=_shown(use.mean), sd=_shown(use.sd or 0.0))]
    if leads:
        lead = spread(leads)
        lines.append(
            Reason("lead_recorded", orders=len(leads), mean=_shown(lead.mean), sd=_shown(lead.sd))
            if lead.sd is not None
            else Reason("lead_of_one_order", mean=_shown(lead.mean))
        )
    elif offered is not None:
        lead = Spread(Fraction(offered), None, 0)
        lines.append(Reason("lead_offered", days=offered))
    else:
        return Proposal(None, None, None, (*lines, Reason("lead_unknown")))
    mean, sd = over_lead_time(use, lead)
    service = _shown(terms.service * 100)
    normal = normal_order_point(mean, sd, terms.service)
    over = {"daily": _shown(use.mean), "lead": _shown(lead.mean), "mean": _shown(mean)}
    if mean >= FAST_FROM:
        point = normal
        lines.append(Reason("use_over_lead", **over))
        lines.append(
            Reason(
                "sd_over_lead",
                lead=over["lead"], daily_sd=_shown(use.sd or 0.0), daily=over["daily"],
                lead_sd=_shown(lead.sd or 0.0), sd=_shown(sd),
            )
        )  # fmt: skip
        exact = normal_point(mean, sd, terms.service)
        z = deviations(terms.service)
        lines.append(
            Reason("normal_point", service=service, z=_shown(z), mean=over["mean"], sd=_shown(sd),
                   exact=_shown(exact), point=point)
        )  # fmt: skip
    else:
        means = [use.mean * each for each in leads] or [mean]
        point = poisson_order_point(means, terms.service)
        lines.append(Reason("use_over_lead", **over))
        lines.append(
            Reason(
                "poisson_point",
                least=FAST_FROM, service=service, point=point, lead_times=len(leads),
                reached=_shown(100 * poisson_reached(means, point)),
                before=_shown(100 * poisson_reached(means, point - 1)), less=point - 1,
            )
        )  # fmt: skip
        if (use.variance or 0) > use.mean and normal > point:
            # Poisson counts piece by piece; a job takes eight at once, and then it promises too much.
            lines.append(Reason("use_in_lumps", sd=_shown(use.sd or 0.0), poisson=point, point=normal))
            point = normal
    least = max(0, math.ceil(point - mean))
    lines.append(Reason("safety_stock", point=point, mean=over["mean"], least=least))
    keeps = DAYS_A_YEAR if shelf_days is None else min(shelf_days, DAYS_A_YEAR)
    room = math.floor(use.mean * keeps) - point
    if tiers:
        demand = use.mean * DAYS_A_YEAR
        reckoned: Any = {"hold_rate": terms.hold_rate, "pack": pack}
        free = cheapest_lot(demand, terms.order_cost, tiers, **reckoned)
        lot = cheapest_lot(demand, terms.order_cost, tiers, most=room, **reckoned)
        pieces = int(lot.pieces)
        lines.append(
            Reason(
                "cheapest_lot",
                a_year=_shown(demand), order_minor=terms.order_cost, rate=_shown(terms.hold_rate * 100),
                each_minor=round(free.price), pieces=int(free.pieces), packs=int(free.pieces) // pack,
                cost_minor=round(free.cost), currency=currency,
            )
        )  # fmt: skip
        if pieces < free.pieces:
            lines.append(
                Reason(
                    "lot_within_a_year" if keeps == DAYS_A_YEAR else "lot_within_shelf_life",
                    days=keeps, use=math.floor(use.mean * keeps), maximum=point + int(free.pieces), pieces=pieces,
                    each_minor=round(lot.price), currency=currency,
                )
            )  # fmt: skip
    else:
        pieces = max(1, pack)
        lines.append(Reason("lot_not_known", pieces=pieces))
    maximum = point + pieces
    lines.append(Reason("maximum_sum", point=point, pieces=pieces, maximum=maximum))
    if pieces > room:
        lines.append(
            Reason(
                "maximum_over_a_year" if keeps == DAYS_A_YEAR else "maximum_over_shelf_life",
                days=keeps, maximum=maximum, lasts=math.ceil(maximum / use.mean),
            )
        )  # fmt: skip
    if perishable and shelf_days is None:
        lines.append(Reason("shelf_life_unknown"))
    return Proposal(least, point, maximum, tuple(lines))


def _shown(number: Fraction | float | None) -> str:
    """A number as the arithmetic shows it: four figures that count, and no more decimals than that.

    >>> _shown(Fraction(1, 3)), _shown(223.2617), _shown(Fraction(12))
    ('0.3333', '223.3', '12')
    """
    value = float(number or 0)
    if value == int(value):
        return str(int(value))
    places = max(0, 3 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
