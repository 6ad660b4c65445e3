"""Reading what people type: one thread, or a refusal that says what is wrong and what would do. PURE."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache, lru_cache

from inventory.errors import Reason
from inventory.threads.insert_holes import insert_hole
from inventory.threads.limits import class_as_written, limits_of_class
from inventory.threads.spelling import level
from inventory.threads.thread import SYSTEMS, Thread, ThreadError, plain, series, uses

LONGEST = 80
_NM_PER_MM = 1_000_000
_NM_PER_INCH = 25_400_000

_SIZE = r"\d{1,4}(?:\.\d{1,6})?|\.\d{1,6}"
_TPI = r"(?:\s*[-X\s]\s*(?P<tpi>\d{1,3}(?:\.\d{1,2})?(?:\s1/2)?)(?:\s*TPI)?)?"
_MARK = r"(?:\s*(?:\"|'')|\s*IN(?:CH|\.)?)?"
_HAND = r"[\s,(-]*(?<![A-Z])(?P<hand>[LR]\.?H\b\.?|(?:LEFT|RIGHT)(?:[\s-]*HAND(?:ED)?)?)(?![A-Z0-9])\)?"
_INSERT = r"[\s,(-]*(?<![A-Z])(?:EG|STI)(?![A-LN-Z])[\s,)-]*"
_CLASS = (
    r"(?:^|[\s,-]+)(?P<name>(?:[3-9][EFGHefgh]){1,2}|[123][ABab]|(?i:close|medium|normal|free|internal)(?:\s(?i:class|fit))?)"
    r"(?=$|[\s,-])"
)
_PAIR = (
    r"(?:^|[\s,-]+)(?P<name>(?:(?:[3-9][EFGH]){1,2}\s*/\s*(?:[3-9][efgh]){1,2}|[123][Bb]\s*/\s*[123][Aa]))(?=$|[\s,-])"
)
_SERIES = r"[\s,-]*(?<![A-Z])(?P<name>UNC|UNF|UNEF|UNS|UN|NC|NF|NEF|NS)(?![A-Z])[\s,-]*"
_GRADE = r"(?:^|[\s,-]+)(?P<name>COARSE|FINE|SPARK(?:[\s-]*PLUG)?)(?=$|\s)"
_METRIC = (
    rf"(?P<m>MF?)?\s*(?P<size>{_SIZE})(?P<mm>\s*MM)?(?:\s*(?P<cross>[-X\s])\s*(?P<pitch>{_SIZE})(?P<pitch_mm>\s*MM)?)?"
)
_NUMBER = rf"(?:#|NO\.?|NR\.?)\s*(?P<number>\d{{1,3}}){_TPI}"
_MIXED = rf"(?P<whole>\d{{1,2}})[\s-]+(?P<top>\d{{1,2}})/(?P<under>\d{{1,3}}){_MARK}{_TPI}"
_FRACTION = rf"(?P<top>\d{{1,3}})/(?P<under>\d{{1,3}}){_MARK}{_TPI}"
_HYPHENED = rf"(?P<top>\d{{1,2}})-(?P<under>2|4|8|16|32|64){_MARK}{_TPI}"
_DECIMAL = rf"(?P<inches>\d?\.\d{{1,6}}){_MARK}{_TPI}"
_WHOLE = rf"(?P<whole>\d{{1,2}})(?P<mark>{_MARK}){_TPI}"
_BA_NUMBER = r"(?:#|NO\.?|NR\.?)?\s*(?P<number>\d{1,3})"
_PIPE = rf"(?P<size>\d{{1,2}}(?:[\s-]+\d{{1,2}}/\d{{1,2}}|/\d{{1,2}})?){_MARK}{_TPI}(?:[\s,-]*(?P<letter>[AB]))?"

# Threads of other standards, by how they are written: recognised so that they are never read as something
# else.
_OTHERS = "|".join(
    f"(?P<{name}>{pattern})"
    for name, pattern in (
        ("NPT", r"N\.?P\.?T\.?F?|NPS[A-Z]?"),
        ("BSPT", r"B\.?S\.?P\.?[\s-]*T(?:R|APER)?(?![A-Z])"),
        ("R", r"(?<![A-Z])R[CP]?[\s-]*\d|\bR[CP]\b|^[\d\s/-]+\"?\s*R$"),
        ("Tr", r"(?<![A-Z])TR\.?[\s-]*\d|TRAPEZ"),
        ("ACME", r"ACME"),
        ("S", r"^S\s*\d"),
        ("Pg", r"^PG\s*\d"),
        ("MJ", r"^MJ\s*\d"),
        ("UNJ", r"UNJ|UNR"),
    )
)
# The word by which each of the other covered systems is called.
_WORDS = "|".join(
    f"(?P<{code}>{pattern})"
    for code, pattern in (
        ("BSW", r"B\.?S\.?W\.?|WHIT(?:WORTH)?\.?|W"),
        ("BSF", r"B\.?S\.?F\.?"),
        ("BA", r"B\.?A\.?"),
        ("CYCLE", r"CYCLE|C\.?E\.?I\.?|B\.?S\.?C\.?(?:Y\.?)?"),
        ("BRASS", r"BRASS|B\.?S\.?B\.?"),
        ("G", r"G(?=\s*\d)|B\.?S\.?P\.?[PF]?\.?"),
    )
)
_CALLED = rf"[\s,-]*(?<![A-Z])(?:{_WORDS})(?![A-Z])[\s,-]*"
_INCH_SYSTEMS = ("UN", "BSW", "BSF", "BRASS", "CYCLE")
_LABELS = {"CYCLE": "cycle", "BRASS": "brass", "M": "metric"}
# Taper pipe threads that are typed by size and pitch alone (ASME B1.20.1), to say what they are.
_NPT = {"1/16": 27, "1/8": 27, "1/4": 18, "3/8": 18, "1/2": 14, "3/4": 14}
_MOST_CANDIDATES = 6  # pitches that would do; more are no help


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
    `pitch_from_series` (thread, series), `system_assumed_metric` (thread), `system_assumed_unified` (thread,
    others: the same size and pitch in another system), `system_from_pitch` (thread: no other system has it),
    `bsp_taken_as_parallel` (thread), `size_read_as` (typed, size). Refusals: `thread_empty`, `thread_too_long`,
    `thread_unreadable`, `thread_not_covered`, `thread_size_unknown`, `thread_pitch_impossible`,
    `thread_pitch_not_in_series`, `thread_wrong_series`, `thread_ambiguous`, `thread_says_two` (said: two kinds of
    thread at once), `thread_class_pair` (classes: of a hole and of its bolt), `thread_class_unknown`; `candidates`
    are designations that would do, the nearest pitch first, `angles` their thread angles where these differ, `known`
    the classes that the thread has.

    >>> read("m14 × 1,5 lh").thread.designation
    'M14x1.5-LH'
    >>> reading = read("M10")
    >>> reading.thread.designation, reading.notes[0].code
    ('M10x1.5', 'pitch_assumed_coarse')
    >>> [read(text).thread.designation for text in ("3/8 whit", "2BA", "1/4 bsp", "1/2 x 20 CEI")]
    ['3/8-16 BSW', '2 BA', 'G 1/4', '1/2-20 cycle']
    >>> try:
    ...     read("9/16-19")
    ... except ThreadError as refused:
    ...     refused.reason.code, refused.reason["candidates"][:2], refused.reason["belongs"]
    ('thread_pitch_not_in_series', ('9/16-18 UNF', '9/16-20 UN'), 'pipe')
    >>> try:
    ...     read("1/4 26")
    ... except ThreadError as refused:
    ...     refused.reason["candidates"], refused.reason["angles"]
    (('1/4-26 BSF', '1/4-26 brass', '1/4-26 cycle'), ('55°', '55°', '60°'))
    """
    if len(text) > LONGEST:
        raise ThreadError(Reason("thread_too_long", length=len(text), longest=LONGEST))
    body = level(text)
    if not body:
        raise ThreadError(Reason("thread_empty"))
    if not body.isascii():
        raise _unreadable(text)
    typed_class, body = _one_class(text, body)
    body = body.upper()
    if other := _regex(_OTHERS).search(body):
        raise ThreadError(Reason("thread_not_covered", system=str(other.lastgroup), typed=text))
    hand, body = _take(_HAND, body, "hand")
    insert, body = _take(_INSERT, body)
    system, word, body = _called(body)
    again, _, rest = _called(body) if system else ("", "", body)
    if again == system:
        body = rest  # "G 1/4 BSP"
    named, body = _take(_SERIES, body, "name")
    grade, body = _take(_GRADE, body, "name")
    body = body.strip(" -,")
    ask = _Question(
        typed=text,
        system=system,
        series=named if named.startswith("U") or not named else f"U{named}",
        grade=grade[:5] if grade.startswith("SPARK") else grade,
        left=hand[:1] == "L",
        insert=bool(insert),
    )
    letter = ""
    _says_one(ask, body, named)
    if system == "G":
        thread, notes, letter = _pipe(ask, body, parallel=word.replace(".", "") != "BSP")
    elif system == "BA":
        thread, notes = _ba(ask, body), ()
    elif not system and (ask.grade == "SPARK" or _is_metric(body)):
        thread, notes = _metric(ask, body)
    else:
        thread, notes = _inch(ask, body)
    thread = ask.finished(thread)
    return Reading(thread, _checked_class(thread, typed_class or letter), notes, text)


