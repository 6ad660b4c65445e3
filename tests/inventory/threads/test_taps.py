from decimal import Decimal

import pytest

from inventory.threads import ThreadError, tap_lead, tap_leads


@pytest.mark.parametrize("typed", ["C", "c", "form C", " Form c "])
def test_a_form_is_found_however_it_is_typed(typed: str) -> None:
    assert (tap_lead(typed).least, tap_lead(typed).most) == (Decimal(2), Decimal(3))


def test_every_form_has_a_lead_and_a_source() -> None:
    assert len({lead.form for lead in tap_leads()}) == len(tap_leads()) == 12
    assert all(0 < lead.least <= lead.most and lead.source for lead in tap_leads())


def test_a_form_that_is_none_is_refused_with_those_there_are() -> None:
    with pytest.raises(ThreadError) as refused:
        tap_lead("X")
    assert refused.value.reason.code == "tap_form_unknown"
    assert "bottoming" in refused.value.reason["known"]
