"""The section drawing: read back from its SVG, every dimension has the plan's number and the geometry its scale."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations, pairwise
from typing import Any

import pytest
from django.template.loader import render_to_string

from inventory.quantities import to_mm
from inventory.threads import basic, insert_hole, read
from repairs.drawings import NARROW, WIDE, Layout, Section, drill_depth, drill_window, section
from repairs.methods import consider, example, pick
from repairs.methods.room import thread_now
from repairs.methods.values import HoleGroup, Limits, Option, Size, Window

MM = 1_000_000
SVG = "{http://www.w3.org/2000/svg}"


def plan(group: HoleGroup, *sizes: Size) -> tuple[HoleGroup, Option]:
    """The group with the option that is planned for it; where all are ruled out, the first of those."""
    plans = consider(group, sizes, Limits())
    chosen = pick(plans, "")
    return group, chosen or next(option for each in plans for option in each.options if option.size in sizes)


def without_insert(method: str, **answers: Any) -> tuple[HoleGroup, Option]:
    """The group with the option of a method that puts no insert in; where all are ruled out, the first of those."""
    group = example.holes(**answers)
    planned = next(each for each in consider(group, [], Limits()) if each.method == method)
    return group, planned.chosen or planned.options[0]


def wire(typed: str, length: int, **facts: Any) -> Size:
    thread = read(typed).thread
    pitch = int(thread.pitch_mm * MM)
    below = Window(pitch * 3 // 4, pitch * 3 // 2)
    return example.wire(inner=thread, outer=insert_hole(thread), length=length, below=below, **facts)


def nothing_entered(typed: str) -> HoleGroup:
    unknown = {"depth": None, "floor": None, "edge": None, "material": "", "before": "unknown", "made": "unknown"}
    return example.holes(bolt=read(typed).thread, torque=None, **unknown)


def m3() -> tuple[HoleGroup, Option]:
    group = example.holes(bolt=read("M3").thread, depth=9 * MM, floor=3 * MM, edge=4 * MM)
    return plan(group, wire("M3", 4_500_000))


def m30() -> tuple[HoleGroup, Option]:
    group = example.holes(bolt=read("M30x2").thread, depth=70 * MM, floor=25 * MM, edge=60 * MM)
    return plan(group, wire("M30x2", 45 * MM))


def thin_bush() -> Size:
    return example.bush(inner=read("M14x1.25").thread, outer=read("M16x1.5").thread)


UNF = read("5/16-18 UNC").thread
CASES: dict[str, Callable[[], tuple[HoleGroup, Option | None]]] = {
    "blind flanged bush": lambda: plan(example.holes(), example.bush()),
    "through wire insert": lambda: plan(example.holes(through=True, depth=24 * MM, floor=None), example.wire()),
    "keyed": lambda: plan(example.holes(bolt=UNF, depth=25 * MM, floor=10 * MM, edge=22 * MM), example.keyed()),
    "previous repair": lambda: plan(
        example.holes(before="wire_insert", failed="parent", edge=40 * MM),
        example.bush(outer=read("M18x1.5").thread, seat=24 * MM, flange=23_800_000),
    ),
    "like for like": lambda: plan(
        example.holes(before="wire_insert", failed="insert", passes_gauge="yes"), example.wire()
    ),
    "thin wall": lambda: plan(
        example.holes(bolt=read("M14x1.25").thread, depth=28 * MM, floor=9 * MM, edge=13 * MM), thin_bush()
    ),
    "tiny M3": m3,
    "large M30": m30,
    "deep and far from the edge": lambda: plan(
        example.holes(depth=160 * MM, floor=90 * MM, edge=150 * MM), example.bush()
    ),
    "through thick": lambda: plan(example.holes(through=True, depth=140 * MM, floor=None, edge=None), example.wire()),
    "drilled deeper": lambda: plan(example.holes(depth=24 * MM, floor=20 * MM), example.bush()),
    "too deep, ruled out": lambda: plan(example.holes(depth=10 * MM, floor=5 * MM), example.bush()),
    "nothing entered": lambda: (nothing_entered("M14x1.5"), None),
    "nothing entered, planned": lambda: plan(nothing_entered("M14x1.5"), example.wire()),
    "damaged hole": lambda: (example.holes(), None),
    "left-handed, with a long name": lambda: plan(
        example.holes(bolt=read("1 1/8-12 UNF-LH").thread, depth=70 * MM, edge=None), wire("1 1/8-12 UNF-LH", 42 * MM)
    ),
    "oversize bolt": lambda: without_insert("oversize_bolt"),
    "oversize bolt, left-handed": lambda: without_insert("oversize_bolt", bolt=read("M14x1.5-LH").thread),
    "oversize bolt, through": lambda: without_insert("oversize_bolt", through=True, depth=30 * MM, floor=None),
    "oversize bolt, through thick": lambda: without_insert(
        "oversize_bolt", through=True, depth=140 * MM, floor=None, edge=None
    ),
    "oversize bolt, thin metal": lambda: without_insert("oversize_bolt", through=True, depth=6 * MM, floor=None),
    "oversize bolt, inch": lambda: without_insert("oversize_bolt", bolt=UNF, depth=30 * MM),
    "oversize bolt, drilled deeper": lambda: without_insert("oversize_bolt", depth=24 * MM, floor=20 * MM),
    "oversize bolt, too deep": lambda: without_insert("oversize_bolt", depth=10 * MM, floor=5 * MM),
    "oversize bolt, nothing entered": lambda: without_insert(
        "oversize_bolt", depth=None, floor=None, edge=None, before="unknown", material=""
    ),
    "chased": lambda: without_insert("chase", damage="burred", passes_gauge="yes"),
    "chased, short": lambda: without_insert("chase", damage="burred", depth=15 * MM, floor=4 * MM),
    "chased, through": lambda: without_insert("chase", damage="burred", through=True, depth=24 * MM, floor=None),
    "chased, thin metal": lambda: without_insert("chase", damage="burred", through=True, depth=6 * MM, floor=None),
    "chased, inch, left-handed": lambda: without_insert(
        "chase", damage="burred", bolt=read("1 1/8-12 UNF-LH").thread, depth=None, floor=None
    ),
    "chased in an insert, ruled out": lambda: without_insert("chase", before="wire_insert", failed="parent"),
    "plugged": lambda: without_insert("plug_or_weld"),
    "plugged after an insert": lambda: without_insert(
        "plug_or_weld", before="solid_bush", before_thread=read("M20x1.5").thread, failed="parent"
    ),
    "plugged, through, left-handed": lambda: without_insert(
        "plug_or_weld", bolt=read("M14x1.5-LH").thread, through=True, depth=24 * MM, floor=None
    ),
    "plugged, through thick": lambda: without_insert("plug_or_weld", through=True, depth=140 * MM, floor=None),
    "plugged, inch": lambda: without_insert("plug_or_weld", bolt=UNF, depth=40 * MM, floor=10 * MM),
    "plugged, thin metal": lambda: without_insert("plug_or_weld", through=True, depth=6 * MM, floor=None),
    "scrapped": lambda: without_insert("scrap_part", damage="cracked"),
    "scrapped, through, in an insert": lambda: without_insert(
        "scrap_part", before="wire_insert", through=True, depth=24 * MM, floor=None
    ),
    "edge inside the seat": lambda: plan(example.holes(edge=9 * MM), example.bush()),
}


def drawn_case(name: str, *, layout: Layout = WIDE, units: str = "mm") -> Section:
    group, option = CASES[name]()
    return section(group, option, layout=layout, units=units)


# The drawing read back from its SVG


@dataclass(frozen=True)
class Read:
    """One dimension as it stands in the SVG: its text, and the two ends of what it measures."""

    text: str
    start: tuple[Decimal, Decimal] | None
    end: tuple[Decimal, Decimal] | None

    @property
    def across(self) -> Decimal:
        assert self.start
        assert self.end
        return abs(self.end[0] - self.start[0])

    @property
    def down(self) -> Decimal:
        assert self.start
        assert self.end
        return abs(self.end[1] - self.start[1])


def points(path: str) -> list[tuple[Decimal, Decimal]]:
    numbers = [Decimal(each) for each in re.findall(r"-?\d+\.\d+", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def svg(drawn: Section) -> ET.Element:
    return ET.fromstring(render_to_string("repairs/section.html", {"drawn": drawn, "id": "a", "name": "hole A"}))


def dimensions(root: ET.Element) -> dict[str, Read]:
    found = {}
    for group in root.iter(f"{SVG}g"):
        if what := group.get("data-dimension"):
            text = " ".join(each.text or "" for each in group.iter(f"{SVG}text"))
            paths = [each.get("d") or "" for each in group.iter(f"{SVG}path") if each.get("data-part") == "measure"]
            ends = points(paths[0]) if paths else [None, None]
            found[what] = Read(text, ends[0], ends[1])
    return found


def paths(root: ET.Element, part: str) -> list[list[tuple[Decimal, Decimal]]]:
    return [points(each.get("d") or "") for each in root.iter(f"{SVG}path") if each.get("data-part") == part]


def read_back(name: str, layout: Layout = WIDE) -> tuple[Section, ET.Element, dict[str, Read], Decimal]:
    drawn = drawn_case(name, layout=layout)
    root = svg(drawn)
    return drawn, root, dimensions(root), Decimal(root.get("data-scale") or "0")


def millimetres(text: str) -> list[Decimal]:
    """The figures of a label before its brackets: one, or both ends of a range."""
    return [Decimal(each) for each in re.findall(r"\d+(?:\.\d+)?", text.split("[")[0].replace("Ø", " "))]


def settings(option: Option) -> dict[str, Any]:
    return {reason.code: reason.data for step in option.steps for reason in step.settings}


def planned_numbers(group: HoleGroup, option: Option | None) -> dict[str, tuple[int, int]]:
    """What the plan itself says, in nm, taken from answers, size, steps' settings and needs."""

    def one(nm: int) -> tuple[int, int]:
        return nm, nm

    numbers: dict[str, tuple[int, int]] = {}
    if group.depth is not None:
        numbers["thickness" if group.through else "depth"] = one(group.depth)
    if group.edge is not None:
        numbers["edge"] = one(group.edge)
    if group.floor is not None:
        numbers["floor"] = one(group.floor)
    if option is None:
        return numbers
    if option.size.inserted:
        numbers["insert_length"] = one(option.size.length)
    elif option.method != "scrap_part" and option.steps and option.size.length != group.depth:
        numbers["chased" if option.method == "chase" else "full_thread"] = one(option.size.length)
    told = settings(option)
    if "seat_to" in told:
        numbers["seat"] = one(told["seat_to"]["diameter_nm"])
        numbers["seat_depth"] = one(told["seat_to"]["depth_nm"])
    if "countersink_to" in told:
        chamfered = any(step.code == "chamfer" for step in option.steps)
        numbers["chamfer" if chamfered else "countersink"] = one(told["countersink_to"]["diameter_nm"])
    if "set_down_between" in told:
        numbers["set_down"] = (told["set_down_between"]["least_nm"], told["set_down_between"]["most_nm"])
    if "drill_depth" in told:
        numbers["drill_depth"] = (told["drill_depth"]["least_nm"], told["drill_depth"]["most_nm"])
    for need in option.needs:
        if need.kind == "drill" and need.diameter is not None:
            numbers["drill"] = (need.diameter.least, need.diameter.most)
    return numbers


