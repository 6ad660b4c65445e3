"""The stock: where things stand and who has them, every change through the ledger.

Each act writes exactly one movement and the balance that follows from it, in one transaction. A balance never
goes below zero: what cannot be is refused with the numbers. What was lost, though, is always recorded, and
where less is left than is held, the same act cuts the holds short that start last.
"""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Callable, Collection
from datetime import UTC, date, datetime
from typing import Any, NotRequired, TypedDict, TypeVar, Unpack

from django.db.models import Count, F, Q, QuerySet, Sum, Value
from django.db.models.functions import Upper

from inventory.catalogue import FACTS, facts_of, wanted
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import Facts, Held, StockLine
from inventory.models import Batch, BatchHold, Bin, Item, Movement, Person, Site, Unit, UnitHold

GONE = ("lost", "retired")
AT_HAND = ("new", "serviceable", "due_regrind")

_Thing = TypeVar("_Thing", Unit, Batch)

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
    of = wanted(kinds, threads, diameters, inner)
    unit_holds: dict[int, list[Held]] = defaultdict(list)
    for unit, label, start, end, holes in (
        UnitHold.objects.filter(of("unit__item__"), active=True)
        .exclude(unit__condition__in=GONE)
        .order_by("start", "id")
        .values_list("unit", "reservation__label", "start", "end", "holes")
    ):
        unit_holds[unit].append(Held(label, start, end, holes=holes))
    batch_holds: dict[int, list[Held]] = defaultdict(list)
    for batch, label, start, quantity, short in (
        BatchHold.objects.filter(of("batch__item__"), active=True)
        .order_by("start", "id")
        .values_list("batch", "reservation__label", "start", "quantity", "short")
    ):
        batch_holds[batch].append(Held(label, start, None, quantity=quantity - short))

    known: dict[int, Facts] = {}
    item_columns = [f"item__{column}" for column in FACTS]
    found: list[StockLine] = []
    units = Unit.objects.filter(of("item__")).exclude(condition__in=GONE).order_by("tag")
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
    batches = Batch.objects.filter(of("item__")).order_by("id")
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


def _locked(thing: _Thing) -> _Thing:
    return type(thing)._default_manager.select_for_update(no_key=True).get(pk=thing.pk)


