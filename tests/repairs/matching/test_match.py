"""What is taken for the needs of a whole job, and how drills and the pilots that run in their holes go together."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from repairs.matching import match
from repairs.methods.values import DOUBTFUL, GAP, MATCH
from tests.repairs.matching.shelf import (
    M14,
    PILOTED,
    WINDOW,
    batch,
    cutter,
    drill,
    insert_need,
    inserts,
    need,
    only,
    tap,
    tap_need,
    unit,
)


def test_the_worn_tap_that_still_suffices_goes_first() -> None:
    stock = [tap("T-1", life_left=60), tap("T-2", life_left=9), tap("T-3", life_left=3)]
    (line,) = match([tap_need()], stock)
    assert [(take.line.tag, take.holes, take.status) for take in line.takes] == [("T-2", 4, MATCH)]


def test_one_drill_serves_several_groups_and_its_life_is_shared() -> None:
    needs = [need("drill", f"{group}.drill", diameter=WINDOW, holes=4, split=True) for group in "ABC"]
    lines = match(needs, [drill("D-1", 14_500_000, life_left=9), drill("D-2", 14_500_000, life_left=9)])
    assert [line.status for line in lines] == [MATCH] * 3
    assert sum(take.holes for line in lines for take in line.takes) == 12
    one = match(needs, [drill("D-1", 14_500_000, life_left=12), drill("D-2", 14_500_000, life_left=9)])
    assert {take.line.tag for line in one for take in line.takes} == {"D-1"}


def test_eight_holes_with_life_for_five_are_a_gap_that_says_so() -> None:
    (line,) = match([tap_need(holes=8)], [tap("T-1", life_left=5), tap("T-2", {"lead": 90})])
    assert only(line) == (GAP, ["life_short_in_all"])
    assert dict(line.reasons[0].data) == {"count": 1, "left": 5, "taken": 0, "needed": 8}
    assert [(miss.line.tag, miss.reasons[0].code) for miss in line.near] == [
        ("T-1", "life_short"), ("T-2", "lead_too_long"),
    ]  # fmt: skip


def test_eight_holes_are_split_over_two_taps_where_the_step_allows_it() -> None:
    stock = [tap("T-1", life_left=5), tap("T-2", life_left=4)]
    (line,) = match([tap_need(holes=8)], stock)
    assert sum(take.holes for take in line.takes) == 8
    assert {take.line.tag for take in line.takes} == {"T-1", "T-2"}
    (whole,) = match([tap_need(holes=8, split=False)], stock)
    assert only(whole) == (GAP, ["life_short_in_each"])
    assert whole.reasons[0]["left"] == 5


def test_a_gap_says_what_other_needs_of_the_job_take_of_the_life() -> None:
    lines = match([tap_need(id="A.tap"), tap_need(id="B.tap", holes=5)], [tap("T-1", life_left=8)])
    assert sorted(line.status for line in lines) == [GAP, MATCH]
    gap = next(line for line in lines if line.status == GAP)
    taken = 9 - gap.need.holes
    assert dict(gap.reasons[0].data) == {"count": 1, "left": 8, "taken": taken, "needed": gap.need.holes}
    assert gap.near[0].reasons[0]["left"] == 8 - taken


def test_of_two_gaps_the_one_that_wastes_less_life_is_left() -> None:
    lines = match([tap_need(id="A.tap"), tap_need(id="B.tap", holes=5)], [tap("T-1", life_left=5)])
    assert [line.status for line in lines] == [GAP, MATCH]


def test_a_need_that_may_not_be_split_leaves_room_for_the_others() -> None:
    # The largest two each need a tap; only if the clean one goes to a large one do all three find room.
    needs = [tap_need(id=f"{holes}.{n}", holes=holes, split=False) for n, holes in enumerate((1, 3, 3))]
    lines = match(needs, [tap("T-1", life_left=3), tap("T-2", {"lead": 35}, life_left=4)])
    assert sorted(line.status for line in lines) == [DOUBTFUL, DOUBTFUL, MATCH]


def test_inserts_come_from_several_batches_and_what_is_short_is_counted() -> None:
    stock = [inserts("L1", 1, 3), inserts("L2", 2, 2), inserts("L3", 3, 4, {"family": "own-flanged/2"})]
    (line,) = match([insert_need(5)], stock)
    assert [(take.line.tag, take.quantity, take.holes) for take in line.takes] == [("L1", 3, 0), ("L2", 2, 0)]
    (gap,) = match([insert_need(6)], stock)
    assert only(gap) == (GAP, ["quantity_short_in_all"])
    assert dict(gap.reasons[0].data) == {"count": 2, "available": 5, "taken": 0, "needed": 6}


def test_a_shared_pack_takes_nothing_but_must_be_there() -> None:
    needs = [need("oil", f"{group}.oil", quantity=1) for group in "AB"]
    lines = match(needs, [batch("O1", 1, "oil", 1)])
    assert [(line.status, [take.quantity for take in line.takes]) for line in lines] == [(MATCH, [0])] * 2
    assert only(match(needs[:1], [batch("O1", 1, "oil", 0)])[0]) == (GAP, ["quantity_short_in_all"])


def test_the_fewest_units_do_for_all_groups() -> None:
    wide = unit("W-9", "torque_wrench", {"torque_min": 5_000, "torque_max": 200_000}, calibration_due=date(2027, 1, 1))
    low = unit("W-1", "torque_wrench", {"torque_min": 5_000, "torque_max": 50_000}, calibration_due=date(2027, 1, 1))
    high = unit("W-2", "torque_wrench", {"torque_min": 50_000, "torque_max": 200_000}, calibration_due=date(2027, 1, 1))
    needs = [need("torque_wrench", f"{torque}", torque=torque) for torque in (20_000, 90_000)]
    lines = match(needs, [low, high, wide])
    assert {take.line.tag for line in lines for take in line.takes} == {"W-9"}


def test_bins_that_are_walked_to_anyway_are_walked_to_once() -> None:
    near: dict[str, Any] = {"bin": "A1", "walk": 1}
    far: dict[str, Any] = {"bin": "Z9", "walk": 9}
    gauge: dict[str, Any] = {"calibration_due": date(2027, 1, 1)}
    whole = {"thread": M14.key, "thread_class": "6H"}
    stock = [
        unit("S-1", "setting_tool", {"thread": M14.key}, **far),
        unit("G-1", "final_gauge", whole, **near, **gauge),
        unit("G-2", "final_gauge", whole, **far, **gauge),
    ]
    lines = match([need("setting_tool", thread=M14.key), need("final_gauge")], stock)
    assert [line.takes[0].line.tag for line in lines] == ["S-1", "G-2"]


def test_what_is_left_equal_goes_by_tag() -> None:
    stock = [unit(tag, "setting_tool", {"thread": M14.key}) for tag in ("S-3", "S-1", "S-2")]
    (line,) = match([need("setting_tool", thread=M14.key)], stock)
    assert line.takes[0].line.tag == "S-1"


def test_a_match_is_taken_before_what_is_doubtful_and_the_doubt_is_passed_on() -> None:
    asked = [need("drill", diameter=WINDOW, doubt_above=14_626_000)]
    top, mid = drill("D-1", 14_650_000), drill("D-2", 14_500_000)
    assert match(asked, [top, mid])[0].takes[0].line.tag == "D-2"
    assert only(match(asked, [top])[0]) == (DOUBTFUL, ["top_of_window"])


# --- pilots --------------------------------------------------------------------------------------------------


def test_the_drill_is_chosen_so_that_a_pilot_runs_in_its_hole() -> None:
    stock = [drill("D-1", 14_400_000), drill("D-2", 14_500_000), cutter("C-1", 14_450_000)]
    lines = match(PILOTED, stock)
    assert [line.takes[0].line.tag for line in lines] == ["D-2", "C-1"]
    assert [reason.code for reason in lines[1].takes[0].reasons] == ["in_window", "pilot_fits"]


def test_a_pilot_that_suits_no_drill_on_the_shelf_is_refused_with_the_drill() -> None:
    lines = match(PILOTED, [drill("D-1", 14_400_000), cutter("C-1", 14_450_000)])
    assert [line.status for line in lines] == [MATCH, GAP]
    assert only(lines[1]) == (GAP, ["none_fits"])
    (miss,) = lines[1].near
    assert (miss.reasons[0].code, miss.reasons[0]["drill_nm"]) == ("pilot_not_under_drill", 14_400_000)


def test_a_pilot_whose_drill_is_a_gap_is_judged_by_the_window_and_doubtful() -> None:
    lines = match(PILOTED, [cutter("C-1", 14_450_000)])
    assert [line.status for line in lines] == [GAP, DOUBTFUL]
    assert [reason.code for reason in lines[1].reasons] == ["pilot_unjudged"]
    lines = match(PILOTED, [cutter("C-1", 13_000_000)])
    assert [line.status for line in lines] == [GAP, GAP]
    assert lines[1].near[0].reasons[0].code == "pilot_not_under_window"


def test_drills_that_guide_a_pilot_are_of_one_diameter() -> None:
    stock = [drill("D-1", 14_400_000, life_left=3), drill("D-2", 14_500_000, life_left=3)]
    lines = match(PILOTED, stock)
    assert only(lines[0]) == (GAP, ["drills_differ"])
    assert dict(lines[0].reasons[0].data) == {"left": 3, "needed": 4}
    assert match(PILOTED[:1], stock)[0].status == MATCH
    lines = match(PILOTED, [*stock, drill("D-3", 14_500_000, life_left=1), cutter("C-1", 14_450_000)])
    assert {take.line.tag for take in lines[0].takes} == {"D-2", "D-3"}


def test_a_drill_without_a_cutter_that_goes_with_it_may_be_left_for_two_doubtful_cutters() -> None:
    second = replace(PILOTED[1], id="A.second")
    lines = match([*PILOTED, second], [drill("D-1", 14_650_000), cutter("C-1", 14_350_000)])
    assert [line.status for line in lines] == [GAP, DOUBTFUL, DOUBTFUL]  # one gap rather than two
    assert only(lines[0]) == (GAP, ["no_pilot_goes_with_it"])


def test_a_pilot_of_a_drill_that_is_not_in_the_job_is_doubtful() -> None:
    (line,) = match(PILOTED[1:], [cutter("C-1", 14_450_000)])
    assert only(line) == (DOUBTFUL, ["pilot_without_drill"])


def test_a_chain_of_pilots_and_ids_given_twice_are_mistakes_of_the_program() -> None:
    chained = replace(PILOTED[1], id="A.third", pilot_of=PILOTED[1].id)
    with pytest.raises(ValueError, match="pilot"):
        match([*PILOTED, chained], [])
    with pytest.raises(ValueError, match="two needs"):
        match([PILOTED[0], PILOTED[0]], [])
