"""Torque and preload, both ways: the short form with a nut factor, the long form of VDI 2230-1 with friction. PURE.

Torques are N·mm and forces N, both floats; diameters Decimal mm. Friction and nut factor are ranges, so a torque gives
a band of preload.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from inventory.threads import Thread, basic
from inventory.threads.published import table
from repairs.strength.metals import PUBLISHED


@dataclass(frozen=True, slots=True)
class Band:
    """The least and the largest value of a range: a preload in N, a nut factor, a friction."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Head:
    """What turns under a wrench, diameters in mm: of the bearing face, and of the clearance hole."""

    bearing: Decimal
    hole: Decimal

    @property
    def mean(self) -> Decimal:
        """Dkm = (dw + dh)/2 in mm, the mean diameter of friction (VDI 2230-1 5.4.3).

        >>> Head(Decimal("11.6"), Decimal(9)).mean
        Decimal('10.3')
        """
        return (self.bearing + self.hole) / 2


def hexagon_head(thread: Thread) -> Head | None:
    """A standard hexagon head's faces, or None for a size that the table does not have (M6 to M20 it has).

    ISO 4014 and 4017 with the medium holes of ISO 273, as VDI 2230-1's tables are worked with.

    >>> hexagon_head(Thread("M", 14_000_000, 1_500_000))
    Head(bearing=Decimal('19.64'), hole=Decimal('15.5'))
    """
    if thread.system != "M":
        return None
    for row in table("hexagon_heads", PUBLISHED).rows:
        if Decimal(row["nominal"]) == thread.nominal_mm:
            return Head(Decimal(row["bearing"]), Decimal(row["hole"]))
    return None


def short_torque(preload: float, diameter: Decimal, nut_factor: float) -> float:
    """T = K F d in N·mm, for a preload in N and a bolt of `diameter` mm. K is about 0.20 for dry plain steel.

    >>> round(short_torque(20000, Decimal(8), 0.2))
    32000
    """
    return nut_factor * preload * float(diameter)


def short_preload(torque: float, diameter: Decimal, nut_factor: Band) -> Band:
    """The band of preload in N from a torque in N·mm: F = T / (K d), least where the nut factor is largest.

    >>> short_preload(32000, Decimal(8), Band(0.16, 0.25))
    Band(least=16000.0, most=25000.0)
    """
    return Band(
        torque / (nut_factor.most * float(diameter)),
        torque / (nut_factor.least * float(diameter)),
    )


def uncertain_preload(
    torque: float, diameter: Decimal, nut_factor: float, uncertainty: float = 0.25, relaxation: float = 0.05
) -> Band:
    """The band of preload in N from a torque in N·mm by NASA TM-106943 eqs. 1 and 12 to 16.

    P0,max = (1 + u) T / (K d); P0,min = (1 - u) T / (K d) / (1 + relaxation). u = 0.25 for a torque wrench.

    >>> band = uncertain_preload(32000, Decimal(8), 0.2)
    >>> round(band.least), round(band.most)
    (14286, 25000)
    """
    plain = torque / (nut_factor * float(diameter))
    return Band((1 - uncertainty) * plain / (1 + relaxation), (1 + uncertainty) * plain)


@dataclass(frozen=True, slots=True)
class TorqueParts:
    """What a torque goes into, in N·mm: the pitch's climb, friction in the thread, friction under the head."""

    pitch: float
    thread: float
    head: float

    @property
    def whole(self) -> float:
        """All three together, N·mm.

        >>> TorqueParts(4000.0, 10000.0, 12000.0).whole
        26000.0
        """
        return self.pitch + self.thread + self.head


def long_torque(preload: float, thread: Thread, head: Head, in_thread: float, under_head: float) -> TorqueParts:
    """T = F [0.16 P + 0.58 d2 mu_thread + Dkm/2 mu_head] in N·mm (VDI 2230-1 5.4.3, ISO 16047).

    0.16 and 0.58 stand for 1/(2 pi) and 1/(2 cos 30); the rounded ones are the standard's own. For 60-degree threads.

    >>> m8 = Thread("M", 8_000_000, 1_250_000)
    >>> round(long_torque(20000, m8, Head(Decimal("11.6"), Decimal(9)), 0.12, 0.12).whole)
    26366
    """
    return TorqueParts(
        preload * 0.16 * float(thread.pitch_mm),
        preload * 0.58 * float(basic(thread).pitch_diameter) * in_thread,
        preload * float(head.mean) / 2 * under_head,
    )


def long_preload(torque: float, thread: Thread, head: Head, friction: Band) -> Band:
    """The band of preload in N from a torque in N·mm by the long form; `friction` in thread and under head alike.

    >>> m8 = Thread("M", 8_000_000, 1_250_000)
    >>> band = long_preload(26366, m8, Head(Decimal("11.6"), Decimal(9)), Band(0.08, 0.16))
    >>> round(band.least, -2), round(band.most, -2)
    (15600.0, 27900.0)
    """
    per_newton = [long_torque(1.0, thread, head, mu, mu).whole for mu in (friction.most, friction.least)]
    return Band(torque / per_newton[0], torque / per_newton[1])


def nut_factor(thread: Thread, head: Head, friction: float) -> float:
    """K = T / (F d) that the long form comes to.

    >>> m8 = Thread("M", 8_000_000, 1_250_000)
    >>> round(nut_factor(m8, Head(Decimal("11.6"), Decimal(9)), 0.12), 4)
    0.1648
    """
    return long_torque(1.0, thread, head, friction, friction).whole / float(thread.nominal_mm)


def permitted_preload(thread: Thread, yield_strength: float, in_thread: float, utilisation: float = 0.9) -> float:
    """The preload in N that stretches and twists a bolt to `utilisation` of its yield strength in MPa.

    F = v Rp0.2 A0 / sqrt(1 + 3 [3/2 d2/d0 (P/(pi d2) + 1.155 mu)]^2), d0 = (d2 + d3)/2, A0 = pi/4 d0^2 (VDI 2230-1
    5.5.1); with v = 0.9 it meets the guideline's tables within 0.4 %.

    >>> round(permitted_preload(Thread("M", 14_000_000, 1_500_000), 940, 0.12), -2)
    95300.0
    """
    sizes = basic(thread)
    pitch_diameter = float(sizes.pitch_diameter)
    stressed = (pitch_diameter + float(sizes.minor_external)) / 2
    climb = float(thread.pitch_mm) / (math.pi * pitch_diameter) + 1.155 * in_thread
    twist = 1.5 * pitch_diameter / stressed * climb
    return utilisation * yield_strength * math.pi / 4 * stressed**2 / math.sqrt(1 + 3 * twist**2)
