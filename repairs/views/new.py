"""The page "New job": what is typed is read, drawn and judged before anything is saved.

Every press posts all fields, named by their place (parts-0-groups-1-thread), and the answer is the page with all of
them again. htmx swaps the form in place; without it the browser loads the page.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from secrets import token_urlsafe
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory import stock
from inventory.errors import Reason, Refused
from inventory.forms import Fault, WordField
from inventory.preferences import units_of
from inventory.refusals import status_of
from inventory.roles import page
from inventory.threads import Reading, ThreadError, read
from repairs import jobs
from repairs.cards import readiness_rows
from repairs.drawings import NARROW, Section, section
from repairs.forms import (
    JOB_KEYS,
    PART_KEYS,
    GroupForm,
    JobFileError,
    PartForm,
    Started,
    document_of,
    field_at,
    letters,
    read_job,
    starts_of,
)
from repairs.jobs import Considered, JobPlan, JobRequest
from repairs.methods.values import HoleGroup
from repairs.roles import PLAN
from repairs.wording import say, size_words, word

Row = dict[str, Any]
THREADS = ("thread", "before_thread")  # questions whose answer is a thread, which is shown back
# The questions of a group, in the order in which the page asks them.
ASKED = (
    "thread", "holes", "positions", "hole", "depth", "floor", "edge", "material", "torque", "method", "made", "damage",
    "before", "before_thread", "before_major", "failed", "passes_gauge", "bore", "off_axis",
    "grade", "reach", "alloy", "tensile", "shear", "starts", "ends",
)  # fmt: skip
REMEMBERED = 20  # forms whose saved job a session remembers


@dataclass(frozen=True, slots=True)
class Field:
    """One field of the page: what stands in it, what is wrong with it, and the thread that was read from it."""

    name: str
    value: str = ""
    wrong: str = ""
    choices: tuple[str, ...] = ()
    reading: Reading | None = None
    candidates: tuple[str, ...] = ()
    focused: bool = False


@dataclass(frozen=True, slots=True)
class Holes:
    """One hole group of the page: its fields, and its section as far as the answers go."""

    name: str
    at: str
    letter: str
    fields: dict[str, Field]
    hole: HoleGroup | None
    enough: bool
    drawn: Section | None = None
    size: str = ""
    why_none: tuple[tuple[str, str], ...] = ()
    begun: tuple[str, ...] = ()  # what earlier proofs of these holes tell

    @property
    def own_days(self) -> bool:
        """Whether days of its own were typed, or are wrong."""
        return self._answered("starts", "ends")

    @property
    def strength(self) -> bool:
        """Whether anything was typed of what it holds, or is wrong there."""
        return self._answered("grade", "reach", "alloy", "tensile", "shear")

    def _answered(self, *keys: str) -> bool:
        return any(self.fields[key].value or self.fields[key].wrong for key in keys)


@dataclass(frozen=True, slots=True)
class Answer:
    """What a press comes to beside the fields themselves: faults by field, the plan, where the reader goes on."""

    wrong: Mapping[str, str] = field(default_factory=dict)
    plan: JobPlan | None = None
    focus: str = ""
    missing: bool = False  # whether what is missing is told too, as it is once a plan or saving was refused
    put_back: str = ""  # the press that undoes a removal
    removed_from: int = -1  # the part that it was removed from; -1: it was a part itself
    next_number: str = ""
    status: int = 200


@page(PLAN)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A new job: its page, changed by a press, planned without saving, or saved."""
    now = timezone.now()
    if request.method != "POST":
        return _shown(request, {"number": jobs.next_number(), "parts": [{"groups": [{}]}]}, Answer(), now)
    job, units = _posted(request), units_of(request)
    press, *rest = request.POST.get("press", "plan").split(":", 3)
    if press in EDITS:
        answer = EDITS[press](job, rest)
        wrong = {name: text for name, text in _read(job, now, units)[1].items() if not name or _typed_at(job, name)}
        return _shown(request, job, replace(answer, wrong=wrong), now)
    asked, wrong = _read(job, now, units)
    if asked is None:
        status = 400 if press == "save" else 200
        return _shown(request, job, Answer(wrong, focus=_first(job, wrong), missing=True, status=status), now)
    if press == "save":
        return _saved(request, job, asked, now)
    plan = jobs.plan_request(asked, as_of=now, every_size=False)
    return _shown(request, job, Answer(plan=plan, focus="plan"), now)


