"""The pages of sheets: sent, mapped, looked at, taken in; every fault a sentence, nothing typed lost."""

import io
import re
from datetime import UTC, datetime
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils.html import escape
from openpyxl import Workbook

from inventory import purchasing
from inventory.models import Batch, Item, SentSheet, Unit
from inventory.roles import FITTER, STOREKEEPER, give_role
from inventory.sheets import sending
from inventory.sheets.writing import STAYS
from inventory.wording import say
from tests.factories import ItemFactory, UnitFactory

pytestmark = pytest.mark.django_db

STOCK = "kind;Ø;LU;our tag;site;bin\ndrill;14,5;120;D-1;Main;A1\ndrill;19/32 in;90;D-2;Main;A1\n"


@pytest.fixture
def keeper() -> Client:
    return _somebody(STOREKEEPER)


def _somebody(role: str) -> Client:
    user = User.objects.create_user(role, first_name="Bram")
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


def _send(client: Client, data: str | bytes, name: str = "stock.csv", **fields: str) -> Any:
    content = data.encode() if isinstance(data, str) else data
    return client.post("/shelf/sheets/send/", {"file": SimpleUploadedFile(name, content), **fields})


def _columns(*names: str) -> dict[str, str]:
    return {f"column-{at}": name for at, name in enumerate(names)}


def _seen(page: str) -> dict[str, str]:
    """What the button that takes a sheet in sends along."""
    return dict(re.findall(r'name="(seen)" value="([0-9a-f]+)"', page))


def _take_in(client: Client, to: str) -> Any:
    return client.post(f"{to}apply/", _seen(client.get(to).content.decode()))


MAPPED = _columns("kind", "diameter", "usable length", "tag", "site", "bin")


def test_a_sheet_is_sent_mapped_looked_at_and_taken_in(keeper: Client) -> None:
    to = _send(keeper, STOCK).headers["Location"]
    page = keeper.get(to).content.decode()
    assert "Written in UTF-8, cells parted by semicolon; decimals with a comma." in page
    assert '<option value="usable length" selected>usable length (LU)</option>' in page
    assert keeper.post(f"{to}columns/", MAPPED).status_code == 302
    page = keeper.get(to).content.decode()
    assert "No fault was found." in page
    assert "15.08125 mm" in page
    assert "typed 19/32 in" in page
    assert Unit.objects.count() == 0
    for _ in range(2):
        assert keeper.post(f"{to}apply/", _seen(page)).headers["Location"] == to
    assert "Taken in by Bram: It holds: 2 items" in keeper.get(to).content.decode()
    assert sorted(Unit.objects.values_list("tag", flat=True)) == ["D-1", "D-2"]


def test_the_same_press_of_a_file_keeps_it_once(keeper: Client) -> None:
    first, again = (_send(keeper, STOCK, key="k").headers["Location"] for _ in range(2))
    assert first == again
    assert SentSheet.objects.count() == 1


def test_a_mapping_that_cannot_be_is_told_and_kept_as_it_was_chosen(keeper: Client) -> None:
    to = _send(keeper, STOCK).headers["Location"]
    twice = MAPPED | {"column-2": "diameter"}
    page = keeper.post(f"{to}columns/", twice)
    assert page.status_code == 409
    told = page.content.decode()
    assert "the column “diameter” stands there twice" in told
    assert told.count('<option value="diameter" selected>') == 2
    assert '<option value="tag" selected>' in told
    assert keeper.post(f"{to}columns/", MAPPED | {"column-0": ""}).status_code == 409


def test_faults_and_duplicates_stand_there_by_row_column_and_value(keeper: Client) -> None:
    UnitFactory.create(tag="D-1")
    to = _send(keeper, STOCK.replace("19/32 in", "much")).headers["Location"]
    keeper.post(f"{to}columns/", MAPPED)
    page = keeper.get(to).content.decode()
    assert "2 to put right: nothing can come in yet." in page
    assert "stock.csv, row 3, diameter “much”:" in page
    assert "There already, or twice" in page
    assert "stock.csv, row 2, tag “D-1”:" in page
    assert "Take it in</button>" not in page
    assert keeper.post(f"{to}apply/").status_code == 409
    keeper.post(f"{to}columns/", {**MAPPED, "leave_out": "on"})
    assert "Passed over as in stock already: 1." in keeper.get(to).content.decode()


