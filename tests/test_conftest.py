"""What conftest promises: a ledger that takes no row away is empty again for the next test, and guarded."""

from datetime import datetime

import pytest
from django.db import IntegrityError, connection, transaction

from inventory import guards
from inventory.models import Bin, Item, Movement, Site, Unit


def _write_in_the_ledger(as_of: datetime) -> None:
    assert not Movement.objects.exists(), "a test before this one left its rows"
    shelf = Bin.objects.create(site=Site.objects.create(name="Shop"), name="A1")
    unit = Unit.objects.create(item=Item.objects.create(kind="tap", name="M16x1.5 tap"), tag="T-1", bin=shelf)
    Movement.objects.create(at=as_of, by="Ida", act="received", unit=unit, quantity=1, to_bin=shelf)
    with pytest.raises(IntegrityError), transaction.atomic():
        Movement.objects.all().delete()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", [1, 2])
def test_the_ledger_is_emptied_after_a_test_with_transactions_of_its_own(turn: int, as_of: datetime) -> None:
    _write_in_the_ledger(as_of)


@pytest.mark.parametrize("turn", [1, 2])
@pytest.mark.usefixtures("live_server")
def test_the_ledger_is_emptied_after_a_test_with_a_server(turn: int, as_of: datetime) -> None:
    _write_in_the_ledger(as_of)


@pytest.mark.django_db(transaction=True)
def test_the_guards_stand_again_after_they_were_lifted() -> None:
    assert guards.missing(connection) == []
