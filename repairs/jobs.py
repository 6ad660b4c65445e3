"""Jobs: the one place where the calculation of a repair meets the database.

`plan_jobs` turns stored jobs, `plan_request` an unsaved one, into frozen plans: methods ruled in or out,
needs, and how the shelf meets them. The number of queries does not depend on the number of hole groups.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.db import transaction
from django.db.models import BigIntegerField, Exists, Max, OuterRef, Q, QuerySet
from django.db.models.functions import Cast, Substr

from inventory import catalogue, order_points, purchasing, reservations, stock
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import KINDS, Facts, StockLine
from inventory.order_points import Standing
from inventory.threads import Thread, ThreadError, look_alikes, read
from repairs import families, limits
from repairs.buying import Choice, Demand, Gap, Restock, ShoppingList, gaps_of, restock, shop
from repairs.matching import NEAR_DIAMETER, REFUSED, Line, Shelf, Stock, Take, judge_item, match
from repairs.matching.amounts import demand_of, life_of, may_split
from repairs.methods import consider, overrule, pick
from repairs.methods.values import (
    DOUBTFUL,
    GAP,
    MATCH,
    NOT_CHECKED,
    Check,
    HoleGroup,
    Limits,
    MethodPlan,
    Need,
    Option,
    Size,
    Window,
)
from repairs.models import Hole, Job, Kit, Part, Position
from repairs.models import HoleGroup as HoleGroupRow

OPEN = ("planned", "booked", "started")  # states of a job that still wants its kit
COMPLETE, SHORT, UNPLANNED = "complete", "short", "unplanned"  # how ready a job is; DOUBTFUL is the fourth
READINESS = (COMPLETE, SHORT, DOUBTFUL, UNPLANNED)


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
class Accepted:
    """What a foreman accepted for a hole group, by whom and when: method and `size_code`.

    Where somebody answers for it, `answers` is his name, `why` his reason, `signed` the checks' seals (`Check.seal`).
    """

    method: str
    code: str
    by: str
    at: datetime
    answers: str = ""
    why: str = ""
    signed: tuple[str, ...] = ()

    @property
    def signed_codes(self) -> tuple[str, ...]:
        """The codes of the checks that are signed for."""
        return tuple(dict.fromkeys(seal.partition(":")[0] for seal in self.signed))


@dataclass(frozen=True, slots=True)
class GroupPlan:
    """What is planned for one hole group; `lines` share the shelf with the job's other groups.

    `bars` is what stands against booking it at all, whatever the shelf has; `accepted` what a foreman accepted, which
    is what is planned as long as it stands.
    """

    group: HoleGroup
    methods: tuple[MethodReadiness, ...]
    chosen: Option | None
    lines: tuple[Line, ...]
    bars: tuple[Check, ...] = ()
    accepted: Accepted | None = None

    @property
    def cautions(self) -> tuple[Reason, ...]:
        """What stands above every plan for such a part: who governs and who signs."""
        return (Reason("maker_governs", safety=self.group.safety),) if self.group.safety else ()

    @property
    def checks(self) -> tuple[Check, ...]:
        """What bars the group, then the checks of the room behind the chosen option."""
        return self.bars + (self.chosen.checks if self.chosen else ())


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
    def readiness(self) -> tuple[str, ...]:
        """How ready the job is: "complete", or all that it still waits for: "unplanned", "short", "doubtful"."""
        waits = ((UNPLANNED, self.unplanned), (SHORT, self.count(GAP)), (DOUBTFUL, self.count(DOUBTFUL)))
        if self.complete:
            return (COMPLETE,)
        return tuple(code for code, there in waits if there) or (UNPLANNED,)  # of a job without a group nothing

    @property
    def verdict(self) -> Reason:
        """Whether it is complete, with its counts; what was not checked is counted beside them, never as good."""
        counts = {status: self.count(status) for status in (MATCH, GAP, DOUBTFUL)}
        counts |= {"unplanned": len(self.unplanned), "not_checked": len(self.not_checked)}
        return Reason("plan_complete" if self.complete else "plan_not_complete", **counts)

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


def plan_jobs(
    jobs: Sequence[Job], *, as_of: datetime, every_size: bool = False, side_by_side: bool = True
) -> list[JobPlan]:
    """Plan several saved jobs, each by itself, in one fixed number of queries.

    Without `side_by_side` the shelf answers the planned method alone, which is all that a list of jobs tells.
    """
    rows = (
        HoleGroupRow.objects.filter(job__in=jobs)
        .select_related("part", "job__site")
        .prefetch_related("holes__position")
        .order_by("job_id", "id")
    )
    groups: dict[int, list[HoleGroup]] = {job.pk: [] for job in jobs}
    sites: dict[int, str] = {}
    barred: dict[int, dict[str, Reason]] = {job.pk: {} for job in jobs}
    accepted: dict[int, dict[str, Accepted]] = {job.pk: {} for job in jobs}
    for row in rows:
        groups[row.job_id].append(_value(row))
        sites[row.job_id] = row.job.site.name
        if row.accepted and row.accepted_code:
            accepted[row.job_id][row.code] = Accepted(
                row.accepted,
                row.accepted_code,
                row.accepted_by,
                row.accepted_at or row.job.start,  # rows of before there was a name have no time either
                row.overruled_by,
                row.overruled_why,
                tuple(row.overruled),
            )
        for hole in row.holes.all():
            if hole.position.may_not_be_repaired:
                barred[row.job_id][row.code] = _not_to_be_repaired(row.part, hole.position)
    heads = [
        _Head(
            job.number,
            job.owner,
            sites.get(job.pk, ""),
            job.start,
            job.end,
            tuple(groups[job.pk]),
            label=job.number,
            barred=barred[job.pk],
            accepted=accepted[job.pk],
        )
        for job in jobs
    ]
    return _plan(heads, as_of=as_of, every_size=every_size, side_by_side=side_by_side)


def open_jobs() -> Any:
    """Jobs that still want their kit, the soonest first."""
    return Job.objects.filter(state__in=OPEN)


def next_number() -> str:
    """The number that a new job is proposed: one more than the highest of the form J-1041. One query."""
    numbered = Job.objects.filter(number__regex=r"^J-[0-9]{1,15}$")
    highest = numbered.aggregate(highest=Max(Cast(Substr("number", 3), BigIntegerField())))["highest"]
    return f"J-{(highest or 0) + 1}"


def by_number(number: str) -> Job:
    """A job with its site and reservation, whatever its state. Raises `Refused("job_number_unknown")`."""
    # A text with a null in it is no number of any job, and PostgreSQL does not even compare it.
    found = Job.objects.filter(number=number) if "\0" not in number else Job.objects.none()
    job = found.select_related("site", "reservation").first()
    if job is None:
        raise Refused(Reason("job_number_unknown", number=number))
    return job


def open_job(number: str) -> Job:
    """A job that still wants its kit. Raises `Refused("job_number_unknown" | "job_not_open")`."""
    job = by_number(number)
    if job.state not in OPEN:
        raise _not_open(job)
    return job


def _not_open(job: Job) -> Refused:
    return Refused(Reason("job_not_open", number=job.number, state=job.state))


def listed(
    *, states: Sequence[str], text: str = "", start: datetime | None = None, end: datetime | None = None
) -> QuerySet[Job]:
    """Jobs in these states, the soonest first, whose number, owner, part or its serial number has this text in it.

    `start` and `end` bound a half-open window: a job is listed when its own window touches that one.
    """
    found = Job.objects.filter(state__in=states)
    if text:
        part = Q(part__name__icontains=text) | Q(part__serial__icontains=text)
        groups = HoleGroupRow.objects.filter(part, job=OuterRef("pk"))
        found = found.filter(Q(number__icontains=text) | Q(owner__icontains=text) | Q(Exists(groups)))
    if start is not None:
        found = found.filter(end__gt=start)
    if end is not None:
        found = found.filter(start__lt=end)
    return found


def to_be_released(*, as_of: datetime) -> QuerySet[Job]:
    """Jobs whose window is over and that still keep what was reserved for them, the longest over first."""
    over = Job.objects.filter(end__lte=as_of, reservation__state="active")
    return over.select_related("reservation").order_by("end", "number")


def kept(job: Job) -> tuple[list[Any], list[Any]]:
    """The holds of the job's reservation, of units and of batches, in the order of the walk through the crib.

    Two queries. One that was lost since is among them (`shorted`, or `short` of its quantity), until it is released.
    """
    if job.reservation is None or job.reservation.state != "active":
        return [], []
    units = job.reservation.unit_holds.select_related("unit__item", "unit__bin__site")
    batches = job.reservation.batch_holds.select_related("batch__item", "batch__bin__site")
    return list(units.order_by("unit__bin__walk", "unit__tag", "start")), list(batches.order_by("batch__bin__walk"))


def lost(plans: Sequence[JobPlan]) -> list[tuple[Reason, ...]]:
    """Of each plan of a saved job, what was lost of what is reserved for it, or does not serve by its measurements as
    they are now: with what would take its place and is not kept, or as a gap. Two queries, however many."""
    kept = reservations.keeps(labels=[plan.number for plan in plans])
    return [
        tuple(reason for each in kept.get(plan.number, ()) for reason in _lost(each, plan) + _unfit(each, plan))
        for plan in plans
    ]


def _lost(gone: reservations.Kept, plan: JobPlan) -> list[Reason]:
    if gone.facts is not None:
        return []
    return [_instead("kept_lost", gone, plan, pieces=gone.pieces)]


def _unfit(kept: reservations.Kept, plan: JobPlan) -> list[Reason]:
    """That what is kept serves no need of the plan by its measurements, whatever was planned when it was reserved."""
    lines = {line.need.id: line for line in plan.lines}
    asked = [line for line in lines.values() if line.need.kind == kept.kind]
    if kept.facts is None or kept.name in {_name(take) for line in asked for take in line.takes}:
        return []
    judged = [judge_item(line.need, kept.facts, drilled=_drilled_by(lines.get(line.need.pilot_of))) for line in asked]
    if not judged or any(each.status != REFUSED for each in judged):
        return []
    nearest = min(judged, key=lambda each: len(each.reasons))
    return [_instead("kept_unfit", kept, plan, why=nearest.reasons[0])]


def _instead(code: str, kept: reservations.Kept, plan: JobPlan, **told: Any) -> Reason:
    """What takes the place of what is kept in vain: nothing, something that is not kept, or what is kept besides."""
    lines = [line for line in plan.lines if line.need.kind == kept.kind]
    told |= {"kind": kept.kind, "name": kept.name}
    others = {_name(take) for line in lines for take in line.takes if not _kept_already(take, plan.number)}
    if any(line.status == GAP for line in lines):
        return Reason(f"{code}_gap", **told)
    if others:
        return Reason(f"{code}_others", **told, others=tuple(sorted(others)))
    return Reason(f"{code}_enough", **told)


def _drilled_by(guide: Line | None) -> int | Window | None:
    """The drill that is taken to guide a cutter; the window of one that is still a gap."""
    return guide.takes[0].line.facts.diameter if guide and guide.takes else guide.need.diameter if guide else None


def _name(take: Take) -> str:
    return take.line.tag or f"batch {take.line.batch}"


def _kept_already(take: Take, label: str) -> bool:
    """Whether what is taken is kept for the label, or in its hand, all of it."""
    own = [hold for hold in take.line.holds if hold.label == label]
    if take.line.batch is None:
        return bool(own)
    return take.quantity <= sum(hold.quantity + hold.in_hand for hold in own)


def shopping(plans: Sequence[JobPlan], *, as_of: datetime, currency: str = "EUR") -> ShoppingList:
    """What to buy for the gaps of these plans, ordered on the day of `as_of`. Four queries, however many there are.

    Every item of the catalogue that would meet a gap when it came new is weighed, with units on the shelf or
    without. Each job was planned by itself, so what two jobs that are not booked would both take from the shelf is
    missed here. `currency` is the shop's own.
    """
    gaps = gaps_of([pair for demands in _short_of(plans) for pair in demands])
    (found,) = _shopped([gaps], as_of=as_of, currency=currency)
    return replace(
        found, unplanned=tuple((plan.number, group.group.code) for plan in plans for group in plan.unplanned)
    )


def baskets(plans: Sequence[JobPlan], *, as_of: datetime, currency: str = "EUR") -> list[ShoppingList]:
    """What to buy for each of these plans as if it were the only one. As many queries as for one list."""
    return _shopped([gaps_of(demands) for demands in _short_of(plans)], as_of=as_of, currency=currency)


def for_stock(*, as_of: datetime, currency: str = "EUR") -> tuple[tuple[Standing, Restock], ...]:
    """What stands at or below its order point, each with the cheapest purchase that brings it up to its most, ordered
    on the day of `as_of`. At most eight queries, however many there are.

    What is on order is in the position already, so that nothing is ordered twice. `currency` is the shop's own.
    """
    low = [each for each in order_points.standings(as_of=as_of, low=True) if each.wanted]
    if not low:
        return ()
    offers, today = purchasing.offers_for([each.item.pk for each in low]), as_of.astimezone(settings.SHOP_ZONE).date()
    asked = [(Choice(catalogue.facts(each.item), each.item.number or ""), each.wanted) for each in low]
    return tuple(zip(low, restock(asked, offers, today=today, currency=currency), strict=True))


def _shopped(lists: Sequence[tuple[Gap, ...]], *, as_of: datetime, currency: str) -> list[ShoppingList]:
    wanted = {choice.facts.item for gaps in lists for gap in gaps for choice in gap.choices}
    offers, today = purchasing.offers_for(wanted), as_of.astimezone(settings.SHOP_ZONE).date()
    return [shop(gaps, offers, today=today, currency=currency) for gaps in lists]


def _short_of(plans: Sequence[JobPlan]) -> list[list[tuple[Demand, tuple[Choice, ...]]]]:
    """What each plan is short of, with the items of the catalogue that would meet it. One query."""
    needs = [line.need for plan in plans for line in plan.lines if line.status == GAP]
    items: dict[str, list[tuple[str, Facts]]] = defaultdict(list)
    for number, facts in catalogue.listed(
        kinds={need.kind for need in needs},
        threads={need.thread for need in needs if need.thread},
        diameters={(need.diameter.least, need.diameter.most) for need in needs if need.diameter},
    ):
        items[facts.kind].append((number, facts))
    return [_demands(plan, items) for plan in plans]


def _demands(plan: JobPlan, items: dict[str, list[tuple[str, Facts]]]) -> list[tuple[Demand, tuple[Choice, ...]]]:
    """What a plan is short of, each with the items that would meet it."""
    day = plan.start.astimezone(settings.SHOP_ZONE).date()
    lines = {line.need.id: line for line in plan.lines}
    found: list[tuple[Demand, tuple[Choice, ...]]] = []
    drills: dict[str, tuple[Choice, ...]] = {}
    # What guides stands before what is guided, since a cutter is judged by the drill.
    for line in sorted(plan.lines, key=lambda each: each.need.pilot_of != ""):
        if line.status != GAP:
            continue
        need, guide = line.need, lines.get(line.need.pilot_of)
        choices = [
            choice
            for number, facts in items[need.kind]
            if (choice := _choice(need, guide, drills.get(need.pilot_of, ()), number, facts))
        ]
        if not need.pilot_of:
            choices = [_with_cutters(choice, need, plan.lines) for choice in choices]
        drills[need.id] = tuple(choices)
        left = [max(0, why["available"] - why["taken"]) for why in line.reasons if why.code == "quantity_short_in_all"]
        demand = Demand(
            job=plan.number,
            need=need,
            day=day,
            amount=demand_of(need),
            split=may_split(need),
            left=sum(left),
            why=line.reasons,
            drill=need.pilot_of if drills.get(need.pilot_of) else "",
        )
        found.append((demand, tuple(choices)))
    return found


def _choice(need: Need, guide: Line | None, drills: Sequence[Choice], number: str, facts: Facts) -> Choice | None:
    """An item as it would meet a need, or None; a guided cutter against the drill that is taken, or could be bought."""
    judgement = judge_item(need, facts, drilled=None if drills else _drilled_by(guide))
    if judgement.status == REFUSED:
        return None
    goes_with = None
    if drills:
        goes_with = frozenset(
            drill.facts.item
            for drill in drills
            if judge_item(need, facts, drilled=drill.facts.diameter).status != REFUSED
        )
        if not goes_with:
            return None
    doubts = judgement.reasons if judgement.status == DOUBTFUL else ()
    return Choice(facts, number, judgement.status, doubts, goes_with)


def _with_cutters(choice: Choice, need: Need, lines: Sequence[Line]) -> Choice:
    """A drill beside the cutters that are at hand for it: doubtful where their pilot does not run under it."""
    doubts = [
        reason
        for line in lines
        if line.need.pilot_of == need.id
        for take in line.takes
        for judgement in (judge_item(line.need, take.line.facts, drilled=choice.facts.diameter),)
        if judgement.status == REFUSED
        for reason in judgement.reasons[:1]
    ]
    return replace(choice, status=DOUBTFUL, reasons=(*choice.reasons, *doubts)) if doubts else choice


@dataclass(frozen=True, slots=True)
class _Head:
    number: str
    owner: str
    site: str
    start: datetime
    end: datetime
    groups: tuple[HoleGroup, ...]
    label: str = ""  # whose holds are its own: a saved job's number
    barred: Mapping[str, Reason] = field(default_factory=dict)  # by the letter of the group
    accepted: Mapping[str, Accepted] = field(default_factory=dict)


def _head(request: JobRequest) -> _Head:
    return _Head(request.number, request.owner, request.site, request.start, request.end, request.groups)


# What each method says to a group, with those of its sizes that are planned by themselves.
_Answers = tuple[tuple[MethodPlan, tuple[Option, ...]], ...]


def _plan(heads: Sequence[_Head], *, as_of: datetime, every_size: bool, side_by_side: bool = True) -> list[JobPlan]:
    every_group = [group for head in heads for group in head.groups]
    sizes = families.sizes(inners={group.bolt.key for group in every_group})
    shop = limits.current()
    answers: dict[int, _Answers] = {}
    for head in heads:
        for group in head.groups:
            plans = consider(group, [size for size in sizes if size.inner == group.bolt], shop)
            if group.code in head.accepted:
                plans = _with_accepted(plans, head.accepted[group.code], group, sizes, shop)
            answers[id(group)] = tuple(
                (plan, _asked(plan, every_size=every_size) if side_by_side else ()) for plan in plans
            )
    options = [option for answer in answers.values() for _, asked in answer for option in asked]
    options += [option for group in every_group if (option := _picked(answers[id(group)], group))]
    labels = {head.label for head in heads if head.label}
    lying = Stock(_shelf([need for option in options for need in option.needs], labels, as_of))
    return [_plan_one(head, answers, lying, as_of=as_of) for head in heads]


def _picked(answer: _Answers, group: HoleGroup) -> Option | None:
    return pick(tuple(plan for plan, _ in answer), group.wished)


def _plan_one(head: _Head, answers: dict[int, _Answers], lying: Stock, *, as_of: datetime) -> JobPlan:
    shelf = Shelf(lying, head.label, settings.SHOP_ZONE)
    chosen = [_picked(answers[id(group)], group) for group in head.groups]
    lines = match([need for option in chosen if option for need in option.needs], shelf)
    by_group: dict[str, list[Line]] = {group.code: [] for group in head.groups}
    for line in lines:
        by_group[line.need.group].append(line)
    groups = tuple(
        GroupPlan(
            group=group,
            methods=tuple(_readiness(plan, asked, shelf) for plan, asked in answers[id(group)]),
            chosen=option,
            lines=tuple(by_group[group.code]),
            bars=_bars(head, group, option, as_of),
            accepted=head.accepted.get(group.code),
        )
        for group, option in zip(head.groups, chosen, strict=True)
    )
    return JobPlan(head.number, head.owner, head.site, head.start, head.end, as_of, groups)


def _with_accepted(
    plans: tuple[MethodPlan, ...], accepted: Accepted, group: HoleGroup, sizes: Sequence[Size], shop: Limits
) -> tuple[MethodPlan, ...]:
    """The answers, where the accepted size of its method is the one that is planned, if it still stands.

    A size that was ruled out stands where somebody answers by name for all that rules it out.
    """
    return tuple(
        _accepted_in(plan, accepted, group, sizes, shop) if plan.method == accepted.method else plan for plan in plans
    )


def _accepted_in(
    plan: MethodPlan, accepted: Accepted, group: HoleGroup, sizes: Sequence[Size], shop: Limits
) -> MethodPlan:
    option = next((each for each in plan.options if size_code(each.size) == accepted.code), None)
    answered = option and overrule(group, option, accepted.signed, sizes, shop)
    if not answered:
        return plan
    options = tuple(answered if each is option else each for each in plan.options)
    return replace(plan, options=options, chosen=answered, reasons=(), remedies=())


def _bars(head: _Head, group: HoleGroup, chosen: Option | None, as_of: datetime) -> tuple[Check, ...]:
    reasons = [head.barred[group.code]] if group.code in head.barred else []
    if group.end <= as_of:
        reasons.append(Reason("window_over", group=group.code, ended=group.end))
    accepted = head.accepted.get(group.code)
    if accepted is not None and (chosen is None or size_code(chosen.size) != accepted.code):
        family, outer, length = parted(accepted.code)
        reasons.append(
            Reason(
                "accepted_no_longer_stands",
                method=accepted.method,
                outer=outer.designation,
                length_nm=length,
                **({"family": family} if family else {}),
            )
        )
    return tuple(Check(DOUBTFUL, reason) for reason in reasons)


def _asked(plan: MethodPlan, *, every_size: bool) -> tuple[Option, ...]:
    """The sizes of a method that are planned by themselves, the chosen one first."""
    standing = [option for option in plan.options if not option.ruled_out and option is not plan.chosen]
    return ((plan.chosen,) if plan.chosen else ()) + (tuple(standing) if every_size else ())


def _readiness(plan: MethodPlan, asked: Sequence[Option], shelf: Shelf) -> MethodReadiness:
    return MethodReadiness(plan, tuple(SizePlan(option, match(option.needs, shelf)) for option in asked))


def _shelf(needs: Iterable[Need], labels: Collection[str], as_of: datetime) -> list[StockLine]:
    """Everything that could serve these needs or be taken for what serves them, on the shelf or in the jobs' hands."""
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
    return stock.lines(kinds=kinds, threads=wanted | near, diameters=windows, labels=labels, as_of=as_of)


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
        damage=row.damage,
        bore=row.bore,
        off_axis=row.off_axis,
        grade=row.grade,
        alloy=row.alloy,
        tensile=row.tensile,
        shear=row.shear,
        reach=row.reach,
        fixture=part.fixture,
        hand=part.hand,
        safety=part.safety,
        part=str(part),
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
        part = _part(request.owner, part_request)
        for value, typed in part_request.groups:
            _create_group(job, part, value, typed)
    return job


