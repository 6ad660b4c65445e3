"""Jobs: what is saved plans as what was not, a kit is booked whole or not at all, and queries do not grow."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import reservations
from inventory.errors import Refused
from inventory.models import BatchHold, Reservation, Unit, UnitHold
from repairs import jobs
from repairs.cards import document
from repairs.forms import read_job_file
from repairs.jobs import JobPlan
from repairs.models import Hole, HoleGroup, Job, Part, Position
from tests.repairs.bench import TAP, Bench, gaps, line, near
from tests.repairs.test_whole_path import BUSH_KIT, DRILL, GROUP, SEAT, SETTING, TAP_16

LATER = {"starts": "+9d", "ends": "+9d"}


def _tags(plan: JobPlan) -> set[str]:
    return {take.line.tag for each in plan.lines if each.status == "match" for take in each.takes}


def _held(reservation: Reservation) -> dict[str, tuple[str, int]]:
    """What is held: tag or lot to its last day or "", and holes or quantity."""
    units = UnitHold.objects.filter(reservation=reservation, active=True).select_related("unit")
    batches = BatchHold.objects.filter(reservation=reservation, active=True).select_related("batch")
    return {hold.unit.tag: (f"{hold.start:%d}-{hold.end:%d}", hold.holes) for hold in units} | {
        hold.batch.lot: ("", hold.quantity) for hold in batches
    }


# Saving


def test_a_saved_job_plans_as_the_same_job_unsaved(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    groups = [
        GROUP | {"thread": "M14x1.5-6H", "before": "wire insert", "failed": "parent", "passes_gauge": "no"},
        GROUP | {"thread": "M10", "method": "", "material": "", "before_thread": "EG M10x1.5", "before": "unknown"},
        GROUP | {"hole": "through", "before_major": "14.1", "torque": "59 ft-lb", **LATER},
    ]
    text = bench.job(*groups, part='serial = "7"\nfixture = "F-07"\nhand = "left"\nsafety = "lifting"')
    request = read_job_file(text, as_of=bench.as_of)
    unsaved = jobs.plan_request(request, as_of=bench.as_of)
    job = jobs.create(request)
    assert jobs.plan_job(job, as_of=bench.as_of) == unsaved
    assert unsaved.lines
    kept = HoleGroup.objects.get(job=job, code="C")
    assert kept.typed == groups[2]
    assert kept.as_typed == "M14 x 1,5"


def test_the_answers_stand_in_the_tables(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, GROUP | LATER, part='serial = "7"\nsafety = "brakes"')
    first, second = HoleGroup.objects.filter(job=job)
    assert (first.start, first.end) == (None, None), "the job's own window"
    assert (second.start, second.end) == (bench.as_of.replace(day=11, hour=0), bench.as_of.replace(day=12, hour=0))
    assert Part.objects.get().safety == "brakes"
    assert (Position.objects.count(), Hole.objects.count()) == (8, 8)
    assert job.state == "planned"


def test_a_number_is_given_once_and_an_unknown_site_refused_and_neither_leaves_anything(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    for number, site, code in (("J-1", "Main", "job_number_taken"), ("J-2", "Elsewhere", "site_unknown")):
        text = bench.job(GROUP, number=number).replace('site = "Main"', f'site = "{site}"')
        with pytest.raises(Refused) as refused:
            jobs.create(read_job_file(text, as_of=bench.as_of))
        assert refused.value.reason.code == code
    assert (Job.objects.count(), Part.objects.count(), Position.objects.count()) == (1, 1, 4)


def test_a_job_without_holes_is_not_complete(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    HoleGroup.objects.filter(job=job).delete()
    plan = jobs.plan_job(job, as_of=bench.as_of)
    assert plan.groups == ()
    assert not plan.complete


# Booking


def test_booking_holds_exactly_what_the_plan_matched(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    plan = jobs.plan_job(job, as_of=bench.as_of)
    booked = jobs.book(job, by="Ida", as_of=bench.as_of)
    assert (booked.state, Job.objects.get().reservation) == ("booked", booked.reservation)
    assert booked.reservation is not None
    assert (booked.reservation.label, booked.reservation.link) == ("J-1", "/jobs/J-1/")
    held = _held(booked.reservation)
    assert set(held) == _tags(plan)
    assert held["T-16"] == held["D-145"] == ("04-06", 4)
    assert held["ST-14"] == ("04-06", 0)
    assert held["B-1"] == ("", 5), "four bushes and 10 % scrap"
    assert held["OIL-1"] == ("", 1), "one pack serves the whole job"


def test_a_gap_and_a_doubtful_line_are_not_held_and_the_rest_is(bench: Bench) -> None:
    near_the_top = DRILL | {"tag": "D-TOP", "diameter": "14.65"}
    bench.stock(*(row for row in BUSH_KIT if row not in (TAP_16, DRILL, SEAT)), near_the_top, SEAT | {"pilot": "14.6"})
    job = bench.save(GROUP)
    plan = jobs.plan_job(job, as_of=bench.as_of)
    assert line(plan, "drill").status == "doubtful"
    assert gaps(plan) == ["tap"]
    booked = jobs.book(job, by="Ida", as_of=bench.as_of)
    assert booked.reservation is not None
    assert set(_held(booked.reservation)) == _tags(plan)
    assert "D-TOP" not in _held(booked.reservation)


def test_a_job_is_booked_once_even_from_a_page_that_was_opened_before(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    stale = Job.objects.get()
    jobs.book(job, by="Ida", as_of=bench.as_of, request_key="k")
    for again in (job, stale):
        with pytest.raises(Refused) as refused:
            jobs.book(again, by="Ben", as_of=bench.as_of)
        assert refused.value.reason.code == "job_already_booked"
    assert jobs.book(stale, by="Ida", as_of=bench.as_of, request_key="k").reservation == job.reservation
    assert Reservation.objects.count() == 1


def test_its_own_hold_does_not_stand_in_a_jobs_way(bench: Bench) -> None:
    bench.stock(*(row for row in BUSH_KIT if row is not TAP_16), TAP_16 | {"life": "4"})
    job = bench.save(GROUP)
    before = jobs.plan_job(job, as_of=bench.as_of)
    jobs.book(job, by="Ida", as_of=bench.as_of)
    after = jobs.plan_job(job, as_of=bench.as_of)
    assert before.complete
    assert after.complete
    assert _tags(after) == _tags(before)


def test_another_job_of_those_days_sees_who_holds_it_and_when_it_is_free(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    plan = bench.plan(GROUP, number="J-2")
    found = line(plan, "wind_in", "setting_tool")
    (reason,) = found.reasons
    assert found.status == "gap"
    assert (reason.code, reason["count"], reason["labels"]) == ("all_held", 1, ("J-1",))
    assert reason["first_free"] == bench.as_of.replace(day=6, hour=0)
    assert near(found) == {"ST-14": {"held"}}
    (miss,) = found.near[0].reasons
    assert (miss["label"], miss["start"], miss["end"]) == (
        "J-1", bench.as_of.replace(day=4, hour=0), bench.as_of.replace(day=6, hour=0),
    )  # fmt: skip


def test_another_job_of_other_days_takes_the_same_tools(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    plan = bench.plan(GROUP | LATER, number="J-2")
    assert line(plan, "wind_in", "setting_tool").status == "match"


def test_a_unit_for_two_groups_is_held_once_over_both_windows_with_the_life_of_both(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, GROUP | LATER | {"holes": "3"})
    booked = jobs.book(job, by="Ida", as_of=bench.as_of)
    assert booked.reservation is not None
    held = _held(booked.reservation)
    assert held["T-16"] == ("04-12", 7)
    assert held["B-1"] == ("", 5 + 4)
    assert held["OIL-1"] == ("", 1)


def test_what_cannot_be_held_whole_is_not_held_at_all(bench: Bench) -> None:
    """Two groups share the setting tool, and between their windows somebody else has it."""
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, GROUP | LATER)
    day = bench.as_of + timedelta(days=5)
    tool = Unit.objects.get(tag=SETTING["tag"])
    reservations.reserve(
        label="J-9", unit_holds=[(tool.pk, day, day + timedelta(hours=4), 0)], by="Ben", as_of=bench.as_of
    )
    with pytest.raises(Refused) as refused:
        jobs.book(job, by="Ida", as_of=bench.as_of)
    assert (refused.value.reason.code, refused.value.reason["label"]) == ("unit_held", "J-9")
    job.refresh_from_db()
    assert (job.state, job.reservation) == ("planned", None)
    assert Reservation.objects.get().label == "J-9"
    assert not BatchHold.objects.exists()


def test_a_job_for_which_nothing_is_there_has_nothing_to_hold(bench: Bench) -> None:
    bench.stock({"kind": "drill", "tag": "D-1", "diameter": "3", "usable length": "20"})
    with pytest.raises(Refused) as refused:
        jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    assert refused.value.reason.code == "reservation_empty"
    assert Job.objects.get().state == "planned"


# Queries

QUERIES = [
    ("hole groups with part, job and site", "repairs_holegroup"),
    ("their holes", "repairs_hole"),
    ("the positions of the holes", "repairs_position"),
    ("sizes of every family for these bolts", "repairs_familysize"),
    ("the shop's limits", "repairs_shoplimit"),
    ("distinct threads on the shelf", "inventory_item"),
    ("holds of units", "inventory_unithold"),
    ("holds of batches", "inventory_batchhold"),
    ("units", "inventory_unit"),
    ("batches", "inventory_batch"),
]
THREADS = ("M14x1.5", "M10", "M8x1.25", "1/2-13")


@pytest.mark.parametrize("every_size", [False, True])
def test_planning_two_jobs_or_twenty_takes_these_queries(bench: Bench, every_size: bool) -> None:
    bench.stock(*BUSH_KIT, TAP | {"tag": "T-EG", "thread": "EG M8", "class": "5H", "lead": "4"})
    saved = [bench.save(GROUP | {"thread": THREADS[n % 4], "method": ""}, number=f"J-{n:02}") for n in range(20)]
    jobs.book(saved[0], by="Ida", as_of=bench.as_of)
    for some in (saved[:2], saved):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            plans = jobs.plan_jobs(some, as_of=bench.as_of, every_size=every_size)
        tables = [re.search(r'FROM "(\w+)"', query["sql"]) for query in queries.captured_queries]
        assert [found and found[1] for found in tables] == [table for _, table in QUERIES]
        assert [plan.number for plan in plans] == [job.number for job in some]
        assert all(plan.lines and plan.site == "Main" for plan in plans)


def test_jobs_planned_together_plan_as_each_by_itself(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    saved = [bench.save(GROUP | {"thread": thread}, number=f"J-{thread}") for thread in THREADS]
    together = jobs.plan_jobs(saved, as_of=bench.as_of, every_size=True)
    alone = [jobs.plan_job(job, as_of=bench.as_of) for job in saved]
    assert [document(plan) for plan in together] == [document(plan) for plan in alone]
    assert jobs.plan_jobs([], as_of=bench.as_of) == []


def test_only_jobs_that_still_want_their_kit_are_open_the_soonest_first(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    for number, state in enumerate(["released", "planned", "cancelled", "booked", "started"]):
        job = bench.save(GROUP, number=f"J-{number}")
        Job.objects.filter(pk=job.pk).update(state=state, start=bench.as_of - timedelta(days=number))
    assert [job.number for job in jobs.open_jobs()] == ["J-4", "J-3", "J-1"]


def test_an_unsaved_job_of_a_saved_ones_number_does_not_get_its_holds(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP, number="J-7"), by="foreman", as_of=bench.as_of)
    assert bench.plan(GROUP, number="J-7").count("gap")


def test_a_stored_text_that_now_is_a_question_costs_only_its_notes(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    job.groups.update(as_typed='7/8"')
    plan = jobs.plan_job(job, as_of=bench.as_of)
    assert plan.groups[0].group.bolt.designation == "M14x1.5"
    assert plan.groups[0].group.notes == ()