@dataclass(frozen=True, slots=True)
class _Question:
    """What was typed beside size and pitch; `system` only where its word was typed."""

    typed: str
    system: str
    series: str
    grade: str
    left: bool
    insert: bool

    @property
    def systems(self) -> tuple[str, ...]:
        """The systems that an inch size may be of."""
        if self.system:
            return (self.system,)
        return ("UN",) if self.series or self.insert else _INCH_SYSTEMS

    def finished(self, thread: Thread) -> Thread:
        if self.insert:
            thread = insert_hole(thread)
        return thread.mirrored() if self.left else thread

    def name(self, thread: Thread) -> str:
        return self.finished(thread).designation

    def names(self, threads: Iterable[Thread]) -> tuple[str, ...]:
        return tuple(self.name(thread) for thread in threads)


def _one_class(text: str, body: str) -> tuple[str, str]:
    """The class that was typed, and the rest; refuses two, as a fit is written: 6H/6g."""
    typed_class, rest = _take(_CLASS, body, "name")
    other_class = _take(_CLASS, rest, "name")[0] if typed_class else ""
    pair = _take(_PAIR, body, "name")[0] if not typed_class and "/" in body else ""
    if pair or other_class:
        both = tuple(part.strip() for part in pair.split("/")) if pair else (typed_class, other_class)
        raise ThreadError(Reason("thread_class_pair", typed=text, classes=both))
    return typed_class, rest


