"""What goes out comes in again as it was: the demo workshop, and stock that was made to be difficult."""

import io
from collections.abc import Collection
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from inventory import catalogue, guards, purchasing, sheets, stock
from inventory.kinds import KINDS
from inventory.models import Batch, Bin, Item, Offer, Person, Site, Unit
from inventory.order_points import last_set, set_order_point
from inventory.sheets import reading, writing
from inventory.threads import covered
from inventory.wording import say
from repairs.management.commands.demo import load_workshop

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


class _Undone(Exception):
    pass


def _again(folder: Path, suffix: str, headings: str = "words") -> tuple[dict[str, bytes], dict[str, bytes]]:
    """What was written, and what is written again by a crib that is otherwise empty and took it in."""
    first = {of: sheets.saved(of, file=f"{of}.{suffix}", headings=headings) for of in ("stock", "offers")}
    paths = []
    for of, written in first.items():
        paths.append(folder / f"{of}.{suffix}")
        paths[-1].write_bytes(written)
    second: dict[str, bytes] = {}
    try:
        with transaction.atomic():
            _empty()
            intake = sheets.load(paths=paths, as_of=MONDAY, by="test", apply=True)
            assert [say(fault) for fault in intake.faults] == []
            assert stock.disagreements() == []
            second = {of: sheets.saved(of, file=f"{of}.{suffix}", headings=headings) for of in first}
            raise _Undone
    except _Undone:
        return first, second


def _empty() -> None:
    """Take everything out of both apps; the ledger's own guard is lifted for it."""
    connection.check_constraints()  # PostgreSQL alters no table on which something still waits to be looked at
    guards.lift(connection)
    for app in ("repairs", "inventory"):
        for model in apps.get_app_config(app).get_models():
            model._default_manager.all()._raw_delete(connection.alias)  # in any order: keys are looked at later
    connection.check_constraints()
    guards.lay(connection)


def _cells(workbook: bytes) -> list[list[Any]]:
    (page,) = load_workbook(io.BytesIO(workbook)).worksheets
    return [[cell.value for cell in row] for row in page.iter_rows()]


# The demo


@pytest.mark.parametrize("headings", ["words", "iso"])
def test_the_demo_workshop_goes_out_and_in_byte_for_byte(tmp_path: Path, headings: str) -> None:
    load_workshop(as_of=MONDAY)
    first, second = _again(tmp_path, "csv", headings)
    assert first["stock"].count(b"\r\n") > 100
    assert first["offers"].count(b"\r\n") > 20
    assert second == first


def test_the_demo_workshop_goes_out_and_in_as_workbooks_value_for_value(tmp_path: Path) -> None:
    load_workshop(as_of=MONDAY)
    first, second = _again(tmp_path, "xlsx")
    assert {of: _cells(each) for of, each in second.items()} == {of: _cells(each) for of, each in first.items()}
    assert _cells(first["stock"])[0][0] == "kind"


# Stock that was made to be difficult

_EDGES = ["=1+1", "+49 30", "-5", "@SUM(A1)", "'=quoted", "''@twice", "'t Hooft", "007", "1E5", "2026-03-01", "TRUE",
          "a;b", 'say "so"', "two\nlines", "with\rreturn", "_x000D_", "x_x0041_y", "Ünïcödé", "螺纹", "резьба", "½ in",
          "a,b", "\u200bzero", "#REF!", "A + B × 2", 'in "x 3"', "c x 4"]  # fmt: skip
_TEXT = st.sampled_from(_EDGES) | st.text(
    st.characters(codec="utf-8", exclude_characters="\0", exclude_categories=("Cs",)), min_size=1, max_size=20
).map(str.strip).filter(bool)
_LENGTH = st.integers(1, 1_000_000_000) | st.sampled_from([15_081_250, 5_105_400, 396_875, 2_540])
_DAY = st.none() | st.dates(date(1990, 1, 1), date(2100, 1, 1))
_THREADS = st.sampled_from([thread for hand in "RL" for thread in covered(hand)][:900])
_AS_TYPED = st.sampled_from(["M16 x 1,5", "m16X1.5 LH", "9/16-18", "1/4 unc", "M8", "EG M14x1.5"])


