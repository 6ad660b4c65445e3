"""Life factors as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import Refused
from inventory.wear import MOST, materials, read_factors, worn_by, write_factors
from inventory.wording import say
from repairs.methods.values import MATERIALS


def test_every_parent_material_of_the_repairs_is_known() -> None:
    assert materials() == {code: each.word for code, each in MATERIALS.items()}


@given(st.dictionaries(st.sampled_from(sorted(MATERIALS)), st.integers(1, MOST)))
def test_what_is_written_reads_back_as_it_was(factors: dict[str, int]) -> None:
    assert read_factors(write_factors(factors)) == factors


@pytest.mark.parametrize("typed", ["steel 150", " Steel: 150 % ", "STEEL = 150%", "steel\t150", "; steel 150\r\n\r\n"])
def test_a_factor_is_read_however_it_is_spaced(typed: str) -> None:
    assert read_factors(typed) == {"steel": 150}


def test_a_misspelt_material_is_named_with_what_is_spelt_alike() -> None:
    with pytest.raises(Refused) as refused:
        read_factors("bronse 80; stele 150")
    reason = refused.value.reason
    assert (reason.code, reason["typed"], reason["near"]) == ("material_unknown", "bronse", "bronze")
    with pytest.raises(Refused) as refused:
        read_factors("unobtainium 300")
    assert refused.value.reason["near"] == ""
    assert "steel" in refused.value.reason["known"]
    assert "; known are" in say(refused.value.reason)


@given(st.integers(0, 10_000), st.integers(1, MOST))
def test_the_life_taken_is_the_least_whole_number_that_is_enough(holes: int, percent: int) -> None:
    life, ahead = worn_by(holes, percent)
    assert life * 100 >= holes * percent > (life - 1) * 100
    assert life * 100 - ahead == holes * percent


@given(st.lists(st.tuples(st.integers(0, 50), st.integers(1, 400)), max_size=12))
def test_many_returns_take_what_all_their_holes_at_once_take(returns: list[tuple[int, int]]) -> None:
    used = ahead = 0
    for holes, percent in returns:
        life, ahead = worn_by(holes, percent, ahead)
        assert life >= 0
        assert 0 <= ahead < 100
        used += life
    assert used == -(-sum(holes * percent for holes, percent in returns) // 100)
