"""The card on the sheet of its job: pressed, listed, opened, and told to be out of date in words."""

import html
import re

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import stock
from inventory.models import Unit
from inventory.roles import give_role
from repairs.models import Card, Job
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(bench: Bench) -> Bench:
    """The pages look at the clock of this machine, and so does the bench."""
    bench.as_of = timezone.now()
    bench.stock(*BUSH_KIT)
    return bench


@pytest.fixture
def fitter(db: None) -> Client:
    user = get_user_model().objects.create_user("cleo", first_name="Cleo Varga")
    give_role(user, "fitter")
    client = Client()
    client.force_login(user)
    return client


def _print(client: Client, number: str = "J-1") -> int:
    return client.post(reverse("job-card-print", args=[number])).status_code


def _section(client: Client, number: str = "J-1") -> str:
    """What the job's sheet says of its cards, without the markup."""
    text = client.get(reverse("job", args=[number])).content.decode()
    found = re.search(r'<section id="card".*?</section>', text, re.DOTALL)
    assert found
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", found[0])).split())


def test_a_fitter_prints_the_card_and_opens_it(bench: Bench, fitter: Client) -> None:
    bench.save(GROUP)
    assert "No card is printed yet." in _section(fitter)
    assert _print(fitter) == 302
    told = _section(fitter)
    assert "Card 1 says what is planned now." in told
    assert "Card 1 (PDF) printed by Cleo Varga" in told
    answer = fitter.get(reverse("job-card", args=["J-1", 1]))
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
    assert answer.content.startswith(b"%PDF-")
    assert answer.headers["Content-Disposition"].startswith("inline;")


def test_a_press_that_is_repeated_prints_no_second_card(bench: Bench, fitter: Client) -> None:
    bench.save(GROUP)
    page = fitter.get(reverse("job", args=["J-1"])).content.decode()
    form = re.search(r'action="[^"]*/cards/".*?</form>', page, re.DOTALL)
    assert form
    key = re.search(r'name="key" value="([^"]+)"', form[0])
    assert key
    for _ in range(2):
        assert fitter.post(reverse("job-card-print", args=["J-1"]), {"key": key[1]}).status_code == 302
    assert Card.objects.count() == 1


def test_a_card_that_is_out_of_date_says_what_changed(bench: Bench, fitter: Client) -> None:
    bench.save(GROUP)
    _print(fitter)
    tap = Unit.objects.get(tag="T-16")
    stock.lose_unit(unit=tap, as_of=timezone.now(), by="Ida", reason="dropped in the sump")
    told = _section(fitter)
    assert "Card 1 is out of date:" in told
    assert "T-16 (tap) is gone from the shelf" in told
    _print(fitter)
    told = _section(fitter)
    assert "Card 2 says what is planned now." in told
    assert told.index("Card 2 (PDF)") < told.index("Card 1 (PDF)")
    assert "overtaken by card 2" in told


def test_a_job_that_is_over_keeps_its_cards_and_prints_no_more(bench: Bench, fitter: Client) -> None:
    bench.save(GROUP)
    _print(fitter)
    Job.objects.update(state="released")
    told = _section(fitter)
    assert "Card 1 (PDF)" in told
    assert "Print the card" not in told
    assert "out of date" not in told
    assert _print(fitter) == 409
    assert Card.objects.count() == 1


def test_where_no_method_stands_there_is_nothing_to_print(bench: Bench, fitter: Client) -> None:
    bench.save(GROUP | {"hole": "through", "floor": "", "depth": "2"})
    Job.objects.get().groups.all().delete()
    assert "nothing to print" in _section(fitter)
    answer = fitter.post(reverse("job-card-print", args=["J-1"]))
    assert answer.status_code == 409
    assert "No card can be printed for job J-1" in html.unescape(answer.content.decode())


@pytest.mark.parametrize(("number", "card"), [("J-1", 2), ("J-9", 1)])
def test_a_card_that_is_not_there_is_not_found(bench: Bench, fitter: Client, number: str, card: int) -> None:
    bench.save(GROUP)
    _print(fitter)
    assert fitter.get(reverse("job-card", args=[number, card])).status_code == 404


def test_whoever_comes_to_print_by_a_link_is_shown_the_job(bench: Bench, fitter: Client) -> None:
    bench.save(GROUP)
    answer = fitter.get(reverse("job-card-print", args=["J-1"]))
    assert (answer.status_code, answer.headers["Location"]) == (302, reverse("job", args=["J-1"]))
    assert not Card.objects.exists()


def test_the_code_on_the_card_holds_the_address_of_the_job(
    bench: Bench, fitter: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from repairs import printing

    asked = []
    monkeypatch.setattr(printing, "_code", lambda address: asked.append(address) or CODE)
    bench.save(GROUP)
    _print(fitter)
    assert asked == ["http://testserver/jobs/J-1/"]


CODE = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9"/></svg>'


def test_the_sheet_asks_the_same_number_of_times_however_many_cards_there_are(bench: Bench, fitter: Client) -> None:
    bench.save(GROUP)
    counts = []
    for cards in (2, 20):
        while Card.objects.count() < cards:
            if Card.objects.exists():
                first = Card.objects.order_by("number")[0]
                first.pk, first.number = None, Card.objects.count() + 1
                first.save()
            else:
                _print(fitter)
        with CaptureQueriesContext(connection) as queries:
            _section(fitter)
        counts.append(len(queries))
    # two more than the sheet without a card, which asks once for its cards: see test_jobs
    assert counts[0] == counts[1]
