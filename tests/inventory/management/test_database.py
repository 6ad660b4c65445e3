"""Commands on a database that is not made yet: one sentence, and no other trouble is taken for it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError
from django.db import OperationalError, ProgrammingError
from django.db.migrations.executor import MigrationExecutor

from inventory.management.database import made_database

ROOT = Path(__file__).resolve().parents[3]


@pytest.mark.only_on("sqlite")
@pytest.mark.parametrize(
    "words", [("load_stock", "fixtures/sample_sheets/stock.csv"), ("check_ledger",)], ids=lambda words: words[0]
)
def test_a_command_without_its_tables_says_how_to_make_them(tmp_path: Path, words: tuple[str, ...]) -> None:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("THREADCRIB_", "DJANGO_"))}
    ran = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=kept | {"THREADCRIB_DATA": str(tmp_path)},
        capture_output=True,
        text=True,
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr.count("\n") == 1
    assert "python3 manage.py migrate" in ran.stderr


@pytest.mark.django_db
@pytest.mark.parametrize("error", [OperationalError, ProgrammingError])
def test_only_while_a_migration_waits_is_the_database_called_unmade(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    with pytest.raises(error, match="disk I/O error"), made_database():
        raise error("disk I/O error")
    monkeypatch.setattr(MigrationExecutor, "migration_plan", lambda self, targets: [(targets[0], False)])
    with pytest.raises(CommandError, match=r"manage\.py migrate") as told, made_database():
        raise error("no such column")
    assert told.value.returncode == 2


def test_a_busy_database_is_not_called_unmade_whatever_migration_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(MigrationExecutor, "migration_plan", lambda self, targets: [(targets[0], False)])
    with pytest.raises(OperationalError, match="database is locked"), made_database():
        raise OperationalError("database is locked")
