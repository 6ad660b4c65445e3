from decimal import Decimal
from pathlib import Path

import pytest

from inventory.threads import iso_965
from inventory.threads.iso_965 import preferred, tolerance
from inventory.threads.published import table

NAMES = sorted(path.stem for path in (Path(__file__).parents[3] / "inventory/threads/tables").glob("*.csv"))


@pytest.mark.parametrize("name", NAMES)
def test_every_table_names_its_standard_clause_and_unit(name: str) -> None:
    found = table(name)
    assert found.standard
    assert found.clause
    assert found.unit
    assert found.rows
    assert found.source == f"{found.standard}, {found.clause}"
    assert all(None not in row.values() and None not in row for row in found.rows)


@pytest.mark.parametrize("name", NAMES)
def test_every_row_says_how_it_is_known_or_the_table_says_that_it_is_common_practice(name: str) -> None:
    found = table(name)
    if "how" in found.rows[0]:
        assert found.how
        assert {row["how"] for row in found.rows} <= {"read", "memory", "library"}
        assert all(word in found.how for word in {row["how"] for row in found.rows})
    else:
        assert "common practice" in found.clause


def test_a_name_that_is_no_table_is_not_found() -> None:
    with pytest.raises(FileNotFoundError):
        table("no_such_standard")


def test_the_tolerance_table_names_each_value_once() -> None:
    rows = table("iso965_1").rows
    keys = [(row["quantity"], row["to"], row["pitch"], row["grade"]) for row in rows]
    assert len(keys) == len(set(keys))


def test_tabled_tolerances_lie_within_one_preferred_step_of_the_formula(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Guards the values that were written from memory against slips of the pen."""
    monkeypatch.setattr(iso_965, "_tabled", dict)
    for row in table("iso965_1").rows:
        pitch, size = Decimal(row["pitch"]), Decimal(row["to"] or 0)
        computed = tolerance(row["quantity"], pitch, row["grade"], size)
        assert computed is not None
        assert computed.how == "computed"
        um = Decimal(row["um"])
        near = {int(preferred(um * Decimal(factor))) for factor in ("0.945", "1", "1.06")}
        assert computed.um in near, row


NINE = [
    ("TD1", "", "0.5", 140, 132),
    ("TD1", "", "1", 236, 224),
    ("TD1", "", "2.5", 450, 425),
    ("es_g", "", "0.75", 22, 24),
    ("Td2", "5.6", "0.5", 75, 80),
    ("TD2", "5.6", "0.5", 100, 106),
    ("TD2", "11.2", "1.5", 180, 170),
    ("TD2", "22.4", "1.25", 180, 170),
    ("TD2", "22.4", "1.5", 190, 180),
]


@pytest.mark.parametrize(("quantity", "size", "pitch", "printed", "by_rule"), NINE)
def test_the_table_wins_where_the_standard_departs_from_its_rounding_rule(
    quantity: str, size: str, pitch: str, printed: int, by_rule: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    grade = "" if quantity == "es_g" else "6"
    arguments = (quantity, Decimal(pitch), grade, Decimal(size or 0))
    assert iso_965.tolerance(*arguments) == iso_965.Tolerance(printed, "read")
    monkeypatch.setattr(iso_965, "_tabled", dict)
    assert iso_965.tolerance(*arguments) == iso_965.Tolerance(by_rule, "computed")
