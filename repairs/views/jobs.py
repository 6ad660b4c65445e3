"""The pages of jobs: the list, the sheet of one job, and what the foreman decides on it."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.errors import Reason, Refused
from inventory.preferences import units_of
from inventory.presses import press_key, pressed, sent
from inventory.refusals import NotThere, status_of
from inventory.reservations import ReservationRefused
from inventory.roles import READ, known_as, page
from repairs import choices, jobs, limits, printing
from repairs.cards import ReadinessRow, readiness_rows
from repairs.choices import Compared
from repairs.drawings import NARROW, WIDE, Section, section
from repairs.forms import AnsweredForm, JobsForm
from repairs.jobs import GroupPlan, JobPlan, MethodReadiness, PlanMoved
from repairs.matching import Line
from repairs.methods.values import DOUBTFUL, GAP, MATCH, SIGNED, Check, Limits, Option, Step
from repairs.models import HoleGroup, Job
from repairs.roles import ACCEPT, BOOK

PAGE = 20  # jobs on a page of the list
FARTHEST = 500  # the last page that is turned to; filters find what lies beyond it
SOONEST = 100  # open jobs that are planned at most to tell which of them are ready


# The list


@dataclass(frozen=True, slots=True)
class Listed:
    """One job in the list; `plan` is None where it is no longer open, since nothing is wanted for it then."""

    job: Job
    plan: JobPlan | None
    rows: Sequence[ReadinessRow]
    lost: tuple[Reason, ...] = ()  # of what is reserved for it


@page(READ)
@require_safe
def listed(request: HttpRequest) -> HttpResponse:
    """Jobs with their readiness, a page at a time; only what is shown is planned."""
    now = timezone.now()
    form = JobsForm(request.GET, as_of=now)
    told: dict[str, Any] = {"area": "jobs", "form": form, "now": now}
    if form.is_valid():
        number = _page_number(request.GET.get("page", ""))
        told |= _found(form, number, now, units_of(request))
    return render(request, "repairs/jobs.html", told)


def _page_number(typed: str) -> int:
    return min(max(int(typed), 1), FARTHEST) if typed.isdecimal() and len(typed) < 9 else 1


def _found(form: JobsForm, number: int, now: datetime, units: str) -> dict[str, Any]:
    """One page of the jobs that are looked for, and whether there are pages before and after it."""
    start, end = form.window()
    wanted = jobs.listed(states=form.states(), text=form.cleaned_data["q"], start=start, end=end)
    since, readiness, capped = (number - 1) * PAGE, form.cleaned_data["readiness"], False
    if readiness:
        soonest = list(wanted[: SOONEST + 1])
        capped = len(soonest) > SOONEST
        ready = [
            each for each in told_of(soonest[:SOONEST], now, units) if each.plan and readiness in each.plan.readiness
        ]
        shown = ready[since : since + PAGE + 1]
    else:
        shown = told_of(list(wanted[since : since + PAGE + 1]), now, units)
    return {
        "found": shown[:PAGE],
        "page": number,
        "later": number + 1 if len(shown) > PAGE and number < FARTHEST else None,
        "query": urlencode({name: form.data[name] for name in form.fields if form.data.get(name)}),
        "capped": SOONEST if capped else None,
    }


def told_of(wanted: Sequence[Job], now: datetime, units: str) -> list[Listed]:
    """These jobs with their plans, what is short and what is lost or unfit since it was reserved; those that are no
    longer open without."""
    plans = jobs.plan_jobs([job for job in wanted if job.state in jobs.OPEN], as_of=now, side_by_side=False)
    of = {plan.number: (plan, lost) for plan, lost in zip(plans, jobs.lost(plans), strict=True)}
    found = [(job, *of.get(job.number, (None, ()))) for job in wanted]
    return [Listed(job, plan, readiness_rows(plan, units) if plan else (), lost) for job, plan, lost in found]


# The sheet of one job


@dataclass(frozen=True, slots=True)
class SizeShown:
    """One size of a method that stands, with what it would find on the shelf by itself; `code` is what accepts it."""

    option: Option
    code: str
    verdict: str
    matches: int
    gaps: tuple[Line, ...]
    doubts: tuple[Line, ...]
    planned: bool
    accepted: bool
    signs: tuple[Check, ...]  # what somebody answers for by name when it is accepted
    answers: AnsweredForm  # his name and reason, with what was typed where this was refused


@dataclass(frozen=True, slots=True)
class MethodShown:
    """One method beside the others: the size it would take, the others that stand, and those that are ruled out.

    Of what is ruled out `overrulable` may be answered for by name, `impossible` not, each with why.
    """

    answer: MethodReadiness
    compared: Compared
    first: SizeShown | None
    sizes: tuple[SizeShown, ...]
    overrulable: tuple[SizeShown, ...]
    impossible: tuple[tuple[Option, Check], ...]

    @property
    def opened(self) -> bool:
        """Whether its details are what the page is about: it is planned, or an answer to it was refused."""
        return self.compared.planned or self.answered

    @property
    def ruled_out(self) -> int:
        """How many sizes are ruled out."""
        return len(self.overrulable) + len(self.impossible)

    @property
    def answered(self) -> bool:
        """Whether an answer to one of its sizes was refused."""
        return any(size.answers.is_bound for size in (*self.sizes, *self.overrulable))

    @property
    def overruling(self) -> bool:
        """Whether that was a size that is ruled out."""
        return any(size.answers.is_bound for size in self.overrulable)


@dataclass(frozen=True, slots=True)
class GroupShown:
    """One hole group on the sheet: its plan, its row, its drawing, its methods, its steps with their lines."""

    plan: GroupPlan
    row: HoleGroup
    wide: Section
    narrow: Section
    methods: tuple[MethodShown, ...]
    steps: tuple[tuple[Step, tuple[Line, ...]], ...]
    signed: tuple[Check, ...]  # what somebody answers for by name


@dataclass(frozen=True, slots=True)
class Answered:
    """An acceptance that lacked the name or the reason of who answers for it: where, and what was typed."""

    group: str
    method: str
    size: str
    form: AnsweredForm


def _job(number: str) -> Job:
    try:
        return jobs.by_number(number)
    except Refused as refused:
        raise NotThere(refused.reason) from refused


@page(READ)
@require_safe
def sheet(request: HttpRequest, number: str) -> HttpResponse:
    """One job: what is planned, what meets it, and what stands in the way."""
    return _sheet(request, _job(number))


def _sheet(
    request: HttpRequest, job: Job, *, refused: Refused | None = None, at: str = "", answered: Answered | None = None
) -> HttpResponse:
    """The sheet of a job; after a press that was `refused`, with the reasons `at` the place of the press.

    An acceptance that was `answered` for wrongly stands open at its size, with what was typed.
    """
    now, units = timezone.now(), units_of(request)
    plan = jobs.plan_job(job, as_of=now)
    units_kept, batches_kept = jobs.kept(job)
    printed, outdated = printing.printed(job, plan)
    told = {
        "area": "jobs",
        "job": job,
        "plan": plan,
        "verdict": plan.verdict,
        "groups": _groups(job, plan, units, answered),
        "bars": [check.reason for group in plan.groups for check in group.bars],
        "units_kept": units_kept,
        "batches_kept": batches_kept,
        "lost": jobs.lost([plan])[0] if units_kept or batches_kept else (),
        "matches": plan.count(MATCH),
        "reserved": job.reservation is not None and job.reservation.state == "active",
        "open": job.state in jobs.OPEN,
        "cards": printed,
        "outdated": outdated if job.state in jobs.OPEN else (),
        "printable": len(plan.unplanned) < len(plan.groups),
        "seen": jobs.shown(plan),
        "key": uuid.uuid4().hex,
        "refused": _reasons(refused),
        "answered": answered,
        "at": at,
    }
    status = status_of(refused.reason) if refused else 400 if answered else 200
    return render(request, "repairs/job.html", told, status=status)


def _reasons(refused: Refused | None) -> tuple[Reason, ...]:
    """Everything that a refusal has to say, what it comes to first."""
    if isinstance(refused, PlanMoved):
        return (refused.reason, *refused.reasons)
    if isinstance(refused, ReservationRefused):
        return refused.reasons
    return (refused.reason,) if refused else ()


def _groups(job: Job, plan: JobPlan, units: str, answered: Answered | None) -> list[GroupShown]:
    rows = {row.code: row for row in job.groups.select_related("part")}
    shop = limits.current()
    comparison = choices.compare(plan, as_of=plan.as_of)
    return [
        _group(group, rows[group.group.code], comparison[group.group.code], shop, units, answered)
        for group in plan.groups
    ]


def _group(
    plan: GroupPlan, row: HoleGroup, comparison: Sequence[Compared], shop: Limits, units: str, answered: Answered | None
) -> GroupShown:
    wide, narrow = (
        section(plan.group, plan.chosen, limits=shop, layout=layout, units=units) for layout in (WIDE, NARROW)
    )
    lines = {line.need.id: line for line in plan.lines}
    steps = plan.chosen.steps if plan.chosen else ()
    here = answered if answered and answered.group == plan.group.code else None
    methods = zip(plan.methods, comparison, strict=True)
    return GroupShown(
        plan=plan,
        row=row,
        wide=wide,
        narrow=narrow,
        methods=tuple(_method(answer, compared, plan, here) for answer, compared in methods),
        steps=tuple((step, tuple(lines[need.id] for need in step.needs)) for step in steps),
        signed=tuple(check for check in plan.checks if check.status == SIGNED),
    )


def _method(answer: MethodReadiness, compared: Compared, plan: GroupPlan, answered: Answered | None) -> MethodShown:
    here = answered if answered and answered.method == answer.plan.method else None
    sizes = tuple(_size(each.option, each.lines, plan, here) for each in answer.sizes)
    refused = [option for option in answer.plan.options if option.ruled_out]
    return MethodShown(
        answer=answer,
        compared=compared,
        first=sizes[0] if sizes else None,
        sizes=sizes,
        overrulable=tuple(_size(option, (), plan, here) for option in refused if option.impossible is None),
        impossible=tuple((option, option.impossible) for option in refused if option.impossible is not None),
    )


def _size(option: Option, lines: Sequence[Line], plan: GroupPlan, answered: Answered | None) -> SizeShown:
    by_status = {status: tuple(line for line in lines if line.status == status) for status in (MATCH, GAP, DOUBTFUL)}
    code, accepted = jobs.size_code(option.size), plan.accepted
    return SizeShown(
        option=option,
        code=code,
        verdict=option.verdict,
        matches=len(by_status[MATCH]),
        gaps=by_status[GAP],
        doubts=by_status[DOUBTFUL],
        planned=option is plan.chosen,
        accepted=accepted is not None and (option.method, code) == (accepted.method, accepted.code),
        signs=choices.signed_for(option),
        answers=answered.form if answered and answered.size == code else AnsweredForm(),
    )


# What is pressed on it


@page(BOOK)
@pressed("job")
def reserve(request: HttpRequest, number: str) -> HttpResponse:
    """Reserve the set that was shown, all of it or nothing."""
    by, key = known_as(request.user), press_key(request)
    try:
        jobs.book(_job(number), by=by, as_of=timezone.now(), seen=sent(request, "seen"), request_key=key)
    except Refused as refused:
        return _sheet(request, _job(number), refused=refused, at="reserve")
    return redirect("job", number)


@page(BOOK)
@pressed("job")
def release(request: HttpRequest, number: str) -> HttpResponse:
    """Let go of everything that the job has reserved."""
    try:
        jobs.release(_job(number), by=known_as(request.user), as_of=timezone.now(), request_key=press_key(request))
    except Refused as refused:
        return _sheet(request, _job(number), refused=refused, at="reserve")
    return redirect("job", number)


@page(ACCEPT)
@pressed("job")
def accept(request: HttpRequest, number: str) -> HttpResponse:
    """Accept a method and size for a hole group, by name and reason where that must be; or take that back."""
    group, method, size = (sent(request, name) for name in ("group", "method", "size_code"))
    form = AnsweredForm({name: sent(request, name) for name in AnsweredForm.base_fields})
    if not form.is_valid():
        return _sheet(request, _job(number), answered=Answered(group, method, size, form))
    by = known_as(request.user)
    try:
        jobs.accept(
            _job(number), group=group, method=method, size=size, by=by, as_of=timezone.now(), **form.cleaned_data
        )
    except Refused as refused:
        if form.lacks(refused.reason):
            return _sheet(request, _job(number), answered=Answered(group, method, size, form))
        known = set(_job(number).groups.values_list("code", flat=True))
        return _sheet(request, _job(number), refused=refused, at=group if group in known else "reserve")
    return redirect(f"{reverse('job', args=[number])}#{group}")
