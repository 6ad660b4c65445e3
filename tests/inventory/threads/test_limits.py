from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.threads import (
    SYSTEMS,
    InternalLimits,
    Thread,
    ThreadError,
    classes,
    classes_that_serve,
    covered,
    default_class,
    external_limits,
    insert_hole,
    internal_limits,
    limits_of_class,
    read,
    series,
)
from inventory.threads.iso_965 import preferred, tolerance
from inventory.threads.limits import class_as_written

INCH = Decimal("25.4")

M14, M16, HALF = (read(text).thread for text in ("M14x1.5", "M16x1.5", "1/2-13"))
EVERY_THREAD = covered()


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
    limits = internal_limits(read("M64").thread)
    assert not limits.computed
    assert "memory" in limits.source


def test_an_insert_hole_is_computed_and_says_what_was_not_seen() -> None:
    for typed in ("EG M14x1.5", "STI 5/16-18"):
        limits = internal_limits(read(typed).thread)
        assert limits.computed
        assert "not seen" in limits.source


def assert_in_order(thread: Thread) -> None:
    """Minor below pitch below major on each side, for each class, and no bolt wider than its hole."""
    for name in classes(thread):
        hole = internal_limits(thread, name)
        assert hole.minor_min <= hole.minor_max < hole.pitch_min <= hole.pitch_max < hole.major_min, (thread, name)
    for name in classes(thread, internal=False):
        bolt = external_limits(thread, name)
        assert bolt.minor_max < bolt.pitch_min <= bolt.pitch_max < bolt.major_min <= bolt.major_max, (thread, name)
        assert bolt.pitch_max <= internal_limits(thread).pitch_min
        assert bolt.major_max <= internal_limits(thread).major_min


@pytest.mark.parametrize("system", SYSTEMS)
def test_limits_of_every_class_of_every_covered_thread_are_in_order(system: str) -> None:
    for thread in series(system):
        assert classes(thread)
        assert_in_order(thread)


@given(st.integers(16, 900), st.sampled_from(sorted({thread.pitch for thread in series("M")})))
def test_limits_of_metric_sizes_that_no_table_lists_are_in_order(tenths: int, pitch: int) -> None:
    nominal = tenths * 100_000
    assume(pitch * 4 <= nominal)
    assert_in_order(Thread("M", nominal, pitch))


@given(st.integers(60, 2000), st.integers(8, 160))
def test_limits_of_unified_sizes_that_no_table_lists_are_in_order(thousandths: int, half_threads: int) -> None:
    assume(half_threads * thousandths >= 8000)  # a pitch of a quarter of the diameter at the most
    assert_in_order(Thread("UN", thousandths * 25_400, half_threads))


@given(st.sampled_from(EVERY_THREAD), st.sampled_from("RL"))
def test_the_hand_changes_no_limit(thread: Thread, hand: str) -> None:
    turned = thread if hand == "R" else thread.mirrored()
    assert internal_limits(turned) == internal_limits(thread)


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
        ("3/8 BSF", "", ("normal", "medium", "close")),
        ("3/8 BSF", "close", ("close",)),
        ("3/8 BSF", "free", ("free", "medium", "close")),
        ("3/8 cycle", "free", ("free", "medium", "close")),
        ("2BA", "", ("normal",)),
        ("2BA", "close", ("close",)),
        ("G 1/4", "", ("internal",)),
        ("G 1/4", "B", ("B", "A")),
        ("G 1/4", "A", ("A",)),
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
    assert classes("BSW", internal=False) == ("close", "medium", "free")
    assert classes("G", internal=False) == ("A", "B")


BRITISH = ("BSW", "BSF", "BRASS", "CYCLE", "BA", "G")


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("internal", [True, False])
def test_limits_grow_with_the_diameter_at_one_pitch(system: str, internal: bool) -> None:
    """For every class each limit grows, without exception; and the flank tolerance never shrinks, with one.

    The exception is of the standard: ASME B1.1 5.8 takes one diameter of engagement for graded series and nine pitches
    for constant-pitch ones, so that 13/16-16 UN has a finer tolerance than the smaller 3/4-16 UNF.
    """
    ask = internal_limits if internal else external_limits
    for name in classes(system, internal):
        last: dict[int, tuple[Thread, list[Decimal]]] = {}
        widest: dict[tuple[int, bool], Decimal] = {}
        for thread in series(system):
            if name not in classes(thread, internal):
                continue
            limits = ask(thread, name)
            sizes = [getattr(limits, field) for field in LIMITS[internal]]
            flank = limits.pitch_max - limits.pitch_min
            if thread.pitch in last:
                smaller, its_sizes = last[thread.pitch]
                assert all(mine > its for mine, its in zip(sizes, its_sizes, strict=True)), (smaller, thread)
            engaged = thread.pitch, thread.series in ("UNC", "UNF")
            assert flank >= widest.get(engaged, 0), thread
            last[thread.pitch], widest[engaged] = (thread, sizes), flank


