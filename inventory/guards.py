"""What the database itself enforces: named rules, and guards beyond what a constraint of the ORM can say.

Two sorts stand here. `Rule` and `Sole` are ordinary check and unique constraints whose name is the code of
a sentence in `wording.py`. A `Guard` is what no constraint of the ORM can say on both databases: a ledger
that is only ever added to, holds of one unit that never overlap. Django loses a table's triggers whenever
it rebuilds that table on SQLite, so guards are laid after every migrate (and after every flush), and a system
check fails where one is missing.

`refusal` is the one place that turns what a database refused into a named reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, ClassVar

from django.apps import apps
from django.core import checks
from django.db import IntegrityError, OperationalError, connections, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from inventory.errors import Reason, Refused
from inventory.wording import SENTENCES

# --- a database that is busy -------------------------------------------------------------------------------

# What SQLite says of a lock that others held too long; PostgreSQL says it by a code of its own.
_LOCKED = ("database is locked", "database table is locked")
_CODES = ("55P03", "40P01", "40001")  # lock not available, deadlock, serialization failure


def is_busy(error: BaseException) -> bool:
    """Whether the database refused only because others were writing."""
    code = getattr(error.__cause__, "sqlstate", None)
    return isinstance(error, OperationalError) and (code in _CODES or str(error) in _LOCKED)


# --- rules about one row -----------------------------------------------------------------------------------


class Rule(models.CheckConstraint):
    """A check constraint whose name is the code of its sentence.

    The sentence is looked up, not stored, so that a better sentence is no migration. Another app with
    sentences of its own subclasses this and points `sentences` at them.
    """

    sentences: ClassVar[Mapping[str, str]] = SENTENCES

    def __init__(self, *, condition: Any, name: str) -> None:
        super().__init__(
            condition=condition,
            name=name,
            violation_error_code=name,
            violation_error_message=self.sentences.get(name, name),
        )

    def deconstruct(self) -> tuple[str, Sequence[Any], dict[str, Any]]:
        path, args, kwargs = super().deconstruct()
        return path, args, {"condition": kwargs["condition"], "name": kwargs["name"]}


class Sole(models.UniqueConstraint):
    """A unique constraint whose name is the code of its sentence.

    SQLite tells only the columns of a refused one, so no two of them may stand on the same columns. One on an
    expression, such as a tag in capitals, stands as an index, which SQLite tells by its name.
    """

    sentences: ClassVar[Mapping[str, str]] = SENTENCES

    def __init__(
        self, *expressions: Any, fields: Sequence[str] = (), name: str, condition: models.Q | None = None
    ) -> None:
        super().__init__(
            *expressions,
            fields=fields,
            name=name,
            condition=condition,
            violation_error_code=name,
            violation_error_message=self.sentences.get(name, name),
        )

    def deconstruct(self) -> tuple[str, Sequence[Any], dict[str, Any]]:
        path, args, kwargs = super().deconstruct()
        kept: dict[str, Any] = {key: kwargs[key] for key in ("fields", "name", "condition") if key in kwargs}
        return path, args, kept


# --- guards ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Piece:
    """One trigger or constraint of a guard on one database: its name, how to lay and lift it, and the text by which the
    database tells that it stands (see `_standing`)."""

    name: str
    lay: tuple[str, ...]
    lift: tuple[str, ...]
    told: str


@dataclass(frozen=True, slots=True)
class Guard:
    """A guard on one table: the name it refuses with, and its pieces on each kind of database."""

    name: str
    table: str
    pieces: Mapping[str, tuple[Piece, ...]]


def _sqlite_trigger(name: str, table: str, body: str) -> Piece:
    made = f'CREATE TRIGGER "{name}" {body}'
    drop = f'DROP TRIGGER IF EXISTS "{name}"'
    return Piece(name, lay=(drop, made), lift=(drop,), told=made)


def _postgres_trigger(name: str, table: str, when: str, each: str, refuses_with: str) -> Piece:
    # In the words and the order in which PostgreSQL tells a trigger, so that the two compare as texts.
    rest = f"TRIGGER {name} BEFORE {when} ON {table} FOR EACH {each} EXECUTE FUNCTION guard_refuses('{refuses_with}')"
    drop = f"DROP TRIGGER IF EXISTS {name} ON {table}"
    # Dropped before it is made: one that was switched off, or made for another moment, would stay so.
    return Piece(name, lay=(drop, f"CREATE {rest}"), lift=(drop,), told=f"CREATE {rest}")


_POSTGRES_BODY = """
BEGIN
    -- An integrity violation that carries the guard's name where a constraint's name stands.
    RAISE EXCEPTION '%', TG_ARGV[0] USING ERRCODE = 'check_violation', CONSTRAINT = TG_ARGV[0];
