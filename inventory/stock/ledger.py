"""The ledger: the one way that every act on stock goes, what acts refuse alike, and how the ledger is read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection
from datetime import UTC, date, datetime
from typing import Any, NotRequired, TypedDict, TypeVar

from django.conf import settings
from django.db.models import QuerySet, Sum

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.models import Batch, Movement, Unit

GONE = ("lost", "retired")
AT_HAND = ("new", "serviceable", "due_regrind")

Thing = TypeVar("Thing", Unit, Batch)

# --- what acts have in common ------------------------------------------------------------------------------


class _Signed(TypedDict):
    as_of: datetime
    by: Any
    request_key: NotRequired[str | None]


class Entry(_Signed):
    """What every act is told for the ledger: when, by whom, if need be why, and the key of a request that may
    be repeated."""

    reason: NotRequired[str]


class Explained(_Signed):
    """An entry that must say why."""

    reason: str


Line = dict[str, Any]  # what the deed itself puts into its movement


def aware(moment: datetime) -> datetime:
    """The moment in UTC; a naive one is a mistake in the program."""
    if moment.tzinfo is None:
        raise ValueError("as_of must be an aware datetime")
    return moment.astimezone(UTC)


def shop_day(moment: datetime) -> date:
    """The day that it is in the shop: last good days are days there."""
    return aware(moment).astimezone(settings.SHOP_ZONE).date()


def locked(thing: Thing) -> Thing:
    return type(thing)._default_manager.select_for_update(no_key=True).get(pk=thing.pk)


def book(
    deed: str,
    thing: Thing | None,
    change: Callable[[Thing], Line],
    *,
    as_of: datetime,
    by: Any,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """Every act goes this way, in one transaction: lock the one thing, change it, write the movement.

    `change` gets the thing as it is under lock (what `receive_…` takes in is not there yet: it gets None and
    names what it made), saves it, and returns what the movement says of the deed. A request that is repeated
    is answered with the movement that it made, and changes nothing.
    """
    at = aware(as_of)
    try:
        with act():
            # First the lock: a twin of this request may be ahead, and while it is at work nothing tells of it.
            held: Any = None if thing is None else locked(thing)
            if done := done_before(request_key, deed, thing):
                return done
            of: Line = {} if held is None else {"unit" if isinstance(held, Unit) else "batch": held}
            line: Line = {"reason": reason, **of, **change(held)}
            if unit := line.get("unit"):
                line["condition"] = unit.condition
            return Movement.objects.create(at=at, by=str(by), act=deed, request_key=request_key, **line)
    except Refused:
        # Twins that take something in have nothing to lock: they meet where the first has left its mark.
        if done := done_before(request_key, deed, thing):
            return done
        raise


def done_before(request_key: str | None, deed: str, thing: Unit | Batch | None) -> Movement | None:
    """The movement that this request already made; a key of another deed, or of another thing, is refused."""
    if request_key is None:
        return None
    done = Movement.objects.select_related("unit", "batch").filter(request_key=request_key).first()
    if done is not None and (done.act != deed or thing not in (None, done.unit, done.batch)):
        raise Refused(Reason("movement_request_key_taken"))
    return done


def refuse_gone(unit: Unit) -> None:
    if unit.condition in GONE:
        raise Refused(Reason("unit_gone", tag=unit.tag, condition=unit.condition))


def refuse_not_in_bin(unit: Unit) -> None:
    refuse_gone(unit)
    if unit.away_why:
        raise Refused(Reason("unit_away", tag=unit.tag, why=unit.away_why, until=unit.away_until))
    if unit.issued_to:
        raise Refused(Reason("unit_issued", tag=unit.tag, label=unit.issued_to))


def refuse_negative(holes: int) -> None:
    if holes < 0:
        raise Refused(Reason("holes_negative", holes=holes))


def refuse_not_positive(quantity: int) -> None:
    if quantity <= 0:
        raise Refused(Reason("quantity_not_positive", quantity=quantity))


def refuse_condition(condition: str) -> None:
    if condition not in AT_HAND:
        raise Refused(Reason("condition_not_at_hand", condition=condition, known=AT_HAND))


def refuse_no_label(label: str) -> None:
    if not label:
        raise Refused(Reason("label_missing"))


def refuse_no_reason(reason: str) -> None:
    if not reason:
        raise Refused(Reason("reason_missing"))


# --- the ledger as it is read ------------------------------------------------------------------------------


def movements(thing: Unit | Batch, *, before: int = 0, most: int = 20) -> tuple[list[Movement], int]:
    """A page of what happened to a unit or batch, the newest first, and the id that the next page is `before`.

    0 where there is no older one. One query.
    """
    rows = thing.movements.select_related("from_bin__site", "to_bin__site", "person").order_by("-pk")
    found = list((rows.filter(pk__lt=before) if before else rows)[: most + 1])
    return found[:most], found[most - 1].pk if len(found) > most else 0


def in_hand(*, batches: Collection[int] | None = None, labels: Collection[str]) -> dict[tuple[int, str], int]:
    """What these labels were issued of batches, all or these, and did not give back, by batch and label. One query."""
    rows: QuerySet[Any, Any] = Movement.objects.filter(label__in=labels, batch__isnull=False)
    if batches is not None:
        rows = rows.filter(batch__in=batches)
    rows = rows.filter(act__in=("issued", "given_back")).order_by().values_list("batch", "label")
    return {(batch, label): -total for batch, label, total in rows.annotate(total=Sum("quantity")) if total < 0}


def used_for(label: str, *, since: datetime) -> dict[tuple[bool, str], int]:
    """What a label has used since a moment: holes cut by units, pieces of batches that did not come back. One query.

    By whether it is counted, and by tag or lot.
    """
    used: dict[tuple[bool, str], int] = defaultdict(int)
    rows = Movement.objects.filter(label=label, at__gte=since)
    for tag, lot, holes, quantity in rows.values_list("unit__tag", "batch__lot", "holes", "quantity").order_by():
        if tag is None:
            used[True, lot] -= quantity
        else:
            used[False, tag] += holes
    return dict(used)
