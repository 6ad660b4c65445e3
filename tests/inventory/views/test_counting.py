"""The pages of stock counts: begun, entered bin by bin, looked at and posted; blind, nothing of the book is told."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import counting, stock
from inventory.counting import Finding
from inventory.models import Batch, Bin, CountEntry, CountLine, Movement, StockCount, Unit
from inventory.roles import give_role
from tests.factories import BatchFactory, BinFactory, InsertFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db


def client_as(role: str, name: str = "") -> Client:
    user = User.objects.create_user(name or f"a {role}")
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def fitter() -> Client:
    return client_as("fitter")


@pytest.fixture
def keeper() -> Client:
    return client_as("storekeeper")


@pytest.fixture
def bin() -> Bin:
    """A bin with 4711 of a lot, which no page has for anything else, and a tap."""
    bin = BinFactory.create(name="B4", walk=1)
    BatchFactory.create(bin=bin, lot="L-9", quantity=4711)
    UnitFactory.create(bin=bin, tag="T-16", item=TapFactory.create())
    return bin


def flat(answer: Any) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def begin(*bins: Bin, blind: bool = True) -> StockCount:
    return counting.start(
        site="Main", bins=[bin.pk for bin in bins], blind=blind, by="Ida", as_of=timezone.now()
    )  # fmt: skip


def send(client: Client, count: StockCount, bin: Bin, **of: Any) -> Any:
    return client.post(reverse("count-enter", args=[count.pk, bin.pk]), of)


def batch_field() -> str:
    return f"batch-{Batch.objects.get(lot='L-9').pk}"


def test_a_count_begins_with_ticked_bins_or_all_and_one_press_sent_twice_is_one(fitter: Client, bin: Bin) -> None:
    other = BinFactory.create(name="B5", walk=2)
    shown = flat(fitter.get(reverse("counts"), {"bin": other.pk}))
    assert f'name="bin" value="{other.pk}" checked' in shown
    assert f'name="bin" value="{bin.pk}">' in shown
    sent = {"site": "Main", "blind": "blind", "request_key": "k", "all": "1"}
    for _ in range(2):
        answer = fitter.post(reverse("count-start"), sent)
        count = StockCount.objects.get()
        assert answer.headers["Location"] == reverse("count-sheet", args=[count.pk, bin.pk])
    assert (count.by, count.blind, count.bins.count()) == ("a fitter", True, 2)
    nothing = fitter.post(reverse("count-start"), {"site": "Main", "blind": "book", "request_key": "n"})
    assert nothing.status_code == 409
    assert "Choose at least one bin to count." in flat(nothing)
    held = fitter.post(reverse("count-start"), {"site": "Main", "blind": "book", "bin": [bin.pk], "request_key": "m"})
    assert f"Being counted already: B4 (count {count.pk}, begun by a fitter)" in flat(held)
    assert '<option value="book" selected>' in flat(held)


def test_a_blind_count_shows_the_book_to_no_counter_before_it_is_posted(
    fitter: Client, keeper: Client, bin: Bin
) -> None:
    count, field = begin(bin), batch_field()
    sheet, page = reverse("count-sheet", args=[count.pk, bin.pk]), reverse("count", args=[count.pk])
    answers = [fitter.get(sheet), fitter.get(page), fitter.get(reverse("counts"))]
    answers.append(send(fitter, count, bin, tags="x" * 50, **{field: "-3"}))
    answers.append(send(fitter, count, bin, later="1", **{field: "4700"}))
    answers += [fitter.get(sheet), fitter.get(page)]
    answers.append(send(fitter, count, bin, **{field: "4700"}))  # done: the tap is left out
    answers += [fitter.get(sheet), fitter.get(page), fitter.get(reverse("counts"))]
    for answer in answers:
        assert "4711" not in flat(answer)
        assert "T-16" not in flat(answer)
    refused = fitter.get(reverse("count-review", args=[count.pk]))
    assert refused.status_code == 403
    assert "4711" not in flat(refused)
    review = flat(keeper.get(reverse("count-review", args=[count.pk])))
    assert "4711" in review
    assert "T-16" in review
    counting.post(count=count.pk, by="Bram", as_of=timezone.now(), reason="yearly")
    posted = flat(fitter.get(page))
    assert '<td class="number" data-head="Book">4711</td>' in posted
    assert '<td class="number" data-head="Difference">−11</td>' in posted


def test_a_count_with_the_book_shows_each_figure_and_unit_to_tick(fitter: Client, bin: Bin) -> None:
    count = begin(bin, blind=False)
    shown = flat(fitter.get(reverse("count-sheet", args=[count.pk, bin.pk])))
    assert "book 4711" in shown
    tap = Unit.objects.get()
    send(fitter, count, bin, **{batch_field(): "4711", f"unit-{tap.pk}": "on"})
    assert {each.state for each in counting.review(count).judged} == {"right"}
    send(fitter, count, bin, **{batch_field(): "4711"})  # unticked: it was a mistake
    assert [each.found for each in counting.review(count).of("differs")] == [0]


def test_what_is_wrong_stands_at_its_field_and_nothing_typed_is_lost(fitter: Client, bin: Bin) -> None:
    count, tap = begin(bin), TapFactory.create(number="TP-1")
    answer = send(
        fitter, count, bin, tags="T-16\n~b7", **{"item-1": "nowhere", "lot-1": "L8", "found-1": "3", "item-2": "TP-1"}
    )
    shown = flat(answer)
    assert answer.status_code == 400
    assert "How many of it are there? Write 0 for none." in shown
    assert "“~b7” is the label of a lot or a bin" in shown
    assert "nowhere" in shown
    assert 'value="L8"' in shown
    assert "T-16 ~b7</textarea>" in shown
    assert "<details open><summary>Lots that are not listed" in shown
    units = send(fitter, count, bin, later="1", **{"item-1": "TP-1", "found-1": "1"})
    assert f"{tap}: such things carry a tag each" in flat(units)
    assert not CountEntry.objects.exists()


def test_a_scanned_address_a_label_number_a_tag_and_a_new_lot_are_entered(fitter: Client, bin: Bin) -> None:
    count, tap, item = begin(bin), Unit.objects.get(), InsertFactory.create(number="8001")
    other = UnitFactory.create(tag="T-17")
    answer = send(
        fitter, count, bin, later="1", tags=f"https://crib.example/tag/T-16\r\n~u{other.pk}\r\n\r\nX-1",
        **{"item-1": "8001", "lot-1": "L8", "found-1": "3"},
    )  # fmt: skip
    assert answer.status_code == 302
    found = {(line.unit_id, line.item_id, line.lot, line.called) for line in CountLine.objects.all()}
    assert found == {
        (tap.pk, None, "", None), (other.pk, None, "", None), (None, item.pk, "L8", None), (None, None, "", "X-1"),
    }  # fmt: skip
    shown = flat(fitter.get(reverse("count-sheet", args=[count.pk, bin.pk])))
    assert shown.count(" checked") == 3  # and what this person entered is there when they come back
    assert "no unit carries this tag" in shown


def test_an_interrupted_count_goes_on_at_the_first_bin_that_is_not_done(fitter: Client, bin: Bin) -> None:
    second, third = BinFactory.create(name="B5", walk=2), BinFactory.create(name="B6", walk=3)
    count = begin(bin, second, third)
    answer = send(fitter, count, bin, **{batch_field(): "4711", "request_key": "k"})
    assert answer.headers["Location"] == reverse("count-sheet", args=[count.pk, second.pk])
    entries = CountEntry.objects.count()
    send(fitter, count, bin, **{batch_field(): "4711", "request_key": "k"})
    assert CountEntry.objects.count() == entries
    shown = flat(fitter.get(reverse("count", args=[count.pk])))
    assert "Go on with bin B5" in shown
    assert "1 of 3 done" in shown
    assert "<strong>1 of 3</strong> bins done" in flat(fitter.get(reverse("counts")))
    nothing = send(fitter, count, second)
    assert nothing.status_code == 400
    assert "Nothing was entered for B5: tick that nothing lies in it" in flat(nothing)
    send(fitter, count, second, empty="on")
    answer = send(fitter, count, third, empty="on")
    assert answer.headers["Location"] == reverse("count", args=[count.pk])


def test_two_figures_are_decided_in_the_review_and_posted_once_with_a_reason_each(keeper: Client, bin: Bin) -> None:
    count, field, batch = begin(bin), batch_field(), Batch.objects.get()
    send(client_as("fitter", "ada"), count, bin, tags="T-16", **{field: "4700"})
    send(client_as("fitter", "ben"), count, bin, tags="T-16", **{field: "4701"})
    address = reverse("count-review", args=[count.pk])
    shown = flat(keeper.get(address))
    assert "ada, ben found different figures: decide which stands." in shown
    assert "Post the count</button>" not in shown
    entry = CountEntry.objects.get(found=4701)
    assert keeper.post(reverse("count-decide", args=[count.pk]), {"entry": entry.pk}).status_code == 200
    shown = flat(keeper.get(address))
    assert '<td class="number" data-head="Difference">−10</td>' in shown
    assert "<dt>Pieces off, too many and too few added up</dt><dd>10</dd>" in shown
    sent = {"seen": re.search(r'name="seen" value="(\d+)"', shown)[1], "request_key": "p"}  # type: ignore[index]
    post = reverse("count-post", args=[count.pk])
    without = keeper.post(post, sent)
    assert without.status_code == 409
    assert "Say why each line differs, or give one reason for all" in flat(without)
    assert StockCount.objects.get().state == "open"
    line = CountLine.objects.get(batch=batch)
    sent[f"reason-{line.pk}"] = "spilt"
    for _ in range(2):
        assert keeper.post(post, sent).headers["Location"] == f"{reverse('count', args=[count.pk])}#lines"
    assert Movement.objects.get(act="counted").reason == "spilt"
    assert Batch.objects.get().on_hand == 4701
    assert stock.disagreements() == []


def test_a_post_upon_a_review_that_somebody_overtook_is_refused_and_keeps_the_reasons(keeper: Client, bin: Bin) -> None:
    count, field = begin(bin), batch_field()
    send(client_as("fitter", "ada"), count, bin, tags="T-16", **{field: "4700"})
    seen = counting.review(count).seen
    send(client_as("fitter", "ben"), count, bin, tags="T-17", **{field: "4700"})
    answer = keeper.post(reverse("count-post", args=[count.pk]), {"seen": seen, "reason": "spilt"})
    assert answer.status_code == 409
    assert "Somebody entered more while this review stood open" in flat(answer)
    assert 'value="spilt"' in flat(answer)
    assert f'name="seen" value="{counting.review(count).seen}"' in flat(answer)


def fields(shown: str) -> dict[str, str]:
    """What a browser would send of the review: every field with what stands in it."""
    return dict(re.findall(r'<input[^>]*? name="((?:reason|seen|request_key)[^"]*)"[^>]*? value="([^"]*)"', shown))


def test_pressing_at_one_line_loses_no_reason_typed_at_another_nor_for_all(keeper: Client, bin: Bin) -> None:
    more = BatchFactory.create(bin=bin, lot="L-10", quantity=5)
    count, field = begin(bin), batch_field()
    also = {f"batch-{more.pk}": "4", "tags": "T-16\nX-1"}
    send(client_as("fitter", "ada"), count, bin, **also, **{field: "4700"})
    send(client_as("fitter", "ben"), count, bin, **also, **{field: "4701"})
    lot, few = CountLine.objects.get(batch__lot="L-9"), CountLine.objects.get(batch=more)
    tag, entry = CountLine.objects.get(called="X-1"), CountEntry.objects.get(found=4701)
    typed = {"seen": str(counting.review(count).seen), "request_key": "p", "reason": "yearly", "why": "rain",
             f"reason-{few.pk}": "spilt", f"reason-{tag.pk}": "a stranger"}  # fmt: skip
    decided = flat(keeper.post(reverse("count-decide", args=[count.pk]), {**typed, "entry": entry.pk}))
    kept = fields(decided)
    assert (kept["reason"], kept[f"reason-{few.pk}"], kept[f"reason-{tag.pk}"]) == ("yearly", "spilt", "a stranger")
    assert 'value="rain"' in decided
    assert "4701 of L-9 in bin B4 stands." in decided
    press = {**typed, "seen": kept["seen"], "line": few.pk, f"reason-{lot.pk}": "miscounted"}
    asked = flat(keeper.post(reverse("count-again", args=[count.pk]), press))
    kept = fields(asked)
    assert kept[f"reason-{lot.pk}"] == "miscounted"
    assert f'<input type="hidden" name="reason-{few.pk}" value="spilt">' in asked  # for when it differs once more
    assert "L-10 in bin B4 is asked for again" in asked
    send(client_as("fitter", "cy"), count, bin, later="1", **{f"batch-{more.pk}": "3"})
    refused = flat(keeper.post(reverse("count-again", args=[count.pk]), {**typed, "line": "0"}))
    assert fields(refused)[f"reason-{few.pk}"] == "spilt"
    assert "There is no such line in this count." in refused
    ended = keeper.post(reverse("count-abandon", args=[count.pk]), {**typed, "why": " "})
    assert (ended.status_code, fields(flat(ended))["reason"]) == (400, "yearly")
    assert StockCount.objects.get().state == "open"


def test_enter_in_a_field_of_the_review_posts_nothing_and_keeps_what_is_typed(keeper: Client, bin: Bin) -> None:
    count = begin(bin)
    send(client_as("fitter", "ada"), count, bin, tags="T-16", **{batch_field(): "4700"})
    shown = flat(keeper.get(reverse("count-review", args=[count.pk])))
    form = shown[shown.index('id="review"') :]
    first = form[form.index("<button") :]
    assert first.startswith('<button hidden name="keep"')  # it is what Enter presses
    sent = {**fields(shown), "reason": "spilt", "keep": "1"}
    answer = flat(keeper.post(reverse("count-post", args=[count.pk]), sent))
    assert fields(answer)["reason"] == "spilt"
    assert "Nothing is posted until you press" in answer
    assert StockCount.objects.get().state == "open"


def test_a_press_at_a_line_that_is_sent_again_overrules_nothing_that_was_entered_since(
    fitter: Client, keeper: Client, bin: Bin
) -> None:
    count, field = begin(bin), batch_field()
    send(client_as("fitter", "ada"), count, bin, tags="T-16", **{field: "4700"})
    line, seen = CountLine.objects.get(batch__isnull=False), counting.review(count).seen
    entry = CountEntry.objects.get(found=4700)
    keeper.post(reverse("count-again", args=[count.pk]), {"line": line.pk, "seen": seen})
    send(fitter, count, bin, **{field: "4709"})
    keeper.post(reverse("count-again", args=[count.pk]), {"line": line.pk, "seen": seen})  # reloaded
    assert [each.found for each in counting.review(count).of("differs")] == [4709]
    assert counting.places(count)[0].done_at is not None
    stale = keeper.post(reverse("count-decide", args=[count.pk]), {"entry": entry.pk, "seen": seen})
    assert stale.status_code == 404  # that figure no longer counts
    send(client_as("fitter", "ben"), count, bin, **{field: "4708"})
    mine = CountEntry.objects.get(found=4709)
    overtaken = keeper.post(reverse("count-decide", args=[count.pk]), {"entry": mine.pk, "seen": mine.pk})
    assert overtaken.status_code == 409
    assert "Somebody entered more of this line" in flat(overtaken)
    assert not CountEntry.objects.filter(how="decided").exists()


def test_a_line_is_asked_for_again_and_the_counter_is_told(fitter: Client, keeper: Client, bin: Bin) -> None:
    count = begin(bin)
    send(fitter, count, bin, tags="T-16", **{batch_field(): "4700"})
    line = CountLine.objects.get(batch__isnull=False)
    keeper.post(reverse("count-again", args=[count.pk]), {"line": line.pk})
    shown = flat(fitter.get(reverse("count-sheet", args=[count.pk, bin.pk])))
    assert "to be counted again" in shown
    assert "4700" not in shown


def test_a_count_is_given_up_with_a_reason_and_its_bins_are_free(keeper: Client, bin: Bin) -> None:
    count = begin(bin)
    address = reverse("count-abandon", args=[count.pk])
    assert "Give count" in flat(keeper.post(address, {"why": ""}))
    for _ in range(2):
        assert keeper.post(address, {"why": "rain"}).status_code == 302
    shown = flat(keeper.get(reverse("count", args=[count.pk])))
    assert "Abandoned by a storekeeper" in shown
    assert "rain" in shown
    assert begin(bin).pk > count.pk
    late = send(keeper, count, bin, **{batch_field(): "3"})
    assert late.status_code == 409
    assert f"Count {count.pk} is abandoned already." in flat(late)
    assert 'value="3"' in flat(late)


def test_a_bin_leads_to_its_count_and_its_label_to_the_sheet(fitter: Client, bin: Bin) -> None:
    assert reverse("counts") in flat(fitter.get(reverse("shelf")))
    assert f"bin={bin.pk}#begin" in flat(fitter.get(reverse("bin", args=["Main", "B4"])))
    assert fitter.get(reverse("tag", args=["B4"])).headers["Location"] == reverse("bin", args=["Main", "B4"])
    count = begin(bin)
    sheet = reverse("count-sheet", args=[count.pk, bin.pk])
    assert sheet in flat(fitter.get(reverse("bin", args=["Main", "B4"])))
    assert fitter.get(reverse("tag", args=["B4"])).headers["Location"] == sheet


def test_what_is_not_there_is_told(keeper: Client, bin: Bin) -> None:
    count, other = begin(bin), BinFactory.create()
    assert keeper.get(reverse("count", args=[count.pk + 1])).status_code == 404
    assert keeper.get(reverse("count-sheet", args=[count.pk, other.pk])).status_code == 404
    assert keeper.post(reverse("count-decide", args=[count.pk]), {"entry": "x"}).status_code == 404
    assert keeper.post(reverse("count-again", args=[count.pk]), {"line": "9"}).status_code == 404
    assert keeper.post(reverse("count-post", args=[count.pk]), {"seen": "0"}).status_code == 409


PINS = {"counts": 9, "count": 6, "count-sheet": 11, "count-review": 13}


@pytest.mark.parametrize("name", PINS)
@pytest.mark.parametrize("many", [2, 20])
def test_each_page_asks_a_fixed_number_of_queries(keeper: Client, name: str, many: int) -> None:
    bins = [BinFactory.create() for _ in range(many)]
    here = bins[0]
    count, now = begin(*bins, blind=False), timezone.now()
    item, tap = InsertFactory.create(), TapFactory.create()
    for at, bin in enumerate(bins):
        batch, unit = BatchFactory.create(bin=here, item=item, lot=f"L{at}"), UnitFactory.create(bin=here, item=tap)
        entry: Any = {"count": count.pk, "as_of": now + timedelta(minutes=at)}
        findings = [Finding(8, batch=batch.pk), Finding(1, unit=unit.pk), Finding(1, tag=f"X{at}")]
        counting.enter(bin=here.pk, findings=findings, by="Ida", **entry)
        counting.enter(bin=here.pk, findings=[Finding(7, batch=batch.pk)], by="Ben", **entry)
        counting.enter(bin=bin.pk, findings=[], by="Ben", **entry)
        closed = begin(BinFactory.create())
        counting.abandon(count=closed.pk, reason="x", by="Ida", as_of=now)
    args = {"counts": [], "count": [count.pk], "count-sheet": [count.pk, here.pk], "count-review": [count.pk]}[name]
    keeper.get(reverse(name, args=args))
    with CaptureQueriesContext(connection) as asked:
        assert keeper.get(reverse(name, args=args)).status_code == 200
    assert len(asked) == PINS[name], [query["sql"][:90] for query in asked.captured_queries]
