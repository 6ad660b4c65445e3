"""What needs attention, as a page and as a calendar."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import attention, calendar_feed, policy
from inventory.errors import Reason
from inventory.presses import pressed, sent
from inventory.refusals import NotThere
from inventory.roles import READ, page


@page(READ)
@require_safe
def needs_attention(request: HttpRequest) -> HttpResponse:
    """Every matter, part by part."""
    return _page(request)


def _page(request: HttpRequest, secret: str = "") -> HttpResponse:
    parts = attention.needed(as_of=timezone.now())
    told = {
        "area": "attention", "parts": parts, "pressing": attention.pressing(parts), "settled": policy.current(),
        "calendar": calendar_feed.address_of(request.user),
        "secret": request.build_absolute_uri(reverse("calendar", args=[secret])) if secret else "",
    }  # fmt: skip
    answer = render(request, "inventory/attention.html", told)
    if secret:
        answer.headers["Cache-Control"] = "no-store"
    return answer


@page(READ)
@pressed("attention")
def address(request: HttpRequest) -> HttpResponse:
    """A new address for one's own calendar, told this once; or an end to it."""
    now = timezone.now()
    if sent(request, "act") == "end":
        calendar_feed.end(owner=request.user, as_of=now)
        return redirect(f"{reverse('attention')}#calendar")
    return _page(request, calendar_feed.renew(owner=request.user, as_of=now))


@require_safe
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """The crib's dates for a calendar that knows the secret; whoever does not is told that nothing is here."""
    if not calendar_feed.opens(secret):
        raise NotThere(Reason("page_unknown"))
    found = calendar_feed.calendar(as_of=timezone.now(), site=request.get_host().split(":")[0])
    headers = {
        "Content-Disposition": 'inline; filename="crib.ics"', "Cache-Control": "private, no-store",
        "Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex",
    }  # fmt: skip
    return HttpResponse(found, content_type="text/calendar; charset=utf-8", headers=headers)
