"""Sheets that are sent: judged without a lock, taken in once, given up honestly where a process ends."""

import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, connections, transaction

from inventory import catalogue, stock
from inventory.errors import Reason, Refused
from inventory.models import Item, Movement, SentSheet, Unit
from inventory.sheets import sending
from inventory.wording import say
from tests.factories import ItemFactory, UnitFactory

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ENTRY: dict[str, Any] = {"by": "Bram", "as_of": NOW}
STOCK = b"Tool type;DC;LU;tag;site;bin\ndrill;14,5;120;D-1;Main;A1\ndrill;19/32 in;90;D-2;Main;A1\n"


def _kept(data: bytes = STOCK, name: str = "stock.csv", key: str | None = None) -> SentSheet:
    return sending.keep(name=name, data=data, request_key=key, **ENTRY)


def _judged(data: bytes = STOCK, **how: Any) -> SentSheet:
    sheet = _kept(data)
    sending.judge(sheet, columns=sheet.columns, leave_out=how.get("leave_out", False), **ENTRY)
    return sending.look(sheet.pk, as_of=NOW)


def test_a_sheet_is_kept_with_its_columns_guessed_and_the_same_press_keeps_it_once() -> None:
    first, again = _kept(key="k"), _kept(key="k")
    assert first.pk == again.pk
    assert first.columns == ["kind", "diameter", "usable length", "tag", "site", "bin"]
    assert (first.delimiter, first.encoding, first.rows, first.state) == (";", "utf-8", 2, "sent")


def test_judging_tells_what_would_come_in_and_writes_nothing_of_it() -> None:
    sheet = _judged()
    assert (sheet.state, sheet.answer["fault_count"]) == ("judged", 0)
    assert dict(sheet.answer["counts"])["units"] == 2
    assert sheet.answer["preview"][1]["cells"][1] == {
        "column": "diameter", "typed": "19/32 in", "read": "15.08125", "unit": "mm",
    }  # fmt: skip
    assert Item.objects.count() == Unit.objects.count() == Movement.objects.count() == 0


def test_a_sheet_comes_in_once_however_often_it_is_pressed() -> None:
    sheet = _judged()
    for _ in range(3):
        sending.apply(sheet, **ENTRY)
    sheet = sending.look(sheet.pk, as_of=NOW)
    assert (sheet.state, sheet.applied_by, Unit.objects.count()) == ("applied", "Bram", 2)
    assert stock.disagreements() == []
    with pytest.raises(Refused) as refused:
        sending.judge(sheet, columns=sheet.columns, leave_out=False, **ENTRY)
    assert refused.value.reason.code == "sheet_taken_in"


def test_faults_and_duplicates_are_told_apart_and_such_a_sheet_does_not_come_in() -> None:
    UnitFactory.create(tag="D-1")
    sheet = _judged(STOCK + b"drill;much;1;D-2;Main;A1\ndrill;9;1;d-2;Main;A1\n")
    told = {name: [sending.reason_of(each)["why"].code for each in sheet.answer[name]] for name in
            ("faults", "duplicates")}  # fmt: skip
    assert told == {"faults": ["drill_unreadable"], "duplicates": ["tag_taken", "tag_twice"]} or told == {
        "faults": ["length_unreadable"], "duplicates": ["tag_taken", "tag_twice"],
    }  # fmt: skip
    with pytest.raises(Refused) as refused:
        sending.apply(sheet, **ENTRY)
    assert refused.value.reason.code == "sheet_not_judged"
    assert Unit.objects.count() == 1


def test_rows_that_are_there_already_are_passed_over_when_told_so() -> None:
    UnitFactory.create(tag="D-1")
    sheet = _judged(leave_out=True)
    assert (sheet.answer["fault_count"], sheet.answer["left_out"]) == (0, 1)
    sending.apply(sheet, **ENTRY)
    assert sorted(Unit.objects.values_list("tag", flat=True)) == ["D-1", "D-2"]


def test_what_moved_between_looking_and_pressing_is_judged_anew_and_told() -> None:
    sheet = _judged()
    UnitFactory.create(tag="D-2")
    sending.apply(sheet, **ENTRY)
    sheet = sending.look(sheet.pk, as_of=NOW)
    assert sheet.state == "judged"
    assert [sending.reason_of(each)["why"] for each in sheet.answer["duplicates"]] == [Reason("tag_taken")]
    assert Unit.objects.count() == 1


def _everything() -> dict[str, int]:
    """How many rows every table of this house has, that of sent sheets aside."""
    told = (table for app in ("inventory", "repairs") for table in apps.get_app_config(app).get_models())
    return {table._meta.label: table._default_manager.count() for table in told if table is not SentSheet}


