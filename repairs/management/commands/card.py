"""Print the card of a saved job into a PDF file."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse
from django.utils import timezone

from inventory.errors import Reason, Refused
from inventory.management.database import made_database
from repairs import jobs, printing
from repairs.wording import say


class Command(BaseCommand):
    help = (
        "Print the card of a saved job as it is planned now: a PDF on A4, kept among the job's cards as one printed "
        "on its page is."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("number", metavar="JOB", help="the number of a saved job that is open")
        parser.add_argument("--out", type=Path, help="the file to write (if left out, JOB-card-N.pdf in this folder)")
        parser.add_argument("--units", choices=["mm", "in"], default="mm", help="which leads")
        parser.add_argument("--by", help="who prints it (if left out, the login of this machine)")
        parser.add_argument(
            "--site-address", default="http://127.0.0.1:8000", help="where the site is served, for the code on the card"
        )

    @made_database()
    def handle(
        self, *args: Any, number: str, out: Path | None, units: str, by: str | None, site_address: str, **options: Any
    ) -> None:
        try:
            job = jobs.open_job(number)
            made = printing.print_card(
                job,
                by=by or getpass.getuser(),
                as_of=timezone.now(),
                address=site_address.rstrip("/") + reverse("job", args=[job.number]),
                units=units,
            )
            file = out or Path(f"{job.number.replace('/', '-')}-card-{made.number}.pdf")
            try:
                file.write_bytes(bytes(made.pdf or b""))
            except OSError as error:
                raise Refused(Reason("card_not_written", number=made.number, job=job.number, file=str(file))) from error
        except Refused as refused:
            raise CommandError(say(refused.reason)) from refused
        self.stdout.write(say(Reason("card_printed", number=made.number, job=job.number, file=str(file))))
