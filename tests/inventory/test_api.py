"""What other programs get: the same document as the command, and one error shape."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import catalogue, reservations, stock
from inventory.roles import give_role


@pytest.fixture
def reader(client: Client, db: None) -> Client:
    reader = User.objects.create_user("reader")
    give_role(reader, "fitter")
    client.force_login(reader)
    return client


def test_a_thread_is_told_in_mm_and_inch(reader: Client) -> None:
    found = reader.get(reverse("api-thread"), {"q": "M14 x 1,5"}).json()
    assert found["thread"] == {"key": "M|14000000|1500000nm|R", "designation": "M14x1.5", "hand": "R"}
    # ISO 965-2 6H limits of M14x1.5, as ASME B1.13M tabulates them
    assert found["internal"]["minor_min"] == {"mm": "12.376", "in": "0.48724"}
    assert found["internal"]["minor_max"]["mm"] == "12.676"
    assert found["insert_hole"]["thread"]["designation"] == "EG M14x1.5"
    assert "M14x1.25" in {each["thread"]["designation"] for each in found["look_alikes"]}


def test_a_class_of_its_own_is_answered(reader: Client) -> None:
    found = reader.get(reverse("api-thread"), {"q": "9/16 UNF", "class": "3B"}).json()
    assert found["internal"]["class"] == "3B"
    assert found["external"] is None


@pytest.mark.parametrize(
    ("asked", "field", "code"),
    [
        ({}, "q", "thread_empty"),
        ({"q": ""}, "q", "thread_empty"),
        ({"q": "M14x15"}, "q", "thread_pitch_impossible"),
        ({"q": "1/4 26"}, "q", "thread_ambiguous"),
        ({"q": "NPT 1/4"}, "q", "thread_not_covered"),
        ({"q": "M14x1.5", "class": "9Z"}, "class", "thread_class_unknown"),
        ({"q": "x" * 500}, "q", "answer_too_long"),
        ({"q": "\x00"}, "q", "answer_unreadable"),
    ],
)
def test_what_cannot_be_read_is_refused_at_its_field(
    reader: Client, asked: dict[str, str], field: str, code: str
) -> None:
    answer = reader.get(reverse("api-thread"), asked)
    assert answer.status_code == 400
    assert [(fault["field"], fault["code"]) for fault in answer.json()["errors"]] == [(field, code)]
    assert all(set(fault) == {"field", "code", "data", "text"} for fault in answer.json()["errors"])


def test_a_question_names_its_candidates(reader: Client) -> None:
    fault = reader.get(reverse("api-thread"), {"q": "1/4 26"}).json()["errors"][0]
    assert fault["data"]["candidates"] == ["1/4-26 BSF", "1/4-26 brass", "1/4-26 cycle"]


def test_a_measured_thread_is_identified(reader: Client) -> None:
    found = reader.get(reverse("api-identify"), {"outside": "9,47", "tpi": "20"}).json()["candidates"]
    assert found[0]["thread"]["designation"] == "3/8-20 BSF"
    assert found[0]["tell_apart"][0]["code"] == "tell_apart_by_angle"


@pytest.mark.parametrize(
    ("asked", "fields"),
    [
        ({}, [""]),
        ({"outside": "much"}, ["outside"]),
        ({"outside": "-3", "tpi": "none"}, ["outside", "tpi"]),
        ({"outside": "10", "inside": "8"}, [""]),
        ({"pitch": "1.5", "tpi": "18"}, [""]),
    ],
)
def test_measurements_that_cannot_be_are_refused(reader: Client, asked: dict[str, str], fields: list[str]) -> None:
    answer = reader.get(reverse("api-identify"), asked)
    assert answer.status_code == 400
    assert [fault["field"] for fault in answer.json()["errors"]] == fields


@pytest.mark.parametrize("name", ["api-thread", "api-identify", "api-shelf"])
def test_a_stranger_is_not_answered(client: Client, db: None, name: str) -> None:
    assert client.get(reverse(name), {"q": "M14"}).status_code == 401


def test_nothing_is_asked_of_the_database_but_who_asks(reader: Client, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(3):  # session, user, roles
        reader.get(reverse("api-thread"), {"q": "M14x1.5"})


# The shelf


@pytest.fixture
def stocked(reader: Client) -> Client:
    """Three taps, one of them held and one on loan, and a batch of bushes."""
    now = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
    bin_ = stock.add_bin(site="Main", name="B4")
    taps = _taps(3, bin_=bin_, at=now)
    window = (now + timedelta(days=2), now + timedelta(days=4))
    reservations.reserve(label="J-7", link="/jobs/J-7/", unit_holds=[(taps[0].pk, *window, 4)], by="ida", as_of=now)
    stock.lend_unit(unit=taps[1], to=stock.add_person(name="Cleo"), until=date(2026, 3, 9), by="ida", as_of=now)
    bush = catalogue.add_item(kind="insert", thread="M16x1.5", inner="M14x1.5", family="own-flanged/1")
    stock.receive_batch(item=bush, quantity=20, bin=bin_, lot="L-9", by="ida", as_of=now)
    return reader


def _taps(count: int, *, bin_: Any, at: datetime, thread: str = "M14x1.5") -> list[Any]:
    tap = catalogue.add_item(kind="tap", thread=thread, lead=40, usable_length=60_000_000, life=200)
    return [stock.receive_unit(item=tap, tag=f"T-{tap.pk}{n:02}", bin=bin_, by="ida", as_of=at) for n in range(count)]


def test_the_shelf_is_found_by_what_people_type(stocked: Client) -> None:
    found = stocked.get(reverse("api-shelf"), {"q": "tap M14 x 1,5"}).json()
    (item,) = found["items"]
    assert (item["kind"], item["thread"]["designation"], item["life"]) == ("tap", "M14x1.5", 200)
    states = {line["state"]: line for line in found["lines"]}
    assert {line["item"] for line in found["lines"]} == {item["item"]}
    assert states["away"]["away"] == {"why": "loan", "until": "2026-03-09", "with": "Cleo"}
    held = next(line for line in found["lines"] if line["holds"])
    assert held["holds"][0] | {"start": "", "end": ""} == {
        "label": "J-7", "link": "/jobs/J-7/", "start": "", "end": "", "amount": 4,
    }  # fmt: skip
    assert held["life_left"] == 196


def test_a_tag_a_lot_and_a_bin_are_found_as_they_stand(stocked: Client) -> None:
    tag = stocked.get(reverse("api-shelf"), {"q": "tap"}).json()["lines"][0]["tag"]
    exact = stocked.get(reverse("api-shelf"), {"q": tag.lower()}).json()
    assert [(line["tag"], line["exact"]) for line in exact["lines"]] == [(tag, True)]
    assert [item["kind"] for item in exact["items"]] == ["tap"]
    lot = stocked.get(reverse("api-shelf"), {"q": "L-9"}).json()["lines"][0]
    assert (lot["lot"], lot["tag"], lot["on_hand"], lot["free"]) == ("L-9", None, 20, 20)
    assert stocked.get(reverse("api-shelf"), {"q": "B4"}).json()["bins"] == [{"site": "Main", "bin": "B4"}]


def test_a_word_that_means_nothing_is_named_and_look_alikes_stand_apart(stocked: Client) -> None:
    found = stocked.get(reverse("api-shelf"), {"q": "tap M14x1.25 colourless"}).json()
    assert "word_not_understood" in [note["code"] for note in found["notes"]]
    assert found["lines"] == []
    assert [each["thread"]["designation"] for each in found["look_alikes"]] == ["M14x1.5"]


@pytest.mark.parametrize(
    ("query", "fault"),
    [
        ("", ("q", "answer_missing")),
        ("q=", ("q", "answer_missing")),
        ("q=" + "x" * 201, ("q", "answer_too_long")),
        ("q=tap&after=rubbish", ("after", "page_end_unreadable")),
        ("q=away&after=9999-99-99_1", ("after", "page_end_unreadable")),
        ("q=tap&after=tap~99999999999999999999", ("after", "page_end_unreadable")),
        ("q=tap&units=furlong", ("units", "word_unknown")),
        ("q=tap&page=2", ("page", "parameter_unknown")),
    ],
)
def test_the_shelf_that_is_asked_in_rubbish_refuses(stocked: Client, query: str, fault: tuple[str, str]) -> None:
    answer = stocked.get(f"{reverse('api-shelf')}?{query}")
    assert answer.status_code == 400
    assert [(each["field"], each["code"]) for each in answer.json()["errors"]] == [fault]


def test_the_address_of_a_page_that_was_tampered_with_breaks_nothing(stocked: Client) -> None:
    assert stocked.get(reverse("shelf"), {"q": "away", "after": "9999-99-99_1"}).status_code == 200


def test_twenty_things_on_the_shelf_ask_no_more_of_the_database_than_two(stocked: Client) -> None:
    def tables() -> list[str]:
        with CaptureQueriesContext(connection) as found:
            assert stocked.get(reverse("api-shelf"), {"q": "tap"}).status_code == 200
        return [named[1] for query in found if (named := re.search(r'FROM "(\w+)"', query["sql"]))]

    few = tables()
    assert few[:3] == ["django_session", "auth_user", "auth_group"]
    bin_ = stock.add_bin(site="Main", name="B5")
    for thread in ("M10", "M12", "M16", "M18", "M20"):
        _taps(4, bin_=bin_, at=datetime(2026, 3, 2, 8, 0, tzinfo=UTC), thread=thread)
    assert tables() == few
    assert len(few) <= 3 + 11