END """
_POSTGRES_FUNCTION = (
    f"CREATE OR REPLACE FUNCTION guard_refuses() RETURNS trigger LANGUAGE plpgsql AS $${_POSTGRES_BODY}$$"
)


def append_only(table: str, *, keys: Sequence[str | tuple[str, ...]] = ("id",)) -> Guard:
    """A guard that lets rows be added to `table` and never changed or taken away.

    `keys` are the columns, or sets of them, that are each unique. SQLite's INSERT OR REPLACE takes the row that
    is in the way out without telling any DELETE trigger, so there an insert that meets one is refused in
    the very words of a broken unique constraint.
    """
    name = f"{table}_append_only"
    sqlite = [
        _sqlite_trigger(
            f"{name}_{act}",
            table,
            f"BEFORE {act.upper()} ON \"{table}\" BEGIN SELECT RAISE(ABORT, '{name}'); END",
        )
        for act in ("update", "delete")
    ]
    for columns in [(key,) if isinstance(key, str) else key for key in keys]:
        meets = " AND ".join(f'"{column}" = NEW."{column}"' for column in columns)
        failed = ", ".join(f"{table}.{column}" for column in columns)
        sqlite.append(
            _sqlite_trigger(
                f"{name}_replace_{'_'.join(columns)}",
                table,
                f'BEFORE INSERT ON "{table}" WHEN EXISTS (SELECT 1 FROM "{table}" WHERE {meets}) '
                f"BEGIN SELECT RAISE(ABORT, 'UNIQUE constraint failed: {failed}'); END",
            )
        )
    postgres = (
        _postgres_trigger(f"{name}_row", table, "DELETE OR UPDATE", "ROW", name),
        _postgres_trigger(f"{name}_truncate", table, "TRUNCATE", "STATEMENT", name),
    )
    return Guard(name, table, {"sqlite": tuple(sqlite), "postgresql": postgres})


def no_overlap(table: str, *, name: str, of: str, start: str, end: str, where: str) -> Guard:
    """A guard that refuses two rows of `table` with equal `of`, both `where` true, whose windows overlap.

    Windows are half-open, so touching is allowed. On PostgreSQL an exclusion constraint that needs no
    extension (an id is the range from itself to itself), on SQLite triggers for insert and update.
    """
    # Times that Django wrote compare as text, to the microsecond. A hand on the raw database may write
    # another form of the same instant; julianday() reads those, to the millisecond.
    meets = (
        f'(h."{start}" < NEW."{end}" AND h."{end}" > NEW."{start}") OR (julianday(h."{start}") < '
        f'julianday(NEW."{end}") AND julianday(h."{end}") > julianday(NEW."{start}"))'
    )
    refuse = (
        f'WHEN NEW."{where}" AND EXISTS (SELECT 1 FROM "{table}" h WHERE h."{of}" = NEW."{of}" '
        f'AND h."{where}" AND h."id" IS NOT {{me}} AND ({meets})) '
        f"BEGIN SELECT RAISE(ABORT, '{name}'); END"
    )
    sqlite = (
        _sqlite_trigger(f"{name}_insert", table, f'BEFORE INSERT ON "{table}" ' + refuse.format(me="NEW.id")),
        _sqlite_trigger(f"{name}_update", table, f'BEFORE UPDATE ON "{table}" ' + refuse.format(me="OLD.id")),
    )
    drop = f'ALTER TABLE "{table}" DROP CONSTRAINT IF EXISTS "{name}"'
    excludes = (
        f'EXCLUDE USING gist (int8range("{of}", "{of}", \'[]\') WITH &&, tstzrange("{start}", "{end}") WITH &&) '
        f'WHERE ("{where}")'
    )
    exclusion = Piece(
        name,
        lay=(drop, f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" {excludes}'),
        lift=(drop,),
        told=f"{table} {name} {excludes}".replace('"', ""),
    )
    return Guard(name, table, {"sqlite": sqlite, "postgresql": (exclusion,)})


_GUARDS: dict[str, Guard] = {}


def register(*guards: Guard) -> None:
    """Make guards known; apps do so in `ready`. Guards of every app are laid and checked together."""
    for guard in guards:
        _GUARDS[guard.name] = guard


def registered() -> tuple[Guard, ...]:
    """All guards that any app made known."""
    return tuple(_GUARDS.values())


def _standing(connection: BaseDatabaseWrapper) -> set[str]:
    """The texts of the triggers and constraints that stand and bite, as the database tells them.

    On PostgreSQL of the triggers alone that are switched on and call our function with the body that refuses; of a
    constraint without quotation marks and the types that it adds to what was written.
    """
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute(
                "SELECT pg_get_triggerdef(trigger.oid, true) FROM pg_trigger AS trigger "
                "JOIN pg_proc AS called ON called.oid = trigger.tgfoid "
                "WHERE NOT trigger.tgisinternal AND trigger.tgenabled IN ('O', 'A') AND called.prosrc = %s "
                "UNION SELECT replace(replace(concat_ws(' ', conrelid::regclass, conname, "
                "pg_get_constraintdef(oid, true)), '\"', ''), '::text', '') FROM pg_constraint WHERE contype = 'x'",
                [_POSTGRES_BODY],
            )
        return {text for (text,) in cursor.fetchall()}


def _missing_pieces(connection: BaseDatabaseWrapper) -> list[tuple[Guard, Piece]]:
    tables = set(connection.introspection.table_names())
    standing = _standing(connection)
    return [
        (guard, piece)
        for guard in registered()
        if guard.table in tables  # not there yet: the migration that makes it will have it laid
        for piece in guard.pieces[connection.vendor]
        if piece.told not in standing  # nor does one of the right name with another text, an older edition, bite
    ]


def lay(connection: BaseDatabaseWrapper) -> None:
    """Lay every registered guard that is missing on this database; tables not there yet are passed over."""
    missing = _missing_pieces(connection)
    if not missing:
        return
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
        for _, piece in missing:
            for statement in piece.lay:
                cursor.execute(statement)


def lift(connection: BaseDatabaseWrapper) -> None:
    """Take every registered guard off this database, so that a test database can be emptied."""
    tables = set(connection.introspection.table_names())
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for guard in registered():
            if guard.table in tables:
                for piece in guard.pieces[connection.vendor]:
                    for statement in piece.lift:
                        cursor.execute(statement)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the triggers and constraints that should stand on this database and do not."""
    return [piece.name for _, piece in _missing_pieces(connection)]