def _part(owner: str, asked: PartRequest) -> Part:
    """The part of this owner, name and serial number where it was here before, else a new one.

    Without a serial number nobody can say that it is the same. What is told of it now is what is known of it now;
    what is left out stays as it was.
    """
    told = {key: value for key in ("drawing", "fixture", "hand", "safety") if (value := getattr(asked, key))}
    if asked.serial:
        same = Part.objects.filter(owner__iexact=owner, name__iexact=asked.name, serial__iexact=asked.serial)
        part = same.order_by("id").first()
        if part is not None:
            for key, value in told.items():
                setattr(part, key, value)
            part.save(update_fields=list(told))
            return part
    return Part.objects.create(owner=owner, name=asked.name, serial=asked.serial, **told)


def _not_to_be_repaired(part: Part, position: Position) -> Reason:
    return Reason("position_not_to_be_repaired", part=part.name, label=position.label)


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
        damage=value.damage,
        bore=value.bore,
        off_axis=value.off_axis,
        grade=value.grade,
        alloy=value.alloy,
        tensile=value.tensile,
        shear=value.shear,
        reach=value.reach,
        wished=value.wished,
        start=value.start if own_window else None,
        end=value.end if own_window else None,
        typed=typed,
    )
    # Some are known of the part from before, and another job of the same part may be saved at this moment.
    new = (Position(part=part, label=label) for label in value.positions)
    Position.objects.bulk_create(new, ignore_conflicts=True)
    positions = {each.label: each for each in Position.objects.filter(part=part, label__in=value.positions)}
    for label in value.positions:
        if positions[label].may_not_be_repaired:
            raise Refused(_not_to_be_repaired(part, positions[label]))
    Hole.objects.bulk_create(Hole(group=row, position=positions[label]) for label in value.positions)
    return row


