"""Sheets: stock and offers come in as CSV or XLSX, every cell read as people write it, all or nothing.

A sheet is first read cell by cell, away from the database, and every fault is collected with its row, column
and value. Then, in one transaction, its rows are fitted to what is there and written as the acts of the other
rooms would write them, movement by movement, but in bulk. A dry run does exactly that and takes it back, so
that it shows what would really happen.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
import warnings
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from itertools import zip_longest
from pathlib import Path
from typing import IO, Any
from zipfile import BadZipFile

from django.conf import settings

from inventory.catalogue import SAME, new_item
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.kinds import CONDITIONS, KINDS, plain
from inventory.models import Batch, Bin, Item, Movement, Offer, Person, Site, Supplier, Unit
from inventory.purchasing import add_offer, add_supplier, currency_code
from inventory.quantities import read_day, read_length, read_money, read_torque
from inventory.stock import AT_HAND, GONE, aware, tag_taken, worn
from inventory.threads import DrillError, Reading, Thread, basic, classes, read, read_drill

LARGEST_FILE = 50_000_000  # bytes
IN_THE_HOLE = ("tap", "hole_gauge", "final_gauge")  # kinds that only the class of a hole's thread suits
_BATCH = 2_000

# --- cells -------------------------------------------------------------------------------------------------


def _word(words: dict[str, str]) -> Callable[[str], str]:
    """A reader of one of a few words; `words` maps each spelling to what it means."""

    def reader(text: str) -> str:
        found = words.get(plain(text))
        if found is None:
            known = tuple(dict.fromkeys(words.values()))
            near = difflib.get_close_matches(plain(text), words, n=1)
            raise Refused(Reason("cell_word_unknown", typed=text, known=known, near=words[near[0]] if near else ""))
        return found

    return reader


def _diameter(text: str) -> int:
    """A diameter in nm: a drill by size or name, or any other length ("30 thou")."""
    try:
        return read_drill(text).diameter_nm
    except DrillError as refused:
        if refused.reason.code != "drill_unreadable":
            raise
        return read_length(text)


def _whole(least: int) -> Callable[[str], int]:
    def reader(text: str) -> int:
        if re.fullmatch(r"[0-9]{1,12}", text) is None or int(text) < least:
            raise Refused(Reason("count_unreadable", typed=text, least=least))
        return int(text)

    return reader


def _lead(text: str) -> int:
    """A lead in threads, as tenths of a thread."""
    try:
        tenths = Decimal(text.replace(",", ".")) * 10
    except InvalidOperation:
        tenths = Decimal(0)
    if not tenths.is_finite() or tenths != tenths.to_integral_value() or not 0 < tenths <= 500:
        raise Refused(Reason("lead_unreadable", typed=text))
    return int(tenths)


def _money_text(text: str) -> str:
    read_money(text)  # the currency is another cell's; whether it is money at all can be said here
    return text


_FLUTES = {
    "straight": "straight", "straight flute": "straight", "spiral": "spiral", "spiral flute": "spiral",
    "point": "point", "spiral point": "point",
}  # fmt: skip
_ACTIONS = {"cut": "cut", "cutting": "cut", "form": "form", "forming": "form"}
_HANDS = {"l": "L", "left": "L", "lh": "L", "r": "R", "right": "R", "rh": "R"}
_AWAY = {"loan": "loan", "on loan": "loan", "regrind": "regrind", "at regrind": "regrind",
         "calibration": "calibration", "at calibration": "calibration"}  # fmt: skip
_KINDS = {plain(word): kind.code for kind in KINDS.values() for word in (kind.code, kind.word, kind.plural)}
_CONDITIONS = {plain(condition): condition for condition in CONDITIONS} | {"due for regrind": "due_regrind"}


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet: its heading, what it describes (`of`), what it holds, how a cell is read.

    `field` is what its value is stored under.
    """

    name: str
    of: str
    meaning: str
    reader: Callable[[str], Any] | None  # None: a day, which may count from today

    @property
    def field(self) -> str:
        return "thread_class" if self.name == "class" else self.name.replace(" ", "_")