LIMITS = {
    True: ("major_min", "pitch_min", "pitch_max", "minor_min", "minor_max"),
    False: ("major_min", "major_max", "pitch_min", "pitch_max", "minor_max"),
}


@pytest.mark.parametrize("system", BRITISH)
def test_a_finer_british_class_lies_inside_the_coarser_one(system: str) -> None:
    for thread in series(system):
        for internal, ask in ((True, internal_limits), (False, external_limits)):
            flanks = [ask(thread, name) for name in classes(thread, internal)]
            for fine, coarse in pairwise(flanks):
                assert coarse.pitch_max - coarse.pitch_min > fine.pitch_max - fine.pitch_min


@pytest.mark.parametrize("system", BRITISH)
def test_a_british_limit_says_what_it_rests_on(system: str) -> None:
    for thread in series(system):
        for limits in (internal_limits(thread), external_limits(thread)):
            assert limits.source
            assert limits.computed is (system != "G")
    assert ("not seen" in internal_limits(series("CYCLE")[0]).source) is True


def test_close_medium_and_free_are_two_thirds_one_and_one_and_a_half_of_the_unit_tolerance() -> None:
    """BS 84: T = 0.002 D^(1/3) + 0.003 D^(1/2) + 0.005 p^(1/2) for 1 in by 8: 0.002 + 0.003 + 0.0017678 = 0.0067678."""
    one = read("1-8 BSW").thread
    found = {name: external_limits(one, name) for name in ("close", "medium", "free")}
    flanks = {name: (limits.pitch_max - limits.pitch_min) / INCH for name, limits in found.items()}
    assert flanks == {"close": Decimal("0.0045"), "medium": Decimal("0.0068"), "free": Decimal("0.0102")}
    crest = (found["medium"].major_max - found["medium"].major_min) / INCH
    assert crest == Decimal("0.0103")  # T + 0.01 p^(1/2)
    assert (
        internal_limits(one, "normal").pitch_max - internal_limits(one, "normal").pitch_min == Decimal("0.0102") * INCH
    )


@pytest.mark.parametrize(
    ("typed", "tolerance"),
    [("1/4 BSF", "0.0117"), ("5/16 BSF", "0.0141"), ("3/16 BSW", "0.0133"), ("3/8 BSF", "0.0170")],
)
def test_the_minor_tolerance_of_a_nut_steps_with_the_threads_per_inch(typed: str, tolerance: str) -> None:
    """BS 84: 0.2 p and 0.004 from 26 threads per inch up, 0.005 for 24 and 22, 0.007 from 20 down."""
    limits = internal_limits(read(typed).thread)
    assert (limits.minor_max - limits.minor_min) / INCH == Decimal(tolerance)


def test_normal_ba_bolts_have_an_allowance_down_to_10_ba_and_none_below() -> None:
    for thread in series("BA"):
        normal, close = external_limits(thread, "normal"), external_limits(thread, "close")
        allowance = close.major_max - normal.major_max
        assert allowance == close.pitch_max - normal.pitch_max == close.minor_max - normal.minor_max
        assert allowance == (Decimal("0.025") if int(thread.size) <= 10 else 0)


def test_a_pipe_thread_of_class_b_has_twice_the_flank_tolerance_and_the_same_crest() -> None:
    for thread in series("G"):
        fine, coarse = external_limits(thread, "A"), external_limits(thread, "B")
        assert coarse.pitch_max - coarse.pitch_min == 2 * (fine.pitch_max - fine.pitch_min)
        assert coarse.major_min == fine.major_min


def test_a_pipe_size_that_no_table_lists_has_no_limits() -> None:
    made_up = Thread("G", 13_000_000, 38)
    for ask in (internal_limits, external_limits):
        with pytest.raises(LookupError, match="no size"):
            ask(made_up)


