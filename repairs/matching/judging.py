"""One need against one stock line: match, doubtful or refused, with every reason. PURE."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache
from typing import Any

from inventory.errors import Reason
from inventory.kinds import KINDS, Facts, StockLine
from inventory.quantities import to_mm
from inventory.threads import Thread, ThreadError, look_alikes, percent_of_thread
from repairs.matching.amounts import holds_of_others, overlaps, shortage
from repairs.matching.lines import REFUSED, Judgement
from repairs.methods.values import DOUBTFUL, MATCH, Deep, Need, Window

NOTE, DOUBT, REFUSAL = range(3)
_TICK = timedelta(microseconds=1)

Finding = tuple[int, Reason]  # how much a reason weighs (NOTE, DOUBT, REFUSAL), and the reason


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
    found = findings(need, line, label, zone)
    if drilled is not None and guided(need) and line.facts.pilot is not None:
        found.append(pilot_in(need, line.facts.pilot, drilled))
    if line.facts.kind == need.kind and (lacking := shortage(need, line, label)):
        found.append((REFUSAL, lacking))
    return judgement_of(found)


def judge_item(need: Need, facts: Facts, *, drilled: int | Window | None = None) -> Judgement:
    """Weigh an item of the catalogue against a need by its measurements alone, as if one came new. Raises nothing.

    Site, dates, holds and wear are those of a thing on a shelf and are not judged. `drilled` as in `judge`.

    >>> from datetime import datetime
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need = Need("A", "A", "seat", "indicator", start, end, "Main")
    >>> judge_item(need, Facts(item=1, kind="indicator")).status, judge_item(need, Facts(item=2, kind="oil")).status
    ('match', 'refused')
    """
    found = list(measurements(need, StockLine("", facts, need.site, "")))
    if drilled is not None and guided(need) and facts.pilot is not None:
        found.append(pilot_in(need, facts.pilot, drilled))
    return judgement_of(found)


def findings(need: Need, line: StockLine, label: str, zone: tzinfo) -> list[Finding]:
    """All that is found of a line for a need, but for the pilot and for how much is left.

    >>> from datetime import datetime
    >>> from inventory.kinds import Facts
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need, indicator = Need("A", "A", "seat", "indicator", start, end, ""), Facts(item=1, kind="indicator")
    >>> [(weight, reason)] = findings(need, StockLine("I-1", indicator, "", ""), "", UTC)
    >>> weight == DOUBT, reason.code
    (True, 'calibration_missing')
    """
    return [*measurements(need, line), *fit_for_use(need, line, label, zone)]


def judgement_of(found: Sequence[Finding]) -> Judgement:
    """The heaviest finding decides; the reasons stand by weight, and notes are not told of what is refused.

    >>> judgement_of([(NOTE, Reason("back_in_time")), (DOUBT, Reason("calibration_missing"))]).status
    'doubtful'
    """
    worst = max((weight for weight, _ in found), default=NOTE)
    told = sorted((item for item in found if worst < REFUSAL or item[0] > NOTE), key=lambda item: -item[0])
    return Judgement((MATCH, DOUBTFUL, REFUSED)[worst], tuple(reason for _, reason in told))


def guided(need: Need) -> bool:
    """Whether the need is for a cutter whose pilot runs in the hole of another need's drill.

    >>> from datetime import datetime
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> guided(Need("A.seat", "A", "seat", "seat_cutter", start, end, "", pilot_of="A.drill", pilot_under=Window(1, 9)))
    True
    """
    return bool(need.pilot_of) and need.pilot_under is not None


def _wanted_of(need: Need) -> Iterator[str]:
    """The measurements without which nothing can be matched to this need."""
    for name, wanted in (
        ("thread", need.thread),
        ("thread_class", need.classes),
        ("inner", need.inner),
        ("diameter", need.diameter),
        ("pilot", guided(need)),
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


def measurements(need: Need, line: StockLine) -> Iterator[Finding]:
    """What the catalogue's measurements say, whatever site, dates, holds and wear do.

    >>> from datetime import datetime
    >>> from inventory.kinds import Facts
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need, short = Need("A", "A", "set", "depth_gauge", start, end, "", reach=60), Facts(1, "depth_gauge")
    >>> [(weight == REFUSAL, reason.code) for weight, reason in measurements(need, StockLine("G-1", short, "", ""))]
    [(True, 'measurement_missing')]
    >>> short = Facts(1, "depth_gauge", usable_length=40)
    >>> [(weight == REFUSAL, reason.code) for weight, reason in measurements(need, StockLine("G-1", short, "", ""))]
    [(True, 'too_short')]
    """
    facts = line.facts
    if facts.kind != need.kind:
        yield REFUSAL, Reason("other_kind", kind=facts.kind, wanted=need.kind)
        return
    missing = {name for name in _wanted_of(need) if getattr(facts, name) in (None, "")}
    missing |= set(facts.missing())  # what its kind must carry, asked for or not: it is shown as not to be matched
    for name in sorted(missing):
        yield REFUSAL, Reason("measurement_missing", measurement=name)
    if need.thread and facts.thread and facts.thread != need.thread:
        yield REFUSAL, other_thread(need.thread, line, facts.thread)
    if need.inner and facts.inner and facts.inner != need.inner:
        other = other_thread(need.inner, line, facts.inner)
        if other.code == "other_thread":
            other = Reason("wrong_inner", inner=other["thread"], wanted=other["wanted"])
        yield REFUSAL, other
    if need.classes and facts.thread_class and facts.thread_class not in need.classes:
        yield REFUSAL, Reason("wrong_class", thread_class=facts.thread_class, wanted=need.classes)
    if need.diameter and facts.diameter is not None:
        yield _in_window(need, need.diameter, facts.diameter)
    usable, reach = facts.usable_length, need.reach
    if reach is not None and usable is not None and usable < reach:
        yield REFUSAL, Reason("too_short", usable_nm=usable, needed_nm=reach, by_nm=reach - usable)
    if need.lead and facts.lead is not None and facts.lead > need.lead.match:
        if facts.lead > need.lead.doubt:
            yield REFUSAL, Reason("lead_too_long", lead=_tenths(facts.lead), most=_tenths(need.lead.match))
        else:
            yield DOUBT, Reason("lead_only_just", lead=_tenths(facts.lead), most=_tenths(need.lead.match))
    if need.deep and facts.lead is not None:
        yield NOTE, _lead_in(need.deep, facts.lead)
    if need.flutes and facts.flute and facts.flute not in need.flutes:
        if facts.flute == "point":
            yield REFUSAL, Reason("flute_needs_through", wanted=need.flutes)
        else:
            yield REFUSAL, Reason("wrong_flute", flute=facts.flute, wanted=need.flutes)
    if need.action and facts.action and facts.action != need.action:
        yield REFUSAL, Reason("forming_tap") if facts.action == "form" else Reason("cutting_tap")
    if need.length is not None and facts.insert_length is not None and facts.insert_length != need.length:
        yield REFUSAL, Reason("wrong_length", length_nm=facts.insert_length, wanted_nm=need.length)
    if need.family and facts.family and facts.family != need.family:
        same = facts.family.rpartition("/")[0] == need.family.rpartition("/")[0] != ""
        yield REFUSAL, Reason("wrong_edition" if same else "wrong_family", family=facts.family, wanted=need.family)
    if need.name and facts.name and facts.name.casefold().split() != need.name.casefold().split():
        yield REFUSAL, Reason("other_name", name=facts.name, wanted=need.name)
    if need.hand and facts.hand and facts.hand != need.hand:
        yield REFUSAL, Reason("fixture_hand", hand=facts.hand, wanted=need.hand)
    least, most = facts.torque_min, facts.torque_max
    if need.torque is not None and least is not None and most is not None and not least <= need.torque <= most:
        yield REFUSAL, Reason("torque_range", least_nmm=least, most_nmm=most, needed_nmm=need.torque)
    if need.cures:
        yield _cured(need, facts.cure_hours)
    for unknown in need.unjudged:
        yield DOUBT, unknown


def _cured(need: Need, hours: int | None) -> Finding:
    """Whether an adhesive that takes so many hours can cure before the need's window ends.

    It is put on when the work before it is done, so it must leave some of the window over; how much, nobody knows.
    """
    if hours is None:
        return DOUBT, Reason("cure_missing", end=need.end)
    latest = need.end - timedelta(hours=hours)
    if latest <= need.start:
        window = (need.end - need.start) // timedelta(hours=1)
        return DOUBT, Reason("cure_too_long", cure_hours=hours, window_hours=window, end=need.end)
    return NOTE, Reason("cure_in_time", cure_hours=hours, latest=latest, end=need.end)


def _lead_in(deep: Deep, lead: int) -> Reason:
    """The depth with the tap's own lead, part by part, against what the hole has."""
    lead_nm = -(-deep.pitch * lead // 10)
    return Reason(
        "lead_added",
        lead=_tenths(lead),
        used_nm=deep.used,
        lead_nm=lead_nm,
        needed_nm=deep.used + lead_nm,
        depth_nm=deep.depth,
    )


def _tenths(lead: int) -> str:
    """A lead in tenths of a thread as people write it: 35 is "3.5"."""
    return str(Decimal(lead) / 10)


def _in_window(need: Need, window: Window, diameter: int) -> Finding:
    sizes: dict[str, Any] = {"diameter_nm": diameter, "least_nm": window.least, "most_nm": window.most}
    if need.hole_thread:
        percent = percent_of_thread(Thread.from_key(need.hole_thread), to_mm(diameter), "5/8H")
        sizes |= {"percent": str(percent.quantize(Decimal("0.1"), ROUND_HALF_EVEN)), "basis": "5/8 H"}
    if diameter < window.least:
        return REFUSAL, Reason("diameter_under", **sizes, by_nm=window.least - diameter)
    if diameter > window.most:
        return REFUSAL, Reason("diameter_over", **sizes, by_nm=diameter - window.most)
    if need.doubt_above is not None and diameter > need.doubt_above:
        return DOUBT, Reason("top_of_window", **sizes, above_nm=need.doubt_above, by_nm=window.most - diameter)
    span = window.most - window.least
    share = Decimal(100 * (diameter - window.least)) / span if span else Decimal(0)
    return NOTE, Reason("in_window", **sizes, position=str(share.quantize(Decimal("0.1"), ROUND_HALF_EVEN)))


def other_thread(wanted: str, line: StockLine, found: str) -> Reason:
    """Why a thread is not the wanted one: of the other hand, a look-alike, or simply another.

    >>> from inventory.kinds import Facts
    >>> line = StockLine("T-1", Facts(1, "tap"), "Main", "B4")
    >>> other_thread("M|16000000|1500000nm|R", line, "M|16000000|1500000nm|L").code
    'wrong_hand'
    """
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


def fit_for_use(need: Need, line: StockLine, label: str, zone: tzinfo) -> Iterator[Finding]:
    """Where it is, in what state, whose and how long its dates are good.

    >>> from datetime import datetime
    >>> from inventory.kinds import Facts
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need, tap = Need("A", "A", "tap", "tap", start, end, "Main"), StockLine("T-1", Facts(1, "tap"), "Barn", "B4")
    >>> [(weight == REFUSAL, reason.code) for weight, reason in fit_for_use(need, tap, "", UTC)]
    [(True, 'other_site')]
    """
    if need.site and line.site != need.site:
        yield REFUSAL, Reason("other_site", site=line.site, wanted=need.site)
    if line.condition == "due_regrind":
        yield REFUSAL, Reason("due_regrind")
    elif line.condition in ("lost", "retired"):
        yield REFUSAL, Reason("gone", condition=line.condition)
    if line.condition == "away" or line.away_why:
        if line.away_until is None:
            yield REFUSAL, Reason("away_open", why=line.away_why)
        elif line.away_late:
            yield REFUSAL, Reason("away_late", why=line.away_why, due=line.away_until)
        elif line.away_until >= need.start.astimezone(zone).date():
            yield REFUSAL, Reason("away", why=line.away_why, until=line.away_until)
        else:
            yield NOTE, Reason("back_in_time", why=line.away_why, until=line.away_until)
    if line.batch is None:
        for hold in holds_of_others(line, label):
            if overlaps(hold, need.start, need.end):
                yield REFUSAL, _held(hold.label, hold.start, hold.end)
    last_day = _last_day(need, zone)
    if line.calibration_due is not None:
        if line.calibration_due < last_day:
            yield REFUSAL, Reason("out_of_calibration", due=line.calibration_due, needed_until=last_day)
    elif KINDS[line.facts.kind].calibrated:
        yield DOUBT, Reason("calibration_missing")
    if line.expires is not None:
        if line.expires < last_day:
            yield REFUSAL, Reason("expired", expires=line.expires, needed_until=last_day)
    elif KINDS[line.facts.kind].perishable:
        yield DOUBT, Reason("expiry_missing")


def _held(label: str, start: datetime | None, end: datetime | None) -> Reason:
    if end is None:
        return Reason("held_open", label=label)
    return Reason("held", label=label, start=start, end=end) if start else Reason("held_until", label=label, end=end)


def pilot_in(need: Need, pilot: int, drilled: int | Window) -> Finding:
    """Whether a pilot (nm) fits just under the drill (nm), or could under one of a window.

    >>> from datetime import datetime
    >>> start, end = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 4, tzinfo=UTC)
    >>> need = Need("A", "A", "seat", "seat_cutter", start, end, "", pilot_of="D", pilot_under=Window(1, 150_000))
    >>> pilot_in(need, 14_400_000, 14_500_000)[1].code, pilot_in(need, 14_400_000, 14_700_000)[1].code
    ('pilot_fits', 'pilot_not_under_drill')
    """
    under = need.pilot_under or Window(0, 0)
    if isinstance(drilled, Window):
        fitting = Window(drilled.least - under.most, drilled.most - under.least)
        sizes = {"pilot_nm": pilot, "least_nm": fitting.least, "most_nm": fitting.most}
        if pilot in fitting:
            return DOUBT, Reason("pilot_unjudged", **sizes)
        return REFUSAL, Reason("pilot_not_under_window", **sizes)
    fitting = Window(drilled - under.most, drilled - under.least)
    if pilot in fitting:
        return NOTE, Reason("pilot_fits", pilot_nm=pilot, drill_nm=drilled, under_nm=drilled - pilot)
    sizes = {"pilot_nm": pilot, "least_nm": fitting.least, "most_nm": fitting.most}
    return REFUSAL, Reason("pilot_not_under_drill", drill_nm=drilled, **sizes)
