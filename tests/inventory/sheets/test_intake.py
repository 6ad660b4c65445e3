"""Sheets: cells as people write them, every fault by row, column and value, all of it or nothing."""

import csv
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import Workbook

from inventory import purchasing, sheets, stock
from inventory.catalogue import factors_of
from inventory.errors import Reason, Refused
from inventory.models import Batch, Bin, Item, Movement, Offer, OrderPoint, Person, Site, Supplier, Unit
from inventory.order_points import last_set
from inventory.threads import read
from inventory.wording import say
from tests.factories import BatchFactory, InsertFactory, ItemFactory, UnitFactory

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
M16 = read("M16x1.5").thread.key

Sheet = Callable[..., Path]


@pytest.fixture
def sheet(tmp_path: Path) -> Sheet:
    """Writes a CSV from rows that are dicts by heading."""

    def write(*rows: dict[str, Any], name: str = "stock.csv", separator: str = ",", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        heads = list(dict.fromkeys(head for row in rows for head in row))
        with path.open("w", newline="", encoding=encoding) as file:
            writer = csv.DictWriter(file, heads, delimiter=separator)
            writer.writeheader()
            writer.writerows(rows)
        return path

    return write


def _load(*paths: Path, apply: bool = True) -> sheets.Intake:
    return sheets.load(paths=paths, as_of=MONDAY, by="test", apply=apply)


def _faults(*paths: Path) -> list[tuple[int, str, str, str]]:
    """Row, column, value and code of every fault; and that nothing at all was written."""
    before = _everything()
    intake = _load(*paths)
    assert not intake.applied
    assert _everything() == before
    assert all(say(fault) for fault in intake.faults)
    return [(fault["row"], fault["column"], fault["value"], fault["why"].code) for fault in intake.faults]


def _everything() -> list[int]:
    tables: tuple[Any, ...] = (Item, Site, Bin, Person, Unit, Batch, Movement, Supplier, Offer)
    return [table.objects.count() for table in tables]


DRILL = {"kind": "drill", "diameter": "14.5", "usable length": "120"}
PLACE = {"site": "Main", "bin": "A1"}
TAP = {
    "kind": "tap",
    "thread": "M16 x 1,5",
    "class": "6H",
    "usable length": "60",
    "lead": "4",
    "flute": "straight",
}


# What people write


@pytest.mark.parametrize(
    ("typed", "nm"),
    [
        ("15.5", 15_500_000),
        ("15,5", 15_500_000),
        ("19/32 in", 15_081_250),
        ("19/32", 15_081_250),
        ('0.610"', 15_494_000),
        ("#7", 5_105_400),
        ("Q", 8_432_800),
        ("610 thou", 15_494_000),
    ],
)
def test_a_diameter_may_be_a_size_in_any_unit_or_the_name_of_a_drill(sheet: Sheet, typed: str, nm: int) -> None:
    assert _load(sheet({"kind": "drill", "diameter": typed})).applied
    assert Item.objects.get().diameter == nm


def test_a_unit_a_batch_and_a_bare_item_come_in_from_one_sheet_through_the_ledger(sheet: Sheet) -> None:
    path = sheet(
        {**TAP, "action": "cutting", "life": "40", "tag": "T-1", "condition": "Due for regrind",
         "holes cut": "38", **PLACE, "walk": "3"},
        {"kind": "Inserts", "thread": "M16x1.5", "inner": "M14x1.5", "insert length": "20", "flange": "21",
         "family": "own-flanged/1", "quantity": "12", "lot": "L1", "packed": "-10d", "expires": "2027-06-30",
         **PLACE, "walk": "3"},
        {"kind": "torque wrench", "number": "TW-1", "torque min": "20", "torque max": "100 lbf·ft"},
    )  # fmt: skip
    intake = _load(path)
    assert intake.counts == {"items": 3, "sites": 1, "bins": 1, "people": 0, "units": 1, "batches": 1}
    unit, batch = Unit.objects.get(), Batch.objects.get()
    assert (unit.tag, unit.condition, unit.holes_cut, str(unit.bin.site), unit.bin.walk) == (
        "T-1", "due_regrind", 38, "Main", 3,
    )  # fmt: skip
    assert (unit.item.thread, unit.item.as_typed, unit.item.lead, unit.item.action, unit.item.life) == (
        M16, "M16 x 1,5", 40, "cut", 40,
    )  # fmt: skip
    assert (batch.on_hand, batch.packed, batch.expires) == (12, date(2026, 2, 20), date(2027, 6, 30))
    wrench = Item.objects.get(number="TW-1")
    assert (wrench.torque_min, wrench.torque_max) == (20_000, 135_582)
    lines = Movement.objects.values_list("act", "quantity", "holes", "reason", "by", "at")
    assert list(lines) == [
        ("received", 1, 38, "stock.csv", "test", MONDAY), ("received", 12, 0, "stock.csv", "test", MONDAY),
    ]  # fmt: skip
    assert stock.disagreements() == []


def test_what_is_away_comes_in_as_received_and_then_lent_or_sent(sheet: Sheet) -> None:
    path = sheet(
        {**TAP, "tag": "T-1", **PLACE, "away why": "loan", "away until": "+5d", "away with": "A. Fitter"},
        {**TAP, "tag": "T-2", **PLACE, "away why": "regrind", "away with": "Grinder", "condition": "away"},
        {**TAP, "tag": "T-3", **PLACE, "away why": "on loan", "away with": "A. Fitter"},
    )
    assert _load(path).counts["people"] == 1
    first, second, _ = Unit.objects.order_by("tag")
    assert (first.away_why, first.away_until, first.borrower) == (
        "loan",
        date(2026, 3, 7),
        Person.objects.get(),
    )
    assert (second.away_why, second.away_until, second.away_with, second.borrower) == (
        "regrind", None, "Grinder", None,
    )  # fmt: skip
    assert [line.act for line in first.movements.all()] == ["received", "lent"]
    assert [line.act for line in second.movements.all()] == ["received", "sent"]
    stock.return_unit(unit=first, as_of=MONDAY, by="test")
    assert stock.disagreements() == []


@pytest.mark.parametrize(("separator", "encoding"), [(",", "utf-8"), (";", "utf-8-sig"), ("\t", "utf-8")])
def test_a_csv_may_be_separated_and_marked_as_programs_do(sheet: Sheet, separator: str, encoding: str) -> None:
    path = sheet({"kind": "drill", "diameter": "15,5"}, separator=separator, encoding=encoding)
    assert _load(path).applied
    assert Item.objects.get().diameter == 15_500_000


def test_a_spreadsheet_is_read_like_a_csv(tmp_path: Path) -> None:
    book = Workbook()
    page = book.active
    assert page is not None
    page.append(["Kind", "Diameter", "Usable_Length", "Tag", "Holes cut", "Calibration due", "Site", "Bin", "Lead"])
    page.append(["drill", 14.376, "4 3/4 in", "D-1", 3, datetime(2027, 3, 31), "Main", 12, None])  # noqa: DTZ001
    page.append([None] * 9)
    page.append(["drill", 0.1 + 0.2, 120, "D-2", 0, date(2027, 3, 31), "Main", 12])
    book.save(tmp_path / "stock.xlsx")
    assert _load(tmp_path / "stock.xlsx").applied
    first, second = Unit.objects.order_by("tag")
    assert (first.item.diameter, first.item.usable_length, first.bin.name, first.calibration_due) == (
        14_376_000, 120_650_000, "12", date(2027, 3, 31),
    )  # fmt: skip
    assert second.item.diameter == 300_000


def _workbook(path: Path, *rows: list[Any], merged: tuple[str, ...] = (), parts: dict[str, str] | None = None) -> Path:
    """An XLSX file of these rows, its worksheet's XML changed here and there."""
    book = Workbook()
    page = book.active
    assert page is not None
    for row in rows:
        page.append(row)
    for cells in merged:
        page.merge_cells(cells)
    book.save(path)
    with ZipFile(path) as old:
        files = {name: old.read(name) for name in old.namelist()}
    text = files["xl/worksheets/sheet1.xml"].decode()
    for old_part, new_part in (parts or {}).items():
        assert old_part in text, text
        text = text.replace(old_part, new_part)
    with ZipFile(path, "w") as new:
        for name, held in (files | {"xl/worksheets/sheet1.xml": text.encode()}).items():
            new.writestr(name, held)
    return path


def test_a_formula_without_a_stored_value_is_a_fault_and_not_a_blank(tmp_path: Path) -> None:
    heads = ["kind", "diameter", "usable length", "name"]
    rows = [["drill", 14.5, 120, None], ["drill", "=B2+1", 120, None], ["=A2", None, None, None]]
    assert _faults(_workbook(tmp_path / "stock.xlsx", heads, *rows)) == [
        (3, "diameter", "=B2+1", "cell_formula_without_value"),
        (4, "kind", "=A2", "cell_formula_without_value"),
    ]


def test_a_formula_with_a_stored_value_is_its_value_and_an_empty_text_is_a_blank(tmp_path: Path) -> None:
    stored = {
        "<f>B2+1</f><v />": "<f>B2+1</f><v>15.5</v>",
        '<c r="D3"><f>IF(A2="","","")</f><v />': '<c r="D3" t="str"><f>IF(A2="","","")</f><v></v>',
    }
    rows = [["drill", 14.5, 120, None], ["drill", "=B2+1", 120, '=IF(A2="","","")']]
    heads = ["kind", "diameter", "usable length", "name"]
    assert _load(_workbook(tmp_path / "stock.xlsx", heads, *rows, parts=stored)).applied
    assert sorted(Item.objects.values_list("diameter", "name")) == [(14_500_000, ""), (15_500_000, "")]


def test_an_error_in_a_cell_is_not_taken_for_its_text(tmp_path: Path) -> None:
    error = {'<c r="B2"><f>1/0</f><v />': '<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v>'}
    path = _workbook(tmp_path / "stock.xlsx", ["kind", "name"], ["fixture", "=1/0"], parts=error)
    assert _faults(path) == [(2, "name", "#DIV/0!", "cell_error")]


def test_merged_cells_among_the_rows_are_faults_each_where_it_is_blank(tmp_path: Path) -> None:
    heads = ["kind", "diameter", "usable length", "tag", "site", "bin"]
    rows = [["drill", 14.5 + n, 120, f"D-{n}", "Main", "A1"] for n in range(3)]
    path = _workbook(tmp_path / "stock.xlsx", heads, *rows, merged=("F2:F3", "B4:C4"))
    assert _faults(path) == [(3, "bin", "", "cell_merged"), (4, "usable length", "", "cell_merged")]
    below = {'<mergeCell ref="F1:G1" />': '<mergeCell ref="F1:G1" /><mergeCell ref="A9:XFD1048576" />'}
    fine = _workbook(tmp_path / "fine.xlsx", [*heads, None], *rows, merged=("F1:G1",), parts=below)
    assert _load(fine).applied, "merged headings and empty rows take nothing away"


def test_rows_beyond_what_a_workbook_says_of_its_own_extent_are_read(tmp_path: Path) -> None:
    short = {'<dimension ref="A1:C3" />': '<dimension ref="A1:A1" />'}
    rows = [["kind", "diameter", "usable length"], ["drill", 14.5, 120], ["drill", 15.5, 120]]
    assert _load(_workbook(tmp_path / "stock.xlsx", *rows, parts=short)).counts["items"] == 2


def test_a_unit_whose_life_is_used_up_comes_in_as_due_for_regrind_and_is_noted(sheet: Sheet) -> None:
    tap = {**TAP, "action": "cut", "life": "40", **PLACE}
    intake = _load(
        sheet(
            {**tap, "tag": "T-1", "holes cut": "39"},
            {**tap, "tag": "T-2", "holes cut": "40"},
            {**tap, "tag": "T-3", "holes cut": "55", "condition": "new"},
            {**tap, "tag": "T-4", "holes cut": "55", "condition": "due for regrind"},
            {**tap, "tag": "T-5", "holes cut": "55", "away why": "regrind"},
        )
    )
    assert [(note["row"], note["column"], note["value"], note["why"].code) for note in intake.notes] == [
        (3, "holes cut", "40", "life_used_up"),
        (4, "holes cut", "55", "life_used_up"),
    ]
    assert list(Unit.objects.order_by("tag").values_list("condition", flat=True)) == [
        "serviceable", "due_regrind", "due_regrind", "due_regrind", "away",
    ]  # fmt: skip
    assert stock.disagreements() == []


def test_tags_are_compared_without_capitals_and_the_other_one_is_named(sheet: Sheet) -> None:
    UnitFactory.create(tag="N1", bin__name="Z1")
    path = sheet(*({**DRILL, "tag": tag, **PLACE} for tag in ("n1", "n2", "N2")))
    assert _faults(path) == [(2, "tag", "n1", "tag_taken_in_other_letters"), (4, "tag", "N2", "tag_twice")]
    first, second = (say(fault) for fault in _load(path).faults)
    assert "The unit N1 has this tag already" in first
    assert "Row 3 has the same tag (n2" in second


def test_rows_of_equal_measurements_are_one_item_however_they_are_spelt(sheet: Sheet) -> None:
    path = sheet(
        {**TAP, "tag": "T-1", **PLACE},
        {**TAP, "thread": "M16x1.5", "lead": "4.0", "usable length": "60 mm", "tag": "T-2", **PLACE},
        {**TAP, "lead": "1,5", "tag": "T-3", **PLACE},
    )
    _load(path)
    assert Item.objects.count() == 2
    _load(sheet({**TAP, "tag": "T-4", **PLACE}))
    assert Item.objects.count() == 2


def test_a_row_may_refer_to_a_known_item_by_its_number_alone(sheet: Sheet) -> None:
    item = InsertFactory.create(number="IN-1")
    path = sheet({"kind": "insert", "number": "IN-1", "quantity": "5", **PLACE})
    assert _load(path).counts["items"] == 0
    assert Batch.objects.get().item == item


def test_a_pitch_that_was_filled_in_is_said_once_for_each_spelling(sheet: Sheet) -> None:
    path = sheet(*({**TAP, "thread": "M16", "tag": f"T-{n}", **PLACE} for n in range(3)))
    notes = [(note["row"], note["column"], note["why"].code) for note in _load(path).notes]
    assert [note for note in notes if note[1] == "thread"] == [(2, "thread", "pitch_assumed_coarse")]


def test_what_an_item_cannot_be_matched_on_is_said(sheet: Sheet) -> None:
    path = sheet(DRILL, {"kind": "seat cutter", "diameter": "22"}, {**TAP, "class": "", "action": "cut"})
    intake = _load(path)
    assert intake.applied
    assert [(note["row"], note["column"], note["why"]) for note in intake.notes] == [
        (3, "pilot", Reason("item_cannot_be_matched", item="seat cutter 22 mm", missing=("pilot",))),
        (4, "class", Reason("item_cannot_be_matched", item="tap M16x1.5, 60 mm usable", missing=("class",))),
    ]
    assert say(intake.notes[0]).startswith("stock.csv, row 3, pilot: seat cutter 22 mm cannot be matched on pilot")


# Dry run


def test_a_dry_run_tells_what_would_happen_and_changes_nothing(sheet: Sheet) -> None:
    path = sheet({**DRILL, "tag": "D-1", **PLACE})
    intake = _load(path, apply=False)
    assert (intake.applied, intake.counts["units"], intake.counts["items"]) == (False, 1, 1)
    assert _everything() == [0] * 9


def test_the_command_shows_first_and_writes_when_told(sheet: Sheet, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(sheet({**DRILL, "tag": "D-1", **PLACE}))
    call_command("load_stock", path)
    assert "Would take in: 1 item, 1 site, 1 bin, 1 unit. Nothing was written" in capsys.readouterr().out
    assert _everything() == [0] * 9
    call_command("load_stock", path, apply=True, by="Storekeeper")
    assert capsys.readouterr().out == "Taken in: 1 item, 1 site, 1 bin, 1 unit.\n"
    assert Movement.objects.get().by == "Storekeeper"
    with pytest.raises(CommandError, match="Nothing was taken in: 1 to put right"):
        call_command("load_stock", path, apply=True)
    assert "stock.csv, row 2, tag “D-1”: Another unit already has this tag." in capsys.readouterr().err
    call_command("load_stock", str(sheet({"kind": ""})))
    assert capsys.readouterr().out.startswith("Would take in: nothing new.")
    with pytest.raises(CommandError, match="There is no file"):
        call_command("load_stock", "nowhere.csv")


def test_of_thousands_of_faults_the_command_tells_the_first_fifty(
    sheet: Sheet, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(sheet(*({"kind": "drill", "diameter": f"wide {n}"} for n in range(2000))))
    with pytest.raises(CommandError, match="Nothing was taken in: 2000 to put right"):
        call_command("load_stock", path)
    told = capsys.readouterr().err.splitlines()
    assert (len(told), told[49].split(",")[1], told[50]) == (51, " row 51", "… and 1950 more.")


def test_the_help_of_the_command_names_every_column() -> None:
    from inventory.management.commands.load_stock import Command

    told = Command().create_parser("manage.py", "load_stock").format_help()
    assert [column.name for column in (*sheets.STOCK, *sheets.OFFERS) if f"  {column.name} " not in told] == []


# Faults


def test_every_fault_is_named_and_one_bad_cell_keeps_the_whole_sheet_out(sheet: Sheet) -> None:
    path = sheet(
        {**DRILL, "tag": "D-1", **PLACE},
        {"kind": "dril", "diameter": "14.5"},
        {"kind": "drill", "diameter": "wide", "usable length": "1/2"},
        {"kind": "tap", "thread": "M14x15", "lead": "long", "flute": "wavy", "life": "0"},
        {"kind": "", "diameter": "14.5"},
        {**DRILL, "tag": "D-2", **PLACE, "holes cut": "-1", "calibration due": "31/03/2027"},
    )
    assert _faults(path) == [
        (3, "kind", "dril", "cell_word_unknown"),
        (4, "diameter", "wide", "length_unreadable"),
        (4, "usable length", "1/2", "length_fraction_without_unit"),
        (5, "thread", "M14x15", "thread_pitch_impossible"),
        (5, "lead", "long", "lead_unreadable"),
        (5, "flute", "wavy", "cell_word_unknown"),
        (5, "life", "0", "count_unreadable"),
        (6, "kind", "", "cell_missing"),
        (7, "holes cut", "-1", "count_unreadable"),
        (7, "calibration due", "31/03/2027", "date_unreadable"),
    ]


def test_a_fault_says_what_would_do(sheet: Sheet) -> None:
    intake = _load(sheet({"kind": "dril", "diameter": "1"}, {"kind": "tap", "thread": "M14x15"}))
    first, second = (say(fault) for fault in intake.faults)
    assert first.startswith("stock.csv, row 2, kind “dril”: “dril” is not known here (is “drill” meant?); write")
    assert "M14x1.5" in second


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ({**DRILL, "tag": "D-1", "site": "Main"}, ("bin", "cell_missing")),
        ({**DRILL, "tag": "D-1", "bin": "A1"}, ("site", "cell_missing")),
        ({**DRILL, "tag": "D-1", "quantity": "3", **PLACE}, ("quantity", "cell_tag_and_quantity")),
        ({**DRILL, "quantity": "3", **PLACE}, ("quantity", "item_is_tagged")),
        ({"kind": "oil", "tag": "O-1", **PLACE}, ("tag", "item_is_counted")),
        ({**DRILL, "condition": "new"}, ("condition", "cell_needs_another")),
        ({"kind": "oil", "lot": "L1"}, ("lot", "cell_needs_another")),
        ({**DRILL, "tag": "D-1", **PLACE, "condition": "away"}, ("condition", "cell_needs_another")),
        ({**DRILL, "tag": "D-1", **PLACE, "away until": "+3d"}, ("away until", "cell_needs_another")),
        ({**DRILL, "tag": "D-1", **PLACE, "away why": "holiday"}, ("away why", "cell_word_unknown")),
        ({**DRILL, "tag": "D" * 41, **PLACE}, ("tag", "cell_too_long")),
        ({**TAP, "class": "9Z"}, ("class", "thread_class_unknown")),
        ({**TAP, "thread": "M16x1.5-5H"}, ("class", "thread_class_twice")),
        ({**TAP, "class": "6g"}, ("class", "thread_class_unknown")),
        ({"kind": "seat cutter", "diameter": "22", "pilot": "22"}, ("pilot", "pilot_not_under_cutter")),
        ({"kind": "insert", "thread": "M14x1.5", "inner": "M16x1.5"}, ("inner", "inner_not_inside")),
        ({"kind": "torque wrench", "torque min": "9", "torque max": "8"},
         ("torque min", "item_torque_range")),
        ({"kind": "oil", "quantity": "1", **PLACE, "packed": "+2d", "expires": "+1d"},
         ("expires", "batch_packed_before_expiry")),
        ({"kind": "oil", "quantity": "-1", **PLACE}, ("quantity", "count_unreadable")),
        ({"kind": "oil", "quantity": "1.5", **PLACE}, ("quantity", "count_unreadable")),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_named_at_its_cell(
    sheet: Sheet, row: dict[str, str], fault: tuple[str, str]
) -> None:
    assert [(column, code) for _, column, _, code in _faults(sheet(row))] == [fault]


def test_what_is_there_already_or_twice_is_named_with_its_row(sheet: Sheet) -> None:
    UnitFactory.create(tag="D-1", bin__name="Z1")
    batch = BatchFactory.create(lot="L1", bin__name="A1")
    insert = {"kind": "insert", "thread": "M16x1.5", "inner": "M14x1.5", "insert length": "20",
              "family": "own-flanged/1", "site": "Main", "bin": "A1"}  # fmt: skip
    path = sheet(
        {**DRILL, "tag": "D-1", **PLACE},
        {**DRILL, "tag": "D-2", **PLACE},
        {**DRILL, "tag": "D-2", **PLACE},
        {**insert, "lot": "L1", "quantity": "3"},
        {**insert, "lot": "L2", "quantity": "4"},
        {**insert, "lot": "L2", "quantity": "5"},
    )
    assert _faults(path) == [
        (2, "tag", "D-1", "tag_taken"),
        (4, "tag", "D-2", "tag_twice"),
        (5, "quantity", "3", "batch_already_there"),
        (7, "quantity", "5", "batch_twice"),
    ]
    assert Batch.objects.get().on_hand == batch.on_hand


def test_one_number_is_one_item_and_one_bin_has_one_walk_number(sheet: Sheet) -> None:
    ItemFactory.create(number="DR-1", diameter=14_500_000)
    path = sheet(
        {"kind": "drill", "number": "DR-1", "diameter": "14.6"},
        {"kind": "drill", "number": "DR-2", "diameter": "10", "usable length": "80"},
        {"kind": "drill", "number": "DR-2", "diameter": "10", "usable length": "90"},
        {**DRILL, "tag": "D-1", **PLACE, "walk": "1"},
        {**DRILL, "tag": "D-2", **PLACE, "walk": "2"},
    )
    assert _faults(path) == [
        (2, "diameter", "14.6", "item_differs"),
        (4, "usable length", "90", "item_differs"),
        (6, "walk", "2", "bin_walk_differs"),
    ]


def test_a_cell_under_no_heading_is_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "stock.csv"
    path.write_text("kind,diameter\ndrill,14.5,spare\n")
    assert _faults(path) == [(2, "", "", "cell_beyond_columns")]
    path.write_text("kind,,diameter\ndrill,,14.5\ndrill,spare,14.6\n")
    assert _faults(path) == [(3, "", "", "cell_beyond_columns")]


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("none.csv", None, "sheet_not_found"),
        ("stock.pdf", b"kind", "sheet_kind_unknown"),
        ("stock.csv", b"", "sheet_empty"),
        ("stock.csv", b"\n,,\n", "sheet_empty"),
        ("stock.csv", b"kind\nM\x81", "sheet_not_utf8"),
        ("stock.csv", b'kind\n"dr"ill', "sheet_line_broken"),
        ("stock.xlsx", b"no workbook", "sheet_broken"),
        ("stock.csv", b"kind,diametre\ndrill,1", "column_unknown"),
        ("stock.csv", b"kind,Kind\ndrill,tap", "column_twice"),
        ("stock.csv", b"diameter\n14.5", "column_missing"),
        ("stock.csv", b"kind\n" + b"x" * 140_000, "sheet_line_broken"),
    ],
)
def test_what_is_no_sheet_is_refused_by_name(tmp_path: Path, name: str, content: bytes | None, code: str) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(Refused) as refused:
        _load(tmp_path / name)
    assert refused.value.reason.code == code
    assert say(refused.value.reason)


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="needs a file that cannot be read by anybody")
def test_a_file_that_may_not_be_read_is_refused_by_name(tmp_path: Path) -> None:
    (tmp_path / "stock.csv").symlink_to("/proc/self/mem")
    with pytest.raises(Refused) as refused:
        _load(tmp_path / "stock.csv")
    assert refused.value.reason.code == "sheet_not_permitted"


