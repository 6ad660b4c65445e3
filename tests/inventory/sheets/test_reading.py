"""Files as storekeepers have them: what a spreadsheet shows is what is taken, and what it made of a cell is told."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook

from inventory import sheets, stock
from inventory.models import Batch, Item, Unit
from inventory.sheets import mapping, reading
from inventory.wording import say

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
HEADS = ["kind", "diameter", "usable length", "tag", "site", "bin"]

Cell = Any


def _book(
    *rows: list[Cell], formats: dict[str, str] | None = None, change: Callable[[Any], None] | None = None
) -> bytes:
    book = Workbook()
    page: Any = book.active
    for row in rows:
        page.append(row)
    for cell, pattern in (formats or {}).items():
        page[cell].number_format = pattern
    if change is not None:
        change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _load(folder: Path, data: bytes, name: str = "stock.xlsx") -> sheets.Intake:
    (folder / name).write_bytes(data)
    intake = sheets.load(paths=[folder / name], as_of=MONDAY, by="test", apply=True)
    assert [say(fault) for fault in intake.faults] == []
    return intake


# What a spreadsheet shows


@pytest.mark.parametrize(
    ("number", "pattern", "shown"),
    [
        ("7", "000", "007"),
        ("1234", "000", "1234"),
        ("7", '"D-"000', "D-007"),
        ("7", "\\D000", "D007"),
        ("0.59375", "# ?/?", "0.59375"),  # rounded on the screen, and so not what was typed
        ("0.59375", "# ??/??", "19/32"),
        ("4.75", "# ?/?", "4 3/4"),
        ("4.75", '#" "?/?', "4 3/4"),
        ("4.75", "#\\ ?/?", "4 3/4"),
        ("-0.5", "# ?/?", "-1/2"),
        ("0.8125", "# ??/16", "13/16"),
        ("4", "# ?/?", "4"),
        ("0.61", '0.000 "in"', "0.61 in"),
        ("0.61", '0.000"mm"', "0.61 mm"),
        ("20", '0 "Nm"', "20 Nm"),
        ("12.5", '0.00 "€"', "12.5"),
        ("3", '0 "pcs"', "3"),
        ("0.15", "0%", "0.15"),
        ("14.5", "0.00", "14.5"),
    ],
)
def test_a_number_is_what_the_spreadsheet_shows(number: str, pattern: str, shown: str) -> None:
    assert reading.as_shown(number, pattern) == shown


def test_leading_zeros_fractions_and_units_that_only_the_cells_format_shows_come_in(tmp_path: Path) -> None:
    rows = [["drill", 0.59375, 4.75, 7, "Main", 3], ["drill", 0.61, 90, 12, "Main", 3]]
    formats = {"B2": "# ??/??", "C2": '# ?/?\\ "in"', "D2": "0000", "B3": '0.000\\ "in"', "F2": "00", "F3": "00"}
    formats["C2"] = "0.00"
    assert _load(tmp_path, _book(HEADS, *rows, formats=formats)).counts["units"] == 2
    told = {unit.tag: (unit.item.diameter, unit.bin.name) for unit in Unit.objects.all()}
    assert told == {"0007": (15_081_250, "03"), "12": (15_494_000, "03")}


def test_what_a_spreadsheet_made_of_a_tag_is_told_and_what_is_a_true_date_is_read(tmp_path: Path) -> None:
    heads = ["kind", "name", "quantity", "lot", "expires", "site", "bin"]
    rows = [
        ["oil", "oil", 3, date(2026, 5, 10), datetime(2027, 3, 31, 12), "Main", "A1"],  # noqa: DTZ001
        ["oil", "oil", 4, 100000, date(2027, 3, 31), "Main", "A1"],
        ["oil", "oil", 5, True, None, "Main", "A1"],
        ["oil", "oil", 6, "1E5", None, "Main", "A1"],
        ["oil", "oil", 7, 100000.5, None, "Main", "A1"],
        ["oil", "oil", 8, time(5, 10), None, "Main", "A1"],
    ]
    intake = _load(tmp_path, _book(heads, *rows, formats={"D3": "0.00E+00"}))
    assert [(note["row"], note["column"], note["why"]["typed"]) for note in intake.notes] == [
        (2, "lot", "2026-05-10"), (3, "lot", "100000"), (4, "lot", "yes"), (7, "lot", "05:10:00"),
    ]  # fmt: skip
    assert "it is taken as 2026-05-10" in say(intake.notes[0])
    assert set(Batch.objects.values_list("lot", flat=True)) == {
        "2026-05-10",
        "100000",
        "yes",
        "1E5",
        "100000.5",
        "05:10:00",
    }
    assert Batch.objects.get(on_hand=3).expires == date(2027, 3, 31)


def test_a_csv_that_a_spreadsheet_spoilt_is_told_so(tmp_path: Path) -> None:
    text = "kind;diameter;tag;site;bin\ndrill;5;1,00E+05;Main;A1\ndrill;6;1E5;Main;A1\ndrill;7;007;Main;A1\n"
    intake = _load(tmp_path, text.encode(), "stock.csv")
    assert [(note["row"], note["why"].code) for note in intake.notes if note["column"] == "tag"] == [(2, "cell_remade")]
    assert set(Unit.objects.values_list("tag", flat=True)) == {"1,00E+05", "1E5", "007"}


@pytest.mark.parametrize("tag", ["=1+1", "-5", "+49", "@x", "1E5", "007", "'quoted'", "two\r\nlines", 'in "x 3"'])
def test_a_tag_is_a_tag_whatever_it_looks_like(tmp_path: Path, tag: str) -> None:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=";", lineterminator="\r\n").writerows(
        [HEADS, ["drill", "14,5", "120", tag, "Main", "A1"]]
    )
    _load(tmp_path, text.getvalue().encode("utf-8-sig"), "stock.csv")
    assert Unit.objects.get().tag == tag
    out = sheets.saved("stock", file="stock.xlsx")
    table = reading.read_bytes("stock.xlsx", out)
    assert table.rows[1][table.headings.index("tag")] == tag


# Where the headings are, and what parts the cells


@pytest.mark.parametrize(
    "text",
    [
        "Stock list of the crib, March\n\nkind;diameter;tag;site;bin\ndrill;14,5;D-1;Main;A1\n",
        "sep=;\nkind;diameter;tag;site;bin\ndrill;14,5;D-1;Main;A1\n",
        '"tool\ntype";diameter;tag;site;bin\ndrill;14,5;D-1;Main;A1\n',
        "\n\n\nkind;diameter;tag;site;bin\n;;;;\ndrill;14,5;D-1;Main;A1\n;;;;\n",
        "kind;diameter;tag;site;bin\ndrill;14,5;D-1;Main;A1\nkind;diameter;tag;site;bin\n",
        "kind\tdiameter\ttag\tsite\tbin\ndrill\t14,5\tD-1\tMain\tA1\n",
        'kind,diameter,tag,site,bin\ndrill,"14,5",D-1,Main,A1\n',
        "kind,diameter,tag,site,bin,life factors\ndrill,14.5,D-1,Main,A1,steel 150; bronze 80\n",
    ],
    ids=[
        "title",
        "sep",
        "heading over two lines",
        "blank rows",
        "headings twice",
        "tabs",
        "commas",
        "a list in a cell",
    ],
)
def test_the_headings_are_found_and_the_cells_parted(tmp_path: Path, text: str) -> None:
    intake = _load(tmp_path, text.encode("utf-8-sig"), "stock.csv")
    assert intake.counts["units"] == 1
    assert (Unit.objects.get().tag, Item.objects.get().diameter) == ("D-1", 14_500_000)


def test_a_fault_below_a_title_is_told_by_the_row_that_the_spreadsheet_counts(tmp_path: Path) -> None:
    (tmp_path / "stock.csv").write_text("Stock list\n\nkind,diameter,tag\ndrill,much,D-1\n")
    intake = sheets.load(paths=[tmp_path / "stock.csv"], as_of=MONDAY, by="test", apply=True)
    assert {fault["row"] for fault in intake.faults} == {4}
    assert not intake.applied


@pytest.mark.parametrize(
    "rows",
    [
        [["kind", "diameter"], ["drill", "5"]],
        [["Tool", "Ø"], ["drill", "no", "shelf"]],  # words of ours among the values
        [["kind"], ["drill"]],
        [[""], []],
        [],
    ],
)
def test_headings_are_looked_for_further_down_only_where_the_first_row_holds_none(rows: list[list[str]]) -> None:
    assert mapping.headed(reading.Table("x", rows, {}, reading.Way())).found is None


def test_a_worksheet_that_is_hidden_is_not_the_one_that_is_read_first(tmp_path: Path) -> None:
    def hide(book: Any) -> None:
        hidden = book.create_sheet("lists", 0)
        hidden.append(["kind"])
        hidden.sheet_state = "hidden"

    assert reading.read_bytes("s.xlsx", _book(HEADS, change=hide)).way.worksheet == "Sheet"


@pytest.mark.filterwarnings("ignore:Title is more than 31 characters")
def test_a_worksheet_with_a_name_that_no_spreadsheet_program_gives_is_refused() -> None:
    def rename(book: Any) -> None:
        book.active.title = "x" * 100

    with pytest.raises(reading.Refused) as refused:
        reading.read_bytes("s.xlsx", _book(HEADS, change=rename))
    assert refused.value.reason.code == "sheet_broken"


def test_half_a_character_in_a_workbook_stays_as_it_is_written(tmp_path: Path) -> None:
    _load(tmp_path, _book(HEADS, ["drill", 5, 80, "D_xD800_", "Main", "A1"]))
    assert Unit.objects.get().tag == "D_xD800_"


# Size and length


def test_ten_thousand_and_one_rows_come_in(tmp_path: Path) -> None:
    rows = "".join(f"oil,oil {n},1,L{n},Main,A{n % 50}\n" for n in range(10_001))
    assert _load(tmp_path, f"kind,name,quantity,lot,site,bin\n{rows}".encode(), "stock.csv").counts["batches"] == 10_001
    assert stock.disagreements() == []


@pytest.mark.parametrize(
    "row",
    [
        {"tag": "D-1", "certificate": "x" * 81},
        {"tag": "D-1", "away why": "loan", "away with": "x" * 81},
        {"tag": "D-1", "away why": "loan", "away with": "x", "badge": "x" * 41},
        {"tag": "D-1", "issued to": "x" * 81},
        {"thread": f"M16{' ' * 80}x1.5"},
        {"family": "x" * 81},
        {"mark": "x" * 41},
    ],
    ids=lambda row: list(row)[-1],
)
def test_what_is_longer_than_the_tables_keep_is_a_fault_at_its_cell(tmp_path: Path, row: dict[str, str]) -> None:
    row = {"kind": "drill", "site": "Main", "bin": "A1"} | row
    (tmp_path / "stock.csv").write_text(",".join(row) + "\n" + ",".join(row.values()) + "\n")
    (fault,) = sheets.load(paths=[tmp_path / "stock.csv"], as_of=MONDAY, by="test", apply=True).faults
    assert (fault["column"], fault["why"].code) == (list(row)[-1], "cell_too_long")


def test_a_file_with_a_long_name_comes_in_by_as_much_of_it_as_the_ledger_keeps(tmp_path: Path) -> None:
    text = "kind,diameter,tag,site,bin,retired,name,quantity,least,order point,most\n"
    text += "drill,5,D-1,Main,A1,yes,,,,,\noil,,,Main,A1,,oil,3,1,2,3\n"
    name = "s" * 230 + ".csv"
    (tmp_path / name).write_text(text)
    assert sheets.load(paths=[tmp_path / name], as_of=MONDAY, by="x" * 200, apply=True).applied
    line = Unit.objects.get().movements.get()
    assert (len(line.reason), len(line.by)) == (200, 80)
