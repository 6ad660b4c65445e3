"""The list of jobs and the sheet of one: what they tell, and what is reserved, released and accepted from them."""

import html
import re
from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import issuing, stock
from inventory.models import Batch, BatchHold, Reservation, Unit, UnitHold
from inventory.roles import give_role
from repairs import jobs
from repairs.models import HoleGroup, Job, Part
from repairs.views import jobs as views
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING, TAP_16

pytestmark = pytest.mark.django_db

PART = 'serial = "HM-7"\ndrawing = "QW-44"\nsafety = "brakes"'


@pytest.fixture
def bench(bench: Bench) -> Bench:
    """The pages look at the clock of this machine, and so does the bench."""
    bench.as_of = timezone.now()
    return bench


def _logged_in(name: str, role: str) -> Client:
    user = get_user_model().objects.create_user(name)
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def foreman(db: None) -> Client:
    return _logged_in("Ada", "foreman")


def _page(client: Client, number: str = "J-1") -> str:
    answer = client.get(reverse("job", args=[number]))
    assert answer.status_code == 200
    return answer.content.decode()


def _hidden(text: str, name: str) -> str:
    """What a hidden field of the page holds."""
    found = re.search(rf'name="{name}" value="([^"]*)"', text)
    assert found, f"the page has no {name}"
    return html.unescape(found[1])


def _reserve(client: Client, text: str, number: str = "J-1") -> tuple[int, str]:
    """Press what the page offered: the status and the answer."""
    sent = {name: _hidden(text, name) for name in ("seen", "key")}
    answer = client.post(reverse("job-reserve", args=[number]), sent)
    return answer.status_code, answer.content.decode()


def _alert(text: str) -> str:
    """What the page says of a press that was refused, without its markup."""
    found = re.search(r'<div class="refusal" role="alert">(.*?)</div>', text, re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", found[1])) if found else ""


# The list


def _rows(text: str) -> list[str]:
    return re.findall(r'data-head="Job"><span><a href="[^"]*">([^<]*)</a>', text)


def test_the_table_shows_every_open_job_and_what_it_is_short_of(bench: Bench, admin_client: Client) -> None:
    bench.stock(*(row for row in BUSH_KIT if row is not TAP_16))
    bench.save(GROUP, GROUP | {"holes": "1"}, number="J-1")
    bench.save(GROUP, number="J-<b>2")
    done = bench.save(GROUP, number="J-3")
    Job.objects.filter(pk=done.pk).update(state="released")
    text = admin_client.get(reverse("jobs")).content.decode()
    assert _rows(text) == ["J-1", "J-&lt;b&gt;2"]
    assert "4 × M14x1.5" in text
    assert "1 × M14x1.5" in text
    assert "tap M16x1.5. None owned" in text
    assert '10 match, <strong class="gap">1 gap</strong>' in text
    assert "J-3" not in text


def _found(client: Client, **asked: str) -> list[str]:
    answer = client.get(reverse("jobs"), asked)
    assert answer.status_code == 200
    return _rows(answer.content.decode())


def test_jobs_are_found_by_number_owner_part_and_state(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP, number="J-1", part='serial = "HM-7"')
    other = bench.save(GROUP, number="K-2")
    Job.objects.filter(pk=other.pk).update(owner="Dunmere Waterworks", state="released")
    assert _found(foreman) == ["J-1"]
    assert _found(foreman, state="every") == ["J-1", "K-2"]
    assert _found(foreman, state="released") == ["K-2"]
    assert _found(foreman, q="j-1") == ["J-1"]
    assert _found(foreman, q="hm-7") == ["J-1"]
    assert _found(foreman, q="casing") == ["J-1"], "a job is listed once, however many of its parts fit"
    assert _found(foreman, q="dunmere", state="every") == ["K-2"]
    assert _found(foreman, q="nobody") == []


def test_jobs_are_found_by_how_ready_they_are(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP, number="J-complete")
    bench.save(GROUP | {"material": "magnesium"}, number="J-short")
    bench.save(GROUP | {"made": "unknown"}, number="J-doubtful")
    bench.save(GROUP | {"made": "unknown", "material": "magnesium"}, number="J-both")
    bench.save(GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""}, number="J-none")
    assert _found(foreman, readiness="complete") == ["J-complete"]
    assert _found(foreman, readiness="short") == ["J-both", "J-short"]
    assert _found(foreman, readiness="doubtful") == ["J-both", "J-doubtful"]
    assert _found(foreman, readiness="unplanned") == ["J-none"]


