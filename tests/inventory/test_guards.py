"""What the database itself refuses, tried by raw SQL past every act; and no guard goes missing unseen."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core import checks
from django.core.management import call_command
from django.db import DatabaseError, IntegrityError, connection, transaction

from inventory import catalogue, guards, stock
from inventory.errors import Refused
from inventory.models import BatchHold, Bin, Item, Movement, Reservation, Unit, UnitHold
from inventory.wording import SENTENCES
from tests.factories import BatchFactory, BinFactory, ItemFactory, UnitFactory

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


def _execute(statement: str, values: list[Any] | None = None) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values or [])


def _refused_as(name: str, statement: str, values: list[Any] | None = None) -> None:
    with pytest.raises(IntegrityError) as error:
        _execute(statement, values)
    reason = guards.refusal(error.value)
    assert reason is not None
    assert reason.code == name


def _hold(unit: Unit, start: datetime, end: datetime, *, active: bool = True) -> UnitHold:
    reservation = Reservation.objects.create(label="J-1", at=MONDAY, by="test")
    return UnitHold.objects.create(reservation=reservation, unit=unit, start=start, end=end, active=active)


# The ledger


def test_a_line_of_the_ledger_can_be_neither_changed_nor_taken_away() -> None:
    UnitFactory.create()
    name = "inventory_movement_append_only"
    _refused_as(name, "UPDATE inventory_movement SET quantity = 5")
    _refused_as(name, "UPDATE inventory_movement SET reason = reason")
    _refused_as(name, "DELETE FROM inventory_movement")
    with pytest.raises(IntegrityError), transaction.atomic():
        Movement.objects.all().delete()
    assert list(Movement.objects.values_list("quantity", flat=True)) == [1]


@pytest.mark.only_on("sqlite")
def test_no_line_of_the_ledger_can_be_replaced_by_another() -> None:
    unit = UnitFactory.create()
    line = unit.movements.get()
    _execute(
        "INSERT INTO inventory_movement "
        "(request_key, at, by, act, unit_id, quantity, holes, extra_wear, wear_ahead, regrinds, condition, "
        "label, reason) "
        "SELECT 'k', at, by, act, unit_id, quantity, holes, 0, 0, 0, condition, label, reason FROM inventory_movement"
    )
    for key, value in (("id", f"{line.pk}"), ("request_key", "'k'")):
        with pytest.raises(IntegrityError):
            _execute(
                f"INSERT OR REPLACE INTO inventory_movement "
                f"({key}, at, by, act, unit_id, quantity, holes, extra_wear, wear_ahead, regrinds, condition, "
                f"label, reason) VALUES ({value}, '{MONDAY}', 'x', 'used', {unit.pk}, 9, 0, 0, 0, 0, '', '', '')"
            )
    assert Movement.objects.count() == 2
    assert not Movement.objects.filter(quantity=9).exists()


@pytest.mark.only_on("postgresql")
@pytest.mark.django_db(transaction=True)
def test_the_ledger_cannot_be_emptied_at_one_stroke() -> None:
    UnitFactory.create()
    _refused_as("inventory_movement_append_only", "TRUNCATE inventory_movement CASCADE")


@pytest.mark.only_on("postgresql")
@pytest.mark.django_db(transaction=True)
def test_no_table_of_the_crib_that_is_only_added_to_can_be_emptied_at_one_stroke() -> None:
    only_added_to = [guard.table for guard in guards.registered() if guard.name == f"{guard.table}_append_only"]
    ours = [table for table in only_added_to if table.startswith("inventory_")]
    assert {"inventory_movement", "inventory_countentry", "inventory_itemchange"} <= {*ours}
    for table in ours:
        with pytest.raises(IntegrityError, match="_append_only"):
            _execute(f"TRUNCATE {table} CASCADE")


def test_what_a_movement_says_of_wear_regrinds_and_diameter_cannot_be_changed() -> None:
    UnitFactory.create()
    for change in ("extra_wear = 1", "regrinds = 1", "diameter = 1", "act = 'calibrated'"):
        _refused_as("inventory_movement_append_only", f"UPDATE inventory_movement SET {change}")


def test_a_repeated_request_key_is_named_as_such() -> None:
    unit = UnitFactory.create(request_key="k")
    with pytest.raises(IntegrityError) as error, transaction.atomic():
        Movement.objects.create(at=MONDAY, by="x", act="used", unit=unit, request_key="k")
    reason = guards.refusal(error.value)
    assert reason is not None
    assert reason.code == "movement_request_key_taken"


# Holds


def test_two_active_holds_of_one_unit_cannot_overlap() -> None:
    unit = UnitFactory.create()
    _hold(unit, MONDAY, MONDAY + 2 * HOUR)
    later = _hold(unit, MONDAY + 2 * HOUR, MONDAY + 4 * HOUR)  # touching is allowed
    released = _hold(unit, MONDAY, MONDAY + 4 * HOUR, active=False)
    _refused_as("unit_hold_overlap", "UPDATE inventory_unithold SET active = %s WHERE id = %s", [True, released.pk])
    _refused_as(
        "unit_hold_overlap",
        'UPDATE inventory_unithold SET "start" = %s WHERE id = %s',
        [MONDAY + HOUR, later.pk],
    )
    other = UnitFactory.create()
    elsewhere = _hold(other, MONDAY + HOUR, MONDAY + 3 * HOUR)
    _refused_as(
        "unit_hold_overlap",
        "UPDATE inventory_unithold SET unit_id = %s WHERE id = %s",
        [unit.pk, elsewhere.pk],
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        UnitHold.objects.bulk_create(
            UnitHold(
                reservation=Reservation.objects.create(label="J-2", at=MONDAY, by="test"),
                unit=other,
                start=MONDAY + 4 * HOUR,
                end=MONDAY + 6 * HOUR,
            )
            for _ in range(2)
        )


@pytest.mark.parametrize("written", ["2026-03-02T09:00:00Z", "2026-03-02 10:00:00+01:00"])
def test_an_instant_written_otherwise_by_hand_is_still_seen(written: str) -> None:
    unit = UnitFactory.create()
    hold = _hold(unit, MONDAY, MONDAY + 2 * HOUR)
    _refused_as(
        "unit_hold_overlap",
        'INSERT INTO inventory_unithold (reservation_id, unit_id, "start", "end", holes, active, shorted) '
        "VALUES (%s, %s, %s, '2026-03-02T23:00:00Z', 0, %s, %s)",
        [Reservation.objects.create(label="J-2", at=MONDAY, by="x").pk, unit.pk, written, True, False],
    )
    assert UnitHold.objects.get() == hold


def test_a_hold_cannot_end_where_it_starts() -> None:
    hold = _hold(UnitFactory.create(), MONDAY, MONDAY + HOUR)
    _refused_as("unit_hold_ends_after_start", 'UPDATE inventory_unithold SET "end" = "start" WHERE id = %s', [hold.pk])


# Balances


def test_a_batch_cannot_be_held_beyond_what_is_on_hand() -> None:
    batch = BatchFactory.create(quantity=3)
    for column, name in (
        ("held = 4", "batch_held_within_on_hand"),
        ("held = -1", "batch_held_not_negative"),
        ("on_hand = -1", "batch_held_within_on_hand"),
    ):
        _refused_as(name, f"UPDATE inventory_batch SET {column} WHERE id = {batch.pk}")


def test_a_unit_cannot_have_less_than_no_wear_regrinds_or_diameter() -> None:
    unit = UnitFactory.create(holes_cut=3)
    for column, name in (
        ("holes_cut = -1", "unit_holes_not_negative"),
        ("extra_wear = -4", "unit_wear_not_negative"),
        ("wear_ahead = 100", "unit_wear_ahead_within_a_hole"),
        ("regrinds = -1", "unit_regrinds_not_negative"),
        ("own_diameter = 0", "unit_diameter_positive"),
    ):
        _refused_as(name, f"UPDATE inventory_unit SET {column} WHERE id = {unit.pk}")
    _execute(f"UPDATE inventory_unit SET extra_wear = -3 WHERE id = {unit.pk}")  # a soft metal took next to nothing


def test_no_more_is_issued_against_a_hold_than_it_keeps() -> None:
    batch = BatchFactory.create(quantity=5)
    reservation = Reservation.objects.create(label="J-1", at=MONDAY, by="test")
    hold = BatchHold.objects.create(reservation=reservation, batch=batch, start=MONDAY, quantity=4, short=1)
    for issued in (-1, 4):
        _refused_as(
            "batch_hold_issued_within_quantity",
            f"UPDATE inventory_batchhold SET issued = {issued} WHERE id = {hold.pk}",
        )


def test_a_life_factor_is_of_a_material_and_more_than_nothing() -> None:
    item = ItemFactory.create()
    insert = f"INSERT INTO inventory_lifefactor (item_id, material, percent) VALUES ({item.pk}, %s, %s)"
    _refused_as("life_factor_positive", insert, ["steel", 0])
    _refused_as("life_factor_of_a_material", insert, ["", 100])
    _execute(insert, ["steel", 100])
    _refused_as("life_factor_twice", insert, ["steel", 150])


def test_a_movement_is_of_exactly_one_thing() -> None:
    batch = BatchFactory.create()
    for columns, values in (("", ""), (", unit_id, batch_id", f", {UnitFactory.create().pk}, {batch.pk}")):
        _refused_as(
            "movement_of_one_thing",
            f"INSERT INTO inventory_movement "
            f"(at, by, act, quantity, holes, extra_wear, wear_ahead, regrinds, condition, label, reason{columns}) "
            f"VALUES ('{MONDAY}', 'x', 'used', 1, 0, 0, 0, 0, '', '', ''{values})",
        )


def test_a_link_leads_nowhere_but_to_this_site() -> None:
    for link in ("https://elsewhere.example/", "//elsewhere.example/", "jobs/1"):
        with pytest.raises(IntegrityError) as error, transaction.atomic():
            Reservation.objects.create(label="J-1", link=link, at=MONDAY, by="x")
        reason = guards.refusal(error.value)
        assert reason is not None
        assert reason.code == "reservation_link_on_this_site"


# One place that names what was refused


def test_every_refusal_of_the_tables_is_named_and_its_sentence_known() -> None:
    unit = UnitFactory.create(tag="T-1")
    with pytest.raises(Refused) as refused, guards.act():
        Unit.objects.create(item=unit.item, tag="T-1", bin=unit.bin)
    assert refused.value.reason.code == "tag_taken"
    with pytest.raises(Refused) as refused, guards.act():
        Bin.objects.create(site=unit.bin.site, name=unit.bin.name)
    assert refused.value.reason.code == "bin_name_taken"


def test_a_broken_key_is_a_mistake_in_the_program_and_not_an_answer() -> None:
    with pytest.raises(IntegrityError), guards.act():
        Item.objects.create(kind="drill", name=None)


def test_a_rule_brings_its_sentence_to_forms() -> None:
    unit = UnitFactory.create()
    unit.holes_cut = -1
    with pytest.raises(Exception, match=r"Holes cut must not be negative") as error:
        unit.full_clean()
    assert type(error.value).__name__ == "ValidationError"
    assert SENTENCES["unit_holes_not_negative"] in str(error.value)


def test_no_two_unique_constraints_stand_on_the_same_columns() -> None:
    from django.apps import apps
    from django.db.models import UniqueConstraint

    columns = [
        (model._meta.label, constraint.fields)
        for model in apps.get_models()
        for constraint in model._meta.constraints
        if isinstance(constraint, UniqueConstraint)
    ]
    assert len(columns) == len(set(columns))


# Missing guards


def test_all_guards_stand_and_laying_them_again_changes_nothing() -> None:
    assert guards.missing(connection) == []
    guards.lay(connection)
    assert guards.missing(connection) == []
    assert checks.run_checks(databases=["default"], tags=[checks.Tags.database]) == []


@pytest.mark.django_db(transaction=True)
def test_a_missing_guard_fails_the_system_check_by_name() -> None:
    tables = connection.introspection.table_names()
    laid = [guard for guard in guards.registered() if guard.table in tables]
    pieces = [piece for guard in laid for piece in guard.pieces[connection.vendor]]
    assert len(pieces) >= 3
    for piece in pieces:
        for statement in piece.lift:
            _execute(statement)
        assert guards.missing(connection) == [piece.name]
        found = checks.run_checks(databases=["default"], tags=[checks.Tags.database])
        assert [message.id for message in found] == ["inventory.E001"]
        assert piece.name in found[0].msg
        with pytest.raises(Exception, match="is missing"):
            call_command("check", databases=["default"])
        guards.lay(connection)
        assert guards.missing(connection) == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    "broken",
    [
        pytest.param(
            [
                "DROP TRIGGER inventory_movement_append_only_update",
                "CREATE TRIGGER inventory_movement_append_only_update BEFORE UPDATE ON inventory_movement "
                "BEGIN SELECT 1; END",
            ],
            marks=pytest.mark.only_on("sqlite"),
        ),
        *(
            pytest.param(broken, marks=pytest.mark.only_on("postgresql"))
            for broken in (
                ["ALTER TABLE inventory_movement DISABLE TRIGGER inventory_movement_append_only_row"],
                ["CREATE OR REPLACE FUNCTION guard_refuses() RETURNS trigger LANGUAGE plpgsql AS "
                 "$$BEGIN RETURN COALESCE(NEW, OLD); END$$"],
                ["CREATE OR REPLACE TRIGGER inventory_movement_append_only_row BEFORE UPDATE ON inventory_movement "
                 "FOR EACH ROW EXECUTE FUNCTION guard_refuses('inventory_movement_append_only')"],
                ["CREATE OR REPLACE TRIGGER inventory_movement_append_only_row BEFORE DELETE OR UPDATE ON "
                 "inventory_movement FOR EACH ROW WHEN (false) EXECUTE FUNCTION "
                 "guard_refuses('inventory_movement_append_only')"],
                ["DROP TRIGGER inventory_movement_append_only_row ON inventory_movement",
                 "CREATE TRIGGER inventory_movement_append_only_row BEFORE DELETE OR UPDATE ON inventory_site "
                 "FOR EACH ROW EXECUTE FUNCTION guard_refuses('inventory_movement_append_only')"],
                ["ALTER TABLE inventory_unithold DROP CONSTRAINT unit_hold_overlap",
                 "ALTER TABLE inventory_unithold ADD CONSTRAINT unit_hold_overlap EXCLUDE USING gist "
                 "(int8range(unit_id, unit_id, '[]') WITH &&, tstzrange(start, \"end\") WITH &&) "
                 "WHERE (active AND holes > 5)"],
            )
        ),
    ],
)  # fmt: skip
def test_a_guard_of_another_wording_counts_as_missing(broken: list[str]) -> None:
    for statement in broken:
        _execute(statement)
    assert guards.missing(connection)
    call_command("migrate", verbosity=0, skip_checks=True)
    assert guards.missing(connection) == []
    unit = UnitFactory.create()
    _refused_as("inventory_movement_append_only", "UPDATE inventory_movement SET reason = reason")
    _hold(unit, MONDAY, MONDAY + HOUR)
    with pytest.raises((IntegrityError, Refused)):
        _hold(unit, MONDAY, MONDAY + HOUR)
    if connection.vendor == "postgresql":
        _execute("DROP TRIGGER IF EXISTS inventory_movement_append_only_row ON inventory_site")


@pytest.mark.only_on("sqlite")
@pytest.mark.django_db(transaction=True)
def test_a_table_that_django_rebuilt_gets_its_guards_back() -> None:
    with connection.schema_editor() as editor:
        editor._remake_table(Movement)  # what an altered column or constraint comes to on SQLite
    assert len(guards.missing(connection)) == 4
    call_command("migrate", verbosity=0)
    assert guards.missing(connection) == []
    UnitFactory.create()
    _refused_as("inventory_movement_append_only", "DELETE FROM inventory_movement")


@pytest.mark.django_db(transaction=True)
def test_guards_of_tables_that_are_not_there_yet_are_passed_over() -> None:
    guard = guards.append_only("not_there_yet")
    guards.register(guard)
    try:
        guards.lay(connection)
        assert guards.missing(connection) == []
    finally:
        guards._GUARDS.pop(guard.name)


def test_what_is_refused_leaves_nothing_behind() -> None:
    batch = BatchFactory.create(quantity=2)
    before = Movement.objects.count()
    with pytest.raises(Refused):
        stock.issue_batch(batch=batch, quantity=3, label="J-1", as_of=MONDAY, by="x")
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held, Movement.objects.count()) == (2, 0, before)


def test_errors_of_other_kinds_pass_through() -> None:
    with pytest.raises(DatabaseError):
        _execute("SELECT * FROM not_a_table")
    assert BinFactory.create().pk


def test_what_happened_to_an_item_can_be_neither_changed_nor_taken_away() -> None:
    catalogue.retire_item(ItemFactory.create(), by="Ida", as_of=MONDAY)
    name = "inventory_itemchange_append_only"
    _refused_as(name, "UPDATE inventory_itemchange SET by = 'x'")
    _refused_as(name, "DELETE FROM inventory_itemchange")
