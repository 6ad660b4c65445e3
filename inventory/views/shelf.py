"""The pages of the shelf: one search box, and what each unit, batch, item and bin is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import catalogue, counting, search, stock
from inventory.errors import Reason, Refused
from inventory.forms import BATCH_ACTS, UNIT_ACTS, MoveForm, acts_on
from inventory.models import Batch, Bin, Unit
from inventory.presses import pressed
from inventory.refusals import NotThere, status_of
from inventory.roles import MOVE_STOCK, READ, known_as, may, page
from inventory.views.order_points import item_page


def _there(read: Callable[..., Any], *args: Any) -> Any:
    try:
        return read(*args)
    except Refused as refused:
        raise NotThere(refused.reason) from refused


@page(READ)
@require_safe
def shelf(request: HttpRequest) -> HttpResponse:
    """What is found for a text; where nothing was typed, what is away, due or expired."""
    now, typed = timezone.now(), request.GET.get("q", "").strip()
    told: dict[str, Any] = {"area": "shelf", "typed": typed}
    if typed:
        told["found"] = search.find(typed, as_of=now, after=request.GET.get("after", ""))
    else:
        told["lists"] = search.overview(as_of=now)
    return render(request, "inventory/shelf.html", told)


# One thing


@page(READ)
@require_safe
def unit(request: HttpRequest, tag: str) -> HttpResponse:
    """One unit: what it is, where, who holds it, what happened to it."""
    return _unit_page(request, _there(stock.unit_by_tag, tag), timezone.now())


def _unit_page(
    request: HttpRequest, unit: Unit, now: datetime, sent: tuple[str, MoveForm] | None = None
) -> HttpResponse:
    (line,) = search.shelved([unit], [], as_of=now)
    forms = _forms(request, unit, now, {act: UNIT_ACTS[act] for act in acts_on(unit)}, sent)
    told = {"line": line, "forms": forms, "people": stock.people_names() if "lend" in forms else ()}
    return _thing(request, "inventory/unit.html", unit, told, sent)


@page(READ)
@require_safe
def batch(request: HttpRequest, pk: int) -> HttpResponse:
    """One batch: what it is, how much of it is free, for whom the rest is, what happened to it."""
    return _batch_page(request, _there(stock.batch_by_id, pk), timezone.now())


def _batch_page(
    request: HttpRequest, batch: Batch, now: datetime, sent: tuple[str, MoveForm] | None = None
) -> HttpResponse:
    (line,) = search.shelved([], [batch], as_of=now)
    told = {"line": line, "forms": _forms(request, batch, now, BATCH_ACTS, sent)}
    return _thing(request, "inventory/batch.html", batch, told, sent)


def _forms(
    request: HttpRequest,
    thing: Unit | Batch,
    now: datetime,
    acts: Mapping[str, type[MoveForm]],
    sent: tuple[str, MoveForm] | None,
) -> dict[str, MoveForm]:
    """The acts that the reader may do here, each as its form; the one that was sent as it came."""
    if not may(request.user, MOVE_STOCK):
        return {}
    forms = {act: form(thing=thing, as_of=now) for act, form in acts.items()}
    return forms if sent is None else {sent[0]: sent[1], **{act: form for act, form in forms.items() if act != sent[0]}}


def _thing(
    request: HttpRequest, template: str, thing: Unit | Batch, told: dict[str, Any], sent: tuple[str, MoveForm] | None
) -> HttpResponse:
    """The page of a unit or batch with its movements; one that was refused says so by its status."""
    movements, older = stock.movements(thing, before=_number(request, "before"))
    told |= {
        "area": "shelf",
        "thing": thing,
        "sent": sent[0] if sent else "",
        "movements": movements,
        "older": older,
        "done": _number(request, "done"),
        "movers": MOVE_STOCK.roles,
        "scanned": "scanned" in request.GET,  # whoever scanned its label wants to do something with it
    }
    refused = sent[1].refused if sent else None
    return render(request, template, told, status=status_of(refused) if refused else 400 if sent else 200)


def _number(request: HttpRequest, name: str) -> int:
    typed = request.GET.get(name, "")
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 19 else 0


# Several


@page(READ)
@require_safe
def item(request: HttpRequest, number: str) -> HttpResponse:
    """One item of the catalogue with its units and batches."""
    return item_page(request, _there(catalogue.item_at, number))


@page(READ)
@require_safe
def bin_(request: HttpRequest, site: str, name: str) -> HttpResponse:
    """One bin and what has its place there."""
    bin_: Bin = _there(_bin, site, name)
    found = search.of_bin(bin_, after=request.GET.get("after", ""), as_of=timezone.now())
    return render(
        request,
        "inventory/bin.html",
        {"area": "shelf", "bin": bin_, "found": found, "counted": counting.count_of_bin(bin_)},
    )


def _bin(site: str, name: str) -> Bin:
    """The bin of an address; a slash may stand in either name, so every way to part them is tried."""
    parts = f"{site}/{name}".split("/")
    found = stock.bin_at([("/".join(parts[:at]), "/".join(parts[at:])) for at in range(1, len(parts))][:40])
    if found is None:
        raise Refused(Reason("bin_unknown", name=name, site=site))
    return found


# What is pressed


@page(MOVE_STOCK)
@pressed("unit")
def move_unit(request: HttpRequest, tag: str) -> HttpResponse:
    """One act on a unit: lend, send, return, use, move, calibrate, scrap or lose it."""
    now, unit = timezone.now(), _there(stock.unit_by_tag, tag)
    sent = _sent(request, UNIT_ACTS, unit, now)
    movement = sent[1].carried_out(by=known_as(request.user))
    if movement is None:
        return _unit_page(request, _there(stock.unit_by_tag, tag), now, sent)
    return redirect(f"{reverse('unit', args=[unit.tag])}?done={movement.pk}#movements")


@page(MOVE_STOCK)
@pressed("batch")
def move_batch(request: HttpRequest, pk: int) -> HttpResponse:
    """One act on a batch: set it to what was counted, move it, or take away what is spoilt."""
    now, batch = timezone.now(), _there(stock.batch_by_id, pk)
    sent = _sent(request, BATCH_ACTS, batch, now)
    movement = sent[1].carried_out(by=known_as(request.user))
    if movement is None:
        return _batch_page(request, _there(stock.batch_by_id, pk), now, sent)
    return redirect(f"{reverse('batch', args=[pk])}?done={movement.pk}#movements")


def _sent(
    request: HttpRequest, acts: Mapping[str, type[MoveForm]], thing: Unit | Batch, now: datetime
) -> tuple[str, MoveForm]:
    """Which act was sent, and its form with what was typed."""
    act = request.POST.get("act", "")
    if act not in acts:
        raise NotThere(Reason("page_unknown"))
    return act, acts[act](request.POST, thing=thing, as_of=now)
