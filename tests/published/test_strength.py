"""Every case of `strength.json`: stripping, bolts, torque, parent metals and edges, compared with its source."""

import json
import math
from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from inventory.threads import Thread, external_limits, read, stress_area
from repairs.methods.values import DEFAULTS as LIMITS
from repairs.strength import bolt_metal, hexagon_head, metal, proof_load, ultimate_load
from repairs.strength.bolts import KSI, LBF, galvanized_carries_less
from repairs.strength.edges import INSERT_OVER, INSERT_UNLESS, insert_called_for, tear_out_area, tear_out_load
from repairs.strength.stripping import (
    alexander_loads,
    boss_factor,
    combined_engagement,
    cylinder_area,
    dilation_factor,
    factored_engagement,
    handbook_engagement,
    hole_bending_factor,
    least_engagement,
    length_to_carry,
    nominal,
    screw_bending_factor,
    strength_ratio,
    worst,
)
from repairs.strength.tightening import (
    Head,
    long_torque,
    nut_factor,
    permitted_preload,
    short_torque,
    uncertain_preload,
)
from repairs.strength.verdict import RULES

Case = dict[str, Any]
CASES: list[Case] = json.loads((Path(__file__).parent / "strength.json").read_text(encoding="utf-8"))
BY_ID = {case["id"]: case for case in CASES}
INCH = Decimal("25.4")
ONE = Decimal(1)


def exact(number: float | str) -> Decimal:
    return Decimal(str(number))


def thread(typed: str) -> Thread:
    found = read(typed.split(" UN")[0].split(" 6g")[0]).thread
    assert found is not None
    return found


def inch(mm: Decimal | float, power: int = 1) -> float:
    return float(mm) / 25.4**power


# Thread stripping


def tapped_aluminium(case: Case) -> Case:
    given = case["input"]
    fit = worst(thread(given["thread"]))
    assert [fit.major, fit.pitch_internal] == [exact(given["ext_major_min_mm"]), exact(given["int_pitch_max_mm"])]
    area = fit.hole_area(ONE)
    length = length_to_carry(given["bolt_load_N"], area, given["parent_shear_strength_MPa"])
    return {"internal_shear_area_per_mm_mm2": area, "length_engagement_mm": length}


def limits_of_6g(case: Case) -> Case:
    found = {}
    for size in (3, 4, 5, 6):
        limits = external_limits(thread(f"M{size}"), "6g")
        found[f"M{size}_d_max_min_mm"] = [limits.major_max, limits.major_min]
        found[f"M{size}_d2_max_min_mm"] = [limits.pitch_max, limits.pitch_min]
    return found


def engagement_in_inch(case: Case) -> Case:
    given = case["input"]
    fit, area = worst(thread(given["thread"])), stress_area(thread(given["thread"]))
    printed = [given[f"{name}_in"] for name in ("minor_int_max", "pitch_ext_min", "major_ext_min", "pitch_int_max")]
    mine = [fit.minor, fit.pitch_external, fit.major, fit.pitch_internal]
    assert [inch(size) for size in mine] == pytest.approx(printed, abs=1e-9)
    least = least_engagement(fit, area, given["bolt_uts_psi"], given["tapped_uts_psi"])
    return {
        "stress_area_in2": inch(area, 2),
        "ext_shear_area_per_in_in2": inch(fit.screw_area(INCH), 2),
        "int_shear_area_per_in_in2": inch(fit.hole_area(INCH), 2),
        "Le_equal_strength_in": inch(least.equal),
        "J": least.ratio,
        "Q_required_in": inch(least.needed),
    }


