"""The stock: where things stand and who has them, every change through the ledger.

Each act writes exactly one movement and the balance that follows from it, in one transaction. A balance never
goes below zero: what cannot be is refused with the numbers. What was lost, though, is always recorded, and
where less is left than is held, the same act cuts the holds short that start last.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import UTC, date, datetime
from typing import Any

from django.db.models import F, Q, QuerySet, Sum

from inventory.catalogue import FACTS, facts_of
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, Facts, Held, StockLine
from inventory.models import Batch, BatchHold, Bin, Item, Movement, Person, Site, Unit, UnitHold

GONE = ("lost", "retired")
AT_HAND = ("new", "serviceable", "due_regrind")

# --- what is on the shelf ----------------------------------------------------------------------------------


def distinct_threads(kinds: Collection[str]) -> set[str]:
    """Every thread key that an item of these kinds carries, outside or inside. One query.

    Which of them are look-alikes of what is wanted is found in PURE code over this answer.
    """
    rows = Item.objects.filter(kind__in=kinds).values_list("thread", "inner").order_by().distinct()
    return {key for row in rows for key in row if key}


def lines(
    *,
    kinds: Collection[str],
    threads: Collection[str] = (),
    diameters: Collection[tuple[int, int]] = (),
    inner: Collection[str] = (),
) -> list[StockLine]:
    """Every unit and batch that could serve, or be taken for what serves. Four queries, whatever is asked.

    Of the given kinds: those whose thread key is in `threads`, whose inner key is in `inner`, whose diameter
    lies in one of the closed ranges `diameters` (nm); besides them all items of kinds that are matched by
    neither, and all that lack the measurement they would be matched by, since those must be shown and not
    passed over in silence. Lost and retired units are left out. In the order of tags, then of batches.
    """
    wanted = _wanted(kinds, threads, diameters, inner)
    unit_holds: dict[int, list[Held]] = defaultdict(list)
    for unit, label, start, end, holes in (
        UnitHold.objects.filter(wanted("unit__item__"), active=True)
        .exclude(unit__condition__in=GONE)
        .order_by("start", "id")
        .values_list("unit", "reservation__label", "start", "end", "holes")
    ):
        unit_holds[unit].append(Held(label, start, end, holes=holes))
    batch_holds: dict[int, list[Held]] = defaultdict(list)
    for batch, label, start, quantity, short in (
        BatchHold.objects.filter(wanted("batch__item__"), active=True)
        .order_by("start", "id")
        .values_list("batch", "reservation__label", "start", "quantity", "short")
    ):
        batch_holds[batch].append(Held(label, start, None, quantity=quantity - short))

    known: dict[int, Facts] = {}
    item_columns = [f"item__{column}" for column in FACTS]
    found: list[StockLine] = []
    units = Unit.objects.filter(wanted("item__")).exclude(condition__in=GONE).order_by("tag")
    for pk, tag, condition, cut, due, why, until, site, bin_name, walk, *item in units.values_list(
        "pk", "tag", "condition", "holes_cut", "calibration_due", "away_why", "away_until",
        "bin__site__name", "bin__name", "bin__walk", *item_columns,
    ):  # fmt: skip
        facts = known.get(item[0]) or known.setdefault(item[0], facts_of(item))
        holds = tuple(unit_holds[pk])
        found.append(
            StockLine(
                tag=tag,
                facts=facts,
                site=site,
                bin=bin_name,
                walk=walk,
                unit=pk,
                condition=condition,
                life_left=None if facts.life is None else facts.life - cut - sum(hold.holes for hold in holds),
                holds=holds,
                away_why=why,
                away_until=until,
                calibration_due=due,
            )
        )
    batches = Batch.objects.filter(wanted("item__")).order_by("id")
    for pk, lot, on_hand, held, expires, site, bin_name, walk, *item in batches.values_list(
        "pk", "lot", "on_hand", "held", "expires", "bin__site__name", "bin__name", "bin__walk", *item_columns
    ):
        facts = known.get(item[0]) or known.setdefault(item[0], facts_of(item))
        found.append(
            StockLine(
                tag=lot,
                facts=facts,
                site=site,
                bin=bin_name,
                walk=walk,
                batch=pk,
                on_hand=on_hand,
                available=on_hand - held,
                holds=tuple(batch_holds[pk]),
                expires=expires,
            )
        )
    return found


def _wanted(
    kinds: Collection[str],
    threads: Collection[str],
    diameters: Collection[tuple[int, int]],
    inner: Collection[str],
) -> Any:
    """The condition of `lines` on an item, as a function of the way that leads to the item's columns."""
    measured = {code: set(KINDS[code].measures) for code in kinds}
    by_thread = [code for code, names in measured.items() if names & {"thread", "inner"}]
    by_diameter = [code for code, names in measured.items() if "diameter" in names and code not in by_thread]
    by_inner = [code for code in by_thread if "inner" in measured[code]]
    by_neither = [code for code in kinds if code not in by_thread and code not in by_diameter]
    ranges = _merged(diameters)

    def condition(way: str) -> Q:
        thread = Q(**{f"{way}thread__in": ["", *threads]})
        within = Q(**{f"{way}diameter__isnull": True})
        for least, most in ranges:
            within |= Q(**{f"{way}diameter__range": (least, most)})
        return (
            Q(**{f"{way}kind__in": by_thread}) & thread
            | Q(**{f"{way}kind__in": by_inner, f"{way}inner__in": ["", *inner]})
            | Q(**{f"{way}kind__in": by_diameter}) & within
            | Q(**{f"{way}kind__in": by_neither})
        )

    return condition


