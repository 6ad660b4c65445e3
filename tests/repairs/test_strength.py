"""Will it hold: what each thread carries, what a verdict says, and that nothing makes it better by being left out."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.errors import Refused
from inventory.quantities import read_length, read_torque, to_nm
from inventory.threads import Thread, internal_limits, read
from repairs.methods.values import MATERIALS, Limit
from repairs.strength import (
    DEFAULTS,
    HOLDS,
    NOT_CHECKED,
    RULED_OUT,
    RULES,
    SIGNS,
    Joint,
    Verdict,
    bolt_metal,
    effective_length,
    hexagon_head,
    judge,
    metal,
    metals,
    own_metal,
    preload_band,
    proof_load,
    sensitivity,
    ultimate_load,
)
from repairs.strength.stripping import ALEXANDER, H28, handbook_engagement, length_to_carry, worst
from repairs.strength.tightening import Band, Head, long_preload, short_preload
from repairs.strength.verdict import worse
from repairs.wording import say

MM = 1_000_000
M10 = Thread("M", 10 * MM, 1_500_000)
M14 = Thread("M", 14 * MM, 1_500_000)
M16 = Thread("M", 16 * MM, 1_500_000)
STEEL = own_metal(tensile=700, kind="steel", word="bush of 700 MPa")
BUSH = Joint(
    M14, 21 * MM, outer=M16, bolt_engaged=21 * MM, grade=bolt_metal("10.9", M14), metal=metal("356-t6-pm"),
    insert=STEEL, torque=130_000, edge=25 * MM, head=hexagon_head(M14),
)  # fmt: skip
RANK = (RULED_OUT, SIGNS, NOT_CHECKED, HOLDS)


def codes(verdict: Verdict) -> dict[str, str]:
    return {each.what: each.reason.code for each in verdict.sums}


def carried(verdict: Verdict) -> dict[str, float]:
    return {each.what: each.carries or 0.0 for each in verdict.sums}


# A bush worked by hand


def test_a_bush_in_cast_aluminium_is_summed_at_its_outer_thread() -> None:
    """M14x1.5 10.9 in M16x1.5, 21 mm, 356-T6 with 221 MPa in shear, of which a casting keeps 0.7 = 154.7 MPa.

    Parent at M16x1.5: least major 15.732, largest pitch diameter of 6H 15.026 + 0.190 = 15.216;
      An = pi x 15.732 x 21/1.5 x [0.75 + 0.57735 x 0.516] = 691.94 x 1.04791 = 725.09 mm2; x 154.7 = 112.17 kN.
    Bolt: As = pi/4 (14 - 0.938194 x 1.5)^2 = 124.55 mm2; x 1040 = 129.53 kN, proof x 830 = 103.37 kN.
    So the metal strips before the bolt breaks, 13.4 % short; 21 x 129.53/112.17 = 24.25 mm would do.
    The bush is so much stronger that Alexander's C3 is over 1, so this plain sum is the smaller and governs.
    """
    verdict = judge(BUSH)
    (parent,) = [each for each in verdict.sums if each.what == "parent_thread"]
    assert (verdict.status, parent.reason.code, parent.by) == (SIGNS, "strips_before_bolt", H28)
    assert parent.carries == pytest.approx(112_170, rel=1e-4)
    assert parent.needed == pytest.approx(129_530, rel=1e-3)
    assert parent.margin == pytest.approx(-0.134, abs=0.0005)
    assert parent.reason["thread"] == "M16x1.5"
    assert parent.reason["least_nm"] == pytest.approx(24.25 * MM, rel=1e-3)
    assert parent.remedies[0].code == "engage_more"


def test_the_verdict_is_that_of_its_worst_sum() -> None:
    verdict = judge(BUSH)
    assert verdict.governs == "parent_thread"
    assert verdict.margin == min(each.margin for each in verdict.sums if each.status == SIGNS and each.margin)
    assert {each.what for each in verdict.sums} == {
        "parent_thread", "insert_outer_thread", "insert_thread", "bolt_thread", "bolt",
    }  # fmt: skip


def test_a_longer_insert_lets_the_bolt_break_first() -> None:
    verdict = judge(replace(BUSH, engaged=30 * MM, bolt_engaged=30 * MM))
    assert (verdict.status, verdict.reasons, verdict.missing) == (HOLDS, (), ())
    assert codes(verdict)["parent_thread"] == "bolt_breaks_first"
    assert codes(verdict)["bolt"] == "bolt_within_proof"


def test_the_bare_hole_is_weaker_than_the_insert_that_follows_it() -> None:
    straight = judge(replace(BUSH, outer=None, insert=None, bolt_engaged=None))
    assert {each.what for each in straight.sums} == {"parent_thread", "bolt_thread", "bolt"}
    assert carried(straight)["parent_thread"] < carried(judge(BUSH))["parent_thread"]


def test_a_torque_that_may_strip_the_parent_rules_the_repair_out_and_says_which_would_not() -> None:
    soft = replace(BUSH, metal=own_metal(shear=50), bolt_engaged=None)
    verdict = judge(soft)
    (parent,) = [each for each in verdict.sums if each.what == "parent_thread"]
    assert (verdict.status, parent.reason.code) == (RULED_OUT, "strips_at_torque")
    assert [remedy.code for remedy in parent.remedies] == ["engage_more", "torque_less"]
    (longer, weaker) = parent.remedies
    eased = judge(replace(soft, torque=weaker["most_nmm"]))
    assert codes(eased)["parent_thread"] in ("strips_before_proof", "strips_before_bolt")
    tried = judge(replace(soft, engaged=longer["least_nm"]))
    assert codes(tried)["parent_thread"] == "bolt_breaks_first"
    short = judge(replace(soft, engaged=longer["least_nm"] - 10))
    assert codes(short)["parent_thread"] != "bolt_breaks_first"


def test_a_torque_with_less_than_its_reserve_is_told() -> None:
    near = replace(BUSH, metal=own_metal(shear=110))
    band = preload_band(near)
    assert band is not None
    (parent,) = [each for each in judge(near).sums if each.what == "parent_thread"]
    assert parent.reason.code == "strips_near_torque"
    assert parent.carries is not None
    assert band.most <= parent.carries < 1.35 * band.most
    assert parent.needed == pytest.approx(1.35 * band.most)


@pytest.mark.parametrize(
    ("share", "code"),
    [
        (0.99, "strips_at_torque"),
        (1.01, "strips_near_torque"),
        (1.34, "strips_near_torque"),
        (1.36, "strips_before_bolt"),
    ],
)
def test_each_limit_of_the_torque_lies_where_it_is_said_to(share: float, code: str) -> None:
    """The thread is given just so much more or less than the torque pulls at most, and 1.35 times that."""
    joint = replace(BUSH, metal=own_metal(shear=100), torque=160_000)
    band = preload_band(joint)
    assert band is not None
    load = carried(judge(joint))["parent_thread"]
    shear = 100 * share * band.most / load
    found = judge(replace(joint, metal=own_metal(shear=shear)))
    assert carried(found)["parent_thread"] == pytest.approx(share * band.most, rel=1e-6)
    assert codes(found)["parent_thread"] == code


def test_an_overtightened_bolt_is_signed_for_and_one_that_breaks_is_ruled_out() -> None:
    strong = replace(BUSH, metal=metal("en-gjs-700-2"), engaged=40 * MM, bolt_engaged=40 * MM)
    assert judge(strong).status == HOLDS
    over = judge(replace(strong, torque=220_000))
    assert (over.status, over.governs, codes(over)["bolt"]) == (SIGNS, "bolt", "bolt_past_proof")
    broken = judge(replace(strong, torque=600_000))
    assert (broken.status, codes(broken)["bolt"]) == (RULED_OUT, "bolt_breaks_at_torque")
    (bolt,) = [each for each in over.sums if each.what == "bolt"]
    assert codes(judge(replace(strong, torque=bolt.remedies[0]["most_nmm"])))["bolt"] == "bolt_within_proof"


# What is not entered


@pytest.mark.parametrize(
    ("left_out", "code"),
    [
        ("metal", "parent_metal_missing"),
        ("grade", "bolt_grade_missing"),
        ("insert", "insert_metal_missing"),
        ("torque", "torque_not_entered"),
        ("edge", "edge_not_entered"),
        ("bolt_engaged", "bolt_reach_not_entered"),
    ],
)
def test_what_is_not_entered_is_told_and_never_ok(left_out: str, code: str) -> None:
    strong = replace(BUSH, engaged=30 * MM, bolt_engaged=30 * MM)
    assert judge(strong).missing == ()
    verdict = judge(replace(strong, **{left_out: None}))
    assert [reason.code for reason in verdict.missing] == [code]
    if left_out in ("metal", "grade", "insert"):
        assert verdict.status == NOT_CHECKED


def test_with_nothing_entered_nothing_is_checked() -> None:
    verdict = judge(Joint(M14, 20 * MM, outer=M16))
    assert (verdict.status, verdict.sums, verdict.governs, verdict.margin) == (NOT_CHECKED, (), "", None)


def test_metal_alone_tells_what_it_carries_and_against_nothing() -> None:
    verdict = judge(Joint(M10, 20 * MM, metal=metal("a380")))
    assert codes(verdict) == {"parent_thread": "strips_at"}
    assert verdict.status == NOT_CHECKED


def test_a_torque_without_a_grade_is_held_against_its_reserve_alone() -> None:
    verdict = judge(replace(BUSH, grade=None, torque=40_000))
    assert verdict.status == NOT_CHECKED
    assert codes(verdict)["parent_thread"] == "holds_its_torque"


def test_what_rules_out_rules_out_whatever_else_is_missing() -> None:
    verdict = judge(replace(BUSH, grade=None, insert=None, metal=own_metal(shear=30)))
    assert verdict.status == RULED_OUT


def test_a_wire_is_not_summed_and_says_so() -> None:
    wire = replace(BUSH, outer=read("EG M14x1.5").thread, insert=None, wire=True)
    verdict = judge(wire)
    assert {each.what for each in verdict.sums} == {"parent_thread", "bolt_thread", "bolt"}
    assert "wire_not_summed" in [note.code for note in verdict.notes]
    assert verdict.missing == ()


# Doubt


def test_a_margin_thinner_than_the_doubt_of_measuring_is_signed_for() -> None:
    m10 = Joint(M10, 16_700_000, grade=bolt_metal("8.8", M10), metal=own_metal(shear=130))
    thin = judge(m10)
    assert (thin.status, [reason.code for reason in thin.reasons]) == (SIGNS, ["margin_within_doubt"])
    assert thin.margin is not None
    assert thin.margin > 0
    sure = judge(replace(m10, engaged=17_700_000))
    assert (sure.status, sure.reasons) == (HOLDS, ())
    exact_rule = judge(m10, {**DEFAULTS, "doubt_length": Decimal(0)})
    assert exact_rule.status == HOLDS


def test_a_shortfall_within_the_doubt_of_measuring_says_so() -> None:
    m10 = Joint(M10, 16_400_000, grade=bolt_metal("8.8", M10), metal=own_metal(shear=130))
    assert [reason.code for reason in judge(m10).reasons] == ["short_within_doubt"]
    assert judge(replace(m10, engaged=14 * MM)).reasons == ()


def test_the_one_input_that_would_change_the_verdict_is_named() -> None:
    m10 = Joint(M10, 16_400_000, grade=bolt_metal("8.8", M10), metal=own_metal(shear=130))
    turns = sensitivity(m10)
    assert [(turn.code, turn.less, turn.status) for turn in turns] == [
        ("length", False, HOLDS), ("metal", False, HOLDS),
    ]  # fmt: skip
    assert judge(m10).turns == turns
    assert sensitivity(replace(m10, engaged=40 * MM, metal=metal("en-gjs-700-2"))) == ()
    assert say(turns[0].reason) == (
        "Were the engaged length 0.5 mm (0.0197 in) more than entered, the verdict would be: holds."
    )


def test_every_named_turn_really_turns_the_verdict() -> None:
    sure = {**DEFAULTS, "doubt_length": Decimal(0), "doubt_edge": Decimal(0), "doubt_torque": Decimal(0)}
    turned = set()
    for shear in range(40, 260, 5):
        joint = replace(BUSH, metal=own_metal(shear=shear), edge=12 * MM)
        for turn in sensitivity(joint):
            sign = -1 if turn.less else 1
            off = sign * MM // 2
            moved = {
                "length": replace(joint, engaged=joint.engaged + off, bolt_engaged=21 * MM + off),
                "edge": replace(joint, edge=12 * MM + off),
                "torque": replace(joint, torque=130_000 + sign * 5_200),
                "metal": replace(joint, metal=own_metal(shear=shear * (1 + 0.1 * sign))),
            }[turn.code]
            assert judge(moved, sure).status == turn.status != judge(joint, sure).status
            turned.add(turn.code)
    assert turned >= {"length", "torque", "metal"}


# Edges, holes repaired before, drilled wide


def test_a_thin_boss_keeps_less_and_below_the_formula_somebody_signs() -> None:
    strong = replace(BUSH, engaged=40 * MM, bolt_engaged=40 * MM, edge=None)
    thick, thin, thinner = (judge(replace(strong, edge=to_nm(Decimal(16) * x / 2))) for x in
                            (Decimal("1.9"), Decimal("1.5"), Decimal("1.3")))  # fmt: skip
    assert carried(thick)["parent_thread"] > carried(thin)["parent_thread"] > carried(thinner)["parent_thread"]
    assert [each.by for each in thin.sums if each.what == "parent_thread"] == [ALEXANDER]
    assert "edge_below_factor" in [reason.code for reason in thinner.reasons]
    assert thinner.status in (SIGNS, RULED_OUT)


def test_bite_counts_in_the_parent_alone() -> None:
    whole, half = judge(BUSH), judge(replace(BUSH, bite=Decimal(50)))
    assert carried(half)["parent_thread"] == pytest.approx(carried(whole)["parent_thread"] / 2)
    assert carried(half)["bolt_thread"] == carried(whole)["bolt_thread"]
    assert judge(replace(BUSH, bite=Decimal(0))).status == RULED_OUT


def test_a_hole_drilled_wide_weakens_the_inserts_outer_thread() -> None:
    wide = judge(replace(BUSH, drilled=15_100_000))
    assert carried(wide)["insert_outer_thread"] < carried(judge(BUSH))["insert_outer_thread"]
    narrow = replace(BUSH, drilled=to_nm(internal_limits(M16).minor_min))
    assert carried(judge(narrow)) == carried(judge(BUSH)), "within its class the class's largest hole counts"


def test_few_threads_and_galvanized_bolts_are_signed_for() -> None:
    strong = Joint(M10, 30 * MM, grade=bolt_metal("8.8", M10), metal=metal("s235"))
    assert judge(strong).status == HOLDS
    assert [reason.code for reason in judge(replace(strong, galvanized=True)).reasons] == ["galvanized_reduced"]
    assert "threads_few" in [reason.code for reason in judge(replace(strong, engaged=4_400_000)).reasons]


# Loads, torque, metals


def test_preload_is_a_band_and_the_wider_of_both_forms() -> None:
    band = preload_band(BUSH)
    assert band is not None
    assert BUSH.head is not None
    short = short_preload(130_000, Decimal(14), Band(0.16, 0.28))
    long = long_preload(130_000, M14, BUSH.head, Band(0.10, 0.14))
    assert band == Band(min(short.least, long.least), max(short.most, long.most))
    assert preload_band(replace(BUSH, torque=None)) is None


def test_a_head_is_known_for_some_metric_sizes_alone() -> None:
    assert hexagon_head(M10) == Head(Decimal("14.63"), Decimal(11))
    assert hexagon_head(Thread("M", 18 * MM, 2_500_000)) is None
    assert hexagon_head(read("1/2-13 UNC").thread or M10) is None


@pytest.mark.parametrize("typed", ["10.9", "10,9", "class 10.9", "ISO 898-1 10.9"])
def test_a_class_is_read_as_people_write_it(typed: str) -> None:
    assert bolt_metal(typed, M14).code == "10.9"


def test_a_grade_of_inch_bolts_is_none_of_a_metric_one() -> None:
    with pytest.raises(Refused) as refused:
        bolt_metal("J429 8", M14)
    assert refused.value.reason.code == "grade_not_for_size"


@pytest.mark.parametrize("typed", ["8", "grade 8", "SAE J429 8", "Gr. 8"])
def test_a_grade_is_read_as_people_write_it(typed: str) -> None:
    assert bolt_metal(typed, Thread("UN", 12_700_000, 26)).code == "J429 8"


def test_a_strength_that_no_standard_gives_is_refused_by_name() -> None:
    with pytest.raises(Refused) as refused:
        bolt_metal("11.1", M10)
    assert refused.value.reason.code == "grade_unknown"
    assert "10.9" in refused.value.reason["known"]
    with pytest.raises(Refused) as refused:
        bolt_metal("9.8", Thread("M", 20 * MM, 2_500_000))
    assert refused.value.reason.code == "grade_not_for_size"
    with pytest.raises(Refused) as refused:
        metal("unobtainium")
    assert refused.value.reason.code == "metal_unknown"


@pytest.mark.parametrize("values", [{}, {"shear": 0.0}, {"tensile": -1.0}, {"shear": float("nan")}])
def test_own_strengths_are_above_nought(values: dict[str, float]) -> None:
    with pytest.raises(Refused) as refused:
        own_metal(**values)  # type: ignore[arg-type]
    assert refused.value.reason.code == "own_strength_not_positive"


def test_every_metal_is_of_a_known_kind_with_a_source_and_a_strength() -> None:
    assert {each.kind for each in metals()} == set(MATERIALS)
    for each in metals():
        assert each.source
        assert each.how in ("read", "memory")
        assert each.basis in ("least", "typical", "expected")
        assert 0.5 < each.shear / each.tensile < 1.25, each.code
        assert 0 < each.share <= 1
        assert (each.yield_strength is None) or each.yield_strength < each.tensile
    assert all(each.share == 0.7 for each in metals() if each.kind in ("cast_aluminium", "magnesium", "zinc"))


def test_a_thicker_wall_of_grey_iron_is_never_stronger_and_an_unknown_one_the_weakest() -> None:
    for code in ("en-gjl-150", "en-gjl-200", "en-gjl-250", "en-gjl-300"):
        strengths = [metal(code, Decimal(wall)).tensile for wall in (3, 8, 15, 30, 60, 120)]
        assert strengths == sorted(strengths, reverse=True)
        assert metal(code).tensile == strengths[-1]
    assert metal("en-gjl-200", Decimal(10)).tensile == 205, "a wall of just 10 mm is of the band that ends there"


def test_chamfers_and_set_down_are_taken_off() -> None:
    assert effective_length(Decimal(12), chamfers=(Decimal(1),)) == Decimal("11.4")
    assert effective_length(Decimal(1), set_down=Decimal(3)) == 0
    assert effective_length(Decimal(20), lost=Decimal("1.125")) == Decimal("18.875")


def test_what_cannot_be_sheared_has_no_length() -> None:
    with pytest.raises(ValueError, match="nothing is sheared"):
        length_to_carry(1000, Decimal(0), 130)
    with pytest.raises(KeyError):
        handbook_engagement(Decimal(10), "cheese")


def test_rules_have_the_shape_of_the_shops_limits_and_a_source() -> None:
    assert {*Limit.__dataclass_fields__} == {*type(RULES["torque_over"]).__dataclass_fields__}
    assert all(rule.source and rule.unit for rule in RULES.values())
    assert {code: rule.value for code, rule in RULES.items()} == DEFAULTS


def test_loads_of_a_stronger_class_are_larger() -> None:
    loads = [
        (ultimate_load(bolt, M14), proof_load(bolt, M14))
        for bolt in (bolt_metal(name, M14) for name in ("4.6", "5.8", "8.8", "10.9", "12.9"))
    ]
    assert loads == sorted(loads)
    assert all(proof < ultimate for ultimate, proof in loads)


@pytest.mark.parametrize("typed", ["1/2-12 BSW", "3/8-20 BSF", "2 BA", "G 1/4", "1/4-26 cycle", "1/2-13 UNC"])
def test_every_form_of_thread_can_be_summed(typed: str) -> None:
    thread = read(typed).thread
    assert thread is not None
    fit = worst(thread)
    assert 0 < fit.screw_area(Decimal(1)) < fit.hole_area(Decimal(1))


# What must hold whatever is entered

metals_of_some_strength = st.one_of(
    st.none(), st.floats(20, 600).map(lambda shear: own_metal(shear=shear)), st.sampled_from(metals())
)
joints = st.builds(
    Joint,
    bolt=st.just(M14),
    engaged=st.integers(0, 60 * MM),
    outer=st.sampled_from([None, M16, read("EG M14x1.5").thread]),
    bolt_engaged=st.one_of(st.none(), st.integers(0, 60 * MM)),
    grade=st.sampled_from([None, *(bolt_metal(name, M14) for name in ("8.8", "10.9", "12.9", "4.6"))]),
    metal=metals_of_some_strength,
    insert=metals_of_some_strength,
    bite=st.integers(0, 100).map(Decimal),
    torque=st.one_of(st.none(), st.integers(1, 600_000)),
    edge=st.one_of(st.none(), st.integers(0, 60 * MM)),
    head=st.sampled_from([None, hexagon_head(M14)]),
    galvanized=st.booleans(),
)


@settings(max_examples=150, deadline=None)
@given(joints, st.integers(0, 20 * MM), st.integers(0, 20 * MM))
def test_more_engagement_never_weakens(joint: Joint, more: int, reach: int) -> None:
    bolt = None if joint.bolt_engaged is None else joint.bolt_engaged + reach
    one, other = judge(joint), judge(replace(joint, engaged=joint.engaged + more, bolt_engaged=bolt))
    assert RANK.index(other.status) >= RANK.index(one.status)
    less, greater = carried(one), carried(other)
    assert all(greater[what] >= less[what] * (1 - 1e-12) for what in less)


@settings(max_examples=100, deadline=None)
@given(joints, st.integers(0, 60 * MM), st.integers(0, 30 * MM))
def test_a_larger_distance_to_the_edge_never_worsens(joint: Joint, edge: int, more: int) -> None:
    one, other = judge(replace(joint, edge=edge)), judge(replace(joint, edge=edge + more))
    assert RANK.index(other.status) >= RANK.index(one.status)
    assert all(carried(other)[what] >= load * (1 - 1e-12) for what, load in carried(one).items())


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 240), st.integers(1, 300), st.integers(8, 64), st.sampled_from(["a380", "en-gjs-500-7"]))
def test_the_unit_that_was_typed_in_never_matters(sixteenths: int, feet: int, edge: int, code: str) -> None:
    def typed(length: str, torque: str, to_edge: str) -> Verdict:
        engaged = read_length(length)
        return judge(
            replace(
                BUSH, metal=metal(code), engaged=engaged, bolt_engaged=engaged,
                torque=read_torque(torque), edge=read_length(to_edge),
            )
        )  # fmt: skip

    metric_torque = Decimal("1.3558179483314004") * feet
    inch = typed(f"{sixteenths}/16 in", f"{feet} lbf·ft", f"{edge}/16 in")
    metric = typed(f"{Decimal('1.5875') * sixteenths} mm", f"{metric_torque:.9f} N·m", f"{Decimal('1.5875') * edge} mm")
    assert inch == metric


@settings(max_examples=60, deadline=None)
@given(joints)
def test_every_reason_can_be_said_in_both_units(joint: Joint) -> None:
    verdict = judge(joint)
    reasons = [*verdict.reasons, *verdict.missing, *verdict.notes, *(turn.reason for turn in verdict.turns)]
    for each in verdict.sums:
        reasons += [each.reason, *each.remedies]
    for reason in reasons:
        for units in ("mm", "in"):
            told = say(reason, units)
            assert told.endswith(".")
            assert "nothing entered" not in told


@pytest.mark.parametrize("statuses", [(HOLDS, NOT_CHECKED), (NOT_CHECKED, SIGNS), (SIGNS, RULED_OUT)])
def test_the_worse_of_two_is_the_same_both_ways(statuses: tuple[str, str]) -> None:
    better, bad = statuses
    assert worse(better, bad) == worse(bad, better) == bad
