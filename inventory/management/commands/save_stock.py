"""Write stock and offers out as sheets."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory import sheets
from inventory.errors import Reason, Refused
from inventory.management.database import made_database
from inventory.wording import say


class Command(BaseCommand):
    help = (
        "Write all of the stock out as a CSV or XLSX sheet that load_stock takes in again as it was: items, units, "
        "batches and bins; with --offers suppliers and prices into a sheet of their own."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE", help="the .csv or .xlsx sheet to write")
        parser.add_argument("--offers", type=Path, metavar="FILE", help="write suppliers and their offers here too")
        parser.add_argument(
            "--headings", choices=("words", "iso"), default="words",
            help="our words (the default), or the symbols of ISO 13399 where it has one: DC, LU, TDZ, TP",
        )  # fmt: skip
        parser.add_argument("--delimiter", choices=(",", ";"), default=",", help="what separates the cells of a CSV")

    @made_database()
    def handle(self, *args: Any, **options: Any) -> None:
        for of, path in (("stock", options["file"]), ("offers", options["offers"])):
            if path is None:
                continue
            try:
                written = sheets.saved(of, file=path.name, headings=options["headings"], delimiter=options["delimiter"])
                path.write_bytes(written)
            except Refused as refused:
                raise CommandError(say(refused.reason)) from refused
            except OSError as error:
                raise CommandError(say(Reason("sheet_not_written", sheet=str(path)))) from error
            self.stdout.write(say(Reason("sheet_written", sheet=str(path))))
