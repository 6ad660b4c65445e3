"""What to buy for what is missing: which item, how many packs, from whom, and whether it still comes in time. PURE.

A gap is what jobs are short of and any of the same items would meet; each gap is decided by itself. Of the
offers that sell an item alone, packs as many as needed: those that come in time before those that are late, the
least late first; what matches before what somebody must sign for; then the lowest price of goods and carriage, as
if that were all that is ordered; then the fewest packs, the earliest, the supplier's name, the offer. Where more
packs cost less because of a price break, more are bought. A drill and the seat cutter that runs in its hole are
chosen together. A gap of several jobs is bought at once and in time for the soonest. What joins the gaps of all jobs
in one cheapest basket is another calculation.

Days are whole days of the shop's calendar and lead times count every day, Sundays too. The latest order date is
the first day of the job less the lead time; what comes on that very day counts as in time and is said to be tight.
Money is in whole minor units and never changed from one currency into another: the shop's own comes first,
and the best in each other one is shown beside it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from inventory.errors import Reason
from inventory.kinds import KINDS, Facts, OfferFacts
from repairs.methods.values import DOUBTFUL, MATCH, Need


@dataclass(frozen=True, slots=True)
class Choice:
    """An item that would meet a gap when it comes new: without doubt ("match"), or "doubtful" and why.

    `goes_with`: of a seat cutter whose drill is missing too, the drills (item ids) that its pilot runs under.
    """

    facts: Facts
    number: str = ""
    status: str = MATCH
    reasons: tuple[Reason, ...] = ()
    goes_with: frozenset[int] | None = None


@dataclass(frozen=True, slots=True)
class Demand:
    """What one need of a job is short of: `amount` holes of life or pieces (0: its use), `day` the job's first day.

    `split`: several units may share it. `left` is what the job still has of consumables, and `why` says
    what the gap comes from. `drill` is the need in the same job whose missing drill guides this cutter.
    """

    job: str
    need: Need
    day: date
    amount: int = 0
    split: bool = False
    left: int = 0
    why: tuple[Reason, ...] = ()
    drill: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """Demands that the same items would meet; `drill` is the number of the gap whose drill guides this cutter."""

    demands: tuple[Demand, ...]
    choices: tuple[Choice, ...]
    drill: int | None = None

    @property
    def day(self) -> date:
        """The first day of the soonest job."""
        return min(demand.day for demand in self.demands)

    @property
    def jobs(self) -> tuple[str, ...]:
        """The jobs that are short of it, the soonest first."""
        return tuple(dict.fromkeys(demand.job for demand in sorted(self.demands, key=_by_start)))


@dataclass(frozen=True, slots=True)
class Purchase:
    """So many packs of one offer, bought today. Money in minor units of the offer's currency.

    `goods` is the price of all packs, after breaks; `each` of one; carriage is the supplier's, for a whole
    order. `latest` is the last day on which ordering is in time, `late` by how many days it comes too late.
    """

    offer: OfferFacts
    choice: Choice
    pieces: int
    packs: int
    goods: int
    arrives: date
    latest: date
    late: int

    @property
    def each(self) -> int:
        """The price of one pack at this number of packs."""
        return pack_price(self.offer, self.packs)

    @property
    def total(self) -> int:
        """Goods and carriage, as if this were all that is ordered."""
        return self.goods + self.offer.carriage


@dataclass(frozen=True, slots=True)
class Row:
    """A gap and what is bought for it, or None; `notes` say what to mind, or why nothing can be bought.

    `others` is the best purchase in each other currency, which nothing here can compare.
    """

    gap: Gap
    purchase: Purchase | None = None
    others: tuple[Purchase, ...] = ()
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class WholeSet:
    """A set sold whole that meets some gaps (`rows`, by number): packs, goods in minor units, when it comes.

    `parts` is what the purchases for the same gaps come to with their carriage, each supplier's once; None
    where one of them cannot be bought alone in this currency. `parts_late` is how late the latest part comes.
    """

    offer: OfferFacts
    rows: tuple[int, ...]
    packs: int
    goods: int
    arrives: date
    latest: date
    late: int
    parts: int | None = None
    parts_late: int | None = None

    @property
    def total(self) -> int:
        """Goods and carriage."""
        return self.goods + self.offer.carriage


@dataclass(frozen=True, slots=True)
class SupplierOrder:
    """What the purchases from one supplier come to in one order: goods, carriage once, its least order.

    `short` is what the goods lack to the least order, which is not taken below it; `latest` the last day on
    which all of it can be ordered in time.
    """

    supplier: str
    currency: str
    rows: tuple[int, ...]
    goods: int
    carriage: int
    short: int
    latest: date


@dataclass(frozen=True, slots=True)
class ShoppingList:
    """What to buy, gap by gap, sets beside their parts, and what it comes to at each supplier."""

    today: date
    rows: tuple[Row, ...]
    sets: tuple[WholeSet, ...] = ()
    orders: tuple[SupplierOrder, ...] = ()
    unplanned: tuple[tuple[str, str], ...] = ()

    @property
    def totals(self) -> dict[str, int]:
        """Goods and carriage of all orders, by currency."""
        totals: dict[str, int] = {}
        for order in self.orders:
            totals[order.currency] = totals.get(order.currency, 0) + order.goods + order.carriage
        return totals


def _by_start(demand: Demand) -> tuple[object, ...]:
    return (demand.day, demand.need.start, demand.job, demand.need.id)


def gaps_of(demands: Iterable[tuple[Demand, tuple[Choice, ...]]]) -> tuple[Gap, ...]:
    """Join the demands that the very same items would meet, so that one purchase serves them all.

    Demands whose items differ at all stay apart, even where one item would do for both; so do cutters that are
    guided by unlike drills. The soonest job first; of one job, in the order of its needs.

    >>> from repairs.methods import example
    >>> from repairs.methods.steps import need
    >>> oil = (Choice(Facts(7, "oil")),)
    >>> asked = [(Demand(job, need(example.fit(), "step", "oil"), date(2026, 3, 2)), oil) for job in ("J-1", "J-2")]
    >>> [gap.jobs for gap in gaps_of(asked)]
    [('J-1', 'J-2')]
    """
    found: dict[tuple[object, ...], list[Demand]] = {}
    choices_of: dict[tuple[object, ...], tuple[Choice, ...]] = {}
    where: dict[tuple[str, str], tuple[object, ...]] = {}
    # A drill stands before the cutter that it guides, so that the cutter can name its gap.
    ordered = sorted(demands, key=lambda pair: (pair[0].drill != "", pair[0].day, pair[0].need.start, pair[0].job))
    for demand, choices in ordered:
        # Without any item two needs are the same only if they ask the same, which nobody can say from here.
        alike: object = choices or (demand.job, demand.need.id)
        key = (demand.need.kind, alike, where.get((demand.job, demand.drill)))
        found.setdefault(key, []).append(demand)
        choices_of[key] = choices
        where[demand.job, demand.need.id] = key
    number = {key: at for at, key in enumerate(found)}
    return tuple(
        Gap(tuple(held), choices_of[key], number.get(where.get((held[0].job, held[0].drill), ())))
        for key, held in found.items()
    )


def pieces_of(gap: Gap, choice: Choice) -> int | None:
    """How many of this item meet the gap; None where one alone would have to do more than its life allows.

    Consumables add up, less what each job still has; of a shared pack each job uses one. A tool serves one job
    after the other until its life is used up, and jobs at the same time need one each; within a job it is shared.

    >>> from repairs.methods import example
    >>> from repairs.methods.steps import need
    >>> tap = Choice(Facts(1, "tap", life=6))
    >>> asked = [(Demand("J-1", need(example.fit(), "step", "tap"), date(2026, 3, 2), 8, True), (tap,))]
    >>> pieces_of(gaps_of(asked)[0], tap)
    2
    """
    kind = KINDS[choice.facts.kind]
    if kind.shared:
        return len(gap.jobs)
    if not kind.counted:
        return _units(sorted(gap.demands, key=_by_start), choice.facts.life)
    wanted: dict[str, int] = defaultdict(int)
    for demand in gap.demands:
        wanted[demand.job] += max(1, demand.amount)
    # What is left is one heap that all needs of the gap see: the soonest job uses it first.
    heap = min(demand.left for demand in gap.demands)
    return max(1, sum(wanted.values()) - heap)


@dataclass(slots=True)
class _Unit:
    left: int | None
    busy: list[Demand]

    def free_for(self, demand: Demand) -> bool:
        return not any(
            other.job != demand.job and other.need.start < demand.need.end and demand.need.start < other.need.end
            for other in self.busy
        )

    def give(self, demand: Demand, wanted: int) -> int:
        """Give as much of its life as it has, and say how much."""
        given = wanted if self.left is None else min(self.left, wanted)
        if self.left is not None:
            self.left -= given
        self.busy.append(demand)
        return given


def _units(demands: Sequence[Demand], life: int | None) -> int | None:
    """How many new units serve all demands, by serving them one after the other and opening one when none does."""
    units: list[_Unit] = []
    for demand in demands:
        wanted = demand.amount
        if life is not None and wanted > (0 if life < 1 else wanted if demand.split else life):
            return None
        least = min(wanted, 1) if demand.split else wanted
        served = False
        while wanted or not served:
            able = (unit for unit in units if unit.free_for(demand) and (unit.left is None or unit.left >= least))
            unit = next(able, None)
            if unit is None:
                unit = _Unit(life, [])
                units.append(unit)
            wanted -= unit.give(demand, wanted)
            served = True
    return len(units)


def pack_price(offer: OfferFacts, packs: int) -> int:
    """The price of one pack, minor units, when so many are bought.

    >>> offer = OfferFacts(1, "Nord", "", "", ((7, 10),), 1450, "EUR", ((4, 1320),), 4, 690, 4000)
    >>> pack_price(offer, 3), pack_price(offer, 4)
    (1450, 1320)
    """
    return max((each for each in offer.breaks if each[0] <= packs), default=(1, offer.price))[1]


def packs_of(offer: OfferFacts, packs: int) -> tuple[int, int]:
    """How many packs to buy where so many are needed, and the price of all: more where a break makes it cheaper.

    >>> offer = OfferFacts(1, "Nord", "", "", ((7, 10),), 1000, "EUR", ((5, 500),), 4, 690, 4000)
    >>> packs_of(offer, 2), packs_of(offer, 3)
    ((2, 2000), (5, 2500))
    """
    numbers = {packs, *(least for least, _ in offer.breaks if least > packs)}
    price, packs = min((number * pack_price(offer, number), number) for number in numbers)
    return packs, price


def buy(gap: Gap, choice: Choice, offer: OfferFacts, today: date) -> Purchase | None:
    """The purchase of an item from an offer that sells it alone; None where it does not, or none of it would do.

    >>> from repairs.methods import example
    >>> from repairs.methods.steps import need
    >>> oil = Choice(Facts(7, "oil"))
    >>> (gap,) = gaps_of([(Demand("J-1", need(example.fit(), "step", "oil"), date(2026, 3, 9)), (oil,))])
    >>> offer = OfferFacts(1, "Nord", "", "", ((7, 1),), 740, "EUR", (), 4, 550, 2000)
    >>> bought = buy(gap, oil, offer, date(2026, 3, 2))
    >>> bought and (bought.total, str(bought.latest), bought.late)
    (1290, '2026-03-05', 0)
    """
    pieces = pieces_of(gap, choice)
    content = _content(offer)
    if pieces is None or set(content) != {choice.facts.item}:
        return None
    packs, goods = packs_of(offer, -(-pieces // content[choice.facts.item]))
    arrives, latest, late = _when(offer, gap.day, today)
    return Purchase(offer, choice, pieces, packs, goods, arrives, latest, late)


def _content(offer: OfferFacts) -> dict[int, int]:
    content: dict[int, int] = defaultdict(int)
    for item, pieces in offer.pieces:
        content[item] += pieces
    return content


def _when(offer: OfferFacts, day: date, today: date) -> tuple[date, date, int]:
    """When it comes, the latest order date, and by how many days it is late."""
    lead = timedelta(days=offer.lead_days)
    return today + lead, day - lead, max(0, (today + lead - day).days)


def _rank(bought: Purchase) -> tuple[object, ...]:
    offer = bought.offer
    return (
        bought.late, bought.choice.status == DOUBTFUL, bought.total, bought.packs, bought.arrives, offer.supplier,
        offer.offer, bought.choice.facts.item,
    )  # fmt: skip


def shop(gaps: Sequence[Gap], offers: Sequence[OfferFacts], *, today: date, currency: str = "EUR") -> ShoppingList:
    """Decide for each gap what to buy, and what is said where nothing can be. Raises nothing.

    `currency` is the shop's own. Reasons: late, arrives_on_the_day, more_for_the_break, signature_for_item,
    not_in_catalogue, not_on_offer, only_in_a_set, no_cutter_for_drill.

    >>> shop([], [], today=date(2026, 3, 2)).rows
    ()
    """
    selling: dict[int, list[OfferFacts]] = defaultdict(list)
    sets: list[OfferFacts] = []
    for offer in offers:
        content = _content(offer)
        if len(content) == 1:
            selling[next(iter(content))].append(offer)
        else:
            sets.append(offer)
    cutters: dict[int, list[int]] = defaultdict(list)
    for at, gap in enumerate(gaps):
        if gap.drill is not None:
            cutters[gap.drill].append(at)
    options = [
        [bought for choice in gap.choices for offer in selling[choice.facts.item]
         if (bought := buy(gap, choice, offer, today))]
        for gap in gaps
    ]  # fmt: skip
    rows: dict[int, Row] = {}
    for at, gap in enumerate(gaps):
        if gap.drill is None:
            best = _best(options[at], [options[cutter] for cutter in cutters[at]], currency)
            rows[at] = _row(gap, best, sets)
    for at, gap in enumerate(gaps):
        if gap.drill is not None:
            drilled = rows[gap.drill].purchase
            fitting = [bought for bought in options[at] if _goes(bought.choice, drilled)]
            row = _row(gap, _best(fitting, [], currency), sets)
            if drilled and options[at] and not fitting:
                diameter = drilled.choice.facts.diameter
                row = replace(row, notes=(Reason("no_cutter_for_drill", drill_nm=diameter),))
            rows[at] = row
    found = tuple(rows[at] for at in range(len(gaps)))
    return ShoppingList(today, found, tuple(_sets(found, sets, today)), tuple(_orders(found)))


def _goes(choice: Choice, drilled: Purchase | None) -> bool:
    return choice.goes_with is None or drilled is None or drilled.choice.facts.item in choice.goes_with


def _best(
    options: Sequence[Purchase], cutters: Sequence[Sequence[Purchase]], currency: str
) -> tuple[Purchase | None, tuple[Purchase, ...]]:
    """The best purchase, and the best in each other currency; of a drill, with the cutters that it guides."""

    def whole(drill: Purchase) -> tuple[object, ...]:
        guided = []
        for cutter in cutters:
            if cutter:
                same = [each for each in cutter if each.offer.currency == drill.offer.currency]
                fitting = [each for each in same or cutter if _goes(each.choice, drill)]
                guided.append(min(fitting, key=_rank, default=None))
        bought = [drill, *(each for each in guided if each)]
        return (
            sum(each is None for each in guided),
            max(each.late for each in bought),
            sum(each.choice.status == DOUBTFUL for each in bought),
            sum(each.total for each in bought),
            *_rank(drill),
        )

    money: dict[str, list[Purchase]] = defaultdict(list)
    for option in options:
        money[option.offer.currency].append(option)
    best = {code: min(bought, key=whole) for code, bought in money.items()}
    order = sorted(best, key=lambda code: (best[code].late > 0, code != currency, code))
    if not order:
        return None, ()
    return best[order[0]], tuple(best[code] for code in order[1:])


def _row(gap: Gap, best: tuple[Purchase | None, tuple[Purchase, ...]], sets: Sequence[OfferFacts]) -> Row:
    bought, others = best
    if bought is None:
        return Row(gap, None, (), (_nothing(gap, sets),))
    notes = []
    if bought.late:
        jobs = tuple(job for job in gap.jobs if _day_of(gap, job) < bought.arrives)
        notes.append(Reason("late", arrives=bought.arrives, days=bought.late, jobs=jobs, latest=bought.latest))
    elif bought.arrives == gap.day:
        notes.append(Reason("arrives_on_the_day", arrives=bought.arrives))
    fewest = -(-bought.pieces // _content(bought.offer)[bought.choice.facts.item])
    if bought.packs > fewest:
        price = fewest * pack_price(bought.offer, fewest)
        code = bought.offer.currency
        notes.append(Reason("more_for_the_break", packs=bought.packs, needed=fewest, price_minor=price, currency=code))
    notes += [Reason("signature_for_item", cause=reason) for reason in bought.choice.reasons]
    return Row(gap, bought, others, tuple(notes))


def _day_of(gap: Gap, job: str) -> date:
    return min(demand.day for demand in gap.demands if demand.job == job)


def _nothing(gap: Gap, sets: Sequence[OfferFacts]) -> Reason:
    if not gap.choices:
        return Reason("not_in_catalogue")
    items = {choice.facts.item for choice in gap.choices}
    named = tuple(offer.name or offer.number for offer in sets if items & set(_content(offer)))
    return Reason("only_in_a_set", sets=named) if named else Reason("not_on_offer", count=len(gap.choices))


def _sets(rows: Sequence[Row], sets: Sequence[OfferFacts], today: date) -> Iterator[WholeSet]:
    """Every set that meets a gap, beside what the parts for the same gaps come to."""
    for offer in sets:
        content = _content(offer)
        wanted: dict[int, int] = defaultdict(int)
        served: list[int] = []
        drills: dict[int, int] = {}
        for at in sorted(range(len(rows)), key=lambda each: rows[each].gap.drill is not None):
            gap = rows[at].gap
            drill = None if gap.drill is None else drills.get(gap.drill)
            bought = None if gap.drill is None else rows[gap.drill].purchase
            inside = [
                (choice.status == DOUBTFUL, pieces, choice.facts.item)
                for choice in gap.choices
                if choice.facts.item in content
                and (pieces := pieces_of(gap, choice)) is not None
                and (choice.goes_with is None or drill in choice.goes_with or (drill is None and _goes(choice, bought)))
            ]
            if inside:
                _, pieces, item = min(inside)
                wanted[item] += pieces
                drills[at] = item
                served.append(at)
        if served:
            needed = max(-(-pieces // content[item]) for item, pieces in wanted.items())
            packs, goods = packs_of(offer, needed)
            day = min(rows[at].gap.day for at in served)
            arrives, latest, late = _when(offer, day, today)
            parts, parts_late = _parts([rows[at].purchase for at in served], offer.currency)
            yield WholeSet(offer, tuple(sorted(served)), packs, goods, arrives, latest, late, parts, parts_late)


def _parts(bought: Sequence[Purchase | None], currency: str) -> tuple[int | None, int | None]:
    carriage: dict[str, int] = {}
    goods = late = 0
    for each in bought:
        if each is None or each.offer.currency != currency:
            return None, None
        carriage[each.offer.supplier] = each.offer.carriage
        goods, late = goods + each.goods, max(late, each.late)
    return goods + sum(carriage.values()), late


def _orders(rows: Sequence[Row]) -> Iterator[SupplierOrder]:
    by_supplier: dict[str, list[int]] = defaultdict(list)
    for at, row in enumerate(rows):
        if row.purchase:
            by_supplier[row.purchase.offer.supplier].append(at)
    for supplier, numbers in sorted(by_supplier.items()):
        bought = [purchase for at in numbers if (purchase := rows[at].purchase)]
        offer, goods = bought[0].offer, sum(each.goods for each in bought)
        yield SupplierOrder(
            supplier=supplier,
            currency=offer.currency,
            rows=tuple(numbers),
            goods=goods,
            carriage=offer.carriage,
            short=max(0, offer.minimum - goods),
            latest=min(each.latest for each in bought),
        )


# What stands at its order point


@dataclass(frozen=True, slots=True)
class Restock:
    """An item that is brought up to its most: so many pieces, and what is bought for it, None where nobody sells it."""

    choice: Choice
    pieces: int
    purchase: Purchase | None


def restock(
    wanted: Iterable[tuple[Choice, int]], offers: Sequence[OfferFacts], *, today: date, currency: str = "EUR"
) -> tuple[Restock, ...]:
    """For each item and number of pieces the cheapest purchase in whole packs, ordered today; nothing is ever late.

    Of offers that sell the item alone the shop's own currency comes first, then the lowest price of goods and carriage,
    the fewest packs, the earliest, the supplier's name, the offer. Raises nothing.

    >>> offer = OfferFacts(1, "Nord", "", "", ((7, 10),), 740, "EUR", (), 4, 550, 2000)
    >>> (oil,) = restock([(Choice(Facts(7, "oil")), 24)], [offer], today=date(2026, 3, 2))
    >>> oil.purchase and (oil.purchase.packs, oil.purchase.total, str(oil.purchase.arrives))
    (3, 2770, '2026-03-06')
    """
    return tuple(
        Restock(choice, pieces, _cheapest(choice, pieces, offers, today, currency)) for choice, pieces in wanted
    )


def _cheapest(choice: Choice, pieces: int, offers: Sequence[OfferFacts], today: date, currency: str) -> Purchase | None:
    found = []
    for offer in offers:
        content = _content(offer)
        if set(content) == {choice.facts.item}:
            packs, goods = packs_of(offer, -(-pieces // content[choice.facts.item]))
            arrives = today + timedelta(days=offer.lead_days)
            found.append(Purchase(offer, choice, pieces, packs, goods, arrives, today, 0))
    return min(found, key=lambda bought: (bought.offer.currency != currency, *_rank(bought)), default=None)