class PlanMoved(Refused):
    """What was shown is no longer so; `reasons` says what changed, line by line, `reason` that something did."""

    def __init__(self, number: str, reasons: Sequence[Reason]) -> None:
        moved = sum(reason.code == "line_moved" for reason in reasons)  # after each stands why, where it is no match
        super().__init__(Reason("plan_moved", number=number, count=moved))
        self.reasons = tuple(reasons)


def shown(plan: JobPlan) -> str:
    """What a page or program was shown of a plan, as a text that it posts back when it books.

    Per group the size that is planned and its checks, per line its status and what is taken for it: short, and
    enough to say afterwards what changed. It holds no more than whoever posts it has seen.
    """
    lines = [[*key, *value] for key, value in _shown(plan).items()]
    return json.dumps(lines, separators=(",", ":"), ensure_ascii=False)


def _shown(plan: JobPlan) -> dict[tuple[str, str], tuple[str, list[str]]]:
    found: dict[tuple[str, str], tuple[str, list[str]]] = {}
    for group in plan.groups:
        statuses = "".join(sorted(f"{check.status} {check.reason};" for check in group.checks))
        told = f"{group.chosen.size if group.chosen else ''} {statuses}"
        method = group.chosen.method if group.chosen else "none_stands"
        found[group.group.code, hashlib.sha256(told.encode()).hexdigest()[:12]] = (method, [])
        for line in group.lines:
            asked = hashlib.sha256(repr(line.need).encode()).hexdigest()[:12]
            taken = [_thing(take.line) for take in line.takes]
            found[line.need.id, asked] = (line.status, sorted(taken))
    return found


