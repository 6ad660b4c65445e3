"""Parent and insert metals: tensile and shear strength, and how much of it a casting keeps. PURE.

Stresses are floats in MPa, good to about 1 %, which is what the tables are; lengths are Decimal mm. A printed shear
strength is used as it is; else tensile strength times the ratio that its row names.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.errors import Reason, Refused
from inventory.threads.published import table

PUBLISHED = os.path.join(os.path.dirname(os.path.dirname(__file__)), "published")

# Where nothing better is known of a metal: shear over tensile strength of steel (rule of thumb; EN 1993-1-8 has 0.6).
PLAIN_RATIO = 0.6


@dataclass(frozen=True, slots=True)
class Metal:
    """One metal: strengths in MPa of its table, and the share of them that is counted on.

    `kind` is the material's code ("cast_aluminium"), `basis` whether the table gives the "least", "typical" or
    "expected" value or it is one's "own", `ratio` shear over tensile strength where no shear strength is printed.
    `share` is what a casting may have of a separately cast bar. `wall_over` is the wall in mm from which the value
    holds.
    """

    code: str
    kind: str
    word: str
    tensile: float
    shear: float
    basis: str
    source: str
    how: str
    yield_strength: float | None = None
    ratio: float | None = None
    share: float = 1.0
    wall_over: Decimal | None = None

    @property
    def tensile_here(self) -> float:
        """Tensile strength that is counted on in the part, MPa.

        >>> round(metal("en-ac-43000-sand-t6").tensile_here)
        154
        """
        return self.tensile * self.share

    @property
    def shear_here(self) -> float:
        """Shear strength that is counted on in the part, MPa.

        >>> round(metal("a380").shear_here), round(metal("6061-t6").shear_here)
        (133, 205)
        """
        return self.shear * self.share


def _number(text: str) -> float | None:
    return float(text) if text else None


@cache
def metals() -> tuple[Metal, ...]:
    """Every row of `published/parent_metals.csv`, grey irons once per wall.

    >>> [metal.code for metal in metals() if metal.kind == "zinc"]
    ['zamak-3', 'zamak-5', 'za-8']
    """
    found = []
    for row in table("parent_metals", PUBLISHED).rows:
        tensile, ratio = float(row["tensile"]), _number(row["ratio"])
        shear = _number(row["shear"])
        found.append(
            Metal(
                code=row["code"],
                kind=row["kind"],
                word=row["word"],
                tensile=tensile,
                shear=tensile * (ratio or PLAIN_RATIO) if shear is None else shear,
                basis=row["basis"],
                source=" ".join(filter(None, (row["source"], row["edition"]))) + f", {row['clause']}",
                how=row["how"],
                yield_strength=_number(row["yield"]),
                ratio=ratio,
                share=float(row["share"]),
                wall_over=Decimal(row["wall_over"]) if row["wall_over"] else None,
            )
        )
    return tuple(found)


def metal(code: str, wall: Decimal | None = None) -> Metal:
    """The metal of this code; of a grey iron the row for a `wall` in mm, or the weakest where none is given.

    EN 1561 gives grey iron by the wall's thickness, since thick walls cool slowly and are weaker. A wall below the
    thinnest row takes that row. Raises Refused `metal_unknown`.

    >>> metal("en-gjl-200", Decimal(12)).tensile, metal("en-gjl-200").tensile
    (180.0, 115.0)
    """
    rows = [each for each in metals() if each.code == code]
    if not rows:
        raise Refused(Reason("metal_unknown", code=code, known=tuple(dict.fromkeys(each.code for each in metals()))))
    if rows[0].wall_over is None:
        return rows[0]
    if wall is None:
        return rows[-1]
    return next((row for row in reversed(rows) if row.wall_over is not None and row.wall_over < wall), rows[0])


def own_metal(
    *, tensile: float | None = None, shear: float | None = None, kind: str = "", word: str = "", by: str = ""
) -> Metal:
    """A metal from one's own values in MPa; nothing is taken off them. `by` says who gave them.

    With a tensile strength alone the shear strength is 0.6 of it (rule of thumb), and the reverse. Raises Refused
    `own_strength_not_positive` unless one of the two is given and all given are above nought and finite.

    >>> own_metal(shear=130).shear_here, own_metal(tensile=300).shear_here
    (130.0, 180.0)
    """
    given = [each for each in (tensile, shear) if each is not None]
    if not given or not all(math.isfinite(each) and each > 0 for each in given):
        raise Refused(Reason("own_strength_not_positive"))
    return Metal(
        code="own",
        kind=kind,
        word=word or "own values",
        tensile=tensile if tensile is not None else given[0] / PLAIN_RATIO,
        shear=shear if shear is not None else given[0] * PLAIN_RATIO,
        basis="own",
        source=f"given by {by}" if by else "own values",
        how="own",
        ratio=PLAIN_RATIO if len(given) == 1 else None,
    )
