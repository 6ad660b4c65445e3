from decimal import Decimal

import pytest

from inventory.threads import SYSTEMS, Thread, ThreadError, basic, covered, identify, internal_limits, read, tell_apart


def found(**measured: object) -> list[str]:
    return [candidate.thread.designation for candidate in identify(**measured)]  # type: ignore[arg-type]


def test_an_outside_diameter_and_a_pitch_name_the_thread() -> None:
    assert found(outside_mm=Decimal("13.9"), pitch_mm=Decimal("1.5"))[0] == "M14x1.5"
    assert found(outside_mm=Decimal("14.2"), tpi=Decimal(18))[0] == "9/16-18 UNF"
    assert found(outside_mm=Decimal("13.05"), tpi=Decimal(19))[0] == "G 1/4"
    assert found(outside_mm=Decimal("5.9"), pitch_mm=Decimal(1))[:2] == ["M6x1", "0 BA"]


def test_what_only_a_flank_gauge_tells_apart_stands_side_by_side_and_says_so() -> None:
    first, second, third, *rest = identify(outside_mm=Decimal("6.3"), tpi=Decimal(26))
    assert [each.thread.designation for each in (first, second, third)] == [
        "1/4-26 BSF",
        "1/4-26 brass",
        "1/4-26 cycle",
    ]
    assert first.off_by == second.off_by == third.off_by == 0
    assert [reason.code for reason in second.tell_apart] == ["tell_apart_by_nothing"]
    assert [reason.code for reason in third.tell_apart] == ["tell_apart_by_angle"]
    # The best one is told from the next that is not itself under another name.
    assert first.tell_apart[0]["other"] == "1/4-26 cycle"
    assert all(each.off_by > 1 for each in rest)


def test_either_measurement_may_be_missing() -> None:
    assert {"M14x2", "M14x1.5", "M14x1.25"} <= set(found(outside_mm=Decimal("13.85")))
    by_pitch = identify(tpi=Decimal(26), most=50)
    assert {each.thread.tpi for each in by_pitch if each.off_by == 0} == {Decimal(26)}
    assert all(each.diameter_off_mm is None for each in by_pitch)
    assert not any(SYSTEMS[each.thread.system].bolt for each in by_pitch)
    assert all(each.pitch_off_mm is None for each in identify(outside_mm=Decimal("13.85")))


def test_the_inside_of_a_hole_may_be_a_bushs_or_a_wire_inserts() -> None:
    hole = identify(inside_mm=Decimal("14.5"), pitch_mm=Decimal("1.5"))
    assert [each.thread.designation for each in hole][:2] == ["M16x1.5", "EG M14x1.5"]
    reason = hole[1].tell_apart[0]
    assert (reason.code, reason["difference_nm"]) == ("tell_apart_by_little", 51_000)
    assert not {name for name in found(outside_mm=Decimal("15.95")) if name.startswith(("EG", "STI"))}


def test_how_far_off_a_candidate_is_is_told_in_mm_and_in_doubts() -> None:
    worn = identify(outside_mm=Decimal("13.632"), pitch_mm=Decimal("1.49"), doubt_mm=Decimal("0.1"))[0]
    assert worn.thread.designation == "M14x1.5"
    assert worn.diameter_off_mm == Decimal("0.1")  # the least major diameter of 6g is 13.732
    assert worn.pitch_off_mm == Decimal("0.01")
    assert worn.off_by == 1


def test_a_wider_doubt_lets_more_in_and_the_nearest_few_are_always_shown() -> None:
    exact = identify(outside_mm=Decimal("9.9"), pitch_mm=Decimal("1.5"), doubt_mm=Decimal("0.001"))
    assert len(exact) == 3
    loose = identify(
        outside_mm=Decimal("9.9"), pitch_mm=Decimal("1.5"), doubt_mm=Decimal("0.3"), pitch_doubt_mm=Decimal("0.2")
    )
    assert len(loose) == 12
    assert exact[0].thread == loose[0].thread == read("M10").thread


def test_the_choice_can_be_narrowed() -> None:
    shelf = [read("M14x1.5").thread, read("9/16-18").thread]
    assert set(found(outside_mm=Decimal("14.1"), among=shelf)) == {"M14x1.5", "9/16-18 UNF"}
    assert identify(outside_mm=Decimal("14.1"), among=[]) == ()
    only = identify(outside_mm=Decimal("14.1"), among=shelf[:1])
    assert only[0].tell_apart == ()
    assert len(identify(outside_mm=Decimal("14.1"), most=2)) == 2


