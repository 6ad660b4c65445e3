"""What is on the shelf, as the matcher reads it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import replace
from datetime import datetime

from django.db.models import F, Q

from inventory.catalogue import FACTS, facts_of, wanted
from inventory.kinds import Facts, Held, StockLine
from inventory.models import Batch, BatchHold, Item, LifeFactor, Unit, UnitHold
from inventory.stock.ledger import GONE, in_hand, shop_day


def distinct_threads(kinds: Collection[str]) -> set[str]:
    """Every thread key that an item of these kinds carries, outside or inside. One query.

    Which of them are look-alikes of what is wanted is found in PURE code over this answer.
    """
    rows = Item.objects.filter(kind__in=kinds).values_list("thread", "inner").order_by().distinct()
    return {key for row in rows for key in row if key}


def lines(
    *,
    kinds: Collection[str],
    threads: Collection[str] = (),
    diameters: Collection[tuple[int, int]] = (),
    inner: Collection[str] = (),
    labels: Collection[str] = (),
    named: Collection[str] = (),
    as_of: datetime | None = None,
) -> list[StockLine]:
    """Every unit and batch that could serve, or be taken for what serves. Five queries, whatever is asked,
    and a sixth where `labels` are named, to tell what those have in hand of batches.

    Of the given kinds: those whose thread key is in `threads`, whose inner key is in `inner`, whose diameter
    lies in one of the closed ranges `diameters` (nm); besides them all items of kinds that are matched by
    neither, and all that lack the measurement they would be matched by, since those must be shown and not
    passed over in silence, and what is `named` by its tag or lot, whatever it measures. A unit that has a diameter of
    its own since it was reground is found by that one, and its facts tell it. Lost and retired units are left out.
    What is in somebody's hand is his until his holds on it end; where they ended before `as_of`, or he has none,
    nobody knows until when. In the order of tags, then of batches.
    """
    of = wanted(kinds, threads, diameters, inner)
    today = None if as_of is None else shop_day(as_of)

    def by_name(column: str) -> Q:
        return Q(**{f"{column}__in": named}) if named else Q()

    factors: dict[int, tuple[tuple[str, int], ...]] = defaultdict(tuple)
    rows = LifeFactor.objects.filter(item__kind__in=kinds).order_by("item", "material")
    for number, material, percent in rows.values_list("item", "material", "percent"):
        factors[number] += ((material, percent),)
    unit_holds: dict[int, list[Held]] = defaultdict(list)
    for unit, label, start, end, holes in (
        UnitHold.objects.filter(by_name("unit__tag") | of("unit__item__", own="unit__own_diameter"), active=True)
        .exclude(unit__condition__in=GONE)
        .order_by("start", "id")
        .values_list("unit", "reservation__label", "start", "end", "holes")
    ):
        unit_holds[unit].append(Held(label, start, end, holes=holes))
    batch_holds: dict[int, list[Held]] = defaultdict(list)
    for batch, label, start, quantity in (
        BatchHold.objects.filter(by_name("batch__lot") | of("batch__item__"), active=True)
        .order_by("start", "id")
        .values_list("batch", "reservation__label", "start", F("quantity") - F("short") - F("issued"))
    ):
        if quantity:
            batch_holds[batch].append(Held(label, start, None, quantity=quantity))
    for (batch, label), taken in in_hand(labels=labels).items() if labels else ():
        batch_holds[batch].append(Held(label, None, None, in_hand=taken))

    known: dict[int, Facts] = {}
    item_columns = [f"item__{column}" for column in FACTS]
    found: list[StockLine] = []
    units = (
        Unit.objects.filter(by_name("tag") | of("item__", own="own_diameter"))
        .exclude(condition__in=GONE)
        .order_by("tag")
    )
    for pk, tag, condition, cut, wear, own, due, why, until, out, site, bin_name, walk, *item in units.values_list(
        "pk", "tag", "condition", "holes_cut", "extra_wear", "own_diameter", "calibration_due", "away_why",
        "away_until", "issued_to", "bin__site__name", "bin__name", "bin__walk", *item_columns,
    ):  # fmt: skip
        facts = known.get(item[0]) or known.setdefault(item[0], facts_of(item))
        if own is not None and own != facts.diameter:
            facts = replace(facts, diameter=own)
        holds = tuple(unit_holds[pk])
        if out:
            holds += (_out(out, holds, as_of),)
        found.append(
            StockLine(
                tag=tag,
                facts=facts,
                site=site,
                bin=bin_name,
                walk=walk,
                unit=pk,
                condition=condition,
                life_left=None if facts.life is None else facts.life - cut - wear - sum(hold.holes for hold in holds),
                holds=holds,
                away_why=why,
                away_until=until,
                away_late=today is not None and until is not None and until < today,
                calibration_due=due,
                factors=factors[item[0]] if factors else (),
            )
        )
    batches = Batch.objects.filter(by_name("lot") | of("item__")).order_by("id")
    for pk, lot, on_hand, held, expires, site, bin_name, walk, *item in batches.values_list(
        "pk", "lot", "on_hand", "held", "expires", "bin__site__name", "bin__name", "bin__walk", *item_columns
    ):
        facts = known.get(item[0]) or known.setdefault(item[0], facts_of(item))
        found.append(
            StockLine(
                tag=lot,
                facts=facts,
                site=site,
                bin=bin_name,
                walk=walk,
                batch=pk,
                on_hand=on_hand,
                available=on_hand - held,
                holds=tuple(batch_holds[pk]),
                expires=expires,
            )
        )
    return found


def _out(label: str, holds: Collection[Held], as_of: datetime | None) -> Held:
    """Until when a unit in somebody's hand is his."""
    ends = [hold.end for hold in holds if hold.label == label and hold.end is not None]
    end = max(ends, default=None)
    return Held(label, None, None if end is None or (as_of is not None and end <= as_of) else end)
