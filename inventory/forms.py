"""Form fields that read what people type: threads, lengths, torques, words; each keeps what was typed."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any, cast

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db.models import prefetch_related_objects

from inventory import catalogue, issuing, labels, stock
from inventory.counting import Finding, Row, Sheet
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, plain
from inventory.models import Batch, Movement, Unit
from inventory.quantities import read_day, read_length, read_stress, read_torque, to_mm
from inventory.threads import Candidate, Dossier, Reading, dossier, identify, read
from inventory.wording import SENTENCES, say


class Fault(ValidationError):
    """What is wrong with an answer: a `Reason` whose sentence, of another app's if told so, stands at the field."""

    def __init__(self, reason: Reason, sentences: Mapping[str, str] = SENTENCES) -> None:
        super().__init__(say(reason, sentences=sentences), code=reason.code)
        self.reason = reason


class Answers(forms.Form):
    """The base of every form: what Django itself finds wrong is told as a `Reason` too, in the project's words.

    A field may say by `missing`, a `Reason`, what would do where nothing was entered.
    """

    def add_error(self, field: str | None, error: Any) -> None:
        """Django's own way in for every fault, of a field and of the whole form."""
        found = error if isinstance(error, ValidationError) else ValidationError(error)
        if field is not None and not hasattr(found, "error_dict"):
            typed = self[field].data if field in self.fields else None
            found = ValidationError([_in_our_words(each, self.fields.get(field), typed) for each in found.error_list])
        super().add_error(field, found)


def _in_our_words(error: ValidationError, field: forms.Field | None, typed: Any) -> ValidationError:
    """A fault that Django found by itself, by its code, as one of the project's."""
    if isinstance(error, Fault):
        return error
    params = error.params if isinstance(error.params, dict) else {}
    if error.code == "required":
        return Fault(getattr(field, "missing", None) or Reason("answer_missing"))
    if error.code == "max_length":
        return Fault(Reason("answer_too_long", length=params.get("show_value"), longest=params.get("limit_value")))
    if isinstance(field, forms.IntegerField):
        least, most = field.min_value, field.max_value
        return Fault(Reason("count_unreadable", typed=str(typed), least=least or 0, most=most))
    return Fault(Reason("answer_unreadable", typed=str(typed)))


class _ReadField(forms.CharField):
    """A text field whose reader answers with a value or refuses with a `Reason`, shown at the field.

    `unknown` is a word that is an answer and cleans to None: nobody knows, and so it is not checked.
    """

    reader: Callable[[str], Any]
    missing: Reason | None = None

    def __init__(self, *, unknown: str = "", **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 80)
        super().__init__(**kwargs)
        self.unknown = unknown

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if text in self.empty_values or (self.unknown and plain(text) == self.unknown):
            return None
        try:
            return type(self).reader(text)
        except Refused as refused:
            raise Fault(refused.reason) from refused


class ThreadField(_ReadField):
    """Cleans to a `Reading` (thread, class, notes) or None."""

    reader: Callable[[str], Reading] = staticmethod(read)
    missing = Reason("thread_empty")


class LengthField(_ReadField):
    """Cleans to whole nanometres or None; a bare number is millimetres."""

    reader = staticmethod(read_length)
    missing = Reason("length_empty")


class TorqueField(_ReadField):
    """Cleans to newton millimetres or None; a bare number is newton metres."""

    reader = staticmethod(read_torque)
    missing = Reason("torque_empty")


class StressField(_ReadField):
    """Cleans to kilopascals or None; a bare number is megapascals."""

    reader = staticmethod(read_stress)
    missing = Reason("stress_empty")


def read_number(text: str) -> Decimal:
    """A positive number, decimal comma or point. Raises `Refused`: number_unreadable."""
    try:
        number = Decimal(text.replace(",", "."))
    except InvalidOperation:
        number = Decimal(0)
    if not number.is_finite() or not 0 < number < 1000:
        raise Refused(Reason("number_unreadable", typed=text))
    return number


class NumberField(_ReadField):
    """Cleans to a positive Decimal or None."""

    reader = staticmethod(read_number)


