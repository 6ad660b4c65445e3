"""Form fields that read what people type: threads, lengths, torques, words; each keeps what was typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.errors import Reason, Refused
from inventory.kinds import plain
from inventory.quantities import read_length, read_torque
from inventory.threads import Reading, read
from inventory.wording import say


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
            raise ValidationError(say(refused.reason), code=refused.reason.code) from refused


class ThreadField(_ReadField):
    """Cleans to a `Reading` (thread, class, notes) or None."""

    reader: Callable[[str], Reading] = staticmethod(read)


class LengthField(_ReadField):
    """Cleans to whole nanometres or None; a bare number is millimetres."""

    reader = staticmethod(read_length)


class TorqueField(_ReadField):
    """Cleans to newton millimetres or None; a bare number is newton metres."""

    reader = staticmethod(read_torque)


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
            raise ValidationError(say(reason), code=reason.code)
        return code
