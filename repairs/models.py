"""The tables of a repair: parts, jobs, hole groups, proofs, cards, insert families, the shop's limits.

Lengths are whole nanometres, torques newton millimetres. Threads are canonical keys beside what was typed.
"""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from inventory import guards
from repairs.methods.values import BEFORE, DAMAGE, FAILED, INSERTS, MADE, ORDER, YES_NO
from repairs.wording import SENTENCES

SAFETY = ("", "suspension", "steering", "brakes", "lifting", "pressure", "aircraft")


def _choices(codes: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(code, code.replace("_", " ") or "not entered") for code in codes]


class Rule(guards.Rule):
    """A check constraint whose sentence stands in this app's wording."""

    sentences = SENTENCES


class Sole(guards.Sole):
    """A unique constraint whose sentence stands in this app's wording."""

    sentences = SENTENCES


class Family(models.Model):
    """A published or house range of inserts in one edition; editions never change (append-only guard)."""

    code = models.SlugField(max_length=60)
    edition = models.CharField(max_length=30)
    method = models.CharField(max_length=30, choices=_choices(INSERTS))
    metal = models.CharField("what a solid insert is made of", max_length=40, blank=True, default="")
    standing = models.CharField(max_length=10, choices=[("published", "published"), ("house", "house")])
    source = models.CharField(max_length=300)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["code", "edition"]
        verbose_name_plural = "families"
        constraints = [Sole(fields=["code", "edition"], name="family_edition_once")]

    def __str__(self) -> str:
        return f"{self.code}/{self.edition}"


