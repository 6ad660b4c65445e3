"""The pages of the shelf: what is found, what a thing is, and what a storekeeper does with it."""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from inventory import stock
from inventory.models import Batch, LifeFactor, Movement, Person, Unit
from inventory.reservations import reserve
from inventory.roles import ROLES, give_role
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


def client_as(role: str) -> Client:
    user = User.objects.create_user(f"a {role}")
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def keeper() -> Client:
    return client_as("storekeeper")


@pytest.fixture
def fitter() -> Client:
    return client_as("fitter")


def text(client: Client, name: str, *args: Any, status: int = 200, **asked: str) -> str:
    answer = client.get(reverse(name, args=args), asked)
    assert answer.status_code == status
    return re.sub(r"\s+", " ", answer.content.decode())


def tap(tag: str = "T-16", **of: Any) -> Unit:
    return UnitFactory(tag=tag, item=TapFactory(number="TP-16", name="hand tap"), bin=BinFactory(name="B4"), **of)


# The search page


def test_nothing_typed_shows_what_is_away_due_and_expired(fitter: Client) -> None:
    stock.lend_unit(unit=tap(), to=PersonFactory(name="Ida"), until=None, as_of=timezone.now(), by="x")
    shown = text(fitter, "shelf")
    assert '<strong class="gap">on loan</strong> with Ida, nobody entered until when' in shown
    assert shown.count("<p>None.</p>") == 3


def test_what_was_understood_is_said_back_and_look_alikes_stand_apart(fitter: Client) -> None:
    tap()
    UnitFactory(tag="T-16C", item=TapFactory(thread="M16x2"))
    shown = text(fitter, "shelf", q="tap m16 x 1,5")
    assert "Looked for: <strong>taps for M16x1.5</strong>" in shown
    assert 'value="tap m16 x 1,5"' in shown
    assert reverse("unit", args=["T-16"]) in shown
    assert reverse("unit", args=["T-16C"]) not in shown
    assert "never to be taken for it" in shown
    assert "?q=tap%20M16x2" in shown


def test_a_question_links_to_what_would_do(fitter: Client) -> None:
    shown = text(fitter, "shelf", q="tap 14")
    assert shown.count('role="alert"') == 1
    assert "?q=tap%20M14x1.5" in shown


@pytest.mark.parametrize(
    "typed", ["<script>alert(1)</script>", "zork", "\0", "%", "x" * 500, "drill 10-24", "tap M14x15"]
)
def test_whatever_is_typed_is_answered_and_kept(fitter: Client, typed: str) -> None:
    shown = text(fitter, "shelf", q=typed)
    assert "<script>alert" not in shown
    assert 'role="alert"' in shown or typed == "\0"


def test_nothing_of_the_kind_is_said_to_be_none(fitter: Client) -> None:
    assert "<strong>None</strong>: there is nothing like it" in text(fitter, "shelf", q="tap M16x1.5")
    TapFactory()
    assert "<strong>none</strong> on the shelf" in text(fitter, "shelf", q="tap M16x1.5")


def test_pages_are_turned_without_a_total(fitter: Client) -> None:
    for number in range(21):
        UnitFactory(tag=f"D-{number:02}", item=ItemFactory(diameter=14_000_000 + number))
    shown = text(fitter, "shelf", q="drills")
    (following,) = re.findall(r'rel="next" href="([^"]+)"', shown)
    second = fitter.get(reverse("shelf") + following.replace("&amp;", "&")).content.decode()
    assert "D-20" in second
    assert "D-19" not in second


@pytest.mark.parametrize(("typed", "queries"), [("", 9), ("taps", 11), ("tap M16x1.5", 12)])
def test_the_page_takes_as_many_queries_for_two_as_for_twenty(fitter: Client, typed: str, queries: int) -> None:
    counts = []
    for number in range(20):
        unit = UnitFactory(tag=f"T-{number}", item=TapFactory(life=40 + number))
        UnitFactory(tag=f"R-{number}", item=ItemFactory(life=1), holes_cut=1)
        if number % 2:
            stock.lend_unit(unit=unit, to=PersonFactory(), until=None, as_of=timezone.now(), by="x")
        if number + 1 in (2, 20):
            with CaptureQueriesContext(connection) as caught:
                text(fitter, "shelf", **({"q": typed} if typed else {}))
            counts.append(len(caught))
    assert counts == [queries, queries]  # session, user, roles, and those of test_search


