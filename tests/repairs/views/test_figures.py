"""The page of the figures: each with its definition, its numbers, and the trend that is drawn from them."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from repairs import jobs
from repairs.models import Kit
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP

pytestmark = pytest.mark.django_db


def test_the_drawing_and_its_table_tell_the_same_and_no_style_stands_in_it(bench: Bench, admin_client: Client) -> None:
    bench.as_of = timezone.now()
    bench.stock(*BUSH_KIT)
    jobs.book(bench.save(GROUP, number="J-1"), by="Ida", as_of=bench.as_of)
    shown = admin_client.get(reverse("figures")).content.decode()
    section = shown.split('id="kit_completeness"')[1].split("</section>")[0]
    assert '<span class="value">100.0 %</span> (1 of 1)' in section
    assert section.count("<circle") == len(re.findall(r"<td class=\"number\">\d+\.\d</td></tr>", section)) == 1
    assert "style=" not in section


def test_the_page_asks_as_many_queries_for_two_jobs_as_for_twenty(bench: Bench, admin_client: Client) -> None:
    bench.as_of = timezone.now()
    bench.stock(*BUSH_KIT)
    counts = []
    for number in range(20):
        Kit.objects.create(job=bench.save(GROUP, number=f"J-{number:02}"), at=bench.as_of, asked=12, filled=11)
        if number + 1 in (2, 20):
            with CaptureQueriesContext(connection) as asked:
                admin_client.get(reverse("figures"))
            counts.append(len(asked))
    assert counts == [18, 18]  # session, user, kits, calibrations, orders, and stock counts month by month
