"""What a storekeeper enters by hand: an item with what its kind must carry, and what is taken in of one.

Sizes are read as a sheet's are (`inventory.sheets.columns`), so that a page and a sheet understand the same hand.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from typing import Any

from django import forms
from django.conf import settings

from inventory import catalogue, stock
from inventory.errors import Reason, Refused
from inventory.forms.fields import MOST, Answers, DayField, Fault, calibrated_until, last_good_day, packed_day
from inventory.guards import act
from inventory.kinds import ACTIONS, FLUTES, KINDS, Kind, symbol
from inventory.models import Batch, Bin, Item, Unit
from inventory.sheets import unfit_item
from inventory.sheets.columns import LONGEST, STOCK, Column
from inventory.threads import DrillError, Reading, Thread, ThreadError, read
from inventory.wear import materials, read_factors

_COLUMNS = {column.field: column for column in STOCK if column.of == "item"}
_LONGEST_CELL, _LONGEST_SEEN = 80, 4_000
_THREADS = "M14 x 1,5 · 9/16-18"
_SIZES = '14.5 · 19/32 in · 0.610"'
# What a column holds of one kind, where the sheet's own heading and meaning speak of all kinds at once.
_OF_KIND: dict[tuple[str, str], tuple[str, str]] = {
    ("insert", "thread"): ("Thread outside", f"the thread in the parent metal: {_THREADS}"),
    ("insert", "inner"): ("Thread inside", f"the thread that the bolt goes into: {_THREADS}"),
    ("plug", "insert_length"): ("Length", "the plug's length"),
    ("plug", "thread"): ("Thread", f"the thread outside: {_THREADS}"),
    ("tap", "thread"): ("Thread", f"the thread it cuts: {_THREADS} · EG M14x1.5"),
    ("proof_bolt", "thread"): ("Thread", f"the thread on the bolt: {_THREADS}"),
    ("boring_head", "takes_least"): ("Least bore", f"the smallest bore that it cuts: {_SIZES}"),
    ("boring_head", "takes_most"): ("Largest bore", f"the largest bore that it cuts: {_SIZES}"),
    ("tap_wrench", "takes_least"): ("Least square", "the smallest tap square that it takes: 4.9"),
    ("tap_wrench", "takes_most"): ("Largest square", "the largest tap square that it takes: 12"),
    ("pitch_gauge", "takes_least"): ("Finest pitch", "of its leaves: 0.25"),
    ("pitch_gauge", "takes_most"): ("Coarsest pitch", "of its leaves: 6"),
    ("guide_bush", "diameter"): ("Bore", f"the diameter of the tool that it guides: {_SIZES}"),
    ("stop_collar", "diameter"): ("Bore", f"the diameter of the tool that it sits on: {_SIZES}"),
    ("step_drill", "diameter"): ("Diameter of the leading step", _SIZES),
    **{
        (code, "thread"): ("Thread", f"the thread that it checks: {_THREADS} · EG M14x1.5")
        for code in ("hole_gauge", "final_gauge", "minor_gauge")
    },
    **{
        (code, "thread"): ("Thread", f"the thread that it is for: {_THREADS}")
        for code in ("setting_tool", "inserting_tool", "tang_tool", "key_driver", "extractor")
    },
}
_CHOICES = {"flute": FLUTES, "action": ACTIONS, "hand": ("L", "R")}


def asked(kind: Kind) -> tuple[str, ...]:
    """The fields that are asked of an item of this kind: first what it must carry, then what else may be told."""
    more = ["thread_class"] if "thread" in kind.measures else []
    more += ["flange"] if kind.code == "insert" else []
    more += ["hand"] if kind.code == "fixture" else []
    more += ["cure_hours"] if kind.code == "adhesive" else []
    more += ["life", "most_regrinds"] if kind.wears else []
    more += ["calibration_days"] if kind.calibrated else []
    more += ["pack_size"] if kind.counted else []
    return tuple(dict.fromkeys(("number", "name", *kind.measures, *more)))


def measured(kind: Kind) -> tuple[str, ...]:
    """What is measured of an item of this kind: corrected where it is wrong, completed where it lacks."""
    return tuple(name for name in asked(kind) if name in catalogue.MEASURED)


UNTOUCHED = object()  # what a field cleans to that still holds the text it was shown with


class CellField(forms.CharField):
    """A field that reads as a column of the stock sheet does; empty cleans to None.

    One that was shown with a text (`shown`) and still has it cleans to `UNTOUCHED`: what was known is not read anew.
    """

    shown: str | None = None

    def __init__(self, column: Column, *, kind: Kind, must: bool) -> None:
        iso = symbol(kind.code, column.field)
        name, hint = _OF_KIND.get((kind.code, column.field), (column.name.capitalize(), column.meaning))
        label = f"{name} ({iso})" if iso else name
        longest = LONGEST.get(column.name, _LONGEST_CELL)
        super().__init__(max_length=longest, required=False, label=label, help_text=hint)
        self.column, self.must = column, must
        if column.field in _CHOICES:
            words = [("", "–"), *((word, word) for word in _CHOICES[column.field])]
            self.widget = forms.Select(choices=words)
        self.widget.attrs |= {"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}

    def clean(self, value: Any) -> Any:
        if self.shown is not None and str(value or "").strip() == self.shown:
            return UNTOUCHED
        text = super().clean(value)
        if not text:
            return None
        try:
            value = self.column.reader(text) if self.column.reader else text
        except (Refused, ThreadError, DrillError) as refused:
            raise Fault(refused.reason) from refused
        if isinstance(value, Reading) and (assumed := _assumed(value)):
            raise Fault(assumed)
        return value


def _assumed(reading: Reading) -> Reason | None:
    """What the reader chose among several and nobody wrote: a sheet's preview shows it, a page would keep it unseen."""
    for note in reading.notes:
        if note.code == "pitch_assumed_coarse":
            return Reason("pitch_not_written", thread=note["thread"], others=note["others"])
        if note.code == "system_assumed_unified":
            return Reason("system_not_written", typed=reading.typed, thread=note["thread"], others=note["others"])
    return None