def _says_one(ask: _Question, body: str, named: str) -> None:
    """Refuses what names two kinds of thread: no telling which of them is a slip."""
    if not ask.system and not named:
        return
    again, _, rest = _called(body)
    series, _ = _take(_SERIES, rest, "name")
    metric = _regex(_METRIC).match(body)
    words = (
        *(_LABELS.get(ask.system, ask.system), named, ask.grade.lower() if ask.system else ""),
        *(_LABELS.get(again, again), series, "metric" if metric and metric["m"] else ""),
    )
    said = tuple(word for word in words if word)
    if len(said) > 1:
        raise ThreadError(Reason("thread_says_two", typed=ask.typed, said=said))


@cache
def _regex(pattern: str) -> re.Pattern[str]:
    """Compiled when it is first needed, so that nobody waits for it who only imports."""
    return re.compile(pattern, re.ASCII)


def _take(pattern: str, body: str, group: str = "") -> tuple[str, str]:
    """The first thing that the pattern finds, and the text with a space in its place."""
    match = _regex(pattern).search(body)
    if not match:
        return "", body
    return match[group or 0], f"{body[: match.start()]} {body[match.end() :]}"


def _called(body: str) -> tuple[str, str, str]:
    """The system whose word was typed, that word, and the rest; ("", "", body) where there is none."""
    match = _regex(_CALLED).search(body)
    if not match:
        return "", "", body
    system = str(match.lastgroup)
    return system, match[system], f"{body[: match.start()]} {body[match.end() :]}"


def _unreadable(text: str) -> ThreadError:
    return ThreadError(Reason("thread_unreadable", typed=text))


def _ambiguous(ask: _Question, threads: Iterable[Thread]) -> ThreadError:
    """A question; the thread angles are told where they tell the candidates apart."""
    threads = tuple(threads)
    angles = tuple(f"{plain(SYSTEMS[thread.system].angle)}°" for thread in threads)
    told = {"angles": angles} if len(set(angles)) > 1 else {}
    return ThreadError(Reason("thread_ambiguous", typed=ask.typed, candidates=ask.names(threads), **told))


def _size_unknown(size: str, candidates: tuple[str, ...]) -> ThreadError:
    return ThreadError(Reason("thread_size_unknown", size=size, candidates=candidates))


