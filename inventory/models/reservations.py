"""What is kept for a label between two times."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from inventory.guards import Rule, Sole


class Reservation(models.Model):
    """A set of holds for one label; `link` is a path on this site that tells what it is for."""

    label = models.CharField(max_length=80)
    link = models.CharField(max_length=200, blank=True, default="")
    state = models.CharField(max_length=8, default="active", choices=[("active", "active"), ("released", "released")])
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.CharField(max_length=80, blank=True, default="")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)
    release_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["id"]
        indexes: ClassVar = [models.Index(fields=["label"], name="reservation_label")]
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="reservation_request_key_taken"),
            Sole(fields=["release_key"], name="reservation_release_key_taken"),
            Rule(condition=~Q(label=""), name="reservation_labelled"),
            Rule(condition=~Q(by=""), name="reservation_by_somebody"),
            Rule(
                # "//host" would be a path to another site.
                condition=Q(link="") | (Q(link__startswith="/") & ~Q(link__startswith="//")),
                name="reservation_link_on_this_site",
            ),
            Rule(
                condition=Q(state="active", released_at__isnull=True) | Q(state="released", released_at__isnull=False),
                name="reservation_released_has_a_time",
            ),
        ]

    def __str__(self) -> str:
        return self.label


class UnitHold(models.Model):
    """One unit kept for a reservation in a half-open window, with the life it will take, in holes of plain metal:
    a hole in a metal that takes more counts for more.

    A reservation may keep a unit for several windows, so that others have it in between.
    `shorted` says that it ended because the unit was lost or scrapped, and not by release. No two active
    holds of one unit overlap: a guard of the database (`inventory.guards`).
    """

    reservation = models.ForeignKey(Reservation, on_delete=models.PROTECT, related_name="unit_holds")
    unit = models.ForeignKey("inventory.Unit", on_delete=models.PROTECT, related_name="holds")
    start = models.DateTimeField()
    end = models.DateTimeField()
    holes = models.BigIntegerField(default=0)
    active = models.BooleanField(default=True)
    shorted = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar = ["start", "id"]
        indexes: ClassVar = [models.Index(fields=["unit", "active"], name="unithold_unit_active")]
        constraints: ClassVar = [
            Sole(fields=["reservation", "unit", "start"], name="unit_held_twice"),
            Rule(condition=Q(end__gt=F("start")), name="unit_hold_ends_after_start"),
            Rule(condition=Q(holes__gte=0), name="unit_hold_holes_not_negative"),
            Rule(condition=Q(active=False) | Q(shorted=False), name="unit_hold_shorted_is_over"),
        ]

    def __str__(self) -> str:
        return f"{self.unit} for {self.reservation}"


class BatchHold(models.Model):
    """A quantity of one batch kept for a reservation that needs it from `start` on.

    `short` of it was lost since, `issued` of it was handed out: what is still kept is quantity less both.
    """

    reservation = models.ForeignKey(Reservation, on_delete=models.PROTECT, related_name="batch_holds")
    batch = models.ForeignKey("inventory.Batch", on_delete=models.PROTECT, related_name="holds")
    start = models.DateTimeField()
    quantity = models.BigIntegerField()
    short = models.BigIntegerField(default=0)
    issued = models.BigIntegerField(default=0)
    active = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar = ["start", "id"]
        indexes: ClassVar = [models.Index(fields=["batch", "active"], name="batchhold_batch_active")]
        constraints: ClassVar = [
            Sole(fields=["reservation", "batch"], name="batch_held_twice"),
            Rule(condition=Q(quantity__gt=0), name="batch_hold_quantity_positive"),
            Rule(
                condition=Q(short__gte=0) & Q(short__lte=F("quantity")),
                name="batch_hold_short_within_quantity",
            ),
            Rule(
                condition=Q(issued__gte=0) & Q(issued__lte=F("quantity") - F("short")),
                name="batch_hold_issued_within_quantity",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.batch} for {self.reservation}"

    @property
    def kept(self) -> int:
        """How much still lies there for it."""
        return self.quantity - self.short - self.issued
