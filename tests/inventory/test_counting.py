"""Stock counts: entered blind or with the book, judged line by line, posted whole or not at all."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from inventory import counting, stock
from inventory.counting import Finding, PostRefused, posting
from inventory.errors import Refused
from inventory.models import Batch, Bin, CountEntry, CountLine, Movement, StockCount, Unit
from inventory.reservations import reserve
from tests.factories import LONG_AGO, BatchFactory, BinFactory, InsertFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db

WHEN = LONG_AGO + timedelta(days=10)
WHO: Any = {"as_of": WHEN, "by": "Ida"}


def begin(*bins: Bin, blind: bool = True, **of: Any) -> StockCount:
    return counting.start(site="Main", bins=[bin.pk for bin in bins], blind=blind, **WHO, **of)


def enter(count: StockCount, bin: Bin, *findings: Finding, by: str = "Ida", **of: Any) -> list[CountEntry]:
    return counting.enter(count=count.pk, bin=bin.pk, findings=findings, by=by, as_of=WHEN, **of)


def post(count: StockCount, **of: Any) -> StockCount:
    return counting.post(count=count.pk, **{"reason": "yearly count"} | WHO | of)


def refused(code: str, act: Any, *args: Any, **of: Any) -> Refused:
    with pytest.raises(Refused) as told:
        act(*args, **of)
    assert told.value.reason.code == code
    return told.value


def states(count: StockCount) -> list[str]:
    return [each.state for each in counting.review(count).judged]


# Begin


def test_two_open_counts_never_have_the_same_bin() -> None:
    bin, other = BinFactory.create(name="B4"), BinFactory.create()
    first = begin(bin)
    told = refused("bins_being_counted", begin, bin, other)
    assert (told.reason["bins"], told.reason["count"]) == (("B4",), first.pk)
    counting.abandon(count=first.pk, reason="rain", **WHO)
    assert begin(bin, other).pk > first.pk


def test_a_count_begun_twice_by_one_press_is_one() -> None:
    bin = BinFactory.create()
    assert begin(bin, request_key="k") == begin(bin, request_key="k")
    refused("count_without_bins", begin)
    refused("count_bin_elsewhere", begin, BinFactory.create(site__name="Yard"))


# Batches


def test_posting_books_the_difference_so_that_an_issue_since_then_stands() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(8, batch=batch.pk))
    stock.issue_batch(batch=batch, quantity=3, label="J-1", **WHO)
    post(count)
    batch.refresh_from_db()
    assert batch.on_hand == 5
    line = CountLine.objects.get()
    assert (line.book, line.found, line.reason) == (10, 8, "yearly count")
    assert line.movement is not None
    assert (line.movement.act, line.movement.quantity) == ("counted", -2)
    assert stock.disagreements() == []


def test_a_difference_that_would_leave_less_than_nothing_is_counted_again_and_nothing_is_posted() -> None:
    batch, other = BatchFactory.create(quantity=10), BatchFactory.create(quantity=4)
    count = begin(batch.bin, other.bin)
    enter(count, batch.bin, Finding(2, batch=batch.pk))
    enter(count, other.bin, Finding(3, batch=other.pk))
    stock.issue_batch(batch=batch, quantity=5, label="J-1", **WHO)
    told = refused("count_below_nothing", post, count)
    assert isinstance(told, PostRefused)
    other.refresh_from_db()
    assert (other.on_hand, StockCount.objects.get().state) == (4, "open")
    line = CountLine.objects.get(batch=batch)
    counting.ask_again(count=count.pk, line=line.pk)
    enter(count, batch.bin, Finding(5, batch=batch.pk))
    post(count)
    assert Batch.objects.get(pk=batch.pk).on_hand == 5
    assert stock.disagreements() == []


def test_where_less_is_left_than_is_held_the_post_cuts_holds_short() -> None:
    batch = BatchFactory.create(quantity=10)
    reserve(label="J-1", batch_holds=[(batch.pk, 9)], **WHO)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(6, batch=batch.pk))
    (judged,) = counting.review(count).judged
    assert judged.deed is not None
    assert (judged.deed.code, judged.deed["short"]) == ("count_sets_batch", 3)
    post(count)
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held) == (6, 6)
    assert stock.disagreements() == []


def test_a_lot_that_the_book_does_not_have_is_received_with_the_reason() -> None:
    bin, item = BinFactory.create(), InsertFactory.create()
    count = begin(bin)
    enter(count, bin, Finding(7, item=item.pk, lot="L9"))
    post(count, reason="left from last year")
    batch = Batch.objects.get(lot="L9")
    assert (batch.on_hand, batch.bin) == (7, bin)
    assert batch.movements.get().reason == "left from last year"
    refused("item_is_tagged", enter, begin(bin), bin, Finding(1, item=TapFactory.create().pk))


# Units


def test_a_unit_that_is_not_found_is_lost_and_one_found_in_another_bin_is_moved() -> None:
    bin, other = BinFactory.create(), BinFactory.create()
    gone, strayed = UnitFactory.create(bin=bin, tag="T-1"), UnitFactory.create(bin=bin, tag="T-2")
    count = begin(bin, other)
    enter(count, bin, nothing_else=True)
    enter(count, other, Finding(1, tag="t-2"), nothing_else=True)
    post(count)
    gone.refresh_from_db()
    strayed.refresh_from_db()
    assert (gone.condition, strayed.condition, strayed.bin) == ("lost", "new", other)
    assert Movement.objects.filter(unit=strayed, act="moved").count() == 1
    assert stock.disagreements() == []
    # Two bins were wrong about the one that strayed: nothing is netted.
    assert counting.accuracy(WHEN, WHEN + timedelta(days=1)) == counting.Accuracy(1, 3, 0, 3)


def test_a_unit_that_the_book_has_as_lost_away_or_issued_is_back_and_a_retired_one_is_not() -> None:
    bin = BinFactory.create()
    lost, sent, issued, retired = (UnitFactory.create(tag=f"T-{n}") for n in range(4))
    stock.lose_unit(unit=lost, reason="gone", **WHO)
    stock.send_unit(unit=sent, why="regrind", **WHO)
    stock.issue_unit(unit=issued, label="J-1", **WHO)
    stock.scrap_unit(unit=retired, reason="snapped", **WHO)
    count = begin(bin)
    enter(count, bin, *(Finding(1, tag=f"T-{n}") for n in range(4)))
    deeds = [each.deed.code for each in counting.review(count).judged if each.deed]
    assert deeds == ["count_finds_lost", "count_finds_away", "count_finds_issued", "count_leaves_retired"]
    post(count)
    found = {unit.tag: (unit.condition, unit.issued_to, unit.bin == bin) for unit in Unit.objects.all()}
    assert found["T-0"] == ("new", "", True)
    assert found["T-1"] == ("due_regrind", "", True)
    assert found["T-2"] == ("new", "", True)
    assert found["T-3"] == ("retired", "", False)
    assert stock.disagreements() == []


def test_the_same_figure_counted_again_after_an_issue_was_booked_is_a_count_anew() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(8, batch=batch.pk))  # two were taken and not booked yet
    stock.issue_batch(batch=batch, quantity=2, label="J-1", **WHO)
    assert len(enter(count, batch.bin, Finding(8, batch=batch.pk))) == 1
    assert enter(count, batch.bin, Finding(8, batch=batch.pk)) == []  # nothing moved since
    assert states(count) == ["right"]
    post(count)
    batch.refresh_from_db()
    assert batch.on_hand == 8


def test_whoever_counts_again_after_it_was_decided_is_heard() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(8, batch=batch.pk), by="Ida")
    (nine,) = enter(count, batch.bin, Finding(9, batch=batch.pk), by="Ben")
    counting.decide(count=count.pk, entry=nine.pk, **WHO)
    assert states(count) == ["differs"]
    enter(count, batch.bin, Finding(8, batch=batch.pk), by="Ida")
    assert states(count) == ["disputed"]


@pytest.mark.parametrize("typed", ["L1", "l1"])
def test_a_lot_that_came_in_meanwhile_is_not_taken_in_twice(typed: str, monkeypatch: pytest.MonkeyPatch) -> None:
    bin, item = BinFactory.create(), InsertFactory.create()
    count = begin(bin)
    enter(count, bin, Finding(5, item=item.pk, lot=typed))
    seen = posting.review

    def and_then_it_comes(counted: StockCount) -> counting.Review:
        found = seen(counted)
        stock.receive_batch(item=item, bin=bin, lot="L1", quantity=5, **WHO)
        return found

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(posting, "review", and_then_it_comes)
        refused("count_known_since", post, count)
    assert not Batch.objects.exists()
    stock.receive_batch(item=item, bin=bin, lot="L1", quantity=5, **WHO)
    refused("count_known_since", post, count)
    enter(count, bin, Finding(5, item=item.pk, lot=typed))
    counting.ask_again(count=count.pk, line=CountLine.objects.get(item=item).pk)
    post(count)
    assert Batch.objects.get().on_hand == 5


def test_two_lots_that_differ_in_capitals_are_each_counted() -> None:
    bin, item = BinFactory.create(), InsertFactory.create()
    for lot in ("L1", "l1"):
        stock.receive_batch(item=item, bin=bin, lot=lot, quantity=5, **WHO)
    count = begin(bin)
    enter(count, bin, Finding(4, item=item.pk, lot="L1"), Finding(6, item=item.pk, lot="l1"))
    found = {each.lot: each.found for each in counting.review(count).judged}
    assert found == {"L1": 4, "l1": 6}


def test_a_unit_that_moved_since_it_was_seen_is_missed_where_it_should_be_now() -> None:
    unit, there = UnitFactory.create(), BinFactory.create()
    here = unit.bin
    count = begin(here, there)
    enter(count, here, Finding(1, unit=unit.pk))
    stock.move_unit(unit=unit, bin=there, **WHO)
    enter(count, there, Finding(0, unit=unit.pk))
    deeds = [each.deed.code for each in counting.review(count).judged if each.deed]
    assert deeds == ["count_loses"]
    post(count)
    unit.refresh_from_db()
    assert unit.condition == "lost"


def test_a_unit_that_was_seen_before_and_after_its_move_is_in_nobodys_way() -> None:
    unit, there = UnitFactory.create(), BinFactory.create()
    here = unit.bin
    count = begin(here, there)
    enter(count, here, Finding(1, unit=unit.pk), by="Ida")
    stock.move_unit(unit=unit, bin=there, **WHO)
    enter(count, here, Finding(0, unit=unit.pk), by="Ben")
    enter(count, there, Finding(1, unit=unit.pk), by="Ben")
    assert states(count) == ["right"]
    post(count)
    unit.refresh_from_db()
    assert (unit.bin, unit.condition) == (there, "new")


def test_a_unit_that_was_moved_since_it_was_missed_must_be_counted_again() -> None:
    unit = UnitFactory.create()
    count = begin(unit.bin)
    enter(count, unit.bin, nothing_else=True)
    stock.issue_unit(unit=unit, label="J-1", **WHO)
    refused("count_moved_since", post, count)
    stock.use_unit(unit=unit, holes=1, **WHO)
    assert states(count) == ["again"]


def test_a_tag_that_no_unit_carries_is_told_and_books_nothing() -> None:
    bin = BinFactory.create()
    count = begin(bin)
    enter(count, bin, Finding(1, tag="X-77"))
    (judged,) = counting.review(count).judged
    assert judged.deed is not None
    assert judged.deed.code == "count_cannot_take_in"
    post(count)
    assert Movement.objects.count() == 0


# Two people


def test_different_figures_of_two_people_are_both_shown_and_somebody_decides() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(8, batch=batch.pk), by="Ida")
    (bram,) = enter(count, batch.bin, Finding(9, batch=batch.pk), by="Bram")
    (judged,) = counting.review(count).judged
    assert [(voice.by, voice.found) for voice in judged.voices] == [("Ida", 8), ("Bram", 9)]
    refused("count_disputed", post, count)
    counting.decide(count=count.pk, entry=bram.pk, **WHO)
    counting.decide(count=count.pk, entry=bram.pk, **WHO)
    assert CountEntry.objects.count() == 3
    post(count)
    assert Batch.objects.get().on_hand == 9


def test_figures_that_differ_as_the_book_does_are_no_dispute() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(10, batch=batch.pk), by="Ida")
    stock.issue_batch(batch=batch, quantity=2, label="J-1", **WHO)
    enter(count, batch.bin, Finding(8, batch=batch.pk), by="Bram")
    assert states(count) == ["right"]


def test_what_was_entered_since_the_review_was_read_stops_the_post() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(8, batch=batch.pk))
    seen = counting.review(count).seen
    enter(count, batch.bin, Finding(9, batch=batch.pk))
    refused("count_went_on", post, count, seen=seen)


# Entered once, posted once


def test_a_press_that_is_repeated_enters_nothing_and_posts_nothing_anew() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(8, batch=batch.pk), request_key="one")
    enter(count, batch.bin, Finding(9, batch=batch.pk), request_key="two")
    assert enter(count, batch.bin, Finding(8, batch=batch.pk), request_key="one") == []
    post(count, request_key="p")
    post(count, request_key="p")
    assert Batch.objects.get().on_hand == 9
    refused("count_closed", post, count, request_key="q")
    refused("count_closed", enter, count, batch.bin, Finding(1, batch=batch.pk))


def test_every_line_that_differs_needs_its_reason() -> None:
    batch = BatchFactory.create(quantity=10)
    count = begin(batch.bin)
    enter(count, batch.bin, Finding(8, batch=batch.pk))
    refused("reason_missing", post, count, reason="")
    line = CountLine.objects.get()
    post(count, reason="", reasons={line.pk: "spilt"})
    line.refresh_from_db()
    assert line.reason == "spilt"


def test_an_entry_can_be_neither_changed_nor_taken_away() -> None:
    batch = BatchFactory.create()
    enter(begin(batch.bin), batch.bin, Finding(8, batch=batch.pk))
    for statement in ("UPDATE inventory_countentry SET found = 9", "DELETE FROM inventory_countentry"):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


# What is read


def test_a_blind_sheet_tells_nothing_of_the_book_even_when_the_bin_is_done() -> None:
    bin = BinFactory.create()
    UnitFactory.create(bin=bin)
    full, empty = BatchFactory.create(bin=bin, quantity=10), BatchFactory.create(bin=bin, quantity=3)
    stock.adjust_batch(batch=empty, found=0, reason="gone", **WHO)
    count = begin(bin)
    for _ in range(2):
        shown = counting.sheet(count=count, bin=bin.pk, counter="Ida", as_of=WHEN)
        assert shown.units == ()
        assert {row.batch for row in shown.batches} == {full, empty}
        assert {(row.book, row.found) for row in shown.batches} == {(None, None)}
        enter(count, bin, nothing_else=True)


@pytest.mark.parametrize("rows", [2, 20])
def test_a_sheet_and_a_review_take_the_same_queries_however_many_lines(rows: int) -> None:
    bin = BinFactory.create()
    units = [UnitFactory.create(bin=bin) for _ in range(rows)]
    batches = [BatchFactory.create(bin=bin) for _ in range(rows)]
    count = begin(bin, blind=False)
    found = [Finding(1, unit=unit.pk) for unit in units] + [Finding(9, batch=batch.pk) for batch in batches]
    enter(count, bin, *found[:-1], Finding(1, tag="X-1"))
    with CaptureQueriesContext(connection) as asked:
        shown = counting.sheet(count=count, bin=bin.pk, counter="Ida", as_of=WHEN)
    assert (len(shown.units), len(shown.batches), len(asked)) == (rows + 1, rows, 5)
    with CaptureQueriesContext(connection) as asked:
        assert len(counting.review(count).judged) == 2 * rows + 1
    assert len(asked) == 7


def test_accuracy_is_by_line_and_of_the_window_alone() -> None:
    bin = BinFactory.create()
    right, more, fewer = (BatchFactory.create(bin=bin, quantity=10) for _ in range(3))
    count = begin(bin)
    enter(count, bin, Finding(10, batch=right.pk), Finding(11, batch=more.pk), Finding(9, batch=fewer.pk))
    assert counting.accuracy(WHEN, WHEN + timedelta(days=1)).lines == 0
    post(count)
    told = counting.accuracy(WHEN, WHEN + timedelta(days=1))
    assert (told.counts, told.lines, told.right, told.pieces_off, str(told.per_cent)) == (1, 3, 1, 2, "33.3")
    assert counting.accuracy(WHEN + timedelta(days=1), WHEN + timedelta(days=2)).per_cent is None
    assert counting.closed_counts()[0][0][1] == told
