"""What the database itself refuses about repairs, tried by raw SQL past every act; no guard goes missing unseen."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core import checks
from django.db import IntegrityError, connection, models, transaction

from inventory import guards
from repairs.models import (
    APPEND_ONLY,
    Card,
    Family,
    FamilySize,
    Hole,
    HoleGroup,
    Job,
    Kit,
    Part,
    Position,
    Proof,
    ShopLimit,
    StepSign,
)
from tests.factories import SiteFactory

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
TUESDAY = datetime(2026, 3, 3, 8, 0, tzinfo=UTC)


def _rows() -> dict[type[models.Model], models.Model]:
    """One row of every table."""
    family = Family.objects.create(code="own", edition="1", method="plain_bush", standing="house", source="drawing 1")
    size = FamilySize.objects.create(
        family=family, inner="M|8", outer="M|10", length=8_000_000, drill_least=1, drill_most=2
    )
    part = Part.objects.create(owner="Test", name="Casing")
    position = Position.objects.create(part=part, label="1")
    job = Job.objects.create(number="J-1", site=SiteFactory.create(), owner="Test", start=MONDAY, end=TUESDAY)
    group = HoleGroup.objects.create(
        job=job, part=part, code="A", thread="M|8", as_typed="M8", start=MONDAY, end=TUESDAY
    )
    hole = Hole.objects.create(group=group, position=position)
    rows: list[models.Model] = [family, size, part, position, job, group, hole]
    rows += [
        Proof.objects.create(
            hole=hole, at=MONDAY, by="Ida", thread="M|10", bite=Decimal("92.4"), result="proved", request_key="p"
        ),
        StepSign.objects.create(hole=hole, step="drill", at=MONDAY, by="Ida", request_key="s"),
        Card.objects.create(
            job=job, number=1, plan={"a": 1}, schema_version=1, digest="d", by="Ida", at=MONDAY, request_key="c"
        ),
        Kit.objects.create(job=job, at=MONDAY, asked=9, filled=8),
        ShopLimit.objects.create(code="scrap", value="5", source="the foreman", by="Ida", at=MONDAY),
    ]
    return {type(row): row for row in rows}


@pytest.fixture
def rows(db: None) -> dict[type[models.Model], models.Model]:
    return _rows()


def _execute(statement: str, values: list[Any] | None = None) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values or [])


def _copy(row: models.Model, **changes: Any) -> None:
    """Insert this row once more by raw SQL, with other values where they are given; "=start" is that column's."""
    table, quote = row._meta.db_table, connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {quote(table)} WHERE id = %s", [row.pk])
        columns = [column.name if hasattr(column, "name") else column[0] for column in cursor.description]
        found = dict(zip(columns, cursor.fetchone(), strict=True))
    assert set(changes) <= set(found), set(changes) - set(found)
    changes = {name: found[value[1:]] if str(value).startswith("=") else value for name, value in changes.items()}
    found = {name: value for name, value in (found | changes).items() if name != "id"}
    names, marks = ", ".join(map(quote, found)), ", ".join(["%s"] * len(found))
    _execute(f"INSERT INTO {quote(table)} ({names}) VALUES ({marks})", list(found.values()))


def _code(error: pytest.ExceptionInfo[IntegrityError]) -> str:
    reason = guards.refusal(error.value)
    assert reason is not None, error.value
    return reason.code


NO_DRILL = {"drill_least": None, "drill_most": None}


@pytest.mark.parametrize(
    ("model", "changes", "code"),
    [
        (Family, {}, "family_edition_once"),
        (FamilySize, {}, "family_size_once"),
        (FamilySize, {"length": 0}, "family_size_length_positive"),
        (FamilySize, {"length": 9, "drill_least": 3, "drill_most": 2}, "family_size_drill_window"),
        (Position, {}, "position_once"),
        (Job, {}, "job_number_taken"),
        (Job, {"number": "J-2", "end": "=start"}, "job_ends_after_start"),
        (HoleGroup, {}, "hole_group_once"),
        (HoleGroup, {"code": "B", "end": "=start"}, "hole_group_ends_after_start"),
        (Hole, {}, "hole_once"),
        (Card, {"request_key": None}, "card_number_once"),
        (Card, {"number": 2}, "card_asked_once"),
        (Proof, {}, "proof_once"),
        (Proof, {"request_key": "q", "result": "failed"}, "proof_failed_says_what"),
        (Proof, {"request_key": "q", "result": "signed"}, "proof_signed_says_why"),
        (StepSign, {}, "step_sign_once"),
        (StepSign, {"request_key": "q", "by": ""}, "step_sign_by_somebody"),
        (Kit, {"filled": 10}, "kit_filled_within_asked"),
    ],
    ids=lambda value: value if isinstance(value, str) else getattr(value, "__name__", ""),
)
def test_a_row_against_a_rule_is_refused_by_the_name_of_the_rule(
    rows: dict[type[models.Model], models.Model], model: type[models.Model], changes: dict[str, Any], code: str
) -> None:
    with pytest.raises(IntegrityError) as error:
        _copy(rows[model], **changes)
    assert _code(error) == code
    assert model._default_manager.count() == 1


