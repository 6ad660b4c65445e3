"""Jobs: what is saved plans as what was not, a kit is booked whole or not at all, and queries do not grow."""

import re
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import catalogue, issuing, purchasing, reservations
from inventory.errors import Refused
from inventory.models import Batch, BatchHold, Item, LifeFactor, Reservation, Unit, UnitHold
from repairs import jobs
from repairs.buying import ShoppingList
from repairs.cards import document
from repairs.forms import read_job_file
from repairs.jobs import JobPlan
from repairs.methods import example
from repairs.methods.values import DOUBTFUL
from repairs.models import Hole, HoleGroup, Job, Part, Position
from tests.factories import SupplierFactory
from tests.repairs.bench import TAP, Bench, gaps, line, near
from tests.repairs.test_whole_path import BUSH, BUSH_KIT, DRILL, GROUP, SEAT, SETTING, TAP_16

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
        GROUP | {"hole": "through", "floor": "", "before_major": "14.1", "torque": "59 ft-lb", **LATER},
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


def test_a_group_of_many_holes_is_saved_in_as_many_queries_as_one_of_few(bench: Bench) -> None:
    counts = []
    bench.stock(*BUSH_KIT)
    for holes in (2, 20):
        request = read_job_file(bench.job(GROUP | {"holes": str(holes)}, number=f"J-{holes}"), as_of=bench.as_of)
        with CaptureQueriesContext(connection) as queries:
            jobs.create(request)
        counts.append(len(queries))
    assert Hole.objects.count() == 22
    # the number, the site, the job, the part, the group; positions, those of the part, holes; the transaction's ends
    assert counts == [10, 10]


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


def test_a_unit_for_two_groups_is_held_for_both_windows_and_free_between_them(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, GROUP | LATER | {"holes": "3"})
    day = bench.as_of + timedelta(days=5)
    tool = Unit.objects.get(tag=SETTING["tag"])
    reservations.reserve(
        label="J-9", unit_holds=[(tool.pk, day, day + timedelta(hours=4), 0)], by="Ben", as_of=bench.as_of
    )
    booked = jobs.book(job, by="Ida", as_of=bench.as_of)
    assert booked.reservation is not None
    holds = UnitHold.objects.filter(reservation=booked.reservation).order_by("start")
    assert [(f"{hold.start:%d}-{hold.end:%d}", hold.holes) for hold in holds.filter(unit__tag="T-16")] == [
        ("04-06", 4), ("11-12", 3),
    ]  # fmt: skip
    assert [f"{hold.start:%d}-{hold.end:%d}" for hold in holds.filter(unit=tool)] == ["04-06", "11-12"]
    held = _held(booked.reservation)
    assert held["B-1"] == ("", 5 + 4)
    assert held["OIL-1"] == ("", 1)


