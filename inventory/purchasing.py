"""Purchasing: suppliers, what they offer and at what price, and what was ordered from them."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db.models import F, Prefetch, QuerySet, Sum

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import OfferFacts
from inventory.models import Item, Offer, OfferItem, Order, OrderLine, PriceBreak, Supplier
from inventory.stock import aware

__all__ = [
    "OfferFacts", "OnOrder", "add_offer", "add_supplier", "close_order", "currency_code", "lock_supplier",
    "next_number", "offers_for", "on_order", "open_orders", "order_of_request", "place_order", "refuse_terms",
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
    request_key: str | None = None,
) -> Order:
    """Write down an order that is placed with a supplier; each line an offer, packs and the price agreed for a pack.

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
                supplier=firm, number=number, state="placed", at=at, by=str(by), due=due, request_key=request_key
            )
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
    """What placed orders will bring of these items (ids), by item, the earliest due first. One query."""
    rows = OfferItem.objects.filter(item__in=items, offer__order_lines__order__state="placed").values_list(
        "item", "offer", "quantity", "offer__pack", "offer__order_lines__packs", "offer__order_lines__order__number",
        "offer__order_lines__order__due",
    )  # fmt: skip
    found: dict[int, list[OnOrder]] = defaultdict(list)
    for item, offer, quantity, pack, packs, number, due in rows:
        found[item].append(OnOrder(number, item, offer, packs, packs * pack * quantity, due))
    for each in found.values():
        each.sort(key=lambda coming: (coming.due or date.max, coming.number))
    return found


def open_orders(most: int = 50) -> QuerySet[Order]:
    """Orders that are placed, the last first: each with supplier, lines, `goods` and, with carriage, its `total`."""
    orders = Order.objects.filter(state="placed").select_related("supplier").prefetch_related("lines__offer")
    orders = orders.annotate(goods=Sum(F("lines__packs") * F("lines__price")))
    return orders.annotate(total=F("goods") + F("supplier__carriage")).order_by("-pk")[:most]
