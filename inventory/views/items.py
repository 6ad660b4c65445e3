"""Items entered by hand, and what is taken in of one without an order."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory import catalogue, reservations, stock
from inventory.errors import Refused
from inventory.forms.entry import CareForm, ItemForm, MeasuresForm, TakeInForm
from inventory.kinds import KINDS
from inventory.models import Item, Unit
from inventory.refusals import NotThere
from inventory.roles import MOVE_STOCK, known_as, page


@page(MOVE_STOCK)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """First which kind it is, then what an item of that kind must carry."""
    kind = KINDS.get(request.GET.get("kind", ""))
    sent = request.POST if request.method == "POST" else None  # an empty press is one too
    form = None if kind is None else ItemForm(sent, kind=kind)
    if form is not None and sent is not None:
        item = form.added()
        if item is not None:
            return redirect(reverse("item-take-in", args=[item.address]))
    told = {"area": "shelf", "kinds": KINDS.values(), "kind": kind, "form": form}
    return render(request, "inventory/item_new.html", told, status=400 if form is not None and form.errors else 200)


def _item(number: str) -> Item:
    try:
        return catalogue.item_at(number)
    except Refused as refused:
        raise NotThere(refused.reason) from refused


@page(MOVE_STOCK)
@require_http_methods(["GET", "HEAD", "POST"])
def care(request: HttpRequest, number: str) -> HttpResponse:
    """How an item wears and is cared for: life and its factors, regrinds, calibration, packs."""
    item = _item(number)
    sent = request.POST if request.method == "POST" else None
    form = CareForm(sent, item=item, as_of=timezone.now())
    kept = form.cared(by=known_as(request.user)) if sent is not None else None
    if kept is not None:
        return redirect(reverse("item", args=[kept.address]))
    told = {"area": "shelf", "item": item, "facts": catalogue.facts(item), "form": form}
    return render(request, "inventory/item_care.html", told, status=400 if form.errors else 200)


@page(MOVE_STOCK)
@require_http_methods(["GET", "HEAD", "POST"])
def measures(request: HttpRequest, number: str) -> HttpResponse:
    """What is measured of an item, corrected or completed, with what hangs on it."""
    item = _item(number)
    sent = request.POST if request.method == "POST" else None
    form = MeasuresForm(sent, item=item, as_of=timezone.now())
    kept = form.measured(by=known_as(request.user)) if sent is not None else None
    if kept is not None:
        return redirect(reverse("item", args=[kept.address]) + "#changes")
    told = {
        "area": "shelf",
        "item": item,
        "facts": catalogue.facts(item),
        "form": form,
        "waiting": reservations.labels_of(item),
        "reground": stock.reground(item),
    }
    return render(request, "inventory/item_measures.html", told, status=400 if form.errors else 200)


@page(MOVE_STOCK)
@require_http_methods(["GET", "HEAD", "POST"])
def take_in(request: HttpRequest, number: str) -> HttpResponse:
    """A tool or a quantity of this item comes into its bin."""
    item = _item(number)
    sent = request.POST if request.method == "POST" else None
    form = TakeInForm(sent, item=item, as_of=timezone.now())
    if sent is not None:
        thing = form.taken_in(by=known_as(request.user))
        if thing is not None:
            if isinstance(thing, Unit):
                return redirect(reverse("unit", args=[thing.tag]))
            return redirect(reverse("batch", args=[thing.pk]))
    told = {"area": "shelf", "item": item, "facts": catalogue.facts(item), "form": form}
    return render(request, "inventory/item_take_in.html", told, status=400 if form.errors else 200)
