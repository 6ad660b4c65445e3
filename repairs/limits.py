"""The shop's own limits, its order of methods and its machine's speeds: defaults with their source, overruled by who
and when.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation

from inventory.errors import Reason, Refused
from repairs.methods.values import DEFAULTS, ORDER, Limit, Limits
from repairs.models import ShopLimit

METHOD_ORDER = "method_order"
SPINDLE = "spindle_steps"
LONGEST_NUMBER = 20
MOST_STEPS, FASTEST = 60, 100_000  # of a machine's speeds: how many there may be, and the fastest in rpm

# From what to what a limit is sense; beyond it is a slip of the pen, and some are divided by. Others: from nought.
MOST = Decimal(1000)
BOUNDS: dict[str, tuple[Decimal, Decimal]] = {
    "torque_over": (Decimal(1), Decimal(10)),
    "bolt_over": (Decimal(1), Decimal(10)),
    "nut_factor_least": (Decimal("0.01"), Decimal(1)),
    "nut_factor_most": (Decimal("0.01"), Decimal(1)),
    "friction_least": (Decimal("0.01"), Decimal(1)),
    "friction_most": (Decimal("0.01"), Decimal(1)),
    "doubt_torque": (Decimal(0), Decimal(90)),
    "doubt_metal": (Decimal(0), Decimal(90)),
    "bite_least": (Decimal(0), Decimal(100)),
    "scrap": (Decimal(0), Decimal(100)),
}
RANGES = (("nut_factor_least", "nut_factor_most"), ("friction_least", "friction_most"))


def current() -> Limits:
    """The limits now in force; one query."""
    newest = last_set()
    values = {
        code: (
            Limit(Decimal(newest[code].value), limit.unit, f"the shop's own setting, {newest[code].source}")
            if code in newest
            else limit
        )
        for code, limit in DEFAULTS.items()
    }
    ranked = tuple(newest[METHOD_ORDER].value.split()) if METHOD_ORDER in newest else ORDER
    order = _with_all(ranked)
    steps = newest[SPINDLE].value.split() if SPINDLE in newest else ()
    return Limits(values=tuple(values.items()), order=order, spindle=tuple(int(step) for step in steps))


def _with_all(ranked: Sequence[str]) -> tuple[str, ...]:
    """An order of before there were so many methods: each new one stands before what follows it by itself."""
    order = [code for code in ranked if code in ORDER]
    for at, code in reversed(list(enumerate(ORDER))):
        if code not in order:
            after = next((order.index(later) for later in ORDER[at + 1 :] if later in order), len(order))
            order.insert(after, code)
    return tuple(order)


def last_set() -> dict[str, ShopLimit]:
    """The row that holds for each code that was ever set: who set it, when and why; one query."""
    return {row.code: row for row in ShopLimit.objects.order_by("at", "id")}


def change(*, code: str, value: str, source: str, by: str, as_of: datetime) -> ShopLimit:
    """Set one limit, the order of methods (codes with a space between) or the spindle steps, for all plans from now on.

    Spindle steps are rpm with spaces or commas between, in any order; none at all: the spindle runs at any speed.
    Raises `Refused` with limit_unknown, limit_unreadable, limit_out_of_bounds, limit_crosses, spindle_unreadable.
    """
    if code == METHOD_ORDER:
        named = value.split()
        if sorted(named) != sorted(ORDER):
            raise Refused(Reason("limit_unreadable", code=code, typed=value, wanted=" ".join(ORDER)))
        value = " ".join(named)
    elif code == SPINDLE:
        value = " ".join(str(step) for step in _steps(value))
    elif code not in DEFAULTS:
        raise Refused(Reason("limit_unknown", code=code, known=(*DEFAULTS, METHOD_ORDER, SPINDLE)))
    else:
        try:
            number = Decimal(value.replace(",", "."))
        except InvalidOperation:
            number = Decimal("nan")
        if not number.is_finite() or number < 0 or len(value) > LONGEST_NUMBER:
            raise Refused(Reason("limit_unreadable", code=code, typed=value, wanted=DEFAULTS[code].unit))
        least, most = BOUNDS.get(code, (Decimal(0), MOST))
        if not least <= number <= most:
            raise Refused(Reason("limit_out_of_bounds", typed=value, least=f"{least}", most=f"{most}"))
        _uncrossed(code, number)
        value = str(number)
    return ShopLimit.objects.create(code=code, value=value, source=source, by=by, at=as_of)


def _uncrossed(code: str, number: Decimal) -> None:
    """Raises `Refused("limit_crosses")` where the lower end of a range would come above its upper one."""
    for ends in (each for each in RANGES if code in each):
        (other,) = (end for end in ends if end != code)
        now = current()[other]
        if (number > now) if code == ends[0] else (number < now):
            raise Refused(Reason("limit_crosses", typed=f"{number}", other=f"{now.normalize():f}"))


def _steps(typed: str) -> list[int]:
    named = typed.replace(",", " ").replace(";", " ").split()
    if not all(step.isdecimal() and len(step) < 7 and 0 < int(step) <= FASTEST for step in named):
        raise Refused(Reason("spindle_unreadable", typed=typed[:80]))
    if len(named) > MOST_STEPS:
        raise Refused(Reason("spindle_unreadable", typed=typed[:80]))
    return sorted({int(step) for step in named})
