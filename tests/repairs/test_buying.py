"""What is bought for a gap: enough, in time unless it says so, and no dearer than anything else in time."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import Reason
from inventory.kinds import Facts, OfferFacts
from repairs.buying import Choice, Demand, Gap, Purchase, ShoppingList, buy, gaps_of, pack_price, pieces_of, shop
from repairs.methods.values import DOUBTFUL, MATCH, Need

TODAY = date(2026, 3, 2)
STARTS = date(2026, 3, 12)


def _demand(kind: str, job: str = "J-1", starts: date = STARTS, days: int = 2, id: str = "", **asked: Any) -> Demand:
    start = datetime.combine(starts, time(), UTC)
    need = Need(id or f"A.{kind}", "A", "step", kind, start, start + timedelta(days=days), "Main")
    return Demand(job, need, starts, **asked)


def _choice(item: int, kind: str, **facts: Any) -> Choice:
    state = {name: facts.pop(name) for name in ("status", "reasons", "goes_with") if name in facts}
    return Choice(Facts(item, kind, **facts), f"N-{item}", **state)


def _offer(number: int, *pieces: tuple[int, int], **terms: Any) -> OfferFacts:
    base = OfferFacts(number, "Nord", f"O-{number}", f"offer {number}", pieces, 1000, "EUR", (), 3, 0, 0)
    return replace(base, **terms)


INSERT = _choice(1, "insert")
TAP = _choice(2, "tap", life=10)


def _inserts(amount: int = 9, **asked: Any) -> Gap:
    return gaps_of([(_demand("insert", amount=amount, split=True, **asked), (INSERT,))])[0]


def _only(gap: Gap, *offers: OfferFacts) -> tuple[Purchase | None, list[str]]:
    (row,) = shop([gap], offers, today=TODAY).rows
    return row.purchase, [note.code for note in row.notes]


def _bought(gap: Gap, *offers: OfferFacts) -> Purchase:
    found, _ = _only(gap, *offers)
    assert found is not None
    return found


# In time, or said to be late


def test_the_latest_order_date_is_the_first_day_less_the_lead_time() -> None:
    found = _bought(_inserts(), _offer(1, (1, 10), lead_days=4))
    assert (found.latest, found.arrives, found.late) == (date(2026, 3, 8), date(2026, 3, 6), 0)


@pytest.mark.parametrize(("lead", "codes"), [(9, []), (10, ["arrives_on_the_day"]), (11, ["late"])])
def test_what_comes_on_the_very_day_is_tight_and_what_comes_after_it_is_late(lead: int, codes: list[str]) -> None:
    assert _only(_inserts(), _offer(1, (1, 10), lead_days=lead))[1] == codes


def test_a_dear_one_in_time_is_taken_before_a_cheap_one_too_late() -> None:
    cheap, dear = _offer(1, (1, 10), price=1, lead_days=11), _offer(2, (1, 10), price=9999, lead_days=10)
    assert _bought(_inserts(), cheap, dear).offer == dear


def test_where_all_are_late_the_least_late_is_taken_and_named_with_its_jobs() -> None:
    late, later = _offer(1, (1, 10), price=9999, lead_days=20), _offer(2, (1, 10), price=1, lead_days=21)
    patient = _demand("insert", "J-2", STARTS + timedelta(days=30), amount=2, split=True)
    gap = gaps_of([(_demand("insert", amount=9, split=True), (INSERT,)), (patient, (INSERT,))])[0]
    (row,) = shop([gap], [late, later], today=TODAY).rows
    assert row.purchase is not None
    assert row.purchase.offer == late
    assert dict(row.notes[0].data) == {
        "arrives": date(2026, 3, 22), "days": 10, "jobs": ("J-1",), "latest": date(2026, 2, 20),
    }  # fmt: skip


# How many


def test_packs_are_rounded_up() -> None:
    assert [_bought(_inserts(amount), _offer(1, (1, 5))).packs for amount in (4, 5, 6)] == [1, 1, 2]


def test_what_the_job_still_has_is_not_bought_again_and_counts_once() -> None:
    here = [_demand("insert", id=f"{group}.insert", amount=5, split=True, left=4) for group in "AB"]
    (gap,) = gaps_of([(demand, (INSERT,)) for demand in here])
    assert pieces_of(gap, INSERT) == 6


def test_a_tool_is_shared_within_a_job_and_passed_on_to_a_later_one() -> None:
    def count(*demands: Demand) -> int | None:
        (gap,) = gaps_of([(demand, (TAP,)) for demand in demands])
        return pieces_of(gap, TAP)

    first = _demand("tap", id="A.tap", amount=4, split=True)
    assert count(first, _demand("tap", id="B.tap", amount=6, split=True)) == 1
    assert count(first, _demand("tap", id="B.tap", amount=7, split=True)) == 2, "its life is used up"
    after = STARTS + timedelta(days=2)
    assert count(first, _demand("tap", "J-2", after, amount=6, split=True)) == 1
    assert count(first, _demand("tap", "J-2", after - timedelta(days=1), amount=1, split=True)) == 2
    assert count(_demand("tap", amount=25, split=True)) == 3
    assert count(_demand("tap", amount=11)) is None, "one alone must do it"


def test_a_setting_tool_has_no_life_and_a_shared_pack_serves_one_job() -> None:
    tool, oil = _choice(3, "setting_tool"), _choice(4, "oil")
    for choice, kind, count in ((tool, "setting_tool", 1), (oil, "oil", 2)):
        late = STARTS + timedelta(days=9)
        here = [_demand(kind, id="A"), _demand(kind, id="B"), _demand(kind, "J-2", late)]
        (gap,) = gaps_of([(demand, (choice,)) for demand in here])
        assert pieces_of(gap, choice) == count


def test_demands_with_other_items_stay_apart_and_so_do_those_without_any() -> None:
    other = _choice(9, "insert")
    pairs = [
        (_demand("insert", id="A"), (INSERT,)), (_demand("insert", id="B"), (INSERT, other)),
        (_demand("insert", id="C"), ()), (_demand("insert", id="D"), ()),
    ]  # fmt: skip
    assert len(gaps_of(pairs)) == 4


# Prices


def test_a_break_lowers_the_price_and_may_be_worth_more_packs() -> None:
    offer = _offer(1, (1, 1), price=100, breaks=((5, 90), (10, 40)))
    assert [pack_price(offer, packs) for packs in (4, 5, 10)] == [100, 90, 40]
    found, codes = _only(_inserts(9), offer)
    assert found is not None
    assert (found.packs, found.goods, codes) == (10, 400, ["more_for_the_break"])
    assert _bought(_inserts(3), offer).goods == 300


def test_carriage_is_weighed_with_the_goods() -> None:
    far, near = _offer(1, (1, 10), price=900, carriage=200), _offer(2, (1, 10), price=1000, carriage=50)
    assert _bought(_inserts(), far, near).offer == near


def test_another_currency_is_shown_and_not_compared() -> None:
    pounds, euros = _offer(1, (1, 10), price=1, currency="GBP"), _offer(2, (1, 10), price=1000)
    (row,) = shop([_inserts()], [pounds, euros], today=TODAY).rows
    assert row.purchase is not None
    assert row.purchase.offer == euros
    assert [each.offer for each in row.others] == [pounds]
    own = shop([_inserts()], [pounds, euros], today=TODAY, currency="GBP").rows[0].purchase
    assert own is not None
    assert own.offer == pounds
    late = replace(euros, lead_days=30)
    assert _bought(_inserts(), pounds, late).offer == pounds, "what is in time comes first in any money"


def test_an_order_pays_carriage_once_and_says_what_it_lacks_to_the_least_order() -> None:
    gaps = [_inserts(), gaps_of([(_demand("tap", amount=1, split=True), (TAP,))])[0]]
    terms = {"carriage": 500, "minimum": 2500}
    found = shop(gaps, [_offer(1, (1, 10), **terms), _offer(2, (2, 1), lead_days=5, **terms)], today=TODAY)
    (order,) = found.orders
    assert (order.goods, order.carriage, order.short, order.latest) == (2000, 500, 500, date(2026, 3, 7))
    assert found.totals == {"EUR": 2500}


# What nobody can buy


def test_what_cannot_be_bought_says_why() -> None:
    assert _only(gaps_of([(_demand("insert"), ())])[0]) == (None, ["not_in_catalogue"])
    assert _only(_inserts()) == (None, ["not_on_offer"])
    assert _only(_inserts(), _offer(1, (1, 5), (2, 1))) == (None, ["only_in_a_set"])
    assert _only(_inserts(), _offer(1, (2, 5))) == (None, ["not_on_offer"])


def test_an_item_that_somebody_must_sign_for_is_taken_only_before_a_late_one() -> None:
    sure = _choice(1, "insert")
    unsure = _choice(5, "insert", status=DOUBTFUL, reasons=(Reason("lead_only_just", lead="3", most="3"),))
    (gap,) = gaps_of([(_demand("insert", amount=1, split=True), (sure, unsure))])
    cheap = _offer(2, (5, 1), price=1)
    assert _bought(gap, _offer(1, (1, 1)), cheap).choice == sure
    found, codes = _only(gap, _offer(1, (1, 1), lead_days=30), cheap)
    assert found is not None
    assert (found.choice, codes) == (unsure, ["signature_for_item"])


# A drill and its cutter


def _guided() -> tuple[Gap, ...]:
    """A drill of two sizes; cutter 12 runs under the small one alone, cutter 13 under the large one."""
    drills = (_choice(10, "drill", diameter=14_400_000), _choice(11, "drill", diameter=14_500_000))
    cutters = tuple(_choice(item, "seat_cutter", goes_with=frozenset({item - 2})) for item in (12, 13))
    return gaps_of([
        (_demand("seat_cutter", amount=1, split=True, drill="A.drill"), cutters),
        (_demand("drill", amount=1, split=True), drills),
    ])  # fmt: skip


def test_a_drill_is_bought_that_goes_with_a_cutter_that_can_be_had() -> None:
    gaps = _guided()
    cheap, dear, cutter = _offer(1, (10, 1), price=1), _offer(2, (11, 1), price=900), _offer(3, (13, 1))
    found = shop(gaps, [cheap, dear, cutter], today=TODAY)
    assert [row.purchase and row.purchase.offer.offer for row in found.rows] == [2, 3]
    also = shop(gaps, [cheap, dear, cutter, _offer(4, (12, 1), lead_days=30)], today=TODAY)
    assert [row.purchase and row.purchase.offer.offer for row in also.rows] == [2, 3], "the other cutter comes too late"


def test_a_cheap_cutter_that_comes_too_late_does_not_stand_in_for_one_in_time() -> None:
    drills = [_offer(1, (10, 1), price=500), _offer(2, (11, 1), price=500)]
    cutters = [_offer(3, (12, 1), price=1, lead_days=30), _offer(4, (12, 1), price=300), _offer(5, (13, 1), price=350)]
    found = shop(_guided(), [*drills, *cutters], today=TODAY)
    assert [row.purchase and row.purchase.offer.offer for row in found.rows] == [1, 4]


def test_a_drill_without_a_cutter_that_goes_with_it_says_so() -> None:
    found = shop(_guided(), [_offer(1, (10, 1)), _offer(3, (13, 1))], today=TODAY)
    assert [note.code for row in found.rows for note in row.notes] == ["no_cutter_for_drill"]
    assert found.rows[1].purchase is None


# Sets


def test_a_set_stands_beside_its_parts_with_both_prices() -> None:
    gaps = [_inserts(9), gaps_of([(_demand("tap", amount=1, split=True), (TAP,))])[0]]
    terms = {"carriage": 300}
    parts = [_offer(1, (1, 10), price=1500, **terms), _offer(2, (2, 1), price=2000, **terms)]
    whole = _offer(3, (1, 5), (2, 1), (77, 4), price=1200, supplier="Sud", carriage=100, lead_days=12)
    found = shop(gaps, [*parts, whole], today=TODAY)
    (held,) = found.sets
    assert (held.rows, held.packs, held.total, held.late) == ((0, 1), 2, 2500, 2), "two, for nine inserts"
    assert (held.parts, held.parts_late) == (3800, 0), "carriage of one supplier is paid once"
    alone = shop(gaps, [parts[0], whole], today=TODAY)
    assert alone.sets[0].parts is None
    assert shop(gaps, [*parts, _offer(3, (77, 1), (78, 1))], today=TODAY).sets == ()


# Whatever is asked and offered

_offers = st.lists(
    st.builds(
        _offer,
        st.integers(1, 99),
        st.tuples(st.integers(1, 3), st.integers(1, 12)),
        price=st.integers(0, 3000),
        lead_days=st.integers(0, 20),
        carriage=st.integers(0, 900),
        supplier=st.sampled_from(["Nord", "Sud"]),
        breaks=st.sampled_from([(), ((3, 0),), ((2, 0), (6, 0))]),
    ),
    max_size=6,
    unique_by=lambda offer: offer.offer,
).map(lambda offers: [_falling(offer) for offer in offers])


def _falling(offer: OfferFacts) -> OfferFacts:
    """The same offer, a quarter cheaper at its first break and half the price at its second."""
    prices = (offer.price * 3 // 4, offer.price // 2)
    breaks = tuple((least, price) for (least, _), price in zip(offer.breaks, prices, strict=False))
    return replace(offer, breaks=breaks)


_inserts_asked = st.lists(
    st.tuples(st.integers(1, 30), st.integers(0, 5), st.integers(0, 20), st.sampled_from(["J-1", "J-2", "J-3"])),
    min_size=1, max_size=4,
)  # fmt: skip


def _asked(rows: list[tuple[int, int, int, str]]) -> Gap:
    choices = tuple(_choice(item, "insert", status=(MATCH, DOUBTFUL)[item == 3]) for item in (1, 2, 3))
    starts = {job: TODAY + timedelta(days=days) for _, _, days, job in rows}
    (gap,) = gaps_of(
        (_demand("insert", job, starts[job], id=f"{at}", amount=amount, split=True, left=left), choices)
        for at, (amount, left, _, job) in enumerate(rows)
    )
    return gap


@given(_inserts_asked, _offers)
def test_enough_is_bought_in_whole_packs_and_whole_minor_units(
    rows: list[tuple[int, int, int, str]], offers: list[OfferFacts]
) -> None:
    gap = _asked(rows)
    found = shop([gap], offers, today=TODAY).rows[0].purchase
    assert (found is None) == (not offers)
    if found:
        ((item, content),) = found.offer.pieces
        short = sum(amount for amount, *_ in rows) - min(left for _, left, *_ in rows)
        assert item == found.choice.facts.item
        assert found.packs * content >= max(1, short)
        assert {type(each) for each in (found.goods, found.each, found.total, found.packs)} == {int}
        assert found.goods == found.packs * found.each


@given(_inserts_asked, _offers)
def test_nothing_comes_later_than_needed_unless_it_says_so(
    rows: list[tuple[int, int, int, str]], offers: list[OfferFacts]
) -> None:
    gap = _asked(rows)
    (row,) = shop([gap], offers, today=TODAY).rows
    if row.purchase:
        first = min(TODAY + timedelta(days=days) for days in _days(rows))
        late = TODAY + timedelta(days=row.purchase.offer.lead_days) > first
        assert late == bool(row.purchase.late) == ("late" in {note.code for note in row.notes})
        assert late == (row.purchase.latest < TODAY)
        if late:
            assert all(offer.lead_days >= row.purchase.offer.lead_days for offer in offers)


def _days(rows: list[tuple[int, int, int, str]]) -> list[int]:
    return list({job: days for _, _, days, job in rows}.values())


@given(_inserts_asked, _offers)
def test_of_those_in_time_and_without_doubt_none_is_cheaper_by_brute_force(
    rows: list[tuple[int, int, int, str]], offers: list[OfferFacts]
) -> None:
    gap = _asked(rows)
    (row,) = shop([gap], offers, today=TODAY).rows
    days = min(_days(rows))
    pieces = max(1, sum(amount for amount, *_ in rows) - min(left for _, left, *_ in rows))
    prices: dict[bool, list[int]] = {False: [], True: []}
    for offer, packs in product(offers, range(1, 130)):
        ((item, content),) = offer.pieces
        if packs * content >= pieces and offer.lead_days <= days:
            each = ([price for least, price in offer.breaks if least <= packs] or [offer.price])[-1]
            prices[item == 3].append(packs * each + offer.carriage)
    cheapest = prices[False] or prices[True]
    if cheapest:
        assert row.purchase is not None
        assert not row.purchase.late
        assert row.purchase.total == min(cheapest)


_taps_asked = st.lists(
    st.tuples(st.sampled_from("ABC"), st.integers(0, 6), st.integers(1, 3), st.integers(0, 9)), min_size=1, max_size=5
)


@given(_taps_asked, st.none() | st.integers(3, 8))
def test_tools_never_have_less_life_than_is_cut_nor_are_in_two_jobs_at_once(
    rows: list[tuple[str, int, int, int]], life: int | None
) -> None:
    tap = _choice(2, "tap", life=life)
    demands = [
        _demand("tap", job, TODAY + timedelta(days=day), days, id=str(at), amount=amount, split=True)
        for at, (job, day, days, amount) in enumerate(rows)
    ]
    (gap,) = gaps_of([(demand, (tap,)) for demand in demands])
    pieces = pieces_of(gap, tap)
    assert pieces is not None
    moments = {demand.need.start for demand in demands}
    at_once = max(len({d.job for d in demands if d.need.start <= at < d.need.end}) for at in moments)
    assert pieces >= at_once
    assert pieces <= sum(max(1, -(-demand.amount // (life or 99))) for demand in demands)
    if life:
        assert pieces * life >= sum(demand.amount for demand in demands)


@given(_inserts_asked, _offers, st.randoms(use_true_random=False))
def test_the_order_of_the_offers_never_shows(
    rows: list[tuple[int, int, int, str]], offers: list[OfferFacts], chance: Any
) -> None:
    gap = _asked(rows)
    shuffled = list(offers)
    chance.shuffle(shuffled)
    assert shop([gap], offers, today=TODAY) == shop([gap], shuffled, today=TODAY)


def test_buying_from_an_offer_that_sells_something_else_is_none() -> None:
    assert buy(_inserts(), INSERT, _offer(1, (2, 1)), TODAY) is None
    assert buy(gaps_of([(_demand("tap", amount=11), (TAP,))])[0], TAP, _offer(1, (2, 1)), TODAY) is None


def test_an_empty_list_is_empty() -> None:
    assert shop([], [_offer(1, (1, 1))], today=TODAY) == ShoppingList(TODAY, ())
