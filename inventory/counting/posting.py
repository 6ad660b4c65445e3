"""Counts decided, asked again, posted in one act or given up."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import Max

from inventory import stock
from inventory.counting.entering import locked_count, open_count
from inventory.counting.judging import Judged, review
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.models import Batch, CountBin, CountEntry, CountLine, Movement, StockCount
from inventory.reservations import lock
from inventory.stock import aware


class PostRefused(Refused):
    """A count cannot be posted; `lines` says why of each line that stands in the way, `reason` the first."""

    def __init__(self, lines: Mapping[int, Reason]) -> None:
        super().__init__(next(iter(lines.values())))
        self.lines = dict(lines)


def decide(
    *, count: int, entry: int, by: Any, as_of: datetime, counter: str = "", seen: int | None = None
) -> CountEntry:
    """Of what several found of one line, this entry stands: it is entered once more, as decided.

    Doing so again changes nothing. `seen` is the `Review.seen` on which somebody decided: what was entered of the line
    since is not overruled unseen. Raises `Refused`: count_unknown, count_closed, count_entry_unknown where it is none
    of this count or no longer counts, count_line_went_on.
    """
    with act():
        counted = open_count(count)
        chosen = CountEntry.objects.select_related("line").filter(pk=entry, line__count=counted).first()
        if chosen is None or chosen.pk <= chosen.line.again_after:
            raise Refused(Reason("count_entry_unknown"))
        last = chosen.line.entries.order_by("-pk")[0]
        if last.pk == chosen.pk and last.how == "decided":
            return last
        same = ("found", "book", "position")
        if last.how == "decided" and all(getattr(last, name) == getattr(chosen, name) for name in same):
            return last
        if seen is not None and last.pk > seen:
            raise Refused(Reason("count_line_went_on"))
        return CountEntry.objects.create(
            line=chosen.line,
            how="decided",
            found=chosen.found,
            book=chosen.book,
            position=chosen.position,
            at=aware(as_of),
            by=str(by),
            counter=counter or str(by),
        )


def ask_again(*, count: int, line: int, seen: int | None = None) -> CountLine:
    """Have a line counted again: what was entered of it until now no longer counts.

    `seen` is the `Review.seen` on which somebody asked: what was entered since stands, and asking so again changes
    nothing. Raises `Refused`: count_unknown, count_closed, count_line_unknown.
    """
    with act():
        counted = open_count(count)
        found = CountLine.objects.filter(pk=line, count=counted).first()
        if found is None:
            raise Refused(Reason("count_line_unknown"))
        entries = found.entries.all() if seen is None else found.entries.filter(pk__lte=seen)
        last = entries.aggregate(last=Max("pk"))["last"] or 0
        if last <= found.again_after:
            return found
        found.again_after = last
        found.save(update_fields=["again_after"])
        CountBin.objects.filter(count=counted, bin=found.bin_id).update(done_at=None, done_by="")
        return found


def post(
    *,
    count: int,
    by: Any,
    as_of: datetime,
    reason: str = "",
    reasons: Mapping[int, str] | None = None,
    seen: int | None = None,
    request_key: str | None = None,
) -> StockCount:
    """Post a count, all of it or nothing: every difference goes into the ledger with its reason.

    `reasons` gives the reason of a line (by its id), `reason` that of all others. `seen` is the `Review.seen` on which
    somebody decided: where more was entered since, nothing is posted. What nobody counted stays as it is.
    Raises `PostRefused` with count_disputed, count_found_twice, count_moved_since, count_known_since,
    count_below_nothing, reason_missing; `Refused` with count_unknown, count_closed, count_went_on, count_empty.
    """
    at = aware(as_of)
    with act():
        counted = locked_count(count)
        if counted.state == "posted" and request_key is not None and counted.close_key == request_key:
            return counted
        if counted.state != "open":
            raise Refused(Reason("count_closed", count=count, state=counted.state))
        of: Any = CountLine.objects.filter(count=counted).values_list("unit", "batch")
        lock(units={unit for unit, _ in of if unit}, batches={batch for _, batch in of if batch})
        now = review(counted)
        if seen is not None and seen != now.seen:
            raise Refused(Reason("count_went_on"))
        lines = [each for each in now.judged if each.line is not None]
        if not lines:
            raise Refused(Reason("count_empty"))
        given = {each.line.pk: (reasons or {}).get(each.line.pk, "") or reason for each in lines if each.line}
        in_the_way = {each.line.pk: each.why for each in lines if each.line and each.why}
        in_the_way |= {
            each.line.pk: Reason("reason_missing")
            for each in lines
            if each.line and each.state == "differs" and not given[each.line.pk]
        }
        if in_the_way:
            raise PostRefused(in_the_way)
        for each in lines:
            if each.line is not None:
                _settle(each, each.line, given[each.line.pk], at, by)
        return _close(counted, "posted", at, by, reason, request_key)


def _settle(judged: Judged, line: CountLine, reason: str, at: datetime, by: Any) -> None:
    """Write down what a line came to and book it."""
    line.book, line.found = judged.book, judged.found
    if judged.state == "differs":
        line.reason, line.movement = reason, _booked(judged, line, {"as_of": at, "by": by, "reason": reason})
    line.save(update_fields=["book", "found", "reason", "movement"])


def _booked(judged: Judged, line: CountLine, entry: Any) -> Movement | None:
    """The movement of a line that differs; None where the ledger has nothing to say of it."""
    if line.batch:
        return stock.count_batch(batch=line.batch, difference=judged.difference, **entry)
    if line.item:
        lot = line.lot
        if Batch.objects.filter(item=line.item, bin=line.bin, lot__iexact=lot).exists():
            raise PostRefused({line.pk: Reason("count_known_since")})  # it came in a moment ago: is it what was found?
        # The same lot was packed on the same day, wherever it lies.
        known = Batch.objects.filter(item=line.item, lot=lot).exclude(lot="").first()
        dates: Any = {"packed": known.packed, "expires": known.expires} if known else {}
        if not Batch.objects.get_or_create(item=line.item, bin=line.bin, lot=lot, defaults=dates)[1]:
            raise PostRefused(
                {line.pk: Reason("count_known_since")}
            )  # whoever takes the lot in waits for us, or we did
        batch = stock.receive_batch(item=line.item, quantity=judged.found or 0, bin=line.bin, lot=lot, **dates, **entry)
        return batch.movements.order_by("-pk").first()
    deed = judged.deed.code if judged.deed else ""
    if line.unit is None or deed in ("count_finds_elsewhere", "count_leaves_retired"):
        return None
    if judged.found:
        return stock.find_unit(unit=line.unit, bin=line.bin, **entry)
    return stock.lose_unit(unit=line.unit, **entry)


def abandon(*, count: int, reason: str, by: Any, as_of: datetime, request_key: str | None = None) -> StockCount:
    """Give a count up: nothing is posted, its bins may be counted anew. Doing so again changes nothing.

    Raises `Refused`: count_unknown, reason_missing, count_closed where it is posted.
    """
    if not reason:
        raise Refused(Reason("reason_missing"))
    with act():
        counted = locked_count(count)
        if counted.state == "abandoned":
            return counted
        if counted.state != "open":
            raise Refused(Reason("count_closed", count=count, state=counted.state))
        return _close(counted, "abandoned", aware(as_of), by, reason, request_key)


def _close(counted: StockCount, state: str, at: datetime, by: Any, reason: str, key: str | None) -> StockCount:
    counted.state, counted.closed_at, counted.closed_by = state, at, str(by)
    counted.reason, counted.close_key = reason, key
    counted.save(update_fields=["state", "closed_at", "closed_by", "reason", "close_key"])
    CountBin.objects.filter(count=counted).update(open=False)
    return counted
