"""A database that is busy: the one place where that becomes an answer, for pages and programs alike."""

from __future__ import annotations

from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from inventory.errors import Reason
from inventory.refusals import errors
from repairs.wording import say

_SECONDS = "5"  # after which it is worth another try
# What SQLite says of a lock that others held too long; PostgreSQL says it by a code of its own.
_LOCKED = ("database is locked", "database table is locked")
_CODES = ("55P03", "40P01", "40001")  # lock not available, deadlock, serialization failure


def is_busy(error: BaseException) -> bool:
    """Whether the database refused only because others were writing."""
    code = getattr(error.__cause__, "sqlstate", None)
    return isinstance(error, OperationalError) and (code in _CODES or str(error) in _LOCKED)


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
