"""Proving: who did which step, what was measured at each hole, who signs for what was not, and the job's handing over.

What the fitter signs and measures follows from the steps of the planned method. Rows are only ever added to and the
newest of a hole counts, so that a hole keeps its lineage: what was done to it, job after job. The next job on the
same part starts from there. *Handing over* ends a job, and is another thing than releasing what it has reserved.
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import datetime
from decimal import ROUND_FLOOR, Decimal
from typing import Any

from django.db.models import Q

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.threads import Thread
from repairs import families, jobs
from repairs.jobs import GroupPlan
from repairs.methods.room import INSERT_OF
from repairs.methods.values import FITS, NOT_CHECKED, Option, Size, Window
from repairs.models import Hole, Job, Proof, StepSign
from repairs.models import HoleGroup as HoleGroupRow

SECOND = "second"  # the step under which another person signs a proof of a safety-critical part
OPEN, PROVED, FAILED, SIGNED = "open", "proved", "failed", "signed"  # results of a proof
DONE = (PROVED, SIGNED)
YES_NO = ("hole_gauge", "tang_out", "flush", "final_gauge", "held_still")
LENGTHS = ("minor", "set_down")
TORQUES = ("prevailing", "torque")
# What a thing is called where its column says too little.
CALLED = {
    "minor": "minor_diameter",
    "tang_out": "tang_taken_out",
    "flush": "flange_flush",
    "prevailing": "prevailing_torque",
    "held_still": "insert_did_not_turn",
}
# A torque is shown to a tenth of a lbf·ft, 136 N·mm: who reaches what the sheet shows must not fall short by rounding.
SHOWN_WITHIN = 68
SLIP = 2  # so many times the torque that is asked for is a slip of the pen, or the wrong unit
MOST_MARGIN = Decimal("99999.999")


# What a method asks for, and how what was entered is judged


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing that the method wants entered of each hole: a yes or no, a length in a window, a torque to reach."""

    thing: str
    window: Window | None = None
    torque: int | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """What was entered of one hole: lengths in nm, torques in N·mm; None: not entered. `failed` says what failed."""

    hole_gauge: bool | None = None
    minor: int | None = None
    tang_out: bool | None = None
    set_down: int | None = None
    flush: bool | None = None
    final_gauge: bool | None = None
    prevailing: int | None = None
    torque: int | None = None
    held_still: bool | None = None
    failed: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """One thing asked for, judged: "fits", "failed" or "not_checked", and why."""

    thing: str
    status: str
    reason: Reason


_ENTERED = tuple(each.name for each in fields(Measured) if each.name not in ("failed", "why"))


def asked(option: Option | None) -> tuple[Ask, ...]:
    """What the steps of a planned method want entered of each hole, in their order; nothing without a method."""
    steps = option.steps if option else ()
    found: list[Ask] = []
    for step in steps:
        told = {setting.code: setting for setting in step.settings}
        if step.code == "hole_gauge":
            found.append(Ask("hole_gauge"))
            if minor := told.get("minor_measured"):
                found.append(Ask("minor", Window(minor["least_nm"], minor["most_nm"])))
        elif step.code == "break_tang":
            found.append(Ask("tang_out"))
        elif step.code == "set_down":
            between = told.get("set_down_between")
            depth = Window(between["least_nm"], between["most_nm"]) if between else None
            found.append(Ask("set_down", depth) if depth else Ask("flush"))
        elif step.code == "final_gauge":
            found.append(Ask("final_gauge"))
        elif step.code == "prevailing_torque":
            found.append(Ask("prevailing"))
        elif step.code == "torque":
            to = told.get("torque_to") or told.get("torque_bare")
            found.append(Ask("torque", torque=to["torque_nmm"] if to else None))
    if {"wind_in", "torque"} <= {step.code for step in steps}:
        found.append(Ask("held_still"))
    return tuple(found)


def judge(asks: Sequence[Ask], measured: Measured) -> tuple[Judged, ...]:
    """Each thing that was asked for against what was entered; what has nothing to be judged by is not checked."""
    return tuple(_judged(ask, getattr(measured, ask.thing)) for ask in asks)