def engagement_in_mm(case: Case) -> Case:
    given = case["input"]
    fit, area = worst(thread(given["thread"])), stress_area(thread(given["thread"]))
    printed = [exact(given[f"{name}_mm"]) for name in ("d_min", "d2_min", "D1_max", "D2_max")]
    assert [fit.major, fit.pitch_external, fit.minor, fit.pitch_internal] == printed
    least = least_engagement(fit, area, given["bolt_Rm_MPa"], given["parent_Rm_MPa"])
    return {
        "stress_area_mm2": area,
        "ext_shear_area_per_mm_mm2": fit.screw_area(ONE),
        "int_shear_area_per_mm_mm2": fit.hole_area(ONE),
        "Le_equal_strength_mm": least.equal,
        "J": least.ratio,
        "Q_required_mm": least.needed,
    }


def quick_areas(case: Case) -> Case:
    given = {name: exact(value) for name, value in case["input"].items() if name != "thread"}
    length = given["Le_in"]
    return {
        "int_area_form3_in2": cylinder_area("hole_at_pitch", given["d2_basic_in"], length),
        "ext_area_form5_in2": cylinder_area("screw_at_pitch", given["d2_basic_in"], length),
        "ext_area_max_form6b_in2": cylinder_area("screw_most_at_minor", given["D1_basic_in"], length),
    }


def combined(case: Case) -> Case:
    given = case["input"]
    return {"LE_in": combined_engagement(exact(given["stress_area_in2"]), exact(given["d2_basic_in"]))}


def factored(case: Case) -> Case:
    given = case["input"]
    bolt = thread(given["thread"])
    found = factored_engagement(
        nominal(bolt),
        stress_area(bolt),
        given["bolt_Rm_MPa"],
        given["bolt_shear_MPa"],
        given["parent_shear_MPa"],
        given["C1"],
    )
    return {
        "Rs": found.ratio,
        "C3": hole_bending_factor(found.ratio),
        "m_eff_internal_mm": found.hole,
        "m_eff_external_mm": found.screw,
        "m_eff_required_mm": found.needed,
        "m_total_with_2P_mm": found.whole,
    }


def nasa_areas(case: Case) -> Case:
    given = {name: exact(value) for name, value in case["input"].items()}
    return {
        "bolt_thread_area_eq63_in2": cylinder_area("bolt_at_minor", given["minor_pitch_dia_int_in"], given["Le_in"]),
        "insert_or_tapped_area_eq76_in2": cylinder_area("hole_at_major", given["major_dia_ext_in"], given["Le_in"]),
    }


def nasa_preload(case: Case) -> Case:
    given = case["input"]
    told = (given["T_in_lb"], exact(given["D_in"]), given["K"])
    band = uncertain_preload(*told, given["uncertainty"], given["relaxation"])
    plain = uncertain_preload(*told, 0.0, 0.0)
    return {"P_nominal_lb": plain.most, "P0_max_lb": band.most, "P0_min_lb": band.least}


def handbook_rule(case: Case) -> Case:
    size = exact(case["input"]["D_in"]) * INCH
    rules = {
        "steel_in_cast_iron_or_steel_in": ("iron_or_steel", False),
        "steel_in_hardened_or_hs_bronze_in": ("hard", False),
        "al_mg_shock_in": ("light", True),
        "al_mg_normal_in": ("light", False),
    }
    return {name: inch(handbook_engagement(size, kind, shock=shock)) for name, (kind, shock) in rules.items()}


STRIPPING: dict[str, Callable[[Case], Case]] = {
    "strip-tapped-al-m10-true-dmin": tapped_aluminium,
    "6g-limits-coarse": limits_of_6g,
    "mh-engagement-1_2-13-58000": engagement_in_inch,
    "mh-engagement-1_2-13-40000": engagement_in_inch,
    "mh-engagement-1_4-20-58000": engagement_in_inch,
    "mh-engagement-1_4-28-58000": engagement_in_inch,
    "engagement-m8-88-al240": engagement_in_mm,
    "fedstd-simplified-areas": quick_areas,
    "le-combined-form13": combined,
    "alexander-c2": lambda case: {"C2": [screw_bending_factor(ratio) for ratio in case["input"]["Rs"]]},
    "alexander-c3": lambda case: {"C3": [hole_bending_factor(ratio) for ratio in case["input"]["Rs"]]},
    "vdi-meff-m10-88-tau130": factored,
    "vdi-meff-m8-88-a380die": factored,
    "vdi-meff-m8-88-equal": factored,
    "nasa-tm106943-areas": nasa_areas,
    "nasa-tm106943-preload": nasa_preload,
    "engagement-rules-handbook": handbook_rule,
}


