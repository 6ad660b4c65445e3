"""The section drawing of a hole and its repair as coordinates for SVG. PURE.

To scale, in the manner of the drawing office: sections and hatching by ISO 128, dimensions by ISO 129-1 (depths
as running dimensions from the surface), threads by ISO 6410-1. The hole's axis is x = 0 and the part's surface
y = 0, so that a coordinate over `Section.scale` is a length in mm; only across a break (`Section.breaks`) is
something left out. Where a plan gives a range its larger end is drawn. What was not entered ends in a break line
and is labelled so. Words are codes whose underscores became blanks; colours stand in the template.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal
from itertools import pairwise

from inventory.errors import Reason
from inventory.quantities import Rounding, show_length, to_mm
from inventory.threads import Thread, basic
from repairs.methods import METHODS
from repairs.methods.room import BOTTOMING, DRILL_POINT, Depths, set_down_here, thread_now
from repairs.methods.values import HoleGroup, Limits, Need, Option, Window

NOT_ENTERED = "not entered"
UNDRILLED = ("chase", "scrap_part")  # the hole stays as it is
FILLED = ("plug_or_weld",)  # the old hole is filled in, so that nothing of it stays open

ZERO, HALF = Decimal(0), Decimal("0.5")
# A fixed-pitch letter is 0.602 of its height wide in DejaVu Sans Mono, no wider in the usual substitutes.
LETTER = Decimal("0.602")
LINE = Decimal("1.22")
ARROW, ARROW_HALF = Decimal(9), Decimal("1.8")
BREAK = Decimal(9)  # white left between the two lines of a break
LABEL_GAP = Decimal(7)
ROW = Decimal(20)
MARGIN = Decimal(6)
INSERT_X, FLOOR_X, RUN_X = Decimal(14), Decimal(28), Decimal(16)  # dimension lines, beside the part

Point = tuple[Decimal, Decimal]


@dataclass(frozen=True, slots=True)
class Layout:
    """How a drawing is laid out, in drawing units: `middle` and `tall` bound the section itself.

    `column` is the width of the labels at either side, `big` and `small` the heights of their letters, `side` how
    many greatest radii of the part are drawn towards its edge before it is broken off.
    """

    name: str
    column: Decimal
    middle: Decimal
    tall: Decimal
    big: Decimal
    small: Decimal
    side: Decimal


NARROW = Layout("narrow", Decimal(128), Decimal(150), Decimal(330), Decimal(15), Decimal(13), Decimal("2.6"))
WIDE = Layout("wide", Decimal(168), Decimal(330), Decimal(400), Decimal(14), Decimal(12), Decimal("3.6"))


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text: its anchor point in drawing units and the height of its letters."""

    text: str
    x: str
    y: str
    size: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Dimension:
    """One dimension: its code, what it says, and how it is drawn.

    `least` and `most` are the plan's numbers in nm (None: a thread, or not entered). `measure` is the path from
    one end of what is measured to the other ("" for a leader), `extensions` the thin lines that lead there,
    `arrows` closed triangles, `dots` where arrows have no room, `leader` the line to the text.
    """

    what: str
    figure: str
    beside: str
    least: int | None
    most: int | None
    measure: str
    extensions: tuple[str, ...]
    arrows: tuple[str, ...]
    dots: tuple[tuple[str, str], ...]
    leader: str
    texts: tuple[Text, ...]

    @property
    def spoken(self) -> str:
        """The dimension for whoever hears the drawing: "seat Ø22"."""
        return f"{self.what.replace('_', ' ')} {self.figure}"


@dataclass(frozen=True, slots=True)
class Bar:
    """A scale bar of `mm` millimetres: its ends and its text."""

    mm: str
    path: str
    text: Text


@dataclass(frozen=True, slots=True)
class Section:
    """A hole in section. Paths in drawing units, `scale` units to the mm.

    `view` is the viewBox. `clips` are the rectangles (x, y, width, height) that breaks leave of part and insert:
    `parent` and `insert` are hatched areas, `thick` visible edges, `thin` the thin lines of threads, `phantom`
    what is cut away or only indicated. `broken` are break lines, `axis` the centre line, `origin` where running
    dimensions start and `surface` the line that leads there ("": there are none), `breaks` what
    is left out: ("across" or "down", from, to) in mm.
    """

    layout: str
    units: str
    other_units: str
    scale: str
    view: str
    width: str
    height: str
    clips: tuple[tuple[str, str, str, str], ...]
    parent: tuple[str, ...]
    insert: tuple[str, ...]
    thick: tuple[str, ...]
    thin: tuple[str, ...]
    phantom: tuple[str, ...]
    broken: tuple[str, ...]
    axis: str
    origin: tuple[str, str]
    surface: str
    breaks: tuple[tuple[str, Decimal, Decimal], ...]
    dimensions: tuple[Dimension, ...]
    bar: Bar
    notes: tuple[Text, ...]


def section(
    group: HoleGroup,
    option: Option | None = None,
    *,
    limits: Limits | None = None,
    layout: Layout = WIDE,
    units: str = "mm",
) -> Section:
    """The hole of a group in section: with `option` as it is repaired, without one as it is now.

    The numbers are those of the option's steps (nm as they stand there); of an option that is ruled out, which
    has no steps, the hole that it would need. `limits` are those it was planned with. `units` ("mm" or "in")
    lead in the dimensions. Raises KeyError for a method that is not known. Sources: ISO 128-2 and -3, ISO 129-1,
    ISO 6410-1 (their conventions, from memory); thread sizes as `inventory.threads.basic` names them.

    >>> from repairs.methods import consider, example, pick
    >>> group = example.holes()
    >>> planned = pick(consider(group, [example.bush()], Limits()), "")
    >>> drawn = section(group, planned)
    >>> [(each.what, each.figure) for each in drawn.dimensions][:4]
    [('edge', '30'), ('seat', 'Ø22'), ('inner_thread', 'M14x1.5'), ('outer_thread', 'M16x1.5')]
    >>> [each.figure for each in section(group).dimensions if each.what in ("depth", "floor")]
    ['12', '40']
    """
    return _Draughtsman(_facts(group, option, limits or Limits()), layout, units, limits or Limits()).sheet()


# What is drawn, in mm


