"""Acts on units and batches: one movement each, balances that agree, none below zero; the shelf as read."""

import os
import random
import sqlite3
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import override_settings
from django.test.utils import CaptureQueriesContext

from inventory import reservations, stock
from inventory.errors import Refused
from inventory.guards import act
from inventory.models import Batch, BatchHold, Item, LifeFactor, Movement, Reservation, Unit, UnitHold
from inventory.threads import read
from inventory.wording import say
from tests.factories import (
    BatchFactory,
    BinFactory,
    InsertFactory,
    ItemFactory,
    PersonFactory,
    SiteFactory,
    TapFactory,
    UnitFactory,
)

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[2]
MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DAY = timedelta(days=1)
WHO: dict[str, Any] = {"as_of": MONDAY, "by": "Storekeeper"}
M14, M16 = read("M14x1.5").thread.key, read("M16x1.5").thread.key


def _refusal(code: str, act: Any, **given: Any) -> Refused:
    with pytest.raises(Refused) as refused:
        act(**given)
    assert refused.value.reason.code == code
    assert stock.disagreements() == []
    return refused.value


def _hold(label: str, *, unit: Unit | None = None, batch: Batch | None = None, start: datetime = MONDAY,
          holes: int = 0, quantity: int = 1) -> None:  # fmt: skip
    reservations.reserve(
        label=label,
        unit_holds=[(unit.pk, start, start + DAY, holes)] if unit else [],
        batch_holds=[(batch.pk, quantity)] if batch else [],
        as_of=start,
        by="test",
    )


# Units


def test_a_unit_is_received_with_one_movement_and_a_repeated_request_changes_nothing() -> None:
    item, bin = TapFactory.create(), BinFactory.create()
    given = {"item": item, "tag": "T-1", "bin": bin, "holes_cut": 4, "request_key": "r1", **WHO}
    unit = stock.receive_unit(**given)
    assert stock.receive_unit(**given) == unit
    line = unit.movements.get()
    assert (line.act, line.quantity, line.holes, line.to_bin, line.at) == ("received", 1, 4, bin, MONDAY)
    _refusal("tag_taken", stock.receive_unit, **{**given, "request_key": None})
    _refusal(
        "item_is_counted",
        stock.receive_unit,
        **{**given, "item": InsertFactory.create(), "request_key": None},
    )
    _refusal("condition_not_at_hand", stock.receive_unit, **{**given, "condition": "lost"})
    _refusal("holes_negative", stock.receive_unit, **{**given, "holes_cut": -1})
    assert Movement.objects.count() == 1


def test_a_tag_is_one_tag_in_capitals_and_in_small_letters() -> None:
    unit, bin = UnitFactory.create(tag="N1"), BinFactory.create()
    refused = _refusal("tag_taken_in_other_letters", stock.receive_unit, item=unit.item, tag="n1", bin=bin, **WHO)
    assert refused.reason["tag"] == "N1"
    assert stock.unit_by_tag("n1") == unit
    with pytest.raises(Refused) as by_the_table, act():
        Unit.objects.create(item=unit.item, tag="n1", bin=bin)
    assert by_the_table.value.reason.code == "tag_taken"


@pytest.mark.only_on("sqlite")
def test_tags_alike_from_before_are_named_when_the_table_is_to_refuse_them(tmp_path: Path) -> None:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("THREADCRIB_", "DJANGO_"))}

    def migrate(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "manage.py", "migrate", "-v0", "inventory", *words],
            cwd=ROOT,
            env=kept | {"THREADCRIB_DATA": str(tmp_path)},
            capture_output=True,
            text=True,
        )

    assert migrate("0002").returncode == 0
    with sqlite3.connect(tmp_path / "threadcrib.sqlite3") as database:
        columns = [(name, must) for _, name, _, must, *_ in database.execute("PRAGMA table_info(inventory_item)")]
        item = {name: "" if must else None for name, must in columns} | {"id": 1, "kind": "drill"}
        names, marks = ", ".join(item), ", ".join("?" * len(item))
        database.execute(f"INSERT INTO inventory_item ({names}) VALUES ({marks})", [*item.values()])
        database.execute("INSERT INTO inventory_site (id, name) VALUES (1, 'Main')")
        database.execute("INSERT INTO inventory_bin (id, site_id, name, walk) VALUES (1, 1, 'A1', 1)")
        database.executemany(
            "INSERT INTO inventory_unit (item_id, bin_id, tag, condition, holes_cut, away_why, away_with, issued_to) "
            "VALUES (1, 1, ?, 'new', 0, '', '', '')",
            [("N1",), ("n1",), ("N2",)],
        )
    database.close()
    refused = migrate()
    assert refused.returncode == 2
    assert "N1 and n1" in refused.stderr
    assert "N2" not in refused.stderr
    assert "Traceback" not in refused.stderr
    with sqlite3.connect(tmp_path / "threadcrib.sqlite3") as database:
        database.execute("UPDATE inventory_unit SET tag = 'N3' WHERE tag = 'n1'")
    database.close()
    assert migrate().returncode == 0


def test_a_unit_whose_life_is_used_up_is_due_for_regrind_however_it_comes() -> None:
    tap = TapFactory.create(life=40)
    assert UnitFactory.create(item=tap, holes_cut=39).condition == "new"
    assert UnitFactory.create(item=tap, holes_cut=40).condition == "due_regrind"
    lent = UnitFactory.create(item=tap, holes_cut=30)
    stock.lend_unit(unit=lent, to=PersonFactory.create(), until=None, **WHO)
    stock.return_unit(unit=lent, holes=10, **WHO)
    lent.refresh_from_db()
    assert (lent.condition, lent.holes_cut) == ("due_regrind", 40)
    assert stock.disagreements() == []


def test_a_request_that_is_repeated_is_answered_by_every_act_with_its_first_movement() -> None:
    unit, batch, person = UnitFactory.create(), BatchFactory.create(quantity=10), PersonFactory.create()
    why = {"reason": "count"}
    acts: list[tuple[Any, dict[str, Any]]] = [
        (stock.lend_unit, {"unit": unit, "to": person, "until": None}),
        (stock.return_unit, {"unit": unit}),
        (stock.send_unit, {"unit": unit, "why": "regrind"}),
        (stock.return_unit, {"unit": unit, "holes": 1}),
        (stock.issue_unit, {"unit": unit, "label": "J-1"}),
        (stock.use_unit, {"unit": unit, "holes": 2}),
        (stock.give_back_unit, {"unit": unit}),
        (stock.move_unit, {"unit": unit, "bin": BinFactory.create()}),
        (stock.calibrate_unit, {"unit": unit, "due": date(2027, 1, 1)}),
        (stock.lose_unit, {"unit": unit, **why}),
        (stock.issue_batch, {"batch": batch, "quantity": 3, "label": "J-1"}),
        (stock.give_back_batch, {"batch": batch, "quantity": 2, "label": "J-1"}),
        (stock.adjust_batch, {"batch": batch, "found": 8, **why}),
        (stock.scrap_batch, {"batch": batch, "quantity": 1, **why}),
    ]
    for number, (deed, given) in enumerate(acts):
        first = deed(**given, **WHO, request_key=f"r{number}")
        assert deed(**given, **WHO, request_key=f"r{number}") == first, deed.__name__
    batch.refresh_from_db()
    assert (batch.on_hand, Movement.objects.exclude(request_key=None).count()) == (7, len(acts))
    assert stock.disagreements() == []


