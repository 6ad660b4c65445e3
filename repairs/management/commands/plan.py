"""Plan a repair: from options, from a job file, or a saved job."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import OperationalError
from django.utils import timezone

from inventory import stock
from inventory.errors import Refused
from repairs import cards, jobs
from repairs.forms import GROUP_KEYS, JOB_KEYS, PART_KEYS, JobFileError, read_job, read_job_file
from repairs.jobs import JobPlan
from repairs.management.printing import plan_report
from repairs.wording import say

COMPLETE, GAPS, NOT_PLANNED = 0, 1, 2

EPILOG = (
    "exit code: 0 everything is there and nothing waits for a signature; 1 gaps, or lines that someone must sign for; "
    "2 could not be planned (bad input, or no method stands).   "
    "job file (TOML): "
    + "; ".join(f"{key}: {told}" for key, told in JOB_KEYS.items())
    + ".  [[parts]] "
    + "; ".join(f"{key}: {told}" for key, told in PART_KEYS.items())
    + ".  [[parts.groups]] "
    + "; ".join(f"{key}: {told}" for key, told in GROUP_KEYS.items())
    + "."
)


class Command(BaseCommand):
    help = (
        "Work out the full tool set of a thread repair and how the shelf meets it. Nothing is saved or reserved. "
        "Give the hole by options, a job file with --file, or a saved job with --job."
    )

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        return super().create_parser(prog_name, subcommand, epilog=EPILOG, **kwargs)

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("typed_thread", nargs="?", metavar="THREAD", help='the bolt thread, "M14 x 1,5"')
        parser.add_argument("--file", type=Path, help="a job file")
        parser.add_argument("--job", metavar="NUMBER", help="a saved job")
        parser.add_argument("--format", choices=["table", "json"], default="table", help="for people or for programs")
        parser.add_argument("--units", choices=["mm", "in"], default="mm", help="which leads")
        for key, told in GROUP_KEYS.items():
            if key not in ("thread", "positions", "starts", "ends"):
                parser.add_argument(f"--{key.replace('_', '-')}", dest=f"group_{key}", help=told)
        parser.add_argument("--fixture", dest="part_fixture", help=PART_KEYS["fixture"])
        parser.add_argument("--hand", dest="part_hand", help=PART_KEYS["hand"])
        parser.add_argument("--site", help="the site where the work is done (the only one, if there is one)")
        parser.add_argument("--starts", default="+0d", help=JOB_KEYS["starts"])
        parser.add_argument("--ends", help=JOB_KEYS["ends"])

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            plan = self._plan(options)
        except OperationalError as error:
            raise CommandError("There is no database yet: run migrate first.", returncode=NOT_PLANNED) from error
        except JobFileError as error:
            listed = "\n".join(f"  {place}: {text}" for place, text in error.problems)
            raise CommandError(f"could not be planned:\n{listed}", returncode=NOT_PLANNED) from error
        except Refused as refused:
            raise CommandError(say(refused.reason), returncode=NOT_PLANNED) from refused
        if options["format"] == "json":
            self.stdout.write(json.dumps(cards.document(plan, units=options["units"]), indent=2, ensure_ascii=False))
        else:
            for line in plan_report(plan, units=options["units"]):
                self.stdout.write(line)
        code = NOT_PLANNED if plan.unplanned else COMPLETE if plan.complete else GAPS
        if code:
            raise SystemExit(code)

    def _plan(self, options: dict[str, Any]) -> JobPlan:
        now = timezone.now()
        given = [name for name in ("typed_thread", "file", "job") if options[name]]
        if len(given) != 1:
            raise CommandError("Give one of: a thread, --file FILE, --job NUMBER.", returncode=NOT_PLANNED)
        if options["job"]:
            job = jobs.open_jobs().filter(number=options["job"]).first()
            if job is None:
                raise CommandError(f"There is no open job {options['job']!r}.", returncode=NOT_PLANNED)
            return jobs.plan_job(job, as_of=now)
        if options["file"]:
            try:
                text = options["file"].read_text(encoding="utf-8")
            except (OSError, UnicodeDecodeError) as error:
                raise CommandError(f"{options['file']}: cannot be read ({error}).", returncode=NOT_PLANNED) from error
            request = read_job_file(text, as_of=now)
        else:
            request = read_job(self._document(options), as_of=now)
        if stock.site_names():
            stock.site(request.site)
        return jobs.plan_request(request, as_of=now)

    def _document(self, options: dict[str, Any]) -> dict[str, Any]:
        """The options as a job file would say them; what rules methods in or out and is not given is unknown."""
        group = {
            name.removeprefix("group_"): value
            for name, value in options.items()
            if name.startswith("group_") and value is not None
        }
        group = {"holes": "1", "hole": "blind", "before": "unknown", "made": "unknown"} | group
        part = {
            name.removeprefix("part_"): value
            for name, value in options.items()
            if name.startswith("part_") and value is not None
        }
        sites = stock.site_names()
        window = {"starts": options["starts"]} | ({"ends": options["ends"]} if options["ends"] else {})
        return {
            "number": "not saved",
            "site": options["site"] or (sites[0] if sites else "here"),
            **window,
            "parts": [{"name": "part", **part, "groups": [{"thread": options["typed_thread"], **group}]}],
        }
