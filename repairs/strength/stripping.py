"""What a thread carries before it strips: shear areas, engagement, and the stricter factors. PURE.

FED-STD-H28/2B (1991) table II.B.1, and Alexander's factors (SAE 770420, ISO/TR 16224:2012 4.2.3, VDI 2230-1 5.5.5).
Lengths are Decimal mm, areas Decimal mm2, stresses in MPa and loads in N floats. The sums hold for the worst pair
that its classes allow: the least external thread in the largest internal one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from inventory.threads import (
    SYSTEMS,
    Thread,
    basic,
    external_limits,
    internal_limits,
)
from inventory.threads.profiles import form

_PI = Decimal("3.1415926535897932384626433833")
_ROOT3 = Decimal(3).sqrt()
H28 = "FED-STD-H28/2B (1991) table II.B.1"
ALEXANDER = "Alexander, SAE 770420; ISO/TR 16224:2012 4.2.3; VDI 2230-1 5.5.5"

# Of a chamfer's depth so much counts as lost to the engagement (secondary source of VDI 2230-1 and ISO/TR 16224).
CHAMFER_LOST = Decimal("0.6")
# Bell mouth, Alexander: the minor diameter of a nut at its mouth over D1, and what part of the length it takes.
_BELL, _BELL_PART = Decimal("1.026"), Decimal("0.4")


@dataclass(frozen=True, slots=True)
class Fit:
    """An external thread in an internal one, diameters in mm: all that a stripping sum needs to know.

    `major` and `pitch_external` are the external thread's, `minor` and `pitch_internal` the hole's. `slope` is the
    tangent of half the thread angle. `source` says which limits they are.
    """

    pitch: Decimal
    slope: Decimal
    major: Decimal
    pitch_external: Decimal
    minor: Decimal
    pitch_internal: Decimal
    source: str

    def hole_area(self, length: Decimal) -> Decimal:
        """Shear area in mm2 of the hole's thread over `length` mm, at the external thread's major diameter.

        FED-STD-H28/2B (2a): pi n Ds,min [1/(2n) + 0.57735 (Ds,min - En,max)] Le. Never below 0. For other forms than
        60 degrees the same sum with their own slope (geometry).

        >>> round(worst(Thread("M", 10_000_000, 1_500_000)).hole_area(Decimal(1)), 4)
        Decimal('21.4769')
        """
        thickness = self.pitch / 2 + self.slope * (self.major - self.pitch_internal)
        return self._ring(self.major, thickness, length)

    def screw_area(self, length: Decimal) -> Decimal:
        """Shear area in mm2 of the external thread over `length` mm, at the hole's minor diameter.

        FED-STD-H28/2B (4a): pi n Kn,max [1/(2n) + 0.57735 (Es,min - Kn,max)] Le. Never below 0.

        >>> round(worst(Thread("M", 8_000_000, 1_250_000)).screw_area(Decimal(1)), 4)
        Decimal('12.1612')
        """
        return self._screw_at(self.minor, length)

    def screw_area_bell_mouthed(self, length: Decimal) -> Decimal:
        """As `screw_area`, with four tenths of the length at a mouth that is 1.026 times as wide (Alexander).

        >>> fit = worst(Thread("M", 8_000_000, 1_250_000))
        >>> fit.screw_area_bell_mouthed(Decimal(1)) < fit.screw_area(Decimal(1))
        True
        """
        mouth = self._screw_at(_BELL * self.minor, length)
        return (1 - _BELL_PART) * self.screw_area(length) + _BELL_PART * mouth

    def _screw_at(self, minor: Decimal, length: Decimal) -> Decimal:
        return self._ring(minor, self.pitch / 2 + self.slope * (self.pitch_external - minor), length)

    def _ring(self, diameter: Decimal, thickness: Decimal, length: Decimal) -> Decimal:
        return max(Decimal(0), _PI * diameter * thickness * length / self.pitch)


def _slope(thread: Thread) -> Decimal:
    return 1 / (2 * form(thread).triangle)


def worst(thread: Thread, external: str = "", internal: str = "", drilled: Decimal | None = None) -> Fit:
    """The weakest pair that the classes allow: least external thread in the largest hole; default classes where "".

    `drilled` mm is a hole that was drilled wider than its class (keyed bushes): it counts where it is the larger
    minor diameter. Raises ThreadError `thread_class_unknown`. An insert-hole thread has no outside of its own: a wire's
    limits are not published, so that it is taken at the basic sizes.

    >>> fit = worst(Thread("M", 10_000_000, 1_500_000))
    >>> fit.major, fit.pitch_internal
    (Decimal('9.732'), Decimal('9.206'))
    """
    hole = internal_limits(thread, internal)
    if SYSTEMS[thread.system].bolt:
        coil = basic(thread)
        major, pitch_external, whose = coil.major, coil.pitch_diameter, "the wire at basic sizes"
    else:
        limits = external_limits(thread, external)
        major, pitch_external = limits.major_min, limits.pitch_min
        whose = f"{limits.thread_class} at its least ({limits.source})"
    return Fit(
        pitch=thread.pitch_mm,
        slope=_slope(thread),
        major=major,
        pitch_external=pitch_external,
        minor=hole.minor_max if drilled is None else max(hole.minor_max, drilled),
        pitch_internal=hole.pitch_max,
        source=f"{whose} in {hole.thread_class} at its largest ({hole.source})",
    )


def nominal(thread: Thread) -> Fit:
    """A pair at basic sizes, as worked examples of VDI 2230-1 take it; stronger than any pair of real threads.

    >>> m10 = Thread("M", 10_000_000, 1_500_000)
    >>> nominal(m10).hole_area(Decimal(10)) > worst(m10).hole_area(Decimal(10))
    True
    """
    shape, pitch = form(thread), thread.pitch_mm
    pitch_diameter = thread.major_mm - shape.pitch * pitch
    return Fit(
        pitch=pitch,
        slope=_slope(thread),
        major=thread.major_mm,
        pitch_external=pitch_diameter,
        minor=thread.major_mm - shape.minor * pitch,
        pitch_internal=pitch_diameter,
        source="basic sizes, not rounded",
    )


def effective_length(
    length: Decimal, *, chamfers: tuple[Decimal, ...] = (), set_down: Decimal = Decimal(0), lost: Decimal = Decimal(0)
) -> Decimal:
    """Length in mm that carries: `length` less six tenths of each chamfer's depth, less set-down and what is `lost`.

    m_eff = m - 0.6 hc for one chamfered end, m - 1.2 hc for both (secondary source of VDI 2230-1, ISO/TR 16224).
    `set_down` is given where `length` is counted from the surface, `lost` for turns that are not full (half to three
    quarters of a pitch of a wire insert, ASME B18.29.2M). Never below 0.

    >>> effective_length(Decimal(20), chamfers=(Decimal(1), Decimal(1)), set_down=Decimal("0.5"))
    Decimal('18.3')
    """
    return max(Decimal(0), length - CHAMFER_LOST * sum(chamfers, Decimal(0)) - set_down - lost)


def up_to_nm(mm: float) -> Decimal:
    """A length from a float sum, mm, rounded up to a whole nanometre: what is needed is never rounded down.

    >>> up_to_nm(12.3456781234)
    Decimal('12.345679')
    """
    return Decimal(repr(mm)).quantize(Decimal("0.000001"), ROUND_CEILING)


def length_to_carry(load: float, area_per_mm: Decimal, shear: float) -> Decimal:
    """Engagement in mm that carries `load` N in metal of this shear strength in MPa, rounded up to a nanometre.

    F = An tau, FED-STD-H28/2B. Raises ValueError where nothing is sheared: no area, or no strength.

    >>> area = worst(Thread("M", 10_000_000, 1_500_000)).hole_area(Decimal(1))
    >>> round(length_to_carry(69600, area, 130), 3)
    Decimal('24.928')
    """
    strength = float(area_per_mm) * shear
    if strength <= 0:
        raise ValueError("nothing is sheared")
    return up_to_nm(load / strength)


@dataclass(frozen=True, slots=True)
class Engagement:
    """Least engagement in mm at which the bolt breaks first, by FED-STD-H28/2B.

    `equal` is for two parts of one metal, `ratio` is J = external over internal strength at equal lengths, `needed`
    the length that the metals at hand want: `equal`, or J times as much where J is over 1.
    """

    equal: Decimal
    ratio: float
    needed: Decimal


def least_engagement(fit: Fit, area: Decimal, screw: float, hole: float) -> Engagement:
    """Least engagement for a bolt of stress area `area` mm2, by the tensile strengths of both parts in MPa.

    FED-STD-H28/2B (14) to (16): Le = 2 At / (As per length); J = As Rm,screw / (An Rm,hole); Q = J Le where J > 1.
    The 2 takes shear strength as half the tensile strength.

    >>> m8 = Thread("M", 8_000_000, 1_250_000)
    >>> least = least_engagement(worst(m8), Decimal("36.6085"), 800, 240)
    >>> round(least.equal, 3), round(least.ratio, 3), round(least.needed, 2)
    (Decimal('6.021'), 2.409, Decimal('14.50'))
    """
    one = Decimal(1)
    external, internal = float(fit.screw_area(one)), float(fit.hole_area(one))
    equal = 2 * float(area) / external
    ratio = external * screw / (internal * hole)
    return Engagement(up_to_nm(equal), ratio, up_to_nm(equal * max(1.0, ratio)))


def combined_engagement(area: Decimal, pitch_diameter: Decimal) -> Decimal:
    """Engagement in mm for both threads shearing together at the pitch line: 4 At / (pi d2), FED-STD-H28/2B (13).

    >>> round(combined_engagement(Decimal("91.548204"), Decimal("11.4309398")), 3)
    Decimal('10.197')
    """
    return 4 * area / (_PI * pitch_diameter)


# What of a cylinder a thread shears, and at which diameter: the quick forms.
CYLINDERS: dict[str, tuple[Decimal, str]] = {
    "hole_at_pitch": (Decimal("0.75"), "FED-STD-H28/2B table II.B.1 (3), 0.250 in and over"),
    "screw_at_pitch": (Decimal("0.625"), "FED-STD-H28/2B table II.B.1 (5)"),
    "screw_most_at_minor": (Decimal("0.75"), "FED-STD-H28/2B table II.B.1 (6b)"),
    "bolt_at_minor": (Decimal("0.625"), "NASA TM-106943 eq. 63"),
    "hole_at_major": (Decimal("0.75"), "NASA TM-106943 eq. 76"),
}


def cylinder_area(rule: str, diameter: Decimal, length: Decimal) -> Decimal:
    """Shear area in mm2 by a quick form: a share of the cylinder pi d L, both in mm; `rule` is one of `CYLINDERS`.

    For threads without limits of size; FED-STD-H28/2B (3) is for 0.250 in and over alone. Raises KeyError.

    >>> round(cylinder_area("hole_at_pitch", Decimal(9), Decimal(10)), 2)
    Decimal('212.06')
    """
    return CYLINDERS[rule][0] * _PI * diameter * length


# C1 is given from this outside width on, in diameters of the thread.
BOSS_GIVEN_FROM = 1.4
BOSS_NOT_GIVEN = "C1 is not given below s/d 1.4: straight down from 0.75 there to nothing at 1, rule of thumb"


def dilation_factor(ratio: float) -> float | None:
    """C1: what a nut or a boss of outside width `ratio` times the thread keeps, since it is wedged open.

    3.8 (s/d) - (s/d)^2 - 2.61 for 1.4 <= s/d < 1.9, 1 from 1.9 on (ISO/TR 16224:2012 4.2.3). None below 1.4, where it
    is not given.

    >>> round(dilation_factor(1.5), 2), dilation_factor(2.0), dilation_factor(1.39)
    (0.84, 1.0, None)
    """
    if ratio < BOSS_GIVEN_FROM:
        return None
    return 1.0 if ratio >= 1.9 else min(1.0, 3.8 * ratio - ratio**2 - 2.61)


def boss_factor(ratio: float) -> float:
    """What is counted on at a boss of outside width `ratio` times the thread: C1 where it is given, less below.

    Below 1.4 it falls straight from C1 at 1.4 to nothing at 1, where the thread cuts the edge: a rule of thumb, lower
    everywhere than the formula carried on would be. Whoever uses it there says so, and an engineer signs.

    >>> [round(boss_factor(each), 3) for each in (0.9, 1.2, 1.4, 1.5)]
    [0.0, 0.375, 0.75, 0.84]
    """
    given = dilation_factor(ratio)
    if given is not None:
        return given
    least = dilation_factor(BOSS_GIVEN_FROM) or 0.0
    return max(0.0, least * (ratio - 1) / (BOSS_GIVEN_FROM - 1))


def screw_bending_factor(ratio: float) -> float:
    """C2: what the external thread keeps, by the strength ratio Rs = internal over external.

    0.897 for Rs <= 1; 5.594 - 13.682 Rs + 14.107 Rs^2 - 6.057 Rs^3 + 0.9353 Rs^4 for 1 < Rs < 2.2 (ISO/TR 16224:2012
    4.2.3.1); its value at 2.2 from there on, where it is not given.

    >>> [round(screw_bending_factor(each), 4) for each in (0.8, 1.5, 2.0)]
    [0.897, 1.1043, 1.1668]
    """
    if ratio <= 1:
        return 0.897
    x = min(ratio, 2.2)
    return 5.594 - 13.682 * x + 14.107 * x**2 - 6.057 * x**3 + 0.9353 * x**4


def hole_bending_factor(ratio: float) -> float:
    """C3: what the internal thread keeps, by the strength ratio Rs = internal over external.

    0.897 for Rs >= 1; 0.728 + 1.769 Rs - 2.896 Rs^2 + 1.296 Rs^3 for 0.4 < Rs < 1; its value at 0.4 below
    (VDI 2230-1 5.5.5).

    >>> [round(hole_bending_factor(each), 4) for each in (0.3, 0.5, 1.5)]
    [1.0552, 1.0505, 0.897]
    """
    if ratio >= 1:
        return 0.897
    x = max(ratio, 0.4)
    return 0.728 + 1.769 * x - 2.896 * x**2 + 1.296 * x**3


def strength_ratio(fit: Fit, hole: float, screw: float) -> float:
    """Rs = internal over external thread strength, from the shear strengths of both in MPa (VDI 2230-1 5.5.5).

    Infinite where the external thread has no area left.

    >>> round(strength_ratio(nominal(Thread("M", 10_000_000, 1_500_000)), 130, 520), 4)
    0.3482
    """
    external = float(fit.screw_area(Decimal(1))) * screw
    return float(fit.hole_area(Decimal(1))) * hole / external if external > 0 else math.inf


@dataclass(frozen=True, slots=True)
class FactoredEngagement:
    """Least engagement in mm by VDI 2230-1: for the hole's thread, the bolt's, the larger, and that with 2 P added."""

    ratio: float
    hole: Decimal
    screw: Decimal
    needed: Decimal
    whole: Decimal


def factored_engagement(
    fit: Fit, area: Decimal, tensile: float, screw: float, hole: float, dilation: float = 1.0
) -> FactoredEngagement:
    """Least engagement for the bolt to break first, with Alexander's factors; stresses in MPa.

    m_eff = Rm As P / (C1 C3 tauM [P/2 + (d - D2) tan 30] pi d) for the hole, likewise with C2 and D1 for the bolt
    (VDI 2230-1 5.5.5, as remembered and cross-read). `tensile` should be the bolt's *largest*. 2 P are added for turns
    that do not carry (edition of 2014 on; older ones 0.8 P, from memory).

    >>> m10 = Thread("M", 10_000_000, 1_500_000)
    >>> found = factored_engagement(nominal(m10), Decimal("57.9896"), 800, 520, 130)
    >>> round(found.hole, 2), round(found.screw, 2), round(found.whole, 2)
    (Decimal('12.30'), Decimal('5.04'), Decimal('15.30'))
    """
    ratio = strength_ratio(fit, hole, screw)
    load, one = tensile * float(area), Decimal(1)
    internal = float(fit.hole_area(one)) * hole * dilation * hole_bending_factor(ratio)
    external = float(fit.screw_area(one)) * screw * dilation * screw_bending_factor(ratio)
    needed = {"hole": up_to_nm(load / internal), "screw": up_to_nm(load / external)}
    most = max(needed.values())
    return FactoredEngagement(ratio, needed["hole"], needed["screw"], most, most + 2 * fit.pitch)


def alexander_loads(fit: Fit, length: Decimal, hole: float, screw: float, dilation: float = 1.0) -> tuple[float, float]:
    """Stripping loads in N of hole and screw over `length` mm, with Alexander's factors and a bell-mouthed hole.

    A strip load is area x shear strength x C1 x C3 (hole) or C2 (screw): ISO/TR 16224:2012 4.2.3 with 0.6 Rm as shear
    strength, here each metal's own in MPa. They are given for ISO metric threads; for other forms that is an extension.

    >>> [round(load) for load in alexander_loads(worst(Thread("M", 10_000_000, 1_500_000)), Decimal(10), 130, 520)]
    [29461, 68895]
    """
    external = float(fit.screw_area_bell_mouthed(length)) * screw
    internal = float(fit.hole_area(length)) * hole
    ratio = internal / external if external > 0 else math.inf
    return internal * dilation * hole_bending_factor(ratio), external * dilation * screw_bending_factor(ratio)


# Engagement by a handbook's rule, in diameters and inch: steel screw in cast iron or steel, in hardened steel or
# high-strength bronze, in aluminium and magnesium under shock, and in normal use.
_HANDBOOK: dict[tuple[str, bool], tuple[str, str]] = {
    ("iron_or_steel", False): ("1.5", "0"),
    ("hard", False): ("1", "0"),
    ("light", True): ("2", "0.062"),
    ("light", False): ("1.5", "0.062"),
}


def handbook_engagement(diameter: Decimal, metal: str, *, shock: bool = False) -> Decimal:
    """Engagement in mm by a handbook's rule, for a bolt of `diameter` mm; a rule of thumb beside the sums.

    1.5 D in "iron_or_steel", D in "hard" steel or bronze, 1.5 D + 0.062 in in "light" metal, 2 D + 0.062 in there under
    shock. Raises KeyError for another metal.

    >>> handbook_engagement(Decimal("12.7"), "light", shock=True)
    Decimal('26.9748')
    """
    times, more = _HANDBOOK[metal, shock and metal == "light"]
    return Decimal(times) * diameter + Decimal(more) * Decimal("25.4")
