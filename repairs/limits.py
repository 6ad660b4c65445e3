"""The shop's own limits and its order of methods: defaults with their source, overruled by who and when."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal, InvalidOperation

from inventory.errors import Reason, Refused
from repairs.methods.values import DEFAULTS, ORDER, Limit, Limits
from repairs.models import ShopLimit

METHOD_ORDER = "method_order"
LONGEST_NUMBER = 20


def current() -> Limits:
    """The limits now in force; one query."""
    newest = {row.code: row for row in ShopLimit.objects.order_by("at", "id")}
    values = {
        code: (
            Limit(Decimal(newest[code].value), limit.unit, f"the shop's own setting, {newest[code].source}")
            if code in newest
            else limit
        )
        for code, limit in DEFAULTS.items()
    }
    order = tuple(newest[METHOD_ORDER].value.split()) if METHOD_ORDER in newest else ORDER
    return Limits(values=tuple(values.items()), order=order)


def change(*, code: str, value: str, source: str, by: str, as_of: datetime) -> ShopLimit:
    """Set one limit, or the order of methods (codes with a space between), for all plans from now on.

    Raises `Refused("limit_unknown" | "limit_unreadable")`.
    """
    if code == METHOD_ORDER:
        named = value.split()
        if sorted(named) != sorted(ORDER):
            raise Refused(Reason("limit_unreadable", code=code, typed=value, wanted=" ".join(ORDER)))
        value = " ".join(named)
    elif code not in DEFAULTS:
        raise Refused(Reason("limit_unknown", code=code, known=(*DEFAULTS, METHOD_ORDER)))
    else:
        try:
            number = Decimal(value.replace(",", "."))
        except InvalidOperation:
            number = Decimal("nan")
        if not number.is_finite() or number < 0 or len(value) > LONGEST_NUMBER:
            raise Refused(Reason("limit_unreadable", code=code, typed=value, wanted=DEFAULTS[code].unit))
        value = str(number)
    return ShopLimit.objects.create(code=code, value=value, source=source, by=by, at=as_of)