def test_a_key_that_received_a_batch_receives_no_unit() -> None:
    BatchFactory.create(request_key="r1")
    _refusal(
        "movement_request_key_taken",
        stock.receive_unit,
        **{"item": TapFactory.create(), "tag": "T-1", "bin": BinFactory.create(), "request_key": "r1", **WHO},
    )


def test_a_key_of_another_act_or_of_another_thing_moves_nothing() -> None:
    unit, other, batch = UnitFactory.create(), UnitFactory.create(), BatchFactory.create()
    stock.use_unit(unit=unit, holes=2, request_key="r1", **WHO)
    before = Movement.objects.count()
    for deed, given in (
        (stock.use_unit, {"unit": other, "holes": 2}),
        (stock.give_back_unit, {"unit": unit}),
        (stock.scrap_batch, {"batch": batch, "quantity": 1, "reason": "wet"}),
    ):
        _refusal("movement_request_key_taken", deed, **given, request_key="r1", **WHO)
    assert Movement.objects.count() == before


def test_a_naive_moment_is_a_mistake_in_the_program() -> None:
    with pytest.raises(ValueError, match="aware"):
        UnitFactory.create(as_of=datetime(2026, 3, 2))  # noqa: DTZ001


def test_a_loan_says_who_has_it_until_when_and_ends_with_its_return() -> None:
    unit, person = UnitFactory.create(), PersonFactory.create(name="A. Fitter")
    stock.lend_unit(unit=unit, to=person, until=date(2026, 3, 6), **WHO)
    unit.refresh_from_db()
    assert (unit.condition, unit.away_why, unit.away_until, unit.away_with, unit.borrower) == (
        "away", "loan", date(2026, 3, 6), "A. Fitter", person,
    )  # fmt: skip
    assert list(person.borrowed.all()) == [unit]
    refused = _refusal("unit_away", stock.lend_unit, unit=unit, to=person, until=None, **WHO)
    assert refused.reason["until"] == date(2026, 3, 6)
    stock.return_unit(unit=unit, holes=3, **WHO)
    unit.refresh_from_db()
    assert (unit.condition, unit.away_with, unit.borrower, unit.holes_cut) == ("serviceable", "", None, 3)
    assert [line.act for line in unit.movements.all()] == ["received", "lent", "returned"]
    assert sum(line.quantity for line in unit.movements.all()) == 1
    _refusal("unit_not_away", stock.return_unit, unit=unit, **WHO)


def test_a_regrind_gives_a_new_life_and_a_calibration_a_new_date() -> None:
    tap = UnitFactory.create(item=TapFactory.create(), holes_cut=38, condition="due_regrind")
    stock.send_unit(unit=tap, why="regrind", to="Grinder & Son", **WHO)
    stock.return_unit(unit=tap, **WHO)
    tap.refresh_from_db()
    assert (tap.holes_cut, tap.condition) == (0, "serviceable")
    gauge = UnitFactory.create(item=ItemFactory.create(kind="indicator"), calibration_due=date(2026, 2, 1))
    stock.send_unit(unit=gauge, why="calibration", to="Gauge house", until=date(2026, 3, 20), **WHO)
    stock.return_unit(unit=gauge, calibration_due=date(2027, 3, 20), **WHO)
    gauge.refresh_from_db()
    assert gauge.calibration_due == date(2027, 3, 20)
    _refusal("away_why_unknown", stock.send_unit, unit=gauge, why="holiday", **WHO)
    assert stock.disagreements() == []


def test_a_tool_that_came_back_from_regrind_untouched_keeps_its_holes() -> None:
    tap = UnitFactory.create(item=TapFactory.create(), holes_cut=38)
    stock.send_unit(unit=tap, why="regrind", **WHO)
    stock.return_unit(unit=tap, reground=False, condition="due_regrind", **WHO)
    tap.refresh_from_db()
    assert (tap.holes_cut, tap.condition) == (38, "due_regrind")


def test_a_unit_is_issued_to_a_job_and_given_back_with_its_holes() -> None:
    tap = UnitFactory.create(item=TapFactory.create(life=10))
    _hold("J-1", unit=tap, holes=4)
    refused = _refusal("unit_held", stock.issue_unit, unit=tap, label="J-2", **WHO)
    assert refused.reason["label"] == "J-1"
    stock.issue_unit(unit=tap, label="J-1", **WHO)
    _refusal("unit_issued", stock.lend_unit, unit=tap, to=PersonFactory.create(), until=None, **WHO)
    stock.give_back_unit(unit=tap, holes=3, **WHO)
    tap.refresh_from_db()
    assert (tap.issued_to, tap.holes_cut, tap.holds.get().holes) == ("", 3, 1)
    _refusal("unit_not_issued", stock.give_back_unit, unit=tap, **WHO)
    _refusal("label_missing", stock.issue_unit, unit=tap, label="", **WHO)


def test_holes_beyond_the_life_are_recorded_and_the_tool_is_due_for_regrind() -> None:
    tap = UnitFactory.create(item=TapFactory.create(life=5), holes_cut=3)
    stock.use_unit(unit=tap, holes=4, label="J-1", **WHO)
    tap.refresh_from_db()
    assert (tap.holes_cut, tap.condition) == (7, "due_regrind")
    _refusal("quantity_not_positive", stock.use_unit, unit=tap, holes=0, **WHO)


@pytest.mark.parametrize(("act", "condition"), [(stock.scrap_unit, "retired"), (stock.lose_unit, "lost")])
def test_what_is_broken_or_lost_cuts_every_hold_on_it_short(act: Any, condition: str) -> None:
    tap = UnitFactory.create(item=TapFactory.create())
    _hold("J-1", unit=tap)
    _hold("J-2", unit=tap, start=MONDAY + 7 * DAY)
    _refusal("reason_missing", act, unit=tap, reason="", **WHO)
    act(unit=tap, reason="snapped in the hole", **WHO)
    tap.refresh_from_db()
    assert tap.condition == condition
    assert set(UnitHold.objects.values_list("active", "shorted")) == {(False, True)}
    _refusal("unit_gone", stock.use_unit, unit=tap, holes=1, **WHO)
    assert sum(line.quantity for line in tap.movements.all()) == 0


def test_a_unit_that_is_lost_while_on_loan_leaves_its_bin_once() -> None:
    unit = UnitFactory.create()
    stock.lend_unit(unit=unit, to=PersonFactory.create(), until=None, **WHO)
    stock.lose_unit(unit=unit, reason="never came back", **WHO)
    assert [line.quantity for line in unit.movements.all()] == [1, -1, 0]
    assert stock.disagreements() == []


