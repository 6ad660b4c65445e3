"""The sentences of repairs: each can be said, in both units, and the trade's words stand for the codes."""

import re
import string
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from inventory.errors import Reason
from inventory.kinds import Facts, StockLine
from inventory.threads import read
from repairs.buying import Choice
from repairs.matching import Line, NearMiss, Take
from repairs.methods import example
from repairs.methods.values import Lead, Need, Window
from repairs.wording import (
    SENTENCES,
    describe,
    item_words,
    line_words,
    look_alike_words,
    name,
    say,
    size_words,
    take_words,
    word,
)

DAY = datetime(2026, 3, 2, tzinfo=UTC)
MM = 1_000_000


def _fields(sentence: str) -> dict[str, str]:
    plain = sentence.replace("[", "").replace("]", "")
    return {field: spec or "" for _, field, spec, _ in string.Formatter().parse(plain) if field}


def _full(code: str) -> Reason:
    """The reason of this code with every value it names; one of each sort."""
    data: dict[str, object] = {}
    for field, spec in _fields(SENTENCES[code]).items():
        if "|" in spec or field in ("count", "row", "first"):
            data[field] = 3
        elif field.endswith(("_nm", "_nmm")):
            data[field] = 12_700_000
        elif field.endswith(("_newton", "_mpa")):
            data[field] = 12_700
        elif field.endswith("_minor"):
            data[field] = 1250
        elif field == "currency":
            data[field] = "EUR"
        elif field in ("until", "due", "expires", "needed_until", "first_free", "start", "end", "starts", "ends"):
            data[field] = date(2026, 3, 4)
        else:
            data[field] = (
                Reason("engineer_signs") if field == "cause" or (field == "why" and not spec) else "some_value"
            )
    return Reason(code, **data)


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("code", SENTENCES)
def test_every_sentence_can_be_said_with_all_and_with_the_least(code: str, units: str) -> None:
    full = _full(code)
    needed = _fields("".join(part.split("]")[-1] for part in SENTENCES[code].split("[")))
    least = Reason(code, **{key: value for key, value in full.data.items() if key in needed})
    for reason in (full, least):
        text = say(reason, units)
        assert not set("{}[]|") & set(text)
        assert "nothing entered" not in text, "a value is named under another key"
        assert text[0].isupper() or text[0].isdigit() or text[0] in "“s", text
        assert text[-1] in ".?!"
        assert "  " not in text
        assert " ." not in text
        assert ".." not in text


@pytest.mark.parametrize("code", [code for code in SENTENCES if "_nm" in SENTENCES[code]])
def test_units_change_which_comes_first_and_nothing_else(code: str) -> None:
    metric, inch = say(_full(code)), say(_full(code), "in")
    assert metric != inch
    assert "12.7 mm (0.5000 in)" in metric or "lbf·ft)" in metric
    assert "0.5000 in (12.7 mm)" in inch or "N·m)" in inch


def test_only_a_limit_that_somebody_works_to_is_rounded_inward() -> None:
    """So that one plain size is never shown in two ways: 10 mm is 0.3937 in, whoever tells of it."""
    inward = {
        (field, spec)
        for sentence in SENTENCES.values()
        for field, spec in _fields(sentence).items()
        if spec in ("up", "down")
    }
    assert {spec for field, spec in inward if "least_nm" in field} == {"up"}
    assert {field for field, spec in inward if spec == "up" and "least_nm" not in field} == set()
    most = {"most_nm", "class_most_nm", "deeper_nm", "deepest_nm"}
    assert {field for field, spec in inward if spec == "down"} <= most