def test_what_is_broken_is_told_in_our_own_words(tmp_path: Path) -> None:
    for name, content in (("stock.csv", b'kind\n"dr"ill'), ("stock.xlsx", b"no workbook")):
        (tmp_path / name).write_bytes(content)
    with pytest.raises(Refused) as refused:
        _load(tmp_path / "stock.csv")
    assert say(refused.value.reason).startswith("stock.csv, line 2: quotation marks")
    with pytest.raises(Refused) as refused:
        _load(tmp_path / "stock.xlsx")
    assert "zip" not in say(refused.value.reason)


def test_a_file_of_any_size_is_not_swallowed(sheet: Sheet, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("inventory.sheets.reading.LARGEST_FILE", 10)
    with pytest.raises(Refused) as refused:
        _load(sheet(DRILL))
    assert refused.value.reason.code == "sheet_too_large"


def test_of_two_sheets_both_come_in_or_neither(sheet: Sheet) -> None:
    good = sheet({**DRILL, "tag": "D-1", **PLACE}, name="good.csv")
    bad = sheet({**DRILL, "tag": "D-1", **PLACE}, name="bad.csv")
    assert _faults(good, bad) == [(2, "tag", "D-1", "tag_taken")]


# Offers

OFFER = {"supplier": "Nord Tools", "items": "DR-1", "price": "12.50"}


def test_offers_and_the_stock_they_are_for_come_in_together(sheet: Sheet) -> None:
    offers = sheet(
        {**OFFER, "currency": "GBP", "carriage": "6.50", "minimum": "50", "number": "N-1", "pack": "10",
         "lead days": "4", "breaks": "5: 11.90; 20: 10"},
        {**OFFER, "items": "DR-1 × 2 + TP-1 x 1", "price": "99,5", "name": "set for M16"},
        name="offers.csv",
    )  # fmt: skip
    items = sheet({**DRILL, "number": "DR-1"}, {**TAP, "number": "TP-1"})
    assert _load(offers, items).counts == {
        "items": 2, "sites": 0, "bins": 0, "people": 0, "units": 0, "batches": 0, "suppliers": 1, "offers": 2,
    }  # fmt: skip
    drill, tap = Item.objects.get(number="DR-1"), Item.objects.get(number="TP-1")
    single, kit = purchasing.offers_for([drill.pk])
    assert (single.pieces, single.price, single.breaks, single.lead_days) == (
        ((drill.pk, 10),), 1250, ((5, 1190), (20, 1000)), 4,
    )  # fmt: skip
    assert (single.currency, single.carriage, single.minimum, single.number) == ("GBP", 650, 5000, "N-1")
    assert (kit.pieces, kit.price, kit.name) == (((drill.pk, 2), (tap.pk, 1)), 9950, "set for M16")


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"items": "DR-9"}, ("items", "item_number_unknown")),
        ({"items": "+"}, ("items", "items_unreadable")),
        ({"items": "DR-1 + DR-1"}, ("items", "offer_item_twice")),
        ({"price": "cheap"}, ("price", "money_unreadable")),
        ({"price": "1.005"}, ("price", "money_too_fine")),
        ({"currency": "euro"}, ("currency", "currency_unknown")),
        ({"breaks": "5 - 11"}, ("breaks", "breaks_unreadable")),
        ({"breaks": "5: 13"}, ("breaks", "price_break_not_cheaper")),
        ({"breaks": "1: 11"}, ("breaks", "price_break_above_one_pack")),
        ({"supplier": ""}, ("supplier", "cell_missing")),
        ({"pack": "0"}, ("pack", "count_unreadable")),
    ],
)
def test_an_offer_that_cannot_be_is_named_at_its_cell(
    sheet: Sheet, change: dict[str, str], fault: tuple[str, str]
) -> None:
    ItemFactory.create(number="DR-1")
    found = _faults(sheet(OFFER, {**OFFER, **change, "name": "x"}, name="offers.csv"))
    assert [(row, column, code) for row, column, _, code in found] == [(3, *fault)]


