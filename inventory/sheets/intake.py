"""Sheets come in: judged against the stock in memory, then written as the acts of the other rooms would, in bulk.

Judging reads what is there and writes nothing, so that nobody who writes has to wait for it. Only what is found good
is written, in one short transaction that first looks whether what was read still stands; where it moved, all is judged
once more, under the lock.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from inventory.catalogue import SAME, new_item
from inventory.errors import Reason, Refused
from inventory.guards import act, lock_table
from inventory.kinds import KINDS
from inventory.models import (
    Batch,
    Bin,
    Item,
    ItemChange,
    LifeFactor,
    Movement,
    Offer,
    OfferItem,
    OrderPoint,
    Person,
    PriceBreak,
    Site,
    Supplier,
    Unit,
)
from inventory.purchasing import refuse_terms
from inventory.quantities import read_money
from inventory.sheets.columns import HEADINGS, POINTS, item_fields
from inventory.sheets.judging import Row, Sheet, Told, nobody, read_sheet
from inventory.stock import AT_HAND, GONE, aware, tag_taken, worn
from inventory.threads import Reading

_BATCH = 2_000
_LONGEST_WHY, _LONGEST_BY = 200, 80  # as the tables keep them
_POINTS = ("minimum", "order_point", "maximum")


@dataclass(slots=True)
class Intake:
    """What came in, or would come in: counts by word, faults, notes, threads read back, and whether it was written.

    `met` counts rows that are of an item which was known before; `left_out` rows that were in stock already.
    """

    counts: dict[str, int] = field(default_factory=dict)
    faults: list[Reason] = field(default_factory=list)
    notes: list[Reason] = field(default_factory=list)
    readings: list[Reason] = field(default_factory=list)
    applied: bool = False
    met: int = 0
    left_out: int = 0

    def count(self, word: str, more: int) -> None:
        self.counts[word] = self.counts.get(word, 0) + more


def load(
    *,
    paths: Sequence[Path],
    as_of: datetime,
    by: Any,
    apply: bool,
) -> Intake:
    """Take files in, all of them or nothing; stock first, so that offers find the items it brings.

    With `apply` False everything is worked out against the database, and nothing is written. Faults are in the answer,
    and then nothing was written. Raises `Refused` where a file is no sheet at all (`judging.read_sheet`).
    """
    today = aware(as_of).astimezone(settings.SHOP_ZONE).date()
    return take([read_sheet(path, today) for path in paths], as_of=as_of, by=by, apply=apply)


def take(
    sheets: Sequence[Sheet],
    *,
    as_of: datetime,
    by: Any,
    apply: bool,
    leave_out: bool = False,
    told: Told = nobody,
    within: Callable[[Intake], None] | None = None,
) -> Intake:
    """Take sheets in that were judged cell by cell, all of them or nothing.

    With `leave_out` a row whose tag, batch or offer is in stock already is passed over in place of being a fault.
    `within` is called in the very transaction that writes, before anything is written; what it raises undoes all.
    Raises `Refused` where somebody else took a tag or a number in the very moment of writing.
    """
    aware(as_of)
    ordered = sorted(sheets, key=lambda sheet: sheet.of != "stock")
    kinds = {sheet.of for sheet in ordered}

    def judge(seen: Seen) -> _Plan:
        plan = _Plan(seen, as_of, str(by)[:_LONGEST_BY], leave_out, told)
        for sheet in ordered:
            plan.judge(sheet)
        return plan

    seen = read_stock(kinds)
    plan = judge(seen)
    if plan.intake.faults or not apply:
        return plan.told_in_order(ordered)
    with act():
        for model in (Item, Unit) if "stock" in kinds else (Offer,):
            lock_table(connection, model._meta.db_table)
        now = read_stock(kinds)
        if now != seen:
            plan = judge(now)
        if not plan.intake.faults:
            if within is not None:
                within(plan.intake)
            plan.write()
            plan.intake.applied = True
    return plan.told_in_order(ordered)


# --- what is there -----------------------------------------------------------------------------------------

_ITEM = [field.attname for field in Item._meta.concrete_fields]
_SUPPLIER = [field.attname for field in Supplier._meta.concrete_fields]


@dataclass(frozen=True, slots=True)
class Seen:
    """All of the stock that judging looks at, as rows; equal where nothing of it moved."""

    items: tuple[Any, ...]
    sites: tuple[Any, ...] = ()
    bins: tuple[Any, ...] = ()
    people: tuple[Any, ...] = ()
    tags: tuple[Any, ...] = ()
    batches: tuple[Any, ...] = ()
    factors: tuple[Any, ...] = ()
    points: tuple[Any, ...] = ()
    suppliers: tuple[Any, ...] = ()
    offers: tuple[Any, ...] = ()


def read_stock(kinds: Collection[str]) -> Seen:
    """What is there of what sheets of these sorts touch: a fixed number of queries."""
    items = tuple(Item.objects.order_by("pk").values_list(*_ITEM))
    told: dict[str, tuple[Any, ...]] = {}
    if "stock" in kinds:
        told |= {
            "sites": tuple(Site.objects.order_by("pk").values_list("pk", "name")),
            "bins": tuple(Bin.objects.order_by("pk").values_list("pk", "site", "name", "walk")),
            "people": tuple(Person.objects.order_by("-pk").values_list("pk", "name", "badge")),
            "tags": tuple(Unit.objects.order_by("pk").values_list("tag", flat=True)),
            "factors": tuple(LifeFactor.objects.order_by("pk").values_list("item", "material", "percent")),
            "points": tuple(OrderPoint.objects.order_by("pk").values_list("item", *_POINTS)),
            "batches": tuple(Batch.objects.order_by("pk").values_list("item", "bin", "lot")),
        }
    if "offers" in kinds:
        told |= {
            "suppliers": tuple(Supplier.objects.order_by("pk").values_list(*_SUPPLIER)),
            "offers": tuple(Offer.objects.exclude(number="").order_by("pk").values_list("supplier__name", "number")),
        }
    return Seen(items, **told)


# --- judging and writing -----------------------------------------------------------------------------------


class _Plan:
    """What sheets would bring, made in memory from what was seen; `write` writes it."""

    def __init__(self, seen: Seen, as_of: datetime, by: str, leave_out: bool, told: Told) -> None:
        self.as_of, self.by, self.leave_out, self.told = as_of, by, leave_out, told
        self.intake = Intake()
        self.by_number: dict[str, Item] = {}
        # Of items equal in all that was measured: the first, and of those without a number whichever no mark has yet.
        self.by_same: dict[tuple[Any, ...], Item] = {}
        self.unmarked: dict[tuple[Any, ...], list[Item]] = {}
        self.marked: dict[str, Item] = {}  # by the marks of the sheet at hand
        for row in seen.items:
            self.remember(Item.from_db(None, _ITEM, row))
        self.sites = {name: Site(pk=pk, name=name) for pk, name in seen.sites}
        by_pk = {site.pk: site for site in self.sites.values()}
        self.bins = {
            (by_pk[site].name, name): Bin(pk=pk, site=by_pk[site], name=name, walk=walk)
            for pk, site, name, walk in seen.bins
        }
        self.walked = {where: bin.walk for where, bin in self.bins.items()}
        people = [Person(pk=pk, name=name, badge=badge) for pk, name, badge in seen.people]
        self.people = {person.name: person for person in people}
        self.badges = {person.badge: person for person in people if person.badge}
        # In capitals, as tags are compared: each as it is written, and its row, 0 for what was there before.
        self.tags = {tag.upper(): (tag, 0) for tag in seen.tags}
        self.there: dict[tuple[Any, ...], int] = dict.fromkeys(seen.batches, 0)
        self.suppliers: dict[str, Supplier] = {}
        for row in seen.suppliers:
            supplier = Supplier.from_db(None, _SUPPLIER, row)
            self.suppliers[supplier.name] = supplier
        self.offered = set(seen.offers)
        self.new: dict[type, list[Any]] = {model: [] for model in (
            Item, Site, Bin, Person, Unit, Batch, Supplier, Offer, OfferItem, PriceBreak
        )}  # fmt: skip
        # Of a new item, by its id in memory: whether it is no longer bought, what is in its place, and the row.
        self.listed: dict[int, tuple[Item, bool, Item | None, Row]] = {}
        # Of a new item, by its id in memory: least, order point and most, and the sheet; of those there were before.
        self.points: dict[int, tuple[Item, tuple[int, ...], str]] = {}
        self.points_there = {item: tuple(points) for item, *points in seen.points}
        # Of a new item its life factors by material, by its id in memory; of those there were before, by their own.
        self.factors: dict[int, tuple[Item, dict[str, int]]] = {}
        self.factors_there: dict[int, dict[str, int]] = {}
        for pk, material, percent in seen.factors:
            self.factors_there.setdefault(pk, {})[material] = percent
        self.sheet_of: dict[int, str] = {}  # of a unit or batch by its id in memory: the sheet it came from

    def told_in_order(self, sheets: Sequence[Sheet]) -> Intake:
        """What came of it, by sheet and row, as somebody reads it; a stable order whatever was found first."""
        intake = self.intake
        for sheet in sheets:
            intake.readings += [told for told in sheet.readings if told not in intake.readings]
        for told in (intake.faults, intake.notes):
            told.sort(key=lambda reason: (reason["sheet"], reason["row"]))
        return intake

    def remember(self, item: Item) -> None:
        if item.number:
            self.by_number[item.number] = item
        elif item.pk is not None:
            self.unmarked.setdefault(_same(item), []).append(item)
        self.by_same.setdefault(_same(item), item)

    def judge(self, sheet: Sheet) -> None:
        self.intake.faults += sheet.faults
        self.intake.notes += sheet.notes
        (self._stock if sheet.of == "stock" else self._offers)(sheet)
        self.told("judging", len(sheet.rows), len(sheet.rows))

    def fault(self, row: Row, column: str, why: Reason) -> None:
        self.intake.faults.append(row.fault(column, why))

    def note(self, row: Row, column: str, why: Reason) -> None:
        self.intake.notes.append(row.fault(column, why))

    # Stock

    def _stock(self, sheet: Sheet) -> None:
        before = {model: len(made) for model, made in self.new.items()}
        new_items: list[tuple[Row, Item]] = []
        self.marked = {}
        placed = [
            (row, item)
            for row in sheet.rows
            if "kind" in row.value and (item := self._item(row, new_items)) is not None
        ]
        for row, item in new_items:
            missing = _missing(item)
            if missing:
                self.note(row, missing[0], Reason("item_cannot_be_matched", item=_words(item), missing=missing))
        for row, item in placed:
            self._listing(row, item)
            self._factors(row, item)
            self._points(row, item)
        self._successors()
        self._bins(sheet)
        self._people(sheet)
        self._units(sheet, [(row, item) for row, item in placed if "tag" in row.value])
        self._batches(sheet, [(row, item) for row, item in placed if "quantity" in row.value])
        # Whatever comes in a sheet after this one finds it there already.
        self.tags = {folded: (tag, 0) for folded, (tag, _) in self.tags.items()}
        self.there = dict.fromkeys(self.there, 0)
        for word, model in (("items", Item), ("sites", Site), ("bins", Bin), ("people", Person), ("units", Unit),
                            ("batches", Batch)):  # fmt: skip
            self.intake.count(word, len(self.new[model]) - before[model])

    def _item(self, row: Row, new_items: list[tuple[Row, Item]]) -> Item | None:
        """The item that a row is of: by its mark or number, or by equal measurements; else a new one."""
        value, mark = row.value, row.value.get("mark", "")
        measured = {name for name in item_fields() if name in value}
        fields = {name: value[name] for name in measured}
        for column in ("thread", "inner"):
            if isinstance(fields.get(column), Reading):
                reading = fields[column]
                fields[column] = reading.thread
                if column == "thread":
                    fields["as_typed"] = reading.typed
                    fields.setdefault("thread_class", reading.thread_class)
        item = new_item(**fields)
        known = self.marked.get(mark) or self.by_number.get(value.get("number", ""))
        if known is None and not item.number:
            known = self._unmarked(item, measured) if mark else self.by_same.get(_same(item))
        if mark:
            self.marked[mark] = item if known is None else known
        if known is not None:
            if item.number and known.number != item.number:
                self.fault(row, "mark", Reason("item_mark_differs", mark=mark, number=known.number or ""))
                return None
            different = [name for name in measured - {"number"} if getattr(known, name) != getattr(item, name)]
            if different:
                self.fault(row, HEADINGS[min(different)], Reason("item_differs", number=known.number or ""))
                return None
            self.intake.met += known.pk is not None
            return known
        new_items.append((row, item))
        self.new[Item].append(item)
        self.remember(item)
        return item

    def _unmarked(self, item: Item, measured: Collection[str]) -> Item | None:
        """Of the items without a number that were there before and are equal in all that was measured, the one that a
        new mark stands for: one that no other mark has, before all one that the row does not contradict."""
        there = self.unmarked.get(_same(item), [])
        fit = (known for known in there if all(getattr(known, name) == getattr(item, name) for name in measured))
        found = next(fit, there[0] if there else None)
        if found is not None:
            there.remove(found)
        return found

    def _listing(self, row: Row, item: Item) -> None:
        """Whether an item is still bought, and what is bought in its place, which may stand anywhere in the sheet."""
        number = row.value.get("superseded_by", "")
        if "retired" not in row.value and not number:
            return
        retired = number != "" or row.value["retired"] == "yes"
        successor = self.marked.get(number) or self.by_number.get(number)
        if number and (successor is None or successor is item):
            near = difflib.get_close_matches(number, self.by_number, n=1)
            self.fault(row, "superseded by", Reason("item_number_unknown", number=number, near=near[0] if near else ""))
        elif item.pk is not None:
            unheard = successor is not None and successor.pk is None
            if unheard or (item.retired, item.successor_id) != (retired, successor.pk if successor else None):
                column = "superseded by" if number else "retired"
                self.fault(row, column, Reason("item_differs", number=item.number or ""))
        else:
            item.retired = retired
            first = self.listed.setdefault(id(item), (item, retired, successor, row))
            if (first[1], first[2]) != (retired, successor):
                column = "superseded by" if number else "retired"
                self.fault(row, column, Reason("item_differs", number=item.number or ""))

    def _successors(self) -> None:
        """What is bought in place of new items is of their kind, and leads back to none of them."""
        for item, _, successor, row in self.listed.values():
            if successor is None:
                continue
            if successor.kind != item.kind:
                told = {"item": _words(item), "successor": _words(successor)}
                self.fault(row, "superseded by", Reason("successor_of_other_kind", **told))
            passed, last = {id(item)}, successor
            while id(last) not in passed and id(last) in self.listed:
                passed.add(id(last))
                last = self.listed[id(last)][2] or last
            if last is item:
                self.fault(row, "superseded by", Reason("successors_in_a_circle", item=_words(item)))

    def _factors(self, row: Row, item: Item) -> None:
        """What a hole takes of an item's life by parent material; every row of the item says the same, or nothing."""
        factors = row.value.get("life_factors")
        if factors is None:
            return
        if item.pk is None:
            kept = self.factors.setdefault(id(item), (item, factors))[1]
        else:
            kept = self.factors_there.get(item.pk, {})
        if kept != factors:
            self.fault(row, "life factors", Reason("item_differs", number=item.number or ""))

    def _points(self, row: Row, item: Item) -> None:
        """When an item is ordered again; every row of the item says the same, or nothing."""
        told = tuple(row.value[name.replace(" ", "_")] for name in POINTS if name.replace(" ", "_") in row.value)
        if not told:
            return
        if item.pk is None:
            kept = self.points.setdefault(id(item), (item, told, row.sheet))[1]
        else:
            kept = self.points_there.get(item.pk, ())
        if kept != told:
            self.fault(row, "order point", Reason("item_differs", number=item.number or ""))

    def _bins(self, sheet: Sheet) -> None:
        for row in sheet.rows:
            where = (row.value.get("site", ""), row.value.get("bin", ""))
            if where[0] not in self.sites and set(row.text) == {"site"}:
                self.sites[where[0]] = Site(name=where[0])
                self.new[Site].append(self.sites[where[0]])
            if not all(where):
                continue
            walk = row.value.get("walk")
            if where[0] not in self.sites:
                self.sites[where[0]] = Site(name=where[0])
                self.new[Site].append(self.sites[where[0]])
            if where not in self.bins:
                self.bins[where] = Bin(site=self.sites[where[0]], name=where[1], walk=walk or 0)
                self.new[Bin].append(self.bins[where])
                if walk is not None:
                    self.walked[where] = walk
            elif walk is not None and self.walked.setdefault(where, walk) != walk:
                self.fault(row, "walk", Reason("bin_walk_differs", bin=where[1], walk=self.walked[where]))
            elif walk is not None:
                self.bins[where].walk = walk

    def _people(self, sheet: Sheet) -> None:
        for row in sheet.rows:
            name, badge = row.value.get("away_with", ""), row.value.get("badge") or None
            if row.value.get("away_why") != "loan" or not name:
                continue
            known = self.badges.get(badge) if badge else self.people.get(name)
            if known is None:
                known = Person(name=name, badge=badge)
                self.new[Person].append(known)
                self.people.setdefault(name, known)
                if badge:
                    self.badges[badge] = known
            elif known.name != name:
                self.fault(row, "badge", Reason("badge_of_another", badge=badge, name=known.name))

    def _borrower(self, row: Row) -> Person | None:
        if row.value.get("away_why") != "loan":
            return None
        badge, name = row.value.get("badge"), row.value.get("away_with", "")
        return self.badges.get(badge) if badge else self.people.get(name)

    def _units(self, sheet: Sheet, rows: list[tuple[Row, Item]]) -> None:
        for row, item in rows:
            value = row.value
            tag, first = self.tags.setdefault(value["tag"].upper(), (value["tag"], row.number))
            if first != row.number:
                if not first and self.leave_out:
                    self.intake.left_out += 1
                    continue
                other = tag if tag != value["tag"] else ""
                twice = Reason("tag_twice", row=first, tag=other)
                self.fault(row, "tag", twice if first else tag_taken(value["tag"], tag))
                continue
            why_away = value.get("away_why", "")
            said, holes_cut = value.get("condition", "serviceable"), value.get("holes_cut", 0)
            extra_wear = value.get("extra_wear", 0)
            if holes_cut + extra_wear < 0:
                self.fault(row, "extra wear", Reason("unit_wear_not_negative"))
                continue
            if value.get("wear_ahead", 0) > 99:
                self.fault(row, "wear ahead", Reason("unit_wear_ahead_within_a_hole"))
                continue
            condition = "away" if why_away else worn(said, used=holes_cut + extra_wear, life=item.life)
            if condition not in ("away", said):
                self.note(row, "holes cut", Reason("life_used_up", life=item.life))
            unit = Unit(
                item=item,
                tag=value["tag"],
                bin=self.bins[value["site"], value["bin"]],
                condition=condition,
                holes_cut=holes_cut,
                extra_wear=extra_wear,
                wear_ahead=value.get("wear_ahead", 0),
                regrinds=value.get("regrinds", 0),
                own_diameter=value.get("own_diameter"),
                certificate=value.get("certificate", ""),
                calibration_due=value.get("calibration_due"),
                away_why=why_away,
                away_until=value.get("away_until"),
                away_with=value.get("away_with", ""),
                borrower=self._borrower(row),
                issued_to=value.get("issued_to", ""),
            )
            self._told_if_retired(row, "tag", item)
            self.sheet_of[id(unit)] = sheet.name
            self.new[Unit].append(unit)

    def _told_if_retired(self, row: Row, column: str, item: Item) -> None:
        if item.pk is not None and item.retired:
            self.note(row, column, Reason("item_no_longer_bought", item=_words(item)))

    def _batches(self, sheet: Sheet, rows: list[tuple[Row, Item]]) -> None:
        for row, item in rows:
            value = row.value
            bin = self.bins[value["site"], value["bin"]]
            key = (item.pk or (id(item),), bin.pk or (id(bin),), value.get("lot", ""))
            if key in self.there:
                first = self.there[key]
                if not first and self.leave_out:
                    self.intake.left_out += 1
                    continue
                why = Reason("batch_twice", row=first) if first else Reason("batch_already_there", lot=key[2])
                self.fault(row, "quantity", why)
                continue
            self.there[key] = row.number
            batch = Batch(
                item=item,
                bin=bin,
                lot=value.get("lot", ""),
                packed=value.get("packed"),
                expires=value.get("expires"),
                on_hand=value["quantity"],
            )
            self._told_if_retired(row, "quantity", item)
            self.sheet_of[id(batch)] = sheet.name
            self.new[Batch].append(batch)

    # Offers

    def _offers(self, sheet: Sheet) -> None:
        suppliers, offers = len(self.new[Supplier]), len(self.new[Offer])
        for row in sheet.rows:
            try:
                self._offer(row)
            except _Fault as fault:
                self.fault(row, fault.column, fault.reason)
        # A supplier is only told of where there is a new one.
        if len(self.new[Supplier]) > suppliers:
            self.intake.count("suppliers", len(self.new[Supplier]) - suppliers)
        self.intake.count("offers", len(self.new[Offer]) - offers)

    def _offer(self, row: Row) -> None:
        value = row.value
        supplier = self._supplier(row)
        if "items" not in value:
            return
        items = self._set_of_items(value["items"])
        price = _money(value["price"], supplier.currency, "price")
        breaks = [
            (int(packs), _money(each, supplier.currency, "breaks")) for packs, each in _breaks(value.get("breaks", ""))
        ]
        number = value.get("number", "")
        if number and (supplier.name, number) in self.offered:
            if self.leave_out:
                self.intake.left_out += 1
                return
            raise _Fault("number", Reason("offer_already_there", number=number))
        self.offered.add((supplier.name, number))
        try:
            refuse_terms(items=[item for item, _ in items], price=price, breaks=breaks, currency=supplier.currency)
        except Refused as refused:
            raise _Fault("breaks" if "break" in refused.reason.code else "items", refused.reason) from refused
        offer = Offer(
            supplier=supplier,
            number=number,
            name=value.get("name", ""),
            pack=value.get("pack", 1),
            price=price,
            lead_days=value.get("lead_days", 0),
            active=value.get("on_sale", "yes") == "yes",
        )
        self.new[Offer].append(offer)
        self.new[OfferItem] += [OfferItem(offer=offer, item=item, quantity=quantity) for item, quantity in items]
        self.new[PriceBreak] += [PriceBreak(offer=offer, packs=packs, price=each) for packs, each in breaks]

    def _supplier(self, row: Row) -> Supplier:
        value = row.value
        supplier = self.suppliers.get(value["supplier"])
        currency = value.get("currency", supplier.currency if supplier else "EUR")
        terms = {
            column: _money(value[column], currency, column) for column in ("carriage", "minimum") if column in value
        }
        if supplier is None:
            supplier = Supplier(name=value["supplier"], currency=currency, **terms)
            self.suppliers[supplier.name] = supplier
            self.new[Supplier].append(supplier)
        for column, said in [("currency", currency), *terms.items()]:
            if getattr(supplier, column) != said:
                raise _Fault(column, Reason("supplier_terms_differ", supplier=supplier.name))
        return supplier

    def _set_of_items(self, text: str) -> list[tuple[Item, int]]:
        found: list[tuple[Item, int]] = []
        for part in re.split(r'\s*\+\s*(?=(?:[^"]*"[^"]*")*[^"]*$)', text):
            match = re.fullmatch(
                r'(?P<number>"(?:[^"]|"")+"|.+?)(?:\s*[×*]\s*(?P<times>[0-9]{1,6})|\s+x\s*(?P<x>[0-9]{1,6}))?',
                part,
                re.DOTALL,
            )
            if match is None:
                raise _Fault("items", Reason("items_unreadable", typed=text))
            number = match["number"].strip()
            if len(number) > 2 and number.startswith('"') and number.endswith('"'):
                number = number[1:-1].replace('""', '"')
            item = self.by_number.get(number)
            if item is None:
                near = difflib.get_close_matches(number, self.by_number, n=1)
                raise _Fault("items", Reason("item_number_unknown", number=number, near=near[0] if near else ""))
            found.append((item, int(match["times"] or match["x"] or 1)))
        return found

    # Writing

    def write(self) -> None:
        """Write all of it, in the transaction of whoever calls; what hangs on what was made goes after it."""
        for model, hangs_on in (
            (Item, ()), (Site, ()), (Bin, ("site",)), (Person, ()), (Unit, ("item", "bin", "borrower")),
            (Batch, ("item", "bin")), (Supplier, ()), (Offer, ("supplier",)), (OfferItem, ("offer", "item")),
            (PriceBreak, ("offer",)),
        ):  # fmt: skip
            made = self.new[model]
            for thing in made:
                for name in hangs_on:
                    setattr(thing, name, getattr(thing, name))  # which has its id by now
            model._default_manager.bulk_create(made, batch_size=_BATCH)
        changes = []
        for item, retired, successor, row in self.listed.values():
            item.successor = successor
            if retired:
                deed = "superseded" if successor else "retired"
                told = {"at": self.as_of, "by": self.by, "reason": row.sheet[:_LONGEST_WHY]}
                changes.append(ItemChange(item=item, act=deed, successor=successor, **told))
        Item.objects.bulk_update([each.item for each in changes if each.successor], ["successor"], batch_size=500)
        ItemChange.objects.bulk_create(changes, batch_size=_BATCH)
        LifeFactor.objects.bulk_create(
            (
                LifeFactor(item=item, material=material, percent=percent)
                for item, factors in self.factors.values()
                for material, percent in factors.items()
            ),
            batch_size=_BATCH,
        )
        OrderPoint.objects.bulk_create(
            (
                OrderPoint(
                    item=item,
                    why=sheet[:_LONGEST_WHY],
                    by=self.by,
                    at=self.as_of,
                    **dict(zip(_POINTS, points, strict=True)),
                )
                for item, points, sheet in self.points.values()
            ),
            batch_size=_BATCH,
        )
        Movement.objects.bulk_create(self._movements(), batch_size=_BATCH)

    def _movements(self) -> Iterator[Movement]:
        for unit in self.new[Unit]:
            of = {"unit": unit, "reason": self.sheet_of[id(unit)][:_LONGEST_WHY]}
            yield self._movement(
                "received",
                unit.bin,
                quantity=1,
                holes=unit.holes_cut,
                extra_wear=unit.extra_wear,
                wear_ahead=unit.wear_ahead,
                regrinds=unit.regrinds,
                diameter=unit.own_diameter,
                calibration_due=unit.calibration_due,
                condition=unit.condition if unit.condition in AT_HAND else "",
                **of,
            )
            of["condition"] = unit.condition
            if unit.away_why:
                deed = "lent" if unit.away_why == "loan" else "sent"
                yield self._movement(deed, unit.bin, quantity=-1, person=unit.borrower, **of)
            elif unit.issued_to:
                yield self._movement("issued", unit.bin, quantity=-1, label=unit.issued_to, **of)
            elif unit.condition in GONE:
                deed = "lost" if unit.condition == "lost" else "scrapped"
                yield self._movement(deed, unit.bin, quantity=-1, **of)
        for batch in self.new[Batch]:
            if batch.on_hand:
                of = {"batch": batch, "reason": self.sheet_of[id(batch)][:_LONGEST_WHY]}
                yield self._movement("received", batch.bin, quantity=batch.on_hand, **of)

    def _movement(self, deed: str, bin: Bin, *, quantity: int, **of: Any) -> Movement:
        """A line of the ledger as the act of this name writes it; its reason is the sheet it came from."""
        way = {"to_bin": bin} if quantity > 0 else {"from_bin": bin}
        return Movement(at=self.as_of, by=self.by, act=deed, quantity=quantity, **way, **of)


def _same(item: Item) -> tuple[Any, ...]:
    return tuple(getattr(item, column) for column in SAME)


def _missing(item: Item) -> tuple[str, ...]:
    """The headings of what this item must carry to be matched and does not."""
    return tuple(HEADINGS[name] for name in KINDS[item.kind].measures if getattr(item, name) in (None, ""))


def _words(item: Item) -> str:
    """An item in a few words for a message, whatever of it is filled in."""
    return str(item)


class _Fault(Exception):
    """Something is wrong with one cell of the row at hand."""

    def __init__(self, column: str, reason: Reason) -> None:
        super().__init__(column)
        self.column, self.reason = column, reason


def _money(text: str, currency: str, column: str) -> int:
    try:
        return read_money(text, currency)
    except Refused as refused:
        raise _Fault(column, refused.reason) from refused


def _breaks(text: str) -> Iterable[tuple[str, str]]:
    for part in filter(None, (part.strip() for part in text.split(";"))):
        match = re.fullmatch(r"([0-9]{1,9})\s*:\s*(\S.*)", part)
        if match is None:
            raise _Fault("breaks", Reason("breaks_unreadable", typed=text))
        yield match[1], match[2]
