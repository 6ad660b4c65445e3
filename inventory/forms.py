"""Form fields that read what people type: threads, lengths, torques, words; each keeps what was typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.errors import Reason, Refused
from inventory.kinds import plain
from inventory.quantities import read_length, read_torque, to_mm
from inventory.threads import Candidate, Dossier, Reading, dossier, identify, read
from inventory.wording import SENTENCES, say


class Fault(ValidationError):
    """What is wrong with an answer: a `Reason` whose sentence, of another app's if told so, stands at the field."""

    def __init__(self, reason: Reason, sentences: Mapping[str, str] = SENTENCES) -> None:
        super().__init__(say(reason, sentences=sentences), code=reason.code)
        self.reason = reason


class _ReadField(forms.CharField):
    """A text field whose reader answers with a value or refuses with a `Reason`, shown at the field."""

    reader: Callable[[str], Any]

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 80)
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if text in self.empty_values:
            return None
        try:
            return type(self).reader(text)
        except Refused as refused:
            raise Fault(refused.reason) from refused


class ThreadField(_ReadField):
    """Cleans to a `Reading` (thread, class, notes) or None."""

    reader: Callable[[str], Reading] = staticmethod(read)


class LengthField(_ReadField):
    """Cleans to whole nanometres or None; a bare number is millimetres."""

    reader = staticmethod(read_length)


class TorqueField(_ReadField):
    """Cleans to newton millimetres or None; a bare number is newton metres."""

    reader = staticmethod(read_torque)


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

    def clean(self, value: Any) -> str:
        text = super().clean(value)
        if text in self.empty_values:
            return self.otherwise
        known = {plain(name): code for code, word in self.words.items() for name in (code, word)}
        code = known.get(plain(text))
        if code is None:
            reason = Reason("word_unknown", typed=text, known=tuple(word for word in self.words.values() if word))
            raise Fault(reason)
        return code


class AskForm(forms.Form):
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


class MeasureForm(forms.Form):
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
