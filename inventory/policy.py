"""What the crib has settled for itself: service level, how far ahead it looks, what counts as dead stock; with who,
when and why. Defaults are common practice without a source, and the shop's to change.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.models import CribSetting
from inventory.reordering import Terms

LONGEST_NUMBER = 12


@dataclass(frozen=True, slots=True)
class Settled:
    """One setting: what holds where nobody set it, from what to what it is sense, how many decimals it may have."""

    default: Decimal
    least: Decimal
    most: Decimal
    unit: str
    decimals: int = 0


def _whole(default: int, least: int, most: int, unit: str) -> Settled:
    return Settled(Decimal(default), Decimal(least), Decimal(most), unit)


SETTINGS: dict[str, Settled] = {
    "service": Settled(Decimal(95), Decimal(50), Decimal("99.9"), "percent", 1),
    "history_days": _whole(365, 30, 3650, "days"),
    "least_days": _whole(90, 14, 3650, "days"),
    "least_uses": _whole(5, 2, 1000, "days_of_use"),
    "order_cost": Settled(Decimal(12), Decimal(0), Decimal(1000), "money", 2),
    "hold_rate": Settled(Decimal(20), Decimal(1), Decimal(200), "percent_a_year", 1),
    "ahead_days": _whole(30, 1, 365, "days"),
    "slow_days": _whole(180, 14, 3650, "days"),
    "dead_days": _whole(365, 30, 3650, "days"),
}
# The first of a pair must not be more than the second.
PAIRS = (("slow_days", "dead_days"), ("least_days", "history_days"))


def current() -> dict[str, Decimal]:
    """What holds now, by code. One query."""
    newest = last_set()
    return {
        code: Decimal(newest[code].value) if code in newest else setting.default for code, setting in SETTINGS.items()
    }


def last_set() -> dict[str, CribSetting]:
    """The row that holds for each code that was ever set: who set it, when and why. One query."""
    return {row.code: row for row in CribSetting.objects.order_by("id")}


def terms(now: dict[str, Decimal]) -> Terms:
    """What reordering reckons with; the cost of an order in minor units."""
    return Terms(
        service=Fraction(now["service"]) / 100,
        least_days=int(now["least_days"]),
        least_uses=int(now["least_uses"]),
        order_cost=int(now["order_cost"] * 100),
        hold_rate=Fraction(now["hold_rate"]) / 100,
    )


def settle(*, code: str, value: str, why: str, by: Any, as_of: datetime) -> CribSetting:
    """Settle one thing anew, from now on.

    Raises `Refused`: crib_setting_unknown, crib_setting_unreadable, crib_setting_crosses, crib_setting_says_why.
    """
    setting = SETTINGS.get(code)
    if setting is None:
        raise Refused(Reason("crib_setting_unknown", code=code, known=tuple(SETTINGS)))
    try:
        number = Decimal(value.strip().replace(",", ".")) if len(value) <= LONGEST_NUMBER else Decimal("nan")
    except InvalidOperation:
        number = Decimal("nan")
    if not number.is_finite() or not setting.least <= number <= setting.most or _decimals(number) > setting.decimals:
        raise Refused(
            Reason(
                "crib_setting_unreadable", typed=value[:40], least=f"{setting.least}", most=f"{setting.most}",
                digits=setting.decimals,
            )
        )  # fmt: skip
    with act():
        now = current() | {code: number}
        for low, high in PAIRS:
            if code in (low, high) and now[low] > now[high]:
                raise Refused(Reason("crib_setting_crosses", low=low, low_days=int(now[low]), high_days=int(now[high])))
        return CribSetting.objects.create(code=code, value=f"{number.normalize():f}", why=why, by=str(by), at=as_of)


def _decimals(number: Decimal) -> int:
    exponent = number.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0
