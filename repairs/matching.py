"""Needs against the shelf: match, gap or doubtful, line by line, with the reason and its numbers. PURE.

`judge` weighs one need against one stock line, whatever else the job takes. `match` decides for a whole job
at once, since units are shared: one unit may serve several steps and hole groups and its life is spent
once.

The best answer, in this order: fewest gaps; fewest doubtful lines; fewest stock lines; least life wasted
(what is left in the used units after the job, so the worn one that still suffices); least walking (walk
numbers of the bins, each bin once); the used tags in order. A solution that stands on a shelf still stands
when something is added to it, so more stock never raises the number of gaps; and the stock is put in order
first, so the order of its rows never shows.

What a need takes: a thing that is cut with gives `holes` of its life (a life that is not kept has no end),
a consumable gives `quantity`. A shared pack, a quantity of 0 and everything else takes nothing, but of a
batch at least one must be there. A need is served whole or is a gap. Several units serve one need only
where `split` says so; batches always may. A cutter that names `pilot_of` runs in the hole of the drill
taken for that need, so all drills taken for it are of one diameter. Where that need is left a gap, the
pilot is judged by the window and the cutter is doubtful.

How it is found. Needs that share candidates, or a pilot, form one knot; each knot is solved by itself:

1. Each need is clean, doubtful or a gap, and a drill that guides a pilot has a diameter. A set of such
   answers stands if the life suffices, which is a flow from needs to lines. Branch and bound over the
   answers gives the fewest gaps and doubtful lines with the whole shelf.
2. Sets of stock lines are tried by size, smallest first, until one gives the same gaps and doubtful lines.
   A set must hit the candidates of every need that is served, which cuts nearly all of them off. All sets
   of that size are kept that waste the least life.
3. Of what each knot has left to choose, the bins are joined over the whole job: least walking, then tags.

Steps 1 and 2 have a budget (`NODES` a knot), step 3 another. Within it the answer is the exact optimum.
Beyond it, which takes dozens of interchangeable units of nearly used-up life in one knot: gaps and doubtful
lines are the fewest found, proven only if they equal the lower bound of step 1; the set of lines is thinned
one by one, so that none of it can be spared, but a smaller one may exist; waste, walking and tags are then
not proven. Needs are never violated, and the answer stays the same for the same needs and stock.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache
from itertools import accumulate, pairwise, product
from typing import Any

from inventory.errors import Reason
from inventory.kinds import KINDS, StockLine
from inventory.quantities import to_mm
from inventory.threads import Thread, ThreadError, look_alikes, percent_of_thread
from repairs.methods.values import DOUBTFUL, GAP, MATCH, Need, Window

REFUSED = "refused"
NEAR_DIAMETER = 600_000  # nm outside its window up to which a tool is still named; common practice, no source
NEAREST = 5  # near misses named for a gap
ANSWERS = 40_000  # steps of the search for the fewest gaps and doubtful lines in one knot
SETS = 6_000  # steps of the search for the fewest stock lines in one knot, before it is thinned instead
WALKS = 20_000  # steps of the search for the least walking in one job

_NOTE, _DOUBT, _REFUSAL = range(3)
_FAR = frozenset({"other_kind", "other_thread", "other_name", "look_alike"})
_TICK = timedelta(microseconds=1)

_Found = tuple[int, Reason]  # how much a reason weighs, and the reason


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one stock line is worth for one need: "match", "doubtful" or "refused", with every reason.

    Of a refused line the refusals stand first, then what would have been doubtful; of a doubtful one the
    doubts, then notes; of a match only notes, such as where it lies in the window.
    """

    status: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Take:
    """What is taken from one stock line: holes of a unit's life or a quantity of a batch (0: its use)."""

    line: StockLine
    holes: int
    quantity: int
    status: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class NearMiss:
    """A stock line that comes near a need and why it is not taken."""

    line: StockLine
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One need's answer: "match", "doubtful" or "gap", what is taken, and why.

    `reasons` of a gap say what it comes from (none owned, all held, too little left, none that does); of a
    doubtful line what somebody must sign for. `near` names for a gap what comes nearest, best first.
    `look_alikes` names, on match and gap alike, what lies in the bins and must not be taken for it.
    """

    need: Need
    status: str
    takes: tuple[Take, ...] = ()
    reasons: tuple[Reason, ...] = ()
    near: tuple[NearMiss, ...] = ()
    look_alikes: tuple[Reason, ...] = ()


# --- one need, one line ------------------------------------------------------------------------------------


def judge(
    need: Need,
    line: StockLine,
    *,
    label: str = "",
    drilled: int | Window | None = None,
    zone: tzinfo = UTC,
) -> Judgement:
    """Weigh one stock line against one need and give all reasons, not just the first. Raises nothing.

    `label` is the job's own label: its own holds do not stand in its way and their life and quantity count as
    left. `drilled` is the diameter in nm of the drill that guides a cutter's pilot, or the window of a drill
    that is still a gap; None judges no pilot. Dates count in `zone`, the shop's own. A split need is not
    refused because one unit alone does not suffice. Which limits apply is the need's business; that a date
    equal to the window's last day is good is common practice, no source.

    >>> from datetime import datetime
    >>> from inventory.kinds import Facts, StockLine
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need = Need("A.drill", "A", "drill", "drill", start, end, "", diameter=Window(14_376_000, 14_676_000))
    >>> drill = Facts(item=1, kind="drill", diameter=14_700_000, usable_length=120_000_000)
    >>> judgement = judge(need, StockLine("D-31", drill, "Main", "B4", unit=1))
    >>> judgement.status, judgement.reasons[0].code, judgement.reasons[0]["by_nm"]
    ('refused', 'diameter_over', 24000)
    """
    found = [*_measured(need, line), *_fit_for_use(need, line, label, zone)]
    if drilled is not None and _guided(need) and line.facts.pilot is not None:
        found.append(_pilot(need, line.facts.pilot, drilled))
    found += _sufficient(need, line, label)
    return _judgement(found)


def _judgement(found: Sequence[_Found]) -> Judgement:
    worst = max((weight for weight, _ in found), default=_NOTE)
    told = sorted((item for item in found if worst < _REFUSAL or item[0] > _NOTE), key=lambda item: -item[0])
    return Judgement((MATCH, DOUBTFUL, REFUSED)[worst], tuple(reason for _, reason in told))


def _guided(need: Need) -> bool:
    return bool(need.pilot_of) and need.pilot_under is not None


def _asked(need: Need) -> Iterator[str]:
    """The measurements without which nothing can be matched to this need."""
    for name, wanted in (
        ("thread", need.thread),
        ("thread_class", need.classes),
        ("inner", need.inner),
        ("diameter", need.diameter),
        ("pilot", _guided(need)),
        ("usable_length", need.reach is not None),
        ("lead", need.lead),
        ("flute", need.flutes),
        ("action", need.action),
        ("insert_length", need.length is not None),
        ("family", need.family),
        ("name", need.name),
        ("hand", need.hand),
        ("torque_min", need.torque is not None),
        ("torque_max", need.torque is not None),
    ):
        if wanted:
            yield name


def _measured(need: Need, line: StockLine) -> Iterator[_Found]:
    """What the catalogue's measurements say."""
    facts = line.facts
    if facts.kind != need.kind:
        yield _REFUSAL, Reason("other_kind", kind=facts.kind, wanted=need.kind)
        return
    missing = {name for name in _asked(need) if getattr(facts, name) in (None, "")}
    for name in sorted(missing):
        yield _REFUSAL, Reason("measurement_missing", measurement=name)
    if need.thread and facts.thread and facts.thread != need.thread:
        yield _REFUSAL, _other_thread(need.thread, line, facts.thread)
    if need.inner and facts.inner and facts.inner != need.inner:
        other = _other_thread(need.inner, line, facts.inner)
        yield (
            _REFUSAL,
            other
            if other.code != "other_thread"
            else Reason("wrong_inner", inner=other["thread"], wanted=other["wanted"]),
        )
    if need.classes and facts.thread_class and facts.thread_class not in need.classes:
        yield _REFUSAL, Reason("wrong_class", thread_class=facts.thread_class, wanted=need.classes)
    if need.diameter and facts.diameter is not None:
        yield _in_window(need, need.diameter, facts.diameter)
    usable, reach = facts.usable_length, need.reach
    if reach is not None and usable is not None and usable < reach:
        yield _REFUSAL, Reason("too_short", usable_nm=usable, needed_nm=reach, by_nm=reach - usable)
    if need.lead and facts.lead is not None and facts.lead > need.lead.match:
        if facts.lead > need.lead.doubt:
            yield _REFUSAL, Reason("lead_too_long", lead=_tenths(facts.lead), most=_tenths(need.lead.match))
        else:
            yield _DOUBT, Reason("lead_only_just", lead=_tenths(facts.lead), most=_tenths(need.lead.match))
    if need.flutes and facts.flute and facts.flute not in need.flutes:
        if facts.flute == "point":
            yield _REFUSAL, Reason("flute_needs_through", wanted=need.flutes)
        else:
            yield _REFUSAL, Reason("wrong_flute", flute=facts.flute, wanted=need.flutes)
    if need.action and facts.action and facts.action != need.action:
        yield _REFUSAL, Reason("forming_tap") if facts.action == "form" else Reason("cutting_tap")
    if need.length is not None and facts.insert_length is not None and facts.insert_length != need.length:
        yield _REFUSAL, Reason("wrong_length", length_nm=facts.insert_length, wanted_nm=need.length)
    if need.family and facts.family and facts.family != need.family:
        same = facts.family.rpartition("/")[0] == need.family.rpartition("/")[0] != ""
        yield (
            _REFUSAL,
            Reason("wrong_edition" if same else "wrong_family", family=facts.family, wanted=need.family),
        )
    if need.name and facts.name and facts.name.casefold().split() != need.name.casefold().split():
        yield _REFUSAL, Reason("other_name", name=facts.name, wanted=need.name)
    if need.hand and facts.hand and facts.hand != need.hand:
        yield _REFUSAL, Reason("fixture_hand", hand=facts.hand, wanted=need.hand)
    least, most = facts.torque_min, facts.torque_max
    if need.torque is not None and least is not None and most is not None and not least <= need.torque <= most:
        yield _REFUSAL, Reason("torque_range", least_nmm=least, most_nmm=most, needed_nmm=need.torque)


