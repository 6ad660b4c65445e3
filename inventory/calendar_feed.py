"""The crib's dates as a calendar (iCalendar, RFC 5545) under a secret address of somebody's own, without a log-in.

Calendars ask by themselves, every few hours, and cannot log in: whoever knows the address reads the dates. So it is
long and random, its digest alone is kept, it can be renewed and ended, and it ends with its owner's account.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.conf import settings
from icalendar import Calendar, Event

from inventory import attention
from inventory.attention import Matter
from inventory.errors import Reason
from inventory.guards import act
from inventory.models import CalendarAddress
from inventory.roles import READ, may
from inventory.wording import say

MOST = 2000  # events of one sort; where there are more, an event of its own says so
SORTS = ("calibration", "expiry", "away", "order")


def renew(*, owner: Any, as_of: datetime) -> str:
    """A new secret for somebody's calendar; the one before ends at once. It is told this once and never again."""
    secret = secrets.token_urlsafe(32)
    with act():
        end(owner=owner, as_of=as_of)
        CalendarAddress.objects.create(owner=owner, digest=_digest(secret), at=as_of)
    return secret


def end(*, owner: Any, as_of: datetime) -> None:
    """End somebody's address; where there is none, nothing changes."""
    CalendarAddress.objects.filter(owner=owner, ended_at__isnull=True).update(ended_at=as_of)


def address_of(owner: Any) -> CalendarAddress | None:
    """Since when somebody has an address, if there is one. One query."""
    return CalendarAddress.objects.filter(owner=owner, ended_at__isnull=True).first()


def opens(secret: str) -> bool:
    """Whether this secret opens the calendar: it was not ended, and its owner is still let in. At most two queries."""
    row = CalendarAddress.objects.select_related("owner").filter(digest=_digest(secret), ended_at__isnull=True).first()
    return row is not None and may(row.owner, READ)


def _digest(secret: str) -> str:
    # Random over 256 bits: no table of likely secrets is to be feared, and no salt is needed.
    return hashlib.sha256(secret.encode()).hexdigest()


def calendar(*, as_of: datetime, site: str) -> bytes:
    """Every date of the crib as all-day events: last good days, days of return, days that orders are due.

    `site` is the host that the UIDs end in; each stays the same for one thing and one sort. Four queries.
    """
    found = Calendar()
    found.add("prodid", "-//Threadcrib//crib dates//EN")
    found.add("version", "2.0")
    found.add("method", "PUBLISH")
    found.add("x-wr-calname", say(Reason("calendar_name")).rstrip("."))
    found.add("x-wr-timezone", str(settings.SHOP_ZONE))
    dates = (attention.calibrations(), attention.expiries(), attention.away(), attention.orders())
    for sort, matters in zip(SORTS, dates, strict=True):
        for matter in matters[:MOST]:
            found.add_component(_event(sort, matter, as_of, site))
        if len(matters) > MOST:
            found.add_component(_more(sort, matters, as_of, site))
    return bytes(found.to_ical())


def _event(sort: str, matter: Matter, as_of: datetime, site: str) -> Event:
    assert matter.day is not None  # noqa: S101  for the type alone: each of them has its date
    names = {"what": matter.what, "where": matter.where, "who": matter.who}
    told = {
        "calibration": Reason("calendar_calibration", **names),
        "expiry": Reason("calendar_expiry", **names),
        "away": Reason("calendar_away", **names),
        "order": Reason("calendar_order", **names),
    }[sort]
    return _all_day(f"{sort}-{matter.pk}@{site}", matter.day, say(told), as_of)


def _more(sort: str, matters: Sequence[Matter], as_of: datetime, site: str) -> Event:
    day = as_of.astimezone(settings.SHOP_ZONE).date()
    told = Reason("calendar_more", count=len(matters) - MOST, sort=sort, most=MOST)
    return _all_day(f"{sort}-more@{site}", day, say(told), as_of)


def _all_day(uid: str, day: date, summary: str, as_of: datetime) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", as_of.astimezone(UTC))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", summary)
    event.add("transp", "TRANSPARENT")
    return event