def test_a_worksheet_is_chosen(keeper: Client) -> None:
    book = Workbook()
    book.active.append(["notes"])
    book.create_sheet("drills").append(["kind", "diameter"])
    book["drills"].append(["drill", 5])
    out = io.BytesIO()
    book.save(out)
    to = _send(keeper, out.getvalue(), "stock.xlsx").headers["Location"]
    page = keeper.get(to).content.decode()
    assert "<option>drills</option>" in page
    keeper.post(f"{to}columns/", {"deed": "read", "of": "stock", "worksheet": "drills"})
    keeper.post(f"{to}columns/", _columns("kind", "diameter"))
    _take_in(keeper, to)
    assert Item.objects.get().diameter == 5_000_000


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_the_encoding_is_found_out(keeper: Client, encoding: str) -> None:
    to = _send(keeper, "kind,name\nfixture,Spannvorrichtung für Öl\n".encode(encoding)).headers["Location"]
    keeper.post(f"{to}columns/", _columns("kind", "name"))
    _take_in(keeper, to)
    assert Item.objects.get().name == "Spannvorrichtung für Öl"


def _bomb() -> bytes:
    out = io.BytesIO()
    with ZipFile(out, "w", ZIP_DEFLATED) as archive:
        for at in range(5):
            archive.writestr(f"xl/worksheets/sheet{at}.xml", b" " * 100_000_000)
    return out.getvalue()


def _macros() -> bytes:
    out = io.BytesIO()
    with ZipFile(out, "w") as archive:
        archive.writestr("xl/vbaProject.bin", b"x")
    return out.getvalue()


def _entities() -> bytes:
    out = io.BytesIO()
    with ZipFile(out, "w") as archive:
        archive.writestr("[Content_Types].xml", b'<!DOCTYPE x [<!ENTITY a "aaa">]><x>&a;</x>')
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("stock.csv", b"", "is empty|holds nothing|Choose a file"),
        ("stock.pdf", b"%PDF", "no sheet that can be read here"),
        ("stock.xlsx", b"PK no workbook", "no workbook that can be read"),
        ("stock.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "protected by a password"),
        ("stock.xlsm", b"PK", "carries macros"),
        ("stock.xlsx", _macros(), "carries macros"),
        ("stock.xlsx", _entities(), "no workbook that can be read"),
        ("stock.csv", b"kind\n" + b"drill\n" * 60_001, "more than 60000 rows"),
        ("stock.csv", b"kind" + b"," * 400, "more than 300 columns"),
    ],
)
def test_what_is_no_sheet_is_told_in_one_sentence(keeper: Client, name: str, data: bytes, told: str) -> None:
    page = _send(keeper, data, name)
    assert page.status_code == 400
    assert any(each in page.content.decode() for each in told.split("|"))
    assert SentSheet.objects.count() == 0


def test_a_workbook_that_unpacks_beyond_all_bounds_is_not_unpacked(keeper: Client) -> None:
    assert "unpacks to more than 400 MB" in _send(keeper, _bomb(), "stock.xlsx").content.decode()


def test_a_workbook_that_speaks_of_a_row_far_down_is_told_to_be_too_long(keeper: Client) -> None:
    book = Workbook()
    book.active.append(["kind"])
    book.active.cell(70_000, 1, "drill")
    out = io.BytesIO()
    book.save(out)
    assert "more than 60000 rows" in _send(keeper, out.getvalue(), "stock.xlsx").content.decode()


def test_a_file_beyond_the_limit_is_told_so(keeper: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sending, "LARGEST_SENT", 10)
    assert "larger than 0 MB" in _send(keeper, STOCK).content.decode()


