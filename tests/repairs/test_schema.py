"""The published schema: valid, true to what is answered, and held against a thousand requests made from it."""

from __future__ import annotations

import json
import re
import threading
from collections import Counter
from collections.abc import Iterator
from io import StringIO
from typing import Any

import pytest
import schemathesis
from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.signals import request_started
from django.db import close_old_connections, connections, transaction
from django.utils import timezone
from jsonschema import Draft202012Validator
from rest_framework.test import APIClient
from schemathesis.engine import events, from_schema

from inventory.programs import give_token
from repairs import jobs
from repairs.site.wsgi import application
from repairs.wording import SENTENCES, shelf
from tests.repairs.answers import faults, operations, untrue

NUMBERS = ("J-1", "J-2", "J-3", "J-4")


# The schema itself


def test_the_schema_is_valid_and_nothing_in_it_had_to_be_guessed() -> None:
    out = StringIO()
    call_command("spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json", stdout=out)
    assert json.loads(out.getvalue())["openapi"].startswith("3.1")


def test_anybody_may_read_the_schema(published: dict[str, Any]) -> None:
    assert {path for _, path, _ in operations(published)} >= {
        "/api/plan/", "/api/jobs/", "/api/jobs/{number}/reserve/", "/api/shelf/", "/api/shopping/", "/api/threads/",
    }  # fmt: skip
    names = [operation["operationId"] for _, _, operation in operations(published)]
    assert len(names) == len(set(names))


def test_every_component_is_a_schema_of_closed_objects_and_is_used(published: dict[str, Any]) -> None:
    told = json.dumps(published)
    for name, schema in published["components"]["schemas"].items():
        Draft202012Validator.check_schema(schema)
        assert f'"#/components/schemas/{name}"' in told, f"{name} is used nowhere"
    named = set(re.findall(r'"#/components/schemas/(\w+)"', told))
    assert named == set(published["components"]["schemas"])
    assert _open(published["components"]["schemas"]) == ["/Error/properties/data", "/Reason/properties/data"]


def _open(value: Any, place: str = "") -> list[str]:
    """Objects that leave open what else may stand in them."""
    if isinstance(value, list):
        return [found for at, each in enumerate(value) for found in _open(each, f"{place}/{at}")]
    if not isinstance(value, dict):
        return []
    here = [place] if value.get("type") == "object" and value.get("additionalProperties") is not False else []
    return here + [found for key, each in value.items() for found in _open(each, f"{place}/{key}")]


def test_every_refusal_is_told_of_in_the_one_shape_and_by_codes_that_have_a_sentence(published: dict[str, Any]) -> None:
    for method, path, operation in operations(published):
        assert {"401", "403", "406"} <= set(operation["responses"]), (method, path)
        if "requestBody" in operation:
            assert {"400", "413", "415"} <= set(operation["responses"]), (method, path)
            assert operation["requestBody"]["required"]
        for status, told in operation["responses"].items():
            if status >= "400":
                assert told["content"]["application/json"]["schema"] == {"$ref": "#/components/schemas/Errors"}
                codes = set(re.findall("`([a-z_]+)`", told["description"]))
                assert codes <= SENTENCES.keys() | shelf.SENTENCES.keys(), (method, path)


# What is answered


def test_each_example_of_a_request_is_answered_as_the_schema_says(
    room: dict[str, User], published: dict[str, Any]
) -> None:
    client, tried = APIClient(), Counter[str]()
    client.force_login(room["foreman"])
    for method, path, operation in operations(published):
        content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
        for name, example in content.get("examples", {}).items():
            assert faults(published, content["schema"], example["value"]) == [], (path, name)
            address = path.format(number="J-1")
            answer = getattr(client, method)(address, example["value"], format="json", HTTP_IDEMPOTENCY_KEY=name)
            assert untrue(published, method, path, answer) == [], (path, name)
            assert answer.status_code == (409 if "another day" in example.get("summary", "") else answer.status_code)
            assert answer.status_code in (200, 201, 409), (path, name, answer.content)
            tried[operation["operationId"]] += 1
    assert set(tried) == {"plan", "job_save", "job_accept", "job_reserve"}


