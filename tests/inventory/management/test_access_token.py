"""The command that gives a program its token."""

from __future__ import annotations

from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from inventory.roles import give_role

pytestmark = pytest.mark.django_db


def _run(*words: str) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("access_token", *words, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_the_token_alone_is_printed_and_opens_the_api_until_it_is_taken_back() -> None:
    give_role(User.objects.create_user("ida"), "fitter")
    out, err = _run("ida", "--days", "2")
    token = out.strip()
    assert out == f"{token}\n"
    assert "2 days" in err
    assert token not in err
    program = Client(headers={"authorization": f"Token {token}"})
    assert program.get(reverse("api-thread"), {"q": "M14"}).status_code == 200
    assert _run("ida", "--revoke") == ("1 token of ida taken back.\n", "")
    assert program.get(reverse("api-thread"), {"q": "M14"}).status_code == 401


@pytest.mark.parametrize(
    ("words", "told"),
    [(["nobody"], "no login “nobody”"), (["ida", "--days", "0"], "1 to 3650"), (["nobody", "--revoke"], "nobody")],
)
def test_what_cannot_be_given_is_told_in_one_sentence(words: list[str], told: str) -> None:
    User.objects.create_user("ida")
    with pytest.raises(CommandError, match=told):
        _run(*words)
