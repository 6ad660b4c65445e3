"""Drawings of threads as coordinates for SVG: a profile with its limits, drills on a ruler. PURE.

Sizes come in as Decimal millimetres and leave as text in drawing units, to scale; nothing here is a size that
anybody works to. Presentation (colours, words) stands in the templates.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.threads import Vertex

PITCH = Decimal(150)  # drawing units for one pitch
PITCHES = 3
MARGIN = Decimal("0.3")  # of a pitch, above and below
STEM = 66  # how far down the stem of a mark in the first row of names goes
ROW = 20
LABEL_GAP = Decimal(19)  # least distance between two labels


@dataclass(frozen=True, slots=True)
class Label:
    """A size beside the drawing: where it really lies (`y`), where its text stands (`text_y`), and its range."""

    side: str
    what: str
    least: Decimal | None
    most: Decimal | None
    y: str
    text_y: str


@dataclass(frozen=True, slots=True)
class Profile:
    """A thread profile in section, axis below: outlines of hole and bolt, their tolerance bands, labels.

    `hole` and `bolt` are closed outlines of metal at its most, `hole_band` and `bolt_band` what tolerance may
    take away, `basic` the line of the basic profile, roundings and all. Empty where the thread has no such side.
    """

    width: str
    height: str
    hole: str
    hole_band: str
    bolt: str
    bolt_band: str
    basic: str
    labels: tuple[Label, ...]


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a thread: major, pitch and minor diameter, each least and most, in mm (None: not limited)."""

    major: tuple[Decimal | None, Decimal | None]
    pitch: tuple[Decimal, Decimal]
    minor: tuple[Decimal | None, Decimal | None]


@dataclass(frozen=True, slots=True)
class Frame:
    """What drawings that stand side by side share, so that they can be compared: scale and distance from the axis.

    One pitch of `pitch_mm` is PITCH units wide; `top_mm` and `bottom_mm` are the radii at the upper and the lower
    edge.
    """

    pitch_mm: Decimal
    top_mm: Decimal
    bottom_mm: Decimal


def frame(pitch_mm: Decimal, sides: Iterable[Side | None]) -> Frame:
    """The frame that holds all these sides, to the scale of a thread of `pitch_mm`; sizes in mm. Source: none needed,
    it is a matter of paper.

    >>> side = Side((Decimal(10), None), (Decimal("9.026"), Decimal("9.206")), (Decimal("8.376"), Decimal("8.676")))
    >>> frame(Decimal("1.5"), [side, None])
    Frame(pitch_mm=Decimal('1.5'), top_mm=Decimal('5.45'), bottom_mm=Decimal('3.738'))
    """
    sizes = [
        size
        for side in sides
        if side is not None
        for pair in (side.major, side.minor)
        for size in pair
        if size is not None
    ]
    margin = pitch_mm * MARGIN
    return Frame(pitch_mm, max(sizes) / 2 + margin, min(sizes) / 2 - margin)


def _at(number: Decimal) -> str:
    return f"{number:.2f}"


@dataclass(frozen=True, slots=True)
class _Scale:
    pitch_mm: Decimal
    slope: Decimal  # tangent of half the thread angle
    frame: Frame

    @property
    def pitches(self) -> int:
        """So many pitches fill the width, the last one perhaps beyond the edge."""
        return math.ceil(self.frame.pitch_mm * PITCHES / self.pitch_mm)

    def x(self, mm: Decimal) -> Decimal:
        return mm / self.frame.pitch_mm * PITCH

    def y(self, diameter: Decimal) -> Decimal:
        return (self.frame.top_mm - diameter / 2) / self.frame.pitch_mm * PITCH

    def half_gap(self, diameter: Decimal, pitch_diameter: Decimal) -> Decimal:
        """Half the width of a thread ridge of the bolt (or groove of the hole) at a diameter, mm."""
        return max(Decimal(0), self.pitch_mm / 4 - (diameter - pitch_diameter) / 2 * self.slope)

    def outline(self, major: Decimal, pitch: Decimal, minor: Decimal) -> list[tuple[Decimal, Decimal]]:
        """The profile from left to right over all pitches, flats at both ends of the flank."""
        points = []
        top, bottom = self.half_gap(major, pitch), self.half_gap(minor, pitch)
        for number in range(self.pitches):
            middle = self.pitch_mm * (number + Decimal("0.5"))
            half = min(bottom, self.pitch_mm / 2)
            points += [
                (self.x(middle - half), self.y(minor)),
                (self.x(middle - top), self.y(major)),
                (self.x(middle + top), self.y(major)),
                (self.x(middle + half), self.y(minor)),
            ]
        start, end = (Decimal(0), points[0][1]), (self.x(self.pitch_mm * self.pitches), points[-1][1])
        return [start, *points, end]


def _path(points: Iterable[tuple[Decimal, Decimal]]) -> str:
    return "M" + " L".join(f"{_at(x)} {_at(y)}" for x, y in points) + " Z"