def test_a_supplier_has_one_set_of_terms_and_an_offer_one_number(sheet: Sheet) -> None:
    ItemFactory.create(number="DR-1")
    path = sheet(
        {**OFFER, "carriage": "6.50", "number": "N-1"},
        {**OFFER, "carriage": "7", "number": "N-2"},
        {**OFFER, "number": "N-1"},
        name="offers.csv",
    )
    assert [fault[:2] + fault[3:] for fault in _faults(path)] == [
        (3, "carriage", "supplier_terms_differ"), (4, "number", "offer_already_there"),
    ]  # fmt: skip


# Size


def test_a_large_sheet_comes_in_by_few_queries_and_its_ledger_agrees(sheet: Sheet) -> None:
    path = sheet(
        *({**TAP, "life": str(20 + n % 40), "tag": f"T-{n}", "site": "Main", "bin": f"A{n % 50}"}
          for n in range(1000)),
        *({"kind": "oil", "name": f"oil {n}", "quantity": "2", "lot": f"L{n}", **PLACE} for n in range(1000)),
    )  # fmt: skip
    with CaptureQueriesContext(connection) as asked:
        assert _load(path).applied
    assert Movement.objects.count() == 2000
    assert stock.disagreements() == []
    assert len(asked) < 200, "some query is asked for each row"


