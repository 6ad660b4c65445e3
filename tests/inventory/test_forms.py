"""Fields read what people type, say one sentence where they cannot, and keep what was typed."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django import forms

from inventory.forms import (
    Answers,
    AskForm,
    DayField,
    Fault,
    LengthField,
    MeasureForm,
    NumberField,
    ThreadField,
    TorqueField,
    WordField,
)


class Form(Answers):
    thread = ThreadField(required=False)
    length = LengthField(required=False)
    torque = TorqueField(required=False)
    number = NumberField(required=False)
    word = WordField(words={"wire_insert": "wire insert", "none": "none"}, required=False, otherwise="none")


def test_empty_answers_clean_to_none() -> None:
    form = Form({})
    assert form.is_valid()
    assert form.cleaned_data == {"thread": None, "length": None, "torque": None, "number": None, "word": "none"}


def test_answers_clean_to_values_in_base_units() -> None:
    form = Form(
        {"thread": " M14 x 1,5 ", "length": "1 1/8 in", "torque": "60 lbf·ft", "number": "11,5", "word": "Wire-Insert"}
    )
    assert form.is_valid(), form.errors
    cleaned = form.cleaned_data
    assert cleaned["thread"].thread.designation == "M14x1.5"
    assert cleaned["length"] == 28_575_000
    assert cleaned["torque"] == 81_349  # 60 x 1.3558179 N·m, NIST SP 811
    assert cleaned["number"] == Decimal("11.5")
    assert cleaned["word"] == "wire_insert"


@pytest.mark.parametrize(
    ("field", "typed", "code"),
    [
        ("thread", "M14x15", "thread_pitch_impossible"),
        ("length", "-3", "length_not_positive"),
        ("length", "1/8", "length_fraction_without_unit"),
        ("torque", "hard", "torque_unreadable"),
        ("number", "0", "number_unreadable"),
        ("number", "NaN", "number_unreadable"),
        ("word", "glue", "word_unknown"),
    ],
)
def test_a_wrong_answer_gets_one_sentence_and_is_kept(field: str, typed: str, code: str) -> None:
    form = Form({field: typed})
    (fault,) = form.errors.as_data()[field]
    assert isinstance(fault, Fault)
    assert fault.code == fault.reason.code == code
    assert len(form.errors[field]) == 1
    assert form[field].value() == typed


class Asked(Answers):
    """Every sort of field, as Django itself would refuse it."""

    thread = ThreadField()
    length = LengthField()
    torque = TorqueField()
    word = WordField(words={"none": "none", "cut": "cut"})
    text = forms.CharField(max_length=3)
    count = forms.IntegerField(min_value=1, max_value=9)


@pytest.mark.parametrize(
    ("field", "typed", "code", "told"),
    [
        ("thread", "", "thread_empty", "A thread is missing here; write for example M14 x 1.5"),
        ("length", "", "length_empty", "A length is missing here; write for example 15.5"),
        ("torque", "", "torque_empty", "A torque is missing here; write for example 45 N·m"),
        ("word", "", "word_missing", "An answer is missing here; write one of: none, cut."),
        ("text", "", "answer_missing", "Nothing is entered here"),
        ("count", "", "answer_missing", "Nothing is entered here"),
        ("text", "abcd", "answer_too_long", "This is 4 characters long; write at most 3 characters."),
        ("text", "a\0", "answer_unreadable", "has a character in it that cannot be kept"),
        ("thread", "M" * 81, "answer_too_long", "This is 81 characters long; write at most 80 characters."),
        ("count", "0", "count_unreadable", "“0” must be a whole number of at least 1 and at most 9."),
        ("count", "10", "count_unreadable", "“10” must be a whole number of at least 1 and at most 9."),
        ("count", "1.5", "count_unreadable", "“1.5” must be a whole number"),
    ],
)
def test_what_django_itself_refuses_is_told_in_our_own_words(field: str, typed: str, code: str, told: str) -> None:
    form = Asked({field: typed})
    (fault,) = form.errors.as_data()[field]
    assert isinstance(fault, Fault)
    assert (fault.code, fault.reason.code) == (code, code)
    assert told in form.errors[field][0]


def test_a_word_for_unknown_is_an_answer_where_a_field_takes_one() -> None:
    class Depth(Answers):
        depth = LengthField(unknown="unknown")

    assert Depth({"depth": " Unknown"}).is_valid()
    assert not Depth({"depth": ""}).is_valid()
    assert Depth({"depth": "12"}).errors == {}
    assert not Asked({"length": "unknown"}).is_valid()


def test_a_class_is_asked_of_the_thread() -> None:
    assert AskForm({"q": "M14x1.5", "thread_class": "5H"}).is_valid()
    assert set(AskForm({"q": "M14x1.5", "thread_class": "2B"}).errors) == {"thread_class"}
    empty = AskForm({"q": ""})
    assert empty.is_valid()
    assert empty.found is None


def test_measurements_find_candidates_or_say_what_is_missing() -> None:
    form = MeasureForm({"inside": "6.65", "pitch": "1.25", "doubt": "0.1", "pitch_doubt": "0.05"})
    assert form.is_valid()
    assert form.found[0].thread.designation == "M8x1.25"
    assert "__all__" in MeasureForm({"doubt": "1"}).errors


@pytest.mark.parametrize(
    ("today", "day", "taken"),
    [
        (date(2026, 3, 2), "2046-03-02", True),
        (date(2026, 3, 2), "2046-03-03", False),
        (date(2028, 2, 29), "2048-02-29", True),
        (date(2028, 2, 29), "2048-03-01", False),
        (date(2026, 3, 2), "+7306d", False),
        (date(2026, 3, 2), "9999-12-31", False),
    ],
)
def test_no_day_lies_more_than_twenty_years_ahead(today: date, day: str, taken: bool) -> None:
    for field in (DayField(), DayField(ahead=True)):
        field.today = today
        if taken:
            assert field.clean(day) == date.fromisoformat(day)
        else:
            with pytest.raises(Fault) as refused:
                field.clean(day)
            assert refused.value.code == "day_far_ahead"
