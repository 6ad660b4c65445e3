"""A race: many processes try the same thing at once, and what they were answered is counted."""

import multiprocessing
import random
from collections import Counter
from collections.abc import Callable
from typing import Any

from django.db import connection, connections

WRITERS, TRIES = 8, 20

Try = Callable[[random.Random], str]


def race(attempt: Try, tries: int = TRIES) -> Counter[str]:
    """What `WRITERS` processes were answered, each trying so many times; they start together."""
    context: Any = multiprocessing.get_context("fork")
    gate, answers = context.Barrier(WRITERS), context.SimpleQueue()

    def write(seed: int) -> None:
        chance = random.Random(seed)
        gate.wait(30)
        told: Counter[str] = Counter()
        for _ in range(tries):
            try:
                told[attempt(chance)] += 1
            except Exception as error:  # whatever it was, the race shall tell of it
                told[f"{type(error).__name__}: {error}"] += 1
        answers.put(told)
        connections.close_all()

    # A process must not go on with a connection, nor with a pool's threads, of the one it came from.
    connections.close_all()
    if connection.vendor == "postgresql":
        connection.close_pool()
    writers = [context.Process(target=write, args=(seed,)) for seed in range(WRITERS)]
    for writer in writers:
        writer.start()
    total: Counter[str] = Counter()
    for _ in writers:
        total += answers.get()
    for writer in writers:
        writer.join(30)
        assert writer.exitcode == 0
    assert sum(total.values()) == WRITERS * tries
    return total


def held_twice() -> int:
    """How many pairs of active holds of one unit overlap."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM inventory_unithold a JOIN inventory_unithold b ON a.unit_id = b.unit_id "
            'AND a.id < b.id AND a.active AND b.active AND a."start" < b."end" AND b."start" < a."end"'
        )
        return int(cursor.fetchone()[0])
