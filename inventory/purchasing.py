"""Purchasing: suppliers, what they offer and at what price."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.db.models import Prefetch

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.models import Item, Offer, OfferItem, PriceBreak, Supplier


@dataclass(frozen=True, slots=True)
class OfferFacts:
    """One offer as a frozen value; money in minor units of `currency`.

    A pack costs `price` and brings `pieces`, pairs of item id and count. `breaks` are pairs of packs and the
    price a pack from that many on. Carriage and minimum are the supplier's, for a whole order.
    """

    offer: int
    supplier: str
    number: str
    name: str
    pieces: tuple[tuple[int, int], ...]
    price: int
    currency: str
    breaks: tuple[tuple[int, int], ...]
    lead_days: int
    carriage: int
    minimum: int


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
    if not items:
        raise Refused(Reason("offer_without_items"))
    dearest = price
    for packs, broken in sorted(breaks):
        if broken > dearest:
            raise Refused(
                Reason(
                    "price_break_not_cheaper",
                    packs=packs,
                    price_minor=broken,
                    before_minor=dearest,
                    currency=supplier.currency,
                )
            )
        dearest = broken
    with act():
        offer = Offer.objects.create(
            supplier=supplier, number=number, name=name, pack=pack, price=price, lead_days=lead_days
        )
        OfferItem.objects.bulk_create(OfferItem(offer=offer, item=item, quantity=quantity) for item, quantity in items)
        PriceBreak.objects.bulk_create(PriceBreak(offer=offer, packs=packs, price=broken) for packs, broken in breaks)
        return offer


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