def _label(thread: Thread) -> str:
    """The series of a Unified or metric thread, the system's word of any other."""
    return thread.series if SYSTEMS[thread.system].form == "iso" else _LABELS.get(thread.system, thread.system)


def _is_metric(body: str) -> bool:
    match = _regex(_METRIC).fullmatch(body)
    if not match:
        return body.startswith("M")
    if match["m"] or match["mm"] or match["pitch_mm"]:
        return True
    if match["cross"] != "X" or _is_crossed_number(match["size"], match["pitch"]):
        return False
    # "14x1.5" is metric; ".5625x18" is an inch size that somebody crossed.
    return (Decimal(match["size"]) >= 1 and Decimal(match["pitch"]) < 8) or Decimal(match["size"]) > 2


def _is_crossed_number(size: str, tpi: str) -> bool:
    """Whether "10x32" is what the text says: a number size and its threads per inch."""
    threads = _sizes(("UN",)).get(_numbered(int(size)), ()) if size.isdecimal() else ()
    return any(thread.tpi == Decimal(tpi) for thread in threads)


# --- metric ------------------------------------------------------------------------------------------------


@cache
def _sizes(systems: tuple[str, ...]) -> dict[int, tuple[Thread, ...]]:
    """Threads by nominal size, the first system first; Unified by series, then by pitch."""
    order = {"UNC": 0, "UNF": 1, "UNEF": 2}
    found: dict[int, list[Thread]] = {}
    for system in systems:
        threads = series(system)
        if system == "UN":
            threads = tuple(sorted(threads, key=lambda thread: (order.get(thread.series, 3), thread.pitch)))
        for thread in threads:
            found.setdefault(thread.nominal, []).append(thread)
    return {nominal: tuple(threads) for nominal, threads in found.items()}


def _metric(ask: _Question, body: str) -> tuple[Thread, tuple[Reason, ...]]:
    match = _regex(_METRIC).fullmatch(body)
    if not match or ask.series:
        raise _unreadable(ask.typed)
    size = Decimal(match["size"])
    sizes = _sizes(("M",))
    threads = sizes.get(int(size * _NM_PER_MM), ())
    if not threads:
        raise _size_unknown(f"M{plain(size)}", _nearest(ask, sizes, int(size * _NM_PER_MM)))
    notes: tuple[Reason, ...] = ()
    if match["pitch"] is None:
        return _metric_without_pitch(ask, threads, fine=match["m"] == "MF" or ask.grade == "FINE")
    thread = _metric_with_pitch(ask, size, Decimal(match["pitch"]), threads)
    if not match["m"]:
        notes = (Reason("system_assumed_metric", thread=ask.name(thread)),)
    return thread, notes


def _metric_without_pitch(ask: _Question, threads: tuple[Thread, ...], fine: bool) -> tuple[Thread, tuple[Reason, ...]]:
    if ask.grade == "SPARK":
        plugs = [thread for thread in threads if uses(thread)]
        if not plugs:
            raise _wrong_series(ask, "spark plug", None, threads)
        return plugs[0], (Reason("pitch_from_series", thread=ask.name(plugs[0]), series="spark plug"),)
    coarse = [thread for thread in threads if thread.series == "coarse"]
    others = [thread for thread in threads if thread.series != "coarse"]
    if len(others) == 1 and (fine or not coarse):
        return others[0], (Reason("pitch_from_series", thread=ask.name(others[0]), series="fine"),)
    if fine or not coarse:
        raise _ambiguous(ask, others)
    name = ask.name(coarse[0])
    if ask.grade:
        return coarse[0], (Reason("pitch_from_series", thread=name, series="coarse"),)
    return coarse[0], (Reason("pitch_assumed_coarse", thread=name, others=ask.names(others)),)


def _metric_with_pitch(ask: _Question, size: Decimal, pitch: Decimal, threads: tuple[Thread, ...]) -> Thread:
    for thread in threads:
        if thread.pitch_mm == pitch:
            if ask.grade == "SPARK" and not uses(thread):
                raise _wrong_series(ask, "spark plug", thread, threads)
            if ask.grade in ("COARSE", "FINE") and (ask.grade == "COARSE") != (thread.series == "coarse"):
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
    near = sorted(threads, key=lambda thread: abs(thread.pitch_mm - pitch))
    raise _not_in_series(f"M{plain(size)}", pitch, "mm", ask.names(near))


