"""The bench and the shelf that most whole paths start from, and the demo workshop as other programs see it."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone

from inventory import catalogue, purchasing
from inventory import models as shelf
from inventory.roles import ROLES, give_role
from repairs import cards, jobs
from repairs.forms import read_job
from repairs.management.commands.demo import FIXTURES, load_workshop
from repairs.models import Job
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP


@pytest.fixture
def bench(db: None, tmp_path: Path, as_of: datetime) -> Bench:
    """An empty shelf with the published families and the demo's house families loaded."""
    return Bench(tmp_path, as_of)


@pytest.fixture(scope="module")
def shop(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[dict[str, User]]:
    """A small shop of today, and its people by their roles; taken back after the module. Tests use `room`.

    One kit for bushes M14x1.5 and four jobs: J-1 and J-2 want it on the same days, J-3 has it for later, and what J-4
    wants is not there.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        bench = Bench(tmp_path_factory.mktemp("shop"), timezone.now())
        bench.stock(*BUSH_KIT)
        for file in (job_file("J-1"), job_file("J-2"), job_file("J-3", starts="+10d"), job_file("J-4", thread="M24x2")):
            jobs.create(read_job(file, as_of=bench.as_of))
        lacking = [catalogue.add_item(kind=kind, thread="M24x2") for kind in ("setting_tool", "final_gauge")]
        supplier = purchasing.add_supplier(name="Pellowby Gauges", carriage=900, minimum=5000)
        for item in lacking:
            purchasing.add_offer(supplier=supplier, items=[(item, 1)], price=9000, lead_days=1, breaks=[(5, 8000)])
        purchasing.add_offer(supplier=supplier, items=[(item, 1) for item in lacking], price=15000, lead_days=9)
        jobs.book(jobs.by_number("J-3"), by="foreman", as_of=bench.as_of, request_key="first-of-all")
        people = {role: get_user_model().objects.create_user(role) for role in (*ROLES, "guest")}
        for role in ROLES:
            give_role(people[role], role)
        yield people
        transaction.set_rollback(True)


@pytest.fixture
def room(shop: dict[str, User], db: None) -> dict[str, User]:
    """The shop, and whatever a test does in it is undone."""
    return shop


@pytest.fixture(scope="session")
def published() -> dict[str, Any]:
    """The schema of the API as anybody gets it, without logging in."""
    found: dict[str, Any] = Client().get("/api/schema/").json()
    return found


def job_file(number: str, starts: str = "+2d", **answers: Any) -> dict[str, Any]:
    """A job as a program sends it: four holes that the shop's one kit is for, but for these answers."""
    part = {"name": "Casing", "serial": number, "groups": [GROUP | answers]}
    return {"number": number, "owner": "Hethery Marsh", "site": "Main", "starts": starts, "parts": [part]}


@dataclass(frozen=True)
class Demo:
    """What the demo workshop comes to: plan documents, the command's own answers and counts."""

    documents: dict[str, dict[str, Any]]
    files: dict[str, tuple[int, dict[str, Any]]]
    reserved: set[str]
    counts: dict[str, int]


@pytest.fixture(scope="session")
def demo(django_db_setup: None, django_db_blocker: Any) -> Demo:
    """The demo workshop, loaded once on the database of this run and taken back; plain values to look at."""
    with django_db_blocker.unblock(), transaction.atomic():
        now = timezone.now()
        load_workshop(as_of=now)
        saved = list(Job.objects.all())
        plans = jobs.plan_jobs([job for job in saved if job.state in jobs.OPEN], as_of=now)
        found = Demo(
            documents={plan.number: cards.document(plan) for plan in plans},
            files={
                path.stem: run_plan("--file", str(path)) for path in sorted((FIXTURES / "demo" / "jobs").glob("*.toml"))
            },
            reserved={job.number for job in saved if job.reservation_id and job.reservation.state == "active"},
            counts={
                model.__name__: model._default_manager.count()
                for model in (shelf.Item, shelf.Unit, shelf.Batch, shelf.Supplier, shelf.Offer)
            }
            | {"sets": sum(offer.items.count() > 1 for offer in shelf.Offer.objects.all())},
        )
        transaction.set_rollback(True)
    return found


def run_plan(*words: str) -> tuple[int, dict[str, Any]]:
    """The `plan` command: its exit code and the document that it prints."""
    out = io.StringIO()
    try:
        call_command("plan", *words, "--format", "json", stdout=out)
    except SystemExit as left:
        return int(left.code or 0), json.loads(out.getvalue())
    return 0, json.loads(out.getvalue())