class WordField(forms.CharField):
    """One of a few words; `words` maps each code to its word, both are read in any case and with any gaps."""

    def __init__(self, *, words: Mapping[str, str], otherwise: str = "", **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 80)
        super().__init__(**kwargs)
        self.words = dict(words)
        self.otherwise = otherwise
        self.missing = Reason("word_missing", known=self._known)

    def clean(self, value: Any) -> str:
        text = super().clean(value)
        if text in self.empty_values:
            return self.otherwise
        known = {plain(name): code for code, word in self.words.items() for name in (code, word)}
        code = known.get(plain(text))
        if code is None:
            raise Fault(Reason("word_unknown", typed=text, known=self._known))
        return code

    @property
    def _known(self) -> tuple[str, ...]:
        return tuple(word for word in self.words.values() if word)


class AskForm(Answers):
    """A thread as somebody types it, and a class; cleans to `found`, the dossier, or None."""

    q = ThreadField(label="Thread", required=False)
    thread_class = forms.CharField(label="Class", required=False, max_length=12)
    found: Dossier | None = None

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if reading := cleaned.get("q"):
            wanted = cleaned.get("thread_class") or reading.thread_class
            try:
                self.found = dossier(reading.thread, wanted)
            except Refused as refused:
                self.add_error("thread_class", Fault(refused.reason))
        return cleaned


class MeasureForm(Answers):
    """What was measured of a thread, either diameter and either pitch; cleans to `found`, the candidates."""

    outside = LengthField(label="Outside diameter", required=False)
    inside = LengthField(label="Inside diameter", required=False)
    pitch = LengthField(label="Pitch", required=False)
    tpi = NumberField(label="Threads per inch", required=False)
    doubt = LengthField(label="Doubt of the diameter", required=False)
    pitch_doubt = LengthField(label="Doubt of the pitch", required=False)
    found: tuple[Candidate, ...] = ()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        measured: dict[str, Any] = {
            name if name == "tpi" else f"{name}_mm": value if name == "tpi" else to_mm(value)
            for name, value in cleaned.items()
            if value is not None
        }
        if not self.errors:
            try:
                self.found = identify(**measured)
            except Refused as refused:
                self.add_error(None, Fault(refused.reason))
        return cleaned


class LabelsForm(Answers):
    """On which sheet labels are printed, from which place on it, with which margins."""

    sheet = forms.ChoiceField(label="Sheet", choices=[(code, sheet.words) for code, sheet in labels.SHEETS.items()])
    start = forms.IntegerField(
        label="First label at place", min_value=1, max_value=999, required=False, widget=forms.NumberInput
    )
    top = LengthField(label="Margin above, if not in the middle", required=False)
    left = LengthField(label="Margin at the left", required=False)

    @property
    def asked(self) -> dict[str, Any]:
        """What `labels.pdf` takes."""
        told = self.cleaned_data
        return {
            "sheet": labels.SHEETS[told["sheet"]],
            "start": told["start"] or 1,
            "top": told["top"],
            "left": told["left"],
        }

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not self.errors:
            sheet = labels.SHEETS[cleaned["sheet"]]
            if (cleaned["start"] or 1) > sheet.each:
                fault = Reason("label_start_beyond", start=cleaned["start"], most=sheet.each)
                self.add_error("start", Fault(fault))
            top, left = (getattr(sheet, name) if cleaned[name] is None else cleaned[name] for name in ("top", "left"))
            if not sheet.fits(top, left):
                self.add_error("top", Fault(Reason("labels_off_the_sheet", sheet=sheet.words)))
        return cleaned


# What a storekeeper enters when stock moves

MOST = 1_000_000_000  # beyond it a count is a slip of the finger


class DayField(forms.CharField):
    """Cleans to a date: ISO, as the browser's own calendar writes it, or "+5d" counted from the form's `today`.

    `ahead`: a day that is over is refused.
    """

    def __init__(self, *, ahead: bool = False, **kwargs: Any) -> None:
        super().__init__(max_length=20, required=False, widget=forms.DateInput(attrs={"type": "date"}), **kwargs)
        self.ahead = ahead
        self.today = date.min

    def clean(self, value: Any) -> date | None:
        text = super().clean(value)
        if text in self.empty_values:
            return None
        try:
            day = read_day(text, self.today)
        except Refused as refused:
            raise Fault(refused.reason) from refused
        if self.ahead and day < self.today:
            raise Fault(Reason("day_is_over", day=day))
        return day