def _may_be_a_number(text: str) -> bool:
    try:
        catalogue.refuse_number(text)
    except reading.Refused:
        return False
    return True


@st.composite
def _shop(draw: Any) -> dict[str, Any]:
    items = draw(
        st.lists(
            st.fixed_dictionaries(
                {"kind": st.sampled_from(sorted(KINDS)), "name": st.just("") | _TEXT},
                optional={
                    "thread": _THREADS | _AS_TYPED,
                    "diameter": _LENGTH,
                    "usable_length": _LENGTH,
                    "lead": st.integers(1, 500),
                    "flute": st.sampled_from(["straight", "spiral", "point"]),
                    "action": st.sampled_from(["cut", "form"]),
                    "hand": st.sampled_from("LR"),
                    "torque_min": st.integers(0, 1000),
                    "torque_max": st.integers(1000, 100_000_000),
                    "family": _TEXT,
                    "life": st.integers(1, 400),
                    "cure_hours": st.integers(1, 400),
                },
            ),
            min_size=1, max_size=5,
        )
    )  # fmt: skip
    numbers = draw(st.lists(_TEXT.filter(_may_be_a_number), min_size=len(items), max_size=len(items), unique=True))
    for item, number, numbered in zip(
        items, numbers, draw(st.lists(st.booleans(), min_size=5, max_size=5)), strict=False
    ):
        item["number"] = number if numbered else None
    # Some of them twice: equal in all that was measured, the second without a number.
    items += [item | {"number": None} for item in items if draw(st.booleans())]
    units = draw(
        st.lists(
            st.tuples(_TEXT, st.integers(0, 300), _DAY, st.sampled_from(["", "lend", "send", "issue", "scrap", "lose"]),
                      _TEXT, st.sampled_from(["new", "serviceable", "due_regrind"])),
            max_size=6, unique_by=lambda unit: unit[0].upper(),
        )
    )  # fmt: skip
    lots = draw(st.lists(st.tuples(_TEXT, st.integers(0, 10**9), _DAY), max_size=4, unique_by=lambda lot: lot[0]))
    bins = draw(st.lists(st.tuples(_TEXT, _TEXT), min_size=2, max_size=4, unique=True))
    return {"items": items, "units": units, "lots": lots, "bins": bins, "price": draw(st.integers(0, 10**9))}


def _made(shop: dict[str, Any]) -> None:
    entry = {"as_of": MONDAY, "by": "hypothesis"}
    items = [catalogue.add_item(**fields) for fields in shop["items"]]
    shown = catalogue.add_item(kind=items[0].kind, name="the one on show", number="on show")
    items.append(shown)
    bins = [stock.add_bin(site=site, name=name, walk=at) for at, (site, name) in enumerate(shop["bins"])]
    tagged, counted = ([item for item in items if item.counted is each] for each in (False, True))
    for at, (tag, holes, due, deed, text, condition) in enumerate(shop["units"] if tagged else ()):
        unit = stock.receive_unit(
            item=tagged[at % len(tagged)], tag=tag, bin=bins[at % (len(bins) - 1)], holes_cut=holes,
            calibration_due=due, condition=condition, **entry,
        )  # fmt: skip
        over = due is not None and due < MONDAY.date()
        gauge = due is None and KINDS[unit.item.kind].calibrated
        match deed:
            case "lend" if not over:  # what is out of calibration is neither lent nor handed out
                there = Person.objects.filter(name=text).first()
                stock.lend_unit(unit=unit, to=there or stock.add_person(name=text), until=due, **entry)
            case "send":
                why = "calibration" if unit.item.most_regrinds == 0 else "regrind"
                stock.send_unit(unit=unit, why=why, to=text, until=due, **entry)
            case "issue" if not over and unit.condition != "due_regrind":
                stock.issue_unit(unit=unit, label=text, signed="Ada: new" if gauge else "", **entry)
            case "scrap":
                stock.scrap_unit(unit=unit, reason="worn", **entry)
            case "lose":
                stock.lose_unit(unit=unit, reason="gone", **entry)
    for at, (lot, quantity, day) in enumerate(shop["lots"] if counted else ()):
        batch = stock.receive_batch(
            item=counted[at % len(counted)], quantity=quantity + 1, bin=bins[0], lot=lot, expires=day, **entry
        )
        stock.adjust_batch(batch=batch, found=quantity, reason="counted", **entry)
    supplier = purchasing.add_supplier(name=shop["bins"][0][0], currency="JPY", carriage=shop["price"])
    purchasing.add_supplier(name=f"{shop['bins'][0][0]} too")
    purchasing.add_offer(
        supplier=supplier, items=[(item, at + 1) for at, item in enumerate(items) if item.number] or [(shown, 1)],
        price=shop["price"], breaks=[(5, shop["price"])], number=shop["bins"][0][1], name=shop["bins"][1][0],
    )  # fmt: skip
    for old, new in pairwise(sorted((item for item in items if item.kind == shown.kind), key=lambda item: item.pk)):
        catalogue.supersede_item(old, new, **entry)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(shop=_shop(), suffix=st.sampled_from(["csv", "xlsx"]), headings=st.sampled_from(["words", "iso"]))