def _tenths(lead: int) -> str:
    """A lead in tenths of a thread as people write it: 35 is "3.5"."""
    return str(Decimal(lead) / 10)


def _in_window(need: Need, window: Window, diameter: int) -> _Found:
    sizes: dict[str, Any] = {"diameter_nm": diameter, "least_nm": window.least, "most_nm": window.most}
    if need.hole_thread:
        percent = percent_of_thread(Thread.from_key(need.hole_thread), to_mm(diameter), "5/8H")
        sizes |= {"percent": str(percent.quantize(Decimal("0.1"), ROUND_HALF_EVEN)), "basis": "5/8 H"}
    if diameter < window.least:
        return _REFUSAL, Reason("diameter_under", **sizes, by_nm=window.least - diameter)
    if diameter > window.most:
        return _REFUSAL, Reason("diameter_over", **sizes, by_nm=diameter - window.most)
    if need.doubt_above is not None and diameter > need.doubt_above:
        return _DOUBT, Reason("top_of_window", **sizes, above_nm=need.doubt_above, by_nm=window.most - diameter)
    span = window.most - window.least
    share = Decimal(100 * (diameter - window.least)) / span if span else Decimal(0)
    return _NOTE, Reason("in_window", **sizes, position=str(share.quantize(Decimal("0.1"), ROUND_HALF_EVEN)))


def _other_thread(wanted: str, line: StockLine, found: str) -> Reason:
    """Why a thread is not the wanted one: of the other hand, a look-alike, or simply another."""
    code, data = _compared(wanted, found)
    if code == "look_alike":
        return Reason("look_alike", tag=line.tag, bin=line.bin, site=line.site, **data)
    if code == "wrong_hand":
        return Reason("wrong_hand", **data)
    return Reason("other_thread", **data)


@lru_cache(maxsize=20_000)
def _compared(wanted: str, found: str) -> tuple[str, dict[str, Any]]:
    try:
        thread, other = Thread.from_key(wanted), Thread.from_key(found)
    except ThreadError:
        return "other_thread", {"thread": found, "wanted": wanted}
    data: dict[str, Any] = {"thread": other.designation, "wanted": thread.designation}
    if other == thread.mirrored():
        return "wrong_hand", data
    for alike in look_alikes(thread, [other]):
        turns = alike.turns_to_quarter_pitch
        data["diameter_difference_nm"] = int((alike.diameter_difference_mm * 1_000_000).to_integral_value())
        data["pitch_difference_nm"] = int((alike.pitch_difference_mm * 1_000_000).to_integral_value())
        data["angle_difference"] = str(alike.angle_difference)
        data["turns"] = "" if turns is None else str(turns)
        return "look_alike", data
    return "other_thread", data


def _last_day(need: Need, zone: tzinfo) -> date:
    """The last day of the need's half-open window, as the shop counts days."""
    return max(need.start, need.end - _TICK).astimezone(zone).date()


def _fit_for_use(need: Need, line: StockLine, label: str, zone: tzinfo) -> Iterator[_Found]:
    """Where it is, in what state, whose and how long its dates are good."""
    if need.site and line.site != need.site:
        yield _REFUSAL, Reason("other_site", site=line.site, wanted=need.site)
    if line.condition == "due_regrind":
        yield _REFUSAL, Reason("due_regrind")
    elif line.condition in ("lost", "retired"):
        yield _REFUSAL, Reason("gone", condition=line.condition)
    if line.condition == "away" or line.away_why:
        if line.away_until is None:
            yield _REFUSAL, Reason("away_open", why=line.away_why)
        elif line.away_until >= need.start.astimezone(zone).date():
            yield _REFUSAL, Reason("away", why=line.away_why, until=line.away_until)
        else:
            yield _NOTE, Reason("back_in_time", why=line.away_why, until=line.away_until)
    if line.batch is None:
        for hold in line.holds:
            if not _own(hold.label, label) and _overlaps(hold.start, hold.end, need.start, need.end):
                yield _REFUSAL, _held(hold.label, hold.start, hold.end)
    last_day = _last_day(need, zone)
    if line.calibration_due is not None:
        if line.calibration_due < last_day:
            yield _REFUSAL, Reason("out_of_calibration", due=line.calibration_due, needed_until=last_day)
    elif KINDS[line.facts.kind].calibrated:
        yield _DOUBT, Reason("calibration_missing")
    if line.expires is not None and line.expires < last_day:
        yield _REFUSAL, Reason("expired", expires=line.expires, needed_until=last_day)


def _own(label: str, own: str) -> bool:
    return bool(own) and label == own


def _overlaps(start: datetime | None, end: datetime | None, since: datetime, until: datetime) -> bool:
    return (start is None or start < until) and (end is None or end > since)


def _held(label: str, start: datetime | None, end: datetime | None) -> Reason:
    if end is None:
        return Reason("held_open", label=label)
    return Reason("held", label=label, start=start, end=end) if start else Reason("held_until", label=label, end=end)


