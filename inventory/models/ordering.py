"""When a consumable is ordered again, what the crib has settled for itself, and who may read its dates."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from inventory.guards import Rule, Sole


class OrderPoint(models.Model):
    """The least, order point and most of one counted item, as somebody set them: the newest row of an item holds.

    All three null: there is none any more. Append-only by a guard, so that it can be told who set what and why.
    """

    item = models.ForeignKey("inventory.Item", on_delete=models.PROTECT, related_name="order_points")
    minimum = models.BigIntegerField(null=True, blank=True)
    order_point = models.BigIntegerField(null=True, blank=True)
    maximum = models.BigIntegerField(null=True, blank=True)
    why = models.CharField(max_length=200)
    by = models.CharField(max_length=80)
    at = models.DateTimeField()
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="order_point_request_key_taken"),
            Rule(
                condition=Q(minimum__isnull=True, order_point__isnull=True, maximum__isnull=True)
                | Q(minimum__isnull=False, order_point__isnull=False, maximum__isnull=False),
                name="order_point_whole",
            ),
            Rule(condition=Q(minimum__isnull=True) | Q(minimum__gte=0), name="order_point_minimum_not_negative"),
            Rule(
                condition=Q(minimum__isnull=True) | Q(minimum__lte=F("order_point")),
                name="order_point_not_under_minimum",
            ),
            Rule(
                condition=Q(maximum__isnull=True) | Q(order_point__lte=F("maximum")),
                name="order_point_within_maximum",
            ),
            Rule(condition=~Q(by=""), name="order_point_by_somebody"),
            Rule(condition=~Q(why=""), name="order_point_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.minimum} / {self.order_point} / {self.maximum}"


class CribSetting(models.Model):
    """Something that the crib has settled for itself: the newest row of a code holds; append-only by a guard."""

    code = models.CharField(max_length=40, db_index=True)
    value = models.CharField(max_length=40)
    why = models.CharField(max_length=200)
    by = models.CharField(max_length=80)
    at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            Rule(condition=~Q(by=""), name="crib_setting_by_somebody"),
            Rule(condition=~Q(why=""), name="crib_setting_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.code} = {self.value}"


class CalendarAddress(models.Model):
    """A secret address under which somebody's calendar reads the crib's dates; only its digest is kept."""

    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    digest = models.CharField(max_length=64)
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["id"]
        verbose_name_plural = "calendar addresses"
        constraints: ClassVar = [
            Sole(fields=["digest"], name="calendar_address_taken"),
            Sole(fields=["owner"], condition=Q(ended_at__isnull=True), name="calendar_address_one_each"),
        ]

    def __str__(self) -> str:
        return f"{self.owner}, {self.at:%Y-%m-%d}"