@page(PLAN)
@require_POST
def reading(request: HttpRequest) -> HttpResponse:
    """What is read of one hole group while it is typed: its threads, what is wrong so far, its section."""
    at = re.fullmatch(r"parts-([0-9]{1,4})-groups-([0-9]{1,4})", request.POST.get("at", ""))
    if at is None:
        return HttpResponse(status=204)
    typed = {key: text for key in ASKED if (text := request.POST.get(f"{at[0]}-{key}"))}
    part = {key: request.POST.get(f"parts-{at[1]}-{key}", "") for key in ("name", "serial")}
    starts = starts_of({"owner": request.POST.get("owner", ""), "parts": [part | {"groups": [typed]}]})
    begun = starts.get((0, 0), Started({}, ()))
    units, answer = units_of(request), Answer(missing="missing" in request.POST)
    holes = _holes(typed | begun.answers, int(at[1]), int(at[2]), answer, timezone.now(), units)
    (holes,) = _drawn([replace(holes, begun=_said(begun, units))], units)
    return render(request, "repairs/new_live.html", {"holes": holes})


# What is typed, and what a press makes of it


def _posted(request: HttpRequest) -> Row:
    """What stands in the fields of the page: one part and one group at least."""
    job = document_of(request.POST)
    job["parts"] = job["parts"] or [{}]
    for part in job["parts"]:
        part["groups"] = part.get("groups") or [{}]
    return job


def _read(job: Row, now: datetime, units: str) -> tuple[JobRequest | None, dict[str, str]]:
    """The job as it is asked for, or what is wrong with it: one sentence a field, "" for what is of no field."""
    try:
        return read_job(job, as_of=now), {}
    except JobFileError as refused:
        wrong: dict[str, str] = {}
        known = set(_names(job))
        for place, reason in refused.faults:
            name = field_at(place)
            wrong.setdefault(name if name in known else "", say(reason, units))
        return None, wrong


def _names(job: Row) -> Iterator[str]:
    """The fields of the page, in its order."""
    yield from (key for key in JOB_KEYS if key != "booked")
    for at, part in enumerate(job["parts"]):
        yield from (f"parts-{at}-{key}" for key in PART_KEYS)
        for group in range(len(part["groups"])):
            yield from (f"parts-{at}-groups-{group}-{key}" for key in ASKED)


def _first(job: Row, wrong: Mapping[str, str]) -> str:
    return next((name for name in _names(job) if name in wrong), "wrong")


def _row_of(job: Row, name: str) -> tuple[Row, str]:
    """The row of a field of the page, and its key there."""
    *place, key = name.split("-")
    row = job
    for rows, at in zip(place[::2], place[1::2], strict=True):
        row = row[rows][int(at)]
    return row, key


def _typed_at(job: Row, name: str) -> str:
    row, key = _row_of(job, name)
    return str(row.get(key, ""))


def _number(rest: list[str], at: int, rows: list[Row]) -> int:
    """Which row was pressed; the last where it cannot be told."""
    number = int(rest[at]) if len(rest) > at and re.fullmatch(r"[0-9]{1,4}", rest[at]) else len(rows)
    return min(number, len(rows) - 1)


def _part_at(job: Row, rest: list[str]) -> tuple[list[Row], int]:
    """The parts and which of them was pressed."""
    return job["parts"], _number(rest, 0, job["parts"])


