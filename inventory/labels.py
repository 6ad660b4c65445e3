"""Labels: what stands on one, how many lie on a sheet, the sheet as a PDF, and what a scanned code opens.

`labels.typ` lays them out. A label's code is the address `/tag/…` in full. Behind `/tag/` stands a unit's tag as it is
read; `~b12` is a batch and `~s12` a bin, by number, so that a label outlives another name for its bin, and `~u12` a
unit whose tag no address can carry.
"""

from __future__ import annotations

import difflib
import io
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote, urlsplit

import segno
import typst
from django.db.models import Value
from django.db.models.functions import Upper

from inventory import naming
from inventory.errors import Reason, Refused
from inventory.models import Batch, Bin, Item, Unit

TEMPLATE = Path(__file__).with_name("labels.typ")
MOST = 1000  # labels of one PDF
PATH = "/tag/"
_FONTS = typst.Fonts(include_system_fonts=False)
_WIDE, _HIGH = 210_000_000, 297_000_000  # A4, in nm


@dataclass(frozen=True, slots=True)
class Sheet:
    """Labels as they lie on a sheet of A4, or one alone as it comes off a roll. Lengths in nm.

    `top` and `left` are where the first label begins; `pad` is kept free around what is printed on each.
    """

    code: str
    columns: int
    rows: int
    width: int
    height: int
    top: int = 0
    left: int = 0
    gap: int = 0
    pad: int = 1_500_000
    roll: bool = False

    @property
    def each(self) -> int:
        """How many labels lie on one."""
        return self.columns * self.rows

    @property
    def words(self) -> str:
        """The sheet as it is asked for: by how its labels lie and what they measure."""
        size = f"{_mm(self.width)} × {_mm(self.height)} mm"
        return f"one on a roll, {size}" if self.roll else f"A4, {self.columns} × {self.rows} of {size}"

    def fits(self, top: int, left: int) -> bool:
        """Whether all its labels stay on the paper with these margins."""
        across = left + self.columns * self.width + (self.columns - 1) * self.gap
        return self.roll or (across <= _WIDE and top + self.rows * self.height <= _HIGH)


def _sheet(columns: int, rows: int, width: str, height: str, *, gap: str = "0", pad: str = "1.5") -> Sheet:
    """An A4 grid in the middle of its paper, as such sheets are commonly cut (no source): the margins can be set."""
    wide, high, between = (int(Decimal(each) * 1_000_000) for each in (width, height, gap))
    left = (_WIDE - columns * wide - (columns - 1) * between) // 2
    top = (_HIGH - rows * high) // 2
    padding = int(Decimal(pad) * 1_000_000)
    return Sheet(f"{width}x{height}", columns, rows, wide, high, top, left, between, padding)


def _roll(width: str, height: str) -> Sheet:
    wide, high = (int(Decimal(each) * 1_000_000) for each in (width, height))
    return Sheet(f"roll-{width}x{height}", 1, 1, wide, high, roll=True)


SHEETS: dict[str, Sheet] = {
    sheet.code: sheet
    for sheet in (
        _sheet(3, 8, "70", "37", pad="4"),  # it reaches the paper's edge, where few machines print
        _sheet(3, 7, "63.5", "38.1", gap="2.5"),
        _sheet(4, 10, "48.5", "25.4"),
        _sheet(5, 13, "38.1", "21.2", gap="2.5"),
        _roll("62", "29"),
        _roll("57", "32"),
    )
}


