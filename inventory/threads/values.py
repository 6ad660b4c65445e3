"""What the rooms of this language hand on: limits of size, in Decimal mm. PURE."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class InternalLimits:
    """Limits of a hole's thread in mm. `computed`: from a formula, not from a table; `source` says which."""

    major_min: Decimal
    pitch_min: Decimal
    pitch_max: Decimal
    minor_min: Decimal
    minor_max: Decimal
    thread_class: str
    source: str
    computed: bool


@dataclass(frozen=True, slots=True)
class ExternalLimits:
    """Limits of a bolt's thread in mm. `minor_max` is the root (d3 where it is rounded deeper) at its largest."""

    major_min: Decimal
    major_max: Decimal
    pitch_min: Decimal
    pitch_max: Decimal
    minor_max: Decimal
    thread_class: str
    source: str
    computed: bool