def _group_at(job: Row, rest: list[str]) -> tuple[list[Row], int, str]:
    """The groups of the part that was pressed, which of them, and the name of that part's fields."""
    parts, part = _part_at(job, rest)
    groups = parts[part]["groups"]
    return groups, _number(rest, 1, groups), f"parts-{part}"


def _add_part(job: Row, rest: list[str]) -> Answer:
    job["parts"].append({"groups": [{}]})
    return Answer(focus=f"parts-{len(job['parts']) - 1}-name")


def _mirror_part(job: Row, rest: list[str]) -> Answer:
    """The same part for the other side: another serial number, the other hand, the same holes."""
    parts, at = _part_at(job, rest)
    copy = {key: text for key, text in parts[at].items() if key != "serial"}
    copy["groups"] = [dict(group) for group in parts[at]["groups"]]
    if "hand" in copy:
        copy["hand"] = {"left": "right", "right": "left"}.get(copy["hand"], copy["hand"])
    parts.insert(at + 1, copy)
    return Answer(focus=f"parts-{at + 1}-serial")


def _remove_part(job: Row, rest: list[str]) -> Answer:
    parts, at = _part_at(job, rest)
    removed = json.dumps(parts.pop(at))
    if not parts:
        parts.append({"groups": [{}]})
    return Answer(focus="put-back", put_back=f"put-back-part:{at}:-:{removed}")


def _put_back_part(job: Row, rest: list[str]) -> Answer:
    at = _number(rest, 0, [*job["parts"], {}])
    row = _removed(rest)
    groups = row.get("groups")
    again = [_texts(group, ASKED) for group in groups] if isinstance(groups, list) else []
    job["parts"].insert(at, _texts(row, PART_KEYS) | {"groups": again or [{}]})
    return Answer(focus=f"parts-{at}-name")


def _add_group(job: Row, rest: list[str]) -> Answer:
    groups, _, part = _group_at(job, rest)
    groups.append({})
    return Answer(focus=f"{part}-groups-{len(groups) - 1}-thread")


def _copy_group(job: Row, rest: list[str]) -> Answer:
    """The same answers for other holes of the part: how many stays, which ones is asked again."""
    groups, at, part = _group_at(job, rest)
    named = [label for label in groups[at].get("positions", "").split(",") if label.strip()]
    copy = {key: text for key, text in groups[at].items() if key != "positions"}
    groups.insert(at + 1, ({"holes": str(len(named))} if named else {}) | copy)
    return Answer(focus=f"{part}-groups-{at + 1}-thread")


def _remove_group(job: Row, rest: list[str]) -> Answer:
    groups, at, _ = _group_at(job, rest)
    removed = json.dumps(groups.pop(at))
    if not groups:
        groups.append({})
    part = _part_at(job, rest)[1]
    return Answer(focus="put-back", put_back=f"put-back-group:{part}:{at}:{removed}", removed_from=part)


def _put_back_group(job: Row, rest: list[str]) -> Answer:
    groups, _, part = _group_at(job, rest)
    at = _number(rest, 1, [*groups, {}])
    groups.insert(at, _texts(_removed(rest), ASKED))
    return Answer(focus=f"{part}-groups-{at}-thread")


def _removed(rest: list[str]) -> Row:
    """The row that a press puts back, as the removal wrote it into that press."""
    try:
        row = json.loads(rest[2]) if len(rest) > 2 else {}
        json.dumps(row, ensure_ascii=False).encode()  # half of a pair of surrogates could not be shown again
    except (ValueError, RecursionError):
        return {}
    return row if isinstance(row, dict) else {}


def _texts(row: Any, keys: Collection[str]) -> Row:
    told = row if isinstance(row, dict) else {}
    return {key: text for key, text in told.items() if key in keys and isinstance(text, str)}