def test_whatever_is_in_stock_goes_out_and_in_and_loses_nothing(
    tmp_path_factory: pytest.TempPathFactory, shop: dict[str, Any], suffix: str, headings: str
) -> None:
    folder = tmp_path_factory.mktemp("sheets")
    try:
        with transaction.atomic():
            _made(shop)
            first, second = _again(folder, suffix, headings)
            if suffix == "csv":
                assert second == first
            else:
                assert [_cells(second[of]) for of in first] == [_cells(first[of]) for of in first]
            _compared(folder, suffix, headings)
            raise _Undone
    except _Undone:
        pass


# Formulas


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@A1", "\tx", "'=x", "''+x"])
def test_what_a_spreadsheet_would_take_for_a_formula_is_defused_and_comes_back(text: str) -> None:
    written = reading.escaped(text)
    assert written.startswith("'")
    assert reading.unescaped(written) == text


@pytest.mark.parametrize("text", ["'t Hooft", "plain", "'", "", "1E5", "'quoted'"])
def test_what_is_no_formula_is_left_as_it_is(text: str) -> None:
    assert reading.escaped(text) == text == reading.unescaped(text)


def test_no_cell_of_a_workbook_is_a_formula_nor_a_number(tmp_path: Path) -> None:
    catalogue.add_item(kind="drill", number="=HYPERLINK(1)", name="007", diameter=5_000_000)
    (page,) = load_workbook(io.BytesIO(sheets.as_xlsx("stock"))).worksheets
    assert {cell.data_type for row in page.iter_rows() for cell in row if cell.value is not None} == {"s"}


# Nothing is forgotten


_TABLES: list[Any] = list(apps.get_app_config("inventory").get_models(include_auto_created=True))
_CARRIED = [table for table in _TABLES if table._meta.model_name not in writing.NOT_CARRIED]


def _columns_of(table: Any) -> list[str]:
    return [f"{table._meta.model_name}.{field.name}" for field in table._meta.concrete_fields if not field.primary_key]


def test_every_column_of_every_table_is_carried_or_named_with_the_reason_why_not() -> None:
    columns = {name for table in _CARRIED for name in _columns_of(table)}
    told = set(writing.carried()) | {name for name in writing.NOT_CARRIED if "." in name}
    assert columns - told == set(), "carry it in inventory/sheets/columns.py, or say in writing.py why not"
    assert told - columns == set()
    tables = {table._meta.model_name for table in _TABLES}
    assert {name for name in writing.NOT_CARRIED if "." not in name} - tables == set()
    told_on_the_page = {reason.code for reason in writing.STAYS}
    stay = {code for code in writing.NOT_CARRIED.values() if code.startswith("stays_")}
    assert told_on_the_page == stay | {"stays_life_used"}


