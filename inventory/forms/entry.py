"""What a storekeeper enters by hand: an item with what its kind must carry, and what is taken in of one.

Sizes are read as a sheet's are (`inventory.sheets.columns`), so that a page and a sheet understand the same hand.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django import forms
from django.conf import settings

from inventory import catalogue, stock
from inventory.errors import Reason, Refused
from inventory.forms.fields import MOST, Answers, DayField, Fault
from inventory.guards import act
from inventory.kinds import ACTIONS, FLUTES, KINDS, SYMBOLS, Kind
from inventory.models import Batch, Bin, Item, Unit
from inventory.sheets.columns import STOCK, Column
from inventory.threads import DrillError, ThreadError
from inventory.wear import materials, read_factors

_COLUMNS = {column.field: column for column in STOCK if column.of == "item"}
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


class CellField(forms.CharField):
    """A field that reads as a column of the stock sheet does; empty cleans to None."""

    def __init__(self, column: Column, *, must: bool, longest: int) -> None:
        symbol = SYMBOLS.get(column.field)
        label = column.name.capitalize() + (f" ({symbol.symbol})" if symbol else "")
        super().__init__(max_length=longest, required=False, label=label, help_text=column.meaning)
        self.column, self.must = column, must
        self.widget.attrs |= {"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return self.column.reader(text) if self.column.reader else text
        except (Refused, ThreadError, DrillError) as refused:
            raise Fault(refused.reason) from refused


class ItemForm(Answers):
    """An item of one kind; a measurement that is left out may come later, and till then it cannot be matched on it."""

    at: Mapping[str, str] = {
        "item_number_taken": "number", "thread_class_twice": "thread_class", "item_torque_range": "torque_max",
        "item_takes_range": "takes_most", "item_step_over_diameter": "step_diameter",
    }  # fmt: skip

    def __init__(self, data: Any = None, *, kind: Kind) -> None:
        super().__init__(data, auto_id="id_item_%s")
        self.kind = kind
        for name in asked(kind):
            field = CellField(_COLUMNS[name], must=name in kind.measures, longest=40 if name == "number" else 160)
            if name in _CHOICES:
                words = [("", "–"), *((word, word) for word in _CHOICES[name])]
                field.widget = forms.Select(choices=words)
            self.fields[name] = field
        self.fields["number"].required = True

    def added(self) -> Item | None:
        """The item as it now stands in the catalogue; None where something was refused, which the form tells."""
        if not self.is_valid():
            return None
        told = {name: value for name, value in self.cleaned_data.items() if value is not None}
        for name in ("thread", "inner"):
            if name in told:
                reading = told[name]
                if name == "thread":
                    told["as_typed"] = reading.typed
                    told.setdefault("thread_class", reading.thread_class)
                    if reading.thread_class and told["thread_class"] != reading.thread_class:
                        twice = Reason("thread_class_twice", typed=reading.typed, thread_class=told["thread_class"])
                        self.add_error("thread_class", Fault(twice))
                        return None
                told[name] = reading.thread
        try:
            return catalogue.add_item(kind=self.kind.code, **told)
        except Refused as refused:
            field = self.at.get(refused.reason.code) or refused.reason.code.removeprefix("item_").removesuffix(
                "_positive"
            )
            self.add_error(field if field in self.fields else None, Fault(refused.reason))
            return None


def cared_for(kind: Kind) -> tuple[str, ...]:
    """What may be said of how an item of this kind wears and is cared for."""
    return tuple(name for name in asked(kind) if name in catalogue.CARE)


class CareForm(Answers):
    """How an item wears and is cared for; what is left empty is not known any more."""

    at: Mapping[str, str] = {
        "item_number_taken": "number", "item_life_positive": "life", "item_most_regrinds_not_negative": "most_regrinds",
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
            self.fields[name] = CellField(_COLUMNS[name], must=False, longest=40 if name == "number" else 160)
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
    packed = DayField(label="Packed on")
    expires = DayField(label="Last good day")
    calibration_due = DayField(label="Calibration good until the end of")
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
        if new and stock.bin_at([(site, name)]) is None:
            return stock.add_bin(site=site, name=name)
        return stock.bin_named(site=site, name=name)

    def taken_in(self, *, by: str) -> Unit | Batch | None:
        """What came in, in its bin; None where something was refused, which the form tells."""
        if not self.is_valid():
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
            field = self.at.get(refused.reason.code)
            self.add_error(field if field in self.fields else None, Fault(refused.reason))
            return None
