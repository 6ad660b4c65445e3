"""Drills by name and size: reading what people type, the standard ones in a window, the published tap drill.
PURE.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from inventory.errors import Reason, Refused
from inventory.threads.limits import internal_limits
from inventory.threads.profiles import percent_of_thread
from inventory.threads.published import table
from inventory.threads.spelling import tidy
from inventory.threads.thread import SYSTEMS, Thread, plain

SERIES = ("metric", "fraction", "number", "letter")
_NM_PER_MM = 1_000_000
_NM_PER_INCH = 25_400_000
_LONGEST = 40
_NUMBER = re.compile(r"(?:#|NO\.?|NR\.?|NUMBER)\s*(\d{1,3})", re.ASCII)
_LETTER = re.compile(r"(?:LETTER\s+)?([A-Z])", re.ASCII)
_FRACTION = re.compile(r"(?:(\d{1,2})[\s-]+)?(\d{1,3})/(\d{1,3})\s*(?:\"|IN\.?|INCH)?", re.ASCII)
_SIZE = re.compile(r"(\d{1,4}(?:\.\d{1,7})?|\.\d{1,7})\s*(MM|\"|IN\.?|INCH|'')?", re.ASCII)


class DrillError(Refused):
    """Text that is no drill, or a thread for which no drill stands in a table; carries its `Reason`."""


@dataclass(frozen=True, slots=True, order=True)
class Drill:
    """One drill: diameter in whole nm, the name on its shank, and where it was found (`source`)."""

    diameter_nm: int
    name: str
    series: str = field(default="", compare=False)
    source: str = field(default="", compare=False)

    @property
    def mm(self) -> Decimal:
        """Diameter in mm, exact.

        >>> read_drill("19/32").mm
        Decimal('15.08125')
        """
        return Decimal(self.diameter_nm) / _NM_PER_MM


@lru_cache(maxsize=1)
def _named() -> dict[str, Drill]:
    listing = table("asme_b94_11m")
    return {
        row["name"]: Drill(
            int(Decimal(row["diameter"]) * _NM_PER_INCH),
            row["name"],
            row["series"],
            listing.standard + (" (from memory)" if row["how"] == "memory" else ""),
        )
        for row in listing.rows
    }


def _fraction_name(inches: Fraction) -> str:
    whole, rest = divmod(inches, 1)
    return f"{whole} {rest} in".removeprefix("0 ") if rest else f"{whole} in"


@lru_cache(maxsize=1)
def _standard() -> tuple[Drill, ...]:
    """All standard drills by size; a size that two rows of steps name stands once."""
    found = {drill.name: drill for drill in _named().values()}
    source = "drills usually stocked (common practice, no source)"
    for row in table("drill_steps").rows:
        first, last, step = (Fraction(row[name]) for name in ("first", "last", "step"))
        scale = _NM_PER_MM if row["series"] == "metric" else _NM_PER_INCH
        for multiple in range(-(-first // step), last // step + 1):
            size = multiple * step
            name = _metric_name(int(size * scale)) if row["series"] == "metric" else _fraction_name(size)
            found.setdefault(name, Drill(int(size * scale), name, row["series"], source))
    return tuple(sorted(found.values()))


def _metric_name(diameter_nm: int) -> str:
    return f"{plain(Decimal(diameter_nm) / _NM_PER_MM)} mm"


def read_drill(text: str, default_unit: str = "mm") -> Drill:
    """The drill that is meant by what was typed: "14.5", "14,5 mm", "19/32", '0.610"', "#7", "No. 7", "Q".

    A bare decimal or whole number is in `default_unit` ("mm" or "in"), a fraction is always in inch. Raises
    DrillError: `drill_empty`, `drill_unreadable` (typed), `drill_unknown_name` (name), `drill_too_fine` (a
    size that is no whole nanometre) and `drill_size_impossible` (diameter_nm; none or over 200 mm).

    >>> read_drill("14,5 mm")
    Drill(diameter_nm=14500000, name='14.5 mm', series='metric', source='')
    >>> read_drill("#7").diameter_nm, read_drill("letter q").name, read_drill('0.610"').name
    (5105400, 'Q', '0.61 in')
    """
    if default_unit not in ("mm", "in"):
        raise ValueError(f"unknown unit {default_unit!r}")
    typed = text[:_LONGEST]
    tidied = tidy(text) if len(text) <= _LONGEST else ""
    tidied = re.sub(r"^(?:DRILL|DIA\.?|Ø|⌀)\s*|\s*DRILL$", "", tidied)
    if not text.strip():
        raise DrillError(Reason("drill_empty"))
    if match := _NUMBER.fullmatch(tidied) or _LETTER.fullmatch(tidied):
        name = match[1] if match[1].isalpha() else f"#{int(match[1])}"
        drill = _named().get(name)
        if drill is None:
            raise DrillError(Reason("drill_unknown_name", name=name))
        return drill
    if match := _FRACTION.fullmatch(tidied):
        if int(match[3]) == 0:
            raise DrillError(Reason("drill_unreadable", typed=typed))
        inches = Fraction(int(match[2]), int(match[3])) + int(match[1] or 0)
        return _of_size(inches * _NM_PER_INCH, _fraction_name(inches), "fraction")
    if match := _SIZE.fullmatch(tidied):
        unit = (match[2] or default_unit).lower()
        number = Decimal(match[1])
        if unit == "mm":
            return _of_size(Fraction(number) * _NM_PER_MM, f"{plain(number)} mm", "metric")
        return _of_size(Fraction(number) * _NM_PER_INCH, f"{plain(number)} in", "decimal")
    raise DrillError(Reason("drill_unreadable", typed=typed))


def _of_size(size_nm: Fraction, name: str, series: str) -> Drill:
    if size_nm.denominator != 1:
        raise DrillError(Reason("drill_too_fine", name=name))
    if not 0 < size_nm <= 200 * _NM_PER_MM:
        raise DrillError(Reason("drill_size_impossible", diameter_nm=int(size_nm)))
    return Drill(int(size_nm), name, series)


def drills_in(lo_nm: int, hi_nm: int, series: Iterable[str] = SERIES) -> tuple[Drill, ...]:
    """The standard drills from `lo_nm` to `hi_nm`, both included, by size. ValueError for an unknown series.

    Number and letter drills: ASME B94.11M. Metric and fractional steps: as usually stocked, common practice.

    >>> [drill.name for drill in drills_in(14_376_000, 14_676_000)]
    ['14.4 mm', '14.5 mm', '14.6 mm']
    >>> [drill.name for drill in drills_in(5_000_000, 5_200_000, series=("number",))]
    ['#8', '#7', '#6']
    """
    wanted = frozenset(series)
    if not wanted <= set(SERIES):
        raise ValueError(f"unknown series {sorted(wanted - set(SERIES))}")
    return tuple(drill for drill in _standard() if lo_nm <= drill.diameter_nm <= hi_nm and drill.series in wanted)


@lru_cache(maxsize=1)
def _tap_drills() -> dict[str, Drill]:
    found = {}
    for row in table("tap_drills").rows:
        found[row["key"]] = replace(read_drill(row["drill"]), source=row["source"])
    return found


def tap_drill(thread: Thread) -> Drill:
    """The tapping drill of a thread: the published one, or one by the rule that its `source` names.

    Not printed: metric D - P to the nearest 0.1 mm (ISO 2306 practice); Unified the standard drill nearest 75 % of
    thread on the 3/4 H basis inside the default class; British and pipe threads the metric one nearest 82 % of
    their basic depth (the middle of the 77 to 87 % that BS 1157 gives); insert holes the standard drill nearest the
    middle of that window. Three published drills lie a hair above the window (33/64 for 9/16-18, 37/64 for 5/8-18,
    45.5 mm for G 1 1/2) and are given as published: compare with `internal_limits` or ask `drill_choices`. Raises
    DrillError `drill_none_fits` (thread).

    >>> tap_drill(Thread("M", 12_000_000, 1_750_000)).name, tap_drill(Thread("UN", 7_937_500, 36)).name
    ('10.2 mm', 'F')
    >>> tap_drill(Thread("EG-M", 14_000_000, 1_500_000)).name, tap_drill(Thread("BSW", 12_700_000, 24)).name
    ('14.4 mm', '10.5 mm')
    """
    published = _published(thread)
    if published:
        return published
    system = SYSTEMS[thread.system]
    limits = internal_limits(thread)
    low, high = int(limits.minor_min * _NM_PER_MM), int(limits.minor_max * _NM_PER_MM)
    if system.code == "M":
        tenths = round((thread.nominal_mm - thread.pitch_mm) * 10)
        size = tenths * _NM_PER_MM // 10
        if low <= size <= high:
            return Drill(size, _metric_name(size), "metric", "D - P to the nearest 0.1 mm (ISO 2306 practice)")
    in_inch = system.inch and system.form == "iso"
    inside = drills_in(low, high, SERIES if in_inch else ("metric",)) or drills_in(low, high)
    if not inside:
        raise DrillError(Reason("drill_none_fits", thread=thread.designation, least_nm=low, most_nm=high))
    if system.form != "iso":
        best = min(inside, key=lambda drill: abs(percent_of_thread(thread, drill.mm, "basic") - 82))
        return replace(best, source=f"standard drill nearest 82 % of the basic depth inside {limits.thread_class}")
    if system.inch and not system.bolt:
        best = min(inside, key=lambda drill: abs(percent_of_thread(thread, drill.mm, "3/4H") - 75))
        return replace(best, source="standard drill nearest 75 % of thread (3/4 H basis) inside 2B")
    best = min(inside, key=lambda drill: abs(drill.diameter_nm - (low + high) // 2))
    return replace(best, source=f"standard drill nearest the middle of {limits.thread_class}")


def _published(thread: Thread) -> Drill | None:
    return _tap_drills().get(replace(thread, hand="R").key)


@dataclass(frozen=True, slots=True)
class DrillChoice:
    """A drill for a thread: where it lies in the window of the hole's class, and how much thread it leaves.

    `position` is 0 at the least minor diameter and 1 at the most, to 0.001, below 0 or above 1 outside.
    `percent_5_8` and `percent_3_4` are per cent of thread on the bases 5/8 H and 3/4 H, `percent_basic` on the form's
    own basic depth (see `percent_of_thread`). `flag`: "published" for the drill that a table gives for the thread,
    "published_above" or "published_below" where that one lies outside the window, "" for all others.
    """

    drill: Drill
    position: Decimal
    percent_5_8: Decimal
    percent_3_4: Decimal
    percent_basic: Decimal
    flag: str


@lru_cache(maxsize=1024)
def drill_choices(thread: Thread, thread_class: str = "") -> tuple[DrillChoice, ...]:
    """Every standard drill inside the minor limits of a hole's class, best first, then a published one outside.

    A drill by the rule of `tap_drill` is listed too where it lies inside and nobody stocks it (M52x1.5: 50.5 mm).
    The published drill leads; the others follow by how near they come to the usual one (`tap_drill`), of two as near
    the larger. Where several names stand for one size, each is listed. Raises ThreadError as `internal_limits` does.

    >>> choices = drill_choices(Thread("UN", 14_287_500, 36))
    >>> [(choice.drill.name, choice.flag) for choice in choices]
    [('13 mm', ''), ('12.9 mm', ''), ('12.8 mm', ''), ('33/64 in', 'published_above')]
    """
    limits = internal_limits(thread, thread_class)
    low, high = int(limits.minor_min * _NM_PER_MM), int(limits.minor_max * _NM_PER_MM)
    published = _published(thread)
    inside = list(drills_in(low, high))
    usual = published or _usual(thread)
    if usual and low <= usual.diameter_nm <= high and usual not in inside:
        inside.append(usual)
    aim = usual.diameter_nm if usual else (low + high) // 2
    inside.sort(key=lambda drill: (drill != published, abs(drill.diameter_nm - aim), -drill.diameter_nm, drill.name))
    found = [_chosen(thread, drill, low, high, "published" if drill == published else "") for drill in inside]
    if published and published not in inside:
        flag = "published_above" if published.diameter_nm > high else "published_below"
        found.append(_chosen(thread, published, low, high, flag))
    return tuple(found)


def _usual(thread: Thread) -> Drill | None:
    try:
        return tap_drill(thread)
    except DrillError:
        return None


def _chosen(thread: Thread, drill: Drill, low: int, high: int, flag: str) -> DrillChoice:
    return DrillChoice(
        drill=_published(thread) or drill if flag else drill,
        position=(Decimal(drill.diameter_nm - low) / (high - low)).quantize(Decimal("0.001")),
        percent_5_8=percent_of_thread(thread, drill.mm, "5/8H"),
        percent_3_4=percent_of_thread(thread, drill.mm, "3/4H"),
        percent_basic=percent_of_thread(thread, drill.mm, "basic"),
        flag=flag,
    )
