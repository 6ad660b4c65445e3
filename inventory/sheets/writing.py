"""The stock as sheets: everything that coming in reads, written so that it comes in again as it was."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count
from typing import Any

from inventory.catalogue import SAME
from inventory.errors import Reason, Refused
from inventory.models import Batch, Bin, Item, LifeFactor, Offer, OrderPoint, Site, Supplier, Unit
from inventory.quantities import show_money
from inventory.sheets.columns import COLUMNS, POINTS, Column, item_fields
from inventory.sheets.reading import escaped, for_xml
from inventory.threads import Thread, ThreadError, read
from inventory.wear import write_factors

HEADINGS = ("words", "iso")
FORMATS = ("csv", "xlsx")

# What the tables keep and no sheet carries, and why: whole tables, or columns of them. Any of either that stands
# neither here nor in a sheet fails a test; ids alone are made anew by every database.
NOT_CARRIED = {
    "item.counted": "follows from the kind",
    "batch.held": "follows from the reservations",
    "movement": "stays_ledger", "itemchange": "stays_ledger",
    "orderpoint.why": "stays_ledger", "orderpoint.by": "stays_ledger", "orderpoint.at": "stays_ledger",
    "orderpoint.request_key": "stays_ledger",
    "reservation": "stays_reservations", "unithold": "stays_reservations", "batchhold": "stays_reservations",
    "order": "stays_orders", "orderline": "stays_orders", "delivery": "stays_orders", "deliveryline": "stays_orders",
    "stockcount": "stays_counts", "countbin": "stays_counts", "countentry": "stays_counts", "countline": "stays_counts",
    "cribsetting": "stays_settings", "calendaraddress": "stays_settings", "sentsheet": "stays_settings",
    "person.login": "stays_people",
}  # fmt: skip
# What of these a storekeeper would miss, and what comes in as another than it was; told on the page of the way out.
STAYS = (
    Reason("stays_ledger"), Reason("stays_reservations"), Reason("stays_orders"), Reason("stays_counts"),
    Reason("stays_people"), Reason("stays_settings"), Reason("stays_life_used"),
)  # fmt: skip


def as_csv(of: str, *, headings: str = "words", delimiter: str = ",") -> bytes:
    """All of the stock, or all offers, as CSV in UTF-8 with a mark, by which spreadsheet programs know it."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\r\n")
    writer.writerows([escaped(cell) for cell in row] for row in table(of, headings=headings))
    return text.getvalue().encode("utf-8-sig")


