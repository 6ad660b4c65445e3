"""A press on a page: a form that somebody sent, with what tells it from the same one sent twice."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

LONGEST_KEY = 64

View = Callable[..., HttpResponse]


def pressed(to: str) -> Callable[[View], View]:
    """For a press alone: whoever comes by a link, or by logging in again half-way, is shown the page `to` of it."""

    def decorate(view: View) -> View:
        @wraps(view)
        def press(request: HttpRequest, **of: Any) -> HttpResponse:
            return view(request, **of) if request.method == "POST" else redirect(to, **of)

        return press

    return decorate


def sent(request: HttpRequest, name: str) -> str:
    """What was sent under this name; "" where nothing was. A zero, which no database keeps, is left out."""
    return request.POST.get(name, "").replace("\0", "")


def press_key(request: HttpRequest) -> str | None:
    """What tells a press that is repeated from a new one; one that no page of ours made is none."""
    key = sent(request, "key")
    return key if 0 < len(key) <= LONGEST_KEY else None
