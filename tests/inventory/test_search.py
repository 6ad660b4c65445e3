"""What is found for a text: matches by key, look-alikes beside them, names as they stand, and nothing left unsaid."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import search, stock
from inventory.models import Unit
from inventory.reservations import reserve
from inventory.wording import say
from tests.factories import (
    BatchFactory,
    BinFactory,
    InsertFactory,
    ItemFactory,
    PersonFactory,
    SiteFactory,
    TapFactory,
    UnitFactory,
)

pytestmark = pytest.mark.django_db


def tags(found: search.Found) -> list[str]:
    return [line.thing.tag for of in found.items for line in of.lines]


def codes(found: search.Found) -> list[str]:
    return [note.code for note in found.notes]


def test_taps_of_a_thread_are_found_by_its_key_and_look_alikes_are_told_beside_them(as_of: datetime) -> None:
    UnitFactory(tag="T-14", item=TapFactory(thread="M14x1.5"))
    UnitFactory(tag="T-14F", item=TapFactory(thread="M14x1.25"))
    UnitFactory(tag="T-916", item=TapFactory(thread="9/16-18", thread_class="2B"))
    UnitFactory(tag="G-14", item=ItemFactory(kind="final_gauge", thread="M14x1.5", thread_class="6H"))
    for typed in ("M14x1.5 tap", "tap m14 x 1,5"):
        found = search.find(typed, as_of=as_of)
        assert tags(found) == ["T-14"]
        assert found.understood is not None
        assert say(found.understood) == "taps for M14x1.5"
        assert [alike.thread.designation for alike, _ in found.look_alikes] == ["9/16-18 UNF", "M14x1.25"]
        assert found.look_alikes[0][1] == "tap 9/16-18 UNF"
    assert sorted(tags(search.find("M14x1.5", as_of=as_of))) == ["G-14", "T-14"]


def test_where_a_pitch_was_filled_in_and_nothing_of_it_stands_there_the_other_pitches_are_told(as_of: datetime) -> None:
    UnitFactory(tag="T-15", item=TapFactory(thread="M14x1.5"))
    UnitFactory(tag="T-125", item=TapFactory(thread="M14x1.25", thread_class="6G"))
    UnitFactory(tag="G-1", item=ItemFactory(kind="final_gauge", thread="M14x1", thread_class="6H"))
    TapFactory(thread="M14x1")  # in the catalogue alone
    for item in (TapFactory(thread="M16x1.5"), TapFactory(thread="M14x1.5 LH")):
        UnitFactory(item=item)
    found = search.find("Tap M14", as_of=as_of)
    assert found.items == ()  # never mixed among what was asked
    assert [(thread.designation, typed) for thread, typed in found.other_pitches] == [
        ("M14x1.5", "tap M14x1.5"), ("M14x1.25", "tap M14x1.25"),
    ]  # fmt: skip
    assert not {thread for thread, _ in found.other_pitches} & {alike.thread for alike, _ in found.look_alikes}
    assert [typed for _, typed in search.find("tap M14 6H", as_of=as_of).other_pitches] == ["tap M14x1.5 6H"]
    assert tags(search.find(found.other_pitches[0][1], as_of=as_of)) == ["T-15"]
    assert search.find("tap M14x2", as_of=as_of).other_pitches == ()  # its pitch was written
    TapFactory(thread="M14x2")
    assert len(search.find("tap M14", as_of=as_of).other_pitches) == 2  # known, and none of it there
    UnitFactory(item=TapFactory(thread="M14x2"))
    assert search.find("tap M14", as_of=as_of).other_pitches == ()


def test_drills_are_found_in_a_closed_range(as_of: datetime) -> None:
    for mm in (14_300, 14_400, 14_500, 14_700, 14_701):
        UnitFactory(tag=f"D-{mm}", item=ItemFactory(diameter=mm * 1_000))
    assert tags(search.find("drill 14.4-14.7", as_of=as_of)) == ["D-14400", "D-14500", "D-14700"]
    assert tags(search.find("drill 14.7-14.4", as_of=as_of)) == ["D-14400", "D-14500", "D-14700"]  # turned round
    assert tags(search.find("14.5 drill", as_of=as_of)) == ["D-14500"]
    assert tags(search.find("drill M16x1.5", as_of=as_of)) == ["D-14400", "D-14500"]


def reground(unit: Unit, diameter: int, as_of: datetime) -> Unit:
    """The unit after it came back from regrind with this diameter (nm)."""
    entry: Any = {"as_of": as_of, "by": "Ida"}
    stock.send_unit(unit=unit, why="regrind", **entry)
    unit.refresh_from_db()
    stock.return_unit(unit=unit, diameter=diameter, **entry)
    unit.refresh_from_db()
    return unit


def test_a_unit_is_found_by_what_it_cuts_since_it_was_reground_and_nothing_else_of_its_item_is(as_of: datetime) -> None:
    item = ItemFactory(diameter=14_500_000)
    UnitFactory(tag="D-1", item=item)
    reground(UnitFactory(tag="D-2", item=item, bin=BinFactory(name="B9")), 14_400_000, as_of)
    found = search.find("drill 14.4", as_of=as_of)
    assert tags(found) == ["D-2"]
    assert found.items[0].lines[0].reground_to == 14_400_000
    assert tags(search.find("drill 14.4 in B9", as_of=as_of)) == ["D-2"]
    assert tags(search.find("drill 14.3-14.45", as_of=as_of)) == ["D-2"]
    assert search.everything("drill 14.4", as_of=as_of, most=9) == (Unit.objects.get(tag="D-2"),)
    whole = search.find("drill 14.5", as_of=as_of)
    assert [(line.thing.tag, line.reground_to) for of in whole.items for line in of.lines] == [
        ("D-1", None), ("D-2", 14_400_000),
    ]  # fmt: skip
    assert search.find("drill 14.45", as_of=as_of).items == ()


def test_a_list_by_size_holds_what_was_reground_to_it_and_what_is_lost_is_left_out(as_of: datetime) -> None:
    item = ItemFactory(diameter=14_500_000, life=4)
    first, second = (reground(UnitFactory(tag=f"D-{at}", item=item), 14_400_000, as_of) for at in (1, 2))
    UnitFactory(tag="D-3", item=item, holes_cut=4)
    stock.use_unit(unit=first, holes=4, as_of=as_of, by="Ida")
    due = search.find("drill 14.4 due for regrind", as_of=as_of)
    assert [str(line.thing) for line in due.lines] == ["D-1"]
    for unit in (first, second):
        unit.refresh_from_db()
        stock.lose_unit(unit=unit, as_of=as_of, by="Ida", reason="not in its bin")
    assert search.find("drill 14.4", as_of=as_of).items == ()


def test_pages_of_a_size_go_on_past_what_has_no_diameter_of_its_own(as_of: datetime) -> None:
    for at in range(search.PAGE):
        UnitFactory(tag=f"T-{at}", item=TapFactory(thread="M16x1.5", lead=at + 10))
    UnitFactory(tag="D-1", item=ItemFactory(diameter=14_500_000))
    UnitFactory(tag="T-Z", item=TapFactory(thread="M16x1.5", lead=99))
    first = search.find("drill tap M16x1.5", as_of=as_of)
    rest = search.find("drill tap M16x1.5", as_of=as_of, after=first.after)
    assert len(tags(first)) == search.PAGE
    assert len({*tags(first), *tags(rest)}) == search.PAGE + 2


def test_an_insert_is_found_by_both_threads_or_by_either(as_of: datetime) -> None:
    BatchFactory(lot="B-1", item=InsertFactory())
    BatchFactory(lot="B-2", item=InsertFactory(inner="M12x1.25", family="own-flanged/2"))
    both = search.find("insert M14x1.5 in M16x1.5", as_of=as_of)
    assert [line.thing.lot for of in both.items for line in of.lines] == ["B-1"]
    for typed, count in (("insert M14x1.5", 1), ("insert M16x1.5", 2), ("insert M14x1.5 in M18x1.5", 0)):
        assert len(search.find(typed, as_of=as_of).items) == count


@pytest.mark.parametrize("typed", ["T-16", "t-16", "tag T-16", "unit t-16"])
def test_a_tag_is_found_as_it_stands_whatever_its_capitals(typed: str, as_of: datetime) -> None:
    UnitFactory(tag="T-16", item=TapFactory())
    found = search.find(typed, as_of=as_of)
    assert [line.thing.tag for line in found.exact] == ["T-16"]
    assert (found.notes, found.understood) == ((), None)


def test_a_lost_unit_is_found_by_its_tag_and_left_out_of_all_else(as_of: datetime) -> None:
    unit = UnitFactory(tag="T-16", item=TapFactory())
    stock.lose_unit(unit=unit, as_of=as_of, by="Ida", reason="not in its bin")
    assert [line.state for line in search.find("T-16", as_of=as_of).exact] == ["lost"]
    assert tags(search.find("tap M16x1.5", as_of=as_of)) == []


def test_a_bin_a_lot_and_an_item_number_are_found_as_they_stand(as_of: datetime) -> None:
    bin = BinFactory(name="G1")  # which is a pipe thread, too
    UnitFactory(tag="T-16", item=TapFactory(number="TP-16", name="hand tap"), bin=bin)
    BatchFactory(lot="W4105")
    found = search.find("g1", as_of=as_of)
    assert [each.name for each in found.bins] == ["G1"]
    assert [line.thing.tag for line in found.lines] == ["T-16"]
    assert [line.thing.lot for line in search.find("w4105", as_of=as_of).exact] == ["W4105"]
    assert tags(search.find("tp-16", as_of=as_of)) == ["T-16"]
    assert codes(search.find("bin G9", as_of=as_of)) == ["nothing_of_this_name"]
    assert codes(search.find("tag G9", as_of=as_of)) == ["tag_unknown"]


def test_words_of_a_name_narrow_what_is_found(as_of: datetime) -> None:
    UnitFactory(tag="T-1", item=TapFactory(name="bottoming tap"))
    UnitFactory(tag="T-2", item=TapFactory(name="hand tap", lead=50))
    assert tags(search.find("bottoming M16x1.5 tap", as_of=as_of)) == ["T-1"]
    assert tags(search.find("hand", as_of=as_of)) == ["T-2"]


def test_a_word_that_means_nothing_is_named_and_the_rest_is_answered(as_of: datetime) -> None:
    UnitFactory(tag="T-16", item=TapFactory(name="hand tap"))
    found = search.find("zork M16x1.5 tap", as_of=as_of)
    assert tags(found) == ["T-16"]
    assert codes(found) == ["word_not_understood"]
    assert "“zork” is not understood" in say(found.notes[0])
    assert found.understood is not None
    assert "zork" not in say(found.understood)
    alone = search.find("zork", as_of=as_of)
    assert (codes(alone), alone.understood, alone.anything) == (["word_not_understood"], None, False)
    assert "M14x1.5 tap" in say(alone.notes[0]), "it says what would do"


def test_a_word_is_proposed_that_is_spelt_alike_or_a_tag_that_begins_so(as_of: datetime) -> None:
    UnitFactory(tag="T-16", item=TapFactory())
    assert search.find("gaugse", as_of=as_of).candidates[0] in ("gauges", "gauge")
    assert search.find("T-1", as_of=as_of).candidates == ("T-16",)


def test_an_ambiguous_thread_asks_with_candidates(as_of: datetime) -> None:
    UnitFactory(tag="T-16", item=TapFactory(thread="M14x1.5"))
    found = search.find("tap 14", as_of=as_of)
    assert codes(found) == ["thread_ambiguous"]
    assert "tap M14x1.5" in found.candidates
    assert not found.anything


def test_a_bin_or_site_narrows_and_an_unknown_one_is_told(as_of: datetime) -> None:
    yard = BinFactory(site=SiteFactory(name="Yard"), name="Y1")
    item = TapFactory()
    UnitFactory(tag="T-1", item=item, bin=yard)
    UnitFactory(tag="T-2", item=item, bin=BinFactory(name="B4"))
    assert tags(search.find("taps at Yard", as_of=as_of)) == ["T-1"]
    assert tags(search.find("taps in b4", as_of=as_of)) == ["T-2"]
    found = search.find("taps in B9", as_of=as_of)
    assert (codes(found), tags(found)) == (["place_unknown"], ["T-1", "T-2"])


def test_the_lists_hold_what_is_away_due_and_expired_the_most_urgent_first(as_of: datetime) -> None:
    today = as_of.date()
    late, soon, open_ended = (UnitFactory(tag=tag, item=TapFactory()) for tag in ("T-1", "T-2", "T-3"))
    for unit, until in ((open_ended, None), (soon, today + timedelta(3)), (late, today - timedelta(3))):
        stock.lend_unit(unit=unit, to=PersonFactory(), until=until, as_of=as_of, by="Ida")
    UnitFactory(tag="T-4", item=TapFactory(life=4), holes_cut=4)
    gauge = ItemFactory(kind="final_gauge", thread="M16x1.5", thread_class="6H")
    for tag, days in (("G-1", 29), ("G-2", -5), ("G-3", 400)):
        UnitFactory(tag=tag, item=gauge, calibration_due=today + timedelta(days))
    oil = ItemFactory(kind="oil")
    BatchFactory(lot="O-1", item=oil, expires=today - timedelta(1))
    BatchFactory(lot="O-2", item=oil, expires=today)
    lists = search.overview(as_of=as_of)
    assert {state: [str(line.thing) for line in page.lines] for state, page in lists.items()} == {
        "away": ["T-1", "T-2", "T-3"],
        "due_calibration": ["G-2", "G-1"],
        "due_regrind": ["T-4"],
        "expired": ["O-1"],
    }
    assert [line.overdue for line in lists["away"].lines] == [True, False, False]
    assert [line.state for line in lists["due_calibration"].lines] == ["calibration_over", "at_hand"]
    assert [line.thing.tag for line in search.find("taps on loan", as_of=as_of).lines] == ["T-1", "T-2", "T-3"]
    assert search.find("drills away", as_of=as_of).lines == ()


def test_a_line_says_who_holds_it_and_what_life_is_left(as_of: datetime) -> None:
    unit = UnitFactory(tag="T-16", item=TapFactory(life=40), holes_cut=5)
    batch = BatchFactory(lot="B-1", quantity=10)
    day = timedelta(days=1)
    for number in (2, 1):
        reserve(
            label=f"J-{number}",
            link=f"/jobs/J-{number}/",
            unit_holds=[(unit.pk, as_of + number * day, as_of + (number + 1) * day, 4)],
            batch_holds=[(batch.pk, 3)],
            by="Ida",
            as_of=as_of,
        )
    batch.refresh_from_db()
    units, batches = [unit], [batch]
    tap, inserts = search.shelved(units, batches, as_of=as_of)
    assert (tap.state, tap.life_left, tap.promised) == ("at_hand", 27, 8)
    assert tap.held is not None
    assert (tap.held.label, tap.held.link) == ("J-1", "/jobs/J-1/")
    assert search.shelved(units, [], as_of=as_of + day)[0].state == "held"
    assert search.shelved(units, [], as_of=as_of + 4 * day)[0].held is None
    assert (inserts.state, inserts.free) == ("at_hand", 4)


def _pages(typed: str, as_of: datetime) -> list[search.Found]:
    pages = [search.find(typed, as_of=as_of)]
    while pages[-1].after:
        assert len(pages) < 20
        pages.append(search.find(typed, as_of=as_of, after=pages[-1].after))
    return pages


def test_turning_pages_shows_every_item_once(as_of: datetime) -> None:
    for number in range(45):
        UnitFactory(tag=f"D-{number:02}", item=ItemFactory(diameter=14_000_000 + (number % 3) * 1_000))
    for typed in ("drill 13-15", "drills", "14 mm to 14.5 mm"):
        pages = _pages(typed, as_of)
        shown = [tag for page in pages for tag in tags(page)]
        assert len(shown) == len(set(shown)) == 45
        assert [len(page.items) for page in pages] == [20, 20, 5]


def test_turning_the_pages_of_a_list_a_bin_and_an_item_shows_every_line_once(as_of: datetime) -> None:
    item, bin = TapFactory(life=1), BinFactory(name="B4")
    for number in range(45):
        UnitFactory(tag=f"T-{number:02}", item=item, bin=bin, holes_cut=1)
    lists = [line.thing.tag for page in _pages("due for regrind", as_of) for line in page.lines]
    assert sorted(lists) == sorted(Unit.objects.values_list("tag", flat=True))
    for read, of in ((search.of_item, item), (search.of_bin, bin)):
        after, shown = "", []
        while True:
            page = read(of, after=after, as_of=as_of)  # type: ignore[operator]
            shown += [line.thing.tag for line in page.lines]
            after = page.after
            if not after:
                break
        assert sorted(shown) == sorted(lists)


@pytest.mark.parametrize(
    "after", ["x", "drill~x", "zork~1", "tap~99999999999999999999", "u", "~~", "2026-01-01_x", "2026-99-99_1"]
)
def test_a_page_mark_that_nobody_gave_is_the_first_page(after: str, as_of: datetime) -> None:
    UnitFactory(tag="T-16", item=TapFactory())
    assert tags(search.find("taps", as_of=as_of, after=after)) == ["T-16"]
    assert search.find("away", as_of=as_of, after=after).lines == ()


def test_of_an_item_with_many_units_a_few_are_shown_and_that_there_are_more_is_told(as_of: datetime) -> None:
    item = TapFactory()
    for number in range(20):
        UnitFactory(tag=f"T-{number:02}", item=item)
    (of,) = search.find("taps", as_of=as_of).items
    assert (len(of.lines), of.more) == (search.LINES, True)


@pytest.mark.parametrize(
    ("typed", "queries"),
    [
        ("M16x1.5 tap", 9),  # tag, lot, bin, number; items, units, batches, holds; keys of look-alikes
        ("M16 tap", 7),  # no item, so nothing of one; the other pitches that stand there
        ("drill 14-15", 8),
        ("T-0000", 5),  # tag with its holds, lot, bin, number; words are no matter
        ("zork M16x1.5 tap", 11),  # which words are in no name, tags that begin so
        ("due for regrind", 6),
        ("B4", 7),
    ],
)
def test_finding_takes_as_many_queries_for_two_as_for_twenty(typed: str, queries: int, as_of: datetime) -> None:
    bin, counts = BinFactory(name="B4"), []
    for number in range(20):
        UnitFactory(tag=f"T-{number:04}", item=TapFactory(life=40 + number), bin=bin)
        UnitFactory(tag=f"R-{number}", item=ItemFactory(life=1, diameter=14_000_000 + number), holes_cut=1, bin=bin)
        if number + 1 in (2, 20):
            with CaptureQueriesContext(connection) as caught:
                search.find(typed, as_of=as_of)
            counts.append(len(caught))
    assert counts == [queries, 6 if typed == "B4" else queries]  # where units fill the page, no batch is asked for


def test_the_overview_takes_as_many_queries_for_two_as_for_twenty(as_of: datetime) -> None:
    counts = []
    for number in range(20):
        unit = UnitFactory(tag=f"T-{number}", item=TapFactory())
        stock.lend_unit(unit=unit, to=PersonFactory(), until=None, as_of=as_of, by="Ida")
        UnitFactory(tag=f"R-{number}", item=ItemFactory(life=1), holes_cut=1)
        if number + 1 in (2, 20):
            with CaptureQueriesContext(connection) as caught:
                search.overview(as_of=as_of)
            counts.append(len(caught))
    assert counts == [6, 6]  # four lists, holds of the two that have lines


@pytest.mark.only_on("sqlite")  # whose words the plan of a query is told in
@pytest.mark.parametrize(
    "typed", ["M16x1.5 tap", "T-0001", "W-1", "drill 14-15", "away", "due for calibration", "expired"]
)
def test_no_query_walks_all_units_batches_or_bins(typed: str, as_of: datetime) -> None:
    UnitFactory(tag="T-0001", item=TapFactory())
    BatchFactory(lot="W-1")
    with CaptureQueriesContext(connection) as caught:
        search.find(typed, as_of=as_of)
    for query in caught.captured_queries:
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN QUERY PLAN {query['sql']}")
            steps = [row[3] for row in cursor.fetchall()]
        walked = [step.removeprefix("SCAN ") for step in steps if step.startswith("SCAN ")]
        whole = [table for table in walked if re.match(r"inventory_(unit|batch|bin|movement)", table)]
        assert whole == [], (query["sql"], steps)