def test_a_tool_whose_life_is_used_up_comes_in_as_due_for_regrind_as_the_page_says(tmp_path: Path) -> None:
    entry: dict[str, Any] = {"as_of": MONDAY, "by": "Bram"}
    drill = catalogue.add_item(kind="drill", diameter=5_000_000, usable_length=80_000_000, life=40)
    unit = stock.receive_unit(item=drill, tag="D-1", bin=stock.add_bin(site="Main", name="A1"), holes_cut=9, **entry)
    catalogue.care_for(drill, anew={"life": 9}, factors={}, **entry)
    unit.refresh_from_db()
    first, second = _again(tmp_path, "csv")
    assert unit.condition in ("serviceable", "new", "due_regrind")
    assert second["stock"] == first["stock"].replace(unit.condition.encode(), b"due_regrind")


def _value(thing: Any, field: Any) -> Any:
    """What stands in a column; of another row what names it, since ids are made anew by every database."""
    value = getattr(thing, field.name)
    return _name(value) if field.is_relation and value is not None else value


def _name(thing: Any) -> Any:
    if isinstance(thing, Item):
        return _row(thing, without=("successor",))
    if isinstance(thing, Bin):
        return (thing.site.name, thing.name)
    if isinstance(thing, Batch | Unit):
        return (_name(thing.bin), getattr(thing, "tag", "") or getattr(thing, "lot", ""))
    if isinstance(thing, Offer):
        return _row(thing)
    return str(thing)


def _row(thing: Any, without: Collection[str] = ()) -> tuple[tuple[str, Any], ...]:
    table = thing._meta.model_name
    return tuple(
        (field.name, _value(thing, field))
        for field in thing._meta.concrete_fields
        if not field.primary_key and f"{table}.{field.name}" not in writing.NOT_CARRIED and field.name not in without
    )


def _of_item(item: Item) -> Any:
    """An item with all that hangs on it, so that of two equal ones each is seen to keep its own."""
    hung = [sorted(map(_row, each.all()), key=repr) for each in
            (item.units, item.batches, item.life_factors, item.predecessors)]  # fmt: skip
    return _row(item), hung, [_row(each) for each in last_set([item.pk]).values()]


def _tables() -> dict[str, list[Any]]:
    """All that is in the tables that go out, every column of it but those that are told to stay."""
    rows = {table.__name__: sorted(map(_row, table.objects.all()), key=repr) for table in _CARRIED}
    rows["OrderPoint"] = sorted(map(_row, last_set().values()), key=repr)  # the newest of an item is what holds
    return rows | {"items whole": sorted(map(_of_item, Item.objects.all()), key=repr)}


def _compared(folder: Path, suffix: str, headings: str) -> None:
    before = _tables()
    paths = []
    for of in ("stock", "offers"):
        paths.append(folder / f"{of}.{suffix}")
        paths[-1].write_bytes(sheets.saved(of, file=paths[-1].name, headings=headings))
    try:
        with transaction.atomic():
            _empty()
            intake = sheets.load(paths=paths, as_of=MONDAY, by="test", apply=True)
            assert [say(fault) for fault in intake.faults] == []
            assert stock.disagreements() == []
            after = _tables()
            # And once more, into what is there already: nothing of it is new, and nothing is another.
            again = sheets.judged(
                sheets.read_path(paths[0]), sheets.strict(sheets.read_path(paths[0]).headings, "stock", sheet="s"),
                "stock", MONDAY.date(),
            )  # fmt: skip
            told = sheets.take([again], as_of=MONDAY, by="test", apply=False, leave_out=True)
            assert (told.faults, sum(told.counts.values())) == ([], 0)
            raise _Undone
    except _Undone:
        pass
    for table, rows in before.items():
        assert after[table] == rows, table


