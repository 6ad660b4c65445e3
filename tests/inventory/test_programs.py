"""How other programs come in: tokens, JSON, parameters and keys."""

from __future__ import annotations

import io
from datetime import timedelta
from typing import Any

import pytest
from django import forms
from django.contrib.auth.models import User
from django.http import QueryDict
from django.utils import timezone
from knox.models import AuthToken
from rest_framework.exceptions import ParseError
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from inventory.errors import Refused
from inventory.forms import Answers, WordField
from inventory.programs import (
    LARGEST_BODY,
    AskedWrongly,
    Body,
    BodyTooLarge,
    CountField,
    asked,
    give_token,
    request_key,
    revoke_tokens,
    told,
)


class _Form(Answers):
    text = forms.CharField(max_length=5, required=False)
    count = CountField(min_value=1, max_value=20, required=False)
    state = WordField(words={"open": "open", "all": "all"}, otherwise="open", required=False)


def _faults(query: str, names: dict[str, str] | None = None) -> list[tuple[str, str]]:
    with pytest.raises(AskedWrongly) as wrong:
        asked(_Form, QueryDict(query), names)
    return [(place, reason.code) for place, reason in wrong.value.faults]


def test_parameters_are_read_and_what_is_left_out_is_none() -> None:
    assert asked(_Form, QueryDict("count=7&text=a")).cleaned_data == {"text": "a", "count": 7, "state": "open"}
    assert asked(_Form, QueryDict("")).cleaned_data == {"text": "", "count": None, "state": "open"}
    assert asked(_Form, QueryDict("number=7"), {"count": "number"}).cleaned_data["count"] == 7


@pytest.mark.parametrize(
    ("query", "faults"),
    [
        ("colour=red", [("colour", "parameter_unknown")]),
        ("count=1&count=1", [("count", "parameter_twice")]),
        ("count=", [("count", "answer_missing")]),
        ("count=%20", [("count", "answer_missing")]),
        ("state=", [("state", "answer_missing")]),
        ("count=21&state=x&text=123456", None),
        ("count=1.0", [("count", "count_unreadable")]),
        ("count=%2B1", [("count", "count_unreadable")]),
        ("count=%D9%A3", [("count", "count_unreadable")]),  # a three in other figures
    ],
)
def test_parameters_that_cannot_be_meant_are_refused(query: str, faults: list[tuple[str, str]] | None) -> None:
    everything = [("text", "answer_too_long"), ("count", "count_unreadable"), ("state", "word_unknown")]
    assert sorted(_faults(query)) == sorted(faults or everything)


def test_a_parameter_is_called_as_it_was_sent() -> None:
    assert _faults("number=x", {"count": "number"}) == [("number", "count_unreadable")]
    assert _faults("count=1", {"count": "number"}) == [("count", "parameter_unknown")]


@pytest.mark.parametrize("body", [None, [], "x", 7])
def test_a_body_is_one_object(body: Any) -> None:
    with pytest.raises(AskedWrongly) as wrong:
        told(_Form, body)
    assert [(place, reason.code) for place, reason in wrong.value.faults] == [("", "object_expected")]


def test_the_keys_of_a_body_are_known_and_their_values_are_text() -> None:
    assert told(_Form, {"text": "a"}).cleaned_data["text"] == "a"
    with pytest.raises(AskedWrongly) as wrong:
        told(_Form, {"text": 1, "count": "x", "more": ""})
    assert [(place, reason.code) for place, reason in wrong.value.faults] == [
        ("more", "parameter_unknown"),
        ("text", "text_expected"),
        ("count", "count_unreadable"),
    ]


@pytest.mark.parametrize("raw", [b'{"a": [1, "\\u00e9"]}', b'\xef\xbb\xbf{"a": [1, "\\u00e9"]}'])
def test_json_is_read_with_or_without_a_mark_of_its_order(raw: bytes) -> None:
    assert Body().parse(io.BytesIO(raw)) == {"a": [1, "é"]}


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b"\xff",
        b"NaN",
        b"[Infinity]",
        b'"\\ud800"',
        b'"\\u0000"',
        b'{"\\u0000": 1}',
        b'[["\\udfff"]]',
        b"[" * 99_999,
    ],
)
def test_json_that_cannot_be_read_or_kept_is_refused(raw: bytes) -> None:
    with pytest.raises(ParseError):
        Body().parse(io.BytesIO(raw))


def test_a_body_has_its_largest_size() -> None:
    raw = b'"' + b"x" * (LARGEST_BODY - 2) + b'"'
    assert len(Body().parse(io.BytesIO(raw))) == LARGEST_BODY - 2
    with pytest.raises(BodyTooLarge):
        Body().parse(io.BytesIO(raw + b" "))


@pytest.mark.parametrize(
    ("key", "code"),
    [("", "request_key_missing"), ("k" * 65, "request_key_too_long"), ("a b", "request_key_unreadable")],
)
def test_a_key_is_short_and_plain(key: str, code: str) -> None:
    request = APIView().initialize_request(APIRequestFactory().post("/", headers={"Idempotency-Key": key}))
    with pytest.raises(AskedWrongly) as wrong:
        request_key(request)
    assert [(place, reason.code) for place, reason in wrong.value.faults] == [("Idempotency-Key", code)]


def test_a_key_is_taken_as_it_was_sent() -> None:
    request = APIView().initialize_request(APIRequestFactory().post("/", headers={"Idempotency-Key": "k" * 64}))
    assert request_key(request) == "k" * 64


@pytest.mark.django_db
def test_a_token_is_good_for_its_days_and_only_its_digest_is_kept() -> None:
    user = User.objects.create_user("ida")
    token = give_token(login="ida", days=3)
    kept = AuthToken.objects.get(user=user)
    assert token not in (kept.digest, kept.token_key)
    assert abs(kept.expiry - timezone.now() - timedelta(days=3)) < timedelta(minutes=1)
    give_token(login="ida", days=1)
    assert revoke_tokens(login="ida") == 2
    assert not AuthToken.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("login", "days", "code"),
    [
        ("nobody", 1, "login_unknown"),
        ("gone", 1, "login_shut_out"),
        ("ida", 0, "token_days_wrong"),
        ("ida", 3651, "token_days_wrong"),
    ],
)
def test_a_token_that_would_be_good_for_nothing_is_not_given(login: str, days: int, code: str) -> None:
    User.objects.create_user("ida")
    User.objects.create_user("gone", is_active=False)
    with pytest.raises(Refused) as refused:
        give_token(login=login, days=days)
    assert refused.value.reason.code == code
