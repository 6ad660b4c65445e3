"""What pages cost with the demo workshop and with 100,000 units: `python -m tests.load.benchmark_pages`.

Each time is the best of several rounds and stands beside an empty page of the same run, through the same middleware
and with the same person logged in. The number of queries must be the same at both sizes; here it is only told, the
tests pin it. `--units N` for another size.
"""

from __future__ import annotations

import argparse
import itertools
import os
import time
from collections.abc import Iterator
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")

import django

django.setup()

# ruff: noqa: E402  the settings must stand before anything of Django's is imported
from django.contrib.auth import get_user_model
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.test.runner import DiscoverRunner
from django.test.utils import CaptureQueriesContext
from django.urls import include, path
from django.utils import timezone

from inventory.kinds import KINDS
from inventory.models import Bin, Item, Site, Unit
from inventory.roles import READ, page
from inventory.threads import covered
from repairs.management.commands.demo import load_workshop
from repairs.models import Job

ROUNDS = 5


@page(READ)
def empty(request: HttpRequest) -> HttpResponse:
    """The least that a page of this site can be: session, user, role, nothing else."""
    return HttpResponse("")


urlpatterns = [path("empty/", empty), path("", include("repairs.site.urls"))]


def pages() -> Iterator[tuple[str, str]]:
    """What is measured: a name and an address."""
    number = Job.objects.filter(reservation__isnull=False).order_by("number").values_list("number", flat=True)[0]
    tag = Unit.objects.order_by("tag").values_list("tag", flat=True)[0]
    yield "empty page", "/empty/"
    yield "Today", "/"
    yield "Jobs", "/jobs/"
    yield "New job", "/jobs/new/"
    yield "job sheet", f"/jobs/{number}/"
    yield "Buy, all open jobs", "/buy/"
    yield "Shelf, nothing typed", "/shelf/"
    yield "Shelf, M14x1.5 tap", "/shelf/?q=M14x1.5+tap"
    yield "Shelf, drill 14.4-14.7", "/shelf/?q=drill+14.4-14.7"
    yield "Shelf, a tag", f"/shelf/?q={tag}"
    yield "unit", f"/shelf/units/{tag}/"
    yield "Threads, M14x1.5", "/threads/?q=M14x1.5"
    yield "API, the job's plan", f"/api/jobs/{number}/"
    yield "API, shelf", "/api/shelf/?q=M14x1.5+tap"


def fill(units: int) -> None:
    """Many more units, spread over every thread that is covered and over drills of every hundredth of a millimetre."""
    site = Site.objects.order_by("id").first() or Site.objects.create(name="Main")
    bins = Bin.objects.bulk_create(Bin(site=site, name=f"Z{n}", walk=1000 + n) for n in range(500))
    threads = [thread.key for thread in covered()]
    threaded = [kind for kind in ("tap", "setting_tool", "gauge", "hole_gauge") if kind in KINDS]
    items = Item.objects.bulk_create(
        [
            *(
                Item(kind=kind, number=f"BM-{kind}-{n}", thread=key, thread_class="6H", usable_length=60_000_000)
                for kind in threaded
                for n, key in enumerate(threads)
            ),
            *(
                Item(kind="drill", number=f"BM-drill-{n}", diameter=n * 10_000, usable_length=100_000_000)
                for n in range(100, 4100)
            ),
        ]
    )
    made = (
        Unit(item=item, tag=f"BM-{n}", bin=bins[n % len(bins)], condition="serviceable")
        for n, item in enumerate(itertools.islice(itertools.cycle(items), units))
    )
    while batch := list(itertools.islice(made, 5_000)):
        Unit.objects.bulk_create(batch)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def measured(client: Client, address: str) -> tuple[float, int, int]:
    """Seconds, queries and status of one page; the first answer warms up and is not counted."""
    with CaptureQueriesContext(connection) as queries:
        status = client.get(address).status_code
        count = len(queries)  # now: the next request empties the log
    least = float("inf")
    for _ in range(ROUNDS):
        start = time.perf_counter()
        client.get(address)
        least = min(least, time.perf_counter() - start)
    return least, count, status


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--units", type=int, default=100_000)
    units = asked.parse_args().units
    runner = DiscoverRunner(verbosity=0, interactive=False)
    runner.setup_test_environment()
    kept: Any = runner.setup_databases()
    try:
        with override_settings(ROOT_URLCONF="tests.load.benchmark_pages"):
            load_workshop(as_of=timezone.now())
            found: dict[str, list[tuple[float, int, int]]] = {}
            sizes = []
            for more in (0, units):
                if more:
                    fill(more)
                client = Client()
                client.force_login(get_user_model().objects.get(username="foreman"))
                sizes.append(Unit.objects.count())
                for name, address in pages():
                    found.setdefault(name, []).append(measured(client, address))
            print(f"{connection.vendor}, best of {ROUNDS}; x: times the empty page of the same size")
            heads = "".join(f"{f'{size:,} units':>30}" for size in sizes)
            print(f"{'':26}{heads}")
            for name, measures in found.items():
                cells = ""
                for number, (seconds, queries, status) in enumerate(measures):
                    base = found["empty page"][number][0]
                    told = "" if status == 200 else f" [{status}]"
                    cells += f"{seconds * 1e3:9.1f} ms {seconds / base:6.1f} x {queries:3} q{told}".rjust(30)
                differ = "" if len({queries for _, queries, _ in measures}) == 1 else "   QUERIES DIFFER"
                print(f"{name:26}{cells}{differ}")
    finally:
        runner.teardown_databases(kept)
        runner.teardown_test_environment()


if __name__ == "__main__":
    main()