@pytest.mark.parametrize(
    ("measured", "code"),
    [
        ({}, "measured_nothing"),
        ({"doubt_mm": Decimal("0.1")}, "measured_nothing"),
        ({"outside_mm": Decimal(6), "inside_mm": Decimal(5)}, "measured_twice"),
        ({"pitch_mm": Decimal(1), "tpi": Decimal(25)}, "measured_twice"),
        ({"outside_mm": Decimal(0)}, "measured_impossible"),
        ({"inside_mm": Decimal(-1)}, "measured_impossible"),
        ({"tpi": Decimal(0)}, "measured_impossible"),
        ({"tpi": Decimal("0.5")}, "measured_impossible"),
        ({"tpi": Decimal("1E10")}, "measured_impossible"),
        ({"outside_mm": Decimal("1E40")}, "measured_impossible"),
        ({"outside_mm": Decimal("NaN")}, "measured_impossible"),
        ({"outside_mm": Decimal(6), "doubt_mm": Decimal("1E-30")}, "measured_impossible"),
        ({"outside_mm": Decimal(6), "doubt_mm": Decimal(0)}, "measured_impossible"),
        ({"outside_mm": Decimal(6), "pitch_doubt_mm": Decimal("-0.1")}, "measured_impossible"),
    ],
)
def test_what_cannot_be_measured_is_refused_by_name(measured: dict[str, Decimal], code: str) -> None:
    with pytest.raises(ThreadError) as refused:
        identify(**measured)  # type: ignore[arg-type]
    assert refused.value.reason.code == code


def test_every_thread_is_found_from_its_own_sizes() -> None:
    """Measured in the middle of its limits: no candidate is nearer, and it is among those shown."""
    for thread in covered()[::7]:
        limits = internal_limits(thread)
        middle = (limits.minor_min + limits.minor_max) / 2
        shown = identify(inside_mm=middle, pitch_mm=thread.pitch_mm, doubt_mm=Decimal("0.01"))
        assert thread in {each.thread for each in shown if each.off_by == shown[0].off_by}, thread


@pytest.mark.parametrize(
    ("one", "other", "codes"),
    [
        ("M14x1.5", "9/16-18 UNF", ["tell_apart_by_count", "tell_apart_by_outside"]),
        ("M14x1.5", "M14x1.25", ["tell_apart_by_count"]),
        ("1/4-20 UNC", "1/4-20 BSW", ["tell_apart_by_angle"]),
        ("1/4-26 BSF", "1/4-26 brass", ["tell_apart_by_nothing"]),
        ("M16x1.5", "EG M14x1.5", ["tell_apart_by_little"]),
        ("1/2-13 UNC", "1/2-12 BSW", ["tell_apart_by_count", "tell_apart_by_angle"]),
        ("G 1/4", "1/2-20 UNF", ["tell_apart_by_count", "tell_apart_by_angle", "tell_apart_by_outside"]),
    ],
)
def test_which_measurement_tells_two_threads_apart(one: str, other: str, codes: list[str]) -> None:
    assert [reason.code for reason in tell_apart(read(one).thread, read(other).thread)] == codes


def test_threads_are_counted_over_25_mm() -> None:
    count, outside = tell_apart(read("M14x1.5").thread, read("9/16-18 UNF").thread)
    assert (count["count"], count["other_count"]) == ("16.7", "17.7")
    assert (outside["size_nm"], outside["other_size_nm"]) == (14_000_000, 14_287_500)


def test_the_inside_is_told_by_minor_diameters() -> None:
    one, other = read("M14x1.5").thread, read("M15x1.5").thread
    (reason,) = tell_apart(one, other, inside=True)
    assert reason.code == "tell_apart_by_inside"
    assert reason["size_nm"] == round(basic(one).minor_internal * 1_000_000)


def test_a_pitch_too_near_to_count_and_gauge_still_says_little() -> None:
    near = Thread("M", 6_000_000, 1_010_000)
    (reason,) = tell_apart(read("M6x1").thread, near)
    assert (reason.code, reason["difference_nm"]) == ("tell_apart_by_little", 0)
