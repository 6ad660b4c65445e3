"""Every printed value of `geometry.json`, compared to the printed digits."""

import json
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from string import ascii_uppercase
from typing import Any

import pytest

from inventory.quantities import read_length
from inventory.threads import (
    Thread,
    basic,
    external_limits,
    insert_hole,
    insert_hole_depth,
    insert_hole_tap_major,
    internal_limits,
    percent_of_thread,
    read,
    read_drill,
    stress_area,
    tap_drill,
    tap_lead,
)
from inventory.threads.asme_b1_1 import unified_crest
from inventory.threads.iso_965 import Tolerance, tolerance

Case = dict[str, Any]
CASES: list[Case] = json.loads((Path(__file__).parent / "geometry.json").read_text(encoding="utf-8"))
INCH = Decimal("25.4")

COARSE = {3: "0.5", 6: "1", 8: "1.25", 10: "1.5", 12: "1.75", 18: "2.5", 20: "2.5", 22: "2.5"}


def exact(number: float | str) -> Decimal:
    return Decimal(str(number))


def metric(given: Case, system: str = "M") -> Thread:
    size = given["d_mm"] if "d_mm" in given else given["D_mm"]
    pitch = given["P_mm"] if "P_mm" in given else COARSE[size]
    return Thread(system, int(exact(size) * 1_000_000), int(exact(pitch) * 1_000_000))


def unified(given: Case, system: str = "UN") -> Thread:
    return Thread(system, int(exact(given["major_in"]) * 25_400_000), 2 * given["tpi"])


def in_inch(sizes: dict[str, Decimal]) -> dict[str, Decimal]:
    return {name: size / INCH for name, size in sizes.items()}


def iso_basic(given: Case) -> dict[str, Decimal]:
    sizes = basic(metric(given))
    return {
        "pitch_mm": metric(given).pitch_mm,
        "major_mm": sizes.major,
        "pitch_dia_mm": sizes.pitch_diameter,
        "minor_int_mm": sizes.minor_internal,
        "minor_ext_d3_mm": sizes.minor_external,
    }


def hole(thread: Thread, thread_class: str, unit: str) -> dict[str, Decimal]:
    limits = internal_limits(thread, thread_class)
    names = ("major_min", "pitch_min", "pitch_max", "minor_min", "minor_max")
    scale = INCH if unit == "in" else Decimal(1)
    return {f"{name}_{unit}": getattr(limits, name) / scale for name in names}


def unified_hole(given: Case) -> dict[str, Decimal]:
    return {**hole(unified(given), "2B", "in"), "TD1_in": unified_crest(unified(given), "2B")}


def bolt(given: Case) -> dict[str, Decimal]:
    limits = external_limits(metric(given), "6g")
    names = ("major_min", "major_max", "pitch_min", "pitch_max")
    return {f"{name}_mm": getattr(limits, name) for name in names}


def micrometres(quantity: str, given: Case) -> Decimal:
    size = exact(given["d_to_mm"]) if "d_to_mm" in given else Decimal(0)
    grade = "" if quantity == "es_g" else "6"
    found = tolerance(quantity, exact(given["P_mm"]), grade, size)
    assert isinstance(found, Tolerance)
    return Decimal(found.um)


def unified_basic(given: Case) -> dict[str, Decimal]:
    sizes = basic(unified(given))
    return {
        "pitch_dia_in": sizes.pitch_diameter / INCH,
        "minor_int_in": sizes.minor_internal / INCH,
        "At_in2": stress_area(unified(given)) / INCH / INCH,
    }


def unified_drill(given: Case) -> dict[str, Any]:
    drill = tap_drill(unified(given))
    return {"drill": drill.name.removesuffix(" in").replace("#", "No."), "drill_in": drill.mm / INCH}


