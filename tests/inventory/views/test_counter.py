"""The counter: a kit goes out by one press, comes back by one, and what broke is told by one."""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import stock
from inventory.issuing import key_of
from inventory.models import Batch, BatchHold, Movement, Unit, UnitHold
from inventory.reservations import reserve
from inventory.roles import give_role
from tests.factories import BatchFactory, BinFactory, ItemFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> Client:
    user = User.objects.create_user("a keeper")
    give_role(user, "storekeeper")
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def bushes() -> Batch:
    return BatchFactory.create(lot="L1", quantity=10, bin=BinFactory.create(name="B2", walk=2))


@pytest.fixture
def tap() -> Unit:
    return UnitFactory.create(tag="T-1", item=TapFactory.create(life=40), bin=BinFactory.create(name="B1", walk=1))


def _keep(label: str, *units: Unit, batch: Batch | None = None, pieces: int = 5, days: int = 0) -> None:
    start = timezone.now() + timedelta(days=days)
    reserve(
        label=label,
        unit_holds=[(unit.pk, start, start + timedelta(days=1), 8) for unit in units],
        batch_holds=[(batch.pk, pieces)] if batch else [],
        by="Ida",
        as_of=timezone.now(),
    )


def _page(client: Client, label: str = "J-1") -> str:
    answer = client.get(reverse("counter-kit", args=[label]))
    assert answer.status_code == 200
    return answer.content.decode()


def _sent(page: str, action: str) -> dict[str, Any]:
    """The form of this action as a browser would send it, untouched."""
    (form,) = re.findall(rf'<form method="post" action="{action}.*?</form>', page, re.DOTALL)
    sent: dict[str, Any] = {"line": re.findall(r'name="line" value="([^"]+)"', form)}
    for tag in re.findall(r"<input [^>]+>", form):
        named = dict(re.findall(r'(\w+)="([^"]*)"', tag))
        if named["name"] not in ("line", "csrfmiddlewaretoken") and (named["type"] != "checkbox" or " checked" in tag):
            sent[named["name"]] = "on" if named["type"] == "checkbox" else named.get("value", "")
    for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', form, re.DOTALL):
        sent[name] = (re.findall(r'value="([^"]+)" selected', options) or re.findall(r'value="([^"]+)"', options))[0]
    return sent


def _issue(client: Client, label: str = "J-1", status: int = 302, **typed: Any) -> Any:
    address = reverse("counter-issue", args=[label])
    answer = client.post(address, _sent(_page(client, label), address) | typed)
    assert answer.status_code == status
    return answer


def _back(client: Client, label: str = "J-1", status: int = 302, **typed: Any) -> Any:
    address = reverse("counter-take-back", args=[label])
    answer = client.post(address, _sent(_page(client, label), address) | typed)
    assert answer.status_code == status
    return answer


@pytest.mark.parametrize("typed", ["j-1", "T-1", "https://crib.example/tag/T-1", "L1"])
def test_a_label_or_a_tag_opens_the_kit(keeper: Client, tap: Unit, bushes: Batch, typed: str) -> None:
    _keep("J-1", tap, batch=bushes)
    answer = keeper.get(reverse("counter"), {"for": typed})
    assert (answer.status_code, answer.headers["Location"]) == (302, reverse("counter-kit", args=["J-1"]))


def test_what_opens_no_kit_is_told_at_the_field_and_what_is_meant_is_asked(keeper: Client, bushes: Batch) -> None:
    answer = keeper.get(reverse("counter"), {"for": "nonsense"})
    assert answer.status_code == 200
    assert 'value="nonsense"' in answer.content.decode()
    _keep("J-1", batch=bushes, pieces=2)
    _keep("J-2", batch=bushes, pieces=2)
    page = keeper.get(reverse("counter"), {"for": "L1"}).content.decode()
    assert all(reverse("counter-kit", args=[label]) in page for label in ("J-1", "J-2"))
    assert keeper.get(reverse("counter-kit", args=["J-9"])).status_code == 404


def test_one_press_issues_the_kit_as_it_stands_and_one_takes_it_back(keeper: Client, tap: Unit, bushes: Batch) -> None:
    _keep("J-1", tap, batch=bushes)
    answer = _issue(keeper)
    assert "2 things" in keeper.get(answer.headers["Location"]).content.decode()
    tap.refresh_from_db()
    assert tap.issued_to == "J-1"
    assert stock.in_hand(labels=["J-1"]) == {(bushes.pk, "J-1"): 5}
    sent = _sent(_page(keeper), reverse("counter-take-back", args=["J-1"]))
    assert (sent[f"in-{key_of(tap)}-holes"], sent[f"in-{key_of(bushes)}-pieces"]) == ("8", "")
    _back(keeper, **{f"in-{key_of(bushes)}-pieces": "2"})
    tap.refresh_from_db()
    assert (tap.issued_to, tap.holes_cut, tap.condition) == ("", 8, "serviceable")
    assert stock.in_hand(labels=["J-1"]) == {(bushes.pk, "J-1"): 3}
    assert Movement.objects.filter(by="a keeper").count() == 4


