"""What a storekeeper enters when one unit or batch moves: a form for each act."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any, cast

from django import forms
from django.conf import settings
from django.db.models import prefetch_related_objects

from inventory import reservations, stock
from inventory.errors import Reason, Refused
from inventory.forms.fields import Answers, DayField, Fault, LengthField, count_field, text_field
from inventory.guards import act
from inventory.kinds import KINDS
from inventory.models import Batch, Movement, Unit


class MoveForm(Answers):
    """What one act on a unit or batch asks; `carried_out` books it, or puts what was refused at its field.

    `at` names the field for the codes of refusals that belong to one; `refused` is one that belongs to none.
    """

    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    thing: Any
    at: Mapping[str, str] = {}
    refused: Reason | None = None

    def __init__(self, data: Any = None, *, thing: Unit | Batch, as_of: datetime) -> None:
        super().__init__(
            data, auto_id=f"id_{type(self).__name__.lower()}_%s", initial={"request_key": uuid.uuid4().hex}
        )
        self.thing, self.as_of = thing, as_of
        for field in self.fields.values():
            if isinstance(field, DayField):
                field.today = as_of.astimezone(settings.SHOP_ZONE).date()

    def carried_out(self, *, by: str) -> Movement | None:
        """The movement that was booked; None where the form or the act refused it, which the form then tells."""
        if not self.is_valid():
            return None
        try:
            with act():
                return self.book(by=by, as_of=self.as_of, request_key=self._request_key())
        except Refused as refused:
            field = self.at.get(refused.reason.code)
            self.refused = None if field else refused.reason
            self.add_error(field, Fault(refused.reason))
            return None

    def _request_key(self) -> str | None:
        """What tells this press, with what was entered, from any other: the key of the page and a digest of the rest.

        Raises `Refused`: page_written where the page has written something else already, as after the way back.
        """
        page = self.cleaned_data["request_key"][:32]
        if not page:
            return None
        told = sorted((name, str(value)) for name, value in self.cleaned_data.items() if name != "request_key")
        of_page = f"{page}x"  # not in a hexadecimal page, so that no other page's keys lie in between
        key = of_page + hashlib.sha256(repr((type(self).__name__, told)).encode()).hexdigest()[:24]
        others = Movement.objects.filter(request_key__gt=of_page, request_key__lt=f"{page}y").exclude(request_key=key)
        if others.exists():
            raise Refused(Reason("page_written"))
        return key

    def book(self, **entry: Any) -> Movement:
        """The act itself."""
        raise NotImplementedError


class LendForm(MoveForm):
    """Lend a unit to somebody until a day."""

    to = text_field("To whom", 80, required=True, list="people")
    new_name = forms.BooleanField(label="a new name: enter it", required=False)
    until = DayField(label="Until the end of", ahead=True)
    at: Mapping[str, str] = {"person_unknown": "to", "person_ambiguous": "to", "unit_held_meanwhile": "until"}

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.lend_unit(unit=self.thing, to=self._person(), until=asked["until"], **entry)

    def _person(self) -> Any:
        try:
            return stock.person(self.cleaned_data["to"])
        except Refused as refused:
            if refused.reason.code != "person_unknown" or not self.cleaned_data["new_name"]:
                raise
        return stock.person_of(name=self.cleaned_data["to"])


class SendForm(MoveForm):
    """Send a unit to a firm."""

    why = forms.ChoiceField(label="For", choices=[("regrind", "regrind"), ("calibration", "calibration")])
    to = text_field("To which firm", 80)
    until = DayField(label="Back by the end of", ahead=True)
    at: Mapping[str, str] = {"regrinds_used_up": "why"}

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        self.initial["why"] = "calibration" if is_gauge(thing) else "regrind"

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.send_unit(unit=self.thing, why=asked["why"], to=asked["to"], until=asked["until"], **entry)


def is_gauge(unit: Any) -> bool:
    """Whether a unit is measured with, and so calibrated."""
    return KINDS[unit.item.kind].calibrated or unit.calibration_due is not None


def cuts(unit: Any) -> bool:
    """Whether holes are cut with a unit, or its item has a life to be used up."""
    return KINDS[unit.item.kind].wears or unit.item.life is not None


AS_THEY_COME = [("serviceable", "serviceable"), ("due_regrind", "due for regrind"), ("new", "as new")]
_NOT_GROUND = {"due_regrind": "worn or damaged, not to be issued"}  # of what nobody cuts with


def ask_wear(form: forms.Form, unit: Any) -> None:
    """Ask of what came back its condition, in the words of its kind, and holes only where holes are cut with it."""
    if not cuts(unit):
        del form.fields["holes"]
        choices = [(code, _NOT_GROUND.get(code, word)) for code, word in AS_THEY_COME]
        cast("forms.ChoiceField", form.fields["condition"]).choices = choices


def _calibration_proposed(unit: Any, as_of: datetime) -> str:
    """As the browser's own calendar reads a day, whatever the language of the page."""
    day = stock.calibration_proposed(unit, stock.shop_day(as_of))
    return day.isoformat() if day else ""


