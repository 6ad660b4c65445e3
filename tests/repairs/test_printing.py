"""The job card: every number of the plan stands on it, nothing is cut off or blank, and it owns up when it is stale."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import catalogue, stock
from inventory.errors import Refused
from inventory.models import Batch, Bin, Unit
from inventory.quantities import show_length, show_torque, to_nm
from inventory.threads import read
from repairs import cards, jobs, limits, printing
from repairs.forms import read_job_file
from repairs.models import Card, HoleGroup, Job
from repairs.wording import CHECKED
from tests.factories import PersonFactory
from tests.repairs.bench import TAP, Bench
from tests.repairs.conftest import Demo
from tests.repairs.test_whole_path import BUSH_KIT, DRILL, GROUP, INDICATOR, SETTING, TAP_16, WRENCH

ADDRESS = "https://crib.example/jobs/J-1/"


@pytest.fixture
def poppler() -> None:
    """The tools that read a PDF; without them the test is skipped, or fails where everything is required."""
    if all(map(shutil.which, ("pdftotext", "pdftoppm", "pdfinfo"))):
        return
    if os.environ.get("THREADCRIB_REQUIRE_ALL") == "1":
        pytest.fail("THREADCRIB_REQUIRE_ALL is set, but there is no poppler-utils.")
    pytest.skip("there is no poppler-utils on this machine")


def _read(made: bytes, *command: str) -> bytes:
    return subprocess.run([*command, "-", "-"], input=made, capture_output=True, check=True).stdout


def _text(made: bytes) -> str:
    """All that can be read on a card, without the gaps: a line may end anywhere."""
    return "".join(_read(made, "pdftotext", "-raw").decode().split())


def _sheets(made: bytes) -> int:
    told = subprocess.run(["pdfinfo", "-"], input=made, capture_output=True, check=True).stdout.decode()
    found = re.search(r"Pages:\s+(\d+)", told)
    assert found
    return int(found[1])


def _missing(wanted: Iterator[str], text: str) -> list[str]:
    return [each for each in wanted if "".join(each.split()) not in text]


# What stands on it


def _numbers(found: dict[str, Any]) -> Iterator[str]:
    """Whatever a fitter must be able to read of a plan document."""
    yield found["job"]
    for group in found["groups"]:
        if group["method"] is None:
            continue
        yield from group["answers"]["positions"]
        yield from (told["text"] for told in (*group["cautions"], *(each["reason"] for each in group["checks"])))
        for step in printing.planned_steps(group):
            for told in (*step["settings"], *step["cautions"]):
                source = str(told["data"].get("source", ""))
                yield source
                yield told["text"].replace(f" ({source})", "")
                if "rpm" in told["data"]:
                    yield f"{told['data']['rpm']} rpm"
                if told["code"] == "torque_to":
                    yield show_torque(told["data"]["torque_nmm"])
        for line in group["lines"]:
            window = line["need"]["diameter"]
            if line["need"]["kind"] == "drill":
                yield show_length(to_nm(Decimal(window["least_mm"])), "mm", "up")
                yield show_length(to_nm(Decimal(window["most_mm"])), "mm", "down")
            for take in line["takes"]:
                yield from (take["tag"], take["bin"], *(told["text"] for told in take["reasons"]))
            if line["status"] != "match":
                yield from (told["text"] for told in line["reasons"])
            for told in line["look_alikes"]:
                yield from (f"{told['data']['tag']} ({told['data']['bin']})", told["data"]["thread"])


def test_every_number_of_every_demo_job_can_be_read_on_its_card(demo: Demo, poppler: None) -> None:
    wrong = {}
    for number, found in demo.documents.items():
        text = _text(printing.pdf(found, {}, address=ADDRESS, units="mm"))
        if missing := _missing(_numbers(found), text):
            wrong[number] = missing
    assert wrong == {}


def test_a_number_that_is_not_in_the_plan_is_missed(demo: Demo, poppler: None) -> None:
    """The twin of the test above, so that it is known to mean something."""
    found = demo.documents["J-1041"]
    text = _text(printing.pdf(found, {}, address=ADDRESS, units="mm"))
    tag = found["groups"][0]["lines"][0]["takes"][0]["tag"]
    found["groups"][0]["lines"][0]["takes"][0]["tag"] = "QQ-999"
    try:
        assert _missing(_numbers(found), text) == ["QQ-999"]
    finally:
        found["groups"][0]["lines"][0]["takes"][0]["tag"] = tag


def test_every_step_that_a_method_has_says_what_is_checked(demo: Demo) -> None:
    steps = {
        step["step"] for found in demo.documents.values() for group in found["groups"]
        for step in printing.planned_steps(group)
    }  # fmt: skip
    assert len(steps) > 10
    assert steps - set(CHECKED) == set()


def _card(bench: Bench, *groups: dict[str, str], part: str = "", units: str = "mm") -> bytes:
    plan = bench.plan(*groups, part=part)
    found = cards.document(plan, units=units)
    return printing.pdf(found, printing.sections(plan, units=units), address=ADDRESS, units=units)


def test_equal_plans_make_equal_bytes(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    assert _card(bench, GROUP) == _card(bench, GROUP)
    assert _card(bench, GROUP) != _card(bench, GROUP | {"torque": "81 N·m"})


def test_four_holes_are_one_sheet_and_many_are_two(bench: Bench, poppler: None) -> None:
    bench.stock(*BUSH_KIT)
    assert _sheets(_card(bench, GROUP)) == 1
    many = _card(bench, GROUP | {"holes": "24"})
    assert _sheets(many) == 2
    text = _text(many)
    assert all(f"A{hole}" in text for hole in range(1, 25))
    assert _sheets(_card(bench, GROUP, GROUP | {"holes": "2"})) == 2


def test_a_demo_job_of_one_group_is_one_sheet_and_each_group_has_its_own(demo: Demo, poppler: None) -> None:
    sheets = {
        number: (len(found["groups"]), _sheets(printing.pdf(found, {}, address=ADDRESS, units="mm")))
        for number, found in demo.documents.items()
    }
    assert {number: printed for number, (groups, printed) in sheets.items() if groups == 1 and printed != 1} == {}
    assert all(groups <= printed <= 2 * groups for groups, printed in sheets.values())


def _pixels(made: bytes) -> tuple[int, int, bytes]:
    """The first sheet at 150 dots an inch: width, height, three bytes a dot."""
    command = ["pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-singlefile", "-"]
    raw = subprocess.run(command, input=made, capture_output=True, check=True).stdout
    head = re.match(rb"P6\s+(\d+)\s+(\d+)\s+255\s", raw)
    assert head
    return int(head[1]), int(head[2]), raw[head.end() :]


def _drawn(made: bytes) -> dict[str, int]:
    """How many dots of each ink lie where the section stands: edges, hatching of the metal, hatching of the insert."""
    wide, high, dots = _pixels(made)
    found = {"ink": 0, "metal": 0, "insert": 0}
    for row in range(int(high * 0.14), int(high * 0.37)):
        for at in range(3 * (row * wide + int(wide * 0.05)), 3 * (row * wide + int(wide * 0.5)), 3):
            red, green, blue = dots[at : at + 3]
            if blue > red + 30:
                found["insert"] += 1
            elif max(red, green, blue) < 90:
                found["ink"] += 1
            elif max(red, green, blue) < 235:
                found["metal"] += 1
    return found


def test_the_section_is_drawn_with_all_its_inks(bench: Bench, poppler: None) -> None:
    bench.stock(*BUSH_KIT)
    plan = bench.plan(GROUP)
    found = cards.document(plan)
    with_it = _drawn(_card(bench, GROUP))
    without = _drawn(printing.pdf(found, {}, address=ADDRESS, units="mm"))
    assert without["insert"] == 0
    assert with_it["insert"] > 100
    assert with_it["ink"] > without["ink"] + 1500
    assert with_it["metal"] > without["metal"] + 1500


def test_the_dimensions_of_the_section_can_be_read(bench: Bench, poppler: None) -> None:
    bench.stock(*BUSH_KIT)
    text = _text(_card(bench, GROUP))
    for told in ("Ø14.376–14.676", "seatØ22", "edge30", "floor10", "30.5–32", "insertlength"):
        assert told in text, told
    assert "Ø0.5660–0.5777" in _text(_card(bench, GROUP, units="in"))


def test_what_is_critical_carries_its_caution_and_a_second_signature(bench: Bench, poppler: None) -> None:
    bench.stock(*BUSH_KIT)
    plain, critical = _text(_card(bench, GROUP)), _text(_card(bench, GROUP, part='safety = "brakes"'))
    for told in ("Licensedorauthorisedperson", "themaker'srepairinstructionsandlocalcodesgovern"):
        assert told in critical
        assert told not in plain
    assert "doesnotsaythatthepartissafe" in plain


def test_a_gap_is_told_where_the_tool_would_stand(bench: Bench, poppler: None) -> None:
    bench.stock(*(row for row in BUSH_KIT if row is not SETTING))
    text = _text(_card(bench, GROUP))
    assert "Notcomplete:10match,1gap" in text
    assert "GAP" in text
    assert "Noneowned:thereisnosettingtoolforM14x1.5" in text


def test_whoever_overruled_stands_on_the_card_with_the_reason(bench: Bench, poppler: None) -> None:
    bench.stock(*BUSH_KIT)
    found = cards.document(bench.plan(GROUP))
    found["groups"][0]["accepted"] = {"answers": "Ada Quill", "why": "owner insists", "signed": []}
    text = _text(printing.pdf(found, {}, address=ADDRESS, units="mm"))
    assert "byAdaQuill:ownerinsists" in text


def test_long_names_of_holes_are_numbered_and_told(bench: Bench, poppler: None) -> None:
    bench.stock(*BUSH_KIT)
    named = {key: value for key, value in GROUP.items() if key != "holes"}
    job = bench.job(named).replace("[[parts.groups]]", '[[parts.groups]]\npositions = ["top left", "top right"]')
    plan = jobs.plan_request(read_job_file(job, as_of=bench.as_of), as_of=bench.as_of)
    text = _text(printing.pdf(cards.document(plan), {}, address=ADDRESS, units="mm"))
    assert "1=topleft,2=topright" in text


# Printing one


def _print(bench: Bench, job: Job) -> Card:
    return printing.print_card(job, by="Cleo", as_of=bench.as_of, address=ADDRESS)


def test_cards_of_a_job_are_numbered_and_keep_what_was_planned(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    first = _print(bench, job)
    HoleGroup.objects.update(depth=41_000_000)
    second = _print(bench, job)
    assert [first.number, second.number] == [1, 2]
    kept = Card.objects.get(number=1)
    assert kept.plan["groups"][0]["answers"]["depth_mm"] == "40.000000"
    assert kept.digest == cards.digest(kept.plan) != second.digest
    assert bytes(kept.pdf or b"").startswith(b"%PDF-")
    assert (kept.by, kept.at, kept.schema_version) == ("Cleo", bench.as_of, cards.SCHEMA_VERSION)


def test_each_job_counts_its_own_cards(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    _print(bench, bench.save(GROUP, number="J-1"))
    assert _print(bench, bench.save(GROUP, number="J-2")).number == 1


def test_a_job_that_is_over_or_has_no_method_gets_no_card(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    done = bench.save(GROUP, number="J-1")
    Job.objects.filter(pk=done.pk).update(state="released")
    nothing = bench.save(GROUP | {"hole": "through", "floor": "", "depth": "2"}, number="J-2")
    HoleGroup.objects.filter(job=nothing).delete()
    codes = []
    for job in (done, nothing):
        with pytest.raises(Refused) as refused:
            _print(bench, job)
        codes.append(refused.value.reason.code)
    assert codes == ["job_not_open", "card_without_method"]
    assert not Card.objects.exists()


# What has changed since


def _changed(bench: Bench, job: Job) -> list[tuple[str, ...]]:
    """The reasons for which the newest card is out of date: code, and what it is about."""
    job = Job.objects.get(pk=job.pk)
    _, reasons = printing.printed(job, jobs.plan_job(job, as_of=bench.as_of))
    keys = ("tag", "step", "kind")
    return [
        (reason.code, *[str(reason[key]) for key in keys if key in reason.data][:1],
         *([reason["why"].code] if "why" in reason.data else []))
        for reason in reasons
    ]  # fmt: skip


@pytest.fixture
def job(bench: Bench) -> Job:
    """A job whose kit is complete and whose card is printed."""
    bench.stock(*BUSH_KIT)
    saved = bench.save(GROUP)
    _print(bench, saved)
    return saved


def _entry(bench: Bench, reason: str = "") -> dict[str, Any]:
    return {"as_of": bench.as_of, "by": "Ida"} | ({"reason": reason} if reason else {})


def _unit(tag: str) -> Unit:
    return Unit.objects.get(tag=tag)


def test_nothing_has_changed_just_after_printing_nor_a_moment_later(bench: Bench, job: Job) -> None:
    assert _changed(bench, job) == []
    bench.as_of += timedelta(hours=5)
    assert _changed(bench, job) == []


def test_the_jobs_own_reserving_does_not_count(bench: Bench, job: Job) -> None:
    jobs.book(job, by="Ida", as_of=bench.as_of)
    assert _changed(bench, job) == []
    jobs.release(Job.objects.get(pk=job.pk), by="Ida", as_of=bench.as_of)
    assert _changed(bench, job) == []


@pytest.mark.parametrize("reserved", [True, False])
def test_the_jobs_own_use_does_not_count(bench: Bench, reserved: bool) -> None:
    short = [row | {"life": "4"} if row in (TAP_16, DRILL) else row for row in BUSH_KIT]
    bench.stock(*[row | {"quantity": "5"} if row.get("kind") == "insert" else row for row in short])
    job = bench.save(GROUP)
    _print(bench, job)
    if reserved:
        jobs.book(job, by="Ida", as_of=bench.as_of)
    stock.use_unit(unit=_unit("T-16"), holes=2, label="J-1", **_entry(bench))
    assert _changed(bench, job) == []
    stock.use_unit(unit=_unit("T-16"), holes=2, label="J-1", **_entry(bench))
    stock.use_unit(unit=_unit("D-145"), holes=4, label="J-1", **_entry(bench))
    stock.issue_batch(batch=Batch.objects.get(lot="B-1"), quantity=5, label="J-1", **_entry(bench))
    assert _changed(bench, job) == []


def test_what_others_used_of_a_printed_tap_counts(bench: Bench) -> None:
    bench.stock(*[row | {"life": "5"} if row is TAP_16 else row for row in BUSH_KIT])
    job = bench.save(GROUP)
    _print(bench, job)
    stock.use_unit(unit=_unit("T-16"), holes=2, label="J-2", **_entry(bench))
    assert _changed(bench, job) == [("card_unit_unfit", "T-16", "life_short")]


def test_stock_that_would_merely_be_chosen_instead_does_not_count(bench: Bench, job: Job) -> None:
    bench.stock(TAP_16 | {"tag": "A-1", "life": "4"}, SETTING | {"tag": "A-2"}, TAP | {"tag": "A-3", "thread": "M16x2",
                "class": "6H", "lead": "4"})  # fmt: skip
    plan = jobs.plan_job(job, as_of=bench.as_of)
    taken = {take.line.tag for line in plan.lines for take in line.takes}
    assert taken & {"A-1", "A-2"}, "the plan of now takes another one"
    assert _changed(bench, job) == []


def test_a_gap_that_is_met_counts(bench: Bench) -> None:
    bench.stock(*(row for row in BUSH_KIT if row is not SETTING))
    job = bench.save(GROUP)
    _print(bench, job)
    bench.stock(SETTING)
    assert _changed(bench, job) == [("card_gap_met", "setting_tool")]


def _lose(bench: Bench) -> None:
    stock.lose_unit(unit=_unit("T-16"), **_entry(bench, "dropped in the sump"))


def _lend(bench: Bench) -> None:
    until = date(2026, 3, 20)
    stock.lend_unit(unit=_unit("ST-14"), to=PersonFactory.create(), until=until, **_entry(bench))


def _wear(bench: Bench) -> None:
    stock.use_unit(unit=_unit("D-145"), holes=100, **_entry(bench))


def _age(bench: Bench) -> None:
    Unit.objects.filter(tag="GF-14").update(calibration_due=date(2026, 3, 3))


def _forget(bench: Bench) -> None:
    Unit.objects.filter(tag="TW-1").update(calibration_due=None)


def _reserve_for_another(bench: Bench) -> None:
    jobs.book(bench.save(GROUP, number="J-2"), by="Ida", as_of=bench.as_of)


def _move(bench: Bench) -> None:
    there = Bin.objects.create(site=_unit("S-22").bin.site, name="Z9")
    Unit.objects.filter(tag="S-22").update(bin=there)


def _deepen(bench: Bench) -> None:
    HoleGroup.objects.update(depth=36_000_000)


def _thin(bench: Bench) -> None:
    limits.change(code="clearance_pitches", value="2", source="Ada", by="Ada", as_of=bench.as_of)


def _move_days(bench: Bench) -> None:
    job = Job.objects.get()
    Job.objects.update(end=job.end + timedelta(days=1))


def _tighten(bench: Bench) -> None:
    limits.change(code="scrap", value="60", source="Ada", by="Ada", as_of=bench.as_of)


def _prove_higher(bench: Bench) -> None:
    HoleGroup.objects.update(torque=90_000)


def _measure(tag: str, **anew: Any) -> Callable[[Bench], None]:
    """A measurement of the item that is put right after the card was printed."""

    def change(bench: Bench) -> None:
        item = _unit(tag).item
        seen = catalogue.measures_of(item)
        catalogue.measure(item, anew=anew, seen=seen, by="Ida", as_of=bench.as_of)

    return change


CHANGES: dict[Callable[[Bench], None], list[tuple[str, ...]]] = {
    _lose: [("card_unit_gone", "T-16")],
    _lend: [("card_unit_unfit", "ST-14", "away")],
    _wear: [("card_unit_unfit", "D-145", "due_regrind")],
    _age: [("card_unit_unfit", "GF-14", "out_of_calibration")],
    _forget: [("card_unit_doubtful", "TW-1", "calibration_missing")],
    _move: [("card_unit_moved", "S-22")],
    _measure("D-145", diameter=14_450_000): [("card_unit_measured", "D-145")],
    _measure("D-145", diameter=12_200_000): [("card_unit_unfit", "D-145", "diameter_under")],
    _measure("T-16", thread=read("M12x1.75").thread.key): [("card_unit_unfit", "T-16", "other_thread")],
    _measure("T-16", lead=None): [("card_unit_unfit", "T-16", "measurement_missing")],
    _measure("S-22", pilot=None): [("card_unit_unfit", "S-22", "measurement_missing")],
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_printed_unit_that_no_longer_serves_counts(bench: Bench, job: Job, change: Callable[[Bench], None]) -> None:
    change(bench)
    assert _changed(bench, job) == CHANGES[change]


def test_what_another_job_has_reserved_counts(bench: Bench, job: Job) -> None:
    _reserve_for_another(bench)
    found = _changed(bench, job)
    assert ("card_unit_unfit", "T-16", "held") in found
    assert ("card_unit_unfit", "GF-14", "held") in found


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (_deepen, ("card_answers_changed",)),
        (_thin, ("card_told_changed", "drill", "drill_depth")),
        (_tighten, ("card_need_changed", "insert")),
        (_prove_higher, ("card_told_changed", "torque", "torque_to")),
    ],
)
def test_a_changed_number_or_limit_counts(
    bench: Bench, job: Job, change: Callable[[Bench], None], expected: tuple[str, ...]
) -> None:
    change(bench)
    assert expected in _changed(bench, job)


def test_other_days_are_told_once(bench: Bench, job: Job) -> None:
    _move_days(bench)
    assert _changed(bench, job) == [("card_days_changed",)]


def test_another_method_counts_once_and_not_for_each_of_its_tools(bench: Bench, job: Job) -> None:
    HoleGroup.objects.update(wished="plain_bush")
    assert [code for code, *_ in _changed(bench, job)] == ["card_method_changed"]


def test_holes_that_come_or_go_count(bench: Bench, job: Job) -> None:
    HoleGroup.objects.get().holes.first().delete()
    assert ("card_holes_changed",) in _changed(bench, job)


def test_only_the_newest_card_is_asked(bench: Bench, job: Job) -> None:
    _lose(bench)
    assert _changed(bench, job) != []
    _print(bench, job)
    assert _changed(bench, job) == []


def test_cards_are_read_in_few_queries_however_many_cards_and_groups_there_are(bench: Bench) -> None:
    bench.stock(*BUSH_KIT, INDICATOR | {"tag": "DI-0"}, WRENCH | {"tag": "TW-0"})
    counts = []
    for number, groups, printings in (("J-2", 2, 2), ("J-20", 20, 20)):
        job = bench.save(*[GROUP | {"holes": "1"}] * groups, number=number)
        Unit.objects.filter(tag__in=("DI-0", "DI-1")).update(calibration_due=date(2026, 6, 1))
        for _ in range(printings):
            _copy(bench, job)
        for due in (date(2026, 6, 1), date(2026, 3, 2)):
            Unit.objects.filter(tag__in=("DI-0", "DI-1")).update(calibration_due=due)
            plan = jobs.plan_job(job, as_of=bench.as_of)
            with CaptureQueriesContext(connection) as queries:
                printing.printed(Job.objects.get(pk=job.pk), plan)
            counts.append(len(queries))
    # the job, its cards, the newest one's plan; and where a unit is no longer taken: four of the shelf, what was used
    assert counts == [3, 9, 3, 9]


def _copy(bench: Bench, job: Job) -> None:
    """A card without its picture, since only its plan is read."""
    frozen = cards.document(jobs.plan_job(job, as_of=bench.as_of, every_size=False))
    number = job.cards.count() + 1
    Card.objects.create(job=job, number=number, plan=frozen, schema_version=1, digest="", by="Cleo", at=bench.as_of)


def test_the_template_lies_beside_the_room() -> None:
    assert Path(printing.__file__).with_name("card.typ") == printing.TEMPLATE
    assert printing.TEMPLATE.is_file()
