import pickle
from decimal import Decimal

import pytest

from inventory.threads import SYSTEMS, Thread, ThreadError, covered, read, series, uses
from inventory.threads.thread import plain

EVERY_THREAD = covered()


def test_a_key_says_the_whole_thread_and_is_read_back() -> None:
    assert Thread("M", 14_000_000, 1_500_000).key == "M|14000000|1500000nm|R"
    assert Thread("UN", 14_287_500, 36, "L").key == "UN|14287500|36h|L"
    for thread in EVERY_THREAD:
        for hand in (thread, thread.mirrored()):
            assert Thread.from_key(hand.key) == hand


@pytest.mark.parametrize(
    "key",
    [
        "",
        "M",
        "M|14000000|1500000|R",
        "M|14000000|36h|R",
        "UN|14287500|36nm|R",
        "Q|1|1nm|R",
        "M|0|1nm|R",
        "M|1|0nm|R",
        "BA|4800000|810000nm|R",
        "G|13000000|38h|R",
    ],
)
def test_a_spoilt_key_is_refused_by_name(key: str) -> None:
    with pytest.raises(ThreadError) as refused:
        Thread.from_key(key)
    assert refused.value.reason.code == "thread_key_unreadable"
    assert refused.value.reason["key"] == key


@pytest.mark.parametrize(
    ("typed", "designation"),
    [
        ("M14x1.5", "M14x1.5"),
        ("M10", "M10x1.5"),
        ("M14x1.5 LH", "M14x1.5-LH"),
        ("9/16-18", "9/16-18 UNF"),
        ("#10-32", "#10-32 UNF"),
        ("1/2-16 UN", "1/2-16 UN"),
        ("11/16-11 UNS", "11/16-11 UNS"),
        ("3/8 whit", "3/8-16 BSW"),
        ("3/8 BSF LH", "3/8-20 BSF-LH"),
        ("2BA", "2 BA"),
        ("1/4 cycle", "1/4-26 cycle"),
        ("1/4 brass", "1/4-26 brass"),
        ("G1/4", "G 1/4"),
        ("1 1/8-7", "1 1/8-7 UNC"),
        ("2-4 1/2", "2-4.5 UNC"),
        ("EG M14x1.5", "EG M14x1.5"),
        ("STI 5/16-18", "STI 5/16-18"),
    ],
)
def test_a_thread_is_printed_as_the_trade_prints_it(typed: str, designation: str) -> None:
    assert read(typed).thread.designation == designation


def test_a_thread_that_no_table_lists_still_has_a_designation() -> None:
    assert Thread("M", 14_000_000, 1_750_000).designation == "M14x1.75"
    assert Thread("UN", 7_540_625, 72).designation == "0.296875-36 UNS"
    assert Thread("UN", 7_540_625, 72).published is None
    assert Thread("UN", 7_540_625, 72).series == ""


def test_threads_are_values_that_sort_hash_and_travel() -> None:
    small, large = Thread("M", 8_000_000, 1_000_000), Thread("M", 14_000_000, 1_500_000)
    assert sorted([large, small]) == [small, large]
    assert {small, Thread("M", 8_000_000, 1_000_000)} == {small}
    assert pickle.loads(pickle.dumps(large)) == large


def test_an_insert_hole_carries_the_bolts_size_and_its_own_major_diameter() -> None:
    hole = Thread("EG-M", 14_000_000, 1_500_000)
    assert plain(hole.nominal_mm) == "14"
    assert round(hole.major_mm, 3) == Decimal("15.949")


def test_the_published_sizes_say_how_each_is_known() -> None:
    assert {thread.published.how for thread in EVERY_THREAD if thread.published} == {"read", "memory", "library"}
    assert all(thread.published for thread in EVERY_THREAD)
    assert len(EVERY_THREAD) == len(set(EVERY_THREAD))


def test_a_series_is_sorted_by_size_and_right_handed() -> None:
    for system in SYSTEMS:
        sizes = [thread.nominal for thread in series(system)]
        assert sizes == sorted(sizes)
        assert not any(thread.left for thread in series(system))


def test_every_covered_thread_is_there_in_both_hands_and_once() -> None:
    assert {thread.system for thread in covered()} == set(SYSTEMS)
    assert [thread.mirrored() for thread in covered()] == list(covered("L"))


def test_no_two_threads_are_printed_alike() -> None:
    printed = [thread.designation for thread in (*covered(), *covered("L"))]
    assert len(printed) == len(set(printed))


def test_a_size_that_is_a_name_carries_its_diameter_all_the_same() -> None:
    assert (read("2BA").thread.nominal_mm, read("G1/4").thread.nominal_mm) == (Decimal("4.7"), Decimal("13.157"))
    assert (read("G1/4").thread.tpi, read("2BA").thread.tpi) == (Decimal(19), None)


def test_spark_plug_sizes_are_known_for_their_use() -> None:
    plugs = [thread.designation for thread in covered() if uses(thread) == ("spark_plug",)]
    assert plugs == ["M8x1", "M10x1", "M12x1.25", "M14x1.25", "M18x1.5"]


def test_brass_is_of_one_pitch_and_cycle_of_two_for_bolts() -> None:
    assert {thread.tpi for thread in series("BRASS")} == {26}
    assert {thread.tpi for thread in series("CYCLE") if thread.series != "small"} == {26, 20}
