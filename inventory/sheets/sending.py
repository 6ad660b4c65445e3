"""Sheets that are sent to the site: kept, mapped, judged, and taken in once, a large one beside the request.

What is long is done by a thread of this very process, which needs no service of its own. It tells seldom how far it is,
and never inside the transaction that writes. Should the process end, that transaction ends with it and nothing was
taken in; whoever looks next is told so, and may start again. A run that was given up can no longer write: it finds,
in its own transaction, that the sheet is another's.
"""

from __future__ import annotations

import json
import logging
import os
import socket
import threading
import time
import uuid
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import OperationalError, connection
from django.utils import timezone

from inventory.errors import Reason, Refused, rebuilt
from inventory.guards import act
from inventory.models import SentSheet
from inventory.sheets.columns import COLUMNS
from inventory.sheets.intake import Intake, take
from inventory.sheets.judging import Row, Sheet, judged
from inventory.sheets.mapping import guess, headed, refuse_unfit, sort_of
from inventory.sheets.reading import DELIMITERS, ENCODINGS, Table, Way, read_bytes, refuse_large
from inventory.threads import Reading

LARGEST_SENT = 12_000_000  # bytes
SMALL = 500  # rows up to which a sheet is worked at in the request itself
MOST_TOLD = 200  # faults that are kept; who has more to put right begins with these
PREVIEW = 10  # rows that are shown as they were read
UNHEARD = timedelta(minutes=2)  # after which a run that nobody hears of is given up
KEPT = timedelta(days=30)  # after which a sheet that was never taken in goes when the next one is sent
_SECONDS_BETWEEN = 1.0  # two tellings of how far it is

DUPLICATES = frozenset({
    "tag_taken", "tag_taken_in_other_letters", "tag_twice", "batch_twice", "batch_already_there", "offer_already_there",
    "item_differs",
})  # fmt: skip

_log = logging.getLogger(__name__)


# --- what is sent ------------------------------------------------------------------------------------------


def keep(*, name: str, data: bytes, by: str, as_of: datetime, request_key: str | None = None) -> SentSheet:
    """Keep a file that was sent, its columns guessed. The same key answers with the sheet that it made.

    Raises `Refused` where it is no sheet: sheet_too_large, sheet_empty, what `reading.read_bytes` raises.
    """
    if done := _sent_before(request_key):
        return done
    name = name.replace("\0", "")[-160:]
    refuse_large(name, len(data), LARGEST_SENT)
    table = headed(read_bytes(name, data))
    of = sort_of(table.headings)
    sheet = SentSheet(name=name, content=data, of=of, at=as_of, by=by, request_key=request_key)
    _read_as(sheet, table)
    try:
        with act():
            _let_old_ones_go(as_of)
            sheet.save()
    except Refused:
        if done := _sent_before(request_key):  # a twin of this request was ahead
            return done
        raise
    return sheet


def _let_old_ones_go(as_of: datetime) -> None:
    """What was sent long ago and never taken in goes; what was taken in stays, as a record without its file."""
    old = SentSheet.objects.filter(at__lt=as_of - KEPT).exclude(state="applied")
    old = old.exclude(state__in=("judging", "applying"), seen_at__gte=as_of - UNHEARD)
    # One that somebody has under his hands at this very moment is left alone.
    ids = list(old.order_by("pk").select_for_update(skip_locked=True).values_list("pk", flat=True))
    SentSheet.objects.filter(pk__in=ids).delete()


def _sent_before(request_key: str | None) -> SentSheet | None:
    return SentSheet.objects.filter(request_key=request_key).first() if request_key else None


def _read_as(sheet: SentSheet, table: Table) -> None:
    """How a file is read, and its columns guessed anew."""
    sheet.encoding, sheet.delimiter, sheet.worksheet = table.way.encoding, table.way.delimiter, table.way.worksheet
    sheet.columns = [each.column for each in guess(table.headings, sheet.of)]
    sheet.rows = sum(any(cell.strip() for cell in row) for row in table.rows[table.head + 1 :])


