"""Plans and readiness as plain text tables for the terminal."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC

from repairs.cards import readiness_rows
from repairs.jobs import GroupPlan, JobPlan, MethodReadiness
from repairs.methods.values import DOUBTFUL, GAP, MATCH, Check
from repairs.wording import describe, line_words, say, size_words, word

HEADS = ("job", "holes", "method", "match", "gap", "doubtful", "what is short")


def _width() -> int:
    return max(60, min(shutil.get_terminal_size((132, 24)).columns, 180))


def grid(heads: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[int] = ()) -> Iterator[str]:
    """Lines of a table; the last column wraps, columns in `right` are set flush right."""
    table = [tuple(heads), *map(tuple, rows)]
    widths = [max(len(row[column]) for row in table) for column in range(len(heads) - 1)]
    left = sum(widths) + 2 * len(widths)
    last = max(24, _width() - left)
    for number, row in enumerate(table):
        cells = [
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=False))
        ]
        wrapped = textwrap.wrap(row[-1], last) or [""]
        yield "  ".join([*cells, wrapped[0]]).rstrip()
        for more in wrapped[1:]:
            yield " " * left + more
        if number == 0:
            yield "  ".join(["-" * width for width in widths] + ["-" * last])


def readiness_table(plans: Iterable[JobPlan], *, units: str = "mm") -> Iterator[str]:
    """One row a hole group: job, holes, method, counts, what is short."""
    rows = [
        (row.job, row.holes, row.method, str(row.matches), str(row.gaps), str(row.doubtful), " ".join(row.short))
        for plan in plans
        for row in readiness_rows(plan, units)
    ]
    return grid(HEADS, rows, right=(3, 4, 5))


def plan_report(plan: JobPlan, *, units: str = "mm") -> Iterator[str]:
    """A whole plan for people: methods side by side, then step by step the needs and what meets them."""
    window = f"{plan.start.astimezone(UTC):%Y-%m-%d %H:%M} to {plan.end.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
    yield "  ".join(filter(None, [plan.number, plan.owner, f"at {plan.site}", window]))
    for group in plan.groups:
        yield ""
        yield from _group(group, units)
    yield ""
    if plan.not_checked:
        yield "Not checked:"
        yield from (f"  {say(reason, units)}" for reason in plan.not_checked)
    verdict = [
        f"{len(plan.unplanned)} without a method" if plan.unplanned else "",
        f"{plan.count(MATCH)} match",
        f"{plan.count(GAP)} gap",
        f"{plan.count(DOUBTFUL)} doubtful",
    ]
    yield ("Complete: " if plan.complete else "Not complete: ") + ", ".join(filter(None, verdict)) + "."


def _group(group: GroupPlan, units: str) -> Iterator[str]:
    value = group.group
    plural = "hole" if value.holes == 1 else "holes"
    sort = "through" if value.through else "blind"
    yield f"{value.code}  {value.bolt.designation} (typed {value.as_typed!r}), {value.holes} {plural}, {sort}"
    for heading, reasons in (("note", value.notes), ("caution", group.cautions)):
        yield from (text for reason in reasons for text in _told(heading, say(reason, units)))
    yield "   Methods:"
    yield from (f"     {line}" for readiness_ in group.methods for line in _method(readiness_, group, units))
    if group.chosen is None:
        yield "   No method stands for these holes."
        return
    yield f"   Planned: {word(group.chosen.method)}, {size_words(group.chosen.size, units)}"
    yield from _checks(group.checks, units)
    lines = {line.need.id: line for line in group.lines}
    for number, step in enumerate(group.chosen.steps, start=1):
        yield f"   {number}. {word(step.code)}"
        for need in step.needs:
            line = lines[need.id]
            yield from _told(line.status, f"{describe(need, units)}. {line_words(line, units)}")
        yield from (text for reason in step.settings for text in _told("set", say(reason, units)))
        yield from (text for reason in step.cautions for text in _told("mind", say(reason, units)))


def _told(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, _width(), initial_indent=f"      {head:<12}", subsequent_indent=" " * 18)


def _method(readiness_: MethodReadiness, group: GroupPlan, units: str) -> Iterator[str]:
    plan = readiness_.plan
    name = word(plan.method)
    if plan.chosen is None:
        yield f"{name}: ruled out. " + " ".join(say(reason, units) for reason in (*plan.reasons, *plan.remedies))
        return
    for planned in readiness_.sizes:
        counts = {status: sum(line.status == status for line in planned.lines) for status in (MATCH, GAP, DOUBTFUL)}
        signs = sum(check.status == DOUBTFUL for check in planned.option.checks)
        mark = " (planned)" if planned.option is group.chosen else ""
        yield (
            f"{name}, {size_words(planned.option.size, units)}: {counts[MATCH]} match, {counts[GAP]} gap, "
            f"{counts[DOUBTFUL] + signs} doubtful{mark}"
        )


def _checks(checks: Iterable[Check], units: str) -> Iterator[str]:
    for check in checks:
        text = " ".join(filter(None, [say(check.reason, units), say(check.remedy, units) if check.remedy else ""]))
        yield from _told(word(check.status), text)
