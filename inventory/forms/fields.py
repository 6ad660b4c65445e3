"""What every form is made of: fields that read threads, sizes, days and words, each keeping what was typed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.errors import Reason, Refused
from inventory.kinds import plain
from inventory.quantities import read_day, read_length, read_stress, read_torque
from inventory.threads import Reading, read
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


MOST = 1_000_000_000  # beyond it a count is a slip of the finger
FARTHEST_YEARS = 20  # nothing in a crib keeps longer, nor is lent for as long


class DayField(forms.CharField):
    """Cleans to a date: ISO, as the browser's own calendar writes it, or "+5d" counted from the form's `today`.

    `ahead`: a day that is over is refused, `otherwise` says what would do then; `behind`: one that is still to come.
    Any day that is more than `FARTHEST_YEARS` ahead is a slip in the year.
    """

    def __init__(
        self, *, ahead: bool = False, behind: bool = False, otherwise: Reason | None = None, **kwargs: Any
    ) -> None:
        super().__init__(max_length=20, required=False, widget=forms.DateInput(attrs={"type": "date"}), **kwargs)
        self.ahead, self.behind, self.otherwise = ahead, behind, otherwise
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
            raise Fault(Reason("day_is_over", day=day, otherwise=self.otherwise))
        if self.behind and day > self.today:
            raise Fault(Reason("day_not_yet", day=day))
        if day - self.today > timedelta(days=FARTHEST_YEARS * 365 + FARTHEST_YEARS // 4):
            raise Fault(Reason("day_far_ahead", day=day, years=FARTHEST_YEARS))
        return day


def packed_day() -> DayField:
    return DayField(label="Packed on", behind=True)


def last_good_day() -> DayField:
    return DayField(label="Last good day", ahead=True, otherwise=Reason("expired_by_sheet"))


def calibrated_until() -> DayField:
    """Of a gauge that comes in."""
    return DayField(label="Calibration good until the end of", ahead=True, otherwise=Reason("calibration_left_out"))


class CountField(forms.IntegerField):
    """Cleans to a whole number, written in digits alone: "12.0", "12,0" and "1.000" are no counts, and are told so.

    A text field to the browser, which in a field for numbers would drop what it cannot read, and keep the "16" of a
    tag "T-16" that was scanned into it.
    """

    widget = forms.TextInput

    def to_python(self, value: Any) -> int | None:
        text = str(value).strip() if value is not None else ""
        if text and not re.fullmatch(r"[+-]?[0-9]{1,18}", text):
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return int(text) if text else None


def count_field(label: str, *, least: int, required: bool = True) -> CountField:
    number = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
    return CountField(label=label, min_value=least, max_value=MOST, required=required, widget=number)


def text_field(label: str, longest: int, *, required: bool = False, **attrs: str) -> forms.CharField:
    text = forms.TextInput(attrs={"autocomplete": "off", **attrs})
    return forms.CharField(label=label, max_length=longest, required=required, widget=text)
