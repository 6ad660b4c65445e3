"""Order points: the page of every counted item, and the presses that set one."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import catalogue, order_points, search
from inventory.errors import Reason, Refused
from inventory.forms import OrderPointForm
from inventory.kinds import KINDS
from inventory.models import Item
from inventory.presses import press_key, pressed, sent
from inventory.refusals import NotThere, status_of
from inventory.roles import ORDER_POINTS, READ, known_as, page
from inventory.wear import materials
from inventory.wording import say


@page(READ)
@require_safe
def listed(request: HttpRequest) -> HttpResponse:
    """Every counted item as it stands, a page at a time; or what is at or below its order point alone."""
    return _listed(request)


def _listed(request: HttpRequest, refused: Reason | None = None, at: int = 0) -> HttpResponse:
    asked = request.GET.get("after", "")
    after = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 19 else 0
    low = request.GET.get("show", "") == "low"
    found, more = order_points.counted(after=after, low=low, as_of=timezone.now())
    told = {
        "area": "shelf", "found": found, "more": more, "low": low, "key": uuid.uuid4().hex, "refused": refused,
        "at": at, "setters": ORDER_POINTS.roles,
    }  # fmt: skip
    return render(
        request, "inventory/order_points.html", told, status=status_of(refused) if refused else 200
    )  # fmt: skip


def item_page(request: HttpRequest, item: Item, form: OrderPointForm | None = None, status: int = 200) -> HttpResponse:
    """One item of the catalogue with its units and batches; of a counted one its order point too."""
    now = timezone.now()
    found = search.of_item(item, after=request.GET.get("after", ""), as_of=now)
    told: dict[str, Any] = {"area": "shelf", "item": item, "facts": catalogue.facts(item), "found": found}
    told |= {"current": catalogue.current(item), "key": uuid.uuid4().hex, "changes": catalogue.history(item)}
    told["alike"] = () if item.retired else catalogue.alike(item)
    if KINDS[item.kind].wears:
        words = materials()
        told["factors"] = [(words.get(code, code), each) for code, each in sorted(catalogue.factors_of(item).items())]
    if item.counted:
        told |= _standing(item, form, now)
    return render(request, "inventory/item.html", told, status=status)


def _standing(item: Item, form: OrderPointForm | None, now: datetime) -> dict[str, Any]:
    standing = order_points.standing(item, as_of=now)
    held = standing.set
    initial = {"request_key": uuid.uuid4().hex}
    if held is not None:
        initial |= {name: getattr(held, name) for name in ("minimum", "order_point", "maximum")}
    return {
        "standing": standing, "form": form or OrderPointForm(initial=initial), "key": uuid.uuid4().hex,
        "history": order_points.history(item), "setters": ORDER_POINTS.roles,
    }  # fmt: skip


def _item(number: str) -> Item:
    try:
        return catalogue.item_at(number)
    except Refused as refused:
        raise NotThere(refused.reason) from refused


@page(ORDER_POINTS)
@pressed("order-points")
def set_(request: HttpRequest, number: str) -> HttpResponse:
    """The three as they were typed on the item's page."""
    item, form = _item(number), OrderPointForm(request.POST)
    if not form.is_valid():
        return item_page(request, item, form, 400)
    asked = form.cleaned_data
    try:
        order_points.set_order_point(
            item=item, **{name: asked[name] for name in ("minimum", "order_point", "maximum", "why")},
            by=known_as(request.user), as_of=timezone.now(), request_key=asked["request_key"] or None,
        )  # fmt: skip
    except Refused as refused:
        form.refuse(refused.reason)
        return item_page(request, item, form, status_of(refused.reason))
    return redirect(f"{reverse('item', args=[item.address])}#order-point")


@page(ORDER_POINTS)
@pressed("order-points")
def take(request: HttpRequest, number: str) -> HttpResponse:
    """The proposal as it was shown."""
    item, now = _item(number), timezone.now()
    if not item.counted:
        raise NotThere(Reason("page_unknown"))
    standing = order_points.standing(item, as_of=now)
    proposal = standing.proposal
    if proposal is None or not proposal.known or standing.seen != sent(request, "seen"):
        return _listed(request, Reason("order_point_moved"), item.pk)
    try:
        order_points.set_order_point(
            item=item, minimum=proposal.minimum, order_point=proposal.order_point, maximum=proposal.maximum,
            why=say(Reason("order_point_proposed")), by=known_as(request.user), as_of=now,
            request_key=press_key(request),
        )  # fmt: skip
    except Refused as refused:
        return _listed(request, refused.reason, item.pk)
    if sent(request, "back") == "list":
        after = sent(request, "after")
        return redirect(f"{reverse('order-points')}{f'?after={after}' if after.isdigit() else ''}#item-{item.pk}")
    return redirect(f"{reverse('item', args=[item.address])}#order-point")
