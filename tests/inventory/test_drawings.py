"""Drawings are to scale: what is drawn can be measured back."""

from __future__ import annotations

import re
from decimal import Decimal
from itertools import pairwise

import pytest

from inventory.drawings import PITCH, Side, frame, profile, ruler
from inventory.threads import basic, dossier, external_limits, internal_limits, outline, read

M14 = read("M14x1.5").thread


def points(path: str) -> list[tuple[Decimal, Decimal]]:
    numbers = [Decimal(each) for each in re.findall(r"-?\d+\.\d+", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def sides(typed: str) -> tuple[Side, Side]:
    thread = read(typed).thread
    hole, bolt = internal_limits(thread), external_limits(thread)
    return (
        Side((hole.major_min, None), (hole.pitch_min, hole.pitch_max), (hole.minor_min, hole.minor_max)),
        Side((bolt.major_min, bolt.major_max), (bolt.pitch_min, bolt.pitch_max), (None, bolt.minor_max)),
    )


@pytest.mark.parametrize("typed", ["M14x1.5", "M3", "M30", "9/16-18 UNF", "3/8 BSF", "0 BA"])
def test_depth_of_thread_and_pitch_are_to_one_scale(typed: str) -> None:
    thread = read(typed).thread
    hole, bolt = sides(typed)
    drawn = profile(pitch_mm=thread.pitch_mm, angle=Decimal(60), hole=hole, bolt=bolt)
    heights = sorted({y for _, y in points(drawn.hole)} - {Decimal("0.00")})
    depth = (heights[-1] - heights[0]) / PITCH * thread.pitch_mm * 2
    limits = internal_limits(thread)
    # A drawing unit is a 150th of a pitch, and coordinates are written to a hundredth of a unit.
    assert abs(depth - (limits.major_min - limits.minor_min)) < thread.pitch_mm / 3000


def test_flanks_stand_at_half_the_thread_angle() -> None:
    hole, bolt = sides("M14x1.5")
    corners = points(profile(pitch_mm=M14.pitch_mm, angle=Decimal(60), hole=hole, bolt=bolt).bolt)
    (left, low), (right, high) = corners[1], corners[2]
    # tan 30 degrees
    assert abs((right - left) / (low - high) - Decimal("0.57735")) < Decimal("0.001")


def test_the_flank_passes_the_pitch_line_at_a_quarter_pitch() -> None:
    side = sides("M14x1.5")[0]
    size = basic(M14)
    drawn = profile(pitch_mm=M14.pitch_mm, angle=Decimal(60), hole=side, bolt=None)
    corners = points(drawn.hole)
    (left, low), (right, high) = corners[1], corners[2]
    share = (size.pitch_diameter - side.minor[0]) / (side.major[0] - side.minor[0])  # type: ignore[operator]
    across = left + (right - left) * share
    assert abs(PITCH / 2 - across - PITCH / 4) < Decimal("0.1")
    assert low > high


def test_labels_never_stand_on_one_another() -> None:
    hole, bolt = sides("M3")
    labels = profile(pitch_mm=Decimal("0.5"), angle=Decimal(60), hole=hole, bolt=bolt).labels
    heights = [Decimal(label.text_y) for label in labels]
    assert len(labels) == 6
    assert all(after - before >= 19 for before, after in pairwise(heights))


def test_a_rounded_form_is_drawn_with_arcs() -> None:
    thread = read("3/8 BSW").thread
    hole, bolt = sides("3/8 BSW")
    drawn = profile(pitch_mm=thread.pitch_mm, angle=Decimal(55), hole=hole, bolt=bolt, basic=outline(thread))
    assert "A" in drawn.basic
    plain = profile(pitch_mm=M14.pitch_mm, angle=Decimal(60), hole=hole, bolt=bolt, basic=outline(M14))
    assert "A" not in plain.basic


def test_an_open_side_is_not_drawn() -> None:
    hole, _ = sides("M14x1.5")
    drawn = profile(pitch_mm=M14.pitch_mm, angle=Decimal(60), hole=hole, bolt=None)
    assert drawn.bolt == drawn.bolt_band == ""
    assert drawn.hole


def test_a_drill_lies_on_the_ruler_where_it_lies_in_the_window() -> None:
    drawn = ruler(least=14_376_000, most=14_676_000, drills=[("14.5", 14_500_000), ("14.4", 14_400_000)])
    start, span = Decimal(drawn.left), Decimal(drawn.span)
    places = {mark.name: (Decimal(mark.x) - start) / span for mark in drawn.marks}
    assert abs(places["14.5"] - Decimal("0.4133")) < Decimal("0.001")
    assert abs(places["14.4"] - Decimal("0.08")) < Decimal("0.001")


def test_drills_side_by_side_have_their_names_in_rows_of_their_own() -> None:
    drills = [(f"{size / 1_000_000}", size) for size in range(14_400_000, 14_480_000, 20_000)]
    marks = ruler(least=14_376_000, most=14_676_000, drills=drills).marks
    assert len({mark.text_y for mark in marks}) > 1


def test_threads_side_by_side_share_their_scale_and_their_distance_from_the_axis() -> None:
    """M14x1.5 beside 9/16-18 UNF (0.56250 in, pitch 1.41111 mm, ASME B1.1): other pitch, other crest."""
    m14, unf = dossier(read("M14x1.5").thread), dossier(read("9/16-18 UNF").thread)
    sides = [Side((m14.basic.major, None), (m14.basic.pitch_diameter,) * 2, (None, m14.basic.minor_internal))]
    sides.append(Side((unf.basic.major, None), (unf.basic.pitch_diameter,) * 2, (None, unf.basic.minor_internal)))
    shared = frame(m14.pitch_mm, sides)
    drawn = [
        profile(pitch_mm=each.pitch_mm, angle=each.angle, hole=side, bolt=None, within=shared)
        for each, side in zip((m14, unf), sides, strict=True)
    ]
    assert drawn[0].height == drawn[1].height
    crests = [
        [(float(x), float(y)) for x, y in (corner.split() for corner in each.hole[1:-2].split(" L"))] for each in drawn
    ]
    tops = [min(y for _, y in corners if y) for corners in crests]
    # 0.2875 mm more in diameter is 0.14375 mm nearer the edge; 150 units are 1.5 mm
    assert tops[0] - tops[1] == pytest.approx(14.375, abs=0.02)
    firsts = [[x for x, y in corners if y == top] for corners, top in zip(crests, tops, strict=True)]
    assert firsts[0][2] - firsts[0][0] == pytest.approx(150)
    assert firsts[1][2] - firsts[1][0] == pytest.approx(141.11, abs=0.02)
    assert max(x for x, _ in crests[1]) >= 450, "the finer thread fills the width"
