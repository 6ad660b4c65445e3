"""What somebody types to find a thing on the shelf, read as the trade writes it: kinds, threads, sizes, words. PURE.

Nothing is passed over in silence: what is no kind, no size and no list stays as a word, for whoever knows the names of
things to find or to call unknown. What can be more than one thing is asked back.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from inventory.errors import Reason, Refused
from inventory.kinds import KINDS, plain
from inventory.quantities import read_torque, show_length, to_nm
from inventory.threads import DrillError, Reading, Thread, ThreadError, internal_limits, read, read_drill
from inventory.threads.spelling import level

LONGEST = 80
CANDIDATES = 8

_FILLERS = frozenset(
    ("a", "an", "the", "of", "for", "and", "with", "size", "dia", "diameter", "thread", "threads", "all", "any")
) | {"everything"}
_LABELS = {"tag": "tag", "unit": "tag", "bin": "bin", "lot": "lot", "batch": "lot", "item": "number"}
_STATES = {
    "away": "away", "on loan": "loan", "lent": "loan", "at regrind": "at_regrind", "at calibration": "at_calibration",
    "due for regrind": "due_regrind", "due regrind": "due_regrind", "regrind": "due_regrind", "blunt": "due_regrind",
    "due for calibration": "due_calibration", "due calibration": "due_calibration",
    "calibration due": "due_calibration", "calibration": "due_calibration", "expired": "expired",
}  # fmt: skip
_FLUTES = {
    "spiral point": "point", "spiral pointed": "point", "spiral flute": "spiral", "spiral fluted": "spiral",
    "straight flute": "straight", "straight fluted": "straight",
}  # fmt: skip
_ACTIONS = {"forming": "form", "form tap": "form", "cutting": "cut"}
_CLASS = re.compile(r"(?:[3-9][EFGHefgh]){1,2}|[123][ABab]")
_RANGES = (re.compile(r"(.+?)\s*(?:\bto\b|\.\.\.?)\s*(.+)", re.IGNORECASE), re.compile(r"(.+?)\s*-\s*(.+)"))
_DECIMAL = re.compile(r"\d*\.?\d+(?:\s*(?:mm|in|\"))?", re.IGNORECASE)
_FRACTION = re.compile(r"(?:\d+[\s-])?\d+/\d+(?:\s*(?:in|\"))?", re.IGNORECASE)


# Last words that many names have too, or that mean something else alone: a cylinder head, a spark plug, a bush.
_OF_NAMES = frozenset(
    {"item", "items", "bin", "bins", "head", "heads", "plug", "plugs", "bush", "bushes", "bolt", "bolts"}
)


def kind_words() -> dict[str, tuple[str, ...]]:
    """Kinds by every word that they go by: their own, in one and in many, and a last word that several share.

    >>> kind_words()["taps"], kind_words()["gauge"]
    (('tap',), ('hole_gauge', 'final_gauge', 'minor_gauge', 'pitch_gauge', 'depth_gauge'))
    """
    words: dict[str, tuple[str, ...]] = {}
    heads: dict[str, list[str]] = defaultdict(list)
    for kind in KINDS.values():
        for word in (kind.word, kind.plural):
            words[word] = (kind.code,)
            head = word.rsplit(" ", 1)[-1]
            if head != word and head not in _OF_NAMES:
                heads[head].append(kind.code)
    words = {**{head: tuple(codes) for head, codes in heads.items()}, **words}
    for word in ("tap drill", "tapping drill"):
        words |= {word: ("drill",), f"{word}s": ("drill",)}
    return words


_KINDS = kind_words()
_BUSHES = frozenset({"bush", "bushes", "bushing", "bushings"})  # inserts, where nothing else is asked for


@dataclass(frozen=True, slots=True)
class Query:
    """What was understood of a text.

    `kinds` are codes, none for any kind; `thread` is carried outside, `inner` inside an insert; `diameter` is a closed
    range in nm, of drills for `thread` the window of its hole; `torque` in N·mm. `state` is a list of its own, such
    as "away". `place` is a bin or a site, `named` the tag, bin, lot or number that the text says it is. `words` are
    left over for names. `question` is what has to be asked back, with `candidates`, texts that would do.
    """

    typed: str
    kinds: tuple[str, ...] = ()
    thread: Thread | None = None
    thread_class: str = ""
    inner: Thread | None = None
    diameter: tuple[int, int] | None = None
    torque: int | None = None
    flute: str = ""
    action: str = ""
    state: str = ""
    place: str = ""
    named: tuple[str, str] | None = None
    words: tuple[str, ...] = ()
    notes: tuple[Reason, ...] = ()
    question: Reason | None = None
    candidates: tuple[str, ...] = ()

    @property
    def says_something(self) -> bool:
        """Whether anything beside words for names was understood."""
        sizes = (self.thread, self.diameter, self.torque)
        return bool(self.kinds or self.thread_class or self.flute or self.action or any(size for size in sizes))


def read_query(text: str) -> Query:
    """What a text asks of the shelf; reads any text and raises nothing.

    `question` is set where it can be more than one thing (`thread_ambiguous`, `size_or_thread` …) or says a size that
    cannot be; `notes` say what was filled in.

    >>> read_query("tap m14 x 1,5").thread.designation, read_query("M14x1.5 taps").kinds
    ('M14x1.5', ('tap',))
    >>> read_query("drill 14.4–14.7").diameter, read_query("14,5 drill").diameter
    ((14400000, 14700000), (14500000, 14500000))
    >>> asked = read_query("insert M14x1.5 in M16x1.5")
    >>> asked.inner.designation, asked.thread.designation
    ('M14x1.5', 'M16x1.5')
    >>> read_query("tap 14").candidates[:2], read_query("blunt taps").state
    (('tap M14x2', 'tap M14x1.5'), 'due_regrind')
    """
    typed = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    body = level(typed)
    if len(body) > LONGEST:
        return Query(typed[:LONGEST], question=Reason("query_too_long", length=len(body), longest=LONGEST))
    label, _, name = body.partition(" ")
    if name and label.lower() in _LABELS:
        return Query(typed, named=(_LABELS[label.lower()], name.strip()))
    reader = _Reader(typed, [word for word in (each.strip(",;:?") for each in body.split()) if word])
    return reader.read()


class _Reader:
    """The words of a text; what was understood is taken out of `left`, by its place in the text."""

    def __init__(self, typed: str, words: list[str]) -> None:
        self.typed, self.words = typed, words
        self.left = dict(enumerate(words))

    def read(self) -> Query:
        states = self.take(_STATES)
        kinds = tuple(dict.fromkeys(code for codes in self.take(_KINDS) for code in codes))
        if not kinds and self.take(dict.fromkeys(_BUSHES, True)):
            kinds = ("insert",)
        flutes, actions = self.take(_FLUTES), self.take(_ACTIONS)
        query = Query(
            self.typed,
            kinds=kinds,
            state=states[0] if states else "",
            flute=flutes[0] if flutes else "",
            action=actions[0] if actions else "",
        )
        query = self.pair(query) or self.size(query)
        query = self.with_class(self.with_place(query))
        rest = [word for word in self.left.values() if word.lower() not in _FILLERS]
        carried_by_none = _not_carried(query, rest)
        rest = [word for word in rest if word not in carried_by_none]
        return replace(query, words=tuple(rest), notes=(*query.notes, *carried_by_none.values()))

    def take(self, vocabulary: dict[str, Any]) -> list[Any]:
        """What the phrases found stand for, the longest first; they are taken out."""
        found = []
        for length in (3, 2, 1):
            for at in range(len(self.words) - length + 1):
                places = range(at, at + length)
                phrase = plain(" ".join(self.words[place] for place in places))
                if phrase in vocabulary and all(place in self.left for place in places):
                    found.append((at, vocabulary[phrase]))
                    self.drop(places)
        return [meaning for _, meaning in sorted(found, key=lambda pair: pair[0])]

    def drop(self, places: Iterable[int]) -> None:
        for place in places:
            self.left.pop(place, None)

    def spans(self, places: Sequence[int]) -> Iterator[tuple[Sequence[int], str]]:
        """Runs of the words at these places, the longest first, each with its text."""
        for length in range(min(len(places), 6), 0, -1):
            for at in range(len(places) - length + 1):
                span = places[at : at + length]
                yield span, " ".join(self.words[place] for place in span)

    def instead(self, span: Collection[int], said: str) -> str:
        """The whole text with this in the place of a span."""
        words = [said if place == min(span) else word for place, word in enumerate(self.words)
                 if place == min(span) or place not in span]  # fmt: skip
        return " ".join(words)

    def asked(self, query: Query, span: Collection[int], reason: Reason, said: Sequence[str]) -> Query:
        """The query with what has to be asked about a span."""
        self.drop(span)
        candidates = tuple(self.instead(span, each) for each in said[:CANDIDATES])
        return replace(query, question=reason, candidates=candidates)

    def pair(self, query: Query) -> Query | None:
        """Two threads with "in" between them: an insert, inside and outside."""
        if query.kinds and "insert" not in query.kinds:
            return None
        for middle in [place for place, word in self.left.items() if word.lower() == "in"]:
            before = [place for place in self.left if place < middle]
            after = [place for place in self.left if place > middle]
            inner = next((found for found in self._threads(before[-4:]) if found[0][-1:] == before[-1:]), None)
            outer = next((found for found in self._threads(after[:4]) if found[0][:1] == after[:1]), None)
            if inner is None or outer is None:
                continue
            for span, answer in (inner, outer):
                if isinstance(answer, Reason):
                    return self.asked(query, span, answer, answer.data.get("candidates", ()))
            self.drop([*inner[0], middle, *outer[0]])
            notes = (*inner[1].notes, *outer[1].notes)
            kinds = query.kinds or ("insert",)
            return replace(query, kinds=kinds, inner=inner[1].thread, thread=outer[1].thread, notes=notes)
        return None

    def _threads(self, places: Sequence[int]) -> Iterator[tuple[Sequence[int], Any]]:
        return ((span, answer) for span, text in self.spans(places) if (answer := _thread(text)) is not None)

    def size(self, query: Query) -> Query:
        """The one size of the text: a thread, a diameter or a range of them, a torque."""
        if "torque_wrench" in query.kinds:
            for span, text in self.spans(list(self.left)):
                if re.search(r"\d\s*[a-z]", text, re.IGNORECASE) and (torque := _torque(text)):
                    self.drop(span)
                    return replace(query, torque=torque)
        threaded = not query.kinds or any(by_thread(kind) or kind == "drill" for kind in query.kinds)
        measured = not query.kinds or any(by_diameter(kind) for kind in query.kinds)
        only_measured = bool(query.kinds) and not any(by_thread(kind) for kind in query.kinds)
        for span, text in self.spans(list(self.left)):
            lettered = query.kinds == ("drill",) and re.fullmatch(r"(?:letter )?[a-z]", text, re.IGNORECASE)
            if not lettered and not any(sign.isdigit() for sign in text):
                continue
            thread = _thread(text) if threaded else None
            diameter = _diameter(text, turned=only_measured) if measured else None
            found = self._sized(query, span, text, thread, diameter)
            if found is not None:
                return found
        return query

    def _sized(
        self,
        query: Query,
        span: Sequence[int],
        text: str,
        thread: Reading | Reason | None,
        diameter: tuple[int, int] | None,
    ) -> Query | None:
        """The query with what a span of it says, where it says a size."""
        only_measured = bool(query.kinds) and not any(by_thread(kind) for kind in query.kinds)
        if diameter is not None and (only_measured or text.lower().endswith("mm")):
            one = diameter[0] == diameter[1]
            thread = None if one or not isinstance(thread, Reading) else thread
        if (isinstance(thread, Reading) and diameter is not None) or (
            isinstance(thread, Reason) and thread.code == "thread_ambiguous" and diameter is not None
        ):  # fmt: skip
            names = (thread.thread.designation,) if isinstance(thread, Reading) else thread["candidates"]
            said = [*names[: CANDIDATES - 1], _as_drill(query, text, diameter)]
            return self.asked(query, span, Reason("size_or_thread", typed=text, candidates=tuple(said)), said)
        if diameter is not None:
            self.drop(span)
            return replace(query, diameter=diameter)
        if isinstance(thread, Reason):
            return self.asked(query, span, thread, thread.data.get("candidates", ()))
        if thread is None:
            return None
        self.drop(span)
        return _with_thread(query, thread)

    def with_place(self, query: Query) -> Query:
        """ "in B4", "at Yard": a bin or a site."""
        for place in list(self.left):
            if self.words[place].lower() in ("in", "at") and place + 1 in self.left:
                name = self.left[place + 1]
                self.drop([place, place + 1])
                return replace(query, place=name)
        return query

    def with_class(self, query: Query) -> Query:
        for place, word in list(self.left.items()):
            if not query.thread_class and _CLASS.fullmatch(word):
                self.drop([place])
                return replace(query, thread_class=word.upper() if word[-1] in "ABab" else word)
        return query


def _thread(text: str) -> Reading | Reason | None:
    """The thread that a text says, what has to be asked about it, or None where it is no thread at all."""
    try:
        return read(text)
    except ThreadError as refused:
        asks = refused.reason.data.get("candidates") or refused.reason.code == "thread_class_unknown"
        return refused.reason if asks else None


def _diameter(text: str, *, turned: bool = False) -> tuple[int, int] | None:
    """The closed range of diameters that a text says in nm; of one size, that size alone.

    `turned`: the larger end may stand first, where no thread can be meant.
    """
    try:
        size = read_drill(text).diameter_nm
        return size, size
    except DrillError:
        pass
    match = next((found for form in _RANGES if (found := form.fullmatch(text))), None)
    if match is None:
        return None
    ends = match[1], match[2]
    # Both ends written alike: "9/16-18" is no range, and "10-24 mm" gives its unit once.
    if not any(all(form.fullmatch(end) for end in ends) for form in (_DECIMAL, _FRACTION)):
        return None
    unit = re.search(r"(mm|in|\")$", ends[1], re.IGNORECASE)
    first = ends[0] if unit is None or re.search(r"[a-z\"]$", ends[0], re.IGNORECASE) else f"{ends[0]} {unit[1]}"
    try:
        least, most = read_drill(first).diameter_nm, read_drill(ends[1]).diameter_nm
    except DrillError:
        return None
    if turned and most < least:
        least, most = most, least
    return (least, most) if least < most else None


def _torque(text: str) -> int | None:
    try:
        return read_torque(text)
    except Refused:
        return None


def _as_drill(query: Query, text: str, diameter: tuple[int, int]) -> str:
    """A diameter as it can be typed again without being taken for a thread."""
    least, most = (show_length(end).partition(" mm")[0] for end in diameter)
    size = f"{least} mm" if least == most else f"{least} to {most} mm"
    size = text if least == most and "/" in text else size
    return size if query.kinds else f"drill {size}"


def _with_thread(query: Query, reading: Reading) -> Query:
    """The query with a thread; drills for it are those in the window of its hole."""
    query = replace(
        query, thread=reading.thread, thread_class=reading.thread_class, notes=(*query.notes, *reading.notes)
    )
    if "drill" not in query.kinds:
        return query
    try:
        limits = internal_limits(reading.thread, reading.thread_class)
    except ThreadError as refused:
        return replace(query, question=refused.reason)
    window = to_nm(limits.minor_min, "up"), to_nm(limits.minor_max, "down")
    note = Reason(
        "drills_for_thread",
        thread=reading.thread.designation,
        thread_class=limits.thread_class,
        least_nm=window[0],
        most_nm=window[1],
    )
    return replace(query, diameter=window, thread_class="", notes=(*query.notes, note))


def by_thread(kind: str) -> bool:
    """Whether things of this kind are told apart by a thread.

    >>> by_thread("tap"), by_thread("drill")
    (True, False)
    """
    return bool({"thread", "inner"} & set(KINDS[kind].measures))


def by_diameter(kind: str) -> bool:
    """Whether things of this kind are told apart by a diameter.

    >>> by_diameter("drill"), by_diameter("tap")
    (True, False)
    """
    return "diameter" in KINDS[kind].measures


def _not_carried(query: Query, rest: Sequence[str]) -> dict[str, Reason]:
    """The words that are a thread where none is kept of the kinds asked for, each with the reason."""
    if query.thread is not None or not query.kinds:
        return {}
    kinds = tuple(KINDS[kind].plural for kind in query.kinds)
    read_as = {word: reading.thread for word in rest if isinstance(reading := _thread(word), Reading)}
    return {
        word: Reason("kinds_carry_no_thread", kinds=kinds, thread=thread.designation)
        for word, thread in read_as.items()
    }


KNOWN = (*_KINDS, *_STATES, *_BUSHES)  # words that are understood, for whoever spelt one in another way
