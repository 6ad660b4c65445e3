"""What is asked of threads, and which labels are to be printed."""

from __future__ import annotations

from typing import Any

from django import forms

from inventory import labels
from inventory.errors import Reason, Refused
from inventory.forms.fields import Answers, Fault, LengthField, NumberField, ThreadField
from inventory.quantities import to_mm
from inventory.threads import Candidate, Dossier, dossier, identify


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