def _count(label: str, *, least: int, required: bool = True) -> forms.IntegerField:
    number = forms.NumberInput(attrs={"inputmode": "numeric"})
    return forms.IntegerField(label=label, min_value=least, max_value=MOST, required=required, widget=number)


def _text(label: str, longest: int, *, required: bool = False, **attrs: str) -> forms.CharField:
    text = forms.TextInput(attrs={"autocomplete": "off", **attrs})
    return forms.CharField(label=label, max_length=longest, required=required, widget=text)


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
                return self.book(by=by, as_of=self.as_of, request_key=self.cleaned_data["request_key"] or None)
        except Refused as refused:
            field = self.at.get(refused.reason.code)
            self.refused = None if field else refused.reason
            self.add_error(field, Fault(refused.reason))
            return None

    def book(self, **entry: Any) -> Movement:
        """The act itself."""
        raise NotImplementedError


class LendForm(MoveForm):
    """Lend a unit to somebody until a day."""

    to = _text("To whom", 80, required=True, list="people")
    new_name = forms.BooleanField(label="a new name: enter it", required=False)
    until = DayField(label="Until the end of", ahead=True)
    at: Mapping[str, str] = {"person_unknown": "to", "person_ambiguous": "to"}

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.lend_unit(unit=self.thing, to=self._person(), until=asked["until"], **entry)

    def _person(self) -> Any:
        try:
            return stock.person(self.cleaned_data["to"])
        except Refused as refused:
            if refused.reason.code != "person_unknown" or not self.cleaned_data["new_name"]:
                raise
        return stock.add_person(name=self.cleaned_data["to"])


class SendForm(MoveForm):
    """Send a unit to a firm."""

    why = forms.ChoiceField(label="For", choices=[("regrind", "regrind"), ("calibration", "calibration")])
    to = _text("To which firm", 80)
    until = DayField(label="Back by the end of", ahead=True)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.send_unit(unit=self.thing, why=asked["why"], to=asked["to"], until=asked["until"], **entry)


_CONDITIONS = [("serviceable", "serviceable"), ("due_regrind", "due for regrind"), ("new", "as new")]


def _calibration_proposed(unit: Any, as_of: datetime) -> str:
    """As the browser's own calendar reads a day, whatever the language of the page."""
    day = stock.calibration_proposed(unit, stock.shop_day(as_of))
    return day.isoformat() if day else ""


def _material() -> forms.ChoiceField:
    return forms.ChoiceField(label="In which material", required=False)


def _ask_material(form: forms.Form, unit: Any) -> None:
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

    bin = _text("Into bin", 40, required=True)
    condition = forms.ChoiceField(label="Its condition", choices=_CONDITIONS)
    holes = _count("Holes cut with it meanwhile", least=0, required=False)
    material = _material()
    diameter = LengthField(label="Its diameter now, where the regrind changed it", required=False)
    calibration_due = DayField(label="Calibration good until the end of", ahead=True)
    certificate = _text("Certificate", 80)
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
        if thing.away_why == "calibration":
            self.initial["calibration_due"] = _calibration_proposed(thing, as_of)
        _ask_material(self, thing)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        unit: Any = self.thing
        return stock.return_unit(
            unit=unit,
            bin=stock.bin_named(site=unit.bin.site.name, name=asked["bin"]),
            condition=asked["condition"],
            holes=asked["holes"] or 0,
            material=asked.get("material", ""),
            reground=False if asked.get("not_reground") else None,
            diameter=asked.get("diameter"),
            calibration_due=asked.get("calibration_due"),
            certificate=asked.get("certificate", ""),
            **entry,
        )


class GiveBackForm(MoveForm):
    """A unit comes back from the job that has it in hand."""

    holes = _count("Holes cut since they were last booked", least=0, required=False)
    material = _material()
    condition = forms.ChoiceField(label="Its condition", choices=_CONDITIONS)

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        _ask_material(self, thing)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        told = {"holes": asked["holes"] or 0, "material": asked.get("material", ""), "condition": asked["condition"]}
        return stock.give_back_unit(unit=self.thing, **told, **entry)