def _thing(line: StockLine) -> str:
    return line.tag or f"{line.facts.name}, {line.bin}"


def _moved(before: str, plan: JobPlan) -> list[Reason]:
    """What is different now from what was shown, one reason a line; nothing where all is the same."""
    try:
        told = json.loads(before)
        json.dumps(told, ensure_ascii=False).encode()  # half of a pair of surrogates is no text that can be told again
        was = {(str(need), str(asked)): (str(word), [str(tag) for tag in tags]) for need, asked, word, tags in told}
    except (ValueError, TypeError, RecursionError) as error:
        raise Refused(Reason("shown_unreadable")) from error
    now = _shown(plan)
    if was == now:
        return []
    lines = {line.need.id: line for line in plan.lines}
    was_of = {need: value for (need, _), value in was.items()}
    now_of = {need: value for (need, _), value in now.items()}
    changed = {need for need, _ in was.keys() ^ now.keys()} | {
        key[0] for key in was.keys() & now.keys() if was[key] != now[key]
    }
    reasons = []
    for need in [each for each in dict.fromkeys((*now_of, *was_of)) if each in changed]:
        (old, old_tags), (new, new_tags) = was_of.get(need, ("", [])), now_of.get(need, ("", []))
        line = lines.get(need)
        reasons.append(
            Reason(
                "line_moved",
                need=need,
                kind=line.need.kind if line else "",
                was=old,
                was_tags=tuple(old_tags),
                now=new,
                now_tags=tuple(new_tags),
            )
        )
        if line is not None and line.status != MATCH:
            reasons += line.reasons
    return reasons