def _pilot(need: Need, pilot: int, drilled: int | Window) -> _Found:
    """Whether a pilot fits just under the drill, or could under one of a window."""
    under = need.pilot_under or Window(0, 0)
    if isinstance(drilled, Window):
        fitting = Window(drilled.least - under.most, drilled.most - under.least)
        sizes = {"pilot_nm": pilot, "least_nm": fitting.least, "most_nm": fitting.most}
        if pilot in fitting:
            return _DOUBT, Reason("pilot_unjudged", **sizes)
        return _REFUSAL, Reason("pilot_not_under_window", **sizes)
    fitting = Window(drilled - under.most, drilled - under.least)
    if pilot in fitting:
        return _NOTE, Reason("pilot_fits", pilot_nm=pilot, drill_nm=drilled, under_nm=drilled - pilot)
    return (
        _REFUSAL,
        Reason(
            "pilot_not_under_drill",
            pilot_nm=pilot,
            drill_nm=drilled,
            least_nm=fitting.least,
            most_nm=fitting.most,
        ),
    )


def _demand(need: Need) -> int:
    """What the need takes away: holes of life, or a quantity of a consumable that is not a shared pack."""
    kind = KINDS[need.kind]
    if kind.shared:
        return 0
    return need.quantity if kind.counted else need.holes


def _may_split(need: Need) -> bool:
    return need.split or KINDS[need.kind].counted


def _on_shelf(line: StockLine, label: str) -> int:
    """How much of a batch the job may have, its own holds given back; 1 for a unit."""
    if line.batch is None:
        return 1
    return line.available + sum(hold.quantity for hold in line.holds if _own(hold.label, label))


def _room(line: StockLine, label: str) -> int | None:
    """How much the job may take from a line before it is used up; None without end."""
    kind = KINDS[line.facts.kind]
    if kind.shared:
        return None
    if kind.counted:
        return max(0, _on_shelf(line, label))
    if line.life_left is None:
        return None
    return max(0, line.life_left + sum(hold.holes for hold in line.holds if _own(hold.label, label)))


def _sufficient(need: Need, line: StockLine, label: str) -> Iterator[_Found]:
    """Whether enough is left; at least something where several may share."""
    if line.facts.kind != need.kind:
        return
    demand, room = _demand(need), _room(line, label)
    if line.batch is not None and _on_shelf(line, label) < 1:
        yield _REFUSAL, _short(line, label, 0, max(1, demand))
    elif demand and room is not None and room < (1 if _may_split(need) else demand):
        yield _REFUSAL, _short(line, label, room, demand)


def _short(line: StockLine, label: str, left: int, needed: int) -> Reason:
    if line.batch is None:
        return Reason("life_short", tag=line.tag, left=left, needed=needed)
    holders = {hold.label for hold in line.holds if hold.quantity and not _own(hold.label, label)}
    if not holders:
        return Reason("quantity_short", available=left, on_hand=line.on_hand, needed=needed)
    return Reason("quantity_held", available=left, on_hand=line.on_hand, needed=needed, labels=tuple(sorted(holders)))


# --- the whole job -----------------------------------------------------------------------------------------


def match(
    needs: Sequence[Need], stock: Sequence[StockLine], *, label: str = "", zone: tzinfo = UTC
) -> tuple[Line, ...]:
    """Decide for all needs of a job at once what is taken for each, in the order of the needs.

    The objective, what counts as served and what is guaranteed stand at the head of this room. `label` and
    `zone` as in `judge`. Raises ValueError for two needs of one id, or a pilot whose drill has one itself.

    >>> from datetime import datetime
    >>> from inventory.kinds import Facts, StockLine
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need = Need("A.drill", "A", "drill", "drill", start, end, "", diameter=Window(14_376_000, 14_676_000),
    ...             holes=8, split=True)
    >>> drill = Facts(item=1, kind="drill", diameter=14_500_000, usable_length=120_000_000, life=60)
    >>> worn = StockLine("D-30", drill, "Main", "B4", unit=1, life_left=9)
    >>> fresh = StockLine("D-31", drill, "Main", "B4", unit=2, life_left=60)
    >>> [(line.status, [take.line.tag for take in line.takes]) for line in match([need], [fresh, worn])]
    [('match', ['D-30'])]
    >>> match([need], [])[0].reasons[0].code
    'none_owned'
    """
    plan = _Plan(needs, _Shelf(stock, label, zone))
    knots = [_Knot(plan, groups) for groups in plan.knots()]
    choices = [knot.best() for knot in knots]
    walks = _least_walking([[choice.use for choice in several] for several in choices])
    for knot, several, walk in zip(knots, choices, walks, strict=True):
        knot.hand_out(several[walk])
    return tuple(plan.line(index) for index in range(len(needs)))


def _order(line: StockLine) -> tuple[Any, ...]:
    """Tags in order; what shares a tag, as batches without a lot do, by what it is."""
    return (line.tag, line.unit is None, line.unit or line.batch or 0, line.site, line.bin, line.facts.item)


def _bits(mask: int) -> Iterator[int]:
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


class _Shelf:
    """The stock in order, with every judgement kept: needs that ask the same are judged once."""

    def __init__(self, stock: Sequence[StockLine], label: str, zone: tzinfo) -> None:
        self.lines = sorted(stock, key=_order)
        self.label, self.zone = label, zone
        self.rooms = [_room(line, label) for line in self.lines]
        self.of_kind: dict[str, list[int]] = defaultdict(list)
        self.of_thread: dict[tuple[str, str], list[int]] = defaultdict(list)
        for index, line in enumerate(self.lines):
            self.of_kind[line.facts.kind].append(index)
            if line.facts.thread:
                self.of_thread[line.facts.kind, line.facts.thread].append(index)
        self._judged: dict[tuple[tuple[Any, ...], int], list[_Found]] = {}
        self._candidates: dict[tuple[Any, ...], tuple[int, ...]] = {}
        self._alike: dict[tuple[str, str | None, str | None], tuple[Reason, ...]] = {}

    @staticmethod
    def _question(need: Need) -> tuple[Any, ...]:
        """All that a judgement reads of a need, but for how much it takes and which drill guides it."""
        return (
            need.kind, need.start, need.end, need.site, need.thread, need.classes, need.inner, need.family,
            need.length, need.diameter, need.doubt_above, _guided(need), need.reach, need.lead, need.flutes,
            need.action, need.hand, need.name, need.torque,
        )  # fmt: skip

    def judged(self, need: Need, index: int) -> list[_Found]:
        """What is found of one line for this need, before pilot and quantity."""
        key = (self._question(need), index)
        found = self._judged.get(key)
        if found is None:
            line = self.lines[index]
            found = [*_measured(need, line), *_fit_for_use(need, line, self.label, self.zone)]
            self._judged[key] = found
        return found

    def candidates(self, need: Need) -> tuple[int, ...]:
        """The lines that nothing refuses, before pilot and quantity, in order."""
        key = self._question(need)
        found = self._candidates.get(key)
        if found is None:
            asked = self.of_thread.get((need.kind, need.thread), ()) if need.thread else self.of_kind[need.kind]
            found = tuple(
                index
                for index in asked
                if (
                    need.diameter is None
                    or ((size := self.lines[index].facts.diameter) is not None and size in need.diameter)
                )
                and all(weight < _REFUSAL for weight, _ in self.judged(need, index))
            )
            self._candidates[key] = found
        return found

    def look_alikes(self, need: Need) -> tuple[Reason, ...]:
        """Everything of the need's kind that starts like it and must not be taken for it."""
        if not need.thread and not need.inner:
            return ()
        key = (need.kind, need.thread, need.inner)
        found = self._alike.get(key)
        if found is None:
            lines = (self.lines[index] for index in self.of_kind[need.kind])
            others = (
                _other_thread(wanted, line, carried)
                for line in lines
                for wanted, carried in ((need.thread, line.facts.thread), (need.inner, line.facts.inner))
                if wanted and carried and wanted != carried
            )
            found = tuple(dict.fromkeys(other for other in others if other.code == "look_alike"))
            self._alike[key] = found
        return found


