"""The page "New job" as a browser without JavaScript sees it: every press a POST, every answer the whole page."""

from __future__ import annotations

import html
import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.roles import give_role
from repairs.forms import GROUP_KEYS, document_of, field_at
from repairs.models import Job, Part, Position
from repairs.views.new import ASKED
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, TAP_16

pytestmark = pytest.mark.django_db

NEW, READING = "/jobs/new/", "/jobs/new/reading/"
HEAD = {
    "number": "J-7",
    "owner": "Marsh Drainage",
    "site": "Main",
    "starts": "+2d",
    "ends": "+3d",
    "note": "<b>call</b>",
}
PART = {
    "name": "pump casing", "serial": "HM-217", "drawing": "QW-1", "fixture": "F-03", "hand": "left", "safety": "brakes",
}  # fmt: skip


def _group(part: int = 0, group: int = 0, **answers: str) -> dict[str, str]:
    return {f"parts-{part}-groups-{group}-{key}": text for key, text in answers.items()}


def _part(part: int = 0, **answers: str) -> dict[str, str]:
    return {f"parts-{part}-{key}": text for key, text in (PART | answers).items()}


FILLED = HEAD | _part() | _group(**GROUP) | {"key": "one-form"}


@pytest.fixture
def shelf(bench: Bench) -> Bench:
    bench.as_of = timezone.now()
    bench.stock(*BUSH_KIT)
    return bench


class Shown:
    """A page as it was answered: what stands in its fields, and what is said at them."""

    def __init__(self, answer: Any) -> None:
        self.status = answer.status_code
        self.text = answer.content.decode()
        self.fields: dict[str, str] = {}
        self.tags: dict[str, str] = {}
        for tag in re.findall(r"<input [^>]*>", self.text):
            name = re.search(r'name="([^"]*)"', tag)
            value = re.search(r'value="([^"]*)"', tag)
            if name and value and name[1] != "csrfmiddlewaretoken":  # another one each time
                self.fields[name[1]], self.tags[name[1]] = html.unescape(value[1]), tag
        for tag, name, inside in re.findall(r'(<select name="([^"]*)"[^>]*>)(.*?)</select>', self.text, re.DOTALL):
            chosen = re.search(r"<option[^>]* selected>([^<]*)<", inside)
            self.fields[name], self.tags[name] = html.unescape(chosen[1]) if chosen else "", tag

    def wrong(self, name: str) -> str:
        found = re.search(rf'<span class="wrong" id="{name}-wrong">(.*?)</span>', self.text, re.DOTALL)
        assert found, f"no field {name}"
        return html.unescape(found[1])

    @property
    def faults(self) -> dict[str, str]:
        return {name: self.wrong(name) for name in self.tags if f'id="{name}-wrong"' in self.text and self.wrong(name)}

    @property
    def focused(self) -> str:
        assert self.text.count("autofocus") <= 1
        return next((name for name, tag in self.tags.items() if "autofocus" in tag), "")

    @property
    def presses(self) -> list[str]:
        return [html.unescape(each) for each in re.findall(r'name="press" value="([^"]*)"', self.text)]

    def read(self, name: str) -> str:
        found = re.search(rf'id="{name}-read" role="status">(.*?)</div>', self.text, re.DOTALL)
        assert found, f"no thread {name}"
        return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", found[1])).split())


def _get(client: Client) -> Shown:
    return Shown(client.get(NEW))


def _press(client: Client, press: str, fields: dict[str, str]) -> Shown:
    return Shown(client.post(NEW, fields | {"press": press}))


def _save(client: Client, fields: dict[str, str]) -> HttpResponse:
    return client.post(NEW, fields | {"press": "save"})  # type: ignore[return-value]


# The page


