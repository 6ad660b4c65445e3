"""Plans and readiness as plain text tables for the terminal."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest

from inventory.errors import Reason
from inventory.quantities import show_money, show_volume
from inventory.wording import show_end, show_moment
from repairs.buying import Restock, Row, ShoppingList
from repairs.cards import Stocked, gap_words, order_notes, part_of, readiness_rows, row_notes, set_note, unlisted
from repairs.choices import UNKNOWN as NOT_KNOWN
from repairs.choices import Compared, Comparison, judged
from repairs.jobs import GroupPlan, JobPlan, MethodReadiness
from repairs.methods.values import DOUBTFUL, GAP, MATCH, RULED_OUT, Check
from repairs.wording import describe, item_words, line_words, say, size_words, word

HEADS = ("job", "holes", "method", "match", "gap", "doubtful", "what is short")
METHOD_HEADS = (
    "method", "holds?", "match", "gap", "doubtful", "can start", "to buy", "metal away",
    "size, and why it holds or does not",
)  # fmt: skip
NARROW = 14  # letters of a method's, a verdict's or a price's column, which wrap
PART_WIDTH = 24  # a part's name wraps below its holes


def _width() -> int:
    return max(60, min(shutil.get_terminal_size((132, 24)).columns, 180))


def grid(heads: Sequence[str], rows: Iterable[Sequence[str]], *, right: Sequence[int] = ()) -> Iterator[str]:
    """Lines of a table; the last column wraps, others where they say so; columns in `right` are set flush right."""
    table = [tuple(heads), *map(tuple, rows)]
    widths = [max(len(line) for row in table for line in row[column].split("\n")) for column in range(len(heads) - 1)]
    last = max(24, _width() - sum(widths) - 2 * len(widths))
    for number, row in enumerate(table):
        cells = [cell.split("\n") for cell in row[:-1]]
        for line in zip_longest(*cells, textwrap.wrap(row[-1], last) or [""], fillvalue=""):
            padded = [
                cell.rjust(width) if column in right else cell.ljust(width)
                for column, (cell, width) in enumerate(zip(line, widths, strict=False))
            ]
            yield "  ".join([*padded, line[-1]]).rstrip()
        if number == 0:
            yield "  ".join(["-" * width for width in widths] + ["-" * last])


def readiness_table(plans: Iterable[JobPlan], *, units: str = "mm") -> Iterator[str]:
    """One row a hole group: job, holes, method, counts, what is short; of several groups each with letter and part."""
    rows = [
        (
            row.job,
            "\n".join([f"{row.group} {row.holes}".strip(), *textwrap.wrap(row.part, PART_WIDTH)]),
            row.method,
            *map(str, (row.matches, row.gaps, row.doubtful)),
            " ".join(row.short),
        )
        for plan in plans
        for row in readiness_rows(plan, units)
    ]
    return grid(HEADS, rows, right=(3, 4, 5))


def plan_report(plan: JobPlan, comparison: Comparison, *, units: str = "mm", every_size: bool = False) -> Iterator[str]:
    """A whole plan for people: group by group what is planned, step by step its needs and what meets them; then the
    methods side by side, and the verdict last, where the eye is.

    The methods are those of the plan, as `comparison` has them: planned for every size, each of them has its line;
    with `every_size` so have those that are ruled out.
    """
    window = f"{show_moment(plan.start)} to {show_end(plan.end)}"
    yield "  ".join(filter(None, [plan.number, plan.owner, f"at {plan.site}", window]))
    for group in plan.groups:
        yield ""
        yield from _group(plan, group, units)
    if plan.not_checked:
        yield ""
        yield from (text for reason in plan.not_checked for text in _told("not checked", say(reason, units)))
    if plan.groups:
        yield ""
        yield from _methods(plan, comparison, units, every_size=every_size)
    yield ""
    yield say(plan.verdict)


def _group(plan: JobPlan, group: GroupPlan, units: str) -> Iterator[str]:
    value = group.group
    plural = "hole" if value.holes == 1 else "holes"
    sort = "through" if value.through else "blind"
    head = [f"{value.code}  {value.bolt.designation} (typed {value.as_typed!r})", f"{value.holes} {plural}", sort]
    if (value.start, value.end) != (plan.start, plan.end):
        head.append(f"{show_moment(value.start)} to {show_end(value.end)}")
    yield ", ".join(filter(None, [*head, part_of(plan, group)]))
    for heading, reasons in (("note", value.notes), ("caution", group.cautions)):
        yield from (text for reason in reasons for text in _told(heading, say(reason, units)))
    if group.chosen is None:
        yield from _told("none stands", say(Reason("no_method_stands"), units))
        return
    yield f"   Planned: {word(group.chosen.method)}, {size_words(group.chosen.size, units)}"
    yield from _checks(group.checks, units)
    lines = {line.need.id: line for line in group.lines}
    for number, step in enumerate(group.chosen.steps, start=1):
        yield f"   {number}. {word(step.code)}"
        for need in step.needs:
            line = lines[need.id]
            yield from _told(line.status, f"{describe(need, units)}. {line_words(line, units)}")
        yield from (text for reason in step.settings for text in _told("set", say(reason, units)))
        yield from (text for reason in step.cautions for text in _told("mind", say(reason, units)))


def _methods(plan: JobPlan, comparison: Comparison, units: str, *, every_size: bool) -> Iterator[str]:
    """Every method side by side, the planned one among them: whether it holds, what it finds on the shelf by itself,
    from when on, for what money, and how much metal of a hole it takes.

    With `every_size` the sizes that are ruled out stand below those that are not, each with its reasons.
    """
    rows: list[tuple[str, ...]] = []
    for group in plan.groups:
        letter = f"{group.group.code} " if len(plan.groups) > 1 else ""
        for readiness, compared in zip(group.methods, comparison[group.group.code], strict=True):
            told = _method(readiness, compared, group, units, every_size=every_size)
            rows += [("\n".join(textwrap.wrap(letter + row[0], NARROW)), *row[1:]) for row in told]
    return grid(METHOD_HEADS, rows, right=(2, 3, 4))


def _told(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, _width(), initial_indent=f"      {head:<12}", subsequent_indent=" " * 18)


def _method(
    readiness: MethodReadiness, compared: Compared, group: GroupPlan, units: str, *, every_size: bool
) -> Iterator[tuple[str, ...]]:
    plan, method = readiness.plan, word(readiness.plan.method)
    untold = ("",) * (len(METHOD_HEADS) - 3)
    if compared.option is None:
        reasons = " ".join(say(each, units) for each in (*plan.reasons, *plan.remedies))
        yield method, _narrow(word(RULED_OUT)), *untold, reasons
        return
    for planned in readiness.sizes:
        option = planned.option
        counts = {status: sum(line.status == status for line in planned.lines) for status in (MATCH, GAP, DOUBTFUL)}
        first = option is compared.option
        verdict, why = judged(option)
        mark = "planned: " if option is group.chosen else "by choice: " if first and option.by_choice else ""
        yield (
            method,
            _narrow(word(verdict)),
            *map(str, counts.values()),
            *(_first(compared) if first else ("", "")),
            "" if option.metal_away is None else _narrow(show_volume(option.metal_away, units)),
            f"{mark}{size_words(option.size, units)}. {' '.join(say(each, units) for each in why)}".strip(),
        )
    for option in plan.options if every_size else ():
        if option.ruled_out:
            why_not = " ".join(say(check.reason, units) for check in option.checks if check.status == RULED_OUT)
            yield method, _narrow(word(RULED_OUT)), *untold, f"{size_words(option.size, units)}: {why_not}"


def _first(compared: Compared) -> tuple[str, str]:
    """From which day on, and for what money."""
    day = compared.start.day.isoformat() if compared.start.day else word(NOT_KNOWN)
    money = [show_money(each.total, each.currency) for each in compared.cost]
    money += [f"{compared.unsold} not on offer"] if compared.unsold else []
    return day, "\n".join(money) or ("nothing" if compared.asks_for_kit else word(NOT_KNOWN))


def _narrow(text: str) -> str:
    return "\n".join(textwrap.wrap(text, NARROW))


def _checks(checks: Iterable[Check], units: str) -> Iterator[str]:
    for check in checks:
        text = " ".join(filter(None, [say(check.reason, units), say(check.remedy, units) if check.remedy else ""]))
        yield from _told(word(check.status), text)


SHOPPING_HEADS = ("line", "for", "needed on", "price", "order by", "arrives", "short of, and what to buy")


def shopping_report(shopping: ShoppingList, *, stocked: Iterable[Stocked] = (), units: str = "mm") -> Iterator[str]:
    """A shopping list for people: gap by gap what to buy, sets beside their parts, supplier by supplier, then what
    brings up to its most what stands at its order point."""
    rows = [_shopping_row(number, row, units) for number, row in enumerate(shopping.rows, 1)]
    if rows:
        yield from grid(SHOPPING_HEADS, rows, right=(0, 3))
    else:
        yield say(Reason("nothing_to_buy"))
    for whole in shopping.sets:
        offer = whole.offer
        told = f"{whole.packs} × {offer.name or offer.number}, {offer.supplier}, order by {whole.latest}. "
        yield from _told("or a set", told + say(set_note(whole), units))
    for order in shopping.orders:
        goods, carriage = (show_money(minor, order.currency) for minor in (order.goods, order.carriage))
        told = f"{order.supplier}: {goods} and {carriage} carriage, order by {order.latest}. "
        yield from _told("order", told + " ".join(say(note, units) for note in order_notes(order)))
    for currency, total in sorted(shopping.totals.items()):
        yield from _told("in all", show_money(total, currency))
    yield from (text for note in unlisted(shopping) for text in _told("note", say(note, units)))
    for _, each in stocked:
        yield from _told("stock", say(_for_stock(each, units), units))


def _for_stock(each: Restock, units: str) -> Reason:
    item = item_words(each.choice, units)
    if each.purchase is None:
        return Reason("stock_not_on_offer", item=item, pieces=each.pieces)
    bought, offer = each.purchase, each.purchase.offer
    return Reason(
        "stock_bought",
        item=item, pieces=each.pieces, packs=bought.packs, supplier=offer.supplier, offer=offer.number or offer.name,
        total_minor=bought.total, currency=offer.currency, arrives=bought.arrives,
    )  # fmt: skip


def _shopping_row(number: int, row: Row, units: str) -> tuple[str, ...]:
    gap, bought = row.gap, row.purchase
    notes = " ".join(say(note, units) for note in row_notes(row))
    head = (str(number), " ".join(gap.jobs), gap.day.isoformat())
    if bought is None:
        return (*head, "", "", "", f"{gap_words(gap, units)}. {notes}")
    offer = bought.offer
    price = show_money(bought.total, offer.currency)
    packs = f"{bought.packs} × {item_words(bought.choice, units)} from {offer.supplier}"
    told = f"{gap_words(gap, units)}. Buy {packs} ({offer.number or offer.name}) for {bought.pieces}. {notes}"
    return (*head, price, bought.latest.isoformat(), bought.arrives.isoformat(), told.strip())