class FamilySize(models.Model):
    """One insert of a family and what the family says about its hole (append-only guard)."""

    family = models.ForeignKey(Family, on_delete=models.PROTECT, related_name="sizes")
    inner = models.CharField("inner thread", max_length=60, db_index=True)
    outer = models.CharField("outer thread", max_length=60)
    length = models.BigIntegerField("insert length, nm")
    drill_least = models.BigIntegerField(null=True, blank=True)
    drill_most = models.BigIntegerField(null=True, blank=True)
    seat = models.BigIntegerField(null=True, blank=True)
    seat_depth = models.BigIntegerField(default=0)
    flange = models.BigIntegerField(null=True, blank=True)
    below_least = models.BigIntegerField(null=True, blank=True)
    below_most = models.BigIntegerField(null=True, blank=True)
    removal_drill = models.BigIntegerField(null=True, blank=True)
    removal_depth = models.BigIntegerField(null=True, blank=True)
    locate = models.CharField(max_length=20, blank=True)
    lock = models.CharField(max_length=20, blank=True)
    tang_free = models.BooleanField(default=False)
    locking = models.BooleanField(default=False)
    nose = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["family", "id"]
        constraints = [
            Sole(fields=["family", "inner", "outer", "length"], name="family_size_once"),
            Rule(condition=Q(length__gt=0), name="family_size_length_positive"),
            Rule(
                # Half a window is none: a comparison with nothing is neither true nor false, and a check lets it by.
                condition=Q(drill_least__isnull=True, drill_most__isnull=True)
                | Q(drill_least__isnull=False, drill_most__isnull=False, drill_most__gte=F("drill_least")),
                name="family_size_drill_window",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.inner} in {self.outer}, {self.length} nm"


class Part(models.Model):
    """A customer's part: what is repaired, the fixture it names and how safety-critical it is."""

    owner = models.CharField(max_length=120)
    name = models.CharField(max_length=120)
    serial = models.CharField(max_length=80, blank=True)
    drawing = models.CharField("drawing number", max_length=80, blank=True)
    safety = models.CharField("safety class", max_length=20, blank=True, choices=_choices(SAFETY))
    fixture = models.CharField(max_length=60, blank=True)
    hand = models.CharField(max_length=1, blank=True, choices=[("", "not handed"), ("L", "left"), ("R", "right")])

    def __str__(self) -> str:
        return f"{self.name} {self.serial}".strip()


class Position(models.Model):
    """A hole's place on a part; some may not be repaired at all, because too little metal remains."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="positions")
    label = models.CharField(max_length=40)
    edge = models.BigIntegerField("axis to edge, nm", null=True, blank=True)
    floor = models.BigIntegerField("floor, nm", null=True, blank=True)
    may_not_be_repaired = models.BooleanField(default=False)

    class Meta:
        constraints = [Sole(fields=["part", "label"], name="position_once")]

    def __str__(self) -> str:
        return self.label


class Job(models.Model):
    """A repair job: whose, where, when; its kit is held by one reservation."""

    STATES = (
        ("planned", "planned"),
        ("booked", "booked"),
        ("started", "started"),
        ("released", "released"),
        ("cancelled", "cancelled"),
    )

    number = models.CharField(max_length=40)
    site = models.ForeignKey("inventory.Site", on_delete=models.PROTECT, related_name="+")
    owner = models.CharField(max_length=120)
    note = models.TextField(blank=True)
    start = models.DateTimeField()
    end = models.DateTimeField()
    state = models.CharField(max_length=10, choices=STATES, default="planned")
    reservation = models.OneToOneField(
        "inventory.Reservation", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    handed_over_by = models.CharField(max_length=120, blank=True, default="")
    handed_over_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["start", "number"]
        constraints = [
            Sole(fields=["number"], name="job_number_taken"),
            Rule(condition=Q(end__gt=F("start")), name="job_ends_after_start"),
        ]

    def __str__(self) -> str:
        return self.number


class HoleGroup(models.Model):
    """n like holes of one part that are planned together: the thread, the answers, what was decided.

    `typed` keeps every answer as it was typed, so that a form shows it back unchanged. `start` and `end`
    empty: the job's own window.
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="groups")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="groups")
    code = models.CharField(max_length=4)
    thread = models.CharField(max_length=60, db_index=True)
    thread_class = models.CharField(max_length=10, blank=True)
    as_typed = models.CharField(max_length=80)
    through = models.BooleanField(default=False)
    depth = models.BigIntegerField(null=True, blank=True)
    floor = models.BigIntegerField(null=True, blank=True)
    edge = models.BigIntegerField(null=True, blank=True)
    material = models.CharField(max_length=30, blank=True)
    before = models.CharField(max_length=20, choices=_choices(BEFORE), default="unknown")
    before_thread = models.CharField(max_length=60, blank=True)
    before_major = models.BigIntegerField(null=True, blank=True)
    failed = models.CharField(max_length=10, blank=True, choices=_choices(FAILED))
    passes_gauge = models.CharField(max_length=10, choices=_choices(YES_NO), default="unknown")
    made = models.CharField(max_length=10, choices=_choices(MADE), default="unknown")
    torque = models.BigIntegerField("torque to prove, N·mm", null=True, blank=True)
    damage = models.CharField("what is wrong", max_length=10, blank=True, default="", choices=_choices(DAMAGE))
    bore = models.BigIntegerField("widest diameter now, nm", null=True, blank=True)
    off_axis = models.BigIntegerField("axis off its place, nm", null=True, blank=True)
    grade = models.CharField("class or grade of the bolt", max_length=20, blank=True, default="")
    alloy = models.CharField(max_length=40, blank=True, default="")
    tensile = models.BigIntegerField("tensile strength of the metal, kPa", null=True, blank=True)
    shear = models.BigIntegerField("shear strength of the metal, kPa", null=True, blank=True)
    reach = models.BigIntegerField("how far the bolt reaches in, nm", null=True, blank=True)
    wished = models.CharField("wished method", max_length=30, blank=True, choices=_choices(ORDER))
    accepted = models.CharField("accepted method", max_length=30, blank=True, choices=_choices(ORDER))
    accepted_size = models.ForeignKey(FamilySize, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    accepted_code = models.CharField("accepted size", max_length=200, blank=True, default="")
    accepted_by = models.CharField(max_length=120, blank=True)
    overruled_by = models.CharField("who answers for it", max_length=120, blank=True, default="")
    overruled_why = models.CharField("why it may be done", max_length=400, blank=True, default="")
    overruled = models.JSONField("what is answered for", default=list, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    start = models.DateTimeField(null=True, blank=True)
    end = models.DateTimeField(null=True, blank=True)
    typed = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["job", "code"]
        constraints = [
            Sole(fields=["job", "code"], name="hole_group_once"),
            Rule(
                condition=Q(start__isnull=True, end__isnull=True)
                | Q(start__isnull=False, end__isnull=False, end__gt=F("start")),
                name="hole_group_ends_after_start",
            ),
            Rule(
                condition=Q(overruled_by="", overruled_why="") | (~Q(overruled_by="") & ~Q(overruled_why="")),
                name="hole_group_overruled_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job_id}{self.code} {self.as_typed}"


class Hole(models.Model):
    """One hole of a group, at a position of the part."""

    group = models.ForeignKey(HoleGroup, on_delete=models.CASCADE, related_name="holes")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="holes")

    class Meta:
        ordering = ["id"]
        constraints = [Sole(fields=["group", "position"], name="hole_once")]

    def __str__(self) -> str:
        return f"{self.group_id} {self.position_id}"


class Proof(models.Model):
    """What was measured when a hole was done, and what stands in it now; append-only, a hole's lineage.

    The newest row of a hole counts, and each row holds all that was entered until then. "open": not all that the
    method asks for was entered, or nothing was planned to judge it by; "failed": something failed, `failed` says what;
    "signed": a foreman signs for it, and `why`. `against` is what was judged by: windows in nm, the torque in N·mm.
    """

    hole = models.ForeignKey(Hole, on_delete=models.PROTECT, related_name="proofs")
    at = models.DateTimeField()
    by = models.CharField(max_length=120)
    method = models.CharField(max_length=30, blank=True, default="")
    thread = models.CharField("thread now in the hole", max_length=60)
    insert = models.ForeignKey(FamilySize, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    bite = models.DecimalField("fresh thread, %", max_digits=5, decimal_places=1, null=True, blank=True)
    margin = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)
    hole_gauge = models.BooleanField("hole gauge passed", null=True, blank=True)
    minor = models.BigIntegerField("minor diameter, nm", null=True, blank=True)
    tang_out = models.BooleanField("tang taken out", null=True, blank=True)
    set_down = models.BigIntegerField("set-down, nm", null=True, blank=True)
    flush = models.BooleanField("flange flush", null=True, blank=True)
    final_gauge = models.BooleanField("final gauge passed", null=True, blank=True)
    prevailing = models.BigIntegerField("prevailing torque, N·mm", null=True, blank=True)
    torque = models.BigIntegerField("torque reached, N·mm", null=True, blank=True)
    held_still = models.BooleanField("insert did not turn", null=True, blank=True)
    against = models.JSONField(default=dict, blank=True)
    result = models.CharField(
        max_length=10, choices=[("open", "open"), ("proved", "proved"), ("failed", "failed"), ("signed", "signed")]
    )
    failed = models.CharField(
        "what failed", max_length=10, blank=True, default="", choices=[("insert", "insert"), ("parent", "parent metal")]
    )
    why = models.CharField("why, or what was seen", max_length=400, blank=True, default="")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            Sole(fields=["request_key", "hole"], name="proof_once"),
            Rule(condition=~Q(result="failed") | ~Q(failed=""), name="proof_failed_says_what"),
            Rule(condition=~Q(result="signed") | ~Q(why=""), name="proof_signed_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.hole_id} {self.result}"


class StepSign(models.Model):
    """Somebody signs that a step was done at a hole, or takes that back; append-only, the newest row counts.

    With `proof` it is the second signature under that proof, by another person; a newer proof wants a new one.
    """

    hole = models.ForeignKey(Hole, on_delete=models.PROTECT, related_name="signs")
    step = models.CharField(max_length=30)
    withdrawn = models.BooleanField(default=False)
    proof = models.ForeignKey(Proof, on_delete=models.PROTECT, null=True, blank=True, related_name="signs")
    at = models.DateTimeField()
    by = models.CharField(max_length=120)
    note = models.CharField(max_length=200, blank=True, default="")
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering = ["id"]
        constraints = [
            Sole(fields=["request_key", "hole", "step"], name="step_sign_once"),
            Rule(condition=~Q(by=""), name="step_sign_by_somebody"),
        ]

    def __str__(self) -> str:
        return f"{self.hole_id} {self.step}{' taken back' if self.withdrawn else ''}"


class Card(models.Model):
    """A printed job card: the plan as it was printed, frozen; append-only."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="cards")
    number = models.PositiveIntegerField()
    plan = models.JSONField()
    schema_version = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    pdf = models.BinaryField(null=True, blank=True)
    by = models.CharField(max_length=120)
    at = models.DateTimeField()
    request_key = models.CharField(max_length=64, null=True, blank=True, default=None)

    class Meta:
        ordering = ["job", "number"]
        constraints = [
            Sole(fields=["job", "number"], name="card_number_once"),
            Sole(fields=["job", "request_key"], name="card_asked_once"),
        ]

    def __str__(self) -> str:
        return f"{self.job_id}/{self.number}"


class Kit(models.Model):
    """How whole a job's kit was when it was released to the shop: lines asked for, and those filled from stock.

    Written by the act that reserves it; a job that is reserved anew gets another row, and the newest counts.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="kits")
    at = models.DateTimeField()
    asked = models.PositiveIntegerField()
    filled = models.PositiveIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [Rule(condition=Q(filled__lte=F("asked")), name="kit_filled_within_asked")]

    def __str__(self) -> str:
        return f"{self.job_id}: {self.filled} of {self.asked}"


class ShopLimit(models.Model):
    """A limit that the shop has set for itself: the newest row of a code holds; append-only."""

    code = models.CharField(max_length=40, db_index=True)
    value = models.CharField(max_length=200)
    source = models.CharField(max_length=200)
    by = models.CharField(max_length=120)
    at = models.DateTimeField()

    class Meta:
        ordering = ["code", "at", "id"]

    def __str__(self) -> str:
        return f"{self.code} = {self.value}"


APPEND_ONLY = (Proof, StepSign, Card, Family, FamilySize, Kit, ShopLimit)
