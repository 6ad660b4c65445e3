from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.threads import (
    SYSTEMS,
    Thread,
    ThreadError,
    classes,
    classes_that_serve,
    default_class,
    external_limits,
    insert_hole,
    internal_limits,
    read,
    series,
)

M14, M16, HALF = (read(text).thread for text in ("M14x1.5", "M16x1.5", "1/2-13"))
EVERY_THREAD = [thread for system in SYSTEMS for thread in series(system)]


def test_the_drill_window_of_a_bushs_outer_thread_is_its_6h_minor_limits() -> None:
    limits = internal_limits(M16)
    assert (limits.minor_min, limits.minor_max) == (Decimal("14.376"), Decimal("14.676"))
    assert limits.thread_class == "6H"
    assert not limits.computed
    assert "ISO 965-1" in limits.source


def test_a_value_that_no_table_holds_is_marked_as_computed() -> None:
    limits = internal_limits(Thread("M", 20_000_000, 750_000))
    assert limits.computed
    assert "formulas" in limits.source


def test_a_value_from_memory_says_so() -> None:
    limits = internal_limits(read("M36").thread)
    assert not limits.computed
    assert "memory" in limits.source


def test_an_insert_hole_is_computed_and_says_what_was_not_seen() -> None:
    for typed in ("EG M14x1.5", "STI 5/16-18"):
        limits = internal_limits(read(typed).thread)
        assert limits.computed
        assert "not seen" in limits.source


@given(st.sampled_from(EVERY_THREAD))
def test_limits_of_every_class_of_every_thread_are_in_order(thread: Thread) -> None:
    assert classes(thread)
    for name in classes(thread):
        hole = internal_limits(thread, name)
        assert hole.minor_min <= hole.minor_max < hole.pitch_min <= hole.pitch_max < hole.major_min
    for name in classes(thread, internal=False):
        bolt = external_limits(thread, name)
        assert bolt.minor_max < bolt.pitch_min <= bolt.pitch_max < bolt.major_min <= bolt.major_max
        assert bolt.pitch_max <= internal_limits(thread).pitch_min


@given(st.sampled_from(EVERY_THREAD))
def test_a_bolt_of_the_default_class_goes_into_a_hole_of_the_default_class(thread: Thread) -> None:
    if SYSTEMS[thread.system].bolt:
        return
    assert external_limits(thread).pitch_max <= internal_limits(thread).pitch_min
    assert external_limits(thread).major_max <= internal_limits(thread).major_min


def test_position_g_lifts_a_hole_and_lowers_a_bolt_by_the_same_deviation() -> None:
    lift = internal_limits(M14, "6G").minor_min - internal_limits(M14, "6H").minor_min
    drop = external_limits(M14, "6h").major_max - external_limits(M14, "6g").major_max
    assert lift == drop == Decimal("0.032")


def test_a_two_part_class_takes_its_first_grade_for_the_flanks_and_its_second_for_the_crest() -> None:
    mixed, fine, medium = (internal_limits(M14, name) for name in ("4H5H", "4H", "5H"))
    assert (mixed.pitch_max, mixed.minor_max) == (fine.pitch_max, medium.minor_max)


@pytest.mark.parametrize(
    ("thread", "name"),
    [
        (M14, "6"),
        (M14, "6g"),
        (M14, "9H"),
        (M14, "3H"),
        (M14, "4H5G"),
        (M14, "2B"),
        (HALF, "6H"),
        (HALF, "2A"),
        (Thread("M", 1_600_000, 200_000), "6H"),
        (Thread("M", 500_000, 125_000), "6H"),
        (Thread("M", 300_000_000, 4_000_000), "6H"),
    ],
)
def test_a_class_that_a_hole_does_not_have_is_refused_with_those_it_has(thread: Thread, name: str) -> None:
    with pytest.raises(ThreadError) as refused:
        internal_limits(thread, name)
    assert refused.value.reason.code == "thread_class_unknown"
    assert refused.value.reason["thread_class"] == name
    assert set(refused.value.reason["known"]) == set(classes(thread.system))


@pytest.mark.parametrize(("thread", "name"), [(M14, "6H"), (HALF, "2B"), (M14, "5g"), (M14, "6g4h")])
def test_a_class_that_a_bolt_does_not_have_is_refused(thread: Thread, name: str) -> None:
    with pytest.raises(ThreadError) as refused:
        external_limits(thread, name)
    assert refused.value.reason.code == "thread_class_unknown"


def test_an_insert_hole_has_no_outside() -> None:
    hole = insert_hole(M14)
    assert classes(hole, internal=False) == ()
    for ask in (
        lambda: external_limits(hole, "6g"),
        lambda: external_limits(hole),
        lambda: default_class(hole, False),
    ):
        with pytest.raises(ThreadError) as refused:
            ask()
        assert refused.value.reason.code == "thread_side_missing"


def test_the_default_class_is_the_coarsest_usual_one_that_the_pitch_has() -> None:
    found = {
        typed: default_class(read(typed).thread) for typed in ("M14x1.5", "M2x0.25", "M1.6x0.2", "1/2-13", "EG M8")
    }
    assert found == {"M14x1.5": "6H", "M2x0.25": "5H", "M1.6x0.2": "4H", "1/2-13": "2B", "EG M8": "5H"}
    assert (default_class(M14, False), default_class(HALF, False)) == ("6g", "2A")


@pytest.mark.parametrize(
    ("typed", "wanted", "serve"),
    [
        ("M14x1.5", "6H", ("6H", "5H", "4H")),
        ("M14x1.5", "", ("6H", "5H", "4H")),
        ("M14x1.5", "5H", ("5H", "4H")),
        ("M14x1.5", "4H", ("4H",)),
        ("M14x1.5", "6G", ("6G",)),
        ("M14x1.5", "6g", ("6g",)),
        ("M14x1.5", "6h", ("6h", "4h")),
        ("EG M14x1.5", "5H", ("5H", "4H5H")),
        ("3/8-16", "2B", ("2B", "3B")),
        ("3/8-16", "3B", ("3B",)),
        ("3/8-16", "2A", ("2A",)),
    ],
)
def test_a_finer_class_serves_and_a_coarser_never(typed: str, wanted: str, serve: tuple[str, ...]) -> None:
    assert classes_that_serve(read(typed).thread, wanted) == serve


def test_left_hand_changes_no_size() -> None:
    assert internal_limits(M16.mirrored()) == internal_limits(M16)
    assert external_limits(HALF.mirrored()) == external_limits(HALF)


def test_unified_3b_starts_where_2b_does_and_is_never_wider() -> None:
    for thread in series("UN"):
        fine, usual = internal_limits(thread, "3B"), internal_limits(thread, "2B")
        assert fine.minor_min == usual.minor_min
        assert fine.pitch_max < usual.pitch_max


def test_system_classes_are_told_without_a_thread() -> None:
    assert classes("UN") == ("3B", "2B")
    assert classes("STI-UN", internal=False) == ()
    assert classes("Q") == ()
