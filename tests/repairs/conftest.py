"""The bench and the shelf that most whole paths start from, and the demo workshop as other programs see it."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from django.utils import timezone

from inventory import models as shelf
from repairs import cards, jobs
from repairs.management.commands.demo import FIXTURES, load_workshop
from repairs.models import Job
from tests.repairs.bench import Bench


@pytest.fixture
def bench(db: None, tmp_path: Path, as_of: datetime) -> Bench:
    """An empty shelf with the published families and the demo's house families loaded."""
    return Bench(tmp_path, as_of)


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
        plans = jobs.plan_jobs(saved, as_of=now)
        found = Demo(
            documents={plan.number: cards.document(plan) for plan in plans},
            files={
                path.stem: run_plan("--file", str(path)) for path in sorted((FIXTURES / "demo" / "jobs").glob("*.toml"))
            },
            reserved={job.number for job in saved if job.reservation_id is not None},
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
