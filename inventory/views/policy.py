"""The page of what the crib has settled for itself."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import policy
from inventory.errors import Refused
from inventory.forms import Fault, PolicyForm
from inventory.models import CribSetting
from inventory.policy import SETTINGS, Settled
from inventory.presses import pressed, sent
from inventory.refusals import status_of
from inventory.roles import READ, RUN_CRIB, known_as, page


@dataclass(frozen=True, slots=True)
class Shown:
    """One setting as the page shows it."""

    code: str
    setting: Settled
    value: str
    last: CribSetting | None
    form: PolicyForm


@page(READ)
@require_safe
def shown(request: HttpRequest) -> HttpResponse:
    """Every setting, with who set it, when and why."""
    return _page(request)


def _page(request: HttpRequest, wrong: PolicyForm | None = None, at: str = "", status: int = 200) -> HttpResponse:
    last = policy.last_set()
    found = []
    for code, setting in SETTINGS.items():
        value = last[code].value if code in last else f"{setting.default:f}"
        form = wrong if wrong is not None and code == at else PolicyForm(
            initial={"code": code, "value": value}, auto_id=f"id_{code}_%s"
        )  # fmt: skip
        found.append(Shown(code, setting, value, last.get(code), form))
    told = {"area": "settings", "found": found, "at": at, "setters": RUN_CRIB.roles}
    return render(request, "inventory/policy.html", told, status=status)


@page(RUN_CRIB)
@pressed("crib-settings")
def settle(request: HttpRequest) -> HttpResponse:
    """Settle one thing anew."""
    code = sent(request, "code")
    form = PolicyForm(request.POST, auto_id=f"id_{code}_%s")
    if not form.is_valid():
        return _page(request, form, code, 400)
    asked = form.cleaned_data
    try:
        policy.settle(
            code=asked["code"], value=asked["value"], why=asked["why"], by=known_as(request.user), as_of=timezone.now()
        )
    except Refused as refused:
        form.add_error("value", Fault(refused.reason))
        return _page(request, form, code, status_of(refused.reason))
    return redirect(f"{reverse('crib-settings')}#{code}")
