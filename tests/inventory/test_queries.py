"""What somebody types to find a thing is read as it is meant, or asked about; no word is passed over in silence."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.kinds import KINDS
from inventory.queries import KNOWN, LONGEST, by_diameter, by_thread, kind_words, read_query


@pytest.mark.parametrize(
    "typed",
    ["M14x1.5 tap", "tap m14 x 1,5", "Taps for M14 × 1,5", "tap thread M14x1.5", "the M14x1.5 taps", "TAP M14X1.5"],
)
def test_a_kind_and_a_thread_are_read_in_any_order_and_spelling(typed: str) -> None:
    query = read_query(typed)
    assert query.kinds == ("tap",)
    assert query.thread is not None
    assert query.thread.designation == "M14x1.5"
    assert (query.words, query.question) == ((), None)


@pytest.mark.parametrize(
    ("typed", "window"),
    [
        ("drill 14.4-14.7", (14_400_000, 14_700_000)),
        ("drill 14,4 – 14,7", (14_400_000, 14_700_000)),
        ("drills 14.4 to 14.7 mm", (14_400_000, 14_700_000)),
        ("14.5 drill", (14_500_000, 14_500_000)),
        ("drill 9/16", (14_287_500, 14_287_500)),
        ("drill 9/16-19/32", (14_287_500, 15_081_250)),
        ("drill 1 1/8 in", (28_575_000, 28_575_000)),
        ("drill 1-1/8", (28_575_000, 28_575_000)),
        ("drill #7", (5_105_400, 5_105_400)),
        ("drill Q", (8_432_800, 8_432_800)),
        ("seat cutter 22", (22_000_000, 22_000_000)),
        ("14.5", (14_500_000, 14_500_000)),
        ("14 mm", (14_000_000, 14_000_000)),
    ],
)
def test_a_diameter_is_read_as_one_size_or_as_a_range(typed: str, window: tuple[int, int]) -> None:
    query = read_query(typed)
    assert query.diameter == window
    assert (query.thread, query.words, query.question) == (None, (), None)


def test_drills_for_a_thread_are_those_in_the_window_of_its_hole() -> None:
    query = read_query("tap drill M16x1.5")
    # ISO 965-1 6H minor limits of M16x1.5 (tests/published/geometry.json, iso965-6H-M16x1.5)
    assert query.diameter == (14_376_000, 14_676_000)
    assert [note.code for note in query.notes] == ["drills_for_thread"]
    assert read_query("drill 9/16-18").thread == read_query("9/16-18 UNF tap").thread


def test_an_insert_is_read_inside_and_outside() -> None:
    for typed in ("insert M14x1.5 in M16x1.5", "M14x1.5 in M16x1.5", "bushes m14 x 1,5 in m16 x 1,5"):
        query = read_query(typed)
        assert query.kinds == ("insert",)
        assert query.inner is not None
        assert query.thread is not None
        assert (query.inner.designation, query.thread.designation) == ("M14x1.5", "M16x1.5")


@pytest.mark.parametrize(
    ("typed", "candidate"),
    [
        ("tap 14", "tap M14x1.5"),
        ("tap 1/4-26", "tap 1/4-26 BSF"),
        ("tap M14x15", "tap M14x1.5"),
        ("14", "drill 14 mm"),
        ("14", "M14x2"),
        ("9/16", "drill 9/16"),
        ("drill 10-24", "drill 10 to 24 mm"),
        ("drill 10-24", "drill #10-24 UNC"),
        ("insert 14 in M16x1.5", "insert M14x1.5 in M16x1.5"),
    ],
)
def test_what_can_be_more_than_one_thing_is_asked_with_texts_that_would_do(typed: str, candidate: str) -> None:
    query = read_query(typed)
    assert query.question is not None
    assert candidate in query.candidates
    for each in query.candidates:
        assert read_query(each).question is None, each


def test_words_that_several_kinds_share_mean_them_all() -> None:
    assert read_query("gauges").kinds == ("hole_gauge", "final_gauge", "minor_gauge", "pitch_gauge", "depth_gauge")
    assert read_query("hole gauge").kinds == ("hole_gauge",)
    assert read_query("drills").kinds == ("drill",)
    assert read_query("removal-drill").kinds == ("removal_drill",)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_known_by_its_own_words(kind: str) -> None:
    assert read_query(KINDS[kind].word).kinds == (kind,)
    assert read_query(KINDS[kind].plural).kinds == (kind,)


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("taps away", {"kinds": ("tap",), "state": "away"}),
        ("on loan", {"state": "loan"}),
        ("due for calibration", {"state": "due_calibration"}),
        ("expired adhesives", {"state": "expired", "kinds": ("adhesive",)}),
        ("gauges in B4", {"place": "B4"}),
        ("taps at Yard", {"place": "Yard", "kinds": ("tap",)}),
        ("bin B4", {"named": ("bin", "B4")}),
        ("item 3046", {"named": ("number", "3046")}),
        ("lot W 4105", {"named": ("lot", "W 4105")}),
        ("tap M16x1.5 6H", {"thread_class": "6H"}),
        ("gauges 2b", {"thread_class": "2B"}),
        ("spiral flute tap M8", {"flute": "spiral"}),
        ("forming tap M8", {"action": "form"}),
        ("torque wrench 45 Nm", {"torque": 45_000}),
        ("thread plug gauge", {"words": ("plug",)}),
        ("click wrench 3/8 drive", {"words": ("click", "3/8", "drive"), "torque": None}),
        ("T-16", {"words": ("T-16",)}),
    ],
)
def test_lists_places_names_and_what_tells_a_tap_apart_are_understood(typed: str, expected: dict[str, Any]) -> None:
    query = read_query(typed)
    assert {name: getattr(query, name) for name in expected} == expected
    assert query.question is None


def test_a_thread_is_told_not_to_be_kept_of_kinds_that_carry_none() -> None:
    query = read_query("oil M14x1.5")
    assert [note.code for note in query.notes] == ["kinds_carry_no_thread"]
    assert query.words == ()


def test_what_was_filled_in_is_told() -> None:
    assert [note.code for note in read_query("tap M10").notes] == ["pitch_assumed_coarse"]


def test_too_long_a_text_is_refused_in_a_sentence() -> None:
    query = read_query("tap " * 40)
    assert query.question is not None
    assert query.question.code == "query_too_long"
    assert len(query.typed) <= LONGEST


@given(st.text(max_size=60) | st.text(alphabet="0123456789.,/ -x×M½inmtapdrillQ#\"'", max_size=24))
def test_no_text_raises_anything(text: str) -> None:
    query = read_query(text)
    assert len(query.candidates) <= 8


@given(st.from_regex(r"[bcfghjkpqvwz]{4,9}", fullmatch=True))
def test_a_word_that_means_nothing_stays_beside_what_was_understood(word: str) -> None:
    query = read_query(f"{word} tap M14x1.5")
    assert query.words == (word,)
    assert query.kinds == ("tap",)


def test_kinds_are_told_apart_by_what_they_are_matched_on() -> None:
    assert by_thread("insert")
    assert by_diameter("stop_collar")
    assert not by_thread("oil")
    assert not by_diameter("oil")
    assert set(kind_words()) <= set(KNOWN)