def _crib_with_everything() -> None:
    """Every column of every table filled somewhere, and what is hard to tell apart side by side."""
    entry: dict[str, Any] = {"as_of": MONDAY, "by": "Bram"}
    number = iter(range(9, 1, -1))
    lengths = ("diameter", "pilot", "usable_length", "insert_length", "flange", "step_length", "takes_least")
    all_of_it: dict[str, Any] = {name: 1_000_000 + next(number) for name in lengths} | {
        "name": "one with everything", "thread": "M16 x 1,5", "thread_class": "6H", "inner": "M14x1.5", "lead": 45,
        "flute": "spiral", "action": "form", "hand": "L", "torque_min": 0, "torque_max": 99_999, "family": "own/1",
        "life": 40, "cure_hours": 3, "step_diameter": 9_000_001, "takes_most": 8_000_001, "most_regrinds": 5,
        "calibration_days": 365, "pack_size": 25,
    }  # fmt: skip
    whole = catalogue.add_item(kind="tap", number="T 007", **all_of_it)
    catalogue.care_for(whole, anew={}, factors={"steel": 150, "bronze": 80}, **entry)
    # Equal in all that was measured: two without a number, one of them written in another way, and one with.
    tap = {"kind": "tap", "thread_class": "6H", "usable_length": 60_000_000, "lead": 40, "flute": "point", "life": 9}
    twins = [catalogue.add_item(thread=typed, **tap) for typed in ("M16 x 1,5", "M16x1.5", "M16x1.5", "M16x1.5")]
    Item.objects.filter(pk=twins[0].pk).update(most_regrinds=2, pack_size=1)
    catalogue.care_for(twins[1], anew={"number": "1E5"}, factors={"steel": 200}, **entry)
    catalogue.care_for(twins[2], anew={}, factors={"steel": 300}, **entry)
    # A chain of successors over one without a number, and one that is only no longer bought.
    chain = [catalogue.add_item(kind="drill", number=name, diameter=5_000_000 + at, usable_length=80_000_000)
             for at, name in enumerate(("=1+1", None, "-5"))]  # fmt: skip
    for old, new in pairwise(chain):
        catalogue.supersede_item(old, new, **entry)
    catalogue.retire_item(catalogue.add_item(kind="drill", diameter=7_000_000), **entry)
    catalogue.supersede_item(twins[3], twins[0], **entry)
    main, far = (stock.add_bin(site="Main", name=name, walk=at) for at, name in enumerate(("007", "1/2")))
    stock.add_bin(site="Annexe", name="A1", walk=7)
    Site.objects.create(name="yard without a bin")
    names = iter("abcdefghijklmnopqrstuvwxyz")

    def unit(item: Item, **of: Any) -> Unit:
        of = {"tag": f"+{next(names)}-1", "bin": far, "holes_cut": 2, "condition": "new"} | of
        return stock.receive_unit(item=item, **of, **entry)

    for twin in twins:
        unit(twin, holes_cut=0)
        unit(twin, bin=main)
    ground = unit(whole, calibration_due=date(2027, 3, 31))
    stock.send_unit(unit=ground, why="regrind", to="Grinder & Sons", until=date(2026, 4, 1), **entry)
    stock.return_unit(unit=ground, diameter=1_000_000, **entry)
    Unit.objects.filter(pk=ground.pk).update(certificate="K-12/2026")
    worn = unit(whole)
    stock.issue_unit(unit=worn, label="job 1", **entry)
    stock.give_back_unit(unit=worn, holes=5, material="steel", **entry)
    softer = unit(whole)
    stock.issue_unit(unit=softer, label="job 1", **entry)
    stock.give_back_unit(unit=softer, holes=5, material="bronze", **entry)
    stock.issue_unit(unit=unit(whole), label="job 2; hole A", **entry)
    for badge in ("0042", "0043", None):
        person = stock.add_person(name="A. Fitter" if badge else "B. Fitter", badge=badge)
        stock.lend_unit(unit=unit(whole), to=person, until=date(2026, 3, 9) if badge else None, **entry)
    gauge = catalogue.add_item(kind="hole_gauge", thread="M16x1.5", thread_class="6H", calibration_days=365)
    away = unit(gauge, holes_cut=0, calibration_due=date(2026, 1, 31))
    stock.send_unit(unit=away, why="calibration", to="Laboratory", until=None, **entry)
    stock.scrap_unit(unit=unit(whole, condition="due_regrind"), reason="broken", **entry)
    stock.lose_unit(unit=unit(whole, condition="serviceable"), reason="gone", **entry)
    counted = [catalogue.add_item(kind="oil", name="oil", **more) for more in ({}, {}, {"number": "@oil"})]
    for at, item in enumerate(counted):
        batch = stock.receive_batch(item=item, quantity=5 + at, bin=main, lot="2026-03-01", packed=date(2026, 1, 2),
                                    expires=date(2028, 2, 29), **entry)  # fmt: skip
        if at:
            stock.adjust_batch(batch=batch, found=0, reason="empty", **entry)
        for least in (9, 1 + at):
            set_order_point(item=item, minimum=least, order_point=9, maximum=20, why="as ever", **entry)
    none = {"minimum": None, "order_point": None, "maximum": None}
    set_order_point(item=counted[1], why="no more", **none, **entry)
    nord = purchasing.add_supplier(name="Nord", currency="JPY", carriage=650, minimum=5000)
    purchasing.add_supplier(name="Süd")
    purchasing.add_offer(supplier=nord, items=[(whole, 2), (counted[2], 3)], price=900, breaks=[(5, 800), (9, 700)],
                         number="00-1", name="set", pack=4, lead_days=6)  # fmt: skip
    purchasing.add_offer(supplier=nord, items=[(chain[0], 1)], price=0)
    Offer.objects.filter(name="").update(active=False)