def test_a_unit_that_somebody_keeps_is_not_lent_beyond_that(as_of: datetime) -> None:
    unit, to = UnitFactory.create(tag="T-1"), PersonFactory.create()
    _hold("J-1", unit=unit, start=MONDAY + 3 * DAY)  # from Thursday the 5th on
    for until in (None, date(2026, 3, 5), date(2026, 4, 1)):
        refused = _refusal("unit_held_meanwhile", stock.lend_unit, unit=unit, to=to, until=until, **WHO)
        assert refused.reason["label"] == "J-1"
    stock.lend_unit(unit=unit, to=to, until=date(2026, 3, 4), **WHO)
    assert unit.holds.get().active


def test_what_goes_to_regrind_is_kept_no_more_for_whoever_needs_it_before_it_is_back() -> None:
    unit = UnitFactory.create()
    _hold("J-1", unit=unit, start=MONDAY + 3 * DAY)
    _hold("J-2", unit=unit, start=MONDAY + 9 * DAY)
    stock.send_unit(unit=unit, why="regrind", to="Grinder & Son", until=date(2026, 3, 10), **WHO)
    held = UnitHold.objects.order_by("start").values_list("reservation__label", "active", "shorted")
    assert list(held) == [("J-1", False, True), ("J-2", True, False)]
    assert unit.movements.get(act="sent").reason == "regrind, Grinder & Son"


def test_a_gauge_out_of_calibration_is_lent_to_nobody() -> None:
    gauge = UnitFactory.create(item=ItemFactory.create(kind="indicator"), calibration_due=date(2026, 3, 1))
    _refusal("unit_calibration_overdue", stock.lend_unit, unit=gauge, to=PersonFactory.create(), until=None, **WHO)


@pytest.mark.parametrize("condition", ["new", "serviceable", "due_regrind"])
def test_what_comes_back_from_a_loan_is_as_it_went_where_nobody_says_more(condition: str) -> None:
    unit = UnitFactory.create(condition=condition)
    stock.lend_unit(unit=unit, to=PersonFactory.create(), until=None, **WHO)
    stock.return_unit(unit=unit, **WHO)
    unit.refresh_from_db()
    assert unit.condition == condition


def test_what_is_due_for_regrind_is_not_handed_out() -> None:
    blunt = UnitFactory.create(condition="due_regrind")
    _refusal("unit_due_regrind", stock.issue_unit, unit=blunt, label="J-1", **WHO)


@pytest.mark.parametrize("gone", ["lost", "lent"])
def test_what_was_blunt_when_it_went_is_blunt_when_it_is_found(gone: str) -> None:
    blunt, sharp = UnitFactory.create(condition="due_regrind"), UnitFactory.create(condition="serviceable")
    for unit in (blunt, sharp):
        if gone == "lost":
            stock.lose_unit(unit=unit, reason="not in its bin", **WHO)
        else:
            stock.lend_unit(unit=unit, to=PersonFactory.create(), until=None, **WHO)
        unit.refresh_from_db()
        stock.find_unit(unit=unit, bin=unit.bin, reason="behind the drawer", **WHO)
        unit.refresh_from_db()
    assert (blunt.condition, sharp.condition) == ("due_regrind", "serviceable")
    assert stock.disagreements() == []


def test_holes_that_were_booked_wrong_are_put_right_with_a_reason() -> None:
    tap = UnitFactory.create(tag="T-1", item=TapFactory.create(life=40))
    stock.use_unit(unit=tap, holes=400, **WHO)
    tap.refresh_from_db()
    assert tap.condition == "due_regrind"
    _refusal("reason_missing", stock.adjust_unit, unit=tap, holes=4, reason="", **WHO)
    _refusal("holes_negative", stock.adjust_unit, unit=tap, holes=-1, reason="slip", **WHO)
    _refusal("holes_negative", stock.adjust_unit, unit=tap, holes=4, used=-1, reason="slip", **WHO)
    put = stock.adjust_unit(unit=tap, holes=4, used=6, condition="serviceable", reason="4, not 400", **WHO)
    tap.refresh_from_db()
    assert (put.act, put.holes, put.extra_wear, put.condition) == ("adjusted", -396, 2, "serviceable")
    assert (tap.holes_cut, tap.life_used, tap.condition) == (4, 6, "serviceable")
    stock.adjust_unit(unit=tap, holes=50, reason="counted anew", **WHO)
    tap.refresh_from_db()
    assert (tap.holes_cut, tap.extra_wear, tap.condition) == (50, 0, "due_regrind")
    stock.lend_unit(unit=tap, to=PersonFactory.create(), until=None, **WHO)
    _refusal("unit_away", stock.adjust_unit, unit=tap, holes=4, reason="slip", **WHO)


# Wear, regrinds, calibration, bins


def test_holes_take_more_of_a_life_in_a_hard_metal_rounded_up_and_less_in_a_soft_one() -> None:
    item = TapFactory.create(life=20)
    for material, percent in (("stainless", 150), ("aluminium", 50)):
        LifeFactor.objects.create(item=item, material=material, percent=percent)
    tap = UnitFactory.create(item=item)
    _hold("J-1", unit=tap, holes=8)
    stock.issue_unit(unit=tap, label="J-1", **WHO)
    movement = stock.use_unit(unit=tap, holes=3, label="J-1", material="stainless", **WHO)  # 4.5, so 5
    assert (movement.holes, movement.extra_wear) == (3, 2)
    tap.refresh_from_db()
    assert (tap.holes_cut, tap.extra_wear, tap.life_used, tap.holds.get().holes) == (3, 2, 5, 3)
    movement = stock.give_back_unit(unit=tap, holes=5, material="aluminium", **WHO)  # 2.5, so 7 with those
    assert (movement.holes, movement.extra_wear) == (5, -3)
    assert stock.use_unit(unit=tap, holes=1, material="unheard of", **WHO).extra_wear == 0
    tap.refresh_from_db()
    assert (tap.holes_cut, tap.extra_wear, tap.condition) == (9, -1, "new")
    assert stock.lines(kinds=["tap"], threads=[M16])[0].life_left == 20 - 8 - 1  # a hole that J-1 still keeps
    stock.use_unit(unit=tap, holes=9, material="stainless", **WHO)  # 13.5 of the 12 that are left
    tap.refresh_from_db()
    assert (tap.life_used, tap.condition) == (22, "due_regrind")
    assert stock.lines(kinds=["tap"], threads=[M16])[0].life_left == -3
    assert stock.disagreements() == []


def test_wear_is_part_of_the_life_that_a_reservation_looks_at() -> None:
    tap = UnitFactory.create(item=TapFactory.create(life=10))
    LifeFactor.objects.create(item=tap.item, material="stainless", percent=200)
    stock.use_unit(unit=tap, holes=4, material="stainless", **WHO)
    _refusal("life_short", reservations.reserve, label="J-1", unit_holds=[(tap.pk, MONDAY, MONDAY + DAY, 3)], **WHO)
    _hold("J-1", unit=tap, holes=2)


