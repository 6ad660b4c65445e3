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
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import islice
from pathlib import Path
from statistics import median_low
from typing import IO, Any
from zipfile import BadZipFile, ZipFile

from inventory.errors import Reason, Refused
from inventory.quantities import read_length, read_torque

LARGEST_FILE = 50_000_000  # bytes
LARGEST_UNPACKED = 400_000_000  # bytes that a workbook may come to when it is unpacked
MOST_ROWS = 60_000
MOST_COLUMNS = 300
_LONGEST_WORKSHEET = 80
_UPPER = 20  # rows by which it is found out what parts the cells
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
    written with a comma; `found` is the row of the headings where it is not the first that is filled; `remade` are
    cells of which a spreadsheet program has made a date, a yes or a power of ten, whatever was typed.
    """

    name: str
    rows: list[list[str]]
    flaws: Flaws
    way: Way
    worksheets: tuple[str, ...] = ()
    decimal_comma: bool = False
    found: int | None = None
    remade: frozenset[tuple[int, int]] = frozenset()

    @property
    def head(self) -> int:
        """Which row holds the headings: the first that is not blank, or the one found below it. Raises `Refused`:
        sheet_empty."""
        if self.found is not None:
            return self.found
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
    # Some programs say in a line of its own before all others what parts the cells.
    said = re.match(r"sep=([,;\t])\r?\n", text)
    if said:
        text = text[said.end(1) :]
    delimiter = way.delimiter or (said[1] if said else max(",;\t", key=lambda each: _cells_in_a_row(text, each)))
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


def _cells_in_a_row(text: str, delimiter: str) -> int:
    """How many cells the upper rows mostly have by this separator; not misled by a title, nor by commas in numbers."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        filled = [len(row) for row in islice(rows, _UPPER) if "".join(row).strip(",;\t ")]
    except csv.Error:
        return 0
    return median_low(filled) if filled else 0


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
    def character(found: re.Match[str]) -> str:
        code = int(found[1], 16)
        return found[0] if 0xD800 <= code <= 0xDFFF else chr(code)  # half of a character is none

    return _BY_NUMBER.sub(character, text) if "_x" in text else text


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
                seen = [page.title for page in book.worksheets if page.sheet_state == "visible"]
                wanted = way.worksheet or (seen or names)[0]
                if len(wanted) > _LONGEST_WORKSHEET:  # no spreadsheet program gives such a name
                    raise Refused(Reason("sheet_broken", sheet=name))
                if wanted not in names:
                    raise Refused(Reason("worksheet_unknown", sheet=name, worksheet=wanted, known=names))
                page: Any = book.worksheets[names.index(wanted)]
                formats = _formats(book)
                with page._get_source() as source:
                    texts, flaws, styled, last, widest = _hidden(source, formats)
                if last > MOST_ROWS:
                    raise Refused(Reason("sheet_too_long", sheet=name, most=MOST_ROWS))
                if widest > MOST_COLUMNS:
                    raise Refused(Reason("sheet_too_wide", sheet=name, most=MOST_COLUMNS))
                page.reset_dimensions()  # what a file says of its own extent is not always so
                found = page.iter_rows(max_row=last, max_col=widest, values_only=True) if last else ()
                cells = [list(row) for row in found]
                rows = [[_cell_text(cell) for cell in row] for row in cells]
            finally:
                book.close()
        rows += [[] for _ in range(last - len(rows))]
        for (row, column), text in texts.items():
            rows[row] += [""] * (column + 1 - len(rows[row]))
            rows[row][column] = text
        remade = {
            (down, across)
            for down, row in enumerate(cells)
            for across, cell in enumerate(row)
            if isinstance(cell, date | time | timedelta | bool)
        }
        for (row, column), pattern in styled.items():
            if row < len(cells) and column < len(cells[row]) and _is_number(cells[row][column]):
                rows[row][column] = as_shown(rows[row][column], pattern)
                if "E+" in pattern.upper():
                    remade.add((row, column))
    except broken as error:
        raise Refused(Reason("sheet_broken", sheet=name)) from error
    way = Way(worksheet=wanted)
    return Table(name, rows, flaws, way, names, _decimal_comma(rows), remade=frozenset(remade))


