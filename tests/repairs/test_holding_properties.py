"""What always holds of a repair's verdict, whatever the hole: more of what is good never makes it worse."""

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from inventory.threads import read
from repairs.forms import GroupForm, JobForm, PartForm
from repairs.methods import consider, example, fit_of, holding
from repairs.methods.values import HoleGroup, Limits, Option, Size
from repairs.strength import HOLDS, NOT_CHECKED, RULED_OUT, RULES, SIGNS, Sum, Verdict

MM = 1_000_000
NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)
RANK = (RULED_OUT, SIGNS, NOT_CHECKED, HOLDS)  # from bad to good
M14, M16, M18 = (read(typed).thread for typed in ("M14x1.5", "M16x1.5", "M18x1.5"))
SIZES = [
    *(example.bush(length=length * MM, metal=metal) for length in (14, 21, 28) for metal in ("s235", "")),
    *(example.bush(outer=M18, seat=24 * MM, length=length * MM, metal="s235") for length in (14, 21, 28)),
    *(example.wire(length=length * MM) for length in (14, 21, 28)),
]

KNOWN = st.sampled_from(["", "8.8", "10.9", "12.9", "4.6"])
ALLOYS = st.sampled_from(["", "weakest", "a380", "356-t6-pm", "en-ac-43000-sand-f"])


def perhaps(values: st.SearchStrategy[int]) -> st.SearchStrategy[int | None]:
    return st.none() | values


HOLES = st.builds(
    example.holes,
    depth=perhaps(st.integers(20 * MM, 60 * MM)),
    floor=perhaps(st.integers(1 * MM, 20 * MM)),
    edge=perhaps(st.integers(9 * MM, 40 * MM)),
    grade=KNOWN,
    alloy=ALLOYS,
    torque=perhaps(st.integers(20_000, 250_000)),
    reach=perhaps(st.integers(10 * MM, 40 * MM)),
    before=st.sampled_from(["none", "none", "wire_insert"]),
    before_major=st.none() | st.integers(15 * MM, 16_900_000),
    failed=st.sampled_from(["", "insert", "parent"]),
    passes_gauge=st.sampled_from(["yes", "no", "unknown"]),
)


def verdict(group: HoleGroup, size: Size, limits: Limits | None = None) -> Verdict:
    limits = limits or Limits()
    return holding.judged(fit_of(group, size, SIZES, limits))


def by_what(found: Verdict) -> dict[str, Sum]:
    return {each.what: each for each in found.sums}


def options(group: HoleGroup) -> dict[Size, Option]:
    return {option.size: option for plan in consider(group, SIZES, Limits()) for option in plan.options}


# Length


@settings(max_examples=150)
@given(HOLES, st.sampled_from(SIZES), st.integers(0, 20 * MM))
def test_a_longer_insert_of_the_same_family_and_outer_thread_is_never_worse_in_strength(
    group: HoleGroup, size: Size, more: int
) -> None:
    longer = replace(size, length=size.length + more)
    one, other = verdict(group, size), verdict(group, longer)
    assert RANK.index(other.status) >= RANK.index(one.status)


@settings(max_examples=150)
@given(HOLES, st.sampled_from(SIZES), st.integers(0, 20 * MM))
def test_a_longer_insert_carries_no_less_and_its_margin_against_the_same_limit_never_falls(
    group: HoleGroup, size: Size, more: int
) -> None:
    """What carries more may be held against the next limit, and the margin then starts anew: never for the same."""
    one, other = by_what(verdict(group, size)), by_what(verdict(group, replace(size, length=size.length + more)))
    for what, less in one.items():
        greater = other[what]
        assert RANK.index(greater.status) >= RANK.index(less.status)
        assert (greater.carries or 0.0) >= (less.carries or 0.0) * (1 - 1e-12)
        if less.needed == greater.needed and less.margin is not None and greater.margin is not None:
            assert greater.margin >= less.margin - 1e-12


@given(st.integers(10, 40), st.sampled_from(["8.8", "10.9"]))
def test_length_counts_and_twice_the_threads_carry_twice_as_much(length: int, grade: str) -> None:
    """So that the properties above are not true of a sum that never moves."""
    group = example.holes(grade=grade, alloy="a380", reach=None)
    plain = replace(example.bush(metal="s235"), length=length * MM + 1_500_000)  # a pitch is lost at the ends
    twice = replace(plain, length=2 * length * MM + 1_500_000)
    one, other = by_what(verdict(group, plain)), by_what(verdict(group, twice))
    assert abs((other["parent_thread"].carries or 0) / (one["parent_thread"].carries or 1) - 2) < 1e-9


# Edge


@settings(max_examples=60)
@given(HOLES, st.integers(9 * MM, 40 * MM), st.integers(0, 20 * MM))
def test_a_larger_edge_distance_never_worsens_a_verdict_in_room_or_in_strength(
    group: HoleGroup, edge: int, more: int
) -> None:
    near, far = options(replace(group, edge=edge)), options(replace(group, edge=edge + more))
    for size in near.keys() & far.keys():
        one, other = near[size], far[size]
        assert RANK.index(other.verdict) >= RANK.index(one.verdict), size
        if one.strength is not None and other.strength is not None:
            assert RANK.index(other.strength.status) >= RANK.index(one.strength.status), size


@given(st.integers(8_100_000, 40 * MM))
def test_below_0_7_diameters_to_the_edge_nothing_holds_and_the_sum_says_by_which_rule(edge: int) -> None:
    strong = example.holes(edge=edge, grade="8.8", alloy="", shear=400_000, torque=50_000, reach=60 * MM)
    found = verdict(strong, example.bush(length=60 * MM, metal="s235"))
    below = 2 * edge < Decimal("1.4") * M16.nominal
    assert ("edge_below_factor" in [reason.code for reason in found.reasons]) is below
    assert all(("rule of thumb" in each.by) is below for each in found.sums if each.what != "bolt")
    assert not (below and found.status == HOLDS)


