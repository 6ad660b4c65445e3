"""The page "threads": type anything, or measure and ask what it is."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.documents import candidate_document, size, thread_document
from inventory.drawings import Frame, Profile, Ruler, Side, frame, profile, ruler
from inventory.forms import AskForm, Fault, MeasureForm
from inventory.preferences import units_of
from inventory.quantities import to_nm
from inventory.roles import READ, page
from inventory.threads import Dossier, ExternalLimits, InternalLimits, Reading, dossier

MOST_ALIKE = 3  # look-alikes drawn beside the thread; all of them are told in words


@page(READ)
@require_safe
def threads(request: HttpRequest) -> HttpResponse:
    """A thread's sizes, limits, drills and look-alikes, or the candidates for what was measured."""
    measuring = any(request.GET.get(name) for name in MeasureForm.base_fields)
    ask = AskForm(request.GET or None)
    measure = MeasureForm(request.GET if measuring else None)
    told: dict[str, Any] = {"ask": ask, "measure": measure, "meant": _meant(ask)}
    units = units_of(request)
    if ask.is_valid() and ask.found:
        told |= _shown(ask.found, ask.cleaned_data["q"], units)
    elif measure.is_valid():
        told["candidates"] = [candidate_document(each, units) for each in measure.found]
    return render(request, "inventory/threads.html", told)


def _shown(found: Dossier, reading: Reading, units: str) -> dict[str, Any]:
    alike = [dossier(each.thread) for each in found.look_alikes[:MOST_ALIKE]]
    shared = frame(
        found.pitch_mm,
        (_side(limits) for each in (found, *alike) for limits in (each.internal, each.external)),
    )
    return {
        "found": thread_document(found, typed=reading.typed, notes=reading.notes, units=units),
        "profile": drawn(found),
        "own": drawn(found, shared),
        "sides": _sides(found),
        "ruler": _ruler(found),
        "alike": [(each.thread.designation, drawn(each, shared)) for each in alike],
    }


def drawn(found: Dossier, within: Frame | None = None) -> Profile:
    """The thread's profile with the limits of its hole and its bolt, in a frame that it shares with others."""
    return profile(
        pitch_mm=found.pitch_mm,
        angle=found.angle,
        hole=_side(found.internal),
        bolt=_side(found.external),
        basic=found.outline,
        within=within,
    )


def _side(limits: InternalLimits | ExternalLimits | None) -> Side | None:
    if limits is None:
        return None
    if isinstance(limits, InternalLimits):
        major: tuple[Decimal | None, Decimal | None] = (limits.major_min, None)
        minor: tuple[Decimal | None, Decimal | None] = (limits.minor_min, limits.minor_max)
    else:
        major, minor = (limits.major_min, limits.major_max), (None, limits.minor_max)
    return Side(major, (limits.pitch_min, limits.pitch_max), minor)


def _sides(found: Dossier) -> list[dict[str, Any]]:
    """Limits of hole and bolt, each with its class, its source and one row a limit."""
    sides = []
    for side, limits in (("hole", found.internal), ("bolt", found.external)):
        if limits is None:
            continue
        names = ("major_min", "major_max", "pitch_min", "pitch_max", "minor_min", "minor_max")
        rows = [(name.replace("_", " "), size(getattr(limits, name))) for name in names if hasattr(limits, name)]
        source = limits.source + (" (computed)" if limits.computed else "")
        sides.append({"name": f"{side} {limits.thread_class}", "source": source, "rows": rows})
    return sides


def _meant(ask: AskForm) -> tuple[str, ...]:
    """The threads that may have been meant, where what was typed is a question or cannot be."""
    faults = ask.errors.as_data().get("q", []) if ask.is_bound else []
    return tuple(name for each in faults if isinstance(each, Fault) for name in each.reason.data.get("candidates", ()))


def _ruler(found: Dossier) -> Ruler | None:
    if found.internal is None:
        return None
    least, most = to_nm(found.internal.minor_min, "up"), to_nm(found.internal.minor_max, "down")
    return ruler(least=least, most=most, drills=[(each.drill.name, each.drill.diameter_nm) for each in found.drills])