class UseForm(MoveForm):
    """Holes were cut with a unit."""

    holes = _count("Holes cut", least=1)
    material = _material()
    label = _text("For job", 80)

    def __init__(self, data: Any = None, *, thing: Any, as_of: datetime) -> None:
        super().__init__(data, thing=thing, as_of=as_of)
        _ask_material(self, thing)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        told = {"holes": asked["holes"], "material": asked.get("material", ""), "label": asked["label"]}
        return stock.use_unit(unit=self.thing, **told, **entry)


class MoveUnitForm(MoveForm):
    """A unit gets another bin."""

    bin = _text("Into bin", 40, required=True)
    at: Mapping[str, str] = {"bin_unknown": "bin", "already_in_bin": "bin"}

    def book(self, **entry: Any) -> Movement:
        unit: Any = self.thing
        bin = stock.bin_named(site=unit.bin.site.name, name=self.cleaned_data["bin"])
        return stock.move_unit(unit=unit, bin=bin, **entry)


class CalibrateForm(MoveForm):
    """A unit was calibrated here in the shop; the date that its item's interval gives is proposed."""

    due = DayField(label="Good until the end of", ahead=True)
    certificate = _text("Certificate", 80)
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
    reason = _text("Why", 200, required=True)

    def book(self, **entry: Any) -> Movement:
        end = stock.scrap_unit if self.cleaned_data["how"] == "scrap" else stock.lose_unit
        return end(unit=self.thing, reason=self.cleaned_data["reason"], **entry)


class MoveBatchForm(MoveForm):
    """Some of a batch goes into another bin; what is free of it is proposed, and no more than that can go."""

    quantity = _count("How many", least=1)
    bin = _text("Into bin", 40, required=True)
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

    found = _count("Counted", least=0)
    reason = _text("Why it differs", 200, required=True)

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.adjust_batch(batch=self.thing, found=asked["found"], reason=asked["reason"], **entry)


class SpoiltForm(MoveForm):
    """Some of a batch is spoilt."""

    quantity = _count("How many", least=1)
    reason = _text("Why", 200, required=True)
    at: Mapping[str, str] = {"quantity_negative": "quantity"}

    def book(self, **entry: Any) -> Movement:
        asked = self.cleaned_data
        return stock.scrap_batch(batch=self.thing, quantity=asked["quantity"], reason=asked["reason"], **entry)


UNIT_ACTS: dict[str, type[MoveForm]] = {
    "return": ReturnForm, "give_back": GiveBackForm, "lend": LendForm, "send": SendForm, "use": UseForm,
    "move": MoveUnitForm, "calibrate": CalibrateForm, "end": EndForm,
}  # fmt: skip
BATCH_ACTS: dict[str, type[MoveForm]] = {"count": CountForm, "spoilt": SpoiltForm, "move": MoveBatchForm}


def acts_on(unit: Unit) -> tuple[str, ...]:
    """The acts that a unit admits as it is."""
    if unit.condition in stock.GONE:
        return ()
    if unit.away_why:
        return ("return", "end")
    if unit.issued_to:
        return ("give_back", "use", "end")
    gauge = KINDS[unit.item.kind].calibrated or unit.calibration_due is not None
    return ("lend", "send", "use", "move", *(("calibrate",) if gauge else ()), "end")


# Over the counter: one form a line, and one for what is said of them all


class _CounterLineForm(Answers):
    """One line of a kit; `key` names it, `line` is it. What an act refused stands at its `main` field."""

    side = ""
    unit_fields: tuple[str, ...] = ()
    batch_fields: tuple[str, ...] = ("pieces",)

    def __init__(self, data: Any = None, *, line: issuing.KitLine, initial: Mapping[str, Any] | None = None) -> None:
        super().__init__(
            data, prefix=f"{self.side}-{line.key}", auto_id="id_%s", initial={**self.proposed(line), **(initial or {})}
        )
        self.line, self.key = line, line.key
        kept = self.unit_fields if line.unit else self.batch_fields
        for name in set(self.fields) - set(kept):
            del self.fields[name]

    def proposed(self, line: issuing.KitLine) -> dict[str, Any]:
        """What stands there before anybody typed."""
        raise NotImplementedError

    def refuse(self, reason: Reason) -> None:
        """Put what the act refused at the line."""
        self.add_error({"gives_back_too_much": "pieces", "batch_short": "pieces"}.get(reason.code), Fault(reason))