def test_the_crib_with_everything_leaves_no_column_at_what_it_is_when_nobody_fills_it_in() -> None:
    _crib_with_everything()
    never = [
        f"{table.__name__}.{field.name}"
        for table in _CARRIED
        for field in table._meta.concrete_fields
        if not field.primary_key
        and f"{table._meta.model_name}.{field.name}" not in writing.NOT_CARRIED
        and {getattr(thing, field.attname) for thing in table.objects.all()} <= {field.get_default(), None, ""}
    ]
    assert never == []


@pytest.mark.parametrize("headings", ["words", "iso"])
@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_every_column_of_every_table_comes_back_as_it_was(tmp_path: Path, suffix: str, headings: str) -> None:
    _crib_with_everything()
    _compared(tmp_path, suffix, headings)


# The command


def test_the_command_writes_both_sheets_and_what_it_wrote_is_taken_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_workshop(as_of=MONDAY)
    call_command("save_stock", str(tmp_path / "s.csv"), offers=tmp_path / "o.xlsx", headings="iso", delimiter=";")
    assert f"Written: {tmp_path / 's.csv'}." in capsys.readouterr().out
    head = (tmp_path / "s.csv").read_text(encoding="utf-8-sig").splitlines()[0].split(";")
    assert {"TDZ", "TP", "TPI", "DC", "LU", "TCTR", "tag"} <= set(head)
    _empty()
    intake = sheets.load(paths=[tmp_path / "o.xlsx", tmp_path / "s.csv"], as_of=MONDAY, by="x", apply=True)
    assert intake.applied


def test_the_command_tells_what_it_cannot_write(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="save it as"):
        call_command("save_stock", str(tmp_path / "s.ods"))
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("save_stock", str(tmp_path / "none" / "s.csv"))


def test_an_offer_of_an_item_without_a_number_is_not_dropped_in_silence() -> None:
    item = catalogue.add_item(kind="drill", diameter=5_000_000)
    purchasing.add_offer(supplier=purchasing.add_supplier(name="Nord"), items=[(item, 1)], price=100)
    with pytest.raises(sheets.reading.Refused) as refused:
        sheets.as_csv("offers")
    assert refused.value.reason.code == "offer_of_item_without_number"


def test_what_is_no_longer_bought_and_what_in_its_place_goes_out_and_in(tmp_path: Path) -> None:
    new = catalogue.add_item(kind="drill", number="Z-2", diameter=5_000_000)
    old = catalogue.add_item(kind="drill", number="A-1", diameter=5_100_000)
    Item.objects.filter(pk=old.pk).update(retired=True, successor=new)
    Item.objects.create(kind="drill", number="B-1", diameter=5_200_000, retired=True)
    first, second = _again(tmp_path, "csv")
    assert second == first
    assert b"yes,Z-2" in first["stock"]
