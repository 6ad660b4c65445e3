"""The page on which a job is proved: what is pressed at the machine, what it keeps, what it tells."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.roles import give_role
from repairs import proving
from repairs.models import Job, Proof, StepSign
from tests.factories import SiteFactory
from tests.repairs.bench import Bench
from tests.repairs.test_proving import BUSHES, PART

pytestmark = pytest.mark.django_db

GOOD = {
    "hole_gauge": "yes", "minor": "14.5", "flush": "yes", "final_gauge": "yes", "torque": "59 lbf·ft",
    "held_still": "yes",
}  # fmt: skip


@pytest.fixture
def bench(bench: Bench) -> Bench:
    """The pages look at the clock of this machine, and so does the bench."""
    bench.as_of = timezone.now()
    SiteFactory.create(name="Main")
    return bench


def _logged_in(name: str, role: str) -> Client:
    user = get_user_model().objects.create_user(name)
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def fitter(db: None) -> Client:
    return _logged_in("Cleo", "fitter")


@pytest.fixture
def foreman(db: None) -> Client:
    return _logged_in("Ada", "foreman")


def _page(client: Client, number: str = "J-1") -> str:
    answer = client.get(reverse("job-proving", args=[number]))
    assert answer.status_code == 200
    return answer.content.decode()


def _press(client: Client, act: str = "", number: str = "J-1", **sent: Any) -> tuple[int, str]:
    """Press a button of group A: the status and the answer."""
    name = f"job-proving-{act}"
    answer = client.post(reverse(name, args=[number]), {"group": "A"} | sent)
    return answer.status_code, answer.content.decode()


def _measured(job: Job, **answers: str) -> dict[str, str]:
    """The same answers in the fields of every hole."""
    return {f"hole{state.hole.pk}-{thing}": text for state in proving.states(job) for thing, text in answers.items()}


def _alert(text: str) -> str:
    found = re.search(r'<div class="refusal" role="alert">(.*?)</div>', text, re.DOTALL)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", found[1]))).strip() if found else ""


def test_the_sheet_of_a_job_leads_there(bench: Bench, fitter: Client) -> None:
    bench.save(BUSHES)
    assert f'href="{reverse("job-proving", args=["J-1"])}"' in fitter.get(reverse("job", args=["J-1"])).content.decode()


def test_there_is_no_page_for_a_job_that_is_not_there(bench: Bench, fitter: Client) -> None:
    assert fitter.get(reverse("job-proving", args=["J-9"])).status_code == 404


def test_one_press_signs_a_step_for_all_ticked_holes(bench: Bench, fitter: Client) -> None:
    bench.save(BUSHES)
    text = _page(fitter)
    assert text.count('name="hole" value="1" checked') == 1
    assert '<button class="chief" name="step" value="drill">' in text
    sent = {"hole": ["1", "2"], "step": "drill", "note": "new drill", "key": "k"}
    assert _press(fitter, "sign", **sent)[0] == 302
    assert _press(fitter, "sign", **sent)[0] == 302
    assert StepSign.objects.count() == 2, "a second press does nothing more"
    text = _page(fitter)
    assert "Signed by Cleo" in text
    assert "(new drill)" in text
    assert '<button class="chief" name="step" value="drill">' not in text
    assert '<button name="back" value="drill">' in text


def test_a_signature_is_taken_back_on_the_page(bench: Bench, fitter: Client) -> None:
    bench.save(BUSHES)
    _press(fitter, "sign", hole=["1", "2"], step="drill")
    assert _press(fitter, "sign", hole=["1"], back="drill")[0] == 302
    assert "Not signed: 1" in _page(fitter)


def test_enter_in_a_field_signs_nothing(bench: Bench, fitter: Client) -> None:
    bench.save(BUSHES)
    assert _press(fitter, "sign", hole=["1"], step="")[0] == 302
    assert not StepSign.objects.exists()


def test_a_refused_signature_keeps_the_note_and_the_ticks(bench: Bench, fitter: Client) -> None:
    bench.save(BUSHES)
    status, text = _press(fitter, "sign", hole=["2"], step="fly", note="in a <hurry>")
    assert status == 409
    assert _alert(text) == "fly is no step of what is planned for group A; load the page again."
    assert "in a &lt;hurry&gt;" in text
    assert 'value="2" checked' in text
    assert 'value="1" checked' not in text


def test_no_hole_ticked_is_told(bench: Bench, fitter: Client) -> None:
    bench.save(BUSHES)
    status, text = _press(fitter, "sign", step="drill")
    assert status == 409
    assert _alert(text) == "No hole of group A is ticked; tick those that this is for."


def test_what_was_measured_is_entered_and_judged(bench: Bench, fitter: Client) -> None:
    job = bench.save(BUSHES)
    sent = _measured(job, **GOOD) | {"key": "k"}
    assert _press(fitter, "measure", **sent)[0] == 302
    assert _press(fitter, "measure", **sent)[0] == 302
    assert [proof.result for proof in Proof.objects.all()] == ["proved", "proved"]
    text = _page(fitter)
    assert "Hole 1: proved" in text
    assert "minor diameter 14.5 mm (0.5709 in): within 14.376 mm (0.5660 in) to 14.676 mm (0.5777 in)" in text
    assert 'value="14.5 mm"' in text, "what was entered stands in its field again"
    again = dict(re.findall(r'name="(hole[0-9]+-[a-z_]+)" value="([^"]*)"', html.unescape(text)))
    again |= _measured(job, hole_gauge="yes", flush="yes", final_gauge="yes", held_still="yes")
    assert _press(fitter, "measure", **again)[0] == 302
    assert Proof.objects.count() == 2, "what stands there, sent again, is nothing new"


def test_what_cannot_be_read_is_told_at_its_field_and_nothing_is_entered(bench: Bench, fitter: Client) -> None:
    job = bench.save(BUSHES)
    hole = proving.states(job)[0].hole.pk
    sent = _measured(job, **GOOD) | {f"hole{hole}-minor": "a <bit> wide"}
    status, text = _press(fitter, "measure", **sent)
    assert status == 400
    assert _alert(text) == "1 answer to put right; nothing of this group is entered yet."
    assert f'<span class="wrong" id="hole{hole}-minor-wrong">' in text
    assert "a &lt;bit&gt; wide" in text
    assert 'value="59 lbf·ft"' in text
    assert not Proof.objects.exists()


def test_what_failed_is_asked_at_the_hole(bench: Bench, fitter: Client) -> None:
    job = bench.save(BUSHES)
    first = proving.states(job)[0].hole.pk
    sent = _measured(job, **GOOD) | {f"hole{first}-torque": "60"}
    status, text = _press(fitter, "measure", **sent)
    assert status == 409
    assert f'id="hole{first}-failed-wrong"' in text
    assert 'value="60"' in text
    assert not Proof.objects.exists()
    assert _press(fitter, "measure", **sent, **{f"hole{first}-failed": "parent metal"})[0] == 302
    assert [proof.result for proof in Proof.objects.all()] == ["failed", "proved"]
    assert "parent metal failed" in _page(fitter)


def test_a_set_down_of_nothing_is_an_answer(bench: Bench, fitter: Client) -> None:
    job = bench.save(BUSHES | {"method": "wire insert"})
    sent = _measured(job, set_down="0", failed="insert")
    assert _press(fitter, "measure", **sent)[0] == 302
    assert {proof.set_down for proof in Proof.objects.all()} == {0}


def test_only_a_foreman_signs_an_exception_and_hands_over(bench: Bench, fitter: Client, foreman: Client) -> None:
    bench.save(BUSHES)
    sent: dict[str, Any] = {"hole": ["1", "2"], "why": "no load there", "key": "k"}
    assert _press(fitter, "except", **sent)[0] == 403
    assert _press(fitter, "hand-over")[0] == 403
    assert "Sign an exception" not in _page(fitter)
    assert "A foreman hands the job over." in _page(fitter)
    assert "Sign an exception" in _page(foreman)
    assert _press(foreman, "except", **sent)[0] == 302
    assert "no load there" in _page(fitter)
    assert _press(foreman, "hand-over")[0] == 302
    assert _press(foreman, "hand-over")[0] == 302
    assert "Handed over by Ada" in _page(fitter)
    assert "<button" not in _page(fitter).split('id="sheet"')[1]


def test_an_exception_without_a_reason_keeps_its_ticks(bench: Bench, foreman: Client) -> None:
    bench.save(BUSHES)
    status, text = _press(foreman, "except", hole=["2"], why=" ")
    assert status == 409
    assert _alert(text).startswith("Say why")
    assert 'value="2" checked' in text.split("Sign an exception")[1]


def test_handing_over_names_each_hole_that_waits(bench: Bench, foreman: Client) -> None:
    bench.save(BUSHES)
    status, text = _press(foreman, "hand-over", group="")
    assert status == 409
    assert _alert(text) == (
        "Job J-1 cannot be handed over: 2 holes wait. Hole 1 of group A: nothing is entered. "
        "Hole 2 of group A: nothing is entered."
    )


def test_another_person_signs_for_a_critical_part(bench: Bench, fitter: Client, foreman: Client) -> None:
    job = bench.save(BUSHES, part='safety = "brakes"')
    _press(fitter, "measure", **_measured(job, **GOOD))
    assert "Waiting: 1, 2." in _page(fitter)
    status, text = _press(fitter, "second")
    assert status == 409
    assert _alert(text) == "Cleo entered the proof of 1, 2; the second signature is another person's."
    assert _press(foreman, "second")[0] == 302
    assert "second signature Ada" in _page(fitter)


def test_the_lineage_of_a_hole_is_told(bench: Bench, fitter: Client, foreman: Client) -> None:
    job = bench.save(BUSHES, part=PART)
    _press(fitter, "measure", **_measured(job, **GOOD))
    bench.save(BUSHES | {"before": "solid bush", "before_thread": "M16x1.5"}, number="J-2", part=PART)
    text = _page(fitter, "J-2")
    assert "What was done here" in text
    assert '<a href="/jobs/J-1/">J-1</a>' in text
    assert "M16x1.5</span> in the metal" in text


def test_what_no_database_keeps_is_left_out(bench: Bench, fitter: Client) -> None:
    job = bench.save(BUSHES)
    assert _press(fitter, "sign", hole=["1\0"], step="drill\0", note="\0")[0] == 302
    assert _press(fitter, "measure", **_measured(job, why="a\0b"))[0] in (302, 400)


def test_however_many_holes_the_page_takes_as_many_queries(bench: Bench, fitter: Client) -> None:
    counts = []
    for number, holes in (("J-1", 2), ("J-2", 20)):
        labels = ", ".join(f"{number} {n}" for n in range(holes))
        job = bench.save(BUSHES | {"positions": labels}, BUSHES | {"positions": "a, b"}, number=number)
        _press(fitter, "measure", number, **_measured(job, **GOOD))
        with CaptureQueriesContext(connection) as queries:
            _page(fitter, number)
        counts.append(len(queries))
    # session, user, roles, job; the plan's ten; holes, proofs, signatures; the lineage's two
    assert counts == [21, 21]


# The page "New job" starts from what was proved

NEW = {
    "number": "J-2",
    "owner": "Test",
    "site": "Main",
    "starts": "+2d",
    "parts-0-name": "casing",
    "parts-0-serial": "hm-7",
}
LEFT_OUT = ("before", "holes", "method")
NEW |= {f"parts-0-groups-0-{key}": text for key, text in BUSHES.items() if key not in LEFT_OUT}


@pytest.fixture
def proved(bench: Bench, fitter: Client) -> Job:
    """J-1 left bushes in holes 1 and 2 of the casing HM-7."""
    job = bench.save(BUSHES, part=PART)
    _press(fitter, "measure", **_measured(job, **GOOD))
    return job


def _told(text: str) -> list[str]:
    return [html.unescape(found) for found in re.findall(r'<p class="loud">(Job J-1 .*?)</p>', text)]


def test_a_new_job_on_the_part_is_filled_in_from_its_proofs(proved: Job, fitter: Client) -> None:
    answer = fitter.post(reverse("job-new"), NEW | {"press": "add-part"})
    text = answer.content.decode()
    assert "<option selected>solid bush</option>" in text
    assert 'name="parts-0-groups-0-before_thread" id="parts-0-groups-0-before_thread" value="M16x1.5"' in text
    (told,) = _told(text)
    assert told.startswith("Job J-1 (Cleo, ")
    assert told.endswith(") left solid bush in M16x1.5 in 1, 2: proved. The answers here start from that.")


def test_what_is_typed_stays_and_is_told_to_be_unlike_the_proof(proved: Job, fitter: Client) -> None:
    typed = NEW | {"parts-0-groups-0-before": "none", "press": "plan"}
    text = fitter.post(reverse("job-new"), typed).content.decode()
    assert '<option class="nothing" selected>none</option>' in text
    (told,) = _told(text)
    assert told.endswith("Something else is written here, and what is written here counts.")


def test_what_a_proof_tells_is_told_while_the_hole_is_typed(proved: Job, fitter: Client) -> None:
    text = fitter.post(reverse("job-new-reading"), NEW | {"at": "parts-0-groups-0"}).content.decode()
    assert len(_told(text)) == 1


def test_a_job_is_saved_with_what_it_started_from(proved: Job, fitter: Client) -> None:
    assert fitter.post(reverse("job-new"), NEW | {"press": "save", "key": "k"}).status_code == 302
    group = Job.objects.get(number="J-2").groups.get()
    assert (group.before, group.before_thread) == ("solid_bush", "M|16000000|1500000nm|R")
    assert group.part == proved.groups.get().part


@pytest.mark.parametrize("odd", ["\0", "HM-7\0", "x" * 5000])
def test_no_odd_text_stops_the_page_from_looking_for_proofs(proved: Job, fitter: Client, odd: str) -> None:
    for key in ("owner", "parts-0-name", "parts-0-serial", "parts-0-groups-0-positions"):
        for press, name in (("plan", "job-new"), ("", "job-new-reading")):
            sent = NEW | {"at": "parts-0-groups-0", "press": press, key: odd}
            assert fitter.post(reverse(name), sent).status_code == 200