@transaction.atomic
def book(job: Job, *, by: str, as_of: datetime, seen: str | None = None, request_key: str | None = None) -> Job:
    """Hold every matched line of the job's plan for its window, all or nothing.

    `seen` is what `shown` made of the plan that was looked at: where the shelf, the job or a limit moved since,
    nothing is held. Without it the plan of this moment counts. What is taken is locked, and planned again under
    the locks, so that dates, places and limits are judged by what is true when it is held.
    The same `request_key` answers with the job as it was booked then. Raises `PlanMoved` with what changed,
    `ReservationRefused`, and `Refused` with job_already_booked, job_not_open, window_over,
    position_not_to_be_repaired, shown_unreadable, and released_since: what this request had reserved was let go.
    """
    job.refresh_from_db(from_queryset=Job.objects.select_for_update())  # somebody else may have booked it since
    if job.reservation is not None and job.reservation.state == "active":
        if request_key is not None and job.reservation.request_key == request_key:
            return job
        raise Refused(Reason("job_already_booked", number=job.number, by=job.reservation.by, at=job.reservation.at))
    if job.state not in OPEN:
        raise _not_open(job)
    plan = plan_job(job, as_of=as_of, every_size=False)
    if seen is not None and (changed := _moved(seen, plan)):
        raise PlanMoved(job.number, changed)
    for group in plan.groups:
        for check in group.bars:
            raise Refused(check.reason)
    units, batches = _wishes(plan, job.number)
    reservations.lock(units=[unit for unit, *_ in units], batches=[batch for batch, _ in batches])
    under_lock = plan_job(job, as_of=as_of, every_size=False)
    if changed := _moved(shown(plan), under_lock):
        raise PlanMoved(job.number, changed)
    reservation = reservations.reserve(
        label=job.number,
        link=f"/jobs/{quote(job.number)}/",
        unit_holds=units,
        batch_holds=batches,
        by=by,
        as_of=as_of,
        request_key=request_key,
    )
    if reservation.state != "active":
        raise Refused(Reason("released_since", number=job.number, by=reservation.released_by))
    job.reservation = reservation
    job.state = "booked" if job.state == "planned" else job.state
    job.save(update_fields=["reservation", "state"])
    Kit.objects.create(job=job, at=as_of, asked=len(under_lock.lines), filled=under_lock.count(MATCH))
    return job


