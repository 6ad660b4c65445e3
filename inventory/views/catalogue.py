"""The catalogue as a whole: kinds, what cannot be matched, doubles, and what is bought no more."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import catalogue
from inventory.errors import Refused
from inventory.kinds import KINDS
from inventory.models import Item
from inventory.presses import press_key, pressed, sent
from inventory.refusals import NotThere, status_of
from inventory.roles import MOVE_STOCK, READ, known_as, page
from inventory.wording import say


@page(READ)
@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    """Kinds with their counts, items that cannot be matched and on what, doubles side by side."""
    return _shown(request)


def _shown(request: HttpRequest, sentence: str = "", status: int = 200) -> HttpResponse:
    found = catalogue.overview()
    told = {
        "area": "shelf",
        "sentence": sentence,
        "counts": [(KINDS[code], bought, over) for code, bought, over in found.counts],
        "unmatched": [(item, catalogue.facts(item), missing) for item, missing in found.unmatched],
        "alike": [
            (each, catalogue.facts(each.first), catalogue.facts(each.second), uuid.uuid4().hex) for each in found.alike
        ],
        "most": catalogue.SHOWN,
    }
    return render(request, "inventory/catalogue.html", told, status=status)


def _item(request: HttpRequest, name: str) -> Item:
    try:
        return catalogue.item_at(sent(request, name))
    except Refused as refused:
        raise NotThere(refused.reason) from refused


@page(MOVE_STOCK)
@pressed("catalogue")
def supersede(request: HttpRequest) -> HttpResponse:
    """From now on one item is bought in place of another."""
    item, successor = _item(request, "item"), _item(request, "successor")
    try:
        catalogue.supersede_item(
            item, successor, by=known_as(request.user), as_of=timezone.now(), request_key=press_key(request)
        )
    except Refused as refused:
        return _shown(request, say(refused.reason), status_of(refused.reason))
    return redirect(reverse("item", args=[item.address]))


@page(MOVE_STOCK)
@pressed("catalogue")
def retire(request: HttpRequest) -> HttpResponse:
    """An item is bought no more, or again."""
    item = _item(request, "item")
    change = catalogue.restore_item if sent(request, "back") else catalogue.retire_item
    try:
        change(item, by=known_as(request.user), as_of=timezone.now(), request_key=press_key(request))
    except Refused as refused:
        return _shown(request, say(refused.reason), status_of(refused.reason))
    return redirect(reverse("item", args=[item.address]))
