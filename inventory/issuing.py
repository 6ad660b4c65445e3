"""Over the counter: what a label has kept for it is handed out in one act, and comes back in one.

A line is a unit or a batch, told apart by `key_of`: "u12", "b7". Each act is all or nothing and locks units by id, then
batches by id, as everywhere; what stands in the way is told line by line. Every line books by the act of the stock with
a request key of its own, made of the one that the press has, so a press that is repeated is carried out once.
"""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import unquote

from django.db.models import Q, Value
from django.db.models.functions import Upper

from inventory import labels, reservations, stock
from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.models import Batch, BatchHold, Bin, Movement, Reservation, Unit, UnitHold
from inventory.search import Shelved, shelved

MOST = 200  # lines of one kit; beyond them somebody hands out a whole crib


class LinesRefused(Refused):
    """Nothing was done; `reasons` says by line, or by what was scanned, what stands in the way, `reason` the first."""

    def __init__(self, reasons: Mapping[str, Reason]) -> None:
        super().__init__(next(iter(reasons.values())))
        self.reasons = dict(reasons)


@dataclass(frozen=True, slots=True)
class KitLine:
    """One thing that is kept for a label, or that it has in hand.

    `holes` of life are those that its holds on a unit still foresee; `kept` pieces of a batch lie there for it, `out`
    are in its hand (of a unit 1). `late`: it is out, and the last window that it was kept for is over.
    """

    key: str
    shelved: Shelved
    holes: int = 0
    kept: int = 0
    out: int = 0
    late: bool = False

    @property
    def thing(self) -> Any:
        """The unit or the batch itself."""
        return self.shelved.thing

    @property
    def unit(self) -> Unit | None:
        """The unit, where it is one."""
        return self.shelved.unit

    @property
    def name(self) -> str:
        """What stands on its label."""
        return self.unit.tag if self.unit else self.thing.lot or f"batch {self.thing.pk}"

    @property
    def code(self) -> str:
        """What a scanner reads off its label, behind the address."""
        return unquote(labels.path_of(self.thing).removeprefix(labels.PATH))

    @property
    def at_hand(self) -> bool:
        """Whether it lies in its bin and can be handed out without anybody's signature."""
        if self.unit is None:
            return self.kept > 0 and self.shelved.state != "expired"
        return not self.shelved.uncalibrated and self.shelved.state in ("at_hand", "held")


@dataclass(frozen=True, slots=True)
class Kit:
    """What a label has kept for it and in its hand, each in the order of the walk through the crib."""

    label: str
    link: str
    to_issue: tuple[KitLine, ...]
    out: tuple[KitLine, ...]

    @property
    def anything(self) -> bool:
        """Whether there is anything to hand out or to take back."""
        return bool(self.to_issue or self.out)


def key_of(thing: Unit | Batch) -> str:
    """What names a line: "u" or "b" and the number of the row."""
    return f"{'u' if isinstance(thing, Unit) else 'b'}{thing.pk}"


def parted(keys: Collection[str]) -> tuple[set[int], set[int]]:
    """The units and the batches that these keys name; what is no key is left out."""
    found = [match for key in keys if (match := re.fullmatch(r"([ub])([0-9]{1,18})", key))]
    units, batches = ({int(match[2]) for match in found if match[1] == sort} for sort in "ub")
    return units, batches