# A thousand requests made from the schema


class _Undone:
    """The site, answering each request on this test's connection and taking back what it did; counts its answers."""

    def __init__(self) -> None:
        self.connection, self.lock = connections["default"], threading.Lock()
        self.answers: Counter[tuple[str, str]] = Counter()
        self.codes: set[str] = set()

    def __call__(self, environ: dict[str, Any], start_response: Any) -> list[bytes]:
        act = environ["PATH_INFO"].rstrip("/").rpartition("/")[2]

        def started(status: str, headers: Any, *more: Any) -> Any:
            self.answers[act, status[:3]] += 1
            return start_response(status, headers, *more)

        with self.lock:
            connections["default"] = self.connection  # this thread's as well
            request_started.disconnect(close_old_connections)
            try:
                with transaction.atomic():
                    body = list(application(environ, started))
                    transaction.set_rollback(True)
            finally:
                request_started.connect(close_old_connections)
        self.codes |= set(re.findall(r'"code":"([a-z_]+)"', b"".join(body).decode()))
        return body


# Text that a schema can only call text is refused with 400 where it says no thread, no day, no page.
READ_AS_TEXT = ("plan", "job_save", "thread", "threads_identify", "shelf")
CONFIG = {
    "seed": 1,
    "workers": 1,
    "continue-on-failure": True,
    "generation": {"max-examples": 8, "database": "none", "no-shrink": True},
    "phases": {"stateful": {"enabled": False}},
    # Its second request cannot be made of a WSGI application; who may do what has tests of its own.
    "checks": {"ignored_auth": {"enabled": False}},
    "operations": [
        {"include-operation-id": name, "checks": {"positive_data_acceptance": {"enabled": False}}}
        for name in READ_AS_TEXT
    ],
}


@pytest.mark.filterwarnings("ignore::hypothesis.errors.HypothesisWarning")
def test_no_request_made_from_the_schema_is_answered_otherwise_than_it_tells(room: dict[str, User]) -> None:
    site = _Undone()
    site.connection.inc_thread_sharing()
    token = give_token(login="foreman", days=1)
    config = schemathesis.Config.from_dict(CONFIG | {"headers": {"Authorization": f"Token {token}"}})
    schema = schemathesis.openapi.from_wsgi("/api/schema/", site, config=config)
    plans = jobs.plan_jobs([jobs.by_number(number) for number in NUMBERS], as_of=timezone.now())
    seen = {plan.number: jobs.shown(plan) for plan in plans}

    asked = Counter[str]()

    @schema.hook
    def map_case(context: Any, case: Any) -> Any:
        """What means to be good asks for one job after the other, with the plan that was shown of it or of J-1."""
        if "number" in case.path_parameters and case.meta.generation.mode.is_positive:
            turn = asked[case.operation.label]
            asked[case.operation.label] += 1
            case.path_parameters["number"] = number = NUMBERS[turn % 4]
            if isinstance(case.body, dict) and "seen" in case.body:
                case.body["seen"] = seen["J-1" if turn % 8 == 3 else number]
        return case

    wrong: list[str] = []
    try:
        for event in from_schema(schema).execute():
            wrong += _wrong(event)
    finally:
        site.connection.dec_thread_sharing()
    assert wrong == [], "\n".join(wrong[:10])
    for act in ("reserve", "release"):
        assert site.answers[act, "200"], site.answers
        assert site.answers[act, "409"], site.answers
    assert {"job_already_booked", "job_not_booked", "plan_moved", "group_unknown"} <= site.codes
    assert sum(site.answers.values()) > 500


def _wrong(event: Any) -> Iterator[str]:
    if isinstance(event, events.NonFatalError | events.FatalError):
        yield repr(getattr(event, "value", event))
    elif isinstance(event, events.ScenarioFinished):
        for case_id, checks in event.recorder.checks.items():
            case = event.recorder.cases[case_id].value
            for check in checks:
                if check.failure_info is not None:
                    asked = f"{case.method} {case.formatted_path} {case.query} {case.headers} {str(case.body)[:500]}"
                    yield f"{check.name}: {asked}: {check.failure_info.failure.message[:500]}"
