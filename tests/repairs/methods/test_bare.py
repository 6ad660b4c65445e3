"""Threads in the metal itself: how deep they are cut, and what rules them out by depth, wear and reach."""

from dataclasses import replace

import pytest

from inventory.errors import Reason
from repairs.methods import METHODS, bare, consider, example, fit_of, overrule, pick, room
from repairs.methods.values import (
    DOUBTFUL,
    FITS,
    IMPOSSIBLE,
    NOT_CHECKED,
    RULED_OUT,
    SIGNED,
    Check,
    Limits,
    Option,
    Size,
    Window,
)
from tests.repairs.methods.test_methods import LIKE, MM, check, chosen, codes, need, option_of, plans, seals, thread

PLAIN = example.bush(method="plain_bush", seat=None, seat_depth=0, flange=None, locate="tap_shoulder")


@pytest.mark.parametrize(("lead", "needed"), [(room.BOTTOMING, 28_500_000), (room.PLUG, 31_500_000)])
def test_a_thread_in_the_metal_wants_itself_its_lead_and_a_pitch_of_clearance(lead: int, needed: int) -> None:
    depths = bare.depths(example.bare("oversize_bolt", "M16x1.5", 24), Limits())
    assert depths.needed(lead) == needed
    assert depths.thickness == 24 * MM  # through metal as thick as the thread is long


def test_small_plug_taps_count_their_pointed_end() -> None:
    depths = bare.depths(example.bare("oversize_bolt", "M8x1.25", 12), Limits())
    assert depths.needed(room.PLUG) - depths.needed(room.BOTTOMING) == 2_500_000 + 4_000_000


def test_hard_metal_is_asked_for_a_diameter_soft_for_one_and_a_half() -> None:
    bolt = thread("M14x1.5")
    for material, length in (("steel", 14 * MM), ("cast_aluminium", 21 * MM), ("", 21 * MM)):
        (size,) = bare.cut_in("plug_or_weld", bolt, example.holes(material=material), Limits())
        assert size.length == length


def test_through_metal_takes_its_whole_thickness() -> None:
    lengths = [
        size.length
        for size in bare.cut_in("chase", thread("M14x1.5"), example.holes(through=True, depth=16 * MM), Limits())
    ]
    assert lengths == [21 * MM, 16 * MM]


# Clean-up of worn holes and of holes off their axis


def test_the_window_of_a_worn_hole_begins_where_nothing_of_it_is_left(sizes: list[Size]) -> None:
    option = chosen(plans(sizes, damage="worn", bore=14_400_000)["flanged_bush"])
    assert check(option, "cleaned_up").status == FITS
    assert need(option, "drill").diameter == Window(14_400_000, 14_676_000)
    narrow = chosen(plans(sizes, damage="worn", bore=14_676_000)["flanged_bush"])
    assert need(narrow, "drill").diameter == Window(14_676_000, 14_676_000)
    assert need(narrow, "drill").doubt_above == 14_676_000


def test_a_hole_off_its_axis_is_gone_at_its_bore_and_twice_the_distance(sizes: list[Size]) -> None:
    option = chosen(plans(sizes, bore=14 * MM, off_axis=200_000)["flanged_bush"])
    told = check(option, "cleaned_up").reason
    assert (told["gone_least_nm"], told["off_nm"]) == (14_400_000, 200_000)


def test_beyond_the_widest_drill_a_size_is_ruled_out_and_the_next_that_cleans_it_up_is_named(sizes: list[Size]) -> None:
    plan = plans(sizes, damage="worn", bore=14_800_000)["flanged_bush"]
    refused = option_of(plan, "M16x1.5", 21 * MM)
    ruled = check(refused, "not_cleaned_up")
    assert (ruled.status, ruled.reason["over_nm"]) == (RULED_OUT, 124_000)
    assert ruled.remedy is not None
    assert (ruled.remedy.code, ruled.remedy["outer"]) == ("step_up", "M18x1.5")
    assert chosen(plan).size.outer == thread("M18x1.5")
    wide = plans(sizes, damage="worn", bore=17 * MM)["flanged_bush"]
    assert wide.chosen is None
    assert {remedy.code for remedy in wide.remedies} == {"no_larger_size"}  # nor does M18 clean that up


def test_a_worn_hole_that_nobody_measured_is_not_checked(sizes: list[Size]) -> None:
    assert "bore_missing" in codes(chosen(plans(sizes, damage="worn")["flanged_bush"]), NOT_CHECKED)
    assert "bore_missing" not in codes(chosen(plans(sizes, damage="stripped")["flanged_bush"]), NOT_CHECKED)


# The bolt's reach


@pytest.mark.parametrize(
    ("reach", "found"),
    [
        (22_999_999, {"bolt_short": DOUBTFUL}),
        (23 * MM, {"bolt_reaches": FITS}),  # 2 mm of seat and 21 of bush
        (40 * MM, {"bolt_reaches": FITS}),
        (40 * MM + 1, {"bolt_bottoms": DOUBTFUL}),
    ],
)
def test_a_bolt_engages_the_whole_insert_and_does_not_bottom(reach: int, found: dict[str, str]) -> None:
    checks = room.reach_checks(example.holes(reach=reach), example.bush(), None)
    assert {each.reason.code: each.status for each in checks} == found


