"""Items: what the catalogue knows of a thing, measurement by measurement."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper

from inventory import naming
from inventory.guards import Rule, Sole
from inventory.kinds import ACTIONS, FLUTES, KINDS


def kinds() -> list[tuple[str, str]]:
    """The kinds as choices; a function, so that a new kind is no migration."""
    return [(kind.code, kind.word) for kind in KINDS.values()]


def flutes() -> list[tuple[str, str]]:
    return [(flute, flute) for flute in FLUTES]


def actions() -> list[tuple[str, str]]:
    return [("cut", "cutting"), ("form", "forming")]


def hands() -> list[tuple[str, str]]:
    return [("L", "left"), ("R", "right")]


class Item(models.Model):
    """A thing the catalogue knows, with the measurements that matching reads.

    Lengths in nanometres, torques in newton millimetres, lead in tenths of a thread. `thread` and `inner`
    are thread keys (`inventory.threads`), compared as keys and never taken apart; empty or null means
    that nothing was entered. `family` is an insert family as "code/edition"; without it, inserts of equal
    threads and unlike flanges would be taken for one another.
    """

    kind = models.CharField(max_length=24, choices=kinds)
    number = models.CharField(
        max_length=40, null=True, blank=True, default=None, help_text="the shop's own catalogue number"
    )
    name = models.CharField(max_length=160, blank=True, default="")
    as_typed = models.CharField(max_length=80, blank=True, default="", help_text="the thread as somebody wrote it")
    thread = models.CharField(max_length=64, blank=True, default="")
    thread_class = models.CharField(max_length=12, blank=True, default="")
    inner = models.CharField(max_length=64, blank=True, default="")
    diameter = models.BigIntegerField(null=True, blank=True)
    pilot = models.BigIntegerField(null=True, blank=True)
    usable_length = models.BigIntegerField(null=True, blank=True)
    lead = models.BigIntegerField(null=True, blank=True, help_text="tenths of a thread")
    flute = models.CharField(max_length=12, blank=True, default="", choices=flutes)
    action = models.CharField(max_length=8, blank=True, default="", choices=actions)
    insert_length = models.BigIntegerField(null=True, blank=True)
    flange = models.BigIntegerField(null=True, blank=True)
    hand = models.CharField(max_length=1, blank=True, default="", choices=hands, help_text="a fixture's own hand")
    torque_min = models.BigIntegerField(null=True, blank=True, help_text="newton millimetres")
    torque_max = models.BigIntegerField(null=True, blank=True, help_text="newton millimetres")
    family = models.CharField(max_length=80, blank=True, default="", help_text="code/edition")
    life = models.BigIntegerField(null=True, blank=True, help_text="holes between regrinds")
    cure_hours = models.BigIntegerField(
        null=True, blank=True, help_text="whole hours that an adhesive takes to cure, by its data sheet"
    )
    step_diameter = models.BigIntegerField(null=True, blank=True, help_text="of a step drill's second step")
    step_length = models.BigIntegerField(null=True, blank=True, help_text="of a step drill's leading step")
    takes_least = models.BigIntegerField(null=True, blank=True, help_text="least bore, square or pitch that it takes")
    takes_most = models.BigIntegerField(null=True, blank=True, help_text="largest bore, square or pitch that it takes")
    most_regrinds = models.BigIntegerField(null=True, blank=True, help_text="how often one may be reground")
    calibration_days = models.BigIntegerField(null=True, blank=True, help_text="between two calibrations")
    pack_size = models.BigIntegerField(null=True, blank=True, help_text="pieces in a full pack, as it lies in the bin")
    retired = models.BooleanField(default=False, help_text="no longer bought; what is there is used up")
    successor = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="predecessors")
    counted = models.BooleanField(default=False, help_text="lies in batches instead of carrying tags")

    class Meta:
        ordering: ClassVar = ["kind", "number", "id"]
        indexes: ClassVar = [
            models.Index(fields=["kind", "thread"], name="item_kind_thread"),
            models.Index(fields=["kind", "diameter"], name="item_kind_diameter"),
            models.Index(Upper("number"), name="item_number_folded"),
        ]
        constraints: ClassVar = [
            Sole(fields=["number"], name="item_number_taken"),
            Rule(condition=Q(number__isnull=True) | ~Q(number=""), name="item_number_not_empty"),
            *(
                Rule(
                    condition=Q(**{f"{column}__isnull": True}) | Q(**{f"{column}__gt": 0}),
                    name=f"item_{column}_positive",
                )
                for column in (
                    "diameter",
                    "pilot",
                    "usable_length",
                    "lead",
                    "insert_length",
                    "flange",
                    "torque_max",
                    "life",
                    "cure_hours",
                    "step_diameter",
                    "step_length",
                    "takes_least",
                    "takes_most",
                    "calibration_days",
                    "pack_size",
                )
            ),
            Rule(
                condition=Q(most_regrinds__isnull=True) | Q(most_regrinds__gte=0),
                name="item_most_regrinds_not_negative",
            ),
            Rule(
                condition=Q(torque_min__isnull=True)
                | (Q(torque_min__gte=0) & (Q(torque_max__isnull=True) | Q(torque_min__lte=F("torque_max")))),
                name="item_torque_range",
            ),
            Rule(
                condition=Q(takes_least__isnull=True)
                | Q(takes_most__isnull=True)
                | Q(takes_least__lte=F("takes_most")),
                name="item_takes_range",
            ),
            Rule(
                condition=Q(step_diameter__isnull=True) | Q(diameter__isnull=True) | Q(step_diameter__gt=F("diameter")),
                name="item_step_over_diameter",
            ),
            Rule(condition=Q(successor__isnull=True) | Q(retired=True), name="item_superseded_is_retired"),
            Rule(condition=~Q(successor=F("id")), name="item_not_its_own_successor"),
            Rule(condition=Q(flute="") | Q(flute__in=FLUTES), name="item_flute_known"),
            Rule(condition=Q(action="") | Q(action__in=ACTIONS), name="item_action_known"),
            Rule(condition=Q(hand__in=("", "L", "R")), name="item_hand_known"),
        ]

    def __str__(self) -> str:
        return " ".join(word for word in (self.number, naming.named(self)) if word)

    @property
    def address(self) -> str:
        """What stands for the item in an address: its number, or its id where it has none."""
        return self.number or f"~{self.pk}"


class LifeFactor(models.Model):
    """How much of a tool's life one hole in a parent material takes, in percent: 150 is one and a half holes.

    `material` is the code of a parent material as the app above knows it; it is compared and never read.
    """

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="life_factors")
    material = models.CharField(max_length=40)
    percent = models.BigIntegerField()

    class Meta:
        ordering: ClassVar = ["item", "material"]
        constraints: ClassVar = [
            Sole(fields=["item", "material"], name="life_factor_twice"),
            Rule(condition=~Q(material=""), name="life_factor_of_a_material"),
            Rule(condition=Q(percent__gt=0), name="life_factor_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.item} in {self.material}: {self.percent} %"


class ItemChange(models.Model):
    """What happened to an item of the catalogue: who, when, why; only ever added to, which a guard sees to.

    `was` and `now` hold what an act changed, by the columns of `Item` and in their units; life factors stand there
    by material. Nothing ever matches by them.
    """

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="changes")
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    act = models.CharField(max_length=16)
    successor = models.ForeignKey(Item, null=True, on_delete=models.PROTECT, related_name="+")
    was = models.JSONField(default=dict, blank=True)
    now = models.JSONField(default=dict, blank=True)
    reason = models.CharField(max_length=200, blank=True, default="")
    request_key = models.CharField(max_length=64, null=True, default=None)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            Sole(fields=["request_key"], name="item_change_request_key_taken"),
            Rule(
                condition=Q(act__in=("retired", "restored", "superseded", "care", "measured")),
                name="item_change_act_known",
            ),
            Rule(condition=~Q(by=""), name="item_change_by_somebody"),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d} {self.act} {self.item}"
