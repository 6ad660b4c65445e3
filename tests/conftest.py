"""What every test may lean on: one moment, the database of this run, the browser where there is one."""

import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime

import hypothesis
import pytest
from django.db import connection

USES_A_DATABASE = {"db", "transactional_db", "live_server", "django_db_reset_sequences", "django_db_setup"}
IS_FLUSHED = USES_A_DATABASE - {"db", "django_db_setup"}

hypothesis.settings.register_profile("here", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
hypothesis.settings.load_profile("ci" if os.environ.get("CI") else "here")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """On SQLite all tests run, on PostgreSQL those that use a database; `only_on` keeps one to its own."""
    kept = [item for item in items if _belongs_to_this_run(item)]
    if len(kept) < len(items):
        config.hook.pytest_deselected(items=[item for item in items if item not in set(kept)])
        items[:] = kept


def _belongs_to_this_run(item: pytest.Item) -> bool:
    only = item.get_closest_marker("only_on")
    if only and only.args[0] != connection.vendor:
        return False
    if item.path.parent.name == "browser" and item.path.name != "test_whole_path.py":
        return connection.vendor == "sqlite"  # pages look alike on both; the whole path is tried on each
    return connection.vendor == "sqlite" or _uses_a_database(item)


def _uses_a_database(item: pytest.Item) -> bool:
    fixtures = set(getattr(item, "fixturenames", ()))
    return item.get_closest_marker("django_db") is not None or bool(fixtures & USES_A_DATABASE)


@pytest.fixture(autouse=True)
def _flush_meets_no_guard(request: pytest.FixtureRequest) -> Iterator[None]:
    """Lift the append-only guards at the end of a test whose tables are flushed.

    They would refuse the flush, and its rows would stay for the next test. After the flush Django sends
    post_migrate, which lays them again.
    """
    marker = request.node.get_closest_marker("django_db")
    if not (marker and marker.kwargs.get("transaction")) and not IS_FLUSHED & set(request.fixturenames):
        yield
        return
    request.getfixturevalue("transactional_db")  # set up before this one, so torn down after it
    yield
    from inventory import guards

    guards.lift(connection)


@pytest.fixture
def as_of() -> datetime:
    """The moment that acts are given in tests: a Monday morning."""
    return datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def chromium() -> str:
    """The path of the browser; without one the test is skipped, or fails where everything is required."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found:
        return found
    if os.environ.get("THREADCRIB_REQUIRE_ALL") == "1":
        pytest.fail("THREADCRIB_REQUIRE_ALL is set, but there is no Chromium.")
    pytest.skip("there is no Chromium on this machine")