def test_neither_sending_nor_mapping_nor_judging_writes_a_row_of_any_other_table() -> None:
    UnitFactory.create(tag="D-1")
    before = _everything()
    assert before["inventory.Unit"] == 1
    sheet = _judged(STOCK.replace(b"D-1", b"D-9"))
    assert (sheet.answer["fault_count"], dict(sheet.answer["counts"])["units"]) == (0, 2)
    _judged()
    assert _everything() == before


def test_what_was_looked_at_in_one_window_does_not_come_in_by_the_columns_of_another() -> None:
    sheet = _judged(STOCK.replace(b"120;D-1", b"20;D-1"))
    seen = sending.judging_of(sheet)
    other = [name if name != "usable length" else "" for name in sheet.columns]
    sending.judge(sheet, columns=other, leave_out=False, **ENTRY)
    with pytest.raises(Refused) as refused:
        sending.apply(sheet, seen=seen, **ENTRY)
    assert refused.value.reason.code == "sheet_judged_anew"
    assert Unit.objects.count() == 0
    for _ in range(2):  # two windows that looked at the same
        sending.apply(sheet, seen=sending.judging_of(sending.look(sheet.pk, as_of=NOW)), **ENTRY)
    assert Unit.objects.count() == 2
    assert not Item.objects.exclude(usable_length=None).exists()


def test_where_a_sheet_would_bring_something_else_by_now_it_tells_so_before_it_brings_it() -> None:
    item = ItemFactory.create(kind="drill", number="DR-1", diameter=14_500_000)
    sheet = _judged(b"kind;number;tag;site;bin\ndrill;DR-1;D-1;Main;A1\n")
    assert sheet.answer["notes"] == []
    catalogue.retire_item(item, **ENTRY)
    sending.apply(sheet, **ENTRY)
    sheet = sending.look(sheet.pk, as_of=NOW)
    assert (sheet.state, sheet.answer["moved"], Unit.objects.count()) == ("judged", True, 0)
    (note,) = map(sending.reason_of, sheet.answer["notes"])
    assert "is no longer bought; what comes in of it is still used." in say(note)
    sending.apply(sheet, **ENTRY)
    assert (SentSheet.objects.get().state, Unit.objects.get().item) == ("applied", item)


def test_rows_that_came_in_by_another_hand_are_not_passed_over_unseen() -> None:
    sheet = _judged(leave_out=True)
    UnitFactory.create(tag="D-2")
    sending.apply(sheet, **ENTRY)
    sheet = sending.look(sheet.pk, as_of=NOW)
    assert (sheet.state, sheet.answer["left_out"], Unit.objects.count()) == ("judged", 1, 1)
    sending.apply(sheet, **ENTRY)
    assert Unit.objects.count() == 2


@pytest.mark.parametrize("tag", ["D\0-1", "much"])
def test_what_no_database_keeps_is_told_and_does_not_break_the_telling(tag: str) -> None:
    sheet = _judged(f"kind;diameter;tag;site;bin\ndrill;5\0;{tag};Main;A1\n".encode())
    assert (sheet.state, sheet.answer["fault_count"] > 0) == ("judged", True)


# What goes after a while


def test_what_was_never_taken_in_goes_after_thirty_days_and_what_was_stays_as_a_record() -> None:
    taken, old, young, broken = (_judged(STOCK.replace(b"D-", each)) for each in (b"A-", b"B-", b"C-", b"E-"))
    sending.apply(taken, **ENTRY)
    SentSheet.objects.filter(pk=broken.pk).update(state="applying", worker="elsewhere:1:x", seen_at=NOW)
    SentSheet.objects.filter(pk=young.pk).update(at=NOW + timedelta(days=2))
    later = NOW + sending.KEPT + timedelta(days=1)
    SentSheet.objects.filter(pk=old.pk).update(at=later - sending.KEPT)  # thirty days to the moment: it stays
    kept = sending.keep(name="new.csv", data=STOCK, by="Bram", as_of=later)
    there = set(SentSheet.objects.values_list("pk", flat=True))
    assert there == {taken.pk, old.pk, young.pk, kept.pk}, "and what a run left half-way is as old as any"
    SentSheet.objects.filter(pk=young.pk).update(at=NOW, state="applying", seen_at=later)
    last = sending.keep(name="new.csv", data=STOCK, by="Bram", as_of=later + timedelta(seconds=1))
    there = set(SentSheet.objects.values_list("pk", flat=True))
    assert there == {taken.pk, young.pk, kept.pk, last.pk}, "one that is being worked at stays"
    record = SentSheet.objects.get(pk=taken.pk)
    assert (record.state, bytes(record.content), record.answer["rows"]) == ("applied", b"", 2)
    assert Unit.objects.count() == 2