def as_xlsx(of: str, *, headings: str = "words") -> bytes:
    """The same as a workbook; every cell is a text, so that no tag is taken for a number."""
    from openpyxl import Workbook  # imported late: it costs a fifth of a second
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    page: Any = book.create_sheet(of)
    page.freeze_panes = "A2"

    def cell(text: str) -> Any:
        if not text:
            return None
        made: Any = WriteOnlyCell(page)
        made._value, made.data_type, made.number_format = for_xml(escaped(text)), "s", "@"
        return made

    for row in table(of, headings=headings):
        page.append([cell(text) for text in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def table(of: str, *, headings: str = "words") -> Iterator[list[str]]:
    """The rows of a sheet, its headings first: in our words, or in the symbols of ISO 13399 where it has one.

    Under the symbols a thread's pitch stands beside it. Raises `Refused`: headings_unknown.
    """
    if headings not in HEADINGS:
        raise Refused(Reason("headings_unknown", typed=headings, known=HEADINGS))
    columns = [column for column in COLUMNS[of] if headings == "iso" or column.of != "beside"]
    yield [(column.iso or column.name) if headings == "iso" else column.name for column in columns]
    for cells in _stock() if of == "stock" else _offers():
        yield [cells.get(column.name, "") for column in columns]


def _written(columns: Iterable[Column], thing: Any) -> dict[str, str]:
    """What a thing carries, column by column; what is empty is left out."""
    values = ((column, getattr(thing, column.field)) for column in columns)
    return {column.name: column.writer(value) for column, value in values if value not in (None, "")}


def _columns(of: str, sort: str) -> list[Column]:
    return [column for column in COLUMNS[of] if column.of == sort]


def _stock() -> Iterator[dict[str, str]]:
    """Items with what there is of each: units by tag, batches by bin and lot; then the bins that hold nothing and the
    sites without a bin."""
    unit_columns, batch_columns = _columns("stock", "unit"), _columns("stock", "batch")
    bins = {bin.pk: bin for bin in Bin.objects.select_related("site")}
    kept: dict[int, list[dict[str, str]]] = {}
    filled: set[int] = set()

    def place(bin: Bin) -> dict[str, str]:
        filled.add(bin.pk)
        return {"site": bin.site.name, "bin": bin.name, "walk": str(bin.walk)}

    for unit in Unit.objects.select_related("borrower").order_by("tag", "pk").iterator(chunk_size=2_000):
        row = _written(unit_columns, unit) | place(bins[unit.bin_id])
        if unit.borrower is not None and unit.borrower.badge:
            row["badge"] = unit.borrower.badge
        kept.setdefault(unit.item_id, []).append(row)
    for batch in Batch.objects.order_by("bin__site__name", "bin__name", "lot", "pk").iterator(chunk_size=2_000):
        cells = _written([column for column in batch_columns if column.name != "quantity"], batch)
        row = cells | {"quantity": str(batch.on_hand)} | place(bins[batch.bin_id])
        kept.setdefault(batch.item_id, []).append(row)
    # In an order that does not hang on ids, so that the same stock is always the same sheet.
    items = sorted(Item.objects.all(), key=_in_order)
    marks = _marks(items)
    names = {item.pk: item.number or marks.get(item.pk, "") for item in items}
    factors: dict[int, dict[str, int]] = {}
    for pk, material, percent in LifeFactor.objects.values_list("item", "material", "percent"):
        factors.setdefault(pk, {})[material] = percent
    points = {row.item_id: row for row in OrderPoint.objects.order_by("pk")}  # the newest of an item holds
    for item in items:
        of = _item(item)
        if item.pk in marks:
            of["mark"] = marks[item.pk]
        if item.pk in points and points[item.pk].order_point is not None:
            held = points[item.pk]
            of |= dict(zip(POINTS, map(str, (held.minimum, held.order_point, held.maximum)), strict=True))
        if item.pk in factors:
            of["life factors"] = write_factors(factors[item.pk])
        if item.retired:
            of |= {"retired": "yes", "superseded by": names.get(item.successor_id or 0, "")}
        for row in kept.get(item.pk, [{}]):
            yield of | row
    for bin in sorted(bins.values(), key=lambda bin: (bin.site.name, bin.name)):
        if bin.pk not in filled:
            yield place(bin)
    for name in Site.objects.filter(bins=None).order_by("name").values_list("name", flat=True):
        yield {"site": name}


def _marks(items: Sequence[Item]) -> Mapping[int, str]:
    """Of items without a number that are equal in all that was measured to another, or are bought in another's place:
    what stands for each in the sheet."""
    alike = Counter(_measured(item) for item in items)
    named = {item.number for item in items}
    referred = {item.successor_id for item in items}
    free = (mark for at in count(1) if (mark := f"item {at}") not in named)
    return {
        item.pk: next(free) for item in items if not item.number and (alike[_measured(item)] > 1 or item.pk in referred)
    }


def _measured(item: Item) -> tuple[Any, ...]:
    return tuple(getattr(item, name) for name in SAME)


def _in_order(item: Item) -> tuple[Any, ...]:
    values = (getattr(item, name) for name in ("kind", "number", *item_fields(), "as_typed"))
    return tuple((value is not None, str(value)) for value in values)


def _item(item: Item) -> dict[str, str]:
    fields = [column for column in _columns("stock", "item") if column.name not in ("thread", "inner")]
    row = _written(fields, item)
    if item.thread:
        thread = Thread.from_key(item.thread)
        row["thread"] = _as_typed(item, thread)
        per_inch = thread.tpi
        beside = "pitch" if per_inch is None else "threads per inch"
        pitch = thread.pitch_mm if per_inch is None else per_inch
        row[beside] = format(pitch.normalize(), "f")
    if item.inner:
        row["inner"] = Thread.from_key(item.inner).designation
    return row


def _as_typed(item: Item, thread: Thread) -> str:
    """The thread as somebody wrote it, where that still reads as what is kept; else as the trade prints it."""
    try:
        reading = read(item.as_typed)
    except ThreadError:
        return thread.designation
    agrees = reading.thread.key == item.thread and reading.thread_class in ("", item.thread_class)
    return item.as_typed if agrees and reading.typed == item.as_typed else thread.designation


def _offers() -> Iterator[dict[str, str]]:
    """Offers by supplier in the order in which they were entered, then the suppliers that offer nothing.

    An offer of an item without a number cannot be told in a sheet: it is refused by name.
    """
    offers = Offer.objects.select_related("supplier").prefetch_related("lines__item", "breaks")
    told: set[int] = set()
    for offer in offers.order_by("supplier__name", "pk"):
        supplier, terms = offer.supplier, _terms(offer.supplier)
        told.add(supplier.pk)
        lines = sorted(offer.lines.all(), key=lambda line: line.pk)
        if not all(line.item.number for line in lines):
            nameless = next(line.item for line in lines if not line.item.number)
            raise Refused(Reason("offer_of_item_without_number", supplier=supplier.name, item=str(nameless)))
        breaks = sorted((step.packs, step.price) for step in offer.breaks.all())
        yield terms | {
            "items": " + ".join(_counted(str(line.item.number), line.quantity, len(lines)) for line in lines),
            "number": offer.number,
            "name": offer.name,
            "pack": str(offer.pack),
            "price": _price(offer.price, supplier),
            "lead days": str(offer.lead_days),
            "breaks": "; ".join(f"{packs}: {_price(price, supplier)}" for packs, price in breaks),
            "on sale": "yes" if offer.active else "no",
        }
    for supplier in Supplier.objects.order_by("name"):
        if supplier.pk not in told:
            yield _terms(supplier)


def _terms(supplier: Supplier) -> dict[str, str]:
    return {
        "supplier": supplier.name,
        "currency": supplier.currency,
        "carriage": _price(supplier.carriage, supplier),
        "minimum": _price(supplier.minimum, supplier),
    }


def _price(minor: int, supplier: Supplier) -> str:
    return show_money(minor, supplier.currency).removeprefix(f"{supplier.currency} ")


def _counted(number: str, quantity: int, among: int) -> str:
    # A number that would be read as a list or a count stands in quotation marks.
    plain = re.fullmatch(r"[\w./ -]+", number) and not re.search(r"\sx\s*[0-9]+$", number)
    written = number if plain else '"{}"'.format(number.replace('"', '""'))
    return written if quantity == 1 and among == 1 else f"{written} × {quantity}"


def saved(of: str, *, file: str, headings: str = "words", delimiter: str = ",") -> bytes:
    """The stock or the offers in the format that the file's name asks for. Raises `Refused`: sheet_kind_unknown."""
    suffix = file.rpartition(".")[2].lower()
    if suffix == "csv":
        return as_csv(of, headings=headings, delimiter=delimiter)
    if suffix == "xlsx":
        return as_xlsx(of, headings=headings)
    raise Refused(Reason("sheet_kind_unknown", sheet=file, known=tuple(f".{each}" for each in FORMATS)))


# How a column of the tables goes out under another name than its own, or by what stands around it.
_OTHERWISE = (
    "item.as_typed", "item.retired", "item.successor", "lifefactor.item", "lifefactor.material", "lifefactor.percent",
    "orderpoint.item", "orderpoint.minimum", "orderpoint.order_point", "orderpoint.maximum",
    "unit.item", "unit.bin", "unit.borrower", "person.name", "person.badge", "batch.item", "batch.bin",
    "batch.on_hand", "site.name", "bin.site", "bin.name", "bin.walk",
    "supplier.name", "supplier.currency", "supplier.carriage", "supplier.minimum",
    "offer.supplier", "offer.number", "offer.name", "offer.pack", "offer.price", "offer.lead_days", "offer.active",
    "offeritem.offer", "offeritem.item", "offeritem.quantity",
    "pricebreak.offer", "pricebreak.packs", "pricebreak.price",
)  # fmt: skip


def carried() -> Sequence[str]:
    """Every column of the tables that the two sheets carry, as "item.diameter"."""
    own = [f"{column.of}.{column.field}" for column in COLUMNS["stock"] if column.of in ("item", "unit", "batch")]
    return [*(name for name in own if name != "batch.quantity"), *_OTHERWISE]