@pytest.mark.parametrize(
    ("typed", "name", "internal"),
    [
        ("3/8 BSF", "medium", True),
        ("3/8 BSF", "free", False),
        ("G 1/4", "A", False),
        ("G 1/4", "internal", True),
        ("2BA", "close", False),
        ("M14x1.5", "6g", False),
        ("M14x1.5", "8g", False),
        ("M14x1.5", "8H", True),
        ("1/2-13", "2A", False),
    ],
)
def test_a_class_says_which_side_it_rules(typed: str, name: str, internal: bool) -> None:
    limits = limits_of_class(read(typed).thread, name)
    assert isinstance(limits, InternalLimits) is internal
    assert limits.thread_class == name


@pytest.mark.parametrize(
    ("typed", "name"), [("3/8 BSF", "6H"), ("3/8 BSF", "loose"), ("G 1/4", "C"), ("2BA", "medium"), ("2BA", "2A")]
)
def test_a_class_that_a_british_thread_does_not_have_is_refused(typed: str, name: str) -> None:
    for ask in (internal_limits, external_limits):
        with pytest.raises(ThreadError) as refused:
            ask(read(typed).thread, name)
        assert refused.value.reason.code == "thread_class_unknown"


def test_the_default_classes_of_the_british_systems() -> None:
    found = {
        typed: (default_class(read(typed).thread), default_class(read(typed).thread, internal=False))
        for typed in ("3/8 BSW", "3/8 BSF", "2BA", "3/8 cycle", "3/8 brass", "G 1/4")
    }
    assert found == {
        "3/8 BSW": ("normal", "medium"),
        "3/8 BSF": ("normal", "medium"),
        "2BA": ("normal", "normal"),
        "3/8 cycle": ("medium", "medium"),
        "3/8 brass": ("normal", "medium"),
        "G 1/4": ("internal", "A"),
    }


def test_a_printed_tolerance_that_departs_from_the_formula_is_taken_and_said() -> None:
    # 5/8-11 UNC 2A: 0.3 of the tolerance is 0.00165 in, printed as 0.0016 (a public copy of the table of ASME B1.1)
    limits = external_limits(read("5/8-11 UNC").thread, "2A")
    assert limits.major_max / INCH == Decimal("0.6234")
    assert limits.source.endswith("a value as the table prints it")
    assert external_limits(read("5/8-11 UNC-LH").thread, "2A") == limits
    # #6-32 UNC 3B and 1 1/8-7 UNC 2A, from memory of the same table
    assert internal_limits(read("#6-32").thread, "3B").pitch_max / INCH == Decimal("0.1204")
    assert "from memory" in internal_limits(read("#6-32").thread, "3B").source
    assert external_limits(read("1 1/8-7 UNC").thread, "2A").pitch_min / INCH == Decimal("1.0228")


def test_a_class_is_written_as_its_standard_does() -> None:
    assert class_as_written(HALF, "2b") == "2B"
    assert class_as_written(read("G 1/4").thread, "a") == "A"
    assert class_as_written(read("3/8 BSF").thread, "CLOSE") == "close"
    assert class_as_written(M14, "5h") == "5h"  # of a bolt, and no slip for 5H
    assert class_as_written(M14, "9Z") == class_as_written(HALF, "9Z") == "9Z"


@pytest.mark.parametrize(
    ("quantity", "pitch", "size", "rule", "printed"),
    [
        ("TD1", "0.5", "0", 132, 140),
        ("TD1", "1", "0", 224, 236),
        ("TD1", "2.5", "0", 425, 450),
        ("es_g", "0.75", "0", 24, 22),
        ("Td2", "0.5", "4", 80, 75),
        ("TD2", "0.5", "4", 106, 100),
        ("TD2", "1.5", "8", 170, 180),
        ("TD2", "1.25", "14", 170, 180),
        ("TD2", "1.5", "14", 180, 190),
    ],
)
def test_the_table_goes_before_the_formula_in_all_nine_places_where_they_part(
    quantity: str, pitch: str, size: str, rule: int, printed: int
) -> None:
    """ISO 965-1 at grade 6, micrometres: what the formula with R40 rounding gives, and what the tables print."""
    found = tolerance(quantity, Decimal(pitch), "" if quantity == "es_g" else "6", Decimal(size))
    assert found is not None
    assert (found.um, found.how) == (printed, "read")
    assert preferred(Decimal(rule)) == rule != printed
