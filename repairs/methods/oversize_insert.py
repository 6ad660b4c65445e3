"""Oversize insert: a thick-walled bush for a hole that the usual sizes no longer fill. PURE.

It is a solid plain bush in all but its outside thread, so its depth, drill, wall and steps are that bush's.
"""

from __future__ import annotations

from repairs.methods.plain_bush import operations
from repairs.methods.solid_bush import checks, depths, window

__all__ = ["CODE", "checks", "depths", "operations", "window"]

CODE = "oversize_insert"
