"""The settings page: what holds, who set it, and setting it anew."""

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.roles import FITTER, FOREMAN, give_role
from repairs import limits
from repairs.methods.values import DEFAULTS, ORDER
from repairs.models import ShopLimit
from repairs.views.settings import PARTS

pytestmark = pytest.mark.django_db


def logged_in(role: str) -> Client:
    user = User.objects.create_user(role)
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


def _set(client: Client, **sent: str) -> object:
    return client.post("/settings/set/", sent)


def test_every_limit_stands_on_the_page_once() -> None:
    shown = [code for codes in PARTS.values() for code in codes]
    assert sorted(shown) == sorted(DEFAULTS)


def test_a_foreman_sets_a_limit_and_plans_are_made_by_it_from_then_on() -> None:
    client = logged_in(FOREMAN)
    answer = _set(client, code="bite_least", value="60", source="twenty bushes pulled in March")
    assert (answer.status_code, answer["Location"]) == (302, "/settings/#bite_least")
    assert limits.current()["bite_least"] == 60
    page = client.get("/settings/").content.decode()
    assert "twenty bushes pulled in March" in page
    assert "the shop&#x27;s own" in page


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"code": "bite_least", "value": "plenty", "source": "x"}, "“plenty” cannot be read"),
        ({"code": "bite_least", "value": "", "source": "x"}, "cannot be read"),
        ({"code": "bite_least", "value": "60", "source": ""}, "Nothing is entered here; this must be filled in."),
        ({"code": "spindle_steps", "value": "110 fast", "source": "x"}, "whole rpm"),
        ({"code": "method_order", "place-chase": "1", "source": "x"}, "a place of its own"),
    ],
)
def test_what_cannot_be_set_is_told_at_the_field_and_stays_typed(sent: dict[str, str], said: str) -> None:
    answer = _set(logged_in(FOREMAN), **sent)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert said in page
    assert sent.get("value", "") in page
    assert not ShopLimit.objects.exists()


def test_a_setting_that_nobody_knows_is_refused() -> None:
    assert _set(logged_in(FOREMAN), code="luck", value="1", source="x").status_code in (400, 404)
    assert not ShopLimit.objects.exists()


def test_the_order_of_methods_is_given_by_places() -> None:
    backwards = {f"place-{code}": str(len(ORDER) - at) for at, code in enumerate(ORDER)}
    assert _set(logged_in(FOREMAN), code="method_order", source="the old foreman", **backwards).status_code == 302
    assert limits.current().order == ORDER[::-1]


def test_spindle_steps_are_kept_sorted_and_none_means_any_speed() -> None:
    client = logged_in(FOREMAN)
    _set(client, code="spindle_steps", value="450, 110 280", source="the plate on the drill")
    assert limits.current().spindle == (110, 280, 450)
    _set(client, code="spindle_steps", value="", source="the new drill")
    assert limits.current().spindle == ()


def test_a_fitter_reads_them_and_sets_nothing() -> None:
    client = logged_in(FITTER)
    assert "Set it" not in client.get("/settings/").content.decode()
    assert _set(client, code="bite_least", value="60", source="x").status_code == 403


@pytest.mark.parametrize("rows", [2, 20])
def test_the_page_takes_the_same_queries_however_often_a_limit_was_set(
    rows: int, django_assert_num_queries: object, as_of: object
) -> None:
    for number in range(rows):
        limits.change(code="bite_least", value=str(50 + number), source="x", by="Ida", as_of=as_of)
    client = logged_in(FITTER)
    client.get("/settings/")
    with django_assert_num_queries(5):  # session, login, its roles, the limits, who set them
        client.get("/settings/")
