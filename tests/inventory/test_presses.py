"""A press is a form that was sent; whoever comes to its address otherwise is led to the page it belongs to."""

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory

from inventory.presses import LONGEST_KEY as LONGEST
from inventory.presses import press_key, pressed, sent


@pressed("unit")
def _move(request: HttpRequest, tag: str) -> HttpResponse:
    return HttpResponse(f"moved {tag}")


def test_a_press_is_carried_out_and_a_visit_led_to_the_page(rf: RequestFactory) -> None:
    assert _move(rf.post("/"), tag="T-1").content == b"moved T-1"
    visit = _move(rf.get("/"), tag="T-1")
    assert (visit.status_code, visit.headers["Location"]) == (302, "/shelf/units/T-1/")


@pytest.mark.parametrize(("typed", "key"), [("k", "k"), ("", None), ("k" * LONGEST, "k" * LONGEST), ("k" * 65, None)])
def test_only_a_key_that_a_page_may_have_made_counts(rf: RequestFactory, typed: str, key: str | None) -> None:
    assert press_key(rf.post("/", {"key": typed})) == key


def test_what_was_sent_is_read_without_zeros(rf: RequestFactory) -> None:
    request = rf.post("/", {"tag": "T\0-1"})
    assert (sent(request, "tag"), sent(request, "bin")) == ("T-1", "")
