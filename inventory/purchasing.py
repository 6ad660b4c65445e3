"""Purchasing: suppliers, what they offer and at what price, and what was ordered from them."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db.models import F, OuterRef, Prefetch, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import OfferFacts
from inventory.models import (
    Batch,
    Bin,
    Delivery,
    DeliveryLine,
    Item,
    Offer,
    OfferItem,
    Order,
    OrderLine,
    PriceBreak,
    Supplier,
)
from inventory.stock import aware, receive_batch, receive_unit

__all__ = [
    "Came",
    "Expected",
    "OfferFacts",
    "OnOrder",
    "add_offer",
    "add_supplier",
    "close_order",
    "currency_code",
    "deliveries",
    "expected",
    "lead_days",
    "lock_supplier",
    "next_number",
    "offers_for",
    "on_order",
    "open_orders",
    "order_numbered",
    "order_of_request",
    "place_order",
    "receive_order",
    "refuse_terms",
]  # fmt: skip


def currency_code(text: str) -> str:
    """A currency's code as ISO 4217 writes it, three capital letters. Raises `Refused`: currency_unknown."""
    if len(text) != 3 or not (text.isascii() and text.isalpha() and text.isupper()):
        raise Refused(Reason("currency_unknown", typed=text))
    return text


def add_supplier(*, name: str, currency: str = "EUR", carriage: int = 0, minimum: int = 0) -> Supplier:
    """A supplier; carriage and least order in minor units of its currency.

    Raises `Refused`: currency_unknown, supplier_name_taken, supplier_carriage_not_negative …
    """
    code = currency_code(currency)
    with act():
        return Supplier.objects.create(name=name, currency=code, carriage=carriage, minimum=minimum)


def add_offer(
    *,
    supplier: Supplier,
    items: Sequence[tuple[Item, int]],
    price: int,
    pack: int = 1,
    lead_days: int = 0,
    breaks: Sequence[tuple[int, int]] = (),
    number: str = "",
    name: str = "",
) -> Offer:
    """An offer of one item or a set sold whole: a pack of `pack` times each item's count costs `price`.

    `breaks` are pairs of packs and the price a pack from that many on (minor units).
    Raises `Refused`: offer_without_items, price_break_not_cheaper where buying more would cost more a pack,
    and the tables' own rules (offer_item_twice, offer_pack_positive, price_break_twice …).
    """
    refuse_terms(items=[item for item, _ in items], price=price, breaks=breaks, currency=supplier.currency)
    with act():
        offer = Offer.objects.create(
            supplier=supplier, number=number, name=name, pack=pack, price=price, lead_days=lead_days
        )
        OfferItem.objects.bulk_create(OfferItem(offer=offer, item=item, quantity=quantity) for item, quantity in items)
        PriceBreak.objects.bulk_create(PriceBreak(offer=offer, packs=packs, price=broken) for packs, broken in breaks)
        return offer


def refuse_terms(*, items: Sequence[Item], price: int, breaks: Sequence[tuple[int, int]], currency: str) -> None:
    """What an offer cannot be, told before anything is written.

    Raises `Refused`: offer_without_items, offer_item_twice, price_break_above_one_pack, price_break_twice,
    price_break_not_cheaper.
    """
    if not items:
        raise Refused(Reason("offer_without_items"))
    if any(item is other for at, item in enumerate(items) for other in items[:at]):
        raise Refused(Reason("offer_item_twice"))
    dearest, last = price, 1
    for packs, broken in sorted(breaks):
        if packs <= 1:
            raise Refused(Reason("price_break_above_one_pack"))
        if packs == last:
            raise Refused(Reason("price_break_twice"))
        if broken > dearest:
            raise Refused(
                Reason(
                    "price_break_not_cheaper",
                    packs=packs,
                    price_minor=broken,
                    before_minor=dearest,
                    currency=currency,
                )
            )
        dearest, last = broken, packs


def offers_for(items: Collection[int]) -> list[OfferFacts]:
    """Every offer on sale that brings at least one of these items (ids), by supplier. Three queries."""
    offers = (
        Offer.objects.filter(active=True, pk__in=OfferItem.objects.filter(item__in=items).values("offer"))
        .select_related("supplier")
        .prefetch_related(
            Prefetch("lines", OfferItem.objects.order_by("item_id")),
            Prefetch("breaks", PriceBreak.objects.order_by("packs")),
        )
        .order_by("supplier__name", "id")
    )
    return [
        OfferFacts(
            offer=offer.pk,
            supplier=offer.supplier.name,
            number=offer.number,
            name=offer.name,
            pieces=tuple((line.item_id, line.quantity * offer.pack) for line in offer.lines.all()),
            price=offer.price,
            currency=offer.supplier.currency,
            breaks=tuple((step.packs, step.price) for step in offer.breaks.all()),
            lead_days=offer.lead_days,
            carriage=offer.supplier.carriage,
            minimum=offer.supplier.minimum,
        )
        for offer in offers
    ]


