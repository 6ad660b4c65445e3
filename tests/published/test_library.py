"""The limits against those of a library of somebody else, row by row; its known errors are listed with their proof.

`screw-thread-lib` 0.0.6 copies rows of ASME B1.1-2019 (2A, 2B) and of the appendix of ASME B1.13M-2005 (6g, 6H),
metric ones in inch.
"""

from decimal import Decimal
from typing import Any

import pytest
from screw_thread_lib.data import ASME_M_6g6H_dict, ASME_UN_2A2B_dict

from inventory.threads import external_limits, internal_limits, read
from inventory.threads.iso_965 import tolerance

INCH = Decimal("25.4")
OUTSIDE = {"dmax": "major_max", "dmin": "major_min", "d2max": "pitch_max", "d2min": "pitch_min"}
INSIDE = {"D1min": "minor_min", "D1max": "minor_max", "D2min": "pitch_min", "D2max": "pitch_max"}

# M12x1.75 d2min: the library has 0.42023 in = 10.674 mm. Its own d2max of 0.42634 in = 10.829 mm less Td2 = 0.150 mm
# (Machinery's Handbook 31 p.2025 table 11, over 11.2 to 22.4 at 1.75, grade 6) is 10.679 mm = 0.42043 in: two digits
# changed places.
KNOWN_ERRORS = {("M12-1.75", "d2min")}
# 1-8 UNC d2min: Td2(2A) is 0.0015 + 0.0015 + 0.015 x 0.25 = 0.00675 in, an exact tie between 0.0067 and 0.0068. The
# library, which copies the edition of 2019, has 0.9101; here the tie goes up and the size is 0.9100. Which of the two
# the edition of 2003 prints was not seen: not decided.
UNDECIDED = {("1-8", "d2min")}


def sides(name: str, row: dict[str, Any]) -> dict[str, tuple[Decimal, Decimal]]:
    """What the library gives and what is found here, in inch."""
    metric = name.startswith("M")
    thread = read(name.replace("-", "x") if metric else f"{name} {row['series']}".replace("10-", "#10-", 1)).thread
    bolt, hole = external_limits(thread), internal_limits(thread)
    ours = {key: getattr(bolt, field) for key, field in OUTSIDE.items()}
    ours |= {key: getattr(hole, field) for key, field in INSIDE.items()}
    return {key: (Decimal(str(row[key])), size / INCH) for key, size in ours.items()}


UNIFIED = sorted(ASME_UN_2A2B_dict)
METRIC = sorted(ASME_M_6g6H_dict)


@pytest.mark.parametrize("name", UNIFIED)
def test_unified_limits_agree_with_the_library_to_the_last_place(name: str) -> None:
    differs = {(name, key) for key, (theirs, ours) in sides(name, ASME_UN_2A2B_dict[name]).items() if ours != theirs}
    assert differs == {point for point in UNDECIDED if point[0] == name}


@pytest.mark.parametrize("name", METRIC)
def test_metric_limits_agree_with_the_library_to_its_fifth_place_of_an_inch(name: str) -> None:
    differs = {
        (name, key)
        for key, (theirs, ours) in sides(name, ASME_M_6g6H_dict[name]).items()
        if abs(ours - theirs) > Decimal("0.00002")
    }
    assert differs == {error for error in KNOWN_ERRORS if error[0] == name}


def test_the_known_error_of_the_library_is_one_by_its_own_numbers() -> None:
    row = ASME_M_6g6H_dict["M12-1.75"]
    printed = tolerance("Td2", Decimal("1.75"), "6", Decimal(12))
    assert printed is not None
    assert (printed.um, printed.how) == (150, "read")
    theirs = (Decimal(str(row["d2max"])) - Decimal(str(row["d2min"]))) * INCH
    assert abs(theirs - printed.mm) > Decimal("0.004")


def test_nothing_of_the_library_is_left_out() -> None:
    assert (len(UNIFIED), len(METRIC)) == (11, 4)
