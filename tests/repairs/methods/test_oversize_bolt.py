"""The next oversize bolt or stud: a larger thread in the metal itself, and always somebody's choice."""

from typing import Any

import pytest

from repairs.methods import consider, example, oversize_bolt, pick
from repairs.methods.values import DOUBTFUL, NOT_CHECKED, RULED_OUT, Limits, MethodPlan, Size, Window
from tests.repairs.methods.test_methods import MM, check, chosen, codes, need, option_of, plans, step_codes, thread


def larger(**answers: Any) -> MethodPlan:
    return plans([], **answers)["oversize_bolt"]


def threads(plan: MethodPlan) -> list[str]:
    return list(dict.fromkeys(option.size.inner.designation for option in plan.options))


def test_it_is_never_planned_unless_somebody_wishes_it(sizes: list[Size]) -> None:
    found = consider(example.holes(), [], Limits())
    assert pick(found, "") is None
    wished = pick(found, "oversize_bolt")
    assert wished is not None
    assert (wished.method, wished.by_choice) == ("oversize_bolt", True)
    other = pick(consider(example.holes(), sizes, Limits(order=("oversize_bolt", "keyed_bush", "plain_bush"))), "")
    assert other is not None
    assert other.method == "plain_bush"


def test_somebody_signs_since_the_owner_gets_another_bolt() -> None:
    told = check(chosen(larger()), "another_bolt")
    assert (told.status, told.reason["was"], told.reason["bolt"]) == (DOUBTFUL, "M14x1.5", "M16x1.5")


@pytest.mark.parametrize(
    ("bolt", "next_up"),
    [
        ("M14x1.5", {"M15x1.5", "M16x1.5", "M16x2"}),
        ("M14x1.5 LH", {"M15x1.5-LH", "M16x1.5-LH", "M16x2-LH"}),
        ("M8x1.25", {"M9x1.25", "M10x1.25", "M10x1.5"}),
        ("3/8-16 UNC", {"7/16-14 UNC", "7/16-16 UN", "1/2-13 UNC", "1/2-16 UN"}),
    ],
)
def test_the_next_two_diameters_of_the_same_system_and_hand_are_weighed(bolt: str, next_up: set[str]) -> None:
    assert set(threads(larger(bolt=thread(bolt)))) == next_up


def test_the_largest_bolt_of_its_table_has_no_next_one_and_says_so() -> None:
    table = thread("M14x1.5")
    largest = max((each.nominal for each in oversize_bolt.series(table.system)), default=0)
    plan = larger(bolt=type(table)("M", largest, 6_000_000))
    assert (plan.chosen, [reason.code for reason in plan.reasons]) == (None, ["no_larger_bolt"])


def test_a_thread_that_hardly_bites_past_the_old_one_is_ruled_out_and_steps_up() -> None:
    # (15 - 14) / 2 over 0.5413 x 1.5 is 61.5 % of fresh thread, 75 is the least.
    plan = larger(before_major=14 * MM)
    refused = option_of(plan, "M15x1.5", 22_500_000)
    bite = check(refused, "bite_short")
    assert (bite.status, bite.reason["bite"]) == (RULED_OUT, "61.5")
    assert bite.remedy is not None
    assert (bite.remedy.code, bite.remedy["outer"]) == ("step_up", "M16x1.5")
    assert check(chosen(plan), "stepped_up").reason["refused"] == "M15x1.5"


def test_it_needs_drill_countersink_tap_and_gauge_of_the_larger_thread_and_no_insert() -> None:
    option = option_of(larger(), "M16x1.5", 24 * MM)
    assert step_codes(option) == ["clamp", "drill", "chamfer", "tap", "clean", "final_gauge", "torque"]
    key = thread("M16x1.5").key
    assert {each.kind: each.thread for each in option.needs if each.thread} == {"tap": key, "final_gauge": key}
    assert need(option, "drill").diameter == Window(14_376_000, 14_676_000)
    assert need(option, "tap").classes[0] == "6H"
    countersink = need(option, "countersink").diameter
    assert countersink is not None
    assert countersink.least == 16 * MM


def test_engagement_is_asked_of_the_larger_bolt_and_a_shallow_hole_gets_what_it_takes() -> None:
    # 1.5 x 16 = 24; 22 deep less two threads of lead and one of clearance leaves 17.5.
    lengths = {
        option.size.length
        for option in larger(depth=22 * MM, floor=6_450_000).options
        if option.size.outer == thread("M16x1.5")
    }
    assert lengths == {24 * MM, 17_500_000}
    short = option_of(larger(depth=22 * MM, floor=6_450_000), "M16x1.5", 17_500_000)
    assert check(short, "engagement_short").status == DOUBTFUL
    long = option_of(larger(depth=22 * MM, floor=6_450_000), "M16x1.5", 24 * MM)
    remedy = check(long, "depth_short").remedy
    assert remedy is not None
    assert (remedy.code, remedy["longest_nm"]) == ("shorter_fits", 17_500_000)


def test_a_hole_too_shallow_for_any_length_says_the_shortest_that_there_is() -> None:
    plan = larger(depth=10 * MM, floor=3 * MM)
    assert plan.chosen is None
    assert {remedy.code for remedy in plan.remedies} >= {"none_short_enough"}


def test_its_edge_is_that_of_the_larger_thread() -> None:
    # 3 P + half of 16 = 12.5 for M16x1.5.
    near, least = (option_of(larger(edge=edge), "M16x1.5", 24 * MM) for edge in (12_400_000, 12_500_000))
    assert check(near, "edge_too_near").status == RULED_OUT
    assert check(least, "edge_between").status == DOUBTFUL


def test_in_magnesium_it_wants_powder_and_bin_and_no_barrier() -> None:
    option = chosen(larger(material="magnesium"))
    assert (need(option, "safety").step, need(option, "chip_bin").step) == ("drill", "drill")
    assert "corrosion_barrier" not in {each.kind for each in option.needs}


def test_the_larger_bolt_is_taken_at_its_own_strength_and_not_checked_where_its_class_ends() -> None:
    told = {"alloy": "en-gjs-500-7", "material": "ductile_iron", "reach": 30 * MM}
    strength = option_of(larger(**told, grade="8.8"), "M16x1.5", 16 * MM).strength
    assert strength is not None
    assert {sum.what for sum in strength.sums} >= {"parent_thread", "bolt_thread", "bolt"}
    # Class 9.8 ends at 16 mm (ISO 898-1): an M18 of it is not made, so its strength is not known.
    beyond = larger(**told, grade="9.8", bolt=thread("M16x1.5"))
    assert beyond.options
    assert all("bolt_grade_missing" in codes(option, NOT_CHECKED) for option in beyond.options)