def test_the_same_size_reads_alike_wherever_it_stands_in_a_sentence() -> None:
    thin = Reason("through_too_thin", thickness_nm=6 * MM, short_nm=4 * MM, insert_nm=10 * MM, needed_nm=10 * MM)
    assert say(thin) == (
        "The metal is 6 mm (0.2362 in) thick, 4 mm (0.1575 in) too thin: 10 mm (0.3937 in) is needed "
        "for an insert of 10 mm (0.3937 in)."
    )
    for code, sentence in SENTENCES.items():
        plain = {field: 10 * MM for field in _fields(sentence) if field.endswith("_nm")}
        told = say(Reason(code, **(dict(_full(code).data) | plain)))
        limits = [field for field, spec in _fields(sentence).items() if spec in ("up", "down")]
        found = set(re.findall(r"10 mm \(([0-9.]+ in)\)", told))
        assert found <= ({"0.3937 in", "0.3938 in"} if limits else {"0.3937 in"}), told


def test_one_and_many_are_told_apart() -> None:
    assert say(Reason("all_held_open", count=1, labels=("J-1",))) == "1 would do, and is held for J-1."
    assert say(Reason("all_held_open", count=2, labels=("J-1", "J-2"))) == "2 would do, and all are held for J-1, J-2."
    assert say(Reason("life_short", left=1, needed=4)) == "Only 1 hole of life left for 4."
    told = say(Reason("life_short", left=5, needed=8, percent=150, material="steel"))
    assert told == "Only 5 holes of life left for 8; in steel a hole takes 150 % of one."


@pytest.mark.parametrize(
    ("why", "told"),
    [("loan", "Away on loan until"), ("regrind", "Away at regrind until"), ("calibration", "Away at calibration")],
)
def test_why_a_unit_is_away_is_said_as_people_say_it(why: str, told: str) -> None:
    assert say(Reason("away", why=why, until=date(2026, 3, 4))).startswith(told)


def test_what_is_nought_is_not_told() -> None:
    short = Reason("life_short_in_all", count=1, left=5, needed=8, taken=0)
    assert say(short) == "Only 5 holes of life left in all (1 on the shelf) for 8."
    assert "; this job already takes 3" in say(Reason("life_short_in_all", **(dict(short.data) | {"taken": 3})))


def test_codes_have_the_trades_words() -> None:
    assert [word(code) for code in ("parent", "ruled_out", "set_down", "hole_gauge")] == [
        "parent metal", "ruled out", "set down", "hole gauge",
    ]  # fmt: skip


def test_a_size_tells_its_threads_its_form_and_whose_it_is() -> None:
    assert size_words(example.bush()) == "M14x1.5 in M16x1.5 x 21 mm (0.8268 in) long (example/1, house)"
    form = size_words(example.wire(tang_free=True, locking=True), "in")
    assert form == ("M14x1.5 x 0.8268 in (21 mm) long, without a tang, screw-locking (wire-metric/2005, published)")


TAP = Need(
    "A.tap", "A", "tap", "tap", DAY, DAY, "Main", thread=read("M16x1.5").thread.key, classes=("6H", "5H"),
    reach=34_500_000, lead=Lead(20, 25), flutes=("straight", "spiral"), holes=1,
)  # fmt: skip
INSERT = Need(
    "A.insert", "A", "wind_in", "insert", DAY, DAY, "Main", thread=TAP.thread, inner=read("M14x1.5").thread.key,
    family="own-flanged/1", length=21_000_000, quantity=5,
)  # fmt: skip


def test_a_need_is_named_in_few_words_and_told_in_full() -> None:
    assert name(TAP) == "tap M16x1.5"
    assert describe(TAP) == (
        "tap M16x1.5, class 6H or 5H, lead at most 2 threads, straight or spiral flute, "
        "reach 34.5 mm (1.3583 in), for 1 hole"
    )
    assert name(INSERT) == "insert M14x1.5 in M16x1.5 21 mm (0.8268 in) long"
    assert describe(INSERT).endswith("own-flanged/1, 5 of them")
    seat = Need(
        "A.seat", "A", "seat", "seat_cutter", DAY, DAY, "Main",
        diameter=Window(21_900_000, 22_100_000), pilot_of="A.drill", holes=4,
    )  # fmt: skip
    assert describe(seat, "in") == (
        "seat cutter 0.8623 in (21.9 mm) to 0.8700 in (22.1 mm), pilot just under the drill, for 4 holes"
    )
    wrench = Need("A.torque", "A", "torque", "torque_wrench", DAY, DAY, "Main", torque=80_000)
    assert describe(wrench) == "torque wrench, for 80 N·m (59 lbf·ft)"
    fixture = Need("A.clamp", "A", "clamp", "fixture", DAY, DAY, "Main", name="F-07", hand="L")
    assert name(fixture) == "fixture F-07 left"