def test_the_empty_page_asks_for_one_part_with_one_group_and_proposes_the_next_number(
    shelf: Bench, admin_client: Client
) -> None:
    for number in ("J-9", "J-10", "X-99", "J-11b"):
        shelf.save(GROUP, number=number)
    page = _get(admin_client)
    assert (page.status, page.fields["number"], page.fields["site"]) == (200, "J-11", "Main")
    assert {name for name in page.fields if name.startswith("parts-")} == {
        *(f"parts-0-{key}" for key in PART),
        *(f"parts-0-groups-0-{key}" for key in GROUP_KEYS),
    }
    assert page.faults == {}
    assert "aria-invalid" not in page.text


def test_the_page_asks_every_question_of_a_group() -> None:
    assert sorted(ASKED) == sorted(GROUP_KEYS)


def test_every_required_question_says_why_it_is_asked(shelf: Bench, admin_client: Client) -> None:
    page = _get(admin_client)
    for key in ("hole", "made", "before"):
        name = f"parts-0-groups-0-{key}"
        assert 'aria-required="true"' in page.tags[name]
        assert f"{name}-hint" in page.tags[name]
        assert re.search(rf'id="{name}-hint">Asked because [^<]{{10,90}}\.<', page.text), key


def test_every_field_has_its_label(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "plan", FILLED)
    asked = [name for name in page.fields if name not in ("key", "units", "back")]
    assert [name for name in asked if f'<label for="{name}">' not in page.text] == []


# What a press changes, and what it never loses


def _kept(page: Shown, fields: dict[str, str]) -> dict[str, str]:
    return {name: page.fields.get(name, "") for name in fields}


@pytest.mark.parametrize("press", ["plan", "add-part", "add-group:0", "copy-group:0:0", "mirror-part:0", "nonsense:9"])
def test_nothing_typed_is_lost_by_a_press(shelf: Bench, admin_client: Client, press: str) -> None:
    odd = FILLED | _group(thread="  M14 x 1,5 ", depth="4 apples", positions='"><i>', material="cheese")
    page = _press(admin_client, press, odd)
    assert _kept(page, odd) == odd
    assert "<i>" not in page.text
    assert "<b>call" not in page.text
    assert Job.objects.count() == 0


def test_a_part_and_a_group_are_added_and_the_reader_goes_on_there(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "add-part", FILLED)
    assert page.focused == "parts-1-name"
    page = _press(admin_client, "add-group:1", page.fields)
    assert page.focused == "parts-1-groups-1-thread"
    assert re.findall(r"<legend>Holes ([A-Z]+)</legend>", page.text) == ["A", "B", "C"]
    assert _kept(page, FILLED) == FILLED


def test_a_copied_group_has_every_answer_but_its_positions(shelf: Bench, admin_client: Client) -> None:
    named = FILLED | _group(holes="", positions="1, 2, 5")
    page = _press(admin_client, "copy-group:0:0", named)
    copy = {key: page.fields[f"parts-0-groups-1-{key}"] for key in GROUP_KEYS}
    assert copy == dict.fromkeys(GROUP_KEYS, "") | GROUP | {"holes": "3", "positions": ""}
    assert page.focused == "parts-0-groups-1-thread"
    assert _press(admin_client, "plan", page.fields).faults == {}


def test_a_mirrored_part_has_the_other_hand_the_same_holes_and_no_serial_number(
    shelf: Bench, admin_client: Client
) -> None:
    two = FILLED | _group(group=1, **GROUP | {"depth": "38"}) | {f"parts-1-{key}": "x" for key in ("name", "serial")}
    page = _press(admin_client, "mirror-part:0", two)
    mirrored = {key: page.fields[f"parts-1-{key}"] for key in PART}
    assert mirrored == PART | {"serial": "", "hand": "right"}
    assert [page.fields[f"parts-1-groups-{group}-depth"] for group in (0, 1)] == ["40", "38"]
    assert page.fields["parts-2-name"] == "x", "it stands beside the part that it mirrors"
    assert page.focused == "parts-1-serial"
    again = _press(admin_client, "mirror-part:1", page.fields)
    assert again.fields["parts-2-hand"] == "left"


