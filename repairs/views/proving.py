"""The page on which a job is proved: steps are signed, measurements entered, and the job is handed over.

It is used at the machine, on a phone: one press signs a step for all holes of a group, one row holds what was
measured at a hole.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.errors import Reason, Refused
from inventory.forms import Fault
from inventory.preferences import units_of
from inventory.presses import press_key, pressed, sent
from inventory.refusals import NotThere, status_of
from inventory.roles import READ, known_as, page
from repairs import jobs, proving
from repairs.forms import MeasuredForm, as_typed
from repairs.jobs import GroupPlan
from repairs.methods.values import Step
from repairs.models import Job, StepSign
from repairs.proving import Ask, HoleState, Judged, Measured, MeasuredWrong, NotProved, Proven
from repairs.roles import EXCEPT, HAND_OVER, PROVE
from repairs.wording import say, word

LONGEST_NOTE = StepSign._meta.get_field("note").max_length or 0
LONGEST_WHY = 400
_CALLED = {
    **proving.CALLED,
    "hole_gauge": "hole_gauge_passed",
    "final_gauge": "final_gauge_passed",
    "torque": "torque_reached",
    "failed": "what_failed",
    "why": "remark",
}


@dataclass(frozen=True, slots=True)
class Field:
    """One question about a hole: what stands in it, the words to choose from, what is wrong with it."""

    name: str
    label: str
    value: str
    choices: tuple[str, ...] = ()
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class HoleShown:
    """One row: the hole as it stands, its questions, what was judged of it, what earlier jobs left there."""

    state: HoleState
    fields: tuple[Field, ...]
    judged: tuple[Judged, ...]
    lineage: tuple[Proven, ...]
    ticked: bool
    excepted: bool


@dataclass(frozen=True, slots=True)
class StepShown:
    """One step: who signed it at which holes, and whether some are still to be signed."""

    step: Step
    signed: tuple[tuple[StepSign, tuple[str, ...]], ...]
    left: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GroupShown:
    """One group of holes: its plan, steps and rows, and what waits for a foreman or for another person."""

    plan: GroupPlan
    steps: tuple[StepShown, ...]
    holes: tuple[HoleShown, ...]
    unproved: tuple[HoleShown, ...]
    seconds: tuple[str, ...]  # holes that wait for the second signature


@dataclass(frozen=True, slots=True)
class Told:
    """What a press that was refused left behind: why, at which group, what was typed, what is wrong at which field."""

    reasons: tuple[Reason, ...] = ()
    at: str = ""
    act: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    holes: tuple[str, ...] = ()
    wrong: Mapping[str, Reason] = field(default_factory=dict)
    status: int = 200


def _job(number: str) -> Job:
    try:
        return jobs.by_number(number)
    except Refused as refused:
        raise NotThere(refused.reason) from refused


@page(READ)
@require_safe
def sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The steps and holes of a job: what is signed and proved, what waits."""
    return _sheet(request, _job(number), Told())


def _sheet(request: HttpRequest, job: Job, told: Told) -> HttpResponse:
    now, units = timezone.now(), units_of(request)
    (plan,) = jobs.plan_jobs([job], as_of=now, side_by_side=False)
    states = proving.states(job)
    lineage = proving.lineage(state.hole.position_id for state in states)
    groups = [
        _group(each, [state for state in states if state.hole.group.code == each.group.code], lineage, told, units)
        for each in plan.groups
    ]
    shown = {
        "area": "jobs",
        "job": job,
        "groups": groups,
        "waits": [reason for state in states if (reason := state.waits)],
        "holes": len(states),
        "open": job.state in jobs.OPEN,
        "key": uuid.uuid4().hex,
        "told": told,
        "refused": told.reasons,
        "longest_note": LONGEST_NOTE,
        "longest_why": LONGEST_WHY,
    }
    return render(request, "repairs/proving.html", shown, status=told.status)


def _group(
    plan: GroupPlan,
    states: Sequence[HoleState],
    lineage: Mapping[int, tuple[Proven, ...]],
    told: Told,
    units: str,
) -> GroupShown:
    asks = proving.asked(plan.chosen)
    holes = tuple(_hole(state, plan, asks, lineage.get(state.hole.position_id, ()), told, units) for state in states)
    return GroupShown(
        plan=plan,
        steps=tuple(_step(step, states) for step in (plan.chosen.steps if plan.chosen else ())),
        holes=holes,
        unproved=tuple(each for each in holes if each.state.result not in proving.DONE),
        seconds=tuple(
            state.label for state in states if state.critical and state.result in proving.DONE and not state.second
        ),
    )


def _step(step: Step, states: Sequence[HoleState]) -> StepShown:
    signed: dict[tuple[str, Any], tuple[StepSign, list[str]]] = {}
    for state in states:
        if sign := state.signs.get(step.code):
            signed.setdefault((sign.by, sign.at), (sign, []))[1].append(state.label)
    left = tuple(state.label for state in states if step.code not in state.signs)
    return StepShown(step, tuple((sign, tuple(labels)) for sign, labels in signed.values()), left)


