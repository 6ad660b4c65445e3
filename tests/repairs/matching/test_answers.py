"""What a gap says, what comes near it, and which look-alikes are named."""

from __future__ import annotations

import pickle
from datetime import timedelta

from inventory.kinds import Held
from inventory.threads import Thread
from repairs.matching import match
from repairs.methods.values import GAP, MATCH
from tests.repairs.matching.shelf import (
    END,
    LABEL,
    M16,
    M16_COARSE,
    M18,
    MM,
    START,
    WINDOW,
    drill,
    insert_need,
    inserts,
    need,
    only,
    tap,
    tap_need,
)


def test_none_owned_names_kind_and_thread_and_nothing_near() -> None:
    (line,) = match([tap_need()], [tap("T-1", {"thread": M18.key}), drill("D-1", 14_500_000)])
    assert only(line) == (GAP, ["none_owned"])
    assert dict(line.reasons[0].data) == {"kind": "tap", "thread": "M16x1.5"}
    assert (line.near, line.look_alikes) == ((), ())


def test_all_held_says_by_whom_and_when_the_first_is_free() -> None:
    day = timedelta(days=1)
    stock = [
        tap("T-1", holds=(Held("J-1", START - day, START + day), Held("J-3", START + 2 * day, START + 9 * day))),
        tap("T-2", holds=(Held("J-2", START, START + 4 * day),)),
        tap("T-3", {"lead": 90}),
    ]
    (line,) = match([tap_need()], stock)
    assert only(line) == (GAP, ["all_held"])
    assert dict(line.reasons[0].data) == {
        "count": 2, "labels": ("J-1", "J-2", "J-3"), "first_free": START + 4 * day,
    }  # fmt: skip
    (line,) = match([tap_need()], [tap("T-1", holds=(Held("J-1", START, None),))])
    assert only(line) == (GAP, ["all_held_open"])
    held = inserts("L1", 1, 0, on_hand=6, holds=(Held("J-1", None, None, quantity=6),))
    assert only(match([insert_need()], [held])[0]) == (GAP, ["all_held_open"])


def test_the_jobs_own_holds_do_not_stand_in_its_way() -> None:
    held = tap("T-1", holds=(Held(LABEL, START, END, holes=4),), life_left=0)
    assert match([tap_need()], [held], label=LABEL)[0].status == MATCH
    assert match([tap_need()], [held])[0].status == GAP


def test_the_nearest_misses_come_best_first_and_five_at_most() -> None:
    stock = [
        tap("T-1", {"usable_length": 40 * MM}),
        tap("T-2", {"usable_length": 47 * MM}),
        tap("T-3", {"usable_length": 40 * MM}, site="Annex"),
        tap("T-4", condition="due_regrind"),
        *(tap(f"T-{number}", {"lead": 90, "flute": "point"}, site="Annex") for number in range(5, 9)),
    ]
    (line,) = match([tap_need()], stock)
    assert only(line) == (GAP, ["none_fits"])
    assert line.reasons[0]["count"] == 8
    assert [miss.line.tag for miss in line.near] == ["T-4", "T-2", "T-1", "T-3", "T-5"]


def test_a_drill_far_outside_its_window_is_no_near_miss() -> None:
    stock = [drill("D-1", 16 * MM), drill("D-2", 14_700_000), drill("D-3", 14_300_000)]
    (line,) = match([need("drill", diameter=WINDOW)], stock)
    assert [miss.line.tag for miss in line.near] == ["D-2", "D-3"]
    assert only(match([need("drill", diameter=WINDOW)], stock[:1])[0]) == (GAP, ["none_owned"])


def test_a_look_alike_is_named_on_a_gap_and_on_a_match_and_never_taken() -> None:
    twin = tap("T-9", {"thread": M16_COARSE.key})
    for stock, status in (([twin], GAP), ([twin, tap("T-1")], MATCH)):
        (line,) = match([tap_need()], stock)
        assert line.status == status
        assert [(reason.code, reason["tag"], reason["thread"]) for reason in line.look_alikes] == [
            ("look_alike", "T-9", "M16x2")
        ]
        assert all(take.line.tag != "T-9" for take in line.takes)
        assert line.near == ()
    twin = inserts("L9", 9, 50, {"inner": Thread("M", 14 * MM, 1_250_000).key})
    (line,) = match([insert_need()], [twin])
    assert [reason["thread"] for reason in line.look_alikes] == ["M14x1.25"]


def test_the_wrong_hand_is_a_near_miss() -> None:
    (line,) = match([tap_need(thread=M16.mirrored().key)], [tap("T-1")])
    assert [reason.code for reason in line.near[0].reasons] == ["wrong_hand"]


def test_nothing_asked_is_nothing_answered() -> None:
    assert match([], [tap("T-1")]) == ()


def test_an_answer_can_be_pickled() -> None:
    lines = match([tap_need(), insert_need()], [tap("T-1"), tap("T-2", {"thread": M16_COARSE.key})])
    assert pickle.loads(pickle.dumps(lines)) == lines
