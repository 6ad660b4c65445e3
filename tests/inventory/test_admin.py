"""Django's own admin: every table can be looked at, the ledger and its balances cannot be edited there."""

from datetime import UTC, datetime, timedelta

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import reverse

from inventory import purchasing, reservations
from inventory.models import Movement
from tests.factories import BatchFactory, ItemFactory, PersonFactory, SupplierFactory, UnitFactory

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SHOWN = [model for model in apps.get_app_config("inventory").get_models() if admin.site.is_registered(model)]


@pytest.fixture
def _stocked() -> None:
    unit, batch = UnitFactory.create(), BatchFactory.create()
    PersonFactory.create()
    purchasing.add_offer(supplier=SupplierFactory.create(), items=[(ItemFactory.create(), 1)], price=100)
    reservations.reserve(
        label="J-1",
        unit_holds=[(unit.pk, MONDAY, MONDAY + timedelta(days=1), 1)],
        batch_holds=[(batch.pk, 1)],
        by="test",
        as_of=MONDAY,
    )


@pytest.mark.usefixtures("_stocked")
@pytest.mark.parametrize("model", SHOWN, ids=lambda model: model.__name__)
def test_every_table_can_be_listed_and_searched_and_a_row_opened(admin_client: Client, model: type) -> None:
    name = f"admin:inventory_{model.__name__.lower()}"
    assert admin_client.get(reverse(f"{name}_changelist"), {"q": "x"}).status_code == 200
    assert admin_client.get(reverse(f"{name}_changelist")).status_code == 200
    row = model.objects.first()
    if row is not None:
        assert admin_client.get(reverse(f"{name}_change", args=[row.pk])).status_code == 200


@pytest.mark.usefixtures("_stocked")
def test_the_ledger_can_be_neither_edited_nor_added_to_there(admin_client: Client) -> None:
    line = Movement.objects.first()
    assert line is not None
    change = reverse("admin:inventory_movement_change", args=[line.pk])
    assert admin_client.post(change, {"quantity": "9"}).status_code == 403
    assert admin_client.post(reverse("admin:inventory_movement_add"), {}).status_code == 403
    assert admin_client.post(reverse("admin:inventory_movement_delete", args=[line.pk])).status_code == 403