# Units


def typed(lengths: dict[str, str], **answers: str) -> HoleGroup:
    """A group as its form reads it; raises where the form refuses."""
    told: dict[str, str] = {"thread": "M14x1.5", "holes": "4", "hole": "blind", "before": "none", "made": "cut"}
    form = GroupForm(told | {"material": "cast aluminium"} | lengths | answers, as_of=NOW)
    part = PartForm({"name": "casing"})
    job = JobForm({"number": "J-1", "site": "Main", "starts": "2026-03-04"}, as_of=NOW)
    assert all(each.is_valid() for each in (form, part, job)), form.errors
    window = job.window()
    assert window is not None
    return form.value(code="A", window=window, site="Main", part=part)


def metric(number: Any, places: int) -> str:
    return f"{Decimal(number).scaleb(-places).normalize():f}"


@settings(max_examples=40)
@given(
    st.fixed_dictionaries(
        {
            "depth": st.integers(16, 40),
            "floor": st.integers(1, 12),
            "edge": st.integers(9, 30),
            "reach": st.integers(6, 30),
        }
    ),
    st.integers(20, 200),
    st.integers(10, 60),
)
def test_the_unit_that_was_typed_in_never_matters(sixteenths: dict[str, int], feet: int, ksi: int) -> None:
    """1/16 in is 1.5875 mm, exactly; 1 lbf·ft is 1.3558179483314004 N·m and 1 ksi 6.894757293168 MPa.

    Torques are kept as whole N·mm and strengths as whole kPa, so that what was read once is typed again in metric.
    """
    inch = typed(
        {name: f"{count}/16 in" for name, count in sixteenths.items()},
        torque=f"{feet} lbf·ft", shear=f"{ksi} ksi", tensile=f"{2 * ksi} ksi", grade="10.9",
    )  # fmt: skip
    assert inch.torque is not None
    assert inch.shear is not None
    assert inch.tensile is not None
    assert abs(inch.torque - Decimal("1355.8179483314004") * feet) <= Decimal("0.5")
    assert abs(inch.shear - Decimal("6894.757293168") * ksi) <= Decimal("0.5")
    again = typed(
        {name: f"{Decimal('1.5875') * count} mm" for name, count in sixteenths.items()},
        torque=f"{metric(inch.torque, 3)} N·m", shear=f"{metric(inch.shear, 3)} MPa",
        tensile=f"{metric(inch.tensile, 3)} MPa", grade="10.9",
    )  # fmt: skip
    assert again == inch
    mixed, plain = options(again), options(inch)
    assert {size: (each.verdict, each.checks, each.strength) for size, each in mixed.items()} == {
        size: (each.verdict, each.checks, each.strength) for size, each in plain.items()
    }


# Metal


@settings(max_examples=150)
@given(HOLES, st.sampled_from(SIZES), st.integers(20_000, 400_000), st.integers(0, 300_000))
def test_a_stronger_parent_metal_never_worsens(group: HoleGroup, size: Size, shear: int, more: int) -> None:
    """Of Alexander's C2 the printed polynomial dips by 0.16 % between Rs 1.8 and 2.1: so much a bolt's sum may fall."""
    weak, strong = (verdict(replace(group, alloy="", shear=each), size) for each in (shear, shear + more))
    one, other = by_what(weak), by_what(strong)
    for what, less in one.items():
        assert (other[what].carries or 0.0) >= (less.carries or 0.0) * (1 - 2e-3), what
    if all(abs(each.margin or 1.0) > 2e-3 for each in (*weak.sums, *strong.sums)):
        assert RANK.index(strong.status) >= RANK.index(weak.status)


# Doubt


@settings(max_examples=100)
@given(
    HOLES,
    st.sampled_from(SIZES),
    st.fixed_dictionaries({name: st.integers(0, 60) for name in ("doubt_length", "doubt_edge", "doubt_torque")}),
    st.fixed_dictionaries({name: st.integers(0, 60) for name in ("doubt_length", "doubt_edge", "doubt_torque")}),
)
def test_more_doubt_never_makes_a_signature_into_a_hold(
    group: HoleGroup, size: Size, doubts: dict[str, int], more: dict[str, int]
) -> None:
    """Doubts in tenths: of a millimetre, of a per cent."""

    def doubting(tenths: dict[str, int]) -> Limits:
        own = {name: replace(RULES[name], value=Decimal(count) / 10) for name, count in tenths.items()}
        return Limits(values=tuple((dict(Limits().values) | own).items()))

    sure = verdict(group, size, doubting(doubts))
    unsure = verdict(group, size, doubting({name: doubts[name] + more[name] for name in doubts}))
    assert RANK.index(unsure.status) <= RANK.index(sure.status)
    assert not (sure.status == SIGNS and unsure.status == HOLDS)


@given(HOLES, st.sampled_from(SIZES))
def test_nothing_entered_is_never_better_than_not_checked(group: HoleGroup, size: Size) -> None:
    assume(not group.grade or not group.alloy)
    assert verdict(group, size).status != HOLDS


def test_these_holes_cover_every_answer() -> None:
    """The properties would say nothing if every hole were ruled out."""
    good = example.holes(grade="8.8", alloy="", shear=200_000, torque=60_000, reach=40 * MM)
    found = {
        verdict(good, SIZES[4]).status,
        verdict(replace(good, shear=100_000), SIZES[0]).status,
        verdict(replace(good, shear=30_000, torque=150_000), SIZES[0]).status,
        verdict(replace(good, shear=None), SIZES[4]).status,
    }
    assert found == set(RANK)
