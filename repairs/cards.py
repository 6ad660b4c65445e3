"""The plan as a document: the JSON that the `plan` command prints, cards freeze and other programs read.

Its form is `plan.schema.json` (JSON Schema 2020-12); a change of meaning raises `SCHEMA_VERSION`.
Lengths are decimal strings in millimetres, torques in newton metres, times ISO 8601 in UTC.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from inventory.errors import Reason
from inventory.kinds import KINDS, StockLine
from inventory.quantities import to_mm
from inventory.threads import Thread
from repairs.jobs import GroupPlan, JobPlan, MethodReadiness, SizePlan
from repairs.matching import Line, Take
from repairs.methods.values import DOUBTFUL, GAP, MATCH, Check, HoleGroup, Need, Option, Size, Step, Window
from repairs.wording import name, say, word

SCHEMA_VERSION = 1
SCHEMA = Path(__file__).with_name("plan.schema.json")


def schema() -> dict[str, Any]:
    """The published JSON Schema of the plan document."""
    found: dict[str, Any] = json.loads(SCHEMA.read_text())
    return found


def digest(document_: dict[str, Any]) -> str:
    """SHA-256 over what the plan decides: everything but when it was asked and the sentences it is told in."""
    decided = _decided({key: value for key, value in document_.items() if key != "as_of"})
    return hashlib.sha256(json.dumps(decided, sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def _decided(value: Any) -> Any:
    if isinstance(value, dict):
        told = "code" in value and "data" in value  # a reason: its code and numbers decide, its sentence tells
        return {key: _decided(each) for key, each in value.items() if not (told and key == "text")}
    if isinstance(value, list):
        return [_decided(each) for each in value]
    return value


def document(plan: JobPlan, *, units: str = "mm") -> dict[str, Any]:
    """A plan as plain JSON values; `units` ("mm" or "in") leads in the sentences only."""
    write = _Writer(units, plan.number)
    return {
        "schema": SCHEMA_VERSION,
        "job": plan.number,
        "owner": plan.owner,
        "site": plan.site,
        "as_of": _time(plan.as_of),
        "window": {"start": _time(plan.start), "end": _time(plan.end)},
        "complete": plan.complete,
        "counts": {
            "match": plan.count(MATCH),
            "gap": plan.count(GAP),
            "doubtful": plan.count(DOUBTFUL),
            "unplanned": len(plan.unplanned),
        },
        "groups": [write.group(group) for group in plan.groups],
        "not_checked": [write.reason(reason) for reason in plan.not_checked],
    }


def _time(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _mm(nm: int | None) -> str | None:
    return None if nm is None else f"{to_mm(nm):f}"


def _newton_metres(nmm: int | None) -> str | None:
    return None if nmm is None else f"{(Decimal(nmm) / 1000).normalize():f}"


def _window(window: Window | None) -> dict[str, Any] | None:
    return None if window is None else {"least_mm": _mm(window.least), "most_mm": _mm(window.most)}


def _thread(thread: Thread | None) -> dict[str, Any] | None:
    return None if thread is None else {"key": thread.key, "designation": thread.designation}


def _plain(value: Any) -> Any:
    """Reason data as JSON values."""
    if isinstance(value, datetime):
        return _time(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list | frozenset | set):
        return [_plain(each) for each in value]
    if value is None or isinstance(value, bool | int | str):
        return value
    return str(value)


class _Writer:
    def __init__(self, units: str, job: str) -> None:
        self.units, self.job = units, job

    def reason(self, reason: Reason) -> dict[str, Any]:
        return {
            "code": reason.code,
            "data": {key: _plain(value) for key, value in reason.data.items()},
            "text": say(reason, self.units),
        }

    def reasons(self, reasons: Iterable[Reason]) -> list[dict[str, Any]]:
        return [self.reason(reason) for reason in reasons]

    def group(self, plan: GroupPlan) -> dict[str, Any]:
        return {
            "code": plan.group.code,
            "thread": {
                "typed": plan.group.as_typed,
                "class": plan.group.bolt_class,
                "notes": self.reasons(plan.group.notes),
                **(_thread(plan.group.bolt) or {}),
            },
            "holes": plan.group.holes,
            "cautions": self.reasons(plan.cautions),
            "answers": self.answers(plan.group),
            "method": plan.chosen.method if plan.chosen else None,
            "size": self.size(plan.chosen.size) if plan.chosen else None,
            "checks": [self.check(check) for check in plan.checks],
            "lines": [self.line(line) for line in plan.lines],
            "methods": [self.method(readiness) for readiness in plan.methods],
        }

    def answers(self, group: HoleGroup) -> dict[str, Any]:
        return {
            "positions": list(group.positions),
            "window": {"start": _time(group.start), "end": _time(group.end)},
            "through": group.through,
            "depth_mm": _mm(group.depth),
            "floor_mm": _mm(group.floor),
            "edge_mm": _mm(group.edge),
            "material": group.material or None,
            "before": group.before,
            "before_thread": _thread(group.before_thread),
            "before_major_mm": _mm(group.before_major),
            "failed": group.failed or None,
            "passes_gauge": group.passes_gauge,
            "made": group.made,
            "torque_Nm": _newton_metres(group.torque),
            "fixture": group.fixture or None,
            "hand": group.hand or None,
            "wished": group.wished or None,
        }

    def check(self, check: Check) -> dict[str, Any]:
        return {
            "status": check.status,
            "reason": self.reason(check.reason),
            "remedy": self.reason(check.remedy) if check.remedy else None,
        }

    def method(self, readiness: MethodReadiness) -> dict[str, Any]:
        plan = readiness.plan
        shown = {id(size.option): size for size in readiness.sizes}
        refused = [option for option in plan.options if option.ruled_out]
        return {
            "method": plan.method,
            "stands": plan.chosen is not None,
            "reasons": self.reasons(plan.reasons),
            "remedies": self.reasons(plan.remedies),
            "sizes": [self.planned_size(size) for size in shown.values()],
            "refused_sizes": [
                {"size": self.size(option.size), "checks": [self.check(check) for check in option.checks]}
                for option in refused
            ],
        }

    def planned_size(self, planned: SizePlan) -> dict[str, Any]:
        option: Option = planned.option
        counts = Counter(line.status for line in planned.lines)
        lines = {line.need.id: line for line in planned.lines}
        return {
            "size": self.size(option.size),
            "like_for_like": option.like_for_like,
            "checks": [self.check(check) for check in option.checks],
            "counts": {status: counts[status] for status in (MATCH, GAP, DOUBTFUL)},
            "steps": [self.step(step, lines) for step in option.steps],
        }

    def size(self, size: Size) -> dict[str, Any]:
        return {
            "family": size.family,
            "edition": size.edition,
            "standing": size.standing,
            "source": size.source,
            "inner": _thread(size.inner),
            "outer": _thread(size.outer),
            "length_mm": _mm(size.length),
        }

    def step(self, step: Step, lines: dict[str, Line]) -> dict[str, Any]:
        return {
            "step": step.code,
            "settings": self.reasons(step.settings),
            "cautions": self.reasons(step.cautions),
            "needs": [{**self.need(need), "status": lines[need.id].status} for need in step.needs],
        }

    def need(self, need: Need) -> dict[str, Any]:
        return {
            "id": need.id,
            "kind": need.kind,
            "word": KINDS[need.kind].word,
            "thread": _thread(Thread.from_key(need.thread)) if need.thread else None,
            "classes": list(need.classes),
            "inner": _thread(Thread.from_key(need.inner)) if need.inner else None,
            "family": need.family or None,
            "length_mm": _mm(need.length),
            "diameter": _window(need.diameter),
            "pilot_of": need.pilot_of or None,
            "reach_mm": _mm(need.reach),
            "lead_tenths": None if need.lead is None else {"match": need.lead.match, "doubt": need.lead.doubt},
            "flutes": list(need.flutes),
            "action": need.action or None,
            "name": need.name or None,
            "hand": need.hand or None,
            "torque_Nm": _newton_metres(need.torque),
            "holes": need.holes,
            "quantity": need.quantity,
            "window": {"start": _time(need.start), "end": _time(need.end)},
            "why": self.reasons(need.why),
        }

    def line(self, line: Line) -> dict[str, Any]:
        return {
            "need": self.need(line.need),
            "step": line.need.step,
            "status": line.status,
            "reasons": self.reasons(line.reasons),
            "takes": [self.take(take) for take in line.takes],
            "near": [{**self.stock(miss.line), "reasons": self.reasons(miss.reasons)} for miss in line.near],
            "look_alikes": self.reasons(line.look_alikes),
        }

    def take(self, take: Take) -> dict[str, Any]:
        return {
            **self.stock(take.line),
            "holes": take.holes,
            "quantity": take.quantity,
            "status": take.status,
            "reasons": self.reasons(take.reasons),
        }

    def stock(self, line: StockLine) -> dict[str, Any]:
        # What the job itself has reserved counts as left, so that booking a plan does not change it.
        own = sum(hold.holes for hold in line.holds if hold.label == self.job)
        return {
            "tag": line.tag,
            "counted": line.batch is not None,
            "name": line.facts.name,
            "thread": _thread(Thread.from_key(line.facts.thread)) if line.facts.thread else None,
            "diameter_mm": _mm(line.facts.diameter),
            "site": line.site,
            "bin": line.bin,
            "life_left": None if line.life_left is None else line.life_left + own,
        }


@dataclass(frozen=True, slots=True)
class ReadinessRow:
    """One hole group in the table of readiness, in words."""

    job: str
    holes: str
    method: str
    matches: int
    gaps: int
    doubtful: int
    short: tuple[str, ...]


def readiness_rows(plan: JobPlan, units: str = "mm") -> list[ReadinessRow]:
    """How ready a job is, one row a hole group; what is short comes first, then what is doubtful."""
    return [_readiness_row(plan, group, units) for group in plan.groups]


def _readiness_row(plan: JobPlan, group: GroupPlan, units: str) -> ReadinessRow:
    status = [line.status for line in group.lines]
    signs = [check for check in group.checks if check.status == DOUBTFUL]
    if group.chosen is None:
        wished = [each.plan for each in group.methods if each.plan.method == group.group.wished]
        refused = wished or [each.plan for each in group.methods]
        told = [
            f"{word(each.method).capitalize()}: "
            + " ".join(say(reason, units) for reason in (*each.reasons[:1], *each.remedies[:1]))
            for each in refused
        ]
    else:
        lines = sorted((line for line in group.lines if line.status != MATCH), key=lambda line: line.status != GAP)
        told = [
            f"{word(line.status).capitalize()}: {name(line.need, units)}. {line_reason(line, units)}" for line in lines
        ]
        told += [f"Doubtful: {say(check.reason, units)}" for check in signs]
    return ReadinessRow(
        job=plan.number,
        holes=f"{group.group.holes} × {group.group.bolt.designation}",
        method=word(group.chosen.method) if group.chosen else "none stands",
        matches=status.count(MATCH),
        gaps=status.count(GAP),
        doubtful=status.count(DOUBTFUL) + len(signs),
        short=tuple(told),
    )


def line_reason(line: Line, units: str = "mm") -> str:
    """Why a line is no match, in as few words as a table has room for."""
    told = [say(reason, units) for take in line.takes for reason in take.reasons if take.status != MATCH]
    if line.near:
        nearest = line.near[0]
        shared = [reason for reason in line.reasons if reason.code != "none_fits"]
        told += [say(reason, units) for reason in shared[:1]]
        if not shared:
            told.append(f"{nearest.line.tag}: " + " ".join(say(reason, units) for reason in nearest.reasons))
    else:
        told += [say(reason, units) for reason in (*line.reasons, *line.look_alikes[:1])]
    return " ".join(dict.fromkeys(told))