def _wishes(plan: JobPlan, label: str) -> tuple[list[tuple[int, datetime, datetime, int]], list[tuple[int, int]]]:
    """What the matched lines take: units in their windows with the life the holes take, quantities of batches less what
    the label has in hand of them already."""
    windows: dict[int, list[tuple[datetime, datetime, str, int]]] = defaultdict(list)
    lying: dict[int, StockLine] = {}
    batches: dict[int, int] = defaultdict(int)
    out: dict[int, int] = {}
    for line in plan.lines:
        if line.status != MATCH:
            continue
        for take in line.takes:
            if take.line.unit is not None:
                windows[take.line.unit].append((line.need.start, line.need.end, line.need.material, take.holes))
                lying[take.line.unit] = take.line
            elif take.line.batch is not None:
                shared = KINDS[line.need.kind].shared
                out[take.line.batch] = sum(hold.in_hand for hold in take.line.holds if hold.label == label)
                batches[take.line.batch] = 1 if shared else batches[take.line.batch] + take.quantity
    units = []
    for unit, wanted in windows.items():
        start, end, held = None, None, 0
        holes: dict[str, int] = defaultdict(int)  # rounded up once over all windows: what a window adds is held in it
        for next_start, next_end, material, next_holes in sorted(wanted):
            if end is not None and start is not None and next_start >= end:
                units.append((unit, start, end, life_of(lying[unit], holes) - held))
                start, end, held = None, None, life_of(lying[unit], holes)
            start = next_start if start is None else start
            end = next_end if end is None else max(end, next_end)
            holes[material] += next_holes
        if start is not None and end is not None:
            units.append((unit, start, end, life_of(lying[unit], holes) - held))
    wanted_of = {batch: quantity - out[batch] for batch, quantity in batches.items()}
    return units, [(batch, quantity) for batch, quantity in wanted_of.items() if quantity > 0]


