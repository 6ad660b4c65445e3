"""Which column of somebody's sheet is which of ours: guessed from its headings, and told by a person."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

from inventory.errors import Reason, Refused
from inventory.kinds import plain
from inventory.sheets.columns import COLUMNS, NOT_KEPT, REQUIRED
from inventory.sheets.reading import Table

_UPPER, _SEVERAL = 20, 3  # rows among which headings are looked for below a title; how many of ours tell them
_NEAR = 0.84  # how alike a heading must be to be taken for one of ours; below it, nothing is guessed


@dataclass(frozen=True, slots=True)
class Guess:
    """What a heading is taken for: a column's name, "" for none; and what it is known to mean, where we keep no such
    thing."""

    heading: str
    column: str
    not_kept: str = ""


@cache
def _known(of: str) -> dict[str, str]:
    """Every heading that means one of our columns, folded, with that column's name; our own words come first."""
    known: dict[str, str] = {}
    for column in COLUMNS[of]:
        for heading in (column.name, column.iso, *column.also):
            if heading:
                known.setdefault(plain(heading), column.name)
    return known


def sort_of(headings: Sequence[str]) -> str:
    """Whether a sheet with these headings is one of "offers" or of "stock"."""
    words = {plain(heading) for heading in headings}
    named = {_known("offers").get(word, "") for word in words}
    return "offers" if {"supplier", "price"} <= named else "stock"


def headed(table: Table) -> Table:
    """The table with its headings found, where a title or a note stands above them: the first of its upper rows that
    holds several of ours, if the first one that is not blank holds hardly any."""
    words = {**_known("offers"), **_known("stock")}
    filled = [at for at, row in enumerate(table.rows[:_UPPER]) if any(cell.strip() for cell in row)]
    ours = {at: len({words.get(plain(cell), "") for cell in table.rows[at]} - {""}) for at in filled}
    if not filled or ours[filled[0]] > 1:
        return table
    return replace(table, found=next((at for at in filled if ours[at] >= _SEVERAL), None))


def guess(headings: Sequence[str], of: str) -> list[Guess]:
    """What each heading is taken for: by our words, by ISO 13399, by other usual words, or nearly so.

    No column is guessed twice: the heading that is more alike has it.
    """
    known = _known(of)
    exact = [known.get(plain(heading), "") for heading in headings]
    taken: set[str] = set()
    found: list[Guess] = []
    for heading, column in zip(headings, exact, strict=True):
        symbol = NOT_KEPT.get(heading.strip().upper(), "") if of == "stock" else ""
        if not column and not symbol and heading.strip():
            near = difflib.get_close_matches(plain(heading), known, n=1, cutoff=_NEAR)
            column = known[near[0]] if near and known[near[0]] not in exact else ""
        if column in taken:
            column = ""
        taken.add(column)
        found.append(Guess(heading, column, "" if column else symbol))
    return found


def strict(headings: Sequence[str], of: str, *, sheet: str) -> tuple[str, ...]:
    """The columns of a sheet whose headings must all be ours, in words or symbols; "" where a heading is blank.

    Raises `Refused`: column_unknown, column_twice, column_missing.
    """
    known, names = _known(of), [plain(heading) for heading in headings]
    found: list[str] = []
    for name in names:
        if name and name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            ours = tuple(column.name for column in COLUMNS[of])
            raise Refused(Reason("column_unknown", sheet=sheet, column=name, near=near[0] if near else "", known=ours))
        found.append(known.get(name, ""))
    refuse_unfit(found, of, sheet=sheet)
    return tuple(found)


def refuse_unfit(columns: Sequence[str], of: str, *, sheet: str) -> None:
    """Raises `Refused` where a mapping cannot be: column_twice, column_missing."""
    for name in columns:
        if name and columns.count(name) > 1:
            raise Refused(Reason("column_twice", sheet=sheet, column=name))
    for name in REQUIRED[of]:
        if name not in columns:
            raise Refused(Reason("column_missing", sheet=sheet, column=name))
