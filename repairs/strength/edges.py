"""What the metal towards an edge carries, and where inserts are called for at all. PURE.

How near an edge an insert may stand is judged among the methods; here is what the metal carries there. Lengths are
Decimal mm, areas Decimal mm2, stresses in MPa and loads in N floats.
"""

from __future__ import annotations

from decimal import Decimal

from repairs.strength.metals import Metal

# MIL-STD-2193C(SH) 5.2.9.1: inserts in non-ferrous holes over this, unless the metal's shear strength is over that, in
# MPa, and a sum by FED-STD-H28 shows it.
INSERT_OVER, INSERT_UNLESS = Decimal("6.4"), 345.0
_FERROUS = ("grey_iron", "ductile_iron", "steel")


def tear_out_area(thickness: Decimal, edge: Decimal, diameter: Decimal) -> Decimal:
    """Area in mm2 that shears when a bolt is pulled towards the edge: 2 t (e - D/2), NASA TM-106943 eqs. 69, 70.

    `edge` is from the axis. Never below 0: where the hole cuts the edge nothing is left.

    >>> tear_out_area(Decimal(10), Decimal(12), Decimal(8))
    Decimal('160')
    """
    return max(Decimal(0), 2 * thickness * (edge - diameter / 2))


def tear_out_load(thickness: Decimal, edge: Decimal, diameter: Decimal, shear: float) -> float:
    """Load in N at which a bolt tears out towards the edge: the area of `tear_out_area` x shear strength in MPa.

    >>> tear_out_load(Decimal(10), Decimal(12), Decimal(8), 180)
    28800.0
    """
    return float(tear_out_area(thickness, edge, diameter)) * shear


def insert_called_for(metal: Metal, hole: Decimal) -> bool:
    """Whether an insert is called for in a threaded hole of this diameter in mm (MIL-STD-2193C(SH) 5.2.9.1).

    In non-ferrous metal over 6.4 mm, unless its shear strength is over 345 MPa; the sum that is to show it is
    `verdict.judge`.

    >>> from repairs.strength.metals import metal
    >>> [insert_called_for(metal(code), Decimal(8)) for code in ("a380", "s235")]
    [True, False]
    """
    return metal.kind not in _FERROUS and hole > INSERT_OVER and metal.shear_here <= INSERT_UNLESS