def _judged(ask: Ask, entered: Any) -> Judged:
    thing, called = ask.thing, CALLED.get(ask.thing, ask.thing)
    if entered is None:
        return Judged(thing, NOT_CHECKED, Reason("proof_missing", thing=called))
    if thing in YES_NO:
        if entered:
            return Judged(thing, FITS, Reason("proof_yes", thing=called))
        return Judged(thing, FAILED, Reason("proof_no", thing=called))
    if ask.window is not None:
        data = {"thing": called, "least_nm": ask.window.least, "most_nm": ask.window.most, "measured_nm": entered}
        if entered in ask.window:
            return Judged(thing, FITS, Reason("proof_within", **data))
        return Judged(thing, FAILED, Reason("proof_outside", **data))
    if ask.torque is not None:
        if entered + SHOWN_WITHIN >= ask.torque:
            return Judged(thing, FITS, Reason("proof_torque_reached", reached_nmm=entered, asked_nmm=ask.torque))
        return Judged(thing, FAILED, Reason("proof_torque_short", reached_nmm=entered, asked_nmm=ask.torque))
    return Judged(thing, NOT_CHECKED, Reason("proof_unjudged", thing=called, reached_nmm=entered))


def _result(judged: Sequence[Judged], measured: Measured) -> str:
    """How a hole stands by what was entered: nothing is proved where nothing was asked for, or anything is open."""
    if measured.failed:
        return FAILED
    return PROVED if judged and all(each.status == FITS for each in judged) else OPEN


# How the holes of a job stand


@dataclass(frozen=True, slots=True)
class HoleState:
    """One hole of a job: the newest of its proofs, the steps signed at it and the second signature, if they stand."""

    hole: Hole
    proof: Proof | None = None
    signs: Mapping[str, StepSign] = field(default_factory=dict)
    entered_by: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        """The name of its position on the part."""
        return self.hole.position.label

    @property
    def result(self) -> str:
        """The newest result; "open" where nothing was entered yet."""
        return self.proof.result if self.proof else OPEN

    @property
    def critical(self) -> bool:
        """Whether another person signs as well."""
        return bool(self.hole.group.part.safety)

    @property
    def second(self) -> StepSign | None:
        """The second signature under the newest proof."""
        sign = self.signs.get(SECOND)
        return sign if sign and self.proof and sign.proof_id == self.proof.pk else None

    def measured(self, option: Option | None) -> Measured:
        """What was entered and still counts; what failed, or is done in another way now, is measured anew."""
        proof = self.proof
        if proof is None or option is None or proof.result == FAILED:
            return Measured()
        if (proof.method, proof.thread) != (option.method, option.size.outer.key):
            return Measured()
        seen = "" if proof.result == SIGNED else proof.why  # what an exception says is no finding
        return Measured(**{name: getattr(proof, name) for name in _ENTERED}, why=seen)

    @property
    def waits(self) -> Reason | None:
        """What stands in the way of handing the job over, if anything."""
        group, proof = self.hole.group, self.proof
        where = {"group": group.code, "label": self.label}
        if proof is None:
            return Reason("hole_not_measured", **where)
        if proof.result == OPEN:
            return Reason("hole_not_proved", **where, by=proof.by, at=proof.at)
        if proof.result == FAILED:
            return Reason("hole_failed", **where, failed=proof.failed, by=proof.by, at=proof.at)
        if proof.result == PROVED and (otherwise := _otherwise(proof, group)):
            return Reason("hole_proved_otherwise", **where, **otherwise)
        if self.critical and self.second is None:
            return Reason("hole_wants_a_second", **where, safety=group.part.safety, by=proof.by)
        return None


def _otherwise(proof: Proof, group: HoleGroupRow) -> dict[str, Any]:
    """What was proved and what is accepted, where the two are not the same; nothing where they are."""
    if not group.accepted:
        return {}
    methods = {"method": proof.method, "accepted": group.accepted}
    if proof.method != group.accepted or not group.accepted_code:
        return methods if proof.method != group.accepted else {}
    _, outer, length = jobs.parted(group.accepted_code)
    if proof.thread == outer.key and (proof.insert is None or proof.insert.length == length):
        return {}
    thread = Thread.from_key(proof.thread).designation
    there = {} if proof.insert is None else {"length_nm": proof.insert.length, "accepted_nm": length}
    return {**methods, **there, "thread": thread, "outer": outer.designation}