# --- orders ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OnOrder:
    """What a placed order will bring of one item: so many packs, so many pieces, and the day it is due."""

    number: str
    item: int
    offer: int
    packs: int
    pieces: int
    due: date | None


def next_number(as_of: datetime) -> str:
    """A free number for an order: the year and the next count after the last order of that form. One query.

    Somebody else may take it meanwhile, which the act then refuses.
    """
    year = aware(as_of).astimezone(settings.SHOP_ZONE).year
    last = Order.objects.filter(number__startswith=f"{year}-").order_by("-pk").values_list("number", flat=True)[:200]
    counts = [int(match[1]) for number in last if (match := re.fullmatch(rf"{year}-([0-9]{{1,9}})", number))]
    return f"{year}-{max(counts, default=0) + 1:03}"


def place_order(
    *,
    supplier: str,
    number: str,
    lines: Sequence[tuple[int, int, int]],
    by: Any,
    as_of: datetime,
    due: date | None = None,
    urgent_why: str = "",
    request_key: str | None = None,
) -> Order:
    """Write down an order that is placed with a supplier; each line an offer, packs and the price agreed for a pack.

    `urgent_why` makes it an emergency purchase, which the figures count.

    The same `request_key` answers with the order that it made. Raises `Refused`: order_without_lines,
    supplier_unknown, offer_not_on_sale where one is not this supplier's or no longer sold, order_number_taken,
    request_key_reused, and the tables' own rules (order_numbered, order_line_twice, order_line_packs_positive …).
    """
    at = aware(as_of)
    if not lines:
        raise Refused(Reason("order_without_lines"))
    try:
        with act():
            done = _done(request_key, supplier)
            if done is not None:
                return done
            firm = Supplier.objects.filter(name=supplier).first()
            if firm is None:
                raise Refused(Reason("supplier_unknown", typed=supplier))
            sold = set(firm.offers.filter(active=True).values_list("pk", flat=True))
            for offer, *_ in lines:
                if offer not in sold:
                    raise Refused(Reason("offer_not_on_sale", offer=offer, supplier=supplier))
            order = Order.objects.create(
                supplier=firm, number=number, state="placed", at=at, by=str(by), due=due,
                urgent_why=urgent_why, request_key=request_key,
            )  # fmt: skip
            OrderLine.objects.bulk_create(
                OrderLine(order=order, offer_id=offer, packs=packs, price=price) for offer, packs, price in lines
            )
            return order
    except Refused as refused:
        # Its twin was a moment ahead; the first one's answer is the answer.
        if refused.reason.code in ("order_request_key_taken", "order_number_taken"):
            done = _done(request_key, supplier)
            if done is not None:
                return done
        raise


def _done(request_key: str | None, supplier: str) -> Order | None:
    done = order_of_request(request_key)
    if done is not None and done.supplier.name != supplier:
        raise Refused(Reason("request_key_reused", label=done.number))
    return done


def order_of_request(request_key: str | None) -> Order | None:
    """The order that this request already made, if it is one that is repeated."""
    if not request_key:
        return None
    return Order.objects.select_related("supplier").filter(request_key=request_key).first()


def lock_supplier(name: str) -> None:
    """Let nobody else order from this supplier until the transaction ends, so that what is on order stays as read."""
    list(Supplier.objects.select_for_update().filter(name=name).values_list("pk"))


def close_order(*, number: str, state: str, by: Any, as_of: datetime) -> Order:
    """A placed order was received, or was cancelled: it is no longer on order. Doing so again changes nothing.

    What came in is received by its own act. Raises `Refused`: order_unknown, order_closed where it was closed the
    other way.
    """
    if state not in ("received", "cancelled"):
        raise ValueError(state)
    with act():
        order = Order.objects.select_for_update().filter(number=number).first()
        if order is None:
            raise Refused(Reason("order_unknown", number=number))
        if order.state not in ("placed", state):
            raise Refused(Reason("order_closed", number=number, state=order.state))
        if order.state == "placed":
            order.state, order.closed_by, order.closed_at = state, str(by), aware(as_of)
            order.save(update_fields=["state", "closed_by", "closed_at"])
        return order