def kit(label: str, *, as_of: datetime, also: Collection[str] = ()) -> Kit:
    """What is kept for a label now and what it has in hand; lines `also` named stand in both. Eight queries at most."""
    at = stock.aware(as_of)
    also_units, also_batches = parted(also)
    holes: dict[int, int] = defaultdict(int)
    ends: dict[int, datetime] = {}
    link = ""
    of_label = {"active": True, "reservation__label": label, "reservation__state": "active"}
    for hold in UnitHold.objects.filter(**of_label).select_related("reservation")[:MOST]:
        holes[hold.unit_id] += hold.holes
        ends[hold.unit_id] = max(hold.end, ends.get(hold.unit_id, hold.end))
        link = link or hold.reservation.link
    kept: dict[int, int] = defaultdict(int)
    for piece in BatchHold.objects.filter(**of_label).select_related("reservation")[:MOST]:
        kept[piece.batch_id] += piece.kept
        link = link or piece.reservation.link
    out = {batch: count for (batch, _), count in stock.in_hand(labels=[label]).items()}
    units = (
        Unit.objects.select_related("item", "bin__site")
        .prefetch_related("item__life_factors")
        .filter(Q(pk__in={*holes, *also_units}) | Q(issued_to=label))
    )
    batches = Batch.objects.select_related("item", "bin__site").filter(pk__in={*kept, *out, *also_batches})
    lines = []
    for line in shelved(units.order_by("pk")[: 2 * MOST], batches.order_by("pk")[: 2 * MOST], as_of=at):
        pk = line.thing.pk
        if line.unit is not None:
            mine = line.unit.issued_to == label
            late = mine and pk in ends and ends[pk] <= at
            lines.append(KitLine(key_of(line.unit), line, holes=holes.get(pk, 0), out=int(mine), late=late))
        else:
            lines.append(KitLine(key_of(line.thing), line, kept=kept.get(pk, 0), out=out.get(pk, 0)))
    lines.sort(key=lambda line: (line.thing.bin.site.name, line.thing.bin.walk, line.name, line.key))
    wanted = set(also)
    return Kit(
        label,
        link,
        tuple(line for line in lines if line.key in wanted or line.kept or (line.unit and not line.out)),
        tuple(line for line in lines if line.key in wanted or line.out),
    )


def label_for(typed: str) -> str:
    """The label that somebody at the counter means: a label itself, or a tag or lot, typed or as a scanner reads it.

    Of a unit the label that has it in hand, else the one that keeps it next; of a batch the only one that keeps some.
    Raises `Refused`: counter_field_empty, counter_keeps_nothing, counter_several_labels, counter_opens_nothing,
    tag_is_several.
    """
    text = labels.scanned(typed)
    if not text:
        raise Refused(Reason("counter_field_empty"))
    folded = Upper(Value(text))
    rows = Reservation.objects.alias(folded=Upper("label")).filter(folded=folded, state="active")
    label = rows.values_list("label", flat=True).first()
    if label is None:
        held = Unit.objects.alias(folded=Upper("issued_to")).filter(folded=folded)
        label = held.values_list("issued_to", flat=True).first()
    if label is None:
        moved = Movement.objects.filter(label=text, batch__isnull=False).values_list("label", flat=True)
        label = moved.first() if stock.in_hand(labels=[text]) else None
    if label is not None:
        return label
    try:
        thing = labels.opened(text)
    except Refused as refused:
        if refused.reason.code != "tag_opens_nothing":
            raise
        near = Reservation.objects.filter(state="active", label__iendswith=text).values_list("label", flat=True).first()
        told = {"typed": text[:80], "near": near or refused.reason.data.get("near", "")}
        raise Refused(Reason("counter_opens_nothing", **told)) from refused
    if isinstance(thing, Unit) and thing.issued_to:
        return thing.issued_to
    if isinstance(thing, Bin):
        raise Refused(Reason("counter_is_a_bin", typed=text[:80]))
    holds: Any = thing.holds.filter(active=True).select_related("reservation").order_by("start", "id")
    found = list(dict.fromkeys(hold.reservation.label for hold in holds))
    if not found:
        raise Refused(Reason("counter_keeps_nothing", tag=text[:80]))
    if isinstance(thing, Batch) and len(found) > 1:
        raise Refused(Reason("counter_several_labels", tag=text[:80], labels=tuple(found)))
    return str(found[0])


# What is done


