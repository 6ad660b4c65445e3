"""What a bolt carries: strengths by property class or grade, ultimate and proof loads. PURE.

Stresses in MPa and loads in N are floats. The standards round their printed loads to three figures in no single
direction: the sums here agree with them within 0.7 %.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from inventory.errors import Reason, Refused
from inventory.threads import Thread, stress_area
from inventory.threads.published import table
from repairs.strength.metals import PUBLISHED

KSI = 6.894757293168  # MPa; 1000 lbf/in2 from 1 lb = 0.45359237 kg, 1 in = 25.4 mm, g = 9.80665 m/s2, all exact
LBF = 4.4482216152605  # N, from the same


@dataclass(frozen=True, slots=True)
class BoltMetal:
    """Strengths of one bolt in MPa: tensile and proof stress least values, `yield_strength` Rp0.2 or ReL.

    `shear` is what its thread is sheared at. `code` names class or grade: "10.9", "J429 8".
    """

    code: str
    tensile: float
    yield_strength: float
    proof: float
    shear: float
    source: str
    how: str


# ISO 10684 annex A: bolts M8 and M10 that are undersized to 6az before hot-dip galvanizing carry reduced loads.
_GALVANIZED_REDUCED = (8_000_000, 10_000_000)


def bolt_metal(typed: str, thread: Thread) -> BoltMetal:
    """The strengths of a property class of ISO 898-1 ("10.9") or a grade of SAE J429 ("grade 5", "J429 8").

    The size decides among the rows: 8.8 is stronger over 16 mm, grade 5 weaker over 1 in. J429 is for inch threads
    alone. Raises Refused `grade_unknown` (with what is known) and `grade_not_for_size`.

    >>> m14 = Thread("M", 14_000_000, 1_500_000)
    >>> bolt_metal("10.9", m14).tensile, bolt_metal("8.8", m14).proof
    (1040.0, 580.0)
    >>> round(bolt_metal("grade 5", Thread("UN", 12_700_000, 26)).proof / KSI)
    85
    """
    plain = re.sub(r"^(?:sae|iso|class|grade|gr|j429|898-1|[ .\-])*", "", typed.strip().lower()).replace(",", ".")
    metric = "." in plain
    listing = table("iso898_1" if metric else "sae_j429", PUBLISHED)
    unit = 1.0 if metric else KSI
    size = thread.nominal_mm if metric else thread.nominal_mm / Decimal("25.4")
    rows = [row for row in listing.rows if row["grade"] == plain]
    if not rows:
        known = tuple(
            dict.fromkeys(
                [row["grade"] for row in table("iso898_1", PUBLISHED).rows]
                + [f"J429 {row['grade']}" for row in table("sae_j429", PUBLISHED).rows]
            )
        )
        raise Refused(Reason("grade_unknown", typed=typed, known=known))
    code = plain if metric else f"J429 {plain}"
    for row in rows if metric or thread.system != "M" else ():
        if Decimal(row["over"]) < size <= Decimal(row["to"]):
            tensile = float(row["tensile"]) * unit
            return BoltMetal(
                code=code,
                tensile=tensile,
                yield_strength=float(row["yield"]) * unit,
                proof=float(row["proof"]) * unit,
                shear=tensile * float(row["shear_ratio"]),
                source=listing.source,
                how=row["how"],
            )
    raise Refused(Reason("grade_not_for_size", grade=code, thread=thread.designation))


def ultimate_load(bolt: BoltMetal, thread: Thread) -> float:
    """The least load in N at which a bolt breaks: tensile strength x stress area (ISO 898-1 9.1.6.1, SAE J429).

    >>> m10 = Thread("M", 10_000_000, 1_500_000)
    >>> round(ultimate_load(bolt_metal("8.8", m10), m10), -2)
    46400.0
    """
    return bolt.tensile * float(stress_area(thread))


def proof_load(bolt: BoltMetal, thread: Thread) -> float:
    """The load in N that a bolt carries without a permanent set: proof stress x stress area (ISO 898-1, SAE J429).

    >>> m14 = Thread("M", 14_000_000, 1_500_000)
    >>> round(proof_load(bolt_metal("10.9", m14), m14), -2)
    103400.0
    """
    return bolt.proof * float(stress_area(thread))


def galvanized_carries_less(thread: Thread) -> bool:
    """Whether a hot-dip galvanized bolt of this size carries less than its class says: M8 and M10 (ISO 10684 annex A).

    How much less stands in that annex, which was not seen: such a bolt is not summed here but signed for.

    >>> [galvanized_carries_less(Thread("M", size, 1_500_000)) for size in (10_000_000, 12_000_000)]
    [True, False]
    """
    return thread.system == "M" and thread.nominal in _GALVANIZED_REDUCED
