"""Threads as plain documents: what the page shows and the `thread` command and the API answer, in mm and inch.

Sizes are decimal text, each as {"mm": …, "in": …}; a reason is its code, its data and its sentence.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from inventory.errors import Reason
from inventory.quantities import to_mm, to_nm
from inventory.threads import (
    Basic,
    Candidate,
    Dossier,
    DrillChoice,
    ExternalLimits,
    InternalLimits,
    Thread,
    inches,
)
from inventory.wording import say

Document = dict[str, Any]
NANOMETRE = Decimal("0.000001")


def size(mm: Decimal | None) -> Document | None:
    """A size in mm and, to 0.00001, in inch."""
    # Six decimals are a nanometre; only the pitch of an inch thread has more.
    return None if mm is None else {"mm": f"{mm.quantize(NANOMETRE).normalize():f}", "in": f"{inches(mm):f}"}


def reason(told: Reason, units: str = "mm") -> Document:
    """A reason: code, data as JSON values, sentence."""
    return {
        "code": told.code,
        "data": {key: plain(value) for key, value in told.data.items()},
        "text": say(told, units),
    }


def plain(value: Any) -> Any:
    """Reason data as JSON values: base units, times in UTC, decimals as text."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list | frozenset | set):
        return [plain(each) for each in value]
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def millimetres(nm: int | None) -> str | None:
    """A length in nanometres as decimal text in millimetres."""
    return None if nm is None else f"{to_mm(nm):f}"


def newton_metres(nmm: int | None) -> str | None:
    """A torque in newton millimetres as decimal text in newton metres."""
    return None if nmm is None else f"{(Decimal(nmm) / 1000).normalize():f}"


def thread(named: Thread) -> Document:
    """A thread by its key and its designation."""
    return {"key": named.key, "designation": named.designation, "hand": named.hand}


def _basic(sizes: Basic) -> Document:
    return {
        "major": size(sizes.major),
        "pitch_diameter": size(sizes.pitch_diameter),
        "minor_internal": size(sizes.minor_internal),
        "minor_external": size(sizes.minor_external),
    }


def _limits(limits: InternalLimits | ExternalLimits | None) -> Document | None:
    if limits is None:
        return None
    names = (
        ("major_min", "pitch_min", "pitch_max", "minor_min", "minor_max")
        if isinstance(limits, InternalLimits)
        else ("major_min", "major_max", "pitch_min", "pitch_max", "minor_max")
    )
    return {
        "class": limits.thread_class,
        **{name: size(getattr(limits, name)) for name in names},
        "source": limits.source,
        "computed": limits.computed,
    }


def _no_drill(
    named: Thread, limits: InternalLimits | None, choices: Iterable[DrillChoice], units: str
) -> Document | None:
    """What is said where no drill can be named for a hole."""
    if limits is None or any(choices):
        return None
    least, most = to_nm(limits.minor_min, "up"), to_nm(limits.minor_max, "down")
    return reason(Reason("drill_none_fits", thread=named.designation, least_nm=least, most_nm=most), units)


def _drills(choices: Iterable[DrillChoice]) -> list[Document]:
    return [
        {
            "name": choice.drill.name,
            "diameter": size(choice.drill.mm),
            "position_percent": f"{choice.position * 100:.1f}",
            "percent_of_thread": [
                {"basis": "5/8 H", "percent": f"{choice.percent_5_8:f}"},
                {"basis": "3/4 H", "percent": f"{choice.percent_3_4:f}"},
                {"basis": "the form's own depth", "percent": f"{choice.percent_basic:f}"},
            ],
            "flag": choice.flag,
            "source": choice.drill.source,
        }
        for choice in choices
    ]


def thread_document(dossier: Dossier, *, typed: str = "", notes: Iterable[Reason] = (), units: str = "mm") -> Document:
    """Everything about one thread and class: sizes, limits, drills, insert hole, look-alikes, sources."""
    hole = dossier.insert_hole
    return {
        "typed": typed,
        "notes": [reason(note, units) for note in notes],
        "thread": thread(dossier.thread),
        "standard": dossier.standard,
        "series": dossier.series,
        "uses": list(dossier.uses),
        "how_listed": dossier.how_listed,
        "angle_degrees": f"{dossier.angle:f}",
        "pitch": size(dossier.pitch_mm),
        "tpi": None if dossier.tpi is None else f"{dossier.tpi.normalize():f}",
        "basic": _basic(dossier.basic),
        "stress_area": {
            "mm2": f"{dossier.stress_area_mm2:.4f}",
            "in2": f"{dossier.stress_area_mm2 / Decimal('645.16'):.6f}",
        },
        "internal": _limits(dossier.internal),
        "external": _limits(dossier.external),
        "classes": {"internal": list(dossier.internal_classes), "external": list(dossier.external_classes)},
        "tap_drill": None
        if dossier.tap_drill is None
        else {"name": dossier.tap_drill.name, "diameter": size(dossier.tap_drill.mm)},
        "drills": _drills(dossier.drills),
        "no_drill": _no_drill(dossier.thread, dossier.internal, dossier.drills, units),
        "bolt": thread(dossier.bolt) if dossier.bolt else None,
        "insert_hole": None
        if hole is None
        else {
            "thread": thread(hole.thread),
            "basic": _basic(hole.basic),
            "limits": _limits(hole.limits),
            "tap_major": {"least": size(hole.tap_major.tap_min), "most": size(hole.tap_major.tap_max)},
            "drills": _drills(hole.drills),
            "no_drill": _no_drill(hole.thread, hole.limits, hole.drills, units),
        },
        "look_alikes": [
            {
                "thread": thread(alike.thread),
                "diameter_difference": size(alike.diameter_difference_mm),
                "pitch_difference": size(alike.pitch_difference_mm),
                "angle_difference_degrees": f"{alike.angle_difference:f}",
                "turns_to_quarter_pitch": None
                if alike.turns_to_quarter_pitch is None
                else f"{alike.turns_to_quarter_pitch:f}",
                "reason": reason(alike.reason, units),
            }
            for alike in dossier.look_alikes
        ],
        "sources": list(dossier.sources),
    }


def candidate_document(candidate: Candidate, units: str = "mm") -> Document:
    """One answer to "what is this thread?": how far off it is, and what would tell it apart."""
    return {
        "thread": thread(candidate.thread),
        "off_by_doubts": f"{candidate.off_by:f}",
        "diameter_off": size(candidate.diameter_off_mm),
        "pitch_off": size(candidate.pitch_off_mm),
        "tell_apart": [reason(told, units) for told in candidate.tell_apart],
    }