def test_threads_written_in_a_way_of_their_own_are_read_back_before_anything_is_written(
    db: None, tmp_path: Path, as_of: datetime
) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("kind;thread\ntap;M14 x 1,5\ntap;M14x1.5\ntap;9/16 unf\n", encoding="utf-8")
    intake = sheets.load(paths=[sheet], as_of=as_of, by="tests", apply=False)
    assert [(told["typed"], told["thread"]) for told in intake.readings] == [
        ("M14 x 1,5", "M14x1.5"),
        ("9/16 unf", "9/16-18 UNF"),
    ]


# Life factors


def test_life_factors_come_in_with_their_item_and_go_out_again(sheet: Sheet) -> None:
    drill = DRILL | {"number": "D-1", "life": "80"}
    path = sheet(
        {**drill, "tag": "D1", **PLACE, "life factors": "Steel 150; grey cast iron 120 %"},
        drill | {"tag": "D2"} | PLACE,
    )
    assert _load(path).applied
    assert factors_of(Item.objects.get()) == {"grey_iron": 120, "steel": 150}
    rows = list(csv.DictReader(sheets.saved("stock", file="stock.csv").decode("utf-8-sig").splitlines()))
    assert {row["life factors"] for row in rows} == {"grey_iron 120; steel 150"}
    met = sheet({**drill, "tag": "D3", **PLACE, "life factors": "grey iron 120; steel 150"})
    assert _load(met).applied


