"""Solid plain bush: no flange stops it, so its family says what locates it and what locks it. PURE."""

from __future__ import annotations

from repairs.methods import solid_bush, steps
from repairs.methods.solid_bush import checks, depths, window
from repairs.methods.values import Step

__all__ = ["CODE", "checks", "depths", "operations", "window"]

CODE = "plain_bush"


def operations(fit: steps.Fit) -> tuple[Step, ...]:
    """Drill, deburr, tap, clean, gauge; wind in to what locates it, lock it, measure, gauge, prove.

    Where an adhesive locks it, cleaner and adhesive are needed in date and no oil may come on the outer
    thread [common practice]; any other lock is wound in with a little oil.

    >>> from repairs.methods import example
    >>> plain = example.bush(method="plain_bush", seat=None, seat_depth=0, flange=None, lock="adhesive")
    >>> [need.kind for step in operations(example.fit(plain)) for need in step.needs if need.quantity]
    ['cleaner', 'insert', 'adhesive']
    """
    return steps.in_order(
        fit,
        cutting=(solid_bush.drill(fit), steps.deburr(fit), steps.tap(fit)),
        cleaners=solid_bush.cleaners(fit),
        after=(solid_bush.wind_in(fit, fit.size.locate), solid_bush.lock(fit), *solid_bush.proved(fit)),
    )