def test_a_regrind_counts_and_may_change_the_diameter_until_there_are_no_more() -> None:
    drill = UnitFactory.create(item=ItemFactory.create(diameter=14_500_000, life=10, most_regrinds=2))
    LifeFactor.objects.create(item=drill.item, material="stainless", percent=200)
    stock.use_unit(unit=drill, holes=5, material="stainless", **WHO)
    stock.send_unit(unit=drill, why="regrind", **WHO)
    _refusal("diameter_grew", stock.return_unit, unit=drill, diameter=14_500_001, **WHO)
    _refusal("unit_diameter_positive", stock.return_unit, unit=drill, diameter=0, **WHO)
    _refusal("diameter_not_reground", stock.return_unit, unit=drill, diameter=14_400_000, reground=False, **WHO)
    movement = stock.return_unit(unit=drill, diameter=14_400_000, **WHO)
    assert (movement.holes, movement.extra_wear, movement.regrinds, movement.diameter) == (-5, -5, 1, 14_400_000)
    drill.refresh_from_db()
    assert (drill.regrinds, drill.own_diameter, drill.life_used, drill.condition) == (1, 14_400_000, 0, "serviceable")
    stock.send_unit(unit=drill, why="regrind", **WHO)
    stock.return_unit(unit=drill, **WHO)
    drill.refresh_from_db()
    assert (drill.regrinds, drill.own_diameter) == (2, 14_400_000), "without a new one it stays"
    refused = _refusal("regrinds_used_up", stock.send_unit, unit=drill, why="regrind", **WHO)
    assert (refused.reason["regrinds"], refused.reason["most"]) == (2, 2)
    stock.scrap_unit(unit=drill, reason="ground down", **WHO)
    assert stock.disagreements() == []


def test_one_that_was_sent_before_the_most_regrinds_were_lowered_comes_back_untouched_or_is_scrapped() -> None:
    drill = UnitFactory.create(item=ItemFactory.create(most_regrinds=1))
    stock.send_unit(unit=drill, why="regrind", **WHO)
    Item.objects.filter(pk=drill.item.pk).update(most_regrinds=0)
    _refusal("regrinds_used_up", stock.return_unit, unit=drill, **WHO)
    stock.return_unit(unit=drill, reground=False, **WHO)
    drill.refresh_from_db()
    assert drill.regrinds == 0


def test_a_calibration_is_good_until_a_day_or_for_the_interval_of_its_item_from_the_shops_day() -> None:
    gauge = UnitFactory.create(item=ItemFactory.create(kind="indicator", calibration_days=365))
    late = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    with override_settings(SHOP_ZONE=ZoneInfo("Europe/Berlin")):  # where it is the third already
        movement = stock.calibrate_unit(unit=gauge, certificate="C-17", as_of=late, by="Ida")
    assert (movement.act, movement.quantity, movement.reason) == ("calibrated", 0, "C-17")
    gauge.refresh_from_db()
    assert (gauge.calibration_due, gauge.certificate) == (date(2027, 3, 3), "C-17")
    stock.calibrate_unit(unit=gauge, due=date(2026, 9, 1), **WHO)
    gauge.refresh_from_db()
    assert (gauge.calibration_due, gauge.certificate) == (date(2026, 9, 1), ""), "the old one says nothing of this"
    _refusal("day_is_over", stock.calibrate_unit, unit=gauge, due=date(2026, 3, 1), **WHO)
    other = UnitFactory.create(item=ItemFactory.create(kind="depth_gauge"))
    _refusal("calibration_due_missing", stock.calibrate_unit, unit=other, **WHO)
    stock.send_unit(unit=other, why="calibration", **WHO)
    _refusal("unit_away", stock.calibrate_unit, unit=other, due=date(2027, 1, 1), **WHO)
    stock.return_unit(unit=other, calibration_due=date(2027, 1, 1), certificate="C-18", **WHO)
    other.refresh_from_db()
    assert (other.calibration_due, other.certificate) == (date(2027, 1, 1), "C-18")
    assert stock.disagreements() == []


def test_a_unit_whose_calibration_is_over_is_not_issued_from_the_day_after() -> None:
    gauge = UnitFactory.create(item=ItemFactory.create(kind="indicator"), calibration_due=date(2026, 3, 2))
    stock.issue_unit(unit=gauge, label="J-1", **WHO)  # the last good day is good
    stock.give_back_unit(unit=gauge, **WHO)
    next_day = {"as_of": MONDAY + DAY, "by": "Ida"}
    refused = _refusal("unit_calibration_overdue", stock.issue_unit, unit=gauge, label="J-1", **next_day)
    assert "2026-03-02" in say(refused.reason)


def test_a_unit_of_which_no_calibration_is_on_record_is_issued_only_where_somebody_signs_for_it() -> None:
    unchecked = UnitFactory.create(item=ItemFactory.create(kind="indicator"))
    refused = _refusal("unit_calibration_missing", stock.issue_unit, unit=unchecked, label="J-1", **WHO)
    assert unchecked.tag in say(refused.reason)
    signed = stock.issue_unit(unit=unchecked, label="J-1", signed="Ada Quill: new, its certificate is to come", **WHO)
    assert signed.reason == "Ada Quill: new, its certificate is to come"
    drill, dated = UnitFactory.create(), UnitFactory.create(item=unchecked.item, calibration_due=date(2026, 9, 1))
    for unit in (drill, dated):
        assert stock.issue_unit(unit=unit, label="J-1", signed="nobody asked", **WHO).reason == ""


def test_what_is_gone_is_not_issued_calibrated_or_moved() -> None:
    for end in (stock.scrap_unit, stock.lose_unit):
        unit = UnitFactory.create(item=ItemFactory.create(kind="indicator"))
        end(unit=unit, reason="dropped", **WHO)
        _refusal("unit_gone", stock.issue_unit, unit=unit, label="J-1", **WHO)
        _refusal("unit_gone", stock.calibrate_unit, unit=unit, due=date(2027, 1, 1), **WHO)
        _refusal("unit_gone", stock.move_unit, unit=unit, bin=BinFactory.create(), **WHO)


def test_a_unit_is_moved_into_another_bin_with_its_holds() -> None:
    unit, there = UnitFactory.create(), BinFactory.create()
    here = unit.bin
    _hold("J-1", unit=unit)
    movement = stock.move_unit(unit=unit, bin=there, **WHO)
    assert (movement.act, movement.quantity, movement.from_bin, movement.to_bin) == ("moved", 0, here, there)
    unit.refresh_from_db()
    assert (unit.bin, unit.holds.get().active) == (there, True)
    _refusal("already_in_bin", stock.move_unit, unit=unit, bin=there, **WHO)
    stock.issue_unit(unit=unit, label="J-1", **WHO)
    _refusal("unit_issued", stock.move_unit, unit=unit, bin=here, **WHO)