# One thing


@pytest.mark.parametrize("tag", ["T/16", "T 16", "T#1?", "½-Ø%2F", "T/16/", "//x", "a+b&c=d", "Ä'\"<b>"])
def test_a_tag_of_any_signs_has_its_page(fitter: Client, tag: str) -> None:
    tap(tag)
    shown = text(fitter, "unit", tag)
    assert "Unit <span" in shown
    assert "<b>" not in shown.split("<main")[1]


@pytest.mark.parametrize("address", ["units/T", "items/T", "bins/T/A", "bins/Main/T", "moves/units/T"])
def test_a_zero_in_an_address_leads_nowhere(keeper: Client, address: str) -> None:
    page, press = keeper.get(f"/shelf/{address}%00/"), keeper.post(f"/shelf/{address}%00/")
    assert (page.status_code, press.status_code) == (404, 404)
    with pytest.raises(Resolver404):
        resolve(f"/shelf/{address}\0/")


def test_a_bin_and_an_item_of_any_signs_have_their_pages(fitter: Client) -> None:
    unit = UnitFactory(
        item=TapFactory(number="TP/16 #1"), bin=BinFactory(site=SiteFactory(name="Shop 1/2"), name="A/3")
    )
    assert unit.tag in text(fitter, "bin", "Shop 1/2", "A/3")
    assert unit.tag in text(fitter, "item", "TP/16 #1")
    nameless = UnitFactory(item=TapFactory(life=9)).item
    assert "tap" in text(fitter, "item", nameless.address)


def test_what_is_not_there_is_told_by_name(fitter: Client) -> None:
    assert "No unit carries the tag Z-9." in text(fitter, "unit", "Z-9", status=404)
    assert "no item Z-9" in text(fitter, "item", "Z-9", status=404)
    assert "no bin “Z9” at Main" in text(fitter, "bin", "Main", "Z9", status=404)
    assert "There is no batch 7" in text(fitter, "batch", 7, status=404)
    assert "There is no batch" in text(fitter, "batch", 10**30, status=404)


def test_a_unit_tells_what_it_is_and_links_its_thread_its_item_and_its_bin(fitter: Client) -> None:
    tap(holes_cut=5)
    shown = text(fitter, "unit", "t-16")
    for told in ("M16x1.5", "class 6H", "60 mm (2.3622 in)", "4 threads", "35 of 40 holes (5 cut)", "needs none"):
        assert told in shown
    for link in (
        reverse("threads") + "?q=M16x1.5",
        reverse("item", args=["TP-16"]),
        reverse("bin", args=["Main", "B4"]),
    ):
        assert f'href="{link}"' in shown


def test_a_gauge_without_a_date_is_not_checked(fitter: Client) -> None:
    UnitFactory(tag="G-1", item=ItemFactory(kind="final_gauge", thread="M16x1.5"))
    shown = text(fitter, "unit", "G-1")
    assert '<strong class="gap">not checked</strong>: no date is entered' in shown
    assert '<dt>Thread class</dt><dd><strong class="gap">not entered</strong>' in shown


def test_a_reservation_shows_on_every_unit_and_batch_that_it_holds_and_links_back(fitter: Client) -> None:
    unit, batch, now = tap(), BatchFactory(lot="B-1", item=InsertFactory()), timezone.now()
    reserve(
        label="J-2",
        link="/jobs/J-2/",
        unit_holds=[(unit.pk, now + timedelta(days=1), now + timedelta(days=3), 4)],
        batch_holds=[(batch.pk, 3)],
        by="x",
        as_of=now,
    )
    pages = [text(fitter, "unit", "T-16"), text(fitter, "batch", batch.pk), text(fitter, "item", "TP-16")]
    pages += [
        text(fitter, "bin", "Main", "B4"),
        text(fitter, "shelf", q="T-16"),
        text(fitter, "shelf", q="tap M16x1.5"),
    ]
    for shown in pages:
        assert re.search(r'<a [^>]*href="/jobs/J-2/">J-2</a>', shown)
    assert "4 holes" in pages[0]
    assert "10: 7 free, 3 held" in pages[1]


