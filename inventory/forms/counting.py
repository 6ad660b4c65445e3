"""What is entered while stock is counted."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from inventory import catalogue, labels
from inventory.counting import Finding, Row, Sheet
from inventory.errors import Reason, Refused
from inventory.forms.fields import Answers, Fault, count_field, text_field

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
    empty = forms.BooleanField(label="nothing at all lies in this bin", required=False)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, sheet: Sheet, done: bool = False) -> None:
        super().__init__(data, initial={"request_key": uuid.uuid4().hex})
        self.sheet, self.done = sheet, done
        for row in sheet.batches:
            # Never filled in: a figure that stands there says that it was counted now.
            self.fields[row.name] = count_field("Found", least=0, required=False)
        for row in sheet.units:
            self.fields[row.name] = forms.BooleanField(label="is here", required=False)
            self.initial[row.name] = bool(row.found)
        for number in range(1, SPARE_LOTS + 1):
            self.fields[f"item-{number}"] = text_field("Item number", 80)
            self.fields[f"lot-{number}"] = text_field("Lot", 40)
            self.fields[f"found-{number}"] = count_field("Found", least=0, required=False)

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
        rows = [*self.sheet.batches, *self.sheet.units]
        entered = self.findings or any(row.found is not None or row.others for row in rows)
        if self.done and not self.errors and not entered and not cleaned.get("empty"):
            self.add_error("empty", Fault(Reason("count_bin_empty", bin=self.sheet.place.bin.name)))
        return cleaned

    def _lots(self, cleaned: dict[str, Any]) -> list[Finding]:
        found = []
        for row in self.sheet.batches:
            many = cleaned.get(row.name)
            if many is not None:
                found.append(_finding(row, many))
            elif self.done and row.found is None and not row.others and row.name not in self.errors:
                self.add_error(row.name, Fault(Reason("count_row_empty")))
        return found

    def _units(self, cleaned: dict[str, Any]) -> list[Finding]:
        # A unit that was there when the page was opened and that the book has elsewhere by now was still seen.
        seen = {f"unit-{row.unit.pk}" for row in self.sheet.units if row.unit}
        gone = [name.removeprefix("unit-") for name in self.data if name.startswith("unit-") and name not in seen]
        found = [Finding(1, unit=int(pk)) for pk in gone if pk.isascii() and pk.isdigit() and len(pk) < 19]
        for row in self.sheet.units:
            if cleaned.get(row.name) and not row.found:
                found.append(_finding(row, 1))
            elif row.found and not cleaned.get(row.name):
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
    """Why the lines of a count differ: one reason for all, or one of a line's own.

    What was typed at a line that does not differ any more is carried along, for when it does again.
    """

    reason = text_field("One reason for all that differ", 200)
    seen = forms.IntegerField(min_value=0, widget=forms.HiddenInput)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(
        self, data: Any = None, *, lines: Iterable[int], seen: int = 0, typed: Mapping[str, str] | None = None
    ) -> None:
        """`typed` is what stands there before anything is judged, by the name of its field."""
        super().__init__(data, initial={"request_key": uuid.uuid4().hex, "seen": seen})
        self.lines = list(lines)
        self.typed: Mapping[str, str] = data if data is not None else typed or {}
        for line in self.lines:
            self.fields[f"reason-{line}"] = text_field("Its own reason", 200)
        of_reasons = [name for name in self.fields if "reason" in name and name in self.typed]
        self.initial.update({name: self.typed[name] for name in of_reasons})

    def of(self, line: int) -> Any:
        return self[f"reason-{line}"]

    @property
    def carried(self) -> list[tuple[str, str]]:
        """Reasons that were typed at lines that are not asked about now: the name and what was typed."""
        names = [name for name in self.typed if re.fullmatch(r"reason-[0-9]{1,18}", name) and name not in self.fields]
        return [(name, self.typed[name]) for name in names if self.typed[name].strip()]

    @property
    def reasons(self) -> dict[int, str]:
        return {line: self.cleaned_data[f"reason-{line}"] for line in self.lines if self.cleaned_data[f"reason-{line}"]}


class CountEndForm(Answers):
    """Why a count is given up."""

    use_required_attribute = False  # in the review it stands in one form with what is no part of giving up
    why = text_field("Why it is given up", 200, required=True)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
