"""Every reason why a thing is not taken stands in the plan of at least one demo job, with its numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.repairs.conftest import Demo


def _lines(demo: Demo) -> Iterator[dict[str, Any]]:
    for document in demo.documents.values():
        for group in document["groups"]:
            yield from group["lines"]


def _told(line: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every reason of a line that is no match, of what comes near it too, and the look-alikes of any line."""
    if line["status"] != "match":
        yield from line["reasons"]
        for miss in line["near"]:
            yield from miss["reasons"]
    yield from line["look_alikes"]


REASONS: dict[str, tuple[str, dict[str, Any], tuple[str, ...]]] = {
    # what a foreman reads: the code, what stands in its data, and what else must be there
    "none owned": ("none_owned", {"kind": "tap", "thread": "M22x1.5"}, ()),
    "all held, by which label and when": ("all_held", {"labels": ["J-1041"]}, ("first_free",)),
    "held, from when to when": ("held", {"label": "J-1041"}, ("start", "end")),
    "away on loan until": ("away", {"why": "loan"}, ("until",)),
    "away at regrind until": ("away", {"why": "regrind"}, ("until",)),
    "away at calibration until": ("away", {"why": "calibration"}, ("until",)),
    "would do and is not here": ("none_at_hand", {"tag": "ST-014", "why": "loan", "sites": ["Main"]}, ("until",)),
    "life of five for eight": ("life_short_in_all", {"left": 5, "needed": 8}, ()),
    "out of calibration before the window ends": ("out_of_calibration", {}, ("due", "needed_until")),
    "expired": ("expired", {}, ("expires", "needed_until")),
    "too short by 3 mm": ("too_short", {"by_nm": 3_000_000}, ("usable_nm", "needed_nm")),
    "wrong lead for this blind hole": ("lead_too_long", {"lead": "4", "most": "2"}, ()),
    "wrong flute for this blind hole": ("flute_needs_through", {}, ()),
    "forming tap where a cutting one is wanted": ("forming_tap", {}, ()),
    "wrong hand": ("wrong_hand", {"thread": "M14x1.5", "wanted": "M14x1.5-LH"}, ()),
    "at another site": ("other_site", {"site": "Yard", "wanted": "Main"}, ()),
    "no measurement to match on": ("measurement_missing", {"measurement": "pilot"}, ()),
    "same diameter, another pitch": ("look_alike", {"thread": "M22x2", "wanted": "M22x1.5"}, ("tag", "bin", "turns")),
}


@pytest.mark.parametrize("reading", REASONS)
def test_the_demo_shows_it(demo: Demo, reading: str) -> None:
    code, data, more = REASONS[reading]
    found = [
        reason
        for line in _lines(demo)
        for reason in _told(line)
        if reason["code"] == code and reason["data"].items() >= data.items()
    ]
    assert found
    for reason in found:
        assert all(reason["data"][name] for name in more)


def test_no_look_alike_is_ever_taken(demo: Demo) -> None:
    named = 0
    for line in _lines(demo):
        alike = {reason["data"]["tag"] for reason in line["look_alikes"]}
        named += len(alike)
        assert not alike & {take["tag"] for take in line["takes"]}
    assert named


def test_a_plain_bush_of_the_demo_has_its_stop_collar(demo: Demo) -> None:
    (collar,) = (line for line in _lines(demo) if line["need"]["kind"] == "stop_collar")
    assert (collar["status"], [take["tag"] for take in collar["takes"]]) == ("match", ["SC-004"])
