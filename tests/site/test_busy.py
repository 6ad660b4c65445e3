"""A database that others hold too long: commands end with the site's own sentence and a code of their own."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import OperationalError, connection, transaction

from inventory.wording import SENTENCES
from repairs.site import busy

ROOT = Path(__file__).resolve().parents[2]
SENTENCE = SENTENCES["database_busy"]
# Nobody waits in a test for as long as a command does; all else is as it is run by hand.
RUN = """
import sys
from repairs.site import settings
settings.DATABASES["default"]["OPTIONS"]["timeout"] = 0.1
import manage
sys.argv[0] = "manage.py"
manage.main()
"""


def run(data: Path, *words: str) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("THREADCRIB_", "DJANGO_"))}
    command = [sys.executable, "-c", RUN, *words]
    return subprocess.run(command, cwd=ROOT, env=kept | {"THREADCRIB_DATA": str(data)}, capture_output=True, text=True)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    data = tmp_path_factory.mktemp("busy")
    assert run(data, "migrate", "--verbosity", "0").returncode == 0
    return data


@pytest.fixture
def held(made: Path) -> Iterator[Path]:
    """Somebody has the whole database to himself: neither read nor write gets through."""
    other = sqlite3.connect(made / "threadcrib.sqlite3", isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN IMMEDIATE")
    yield made
    other.execute("ROLLBACK")
    other.close()


@pytest.mark.only_on("sqlite")
@pytest.mark.parametrize(
    "words",
    [
        ("check_ledger",),
        ("load_stock", "fixtures/sample_sheets/stock.csv", "--apply"),
        ("plan", "M14 x 1,5", "--holes", "4", "--depth", "40"),
        ("access_token", "foreman"),
    ],
    ids=lambda words: words[0],
)
def test_a_command_on_a_busy_database_ends_with_one_sentence(held: Path, words: tuple[str, ...]) -> None:
    ran = run(held, *words)
    assert (ran.returncode, ran.stdout, ran.stderr) == (75, "", f"{SENTENCE}\n")


@pytest.mark.only_on("sqlite")
def test_when_the_others_are_done_the_same_command_goes_through(made: Path) -> None:
    assert run(made, "check_ledger").returncode == 0


def test_any_other_fault_of_the_database_is_not_told_as_busy(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(OperationalError, match="disk I/O error"):
        busy.ended(OperationalError("disk I/O error"))
    assert capsys.readouterr().err == ""


@pytest.mark.only_on("postgresql")
@pytest.mark.django_db(transaction=True)
def test_a_lock_that_postgresql_does_not_get_is_the_same_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    other = connection.copy()
    try:
        with other.cursor() as cursor:
            cursor.execute("BEGIN")
            cursor.execute("LOCK TABLE inventory_movement")
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET LOCAL lock_timeout = 1")
            with pytest.raises(OperationalError) as refused, transaction.atomic():
                cursor.execute("LOCK TABLE inventory_movement")
    finally:
        with other.cursor() as cursor:
            cursor.execute("ROLLBACK")
        other.close()
    assert busy.ended(refused.value) == 75
    assert capsys.readouterr().err.strip() == SENTENCE
