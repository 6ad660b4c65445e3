"""The printed card of a job: printing one, and the sheet itself."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.errors import Refused
from inventory.preferences import units_of
from inventory.presses import press_key, pressed
from inventory.refusals import NotThere, status_of
from inventory.roles import READ, known_as, page
from repairs import jobs, printing
from repairs.roles import PLAN
from repairs.wording import say


@page(PLAN)
@pressed("job")
def print_(request: HttpRequest, number: str) -> HttpResponse:
    """Print the card of a job as it is planned now; it stands in the list of its cards."""
    try:
        job = jobs.by_number(number)
    except Refused as refused:
        raise NotThere(refused.reason) from refused
    units, sheet = units_of(request), reverse("job", args=[number])
    address, key = request.build_absolute_uri(sheet), press_key(request)
    try:
        printing.print_card(
            job, by=known_as(request.user), as_of=timezone.now(), address=address, units=units, request_key=key
        )
    except Refused as refused:
        answer = {"sentence": say(refused.reason, units)}
        return render(request, "refused.html", answer, status=status_of(refused.reason))
    return redirect(f"{sheet}#card")


@page(READ)
@require_safe
def pdf(request: HttpRequest, number: str, card: int) -> HttpResponse:
    """A card as it was printed."""
    try:
        found = printing.card(jobs.by_number(number), card)
    except Refused as refused:
        raise NotThere(refused.reason) from refused
    answer = HttpResponse(bytes(found.pdf or b""), content_type="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="card-{found.number}.pdf"'
    return answer
