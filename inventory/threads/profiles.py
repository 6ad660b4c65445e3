"""The forms of thread, basic sizes, stress area, per cent of thread, and the profile as it is drawn. PURE."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

from inventory.threads.thread import INCH, SQRT3, SYSTEMS, Thread

_PI = Decimal("3.1415926535897932384626433833")
# Depths below the major diameter, on diameter, in pitches: H = sqrt(3)/2 P.
PITCH_DEPTH = SQRT3 / 2 * 3 / 4  # 3/4 H = 0.649519 P
MINOR_DEPTH = SQRT3 / 2 * 5 / 4  # 5/4 H = 1.082532 P
ROOT_DEPTH = SQRT3 / 2 * 17 / 12  # 17/12 H = 1.226869 P


@dataclass(frozen=True, slots=True)
class Form:
    """The shape of a thread in pitches.

    `triangle` is the height H of the sharp V, `sine` the sine of half the thread angle. `pitch`, `minor` and
    `root` are depths below the major diameter, on diameter: of the pitch line, of a hole's crest, of a bolt's
    root. `rounded`: crests and roots are arcs that touch the flanks; else they are flat.
    """

    triangle: Decimal
    sine: Decimal
    pitch: Decimal
    minor: Decimal
    root: Decimal
    rounded: bool


def _arched(triangle: str, sine: str, depth: Decimal) -> Form:
    """A form with arcs at crest and root alike, as deep inside as outside."""
    return Form(Decimal(triangle), Decimal(sine), depth, 2 * depth, 2 * depth, rounded=True)


# H = 1 / (2 tan(half angle)). Depths: ISO 68-1; BS 84 2/3 H; BS 93 0.6 p; BS 811 H - p/3 (crest and root of p/6,
# as two public tables of core diameters bear out).
_WHITWORTH_H = "0.960491063485582923896555391852"
FORMS: dict[str, Form] = {
    "iso": Form(SQRT3 / 2, Decimal("0.5"), PITCH_DEPTH, MINOR_DEPTH, ROOT_DEPTH, rounded=False),
    "whitworth": _arched(_WHITWORTH_H, "0.461748613235033930562930673135", Decimal(_WHITWORTH_H) * 2 / 3),
    "ba": _arched("1.136336439463340093047279214258", "0.402746689858737234818584299645", Decimal("0.6")),
    "cycle": _arched(str(SQRT3 / 2), "0.5", SQRT3 / 2 - Decimal(1) / 3),
}


@dataclass(frozen=True, slots=True)
class Basic:
    """Basic diameters in mm.

    `minor_internal` is D1; `minor_external` is d3 at the rounded root of ISO threads and D1 again of all others.
    """

    major: Decimal
    pitch_diameter: Decimal
    minor_internal: Decimal
    minor_external: Decimal


def rounded(size: Decimal, inch: bool, places: int | None = None) -> Decimal:
    """A diameter in mm rounded as its standard prints it: 0.001 mm, or 0.0001 in (then exact in mm).

    >>> rounded(Decimal("5.52445"), inch=True), rounded(Decimal("7.18812"), inch=False)
    (Decimal('5.52450'), Decimal('7.188'))
    """
    if inch:
        step = Decimal(1).scaleb(-(4 if places is None else places))
        return (size / INCH).quantize(step, ROUND_HALF_UP) * INCH
    return size.quantize(Decimal(1).scaleb(-(3 if places is None else places)), ROUND_HALF_UP)


def form(thread: Thread) -> Form:
    """The shape of a thread's profile, in pitches.

    >>> form(Thread("BSF", 6_350_000, 52)).pitch.quantize(Decimal("0.000001"))
    Decimal('0.640327')
    """
    return FORMS[SYSTEMS[thread.system].form]


@lru_cache(maxsize=4096)
def basic(thread: Thread) -> Basic:
    """Basic sizes in mm: as printed for BA (BS 93) and pipe threads (ISO 228-1), else from the form.

    ISO 68-1, ISO 724, ASME B1.1: D2 = D - 0.649519 P, D1 = D - 1.082532 P, d3 = D - 1.226869 P; Whitworth (BS 84)
    D2 = D - 0.640327 p, D1 = D - 1.280654 p; cycle (BS 811) D2 = D - 0.532692 p, D1 = D - 1.065384 p. Rounded as the
    standard prints them, 0.001 mm or 0.0001 in. For an insert hole the ISO profile stands on its own major
    diameter D + 1.299038 P (proportions of ASME B18.29.2M). d3 of a Unified thread is taken at the same 17/12 H,
    the deeper of the roots in print.

    >>> basic(Thread("M", 14_000_000, 1_500_000)).minor_internal
    Decimal('12.376')
    >>> basic(Thread("EG-M", 14_000_000, 1_500_000)).major
    Decimal('15.949')
    >>> basic(Thread("G", 13_157_000, 38)).pitch_diameter, basic(Thread("BA", 4_700_000, 810_000)).minor_external
    (Decimal('12.301'), Decimal('3.73'))
    """
    inch = SYSTEMS[thread.system].unit == "in"
    major, pitch, shape = thread.major_mm, thread.pitch_mm, form(thread)
    published = thread.published
    if published and "pitch_diameter" in published.row:
        minor = Decimal(published.row["minor"])
        return Basic(rounded(major, inch), Decimal(published.row["pitch_diameter"]), minor, minor)
    return Basic(
        major=rounded(major, inch),
        pitch_diameter=rounded(major - shape.pitch * pitch, inch),
        minor_internal=rounded(major - shape.minor * pitch, inch),
        minor_external=rounded(major - shape.root * pitch, inch),
    )


def stress_area(thread: Thread) -> Decimal:
    """Tensile stress area in mm2 to 0.0001 (small inch sizes are printed to 0.00001 in2).

    Metric pi/4 (d - 0.938194 P)2 (ISO 898-1 9.1.6.1), Unified pi/4 (D - 0.974279 P)2 (FED-STD-H28/2B II.B.1); of all
    others the circle on the mean of effective and minor diameter (British practice, from memory). For an
    insert-hole thread the area of its bolt; for a pipe thread that of a solid plug.

    >>> stress_area(Thread("M", 8_000_000, 1_250_000))
    Decimal('36.6085')
    >>> stress_area(Thread("BSW", 12_700_000, 24))
    Decimal('89.3619')
    """
    system = SYSTEMS[thread.system]
    if system.form != "iso":
        sizes = basic(thread)
        mean = (sizes.pitch_diameter + sizes.minor_external) / 2
    else:
        depth = SQRT3 * 9 / 16 if system.inch else (PITCH_DEPTH + ROOT_DEPTH) / 2
        mean = thread.nominal_mm - depth * thread.pitch_mm
    return (_PI / 4 * mean * mean).quantize(Decimal("0.0001"), ROUND_HALF_UP)


def percent_of_thread(thread: Thread, drill_mm: Decimal, basis: str) -> Decimal:
    """Depth of thread that a hole of `drill_mm` leaves, in per cent of the full depth, to 0.01.

    `basis` is "5/8H" (the ISO basic depth, 1.082532 P on diameter) or "3/4H" (1.299038 P, the basis of
    American drill tables, Machinery's Handbook 31 p.2155): of other forms as much of their own triangle. "basic" is
    each form's own basic depth, by which British tables go (2/3 H of Whitworth, 0.6 p of BA); of ISO threads it is
    "5/8H". Raises ValueError for another basis.

    >>> percent_of_thread(Thread("M", 16_000_000, 1_500_000), Decimal("14.5"), "5/8H")
    Decimal('92.38')
    >>> percent_of_thread(Thread("M", 16_000_000, 1_500_000), Decimal("14.5"), "3/4H")
    Decimal('76.98')
    >>> percent_of_thread(Thread("BSW", 12_700_000, 24), Decimal("10.5"), "basic")
    Decimal('81.16')
    """
    shape = form(thread)
    full = {"5/8H": shape.triangle * 5 / 4, "3/4H": shape.triangle * 3 / 2, "basic": shape.minor}
    if basis not in full:
        raise ValueError(f"unknown basis {basis!r}")
    depth = (thread.major_mm - drill_mm) / (full[basis] * thread.pitch_mm)
    return (depth * 100).quantize(Decimal("0.01"), ROUND_HALF_UP)


def inches(size_mm: Decimal, places: int = 5) -> Decimal:
    """A size in inch, rounded to `places` decimals: mm / 25.4, exact by definition (ISO 80000-3).

    >>> inches(Decimal("14.2875")), inches(Decimal("14.376"), 4)
    (Decimal('0.56250'), Decimal('0.5660'))
    """
    return (size_mm / INCH).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)


@dataclass(frozen=True, slots=True)
class Vertex:
    """A corner of the drawn profile, in mm: along the axis, and from the axis.

    `radius`: 0 where a straight line leads here; else an arc of that radius does, above 0 for a crest (bulging
    away from the axis), below 0 for a root.
    """

    axial: Decimal
    radial: Decimal
    radius: Decimal = Decimal(0)


def outline(thread: Thread) -> tuple[Vertex, ...]:
    """The basic profile of one pitch, from flank to flank, to be drawn to scale and repeated; mm to 28 digits.

    Four corners: end of the crest, root begins, root ends, next crest begins; the crest of one pitch on follows
    from the first. The crest stands about 0 on the axis. Basic profile: without clearances or allowances.

    >>> [(f"{v.axial:.3f}", f"{v.radial:.3f}", f"{v.radius:.3f}") for v in outline(Thread("M", 10_000_000, 1_500_000))]
    [('0.094', '5.000', '0.000'), ('0.563', '4.188', '0.000'), ('0.937', '4.188', '0.000'), ('1.406', '5.000', '0.000')]
    >>> f"{outline(Thread('BSW', 12_700_000, 24))[2].radius:.4f}"
    '-0.2907'
    """
    shape, pitch = form(thread), thread.pitch_mm
    crest = thread.major_mm / 2
    # What is cut off the sharp V at the crest, and how far down the flank begins.
    cut = (shape.triangle - shape.pitch) / 2 if shape.rounded else shape.triangle / 8
    radius = cut * shape.sine / (1 - shape.sine) if shape.rounded else Decimal(0)
    begins = radius * (1 - shape.sine)
    depth = shape.minor / 2 - begins
    slope = 1 / (2 * shape.triangle)  # tan of half the thread angle
    top, bottom = slope * (cut + begins), slope * (cut + depth)
    return (
        Vertex(top * pitch, crest - begins * pitch, radius * pitch),
        Vertex(bottom * pitch, crest - depth * pitch),
        Vertex((1 - bottom) * pitch, crest - depth * pitch, -radius * pitch),
        Vertex((1 - top) * pitch, crest - begins * pitch),
    )
