"""Take stock and offers in from sheets."""

from __future__ import annotations

from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from inventory import sheets
from inventory.errors import Reason, Refused
from inventory.management.database import made_database
from inventory.wording import say

_MOST_TOLD = 50  # of each sort; who has more to put right begins with these


def _columns(columns: Sequence[sheets.Column]) -> str:
    return "\n".join(f"  {column.name:<16} {column.meaning}" for column in columns)


_ABOUT = f"""\
One heading row, then a row a thing, columns in any order. A row with a tag is a unit, with a
quantity a batch, with neither an item of the catalogue alone. Rows of equal measurements are one
item. Sizes as people write them; a bare number is millimetres, a bare torque newton metres. CSV
is UTF-8, separated by comma, semicolon or tab; of an XLSX file the first sheet is read. Dates:
2027-03-31, or days from now: +90d.

A stock sheet:
{_columns(sheets.STOCK)}

A sheet of offers:
{_columns(sheets.OFFERS)}
"""


class Command(BaseCommand):
    help = (
        "Take stock or offers in from CSV or XLSX sheets. Shows what would happen; writes with --apply. "
        "All sheets come in, or nothing does, and every fault is named by row, column and value."
    )

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> Any:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.epilog = _ABOUT
        return parser

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="a .csv or .xlsx sheet")
        parser.add_argument("--apply", action="store_true", help="write it; without this nothing is changed")
        parser.add_argument("--by", default="load_stock", help="whose name stands in the ledger")

    @made_database()
    def handle(self, *args: Any, **options: Any) -> None:
        now = datetime.now(tz=settings.SHOP_ZONE)
        try:
            intake = sheets.load(paths=options["files"], as_of=now, by=options["by"], apply=options["apply"])
        except Refused as refused:
            raise CommandError(say(refused.reason)) from refused
        for line in _told([Reason("intake_note", why=note) for note in intake.notes]):
            self.stdout.write(line)
        for line in _told(intake.readings if not options["apply"] else ()):
            self.stdout.write(line)
        if intake.faults:
            for line in _told(intake.faults):
                self.stderr.write(line)
            raise CommandError(say(Reason("intake_refused", faults=len(intake.faults))))
        code = "intake_applied" if intake.applied else "intake_shown"
        self.stdout.write(say(Reason(code, things=intake.counts)))


def _told(reasons: Sequence[Reason]) -> Iterator[str]:
    yield from map(say, reasons[:_MOST_TOLD])
    if len(reasons) > _MOST_TOLD:
        yield say(Reason("told_no_further", more=len(reasons) - _MOST_TOLD))