WITHOUT_INSERT = [name for name in CASES if name.startswith(("oversize bolt", "chased", "plugged", "scrapped"))]
BOTH = pytest.mark.parametrize("layout", [NARROW, WIDE], ids=lambda layout: layout.name)
EVERY = pytest.mark.parametrize("name", CASES)
WHOLE = pytest.mark.parametrize(
    ("name", "layout"),
    [
        pytest.param(name, layout, id=f"{name}, {layout.name}")
        for name in CASES
        for layout in (NARROW, WIDE)
        if not drawn_case(name, layout=layout).breaks
    ],
)
ACROSS = ("edge", "seat", "chamfer", "countersink", "drill")
# What is written with three decimals of a millimetre and drawn with two of a unit.
WRITTEN, DRAWN = Decimal("0.001"), Decimal("0.011")


@BOTH
@EVERY
def test_every_number_of_the_plan_is_written_at_its_dimension(name: str, layout: Layout) -> None:
    _, _, found, _ = read_back(name, layout)
    for what, (least, most) in planned_numbers(*CASES[name]()).items():
        written = millimetres(found[what].text)
        assert abs(written[0] - to_mm(least)) < WRITTEN, what
        assert abs(written[-1] - to_mm(most)) < WRITTEN, what
        assert len(written) == (1 if least == most else 2), what
        assert to_mm(least) <= written[0] <= written[-1] <= to_mm(most) or least == most, "rounded inward"


