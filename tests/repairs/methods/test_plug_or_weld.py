"""Plug or weld and re-tap: the hole starts anew in metal that nobody has judged, so somebody signs."""

from typing import Any

import pytest

from repairs.methods import consider, example, overrule, pick
from repairs.methods.values import DOUBTFUL, NOT_CHECKED, RULED_OUT, SIGNED, Limits, MethodPlan, Size, Window
from tests.repairs.methods.test_methods import MM, check, chosen, codes, need, plans, seals, step_codes, thread


def filled(**answers: Any) -> MethodPlan:
    return plans([], **answers)["plug_or_weld"]


def test_it_is_never_planned_unless_somebody_wishes_it() -> None:
    found = consider(example.holes(), [], Limits())
    assert pick(found, "") is None
    wished = pick(found, "plug_or_weld")
    assert wished is not None
    assert wished.by_choice


def test_it_is_signed_for_and_the_filled_in_metal_is_not_checked() -> None:
    told = {"alloy": "a380", "grade": "8.8", "reach": 24 * MM}
    option = chosen(filled(**told))
    assert check(option, "filled_by_a_qualified_hand").status == DOUBTFUL
    assert check(option, "filler_strength_missing").status == NOT_CHECKED
    # The alloy of the part is not that of the filling: its thread is not summed by it.
    assert option.strength is not None
    assert "parent_thread" not in {sum.what for sum in option.strength.sums}
    assert codes(option, NOT_CHECKED) == ["filler_strength_missing"]  # the part's own alloy was entered
    assert option.metal_away is None  # how far it is opened up nobody entered


def test_it_is_opened_up_filled_and_dressed_then_made_as_a_new_hole() -> None:
    option = chosen(filled())
    assert step_codes(option) == [
        "clamp", "open_up", "fill", "dress", "drill", "chamfer", "tap", "clean", "final_gauge", "torque"
    ]  # fmt: skip
    key = thread("M14x1.5").key
    assert {each.kind: each.thread for each in option.needs if each.thread} == {"tap": key, "final_gauge": key}
    assert need(option, "drill").diameter == Window(12_376_000, 12_676_000)  # ISO 965-1, M14x1.5-6H
    assert need(option, "tap").classes[0] == "6H"


@pytest.mark.parametrize("typed", ["M14x1.5 LH", "3/8-16 UNC"])
def test_hand_and_inch_thread_are_carried(typed: str) -> None:
    option = chosen(filled(bolt=thread(typed)))
    assert {each.thread for each in option.needs if each.thread} == {thread(typed).key}


def test_the_old_hole_is_gone_so_neither_its_bite_nor_its_wear_counts() -> None:
    told = {"damage": "worn", "bore": 12_500_000, "off_axis": 500_000}
    option = chosen(filled(**told, before="solid_bush", before_thread=thread("M18x1.5"), failed="parent"))
    assert not {"bite_short", "not_cleaned_up", "cleaned_up", "bore_missing"} & {
        each.reason.code for each in option.checks
    }
    assert need(option, "drill").diameter == Window(12_376_000, 12_676_000)  # the old bore narrows nothing
    assert step_codes(option)[1] == "remove_old"


def test_a_cracked_casting_may_be_welded_where_somebody_signs_for_it() -> None:
    told = {"damage": "cracked"}
    (option,) = filled(**told).options
    crack = check(option, "cracked")
    assert crack.status == DOUBTFUL
    assert crack.remedy is not None
    assert crack.remedy.code == "replace_the_part"
    signed = overrule(example.holes(**told), option, {each.seal for each in option.wants_a_name}, [], Limits())
    assert signed is not None
    assert (check(signed, "cracked").status, signed.wants_a_name) == (SIGNED, ())


@pytest.mark.parametrize("damage", ["cracked", "stripped"])
def test_a_crack_rules_every_other_repair_out_and_nobody_signs_that_away(sizes: list[Size], damage: str) -> None:
    for method, plan in plans(sizes, damage=damage).items():
        for option in plan.options:
            ruled = [each for each in option.checks if each.reason.code == "cracked" and each.status == RULED_OUT]
            assert bool(ruled) is (damage == "cracked" and method not in ("plug_or_weld", "scrap_part"))
            if ruled:
                assert (
                    overrule(example.holes(damage=damage), option, seals(option, ("cracked",)), sizes, Limits()) is None
                )


def test_in_magnesium_who_welds_is_warned_and_the_powder_stands_by_from_the_opening_on() -> None:
    option = chosen(filled(material="magnesium"))
    assert (need(option, "safety").step, need(option, "chip_bin").step) == ("open_up", "open_up")
    (fill,) = (step for step in option.steps if step.code == "fill")
    assert "magnesium_welding" in [caution.code for caution in fill.cautions]
    (elsewhere,) = (step for step in chosen(filled()).steps if step.code == "fill")
    assert "magnesium_welding" not in [caution.code for caution in elsewhere.cautions]


def test_the_depth_is_judged_as_for_any_thread_that_is_cut() -> None:
    plan = filled(depth=10 * MM, floor=2 * MM)
    assert plan.chosen is None
    assert [reason.code for reason in plan.reasons] == ["depth_short"]
    assert codes(plan.options[0], RULED_OUT) == ["depth_short"]
