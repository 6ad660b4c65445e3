"""What other programs ask of the crib: JSON, in the words and codes of the pages.

An error is always {"errors": [{"field", "code", "data", "text"}]}.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, cast

from django import forms
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone
from rest_framework import exceptions
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import set_rollback

from inventory import documents, search
from inventory.catalogue import facts
from inventory.documents import Document, candidate_document, millimetres, newton_metres, plain, thread_document
from inventory.errors import Reason, Refused
from inventory.forms import Answers, AskForm, Fault, MeasureForm, ThreadField, WordField
from inventory.kinds import KINDS, Facts
from inventory.models import Item, Unit
from inventory.openapi import described, read_components
from inventory.preferences import UNITS, units_of
from inventory.programs import AskedWrongly, asked
from inventory.refusals import Say, error, errors, status_of
from inventory.roles import RoleLacking
from inventory.threads import Dossier, Thread
from inventory.wording import say

read_components(Path(__file__).with_name("api.schema.json"))


def refused(
    raised: Exception,
    context: dict[str, Any],
    *,
    sentence: Say = say,
    fields: Mapping[str, str] | None = None,
) -> Response | None:
    """Every answer that is a refusal, in the one shape; None for a mistake in the program.

    `sentence` may be another app's, which knows the reasons of both, and `fields` tells which key of a body a
    reason is about, by its code.
    """
    if isinstance(raised, AskedWrongly):
        set_rollback()
        faults = [error(reason, field=place, sentence=sentence) for place, reason in raised.faults]
        return Response({"errors": faults}, status=400)
    if isinstance(raised, Refused):
        set_rollback()
        reasons = dict.fromkeys((raised.reason, *getattr(raised, "reasons", ())))
        found = [error(each, field=(fields or {}).get(each.code, ""), sentence=sentence) for each in reasons]
        return Response({"errors": found}, status=status_of(raised.reason))
    if isinstance(raised, RoleLacking):
        reason, status = raised.reason, 403
    elif isinstance(raised, Http404 | exceptions.NotFound):
        reason, status = Reason("page_unknown"), 404
    elif isinstance(raised, PermissionDenied):
        reason, status = Reason("not_allowed"), 403
    elif isinstance(raised, exceptions.APIException):
        reason, status = _of_the_framework(raised), raised.status_code
    else:
        return None
    set_rollback()
    wait = getattr(raised, "auth_header", None)
    return Response(
        errors([reason], sentence=sentence), status=status, headers={"WWW-Authenticate": wait} if wait else None
    )


def _of_the_framework(raised: exceptions.APIException) -> Reason:
    if isinstance(reason := getattr(raised, "reason", None), Reason):
        return reason
    if isinstance(raised, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return Reason("log_in_first")
    if isinstance(raised, exceptions.MethodNotAllowed):
        return Reason("method_not_allowed")
    if isinstance(raised, exceptions.ParseError):
        return Reason("json_unreadable")
    if isinstance(raised, exceptions.UnsupportedMediaType):
        return Reason("json_only")
    if isinstance(raised, exceptions.PermissionDenied):
        return Reason("not_allowed")
    return Reason("not_acceptable")


# --- what is asked -----------------------------------------------------------------------------------------


class UnitsForm(Answers):
    """Which unit stands first where a sentence names a length."""

    units = WordField(words=UNITS, required=False, label="which unit stands first in the sentences")


def units_asked(request: Request, form: Answers) -> str:
    """The unit that the request asks for, else the one that whoever is logged in prefers."""
    return form.cleaned_data["units"] or units_of(request)


class ShelfForm(UnitsForm):
    """What is looked for, and where the page begins."""

    q = forms.CharField(max_length=200, label="as somebody types it: M14x1.5 tap, drill 14.4-14.7, a tag, a bin")
    after = forms.CharField(max_length=80, required=False, label="`after` of the page before")

    def clean_after(self) -> str:
        after: str = self.cleaned_data["after"]
        end = _PAGE_END.fullmatch(after)
        if after and (end is None or (end["day"] and not _is_a_day(end["day"]))):
            raise Fault(Reason("page_end_unreadable", typed=after))
        return after


_PAGE_END = re.compile(
    r"[a-z_]{1,30}(~[0-9]{1,18}){1,2}|[ub][0-9]{1,18}|(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})_[0-9]{1,18}"
)


def _is_a_day(text: str) -> bool:
    try:
        return bool(date.fromisoformat(text))
    except ValueError:
        return False


class ThreadForm(AskForm):
    """A thread, which a program must name, and a class."""

    q = ThreadField(label="a thread as somebody types it: M14 x 1,5, 9/16 UNF, 1/4-26 BSF")


_CLASS = {"thread_class": "class"}


@described(
    id="thread",
    answer="thread_dossier",
    says="Everything about the thread: sizes, limits, drills, insert hole, look-alikes, sources.",
    asks=ThreadForm,
    names=_CLASS,
    told={"class": "6H, 2B …; the thread's own or the usual ones where it is left out"},
)
@api_view(["GET"])
def thread(request: Request) -> Response:
    """Everything about a thread as somebody types it, for its class, the one that is asked for or the usual ones."""
    form = asked(ThreadForm, request.query_params, _CLASS)
    reading = form.cleaned_data["q"]
    found = cast(Dossier, form.found)  # since a thread must be named
    return Response(thread_document(found, typed=reading.typed, notes=reading.notes))


@described(
    id="threads_identify",
    answer="candidates",
    says="The threads that it may be, the nearest first.",
    asks=MeasureForm,
    told={
        "outside": "outside diameter; a bare number is millimetres",
        "inside": "inside diameter, of a hole",
        "pitch": "pitch, or `tpi`",
        "tpi": "threads per inch",
        "doubt": "how far the diameter may be off",
        "pitch_doubt": "how far the pitch may be off",
    },
)
@api_view(["GET"])
def identified(request: Request) -> Response:
    """What a measured thread may be. One diameter or one pitch is enough; both tell more."""
    form = asked(MeasureForm, request.query_params)
    return Response({"candidates": [candidate_document(each) for each in form.found]})


@described(
    id="shelf",
    answer="shelf",
    says="What was understood, and a page of what there is.",
    asks=ShelfForm,
)
@api_view(["GET"])
def shelf(request: Request) -> Response:
    """Find things on the shelf by a text: kind and size, a tag, a lot, a bin, a catalogue number.

    A word that means nothing here is named in `notes`, look-alikes of a thread are told beside what fits and are none
    of it. The next page begins at `after`, which is sent back as it is.
    """
    form = asked(ShelfForm, request.query_params)
    found = search.find(form.cleaned_data["q"], as_of=timezone.now(), after=form.cleaned_data["after"])
    return Response(_shelf(found, units_asked(request, form)))


# --- the shelf as a document -------------------------------------------------------------------------------


def _shelf(found: search.Found, units: str) -> Document:
    named = {line.thing.item: line.facts for line in (*found.exact, *found.lines)}
    items = [_item(item, of) for item, of in named.items()]
    items += [_item(each.item, each.facts, more=each.more) for each in found.items if each.item not in named]
    items += [_item(item, facts(item)) for item in found.numbers if item not in named]
    lines = [_line(line, exact=True) for line in found.exact] + [_line(line) for line in found.lines]
    lines += [_line(line) for each in found.items for line in each.lines if line not in found.exact]
    return {
        "typed": found.query.typed,
        "understood": None if found.understood is None else documents.reason(found.understood, units),
        "notes": [documents.reason(note, units) for note in found.notes],
        "candidates": list(found.candidates),
        "bins": [{"site": each.site.name, "bin": each.name} for each in found.bins],
        "items": items,
        "lines": lines,
        "look_alikes": [
            {"thread": documents.thread(alike.thread), "reason": documents.reason(alike.reason, units), "q": text}
            for alike, text in found.look_alikes
        ],
        "other_pitches": [{"thread": documents.thread(thread), "q": text} for thread, text in found.other_pitches],
        "after": found.after,
    }


def _item(item: Item, of: Facts, *, more: bool = False) -> Document:
    """An item of the catalogue; `more`: there are more lines of it than are told here."""
    return {
        "item": item.pk,
        "number": item.number or None,
        "kind": of.kind,
        "word": KINDS[of.kind].word,
        "name": of.name,
        "thread": documents.thread(Thread.from_key(of.thread)) if of.thread else None,
        "class": of.thread_class or None,
        "inner": documents.thread(Thread.from_key(of.inner)) if of.inner else None,
        "diameter_mm": millimetres(of.diameter),
        "pilot_mm": millimetres(of.pilot),
        "usable_length_mm": millimetres(of.usable_length),
        "insert_length_mm": millimetres(of.insert_length),
        "flange_mm": millimetres(of.flange),
        "lead_tenths": of.lead,
        "flute": of.flute or None,
        "action": of.action or None,
        "hand": of.hand or None,
        "torque_least_Nm": newton_metres(of.torque_min),
        "torque_most_Nm": newton_metres(of.torque_max),
        "family": of.family or None,
        "life": of.life,
        "cure_hours": of.cure_hours,
        "step_diameter_mm": millimetres(of.step_diameter),
        "step_length_mm": millimetres(of.step_length),
        "takes_least_mm": millimetres(of.takes_least),
        "takes_most_mm": millimetres(of.takes_most),
        "more": more,
    }


def _line(line: search.Shelved, *, exact: bool = False) -> Document:
    """A unit or a batch; `exact`: its tag or lot is what was typed."""
    unit, batch, thing = line.unit, line.batch, line.thing
    return {
        "item": thing.item_id,
        "exact": exact,
        "tag": unit.tag if unit else None,
        "batch": batch.pk if batch else None,
        "lot": batch.lot if batch else None,
        "site": thing.bin.site.name,
        "bin": thing.bin.name,
        "state": line.state,
        "life_left": line.life_left,
        "reground_to_mm": millimetres(line.reground_to),
        "calibration_due": plain(unit.calibration_due) if unit else None,
        "away": _away(unit) if unit and unit.away_why else None,
        "issued_to": (unit.issued_to or None) if unit else None,
        "on_hand": batch.on_hand if batch else None,
        "free": batch.on_hand - batch.held if batch else None,
        "expires": plain(batch.expires) if batch else None,
        "holds": [
            {
                "label": hold.label,
                "link": hold.link,
                "start": plain(hold.start),
                "end": plain(hold.end),
                "amount": hold.amount,
            }
            for hold in line.holds
        ],
    }


def _away(unit: Unit) -> Document:
    return {"why": unit.away_why, "until": plain(unit.away_until), "with": unit.away_with or None}