# Bolts


def loads(case: Case) -> Case:
    """Printed loads against strength x stress area, within the printed rounding."""
    given, expected = case["input"], case["expected"]
    bolt = thread(f"{given['thread']}x{given['pitch_mm']}")
    return {
        **{name: stress_area(bolt) for name in expected if name.startswith("stress_area")},
        "min_tensile_N": {name: ultimate_load(bolt_metal(name, bolt), bolt) for name in expected["min_tensile_N"]},
        "proof_N": {name: proof_load(bolt_metal(name, bolt), bolt) for name in expected["proof_N"]},
    }


J429_SIZES = {
    "j429-grade-5-1_4": ("5", "1/4-20 UNC", "1-8 UNC"),
    "j429-grade-5-over-1": ("5", "1 1/8-7 UNC", "1 1/2-6 UNC"),
    "j429-grade-8-1_4": ("8", "1/4-20 UNC", "1 1/2-6 UNC"),
    "j429-grade-2-1_4": ("2", "1/4-20 UNC", "3/4-10 UNC"),
    "j429-grade-2-over-3_4": ("2", "7/8-9 UNC", "1 1/2-6 UNC"),
}


def loads_in_inch(case: Case) -> Case:
    """The same in inch: the sum is ours, the load the table's."""
    bolt, expected = read(case["input"]["size"]).thread, case["expected"]
    assert bolt is not None
    metals = {name: bolt_metal(f"grade {name}", bolt) for name in expected["proof_lbf"]}
    return {
        "stress_area_in2": inch(stress_area(bolt), 2),
        "proof_lbf": {name: proof_load(each, bolt) / LBF for name, each in metals.items()},
        "tensile_lbf": {name: ultimate_load(each, bolt) / LBF for name, each in metals.items()},
    }


def grades(case: Case) -> Case:
    """Guards the transcription: the stresses stand in our own table as they stand here."""
    typed, least, most = J429_SIZES[case["id"]]
    first, last = (bolt_metal(f"grade {typed}", read(size).thread) for size in (least, most))  # type: ignore[arg-type]
    assert first == last, "the row holds over the whole range that it names"
    return {"proof_ksi": first.proof / KSI, "yield_ksi": first.yield_strength / KSI, "tensile_ksi": first.tensile / KSI}


# Torque


def short_form(case: Case) -> Case:
    given = case["input"]
    bolt = thread(given["size"])
    clamp = given["preload_fraction"] * bolt_metal("grade 2", bolt).proof * float(stress_area(bolt))
    torque = short_torque(clamp, bolt.nominal_mm, given["K"])
    return {
        "stress_area_in2": inch(stress_area(bolt), 2),
        "clamp_lbf": clamp / LBF,
        "torque_ft_lbf": torque / (LBF * 304.8),
    }


def tabled(case: Case) -> Case:
    given = case["input"]
    bolt = thread(given["thread"])
    head = hexagon_head(bolt)
    assert head is not None
    assert (float(head.bearing), float(head.hole)) == (given["bearing_dw_mm"], given["hole_dh_mm"]), case["source"]
    strength = bolt_metal(given["property_class"], bolt).yield_strength
    assert strength == given["Rp02_min_MPa"]
    preload = permitted_preload(bolt, strength, given["mu_thread"], given["yield_utilisation"])
    torque = long_torque(preload, bolt, head, given["mu_thread"], given["mu_head"]).whole
    return {"preload_N": preload, "torque_Nm": torque / 1000}