class HandOutForm(_CounterLineForm):
    """What of a kit is handed out: a unit that is ticked, so many pieces of a batch."""

    take = forms.BooleanField(label="issue it", required=False)
    pieces = _count("Pieces", least=0, required=False)
    side = "out"
    unit_fields = ("take",)

    def proposed(self, line: issuing.KitLine) -> dict[str, Any]:
        """All that is kept and lies there."""
        return {"take": line.at_hand, "pieces": line.kept if line.at_hand else None}


class ComeBackForm(_CounterLineForm):
    """What comes back: a unit that is ticked with its holes and condition, so many pieces of a batch; or what became
    of it meanwhile."""

    back = forms.BooleanField(label="comes back", required=False)
    holes = _count("Holes cut", least=0, required=False)
    material = _material()
    condition = forms.ChoiceField(label="Condition", choices=_CONDITIONS)
    pieces = _count("Pieces that come back", least=0, required=False)
    gone = _count("Pieces broken or lost", least=1, required=False)
    why = _text("Why, if it broke or is lost", 200)
    side = "in"
    unit_fields = ("back", "holes", "material", "condition", "why")
    batch_fields = ("pieces", "gone", "why")

    def __init__(self, data: Any = None, *, line: issuing.KitLine, initial: Mapping[str, Any] | None = None) -> None:
        super().__init__(data, line=line, initial=initial)
        if line.unit is not None:
            _ask_material(self, line.unit)

    def refuse(self, reason: Reason) -> None:
        """Put what the act refused at the line; of pieces, at those that it spoke of."""
        told = reason.code == "gives_back_too_much" and self.cleaned_data.get("gone") == reason["quantity"]
        self.add_error("gone", Fault(reason)) if told else super().refuse(reason)

    def proposed(self, line: issuing.KitLine) -> dict[str, Any]:
        """A unit with the holes that its holds foresaw; of a batch nothing, since most of it stays in the job.

        Where a material takes more of its life than another, what was kept is life and no number of holes.
        """
        regrind = line.unit is not None and line.unit.condition == "due_regrind"
        weighed = line.unit is not None and bool(line.unit.item.life_factors.all())
        return {
            "back": True,
            "holes": None if weighed else line.holes,
            "condition": "due_regrind" if regrind else "serviceable",
        }


class CounterForm(Answers):
    """What is scanned besides the lines, one a line, and the key of the press."""

    tags = forms.CharField(
        label="Tags", max_length=8000, required=False,
        widget=forms.Textarea(attrs={"rows": 2, "autocapitalize": "off", "spellcheck": "false"}),
    )  # fmt: skip
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def clean_tags(self) -> tuple[str, ...]:
        """The tags as they were scanned, each as often as it was."""
        return tuple(tag.strip() for tag in self.cleaned_data["tags"].splitlines() if tag.strip())

    def refuse(self, reasons: Mapping[str, Reason]) -> None:
        """Put at the field why each of what was scanned is refused."""
        for reason in reasons.values():
            self.add_error("tags", Fault(reason))


# Order points, deliveries, what the crib has settled


class OrderPointForm(Answers):
    """Least, order point and most of a counted item, and why; all three empty: none any more."""

    minimum = _count("Minimum", least=0, required=False)
    order_point = _count("Order point", least=0, required=False)
    maximum = _count("Maximum", least=0, required=False)
    why = _text("Why", 200, required=True)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    at: Mapping[str, str] = {
        "order_point_not_under_minimum": "order_point", "order_point_within_maximum": "maximum",
        "order_point_whole": "order_point",
    }  # fmt: skip

    def refuse(self, reason: Reason) -> None:
        """Put what the act refused at its field."""
        self.add_error(self.at.get(reason.code), Fault(reason))


class PolicyForm(Answers):
    """One setting of the crib anew, and why."""

    code = forms.CharField(max_length=40, widget=forms.HiddenInput)
    value = _text("Value", 12, required=True, inputmode="decimal")
    why = _text("Why", 200, required=True)


