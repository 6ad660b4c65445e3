"""Who plans, books and accepts, and that a template asks for it by name."""

from types import SimpleNamespace

import pytest
from django.contrib.auth.models import AnonymousUser, User

from inventory.roles import FITTER, FOREMAN, ROLES, STOREKEEPER, give_role, may
from repairs.roles import ACCEPT, BOOK, EXCEPT, HAND_OVER, PLAN, PROVE, RIGHTS, rights

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", ROLES)
def test_everybody_plans_and_only_the_foreman_books_and_accepts(role: str) -> None:
    user = User.objects.create_user("ida")
    give_role(user, role)
    assert may(user, PLAN)
    assert may(user, BOOK) == may(user, ACCEPT) == (role == FOREMAN)


@pytest.mark.parametrize("role", ROLES)
def test_everybody_proves_and_only_the_foreman_signs_exceptions_and_hands_over(role: str) -> None:
    user = User.objects.create_user("ida")
    give_role(user, role)
    assert may(user, PROVE)
    assert may(user, EXCEPT) == may(user, HAND_OVER) == (role == FOREMAN)


def test_a_template_asks_by_the_name_of_the_right() -> None:
    user = User.objects.create_user("ida")
    give_role(user, STOREKEEPER)
    asked = rights(SimpleNamespace(user=user))["may"]
    told = {code: asked[code] for code in RIGHTS}
    given = {"read", "plan", "prove", "move_stock", "buy", "order_points", "run_crib", "count", "post_count"}
    assert {code for code, has in told.items() if has} == given
    assert not told["book"]
    assert not told["accept"]
    with pytest.raises(KeyError):
        asked["fly"]


def test_nobody_is_given_anything_without_logging_in() -> None:
    assert not any(rights(SimpleNamespace(user=AnonymousUser()))["may"][code] for code in RIGHTS)
    assert not any(rights(SimpleNamespace())["may"][code] for code in RIGHTS)
    assert FITTER in PLAN.roles
    assert BOOK.roles == (FOREMAN,)
