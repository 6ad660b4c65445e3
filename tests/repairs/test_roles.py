"""Who plans, books and accepts, and that a template asks for it by name."""

from types import SimpleNamespace

import pytest
from django.contrib.auth.models import AnonymousUser, User

from inventory.roles import FITTER, FOREMAN, ROLES, STOREKEEPER, give_role, may
from repairs.roles import ACCEPT, BOOK, PLAN, RIGHTS, rights

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", ROLES)
def test_everybody_plans_and_only_the_foreman_books_and_accepts(role: str) -> None:
    user = User.objects.create_user("ida")
    give_role(user, role)
    assert may(user, PLAN)
    assert may(user, BOOK) == may(user, ACCEPT) == (role == FOREMAN)


def test_a_template_asks_by_the_name_of_the_right() -> None:
    user = User.objects.create_user("ida")
    give_role(user, STOREKEEPER)
    asked = rights(SimpleNamespace(user=user))["may"]
    told = {code: asked[code] for code in RIGHTS}
    assert told == {"read": True, "plan": True, "move_stock": True, "buy": True, "book": False, "accept": False}
    with pytest.raises(KeyError):
        asked["fly"]


def test_nobody_is_given_anything_without_logging_in() -> None:
    assert not any(rights(SimpleNamespace(user=AnonymousUser()))["may"][code] for code in RIGHTS)
    assert not any(rights(SimpleNamespace())["may"][code] for code in RIGHTS)
    assert FITTER in PLAN.roles
    assert BOOK.roles == (FOREMAN,)
