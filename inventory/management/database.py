"""The tables that a command needs: where they are not made yet, one sentence says how to make them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.core.management.base import CommandError
from django.db import OperationalError, ProgrammingError, connection
from django.db.migrations.executor import MigrationExecutor

from inventory.errors import Reason
from inventory.guards import is_busy
from inventory.wording import say

NOT_MADE = 2


@contextmanager
def made_database() -> Iterator[None]:
    """Around all that a command asks of the database, outside any transaction.

    What the database cannot answer while a migration still waits becomes `CommandError` with exit code 2;
    whatever else it cannot answer is none of this.
    """
    try:
        yield
    except (OperationalError, ProgrammingError) as error:
        if is_busy(error):  # told by the site's own sentence, whatever else waits
            raise
        executor = MigrationExecutor(connection)
        if not executor.migration_plan(executor.loader.graph.leaf_nodes()):
            raise
        raise CommandError(say(Reason("database_not_made")), returncode=NOT_MADE) from error
