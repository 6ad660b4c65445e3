"""The shopping list: what to buy for what a job, or all open jobs, are short of."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from inventory.errors import Refused
from inventory.management.database import made_database
from repairs import cards, jobs
from repairs.management.printing import shopping_report
from repairs.wording import say


class Command(BaseCommand):
    help = (
        "What to buy for the gaps of one job, or of all open jobs and for what stands at its order point: item, packs, "
        "the cheapest offer that comes before the job starts, and the last day to order it. Nothing is ordered."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--job", metavar="NUMBER", help="one saved job (all open ones, if left out)")
        parser.add_argument(
            "--format", choices=["table", "json", "csv"], default="table", help="for people, programs or spreadsheets"
        )
        parser.add_argument("--units", choices=["mm", "in"], default="mm", help="which leads")

    @made_database()
    def handle(self, *args: Any, job: str | None, format: str, units: str, **options: Any) -> None:
        now = timezone.now()
        try:
            wanted = [jobs.open_job(job)] if job is not None else list(jobs.open_jobs())
        except Refused as refused:
            raise CommandError(say(refused.reason)) from refused
        found = jobs.shopping(jobs.plan_jobs(wanted, as_of=now, side_by_side=False), as_of=now)
        stocked = () if job is not None else jobs.for_stock(as_of=now)  # what is bought for the stock is for no job
        if format == "json":
            told = cards.shopping_document(found, stocked=stocked, units=units)
            self.stdout.write(json.dumps(told, indent=2, ensure_ascii=False))
        elif format == "csv":
            self.stdout.write(cards.shopping_csv(found, stocked=stocked, units=units), ending="")
        else:
            for line in shopping_report(found, stocked=stocked, units=units):
                self.stdout.write(line)