def long_form(case: Case) -> Case:
    given = case["input"]
    dkm = exact(given["Dkm_mm"])
    parts = long_torque(given["F_N"], thread("M8x1.25"), Head(dkm, dkm), given["mu_thread"], given["mu_head"])
    return {
        "pitch_part_Nm": parts.pitch / 1000,
        "thread_part_Nm": parts.thread / 1000,
        "head_part_Nm": parts.head / 1000,
        "torque_Nm": parts.whole / 1000,
    }


def factor_of_long_form(case: Case) -> Case:
    given = case["input"]
    dkm = exact(given["Dkm_mm"])
    return {"K": nut_factor(thread(given["thread"]), Head(dkm, dkm), given["mu"])}


def usual_factor(case: Case) -> Case:
    m10 = thread("M10")
    head = hexagon_head(m10)
    assert head is not None
    return {"K_rule": nut_factor(m10, head, case["input"]["mu_thread"])}


# Parent metals. The figures of a table cannot be computed: these cases guard the transcription into ours, row by row,
# and would only fail if a row were changed. What is computed from them is tried further below.


METALS = {
    "al-die-380": "380",
    "al-die-a380": "a380",
    "al-die-383": "383",
    "al-cast-356-t6-pm": "356-t6-pm",
    "al-cast-356-t7-pm": "356-t7-pm",
    "al-cast-356-t7-sand": "356-t7-sand",
    "al-a356-t6-sand-min": "a356-t6-sand",
    "en1706-43000-sand-f": "en-ac-43000-sand-f",
    "en1706-43000-sand-t6": "en-ac-43000-sand-t6",
    "en1706-43000-permanent-mould-t6": "en-ac-43000-pm-t6",
    "en1706-mem-42100-permanent-mould-t6": "en-ac-42100-pm-t6",
    "en1706-mem-42100-sand-t6": "en-ac-42100-sand-t6",
    "en1706-mem-46000-die-cast-f": "en-ac-46000-die-f",
    "mg-az91d-shear": "az91d",
    **{f"en-gjs-{grade}": f"en-gjs-{grade}" for grade in ("350-22", "400-18", "500-7", "600-3", "700-2", "800-2")},
    "grey-iron-shear-ratio": "iso-150",
    "mild-steel-s235": "s235",
}


# Our table has neither: no sum asks for elongation, and a part has its wall's strength, not a separately cast bar's.
NOT_KEPT = {"elong_min_pct", "Rm_separately_cast_MPa"}


def metal_row(case: Case) -> Case:
    """Guards the transcription: the row of our table that this case stands for."""
    row = metal(METALS[case["id"]])
    assert (row.how == "memory") == (case["how"] == "memory"), "a value from memory says so"
    found = {
        "Rm_MPa": row.tensile,
        "Rm_min_MPa": row.tensile,
        "Rp02_MPa": row.yield_strength,
        "Rp02_min_MPa": row.yield_strength,
        "ReH_min_MPa": row.yield_strength,
        "shear_MPa": row.shear,
        "shear_ratio": row.shear / row.tensile,
    }
    return {name: found[name] for name in case["expected"] if name not in NOT_KEPT}


def walls_of_iron(case: Case) -> Case:
    """Guards the transcription, and that a wall of a given thickness takes the row that it should."""
    walls = case["expected"]["Rm_in_casting_by_wall_over_mm"]
    return {
        "Rm_in_casting_by_wall_over_mm": {
            wall: metal("en-gjl-200", Decimal(wall) + Decimal("0.1")).tensile for wall in walls
        },
    }


