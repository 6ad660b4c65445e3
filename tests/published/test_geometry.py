"""Every printed value of `geometry.json` that the room covers, compared to the printed digits."""

import json
from collections import Counter
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from string import ascii_uppercase
from typing import Any

import pytest

from inventory.threads import (
    Thread,
    basic,
    external_limits,
    insert_hole,
    insert_hole_depth,
    insert_hole_tap_major,
    internal_limits,
    percent_of_thread,
    read_drill,
    stress_area,
    tap_drill,
)
from inventory.threads.limits import Tolerance, tolerance, unified_crest

Case = dict[str, Any]
CASES: list[Case] = json.loads((Path(__file__).parent / "geometry.json").read_text(encoding="utf-8"))
INCH = Decimal("25.4")

# Topics of systems and tools that the room does not cover, or that other rooms check.
ELSEWHERE = {
    "BSW basic",
    "BSF basic",
    "Whitworth tapping drill",
    "BA nut limits",
    "BA basic",
    "ISO 228-1 G",
    "G tapping drill",
    "tap chamfer",
    "key-locked bushing insert, heavy series",
    "STI tap pitch diameter, inch",
}
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
}


def differences(case: Case) -> Iterator[str]:
    """What differs from print by more than the case's tolerance, in words."""
    found = ANSWERS[case["topic"]](case["input"])
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


DECIDING = [case for case in CASES if case["topic"] in ANSWERS and case["how"] != "memory"]
FROM_MEMORY = [case for case in CASES if case["topic"] in ANSWERS and case["how"] == "memory"]


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


def test_every_topic_is_either_answered_or_named_as_covered_elsewhere() -> None:
    assert {case["topic"] for case in CASES} == set(ANSWERS) | ELSEWHERE
    assert not set(ANSWERS) & ELSEWHERE
    assert len(CASES) == 309
    assert Counter(case["how"] for case in DECIDING)["read"] > 100


STI_TAP_FLANKS = [case for case in CASES if case["topic"] == "STI tap pitch diameter, inch"]


@pytest.mark.parametrize("case", STI_TAP_FLANKS, ids=[case["id"] for case in STI_TAP_FLANKS])
def test_insert_hole_taps_cut_their_flanks_inside_the_class_they_are_printed_for(case: Case) -> None:
    """A tap's H limits stand on the hole's basic pitch diameter and lie within the class's limits."""
    thread = insert_hole(unified(case["input"]))
    start = basic(thread).pitch_diameter / INCH
    for name in ("2B", "3B"):
        low, high = (exact(case["expected"][f"tap_pd_{name}_{end}_in"]) for end in ("min", "max"))
        step = Decimal(case["expected"][f"H_{name}"])
        assert abs(low - (start + (step - 1) * Decimal("0.0005"))) <= exact(case["tolerance"]), case["source"]
        assert abs(high - (start + step * Decimal("0.0005"))) <= exact(case["tolerance"]), case["source"]
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
