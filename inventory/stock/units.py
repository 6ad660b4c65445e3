"""Tagged units: received, lent, sent away, reground, calibrated, moved, issued, given back, used, scrapped, lost."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime, time, timedelta
from typing import Unpack

from django.conf import settings
from django.db.models import QuerySet, Value
from django.db.models.functions import Upper

from inventory.errors import Reason, Refused
from inventory.kinds import CALIBRATED
from inventory.models import Bin, Item, LifeFactor, Movement, Person, Unit, UnitHold
from inventory.stock.ledger import (
    AT_HAND,
    GONE,
    Entry,
    Explained,
    Line,
    book,
    refuse_condition,
    refuse_gone,
    refuse_negative,
    refuse_no_label,
    refuse_no_reason,
    refuse_not_in_bin,
    refuse_not_positive,
    shop_day,
)
from inventory.wear import worn_by


def worn(condition: str, *, used: int, life: int | None) -> str:
    """The condition of a unit at hand after so much of its life, in holes: whose life is used up is due for regrind."""
    used_up = life is not None and used >= life
    return "due_regrind" if used_up and condition in ("new", "serviceable") else condition


def last_at_hand(unit: Unit) -> str:
    """The condition that a unit was in when it was last at hand, by the ledger; serviceable where it does not tell."""
    known = unit.movements.filter(condition__in=AT_HAND).order_by("-pk").values_list("condition", flat=True)
    return known.first() or "serviceable"


def _wear(unit: Unit, *, holes: int, material: str) -> tuple[int, int]:
    """What so many holes in a material take of a unit's life beyond the holes themselves, in whole holes, and by how
    many hundredths of a hole that moves what the life used is rounded up by.

    By its item's life factor for that material, less than 0 for a soft one; nothing where there is none. One query
    where there are holes and a material.
    """
    if not holes or not material:
        return 0, 0
    factors = LifeFactor.objects.filter(item=unit.item_id, material=material)
    percent = factors.values_list("percent", flat=True).first()
    life, ahead = worn_by(holes, 100 if percent is None else percent, unit.wear_ahead)
    return life - holes, ahead - unit.wear_ahead


def _tagged(tag: str) -> QuerySet[Unit]:
    """The one unit with this tag, whichever letters of it are capitals, as the table's own rule compares."""
    return Unit.objects.alias(folded=Upper("tag")).filter(folded=Upper(Value(tag)))


def unit_by_tag(tag: str) -> Unit:
    """The unit that carries this tag, in capitals or small letters. Raises `Refused`: tag_unknown."""
    unit = _tagged(tag).select_related("item", "bin__site").first()
    if unit is None:
        raise Refused(Reason("tag_unknown", tag=tag))
    return unit


def tag_taken(tag: str, there: str) -> Reason:
    """The reason that a unit cannot have the tag of a cell: `there` carries it already, or one that reads alike."""
    return Reason("tag_taken") if tag == there else Reason("tag_taken_in_other_letters", tag=there)


def tags_taken(tags: Collection[str]) -> dict[str, Reason]:
    """Of these tags those that no other unit can get, each with why. One query."""
    folded = Unit.objects.alias(folded=Upper("tag")).filter(folded__in=[Upper(Value(tag)) for tag in tags])
    there = {tag.upper(): tag for tag in folded.values_list("tag", flat=True)}
    taken = {tag: there[tag.upper()] for tag in tags if tag.upper() in there}
    return {tag: Reason("tag_taken", tag=tag) if tag == by else tag_taken(tag, by) for tag, by in taken.items()}


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
    refuse_condition(condition)
    refuse_negative(holes_cut)
    if item.counted:
        raise Refused(Reason("item_is_counted", item=str(item)))

    def receive(_: Unit) -> Line:
        if taken := tags_taken([tag]):
            raise Refused(taken[tag])
        unit = Unit.objects.create(
            item=item,
            tag=tag,
            bin=bin,
            condition=worn(condition, used=holes_cut, life=item.life),
            holes_cut=holes_cut,
            calibration_due=calibration_due,
        )
        told = {"holes": holes_cut, "calibration_due": calibration_due}
        return {"unit": unit, "quantity": 1, "to_bin": bin, **told}

    unit = book("received", None, receive, **entry).unit
    if unit is None:  # the key of another request, which received a batch
        raise Refused(Reason("movement_request_key_taken"))
    return unit