@pytest.mark.parametrize(
    ("model", "changes"),
    [
        (Family, {"edition": "2"}),
        (FamilySize, {"length": 9_000_000, **NO_DRILL}),
        (FamilySize, {"outer": "M|12", "drill_least": 2, "drill_most": 2}),
        (Position, {"label": "2"}),
        (Job, {"number": "J-2"}),
        (HoleGroup, {"code": "B", "start": None, "end": None}),
        (Card, {"number": 2, "request_key": None}),
        (Proof, {"request_key": "q"}),
        (Proof, {"request_key": None, "result": "signed", "why": "the maker's letter of 3 March"}),
        (StepSign, {"request_key": None, "withdrawn": True}),
        (Kit, {"filled": 9}),
        (ShopLimit, {}),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_a_row_within_the_rules_is_taken(
    rows: dict[type[models.Model], models.Model], model: type[models.Model], changes: dict[str, Any]
) -> None:
    _copy(rows[model], **changes)
    assert model._default_manager.count() == 2


@pytest.mark.parametrize(("one", "other"), [("start", "end"), ("end", "start")])
def test_half_a_window_of_a_group_is_none(rows: dict[type[models.Model], models.Model], one: str, other: str) -> None:
    with pytest.raises(IntegrityError) as error:
        _copy(rows[HoleGroup], code="B", **{one: None})
    assert _code(error) == "hole_group_ends_after_start"


@pytest.mark.parametrize("column", ["drill_least", "drill_most"])
def test_half_a_drill_window_is_none(rows: dict[type[models.Model], models.Model], column: str) -> None:
    with pytest.raises(IntegrityError) as error:
        _copy(rows[FamilySize], length=9_000_000, **{column: None})
    assert _code(error) == "family_size_drill_window"


@pytest.mark.parametrize("model", APPEND_ONLY, ids=lambda model: model.__name__)
def test_what_is_only_added_to_can_be_neither_changed_nor_taken_away(
    rows: dict[type[models.Model], models.Model], model: type[models.Model]
) -> None:
    table = model._meta.db_table
    column = connection.ops.quote_name(next(field.column for field in model._meta.fields if field.name != "id"))
    for statement in (f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"):
        with pytest.raises(IntegrityError) as error:
            _execute(statement)
        assert _code(error) == f"{table}_append_only"
    with pytest.raises(IntegrityError), transaction.atomic():
        rows[model].save()
    assert model._default_manager.count() == 1


@pytest.mark.only_on("sqlite")
@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize("model", APPEND_ONLY, ids=lambda model: model.__name__)
def test_no_row_that_is_only_added_to_can_be_replaced(model: type[models.Model]) -> None:
    table = model._meta.db_table
    with pytest.raises(IntegrityError, match=rf"UNIQUE constraint failed: {table}\."):
        _execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")
    others = [field for field in model._meta.fields if field.name != "id"]
    sole = [each for each in model._meta.constraints if isinstance(each, models.UniqueConstraint)]
    for constraint in sole:  # the same but for its id and its other unique keys: it meets the row at this one alone
        elsewhere = {name for each in sole if each is not constraint for name in each.fields} - {*constraint.fields}
        names = ", ".join(connection.ops.quote_name(field.column) for field in others)
        values = ", ".join(
            f"{connection.ops.quote_name(field.column)} || '1'" if field.name in elsewhere
            else connection.ops.quote_name(field.column)
            for field in others
        )  # fmt: skip
        with pytest.raises(IntegrityError) as error:
            _execute(f"INSERT OR REPLACE INTO {table} ({names}) SELECT {values} FROM {table}")
        assert _code(error) == constraint.name


@pytest.mark.only_on("postgresql")
@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize("model", APPEND_ONLY, ids=lambda model: model.__name__)
def test_no_table_that_is_only_added_to_can_be_emptied_at_one_stroke(model: type[models.Model]) -> None:
    table = model._meta.db_table
    _execute("SET CONSTRAINTS ALL IMMEDIATE")
    with pytest.raises(IntegrityError) as error:
        _execute(f"TRUNCATE {table} CASCADE")
    assert _code(error).endswith("_append_only")


@pytest.mark.django_db(transaction=True)
def test_a_missing_guard_of_repairs_fails_the_system_check_by_name() -> None:
    tables = {model._meta.db_table for model in APPEND_ONLY}
    laid = [guard for guard in guards.registered() if guard.table in tables]
    assert {guard.table for guard in laid} == tables
    for piece in [piece for guard in laid for piece in guard.pieces[connection.vendor]]:
        for statement in piece.lift:
            _execute(statement)
        found = checks.run_checks(databases=["default"], tags=[checks.Tags.database])
        assert [(message.id, piece.name in message.msg) for message in found] == [("inventory.E001", True)]
        guards.lay(connection)
        assert guards.missing(connection) == []
