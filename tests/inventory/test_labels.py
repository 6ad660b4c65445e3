"""Labels: what stands on one, and what a reader of codes that is not ours reads from the printed sheet."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from datetime import date
from typing import Any
from urllib.parse import unquote

import pytest
import zxingcpp
from django.test import Client

from inventory import labels
from inventory.errors import Refused
from inventory.labels import SHEETS, Label, label_of, opened, path_of, pdf, scanned, sheets_taken
from tests.factories import BatchFactory, BinFactory, InsertFactory, ItemFactory, SiteFactory, TapFactory, UnitFactory

BASE = "https://crib.example"
LONG = Label(
    "/tag/" + "%C3%9C" * 40,
    "Ü" * 40,
    "seat cutter " + "with a name that leaves nothing out " * 4,
    "7/16-14 UNC in 5/8-11 UNC 2B",
    "A site whose name goes on for as long as eighty letters allow it to, to the end · " + "B" * 40,
    "2027-03-31",
)


@pytest.fixture
def poppler() -> None:
    """What turns a PDF into a picture; without it the test is skipped, or fails where everything is required."""
    if all(map(shutil.which, ("pdftoppm", "pdftotext"))):
        return
    if os.environ.get("THREADCRIB_REQUIRE_ALL") == "1":
        pytest.fail("THREADCRIB_REQUIRE_ALL is set, but there is no poppler-utils.")
    pytest.skip("there is no poppler-utils on this machine")


def pictures(made: bytes) -> list[memoryview]:
    """Every sheet as rows of grey dots, at the 300 dots an inch of a common printer."""
    raw = subprocess.run(["pdftoppm", "-gray", "-r", "300", "-"], input=made, capture_output=True, check=True).stdout
    found = []
    while head := re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", raw):
        wide, high = int(head[1]), int(head[2])
        found.append(memoryview(raw[head.end() : head.end() + wide * high]).cast("B", (high, wide)))
        raw = raw[head.end() + wide * high :]
    return found


def codes(made: bytes) -> list[str]:
    """What an independent reader reads, sheet by sheet."""
    return [
        code.text
        for picture in pictures(made)
        for code in zxingcpp.read_barcodes(picture, zxingcpp.BarcodeFormat.QRCode)
    ]


def some(count: int) -> list[Label]:
    return [Label(f"/tag/T-{n}", f"T-{n}", "tap, hand", "M16x1.5 6H", "Main · B4") for n in range(count)]


@pytest.mark.parametrize("code", SHEETS)
def test_every_code_on_every_sheet_opens_the_address_of_its_label(code: str, poppler: None) -> None:
    sheet = SHEETS[code]
    start = min(3, sheet.each)
    found = [LONG, *some(sheet.each)]  # more than one sheet takes
    made = pdf(found, sheet, base=BASE, start=start)
    assert len(pictures(made)) == sheets_taken(len(found), sheet, start) > 1
    assert sorted(codes(made)) == sorted(BASE + label.path for label in found)


@pytest.mark.parametrize("code", SHEETS)
def test_nothing_runs_off_a_label_however_long_it_is(code: str, poppler: None) -> None:
    sheet = SHEETS[code]
    at = sheet.each // 2 + 1  # in the midst of the sheet, so that what runs off is seen
    (picture,) = pictures(pdf([LONG], sheet, base=BASE, start=at))
    dots = (picture.shape or (0, 0))[0] / (sheet.height / 1e6 if sheet.roll else 297)
    column, row = (at - 1) % sheet.columns, (at - 1) // sheet.columns
    left = (sheet.left + column * (sheet.width + sheet.gap)) / 1e6
    top = (sheet.top + row * sheet.height) / 1e6
    least_y, most_y, least_x, most_x = _inked(picture)
    pad = sheet.pad / 1e6 - 0.3
    assert left + pad <= least_x / dots
    assert most_x / dots <= left + sheet.width / 1e6 - pad
    assert top + pad <= least_y / dots
    assert most_y / dots <= top + sheet.height / 1e6 - pad


def _inked(picture: memoryview) -> tuple[int, int, int, int]:
    """The first and last row, the first and last column that hold any ink."""
    high, wide = picture.shape or (0, 0)
    dots = picture.tobytes()
    rows = [y for y in range(high) if min(dots[y * wide : (y + 1) * wide]) < 128]
    columns = [x for x in range(wide) if min(dots[x::wide]) < 128]
    return rows[0], rows[-1], columns[0], columns[-1]


def test_all_that_stands_on_a_long_label_can_be_read(poppler: None) -> None:
    made = pdf([LONG], SHEETS["38.1x21.2"], base=BASE)
    read = subprocess.run(["pdftotext", "-raw", "-", "-"], input=made, capture_output=True, check=True).stdout.decode()
    bare = re.sub(r"[\s\u200b]", "", read)
    for told in (LONG.large, LONG.words, LONG.size, LONG.place, LONG.expires):
        assert re.sub(r"\s", "", told) in bare


def test_more_labels_than_a_sheet_has_flow_to_the_next_and_a_bound_is_told() -> None:
    sheet = SHEETS["70x37"]
    assert [sheets_taken(*asked) for asked in ((24, sheet, 1), (24, sheet, 2), (25, sheet, 1), (1, sheet, 24))] == [
        1, 2, 2, 1,
    ]  # fmt: skip
    with pytest.raises(Refused) as refused:
        pdf(some(labels.MOST + 1), sheet, base=BASE)
    assert refused.value.reason.code == "labels_too_many"


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"start": 25}, "label_start_beyond"),
        ({"start": 0}, "label_start_beyond"),
        ({"top": 10_000_000}, "labels_off_the_sheet"),
        ({"left": 1_000_000}, "labels_off_the_sheet"),
    ],
)
def test_what_does_not_fit_the_paper_is_refused(asked: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refused:
        pdf(some(1), SHEETS["70x37"], base=BASE, **asked)
    assert refused.value.reason.code == code


def test_no_label_is_refused() -> None:
    with pytest.raises(Refused, match="labels_none"):
        pdf([], SHEETS["70x37"], base=BASE)


def test_every_sheet_lies_within_its_paper() -> None:
    assert all(sheet.fits(sheet.top, sheet.left) for sheet in SHEETS.values())
    assert SHEETS["38.1x21.2"].words == "A4, 5 × 13 of 38.1 × 21.2 mm"


@pytest.mark.django_db
def test_a_label_says_what_a_thing_is_with_its_thread_apart() -> None:
    bin_ = BinFactory.create(name="B4", site=SiteFactory(name="Yard"))
    unit = UnitFactory.create(tag="T-16", item=TapFactory(number="TP-16", name="hand tap"), bin=bin_)
    batch = BatchFactory.create(item=InsertFactory(), bin=bin_, lot="L-9", expires=date(2027, 3, 31))
    told = label_of(unit)
    assert (told.large, told.words, told.size, told.place) == ("T-16", "hand tap, no. TP-16", "M16x1.5 6H", "Yard · B4")
    told = label_of(batch)
    assert (told.path, told.large, told.size, told.expires) == (
        f"/tag/~b{batch.pk}", "L-9", "M14x1.5 in M16x1.5, 20 mm long", "2027-03-31",
    )  # fmt: skip
    assert label_of(bin_) == Label(f"/tag/~s{bin_.pk}", "B4", "", "", "Yard")
    drill = label_of(UnitFactory.create(item=ItemFactory(kind="drill")))
    assert drill.size == "14.5 mm"


TAGS = ["T-16", "D/14.5", "Größe 9", "50 % #7?", "a//b", "../x", "./", "~b1", "T+1 & Co", "Ü" * 40]


@pytest.mark.django_db
@pytest.mark.parametrize("tag", TAGS)
def test_any_tag_is_carried_by_an_address_and_opens_its_unit(tag: str, admin_client: Client) -> None:
    unit = UnitFactory.create(tag=tag)
    path = path_of(unit)
    assert opened(unquote(path.removeprefix(labels.PATH))) == unit
    answer = admin_client.get(path)
    assert answer.status_code == 302
    shown = admin_client.get(answer.headers["Location"])
    assert shown.status_code == 200
    assert shown.context["thing"] == unit


@pytest.mark.django_db
def test_what_is_typed_in_other_letters_or_as_a_whole_address_is_found() -> None:
    unit, bin_ = UnitFactory.create(tag="T-16"), BinFactory.create(name="Rack 7")
    batch = BatchFactory.create(lot="Lot/9")
    for typed in ("t-16", " T-16 ", f"{BASE}/tag/T-16", "HTTP://OTHER.example:8000/tag/t-16"):
        assert opened(scanned(typed)) == unit
    assert opened("RACK 7") == opened(f"~s{bin_.pk}") == bin_
    assert opened("lot/9") == opened(scanned(f"{BASE}/tag/~b{batch.pk}")) == batch
    assert scanned("https://elsewhere.example/jobs/1/") == ""


@pytest.mark.django_db
def test_an_unknown_tag_names_those_that_are_spelt_alike() -> None:
    for tag in ("T-160", "T-161", "D-9"):
        UnitFactory.create(tag=tag)
    with pytest.raises(Refused) as refused:
        opened("T-16O")
    assert refused.value.reason.code == "tag_opens_nothing"
    assert set(refused.value.reason["near"]) == {"T-160", "T-161"}


@pytest.mark.django_db
def test_a_name_of_several_bins_opens_none_of_them() -> None:
    for site in ("Main", "Yard"):
        BinFactory.create(name="B4", site=SiteFactory(name=site))
    with pytest.raises(labels.Several) as several:
        opened("b4")
    assert [bin_.site.name for bin_ in several.value.things] == ["Main", "Yard"]


@pytest.mark.django_db
def test_the_label_of_a_reground_unit_tells_what_it_cuts_now() -> None:
    drill = ItemFactory.create(diameter=14_500_000)
    ground = UnitFactory.create(item=drill)
    ground.own_diameter = 14_400_000
    assert [label_of(unit).size for unit in (UnitFactory.create(item=drill), ground)] == ["14.5 mm", "14.4 mm"]
