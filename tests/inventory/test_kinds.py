"""Kinds of thing, and what an item of each must carry to be matched."""

from dataclasses import fields

import pytest

from inventory.kinds import KINDS, SYMBOLS, Facts, plain, symbol


@pytest.mark.parametrize("code", KINDS)
def test_what_a_kind_must_carry_is_something_that_facts_can_say(code: str) -> None:
    kind = KINDS[code]
    assert kind.code == code
    assert set(kind.measures) <= {field.name for field in fields(Facts)}
    assert Facts(item=1, kind=code).missing() == kind.measures


def test_an_item_with_all_its_measurements_misses_none() -> None:
    assert Facts(item=1, kind="drill", diameter=14_500_000, usable_length=120_000_000).missing() == ()


def test_a_measurement_of_nothing_is_not_a_missing_one() -> None:
    wrench = Facts(item=1, kind="torque_wrench", torque_min=0, torque_max=100_000)
    assert wrench.missing() == ()


def test_no_two_kinds_are_called_alike() -> None:
    spellings = [
        spelling
        for kind in KINDS.values()
        for spelling in {plain(word) for word in (kind.code, kind.word, kind.plural)}
    ]
    assert len(spellings) == len(set(spellings))


def test_only_tagged_things_wear_or_are_calibrated() -> None:
    assert [kind.code for kind in KINDS.values() if kind.counted and (kind.wears or kind.calibrated)] == []


@pytest.mark.parametrize(
    ("code", "carries"),
    [
        ("step_drill", {"diameter", "step_diameter", "step_length", "usable_length"}),
        ("seat_cutter", {"diameter", "pilot"}),
        ("tap", {"thread", "thread_class", "usable_length", "lead", "flute", "action"}),
        ("plug", {"thread", "insert_length"}),
        ("minor_gauge", {"thread", "thread_class"}),
        ("pitch_gauge", {"takes_least", "takes_most"}),
        ("boring_head", {"takes_least", "takes_most", "usable_length"}),
        ("tap_wrench", {"takes_least", "takes_most"}),
        ("torque_wrench", {"torque_min", "torque_max"}),
        ("guide_bush", {"diameter"}),
        ("proof_bolt", {"thread", "usable_length"}),
        ("fixture", {"name"}),
    ],
)
def test_the_catalogue_knows_what_each_tool_of_the_crib_must_carry(code: str, carries: set[str]) -> None:
    assert set(KINDS[code].measures) == carries


def test_every_symbol_is_of_something_that_is_kept_and_says_how_it_is_known() -> None:
    kept = {field.name for field in fields(Facts)} | {"pitch", "tpi"}  # a thread is two properties there
    assert set(SYMBOLS) <= kept
    assert all("read in" in each.known or each.known == "from memory" for each in SYMBOLS.values())
    assert len({each.symbol for each in SYMBOLS.values()}) == len(SYMBOLS)


def test_only_what_cuts_has_a_symbol() -> None:
    assert (symbol("drill", "diameter"), symbol("drill", "usable_length"), symbol("tap", "thread")) == (
        "DC",
        "LU",
        "TDZ",
    )
    assert [symbol(kind, "diameter") for kind in ("stop_collar", "guide_bush", "hole_gauge")] == ["", "", ""]
    assert symbol("insert", "insert_length") == symbol("torque_wrench", "torque_max") == ""
