"""The tables of what the shop owns; entered from inside this app only, others go through its rooms."""

from inventory.models.catalogue import Item, ItemChange, LifeFactor
from inventory.models.counting import CountBin, CountEntry, CountLine, StockCount
from inventory.models.ordering import CalendarAddress, CribSetting, OrderPoint
from inventory.models.purchasing import Delivery, DeliveryLine, Offer, OfferItem, Order, OrderLine, PriceBreak, Supplier
from inventory.models.reservations import BatchHold, Reservation, UnitHold
from inventory.models.sheets import SentSheet
from inventory.models.stock import Batch, Bin, Movement, Person, Site, Unit

__all__ = [
    "Batch",
    "BatchHold",
    "Bin",
    "CalendarAddress",
    "CountBin",
    "CountEntry",
    "CountLine",
    "CribSetting",
    "Delivery",
    "DeliveryLine",
    "Item",
    "ItemChange",
    "LifeFactor",
    "Movement",
    "Offer",
    "OfferItem",
    "Order",
    "OrderLine",
    "OrderPoint",
    "Person",
    "PriceBreak",
    "Reservation",
    "SentSheet",
    "Site",
    "StockCount",
    "Supplier",
    "Unit",
    "UnitHold",
]
