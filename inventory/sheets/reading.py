"""Files that people send: CSV and XLSX become rows of texts, within bounds, and how they were read is told.

Nothing here knows what the columns mean. A file is not trusted: its size, its unpacked size, its rows and its columns
are bounded before they are read, and what is encrypted, carries macros or is no sheet is refused by name.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zlib
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import IO, Any
from zipfile import BadZipFile, ZipFile

from inventory.errors import Reason, Refused

LARGEST_FILE = 50_000_000  # bytes
LARGEST_UNPACKED = 400_000_000  # bytes that a workbook may come to when it is unpacked
MOST_ROWS = 60_000
MOST_COLUMNS = 300
ENCODINGS = {"utf-8": "UTF-8", "utf-8-sig": "UTF-8 with a mark", "utf-16": "UTF-16", "cp1252": "Windows-1252"}
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
_TEXTS = (".csv", ".tsv", ".txt")

# Cells by row and column, both counted as in the list of rows, that read as blank or as something else than they
# show: what is wrong with them.
Flaws = dict[tuple[int, int], Reason]


@dataclass(frozen=True, slots=True)
class Way:
    """How a file is read; what is "" is found out."""

    encoding: str = ""
    delimiter: str = ""
    worksheet: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A file as rows of texts, the cells that are not what they seem, and how it was read.

    `way` is filled in; `worksheets` are the names in a workbook, none for a CSV; `decimal_comma` says that numbers are
    written with a comma.
    """

    name: str
    rows: list[list[str]]
    flaws: Flaws
    way: Way
    worksheets: tuple[str, ...] = ()
    decimal_comma: bool = False

    @property
    def head(self) -> int:
        """Which row holds the headings: the first that is not blank. Raises `Refused`: sheet_empty."""
        for at, row in enumerate(self.rows):
            if any(cell.strip() for cell in row):
                return at
        raise Refused(Reason("sheet_empty", sheet=self.name))

    @property
    def headings(self) -> list[str]:
        """The headings as they stand there."""
        return [cell.strip() for cell in self.rows[self.head]]


def read_path(path: Path, way: Way | None = None) -> Table:
    """A file on this machine as a table. Raises `Refused`: sheet_not_found, sheet_not_permitted, what `read_bytes`
    raises."""
    if not path.is_file():
        raise Refused(Reason("sheet_not_found", sheet=str(path)))
    refuse_large(path.name, path.stat().st_size)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise Refused(Reason("sheet_not_permitted", sheet=path.name)) from error
    return read_bytes(path.name, data, way)


