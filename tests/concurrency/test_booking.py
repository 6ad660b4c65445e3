"""Several foremen book at once: a tool goes to one job alone, and the others are told what changed."""

import multiprocessing
import random
from datetime import datetime
from pathlib import Path

import pytest

from inventory.errors import Refused
from inventory.models import Reservation, UnitHold
from repairs import jobs
from repairs.models import Job
from tests.concurrency.race import WRITERS, Try, held_twice, race
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]


def _booking(seen: dict[str, str], as_of: datetime, request_key: str | None = None) -> Try:
    """One foreman: takes a job that looks free to him and books it from the plan that he was shown."""

    def attempt(chance: random.Random) -> str:
        job = Job.objects.get(number=chance.choice(sorted(seen)))
        try:
            jobs.book(job, by=f"foreman {chance.random()}", as_of=as_of, seen=seen[job.number], request_key=request_key)
        except Refused as refused:
            return refused.reason.code
        return "booked"

    return attempt


def test_jobs_that_want_the_same_kit_in_the_same_days_get_it_once(tmp_path: Path, as_of: datetime) -> None:
    bench = Bench(tmp_path, as_of)
    bench.stock(*BUSH_KIT)
    saved = [bench.save(GROUP, number=f"J-{number}") for number in range(WRITERS)]
    seen = {job.number: jobs.shown(jobs.plan_job(job, as_of=as_of)) for job in saved}
    told = race(_booking(seen, as_of), tries=1)
    assert told["booked"] == 1
    assert set(told) <= {"booked", "plan_moved", "job_already_booked"}
    assert held_twice() == 0
    held = set(UnitHold.objects.values_list("reservation__label", flat=True))
    assert held == {Job.objects.get(state="booked").number}


def test_one_job_that_several_foremen_book_at_once_is_reserved_once(tmp_path: Path, as_of: datetime) -> None:
    bench = Bench(tmp_path, as_of)
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    seen = {job.number: jobs.shown(jobs.plan_job(job, as_of=as_of))}
    told = race(_booking(seen, as_of), tries=2)
    assert told == {"booked": 1, "job_already_booked": 2 * WRITERS - 1}
    assert Reservation.objects.count() == 1


def test_one_press_that_arrives_many_times_is_answered_alike(tmp_path: Path, as_of: datetime) -> None:
    bench = Bench(tmp_path, as_of)
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    seen = {job.number: jobs.shown(jobs.plan_job(job, as_of=as_of))}
    assert set(race(_booking(seen, as_of, "pressed twice"), tries=2)) == {"booked"}
    assert Reservation.objects.count() == 1