def test_the_same_press_sent_twice_is_carried_out_once(keeper: Client, tap: Unit, bushes: Batch) -> None:
    _keep("J-1", tap, batch=bushes)
    address = reverse("counter-issue", args=["J-1"])
    sent = _sent(_page(keeper), address)
    assert [keeper.post(address, sent).status_code for _ in range(2)] == [302, 302]
    assert Movement.objects.filter(act="issued").count() == 2
    address = reverse("counter-take-back", args=["J-1"])
    sent = _sent(_page(keeper), address) | {"broke": key_of(bushes)}
    assert [keeper.post(address, sent).status_code for _ in range(2)] == [200, 200]
    assert stock.in_hand(labels=["J-1"]) == {(bushes.pk, "J-1"): 4}


def test_a_line_that_is_refused_says_so_and_nothing_typed_is_lost(keeper: Client, tap: Unit, bushes: Batch) -> None:
    _keep("J-1", tap, batch=bushes)
    more = {f"out-{key_of(bushes)}-pieces": "11", "out-tags": "nonsense\nT-1"}
    page = _issue(keeper, status=409, **more).content.decode()
    assert "nonsense” opens nothing" in page or "nonsense" in page
    assert 'value="11"' in page
    page = _issue(keeper, status=409, **(more | {"out-tags": ""})).content.decode()
    assert 'id="id_out-' in page
    assert "free of 10 on hand" in page
    tap.refresh_from_db()
    assert tap.issued_to == ""
    page = _issue(keeper, status=400, **{f"out-{key_of(bushes)}-pieces": "many"}).content.decode()
    assert 'value="many"' in page


def test_what_is_scanned_on_the_way_back_is_all_that_comes_back(keeper: Client, tap: Unit, bushes: Batch) -> None:
    other = UnitFactory.create(tag="T-2", item=tap.item, bin=tap.bin)
    _keep("J-1", tap, other, batch=bushes)
    _issue(keeper)
    page = _back(keeper, status=400, **{"in-tags": "T-9"}).content.decode()
    assert "“T-9” is nothing that J-1 has in hand." in page
    page = _back(keeper, status=400, **{"in-tags": f"http://crib.example/tag/~b{bushes.pk}"}).content.decode()
    assert "Enter how many pieces of L1 come back." in page
    _back(keeper, **{"in-tags": "https://crib.example/tag/T-2"})
    assert set(Unit.objects.filter(issued_to="J-1")) == {tap}


def test_a_tap_that_breaks_is_one_press_and_the_other_lines_keep_what_was_typed(
    keeper: Client, tap: Unit, bushes: Batch
) -> None:
    other = UnitFactory.create(tag="T-2", item=tap.item, bin=tap.bin)
    _keep("J-1", tap, other, batch=bushes)
    _keep("J-2", tap, days=9)
    _issue(keeper)
    typed = {
        f"in-{key_of(tap)}-holes": "3", f"in-{key_of(other)}-holes": "7", f"in-{key_of(bushes)}-pieces": "2",
        "broke": key_of(tap),
    }  # fmt: skip
    page = _back(keeper, status=200, **typed).content.decode()
    tap.refresh_from_db()
    assert (tap.condition, tap.holes_cut) == ("retired", 3)
    assert set(UnitHold.objects.filter(unit=tap).values_list("shorted", flat=True)) == {True}
    assert Movement.objects.get(act="scrapped").reason == "Broken at the job."
    assert "T-1 is written off" in page
    sent = _sent(page, reverse("counter-take-back", args=["J-1"]))
    assert (sent[f"in-{key_of(other)}-holes"], sent[f"in-{key_of(bushes)}-pieces"]) == ("7", "2")
    assert keeper.post(reverse("counter-take-back", args=["J-1"]), sent).status_code == 302
    other.refresh_from_db()
    assert other.holes_cut == 7


