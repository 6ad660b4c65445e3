"""Prove that the balances and the ledger agree."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory import stock
from inventory.errors import Reason
from inventory.management.database import made_database
from inventory.wording import say


class Command(BaseCommand):
    help = "Prove that balances, units, holds and the ledger agree; name every line that does not."

    @made_database()
    def handle(self, *args: Any, **options: Any) -> None:
        found = stock.disagreements()
        for reason in found:
            self.stdout.write(say(reason))
        if found:
            raise CommandError(say(Reason("ledger_disagrees", places=len(found))))
        self.stdout.write(say(Reason("ledger_agrees")))
