"""The foreman's first page: for those who are logged in, every open job on it, in queries that do not grow."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from repairs.models import Job
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, TAP_16

pytestmark = pytest.mark.django_db


def test_without_logging_in_the_page_leads_to_the_log_in(client: Client) -> None:
    answer = client.get(reverse("today"))
    assert (answer.status_code, answer.headers["Location"]) == (302, "/login/?next=/")
    assert b"password" in client.get(answer.headers["Location"]).content


def test_without_a_job_the_page_says_how_to_plan_one(admin_client: Client) -> None:
    assert "No job is open" in admin_client.get("/").content.decode()


def test_the_table_shows_every_open_job_and_what_it_is_short_of(bench: Bench, admin_client: Client) -> None:
    bench.as_of = timezone.now()
    bench.stock(*(row for row in BUSH_KIT if row is not TAP_16))
    bench.save(GROUP, GROUP | {"holes": "1"}, number="J-1")
    bench.save(GROUP, number="J-<b>2")
    done = bench.save(GROUP, number="J-3")
    Job.objects.filter(pk=done.pk).update(state="released")
    text = admin_client.get("/").content.decode()
    assert text.count('<th scope="row" data-head="Job">') == 3
    assert "4 × M14x1.5" in text
    assert "1 × M14x1.5" in text
    assert "tap M16x1.5. None owned" in text
    assert "J-&lt;b&gt;2" in text
    assert "J-3" not in text


def test_the_page_takes_as_many_queries_for_two_jobs_as_for_twenty(bench: Bench, admin_client: Client) -> None:
    bench.as_of = timezone.now()
    bench.stock(*BUSH_KIT)
    counts = []
    for number in range(20):
        bench.save(GROUP, number=f"J-{number:02}")
        if number + 1 in (2, 20):
            with CaptureQueriesContext(connection) as queries:
                assert admin_client.get("/").status_code == 200
            counts.append(len(queries))
    # session, user, open jobs, and the ten of planning (see test_jobs)
    assert counts == [13, 13]


def test_the_page_only_reads(bench: Bench, admin_client: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    with CaptureQueriesContext(connection) as queries:
        admin_client.get("/")
    assert all(query["sql"].startswith("SELECT") for query in queries.captured_queries)