def drill_size(given: Case) -> dict[str, Decimal]:
    if "fraction_in" in given:
        drill = read_drill(given["fraction_in"])
        return {"drill_in": drill.mm / INCH, "drill_mm": drill.mm}
    if "number" in given["series"]:
        return {f"no_{number}_in": read_drill(f"#{number}").mm / INCH for number in range(1, 61)}
    return {f"letter_{letter}_in": read_drill(letter).mm / INCH for letter in ascii_uppercase}


def depth(given: Case) -> dict[str, Decimal]:
    length = exact(given["insert_length_mm"])
    plug, bottoming = (insert_hole_depth(metric(given), length, bottoming=short) for short in (False, True))
    return {
        "drill_depth_plug_min_mm": plug.drill_depth,
        "drill_depth_bottoming_min_mm": bottoming.drill_depth,
        "full_thread_depth_min_mm": plug.full_thread_depth,
    }


def tap_major(thread: Thread) -> dict[str, Decimal]:
    found = insert_hole_tap_major(thread)
    return in_inch({"tap_major_min_in": found.tap_min, "tap_major_max_in": found.tap_max})


def british(given: Case) -> Thread:
    """The thread of a case that names it in words: "1/4 BSW", "0 BA nut", "G 1/4"."""
    return read(given["thread"].removesuffix(" nut")).thread


def whitworth_basic(given: Case) -> dict[str, Decimal | None]:
    thread, sizes = british(given), basic(british(given))
    return {
        "tpi": thread.tpi,
        "major_in": sizes.major / INCH,
        "pitch_dia_in": sizes.pitch_diameter / INCH,
        "minor_in": sizes.minor_internal / INCH,
    }


def metric_basic(given: Case) -> dict[str, Decimal | None]:
    thread, sizes = british(given), basic(british(given))
    return {
        "tpi": thread.tpi,
        "pitch_mm": thread.pitch_mm,
        "major_mm": sizes.major,
        "pitch_dia_mm": sizes.pitch_diameter,
        "minor_mm": sizes.minor_external,
        "minor_max_int_mm": internal_limits(thread).minor_max,
    }


def chamfer(given: Case) -> dict[str, Decimal]:
    lead = tap_lead(given["form"] if "form" in given else given["tap"])
    return {"lead_min_threads": lead.least, "lead_max_threads": lead.most, "lead_threads": lead.most}


def insert_hole_tap_flanks(given: Case) -> dict[str, Any]:
    """Taps for insert holes by their H limits: n half thousandths of an inch over the basic pitch diameter."""
    start = basic(unified(given, "STI-UN")).pitch_diameter / INCH
    steps = {name: Decimal(case_step) for name, case_step in given["steps"].items()}
    return {
        **{f"tap_pd_{name}_min_in": start + (step - 1) * Decimal("0.0005") for name, step in steps.items()},
        **{f"tap_pd_{name}_max_in": start + step * Decimal("0.0005") for name, step in steps.items()},
        **{f"H_{name}": step for name, step in steps.items()},
    }


def keyed_bush(given: Case) -> dict[str, Any]:
    """The row of the keyed family that ships, for the first of the bolt threads that the case names."""
    folder = Path(__file__).parents[2] / "repairs" / "published"
    family = tomllib.loads((folder / "keyed_heavy.toml").read_text(encoding="utf-8"))
    inner = given["internal_threads"].split(" / ")[0]
    row = family["defaults"] | next(row for row in family["size"] if row["inner"] == inner)
    drill = {name: read_drill(row[key]).mm / INCH for name, key in (("hole", "drill"), ("removal", "removal_drill"))}

    def length(name: str) -> Decimal:
        return Decimal(read_length(row[name])) / 25_400_000

    return {
        "external_thread": row["outer"],
        "hole_drill": row["drill"],
        "hole_drill_in": drill["hole"],
        "countersink_dia_in": length("seat"),
        "removal_drill_dia_in": drill["removal"],
        "removal_drill_depth_in": length("removal_depth"),
        "insert_below_surface_min_in": length("below_least"),
        "insert_below_surface_max_in": length("below_most"),
    }


