"""The page "Today": which jobs start, which are short, which wait for a signature or to be released."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import attention
from inventory.preferences import units_of
from inventory.roles import READ, page
from repairs import jobs
from repairs.methods.values import DOUBTFUL
from repairs.views.jobs import SOONEST, told_of

SOON = 7  # days, today among them


@page(READ)
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """What the foreman looks at first in the morning, of the open jobs that are soonest."""
    now = timezone.now()
    soonest = list(jobs.open_jobs()[: SOONEST + 1])
    found = told_of(soonest[:SOONEST], now, units_of(request))
    day = now.astimezone(settings.SHOP_ZONE).date()
    starts = [(each.job.start.astimezone(settings.SHOP_ZONE).date() - day, each) for each in found]
    told = {
        "area": "today",
        "now": now,
        "pressing": attention.pressing(attention.needed(as_of=now)),
        "any": bool(found),
        "capped": SOONEST if len(soonest) > SOONEST else None,
        "starting": [each for away, each in starts if away == timedelta()],
        "soon": [each for away, each in starts if timedelta() < away < timedelta(days=SOON)],
        "under_way": [each for away, each in starts if away < timedelta() and each.job.end > now],
        "short": [each for each in found if each.plan and {jobs.SHORT, jobs.UNPLANNED} & set(each.plan.readiness)],
        "lost": [each for each in found if each.lost],
        "doubtful": [each for each in found if each.plan and DOUBTFUL in each.plan.readiness],
        "over": list(jobs.to_be_released(as_of=now)[:SOONEST]),
    }
    return render(request, "repairs/today.html", told)