def test_a_tag_leads_to_its_unit() -> None:
    unit = UnitFactory.create(tag="T-7")
    assert stock.unit_by_tag("T-7") == unit
    _refusal("tag_unknown", stock.unit_by_tag, tag="T-8")


def test_a_bin_brings_its_site_and_a_site_is_found_by_name() -> None:
    first = stock.add_bin(site="Yard", name="Y1", walk=3)
    stock.add_bin(site="Main", name="Y1")
    assert stock.site("Yard") == first.site
    assert stock.site_names() == ["Main", "Yard"]
    _refusal("bin_name_taken", stock.add_bin, site="Yard", name="Y1")
    refused = _refusal("site_unknown", stock.site, name="Barn")
    assert refused.reason["known"] == ("Main", "Yard")


def test_a_badge_belongs_to_one_person_and_nobody_needs_one() -> None:
    stock.add_person(name="A. Fitter", badge="17")
    stock.add_person(name="A. Fitter")
    stock.add_person(name="B. Fitter", badge="")
    _refusal("badge_taken", stock.add_person, name="C. Fitter", badge="17")


# Batches


def test_more_of_a_lot_grows_its_batch_and_other_dates_need_another_lot() -> None:
    batch = BatchFactory.create(quantity=10, lot="L1", expires=date(2027, 1, 1))
    again = stock.receive_batch(
        item=batch.item, bin=batch.bin, lot="L1", quantity=5, expires=date(2027, 1, 1), request_key="r", **WHO
    )
    assert (again.pk, again.on_hand) == (batch.pk, 15)
    repeated = stock.receive_batch(
        item=batch.item, bin=batch.bin, lot="L1", quantity=5, expires=date(2027, 1, 1), request_key="r", **WHO
    )
    assert repeated.on_hand == 15
    given = {"item": batch.item, "bin": batch.bin, "lot": "L1", **WHO}
    _refusal("batch_dates_differ", stock.receive_batch, quantity=5, **given)
    _refusal("quantity_not_positive", stock.receive_batch, quantity=0, **given)
    _refusal("item_is_tagged", stock.receive_batch, quantity=1, **{**given, "item": ItemFactory.create()})
    _refusal(
        "batch_packed_before_expiry",
        stock.receive_batch,
        quantity=1,
        packed=date(2026, 2, 2),
        expires=date(2026, 2, 1),
        **{**given, "lot": "L2"},
    )


def test_what_is_held_for_another_cannot_be_issued() -> None:
    batch = BatchFactory.create(quantity=10)
    _hold("J-1", batch=batch, quantity=8)
    refused = _refusal("batch_short", stock.issue_batch, batch=batch, quantity=3, label="J-2", **WHO)
    assert (refused.reason["available"], refused.reason["needed"], refused.reason["held"]) == (2, 3, 8)
    stock.issue_batch(batch=batch, quantity=2, label="J-2", **WHO)
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held) == (8, 8)


def test_a_job_is_issued_first_what_is_held_for_it_and_then_what_is_free() -> None:
    batch = BatchFactory.create(quantity=10)
    _hold("J-1", batch=batch, quantity=4)
    _hold("J-2", batch=batch, quantity=3)
    stock.issue_batch(batch=batch, quantity=1, label="J-1", **WHO)
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held) == (9, 6)
    _refusal("batch_short", stock.issue_batch, batch=batch, quantity=7, label="J-1", **WHO)
    stock.issue_batch(batch=batch, quantity=6, label="J-1", **WHO)
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held) == (3, 3)
    hold = BatchHold.objects.get(reservation__label="J-1")
    assert (hold.quantity, hold.issued, hold.kept, hold.active) == (4, 4, 0, True)
    assert stock.disagreements() == []


def test_no_more_is_given_back_than_was_issued() -> None:
    batch = BatchFactory.create(quantity=10)
    stock.issue_batch(batch=batch, quantity=4, label="J-1", **WHO)
    stock.give_back_batch(batch=batch, quantity=3, label="J-1", **WHO)
    refused = _refusal("gives_back_too_much", stock.give_back_batch, batch=batch, quantity=2, label="J-1", **WHO)
    assert refused.reason["issued"] == 1
    batch.refresh_from_db()
    assert batch.on_hand == 9


def test_a_loss_is_always_recorded_and_shorts_the_holds_that_start_last() -> None:
    batch = BatchFactory.create(quantity=10)
    for label, start, quantity in (
        ("J-1", MONDAY, 4),
        ("J-3", MONDAY + 7 * DAY, 3),
        ("J-2", MONDAY + DAY, 3),
    ):
        _hold(label, batch=batch, start=start, quantity=quantity)
    stock.adjust_batch(batch=batch, found=5, reason="count", **WHO)
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held) == (5, 5)
    holds = BatchHold.objects.order_by("start").values_list("reservation__label", "quantity", "short", "active")
    assert list(holds) == [("J-1", 4, 0, True), ("J-2", 3, 2, True), ("J-3", 3, 3, False)]
    assert stock.disagreements() == []
    stock.adjust_batch(batch=batch, found=12, reason="found behind the shelf", **WHO)
    batch.refresh_from_db()
    assert (batch.on_hand, batch.held) == (12, 5)


def test_more_cannot_be_scrapped_than_is_there() -> None:
    batch = BatchFactory.create(quantity=10)
    refused = _refusal("quantity_negative", stock.scrap_batch, batch=batch, quantity=11, reason="rust", **WHO)
    assert (refused.reason["on_hand"], refused.reason["quantity"]) == (10, -1)
    stock.scrap_batch(batch=batch, quantity=10, reason="rust", **WHO)
    batch.refresh_from_db()
    assert batch.on_hand == 0
    _refusal("reason_missing", stock.adjust_batch, batch=batch, found=1, reason="", **WHO)


def test_what_is_free_of_a_batch_is_moved_and_what_is_held_stays() -> None:
    batch = BatchFactory.create(quantity=10, lot="L1", expires=date(2027, 1, 1))
    there = BinFactory.create()
    _hold("J-1", batch=batch, quantity=4)
    refused = _refusal("batch_short", stock.move_batch, batch=batch, quantity=7, bin=there, **WHO)
    assert refused.reason["available"] == 6
    assert not Batch.objects.filter(bin=there).exists(), "a refused move leaves no empty batch behind"
    movement = stock.move_batch(batch=batch, quantity=2, bin=there, request_key="r1", reason="nearer", **WHO)
    assert stock.move_batch(batch=batch, quantity=2, bin=there, request_key="r1", reason="nearer", **WHO) == movement
    stock.move_batch(batch=batch, quantity=4, bin=there, **WHO)
    batch.refresh_from_db()
    moved = stock.batch_of(item=batch.item, bin=there, lot="L1")
    assert (batch.on_hand, batch.held, moved.on_hand, moved.expires) == (4, 4, 6, date(2027, 1, 1))
    lines = Movement.objects.filter(act="moved").values_list("batch", "quantity", "request_key", "reason")
    assert list(lines) == [
        (batch.pk, -2, "r1", "nearer"), (moved.pk, 2, None, "nearer"),
        (batch.pk, -4, None, ""), (moved.pk, 4, None, ""),
    ]  # fmt: skip
    _refusal("already_in_bin", stock.move_batch, batch=batch, quantity=1, bin=batch.bin, **WHO)
    _refusal("quantity_not_positive", stock.move_batch, batch=batch, quantity=0, bin=there, **WHO)
    _refusal("movement_request_key_taken", stock.move_batch, batch=moved, quantity=1, bin=batch.bin,
             request_key="r1", **WHO)  # fmt: skip


