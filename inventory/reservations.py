"""Reservations: a set of holds for one label, all or nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from typing import Any

from django.conf import settings
from django.db.models import F, Q, Value
from django.db.models.functions import Upper

from inventory.catalogue import FACTS, facts_of
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import Facts
from inventory.models import Batch, BatchHold, Item, Reservation, Unit, UnitHold
from inventory.stock import AT_HAND, aware, batch_short, shop_day, unit_held


@dataclass(frozen=True, slots=True)
class Kept:
    """What a reservation that stands keeps, a unit or some of a batch, and what is measured of it; `facts` None says
    that the unit, or so many `pieces` of the batch, was lost since."""

    kind: str
    name: str
    facts: Facts | None
    pieces: int = 0


UnitWish = tuple[int, datetime, datetime, int]  # unit, start, end (half-open), holes
BatchWish = tuple[int, int]  # batch, quantity


class ReservationRefused(Refused):
    """The whole set cannot be held; `reasons` says everything that stands in the way, `reason` the first."""

    def __init__(self, reasons: Sequence[Reason]) -> None:
        super().__init__(reasons[0])
        self.reasons = tuple(reasons)


def reserve(
    *,
    label: str,
    link: str = "",
    unit_holds: Sequence[UnitWish] = (),
    batch_holds: Sequence[BatchWish] = (),
    by: Any,
    as_of: datetime,
    request_key: str | None = None,
) -> Reservation:
    """Hold all of these units and quantities for a label, or none of them.

    A unit may be wished for several windows that do not overlap: others have it in between. A batch is held
    from the earliest start of the units on (from `as_of` where there are none). What was true when the set was
    worked out is looked at again under lock: windows, life, condition, quantities. Dates (calibration, expiry) do
    not move by themselves and are not judged again; a unit that another label has in hand without keeping it any
    more is refused, since nobody says when it comes back. The same `request_key` with the same label answers with the
    reservation that is already there.

    Raises `ReservationRefused` with unit_unknown, unit_not_at_hand, unit_away, unit_issued, unit_held,
    life_short, batch_unknown, batch_short; `Refused` with reservation_empty, unit_held_twice, batch_held_twice,
    request_key_reused, or a rule of the tables (reservation_link_on_this_site, unit_hold_ends_after_start …).
    """
    at = aware(as_of)
    wishes = sorted((unit, aware(start), aware(end), holes) for unit, start, end, holes in unit_holds)
    if not wishes and not batch_holds:
        raise Refused(Reason("reservation_empty"))
    if any(one[0] == next_[0] and next_[1] < one[2] for one, next_ in pairwise(wishes)):
        raise Refused(Reason("unit_held_twice"))
    if len({batch for batch, _ in batch_holds}) < len(batch_holds):
        raise Refused(Reason("batch_held_twice"))
    try:
        with act():
            done = _done(request_key, label)
            if done is not None:
                return done
            units, batches = lock(units=[wish[0] for wish in wishes], batches=[batch for batch, _ in batch_holds])
            done = _done(request_key, label)  # a twin of this request may have been ahead while we waited
            if done is not None:
                return done
            reasons = _units_in_the_way(units, wishes, label, at) + _batches_in_the_way(batches, sorted(batch_holds))
            if reasons:
                raise ReservationRefused(reasons)
            reservation = Reservation.objects.create(label=label, link=link, at=at, by=str(by), request_key=request_key)
            UnitHold.objects.bulk_create(
                UnitHold(reservation=reservation, unit_id=unit, start=start, end=end, holes=holes)
                for unit, start, end, holes in wishes
            )
            start = min((wish[1] for wish in wishes), default=at)
            BatchHold.objects.bulk_create(
                BatchHold(reservation=reservation, batch_id=batch, start=start, quantity=quantity)
                for batch, quantity in sorted(batch_holds)
            )
            for batch, quantity in sorted(batch_holds):
                Batch.objects.filter(pk=batch).update(held=F("held") + quantity)
            return reservation
    except Refused as refused:
        # Twins that hold nothing in common meet only at the unique key; the first one's answer is the answer.
        if refused.reason.code == "reservation_request_key_taken":
            done = _done(request_key, label)
            if done is not None:
                return done
        raise


def release(*, reservation: Reservation, by: Any, as_of: datetime, request_key: str | None = None) -> Reservation:
    """Let go of everything that a reservation holds; doing so again changes nothing.

    Units are freed without a lock. What a batch holds is a balance, so batches are locked as everywhere.
    """
    at = aware(as_of)
    with act():
        freed = Reservation.objects.filter(pk=reservation.pk, state="active").update(
            state="released", released_at=at, released_by=str(by), release_key=request_key
        )
        if freed:
            UnitHold.objects.filter(reservation=reservation, active=True).update(active=False)
            _locked(Batch, list(reservation.batch_holds.values_list("batch", flat=True)))
            holds = BatchHold.objects.filter(reservation=reservation, active=True)
            for hold in list(holds):
                Batch.objects.filter(pk=hold.batch_id).update(held=F("held") - hold.kept)
            holds.update(active=False)
        reservation.refresh_from_db()
        return reservation


def released_by_request(request_key: str, label: str) -> Reservation | None:
    """The reservation of this label that this very request let go; None where it is a new request.

    Raises `Refused("request_key_reused")` where the key let go what another label had.
    """
    done = Reservation.objects.filter(release_key=request_key).first()
    if done is not None and done.label != label:
        raise Refused(Reason("request_key_reused", label=done.label))
    return done


def keeps(*, labels: Iterable[str]) -> dict[str, list[Kept]]:
    """By label, what its reservation keeps until that is let go, and what of it was lost. Two queries."""
    of = {"reservation__label__in": set(labels), "reservation__state": "active"}
    found: dict[str, list[Kept]] = defaultdict(list)
    units = UnitHold.objects.filter(Q(shorted=True) | Q(active=True), **of).order_by("unit__tag").distinct()
    rows = units.values_list(
        "reservation__label", "shorted", "unit__tag", "unit__own_diameter", *(f"unit__item__{each}" for each in FACTS)
    )
    for label, shorted, tag, own, *item in rows:
        facts = facts_of(item)
        found[label].append(
            Kept(facts.kind, tag, None if shorted else replace(facts, diameter=own) if own is not None else facts)
        )
    batches = BatchHold.objects.filter(Q(short__gt=0) | Q(active=True), **of).order_by("batch")
    for label, lot, batch, short, active, *item in batches.values_list(
        "reservation__label", "batch__lot", "batch", "short", "active", *(f"batch__item__{each}" for each in FACTS)
    ):
        facts, name = facts_of(item), lot or f"batch {batch}"
        if short:
            found[label].append(Kept(facts.kind, name, None, short))
        if active:
            found[label].append(Kept(facts.kind, name, facts))
    return found


def label_as_kept(typed: str) -> str:
    """A label as the reservation that stands spells it, whichever letters are capitals; as typed where none does."""
    kept = Reservation.objects.alias(folded=Upper("label")).filter(folded=Upper(Value(typed)), state="active")
    return kept.values_list("label", flat=True).first() or typed


def lock(*, units: Iterable[int], batches: Iterable[int]) -> tuple[dict[int, Unit], dict[int, Batch]]:
    """Lock these units and batches until the transaction ends, and read them as they are then, by id.

    One order everywhere: units by id, then batches by id. Whoever decides by what is free locks first, then reads.
    """
    return _locked(Unit, units), _locked(Batch, batches)


def labels_of(item: Item) -> list[tuple[str, str]]:
    """Who keeps something of an item now, or has it in hand by a hold: label and link, in the order of labels. Two
    queries."""
    of = {"state": "active"}
    units = Reservation.objects.filter(unit_holds__unit__item=item, unit_holds__active=True, **of)
    batches = Reservation.objects.filter(batch_holds__batch__item=item, batch_holds__active=True, **of)
    rows = {row for found in (units, batches) for row in found.values_list("label", "link").order_by()}
    return sorted(rows)


def _done(request_key: str | None, label: str) -> Reservation | None:
    """The reservation that this request already made, if it is one that is repeated."""
    if request_key is None:
        return None
    done = Reservation.objects.filter(request_key=request_key).first()
    if done is not None and done.label != label:
        raise Refused(Reason("request_key_reused", label=done.label))
    return done


def _locked(model: Any, ids: Iterable[int]) -> dict[int, Any]:
    ids = set(ids)
    if not ids:
        return {}
    rows = model.objects.filter(pk__in=ids).select_related("item").order_by("pk")
    return {row.pk: row for row in rows.select_for_update(no_key=True, of=("self",))}


def _units_in_the_way(units: dict[int, Unit], wishes: Sequence[UnitWish], label: str, at: datetime) -> list[Reason]:
    holds: dict[int, list[UnitHold]] = defaultdict(list)
    active = UnitHold.objects.filter(unit__in=units, active=True) if units else UnitHold.objects.none()
    for hold in active.select_related("reservation").order_by("start", "id"):
        holds[hold.unit_id].append(hold)
    wanted: dict[int, int] = defaultdict(int)  # over all windows: the life of a unit is one
    for unit_id, _, _, holes in wishes:
        wanted[unit_id] += holes
    reasons: list[Reason] = []
    for unit_id, start, end, _ in wishes:
        unit = units.get(unit_id)
        if unit is None:
            reasons.append(Reason("unit_unknown", id=unit_id))
            continue
        if unit.away_why:
            # The last day away, as the shop counts days, is ahead, and over before the hold starts.
            first_day = start.astimezone(settings.SHOP_ZONE).date()
            if unit.away_until is None or not shop_day(at) <= unit.away_until < first_day:
                reasons.append(Reason("unit_away", tag=unit.tag, why=unit.away_why, until=unit.away_until))
        elif unit.condition not in AT_HAND or unit.condition == "due_regrind":
            reasons.append(Reason("unit_not_at_hand", tag=unit.tag, condition=unit.condition))
        if unit.issued_to not in ("", label):
            theirs = [hold for hold in holds[unit_id] if hold.reservation.label == unit.issued_to]
            if not any(hold.end > at for hold in theirs):
                reasons.append(Reason("unit_issued", tag=unit.tag, label=unit.issued_to))
        reasons += [unit_held(unit.tag, hold) for hold in holds[unit_id] if hold.start < end and hold.end > start]
        if unit.item.life is not None:
            left = unit.item.life - unit.life_used - sum(hold.holes for hold in holds[unit_id])
            if wanted[unit_id] > left:
                reasons.append(Reason("life_short", tag=unit.tag, left=left, needed=wanted[unit_id]))
    return list(dict.fromkeys(reasons))


def _batches_in_the_way(batches: dict[int, Batch], wishes: Sequence[BatchWish]) -> list[Reason]:
    reasons: list[Reason] = []
    for batch_id, quantity in wishes:
        batch = batches.get(batch_id)
        if batch is None:
            reasons.append(Reason("batch_unknown", id=batch_id))
        elif batch.on_hand - batch.held < quantity:
            reasons.append(batch_short(batch, quantity))
    return reasons
