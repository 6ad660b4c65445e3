"""Plan a repair: from options, from a job file, or a saved job."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from inventory import stock
from inventory.errors import Reason, Refused
from inventory.management.database import made_database
from repairs import cards, choices, jobs
from repairs.forms import GROUP_KEYS, JOB_KEYS, PART_KEYS, JobFileError, read_job, read_job_file
from repairs.jobs import JobPlan
from repairs.management.files import read_text
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
        parser.add_argument("--thread", help="the same, by name")
        parser.add_argument("--file", type=Path, help="a job file")
        parser.add_argument("--job", metavar="NUMBER", help="a saved job")
        parser.add_argument("--format", choices=["table", "json"], default="table", help="for people or for programs")
        parser.add_argument("--units", choices=["mm", "in"], default="mm", help="which leads")
        parser.add_argument("--every-size", action="store_true", help="every size of every method beside the plan")
        for key, told in GROUP_KEYS.items():
            if key not in ("thread", "positions", "starts", "ends"):
                parser.add_argument(f"--{key.replace('_', '-')}", dest=f"group_{key}", help=told)
        parser.add_argument("--fixture", dest="part_fixture", help=PART_KEYS["fixture"])
        parser.add_argument("--hand", dest="part_hand", help=PART_KEYS["hand"])
        parser.add_argument("--site", help="the site where the work is done (if left out, where most units stand)")
        parser.add_argument("--starts", default="+0d", help=JOB_KEYS["starts"])
        parser.add_argument("--ends", help=JOB_KEYS["ends"])

    @made_database()
    def handle(self, *args: Any, **options: Any) -> None:
        try:
            plan = self._plan(options)
        except JobFileError as error:
            by_option = options["file"] is None
            listed = [f"\n  {_option(place) if by_option else place}: {text}" for place, text in error.problems]
            raise CommandError(say(Reason("not_planned")) + "".join(listed), returncode=NOT_PLANNED) from error
        except Refused as refused:
            raise _refused(refused.reason) from refused
        comparison = choices.compare(plan, as_of=plan.as_of)
        if options["format"] == "json":
            document = cards.document(plan, units=options["units"], comparison=comparison)
            self.stdout.write(json.dumps(document, indent=2, ensure_ascii=False))
        else:
            for line in plan_report(plan, comparison, units=options["units"], every_size=options["every_size"]):
                self.stdout.write(line)
        code = NOT_PLANNED if plan.unplanned else COMPLETE if plan.complete else GAPS
        if code:
            raise SystemExit(code)

    def _plan(self, options: dict[str, Any]) -> JobPlan:
        now = timezone.now()
        given = [name for name in ("typed_thread", "thread", "file", "job") if options[name] is not None]
        if len(given) != 1:
            raise Refused(Reason("plan_of_one_thing"))
        every_size = options["every_size"] or options["format"] == "json"
        if options["job"] is not None:
            return jobs.plan_job(jobs.open_job(options["job"]), as_of=now, every_size=every_size)
        if options["file"] is not None:
            request = read_job_file(read_text(options["file"]), as_of=now)
        else:
            site, *others = [options["site"]] if options["site"] is not None else _sites()
            request = read_job(self._document(options, site), as_of=now)
            if others:
                self.stderr.write(say(Reason("site_taken", site=site, others=tuple(others))))
        if stock.site_names():
            stock.site(request.site)
        return jobs.plan_request(request, as_of=now, every_size=every_size)

    def _document(self, options: dict[str, Any], site: str) -> dict[str, Any]:
        """The options as a job file would say them; what rules methods in or out and is not given is unknown."""
        group = {
            name.removeprefix("group_"): value
            for name, value in options.items()
            if name.startswith("group_") and value is not None
        }
        group = {"holes": "1", "hole": "blind", "depth": "unknown", "before": "unknown", "made": "unknown"} | group
        group["thread"] = options["typed_thread"] if options["thread"] is None else options["thread"]
        part = {
            name.removeprefix("part_"): value
            for name, value in options.items()
            if name.startswith("part_") and value is not None
        }
        window = {"starts": options["starts"]} | ({"ends": options["ends"]} if options["ends"] else {})
        return {
            "number": "not saved",
            "site": site,
            **window,
            "parts": [{"name": "part", **part, "groups": [group]}],
        }


def _sites() -> list[str]:
    """The sites where nobody named one, that with most units first."""
    return [name for name, _ in stock.unit_counts()] or ["here"]


def _refused(reason: Reason) -> CommandError:
    return CommandError(say(reason), returncode=NOT_PLANNED)


def _option(place: str) -> str:
    """The option that fills this place of a job file."""
    name = place.rsplit(".", 1)[-1]
    return name if name == "thread" else f"--{name.replace('_', '-')}"