def test_jobs_are_found_by_the_days_that_they_touch(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    first, last = job.start.date(), job.end.date() - timedelta(days=1)
    day = timedelta(days=1)
    for since, until, there in (
        (first, last, True), (last, None, True), (None, first, True),
        (last + day, None, False), (None, first - day, False),
    ):  # fmt: skip
        asked = {name: str(value) for name, value in (("first", since), ("last", until)) if value}
        assert bool(_found(foreman, **asked)) is there, asked


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"first": "someday"}, "“someday” is no date"),
        ({"first": "2027-02-02", "last": "2027-02-01"}, "The last day, 2027-02-01, is before the first"),
        ({"state": "lost"}, "lost"),
        ({"readiness": "almost"}, "almost"),
        ({"q": "J\0"}, "a character in it that cannot be kept"),
    ],
)
def test_what_cannot_be_looked_for_is_answered_at_its_field(foreman: Client, asked: dict[str, str], told: str) -> None:
    text = html.unescape(foreman.get(reverse("jobs"), asked).content.decode())
    assert told in text
    assert text.count('aria-invalid="true"') == 1
    assert text.count('class="wrong"') == 1


def test_very_many_jobs_come_a_page_at_a_time(bench: Bench, foreman: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.stock(*BUSH_KIT)
    monkeypatch.setattr(views, "PAGE", 2)
    monkeypatch.setattr(views, "SOONEST", 3)
    for number in range(5):
        bench.save(GROUP, number=f"J-{number}")
    assert [_found(foreman, page=page) for page in ("1", "2", "3", "4")] == [
        ["J-0", "J-1"], ["J-2", "J-3"], ["J-4"], [],
    ]  # fmt: skip
    assert _found(foreman, page="-1") == _found(foreman, page="x" * 20) == _found(foreman, page="9" * 20)
    first = foreman.get(reverse("jobs"), {"q": "J-", "page": "1"}).content.decode()
    assert 'href="?q=J-&amp;page=2">Later jobs' in first
    assert "Sooner jobs" not in first
    assert "Later jobs" not in foreman.get(reverse("jobs"), {"page": "3"}).content.decode()
    complete = foreman.get(reverse("jobs"), {"readiness": "complete"}).content.decode()
    assert "Only the 3 soonest of these jobs were looked at" in complete
    assert _rows(complete) == ["J-0", "J-1"]


@pytest.mark.parametrize("asked", [{}, {"readiness": "complete"}, {"q": "J-", "state": "every"}])
def test_the_list_takes_as_many_queries_for_two_jobs_as_for_twenty(
    bench: Bench, admin_client: Client, asked: dict[str, str]
) -> None:
    bench.stock(*BUSH_KIT)
    counts = []
    for number in range(20):
        bench.save(GROUP, number=f"J-{number:02}")
        if number + 1 in (2, 20):
            with CaptureQueriesContext(connection) as queries:
                assert len(_found(admin_client, **asked)) == number + 1
            counts.append(len(queries))
    # session, user, jobs, the ten of planning (see test_whole_path), and two of what was lost of what is reserved
    assert counts == [17, 17]


# The sheet


def test_the_title_block_says_whose_job_it_is_and_when(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, part=PART)
    text = _page(foreman)
    for told in ("Test", "Casing", "HM-7", "QW-44", "Main", "planned", str(job.start.date())):
        assert told in text, told
    assert "critical for brakes" in text
    assert "Typed “M14 x 1,5”, read as" in text
    assert "Complete: 11 match, 0 gap, 0 doubtful, and 3 not checked." in text


def test_a_number_that_is_no_job_is_answered_in_one_sentence(foreman: Client) -> None:
    for number in ("J-404", "new?", "\0"):
        answer = foreman.get(reverse("job", args=[number]))
        assert answer.status_code == 404
        assert "There is no job" in answer.content.decode()


def test_any_number_that_a_job_can_have_leads_to_its_sheet(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    for number in ("7-26", "J #1?", "Jöb 100 %"):
        bench.save(GROUP, number=number)
        text = _page(foreman, number)
        assert _reserve(foreman, text, number)[0] == 302
        kept = Job.objects.get(number=number).reservation
        assert kept is not None
        assert foreman.get(kept.link).status_code == 200, "the reservation leads back to its job"
        foreman.post(reverse("job-release", args=[number]), {"key": "r" + number[:1] + str(len(number))})


def test_every_need_has_its_status_its_unit_and_bin_or_its_reason(bench: Bench, foreman: Client) -> None:
    lent = SETTING | {"away why": "loan", "away until": "+20d", "away with": "Mill Lane"}
    twin = TAP_16 | {"tag": "T-16C", "thread": "M16x2"}
    bench.stock(*(row for row in BUSH_KIT if row is not SETTING), lent, twin)
    bench.save(GROUP)
    text = html.unescape(_page(foreman))
    assert text.count('data-head="Status"><strong>match</strong>') == 10
    assert text.count('data-head="Status"><strong class="gap">gap</strong>') == 1
    assert "ST-14: Away on loan until" in text
    tap, bush = Unit.objects.get(tag="T-16"), Batch.objects.get(lot="B-1")
    for name, args in (("unit", ["T-16"]), ("bin", ["Main", tap.bin.name]), ("batch", [bush.pk])):
        assert f'<a href="{reverse(name, args=args)}">' in text, name
    assert "Look-alikes, never to be taken for it: M16x2 (T-16C in" in text
    assert "lies at 41.3 % of the window" in text
    steps = re.findall(r'class="step-name">\d+\. ([^<]*)<', text)
    assert steps[:3] == ["Clamp", "Drill", "Deburr"]
    assert 'data-part="insert"' in text


def _rows_of_methods(text: str) -> dict[str, str]:
    """The comparison's rows by method, without markup."""
    table = re.search(r'<table class="choices".*?</table>', text, re.DOTALL)
    assert table
    rows = re.findall(r"<tr[^>]*>\s*<th scope=\"row\">(.*?)</tr>", table[0], re.DOTALL)
    plain = [" ".join(html.unescape(re.sub(r"<[^>]+>", " ", row)).split()) for row in rows]
    return {re.split(r" (?:planned|by choice|accepted|M14x1\.5|ruled out)", row)[0]: row for row in plain}


def test_methods_stand_side_by_side_with_verdict_kit_day_money_and_metal(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP | {"grade": "8.8", "shear": "400 MPa", "reach": "40", "bore": "12.5", "damage": "stripped"})
    rows = _rows_of_methods(_page(foreman))
    assert list(rows) == [
        "Chase with a tap", "Next oversize bolt or stud", "Wire insert", "Flanged bush", "Plain bush", "Keyed bush",
        "Oversize insert", "Plug or weld, and re-tap", "Scrap the part",
    ]  # fmt: skip
    assert "Flanged bush planned" in rows["Flanged bush"]
    assert f"complete , 11 match no gap {job.start.date()} nothing" in rows["Flanged bush"]
    assert re.search(r"holds The [a-z ]+ carries \d+ % more than", rows["Wire insert"])
    assert re.search(r"[\d.]+ (mm|cm)³ \(0\.\d{3} in³\)$", rows["Flanged bush"])
    assert re.search(r"\d gaps? not known nobody sells: [a-z ]+ \d not on offer", rows["Plain bush"])
    assert "ruled out No family has" in rows["Keyed bush"]
    assert "asks for no tools" in rows["Scrap the part"]


def test_every_sum_of_strength_stands_with_its_margin_and_source(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP | {"grade": "8.8", "shear": "60 MPa", "reach": "40"})
    text = html.unescape(_page(foreman))
    assert "How much the repaired thread holds is not calculated" not in text
    method = re.search(r'<details class="method chosen" id="A-flanged_bush" open>.*?<h4>Room', text, re.DOTALL)
    assert method
    for told in ("Parent thread", "at which the bolt breaks", "an engineer signs", "The torque pulls", "ISO 898-1"):
        assert told in method[0], told
    assert re.search(r"−\d+\.\d %", method[0])


def test_a_job_for_which_no_method_stands_has_its_drawing_and_nothing_to_reserve(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP | {"hole": "through", "floor": "", "depth": "2", "method": ""})
    text = _page(foreman)
    assert "No method stands" in text
    assert "nothing to reserve" in text
    assert 'name="seen"' not in text
    assert 'data-part="parent"' in text


def test_the_sheet_takes_as_many_queries_for_two_groups_as_for_twenty(bench: Bench, admin_client: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(*[GROUP] * 2, number="J-2")
    bench.save(*[GROUP | {"holes": "1"}] * 20, number="J-20")
    counts = []
    for number in ("J-2", "J-20"):
        with CaptureQueriesContext(connection) as queries:
            _page(admin_client, number)
        counts.append(len(queries))
        jobs.book(Job.objects.get(number=number), by="Ida", as_of=timezone.now())
        with CaptureQueriesContext(connection) as queries:
            _page(admin_client, number)
        counts.append(len(queries))
        jobs.release(Job.objects.get(number=number), by="Ida", as_of=timezone.now())
    # session, user, job, ten of planning, groups, limits for the drawing, cards, items that would meet a gap; of what
    # is reserved units and batches, and both once more as far as they are lost or no longer serve
    assert counts == [19, 23, 19, 23]


# Reserving and releasing


def test_what_was_shown_is_reserved_and_every_hold_leads_back(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    status, _ = _reserve(foreman, _page(foreman))
    assert status == 302
    reservation = Reservation.objects.get()
    assert (reservation.by, reservation.link) == ("Ada", "/jobs/J-1/")
    assert (UnitHold.objects.count(), BatchHold.objects.count()) == (9, 2)
    text = _page(foreman)
    assert "Ada reserved this on" in text
    assert "9 units and 2 lots are kept for it" in text
    assert text.count("<br>reserved</p>") == 11
    assert "Reserve the matched set" not in text


def test_pressing_twice_going_back_and_reloading_give_one_reservation(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    text = _page(foreman)
    assert [_reserve(foreman, text)[0] for _ in range(3)] == [302, 302, 302]
    assert Reservation.objects.count() == 1


def test_the_second_foreman_is_told_who_booked_it(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    other = _logged_in("Bram", "foreman")
    first, second = _page(foreman), _page(other)
    assert _reserve(foreman, first)[0] == 302
    status, answer = _reserve(other, second)
    assert status == 409
    assert "booked already, by Ada on" in _alert(answer)
    assert Reservation.objects.get().by == "Ada"


def test_where_the_shelf_moved_nothing_is_held_and_the_sheet_says_what_changed(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    before = _page(foreman)
    Unit.objects.filter(tag="T-16").update(condition="lost")
    status, answer = _reserve(foreman, before)
    assert status == 409
    assert "1 line changed after the plan was shown" in _alert(answer)
    assert "A.tap (tap): was match, T-16; now gap." in _alert(answer)
    assert Reservation.objects.count() == 0
    assert "Not complete: 10 match, 1 gap" in answer, "the new plan stands below"
    assert _reserve(foreman, answer)[0] == 302, "and it can be reserved as it is now"
    assert UnitHold.objects.count() == 8


def test_what_is_lost_after_it_was_reserved_is_said(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    assert "lost since" not in _page(foreman)
    stock.lose_unit(unit=Unit.objects.get(tag="T-16"), by="Ida", as_of=timezone.now(), reason="not in its bin")
    text = _page(foreman)
    assert '<details class="no-print" open>' in text
    assert "some of that is" in text


def test_a_release_lets_go_and_doing_so_twice_harms_nothing(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    _reserve(foreman, _page(foreman))
    key = _hidden(_page(foreman), "key")
    for _ in range(2):
        assert foreman.post(reverse("job-release", args=["J-1"]), {"key": key}).status_code == 302
    assert not UnitHold.objects.filter(active=True).exists()
    assert "released by Ada" in _page(foreman)
    assert Job.objects.get().state == "planned"
    status, _ = _reserve(foreman, _page(foreman))
    assert status == 302
    foreman.post(reverse("job-release", args=["J-1"]), {"key": key})
    assert Job.objects.get().state == "booked", "an old press lets nothing go that was reserved since"


def test_an_old_page_reserves_nothing_after_its_reservation_was_released(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    old = _page(foreman)
    _reserve(foreman, old)
    foreman.post(reverse("job-release", args=["J-1"]), {"key": _hidden(_page(foreman), "key")})
    status, answer = _reserve(foreman, old)
    assert status == 409
    assert "was released since, by Ada" in _alert(answer)
    assert Job.objects.get().state == "planned"
    assert _reserve(foreman, answer)[0] == 302
    assert Job.objects.get().state == "booked"


def test_a_press_without_what_was_shown_is_refused(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    for sent in ({}, {"seen": "rubbish", "key": "k" * 100}, {"seen": "\0", "key": "\0"}):
        answer = foreman.post(reverse("job-reserve", args=["J-1"]), sent)
        assert answer.status_code == 400
        assert "cannot be read" in _alert(answer.content.decode())
    assert Reservation.objects.count() == 0


def test_a_job_whose_days_are_over_shows_why_in_place_of_the_press(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    text = _page(foreman)
    past = timezone.now() - timedelta(days=9)
    Job.objects.filter(pk=job.pk).update(start=past, end=past + timedelta(days=1))
    over = _page(foreman)
    assert 'name="seen"' not in over
    assert "give the job new days" in over
    status, answer = _reserve(foreman, text)
    assert status == 409
    assert _alert(answer)


@pytest.mark.parametrize("role", ["fitter", "storekeeper"])
def test_who_may_not_press_is_told_who_may(bench: Bench, role: str) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    client = _logged_in("Cleo", role)
    text = _page(client)
    assert "a foreman reserves the set" in text
    assert "A foreman accepts a method." in text
    assert not re.search(r'action="[^"]*/(reserve|release|accept)/', text)
    for name in ("job-reserve", "job-release", "job-accept"):
        assert client.post(reverse(name, args=["J-1"])).status_code == 403
    jobs.book(job, by="Ida", as_of=bench.as_of)
    assert "A foreman releases it." in _page(client)


@pytest.mark.parametrize("name", ["job-reserve", "job-release", "job-accept"])
def test_whoever_comes_to_a_press_by_a_link_is_shown_the_sheet(bench: Bench, foreman: Client, name: str) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    answer = foreman.get(reverse(name, args=["J-1"]))
    assert (answer.status_code, answer.headers["Location"]) == (302, "/jobs/J-1/")
    assert foreman.post(reverse(name, args=["J-404"])).status_code == 404


# Accepting


def _codes(text: str) -> dict[str, list[str]]:
    """The sizes that the page offers to accept, by method."""
    found: dict[str, list[str]] = {}
    for method, code in re.findall(
        r'name="method" value="([^"]+)"><input type="hidden" name="size_code" value="([^"]+)"', text
    ):
        found.setdefault(method, []).append(html.unescape(code))
    return found


def test_a_size_is_accepted_planned_and_taken_back(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP)
    offered = _codes(_page(foreman))
    assert {"wire_insert", "flanged_bush", "plain_bush"} <= set(offered)
    size = offered["plain_bush"][1]
    sent = {"group": "A", "method": "plain_bush", "size_code": size}
    answer = foreman.post(reverse("job-accept", args=["J-1"]), sent)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/jobs/J-1/#A")
    row = HoleGroup.objects.get()
    assert (row.accepted, row.accepted_by) == ("plain_bush", "Ada")
    text = _page(foreman)
    assert "Plain bush: accepted, " in text
    assert "<dt>Wished</dt><dd>flanged bush</dd>" in text, "what is accepted was not wished"
    assert re.search(r"Accepted by Ada on [\d: -]+: plain bush, M14x1.5 in M16x1.5 x \d+ mm", text)
    assert size not in _codes(text)["plain_bush"], "what is accepted is not offered again"
    foreman.post(reverse("job-accept", args=["J-1"]), {"group": "A", "method": ""})
    assert HoleGroup.objects.get().accepted == ""
    assert "Flanged bush: planned, " in _page(foreman)


def _answered(text: str) -> list[tuple[str, str]]:
    """What stands wrong at the fields of the form that is open, by the field."""
    return re.findall(r'<span class="wrong" id="[^"]*-(answers|why)-wrong">([^<]*)</span>', text)


def test_what_is_signed_for_is_accepted_with_name_and_reason_and_says_so_everywhere(
    bench: Bench, foreman: Client
) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP | {"edge": "9"})
    text = _page(foreman)
    size = next(code for code in _codes(text)["plain_bush"] if code.startswith("own-plain/1"))
    sent = {"group": "A", "method": "plain_bush", "size_code": size}
    address = reverse("job-accept", args=["J-1"])
    answer = foreman.post(address, sent | {"answers": "Jonna <Brackwell>"})
    assert answer.status_code == 400
    told = answer.content.decode()
    assert _answered(told) == [("why", "This is signed for: give the name of who answers for it, and why.")]
    assert 'value="Jonna &lt;Brackwell&gt;"' in told, "what was typed is kept"
    assert told.count('<details class="answered" open>') == 1
    assert [field for field, _ in _answered(foreman.post(address, sent).content.decode())] == ["answers", "why"]
    too_long = _answered(foreman.post(address, sent | {"answers": "x" * 121, "why": "y"}).content.decode())
    assert [field for field, _ in too_long] == ["answers"]
    assert HoleGroup.objects.get().accepted == ""
    assert foreman.post(address, sent | {"answers": "Jonna Brackwell", "why": "thick boss"}).status_code == 302
    row = HoleGroup.objects.get()
    assert (row.accepted, row.overruled_by, row.overruled_why) == ("plain_bush", "Jonna Brackwell", "thick boss")
    assert any(seal.startswith("edge_too_near:") for seal in row.overruled)
    text = _page(foreman)
    assert "Answered for by Jonna Brackwell: thick boss" in text
    assert "<strong>answered for by Jonna Brackwell</strong>: thick boss" in text, "in the title block too"
    assert "Plain bush accepted" in _rows_of_methods(text)["Plain bush"]
    assert "signed for by name" in _rows_of_methods(text)["Plain bush"]


def test_what_nobody_can_sign_away_says_why_and_has_no_form(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP | {"damage": "cracked", "method": ""})
    text = _page(foreman)
    assert set(_codes(text)) <= {"plug_or_weld", "scrap_part"}
    assert "and nobody can sign it away. The casting is cracked" in text
    answer = foreman.post(reverse("job-accept", args=["J-1"]), {"group": "A", "method": "scrap_part", "size_code": "x"})
    assert answer.status_code == 404


def test_the_sheet_shows_what_was_answered_of_the_damage_and_the_bolt(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    answers = {
        "damage": "worn",
        "grade": "10.9",
        "tensile": "240 MPa",
        "reach": "28",
        "bore": "14.3",
        "off_axis": "0.2",
    }
    bench.save(GROUP | answers)
    text = html.unescape(_page(foreman))
    for head, told in (
        ("What is wrong", "worn"), ("Bolt's class", "10.9"), ("Own strength", "240 MPa"), ("Bolt reaches in", "28 mm"),
        ("Widest now", "14.3 mm"), ("Off its axis", "0.2 mm"),
    ):  # fmt: skip
        assert re.search(rf"<dt>{head}</dt><dd>{told}", text), head


def test_an_acceptance_that_cannot_be_is_answered_at_its_group(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP, GROUP)
    address = reverse("job-accept", args=["J-1"])
    size = _codes(_page(foreman))["plain_bush"][0]
    for group, method, code, status, told in (
        ("Z", "plain_bush", size, 404, "no hole group Z"),
        ("B", "glue", size, 404, "no repair method “glue”"),
        ("B", "plain_bush", "nothing", 404, "no size nothing"),
    ):
        answer = foreman.post(address, {"group": group, "method": method, "size_code": code})
        assert answer.status_code == status
        text = answer.content.decode()
        assert told in _alert(text)
        if group == "B":
            assert text.index('id="B"') < text.index('role="alert"'), "at the place of the press"
    jobs.book(job, by="Ida", as_of=bench.as_of)
    answer = foreman.post(address, {"group": "B", "method": "plain_bush", "size_code": size})
    assert answer.status_code == 409
    assert "by Ida" in _alert(answer.content.decode())
    text = _page(foreman)
    assert not _codes(text)
    assert "release it before another size is accepted" in text


def test_the_sheets_of_mirrored_parts_and_of_magnesium_say_what_they_are(bench: Bench, foreman: Client) -> None:
    bench.stock(*BUSH_KIT)
    bench.save(GROUP | {"material": "magnesium"}, part='fixture = "F-07"\nhand = "left"')
    assert Part.objects.get().hand == "L"
    text = html.unescape(_page(foreman))
    assert "dry or with mineral oil, never with a water-mix" in text
    assert "The maker's instructions and local codes govern." in text
    assert "left" in text


def test_the_sheet_of_a_reserved_job_leads_a_storekeeper_to_its_kit_and_tells_what_is_in_hand(
    bench: Bench, foreman: Client
) -> None:
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP), by="Ida", as_of=bench.as_of)
    address = reverse("counter-kit", args=["J-1"])
    assert address not in _page(foreman)
    keeper = _logged_in("Kim", "storekeeper")
    assert address in _page(keeper)
    unit, batch = Unit.objects.get(tag="T-16"), Batch.objects.get(lot="B-1")
    issuing.issue("J-1", units=[unit.pk], batches={batch.pk: 4}, by="Kim", as_of=bench.as_of)
    page = _page(keeper)
    assert "4 in hand" in page
    assert "<strong>in hand</strong>" in page