def test_a_hole_in_a_harder_metal_takes_more_life_rounded_up_once_over_all_windows(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    tap = Item.objects.get(units__tag="T-16")
    LifeFactor.objects.create(item=tap, material="cast_aluminium", percent=150)
    LifeFactor.objects.create(item=tap, material="steel", percent=900)
    job = bench.save(GROUP | {"holes": "3"}, GROUP | LATER | {"holes": "3"})
    Item.objects.filter(pk=tap.pk).update(life=8)
    taps = [each for each in jobs.plan_job(job, as_of=bench.as_of).lines if each.need.kind == "tap"]
    assert sorted(each.status for each in taps) == ["gap", "match"], "3 holes take 5 of 8, 6 would take 9"
    (short,) = [each.reasons[0] for each in taps if each.status == "gap"]
    assert (short.code, short["left"], short["needed"], short["material"]) == (
        "life_short_in_all",
        5,
        3,
        "cast_aluminium",
    )
    Item.objects.filter(pk=tap.pk).update(life=9)
    booked = jobs.book(job, by="Ida", as_of=bench.as_of)
    holds = UnitHold.objects.filter(reservation=booked.reservation, unit__tag="T-16").order_by("start")
    assert [(f"{hold.start:%d}", hold.holes) for hold in holds] == [("04", 5), ("11", 4)], "6 holes take 9"
    assert jobs.plan_job(job, as_of=bench.as_of).count("gap") == 0, "what it holds itself counts as left"


def test_a_drill_reground_out_of_the_window_is_told_and_one_reground_into_it_taken(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    Unit.objects.filter(tag="D-145").update(own_diameter=14_300_000)
    gap = line(jobs.plan_job(job, as_of=bench.as_of), "drill", "drill")
    assert gap.status == "gap"
    Item.objects.filter(units__tag="D-145").update(diameter=14_800_000)
    Unit.objects.filter(tag="D-145").update(own_diameter=14_500_000)
    found = line(jobs.plan_job(job, as_of=bench.as_of), "drill", "drill")
    assert [(take.line.tag, take.line.facts.diameter) for take in found.takes] == [("D-145", 14_500_000)]


def test_groups_whose_windows_overlap_hold_their_shared_unit_once_over_both(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, GROUP | {"starts": "+3d", "ends": "+5d", "holes": "3"})
    booked = jobs.book(job, by="Ida", as_of=bench.as_of)
    assert booked.reservation is not None
    assert UnitHold.objects.get(reservation=booked.reservation, unit__tag="T-16").holes == 7
    assert _held(booked.reservation)["T-16"] == ("04-08", 7)


# What was shown and what is so


def test_what_moved_after_the_plan_was_shown_is_told_line_by_line_and_nothing_is_held(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    seen = jobs.shown(jobs.plan_job(job, as_of=bench.as_of))
    jobs.book(bench.save(GROUP, number="J-2"), by="Ben", as_of=bench.as_of)
    with pytest.raises(jobs.PlanMoved) as moved:
        jobs.book(job, by="Ida", as_of=bench.as_of, seen=seen)
    assert moved.value.reason.code == "plan_moved"
    tap = next(reason for reason in moved.value.reasons if reason.data.get("kind") == "tap")
    assert (tap["was"], tap["was_tags"], tap["now"], tap["now_tags"]) == ("match", ("T-16",), "gap", ())
    held = next(reason for reason in moved.value.reasons if reason.code == "all_held")
    assert held["labels"] == ("J-2",)
    job.refresh_from_db()
    assert (job.state, job.reservation) == ("planned", None)


def test_a_plan_that_was_shown_and_still_holds_is_booked(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    seen = jobs.shown(jobs.plan_job(job, as_of=bench.as_of))
    later = bench.as_of + timedelta(hours=3)
    assert jobs.book(job, by="Ida", as_of=later, seen=seen).state == "booked"


def test_an_answer_changed_after_the_plan_was_shown_is_a_change_though_the_same_tools_serve(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    seen = jobs.shown(jobs.plan_job(job, as_of=bench.as_of))
    job.groups.update(depth=job.groups.get().depth + 1_000_000)
    with pytest.raises(jobs.PlanMoved):
        jobs.book(job, by="Ida", as_of=bench.as_of, seen=seen)


@pytest.mark.parametrize("text", ["", "{}", "[[1]]", "null", "[" * 100_000, '[["A","b",1,2]]'])
def test_what_was_not_made_by_showing_a_plan_is_refused(bench: Bench, text: str) -> None:
    bench.stock(*BUSH_KIT)
    with pytest.raises(Refused) as refused:
        jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of, seen=text)
    assert refused.value.reason.code in ("shown_unreadable", "plan_moved")
    assert not Reservation.objects.exists()


def test_a_window_that_is_over_is_doubtful_in_the_plan_and_not_booked(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    after = bench.as_of + timedelta(days=4)
    plan = jobs.plan_job(job, as_of=after)
    assert (plan.complete, plan.count("doubtful")) == (False, 1)
    assert plan.groups[0].checks[0].reason.code == "window_over"
    with pytest.raises(Refused) as refused:
        jobs.book(job, by="Ida", as_of=after)
    assert refused.value.reason.code == "window_over"
    assert jobs.plan_job(job, as_of=bench.as_of + timedelta(days=2)).complete, "a job under way is no past one"


# Letting go


def test_a_released_job_holds_nothing_and_can_be_booked_again(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    for _ in range(2):
        job = jobs.release(job, by="Ida", as_of=bench.as_of)
        assert (job.state, job.reservation and job.reservation.state) == ("planned", "released")
        assert not UnitHold.objects.filter(active=True).exists()
    again = jobs.book(job, by="Ida", as_of=bench.as_of)
    assert (again.state, Reservation.objects.filter(state="active").count()) == ("booked", 1)


def test_a_job_that_never_was_booked_has_nothing_to_release(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    with pytest.raises(Refused) as refused:
        jobs.release(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    assert refused.value.reason.code == "job_not_booked"


def test_a_cancelled_job_is_not_booked(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    Job.objects.update(state="cancelled")
    with pytest.raises(Refused) as refused:
        jobs.book(job, by="Ida", as_of=bench.as_of)
    assert (refused.value.reason.code, refused.value.reason["state"]) == ("job_not_open", "cancelled")


def test_a_repeated_release_does_not_touch_what_was_reserved_since(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    jobs.release(job, by="Ida", as_of=bench.as_of, request_key="r")
    jobs.book(job, by="Ida", as_of=bench.as_of)
    again = jobs.release(job, by="Ida", as_of=bench.as_of, request_key="r")
    assert again.state == "booked"
    assert UnitHold.objects.filter(active=True).exists()
    jobs.release(job, by="Ida", as_of=bench.as_of, request_key="s")
    with pytest.raises(Refused) as refused:
        jobs.release(job, by="Ben", as_of=bench.as_of, request_key="t")
    assert refused.value.reason.code == "job_not_booked", "else the key would let go what is reserved next"
    other = jobs.book(bench.save(GROUP | LATER, number="J-2"), by="Ida", as_of=bench.as_of)
    with pytest.raises(Refused) as refused:
        jobs.release(other, by="Ida", as_of=bench.as_of, request_key="r")
    assert (refused.value.reason.code, refused.value.reason["label"]) == ("request_key_reused", "J-1")


# Accepting


def _sizes(bench: Bench, job: Job, method: str) -> list[str]:
    plan = jobs.plan_job(job, as_of=bench.as_of)
    (answer,) = (each for each in plan.groups[0].methods if each.plan.method == method)
    return [jobs.size_code(size.option.size) for size in answer.sizes]


def test_what_is_accepted_is_what_is_planned_until_it_is_taken_back(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP | {"method": ""})
    usual = jobs.plan_job(job, as_of=bench.as_of).groups[0].chosen
    assert usual is not None
    other = _sizes(bench, job, "flanged_bush")[1]
    jobs.accept(job, group="A", method="flanged_bush", size=other, by="Ida", as_of=bench.as_of)
    chosen = jobs.plan_job(job, as_of=bench.as_of).groups[0].chosen
    assert chosen is not None
    assert jobs.size_code(chosen.size) == other != jobs.size_code(usual.size)
    assert {need.id for need in chosen.needs} == {
        line.need.id for line in jobs.plan_job(job, as_of=bench.as_of).lines
    }, "its kit is planned"
    row = HoleGroup.objects.get()
    assert (row.accepted_by, row.accepted_at) == ("Ida", bench.as_of)
    jobs.accept(job, group="A", method="", size="", by="Ida", as_of=bench.as_of)
    assert jobs.plan_job(job, as_of=bench.as_of).groups[0].chosen == usual


@pytest.mark.parametrize(
    ("group", "method", "size", "code"),
    [
        ("Z", "flanged_bush", "", "group_unknown"),
        ("A", "glue", "", "method_unknown"),
        ("A", "flanged_bush", "own/1:M:2", "size_unknown"),
        ("A", "wire_insert", "{wire}", "not_to_be_overruled"),
    ],
)
def test_what_cannot_be_accepted_is_refused(bench: Bench, group: str, method: str, size: str, code: str) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP | {"method": ""})
    plan = jobs.plan_job(job, as_of=bench.as_of)
    wire = next(each.plan for each in plan.groups[0].methods if each.plan.method == "wire_insert")
    refused_size = next(jobs.size_code(option.size) for option in wire.options if option.ruled_out)
    with pytest.raises(Refused) as refused:
        jobs.accept(
            job, group=group, method=method, size=size.replace("{wire}", refused_size), by="Ida", as_of=bench.as_of
        )
    assert refused.value.reason.code == code
    assert HoleGroup.objects.get().accepted == ""


def test_what_is_reserved_is_released_before_another_method_is_accepted(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    with pytest.raises(Refused) as refused:
        jobs.accept(job, group="A", method="", size="", by="Ben", as_of=bench.as_of)
    assert (refused.value.reason.code, refused.value.reason["by"]) == ("job_already_booked", "Ida")


def test_an_accepted_size_that_no_longer_stands_is_said_and_not_booked(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    size = _sizes(bench, job, "flanged_bush")[0]
    jobs.accept(job, group="A", method="flanged_bush", size=size, by="Ida", as_of=bench.as_of)
    job.groups.update(depth=12_000_000, floor=2_000_000)
    plan = jobs.plan_job(job, as_of=bench.as_of)
    assert [check.reason.code for check in plan.groups[0].bars] == ["accepted_no_longer_stands"]
    with pytest.raises(Refused) as refused:
        jobs.book(job, by="Ida", as_of=bench.as_of)
    assert refused.value.reason.code == "accepted_no_longer_stands"


# A part that was here before


def test_a_part_comes_back_by_owner_name_and_serial_number_with_what_is_known_of_it(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP | {"holes": "", "positions": "1, 2"}, part='serial = "7"\nfixture = "F-07"')
    bench.save(GROUP | {"holes": "", "positions": "2, 3"}, number="J-2", part='serial = "7"\nsafety = "brakes"')
    part = Part.objects.get()
    assert (part.fixture, part.safety) == ("F-07", "brakes")
    assert sorted(part.positions.values_list("label", flat=True)) == ["1", "2", "3"]
    bench.save(GROUP, number="J-3")
    bench.save(GROUP, number="J-4")
    assert Part.objects.count() == 3, "without a serial number nobody can say that it is the same"


def test_a_position_that_may_not_be_repaired_bars_a_new_job_and_one_that_was_saved_before(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    first = bench.save(GROUP | {"holes": "", "positions": "1, 2"}, part='serial = "7"')
    Position.objects.filter(label="2").update(may_not_be_repaired=True)
    plan = jobs.plan_job(first, as_of=bench.as_of)
    assert [check.reason.code for check in plan.groups[0].bars] == ["position_not_to_be_repaired"]
    for attempt in (
        lambda: jobs.book(first, by="Ida", as_of=bench.as_of),
        lambda: bench.save(GROUP | {"holes": "", "positions": "2, 3"}, number="J-2", part='serial = "7"'),
    ):
        with pytest.raises(Refused) as refused:
            attempt()
        assert (refused.value.reason.code, refused.value.reason["label"]) == ("position_not_to_be_repaired", "2")
    assert not Job.objects.filter(number="J-2").exists()


def test_a_job_for_which_nothing_is_there_has_nothing_to_hold(bench: Bench) -> None:
    bench.stock({"kind": "drill", "tag": "D-1", "diameter": "3", "usable length": "20"})
    with pytest.raises(Refused) as refused:
        jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    assert refused.value.reason.code == "reservation_empty"
    assert Job.objects.get().state == "planned"


def test_what_a_job_has_in_hand_is_not_reserved_again_and_is_no_gap(bench: Bench) -> None:
    bench.stock(*BUSH_KIT[:-1], BUSH | {"quantity": "5"})
    job = bench.save(GROUP)
    bushes, tap = Batch.objects.get(lot="B-1"), Unit.objects.get(tag="T-16")
    issuing.issue("J-1", units=[tap.pk], batches={bushes.pk: 2}, by="Ida", as_of=bench.as_of)
    assert gaps(jobs.plan_job(job, as_of=bench.as_of)) == []
    other = bench.save(GROUP, number="J-2")
    assert gaps(jobs.plan_job(other, as_of=bench.as_of)) == ["insert", "tap"]
    booked = jobs.book(job, by="Ida", as_of=bench.as_of)
    assert BatchHold.objects.get(reservation=booked.reservation, batch=bushes).quantity == 3
    issuing.issue("J-1", batches={bushes.pk: 3}, by="Ida", as_of=bench.as_of)
    assert gaps(jobs.plan_job(job, as_of=bench.as_of)) == []


# Queries

QUERIES = [
    ("hole groups with part, job and site", "repairs_holegroup"),
    ("their holes", "repairs_hole"),
    ("the positions of the holes", "repairs_position"),
    ("sizes of every family for these bolts", "repairs_familysize"),
    ("the shop's limits", "repairs_shoplimit"),
    ("distinct threads on the shelf", "inventory_item"),
    ("what the parent materials take of a life", "inventory_lifefactor"),
    ("holds of units", "inventory_unithold"),
    ("holds of batches", "inventory_batchhold"),
    ("what the jobs have in hand of batches", "inventory_movement"),
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
    saved = [bench.save(GROUP | {"thread": thread}, number=f"J-{number}") for number, thread in enumerate(THREADS)]
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


# Shopping

MM = 1_000_000


def _offer(item: Item, price: int = 1000, lead_days: int = 1, pack: int = 1) -> None:
    purchasing.add_offer(
        supplier=SupplierFactory.create(), items=[(item, 1)], price=price, lead_days=lead_days, pack=pack
    )


def _without(*kinds: str) -> list[dict[str, str]]:
    return [row for row in BUSH_KIT if row["kind"] not in kinds]


def _bought(found: ShoppingList) -> dict[str, str]:
    """By kind what is bought: the item's number, or why nothing is."""
    return {
        row.gap.demands[0].need.kind: row.purchase.choice.number if row.purchase else row.notes[0].code
        for row in found.rows
    }


def test_a_gap_is_bought_from_the_catalogue_though_nobody_ever_owned_one(bench: Bench) -> None:
    bench.stock(*_without("tap"))
    wanted = {"kind": "tap", "thread_class": "6H", "lead": 20, "flute": "straight", "action": "cut", "life": 40}
    good = catalogue.add_item(number="T-GOOD", thread="M16x1.5", usable_length=60 * MM, **wanted)
    for number, thread, reach in (("T-SHORT", "M16x1.5", 20), ("T-COARSE", "M16x2", 60), ("T-LEFT", "M16x1.5-LH", 60)):
        _offer(catalogue.add_item(number=number, thread=thread, usable_length=reach * MM, **wanted), price=1)
    plan = bench.plan(GROUP)
    assert gaps(plan) == ["tap"]
    assert _bought(jobs.shopping([plan], as_of=bench.as_of)) == {"tap": "not_on_offer"}
    _offer(good)
    assert _bought(jobs.shopping([plan], as_of=bench.as_of)) == {"tap": "T-GOOD"}
    bench.stock(TAP_16)
    assert jobs.shopping([bench.plan(GROUP)], as_of=bench.as_of).rows == ()


def test_the_job_starts_on_its_own_day_and_what_comes_later_is_late(bench: Bench) -> None:
    bench.stock(*_without("setting tool"))
    tool = catalogue.add_item(kind="setting_tool", number="ST", thread="M14x1.5")
    _offer(tool, price=500, lead_days=3)
    (row,) = jobs.shopping([bench.plan(GROUP)], as_of=bench.as_of).rows
    assert row.purchase is not None
    assert (row.gap.day - bench.as_of.date()).days == 2
    assert (row.purchase.late, [note.code for note in row.notes]) == (1, ["late"])
    _offer(tool, price=9000, lead_days=1)
    (row,) = jobs.shopping([bench.plan(GROUP)], as_of=bench.as_of).rows
    assert row.purchase is not None
    assert (row.purchase.late, row.purchase.goods) == (0, 9000)


def test_only_the_inserts_that_are_lacking_are_bought_once_for_all_groups(bench: Bench) -> None:
    bench.stock(*_without("insert"), BUSH | {"quantity": "4"})
    bush = Item.objects.get(kind="insert")
    _offer(bush)
    plan = bench.plan(GROUP, GROUP)
    (row,) = jobs.shopping([plan], as_of=bench.as_of).rows
    assert row.purchase is not None
    assert [demand.need.id for demand in row.gap.demands] == ["A.insert", "B.insert"]
    assert row.purchase.pieces == 10 - 4, "five a group with scrap, less the four on the shelf"


def test_a_drill_and_a_cutter_are_bought_that_go_together(bench: Bench) -> None:
    bench.stock(*_without("drill", "seat cutter"))
    for number, size, price in (("D-144", 14_400_000, 900), ("D-145", 14_500_000, 100)):
        drill = catalogue.add_item(kind="drill", number=number, diameter=size, usable_length=120 * MM, life=50)
        _offer(drill, price=price)
    cutter = {"kind": "seat_cutter", "diameter": 22 * MM, "usable_length": 60 * MM, "life": 50}
    _offer(catalogue.add_item(number="S-143", pilot=14_300_000, **cutter))
    found = jobs.shopping([bench.plan(GROUP)], as_of=bench.as_of)
    assert _bought(found) == {"drill": "D-144", "seat_cutter": "S-143"}, "0.1 under 14.4, but 0.2 under 14.5"


def test_a_drill_that_the_cutter_at_hand_does_not_run_under_is_doubtful(bench: Bench) -> None:
    bench.stock(*_without("drill"))
    drills = {
        size: catalogue.add_item(kind="drill", number=f"D-{size}", diameter=size, usable_length=120 * MM, life=50)
        for size in (14_500_000, 14_600_000)
    }
    _offer(drills[14_600_000], price=1)
    (row,) = jobs.shopping([bench.plan(GROUP)], as_of=bench.as_of).rows
    assert row.purchase is not None
    assert row.purchase.choice.status == DOUBTFUL
    assert [reason.code for reason in row.purchase.choice.reasons] == ["pilot_not_under_drill"]
    _offer(drills[14_500_000], price=9999)
    assert _bought(jobs.shopping([bench.plan(GROUP)], as_of=bench.as_of)) == {"drill": "D-14500000"}


def test_a_group_without_a_method_is_named_as_not_listed(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    plan = bench.plan(GROUP, GROUP | {"hole": "through", "floor": "", "depth": "2"})
    assert jobs.shopping([plan], as_of=bench.as_of).unplanned == (("J-1", "B"),)


@pytest.mark.parametrize("count", [2, 20])
def test_a_shopping_list_takes_four_queries_for_two_jobs_and_for_twenty(bench: Bench, count: int) -> None:
    bench.stock(*_without("tap", "setting tool", "insert"))
    for number in range(count):
        tool = catalogue.add_item(kind="setting_tool", number=f"ST-{number}", thread="M14x1.5", name=f"{number}")
        _offer(tool)
    saved = [bench.save(GROUP, number=f"J-{number:02}") for number in range(count)]
    plans = jobs.plan_jobs(saved, as_of=bench.as_of)
    with CaptureQueriesContext(connection) as queries:
        found = jobs.shopping(plans, as_of=bench.as_of)
    tables = [re.search(r'FROM "(\w+)"', query["sql"]) for query in queries.captured_queries]
    assert [table and table[1] for table in tables] == [
        "inventory_item",  # what would meet a gap
        "inventory_offer",  # who sells it
        "inventory_offeritem",  # what a pack holds
        "inventory_pricebreak",  # what it costs by the number
    ]
    (bought,) = [row.purchase for row in found.rows if row.purchase]
    assert bought.pieces == count, "all at the same time"


# What a page asks


def test_what_moved_is_told_once_a_line_each_with_why(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    seen = jobs.shown(jobs.plan_job(job, as_of=bench.as_of))
    Unit.objects.filter(tag__in=["T-16", "D-145"]).update(condition="lost")
    with pytest.raises(jobs.PlanMoved) as moved:
        jobs.book(job, by="Ida", as_of=bench.as_of, seen=seen)
    told = [reason for reason in moved.value.reasons if reason.code == "line_moved"]
    assert [reason["need"] for reason in told] == ["A.drill", "A.seat_cutter", "A.tap"]
    assert len(moved.value.reasons) == len(set(moved.value.reasons))
    assert moved.value.reason["count"] == 3


def test_a_request_whose_reservation_was_released_since_reserves_nothing(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    jobs.book(job, by="Ida", as_of=bench.as_of, request_key="k")
    jobs.release(job, by="Bo", as_of=bench.as_of)
    with pytest.raises(Refused) as refused:
        jobs.book(job, by="Ida", as_of=bench.as_of, request_key="k")
    assert (refused.value.reason.code, refused.value.reason["by"]) == ("released_since", "Bo")
    job.refresh_from_db()
    assert job.state == "planned"
    assert not UnitHold.objects.filter(active=True).exists()


def test_a_list_plans_the_same_lines_as_the_sheet_without_the_other_methods(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    saved = [bench.save(GROUP, number="J-1"), bench.save(GROUP | {"method": "plain bush"}, number="J-2")]
    full = jobs.plan_jobs(saved, as_of=bench.as_of)
    short = jobs.plan_jobs(saved, as_of=bench.as_of, side_by_side=False)
    assert [plan.lines for plan in short] == [plan.lines for plan in full]
    assert all(plan.lines for plan in short)
    assert any(answer.sizes for plan in full for group in plan.groups for answer in group.methods)
    assert not any(answer.sizes for plan in short for group in plan.groups for answer in group.methods)


def test_how_ready_a_job_is_says_all_that_it_waits_for(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    thin = GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""}
    assert bench.plan(GROUP).readiness == ("complete",)
    assert bench.plan(GROUP | {"material": "magnesium"}).readiness == ("short",)
    assert bench.plan(GROUP | {"made": "unknown"}).readiness == ("doubtful",)
    assert bench.plan(thin, GROUP | {"made": "unknown"}).readiness == ("unplanned", "doubtful")


def test_a_job_is_found_by_its_number_and_nothing_else_is(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    assert jobs.by_number("J-1") == job
    for number in ("J-2", "", "J-1\0"):
        with pytest.raises(Refused) as refused:
            jobs.by_number(number)
        assert refused.value.reason.code == "job_number_unknown"


@pytest.mark.parametrize("edition", ["1", "ISO 1:2005"])
def test_a_code_of_a_size_is_taken_apart_again_whatever_its_edition_is_called(edition: str) -> None:
    size = replace(example.bush(), edition=edition)
    assert jobs.parted(jobs.size_code(size)) == (size.family_key, size.outer, size.length)
    bare = example.bare("chase", "M14x1.5", 21)
    assert jobs.parted(jobs.size_code(bare)) == ("", bare.outer, bare.length)
