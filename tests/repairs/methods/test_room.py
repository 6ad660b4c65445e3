"""Depth part by part, metal to the edge, bite, wall: each judgement at its limit, what may never be."""

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.quantities import to_mm, to_nm
from inventory.threads import Thread, insert_hole, read
from repairs.methods import METHODS, consider, example, room
from repairs.methods.values import (
    DOUBTFUL,
    FITS,
    IMPOSSIBLE,
    NOT_CHECKED,
    RULED_OUT,
    HoleGroup,
    Lead,
    Limits,
    Size,
    Window,
)

MM = 1_000_000
GEOMETRY = json.loads((Path(__file__).resolve().parents[2] / "published" / "geometry.json").read_text())
DEPTHS = [case for case in GEOMETRY if case["topic"] == "STI tapped hole depth"]
RANK = {FITS: 0, NOT_CHECKED: 1, DOUBTFUL: 2, RULED_OUT: 3}


def thread(typed: str) -> Thread:
    return read(typed).thread


def budget(size: Size, **answers: Any) -> room.Budget:
    group = example.holes(**{"bolt": size.inner, **answers})
    method = METHODS[size.method]
    return room.budget(group, size, method.depths(size, Limits()), method.window(size), Limits())


def wire_m10(length: int = 10 * MM) -> Size:
    bolt = thread("M10x1.25")
    return example.wire(inner=bolt, outer=insert_hole(bolt), length=length)


# Depth


@pytest.mark.parametrize("case", DEPTHS, ids=lambda case: str(case["id"]))
def test_the_published_depths_of_wire_inserts(case: dict[str, Any]) -> None:
    given_, expected = case["input"], case["expected"]
    bolt = thread(f"M{given_['D_mm']}x{given_['P_mm']}")
    length = to_nm(Decimal(str(given_["insert_length_mm"])))
    depths = METHODS["wire_insert"].depths(example.wire(inner=bolt, outer=insert_hole(bolt), length=length), Limits())
    found = [to_mm(nm) for nm in (depths.needed(room.PLUG), depths.needed(room.BOTTOMING), depths.thread)]
    names = ("drill_depth_plug_min_mm", "drill_depth_bottoming_min_mm", "full_thread_depth_min_mm")
    wanted = [Decimal(str(expected[name])) for name in names]
    assert found == pytest.approx(wanted, abs=Decimal(str(case["tolerance"]))), case["source"]


def no_deeper(size: Size) -> int:
    """The floor that holds a drill's point and the shop's least, and not a nanometre more."""
    most = METHODS[size.method].window(size).most
    return room.point_of(most) + room.up(Limits()["floor_least"])


def test_a_thin_floor_plans_the_shallower_bottoming_depth_and_is_judged_at_what_the_fitter_drills() -> None:
    bush = example.bush(length=14 * MM)  # plug 23.5 mm, bottoming (the nose asks 4 mm) 21.5 mm
    enough = no_deeper(bush)
    at_plug = budget(bush, depth=23_500_000, floor=enough)
    assert at_plug.drill == Window(23_500_000, 23_500_000)
    thin = budget(bush, depth=23_500_000, floor=enough - 1 * MM)
    assert thin.lead is not None
    assert thin.lead.match == room.BOTTOMING
    assert thin.drill == Window(21_500_000, 22_500_000)
    assert "floor_thin" not in {check.reason.code for check in thin.checks}
    thinner = budget(bush, depth=23_500_000, floor=enough - 3 * MM)
    assert thinner.drill == Window(21_500_000, 21_500_000)
    told = {check.reason.code: check for check in thinner.checks}
    # 3.403 mm of floor and 2 mm less depth, less a point of 4.403 mm, leaves 1 mm.
    assert told["floor_thin"].reason["left_nm"] == 1 * MM


def test_a_floor_smaller_than_the_point_that_stands_in_it_is_never_passed_over() -> None:
    codes = {check.reason.code for check in budget(example.bush(), depth=30_500_000, floor=300_000).checks}
    assert codes & {"floor_thin", "floor_breaks_through"}


def test_a_floor_that_was_not_entered_is_not_checked() -> None:
    checks = {check.reason.code: check.status for check in budget(example.bush(), depth=40 * MM, floor=None).checks}
    assert checks["floor_missing"] == NOT_CHECKED


def test_all_published_depths_are_among_the_cases() -> None:
    assert len(DEPTHS) == 15