def _fill(job: Row, rest: list[str]) -> Answer:
    """Put what was offered into its field."""
    name, *text = rest or [""]
    if name in set(_names(job)):
        row, key = _row_of(job, name)
        row[key] = ":".join(text)
    return Answer(focus=name)


EDITS: dict[str, Callable[[Row, list[str]], Answer]] = {
    "add-part": _add_part,
    "mirror-part": _mirror_part,
    "remove-part": _remove_part,
    "put-back-part": _put_back_part,
    "add-group": _add_group,
    "copy-group": _copy_group,
    "remove-group": _remove_group,
    "put-back-group": _put_back_group,
    "fill": _fill,
}


# Saving, once however often it is pressed


def _saved(request: HttpRequest, job: Row, asked: JobRequest, now: datetime) -> HttpResponse:
    """Save the job and lead to its sheet; a second press of the same form leads there too."""
    key = request.POST.get("key", "")[:64]
    digest = hashlib.sha256(json.dumps(job, sort_keys=True).encode()).hexdigest()
    try:
        with transaction.atomic():
            jobs.create(asked)
            kept = dict(list(request.session.get("saved_jobs", {}).items())[1 - REMEMBERED :])
            request.session["saved_jobs"] = kept | {key: digest}
            request.session.save()  # with the job, so that whoever is refused its number finds it there
    except Refused as refused:
        if refused.reason.code == "job_number_taken" and key:
            # What another press has saved meanwhile is not in the session as this request loaded it.
            stored = type(request.session)(request.session.session_key)
            if stored.get("saved_jobs", {}).get(key) == digest:
                return redirect("job", number=asked.number)
        return _shown(request, job, _refused(job, asked, refused.reason, units_of(request)), now)
    return redirect("job", number=asked.number)


def _refused(job: Row, asked: JobRequest, reason: Reason, units: str) -> Answer:
    """What the tables refused, at the field that it is about."""
    field = {"job_number_taken": "number", "site_unknown": "site"}.get(reason.code, "")
    if reason.code == "position_not_to_be_repaired":
        for at, part in enumerate(asked.parts):
            for group, (value, _) in enumerate(part.groups):
                if part.name == reason["part"] and reason["label"] in value.positions:
                    field = f"parts-{at}-groups-{group}-positions"
    wrong = {field: say(reason, units)}
    free = jobs.next_number() if field == "number" else ""
    return Answer(wrong, focus=_first(job, wrong), next_number=free, status=status_of(reason))


# What is shown


def _shown(request: HttpRequest, job: Row, answer: Answer, now: datetime) -> HttpResponse:
    units = units_of(request)
    sites = tuple(stock.site_names())
    if request.method != "POST" and len(sites) == 1:
        job["site"] = sites[0]
    told = {
        "area": "jobs",
        "key": request.POST.get("key", "")[:64] or token_urlsafe(16),
        "head": {key: _field(job, key, key, answer, sites if key == "site" else ()) for key in JOB_KEYS},
        "parts": _parts(job, answer, now, units),
        "answer": answer,
        "faults": len(answer.wrong),
        "general": answer.wrong.get("", ""),
        **_planned(answer.plan, units),
    }
    template = "repairs/new_form.html" if request.htmx else "repairs/new.html"  # type: ignore[attr-defined]
    return render(request, template, told, status=answer.status)


def _parts(job: Row, answer: Answer, now: datetime, units: str) -> list[Row]:
    """The parts with their fields, and their groups lettered through all of them.

    What earlier proofs answer is filled in where nothing was, for everybody to see and change.
    """
    starts = starts_of(job)
    for (part, group), begun in starts.items():
        job["parts"][part]["groups"][group].update(begun.answers)
    places = [(part, group) for part, row in enumerate(job["parts"]) for group in range(len(row["groups"]))]
    every = [
        replace(
            _holes(job["parts"][part]["groups"][group], part, group, answer, now, units),
            letter=letters(number),
            begun=_said(starts.get((part, group), Started({}, ())), units),
        )
        for number, (part, group) in enumerate(places)
    ]
    drawn = _drawn(every, units)
    return [
        {
            "at": at,
            "fields": {
                key: _field(row, key, f"parts-{at}-{key}", answer, _choices(PartForm, key)) for key in PART_KEYS
            },
            "groups": [holes for holes, (part, _) in zip(drawn, places, strict=True) if part == at],
        }
        for at, row in enumerate(job["parts"])
    ]