def issue(
    label: str,
    *,
    units: Collection[int] = (),
    batches: Mapping[int, int] | None = None,
    seen: Mapping[int, int] | None = None,
    tags: Collection[str] = (),
    signed: Mapping[int, str] | None = None,
    by: Any,
    as_of: datetime,
    request_key: str | None = None,
) -> int:
    """Hand these units and quantities of batches out to a label, and what else was scanned: all of it or nothing.

    `seen` says what was kept of a batch when somebody decided: where that moved since, as by the same press on
    another page, nothing is handed out. Each of `tags` is one unit, or one piece of a lot, over and above the kit;
    a line that is named already is not counted again. `signed` says of a unit, of which no calibration is on record,
    who signs for it and why. Answers with how many lines were handed out. Raises `LinesRefused` by line (`key_of`) or
    by the tag as it was scanned, and `Refused`: issue_empty, label_missing.
    """
    if not label:
        raise Refused(Reason("label_missing"))
    wanted, counts = set(units), dict(batches or {})
    more: dict[int, int] = defaultdict(int)
    reasons: dict[str, Reason] = {}
    scanned_as: dict[str, str] = {}
    for tag in tags:
        try:
            thing = labels.opened(labels.scanned(tag))
        except Refused as refused:
            reasons[tag] = refused.reason
            continue
        if isinstance(thing, Bin):
            reasons[tag] = Reason("counter_is_a_bin", typed=tag[:80])
        elif isinstance(thing, Unit):
            if thing.pk not in wanted:
                scanned_as[key_of(thing)] = tag
            wanted.add(thing.pk)
        elif thing.pk not in counts:
            scanned_as[key_of(thing)] = tag
            more[thing.pk] += 1
    counts |= more
    if reasons:
        raise LinesRefused(reasons)
    if not wanted and not counts:
        raise Refused(Reason("issue_empty", label=label))

    def hand_out(thing: Unit | Batch, key: str | None) -> None:
        entry: Any = {"label": label, "as_of": as_of, "by": by, "request_key": key}
        if isinstance(thing, Unit):
            stock.issue_unit(unit=thing, signed=(signed or {}).get(thing.pk, ""), **entry)
        else:
            _refuse_kept_moved(thing, label, (seen or {}).get(thing.pk))
            stock.issue_batch(batch=thing, quantity=counts[thing.pk], **entry)

    def same(thing: Unit | Batch, movement: Movement) -> bool:
        return isinstance(thing, Unit) or movement.quantity == -counts[thing.pk]

    return _all_or_none("issue", wanted, counts, hand_out, request_key, scanned_as, same)


def _refuse_kept_moved(batch: Batch, label: str, seen: int | None) -> None:
    holds = batch.holds.filter(active=True, reservation__label=label) if seen is not None else ()
    kept = sum(hold.kept for hold in holds)
    if seen not in (None, kept):
        out = in_hand_of(batch, label)
        raise Refused(Reason("kept_moved", label=label, seen=seen, kept=kept, out=out))


def in_hand_of(batch: Batch, label: str) -> int:
    """How many pieces of a batch a label has in hand."""
    return stock.in_hand(batches=[batch.pk], labels=[label]).get((batch.pk, label), 0)


def take_back(
    label: str,
    *,
    units: Mapping[int, tuple[int, str | None]] | None = None,
    batches: Mapping[int, int] | None = None,
    materials: Mapping[int, str] | None = None,
    by: Any,
    as_of: datetime,
    request_key: str | None = None,
) -> int:
    """Take back from a label units, each with the holes cut with it and its condition, and pieces of batches.

    `materials` says by unit in what its holes were cut, where that takes more or less of its life.
    All of it or nothing; what came of a reservation that stands is kept for it again. Answers with how many lines came
    back. Raises `LinesRefused` by line, and `Refused`: take_back_empty.
    """
    coming, counts = dict(units or {}), dict(batches or {})
    if not coming and not counts:
        raise Refused(Reason("take_back_empty", label=label))

    def put_back(thing: Unit | Batch, key: str | None) -> None:
        entry: Any = {"as_of": as_of, "by": by, "request_key": key}
        if isinstance(thing, Unit):
            holes, condition = coming[thing.pk]
            if thing.issued_to not in ("", label):
                raise Refused(Reason("unit_issued", tag=thing.tag, label=thing.issued_to))
            material = (materials or {}).get(thing.pk, "")
            stock.give_back_unit(unit=thing, holes=holes, condition=condition, material=material, **entry)
        else:
            stock.give_back_batch(batch=thing, quantity=counts[thing.pk], label=label, **entry)

    def same(thing: Unit | Batch, movement: Movement) -> bool:
        if isinstance(thing, Unit):
            return movement.holes == coming[thing.pk][0]
        return movement.quantity == counts[thing.pk]

    return _all_or_none("take back", coming, counts, put_back, request_key, same=same)