def test_nothing_sent_is_told(keeper: Client) -> None:
    page = keeper.post("/shelf/sheets/send/")
    assert page.status_code == 400
    assert "Choose a file first" in page.content.decode()


def test_a_sheet_that_is_worked_at_shows_how_far_it_is_and_may_be_looked_at_again(keeper: Client) -> None:
    to = _send(keeper, STOCK).headers["Location"]
    SentSheet.objects.update(
        state="judging", doing="reading", done=1, worker="elsewhere:1:x", seen_at=datetime.now(UTC)
    )
    page = keeper.get(to).content.decode()
    assert '<progress id="progress" max="2" value="1">' in page
    assert 'hx-trigger="every 1s"' in page
    assert "Look again" in page
    assert "being worked at already" in keeper.post(f"{to}columns/", MAPPED).content.decode()
    SentSheet.objects.update(seen_at=datetime(2026, 1, 1, tzinfo=UTC))
    assert "It was interrupted; nothing was taken in." in keeper.get(to).content.decode()
    keeper.post(f"{to}columns/", MAPPED)
    assert "No fault was found." in keeper.get(to).content.decode()


def test_two_windows_with_two_mappings_take_in_what_was_seen_in_them_or_say_why_not(keeper: Client) -> None:
    to = _send(keeper, STOCK).headers["Location"]
    keeper.post(f"{to}columns/", MAPPED)
    one = _seen(keeper.get(to).content.decode())
    keeper.post(f"{to}columns/", MAPPED | {"column-2": ""})
    other = keeper.post(f"{to}apply/", one)
    assert other.status_code == 409
    assert "was looked at anew meanwhile" in other.content.decode()
    assert keeper.post(f"{to}apply/").status_code == 409, "a press that says nothing of what it saw takes nothing in"
    assert Unit.objects.count() == 0
    assert _take_in(keeper, to).status_code == 302
    assert Unit.objects.count() == 2


def test_that_the_stock_moved_is_told_beside_what_the_sheet_would_bring_now(keeper: Client) -> None:
    to = _send(keeper, STOCK).headers["Location"]
    keeper.post(f"{to}columns/", MAPPED)
    ItemFactory.create(kind="drill", number=None, diameter=14_500_000, usable_length=120_000_000)
    _take_in(keeper, to)
    page = keeper.get(to).content.decode()
    assert "The stock has changed since you looked" in page
    assert "Of items known before: 1 row." in page
    _take_in(keeper, to)
    assert "Taken in by Bram" in keeper.get(to).content.decode()


# The way out


@pytest.mark.parametrize(("headings", "head"), [("words", "usable length"), ("iso", "LU")])
def test_the_stock_goes_out_in_either_heading(keeper: Client, headings: str, head: str) -> None:
    UnitFactory.create(tag="=D-1")
    answer = keeper.get("/shelf/sheets/export/", {"format": "csv", "headings": headings})
    assert answer.headers["Content-Disposition"].startswith('attachment; filename="stock-')
    lines = answer.content.decode("utf-8-sig").splitlines()
    assert head in lines[0].split(",")
    assert "'=D-1" in lines[1]
    book = keeper.get("/shelf/sheets/export/", {"format": "xlsx", "headings": headings})
    assert book.content.startswith(b"PK")


def test_what_does_not_go_out_is_told_before_it_goes(keeper: Client) -> None:
    page = keeper.get("/shelf/sheets/").content.decode()
    assert all(f"<li>{escape(say(reason))}</li>" in page for reason in STAYS)


def test_what_cannot_be_written_is_told_beside_the_way_out_before_a_file_goes(keeper: Client) -> None:
    item = ItemFactory.create(number=None, name="long drill")
    purchasing.add_offer(supplier=purchasing.add_supplier(name="Nord"), items=[(item, 1)], price=100)
    answer = keeper.get("/shelf/sheets/export/", {"of": "offers", "format": "csv"})
    page = answer.content.decode()
    assert answer.status_code == 400
    told = "Nord offers long drill 14.5 mm, 120 mm usable, which has no catalogue number; give it one first."
    assert told in page[page.index('id="out"') :]
    assert 'aria-invalid="true"' not in page
    assert '<option value="offers" selected>' in page