def _not_in_series(size: str, pitch: Decimal, unit: str, candidates: tuple[str, ...], belongs: str = "") -> ThreadError:
    return ThreadError(
        Reason(
            "thread_pitch_not_in_series",
            size=size,
            pitch=plain(pitch),
            unit=unit,
            candidates=candidates[:_MOST_CANDIDATES],
            belongs=belongs,
        )
    )


def _nearest(ask: _Question, sizes: dict[int, tuple[Thread, ...]], nominal: int) -> tuple[str, ...]:
    """First thread of the next size below and above."""
    below = max((size for size in sizes if size < nominal), default=None)
    above = min((size for size in sizes if size > nominal), default=None)
    return ask.names(sizes[size][0] for size in (below, above) if size is not None)


# --- sizes that are names ----------------------------------------------------------------------------------


@cache
def _by_name(system: str) -> dict[str, Thread]:
    return {thread.size: thread for thread in series(system)}


def _ba(ask: _Question, body: str) -> Thread:
    match = _regex(_BA_NUMBER).fullmatch(body)
    if not match:
        raise _unreadable(ask.typed)
    number = int(match["number"])
    thread = _by_name("BA").get(str(number))
    if thread is None:
        raise _size_unknown(f"{number} BA", ask.names([_by_name("BA")["16"]]))
    return thread


def _bore(size: str) -> Fraction:
    """ "1 1/4" as a number, to find the nearest size."""
    return sum((Fraction(part) for part in size.split()), Fraction(0))


def _pipe(ask: _Question, body: str, parallel: bool) -> tuple[Thread, tuple[Reason, ...], str]:
    """A pipe thread, its notes and its class letter. `parallel`: it was said, not only "BSP"."""
    match = _regex(_PIPE).fullmatch(body)
    if not match or "/0" in match["size"]:
        raise _unreadable(ask.typed)
    size = " ".join(match["size"].replace("-", " ").split())
    thread = _by_name("G").get(size)
    if thread is None:
        near = sorted(_by_name("G"), key=lambda name: abs(_bore(name) - _bore(size)))
        raise _size_unknown(f"G {size}", ask.names(_by_name("G")[name] for name in near[:2]))
    tpi = _tpi(match)
    if tpi is not None and tpi != thread.tpi:
        raise _not_in_series(f"G {size}", tpi, "tpi", ask.names([thread]))
    notes = () if parallel else (Reason("bsp_taken_as_parallel", thread=ask.name(thread)),)
    return thread, notes, match["letter"] or ""


# --- inch --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Sense:
    """One way to understand an inch size: nominal in nm, threads per inch or None, the size as typed.

    `numbered`: it is a number size, which Unified threads alone have.
    """

    nominal: int
    tpi: Decimal | None
    size: str
    note: tuple[Reason, ...] = ()
    numbered: bool = False

    def threads(self, ask: _Question) -> tuple[Thread, ...]:
        found = _sizes(ask.systems).get(self.nominal, ())
        return tuple(thread for thread in found if thread.system == "UN") if self.numbered else found


def _tpi(match: re.Match[str]) -> Decimal | None:
    typed = match["tpi"]
    if typed is None:
        return None
    return Decimal(typed.removesuffix(" 1/2")) + (Decimal("0.5") if typed.endswith(" 1/2") else 0)


def _numbered(number: int) -> int:
    """Nominal of a number size in nm: 0.060 + 0.013 N inch (ASME B1.1)."""
    return (60 + 13 * number) * _NM_PER_INCH // 1000


