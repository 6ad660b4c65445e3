"""The demo workshop as other programs see it: whatever they ask is answered as the schema says."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from rest_framework.test import APIClient

from repairs.management.commands.demo import load_workshop
from repairs.models import Job
from tests.repairs.answers import untrue

SHELF = (
    "M14x1.5 tap", "drill 14.4-14.7", "away", "expired", "due for regrind", "T-014", "B4", "everything", "tap 14",
    "bush",
    "torque wrench 80 N·m", "insert M14x1.5 in M16x1.5", "colourless green", "tap in B4", "unit T-014", "adhesive",
)  # fmt: skip
THREADS = (
    "M14x1.5", "M14x1.5 LH", "M10", "9/16 UNF", "1/4-26 BSF", "1/4 BSW", "2 BA", "G 1/2", "EG M14x1.5", "#10-32 UNF",
    "M52x1.5", "1/4-26 cycle", "1/4-26 brass",
)  # fmt: skip


def test_every_answer_about_the_demo_is_as_the_schema_says(db: None, published: dict[str, Any]) -> None:
    load_workshop(as_of=timezone.now())
    client = APIClient()
    client.force_login(User.objects.get(username="foreman"))
    asked = [("/api/jobs/", "/api/jobs/", {"state": "all"}), ("/api/shopping/", "/api/shopping/", {})]
    asked += [("/api/jobs/{number}/", f"/api/jobs/{job.number}/", {"units": "in"}) for job in Job.objects.all()]
    asked += [("/api/shelf/", "/api/shelf/", {"q": text}) for text in SHELF]
    asked += [("/api/threads/", "/api/threads/", {"q": text}) for text in THREADS]
    asked += [("/api/threads/identify/", "/api/threads/identify/", {"outside": "9.47", "tpi": "20"})]
    for path, address, parameters in asked:
        answer = client.get(address, parameters)
        assert answer.status_code == 200, (address, parameters, answer.content)
        assert untrue(published, "get", path, answer) == [], (address, parameters)


@pytest.mark.parametrize("text", ["drill", "tap"])
def test_the_pages_of_the_shelf_follow_one_another_without_a_gap(db: None, text: str) -> None:
    load_workshop(as_of=timezone.now())
    client = APIClient()
    client.force_login(User.objects.get(username="fitter"))
    items: list[int] = []
    after = ""
    while True:
        found = client.get("/api/shelf/", {"q": text, "after": after}).json()
        items += [item["item"] for item in found["items"]]
        after = found["after"]
        if not after:
            break
    assert len(items) == len(set(items)) > 20
