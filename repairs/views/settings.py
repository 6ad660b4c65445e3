"""The page of the shop's own settings: its limits, its order of methods, the speeds of its spindle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.errors import Refused
from inventory.presses import pressed, sent
from inventory.refusals import status_of
from inventory.roles import READ, known_as, page
from repairs import limits
from repairs.forms import SettingForm
from repairs.limits import METHOD_ORDER, SPINDLE
from repairs.methods.values import DEFAULTS, ORDER, Limits
from repairs.models import ShopLimit
from repairs.roles import SETTLE

# Which limits stand together on the page, in the order in which a repair meets them.
PARTS: dict[str, tuple[str, ...]] = {
    "room": (
        "edge_comfortable", "edge_least_pitches", "floor_least", "clearance_pitches", "bite_least", "wall_least",
        "engagement_soft", "engagement_hard",
    ),
    "tools": ("drill_oversize", "pilot_clearance", "cutter_tolerance", "stop_clearance", "countersink_widest", "scrap"),
    "strength": (
        "torque_over", "threads_least", "thread_ends_lost", "bolt_over", "nut_factor_least", "nut_factor_most",
        "friction_least", "friction_most", "doubt_length", "doubt_edge", "doubt_torque", "doubt_metal",
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting as the page shows it: what holds now, where it comes from, what holds where nobody set it."""

    code: str
    value: str
    unit: str
    source: str
    default: str
    last: ShopLimit | None
    form: SettingForm | None = None

    @property
    def own(self) -> bool:
        """Whether the shop has set it, to something else than holds by itself."""
        return self.last is not None and self.value != self.default


@page(READ)
@require_safe
def settings(request: HttpRequest) -> HttpResponse:
    """Every setting, with who set it and when."""
    return _page(request)


def _page(request: HttpRequest, wrong: SettingForm | None = None, at: str = "", status: int = 200) -> HttpResponse:
    shop, last = limits.current(), limits.last_set()

    def setting(code: str) -> Setting:
        return _setting(code, shop, last.get(code), wrong if code == at else None)

    told: dict[str, Any] = {
        "area": "settings",
        "order": setting(METHOD_ORDER),
        "places": [(_place(wrong, method, at) or place, method) for place, method in enumerate(shop.order, start=1)],
        "spindle": setting(SPINDLE),
        "parts": [(part, [setting(code) for code in codes]) for part, codes in PARTS.items()],
        "at": at,
    }
    return render(request, "repairs/settings.html", told, status=status)


def _place(wrong: SettingForm | None, method: str, at: str) -> str:
    """The place that was typed for a method, where the whole order would not do."""
    return str(wrong.data.get(f"place-{method}", "")) if wrong and at == METHOD_ORDER else ""


def _setting(code: str, shop: Limits, last: ShopLimit | None, wrong: SettingForm | None) -> Setting:
    if code == METHOD_ORDER:
        return Setting(code, " ".join(shop.order), "", "", " ".join(ORDER), last, wrong)
    if code == SPINDLE:
        return Setting(code, " ".join(map(str, shop.spindle)), "rpm", "", "", last, wrong)
    value = format(shop[code].normalize(), "f")
    default = format(DEFAULTS[code].value.normalize(), "f")
    return Setting(code, value, DEFAULTS[code].unit, shop.source(code), default, last, wrong)


@page(SETTLE)
@pressed("settings")
def settle(request: HttpRequest) -> HttpResponse:
    """Set one of them anew, for all plans from now on."""
    form, by = SettingForm(request.POST), known_as(request.user)
    code = sent(request, "code")
    if form.is_valid():
        told = form.cleaned_data
        try:
            limits.change(code=told["code"], value=told["value"], source=told["source"], by=by, as_of=timezone.now())
        except Refused as refused:
            form.refuse("value", refused.reason)
            return _page(request, form, code, status_of(refused.reason))
        return redirect(f"{reverse('settings')}#{code}")
    return _page(request, form, code, 400)