def lend_unit(*, unit: Unit, to: Person, until: date | None, **entry: Unpack[Entry]) -> Movement:
    """Lend a unit to somebody until the end of a day, None if nobody knows.

    Raises `Refused`: unit_gone, unit_away, unit_issued, unit_calibration_overdue, unit_held_meanwhile where somebody
    keeps it before it is back.
    """

    def lend(unit: Unit) -> Line:
        refuse_not_in_bin(unit)
        _refuse_overdue(unit, entry["as_of"])
        hold = _holds_meanwhile(unit, entry["as_of"], until).select_related("reservation").first()
        if hold is not None:
            raise Refused(Reason("unit_held_meanwhile", **unit_held(unit.tag, hold).data))
        unit.condition, unit.away_why, unit.away_until = "away", "loan", until
        unit.away_with, unit.borrower = to.name, to
        unit.save()
        return {"quantity": -1, "from_bin": unit.bin, "person": to}

    return book("lent", unit, lend, **entry)


def send_unit(*, unit: Unit, why: str, to: str = "", until: date | None = None, **entry: Unpack[Entry]) -> Movement:
    """Send a unit away for "regrind" or "calibration", `to` some firm, until the end of a day if it is known.

    It cannot wait, and so the holds that need it before it is back are cut short.
    Raises `Refused`: unit_gone, unit_away, unit_issued, away_why_unknown, regrinds_used_up.
    """
    if why not in ("regrind", "calibration"):
        raise Refused(Reason("away_why_unknown", typed=why, known=("regrind", "calibration")))

    def send(unit: Unit) -> Line:
        refuse_not_in_bin(unit)
        if why == "regrind":
            _refuse_regrinds_used_up(unit)
        unit.condition, unit.away_why, unit.away_until, unit.away_with = "away", why, until, to
        unit.save()
        _holds_meanwhile(unit, entry["as_of"], until).update(active=False, shorted=True)
        told = ", ".join(filter(None, (why, to)))
        return {"quantity": -1, "from_bin": unit.bin, "reason": (entry.get("reason") or told)[:200]}

    return book("sent", unit, send, **entry)


def _holds_meanwhile(unit: Unit, since: datetime, until: date | None) -> QuerySet[UnitHold]:
    """The holds whose windows meet the time from a moment to the end of a day, which may be open, the first first."""
    holds = unit.holds.filter(active=True, end__gt=since).order_by("start", "id")
    if until is None:
        return holds
    over = datetime.combine(until + timedelta(days=1), time(), settings.SHOP_ZONE)
    return holds.filter(start__lt=over)


