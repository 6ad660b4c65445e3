"""What a sheet of 10,000 rows costs on its way in and out: `python -m tests.load.benchmark_sheets`.

Each time stands beside the raw reading of the same file in the same run, with nothing understood of it: what Python's
csv or openpyxl alone takes. `--rows N` for another size.
"""

from __future__ import annotations

import argparse
import csv
import io
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")

import django

django.setup()

# ruff: noqa: E402  the settings must stand before anything of Django's is imported
from django.test.runner import DiscoverRunner
from django.utils import timezone
from openpyxl import Workbook, load_workbook

from inventory import sheets, stock
from inventory.models import Unit

THREADS = ("M16 x 1,5", "M14x1.5", "M8", "9/16-18", "EG M14x1.5", "M18x1.5 LH")


def rows(count: int) -> list[list[str]]:
    """A heading and so many rows: taps and drills with tags, oils in batches."""
    made = [["kind", "number", "name", "thread", "class", "diameter", "usable length", "lead", "flute", "action",
             "life", "tag", "holes cut", "site", "bin", "walk", "quantity", "lot", "expires"]]  # fmt: skip
    for n in range(count):
        place = ["Main", f"A{n % 200}", str(n % 200)]
        if n % 5 == 4:
            made.append(["oil", "", f"oil {n}", *[""] * 10, *place, "3", f"L{n}", "2030-01-31"])
        elif n % 2:
            made.append(["tap", f"TP-{n // 4}", "", THREADS[n // 4 % 6], "", "", str(40 + n // 4 % 90), "4", "straight",
                         "cut", "60", f"T-{n}", "7", *place, "", "", ""])  # fmt: skip
        else:
            made.append(["drill", "", "", "", "", f"{5 + n % 900 / 100:g}", "120", "", "", "", "80", f"D-{n}", "12",
                         *place, "", "", ""])  # fmt: skip
    return made


def timed(deed: Callable[[], object]) -> float:
    """Seconds."""
    began = time.perf_counter()
    deed()
    return time.perf_counter() - began


def raw(path: Path) -> None:
    """The file read, every cell looked at, nothing understood."""
    if path.suffix == ".csv":
        with path.open(encoding="utf-8-sig", newline="") as file:
            list(csv.reader(file))
    else:
        book = load_workbook(path, read_only=True)
        list(book.worksheets[0].iter_rows(values_only=True))
        book.close()


def measure(path: Path) -> None:
    """One file: read raw, looked at, taken in, written out."""
    plain = min(timed(lambda: raw(path)) for _ in range(3))
    seconds = {
        "dry run": timed(lambda: sheets.load(paths=[path], as_of=timezone.now(), by="benchmark", apply=False)),
        "taken in": timed(lambda: sheets.load(paths=[path], as_of=timezone.now(), by="benchmark", apply=True)),
        "written out": timed(lambda: sheets.saved("stock", file=path.name)),
    }
    assert Unit.objects.exists()
    assert stock.disagreements() == []
    print(f"{path.suffix[1:]}: read raw in {plain:.3f} s")
    for deed, took in seconds.items():
        print(f"  {deed:<12} {took:6.2f} s   {took / plain:7.1f} times the raw reading")


def main() -> None:
    """Both kinds of file, each into a crib of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=10_000)
    count = parser.parse_args().rows
    made = rows(count)
    print(f"{count} rows")
    with tempfile.TemporaryDirectory() as folder:
        text, path = io.StringIO(newline=""), Path(folder) / "stock.csv"
        csv.writer(text).writerows(made)
        path.write_text(text.getvalue(), encoding="utf-8")
        book = Workbook(write_only=True)
        page = book.create_sheet("stock")
        for row in made:
            page.append(row)
        book.save(Path(folder) / "stock.xlsx")
        for each in (path, Path(folder) / "stock.xlsx"):
            runner = DiscoverRunner(verbosity=0, interactive=False)
            old = runner.setup_databases()
            try:
                measure(each)
            finally:
                runner.teardown_databases(old)


if __name__ == "__main__":
    main()