def states(job: Job) -> tuple[HoleState, ...]:
    """Every hole of a job as it stands now, in the order of groups and holes. Three queries."""
    holes = list(
        Hole.objects.filter(group__job=job).select_related("group__part", "position").order_by("group_id", "id")
    )
    newest: dict[int, Proof] = {}
    entered: dict[int, dict[str, None]] = defaultdict(dict)
    rows = Proof.objects.filter(hole__in=holes).select_related("insert__family").order_by("id")
    for proof in rows:
        newest[proof.hole_id] = proof
        entered[proof.hole_id][proof.by] = None
    signs: dict[int, dict[str, StepSign]] = defaultdict(dict)
    accepted = {hole.pk: hole.group.accepted_at for hole in holes}
    for sign in StepSign.objects.filter(hole__in=holes).order_by("id"):
        since = accepted[sign.hole_id]
        if since is not None and sign.at < since and sign.step != SECOND:
            continue  # the step of what was planned before another method or size was accepted
        if sign.withdrawn:
            signs[sign.hole_id].pop(sign.step, None)
        else:
            signs[sign.hole_id][sign.step] = sign
    return tuple(HoleState(hole, newest.get(hole.pk), signs[hole.pk], tuple(entered[hole.pk])) for hole in holes)


# The acts


class NotProved(Refused):
    """A job that cannot be handed over; `reasons` names each hole that waits, and for what."""

    def __init__(self, number: str, reasons: Sequence[Reason]) -> None:
        super().__init__(Reason("job_waits_for_holes", number=number, count=len(reasons)))
        self.reasons = tuple(reasons)


class MeasuredWrong(Refused):
    """What was entered cannot be kept as it is; `faults` are (hole, thing, reason)."""

    def __init__(self, faults: Sequence[tuple[str, str, Reason]]) -> None:
        super().__init__(faults[0][2])
        self.faults = tuple(faults)


def _locked(job: Job) -> None:
    job.refresh_from_db(from_queryset=Job.objects.select_for_update())
    if job.state not in jobs.OPEN:
        raise Refused(Reason("job_not_open", number=job.number, state=job.state))


def _done(rows: Iterable[Any], job: Job, request_key: str | None) -> tuple[Any, ...]:
    """What this very request wrote before; nothing where it is a new one, or has no key."""
    if request_key is None:
        return ()
    done = tuple(rows)
    for row in done:
        if row.hole.group.job_id != job.pk:
            raise Refused(Reason("request_key_reused", label=row.hole.group.job.number))
    return done


def _signs_of(request_key: str | None) -> Iterable[StepSign]:
    return StepSign.objects.filter(request_key=request_key).select_related("hole__group__job")


def _proofs_of(request_key: str | None) -> Iterable[Proof]:
    return Proof.objects.filter(request_key=request_key).select_related("hole__group__job")


def _chosen(job: Job, group: str, holes: Sequence[str]) -> list[HoleState]:
    """The holes of this group with these names. Raises `Refused`: group_unknown, holes_not_chosen, hole_unknown."""
    of_group = {each.label: each for each in states(job) if each.hole.group.code == group}
    if not of_group:
        raise Refused(Reason("group_unknown", group=group, number=job.number))
    if not holes:
        raise Refused(Reason("holes_not_chosen", group=group))
    for label in holes:
        if label not in of_group:
            raise Refused(Reason("hole_unknown", group=group, label=label))
    return [of_group[label] for label in dict.fromkeys(holes)]


def _planned(job: Job, group: str, as_of: datetime) -> GroupPlan:
    (plan,) = jobs.plan_jobs([job], as_of=as_of, side_by_side=False)
    return next(each for each in plan.groups if each.group.code == group)


def _begun(job: Job) -> None:
    """A job whose first step is signed, or first hole measured, has been started."""
    if job.state in ("planned", "booked"):
        job.state = "started"
        job.save(update_fields=["state"])


