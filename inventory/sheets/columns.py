"""The columns of a sheet: their headings in our words and in the symbols of ISO 13399, how a cell is read and written.

Whatever is written here is read back as the same value: sizes in millimetres to the nanometre, torques in newton
metres to the newton millimetre, days in ISO form, words as the tables keep them.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from inventory.catalogue import refuse_number
from inventory.errors import Reason, Refused
from inventory.kinds import CONDITIONS, KINDS, SYMBOLS, plain
from inventory.purchasing import currency_code
from inventory.quantities import NM_PER_INCH, NM_PER_MM, read_length, read_money, read_torque, to_mm
from inventory.threads import DrillError, Reading, Thread, ThreadError, read, read_drill
from inventory.wear import read_factors, write_factors

_LARGEST_DIAMETER = 1_000 * NM_PER_MM  # beyond it is a slip of the unit

# --- cells, read -------------------------------------------------------------------------------------------


def _item_number(text: str) -> str:
    refuse_number(text)
    return text


def _word(words: dict[str, str]) -> Callable[[str], str]:
    """A reader of one of a few words; `words` maps each spelling to what it means."""

    def reader(text: str) -> str:
        found = words.get(plain(text))
        if found is None:
            known = tuple(dict.fromkeys(words.values()))
            near = difflib.get_close_matches(plain(text), words, n=1)
            raise Refused(Reason("cell_word_unknown", typed=text, known=known, near=words[near[0]] if near else ""))
        return found

    return reader


def _diameter(text: str) -> int:
    """A diameter in nm: a drill by size or name, or any other length up to a metre ("30 thou", a boring head's 300)."""
    try:
        return read_drill(text).diameter_nm
    except DrillError as refused:
        if refused.reason.code not in ("drill_unreadable", "drill_size_impossible"):
            raise
        larger = refused.reason.code == "drill_size_impossible"
        if larger and refused.reason["diameter_nm"] > _LARGEST_DIAMETER:
            raise
        return read_length(text)


def _signed(text: str) -> int:
    """A whole number on either side of nothing."""
    if re.fullmatch(r"[+-]?[0-9]{1,12}", text) is None:
        raise Refused(Reason("signed_count_unreadable", typed=text))
    return int(text)


def _whole(least: int) -> Callable[[str], int]:
    def reader(text: str) -> int:
        if re.fullmatch(r"[0-9]{1,12}", text) is None or int(text) < least:
            raise Refused(Reason("count_unreadable", typed=text, least=least))
        return int(text)

    return reader


def _number(text: str) -> Decimal:
    try:
        return Decimal(text.replace(",", "."))
    except InvalidOperation:
        return Decimal(0)


def _lead(text: str) -> int:
    """A lead in threads, as tenths of a thread."""
    tenths = _number(text) * 10
    if not tenths.is_finite() or tenths != tenths.to_integral_value() or not 0 < tenths <= 500:
        raise Refused(Reason("lead_unreadable", typed=text))
    return int(tenths)


def _per_inch(text: str) -> Decimal:
    """Threads per inch; halves are as fine as it gets."""
    halves = _number(text) * 2
    if not halves.is_finite() or halves != halves.to_integral_value() or not 0 < halves <= 400:
        raise Refused(Reason("number_unreadable", typed=text))
    return halves / 2


def _least_torque(text: str) -> int:
    return 0 if _number(text) == 0 and re.fullmatch(r"[0.,]+", text) else read_torque(text)


def _money_text(text: str) -> str:
    read_money(text)  # the currency is another cell's; whether it is money at all can be said here
    return text


_FLUTES = {
    "straight": "straight", "straight flute": "straight", "spiral": "spiral", "spiral flute": "spiral",
    "point": "point", "spiral point": "point",
}  # fmt: skip
_ACTIONS = {"cut": "cut", "cutting": "cut", "form": "form", "forming": "form"}
_HANDS = {"l": "L", "left": "L", "lh": "L", "r": "R", "right": "R", "rh": "R"}
_AWAY = {"loan": "loan", "on loan": "loan", "regrind": "regrind", "at regrind": "regrind",
         "calibration": "calibration", "at calibration": "calibration"}  # fmt: skip
_KINDS = {plain(word): kind.code for kind in KINDS.values() for word in (kind.code, kind.word, kind.plural)}
_CONDITIONS = {plain(condition): condition for condition in CONDITIONS} | {"due for regrind": "due_regrind"}
YES_NO = {"yes": "yes", "y": "yes", "true": "yes", "1": "yes", "no": "no", "n": "no", "false": "no", "0": "no"}


# --- cells, written ----------------------------------------------------------------------------------------


def _trimmed(number: Decimal) -> str:
    text = format(number, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _mm(nm: int) -> str:
    return _trimmed(to_mm(nm))


def _newton_metres(nmm: int) -> str:
    return _trimmed(Decimal(nmm).scaleb(-3))


def _tenths(tenths: int) -> str:
    return _trimmed(Decimal(tenths).scaleb(-1))


# --- columns -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet: its heading, what it describes (`of`), what it holds, how a cell is read and written.

    `field` is what its value is stored under, `iso` the symbol by which ISO 13399 knows the property of a cutting
    tool (`inventory.kinds.SYMBOLS`), "" where it has none; `also` are other headings that people give it.
    """

    name: str
    of: str
    meaning: str
    reader: Callable[[str], Any] | None  # None: a day, which may count from today
    writer: Callable[[Any], str] = str
    also: tuple[str, ...] = ()

    @property
    def field(self) -> str:
        return "thread_class" if self.name == "class" else self.name.replace(" ", "_")

    @property
    def is_text(self) -> bool:
        """Whether its cells are taken as they stand, so that nothing but their look tells a slip."""
        return self.reader in (str, _item_number)

    @property
    def unit(self) -> str:
        """The unit in which its values are written, "" for what is no size."""
        return {_mm: "mm", _newton_metres: "N·m"}.get(self.writer, "")

    @property
    def iso(self) -> str:
        symbol = SYMBOLS.get("tpi" if self.name == "threads per inch" else self.field) if self.of != "offer" else None
        return symbol.symbol if symbol is not None else ""


STOCK = (
    Column(
        "kind", "item", "what it is: drill, tap, seat cutter, hole gauge …", _word(_KINDS), also=("tool type", "type")
    ),
    Column(
        "number",
        "item",
        "the shop's own catalogue number",
        _item_number,
        also=("item number", "catalogue number", "part number", "part no", "no"),
    ),
    Column(
        "name",
        "item",
        "a name, where measurements do not tell enough (fixtures, safety items)",
        str,
        also=("description", "designation"),
    ),
    Column(
        "thread", "item", "the thread it carries or cuts: M14 x 1,5 · 9/16-18 · EG M14x1.5", read, also=("thread size",)
    ),
    Column("class", "item", "thread class: 6H, 2B …", str, also=("thread class", "tolerance class")),
    Column("inner", "item", "an insert's inside thread", read, also=("inside thread", "inner thread")),
    Column(
        "diameter",
        "item",
        'cutting diameter: 15.5 · 19/32 in · 0.610" · #7 · Q',
        _diameter,
        _mm,
        also=("cutting diameter", "dia"),
    ),
    Column("pilot", "item", "diameter of a seat cutter's pilot", _diameter, _mm, also=("pilot diameter",)),
    Column("usable length", "item", "how deep it reaches: 120 · 4 3/4 in", read_length, _mm, also=("reach",)),
    Column("lead", "item", "a tap's lead in threads: 4 · 1,5", _lead, _tenths, also=("chamfer threads",)),
    Column("flute", "item", "straight, spiral or point (spiral point)", _word(_FLUTES), also=("flutes",)),
    Column("action", "item", "cut or form", _word(_ACTIONS), also=("cutting or forming",)),
    Column("insert length", "item", "an insert's length", read_length, _mm),
    Column("flange", "item", "diameter of an insert's flange", _diameter, _mm, also=("flange diameter",)),
    Column("hand", "item", "a fixture's own, L or R; a thread's stands in the thread", _word(_HANDS)),
    Column("torque min", "item", "least torque: 20 · 15 lbf·ft", _least_torque, _newton_metres, also=("least torque",)),
    Column("torque max", "item", "largest torque", read_torque, _newton_metres, also=("largest torque",)),
    Column("family", "item", "insert family and edition: own-flanged/1", str, also=("insert family",)),
    Column("life", "item", "holes between regrinds", _whole(1), also=("life in holes",)),
    Column("cure hours", "item", "hours an adhesive takes to cure, by its data sheet, rounded up", _whole(1)),
    Column("step diameter", "item", "diameter of a step drill's second step", _diameter, _mm),
    Column("step length", "item", "length of a step drill's leading step", read_length, _mm),
    Column(
        "takes least", "item", "least bore, tap square or pitch (boring head, tap wrench, pitch gauge)", _diameter, _mm
    ),
    Column("most regrinds", "item", "how often one may be reground", _whole(0)),
    Column("calibration days", "item", "days between two calibrations", _whole(1)),
    Column("pack size", "item", "pieces in a full pack, as it lies in the bin", _whole(1)),
    Column("takes most", "item", "largest bore, tap square or pitch", _diameter, _mm),
    Column(
        "life factors",
        "care",
        "what a hole takes of its life by parent material, in percent: steel 150; bronze 80",
        read_factors,
        write_factors,
    ),
    Column("retired", "listing", "yes where it is no longer bought; what is there is still used", _word(YES_NO)),
    Column("superseded by", "listing", "catalogue number, or mark, of what is bought in its place", str),
    Column(
        "mark",
        "apart",
        "stands for an item without a number, in this sheet alone: rows of one mark are one item, equal rows of "
        "two marks are two",
        str,
        also=("item mark",),
    ),
    Column("least", "points", "pieces below which it must not fall", _whole(0), also=("minimum", "min")),
    Column("order point", "points", "pieces at which more is ordered", _whole(0), also=("reorder point",)),
    Column("most", "points", "pieces up to which is ordered", _whole(0), also=("maximum", "max")),
    Column(
        "pitch", "beside", "pitch, where the thread is given without: 1.5", read_length, _mm, also=("thread pitch",)
    ),
    Column(
        "threads per inch",
        "beside",
        "threads per inch, where the thread is given without: 18",
        _per_inch,
        _trimmed,
    ),
    Column("tag", "unit", "the unit's own tag; a row with one is a unit", str, also=("unit", "tool id", "unit tag")),
    Column(
        "condition",
        "unit",
        "new, serviceable (if left out), due_regrind, lost or retired",
        _word(_CONDITIONS),
        also=("state",),
    ),
    Column("holes cut", "unit", "holes cut since the last regrind", _whole(0)),
    Column("extra wear", "unit", "life used beyond the holes cut, in holes; less than 0 for softer metals", _signed),
    Column("wear ahead", "unit", "hundredths of a hole by which the life used is rounded up, 99 at most", _whole(0)),
    Column("regrinds", "unit", "how often it was reground", _whole(0)),
    Column("own diameter", "unit", "where regrinding changed it", _diameter, _mm),
    Column(
        "calibration due", "unit", "last good day: 2027-03-31 · +90d", None, date.isoformat, also=("calibrated until",)
    ),
    Column("certificate", "unit", "of the last calibration", str),
    Column("away why", "unit", "loan, regrind or calibration", _word(_AWAY)),
    Column("away until", "unit", "last day it is away; empty if nobody knows", None, date.isoformat),
    Column("away with", "unit", "who has it", str, also=("lent to",)),
    Column("badge", "holder", "of whoever has it on loan, where there is one", str, also=("away badge",)),
    Column("issued to", "unit", "the job that has it in hand", str),
    Column("site", "place", "where the bin stands", str),
    Column(
        "bin",
        "place",
        "the bin's name; a row with site and bin alone is a bin, one with a site alone a site",
        str,
        also=("location", "drawer", "shelf"),
    ),
    Column("walk", "place", "the bin's number on the walk through the crib", _whole(0), also=("walk number",)),
    Column("quantity", "batch", "how many; a row with one is a batch", _whole(0), also=("qty", "on hand")),
    Column("lot", "batch", "the maker's lot", str, also=("lot number", "batch")),
    Column("packed", "batch", "day of make or pack", None, date.isoformat, also=("pack date",)),
    Column("expires", "batch", "last good day", None, date.isoformat, also=("expiry", "use by")),
)

OFFERS = (
    Column("supplier", "supplier", "the firm's name", str, also=("firm", "vendor")),
    Column("currency", "supplier", "EUR if left out", currency_code),
    Column("carriage", "supplier", "carriage an order", _money_text),
    Column("minimum", "supplier", "least order", _money_text, also=("least order",)),
    Column("items", "offer", "catalogue number, or a set sold whole: DR-145 × 2 + TP-16 × 1", str, also=("item",)),
    Column("number", "offer", "the supplier's own number", str, also=("supplier number", "order number")),
    Column("name", "offer", "what the supplier calls it", str, also=("description",)),
    Column("pack", "offer", "how many of it one pack holds; 1 if left out", _whole(1), also=("pack size",)),
    Column("price", "offer", "price of one pack", _money_text),
    Column("lead days", "offer", "days from order to delivery", _whole(0), also=("delivery days",)),
    Column("breaks", "offer", "from so many packs on, so much a pack: 10: 4.20; 50: 3.90", str, also=("price breaks",)),
    Column("on sale", "offer", "yes (if left out), or no: it is kept and no longer bought", _word(YES_NO)),
)

COLUMNS = {"stock": STOCK, "offers": OFFERS}
REQUIRED = {"stock": ("kind",), "offers": ("supplier", "items", "price")}
# Rows that hold nothing but this describe it alone: an empty bin, a firm that offers nothing yet.
ALONE = {"stock": "place", "offers": "supplier"}
POINTS = tuple(column.name for column in STOCK if column.of == "points")
HEADINGS = {column.field: column.name for column in STOCK}
LONGEST = {
    "number": 40, "name": 160, "class": 12, "family": 80, "tag": 40, "away with": 80, "issued to": 80, "site": 80,
    "bin": 40, "lot": 40, "supplier": 80, "superseded by": 40, "mark": 40, "certificate": 80, "badge": 40,
    "thread": 80, "inner": 80,
}  # fmt: skip
# Symbols of ISO 13399 for what is not kept here: told by name on the mapping page, and left out.
NOT_KEPT = {
    "OAL": "overall length", "LCF": "length of the chip flutes", "LF": "functional length", "THLGTH": "thread length",
    "THCHT": "chamfer type of a thread", "FHA": "helix angle of the flutes", "NOF": "number of flutes",
    "DMM": "shank diameter", "SIG": "point angle", "COATING": "coating",
}  # fmt: skip


def item_fields() -> tuple[str, ...]:
    """The fields of an item that a sheet carries, in the order of its columns."""
    return tuple(column.field for column in STOCK if column.of == "item")


def with_pitch(text: str, pitch: int | None, per_inch: Decimal | None) -> Reading:
    """The thread of a row that says its pitch in a cell of its own: "M16" with 1.5, "1/4" with 20.

    A thread that reads with that pitch is as it is written; one that is written with another is refused.
    Raises the reader's own refusal, and pitch_differs.
    """
    beside = _mm(pitch) if pitch is not None else _trimmed(per_inch) if per_inch is not None else ""
    try:
        alone = read(text)
    except ThreadError:
        alone = None
    if alone is not None and _has_pitch(alone.thread, pitch, per_inch):
        return alone
    if re.search(r"[0-9\"]\s*[xX×*-]\s*[0-9.,]", text) is None:
        hand = re.search(r"[\s,(-]*\b(?:LH|RH|L\.H\.|left|right)\b.*$", text, re.IGNORECASE)
        size, rest = (text[: hand.start()], text[hand.start() :]) if hand else (text, "")
        found = read(f"{size.strip()}{'x' if pitch is not None else '-'}{beside}{rest}")
        if _has_pitch(found.thread, pitch, per_inch):
            return found
    raise Refused(Reason("pitch_differs", thread=text, pitch=beside))


def _has_pitch(thread: Thread, pitch: int | None, per_inch: Decimal | None) -> bool:
    if pitch is not None and abs(thread.pitch_mm * NM_PER_MM - pitch) > 1:
        return False
    counted = thread.tpi or Decimal(NM_PER_INCH) / (thread.pitch_mm * NM_PER_MM)
    return per_inch is None or abs(counted - per_inch) < Decimal("0.0001")