class Measurements(Answers):
    """What is asked of an item of one kind: read as a sheet's cells are, refused at the field that it is about."""

    at: Mapping[str, str] = {
        "item_number_taken": "number", "thread_class_twice": "thread_class", "item_torque_range": "torque_max",
        "item_number_like_an_address": "number",
    }  # fmt: skip

    def __init__(self, data: Any = None, *, kind: Kind, names: Iterable[str], auto_id: str, **kwargs: Any) -> None:
        super().__init__(data, auto_id=auto_id, **kwargs)
        self.kind = kind
        for name in names:
            self.fields[name] = CellField(_COLUMNS[name], kind=kind, must=name in kind.measures)

    def clean(self) -> dict[str, Any]:
        """A class may stand in the thread as written or beside it; all of it must go together as in a sheet's row."""
        cleaned = super().clean() or self.cleaned_data
        if self.errors:
            return cleaned
        reading = cleaned.get("thread")
        if isinstance(reading, Reading) and "thread_class" in cleaned and cleaned["thread_class"] is None:
            cleaned["thread_class"] = reading.thread_class or None
        told = {name: self.known(name) if value is UNTOUCHED else value for name, value in cleaned.items()}
        entered = {name: value for name, value in told.items() if value not in (None, "")}
        for name, why in unfit_item(entered, self.kind):
            self.add_error(name if name in self.fields else None, Fault(why))
        return cleaned

    @property
    def lengths(self) -> bool:
        """Whether a bare number is read in millimetres anywhere here."""
        return self._read_in("mm")

    @property
    def torques(self) -> bool:
        """Whether a bare number is read in newton metres anywhere here."""
        return self._read_in("N·m")

    def _read_in(self, unit: str) -> bool:
        return any(isinstance(field, CellField) and field.column.unit == unit for field in self.fields.values())

    def known(self, name: str) -> Any:
        """What is known already under a field that nobody touched."""
        return None

    def refuse(self, reason: Reason) -> None:
        """What an act refused, at the field that it is about; above them all where it is about none."""
        field = self.at.get(reason.code) or reason.code.removeprefix("item_").removesuffix("_positive")
        self.add_error(field if field in self.fields else None, Fault(reason))