def test_movements_stand_newest_first_and_older_ones_a_page_on(fitter: Client) -> None:
    unit = tap()
    for number in range(25):
        stock.use_unit(unit=unit, holes=1, label=f"J-{number:02}", as_of=timezone.now(), by="x")
    shown = text(fitter, "unit", "T-16")
    assert re.findall(r"for (J-\d\d)", shown) == [f"J-{number:02}" for number in range(24, 4, -1)]
    (older,) = re.findall(r'href="\?before=(\d+)', shown)
    shown = text(fitter, "unit", "T-16", before=older)
    assert re.findall(r"for (J-\d\d)", shown) == [f"J-{number:02}" for number in range(4, -1, -1)]
    assert "received" in shown
    assert 'href="?before=' not in shown
    assert "received" not in text(fitter, "unit", "T-16", before="x" * 30)


@pytest.mark.parametrize(("name", "queries"), [("unit", 6), ("batch", 6), ("item", 10), ("bin", 8)])
def test_pages_take_as_many_queries_for_two_as_for_twenty(fitter: Client, name: str, queries: int) -> None:
    unit, batch, now, counts = (
        tap(),
        BatchFactory(lot="B-1", bin=BinFactory(name="C1"), quantity=99),
        timezone.now(),
        [],
    )
    for number in range(18):
        UnitFactory(tag=f"N-{number}", item=unit.item, bin=unit.bin)
        stock.use_unit(unit=unit, holes=1, as_of=now, by="x")
        reserve(
            label=f"J-{number}",
            unit_holds=[(unit.pk, now + timedelta(days=number), now + timedelta(days=number + 1), 0)],
            batch_holds=[(batch.pk, 1)],
            by="x",
            as_of=now,
        )
        if number + 1 in (2, 18):
            with CaptureQueriesContext(connection) as caught:
                text(
                    fitter,
                    name,
                    *{"unit": ["T-16"], "batch": [batch.pk], "item": ["TP-16"], "bin": ["Main", "B4"]}[name],
                )
            counts.append(len(caught))
    # session, user, roles; the thing, its holds, its movements or its lines, of a bin its open count
    assert counts == [queries, queries]


def test_pages_that_are_read_write_nothing(keeper: Client) -> None:
    tap()
    with CaptureQueriesContext(connection) as caught:
        for name, args in (("shelf", ()), ("unit", ("T-16",)), ("item", ("TP-16",)), ("bin", ("Main", "B4"))):
            text(keeper, name, *args)
    assert all(query["sql"].startswith("SELECT") for query in caught.captured_queries)


# What is done with it


def press(client: Client, thing: Unit | Batch, **sent: Any) -> Any:
    """Press a form of the thing's page with the hidden fields that the page gave."""
    if isinstance(thing, Unit):
        page, to, args = "unit", "unit-move", [thing.tag]
    else:
        page, to, args = "batch", "batch-move", [thing.pk]
    shown = text(client, page, *args)
    form = re.search(rf'name="act" value="{sent["act"]}"><input type="hidden" name="request_key" value="(\w+)"', shown)
    assert form, "the page offers no such act"
    return client.post(reverse(to, args=args), {"request_key": form[1], **sent})


def written(answer: Any) -> Movement:
    assert answer.status_code == 302, answer.content.decode()
    return Movement.objects.order_by("-pk")[0]


def refused(answer: Any, status: int = 400) -> str:
    assert answer.status_code == status
    shown = re.sub(r"\s+", " ", answer.content.decode())
    assert shown.count('role="alert"') == 1
    return shown


def test_a_field_that_must_be_filled_in_says_required_as_on_every_page(keeper: Client) -> None:
    tap()
    assert 'To whom <span class="must">required</span>' in text(keeper, "unit", "T-16")