def return_unit(
    *,
    unit: Unit,
    condition: str | None = None,
    holes: int = 0,
    material: str = "",
    reground: bool | None = None,
    diameter: int | None = None,
    calibration_due: date | None = None,
    certificate: str = "",
    bin: Bin | None = None,
    **entry: Unpack[Entry],
) -> Movement:
    """A unit that was away comes back to its bin, or to another `bin`, which is its own from then on.

    Where no `condition` is told it is as it was when it went, and serviceable from regrind.
    `holes` were cut with it meanwhile, in a `material`; where they use its life up it is due for regrind. One that was
    at regrind starts a new life, and is one regrind older, unless `reground` says that nothing was done to it;
    `diameter` (nm) is what it cuts from then on, where the regrind changed that. `calibration_due` is its new last
    good day, where it has one, by this `certificate`.
    Raises `Refused`: unit_gone, unit_not_away, condition_not_at_hand, regrinds_used_up, unit_diameter_positive,
    diameter_not_reground, diameter_grew.
    """
    if condition is not None:
        refuse_condition(condition)
    refuse_negative(holes)
    if diameter is not None and diameter <= 0:
        raise Refused(Reason("unit_diameter_positive"))

    def take_back(unit: Unit) -> Line:
        refuse_gone(unit)
        if not unit.away_why:
            raise Refused(Reason("unit_not_away", tag=unit.tag))
        anew = unit.away_why == "regrind" if reground is None else reground
        change, (wear, ahead) = holes, _wear(unit, holes=holes, material=material)
        if anew:
            _refuse_regrinds_used_up(unit)
            _refuse_diameter_grew(unit, diameter)
            change, wear, ahead = -unit.holes_cut, -unit.extra_wear, -unit.wear_ahead
            unit.regrinds += 1
            unit.own_diameter = diameter or unit.own_diameter
        elif diameter is not None:
            raise Refused(Reason("diameter_not_reground", tag=unit.tag))
        unit.holes_cut += change
        unit.extra_wear += wear
        unit.wear_ahead += ahead
        now = condition or ("serviceable" if anew else last_at_hand(unit))
        if condition is None and now == "new" and holes:
            now = "serviceable"
        unit.condition = worn(now, used=unit.holes_cut + unit.extra_wear, life=unit.item.life)
        unit.away_why, unit.away_until, unit.away_with = "", None, ""
        person, unit.borrower = unit.borrower, None
        if calibration_due or certificate:  # an older certificate says nothing of a new date
            unit.calibration_due, unit.certificate = calibration_due or unit.calibration_due, certificate
        unit.bin = bin or unit.bin
        unit.save()
        return {
            "quantity": 1,
            "holes": change,
            "extra_wear": wear,
            "wear_ahead": ahead,
            "regrinds": int(anew),
            "diameter": diameter,
            "calibration_due": calibration_due,
            "to_bin": unit.bin,
            "person": person,
            "reason": entry.get("reason") or certificate,
        }

    return book("returned", unit, take_back, **entry)


def _refuse_regrinds_used_up(unit: Unit) -> None:
    most = unit.item.most_regrinds
    if most is not None and unit.regrinds >= most:
        raise Refused(Reason("regrinds_used_up", tag=unit.tag, regrinds=unit.regrinds, most=most))


def _refuse_diameter_grew(unit: Unit, diameter: int | None) -> None:
    before = unit.own_diameter or unit.item.diameter
    if diameter is not None and before is not None and diameter > before:
        raise Refused(Reason("diameter_grew", diameter_nm=diameter, before_nm=before))


def reground(item: Item, most: int = 50) -> list[Unit]:
    """The units of an item that have a diameter of their own since they were reground, by tag. One query."""
    own = Unit.objects.filter(item=item, own_diameter__isnull=False).exclude(condition__in=GONE)
    return list(own.order_by("tag")[:most])


def calibration_proposed(unit: Unit, today: date) -> date | None:
    """The last good day of a calibration made today, by the item's interval; None where none is entered."""
    days = unit.item.calibration_days
    return None if days is None else today + timedelta(days)


def calibrate_unit(*, unit: Unit, due: date | None = None, certificate: str = "", **entry: Unpack[Entry]) -> Movement:
    """A unit was calibrated here: it is good until `due`, or for its item's interval from today; the certificate's
    reference, if there is one, stands in the movement where no reason is given.

    Raises `Refused`: unit_gone, unit_away, unit_issued, calibration_due_missing, day_is_over.
    """
    today = shop_day(entry["as_of"])
    if due is not None and due < today:
        raise Refused(Reason("day_is_over", day=due))

    def calibrate(unit: Unit) -> Line:
        refuse_not_in_bin(unit)
        until = due or calibration_proposed(unit, today)
        if until is None:
            raise Refused(Reason("calibration_due_missing", item=str(unit.item)))
        unit.calibration_due, unit.certificate = until, certificate
        unit.save(update_fields=["calibration_due", "certificate"])
        return {"calibration_due": until, "reason": entry.get("reason") or certificate}

    return book("calibrated", unit, calibrate, **entry)


def move_unit(*, unit: Unit, bin: Bin, **entry: Unpack[Entry]) -> Movement:
    """Put a unit that is at hand into another bin, where it belongs from then on; its holds go with it.

    Raises `Refused`: unit_gone, unit_away, unit_issued, already_in_bin.
    """

    def move(unit: Unit) -> Line:
        refuse_not_in_bin(unit)
        was = unit.bin
        if bin == was:
            raise Refused(Reason("already_in_bin", name=unit.tag, bin=bin.name))
        unit.bin = bin
        unit.save(update_fields=["bin"])
        return {"from_bin": was, "to_bin": bin}

    return book("moved", unit, move, **entry)


