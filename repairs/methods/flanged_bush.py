"""Solid flanged bush: its flange stops it in a seat, its lock is most often the wall forced out by expansion.
PURE.
"""

from __future__ import annotations

from repairs.methods import solid_bush, steps
from repairs.methods.solid_bush import checks, depths, window
from repairs.methods.values import Step

__all__ = ["CODE", "checks", "depths", "operations", "window"]

CODE = "flanged_bush"


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Drill, deburr, seat, tap, clean, gauge; wind in with a little oil, lock, measure, gauge, prove.

    A family that locks it by an adhesive gets cleaner and adhesive in place of the oil, as a plain bush does.
    Locked by expansion the setting tool turns on once the flange is seated, finishes the lowest inner threads
    and passes out at the bottom [common practice]; that is the same tool, so the lock needs nothing more.

    >>> from repairs.methods import example
    >>> print(*(step.code for step in operations(example.fit())))
    clamp drill deburr seat tap clean hole_gauge wind_in lock set_down final_gauge torque
    """
    wind_in = solid_bush.wind_in(fit, fit.size.locate or "flange")
    return steps.in_order(
        fit,
        cutting=(solid_bush.drill(fit), steps.deburr(fit), steps.seat(fit), steps.tap(fit)),
        cleaners=solid_bush.cleaners(fit),
        after=(wind_in, solid_bush.lock(fit), *solid_bush.proved(fit)),
    )
