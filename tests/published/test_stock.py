"""Every case of `stock.json`: order points, order quantities and price breaks, compared with its source."""

import json
import math
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from inventory.reordering import (
    Spread,
    Tier,
    cheapest_lot,
    deviations,
    lasting,
    normal_order_point,
    normal_point,
    normal_reached,
    order_quantity,
    over_lead_time,
    poisson_order_point,
    poisson_reached,
    position,
    yearly_cost,
)

Case = dict[str, Any]
CASES: list[Case] = json.loads((Path(__file__).parent / "stock.json").read_text(encoding="utf-8"))
BY_ID = {case["id"]: case for case in CASES}

# What a case expects and the room does not compute, since the shop has no use for it, and why.
NOT_COMPUTED = {
    ("taha-13.3-1", "effective_lead_time_days"): "the position counts what is on order, and so the whole lead time",
    ("taha-13.3-2", "Q_upper"): "each price's own best quantity is weighed instead of the bound on where to look",
    ("taha-13.3-3", "optimum"): "bins share no storage area that the shop would enter: quantities do not compete",
    ("taha-13.3-3", "cost_per_day"): "the cost of that optimum",
    ("eoq-all-units", "region"): "the price that is paid tells it",
}


def exact(number: float) -> Fraction:
    return Fraction(str(number))


def certain(daily: float, sd: float, lead: float) -> tuple[Fraction, float]:
    """Mean and deviation over a lead time that never varies."""
    return over_lead_time(Spread(exact(daily), exact(sd) ** 2, 2), Spread(exact(lead), Fraction(0), 2))


def one_in_transit(case: Case) -> Case:
    given = case["input"]
    demand, lot = exact(given["demand_per_day"]), order_quantity(
        given["demand_per_day"], given["order_cost"], exact(given["hold_per_unit_day"])
    )  # fmt: skip
    mean, sd = certain(given["demand_per_day"], 0, given["lead_time_days"])
    point = normal_order_point(mean, sd, 0.95)
    # The book's 200 is what is on hand: a lot is on its way at that moment, and the position is 1200.
    on_hand = point - int(lot)
    assert position(on_hand=on_hand, held=0, on_order=int(lot)) == point
    return {
        "eoq": lot,
        "cycle_days": lot / float(demand),
        "reorder_on_hand": on_hand,
        "reorder_inventory_position": point,
        "cost_per_day": yearly_cost(lot, demand, given["order_cost"], exact(given["hold_per_unit_day"])),
    }


def constant_keeping(case: Case) -> Case:
    given = case["input"]
    demand, hold = exact(given["demand_per_day"]), exact(given["hold_per_unit_day"])
    best = order_quantity(demand, given["order_cost"], hold)
    tiers = [Tier(1, exact(given["price1"])), Tier(given["break_qty"], exact(given["price2"]))]
    lot = cheapest_lot(demand, given["order_cost"], tiers, hold_each=hold, pack=0)
    mean, sd = certain(given["demand_per_day"], 0, given["lead_time_days"])
    return {
        "ym": best,
        "TCU1_ym": float(demand * tiers[0].price) + yearly_cost(best, demand, given["order_cost"], hold),
        "order_qty": lot.pieces,
        "TCU_at_order": lot.cost,
        "reorder": normal_order_point(mean, sd, 0.95),
    }


def three_items(case: Case) -> Case:
    given = case["input"]
    each = zip(given["demand"], given["order_cost"], given["hold"], strict=True)
    return {"unconstrained": [order_quantity(demand, cost, exact(hold)) for demand, cost, hold in each]}


def buffer(case: Case) -> Case:
    given = case["input"]
    mean, sd = certain(given["daily_mean"], given["daily_sd"], given["lead_days"])
    service = 1 - exact(given["alpha"])
    return {
        "sigma_L": sd,
        "z": deviations(service),
        "buffer_exact": normal_point(mean, sd, service) - float(mean),
        "buffer_ceil": normal_order_point(mean, sd, service) - mean,
        "reorder_exact": normal_point(mean, sd, service),
    }


def carpet(case: Case) -> Case:
    given = case["input"]
    mean, sd = certain(given["daily_mean"], given["daily_sd"], given["lead_days"])
    return {
        "safety_exact": deviations(given["service"]) * sd,
        "reorder_exact": normal_point(mean, sd, given["service"]),
        # The book looks z up as 1.65: its own sum, from our mean and deviation.
        "safety_z165": 1.65 * sd,
        "reorder_z165": float(mean) + 1.65 * sd,
    }


def wrongly_published(case: Case) -> Case:
    given = case["input"]
    point = normal_point(given["mean_lead_demand"], given["sd"], given["service"])
    return {"safety": point - given["mean_lead_demand"], "reorder": point}


def poisson(case: Case) -> Case:
    given = case["input"]
    means = [given["mean_lead_demand"]]
    points = [poisson_order_point(means, exact(service)) for service in given["service"]]
    return {"reorder": points, "achieved": [poisson_reached(means, point) for point in points]}