@dataclass(frozen=True, slots=True)
class _Bore:
    """A drilled hole: radius, depth at full diameter (None: open below) and length of its point, mm."""

    radius: Decimal
    depth: Decimal | None
    point: Decimal

    @property
    def tip(self) -> Decimal | None:
        return None if self.depth is None else self.depth + self.point

    def at(self, y: Decimal) -> Decimal:
        if self.depth is None or y <= self.depth:
            return self.radius
        return max(ZERO, self.radius * (1 - (y - self.depth) / self.point))

    def reaches(self, radius: Decimal) -> Decimal | None:
        """How deep the point has narrowed to a radius."""
        if self.depth is None or radius >= self.radius:
            return None
        return self.depth + self.point * (1 - radius / self.radius)


@dataclass(frozen=True, slots=True)
class _Insert:
    """An insert in place, mm: `top` is where its thread begins, under a flange if it has one."""

    top: Decimal
    end: Decimal
    outer: Decimal
    root: Decimal | None
    minor: Decimal
    major: Decimal
    flange: Decimal | None
    keys: bool


@dataclass(frozen=True, slots=True)
class _Facts:
    """What is known of one hole; radii and depths in mm, None where nothing tells them.

    `outer_major` is the major radius of the thread in the metal, into which an insert or, without one, the bolt is
    screwed; `full` the depth of full thread, `reach` where the tap's lead ends. `bottom` is the part's other face.
    """

    group: HoleGroup
    option: Option | None
    now: Thread
    old: _Bore
    old_major: Decimal
    new: _Bore | None
    insert: _Insert | None
    outer_major: Decimal | None
    full: Decimal | None
    reach: Decimal | None
    seat: Decimal | None
    seat_depth: Decimal
    sink: Decimal | None
    edge: Decimal | None
    bottom: Decimal | None

    @property
    def filled(self) -> bool:
        return self.option is not None and self.option.method in FILLED

    @property
    def bores(self) -> tuple[_Bore, ...]:
        if self.new is None:
            return (self.old,)
        return (self.new,) if self.filled else (self.new, self.old)

    @property
    def widest(self) -> Decimal:
        radii = [self.old_major, self.old.radius, self.outer_major, self.seat, self.sink]
        return max(radius for radius in radii if radius is not None)


def _told(option: Option) -> dict[str, Reason]:
    return {reason.code: reason for step in option.steps for reason in step.settings}


def _need(option: Option, kind: str) -> Need | None:
    return next((need for need in option.needs if need.kind == kind), None)


def _maybe(nm: int | None) -> Decimal | None:
    return None if nm is None else to_mm(nm)


def _facts(group: HoleGroup, option: Option | None, limits: Limits) -> _Facts:
    now = thread_now(group) or group.bolt
    depth, floor = _maybe(group.depth), _maybe(group.floor)
    below = ZERO if group.through else floor
    bottom = depth + below if depth is not None and below is not None else None
    old_radius = basic(now).minor_internal / 2
    facts = _Facts(
        group=group,
        option=option,
        now=now,
        old=_Bore(old_radius, None if group.through else depth, DRILL_POINT * old_radius * 2),
        old_major=basic(now).major / 2,
        new=None,
        insert=None,
        outer_major=None,
        full=None,
        reach=None,
        seat=None,
        seat_depth=ZERO,
        sink=None,
        edge=_maybe(group.edge),
        bottom=bottom,
    )
    return facts if option is None or option.method == "scrap_part" else _repaired(facts, option, limits)


def drill_window(option: Option) -> Window | None:
    """The window that an option's hole is drilled to, nm; None where nothing is drilled.

    >>> from repairs.methods import consider, example, pick
    >>> drill_window(pick(consider(example.holes(), [example.bush()], Limits()), ""))
    Window(least=14376000, most=14676000)
    """
    if option.like_for_like or option.method in UNDRILLED:
        return None
    need = _need(option, "drill")
    return need.diameter if need is not None else METHODS[option.method].window(option.size)


def drill_depth(option: Option, group: HoleGroup, limits: Limits) -> Window | None:
    """How deep an option's hole is drilled at full diameter, nm, as its steps say; None where they say nothing.

    An option that is ruled out has no steps: then what it would need with a bottoming tap.

    >>> from repairs.methods import consider, example, pick
    >>> group = example.holes()
    >>> drill_depth(pick(consider(group, [example.bush()], Limits()), ""), group, Limits())
    Window(least=30500000, most=32000000)
    """
    if option.like_for_like or option.method in UNDRILLED:
        return None
    told = _told(option)
    if "drill_depth" in told:
        return Window(told["drill_depth"]["least_nm"], told["drill_depth"]["most_nm"])
    if "drill_through" in told:
        return Window(told["drill_through"]["depth_nm"], told["drill_through"]["depth_nm"])
    if option.steps or group.through:
        return None
    needed = METHODS[option.method].depths(option.size, limits).needed(BOTTOMING)
    return Window(needed, needed)


def _repaired(facts: _Facts, option: Option, limits: Limits) -> _Facts:
    group, size = facts.group, option.size
    told, depths = _told(option), METHODS[option.method].depths(size, limits)
    window, deep = drill_window(option), drill_depth(option, group, limits)
    flanged, kept = size.flange is not None, option.method in UNDRILLED
    new = None
    if window is not None:
        radius = to_mm(window.most) / 2
        depth = to_mm(deep.most) if deep is not None else None
        if group.through and (depth is None or facts.bottom is None or depth >= facts.bottom):
            depth = None  # right through
        new = _Bore(radius, depth, DRILL_POINT * radius * 2)
    full, reach, floor = to_mm(depths.thread), None, new.depth if new is not None else facts.old.depth
    tap = _need(option, "tap")
    if tap is not None and tap.reach is not None and not kept:
        reach = to_mm(tap.reach)
    if group.through and facts.bottom is not None:
        full = min(full, facts.bottom)
    if option.like_for_like:
        full = facts.bottom if group.through and facts.bottom is not None else facts.old.depth or full
    elif floor is not None and full > floor:
        full = floor
    sink = told["countersink_to"]["diameter_nm"] if "countersink_to" in told else None
    return replace(
        facts,
        new=new,
        insert=_insert(facts, option, depths) if size.inserted else None,
        outer_major=facts.old_major if kept else basic(size.outer).major / 2,
        full=full,
        reach=reach,
        seat=to_mm(size.seat) / 2 if flanged and size.seat is not None else None,
        seat_depth=to_mm(size.seat_depth) if flanged else ZERO,
        sink=to_mm(sink) / 2 if sink is not None else None,
    )


