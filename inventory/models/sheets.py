"""Sheets that somebody sent, on their way into the stock."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.guards import Rule, Sole

STATES = ("sent", "judging", "judged", "applying", "applied", "interrupted")


class SentSheet(models.Model):
    """A file as it came, how it is to be read, how far that is, and what came of it.

    `columns` names our column for each of the file's, in its order. While it is worked at, `worker` says by which
    machine, process and run, and `seen_at` when that was last heard of. Its state becomes "applied" in the very
    transaction that takes it in, so that whatever else it says, nothing of it was.
    """

    name = models.CharField(max_length=160)
    content = models.BinaryField()
    of = models.CharField(max_length=10, default="stock")
    encoding = models.CharField(max_length=20, blank=True, default="")
    delimiter = models.CharField(max_length=2, blank=True, default="")
    worksheet = models.CharField(max_length=80, blank=True, default="")
    columns = models.JSONField(default=list)
    leave_out = models.BooleanField(default=False)
    rows = models.BigIntegerField(default=0)
    state = models.CharField(max_length=12, default="sent", choices=[(state, state) for state in STATES])
    doing = models.CharField(max_length=20, blank=True, default="")
    done = models.BigIntegerField(default=0)
    worker = models.CharField(max_length=160, blank=True, default="")
    seen_at = models.DateTimeField(null=True, blank=True)
    answer = models.JSONField(null=True, blank=True, default=None)
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    applied_by = models.CharField(max_length=80, blank=True, default="")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["-id"]
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="sent_sheet_request_key_taken"),
            Rule(condition=Q(state__in=STATES), name="sent_sheet_state_known"),
        ]

    def __str__(self) -> str:
        return self.name