def _hole(
    state: HoleState, plan: GroupPlan, asks: Sequence[Ask], lineage: tuple[Proven, ...], told: Told, units: str
) -> HoleShown:
    measured = state.measured(plan.chosen)
    prefix = _prefix(state)
    form = MeasuredForm(asks=asks, prefix=prefix)
    here = told.at == plan.group.code
    fields = []
    for thing, question in form.fields.items():
        name = f"{prefix}-{thing}"
        value = (
            told.typed.get(name, "") if here and told.act == "measure" else as_typed(thing, getattr(measured, thing))
        )
        choices = tuple(question.words.values()) if hasattr(question, "words") else ()
        if choices and value and value not in choices:
            choices = (*choices, value)  # nothing that was sent is lost
        wrong = say(told.wrong[name], units) if name in told.wrong else ""
        fields.append(Field(name, word(_CALLED.get(thing, thing)), value, choices, wrong))
    return HoleShown(
        state=state,
        fields=tuple(fields),
        judged=proving.judge(asks, measured) if state.proof else (),
        lineage=lineage,
        ticked=state.label in told.holes if here and told.act in ("sign", "withdraw") else True,
        excepted=here and told.act == "except" and state.label in told.holes,
    )


def _prefix(state: HoleState) -> str:
    return f"hole{state.hole.pk}"


# What is pressed on it


def _back(number: str, group: str = "") -> HttpResponse:
    return redirect(f"{reverse('job-proving', args=[number])}{f'#{group}' if group else ''}")


def _done(request: HttpRequest, number: str, act: str, carry_out: Callable[[Job, dict[str, Any]], Any]) -> HttpResponse:
    """One press: what it does, or the page again with why not and all that was typed."""
    job, group = _job(number), sent(request, "group")
    holes = tuple(hole.replace("\0", "") for hole in request.POST.getlist("hole"))
    entry = {"by": known_as(request.user), "as_of": timezone.now()}
    try:
        carry_out(job, entry)
    except Refused as refused:
        known = {code for (code,) in job.groups.values_list("code")}
        reasons = (refused.reason, *(refused.reasons if isinstance(refused, NotProved) else ()))
        told = Told(
            reasons=reasons,
            at=group if group in known else "",
            act=act,
            typed=request.POST.dict(),
            holes=holes,
            wrong=_at_fields(job, group, refused) if isinstance(refused, MeasuredWrong) else {},
            status=status_of(refused.reason),
        )
        return _sheet(request, _job(number), told)
    return _back(number, group)


def _at_fields(job: Job, group: str, refused: MeasuredWrong) -> dict[str, Reason]:
    prefixes = {state.label: _prefix(state) for state in proving.states(job) if state.hole.group.code == group}
    return {f"{prefixes[label]}-{thing}": reason for label, thing, reason in reversed(refused.faults)}


@page(PROVE)
@pressed("job-proving")
def sign(request: HttpRequest, number: str) -> HttpResponse:
    """Sign a step at the ticked holes, or take its signature back there."""
    step, back = sent(request, "step"), sent(request, "back")
    if not step and not back:  # Enter in a field is no signature
        return _back(number, sent(request, "group"))
    wanted: dict[str, Any] = {
        "group": sent(request, "group"),
        "step": step or back,
        "holes": [hole.replace("\0", "") for hole in request.POST.getlist("hole")],
        "note": sent(request, "note")[:LONGEST_NOTE],
        "request_key": press_key(request),
    }
    act = proving.sign if step else proving.withdraw
    return _done(request, number, "sign", lambda job, entry: act(job, **wanted, **entry))


@page(PROVE)
@pressed("job-proving")
def measure(request: HttpRequest, number: str) -> HttpResponse:
    """Enter what was measured at the holes of a group."""
    job, group = _job(number), sent(request, "group")
    states = [state for state in proving.states(job) if state.hole.group.code == group]
    (plan,) = jobs.plan_jobs([job], as_of=timezone.now(), side_by_side=False)
    asks = next((proving.asked(each.chosen) for each in plan.groups if each.group.code == group), ())
    entered: dict[str, Measured] = {}
    wrong: dict[str, Reason] = {}
    for state in states:
        form = MeasuredForm(request.POST, asks=asks, prefix=_prefix(state))
        if form.is_valid():
            entered[state.label] = form.value()
        for thing, faults in form.errors.as_data().items():
            wrong |= {f"{form.prefix}-{thing}": fault.reason for fault in faults if isinstance(fault, Fault)}
    if wrong:
        reason = Reason("measured_unread", count=len(wrong))
        told = Told((reason,), group, "measure", request.POST.dict(), wrong=wrong, status=400)
        return _sheet(request, job, told)
    key = press_key(request)

    def carry_out(job: Job, entry: dict[str, Any]) -> None:
        proving.measure(job, group=group, measured=entered, request_key=key, **entry)

    return _done(request, number, "measure", carry_out)


@page(EXCEPT)
@pressed("job-proving")
def exception(request: HttpRequest, number: str) -> HttpResponse:
    """Sign for the ticked holes that are not proved, with a reason."""
    wanted: dict[str, Any] = {
        "group": sent(request, "group"),
        "holes": [hole.replace("\0", "") for hole in request.POST.getlist("hole")],
        "why": sent(request, "why")[:LONGEST_WHY],
        "request_key": press_key(request),
    }
    return _done(request, number, "except", lambda job, entry: proving.sign_exception(job, **wanted, **entry))


@page(PROVE)
@pressed("job-proving")
def second(request: HttpRequest, number: str) -> HttpResponse:
    """Sign, as another person, what stands under the holes of a critical part."""
    group, key = sent(request, "group"), press_key(request)
    return _done(
        request, number, "second", lambda job, entry: proving.sign_second(job, group=group, request_key=key, **entry)
    )


@page(HAND_OVER)
@pressed("job-proving")
def hand_over(request: HttpRequest, number: str) -> HttpResponse:
    """End the job: every hole is proved or signed for."""
    return _done(request, number, "hand_over", lambda job, entry: proving.hand_over(job, **entry))