def test_what_was_removed_can_be_put_back_as_it_was(shelf: Bench, admin_client: Client) -> None:
    two = FILLED | _group(group=1, **GROUP | {"depth": "38", "positions": 'a"b'})
    page = _press(admin_client, "remove-group:0:1", two)
    assert "parts-0-groups-1-thread" not in page.fields
    back = next(press for press in page.presses if press.startswith("put-back-group"))
    assert _kept(_press(admin_client, back, page.fields), two) == two
    mirrored = _press(admin_client, "mirror-part:0", two)
    page = _press(admin_client, "remove-part:0", mirrored.fields)
    assert page.fields["parts-0-hand"] == "right"
    back = next(press for press in page.presses if press.startswith("put-back-part"))
    assert _press(admin_client, back, page.fields).fields == mirrored.fields


def test_the_last_part_and_the_last_group_stay(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "plan", FILLED)
    assert [press for press in page.presses if press.startswith("remove")] == []
    for press in ("remove-part:0", "remove-group:0:0"):
        page = _press(admin_client, press, FILLED)
        assert page.fields["parts-0-groups-0-thread"] == ""


# The thread, read and shown back


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("M14 x 1,5", "Read as M14x1.5 , fine series, pitch 1.5 mm (0.0591 in), no class written."),
        (
            "14x1.5",
            "Read as M14x1.5 , fine series, pitch 1.5 mm (0.0591 in), no class written. Taken as metric: M14x1.5.",
        ),
        ("9/16 UNF", "Read as 9/16-18 UNF , UNF series, 18 threads per inch, no class written."),
        ("M14x1.5-6H", "Read as M14x1.5 , fine series, pitch 1.5 mm (0.0591 in), class 6H."),
        ("", ""),
        ("gibberish", ""),
    ],
)
def test_a_thread_is_shown_back_as_it_was_read(shelf: Bench, admin_client: Client, typed: str, told: str) -> None:
    page = _press(admin_client, "plan", FILLED | _group(thread=typed))
    assert page.read("parts-0-groups-0-thread").startswith(told)
    assert bool(page.read("parts-0-groups-0-thread")) is bool(told)


def test_a_pitch_that_was_filled_in_is_said_loudly(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "plan", FILLED | _group(thread="M14"))
    assert '<p class="loud">No pitch was written: taken as the coarse M14x2' in page.text


def test_a_question_offers_its_candidates_and_one_press_fills_the_field(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "plan", FILLED | _group(thread='7/8"'))
    assert "which is it" in page.wrong("parts-0-groups-0-thread")
    offered = [press for press in page.presses if press.startswith("fill:parts-0-groups-0-thread:")]
    assert len(offered) > 1
    chosen = next(press for press in offered if "UNF" in press)
    page = _press(admin_client, chosen, page.fields)
    assert page.fields["parts-0-groups-0-thread"] == "7/8-14 UNF"
    assert page.focused == "parts-0-groups-0-thread"
    assert page.faults == {}


# What is wrong, at its field


def test_nothing_at_all_is_answered_at_every_required_field_and_the_first_has_the_focus(
    shelf: Bench, admin_client: Client
) -> None:
    page = _press(admin_client, "plan", {})
    group = [f"parts-0-groups-0-{key}" for key in ("thread", "holes", "hole", "made", "before")]
    assert set(page.faults) == {"number", "site", "starts", "parts-0-name", *group}
    assert page.focused == "number"
    assert page.status == 200
    for name, told in page.faults.items():
        assert told.endswith("."), told
        assert 'aria-invalid="true"' in page.tags[name]
        assert f"{name}-wrong" in page.tags[name]
    assert "9 answers to put right" in page.text


def test_the_first_that_is_wrong_is_the_first_on_the_page(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "plan", FILLED | _group(before="", made="", edge="near"))
    assert page.focused == "parts-0-groups-0-edge"
    page = _press(admin_client, "plan", FILLED | _group(before="", made=""))
    assert page.focused == "parts-0-groups-0-made"