_Group = tuple[int, ...]  # indexes of needs decided together: one need, or a drill and the cutters it guides


class _Plan:
    """The needs of a job, what could serve each, and in the end what does."""

    def __init__(self, needs: Sequence[Need], shelf: _Shelf) -> None:
        self.needs, self.shelf = needs, shelf
        where = {need.id: index for index, need in enumerate(needs)}
        if len(where) < len(needs):
            raise ValueError("two needs of one id")
        self.drill_of = {
            index: where[need.pilot_of] for index, need in enumerate(needs) if _guided(need) and need.pilot_of in where
        }
        if any(drill in self.drill_of for drill in self.drill_of.values()):
            raise ValueError("the drill that guides a pilot cannot have a pilot itself")
        self.edges = [self._edges(need) for need in needs]
        self.taken: list[list[tuple[int, int]]] = [[] for _ in needs]
        self.drilled: dict[int, int | Window] = {}  # of a guided cutter: the hole it runs in
        self.spent: dict[int, int] = defaultdict(int)  # what the job takes, by stock line

    def _edges(self, need: Need) -> dict[int, bool]:
        """The lines that may serve, and whether without doubt."""
        demand, shelf = _demand(need), self.shelf
        least = 1 if _may_split(need) else demand
        loose = _guided(need) and need.pilot_of not in {other.id for other in self.needs}
        edges = {}
        for index in shelf.candidates(need):
            line, room = shelf.lines[index], shelf.rooms[index]
            if demand and room is not None and room < least:
                continue
            if line.batch is not None and _on_shelf(line, shelf.label) < 1:
                continue
            edges[index] = not loose and all(weight < _DOUBT for weight, _ in shelf.judged(need, index))
        return edges

    def knots(self) -> list[list[_Group]]:
        """The groups of needs, parted into knots that share no stock line."""
        guided: dict[int, list[int]] = defaultdict(list)
        for cutter, drill in self.drill_of.items():
            guided[drill].append(cutter)
        groups = [(i, *guided[i]) for i in range(len(self.needs)) if i not in self.drill_of]
        root = list(range(len(groups)))

        def top(number: int) -> int:
            while root[number] != number:
                root[number] = root[root[number]]
                number = root[number]
            return number

        first: dict[int, int] = {}
        for number, group in enumerate(groups):
            for index in group:
                for line in self.edges[index]:
                    root[top(number)] = top(first.setdefault(line, number))
        knots: dict[int, list[_Group]] = defaultdict(list)
        for number, group in enumerate(groups):
            if any(self.edges[index] for index in group):
                knots[top(number)].append(group)
        return list(knots.values())

    def line(self, index: int) -> Line:
        """The answer for one need, once everything is handed out."""
        need, shelf = self.needs[index], self.shelf
        alike = shelf.look_alikes(need)
        if not self.taken[index]:
            reasons, near = self._explain(index)
            return Line(need, GAP, (), reasons, near, alike)
        counted = KINDS[need.kind].counted
        takes, doubts = [], []
        for number, amount in self.taken[index]:
            found = self._found(index, number)
            judgement = _judgement(found)
            doubts += [reason for weight, reason in found if weight == _DOUBT]
            holes, quantity = (0, amount) if counted else (amount, 0)
            takes.append(Take(shelf.lines[number], holes, quantity, judgement.status, judgement.reasons))
        return Line(need, DOUBTFUL if doubts else MATCH, tuple(takes), tuple(dict.fromkeys(doubts)), (), alike)

    def _found(self, index: int, number: int) -> list[_Found]:
        """What is found of a line for a need, the pilot against the drill that was chosen."""
        need, found = self.needs[index], list(self.shelf.judged(self.needs[index], number))
        pilot = self.shelf.lines[number].facts.pilot
        if _guided(need) and pilot is not None:
            if index in self.drilled:
                found.append(_pilot(need, pilot, self.drilled[index]))
            elif index in self.drill_of:
                drill = self.needs[self.drill_of[index]]
                found += [_pilot(need, pilot, drill.diameter)] if drill.diameter else []
            else:
                found.append((_DOUBT, Reason("pilot_without_drill", pilot_nm=pilot)))
        return found

    def _explain(self, index: int) -> tuple[tuple[Reason, ...], tuple[NearMiss, ...]]:
        """Where a gap comes from, and what comes nearest."""
        need, shelf = self.needs[index], self.shelf
        demand, counted = _demand(need), KINDS[need.kind].counted
        fitting: list[int] = []
        held: list[int] = []
        misses: list[tuple[int, int, int, NearMiss]] = []
        for number in shelf.of_kind[need.kind]:
            line = shelf.lines[number]
            refusals = [reason for weight, reason in self._found(index, number) if weight == _REFUSAL]
            if any(reason.code in _FAR or _far_off(reason) for reason in refusals):
                continue
            refusals += [reason for _, reason in _sufficient(need, line, shelf.label)]
            if not refusals or all(reason.code in _LITTLE for reason in refusals):
                fitting.append(number)
            elif all(reason.code in _HELD for reason in refusals):
                held.append(number)
            if not refusals:
                room = shelf.rooms[number]
                if demand and room is not None:
                    refusals = [_short(line, shelf.label, room - self.spent[number], demand)]
                else:
                    continue
            off = sum(reason.data.get("by_nm", 0) for reason in refusals)
            misses.append((len(refusals), off, number, NearMiss(line, tuple(refusals))))
        near = tuple(miss for *_, miss in sorted(misses, key=lambda miss: miss[:3])[:NEAREST])
        if fitting:
            return (self._too_little(index, fitting, demand, counted),), near
        if held:
            return (self._all_held(need, held),), near
        if misses:
            return (Reason("none_fits", count=len(misses)),), near
        thread = _designation(need.thread)
        return (Reason("none_owned", kind=need.kind, thread=thread),), ()

    def _too_little(self, index: int, fitting: list[int], demand: int, counted: bool) -> Reason:
        """Why a need is a gap although lines fit it: too little is left, or no pilot goes with them."""
        need, shelf = self.needs[index], self.shelf
        rooms = [shelf.rooms[number] for number in fitting]
        spent = sum(self.spent[number] for number in fitting)
        if index in self.drill_of.values():
            sizes: dict[int | None, int] = defaultdict(int)
            for number, room in zip(fitting, rooms, strict=True):
                left = demand if room is None else room - self.spent[number]
                size = shelf.lines[number].facts.diameter
                sizes[size] = sizes[size] + left if _may_split(need) else max(sizes[size], left)
            if max(sizes.values()) >= demand:
                return Reason("no_pilot_goes_with_it", count=len(fitting))
            if _may_split(need) and sum(sizes.values()) >= demand:
                return Reason("drills_differ", left=max(sizes.values()), needed=demand)
        count, left = len(fitting), sum(room or 0 for room in rooms)
        if counted:
            needed = max(1, demand)
            return Reason("quantity_short_in_all", count=count, available=left, taken=spent, needed=needed)
        if not _may_split(need):
            most = max(room or 0 for room in rooms)
            return Reason("life_short_in_each", count=count, left=most, taken=spent, needed=demand)
        return Reason("life_short_in_all", count=count, left=left, taken=spent, needed=demand)

    def _all_held(self, need: Need, held: list[int]) -> Reason:
        """Who holds all that would do, and when the first of them is free for as long as the need lasts."""
        own = self.shelf.label
        lines = [self.shelf.lines[number] for number in held]
        holds = [
            hold
            for line in lines
            for hold in line.holds
            if not _own(hold.label, own)
            and (line.batch is not None or _overlaps(hold.start, hold.end, need.start, need.end))
        ]
        labels = tuple(sorted({hold.label for hold in holds}))
        free = [moment for line in lines if line.batch is None and (moment := _first_free(need, line, own))]
        if not free:
            return Reason("all_held_open", count=len(lines), labels=labels)
        return Reason("all_held", count=len(lines), labels=labels, first_free=min(free))