@pytest.mark.parametrize(
    ("depth", "lead", "status"),
    [
        (13_749_999, Lead(0, 0), RULED_OUT),  # under one thread of lead
        (13_750_000, Lead(0, 10), DOUBTFUL),
        (14_999_999, Lead(0, 19), DOUBTFUL),
        (15_000_000, Lead(20, 20), FITS),  # a bottoming tap, as the rule counts it
        (16_250_000, Lead(20, 30), FITS),  # a three-thread tap would just do
        (17_499_999, Lead(20, 39), FITS),
        (17_500_000, Lead(40, 40), FITS),  # a plug tap
        (18_000_000, Lead(44, 44), FITS),
        (18_750_000, Lead(50, 50), FITS),
        (26_250_000, Lead(50, 100), FITS),  # a taper tap only where the hole is drilled deeper than planned
    ],
)
def test_the_lead_that_a_blind_depth_allows(depth: int, lead: Lead, status: str) -> None:
    judged = budget(wire_m10(), depth=depth, floor=no_deeper(wire_m10()))
    if status != RULED_OUT:
        assert judged.lead == lead
    assert judged.checks[0].status == status


def test_small_plug_taps_count_their_pointed_end_and_bottoming_taps_do_not() -> None:
    bolt = thread("M8")
    size = example.wire(inner=bolt, outer=insert_hole(bolt), length=12 * MM)
    # 12 + 4 + 6 x 1.25 = 23.5 with a plug tap, 12 + 4 x 1.25 = 17 with a bottoming one.
    floor = no_deeper(size)
    assert budget(size, depth=23_500_000, floor=floor).lead == Lead(40, 40)
    assert budget(size, depth=23_499_999, floor=floor).lead == Lead(20, 39)
    assert budget(size, depth=17 * MM, floor=floor).lead == Lead(20, 20)


def test_the_setting_tool_s_nose_is_served_by_the_lead_s_room() -> None:
    bush = example.bush(nose=4 * MM)
    numbers = METHODS["flanged_bush"].depths(bush, Limits()).numbers
    assert numbers["needed_plug_nm"] == (2 + 21) * MM + 1_500_000 + 6 * MM
    assert numbers["needed_bottoming_nm"] == (2 + 21) * MM + 1_500_000 + 4 * MM  # 2 P is 3 mm, the nose wants 4
    longer = METHODS["flanged_bush"].depths(replace(bush, nose=9 * MM), Limits())
    assert longer.needed(room.PLUG) == (2 + 21) * MM + 1_500_000 + 9 * MM
    assert not budget(replace(bush, nose=9 * MM), depth=33_499_999, floor=6 * MM).stands
    assert budget(replace(bush, nose=9 * MM), depth=33_500_000, floor=6 * MM).stands


def test_drill_and_tap_reach_what_they_must() -> None:
    judged = budget(example.bush())
    assert judged.drill == Window(30_500_000, 32_000_000)  # four and five threads of lead
    assert judged.drill_reach == 32_000_000 + room.point_of(14_676_000)
    assert judged.tap_reach == (2 + 21) * MM + 6 * MM
    through = budget(example.bush(), through=True, depth=25 * MM)
    assert through.drill_reach == 25 * MM + room.point_of(14_676_000)
    assert through.lead is None
    thick = budget(example.bush(), through=True, depth=200 * MM)
    assert thick.drill == Window(39_500_000, 39_500_000)  # seat, insert, a pitch and a taper tap's ten threads


def test_a_floor_that_was_not_entered_makes_deepening_doubtful_not_impossible() -> None:
    judged = budget(wire_m10(15 * MM), depth=17 * MM, floor=None)
    (check,) = judged.checks
    assert (check.status, check.reason.code, check.reason["wanted_nm"]) == (
        DOUBTFUL,
        "floor_missing_to_deepen",
        3 * MM,
    )
    assert budget(wire_m10(), depth=17 * MM, floor=None).checks[0].status == FITS


def test_the_floor_below_is_never_drilled_under_the_shop_s_limit() -> None:
    # 0.3 x 10.483 of point and 2 of floor stay; one nm less and the insert is refused.
    point = room.point_of(10_483_000)
    least = 3 * MM + point + 2 * MM
    enough = budget(wire_m10(15 * MM), depth=17 * MM, floor=least)
    assert (enough.checks[0].reason.code, enough.deeper) == ("depth_bottoming_only", 3 * MM)
    assert enough.lead == Lead(20, 20)
    less = budget(wire_m10(15 * MM), depth=17 * MM, floor=least - 1)
    assert (less.checks[0].status, less.checks[0].reason.code) == (DOUBTFUL, "depth_only_just")
    none = budget(wire_m10(15 * MM), depth=17 * MM, floor=point + 2 * MM)
    assert (none.checks[0].status, none.checks[0].reason["deeper_nm"]) == (RULED_OUT, 0)