def test_a_misspelt_material_and_a_factor_that_another_row_or_the_crib_contradicts_are_faults(sheet: Sheet) -> None:
    drill = DRILL | {"number": "D-1", "life": "80"} | PLACE
    rows = [
        drill | {"tag": f"D{n}", "life factors": told} for n, told in enumerate(("stele 150", "steel 150", "steel 140"))
    ]
    assert _faults(sheet(*rows)) == [
        (2, "life factors", "stele 150", "material_unknown"),
        (4, "life factors", "steel 140", "item_differs"),
    ]
    assert _load(sheet(rows[1])).applied
    assert _faults(sheet(rows[2])) == [(2, "life factors", "steel 140", "item_differs")]


# Marks, successors, order points


def test_a_mark_tells_items_apart_that_are_equal_and_without_it_they_are_one(sheet: Sheet) -> None:
    rows = [{**DRILL, "tag": f"D-{n}", **PLACE, "mark": mark} for n, mark in enumerate(("a", "b", "a", ""))]
    assert _load(sheet(*rows)).counts["items"] == 2
    told = {unit.tag: unit.item_id for unit in Unit.objects.all()}
    assert told["D-0"] == told["D-2"] == told["D-3"] != told["D-1"]
    # The same marks in a sheet of another day stand for the same two, and a third for a new one.
    rows = [{**DRILL, "tag": f"E-{n}", **PLACE, "mark": mark} for n, mark in enumerate(("a", "b", "c"))]
    assert _load(sheet(*rows)).counts["items"] == 1
    assert Unit.objects.get(tag="E-1").item_id == told["D-1"]