def test_a_sheet_that_went_meanwhile_is_told_so() -> None:
    sheet = _judged()
    SentSheet.objects.all().delete()
    for deed in (
        lambda: sending.apply(sheet, **ENTRY),
        lambda: sending.judge(sheet, columns=sheet.columns, leave_out=False, **ENTRY),
    ):
        with pytest.raises(Refused) as refused:
            deed()
        assert refused.value.reason.code == "sent_sheet_unknown"


def test_a_small_sheet_that_fails_in_the_request_is_not_left_as_being_read(monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = _kept()
    monkeypatch.setattr(sending, "judged", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        sending.judge(sheet, columns=sheet.columns, leave_out=False, **ENTRY)
    assert SentSheet.objects.get().state == "interrupted"


@pytest.mark.parametrize("worker", ["elsewhere:1:x", "this:999999999:x"])
def test_a_run_that_ended_without_a_word_is_told_as_interrupted_and_can_write_no_more(
    worker: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = _judged()
    monkeypatch.setattr("socket.gethostname", lambda: "this")
    heard = NOW if worker.startswith("this") else NOW - timedelta(hours=1)
    SentSheet.objects.update(state="applying", worker=worker, seen_at=heard)
    assert sending.look(sheet.pk, as_of=NOW).state == "interrupted"
    sending.work(sheet.pk, worker, **ENTRY)
    assert Unit.objects.count() == 0


def test_a_run_that_is_still_heard_of_is_left_alone() -> None:
    sheet = _judged()
    SentSheet.objects.update(state="applying", worker="elsewhere:1:x", seen_at=NOW - timedelta(seconds=30))
    assert sending.look(sheet.pk, as_of=NOW).state == "applying"


def test_a_run_whose_sheet_was_given_up_while_it_worked_writes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = _judged()
    taking = sending.take

    def slow(*args: Any, **how: Any) -> Any:
        SentSheet.objects.update(state="interrupted")
        return taking(*args, **how)

    monkeypatch.setattr(sending, "take", slow)
    sending.apply(sheet, **ENTRY)
    assert SentSheet.objects.get().state == "interrupted"
    assert Unit.objects.count() == Movement.objects.count() == 0


@pytest.mark.parametrize(
    ("how", "state"), [({"worksheet": "", "delimiter": ",", "encoding": "cp1252", "of": "stock"}, "sent")]
)
def test_a_sheet_may_be_read_in_another_way_and_its_columns_are_guessed_anew(how: Any, state: str) -> None:
    sheet = sending.read_otherwise(_kept(), **how)
    assert (sheet.state, len(sheet.columns), sheet.encoding) == (state, 1, "cp1252")


@pytest.mark.django_db(transaction=True)
def test_a_large_sheet_is_worked_at_beside_the_request_and_comes_in() -> None:
    rows = b"".join(b"drill,%d,80,D-%d,Main,A1\n" % (5 + n % 90, n) for n in range(sending.SMALL + 100))
    sheet = _kept(b"kind,diameter,usable length,tag,site,bin\n" + rows)
    for step in ("judge", "apply"):
        how = {"columns": sheet.columns, "leave_out": False} if step == "judge" else {}
        getattr(sending, step)(sheet, **how, by="Bram", as_of=datetime.now(UTC))
        for thread in threading.enumerate():
            if thread is not threading.current_thread() and thread.daemon and "_beside" in thread.name:
                thread.join(60)
    assert SentSheet.objects.get().state == "applied"
    assert Unit.objects.count() == sending.SMALL + 100
    assert stock.disagreements() == []


@pytest.mark.only_on("sqlite")
@pytest.mark.django_db(transaction=True)
def test_judging_holds_no_lock_so_that_others_write_meanwhile(monkeypatch: pytest.MonkeyPatch) -> None:
    from inventory.sheets import intake

    found = sending.judged(sending.table_of(_kept()), _kept().columns, "stock", NOW.date())
    wrote: list[str] = []
    judging = intake._Plan.judge

    def beside() -> None:
        try:
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA busy_timeout = 0")
            UnitFactory.create(tag="X-1")
            wrote.append("written")
        finally:
            connections.close_all()

    def judge(plan: Any, sheet: Any) -> None:
        if not wrote:
            other = threading.Thread(target=beside)
            other.start()
            other.join()
        judging(plan, sheet)

    monkeypatch.setattr(intake._Plan, "judge", judge)
    told = intake.take([found], apply=False, **ENTRY)
    assert (wrote, told.faults) == (["written"], [])
    # And the twin: under a lock the other would have been refused.
    wrote.clear()
    Unit.objects.filter(tag="X-1")
    with transaction.atomic():
        SentSheet.objects.update(doing="")
        other = threading.Thread(target=_refused_beside, args=(wrote,))
        other.start()
        other.join()
    assert wrote == ["database is locked"]


def _refused_beside(told: list[str]) -> None:
    try:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout = 0")
        SentSheet.objects.update(doing="x")
    except Exception as error:
        told.append(str(error))
    finally:
        connections.close_all()