def test_the_set_down_puts_the_end_of_a_wire_insert_deeper() -> None:
    size = example.wire()
    (short,) = room.reach_checks(example.holes(reach=23 * MM), size, size.below)
    assert (short.reason.code, short.reason["short_nm"]) == ("bolt_short", 250_000)  # 2.25 of set-down and 21


def test_in_a_through_hole_nothing_bottoms_and_a_hole_of_unknown_depth_is_not_said_to() -> None:
    for answers in ({"through": True}, {"depth": None}):
        (only,) = room.reach_checks(example.holes(reach=60 * MM, **answers), example.bush(), None)
        assert only.reason.code == "bolt_reaches"


def test_a_reach_that_nobody_entered_is_not_checked_in_any_method_that_leaves_a_bolt(sizes: list[Size]) -> None:
    told = {"damage": "burred", "passes_gauge": "yes", "bolt": thread("3/8-16 UNC")}
    found = plans(sizes, **told)
    assert set(found) == set(METHODS)
    for method, plan in found.items():
        missing = [each.reason.code for each in chosen(plan).checks if each.reason.code == "bolt_reach_not_entered"]
        assert len(missing) == (0 if method == "scrap_part" else 1), method


# Metal taken away


def test_metal_taken_away_is_summed_at_the_pitch_diameters() -> None:
    # pi/4 x (15.0257^2 - 13.0257^2) x 24, from M14x1.5 to M16x1.5 (pitch diameters D - 0.6495 P).
    size = example.bare("oversize_bolt", "M16x1.5", 24)
    away = room.metal_away(example.holes(), size, bare.depths(size, Limits()), 0)
    assert away is not None
    assert round(away) == 1058
    deeper = room.metal_away(example.holes(), size, bare.depths(size, Limits()), 3 * MM)
    assert deeper is not None
    assert round(deeper - away) == 532  # pi/4 x 15.0257^2 x 3
    worn = room.metal_away(example.holes(bore=14_500_000), size, bare.depths(size, Limits()), 0)
    assert worn is not None
    assert worn < away


def test_what_is_cut_in_a_hole_that_nobody_knows_is_not_summed() -> None:
    size = example.bush()
    depths = METHODS[size.method].depths(size, Limits())
    for unknown in ({"before": "unknown"}, {"depth": None}):
        assert room.metal_away(example.holes(**unknown), size, depths, 0) is None


def test_a_thread_that_is_kept_takes_no_metal_away_and_a_thicker_insert_more(sizes: list[Size]) -> None:
    kept = chosen(plans(sizes, damage="burred")["chase"]), chosen(plans(sizes, **LIKE)["wire_insert"])
    assert [option.metal_away for option in kept] == [0, 0]
    found = plans(sizes)
    away = [chosen(found[method]).metal_away for method in ("plain_bush", "oversize_insert")]
    assert all(away)
    assert away == sorted(each for each in away if each is not None)


# Overruling


def test_every_check_that_was_signed_counts_as_signed_and_the_rest_stays() -> None:
    near = example.holes(edge=12 * MM, made="unknown")
    bush = PLAIN
    (refused,) = next(plan for plan in consider(near, [bush], Limits()) if plan.method == "plain_bush").options
    option = overrule(near, refused, seals(refused, ("edge_too_near", "made_unknown")), [bush], Limits())
    assert option is not None
    assert codes(option, SIGNED) == ["edge_too_near", "made_unknown"]
    assert (option.wants_a_name, option.verdict) == ((), "signed")
    only = overrule(near, refused, seals(refused, ("edge_too_near",)), [bush], Limits())
    assert only is not None
    assert codes(only, DOUBTFUL) == ["made_unknown"]


@pytest.mark.parametrize("code", IMPOSSIBLE)
def test_what_cannot_be_made_is_never_signed_away(code: str) -> None:
    ruled = Option("flanged_bush", example.bush(), (Check(RULED_OUT, Reason(code)),))
    assert ruled.impossible is not None
    assert overrule(example.holes(), ruled, seals(ruled, IMPOSSIBLE), [], Limits()) is None


def test_what_was_signed_of_an_old_keyed_bush_keeps_its_removal_drill() -> None:
    keyed = example.keyed()
    told = {"bolt": keyed.inner, "before": "keyed_bush", "before_thread": keyed.outer, "failed": "parent"}
    bush = replace(PLAIN, inner=keyed.inner, outer=thread("M20x1.5"))
    group = example.holes(**told, edge=12 * MM)
    (refused,) = next(p for p in consider(group, [bush, keyed], Limits()) if p.method == "plain_bush").options
    assert codes(refused, RULED_OUT) == ["edge_too_near"]
    option = overrule(group, refused, seals(refused, ("edge_too_near",)), [bush, keyed], Limits())
    assert option is not None
    assert need(option, "removal_drill").step == "remove_old"


def test_a_size_without_a_rival_is_picked_only_by_the_one_who_wishes_it() -> None:
    found = consider(example.holes(), [], Limits())
    assert {plan.method for plan in found if plan.chosen is not None} == {"oversize_bolt", "plug_or_weld", "scrap_part"}
    assert pick(found, "") is None


def test_a_chased_hole_is_considered_as_it_stands(sizes: list[Size]) -> None:
    fit = fit_of(example.holes(bore=12_800_000), example.bare("chase", "M14x1.5", 21), sizes, Limits())
    assert (fit.kept, fit.budget.deeper, fit.budget.drill) == (True, 0, None)
