"""A token by which another program comes in, in somebody's name."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inventory.errors import Reason, Refused
from inventory.management.database import made_database
from inventory.programs import give_token, revoke_tokens
from inventory.wording import say


class Command(BaseCommand):
    help = (
        "Give a program a token: it may do what LOGIN may, and what it does stands under that name. "
        "The token is printed once; only its digest is kept."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("login", metavar="LOGIN", help="in whose name the program comes in")
        parser.add_argument("--days", type=int, default=90, help="how long the token is good (90)")
        parser.add_argument("--revoke", action="store_true", help="take all tokens of this login back instead")

    @made_database()
    def handle(self, *args: Any, login: str, days: int, revoke: bool, **options: Any) -> None:
        try:
            if revoke:
                count = revoke_tokens(login=login)
                self.stdout.write(say(Reason("tokens_revoked", count=count, login=login)))
                return
            token = give_token(login=login, days=days)
        except Refused as refused:
            raise CommandError(say(refused.reason)) from refused
        self.stderr.write(say(Reason("token_given", login=login, days=days)))
        self.stdout.write(token)