@WHOLE
def test_every_dimension_is_as_long_as_its_number_says(name: str, layout: Layout) -> None:
    _, _, found, scale = read_back(name, layout)
    measured = 0
    for what, read_ in found.items():
        if read_.start is None or what in ("inner_thread", "new_thread", "thread_now", "bolt_thread"):
            continue
        length = read_.across if what in ACROSS else read_.down
        assert abs(length / scale - millimetres(read_.text)[-1]) <= WRITTEN + DRAWN / scale, what
        measured += 1
    assert measured or name == "nothing entered"


@BOTH
def test_a_break_leaves_out_what_it_says_and_the_rest_is_to_scale(layout: Layout) -> None:
    drawn, root, found, scale = read_back("deep and far from the edge", layout)
    left_out, white = {"across": Decimal(0), "down": Decimal(0)}, {"across": 0, "down": 0}
    for direction, start, end in drawn.breaks:
        assert end > start
        left_out[direction] += end - start
        white[direction] += 9
    assert white == {"across": 9, "down": 18}
    assert len(paths(root, "break")) == 1 + 2 * len(drawn.breaks)
    across = (found["edge"].across - white["across"]) / scale + left_out["across"]
    assert abs(across - 150) <= DRAWN / scale
    bottom = max(y for area in paths(root, "parent") for _, y in area)
    assert abs((bottom - white["down"]) / scale + left_out["down"] - 250) <= DRAWN / scale
    assert abs(found["insert_length"].down / scale - 21) <= DRAWN / scale, "nothing is broken beside the insert"