def _book(
    deed: str,
    thing: _Thing | None,
    change: Callable[[_Thing], Line],
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
            held: Any = None if thing is None else _locked(thing)
            if done := _done(request_key, deed, thing):
                return done
            of: Line = {} if held is None else {"unit" if isinstance(held, Unit) else "batch": held}
            line: Line = {"reason": reason, **of, **change(held)}
            return Movement.objects.create(at=at, by=str(by), act=deed, request_key=request_key, **line)
    except Refused:
        # Twins that take something in have nothing to lock: they meet where the first has left its mark.
        if done := _done(request_key, deed, thing):
            return done
        raise


def _done(request_key: str | None, deed: str, thing: Unit | Batch | None) -> Movement | None:
    """The movement that this request already made; a key of another deed, or of another thing, is refused."""
    if request_key is None:
        return None
    done = Movement.objects.select_related("unit", "batch").filter(request_key=request_key).first()
    if done is not None and (done.act != deed or thing not in (None, done.unit, done.batch)):
        raise Refused(Reason("movement_request_key_taken"))
    return done


def _refuse_gone(unit: Unit) -> None:
    if unit.condition in GONE:
        raise Refused(Reason("unit_gone", tag=unit.tag, condition=unit.condition))


def _refuse_not_in_bin(unit: Unit) -> None:
    _refuse_gone(unit)
    if unit.away_why:
        raise Refused(Reason("unit_away", tag=unit.tag, why=unit.away_why, until=unit.away_until))
    if unit.issued_to:
        raise Refused(Reason("unit_issued", tag=unit.tag, label=unit.issued_to))


def _refuse_negative(holes: int) -> None:
    if holes < 0:
        raise Refused(Reason("holes_negative", holes=holes))


def _refuse_not_positive(quantity: int) -> None:
    if quantity <= 0:
        raise Refused(Reason("quantity_not_positive", quantity=quantity))


def _refuse_condition(condition: str) -> None:
    if condition not in AT_HAND:
        raise Refused(Reason("condition_not_at_hand", condition=condition, known=AT_HAND))


def _refuse_no_label(label: str) -> None:
    if not label:
        raise Refused(Reason("label_missing"))


def _refuse_no_reason(reason: str) -> None:
    if not reason:
        raise Refused(Reason("reason_missing"))


def worn(condition: str, *, holes_cut: int, life: int | None) -> str:
    """The condition of a unit at hand after so many holes: whose life is used up is due for regrind."""
    used_up = life is not None and holes_cut >= life
    return "due_regrind" if used_up and condition in ("new", "serviceable") else condition


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


def unit_counts() -> list[tuple[str, int]]:
    """Every site with the number of units that have a bin there, most first, then by name. One query."""
    counted = Site.objects.annotate(units=Count("bins__units")).order_by("-units", "name")
    return list(counted.values_list("name", "units"))


def bin_named(*, site: str, name: str) -> Bin:
    """The bin of this name at a site, or the one bin of this name anywhere, capitals and small letters alike.

    Raises `Refused`: bin_unknown.
    """
    found = list(Bin.objects.select_related("site").alias(folded=Upper("name")).filter(folded=Upper(Value(name)))[:50])
    here = [bin for bin in found if bin.site.name == site] or found
    if len(here) != 1:
        raise Refused(Reason("bin_unknown", name=name, site=site))
    return here[0]


def bin_at(paths: Collection[tuple[str, str]]) -> Bin | None:
    """The bin that one of these pairs of site and name means; None where there is none."""
    either = Q()
    for place, name in paths:
        either |= Q(site__name=place, name=name)
    return Bin.objects.select_related("site").filter(either).order_by("pk").first()


def people_names(most: int = 200) -> list[str]:
    """The names of people who may borrow, in order."""
    return list(Person.objects.order_by("name").values_list("name", flat=True).distinct()[:most])


def person(typed: str) -> Person:
    """The person of this badge or name, capitals and small letters alike.

    Raises `Refused`: person_unknown with names that are spelt alike, person_ambiguous with the badges.
    """
    found = list(Person.objects.filter(Q(badge__iexact=typed) | Q(name__iexact=typed)).order_by("badge")[:20])
    badged = [each for each in found if (each.badge or "").lower() == typed.lower()] or found
    if len(badged) == 1:
        return badged[0]
    if badged:
        badges = tuple(each.badge or "" for each in badged)
        raise Refused(Reason("person_ambiguous", typed=typed, badges=badges))
    near = difflib.get_close_matches(typed, people_names(), n=2)
    raise Refused(Reason("person_unknown", typed=typed, near=tuple(near)))


def add_person(*, name: str, badge: str | None = None) -> Person:
    """Somebody who may borrow. Raises `Refused`: badge_taken."""
    with act():
        return Person.objects.create(name=name, badge=badge or None)


# --- units -------------------------------------------------------------------------------------------------


def _tagged(tag: str) -> QuerySet[Unit]:
    """The one unit with this tag, whichever letters of it are capitals, as the table's own rule compares."""
    return Unit.objects.alias(folded=Upper("tag")).filter(folded=Upper(Value(tag)))


def unit_by_tag(tag: str) -> Unit:
    """The unit that carries this tag, in capitals or small letters. Raises `Refused`: tag_unknown."""
    unit = _tagged(tag).select_related("item", "bin__site").first()
    if unit is None:
        raise Refused(Reason("tag_unknown", tag=tag))
    return unit


def batch_by_id(pk: int) -> Batch:
    """The batch of this id, with its item and bin. Raises `Refused`: batch_unknown."""
    batch = Batch.objects.select_related("item", "bin__site").filter(pk=pk).first()
    if batch is None:
        raise Refused(Reason("batch_unknown", id=pk))
    return batch


def tag_taken(tag: str, there: str) -> Reason:
    """The reason that a unit cannot have this tag: `there` carries it already, or one that reads alike."""
    return Reason("tag_taken") if tag == there else Reason("tag_taken_in_other_letters", tag=there)


def receive_unit(
    *,
    item: Item,
    tag: str,
    bin: Bin,
    condition: str = "new",
    holes_cut: int = 0,
    calibration_due: date | None = None,
    **entry: Unpack[Entry],
) -> Unit:
    """A new unit comes into its bin; one whose life is used up is due for regrind.

    Raises `Refused`: tag_taken, tag_taken_in_other_letters, item_is_counted, condition_not_at_hand.
    """
    _refuse_condition(condition)
    _refuse_negative(holes_cut)
    if item.counted:
        raise Refused(Reason("item_is_counted", item=str(item)))

    def receive(_: Unit) -> Line:
        there = _tagged(tag).first()
        if there is not None:
            raise Refused(tag_taken(tag, there.tag))
        unit = Unit.objects.create(
            item=item,
            tag=tag,
            bin=bin,
            condition=worn(condition, holes_cut=holes_cut, life=item.life),
            holes_cut=holes_cut,
            calibration_due=calibration_due,
        )
        return {"unit": unit, "quantity": 1, "holes": holes_cut, "to_bin": bin}

    unit = _book("received", None, receive, **entry).unit
    if unit is None:  # the key of another request, which received a batch
        raise Refused(Reason("movement_request_key_taken"))
    return unit


def lend_unit(*, unit: Unit, to: Person, until: date | None, **entry: Unpack[Entry]) -> Movement:
    """Lend a unit to somebody until the end of a day, None if nobody knows.

    Raises `Refused`: unit_gone, unit_away, unit_issued.
    """

    def lend(unit: Unit) -> Line:
        _refuse_not_in_bin(unit)
        unit.condition, unit.away_why, unit.away_until = "away", "loan", until
        unit.away_with, unit.borrower = to.name, to
        unit.save()
        return {"quantity": -1, "from_bin": unit.bin, "person": to}

    return _book("lent", unit, lend, **entry)


def send_unit(*, unit: Unit, why: str, to: str = "", until: date | None = None, **entry: Unpack[Entry]) -> Movement:
    """Send a unit away for "regrind" or "calibration", `to` some firm, until the end of a day if it is known.

    Raises `Refused`: unit_gone, unit_away, unit_issued, away_why_unknown.
    """
    if why not in ("regrind", "calibration"):
        raise Refused(Reason("away_why_unknown", typed=why, known=("regrind", "calibration")))

    def send(unit: Unit) -> Line:
        _refuse_not_in_bin(unit)
        unit.condition, unit.away_why, unit.away_until, unit.away_with = "away", why, until, to
        unit.save()
        return {"quantity": -1, "from_bin": unit.bin, "reason": entry.get("reason") or why}

    return _book("sent", unit, send, **entry)


def return_unit(
    *,
    unit: Unit,
    condition: str = "serviceable",
    holes: int = 0,
    reground: bool | None = None,
    calibration_due: date | None = None,
    bin: Bin | None = None,
    **entry: Unpack[Entry],
) -> Movement:
    """A unit that was away comes back to its bin, or to another `bin`, which is its own from then on.

    `holes` were cut with it meanwhile; where they use its life up it is due for regrind. One that was at regrind
    starts a new life, unless `reground` says that nothing was done to it. `calibration_due` is its new last good
    day, where it has one.
    Raises `Refused`: unit_gone, unit_not_away, condition_not_at_hand.
    """
    _refuse_condition(condition)
    _refuse_negative(holes)

    def take_back(unit: Unit) -> Line:
        _refuse_gone(unit)
        if not unit.away_why:
            raise Refused(Reason("unit_not_away", tag=unit.tag))
        anew = unit.away_why == "regrind" if reground is None else reground
        change = -unit.holes_cut if anew else holes
        unit.holes_cut += change
        unit.condition = worn(condition, holes_cut=unit.holes_cut, life=unit.item.life)
        unit.away_why, unit.away_until, unit.away_with = "", None, ""
        person, unit.borrower = unit.borrower, None
        unit.calibration_due = calibration_due or unit.calibration_due
        unit.bin = bin or unit.bin
        unit.save()
        return {"quantity": 1, "holes": change, "to_bin": unit.bin, "person": person}

    return _book("returned", unit, take_back, **entry)


def issue_unit(*, unit: Unit, label: str, **entry: Unpack[Entry]) -> Movement:
    """Hand a unit out to the job with this label.

    Raises `Refused`: unit_gone, unit_away, unit_issued, label_missing, and unit_held where it is kept for
    another label at this moment.
    """
    _refuse_no_label(label)

    def issue(unit: Unit) -> Line:
        _refuse_not_in_bin(unit)
        now = unit.holds.filter(active=True, start__lte=entry["as_of"], end__gt=entry["as_of"])
        other = now.exclude(reservation__label=label).select_related("reservation").first()
        if other is not None:
            raise Refused(unit_held(unit.tag, other))
        unit.issued_to = label
        unit.save(update_fields=["issued_to"])
        return {"quantity": -1, "from_bin": unit.bin, "label": label}

    return _book("issued", unit, issue, **entry)


def unit_held(tag: str, hold: UnitHold) -> Reason:
    """The reason that a unit is kept for another."""
    return Reason("unit_held", tag=tag, label=hold.reservation.label, start=hold.start, end=hold.end)


def give_back_unit(*, unit: Unit, holes: int = 0, condition: str | None = None, **entry: Unpack[Entry]) -> Movement:
    """A unit that was issued comes back to its bin, with the holes cut since it was last booked.

    Raises `Refused`: unit_gone, unit_not_issued, condition_not_at_hand.
    """
    _refuse_negative(holes)
    if condition is not None:
        _refuse_condition(condition)

    def take_back(unit: Unit) -> Line:
        _refuse_gone(unit)
        label = unit.issued_to
        if not label:
            raise Refused(Reason("unit_not_issued", tag=unit.tag))
        unit.issued_to = ""
        _cut(unit, holes, label, condition or unit.condition)
        return {"quantity": 1, "holes": holes, "to_bin": unit.bin, "label": label}

    return _book("given_back", unit, take_back, **entry)


def use_unit(*, unit: Unit, holes: int, label: str = "", **entry: Unpack[Entry]) -> Movement:
    """Book holes cut with a unit. More than its life is recorded as it was; it is then due for regrind.

    Raises `Refused`: unit_gone, quantity_not_positive.
    """
    _refuse_not_positive(holes)

    def use(unit: Unit) -> Line:
        _refuse_gone(unit)
        _cut(unit, holes, label, unit.condition)
        return {"holes": holes, "label": label}

    return _book("used", unit, use, **entry)


def _cut(unit: Unit, holes: int, label: str, condition: str) -> None:
    """Add holes to a locked unit and save it; what the label's holds foresaw of them is no longer ahead."""
    unit.holes_cut += holes
    unit.condition = worn(condition, holes_cut=unit.holes_cut, life=unit.item.life)
    unit.save()
    left = holes
    for hold in unit.holds.filter(active=True, reservation__label=label) if label and holes else ():
        taken = min(left, hold.holes)
        left -= taken
        hold.holes -= taken
        hold.save(update_fields=["holes"])


def scrap_unit(*, unit: Unit, **entry: Unpack[Explained]) -> Movement:
    """A unit is broken or worn out: it is retired, and every hold on it is cut short.

    Raises `Refused`: unit_gone, reason_missing.
    """
    return _end(unit, "scrapped", "retired", entry)


def lose_unit(*, unit: Unit, **entry: Unpack[Explained]) -> Movement:
    """A unit cannot be found: it counts as lost, and every hold on it is cut short.

    Raises `Refused`: unit_gone, reason_missing.
    """
    return _end(unit, "lost", "lost", entry)


def _end(unit: Unit, deed: str, condition: str, entry: Explained) -> Movement:
    _refuse_no_reason(entry["reason"])

    def end(unit: Unit) -> Line:
        _refuse_gone(unit)
        label, person = unit.issued_to, unit.borrower
        was_in_bin = unit.condition in AT_HAND and not label
        unit.condition, unit.away_why, unit.away_until, unit.away_with = condition, "", None, ""
        unit.borrower, unit.issued_to = None, ""
        unit.save()
        unit.holds.filter(active=True).update(active=False, shorted=True)
        gone = {"quantity": -1, "from_bin": unit.bin} if was_in_bin else {}
        return {**gone, "person": person, "label": label}

    return _book(deed, unit, end, **entry)


# --- batches -----------------------------------------------------------------------------------------------


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
    _refuse_not_positive(quantity)
    if not item.counted:
        raise Refused(Reason("item_is_tagged", item=str(item)))

    def receive(_: Batch) -> Line:
        dates = {"packed": packed, "expires": expires}
        batch = _locked(Batch.objects.get_or_create(item=item, bin=bin, lot=lot, defaults=dates)[0])
        if (batch.packed, batch.expires) != (packed, expires):
            raise Refused(Reason("batch_dates_differ", lot=lot, packed=batch.packed, expires=batch.expires))
        batch.on_hand += quantity
        batch.save(update_fields=["on_hand"])
        return {"batch": batch, "quantity": quantity, "to_bin": bin}

    batch = _book("received", None, receive, **entry).batch
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

    Raises `Refused`: quantity_not_positive, label_missing, batch_short.
    """
    _refuse_not_positive(quantity)
    _refuse_no_label(label)

    def issue(batch: Batch) -> Line:
        left = quantity
        for hold in batch.holds.filter(active=True, reservation__label=label).order_by("start", "id"):
            kept = hold.quantity - hold.short
            taken = min(left, kept)
            left -= taken
            batch.held -= taken
            if taken == kept:
                hold.active = False
            else:
                hold.quantity -= taken
            hold.save(update_fields=["quantity", "active"])
        if left > batch.on_hand - quantity + left - batch.held:
            raise Refused(batch_short(_locked(batch), quantity))
        batch.on_hand -= quantity
        batch.save(update_fields=["on_hand", "held"])
        return {"quantity": -quantity, "from_bin": batch.bin, "label": label}

    return _book("issued", batch, issue, **entry)


def give_back_batch(*, batch: Batch, quantity: int, label: str, **entry: Unpack[Entry]) -> Movement:
    """What a job did not use comes back; never more than was issued to that label.

    Raises `Refused`: quantity_not_positive, label_missing, gives_back_too_much.
    """
    _refuse_not_positive(quantity)
    _refuse_no_label(label)

    def take_back(batch: Batch) -> Line:
        moved = batch.movements.filter(label=label, act__in=("issued", "given_back"))
        out = -(moved.aggregate(total=Sum("quantity"))["total"] or 0)
        if quantity > out:
            raise Refused(Reason("gives_back_too_much", label=label, issued=out, quantity=quantity))
        batch.on_hand += quantity
        batch.save(update_fields=["on_hand"])
        return {"quantity": quantity, "to_bin": batch.bin, "label": label}

    return _book("given_back", batch, take_back, **entry)


def adjust_batch(*, batch: Batch, found: int, **entry: Unpack[Explained]) -> Movement:
    """Set a batch to what was found. Where that is less than is held, holds that start last are cut short.

    Raises `Refused`: quantity_negative, reason_missing.
    """
    return _leave(batch, "adjusted", lambda on_hand: found, entry)


def scrap_batch(*, batch: Batch, quantity: int, **entry: Unpack[Explained]) -> Movement:
    """Take a quantity away as spoilt, held or not. Raises `Refused`: quantity_not_positive, quantity_negative
    where more is scrapped than is there, reason_missing."""
    _refuse_not_positive(quantity)
    return _leave(batch, "scrapped", lambda on_hand: on_hand - quantity, entry)


def _leave(batch: Batch, deed: str, remaining: Callable[[int], int], entry: Explained) -> Movement:
    """Leave on hand what is `remaining` of it; holds are cut short where it must be."""
    _refuse_no_reason(entry["reason"])

    def leave(batch: Batch) -> Line:
        remains = remaining(batch.on_hand)
        if remains < 0:
            raise Refused(Reason("quantity_negative", on_hand=batch.on_hand, quantity=remains))
        change, batch.on_hand = remains - batch.on_hand, remains
        over = batch.held - remains
        for hold in batch.holds.filter(active=True).order_by("-start", "-id") if over > 0 else ():
            taken = min(over, hold.quantity - hold.short)
            over -= taken
            batch.held -= taken
            hold.short += taken
            hold.active = hold.short < hold.quantity
            hold.save(update_fields=["short", "active"])
            if over <= 0:
                break
        batch.save(update_fields=["on_hand", "held"])
        return {"quantity": change, "from_bin" if change < 0 else "to_bin": batch.bin}

    return _book(deed, batch, leave, **entry)


# --- the ledger as it is read ------------------------------------------------------------------------------


def movements(thing: Unit | Batch, *, before: int = 0, most: int = 20) -> tuple[list[Movement], int]:
    """A page of what happened to a unit or batch, the newest first, and the id that the next page is `before`.

    0 where there is no older one. One query.
    """
    rows = thing.movements.select_related("from_bin__site", "to_bin__site", "person").order_by("-pk")
    found = list((rows.filter(pk__lt=before) if before else rows)[: most + 1])
    return found[:most], found[most - 1].pk if len(found) > most else 0


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