ANSWERS: dict[str, Callable[[Case], dict[str, Any]]] = {
    "ISO 724 basic dimensions": iso_basic,
    "tensile stress area": lambda given: {"As_mm2": stress_area(metric(given))},
    "ISO 965 limits, internal 6H": lambda given: hole(metric(given), "6H", "mm"),
    "ISO 965 limits, external 6g": bolt,
    "ISO 965-1 tolerance table Td2 grade 6": lambda given: {"Td2_um": micrometres("Td2", given)},
    "ISO 965-1 tolerance table TD1 grade 6": lambda given: {"TD1_um": micrometres("TD1", given)},
    "ISO 965-1 fundamental deviation G / g": lambda given: {
        "EI_G_um": micrometres("es_g", given),
        "es_g_um": -micrometres("es_g", given),
    },
    "ISO 2306 tapping drill, coarse": lambda given: {"drill_mm": tap_drill(metric(given)).mm},
    "ISO 2306 tapping drill, fine": lambda given: {"drill_mm": tap_drill(metric(given)).mm},
    "ASME B1.1 2B minor limits": unified_hole,
    "ASME B1.1 2B limits (library)": unified_hole,
    "Unified basic dimensions": unified_basic,
    "Unified tap drill": unified_drill,
    "percent of full thread": lambda given: {
        "percent": percent_of_thread(unified(given), exact(given["drill_in"]) * INCH, "3/4H")
    },
    "drill sizes": drill_size,
    "STI tapped hole depth": depth,
    "STI / EG receiving thread, metric": lambda given: hole(insert_hole(metric(given)), "5H", "mm"),
    "STI / EG minor diameter limits, 5H crest": lambda given: hole(insert_hole(metric(given)), "5H", "mm"),
    "STI tap major diameter, metric": lambda given: tap_major(insert_hole(metric(given))),
    "STI receiving thread, inch": lambda given: hole(insert_hole(unified(given)), "2B", "in"),
    "STI tap major diameter, inch": lambda given: tap_major(insert_hole(unified(given))),
    "STI / EG drill, metric": lambda given: {"drill_mm": tap_drill(insert_hole(metric(given))).mm},
    "STI tap pitch diameter, inch": insert_hole_tap_flanks,
    "BSW basic": whitworth_basic,
    "BSF basic": whitworth_basic,
    "Whitworth tapping drill": lambda given: {"drill_mm": tap_drill(british(given)).mm},
    "BA basic": metric_basic,
    "BA nut limits": lambda given: hole(british(given), "normal", "mm"),
    "ISO 228-1 G": metric_basic,
    "G tapping drill": lambda given: {"drill_mm": tap_drill(british(given)).mm},
    "tap chamfer": chamfer,
    "key-locked bushing insert, heavy series": keyed_bush,
}


def differences(case: Case) -> Iterator[str]:
    """What differs from print by more than the case's tolerance, in words."""
    given = case["input"]
    if "H_2B" in case["expected"]:  # a tap is asked for by its H number, which these cases hold in their answer
        given = given | {"steps": {name: case["expected"][f"H_{name}"] for name in ("2B", "3B")}}
    found = ANSWERS[case["topic"]](given)
    for name, printed in case["expected"].items():
        answer = found[name]
        if isinstance(printed, str):
            if answer != printed:
                yield f"{name}: {answer}, printed {printed}"
            continue
        allowed = case["tolerance"]
        allowed = allowed[name] if isinstance(allowed, dict) else allowed
        if abs(Fraction(answer) - Fraction(exact(printed))) > Fraction(exact(allowed)):
            yield f"{name}: {answer}, printed {printed} (tolerance {allowed})"


DECIDING = [case for case in CASES if case["how"] != "memory"]
FROM_MEMORY = [case for case in CASES if case["how"] == "memory"]


@pytest.mark.parametrize("case", DECIDING, ids=[case["id"] for case in DECIDING])
def test_a_printed_value_is_met(case: Case) -> None:
    assert not list(differences(case)), f"{case['source']} ({case['how']}): {list(differences(case))}"


