"""When to order a consumable again: from what was used, what orders took, and the share of cases it must last in."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.reordering import (
    Move,
    Spread,
    Terms,
    Tier,
    cheapest_lot,
    normal_order_point,
    normal_reached,
    over_lead_time,
    poisson_order_point,
    poisson_reached,
    propose,
    spread,
    use_by_day,
    wanted,
)

DAY = date(2026, 3, 2)
TERMS = Terms(Fraction(95, 100), 90, 5, 1500, Fraction(20, 100))
SERVICES = st.integers(500, 999).map(lambda tenths: Fraction(tenths, 1000))
MEANS = st.fractions(0, 60, max_denominator=50)


def on(day: int) -> date:
    return DAY + timedelta(days=day)


# What counts as use


def test_what_comes_back_was_not_used_on_the_day_it_went_out() -> None:
    moves = [
        Move(on(0), "issued", "J-1", -10), Move(on(1), "issued", "J-1", -4), Move(on(1), "issued", "J-2", -3),
        Move(on(6), "given_back", "J-1", 6),
    ]  # fmt: skip
    assert use_by_day(moves) == {on(0): 8, on(1): 3}


def test_what_a_job_lost_or_spoilt_is_use_and_what_was_thrown_away_is_none() -> None:
    moves = [
        Move(on(0), "used", "", -1), Move(on(1), "lost", "J-1", -2), Move(on(2), "scrapped", "J-1", -3),
        Move(on(3), "scrapped", "", -50), Move(on(4), "adjusted", "", -7), Move(on(5), "received", "", 100),
    ]  # fmt: skip
    assert use_by_day(moves) == {on(0): 1, on(1): 2, on(2): 3}


def test_one_value_has_a_mean_and_no_deviation() -> None:
    assert spread([7]) == Spread(Fraction(7), None, 1)
    assert spread([7]).sd is None
    with pytest.raises(ValueError, match="no values"):
        spread([])


# The order point


def test_a_lead_time_that_varies_raises_the_order_point() -> None:
    use = Spread(Fraction(30), Fraction(25), 200)
    steady = over_lead_time(use, Spread(Fraction(10), Fraction(0), 5))
    varying = over_lead_time(use, Spread(Fraction(10), Fraction(4), 5))
    assert steady == (300, pytest.approx(250**0.5))
    assert varying == (300, pytest.approx((10 * 25 + 30**2 * 4) ** 0.5))  # √(L·s_d² + D²·s_L²)
    assert normal_order_point(*varying, 0.95) > normal_order_point(*steady, 0.95)


@given(MEANS, SERVICES)
def test_poisson_lasts_as_often_as_wanted_and_one_piece_less_does_not(mean: Fraction, service: Fraction) -> None:
    point = poisson_order_point([mean], service)
    assert poisson_reached([mean], point) >= service
    assert poisson_reached([mean], point - 1) < service


@given(MEANS, st.fractions(0, 30, max_denominator=20), SERVICES)
def test_a_normal_order_point_is_never_rounded_below_what_is_wanted(
    mean: Fraction, sd: Fraction, service: Fraction
) -> None:
    point = normal_order_point(mean, float(sd), service)
    assert point >= mean or service < Fraction(1, 2)
    assert normal_reached(mean, float(sd), point) >= float(service) - 1e-12
    if point > 0:
        assert normal_reached(mean, float(sd), point - 1) < float(service) + 1e-12


@given(st.lists(MEANS, min_size=1, max_size=4), SERVICES, SERVICES, st.fractions(0, 20, max_denominator=20))
def test_more_service_and_more_use_never_lower_the_order_point(
    means: list[Fraction], one: Fraction, other: Fraction, more: Fraction
) -> None:
    low, high = sorted((one, other))
    assert poisson_order_point(means, low) <= poisson_order_point(means, high)
    assert poisson_order_point(means, low) <= poisson_order_point([mean + more for mean in means], low)
    assert normal_order_point(means[0], 3.5, low) <= normal_order_point(means[0], 3.5, high)
    assert normal_order_point(means[0], 3.5, low) <= normal_order_point(means[0] + more, 3.5, low)


@given(
    st.fractions(0, 20, max_denominator=30), st.fractions(0, 40, max_denominator=30),
    st.integers(0, 60), st.integers(0, 60), st.integers(0, 30), SERVICES,
)  # fmt: skip
def test_a_longer_lead_time_never_lowers_the_order_point(
    daily: Fraction, variance: Fraction, one: int, other: int, lead_sd: int, service: Fraction
) -> None:
    use, (short, long) = Spread(daily, variance, 100), sorted((one, other))

    def normal(lead: int) -> int:
        return normal_order_point(*over_lead_time(use, Spread(Fraction(lead), Fraction(lead_sd**2), 5)), service)

    assert normal(short) <= normal(long)
    assert poisson_order_point([daily * short], service) <= poisson_order_point([daily * long], service)


@pytest.mark.parametrize("service", [0, 1, 1.2, -0.1])
def test_a_service_level_that_nothing_reaches_is_refused(service: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        poisson_order_point([3], service)
    with pytest.raises(ValueError, match="between 0 and 1"):
        normal_order_point(Fraction(30), 2.0, service)


# How much at once


TIERS = (Tier(1, Fraction(145)), Tier(40, Fraction(132)))


@given(st.integers(1, 20000), st.integers(0, 5000), st.integers(1, 50), st.integers(1, 40))
def test_whole_packs_are_ordered_and_no_other_number_of_packs_costs_less(
    demand: int, order_cost: int, pack: int, packs: int
) -> None:
    tiers = (Tier(pack, Fraction(145)), Tier(10 * pack, Fraction(132)))
    lot = cheapest_lot(demand, order_cost, tiers, hold_rate=Fraction(1, 5), pack=pack)
    assert lot.pieces % pack == 0
    price = 132 if packs >= 10 else 145
    other = demand * price + order_cost * demand / (packs * pack) + 0.2 * price * packs * pack / 2
    assert lot.cost <= other + 1e-6


def test_a_break_counts_from_its_own_quantity_on() -> None:
    lot = cheapest_lot(400, 500, TIERS, hold_rate=Fraction(1, 5))
    assert (lot.pieces >= 40, lot.price) == (True, 132)
    at_the_break = cheapest_lot(60, 100, TIERS, hold_rate=Fraction(1, 5))
    assert (at_the_break.pieces, at_the_break.price) == (40, 132)


def test_what_is_wanted_brings_the_position_up_to_the_maximum() -> None:
    assert wanted(position=-4, order_point=10, maximum=30) == 34
    assert wanted(position=10, order_point=10, maximum=10) == 0
    assert wanted(position=11, order_point=10, maximum=30) == 0


# The proposal


def codes(used: dict[date, int], **of: object) -> list[str]:
    return [line.code for line in asked(used, **of).lines]


def asked(used: dict[date, int], **of: object):
    given = {"first": on(0), "last": on(99), "leads": [], "offered": 5, "terms": TERMS, "tiers": TIERS} | of
    return propose(used, **given)


@pytest.mark.parametrize(
    ("used", "last"),
    [({}, on(365)), ({on(at): 3 for at in range(4)}, on(365)), ({on(at): 3 for at in range(60)}, on(88))],
)
def test_too_little_history_is_an_answer_and_says_what_is_missing(used: dict[date, int], last: date) -> None:
    proposal = asked(used, last=last)
    assert not proposal.known
    assert (proposal.minimum, proposal.order_point, proposal.maximum) == (None, None, None)
    (line,) = proposal.lines
    assert line.code == "history_too_short"
    assert (line.data["least_days"], line.data["least_uses"]) == (90, 5)


def test_a_fast_mover_is_reckoned_by_the_normal_distribution_line_by_line() -> None:
    used = {on(at): 4 + at % 3 for at in range(100)}  # 4, 5, 6, 4, …
    proposal = asked(used, leads=[4, 6, 5])
    by_code = {line.code: line.data for line in proposal.lines}
    assert list(by_code) == [
        "use_a_day", "lead_recorded", "use_over_lead", "sd_over_lead", "normal_point", "safety_stock", "cheapest_lot",
        "maximum_sum",
    ]  # fmt: skip
    # 499 ÷ 100 = 4.99; × 5 = 24.95; s_d² = 0.6767, s_L² = 1: √(5 × 0.6767 + 24.9) = 5.318; + 1.645 × 5.318 = 33.70
    assert by_code["use_a_day"] | {"sd": ""} == {"pieces": 499, "days": 100, "mean": "4.99", "sd": ""}
    assert by_code["use_over_lead"]["mean"] == "24.95"
    assert by_code["sd_over_lead"]["sd"] == "5.318"
    assert by_code["normal_point"] | {"exact": ""} == {
        "service": "95", "z": "1.645", "mean": "24.95", "sd": "5.318", "exact": "", "point": 34,
    }  # fmt: skip
    assert (proposal.minimum, proposal.order_point) == (10, 34)  # 34 − 24.95 = 9.05
    assert proposal.maximum == 34 + by_code["maximum_sum"]["pieces"]


def test_a_slow_mover_is_reckoned_by_poisson_over_each_lead_time() -> None:
    used = {on(at * 5): 1 for at in range(20)}  # 0.2 a day
    steady = asked(used, leads=[10, 10, 10])
    assert steady.order_point == 5 == poisson_order_point([2], 0.95)
    varying = asked(used, leads=[2, 18, 10])
    assert varying.order_point == poisson_order_point([Fraction(2, 5), Fraction(18, 5), 2], 0.95) > 5
    assert "poisson_point" in codes(used, leads=[10, 10])


def test_what_goes_in_lumps_is_not_promised_to_last_by_poisson() -> None:
    used = {on(at * 15): 8 for at in range(7)}  # eight at once, seldom
    assert "use_in_lumps" in codes(used)
    single = {on(at): 1 for at in range(0, 100, 2)}
    assert "use_in_lumps" not in codes(single)
    assert asked(used).order_point > poisson_order_point([Fraction(56, 100) * 5], 0.95)


def test_without_orders_the_lead_time_is_the_offers_and_its_deviation_is_not_known() -> None:
    used = {on(at): 4 for at in range(100)}
    assert codes(used)[1] == "lead_offered"
    assert codes(used, leads=[6])[1] == "lead_of_one_order"
    assert codes(used, offered=None)[1:] == ["lead_unknown"]
    assert not asked(used, offered=None).known


def test_never_more_than_a_years_use_is_proposed_and_the_arithmetic_says_what_was_cut() -> None:
    used = {on(at * 5): 1 for at in range(20)}  # 0.2 a day, 73 a year
    cheap = asked(used, tiers=(Tier(1, Fraction(1)),))  # of what costs next to nothing a heap is cheapest
    told = {line.code: line.data for line in cheap.lines}
    assert told["cheapest_lot"]["pieces"] > 1000
    assert (told["lot_within_a_year"]["use"], told["lot_within_a_year"]["days"]) == (73, 365)
    assert cheap.maximum == 73 == cheap.order_point + told["lot_within_a_year"]["pieces"]
    in_packs = asked(used, tiers=(Tier(10, Fraction(1)),), pack=10)
    assert in_packs.maximum == in_packs.order_point + 70
    assert "maximum_over_a_year" not in [line.code for line in (*cheap.lines, *in_packs.lines)]


def test_a_break_of_price_beyond_a_years_use_is_not_reached_for() -> None:
    used = {on(at * 5): 1 for at in range(20)}
    tiers = (Tier(1, Fraction(100)), Tier(100, Fraction(1)))
    told = {line.code: line.data for line in asked(used, tiers=tiers).lines}
    assert (told["cheapest_lot"]["each_minor"], told["lot_within_a_year"]["each_minor"]) == (1, 100)


@pytest.mark.parametrize("tiers", [(Tier(100, Fraction(1)),), ()])
def test_where_one_pack_alone_lasts_for_more_than_a_year_that_is_told_beside_the_maximum(tiers: tuple[Tier]) -> None:
    proposal = asked({on(at * 5): 1 for at in range(20)}, tiers=tiers, pack=100)
    assert proposal.lines[-1].code == "maximum_over_a_year"
    assert proposal.lines[-1].data == {"days": 365, "maximum": proposal.maximum, "lasts": proposal.maximum * 5}


def test_what_keeps_for_a_month_is_not_proposed_for_longer_and_a_pack_that_lasts_longer_is_told() -> None:
    used = {on(at): 2 for at in range(100)}  # 60 in 30 days
    cheap = (Tier(1, Fraction(1)),)
    kept = asked(used, tiers=cheap, shelf_days=30)
    assert kept.maximum == 60
    assert "lot_within_shelf_life" in [line.code for line in kept.lines]
    assert asked(used, tiers=cheap, shelf_days=400) == asked(used, tiers=cheap)
    packs = asked(used, tiers=(Tier(60, Fraction(1)),), pack=60, shelf_days=30)
    assert packs.lines[-1].code == "maximum_over_shelf_life"
    assert packs.lines[-1].data == {"days": 30, "maximum": 70, "lasts": 35}


def test_the_least_and_most_stand_in_order_around_the_order_point() -> None:
    for leads in ([], [3], [1, 30]):
        for each in (1, 4, 20):
            proposal = asked({on(at): each for at in range(0, 100, 3)}, leads=leads, tiers=(), pack=5)
            assert proposal.minimum is not None
            assert 0 <= proposal.minimum <= proposal.order_point < proposal.maximum
