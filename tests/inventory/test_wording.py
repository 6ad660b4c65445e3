"""Sentences: each code has one, and data in base units become what people read."""

import string
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.test import override_settings

from inventory.errors import Reason
from inventory.wording import SENTENCES, say


def test_lengths_torques_money_dates_and_times_are_shown_as_people_read_them() -> None:
    sentences = {"x": "{a_nm} | {b_nmm} | {c_minor} | {day} | {at} | {names}"}
    reason = Reason(
        "x",
        a_nm=14_376_000,
        b_nmm=45_000,
        c_minor=1250,
        currency="GBP",
        day=date(2026, 12, 3),
        at=datetime(2026, 12, 3, 8, 30, tzinfo=UTC),
        names=("M14x1.5", "M14x1.25"),
    )
    assert say(reason, sentences=sentences) == (
        "14.376 mm (0.5660 in) | 45 N·m (33.2 lbf·ft) | GBP 12.50 | 2026-12-03 | 2026-12-03 08:30 | M14x1.5, M14x1.25"
    )
    assert say(reason, "in", sentences).startswith("0.5660 in (14.376 mm) | 33.2 lbf·ft (45 N·m)")


@pytest.mark.parametrize(
    ("zone", "start", "end", "told"),
    [
        ("UTC", "2026-11-26T00:00Z", "2026-11-28T00:00Z", "from 2026-11-26 to 2026-11-27"),
        ("Europe/Berlin", "2026-11-25T23:00Z", "2026-11-27T23:00Z", "from 2026-11-26 to 2026-11-27"),
        ("Europe/Berlin", "2026-03-28T23:00Z", "2026-03-29T22:00Z", "from 2026-03-29 to 2026-03-29"),  # 23 hours long
        ("Pacific/Auckland", "2026-11-25T11:00Z", "2026-11-26T12:30Z", "from 2026-11-26 to 2026-11-27 01:30"),
        ("UTC", "2026-11-25T23:00Z", "2026-11-27T23:00Z", "from 2026-11-25 23:00 to 2026-11-27 23:00"),
        # Clocks went forward at midnight, so that this day began at one o'clock.
        ("Africa/Cairo", "2026-04-23T22:00Z", "2026-04-24T21:00Z", "from 2026-04-24 to 2026-04-24"),
    ],
)
def test_times_are_told_in_the_shops_zone_and_an_end_by_its_last_day(
    zone: str, start: str, end: str, told: str
) -> None:
    held = Reason(
        "unit_held", tag="T-1", label="J-1", start=datetime.fromisoformat(start), end=datetime.fromisoformat(end)
    )
    with override_settings(SHOP_ZONE=ZoneInfo(zone)):
        assert say(held) == f"T-1 is held for J-1 {told}."


def test_a_count_agrees_with_its_noun() -> None:
    assert say(Reason("life_short", tag="T-1", left=1, needed=8)).startswith("T-1 has 1 hole of life")
    assert say(Reason("life_short", tag="T-1", left=5, needed=8)) == ("T-1 has 5 holes of life left and 8 are needed.")


def test_a_limit_is_shown_rounded_inward() -> None:
    sentences = {"x": "{least_nm:up} to {most_nm:down}"}
    shown = say(Reason("x", least_nm=14_376_000, most_nm=14_676_000), sentences=sentences)
    assert shown == "14.376 mm (0.5660 in) to 14.676 mm (0.5777 in)"


def test_a_part_in_brackets_goes_where_its_value_is_missing() -> None:
    assert say(Reason("unit_away", tag="T-1", why="loan", until=None)) == "T-1 is away (loan)."
    assert say(Reason("unit_away", tag="T-1", why="loan", until=date(2026, 3, 6))) == (
        "T-1 is away (loan) until the end of 2026-03-06."
    )


def test_a_question_tells_the_angle_of_each_thread_where_they_differ() -> None:
    both = Reason("thread_ambiguous", typed="1/4 26", candidates=("1/4-26 BSF", "1/4-26 cycle"), angles=("55°", "60°"))
    assert say(both).endswith("which is it: 1/4-26 BSF (55°), 1/4-26 cycle (60°)?")
    alike = Reason("thread_ambiguous", typed="#8", candidates=("#8-32 UNC", "#8-36 UNF"))
    assert say(alike).endswith("which is it: #8-32 UNC, #8-36 UNF?")


def test_a_reason_inside_a_reason_is_its_own_sentence() -> None:
    why = Reason("length_unreadable", typed="long")
    fault = Reason("cell", sheet="stock.csv", row=7, column="diameter", value="long", why=why)
    assert say(fault) == f"stock.csv, row 7, diameter “long”: {say(why)}"


def test_a_code_without_a_sentence_is_ugly_but_never_silent() -> None:
    assert say(Reason("no_such_code", tag="T-1", n=3)) == "no such code: tag T-1, n 3"
    assert say(Reason("no_such_code")) == "no such code"


def test_sentences_of_another_app_come_first_and_these_fill_the_gaps() -> None:
    other = {"tag_unknown": "Nobody knows {tag}."}
    assert say(Reason("tag_unknown", tag="T-1"), sentences=other) == "Nobody knows T-1."
    assert say(Reason("label_missing"), sentences=other) == "Say for which job."


@pytest.mark.parametrize("code", SENTENCES)
def test_every_sentence_can_be_filled_and_ends_as_a_sentence_does(code: str) -> None:
    names = [name for _, name, _, _ in string.Formatter().parse(SENTENCES[code]) if name]
    shown = say(Reason(code, **dict.fromkeys(names, 1)))
    assert shown[-1] in ".?1"
    assert "{" not in shown
    assert "[" not in shown