def on_order(items: Collection[int]) -> dict[int, list[OnOrder]]:
    """What placed orders will still bring of these items (ids), by item, the earliest due first. One query.

    What came of it is taken off; packs are those that the rest still takes.
    """
    came = DeliveryLine.objects.filter(line=OuterRef("offer__order_lines"), item=OuterRef("item")).order_by()
    rows = OfferItem.objects.filter(item__in=items, offer__order_lines__order__state="placed").values_list(
        "item", "offer", "quantity", "offer__pack", "offer__order_lines__packs", "offer__order_lines__order__number",
        "offer__order_lines__order__due",
        Coalesce(Subquery(came.values("line").annotate(total=Sum("pieces")).values("total")), 0),
    )  # fmt: skip
    found: dict[int, list[OnOrder]] = defaultdict(list)
    for item, offer, quantity, pack, packs, number, due, here in rows:
        left = packs * pack * quantity - here
        if left > 0:
            found[item].append(OnOrder(number, item, offer, -(-left // (pack * quantity)), left, due))
    for each in found.values():
        each.sort(key=lambda coming: (coming.due or date.max, coming.number))
    return found


def open_orders(most: int = 50) -> QuerySet[Order]:
    """Orders that are placed, the last first: each with supplier, lines, `goods` and, with carriage, its `total`."""
    orders = Order.objects.filter(state="placed").select_related("supplier").prefetch_related("lines__offer")
    orders = orders.annotate(goods=Sum(F("lines__packs") * F("lines__price")))
    return orders.annotate(total=F("goods") + F("supplier__carriage")).order_by("-pk")[:most]


# --- what comes in -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Expected:
    """What a line of an order brings of one item: pieces ordered, those that came, and those still to come."""

    line: int
    item: Item
    offer: Offer
    ordered: int
    came: int

    @property
    def left(self) -> int:
        """Never below nought, though more may come than was ordered."""
        return max(0, self.ordered - self.came)

    @property
    def over(self) -> int:
        """What came beyond what was ordered."""
        return max(0, self.came - self.ordered)


@dataclass(frozen=True, slots=True)
class Came:
    """What came for one line of an order: a counted quantity with lot and dates, or tools by their tags; into a bin."""

    line: int
    item: int
    bin: Bin
    quantity: int = 0
    tags: tuple[str, ...] = ()
    lot: str = ""
    packed: date | None = None
    expires: date | None = None
    calibration_due: date | None = None

    @property
    def pieces(self) -> int:
        return self.quantity or len(self.tags)


def order_numbered(number: str) -> Order:
    """The order of this number, with its supplier. Raises `Refused`: order_unknown."""
    order = Order.objects.select_related("supplier").filter(number=number).first()
    if order is None:
        raise Refused(Reason("order_unknown", number=number))
    return order


def expected(order: Order) -> list[Expected]:
    """What an order brings, line by line and item by item. Three queries."""
    here: dict[tuple[int, int], int] = defaultdict(int)
    for line, item, pieces in DeliveryLine.objects.filter(delivery__order=order).values_list("line", "item", "pieces"):
        here[line, item] += pieces
    lines = order.lines.select_related("offer").order_by("id")
    contents = Prefetch("offer__lines", OfferItem.objects.select_related("item").order_by("id"))
    return [
        Expected(line.pk, each.item, line.offer, line.packs * line.offer.pack * each.quantity,
                 here[line.pk, each.item_id])
        for line in lines.prefetch_related(contents)
        for each in line.offer.lines.all()
    ]  # fmt: skip


def receive_order(
    *,
    number: str,
    came: Sequence[Came],
    by: Any,
    as_of: datetime,
    note: str = "",
    complete: bool = False,
    request_key: str | None = None,
) -> Delivery:
    """What came of an order goes into its bins, each through the ledger; the order closes with its last piece.

    A part leaves the rest on order, unless `complete` says that nothing more will come. All of it or nothing. The same
    `request_key` answers with the delivery that it made. Raises `Refused`: order_unknown, order_closed,
    nothing_came, order_line_unknown, tags_missing, item_is_counted, and what receiving refuses (tag_taken,
    batch_dates_differ …).
    """
    at = aware(as_of)
    try:
        with act():
            order = Order.objects.select_for_update(no_key=True).filter(number=number).first()
            if order is None:
                raise Refused(Reason("order_unknown", number=number))
            done = _delivered(request_key, order)
            if done is not None:
                return done
            if order.state != "placed":
                raise Refused(Reason("order_closed", number=number, state=order.state))
            if not came and not complete:
                raise Refused(Reason("nothing_came"))
            wanted = {(each.line, each.item.pk): each for each in expected(order)}
            # What is there grows under locks in the one order of all acts; what is new is made in an order of its own.
            _lock_batches(came)
            came = sorted(came, key=lambda each: (each.item, each.bin.pk, each.lot, each.tags))
            delivery = Delivery.objects.create(order=order, at=at, by=str(by), note=note, request_key=request_key)
            entry: dict[str, Any] = {"as_of": at, "by": by, "reason": order.number}
            pieces: dict[tuple[int, int], int] = defaultdict(int)
            for each in came:
                of = wanted.get((each.line, each.item))
                if of is None:
                    raise Refused(Reason("order_line_unknown", number=number))
                if not of.item.counted and (each.quantity or not each.tags):
                    raise Refused(Reason("tags_missing", item=str(of.item)))
                if each.tags or not of.item.counted:
                    for tag in each.tags:
                        receive_unit(
                            item=of.item, tag=tag, bin=each.bin, calibration_due=each.calibration_due, **entry
                        )  # fmt: skip
                else:
                    receive_batch(
                        item=of.item, quantity=each.quantity, bin=each.bin, lot=each.lot, packed=each.packed,
                        expires=each.expires, **entry,
                    )  # fmt: skip
                pieces[each.line, each.item] += each.pieces
            DeliveryLine.objects.bulk_create(
                DeliveryLine(delivery=delivery, line_id=line, item_id=item, pieces=count)
                for (line, item), count in pieces.items()
                if count
            )
            if complete or all(each.left <= pieces[key] for key, each in wanted.items()):
                order.state, order.closed_by, order.closed_at = "received", str(by), at
                order.save(update_fields=["state", "closed_by", "closed_at"])
            return delivery
    except Refused as refused:
        # Its twin was a moment ahead; the first one's answer is the answer.
        if refused.reason.code == "delivery_request_key_taken" and (
            done := _delivered(request_key, order_numbered(number))
        ):
            return done
        raise


def _lock_batches(came: Sequence[Came]) -> None:
    there = Batch.objects.filter(item__in={each.item for each in came}, bin__in={each.bin.pk for each in came})
    list(there.order_by("pk").select_for_update(no_key=True))


def _delivered(request_key: str | None, order: Order) -> Delivery | None:
    done = Delivery.objects.filter(request_key=request_key).first() if request_key else None
    if done is not None and done.order_id != order.pk:
        raise Refused(Reason("request_key_reused", label=order.number))
    return done


def deliveries(order: Order) -> QuerySet[Delivery]:
    """What came of an order, the first first, each with its lines and their items. Three queries."""
    return order.deliveries.order_by("id").prefetch_related("lines__item")


def lead_days(items: Collection[int], *, since: datetime) -> dict[int, list[int]]:
    """How many whole days orders of these items took, placed since a moment, by item. Two queries.

    From the day an order was placed to the day its last piece of the item came, in the shop's zone; of an order that
    was closed without saying what came, to that day. Open and cancelled orders tell nothing yet.
    """
    zone = settings.SHOP_ZONE
    lines = OfferItem.objects.filter(
        item__in=items, offer__order_lines__order__state="received", offer__order_lines__order__at__gte=since
    )
    ordered: dict[tuple[int, int], tuple[datetime, datetime | None]] = {}
    for item, order, at, closed in lines.order_by("offer__order_lines__order").values_list(
        "item", "offer__order_lines__order", "offer__order_lines__order__at", "offer__order_lines__order__closed_at"
    ):
        ordered[item, order] = (at, closed)
    last: dict[tuple[int, int], datetime] = {}
    # Whatever came of these orders: one that tells what came of it, and not of this item, tells nothing of the item.
    arrived = DeliveryLine.objects.filter(delivery__order__in={order for _, order in ordered}).order_by("id")
    told: set[int] = set()
    for item, order, at in arrived.values_list("item", "delivery__order", "delivery__at"):
        last[item, order] = at
        told.add(order)
    found: dict[int, list[int]] = defaultdict(list)
    for (item, order), (placed, closed) in ordered.items():
        came = last.get((item, order)) if order in told else closed
        if came is not None:
            days = (came.astimezone(zone).date() - placed.astimezone(zone).date()).days
            found[item].append(max(0, days))
    return dict(found)