@act()
def sign(
    job: Job,
    *,
    group: str,
    step: str,
    holes: Sequence[str],
    by: str,
    as_of: datetime,
    note: str = "",
    request_key: str | None = None,
) -> tuple[StepSign, ...]:
    """Sign a step of the planned method at these holes of a group, by their names; where it is signed it stays.

    The same `request_key` answers with what it signed then. Raises `Refused` with job_not_open, group_unknown,
    holes_not_chosen, hole_unknown, step_not_planned, request_key_reused.
    """
    _locked(job)
    if done := _done(_signs_of(request_key), job, request_key):
        return done
    chosen = _chosen(job, group, holes)
    option = _planned(job, group, as_of).chosen
    if option is None or step not in {each.code for each in option.steps}:
        raise Refused(Reason("step_not_planned", step=step, group=group))
    signed = StepSign.objects.bulk_create(
        StepSign(hole=each.hole, step=step, at=as_of, by=by, note=note, request_key=request_key)
        for each in chosen
        if step not in each.signs
    )
    _begun(job)
    return tuple(signed)


@act()
def withdraw(
    job: Job,
    *,
    group: str,
    step: str,
    holes: Sequence[str],
    by: str,
    as_of: datetime,
    note: str = "",
    request_key: str | None = None,
) -> tuple[StepSign, ...]:
    """Take the signature of a step, or the second one, back at these holes: a new line, the old one stays.

    Raises `Refused` with step_not_signed, and what `sign` refuses with but step_not_planned.
    """
    _locked(job)
    if done := _done(_signs_of(request_key), job, request_key):
        return done
    chosen = [each for each in _chosen(job, group, holes) if step in each.signs]
    if not chosen:
        raise Refused(Reason("step_not_signed", step=step, group=group))
    return tuple(
        StepSign.objects.bulk_create(
            StepSign(
                hole=each.hole,
                step=step,
                withdrawn=True,
                proof_id=each.signs[step].proof_id,
                at=as_of,
                by=by,
                note=note,
                request_key=request_key,
            )
            for each in chosen
        )
    )


@act()
def measure(
    job: Job,
    *,
    group: str,
    measured: Mapping[str, Measured],
    by: str,
    as_of: datetime,
    request_key: str | None = None,
) -> tuple[Proof, ...]:
    """Enter what was measured at holes of a group, by their names. What is not entered now stays as it was entered.

    A hole is proved when all that the method asks for was entered and passed. Where something did not pass, `failed`
    says what failed. A hole of which nothing new is entered gets no row. The same `request_key` answers with what it
    entered then. Raises `MeasuredWrong`, and `Refused` with job_not_open, group_unknown, holes_not_chosen,
    hole_unknown, request_key_reused.
    """
    _locked(job)
    if done := _done(_proofs_of(request_key), job, request_key):
        return done
    chosen = _chosen(job, group, list(measured))
    option = _planned(job, group, as_of).chosen
    asks = asked(option)
    faults: list[tuple[str, str, Reason]] = []
    rows: list[tuple[HoleState, Measured, str]] = []
    for state in chosen:
        before, now = state.measured(option), measured[state.label]
        entered = _with_earlier(before, now)
        if entered == before:
            continue
        judged = judge(asks, entered)
        faults += [(state.label, thing, reason) for thing, reason in _wrong(asks, judged, entered)]
        rows.append((state, entered, _result(judged, entered)))
    if faults:
        raise MeasuredWrong(faults)
    stands = _stands(option, chosen[0].hole.group) if rows else {}
    against = _against(asks)
    proofs = [
        Proof(
            hole=state.hole, at=as_of, by=by, result=result, against=against, request_key=request_key,
            **stands, **asdict(entered),
        )
        for state, entered, result in rows
    ]  # fmt: skip
    if proofs:
        _begun(job)
    return tuple(Proof.objects.bulk_create(proofs))


def _with_earlier(before: Measured, now: Measured) -> Measured:
    """What is entered now, and of what is not what was entered before."""
    return replace(before, **{name: value for name, value in asdict(now).items() if value is not None and value != ""})