def table_of(sheet: SentSheet) -> Table:
    """The file of a sheet as rows. Raises `Refused` as `reading.read_bytes` does."""
    way = Way(encoding=sheet.encoding, delimiter=sheet.delimiter, worksheet=sheet.worksheet)
    return headed(read_bytes(sheet.name, bytes(sheet.content), way))


def read_otherwise(sheet: SentSheet, *, of: str, encoding: str, delimiter: str, worksheet: str) -> SentSheet:
    """Read a sheet in another way: its columns are guessed anew. Raises `Refused`, and then nothing is changed."""
    known = {"encoding": encoding in ("", *ENCODINGS), "delimiter": delimiter in ("", *DELIMITERS)}
    way = Way(
        encoding=encoding if known["encoding"] else "",
        delimiter=delimiter if known["delimiter"] else "",
        worksheet=worksheet,
    )
    table = headed(read_bytes(sheet.name, bytes(sheet.content), way))
    sheet.of = of if of in COLUMNS else sort_of(table.headings)
    _read_as(sheet, table)
    sheet.state, sheet.answer = "sent", None
    with act():
        _at_rest(sheet)
        sheet.save()
    return sheet


def _at_rest(sheet: SentSheet) -> None:
    """Raises `Refused` where a sheet is being worked at, is taken in already, or went meanwhile."""
    now = SentSheet.objects.select_for_update().values_list("state", flat=True).filter(pk=sheet.pk).first()
    if now is None:
        raise Refused(Reason("sent_sheet_unknown", id=sheet.pk))
    if now in ("judging", "applying"):
        raise Refused(Reason("sheet_at_work", sheet=sheet.name))
    if now == "applied":
        raise Refused(Reason("sheet_taken_in", sheet=sheet.name))


# --- the work ----------------------------------------------------------------------------------------------


def judge(sheet: SentSheet, *, columns: Sequence[str], leave_out: bool, by: str, as_of: datetime) -> None:
    """Judge a sheet by these columns, writing nothing of it. Raises `Refused`: column_twice, column_missing,
    sheet_at_work, sheet_taken_in."""
    ours = {column.name for column in COLUMNS[sheet.of]}
    sheet.columns = [name if name in ours else "" for name in columns]
    sheet.leave_out = leave_out
    SentSheet.objects.filter(pk=sheet.pk, state__in=("sent", "judged", "interrupted")).update(
        columns=sheet.columns, leave_out=leave_out, state="sent", answer=None
    )
    refuse_unfit(sheet.columns, sheet.of, sheet=sheet.name)
    _begin(sheet, "judging", by=by, as_of=as_of)


def judging_of(sheet: SentSheet) -> str:
    """What tells one judging of a sheet from any other, for the press that takes in what was looked at."""
    return sheet.worker.rpartition(":")[2]


def apply(sheet: SentSheet, *, by: str, as_of: datetime, seen: str | None = None) -> None:
    """Take a sheet in that was judged; `seen` is the judging (`judging_of`) that somebody looked at, None if nobody
    did.

    Pressed again, nothing more happens. Where the stock moved so that it would bring something else than was told,
    nothing comes in, and what it would bring now is its answer. Raises `Refused`: sheet_not_judged,
    sheet_judged_anew, sent_sheet_unknown.
    """
    _begin(sheet, "applying", by=by, as_of=as_of, seen=seen)


