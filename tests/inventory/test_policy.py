"""What the crib has settled for itself: in bounds, with who, when and why, the newest holding."""

from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from inventory import policy
from inventory.errors import Refused
from inventory.models import CribSetting

pytestmark = pytest.mark.django_db

ENTRY: dict[str, Any] = {"by": "Bram", "as_of": datetime(2026, 6, 1, 12, 0, tzinfo=UTC)}


def test_where_nobody_settled_anything_common_practice_holds() -> None:
    assert policy.current() == {code: setting.default for code, setting in policy.SETTINGS.items()}
    assert policy.terms(policy.current()).service == Fraction(95, 100)


def test_the_newest_holds_and_tells_who_and_why() -> None:
    policy.settle(code="service", value="97,5", why="a pump stood still", **ENTRY)
    policy.settle(code="service", value="98", why="again", **ENTRY)
    assert policy.current()["service"] == Decimal(98)
    assert policy.last_set()["service"].why == "again"
    assert CribSetting.objects.count() == 2


@pytest.mark.parametrize(
    ("code", "value", "refused"),
    [
        ("service", "100", "crib_setting_unreadable"), ("service", "49.9", "crib_setting_unreadable"),
        ("service", "95.25", "crib_setting_unreadable"), ("service", "many", "crib_setting_unreadable"),
        ("least_days", "90.5", "crib_setting_unreadable"), ("ahead_days", "nan", "crib_setting_unreadable"),
        ("ahead_days", "9" * 40, "crib_setting_unreadable"), ("colour", "1", "crib_setting_unknown"),
        ("slow_days", "366", "crib_setting_crosses"), ("history_days", "60", "crib_setting_crosses"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused(code: str, value: str, refused: str) -> None:
    with pytest.raises(Refused, match=refused):
        policy.settle(code=code, value=value, why="x", **ENTRY)
    assert not CribSetting.objects.exists()


def test_each_says_why() -> None:
    with pytest.raises(Refused, match="crib_setting_says_why"):
        policy.settle(code="service", value="97", why="", **ENTRY)