def test_a_thin_floor_is_told_where_the_larger_drill_s_point_cuts_into_it() -> None:
    exact = budget(wire_m10(), depth=15 * MM, floor=4 * MM)
    # The point takes 3.145 of 4 mm and leaves 0.855 of 2; the old point took 0.3 x 8.647.
    thin = next(check for check in exact.checks if check.reason.code == "floor_thin")
    assert (thin.status, thin.reason["left_nm"]) == (DOUBTFUL, 855_100)
    assert [check.reason.code for check in budget(wire_m10(), depth=17 * MM, floor=4 * MM).checks] == [
        "depth_bottoming_only"
    ]
    through_it = budget(wire_m10(), depth=15 * MM, floor=3 * MM)
    assert [check.status for check in through_it.checks] == [FITS, RULED_OUT]
    assert through_it.checks[1].reason.code == "floor_breaks_through"


def test_the_parts_of_a_through_hole_add_up_too() -> None:
    (check,) = budget(example.bush(), through=True, depth=22_999_999).checks
    assert check.status == RULED_OUT
    data = check.reason
    assert data["insert_nm"] + data["above_nm"] == data["needed_nm"] == 23 * MM
    assert data["short_nm"] == 1


def test_a_thin_floor_says_how_much_of_the_hole_the_larger_drill_may_take() -> None:
    """EG M8x1.25, 12 mm, in 24 mm with 3 mm below: of 27 mm the point takes 0.3 x 8.483 and the floor 2."""
    group = example.holes(bolt=thread("M8"), depth=24 * MM, floor=3 * MM)
    size = example.wire(inner=group.bolt, outer=insert_hole(group.bolt), length=12 * MM)
    told = example.fit(size, bolt=group.bolt, depth=24 * MM, floor=3 * MM).budget.checks[0].reason
    assert (told.code, told["needed_plug_nm"], told["within_nm"]) == ("depth_bottoming_only", 23_500_000, 22_455_100)
    roomy = example.fit(size, bolt=group.bolt, depth=24 * MM, floor=8 * MM).budget.checks[0].reason
    assert "within_nm" not in roomy.data


def test_like_for_like_without_a_depth_is_not_checked() -> None:
    told = {"before": "wire_insert", "failed": "insert", "passes_gauge": "yes"}
    judged = example.fit(example.wire(), depth=None, **told).budget
    assert [(check.status, check.reason.code) for check in judged.checks] == [(NOT_CHECKED, "same_again_depth_missing")]
    assert example.fit(example.wire(), depth=22_500_000, **told).budget.stands
    assert not example.fit(example.wire(), depth=22_499_999, **told).budget.stands


def test_the_thread_in_the_parent_is_not_guessed_where_none_follows() -> None:
    assert room.thread_now(example.holes(before="keyed_bush")) is None
    assert room.thread_now(example.holes(bolt=insert_hole(thread("M10")), before="wire_insert")) is None


# Edge


@pytest.mark.parametrize(
    ("edge", "status"),
    [
        (12_499_999, RULED_OUT),  # 3 P + half of 16 = 12.5, axis to edge
        (12_500_000, DOUBTFUL),
        (19_999_999, DOUBTFUL),  # 0.75 x 16 of metal beside half of 16 = 20
        (20_000_000, FITS),
    ],
)
def test_metal_to_the_edge_against_the_two_limits(edge: int, status: str) -> None:
    checks = room.edge_checks(example.holes(edge=edge), example.bush(seat=None), Limits())
    assert [check.status for check in checks] == [status]


@pytest.mark.parametrize(
    ("seat", "code", "status"),
    [
        (30 * MM, None, None),
        (32 * MM, "seat_near_edge", DOUBTFUL),  # 4 of 4.5 mm left outside the seat
        (40 * MM, "seat_breaks_edge", RULED_OUT),
    ],
)
def test_metal_outside_the_seat_is_judged_too(seat: int, code: str | None, status: str | None) -> None:
    checks = room.edge_checks(example.holes(edge=20 * MM), example.bush(seat=seat), Limits())
    assert [(check.reason.code, check.status) for check in checks[1:]] == ([(code, status)] if code else [])


@pytest.mark.parametrize(("edge", "code"), [(8_000_000, "thread_breaks_edge"), (8_000_001, "edge_too_near")])
def test_a_thread_that_breaks_out_over_the_edge_is_nothing_to_sign_for(edge: int, code: str) -> None:
    checks = room.edge_checks(example.holes(edge=edge), example.bush(seat=None), Limits())  # M16: 8 from its axis
    assert [(check.reason.code, check.status) for check in checks] == [(code, RULED_OUT)]
    assert (code in IMPOSSIBLE) is (code == "thread_breaks_edge")