def _mm(nm: int) -> str:
    return f"{Decimal(nm) / 1_000_000:f}".rstrip("0").rstrip(".") if nm % 1_000_000 else str(nm // 1_000_000)


# What stands on one


@dataclass(frozen=True, slots=True)
class Label:
    """One label: `large` is read from afar, `size` is set apart, `path` is where its code leads on this site."""

    path: str
    large: str
    words: str
    size: str
    place: str
    expires: str = ""


def path_of(thing: Unit | Batch | Bin) -> str:
    """Where the code of a label leads: a path on this site."""
    if isinstance(thing, Batch):
        return f"{PATH}~b{thing.pk}"
    if isinstance(thing, Bin):
        return f"{PATH}~s{thing.pk}"
    # Of such parts an address loses some on its way, and of these letters one is taken for another label.
    lost = any(part in ("", ".", "..") for part in thing.tag.split("/")) or thing.tag.startswith("~")
    return f"{PATH}~u{thing.pk}" if lost else PATH + quote(thing.tag)


def label_of(thing: Unit | Batch | Bin, *, units: str = "mm") -> Label:
    """The label of a unit, batch or bin; read with item, bin and site."""
    if isinstance(thing, Bin):
        return Label(path_of(thing), thing.name, "", "", thing.site.name)
    words, size = _item(thing.item, units, thing.own_diameter if isinstance(thing, Unit) else None)
    place = f"{thing.bin.site.name} · {thing.bin.name}"
    if isinstance(thing, Unit):
        return Label(path_of(thing), thing.tag, words, size, place)
    until = thing.expires.isoformat() if thing.expires else ""
    return Label(path_of(thing), thing.lot or f"batch {thing.pk}", words, size, place, until)


def _item(item: Item, units: str, own_diameter: int | None = None) -> tuple[str, str]:
    """An item in words, and what is set apart of it: its size, that of the unit where it was reground, and its length
    where nothing but its lot tells it from another."""
    number = f", no. {item.number}" if item.number else ""
    length = naming.length(item, units) if item.counted else ""
    size = ", ".join(part for part in (naming.size(item, units, own_diameter), length) if part)
    return naming.called(item) + number, size


# On paper


def pdf(
    found: Sequence[Label],
    sheet: Sheet,
    *,
    base: str,
    start: int = 1,
    top: int | None = None,
    left: int | None = None,
) -> bytes:
    """The labels as a PDF: as many sheets as they take, the first label at place `start` of the first one.

    `base` is the address of this site ("https://crib.example"); `top` and `left` (nm) stand in for the sheet's own.
    Raises `Refused`: labels_none, labels_too_many, label_start_beyond, labels_off_the_sheet.
    """
    top, left = sheet.top if top is None else top, sheet.left if left is None else left
    if not found:
        raise Refused(Reason("labels_none"))
    if len(found) > MOST:
        raise Refused(Reason("labels_too_many", found=len(found), most=MOST))
    if not 1 <= start <= sheet.each:
        raise Refused(Reason("label_start_beyond", start=start, most=sheet.each))
    if not sheet.fits(top, left):
        raise Refused(Reason("labels_off_the_sheet", sheet=sheet.words))
    told = {
        "columns": sheet.columns, "rows": sheet.rows, "start": start - 1, "roll": sheet.roll,
        **{name: float(Decimal(nm) / 1_000_000) for name, nm in (
            ("width", sheet.width), ("height", sheet.height), ("gap", sheet.gap), ("pad", sheet.pad),
            ("top", 0 if sheet.roll else top), ("left", 0 if sheet.roll else left))},
        "labels": [
            {"large": each.large, "words": each.words, "size": each.size, "place": each.place,
             "expires": each.expires, "code": _code(base.rstrip("/") + each.path)}
            for each in found
        ],
    }  # fmt: skip
    made: bytes = typst.compile(
        TEMPLATE.read_bytes(),
        format="pdf",
        font_paths=_FONTS,
        ignore_system_fonts=True,
        sys_inputs={"labels": json.dumps(told, ensure_ascii=False)},
        timestamp=0,
    )
    return made


def sheets_taken(labels: int, sheet: Sheet, start: int) -> int:
    """How many sheets so many labels take, the first at place `start`."""
    return -(-(start - 1 + labels) // sheet.each)


def _code(address: str) -> str:
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=4, dark="#000", xmldecl=False)
    return out.getvalue().decode()


# What is chosen


@dataclass(frozen=True, slots=True)
class Chosen:
    """Things to print labels of, `MOST` and one at most, so that one too many is known."""

    things: tuple[Unit | Batch | Bin, ...]

    @property
    def too_many(self) -> bool:
        """Whether there are more than one PDF takes."""
        return len(self.things) > MOST


def chosen(
    *,
    tags: Sequence[str] = (),
    batches: Sequence[int] = (),
    bins: Sequence[int] = (),
    site: str = "",
    found: Iterable[Unit | Batch | Bin] = (),
) -> Chosen:
    """What was named one by one, all bins of a site, and what a search found. Four queries at most."""
    things: list[Unit | Batch | Bin] = []
    if tags:
        things += Unit.objects.select_related("item", "bin__site").filter(tag__in=tags)[: MOST + 1]
    if batches:
        things += Batch.objects.select_related("item", "bin__site").filter(pk__in=batches)[: MOST + 1]
    if bins:
        things += Bin.objects.select_related("site").filter(pk__in=bins)[: MOST + 1]
    if site:
        things += Bin.objects.select_related("site").filter(site__name=site).order_by("walk", "name")[: MOST + 1]
    things += found
    return Chosen(tuple(things[: MOST + 1]))


# What is scanned


def scanned(typed: str) -> str:
    """What somebody typed or a scanner wrote into the field: of a whole address what stands behind `/tag/`."""
    text = typed.strip().replace("\0", "")
    if re.match(r"https?://", text, re.IGNORECASE):
        path = urlsplit(text).path
        return unquote(path[path.index(PATH) + len(PATH) :]) if PATH in path else ""
    return text


def opened(text: str) -> Unit | Batch | Bin:
    """What a label's code, a tag, a lot or a bin's name stands for, capitals and small letters alike.

    A tag comes before a bin, a bin before a lot. Raises `Refused`: tag_is_several with what it may be,
    tag_opens_nothing with tags that are spelt alike.
    """
    folded = Upper(Value(text))
    unit = Unit.objects.select_related("item").alias(folded=Upper("tag")).filter(folded=folded).first()
    if unit is not None:
        return unit
    if match := re.fullmatch(r"~([ubs])([0-9]{1,18})", text):
        model: Any = {"u": Unit, "b": Batch, "s": Bin}[match[1]]
        related = ("site",) if model is Bin else ("bin__site",)
        numbered = model.objects.select_related(*related).filter(pk=int(match[2])).first()
        if numbered is not None:
            return numbered  # type: ignore[no-any-return]
    several: list[Any] = list(
        Bin.objects.select_related("site").alias(folded=Upper("name")).filter(folded=folded).order_by("pk")[:20]
    )
    if not several:
        lots = Batch.objects.select_related("bin__site").alias(folded=Upper("lot")).filter(folded=folded)
        several = list(lots.order_by("pk")[:20]) if text else []
    if len(several) == 1:
        return several[0]  # type: ignore[no-any-return]
    if several:
        raise Several(text, several)
    raise Refused(Reason("tag_opens_nothing", typed=text[:80], near=near(text)))


class Several(Refused):
    """What was scanned or typed is the name of several bins or lots, which stand in `things`."""

    def __init__(self, text: str, things: Sequence[Batch | Bin]) -> None:
        super().__init__(Reason("tag_is_several", typed=text[:80]))
        self.things = tuple(things)


def near(text: str, most: int = 5) -> tuple[str, ...]:
    """Tags that are spelt nearly so. One query, of tags that begin alike."""
    begin = text[:2].upper()
    if not begin.strip():
        return ()
    tags = Unit.objects.alias(folded=Upper("tag")).filter(folded__gte=begin, folded__lt=f"{begin}\U0010ffff")
    there = {tag.upper(): tag for tag in tags.order_by("folded").values_list("tag", flat=True)[:2000]}
    return tuple(there[each] for each in difflib.get_close_matches(text.upper(), there, n=most, cutoff=0.6))