def _insert(facts: _Facts, option: Option, depths: Depths) -> _Insert:
    group, size = facts.group, option.size
    outer, inner = basic(size.outer), basic(size.inner)
    below = set_down_here(group, size, depths)
    top = to_mm(size.seat_depth if size.flange is not None else below.most if below is not None else 0)
    end = top + to_mm(size.length)
    if option.steps and group.through and facts.bottom is not None:
        end = min(end, facts.bottom)
    return _Insert(
        top=top,
        end=end,
        outer=outer.major / 2,
        root=None if option.method == "wire_insert" else outer.minor_external / 2,
        minor=inner.minor_internal / 2,
        major=inner.major / 2,
        flange=to_mm(size.flange) / 2 if size.flange is not None else None,
        keys=size.lock == "keys",
    )


# Lines, in drawing units


def _at(number: Decimal) -> str:
    return f"{number:.2f}"


def _path(points: Iterable[Point], *, closed: bool = False) -> str:
    return "M" + " L".join(f"{_at(x)} {_at(y)}" for x, y in points) + (" Z" if closed else "")


def _break_line(start: Point, end: Point) -> str:
    """A thin line with two zigzags (ISO 128, line 01.1 with zigzags), level or upright."""
    (x1, y1), (x2, y2) = start, end
    along_x = abs(x2 - x1) > abs(y2 - y1)

    def between(share: Decimal, out: int, off: int) -> Point:
        x, y = x1 + (x2 - x1) * share, y1 + (y2 - y1) * share
        return (x + off, y + out) if along_x else (x + out, y + off)

    points = [start]
    for share in (Decimal("0.3"), Decimal("0.7")):
        points += [between(share, 0, -4), between(share, -5, -1), between(share, 5, 1), between(share, 0, 4)]
    return _path([*points, end])


def _arrow(tip: Point, towards: Point) -> str:
    """A filled arrow head whose tip is at `tip` and which points away from `towards`, level or upright."""
    (x, y), (from_x, from_y) = tip, towards
    if abs(from_x - x) >= abs(from_y - y):
        back = x + (ARROW if from_x > x else -ARROW)
        return _path([tip, (back, y - ARROW_HALF), (back, y + ARROW_HALF)], closed=True)
    back = y + (ARROW if from_y > y else -ARROW)
    return _path([tip, (x - ARROW_HALF, back), (x + ARROW_HALF, back)], closed=True)