STOCK = (
    Column("kind", "item", "what it is: drill, tap, seat cutter, hole gauge …", _word(_KINDS)),
    Column("number", "item", "the shop's own catalogue number", str),
    Column("name", "item", "a name, where measurements do not tell enough (fixtures, safety items)", str),
    Column("thread", "item", "the thread it carries or cuts: M14 x 1,5 · 9/16-18 · EG M14x1.5", read),
    Column("class", "item", "thread class: 6H, 2B …", str),
    Column("inner", "item", "an insert's inside thread", read),
    Column("diameter", "item", "cutting diameter: 15.5 · 19/32 in · 0.610\" · #7 · Q", _diameter),
    Column("pilot", "item", "diameter of a seat cutter's pilot", _diameter),
    Column("usable length", "item", "how deep it reaches: 120 · 4 3/4 in", read_length),
    Column("lead", "item", "a tap's lead in threads: 4 · 1,5", _lead),
    Column("flute", "item", "straight, spiral or point (spiral point)", _word(_FLUTES)),
    Column("action", "item", "cut or form", _word(_ACTIONS)),
    Column("insert length", "item", "an insert's length", read_length),
    Column("flange", "item", "diameter of an insert's flange", _diameter),
    Column("hand", "item", "a fixture's own, L or R; a thread's stands in the thread", _word(_HANDS)),
    Column("torque min", "item", "least torque: 20 · 15 lbf·ft", read_torque),
    Column("torque max", "item", "largest torque", read_torque),
    Column("family", "item", "insert family and edition: own-flanged/1", str),
    Column("life", "item", "holes between regrinds", _whole(1)),
    Column("cure hours", "item", "hours an adhesive takes to cure, by its data sheet, rounded up", _whole(1)),
    Column("step diameter", "item", "diameter of a step drill's second step", _diameter),
    Column("step length", "item", "length of a step drill's leading step", read_length),
    Column("takes least", "item", "least bore, tap square or pitch (boring head, tap wrench, pitch gauge)", _diameter),
    Column("takes most", "item", "largest bore, tap square or pitch", _diameter),
    Column("tag", "unit", "the unit's own tag; a row with one is a unit", str),
    Column("condition", "unit", "new, serviceable (if left out) or due_regrind", _word(_CONDITIONS)),
    Column("holes cut", "unit", "holes cut since the last regrind", _whole(0)),
    Column("calibration due", "unit", "last good day: 2027-03-31 · +90d", None),
    Column("away why", "unit", "loan, regrind or calibration", _word(_AWAY)),
    Column("away until", "unit", "last day it is away; empty if nobody knows", None),
    Column("away with", "unit", "who has it", str),
    Column("site", "place", "where the bin stands", str),
    Column("bin", "place", "the bin's name", str),
    Column("walk", "place", "the bin's number on the walk through the crib", _whole(0)),
    Column("quantity", "batch", "how many; a row with one is a batch", _whole(1)),
    Column("lot", "batch", "the maker's lot", str),
    Column("packed", "batch", "day of make or pack", None),
    Column("expires", "batch", "last good day", None),
)  # fmt: skip

OFFERS = (
    Column("supplier", "supplier", "the firm's name", str),
    Column("currency", "supplier", "EUR if left out", currency_code),
    Column("carriage", "supplier", "carriage an order", _money_text),
    Column("minimum", "supplier", "least order", _money_text),
    Column("items", "offer", "catalogue number, or a set sold whole: DR-145 × 2 + TP-16 × 1", str),
    Column("number", "offer", "the supplier's own number", str),
    Column("name", "offer", "what the supplier calls it", str),
    Column("pack", "offer", "how many of it one pack holds; 1 if left out", _whole(1)),
    Column("price", "offer", "price of one pack", _money_text),
    Column("lead days", "offer", "days from order to delivery", _whole(0)),
    Column("breaks", "offer", "from so many packs on, so much a pack: 10: 4.20; 50: 3.90", str),
)

_REQUIRED = {"stock": ("kind",), "offers": ("supplier", "items", "price")}
_HEADINGS = {column.field: column.name for column in STOCK}
_LONGEST = {
    "number": 40, "name": 160, "class": 12, "family": 80, "tag": 40, "away with": 80, "site": 80, "bin": 40,
    "lot": 40, "supplier": 80,
}  # fmt: skip


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
    """A sheet read cell by cell: "stock" or "offers", its good rows, its faults, what was filled in, and how threads
    that are written in a way of their own were read."""

    name: str
    of: str
    rows: tuple[Row, ...]
    faults: tuple[Reason, ...]
    notes: tuple[Reason, ...]
    readings: tuple[Reason, ...] = ()