def test_a_unit_is_lent_to_a_person_until_a_day_and_comes_back(keeper: Client) -> None:
    unit, ida = tap(), PersonFactory(name="Ida Stone", badge="77")
    until = (timezone.now() + timedelta(days=9)).date()
    answer = press(keeper, unit, act="lend", to="ida stone", until=until.isoformat())
    lent = written(answer)
    assert (lent.act, lent.person, lent.by) == ("lent", ida, "a storekeeper")
    assert answer.headers["Location"] == f"{reverse('unit', args=['T-16'])}?done={lent.pk}#movements"
    shown = text(keeper, "unit", "T-16", done=str(lent.pk))
    assert f"on loan</strong> with Ida Stone until <time>{until}" in shown
    assert 'role="status">Written:' in shown
    elsewhere = BinFactory(name="C7")
    back = written(press(keeper, unit, act="return", bin="c7", condition="serviceable", holes="3"))
    assert (back.act, back.holes, back.to_bin) == ("returned", 3, elsewhere)
    unit.refresh_from_db()
    assert (unit.bin, unit.holes_cut, unit.away_why) == (elsewhere, 3, "")
    assert stock.disagreements() == []


def test_pressing_twice_or_again_after_going_back_moves_it_once(keeper: Client) -> None:
    unit = tap()
    PersonFactory(name="Ida")
    sent = {"act": "lend", "to": "Ida", "request_key": "k" * 32}
    first, second = (keeper.post(reverse("unit-move", args=["T-16"]), sent) for _ in range(2))
    assert first.headers["Location"] == second.headers["Location"]
    assert Movement.objects.filter(unit=unit, act="lent").count() == 1


def test_an_unknown_borrower_is_refused_at_the_field_and_may_be_entered(keeper: Client) -> None:
    unit = tap()
    PersonFactory(name="Ida Stone")
    shown = refused(press(keeper, unit, act="lend", to="Ida Stome", until=""))
    assert "is Ida Stone meant" in shown
    assert 'value="Ida Stome"' in shown
    assert 'name="new_name"' in shown
    assert not Movement.objects.filter(act="lent").exists()
    assert written(press(keeper, unit, act="lend", to="Ora Bell", new_name="on")).person == Person.objects.get(
        name="Ora Bell"
    )


def test_two_people_of_one_name_are_told_apart_by_the_badge(keeper: Client) -> None:
    unit = tap()
    PersonFactory(name="Ida", badge="7")
    other = PersonFactory(name="Ida", badge="8")
    assert "type the badge: 7, 8" in refused(press(keeper, unit, act="lend", to="Ida"))
    assert written(press(keeper, unit, act="lend", to="8")).person == other


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({"act": "lend", "to": ""}, "must be filled in"),
        ({"act": "lend", "to": "Ida", "until": "2020-01-01"}, "2020-01-01 is over already"),
        ({"act": "lend", "to": "Ida", "until": "soon"}, "“soon” is no date"),
        ({"act": "use", "holes": "0"}, "“0” must be a whole number of at least 1"),
        ({"act": "use", "holes": "9" * 30}, "must be a whole number"),
        ({"act": "end", "how": "scrap", "reason": ""}, "must be filled in"),
        ({"act": "send", "why": "fun"}, "“fun” has a character in it"),
    ],
)
def test_what_is_wrong_stands_at_its_field_and_nothing_is_lost(keeper: Client, sent: dict[str, str], told: str) -> None:
    unit = tap()
    PersonFactory(name="Ida")
    shown = refused(press(keeper, unit, **sent))
    assert told in shown
    assert "<details open>" in shown
    for name, value in sent.items():
        assert name in ("act", "how", "why") or not value or f'value="{value}"' in shown
    assert Movement.objects.filter(unit=unit).count() == 1


def test_a_unit_goes_to_regrind_and_comes_back_with_a_new_life_or_with_its_old_one(keeper: Client) -> None:
    unit = tap(holes_cut=30)
    sent = written(press(keeper, unit, act="send", why="regrind", to="Whetmoor", until="+5d"))
    assert (sent.act, sent.reason) == ("sent", "regrind, Whetmoor")
    assert "at regrind</strong> with Whetmoor" in text(keeper, "unit", "T-16")
    assert written(press(keeper, unit, act="return", bin="B4", condition="serviceable", not_reground="on")).holes == 0
    written(press(keeper, unit, act="send", why="regrind"))
    assert written(press(keeper, unit, act="return", bin="B4", condition="serviceable")).holes == -30


def test_a_gauge_comes_back_from_calibration_with_its_new_date(keeper: Client) -> None:
    gauge = UnitFactory(tag="G-1", item=ItemFactory(kind="final_gauge", thread="M16x1.5", thread_class="6H"))
    written(press(keeper, gauge, act="send", why="calibration", to="Pellowby"))
    due = (timezone.now() + timedelta(days=365)).date()
    written(
        press(keeper, gauge, act="return", bin=gauge.bin.name, condition="serviceable", calibration_due=due.isoformat())
    )
    assert f"good until <time>{due}" in text(keeper, "unit", "G-1")