def test_lots_of_one_name_in_two_bins_both_come_back_by_one_scan(keeper: Client, bushes: Batch) -> None:
    other = BatchFactory.create(item=bushes.item, lot=bushes.lot, quantity=10)
    _keep("J-1", batch=bushes, pieces=3)
    _keep("J-1", batch=other, pieces=3)
    _issue(keeper)
    sent = {f"in-{key_of(bushes)}-pieces": "2", f"in-{key_of(other)}-pieces": "1"}
    assert _back(keeper, **{"in-tags": bushes.lot}, **sent).status_code == 302
    out = {batch: count for (batch, _), count in stock.in_hand(labels=["J-1"]).items()}
    assert out == {bushes.pk: 1, other.pk: 2}
    assert _back(keeper, status=400, **{"in-tags": bushes.lot}).content.decode().count("Enter how many pieces") == 2


def test_of_a_gauge_no_holes_are_asked_when_it_comes_back_and_its_condition_is(keeper: Client) -> None:
    gauge = UnitFactory.create(tag="G-1", item=ItemFactory.create(kind="depth_gauge"), calibration_due=date(2099, 1, 1))
    _keep("J-1", gauge)
    _issue(keeper)
    page = keeper.get(reverse("counter-kit", args=["J-1"])).content.decode()
    assert f"in-{key_of(gauge)}-back" in page
    assert f"in-{key_of(gauge)}-holes" not in page
    assert "worn or damaged, not to be issued" in page
    assert "due for regrind" not in page.split('id="back"')[1]
    _back(keeper, **{f"in-{key_of(gauge)}-condition": "due_regrind"})
    gauge.refresh_from_db()
    assert (gauge.issued_to, gauge.condition) == ("", "due_regrind")
    refused = keeper.post(reverse("counter-issue", args=["J-2"]), {"out-tags": "G-1"}).content.decode()
    assert "G-1 is worn or due for regrind; it is not issued before that is put right." in refused


def test_what_is_wrong_far_below_is_named_beside_the_press(keeper: Client, bushes: Batch) -> None:
    _keep("J-1", batch=bushes, pieces=10)
    _issue(keeper)
    key = key_of(bushes)
    page = _back(keeper, status=400, **{f"in-{key}-pieces": "much"}).content.decode()
    assert f'To be put right below: <a class="press" href="#in-{key}">{bushes.lot}</a>' in page
    assert f'<fieldset id="in-{key}">' in page
    page = _back(keeper, status=200, **{f"in-{key}-gone": "2", "lost": key}).content.decode()
    assert f"Written off: 2 pieces of {bushes.lot}; every job" in page.split('id="back"')[1]


def test_an_insert_that_is_lost_is_taken_from_the_hand_with_the_reason_that_was_typed(
    keeper: Client, bushes: Batch
) -> None:
    _keep("J-1", batch=bushes, pieces=10)
    _issue(keeper)
    key = key_of(bushes)
    page = _back(keeper, status=200, **{f"in-{key}-gone": "2", f"in-{key}-why": "in the sump", "lost": key})
    assert stock.in_hand(labels=["J-1"]) == {(bushes.pk, "J-1"): 8}
    assert Movement.objects.get(act="scrapped").reason == "in the sump"
    assert BatchHold.objects.values_list("short", "issued").get() == (2, 8)
    assert 'value="in the sump"' not in page.content.decode()
    refused = _back(keeper, status=409, **{f"in-{key}-gone": "9", "broke": key}).content.decode()
    assert 'value="9"' in refused
    assert _back(keeper, status=404, lost="u999").status_code == 404


def test_nothing_ticked_is_refused_in_words(keeper: Client, tap: Unit) -> None:
    _keep("J-1", tap)
    address = reverse("counter-issue", args=["J-1"])
    answer = keeper.post(address, {"line": [key_of(tap)]})
    assert "Nothing is ticked" in answer.content.decode()
    _issue(keeper)
    answer = keeper.post(reverse("counter-take-back", args=["J-1"]), {"line": []})
    assert "nothing comes back from J-1" in answer.content.decode()


def test_a_unit_in_hand_leads_to_the_counter(keeper: Client, tap: Unit) -> None:
    _keep("J-1", tap)
    _issue(keeper)
    assert reverse("counter-kit", args=["J-1"]) in keeper.get(reverse("unit", args=["T-1"])).content.decode()
    assert reverse("counter") in keeper.get(reverse("shelf")).content.decode()