def _span(start: Point, end: Point) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Arrow heads at both ends of a dimension line, and its tails where they have no room inside."""
    (x1, y1), (x2, y2) = start, end
    if abs(x2 - x1) + abs(y2 - y1) >= ARROW * 2 + 3:
        return (_arrow(start, end), _arrow(end, start)), ()
    reach = ARROW + 4
    if y1 == y2:
        before, after = (min(x1, x2) - reach, y1), (max(x1, x2) + reach, y1)
        first, last = (min(x1, x2), y1), (max(x1, x2), y1)
    else:
        before, after = (x1, min(y1, y2) - reach), (x1, max(y1, y2) + reach)
        first, last = (x1, min(y1, y2)), (x1, max(y1, y2))
    return (_arrow(first, before), _arrow(last, after)), (_path([before, first]), _path([last, after]))


def _spread(wanted: Sequence[tuple[Decimal, Decimal]]) -> list[Decimal]:
    """Middles for labels of given (middle, height), in order of the middles, moved apart as little as may be.

    >>> [str(middle) for middle in _spread([(Decimal(0), Decimal(10)), (Decimal(2), Decimal(10))])]
    ['-4.0', '6.0']
    """
    blocks: list[list[tuple[Decimal, Decimal]]] = []
    for label in wanted:
        block = [label]
        while blocks and _top(blocks[-1]) + sum(height for _, height in blocks[-1]) > _top(block):
            block = blocks.pop() + block
        blocks.append(block)
    middles = []
    for block in blocks:
        y = _top(block)
        for _, height in block:
            middles.append(y + height * HALF)
            y += height
    return middles


def _top(block: Sequence[tuple[Decimal, Decimal]]) -> Decimal:
    above = total = ZERO
    for middle, height in block:
        total += middle - above - height * HALF
        above += height
    return total / len(block)


@dataclass(frozen=True, slots=True)
class _Ruler:
    """One direction of the drawing: mm to drawing units, with what breaks leave out of it."""

    scale: Decimal
    breaks: tuple[tuple[Decimal, Decimal], ...] = ()

    def at(self, mm: Decimal) -> Decimal:
        units = mm * self.scale
        for start, end in self.breaks:
            if mm >= end:
                units += BREAK - (end - start) * self.scale
            elif mm > start:
                units += (BREAK - (end - start) * self.scale) * (mm - start) / (end - start)
        return units


@dataclass(slots=True)
class _Draft:
    """A dimension before its label has its place: from where the label is led, and how high it stands."""

    what: str
    figure: str
    beside: str
    side: str  # of the drawing: "left" or "right"
    lead: Point
    least: int | None = None
    most: int | None = None
    measure: str = ""
    extensions: tuple[str, ...] = ()
    arrows: tuple[str, ...] = ()
    dots: tuple[tuple[str, str], ...] = ()


class _Draughtsman:
    """Draws one section: first sizes and breaks, then the part, then the dimensions."""

    def __init__(self, facts: _Facts, layout: Layout, units: str, limits: Limits) -> None:
        self.facts, self.layout, self.units, self.limits = facts, layout, units, limits
        widest = facts.widest
        self.side = widest * Decimal("1.7")
        self.edge = facts.edge if facts.edge is not None else self.side
        self.bottom, down = self._depths(widest)
        cap = widest * layout.side
        across = ((cap - widest / 2, self.edge - widest / 2),) if self.edge > cap else ()
        right = cap if across else max(self.edge, widest)
        # What would stand out of the part below is drawn too: it shows why that will not do.
        self.lowest = max(self.bottom, *(tip for tip in self._tips() if tip is not None))
        deep = self.lowest - sum((end - start for start, end in down), ZERO)
        scale = min(
            (layout.middle - BREAK * len(across)) / (self.side + right), (layout.tall - BREAK * len(down)) / deep
        ).quantize(Decimal("0.001"))
        self.scale = scale
        self.x, self.y = _Ruler(scale, across), _Ruler(scale, down)
        # Where the drawing of the part ends at either side, in drawing units.
        self.left = -self.side * scale
        self.right = max(self.x.at(self.edge), widest * scale)

    def _depths(self, widest: Decimal) -> tuple[Decimal, tuple[tuple[Decimal, Decimal], ...]]:
        """Down to where the part is drawn, and what is left out on the way, in mm."""
        facts, near = self.facts, widest * Decimal("0.7")
        most = [facts.old_major * Decimal("3.4")] if facts.insert is None else []
        if facts.insert is not None:
            most.append(facts.insert.end)
        if facts.full is not None:
            most.append(facts.full)
        if facts.new is not None and facts.new.tip is not None:
            most.append(facts.new.tip)
        busy = max(most) + near
        breaks = []
        if facts.bottom is None:
            known = [facts.old.tip] if facts.old.tip is not None else []
            floor = max([*known, *most]) + widest
        else:
            floor = facts.bottom
        tip = facts.old.tip
        if facts.old.depth is not None and tip is not None and facts.old.depth - near - busy > widest:
            breaks.append((busy, facts.old.depth - near))
        lowest = max(busy, tip + near) if tip is not None else busy
        if floor - near - lowest > widest:
            breaks.append((lowest, floor - near))
        return floor, tuple(breaks)

    def _tips(self) -> tuple[Decimal | None, ...]:
        """How deep the repair reaches, mm."""
        insert, new = self.facts.insert, self.facts.new
        return (insert.end if insert is not None else None, new.tip if new is not None else None, ZERO)

    # The part

    def _bored(self) -> list[Point]:
        """The wall of all bores together as (radius, depth), from the surface down."""
        facts = self.facts
        depths = {ZERO, self.bottom}
        for bore in facts.bores:
            for y in (bore.depth, bore.tip, *(bore.reaches(other.radius) for other in facts.bores)):
                if y is not None and y <= self.bottom:
                    depths.add(y)
        wall = [(max(bore.at(y) for bore in facts.bores), y) for y in sorted(depths)]
        ends = [index for index, (radius, _) in enumerate(wall) if radius == 0]
        return wall[: ends[0] + 1] if ends else wall

    def _mouth(self, wall: list[Point]) -> list[Point]:
        """The wall with the flange's seat or the countersink at its mouth."""
        facts, radius = self.facts, wall[0][0]
        if facts.seat is not None:
            depth = facts.seat_depth
            return [(facts.seat, ZERO), (facts.seat, depth), (radius, depth), *(p for p in wall if p[1] > depth)]
        if facts.sink is not None and facts.sink > radius:
            depth = facts.sink - radius  # 90 degrees
            return [(facts.sink, ZERO), (radius, depth), *(point for point in wall if point[1] > depth)]
        return wall

    def _with_insert(self, wall: list[Point]) -> list[Point]:
        insert = self.facts.insert
        if insert is None:
            return wall
        above = [point for point in wall if point[1] < insert.top]
        top = max(_radius(wall, insert.top, below=False), insert.outer if not above else ZERO)
        before = [*above, (top, insert.top)] if above else []
        below = [point for point in wall if point[1] > insert.end]
        after = [(_radius(wall, insert.end, below=True), insert.end), *below] if below else [(ZERO, insert.end)]
        return [*before, (insert.outer, insert.top), (insert.outer, insert.end), *after]

    def _above_the_bottom(self, wall: list[Point]) -> list[Point]:
        """The wall as far as there is metal: a hole that would be too deep comes out below."""
        if wall[-1][1] <= self.bottom:
            return wall
        kept = [point for point in wall if point[1] < self.bottom]
        return [*kept, (_radius(wall, self.bottom, below=False), self.bottom)]

    def _beyond_the_bottom(self, thick: list[str], phantom: list[str]) -> None:
        insert, new = self.facts.insert, self.facts.new
        if insert is not None and insert.end > self.bottom:
            thick += self._both([(insert.outer, max(insert.top, self.bottom)), (insert.outer, insert.end)])
        if new is not None and new.depth is not None and new.tip is not None and new.tip > self.bottom:
            start = [(new.radius, self.bottom)] if new.depth > self.bottom else []
            first = start or [(new.at(self.bottom), self.bottom)]
            phantom += self._both([*first, *([(new.radius, new.depth)] if start else []), (ZERO, new.tip)])

    def _both(self, points: Sequence[Point]) -> tuple[str, str]:
        """A line of (radius, depth) in mm at the right and, mirrored, at the left of the axis."""
        right = [(self.x.at(x), self.y.at(y)) for x, y in points]
        return _path(right), _path([(-x, y) for x, y in right])

    def _area(self, points: Sequence[Point], *, left: bool) -> str:
        sign = -1 if left else 1
        return _path([(sign * self.x.at(x), self.y.at(y)) for x, y in points], closed=True)

    def _parent(self, wall: list[Point]) -> tuple[str, str]:
        def area(side: Decimal, *, left: bool) -> str:
            inner = [(min(radius, side), y) for radius, y in wall]
            open_below = wall[-1][0] > 0
            last = inner[-1] if open_below else (ZERO, self.bottom)
            return self._area([*inner, last, (side, self.bottom), (side, ZERO)], left=left)

        return area(max(self.edge, ZERO), left=False), area(self.side, left=True)

    def sheet(self) -> Section:
        """The whole drawing."""
        facts, y = self.facts, self.y
        plain = self._mouth(self._bored())
        wall = self._above_the_bottom(self._with_insert(plain))
        thick: list[str] = [*self._both(wall)]
        thin: list[str] = []
        phantom: list[str] = []
        self._beyond_the_bottom(thick, phantom)
        mouth = wall[0][0]
        thick.append(_path([(self.left, ZERO), (-self.x.at(mouth), ZERO)]))
        if self.edge > mouth:
            thick.append(_path([(self.x.at(mouth), ZERO), (self.x.at(self.edge), ZERO)]))
        floor, lowest = y.at(self.bottom), y.at(self.lowest)
        if facts.edge is not None:
            thick.append(_path([(self.x.at(self.edge), ZERO), (self.x.at(self.edge), floor)]))
        if facts.bottom is not None:
            hole = self.x.at(wall[-1][0]) if wall[-1][0] > 0 else ZERO
            thick += [
                _path([(self.left, floor), (-hole, floor)]),
                _path([(hole, floor), (max(hole, self.x.at(self.edge)), floor)]),
            ]
        self._thread_of_the_parent(thick, thin, plain)
        if facts.insert is not None:
            self._inside(facts.insert, thick, thin, phantom)
        self._old_thread(thin, phantom)
        dimensions, top, low, columns = self._dimensions()
        x0, x1 = columns
        origin = (self.right + RUN_X, ZERO)
        runs = any(draft.measure for draft in self._running())
        bar, notes, low = self._foot(x0, max(low, lowest + 12))
        return Section(
            layout=self.layout.name,
            units=self.units,
            other_units="in" if self.units == "mm" else "mm",
            scale=f"{self.scale}",
            view=f"{_at(x0)} {_at(top)} {_at(x1 - x0)} {_at(low - top)}",
            width=_at(x1 - x0),
            height=_at(low - top),
            clips=self._clips(),
            parent=self._parent(wall),
            insert=self._insert_areas(),
            thick=tuple(thick),
            thin=tuple(thin),
            phantom=tuple(phantom),
            broken=self._broken(),
            axis=_path([(ZERO, -ROW * HALF), (ZERO, lowest + 9)]),
            origin=(_at(origin[0]), _at(origin[1])),
            surface=_path([(self.right + 3, ZERO), (origin[0] + 4, ZERO)]) if runs else "",
            breaks=(
                *(("across", start, end) for start, end in self.x.breaks),
                *(("down", start, end) for start, end in self.y.breaks),
            ),
            dimensions=dimensions,
            bar=bar,
            notes=notes,
        )

    def _inside(self, insert: _Insert, thick: list[str], thin: list[str], phantom: list[str]) -> None:
        top = ZERO if insert.flange is not None else insert.top
        thick += self._both([(insert.minor, top), (insert.minor, insert.end)])
        thick += self._both([(insert.minor, insert.end), (insert.outer, insert.end)])
        if insert.flange is not None:
            thick += self._both([(insert.minor, ZERO), (insert.flange, ZERO), (insert.flange, insert.top)])
        else:
            thick += self._both([(insert.minor, top), (insert.outer, top)])
        thin += self._both([(insert.major, top), (insert.major, insert.end)])
        if insert.root is not None:
            thin += self._both([(insert.root, insert.top), (insert.root, insert.end)])
        if insert.keys:
            # How wide and long keys are no table here tells: they are indicated only.
            end = insert.top + (insert.end - insert.top) * Decimal("0.6")
            half = (insert.outer - insert.major) * Decimal("0.35")
            inner, outer = insert.outer - half, insert.outer + half
            phantom += self._both([(inner, insert.top), (inner, end), (outer, end), (outer, insert.top)])

    def _insert_areas(self) -> tuple[str, ...]:
        insert = self.facts.insert
        if insert is None:
            return ()
        body = [(insert.outer, insert.top), (insert.outer, insert.end), (insert.minor, insert.end)]
        if insert.flange is None:
            outline = [(insert.minor, insert.top), *body]
        else:
            outline = [(insert.minor, ZERO), (insert.flange, ZERO), (insert.flange, insert.top), *body]
        return self._area(outline, left=False), self._area(outline, left=True)

    def _thread_of_the_parent(self, thick: list[str], thin: list[str], plain: list[Point]) -> None:
        """The thread in the metal where no insert covers it: thin at its major, a thick end, the tap's run-out."""
        facts, insert = self.facts, self.facts.insert
        if facts.full is None or facts.outer_major is None or (insert is None and facts.new is None):
            return
        major, full = facts.outer_major, facts.full
        start = max((y for radius, y in plain if radius > major), default=ZERO)
        if facts.sink is not None:
            start = max(ZERO, facts.sink - major)
        covered = insert.end if insert is not None else start
        if insert is not None and insert.flange is None and insert.top > start:
            thin += self._both([(major, start), (major, insert.top)])
        if full > covered:
            thin += self._both([(major, covered), (major, full)])
        bore = facts.new or facts.old
        limit = bore.depth if bore.depth is not None else self.bottom
        if full < limit and full >= covered:
            thick += self._both([(bore.radius, full), (major, full)])
        if facts.reach is not None and facts.reach > full:
            end = min(facts.reach, limit)
            narrow = major - (major - bore.radius) * (end - full) / (facts.reach - full)
            if end > covered:
                thin += self._both([(major, full), (narrow, end)])

    def _old_thread(self, thin: list[str], phantom: list[str]) -> None:
        """The thread that stands in the hole now: as it is, or as a phantom where it is cut away or filled in."""
        facts = self.facts
        bottom = facts.old.depth if facts.old.depth is not None else self.bottom
        if facts.new is None:
            if facts.insert is None:
                thin += self._both([(facts.old_major, ZERO), (facts.old_major, bottom)])
            return
        if facts.filled:
            self._filled_in(facts.new, bottom, phantom)
            return
        kept = facts.new.reaches(facts.old_major) if facts.new.radius > facts.old_major else facts.new.depth
        if kept is not None and kept < bottom and (facts.group.depth is not None or facts.group.through):
            thin += self._both([(facts.old_major, kept), (facts.old_major, bottom)])
        cut = min(bottom, facts.new.depth if facts.new.depth is not None else bottom)
        if self._old_is_told():
            phantom += self._both([(facts.old_major, facts.seat_depth), (facts.old_major, cut)])
        if facts.old.depth is not None and facts.old.tip is not None and facts.old.depth < facts.new.at(ZERO) + cut:
            wall = [(facts.old.radius, facts.old.depth), (ZERO, facts.old.tip)]
            covered = facts.insert.end if facts.insert is not None else ZERO
            if facts.new.depth is not None and covered < facts.old.depth < facts.new.depth:
                phantom += self._both([(facts.old.radius, covered), *wall])

    def _filled_in(self, new: _Bore, bottom: Decimal, phantom: list[str]) -> None:
        """The old hole where it lay in what is metal again; how far it was opened up, no answer tells."""
        old = self.facts.old
        if self._old_is_told():
            phantom += self._both([(self.facts.old_major, ZERO), (self.facts.old_major, bottom)])
        start = ZERO if old.radius > new.radius else new.reaches(old.radius)
        if start is None or start >= bottom:
            return
        tip = [(ZERO, old.tip)] if old.depth is not None and old.tip is not None else []
        phantom += self._both([(old.radius, start), (old.radius, bottom), *tip])

    def _old_is_told(self) -> bool:
        """Whether the old thread has a line of its own: it is gone, and no thread of the repair lies on it."""
        facts, option = self.facts, self.facts.option
        if option is None or facts.new is None or thread_now(facts.group) is None:
            return False
        return facts.now not in (option.size.inner, option.size.outer)

    def _clips(self) -> tuple[tuple[str, str, str, str], ...]:
        """The rectangles between breaks."""

        def parts(low: Decimal, high: Decimal, ruler: _Ruler) -> list[tuple[Decimal, Decimal]]:
            edges = [low]
            for start, end in ruler.breaks:
                edges += [ruler.at(start), ruler.at(end)]
            edges.append(high)
            return list(zip(edges[::2], edges[1::2], strict=True))

        across = parts(self.left - 1, self.right + 3, self.x)
        down = parts(Decimal(-3), self.y.at(self.lowest) + 3, self.y)
        return tuple((_at(x), _at(y), _at(x2 - x), _at(y2 - y)) for y, y2 in down for x, x2 in across)

    def _broken(self) -> tuple[str, ...]:
        facts, floor = self.facts, self.y.at(self.bottom)
        right = self.x.at(self.edge)
        lines = [_break_line((self.left, Decimal(-4)), (self.left, floor + 4))]
        if facts.edge is None:
            lines.append(_break_line((right, Decimal(-4)), (right, floor + 4)))
        if facts.bottom is None:
            lines.append(_break_line((self.left - 4, floor), (self.right + 4, floor)))
        for ruler, upright in ((self.x, True), (self.y, False)):
            for start, end in ruler.breaks:
                for at in (ruler.at(start), ruler.at(end)):
                    ends = ((at, Decimal(-4)), (at, floor + 4)) if upright else ((self.left - 4, at), (right + 4, at))
                    lines.append(_break_line(*ends))
        return tuple(lines)

    # The dimensions

    def _figures(self, window: Window | None, mark: str = "") -> tuple[str, str]:
        """A size as figures, in the leading unit and in the other; a range rounded inward."""
        if window is None:
            return NOT_ENTERED, ""
        if window.least == window.most:
            first, second = self._figure(window.least, "nearest")
        else:
            least, most = self._figure(window.least, "up"), self._figure(window.most, "down")
            first, second = f"{least[0]}–{most[0]}", f"{least[1]}–{most[1]}"
        return f"{mark}{first}", f"[{second}]"

    def _figure(self, nm: int, rounding: Rounding) -> tuple[str, str]:
        first, _, second = show_length(nm, self.units, rounding).rstrip(")").partition(" (")
        return first.split()[0], second.split()[0]

    def _above(self) -> list[_Draft]:
        """What is dimensioned above the surface: inner thread nearest, then seat or countersink, then edge."""
        facts, option = self.facts, self.facts.option
        rows: list[tuple[str, tuple[str, str], Window | None, Decimal, Decimal]] = []
        if facts.insert is not None and option is not None:
            thread, major = option.size.inner, facts.insert.major
            top = facts.insert.top if facts.insert.flange is None else ZERO
            rows.append(("inner_thread", (thread.designation, ""), None, major, top))
        elif option is not None and facts.new is not None and facts.outer_major is not None:
            rows.append(("new_thread", (option.size.inner.designation, ""), None, facts.outer_major, ZERO))
        else:
            known = thread_now(facts.group) is not None
            what = "thread_now" if known else "bolt_thread"
            rows.append((what, (facts.now.designation, ""), None, facts.old_major, ZERO))
        if facts.seat is not None and option is not None and option.size.seat is not None:
            seat = Window(option.size.seat, option.size.seat)
            rows.append(("seat", self._figures(seat, "Ø"), seat, facts.seat, ZERO))
        if facts.sink is not None and option is not None:
            cut = _told(option)["countersink_to"]["diameter_nm"]
            sink = Window(cut, cut)
            what = "chamfer" if any(step.code == "chamfer" for step in option.steps) else "countersink"
            rows.append((what, self._figures(sink, "Ø"), sink, facts.sink, ZERO))
        drafts = []
        height = ZERO
        for what, (figure, beside), window, radius, start in rows:
            tall = self._height(what, figure, beside)
            height = height - max(ROW, tall * HALF + (LABEL_GAP if height else ROW * HALF))
            ends = (-radius * self.scale, height), (radius * self.scale, height)
            arrows, tails = _span(*ends)
            drafts.append(
                _Draft(
                    what,
                    figure,
                    beside,
                    "left",
                    ends[0],
                    window.least if window else None,
                    window.most if window else None,
                    _path(ends),
                    (*(_path([(x, self.y.at(start) - 3), (x, height - 4)]) for x, _ in ends), *tails),
                    arrows,
                )
            )
            height -= tall * HALF
        return [self._edge(height - LABEL_GAP), *reversed(drafts)]

    def _edge(self, height: Decimal) -> _Draft:
        edge = self.facts.group.edge
        window = None if edge is None else Window(edge, edge)
        figure, beside = self._figures(window)
        right = self.x.at(self.edge)
        if edge is None:
            return _Draft("edge", figure, beside, "right", (right, self.y.at(ZERO) - 3))
        ends = (ZERO, height), (right, height)
        arrows, tails = _span(*ends)
        lines = (_path([(ZERO, -ROW * HALF), (ZERO, height - 4)]), _path([(right, Decimal(-3)), (right, height - 4)]))
        return _Draft("edge", figure, beside, "right", ends[1], edge, edge, _path(ends), (*lines, *tails), arrows)

    def _left(self) -> list[_Draft]:
        """Threads led out to the left, the drill across its hole, lengths of insert and floor."""
        facts, option = self.facts, self.facts.option
        drafts = []
        insert = facts.insert
        if insert is not None and option is not None:
            tall = insert.end - insert.top
            at = (-insert.outer * self.scale, self.y.at(insert.top + tall * Decimal("0.2")))
            drafts.append(self._leader("outer_thread", option.size.outer.designation, at))
            length = Window(option.size.length, option.size.length)
            drafts.append(self._upright("insert_length", length, insert.top, insert.end, -insert.outer, INSERT_X))
            if self._old_is_told():
                at = (-facts.old_major * self.scale, self.y.at(insert.top + tall * Decimal("0.8")))
                drafts.append(self._leader("old_thread", facts.now.designation, at))
        elif self._old_is_told() and facts.full is not None:
            at = (-facts.old_major * self.scale, self.y.at(facts.full * Decimal("0.4")))
            drafts.append(self._leader("old_thread", facts.now.designation, at))
        if option is not None and facts.new is not None:
            drafts.append(self._drill(facts.new, insert.end if insert is not None else ZERO, option))
        if facts.group.through:
            return drafts
        floor, depth = facts.group.floor, facts.group.depth
        if floor is not None and depth is not None and facts.old.depth is not None:
            window = Window(floor, floor)
            drafts.append(self._upright("floor", window, facts.old.depth, self.bottom, -facts.old.radius, FLOOR_X))
        else:
            figure, beside = self._figures(None if floor is None else Window(floor, floor))
            drafts.append(_Draft("floor", figure, beside, "left", (self.left, self.y.at(self.bottom))))
        return drafts

    def _leader(self, what: str, figure: str, at: Point) -> _Draft:
        out = (self.left, at[1])
        return _Draft(what, figure, "", "left", out, None, None, "", (_path([at, out]),), (_arrow(at, out),))

    def _upright(
        self, what: str, window: Window, start: Decimal, end: Decimal, feature: Decimal, off: Decimal
    ) -> _Draft:
        """A length down the hole, dimensioned at the left of the part."""
        x = self.left - off
        ends = (x, self.y.at(start)), (x, self.y.at(end))
        arrows, tails = _span(*ends)
        figure, beside = self._figures(window)
        starts = (feature * self.scale - 2, feature * self.scale - 2 if end < self.bottom else self.left - 2)
        lines = tuple(_path([(from_x, y), (x - 4, y)]) for from_x, (_, y) in zip(starts, ends, strict=True))
        middle = (x, (ends[0][1] + ends[1][1]) * HALF)
        return _Draft(
            what, figure, beside, "left", middle, window.least, window.most, _path(ends), (*lines, *tails), arrows
        )

    def _drill(self, bore: _Bore, end: Decimal, option: Option) -> _Draft:
        window = drill_window(option)
        figure, beside = self._figures(window, "Ø")
        low = bore.depth if bore.depth is not None else self.bottom
        high = max(end, self.facts.full or ZERO)
        y = self._clear_of_the_floor(high, low)
        ends = (-bore.radius * self.scale, y), (bore.radius * self.scale, y)
        arrows, tails = _span(*ends)
        out = (self.left, y)
        least, most = (window.least, window.most) if window is not None else (None, None)
        lines = (_path([ends[0], out]), *tails)
        return _Draft("drill", figure, beside, "left", out, least, most, _path(ends), lines, arrows)

    def _clear_of_the_floor(self, high: Decimal, low: Decimal) -> Decimal:
        """A height between two depths where the drill's dimension stands off the line of the floor's."""
        if low <= high:
            return self.y.at(low if self.facts.insert is not None else low * Decimal("0.75"))
        shares = [Decimal(share) for share in ("0.7", "0.5", "0.3", "0.85")]
        heights = [self.y.at(high + (low - high) * share) for share in shares]
        depth = self.facts.old.depth
        if depth is None or self.facts.group.floor is None:
            return heights[0]
        floor = self.y.at(depth)
        return next((y for y in heights if abs(y - floor) >= 8), max(heights, key=lambda y: abs(y - floor)))

    def _running(self) -> list[_Draft]:
        """Depths from the surface, running down one line at the right (ISO 129-1)."""
        facts, option, group = self.facts, self.facts.option, self.facts.group
        rows: list[tuple[str, Window, Decimal, Decimal]] = []
        outside = facts.insert.outer if facts.insert is not None else facts.outer_major
        if option is not None and outside is not None:
            size = option.size
            below = set_down_here(group, size, METHODS[option.method].depths(size, self.limits))
            if facts.seat is not None:
                rows.append(("seat_depth", Window(size.seat_depth, size.seat_depth), facts.seat_depth, facts.seat))
            elif below is not None and facts.insert is not None:
                rows.append(("set_down", below, facts.insert.top, outside))
            deepest = facts.bottom if group.through else None
            if facts.full is not None and not option.like_for_like and facts.full != deepest:
                full = int(facts.full * 1_000_000)
                what = "chased" if option.method in UNDRILLED else "full_thread"
                rows.append((what, Window(full, full), facts.full, outside))
            bore = facts.new
            if bore is not None and bore.depth is not None:
                deep = drill_depth(option, group, self.limits)
                if deep is not None:
                    what = "drill_depth" if option.steps else "depth_needed"
                    rows.append((what, deep, bore.depth, bore.radius))
            tap = _need(option, "tap")
            limit = bore.depth if bore is not None and bore.depth is not None else self.bottom
            if tap is not None and tap.reach is not None and facts.reach is not None and facts.reach < limit:
                radius = bore.radius if bore is not None else outside
                rows.append(("run_out", Window(tap.reach, tap.reach), facts.reach, radius))
        if group.depth is not None:
            what = "thickness" if group.through else "depth"
            depth = self.bottom if facts.old.depth is None else facts.old.depth
            at = self.edge if group.through else facts.old.radius
            rows.append((what, Window(group.depth, group.depth), depth, at))
        rows.sort(key=lambda row: row[2])
        x, drafts, last = self.right + RUN_X, [], ZERO
        for what, window, depth, radius in rows:
            y = self.y.at(depth)
            figure, beside = self._figures(window)
            roomy = y - last >= ARROW + 2
            drafts.append(
                _Draft(
                    what,
                    figure,
                    beside,
                    "right",
                    (x, y),
                    window.least,
                    window.most,
                    _path([(x, ZERO), (x, y)]),
                    (_path([(self.x.at(radius) + 2, y), (x + 4, y)]),),
                    (_arrow((x, y), (x, ZERO)),) if roomy else (),
                    () if roomy else ((_at(x), _at(y)),),
                )
            )
            last = y
        if group.depth is None:
            what = "thickness" if group.through else "depth"
            drafts.append(_Draft(what, NOT_ENTERED, "", "right", (self.right + 4, self.y.at(self.bottom))))
        return drafts

    def _lines(self, what: str, figure: str, beside: str) -> list[tuple[str, Decimal]]:
        """The label's lines with the heights of their letters; word and figure share one where it is wide enough."""
        big, small = self.layout.big, self.layout.small
        word = what.replace("_", " ")
        if (len(word) + 1 + len(figure)) * big * LETTER <= self.layout.column:
            lines = [(f"{word} {figure}", big)]
        else:
            lines = [(word, small), (figure, big)]
        lines = [*lines, (beside, small)] if beside else lines
        return [(text, self._fitting(text, size)) for text, size in lines]

    def _fitting(self, text: str, size: Decimal) -> Decimal:
        """The height of letters at which a long name still goes into its column."""
        return min(size, (self.layout.column / (len(text) * LETTER)).quantize(Decimal("0.1"), ROUND_FLOOR))

    def _height(self, what: str, figure: str, beside: str) -> Decimal:
        return sum((size * LINE for _, size in self._lines(what, figure, beside)), ZERO)

    def _dimensions(self) -> tuple[tuple[Dimension, ...], Decimal, Decimal, Point]:
        """All dimensions with their labels in two columns; how high and low they reach, and the drawing's sides."""
        layout, drafts = self.layout, [*self._above(), *self._left(), *self._running()]
        width = layout.column * 2 + layout.middle + FLOOR_X + RUN_X + 26
        free = (width - layout.column * 2 - (self.right - self.left) - FLOOR_X - RUN_X) * HALF
        x0 = self.left - FLOOR_X - free - layout.column
        x1 = x0 + width
        done: list[Dimension] = []
        top, low = ZERO, self.y.at(self.bottom)
        for side, x, anchor in (
            ("left", x0 + layout.column, "end"),
            ("right", x1 - layout.column, "start"),
        ):
            own = sorted((draft for draft in drafts if draft.side == side), key=lambda draft: draft.lead[1])
            heights = [self._height(draft.what, draft.figure, draft.beside) for draft in own]
            wanted = [(draft.lead[1], height + LABEL_GAP) for draft, height in zip(own, heights, strict=True)]
            for draft, height, middle in zip(own, heights, _spread(wanted), strict=True):
                done.append(self._placed(draft, x, anchor, middle, height))
                top, low = min(top, middle - height * HALF), max(low, middle + height * HALF)
        names = [draft.what for draft in drafts]
        done.sort(key=lambda each: names.index(each.what))
        return tuple(done), top - MARGIN, low + MARGIN, (x0, x1)

    def _placed(self, draft: _Draft, x: Decimal, anchor: str, middle: Decimal, height: Decimal) -> Dimension:
        sign = 1 if anchor == "end" else -1
        texts, y = [], middle - height * HALF
        for text, size in self._lines(draft.what, draft.figure, draft.beside):
            texts.append(Text(text, _at(x), _at(y + size * Decimal("0.95")), f"{size}", anchor))
            y += size * LINE
        start = draft.lead
        elbow = (x + sign * 14, middle)
        return Dimension(
            what=draft.what,
            figure=draft.figure,
            beside=draft.beside,
            least=draft.least,
            most=draft.most,
            measure=draft.measure,
            extensions=draft.extensions,
            arrows=draft.arrows,
            dots=draft.dots,
            leader=_path([start, elbow, (x + sign * 4, middle)]),
            texts=tuple(texts),
        )

    def _foot(self, x: Decimal, y: Decimal) -> tuple[Bar, tuple[Text, ...], Decimal]:
        """The scale bar and the notes under the drawing, and where it ends."""
        small = self.layout.small
        steps = [Decimal(step) for step in ("0.5", "1", "2", "5", "10", "20", "50", "100", "200")]
        mm = max([step for step in steps if step * self.scale <= 90] or steps[:1])
        left, y = x + MARGIN, y + 10
        right = left + mm * self.scale
        ends = [(left, y - 4), (left, y + 4), (left, y), (right, y), (right, y - 4), (right, y + 4)]
        text = Text(f"{mm} mm", _at(right + 8), _at(y + small * Decimal("0.36")), f"{small}", "start")
        bar = Bar(f"{mm}", _path(ends), text)
        notes = ["mm [in]" if self.units == "mm" else "in [mm]"]
        if any(each.least != each.most for each in self._ranges()):
            notes[0] += ", ranges drawn at their larger end"
        if self.facts.filled:
            notes.append("old hole filled in")
        if self.facts.insert is not None and self.facts.insert.keys:
            notes.append("keys indicated, not to scale")
        if self.x.breaks or self.y.breaks:
            notes.append("broken where drawn so")
        texts = []
        for note in notes:
            y += small * LINE + 4
            texts.append(Text(note, _at(left), _at(y + small * Decimal("0.36")), f"{small}", "start"))
        return bar, tuple(texts), y + small + 2

    def _ranges(self) -> list[_Draft]:
        return [*self._left(), *self._running()]


def _radius(wall: Sequence[Point], depth: Decimal, *, below: bool) -> Decimal:
    """The wall's radius at a depth; where it steps there, above or below the step."""
    at = [radius for radius, y in wall if y == depth]
    if at:
        return at[-1 if below else 0]
    for (radius, y), (next_radius, next_y) in pairwise(wall):
        if y < depth < next_y:
            return radius + (next_radius - radius) * (depth - y) / (next_y - y)
    return ZERO