class ItemForm(Measurements):
    """An item of one kind; a measurement that is left out may come later, and till then it cannot be matched on it."""

    def __init__(self, data: Any = None, *, kind: Kind) -> None:
        super().__init__(data, kind=kind, names=asked(kind), auto_id="id_item_%s")
        self.fields["number"].required = True

    def added(self) -> Item | None:
        """The item as it now stands in the catalogue; None where something was refused, which the form tells."""
        if not self.is_valid():
            return None
        told = {name: value for name, value in self.cleaned_data.items() if value is not None}
        if "thread" in told:
            told["as_typed"] = told["thread"].typed
        told |= {name: told[name].thread for name in ("thread", "inner") if name in told}
        try:
            return catalogue.add_item(kind=self.kind.code, **told)
        except Refused as refused:
            self.refuse(refused.reason)
            return None


class MeasuresForm(Measurements):
    """What is measured of an item, as it was typed or in mm and N·m: corrected, completed, or emptied.

    `seen` goes along with the page and says what it was filled in with, so that whoever comes second is told what
    changed in between, and what they did not touch is not set back.
    """

    def __init__(self, data: Any = None, *, item: Item, as_of: datetime) -> None:
        self.item, self.as_of = item, as_of
        now = catalogue.measures_of(item)
        self.seen = _seen(data.get("seen", "")) if data is not None else now
        shown = self.seen or now
        kind = KINDS[item.kind]
        more = (name for name in _COLUMNS if name in catalogue.MEASURED and shown[name] not in (None, ""))
        names = tuple(dict.fromkeys((*measured(kind), *more)))
        texts = {name: _text(name, shown) for name in names}
        key = {"request_key": uuid.uuid4().hex, "seen": json.dumps(shown)}
        super().__init__(data, kind=kind, names=names, auto_id="id_measures_%s", initial={**texts, **key})
        for name, text in texts.items():
            self.fields[name].shown = text  # type: ignore[attr-defined]
        self.fields["why"] = forms.CharField(label="Why", max_length=200, required=False)
        for name in ("seen", "request_key"):
            longest = 64 if name == "request_key" else _LONGEST_SEEN
            self.fields[name] = forms.CharField(max_length=longest, required=False, widget=forms.HiddenInput)

    def measured(self, *, by: str) -> Item | None:
        """The item by its new measurements; None where something was refused, which the form tells."""
        if not self.is_valid():
            return None
        told = {name: self.cleaned_data[name] for name in self.fields if name in catalogue.MEASURED}
        anew: dict[str, Any] = {}
        for name, value in told.items():
            if isinstance(value, Reading):
                anew[name] = value.thread.key
            elif value is not UNTOUCHED:
                anew[name] = Item._meta.get_field(name).get_default() if value is None else value  # type: ignore[union-attr]
        if "thread" in anew:
            anew["as_typed"] = told["thread"].typed if told["thread"] else ""
        try:
            if self.seen is None:
                raise catalogue.MeasuredSince(Reason("item_measured_since"), {})
            return catalogue.measure(
                self.item,
                anew=anew,
                seen=self.seen,
                by=by,
                as_of=self.as_of,
                reason=self.cleaned_data["why"],
                request_key=self.cleaned_data["request_key"] or None,
            )
        except catalogue.MeasuredSince as since:
            self._look_again(since, set(anew))
        except Refused as refused:
            self.refuse(refused.reason)
        return None

    def known(self, name: str) -> Any:
        """What was there when the page was shown, a thread as it was typed."""
        seen = self.seen or catalogue.measures_of(self.item)
        value = seen[name]
        if name not in ("thread", "inner") or not value:
            return value
        try:
            thread = Thread.from_key(value)
            reading = read(_text(name, seen))
        except ThreadError:
            return None  # of a way to write it that is no longer read nothing can be judged
        return reading if reading.thread == thread else thread

    def _look_again(self, since: catalogue.MeasuredSince, touched: Collection[str]) -> None:
        """What changed since the page was shown stands at its field; what was typed here stays."""
        was, now = self.seen or {}, {**(self.seen or catalogue.measures_of(self.item))}
        now |= {column: value for column, (_, value) in since.changed.items()}
        self.add_error(None, Fault(since.reason))
        data: Any = self.data.copy()  # type: ignore[attr-defined]
        self.data = data
        data["seen"] = json.dumps(now)
        for name in dict.fromkeys("thread" if column == "as_typed" else column for column in since.changed):
            if name not in self.fields:  # it had nothing and was not asked for; another look at the page has it
                continue
            before, after = _text(name, was), _text(name, now)
            if name not in touched:
                data[name] = after
            code = "item_measured_meanwhile" if after else "item_emptied_meanwhile"
            self.add_error(name, Fault(Reason(code, was=before, now=after)))