@pytest.mark.parametrize("case", FROM_MEMORY, ids=[case["id"] for case in FROM_MEMORY])
def test_a_value_from_memory_is_reported_and_only_the_class_limits_decide(
    case: Case, record_property: Callable[[str, object], None]
) -> None:
    for difference in differences(case):
        record_property("differs_from_memory", difference)
        print(f"{case['id']}, from memory: {difference}")
    thread = insert_hole(metric(case["input"]))
    limits = internal_limits(thread)
    assert limits.minor_min <= tap_drill(thread).mm <= limits.minor_max


def test_all_309_cases_are_asked_and_those_from_memory_do_not_decide() -> None:
    assert {case["topic"] for case in CASES} == set(ANSWERS)
    assert len(DECIDING) + len(FROM_MEMORY) == len(CASES) == 309
    assert Counter(case["how"] for case in DECIDING) == {"read": 192, "library": 22, "computed": 85}
    assert {case["topic"] for case in FROM_MEMORY} == {"STI / EG drill, metric"}


STI_TAP_FLANKS = [case for case in CASES if case["topic"] == "STI tap pitch diameter, inch"]


@pytest.mark.parametrize("case", STI_TAP_FLANKS, ids=[case["id"] for case in STI_TAP_FLANKS])
def test_insert_hole_taps_cut_their_flanks_inside_the_class_they_are_printed_for(case: Case) -> None:
    """What a tap of the printed H number cuts lies within the limits of the class that it is printed for."""
    thread = insert_hole(unified(case["input"]))
    for name in ("2B", "3B"):
        low, high = (exact(case["expected"][f"tap_pd_{name}_{end}_in"]) for end in ("min", "max"))
        limits = internal_limits(thread, name)
        assert limits.pitch_min / INCH <= low
        assert high <= limits.pitch_max / INCH


# ASME B1.1 limits of the smallest sizes as a public table of the standard's own prints them, in 0.0001 in:
# size, tpi, class, then major max, major min, pitch max, pitch min of a bolt,
# or minor min, minor max, pitch min, pitch max of a hole.
SMALL = """
0 80 2A  595 563 514 496 | 0 80 2B 465 514 519 542 | 0 80 3A  600 568 519 506 | 0 80 3B 465 514 519 536
1 64 2A  724 686 623 603 | 1 64 2B 561 623 629 655 | 1 64 3A  730 692 629 614 | 1 64 3B 561 623 629 648
1 72 2A  724 689 634 615 | 1 72 2B 580 635 640 665 | 1 72 3A  730 695 640 626 | 1 72 3B 580 635 640 659
2 56 2A  854 813 738 717 | 2 56 2B 667 737 744 772 | 2 56 3A  860 819 744 728 | 2 56 3B 667 737 744 765
2 64 2A  854 816 753 733 | 2 64 2B 691 753 759 786 | 2 64 3A  860 822 759 744 | 2 64 3B 691 753 759 779
3 48 2A  983 938 848 825 | 3 48 2B 764 845 855 885
"""
SMALL_ROWS = [row.split() for line in SMALL.strip().splitlines() for row in line.split("|")]


@pytest.mark.parametrize("row", SMALL_ROWS, ids=["-".join(row[:3]) for row in SMALL_ROWS])
def test_unified_limits_of_both_sides_agree_with_the_printed_table_to_the_last_place(row: list[str]) -> None:
    number, tpi, thread_class, *printed = row
    thread = Thread("UN", (60 + 13 * int(number)) * 25_400, 2 * int(tpi))
    if thread_class.endswith("A"):
        bolt_limits = external_limits(thread, thread_class)
        names = ("major_max", "major_min", "pitch_max", "pitch_min")
        found = [getattr(bolt_limits, name) for name in names]
    else:
        hole_limits = internal_limits(thread, thread_class)
        found = [getattr(hole_limits, name) for name in ("minor_min", "minor_max", "pitch_min", "pitch_max")]
    assert [size / INCH * 10_000 for size in found] == [Decimal(size) for size in printed]
