"""Order points: least, order point and most of each counted item, who set them, what they would reasonably be, and
what stands at or below its order point now.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any

from django.conf import settings
from django.db.models import Min, Q, Sum

from inventory import policy, purchasing
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, OfferFacts
from inventory.models import Batch, Item, Movement, OrderPoint
from inventory.purchasing import OnOrder
from inventory.reordering import TAKEN, Move, Proposal, Tier, position, propose, use_by_day, wanted

PAGE = 20


@dataclass(frozen=True, slots=True)
class Standing:
    """One counted item as it stands: pieces on hand (fit for use), held, past their day, on order; what was set."""

    item: Item
    on_hand: int
    held: int
    expired: int
    coming: tuple[OnOrder, ...]
    set: OrderPoint | None
    proposal: Proposal | None = None

    @property
    def free(self) -> int:
        return self.on_hand - self.held

    @property
    def on_order(self) -> int:
        return sum(each.pieces for each in self.coming)

    @property
    def position(self) -> int:
        """What the order point is compared with: free and on order."""
        return position(on_hand=self.on_hand, held=self.held, on_order=self.on_order)

    @property
    def wanted(self) -> int:
        """The pieces that bring it up to its maximum; 0 above its order point, or where none is set."""
        if self.set is None or self.set.order_point is None or self.set.maximum is None:
            return 0
        return wanted(position=self.position, order_point=self.set.order_point, maximum=self.set.maximum)

    @property
    def low(self) -> bool:
        """At or below its order point."""
        return self.set is not None and self.set.order_point is not None and self.position <= self.set.order_point

    @property
    def very_low(self) -> bool:
        """Below its minimum, what was there to be safe."""
        return self.set is not None and self.set.minimum is not None and self.position < self.set.minimum

    @property
    def seen(self) -> str:
        """What tells this proposal from any other, for the press that takes it."""
        found = self.proposal
        return f"{found.minimum}/{found.order_point}/{found.maximum}" if found and found.known else ""


# --- acts --------------------------------------------------------------------------------------------------


def set_order_point(
    *,
    item: Item,
    minimum: int | None,
    order_point: int | None,
    maximum: int | None,
    why: str,
    by: Any,
    as_of: datetime,
    request_key: str | None = None,
) -> OrderPoint:
    """Set the three for one counted item; three times None takes them back.

    The same `request_key` answers with what it set. Raises `Refused`: item_is_tagged, order_point_whole,
    order_point_not_under_minimum, order_point_within_maximum, order_point_says_why …
    """
    if not item.counted:
        raise Refused(Reason("item_is_tagged", item=str(item)))
    with act():
        if request_key and (done := OrderPoint.objects.filter(request_key=request_key).first()):
            if done.item_id != item.pk:
                raise Refused(Reason("request_key_reused", label=str(item)))
            return done
        return OrderPoint.objects.create(
            item=item, minimum=minimum, order_point=order_point, maximum=maximum, why=why, by=str(by), at=as_of,
            request_key=request_key,
        )  # fmt: skip


# --- reads -------------------------------------------------------------------------------------------------


def last_set(items: Collection[int] | None = None) -> dict[int, OrderPoint]:
    """The row that holds for each item (of these ids, or of all), withdrawn ones left out. One query."""
    rows = OrderPoint.objects.order_by("id")
    newest = {row.item_id: row for row in (rows if items is None else rows.filter(item__in=items))}
    return {item: row for item, row in newest.items() if row.order_point is not None}


def history(item: Item, most: int = 20) -> list[OrderPoint]:
    """Who set what for an item, the newest first. One query."""
    return list(OrderPoint.objects.filter(item=item).order_by("-id")[:most])


def counted(*, after: int = 0, low: bool = False, as_of: datetime) -> tuple[list[Standing], int]:
    """A page of counted items with their proposals, in the order of their ids, and the id to go on after (0: none).

    `low`: those alone that stand at or below their order point, all of them. At most ten queries.
    """
    if low:
        return standings(as_of=as_of, low=True, proposals=True), 0
    items = list(Item.objects.filter(counted=True, retired=False, pk__gt=after).order_by("id")[: PAGE + 1])
    page = items[:PAGE]
    return _standings(page, as_of=as_of, proposals=True), page[-1].pk if len(items) > PAGE else 0


def standing(item: Item, *, as_of: datetime) -> Standing:
    """One counted item with its proposal. At most nine queries."""
    return _standings([item], as_of=as_of, proposals=True)[0]


def standings(*, as_of: datetime, low: bool = False, proposals: bool = False) -> list[Standing]:
    """Every item that has an order point; `low` those at or below it alone. At most ten queries."""
    items = list(Item.objects.filter(counted=True, retired=False, pk__in=list(last_set())).order_by("id"))
    found = _standings(items, as_of=as_of, proposals=False)
    if low:
        found = [each for each in found if each.low]
    return _standings([each.item for each in found], as_of=as_of, proposals=True) if proposals else found


def _standings(items: Sequence[Item], *, as_of: datetime, proposals: bool) -> list[Standing]:
    ids = [item.pk for item in items]
    if not ids:
        return []
    today = as_of.astimezone(settings.SHOP_ZONE).date()
    good = Q(expires__isnull=True) | Q(expires__gte=today)
    rows = Batch.objects.filter(item__in=ids).order_by().values_list("item")
    lying: dict[int, tuple[int, int, int]] = {
        item: (there, kept, over)
        for item, there, kept, over in rows.annotate(
            there=Sum("on_hand", filter=good, default=0),
            kept=Sum("held", filter=good, default=0),
            over=Sum("on_hand", filter=~good, default=0),
        )
    }
    coming, newest = purchasing.on_order(ids), last_set(ids)
    proposed = _proposals(items, as_of=as_of) if proposals else {}
    found = []
    for item in items:
        there, kept, over = lying.get(item.pk, (0, 0, 0))
        on_its_way, held_by = tuple(coming.get(item.pk, ())), newest.get(item.pk)
        found.append(Standing(item, there, kept, over, on_its_way, held_by, proposed.get(item.pk)))
    return found


def _proposals(items: Sequence[Item], *, as_of: datetime) -> dict[int, Proposal]:
    """What would be reasonable for each; at most seven queries."""
    ids, zone, now = [item.pk for item in items], settings.SHOP_ZONE, policy.current()
    today = as_of.astimezone(zone).date()
    since = as_of - timedelta(days=int(now["history_days"]))
    began = dict(
        Movement.objects.filter(batch__item__in=ids).order_by().values_list("batch__item").annotate(first=Min("at"))
    )
    moves, keeps = moves_of(ids, since=since), _keeps(ids)
    leads, offers = purchasing.lead_days(ids, since=since), purchasing.offers_for(ids)
    found = {}
    for item in items:
        at = max(began[item.pk], since) if item.pk in began else as_of
        offer = cheapest(offers, item.pk)
        tiers, pack = tiers_of(offer, item.pk) if offer else ((), 1)
        found[item.pk] = propose(
            use_by_day(moves[item.pk]), first=at.astimezone(zone).date(), last=today, leads=leads.get(item.pk, []),
            offered=offer.lead_days if offer else None, terms=policy.terms(now), tiers=tiers, pack=pack,
            currency=offer.currency if offer else "", shelf_days=keeps.get(item.pk),
            perishable=KINDS[item.kind].perishable,
        )  # fmt: skip
    return found


def _keeps(items: Collection[int]) -> dict[int, int]:
    """For how many days each of these items was good when it came, by the lot that was so for the shortest. One query.

    A lot that was past its day when it came tells nothing of how long the next one keeps.
    """
    found: dict[int, int] = {}
    came = Batch.objects.filter(item__in=items, expires__isnull=False).order_by()
    for item, expires, at in came.values_list("item", "expires").annotate(came=Min("movements__at")):
        days = (expires - at.astimezone(settings.SHOP_ZONE).date()).days + 1 if at else 0
        if days > 0:
            found[item] = min(days, found.get(item, days))
    return found


def moves_of(items: Collection[int], *, since: datetime) -> dict[int, list[Move]]:
    """What the ledger says that was taken of these items and came back, by item, the oldest first. One query."""
    zone = settings.SHOP_ZONE
    found: dict[int, list[Move]] = defaultdict(list)
    rows = Movement.objects.filter(batch__item__in=items, at__gte=since, act__in=(*TAKEN, "given_back"))
    for item, at, deed, label, change in rows.order_by("at", "id").values_list(
        "batch__item", "at", "act", "label", "quantity"
    ):
        found[item].append(Move(at.astimezone(zone).date(), deed, label, change))
    return found


def last_used(*, since: datetime) -> dict[int, date]:
    """The last day on which each counted item was taken by a job, since a moment. One query."""
    zone = settings.SHOP_ZONE
    rows = Movement.objects.filter(batch__isnull=False, at__gte=since, act__in=TAKEN, quantity__lt=0)
    taken = rows.filter(Q(act__in=("issued", "used")) | ~Q(label="")).order_by("at", "id")
    return {item: at.astimezone(zone).date() for item, at in taken.values_list("batch__item", "at")}


def cheapest(offers: Sequence[OfferFacts], item: int) -> OfferFacts | None:
    """The offer that sells this item alone at the least price a piece; the soonest of equals."""
    alone = [offer for offer in offers if {each for each, _ in offer.pieces} == {item}]
    return min(
        alone, default=None,
        key=lambda offer: (Fraction(offer.price, offer.pieces[0][1]), offer.lead_days, offer.offer),
    )  # fmt: skip


def tiers_of(offer: OfferFacts, item: int) -> tuple[tuple[Tier, ...], int]:
    """The prices of a piece from so many pieces on, and the pieces of a pack."""
    pack = dict(offer.pieces)[item]
    steps = [(1, offer.price), *offer.breaks]
    return tuple(Tier(packs * pack, Fraction(price, pack)) for packs, price in steps), pack