def shear_ratios(case: Case) -> Case:
    m10 = thread("M10")
    ratios = {name: bolt_metal(name, m10) for name in ("8.8", "10.9", "12.9", "4.6", "5.6")}
    found = {name: bolt.shear / bolt.tensile for name, bolt in ratios.items()}
    assert found["4.6"] == pytest.approx(found["5.6"])
    gravity = metal("en-ac-43000-sand-t6")
    return {
        "bolt_8_8": found["8.8"],
        "bolt_10_9": found["10.9"],
        "bolt_12_9": found["12.9"],
        "bolt_4_6_to_5_6": found["4.6"],
        "gjs": metal("en-gjs-500-7").shear / metal("en-gjs-500-7").tensile,
        "al_alloy": gravity.shear / gravity.tensile,
    }


# Edges


def torn_out(case: Case) -> Case:
    given = {name: exact(value) for name, value in case["input"].items()}
    sizes = given["t_mm"], given["e_mm"], given["D_mm"]
    return {"area_mm2": tear_out_area(*sizes), "load_N": tear_out_load(*sizes, float(given["Fsu_MPa"]))}


def called_for(case: Case) -> Case:
    return {
        "insert_required": insert_called_for(metal("a380"), exact(case["input"]["hole_diameter_mm"])),
        "threshold_mm": INSERT_OVER,
        "exempt_if_shear_over_MPa": INSERT_UNLESS,
        "no_tearout_at_torque_factor": RULES["torque_over"].value,
    }


def projection(case: Case) -> Case:
    given = case["input"]
    assert LIMITS["engagement_hard"].value == exact(given["hard_metal_D"])
    assert LIMITS["engagement_soft"].value == exact(given["soft_metal_D"])
    return {"min_holding_threads": RULES["threads_least"].value}


# What is no number to be met, or is the wrong one, stands as a test of its own below.
ALONE = {"vdi-sanity-soft", "iso898-hdg-m8-m10", "edge-insert-common", "strip-tapped-al-m10-6g-maximum"}
OTHERS: dict[str, Callable[[Case], Case]] = {
    "torque-long-form": long_form,
    "nut-factor-from-long-form": factor_of_long_form,
    "shigley-k": usual_factor,
    "en-gjl-200": walls_of_iron,
    "vdi-shear-ratios": shear_ratios,
    "edge-tearout": torn_out,
    "insert-required-milstd2193": called_for,
    "thread-projection-min": projection,
}
BEGINNINGS: tuple[tuple[str, Callable[[Case], Case]], ...] = (
    ("iso898-m", loads),
    ("j429-grade", grades),
    ("j429-loads", loads_in_inch),
    ("j429-g2-torque", short_form),
    ("vdi-torque", tabled),
)


def computed_by(case: Case) -> Callable[[Case], Case] | None:
    exactly = STRIPPING.get(case["id"]) or OTHERS.get(case["id"])
    if exactly or case["id"] in METALS:
        return exactly or metal_row
    return next((by for begins, by in BEGINNINGS if case["id"].startswith(begins)), None)


def flat(value: Any, name: str = "") -> dict[str, float]:
    if isinstance(value, dict):
        return {key: number for each in value for key, number in flat(value[each], f"{name}.{each}").items()}
    if isinstance(value, list):
        return {key: number for at, each in enumerate(value) for key, number in flat(each, f"{name}.{at}").items()}
    return {name: float(value)}


def tolerance(case: Case, name: str, value: float) -> dict[str, float]:
    given = case["tolerance"]
    if not given:
        return {"rel": 0.0, "abs": 0.0}
    for kind in ("preload", "torque"):
        if f"{kind}_rel" in given and kind in name:
            return {"rel": given[f"{kind}_rel"], "abs": 0.0}
    if "loads_abs" in given and "lbf" in name:
        return {"rel": 0.002, "abs": given["loads_abs"]}  # half the last place that is printed, and that of the area
    if "stress_area_exact" in name:
        return {"rel": 0.0, "abs": 0.0006}
    # a printed zero tolerance means the printed digits; floats of other units differ in their last bits alone
    absolute = given.get("abs", given.get("abs_mm", 0.0))
    if case["topic"] == "thread_stripping" and "." in str(value):
        # printed to so many places: half of the last one is not known
        absolute = max(absolute, 0.5 * 10 ** -len(str(value).partition(".")[2]))
    return {"rel": given.get("rel", 1e-12), "abs": max(absolute, 1e-9)}