@pytest.mark.parametrize(
    ("fields", "name", "told"),
    [
        (_group(thread="M14x15"), "parts-0-groups-0-thread", "pitch"),
        (_group(thread="x" * 10_240), "parts-0-groups-0-thread", "10240 characters"),
        ({"note": "x" * 10_240}, "note", "10240 characters"),
        ({"number": "x" * 41}, "number", "at most 40"),
        ({"number": "2026/17"}, "number", "write for example 2026-17"),
        ({"number": "new"}, "number", "cannot be a job's number"),
        ({"starts": "soon"}, "starts", "no date"),
        ({"ends": "+1d"}, "ends", "before the first"),
        (_group(depth=""), "parts-0-groups-0-depth", "write it, or unknown"),
        (_group(edge="5"), "parts-0-groups-0-edge", "within the hole itself"),
        (_group(positions="1, 2"), "parts-0-groups-0-holes", "do not agree"),
        (_group(group=1, **GROUP | {"holes": "", "positions": "1"}) | _group(holes="", positions="1"),
         "parts-0-groups-1-positions", "stands there more than once"),
        (_part(1, name="") | _group(1, **GROUP), "parts-1-name", "must be filled in"),
        (_group(ends="+9d"), "parts-0-groups-0-starts", "needs a first day"),
    ],
)  # fmt: skip
def test_a_wrong_answer_is_told_at_its_field_alone(
    shelf: Bench, admin_client: Client, fields: dict[str, str], name: str, told: str
) -> None:
    typed = FILLED | fields
    page = Shown(_save(admin_client, typed))
    assert page.status == 400
    assert list(page.faults) == [name]
    assert told in page.faults[name]
    assert page.focused == name
    assert _kept(page, typed) == typed
    assert Job.objects.count() == 0


def test_what_is_only_not_yet_typed_is_not_held_against_anybody(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "add-group:0", FILLED | _group(depth="4 apples", made=""))
    assert list(page.faults) == ["parts-0-groups-0-depth"]


def test_sentences_speak_in_the_readers_units(shelf: Bench, admin_client: Client) -> None:
    admin_client.post("/units/", {"units": "in", "back": "/"})
    page = _press(admin_client, "plan", FILLED | _group(edge="5"))
    assert page.wrong("parts-0-groups-0-edge").startswith("0.1969 in (5 mm)")


# The section


def test_the_section_is_that_of_the_method_that_would_be_picked(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "add-group:0", FILLED)
    assert "Drawn repaired: flanged bush M14x1.5 in M16x1.5" in page.text
    assert page.text.count("<svg") == 1, "the group that says nothing yet has none"
    assert 'data-dimension="seat"' in page.text


def test_too_few_answers_draw_the_hole_as_it_is(shelf: Bench, admin_client: Client) -> None:
    page = _press(admin_client, "add-group:0", FILLED | _group(before=""))
    assert "Drawn as it is; a method is picked" in page.text
    assert 'data-dimension="seat"' not in page.text
    assert "depth 40" in page.text


def test_where_no_method_stands_the_page_says_why(shelf: Bench, admin_client: Client) -> None:
    thin = {"hole": "through", "depth": "2", "floor": ""}
    page = _press(admin_client, "add-group:0", FILLED | _group(**thin))
    assert "No method stands; drawn is the hole as it is." in page.text
    assert re.search(r"<strong>Flanged bush</strong>: The metal is 2 mm", page.text)
    assert "<strong>Wire insert</strong>" not in page.text, "another was wished"
    page = _press(admin_client, "add-group:0", FILLED | _group(**thin, method=""))
    assert "<strong>Wire insert</strong>" in page.text


def _live(client: Client, group: dict[str, str], at: str = "parts-0-groups-0", **other: str) -> str:
    named = {f"{at}-{key}": text for key, text in group.items()}
    return client.post(READING, named | {"at": at} | other).content.decode()


