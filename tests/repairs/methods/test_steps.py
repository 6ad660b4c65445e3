"""What single operations ask for and tell, where the whole path does not show it."""

import pytest

from inventory.kinds import KINDS
from inventory.threads import insert_hole, read
from repairs.methods import example, flanged_bush, steps, wire_insert
from repairs.methods.values import Window

MM = 1_000_000


def test_tools_that_wear_are_asked_for_the_holes_of_the_group_and_may_be_shared_others_not() -> None:
    for size, operations in (
        (example.bush(), flanged_bush.operations),
        (example.wire(), wire_insert.operations),
    ):
        for step in operations(example.fit(size, holes=8)):
            for need in step.needs:
                assert (need.holes, need.split) == ((8, True) if KINDS[need.kind].wears else (0, False))


def test_every_need_asks_only_what_its_kind_can_carry() -> None:
    """A field that the kind's items need not carry would make every item of the shop unmatchable."""
    fields = {
        "thread": "thread",
        "classes": "thread_class",
        "diameter": "diameter",
        "reach": "usable_length",
        "lead": "lead",
    }
    for step in flanged_bush.operations(example.fit()):
        for need in step.needs:
            asked = {measure for field, measure in fields.items() if getattr(need, field)}
            assert asked <= set(KINDS[need.kind].measures), need.id


def test_the_extractor_follows_the_bolt_s_thread_whatever_held_it() -> None:
    for before in ("wire_insert", "solid_bush"):
        (step,) = steps.remove_old(example.fit(before=before, failed="parent"))
        assert step.needs[0].thread == read("M14x1.5").thread.key


def test_nothing_is_removed_where_nothing_or_nobody_knows_what_is_in() -> None:
    assert steps.remove_old(example.fit(before="none")) == ()
    assert steps.remove_old(example.fit(before="unknown")) == ()


def test_the_window_of_a_narrow_hole_keeps_its_doubt_inside() -> None:
    bolt = read("M2").thread
    need = steps.drill(example.fit(example.wire(inner=bolt, outer=insert_hole(bolt), length=2 * MM))).needs[0]
    assert need.diameter is not None
    assert need.doubt_above is not None
    assert need.diameter.least <= need.doubt_above < need.diameter.most


def test_the_usual_drill_a_hair_above_2b_is_told() -> None:
    # 33/64 in against 0.515 in, class 2B of 9/16-18 (ASME B1.1 tables): 0.0006 in over.
    bush = example.bush(inner=read("3/8-16 UNC").thread, outer=read("9/16-18 UNF").thread)
    told = [reason for reason in steps.drill(example.fit(bush)).cautions if reason.code == "usual_drill_outside"]
    assert [(reason["drill"], reason["drill_nm"], reason["over_nm"]) for reason in told] == [
        ("33/64 in", 13_096_875, 15_875)
    ]
    for other in (example.bush(), example.wire(), example.keyed()):
        codes = [reason.code for reason in steps.drill(example.fit(other)).cautions]
        assert "usual_drill_outside" not in codes


def test_the_final_gauge_is_of_the_class_that_was_written_for_the_hole() -> None:
    assert steps.final_gauge(example.fit()).needs[0].classes == ("6H", "5H", "4H")
    assert steps.final_gauge(example.fit(bolt_class="5H")).needs[0].classes == ("5H", "4H")
    assert steps.final_gauge(example.fit(bolt_class="6g")).needs[0].classes == ("6H", "5H", "4H")


def test_a_bush_without_a_seat_cannot_be_seated() -> None:
    with pytest.raises(ValueError, match="seat"):
        steps.seat(example.fit(example.bush(seat=None)))


def test_the_bolt_engages_the_whole_insert_below_the_set_down_and_must_not_bottom() -> None:
    step = steps.torque(example.fit(example.wire()))
    engages = step.settings[0]
    assert (engages["from_nm"], engages["to_nm"]) == (2_250_000, 23_250_000)
    assert "bolt_must_not_bottom" in [reason.code for reason in step.cautions]
    assert "bolt_must_not_bottom" not in [reason.code for reason in steps.torque(example.fit(through=True)).cautions]


@pytest.mark.parametrize(
    ("thickness", "set_down", "end"),
    [(21, (1_125, 1_125), 21_000), (22, (1_125, 2_125), 22_000), (30, (1_125, 2_250), 23_250)],
)
def test_in_a_through_hole_no_insert_is_set_so_deep_that_it_stands_out_below(
    thickness: int, set_down: tuple[int, int], end: int
) -> None:
    """A wire insert of 21 mm wants 21 mm of metal at the least set-down of 0.75 P; what is thicker it may go deeper."""
    fit = example.fit(example.wire(), through=True, depth=thickness * MM, floor=None)
    told = steps.set_down(fit).settings[0]
    assert (told["least_nm"], told["most_nm"]) == tuple(1_000 * each for each in set_down)
    engages = steps.torque(fit).settings[0]
    assert (engages["from_nm"], engages["to_nm"]) == (told["most_nm"], 1_000 * end)


def test_a_wall_too_thick_to_drill_through_is_drilled_to_a_depth() -> None:
    told = steps.drill(example.fit(through=True, depth=300 * MM, floor=None)).settings[-1]
    assert (told.code, told["least_nm"], told["most_nm"]) == ("drill_depth", 39_500_000, 39_500_000)
    assert "deepest_nm" not in told.data  # one depth is told once
    assert steps.drill(example.fit(through=True, depth=39 * MM, floor=None)).settings[-1].code == "drill_through"
    assert steps.drill(example.fit()).settings[-1]["deepest_nm"] == 32 * MM


def test_threads_of_one_pitch_are_cut_in_step() -> None:
    assert "threads_in_step" in [reason.code for reason in steps.tap(example.fit()).cautions]
    unlike = example.bush(inner=read("M14x2").thread)
    assert "threads_in_step" not in [reason.code for reason in steps.tap(example.fit(unlike)).cautions]


def test_the_minor_diameter_is_measured_against_the_window_it_was_drilled_to() -> None:
    told = steps.hole_gauge(example.fit()).settings[0]
    assert Window(told["least_nm"], told["most_nm"]) == Window(14_376_000, 14_676_000)


def test_a_locked_bush_s_tool_passes_out_below() -> None:
    lock = next(step for step in flanged_bush.operations(example.fit(through=True)) if step.code == "lock")
    assert (lock.settings[0].code, lock.settings[0]["nose_nm"]) == ("tool_passes_out", 4 * MM)
    assert [reason.code for reason in lock.cautions] == ["nothing_behind_hole"]
    other = next(
        step for step in flanged_bush.operations(example.fit(example.bush(lock="friction"))) if step.code == "lock"
    )
    assert [reason.code for reason in other.settings] == ["locked_by"]