def test_a_drill_comes_back_from_regrind_with_its_own_diameter_and_the_page_tells_it(keeper: Client) -> None:
    unit = UnitFactory(tag="D-1", item=ItemFactory(number="D-145", life=20, most_regrinds=3), holes_cut=19)
    stock.send_unit(unit=unit, why="regrind", as_of=timezone.now(), by="x")
    page = text(keeper, "unit", "D-1")
    assert "Its diameter now, where the regrind changed it" in page
    assert "Certificate" not in page
    sent = {"act": "return", "bin": unit.bin.name, "condition": "serviceable", "diameter": "14.6"}
    answer = keeper.post(reverse("unit-move", args=["D-1"]), sent)
    assert answer.status_code == 400
    assert "it cannot cut 14.6 mm" in answer.content.decode()
    keeper.post(reverse("unit-move", args=["D-1"]), {**sent, "diameter": "14.4"})
    unit.refresh_from_db()
    assert (unit.own_diameter, unit.regrinds, unit.holes_cut) == (14_400_000, 1, 0)
    page = text(keeper, "unit", "D-1")
    for told in ("1 of at most 3", "14.4 mm", "20 of 20 holes", "1 regrind, now 14.4 mm"):
        assert told in page


def test_a_gauge_is_calibrated_here_for_the_interval_that_is_proposed(keeper: Client) -> None:
    unit = UnitFactory(tag="G-1", item=ItemFactory(kind="indicator", number="G", calibration_days=200))
    due = (stock.shop_day(timezone.now()) + timedelta(200)).isoformat()
    page = text(keeper, "unit", "G-1")
    assert f'value="{due}"' in page
    assert "every 200 days" in page
    keeper.post(reverse("unit-move", args=["G-1"]), {"act": "calibrate", "due": due, "certificate": "C-9"})
    unit.refresh_from_db()
    assert (unit.calibration_due.isoformat(), unit.certificate) == (due, "C-9")
    assert "certificate C-9" in text(keeper, "unit", "G-1")
    bare = UnitFactory(tag="G-2", item=ItemFactory(kind="depth_gauge", number="G2"))
    answer = keeper.post(reverse("unit-move", args=[bare.tag]), {"act": "calibrate", "due": ""})
    assert answer.status_code == 400
    assert "Say until when it is good" in answer.content.decode()
    assert "was calibrated here" not in text(keeper, "unit", tap().tag)


def test_a_unit_and_a_batch_are_moved_to_another_bin(keeper: Client) -> None:
    unit, there = tap(), BinFactory(name="C9")
    keeper.post(reverse("unit-move", args=[unit.tag]), {"act": "move", "bin": "c9"})
    unit.refresh_from_db()
    assert unit.bin == there
    batch = BatchFactory(item=InsertFactory(number="IN-1", pack_size=4), quantity=11)
    reserve(label="J-1", batch_holds=[(batch.pk, 2)], as_of=timezone.now(), by="x")
    page = text(keeper, "batch", batch.pk)
    assert "2 packs of 4 and 3 loose" in page
    assert "9 can go" in page
    answer = keeper.post(reverse("batch-move", args=[batch.pk]), {"act": "move", "quantity": "10", "bin": "C9"})
    assert answer.status_code == 400
    assert "9 free of 11 on hand" in answer.content.decode()
    keeper.post(reverse("batch-move", args=[batch.pk]), {"act": "move", "quantity": "9", "bin": "C9"})
    batch.refresh_from_db()
    assert (batch.on_hand, stock.batch_of(item=batch.item, bin=there, lot=batch.lot).on_hand) == (2, 9)
    assert "2 packs of 4 and 1 loose" in text(keeper, "item", "IN-1")


