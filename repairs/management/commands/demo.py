"""The demo workshop: load it, show how ready its jobs are, serve the site."""

from __future__ import annotations

import os
import socket
import time
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import OperationalError, connection, transaction
from django.utils import timezone

from inventory import sheets, stock
from inventory.errors import Reason, Refused
from inventory.roles import give_role
from repairs import families, jobs
from repairs.forms import JobFileError, read_job_file
from repairs.management import history
from repairs.management.printing import readiness_table
from repairs.models import Family, Job
from repairs.wording import say

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
LOGINS = (("foreman", "Ada Quill"), ("storekeeper", "Bram Okoye"), ("fitter", "Cleo Varga"))
DEMO_MARK = 0x54437764  # SQLite's application_id of a demo database: the mark lies in the file itself
PASSWORD = "threadcrib-demo"  # noqa: S105  printed on purpose: the demo is for one machine


@transaction.atomic
def load_workshop(*, as_of: datetime) -> None:
    """Load logins, families, stock, offers and jobs of the demo, its relative dates counted from `as_of`.

    Raises `CommandError` with every wrong place of its files.
    """
    for login, name in LOGINS:
        user = get_user_model().objects.create_user(login, password=PASSWORD, first_name=name)
        give_role(user, login)
        stock.add_person(name=name)
    families.load_published()
    for path in sorted((FIXTURES / "families").glob("*.toml")):
        families.load(text=path.read_text(encoding="utf-8"))
    paths = [FIXTURES / "demo" / "stock.csv", FIXTURES / "demo" / "offers.csv"]
    intake = sheets.load(paths=paths, as_of=as_of, by=dict(LOGINS)["storekeeper"], apply=True)
    if intake.faults:
        raise CommandError("\n".join(say(fault) for fault in intake.faults))
    history.load_months(FIXTURES / "demo" / "history.toml", people=dict(LOGINS), as_of=as_of)
    for path in sorted((FIXTURES / "demo" / "earlier").glob("*.toml")):
        history.load_earlier(path, people=dict(LOGINS), as_of=as_of)
    for path in sorted((FIXTURES / "demo" / "jobs").glob("*.toml")):
        try:
            request = read_job_file(path.read_text(encoding="utf-8"), as_of=as_of)
            job = jobs.create(request)
            if request.booked:
                jobs.book(job, by=dict(LOGINS)["foreman"], as_of=as_of)
        except JobFileError as error:
            raise CommandError("\n".join(f"{path.name}: {place}: {text}" for place, text in error.problems)) from error
        except Refused as refused:
            raise CommandError(f"{path.name}: {say(refused.reason)}") from refused


def _is_the_demos() -> bool:
    """Whether this database is the demo's own, by the mark in its file, or holds nothing of anybody's yet."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA application_id")
        if cursor.fetchone()[0] == DEMO_MARK:
            return True
    return "auth_user" not in connection.introspection.table_names() or not (
        stock.site_names() or Job.objects.exists() or Family.objects.exists() or get_user_model().objects.exists()
    )


def _refuse_taken(port: int) -> None:
    """Raises `CommandError` where nothing can be served at this port: before the work is done, not after."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as the server does: closing calls do not count
        try:
            probe.bind(("127.0.0.1", port))
            if port:
                return
        except (OSError, OverflowError):
            pass
    raise CommandError(say(Reason("demo_port_taken", port=port, other=8001 if port == 8000 else 8000)), returncode=2)


class Command(BaseCommand):
    help = (
        "Load the demo workshop (an invented shop that overhauls pumps and vintage tractors) into the "
        "embedded database, print how ready its jobs are, then serve the site on this machine."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop after the table")
        parser.add_argument("--fresh", action="store_true", help="start over: the demo's database is made anew")
        parser.add_argument("--port", type=int, default=8000, help="where to serve (8000)")

    def handle(self, *args: Any, no_serve: bool, fresh: bool, port: int, **options: Any) -> None:
        began = time.monotonic()
        if not no_serve:
            _refuse_taken(port)
        if connection.vendor != "sqlite":
            raise CommandError(say(Reason("demo_is_embedded")))
        if not _is_the_demos():
            raise CommandError(say(Reason("demo_leaves_alone", database=str(connection.settings_dict["NAME"]))))
        if fresh:
            self._start_over()
        call_command("migrate", verbosity=0)
        if not Job.objects.exists():
            self.stdout.write(say(Reason("demo_loading")))
            with transaction.atomic():
                load_workshop(as_of=timezone.now())
                with connection.cursor() as cursor:
                    cursor.execute(f"PRAGMA application_id = {DEMO_MARK}")
        plans = jobs.plan_jobs(list(jobs.open_jobs()), as_of=timezone.now())
        for line in readiness_table(plans):
            self.stdout.write(line)
        took = f"{time.monotonic() - began:.1f}"
        self.stdout.write(say(Reason("demo_ready", jobs=len(plans), seconds=took)))
        if not no_serve:
            self._serve(port)

    def _start_over(self) -> None:
        try:
            with connection.cursor() as cursor:  # a file that somebody writes to must not vanish under him
                cursor.execute("BEGIN IMMEDIATE")
                cursor.execute("ROLLBACK")
        except OperationalError as error:
            raise CommandError(say(Reason("demo_written_to"))) from error
        connection.close()
        database = Path(str(connection.settings_dict["NAME"]))
        for suffix in ("", "-wal", "-shm"):
            database.with_name(database.name + suffix).unlink(missing_ok=True)

    def _serve(self, port: int) -> None:
        self.stdout.write("\n" + say(Reason("demo_served", address=f"http://127.0.0.1:{port}/")))
        for login, name in LOGINS:
            self.stdout.write("  " + say(Reason("demo_login", login=login, name=name, password=PASSWORD)))
        self.stdout.flush()
        os.environ.setdefault("THREADCRIB_DEBUG", "0")
        call_command("runserver", f"127.0.0.1:{port}", use_reloader=False)