@BOTH
@EVERY
def test_threads_are_drawn_at_their_own_diameters(name: str, layout: Layout) -> None:
    group, option = CASES[name]()
    _, root, found, scale = read_back(name, layout)
    thin = paths(root, "thin")
    thick = paths(root, "thick")

    def upright(lines: list[list[tuple[Decimal, Decimal]]], diameter: Decimal) -> bool:
        """Whether a line runs down at this diameter, at both sides of the axis."""
        sides = {
            sign
            for line in lines
            for (x1, y1), (x2, y2) in pairwise(line)
            for sign in (-1, 1)
            if x1 == x2 and y1 != y2 and abs(sign * x1 - diameter / 2 * scale) <= DRAWN
        }
        return sides == {-1, 1}

    if option is None or option.method in ("chase", "scrap_part"):
        now = thread_now(group) or group.bolt
        assert upright(thin, basic(now).major)
        assert upright(thick, basic(now).minor_internal)
        known = found.get("thread_now") or found["bolt_thread"]
        assert abs(known.across / scale - basic(now).major) <= DRAWN * 2 / scale
        assert known.text.endswith(now.designation)
        return
    inner, outer = basic(option.size.inner), basic(option.size.outer)
    if not option.size.inserted:
        window = drill_window(option)
        assert window is not None
        assert upright(thin, inner.major), "the root of the thread in the metal is a thin line"
        assert upright(thick, to_mm(window.most)), "its crest is the drilled hole"
        assert abs(found["new_thread"].across / scale - inner.major) <= DRAWN * 2 / scale
        assert found["new_thread"].text.endswith(option.size.inner.designation)
        return
    assert upright(thick, inner.minor_internal), "the crest of an internal thread is a thick line"
    assert upright(thin, inner.major), "its root a thin one"
    assert upright(thick, outer.major), "the crest of the insert's own thread is thick"
    assert abs(found["inner_thread"].across / scale - inner.major) <= DRAWN * 2 / scale
    assert found["inner_thread"].text.endswith(option.size.inner.designation)
    assert found["outer_thread"].text.endswith(option.size.outer.designation)


