"""The plan as a document: the JSON that the `plan` command prints, cards freeze and other programs read.

Its form is `plan.schema.json` (JSON Schema 2020-12); a change of meaning raises `SCHEMA_VERSION`.
Lengths are decimal strings in millimetres, torques in newton metres, times ISO 8601 in UTC.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from inventory.documents import millimetres, newton_metres, plain
from inventory.errors import Reason
from inventory.kinds import KINDS, StockLine
from inventory.order_points import Standing
from inventory.quantities import show_money
from inventory.threads import Thread
from repairs.buying import Choice, Gap, Purchase, Restock, Row, ShoppingList, SupplierOrder, WholeSet, pack_price
from repairs.choices import Compared, Comparison
from repairs.jobs import Accepted, GroupPlan, JobPlan, MethodReadiness, SizePlan, size_code
from repairs.matching import Line, Take
from repairs.methods.values import DOUBTFUL, GAP, MATCH, Check, HoleGroup, Need, Option, Size, Step, Window
from repairs.strength import Verdict
from repairs.wording import item_words, name, say, word

SCHEMA_VERSION = 1
SCHEMA = Path(__file__).with_name("plan.schema.json")


def schema() -> dict[str, Any]:
    """The published JSON Schema of the plan document."""
    found: dict[str, Any] = json.loads(SCHEMA.read_text())
    return found


def digest(document_: dict[str, Any]) -> str:
    """SHA-256 over what the plan decides: not when it was asked, its sentences, or what buying would come to."""
    decided = _decided({key: value for key, value in document_.items() if key != "as_of"})
    return hashlib.sha256(json.dumps(decided, sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def _decided(value: Any) -> Any:
    if isinstance(value, dict):
        told = "code" in value and "data" in value  # a reason: its code and numbers decide, its sentence tells
        untold = "text" if told else "comparison"
        return {key: _decided(each) for key, each in value.items() if key != untold}
    if isinstance(value, list):
        return [_decided(each) for each in value]
    return value


def document(plan: JobPlan, *, units: str = "mm", comparison: Comparison | None = None) -> dict[str, Any]:
    """A plan as plain JSON values; `units` ("mm" or "in") leads in the sentences only.

    `comparison` is its methods side by side (`choices.compare`), null in each group where it was not made.
    """
    write = _Writer(units, plan.number, comparison or {})
    return {
        "schema": SCHEMA_VERSION,
        "job": plan.number,
        "owner": plan.owner,
        "site": plan.site,
        "as_of": _time(plan.as_of),
        "window": {"start": _time(plan.start), "end": _time(plan.end)},
        "complete": plan.complete,
        "counts": {
            "match": plan.count(MATCH),
            "gap": plan.count(GAP),
            "doubtful": plan.count(DOUBTFUL),
            "unplanned": len(plan.unplanned),
        },
        "groups": [write.group(group) for group in plan.groups],
        "not_checked": [write.reason(reason) for reason in plan.not_checked],
    }


def _time(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _megapascals(kpa: int | None) -> str | None:
    return None if kpa is None else format(Decimal(kpa).scaleb(-3).normalize(), "f")


def _percent(share: float | None) -> str | None:
    return None if share is None else f"{share * 100:.1f}"


def _volume(mm3: Decimal | None) -> str | None:
    return None if mm3 is None else format(round(mm3, 0), "f")


def _window(window: Window | None) -> dict[str, Any] | None:
    return None if window is None else {"least_mm": millimetres(window.least), "most_mm": millimetres(window.most)}


def _thread(thread: Thread | None) -> dict[str, Any] | None:
    return None if thread is None else {"key": thread.key, "designation": thread.designation}


class _Writer:
    def __init__(self, units: str, job: str, comparison: Comparison | None = None) -> None:
        self.units, self.job, self.comparison = units, job, comparison or {}

    def reason(self, reason: Reason) -> dict[str, Any]:
        return {
            "code": reason.code,
            "data": {key: plain(value) for key, value in reason.data.items()},
            "text": say(reason, self.units),
        }

    def reasons(self, reasons: Iterable[Reason]) -> list[dict[str, Any]]:
        return [self.reason(reason) for reason in reasons]

    def group(self, plan: GroupPlan) -> dict[str, Any]:
        return {
            "code": plan.group.code,
            "part": plan.group.part or None,
            "thread": {
                "typed": plan.group.as_typed,
                "class": plan.group.bolt_class,
                "notes": self.reasons(plan.group.notes),
                **(_thread(plan.group.bolt) or {}),
            },
            "holes": plan.group.holes,
            "cautions": self.reasons(plan.cautions),
            "answers": self.answers(plan.group),
            "accepted": self.accepted(plan.accepted),
            "method": plan.chosen.method if plan.chosen else None,
            "size": self.size(plan.chosen.size) if plan.chosen else None,
            "checks": [self.check(check) for check in plan.checks],
            "lines": [self.line(line) for line in plan.lines],
            "methods": [self.method(readiness) for readiness in plan.methods],
            "comparison": self.compared(self.comparison.get(plan.group.code)),
        }

    def compared(self, comparison: Sequence[Compared] | None) -> list[dict[str, Any]] | None:
        if comparison is None:
            return None
        return [
            {
                "method": each.method,
                "size": size_code(each.option.size) if each.option else None,
                "planned": each.planned,
                "by_choice": each.by_choice,
                "verdict": each.verdict,
                "margin_percent": _percent(each.margin),
                "why": self.reasons(each.why),
                "remedies": self.reasons(each.remedies),
                "counts": {MATCH: each.matches, GAP: each.gaps, DOUBTFUL: each.doubtful},
                "start": {
                    "day": each.start.day.isoformat() if each.start.day else None,
                    "by": each.start.by,
                    "need": each.start.need.id if each.start.need else None,
                },
                "cost": [
                    {
                        "currency": money.currency,
                        "goods_minor": money.goods,
                        "carriage_minor": money.carriage,
                        "total_minor": money.total,
                    }
                    for money in each.cost
                ],
                "unsold": each.unsold,
                "metal_away_mm3": _volume(each.metal_away),
            }
            for each in comparison
        ]

    def accepted(self, accepted: Accepted | None) -> dict[str, Any] | None:
        if accepted is None:
            return None
        return {
            "method": accepted.method,
            "size": accepted.code,
            "by": accepted.by,
            "at": _time(accepted.at),
            "answers": accepted.answers or None,
            "why": accepted.why or None,
            "signed": list(accepted.signed_codes),
        }

    def answers(self, group: HoleGroup) -> dict[str, Any]:
        return {
            "positions": list(group.positions),
            "window": {"start": _time(group.start), "end": _time(group.end)},
            "through": group.through,
            "depth_mm": millimetres(group.depth),
            "floor_mm": millimetres(group.floor),
            "edge_mm": millimetres(group.edge),
            "material": group.material or None,
            "before": group.before,
            "before_thread": _thread(group.before_thread),
            "before_major_mm": millimetres(group.before_major),
            "failed": group.failed or None,
            "passes_gauge": group.passes_gauge,
            "made": group.made,
            "torque_Nm": newton_metres(group.torque),
            "damage": group.damage or None,
            "bore_mm": millimetres(group.bore),
            "off_axis_mm": millimetres(group.off_axis),
            "grade": group.grade or None,
            "alloy": group.alloy or None,
            "tensile_MPa": _megapascals(group.tensile),
            "shear_MPa": _megapascals(group.shear),
            "reach_mm": millimetres(group.reach),
            "fixture": group.fixture or None,
            "hand": group.hand or None,
            "wished": group.wished or None,
        }

    def check(self, check: Check) -> dict[str, Any]:
        return {
            "status": check.status,
            "reason": self.reason(check.reason),
            "remedy": self.reason(check.remedy) if check.remedy else None,
        }

    def method(self, readiness: MethodReadiness) -> dict[str, Any]:
        plan = readiness.plan
        shown = {id(size.option): size for size in readiness.sizes}
        refused = [option for option in plan.options if option.ruled_out]
        return {
            "method": plan.method,
            "stands": plan.chosen is not None,
            "reasons": self.reasons(plan.reasons),
            "remedies": self.reasons(plan.remedies),
            "sizes": [self.planned_size(size) for size in shown.values()],
            "refused_sizes": [
                {
                    "size": self.size(option.size),
                    "checks": [self.check(check) for check in option.checks],
                    "may_be_overruled": option.impossible is None,
                }
                for option in refused
            ],
        }

    def planned_size(self, planned: SizePlan) -> dict[str, Any]:
        option: Option = planned.option
        counts = Counter(line.status for line in planned.lines)
        lines = {line.need.id: line for line in planned.lines}
        return {
            "size": self.size(option.size),
            "like_for_like": option.like_for_like,
            "by_choice": option.by_choice,
            "verdict": option.verdict,
            "metal_away_mm3": _volume(option.metal_away),
            "strength": self.strength(option.strength),
            "checks": [self.check(check) for check in option.checks],
            "counts": {status: counts[status] for status in (MATCH, GAP, DOUBTFUL)},
            "steps": [self.step(step, lines) for step in option.steps],
        }

    def strength(self, verdict: Verdict | None) -> dict[str, Any] | None:
        if verdict is None:
            return None
        return {
            "status": verdict.status,
            "governs": verdict.governs or None,
            "margin_percent": _percent(verdict.margin),
            "preload_N": None
            if verdict.preload is None
            else {"least": round(verdict.preload.least), "most": round(verdict.preload.most)},
            "sums": [
                {
                    "what": each.what,
                    "status": each.status,
                    "carries_N": None if each.carries is None else math.floor(each.carries),
                    "needed_N": None if each.needed is None else math.ceil(each.needed),
                    "against": each.against or None,
                    "margin_percent": _percent(each.margin),
                    "by": each.by or None,
                    "reason": self.reason(each.reason),
                    "remedies": self.reasons(each.remedies),
                }
                for each in verdict.sums
            ],
            "reasons": self.reasons(verdict.reasons),
            "missing": self.reasons(verdict.missing),
            "notes": self.reasons(verdict.notes),
            "turns": self.reasons(turn.reason for turn in verdict.turns),
        }

    def size(self, size: Size) -> dict[str, Any]:
        return {
            "code": size_code(size),
            "family": size.family,
            "edition": size.edition,
            "standing": size.standing,
            "source": size.source,
            "inner": _thread(size.inner),
            "outer": _thread(size.outer),
            "length_mm": millimetres(size.length),
            "inserted": size.inserted,
            "metal": size.metal or None,
        }

    def step(self, step: Step, lines: dict[str, Line]) -> dict[str, Any]:
        return {
            "step": step.code,
            "settings": self.reasons(step.settings),
            "cautions": self.reasons(step.cautions),
            "needs": [{**self.need(need), "status": lines[need.id].status} for need in step.needs],
        }

    def need(self, need: Need) -> dict[str, Any]:
        return {
            "id": need.id,
            "kind": need.kind,
            "word": KINDS[need.kind].word,
            "thread": _thread(Thread.from_key(need.thread)) if need.thread else None,
            "classes": list(need.classes),
            "inner": _thread(Thread.from_key(need.inner)) if need.inner else None,
            "family": need.family or None,
            "length_mm": millimetres(need.length),
            "diameter": _window(need.diameter),
            "pilot_of": need.pilot_of or None,
            "reach_mm": millimetres(need.reach),
            "lead_tenths": None if need.lead is None else {"match": need.lead.match, "doubt": need.lead.doubt},
            "flutes": list(need.flutes),
            "action": need.action or None,
            "name": need.name or None,
            "hand": need.hand or None,
            "torque_Nm": newton_metres(need.torque),
            "holes": need.holes,
            "quantity": need.quantity,
            "window": {"start": _time(need.start), "end": _time(need.end)},
            "why": self.reasons(need.why),
        }

    def line(self, line: Line) -> dict[str, Any]:
        return {
            "need": self.need(line.need),
            "step": line.need.step,
            "status": line.status,
            "reasons": self.reasons(line.reasons),
            "takes": [self.take(take) for take in line.takes],
            "near": [{**self.stock(miss.line), "reasons": self.reasons(miss.reasons)} for miss in line.near],
            "look_alikes": self.reasons(line.look_alikes),
        }

    def take(self, take: Take) -> dict[str, Any]:
        return {
            **self.stock(take.line),
            "holes": take.holes,
            "quantity": take.quantity,
            "status": take.status,
            "reasons": self.reasons(take.reasons),
        }

    def stock(self, line: StockLine) -> dict[str, Any]:
        # What the job itself has reserved counts as left, so that booking a plan does not change it.
        own = sum(hold.holes for hold in line.holds if hold.label == self.job)
        return {
            "tag": line.tag,
            "counted": line.batch is not None,
            "name": line.facts.name,
            "thread": _thread(Thread.from_key(line.facts.thread)) if line.facts.thread else None,
            "diameter_mm": millimetres(line.facts.diameter),
            "site": line.site,
            "bin": line.bin,
            "life_left": None if line.life_left is None else line.life_left + own,
        }


@dataclass(frozen=True, slots=True)
class ReadinessRow:
    """One hole group in the table of readiness, in words.

    `group` is its letter, empty where the job has no other group, and `part` likewise the part that it is on.
    """

    job: str
    group: str
    part: str
    holes: str
    method: str
    matches: int
    gaps: int
    doubtful: int
    short: tuple[str, ...]


def readiness_rows(plan: JobPlan, units: str = "mm") -> list[ReadinessRow]:
    """How ready a job is, one row a hole group; what is short comes first, then what is doubtful."""
    return [_readiness_row(plan, group, units) for group in plan.groups]


def _readiness_row(plan: JobPlan, group: GroupPlan, units: str) -> ReadinessRow:
    status = [line.status for line in group.lines]
    signs = [check for check in group.checks if check.status == DOUBTFUL]
    if group.chosen is None:
        wished = [each.plan for each in group.methods if each.plan.method == group.group.wished]
        refused = wished or [each.plan for each in group.methods if each.plan.chosen is None]  # others are by choice
        told = [
            f"{word(each.method).capitalize()}: "
            + " ".join(say(reason, units) for reason in (*each.reasons[:1], *each.remedies[:1]))
            for each in refused
        ]
    else:
        lines = sorted((line for line in group.lines if line.status != MATCH), key=lambda line: line.status != GAP)
        told = [
            f"{word(line.status).capitalize()}: {name(line.need, units)}. {line_reason(line, units)}" for line in lines
        ]
        told += [f"Doubtful: {say(check.reason, units)}" for check in signs]
    return ReadinessRow(
        job=plan.number,
        group=group.group.code if len(plan.groups) > 1 else "",
        part=part_of(plan, group),
        holes=f"{group.group.holes} × {group.group.bolt.designation}",
        method=word(group.chosen.method) if group.chosen else "none stands",
        matches=status.count(MATCH),
        gaps=status.count(GAP),
        doubtful=status.count(DOUBTFUL) + len(signs),
        short=tuple(told),
    )


def part_of(plan: JobPlan, group: GroupPlan) -> str:
    """The part that a group is on, where its job has more than one and it must be told which is meant."""
    return group.group.part if len({each.group.part for each in plan.groups}) > 1 else ""


def line_reason(line: Line, units: str = "mm") -> str:
    """Why a line is no match, in as few words as a table has room for."""
    told = [say(reason, units) for take in line.takes for reason in take.reasons if take.status != MATCH]
    if line.near:
        nearest = line.near[0]
        shared = [reason for reason in line.reasons if reason.code != "none_fits"]
        told += [say(reason, units) for reason in shared[:1]]
        if not shared:
            told.append(f"{nearest.line.tag}: " + " ".join(say(reason, units) for reason in nearest.reasons))
    else:
        told += [say(reason, units) for reason in (*line.reasons, *line.look_alikes[:1])]
    return " ".join(dict.fromkeys(told))


# The shopping list

Stocked = tuple[Standing, Restock]  # how an item stands at its order point, and what brings it up to its most

SHOPPING_VERSION = 1
SHOPPING_HEADS = (
    "line", "what", "jobs", "needed on", "short of", "item", "supplier", "offer", "pieces", "packs", "a pack",
    "goods", "carriage", "total", "currency", "order by", "arrives", "days late", "notes",
)  # fmt: skip


def shopping_document(shopping: ShoppingList, *, stocked: Iterable[Stocked] = (), units: str = "mm") -> dict[str, Any]:
    """A shopping list as plain JSON values; money in whole minor units beside its currency, rows numbered from 1.

    `stocked` is what is bought for no job, since it stands at its order point.
    """
    write = _Writer(units, "")
    return {
        "schema": SHOPPING_VERSION,
        "today": shopping.today.isoformat(),
        "rows": [_shopping_row(number, row, write) for number, row in enumerate(shopping.rows, 1)],
        "sets": [_shopping_set(whole, write) for whole in shopping.sets],
        "orders": [_supplier_order(order, write) for order in shopping.orders],
        "totals": [{"currency": code, "total_minor": total} for code, total in sorted(shopping.totals.items())],
        "notes": write.reasons(unlisted(shopping)),
        "for_stock": [_stocked_row(standing, each, write) for standing, each in stocked],
    }


def _stocked_row(standing: Standing, each: Restock, write: _Writer) -> dict[str, Any]:
    return {
        "item": _choice(each.choice, write),
        "free": standing.free,
        "on_order": standing.on_order,
        "position": standing.position,
        "order_point": standing.set.order_point if standing.set else None,
        "maximum": standing.set.maximum if standing.set else None,
        "pieces": each.pieces,
        "purchase": None if each.purchase is None else _purchase(each.purchase, write),
    }


def unlisted(shopping: ShoppingList) -> list[Reason]:
    """What the list says nothing of, since no method stands."""
    return [Reason("nothing_planned", job=job, group=group) for job, group in shopping.unplanned]


def _shopping_row(number: int, row: Row, write: _Writer) -> dict[str, Any]:
    gap = row.gap
    return {
        "line": number,
        "jobs": list(gap.jobs),
        "needed_on": gap.day.isoformat(),
        "needs": [
            {"job": demand.job, "why": write.reasons(demand.why), "need": write.need(demand.need)}
            for demand in gap.demands
        ],
        "items": [_choice(choice, write) for choice in gap.choices],
        "purchase": None if row.purchase is None else _purchase(row.purchase, write),
        "other_currencies": [_purchase(each, write) for each in row.others],
        "notes": write.reasons(row_notes(row)),
    }


def row_notes(row: Row) -> list[Reason]:
    """What to mind with a row, and what it would be in another currency."""
    return [*row.notes, *map(_elsewhere, row.others)]


def _elsewhere(bought: Purchase) -> Reason:
    return Reason(
        "price_in_other_currency",
        currency=bought.offer.currency,
        total_minor=bought.total,
        supplier=bought.offer.supplier,
        arrives=bought.arrives,
    )


def _choice(choice: Choice, write: _Writer) -> dict[str, Any]:
    return {
        "item": choice.facts.item,
        "number": choice.number or None,
        "words": item_words(choice, write.units),
        "status": choice.status,
        "reasons": write.reasons(choice.reasons),
    }


def _purchase(bought: Purchase, write: _Writer) -> dict[str, Any]:
    offer = bought.offer
    return {
        "item": _choice(bought.choice, write),
        "offer": {"id": offer.offer, "number": offer.number or None, "name": offer.name or None},
        "supplier": offer.supplier,
        "pieces": bought.pieces,
        "packs": bought.packs,
        "pack_price_minor": bought.each,
        "goods_minor": bought.goods,
        "carriage_minor": offer.carriage,
        "total_minor": bought.total,
        "currency": offer.currency,
        "order_by": bought.latest.isoformat(),
        "arrives": bought.arrives.isoformat(),
        "days_late": bought.late,
    }


def set_note(whole: WholeSet) -> Reason:
    """What a set meets and what it costs, beside what its parts come to."""
    return Reason(
        "set_beside_parts",
        lines=_lines(whole.rows),
        total_minor=whole.total,
        parts_minor=whole.parts,
        currency=whole.offer.currency,
        late=whole.late,
    )


def _lines(rows: tuple[int, ...]) -> str:
    return ("line " if len(rows) == 1 else "lines ") + ", ".join(str(row + 1) for row in rows)


def _shopping_set(whole: WholeSet, write: _Writer) -> dict[str, Any]:
    offer = whole.offer
    return {
        "offer": {"id": offer.offer, "number": offer.number or None, "name": offer.name or None},
        "supplier": offer.supplier,
        "lines": [row + 1 for row in whole.rows],
        "packs": whole.packs,
        "goods_minor": whole.goods,
        "carriage_minor": offer.carriage,
        "total_minor": whole.total,
        "parts_total_minor": whole.parts,
        "parts_days_late": whole.parts_late,
        "currency": offer.currency,
        "order_by": whole.latest.isoformat(),
        "arrives": whole.arrives.isoformat(),
        "days_late": whole.late,
        "note": write.reason(set_note(whole)),
    }


def order_notes(order: SupplierOrder) -> list[Reason]:
    """That an order is under what its supplier takes."""
    if not order.short:
        return []
    least = order.goods + order.short
    return [
        Reason(
            "order_below_minimum",
            supplier=order.supplier,
            minimum_minor=least,
            short_minor=order.short,
            currency=order.currency,
        )
    ]


def _supplier_order(order: SupplierOrder, write: _Writer) -> dict[str, Any]:
    return {
        "supplier": order.supplier,
        "currency": order.currency,
        "lines": [row + 1 for row in order.rows],
        "goods_minor": order.goods,
        "carriage_minor": order.carriage,
        "short_of_minimum_minor": order.short,
        "order_by": order.latest.isoformat(),
        "notes": write.reasons(order_notes(order)),
    }


def gap_words(gap: Gap, units: str = "mm") -> str:
    """What a gap asks for; where jobs ask for it in unlike words, each of them."""
    return "; ".join(dict.fromkeys(name(demand.need, units) for demand in gap.demands))


def shopping_csv(shopping: ShoppingList, *, stocked: Iterable[Stocked] = (), units: str = "mm") -> str:
    """A shopping list for a spreadsheet: `SHOPPING_HEADS`, a line a gap, then each set, then what is bought for stock
    since it stands at its order point; money as decimals.

    What a spreadsheet would take for a formula is written as text.
    """
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\n")
    sheet.writerow(SHOPPING_HEADS)
    for number, row in enumerate(shopping.rows, 1):
        sheet.writerow(_as_text(_csv_row(number, row, units)))
    for whole in shopping.sets:
        sheet.writerow(_as_text(_csv_set(whole, units)))
    for _, each in stocked:
        sheet.writerow(_as_text(_csv_restock(each, units)))
    return out.getvalue()


def _as_text(cells: Iterable[Any]) -> list[str]:
    return [f"'{cell}" if str(cell)[:1] in ("=", "+", "-", "@", "\t") else str(cell) for cell in cells]


def _money(minor: int, currency: str) -> str:
    return show_money(minor, currency).removeprefix(f"{currency} ")


def _csv_row(number: int, row: Row, units: str) -> list[Any]:
    bought, gap = row.purchase, row.gap
    head = [number, "buy" if bought else "nothing to buy", " ".join(gap.jobs), gap.day, gap_words(gap, units)]
    told = " ".join(say(note, units) for note in row_notes(row))
    if bought is None:
        return [*head, *[""] * (len(SHOPPING_HEADS) - len(head) - 1), told]
    return [*head, *_csv_purchase(bought, units), told]


def _csv_purchase(bought: Purchase, units: str) -> list[Any]:
    offer = bought.offer
    money = [_money(minor, offer.currency) for minor in (bought.each, bought.goods, offer.carriage, bought.total)]
    return [
        item_words(bought.choice, units), offer.supplier, offer.number or offer.name, bought.pieces, bought.packs,
        *money, offer.currency, bought.latest, bought.arrives, bought.late,
    ]  # fmt: skip


def _csv_restock(each: Restock, units: str) -> list[Any]:
    head = ["", "buy for stock" if each.purchase else "nothing to buy", "", "", item_words(each.choice, units)]
    if each.purchase is None:
        return [*head, *[""] * (len(SHOPPING_HEADS) - len(head))]
    return [*head, *_csv_purchase(each.purchase, units), ""]


def _csv_set(whole: WholeSet, units: str) -> list[Any]:
    offer = whole.offer
    each = pack_price(offer, whole.packs)
    money = [_money(minor, offer.currency) for minor in (each, whole.goods, offer.carriage, whole.total)]
    return [
        " ".join(str(row + 1) for row in whole.rows), "or the set", "", "", "", offer.name, offer.supplier,
        offer.number or offer.name, "", whole.packs, *money, offer.currency, whole.latest, whole.arrives, whole.late,
        say(set_note(whole), units),
    ]  # fmt: skip
