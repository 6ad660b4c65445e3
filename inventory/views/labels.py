"""Labels of what is on the shelf: chosen, printed, and opened again by scanning one."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import counting, search, stock
from inventory.errors import Refused
from inventory.forms import LabelsForm
from inventory.labels import MOST, SHEETS, Chosen, Several, chosen, label_of, opened, scanned, sheets_taken
from inventory.labels import pdf as printed
from inventory.models import Batch, Bin, Unit
from inventory.preferences import units_of
from inventory.refusals import status_of
from inventory.roles import COUNT, READ, may, page
from inventory.wording import say

SHOWN = 12  # labels told before they are printed
_HERE_ALONE = ("localhost", "127.0.0.1", "[::1]")


def _base(request: HttpRequest) -> str:
    """The address that codes lead to: the site's own setting, else how the reader reaches it."""
    return str(settings.SITE_ADDRESS or request.build_absolute_uri("/").rstrip("/"))


def _numbers(request: HttpRequest, name: str) -> list[int]:
    return [int(each) for each in request.GET.getlist(name) if each.isascii() and each.isdigit() and len(each) < 19]


def _chosen(request: HttpRequest) -> Chosen:
    """What the address asks labels of."""
    typed = request.GET.get("q", "").replace("\0", "").strip()
    return chosen(
        tags=[tag.replace("\0", "") for tag in request.GET.getlist("unit")],
        batches=_numbers(request, "batch"),
        bins=_numbers(request, "bin"),
        site=request.GET.get("site", "").replace("\0", ""),
        found=search.everything(typed, as_of=timezone.now(), most=MOST + 1) if typed else (),
    )


def _form(request: HttpRequest) -> LabelsForm:
    return LabelsForm(request.GET if "sheet" in request.GET else {"sheet": next(iter(SHEETS)), "start": "1"})


@page(READ)
@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """What labels are printed of, how many they are, and on which sheet they go."""
    return _labels_page(request, _chosen(request), _form(request))


def _labels_page(request: HttpRequest, things: Chosen, form: LabelsForm, status: int = 200) -> HttpResponse:
    base, units = _base(request), units_of(request)
    count = len(things.things)
    valid = form.is_valid()
    told: dict[str, Any] = {
        "area": "shelf",
        "form": form,
        "typed": request.GET.get("q", ""),
        "asked": [(name, value) for name in ("unit", "batch", "bin", "site") for value in request.GET.getlist(name)],
        "sites": stock.site_names(),
        "count": count,
        "most": MOST,
        "too_many": things.too_many,
        "labels": [label_of(thing, units=units) for thing in things.things[:SHOWN]],
        "further": max(0, min(count, MOST) - SHOWN),
        "sheets": sheets_taken(count, form.asked["sheet"], form.asked["start"]) if valid else 0,
        "on_a_roll": valid and form.asked["sheet"].roll,
        "base": base,
        "here_alone": request.get_host().rsplit(":", 1)[0] in _HERE_ALONE and not settings.SITE_ADDRESS,
    }
    return render(request, "inventory/labels.html", told, status=status)


@page(READ)
@require_safe
def pdf(request: HttpRequest) -> HttpResponse:
    """The labels, to be printed; what cannot be printed is told on the page where it was asked for."""
    things, form = _chosen(request), _form(request)
    if not form.is_valid():
        return _labels_page(request, things, form, 400)
    units = units_of(request)
    try:
        made = printed([label_of(thing, units=units) for thing in things.things], **form.asked, base=_base(request))
    except Refused as refused:
        return _labels_page(request, things, form, status_of(refused.reason))
    answer = HttpResponse(made, content_type="application/pdf")
    answer.headers["Content-Disposition"] = 'attachment; filename="labels.pdf"'
    return answer


@page(READ)
@require_safe
def field(request: HttpRequest) -> HttpResponse:
    """A field for a scanner that types and sends Enter, or for somebody who types a tag."""
    typed = request.GET.get("tag", "")
    if not typed.strip():
        return render(request, "inventory/tag.html", {"area": "shelf"})
    return _opened(request, scanned(typed), typed, unknown=200)  # the field is there, whatever was typed into it


@page(READ)
@require_safe
def tag(request: HttpRequest, tag: str) -> HttpResponse:
    """What a label's code stands for, opened where it can be acted upon."""
    return _opened(request, tag, tag)


def _opened(request: HttpRequest, text: str, typed: str, unknown: int = 404) -> HttpResponse:
    try:
        thing = opened(text)
    except Several as several:
        told = {"area": "shelf", "typed": typed, "sentence": say(several.reason), "things": several.things}
        return render(request, "inventory/tag.html", told)
    except Refused as refused:
        told = {"area": "shelf", "typed": text or typed, "sentence": say(refused.reason), **refused.reason.data}
        return render(request, "inventory/tag.html", told, status=unknown)
    return redirect(_address(thing, counts=may(request.user, COUNT)))


def _address(thing: Unit | Batch | Bin, *, counts: bool) -> str:
    """The page of a thing; of a unit or batch what can be done with it, of a bin that is being counted its sheet."""
    if isinstance(thing, Bin):
        if counts and (count := counting.count_of_bin(thing)):
            return reverse("count-sheet", args=[count, thing.pk])
        return reverse("bin", args=[thing.site.name, thing.name])
    if isinstance(thing, Batch):
        return f"{reverse('batch', args=[thing.pk])}?scanned=1"
    return f"{reverse('unit', args=[thing.tag])}?scanned=1"