def test_a_mark_does_not_stand_for_an_item_that_has_a_number(sheet: Sheet) -> None:
    ItemFactory.create(number="DR-1", diameter=14_500_000, usable_length=120_000_000)
    assert _load(sheet({**DRILL, "mark": "a"})).counts["items"] == 1
    assert _faults(sheet({**DRILL, "mark": "a"}, {**DRILL, "mark": "a", "number": "DR-1"})) == [
        (3, "mark", "a", "item_mark_differs"),
    ]  # fmt: skip
    assert _faults(sheet({**DRILL, "mark": "a"}, {**DRILL, "mark": "a", "diameter": "9"})) == [
        (3, "diameter", "9", "item_differs"),
    ]  # fmt: skip


def test_successors_that_lead_back_or_are_of_another_kind_are_faults(sheet: Sheet) -> None:
    drill = [{**DRILL, "number": f"D-{n}", "diameter": str(5 + n)} for n in range(4)]
    circle = [row | {"superseded by": f"D-{(n + 1) % 3}"} for n, row in enumerate(drill[:3])]
    assert {fault[1:2] + fault[3:] for fault in _faults(sheet(*circle))} == {
        ("superseded by", "successors_in_a_circle")
    }
    into = [drill[3] | {"superseded by": "D-0"}, *circle]  # leads into a circle, and is in none
    assert [fault[0] for fault in _faults(sheet(*into))] == [3, 4, 5]
    assert _faults(sheet({**TAP, "number": "T"}, drill[0] | {"superseded by": "T"})) == [
        (3, "superseded by", "T", "successor_of_other_kind"),
    ]  # fmt: skip


