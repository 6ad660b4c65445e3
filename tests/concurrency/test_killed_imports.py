"""A process that is killed in the middle of taking a sheet in: nothing of the sheet is there, or all of it."""

import multiprocessing
import os
import random
import signal
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections

from inventory import sheets, stock
from inventory.models import Batch, Bin, Item, Movement, SentSheet, Unit
from inventory.sheets import sending

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
KILLS, UNITS, BATCHES = 20, 1500, 300


def _sheet(round_: int) -> bytes:
    rows = ["kind,name,diameter,usable length,life,tag,site,bin,quantity,lot"]
    rows += [
        f"drill,,{5 + n % 60},{80 + round_},{20 + n % 7},R{round_}-{n},Main,A{n % 40}R{round_},," for n in range(UNITS)
    ]
    rows += [f"oil,oil {round_}-{n},,,,,Main,B{n % 9}R{round_},3,L{n}" for n in range(BATCHES)]
    return "\n".join(rows).encode()


def _there() -> tuple[int, int, int]:
    return Unit.objects.count(), Batch.objects.count(), Movement.objects.count()


def _in_a_process(work: Any) -> Any:
    # A process must not go on with a connection, nor with a pool's threads, of the one it came from.
    connections.close_all()
    if connection.vendor == "postgresql":
        connection.close_pool()
    process = multiprocessing.get_context("fork").Process(target=work)
    process.start()
    return process


def test_of_a_sheet_whose_import_is_killed_nothing_is_there_or_all_of_it_twenty_times(tmp_path: Path) -> None:
    chance, outcomes = random.Random(7), []
    path = tmp_path / "whole.csv"
    path.write_bytes(_sheet(99))
    began = time.monotonic()
    assert sheets.load(paths=[path], as_of=MONDAY, by="test", apply=True).applied
    whole = time.monotonic() - began  # the moments are spread over as long as one takes, and a little beyond
    for round_ in range(KILLS):
        path = tmp_path / f"{round_}.csv"
        path.write_bytes(_sheet(round_))
        before = _there()
        process = _in_a_process(lambda path=path: sheets.load(paths=[path], as_of=MONDAY, by="test", apply=True))
        time.sleep(chance.uniform(0.3, 1.25) * whole)
        os.kill(process.pid, signal.SIGKILL)
        process.join(30)
        units, batches, movements = (now - then for now, then in zip(_there(), before, strict=True))
        assert (units, batches, movements) in ((0, 0, 0), (UNITS, BATCHES, UNITS + BATCHES))
        assert Bin.objects.filter(name__endswith=f"R{round_}").count() == (49 if units else 0)
        assert stock.disagreements() == []
        outcomes.append(bool(units))
    assert not all(outcomes), "every import was over before it was killed, which proves nothing"


def test_a_sheet_whose_process_was_killed_is_told_as_interrupted_and_comes_in_on_a_second_press() -> None:
    entry: dict[str, Any] = {"by": "Bram", "as_of": MONDAY}
    sheet = sending.keep(name="s.csv", data=_sheet(1), **entry)
    sending.SMALL, small = UNITS + BATCHES, sending.SMALL
    try:
        sending.judge(sheet, columns=sheet.columns, leave_out=False, **entry)
        process = _in_a_process(lambda: sending.apply(sheet, **entry))
        while SentSheet.objects.get(pk=sheet.pk).state == "judged":
            time.sleep(0.01)
        os.kill(process.pid, signal.SIGKILL)
        process.join(30)
        found = sending.look(sheet.pk, as_of=datetime.now(UTC))
        assert found.state in ("interrupted", "applied")
        assert Unit.objects.count() == (UNITS if found.state == "applied" else 0)
        assert found.state == "interrupted"
        sending.apply(found, **entry)
        assert sending.look(sheet.pk, as_of=datetime.now(UTC)).state == "applied"
    finally:
        sending.SMALL = small
    assert (Unit.objects.count(), Item.objects.exclude(kind="oil").count() > 0) == (UNITS, True)
    assert stock.disagreements() == []
