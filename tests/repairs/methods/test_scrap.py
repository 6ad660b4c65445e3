"""Scrap: always there to be chosen, never chosen by the program, and nothing of the old part is judged."""

from typing import Any

import pytest

from repairs.methods import consider, example, pick
from repairs.methods.values import NOT_CHECKED, Limits, Size
from tests.repairs.methods.test_methods import MM, chosen, codes, plans, step_codes, thread


@pytest.mark.parametrize(
    "answers",
    [
        {},
        {"damage": "cracked"},
        {"depth": 1 * MM, "floor": 1 * MM, "edge": 1 * MM},
        {"before": "keyed_bush", "failed": "parent"},
        {"material": "magnesium", "bolt": thread("M14x1.5 LH")},
        {"depth": None, "through": True, "bolt": thread("3/8-16 UNC")},
    ],
)
def test_nothing_rules_it_out_and_it_asks_for_nothing(sizes: list[Size], answers: dict[str, Any]) -> None:
    option = chosen(plans(sizes, **answers)["scrap_part"])
    assert (step_codes(option), option.needs) == (["mark_scrap"], ())
    assert [each.reason.code for each in option.checks] == ["new_part_not_looked_at"]
    assert codes(option, NOT_CHECKED) == ["new_part_not_looked_at"]
    assert (option.strength, option.metal_away, option.verdict) == (None, None, "not_checked")


def test_it_is_never_planned_even_where_nothing_else_stands(sizes: list[Size]) -> None:
    found = consider(example.holes(damage="cracked"), sizes, Limits(order=("scrap_part", "wire_insert")))
    assert pick(found, "") is None
    wished = pick(found, "scrap_part")
    assert wished is not None
    assert wished.by_choice