def test_while_it_is_typed_a_group_is_read_and_drawn_by_itself(shelf: Bench, admin_client: Client) -> None:
    text = _live(admin_client, GROUP, "parts-3-groups-2")
    assert "flanged bush" in text
    assert "<form" not in text
    assert '<div hx-swap-oob="innerHTML:#parts-3-groups-2-thread-read">' in text
    assert "depth 40" in text
    assert "depth 36" in _live(admin_client, GROUP | {"depth": "36"})
    assert "edge 25" in _live(admin_client, GROUP | {"edge": "25"})
    damaged = _live(admin_client, {"thread": "M14 x 1,5"})
    assert "Drawn as it is" in damaged
    assert "<svg" in damaged


def test_while_it_is_typed_only_what_is_typed_is_told_to_be_wrong(shelf: Bench, admin_client: Client) -> None:
    text = _live(admin_client, {"thread": "1/4 26", "depth": "4 apples", "edge": "28"})
    told = dict(re.findall(r'innerHTML:#parts-0-groups-0-(\w+)-wrong">(.*?)</div>', text))
    assert {name for name, sentence in told.items() if sentence} == {"thread", "depth"}
    assert "apples" in told["depth"]
    assert told["edge"] == told["floor"] == "", "what was wrong before is taken back, of an emptied field too"
    assert "fill:parts-0-groups-0-thread:1/4-26 brass" in text
    assert "<svg" not in text


def test_what_is_missing_is_told_while_typing_only_after_it_was_asked_for(shelf: Bench, admin_client: Client) -> None:
    asks = '<input type="hidden" name="missing"'
    assert asks not in admin_client.get(NEW).content.decode()
    assert asks in admin_client.post(NEW, {"press": "save"}).content.decode()
    assert "A thread is missing here" not in _live(admin_client, {"depth": "40"})
    text = _live(admin_client, {"depth": "40", "hole": "blind"}, missing="told")
    assert "A thread is missing here" in text
    assert 'innerHTML:#parts-0-groups-0-hole-wrong"></div>' in text


@pytest.mark.parametrize("at", ["", "parts-0", "parts-0-groups-x", "parts-99999-groups-1", "<b>"])
def test_a_place_that_there_is_not_is_answered_with_nothing(admin_client: Client, at: str) -> None:
    assert admin_client.post(READING, {"at": at}).status_code == 204


# The plan


def test_the_plan_is_shown_without_saving(bench: Bench, admin_client: Client) -> None:
    bench.as_of = timezone.now()
    bench.stock(*(row for row in BUSH_KIT if row is not TAP_16))
    fields = FILLED | _part(fixture="") | _group(group=1, **GROUP | {"hole": "through", "floor": "", "depth": "2"})
    page = _press(admin_client, "plan", fields)
    assert page.faults == {}
    assert "Not complete: 1 without a method, 10 match, 1 gap, 0 doubtful, and 3 not checked." in page.text
    rows = re.findall(r'data-head="(Method|Match|Gap|Doubtful)"[^>]*>([^<]*)<', page.text)
    assert [text for _, text in rows] == ["flanged bush", "10", "1", "0", "none stands", "0", "0", "0"]
    assert "tap M16x1.5. None owned" in page.text
    assert page.text.count("This part is critical for brakes") == 1
    assert 'id="plan" tabindex="-1" autofocus' in page.text
    assert (Job.objects.count(), Part.objects.count()) == (0, 0)
    assert _kept(page, fields) == fields


def test_htmx_gets_the_form_alone(shelf: Bench, admin_client: Client) -> None:
    answer = admin_client.post(NEW, FILLED | {"press": "plan", "parts-0-fixture": ""}, headers={"HX-Request": "true"})
    text = answer.content.decode()
    assert text.lstrip().startswith("<form")
    assert "<html" not in text
    assert "Complete: 11 match, 0 gap, 0 doubtful, and 3 not checked." in text


