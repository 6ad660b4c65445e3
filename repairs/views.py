"""Pages of the foreman."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from repairs import jobs
from repairs.cards import readiness_rows


@login_required
def today(request: HttpRequest) -> HttpResponse:
    """How ready the open jobs are, one row a hole group."""
    now = timezone.now()
    plans = jobs.plan_jobs(list(jobs.open_jobs()), as_of=now)
    rows = [row for plan in plans for row in readiness_rows(plan)]
    return render(request, "repairs/today.html", {"rows": rows, "now": now})
