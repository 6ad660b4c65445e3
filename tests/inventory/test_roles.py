"""Roles: what a group gives, what it does not, and what a page or an endpoint answers then."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import AnonymousUser, User
from django.test import RequestFactory

from inventory.models import Movement
from inventory.roles import (
    BUY,
    FITTER,
    FOREMAN,
    MOVE_STOCK,
    READ,
    ROLES,
    STOREKEEPER,
    RoleLacking,
    give_role,
    known_as,
    may,
    page,
)

pytestmark = pytest.mark.django_db


def _person(*roles: str) -> User:
    user = User.objects.create_user("ida")
    for role in roles:
        give_role(user, role)
    return user


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_and_only_the_storekeeper_moves_stock_and_buys(role: str) -> None:
    user = _person(role)
    assert may(user, READ)
    assert may(user, MOVE_STOCK) == may(user, BUY) == (role == STOREKEEPER)


def test_several_roles_add_up_and_none_gives_nothing() -> None:
    user = _person()
    assert not may(user, READ)
    give_role(user, FITTER)
    give_role(user, STOREKEEPER)
    assert may(User.objects.get(), BUY)
    with pytest.raises(ValueError, match="boss"):
        give_role(user, "boss")


def test_a_superuser_may_do_everything_and_nobody_who_is_shut_out_or_not_logged_in() -> None:
    assert may(User.objects.create_superuser("root"), BUY)
    shut_out = _person(STOREKEEPER)
    shut_out.is_active = False
    assert not may(shut_out, READ)
    assert not may(AnonymousUser(), READ)


def test_a_page_leads_strangers_to_the_log_in_and_tells_others_which_role_it_takes(rf: RequestFactory) -> None:
    shown = page(BUY)(lambda request: "the page")  # type: ignore[arg-type, return-value]
    request = rf.get("/buy/")
    request.user = AnonymousUser()
    assert (shown(request).status_code, shown(request).headers["Location"]) == (302, "/login/?next=/buy/")
    request.user = _person(FOREMAN)
    with pytest.raises(RoleLacking) as refused:
        shown(request)
    assert refused.value.reason["roles"] == (STOREKEEPER,)


def test_roles_are_asked_for_once(django_assert_num_queries: pytest.FixtureRequest) -> None:
    user = User.objects.get(pk=_person(FITTER).pk)
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert [may(user, right) for right in (READ, BUY, MOVE_STOCK)] == [True, False, False]


def test_a_login_that_is_too_long_for_the_ledger_is_cut() -> None:
    assert known_as(User(username="ida", first_name="Ida", last_name="Marsh")) == "Ida Marsh"
    user = User.objects.create_user("i" * 150)
    assert len(known_as(user)) == Movement._meta.get_field("by").max_length
