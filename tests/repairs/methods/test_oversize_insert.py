"""The oversize insert: a thick plain bush for a hole that the usual ones no longer fill."""

from typing import Any

import pytest

from repairs.methods import consider, example, pick
from repairs.methods.values import RULED_OUT, Limits, MethodPlan, Size, Window
from tests.repairs.methods.test_methods import MM, check, chosen, need, plans, step_codes, thread


def oversize(sizes: list[Size], **answers: Any) -> MethodPlan:
    return plans(sizes, **answers)["oversize_insert"]


def test_it_takes_over_where_every_usual_bush_finds_no_metal(sizes: list[Size]) -> None:
    told = {"before": "solid_bush", "before_thread": thread("M18x1.5"), "failed": "parent"}
    picked = pick(consider(example.holes(**told), sizes, Limits()), "")
    assert picked is not None
    assert (picked.method, picked.by_choice, picked.size.outer) == ("oversize_insert", False, thread("M20x1.5"))


def test_its_steps_and_needs_are_a_plain_bush_s_on_its_own_outer_thread(sizes: list[Size]) -> None:
    option = chosen(oversize(sizes))
    assert step_codes(option) == step_codes(chosen(plans(sizes)["plain_bush"]))
    inner, outer = thread("M14x1.5").key, thread("M20x1.5").key
    assert {each.kind: each.thread for each in option.needs if each.thread} == {
        "tap": outer, "hole_gauge": outer, "insert": outer, "setting_tool": inner, "final_gauge": inner,
    }  # fmt: skip
    assert need(option, "insert").inner == inner
    assert need(option, "tap").classes[0] == "6H"
    assert need(option, "drill").diameter == Window(18_376_000, 18_676_000)  # ISO 965-1, M20x1.5-6H
    assert check(option, "wall_in_step").reason["wall_nm"] == 3 * MM


@pytest.mark.parametrize(("bolt", "outer"), [("M14x1.5 LH", "M20x1.5 LH"), ("3/8-16 UNC", "3/4-16 UNF")])
def test_left_hand_and_inch_sizes_are_carried(sizes: list[Size], bolt: str, outer: str) -> None:
    option = chosen(oversize(sizes, bolt=thread(bolt)))
    assert (need(option, "tap").thread, need(option, "setting_tool").thread) == (thread(outer).key, thread(bolt).key)


def test_without_a_family_for_the_bolt_it_says_what_would_help(sizes: list[Size]) -> None:
    plan = oversize(sizes, bolt=thread("M5x0.8"))
    assert ([reason.code for reason in plan.reasons], [remedy.code for remedy in plan.remedies]) == (
        ["no_size_for_bolt"], ["load_a_family"]
    )  # fmt: skip


def test_its_greater_diameter_is_judged_by_edge_and_told_in_metal_taken_away(sizes: list[Size]) -> None:
    # 3 P + half of 20 = 14.5.
    plan = oversize(sizes, edge=14_400_000)
    assert plan.chosen is None
    assert {reason.code for reason in plan.reasons} == {"edge_too_near"}
    away, usual = chosen(oversize(sizes)).metal_away, chosen(plans(sizes)["plain_bush"]).metal_away
    assert away is not None
    assert usual is not None
    assert away > 2 * usual


def test_where_it_stood_and_the_metal_failed_there_is_none_larger(sizes: list[Size]) -> None:
    told = {"before": "solid_bush", "before_thread": thread("M20x1.5"), "failed": "parent"}
    plan = oversize(sizes, **told)
    assert all(check(option, "parent_failed_at_size").status == RULED_OUT for option in plan.options)
    assert plan.remedies[0].code == "no_larger_size"


def test_in_magnesium_it_wants_powder_bin_and_a_barrier_that_goes_with_its_adhesive(sizes: list[Size]) -> None:
    option = chosen(oversize(sizes, material="magnesium"))
    assert {"safety", "chip_bin", "corrosion_barrier"} <= {each.kind for each in option.needs}
    (step,) = (step for step in option.steps if step.code == "wind_in")
    assert "barrier_beside_adhesive" in {caution.code for caution in step.cautions}


def test_the_thread_in_its_own_metal_is_summed(sizes: list[Size]) -> None:
    strength = chosen(oversize(sizes, grade="8.8", alloy="a380", reach=24 * MM)).strength
    assert strength is not None
    assert {sum.what for sum in strength.sums} == {
        "parent_thread", "insert_outer_thread", "insert_thread", "bolt_thread", "bolt"
    }  # fmt: skip