# Numbers that a spreadsheet shows otherwise than they are: "007", "19/32", "0.61 in", "1.00E+05".
_FRACTION = re.compile(r'(?:[#0?]+(?:\s|"\s*"|\\\s)*)?[?0#]+\s*/\s*(?P<under>[?#]+|[0-9]+)')
_PADDED = re.compile(r"(?P<before>[^0#?]*)(?P<zeros>0{2,})")
_WITH_UNIT = re.compile(r"[#,]*[0#]+(?:\.[0#?]+)?(?P<unit>[^0#?.,]+)")


def _formats(book: Any) -> dict[str, str]:
    """By the number of a cell's style: how it shows a number, where that is otherwise than the number is."""
    from openpyxl.styles.numbers import BUILTIN_FORMATS, BUILTIN_FORMATS_MAX_SIZE

    told: dict[str, str] = {}
    for at, style in enumerate(book._cell_styles):
        if style.numFmtId < BUILTIN_FORMATS_MAX_SIZE:
            pattern = BUILTIN_FORMATS.get(style.numFmtId, "")
        else:
            pattern = book._number_formats[style.numFmtId - BUILTIN_FORMATS_MAX_SIZE]
        pattern = re.sub(r"\[[^\]]*\]|_.", "", pattern.split(";")[0]).strip()
        if any(each.fullmatch(pattern) for each in (_FRACTION, _PADDED, _WITH_UNIT)) or "E+" in pattern.upper():
            told[str(at)] = pattern
    return told


def _is_number(cell: Any) -> bool:
    return isinstance(cell, int | float) and not isinstance(cell, bool)


def as_shown(number: str, pattern: str) -> str:
    """A number as a spreadsheet shows it by such a pattern: with its zeros in front, as a fraction, with the unit that
    stands behind; as it is where the pattern rounds it or says nothing of the sort."""
    value = Fraction(number)
    if (found := _FRACTION.fullmatch(pattern)) and value.denominator > 1:
        under = found["under"]
        most = int(under) if under.isdigit() else 10 ** len(under) - 1
        near = value.limit_denominator(most)
        if abs(near - value) < Fraction(1, 10**9):
            whole, rest = divmod(abs(near), 1)
            text = f"{whole} {rest.numerator}/{rest.denominator}" if whole else f"{rest.numerator}/{rest.denominator}"
            return f"-{text}" if value < 0 else text
        return number
    if (found := _PADDED.fullmatch(pattern)) and number.isdigit():
        return _literal(found["before"]) + number.zfill(len(found["zeros"]))
    if found := _WITH_UNIT.fullmatch(pattern):
        unit = _literal(found["unit"]).strip()
        if _is_unit(unit):
            return f"{number} {unit}"
    return number


def _literal(part: str) -> str:
    """What stands in a pattern in quotation marks or behind a backslash, as it is shown."""
    return re.sub(r'"([^"]*)"|\\(.)', lambda found: found[1] if found[1] is not None else found[2], part)


def _is_unit(text: str) -> bool:
    for reader in (read_length, read_torque):
        try:
            reader(f"1 {text}")
        except Refused:
            continue
        return bool(text)
    return False


def _hidden(
    source: IO[bytes], formats: Mapping[str, str]
) -> tuple[dict[tuple[int, int], str], Flaws, dict[tuple[int, int], str], int, int]:
    """What reading the values of a worksheet does not show: its formulas without a value, each with its text, its
    errors, and the cells of its merged ranges beside the first, which are blank and look as if they were not; the
    cells that show a number by one of these `formats`; and the last row and column that hold anything.
    """
    from openpyxl.utils import coordinate_to_tuple
    from openpyxl.worksheet.cell_range import CellRange
    from openpyxl.xml.constants import SHEET_MAIN_NS
    from openpyxl.xml.functions import iterparse

    texts: dict[tuple[int, int], str] = {}
    flaws: Flaws = {}
    styled: dict[tuple[int, int], str] = {}
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
            if (style := element.get("s")) in formats:
                styled[row - 1, column - 1] = formats[style]
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
    return texts, flaws, styled, last, widest


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