@pytest.mark.parametrize("name", ["blind flanged bush", "through wire insert", "keyed", "like for like", "tiny M3"])
def test_the_insert_stands_where_the_bolt_is_to_engage_it(name: str) -> None:
    _, option = CASES[name]()
    assert option is not None
    engaged = settings(option)["bolt_engages"]
    _, root, found, scale = read_back(name)
    start, end = found["insert_length"].start, found["insert_length"].end
    assert start is not None
    assert end is not None
    assert abs(start[1] / scale - to_mm(engaged["from_nm"])) <= DRAWN / scale
    assert abs(end[1] / scale - to_mm(engaged["to_nm"])) <= DRAWN / scale
    for area in paths(root, "insert"):
        assert max(y for _, y in area) == end[1]
        widest = max(abs(x) for x, _ in area) / scale
        flange = option.size.flange
        expected = basic(option.size.outer).major / 2 if flange is None else to_mm(flange) / 2
        assert abs(widest - expected) <= DRAWN / scale
        assert min(y for _, y in area) == (start[1] if flange is None else 0)


@pytest.mark.parametrize(
    "name",
    [
        "blind flanged bush",
        "keyed",
        "previous repair",
        "thin wall",
        "tiny M3",
        "oversize bolt",
        "oversize bolt, inch",
        "oversize bolt, drilled deeper",
        "plugged",
        "plugged after an insert",
    ],
)
def test_the_hole_is_drilled_to_the_plan_and_ends_in_a_point_of_118_degrees(name: str) -> None:
    group, option = CASES[name]()
    assert option is not None
    window, depth = drill_window(option), drill_depth(option, group, Limits())
    assert window is not None
    assert depth is not None
    _, root, _, scale = read_back(name)
    wall = paths(root, "thick")[0]  # right of the axis, from the surface down
    corner = (to_mm(window.most) / 2 * scale, to_mm(depth.most) * scale)
    at = [index for index, (x, y) in enumerate(wall) if abs(x - corner[0]) <= DRAWN and abs(y - corner[1]) <= DRAWN]
    assert at, "no corner where the drill's full diameter ends"
    (x1, y1), (x2, y2) = wall[at[-1]], wall[at[-1] + 1]
    # cot 59 degrees = 0.6009, the trade counts 0.6
    assert abs((y2 - y1) / (x1 - x2) - Decimal("0.6")) < Decimal("0.01")


@pytest.mark.parametrize(
    ("name", "full"),
    [("blind flanged bush", 23), ("oversize bolt", 24), ("oversize bolt, through thick", 24), ("plugged", 21)],
)
def test_the_new_thread_ends_and_runs_out_where_the_tap_ends(name: str, full: int) -> None:
    _, option = CASES[name]()
    assert option is not None
    tap = next(need for need in option.needs if need.kind == "tap")
    assert tap.reach is not None
    _, root, found, scale = read_back(name)
    assert millimetres(found["run_out"].text) == [to_mm(tap.reach)]
    slanting = [(start, end) for line in paths(root, "thin") for start, end in pairwise(line) if start[0] != end[0]]
    assert {round(end[1] / scale, 2) for _, end in slanting} == {to_mm(tap.reach)}
    assert {round(start[1] / scale, 2) for start, _ in slanting} == {Decimal(full)}
    assert ends_of_full_thread(root, option.size, scale) == {Decimal(full)}


def ends_of_full_thread(root: ET.Element, size: Size, scale: Decimal) -> set[Decimal]:
    """The depths, mm, of the thick level lines that reach out to the thread's major diameter at both sides."""
    major = basic(size.outer).major / 2 * scale
    found: dict[Decimal, set[bool]] = {}
    for line in paths(root, "thick"):
        for (x1, y1), (x2, y2) in pairwise(line):
            if y1 == y2 and y1 > 0 and abs(max(abs(x1), abs(x2)) - major) <= DRAWN:
                found.setdefault(round(y1 / scale, 2), set()).add(x1 > 0)
    return {depth for depth, sides in found.items() if sides == {True, False}}


@pytest.mark.parametrize(
    ("name", "length"), [("chased", Decimal(21)), ("chased, short", Decimal("10.5")), ("chased, through", Decimal(21))]
)
def test_a_thread_that_is_chased_stands_in_the_hole_as_it_is(name: str, length: Decimal) -> None:
    group, option = CASES[name]()
    assert option is not None
    _, root, found, scale = read_back(name)
    assert found["thread_now"].text.endswith("M14x1.5")
    assert millimetres(found["chased"].text) == [length]
    assert abs(found["chased"].down / scale - length) <= DRAWN / scale
    assert not {"drill", "chamfer", "full_thread", "run_out", "drill_depth"} & set(found)
    now = svg(section(group))
    for part in ("parent", "thick", "thin", "phantom"):
        assert paths(root, part) == paths(now, part), "nothing is cut away"