def _wrong(asks: Sequence[Ask], judged: Sequence[Judged], entered: Measured) -> Iterable[tuple[str, Reason]]:
    for ask in asks:
        reached = getattr(entered, ask.thing)
        if ask.torque is not None and reached is not None and reached > SLIP * ask.torque:
            yield ask.thing, Reason("torque_slip", reached_nmm=reached, asked_nmm=ask.torque)
    things = tuple(CALLED.get(each.thing, each.thing) for each in judged if each.status == FAILED)
    if things and not entered.failed:
        yield "failed", Reason("failed_not_told", things=things)


def _against(asks: Sequence[Ask]) -> dict[str, Any]:
    """What is judged by, as JSON: [least, most] in nm, a torque in N·mm."""
    windows = {ask.thing: [ask.window.least, ask.window.most] for ask in asks if ask.window is not None}
    return windows | {ask.thing: ask.torque for ask in asks if ask.torque is not None}


def _stands(option: Option | None, group: HoleGroupRow) -> dict[str, Any]:
    """What stands in the hole once it is repaired so: method, thread in the metal, insert, its bite and margin."""
    if option is None:  # nothing was planned, and so what stood there stands
        return {"thread": group.before_thread or group.thread}
    bites = (check.reason for check in option.checks if check.reason.code in ("bite_fits", "bite_short"))
    bite = next((Decimal(reason["bite"]) for reason in bites), None)  # a short one was signed for
    margin = getattr(getattr(option, "strength", None), "margin", None)
    return {
        "method": option.method,
        "thread": option.size.outer.key,
        "insert": families.row_of(option.size) if option.method in INSERT_OF else None,
        "bite": bite,
        # Down, so that a margin is never kept as more than it is.
        "margin": None
        if margin is None
        else min(Decimal(str(margin)).quantize(Decimal("0.001"), ROUND_FLOOR), MOST_MARGIN),
    }


@act()
def sign_exception(
    job: Job,
    *,
    group: str,
    holes: Sequence[str],
    why: str,
    by: str,
    as_of: datetime,
    request_key: str | None = None,
) -> tuple[Proof, ...]:
    """Sign for holes that are not proved, with a reason; what was measured of them is kept beside it.

    Raises `Refused` with why_missing, no_hole_waits, and what `measure` refuses with.
    """
    _locked(job)
    if done := _done(_proofs_of(request_key), job, request_key):
        return done
    chosen = _chosen(job, group, holes)
    if not why.strip():
        raise Refused(Reason("why_missing"))
    waiting = [each for each in chosen if each.result not in DONE]
    if not waiting:
        raise Refused(Reason("no_hole_waits", group=group))
    option = _planned(job, group, as_of).chosen
    fresh = _stands(option, waiting[0].hole.group) if any(each.proof is None for each in waiting) else {}
    proofs = [_exception(each, fresh) for each in waiting]
    for proof in proofs:
        proof.at, proof.by, proof.why, proof.result, proof.request_key = as_of, by, why.strip(), SIGNED, request_key
    _begun(job)
    return tuple(Proof.objects.bulk_create(proofs))


def _exception(state: HoleState, fresh: dict[str, Any]) -> Proof:
    if state.proof is None:
        return Proof(hole=state.hole, **fresh)
    kept = (*_ENTERED, "failed", "against", "method", "thread", "insert_id", "bite", "margin")
    return Proof(hole=state.hole, **{name: getattr(state.proof, name) for name in kept})


