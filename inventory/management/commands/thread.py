"""Everything about a thread, from the command line."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inventory.documents import candidate_document, thread_document
from inventory.errors import Reason, Refused
from inventory.forms import MeasureForm
from inventory.threads import classes, dossier, read
from inventory.wording import say

REFUSED = 2
LIMITS = ("major_min", "major_max", "pitch_min", "pitch_max", "minor_min", "minor_max")


class Command(BaseCommand):
    help = (
        "Show everything about threads as people type them: sizes, limits, drills, insert hole, look-alikes and "
        "sources; or, from measurements, what a thread may be. Exit code 2 where a thread could not be read."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("typed", nargs="*", metavar="THREAD", help='"M14 x 1,5", "9/16-18", "3/8 BSF" …')
        parser.add_argument(
            "--class",
            dest="classes",
            action="append",
            default=[],
            metavar="CLASS",
            help='tolerance class, "6H", "2A" …; may be given again; "all" for every one',
        )
        parser.add_argument("--format", choices=["table", "json"], default="table", help="for people or for programs")
        parser.add_argument("--units", choices=["mm", "in"], default="mm", help="which unit leads")
        parser.add_argument("--outside", metavar="SIZE", help="measured outside diameter: what is this thread?")
        parser.add_argument("--inside", metavar="SIZE", help="measured inside diameter of a hole")
        parser.add_argument("--pitch", metavar="SIZE", help="measured pitch")
        parser.add_argument("--tpi", metavar="NUMBER", help="counted threads per inch")
        parser.add_argument("--doubt", metavar="SIZE", help="how far the diameter may be wrong (0.05 mm)")
        parser.add_argument("--pitch-doubt", metavar="SIZE", help="how far the pitch may be wrong (0.02 mm)")

    def handle(self, *args: Any, **options: Any) -> None:
        measured = {name: options[name] for name in MeasureForm.base_fields if options[name]}
        if bool(options["typed"]) == bool(measured):
            raise CommandError(say(Reason("thread_or_measurements")), returncode=REFUSED)
        refused: list[str] = []
        documents = _candidates(measured, options["units"]) if measured else _threads(options, refused)
        table = _candidate_table if measured else _thread_table
        if options["format"] == "json":
            self.stdout.write(json.dumps(documents, indent=2, ensure_ascii=False))
        else:
            for line in table(documents, options["units"]):
                self.stdout.write(line)
        if refused:
            raise CommandError("\n".join(refused), returncode=REFUSED)


def _candidates(measured: dict[str, str], units: str) -> list[dict[str, Any]]:
    form = MeasureForm(measured)
    if not form.is_valid():
        heads = {field: "" if field == "__all__" else f"--{field.replace('_', '-')}: " for field in form.errors}
        told = [f"{heads[field]}{text}" for field, texts in form.errors.items() for text in texts]
        raise CommandError(" ".join(told), returncode=REFUSED)
    return [candidate_document(each, units) for each in form.found]


def _threads(options: dict[str, Any], refused: list[str]) -> list[dict[str, Any]]:
    """All that can be read; what cannot is added to `refused`, so that one slip does not hide the others."""
    documents: list[dict[str, Any]] = []
    for typed in options["typed"]:
        try:
            documents += _thread(typed, options)
        except Refused as raised:
            told = say(raised.reason, options["units"])
            refused.append(told if typed in told else f"{typed}: {told}")
    return documents


def _thread(typed: str, options: dict[str, Any]) -> list[dict[str, Any]]:
    reading = read(typed)
    wanted = options["classes"] or [reading.thread_class]
    if "all" in wanted:
        wanted = [*dict.fromkeys((*classes(reading.thread), *classes(reading.thread, internal=False)))]
    return [
        thread_document(dossier(reading.thread, each), typed=typed, notes=reading.notes, units=options["units"])
        for each in wanted
    ]


def _both(size: dict[str, str] | None, units: str) -> str:
    if size is None:
        return ""
    shown = {"mm": f"{Decimal(size['mm']):.3f}", "in": f"{Decimal(size['in']):.4f}"}
    first, second = ("mm", "in") if units == "mm" else ("in", "mm")
    return f"{shown[first]:>8} {first}  {shown[second]:>8} {second}"


def _thread_table(documents: list[dict[str, Any]], units: str) -> Iterator[str]:
    for number, found in enumerate(documents):
        if number:
            yield ""
        named = ", ".join(filter(None, [found["standard"], found["series"], *found["uses"]]))
        yield f"{found['thread']['designation']}  (typed {found['typed']!r})  {named}, {found['angle_degrees']}°"
        yield from (f"  note: {note['text']}" for note in found["notes"])
        yield f"  {'pitch':<22}{_both(found['pitch'], units)}" + (f"  {found['tpi']} tpi" if found["tpi"] else "")
        for name, size in found["basic"].items():
            yield f"  {'basic ' + name.replace('_', ' '):<22}{_both(size, units)}"
        yield f"  {'stress area':<22}{found['stress_area']['mm2']:>8} mm2 {found['stress_area']['in2']:>8} in2"
        sides = (("hole", found["internal"]), ("bolt", found["external"]))
        for side, limits in sides:
            if limits is None:
                continue
            known = " (computed)" if limits["computed"] else ""
            yield f"  {side} {limits['class']}: {limits['source']}{known}"
            for name in LIMITS:
                if limits.get(name):
                    yield f"    {name.replace('_', ' '):<20}{_both(limits[name], units)}"
        yield from _drill_table("drills in the window, best first", found, units)
        if found["insert_hole"]:
            hole = found["insert_hole"]
            limits = hole["limits"]
            yield f"  wire insert: {hole['thread']['designation']} {limits['class']}: {limits['source']}"
            for name in LIMITS:
                if limits.get(name):
                    yield f"    {name.replace('_', ' '):<20}{_both(limits[name], units)}"
            yield f"    {'tap major up to':<20}{_both(hole['tap_major']['most'], units)}"
            yield from _drill_table("drills for the insert hole", hole, units)
        if found["look_alikes"]:
            yield "  look-alikes, never to be taken for it:"
            for alike in found["look_alikes"]:
                yield from textwrap.wrap(
                    alike["reason"]["text"], 110, initial_indent="    ", subsequent_indent="      "
                )
        yield "  sources: " + "; ".join(found["sources"])


def _drill_table(head: str, hole: dict[str, Any], units: str) -> Iterator[str]:
    if hole["no_drill"]:
        yield f"  {head}: {hole['no_drill']['text']}"
    elif hole["drills"]:
        yield f"  {head}:"
    for drill in hole["drills"]:
        bases = drill["percent_of_thread"]
        percent = ", ".join(f"{each['percent']} % of thread on {each['basis']}" for each in bases)
        flag = f"  {drill['flag'].replace('_', ', ')}" if drill["flag"] else ""
        yield (
            f"    {drill['name']:<12}{_both(drill['diameter'], units)}  "
            f"at {drill['position_percent']:>6} % of the window, {percent}{flag}"
        )


def _candidate_table(documents: list[dict[str, Any]], units: str) -> Iterator[str]:
    for number, found in enumerate(documents, start=1):
        off = [
            f"{name.replace('_', ' ')} {_both(found[name], units).strip()}"
            for name in ("diameter_off", "pitch_off")
            if found[name] is not None
        ]
        yield (
            f"{number:>2}. {found['thread']['designation']:<22} {found['off_by_doubts']:>6} doubts off;  "
            + ";  ".join(off)
        )
        for told in found["tell_apart"]:
            yield f"      {told['text']}"
