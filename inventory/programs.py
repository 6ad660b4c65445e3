"""How other programs come in: by a token or a session, with JSON, parameters and a key for what they may repeat.

The classes here are named in the settings of the REST framework, so nothing in this room imports its views.
"""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import IO, Any, TypeVar

from django import forms
from django.contrib.auth import get_user_model
from django.http import QueryDict
from knox.auth import TokenAuthentication
from knox.models import get_token_model
from rest_framework import exceptions
from rest_framework.authentication import SessionAuthentication, get_authorization_header
from rest_framework.parsers import JSONParser
from rest_framework.request import Request

from inventory.errors import Reason, Refused
from inventory.forms import Answers, Fault, WordField

LARGEST_BODY = 1_000_000  # bytes; the largest job that anybody plans is some thousands
REQUEST_KEY = "Idempotency-Key"
LONGEST_KEY = 64
LONGEST_TOKEN_DAYS = 3650

_KEY = re.compile(r"[!-~]+")
_COUNT = re.compile(r"[0-9]{1,9}")
_NOT_KEPT = re.compile("[\x00\ud800-\udfff]")  # no database keeps them: a zero, and half of a pair
_Form = TypeVar("_Form", bound=Answers)


class AskedWrongly(Exception):
    """A request that cannot be read: every fault, each at its parameter, key or header."""

    def __init__(self, faults: Sequence[tuple[str, Reason]]) -> None:
        super().__init__(faults)
        self.faults = tuple(faults)


# --- who asks ----------------------------------------------------------------------------------------------


class TokenLacking(exceptions.AuthenticationFailed):
    """A token that is not known here, or no longer."""

    reason = Reason("token_not_valid")


class ByToken(TokenAuthentication):
    """A program that says who it is by its token."""

    def authenticate(self, request: Request) -> Any:
        if b"\0" in get_authorization_header(request):  # what PostgreSQL does not even compare
            raise TokenLacking
        try:
            return super().authenticate(request)
        except (exceptions.AuthenticationFailed, UnicodeDecodeError) as error:  # a header may hold what is no text
            raise TokenLacking from error


class Unsigned(exceptions.PermissionDenied):
    """A page that asks without the sign that it is one of ours."""

    reason = Reason("csrf_token_missing")


class BySession(SessionAuthentication):
    """A page of this site, in the name of whoever is logged in."""

    def enforce_csrf(self, request: Request) -> None:
        try:
            super().enforce_csrf(request)
        except exceptions.PermissionDenied as error:
            raise Unsigned from error


def give_token(*, login: str, days: int) -> str:
    """A new token for somebody, good for so many days. It is told here and never again: only its digest is kept.

    Raises `Refused`: login_unknown, login_shut_out, token_days_wrong.
    """
    if not 1 <= days <= LONGEST_TOKEN_DAYS:
        raise Refused(Reason("token_days_wrong", days=days, most=LONGEST_TOKEN_DAYS))
    user = _user(login)
    if not user.is_active:
        raise Refused(Reason("login_shut_out", login=login))
    _, token = get_token_model().objects.create(user, expiry=timedelta(days=days))
    return str(token)


def revoke_tokens(*, login: str) -> int:
    """Take all tokens of somebody back; how many there were. Raises `Refused`: login_unknown."""
    count, _ = get_token_model().objects.filter(user=_user(login)).delete()
    return int(count)


def _user(login: str) -> Any:
    user = get_user_model()._default_manager.filter(username=login).first()
    if user is None:
        raise Refused(Reason("login_unknown", login=login))
    return user


# --- what is asked -----------------------------------------------------------------------------------------


class BodyTooLarge(exceptions.APIException):
    """More than any request of ours says."""

    status_code = 413
    reason = Reason("body_too_large", most_bytes=LARGEST_BODY)


class Body(JSONParser):
    """JSON in UTF-8, of bounded size, without what no database keeps."""

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        raw = stream.read(LARGEST_BODY + 1)
        if len(raw) > LARGEST_BODY:
            raise BodyTooLarge
        try:
            found = json.loads(raw.removeprefix(codecs.BOM_UTF8).decode(), parse_constant=_no_number)
            if _kept(found):
                return found
        except (ValueError, RecursionError):
            pass
        raise exceptions.ParseError


def _no_number(name: str) -> None:
    raise ValueError(name)


def _kept(value: Any) -> bool:
    if isinstance(value, str):
        return _NOT_KEPT.search(value) is None
    if isinstance(value, dict):
        return all(_kept(key) and _kept(each) for key, each in value.items())
    return not isinstance(value, list) or all(map(_kept, value))


class CountField(forms.IntegerField):
    """A whole number in plain figures; cleans to None where it is left out."""

    def to_python(self, value: Any) -> int | None:
        if value not in self.empty_values and not _COUNT.fullmatch(str(value)):
            raise forms.ValidationError("", code="invalid")
        return super().to_python(value)


def asked(form: type[_Form], query: QueryDict, names: Mapping[str, str] | None = None) -> _Form:
    """The parameters of a request in their form; `names` of parameters that are called otherwise than their field.

    Raises `AskedWrongly` for whatever the form refuses, and for a parameter that it does not know or that is given
    twice: what was meant would be passed over in silence.
    """
    parameters = {(names or {}).get(field, field): field for field in form.base_fields}
    known = tuple(parameters)
    faults = [(key, Reason("parameter_unknown", key=key, known=known)) for key in query if key not in parameters]
    faults += [
        (key, Reason("parameter_twice", key=key))
        for key, values in query.lists()
        if key in parameters and len(values) > 1
    ]
    faults += [
        (key, Reason("answer_missing"))
        for key, field in parameters.items()
        if isinstance(form.base_fields[field], forms.IntegerField | WordField) and query.get(key, "-").strip() == ""
    ]
    filled = form({field: query[key] for key, field in parameters.items() if key in query})
    return _good(filled, faults, names)


def told(form: type[_Form], body: Any) -> _Form:
    """The JSON object of a request in its form. Raises `AskedWrongly` for whatever it cannot be."""
    known = tuple(form.base_fields)
    if not isinstance(body, Mapping):
        raise AskedWrongly([("", Reason("object_expected", known=known))])
    faults = [(key, Reason("parameter_unknown", key=key, known=known)) for key in body if key not in known]
    faults += [
        (key, Reason("text_expected")) for key, value in body.items() if key in known and not isinstance(value, str)
    ]
    return _good(form({key: value for key, value in body.items() if isinstance(value, str)}), faults)


def _good(form: _Form, faults: list[tuple[str, Reason]], names: Mapping[str, str] | None = None) -> _Form:
    """The form, where neither it nor what was found before has a fault; one fault a place."""
    found = dict(faults)
    for field, errors in form.errors.as_data().items():
        place = "" if field == "__all__" else (names or {}).get(field, field)
        for fault in errors:
            if isinstance(fault, Fault):  # as every fault of `Answers` is
                found.setdefault(place, fault.reason)
    if found:
        raise AskedWrongly(list(found.items()))
    return form


def request_key(request: Request) -> str:
    """The key by which a request that is sent again is known. Raises `AskedWrongly` where there is none."""
    key = request.headers.get(REQUEST_KEY, "").strip()
    if not key:
        reason = Reason("request_key_missing", header=REQUEST_KEY)
    elif len(key) > LONGEST_KEY:
        reason = Reason("request_key_too_long", length=len(key), longest=LONGEST_KEY)
    elif not _KEY.fullmatch(key):
        reason = Reason("request_key_unreadable", header=REQUEST_KEY)
    else:
        return key
    raise AskedWrongly([(REQUEST_KEY, reason)])