def test_a_lot_does_not_move_to_one_of_its_name_with_other_dates() -> None:
    batch = BatchFactory.create(lot="L1", expires=date(2027, 1, 1))
    other = BatchFactory.create(item=batch.item, lot="L1", expires=date(2027, 6, 1))
    _refusal("batch_dates_differ", stock.move_batch, batch=batch, quantity=1, bin=other.bin, **WHO)


def test_what_has_expired_is_not_issued_from_the_day_after_but_may_be_moved_and_scrapped() -> None:
    batch = BatchFactory.create(lot="L1", expires=date(2026, 3, 2))
    stock.issue_batch(batch=batch, quantity=1, label="J-1", **WHO)  # the last good day is good
    next_day = {"as_of": MONDAY + DAY, "by": "Ida"}
    refused = _refusal("batch_expired", stock.issue_batch, batch=batch, quantity=1, label="J-1", **next_day)
    assert "lot L1 was good until 2026-03-02" in say(refused.reason)
    stock.give_back_batch(batch=batch, quantity=1, label="J-1", **next_day)
    stock.move_batch(batch=batch, quantity=4, bin=BinFactory.create(), **next_day)
    stock.scrap_batch(batch=batch, quantity=6, reason="expired", **next_day)
    assert stock.disagreements() == []


# Does it all agree?


def test_check_ledger_says_so_when_all_agrees(capsys: pytest.CaptureFixture[str]) -> None:
    UnitFactory.create()
    BatchFactory.create()
    call_command("check_ledger")
    assert capsys.readouterr().out == "Balances and ledger agree.\n"