def refuse_large(name: str, size: int, largest: int | None = None) -> None:
    """Raises `Refused`: sheet_too_large."""
    largest = LARGEST_FILE if largest is None else largest
    if size > largest:
        raise Refused(Reason("sheet_too_large", sheet=name, megabytes=largest // 1_000_000))


def read_bytes(name: str, data: bytes, way: Way | None = None) -> Table:
    """What a file of this name and content holds.

    Raises `Refused`: sheet_kind_unknown, sheet_not_utf8, sheet_line_broken, sheet_broken, sheet_encrypted,
    sheet_with_macros, sheet_unpacks_too_large, sheet_too_long, sheet_too_wide, worksheet_unknown.
    """
    way, suffix = way or Way(), Path(name).suffix.lower()
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" and suffix in (".xlsx", ".xlsm", ".xls"):
        # An old workbook, or a new one behind a password: both lie in such a container.
        old = suffix == ".xls"
        raise Refused(Reason("sheet_kind_unknown", sheet=name, known=(".csv", ".xlsx")) if old
                      else Reason("sheet_encrypted", sheet=name))  # fmt: skip
    if suffix == ".xlsm":
        raise Refused(Reason("sheet_with_macros", sheet=name))
    if suffix in _TEXTS:
        return _csv_table(name, data, way)
    if suffix == ".xlsx":
        return _xlsx_table(name, data, way)
    raise Refused(Reason("sheet_kind_unknown", sheet=name, known=(".csv", ".xlsx")))


# --- CSV ---------------------------------------------------------------------------------------------------


def _encoding(data: bytes) -> str:
    """The encoding that a text is most likely written in; a mark at its beginning decides."""
    if data.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _csv_table(name: str, data: bytes, way: Way) -> Table:
    encoding = way.encoding or _encoding(data)
    try:
        text = data.decode(encoding)
    except (UnicodeError, LookupError) as error:
        raise Refused(Reason("sheet_not_utf8", sheet=name, byte=getattr(error, "start", 0))) from error
    text = text.removeprefix("\ufeff")
    head = next((line for line in text.splitlines() if line.strip()), "")
    # The separator is the one of the three that the headings use; no heading of ours holds any of them.
    delimiter = way.delimiter or max(",;\t", key=head.count)
    found = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    try:
        for row in found:
            if len(rows) >= MOST_ROWS:
                raise Refused(Reason("sheet_too_long", sheet=name, most=MOST_ROWS))
            if len(row) > MOST_COLUMNS:
                raise Refused(Reason("sheet_too_wide", sheet=name, most=MOST_COLUMNS))
            rows.append([unescaped(cell.strip()) for cell in row])
    except csv.Error as error:
        raise Refused(Reason("sheet_line_broken", sheet=name, line=found.line_num)) from error
    return Table(name, rows, {}, Way(encoding, delimiter), (), _decimal_comma(rows))


def _decimal_comma(rows: list[list[str]]) -> bool:
    """Whether numbers are written with a comma rather than a point."""
    cells = [cell for row in rows[1:2000] for cell in row]
    commas = sum(re.fullmatch(r"\s*\d+,\d+\s*", cell) is not None for cell in cells)
    return commas > sum(re.fullmatch(r"\s*\d+\.\d+\s*", cell) is not None for cell in cells)


# --- what a spreadsheet would take for a formula -----------------------------------------------------------

_TAKEN_FOR_FORMULAS = re.compile(r"'*[=+\-@\t\r]")


def escaped(text: str) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe goes before one that would be.

    One that already begins so gets another, so that taking one away is always right.
    """
    return f"'{text}" if _TAKEN_FOR_FORMULAS.match(text) else text


def unescaped(cell: str) -> str:
    """The text that was `escaped`; whatever else begins with an apostrophe keeps it."""
    return cell[1:] if cell.startswith("'") and _TAKEN_FOR_FORMULAS.match(cell) else cell


# --- XLSX --------------------------------------------------------------------------------------------------

# What XML cannot hold is written by its number, as spreadsheet programs do: _x000D_.
_BY_NUMBER = re.compile(r"_x([0-9A-Fa-f]{4})_")
_NOT_IN_XML = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")


def for_xml(text: str) -> str:
    """A text as a workbook holds it, what XML cannot hold by its number."""
    return _NOT_IN_XML.sub(lambda found: f"_x{ord(found[0]):04X}_", text)


def _from_xml(text: str) -> str:
    return _BY_NUMBER.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text


def _refuse_unfit_archive(name: str, data: bytes) -> None:
    with ZipFile(io.BytesIO(data)) as archive:
        parts = archive.infolist()
        if any(part.flag_bits & 0x1 for part in parts):
            raise Refused(Reason("sheet_encrypted", sheet=name))
        if any(part.filename.lower().endswith("vbaproject.bin") for part in parts):
            raise Refused(Reason("sheet_with_macros", sheet=name))
        # No part is unpacked beyond the size that the archive gives for it.
        if len(parts) > 5_000 or sum(part.file_size for part in parts) > LARGEST_UNPACKED:
            raise Refused(Reason("sheet_unpacks_too_large", sheet=name, megabytes=LARGEST_UNPACKED // 1_000_000))
        for part in parts:
            if part.filename.lower().endswith((".xml", ".rels")):
                with archive.open(part) as opened:
                    if b"<!DOCTYPE" in opened.read(2_000):  # which no spreadsheet program writes
                        raise Refused(Reason("sheet_broken", sheet=name))


def _xlsx_table(name: str, data: bytes, way: Way) -> Table:
    from openpyxl import load_workbook  # imported late: it costs a fifth of a second
    from openpyxl.utils.exceptions import InvalidFileException

    broken = (
        BadZipFile, InvalidFileException, LookupError, ValueError, TypeError, AttributeError, SyntaxError, EOFError,
        RuntimeError, NotImplementedError, OverflowError, zlib.error,
    )  # fmt: skip
    try:
        _refuse_unfit_archive(name, data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # openpyxl's remarks on styles and the like
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            try:
                names = tuple(page.title for page in book.worksheets)
                wanted = way.worksheet or names[0]
                if wanted not in names:
                    raise Refused(Reason("worksheet_unknown", sheet=name, worksheet=wanted, known=names))
                page: Any = book.worksheets[names.index(wanted)]
                with page._get_source() as source:
                    texts, flaws, last, widest = _hidden(source)
                if last > MOST_ROWS:
                    raise Refused(Reason("sheet_too_long", sheet=name, most=MOST_ROWS))
                if widest > MOST_COLUMNS:
                    raise Refused(Reason("sheet_too_wide", sheet=name, most=MOST_COLUMNS))
                page.reset_dimensions()  # what a file says of its own extent is not always so
                found = page.iter_rows(max_row=last, max_col=widest, values_only=True) if last else ()
                rows = [[_cell_text(cell) for cell in row] for row in found]
            finally:
                book.close()
        rows += [[] for _ in range(last - len(rows))]
        for (row, column), text in texts.items():
            rows[row] += [""] * (column + 1 - len(rows[row]))
            rows[row][column] = text
    except broken as error:
        raise Refused(Reason("sheet_broken", sheet=name)) from error
    return Table(name, rows, flaws, Way(worksheet=wanted), names, _decimal_comma(rows))


def _hidden(source: IO[bytes]) -> tuple[dict[tuple[int, int], str], Flaws, int, int]:
    """What reading the values of a worksheet does not show: its formulas without a value, each with its text, its
    errors, and the cells of its merged ranges beside the first, which are blank and look as if they were not; and
    the last row and column that hold anything.
    """
    from openpyxl.utils import coordinate_to_tuple
    from openpyxl.worksheet.cell_range import CellRange
    from openpyxl.xml.constants import SHEET_MAIN_NS
    from openpyxl.xml.functions import iterparse

    texts: dict[tuple[int, int], str] = {}
    flaws: Flaws = {}
    row = column = widest = last = 0
    for event, element in iterparse(source, ("start", "end")):
        name = element.tag.removeprefix(f"{{{SHEET_MAIN_NS}}}")
        if (event, name) == ("start", "row"):
            row, column = int(element.get("r") or row + 1), 0
        elif (event, name) == ("end", "c"):
            at = element.get("r")
            row, column = coordinate_to_tuple(at) if at else (row, column + 1)
            formula, value = (element.find(f"{{{SHEET_MAIN_NS}}}{part}") for part in ("f", "v"))
            if formula is not None or value is not None or len(element):
                last, widest = max(last, row), max(widest, column)
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
            for down in range(top, min(bottom, last) + 1):
                for across in range(left, min(right, widest) + 1):
                    if (down, across) != (top, left):
                        flaws[down - 1, across - 1] = Reason("cell_merged", cells=cells)
    return texts, flaws, last, widest


def _cell_text(cell: Any) -> str:
    """What stands in a spreadsheet's cell, as somebody would type it."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return format(Decimal(format(cell, ".15g")).normalize(), "f")  # a spreadsheet keeps 15 digits
    return unescaped(_from_xml(str(cell)).strip())
