"""Proving: who signs which step, when a hole is proved, when a job is handed over, what the next job starts from."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import Refused
from inventory.models import UnitHold
from inventory.threads import Thread
from repairs import jobs, proving
from repairs.forms import JobFileError, read_job_file
from repairs.models import Job, Proof, StepSign
from repairs.proving import Measured, MeasuredWrong, NotProved
from tests.factories import SiteFactory
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import AFTER_WIRE, BUSH_KIT, GROUP

pytestmark = pytest.mark.django_db

BUSHES = GROUP | {"holes": "", "positions": "1, 2"}
WIRES = BUSHES | {"method": "wire insert"}
PART = 'serial = "HM-7"'
GOOD = Measured(
    hole_gauge=True, minor=14_500_000, flush=True, final_gauge=True, torque=80_000, held_still=True
)  # fmt: skip
GOOD_WIRE = Measured(
    hole_gauge=True, minor=14_400_000, tang_out=True, set_down=800_000, final_gauge=True, torque=80_000, held_still=True
)


@pytest.fixture
def bench(bench: Bench) -> Bench:
    """A bench with a site and nothing on the shelf: what is proved does not ask for it."""
    SiteFactory.create(name="Main")
    return bench


@pytest.fixture
def entry(as_of: datetime) -> dict[str, Any]:
    return {"by": "Cleo", "as_of": as_of}


def _code(error: pytest.ExceptionInfo[Refused]) -> str:
    return error.value.reason.code


def _prove(job: Job, entry: dict[str, Any], measured: Measured = GOOD, *holes: str) -> tuple[Proof, ...]:
    return proving.measure(job, group="A", measured=dict.fromkeys(holes or ("1", "2"), measured), **entry)


def _results(job: Job) -> dict[str, str]:
    return {state.label: state.result for state in proving.states(job)}


# Signing steps


def test_one_press_signs_a_step_at_all_holes_and_the_job_has_begun(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    signed = proving.sign(job, group="A", step="drill", holes=["1", "2"], note="new drill", **entry)
    assert [(sign.hole.position.label, sign.by, sign.note) for sign in signed] == [
        ("1", "Cleo", "new drill"), ("2", "Cleo", "new drill"),
    ]  # fmt: skip
    assert Job.objects.get().state == "started"


def test_signing_again_changes_nothing_and_the_same_request_is_answered_alike(
    bench: Bench, entry: dict[str, Any]
) -> None:
    job = bench.save(BUSHES)
    wanted = {"group": "A", "step": "tap", "holes": ["1", "2"], **entry}
    first = proving.sign(job, request_key="k", **wanted)
    assert proving.sign(job, request_key="k", **wanted) == first
    assert proving.sign(job, request_key="other", **wanted) == ()
    assert StepSign.objects.count() == 2


def test_only_steps_of_the_planned_method_are_there_to_be_signed(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    for step in ("break_tang", "fly", ""):
        with pytest.raises(Refused) as error:
            proving.sign(job, group="A", step=step, holes=["1"], **entry)
        assert _code(error) == "step_not_planned"
    assert not StepSign.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "code"),
    [({"group": "B"}, "group_unknown"), ({"holes": []}, "holes_not_chosen"), ({"holes": ["1", "9"]}, "hole_unknown")],
)
def test_a_signature_stands_at_holes_of_the_job(
    bench: Bench, entry: dict[str, Any], wrong: dict[str, Any], code: str
) -> None:
    job = bench.save(BUSHES)
    with pytest.raises(Refused) as error:
        proving.sign(job, **({"group": "A", "step": "tap", "holes": ["1"]} | wrong), **entry)
    assert _code(error) == code


def test_a_key_that_signed_for_another_job_is_refused(bench: Bench, entry: dict[str, Any]) -> None:
    one, other = bench.save(BUSHES), bench.save(BUSHES, number="J-2")
    wanted = {"group": "A", "step": "tap", "holes": ["1"], "request_key": "k", **entry}
    proving.sign(one, **wanted)
    with pytest.raises(Refused) as error:
        proving.sign(other, **wanted)
    assert _code(error) == "request_key_reused"


def test_taking_a_signature_back_is_a_new_line(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    wanted = {"group": "A", "step": "tap", **entry}
    proving.sign(job, holes=["1", "2"], **wanted)
    proving.withdraw(job, holes=["2"], note="wrong hole", **wanted)
    assert ["tap" in state.signs for state in proving.states(job)] == [True, False]
    assert [sign.withdrawn for sign in StepSign.objects.all()] == [False, False, True]
    with pytest.raises(Refused) as error:
        proving.withdraw(job, holes=["2"], **wanted)
    assert _code(error) == "step_not_signed"
    proving.sign(job, holes=["2"], **wanted)
    assert ["tap" in state.signs for state in proving.states(job)] == [True, True]


# What is entered of a hole


def test_what_is_asked_follows_from_the_method(bench: Bench) -> None:
    bush, wire = (
        [(ask.thing, ask.window, ask.torque) for ask in proving.asked(bench.plan(group).groups[0].chosen)]
        for group in (BUSHES, WIRES)
    )
    # ISO 965-1 6H minor limits of M16x1.5 (tests/published/geometry.json, iso965-6H-M16x1.5)
    assert bush == [
        ("hole_gauge", None, None), ("minor", proving.Window(14_376_000, 14_676_000), None), ("flush", None, None),
        ("final_gauge", None, None), ("torque", None, 80_000), ("held_still", None, None),
    ]  # fmt: skip
    assert [thing for thing, _, _ in wire] == [
        "hole_gauge", "minor", "tang_out", "set_down", "final_gauge", "torque", "held_still",
    ]  # fmt: skip


def test_nothing_is_asked_where_no_method_stands() -> None:
    assert proving.asked(None) == ()
    assert proving.judge((), GOOD) == ()


def test_a_hole_is_proved_when_everything_was_entered_and_passed(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    one, other = _prove(job, entry)
    assert (one.result, other.result) == ("proved", "proved")
    assert (one.method, one.thread) == ("flanged_bush", Thread("M", 16_000_000, 1_500_000).key)
    assert one.insert is not None
    assert (one.insert.inner, one.insert.outer) == (Thread("M", 14_000_000, 1_500_000).key, one.thread)
    assert one.against == {"minor": [14_376_000, 14_676_000], "torque": 80_000}
    assert Job.objects.get().state == "started"


@pytest.mark.parametrize("thing", ["hole_gauge", "minor", "flush", "final_gauge", "torque", "held_still"])
def test_a_hole_stays_open_while_one_thing_is_not_entered(bench: Bench, entry: dict[str, Any], thing: str) -> None:
    job = bench.save(BUSHES)
    every = {name: getattr(GOOD, name) for name in proving._ENTERED}
    (proof,) = _prove(job, entry, Measured(**(every | {thing: None})), "1")
    assert proof.result == "open"
    (later,) = _prove(job, entry, Measured(**{thing: every[thing]}), "1")
    assert later.result == "proved", "what was entered before stays entered"


def test_what_is_entered_again_unchanged_makes_no_row(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    _prove(job, entry)
    assert _prove(job, entry) == ()
    assert _prove(job, entry, Measured()) == ()
    assert Proof.objects.count() == 2


def test_nothing_entered_begins_no_job(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    assert _prove(job, entry, Measured()) == ()
    assert Job.objects.get().state == "planned"


@pytest.mark.parametrize(
    ("thing", "value", "passes"),
    [
        ("minor", 14_376_000, True),
        ("minor", 14_375_999, False),
        ("minor", 14_676_000, True),
        ("minor", 14_676_001, False),
        ("torque", 79_992, True),  # 59.0 lbf·ft, as the sheet shows 80 N·m
        ("torque", 79_900, False),
        ("flush", False, False),
        ("hole_gauge", False, False),
        ("held_still", False, False),
    ],
)
def test_what_is_measured_is_judged_by_the_plan(
    bench: Bench, entry: dict[str, Any], thing: str, value: Any, passes: bool
) -> None:
    job = bench.save(BUSHES)
    every = {name: getattr(GOOD, name) for name in proving._ENTERED} | {thing: value}
    if passes:
        assert _prove(job, entry, Measured(**every), "1")[0].result == "proved"
        return
    with pytest.raises(MeasuredWrong) as error:
        _prove(job, entry, Measured(**every), "1")
    ((label, at, reason),) = error.value.faults
    assert (label, at, reason.code, reason["things"]) == (
        "1", "failed", "failed_not_told", (proving.CALLED.get(thing, thing),),
    )  # fmt: skip
    assert not Proof.objects.exists()
    (proof,) = _prove(job, entry, Measured(**every, failed="parent", why="chips"), "1")
    assert (proof.result, proof.failed, proof.why) == ("failed", "parent", "chips")


def test_a_torque_in_the_wrong_unit_is_a_slip(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    with pytest.raises(MeasuredWrong) as error:
        _prove(job, entry, Measured(torque=800_000), "1")
    assert [(at, reason.code) for _, at, reason in error.value.faults] == [("torque", "torque_slip")]


def test_a_torque_that_nothing_asks_for_proves_nothing(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES | {"torque": ""})
    assert _prove(job, entry, GOOD, "1")[0].result == "open"


def test_a_hole_that_failed_is_measured_anew(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    _prove(job, entry, Measured(hole_gauge=False, failed="parent"), "1")
    (anew,) = _prove(job, entry, Measured(minor=14_500_000), "1")
    assert (anew.result, anew.hole_gauge, anew.failed) == ("open", None, "")


def test_the_same_request_is_entered_once(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    wanted = {"group": "A", "measured": {"1": GOOD}, "request_key": "k", **entry}
    first = proving.measure(job, **wanted)
    assert proving.measure(job, **wanted) == first
    assert Proof.objects.count() == 1


def test_a_wire_insert_wants_its_tang_out(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(WIRES)
    asks = {ask.thing: ask for ask in proving.asked(bench.plan(WIRES).groups[0].chosen)}
    minor, depth = asks["minor"].window, asks["set_down"].window
    assert minor is not None
    assert depth is not None
    good = {"minor": minor.least, "set_down": depth.most}
    every = {name: getattr(GOOD_WIRE, name) for name in proving._ENTERED} | good
    with pytest.raises(MeasuredWrong):
        _prove(job, entry, Measured(**(every | {"tang_out": False})), "1")
    assert _prove(job, entry, Measured(**every), "1")[0].result == "proved"


def test_the_bite_is_kept_where_it_was_judged(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES | {"before_major": "14.1"})
    option = bench.plan(BUSHES | {"before_major": "14.1"}).groups[0].chosen
    assert option is not None
    (told,) = [check.reason["bite"] for check in option.checks if check.reason.code == "bite_fits"]
    assert _prove(job, entry, GOOD, "1")[0].bite == Decimal(told)


# Exceptions and second signatures


def test_a_foreman_signs_for_a_hole_that_is_not_proved(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    _prove(job, entry, GOOD, "1")
    _prove(job, entry, Measured(hole_gauge=False, failed="parent"), "2")
    wanted = {"group": "A", "holes": ["1", "2"], "by": "Ada", "as_of": entry["as_of"]}
    with pytest.raises(Refused) as error:
        proving.sign_exception(job, why="  ", **wanted)
    assert _code(error) == "why_missing"
    (signed,) = proving.sign_exception(job, why="dowel hole, no load", request_key="k", **wanted)
    assert (signed.hole.position.label, signed.by, signed.result, signed.why) == (
        "2", "Ada", "signed", "dowel hole, no load",
    )  # fmt: skip
    assert (signed.hole_gauge, signed.failed) == (False, "parent"), "what was measured is kept beside it"
    assert proving.sign_exception(job, why="dowel hole, no load", request_key="k", **wanted) == (signed,)
    with pytest.raises(Refused) as error:
        proving.sign_exception(job, why="again", **wanted)
    assert _code(error) == "no_hole_waits"
    assert _prove(job, entry, Measured(), "2") == (), "nothing new was entered, so the exception stands"


def test_an_exception_is_signed_where_no_method_stands(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES | {"hole": "through", "floor": "", "depth": "2"})
    (one,) = proving.sign_exception(job, group="A", holes=["1"], why="left as it is", **entry)
    assert (one.method, one.thread, one.insert) == ("", Thread("M", 14_000_000, 1_500_000).key, None)


def test_the_second_signature_is_another_persons(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES, part='safety = "brakes"')
    _prove(job, entry, Measured(hole_gauge=True), "1", "2")
    _prove(job, entry | {"by": "Bram"})
    for own in ("Bram", "cleo", " Cleo  "):  # whoever entered a part of it is no second person either
        with pytest.raises(Refused) as error:
            proving.sign_second(job, group="A", by=own, as_of=entry["as_of"])
        assert _code(error) == "second_is_the_first"
    signed = proving.sign_second(job, group="A", by="Ada", as_of=entry["as_of"], request_key="k")
    assert proving.sign_second(job, group="A", by="Ada", as_of=entry["as_of"], request_key="k") == signed
    assert [state.second.by if state.second else "" for state in proving.states(job)] == ["Ada", "Ada"]
    with pytest.raises(Refused) as error:
        proving.sign_second(job, group="A", by="Ada", as_of=entry["as_of"])
    assert _code(error) == "second_not_wanted"


def test_a_newer_proof_wants_a_new_second_signature(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES, part='safety = "brakes"')
    _prove(job, entry)
    proving.sign_second(job, group="A", by="Ada", as_of=entry["as_of"])
    _prove(job, entry, Measured(torque=81_000), "2")
    assert [bool(state.second) for state in proving.states(job)] == [True, False]


# Handing over


def test_a_job_waits_for_each_hole_by_name(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES | {"positions": "1, 2, 3, 4"})
    _prove(job, entry, GOOD, "1")
    _prove(job, entry, Measured(minor=14_500_000), "2")
    _prove(job, entry, Measured(failed="insert"), "3")
    with pytest.raises(NotProved) as error:
        proving.hand_over(job, **entry)
    assert [(reason.code, reason["label"]) for reason in error.value.reasons] == [
        ("hole_not_proved", "2"), ("hole_failed", "3"), ("hole_not_measured", "4"),
    ]  # fmt: skip
    assert Job.objects.get().state == "started"
    proving.sign_exception(job, group="A", holes=["2", "3", "4"], why="scrapped, by letter", **entry)
    proving.hand_over(job, **entry)
    assert Job.objects.get().state == "released"


def test_handing_over_lets_go_of_what_is_reserved_and_doing_so_again_changes_nothing(
    bench: Bench, entry: dict[str, Any]
) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(BUSHES)
    jobs.book(job, by="Ada", as_of=bench.as_of)
    _prove(job, entry)
    assert UnitHold.objects.filter(active=True).exists()
    proving.hand_over(job, **entry)
    assert not UnitHold.objects.filter(active=True).exists()
    later = entry["as_of"] + timedelta(hours=1)
    again = proving.hand_over(job, by="Bram", as_of=later)
    assert (again.state, again.handed_over_by, again.handed_over_at) == ("released", "Cleo", entry["as_of"])


def test_a_critical_part_waits_for_another_person(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES, part='safety = "brakes"')
    _prove(job, entry)
    with pytest.raises(NotProved) as error:
        proving.hand_over(job, **entry)
    assert [reason.code for reason in error.value.reasons] == ["hole_wants_a_second"] * 2
    proving.sign_second(job, group="A", by="Ada", as_of=entry["as_of"])
    proving.withdraw(job, group="A", step=proving.SECOND, holes=["2"], by="Ada", as_of=entry["as_of"])
    with pytest.raises(NotProved) as error:
        proving.hand_over(job, **entry)
    assert [reason["label"] for reason in error.value.reasons] == ["2"]
    proving.sign_second(job, group="A", by="Ada", as_of=entry["as_of"])
    assert proving.hand_over(job, **entry).state == "released"


def test_what_was_proved_as_another_method_than_is_accepted_waits(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES | {"method": ""})
    _prove(job, entry, Measured(failed="parent"))
    proving.sign_exception(job, group="A", holes=["1", "2"], why="w", **entry)
    proof = _prove(bench.save(BUSHES, number="J-2"), entry, GOOD, "1")[0]
    job_2 = Job.objects.get(number="J-2")
    _prove(job_2, entry, GOOD, "2")
    job_2.groups.update(accepted="wire_insert")
    with pytest.raises(NotProved) as error:
        proving.hand_over(job_2, **entry)
    assert {reason.code for reason in error.value.reasons} == {"hole_proved_otherwise"}
    assert proof.method == "flanged_bush"


def test_what_was_proved_in_another_size_than_is_accepted_waits(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    _prove(job, entry)
    own = {"accepted": "flanged_bush", "accepted_by": "Ida", "accepted_at": entry["as_of"]}
    for outer, length in (("M|18000000|1500000nm|R", 21_000_000), ("M|16000000|1500000nm|R", 28_000_000)):
        job.groups.update(accepted_code=f"own-flanged/1:{outer}:{length}", **own)
        with pytest.raises(NotProved) as error:
            proving.hand_over(job, **entry)
        assert {reason.code for reason in error.value.reasons} == {"hole_proved_otherwise"}
    job.groups.update(accepted_code="own-flanged/1:M|16000000|1500000nm|R:21000000", **own)
    assert proving.hand_over(job, **entry).state == "released"


def test_a_short_bite_that_was_signed_for_is_kept_with_the_proof(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(AFTER_WIRE | {"before_major": "15.2", "holes": "", "positions": "1"})
    wanted = {"group": "A", "method": "flanged_bush", "size": "own-flanged/1:M|16000000|1500000nm|R:21000000"}
    jobs.accept(job, **wanted, by="Ida", as_of=entry["as_of"], answers="Jon", why="a low load")
    # (16 - 15.2) / 2 over 0.541266 x 1.5: 49.2 % of fresh thread.
    assert [proof.bite for proof in _prove(job, entry, GOOD, "1")] == [Decimal("49.2")]


def test_a_job_that_is_over_takes_no_more_signatures(bench: Bench, entry: dict[str, Any]) -> None:
    job = bench.save(BUSHES)
    _prove(job, entry)
    proving.hand_over(job, **entry)
    for act, wanted in (
        (proving.sign, {"group": "A", "step": "tap", "holes": ["1"]}),
        (proving.measure, {"group": "A", "measured": {"1": Measured(torque=90_000)}}),
        (proving.sign_exception, {"group": "A", "holes": ["1"], "why": "w"}),
        (proving.sign_second, {"group": "A"}),
    ):
        with pytest.raises(Refused) as error:
            act(job, **wanted, **entry)  # type: ignore[operator]
        assert _code(error) == "job_not_open"
    Job.objects.update(state="cancelled")
    with pytest.raises(Refused):
        proving.hand_over(job, **entry)


# The lineage, and what the next job starts from


def test_the_lineage_of_a_hole_goes_from_job_to_job_the_newest_first(bench: Bench, entry: dict[str, Any]) -> None:
    first = bench.save(BUSHES, part=PART)
    _prove(first, entry, Measured(minor=14_500_000), "1")  # an open row is no line of it
    _prove(first, entry)
    proving.hand_over(first, **entry)
    second = bench.save(BUSHES | {"before": "solid bush", "before_thread": "M16x1.5"}, number="J-2", part=PART)
    later = entry | {"as_of": entry["as_of"] + timedelta(days=90)}
    _prove(second, later, Measured(failed="parent", why="thread pulled"), "1")
    position = proving.states(second)[0].hole.position_id
    lines = proving.lineage([position])[position]
    assert [(line.job, line.result, line.failed, line.by) for line in lines] == [
        ("J-2", "failed", "parent", "Cleo"), ("J-1", "proved", "", "Cleo"),
    ]  # fmt: skip
    assert lines[1].insert is not None
    assert (lines[1].method, lines[1].thread.designation) == ("flanged_bush", "M16x1.5")


def _second(bench: Bench, **answers: str) -> Any:
    group = {key: text for key, text in WIRES.items() if key not in ("before", "method")} | answers
    request = read_job_file(bench.job(group, number="J-2", part=PART), as_of=bench.as_of)
    return jobs.plan_request(request, as_of=bench.as_of).groups[0]


def _wired(bench: Bench, entry: dict[str, Any], measured: Measured | None = None) -> None:
    """A first job that put wire insert into both holes, and proved them or what else was measured."""
    job = bench.save(WIRES, part=PART)
    asks = {ask.thing: ask for ask in proving.asked(bench.plan(WIRES).groups[0].chosen)}
    minor, depth = asks["minor"].window, asks["set_down"].window
    assert minor is not None
    assert depth is not None
    every = {name: getattr(GOOD_WIRE, name) for name in proving._ENTERED}
    good = Measured(**(every | {"minor": minor.least, "set_down": depth.least}))
    proofs = _prove(job, entry, measured or good)
    assert [proof.result for proof in proofs] == ["failed" if measured else "proved"] * 2


def _methods(plan: Any) -> dict[str, list[str]]:
    return {each.plan.method: [reason.code for reason in each.plan.reasons] for each in plan.methods}


def test_the_next_job_on_the_part_starts_from_its_proofs(bench: Bench, entry: dict[str, Any]) -> None:
    _wired(bench, entry)
    known = proving.starts_from("test", "CASING", "hm-7", ["1", "2", "3"])
    assert sorted(known) == ["1", "2"]
    assert (known["1"].before, known["1"].failed, known["1"].job) == ("wire_insert", "", "J-1")
    plan = _second(bench)
    assert (plan.group.before, plan.group.before_thread.designation) == ("wire_insert", "EG M14x1.5")
    assert "started_from_proof" in [note.code for note in plan.group.notes]


def test_a_wire_insert_whose_parent_thread_failed_is_not_repeated(bench: Bench, entry: dict[str, Any]) -> None:
    _wired(bench, entry)
    plan = _second(bench, failed="parent")
    assert "wire_failed_in_parent" in _methods(plan)["wire_insert"]


def test_a_wire_insert_that_failed_itself_goes_back_like_for_like(bench: Bench, entry: dict[str, Any]) -> None:
    _wired(bench, entry)
    plan = _second(bench, failed="insert", passes_gauge="yes")
    wire = next(each.plan for each in plan.methods if each.plan.method == "wire_insert")
    assert wire.chosen is not None
    assert wire.chosen.like_for_like


def test_what_failed_at_the_proof_reaches_the_next_job(bench: Bench, entry: dict[str, Any]) -> None:
    _wired(bench, entry, Measured(torque=60_000, failed="parent"))
    plan = _second(bench)
    assert plan.group.failed == "parent"
    assert "wire_failed_in_parent" in _methods(plan)["wire_insert"]


def test_what_is_written_counts_and_its_contradiction_is_told(bench: Bench, entry: dict[str, Any]) -> None:
    _wired(bench, entry)
    plan = _second(bench, before="solid bush", before_thread="M16x1.5")
    assert (plan.group.before, plan.group.before_thread.designation) == ("solid_bush", "M16x1.5")
    assert "answer_unlike_proof" in [note.code for note in plan.group.notes]
    agreed = _second(bench, before="wire insert", before_thread="M14x1.5")  # as a fitter names it: by the bolt
    assert "answer_unlike_proof" not in [note.code for note in agreed.group.notes]


def test_holes_that_were_not_left_alike_are_asked_about(bench: Bench, entry: dict[str, Any]) -> None:
    _wired(bench, entry)
    with pytest.raises(JobFileError) as error:
        _second(bench, positions="1, 2, 3")
    assert [place for place, _ in error.value.faults] == ["parts[1].groups[1].before"]
    plan = _second(bench, positions="1, 2, 3", before="unknown")
    assert "proofs_differ" in [note.code for note in plan.group.notes]


def test_without_a_serial_number_nothing_is_known(bench: Bench, entry: dict[str, Any]) -> None:
    _prove(bench.save(BUSHES), entry)
    assert proving.starts_from("Test", "Casing", "", ["1"]) == {}
    assert proving.starts_from("Test", "Casing", "other", ["1"]) == {}


def test_another_owners_part_of_that_number_is_another_part(bench: Bench, entry: dict[str, Any]) -> None:
    _wired(bench, entry)
    assert proving.starts_from("Somebody", "Casing", "HM-7", ["1"]) == {}


@pytest.mark.parametrize("reading", ["states", "lineage", "starts_from"])
def test_however_many_holes_there_are_it_takes_as_many_queries(
    bench: Bench, entry: dict[str, Any], reading: str
) -> None:
    counts = []
    for number, holes in (("J-1", 2), ("J-2", 20)):
        labels = [f"{number} {n}" for n in range(holes)]
        job = bench.save(BUSHES | {"positions": ", ".join(labels)}, number=number, part=f'serial = "{number}"')
        _prove(job, entry, GOOD, *labels)
        positions = [state.hole.position_id for state in proving.states(job)]
        with CaptureQueriesContext(connection) as queries:
            found = {
                "states": lambda job=job: proving.states(job),
                "lineage": lambda at=positions: proving.lineage(at),
                "starts_from": lambda of=number, labels=labels: proving.starts_from("Test", "Casing", of, labels),
            }[reading]()
            assert len(found) == holes
        counts.append(len(queries))
    assert counts == [{"states": 3, "lineage": 2, "starts_from": 1}[reading]] * 2
