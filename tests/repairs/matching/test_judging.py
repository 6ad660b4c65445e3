"""One need against one stock line: every reason, and what it weighs."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from inventory.errors import Reason
from inventory.kinds import KINDS, Held
from inventory.threads import Thread
from repairs.matching import REFUSED, Judgement, judge, judge_item, match
from repairs.matching.judging import guided
from repairs.methods.values import DOUBTFUL, MATCH, Lead, Need, Window
from tests.repairs.matching.shelf import (
    END,
    LABEL,
    M14,
    M16,
    M16_COARSE,
    M18,
    MM,
    PILOTED,
    START,
    WINDOW,
    batch,
    codes,
    cutter,
    drill,
    insert_need,
    inserts,
    need,
    tap,
    tap_need,
    unit,
)


def test_a_tap_that_has_all_it_takes_is_a_match_without_a_word() -> None:
    assert judge(tap_need(), tap("T-1")) == Judgement(MATCH, ())


@pytest.mark.parametrize(
    ("diameter", "status", "code", "numbers"),
    [
        (14_000_000, "refused", "diameter_under", {"by_nm": 376_000}),
        (14_287_500, "refused", "diameter_under", {"by_nm": 88_500}),  # 9/16 in
        (14_376_000, MATCH, "in_window", {"position": "0.0"}),
        (14_400_000, MATCH, "in_window", {"position": "8.0"}),
        (14_500_000, MATCH, "in_window", {"position": "41.3"}),
        (14_626_000, MATCH, "in_window", {"position": "83.3"}),
        (14_626_001, DOUBTFUL, "top_of_window", {"by_nm": 49_999, "above_nm": 14_626_000}),
        (14_676_000, DOUBTFUL, "top_of_window", {"by_nm": 0}),
        (14_676_001, "refused", "diameter_over", {"by_nm": 1}),
        (14_700_000, "refused", "diameter_over", {"by_nm": 24_000}),
    ],
)
def test_a_drill_lies_in_its_window_or_is_refused_with_the_distance(
    diameter: int, status: str, code: str, numbers: dict[str, Any]
) -> None:
    asked = need("drill", diameter=WINDOW, doubt_above=WINDOW.most - 50_000)
    judgement = judge(asked, drill("D-1", diameter))
    assert (judgement.status, codes(judgement)) == (status, [code])
    assert judgement.reasons[0].data.items() >= {**numbers, "diameter_nm": diameter}.items()


def test_where_a_drill_lies_is_also_said_in_per_cent_of_the_thread_that_is_cut_into_its_hole() -> None:
    # (16 − 14.5) / (2 · 5/8 H) with H = 0.866025 · 1.5 (ISO 68-1), and the same for a pitch of 2
    window = need("drill", diameter=WINDOW)
    needs = [replace(window, id=thread.key, hole_thread=thread.key) for thread in (M16, M16_COARSE)]
    lines = match([window, *needs], [drill("D-1", 14_500_000)])
    reasons = [line.takes[0].reasons[0] for line in lines]
    assert [reason.data.get("percent") for reason in reasons] == [None, "92.4", "69.3"]
    assert reasons[1]["basis"] == "5/8 H"


MEASURED: list[tuple[Need, dict[str, Any], str, str]] = [
    (tap_need(), {"thread": M16_COARSE.key}, "refused", "look_alike"),
    (tap_need(), {"thread": M16.mirrored().key}, "refused", "wrong_hand"),
    (tap_need(), {"thread": M18.key}, "refused", "other_thread"),
    (tap_need(), {"thread": "what is this"}, "refused", "other_thread"),
    (tap_need(), {"thread_class": "4H"}, "refused", "wrong_class"),
    (tap_need(), {"usable_length": 47 * MM}, "refused", "too_short"),
    (tap_need(), {"lead": 40}, "refused", "lead_too_long"),
    (tap_need(), {"lead": 35}, DOUBTFUL, "lead_only_just"),
    (tap_need(), {"flute": "point"}, "refused", "flute_needs_through"),
    (tap_need(flutes=("point",)), {"flute": "spiral"}, "refused", "wrong_flute"),
    (tap_need(), {"action": "form"}, "refused", "forming_tap"),
    (tap_need(action="form"), {"action": "cut"}, "refused", "cutting_tap"),
    (insert_need(), {"inner": M18.key}, "refused", "wrong_inner"),
    (insert_need(), {"inner": Thread("M", 14 * MM, 1_250_000).key}, "refused", "look_alike"),
    (insert_need(), {"family": "own-flanged/2"}, "refused", "wrong_edition"),
    (insert_need(), {"family": "own-plain/1"}, "refused", "wrong_family"),
    (insert_need(), {"insert_length": 15 * MM}, "refused", "wrong_length"),
    (need("fixture", name="Pump cover"), {"name": "Gear case"}, "refused", "other_name"),
    (need("fixture", name="Pump cover", hand="L"), {"name": " pump  COVER", "hand": "R"}, "refused", "fixture_hand"),
    (need("torque_wrench", torque=90_000), {"torque_min": 10_000, "torque_max": 60_000}, "refused", "torque_range"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "facts", "status", "code"), MEASURED, ids=lambda value: value if isinstance(value, str) else ""
)
def test_a_measurement_that_does_not_serve_is_named(asked: Need, facts: dict[str, Any], status: str, code: str) -> None:
    if asked.kind == "tap":
        line = tap("T-1", facts)
    elif asked.kind == "insert":
        line = inserts("L1", 1, 10, facts)
    else:
        line = unit("T-1", asked.kind, facts, calibration_due=date(2026, 12, 1))
    judgement = judge(asked, line)
    assert (judgement.status, codes(judgement)) == (status, [code])


STATES: list[tuple[dict[str, Any], str, list[str]]] = [
    ({"site": "Annex"}, "refused", ["other_site"]),
    ({"condition": "due_regrind"}, "refused", ["due_regrind"]),
    ({"condition": "retired"}, "refused", ["gone"]),
    ({"condition": "away", "away_why": "loan"}, "refused", ["away_open"]),
    ({"condition": "away", "away_why": "regrind", "away_until": date(2026, 3, 2)}, "refused", ["away"]),
    ({"condition": "away", "away_why": "loan", "away_until": date(2026, 3, 1)}, MATCH, ["back_in_time"]),
    ({"holds": (Held("J-1", START, END),)}, "refused", ["held"]),
    ({"holds": (Held("J-1", START, None),)}, "refused", ["held_open"]),
    ({"holds": (Held("J-1", None, END),)}, "refused", ["held_until"]),
    ({"holds": (Held(LABEL, START, END),)}, MATCH, []),
    ({"holds": (Held("J-1", START - timedelta(days=3), START),)}, MATCH, []),
    ({"holds": (Held("J-1", END, END + timedelta(days=3)),)}, MATCH, []),
    ({"holds": (Held("J-1", START, END), Held("J-2", END - timedelta(1), None))}, "refused", ["held", "held_open"]),
    ({"life_left": 0}, "refused", ["life_short"]),
    ({"life_left": 1}, MATCH, []),
    ({"life_left": 0, "holds": (Held(LABEL, START, END, holes=4),)}, MATCH, []),
    ({"calibration_due": date(2026, 3, 3)}, "refused", ["out_of_calibration"]),
    ({"calibration_due": date(2026, 3, 4)}, MATCH, []),
    ({"expires": date(2026, 3, 3)}, "refused", ["expired"]),
    ({"expires": date(2026, 3, 4)}, MATCH, []),
]  # fmt: skip


@pytest.mark.parametrize(
    ("state", "status", "expected"), STATES, ids=lambda value: str(value) if isinstance(value, list) else ""
)
def test_a_unit_is_judged_by_its_state_its_holds_and_its_dates(
    state: dict[str, Any], status: str, expected: list[str]
) -> None:
    judgement = judge(tap_need(), tap("T-1", **state), label=LABEL)
    assert (judgement.status, codes(judgement)) == (status, expected)


def test_a_need_that_may_not_be_split_wants_the_life_from_one_unit() -> None:
    judgement = judge(tap_need(holes=8, split=False), tap("T-1", life_left=5))
    assert (judgement.status, dict(judgement.reasons[0].data)) == ("refused", {"tag": "T-1", "left": 5, "needed": 8})


def test_a_calibrated_kind_without_a_date_is_doubtful_not_good() -> None:
    gauge = unit("G-1", "depth_gauge", {"usable_length": 50 * MM})
    judgement = judge(need("depth_gauge", reach=20 * MM), gauge)
    assert (judgement.status, codes(judgement)) == (DOUBTFUL, ["calibration_missing"])


@pytest.mark.parametrize(
    ("kind", "expires", "status", "expected"),
    [
        ("adhesive", None, DOUBTFUL, ["expiry_missing"]),
        ("adhesive", date(2026, 3, 4), MATCH, []),
        ("adhesive", date(2026, 3, 3), "refused", ["expired"]),
        ("oil", None, MATCH, []),
    ],
)
def test_a_perishable_batch_without_an_expiry_date_is_doubtful_not_good(
    kind: str, expires: date | None, status: str, expected: list[str]
) -> None:
    judgement = judge(need(kind, quantity=1), batch("L1", 1, kind, 3, expires=expires))
    assert (judgement.status, codes(judgement)) == (status, expected)


@pytest.mark.parametrize(
    ("asked", "facts", "missing"),
    [
        (tap_need(), {"thread": None}, "thread"),
        (tap_need(), {"thread_class": ""}, "thread_class"),
        (tap_need(), {"usable_length": None}, "usable_length"),
        (tap_need(), {"lead": None}, "lead"),
        (tap_need(), {"flute": ""}, "flute"),
        (tap_need(), {"action": ""}, "action"),
        (tap_need(diameter=WINDOW), {}, "diameter"),
        (tap_need(inner=M14.key), {}, "inner"),
        (tap_need(length=20 * MM), {}, "insert_length"),
        (tap_need(family="own/1"), {}, "family"),
        (tap_need(name="x"), {}, "name"),
        (tap_need(hand="L"), {}, "hand"),
        (tap_need(pilot_of="A.drill", pilot_under=Window(1, 150_000)), {}, "pilot"),
    ],
)
def test_what_lacks_a_measurement_that_is_asked_for_cannot_be_matched_on_it(
    asked: Need, facts: dict[str, Any], missing: str
) -> None:
    judgement = judge(asked, tap("T-1", facts))
    assert judgement.status == "refused"
    assert [(reason.code, reason["measurement"]) for reason in judgement.reasons] == [("measurement_missing", missing)]


WHOLE: dict[str, Any] = {
    "name": "lard oil", "thread": M16.key, "thread_class": "6H", "inner": M14.key, "diameter": 14_500_000,
    "pilot": 14_400_000, "usable_length": 60 * MM, "lead": 20, "flute": "straight", "action": "cut",
    "insert_length": 20 * MM, "torque_min": 0, "torque_max": 100_000, "family": "own/1", "step_diameter": 16 * MM,
    "step_length": 30 * MM, "takes_least": MM, "takes_most": 2 * MM,
}  # fmt: skip
ASKS: dict[str, dict[str, Any]] = {
    "name": {"name": "lard oil"}, "thread": {"thread": M16.key}, "thread_class": {"classes": ("6H",)},
    "inner": {"inner": M14.key}, "diameter": {"diameter": WINDOW},
    "pilot": {"pilot_of": "A.drill", "pilot_under": Window(1, 150_000)}, "usable_length": {"reach": 30 * MM},
    "lead": {"lead": Lead(20, 35)}, "flute": {"flutes": ("straight",)}, "action": {"action": "cut"},
    "insert_length": {"length": 20 * MM}, "torque_min": {"torque": 50_000}, "torque_max": {"torque": 50_000},
    "family": {"family": "own/1"},
}  # fmt: skip
MUST = [(kind.code, measure) for kind in KINDS.values() for measure in kind.measures]


@pytest.mark.parametrize(("kind", "missing"), MUST)
def test_what_lacks_something_that_its_kind_must_carry_is_never_matched(kind: str, missing: str) -> None:
    whole = {name: WHOLE[name] for name in KINDS[kind].measures}
    lacks = whole | {missing: "" if isinstance(whole[missing], str) and missing not in ("thread", "inner") else None}
    of = dict.fromkeys(("calibration_due", "expires"), date(2027, 1, 1))
    # Whether it is asked for or not: what a page shows as not to be matched is not matched in silence either.
    for asked in (need(kind), need(kind, **ASKS.get(missing, {}))):
        good, bad = (
            batch("L1", 1, kind, 10, facts, **of) if KINDS[kind].counted else unit("X-1", kind, facts, **of)
            for facts in (whole, lacks)
        )
        assert judge(asked, good).status == MATCH
        assert match([asked], [good])[0].status == MATCH or guided(asked)  # which wants its drill beside it
        judgement = judge(asked, bad)
        assert judgement.status == "refused"
        assert [(why.code, why["measurement"]) for why in judgement.reasons] == [("measurement_missing", missing)]
        assert judge_item(asked, bad.facts).status == "refused"
        assert match([asked], [bad])[0].status == "gap"


def test_nothing_that_a_kind_need_not_carry_stands_in_its_way() -> None:
    assert judge(need("indicator"), unit("I-1", "indicator", calibration_due=date(2027, 1, 1))).status == MATCH
    wrench = unit("W-1", "torque_wrench", {"torque_min": 1}, calibration_due=date(2026, 12, 1))
    assert codes(judge(need("torque_wrench", torque=5), wrench)) == ["measurement_missing"]


def test_all_reasons_are_given_the_refusals_first() -> None:
    line = tap("T-1", {"lead": 35, "usable_length": 47 * MM, "thread_class": "4H"}, site="Annex", life_left=0)
    assert codes(judge(tap_need(), line)) == [
        "wrong_class", "too_short", "other_site", "life_short", "lead_only_just",
    ]  # fmt: skip


def test_the_reason_carries_the_numbers() -> None:
    (short,) = judge(tap_need(), tap("T-1", {"usable_length": 47 * MM})).reasons
    assert dict(short.data) == {"usable_nm": 47 * MM, "needed_nm": 50 * MM, "by_nm": 3 * MM}
    (alike,) = judge(tap_need(), tap("T-1", {"thread": M16_COARSE.key})).reasons
    assert alike.data.items() >= {
        "tag": "T-1", "bin": "A1", "site": "Main", "thread": "M16x2", "wanted": "M16x1.5",
        "diameter_difference_nm": 0, "pitch_difference_nm": 500_000, "angle_difference": "0",
    }.items()  # fmt: skip
    (long,) = judge(tap_need(), tap("T-1", {"lead": 40})).reasons
    assert dict(long.data) == {"lead": "4", "most": "2"}


def test_another_kind_is_simply_another_kind() -> None:
    assert codes(judge(tap_need(), drill("D-1", 14_500_000))) == ["other_kind"]


@pytest.mark.parametrize(
    ("pilot", "drilled", "status", "code"),
    [
        (14_350_000, 14_500_000, MATCH, "pilot_fits"),
        (14_499_999, 14_500_000, MATCH, "pilot_fits"),
        (14_500_000, 14_500_000, "refused", "pilot_not_under_drill"),
        (14_349_999, 14_500_000, "refused", "pilot_not_under_drill"),
        (14_226_000, WINDOW, DOUBTFUL, "pilot_unjudged"),
        (14_675_999, WINDOW, DOUBTFUL, "pilot_unjudged"),
        (14_225_999, WINDOW, "refused", "pilot_not_under_window"),
        (14_676_000, WINDOW, "refused", "pilot_not_under_window"),
    ],
)
def test_a_pilot_fits_just_under_the_drill_that_is_taken(
    pilot: int, drilled: int | Window, status: str, code: str
) -> None:
    asked = need("seat_cutter", pilot_of="A.drill", pilot_under=Window(1, 150_000))
    judgement = judge(asked, cutter("C-1", pilot), drilled=drilled)
    assert (judgement.status, codes(judgement)) == (status, [code])


def test_dates_count_in_the_zone_of_the_shop() -> None:
    west = ZoneInfo("America/Bogota")  # five hours behind
    evening = datetime(2026, 3, 5, tzinfo=west).astimezone(UTC)  # the 4th is the last day there
    whole = {"thread": M14.key, "thread_class": "6H"}
    gauge = unit("G-1", "final_gauge", whole, calibration_due=date(2026, 3, 4))
    asked = need("final_gauge", end=evening)
    assert judge(asked, gauge).status == "refused"
    assert judge(asked, gauge, zone=west).status == MATCH


def test_a_batch_is_judged_by_what_is_not_held_of_it() -> None:
    held = inserts("L1", 1, 0, on_hand=6, holds=(Held("J-1", None, None, quantity=6),))
    (reason,) = judge(insert_need(), held).reasons
    assert dict(reason.data) == {"available": 0, "on_hand": 6, "needed": 4, "labels": ("J-1",)}
    assert reason.code == "quantity_held"
    assert codes(judge(insert_need(), inserts("L1", 1, 0))) == ["quantity_short"]
    assert (
        judge(insert_need(), replace(held, holds=(Held(LABEL, None, None, quantity=6),)), label=LABEL).status == MATCH
    )
    assert judge(insert_need(), inserts("L1", 1, 3)).status == MATCH  # another batch may bring the rest


def test_an_item_is_judged_as_it_would_come_new_by_its_measurements_alone() -> None:
    worn = tap("T-1", site="Barn", condition="due_regrind", life_left=0)
    assert judge(tap_need(), worn).status == REFUSED
    assert judge_item(tap_need(), worn.facts).status == MATCH
    assert codes(judge_item(tap_need(reach=61 * MM), worn.facts)) == ["too_short"]
    assert judge_item(tap_need(), tap("T-2", {"lead": 30}).facts).status == DOUBTFUL
    drill_need, cutter_need = PILOTED
    for pilot, drilled, status in (
        (14_400_000, 14_500_000, MATCH),
        (14_400_000, 14_600_000, REFUSED),
        (14_400_000, WINDOW, DOUBTFUL),
        (14_400_000, None, MATCH),
    ):
        assert judge_item(cutter_need, cutter("S-1", pilot).facts, drilled=drilled).status == status
    assert judge_item(drill_need, drill("D-1", 14_500_000).facts).status == MATCH


def test_a_thing_that_nothing_was_entered_to_judge_by_is_doubtful_and_says_what_to_enter() -> None:
    unknown = Reason("torque_missing", bolt="M14x1.5")
    wrench = unit("W-1", "torque_wrench", {"torque_min": 1, "torque_max": 9}, calibration_due=date(2026, 12, 1))
    judgement = judge(need("torque_wrench", unjudged=(unknown,)), wrench)
    assert (judgement.status, judgement.reasons) == (DOUBTFUL, (unknown,))
    assert judge(need("torque_wrench", torque=5), wrench).status == MATCH
    (line,) = match([need("torque_wrench", unjudged=(unknown,))], [wrench])
    assert (line.status, line.reasons) == (DOUBTFUL, (unknown,))
    asked, other = need("torque_wrench", "A", unjudged=(unknown,)), need("torque_wrench", "B", torque=5)
    assert [each.status for each in match([asked, other], [wrench])] == [DOUBTFUL, MATCH]


@pytest.mark.parametrize(
    ("hours", "status", "code", "numbers"),
    [
        (None, DOUBTFUL, "cure_missing", {"end": END}),
        (24, MATCH, "cure_in_time", {"cure_hours": 24, "latest": END - timedelta(hours=24)}),
        (71, MATCH, "cure_in_time", {"cure_hours": 71, "latest": START + timedelta(hours=1)}),
        (72, DOUBTFUL, "cure_too_long", {"cure_hours": 72, "window_hours": 72, "end": END}),
        (96, DOUBTFUL, "cure_too_long", {"cure_hours": 96, "window_hours": 72, "end": END}),
    ],
)
def test_an_adhesive_must_cure_before_the_window_ends(
    hours: int | None, status: str, code: str, numbers: dict[str, Any]
) -> None:
    tube = batch("R-1", 1, "adhesive", 3, {"cure_hours": hours}, expires=date(2026, 12, 1))
    judgement = judge(need("adhesive", quantity=1, cures=True), tube)
    assert (judgement.status, codes(judgement)) == (status, [code])
    assert judgement.reasons[0].data.items() >= numbers.items()
    assert judge(need("adhesive", quantity=1), tube) == Judgement(MATCH, ())


def test_of_two_adhesives_the_one_that_cures_in_time_is_taken() -> None:
    slow, fast = (
        batch(lot, number, "adhesive", 3, {"cure_hours": hours}, expires=date(2026, 12, 1))
        for lot, number, hours in (("R-1", 1, 96), ("R-2", 2, 24))
    )
    (line,) = match([need("adhesive", quantity=1, cures=True)], [slow, fast])
    assert (line.status, [take.line.tag for take in line.takes]) == (MATCH, ["R-2"])