def _same(name: str) -> str:
    """A person's name as it is compared: however it is spaced, capitalised or composed of letters and accents."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


@act()
def sign_second(
    job: Job, *, group: str, by: str, as_of: datetime, note: str = "", request_key: str | None = None
) -> tuple[StepSign, ...]:
    """Sign, as another person, what stands under every hole of a group that is proved or signed for.

    Only what nobody has signed for a second time yet is signed. Raises `Refused` with job_not_open, group_unknown,
    second_not_wanted, second_is_the_first (whoever entered anything of a hole is no second person for it),
    request_key_reused.
    """
    _locked(job)
    if done := _done(_signs_of(request_key), job, request_key):
        return done
    of_group = [each for each in states(job) if each.hole.group.code == group]
    if not of_group:
        raise Refused(Reason("group_unknown", group=group, number=job.number))
    waiting = [each for each in of_group if each.critical and each.result in DONE and each.second is None]
    if not waiting:
        raise Refused(Reason("second_not_wanted", group=group))
    own = tuple(each.label for each in waiting if _same(by) in map(_same, each.entered_by))
    if own:
        raise Refused(Reason("second_is_the_first", by=by, labels=own))
    return tuple(
        StepSign.objects.bulk_create(
            StepSign(hole=each.hole, step=SECOND, proof=each.proof, at=as_of, by=by, note=note, request_key=request_key)
            for each in waiting
        )
    )


@act()
def hand_over(job: Job, *, by: str, as_of: datetime) -> Job:
    """End a job whose holes are all proved or signed for; what it still has reserved is let go.

    Doing so again changes nothing. Raises `NotProved` with a reason for each hole that waits, `Refused` with
    job_not_open, job_without_holes.
    """
    job.refresh_from_db(from_queryset=Job.objects.select_for_update())
    if job.state == "released":
        return job
    _locked(job)
    holes = states(job)
    if not holes:
        raise Refused(Reason("job_without_holes", number=job.number))
    waits = [reason for each in holes if (reason := each.waits)]
    if waits:
        raise NotProved(job.number, waits)
    if job.reservation is not None and job.reservation.state == "active":
        jobs.release(job, by=by, as_of=as_of)
    job.state, job.handed_over_by, job.handed_over_at = "released", by, as_of
    job.save(update_fields=["state", "handed_over_by", "handed_over_at"])
    return job


# The lineage of a hole, and what the next job takes from it


@dataclass(frozen=True, slots=True)
class Proven:
    """One line of a position's lineage: which job left what there, how it was proved, who signed.

    `bite` is the fresh thread that its insert found, in per cent; `margin` what the worst sum of strength carried over
    what it had to, as a share (0.15 is 15 %).
    """

    job: str
    label: str
    at: datetime
    by: str
    result: str
    failed: str
    why: str
    method: str
    thread: Thread
    insert: Size | None
    bite: Decimal | None
    margin: Decimal | None
    second_by: str

    @property
    def margin_percent(self) -> str:
        """The margin in per cent, rounded down; "" where it was not summed."""
        return "" if self.margin is None else format((self.margin * 100).quantize(Decimal("0.1"), ROUND_FLOOR), "f")


def lineage(positions: Iterable[int]) -> dict[int, tuple[Proven, ...]]:
    """What was proved, signed for or failed at each of these positions, the newest first. Two queries."""
    found: dict[int, list[Proven]] = defaultdict(list)
    rows = (
        Proof.objects.filter(hole__position__in=list(positions))
        .exclude(result=OPEN)
        .select_related("hole__group__job", "hole__position", "insert__family")
        .prefetch_related("signs")
        .order_by("-at", "-id")
    )
    for row in rows:
        seconds = sorted(row.signs.all(), key=lambda sign: sign.pk)
        found[row.hole.position_id].append(
            Proven(
                job=row.hole.group.job.number,
                label=row.hole.position.label,
                at=row.at,
                by=row.by,
                result=row.result,
                failed=row.failed,
                why=row.why,
                method=row.method,
                thread=Thread.from_key(row.thread),
                insert=families.size_of(row.insert) if row.insert else None,
                bite=row.bite,
                margin=row.margin,
                second_by=seconds[-1].by if seconds and not seconds[-1].withdrawn else "",
            )
        )
    return {position: tuple(lines) for position, lines in found.items()}


@dataclass(frozen=True, slots=True)
class Known:
    """What the newest proof of a hole tells the next job.

    `before` is the answer to what was done there, "" where the proof gives none (a chased thread, a weld); then
    `before_thread` is None. `failed` is what failed there, "" where nothing did.
    """

    label: str
    job: str
    by: str
    at: datetime
    method: str
    result: str
    before: str
    before_thread: Thread | None
    failed: str

    @property
    def answers(self) -> tuple[str, Thread | None, str]:
        """What a group of holes must have in common to start from it."""
        return self.before, self.before_thread, self.failed


def starts_from(owner: str, name: str, serial: str, labels: Iterable[str]) -> dict[str, Known]:
    """What is known from proofs of these positions of the part of this owner, name and serial number. One query.

    Without a serial number nobody can say that it is the same part, and nothing is known.
    """
    wanted = set(labels)
    known = known_of(owner, [(name, serial)]).get(part_key(name, serial), {})
    return {label: each for label, each in known.items() if label in wanted}


def part_key(name: str, serial: str) -> tuple[str, str]:
    """A part's name and serial number, as they are compared."""
    return name.casefold(), serial.casefold()


