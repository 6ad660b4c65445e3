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
from inventory.forms import DeliveryForm, DeliveryLineForm, Fault, refuse_tags
from inventory.models import Bin, Order
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
    wrong = not all([whole.is_valid(), *(line.is_valid() for line in lines)])
    came: list[Came] = []
    for form in lines:
        if form.came and form.cleaned_data.get("bin"):
            try:
                bin = stock.bin_named(site="", name=form.cleaned_data["bin"])
            except Refused as refused:
                form.refuse(refused.reason)
            else:
                came.append(_came(form, bin))
    refuse_tags(lines, taken=wrong or any(form.errors for form in lines))
    if wrong or any(form.errors for form in lines):
        return _page(request, found, whole, lines, 400)
    try:
        purchasing.receive_order(
            number=number, came=came, by=known_as(request.user), as_of=now, note=whole.cleaned_data["note"],
            complete=whole.cleaned_data["complete"], request_key=whole.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except Refused as refused:
        of_a_tag = refused.reason.code in ("tag_taken", "tag_taken_in_other_letters")
        if of_a_tag or "lot" in refused.reason.data:  # the act stops at the first; the page tells all of them
            refuse_tags(lines, taken=True)
        if not of_a_tag or not any(form.errors for form in lines):
            _place(refused.reason, lines, whole)
        return _page(request, found, whole, lines, status_of(refused.reason))
    return redirect(f"{reverse('order', args=[number])}#came")


def _came(form: DeliveryLineForm, bin: Bin) -> Came:
    asked, of = form.cleaned_data, form.expected
    return Came(
        line=of.line, item=of.item.pk, bin=bin, quantity=asked.get("pieces") or 0, tags=form.tagged,
        lot=asked.get("lot", ""), packed=asked.get("packed"),
        expires=asked.get("expires"), calibration_due=asked.get("calibration_due"),
    )  # fmt: skip


def _place(reason: Reason, lines: Sequence[DeliveryLineForm], whole: DeliveryForm) -> None:
    """Put what was refused at the line that it names, or above them all."""
    named = []
    if "lot" in reason.data:
        named = [form for form in lines if form.came and form.cleaned_data.get("lot") == reason.data["lot"]]
    if named:
        named[0].refuse(reason)
    else:
        whole.add_error(None, Fault(reason))
