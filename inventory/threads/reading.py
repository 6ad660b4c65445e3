"""Reading what people type: one thread, or a refusal that says what is wrong and what would do. PURE."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from functools import lru_cache

from inventory.errors import Reason
from inventory.threads.insert_holes import insert_hole
from inventory.threads.limits import classes, external_limits, internal_limits
from inventory.threads.spelling import level
from inventory.threads.thread import Thread, ThreadError, plain, series

LONGEST = 80
_NM_PER_MM = 1_000_000
_NM_PER_INCH = 25_400_000

_SIZE = r"\d{1,4}(?:\.\d{1,6})?|\.\d{1,6}"
_TPI = r"(?:\s*[-X\s]\s*(?P<tpi>\d{1,3}(?:\.\d{1,2})?(?:\s1/2)?)(?:\s*TPI)?)?"
_MARK = r"(?:\s*(?:\"|'')|\s*IN(?:CH|\.)?)?"
_HAND = re.compile(
    r"[\s,(-]*(?<![A-Z])(?P<hand>[LR]\.?H\b\.?|(?:LEFT|RIGHT)(?:[\s-]*HAND(?:ED)?)?)(?![A-Z0-9])\)?",
    re.ASCII,
)
_INSERT = re.compile(r"[\s,(-]*(?<![A-Z])(?:EG|STI)(?![A-Z])[\s,)-]*", re.ASCII)
_CLASS = re.compile(r"(?:^|[\s,-]+)(?P<name>(?:[3-9][EFGHefgh]){1,2}|[123][ABab])(?=$|[\s,-])", re.ASCII)
_SERIES = re.compile(r"[\s,-]*(?<![A-Z])(?P<name>UNC|UNF|UNEF|UNS|UN|NC|NF|NEF|NS)(?![A-Z])[\s,-]*", re.ASCII)
_GRADE = re.compile(r"[\s,-]+(?P<name>COARSE|FINE)$", re.ASCII)
_METRIC = re.compile(
    rf"(?P<m>MF?)?\s*(?P<size>{_SIZE})(?:\s*(?P<cross>[-X\s])\s*(?P<pitch>{_SIZE}))?(?:\s*MM)?", re.ASCII
)
_NUMBER = re.compile(rf"(?:#|NO\.?|NR\.?)\s*(?P<number>\d{{1,3}}){_TPI}", re.ASCII)
_MIXED = re.compile(rf"(?P<whole>\d{{1,2}})[\s-]+(?P<top>\d{{1,2}})/(?P<under>\d{{1,3}}){_MARK}{_TPI}", re.ASCII)
_FRACTION = re.compile(rf"(?P<top>\d{{1,3}})/(?P<under>\d{{1,3}}){_MARK}{_TPI}", re.ASCII)
_HYPHENED = re.compile(rf"(?P<top>\d{{1,2}})-(?P<under>2|4|8|16|32|64){_MARK}{_TPI}", re.ASCII)
_DECIMAL = re.compile(rf"(?P<inches>\d?\.\d{{1,6}}){_MARK}{_TPI}", re.ASCII)
_WHOLE = re.compile(rf"(?P<whole>\d{{1,2}}){_MARK}{_TPI}", re.ASCII)

# Threads of other standards, by how they are written: recognised so that they are never read as something
# else.
_OTHERS: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (name, re.compile(pattern, re.ASCII))
    for name, pattern in (
        ("NPT", r"NPTF?|NPS[A-Z]?"),
        ("BSPT", r"BSPT"),
        ("R", r"^R[CP]?\s*\d"),
        ("Tr", r"^TR\s*\d"),
        ("ACME", r"ACME"),
        ("S", r"^S\s*\d"),
        ("Pg", r"^PG\s*\d"),
        ("MJ", r"^MJ\s*\d"),
        ("UNJ", r"UNJ|UNR"),
        ("BSW", r"BSW|WHIT|^W\s*\d"),
        ("BSF", r"BSF"),
        ("BA", r"\d\s*-?BA\b|\bBA\s*-?\d"),
        ("G", r"^G\s*\d|BSP|\bG\s*\d"),
        ("CYCLE", r"CYCLE|\bCEI\b|\bBSC\b"),
        ("BRASS", r"BRASS"),
    )
)


@dataclass(frozen=True, slots=True)
class Reading:
    """What was understood. `thread_class` is "" if none was typed, `notes` say what was filled in."""

    thread: Thread
    thread_class: str
    notes: tuple[Reason, ...]
    typed: str


@lru_cache(maxsize=4096)
def read(text: str) -> Reading:
    """The thread that `text` says, or ThreadError with the reason. Nothing is guessed silently.

    At most 80 characters. Case, spaces, the times sign, decimal commas, dashes and vulgar fractions may be
    typed in any usual way. `notes` say what was filled in: `pitch_assumed_coarse` (thread, others),
    `pitch_from_series` (thread, series), `system_assumed_metric` (thread), `size_read_as` (typed, size).
    Refusals: `thread_empty`, `thread_too_long`, `thread_unreadable`, `thread_not_covered`,
    `thread_size_unknown`, `thread_pitch_impossible`, `thread_pitch_not_in_series`, `thread_wrong_series`,
    `thread_ambiguous`, `thread_class_unknown`; `candidates` are designations that would do, `known` the
    classes that the thread has.

    >>> read("m14 × 1,5 lh").thread.designation
    'M14x1.5-LH'
    >>> reading = read("M10")
    >>> reading.thread.designation, reading.notes[0].code
    ('M10x1.5', 'pitch_assumed_coarse')
    >>> try:
    ...     read("9/16-19")
    ... except ThreadError as refused:
    ...     refused.reason.code, refused.reason["candidates"][:2], refused.reason["belongs"]
    ('thread_pitch_not_in_series', ('9/16-12 UNC', '9/16-18 UNF'), 'pipe')
    """
    if len(text) > LONGEST:
        raise ThreadError(Reason("thread_too_long", length=len(text), longest=LONGEST))
    body = level(text)
    if not body:
        raise ThreadError(Reason("thread_empty"))
    if not body.isascii():
        raise _unreadable(text)
    typed_class, body = _take(_CLASS, body, "name")
    body = body.upper()
    for name, pattern in _OTHERS:
        if pattern.search(body):
            raise ThreadError(Reason("thread_not_covered", system=name, typed=text))
    hand, body = _take(_HAND, body, "hand")
    insert, body = _take(_INSERT, body)
    named, body = _take(_SERIES, body, "name")
    grade, body = _take(_GRADE, body, "name")
    body = body.strip(" -,")
    ask = _Question(
        text,
        named if named.startswith("U") or not named else f"U{named}",
        grade,
        hand[:1] == "L",
        bool(insert),
    )
    thread, notes = _metric(ask, body) if _is_metric(body) else _inch(ask, body)
    thread = ask.finished(thread)
    return Reading(thread, _checked_class(thread, typed_class), notes, text)


@dataclass(frozen=True, slots=True)
class _Question:
    """What was typed beside size and pitch."""

    typed: str
    series: str
    grade: str
    left: bool
    insert: bool

    def finished(self, thread: Thread) -> Thread:
        if self.insert:
            thread = insert_hole(thread)
        return thread.mirrored() if self.left else thread

    def names(self, threads: Iterable[Thread]) -> tuple[str, ...]:
        return tuple(self.finished(thread).designation for thread in threads)


def _take(pattern: re.Pattern[str], body: str, group: str = "") -> tuple[str, str]:
    """The first thing that the pattern finds, and the text with a space in its place."""
    match = pattern.search(body)
    if not match:
        return "", body
    return match[group or 0], f"{body[: match.start()]} {body[match.end() :]}"


def _unreadable(text: str) -> ThreadError:
    return ThreadError(Reason("thread_unreadable", typed=text))


def _is_metric(body: str) -> bool:
    match = _METRIC.fullmatch(body)
    if not match:
        return body.startswith("M")
    if match["m"]:
        return True
    if match["cross"] != "X":
        return False
    # "14x1.5" is metric; ".5625x18" is an inch size that somebody crossed.
    return (Decimal(match["size"]) >= 1 and Decimal(match["pitch"]) < 8) or Decimal(match["size"]) > 2


# --- metric ------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _metric_sizes() -> dict[int, tuple[Thread, ...]]:
    return _by_nominal("M")


def _by_nominal(system: str) -> dict[int, tuple[Thread, ...]]:
    found: dict[int, list[Thread]] = {}
    for thread in series(system):
        found.setdefault(thread.nominal, []).append(thread)
    return {nominal: tuple(threads) for nominal, threads in found.items()}


def _metric(ask: _Question, body: str) -> tuple[Thread, tuple[Reason, ...]]:
    match = _METRIC.fullmatch(body)
    if not match or ask.series:
        raise _unreadable(ask.typed)
    size = Decimal(match["size"])
    threads = _metric_sizes().get(int(size * _NM_PER_MM), ())
    if not threads:
        raise ThreadError(
            Reason(
                "thread_size_unknown",
                size=f"M{plain(size)}",
                candidates=_nearest(ask, _metric_sizes(), int(size * _NM_PER_MM)),
            )
        )
    notes: tuple[Reason, ...] = ()
    if match["pitch"] is None:
        return _metric_without_pitch(ask, threads, fine=match["m"] == "MF" or ask.grade == "FINE")
    thread = _metric_with_pitch(ask, size, Decimal(match["pitch"]), threads)
    if not match["m"]:
        notes = (Reason("system_assumed_metric", thread=ask.finished(thread).designation),)
    return thread, notes


def _metric_without_pitch(ask: _Question, threads: tuple[Thread, ...], fine: bool) -> tuple[Thread, tuple[Reason, ...]]:
    coarse = [thread for thread in threads if thread.series == "coarse"]
    others = [thread for thread in threads if thread.series != "coarse"]
    if len(others) == 1 and (fine or not coarse):
        name = ask.finished(others[0]).designation
        return others[0], (Reason("pitch_from_series", thread=name, series="fine"),)
    if fine or not coarse:
        raise ThreadError(Reason("thread_ambiguous", typed=ask.typed, candidates=ask.names(others)))
    name = ask.finished(coarse[0]).designation
    if ask.grade:
        return coarse[0], (Reason("pitch_from_series", thread=name, series="coarse"),)
    return coarse[0], (Reason("pitch_assumed_coarse", thread=name, others=ask.names(others)),)


def _metric_with_pitch(ask: _Question, size: Decimal, pitch: Decimal, threads: tuple[Thread, ...]) -> Thread:
    for thread in threads:
        if thread.pitch_mm == pitch:
            if ask.grade and (ask.grade == "COARSE") != (thread.series == "coarse"):
                raise _wrong_series(ask, ask.grade.lower(), thread, threads)
            return thread
    # No published thread has a pitch over a quarter of its diameter; a slipped decimal point is the usual
    # cause.
    if pitch * 3 > size or pitch == 0:
        slipped = [thread for thread in threads if thread.pitch_mm in (pitch / 10, pitch / 100)]
        raise ThreadError(
            Reason(
                "thread_pitch_impossible",
                size=f"M{plain(size)}",
                pitch=plain(pitch),
                unit="mm",
                candidates=ask.names(slipped or threads),
            )
        )
    raise ThreadError(
        Reason(
            "thread_pitch_not_in_series",
            size=f"M{plain(size)}",
            pitch=plain(pitch),
            unit="mm",
            candidates=ask.names(threads),
            belongs="",
        )
    )


def _nearest(ask: _Question, sizes: dict[int, tuple[Thread, ...]], nominal: int) -> tuple[str, ...]:
    """First thread of the next size below and above."""
    below = max((size for size in sizes if size < nominal), default=None)
    above = min((size for size in sizes if size > nominal), default=None)
    return ask.names(sizes[size][0] for size in (below, above) if size is not None)


# --- inch --------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _inch_sizes() -> dict[int, tuple[Thread, ...]]:
    order = {"UNC": 0, "UNF": 1, "UNEF": 2}
    return {
        nominal: tuple(sorted(threads, key=lambda thread: (order.get(thread.series, 3), thread.pitch)))
        for nominal, threads in _by_nominal("UN").items()
    }


@dataclass(frozen=True, slots=True)
class _Sense:
    """One way to understand an inch size: nominal in nm, threads per inch or None, the size as typed."""

    nominal: int
    tpi: Decimal | None
    size: str
    note: tuple[Reason, ...] = ()


def _tpi(match: re.Match[str]) -> Decimal | None:
    typed = match["tpi"]
    if typed is None:
        return None
    return Decimal(typed.removesuffix(" 1/2")) + (Decimal("0.5") if typed.endswith(" 1/2") else 0)


def _numbered(number: int) -> int:
    """Nominal of a number size in nm: 0.060 + 0.013 N inch (ASME B1.1)."""
    return (60 + 13 * number) * _NM_PER_INCH // 1000


def _senses(body: str) -> Iterator[_Sense]:
    """Every way in which the text can be an inch size: "1-8" is 1 in by 8, number 1 by 8, or 1/8."""
    if match := _NUMBER.fullmatch(body):
        yield _Sense(_numbered(int(match["number"])), _tpi(match), f"#{match['number']}")
    if match := _WHOLE.fullmatch(body):
        whole = int(match["whole"])
        yield _Sense(whole * _NM_PER_INCH, _tpi(match), str(whole))
        yield _Sense(_numbered(whole), _tpi(match), f"#{whole}")
    for pattern in (_FRACTION, _MIXED, _HYPHENED):
        if match := pattern.fullmatch(body):
            top, under = int(match["top"]), int(match["under"])
            whole = int(match["whole"]) if "whole" in match.groupdict() else 0
            if pattern is _HYPHENED and top % 2 == 0:
                continue  # "2-4" is no fraction that anybody writes
            if under and (whole * under + top) * _NM_PER_INCH % under == 0:
                text = f"{whole} {top}/{under}" if whole else f"{top}/{under}"
                yield _Sense((whole * under + top) * _NM_PER_INCH // under, _tpi(match), text)
    if match := _DECIMAL.fullmatch(body):
        yield from _decimal_senses(match)


def _decimal_senses(match: re.Match[str]) -> Iterator[_Sense]:
    """The published size that rounds to the inches as typed; with one or two places only the exact one."""
    inches = Decimal(match["inches"])
    step = Decimal(1).scaleb(-len(match["inches"].partition(".")[2]))
    tpi = _tpi(match)
    exact = int(inches * _NM_PER_INCH)
    if exact in _inch_sizes():
        yield _Sense(exact, tpi, match["inches"])
        return
    for nominal, threads in _inch_sizes().items():
        size = Decimal(nominal) / _NM_PER_INCH
        near = {size.quantize(step, rule) for rule in (ROUND_HALF_UP, ROUND_HALF_EVEN)}
        if step < Decimal("0.01") and inches in near:
            note = Reason("size_read_as", typed=match["inches"], size=threads[0].size)
            yield _Sense(nominal, tpi, match["inches"], (note,))
            return
    yield _Sense(exact, tpi, match["inches"])


def _inch(ask: _Question, body: str) -> tuple[Thread, tuple[Reason, ...]]:
    senses = list(_senses(body))
    if not senses or ask.grade:
        raise _unreadable(ask.typed)
    known = [sense for sense in senses if sense.nominal in _inch_sizes()]
    if not known:
        if metric := _bare_metric(body):
            raise ThreadError(Reason("thread_ambiguous", typed=ask.typed, candidates=ask.names(metric)))
        first = senses[0]
        raise ThreadError(
            Reason("thread_size_unknown", size=first.size, candidates=_nearest(ask, _inch_sizes(), first.nominal))
        )
    exact = [
        (thread, sense.note)
        for sense in known
        for thread in _inch_sizes()[sense.nominal]
        if sense.tpi is not None and thread.pitch == 2 * sense.tpi
    ]
    fitting = [(thread, note) for thread, note in exact if ask.series in ("", "UN", thread.series)]
    if not fitting:
        fitting = [
            (
                thread,
                (
                    *sense.note,
                    Reason("pitch_from_series", thread=ask.finished(thread).designation, series=ask.series),
                ),
            )
            for sense in known
            for thread in _inch_sizes()[sense.nominal]
            if sense.tpi is None and thread.series == ask.series
        ]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise ThreadError(
            Reason("thread_ambiguous", typed=ask.typed, candidates=ask.names(thread for thread, _ in fitting))
        )
    if exact:
        raise _wrong_series(ask, ask.series, exact[0][0], _inch_sizes()[exact[0][0].nominal])
    raise _no_such_pitch(ask, known)


def _bare_metric(body: str) -> tuple[Thread, ...]:
    """What "14" or "14-1.5" could be in metric, where it is no inch size."""
    match = _METRIC.fullmatch(body)
    if not match:
        return ()
    threads = _metric_sizes().get(int(Decimal(match["size"]) * _NM_PER_MM), ())
    return tuple(thread for thread in threads if not match["pitch"] or thread.pitch_mm == Decimal(match["pitch"]))


def _no_such_pitch(ask: _Question, known: list[_Sense]) -> ThreadError:
    """Nothing fits: which of the senses is blamed, and what would do."""
    open_senses = [sense for sense in known if sense.tpi is None]
    sense = (open_senses or known)[0]
    threads = _inch_sizes()[sense.nominal]
    if sense.tpi is None:
        if ask.series:
            return _wrong_series(ask, ask.series, None, threads)
        return ThreadError(Reason("thread_ambiguous", typed=ask.typed, candidates=ask.names(threads)))
    likely = [thread for thread in threads if thread.series == ask.series] or threads
    size, pitch, names = threads[0].size, plain(sense.tpi), ask.names(likely)
    if not 3 <= sense.tpi <= 100:
        return ThreadError(Reason("thread_pitch_impossible", size=size, pitch=pitch, unit="tpi", candidates=names))
    belongs = "pipe" if sense.tpi == 19 else ""
    return ThreadError(
        Reason(
            "thread_pitch_not_in_series",
            size=size,
            pitch=pitch,
            unit="tpi",
            candidates=names,
            belongs=belongs,
        )
    )


def _wrong_series(ask: _Question, typed_series: str, found: Thread | None, threads: Iterable[Thread]) -> ThreadError:
    """The pitch that was typed belongs to another series of that size, or the size has no such series."""
    right = [thread for thread in threads if thread.series == typed_series]
    others = [found] if found else [thread for thread in threads if thread.series != typed_series]
    return ThreadError(
        Reason(
            "thread_wrong_series",
            typed=ask.typed,
            series=typed_series,
            found=ask.finished(found).designation if found else "",
            found_series=found.series if found else "",
            candidates=ask.names([*right, *others]),
        )
    )


# --- class -------------------------------------------------------------------------------------------------


def _checked_class(thread: Thread, typed_class: str) -> str:
    """The class as its standard writes it; refuses one that the thread does not have."""
    if not typed_class:
        return ""
    thread_class = typed_class.upper() if typed_class[-1] in "ABab" else typed_class
    if thread.system == "EG-M" and thread_class == "4H":
        thread_class = "4H5H"  # tap tables write 4H for the hole class whose crest is grade 5
    internal = thread_class[-1].isupper() and thread_class[-1] != "A"
    try:
        (internal_limits if internal else external_limits)(thread, thread_class)
    except ThreadError:
        known = classes(thread) + classes(thread, internal=False)
        raise ThreadError(
            Reason("thread_class_unknown", thread_class=thread_class, thread=thread.designation, known=known)
        ) from None
    return thread_class
