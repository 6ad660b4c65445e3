"""Order points, deliveries, and what the crib has settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django import forms

from inventory import stock
from inventory.errors import Reason
from inventory.forms.fields import (
    Answers,
    DayField,
    Fault,
    calibrated_until,
    count_field,
    last_good_day,
    packed_day,
    text_field,
)
from inventory.kinds import KINDS

LONGEST_TAG = 40


class OrderPointForm(Answers):
    """Least, order point and most of a counted item, and why; all three empty: none any more."""

    minimum = count_field("Minimum", least=0, required=False)
    order_point = count_field("Order point", least=0, required=False)
    maximum = count_field("Maximum", least=0, required=False)
    why = text_field("Why", 200, required=True)
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
    value = text_field("Value", 12, required=True, inputmode="decimal")
    why = text_field("Why", 200, required=True)


class DeliveryLineForm(Answers):
    """What came for one line of an order: a quantity with lot and dates, or tools by their tags."""

    pieces = count_field("How many came", least=0, required=False)
    tags = text_field("Tags, with commas between", 2000)
    bin = text_field("Into bin", 40)
    lot = text_field("Lot", 40)
    packed = packed_day()
    expires = last_good_day()
    calibration_due = calibrated_until()
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
        if not expected.item.counted and not KINDS[expected.item.kind].calibrated:
            del self.fields["calibration_due"]
        for field in self.fields.values():
            if isinstance(field, DayField):
                field.today = today

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self.tagged = tuple(tag.strip() for tag in cleaned.get("tags", "").split(",") if tag.strip())
        for tag in self.tagged:
            if len(tag) > LONGEST_TAG:
                self.add_error("tags", Fault(Reason("tag_too_long", tag=tag, length=len(tag), longest=LONGEST_TAG)))
        self.came = len(self.tagged) or cleaned.get("pieces") or 0
        if self.came and not cleaned.get("bin") and "bin" not in self.errors:
            self.add_error("bin", Fault(Reason("answer_missing")))
        return cleaned

    def refuse(self, reason: Reason) -> None:
        """Put what the act refused at its field."""
        field = self.at.get(reason.code)
        self.add_error(field if field in self.fields else None, Fault(reason))


def refuse_tags(lines: Sequence[DeliveryLineForm], *, taken: bool) -> None:
    """Tell at its line every tag that stands twice, and with `taken` every one that a unit already has."""
    seen: set[str] = set()
    there = stock.tags_taken([tag for form in lines for tag in form.tagged]) if taken else {}
    for form in lines:
        told: set[str] = set()
        for tag in form.tagged:
            reason = Reason("tag_typed_twice", tag=tag) if tag.upper() in seen else there.get(tag)
            if reason is not None and tag.upper() not in told:
                form.add_error("tags", Fault(reason))
                told.add(tag.upper())
            seen.add(tag.upper())


class DeliveryForm(Answers):
    """The delivery as a whole: its note, and whether nothing more will come."""

    note = text_field("Number of the delivery note", 80)
    complete = forms.BooleanField(label="nothing more of it will come", required=False)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
