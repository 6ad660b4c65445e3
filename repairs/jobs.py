"""Jobs: the one place where the calculation of a repair meets the database.

`plan_jobs` turns stored jobs, `plan_request` an unsaved one, into frozen plans: methods ruled in or out,
needs, and how the shelf meets them. The number of queries does not depend on the number of hole groups.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction

from inventory import reservations, stock
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, StockLine
from inventory.threads import Thread, ThreadError, look_alikes, read
from repairs import families, limits
from repairs.matching import NEAR_DIAMETER, Line, match
from repairs.methods import consider, pick
from repairs.methods.values import (
    DOUBTFUL,
    GAP,
    MATCH,
    NOT_CHECKED,
    Check,
    HoleGroup,
    MethodPlan,
    Need,
    Option,
)
from repairs.models import Hole, Job, Part, Position
from repairs.models import HoleGroup as HoleGroupRow


@dataclass(frozen=True, slots=True)
class PartRequest:
    """A part as it was answered: its facts and its hole groups, each with the texts as typed."""

    name: str
    serial: str
    drawing: str
    fixture: str
    hand: str
    safety: str
    groups: tuple[tuple[HoleGroup, dict[str, Any]], ...]


@dataclass(frozen=True, slots=True)
class JobRequest:
    """A job as it was answered, checked but not saved."""

    number: str
    owner: str
    site: str
    note: str
    start: datetime
    end: datetime
    booked: bool
    parts: tuple[PartRequest, ...]

    @property
    def groups(self) -> tuple[HoleGroup, ...]:
        """All hole groups of all parts, in the order of their letters."""
        return tuple(group for part in self.parts for group, _ in part.groups)


@dataclass(frozen=True, slots=True)
class SizePlan:
    """One size of a method that stands, with how the shelf meets its needs when planned by itself."""

    option: Option
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class MethodReadiness:
    """One method's answer for a group, and the shelf's answer to each of its sizes that stands.

    `sizes` has the chosen size first; only that one where a plan does not ask for every size.
    """

    plan: MethodPlan
    sizes: tuple[SizePlan, ...]


@dataclass(frozen=True, slots=True)
class GroupPlan:
    """What is planned for one hole group; `lines` share the shelf with the job's other groups."""

    group: HoleGroup
    methods: tuple[MethodReadiness, ...]
    chosen: Option | None
    lines: tuple[Line, ...]

    @property
    def cautions(self) -> tuple[Reason, ...]:
        """What stands above every plan for such a part: who governs and who signs."""
        return (Reason("maker_governs", safety=self.group.safety),) if self.group.safety else ()

    @property
    def checks(self) -> tuple[Check, ...]:
        """The checks of the room behind the chosen option."""
        return self.chosen.checks if self.chosen else ()


@dataclass(frozen=True, slots=True)
class JobPlan:
    """A whole job's plan. A group without a method that stands has no lines and is `unplanned`."""

    number: str
    owner: str
    site: str
    start: datetime
    end: datetime
    as_of: datetime
    groups: tuple[GroupPlan, ...]

    @property
    def lines(self) -> tuple[Line, ...]:
        """All lines of all groups."""
        return tuple(line for group in self.groups for line in group.lines)

    def count(self, status: str) -> int:
        """How many lines are a match, a gap or doubtful; checks of the room count among the doubtful."""
        judged = [line.status for line in self.lines]
        if status == DOUBTFUL:
            judged += [check.status for group in self.groups for check in group.checks]
        return judged.count(status)

    @property
    def unplanned(self) -> tuple[GroupPlan, ...]:
        """The groups for which no method stands."""
        return tuple(group for group in self.groups if group.chosen is None)

    @property
    def complete(self) -> bool:
        """Everything is there, nothing waits for a signature and every group has a method."""
        return bool(self.groups) and not self.unplanned and not self.count(GAP) and not self.count(DOUBTFUL)

    @property
    def not_checked(self) -> tuple[Reason, ...]:
        """What was not entered and so was not judged, each once."""
        reasons = [check.reason for group in self.groups for check in group.checks if check.status == NOT_CHECKED]
        return tuple(dict.fromkeys(reasons))


def plan_request(request: JobRequest, *, as_of: datetime, every_size: bool = True) -> JobPlan:
    """Plan a job that is not saved."""
    return _plan([_head(request)], as_of=as_of, every_size=every_size)[0]


def plan_job(job: Job, *, as_of: datetime, every_size: bool = True) -> JobPlan:
    """Plan a saved job; its own reservation does not stand in its way."""
    return plan_jobs([job], as_of=as_of, every_size=every_size)[0]