def issue_unit(*, unit: Unit, label: str, signed: str = "", **entry: Unpack[Entry]) -> Movement:
    """Hand a unit out to the job with this label.

    One whose calibration is over is not handed out. One of a kind that must be calibrated, and of which no calibration
    is on record, is handed out only where somebody signs for it: `signed` says who and why, and stands in the ledger.
    Raises `Refused`: unit_gone, unit_away, unit_issued, label_missing, unit_due_regrind, unit_calibration_overdue,
    unit_calibration_missing, and unit_held where it is kept for another label at this moment.
    """
    refuse_no_label(label)

    def issue(unit: Unit) -> Line:
        refuse_not_in_bin(unit)
        if unit.condition == "due_regrind":
            raise Refused(Reason("unit_due_regrind", tag=unit.tag))
        _refuse_overdue(unit, entry["as_of"])
        unsigned = unit.calibration_due is None and unit.item.kind in CALIBRATED
        if unsigned and not signed:
            raise Refused(Reason("unit_calibration_missing", tag=unit.tag))
        now = unit.holds.filter(active=True, start__lte=entry["as_of"], end__gt=entry["as_of"])
        other = now.exclude(reservation__label=label).select_related("reservation").first()
        if other is not None:
            raise Refused(unit_held(unit.tag, other))
        unit.issued_to = label
        unit.save(update_fields=["issued_to"])
        told = {"reason": signed} if unsigned else {}
        return {"quantity": -1, "from_bin": unit.bin, "label": label, **told}

    return book("issued", unit, issue, **entry)


def _refuse_overdue(unit: Unit, as_of: datetime) -> None:
    """Nobody measures with what is out of calibration, in a job or on loan."""
    if unit.calibration_due is not None and unit.calibration_due < shop_day(as_of):
        raise Refused(Reason("unit_calibration_overdue", tag=unit.tag, due=unit.calibration_due))


def unit_held(tag: str, hold: UnitHold) -> Reason:
    """The reason that a unit is kept for another."""
    return Reason("unit_held", tag=tag, label=hold.reservation.label, start=hold.start, end=hold.end)


def give_back_unit(
    *, unit: Unit, holes: int = 0, material: str = "", condition: str | None = None, **entry: Unpack[Entry]
) -> Movement:
    """A unit that was issued comes back to its bin, with the holes cut in a `material` since it was last booked.

    Raises `Refused`: unit_gone, unit_not_issued, condition_not_at_hand.
    """
    refuse_negative(holes)
    if condition is not None:
        refuse_condition(condition)

    def take_back(unit: Unit) -> Line:
        refuse_gone(unit)
        label = unit.issued_to
        if not label:
            raise Refused(Reason("unit_not_issued", tag=unit.tag))
        unit.issued_to = ""
        cut = _cut(unit, holes, material, label, condition or unit.condition)
        return {**cut, "quantity": 1, "to_bin": unit.bin, "label": label}

    return book("given_back", unit, take_back, **entry)


def use_unit(*, unit: Unit, holes: int, label: str = "", material: str = "", **entry: Unpack[Entry]) -> Movement:
    """Book holes cut with a unit. More than its life is recorded as it was; it is then due for regrind.

    Its item's life factor for the `material`, an opaque code, says what they took of its life beyond their number.

    Raises `Refused`: unit_gone, quantity_not_positive.
    """
    refuse_not_positive(holes)

    def use(unit: Unit) -> Line:
        refuse_gone(unit)
        return {**_cut(unit, holes, material, label, unit.condition), "label": label}

    return book("used", unit, use, **entry)


