"""What a gap says, what comes near it, and which look-alikes are named."""

from __future__ import annotations

import pickle
from datetime import date, timedelta
from typing import Any

import pytest

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
    PILOTED,
    START,
    WINDOW,
    cutter,
    drill,
    insert_need,
    inserts,
    need,
    only,
    tap,
    tap_need,
    unit,
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


ELSEWHERE = [
    ({"site": "Annex"}, {"sites": ("Annex",), "tags": ("S-1",), "tag": ""}),
    ({"condition": "away", "away_why": "loan", "away_until": date(2026, 3, 9)},
     {"tag": "S-1", "why": "loan", "until": date(2026, 3, 9), "sites": ()}),
    ({"condition": "away", "away_why": "regrind"}, {"tag": "S-1", "why": "regrind", "until": ""}),
    ({"site": "Annex", "holds": (Held("J-1", START, END),)}, {"labels": ("J-1",), "sites": ("Annex",)}),
]  # fmt: skip


@pytest.mark.parametrize(("state", "numbers"), ELSEWHERE, ids=["elsewhere", "lent", "at regrind", "held elsewhere"])
def test_what_would_do_and_is_not_here_says_where_it_is(state: dict[str, Any], numbers: dict[str, Any]) -> None:
    (line,) = match([need("setting_tool", thread=M16.key)], [unit("S-1", "setting_tool", {"thread": M16.key}, **state)])
    assert only(line) == (GAP, ["none_at_hand"])
    assert line.reasons[0].data.items() >= {"count": 1, **numbers}.items()


def test_of_several_away_the_one_that_is_back_first_is_named() -> None:
    away = {"condition": "away", "away_why": "loan"}
    stock = [
        unit("S-1", "setting_tool", {"thread": M16.key}, **away),
        unit("S-2", "setting_tool", {"thread": M16.key}, **away, away_until=date(2026, 4, 9)),
        unit("S-3", "setting_tool", {"thread": M16.key}, **away, away_until=date(2026, 3, 9)),
        unit("S-4", "setting_tool", {"thread": M16.key}, site="Annex"),
        unit("S-5", "setting_tool", {"thread": M16.key}, condition="due_regrind"),
    ]
    (line,) = match([need("setting_tool", thread=M16.key)], stock)
    assert dict(line.reasons[0].data) == {
        "count": 4, "tag": "S-3", "why": "loan", "until": date(2026, 3, 9), "sites": ("Annex",), "tags": ("S-4",),
        "labels": (),
    }  # fmt: skip


# Two drills of the window; the worn one of 14.6 is chosen, and under it no pilot of 14.4 runs.
DRILLS = [drill("D-1", 14_600_000, life_left=4), drill("D-2", 14_500_000, life_left=40)]
ABSENT = [
    ({"holds": (Held("J-1", START, END),)}, "all_held", {"labels": ("J-1",), "first_free": END}, ["held"]),
    ({"condition": "away", "away_why": "loan", "away_until": date(2026, 3, 9)}, "none_at_hand",
     {"tag": "S-1", "until": date(2026, 3, 9)}, ["away"]),
    ({"site": "Annex"}, "none_at_hand", {"sites": ("Annex",)}, ["other_site"]),
]  # fmt: skip


@pytest.mark.parametrize(("state", "code", "numbers", "near"), ABSENT, ids=["held", "lent", "elsewhere"])
def test_a_cutter_that_cannot_be_had_is_not_blamed_for_a_drill_that_was_chosen_without_it(
    state: dict[str, Any], code: str, numbers: dict[str, Any], near: list[str]
) -> None:
    drilled, line = match(PILOTED, [*DRILLS, cutter("S-1", 14_400_000, **state)])
    assert [take.line.tag for take in drilled.takes] == ["D-1"]
    assert only(line) == (GAP, [code])
    assert line.reasons[0].data.items() >= numbers.items()
    assert [reason.code for reason in line.near[0].reasons] == near


def test_a_pilot_that_runs_under_no_drill_of_the_window_is_a_fault_whatever_else_it_lacks() -> None:
    _, line = match(PILOTED, [*DRILLS, cutter("S-1", 12 * MM, site="Annex")])
    assert only(line) == (GAP, ["none_fits"])
    assert [reason.code for reason in line.near[0].reasons] == ["other_site", "pilot_not_under_drill"]


def test_a_cutter_that_lacks_nothing_but_a_drill_for_its_pilot_says_so() -> None:
    _, line = match(PILOTED, [DRILLS[0], cutter("S-1", 14_400_000)])
    assert only(line) == (GAP, ["none_fits"])
    assert [reason.code for reason in line.near[0].reasons] == ["pilot_not_under_drill"]