def test_holes_are_booked_in_a_material_where_the_item_has_life_factors(keeper: Client) -> None:
    unit = tap()
    assert "In which material" not in text(keeper, "unit", unit.tag)
    LifeFactor.objects.create(item=unit.item, material="grey_iron", percent=150)
    assert "grey iron" in text(keeper, "unit", unit.tag)
    keeper.post(reverse("unit-move", args=[unit.tag]), {"act": "use", "holes": "4", "material": "grey_iron"})
    unit.refresh_from_db()
    assert (unit.holes_cut, unit.extra_wear) == (4, 2)
    assert "34 of 40 holes (4 cut, which took 6)" in text(keeper, "unit", unit.tag)


def test_it_does_not_come_back_into_a_bin_that_is_not_there(keeper: Client) -> None:
    unit = tap()
    written(press(keeper, unit, act="send", why="regrind"))
    assert "There is no bin “Z9” at Main" in refused(press(keeper, unit, act="return", bin="Z9", condition="new"))


def test_what_moved_meanwhile_is_refused_with_its_reason_and_what_was_typed(keeper: Client) -> None:
    unit = tap()
    PersonFactory(name="Ida")
    stock.send_unit(unit=unit, why="regrind", as_of=timezone.now(), by="x")
    answer = keeper.post(reverse("unit-move", args=["T-16"]), {"act": "lend", "to": "Ida", "request_key": "k"})
    shown = refused(answer, 409)
    assert "T-16 is away (regrind)" in shown
    assert 'value="Ida"' in shown


def test_holes_are_booked_for_a_job(keeper: Client) -> None:
    used = written(press(keeper, tap(), act="use", holes="4", label="J-7"))
    assert (used.act, used.holes, used.label) == ("used", 4, "J-7")


@pytest.mark.parametrize(("how", "act", "state"), [("scrap", "scrapped", "scrapped"), ("lose", "lost", "lost")])
def test_a_unit_is_written_off_with_a_reason_and_its_holds_are_named_before(
    keeper: Client, how: str, act: str, state: str
) -> None:
    unit, now = tap(), timezone.now()
    hold = (unit.pk, now + timedelta(days=1), now + timedelta(days=3), 4)
    reserve(label="J-2", unit_holds=[hold], by="x", as_of=now)
    assert "Every hold on it is cut short: J-2." in text(keeper, "unit", "T-16")
    ended = written(press(keeper, unit, act="end", how=how, reason="broke in the hole"))
    assert (ended.act, ended.reason) == (act, "broke in the hole")
    shown = text(keeper, "unit", "T-16")
    assert f'<strong class="gap">{state}</strong>' in shown
    acts = shown.split('id="acts"')[1].split("</section>")[0]
    if how == "scrap":
        assert "<form" not in acts
        return
    assert "It is found again" in acts
    refused = press(keeper, unit, act="find", bin="nowhere", reason="in the sump").content.decode()
    assert "nowhere" in refused.split('id="acts"')[1]
    found = written(press(keeper, unit, act="find", bin=unit.bin.name, reason="in the sump"))
    assert (found.act, found.reason, found.condition) == ("counted", "in the sump", "new")


def test_holes_that_were_booked_wrong_are_put_right(keeper: Client) -> None:
    unit = tap()
    press(keeper, unit, act="use", holes="4000")
    assert f"none of {unit.item.life} holes" in text(keeper, "unit", "T-16")
    put = written(press(keeper, unit, act="adjust", holes="4", used="4", condition="serviceable", reason="4, not 4000"))
    assert (put.act, put.holes) == ("adjusted", -3996)
    assert f"{unit.item.life - 4} of {unit.item.life} holes" in text(keeper, "unit", "T-16")


def test_holes_for_a_job_written_in_small_letters_are_taken_off_what_it_keeps(keeper: Client) -> None:
    unit, now = tap(), timezone.now()
    reserve(label="J-2", unit_holds=[(unit.pk, now, now + timedelta(days=3), 4)], by="x", as_of=now)
    used = written(press(keeper, unit, act="use", holes="3", label="j-2"))
    assert (used.label, unit.holds.get().holes) == ("J-2", 1)


def test_a_page_that_somebody_went_back_to_writes_no_second_figure(keeper: Client) -> None:
    unit = tap()
    sent = {"act": "use", "holes": "2", "request_key": "0" * 32}
    to = reverse("unit-move", args=[unit.tag])
    for _ in range(2):
        assert keeper.post(to, sent).status_code == 302
    again = keeper.post(to, sent | {"holes": "9"})
    assert again.status_code == 409
    assert "This page has written something else already" in again.content.decode()
    assert 'value="9"' in again.content.decode()
    assert keeper.post(to, sent | {"request_key": "0" * 31 + "1"}).status_code == 302
    unit.refresh_from_db()
    assert unit.holes_cut == 4