def _senses(ask: _Question, body: str) -> Iterator[_Sense]:
    """Every way in which the text can be an inch size: "1-8" is 1 in by 8, number 1 by 8, or 1/8."""
    if match := _regex(_NUMBER).fullmatch(body):
        yield _Sense(_numbered(int(match["number"])), _tpi(match), f"#{match['number']}", numbered=True)
    if match := _regex(_WHOLE).fullmatch(body):
        whole = int(match["whole"])
        yield _Sense(whole * _NM_PER_INCH, _tpi(match), str(whole))
        if not match["mark"]:  # 1" is no number
            yield _Sense(_numbered(whole), _tpi(match), f"#{whole}", numbered=True)
    for pattern in (_FRACTION, _MIXED, _HYPHENED):
        if match := _regex(pattern).fullmatch(body):
            top, under = int(match["top"]), int(match["under"])
            whole = int(match["whole"]) if "whole" in match.groupdict() else 0
            if pattern is _HYPHENED and top % 2 == 0:
                continue  # "2-4" is no fraction that anybody writes
            if under and (whole * under + top) * _NM_PER_INCH % under == 0:
                text = f"{whole} {top}/{under}" if whole else f"{top}/{under}"
                yield _Sense((whole * under + top) * _NM_PER_INCH // under, _tpi(match), text)
    if match := _regex(_DECIMAL).fullmatch(body):
        yield from _decimal_senses(match, _sizes(ask.systems))


def _decimal_senses(match: re.Match[str], sizes: dict[int, tuple[Thread, ...]]) -> Iterator[_Sense]:
    """The published size that rounds to the inches as typed; with one or two places only the exact one."""
    inches = Decimal(match["inches"])
    step = Decimal(1).scaleb(-len(match["inches"].partition(".")[2]))
    tpi = _tpi(match)
    exact = int(inches * _NM_PER_INCH)
    if exact in sizes:
        yield _Sense(exact, tpi, match["inches"])
        return
    for nominal, threads in sizes.items():
        size = Decimal(nominal) / _NM_PER_INCH
        near = {size.quantize(step, rule) for rule in (ROUND_HALF_UP, ROUND_HALF_EVEN)}
        if step < Decimal("0.01") and inches in near:
            note = Reason("size_read_as", typed=match["inches"], size=threads[0].size)
            yield _Sense(nominal, tpi, match["inches"], (note,))
            return
    yield _Sense(exact, tpi, match["inches"])


_Found = list[tuple[Thread, tuple[Reason, ...]]]


def _inch(ask: _Question, body: str) -> tuple[Thread, tuple[Reason, ...]]:
    senses = list(_senses(ask, body))
    if not senses or ask.grade:
        raise _unreadable(ask.typed)
    known = [sense for sense in senses if sense.threads(ask)]
    metric = () if ask.system or ask.series else _bare_metric(body)
    if not known and len(metric) == 1:
        return _taken_as_metric(ask, metric[0], senses[0].tpi is not None)
    if not known:
        raise _no_such_size(ask, senses[0], metric)
    exact = [
        (thread, sense.note)
        for sense in known
        for thread in sense.threads(ask)
        if sense.tpi is not None and thread.pitch == 2 * sense.tpi
    ]
    fitting = [(thread, note) for thread, note in exact if ask.series in ("", "UN", thread.series)]
    if not fitting and (ask.series or ask.system):
        fitting = _filled_in(ask, known)
    if fitting and ask.systems == _INCH_SYSTEMS:
        fitting = _of_one_system(ask, fitting)
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise _ambiguous(ask, (thread for thread, _ in fitting))
    if exact:
        raise _wrong_series(ask, ask.series, exact[0][0], _sizes(("UN",))[exact[0][0].nominal])
    if len(metric) == 1 and all(sense.tpi is not None for sense in known):
        return _taken_as_metric(ask, metric[0], pitch_typed=True)
    raise _no_such_pitch(ask, known, metric)


def _filled_in(ask: _Question, known: list[_Sense]) -> _Found:
    """The threads of the named system or series where no pitch was typed, each with a note that says so."""
    found = []
    for sense in known:
        for thread in sense.threads(ask):
            if sense.tpi is None and (ask.system or thread.series == ask.series):
                note = Reason("pitch_from_series", thread=ask.name(thread), series=ask.series or _label(thread))
                found.append((thread, (*sense.note, note)))
    return found


def _of_one_system(ask: _Question, fitting: _Found) -> _Found:
    """Where size and pitch fit several systems: the Unified thread if it is of a graded series, with a note.

    A constant-pitch Unified thread is rare enough beside a BSF one that only a question is honest.
    """
    unified = [(thread, note) for thread, note in fitting if thread.system == "UN"]
    others = [thread for thread, _ in fitting if thread.system != "UN"]
    if len(unified) == 1 and others and unified[0][0].series in ("UNC", "UNF", "UNEF"):
        thread, note = unified[0]
        told = Reason("system_assumed_unified", thread=ask.name(thread), others=ask.names(others))
        return [(thread, (*note, told))]
    if not unified and len(others) == 1:
        thread, note = fitting[0]
        return [(thread, (*note, Reason("system_from_pitch", thread=ask.name(thread))))]
    return fitting


def _taken_as_metric(ask: _Question, thread: Thread, pitch_typed: bool) -> tuple[Thread, tuple[Reason, ...]]:
    name = ask.name(thread)
    filled_in = () if pitch_typed else (Reason("pitch_from_series", thread=name, series=thread.series),)
    return thread, (Reason("system_assumed_metric", thread=name), *filled_in)


def _no_such_size(ask: _Question, first: _Sense, metric: tuple[Thread, ...]) -> ThreadError:
    if metric:
        return _ambiguous(ask, metric)
    sizes = _sizes(("UN",) if first.numbered else ask.systems)
    size = f"{first.size} {_LABELS.get(ask.system, ask.system)}".strip()
    meant = ask.names(sizes.get(first.nominal, ())) or _nearest(ask, sizes, first.nominal)
    return _size_unknown(size, meant)


def _bare_metric(body: str) -> tuple[Thread, ...]:
    """What "14" or "14-1.5" could be in metric."""
    match = _regex(_METRIC).fullmatch(body)
    if not match:
        return ()
    threads = _sizes(("M",)).get(int(Decimal(match["size"]) * _NM_PER_MM), ())
    return tuple(thread for thread in threads if not match["pitch"] or thread.pitch_mm == Decimal(match["pitch"]))


def _no_such_pitch(ask: _Question, known: list[_Sense], metric: tuple[Thread, ...]) -> ThreadError:
    """Nothing fits: which of the senses is blamed, and what would do."""
    open_senses = [sense for sense in known if sense.tpi is None]
    sense = (open_senses or known)[0]
    threads = sense.threads(ask)
    bore = _by_name("G").get(sense.size)
    pipe = bore if ask.systems == _INCH_SYSTEMS else None
    if sense.tpi is None:
        if ask.series:
            return _wrong_series(ask, ask.series, None, threads)
        return _ambiguous(ask, [*threads, *([pipe] if pipe else []), *metric])
    likely = [thread for thread in threads if thread.series == ask.series] or threads
    elsewhere = [
        thread
        for thread in _sizes(_INCH_SYSTEMS).get(sense.nominal, ())
        if thread.pitch == 2 * sense.tpi and not sense.numbered
    ]
    if len(elsewhere) == 1:
        return _wrong_series(ask, ask.series or _LABELS.get(ask.system, ask.system), elsewhere[0], likely)
    tpi, size, names = sense.tpi, sense.size, ask.names(likely)
    if not 3 <= sense.tpi <= 100:
        return ThreadError(
            Reason("thread_pitch_impossible", size=size, pitch=plain(sense.tpi), unit="tpi", candidates=names)
        )
    names = ask.names(sorted(likely, key=lambda thread: abs(Decimal(thread.pitch) / 2 - tpi)))
    belongs = ", ".join(_label(thread) for thread in elsewhere)
    if pipe and pipe.tpi == tpi:
        names = (ask.name(pipe), *names)
    if tpi == 19 or (bore and bore.tpi == tpi):
        belongs = "pipe"
    elif not belongs and _NPT.get(size) == tpi:
        belongs = "taper pipe (NPT)"
    return _not_in_series(size, tpi, "tpi", names, belongs)


def _wrong_series(ask: _Question, typed_series: str, found: Thread | None, threads: Iterable[Thread]) -> ThreadError:
    """The pitch that was typed belongs to another series of that size, or the size has no such series."""

    def is_right(thread: Thread) -> bool:
        return bool(uses(thread)) if typed_series == "spark plug" else _label(thread) == typed_series

    right = [thread for thread in threads if is_right(thread)]
    others = [found] if found else [thread for thread in threads if not is_right(thread)]
    return ThreadError(
        Reason(
            "thread_wrong_series",
            typed=ask.typed,
            series=typed_series,
            found=ask.name(found) if found else "",
            found_series=_label(found) if found else "",
            candidates=ask.names([*right, *others]),
        )
    )


# --- class -------------------------------------------------------------------------------------------------


def _checked_class(thread: Thread, typed_class: str) -> str:
    """The class as its standard writes it; refuses one that the thread does not have."""
    if not typed_class:
        return ""
    words = typed_class.split()  # "Medium fit"
    thread_class = class_as_written(thread, words[0])
    if thread.system == "EG-M" and thread_class == "4H":
        thread_class = "4H5H"  # tap tables write 4H for the hole class whose crest is grade 5
    limits_of_class(thread, thread_class)
    return thread_class
