"""Over the counter: a kit goes out in one act, comes back in one, and what breaks is told to all who counted on it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import issuing, reservations, stock
from inventory.errors import Refused
from inventory.models import Batch, BatchHold, LifeFactor, Movement, Unit, UnitHold
from tests.factories import BatchFactory, BinFactory, TapFactory, UnitFactory

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 3, 2, 8, tzinfo=UTC)
DAY = timedelta(days=1)
WHO: dict[str, Any] = {"by": "Ida", "as_of": MONDAY}


def _keep(label: str, *units: Unit, holes: int = 8, pieces: int = 0, start: datetime = MONDAY, **batch: Any) -> Any:
    return reservations.reserve(
        label=label,
        link=f"/jobs/{label}/",
        unit_holds=[(unit.pk, start, start + DAY, holes) for unit in units],
        batch_holds=[(batch["of"].pk, pieces)] if pieces else [],
        **WHO,
    )


def _tap(tag: str, walk: int = 1, **of: Any) -> Unit:
    return UnitFactory.create(tag=tag, item=TapFactory.create(life=40), bin=BinFactory.create(walk=walk), **of)


@pytest.fixture
def bushes() -> Batch:
    return BatchFactory.create(lot="L1", quantity=10, bin=BinFactory.create(walk=2))


def _names(lines: Any) -> list[str]:
    return [line.name for line in lines]


def test_a_kit_stands_in_the_order_of_the_walk_and_moves_from_the_bins_into_the_hand(bushes: Batch) -> None:
    far, near = _tap("T-1", walk=9), _tap("T-2", walk=1)
    _keep("J-1", far, near, pieces=5, of=bushes)
    kit = issuing.kit("J-1", as_of=MONDAY)
    assert (_names(kit.to_issue), _names(kit.out)) == (["T-2", "L1", "T-1"], [])
    assert [(line.holes, line.kept, line.at_hand) for line in kit.to_issue] == [
        (8, 0, True),
        (0, 5, True),
        (8, 0, True),
    ]
    assert kit.link == "/jobs/J-1/"
    assert issuing.issue("J-1", units=[far.pk, near.pk], batches={bushes.pk: 4}, **WHO) == 3
    kit = issuing.kit("J-1", as_of=MONDAY)
    assert (_names(kit.to_issue), _names(kit.out)) == (["L1"], ["T-2", "L1", "T-1"])
    assert [(line.kept, line.out) for line in kit.out] == [(0, 1), (1, 4), (0, 1)]
    assert not any(line.late for line in kit.out)
    assert [line.late for line in issuing.kit("J-1", as_of=MONDAY + 2 * DAY).out] == [True, False, True]
    assert stock.disagreements() == []


def test_all_is_issued_or_nothing_and_each_line_says_why(bushes: Batch) -> None:
    taken, fine = _tap("T-1"), _tap("T-2")
    _keep("J-1", taken, fine, pieces=5, of=bushes)
    _keep("J-2", pieces=3, of=bushes)
    stock.send_unit(unit=taken, why="regrind", **WHO)
    with pytest.raises(issuing.LinesRefused) as refused:
        issuing.issue("J-1", units=[taken.pk, fine.pk], batches={bushes.pk: 8}, **WHO)
    assert {key: reason.code for key, reason in refused.value.reasons.items()} == {
        f"u{taken.pk}": "unit_away",
        f"b{bushes.pk}": "batch_short",
    }
    fine.refresh_from_db()
    assert fine.issued_to == ""
    assert not Movement.objects.filter(act="issued").exists()
    with pytest.raises(Refused) as nothing:
        issuing.issue("J-1", **WHO)
    assert nothing.value.reason.code == "issue_empty"


def test_further_things_are_scanned_each_a_unit_or_one_piece_of_a_lot(bushes: Batch) -> None:
    kept, more = _tap("T-1"), _tap("T-2")
    _keep("J-1", kept)
    tags = ["t-1", "https://crib.example/tag/T-2", "L1", "l1"]
    assert issuing.issue("J-1", units=[kept.pk], tags=tags, **WHO) == 3
    assert stock.in_hand(labels=["J-1"]) == {(bushes.pk, "J-1"): 2}
    assert set(Unit.objects.values_list("issued_to", flat=True)) == {"J-1"}
    with pytest.raises(issuing.LinesRefused) as refused:
        issuing.issue("J-2", tags=["nonsense", "T-2"], **WHO)
    assert {key: reason.code for key, reason in refused.value.reasons.items()} == {"nonsense": "tag_opens_nothing"}
    with pytest.raises(issuing.LinesRefused) as refused:
        issuing.issue("J-2", tags=["T-2", more.bin.name], **WHO)
    assert refused.value.reasons[more.bin.name].code == "counter_is_a_bin"
    with pytest.raises(issuing.LinesRefused) as refused:
        issuing.issue("J-2", tags=["T-2"], **WHO)
    assert refused.value.reasons["T-2"].code == "unit_issued"


def test_a_press_that_is_repeated_issues_and_takes_back_once(bushes: Batch) -> None:
    tap = _tap("T-1")
    _keep("J-1", tap, pieces=5, of=bushes)
    for _ in range(2):
        issuing.issue("J-1", units=[tap.pk], batches={bushes.pk: 5}, request_key="out", **WHO)
    assert Movement.objects.filter(act="issued").count() == 2
    for _ in range(2):
        issuing.take_back("J-1", units={tap.pk: (3, None)}, batches={bushes.pk: 2}, request_key="in", **WHO)
    tap.refresh_from_db()
    assert (tap.holes_cut, tap.issued_to) == (3, "")
    assert stock.in_hand(labels=["J-1"]) == {(bushes.pk, "J-1"): 3}
    for _ in range(2):
        issuing.broke("J-1", f"b{bushes.pk}", reason="lost in the chips", request_key="gone", **WHO)
    assert stock.in_hand(labels=["J-1"]) == {(bushes.pk, "J-1"): 2}
    for _ in range(2):
        issuing.broke("J-1", f"u{tap.pk}", holes=2, reason="snapped", request_key="snap", **WHO)
    tap.refresh_from_db()
    assert (tap.condition, tap.holes_cut) == ("retired", 5)
    assert stock.disagreements() == []


def test_what_comes_back_while_the_reservation_stands_is_kept_again_and_later_is_free(bushes: Batch) -> None:
    reservation = _keep("J-1", pieces=5, of=bushes)
    issuing.issue("J-1", batches={bushes.pk: 7}, **WHO)
    bushes.refresh_from_db()
    hold = BatchHold.objects.get()
    assert (bushes.on_hand, bushes.held, hold.quantity, hold.issued) == (3, 0, 5, 5)
    issuing.take_back("J-1", batches={bushes.pk: 2}, **WHO)
    bushes.refresh_from_db()
    hold.refresh_from_db()
    assert (bushes.on_hand, bushes.held, hold.issued, hold.kept, hold.active) == (5, 2, 3, 2, True)
    reservations.release(reservation=reservation, **WHO)
    bushes.refresh_from_db()
    assert (bushes.on_hand, bushes.held) == (5, 0)
    issuing.take_back("J-1", batches={bushes.pk: 5}, **WHO)
    bushes.refresh_from_db()
    assert (bushes.on_hand, bushes.held) == (10, 0)
    assert stock.disagreements() == []


def test_what_comes_back_is_refused_line_by_line_and_then_nothing_is_booked(bushes: Batch) -> None:
    mine, theirs, idle = _tap("T-1"), _tap("T-2"), _tap("T-3")
    issuing.issue("J-1", units=[mine.pk], batches={bushes.pk: 2}, **WHO)
    issuing.issue("J-2", units=[theirs.pk], **WHO)
    with pytest.raises(issuing.LinesRefused) as refused:
        issuing.take_back(
            "J-1",
            units={mine.pk: (4, "serviceable"), theirs.pk: (0, None), idle.pk: (0, None)},
            batches={bushes.pk: 3},
            **WHO,
        )
    assert {key: reason.code for key, reason in refused.value.reasons.items()} == {
        f"u{theirs.pk}": "unit_issued",
        f"u{idle.pk}": "unit_not_issued",
        f"b{bushes.pk}": "gives_back_too_much",
    }
    mine.refresh_from_db()
    assert (mine.issued_to, mine.holes_cut) == ("J-1", 0)


def test_a_tap_that_breaks_books_its_holes_and_shorts_every_hold_in_one_act() -> None:
    tap = _tap("T-1")
    _keep("J-1", tap)
    _keep("J-2", tap, start=MONDAY + 5 * DAY)
    issuing.issue("J-1", units=[tap.pk], **WHO)
    issuing.broke("J-1", f"u{tap.pk}", holes=3, reason="broken", **WHO)
    tap.refresh_from_db()
    assert (tap.condition, tap.holes_cut, tap.issued_to) == ("retired", 3, "")
    assert set(UnitHold.objects.values_list("active", "shorted")) == {(False, True)}
    assert list(Movement.objects.filter(unit=tap).values_list("act", flat=True)) == [
        "received", "issued", "used", "scrapped",
    ]  # fmt: skip
    with pytest.raises(Refused) as refused:
        issuing.broke("J-1", f"u{tap.pk}", holes=3, reason="broken", **WHO)
    assert refused.value.reason.code == "unit_gone"
    assert stock.disagreements() == []


def test_a_tap_that_cannot_be_found_is_lost_and_a_thing_that_is_none_is_refused() -> None:
    tap = _tap("T-1")
    issuing.broke("J-1", f"u{tap.pk}", lost=True, reason="lost", **WHO)
    tap.refresh_from_db()
    assert tap.condition == "lost"
    for key in ("u999999", "nonsense"):
        with pytest.raises(Refused) as refused:
            issuing.broke("J-1", key, reason="lost", **WHO)
        assert refused.value.reason.code == "thing_unknown"


def test_an_insert_lost_from_the_hand_is_made_up_from_what_is_kept_for_whom_starts_last(bushes: Batch) -> None:
    _keep("J-1", pieces=6, of=bushes)
    reservations.reserve(label="J-2", batch_holds=[(bushes.pk, 4)], by="Ida", as_of=MONDAY + 5 * DAY)
    issuing.issue("J-1", batches={bushes.pk: 6}, **WHO)
    issuing.broke("J-1", f"b{bushes.pk}", pieces=1, lost=True, reason="lost", **WHO)
    bushes.refresh_from_db()
    assert (bushes.on_hand, bushes.held) == (4, 4)
    kept = {hold.reservation.label: (hold.issued, hold.short) for hold in BatchHold.objects.all()}
    assert kept == {"J-1": (5, 0), "J-2": (0, 1)}
    assert stock.disagreements() == []


def test_more_pieces_than_a_label_has_in_hand_are_not_taken_from_the_shelf(bushes: Batch) -> None:
    _keep("J-1", pieces=2, of=bushes)
    issuing.issue("J-1", batches={bushes.pk: 2}, **WHO)
    before = Batch.objects.get(pk=bushes.pk).on_hand
    for label, pieces, out in (("J-1", 3, 2), ("J-2", 1, 0)):
        with pytest.raises(Refused) as refused:
            issuing.broke(label, f"b{bushes.pk}", pieces=pieces, reason="broken", **WHO)
        assert (refused.value.reason.code, refused.value.reason["issued"]) == ("gives_back_too_much", out)
    assert Batch.objects.get(pk=bushes.pk).on_hand == before


def test_holes_in_a_hard_metal_take_more_of_a_taps_life_whether_it_comes_back_or_breaks() -> None:
    back, broken = _tap("T-1"), _tap("T-2")
    LifeFactor.objects.create(item=back.item, material="titanium", percent=250)
    LifeFactor.objects.get_or_create(item=broken.item, material="titanium", defaults={"percent": 250})
    _keep("J-1", back, broken)
    issuing.issue("J-1", units=[back.pk, broken.pk], **WHO)
    issuing.take_back("J-1", units={back.pk: (3, "serviceable")}, materials={back.pk: "titanium"}, **WHO)
    issuing.broke("J-1", f"u{broken.pk}", holes=1, material="titanium", reason="broken", **WHO)
    worn = Unit.objects.order_by("tag").values_list("holes_cut", "extra_wear")
    assert list(worn) == [(3, 5), (1, 2)]  # 3 x 2.5 = 7.5, so 8; 1 x 2.5, so 3
    assert stock.disagreements() == []


def test_three_returns_of_a_hole_take_of_the_life_what_one_return_of_three_takes_and_what_was_kept_for_them() -> None:
    often, once = _tap("T-1"), _tap("T-2")
    LifeFactor.objects.create(item=often.item, material="steel", percent=150)
    LifeFactor.objects.get_or_create(item=once.item, material="steel", defaults={"percent": 150})
    _keep("J-1", often, once, holes=5)  # three holes at one and a half each, as the plan rounds them
    for _ in range(3):
        issuing.issue("J-1", units=[often.pk], **WHO)
        issuing.take_back("J-1", units={often.pk: (1, "serviceable")}, materials={often.pk: "steel"}, **WHO)
    issuing.issue("J-1", units=[once.pk], **WHO)
    issuing.take_back("J-1", units={once.pk: (3, "serviceable")}, materials={once.pk: "steel"}, **WHO)
    rows = Unit.objects.order_by("tag").values_list("holes_cut", "extra_wear", "wear_ahead")
    assert list(rows) == [(3, 2, 50), (3, 2, 50)]  # 4.5 of life, rounded up once
    assert set(UnitHold.objects.values_list("holes", flat=True)) == {0}
    assert stock.disagreements() == []
    Unit.objects.filter(pk=once.pk).update(wear_ahead=49)
    assert [reason.code for reason in stock.disagreements()] == ["ledger_unit_wear_ahead"]


def test_a_regrind_begins_a_life_that_nothing_was_rounded_up_for() -> None:
    tap = _tap("T-1")
    LifeFactor.objects.create(item=tap.item, material="steel", percent=150)
    stock.use_unit(unit=tap, holes=1, material="steel", **WHO)
    stock.send_unit(unit=tap, why="regrind", **WHO)
    stock.return_unit(unit=tap, **WHO)
    tap.refresh_from_db()
    assert (tap.life_used, tap.wear_ahead) == (0, 0)
    stock.use_unit(unit=tap, holes=1, material="steel", **WHO)
    tap.refresh_from_db()
    assert (tap.life_used, tap.wear_ahead) == (2, 50)
    assert stock.disagreements() == []


def test_what_is_in_hand_is_the_jobs_own_and_nobody_elses(bushes: Batch) -> None:
    tap = _tap("T-1")
    _keep("J-1", tap, pieces=5, of=bushes)
    issuing.issue("J-1", units=[tap.pk], batches={bushes.pk: 5}, **WHO)
    asked: dict[str, Any] = {"kinds": ["tap"], "threads": [tap.item.thread], "labels": ["J-1"]}
    line = stock.lines(as_of=MONDAY, **asked)[0]
    assert [(hold.label, hold.end) for hold in line.holds] == [("J-1", MONDAY + DAY), ("J-1", MONDAY + DAY)]
    line = stock.lines(as_of=MONDAY + DAY, **asked)[0]
    assert line.holds[-1].end is None  # it should be back, and nobody knows when it will be
    (line,) = stock.lines(kinds=["insert"], threads=[bushes.item.thread], labels=["J-1"])
    assert (line.on_hand, line.available, [hold.in_hand for hold in line.holds]) == (5, 5, [5])
    later = MONDAY + 3 * DAY
    wish = (tap.pk, later, later + DAY, 1)
    with pytest.raises(reservations.ReservationRefused) as refused:
        reservations.reserve(label="J-2", unit_holds=[wish], by="Ida", as_of=MONDAY + 2 * DAY)
    assert refused.value.reason.code == "unit_issued"


@pytest.mark.parametrize(
    ("typed", "label"),
    [("j-1", "J-1"), ("t-1", "J-1"), ("http://crib/tag/T-1", "J-1"), ("T-2", "J-2"), ("L1", "J-1"), ("J-2", "J-2")],
)
def test_a_label_a_tag_or_a_lot_leads_to_the_kit(bushes: Batch, typed: str, label: str) -> None:
    kept, out = _tap("T-1"), _tap("T-2")
    _keep("J-1", kept, pieces=2, of=bushes)
    issuing.issue("J-2", units=[out.pk], **WHO)
    assert issuing.label_for(typed) == label


def test_what_leads_to_no_kit_says_why(bushes: Batch) -> None:
    idle = _tap("T-1")
    _keep("J-1", pieces=2, of=bushes)
    _keep("J-2", pieces=2, of=bushes)
    for typed, code in (
        (" ", "counter_field_empty"), ("T-1", "counter_keeps_nothing"), (idle.bin.name, "counter_is_a_bin"),
        ("L1", "counter_several_labels"), ("nonsense", "counter_opens_nothing"),
    ):  # fmt: skip
        with pytest.raises(Refused) as refused:
            issuing.label_for(typed)
        assert refused.value.reason.code == code


def test_pieces_alone_in_the_hand_of_a_label_lead_to_it(bushes: Batch) -> None:
    issuing.issue("J-7", batches={bushes.pk: 1}, **WHO)
    assert issuing.label_for("J-7") == "J-7"


@pytest.mark.parametrize("rows", [2, 20])
def test_a_kit_is_read_in_eight_queries_however_many_lines(rows: int) -> None:
    taps = [_tap(f"T-{n}") for n in range(rows)]
    batches = [BatchFactory.create(lot=f"L{n}", bin=BinFactory.create()) for n in range(rows)]
    reservations.reserve(
        label="J-1",
        unit_holds=[(tap.pk, MONDAY, MONDAY + DAY, 1) for tap in taps],
        batch_holds=[(batch.pk, 2) for batch in batches],
        **WHO,
    )
    issuing.issue("J-1", units=[taps[0].pk], batches={batches[0].pk: 1}, **WHO)
    with CaptureQueriesContext(connection) as asked:
        issuing.kit("J-1", as_of=MONDAY)
    assert len(asked) == 8


def test_what_went_to_another_job_meanwhile_is_not_written_off_from_the_page_of_the_first() -> None:
    tap = _tap("T-1")
    stock.issue_unit(unit=tap, label="J-2", **WHO)
    with pytest.raises(Refused) as refused:
        issuing.broke("J-1", f"u{tap.pk}", reason="broke", **WHO)
    assert (refused.value.reason.code, refused.value.reason["label"]) == ("unit_issued", "J-2")
    tap.refresh_from_db()
    assert tap.issued_to == "J-2"


def test_a_number_of_a_job_without_its_letter_is_asked_back() -> None:
    _keep("J-1041", _tap("T-1"))
    with pytest.raises(Refused) as refused:
        issuing.label_for("1041")
    assert (refused.value.reason.code, refused.value.reason["near"]) == ("counter_opens_nothing", "J-1041")
