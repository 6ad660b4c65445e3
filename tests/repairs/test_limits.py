"""The shop's own limits: defaults hold until the shop says otherwise, and every change stays on record."""

from contextlib import suppress
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import Refused
from repairs import limits
from repairs.methods.values import DEFAULTS, ORDER, Limits
from repairs.models import ShopLimit
from tests.repairs.bench import Bench, chosen
from tests.repairs.test_whole_path import AFTER_WIRE, GROUP

pytestmark = pytest.mark.django_db


def _set(code: str, value: str, as_of: datetime, source: str = "the foreman") -> ShopLimit:
    return limits.change(code=code, value=value, source=source, by="Ida", as_of=as_of)


def test_without_a_setting_the_defaults_hold_and_one_query_tells() -> None:
    with CaptureQueriesContext(connection) as queries:
        assert limits.current() == Limits()
    assert len(queries) == 1


def test_the_newest_setting_holds_with_its_source_and_the_older_stay_on_record(as_of: datetime) -> None:
    _set("scrap", "20", as_of)
    _set("scrap", "7,5", as_of - timedelta(days=1), source="an old note entered late")
    _set("scrap", "15", as_of)
    found = limits.current()
    assert found["scrap"] == Decimal(15)
    assert found.source("scrap") == "the shop's own setting, the foreman"
    assert found["bite_least"] == DEFAULTS["bite_least"].value
    assert found.source("bite_least") == "rule of thumb"
    kept = ShopLimit.objects.order_by("id").values_list("value", "source", "by")
    assert list(kept) == [
        ("20", "the foreman", "Ida"),
        ("7.5", "an old note entered late", "Ida"),
        ("15", "the foreman", "Ida"),
    ]


@pytest.mark.parametrize("value", ["", "much", "-1", "nan", "inf", "1 2", "1.2.3", "1" + "0" * 300])
def test_a_value_that_is_no_number_of_nought_or_more_is_refused(value: str, as_of: datetime) -> None:
    with pytest.raises(Refused) as refused:
        _set("scrap", value, as_of)
    assert (refused.value.reason.code, refused.value.reason["typed"]) == ("limit_unreadable", value)
    assert not ShopLimit.objects.exists()


def test_an_unknown_limit_is_refused_with_the_known_ones(as_of: datetime) -> None:
    with pytest.raises(Refused) as refused:
        _set("luck", "7", as_of)
    assert refused.value.reason.code == "limit_unknown"
    assert set(refused.value.reason["known"]) == {*DEFAULTS, limits.METHOD_ORDER, limits.SPINDLE}


@pytest.mark.parametrize("value", ["keyed_bush", "keyed_bush " * 4, " ".join([*ORDER, "glue"])])
def test_an_order_names_every_method_once(value: str, as_of: datetime) -> None:
    with pytest.raises(Refused) as refused:
        _set(limits.METHOD_ORDER, value, as_of)
    assert refused.value.reason.code == "limit_unreadable"


def test_the_order_of_methods_decides_which_is_planned_where_none_is_wished(bench: Bench) -> None:
    assert chosen(bench.plan(GROUP | {"method": ""})).startswith("wire_insert")
    order = ("flanged_bush", *(code for code in ORDER if code != "flanged_bush"))
    _set(limits.METHOD_ORDER, "  ".join(order), bench.as_of)
    assert limits.current().order == order
    assert chosen(bench.plan(GROUP | {"method": ""})).startswith("flanged_bush")


def test_a_limit_reaches_the_plan_and_shows_whose_it_is(bench: Bench) -> None:
    half = AFTER_WIRE | {"before_major": "15.2"}  # (16 - 15.2) / 2 over 0.5413 x 1.5: 49 % of fresh thread
    assert chosen(bench.plan(half)).startswith("flanged_bush M14x1.5 in M18x1.5")
    _set("bite_least", "45", bench.as_of)
    plan = bench.plan(half)
    assert chosen(plan).startswith("flanged_bush M14x1.5 in M16x1.5")
    bite = next(check.reason for check in plan.groups[0].checks if check.reason.code == "bite_fits")
    assert bite["source"] == "the shop's own setting, the foreman"


def test_an_order_of_before_there_were_so_many_methods_puts_the_new_ones_where_they_stand_by_themselves(
    as_of: datetime,
) -> None:
    ShopLimit.objects.create(
        code=limits.METHOD_ORDER, value="keyed_bush wire_insert", source="an old shop", by="Ida", at=as_of
    )
    order = limits.current().order
    assert sorted(order) == sorted(ORDER)
    assert order.index("chase") < order.index("wire_insert")
    assert order.index("keyed_bush") < order.index("wire_insert"), "what the shop said stays"
    assert order[-1] == "scrap_part"


@pytest.mark.parametrize(
    ("code", "value"),
    [
        ("torque_over", "0"),  # divided by
        ("torque_over", "0.9"),  # a thread that strips under its torque would pass
        ("bolt_over", "0"),
        ("nut_factor_least", "0"),
        ("friction_most", "2"),
        ("doubt_metal", "100"),
        ("bite_least", "101"),
        ("edge_comfortable", "1e999"),
        ("clearance_pitches", "1e30"),
    ],
)
def test_a_number_out_of_all_reason_is_refused_and_every_plan_stands(code: str, value: str, bench: Bench) -> None:
    with pytest.raises(Refused) as refused:
        _set(code, value, bench.as_of)
    assert refused.value.reason.code == "limit_out_of_bounds"
    assert bench.plan(GROUP).groups[0].chosen is not None


def test_a_plan_stands_with_every_limit_at_either_of_its_bounds(bench: Bench) -> None:
    told = GROUP | {"grade": "10.9", "alloy": "a380", "reach": "23"}
    for code in DEFAULTS:
        for value in limits.BOUNDS.get(code, (Decimal(0), limits.MOST)):
            with suppress(Refused):  # where the other end of its range is nearer
                _set(code, str(value), bench.as_of)
            bench.plan(told)
            bench.plan(told | {"grade": ""})
        _set(code, str(DEFAULTS[code].value), bench.as_of)


def test_the_least_of_a_range_never_comes_above_its_most(as_of: datetime) -> None:
    for code, value in (("nut_factor_least", "0.29"), ("friction_most", "0.09")):
        with pytest.raises(Refused) as refused:
            _set(code, value, as_of)
        assert refused.value.reason.code == "limit_crosses"
    _set("nut_factor_most", "0.35", as_of)
    assert _set("nut_factor_least", "0.29", as_of).value == "0.29"