@dataclass(slots=True)
class Intake:
    """What came in, or would come in: counts by word, faults, notes, threads read back, and whether it
    was written.
    """

    counts: dict[str, int] = field(default_factory=dict)
    faults: list[Reason] = field(default_factory=list)
    notes: list[Reason] = field(default_factory=list)
    readings: list[Reason] = field(default_factory=list)
    applied: bool = False

    def count(self, word: str, more: int) -> None:
        self.counts[word] = self.counts.get(word, 0) + more


# --- files -------------------------------------------------------------------------------------------------


# Cells by row and column, both counted as in the list of rows, that read as blank or as something else than they
# show: what is wrong with them.
Flaws = dict[tuple[int, int], Reason]


def _csv_rows(path: Path) -> list[list[str]]:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(Reason("sheet_not_utf8", sheet=path.name, byte=error.start)) from error
    head = next((line for line in text.splitlines() if line.strip()), "")
    # The separator is the one of the three that the headings use; no heading holds any of them.
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=head.count), strict=True)
    try:
        return list(rows)
    except csv.Error as error:
        raise Refused(Reason("sheet_line_broken", sheet=path.name, line=rows.line_num)) from error


def _xlsx_rows(path: Path) -> tuple[list[list[str]], Flaws]:
    from openpyxl import load_workbook  # imported late: it costs a fifth of a second
    from openpyxl.utils.exceptions import InvalidFileException

    broken = (
        BadZipFile, InvalidFileException, LookupError, ValueError, TypeError, AttributeError, SyntaxError, EOFError,
        RuntimeError, zlib.error,
    )  # fmt: skip
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # openpyxl's remarks on styles and the like
            book = load_workbook(path, read_only=True, data_only=True)
            try:
                page: Any = book.worksheets[0]
                with page._get_source() as source:
                    texts, flaws = _hidden(source)
                page.reset_dimensions()  # what a file says of its own extent is not always so
                rows = [[_cell_text(cell) for cell in row] for row in page.iter_rows(values_only=True)]
            finally:
                book.close()
        for (row, column), text in texts.items():
            rows[row] += [""] * (column + 1 - len(rows[row]))
            rows[row][column] = text
    except broken as error:
        raise Refused(Reason("sheet_broken", sheet=path.name)) from error
    return rows, flaws


def _hidden(source: IO[bytes]) -> tuple[dict[tuple[int, int], str], Flaws]:
    """What reading the values of a worksheet does not show: its formulas without a value, each with its text, its
    errors, and the cells of its merged ranges beside the first, which are blank and look as if they were not.
    """
    from openpyxl.utils import coordinate_to_tuple
    from openpyxl.worksheet.cell_range import CellRange
    from openpyxl.xml.constants import SHEET_MAIN_NS
    from openpyxl.xml.functions import iterparse

    texts: dict[tuple[int, int], str] = {}
    flaws: Flaws = {}
    row = column = widest = 0
    for event, element in iterparse(source, ("start", "end")):
        name = element.tag.removeprefix(f"{{{SHEET_MAIN_NS}}}")
        if (event, name) == ("start", "row"):
            row, column = int(element.get("r") or row + 1), 0
        elif (event, name) == ("end", "c"):
            at = element.get("r")
            row, column = coordinate_to_tuple(at) if at else (row, column + 1)
            widest = max(widest, column)
            formula, value = (element.find(f"{{{SHEET_MAIN_NS}}}{part}") for part in ("f", "v"))
            if element.get("t") == "e":
                flaws[row - 1, column - 1] = Reason("cell_error")
            # An empty text is a value: =IF(B2="", "", B2) gives one.
            elif formula is not None and (value is None or not value.text) and element.get("t") != "str":
                texts[row - 1, column - 1] = f"={formula.text or ''}"
                flaws[row - 1, column - 1] = Reason("cell_formula_without_value")
        elif (event, name) == ("end", "row"):
            element.clear()
        elif (event, name) == ("end", "mergeCell"):
            cells = element.get("ref", "A1")
            left, top, right, bottom = CellRange(cells).bounds
            for down in range(top, min(bottom, row) + 1):
                for across in range(left, min(right, widest) + 1):
                    if (down, across) != (top, left):
                        flaws[down - 1, across - 1] = Reason("cell_merged", cells=cells)
    return texts, flaws


