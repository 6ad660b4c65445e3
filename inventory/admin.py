"""The tables as Django's own admin shows them: a way to look, and to put master data right.

Balances, holds and the ledger are shown and not edited: they change through acts, each with its movement.
"""

from __future__ import annotations

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

from inventory.models import (
    Batch,
    BatchHold,
    Bin,
    Item,
    Movement,
    Offer,
    OfferItem,
    Order,
    OrderLine,
    Person,
    PriceBreak,
    Reservation,
    Site,
    Supplier,
    Unit,
    UnitHold,
)


class Shown(admin.ModelAdmin):
    """A table that is shown and not edited."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


@admin.register(Item)
class ItemAdmin(Shown):  # threads come in where they are read and shown back: by a sheet
    list_display = ("number", "kind", "name", "as_typed", "thread_class", "family", "life")
    list_filter = ("kind",)
    search_fields = ("number", "name", "as_typed", "thread", "inner")


@admin.register(Site, Person)
class NamedAdmin(admin.ModelAdmin):
    search_fields = ("name",)


@admin.register(Bin)
class BinAdmin(admin.ModelAdmin):
    list_display = ("name", "site", "walk")
    list_filter = ("site",)
    search_fields = ("name",)


@admin.register(Unit)
class UnitAdmin(Shown):
    list_display = ("tag", "item", "bin", "condition", "holes_cut", "calibration_due", "away_why")
    list_filter = ("condition", "away_why", "bin__site")
    list_select_related = ("item", "bin")
    search_fields = ("tag", "item__number", "item__name")


@admin.register(Batch)
class BatchAdmin(Shown):
    list_display = ("item", "lot", "bin", "on_hand", "held", "expires")
    list_select_related = ("item", "bin")
    search_fields = ("lot", "item__number", "item__name")


@admin.register(Movement)
class MovementAdmin(Shown):
    list_display = ("at", "act", "unit", "batch", "quantity", "holes", "label", "by", "reason")
    list_filter = ("act",)
    list_select_related = ("unit", "batch")
    search_fields = ("label", "unit__tag", "batch__lot", "by")
    show_full_result_count = False  # a ledger grows without end; counting it all for a page is no use


@admin.register(Reservation)
class ReservationAdmin(Shown):
    list_display = ("label", "state", "at", "by")
    list_filter = ("state",)
    search_fields = ("label",)


@admin.register(UnitHold)
class UnitHoldAdmin(Shown):
    list_display = ("unit", "reservation", "start", "end", "holes", "active", "shorted")
    list_filter = ("active",)
    list_select_related = ("unit", "reservation")


@admin.register(BatchHold)
class BatchHoldAdmin(Shown):
    list_display = ("batch", "reservation", "start", "quantity", "short", "issued", "active")
    list_filter = ("active",)
    list_select_related = ("batch", "reservation")


@admin.register(Supplier)
class SupplierAdmin(admin.ModelAdmin):
    list_display = ("name", "currency", "carriage", "minimum")
    search_fields = ("name",)


class OfferItemInline(admin.TabularInline):
    model = OfferItem
    autocomplete_fields = ("item",)
    extra = 0


class PriceBreakInline(admin.TabularInline):
    model = PriceBreak
    extra = 0


@admin.register(Offer)
class OfferAdmin(admin.ModelAdmin):
    list_display = ("name", "number", "supplier", "pack", "price", "lead_days", "active")
    list_filter = ("supplier", "active")
    inlines = (OfferItemInline, PriceBreakInline)


class OrderLineInline(admin.TabularInline):
    model = OrderLine
    extra = 0


@admin.register(Order)
class OrderAdmin(admin.ModelAdmin):
    list_display = ("number", "supplier", "state", "at", "due")
    list_filter = ("state",)
    inlines = (OrderLineInline,)
