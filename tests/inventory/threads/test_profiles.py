from decimal import Decimal

import pytest

from inventory.threads import Thread, basic, percent_of_thread, read, stress_area


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
    for typed, inches in drills.items():
        found = percent_of_thread(read(typed).thread, Decimal(inches) * Decimal("25.4"), "5/8H")
        assert Decimal(47) < found < Decimal(65), typed


def test_the_stress_area_of_an_insert_hole_is_its_bolts() -> None:
    assert stress_area(read("EG M8").thread) == stress_area(read("M8").thread) == Decimal("36.61")


def test_metric_and_unified_take_their_own_stress_depth() -> None:
    assert stress_area(Thread("M", 12_700_000, 1_270_000)) != stress_area(Thread("UN", 12_700_000, 40))
