"""What in the crib needs somebody's attention: order points reached, slow and dead stock, tools due for regrind,
calibrations, expiries, loans and orders; each with what, where, since when, who, and where the act is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from django.conf import settings
from django.db.models import Exists, Max, Min, OuterRef, Q, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse

from inventory import naming, order_points, policy, purchasing
from inventory.errors import Reason
from inventory.figures import began
from inventory.kinds import CALIBRATED, KINDS, OfferFacts
from inventory.models import Batch, Item, Movement, Order, Unit, UnitHold
from inventory.reordering import TAKEN
from inventory.stock import AT_HAND, GONE

SHOWN = 50  # lines of one part on the page; how many more there are is told
PARTS = (
    "order_point", "order_late", "loan_overdue", "calibration_overdue", "calibration_missing", "calibration_due",
    "expired", "expires_soon", "due_regrind", "loan_open", "dead_stock", "slow_stock",
)  # fmt: skip
# What must be done now; the rest is to be planned.
PRESSING = frozenset(
    {"order_point", "order_late", "loan_overdue", "calibration_overdue", "calibration_missing", "expired"}
)


_IN_USE = ("issued", "given_back", "used", "lent", "returned")


@dataclass(frozen=True, slots=True)
class Matter:
    """One thing to see to: what, where it is, since or until which day, who has it, and the page where it is done."""

    tag: str
    address: str
    where: str = ""
    day: date | None = None
    who: str = ""
    why: Reason | None = None
    pk: int = 0
    item: Item | None = None
    own_diameter: int | None = None

    def words(self, units: str = "mm") -> str:
        """What it is: the tag, lot or number of it, and its item with its size."""
        item = naming.named(self.item, units, self.own_diameter) if self.item else ""
        return ", ".join(word for word in (self.tag, item) if word)

    @property
    def what(self) -> str:
        return self.words()


@dataclass(frozen=True, slots=True)
class Part:
    """The matters of one sort, the most pressing first."""

    code: str
    matters: tuple[Matter, ...]

    @property
    def pressing(self) -> bool:
        return self.code in PRESSING

    @property
    def shown(self) -> tuple[Matter, ...]:
        return self.matters[:SHOWN]

    @property
    def more(self) -> int:
        return max(0, len(self.matters) - SHOWN)

    @property
    def worth(self) -> tuple[Reason, ...]:
        """What all of it is worth, a currency each, and of how many of them that is known."""
        sums: dict[str, list[int]] = defaultdict(list)
        for each in self.matters:
            if each.why is not None and each.why.data.get("worth_minor") is not None:
                sums[each.why["currency"]].append(each.why["worth_minor"])
        return tuple(
            Reason("worth_in_all", worth_minor=sum(worth), currency=code, priced=len(worth), things=len(self.matters))
            for code, worth in sorted(sums.items())
        )


def needed(*, as_of: datetime) -> list[Part]:
    """Every matter, part by part in the order of `PARTS`; parts without any are left out. At most twenty queries."""
    now = policy.current()
    today = as_of.astimezone(settings.SHOP_ZONE).date()
    ahead = today + timedelta(days=int(now["ahead_days"]))
    found = {
        "order_point": _low(as_of),
        "order_late": orders(before=today),
        "loan_overdue": away(before=today),
        "loan_open": _lent_without_a_day(),
        "calibration_missing": _uncalibrated(),
        "due_regrind": _due_regrind(),
        **_split("calibration_overdue", "calibration_due", calibrations(until=ahead), today),
        **_split("expired", "expires_soon", expiries(until=ahead), today),
        **_unmoved(as_of, today, now),
    }
    return [Part(code, tuple(found[code])) for code in PARTS if found.get(code)]


def pressing(parts: Iterable[Part]) -> int:
    """How many matters must be seen to now."""
    return sum(len(part.matters) for part in parts if part.pressing)


def _split(over: str, soon: str, matters: Sequence[Matter], today: date) -> dict[str, list[Matter]]:
    gone = [each.day is not None and each.day < today for each in matters]
    return {
        over: [each for each, past in zip(matters, gone, strict=True) if past],
        soon: [each for each, past in zip(matters, gone, strict=True) if not past],
    }


def _low(as_of: datetime) -> list[Matter]:
    """What stands at or below its order point."""
    return [
        Matter(
            tag=each.item.number or "",
            address=reverse("item", args=[each.item.address]) + "#order-point",
            who=each.set.by if each.set else "",
            why=Reason(
                "at_order_point", position=each.position, point=each.set.order_point, free=each.free,
                on_order=each.on_order, wanted=each.wanted, maximum=each.set.maximum,
            ) if each.set else None,
            pk=each.item.pk,
            item=each.item,
        )
        for each in sorted(order_points.standings(as_of=as_of, low=True), key=lambda each: not each.very_low)
    ]  # fmt: skip


def orders(*, before: date | None = None) -> list[Matter]:
    """Placed orders by the day they are due, those due before a day alone where one is named. One query."""
    rows = Order.objects.filter(state="placed", due__isnull=False).select_related("supplier").order_by("due", "id")
    return [
        Matter(
            tag=order.number, address=reverse("order", args=[order.number]), where=order.supplier.name, day=order.due,
            who=order.by, pk=order.pk,
        )
        for order in (rows if before is None else rows.filter(due__lt=before))
    ]  # fmt: skip


def away(*, before: date | None = None) -> list[Matter]:
    """Units that are away by the last day of that; those whose day is over alone where one is named. One query."""
    rows = Unit.objects.exclude(away_why="").exclude(condition__in=GONE).filter(away_until__isnull=False)
    rows = rows.select_related("item", "borrower", "bin__site").order_by("away_until", "tag")
    return [
        _of_unit(
            unit, unit.away_until, who=unit.borrower.name if unit.borrower else unit.away_with,
            why=Reason("is_away", why=unit.away_why),
        )
        for unit in (rows if before is None else rows.filter(away_until__lt=before))
    ]  # fmt: skip


def _lent_without_a_day() -> list[Matter]:
    """Units that are lent and due back on no day. One query."""
    rows = Unit.objects.filter(away_why="loan", away_until__isnull=True).exclude(condition__in=GONE)
    return [
        _of_unit(unit, None, who=unit.borrower.name if unit.borrower else unit.away_with, why=Reason("no_day_agreed"))
        for unit in rows.select_related("item", "borrower", "bin__site").order_by("tag")
    ]


def calibrations(*, until: date | None = None) -> list[Matter]:
    """Units by the last good day of their calibration, up to a day. One query."""
    rows = Unit.objects.exclude(condition__in=GONE).filter(calibration_due__isnull=False)
    rows = rows.select_related("item", "borrower", "bin__site").order_by("calibration_due", "tag")
    return [
        _of_unit(unit, unit.calibration_due, who=unit.issued_to or unit.away_with)
        for unit in (rows if until is None else rows.filter(calibration_due__lte=until))
    ]


def _uncalibrated() -> list[Matter]:
    """Units that must be calibrated and of which no calibration is on record. One query."""
    rows = Unit.objects.exclude(condition__in=GONE).filter(calibration_due__isnull=True, item__kind__in=CALIBRATED)
    return [
        _of_unit(
            unit, None, who=unit.issued_to or unit.away_with,
            why=Reason("is_away", why=unit.away_why) if unit.away_why else None,
        )
        for unit in rows.select_related("item", "borrower", "bin__site").order_by("tag")
    ]  # fmt: skip


def expiries(*, until: date | None = None) -> list[Matter]:
    """Batches that are not empty by their last good day, up to a day. One query."""
    rows = Batch.objects.filter(on_hand__gt=0, expires__isnull=False).select_related("item", "bin__site")
    return [
        Matter(
            tag=batch.lot, address=reverse("batch", args=[batch.pk]),
            where=f"{batch.bin.site} {batch.bin}", day=batch.expires, why=Reason("lie_there", pieces=batch.on_hand),
            pk=batch.pk, item=batch.item,
        )
        for batch in (rows if until is None else rows.filter(expires__lte=until)).order_by("expires", "id")
    ]  # fmt: skip


def _due_regrind() -> list[Matter]:
    rows = Unit.objects.filter(condition="due_regrind").select_related("item", "borrower", "bin__site")
    found = []
    for unit in rows.annotate(worn=Max("movements__at", filter=Q(movements__holes__gt=0))).order_by("worn", "tag"):
        day = unit.worn.astimezone(settings.SHOP_ZONE).date() if unit.worn else None
        found.append(_of_unit(unit, day, who=unit.issued_to, why=Reason("cut_so_many", holes=unit.holes_cut)))
    return found


def _of_unit(unit: Unit, day: date | None, *, who: str = "", why: Reason | None = None) -> Matter:
    return Matter(
        tag=unit.tag,
        address=reverse("unit", args=[unit.tag]), where=f"{unit.bin.site} {unit.bin}", day=day, who=who, why=why,
        pk=unit.pk, item=unit.item, own_diameter=unit.own_diameter,
    )  # fmt: skip


def _unmoved(as_of: datetime, today: date, now: dict[str, Decimal]) -> dict[str, list[Matter]]:
    """What no job took for long, dead longer than slow, each with what it is worth where a price is known. Seven
    queries at most."""
    slow, dead = (today - timedelta(days=int(now[code])) for code in ("slow_days", "dead_days"))
    lying = [*_counted_unmoved(slow), *_units_unmoved(slow, as_of)]
    offers = purchasing.offers_for({each.item for each in lying}) if lying else []
    found: dict[str, list[Matter]] = {"dead_stock": [], "slow_stock": []}
    for each in sorted(lying, key=lambda each: (each.since, each.matter.what)):
        found["dead_stock" if each.since < dead else "slow_stock"].append(_worth(each, offers, today))
    return found


@dataclass(frozen=True, slots=True)
class _Lying:
    """So many pieces of an item that lie there since a day; the code that says how, and what is told of it."""

    item: int
    pieces: int
    since: date
    code: str
    matter: Matter


def _worth(each: _Lying, offers: Sequence[OfferFacts], today: date) -> Matter:
    """The matter with for how long it lies there, and what as many would cost today where they are offered alone."""
    offer = order_points.cheapest(offers, each.item)
    price = Fraction(offer.price, dict(offer.pieces)[each.item]) if offer else None
    told = {
        "days": (today - each.since).days, "pieces": each.pieces,
        "worth_minor": None if price is None else round(price * each.pieces),
        "currency": offer.currency if offer else "",
    }  # fmt: skip
    code = each.code
    why = {
        "lies_unused": Reason("lies_unused", **told), "never_used": Reason("never_used", **told),
        "stands_unused": Reason("stands_unused", **told), "stands_never_used": Reason("stands_never_used", **told),
    }[code]  # fmt: skip
    return replace(each.matter, day=each.since, why=why)


def _counted_unmoved(slow: date) -> list[_Lying]:
    """Counted stock that no job took since a day. Packs that jobs share are never taken. Three queries."""
    zone = settings.SHOP_ZONE
    shared = [kind.code for kind in KINDS.values() if kind.shared]
    lying = Batch.objects.filter(on_hand__gt=0).exclude(item__kind__in=shared).order_by("item")
    by_item = dict(lying.values_list("item").annotate(there=Sum("on_hand")))
    items = Item.objects.in_bulk(by_item)
    taken = Q(quantity__lt=0) & (Q(act__in=("issued", "used")) | (Q(act__in=TAKEN) & ~Q(label="")))
    moved = Movement.objects.filter(batch__item__in=list(by_item)).order_by().values_list("batch__item")
    found = []
    for item, first, last in moved.annotate(first=Min("at"), last=Max("at", filter=taken)):
        since, of = (last or first).astimezone(zone).date(), items[item]
        if since < slow:
            matter = Matter(tag=of.number or "", address=reverse("item", args=[of.address]), pk=item, item=of)
            found.append(_Lying(item, by_item[item], since, "lies_unused" if last else "never_used", matter))
    return found


def _units_unmoved(slow: date, as_of: datetime) -> list[_Lying]:
    """Units that nobody was issued, lent or used since a day. What is away, in somebody's hand or kept for a job that
    is still to come is none; a calibration or a move is no use of it. One query."""
    zone = settings.SHOP_ZONE
    kept = UnitHold.objects.filter(unit=OuterRef("pk"), active=True, end__gt=as_of)
    rows = Unit.objects.filter(condition__in=AT_HAND, issued_to="").exclude(Exists(kept))
    rows = rows.annotate(
        first=Min("movements__at"), last=Max("movements__at", filter=Q(movements__act__in=_IN_USE))
    ).annotate(since=Coalesce("last", "first"))
    found = []
    for unit in rows.filter(since__lt=began(slow)).select_related("item", "bin__site").order_by("since", "tag"):
        since = unit.since.astimezone(zone).date()
        code = "stands_unused" if unit.last else "stands_never_used"
        found.append(_Lying(unit.item_id, 1, since, code, _of_unit(unit, since)))
    return found