def _begin(sheet: SentSheet, state: str, *, by: str, as_of: datetime, seen: str | None = None) -> None:
    worker = f"{socket.gethostname()}:{os.getpid()}:{uuid.uuid4().hex}"
    with act():
        try:
            _at_rest(sheet)
        except Refused as refused:
            if state == "applying" and refused.reason.code != "sent_sheet_unknown":
                return  # the press was repeated: its twin does it, or has done it
            raise
        found = SentSheet.objects.only("state", "answer", "worker").get(pk=sheet.pk)
        judged_well = found.state == "judged" and found.answer is not None and not found.answer["fault_count"]
        # One that was interrupted while it was taken in was judged well before.
        again = found.state == "interrupted" and found.answer is not None and not found.answer["fault_count"]
        if state == "applying" and not (judged_well or again):
            raise Refused(Reason("sheet_not_judged", sheet=sheet.name))
        if seen is not None and seen != judging_of(found):
            raise Refused(Reason("sheet_judged_anew", sheet=sheet.name))
        told: dict[str, Any] = {"doing": "reading", "done": 0, "worker": worker, "seen_at": timezone.now()}
        if state == "applying":
            told["applied_by"] = by
        SentSheet.objects.filter(pk=sheet.pk).update(state=state, **told)
    if sheet.rows <= SMALL:
        work(sheet.pk, worker, by=by, as_of=as_of)
    else:
        threading.Thread(target=_beside, args=(sheet.pk, worker, by, as_of), daemon=True).start()


def _beside(pk: int, worker: str, by: str, as_of: datetime) -> None:
    """The work as a thread does it: what goes wrong is written down, since nobody is there to be told."""
    try:
        work(pk, worker, by=by, as_of=as_of)
    except Exception:
        _log.exception("the sheet %s was interrupted", pk)
    finally:
        connection.close()


class _GivenUp(Exception):
    """The sheet is no longer this run's."""


class _Moved(Exception):
    """The stock is not what it was when somebody looked: the sheet would bring something else."""


def work(pk: int, worker: str, *, by: str, as_of: datetime) -> None:
    """Judge a sheet or take it in, as its state says; what came of it is its answer.

    A sheet that fails for whatever reason is left as interrupted, never as one that is still read.
    """
    mine = SentSheet.objects.filter(pk=pk, worker=worker, state__in=("judging", "applying"))
    sheet = mine.first()
    if sheet is None:
        return
    last = time.monotonic()

    def told(doing: str, done: int, of: int) -> None:
        nonlocal last
        if time.monotonic() - last < _SECONDS_BETWEEN:
            return
        last = time.monotonic()
        try:
            heard = mine.update(doing=doing, done=done, seen_at=timezone.now())
        except OperationalError:
            return  # somebody else is writing; it is told the next time
        if not heard:
            raise _GivenUp

    def within(intake: Intake) -> None:
        answer = _answer(intake, found)
        if sheet.answer is not None and _promised(answer) != _promised(sheet.answer):
            raise _Moved
        if not mine.update(state="applied", doing="", answer=answer, content=b"", seen_at=timezone.now()):
            raise _GivenUp

    try:
        today = as_of.astimezone(settings.SHOP_ZONE).date()
        found = judged(table_of(sheet), sheet.columns, sheet.of, today, told)
        applying = sheet.state == "applying"
        intake = take(
            [found], as_of=as_of, by=by, apply=applying, leave_out=sheet.leave_out, told=told,
            within=within if applying else None,
        )  # fmt: skip
        if not intake.applied:
            mine.update(state="judged", doing="", answer=_answer(intake, found), seen_at=timezone.now())
    except _GivenUp:
        return
    except _Moved:
        intake = take([found], as_of=as_of, by=by, apply=False, leave_out=sheet.leave_out)
        answer = _answer(intake, found) | {"moved": True}
        mine.update(state="judged", doing="", answer=answer, seen_at=timezone.now())
    except Refused as refused:
        # What somebody else took in the very moment of writing: told like any other fault.
        intake = Intake(faults=[Reason("cell", sheet=sheet.name, row=0, column="", value="", why=refused.reason)])
        mine.update(state="judged", doing="", answer=_answer(intake, None), seen_at=timezone.now())
    except BaseException:
        _interrupt(pk, worker)
        raise


def _interrupt(pk: int, worker: str) -> bool:
    mine = SentSheet.objects.filter(pk=pk, worker=worker, state__in=("judging", "applying"))
    try:
        return bool(mine.update(state="interrupted", doing=""))
    except OperationalError:
        return False  # it is found out by its silence


