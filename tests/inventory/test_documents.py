"""Threads as documents: plain JSON values, mm and inch, nothing lost."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from inventory.documents import candidate_document, reason, size, thread_document
from inventory.errors import Reason
from inventory.threads import classes, covered, dossier, identify, read


def test_a_size_is_exact_to_the_nanometre() -> None:
    assert size(Decimal("14.376")) == {"mm": "14.376", "in": "0.56598"}
    assert size(Decimal("25.4") / 18) == {"mm": "1.411111", "in": "0.05556"}
    assert size(Decimal("10.000")) == {"mm": "10", "in": "0.39370"}
    assert size(None) is None


def test_reason_data_are_plain() -> None:
    told = reason(Reason("thread_ambiguous", typed="x", candidates=("a", "b"), angles=(Decimal(60), Decimal(55))))
    assert told["data"]["candidates"] == ["a", "b"]
    json.dumps(told)


@pytest.mark.parametrize("system", ["M", "UN", "EG-M", "STI-UN", "BSW", "BSF", "BA", "CYCLE", "BRASS", "G"])
def test_every_covered_thread_of_every_class_has_a_document(system: str) -> None:
    threads = [thread for thread in covered() if thread.system == system]
    assert threads
    for thread in threads[:: max(1, len(threads) // 12)]:
        for each in (*classes(thread), *classes(thread, internal=False)):
            told = json.loads(json.dumps(thread_document(dossier(thread, each))))
            assert told["thread"]["key"] == thread.key
            assert told["internal"] or told["external"]


def test_a_size_reads_the_same_in_mm_and_in_inch() -> None:
    told = thread_document(dossier(read("9/16-18 UNF").thread))
    for limits in (told["basic"], told["internal"]):
        for name, each in limits.items():
            if isinstance(each, dict):
                assert abs(Decimal(each["mm"]) / Decimal("25.4") - Decimal(each["in"])) <= Decimal("0.00001"), name


def test_a_candidate_says_how_far_off_it_is() -> None:
    best = candidate_document(identify(outside_mm=Decimal("9.47"), tpi=Decimal(20))[0])
    assert best["thread"]["designation"] == "3/8-20 BSF"
    assert best["diameter_off"] == {"mm": "0", "in": "0.00000"}