UNIT = StockLine("T-16", Facts(1, "tap"), "Main", "C2", unit=1)
BATCH = StockLine("B-1", Facts(2, "insert"), "Main", "H1", batch=1)


def test_what_is_taken_says_from_where() -> None:
    assert take_words(Take(UNIT, 4, 0, "match")) == "T-16 from bin C2"
    assert take_words(Take(BATCH, 0, 5, "match")) == "5 of lot B-1 from bin H1"
    drill = replace(UNIT, tag="D-1", facts=Facts(3, "drill", diameter=14_500_000))
    doubt = Reason("calibration_missing")
    assert take_words(Take(drill, 4, 0, "doubtful", (doubt,)), "in") == (
        "D-1 0.5709 in (14.5 mm) from bin C2 (no calibration is on record for it, so somebody must sign for it)"
    )
    where = Reason("pilot_fits", pilot_nm=14_400_000, drill_nm=14_500_000, under_nm=100_000)
    bolt = Reason("in_window", diameter_nm=14_500_000, least_nm=14_376_000, most_nm=14_676_000, position="41.3")
    told = take_words(Take(UNIT, 4, 0, "doubtful", (doubt, where, bolt)))
    assert "(no calibration is on record for it, so somebody must sign for it; its pilot of 14.4 mm" in told
    assert "under the drill; 14.5 mm (0.5709 in) lies at 41.3 %" in told


def test_a_line_tells_what_meets_it_or_everything_that_does_not() -> None:
    alike = (
        Reason("look_alike", tag="T-2", bin="C3", thread="M16x2", wanted="M16x1.5", turns="0.8"),
        Reason("look_alike", tag="T-3", bin="C4", thread="M16x2", wanted="M16x1.5", turns="0.8"),
    )
    met = Line(TAP, "match", (Take(UNIT, 4, 0, "match"),), look_alikes=alike)
    assert line_words(met) == ("T-16 from bin C2. Look-alikes, never to be taken for it: M16x2 (T-2 in C3, T-3 in C4).")
    gap = Line(TAP, "gap", (), (Reason("none_fits", count=1),), (NearMiss(UNIT, (Reason("due_regrind"),)),))
    assert line_words(gap) == "1 on the shelf, none fits. T-16: It is due for regrind."
    assert look_alike_words([]) == ""


def test_an_item_is_called_by_its_number_its_name_and_its_size() -> None:
    bush = Facts(1, "insert", thread=read("M16x1.5").thread.key, inner=read("M14x1.5").thread.key)
    assert (
        item_words(Choice(replace(bush, name="flanged bush"), "8049")) == "8049 insert: flanged bush M14x1.5 in M16x1.5"
    )
    assert item_words(Choice(bush)) == "insert M14x1.5 in M16x1.5"
    assert item_words(Choice(Facts(2, "drill", diameter=14_500_000)), "in") == "drill 0.5709 in"


def test_a_hole_that_may_not_go_deeper_says_so_plainly() -> None:
    full = _full("depth_short")
    fixed = Reason("depth_short", **(dict(full.data) | {"deeper_nm": 0, "floor_nm": 3_000_000}))
    assert "and may not go deeper, with 3 mm (0.1181 in) of floor below it" in say(fixed)
    assert "may go" not in say(fixed)
    roomy = Reason("depth_short", **{key: value for key, value in full.data.items() if key != "floor_nm"})
    assert "and may go 12.7 mm (0.5000 in) deeper" in say(roomy)
    assert "may not" not in say(roomy)