def test_a_part_that_is_scrapped_is_drawn_as_it_is_now() -> None:
    group, option = CASES["scrapped"]()
    assert section(group, option) == section(group)


def test_an_old_thread_that_is_cut_away_is_a_phantom_at_its_own_diameter() -> None:
    _, root, found, scale = read_back("previous repair")
    major = basic(insert_hole(read("M14x1.5").thread)).major
    assert found["old_thread"].text.endswith("EG M14x1.5")
    assert any(abs(x - major / 2 * scale) <= DRAWN for line in paths(root, "phantom") for x, _ in line)
    assert "old_thread" not in dimensions(svg(drawn_case("blind flanged bush")))


@BOTH
def test_what_was_not_entered_is_labelled_and_ends_in_a_break(layout: Layout) -> None:
    _, root, found, _ = read_back("nothing entered", layout)
    for what in ("edge", "depth", "floor"):
        assert found[what].text.endswith("not entered")
        assert found[what].start is None, "nothing is measured"
    assert len(paths(root, "break")) == 3  # left, right, below
    entered = svg(drawn_case("thin wall", layout=layout))
    assert len(paths(entered, "break")) == 1
    assert "not entered" not in "".join(entered.itertext())


def test_an_option_that_is_too_deep_stands_out_of_the_part() -> None:
    group, option = CASES["too deep, ruled out"]()
    assert option is not None
    assert option.ruled_out
    _, root, found, scale = read_back("too deep, ruled out")
    bottom = (to_mm(group.depth or 0) + to_mm(group.floor or 0)) * scale
    assert max(y for line in paths(root, "insert") for _, y in line) > bottom
    assert max(y for line in paths(root, "parent") for _, y in line) <= bottom + DRAWN
    assert "depth_needed" in found


def boxes(root: ET.Element) -> list[tuple[str, Decimal, Decimal, Decimal, Decimal]]:
    """Each text's rectangle, letters 0.602 of their height wide as those of DejaVu Sans Mono."""
    found = []
    for text in root.iter(f"{SVG}text"):
        size, words = Decimal(text.get("font-size") or "0"), text.text or ""
        x, y = Decimal(text.get("x") or "0"), Decimal(text.get("y") or "0")
        width = len(words) * size * Decimal("0.602")
        left = x - width if text.get("text-anchor") == "end" else x
        found.append((words, left, y - size * Decimal("0.76"), left + width, y + size * Decimal("0.24")))
    return found


@BOTH
@EVERY
def test_no_text_stands_on_another_nor_on_the_part_nor_off_the_sheet(name: str, layout: Layout) -> None:
    drawn, root, _, _ = read_back(name, layout)
    x, y, width, height = (Decimal(each) for each in drawn.view.split())
    texts = boxes(root)
    for words, left, top, right, bottom in texts:
        assert x <= left, words
        assert right <= x + width, words
        assert y <= top, words
        assert bottom <= y + height, words
    for (one, l1, t1, r1, b1), (other, l2, t2, r2, b2) in combinations(texts, 2):
        assert r1 <= l2 or r2 <= l1 or b1 <= t2 or b2 <= t1, f"{one} / {other}"
    for area in (*paths(root, "parent"), *paths(root, "insert")):
        a, b = min(p[0] for p in area), max(p[0] for p in area)
        c, d = min(p[1] for p in area), max(p[1] for p in area)
        for words, left, top, right, bottom in texts:
            assert right <= a or left >= b or bottom <= c or top >= d, words


@BOTH
@EVERY
def test_parent_and_insert_do_not_lie_on_each_other(name: str, layout: Layout) -> None:
    """At many heights the insert is inside the hole that the parent leaves for it."""
    _, root, _, _ = read_back(name, layout)
    inserts = paths(root, "insert")
    if not inserts or name == "edge inside the seat":
        return

    def crossings(area: list[tuple[Decimal, Decimal]], y: Decimal) -> list[Decimal]:
        ring = [*area, area[0]]
        return sorted(
            x1 + (x2 - x1) * (y - y1) / (y2 - y1)
            for (x1, y1), (x2, y2) in pairwise(ring)
            if min(y1, y2) < y < max(y1, y2)
        )

    parent, insert = paths(root, "parent")[0], inserts[0]
    compared = 0
    for step in range(1, 400):
        y = Decimal(step) + Decimal("0.37")
        metal, ring = crossings(parent, y), crossings(insert, y)
        if metal and ring:
            assert len(ring) == 2
            assert ring[1] <= metal[0] + DRAWN * 2
            compared += 1
    assert compared > 20


