from decimal import Decimal

import pytest

from inventory.threads import (
    SYSTEMS,
    Thread,
    ThreadError,
    basic,
    classes,
    covered,
    dossier,
    drill_choices,
    external_limits,
    insert_hole,
    insert_hole_tap_major,
    internal_limits,
    look_alikes,
    read,
    series,
    stress_area,
    tap_drill,
)

M14 = read("M14x1.5").thread


def test_the_dossier_says_what_the_single_questions_say() -> None:
    found = dossier(M14)
    assert found.basic == basic(M14)
    assert found.internal == internal_limits(M14)
    assert found.external == external_limits(M14)
    assert (found.internal_classes, found.external_classes) == (classes(M14), classes(M14, internal=False))
    assert found.stress_area_mm2 == stress_area(M14)
    assert found.tap_drill == tap_drill(M14)
    assert found.drills == drill_choices(M14)
    assert found.look_alikes == look_alikes(M14, covered())
    assert found.insert_hole is not None
    assert found.insert_hole.thread == insert_hole(M14)
    assert found.insert_hole.limits == internal_limits(insert_hole(M14))
    assert found.insert_hole.tap_major == insert_hole_tap_major(insert_hole(M14))
    assert (found.standard, found.series, found.how_listed, found.angle) == ("ISO 261", "fine", "read", 60)


def test_every_covered_thread_has_a_dossier_with_its_sources() -> None:
    for system in SYSTEMS:
        for thread in series(system)[::5]:
            found = dossier(thread)
            assert found.internal is not None
            assert (found.external is None) is bool(SYSTEMS[system].bolt)
            assert all(found.sources)
            assert len(found.sources) == len(set(found.sources))
            assert found.internal.source in found.sources


@pytest.mark.parametrize(
    ("typed", "name", "inside", "outside"),
    [
        ("M14x1.5", "5H", "5H", ""),
        ("M14x1.5", "6g", "", "6g"),
        ("M14x1.5", "", "6H", "6g"),
        ("3/8 BSF", "close", "close", "close"),
        ("3/8 BSF", "normal", "normal", ""),
        ("3/8 BSF", "free", "", "free"),
        ("G 1/4", "B", "", "B"),
        ("EG M14x1.5", "", "5H", ""),
    ],
)
def test_a_class_is_answered_for_the_side_or_sides_that_have_it(
    typed: str, name: str, inside: str, outside: str
) -> None:
    found = dossier(read(typed).thread, name)
    assert (found.internal.thread_class if found.internal else "") == inside
    assert (found.external.thread_class if found.external else "") == outside
    assert bool(found.drills) is bool(inside)


def test_an_insert_hole_names_its_bolt_and_a_bolt_its_insert_hole() -> None:
    hole = dossier(read("EG M14x1.5 LH").thread)
    assert hole.bolt == read("M14x1.5 LH").thread
    assert hole.insert_hole is None
    assert dossier(M14).bolt is None
    assert dossier(read("2BA").thread).insert_hole is None


def test_left_hand_look_alikes_are_left_handed() -> None:
    assert all(twin.thread.left for twin in dossier(M14.mirrored()).look_alikes)


def test_a_size_that_no_table_lists_still_has_a_dossier() -> None:
    found = dossier(Thread("M", 14_000_000, 1_750_000))
    assert (found.how_listed, found.series) == ("", "")


def test_a_thread_without_a_standard_drill_says_so_by_having_none() -> None:
    found = dossier(read("EG M60x2").thread)
    assert found.tap_drill is None
    assert found.drills == ()


def test_a_spark_plug_thread_is_known_for_its_use() -> None:
    assert dossier(read("M14x1.25").thread).uses == ("spark_plug",)


def test_a_class_that_the_thread_does_not_have_is_refused() -> None:
    with pytest.raises(ThreadError) as refused:
        dossier(M14, "2B")
    assert refused.value.reason.code == "thread_class_unknown"


def test_sizes_of_a_pipe_thread_are_those_of_its_table() -> None:
    found = dossier(read("G 1/2").thread)
    assert (found.basic.major, found.basic.pitch_diameter) == (Decimal("20.955"), Decimal("19.793"))
    assert (found.tpi, found.angle) == (14, 55)
