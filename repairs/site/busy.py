"""A database that is busy: the one place where that becomes an answer, for pages, programs and commands alike."""

from __future__ import annotations

import sys
from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from inventory.errors import Reason
from inventory.guards import is_busy
from inventory.refusals import errors
from repairs.wording import say

_SECONDS = "5"  # after which it is worth another try
_TRY_AGAIN = 75  # EX_TEMPFAIL of sysexits.h: it failed for now, and the same may do later


def ended(error: Exception) -> int:
    """End a command that met a lock which others held too long: a sentence, and the exit code. Others are raised."""
    if not is_busy(error):
        raise error
    print(say(Reason("database_busy")), file=sys.stderr)
    return _TRY_AGAIN


class BusyMiddleware:
    """Answers 503 with a sentence where a request met a lock that others held too long; nothing of it was written."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            return self.get_response(request)
        except OperationalError as error:  # in another middleware, as where a session is saved
            answer = self.process_exception(request, error)
            if answer is None:
                raise
            return answer

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Django's own way in for whatever a view raises."""
        if not is_busy(exception):
            return None
        reason = Reason("database_busy")
        if request.path.startswith("/api/"):
            answer: HttpResponse = JsonResponse(errors([reason], sentence=say), status=503)
        else:
            answer = render(request, "busy.html", {"sentence": say(reason)}, status=503)
        answer["Retry-After"] = _SECONDS
        return answer