_LITTLE = frozenset({"life_short", "quantity_short"})
_HELD = frozenset({"held", "held_open", "held_until", "quantity_held"})


def _far_off(reason: Reason) -> bool:
    return reason.code in ("diameter_under", "diameter_over") and reason["by_nm"] > NEAR_DIAMETER


def _designation(key: str | None) -> str:
    try:
        return Thread.from_key(key).designation if key else ""
    except ThreadError:
        return key or ""


def _first_free(need: Need, line: StockLine, own: str) -> datetime | None:
    """When a unit is first free for as long as the need lasts; None where a hold has no end."""
    holds = [hold for hold in line.holds if not _own(hold.label, own)]
    lasts = need.end - need.start
    for moment in sorted({need.start, *(hold.end for hold in holds if hold.end and hold.end > need.start)}):
        if not any(_overlaps(hold.start, hold.end, moment, moment + lasts) for hold in holds):
            return moment
    return None


# --- the search --------------------------------------------------------------------------------------------

_Cost = tuple[int, int]  # gaps, doubtful lines


@dataclass(frozen=True, slots=True)
class _Use:
    """What a choice of stock lines walks to and takes."""

    bins: frozenset[tuple[str, str, int]]
    tags: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True)
class _Mode:
    """One way to serve a group: the drill's diameter (None: no drill decides, or it is left a gap).

    `masks` are for each need of the group the lines that serve it without and with doubt. `drills`: the first
    need must be served, since the others run in its hole.
    """

    diameter: int | None
    drills: bool
    masks: tuple[tuple[int, int], ...]


@dataclass(slots=True)
class _Type:
    """Groups that ask the same of the same lines, so that they are interchangeable."""

    number: int
    demands: tuple[int, ...]
    splits: tuple[bool, ...]
    modes: tuple[_Mode, ...]
    lines: int = 0
    members: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        for mode in self.modes:
            for clean, doubtful in mode.masks:
                self.lines |= clean | doubtful

    @property
    def ladder(self) -> object:
        """What puts types on one ladder, see `_Knot.fewest`: needs of their own that may be split."""
        if len(self.demands) == 1 and self.splits[0] and self.demands[0]:
            return self.modes
        return self.number


@dataclass(frozen=True, slots=True)
class _Option:
    """One answer for a group: its cost and, for each need, the lines it may take from (0: a gap).

    `free`: nothing in it can run out. `loads` are demand and lines of the needs that take something.
    """

    cost: _Cost
    free: bool
    rank: int
    masks: tuple[int, ...]
    loads: tuple[tuple[int, int], ...]
    diameter: int | None


@dataclass(frozen=True, slots=True)
class _Choice:
    """A knot's answer: the lines used and the option of each group."""

    lines: int
    options: tuple[_Option, ...]
    use: _Use


class _Spent(Exception):
    """The budget of a search is used up."""


def _pour(wants: Sequence[tuple[int, int]], rooms: Sequence[int | None], free: int) -> list[dict[int, int]] | None:
    """Share the rooms of the lines among wants of (demand, lines), or None where that cannot be.

    A want that also has a line without end (`free`) takes as much as it can of the others and is never short.
    A plain augmenting path: first all that must be served, then the rest, which never takes back what an
    earlier one was given in all, so that as much as possible is taken from the lines that run out.
    """
    given: list[dict[int, int]] = [{} for _ in wants]
    must = [not mask & free for _, mask in wants]
    masks = [mask & ~free for _, mask in wants]
    reached = 0
    for mask in masks:
        reached |= mask
    left_in = {k: rooms[k] or 0 for k in _bits(reached)}
    for want in sorted(range(len(wants)), key=lambda want: not must[want]):
        left, lines = wants[want][0], list(_bits(masks[want]))
        whole = min(((left_in[k], k) for k in lines if left_in[k] >= left), default=None)
        for k in [whole[1]] if whole else sorted(lines, key=lambda k: -left_in[k]):
            if amount := min(left, left_in[k]):
                given[want][k] = amount
                left_in[k] -= amount
                left -= amount
        while left:
            path = _path(want, masks, given, left_in)
            if path is None:
                break
            amount = min(
                [
                    left,
                    left_in[path[0][1]],
                    *(given[w][k] for (w, _), (_, k) in pairwise(path)),
                ]
            )
            left_in[path[0][1]] -= amount
            for w, k in path:
                given[w][k] = given[w].get(k, 0) + amount
            for (w, _), (_, k) in pairwise(path):
                given[w][k] -= amount
            left -= amount
        if left and must[want]:
            return None
    return given


def _path(
    want: int, masks: list[int], given: list[dict[int, int]], left_in: dict[int, int]
) -> list[tuple[int, int]] | None:
    """From a line with room back to the want: each (want, line) takes more and gives up the next line."""
    via: dict[int, int] = {want: -1}  # want -> the line it would give up
    taker: dict[int, int] = {}  # line -> the want that would take it
    queue = [want]
    for w in queue:
        for k in _bits(masks[w]):
            if k in taker:
                continue
            taker[k] = w
            if left_in[k]:
                path = [(w, k)]
                while via[w] >= 0:
                    k = via[w]
                    w = taker[k]
                    path.append((w, k))
                return path
            for other, taken in enumerate(given):
                if other not in via and taken.get(k):
                    via[other] = k
                    queue.append(other)
    return None


