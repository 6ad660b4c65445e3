"""Batches: counted quantities received, issued, given back, moved, adjusted, scrapped."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Unpack

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.models import Batch, Bin, Item, Movement
from inventory.stock.ledger import (
    Entry,
    Explained,
    Line,
    book,
    done_before,
    in_hand,
    locked,
    refuse_no_label,
    refuse_no_reason,
    refuse_not_positive,
    shop_day,
)


def batch_by_id(pk: int) -> Batch:
    """The batch of this id, with its item and bin. Raises `Refused`: batch_unknown."""
    batch = Batch.objects.select_related("item", "bin__site").filter(pk=pk).first()
    if batch is None:
        raise Refused(Reason("batch_unknown", id=pk))
    return batch


def batch_of(*, item: Item, bin: Bin, lot: str) -> Batch:
    """The batch of this item and lot in this bin. Raises `Refused`: batch_unknown."""
    batch = Batch.objects.select_related("item", "bin__site").filter(item=item, bin=bin, lot=lot).first()
    if batch is None:
        raise Refused(Reason("batch_unknown", id=lot))
    return batch


def receive_batch(
    *,
    item: Item,
    quantity: int,
    bin: Bin,
    lot: str = "",
    packed: date | None = None,
    expires: date | None = None,
    **entry: Unpack[Entry],
) -> Batch:
    """A quantity comes into a bin; the same lot in the same bin grows, a new one is a new batch.

    Raises `Refused`: quantity_not_positive, item_is_tagged, batch_dates_differ where the lot is there with
    other dates, batch_packed_before_expiry.
    """
    refuse_not_positive(quantity)
    if not item.counted:
        raise Refused(Reason("item_is_tagged", item=str(item)))

    def receive(_: Batch) -> Line:
        dates = {"packed": packed, "expires": expires}
        batch = locked(Batch.objects.get_or_create(item=item, bin=bin, lot=lot, defaults=dates)[0])
        if (batch.packed, batch.expires) != (packed, expires):
            raise Refused(Reason("batch_dates_differ", lot=lot, packed=batch.packed, expires=batch.expires))
        batch.on_hand += quantity
        batch.save(update_fields=["on_hand"])
        return {"batch": batch, "quantity": quantity, "to_bin": bin}

    batch = book("received", None, receive, **entry).batch
    if batch is None:  # the key of another request, which received a unit
        raise Refused(Reason("movement_request_key_taken"))
    return batch


def batch_short(batch: Batch, needed: int) -> Reason:
    """The reason that a batch has too little that is free."""
    return Reason(
        "batch_short",
        item=str(batch.item),
        lot=batch.lot,
        on_hand=batch.on_hand,
        held=batch.held,
        available=batch.on_hand - batch.held,
        needed=needed,
    )


def issue_batch(*, batch: Batch, quantity: int, label: str, **entry: Unpack[Entry]) -> Movement:
    """Hand a quantity out to the job with this label: first of what is held for it, then of what is free.

    Raises `Refused`: quantity_not_positive, label_missing, batch_short, batch_expired.
    """
    refuse_not_positive(quantity)
    refuse_no_label(label)
    today = shop_day(entry["as_of"])

    def issue(batch: Batch) -> Line:
        if batch.expires is not None and batch.expires < today:
            raise Refused(Reason("batch_expired", item=str(batch.item), lot=batch.lot, expires=batch.expires))
        left = quantity
        for hold in batch.holds.filter(active=True, reservation__label=label).order_by("start", "id"):
            taken = min(left, hold.kept)
            left -= taken
            batch.held -= taken
            hold.issued += taken
            hold.save(update_fields=["issued"])
        if left > batch.on_hand - quantity + left - batch.held:
            raise Refused(batch_short(locked(batch), quantity))
        batch.on_hand -= quantity
        batch.save(update_fields=["on_hand", "held"])
        return {"quantity": -quantity, "from_bin": batch.bin, "label": label}

    return book("issued", batch, issue, **entry)


def give_back_batch(*, batch: Batch, quantity: int, label: str, **entry: Unpack[Entry]) -> Movement:
    """What a job did not use comes back; never more than was issued to that label. While its reservation stands,
    what came of it is kept for it again.

    Raises `Refused`: quantity_not_positive, label_missing, gives_back_too_much.
    """
    refuse_not_positive(quantity)
    refuse_no_label(label)

    def take_back(batch: Batch) -> Line:
        out = in_hand(batches=[batch.pk], labels=[label]).get((batch.pk, label), 0)
        if quantity > out:
            raise Refused(Reason("gives_back_too_much", label=label, issued=out, quantity=quantity))
        batch.on_hand += quantity
        left = quantity
        for hold in batch.holds.filter(active=True, reservation__label=label, issued__gt=0).order_by("start", "id"):
            taken = min(left, hold.issued)
            left -= taken
            hold.issued -= taken
            batch.held += taken
            hold.save(update_fields=["issued"])
        batch.save(update_fields=["on_hand", "held"])
        return {"quantity": quantity, "to_bin": batch.bin, "label": label}

    return book("given_back", batch, take_back, **entry)


def move_batch(*, batch: Batch, quantity: int, bin: Bin, **entry: Unpack[Entry]) -> Movement:
    """Put some of a batch, or all of it, into another bin, to what is there of the same lot: one act, two movements.

    What is held stays where it is looked for; only what is free is moved. The movement out of the old bin is the
    answer and carries the request's key.
    Raises `Refused`: quantity_not_positive, already_in_bin, batch_short, batch_dates_differ.
    """
    refuse_not_positive(quantity)
    if bin == batch.bin:
        raise Refused(Reason("already_in_bin", name=str(batch), bin=bin.name))
    key = entry.get("request_key")
    with act():
        if done := done_before(key, "moved", batch):
            return done
        dates = {"packed": batch.packed, "expires": batch.expires}
        there = Batch.objects.get_or_create(item=batch.item, bin=bin, lot=batch.lot, defaults=dates)[0]
        # Both before either is read, in the one order that every act keeps.
        both = Batch.objects.filter(pk__in=(batch.pk, there.pk)).order_by("pk")
        there = {each.pk: each for each in both.select_for_update(no_key=True)}[there.pk]
        if done := done_before(key, "moved", batch):  # a twin of this request was ahead while we waited
            return done
        if (there.packed, there.expires) != (batch.packed, batch.expires):
            raise Refused(Reason("batch_dates_differ", lot=there.lot, packed=there.packed, expires=there.expires))

        def move(batch: Batch) -> Line:
            if quantity > batch.on_hand - batch.held:
                raise Refused(batch_short(batch, quantity))
            batch.on_hand -= quantity
            batch.save(update_fields=["on_hand"])
            return {"quantity": -quantity, "from_bin": batch.bin, "to_bin": bin}

        movement = book("moved", batch, move, **entry)
        there.on_hand += quantity
        there.save(update_fields=["on_hand"])
        Movement.objects.create(
            at=movement.at, by=movement.by, act="moved", batch=there, quantity=quantity, from_bin=batch.bin,
            to_bin=bin, reason=movement.reason,
        )  # fmt: skip
        return movement


def adjust_batch(*, batch: Batch, found: int, **entry: Unpack[Explained]) -> Movement:
    """Set a batch to what was found. Where that is less than is held, holds that start last are cut short.

    Raises `Refused`: quantity_negative, reason_missing.
    """
    return _leave(batch, "adjusted", lambda on_hand: found, entry)


def count_batch(*, batch: Batch, difference: int, **entry: Unpack[Explained]) -> Movement:
    """A count found so many more, or fewer, than the book had: what was issued since stays issued. Holds that start
    last are cut short where it must be. Raises `Refused`: quantity_negative, reason_missing."""
    return _leave(batch, "counted", lambda on_hand: on_hand + difference, entry)


def scrap_batch(*, batch: Batch, quantity: int, **entry: Unpack[Explained]) -> Movement:
    """Take a quantity away as spoilt, held or not. Raises `Refused`: quantity_not_positive, quantity_negative
    where more is scrapped than is there, reason_missing."""
    refuse_not_positive(quantity)
    return _leave(batch, "scrapped", lambda on_hand: on_hand - quantity, entry)


def _leave(batch: Batch, deed: str, remaining: Callable[[int], int], entry: Explained) -> Movement:
    """Leave on hand what is `remaining` of it; holds are cut short where it must be."""
    refuse_no_reason(entry["reason"])

    def leave(batch: Batch) -> Line:
        remains = remaining(batch.on_hand)
        if remains < 0:
            raise Refused(Reason("quantity_negative", on_hand=batch.on_hand, quantity=remains))
        change, batch.on_hand = remains - batch.on_hand, remains
        over = batch.held - remains
        for hold in batch.holds.filter(active=True).order_by("-start", "-id") if over > 0 else ():
            taken = min(over, hold.kept)
            over -= taken
            batch.held -= taken
            hold.short += taken
            hold.active = hold.short < hold.quantity
            hold.save(update_fields=["short", "active"])
            if over <= 0:
                break
        batch.save(update_fields=["on_hand", "held"])
        return {"quantity": change, "from_bin" if change < 0 else "to_bin": batch.bin}

    return book(deed, batch, leave, **entry)