@transaction.atomic
def release(job: Job, *, by: str, as_of: datetime, request_key: str | None = None) -> Job:
    """Let go of everything that the job has reserved; a job that was only booked is planned again.

    A repeated `request_key` is answered as the first time and never touches what was reserved since; so a request
    with a key that finds nothing to let go is refused, and its key stays unused. Without a key doing so again
    changes nothing. Raises `Refused` with job_not_booked, request_key_reused.
    """
    job.refresh_from_db(from_queryset=Job.objects.select_for_update())
    if request_key is not None and reservations.released_by_request(request_key, job.number) is not None:
        return job
    over = job.reservation is None or (job.reservation.state == "released" and request_key is not None)
    if job.reservation is None or over:
        raise Refused(Reason("job_not_booked", number=job.number))
    reservations.release(reservation=job.reservation, by=by, as_of=as_of, request_key=request_key)
    if job.state == "booked":
        job.state = "planned"
        job.save(update_fields=["state"])
    return job


def size_code(size: Size) -> str:
    """A size in one word that a page or program sends back: family and edition, if any, outer thread, length in nm."""
    family = size.family_key if size.inserted else ""
    return f"{family}:{size.outer.key}:{size.length}"


def parted(code: str) -> tuple[str, Thread, int]:
    """What `size_code` put together: family and edition, outer thread, length in nm. An edition may have a colon."""
    family, outer, length = code.rsplit(":", 2)
    return family, Thread.from_key(outer), int(length)


