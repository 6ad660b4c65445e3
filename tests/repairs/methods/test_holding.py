"""What a repair holds: what is handed to the sum of strength, and its verdict as checks of a plan."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from inventory.threads import internal_limits
from repairs.methods import example, holding
from repairs.methods.values import DOUBTFUL, FITS, NOT_CHECKED, RULED_OUT, Size
from repairs.strength import Joint, metals
from tests.repairs.methods.test_methods import LIKE, MM, check, chosen, codes, plans, thread


def joint(size: Size | None = None, **answers: Any) -> Joint:
    return holding.joint_of(example.fit(size, **answers))


# The parent metal


def test_an_alloy_is_taken_from_the_table_and_nothing_entered_is_no_metal() -> None:
    found = joint(alloy="a380").metal
    assert found is not None
    assert (found.code, found.kind) == ("a380", "cast_aluminium")
    assert joint().metal is None


def test_the_weakest_of_a_material_is_the_least_shear_strength_that_the_table_has() -> None:
    for material in ("cast_aluminium", "grey_iron", "steel", "magnesium"):
        found = joint(alloy="weakest", material=material).metal
        assert found is not None
        assert found.kind == material
        assert all(found.shear_here <= each.shear_here for each in metals() if each.kind == material)
    assert joint(alloy="weakest", material="").metal is None


def test_one_s_own_strengths_count_before_any_alloy_and_nothing_is_taken_off_them() -> None:
    found = joint(alloy="a380", tensile=300_000, shear=170_500).metal
    assert found is not None
    assert (found.code, found.tensile_here, found.shear_here) == ("own", 300.0, 170.5)
    alone = joint(tensile=300_000).metal
    assert alone is not None
    assert alone.shear_here == 180.0  # 0.6 of it, rule of thumb


def test_a_grey_iron_is_taken_at_its_thickest_and_weakest_wall() -> None:
    found = joint(alloy="en-gjl-200", material="grey_iron").metal
    assert found is not None
    assert (found.tensile, found.wall_over) == (115.0, Decimal(80))


# The bolt


def test_the_bolt_s_class_is_taken_in_the_size_that_it_screws_in_with() -> None:
    bolt = joint(grade="8.8").grade
    larger = joint(example.bare("oversize_bolt", "M18x1.5", 27), grade="8.8").grade
    assert bolt is not None
    assert larger is not None
    assert (bolt.tensile, larger.tensile) == (800.0, 830.0)  # ISO 898-1: up to 16 mm, and over
    assert joint().grade is None


@pytest.mark.parametrize(
    ("typed", "written", "taken"),
    [
        ("M14x1.5", "6g", "6g"),
        ("M14x1.5", "4h", "4h"),
        ("M14x1.5", "6H", ""),
        ("M14x1.5", "", ""),
        ("3/8-16 UNC", "2A", "2A"),
        ("3/8-16 UNC", "2B", ""),
        ("1/4 BSW", "close", "close"),
    ],
)
def test_a_class_counts_where_it_is_the_bolt_s_and_not_where_it_is_the_hole_s(
    typed: str, written: str, taken: str
) -> None:
    bolt = thread(typed)
    size = example.bush(inner=bolt)
    assert joint(size, bolt_class=written).bolt_class == taken
    assert holding.judged(example.fit(size, bolt_class=written, grade="8.8", alloy="a380")).sums


# The insert


def test_the_insert_s_metal_is_its_family_s_and_what_no_family_says_is_not_checked(sizes: list[Size]) -> None:
    told = {"grade": "8.8", "alloy": "a380", "reach": 24 * MM}
    house = chosen(plans(sizes, **told)["flanged_bush"])
    assert house.strength is not None
    assert {"insert_thread", "insert_outer_thread"} <= {sum.what for sum in house.strength.sums}
    assert codes(house, NOT_CHECKED) == []
    bolt = thread("5/16-18 UNC")
    keyed = chosen(plans(sizes, **(told | {"bolt": bolt, "torque": 15_000}))["keyed_bush"])
    assert codes(keyed, NOT_CHECKED) == ["insert_metal_missing"]


def test_a_wire_is_not_summed_and_needs_no_metal(sizes: list[Size]) -> None:
    told = {"grade": "8.8", "alloy": "a380", "reach": 25 * MM}
    option = chosen(plans(sizes, **told)["wire_insert"])
    assert option.strength is not None
    assert {sum.what for sum in option.strength.sums} == {"parent_thread", "bolt_thread", "bolt"}
    assert "wire_not_summed" in [note.code for note in option.strength.notes]
    assert "insert_metal_missing" not in codes(option, NOT_CHECKED)
    assert joint(example.wire(metal="s235")).insert is None


def test_a_keyed_bush_s_own_drill_counts_as_the_largest_minor_diameter() -> None:
    keyed = example.keyed()
    found = joint(keyed)
    assert keyed.drill is not None
    assert found.drilled == keyed.drill.most
    assert Decimal(keyed.drill.most) / MM > internal_limits(keyed.outer).minor_max
    # The drill takes the crests away in which the bush's own outside thread holds.
    own, by_class = (
        next(sum for sum in holding.judged(example.fit(size)).sums if sum.what == "insert_outer_thread").carries
        for size in (replace(keyed, metal="s235"), replace(keyed, metal="s235", drill=None))
    )
    assert own is not None
    assert by_class is not None
    assert own < by_class


def test_a_bore_wider_than_its_class_leaves_less_thread_and_a_filled_hole_has_none() -> None:
    assert joint(example.bare("chase", "M14x1.5", 21), bore=12_900_000).drilled == 12_900_000
    assert joint(example.bare("chase", "M14x1.5", 21), bore=12 * MM).drilled == 12_676_000
    assert joint(example.bare("plug_or_weld", "M14x1.5", 21), bore=12_900_000).drilled == 12_676_000


# What of it carries


def test_the_chamfered_ends_of_a_bush_and_the_last_turns_of_a_wire_carry_nothing() -> None:
    assert joint().engaged == 21 * MM - 1_500_000
    assert joint(example.wire()).engaged == 21 * MM - 1_125_000  # 0.75 P, ASME B18.29.2M
    assert joint(example.bare("chase", "M14x1.5", 21)).engaged == 21 * MM - 1_500_000


def test_a_bolt_that_does_not_reach_the_end_holds_by_what_it_reaches() -> None:
    bush = joint(reach=12 * MM)  # 2 mm of seat above it
    assert (bush.engaged, bush.bolt_engaged) == (19_500_000, 8_500_000)
    wire = joint(
        example.wire(), reach=12_250_000
    )  # set 2.25 down at most; the coil hands on what stands beside the bolt
    assert (wire.engaged, wire.bolt_engaged) == (8_875_000, 8_875_000)
    bare = joint(example.bare("chase", "M14x1.5", 21), reach=12 * MM)
    assert (bare.engaged, bare.bolt_engaged) == (10_500_000, None)
    assert joint(reach=1 * MM).bolt_engaged == 0
    assert joint(reach=60 * MM).bolt_engaged == 19_500_000  # no more than there is
    assert joint().bolt_engaged is None


def test_only_the_fresh_thread_in_a_hole_repaired_before_is_counted() -> None:
    told = {"before": "wire_insert", "failed": "parent", "before_major": 15 * MM}
    assert joint(**told).bite.quantize(Decimal("0.1")) == Decimal("61.6")
    assert joint(before="unknown").bite == 100  # the plan says already that nobody knows
    fresh, bitten = (
        next(
            sum
            for sum in holding.judged(example.fit(**each, grade="8.8", shear=130_000)).sums
            if sum.what == "parent_thread"
        ).carries
        for each in ({}, told)
    )
    assert fresh is not None
    assert bitten is not None
    assert bitten / fresh == pytest.approx(0.616, abs=0.001)


def test_like_for_like_the_whole_receiving_thread_counts() -> None:
    assert joint(example.wire(), **LIKE).bite == 100


# The verdict as checks


def test_what_nobody_entered_of_its_strength_is_not_checked_and_told_once() -> None:
    told = [each.reason.code for each in holding.checks(holding.judged(example.fit(edge=None, torque=None)))]
    assert told == ["parent_metal_missing", "bolt_grade_missing", "insert_metal_missing", "bolt_reach_not_entered"]


def test_where_all_is_entered_and_the_bolt_breaks_first_the_sum_that_governs_is_told(sizes: list[Size]) -> None:
    told = {"grade": "8.8", "alloy": "en-gjs-500-7", "material": "ductile_iron", "reach": 25 * MM}
    option = chosen(plans(sizes, **told)["wire_insert"])
    assert option.verdict == "holds"
    holds = check(option, "bolt_breaks_first")
    assert option.strength is not None
    assert (holds.status, holds.reason["what"]) == (FITS, option.strength.governs)


def test_where_the_thread_strips_before_the_bolt_breaks_an_engineer_signs_and_is_told_what_would_help() -> None:
    told = {"grade": "12.9", "alloy": "a380", "reach": 23 * MM, "torque": 60_000}
    option = chosen(plans([example.bush(length=14 * MM)], **told)["flanged_bush"])
    (strips,) = (each for each in option.checks if each.reason.code == "strips_before_proof")
    assert (strips.status, strips.reason["what"], option.verdict) == (DOUBTFUL, "parent_thread", "signs")
    assert strips.remedy is not None
    assert strips.remedy.code == "engage_more"
    assert strips.remedy["least_nm"] > strips.reason["engaged_nm"]


def test_what_strips_under_its_own_torque_is_ruled_out_and_the_plan_goes_on(sizes: list[Size]) -> None:
    told = {"grade": "12.9", "shear": 15_000, "torque": 300_000}
    plan = plans(sizes, **told)["wire_insert"]
    assert plan.chosen is None or check(plan.chosen, "strips_near_torque")
    short = next(option for option in plan.options if option.size.length == 14 * MM)
    assert check(short, "strips_at_torque").status == RULED_OUT


def test_a_longer_insert_is_preferred_where_the_shorter_would_strip_first() -> None:
    told = {"grade": "12.9", "alloy": "a380", "torque": 60_000, "depth": 60 * MM}
    lengths = [example.wire(length=mm * MM) for mm in (21, 28, 35, 42)]
    plan = plans(lengths, **told)["wire_insert"]
    first = plan.options[0]
    assert first.strength is not None
    assert first.strength.status in ("holds", "not_checked")
    by_rule = chosen(plans(lengths, depth=60 * MM)["wire_insert"])
    assert by_rule.size.length == 21 * MM < first.size.length


def test_only_what_is_chosen_says_which_input_would_turn_it() -> None:
    told = {"grade": "12.9", "alloy": "a380", "reach": 23 * MM, "torque": 60_000}
    plan = plans([example.bush(length=14 * MM), example.bush(length=21 * MM)], **told)["flanged_bush"]
    option = chosen(plan)
    assert option in plan.options
    others = [each.strength for each in plan.options if each is not option]
    assert all(strength is not None and strength.turns == () for strength in others)
    assert option.strength is not None
    assert option.strength == holding.judged(example.fit(option.size, **told), turns=True)
