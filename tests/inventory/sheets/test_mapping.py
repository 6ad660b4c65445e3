"""Headings: our words, the symbols of ISO 13399, what people write; and threads whose pitch stands beside them."""

from datetime import date
from pathlib import Path

import pytest

from inventory.errors import Refused
from inventory.sheets import mapping, read_sheet
from inventory.sheets.columns import COLUMNS, NOT_KEPT, STOCK

TODAY = date(2026, 3, 2)


def test_headings_are_guessed_from_our_words_symbols_and_usual_words() -> None:
    heads = ["Kind", "DC", "lu", "TDZ", "TP", "TPI", "TCTR", "Part No", "Qty", "calibration-due", "OAL", "colour", ""]
    assert [guess.column for guess in mapping.guess(heads, "stock")] == [
        "kind", "diameter", "usable length", "thread", "pitch", "threads per inch", "class", "number", "quantity",
        "calibration due", "", "", "",
    ]  # fmt: skip


def test_what_is_nearly_one_of_ours_is_guessed_and_no_column_twice() -> None:
    assert [guess.column for guess in mapping.guess(["diametre", "usable lenght"], "stock")] == [
        "diameter", "usable length",
    ]  # fmt: skip
    assert [guess.column for guess in mapping.guess(["DC", "diameter"], "stock")] == ["diameter", ""]


def test_a_symbol_of_what_is_not_kept_is_told_by_its_meaning() -> None:
    assert mapping.guess(["OAL"], "stock")[0].not_kept == "overall length"
    assert not {column.iso for column in STOCK} & set(NOT_KEPT)


@pytest.mark.parametrize("of", ["stock", "offers"])
def test_no_heading_means_two_columns(of: str) -> None:
    seen: dict[str, str] = {}
    for column in COLUMNS[of]:
        for heading in filter(None, (column.name, column.iso, *column.also)):
            assert seen.setdefault(mapping.plain(heading), column.name) == column.name


@pytest.mark.parametrize(
    ("heads", "cells", "thread"),
    [
        ("TDZ,TP", "M16,1.5", "M16x1.5"),
        ("TDZ,TP", '"M16 LH","1,5"', "M16x1.5-LH"),
        ("TDZ,TP", '"M16 x 1,5",1.5', "M16x1.5"),
        ("TDZ,TPI", "1/4,20", "1/4-20 UNC"),
        ("TDZ,TPI", "9/16-18,18", "9/16-18 UNF"),
        ("TDZ,TP,TPI", "M10,1.5,", "M10x1.5"),
    ],
)
def test_a_thread_may_have_its_pitch_beside_it(tmp_path: Path, heads: str, cells: str, thread: str) -> None:
    (tmp_path / "s.csv").write_text(f"kind,{heads}\ntap,{cells}\n")
    sheet = read_sheet(tmp_path / "s.csv", TODAY)
    assert sheet.faults == ()
    assert sheet.rows[0].value["thread"].thread.designation == thread


@pytest.mark.parametrize(
    ("heads", "cells", "code"),
    [
        ("TDZ,TP", "M16x2,1.5", "pitch_differs"),
        ("TDZ,TPI", "1/4-20,28", "pitch_differs"),
        ("TDZ,TP", ",1.5", "cell_needs_another"),
        ("TDZ,TPI", "1/4,many", "number_unreadable"),
    ],
)
def test_a_thread_and_a_pitch_that_do_not_agree_are_a_fault(tmp_path: Path, heads: str, cells: str, code: str) -> None:
    (tmp_path / "s.csv").write_text(f"kind,{heads}\ntap,{cells}\n")
    assert [fault["why"].code for fault in read_sheet(tmp_path / "s.csv", TODAY).faults] == [code]


def test_a_sheet_whose_headings_are_not_ours_is_refused_where_nobody_can_be_asked() -> None:
    with pytest.raises(Refused) as refused:
        mapping.strict(["kind", "colour"], "stock", sheet="s.csv")
    assert refused.value.reason.code == "column_unknown"
