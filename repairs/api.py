"""What other programs ask of the repairs: JSON, in the words and codes of the pages."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django import forms
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample
from rest_framework.decorators import api_view, permission_classes
from rest_framework.request import Request
from rest_framework.response import Response

from inventory import api as crib
from inventory import reservations
from inventory.api import UnitsForm, units_asked
from inventory.documents import plain
from inventory.errors import Reason, Refused
from inventory.forms import Answers, WordField
from inventory.openapi import component, described, field_schema, read_components
from inventory.programs import AskedWrongly, CountField, asked, request_key, told
from inventory.roles import READ, holds, known_as
from repairs import cards, choices, jobs
from repairs.forms import (
    GROUP_KEYS,
    JOB_KEYS,
    PART_KEYS,
    AnsweredForm,
    GroupForm,
    JobFileError,
    JobForm,
    PartForm,
    read_job,
)
from repairs.jobs import OPEN, Accepted, JobPlan, JobRequest
from repairs.methods.values import DOUBTFUL, GAP, MATCH
from repairs.models import Job
from repairs.roles import ACCEPT, BOOK, PLAN
from repairs.wording import say

STATES = {code: (code,) for code, _ in Job.STATES} | {"open": OPEN, "all": tuple(code for code, _ in Job.STATES)}
PAGE, LARGEST_PAGE = 20, 50  # jobs on one page of the list

# Which key of a body a reason of an act is about.
_AT = {
    "job_number_taken": "number",
    "site_unknown": "site",
    "group_unknown": "group",
    "method_unknown": "method",
    "size_unknown": "size",
    "shown_unreadable": "seen",
}


def refused(raised: Exception, context: dict[str, Any]) -> Response | None:
    """Every answer that is a refusal, in the sentences of both apps."""
    return crib.refused(raised, context, sentence=say, fields=_AT)


# --- what is asked -----------------------------------------------------------------------------------------


class JobsForm(Answers):
    """Which jobs are listed."""

    state = WordField(words={code: code for code in STATES}, otherwise="open", required=False, label="in which state")
    text = forms.CharField(max_length=120, required=False, label="text in number, owner, part or serial number")
    limit = CountField(min_value=1, max_value=LARGEST_PAGE, initial=PAGE, required=False, label="how many")
    offset = CountField(min_value=0, max_value=1_000_000, initial=0, required=False, label="how many are passed over")


class ShoppingForm(UnitsForm):
    """For which jobs the list is."""

    job = forms.CharField(max_length=40, required=False, label="one open job; all open ones where it is left out")


class AcceptForm(AnsweredForm):
    """A method and size for a hole group, and who answers for it; no method takes back what was accepted."""

    group = forms.CharField(max_length=4)
    method = forms.CharField(max_length=30, required=False)
    size = forms.CharField(max_length=300, required=False)


class ReserveForm(Answers):
    """The plan that was looked at."""

    seen = forms.CharField()


def _answer(field: forms.Field, means: str) -> dict[str, Any]:
    """A question of the job file as a schema: text as a person types it, or a number."""
    schema = {"maxLength": getattr(field, "max_length", None)} | field_schema(field)
    kinds = ["string", "integer" if schema["type"] == "integer" else "number", *(() if field.required else ("null",))]
    limits = {key: schema[key] for key in ("minimum", "maximum", "maxLength") if schema.get(key)}
    return {"type": kinds, "description": means, **limits, **({"pattern": r"\S"} if field.required else {})}


def _table(form: type[Answers], keys: Mapping[str, str], **nested: Any) -> dict[str, Any]:
    answers = {key: _answer(form.base_fields[key], means) for key, means in keys.items()} | nested
    required = [key for key, field in form.base_fields.items() if field.required]
    required += [key for key, schema in nested.items() if "minItems" in schema]
    return {"type": "object", "properties": answers, "required": required, "additionalProperties": False}


def _rows(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": component(name, schema), "minItems": 1}


_POSITIONS = {
    "description": GROUP_KEYS["positions"],
    "anyOf": [
        {"type": ["string", "number", "null"], "maxLength": 2000},
        {"type": "array", "items": {"type": ["string", "number"]}},
    ],
}
_BOOKED = {"description": "false, or left out: a job is reserved after it was saved", "enum": [False, "no", "", None]}
_GROUPS = _rows("JobFileGroup", _table(GroupForm, GROUP_KEYS, positions=_POSITIONS))
_PARTS = _rows("JobFilePart", _table(PartForm, PART_KEYS, groups=_GROUPS))
JOB_FILE = component("JobFile", _table(JobForm, JOB_KEYS, booked=_BOOKED, parts=_PARTS))
ACCEPT_BODY = component(
    "Accept",
    {
        "type": "object",
        "properties": {
            "group": {"type": "string", "maxLength": 4, "description": "the letter of the hole group"},
            "method": {"type": "string", "maxLength": 30, "description": "empty: take back what was accepted"},
            "size": {"type": "string", "maxLength": 300, "description": "`code` of one of the method's sizes"},
            "answers": {
                "type": "string",
                "maxLength": 120,
                "description": "who answers for it by name, where a check is doubtful or may be overruled",
            },
            "why": {"type": "string", "maxLength": 400, "description": "the reason that goes with the name"},
        },
        "required": ["group"],
        "additionalProperties": False,
    },
)
RESERVE_BODY = component(
    "Reserve",
    {
        "type": "object",
        "properties": {"seen": {"type": "string", "pattern": r"\S", "description": "`seen` of the job, unchanged"}},
        "required": ["seen"],
        "additionalProperties": False,
    },
)
read_components(cards.SCHEMA)
read_components(Path(__file__).with_name("api.schema.json"))

_NUMBER = {"number": "the job's number"}
_FILE_EXAMPLE = OpenApiExample(
    "four stripped holes",
    request_only=True,
    value={
        "number": "J-2001",
        "owner": "Hethery Marsh Drainage",
        "site": "Main",
        "starts": "+20d",
        "ends": "+21d",
        "parts": [
            {
                "name": "drain pump casing, 6 in",
                "serial": "HM-218",
                "groups": [
                    {
                        "thread": "M14 x 1,5",
                        "positions": ["1", "2", "5", "6"],
                        "hole": "blind",
                        "depth": "32",
                        "floor": "12",
                        "edge": "28",
                        "material": "grey iron",
                        "before": "none",
                        "made": "cut",
                        "torque": "80 N·m",
                        "method": "flanged bush",
                    }
                ],
            }
        ],
    },
)


def _job_asked(request: Request, *, as_of: Any) -> JobRequest:
    body: Any = request.data
    try:
        found = read_job(body, as_of=as_of)
    except JobFileError as wrong:
        faults = [("" if place == "file" else place, reason) for place, reason in wrong.faults]
        raise AskedWrongly(faults) from wrong
    if found.booked:
        raise AskedWrongly([("booked", Reason("booked_by_reserving"))])
    return found


# --- what is answered --------------------------------------------------------------------------------------


def _window(start: Any, end: Any) -> dict[str, Any]:
    return {"start": plain(start), "end": plain(end)}


def _row(job: Job, plan: JobPlan | None) -> dict[str, Any]:
    """A job in short; one that wants no kit any more has no plan."""
    reserved = job.reservation is not None and job.reservation.state == "active"
    return {
        "number": job.number,
        "owner": job.owner,
        "site": job.site.name,
        "note": job.note,
        "state": job.state,
        "window": _window(job.start, job.end),
        "complete": plan.complete if plan else None,
        "counts": {status: plan.count(status) for status in (MATCH, GAP, DOUBTFUL)} | {"unplanned": len(plan.unplanned)}
        if plan
        else None,
        "reserved_by": job.reservation.by if job.reservation and reserved else None,
    }


def _job(job: Job, units: str) -> dict[str, Any]:
    """A job with its plan, its methods side by side, what was accepted and what is kept.

    At most three queries beside those of the plan and of one shopping list.
    """
    plan = jobs.plan_job(job, as_of=timezone.now())
    return {
        "number": job.number,
        "owner": job.owner,
        "site": job.site.name,
        "note": job.note,
        "state": job.state,
        "accepted": [_accepted(group.group.code, group.accepted) for group in plan.groups if group.accepted],
        "reservation": None if job.reservation is None else _reservation(job, job.reservation),
        "seen": jobs.shown(plan),
        "plan": _plan_of(plan, units),
    }


def _plan_of(plan: JobPlan, units: str) -> dict[str, Any]:
    return cards.document(plan, units=units, comparison=choices.compare(plan, as_of=plan.as_of))


def _accepted(group: str, accepted: Accepted) -> dict[str, Any]:
    return {
        "group": group,
        "method": accepted.method,
        "size": accepted.code,
        "by": accepted.by,
        "at": plain(accepted.at),
        "answers": accepted.answers or None,
        "why": accepted.why or None,
        "signed": list(accepted.signed_codes),
    }


def _reservation(job: Job, reservation: Any) -> dict[str, Any]:
    units, batches = jobs.kept(job) if reservation == job.reservation else ([], [])
    return {
        "by": reservation.by,
        "at": plain(reservation.at),
        "state": reservation.state,
        "released_by": reservation.released_by or None,
        "released_at": plain(reservation.released_at),
        "units": [{"tag": hold.unit.tag, "window": _window(hold.start, hold.end)} for hold in units],
        "batches": [
            {"lot": hold.batch.lot, "item": str(hold.batch.item), "quantity": hold.quantity} for hold in batches
        ],
    }


@described(
    id="plan",
    answer="plan",
    says="The plan: methods ruled in or out, needs, and how the shelf meets them.",
    asks=UnitsForm,
    body=JOB_FILE,
    examples=[_FILE_EXAMPLE],
)
@api_view(["POST"])
@permission_classes([holds(PLAN)])
def plan(request: Request) -> Response:
    """Plan a job that is not saved. It has the keys of a job file; nothing is kept of it."""
    form, now = asked(UnitsForm, request.query_params), timezone.now()
    planned = jobs.plan_request(_job_asked(request, as_of=now), as_of=now)
    return Response(_plan_of(planned, units_asked(request, form)))


@described(
    id="jobs",
    answer="job_list",
    says="Jobs, the soonest first, each with how ready it is.",
    description="List jobs with their readiness.",
    methods=["GET"],
    asks=JobsForm,
)
@described(
    id="job_save",
    answer="job",
    says="The job as it was saved, with its plan; `Location` is its address.",
    description="Save a job. It has the keys of a job file; nothing is reserved yet.",
    status=201,
    methods=["POST"],
    asks=UnitsForm,
    body=JOB_FILE,
    refuses={404: ("site_unknown",), 409: ("job_number_taken", "position_not_to_be_repaired")},
    examples=[_FILE_EXAMPLE],
)
@api_view(["GET", "POST"])
@permission_classes([holds(READ, POST=PLAN)])
def saved(request: Request) -> Response:
    """List jobs, or save one."""
    return _save(request) if request.method == "POST" else _listed(request)


def _listed(request: Request) -> Response:
    wanted = asked(JobsForm, request.query_params).cleaned_data
    limit, offset = wanted["limit"] or PAGE, wanted["offset"] or 0
    found = jobs.listed(states=STATES[wanted["state"]], text=wanted["text"])
    rows = list(found.select_related("site", "reservation")[offset : offset + limit])
    wanting = [job for job in rows if job.state in jobs.OPEN]
    plans = {planned.number: planned for planned in jobs.plan_jobs(wanting, as_of=timezone.now(), side_by_side=False)}
    listed = [_row(job, plans.get(job.number)) for job in rows]
    return Response({"count": found.count(), "limit": limit, "offset": offset, "jobs": listed})


def _save(request: Request) -> Response:
    form = asked(UnitsForm, request.query_params)
    job = jobs.create(_job_asked(request, as_of=timezone.now()))
    address = reverse("api-job", args=[job.number])
    return Response(_job(job, units_asked(request, form)), status=201, headers={"Location": address})


@described(
    id="job",
    answer="job",
    says="The job with its plan of this moment, what was accepted and what is reserved.",
    path=_NUMBER,
    asks=UnitsForm,
    refuses={404: ("job_number_unknown",)},
)
@api_view(["GET"])
def one(request: Request, number: str) -> Response:
    """A job with its plan. Its `seen` is sent back to reserve what was looked at."""
    form = asked(UnitsForm, request.query_params)
    return Response(_job(jobs.by_number(number), units_asked(request, form)))


@described(
    id="job_accept",
    answer="job",
    says="The job as it is planned with what was accepted.",
    path=_NUMBER,
    asks=UnitsForm,
    body=ACCEPT_BODY,
    refuses={
        404: ("job_number_unknown", "group_unknown", "method_unknown", "size_unknown"),
        409: ("job_not_open", "job_already_booked", "not_to_be_overruled"),
    },
    examples=[
        OpenApiExample("take it back", request_only=True, value={"group": "A", "method": ""}),
        OpenApiExample(
            "a longer bush",
            request_only=True,
            value={
                "group": "A",
                "method": "flanged_bush",
                "size": "own-flanged/1:M|16000000|1500000nm|R:28000000",
                "answers": "Jonna Brackwell",
                "why": "the drawing allows 5 mm of edge here",
            },
        ),
    ],
)
@api_view(["POST"])
@permission_classes([holds(ACCEPT)])
def accept(request: Request, number: str) -> Response:
    """Accept a method and size for one hole group, by their codes in the plan; or take back what was accepted.

    Where a check of that size is doubtful or ruled out and `may_be_overruled`, name who answers for it and why.
    """
    form = asked(UnitsForm, request.query_params)
    wanted = told(AcceptForm, request.data)
    try:
        job = jobs.accept(
            jobs.by_number(number), **wanted.cleaned_data, by=known_as(request.user), as_of=timezone.now()
        )
    except Refused as refused:
        if wanted.lacks(refused.reason):
            raise AskedWrongly([(key, refused.reason) for key in wanted.errors]) from refused
        raise
    return Response(_job(job, units_asked(request, form)))


@described(
    id="job_reserve",
    answer="booking",
    says="What is kept for the job. The same request with the same key is answered alike, and reserves nothing more.",
    path=_NUMBER,
    body=RESERVE_BODY,
    keyed=True,
    refuses={
        404: ("job_number_unknown",),
        409: (
            "plan_moved", "job_already_booked", "job_not_open", "window_over", "position_not_to_be_repaired",
            "accepted_no_longer_stands", "reservation_empty", "unit_held", "unit_away", "unit_not_at_hand",
            "life_short", "batch_short", "request_key_reused", "released_since",
        ),
    },
    examples=[OpenApiExample("a plan of another day", request_only=True, value={"seen": "[]"})],
)  # fmt: skip
@api_view(["POST"])
@permission_classes([holds(BOOK)])
def reserve(request: Request, number: str) -> Response:
    """Reserve every matched line of the plan that was looked at, all or nothing.

    Where anything moved since, nothing is reserved, and every change is told.
    """
    key, seen = request_key(request), told(ReserveForm, request.data).cleaned_data["seen"]
    who, now = known_as(request.user), timezone.now()
    job = jobs.book(jobs.by_number(number), by=who, as_of=now, seen=seen, request_key=key)
    return Response({"job": job.number, "reservation": _reservation(job, job.reservation)})


@described(
    id="job_release",
    answer="booking",
    says="What was kept for the job and is free again.",
    path=_NUMBER,
    keyed=True,
    refuses={404: ("job_number_unknown",), 409: ("job_not_booked", "request_key_reused")},
)
@api_view(["POST"])
@permission_classes([holds(BOOK)])
def release(request: Request, number: str) -> Response:
    """Let go of everything that is reserved for a job. Sent again with the same key it lets go of nothing newer."""
    key, who, now = request_key(request), known_as(request.user), timezone.now()
    job = jobs.release(jobs.by_number(number), by=who, as_of=now, request_key=key)
    done = reservations.released_by_request(key, job.number) or job.reservation
    return Response({"job": job.number, "reservation": _reservation(job, done)})


@described(
    id="shopping",
    answer="shopping_list",
    says="Per gap the cheapest offer that comes in time, sets beside their parts, orders by supplier; of all jobs also "
    "what stands at its order point.",
    asks=ShoppingForm,
    refuses={404: ("job_number_unknown",), 409: ("job_not_open",)},
)
@api_view(["GET"])
def shopping(request: Request) -> Response:
    """What to buy for the gaps of one open job, or of all of them and for the stock too. Nothing is ordered."""
    form, now = asked(ShoppingForm, request.query_params), timezone.now()
    number = form.cleaned_data["job"]
    wanted = [jobs.open_job(number)] if number else list(jobs.open_jobs())
    found = jobs.shopping(jobs.plan_jobs(wanted, as_of=now, side_by_side=False), as_of=now)
    stocked = () if number else jobs.for_stock(as_of=now)  # what is bought for the stock is for no job
    return Response(cards.shopping_document(found, stocked=stocked, units=units_asked(request, form)))
