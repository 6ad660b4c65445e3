"""The pages of sheets: sent, mapped, looked at before anything is written, taken in with one press; and the way out."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.errors import Reason, Refused
from inventory.models import SentSheet
from inventory.presses import press_key, pressed, sent
from inventory.refusals import NotThere, status_of
from inventory.roles import BUY, MOVE_STOCK, RoleLacking, known_as, may, page
from inventory.sheets import mapping, sending, writing
from inventory.sheets.columns import COLUMNS
from inventory.sheets.reading import DELIMITERS, ENCODINGS, refuse_large

_TYPES = {"csv": "text/csv; charset=utf-8", "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}


@page(MOVE_STOCK)
@require_safe
def sheets(request: HttpRequest) -> HttpResponse:
    """Where a sheet is sent from, what was sent last, and the way out."""
    return _sheets_page(request)


def _sheets_page(
    request: HttpRequest, refused: Reason | None = None, not_written: Reason | None = None
) -> HttpResponse:
    told = {
        "area": "shelf",
        "refused": refused,
        "not_written": not_written,
        "asked": request.GET,
        "recent": sending.recent(),
        "largest": sending.LARGEST_SENT // 1_000_000,
        "may_buy": may(request.user, BUY),
        "stays": writing.STAYS,
        "days": sending.KEPT.days,
        "key": uuid.uuid4().hex,
    }
    return render(request, "inventory/sheets.html", told, status=400 if refused or not_written else 200)


@page(MOVE_STOCK)
@pressed("sheets")
def send(request: HttpRequest) -> HttpResponse:
    """A file is sent: kept, where it is a sheet; else one sentence says why it is none."""
    file = request.FILES.get("file")
    if file is None or not file.name:
        return _sheets_page(request, Reason("sheet_missing"))
    try:
        refuse_large(file.name, file.size or 0, sending.LARGEST_SENT)
        kept = sending.keep(
            name=file.name, data=file.read(), by=known_as(request.user), as_of=timezone.now(),
            request_key=press_key(request),
        )  # fmt: skip
        _refuse_prices(request, kept)
    except Refused as refused:
        return _sheets_page(request, refused.reason)
    return redirect("sheet", pk=kept.pk)


def _refuse_prices(request: HttpRequest, sheet: SentSheet) -> None:
    """Prices are for whoever buys."""
    if sheet.of == "offers" and not may(request.user, BUY):
        raise RoleLacking(BUY)


def _there(request: HttpRequest, pk: int) -> SentSheet:
    try:
        found = sending.look(pk, as_of=timezone.now())
    except Refused as refused:
        raise NotThere(refused.reason) from refused
    _refuse_prices(request, found)
    return found


@page(MOVE_STOCK)
@require_safe
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """One sheet as it stands: its columns, how far it is, what would come in, what came in."""
    return _sheet_page(request, _there(request, pk))


def _sheet_page(request: HttpRequest, sheet: SentSheet, refused: Reason | None = None) -> HttpResponse:
    told: dict[str, Any] = {"area": "shelf", "sheet": sheet, "refused": refused}
    mapped = sheet.state == "sent" or (sheet.state in ("judged", "interrupted") and "columns" in request.GET)
    if mapped or (refused is not None and sheet.state in ("sent", "judged", "interrupted")):
        told |= {"columns": True, "encodings": ENCODINGS, "delimiters": DELIMITERS} | _columns(sheet)
    if sheet.answer is not None:
        answer = sheet.answer
        told |= {"seen": sending.judging_of(sheet), "moved": Reason("sheet_stock_moved")}
        told |= {"answer": answer, "counts": Reason("sheet_counts", things=dict(answer["counts"]))}
        told |= {
            name: [sending.reason_of(each) for each in answer[name]]
            for name in ("faults", "duplicates", "notes", "readings")
        }
        told["untold"] = answer["fault_count"] - len(answer["faults"]) - len(answer["duplicates"])
    return render(request, "inventory/sheet_sent.html", told, status=status_of(refused) if refused else 200)


def _columns(sheet: SentSheet) -> dict[str, Any]:
    """What the mapping page shows: each heading with examples below it and what it is taken for."""
    try:
        table = sending.table_of(sheet)
    except Refused as refused:
        raise NotThere(refused.reason) from refused
    guesses = mapping.guess(table.headings, sheet.of)
    below = [row for row in table.rows[table.head + 1 :] if any(row)][:200]
    rows = []
    for at, guess in enumerate(guesses):
        examples = list(dict.fromkeys(row[at] for row in below if at < len(row) and row[at]))[:3]
        chosen = sheet.columns[at] if at < len(sheet.columns) else ""
        rows.append({"at": at, "guess": guess, "examples": examples, "chosen": chosen})
    return {"table": table, "rows": rows, "ours": COLUMNS[sheet.of]}


@page(MOVE_STOCK)
@pressed("sheet")
def columns(request: HttpRequest, pk: int) -> HttpResponse:
    """The columns are told, or the file is read in another way; then it is judged."""
    _there(request, pk)
    by, now = known_as(request.user), timezone.now()
    whole = SentSheet.objects.get(pk=pk)
    try:
        if sent(request, "deed") == "read":
            ways = {name: request.POST.get(name, "") for name in ("of", "encoding", "delimiter", "worksheet")}
            sending.read_otherwise(whole, **ways)
        else:
            chosen = [sent(request, f"column-{at}") for at in range(len(whole.columns))]
            sending.judge(whole, columns=chosen, leave_out="leave_out" in request.POST, by=by, as_of=now)
    except Refused as refused:
        return _sheet_page(request, whole, refused.reason)
    return redirect("sheet", pk=pk)


@page(MOVE_STOCK)
@pressed("sheet")
def apply(request: HttpRequest, pk: int) -> HttpResponse:
    """Take it in, once."""
    sheet = _there(request, pk)
    try:
        sending.apply(sheet, by=known_as(request.user), as_of=timezone.now(), seen=sent(request, "seen"))
    except Refused as refused:
        return _sheet_page(request, sheet, refused.reason)
    return redirect("sheet", pk=pk)


@page(MOVE_STOCK)
@require_safe
def export(request: HttpRequest) -> HttpResponse:
    """All of the stock, or all offers, as a file."""
    of = "offers" if request.GET.get("of") == "offers" else "stock"
    kind = "xlsx" if request.GET.get("format") == "xlsx" else "csv"
    headings = "iso" if request.GET.get("headings") == "iso" else "words"
    delimiter = ";" if request.GET.get("delimiter") == ";" else ","
    if of == "offers" and not may(request.user, BUY):
        raise RoleLacking(BUY)
    try:
        written = writing.saved(of, file=f"{of}.{kind}", headings=headings, delimiter=delimiter)
    except Refused as refused:
        return _sheets_page(request, not_written=refused.reason)
    answer = HttpResponse(written, content_type=_TYPES[kind])
    answer["Content-Disposition"] = f'attachment; filename="{of}-{timezone.now():%Y-%m-%d}.{kind}"'
    return answer
