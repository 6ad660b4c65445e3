"""The foreman's first page: what starts, what is short, what is doubtful, what waits to be released."""

import re
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import catalogue, counting, issuing, stock
from inventory.counting import Finding
from inventory.models import Batch, BatchHold, Item, Unit
from inventory.threads import read
from repairs import jobs
from repairs.models import Job
from repairs.views import today
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH, BUSH_KIT, GROUP, TAP_16

pytestmark = pytest.mark.django_db


DAY = timedelta(days=1)


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
    # session, user, open jobs, the eleven of planning (see test_whole_path), two of what was lost of what is
    # reserved, what waits to be released, and thirteen of what needs attention in the crib, where nothing has an order
    # point
    assert counts == [31, 31]


def _two_booked(bench: Bench, *, bushes: str = "10", also: Sequence[dict[str, str]] = ()) -> None:
    """J-1 and J-2, days apart, each with the whole kit kept: five of the bushes each, the other tools one after the
    other."""
    bench.as_of = timezone.now()
    bench.stock(*(row for row in BUSH_KIT if row is not BUSH), BUSH | {"quantity": bushes}, *also)
    bench.save(GROUP, number="J-1")
    _starts(bench.save(GROUP, number="J-2"), 12)
    for number in ("J-1", "J-2"):
        jobs.book(jobs.by_number(number), by="Ida", as_of=bench.as_of)
    assert set(BatchHold.objects.filter(batch__lot="B-1").values_list("quantity", flat=True)) == {5}


def _board(client: Client) -> dict[str, str]:
    """By job what stands under "Short" on Today; the list of jobs tells of as many gaps."""
    text = client.get("/").content.decode()
    parts = re.split(r'<span class="job">', _section(text, "short"))[1:]
    found = {re.search(r">(J-\w+)</a>", part)[1]: part for part in parts}  # type: ignore[index]
    jobs_page = client.get(reverse("jobs"), {"readiness": "short"}).content.decode()
    assert set(re.findall(r"/jobs/(J-\w+)/", jobs_page)) == set(found)
    return found


def _entry() -> dict[str, Any]:
    return {"as_of": timezone.now(), "by": "Ida"}


def _unit(tag: str) -> Unit:
    return Unit.objects.get(tag=tag)


def _count_of(thing: Batch | Unit, found: int) -> None:
    """A posted count that found so many of it."""
    count = counting.start(site="Main", bins=[thing.bin_id], blind=True, **_entry())
    of = {"batch": thing.pk} if isinstance(thing, Batch) else {"unit": thing.pk}
    counting.enter(count=count.pk, bin=thing.bin_id, findings=[Finding(found, **of)], **_entry())
    counting.post(count=count.pk, reason="yearly", **_entry())


def _days_ago(days: int) -> date:
    return timezone.localdate() - days * DAY


def _loan() -> None:
    """Lent before the jobs that keep it begin, and not back on the day agreed."""
    lent = {"as_of": timezone.now() - 5 * DAY, "by": "Ida"}
    stock.lend_unit(unit=_unit("T-16"), to=stock.add_person(name="Bo"), until=_days_ago(3), **lent)


GONE: dict[str, tuple[Callable[[], object], str]] = {
    "lost": (lambda: stock.lose_unit(unit=_unit("T-16"), reason="not there", **_entry()), "tap M16x1.5"),
    "scrapped": (lambda: stock.scrap_unit(unit=_unit("T-16"), reason="chipped", **_entry()), "tap M16x1.5"),
    "counted": (lambda: _count_of(_unit("T-16"), 0), "tap M16x1.5"),
    "at regrind": (lambda: stock.send_unit(unit=_unit("T-16"), why="regrind", **_entry()), "tap M16x1.5"),
    "on loan": (_loan, "tap M16x1.5"),
    "worn out": (lambda: stock.use_unit(unit=_unit("T-16"), holes=200, **_entry()), "tap M16x1.5"),
    "calibration over": (
        lambda: stock.calibrate_unit(unit=_unit("GH-16"), due=_days_ago(2), as_of=timezone.now() - 3 * DAY, by="Ida"),
        "hole gauge M16x1.5",
    ),
    "expired": (
        lambda: Batch.objects.filter(lot="OIL-1").update(expires=_days_ago(2)),
        "oil",
    ),
    "no inserts counted": (lambda: _count_of(Batch.objects.get(lot="B-1"), 0), "M14x1.5 in M16x1.5"),
}


@pytest.mark.parametrize("what", GONE)
def test_whatever_befalls_a_thing_every_job_that_counted_on_it_is_short_at_once(
    bench: Bench, admin_client: Client, what: str
) -> None:
    _two_booked(bench)
    assert _board(admin_client) == {}
    befalls, gap = GONE[what]
    befalls()
    board = _board(admin_client)
    assert set(board) == {"J-1", "J-2"}
    assert all(gap in part and "Gap" in part for part in board.values())
    assert stock.disagreements() == []


def test_a_tap_broken_at_the_counter_is_one_press_and_every_job_that_counted_on_it_is_short(
    bench: Bench, admin_client: Client
) -> None:
    _two_booked(bench)
    tap = _unit("T-16")
    issuing.issue("J-1", units=[tap.pk], **_entry())
    key = f"u{tap.pk}"
    sent = {
        "line": key,
        "broke": key,
        "in-request_key": "p",
        f"in-{key}-holes": "1",
        f"in-{key}-condition": "serviceable",
    }
    assert admin_client.post(reverse("counter-take-back", args=["J-1"]), sent).status_code == 200
    assert set(_board(admin_client)) == {"J-1", "J-2"}


