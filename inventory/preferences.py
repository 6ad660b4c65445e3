"""What a person prefers to see: millimetres or inches first. Kept in the session."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

UNITS = {"mm": "mm", "in": "inch"}


def units_of(request: HttpRequest) -> str:
    """Which unit stands first for whoever asks: "mm" or "in"."""
    wanted = request.session.get("units") if hasattr(request, "session") else None
    return wanted if wanted in UNITS else "mm"


def prefer(request: HttpRequest, units: str) -> None:
    """Keep which unit stands first; anything else than a known one changes nothing."""
    if units in UNITS:
        request.session["units"] = units


def shown_units(request: HttpRequest) -> dict[str, Any]:
    """For every template: which unit stands first."""
    return {"units": units_of(request)}