# Saving


def test_a_job_is_saved_with_all_its_answers_and_leads_to_its_sheet(shelf: Bench, admin_client: Client) -> None:
    fields = FILLED | _group(group=1, **GROUP | {"holes": "", "positions": "1, top left", "depth": "1 3/8 in"})
    answer = _save(admin_client, fields)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/jobs/J-7/")
    job = Job.objects.get()
    assert (job.number, job.owner, job.site.name, job.note) == ("J-7", "Marsh Drainage", "Main", "<b>call</b>")
    assert job.end - job.start == timedelta(days=2)
    part = Part.objects.get()
    assert (part.name, part.serial, part.drawing, part.fixture, part.hand, part.safety) == (
        "pump casing", "HM-217", "QW-1", "F-03", "L", "brakes",
    )  # fmt: skip
    first, second = job.groups.order_by("code")
    assert (first.code, first.thread, first.as_typed, first.wished) == (
        "A", "M|14000000|1500000nm|R", "M14 x 1,5", "flanged_bush",
    )  # fmt: skip
    assert second.depth == 34_925_000
    assert second.typed["depth"] == "1 3/8 in"
    assert [hole.position.label for hole in second.holes.all()] == ["1", "top left"]


def test_pressed_twice_it_is_saved_once_and_both_lead_to_its_sheet(shelf: Bench, admin_client: Client) -> None:
    answers = [_save(admin_client, FILLED) for _ in range(3)]
    assert {answer.headers["Location"] for answer in answers} == {"/jobs/J-7/"}
    assert Job.objects.count() == 1


@pytest.mark.parametrize(
    "other", [{"key": "another-form"}, {"key": ""}, {"owner": "Somebody else"}, _group(depth="38")], ids=str
)
def test_another_job_of_the_same_number_is_refused_at_the_number_with_a_free_one(
    shelf: Bench, admin_client: Client, other: dict[str, str]
) -> None:
    _save(admin_client, FILLED)
    page = Shown(_save(admin_client, FILLED | other))
    assert page.status == 409
    assert page.faults == {"number": "There is already a job J-7 of this number."}
    assert page.focused == "number"
    assert _kept(page, FILLED | other | {"key": page.fields["key"]}) == FILLED | other | {"key": page.fields["key"]}
    assert "fill:number:J-8" in page.presses
    again = _press(admin_client, "fill:number:J-8", page.fields)
    assert again.fields["number"] == "J-8"
    assert _save(admin_client, again.fields).headers["Location"] == "/jobs/J-8/"


def test_what_another_person_saved_is_no_second_press(shelf: Bench, admin_client: Client) -> None:
    _save(admin_client, FILLED)
    other = Client()
    user = get_user_model().objects.create_user("Ida")
    give_role(user, "fitter")
    other.force_login(user)
    assert _save(other, FILLED).status_code == 409


def test_a_site_that_there_is_not_is_refused_at_the_site(shelf: Bench, admin_client: Client) -> None:
    page = Shown(_save(admin_client, FILLED | {"site": "Moon"}))
    assert page.status == 404
    assert list(page.faults) == ["site"]
    assert page.fields["site"] == "Moon"
    assert Job.objects.count() == 0


def test_a_hole_that_may_not_be_repaired_is_refused_at_its_positions(shelf: Bench, admin_client: Client) -> None:
    part = Part.objects.create(owner=HEAD["owner"], name=PART["name"], serial=PART["serial"])
    Position.objects.create(part=part, label="2", may_not_be_repaired=True)
    fields = FILLED | _group(group=1, **GROUP | {"holes": "", "positions": "1, 2"})
    page = Shown(_save(admin_client, fields))
    assert page.status == 409
    assert list(page.faults) == ["parts-0-groups-1-positions"]
    assert "Position 2 of pump casing may not be repaired" in page.faults["parts-0-groups-1-positions"]
    assert (Job.objects.count(), Part.objects.count()) == (0, 1)