def _said(begun: Started, units: str) -> tuple[str, ...]:
    return tuple(say(note, units) for note in begun.notes)


def _planned(plan: JobPlan | None, units: str) -> Row:
    if plan is None:
        return {}
    cautions = dict.fromkeys(say(caution, units) for group in plan.groups for caution in group.cautions)
    return {
        "plan": plan,
        "verdict": say(plan.verdict, units),
        "rows": readiness_rows(plan, units),
        "cautions": [*cautions],
    }


def _choices(form: type[GroupForm] | type[PartForm], key: str) -> tuple[str, ...]:
    field = form.base_fields[key]
    return tuple(field.words.values()) if isinstance(field, WordField) else ()


def _field(row: Row, key: str, name: str, answer: Answer, choices: tuple[str, ...] = ()) -> Field:
    value = row.get(key, "")
    if choices and value and value not in choices:
        choices = (*choices, value)  # nothing that was sent is lost
    return Field(name, value, answer.wrong.get(name, ""), choices, focused=name == answer.focus)


def _holes(typed: Row, part: int, group: int, answer: Answer, now: datetime, units: str) -> Holes:
    """A hole group with what is read of it; what is typed and wrong is told at once, what is missing when asked."""
    name = f"parts-{part}-groups-{group}"
    form = GroupForm(typed, as_of=now)
    found = {
        f"{name}-{key}": say(faults[0].reason, units)
        for key, faults in form.errors.as_data().items()
        if (answer.missing or typed.get(key, "").strip()) and isinstance(faults[0], Fault)
    }
    told = replace(answer, wrong={**found, **answer.wrong})
    fields = {key: _field(typed, key, f"{name}-{key}", told, _choices(GroupForm, key)) for key in ASKED}
    for key in THREADS:
        fields[key] = _read_back(fields[key])
    return Holes(name, f"{part}:{group}", "", fields, form.so_far(), form.says_enough)


def _read_back(field: Field) -> Field:
    """The thread that stands in a field as it is read, or those that it may be."""
    if not field.value.strip():
        return field
    try:
        return replace(field, reading=read(field.value))
    except ThreadError as refused:
        return replace(field, candidates=refused.reason.data.get("candidates", ()))


def _drawn(every: list[Holes], units: str) -> list[Holes]:
    """The groups with their sections: of what would be picked where the answers suffice, else of the hole alone."""
    asked = iter(jobs.considered([holes.hole for holes in every if holes.hole and holes.enough]))
    limits = None
    found = []
    for holes in every:
        if holes.hole is None:
            found.append(holes)
            continue
        answer: Considered | None = next(asked) if holes.enough else None
        option = answer.chosen if answer else None
        limits = answer.limits if answer else limits
        found.append(
            replace(
                holes,
                drawn=section(holes.hole, option, limits=limits, layout=NARROW, units=units),
                size=f"{word(option.method)} {size_words(option.size, units)}" if option else "",
                why_none=_why_none(answer, units) if answer and option is None else (),
            )
        )
    return found


def _why_none(answer: Considered, units: str) -> tuple[tuple[str, str], ...]:
    wished = [plan for plan in answer.methods if plan.method == answer.group.wished]
    return tuple(
        (word(plan.method), " ".join(say(reason, units) for reason in (*plan.reasons[:1], *plan.remedies[:1])))
        for plan in wished or answer.methods
        if plan.chosen is None  # what stands is there by choice alone
    )
