"""Whether balances, units and ledger say the same."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.db.models import F, OuterRef, Q, QuerySet, Subquery, Sum

from inventory.errors import Reason
from inventory.models import Batch, BatchHold, Movement, Unit, UnitHold
from inventory.stock.ledger import AT_HAND, GONE

# The acts after which a label has a unit in hand, and those after which it has not.
_TO_HAND = ("issued",)
_FROM_HAND = ("received", "given_back", "lent", "sent", "returned", "counted", "scrapped", "lost")


def disagreements() -> list[Reason]:
    """Every place where the balances and the ledger do not say the same; empty when all is well.

    A unit's holes cut, extra wear, what that is rounded up by and regrinds are the sums of its movements'; its
    quantities sum up to 1 while it is in its bin and to 0 otherwise; its bin is where the last movement put it, and it
    is in the hand of the label to which the last one that moved it issued it, if any. Its own diameter is that of the
    last movement that has one, and so are its condition and the last good day of its calibration, where any movement
    tells them (those of before they were written down do not). Nothing that is gone is held. A batch's on hand is the
    sum of its movements in its own bin, its held what its active holds still keep; what its holds say was issued to a
    label is no more than the ledger issued to it.
    """
    return [*_of_units(), *_of_batches()]


def _of_units() -> list[Reason]:
    found: list[Reason] = []

    def last(column: str, **told: Any) -> Subquery:
        return Subquery(Movement.objects.filter(unit=OuterRef("pk"), **told).order_by("-pk").values(column)[:1])

    units: QuerySet[Any, Any] = Unit.objects.annotate(
        moved=Sum("movements__quantity"),
        cut=Sum("movements__holes"),
        wear=Sum("movements__extra_wear"),
        ahead=Sum("movements__wear_ahead"),
        ground=Sum("movements__regrinds"),
        diameter=last("diameter", diameter__isnull=False),
        due=last("calibration_due", calibration_due__isnull=False),
        state=last("condition", condition__gt=""),
        lies=last("to_bin__name", to_bin__isnull=False),
        lies_in=last("to_bin", to_bin__isnull=False),
        hand=last("label", act__in=[*_TO_HAND, *_FROM_HAND]),
        deed=last("act", act__in=[*_TO_HAND, *_FROM_HAND]),
    )
    for unit in units.select_related("bin").order_by("tag"):
        tag = unit.tag
        if unit.moved is None:
            found.append(Reason("ledger_knows_no_unit", tag=tag))
            continue
        expected = int(unit.condition in AT_HAND and not unit.issued_to)
        if unit.moved != expected:
            found.append(Reason("ledger_unit_place", tag=tag, ledger=unit.moved, expected=expected))
        if unit.lies_in is not None and unit.lies_in != unit.bin_id:
            found.append(Reason("ledger_unit_bin", tag=tag, ledger=unit.lies, bin=unit.bin.name))
        hand = unit.hand if unit.deed in _TO_HAND else ""
        if hand != unit.issued_to:
            found.append(Reason("ledger_unit_label", tag=tag, ledger=hand or None, label=unit.issued_to or None))
        if unit.state is not None and unit.state != unit.condition:
            found.append(Reason("ledger_unit_condition", tag=tag, ledger=unit.state, condition=unit.condition))
        if unit.cut != unit.holes_cut:
            found.append(Reason("ledger_unit_holes", tag=tag, ledger=unit.cut, holes=unit.holes_cut))
        if unit.wear != unit.extra_wear:
            found.append(Reason("ledger_unit_wear", tag=tag, ledger=unit.wear, wear=unit.extra_wear))
        if unit.ahead != unit.wear_ahead:
            found.append(Reason("ledger_unit_wear_ahead", tag=tag, ledger=unit.ahead, ahead=unit.wear_ahead))
        if unit.ground != unit.regrinds:
            found.append(Reason("ledger_unit_regrinds", tag=tag, ledger=unit.ground, regrinds=unit.regrinds))
        if unit.diameter != unit.own_diameter:
            told = {"ledger_nm": unit.diameter, "diameter_nm": unit.own_diameter}
            found.append(Reason("ledger_unit_diameter", tag=tag, **told))
        if unit.due is not None and unit.due != unit.calibration_due:
            found.append(Reason("ledger_unit_calibration", tag=tag, ledger=unit.due, due=unit.calibration_due))
    gone = UnitHold.objects.filter(active=True, unit__condition__in=GONE).order_by("unit__tag", "pk")
    for tag, condition, label in gone.values_list("unit__tag", "unit__condition", "reservation__label"):
        found.append(Reason("ledger_unit_gone_held", tag=tag, condition=condition, label=label))
    return found


def _of_batches() -> list[Reason]:
    found: list[Reason] = []
    kept: dict[int, int] = dict(
        BatchHold.objects.filter(active=True)
        .order_by()
        .values_list("batch")
        .annotate(total=Sum(F("quantity") - F("short") - F("issued")))
    )
    said: dict[int, list[tuple[str, int]]] = defaultdict(list)
    holds: Any = BatchHold.objects.filter(issued__gt=0).order_by("batch", "reservation__label")
    for pk, label, issued in holds.values_list("batch", "reservation__label").annotate(total=Sum("issued")):
        said[pk].append((label, issued))
    out: dict[tuple[int, str], int] = {}
    if said:
        rows: Any = Movement.objects.filter(batch__in=said, act="issued").order_by().values_list("batch", "label")
        out = {(pk, label): -total for pk, label, total in rows.annotate(total=Sum("quantity"))}
    elsewhere: dict[int, str] = {}
    for came, column in ((Q(quantity__gt=0), "to_bin"), (Q(quantity__lt=0), "from_bin")):
        astray: Any = Movement.objects.filter(came, batch__isnull=False).exclude(**{column: F("batch__bin")})
        elsewhere |= dict(astray.order_by("pk").values_list("batch", f"{column}__name"))
    batches: QuerySet[Any, Any] = Batch.objects.annotate(moved=Sum("movements__quantity"))
    for batch in batches.select_related("item", "bin").order_by("id"):
        name = {"batch": batch.pk, "item": str(batch.item), "lot": batch.lot, "bin": batch.bin.name}
        if (batch.moved or 0) != batch.on_hand:
            found.append(Reason("ledger_batch_on_hand", **name, ledger=batch.moved or 0, on_hand=batch.on_hand))
        if batch.pk in elsewhere:
            found.append(Reason("ledger_batch_bin", **name, ledger=elsewhere[batch.pk]))
        if kept.get(batch.pk, 0) != batch.held:
            found.append(Reason("ledger_batch_held", **name, holds=kept.get(batch.pk, 0), held=batch.held))
        for label, issued in said[batch.pk]:
            if issued > out.get((batch.pk, label), 0):
                told = {"label": label, "holds": issued, "ledger": out.get((batch.pk, label), 0)}
                found.append(Reason("ledger_batch_issued", **name, **told))
    return found