def adjust_unit(
    *, unit: Unit, holes: int, used: int | None = None, condition: str | None = None, **entry: Unpack[Explained]
) -> Movement:
    """Put right what was booked of a unit: it has cut so many holes, which took `used` of its life, in holes (None: one
    each). `condition` is the one that it is in, where that was wrong as well.

    Raises `Refused`: reason_missing, unit_gone, unit_away, holes_negative, condition_not_at_hand.
    """
    used = holes if used is None else used
    refuse_no_reason(entry["reason"])
    refuse_negative(holes)
    refuse_negative(used)
    if condition is not None:
        refuse_condition(condition)

    def adjust(unit: Unit) -> Line:
        refuse_gone(unit)
        if unit.away_why:
            raise Refused(Reason("unit_away", tag=unit.tag, why=unit.away_why, until=unit.away_until))
        change = {"holes": holes - unit.holes_cut, "extra_wear": used - holes - unit.extra_wear}
        change["wear_ahead"] = -unit.wear_ahead  # what somebody says was used is rounded up by nothing
        unit.holes_cut, unit.extra_wear, unit.wear_ahead = holes, used - holes, 0
        unit.condition = worn(condition or unit.condition, used=used, life=unit.item.life)
        unit.save(update_fields=["holes_cut", "extra_wear", "wear_ahead", "condition"])
        return change

    return book("adjusted", unit, adjust, **entry)


def _cut(unit: Unit, holes: int, material: str, label: str, condition: str) -> Line:
    """Add holes to a locked unit and save it; what the label's holds foresaw of its life is no longer ahead."""
    wear, ahead = _wear(unit, holes=holes, material=material)
    unit.holes_cut += holes
    unit.extra_wear += wear
    unit.wear_ahead += ahead
    unit.condition = worn(condition, used=unit.holes_cut + unit.extra_wear, life=unit.item.life)
    unit.save()
    left = holes + wear
    for hold in unit.holds.filter(active=True, reservation__label=label) if label and holes else ():
        taken = min(left, hold.holes)
        left -= taken
        hold.holes -= taken
        hold.save(update_fields=["holes"])
    return {"holes": holes, "extra_wear": wear, "wear_ahead": ahead}


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
    refuse_no_reason(entry["reason"])

    def end(unit: Unit) -> Line:
        refuse_gone(unit)
        label, person = unit.issued_to, unit.borrower
        was_in_bin = unit.condition in AT_HAND and not label
        unit.condition, unit.away_why, unit.away_until, unit.away_with = condition, "", None, ""
        unit.borrower, unit.issued_to = None, ""
        unit.save()
        unit.holds.filter(active=True).update(active=False, shorted=True)
        gone = {"quantity": -1, "from_bin": unit.bin} if was_in_bin else {}
        return {**gone, "person": person, "label": label}

    return book(deed, unit, end, **entry)


def find_unit(*, unit: Unit, bin: Bin, **entry: Unpack[Explained]) -> Movement:
    """A unit was found in a bin where the book does not have it: there it is, and there it belongs from then on.

    One that stood in another bin is "moved"; one that was lost, away or in a job's hand is "counted" back. Holes cut
    stay as they were booked, and holds that were cut short stay short. It is in the condition in which it was last at
    hand; what was at regrind is due for regrind still, since nobody says that it was ground. A retired one is not
    brought back.
    Raises `Refused`: reason_missing, unit_gone where it is retired, unit_moved_meanwhile.
    """
    refuse_no_reason(entry["reason"])
    deed = "moved" if unit.condition in AT_HAND and not unit.issued_to else "counted"

    def find(unit: Unit) -> Line:
        if unit.condition == "retired":
            refuse_gone(unit)
        at_hand = unit.condition in AT_HAND and not unit.issued_to
        if at_hand != (deed == "moved"):
            raise Refused(Reason("unit_moved_meanwhile", tag=unit.tag))
        line: Line = {"quantity": int(not at_hand), "to_bin": bin, "person": unit.borrower, "label": unit.issued_to}
        if at_hand:
            line["from_bin"] = unit.bin
        elif not unit.issued_to:
            back = "due_regrind" if unit.away_why == "regrind" else last_at_hand(unit)
            unit.condition = worn(back, used=unit.holes_cut + unit.extra_wear, life=unit.item.life)
        unit.away_why, unit.away_until, unit.away_with = "", None, ""
        unit.borrower, unit.issued_to, unit.bin = None, "", bin
        unit.save()
        return line

    return book(deed, unit, find, **entry)
