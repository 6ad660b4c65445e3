"""Rows judged cell by cell, away from the database: each as people write it, every fault by row, column and value."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import zip_longest
from pathlib import Path
from typing import Any

from inventory.errors import Reason, Refused
from inventory.kinds import KINDS, Kind
from inventory.quantities import read_day
from inventory.sheets.columns import ALONE, COLUMNS, HEADINGS, LONGEST, POINTS, REQUIRED, STOCK, Column, with_pitch
from inventory.sheets.mapping import headed, sort_of, strict
from inventory.sheets.reading import Table, Way, read_path
from inventory.threads import Reading, Thread, basic, classes

IN_THE_HOLE = ("tap", "hole_gauge", "final_gauge")  # kinds that only the class of a hole's thread suits
_EVERY = 500  # rows between two tellings of how far it is

Told = Callable[[str, int, int], None]  # what is being done, how many rows of it, of how many


def nobody(doing: str, done: int, of: int) -> None:
    """Tells nobody how far it is."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a sheet: its number as a spreadsheet counts, its filled cells as text and as read."""

    sheet: str
    number: int
    text: dict[str, str]
    value: dict[str, Any]

    def fault(self, column: str, why: Reason) -> Reason:
        """The fault of one cell: row, column, value, and what is wrong with it."""
        return Reason(
            "cell", sheet=self.sheet, row=self.number, column=column, value=self.text.get(column, ""), why=why
        )


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet read cell by cell: "stock" or "offers", its good rows, its faults, what was filled in, how threads
    that are written in a way of their own were read, and how many rows it has."""

    name: str
    of: str
    rows: tuple[Row, ...]
    faults: tuple[Reason, ...]
    notes: tuple[Reason, ...]
    readings: tuple[Reason, ...] = ()
    count: int = 0


def read_sheet(path: Path, today: date, way: Way | None = None) -> Sheet:
    """Read a sheet whose headings are ours, cell by cell; dates such as "+30d" count from `today`. Asks no database.

    Faults of cells are collected in the answer. Raises `Refused` where there is no sheet to speak of: what
    `reading.read_path` and `mapping.strict` raise, and sheet_empty.
    """
    table = headed(read_path(path, way))
    of = sort_of(table.headings)
    return judged(table, strict(table.headings, of, sheet=table.name), of, today)


def judged(table: Table, columns: Sequence[str], of: str, today: date, told: Told = nobody) -> Sheet:
    """Every row below the headings, its cells read as what `columns` says in their order; "" is left out.

    A cell that stands under no heading at all is a fault. Raises `Refused`: sheet_empty.
    """
    head = table.head
    ours = {column.name: column for column in COLUMNS[of]}
    headed = [bool(heading) for heading in table.headings]
    good: list[Row] = []
    faults: list[Reason] = []
    notes: dict[tuple[str, str], list[Reason]] = {}
    remade: list[Reason] = []
    seen, total = 0, len(table.rows) - head - 1
    for at, raw in enumerate(table.rows[head + 1 :], start=head + 1):
        if at % _EVERY == 0:
            told("reading", at - head - 1, total)
        cells = [cell.strip() for cell in raw]
        if not any(cells) or raw == table.rows[head]:  # a blank row, or the headings once more on a new page
            continue
        seen += 1
        wrong = {name: table.flaws[at, place] for place, name in enumerate(columns) if (at, place) in table.flaws}
        beside = list(zip_longest(columns, cells, headed, fillvalue=""))
        text = {str(name): str(cell) for name, cell, _ in beside if name and (cell or name in wrong)}
        row = Row(table.name, at + 1, text, {})
        found = list(_read_cells(row, wrong, ours, of, today, notes)) if text else []
        for place, name in enumerate(columns):
            if name in text and ours[name].is_text and ((at, place) in table.remade or _remade(text[name])):
                remade.append(row.fault(name, Reason("cell_remade", typed=text[name])))
        if any(cell and not under for _, cell, under in beside):
            found.append(row.fault("", Reason("cell_beyond_columns")))
        faults += found
        if not found and text:
            good.append(row)
    told("reading", total, total)
    noted = (*(note for each in notes.values() for note in each), *remade)
    read_back = {
        value.typed: Reason("thread_read_as", typed=value.typed, thread=value.thread.designation)
        for row in good
        for value in row.value.values()
        if isinstance(value, Reading) and value.typed != value.thread.designation
    }
    return Sheet(table.name, of, tuple(good), tuple(faults), noted, tuple(read_back.values()), seen)


def _remade(text: str) -> bool:
    """Whether a text looks like a tag such as 1E5 of which a spreadsheet program made a number."""
    return re.fullmatch(r"[0-9](?:[.,][0-9]+)?E[+-][0-9]{2,3}", text) is not None


def _read_cells(
    row: Row,
    wrong: Mapping[str, Reason],
    columns: Mapping[str, Column],
    of: str,
    today: date,
    notes: dict[tuple[str, str], list[Reason]],
) -> Iterator[Reason]:
    """Read the cells of one row into its values; yields what is wrong with them, for some of them known before.

    What a reader filled in is noted once for each text of a column, with the first row that has it.
    """
    alone = all(columns[name].of == ALONE[of] for name in row.text)
    for name in () if alone else REQUIRED[of]:
        if name not in row.text:
            yield row.fault(name, Reason("cell_missing"))
    for name, text in row.text.items():
        reader = columns[name].reader
        try:
            if name in wrong:
                raise Refused(wrong[name])
            if "\0" in text:  # which no database keeps
                raise Refused(Reason("answer_unreadable", typed=text.replace("\0", "")))
            if len(text) > LONGEST.get(name, 400):
                raise Refused(Reason("cell_too_long", longest=LONGEST.get(name, 400)))
            if name == "thread" and ("pitch" in row.text or "threads per inch" in row.text):
                continue  # read with them, below
            value = read_day(text, today) if reader is None else reader(text)
        except Refused as refused:
            yield row.fault(name, refused.reason)
            continue
        if isinstance(value, Reading):
            notes.setdefault((name, text), [row.fault(name, note) for note in value.notes])
        row.value[columns[name].field] = value
    if of == "stock":
        yield from _thread_with_pitch(row)
        yield from _unfit_stock(row, alone)


def _thread_with_pitch(row: Row) -> Iterator[Reason]:
    """The thread of a row that says its pitch in a cell beside it."""
    pitch, per_inch = row.value.pop("pitch", None), row.value.pop("threads_per_inch", None)
    beside = next((name for name in ("pitch", "threads per inch") if name in row.text), "")
    if beside and "thread" not in row.text:
        yield row.fault(beside, Reason("cell_needs_another", needs="thread"))
    elif beside and (pitch is not None or per_inch is not None) and "thread" not in row.value:
        try:
            row.value["thread"] = with_pitch(row.text["thread"], pitch, per_inch)
        except Refused as refused:
            yield row.fault("thread", refused.reason)


def unfit_item(value: Mapping[str, Any], kind: Kind | None) -> Iterator[tuple[str, Reason]]:
    """What does not go together in the measurements of one item: the field that it is told at, and why.

    `value` holds what is entered by the fields of an item, threads as they were read or as themselves.
    """
    wanted, outer, inner = value.get("thread_class"), value.get("thread"), value.get("inner")
    thread, inside = _thread_of(outer), _thread_of(inner)
    if wanted and thread is not None:
        known = classes(thread)
        if kind is None or kind.code not in IN_THE_HOLE:
            known += classes(thread, internal=False)
        if wanted not in known:
            yield (
                "thread_class",
                Reason("thread_class_unknown", thread_class=wanted, thread=thread.designation, known=known),
            )
        elif isinstance(outer, Reading) and outer.thread_class not in ("", wanted):
            yield "thread_class", Reason("thread_class_twice", typed=outer.typed, thread_class=wanted)
    if thread is not None and inside is not None and basic(inside).major >= basic(thread).major:
        yield "inner", Reason("inner_not_inside", inner=inside.designation, thread=thread.designation)
    if "diameter" in value and value.get("pilot", 0) >= value["diameter"]:
        yield "pilot", Reason("pilot_not_under_cutter", pilot_nm=value["pilot"], diameter_nm=value["diameter"])
    if "diameter" in value and value.get("step_diameter", value["diameter"] + 1) <= value["diameter"]:
        yield "step_diameter", Reason("item_step_over_diameter")
    if value.get("takes_least", 0) > value.get("takes_most", value.get("takes_least", 0)):
        yield "takes_least", Reason("item_takes_range")
    if value.get("torque_min", 0) > value.get("torque_max", value.get("torque_min", 0)):
        yield "torque_min", Reason("item_torque_range")


def _thread_of(value: Any) -> Thread | None:
    return value.thread if isinstance(value, Reading) else value if isinstance(value, Thread) else None


def _unfit_stock(row: Row, alone: bool) -> Iterator[Reason]:
    """What does not go together in one row of a stock sheet."""
    value, kind = row.value, KINDS.get(row.value.get("kind", ""))
    for field, why in unfit_item(value, kind):
        yield row.fault(HEADINGS[field], why)
    if "tag" in value and "quantity" in value:
        yield row.fault("quantity", Reason("cell_tag_and_quantity"))
    for sort, key in (("unit", "tag"), ("batch", "quantity")):
        extra = [column.name for column in STOCK if column.of == sort and column.name in row.text]
        if extra and key not in row.text:
            yield row.fault(extra[0], Reason("cell_needs_another", needs=key))
    if kind is not None and "tag" in value and "quantity" not in value and kind.counted:
        yield row.fault("tag", Reason("item_is_counted", item=kind.word))
    if kind is not None and "quantity" in value and "tag" not in value and not kind.counted:
        yield row.fault("quantity", Reason("item_is_tagged", item=kind.word))
    if "tag" in value or "quantity" in value or (alone and set(row.text) != {"site"}):
        for column in ("site", "bin"):
            if column not in row.text:
                yield row.fault(column, Reason("cell_missing"))
    yield from _unfit_away(row)
    yield from _unfit_points(row, kind)
    if value.get("retired") == "no" and "superseded_by" in value:
        yield row.fault("retired", Reason("item_superseded_is_retired"))
    if value.get("packed") and value.get("expires") and value["packed"] > value["expires"]:
        yield row.fault("expires", Reason("batch_packed_before_expiry"))


def _unfit_points(row: Row, kind: Kind | None) -> Iterator[Reason]:
    """What does not go together of when an item is ordered again."""
    points = [name for name in POINTS if name in row.text]
    if not points:
        return
    if missing := next((name for name in POINTS if name not in row.text), ""):
        yield row.fault(points[0], Reason("cell_needs_another", needs=missing))
    if kind is not None and not kind.counted:
        yield row.fault(points[0], Reason("item_is_tagged", item=kind.word))
    least, point, most = (row.value.get(name.replace(" ", "_")) for name in POINTS)
    if least is not None and point is not None and least > point:
        yield row.fault("order point", Reason("order_point_not_under_minimum"))
    if point is not None and most is not None and point > most:
        yield row.fault("most", Reason("order_point_within_maximum"))


def _unfit_away(row: Row) -> Iterator[Reason]:
    """What does not go together of where a unit is."""
    value = row.value
    if "away_why" not in value:
        for column in ("away until", "away with", "badge"):
            if column in row.text:
                yield row.fault(column, Reason("cell_needs_another", needs="away why"))
        if value.get("condition") == "away":
            yield row.fault("condition", Reason("cell_needs_another", needs="away why"))
    elif value.get("condition", "away") in ("lost", "retired"):
        yield row.fault("away why", Reason("unit_gone", tag=value.get("tag", ""), condition=value["condition"]))
    elif "badge" in row.text and "away with" not in row.text:
        yield row.fault("badge", Reason("cell_needs_another", needs="away with"))
    if "issued_to" in value and ("away_why" in value or value.get("condition") in ("lost", "retired")):
        yield row.fault("issued to", Reason("unit_issued_is_not_away"))