def test_rows_that_say_unlike_things_of_whether_an_item_is_bought_are_faults(sheet: Sheet) -> None:
    drill = [{**DRILL, "number": f"D-{n}", "diameter": str(5 + n)} for n in range(3)]
    assert _faults(
        sheet(drill[0] | {"retired": "no", "superseded by": "D-1"}, drill[1]),
    ) == [(2, "retired", "no", "item_superseded_is_retired")]
    twice = [drill[0] | {"superseded by": "D-1"}, drill[0] | {"superseded by": "D-2"}, drill[1], drill[2]]
    assert _faults(sheet(*twice)) == [(3, "superseded by", "D-2", "item_differs")]
    assert _faults(sheet(drill[0] | {"retired": "yes"}, drill[0] | {"retired": "no"})) == [
        (3, "retired", "no", "item_differs"),
    ]  # fmt: skip
    # Of one that is no longer bought here, a successor that the sheet brings is told, and never dropped in silence.
    Item.objects.create(kind="drill", number="D-0", diameter=5_000_000, usable_length=120_000_000, retired=True)
    assert _faults(sheet(drill[0] | {"superseded by": "D-1"}, drill[1])) == [
        (2, "superseded by", "D-1", "item_differs")
    ]


OIL = {"kind": "oil", "name": "cutting oil"}


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ({**OIL, "least": "1", "most": "9"}, ("least", "cell_needs_another")),
        ({**OIL, "least": "4", "order point": "3", "most": "9"}, ("order point", "order_point_not_under_minimum")),
        ({**OIL, "least": "4", "order point": "5", "most": "4"}, ("most", "order_point_within_maximum")),
        ({**DRILL, "least": "1", "order point": "2", "most": "3"}, ("least", "item_is_tagged")),
        ({**OIL, "least": "few", "order point": "2", "most": "3"}, ("least", "count_unreadable")),
    ],
)
def test_order_points_that_cannot_be_are_named_at_their_cell(
    sheet: Sheet, row: dict[str, str], fault: tuple[str, str]
) -> None:
    assert [(column, code) for _, column, _, code in _faults(sheet(row))] == [fault]


