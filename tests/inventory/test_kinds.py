"""Kinds of thing, and what an item of each must carry to be matched."""

from dataclasses import fields

import pytest

from inventory.kinds import KINDS, Facts, plain


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