@pytest.mark.parametrize("case", [case for case in CASES if case["id"] not in ALONE], ids=lambda case: case["id"])
def test_a_published_value_is_met(case: Case) -> None:
    by = computed_by(case)
    assert by is not None, "a case that nothing computes"
    wanted = {key: value for key, value in case["expected"].items() if key not in NOT_KEPT}
    found, expected = flat(by(case)), flat(wanted)
    assert found.keys() == expected.keys()
    for name, value in expected.items():
        assert found[name] == pytest.approx(value, **tolerance(case, name, value)), f"{name}: {case['source']}"


PRINTED_TORQUES = [case for case in CASES if "published" in case]


@pytest.mark.parametrize("case", PRINTED_TORQUES, ids=lambda case: case["id"])
def test_a_printed_preload_and_torque_is_met_as_printed(case: Case) -> None:
    """Not what a sum of somebody else's gives, but the digits on the page."""
    by = computed_by(case)
    assert by is not None
    found, printed = by(case), case["published"]
    given = case["tolerance"]
    names = {
        "clamp_lbf": ("clamp_lbf", 1),
        "torque_ft_lbf": ("torque_ft_lbf", 1),
        "preload_kN": ("preload_N", 1000),
        "implied_preload_kN": ("preload_N", 1000),
        "torque_Nm": ("torque_Nm", 1),
    }
    compared = 0
    for name, value in printed.items():
        if name in names:
            mine, unit = names[name]
            rel = given.get("rel", given.get("torque_rel" if "torque" in name else "preload_rel"))
            assert found[mine] / unit == pytest.approx(value, rel=rel), f"{name}: {case['source']}"
            compared += 1
    assert compared


def test_the_published_fine_thread_cells_are_all_there() -> None:
    fine = [case for case in CASES if case["id"].startswith("vdi-torque") and "coarse" not in case["id"]]
    assert (
        len({(case["input"]["thread"], case["input"]["property_class"], case["input"]["mu_head"]) for case in fine})
        == 54
    )
    assert {case["how"] for case in fine} == {"read"}
    assert all({"preload_kN", "torque_Nm"} <= case["published"].keys() for case in fine)
    assert Counter(case["topic"] for case in CASES) == {
        "thread_stripping": 18,
        "thread_stripping_negative": 1,
        "iso898_1": 10,
        "sae_j429": 12,
        "torque": 75,
        "parent_material": 24,
        "edge_distance": 4,
    }


def test_the_handbooks_answer_with_the_6g_maximum_is_not_ours() -> None:
    """It takes 9.968 mm, the largest major diameter of M10 6g, for the least, and so comes out 3 mm too short.

    Its page was not seen and nobody wrote down which handbook it is: only a note about it is known.
    """
    case = BY_ID["strip-tapped-al-m10-6g-maximum"]
    assert case["how"] == "reported"
    given, printed = case["input"], case["expected"]["length_engagement_mm_as_printed"]
    m10 = thread(given["thread"])
    wrong, right = exact(given["ext_major_named_minimum_mm"]), worst(m10)
    assert external_limits(m10, "6g").major_max == wrong, case["source"]
    assert right.major == external_limits(m10, "6g").major_min == Decimal("9.732")
    length = length_to_carry(given["bolt_load_N"], right.hole_area(ONE), given["parent_shear_strength_MPa"])
    assert float(length) == pytest.approx(24.9, abs=0.05)
    assert float(length) != pytest.approx(printed, abs=case["tolerance"]["abs"]), "the printed number is not met"
    slip = math.pi * float(wrong) / 1.5 * (0.75 + 0.57735 * (float(wrong) - given["int_pitch_max_mm"]))
    mistaken = given["bolt_load_N"] / (slip * given["parent_shear_strength_MPa"])
    assert mistaken == pytest.approx(printed, abs=case["tolerance"]["abs"]), "that slip, and no other, gives it"