def test_order_points_come_in_with_their_item_and_one_that_differs_is_a_fault(sheet: Sheet) -> None:
    points = {"minimum": "1", "order point": "2", "max": "30"}
    assert _load(sheet({**OIL, **points, "quantity": "3", "lot": "A", **PLACE}, OIL | points)).applied
    (held,) = last_set().values()
    assert (held.minimum, held.order_point, held.maximum, held.why, held.by) == (1, 2, 30, "stock.csv", "test")
    assert _load(sheet(OIL | points)).applied
    assert OrderPoint.objects.count() == 1
    assert _faults(sheet(OIL | points | {"max": "31"})) == [(2, "order point", "2", "item_differs")]
    assert _faults(sheet({**OIL, "name": "x", **points}, {**OIL, "name": "x", **points, "max": "31"})) == [
        (3, "order point", "2", "item_differs"),
    ]  # fmt: skip


def test_people_of_one_name_are_told_apart_by_their_badges(sheet: Sheet) -> None:
    loan = {**DRILL, **PLACE, "away why": "loan", "away with": "A. Fitter"}
    rows = [loan | {"tag": f"D-{n}", "badge": badge} for n, badge in enumerate(("07", "08", "07"))]
    assert _load(sheet(*rows)).counts["people"] == 2
    assert list(Unit.objects.order_by("tag").values_list("borrower__badge", flat=True)) == ["07", "08", "07"]
    assert _faults(sheet(loan | {"tag": "D-9", "badge": "07", "away with": "B. Fitter"})) == [
        (2, "badge", "07", "badge_of_another"),
    ]  # fmt: skip
    assert _faults(sheet({**DRILL, **PLACE, "tag": "D-9", "badge": "07"})) == [(2, "badge", "07", "cell_needs_another")]


def test_a_site_without_a_bin_comes_in_and_a_walk_without_a_bin_does_not(sheet: Sheet) -> None:
    head = {"kind": "", "bin": ""}
    assert _load(sheet(head | {"site": "Yard"})).counts == {
        "items": 0, "sites": 1, "bins": 0, "people": 0, "units": 0, "batches": 0,
    }  # fmt: skip
    assert Site.objects.get().name == "Yard"
    assert _faults(sheet(head | {"site": "Yard", "walk": "3"})) == [(2, "bin", "", "cell_missing")]