def _seen(typed: str) -> dict[str, Any] | None:
    """What a page was filled in with, from what goes along with it; None where that is nothing of ours."""
    try:
        seen = json.loads(typed)
    except (ValueError, RecursionError):
        return None
    if not isinstance(seen, dict) or set(seen) != set(catalogue.MEASURED):
        return None
    return seen if all(value is None or type(value) in (int, str) for value in seen.values()) else None


def _designation(key: str) -> str:
    try:
        return Thread.from_key(key).designation
    except ThreadError:
        return key


def _text(name: str, values: Mapping[str, Any]) -> str:
    """A measurement as somebody would type it: a thread as it was typed, a size in mm, a torque in N·m."""
    value = values.get(name)
    if value in (None, ""):
        return ""
    if name in ("thread", "inner"):
        return (values["as_typed"] if name == "thread" else "") or _designation(value)
    column = _COLUMNS[name]
    return f"{column.writer(value)} {column.unit}".strip()


def cared_for(kind: Kind) -> tuple[str, ...]:
    """What may be said of how an item of this kind wears and is cared for."""
    return tuple(name for name in asked(kind) if name in catalogue.CARE)


class CareForm(Answers):
    """How an item wears and is cared for; what is left empty counts as not known, but a number stays."""

    at: Mapping[str, str] = {
        "item_number_taken": "number", "item_number_like_an_address": "number", "item_number_kept": "number",
        "item_life_positive": "life",
        "item_most_regrinds_not_negative": "most_regrinds",
        "item_calibration_days_positive": "calibration_days", "item_pack_size_positive": "pack_size",
    }  # fmt: skip

    def __init__(self, data: Any = None, *, item: Item, as_of: datetime) -> None:
        kind = KINDS[item.kind]
        initial = {name: getattr(item, name) for name in cared_for(kind)}
        if kind.wears:
            words, factors = materials(), catalogue.factors_of(item)
            lines = [f"{words.get(code, code)} {percent}" for code, percent in sorted(factors.items())]
            initial["factors"] = "\n".join(lines)
        super().__init__(data, auto_id="id_care_%s", initial={**initial, "request_key": uuid.uuid4().hex})
        self.item, self.as_of = item, as_of
        for name in cared_for(kind):
            self.fields[name] = CellField(_COLUMNS[name], kind=kind, must=False)
        if kind.wears:
            self.fields["factors"] = FactorsField()
        self.fields["why"] = forms.CharField(label="Why", max_length=200, required=False)
        self.fields["request_key"] = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def cared(self, *, by: str) -> Item | None:
        """The item as it is cared for from now on; None where something was refused, which the form tells."""
        if not self.is_valid():
            return None
        told = dict(self.cleaned_data)
        try:
            return catalogue.care_for(
                self.item,
                anew={name: told[name] for name in cared_for(KINDS[self.item.kind])},
                factors=told.get("factors", {}),
                by=by,
                as_of=self.as_of,
                reason=told["why"],
                request_key=told["request_key"] or None,
            )
        except Refused as refused:
            self.add_error(self.at.get(refused.reason.code), Fault(refused.reason))
            return None