def _cell_text(cell: Any) -> str:
    """What stands in a spreadsheet's cell, as somebody would type it."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float):
        return format(Decimal(format(cell, ".15g")).normalize(), "f")  # a spreadsheet keeps 15 digits
    return str(cell).strip()


def _file_rows(path: Path) -> tuple[list[list[str]], Flaws]:
    if not path.is_file():
        raise Refused(Reason("sheet_not_found", sheet=str(path)))
    if path.stat().st_size > LARGEST_FILE:
        raise Refused(Reason("sheet_too_large", sheet=path.name, megabytes=LARGEST_FILE // 1_000_000))
    try:
        if path.suffix.lower() in (".csv", ".tsv", ".txt"):
            return _csv_rows(path), {}
        if path.suffix.lower() == ".xlsx":
            return _xlsx_rows(path)
    except OSError as error:
        raise Refused(Reason("sheet_not_permitted", sheet=path.name)) from error
    raise Refused(Reason("sheet_kind_unknown", sheet=path.name, known=(".csv", ".xlsx")))


def read_sheet(path: Path, today: date) -> Sheet:
    """Read a sheet cell by cell; dates such as "+30d" count from `today`. Touches no database.

    Faults of cells are collected in the answer. Raises `Refused` where there is no sheet to speak of:
    sheet_not_found, sheet_not_permitted, sheet_kind_unknown, sheet_too_large, sheet_not_utf8, sheet_broken,
    sheet_line_broken, sheet_empty, column_unknown, column_twice, column_missing.
    """
    texts, flaws = _file_rows(path)
    rows = ((number, [cell.strip() for cell in row]) for number, row in enumerate(texts, start=1))
    filled = ((number, row) for number, row in rows if any(row))
    _, head = next(filled, (0, []))
    if not head:
        raise Refused(Reason("sheet_empty", sheet=path.name))
    names = [plain(cell) for cell in head]
    of = "offers" if {"supplier", "price"} <= set(names) else "stock"
    columns = {column.name: column for column in (OFFERS if of == "offers" else STOCK)}
    for name in filter(None, names):
        if name not in columns:
            near = difflib.get_close_matches(name, columns, n=1)
            raise Refused(
                Reason(
                    "column_unknown",
                    sheet=path.name,
                    column=name,
                    near=near[0] if near else "",
                    known=tuple(columns),
                )
            )
        if names.count(name) > 1:
            raise Refused(Reason("column_twice", sheet=path.name, column=name))
    for name in _REQUIRED[of]:
        if name not in names:
            raise Refused(Reason("column_missing", sheet=path.name, column=name))
    good: list[Row] = []
    faults: list[Reason] = []
    notes: dict[tuple[str, str], list[Reason]] = {}
    for number, cells in filled:
        wrong = {name: flaws[number - 1, at] for at, name in enumerate(names) if (number - 1, at) in flaws}
        beside = list(zip_longest(names, cells, fillvalue=""))
        row = Row(path.name, number, {name: cell for name, cell in beside if name and (cell or name in wrong)}, {})
        found = list(_read_cells(row, wrong, columns, of, today, notes))
        if any(cell and not name for name, cell in beside):
            found.append(row.fault("", Reason("cell_beyond_columns")))
        faults += found
        if not found:
            good.append(row)
    told = tuple(note for each in notes.values() for note in each)
    read_back = {
        value.typed: Reason("thread_read_as", typed=value.typed, thread=value.thread.designation)
        for row in good
        for value in row.value.values()
        if isinstance(value, Reading) and value.typed != value.thread.designation
    }
    return Sheet(path.name, of, tuple(good), tuple(faults), told, tuple(read_back.values()))


def _read_cells(
    row: Row,
    wrong: dict[str, Reason],
    columns: dict[str, Column],
    of: str,
    today: date,
    notes: dict[tuple[str, str], list[Reason]],
) -> Iterator[Reason]:
    """Read the cells of one row into its values; yields what is wrong with them, for some of them known before.

    What a reader filled in is noted once for each text of a column, with the first row that has it.
    """
    for name in _REQUIRED[of]:
        if name not in row.text:
            yield row.fault(name, Reason("cell_missing"))
    for name, text in row.text.items():
        reader = columns[name].reader
        try:
            if name in wrong:
                raise Refused(wrong[name])
            if len(text) > _LONGEST.get(name, 400):
                raise Refused(Reason("cell_too_long", longest=_LONGEST.get(name, 400)))
            value = read_day(text, today) if reader is None else reader(text)
        except Refused as refused:
            yield row.fault(name, refused.reason)
            continue
        if isinstance(value, Reading):
            notes.setdefault((name, text), [row.fault(name, note) for note in value.notes])
        row.value[columns[name].field] = value
    if of == "stock":
        yield from _unfit_stock(row)


def _unfit_stock(row: Row) -> Iterator[Reason]:
    """What does not go together in one row of a stock sheet."""
    value, kind = row.value, KINDS.get(row.value.get("kind", ""))
    for column in ("thread", "inner"):
        wanted, reading = value.get("thread_class"), value.get(column)
        if column == "thread" and wanted and isinstance(reading, Reading):
            known = classes(reading.thread)
            if kind is None or kind.code not in IN_THE_HOLE:
                known += classes(reading.thread, internal=False)
            if wanted not in known:
                thread = reading.thread.designation
                why = Reason("thread_class_unknown", thread_class=wanted, thread=thread, known=known)
                yield row.fault("class", why)
            elif reading.thread_class not in ("", wanted):
                yield row.fault("class", Reason("thread_class_twice", typed=reading.typed, thread_class=wanted))
    outer, inner = value.get("thread"), value.get("inner")
    if (
        isinstance(outer, Reading)
        and isinstance(inner, Reading)
        and basic(inner.thread).major >= basic(outer.thread).major
    ):
        named = {"inner": inner.thread.designation, "thread": outer.thread.designation}
        yield row.fault("inner", Reason("inner_not_inside", **named))
    if "diameter" in value and value.get("pilot", 0) >= value["diameter"]:
        yield row.fault(
            "pilot", Reason("pilot_not_under_cutter", pilot_nm=value["pilot"], diameter_nm=value["diameter"])
        )
    if "diameter" in value and value.get("step_diameter", value["diameter"] + 1) <= value["diameter"]:
        yield row.fault("step diameter", Reason("item_step_over_diameter"))
    if value.get("takes_least", 0) > value.get("takes_most", value.get("takes_least", 0)):
        yield row.fault("takes least", Reason("item_takes_range"))
    if value.get("torque_min", 0) > value.get("torque_max", value.get("torque_min", 0)):
        yield row.fault("torque min", Reason("item_torque_range"))
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
    if "tag" in value or "quantity" in value:
        for column in ("site", "bin"):
            if column not in row.text:
                yield row.fault(column, Reason("cell_missing"))
    if value.get("condition") in GONE:
        yield row.fault("condition", Reason("condition_not_at_hand", condition=value["condition"], known=AT_HAND))
    if "away_why" not in value:
        for column in ("away until", "away with"):
            if column in row.text:
                yield row.fault(column, Reason("cell_needs_another", needs="away why"))
        if value.get("condition") == "away":
            yield row.fault("condition", Reason("cell_needs_another", needs="away why"))
    if value.get("packed") and value.get("expires") and value["packed"] > value["expires"]:
        yield row.fault("expires", Reason("batch_packed_before_expiry"))


# --- taking in ---------------------------------------------------------------------------------------------


class _Undone(Exception):
    """Takes a dry run, or a load with faults, back."""


def load(*, paths: Sequence[Path], as_of: datetime, by: Any, apply: bool) -> Intake:
    """Take sheets in, all of them or nothing; stock first, so that offers find the items it brings.

    With `apply` False everything is worked out against the database and taken back. Faults are in the answer,
    and then nothing was written. Raises `Refused` where a file is no sheet at all (`read_sheet`).
    """
    aware(as_of)
    intake = Intake()
    sheets = [read_sheet(path, as_of.astimezone(settings.SHOP_ZONE).date()) for path in paths]
    for sheet in sheets:
        intake.faults += sheet.faults
        intake.notes += sheet.notes
        intake.readings += [told for told in sheet.readings if told not in intake.readings]
    try:
        with act():
            for sheet in sorted(sheets, key=lambda sheet: sheet.of != "stock"):
                taker = _Stock if sheet.of == "stock" else _Offers
                taker(sheet, as_of, str(by), intake).take()
            if intake.faults or not apply:
                raise _Undone
            intake.applied = True
    except _Undone:
        pass
    # By sheet and row, as somebody reads it; a stable order whatever was found first.
    for told in (intake.faults, intake.notes):
        told.sort(key=lambda reason: (reason["sheet"], reason["row"]))
    return intake


class _Stock:
    """One stock sheet on its way in. What is there already is read once, what is new is written in bulk."""

    def __init__(self, sheet: Sheet, as_of: datetime, by: str, intake: Intake) -> None:
        self.sheet, self.as_of, self.by, self.intake = sheet, as_of, by, intake
        self.by_number: dict[str, Item] = {}
        self.by_same: dict[tuple[Any, ...], Item] = {}
        for item in Item.objects.order_by("-pk"):
            self.remember(item)
        self.new_items: list[tuple[Row, Item]] = []

    def remember(self, item: Item) -> None:
        if item.number:
            self.by_number[item.number] = item
        self.by_same[_same(item)] = item

    def take(self) -> None:
        placed = [(row, item) for row in self.sheet.rows if (item := self.item(row)) is not None]
        Item.objects.bulk_create((item for _, item in self.new_items), batch_size=_BATCH)
        self.intake.count("items", len(self.new_items))
        for row, item in self.new_items:
            missing = _missing(item)
            if missing:
                self.note(row, missing[0], Reason("item_cannot_be_matched", item=_words(item), missing=missing))
        bins = self.bins()
        people = self.people()
        self.units([(r, i) for r, i in placed if "tag" in r.value], bins, people)
        self.batches([(r, i) for r, i in placed if "quantity" in r.value], bins)

    def fault(self, row: Row, column: str, why: Reason) -> None:
        self.intake.faults.append(row.fault(column, why))

    def note(self, row: Row, column: str, why: Reason) -> None:
        self.intake.notes.append(row.fault(column, why))

    def item(self, row: Row) -> Item | None:
        """The item that a row is of: by its number, or by equal measurements; else a new one."""
        value = row.value
        measured = {column.field for column in STOCK if column.of == "item" and column.name in row.text}
        fields = {name: value[name] for name in measured}
        for column in ("thread", "inner"):
            if isinstance(fields.get(column), Reading):
                reading = fields[column]
                fields[column] = reading.thread
                if column == "thread":
                    fields["as_typed"] = reading.typed
                    fields.setdefault("thread_class", reading.thread_class)
        item = new_item(**fields)
        known = self.by_number.get(value.get("number", ""))
        if known is None:
            known = self.by_same.get(_same(item)) if not item.number else None
        if known is not None:
            different = [name for name in measured - {"number"} if getattr(known, name) != getattr(item, name)]
            if different:
                self.fault(row, _HEADINGS[min(different)], Reason("item_differs", number=known.number or ""))
                return None
            return known
        self.new_items.append((row, item))
        self.remember(item)
        return item

    def bins(self) -> dict[tuple[str, str], Bin]:
        sites = {site.name: site for site in Site.objects.all()}
        bins = {(bin.site.name, bin.name): bin for bin in Bin.objects.select_related("site")}
        new: list[Bin] = []
        self.intake.count("sites", 0)
        walked: dict[tuple[str, str], int] = {where: bin.walk for where, bin in bins.items()}
        for row in self.sheet.rows:
            where = (row.value.get("site", ""), row.value.get("bin", ""))
            if not all(where):
                continue
            walk = row.value.get("walk")
            if where[0] not in sites:
                sites[where[0]] = Site.objects.create(name=where[0])
                self.intake.count("sites", 1)
            if where not in bins:
                bins[where] = Bin(site=sites[where[0]], name=where[1], walk=walk or 0)
                new.append(bins[where])
                if walk is not None:
                    walked[where] = walk
            elif walk is not None and walked.setdefault(where, walk) != walk:
                self.fault(row, "walk", Reason("bin_walk_differs", bin=where[1], walk=walked[where]))
            elif walk is not None:
                bins[where].walk = walk
        Bin.objects.bulk_create(new, batch_size=_BATCH)
        self.intake.count("bins", len(new))
        return bins

    def people(self) -> dict[str, Person]:
        people: dict[str, Person] = {}
        for person in Person.objects.order_by("-pk"):
            people[person.name] = person
        borrowers = dict.fromkeys(
            row.value["away_with"]
            for row in self.sheet.rows
            if row.value.get("away_why") == "loan" and "away_with" in row.value
        )
        new = [Person(name=name) for name in borrowers if name not in people]
        Person.objects.bulk_create(new, batch_size=_BATCH)
        self.intake.count("people", len(new))
        return people | {person.name: person for person in new}

    def units(self, rows: list[tuple[Row, Item]], bins: dict[tuple[str, str], Bin], people: dict[str, Person]) -> None:
        # In capitals, as tags are compared: each as it is written, and its row, 0 for what was there before.
        tags = {tag.upper(): (tag, 0) for tag in Unit.objects.values_list("tag", flat=True)}
        units: list[Unit] = []
        for row, item in rows:
            value = row.value
            tag, first = tags.setdefault(value["tag"].upper(), (value["tag"], row.number))
            if first != row.number:
                other = tag if tag != value["tag"] else ""
                twice = Reason("tag_twice", row=first, tag=other)
                self.fault(row, "tag", twice if first else tag_taken(value["tag"], tag))
                continue
            why_away = value.get("away_why", "")
            said, holes_cut = value.get("condition", "serviceable"), value.get("holes_cut", 0)
            condition = "away" if why_away else worn(said, holes_cut=holes_cut, life=item.life)
            if condition not in ("away", said):
                self.note(row, "holes cut", Reason("life_used_up", life=item.life))
            units.append(
                Unit(
                    item=item,
                    tag=value["tag"],
                    bin=bins[value["site"], value["bin"]],
                    condition=condition,
                    holes_cut=holes_cut,
                    calibration_due=value.get("calibration_due"),
                    away_why=why_away,
                    away_until=value.get("away_until"),
                    away_with=value.get("away_with", ""),
                    borrower=people.get(value.get("away_with", "")) if why_away == "loan" else None,
                )
            )
        Unit.objects.bulk_create(units, batch_size=_BATCH)
        self.intake.count("units", len(units))
        movements: list[Movement] = []
        for unit in units:
            movements.append(self.movement("received", unit.bin, quantity=1, unit=unit, holes=unit.holes_cut))
            if unit.away_why:
                deed = "lent" if unit.away_why == "loan" else "sent"
                movements.append(self.movement(deed, unit.bin, quantity=-1, unit=unit, person=unit.borrower))
        self.book(movements)

    def batches(self, rows: list[tuple[Row, Item]], bins: dict[tuple[str, str], Bin]) -> None:
        there = dict.fromkeys(Batch.objects.values_list("item", "bin", "lot"), 0)
        batches: list[Batch] = []
        for row, item in rows:
            value = row.value
            bin = bins[value["site"], value["bin"]]
            key = (item.pk, bin.pk, value.get("lot", ""))
            if key in there:
                first = there[key]
                why = Reason("batch_twice", row=first) if first else Reason("batch_already_there", lot=key[2])
                self.fault(row, "quantity", why)
                continue
            there[key] = row.number
            batches.append(
                Batch(
                    item=item,
                    bin=bin,
                    lot=value.get("lot", ""),
                    packed=value.get("packed"),
                    expires=value.get("expires"),
                    on_hand=value["quantity"],
                )
            )
        Batch.objects.bulk_create(batches, batch_size=_BATCH)
        self.intake.count("batches", len(batches))
        self.book(self.movement("received", batch.bin, quantity=batch.on_hand, batch=batch) for batch in batches)

    def movement(self, deed: str, bin: Bin, *, quantity: int, **of: Any) -> Movement:
        """A line of the ledger as the act of this name writes it; its reason is the sheet it came from."""
        way = {"to_bin": bin} if quantity > 0 else {"from_bin": bin}
        return Movement(at=self.as_of, by=self.by, act=deed, quantity=quantity, reason=self.sheet.name, **way, **of)

    def book(self, movements: Iterable[Movement]) -> None:
        Movement.objects.bulk_create(movements, batch_size=_BATCH)


def _same(item: Item) -> tuple[Any, ...]:
    return tuple(getattr(item, column) for column in SAME)


def _missing(item: Item) -> tuple[str, ...]:
    """The headings of what this item must carry to be matched and does not."""
    return tuple(_HEADINGS[name] for name in KINDS[item.kind].measures if getattr(item, name) in (None, ""))


def _words(item: Item) -> str:
    """An item in a few words for a message, whatever of it is filled in."""
    thread = Thread.from_key(item.thread).designation if item.thread else ""
    return " ".join(word for word in (item.number, item.name or KINDS[item.kind].word, thread) if word)


class _Offers:
    """One sheet of offers on its way in."""

    def __init__(self, sheet: Sheet, as_of: datetime, by: str, intake: Intake) -> None:
        self.sheet, self.intake = sheet, intake
        self.items = {str(item.number): item for item in Item.objects.exclude(number=None)}
        self.suppliers = {supplier.name: supplier for supplier in Supplier.objects.all()}
        self.there = set(Offer.objects.exclude(number="").values_list("supplier__name", "number"))

    def take(self) -> None:
        for row in self.sheet.rows:
            try:
                self.offer(row)
            except _Fault as fault:
                self.intake.faults.append(row.fault(fault.column, fault.reason))

    def offer(self, row: Row) -> None:
        value = row.value
        supplier = self.supplier(row)
        items = self.set_of_items(value["items"])
        price = _money(value["price"], supplier.currency, "price")
        breaks = [
            (int(packs), _money(each, supplier.currency, "breaks")) for packs, each in _breaks(value.get("breaks", ""))
        ]
        number = value.get("number", "")
        if number and (supplier.name, number) in self.there:
            raise _Fault("number", Reason("offer_already_there", number=number))
        self.there.add((supplier.name, number))
        try:
            add_offer(
                supplier=supplier,
                items=items,
                price=price,
                pack=value.get("pack", 1),
                lead_days=value.get("lead_days", 0),
                breaks=breaks,
                number=number,
                name=value.get("name", ""),
            )
        except Refused as refused:
            raise _Fault("breaks" if "break" in refused.reason.code else "items", refused.reason) from refused
        self.intake.count("offers", 1)

    def supplier(self, row: Row) -> Supplier:
        value = row.value
        supplier = self.suppliers.get(value["supplier"])
        currency = value.get("currency", supplier.currency if supplier else "EUR")
        terms = {
            column: _money(value[column], currency, column) for column in ("carriage", "minimum") if column in value
        }
        if supplier is None:
            supplier = add_supplier(name=value["supplier"], currency=currency, **terms)
            self.suppliers[supplier.name] = supplier
            self.intake.count("suppliers", 1)
        for column, said in [("currency", currency), *terms.items()]:
            if getattr(supplier, column) != said:
                raise _Fault(column, Reason("supplier_terms_differ", supplier=supplier.name))
        return supplier

    def set_of_items(self, text: str) -> list[tuple[Item, int]]:
        found: list[tuple[Item, int]] = []
        for part in re.split(r"\s*\+\s*", text):
            match = re.fullmatch(r"(?P<number>.+?)(?:\s*[×*]\s*(?P<times>[0-9]{1,6})|\s+x\s*(?P<x>[0-9]{1,6}))?", part)
            if match is None:
                raise _Fault("items", Reason("items_unreadable", typed=text))
            item = self.items.get(match["number"].strip())
            if item is None:
                near = difflib.get_close_matches(match["number"].strip(), self.items, n=1)
                raise _Fault(
                    "items",
                    Reason("item_number_unknown", number=match["number"].strip(), near=near[0] if near else ""),
                )
            found.append((item, int(match["times"] or match["x"] or 1)))
        return found


class _Fault(Exception):
    """Something is wrong with one cell of the row at hand."""

    def __init__(self, column: str, reason: Reason) -> None:
        super().__init__(column)
        self.column, self.reason = column, reason


def _money(text: str, currency: str, column: str) -> int:
    try:
        return read_money(text, currency)
    except Refused as refused:
        raise _Fault(column, refused.reason) from refused


def _breaks(text: str) -> Iterator[tuple[str, str]]:
    for part in filter(None, (part.strip() for part in text.split(";"))):
        match = re.fullmatch(r"([0-9]{1,9})\s*:\s*(\S.*)", part)
        if match is None:
            raise _Fault("breaks", Reason("breaks_unreadable", typed=text))
        yield match[1], match[2]
