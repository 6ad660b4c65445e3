"""What printing a job card costs: `python -m tests.load.benchmark_card`.

The first card of a process (cold) and the best of several after it (warm), planning and reading the document beside
them, each with its ratio to a baseline of the same run: one page of the same paper and fonts with a line of text on it.
Times are CPU seconds of this process, since the machine may have others to serve. Each warm card has another number,
so that nothing is answered from what was laid out before.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")

import django

django.setup()

# ruff: noqa: E402  the settings must stand before anything of Django's is imported
import typst
from django.test.runner import DiscoverRunner
from django.utils import timezone

from repairs import cards, jobs, printing
from repairs.management.commands.demo import load_workshop

ROUNDS = 7
JOBS = ("J-1041", "J-1047", "J-1048", "J-1052")  # four holes, keyed bushes, eight holes, three groups
ADDRESS = "https://crib.example/jobs/J-1041/"
EMPTY = '#set page(paper: "a4")\n#set text(font: "Libertinus Serif")\nCard '


def empty(turn: int) -> None:
    """The least that a page can be."""
    fonts = typst.Fonts(include_system_fonts=False)
    typst.compile(f"{EMPTY}{turn}".encode(), format="pdf", font_paths=fonts, ignore_system_fonts=True, timestamp=0)


def best(done: Callable[[int], Any]) -> float:
    """CPU seconds of the quickest round."""
    least = float("inf")
    for turn in range(ROUNDS):
        start = time.process_time()
        done(turn)
        least = min(least, time.process_time() - start)
    return least


def main() -> None:
    runner = DiscoverRunner(verbosity=0, interactive=False)
    runner.setup_test_environment()
    kept: Any = runner.setup_databases()
    try:
        now = timezone.now()
        load_workshop(as_of=now)
        base = best(empty)
        print(f"best of {ROUNDS}, CPU; x: times an empty page, {base * 1e3:.1f} ms")
        for number in JOBS:
            job = jobs.by_number(number)
            plan = jobs.plan_job(job, as_of=now, every_size=False)
            found, drawn = cards.document(plan), printing.sections(plan, units="mm")
            start = time.process_time()
            printing.pdf(found, drawn, address=ADDRESS, units="mm")
            first = time.process_time() - start
            measured = {
                "planned": best(lambda _, job=job: jobs.plan_job(job, as_of=now, every_size=False)),
                "document": best(lambda _, plan=plan: cards.document(plan)),
                "sections": best(lambda _, plan=plan: printing.sections(plan, units="mm")),
                "PDF, first": first,
                "PDF, warm": best(
                    lambda turn, found=found, drawn=drawn: printing.pdf(
                        found, drawn, address=ADDRESS, units="mm", number=turn + 2
                    )
                ),
            }
            told = "".join(f"  {name} {cpu * 1e3:6.1f} ms {cpu / base:5.1f} x" for name, cpu in measured.items())
            print(f"{number}{told}")
    finally:
        runner.teardown_databases(kept)
        runner.teardown_test_environment()


if __name__ == "__main__":
    main()