@transaction.atomic
def accept(
    job: Job,
    *,
    group: str,
    method: str,
    size: str,
    by: str,
    as_of: datetime,
    answers: str = "",
    why: str = "",
) -> Job:
    """Accept a method and size (`size_code`) for one hole group; an empty method takes the acceptance back.

    Where a check of that size is doubtful or ruled out, somebody answers for it: `answers` is his name, `why` his
    reason, and both are kept with what they are for. Raises `Refused` with group_unknown, method_unknown,
    size_unknown, overrule_needs_a_reason, not_to_be_overruled, and job_already_booked, since what is reserved
    belongs to what was accepted before.
    """
    job.refresh_from_db(from_queryset=Job.objects.select_for_update())
    if job.state not in OPEN:
        raise _not_open(job)
    if job.reservation is not None and job.reservation.state == "active":
        raise Refused(Reason("job_already_booked", number=job.number, by=job.reservation.by, at=job.reservation.at))
    row = job.groups.filter(code=group).first()
    if row is None:
        raise Refused(Reason("group_unknown", group=group, number=job.number))
    row.accepted, row.accepted_code, row.accepted_size, row.accepted_by, row.accepted_at = "", "", None, "", None
    row.overruled, row.overruled_by, row.overruled_why = [], "", ""
    if method:
        option = _option_of(row, method, size)
        answers, why = answers.strip(), why.strip()
        if option.impossible is not None:
            raise Refused(Reason("not_to_be_overruled", why=option.impossible.reason))
        if option.wants_a_name:
            if not answers or not why:
                raise Refused(Reason("overrule_needs_a_reason"))
            row.overruled = sorted({check.seal for check in option.wants_a_name})
            row.overruled_by, row.overruled_why = answers, why
        row.accepted, row.accepted_code, row.accepted_by, row.accepted_at = method, size, by, as_of
        row.accepted_size = families.row_of(option.size) if option.size.inserted else None
    row.save()
    return job


def _option_of(row: HoleGroupRow, method: str, size: str) -> Option:
    answer = next((each for each in considered([_value(row)])[0].methods if each.method == method), None)
    if answer is None:
        raise Refused(Reason("method_unknown", method=method))
    option = next((each for each in answer.options if size_code(each.size) == size), None)
    if option is None:
        raise Refused(Reason("size_unknown", size=size, method=method))
    return option


@dataclass(frozen=True, slots=True)
class Considered:
    """What the methods say to one hole group, which of their sizes is picked, and the limits they were judged by."""

    group: HoleGroup
    methods: tuple[MethodPlan, ...]
    chosen: Option | None
    limits: Limits


def considered(groups: Sequence[HoleGroup]) -> list[Considered]:
    """What would be picked for each of these holes, saved or not; the shelf is not asked. Two queries in all."""
    if not groups:
        return []
    sizes, shop = families.sizes(inners={group.bolt.key for group in groups}), limits.current()
    answers = [(group, consider(group, [size for size in sizes if size.inner == group.bolt], shop)) for group in groups]
    return [Considered(group, methods, pick(methods, group.wished), shop) for group, methods in answers]
