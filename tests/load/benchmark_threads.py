"""How long the language of sizes takes: `python -m tests.load.benchmark_threads`, from the top of the project.

Each figure stands beside a baseline of the same run, since a busy machine slows both. Best of several rounds, so that
what else the machine does is left out. Nothing is asserted here: the limits of the first two stand in the tests.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

from inventory.threads import classes, covered, dossier, identify, internal_limits, look_alikes, read

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = 7
_PLAIN = re.compile(r"M(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)|(.+)")


def best(act: Callable[[], object], rounds: int = ROUNDS) -> float:
    """The shortest of several runs, in seconds."""
    least = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        act()
        least = min(least, time.perf_counter() - start)
    return least


def imported(statement: str) -> float:
    """Seconds from the first line of a fresh interpreter to after the statement."""
    probe = f"import time; start = time.perf_counter()\n{statement}\nprint(time.perf_counter() - start)"

    def once() -> float:
        ran = subprocess.run([sys.executable, "-c", probe], cwd=ROOT, capture_output=True, text=True, check=True)
        return float(ran.stdout)

    return min(once() for _ in range(ROUNDS))


def line(what: str, seconds: float, unit: str, baseline: str, base: float) -> None:
    scale = {"µs": 1e6, "ms": 1e3}[unit]
    print(f"{what:<58} {seconds * scale:9.2f} {unit}   {seconds / base:8.1f} x {baseline}")


def main() -> None:
    threads = covered()
    texts = [thread.designation for thread in threads]

    def read_all() -> None:
        for text in texts:
            read(text)

    def match_all() -> None:
        for text in texts:
            _PLAIN.fullmatch(text)

    def read_cold() -> None:
        read.cache_clear()
        read_all()

    print(f"{len(threads)} covered threads, Python {sys.version.split()[0]}\n")
    plain = best(match_all) / len(texts)
    read_all()
    line("read one designation, warm", best(read_all) / len(texts), "µs", "one regular-expression match", plain)
    line("read one designation, not seen before", best(read_cold) / len(texts), "µs", "one such match", plain)

    empty = imported("import csv, dataclasses, decimal, fractions, re")
    line("import inventory.threads", imported("import inventory.threads"), "ms", "its standard library", empty)

    once = {"outside_mm": Decimal("13.9"), "pitch_mm": Decimal("1.5")}
    start = time.perf_counter()
    identify(**once)
    first = time.perf_counter() - start
    scan = best(lambda: [thread for thread in threads if abs(thread.nominal - 13_900_000) < 50_000])
    line("identify over all covered threads, first question", first, "ms", "one pass over their sizes", scan)
    line("identify over all covered threads, warm", best(lambda: identify(**once)), "ms", "such a pass", scan)
    count_only = best(lambda: identify(tpi=Decimal(26)))
    line("identify by a count alone, warm", count_only, "ms", "such a pass", scan)

    bolt = read("M14x1.5").thread
    line("look-alikes among all covered threads", best(lambda: look_alikes(bolt, threads)), "ms", "such a pass", scan)

    def limit_all() -> None:
        internal_limits.cache_clear()
        for thread in threads:
            for name in classes(thread):
                internal_limits(thread, name)

    def a_dossier() -> None:
        dossier.cache_clear()
        dossier(bolt)

    line("limits of every hole and class, not seen before", best(limit_all, 3), "ms", "such a pass", scan)
    line("one dossier, not seen before", best(a_dossier), "ms", "such a pass", scan)


if __name__ == "__main__":
    main()