@pytest.mark.parametrize(("size", "named"), [("M10", "m_coarse_mm"), ("M10x1.25", "m_fine_mm")])
def test_a_rule_for_soft_metal_is_on_the_safe_side_of_the_sum_and_not_far(size: str, named: str) -> None:
    """A low-trust page, sanity alone: 2.0 d and 1.8 d in 200 MPa, here sheared at 0.65 of that, with an 8.8 bolt."""
    case = BY_ID["vdi-sanity-soft"]
    bolt, tau = thread(size), 0.65 * case["input"]["parent_Rm_max_MPa"]
    grade = bolt_metal("8.8", bolt)
    needed = length_to_carry(ultimate_load(grade, bolt), worst(bolt).hole_area(ONE), tau)
    assert needed <= case["expected"][named] <= needed * Decimal("1.35"), case["source"]


def test_galvanized_bolts_of_two_sizes_carry_less() -> None:
    case = BY_ID["iso898-hdg-m8-m10"]
    assert all(galvanized_carries_less(thread(size)) for size in case["input"]["thread"]), case["source"]
    assert not galvanized_carries_less(thread("M12"))


def test_the_comfortable_edge_lies_within_the_common_rule() -> None:
    """From memory: 1.5 to 2 bolt diameters to the edge; an M8 insert of M10 with 0.75 outside diameters of metal."""
    case = BY_ID["edge-insert-common"]
    least, most = (float(part) for part in case["expected"]["min_edge_x_d"].split(" to "))
    outside = 10
    edge = outside / 2 + outside * float(LIMITS["edge_comfortable"].value)
    assert least <= edge / case["input"]["d_mm"] <= most, case["source"]


def test_a_factored_strip_load_is_the_printed_formula() -> None:
    """ISO/TR 16224:2012 4.2.3 written out for M10, 10 mm engaged, basic sizes, no bell mouth in the hole's area."""
    fit = nominal(thread("M10"))
    p, d, d2, d1 = 1.5, 10.0, 10 - 0.75 * 0.8660254 * 1.5, 10 - 1.25 * 0.8660254 * 1.5
    asn = 10 / p * math.pi * d * (p / 2 + (d - d2) / math.sqrt(3))
    dm = 1.026 * d1
    asb = (
        10
        / p
        * math.pi
        * (0.6 * d1 * (p / 2 + (d2 - d1) / math.sqrt(3)) + 0.4 * dm * (p / 2 + (d2 - dm) / math.sqrt(3)))
    )
    rs = 130 * asn / (520 * asb)
    c3 = 0.728 + 1.769 * max(rs, 0.4) - 2.896 * max(rs, 0.4) ** 2 + 1.296 * max(rs, 0.4) ** 3
    hole, screw = alexander_loads(fit, Decimal(10), 130, 520, 0.9)
    assert hole == pytest.approx(130 * asn * 0.9 * c3, rel=1e-6)
    assert screw == pytest.approx(520 * asb * 0.9 * 0.897, rel=1e-6)
    assert strength_ratio(fit, 130, 520) < rs, "a bell mouth takes metal from the screw's side alone"


@pytest.mark.parametrize(("ratio", "factor"), [(1.4, 0.75), (1.5, 0.84), (1.8, 0.99), (1.9, 1.0), (2.5, 1.0)])
def test_a_boss_keeps_what_its_width_leaves_it(ratio: float, factor: float) -> None:
    """ISO/TR 16224:2012 4.2.3, 3.8 s/d - (s/d)^2 - 2.61: 3.8 x 1.5 - 2.25 - 2.61 = 0.84 and so on."""
    assert dilation_factor(ratio) == pytest.approx(factor, abs=1e-12)
    assert boss_factor(ratio) == dilation_factor(ratio)