class _Knot:
    """Needs that share stock lines, solved together. Lines are bits of a mask, in the order of the shelf."""

    def __init__(self, plan: _Plan, groups: list[_Group]) -> None:
        self.plan, self.groups = plan, groups
        self.numbers = sorted({line for group in groups for index in group for line in plan.edges[index]})
        self.bit = {number: 1 << k for k, number in enumerate(self.numbers)}
        self.lines = [plan.shelf.lines[number] for number in self.numbers]
        self.rooms = [plan.shelf.rooms[number] for number in self.numbers]
        self.all = (1 << len(self.numbers)) - 1
        self.beyond = 1 << len(self.numbers)  # a line without end that is nowhere: what takes of it goes short
        self.free = sum(1 << k for k, room in enumerate(self.rooms) if room is None) | self.beyond
        self.life = self.all & ~self.free if not KINDS[self.lines[0].facts.kind].counted else 0
        types: dict[tuple[Any, ...], _Type] = {}
        for member, group in enumerate(groups):
            needs = [plan.needs[index] for index in group]
            asked = tuple(map(_demand, needs)), tuple(map(_may_split, needs)), self._modes(group)
            types.setdefault(asked, _Type(len(types), *asked)).members.append(member)
        self.types = list(types.values())
        self._options: dict[tuple[int, int], tuple[list[_Option], list[_Option]]] = {}
        self.of_kind = [
            sum(1 << k for k, line in enumerate(self.lines) if line.facts.kind == kind)
            for kind in {line.facts.kind: None for line in self.lines}
        ]
        self.left = 0

    def _modes(self, group: _Group) -> tuple[_Mode, ...]:
        """How a group can be served: a lone need in one way, a drill with cutters once for each diameter."""
        masks = [
            (
                sum(self.bit[line] for line, clean in self.plan.edges[index].items() if clean),
                sum(self.bit[line] for line, clean in self.plan.edges[index].items() if not clean),
            )
            for index in group
        ]
        if len(group) == 1:
            return (_Mode(None, False, tuple(masks)),)
        sizes: dict[int, int] = defaultdict(int)
        for line in self.plan.edges[group[0]]:
            diameter = self.plan.shelf.lines[line].facts.diameter
            if diameter is not None:
                sizes[diameter] |= self.bit[line]
        modes = []
        for diameter, of_size in sorted(sizes.items()):
            fits = [self._piloted(index, diameter, _NOTE) for index in group[1:]]
            cut = [(clean & fit, doubtful & fit) for (clean, doubtful), fit in zip(masks[1:], fits, strict=True)]
            drill = (masks[0][0] & of_size, masks[0][1] & of_size)
            modes.append(_Mode(diameter, True, (drill, *cut)))
        window = self.plan.needs[group[0]].diameter
        fits = [self._piloted(index, window, _DOUBT) if window else 0 for index in group[1:]]
        unguided = [(0, (clean | doubtful) & fit) for (clean, doubtful), fit in zip(masks[1:], fits, strict=True)]
        return (*modes, _Mode(None, False, ((0, 0), *unguided)))

    def _piloted(self, index: int, drilled: int | Window, weight: int) -> int:
        """The cutters whose pilot runs in such a hole."""
        need, lines = self.plan.needs[index], self.plan.shelf.lines
        return sum(
            self.bit[line]
            for line in self.plan.edges[index]
            if _pilot(need, lines[line].facts.pilot or 0, drilled)[0] <= weight
        )

    def options(self, kind: _Type, chosen: int) -> tuple[list[_Option], list[_Option]]:
        """What a group of this type can do with the chosen lines, cheapest first.

        First those that decide gaps and doubts: none dearer than the first that nothing can run out of, for
        that one is always to be had. Then the same with all that cost no more, which may waste less life.
        """
        key = (kind.number, chosen & kind.lines)
        known = self._options.get(key)
        if known is None:
            found = [option for mode in kind.modes for option in self._of_mode(kind, mode, chosen)]
            found.sort(key=lambda option: (option.cost, not option.free))
            end = next(place for place, option in enumerate(found) if option.free)
            full = [option for option in found if option.cost <= found[end].cost]
            known = self._options[key] = (found[: end + 1], full)
        return known

    def _of_mode(self, kind: _Type, mode: _Mode, chosen: int) -> Iterator[_Option]:
        several = []
        for part, (clean, doubtful) in enumerate(mode.masks):
            answers = self._answers(kind.demands[part], kind.splits[part], clean & chosen, doubtful & chosen)
            several.append([(rank, mask) for rank, mask in answers if mask or part or not mode.drills])
        for together in product(*several):
            ranks, masks = [rank for rank, _ in together], tuple(mask for _, mask in together)
            loads = tuple((demand, mask) for demand, mask in zip(kind.demands, masks, strict=True) if demand and mask)
            yield _Option(
                cost=(ranks.count(2), ranks.count(1)),
                free=all(mask & self.free for _, mask in loads),
                rank=ranks[0],
                masks=masks,
                loads=loads,
                diameter=mode.diameter,
            )

    def _answers(self, demand: int, split: bool, clean: int, doubtful: int) -> Iterator[tuple[int, int]]:
        """How one need can be served: (0 clean, 1 doubtful or 2 gap, lines). Ends with what cannot run out.

        A need that is not split takes all from one line, so each line that can run out is an answer of its
        own; those without end are alike and stand together.
        """
        for rank, mask in ((0, clean), (1, clean | doubtful)):
            if not (mask if rank == 0 else doubtful):
                continue
            if split or not demand:
                yield rank, mask
            else:
                for k in _bits((mask if rank == 0 else doubtful) & ~self.free):
                    yield rank, 1 << k
                if mask & self.free:
                    yield rank, mask & self.free
            if not demand or mask & self.free:
                return
        yield 2, 0

    # gaps and doubtful lines with a set of lines

    def floor(self, chosen: int) -> _Cost:
        """The fewest gaps and doubtful lines that are possible if nothing ran out."""
        gaps = doubts = 0
        for kind in self.types:
            cost = self.options(kind, chosen)[0][0].cost
            gaps += cost[0] * len(kind.members)
            doubts += cost[1] * len(kind.members)
        return gaps, doubts

    def fewest(self, chosen: int, limit: _Cost | None = None) -> tuple[_Cost, list[_Option]] | None:
        """The fewest gaps, then doubtful lines, with these lines and the option of each group.

        None if that is more than `limit`. Branch and bound over the groups for which something can run out.

        Groups of one type are interchangeable, so their options never fall back along the row. Lone needs
        that may be split and have the same candidates are put on one ladder by demand: clean first, then
        doubtful, then gaps. Nothing is lost by that. If a gap asked for less than a served need, the two
        could change places and take less from every line. If a clean need took more than a doubtful one, the
        smaller could take its share out of the larger's clean lines, and the larger take over the smaller's
        lines and keep the rest of its own: as many clean, nothing more taken. A need that may not be split
        would not fit so, which is why it is on no ladder.
        """
        options: list[_Option | None] = [None] * len(self.groups)
        gaps = doubts = 0
        hungry: list[tuple[_Type, int]] = []
        for kind in self.types:
            first = self.options(kind, chosen)[0][0]
            if not first.free:
                hungry += [(kind, member) for member in kind.members]
                continue
            for member in kind.members:
                options[member] = first
            gaps += first.cost[0] * len(kind.members)
            doubts += first.cost[1] * len(kind.members)
        ladders: dict[object, int] = {}
        hungry.sort(key=lambda each: (ladders.setdefault(each[0].ladder, len(ladders)), each[0].demands, each[1]))
        rest = self._rest(hungry, chosen)
        crowd = self._crowd(hungry, chosen)
        bound = (limit[0], limit[1] + 1) if limit else (2 * len(self.plan.needs), 0)
        best: tuple[_Cost, list[_Option | None]] | None = None

        def dive(place: int, cost: _Cost, loads: dict[int, int], rung: int) -> None:
            nonlocal best, bound
            self.left -= 1
            if (cost[0] + rest[place][0], cost[1] + rest[place][1]) >= bound:
                return
            short = self._short_of(crowd[place], loads)
            if short > rest[place][0] and (cost[0] + short, cost[1]) >= bound:
                return
            if (best and limit) or (self.left < 0 and (best or limit)):
                return
            if place == len(hungry):
                best, bound = (cost, list(options)), cost
                return
            kind, member = hungry[place]
            laddered = kind.ladder is kind.modes
            same = place and hungry[place - 1][0].ladder == kind.ladder
            for step, option in enumerate(self.options(kind, chosen)[0]):
                level = option.rank if laddered else step
                if same and level < rung:
                    continue
                more = self._loaded(loads, option)
                if more is not loads and self._fits(more) is None:
                    continue
                options[member] = option
                dive(place + 1, (cost[0] + option.cost[0], cost[1] + option.cost[1]), more, level)

        dive(0, (gaps, doubts), {}, 0)
        return (best[0], [option for option in best[1] if option]) if best else None

    def _rest(self, row: list[tuple[_Type, int]], chosen: int) -> list[_Cost]:
        """For each place in a row of groups the least that those from there on cost."""
        rest = [(0, 0)]
        for kind, _ in reversed(row):
            cost = self.options(kind, chosen)[0][0].cost
            rest.append((rest[-1][0] + cost[0], rest[-1][1] + cost[1]))
        return rest[::-1]

    def _crowd(self, row: list[tuple[_Type, int]], chosen: int) -> list[list[tuple[int, int, list[int]]]]:
        """For each place in a row of groups, what the needs from there on ask of each kind's lines.

        Per kind its lines, their whole room, and the sums of the smallest 1, 2, ... demands; of needs that can
        be met, and only from what runs out.
        """
        crowd: list[list[tuple[int, int, list[int]]]] = [[]]
        asked: dict[int, list[int]] = {lines: [] for lines in self.of_kind}
        for kind, _ in reversed(row):
            for part, demand in enumerate(kind.demands):
                lines = 0
                for option in self.options(kind, chosen)[0]:
                    lines |= option.masks[part]
                if demand and lines and not lines & self.free:
                    insort(next(asked[of_kind] for of_kind in self.of_kind if of_kind & lines), demand)
            crowd.append(
                [
                    (lines, sum(self.rooms[k] or 0 for k in _bits(lines & chosen)), list(accumulate(demands)))
                    for lines, demands in asked.items()
                    if demands
                ]
            )
        return crowd[::-1]

    def _short_of(self, crowd: list[tuple[int, int, list[int]]], loads: dict[int, int]) -> int:
        """How many more needs must go short for what is already taken, at least."""
        short = 0
        for lines, room, sums in crowd:
            left = room - sum(demand for mask, demand in loads.items() if mask & lines)
            short += len(sums) - bisect_right(sums, left)
        return short

    def _loaded(self, loads: dict[int, int], option: _Option) -> dict[int, int]:
        """Demand by lines, with what an option adds that can run out."""
        more = loads
        for demand, mask in option.loads:
            if not mask & self.free:
                more = dict(loads) if more is loads else more
                more[mask] = more.get(mask, 0) + demand
        return more

    def _fits(self, loads: dict[int, int]) -> list[dict[int, int]] | None:
        self.left -= len(loads) // 2
        return _pour([(demand, mask) for mask, demand in loads.items()], self.rooms, self.free)

    # life wasted

    def waste(self, chosen: int, cost: _Cost, options: list[_Option]) -> tuple[int, list[_Option]]:
        """The least life left over in the chosen units at this cost, and the options that leave it."""
        whole = sum(self.rooms[k] or 0 for k in _bits(chosen & self.life))
        if not whole:
            return 0, options
        asked: dict[int, int] = defaultdict(int)
        row: list[tuple[_Type, int]] = []
        for kind in self.types:
            full = self.options(kind, chosen)[1]
            lines = [0] * len(kind.demands)
            for option in full:
                lines = [held | mask for held, mask in zip(lines, option.masks, strict=True)]
            for demand, mask in zip(kind.demands, lines, strict=True):
                if demand and mask & ~self.free:
                    asked[mask | self.beyond] += demand * len(kind.members)
            if len(full) > 1:
                row += [(kind, member) for member in kind.members]
        roof = self._taken(asked)
        best, taken = list(options), self._spent(options)
        if taken >= roof:
            return whole - taken, best
        trial = list(options)
        rest = self._rest(row, chosen)
        fixed = [option for place, option in enumerate(options) if place not in {member for _, member in row}]
        start = (sum(option.cost[0] for option in fixed), sum(option.cost[1] for option in fixed))
        first: dict[int, int] = {}
        for option in fixed:
            first = self._loaded(first, option)

        def dive(place: int, spent: _Cost, loads: dict[int, int], rung: int) -> None:
            nonlocal best, taken
            self.left -= 1
            if self.left < 0 or taken >= roof:
                return
            if (spent[0] + rest[place][0], spent[1] + rest[place][1]) > cost:
                return
            if place == len(row):
                if (now := self._spent(trial)) > taken:
                    best, taken = list(trial), now
                return
            kind, member = row[place]
            same = place and row[place - 1][0] is kind
            for step, option in enumerate(self.options(kind, chosen)[1]):
                if same and step < rung:
                    continue
                more = self._loaded(loads, option)
                if more is not loads and self._fits(more) is None:
                    continue
                trial[member] = option
                dive(place + 1, (spent[0] + option.cost[0], spent[1] + option.cost[1]), more, step)

        dive(0, start, first, 0)
        return whole - taken, best

    def _taken(self, asked: dict[int, int]) -> int:
        """How much of the lines that run out these demands take at most."""
        given = self._fits(asked)
        return sum(sum(lines.values()) for lines in given or ())

    def _spent(self, options: Iterable[_Option]) -> int:
        asked: dict[int, int] = defaultdict(int)
        for option in options:
            for demand, mask in option.loads:
                if mask & ~self.free:
                    asked[mask] += demand
        return self._taken(asked)

    # the smallest set of lines

    def best(self) -> list[_Choice]:
        """All choices with the fewest gaps, doubtful lines and stock lines and the least waste."""
        self.left = ANSWERS
        found = self.fewest(self.all)
        if found is None:  # cannot be: leaving all gaps always stands
            raise AssertionError("no answer for a knot")
        cost = found[0]
        self.left = SETS
        search = _Smallest(self, cost)
        try:
            search.run()
        except _Spent:
            if not search.found:
                search.thin(found[1])
        return [_Choice(lines, tuple(options), self._use(lines)) for _, lines, options in search.found]

    def _use(self, lines: int) -> _Use:
        used = [self.lines[k] for k in _bits(lines)]
        return _Use(frozenset((line.site, line.bin, line.walk) for line in used), tuple(_order(line) for line in used))

    def hand_out(self, choice: _Choice) -> None:
        """Write into the plan what each need takes."""
        wants: list[tuple[int, int]] = []
        owners: list[int] = []
        for group, option in zip(self.groups, choice.options, strict=True):
            for part, (index, mask) in enumerate(zip(group, option.masks, strict=True)):
                if part:
                    drill = self.plan.needs[group[0]].diameter
                    drilled = drill if option.diameter is None else option.diameter
                    if drilled is not None:
                        self.plan.drilled[index] = drilled
                if mask:
                    owners.append(index)
                    wants.append((_demand(self.plan.needs[index]), mask))
        given = _pour(wants, self.rooms, self.free)
        for index, (demand, mask), lines in zip(owners, wants, given or (), strict=True):
            amounts = {k: amount for k, amount in sorted(lines.items()) if amount}
            left = demand - sum(amounts.values())
            if left or not demand:
                first = mask & self.free if left else mask
                amounts[(first & -first).bit_length() - 1] = left
            for k, amount in amounts.items():
                self.plan.taken[index].append((self.numbers[k], amount))
                self.plan.spent[self.numbers[k]] += amount


