"""The same job is saved from one form by many presses at once: it is saved once, and every press leads to its sheet."""

import multiprocessing
import random
from datetime import datetime
from pathlib import Path

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from inventory.roles import give_role
from repairs.models import Job
from tests.concurrency.race import WRITERS, race
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import GROUP

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="needs processes that fork"),
]

FORM = {
    "number": "J-7",
    "site": "Main",
    "starts": "+2d",
    "parts-0-name": "casing",
    "key": "one-form",
    "press": "save",
} | {f"parts-0-groups-0-{key}": text for key, text in GROUP.items()}


@pytest.mark.parametrize(
    ("key", "told"), [("one-form", {"302": 2 * WRITERS}), ("", {"302": 1, "409": 2 * WRITERS - 1})]
)
def test_many_presses_at_once_save_one_job(tmp_path: Path, as_of: datetime, key: str, told: dict[str, int]) -> None:
    Bench(tmp_path, as_of).stock({"kind": "oil", "lot": "OIL-1", "quantity": "2"})
    foreman = get_user_model().objects.create_user("Ida")
    give_role(foreman, "foreman")
    client = Client()
    client.force_login(foreman)
    cookies = client.cookies

    def press(chance: random.Random) -> str:
        mine = Client()
        mine.cookies = cookies
        return str(mine.post("/jobs/new/", FORM | {"key": key}).status_code)

    assert race(press, tries=2) == told
    assert Job.objects.get().groups.count() == 1