def _merged(ranges: Collection[tuple[int, int]]) -> list[tuple[int, int]]:
    """The same closed ranges, those that touch made one, so that many needs make few conditions."""
    merged: list[tuple[int, int]] = []
    for least, most in sorted(ranges):
        if merged and least <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], most))
        else:
            merged.append((least, most))
    return merged


# --- what acts have in common ------------------------------------------------------------------------------


def aware(moment: datetime) -> datetime:
    """The moment in UTC; a naive one is a mistake in the program."""
    if moment.tzinfo is None:
        raise ValueError("as_of must be an aware datetime")
    return moment.astimezone(UTC)


def _done(request_key: str | None) -> Movement | None:
    """The movement that this request already made, if it is one that is repeated."""
    if request_key is None:
        return None
    return Movement.objects.select_related("unit", "batch").filter(request_key=request_key).first()


def _locked_unit(unit: Unit) -> Unit:
    return Unit.objects.select_for_update(no_key=True).get(pk=unit.pk)


def _locked_batch(batch: Batch) -> Batch:
    return Batch.objects.select_for_update(no_key=True).get(pk=batch.pk)


def _refuse_gone(unit: Unit) -> None:
    if unit.condition in GONE:
        raise Refused(Reason("unit_gone", tag=unit.tag, condition=unit.condition))


def _refuse_not_in_bin(unit: Unit) -> None:
    _refuse_gone(unit)
    if unit.away_why:
        raise Refused(Reason("unit_away", tag=unit.tag, why=unit.away_why, until=unit.away_until))
    if unit.issued_to:
        raise Refused(Reason("unit_issued", tag=unit.tag, label=unit.issued_to))


def _in_bin(unit: Unit) -> bool:
    return unit.condition in AT_HAND and not unit.issued_to


def _refuse_negative(holes: int) -> None:
    if holes < 0:
        raise Refused(Reason("holes_negative", holes=holes))


def _refuse_not_positive(quantity: int) -> None:
    if quantity <= 0:
        raise Refused(Reason("quantity_not_positive", quantity=quantity))


def _refuse_condition(condition: str) -> None:
    if condition not in AT_HAND:
        raise Refused(Reason("condition_not_at_hand", condition=condition, known=AT_HAND))


# --- places and people -------------------------------------------------------------------------------------


def add_bin(*, site: str, name: str, walk: int = 0) -> Bin:
    """A bin at a site, the site made with it where it is new. Raises `Refused`: bin_name_taken."""
    with act():
        place, _ = Site.objects.get_or_create(name=site)
        return Bin.objects.create(site=place, name=name, walk=walk)


