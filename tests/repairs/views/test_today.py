"""The foreman's first page: what starts, what is short, what is doubtful, what waits to be released."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from repairs import jobs
from repairs.models import Job
from repairs.views import today
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, TAP_16

pytestmark = pytest.mark.django_db


def _section(text: str, heading: str) -> str:
    """What stands under a heading of the page."""
    found = re.search(rf'aria-labelledby="{heading}">(.*?)</section>', text, re.DOTALL)
    return found[1] if found else ""


def _starts(job: Job, days: int, *, lasts: int = 1) -> None:
    """Move a job to begin so many days from now, at its midnight."""
    midnight = timezone.now().replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=days)
    Job.objects.filter(pk=job.pk).update(start=midnight, end=midnight + timedelta(days=lasts))


def test_without_logging_in_the_page_leads_to_the_log_in(client: Client) -> None:
    answer = client.get(reverse("today"))
    assert (answer.status_code, answer.headers["Location"]) == (302, "/login/?next=/")
    assert b"password" in client.get(answer.headers["Location"]).content


def test_without_a_job_the_page_says_so_and_leads_to_a_new_one(admin_client: Client) -> None:
    text = admin_client.get("/").content.decode()
    assert "No job is open" in text
    assert reverse("job-new") in text


def test_each_job_stands_under_the_day_that_it_starts(bench: Bench, admin_client: Client) -> None:
    bench.as_of = timezone.now()
    bench.stock(*BUSH_KIT)
    for number, days, lasts in (("J-0", 0, 1), ("J-6", 6, 1), ("J-7", 7, 1), ("J-before", -1, 4)):
        _starts(bench.save(GROUP, number=number), days, lasts=lasts)
    text = admin_client.get("/").content.decode()
    found = {
        heading: re.findall(r">(J-\w+)</a>", _section(text, heading)) for heading in ("starting", "soon", "under-way")
    }
    assert found == {"starting": ["J-0"], "soon": ["J-6"], "under-way": ["J-before"]}
    assert f'<a href="{reverse("job", args=["J-6"])}">J-6</a>' in text


def test_what_is_short_and_what_is_doubtful_is_told_with_its_reason(bench: Bench, admin_client: Client) -> None:
    bench.as_of = timezone.now()
    bench.stock(*(row for row in BUSH_KIT if row is not TAP_16))
    bench.save(GROUP, number="J-<b>1")
    bench.save(GROUP | {"made": "unknown"}, number="J-2")
    bench.save(GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""}, number="J-3")
    done = bench.save(GROUP, number="J-4")
    Job.objects.filter(pk=done.pk).update(state="released")
    text = admin_client.get("/").content.decode()
    short, doubtful = _section(text, "short"), _section(text, "doubtful")
    assert short.count("tap M16x1.5. None owned") == 2
    assert "J-&lt;b&gt;1" in short
    assert "No method" in short
    assert re.findall(r">(J-\w+)</a>", doubtful) == ["J-2"]
    assert "How the old thread was made" in doubtful
    assert "J-4" not in text
    assert "<span>Test, " in doubtful
    Job.objects.filter(number="J-2").update(owner="")
    assert "<span>, " not in admin_client.get("/").content.decode(), "whose owner is not entered"


def test_a_job_whose_days_are_over_and_that_is_still_reserved_waits_to_be_released(
    bench: Bench, admin_client: Client
) -> None:
    bench.as_of = timezone.now()
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    jobs.book(job, by="Ida", as_of=bench.as_of)
    assert not _section(admin_client.get("/").content.decode(), "over")
    _starts(job, -3)
    over = _section(admin_client.get("/").content.decode(), "over")
    assert ">J-1</a>" in over
    assert "still reserved by Ida" in over
    jobs.release(job, by="Ida", as_of=timezone.now())
    assert not _section(admin_client.get("/").content.decode(), "over")


def test_of_very_many_jobs_the_soonest_are_looked_at_and_the_page_says_so(
    bench: Bench, admin_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.stock(*BUSH_KIT)
    bench.as_of = timezone.now()
    for number in range(3):
        bench.save(GROUP, number=f"J-{number}")
    assert "More jobs are open" not in admin_client.get("/").content.decode()
    monkeypatch.setattr(today, "SOONEST", 2)
    text = admin_client.get("/").content.decode()
    assert "More jobs are open than the 2 soonest" in text
    assert "J-2" not in text


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
    # session, user, open jobs, the eleven of planning (see test_whole_path), what waits to be released, and
    # nine of what needs attention in the crib, where nothing has an order point
    assert counts == [25, 25]


def test_the_page_only_reads(bench: Bench, admin_client: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    with CaptureQueriesContext(connection) as queries:
        admin_client.get("/")
    assert all(query["sql"].startswith("SELECT") for query in queries.captured_queries)
