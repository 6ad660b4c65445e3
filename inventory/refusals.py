"""What a refusal means to a browser or a program: its HTTP status, and the one shape of an error.

An error is always {"errors": [{"field", "code", "data", "text"}]}, `field` "" where it is of no single one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from django.http import Http404

from inventory.documents import plain
from inventory.errors import Reason
from inventory.wording import say

_ASKED_WRONGLY = frozenset({"shown_unreadable", "request_key_too_long", "role_unknown", "units_unknown"})


class NotThere(Http404):
    """An address that names nothing; carries the `Reason` that the answer tells."""

    def __init__(self, reason: Reason) -> None:
        super().__init__(reason.code)
        self.reason = reason


Say = Callable[[Reason], str]


def status_of(reason: Reason) -> int:
    """The HTTP status of a refused act: 404 for what is not there, 400 for what cannot be read, else 409.

    A rule of the tables that an act broke is a conflict like any other: its name is the code.
    """
    if reason.code.endswith("_unknown"):
        return 404
    if reason.code in _ASKED_WRONGLY or reason.code.endswith("_unreadable"):
        return 400
    return 409


def error(reason: Reason, *, field: str = "", sentence: Say = say) -> dict[str, Any]:
    """One error: where, its code with its data, and the sentence."""
    data = {key: plain(value) for key, value in reason.data.items()}
    return {"field": field, "code": reason.code, "data": data, "text": sentence(reason)}


def errors(reasons: Iterable[Reason], *, sentence: Say = say) -> dict[str, Any]:
    """The body of a refusal."""
    return {"errors": [error(reason, sentence=sentence) for reason in reasons]}
