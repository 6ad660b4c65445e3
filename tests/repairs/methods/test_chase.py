"""Chasing: for a thread that is only burred, in the metal itself, and for nothing else."""

from typing import Any

import pytest

from repairs.methods import consider, example, overrule, pick
from repairs.methods.values import DOUBTFUL, FITS, NOT_CHECKED, RULED_OUT, SIGNED, Lead, Limits, MethodPlan, Size
from tests.repairs.methods.test_methods import MM, check, chosen, codes, need, plans, seals, step_codes, thread

BURRED = {"damage": "burred", "passes_gauge": "yes"}


def chase(**answers: Any) -> MethodPlan:
    return plans([], **answers)["chase"]


def test_a_burred_thread_is_chased_before_anything_is_drilled(sizes: list[Size]) -> None:
    option = pick(consider(example.holes(**BURRED), sizes, Limits()), "")
    assert option is not None
    assert (option.method, step_codes(option), option.metal_away) == (
        "chase", ["chase", "clean", "final_gauge", "torque"], 0
    )  # fmt: skip


@pytest.mark.parametrize("damage", ["", "unknown", "stripped", "worn", "cracked"])
def test_no_other_thread_is_ever_chased_by_itself(sizes: list[Size], damage: str) -> None:
    picked = pick(consider(example.holes(damage=damage), sizes, Limits()), "")
    assert picked is None or picked.method != "chase"
    plan = chase(damage=damage)
    assert plan.chosen is None
    (told,) = (reason for reason in plan.reasons if reason.code == "chase_only_burred")
    assert told["damage"] == (damage or "unknown")
    # Who did not say what is wrong is told that it would help; who said it is not.
    assert ("tell_the_damage" in [remedy.code for remedy in plan.remedies]) is (damage in ("", "unknown"))


@pytest.mark.parametrize("before", ["wire_insert", "solid_bush", "keyed_bush"])
def test_the_thread_of_an_insert_is_replaced_not_chased_and_nobody_signs_that_away(before: str) -> None:
    told = {**BURRED, "before": before, "failed": "insert"}
    (option,) = chase(**told).options
    assert check(option, "chase_in_an_insert").status == RULED_OUT
    assert overrule(example.holes(**told), option, seals(option, ("chase_in_an_insert",)), [], Limits()) is None


def test_a_foreman_may_sign_for_chasing_what_is_not_burred() -> None:
    (option,) = chase(damage="worn").options
    signed = overrule(example.holes(damage="worn"), option, seals(option, ("chase_only_burred",)), [], Limits())
    assert signed is not None
    assert (check(signed, "chase_only_burred").status, signed.verdict) == (SIGNED, "signed")
    assert step_codes(signed)[0] == "chase"


def test_what_the_gauge_says_of_the_flanks_decides() -> None:
    assert [reason.code for reason in chase(damage="burred", passes_gauge="no").reasons] == ["receiving_thread_fails"]
    unknown = chosen(chase(damage="burred", passes_gauge="unknown"))
    assert check(unknown, "flanks_left_unknown").status == NOT_CHECKED
    assert "flanks_left_unknown" not in codes(chosen(chase(**BURRED)), NOT_CHECKED)


def test_a_hole_whose_past_nobody_knows_is_doubtful() -> None:
    assert "before_unknown_to_chase" in codes(chosen(chase(**BURRED, before="unknown")), DOUBTFUL)


def test_the_tap_is_that_of_the_bolt_s_own_thread_with_the_lead_that_the_hole_takes() -> None:
    option = chosen(chase(**BURRED, depth=27 * MM))
    tap, gauge = need(option, "tap"), need(option, "final_gauge")
    assert (tap.step, tap.thread, tap.classes[0]) == ("chase", thread("M14x1.5").key, "6H")
    # 27 - 21 of thread - 1.5 of clearance = 4.5, three threads: less than a plug tap's four.
    assert tap.lead == Lead(match=20, doubt=30)
    assert "point" not in tap.flutes
    assert gauge.thread == thread("M14x1.5").key
    through = need(chosen(chase(**BURRED, through=True)), "tap")
    assert (through.lead, through.flutes) == (None, ())


@pytest.mark.parametrize("typed", ["M14x1.5 LH", "3/8-16 UNC", "9/16-18 UNF LH"])
def test_hand_and_inch_thread_are_carried_by_tap_and_gauge(typed: str) -> None:
    option = chosen(chase(**BURRED, bolt=thread(typed)))
    assert {each.thread for each in option.needs if each.thread} == {thread(typed).key}
    assert need(option, "tap").classes[0] == ("6H" if typed.startswith("M") else "2B")


def test_only_so_much_thread_is_counted_on_as_the_hole_has() -> None:
    # 12 mm deep less two threads of lead and one of clearance: 7.5 mm, far from a diameter and a half.
    option = chosen(chase(**BURRED, depth=12 * MM))
    assert check(option, "thread_kept").reason["length_nm"] == 7_500_000
    assert check(option, "engagement_short").status == DOUBTFUL
    assert need(option, "tap").lead is not None
    unknown = chosen(chase(**BURRED, depth=None))
    assert check(unknown, "depth_not_known").status == NOT_CHECKED


def test_an_axis_that_is_off_stays_off_and_the_edge_never_rules_a_chase_out() -> None:
    option = chosen(chase(**BURRED, off_axis=300_000, edge=8 * MM))
    assert check(option, "axis_stays_off").status == DOUBTFUL
    assert check(option, "edge_too_near").status == DOUBTFUL
    assert not [each for each in option.checks if each.reason.code in ("cleaned_up", "not_cleaned_up", "bite_short")]


def test_in_magnesium_powder_and_bin_stand_by_from_the_tap_on() -> None:
    option = chosen(chase(**BURRED, material="magnesium"))
    assert (need(option, "safety").step, need(option, "chip_bin").step) == ("chase", "chase")
    assert "magnesium_chips" in [caution.code for caution in option.steps[0].cautions]
    assert "corrosion_barrier" not in {each.kind for each in option.needs}  # no steel goes in


def test_where_all_is_entered_and_the_gauge_passes_it_holds() -> None:
    told = {**BURRED, "alloy": "en-gjs-500-7", "material": "ductile_iron", "grade": "8.8", "reach": 25 * MM}
    option = chosen(chase(**told))
    assert (option.verdict, codes(option, DOUBTFUL), codes(option, NOT_CHECKED)) == ("holds", [], [])
    assert check(option, "bolt_breaks_first").status == FITS