def lay_after_migrate(*, using: str, **_: Any) -> None:
    """The receiver of post_migrate, connected with inventory's own app config as sender."""
    lay(connections[using])


def check_guards(*, databases: Sequence[str] | None = None, **_: Any) -> list[checks.CheckMessage]:
    """The system check (tag database): one error for each guard that is missing."""
    return [
        checks.Error(
            f"The guard {name} is missing on the database {alias!r}.",
            hint="Run `manage.py migrate --skip-checks`: it lays every missing guard.",
            id="inventory.E001",
        )
        for alias in databases or ()
        for name in missing(connections[alias])
    ]


# --- what the database refused -----------------------------------------------------------------------------


def _sole_columns() -> dict[frozenset[str], str]:
    """Which unique constraint stands on which columns, as SQLite names them: table.column."""
    named: dict[frozenset[str], str] = {}
    for model in apps.get_models():
        columns = {field.name: f"{model._meta.db_table}.{field.column}" for field in model._meta.fields}
        for constraint in model._meta.constraints:
            if isinstance(constraint, models.UniqueConstraint) and constraint.fields:
                named[frozenset(columns[field] for field in constraint.fields)] = constraint.name
    return named


def refusal(error: IntegrityError) -> Reason | None:
    """The reason behind what a database refused, its code the name of the constraint or guard.

    None where the database named nothing of ours (a broken foreign key, a missing value): that is a mistake
    in the program and not an answer for a user.
    """
    cause = error.__cause__
    named = getattr(getattr(cause, "diag", None), "constraint_name", None)
    if named is None:
        text = str(error)
        sort, _, rest = text.partition(" constraint failed: ")
        if sort == "UNIQUE" and rest.startswith("index "):
            named = rest.removeprefix("index ").strip("'")
        elif sort == "UNIQUE":
            named = _sole_columns().get(frozenset(rest.split(", ")))
        else:
            named = rest if sort == "CHECK" else text
    known = named in _GUARDS or any(
        constraint.name == named for model in apps.get_models() for constraint in model._meta.constraints
    )
    return Reason(named) if named is not None and known else None


def lock_table(connection: BaseDatabaseWrapper, table: str) -> None:
    """Let nobody else write to a table until the transaction ends; reading goes on. On SQLite a transaction is alone
    with writing anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f'LOCK TABLE "{table}" IN SHARE ROW EXCLUSIVE MODE')


@contextmanager
def act() -> Iterator[None]:
    """One act: one transaction, and what the database refuses comes out as a named `Refused`."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        reason = refusal(error)
        if reason is None:
            raise
        raise Refused(reason) from error