def test_check_ledger_names_every_place_that_does_not_agree(capsys: pytest.CaptureFixture[str]) -> None:
    tap = UnitFactory.create(tag="T-1", item=TapFactory.create())
    batch = BatchFactory.create(quantity=10, lot="L1")
    Unit.objects.create(tag="T-2", item=tap.item, bin=tap.bin)
    Unit.objects.filter(pk=tap.pk).update(holes_cut=9, issued_to="J-1")
    Batch.objects.filter(pk=batch.pk).update(on_hand=11, held=1)
    with pytest.raises(CommandError, match="6 places"):
        call_command("check_ledger")
    told = capsys.readouterr().out
    for part in (
        "T-1: by the ledger 1 in its bin, by the unit 0.",
        "T-1: not in one hand; by the unit issued to J-1.",
        "T-1: by the ledger 0 holes cut, by the unit 9.",
        "T-2: the ledger knows nothing of this unit.",
        f"lot L1 in {batch.bin.name}: by the ledger 10 on hand, by the batch 11.",
        f"lot L1 in {batch.bin.name}: its active holds come to 0, by the batch it is 1.",
    ):
        assert part in told


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ({"extra_wear": 2}, "T-1: by the ledger 0 holes of extra wear, by the unit 2."),
        ({"regrinds": 2}, "T-1: by the ledger reground 1 time, by the unit 2."),
        (
            {"own_diameter": 14_300_000},
            "T-1: its own diameter is not what the ledger says; by the ledger 14.4 mm (0.5669 in); "
            "by the unit 14.3 mm (0.5630 in).",
        ),
        (
            {"own_diameter": None},
            "T-1: its own diameter is not what the ledger says; by the ledger 14.4 mm (0.5669 in).",
        ),
        (
            {"calibration_due": date(2027, 1, 31)},
            "T-1: by the ledger its calibration is good until 2026-12-31, by the unit until 2027-01-31.",
        ),
        ({"calibration_due": None}, "T-1: by the ledger its calibration is good until 2026-12-31."),
        ({"condition": "due_regrind"}, "T-1: by the ledger it is serviceable, by the unit due for regrind."),
    ],
)
def test_check_ledger_names_wear_regrinds_diameter_and_calibration_that_no_movement_made(
    broken: dict[str, Any], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    drill = UnitFactory.create(tag="T-1")
    stock.send_unit(unit=drill, why="regrind", **WHO)
    stock.return_unit(unit=drill, diameter=14_400_000, calibration_due=date(2026, 12, 31), **WHO)
    call_command("check_ledger")
    Unit.objects.filter(pk=drill.pk).update(**broken)
    with pytest.raises(CommandError, match="1 place"):
        call_command("check_ledger")
    assert told in capsys.readouterr().out


def test_check_ledger_names_a_bin_or_a_hand_that_no_movement_led_to(capsys: pytest.CaptureFixture[str]) -> None:
    unit, batch, other = UnitFactory.create(tag="T-1"), BatchFactory.create(lot="L1"), BinFactory.create(name="Z9")
    stock.issue_unit(unit=unit, label="J-1", **WHO)
    stock.move_batch(batch=batch, quantity=4, bin=BinFactory.create(), **WHO)
    assert stock.disagreements() == []
    Unit.objects.filter(pk=unit.pk).update(bin=other, issued_to="J-9")
    Batch.objects.filter(pk=batch.pk).update(bin=other)
    with pytest.raises(CommandError, match="3 places"):
        call_command("check_ledger")
    out = capsys.readouterr().out
    assert f"T-1: by the ledger it was put into {unit.bin.name}, by the unit into Z9." in out
    assert "T-1: not in one hand; by the ledger issued to J-1; by the unit issued to J-9." in out
    assert f"lot L1 in Z9: by the ledger it moved in {batch.bin.name}." in out


def test_check_ledger_names_a_hold_on_what_is_gone_and_more_issued_than_the_ledger_issued(
    capsys: pytest.CaptureFixture[str],
) -> None:
    unit, batch = UnitFactory.create(tag="T-1"), BatchFactory.create(lot="L1")
    stock.lose_unit(unit=unit, reason="gone", **WHO)
    reservation = Reservation.objects.create(label="J-1", at=MONDAY, by="test")
    UnitHold.objects.create(reservation=reservation, unit=unit, start=MONDAY, end=MONDAY + DAY)
    BatchHold.objects.create(reservation=reservation, batch=batch, start=MONDAY, quantity=5, issued=5)
    with pytest.raises(CommandError, match="2 places"):
        call_command("check_ledger")
    out = capsys.readouterr().out
    assert "T-1 is lost, and J-1 still holds it." in out
    assert f"lot L1 in {batch.bin.name}: the holds of J-1 say 5 issued, by the ledger it has 0." in out


# The shelf as the matcher reads it


def _tags(**asked: Any) -> list[str]:
    return [line.tag for line in stock.lines(**asked)]


def test_the_shelf_holds_what_could_serve_and_what_could_be_taken_for_it() -> None:
    UnitFactory.create(tag="wanted", item=TapFactory.create())
    UnitFactory.create(tag="other-thread", item=TapFactory.create(thread="M20x1.5"))
    UnitFactory.create(tag="no-thread", item=TapFactory.create(thread=""))
    UnitFactory.create(tag="other-kind", item=ItemFactory.create(kind="hole_gauge", thread="M16x1.5"))
    assert _tags(kinds=["tap"], threads=[M16]) == ["no-thread", "wanted"]
    UnitFactory.create(tag="drill-in", item=ItemFactory.create(diameter=14_500_000))
    UnitFactory.create(tag="drill-out", item=ItemFactory.create(diameter=15_000_000))
    UnitFactory.create(tag="drill-unmeasured", item=ItemFactory.create(diameter=None))
    window = [(14_376_000, 14_676_000)]
    assert _tags(kinds=["drill"], diameters=window) == ["drill-in", "drill-unmeasured"]
    assert _tags(kinds=["drill"], diameters=[(14_500_000, 14_500_000), (15_000_000, 16_000_000)]) == [
        "drill-in", "drill-out", "drill-unmeasured",
    ]  # fmt: skip
    UnitFactory.create(tag="wrench", item=ItemFactory.create(kind="torque_wrench", torque_min=1, torque_max=2))
    assert _tags(kinds=["torque_wrench", "tap"], threads=[M16], diameters=window) == [
        "no-thread", "wanted", "wrench",
    ]  # fmt: skip


def test_an_insert_is_found_by_its_outside_or_its_inside() -> None:
    batch = BatchFactory.create(lot="both")
    BatchFactory.create(lot="unlike", item=InsertFactory.create(thread="M18x1.5", inner="M12x1.25"))
    assert _tags(kinds=["insert"], threads=[M16]) == ["both"]
    assert _tags(kinds=["insert"], inner=[M14]) == ["both"]
    line = stock.lines(kinds=["insert"], inner=[M14])[0]
    assert (line.batch, line.unit, line.facts.inner, line.facts.family) == (
        batch.pk,
        None,
        M14,
        "own-flanged/1",
    )


def test_what_is_lost_or_scrapped_is_not_on_the_shelf() -> None:
    stock.lose_unit(unit=UnitFactory.create(item=TapFactory.create()), reason="gone", **WHO)
    assert _tags(kinds=["tap"], threads=[M16]) == []


def test_a_line_of_the_shelf_carries_life_holds_whereabouts_and_dates() -> None:
    bin = BinFactory.create(site__name="Yard", name="B2", walk=7)
    tap = UnitFactory.create(tag="T-1", item=TapFactory.create(life=40), bin=bin, holes_cut=10)
    _hold("J-1", unit=tap, holes=4)
    _hold("J-2", unit=tap, holes=6, start=MONDAY + 300 * DAY)
    released = reservations.reserve(label="J-3", unit_holds=[(tap.pk, MONDAY + 9 * DAY, MONDAY + 10 * DAY, 9)], **WHO)
    reservations.release(reservation=released, **WHO)
    stock.send_unit(unit=tap, why="regrind", until=date(2026, 3, 20), **WHO)
    (line,) = stock.lines(kinds=["tap"], threads=[M16])
    assert (line.site, line.bin, line.walk, line.unit) == ("Yard", "B2", 7, tap.pk)
    assert line.life_left == 40 - 10 - 6
    assert [(hold.label, hold.holes) for hold in line.holds] == [("J-2", 6)]  # J-1 needed it before it is back
    assert (line.condition, line.away_why, line.away_until) == ("away", "regrind", date(2026, 3, 20))
    assert not line.away_late
    for day, late in ((20, False), (21, True)):
        (line,) = stock.lines(kinds=["tap"], threads=[M16], as_of=datetime(2026, 3, day, 12, tzinfo=UTC))
        assert line.away_late is late
    assert line.facts.thread == M16
    assert line.facts.missing() == ()


def test_a_batch_on_the_shelf_tells_what_is_free_of_it() -> None:
    batch = BatchFactory.create(quantity=10, lot="L1", expires=date(2027, 1, 31))
    _hold("J-1", batch=batch, quantity=4)
    (line,) = stock.lines(kinds=["insert"], threads=[M16])
    assert (line.on_hand, line.available, line.expires, line.tag) == (10, 6, date(2027, 1, 31), "L1")
    assert [(hold.label, hold.quantity) for hold in line.holds] == [("J-1", 4)]


def test_a_reground_unit_is_found_by_its_own_diameter_and_tells_it() -> None:
    drill = ItemFactory.create(kind="drill", diameter=14_500_000)
    UnitFactory.create(tag="as-bought", item=drill)
    UnitFactory.create(tag="ground-out", item=drill)
    UnitFactory.create(tag="ground-in", item=ItemFactory.create(diameter=14_700_000))
    UnitFactory.create(tag="measured", item=ItemFactory.create(diameter=None))
    for tag, own in (("ground-out", 14_300_000), ("ground-in", 14_600_000), ("measured", 20_000_000)):
        Unit.objects.filter(tag=tag).update(own_diameter=own)
    window = [(14_376_000, 14_676_000)]
    found = {line.tag: line.facts.diameter for line in stock.lines(kinds=["drill"], diameters=window)}
    assert found == {"as-bought": 14_500_000, "ground-in": 14_600_000}
    assert _tags(kinds=["drill"], diameters=[(14_300_000, 14_300_000)]) == ["ground-out"]


def test_a_line_of_the_shelf_carries_the_life_factors_of_its_item() -> None:
    tap = TapFactory.create(life=40)
    for material, percent in (("steel", 150), ("bronze", 80)):
        LifeFactor.objects.create(item=tap, material=material, percent=percent)
    UnitFactory.create(tag="T-1", item=tap, holes_cut=10)
    Unit.objects.filter(tag="T-1").update(extra_wear=5)
    UnitFactory.create(tag="T-2", item=TapFactory.create())
    first, second = stock.lines(kinds=["tap"], threads=[M16])
    assert (first.life_left, first.factors, second.factors) == (25, (("bronze", 80), ("steel", 150)), ())


def test_an_item_without_a_life_has_no_life_left_to_tell() -> None:
    UnitFactory.create(item=TapFactory.create(life=None))
    assert stock.lines(kinds=["tap"], threads=[M16])[0].life_left is None


@pytest.mark.parametrize("rows", [2, 20])
def test_the_shelf_is_read_in_five_queries_however_many_rows_and_needs(rows: int) -> None:
    for _ in range(rows):
        unit = UnitFactory.create(item=TapFactory.create())
        batch = BatchFactory.create()
        _hold(f"J-{unit.tag}", unit=unit, batch=batch)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        found = stock.lines(
            kinds=["tap", "insert", "drill", "oil"],
            threads=[M16, M14],
            inner=[M14],
            diameters=[(n * 1_000_000, n * 1_000_000 + 300_000) for n in range(rows)],
        )
    assert len(found) == 2 * rows
    tables = [query["sql"].split(' FROM "')[1].split('"')[0] for query in asked]
    assert tables == [
        "inventory_lifefactor",
        "inventory_unithold",
        "inventory_batchhold",
        "inventory_unit",
        "inventory_batch",
    ]
    with CaptureQueriesContext(connection) as asked:
        assert stock.distinct_threads(["tap", "insert"]) == {M14, M16}
    assert len(asked) == 1


# Whatever happens


@pytest.mark.parametrize("seed", range(6))
def test_after_any_row_of_acts_balances_and_ledger_agree(seed: int) -> None:
    chance = random.Random(seed)
    units = [UnitFactory.create(item=TapFactory.create(life=12)) for _ in range(3)]
    batches = [BatchFactory.create(quantity=12) for _ in range(2)]
    person = PersonFactory.create()
    label = lambda: f"J-{chance.randrange(3)}"  # noqa: E731
    held: list[Any] = []

    def reserve() -> None:
        start = MONDAY + chance.randrange(6) * DAY
        unit, batch = chance.choice(units), chance.choice(batches)
        held.append(
            reservations.reserve(
                label=label(),
                unit_holds=[(unit.pk, start, start + DAY, chance.randrange(4))],
                batch_holds=[(batch.pk, chance.randint(1, 5))],
                **WHO,
            )
        )

    def of_units(act: Any, **given: Any) -> Any:
        return lambda: act(unit=chance.choice(units), **{k: v() for k, v in given.items()}, **WHO)

    def of_batches(act: Any, **given: Any) -> Any:
        return lambda: act(batch=chance.choice(batches), **{k: v() for k, v in given.items()}, **WHO)

    few = lambda: chance.randint(1, 4)  # noqa: E731
    acts = [
        reserve,
        reserve,
        lambda: reservations.release(reservation=chance.choice(held), **WHO) if held else None,
        of_units(stock.lend_unit, to=lambda: person, until=lambda: None),
        of_units(stock.send_unit, why=lambda: chance.choice(["regrind", "calibration"])),
        of_units(stock.return_unit, holes=few),
        of_units(stock.return_unit, holes=few),
        of_units(stock.issue_unit, label=label),
        of_units(stock.give_back_unit, holes=few),
        of_units(stock.use_unit, holes=few, label=label),
        of_batches(stock.issue_batch, quantity=few, label=label),
        of_batches(stock.issue_batch, quantity=few, label=label),
        of_batches(stock.give_back_batch, quantity=few, label=label),
        of_batches(stock.adjust_batch, found=lambda: chance.randrange(15), reason=lambda: "count"),
        of_batches(stock.scrap_batch, quantity=few, reason=lambda: "rust"),
    ]
    done: set[str] = set()
    for _ in range(120):
        before = Movement.objects.count()
        try:
            movement = chance.choice(acts)()
        except Refused:
            assert Movement.objects.count() == before
        else:
            assert Movement.objects.count() == before + isinstance(movement, Movement)
            done |= {movement.act} if isinstance(movement, Movement) else set()
        assert stock.disagreements() == []
    stock.scrap_unit(unit=units[0], reason="snapped", **WHO)
    stock.lose_unit(unit=units[1], reason="gone", **WHO)
    assert stock.disagreements() == []
    assert len(done) >= 6, "so few acts prove little"


def test_a_unit_comes_back_into_another_bin_which_is_its_own_from_then_on() -> None:
    unit, elsewhere = UnitFactory.create(), BinFactory.create()
    stock.send_unit(unit=unit, why="regrind", **WHO)
    movement = stock.return_unit(unit=unit, bin=elsewhere, **WHO)
    unit.refresh_from_db()
    assert (movement.to_bin, unit.bin) == (elsewhere, elsewhere)
    assert stock.disagreements() == []


def test_a_bin_is_named_at_its_site_or_anywhere_where_there_is_but_one() -> None:
    here = BinFactory.create(name="B4")
    yard = BinFactory.create(name="Y1", site=SiteFactory.create(name="Yard"))
    assert stock.bin_named(site="Main", name="b4") == here
    assert stock.bin_named(site="Main", name="Y1") == yard
    BinFactory.create(name="B4", site=yard.site)
    assert stock.bin_named(site="Main", name="B4") == here
    _refusal("bin_unknown", stock.bin_named, site="Elsewhere", name="B4")
    _refusal("bin_unknown", stock.bin_named, site="Main", name="Z9")
    assert stock.bin_at([("Main", "B4"), ("Main", "Z9")]) == here
    assert stock.bin_at([("Main", "Z9")]) is None


def test_a_person_is_known_by_name_or_badge_and_names_spelt_alike_are_proposed() -> None:
    ida = PersonFactory.create(name="Ida Stone", badge="A7")
    assert stock.person("ida stone") == stock.person("a7") == ida
    assert _refusal("person_unknown", stock.person, typed="Ida Stome").reason["near"] == ("Ida Stone",)
    other = PersonFactory.create(name="Ida Stone", badge="A8")
    assert _refusal("person_ambiguous", stock.person, typed="Ida Stone").reason["badges"] == ("A7", "A8")
    assert stock.person("A8") == other
    assert stock.people_names() == ["Ida Stone"]


def test_movements_are_read_a_page_at_a_time_the_newest_first_in_one_query() -> None:
    unit = UnitFactory.create()
    for number in range(24):
        stock.use_unit(unit=unit, holes=1, label=f"J-{number}", **WHO)
    with CaptureQueriesContext(connection) as asked:
        page, before = stock.movements(unit)
        assert [each.to_bin and each.to_bin.site.name for each in page] == [None] * 20
    assert len(asked) == 1
    rest, end = stock.movements(unit, before=before)
    assert [each.label for each in page + rest] == [f"J-{number}" for number in range(23, -1, -1)] + [""]
    assert end == 0


def test_a_batch_that_is_not_there_is_refused_by_its_id() -> None:
    batch = BatchFactory.create()
    assert stock.batch_by_id(batch.pk) == batch
    _refusal("batch_unknown", stock.batch_by_id, pk=batch.pk + 1)


def test_what_a_label_used_is_told_by_tag_and_lot_less_what_came_back(as_of: datetime) -> None:
    tap, batch = UnitFactory.create(tag="T-1", item=TapFactory.create()), BatchFactory.create(lot="B-1", quantity=10)
    entry = {"as_of": as_of, "by": "test"}
    stock.use_unit(unit=tap, holes=3, label="J-1", **entry)
    stock.use_unit(unit=tap, holes=2, label="J-2", **entry)
    stock.issue_batch(batch=batch, quantity=5, label="J-1", **entry)
    stock.give_back_batch(batch=batch, quantity=1, label="J-1", **entry)
    assert stock.used_for("J-1", since=as_of) == {(False, "T-1"): 3, (True, "B-1"): 4}
    assert stock.used_for("J-1", since=as_of + timedelta(minutes=1)) == {}
