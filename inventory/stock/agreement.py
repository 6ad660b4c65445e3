"""Whether balances, units and ledger say the same."""

from __future__ import annotations

from typing import Any

from django.db.models import F, QuerySet, Sum

from inventory.errors import Reason
from inventory.models import Batch, BatchHold, Unit
from inventory.stock.ledger import AT_HAND


def disagreements() -> list[Reason]:
    """Every place where the balances and the ledger do not say the same; empty when all is well.

    A unit's holes cut are the sum of its movements' holes; its quantities sum up to 1 while it is in its bin
    and to 0 otherwise. A batch's on hand is the sum of its movements, its held the sum of its active holds.
    """
    found: list[Reason] = []
    units: QuerySet[Any, Any] = Unit.objects.annotate(
        moved=Sum("movements__quantity"), cut=Sum("movements__holes")
    ).values_list("tag", "condition", "issued_to", "holes_cut", "moved", "cut")
    for tag, condition, issued_to, holes_cut, moved, cut in units.order_by("tag"):
        if moved is None:
            found.append(Reason("ledger_knows_no_unit", tag=tag))
            continue
        expected = int(condition in AT_HAND and not issued_to)
        if moved != expected:
            found.append(Reason("ledger_unit_place", tag=tag, ledger=moved, expected=expected))
        if cut != holes_cut:
            found.append(Reason("ledger_unit_holes", tag=tag, ledger=cut, holes=holes_cut))
    kept: dict[int, int] = dict(
        BatchHold.objects.filter(active=True)
        .order_by()
        .values_list("batch")
        .annotate(total=Sum(F("quantity") - F("short")))
    )
    batches: QuerySet[Any, Any] = Batch.objects.annotate(moved=Sum("movements__quantity"))
    for batch in batches.select_related("item").order_by("id"):
        name = {"batch": batch.pk, "item": str(batch.item), "lot": batch.lot}
        if (batch.moved or 0) != batch.on_hand:
            found.append(Reason("ledger_batch_on_hand", **name, ledger=batch.moved or 0, on_hand=batch.on_hand))
        if kept.get(batch.pk, 0) != batch.held:
            found.append(Reason("ledger_batch_held", **name, holds=kept.get(batch.pk, 0), held=batch.held))
    return found
