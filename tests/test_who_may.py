"""Each role against every page and endpoint: a table that says who is let in, and an address that is missing fails.

"In" means that the page or endpoint itself answers, be it with a fault of what was sent; a stranger is sent to the log
in (a program is told 401), anybody else without the role gets 403.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from inventory import counting
from inventory.models import Batch, Item, Unit
from inventory.roles import FOREMAN, ROLES, STOREKEEPER, give_role
from repairs import jobs
from repairs.models import Job
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP

EVERYBODY = {"nobody", "no role", *ROLES}
ALL_ROLES = set(ROLES)

# name: who is let in, by method
PAGES: dict[str, dict[str, set[str]]] = {
    "healthz": {"get": EVERYBODY},
    "login": {"get": EVERYBODY},
    "logout": {"post": EVERYBODY},
    "units": {"post": EVERYBODY},
    "today": {"get": ALL_ROLES},
    "jobs": {"get": ALL_ROLES},
    "job": {"get": ALL_ROLES},
    "job-new": {"get": ALL_ROLES, "post": ALL_ROLES},
    "job-new-reading": {"post": ALL_ROLES},
    "job-accept": {"post": {FOREMAN}},
    "job-reserve": {"post": {FOREMAN}},
    "job-release": {"post": {FOREMAN}},
    "job-card-print": {"post": ALL_ROLES},
    "job-card": {"get": ALL_ROLES},
    "job-proving": {"get": ALL_ROLES},
    "job-proving-sign": {"post": ALL_ROLES},
    "job-proving-measure": {"post": ALL_ROLES},
    "job-proving-except": {"post": {FOREMAN}},
    "job-proving-second": {"post": ALL_ROLES},
    "job-proving-hand-over": {"post": {FOREMAN}},
    "buy": {"get": ALL_ROLES},
    "buy-csv": {"get": ALL_ROLES},
    "buy-order": {"post": {STOREKEEPER}},
    "buy-close": {"post": {STOREKEEPER}},
    "settings": {"get": ALL_ROLES},
    "settings-settle": {"post": {FOREMAN}},
    "shelf": {"get": ALL_ROLES},
    "sheets": {"get": {STOREKEEPER}},
    "sheet-send": {"post": {STOREKEEPER}},
    "sheet-export": {"get": {STOREKEEPER}},
    "sheet": {"get": {STOREKEEPER}},
    "sheet-columns": {"post": {STOREKEEPER}},
    "sheet-apply": {"post": {STOREKEEPER}},
    "unit": {"get": ALL_ROLES},
    "item": {"get": ALL_ROLES},
    "item-new": {"get": {STOREKEEPER}, "post": {STOREKEEPER}},
    "item-care": {"get": {STOREKEEPER}, "post": {STOREKEEPER}},
    "item-measures": {"get": {STOREKEEPER}, "post": {STOREKEEPER}},
    "item-take-in": {"get": {STOREKEEPER}, "post": {STOREKEEPER}},
    "batch": {"get": ALL_ROLES},
    "bin": {"get": ALL_ROLES},
    "catalogue": {"get": ALL_ROLES},
    "item-supersede": {"post": {STOREKEEPER}},
    "item-retire": {"post": {STOREKEEPER}},
    "labels": {"get": ALL_ROLES},
    "labels-pdf": {"get": ALL_ROLES},
    "tag-field": {"get": ALL_ROLES},
    "tag": {"get": ALL_ROLES},
    "unit-move": {"post": {STOREKEEPER}},
    "batch-move": {"post": {STOREKEEPER}},
    "counter": {"get": {STOREKEEPER}},
    "counter-kit": {"get": {STOREKEEPER}},
    "counter-issue": {"post": {STOREKEEPER}},
    "counter-take-back": {"post": {STOREKEEPER}},
    "order-points": {"get": ALL_ROLES},
    "order-point-set": {"post": {STOREKEEPER}},
    "order-point-take": {"post": {STOREKEEPER}},
    "counts": {"get": ALL_ROLES},
    "count-start": {"post": ALL_ROLES},
    "count": {"get": ALL_ROLES},
    "count-sheet": {"get": ALL_ROLES},
    "count-enter": {"post": ALL_ROLES},
    "count-review": {"get": {FOREMAN, STOREKEEPER}},
    "count-decide": {"post": {FOREMAN, STOREKEEPER}},
    "count-again": {"post": {FOREMAN, STOREKEEPER}},
    "count-post": {"post": {FOREMAN, STOREKEEPER}},
    "count-abandon": {"post": {FOREMAN, STOREKEEPER}},
    "order": {"get": ALL_ROLES},
    "order-receive": {"post": {STOREKEEPER}},
    "attention": {"get": ALL_ROLES},
    "figures": {"get": ALL_ROLES},
    "calendar-address": {"post": ALL_ROLES},
    "calendar": {"get": EVERYBODY},
    "crib-settings": {"get": ALL_ROLES},
    "crib-settings-settle": {"post": {FOREMAN, STOREKEEPER}},
    "threads": {"get": ALL_ROLES},
    "api": {"get": EVERYBODY},
    "api-schema": {"get": EVERYBODY},
    "api-thread": {"get": ALL_ROLES},
    "api-identify": {"get": ALL_ROLES},
    "api-shelf": {"get": ALL_ROLES},
    "api-plan": {"post": ALL_ROLES},
    "api-jobs": {"get": ALL_ROLES, "post": ALL_ROLES},
    "api-job": {"get": ALL_ROLES},
    "api-job-accept": {"post": {FOREMAN}},
    "api-job-reserve": {"post": {FOREMAN}},
    "api-job-release": {"post": {FOREMAN}},
    "api-shopping": {"get": ALL_ROLES},
}


def _named(patterns: list[Any]) -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            if pattern.app_name != "admin":
                yield from _named(pattern.url_patterns)
        elif isinstance(pattern, URLPattern):
            assert pattern.name, f"{pattern.pattern} has no name"
            yield pattern.name


@pytest.fixture
def addresses(db: None, tmp_path: Path) -> dict[str, str]:
    """Every address by its name, filled in with things that are there."""
    bench = Bench(tmp_path, timezone.now())
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    unit, batch, item = Unit.objects.select_related("bin__site")[0], Batch.objects.all()[0], Item.objects.all()[0]
    given: dict[str, list[Any]] = {
        "unit": [unit.tag],
        "item": [item.number or item.pk],
        "batch": [batch.pk],
        "bin": [unit.bin.site.name, unit.bin.name],
    }
    for name in ("order-point-set", "order-point-take"):
        given[name] = [batch.item.address]
    given["order"] = given["order-receive"] = ["B-1"]
    started = counting.start(site=unit.bin.site.name, bins=[unit.bin.pk], blind=True, by="Ida", as_of=bench.as_of)
    given["count-sheet"] = given["count-enter"] = [started.pk, unit.bin.pk]
    number = Job.objects.get().number
    given["job-card"] = [number, 1]
    found = {}
    for name in _named(get_resolver().url_patterns):
        for args in (given.get(name), [], [number], [unit.tag], [batch.pk]):
            try:
                found[name] = reverse(name, args=args)
            except Exception:  # the next arguments
                continue
            break
    return found


def test_every_address_is_in_the_table() -> None:
    assert sorted(set(_named(get_resolver().url_patterns))) == sorted(PAGES)


@pytest.mark.parametrize("who", sorted(EVERYBODY))
def test_each_role_is_let_in_where_the_table_says_and_nowhere_else(addresses: dict[str, str], who: str) -> None:
    wrong = []
    for name, method, let_in in ((name, *row) for name, rows in PAGES.items() for row in rows.items()):
        client = Client()
        if who != "nobody":
            user, _ = User.objects.get_or_create(username=who)
            if who in ROLES:
                give_role(user, who)
            client.force_login(user)
        answer = getattr(client, method)(addresses[name])
        program = addresses[name].startswith("/api/")
        shut_out = (
            answer.status_code in (401, 403)
            if program or who != "nobody"
            else answer.status_code == 302 and answer.headers["Location"].startswith("/login/?next=")
        )
        if shut_out == (who in let_in):
            wrong.append((name, method, answer.status_code))
    assert wrong == []
