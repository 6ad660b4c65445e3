"""Load insert families from files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from inventory.errors import Reason, Refused
from inventory.management.database import made_database
from repairs import families
from repairs.management.files import read_text
from repairs.methods.families_file import FamilyError
from repairs.wording import say


class Command(BaseCommand):
    help = (
        "Load insert families of the workshop's own (TOML, one family in one edition a file; the form is told in "
        "DEVELOPERS.md). All or nothing; a bad row is refused by name; a loaded edition never changes."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help="a family file")
        parser.add_argument(
            "--published", action="store_true", help="load the published families that come with the program"
        )

    @made_database()
    @transaction.atomic
    def handle(self, *args: Any, files: list[Path], published: bool, **options: Any) -> None:
        if not files and not published:
            raise CommandError(say(Reason("no_family_named")))
        if published:
            for family, count in families.load_published():
                self.stdout.write(f"{family}, {count} sizes, published")
        for path in files:
            try:
                family, count = families.load(text=read_text(path))
            except FamilyError as error:
                listed = "".join(f"\n  {say(reason)}" for reason in error.reasons)
                raise CommandError(say(Reason("family_not_loaded", file=str(path))) + listed) from error
            except Refused as refused:
                why = Reason("family_not_loaded", file=str(path), cause=refused.reason)
                raise CommandError(say(why)) from refused
            self.stdout.write(f"{path.name}: {family}, {count} sizes, {family.standing}")
