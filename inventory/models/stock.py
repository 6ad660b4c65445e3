"""Where things stand and who has them: sites, bins, people, units, batches and the ledger."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper

from inventory.guards import Rule, Sole
from inventory.kinds import CONDITIONS

AWAY = ("loan", "regrind", "calibration")
ACTS = (
    "received", "issued", "given_back", "used", "counted", "moved", "adjusted",
    "scrapped", "lost", "lent", "returned", "sent", "calibrated",
)  # fmt: skip


_CONDITIONS = {"due_regrind": "due for regrind"}


def conditions() -> list[tuple[str, str]]:
    """Conditions as choices; a function, so that the words may change without a migration."""
    return [(condition, _CONDITIONS.get(condition, condition)) for condition in CONDITIONS]


def away() -> list[tuple[str, str]]:
    return [("loan", "on loan"), ("regrind", "at regrind"), ("calibration", "at calibration")]


def acts() -> list[tuple[str, str]]:
    return [(act, act.replace("_", " ")) for act in ACTS]


class Site(models.Model):
    """A place with bins of its own; a tool at another site is not at hand."""

    name = models.CharField(max_length=80)

    class Meta:
        ordering: ClassVar = ["name"]
        constraints: ClassVar = [
            Sole(fields=["name"], name="site_name_taken"),
            Rule(condition=~Q(name=""), name="site_named"),
        ]

    def __str__(self) -> str:
        return self.name


class Bin(models.Model):
    """A bin, drawer or shelf; `walk` is its place on the walk through the crib."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="bins")
    name = models.CharField(max_length=40)
    walk = models.BigIntegerField(default=0)

    class Meta:
        ordering: ClassVar = ["site", "walk", "name"]
        indexes: ClassVar = [models.Index(Upper("name"), name="bin_name_folded")]
        constraints: ClassVar = [
            Sole(fields=["site", "name"], name="bin_name_taken"),
            Rule(condition=~Q(name=""), name="bin_named"),
            Rule(condition=Q(walk__gte=0), name="bin_walk_not_negative"),
        ]

    def __str__(self) -> str:
        return self.name


class Person(models.Model):
    """Somebody who borrows; a login is not needed for that."""

    name = models.CharField(max_length=80)
    badge = models.CharField(max_length=40, null=True, blank=True, default=None)
    login = models.OneToOneField(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering: ClassVar = ["name"]
        verbose_name_plural = "people"
        constraints: ClassVar = [
            Sole(fields=["badge"], name="badge_taken"),
            Rule(condition=~Q(name=""), name="person_named"),
        ]

    def __str__(self) -> str:
        return self.name


class Unit(models.Model):
    """One durable tool with its own tag.

    `bin` is where it belongs, also while it is away. Away (loan, regrind, calibration) is a fact on the
    unit with the last day it is away, null while nobody knows; `away_with` names the borrower or the
    firm. `issued_to` is the label of the job that has it in hand.
    """

    item = models.ForeignKey("inventory.Item", on_delete=models.PROTECT, related_name="units")
    tag = models.CharField(max_length=40)
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="units")
    condition = models.CharField(max_length=16, default="new", choices=conditions)
    holes_cut = models.BigIntegerField(default=0)
    extra_wear = models.BigIntegerField(
        default=0, help_text="life used beyond the holes cut, in holes: what harder metals took more, softer ones less"
    )
    wear_ahead = models.SmallIntegerField(
        default=0, help_text="hundredths of a hole by which the life used is rounded up; the next holes take them first"
    )
    regrinds = models.BigIntegerField(default=0)
    own_diameter = models.BigIntegerField(null=True, blank=True, help_text="nanometres, where regrinding changed it")
    calibration_due = models.DateField(null=True, blank=True, help_text="the last good day")
    certificate = models.CharField(max_length=80, blank=True, default="", help_text="of the last calibration")
    away_why = models.CharField(max_length=16, blank=True, default="", choices=away)
    away_until = models.DateField(null=True, blank=True)
    away_with = models.CharField(max_length=80, blank=True, default="")
    borrower = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="borrowed")
    issued_to = models.CharField(max_length=80, blank=True, default="")

    class Meta:
        ordering: ClassVar = ["tag"]
        indexes: ClassVar = [
            models.Index(fields=["condition"], name="unit_condition"),
            models.Index(fields=["calibration_due"], name="unit_calibration_due"),
        ]
        constraints: ClassVar = [
            Sole(Upper("tag"), name="tag_taken"),  # N1 and n1 are one tag to whoever reads it off the shelf
            Rule(condition=~Q(tag=""), name="unit_tagged"),
            Rule(condition=Q(condition__in=CONDITIONS), name="unit_condition_known"),
            Rule(condition=Q(holes_cut__gte=0), name="unit_holes_not_negative"),
            Rule(condition=Q(extra_wear__gte=-F("holes_cut")), name="unit_wear_not_negative"),
            Rule(condition=Q(wear_ahead__gte=0, wear_ahead__lte=99), name="unit_wear_ahead_within_a_hole"),
            Rule(condition=Q(regrinds__gte=0), name="unit_regrinds_not_negative"),
            Rule(condition=Q(own_diameter__isnull=True) | Q(own_diameter__gt=0), name="unit_diameter_positive"),
            Rule(
                condition=Q(condition="away", away_why__in=AWAY) | (~Q(condition="away") & Q(away_why="")),
                name="unit_away_says_why",
            ),
            Rule(
                condition=~Q(away_why="") | Q(away_until__isnull=True, away_with="", borrower__isnull=True),
                name="unit_at_home_is_with_nobody",
            ),
            Rule(condition=Q(issued_to="") | Q(away_why=""), name="unit_issued_is_not_away"),
        ]

    def __str__(self) -> str:
        return self.tag

    @property
    def life_used(self) -> int:
        """What was used of its life, in holes: those cut, and what they took more or less than one each."""
        return self.holes_cut + self.extra_wear