def test_a_bore_narrower_than_the_thread_that_stands_there_is_counted_as_that_thread() -> None:
    # The minor diameter of M14x1.5 is 12.376 (ISO 68-1): 1.42 is a slip for 14.2.
    assert room.gone_at(example.holes(bore=1_420_000, off_axis=100_000)) == 12_576_000


def test_a_hole_that_is_not_cut_again_is_never_ruled_out_by_its_edge() -> None:
    checks = room.edge_checks(example.holes(edge=9 * MM), example.wire(), Limits(), cut=False)
    assert [check.status for check in checks] == [DOUBTFUL]


def test_an_edge_that_was_not_entered_is_not_checked() -> None:
    assert [check.status for check in room.edge_checks(example.holes(edge=None), example.bush(), Limits())] == [
        NOT_CHECKED
    ]


# Bite


def test_bite_on_basic_sizes_after_a_wire_insert_is_three_per_cent() -> None:
    # (16 - (14 + 1.299038 x 1.5)) / 2 = 0.0257 of 0.5413 x 1.5 = 0.8119 mm.
    percent = room.bite(thread("M16x1.5"), thread("M14x1.5").nominal_mm + Decimal("1.299038") * Decimal("1.5"))
    assert percent == pytest.approx(Decimal("3.17"), abs=Decimal("0.01"))


@pytest.mark.parametrize(("major", "percent"), [("16.5", 0), ("16", 0), ("15.1881", 50), ("14.3762", 100), ("12", 100)])
def test_bite_stays_between_nothing_and_the_whole_thread(major: str, percent: int) -> None:
    assert room.bite(thread("M16x1.5"), Decimal(major)) == pytest.approx(Decimal(percent), abs=Decimal("0.01"))


def test_bite_just_under_the_limit_is_never_shown_as_the_limit() -> None:
    # 74.99 % shows as 74.9.
    major = Decimal(16) - 2 * room.BITE_HEIGHT * Decimal("1.5") * Decimal("0.7499")
    group = example.holes(
        before="solid_bush", before_thread=thread("M15x1"), before_major=room.up(major), failed="parent"
    )
    (check,) = room.bite_checks(group, example.bush(), Limits())
    assert (check.status, check.reason["bite"]) == (RULED_OUT, "74.9")
    assert check.reason["basis"] == "5/8 H"


def test_a_bush_hardly_larger_than_its_bolt_finds_too_little_metal_even_in_a_fresh_hole() -> None:
    # (14.75 - 14) / 2 of 0.5413 x 1 a side is 69 %: the bolt's own thread has taken the rest.
    small = example.bush(outer=Thread("M", 14_750_000, 1_000_000))
    (check,) = room.bite_checks(example.holes(), small, Limits())
    assert (check.status, check.reason["bite"], check.reason["how"]) == (RULED_OUT, "69.2", "basic")
    assert room.bite_checks(example.holes(), example.bush(), Limits()) == ()


def test_another_insert_s_hole_is_taken_at_its_own_tap_s_largest() -> None:
    group = example.holes(before="wire_insert", before_thread=insert_hole(thread("M12x1.5")))
    major = room.major_now(group)
    assert major is not None
    assert major.how == "tap"
    assert major.real.quantize(Decimal("0.001")) == Decimal("14.133")  # 0.5564 in, ASME B94.9 table 26a


# Wall


@pytest.mark.parametrize(
    ("inner", "outer", "code", "status"),
    [
        ("M14x1.5", "M16x1.5", "wall_in_step", FITS),
        ("M14x1.5", "M15x1", "wall_none", RULED_OUT),  # unlike pitches: (15 - 1.227 - 14) / 2
        ("M14x1.25", "M18x1.5", "wall_fits", FITS),
        ("M20x2.5", "M24x2", "wall_thin", DOUBTFUL),  # (21.546 - 20) / 2 = 0.773
        ("M14x1.5", "M15x1.5", "wall_thin", DOUBTFUL),  # 0.5 in step
    ],
)
def test_the_wall_of_a_house_bush(inner: str, outer: str, code: str, status: str) -> None:
    check = room.wall_check(example.bush(inner=thread(inner), outer=thread(outer)), Limits())
    assert (check.status, check.reason.code) == (status, code)


def test_out_of_step_the_thin_bush_has_almost_no_wall() -> None:
    check = room.wall_check(example.bush(), Limits())
    assert (check.reason["wall_nm"], check.reason["out_of_step_nm"]) == (1 * MM, 80_000)