def known_of(owner: str, parts: Iterable[tuple[str, str]]) -> dict[tuple[str, str], dict[str, Known]]:
    """The same for several parts (name, serial number) at once, by `part_key` and position. One query, or none."""
    at = "hole__position__part__"
    same = Q()
    for name, serial in parts:
        if serial:
            same |= Q(**{f"{at}name__iexact": name, f"{at}serial__iexact": serial})
    if not same:
        return {}
    rows = (
        Proof.objects.filter(same, **{f"{at}owner__iexact": owner})
        .exclude(result=OPEN)
        .select_related("hole__group__job", "hole__position__part")
        .order_by("at", "id")
    )
    found: dict[tuple[str, str], dict[str, Known]] = defaultdict(dict)
    for row in rows:  # the newest of a position last
        position = row.hole.position
        found[part_key(position.part.name, position.part.serial)][position.label] = _known(row)
    return found


def _known(row: Proof) -> Known:
    group = row.hole.group
    before, thread = INSERT_OF.get(row.method, ""), row.thread
    if row.method == "chase" and group.before != "unknown":  # what stood there was cut clean, and stands there still
        before, thread = group.before, group.before_thread
    return Known(
        label=row.hole.position.label,
        job=group.job.number,
        by=row.by,
        at=row.at,
        method=row.method,
        result=row.result,
        before=before,
        before_thread=Thread.from_key(thread) if before not in ("", "none") and thread else None,
        failed=row.failed,
    )


@dataclass(frozen=True, slots=True)
class Start:
    """What a group of holes takes from earlier proofs: the answers to be filled in, and what is told about it."""

    before: str = ""
    before_thread: str = ""
    failed: str = ""
    notes: tuple[Reason, ...] = ()


def start(known: Mapping[str, Known], labels: Sequence[str], *, before: str, thread: str, failed: str) -> Start:
    """What these holes start from, beside what was answered ("" where nothing was); what was answered always counts.

    `before` and `failed` are codes, `thread` a key. Where the holes were not left alike nothing is filled in.
    """
    there = [known[label] for label in labels if label in known]
    if not there:
        return Start()
    if len(there) < len(labels) or len({each.answers for each in there}) > 1:
        return Start(notes=(Reason("proofs_differ", labels=tuple(each.label for each in there)),))
    newest = max(there, key=lambda each: each.at)
    stands = newest.before_thread
    told: dict[str, Any] = {
        "left": "its_own_thread" if newest.before == "none" else newest.before,
        "job": newest.job,
        "by": newest.by,
        "at": newest.at,
        "labels": tuple(labels),
        "thread": stands.designation if stands else "",
        "failed": newest.failed,
        "result": newest.result,
    }
    if not newest.before:
        return Start(notes=(Reason("proof_tells_no_before", method=newest.method or "exception", **told),))
    key = stands.key if stands else ""
    other = bool(before) and before != newest.before
    # A wire insert's thread in the metal follows from the bolt's, and may be named by it.
    other = other or (bool(thread) and newest.before != "wire_insert" and thread != key)
    if other or (failed and newest.failed and failed != newest.failed):
        note = Reason("answer_unlike_proof", **told)
    else:
        note = Reason("started_from_proof", **told)
    return Start(
        before="" if before else newest.before,
        before_thread=stands.designation if stands and not thread and not other else "",
        failed="" if failed or other else newest.failed,
        notes=(note,),
    )