# Awkward requests


def test_sixty_groups_are_read_drawn_and_saved(shelf: Bench, admin_client: Client) -> None:
    fields = dict(FILLED)
    for group in range(60):
        fields |= dict.fromkeys((f"parts-0-groups-{group}-{key}" for key in GROUP_KEYS), "")
        fields |= _group(group=group, **GROUP | {"holes": "1", "depth": str(36 + group % 9)})
    page = _press(admin_client, "plan", fields)
    assert page.faults == {}
    assert page.text.count("<svg") == 60
    assert _kept(page, fields) == fields
    assert "Holes BH" in page.text
    more = _press(admin_client, "add-group:0", fields)
    assert re.search(r'<div class="faults" role="alert".*61.*60', more.text, re.DOTALL), "and no more than sixty"
    assert _save(admin_client, fields).status_code == 302
    assert Job.objects.get().groups.count() == 60


@pytest.mark.parametrize(
    "press",
    [
        "", ":", "add-group", "add-group:x", "copy-group:9:9", "remove-part:" + "9" * 5000, "mirror-part:٣", "fill",
        "fill:parts:x", "fill:parts-9-name:x", "fill:csrfmiddlewaretoken:x", "put-back-group:0:0",
        "put-back-part:0:-:{",
        "put-back-part:0:-:[1]", 'put-back-part:0:-:{"groups": [3], "name": 4}', "put-back-group:0:0:" + "[" * 5000,
        r'put-back-group:0:0:{"thread": "\ud800"}',
        "save:x:y:z:w", "\0", "'; DROP TABLE",
    ],
    ids=lambda press: press[:24],
)  # fmt: skip
def test_a_press_that_there_is_not_does_no_harm(shelf: Bench, admin_client: Client, press: str) -> None:
    page = Shown(admin_client.post(NEW, {"press": press, "parts-0-name": "lid", "parts-7-groups-3-thread": "M8"}))
    assert page.status in (200, 400)
    assert "<form" in page.text
    assert Job.objects.count() == 0


def test_a_stray_field_is_passed_over() -> None:
    stray = {"parts-0-colour": "red", "parts-x-name": "x", "parts-0-groups-0-groups-0-thread": "M8", "weight": "3"}
    assert document_of(
        stray | {"parts-4-name": "lid", "parts-4-groups-9-thread": "M8", "parts-4-groups-2-depth": ""}
    ) == {"parts": [{"groups": []}, {"name": "lid", "groups": [{}, {"thread": "M8"}]}]}


def test_a_place_is_put_back_to_its_field() -> None:
    assert field_at("parts[1].groups[12].before_thread") == "parts-0-groups-11-before_thread"
    assert field_at("parts[2].name") == "parts-1-name"
    assert field_at("number") == "number"


# What it costs


def test_the_plan_takes_as_many_queries_for_two_groups_as_for_twenty(shelf: Bench, admin_client: Client) -> None:
    counts = []
    for groups in (2, 20):
        fields = dict(FILLED)
        for group in range(groups):
            fields |= _group(group=group, **GROUP | {"holes": "1"})
        with CaptureQueriesContext(connection) as queries:
            assert _press(admin_client, "plan", fields).faults == {}
        counts.append(len(queries))
        assert all(query["sql"].startswith("SELECT") for query in queries.captured_queries)
    # session, user, sites; sizes and limits for the sections; sizes, limits and the shelf's five for the plan
    assert counts == [13, 13]


def test_the_empty_page_and_a_keystroke_take_few_queries(
    shelf: Bench, admin_client: Client, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(4):  # session, user, sites, the highest number
        _get(admin_client)
    with django_assert_num_queries(4):  # session, user, sizes, limits
        _live(admin_client, GROUP)
    with django_assert_num_queries(2):
        _live(admin_client, {"thread": "gibberish"})