def broke(
    label: str,
    key: str,
    *,
    holes: int = 0,
    material: str = "",
    pieces: int = 1,
    lost: bool = False,
    reason: str,
    by: Any,
    as_of: datetime,
    request_key: str | None = None,
) -> Unit | Batch:
    """A unit, or pieces of a batch, that a label works with are broken or lost: one act, which says so to every hold.

    `holes` that were cut with the unit before are booked first. Pieces that the label has in hand count as come back
    and taken away, so its plan no longer counts on them; more than it has in hand is refused. Raises `Refused`:
    thing_unknown, gives_back_too_much and what the acts refuse.
    """
    units, batches = parted([key])
    gone: list[Unit | Batch] = []

    def end(thing: Unit | Batch, request: str | None) -> None:
        entry: Any = {"as_of": as_of, "by": by}
        before = _request(request_key, "before the end", key)
        gone.append(thing)
        if isinstance(thing, Unit):
            if thing.issued_to not in ("", label):  # it went to another since the page was opened
                raise Refused(Reason("unit_issued", tag=thing.tag, label=thing.issued_to))
            if holes:
                used: Any = {"holes": holes, "material": material, "label": thing.issued_to}
                stock.use_unit(unit=thing, request_key=before, **used, **entry)
            gone_as = stock.lose_unit if lost else stock.scrap_unit
            gone_as(unit=thing, reason=reason, request_key=request, **entry)
            return
        out = in_hand_of(thing, label)
        if pieces > out:  # more would be taken from what lies there for others
            raise Refused(Reason("gives_back_too_much", label=label, issued=out, quantity=pieces))
        stock.give_back_batch(batch=thing, quantity=pieces, label=label, request_key=before, **entry)
        stock.scrap_batch(batch=thing, quantity=pieces, reason=reason, request_key=request, **entry)

    try:
        if not _all_or_none("broke", units, dict.fromkeys(batches, pieces), end, request_key):
            raise Refused(Reason("thing_unknown", key=key[:20]))
    except LinesRefused as refused:
        raise Refused(refused.reason) from refused
    if gone:
        return gone[0]
    return (Unit if units else Batch).objects.get(pk=next(iter(units or batches)))  # the press was repeated


def _all_or_none(
    deed: str,
    units: Collection[int],
    batches: Collection[int],
    carry_out: Callable[[Unit | Batch, str | None], None],
    request_key: str | None,
    scanned_as: Mapping[str, str] | None = None,
    same: Callable[[Unit | Batch, Movement], bool] = lambda thing, movement: True,
) -> int:
    """Carry out every line under lock, or none; a line that this request carried out already counts as done.

    Where that was another amount, which `same` tells, somebody went back and typed anew: it is refused, since what was
    typed would be passed over in silence.
    """
    reasons: dict[str, Reason] = {}
    with act():
        there_units, there_batches = reservations.lock(units=units, batches=batches)
        things: list[Unit | Batch] = [*there_units.values(), *there_batches.values()]
        keys = {thing: _request(request_key, deed, key_of(thing)) for thing in things}
        asked = [key for key in keys.values() if key is not None]
        done = {line.request_key: line for line in Movement.objects.filter(request_key__in=asked)}
        for thing in things:
            try:
                if keys[thing] in done:
                    if not same(thing, done[keys[thing]]):
                        raise Refused(Reason("press_was_other"))
                    continue
                carry_out(thing, keys[thing])
            except Refused as refused:
                key = key_of(thing)
                reasons[(scanned_as or {}).get(key, key)] = refused.reason
        for sort, wanted, there in (("u", units, there_units), ("b", batches, there_batches)):
            for pk in sorted(set(wanted) - set(there)):
                reasons[f"{sort}{pk}"] = Reason("thing_unknown", key=f"{sort}{pk}")
        if reasons:
            raise LinesRefused(reasons)  # and with it goes what the other lines booked
    return len(things)


def _request(request_key: str | None, deed: str, key: str) -> str | None:
    """The request key of one line of a press."""
    return request_key and hashlib.sha256(f"{request_key} {deed} {key}".encode()).hexdigest()
