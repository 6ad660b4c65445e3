"""Which unit stands first: kept in the session, and nothing else than a known one."""

from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.roles import give_role


def test_the_unit_that_stands_first_is_kept_and_leads_back_to_the_page(client: Client, db: None) -> None:
    user = User.objects.create_user("ida")
    give_role(user, "fitter")
    client.force_login(user)
    page = reverse("threads") + "?q=M14x1.5"
    answer = client.post(reverse("units"), {"units": "in", "back": page})
    assert (answer.status_code, answer.headers["Location"]) == (302, page)
    assert client.session["units"] == "in"
    client.post(reverse("units"), {"units": "cubits", "back": "https://elsewhere.example/"})
    assert client.session["units"] == "in"


def test_it_never_leads_to_another_site(client: Client, db: None) -> None:
    for back in ("https://elsewhere.example/", "//elsewhere.example/", "", "nowhere", "job"):
        assert client.post(reverse("units"), {"units": "mm", "back": back}).headers["Location"] == "/"
