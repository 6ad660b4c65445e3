"""Stock counts: which bins are counted, what each person found in them, and what was posted of it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.guards import Rule, Sole

STATES = ("open", "posted", "abandoned")
HOW = ("counted", "left", "decided")


class StockCount(models.Model):
    """Some bins of one site, counted together; blind: whoever counts does not see what the book says."""

    site = models.ForeignKey("inventory.Site", on_delete=models.PROTECT, related_name="counts")
    blind = models.BooleanField(default=True)
    state = models.CharField(max_length=10, default="open", choices=[(state, state) for state in STATES])
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    closed_at = models.DateTimeField(null=True, blank=True, help_text="when it was posted or abandoned")
    closed_by = models.CharField(max_length=80, blank=True, default="")
    reason = models.CharField(max_length=200, blank=True, default="", help_text="one for all lines, or why abandoned")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)
    close_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["-id"]
        indexes: ClassVar = [models.Index(fields=["state", "closed_at"], name="count_state_closed")]
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="count_request_key_taken"),
            Sole(fields=["close_key"], name="count_close_key_taken"),
            Rule(condition=~Q(by=""), name="count_by_somebody"),
            Rule(
                condition=Q(state="open", closed_at__isnull=True)
                | Q(state__in=("posted", "abandoned"), closed_at__isnull=False),
                name="count_closed_has_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"count {self.pk}"


class CountBin(models.Model):
    """A bin of a count. `open` while the count is; a bin is in one open count only, so that nobody counts it twice.

    `done_by` said that nothing else lies in it: what nobody entered by then was not found.
    """

    count = models.ForeignKey(StockCount, on_delete=models.PROTECT, related_name="bins")
    bin = models.ForeignKey("inventory.Bin", on_delete=models.PROTECT, related_name="counts")
    open = models.BooleanField(default=True)
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.CharField(max_length=80, blank=True, default="")

    class Meta:
        ordering: ClassVar = ["bin__walk", "bin__name", "id"]
        constraints: ClassVar = [
            Sole(fields=["count", "bin"], name="count_bin_twice"),
            Sole(fields=["bin"], condition=Q(open=True), name="bin_in_one_open_count"),
        ]

    def __str__(self) -> str:
        return f"{self.bin} in {self.count}"


class CountLine(models.Model):
    """One thing that somebody entered in one bin of a count: a unit, a batch, or what the book does not know.

    That is a lot of an `item` that has no batch here, or a tag that no unit carries, as it was `called`.
    Entries up to `again_after` no longer count: somebody asked for the line to be counted again. `book`, `found`,
    `reason` and `movement` are filled in when the count is posted.
    """

    count = models.ForeignKey(StockCount, on_delete=models.PROTECT, related_name="lines")
    bin = models.ForeignKey("inventory.Bin", on_delete=models.PROTECT, related_name="count_lines")
    unit = models.ForeignKey(
        "inventory.Unit", null=True, blank=True, on_delete=models.PROTECT, related_name="count_lines"
    )
    batch = models.ForeignKey(
        "inventory.Batch", null=True, blank=True, on_delete=models.PROTECT, related_name="count_lines"
    )
    item = models.ForeignKey("inventory.Item", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    lot = models.CharField(max_length=40, blank=True, default="")
    called = models.CharField(max_length=40, null=True, blank=True, default=None)
    again_after = models.BigIntegerField(default=0)
    book = models.BigIntegerField(null=True, blank=True)
    found = models.BigIntegerField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True, default="")
    movement = models.OneToOneField(
        "inventory.Movement", null=True, blank=True, on_delete=models.PROTECT, related_name="count_line"
    )

    class Meta:
        ordering: ClassVar = ["bin__walk", "bin__name", "id"]
        constraints: ClassVar = [
            Sole(fields=["count", "bin", "unit"], name="count_line_unit_twice"),
            Sole(fields=["count", "bin", "batch"], name="count_line_batch_twice"),
            Sole(fields=["count", "bin", "item", "lot"], name="count_line_lot_twice"),
            Sole(fields=["count", "bin", "called"], name="count_line_called_twice"),
            Rule(
                condition=Q(unit__isnull=False, batch__isnull=True, item__isnull=True, called__isnull=True)
                | Q(unit__isnull=True, batch__isnull=False, item__isnull=True, called__isnull=True)
                | Q(unit__isnull=True, batch__isnull=True, item__isnull=False, called__isnull=True)
                | Q(unit__isnull=True, batch__isnull=True, item__isnull=True, called__isnull=False),
                name="count_line_of_one_thing",
            ),
            Rule(
                condition=Q(book__isnull=True, found__isnull=True) | Q(book__isnull=False, found__isnull=False),
                name="count_line_book_and_found",
            ),
        ]

    def __str__(self) -> str:
        return str(self.unit or self.batch or self.called or f"{self.item} {self.lot}")

    @property
    def off(self) -> int | None:
        """The difference that was found; None before the count is posted."""
        return None if self.found is None or self.book is None else self.found - self.book


class CountEntry(models.Model):
    """What one person found of one line; only ever added to, which a database guard sees to.

    `how`: counted; left, by saying that nothing else is in the bin; or decided between what others found.
    `book` is what the book said at that moment, `position` the last movement of the thing then, 0 for none.
    `counter` tells people apart whose names are alike.
    """

    line = models.ForeignKey(CountLine, on_delete=models.PROTECT, related_name="entries")
    how = models.CharField(max_length=8, default="counted", choices=[(how, how) for how in HOW])
    found = models.BigIntegerField()
    book = models.BigIntegerField()
    position = models.BigIntegerField(default=0)
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    counter = models.CharField(max_length=160)
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            Sole(fields=["line", "request_key"], name="count_entry_request_key_taken"),
            Rule(condition=Q(found__gte=0), name="count_entry_found_not_negative"),
            Rule(condition=~Q(by=""), name="count_entry_by_somebody"),
        ]

    def __str__(self) -> str:
        return f"{self.found} of {self.line}"