@pytest.mark.parametrize("rows", [2, 20])
def test_a_kit_is_shown_in_as_many_queries_for_two_lines_as_for_twenty(keeper: Client, rows: int) -> None:
    taps = [UnitFactory.create(item=TapFactory.create(life=40), bin=BinFactory.create()) for _ in range(rows)]
    _keep("J-1", *taps)
    for each in taps[: rows // 2]:
        stock.issue_unit(unit=each, label="J-1", by="x", as_of=timezone.now())
    with CaptureQueriesContext(connection) as asked:
        _page(keeper)
    assert len(asked) == 9


def test_a_gauge_without_a_calibration_on_record_is_signed_for_at_its_line_in_two_presses(
    keeper: Client, tap: Unit
) -> None:
    gauge = UnitFactory.create(tag="G-1", item=ItemFactory.create(kind="indicator"))
    _keep("J-1", tap)
    taken = {"line": f"u{tap.pk}", f"out-u{tap.pk}-take": "on", "out-tags": "g-1", "out-request_key": "k"}
    answer = keeper.post(reverse("counter-issue", args=["J-1"]), taken)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert page.count("No calibration is on record for G-1") == 1
    assert f'name="out-u{gauge.pk}-signed"' in page
    assert f'name="out-u{tap.pk}-signed"' not in page
    gauge.refresh_from_db()
    tap.refresh_from_db()
    assert (gauge.issued_to, tap.issued_to) == ("", ""), "all of it or nothing"
    signed = taken | {
        "line": [f"u{tap.pk}", f"u{gauge.pk}"], f"out-u{gauge.pk}-take": "on", f"out-u{gauge.pk}-signed": "Ada: new",
    }  # fmt: skip
    assert keeper.post(reverse("counter-issue", args=["J-1"]), signed).status_code == 302
    movement = Movement.objects.get(unit=gauge, act="issued")
    assert (movement.reason, movement.label) == ("Ada: new", "J-1")


def test_a_kept_gauge_without_a_calibration_on_record_is_not_ticked_and_says_so(keeper: Client, tap: Unit) -> None:
    gauge = UnitFactory.create(tag="G-1", item=ItemFactory.create(kind="indicator"))
    _keep("J-1", tap, gauge)
    page = _page(keeper)
    assert re.search(rf'name="out-u{tap.pk}-take"[^>]* checked', page)
    assert not re.search(rf'name="out-u{gauge.pk}-take"[^>]* checked', page)
    assert page.count("no calibration on record") == 1


def test_a_kit_open_on_two_pages_is_not_handed_out_twice_out_of_what_is_free(keeper: Client, bushes: Batch) -> None:
    _keep("J-1", batch=bushes)
    address = reverse("counter-issue", args=["J-1"])
    first, second = (_sent(_page(keeper), address) for _ in range(2))
    assert keeper.post(address, first).status_code == 302
    refused = keeper.post(address, second)
    assert refused.status_code == 409
    assert "by now it is 0, and 5 are in its hand" in refused.content.decode()
    bushes.refresh_from_db()
    assert (bushes.on_hand, bushes.held) == (5, 0)
    again = second | {f"out-{key_of(bushes)}-seen": "0"}  # as the page that was answered has it
    assert f'name="out-{key_of(bushes)}-seen" value="0"' in refused.content.decode()
    assert keeper.post(address, again).status_code == 302
    assert Batch.objects.get(pk=bushes.pk).on_hand == 0


def test_whoever_goes_back_and_types_another_figure_is_told_that_the_press_was_done(
    keeper: Client, bushes: Batch
) -> None:
    _keep("J-1", batch=bushes)
    address, key = reverse("counter-issue", args=["J-1"]), key_of(bushes)
    sent = _sent(_page(keeper), address)
    for _ in range(2):
        assert keeper.post(address, sent).status_code == 302
    other = keeper.post(address, sent | {f"out-{key}-pieces": "3"})
    assert other.status_code == 409
    assert "already carried out with another figure" in other.content.decode()
    assert Movement.objects.filter(act="issued").count() == 1


def test_what_is_typed_of_a_thing_that_broke_is_not_passed_over_by_taking_all_back(keeper: Client, tap: Unit) -> None:
    _keep("J-1", tap)
    _issue(keeper)
    address = reverse("counter-take-back", args=["J-1"])
    sent = _sent(_page(keeper), address) | {f"in-{key_of(tap)}-why": "snapped"}
    refused = keeper.post(address, sent)
    assert refused.status_code == 400
    text = refused.content.decode()
    assert "Press “Broke” or “Lost” at this line" in text
    assert 'value="snapped"' in text
    assert Unit.objects.get().issued_to == "J-1"


@pytest.mark.parametrize("typed", ["-1", "12,0", "12.0", "1.000", "1e3", "T-16", "9" * 30, "½"])
def test_pieces_that_are_no_whole_number_are_told_and_stay_as_typed(keeper: Client, bushes: Batch, typed: str) -> None:
    _keep("J-1", batch=bushes)
    answer = _issue(keeper, status=400, **{f"out-{key_of(bushes)}-pieces": typed})
    text = answer.content.decode()
    assert f"“{typed}” must be a whole number of at least 0" in text
    assert f'value="{typed}"' in text
    assert not Movement.objects.filter(act="issued").exists()