def test_of_a_gauge_no_holes_are_asked_and_it_is_sent_to_calibration(keeper: Client) -> None:
    UnitFactory.create(tag="G-1", item=ItemFactory.create(kind="indicator"), calibration_due=date(2026, 2, 1))
    shown = text(keeper, "unit", "G-1")
    assert "Holes" not in shown.split('id="acts"')[1]
    assert '<option value="calibration" selected>' in shown
    assert "was</strong> good until" in shown


def test_what_a_job_has_in_hand_is_given_back(keeper: Client) -> None:
    unit = tap()
    stock.issue_unit(unit=unit, label="J-7", as_of=timezone.now(), by="x")
    assert "in hand</strong> at J-7" in text(keeper, "unit", "T-16")
    back = written(press(keeper, unit, act="give_back", holes="2", condition="serviceable"))
    assert (back.act, back.label, back.holes) == ("given_back", "J-7", 2)


def test_a_batch_is_set_to_what_was_counted_and_spoilt_ones_are_taken_away(keeper: Client) -> None:
    batch = BatchFactory(lot="B-1", quantity=10)
    assert written(press(keeper, batch, act="count", found="8", reason="count of March")).quantity == -2
    assert written(press(keeper, batch, act="spoilt", quantity="3", reason="rust")).quantity == -3
    batch.refresh_from_db()
    assert batch.on_hand == 5
    shown = refused(press(keeper, batch, act="spoilt", quantity="9", reason="rust"))
    assert "no more than that can be taken away" in shown
    assert 'value="9"' in shown
    assert "must be filled in" in refused(press(keeper, batch, act="count", found="4", reason=""))


@pytest.mark.parametrize("role", ROLES)
def test_only_a_storekeeper_sees_the_forms_and_others_are_told_who_does_it(role: str) -> None:
    client, batch = client_as(role), BatchFactory()
    tap()
    for shown in (text(client, "unit", "T-16"), text(client, "batch", batch.pk)):
        assert ("request_key" in shown) == (role == "storekeeper")
        assert ("A storekeeper lends, sends away" in shown) == (role != "storekeeper")
    for to, args in (("unit-move", ["T-16"]), ("batch-move", [batch.pk])):
        expected = 404 if role == "storekeeper" else 403  # there is no act of that name
        assert client.post(reverse(to, args=args), {"act": "x"}).status_code == expected


def test_whoever_comes_to_a_press_by_a_link_is_shown_the_thing(keeper: Client) -> None:
    tap()
    answer = keeper.get(reverse("unit-move", args=["T-16"]))
    assert (answer.status_code, answer.headers["Location"]) == (302, reverse("unit", args=["T-16"]))


def test_strangers_are_sent_to_log_in(client: Client) -> None:
    tap()
    for name, args in (("shelf", []), ("unit", ["T-16"]), ("item", ["TP-16"]), ("bin", ["Main", "B4"])):
        assert client.get(reverse(name, args=args)).status_code == 302


def test_whoever_looks_for_a_size_is_told_what_a_reground_unit_cuts_now(keeper: Client) -> None:
    drill = UnitFactory(tag="D-2", item=ItemFactory(diameter=14_500_000))
    entry: Any = {"as_of": timezone.now(), "by": "Ida"}
    stock.send_unit(unit=drill, why="regrind", **entry)
    stock.return_unit(unit=drill, diameter=14_400_000, **entry)
    said = '<strong class="gap">reground</strong>: cuts 14.4 mm (0.5669 in) now, no longer 14.5 mm (0.5709 in)'
    for typed in ("drill 14.4", "drill 14.5", "D-2"):
        assert said in text(keeper, "shelf", q=typed)
    assert said in text(keeper, "bin", drill.bin.site.name, drill.bin.name)
    assert "D-2" not in text(keeper, "shelf", q="drill 14.45")
    found = keeper.get("/api/shelf/", {"q": "drill 14.4"}).json()
    assert [(line["tag"], line["reground_to_mm"]) for line in found["lines"]] == [("D-2", "14.400000")]