@pytest.mark.parametrize("ratio", [1.399, 1.3, 1.1, 1.0, 0.5])
def test_below_a_width_of_1_4_no_factor_is_given_and_what_is_counted_is_less_than_the_formula(ratio: float) -> None:
    """A rule of thumb, straight from 0.75 at 1.4 to nothing at 1: under the formula carried on, and never under 0."""
    assert dilation_factor(ratio) is None
    assert 0 <= boss_factor(ratio) <= max(0.0, 3.8 * ratio - ratio**2 - 2.61) < 0.75
    assert boss_factor(ratio) == pytest.approx(max(0.0, 0.75 * (ratio - 1) / 0.4))


# What is computed from the tables


@pytest.mark.parametrize(
    "case", [case for case in CASES if case["id"].startswith("iso898-m")], ids=lambda case: case["id"]
)
def test_a_printed_load_is_the_stress_times_the_printed_area_within_0_6_per_cent(case: Case) -> None:
    """ISO 898-1 rounds its loads to three figures in no single direction; its own area of three figures is the base."""
    given, area = case["input"], case["expected"]["stress_area_published_mm2"]
    bolt = thread(f"{given['thread']}x{given['pitch_mm']}")
    for name, printed in case["expected"]["min_tensile_N"].items():
        assert bolt_metal(name, bolt).tensile * area == pytest.approx(printed, rel=0.006), f"{name}: {case['source']}"
    for name, printed in case["expected"]["proof_N"].items():
        assert bolt_metal(name, bolt).proof * area == pytest.approx(printed, rel=0.006), f"{name}: {case['source']}"


PRINTED_SHEARS = {
    case["id"]: case for case in CASES if case["topic"] == "parent_material" and "shear_MPa" in case["expected"]
}


@pytest.mark.parametrize("name", sorted(PRINTED_SHEARS))
def test_a_thread_in_a_metal_with_a_printed_shear_strength_carries_area_times_that(name: str) -> None:
    """M10 over 10 mm: 214.769 mm2 (FED-STD-H28/2B (2a)) x the printed strength x a casting's share (EN 1706, 0.7)."""
    row, printed = metal(METALS[name]), PRINTED_SHEARS[name]["expected"]["shear_MPa"]
    cast = row.kind in ("cast_aluminium", "magnesium")
    m10 = worst(thread("M10"))
    carried = float(m10.hole_area(Decimal(10))) * row.shear_here
    assert carried == pytest.approx(214.769 * printed * (0.7 if cast else 1.0), rel=1e-3)


def test_with_its_twist_a_bolt_yields_near_its_proof_load_at_the_least_friction() -> None:
    """So the proof load alone is held against the torque's largest pull: VDI 2230-1 5.5.1 with v = 1 says the same.

    Between 0.99 and 1.07 of ISO 898-1's proof load, over the classes and sizes that the heads are known of.
    """
    friction = float(RULES["friction_least"].value)
    shares = {}
    for size in (
        "M6",
        "M8",
        "M8x1",
        "M10",
        "M10x1.25",
        "M12",
        "M12x1.25",
        "M14",
        "M14x1.5",
        "M16",
        "M16x1.5",
        "M20",
        "M20x1.5",
    ):
        for grade in ("8.8", "10.9", "12.9"):
            bolt = bolt_metal(grade, thread(size))
            yields = permitted_preload(thread(size), bolt.yield_strength, friction, 1.0)
            shares[size, grade] = yields / proof_load(bolt, thread(size))
    assert min(shares.values()) == pytest.approx(0.99, abs=0.005)
    assert max(shares.values()) == pytest.approx(1.065, abs=0.005)