def site(name: str) -> Site:
    """The site of this name. Raises `Refused`: site_unknown."""
    found = Site.objects.filter(name=name).first()
    if found is None:
        raise Refused(Reason("site_unknown", typed=name, known=tuple(site_names())))
    return found


def site_names() -> list[str]:
    """The names of all sites, in order."""
    return list(Site.objects.order_by("name").values_list("name", flat=True))


def add_person(*, name: str, badge: str | None = None) -> Person:
    """Somebody who may borrow. Raises `Refused`: badge_taken."""
    with act():
        return Person.objects.create(name=name, badge=badge or None)


# --- units -------------------------------------------------------------------------------------------------


def unit_by_tag(tag: str) -> Unit:
    """The unit that carries this tag. Raises `Refused`: tag_unknown."""
    unit = Unit.objects.select_related("item", "bin__site").filter(tag=tag).first()
    if unit is None:
        raise Refused(Reason("tag_unknown", tag=tag))
    return unit


def receive_unit(
    *,
    item: Item,
    tag: str,
    bin: Bin,
    as_of: datetime,
    by: Any,
    condition: str = "new",
    holes_cut: int = 0,
    calibration_due: date | None = None,
    reason: str = "",
    request_key: str | None = None,
) -> Unit:
    """A new unit comes into its bin. Raises `Refused`: tag_taken, item_is_counted, condition_not_at_hand."""
    at = aware(as_of)
    _refuse_condition(condition)
    _refuse_negative(holes_cut)
    if item.counted:
        raise Refused(Reason("item_is_counted", item=str(item)))
    with act():
        done = _done(request_key)
        if done is not None and done.unit is not None:
            return done.unit
        unit = Unit.objects.create(
            item=item,
            tag=tag,
            bin=bin,
            condition=condition,
            holes_cut=holes_cut,
            calibration_due=calibration_due,
        )
        Movement.objects.create(
            at=at, by=str(by), act="received", unit=unit, quantity=1, holes=holes_cut, to_bin=bin,
            reason=reason, request_key=request_key,
        )  # fmt: skip
        return unit


