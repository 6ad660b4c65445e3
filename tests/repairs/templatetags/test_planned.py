"""What a plan holds, in words: counts, what is asked beyond a name, and links that never break a page."""

from decimal import Decimal

import pytest
from django.template import Context, Template

from repairs import jobs
from repairs.templatetags import planned
from tests.repairs.bench import Bench, line
from tests.repairs.test_whole_path import BUSH_KIT, GROUP


def _shown(text: str, **told: object) -> str:
    return Template("{% load shown planned %}" + text).render(Context(told))


def test_what_is_asked_beyond_the_name_does_not_say_the_name_again(bench: Bench) -> None:
    tap = line(bench.plan(GROUP), "tap").need
    assert planned.named(tap) == "tap M16x1.5"
    assert planned.asked(tap).startswith("class 6H or 5H or 4H, lead at most")
    oil = line(bench.plan(GROUP), "wind_in", "oil").need
    assert (planned.named(oil), planned.asked(oil)) == ("oil", "")


def test_numbers_of_strength_are_rounded_to_the_safe_side_and_nothing_stays_nothing() -> None:
    assert planned.carried(50_789.9) == "50.79 kN (11418 lbf)"
    assert planned.wanted(50_780.1).startswith("50.78 kN")
    assert (planned.share(-0.119), planned.share(0.831)) == ("\u221211.9 %", "+83.1 %")
    assert planned.as_stress(130_000) == "130 MPa (18.9 ksi)"
    assert planned.as_volume(Decimal("638.4"), "in") == "0.039 in³ (638 mm³)"
    nothing = (planned.carried(None), planned.wanted(None), planned.share(None), planned.as_stress(None))
    assert (*nothing, planned.as_volume(None), planned.alloy("")) == ("",) * 6


def test_a_parent_metal_is_told_by_its_name_in_the_table() -> None:
    assert planned.alloy("weakest") == "the weakest of its kind"
    assert planned.alloy("en-gjs-500-7").startswith("EN-GJS-500-7")


@pytest.mark.parametrize("number", ["J-1", "J #1?", "J-<b>"])
def test_a_link_leads_to_its_page_and_what_has_no_address_is_still_told(number: str) -> None:
    job = _shown("{% linked number 'job' number %}", number=number)
    assert job.startswith('<a href="/jobs/J')
    assert "?" not in job.split('"')[1]
    assert "<b>" not in job
    assert _shown("{% linked number 'job' number %}", number="J-<b>/2") == "J-&lt;b&gt;/2"


def test_what_the_job_keeps_is_told_from_what_it_would_take(bench: Bench) -> None:
    bench.stock(*BUSH_KIT)
    job = bench.save(GROUP)
    take = line(jobs.plan_job(job, as_of=bench.as_of), "tap").takes[0]
    assert not planned.is_kept(take, job.number)
    jobs.book(job, by="Ida", as_of=bench.as_of)
    kept = line(jobs.plan_job(job, as_of=bench.as_of), "tap").takes[0]
    assert planned.is_kept(kept, job.number)
    assert not planned.is_kept(kept, "J-2")