def test_hatchings_of_part_and_insert_run_against_each_other() -> None:
    root = svg(drawn_case("blind flanged bush"))
    turns = [each.get("patternTransform") for each in root.iter(f"{SVG}pattern")]
    assert turns == ["rotate(45)", "rotate(-45)"]


@EVERY
def test_the_picture_carries_its_looks_in_attributes_alone(name: str) -> None:
    drawn = drawn_case(name)
    text = render_to_string("repairs/section.html", {"drawn": drawn, "id": "a", "name": "A"})
    for word in ("style=", "var(", "currentColor", "<style", "<script", "http://www.w3.org/1999/xlink"):
        assert word not in text
    assert "DejaVu Sans Mono" in text


def test_two_drawings_on_a_page_share_no_name() -> None:
    drawn = drawn_case("keyed")
    names = [
        {each.get("id") for each in root.iter() if each.get("id")}
        for root in (
            ET.fromstring(render_to_string("repairs/section.html", {"drawn": drawn, "id": i, "name": ""})) for i in "ab"
        )
    ]
    assert names[0]
    assert not names[0] & names[1]


def test_inches_lead_where_they_are_asked_for() -> None:
    found = dimensions(svg(drawn_case("blind flanged bush", units="in")))
    assert found["seat"].text.endswith("Ø0.8661 [22]")
    assert found["drill"].text.endswith("Ø0.5660–0.5777 [14.376–14.676]")


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    for name in CASES:
        _, root, _, scale = read_back(name)
        bar = paths(root, "bar")[0]
        text = next(each.text for each in root.iter(f"{SVG}text") if each.get("data-part") == "bar-text")
        length = max(x for x, _ in bar) - min(x for x, _ in bar)
        assert abs(length / scale - Decimal((text or "").removesuffix(" mm"))) <= DRAWN / scale


@pytest.mark.parametrize("name", WITHOUT_INSERT)
def test_without_an_insert_none_is_drawn_and_none_is_dimensioned(name: str) -> None:
    _, root, found, _ = read_back(name)
    cut = {"new_thread", "drill"}
    assert not paths(root, "insert")
    assert not {"insert_length", "inner_thread", "outer_thread", "seat", "set_down"} & set(found)
    assert cut & set(found) == (set() if name.startswith(("chased", "scrapped")) else cut)


def test_an_oversize_bolt_shows_its_own_thread_and_the_old_one_that_is_cut_away() -> None:
    _, root, found, scale = read_back("oversize bolt")
    assert found["new_thread"].text.endswith("M16x1.5")
    assert found["old_thread"].text.endswith("M14x1.5")
    assert found["chamfer"].text.startswith("chamfer Ø16")
    lines = paths(root, "phantom")
    assert any(abs(abs(x) / scale - 7) <= DRAWN / scale for line in lines for x, _ in line)


def test_a_hole_that_was_filled_in_is_a_phantom_and_metal_again() -> None:
    group, option = CASES["plugged after an insert"]()
    assert option is not None
    _, root, found, scale = read_back("plugged after an insert")
    old = basic(read("M20x1.5").thread)
    corners = {(round(abs(x) / scale, 1), round(y / scale, 1)) for line in paths(root, "phantom") for x, y in line}
    assert (round(old.minor_internal / 2, 1), Decimal(40)) in corners
    assert (Decimal(10), Decimal(40)) in corners
    assert found["old_thread"].text.endswith("M20x1.5")
    deepest = max(y for x, y in paths(root, "thick")[0]) / scale
    drilled = drill_depth(option, group, Limits())
    assert drilled is not None
    assert deepest < to_mm(drilled.most) + 4, "the wall ends in the new drill's point"
    assert "old hole filled in" in "".join(root.itertext())
