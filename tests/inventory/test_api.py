"""What other programs get: the same document as the command, and one error shape."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse


@pytest.fixture
def reader(client: Client, db: None) -> Client:
    client.force_login(User.objects.create_user("reader"))
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
        ({"q": "x" * 500}, "q", "max_length"),
        ({"q": "\x00"}, "q", "null_characters_not_allowed"),
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


@pytest.mark.parametrize("name", ["api-thread", "api-identify"])
def test_a_stranger_is_not_answered(client: Client, db: None, name: str) -> None:
    assert client.get(reverse(name), {"q": "M14"}).status_code == 403


def test_nothing_is_asked_of_the_database_but_who_asks(reader: Client, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(2):  # session, user
        reader.get(reverse("api-thread"), {"q": "M14x1.5"})
