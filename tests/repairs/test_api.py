"""What other programs get of the repairs: plan, save, reserve and shop, refused in one shape, each role its own."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from jsonschema import Draft202012Validator
from knox.models import AuthToken
from rest_framework.test import APIClient

from inventory import order_points, purchasing, stock
from inventory.programs import LARGEST_BODY, give_token
from inventory.roles import FITTER, FOREMAN, STOREKEEPER
from repairs import cards, choices, jobs
from repairs.forms import MOST_GROUPS, read_job
from repairs.models import HoleGroup, Job
from tests.factories import BatchFactory, InsertFactory, SupplierFactory
from tests.repairs.answers import untrue
from tests.repairs.conftest import job_file

KEY = "HTTP_IDEMPOTENCY_KEY"


@pytest.fixture
def foreman(room: dict[str, User]) -> APIClient:
    return _as(room["foreman"])


def _as(user: User | None) -> APIClient:
    client = APIClient()
    if user is not None:
        client.force_login(user)
    return client


def _codes(answer: Any) -> list[tuple[str, str]]:
    body = answer.json()
    assert set(body) == {"errors"}
    assert all(set(error) == {"field", "code", "data", "text"} for error in body["errors"]), body
    assert all(error["text"] for error in body["errors"])
    return [(error["field"], error["code"]) for error in body["errors"]]


def _seen(client: APIClient, number: str) -> str:
    return str(client.get(reverse("api-job", args=[number])).json()["seen"])


def _reserve(client: APIClient, number: str, key: str, seen: str | None = None) -> Any:
    body = {"seen": _seen(client, number) if seen is None else seen}
    return client.post(reverse("api-job-reserve", args=[number]), body, format="json", **{KEY: key})


def _release(client: APIClient, number: str, key: str) -> Any:
    return client.post(reverse("api-job-release", args=[number]), **{KEY: key})


# Who may do what

ENDPOINTS: list[tuple[str, str, list[str], Any, set[str]]] = [
    ("post", "api-plan", [], job_file("J-9"), {FITTER, STOREKEEPER, FOREMAN}),
    ("get", "api-jobs", [], None, {FITTER, STOREKEEPER, FOREMAN}),
    ("post", "api-jobs", [], job_file("J-9"), {FITTER, STOREKEEPER, FOREMAN}),
    ("get", "api-job", ["J-1"], None, {FITTER, STOREKEEPER, FOREMAN}),
    ("post", "api-job-accept", ["J-1"], {"group": "A", "method": ""}, {FOREMAN}),
    ("post", "api-job-reserve", ["J-1"], {"seen": "[]"}, {FOREMAN}),
    ("post", "api-job-release", ["J-3"], None, {FOREMAN}),
    ("get", "api-shopping", [], None, {FITTER, STOREKEEPER, FOREMAN}),
]


@pytest.mark.parametrize(("method", "name", "args", "body", "allowed"), ENDPOINTS)
@pytest.mark.parametrize("role", [FITTER, STOREKEEPER, FOREMAN, "guest", None])
def test_each_endpoint_is_for_the_roles_that_have_its_right(
    room: dict[str, User], role: str | None, method: str, name: str, args: list[str], body: Any, allowed: set[str]
) -> None:
    answer = getattr(_as(room[role] if role else None), method)(
        reverse(name, args=args), body, format="json", **{KEY: "once"}
    )
    if role in allowed:
        assert answer.status_code in (200, 201, 409), answer.content
    else:
        assert answer.status_code == (403 if role else 401)
        assert _codes(answer) == [("", "role_lacking" if role else "log_in_first")]


# Planning


def test_a_plan_is_the_document_of_the_command_and_saves_nothing(foreman: APIClient) -> None:
    before = (Job.objects.count(), HoleGroup.objects.count())
    answer = foreman.post(reverse("api-plan"), job_file("J-9"), format="json")
    assert answer.status_code == 200
    found = answer.json()
    Draft202012Validator(cards.schema()).validate(found)
    now = timezone.now()
    planned = jobs.plan_request(read_job(job_file("J-9"), as_of=now), as_of=now)
    meant = cards.document(planned, comparison=choices.compare(planned, as_of=now))
    assert {**found, "as_of": ""} == {**json.loads(json.dumps(meant)), "as_of": ""}
    assert found["complete"] is True
    assert (Job.objects.count(), HoleGroup.objects.count()) == before


def test_the_sentences_lead_with_the_unit_that_is_asked_for(foreman: APIClient) -> None:
    texts = [
        json.dumps(foreman.post(f"{reverse('api-plan')}?units={units}", job_file("J-9"), format="json").json())
        for units in ("mm", "in")
    ]
    assert "22 mm (0.8661 in)" in texts[0] or "mm (" in texts[0]
    assert " in (" in texts[1]


@pytest.mark.parametrize(
    ("change", "faults"),
    [
        ({"site": ""}, [("site", "answer_missing")]),
        ({"owner": True, "note": ["x"]}, [("owner", "value_expected"), ("note", "value_expected")]),
        ({"booked": True}, [("booked", "booked_by_reserving")]),
        ({"colour": "red"}, [("colour", "key_unknown")]),
        ({"parts": []}, [("parts", "rows_missing")]),
        ({"parts": [{"name": "Casing", "groups": [{}]}]}, None),
        ({"parts": [{"groups": [{}] * 31}, {"groups": [{}] * 30}]}, [("parts", "groups_too_many")]),
        ({"starts": "soon"}, [("starts", "date_unreadable")]),
    ],
)
def test_what_is_wrong_with_a_job_stands_at_its_place(
    foreman: APIClient, change: dict[str, Any], faults: list[tuple[str, str]] | None
) -> None:
    assert MOST_GROUPS < 61
    for name in ("api-plan", "api-jobs"):
        answer = foreman.post(reverse(name), job_file("J-9") | change, format="json")
        assert answer.status_code == 400
        found = _codes(answer)
        assert found == faults if faults else ("parts[1].groups[1].thread", "thread_empty") in found


@pytest.mark.parametrize("body", ["[]", '"x"', "null", "7"])
def test_a_body_that_is_no_object_is_refused(foreman: APIClient, body: str) -> None:
    for name, args in (("api-plan", []), ("api-jobs", []), ("api-job-accept", ["J-1"]), ("api-job-reserve", ["J-1"])):
        answer = foreman.post(reverse(name, args=args), body, content_type="application/json", **{KEY: "k"})
        assert answer.status_code == 400
        assert _codes(answer)[0][1] in ("table_expected", "object_expected")


# Saving and reading


def test_a_saved_job_is_listed_and_read_at_its_address(foreman: APIClient) -> None:
    answer = foreman.post(reverse("api-jobs"), job_file("J-9"), format="json")
    assert answer.status_code == 201
    found = foreman.get(answer.headers["Location"]).json()
    assert found | {"plan": {}} == answer.json() | {"plan": {}}
    assert (found["number"], found["state"], found["reservation"], found["accepted"]) == ("J-9", "planned", None, [])
    Draft202012Validator(cards.schema()).validate(found["plan"])
    assert "J-9" in [row["number"] for row in foreman.get(reverse("api-jobs")).json()["jobs"]]


def test_a_number_that_is_taken_and_a_site_that_is_none_are_refused_at_their_keys(foreman: APIClient) -> None:
    taken = foreman.post(reverse("api-jobs"), job_file("J-1"), format="json")
    assert (taken.status_code, _codes(taken)) == (409, [("number", "job_number_taken")])
    nowhere = foreman.post(reverse("api-jobs"), job_file("J-9") | {"site": "Moon"}, format="json")
    assert (nowhere.status_code, _codes(nowhere)) == (404, [("site", "site_unknown")])
    assert not Job.objects.filter(number="J-9").exists()


def test_a_job_that_wants_no_kit_any_more_is_listed_without_a_plan(foreman: APIClient) -> None:
    Job.objects.filter(number="J-1").update(state="cancelled")
    rows = {row["number"]: row for row in foreman.get(reverse("api-jobs"), {"state": "all"}).json()["jobs"]}
    assert (rows["J-1"]["complete"], rows["J-1"]["counts"]) == (None, None)
    assert {row["counts"] is None for number, row in rows.items() if number != "J-1"} == {False}


def test_the_list_tells_how_ready_each_job_is(foreman: APIClient) -> None:
    rows = {row["number"]: row for row in foreman.get(reverse("api-jobs")).json()["jobs"]}
    assert [rows[number]["complete"] for number in ("J-1", "J-2", "J-3", "J-4")] == [True, True, True, False]
    assert rows["J-4"]["counts"]["gap"] > 0
    assert [rows[number]["reserved_by"] for number in ("J-1", "J-3")] == [None, "foreman"]


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ({}, ["J-1", "J-2", "J-4", "J-3"]),
        ({"state": "booked"}, ["J-3"]),
        ({"state": "released"}, []),
        ({"text": "j-4"}, ["J-4"]),
        ({"text": "nobody's"}, []),
        ({"limit": "2"}, ["J-1", "J-2"]),
        ({"limit": "2", "offset": "3"}, ["J-3"]),
        ({"offset": "1000"}, []),
    ],
)
def test_the_list_is_narrowed_and_paged(foreman: APIClient, asked: dict[str, str], numbers: list[str]) -> None:
    found = foreman.get(reverse("api-jobs"), asked).json()
    assert [row["number"] for row in found["jobs"]] == numbers
    assert found["limit"] == int(asked.get("limit", 20))


@pytest.mark.parametrize(
    ("query", "fault"),
    [
        ("limit=0", ("limit", "count_unreadable")),
        ("limit=51", ("limit", "count_unreadable")),
        ("limit=ten", ("limit", "count_unreadable")),
        ("limit=%D9%A3", ("limit", "count_unreadable")),
        ("limit=", ("limit", "answer_missing")),
        ("offset=-1", ("offset", "count_unreadable")),
        ("offset=1e9", ("offset", "count_unreadable")),
        ("offset=99999999999999999999999", ("offset", "count_unreadable")),
        ("state=finished", ("state", "word_unknown")),
        ("state=", ("state", "answer_missing")),
        ("text=%00", ("text", "answer_unreadable")),
        ("text=" + "x" * 121, ("text", "answer_too_long")),
        ("page=2", ("page", "parameter_unknown")),
        ("limit=1&limit=2", ("limit", "parameter_twice")),
        ("format=xml", ("format", "parameter_unknown")),
    ],
)
def test_a_list_that_is_asked_for_in_rubbish_is_refused(foreman: APIClient, query: str, fault: tuple[str, str]) -> None:
    answer = foreman.get(f"{reverse('api-jobs')}?{query}")
    assert (answer.status_code, _codes(answer)) == (400, [fault])


@pytest.mark.parametrize("number", ["J-99", "%00", "%F0%9F%94%A9", "x" * 300, "..."])
def test_a_number_of_no_job_is_not_there(foreman: APIClient, number: str) -> None:
    for path, ask in (("", foreman.get), ("reserve/", foreman.post), ("release/", foreman.post)):
        answer = ask(f"/api/jobs/{number}/{path}", {"seen": "[]"} if path else None, format="json", **{KEY: "k"})
        assert (answer.status_code, _codes(answer)) == (404, [("", "job_number_unknown")]), path


# Accepting


def test_a_method_is_accepted_by_the_code_of_its_size_and_taken_back(foreman: APIClient) -> None:
    address = reverse("api-job-accept", args=["J-1"])
    group = foreman.get(reverse("api-job", args=["J-1"])).json()["plan"]["groups"][0]
    other = next(
        (method["method"], size["size"]["code"])
        for method in group["methods"]
        for size in method["sizes"]
        if size["size"]["code"] != group["size"]["code"] and size["verdict"] == "not_checked"
    )
    answer = foreman.post(address, {"group": "A", "method": other[0], "size": other[1]}, format="json")
    assert answer.status_code == 200
    found = answer.json()
    assert [(each["group"], each["method"], each["size"], each["by"]) for each in found["accepted"]] == [
        ("A", *other, "foreman")
    ]
    assert (found["accepted"][0]["answers"], found["accepted"][0]["signed"]) == (None, [])
    assert found["plan"]["groups"][0]["size"]["code"] == other[1]
    assert foreman.post(address, {"group": "A", "method": ""}, format="json").json()["accepted"] == []


def _size_of(foreman: APIClient, method: str) -> str:
    group = foreman.get(reverse("api-job", args=["J-1"])).json()["plan"]["groups"][0]
    found = next(each for each in group["methods"] if each["method"] == method)
    return str((found["sizes"] or found["refused_sizes"])[0]["size"]["code"])


def test_what_somebody_must_sign_for_is_accepted_with_his_name_and_reason_alone(foreman: APIClient) -> None:
    address = reverse("api-job-accept", args=["J-1"])
    bolt = {"group": "A", "method": "oversize_bolt", "size": _size_of(foreman, "oversize_bolt")}
    lacking = ("answers", "overrule_needs_a_reason"), ("why", "overrule_needs_a_reason")
    for said, faults in (({}, lacking), ({"why": "agreed"}, lacking[:1]), ({"answers": "Jo", "why": " "}, lacking[1:])):
        answer = foreman.post(address, bolt | said, format="json")
        assert (answer.status_code, _codes(answer)) == (400, list(faults))
    answer = foreman.post(address, bolt | {"answers": "Jo Brackwell", "why": "the owner agrees"}, format="json")
    assert answer.status_code == 200
    (accepted,) = answer.json()["accepted"]
    assert (accepted["answers"], accepted["why"]) == ("Jo Brackwell", "the owner agrees")
    assert "another_bolt" in accepted["signed"]
    assert answer.json()["plan"]["groups"][0]["accepted"] == {
        key: value for key, value in accepted.items() if key != "group"
    }
    (planned,) = [each for each in answer.json()["plan"]["groups"][0]["comparison"] if each["planned"]]
    assert (planned["method"], planned["verdict"]) == ("oversize_bolt", "signed")


def test_what_cannot_be_made_is_not_to_be_overruled(foreman: APIClient) -> None:
    HoleGroup.objects.filter(job__number="J-1").update(damage="cracked")
    said = {"group": "A", "method": "flanged_bush", "size": _size_of(foreman, "flanged_bush")}
    answer = foreman.post(
        reverse("api-job-accept", args=["J-1"]), said | {"answers": "Jo", "why": "agreed"}, format="json"
    )
    assert (answer.status_code, _codes(answer)) == (409, [("", "not_to_be_overruled")])


@pytest.mark.parametrize(
    ("body", "status", "fault"),
    [
        ({"group": "Z", "method": "flanged_bush", "size": "x"}, 404, ("group", "group_unknown")),
        ({"group": "A", "method": "weld", "size": "x"}, 404, ("method", "method_unknown")),
        ({"group": "A", "method": "flanged_bush", "size": "x"}, 404, ("size", "size_unknown")),
        ({"method": "flanged_bush"}, 400, ("group", "answer_missing")),
        ({"group": "A", "methods": ""}, 400, ("methods", "parameter_unknown")),
        ({"group": 1}, 400, ("group", "text_expected")),
    ],
)
def test_what_cannot_be_accepted_is_refused_at_its_key(
    foreman: APIClient, body: dict[str, Any], status: int, fault: tuple[str, str]
) -> None:
    answer = foreman.post(reverse("api-job-accept", args=["J-1"]), body, format="json")
    assert (answer.status_code, _codes(answer)) == (status, [fault])


def test_what_is_reserved_is_not_accepted_anew(foreman: APIClient) -> None:
    answer = foreman.post(reverse("api-job-accept", args=["J-3"]), {"group": "A", "method": ""}, format="json")
    assert (answer.status_code, _codes(answer)) == (409, [("", "job_already_booked")])


# Reserving and releasing


def test_the_plan_that_was_looked_at_is_reserved_and_released(foreman: APIClient) -> None:
    answer = _reserve(foreman, "J-1", "one")
    assert answer.status_code == 200
    kept = answer.json()["reservation"]
    assert {unit["tag"] for unit in kept["units"]} == {
        "D-145", "S-22", "T-16", "GH-16", "ST-14", "GF-14", "DI-1", "DG-1", "TW-1",
    }  # fmt: skip
    assert {batch["lot"]: batch["quantity"] for batch in kept["batches"]} == {"B-1": 5, "OIL-1": 1}
    assert (kept["by"], kept["state"]) == ("foreman", "active")
    job = foreman.get(reverse("api-job", args=["J-1"])).json()
    assert (job["state"], job["reservation"]) == ("booked", kept)
    released = _release(foreman, "J-1", "two")
    assert released.status_code == 200
    freed = released.json()["reservation"]
    assert (freed["state"], freed["released_by"], freed["units"]) == ("released", "foreman", [])
    assert foreman.get(reverse("api-job", args=["J-1"])).json()["state"] == "planned"


def test_the_same_request_with_the_same_key_is_answered_alike_and_reserves_once(foreman: APIClient) -> None:
    seen = _seen(foreman, "J-1")
    answers = [_reserve(foreman, "J-1", "one", seen) for _ in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 200]
    assert len({answer.content for answer in answers}) == 1
    assert stock.unit_by_tag("T-16").holds.filter(active=True, reservation__label="J-1").count() == 1


def test_the_same_key_for_another_job_is_refused(foreman: APIClient) -> None:
    assert _reserve(foreman, "J-1", "one").status_code == 200
    assert _release(foreman, "J-1", "one").status_code == 200
    for answer in (_reserve(foreman, "J-2", "one"), _release(foreman, "J-3", "one")):
        assert (answer.status_code, _codes(answer)) == (409, [("", "request_key_reused")])
    assert Job.objects.get(number="J-3").state == "booked"


def test_another_key_is_told_who_was_first(room: dict[str, User], foreman: APIClient) -> None:
    room["storekeeper"].groups.add(*room["foreman"].groups.all())
    second = _as(room["storekeeper"])
    seen = _seen(second, "J-1")
    assert _reserve(foreman, "J-1", "one", seen).status_code == 200
    answer = _reserve(second, "J-1", "two", seen)
    assert (answer.status_code, _codes(answer)) == (409, [("", "job_already_booked")])
    assert answer.json()["errors"][0]["data"]["by"] == "foreman"
    assert "by foreman" in answer.json()["errors"][0]["text"]


def test_where_the_world_moved_every_change_is_told_and_nothing_reserved(foreman: APIClient) -> None:
    seen = _seen(foreman, "J-2")
    assert _reserve(foreman, "J-1", "one").status_code == 200
    answer = _reserve(foreman, "J-2", "two", seen)
    assert answer.status_code == 409
    errors = answer.json()["errors"]
    assert errors[0]["code"] == "plan_moved"
    moved = [error["data"] for error in errors if error["code"] == "line_moved"]
    assert ("A.tap", "match", ["T-16"], "gap", []) in [
        (each["need"], each["was"], each["was_tags"], each["now"], each["now_tags"]) for each in moved
    ]
    assert Job.objects.get(number="J-2").reservation is None


def test_a_repeated_release_touches_nothing_that_was_reserved_since(foreman: APIClient) -> None:
    assert _reserve(foreman, "J-1", "one").status_code == 200
    first = _release(foreman, "J-1", "two")
    assert _reserve(foreman, "J-1", "three").status_code == 200
    again = _release(foreman, "J-1", "two")
    assert (again.status_code, again.content) == (200, first.content)
    assert foreman.get(reverse("api-job", args=["J-1"])).json()["reservation"]["state"] == "active"


def test_what_was_never_reserved_is_not_released(foreman: APIClient) -> None:
    answer = _release(foreman, "J-1", "one")
    assert (answer.status_code, _codes(answer)) == (409, [("", "job_not_booked")])


@pytest.mark.parametrize(
    ("key", "code"),
    [
        (None, "request_key_missing"),
        ("", "request_key_missing"),
        ("x" * 65, "request_key_too_long"),
        ("two words", "request_key_unreadable"),
        ("schlüssel", "request_key_unreadable"),
    ],
)
def test_what_may_be_sent_twice_carries_a_key(foreman: APIClient, key: str | None, code: str) -> None:
    for name, number in (("api-job-reserve", "J-1"), ("api-job-release", "J-3")):
        headers = {} if key is None else {KEY: key}
        answer = foreman.post(reverse(name, args=[number]), {"seen": "[]"}, format="json", **headers)
        assert (answer.status_code, _codes(answer)) == (400, [("Idempotency-Key", code)])
    assert _reserve(foreman, "J-1", "x" * 64).status_code == 200


@pytest.mark.parametrize("seen", ["rubbish", "{}", "7", "[[1]]", "[" * 5000, r'[["A", "1", "match", ["\ud800"]]]'])
def test_a_plan_that_nobody_was_shown_is_refused(foreman: APIClient, seen: str) -> None:
    answer = _reserve(foreman, "J-1", "one", seen)
    assert (answer.status_code, _codes(answer)[0][1]) in [
        (400, "shown_unreadable"),
        (409, "plan_moved"),
    ]
    assert Job.objects.get(number="J-1").reservation is None


def test_a_job_whose_days_are_over_is_not_reserved(foreman: APIClient) -> None:
    Job.objects.filter(number="J-1").update(
        start=timezone.now() - timedelta(days=9), end=timezone.now() - timedelta(days=8)
    )
    answer = _reserve(foreman, "J-1", "one")
    assert (answer.status_code, _codes(answer)) == (409, [("", "window_over")])


# The shopping list


def test_the_shopping_list_is_for_one_job_or_for_all(foreman: APIClient) -> None:
    every = foreman.get(reverse("api-shopping")).json()
    assert {job for row in every["rows"] for job in row["jobs"]} == {"J-4"}
    assert foreman.get(reverse("api-shopping"), {"job": "J-1"}).json()["rows"] == []
    unknown = foreman.get(reverse("api-shopping"), {"job": "J-99"})
    assert (unknown.status_code, _codes(unknown)) == (404, [("", "job_number_unknown")])
    assert foreman.get(reverse("api-shopping"), {"job": "\0"}).status_code == 400
    Job.objects.filter(number="J-4").update(state="cancelled")
    over = foreman.get(reverse("api-shopping"), {"job": "J-4"})
    assert (over.status_code, _codes(over)) == (409, [("", "job_not_open")])


def _at_its_order_point(number: str) -> None:
    bush = InsertFactory.create(number=number, name="bush")
    BatchFactory.create(item=bush, quantity=3)
    order_points.set_order_point(
        item=bush, minimum=1, order_point=5, maximum=12, why="x", by="Bram", as_of=timezone.now()
    )
    purchasing.add_offer(supplier=SupplierFactory.create(), items=[(bush, 1)], pack=5, price=900, number=number)


def test_the_shopping_list_of_all_jobs_tells_what_stands_at_its_order_point_by_the_schema(
    foreman: APIClient, published: dict[str, Any]
) -> None:
    _at_its_order_point("P-1")
    answer = foreman.get(reverse("api-shopping"))
    (row,) = answer.json()["for_stock"]
    names = ("free", "on_order", "position", "order_point", "maximum", "pieces")
    assert [row[name] for name in names] == [3, 0, 3, 5, 12, 9]
    assert (row["purchase"]["packs"], row["purchase"]["goods_minor"], row["purchase"]["days_late"]) == (2, 1800, 0)
    assert untrue(published, "get", "/api/shopping/", answer) == []
    assert foreman.get(reverse("api-shopping"), {"job": "J-4"}).json()["for_stock"] == []


# Refusals of the framework, in the same shape


def _posted(client: APIClient, body: bytes, sort: str = "application/json") -> Any:
    return client.post(reverse("api-plan"), body, content_type=sort)


@pytest.mark.parametrize(
    "body",
    [
        b"{",
        b"\xff",
        b'{"number": NaN}',
        b'{"number": "\\ud800"}',
        b'{"number": "a\\u0000b"}',
        b'{"a\\u0000": 1}',
        b"[" * 100_000,
        b'{"number": ' + b"9" * 10_000 + b"}",
    ],
)
def test_json_that_cannot_be_read_or_kept_is_refused(foreman: APIClient, body: bytes) -> None:
    answer = _posted(foreman, body)
    assert (answer.status_code, _codes(answer)) == (400, [("", "json_unreadable")])


def test_every_refusal_of_the_framework_has_the_one_shape(foreman: APIClient) -> None:
    large = _posted(foreman, b'"' + b"x" * LARGEST_BODY + b'"')
    assert (large.status_code, _codes(large)) == (413, [("", "body_too_large")])
    form = _posted(foreman, b"number=7", "application/x-www-form-urlencoded")
    assert (form.status_code, _codes(form)) == (415, [("", "json_only")])
    method = foreman.delete(reverse("api-jobs"))
    assert (method.status_code, _codes(method)) == (405, [("", "method_not_allowed")])
    page = foreman.get(reverse("api-jobs"), HTTP_ACCEPT="text/html")
    assert (page.status_code, _codes(page)) == (406, [("", "not_acceptable")])
    nothing = foreman.get("/api/nothing/")
    assert (nothing.status_code, _codes(nothing)) == (404, [("", "page_unknown")])
    for address in ("/api/", "/api/schema/"):
        method = foreman.delete(address)
        assert (method.status_code, _codes(method)) == (405, [("", "method_not_allowed")])
    options = foreman.options("/api/")
    assert (options.status_code, _codes(options)) == (405, [("", "method_not_allowed")])
    page = foreman.get("/api/", HTTP_ACCEPT="application/json")
    assert (page.status_code, _codes(page)) == (406, [("", "not_acceptable")])


def test_a_session_must_send_its_token_and_a_program_needs_none(room: dict[str, User]) -> None:
    session = Client(enforce_csrf_checks=True)
    session.force_login(room["foreman"])
    body = json.dumps(job_file("J-9"))
    refused = session.post(reverse("api-plan"), body, content_type="application/json")
    assert (refused.status_code, _codes(refused)) == (403, [("", "csrf_token_missing")])
    program = Client(enforce_csrf_checks=True)
    token = give_token(login="foreman", days=1)
    answer = program.post(
        reverse("api-plan"), body, content_type="application/json", HTTP_AUTHORIZATION=f"Token {token}"
    )
    assert answer.status_code == 200


@pytest.mark.parametrize("header", ["Token", "Token a b", "Token wrong", "Token \xff", "Token \x00"])
def test_a_token_that_is_none_is_refused(room: dict[str, User], header: str) -> None:
    answer = Client().get(reverse("api-jobs"), HTTP_AUTHORIZATION=header)
    assert (answer.status_code, _codes(answer)) == (401, [("", "token_not_valid")])
    assert answer.headers["WWW-Authenticate"] == "Token"


def test_a_token_runs_out_and_goes_with_its_login(room: dict[str, User]) -> None:
    token = give_token(login="fitter", days=2)
    ask = Client(headers={"authorization": f"Token {token}"})
    assert ask.get(reverse("api-jobs")).status_code == 200
    User.objects.filter(username="fitter").update(is_active=False)
    assert ask.get(reverse("api-jobs")).status_code == 401
    User.objects.filter(username="fitter").update(is_active=True)
    AuthToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))
    assert ask.get(reverse("api-jobs")).status_code == 401


# How much is asked of the database

WHO = ["django_session", "auth_user", "auth_group"]
SIZES = ["repairs_familysize", "repairs_shoplimit"]
HOLDS, THINGS = ["inventory_unithold", "inventory_batchhold"], ["inventory_unit", "inventory_batch"]
UNSAVED = ["inventory_item", "inventory_lifefactor", *HOLDS, *THINGS]
SHELF = [
    "inventory_item",
    "inventory_lifefactor",
    *HOLDS,
    "inventory_movement",
    *THINGS,
]  # what is saved may be in hand
GROUPS = ["repairs_holegroup", "repairs_hole", "repairs_position"]
BUY = ["inventory_item", "inventory_offer", "inventory_offeritem", "inventory_pricebreak"]
LOW = ["inventory_orderpoint", "inventory_item", "inventory_batch", "inventory_deliveryline", "inventory_orderpoint"]
LOW += BUY[1:]


def _tables(client: APIClient, address: str, body: Any = None) -> list[str]:
    """Which table each query of a request is about, in their order."""
    with CaptureQueriesContext(connection) as found:
        answer = client.get(address) if body is None else client.post(address, body, format="json")
    assert answer.status_code == 200, answer.content
    return [named[1] for query in found if (named := re.search(r'FROM "(\w+)"', query["sql"]))]


@pytest.mark.parametrize(
    ("asked", "tables"),
    [
        ("/api/jobs/?state=planned&limit=50", [*WHO, "repairs_job", *GROUPS, *SIZES, *SHELF, "repairs_job"]),
        ("/api/shopping/", [*WHO, "repairs_job", *GROUPS, *SIZES, *SHELF, *BUY, *LOW]),
    ],
)
def test_twenty_jobs_ask_no_more_of_the_database_than_two(foreman: APIClient, asked: str, tables: list[str]) -> None:
    Job.objects.filter(number__in=["J-1", "J-3"]).update(state="cancelled")
    for number in range(2):
        _at_its_order_point(f"P-{number}")
    assert _tables(foreman, asked) == tables
    for number in range(18):
        _at_its_order_point(f"P-2{number}")
        file = job_file(f"J-2{number:02}", thread="M24x2" if number % 2 else "M14x1.5")
        jobs.create(read_job(file, as_of=timezone.now()))
    assert _tables(foreman, asked) == tables


@pytest.mark.parametrize("groups", [1, 2, 20])
def test_a_job_of_many_groups_asks_no_more_than_one_of_few(foreman: APIClient, groups: int) -> None:
    file = job_file("J-8")
    group = {**file["parts"][0]["groups"][0], "holes": "1"}
    file["parts"][0]["groups"] = [group] * groups
    assert _tables(foreman, "/api/plan/", file) == [*WHO, *SIZES, *UNSAVED, "inventory_item"]
    assert foreman.post("/api/jobs/", file, format="json").status_code == 201
    job = [*WHO, "repairs_job", *GROUPS, *SIZES, *SHELF]
    assert _tables(foreman, "/api/jobs/J-8/") == [*job, "inventory_item"]
    assert _tables(foreman, "/api/jobs/J-3/") == [*job, "inventory_unithold", "inventory_batchhold", "inventory_item"]
