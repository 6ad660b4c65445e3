"""The page "threads": what is typed is read back, drawn, and never lost."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.roles import give_role
from inventory.threads import covered, dossier, internal_limits, read
from inventory.views.threads import drawn


@pytest.fixture
def reader(client: Client, db: None) -> Client:
    reader = User.objects.create_user("reader")
    give_role(reader, "fitter")
    client.force_login(reader)
    return client


def page(reader: Client, **asked: str) -> str:
    answer = reader.get(reverse("threads"), asked)
    assert answer.status_code == 200
    return answer.content.decode()


def test_nothing_typed_asks(reader: Client) -> None:
    assert "What is this thread?" in page(reader)


def test_what_was_typed_is_kept_and_read_back(reader: Client) -> None:
    shown = page(reader, q="M14 x 1,5")
    assert 'value="M14 x 1,5"' in shown
    assert "Read from “M14 x 1,5”" in shown
    assert "14.325" in shown  # the insert hole's least minor diameter


def test_a_filled_in_pitch_is_said(reader: Client) -> None:
    assert "coarse M10x1.5" in page(reader, q="M10")


@pytest.mark.parametrize("typed", ["M14x15", "9/16-19", "5/8-18 UNC", "NPT 1/2", "<script>alert(1)</script>", '7/8"'])
def test_what_cannot_be_read_is_refused_at_the_field_and_kept(reader: Client, typed: str) -> None:
    shown = page(reader, q=typed)
    assert shown.count('role="alert"') == 1
    assert 'aria-invalid="true"' in shown
    assert "<script>alert" not in shown


def test_a_question_offers_its_candidates(reader: Client) -> None:
    assert "?q=1/4-26%20BSF" in page(reader, q="1/4 26")


def test_a_class_that_is_not_is_refused_at_its_field(reader: Client) -> None:
    shown = page(reader, q="M14x1.5", thread_class="9Z")
    assert 'id="class-wrong"' in shown
    assert 'value="9Z"' in shown


def test_measurements_give_candidates(reader: Client) -> None:
    shown = page(reader, outside="9.47", tpi="20")
    assert "3/8-20 BSF" in shown
    assert "flank-angle gauge" in shown


def test_a_wrong_measurement_is_refused_at_its_field(reader: Client) -> None:
    shown = page(reader, outside="much")
    assert 'id="outside-wrong"' in shown
    assert 'value="much"' in shown


def test_the_page_asks_nothing_of_the_database_but_who_asks(reader: Client, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(3):  # session, user, roles
        page(reader, q="M14x1.5")


def test_strangers_are_sent_to_log_in(client: Client, db: None) -> None:
    assert client.get(reverse("threads")).status_code == 302


def test_every_covered_thread_can_be_drawn() -> None:
    for thread in covered():
        profile = drawn(dossier(thread))
        assert profile.hole
        assert "nan" not in profile.hole + profile.bolt + profile.basic


def test_the_drawing_carries_the_numbers_of_the_limits(reader: Client) -> None:
    shown = page(reader, q="M16x1.5")
    limits = internal_limits(read("M16x1.5").thread)
    told = re.search(r"hole minor ([\d.]+) to ([\d.]+)", shown)
    assert told
    assert (Decimal(told[1]), Decimal(told[2])) == (limits.minor_min, limits.minor_max)


def test_a_hole_without_a_standard_drill_says_so(reader: Client) -> None:
    # 2B minor limits of 1 1/2-18 UNEF: 1.440 to 1.453 in (ASME B1.1 table 2)
    shown = page(reader, q="1 1/2-18 UNEF")
    assert "No standard drill lies between 36.576 mm (1.4400 in)" in shown
    assert "Drill, best first" not in shown


def test_inches_lead_for_who_prefers_them(reader: Client) -> None:
    session = reader.session
    session["units"] = "in"
    session.save()
    shown = page(reader, q="9/16-18")
    assert shown.index(">0.51500<") < shown.index(">13.081<")
    assert "(pitch 0.0035 in (0.089 mm) off" in shown


def test_look_alikes_are_drawn_to_the_scale_of_the_thread(reader: Client) -> None:
    shown = page(reader, q="9/16-18 UNF")
    heights = re.findall(r'viewBox="0 0 450 ([0-9.]+)"', shown)
    assert len(heights) == 4
    assert len(set(heights)) == 1
