"""The page of the figures that a crib is judged by."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import counting
from inventory.roles import READ, page
from repairs import figures as room


@page(READ)
@require_safe
def figures(request: HttpRequest) -> HttpResponse:
    """Each figure with its definition, its value and its trend."""
    found = room.all_of_them(as_of=timezone.now(), accuracy=counting.accuracy)
    told = {"area": "figures", "figures": [(figure, room.trend(figure)) for figure in found]}
    return render(request, "repairs/figures.html", told)