class FactorsField(forms.CharField):
    """Life factors, one a line; cleans to percent by material."""

    def __init__(self) -> None:
        area = forms.Textarea(attrs={"rows": 4, "autocapitalize": "off", "spellcheck": "false"})
        meaning = "one a line: steel 150 says that a hole in steel takes the life of one and a half. Materials: "
        super().__init__(
            max_length=1000,
            required=False,
            label="Life factors in percent",
            help_text=f"{meaning}{', '.join(sorted(materials().values()))}.",
            widget=area,
        )

    def clean(self, value: Any) -> dict[str, int]:
        text = super().clean(value)
        try:
            return read_factors(text)
        except Refused as refused:
            raise Fault(refused.reason) from refused


class TakeInForm(Answers):
    """What comes in of one item without an order: a tool by its tag, or a quantity of a lot, into a bin."""

    tag = forms.CharField(label="Tag", max_length=40)
    quantity = forms.IntegerField(label="How many", min_value=1, max_value=MOST)
    bin = forms.CharField(label="Into bin", max_length=40)
    site = forms.CharField(label="At site", max_length=80)
    new_bin = forms.BooleanField(label="the bin is new: make it", required=False)
    lot = forms.CharField(label="Lot", max_length=40, required=False)
    packed = packed_day()
    expires = last_good_day()
    calibration_due = calibrated_until()
    reason = forms.CharField(label="Why, or where from", max_length=200, required=False)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    at: Mapping[str, str] = {
        "bin_unknown": "bin", "site_unknown": "site", "tag_taken": "tag", "tag_taken_in_other_letters": "tag",
        "batch_dates_differ": "expires",
        "batch_packed_before_expiry": "expires", "quantity_not_positive": "quantity",
    }  # fmt: skip

    def __init__(self, data: Any = None, *, item: Item, as_of: datetime) -> None:
        super().__init__(data, auto_id="id_take_in_%s", initial={"request_key": uuid.uuid4().hex})
        self.item, self.as_of = item, as_of
        counted = ("quantity", "lot", "packed", "expires")
        for name in ("tag", "calibration_due") if item.counted else counted:
            del self.fields[name]
        if not item.counted and not KINDS[item.kind].calibrated:
            del self.fields["calibration_due"]
        self.sites = stock.site_names()
        self.fields["site"].initial = self.sites[0] if len(self.sites) == 1 else ""
        self.fields["site"].widget.attrs["list"] = "sites"
        today: date = as_of.astimezone(settings.SHOP_ZONE).date()
        for field in self.fields.values():
            if isinstance(field, DayField):
                field.today = today
            field.widget.attrs["autocomplete"] = "off"

    def _bin(self, site: str, name: str, *, new: bool) -> Bin:
        """The bin of that site; made where it is told to be new and is not there yet."""
        if not new and site not in self.sites:
            raise Refused(Reason("site_unknown", typed=site, known=tuple(self.sites)))
        if new:
            return stock.bin_of(site=site, name=name)
        return stock.bin_named(site=site, name=name)

    def taken_in(self, *, by: str) -> Unit | Batch | None:
        """What came in, in its bin; None where something was refused, which the form tells."""
        if not self.is_valid():
            self._tell_the_rest()
            return None
        told = dict(self.cleaned_data)
        entry: dict[str, Any] = {"by": by, "as_of": self.as_of, "request_key": told.pop("request_key") or None}
        entry["reason"] = told.pop("reason")
        try:
            with act():
                into = self._bin(told.pop("site"), told.pop("bin"), new=told.pop("new_bin"))
                if self.item.counted:
                    return stock.receive_batch(item=self.item, bin=into, **told, **entry)
                return stock.receive_unit(item=self.item, bin=into, **told, **entry)
        except Refused as refused:
            self._refuse(refused.reason)
            self._tell_the_rest()
            return None

    def _refuse(self, reason: Reason) -> None:
        field = self.at.get(reason.code)
        self.add_error(field if field in self.fields else None, Fault(reason))

    def _tell_the_rest(self) -> None:
        """Once something is refused: what else is wrong with tag and bin, so that all of it is told at once."""
        told = self.cleaned_data  # what is told already is no longer in it
        if tag := told.get("tag"):
            for reason in stock.tags_taken([tag]).values():
                self._refuse(reason)
        if told.get("bin") and told.get("site") and not told.get("new_bin"):
            try:
                self._bin(told["site"], told["bin"], new=False)
            except Refused as refused:
                self._refuse(refused.reason)
