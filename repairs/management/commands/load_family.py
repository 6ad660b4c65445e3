"""Load insert families from files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from inventory.errors import Refused
from repairs import families
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

    @transaction.atomic
    def handle(self, *args: Any, files: list[Path], published: bool, **options: Any) -> None:
        if not files and not published:
            raise CommandError("Name at least one family file, or --published.")
        if published:
            for family, count in families.load_published():
                self.stdout.write(f"{family}, {count} sizes, published")
        for path in files:
            try:
                family, count = families.load(text=path.read_text(encoding="utf-8"))
            except (OSError, UnicodeDecodeError) as error:
                raise CommandError(f"{path}: cannot be read ({error}); nothing was loaded.") from error
            except FamilyError as error:
                listed = "\n".join(f"  {say(reason)}" for reason in error.reasons)
                raise CommandError(f"{path}: nothing was loaded.\n{listed}") from error
            except Refused as refused:
                raise CommandError(f"{path}: {say(refused.reason)} Nothing was loaded.") from refused
            self.stdout.write(f"{path.name}: {family}, {count} sizes, {family.standing}")
