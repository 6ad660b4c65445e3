import pickle
from decimal import Decimal

import pytest

from inventory.threads import SYSTEMS, Thread, ThreadError, read, series
from inventory.threads.thread import plain

EVERY_THREAD = [thread for system in SYSTEMS for thread in series(system)]


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
        ("1/2-16", "1/2-16 UN"),
        ("11/16-11", "11/16-11 UNS"),
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
    assert {thread.published.how for thread in EVERY_THREAD if thread.published} == {"read", "memory"}
    assert all(thread.published for thread in EVERY_THREAD)
    assert len(EVERY_THREAD) == len(set(EVERY_THREAD))


def test_a_series_is_sorted_by_size_and_right_handed() -> None:
    for system in SYSTEMS:
        sizes = [thread.nominal for thread in series(system)]
        assert sizes == sorted(sizes)
        assert not any(thread.left for thread in series(system))