def plan_jobs(jobs: Sequence[Job], *, as_of: datetime, every_size: bool = False) -> list[JobPlan]:
    """Plan several saved jobs, each by itself, in one fixed number of queries."""
    rows = (
        HoleGroupRow.objects.filter(job__in=jobs)
        .select_related("part", "job__site")
        .prefetch_related("holes__position")
        .order_by("job_id", "id")
    )
    groups: dict[int, list[HoleGroup]] = {job.pk: [] for job in jobs}
    sites: dict[int, str] = {}
    for row in rows:
        groups[row.job_id].append(_value(row))
        sites[row.job_id] = row.job.site.name
    heads = [
        _Head(job.number, job.owner, sites.get(job.pk, ""), job.start, job.end, tuple(groups[job.pk]), job.number)
        for job in jobs
    ]
    return _plan(heads, as_of=as_of, every_size=every_size)


def open_jobs() -> Any:
    """Jobs that still want their kit, the soonest first."""
    return Job.objects.filter(state__in=("planned", "booked", "started"))


@dataclass(frozen=True, slots=True)
class _Head:
    number: str
    owner: str
    site: str
    start: datetime
    end: datetime
    groups: tuple[HoleGroup, ...]
    label: str = ""  # whose holds are its own: a saved job's number


def _head(request: JobRequest) -> _Head:
    return _Head(request.number, request.owner, request.site, request.start, request.end, request.groups)


def _plan(heads: Sequence[_Head], *, as_of: datetime, every_size: bool) -> list[JobPlan]:
    every_group = [group for head in heads for group in head.groups]
    sizes = families.sizes(inners={group.bolt.key for group in every_group})
    shop = limits.current()
    answers = {
        id(group): consider(group, [size for size in sizes if size.inner == group.bolt], shop) for group in every_group
    }
    options = [
        option
        for plans in answers.values()
        for plan in plans
        for option in plan.options
        if not option.ruled_out and (every_size or option is plan.chosen)
    ]
    shelf = _shelf([need for option in options for need in option.needs])
    return [_plan_one(head, answers, shelf, as_of=as_of, every_size=every_size) for head in heads]


def _plan_one(
    head: _Head,
    answers: dict[int, tuple[MethodPlan, ...]],
    shelf: list[StockLine],
    *,
    as_of: datetime,
    every_size: bool,
) -> JobPlan:
    chosen = [pick(answers[id(group)], group.wished) for group in head.groups]
    lines = match(
        [need for option in chosen if option for need in option.needs],
        shelf,
        label=head.label,
        zone=settings.SHOP_ZONE,
    )
    by_group: dict[str, list[Line]] = {group.code: [] for group in head.groups}
    for line in lines:
        by_group[line.need.group].append(line)
    groups = tuple(
        GroupPlan(
            group=group,
            methods=tuple(
                _readiness(plan, shelf, label=head.label, every_size=every_size) for plan in answers[id(group)]
            ),
            chosen=option,
            lines=tuple(by_group[group.code]),
        )
        for group, option in zip(head.groups, chosen, strict=True)
    )
    return JobPlan(head.number, head.owner, head.site, head.start, head.end, as_of, groups)


def _readiness(plan: MethodPlan, shelf: list[StockLine], *, label: str, every_size: bool) -> MethodReadiness:
    standing = [option for option in plan.options if not option.ruled_out and option is not plan.chosen]
    asked = ([plan.chosen] if plan.chosen else []) + (standing if every_size else [])
    return MethodReadiness(
        plan,
        tuple(SizePlan(option, match(option.needs, shelf, label=label, zone=settings.SHOP_ZONE)) for option in asked),
    )


def _shelf(needs: Iterable[Need]) -> list[StockLine]:
    """Everything on the shelf that could serve these needs or be taken for what serves them."""
    needs = list(needs)
    kinds = {need.kind for need in needs}
    wanted = {need.thread for need in needs if need.thread}
    keys = {key: Thread.from_key(key) for key in stock.distinct_threads(kinds) | wanted}
    on_shelf = list(keys.values())
    near = {alike.thread.key for key in wanted for alike in look_alikes(keys[key], on_shelf)} | {
        keys[key].mirrored().key for key in wanted
    }
    windows = {
        (need.diameter.least - NEAR_DIAMETER, need.diameter.most + NEAR_DIAMETER) for need in needs if need.diameter
    }
    return stock.lines(kinds=kinds, threads=wanted | near, diameters=windows)


def _notes(row: HoleGroupRow) -> tuple[Reason, ...]:
    """What the reader filled in. What is stored counts: text that now reads otherwise, or as a question, has none."""
    try:
        reading = read(row.as_typed)
    except ThreadError:
        return ()
    return reading.notes if reading.thread.key == row.thread else ()