def profile(
    *,
    pitch_mm: Decimal,
    angle: Decimal,
    hole: Side | None,
    bolt: Side | None,
    basic: Sequence[Vertex] = (),
    within: Frame | None = None,
) -> Profile:
    """A thread's profile to scale, three pitches wide; `angle` in degrees, limits with straight flanks and flats.

    `within` is a frame that it shares with others: then it is as long as three pitches of that one, and may reach
    beyond the right edge, where the drawing is to be cut off.

    Source: the geometry of a symmetric thread with straight flanks (ISO 68-1, ISO 228-1, BS 84 and BS 93 alike).

    >>> side = Side((Decimal(10), None), (Decimal("9.026"), Decimal("9.206")), (Decimal("8.376"), Decimal("8.676")))
    >>> drawn = profile(pitch_mm=Decimal("1.5"), angle=Decimal(60), hole=side, bolt=None)
    >>> drawn.width, drawn.bolt, [label.what for label in drawn.labels]
    ('450.00', '', ['major', 'pitch', 'minor'])
    """
    slope = Decimal(str(math.tan(math.radians(float(angle) / 2))))
    scale = _Scale(pitch_mm, slope, within or frame(pitch_mm, (hole, bolt)))
    height = scale.y(2 * scale.frame.bottom_mm)
    width = PITCH * PITCHES
    end = scale.x(pitch_mm * scale.pitches)
    hole_most, hole_least = _materials(hole, inside=True)
    bolt_most, bolt_least = _materials(bolt, inside=False)

    def body(sizes_: tuple[Decimal, Decimal, Decimal] | None, edge: Decimal) -> str:
        return _path([*scale.outline(*sizes_), (end, edge), (Decimal(0), edge)]) if sizes_ else ""

    def band(most: tuple[Decimal, Decimal, Decimal] | None, least: tuple[Decimal, Decimal, Decimal] | None) -> str:
        return _path([*scale.outline(*most), *reversed(scale.outline(*least))]) if most and least else ""

    return Profile(
        width=_at(width),
        height=_at(height),
        hole=body(hole_most, Decimal(0)),
        hole_band=band(hole_most, hole_least),
        bolt=body(bolt_most, height),
        bolt_band=band(bolt_most, bolt_least),
        basic=_basic(scale, basic),
        labels=_labels(scale, hole, bolt),
    )


def _basic(scale: _Scale, corners: Sequence[Vertex]) -> str:
    """The basic profile over all pitches: straight flanks, and arcs where the form is rounded."""
    path: list[str] = []
    for number in range(-1, scale.pitches + 1):
        for corner in corners:
            x = scale.x(corner.axial + scale.pitch_mm * (number + Decimal("0.5")))
            radius = abs(corner.radius) / scale.pitch_mm * PITCH
            sweep = 1 if corner.radius > 0 else 0
            to = f"{_at(x)} {_at(scale.y(corner.radial * 2))}"
            lead = "M" if not path else f"A{_at(radius)} {_at(radius)} 0 0 {sweep} " if radius else "L"
            path.append(f"{lead}{to}")
    return " ".join(path)


def _materials(
    side: Side | None, *, inside: bool
) -> tuple[tuple[Decimal, Decimal, Decimal] | None, tuple[Decimal, Decimal, Decimal] | None]:
    """Major, pitch and minor of most and of least metal; where a limit is open the other one serves."""
    if side is None:
        return None, None

    def pick(pair: tuple[Decimal | None, Decimal | None], first: bool) -> Decimal:
        least, most = pair
        found = (least, most) if first else (most, least)
        return next(size for size in found if size is not None)

    most = (pick(side.major, inside), pick(side.pitch, inside), pick(side.minor, inside))
    least = (pick(side.major, not inside), pick(side.pitch, not inside), pick(side.minor, not inside))
    return most, least


def _labels(scale: _Scale, hole: Side | None, bolt: Side | None) -> tuple[Label, ...]:
    found: list[tuple[Decimal, str, str, tuple[Decimal | None, Decimal | None]]] = []
    for name, side in (("hole", hole), ("bolt", bolt)):
        if side is None:
            continue
        for what, pair in (("major", side.major), ("pitch", side.pitch), ("minor", side.minor)):
            known = [size for size in pair if size is not None]
            if known:
                found.append((scale.y(sum(known, Decimal(0)) / len(known)), name, what, pair))
    labels = []
    last = -LABEL_GAP
    for y, name, what, (least, most) in sorted(found, key=lambda item: item[0]):
        last = max(y, last + LABEL_GAP, LABEL_GAP / 2)
        labels.append(Label(name, what, least, most, _at(y), _at(last)))
    return tuple(labels)


@dataclass(frozen=True, slots=True)
class Mark:
    """A drill on the ruler: where it lies, where its stem ends and where its name stands, in drawing units."""

    name: str
    x: str
    stem_y: int
    text_y: int
    inside: bool


@dataclass(frozen=True, slots=True)
class Ruler:
    """A drill window on a ruler of `width` units: the window's ends and the drills about it."""

    width: int
    left: str
    span: str
    marks: tuple[Mark, ...]


def ruler(*, least: int, most: int, drills: Sequence[tuple[str, int]], width: int = 640) -> Ruler:
    """Drills by size on a ruler; `least` and `most` are the window's ends in nm, `drills` (name, nm).

    The window takes the middle half of the ruler; drills beyond its ends are left out.

    >>> drawn = ruler(least=14_376_000, most=14_676_000, drills=[("14.5", 14_500_000), ("15", 15_000_000)])
    >>> drawn.left, drawn.span, [(mark.name, mark.x, mark.inside) for mark in drawn.marks]
    ('160.00', '320.00', [('14.5', '292.27', True)])
    """
    span = max(1, most - least)

    def x(size: int) -> Decimal:
        return Decimal(width) / 4 + Decimal(size - least) / span * width / 2

    marks, rows = [], [Decimal(-1000)] * 3
    for name, size in sorted(drills, key=lambda drill: (drill[1], drill[0])):
        place = x(size)
        if not 0 <= place <= width:
            continue
        row = min(range(len(rows)), key=lambda number: (rows[number] + 60 > place, number))
        rows[row] = place
        marks.append(Mark(name, _at(place), STEM + ROW * row, STEM + ROW * row + 14, least <= size <= most))
    return Ruler(width, _at(x(least)), _at(x(most) - x(least)), tuple(marks))