def test_prices_are_for_whoever_buys(keeper: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    purchasing.add_offer(
        supplier=purchasing.add_supplier(name="Nord"), items=[(ItemFactory.create(number="D"), 1)], price=100
    )
    assert b"Nord" in keeper.get("/shelf/sheets/export/?of=offers").content
    from inventory.views import sheets

    may = sheets.may
    monkeypatch.setattr(sheets, "may", lambda user, right: right.code != "buy" and may(user, right))
    assert keeper.get("/shelf/sheets/export/?of=offers").status_code == 403
    assert _send(keeper, "supplier,items,price\nNord,D,2\n", "offers.csv").status_code == 403


def test_a_fitter_is_not_let_in() -> None:
    fitter = _somebody(FITTER)
    assert fitter.get("/shelf/sheets/").status_code == 403
    assert _send(fitter, STOCK).status_code == 403
    assert "Sheets in and out" not in fitter.get("/shelf/").content.decode()


# What it asks of the database


@pytest.mark.parametrize("rows", [2, 20])
def test_the_pages_ask_as_much_of_the_database_for_two_rows_as_for_twenty(keeper: Client, rows: int) -> None:
    text = "kind,diameter,tag,site,bin\n" + "".join(f"drill,{5 + n},D-{n},Main,A{n}\n" for n in range(rows))
    asked = {}
    to = _send(keeper, text).headers["Location"]
    keeper.get(to)
    with CaptureQueriesContext(connection) as counted:
        keeper.get(to)
    asked["columns"] = len(counted)
    with CaptureQueriesContext(connection) as counted:
        keeper.post(f"{to}columns/", _columns("kind", "diameter", "tag", "site", "bin"))
    asked["judge"] = len(counted)
    with CaptureQueriesContext(connection) as counted:
        keeper.get(to)
    asked["look"] = len(counted)
    told = _seen(keeper.get(to).content.decode())
    with CaptureQueriesContext(connection) as counted:
        keeper.post(f"{to}apply/", told)
    asked["apply"] = len(counted)
    assert Unit.objects.count() == rows
    with CaptureQueriesContext(connection) as counted:
        keeper.get("/shelf/sheets/export/?format=csv")
    asked["export"] = len(counted)
    # session, user and roles each time; besides them the sheet, and for the columns its content
    apply = {"sqlite": 34, "postgresql": 36}[connection.vendor]
    expected = {"columns": 5, "judge": 21, "look": 4, "apply": apply, "export": 10}
    assert {name: count <= expected[name] for name, count in asked.items()} == dict.fromkeys(expected, True), asked


def test_a_batch_of_which_nothing_is_left_comes_in(keeper: Client) -> None:
    to = _send(keeper, "kind,quantity,site,bin\noil,0,Main,A1\n").headers["Location"]
    keeper.post(f"{to}columns/", _columns("kind", "quantity", "site", "bin"))
    _take_in(keeper, to)
    assert Batch.objects.get().on_hand == 0


# A database that is busy


def _locked(*args: Any, **kwargs: Any) -> Any:
    raise OperationalError("database is locked")


def test_a_busy_database_is_a_sentence_and_no_traceback(keeper: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sending, "keep", _locked)
    page = _send(keeper, STOCK)
    assert (page.status_code, page.headers["Retry-After"]) == (503, "5")
    assert "Somebody else was writing" in page.content.decode()


def test_any_other_fault_of_the_database_is_not_told_as_busy(keeper: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*args: Any, **kwargs: Any) -> Any:
        raise OperationalError("disk I/O error")

    monkeypatch.setattr(sending, "keep", broken)
    with pytest.raises(OperationalError):
        _send(keeper, STOCK)
