from decimal import Decimal

import pytest

from inventory.threads import (
    SYSTEMS,
    Thread,
    basic,
    covered,
    inches,
    outline,
    percent_of_thread,
    read,
    series,
    stress_area,
)
from inventory.threads.profiles import FORMS, form


def test_basic_sizes_of_an_inch_thread_are_whole_ten_thousandths_of_an_inch() -> None:
    sizes = basic(read("1/4-20").thread)
    assert sizes.pitch_diameter == Decimal("0.2175") * Decimal("25.4")
    assert sizes.minor_internal == Decimal("0.1959") * Decimal("25.4")


def test_per_cent_of_thread_differs_by_basis_and_the_basis_must_be_named() -> None:
    """75 % of M16x1.5 is 14.782 mm on the 5/8 H basis, outside 6H; 14.539 on the 3/4 H basis, inside."""
    m16 = read("M16x1.5").thread
    assert percent_of_thread(m16, Decimal("14.782"), "5/8H") == Decimal("75.01")
    assert percent_of_thread(m16, Decimal("14.539"), "3/4H") == Decimal("74.98")
    with pytest.raises(ValueError, match="basis"):
        percent_of_thread(m16, Decimal("14.5"), "75%")


def test_keyed_bush_holes_leave_48_to_64_per_cent_of_thread() -> None:
    """Published hole drills of TM 9-2520-215-34 table 1 on the 5/8 H basis."""
    drills = {
        "3/8-16": "0.332",
        "7/16-14": "0.397",
        "1/2-13": "0.453125",
        "9/16-12": "0.515625",
        "5/8-11": "0.578125",
    }
    for typed, drill in drills.items():
        found = percent_of_thread(read(typed).thread, Decimal(drill) * Decimal("25.4"), "5/8H")
        assert Decimal(47) < found < Decimal(65), typed


def test_the_stress_area_of_an_insert_hole_is_its_bolts() -> None:
    assert stress_area(read("EG M8").thread) == stress_area(read("M8").thread) == Decimal("36.6085")


def test_metric_and_unified_take_their_own_stress_depth() -> None:
    assert stress_area(Thread("M", 12_700_000, 1_270_000)) != stress_area(Thread("UN", 12_700_000, 40))


def test_each_form_closes_flank_on_flank() -> None:
    """Height of the sharp V: cot of half the angle over 2, so H = sqrt(1 - s2) / (2 s) with s its sine."""
    for shape in FORMS.values():
        assert abs((1 - shape.sine**2).sqrt() / (2 * shape.sine) - shape.triangle) < Decimal("1e-20")


def test_the_arcs_of_the_rounded_forms_have_the_radii_that_their_standards_print() -> None:
    """BS 84 0.137329 p, BS 93 0.1808 p (Machinery's Handbook 31 p.2115: 0.1808 mm for 0 BA), BS 811 p/6."""
    radii = {
        typed: round(outline(read(typed).thread)[0].radius / read(typed).thread.pitch_mm, 4)
        for typed in ("1/2 BSW", "0 BA", "1/4 cycle", "M6")
    }
    assert radii == {
        "1/2 BSW": Decimal("0.1373"),
        "0 BA": Decimal("0.1808"),
        "1/4 cycle": Decimal("0.1667"),
        "M6": Decimal(0),
    }


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_drawn_profile_lies_between_major_and_minor_and_is_one_pitch_long(system: str) -> None:
    for thread in series(system):
        corners, sizes = outline(thread), basic(thread)
        axial = [corner.axial for corner in corners]
        assert axial == sorted(axial)
        assert abs(axial[0] + axial[-1] - thread.pitch_mm) < Decimal("1e-20")
        assert all(sizes.minor_internal / 2 - 1 < corner.radial <= sizes.major / 2 + 1 for corner in corners)
        # Where flank and pitch line cross, thread and space are as wide as each other.
        down = (corners[0].radial - sizes.pitch_diameter / 2) / (corners[0].radial - corners[1].radial)
        crossing = axial[0] + down * (axial[1] - axial[0])
        assert abs(crossing - thread.pitch_mm / 4) < Decimal("0.002")


def test_per_cent_on_the_forms_own_depth_is_100_at_the_basic_minor_diameter() -> None:
    for thread in covered():
        shape = form(thread)
        minor = thread.major_mm - shape.minor * thread.pitch_mm
        assert percent_of_thread(thread, minor, "basic") == 100
        if SYSTEMS[thread.system].form == "iso":
            assert percent_of_thread(thread, minor, "5/8H") == 100


def test_british_stress_areas_stand_on_the_mean_of_effective_and_minor_diameter() -> None:
    sizes = basic(read("1/2 BSW").thread)
    mean = (sizes.pitch_diameter + sizes.minor_external) / 2
    assert abs(stress_area(read("1/2 BSW").thread) - mean * mean * Decimal("0.785398")) < Decimal("0.01")


def test_a_size_is_told_in_inch() -> None:
    assert inches(Decimal("25.4")) == 1
    assert inches(Decimal("14.676"), 4) == Decimal("0.5778")