class Batch(models.Model):
    """A counted quantity of one item and lot in one bin; `held` of it is kept for reservations."""

    item = models.ForeignKey("inventory.Item", on_delete=models.PROTECT, related_name="batches")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="batches")
    lot = models.CharField(max_length=40, blank=True, default="")
    packed = models.DateField(null=True, blank=True)
    expires = models.DateField(null=True, blank=True, help_text="the last good day")
    on_hand = models.BigIntegerField(default=0)
    held = models.BigIntegerField(default=0)

    class Meta:
        ordering: ClassVar = ["expires", "id"]
        verbose_name_plural = "batches"
        indexes: ClassVar = [
            models.Index(Upper("lot"), name="batch_lot_folded"),
            models.Index(fields=["expires"], name="batch_expires"),
        ]
        constraints: ClassVar = [
            Sole(fields=["item", "bin", "lot"], name="batch_lot_taken"),
            Rule(condition=Q(held__gte=0), name="batch_held_not_negative"),
            Rule(condition=Q(held__lte=F("on_hand")), name="batch_held_within_on_hand"),
            Rule(
                condition=Q(packed__isnull=True) | Q(expires__isnull=True) | Q(packed__lte=F("expires")),
                name="batch_packed_before_expiry",
            ),
        ]

    def __str__(self) -> str:
        return self.lot or f"batch {self.pk}"


class Movement(models.Model):
    """One line of the ledger; only ever added to, which a database guard sees to.

    `quantity` is the change of what lies in the bin: for a batch in pieces, for a unit +1 when it comes
    and -1 when it goes, 0 when neither. `holes` is the change of the unit's holes cut (negative when a
    regrind gives it a new life), `extra_wear`, `wear_ahead` and `regrinds` change as the unit's own. Summed up, they
    give the balances. `diameter` is the unit's own after a regrind that changed it, the last such one being what it
    has; `calibration_due` likewise its last good day from then on. `condition` is the unit's from then on.
    """

    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    act = models.CharField(max_length=16, choices=acts)
    unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="movements")
    batch = models.ForeignKey(Batch, null=True, blank=True, on_delete=models.PROTECT, related_name="movements")
    quantity = models.BigIntegerField(default=0)
    holes = models.BigIntegerField(default=0)
    extra_wear = models.BigIntegerField(default=0)
    wear_ahead = models.SmallIntegerField(default=0)
    regrinds = models.BigIntegerField(default=0)
    diameter = models.BigIntegerField(null=True, blank=True)
    calibration_due = models.DateField(null=True, blank=True)
    condition = models.CharField(max_length=16, blank=True, default="", choices=conditions)
    from_bin = models.ForeignKey(Bin, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    to_bin = models.ForeignKey(Bin, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="movements")
    label = models.CharField(max_length=80, blank=True, default="")
    reason = models.CharField(max_length=200, blank=True, default="")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering: ClassVar = ["id"]
        indexes: ClassVar = [
            models.Index(fields=["at"], name="movement_at"),
            models.Index(fields=["label"], name="movement_label"),
        ]
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="movement_request_key_taken"),
            Rule(
                condition=Q(unit__isnull=False, batch__isnull=True) | Q(unit__isnull=True, batch__isnull=False),
                name="movement_of_one_thing",
            ),
            Rule(condition=Q(act__in=ACTS), name="movement_act_known"),
            Rule(condition=~Q(by=""), name="movement_by_somebody"),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d} {self.act} {self.unit or self.batch}"
