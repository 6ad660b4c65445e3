"""The back room: every table of repairs opens, and what is only added to cannot be touched there."""

from typing import Any

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import reverse

from repairs.models import APPEND_ONLY, Card, FamilySize, Job, Kit, Proof, ShopLimit, StepSign
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import GROUP

pytestmark = pytest.mark.django_db
MODELS = list(apps.get_app_config("repairs").get_models())


@pytest.fixture
def _kept(bench: Bench) -> None:
    from tests.factories import SiteFactory

    SiteFactory.create()
    job = bench.save(GROUP)
    hole = job.groups.get().holes.first()
    Proof.objects.create(hole=hole, at=bench.as_of, by="Ida", thread="M", result="proved")
    StepSign.objects.create(hole=hole, step="drill", at=bench.as_of, by="Ida")
    Card.objects.create(job=job, number=1, plan={}, schema_version=1, digest="d", by="Ida", at=bench.as_of)
    Kit.objects.create(job=job, at=bench.as_of, asked=9, filled=8)
    ShopLimit.objects.create(code="scrap", value="5", source="the foreman", by="Ida", at=bench.as_of)


def _address(model: Any, page: str, *row: int) -> str:
    return reverse(f"admin:repairs_{model._meta.model_name}_{page}", args=row)


def test_every_table_is_there() -> None:
    assert [model.__name__ for model in MODELS if not admin.site.is_registered(model)] == []


@pytest.mark.usefixtures("_kept")
@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_table_can_be_listed_and_a_row_opened(admin_client: Client, model: Any) -> None:
    row = model.objects.order_by("pk").first()
    assert row is not None
    assert admin_client.get(_address(model, "changelist")).status_code == 200
    assert admin_client.get(_address(model, "change", row.pk)).status_code == 200


@pytest.mark.usefixtures("_kept")
@pytest.mark.parametrize("model", APPEND_ONLY, ids=lambda model: model.__name__)
def test_what_is_only_added_to_can_be_neither_added_changed_nor_deleted_there(admin_client: Client, model: Any) -> None:
    row = model.objects.order_by("pk").first()
    count = model.objects.count()
    assert admin_client.post(_address(model, "add"), {}).status_code == 403
    assert admin_client.post(_address(model, "change", row.pk), {"by": "x"}).status_code == 403
    assert admin_client.post(_address(model, "delete", row.pk), {"post": "yes"}).status_code == 403
    marked = {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"}
    admin_client.post(_address(model, "changelist"), marked)
    assert model.objects.count() == count


@pytest.mark.usefixtures("_kept")
def test_a_rule_of_a_table_is_told_at_the_form_in_its_sentence(admin_client: Client) -> None:
    job = Job.objects.get()
    form = {
        "number": job.number, "owner": job.owner, "site": job.site_id, "note": "", "state": "planned",
        "start_0": "2026-03-05", "start_1": "08:00", "end_0": "2026-03-05", "end_1": "08:00",
    }  # fmt: skip
    answer = admin_client.post(_address(Job, "change", job.pk), form)
    assert "A job must end after it starts." in answer.content.decode()


@pytest.mark.usefixtures("_kept")
def test_a_part_with_a_history_is_not_deleted_with_it(admin_client: Client) -> None:
    size = FamilySize.objects.first()
    assert size is not None
    job = Job.objects.get()
    answer = admin_client.post(_address(Job, "delete", job.pk), {"post": "yes"})
    assert answer.status_code == 200, "it says what protects it"
    assert Job.objects.filter(pk=job.pk).exists()
    assert Proof.objects.exists()
