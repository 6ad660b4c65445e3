"""What holds: thread stripping, bolts, preload from a torque, parent metals, and the verdict on one repair. PURE.

`metals` and `bolts` read their strengths from `repairs/published/*.csv`, `stripping`, `tightening` and `edges` hold the
formulas, each with its source, and `verdict` judges one way of repairing one hole. Lengths that are typed are whole
nanometres and lengths in formulas Decimal mm; stresses (MPa), loads (N) and torques in formulas (N·mm) are floats.
"""

from repairs.strength.bolts import BoltMetal, bolt_metal, proof_load, ultimate_load
from repairs.strength.metals import Metal, metal, metals, own_metal
from repairs.strength.stripping import effective_length
from repairs.strength.tightening import Band, Head, hexagon_head
from repairs.strength.verdict import (
    DEFAULTS,
    HOLDS,
    NOT_CHECKED,
    RULED_OUT,
    RULES,
    SIGNS,
    Joint,
    Rule,
    Sum,
    Turn,
    Verdict,
    judge,
    preload_band,
    sensitivity,
)

__all__ = [
    "DEFAULTS",
    "HOLDS",
    "NOT_CHECKED",
    "RULED_OUT",
    "RULES",
    "SIGNS",
    "Band",
    "BoltMetal",
    "Head",
    "Joint",
    "Metal",
    "Rule",
    "Sum",
    "Turn",
    "Verdict",
    "bolt_metal",
    "effective_length",
    "hexagon_head",
    "judge",
    "metal",
    "metals",
    "own_metal",
    "preload_band",
    "proof_load",
    "sensitivity",
    "ultimate_load",
]