def lend_unit(
    *,
    unit: Unit,
    to: Person,
    until: date | None,
    as_of: datetime,
    by: Any,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """Lend a unit to somebody until the end of a day, None if nobody knows.

    Raises `Refused`: unit_gone, unit_away, unit_issued.
    """
    at = aware(as_of)
    with act():
        if done := _done(request_key):
            return done
        held = _locked_unit(unit)
        _refuse_not_in_bin(held)
        held.condition, held.away_why, held.away_until = "away", "loan", until
        held.away_with, held.borrower = to.name, to
        held.save()
        return Movement.objects.create(
            at=at, by=str(by), act="lent", unit=held, quantity=-1, from_bin=held.bin, person=to,
            reason=reason, request_key=request_key,
        )  # fmt: skip


def send_unit(
    *,
    unit: Unit,
    why: str,
    to: str = "",
    until: date | None = None,
    as_of: datetime,
    by: Any,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """Send a unit away for "regrind" or "calibration", `to` some firm, until the end of a day if it is known.

    Raises `Refused`: unit_gone, unit_away, unit_issued, away_why_unknown.
    """
    at = aware(as_of)
    if why not in ("regrind", "calibration"):
        raise Refused(Reason("away_why_unknown", typed=why, known=("regrind", "calibration")))
    with act():
        if done := _done(request_key):
            return done
        sent = _locked_unit(unit)
        _refuse_not_in_bin(sent)
        sent.condition, sent.away_why, sent.away_until, sent.away_with = "away", why, until, to
        sent.save()
        return Movement.objects.create(
            at=at, by=str(by), act="sent", unit=sent, quantity=-1, from_bin=sent.bin,
            reason=reason or why, request_key=request_key,
        )  # fmt: skip


def return_unit(
    *,
    unit: Unit,
    as_of: datetime,
    by: Any,
    condition: str = "serviceable",
    holes: int = 0,
    reground: bool | None = None,
    calibration_due: date | None = None,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """A unit that was away comes back to its bin.

    `holes` were cut with it meanwhile. One that was at regrind starts a new life, unless `reground` says that
    nothing was done to it. `calibration_due` is its new last good day, where it has one.
    Raises `Refused`: unit_gone, unit_not_away, condition_not_at_hand.
    """
    at = aware(as_of)
    _refuse_condition(condition)
    _refuse_negative(holes)
    with act():
        if done := _done(request_key):
            return done
        back = _locked_unit(unit)
        _refuse_gone(back)
        if not back.away_why:
            raise Refused(Reason("unit_not_away", tag=back.tag))
        anew = back.away_why == "regrind" if reground is None else reground
        change = -back.holes_cut if anew else holes
        back.holes_cut += change
        back.condition, back.away_why, back.away_until, back.away_with = condition, "", None, ""
        person, back.borrower = back.borrower, None
        back.calibration_due = calibration_due or back.calibration_due
        back.save()
        return Movement.objects.create(
            at=at, by=str(by), act="returned", unit=back, quantity=1, holes=change, to_bin=back.bin,
            person=person, reason=reason, request_key=request_key,
        )  # fmt: skip


def issue_unit(
    *,
    unit: Unit,
    label: str,
    as_of: datetime,
    by: Any,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """Hand a unit out to the job with this label.

    Raises `Refused`: unit_gone, unit_away, unit_issued, label_missing, and unit_held where it is kept for
    another label at this moment.
    """
    at = aware(as_of)
    if not label:
        raise Refused(Reason("label_missing"))
    with act():
        if done := _done(request_key):
            return done
        out = _locked_unit(unit)
        _refuse_not_in_bin(out)
        other = (
            out.holds.filter(active=True, start__lte=at, end__gt=at)
            .exclude(reservation__label=label)
            .select_related("reservation")
            .first()
        )
        if other is not None:
            raise Refused(unit_held(out.tag, other))
        out.issued_to = label
        out.save(update_fields=["issued_to"])
        return Movement.objects.create(
            at=at, by=str(by), act="issued", unit=out, quantity=-1, from_bin=out.bin, label=label,
            reason=reason, request_key=request_key,
        )  # fmt: skip


def unit_held(tag: str, hold: UnitHold) -> Reason:
    """The reason that a unit is kept for another."""
    return Reason("unit_held", tag=tag, label=hold.reservation.label, start=hold.start, end=hold.end)


def give_back_unit(
    *,
    unit: Unit,
    as_of: datetime,
    by: Any,
    holes: int = 0,
    condition: str | None = None,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """A unit that was issued comes back to its bin, with the holes cut since it was last booked.

    Raises `Refused`: unit_gone, unit_not_issued, condition_not_at_hand.
    """
    at = aware(as_of)
    _refuse_negative(holes)
    if condition is not None:
        _refuse_condition(condition)
    with act():
        if done := _done(request_key):
            return done
        back = _locked_unit(unit)
        _refuse_gone(back)
        label = back.issued_to
        if not label:
            raise Refused(Reason("unit_not_issued", tag=back.tag))
        back.issued_to = ""
        _cut(back, holes, label, condition)
        return Movement.objects.create(
            at=at, by=str(by), act="given_back", unit=back, quantity=1, holes=holes, to_bin=back.bin,
            label=label, reason=reason, request_key=request_key,
        )  # fmt: skip


def use_unit(
    *,
    unit: Unit,
    holes: int,
    as_of: datetime,
    by: Any,
    label: str = "",
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """Book holes cut with a unit. More than its life is recorded as it was; it is then due for regrind.

    Raises `Refused`: unit_gone, quantity_not_positive.
    """
    at = aware(as_of)
    _refuse_not_positive(holes)
    with act():
        if done := _done(request_key):
            return done
        used = _locked_unit(unit)
        _refuse_gone(used)
        _cut(used, holes, label, None)
        return Movement.objects.create(
            at=at, by=str(by), act="used", unit=used, holes=holes, label=label,
            reason=reason, request_key=request_key,
        )  # fmt: skip


def _cut(unit: Unit, holes: int, label: str, condition: str | None) -> None:
    """Add holes to a locked unit and save it; what the label's holds foresaw of them is no longer ahead."""
    unit.holes_cut += holes
    if condition is not None:
        unit.condition = condition
    life = unit.item.life
    if life is not None and unit.holes_cut >= life and unit.condition in ("new", "serviceable"):
        unit.condition = "due_regrind"
    unit.save()
    left = holes
    for hold in unit.holds.filter(active=True, reservation__label=label) if label and holes else ():
        taken = min(left, hold.holes)
        left -= taken
        hold.holes -= taken
        hold.save(update_fields=["holes"])


def scrap_unit(*, unit: Unit, as_of: datetime, by: Any, reason: str, request_key: str | None = None) -> Movement:
    """A unit is broken or worn out: it is retired, and every hold on it is cut short.

    Raises `Refused`: unit_gone, reason_missing.
    """
    return _end(unit, "scrapped", "retired", as_of, by, reason, request_key)


def lose_unit(*, unit: Unit, as_of: datetime, by: Any, reason: str, request_key: str | None = None) -> Movement:
    """A unit cannot be found: it counts as lost, and every hold on it is cut short.

    Raises `Refused`: unit_gone, reason_missing.
    """
    return _end(unit, "lost", "lost", as_of, by, reason, request_key)


def _end(
    unit: Unit, deed: str, condition: str, as_of: datetime, by: Any, reason: str, request_key: str | None
) -> Movement:
    at = aware(as_of)
    if not reason:
        raise Refused(Reason("reason_missing"))
    with act():
        if done := _done(request_key):
            return done
        gone = _locked_unit(unit)
        _refuse_gone(gone)
        was_in_bin = _in_bin(gone)
        label = gone.issued_to
        gone.condition, gone.away_why, gone.away_until, gone.away_with = condition, "", None, ""
        person, gone.borrower, gone.issued_to = gone.borrower, None, ""
        gone.save()
        gone.holds.filter(active=True).update(active=False, shorted=True)
        return Movement.objects.create(
            at=at, by=str(by), act=deed, unit=gone, quantity=-1 if was_in_bin else 0,
            from_bin=gone.bin if was_in_bin else None, person=person, label=label,
            reason=reason, request_key=request_key,
        )  # fmt: skip


# --- batches -----------------------------------------------------------------------------------------------


def receive_batch(
    *,
    item: Item,
    quantity: int,
    bin: Bin,
    as_of: datetime,
    by: Any,
    lot: str = "",
    packed: date | None = None,
    expires: date | None = None,
    reason: str = "",
    request_key: str | None = None,
) -> Batch:
    """A quantity comes into a bin; the same lot in the same bin grows, a new one is a new batch.

    Raises `Refused`: quantity_not_positive, item_is_tagged, batch_dates_differ where the lot is there with
    other dates, batch_packed_before_expiry.
    """
    at = aware(as_of)
    _refuse_not_positive(quantity)
    if not item.counted:
        raise Refused(Reason("item_is_tagged", item=str(item)))
    with act():
        done = _done(request_key)
        if done is not None and done.batch is not None:
            return done.batch
        batch, _ = Batch.objects.get_or_create(
            item=item, bin=bin, lot=lot, defaults={"packed": packed, "expires": expires}
        )
        batch = _locked_batch(batch)
        if (batch.packed, batch.expires) != (packed, expires):
            raise Refused(Reason("batch_dates_differ", lot=lot, packed=batch.packed, expires=batch.expires))
        batch.on_hand += quantity
        batch.save(update_fields=["on_hand"])
        Movement.objects.create(
            at=at, by=str(by), act="received", batch=batch, quantity=quantity, to_bin=bin,
            reason=reason, request_key=request_key,
        )  # fmt: skip
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


def issue_batch(
    *,
    batch: Batch,
    quantity: int,
    label: str,
    as_of: datetime,
    by: Any,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """Hand a quantity out to the job with this label: first of what is held for it, then of what is free.

    Raises `Refused`: quantity_not_positive, label_missing, batch_short.
    """
    at = aware(as_of)
    _refuse_not_positive(quantity)
    if not label:
        raise Refused(Reason("label_missing"))
    with act():
        if done := _done(request_key):
            return done
        out = _locked_batch(batch)
        left = quantity
        for hold in out.holds.filter(active=True, reservation__label=label).order_by("start", "id"):
            kept = hold.quantity - hold.short
            taken = min(left, kept)
            left -= taken
            out.held -= taken
            if taken == kept:
                hold.active = False
            else:
                hold.quantity -= taken
            hold.save(update_fields=["quantity", "active"])
        if left > out.on_hand - quantity + left - out.held:
            raise Refused(batch_short(_locked_batch(batch), quantity))
        out.on_hand -= quantity
        out.save(update_fields=["on_hand", "held"])
        return Movement.objects.create(
            at=at, by=str(by), act="issued", batch=out, quantity=-quantity, from_bin=out.bin, label=label,
            reason=reason, request_key=request_key,
        )  # fmt: skip


def give_back_batch(
    *,
    batch: Batch,
    quantity: int,
    label: str,
    as_of: datetime,
    by: Any,
    reason: str = "",
    request_key: str | None = None,
) -> Movement:
    """What a job did not use comes back; never more than was issued to that label.

    Raises `Refused`: quantity_not_positive, label_missing, gives_back_too_much.
    """
    at = aware(as_of)
    _refuse_not_positive(quantity)
    if not label:
        raise Refused(Reason("label_missing"))
    with act():
        if done := _done(request_key):
            return done
        back = _locked_batch(batch)
        out = -(
            back.movements.filter(label=label, act__in=("issued", "given_back")).aggregate(total=Sum("quantity"))[
                "total"
            ]
            or 0
        )
        if quantity > out:
            raise Refused(Reason("gives_back_too_much", label=label, issued=out, quantity=quantity))
        back.on_hand += quantity
        back.save(update_fields=["on_hand"])
        return Movement.objects.create(
            at=at, by=str(by), act="given_back", batch=back, quantity=quantity, to_bin=back.bin, label=label,
            reason=reason, request_key=request_key,
        )  # fmt: skip


def adjust_batch(
    *,
    batch: Batch,
    found: int,
    as_of: datetime,
    by: Any,
    reason: str,
    request_key: str | None = None,
) -> Movement:
    """Set a batch to what was found. Where that is less than is held, holds that start last are cut short.

    Raises `Refused`: quantity_negative, reason_missing.
    """
    return _leave(batch, "adjusted", as_of, by, reason, request_key, found=found)


def scrap_batch(
    *,
    batch: Batch,
    quantity: int,
    as_of: datetime,
    by: Any,
    reason: str,
    request_key: str | None = None,
) -> Movement:
    """Take a quantity away as spoilt, held or not. Raises `Refused`: quantity_not_positive, quantity_negative
    where more is scrapped than is there, reason_missing."""
    _refuse_not_positive(quantity)
    return _leave(batch, "scrapped", as_of, by, reason, request_key, less=quantity)


def _leave(
    batch: Batch,
    deed: str,
    as_of: datetime,
    by: Any,
    reason: str,
    request_key: str | None,
    *,
    found: int | None = None,
    less: int = 0,
) -> Movement:
    """Leave what was `found` on hand, or so much `less` than before; holds are cut short where it must be."""
    at = aware(as_of)
    if not reason:
        raise Refused(Reason("reason_missing"))
    with act():
        if done := _done(request_key):
            return done
        left = _locked_batch(batch)
        remains = left.on_hand - less if found is None else found
        if remains < 0:
            raise Refused(Reason("quantity_negative", on_hand=left.on_hand, quantity=remains))
        change = remains - left.on_hand
        left.on_hand = remains
        over = left.held - remains
        for hold in left.holds.filter(active=True).order_by("-start", "-id") if over > 0 else ():
            taken = min(over, hold.quantity - hold.short)
            over -= taken
            left.held -= taken
            hold.short += taken
            hold.active = hold.short < hold.quantity
            hold.save(update_fields=["short", "active"])
            if over <= 0:
                break
        left.save(update_fields=["on_hand", "held"])
        return Movement.objects.create(
            at=at, by=str(by), act=deed, batch=left, quantity=change,
            from_bin=left.bin if change < 0 else None, to_bin=left.bin if change >= 0 else None,
            reason=reason, request_key=request_key,
        )  # fmt: skip


# --- does it all agree? ------------------------------------------------------------------------------------


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