def material_field() -> forms.ChoiceField:
    return forms.ChoiceField(label="In which material", required=False)


def ask_material(form: forms.Form, unit: Any) -> None:
    """Ask for the material where the item has life factors, and for no other than those: the rest count as they are."""
    prefetch_related_objects([unit.item], "life_factors")
    factors = [each.material for each in unit.item.life_factors.all()]
    if not factors:
        del form.fields["material"]
        return
    choices = [("", "another: each hole counts as one"), *((code, code.replace("_", " ")) for code in factors)]
    cast("forms.ChoiceField", form.fields["material"]).choices = choices


class ReturnForm(MoveForm):
    """A unit comes back from where it was: from regrind perhaps with another diameter, from calibration with a date."""

    bin = text_field("Into bin", 40, required=True)
    condition = forms.ChoiceField(label="Its condition", choices=AS_THEY_COME)
    holes = count_field("Holes cut with it meanwhile", least=0, required=False)
    material = material_field()
    diameter = LengthField(
        label="Its diameter now, where the regrind changed it",
        help_text="in mm; write in behind it for inches: 0.571 in",
        required=False,
    )
    calibration_due = DayField(label="Calibration good until the end of", ahead=True)
    certificate = text_field("Certificate", 80)
    not_reground = forms.BooleanField(label="nothing was done to it: its life goes on", required=False)
    at: Mapping[str, str] = {
        "bin_unknown": "bin", "unit_diameter_positive": "diameter", "diameter_grew": "diameter",
        "diameter_not_reground": "diameter", "regrinds_used_up": "not_reground",
    }  # fmt: skip

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        self.initial["bin"] = thing.bin.name
        asked = {"regrind": ("diameter", "not_reground"), "calibration": ("calibration_due", "certificate")}
        for why, names in asked.items():
            for name in names if why != thing.away_why else ():
                del self.fields[name]
        if thing.item.diameter is None:
            self.fields.pop("diameter", None)
        ask_wear(self, thing)
        if thing.away_why != "regrind":
            self.initial["condition"] = stock.last_at_hand(thing)
        if thing.away_why == "calibration":
            self.initial["calibration_due"] = _calibration_proposed(thing, as_of)
        ask_material(self, thing)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        unit: Any = self.thing
        return stock.return_unit(
            unit=unit,
            bin=stock.bin_named(site=unit.bin.site.name, name=asked["bin"]),
            condition=asked.get("condition") or None,
            holes=asked.get("holes") or 0,
            material=asked.get("material", ""),
            reground=False if asked.get("not_reground") else None,
            diameter=asked.get("diameter"),
            calibration_due=asked.get("calibration_due"),
            certificate=asked.get("certificate", ""),
            **entry,
        )


class GiveBackForm(MoveForm):
    """A unit comes back from the job that has it in hand."""

    holes = count_field("Holes cut since they were last booked", least=0, required=False)
    material = material_field()
    condition = forms.ChoiceField(label="Its condition", choices=AS_THEY_COME)

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        ask_material(self, thing)
        self.initial["condition"] = thing.condition
        ask_wear(self, thing)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        told = {"holes": asked.get("holes") or 0, "material": asked.get("material", "")}
        told["condition"] = asked.get("condition")
        return stock.give_back_unit(unit=self.thing, **told, **entry)


class UseForm(MoveForm):
    """Holes were cut with a unit."""

    holes = count_field("Holes cut", least=1)
    material = material_field()
    label = text_field("For job", 80)

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        ask_material(self, thing)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        label = reservations.label_as_kept(asked["label"])
        told = {"holes": asked["holes"], "material": asked.get("material", ""), "label": label}
        return stock.use_unit(unit=self.thing, **told, **entry)


class AdjustForm(MoveForm):
    """What was booked of a unit's holes was wrong."""

    holes = count_field("How many it cut in all", least=0)
    used = count_field("What they took of its life", least=0)
    condition = forms.ChoiceField(label="Its condition", choices=AS_THEY_COME)
    reason = text_field("What was wrong", 200, required=True)

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        self.initial.update(holes=thing.holes_cut, used=thing.life_used, condition=thing.condition)

    def book(self, **entry: Any) -> Movement:
        return stock.adjust_unit(
            unit=self.thing,
            **{name: self.cleaned_data[name] for name in ("holes", "used", "condition", "reason")},
            **entry,
        )