class _Smallest:
    """The smallest sets of lines that give a knot the same gaps and doubtful lines as all of them do.

    By size, smallest first; within a size a branch takes one line out of a set of which at least one is
    needed, and the later branches of that set leave it out, so that no set comes twice.
    """

    def __init__(self, knot: _Knot, cost: _Cost) -> None:
        self.knot, self.cost = knot, cost
        self.found: list[tuple[int, int, list[_Option]]] = []
        self.slack = slack = knot.floor(knot.all) != cost  # some group goes short, it is not settled which
        musts: set[int] = set()
        loads: dict[int, int] = defaultdict(int)
        self.sure: list[tuple[_Type, _Cost]] = []  # must do as well as with the whole shelf
        self.asked = 0
        for kind in knot.types:
            full = knot.options(kind, knot.all)[1]
            if kind.lines & knot.life:
                self.asked += sum(kind.demands) * len(kind.members)
            if slack and not full[0].free:
                continue
            self.sure.append((kind, full[0].cost))
            cheapest = [option for option in full if option.cost == full[0].cost]
            for part, demand in enumerate(kind.demands):
                if all(option.masks[part] for option in cheapest):
                    lines = 0
                    for option in cheapest:
                        lines |= option.masks[part]
                    musts.add(lines)
                    if demand and not lines & knot.free:
                        loads[lines] += demand * len(kind.members)
        self.musts = sorted(musts, key=lambda mask: (mask.bit_count(), mask))
        self.loads = [
            (demand, sorted(((knot.rooms[k] or 0, k) for k in _bits(lines)), key=lambda each: -each[0]))
            for lines, demand in loads.items()
        ]
        self.twin = self._twins()

    def _twins(self) -> list[int]:
        """For each line a mask of the one before it that differs in its tag alone (0: none).

        Such a line is only ever taken together with its twin: that serves as well and its tag comes first.
        """
        knot, twin = self.knot, []
        last: dict[tuple[Any, ...], int] = {}
        for k, line in enumerate(knot.lines):
            column = tuple(
                (clean >> k & 1, doubtful >> k & 1)
                for kind in knot.types
                for mode in kind.modes
                for clean, doubtful in mode.masks
            )
            alike = (knot.rooms[k], line.site, line.bin, line.walk, column)
            twin.append(last.get(alike, 0))
            last[alike] = 1 << k
        return twin

    def run(self) -> None:
        """Fill `found`. Raises _Spent where the budget of the knot ends first."""
        for size in range(len(self.knot.lines) + 1):
            self._grow(0, 0, size)
            if self.found:
                return

    def _grow(self, chosen: int, banned: int, more: int) -> None:
        knot = self.knot
        knot.left -= 1
        if knot.left < 0:
            raise _Spent
        open_to = knot.all & ~chosen & ~banned
        if self._hopeless(chosen, open_to, more):
            return
        branch = self._needed(chosen, open_to)
        if branch is None:
            if not more:
                self._weigh(chosen)
                return
            branch = open_to & self._scarce(chosen)
        if not more:
            return
        for k in _bits(branch):
            if self.twin[k] & ~chosen:
                banned |= 1 << k
                continue
            self._grow(chosen | 1 << k, banned, more - 1)
            banned |= 1 << k

    def _hopeless(self, chosen: int, open_to: int, more: int) -> bool:
        """Whether `more` lines cannot do: too many disjoint sets still to hit, or too little life."""
        seen = apart = 0
        for must in self.musts:
            if not must & chosen:
                if not must & open_to:
                    return True
                if not must & seen:
                    seen |= must
                    apart += 1
        if apart > more:
            return True
        if self.found and self.knot.life and self._leftover(chosen, open_to, more) > self.found[0][0]:
            return True
        for demand, rooms in self.loads:
            have, picks = 0, more
            for room, k in rooms:
                if chosen >> k & 1:
                    have += room
                elif picks and open_to >> k & 1:
                    have += room
                    picks -= 1
            if have < demand:
                return True
        return False

    def _leftover(self, chosen: int, open_to: int, more: int) -> int:
        """What at least is left of life with these lines and as many more, whatever is taken."""
        knot = self.knot
        whole = sum(knot.rooms[k] or 0 for k in _bits(chosen & knot.life))
        if more and not open_to & ~knot.life:
            whole += sum(sorted(knot.rooms[k] or 0 for k in _bits(open_to))[:more])
        return whole - self.asked

    def _needed(self, chosen: int, open_to: int) -> int | None:
        """Lines of which any set that does must have one more; None if the chosen ones may do."""
        sets = [must & open_to for must in self.musts if not must & chosen]
        if sets:
            return min(sets, key=int.bit_count)
        for kind, cost in self.sure:
            if self.knot.options(kind, chosen)[0][0].cost > cost:
                return kind.lines & open_to
        return open_to if self.knot.floor(chosen) > self.cost else None

    def _scarce(self, chosen: int) -> int:
        """Lines of which one more is needed where the chosen ones would do if nothing ran out."""
        if self.slack:
            return self.knot.all
        lines = 0
        for kind in self.knot.types:
            if not self.knot.options(kind, chosen)[0][0].free:
                lines |= kind.lines
        return lines

    def _weigh(self, chosen: int) -> None:
        """Keep a set that does, if no smaller waste is known."""
        knot = self.knot
        served = knot.fewest(chosen, self.cost)
        if served is None:
            return
        waste, options = knot.waste(chosen, *served)
        if self.found and waste < self.found[0][0]:
            self.found = []
        if not self.found or waste == self.found[0][0]:
            self.found.append((waste, chosen, options))

    def thin(self, options: list[_Option]) -> None:
        """Beyond the budget: from all lines leave out one after the other as long as nothing gets worse.

        First those with the least in them, so that few are left; what then stands is not proven smallest.
        """
        knot = self.knot
        chosen = knot.all
        order = sorted(
            range(len(knot.lines)),
            key=lambda k: (knot.rooms[k] is None, knot.rooms[k] or 0, -knot.lines[k].walk, -k),
        )
        for k in order:
            knot.left = 20 + 4 * len(knot.groups)
            served = knot.fewest(chosen & ~(1 << k), self.cost)
            if served:
                chosen, options = chosen & ~(1 << k), served[1]
        self.found = [(0, chosen, options)]


