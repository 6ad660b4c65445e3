"""Who sells what, in which packs, at what price, and what was ordered."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.guards import Rule, Sole


class Supplier(models.Model):
    """A firm that sells; carriage is charged once an order, orders under the minimum are not taken."""

    name = models.CharField(max_length=80)
    currency = models.CharField(max_length=3, default="EUR")
    carriage = models.BigIntegerField(default=0, help_text="minor units an order")
    minimum = models.BigIntegerField(default=0, help_text="least order in minor units")

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [
            Sole(fields=["name"], name="supplier_name_taken"),
            Rule(condition=~Q(name=""), name="supplier_named"),
            Rule(condition=~Q(currency=""), name="supplier_currency_code"),
            Rule(condition=Q(carriage__gte=0), name="supplier_carriage_not_negative"),
            Rule(condition=Q(minimum__gte=0), name="supplier_minimum_not_negative"),
        ]

    def __str__(self) -> str:
        return self.name


class Offer(models.Model):
    """One thing a supplier sells: packs of one item, or of a set of items sold whole.

    A pack holds `pack` times each of its lines' quantities; `price` is for one pack, in minor units of
    the supplier's currency.
    """

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    number = models.CharField(max_length=40, blank=True, default="", help_text="the supplier's own number")
    name = models.CharField(max_length=160, blank=True, default="")
    pack = models.BigIntegerField(default=1)
    price = models.BigIntegerField()
    lead_days = models.BigIntegerField(default=0)
    active = models.BooleanField(default=True)
    items: models.ManyToManyField = models.ManyToManyField("inventory.Item", through="OfferItem", related_name="offers")

    class Meta:
        ordering: ClassVar = ["supplier", "id"]
        constraints: ClassVar = [
            Rule(condition=Q(pack__gt=0), name="offer_pack_positive"),
            Rule(condition=Q(price__gte=0), name="offer_price_not_negative"),
            Rule(condition=Q(lead_days__gte=0), name="offer_lead_not_negative"),
        ]

    def __str__(self) -> str:
        return self.name or self.number or f"offer {self.pk}"


class OfferItem(models.Model):
    """One item of an offer and how many of it one set holds."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="lines")
    item = models.ForeignKey("inventory.Item", on_delete=models.PROTECT, related_name="offer_lines")
    quantity = models.BigIntegerField(default=1)

    class Meta:
        ordering: ClassVar = ["offer", "id"]
        constraints: ClassVar = [
            Sole(fields=["offer", "item"], name="offer_item_twice"),
            Rule(condition=Q(quantity__gt=0), name="offer_item_quantity_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.item}"


class PriceBreak(models.Model):
    """From this many packs on, each pack costs `price`."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="breaks")
    packs = models.BigIntegerField()
    price = models.BigIntegerField()

    class Meta:
        ordering: ClassVar = ["offer", "packs"]
        constraints: ClassVar = [
            Sole(fields=["offer", "packs"], name="price_break_twice"),
            Rule(condition=Q(packs__gt=1), name="price_break_above_one_pack"),
            Rule(condition=Q(price__gte=0), name="price_break_price_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.packs} packs: {self.price}"


class Order(models.Model):
    """An order to one supplier."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    number = models.CharField(max_length=40)
    state = models.CharField(
        max_length=10,
        default="draft",
        choices=[(state, state) for state in ("draft", "placed", "received", "cancelled")],
    )
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    due = models.DateField(null=True, blank=True)
    urgent_why = models.CharField(max_length=200, blank=True, default="", help_text="an emergency, and why")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.CharField(max_length=80, blank=True, default="")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["id"]
        indexes: ClassVar = [models.Index(fields=["state"], name="order_state")]
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="order_request_key_taken"),
            Sole(fields=["number"], name="order_number_taken"),
            Rule(condition=~Q(number=""), name="order_numbered"),
            Rule(condition=~Q(by=""), name="order_by_somebody"),
        ]

    def __str__(self) -> str:
        return self.number


class OrderLine(models.Model):
    """So many packs of one offer at the price agreed."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="order_lines")
    packs = models.BigIntegerField()
    price = models.BigIntegerField(help_text="minor units a pack, as agreed")

    class Meta:
        ordering: ClassVar = ["order", "id"]
        constraints: ClassVar = [
            Sole(fields=["order", "offer"], name="order_line_twice"),
            Rule(condition=Q(packs__gt=0), name="order_line_packs_positive"),
            Rule(condition=Q(price__gte=0), name="order_line_price_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.packs} × {self.offer}"


class Delivery(models.Model):
    """What came in on one day of an order: the whole of it or a part. Append-only by a guard."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="deliveries")
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    note = models.CharField(max_length=80, blank=True, default="", help_text="the number of the delivery note")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["id"]
        verbose_name_plural = "deliveries"
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="delivery_request_key_taken"),
            Rule(condition=~Q(by=""), name="delivery_by_somebody"),
        ]

    def __str__(self) -> str:
        return f"{self.order}, {self.at:%Y-%m-%d}"


class DeliveryLine(models.Model):
    """So many pieces of one item that came for one line of the order."""

    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="lines")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="came")
    item = models.ForeignKey("inventory.Item", on_delete=models.PROTECT, related_name="came")
    pieces = models.BigIntegerField()

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            Sole(fields=["delivery", "line", "item"], name="delivery_line_twice"),
            Rule(condition=Q(pieces__gt=0), name="delivery_line_pieces_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} × {self.item}"
