"""Prove that the balances and the ledger agree."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory import stock
from inventory.wording import say


class Command(BaseCommand):
    help = "Prove that balances, units, holds and the ledger agree; name every line that does not."

    def handle(self, *args: Any, **options: Any) -> None:
        found = stock.disagreements()
        for reason in found:
            self.stdout.write(say(reason))
        if found:
            raise CommandError(f"The ledger and the balances disagree in {len(found)} places.")
        self.stdout.write("Balances and ledger agree.")