def test_an_insert_lost_at_the_counter_with_none_free_is_a_gap_of_the_job_that_starts_last(
    bench: Bench, admin_client: Client
) -> None:
    _two_booked(bench)
    lot = Batch.objects.get(lot="B-1")
    issuing.issue("J-1", batches={lot.pk: 5}, **_entry())
    key = f"b{lot.pk}"
    sent = {"line": key, "lost": key, "in-request_key": "p", f"in-{key}-gone": "1"}
    assert admin_client.post(reverse("counter-take-back", args=["J-1"]), sent).status_code == 200
    board = _board(admin_client)
    assert set(board) == {"J-2"}, "what J-1 lost was made good from what is kept for whom starts last"
    assert "Only 4 free in all for 5" in board["J-2"] or "Only 4 free of" in board["J-2"]
    lost = _section(admin_client.get("/").content.decode(), "lost")
    assert "1 of B-1 (insert) that was kept is gone, and nothing takes its place: a gap." in lost
    sent |= {"in-request_key": "q", f"in-{key}-gone": "4"}
    assert admin_client.post(reverse("counter-take-back", args=["J-1"]), sent).status_code == 200
    issuing.kit("J-1", as_of=timezone.now())
    assert set(_board(admin_client)) == {"J-2"}, "the four were made good from the four that J-2 still had"
    assert stock.disagreements() == []


def test_what_another_lot_makes_good_is_no_gap_and_is_told_to_be_not_kept(bench: Bench, admin_client: Client) -> None:
    _two_booked(bench)
    bench.stock(BUSH | {"lot": "B-2", "quantity": "3"})
    _count_of(Batch.objects.get(lot="B-1"), 8)
    assert _board(admin_client) == {}
    told = "2 of B-1 (insert) that was kept is gone; B-2 would do but is not kept: release and reserve anew."
    text = admin_client.get("/").content.decode()
    assert re.findall(r">(J-\w+)</a>", _section(text, "lost")) == ["J-2"]
    assert told in _section(text, "lost")
    assert "some lost or unfit" not in _section(text, "soon"), "of J-1 nothing is gone"
    assert told in admin_client.get(reverse("jobs")).content.decode()
    assert told in admin_client.get(reverse("job", args=["J-2"])).content.decode()
    jobs.release(jobs.by_number("J-2"), **_entry())
    jobs.book(jobs.by_number("J-2"), **_entry())
    assert not _section(admin_client.get("/").content.decode(), "lost")
    assert dict(BatchHold.objects.filter(active=True).values_list("batch__lot", "quantity")) != {}


def test_a_lost_spare_that_free_pieces_make_good_touches_no_job(bench: Bench, admin_client: Client) -> None:
    _two_booked(bench, bushes="11")
    lot = Batch.objects.get(lot="B-1")
    issuing.issue("J-1", batches={lot.pk: 5}, **_entry())
    issuing.broke("J-1", f"b{lot.pk}", lost=True, reason="lost", **_entry())
    assert _board(admin_client) == {}
    assert not _section(admin_client.get("/").content.decode(), "lost")


def test_the_page_only_reads(bench: Bench, admin_client: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    with CaptureQueriesContext(connection) as queries:
        admin_client.get("/")
    assert all(query["sql"].startswith("SELECT") for query in queries.captured_queries)


def _measured(item: Item, **anew: Any) -> None:
    catalogue.measure(item, anew=anew, seen=catalogue.measures_of(item), reason="mistyped", **_entry())


MISTYPED: dict[str, tuple[Callable[[], None], str, str]] = {
    "drill": (lambda: _measured(_unit("D-145").item, diameter=12_200_000), "D-145 (drill)", "drill"),
    "tap": (lambda: _measured(_unit("T-16").item, thread=read("M12x1.5").thread.key), "T-16 (tap)", "tap M16x1.5"),
    "pilot": (lambda: _measured(_unit("S-22").item, pilot=None), "S-22 (seat cutter)", "seat cutter"),
    "insert": (
        lambda: _measured(Batch.objects.get(lot="B-1").item, insert_length=12_000_000),
        "B-1 (insert)",
        "M14x1.5 in M16x1.5",
    ),
}


@pytest.mark.parametrize("what", MISTYPED)
def test_a_measurement_that_is_corrected_makes_every_job_short_that_counted_on_it_at_once(
    bench: Bench, admin_client: Client, what: str
) -> None:
    _two_booked(bench)
    correct, named, gap = MISTYPED[what]
    correct()
    board = _board(admin_client)
    assert set(board) == {"J-1", "J-2"}
    assert all(gap in part and "Gap" in part for part in board.values())
    told = f"{named} is kept and no longer serves, and nothing takes its place, a gap: "
    lost = _section(admin_client.get("/").content.decode(), "lost")
    assert lost.count(told) == 2
    assert told in admin_client.get(reverse("jobs")).content.decode()
    assert told in admin_client.get(reverse("job", args=["J-2"])).content.decode()
    assert stock.disagreements() == []


def test_what_would_do_in_place_of_a_mistyped_drill_is_told_to_be_not_kept(bench: Bench, admin_client: Client) -> None:
    _two_booked(bench)
    spare = next(dict(row) for row in BUSH_KIT if row.get("tag") == "D-145")
    _measured(_unit("D-145").item, diameter=14_800_000)
    bench.stock(spare | {"tag": "D-146"})
    assert _board(admin_client) == {}
    told = "D-145 (drill) is kept and no longer serves; D-146 would do but is not kept, release and reserve anew: "
    assert told in _section(admin_client.get("/").content.decode(), "lost")


def test_a_correction_that_changes_nothing_for_a_job_is_not_told(bench: Bench, admin_client: Client) -> None:
    _two_booked(bench)
    _measured(_unit("D-145").item, diameter=14_450_000)
    assert _board(admin_client) == {}
    assert not _section(admin_client.get("/").content.decode(), "lost")
