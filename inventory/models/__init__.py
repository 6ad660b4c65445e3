"""The tables of what the shop owns; entered from inside this app only, others go through its rooms."""

from inventory.models.catalogue import Item
from inventory.models.purchasing import Offer, OfferItem, Order, OrderLine, PriceBreak, Supplier
from inventory.models.reservations import BatchHold, Reservation, UnitHold
from inventory.models.stock import Batch, Bin, Movement, Person, Site, Unit

__all__ = [
    "Batch",
    "BatchHold",
    "Bin",
    "Item",
    "Movement",
    "Offer",
    "OfferItem",
    "Order",
    "OrderLine",
    "Person",
    "PriceBreak",
    "Reservation",
    "Site",
    "Supplier",
    "Unit",
    "UnitHold",
]