class DeliveryLineForm(Answers):
    """What came for one line of an order: a quantity with lot and dates, or tools by their tags."""

    pieces = _count("How many came", least=0, required=False)
    tags = _text("Tags, with commas between", 2000)
    bin = _text("Into bin", 40)
    lot = _text("Lot", 40)
    packed = DayField(label="Packed on")
    expires = DayField(label="Last good day")
    calibration_due = DayField(label="Calibration good until the end of")
    at: Mapping[str, str] = {
        "bin_unknown": "bin", "tag_taken": "tags", "tag_taken_in_other_letters": "tags",
        "batch_dates_differ": "expires", "batch_packed_before_expiry": "expires", "quantity_not_positive": "pieces",
    }  # fmt: skip

    def __init__(self, data: Any = None, *, expected: Any, today: date) -> None:
        key = f"line-{expected.line}-{expected.item.pk}"
        super().__init__(data, prefix=key, initial={"pieces": expected.left or None}, auto_id=f"id_{key}_%s")
        self.expected = expected
        for name in ("tags", "calibration_due") if expected.item.counted else ("lot", "packed", "expires", "pieces"):
            del self.fields[name]
        for field in self.fields.values():
            if isinstance(field, DayField):
                field.today = today

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        tags = [tag.strip() for tag in cleaned.get("tags", "").split(",") if tag.strip()]
        for tag in tags:
            if tags.count(tag) > 1:
                self.add_error("tags", Fault(Reason("tag_typed_twice", tag=tag)))
                break
        cleaned["tags"] = tuple(tags)
        self.came = len(tags) or cleaned.get("pieces") or 0
        if self.came and not cleaned.get("bin") and "bin" not in self.errors:
            self.add_error("bin", Fault(Reason("answer_missing")))
        return cleaned

    def refuse(self, reason: Reason) -> None:
        """Put what the act refused at its field."""
        field = self.at.get(reason.code)
        self.add_error(field if field in self.fields else None, Fault(reason))


class DeliveryForm(Answers):
    """The delivery as a whole: its note, and whether nothing more will come."""

    note = _text("Number of the delivery note", 80)
    complete = forms.BooleanField(label="nothing more of it will come", required=False)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)


# Stock counts

SPARE_LOTS = 2  # empty rows for lots that the sheet does not have
_LONGEST_TAG = 40


class CountStartForm(Answers):
    """Which bins are counted, and whether whoever counts sees the book."""

    site = forms.CharField(max_length=80, widget=forms.HiddenInput)
    blind = forms.ChoiceField(
        label="Whoever counts",
        choices=[("blind", "does not see what the book says"), ("book", "sees what the book says")],
        initial="blind",
    )
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)


