"""One order: what it brings, what came of it, and the press that takes a delivery in."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import purchasing, stock
from inventory.errors import Reason, Refused
from inventory.forms import DeliveryForm, DeliveryLineForm, Fault
from inventory.models import Order
from inventory.presses import pressed
from inventory.purchasing import Came
from inventory.refusals import NotThere, status_of
from inventory.roles import BUY, READ, known_as, page


def _order(number: str) -> Order:
    try:
        return purchasing.order_numbered(number)
    except Refused as refused:
        raise NotThere(refused.reason) from refused


def _forms(order: Order, now: datetime, data: object = None) -> list[DeliveryLineForm]:
    today = now.astimezone(settings.SHOP_ZONE).date()
    return [DeliveryLineForm(data, expected=each, today=today) for each in purchasing.expected(order)]


@page(READ)
@require_safe
def order(request: HttpRequest, number: str) -> HttpResponse:
    """What an order brings, line by line, and every delivery of it."""
    found = _order(number)
    whole = DeliveryForm(initial={"request_key": uuid.uuid4().hex})
    return _page(request, found, whole, _forms(found, timezone.now()))


def _page(
    request: HttpRequest, found: Order, whole: DeliveryForm, lines: Sequence[DeliveryLineForm], status: int = 200
) -> HttpResponse:
    told = {
        "area": "buy", "order": found, "whole": whole, "lines": lines, "deliveries": purchasing.deliveries(found),
        "buyers": BUY.roles,
    }  # fmt: skip
    return render(request, "inventory/order.html", told, status=status)


@page(BUY)
@pressed("order")
def receive(request: HttpRequest, number: str) -> HttpResponse:
    """Take in what came, all of what was entered or nothing."""
    now, found, whole = timezone.now(), _order(number), DeliveryForm(request.POST)
    lines = _forms(found, now, request.POST)
    if not all([whole.is_valid(), *(line.is_valid() for line in lines)]):
        return _page(request, found, whole, lines, 400)
    came: list[Came] = []
    at: dict[int, DeliveryLineForm] = {}
    try:
        for form in lines:
            if form.came:
                at[len(came)] = form
                came.append(_came(form))
    except Refused as refused:
        at[len(came)].refuse(refused.reason)
        return _page(request, found, whole, lines, 400)
    try:
        purchasing.receive_order(
            number=number, came=came, by=known_as(request.user), as_of=now, note=whole.cleaned_data["note"],
            complete=whole.cleaned_data["complete"], request_key=whole.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except Refused as refused:
        _place(refused.reason, list(at.values()), whole)
        return _page(request, found, whole, lines, status_of(refused.reason))
    return redirect(f"{reverse('order', args=[number])}#came")


def _came(form: DeliveryLineForm) -> Came:
    asked, of = form.cleaned_data, form.expected
    return Came(
        line=of.line, item=of.item.pk, bin=stock.bin_named(site="", name=asked["bin"]),
        quantity=asked.get("pieces") or 0, tags=asked["tags"], lot=asked.get("lot", ""), packed=asked.get("packed"),
        expires=asked.get("expires"), calibration_due=asked.get("calibration_due"),
    )  # fmt: skip


def _place(reason: Reason, lines: Sequence[DeliveryLineForm], whole: DeliveryForm) -> None:
    """Put what was refused at the line that it names, or above them all."""
    named = [form for form in lines if reason.data.get("tag") in form.cleaned_data["tags"]]
    if not named and "lot" in reason.data:
        named = [form for form in lines if form.cleaned_data.get("lot") == reason.data["lot"]]
    if named:
        named[0].refuse(reason)
    else:
        whole.add_error(None, Fault(reason))