def _value(row: HoleGroupRow) -> HoleGroup:
    """The frozen hole group that the methods read, from its row."""
    job, part = row.job, row.part
    return HoleGroup(
        code=row.code,
        bolt=Thread.from_key(row.thread),
        bolt_class=row.thread_class,
        as_typed=row.as_typed,
        notes=_notes(row),
        holes=len(row.holes.all()),
        positions=tuple(hole.position.label for hole in row.holes.all()),
        through=row.through,
        depth=row.depth,
        floor=row.floor,
        edge=row.edge,
        material=row.material,
        before=row.before,
        before_thread=Thread.from_key(row.before_thread) if row.before_thread else None,
        before_major=row.before_major,
        failed=row.failed,
        passes_gauge=row.passes_gauge,
        made=row.made,
        torque=row.torque,
        fixture=part.fixture,
        hand=part.hand,
        safety=part.safety,
        wished=row.accepted or row.wished,
        start=row.start or job.start,
        end=row.end or job.end,
        site=job.site.name,
    )


@act()
def create(request: JobRequest) -> Job:
    """Save a job with its parts, positions, hole groups and holes.

    Raises `Refused("job_number_taken" | "site_unknown" | "position_not_to_be_repaired")`.
    """
    if Job.objects.filter(number=request.number).exists():
        raise Refused(Reason("job_number_taken", number=request.number))
    job = Job.objects.create(
        number=request.number,
        site=stock.site(request.site),
        owner=request.owner,
        note=request.note,
        start=request.start,
        end=request.end,
    )
    for part_request in request.parts:
        part = Part.objects.create(
            owner=request.owner,
            name=part_request.name,
            serial=part_request.serial,
            drawing=part_request.drawing,
            fixture=part_request.fixture,
            hand=part_request.hand,
            safety=part_request.safety,
        )
        for value, typed in part_request.groups:
            _create_group(job, part, value, typed)
    return job


def _create_group(job: Job, part: Part, value: HoleGroup, typed: dict[str, Any]) -> HoleGroupRow:
    own_window = (value.start, value.end) != (job.start, job.end)
    row = HoleGroupRow.objects.create(
        job=job,
        part=part,
        code=value.code,
        thread=value.bolt.key,
        thread_class=value.bolt_class,
        as_typed=value.as_typed,
        through=value.through,
        depth=value.depth,
        floor=value.floor,
        edge=value.edge,
        material=value.material,
        before=value.before,
        before_thread=value.before_thread.key if value.before_thread else "",
        before_major=value.before_major,
        failed=value.failed,
        passes_gauge=value.passes_gauge,
        made=value.made,
        torque=value.torque,
        wished=value.wished,
        start=value.start if own_window else None,
        end=value.end if own_window else None,
        typed=typed,
    )
    for label in value.positions:
        position, _ = Position.objects.get_or_create(part=part, label=label)
        if position.may_not_be_repaired:
            raise Refused(Reason("position_not_to_be_repaired", part=part.name, label=label))
        Hole.objects.create(group=row, position=position)
    return row


@transaction.atomic
def book(job: Job, *, by: str, as_of: datetime, request_key: str | None = None) -> Job:
    """Hold every matched line of the job's plan for its window, all or nothing.

    The same `request_key` answers with the job as it was booked then. Raises `Refused` with the room's reason
    where a thing was taken meanwhile, and `Refused("job_already_booked")`.
    """
    job.refresh_from_db(from_queryset=Job.objects.select_for_update())  # somebody else may have booked it since
    if job.reservation is not None:
        if request_key is not None and job.reservation.request_key == request_key:
            return job
        raise Refused(Reason("job_already_booked", number=job.number))
    plan = plan_job(job, as_of=as_of, every_size=False)
    units: dict[int, tuple[datetime, datetime, int]] = {}
    batches: dict[int, int] = {}
    for line in plan.lines:
        if line.status != MATCH:
            continue
        for take in line.takes:
            if take.line.unit is not None:
                start, end, holes = units.get(take.line.unit, (line.need.start, line.need.end, 0))
                units[take.line.unit] = (
                    min(start, line.need.start),
                    max(end, line.need.end),
                    holes + take.holes,
                )
            elif take.line.batch is not None:
                shared = KINDS[line.need.kind].shared
                batches[take.line.batch] = 1 if shared else batches.get(take.line.batch, 0) + take.quantity
    job.reservation = reservations.reserve(
        label=job.number,
        link=f"/jobs/{job.number}/",
        unit_holds=[(unit, *hold) for unit, hold in units.items()],
        batch_holds=list(batches.items()),
        by=by,
        as_of=as_of,
        request_key=request_key,
    )
    job.state = "booked"
    job.save(update_fields=["reservation", "state"])
    return job