# --- walking -----------------------------------------------------------------------------------------------


def _least_walking(knots: Sequence[Sequence[_Use]]) -> list[int]:
    """Which use of each knot walks least over the whole job, each bin once; then the tags in order.

    All uses of one knot are of one size, so the joint row of tags is least where each knot's own is.
    """
    free: set[tuple[str, str, int]] = set()
    left = [list(range(len(uses))) for uses in knots]
    settled: set[int] = set()
    changed = True
    while changed:
        changed = False
        for number, uses in enumerate(knots):
            if number in settled:
                continue
            left[number] = _undominated(uses, left[number], free)
            if len(left[number]) == 1:
                free |= uses[left[number][0]].bins
                settled.add(number)
                changed = True
    choice = [several[0] for several in left]
    open_ones = [number for number in range(len(knots)) if number not in settled]
    for cluster in _clusters(knots, left, open_ones, free):
        choice_of = _walk(knots, left, cluster, free)
        for number in cluster:
            choice[number] = choice_of[number]
    return choice


def _undominated(uses: Sequence[_Use], among: list[int], free: set[tuple[str, str, int]]) -> list[int]:
    """Leave out a use where another goes to none but its bins and comes first by tags."""
    kept: list[int] = []
    for number in sorted(among, key=lambda number: uses[number].tags):
        bins = uses[number].bins - free
        if not any(uses[other].bins - free <= bins for other in kept):
            kept.append(number)
    return kept


def _clusters(
    knots: Sequence[Sequence[_Use]],
    left: list[list[int]],
    numbers: list[int],
    free: set[tuple[str, str, int]],
) -> Iterator[list[int]]:
    """Knots that can go to the same bin belong together."""
    bins = {number: {b for use in left[number] for b in knots[number][use].bins} - free for number in numbers}
    waiting = list(numbers)
    while waiting:
        cluster = [waiting.pop(0)]
        for number in cluster:
            joined = [other for other in waiting if bins[other] & bins[number]]
            cluster += joined
            waiting = [other for other in waiting if other not in joined]
        yield sorted(cluster)


def _walk(
    knots: Sequence[Sequence[_Use]],
    left: list[list[int]],
    cluster: list[int],
    free: set[tuple[str, str, int]],
) -> dict[int, int]:
    """The least walk of one cluster by branch and bound; within `WALKS` steps the exact one."""
    best: tuple[int, list[tuple[Any, ...]]] | None = None
    best_choice: dict[int, int] = {}
    choice: dict[int, int] = {}
    steps = 0

    def dive(place: int, walked: int, seen: frozenset[tuple[str, str, int]]) -> None:
        nonlocal best, best_choice, steps
        steps += 1
        if best and (walked > best[0] or steps > WALKS):
            return
        if place == len(cluster):
            tags = sorted(tag for number in cluster for tag in knots[number][choice[number]].tags)
            if best is None or (walked, tags) < best:
                best, best_choice = (walked, tags), dict(choice)
            return
        number = cluster[place]
        ways = []
        for use in left[number]:
            new = knots[number][use].bins - seen
            ways.append((sum(walk for *_, walk in new), knots[number][use].tags, use))
        for more, _, use in sorted(ways):
            choice[number] = use
            dive(place + 1, walked + more, seen | knots[number][use].bins)

    dive(0, 0, frozenset(free))
    return best_choice
