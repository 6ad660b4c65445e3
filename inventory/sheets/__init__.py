"""Sheets: stock and offers come in and go out as CSV or XLSX, every cell as people write it, all or nothing.

`reading` turns a file into rows of texts, `mapping` says which column is which, `judging` reads each cell away from
the database, `intake` fits the rows to what is there and writes them, `writing` is the way out. `columns` holds what
both ways share.
"""

from inventory.sheets.columns import OFFERS, STOCK, Column
from inventory.sheets.intake import Intake, load, take
from inventory.sheets.judging import Row, Sheet, judged, read_sheet, unfit_item
from inventory.sheets.mapping import strict
from inventory.sheets.reading import Table, Way, read_bytes, read_path
from inventory.sheets.writing import as_csv, as_xlsx, saved

__all__ = [
    "OFFERS",
    "STOCK",
    "Column",
    "Intake",
    "Row",
    "Sheet",
    "Table",
    "Way",
    "as_csv",
    "as_xlsx",
    "judged",
    "load",
    "read_bytes",
    "read_path",
    "read_sheet",
    "saved",
    "strict",
    "take",
    "unfit_item",
]