def test_a_published_size_s_wall_is_shown_and_not_judged() -> None:
    inner, outer = thread("1/2-13 UNC"), thread("11/16-11 UNS")
    check = room.wall_check(example.keyed(inner=inner, outer=outer), Limits())
    assert (check.status, check.reason.code) == (FITS, "wall_published")
    assert check.reason["wall_nm"] < MM


# Properties


SIZES = [
    *(example.bush(length=mm * MM) for mm in (14, 21, 28)),
    *(example.wire(length=mm * MM) for mm in (14, 21, 28, 35, 42)),
    *(
        example.bush(
            method="plain_bush",
            length=mm * MM,
            seat=None,
            seat_depth=0,
            flange=None,
            below=Window(0, 500_000),
        )
        for mm in (14, 21, 28)
    ),
]
LENGTH = st.integers(min_value=0, max_value=60 * MM)
BEFORE = st.sampled_from(
    [
        {"before": "none"},
        {"before": "unknown"},
        {"before": "wire_insert", "failed": "parent"},
        {"before": "wire_insert", "failed": "insert", "passes_gauge": "yes"},
        {"before": "solid_bush", "before_thread": thread("M16x1.5"), "failed": "unknown"},
    ]
)


def standing(group: HoleGroup) -> set[tuple[str, str, int]]:
    # A thread in the metal itself is cut as long as the hole has it: a deeper hole has a longer one, not one more.
    return {
        (plan.method, option.size.outer.key, option.size.length if option.size.inserted else 0)
        for plan in consider(group, SIZES, Limits())
        for option in plan.options
        if not option.ruled_out
    }


@settings(max_examples=60)
@given(edge=LENGTH, more=LENGTH, before=BEFORE)
def test_more_metal_to_the_edge_never_worsens_any_judgement_of_it(edge: int, more: int, before: dict[str, Any]) -> None:
    for size in SIZES:
        for cut in (True, False):
            near, far = (
                max(RANK[check.status] for check in room.edge_checks(example.holes(edge=nm), size, Limits(), cut=cut))
                for nm in (edge, edge + more)
            )
            assert far <= near
    assert standing(example.holes(edge=edge, **before)) <= standing(example.holes(edge=edge + more, **before))


@settings(max_examples=60)
@given(
    depth=LENGTH,
    more=LENGTH,
    floor=st.none() | st.integers(min_value=1, max_value=30 * MM),
    through=st.booleans(),
    before=BEFORE,
)
def test_a_deeper_hole_never_loses_a_size(
    depth: int, more: int, floor: int | None, through: bool, before: dict[str, Any]
) -> None:
    told = {"floor": floor, "through": through, **before}
    assert standing(example.holes(depth=depth, **told)) <= standing(example.holes(depth=depth + more, **told))


@settings(max_examples=60)
@given(depth=LENGTH, floor=LENGTH, more=LENGTH)
def test_more_floor_never_loses_a_size(depth: int, floor: int, more: int) -> None:
    assert standing(example.holes(depth=depth, floor=floor)) <= standing(example.holes(depth=depth, floor=floor + more))


@settings(max_examples=60)
@given(depth=LENGTH, floor=st.none() | LENGTH)
def test_a_lead_that_matches_fits_the_depth_that_there_is(depth: int, floor: int | None) -> None:
    for size in SIZES:
        judged = budget(size, depth=depth, floor=floor)
        if judged.lead is None or not judged.stands or floor is None:
            continue
        method = METHODS[size.method]
        depths, top = method.depths(size, Limits()), method.window(size).most
        deeper = max(0, floor - room.point_of(top) - 2 * MM)
        assert judged.drill is not None
        for lead in (10, 15, 20, 25, 30, 40, 45, 50, 80):
            real = depths.base + room.up(depths.pitch * lead / 10)
            if lead <= judged.lead.match:
                counted = 20 if lead <= 20 else max(40, lead)
                assert depths.needed(counted) <= depth + deeper
                assert depths.needed(lead) <= judged.drill.most
            if lead > judged.lead.doubt and lead <= 20:
                assert real > depth + deeper or depths.base + depths.nose > depth + deeper
        assert judged.drill.most <= max(depth + deeper, judged.drill.least)


@settings(max_examples=80)
@given(
    major=st.decimals(min_value=1, max_value=30, places=4),
    larger=st.decimals(min_value=0, max_value=5, places=4),
)
def test_a_larger_old_hole_never_leaves_more_bite(major: Decimal, larger: Decimal) -> None:
    outer = thread("M16x1.5")
    assert 0 <= room.bite(outer, major + larger) <= room.bite(outer, major) <= 100