class FindForm(MoveForm):
    """A unit that was lost is found again."""

    bin = text_field("In which bin it lies now", 40, required=True)
    reason = text_field("Where it was", 200, required=True)
    at: Mapping[str, str] = {"bin_unknown": "bin"}

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        self.initial["bin"] = thing.bin.name

    def book(self, **entry: Any) -> Movement:
        asked, unit = self.cleaned_data, cast("Unit", self.thing)
        bin = stock.bin_named(site=unit.bin.site.name, name=asked["bin"])
        return stock.find_unit(unit=unit, bin=bin, reason=asked["reason"], **entry)


class MoveUnitForm(MoveForm):
    """A unit gets another bin."""

    bin = text_field("Into bin", 40, required=True)
    at: Mapping[str, str] = {"bin_unknown": "bin", "already_in_bin": "bin"}

    def book(self, **entry: Any) -> Movement:
        unit: Any = self.thing
        bin = stock.bin_named(site=unit.bin.site.name, name=self.cleaned_data["bin"])
        return stock.move_unit(unit=unit, bin=bin, **entry)


class CalibrateForm(MoveForm):
    """A unit was calibrated here in the shop; the date that its item's interval gives is proposed."""

    due = DayField(label="Good until the end of", ahead=True)
    certificate = text_field("Certificate", 80)
    at: Mapping[str, str] = {"calibration_due_missing": "due", "day_is_over": "due"}

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        self.initial["due"] = _calibration_proposed(thing, as_of)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.calibrate_unit(unit=self.thing, due=asked["due"], certificate=asked["certificate"], **entry)


class EndForm(MoveForm):
    """A unit is worn out, broken or lost."""

    how = forms.ChoiceField(label="What happened", choices=[("scrap", "scrapped"), ("lose", "lost")])
    reason = text_field("Why", 200, required=True)

    def book(self, **entry: Any) -> Movement:
        end = stock.scrap_unit if self.cleaned_data["how"] == "scrap" else stock.lose_unit
        return end(unit=self.thing, reason=self.cleaned_data["reason"], **entry)


class MoveBatchForm(MoveForm):
    """Some of a batch goes into another bin; what is free of it is proposed, and no more than that can go."""

    quantity = count_field("How many", least=1)
    bin = text_field("Into bin", 40, required=True)
    at: Mapping[str, str] = {
        "bin_unknown": "bin", "already_in_bin": "bin", "batch_dates_differ": "bin", "batch_short": "quantity",
    }  # fmt: skip

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        self.initial["quantity"] = thing.on_hand - thing.held or None

    def book(self, **entry: Any) -> Movement:
        asked, batch = self.cleaned_data, cast("Batch", self.thing)
        bin = stock.bin_named(site=batch.bin.site.name, name=asked["bin"])
        return stock.move_batch(batch=batch, quantity=asked["quantity"], bin=bin, **entry)


class CountForm(MoveForm):
    """A batch was counted and something else was found."""

    found = count_field("Counted", least=0)
    reason = text_field("Why it differs", 200, required=True)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.adjust_batch(batch=self.thing, found=asked["found"], reason=asked["reason"], **entry)


class SpoiltForm(MoveForm):
    """Some of a batch is spoilt."""

    quantity = count_field("How many", least=1)
    reason = text_field("Why", 200, required=True)
    at: Mapping[str, str] = {"quantity_negative": "quantity"}

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.scrap_batch(batch=self.thing, quantity=asked["quantity"], reason=asked["reason"], **entry)


UNIT_ACTS: dict[str, type[MoveForm]] = {
    "return": ReturnForm, "give_back": GiveBackForm, "lend": LendForm, "send": SendForm, "use": UseForm,
    "move": MoveUnitForm, "calibrate": CalibrateForm, "adjust": AdjustForm, "end": EndForm, "find": FindForm,
}  # fmt: skip
BATCH_ACTS: dict[str, type[MoveForm]] = {"count": CountForm, "spoilt": SpoiltForm, "move": MoveBatchForm}


def acts_on(unit: Unit) -> tuple[str, ...]:
    """The acts that a unit admits as it is."""
    if unit.condition in stock.GONE:
        return ("find",) if unit.condition == "lost" else ()
    if unit.away_why:
        return ("return", "end")
    wear = (("use",), ("adjust",)) if cuts(unit) else ((), ())
    if unit.issued_to:
        return ("give_back", *wear[0], *wear[1], "end")
    calibrate = ("calibrate",) if is_gauge(unit) else ()
    return ("lend", "send", *wear[0], "move", *calibrate, *wear[1], "end")