def look(pk: int, *, as_of: datetime) -> SentSheet:
    """A sheet as it stands; one whose run ended without a word is marked as interrupted. Raises `Refused`:
    sent_sheet_unknown."""
    sheet = SentSheet.objects.defer("content").filter(pk=pk).first()
    if sheet is None:
        raise Refused(Reason("sent_sheet_unknown", id=pk))
    # Given up only if the run did not finish meanwhile: where it did, it is as it left it.
    if sheet.state in ("judging", "applying") and _is_gone(sheet, as_of) and _interrupt(pk, sheet.worker):
        sheet.refresh_from_db(fields=["state", "doing", "answer"])
    return sheet


def _is_gone(sheet: SentSheet, as_of: datetime) -> bool:
    """Whether the run of a sheet is known to be over: its process ended, or nothing was heard of it for long."""
    machine, _, rest = sheet.worker.partition(":")
    process = rest.partition(":")[0]
    if machine == socket.gethostname() and process.isdigit() and int(process) != os.getpid():
        try:
            os.kill(int(process), 0)
        except ProcessLookupError:
            return True
        except PermissionError:
            pass
    return sheet.seen_at is None or as_of - sheet.seen_at > UNHEARD


def recent(most: int = 10) -> list[SentSheet]:
    """The sheets that were sent last. One query."""
    return list(SentSheet.objects.defer("content", "answer")[:most])


# --- answers -----------------------------------------------------------------------------------------------


def _answer(intake: Intake, sheet: Sheet | None) -> dict[str, Any]:
    """What is kept of an intake: counts, and the first of whatever is to be told, as plain values."""
    twice = [fault for fault in intake.faults if fault["why"].code in DUPLICATES]
    others = [fault for fault in intake.faults if fault["why"].code not in DUPLICATES]
    return {
        "counts": list(intake.counts.items()),  # pairs: PostgreSQL keeps no order of keys
        "met": intake.met,
        "left_out": intake.left_out,
        "rows": sheet.count if sheet else 0,
        "fault_count": len(intake.faults),
        "faults": [_plain(fault) for fault in others[:MOST_TOLD]],
        "duplicates": [_plain(fault) for fault in twice[:MOST_TOLD]],
        "notes": [_plain(note) for note in intake.notes[:MOST_TOLD]],
        "note_count": len(intake.notes),
        "readings": [_plain(told) for told in intake.readings[:MOST_TOLD]],
        "preview": [_shown(row, sheet.of) for row in sheet.rows[:PREVIEW]] if sheet else [],
    }


def _promised(answer: Mapping[str, Any]) -> str:
    """What somebody who looks at an answer is told that the sheet would bring."""
    told = [answer[name] for name in ("counts", "met", "left_out", "notes", "note_count")]
    return json.dumps(told, sort_keys=True)  # PostgreSQL keeps no order of keys


def _plain(value: Any) -> Any:
    if isinstance(value, Reason):
        return {"code": value.code, "data": {key: _plain(each) for key, each in value.data.items()}}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    if isinstance(value, str):
        return value.replace("\0", "")  # which no database keeps
    return value.isoformat() if isinstance(value, date) else value


def reason_of(kept: Mapping[str, Any]) -> Reason:
    """A reason out of an answer."""

    def value(each: Any) -> Any:
        if isinstance(each, dict) and "code" in each:
            return reason_of(each)
        return tuple(map(value, each)) if isinstance(each, list) else each

    return rebuilt(kept["code"], {key: value(each) for key, each in kept["data"].items()})


def _shown(row: Row, of: str) -> dict[str, Any]:
    """A row as it was read: each column with what was typed, and what that was taken for."""
    cells = []
    for column in COLUMNS[of]:
        if column.name in row.text:
            value = row.value.get(column.field)
            read = value.thread.designation if isinstance(value, Reading) else ""
            if not read and value is not None:
                read = column.writer(value)
            cells.append({"column": column.name, "typed": row.text[column.name], "read": read, "unit": column.unit})
    return {"row": row.number, "cells": cells}