def cheapest(case: Case) -> Case:
    given = case["input"]
    lot = order_quantity(given["demand"], given["K"], exact(given["h"]))
    return {"Q": lot, "cost": yearly_cost(lot, given["demand"], given["K"], exact(given["h"]))}


def all_units(case: Case) -> Case:
    given = case["input"]
    tiers = [
        Tier(max(1, least), Fraction(price)) for least, price in zip(given["breaks"], given["prices"], strict=True)
    ]
    lot = cheapest_lot(given["demand"], given["K"], tiers, hold_rate=exact(given["hold_rate"]), pack=0)
    assert lot.price == 450  # the third price
    return {"Q": lot.pieces, "cost": lot.cost}


def with_safety_stock(case: Case) -> Case:
    given = case["input"]
    mean = given["demand_mean"] * given["lead_time"]
    sd = given["demand_sd"] * math.sqrt(given["lead_time"])
    service = given["p"] / (given["p"] + given["h"])
    return {
        "r": normal_point(mean, sd, service),
        "Q": order_quantity(given["demand_mean"], given["K"], exact(given["h"])),
    }


def chance(mean: float, pieces: int) -> float:
    return poisson_reached([mean], pieces) - poisson_reached([mean], pieces - 1)


def short_and_over(mean: float, level: int, h: float, p: float) -> float:
    """What keeping and being short cost at this level, straight from the distribution."""
    costs = ((used, h * (level - used) if level > used else p * (used - level)) for used in range(int(mean) + 120))
    return sum(chance(mean, used) * cost for used, cost in costs)


def lots_of_few(case: Case) -> Case:
    """The cheapest (r, Q), searched; for its Q, `lasting` finds the same r without any cost but the ratio."""
    given = case["input"]
    mean = given["demand_mean"] * given["lead_time"]
    level = [short_and_over(mean, at, given["h"], given["p"]) for at in range(24)]

    def cost(r: int, lot: int) -> float:
        return (given["K"] * given["demand_mean"] + sum(level[r + 1 : r + lot + 1])) / lot

    r, lot = min(((r, lot) for r in range(10) for lot in range(1, 13)), key=lambda pair: cost(*pair))
    ratio = given["p"] / (given["p"] + given["h"])
    assert next(point for point in range(20) if lasting(mean, point, lot) >= ratio) == r
    return {"r": r, "Q": lot, "cost": cost(r, lot)}


def newsvendor(case: Case) -> Case:
    given = case["input"]
    level = poisson_order_point([given["mean"]], given["p"] / (given["p"] + given["h"]))
    return {"base_stock": level, "cost": short_and_over(given["mean"], level, given["h"], given["p"])}


COMPUTED: dict[str, Callable[[Case], Case]] = {
    "taha-13.3-1": one_in_transit,
    "taha-13.3-2": constant_keeping,
    "taha-13.3-3": three_items,
    "taha-16.1-1": buffer,
    "carpet-rop": carpet,
    "bad-published-rop": wrongly_published,
    **{f"poisson-rop-{mean}": poisson for mean in (2, 3, 5, 8, 10)},
    "eoq-ex3.1": cheapest,
    "eoq-prob3.1": cheapest,
    "eoq-all-units": all_units,
    "rq-eoqss": with_safety_stock,
    "rq-poisson": lots_of_few,
    "newsvendor-poisson": newsvendor,
}


def test_every_case_is_computed_and_names_its_source() -> None:
    assert sorted(COMPUTED) == sorted(BY_ID)
    assert len(BY_ID) == len(CASES)
    assert all(case["source"] and case["how"] for case in CASES)


@pytest.mark.parametrize("name", sorted(COMPUTED))
def test_the_published_value_is_computed(name: str) -> None:
    case = BY_ID[name]
    found = COMPUTED[name](case)
    left_out = {key for of, key in NOT_COMPUTED if of == name}
    assert set(found) == set(case["expected"]) - left_out
    for key, value in found.items():
        assert value == pytest.approx(case["expected"][key], **case["tolerance"]), key


def test_the_textbook_that_rounds_down_is_short_more_often_than_it_says() -> None:
    case = BY_ID["taha-16.1-1"]
    given, printed = case["input"], case["published"]
    mean, sd = certain(given["daily_mean"], given["daily_sd"], given["lead_days"])
    short = 1 - normal_reached(mean, sd, printed["reorder"])
    assert short == pytest.approx(0.0519, abs=5e-5)
    assert short > given["alpha"]
    ours = normal_order_point(mean, sd, 1 - exact(given["alpha"]))
    assert ours == printed["reorder"] + 1
    assert 1 - normal_reached(mean, sd, ours) == pytest.approx(0.0448, abs=5e-5)


def test_the_page_that_names_95_percent_and_reckons_with_90_is_not_followed() -> None:
    given = BY_ID["bad-published-rop"]["input"]
    ours = normal_point(given["mean_lead_demand"], given["sd"], given["service"])
    assert ours > 83 > 80.24  # what it prints
    assert normal_reached(given["mean_lead_demand"], given["sd"], 80) < 0.9 < given["service"]