class CountSheetForm(Answers):
    """What somebody found in a bin: a figure a lot, a tick a unit, tags as they were scanned, lots that were not there.

    With `done` the bin is done: every lot of the sheet has a figure then. `findings` are for `counting.enter`.
    """

    tags = forms.CharField(
        label="Tags, one a line",
        required=False,
        max_length=100_000,
        widget=forms.Textarea(attrs={"rows": 5, "autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, sheet: Sheet, done: bool = False) -> None:
        super().__init__(data, initial={"request_key": uuid.uuid4().hex})
        self.sheet, self.done = sheet, done
        for row in sheet.batches:
            self.fields[row.name] = _count("Found", least=0, required=False)
            self.initial[row.name] = row.found
        for row in sheet.units:
            self.fields[row.name] = forms.BooleanField(label="is here", required=False)
            self.initial[row.name] = bool(row.found)
        for number in range(1, SPARE_LOTS + 1):
            self.fields[f"item-{number}"] = _text("Item number", 80)
            self.fields[f"lot-{number}"] = _text("Lot", 40)
            self.fields[f"found-{number}"] = _count("Found", least=0, required=False)

    @property
    def batch_rows(self) -> list[tuple[Row, Any]]:
        return [(row, self[row.name]) for row in self.sheet.batches]

    @property
    def unit_rows(self) -> list[tuple[Row, Any]]:
        return [(row, self[row.name]) for row in self.sheet.units]

    @property
    def spare(self) -> list[list[Any]]:
        return [[self[f"{name}-{number}"] for name in ("item", "lot", "found")] for number in range(1, SPARE_LOTS + 1)]

    @property
    def spare_used(self) -> bool:
        """Whether something was typed there, so that it is not folded away."""
        return any(field.data or field.errors for fields in self.spare for field in fields)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self.findings = [*self._lots(cleaned), *self._units(cleaned), *self._tags(cleaned), *self._spare(cleaned)]
        return cleaned

    def _lots(self, cleaned: dict[str, Any]) -> list[Finding]:
        found = []
        for row in self.sheet.batches:
            many = cleaned.get(row.name)
            if many is not None:
                found.append(_finding(row, many))
            elif self.done and not row.others and row.name not in self.errors:
                self.add_error(row.name, Fault(Reason("count_row_empty")))
        return found

    def _units(self, cleaned: dict[str, Any]) -> list[Finding]:
        # A unit that was there when the page was opened and that the book has elsewhere by now was still seen.
        seen = {f"unit-{row.unit.pk}" for row in self.sheet.units if row.unit}
        gone = [name.removeprefix("unit-") for name in self.data if name.startswith("unit-") and name not in seen]
        found = [Finding(1, unit=int(pk)) for pk in gone if pk.isascii() and pk.isdigit() and len(pk) < 19]
        for row in self.sheet.units:
            if cleaned.get(row.name):
                found.append(_finding(row, 1))
            elif row.found:
                found.append(_finding(row, 0))
        return found

    def _tags(self, cleaned: dict[str, Any]) -> list[Finding]:
        found = []
        for line in cleaned.get("tags", "").replace(",", "\n").splitlines():
            tag = labels.scanned(line)
            if not tag and not line.strip():
                continue
            numbered = re.fullmatch(r"~u([0-9]{1,18})", tag)
            if not tag or re.fullmatch(r"~[bs][0-9]{1,18}", tag):
                self.add_error("tags", Fault(Reason("count_tag_is_lot", typed=line.strip()[:80])))
            elif len(tag) > _LONGEST_TAG:
                self.add_error("tags", Fault(Reason("count_tag_too_long", typed=tag[:80], longest=_LONGEST_TAG)))
            else:
                found.append(Finding(1, unit=int(numbered[1])) if numbered else Finding(1, tag=tag))
        return found

    def _spare(self, cleaned: dict[str, Any]) -> list[Finding]:
        found = []
        for number in range(1, SPARE_LOTS + 1):
            typed, lot, many = (cleaned.get(f"{name}-{number}") for name in ("item", "lot", "found"))
            if not typed:
                if lot or many is not None:
                    self.add_error(f"item-{number}", Fault(Reason("answer_missing")))
                continue
            if many is None:
                if f"found-{number}" not in self.errors:
                    self.add_error(f"found-{number}", Fault(Reason("count_row_empty")))
                continue
            try:
                item = catalogue.item_at(typed)
            except Refused as refused:
                self.add_error(f"item-{number}", Fault(refused.reason))
                continue
            if not item.counted:
                self.add_error(f"item-{number}", Fault(Reason("count_of_units", item=str(item))))
                continue
            found.append(Finding(many, item=item.pk, lot=lot or ""))
        return found


def _finding(row: Row, found: int) -> Finding:
    """A figure of what stands on the sheet."""
    if row.unit:
        return Finding(found, unit=row.unit.pk)
    if row.batch:
        return Finding(found, batch=row.batch.pk)
    if row.called:
        return Finding(found, tag=row.called)
    return Finding(found, item=row.item.pk if row.item else None, lot=row.lot)


class CountPostForm(Answers):
    """Why the lines of a count differ: one reason for all, or one of a line's own."""

    reason = _text("One reason for all that differ", 200)
    seen = forms.IntegerField(min_value=0, widget=forms.HiddenInput)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, lines: Iterable[int], seen: int = 0) -> None:
        super().__init__(data, initial={"request_key": uuid.uuid4().hex, "seen": seen})
        self.lines = list(lines)
        for line in self.lines:
            self.fields[f"reason-{line}"] = _text("Its own reason", 200)

    def of(self, line: int) -> Any:
        return self[f"reason-{line}"]

    @property
    def reasons(self) -> dict[int, str]:
        return {line: self.cleaned_data[f"reason-{line}"] for line in self.lines if self.cleaned_data[f"reason-{line}"]}


class CountEndForm(Answers):
    """Why a count is given up."""

    why = _text("Why it is given up", 200, required=True)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
