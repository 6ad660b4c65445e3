"""What other programs ask of the crib: JSON, in the words and codes of the pages.

An error is always {"errors": [{"field", "code", "data", "text"}]}.
"""

from __future__ import annotations

from django import forms
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.documents import candidate_document, reason, thread_document
from inventory.errors import Reason
from inventory.forms import AskForm, Fault, MeasureForm


def _refused(form: forms.Form, names: dict[str, str] | None = None) -> Response:
    """Every fault of a form, each at its parameter."""
    errors = [
        {"field": (names or {}).get(field, "" if field == "__all__" else field), **_fault(each)}
        for field, faults in form.errors.as_data().items()
        for each in faults
    ]
    return Response({"errors": errors}, status=400)


def _fault(error: forms.ValidationError) -> dict[str, object]:
    if isinstance(error, Fault):
        return reason(error.reason)
    return {"code": error.code or "invalid", "data": {}, "text": " ".join(error.messages)}


@api_view(["GET"])
def thread(request: Request) -> Response:
    """Everything about the thread `q` as somebody types it, for its class, `class` or the default ones."""
    typed = request.query_params.get("q", "")
    form = AskForm({"q": typed, "thread_class": request.query_params.get("class", "")})
    if not form.is_valid():
        return _refused(form, {"thread_class": "class"})
    if form.found is None:
        return Response({"errors": [{"field": "q", **reason(Reason("thread_empty"))}]}, status=400)
    return Response(thread_document(form.found, typed=typed, notes=form.cleaned_data["q"].notes))


@api_view(["GET"])
def identified(request: Request) -> Response:
    """What a measured thread may be: `outside` or `inside`, `pitch` or `tpi`, `doubt`, `pitch_doubt`."""
    form = MeasureForm(request.query_params)
    if not form.is_valid():
        return _refused(form)
    return Response({"candidates": [candidate_document(each) for each in form.found]})
