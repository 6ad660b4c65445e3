import contextlib
import random
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.threads import Reading, Thread, ThreadError, classes, covered, read
from inventory.threads.reading import LONGEST

EVERY_THREAD = covered()


def refusal(text: str) -> tuple[str, dict[str, object]]:
    with pytest.raises(ThreadError) as refused:
        read(text)
    return refused.value.reason.code, dict(refused.value.reason.data)


@pytest.mark.parametrize(
    ("typed", "designation"),
    [
        ("M14 x 1,5", "M14x1.5"),
        ("14x1.5", "M14x1.5"),
        ("m14*1.5", "M14x1.5"),
        ("M14×1.5", "M14x1.5"),
        ("M 14 X 1.50", "M14x1.5"),
        ("M14-1.5", "M14x1.5"),
        ("M14 1.5", "M14x1.5"),
        ("M14x1.5 mm", "M14x1.5"),
        ("MF14x1.5", "M14x1.5"),
        ("M14", "M14x2"),
        ("M10 coarse", "M10x1.5"),
        ("M10x1.25 fine", "M10x1.25"),
        ("M26", "M26x1.5"),
        ("M4 fine", "M4x0.5"),
        ("9/16 UNF", "9/16-18 UNF"),
        ("9/16-18", "9/16-18 UNF"),
        ("9-16 unf", "9/16-18 UNF"),
        ("9-16-18", "9/16-18 UNF"),
        ('9/16"-18 UNF', "9/16-18 UNF"),
        ("9/16 in x 18 tpi", "9/16-18 UNF"),
        (".5625-18", "9/16-18 UNF"),
        (".5625x18", "9/16-18 UNF"),
        ("0.563-18", "9/16-18 UNF"),
        ("5/8-18 NF", "5/8-18 UNF"),
        ("#10-32", "#10-32 UNF"),
        ("10-32", "#10-32 UNF"),
        ("No. 10-32 UNF", "#10-32 UNF"),
        ("#10 UNF", "#10-32 UNF"),
        (".190-32", "#10-32 UNF"),
        ("1-8", "1-8 UNC"),
        ("1-64", "#1-64 UNC"),
        ("1 1/8-7", "1 1/8-7 UNC"),
        ("1-1/8-7 UNC", "1 1/8-7 UNC"),
        ("1½-6", "1 1/2-6 UNC"),
        ("2-4 1/2 UNC", "2-4.5 UNC"),
        ("½-13", "1/2-13 UNC"),
        ("1/2-20 UN", "1/2-20 UNF"),
        ("1/4-20 UNC-2B", "1/4-20 UNC"),
        ("M14x1.5 LH", "M14x1.5-LH"),
        ("M14x1.5LH", "M14x1.5-LH"),
        ("M14x1.5 (left hand)", "M14x1.5-LH"),
        ("L.H. M14x1.5", "M14x1.5-LH"),
        ("M14x1.5 RH", "M14x1.5"),
        ("M14x1.5-6H-LH", "M14x1.5-LH"),
        ("EG M14x1.5", "EG M14x1.5"),
        ("EG14x1.5", "EG M14x1.5"),
        ("M14x1.5 STI", "EG M14x1.5"),
        ("STI 5/16-18", "STI 5/16-18"),
        ("5/16-18 UNC STI LH", "STI 5/16-18-LH"),
        ("3/8 BSF", "3/8-20 BSF"),
        ("BSF 3/8", "3/8-20 BSF"),
        ("3/8-20 B.S.F.", "3/8-20 BSF"),
        ('3/8" x 20 tpi bsf', "3/8-20 BSF"),
        (".375 BSF", "3/8-20 BSF"),
        ("0.219 BSF", "7/32-28 BSF"),
        ("⅜ bsf", "3/8-20 BSF"),
        ("3/8 whit", "3/8-16 BSW"),
        ("3/8 whit.", "3/8-16 BSW"),
        ("3/8-16 Whitworth", "3/8-16 BSW"),
        ("3/8 BSW LH", "3/8-16 BSW-LH"),
        ("W 3/8", "3/8-16 BSW"),
        ("W3/8", "3/8-16 BSW"),
        ("3/8 W", "3/8-16 BSW"),
        ("1 1/8 BSW", "1 1/8-7 BSW"),
        ("1 BSW", "1-8 BSW"),
        ("2-4 1/2 BSW", "2-4.5 BSW"),
        ("2BA", "2 BA"),
        ("2 BA", "2 BA"),
        ("2 b.a.", "2 BA"),
        ("BA 2", "2 BA"),
        ("BA2", "2 BA"),
        ("No. 2 BA", "2 BA"),
        ("0BA LH", "0 BA-LH"),
        ("16 BA", "16 BA"),
        ("G1/4", "G 1/4"),
        ("g 1/4", "G 1/4"),
        ("G 1/4-19", "G 1/4"),
        ("G¼", "G 1/4"),
        ("G 1 1/4", "G 1 1/4"),
        ("G1-1/4", "G 1 1/4"),
        ("G 1", "G 1"),
        ('G 3/4" LH', "G 3/4-LH"),
        ("1/4 bsp", "G 1/4"),
        ("1/4 BSPP", "G 1/4"),
        ("BSP 1/4", "G 1/4"),
        ("1/4 cycle", "1/4-26 cycle"),
        ("1/4 CEI", "1/4-26 cycle"),
        ("1/4-26 BSC", "1/4-26 cycle"),
        ("1/2 x 20 c.e.i.", "1/2-20 cycle"),
        ("1/4 brass", "1/4-26 brass"),
        ("3/8 x 26 BSB", "3/8-26 brass"),
        ("3/4-20 UNEF", "3/4-20 UNEF"),
        ("1 1/8-8UN", "1 1/8-8 UN"),
        ("1 1/8 8 UN", "1 1/8-8 UN"),
        ("1 1/4-12UN", "1 1/4-12 UNF"),
        ("1 3/8-16UN", "1 3/8-16 UN"),
        ("M14 spark plug", "M14x1.25"),
        ("spark plug M10x1", "M10x1"),
        ("14mm spark-plug", "M14x1.25"),
        ("1-10", "1-10 BSF"),
        ("14mm x 1.5mm", "M14x1.5"),
        ("EGM14x1.5", "EG M14x1.5"),
        ("10x32", "#10-32 UNF"),
        ("4x40", "#4-40 UNC"),
        ("8x1.25", "M8x1.25"),
        ("G 1/4 BSP", "G 1/4"),
        ("3/8 BSW Whitworth", "3/8-16 BSW"),
        ("Ｍ１４×１．５", "M14x1.5"),
        ("\ufeffM14x1.5", "M14x1.5"),
        ("\u200fM14\u200bx1.5\u200e", "M14x1.5"),
        ("М14х1,5", "M14x1.5"),  # as a Cyrillic keyboard writes it
    ],
)
def test_one_thread_is_read_from_all_usual_spellings(typed: str, designation: str) -> None:
    reading = read(typed)
    assert reading.thread.designation == designation
    assert reading.typed == typed


@pytest.mark.parametrize(
    ("typed", "thread_class"),
    [
        ("M14x1.5-6H-LH", "6H"),
        ("M14x1.5 6g", "6g"),
        ("M14x1.5-4H5H", "4H5H"),
        ("1/4-20 UNC-2b", "2B"),
        ("1/4-20 UNC 3A", "3A"),
        ("EG M14x1.5 4H", "4H5H"),
        ("EG M14x1.5-5H", "5H"),
        ("M14x1.5", ""),
        ("3/8 BSF medium", "medium"),
        ("3/8 BSF Free Fit", "free"),
        ("3/8 whit close class", "close"),
        ("2BA normal", "normal"),
        ("G1/4A", "A"),
        ("G 1/4 B", "B"),
        ("G 1/4 - A LH", "A"),
        ("G 1/4, B", "B"),
        ("G 1/4", ""),
    ],
)
def test_a_class_is_read_and_its_case_says_the_side(typed: str, thread_class: str) -> None:
    assert read(typed).thread_class == thread_class


@pytest.mark.parametrize(
    ("typed", "code", "data"),
    [
        ("M10", "pitch_assumed_coarse", {"thread": "M10x1.5", "others": ("M10x1.25", "M10x1", "M10x0.75")}),
        (
            "M10-LH",
            "pitch_assumed_coarse",
            {"thread": "M10x1.5-LH", "others": ("M10x1.25-LH", "M10x1-LH", "M10x0.75-LH")},
        ),
        (
            "EG M10",
            "pitch_assumed_coarse",
            {"thread": "EG M10x1.5", "others": ("EG M10x1.25", "EG M10x1", "EG M10x0.75")},
        ),
        ("14x1.5", "system_assumed_metric", {"thread": "M14x1.5"}),
        ("14-1.5", "system_assumed_metric", {"thread": "M14x1.5"}),
        ("10-1.5", "system_assumed_metric", {"thread": "M10x1.5"}),
        ("14 mm", "pitch_assumed_coarse", {"thread": "M14x2", "others": ("M14x1.5", "M14x1.25", "M14x1")}),
        ('1" UNC', "pitch_from_series", {"thread": "1-8 UNC", "series": "UNC"}),
        ("9/16 UNF", "pitch_from_series", {"thread": "9/16-18 UNF", "series": "UNF"}),
        ("M10 coarse", "pitch_from_series", {"thread": "M10x1.5", "series": "coarse"}),
        ("M26", "pitch_from_series", {"thread": "M26x1.5", "series": "fine"}),
        ("0.563-18", "size_read_as", {"typed": "0.563", "size": "9/16"}),
        ("3/8 BSF", "pitch_from_series", {"thread": "3/8-20 BSF", "series": "BSF"}),
        ("1/4 cycle", "pitch_from_series", {"thread": "1/4-26 cycle", "series": "cycle"}),
        ("M14 spark plug", "pitch_from_series", {"thread": "M14x1.25", "series": "spark plug"}),
        ("3/8-16", "system_assumed_unified", {"thread": "3/8-16 UNC", "others": ("3/8-16 BSW",)}),
        ("3/8-16 LH", "system_assumed_unified", {"thread": "3/8-16 UNC-LH", "others": ("3/8-16 BSW-LH",)}),
        ("1-10", "system_from_pitch", {"thread": "1-10 BSF"}),
        ("1/4 bsp", "bsp_taken_as_parallel", {"thread": "G 1/4"}),
    ],
)
def test_what_was_filled_in_is_said(typed: str, code: str, data: dict[str, object]) -> None:
    (note,) = read(typed).notes
    assert (note.code, dict(note.data)) == (code, data)


@pytest.mark.parametrize("typed", ["M14x1.5", "9/16-18 UNF", "#10-32", "10-32", ".5625-18", "EG M14x1.5-5H-LH"])
def test_a_full_designation_needs_no_note(typed: str) -> None:
    assert read(typed).notes == ()


@pytest.mark.parametrize(
    ("typed", "code", "data"),
    [
        ("", "thread_empty", {}),
        (" \t", "thread_empty", {}),
        ("x" * (LONGEST + 1), "thread_too_long", {"length": LONGEST + 1, "longest": LONGEST}),
        ("bolt", "thread_unreadable", {"typed": "bolt"}),
        ("M", "thread_unreadable", {"typed": "M"}),
        ("M14²", "thread_unreadable", {"typed": "M14²"}),
        ("M8x1.25x30", "thread_unreadable", {"typed": "M8x1.25x30"}),
        ("9/16-18 fine", "thread_unreadable", {"typed": "9/16-18 fine"}),
        ("M14x1.5 LH RH", "thread_unreadable", {"typed": "M14x1.5 LH RH"}),
        ("1/0-18", "thread_unreadable", {"typed": "1/0-18"}),
        ("1/2-14 NPT", "thread_not_covered", {"system": "NPT", "typed": "1/2-14 NPT"}),
        ("R1/2", "thread_not_covered", {"system": "R", "typed": "R1/2"}),
        ("Rc 1/2", "thread_not_covered", {"system": "R", "typed": "Rc 1/2"}),
        ("Tr16x4", "thread_not_covered", {"system": "Tr", "typed": "Tr16x4"}),
        ("MJ6x1", "thread_not_covered", {"system": "MJ", "typed": "MJ6x1"}),
        ("M15.5", "thread_size_unknown", {"size": "M15.5", "candidates": ("M15x1.5", "M16x2")}),
        ("M80", "thread_size_unknown", {"size": "M80", "candidates": ("M64x6",)}),
        ("#9-32", "thread_size_unknown", {"size": "#9", "candidates": ("#8-32 UNC", "#10-24 UNC")}),
        ("0.2-20", "thread_size_unknown", {"size": "0.2", "candidates": ("#10-24 UNC", "#12-24 UNC")}),
        (
            "M14x15",
            "thread_pitch_impossible",
            {"size": "M14", "pitch": "15", "unit": "mm", "candidates": ("M14x1.5",)},
        ),
        (
            "M8x30",
            "thread_pitch_impossible",
            {"size": "M8", "pitch": "30", "unit": "mm", "candidates": ("M8x1.25", "M8x1", "M8x0.75")},
        ),
        (
            "M8x0",
            "thread_pitch_impossible",
            {"size": "M8", "pitch": "0", "unit": "mm", "candidates": ("M8x1.25", "M8x1", "M8x0.75")},
        ),
        (
            "#8-999",
            "thread_pitch_impossible",
            {"size": "#8", "pitch": "999", "unit": "tpi", "candidates": ("#8-32 UNC", "#8-36 UNF")},
        ),
        (
            "M14x1.75",
            "thread_pitch_not_in_series",
            {
                "size": "M14",
                "pitch": "1.75",
                "unit": "mm",
                "belongs": "",
                "candidates": ("M14x2", "M14x1.5", "M14x1.25", "M14x1"),
            },
        ),
        (
            "M14x1.6",
            "thread_pitch_not_in_series",
            {
                "size": "M14",
                "pitch": "1.6",
                "unit": "mm",
                "belongs": "",
                "candidates": ("M14x1.5", "M14x1.25", "M14x2", "M14x1"),
            },
        ),
        ("M14x1.5 UNF", "thread_says_two", {"typed": "M14x1.5 UNF", "said": ("UNF", "metric")}),
        ("M6 BSF", "thread_says_two", {"typed": "M6 BSF", "said": ("BSF", "metric")}),
        ("3/8 BSF UNF", "thread_says_two", {"typed": "3/8 BSF UNF", "said": ("BSF", "UNF")}),
        ("3/8 BSF fine", "thread_says_two", {"typed": "3/8 BSF fine", "said": ("BSF", "fine")}),
        ("3/8 BSF cycle", "thread_says_two", {"typed": "3/8 BSF cycle", "said": ("BSF", "cycle")}),
        ("3/8 UNC UNF", "thread_says_two", {"typed": "3/8 UNC UNF", "said": ("UNC", "UNF")}),
        ("M14x1.5-6H/6g", "thread_class_pair", {"typed": "M14x1.5-6H/6g", "classes": ("6H", "6g")}),
        ("M14x1.5 6H 6g", "thread_class_pair", {"typed": "M14x1.5 6H 6g", "classes": ("6H", "6g")}),
        ("1/2-13 UNC 2B / 2A", "thread_class_pair", {"typed": "1/2-13 UNC 2B / 2A", "classes": ("2B", "2A")}),
        (
            "1/8-27",
            "thread_pitch_not_in_series",
            {
                "size": "1/8",
                "pitch": "27",
                "unit": "tpi",
                "belongs": "taper pipe (NPT)",
                "candidates": ("1/8-26 brass", "#5-40 UNC", "1/8-40 BSW", "1/8-40 cycle", "#5-44 UNF"),
            },
        ),
        (
            "1/2-14 UNC",
            "thread_pitch_not_in_series",
            {"size": "1/2", "pitch": "14", "unit": "tpi", "belongs": "pipe", "candidates": ("1/2-13 UNC",)},
        ),
        (
            "9/16-19",
            "thread_pitch_not_in_series",
            {
                "size": "9/16",
                "pitch": "19",
                "unit": "tpi",
                "belongs": "pipe",
                "candidates": (
                    *("9/16-18 UNF", "9/16-20 UN", "9/16-20 cycle"),
                    *("9/16-16 UN", "9/16-16 BSF", "9/16-24 UNEF"),
                ),
            },
        ),
        (
            "#8-33",
            "thread_pitch_not_in_series",
            {
                "size": "#8",
                "pitch": "33",
                "unit": "tpi",
                "belongs": "",
                "candidates": ("#8-32 UNC", "#8-36 UNF"),
            },
        ),
        (
            "9/16-19 UNF",
            "thread_pitch_not_in_series",
            {"size": "9/16", "pitch": "19", "unit": "tpi", "belongs": "pipe", "candidates": ("9/16-18 UNF",)},
        ),
        (
            "5/8-18 UNC",
            "thread_wrong_series",
            {
                "typed": "5/8-18 UNC",
                "series": "UNC",
                "found": "5/8-18 UNF",
                "found_series": "UNF",
                "candidates": ("5/8-11 UNC", "5/8-18 UNF"),
            },
        ),
        (
            "1 3/4 UNEF",
            "thread_wrong_series",
            {
                "typed": "1 3/4 UNEF",
                "series": "UNEF",
                "found": "",
                "found_series": "",
                "candidates": (
                    "1 3/4-5 UNC",
                    "1 3/4-6 UN",
                    "1 3/4-8 UN",
                    "1 3/4-12 UN",
                    "1 3/4-16 UN",
                    "1 3/4-20 UN",
                ),
            },
        ),
        (
            "M10x1.5 fine",
            "thread_wrong_series",
            {
                "typed": "M10x1.5 fine",
                "series": "fine",
                "found": "M10x1.5",
                "found_series": "coarse",
                "candidates": ("M10x1.25", "M10x1", "M10x0.75", "M10x1.5"),
            },
        ),
        ("#8", "thread_ambiguous", {"typed": "#8", "candidates": ("#8-32 UNC", "#8-36 UNF")}),
        ("M15", "thread_ambiguous", {"typed": "M15", "candidates": ("M15x1.5", "M15x1")}),
        (
            "M10 fine",
            "thread_ambiguous",
            {"typed": "M10 fine", "candidates": ("M10x1.25", "M10x1", "M10x0.75")},
        ),
        (
            "3-8",
            "thread_ambiguous",
            {
                "typed": "3-8",
                "candidates": (
                    *("3/8-16 UNC", "3/8-24 UNF", "3/8-32 UNEF", "3/8-20 UN", "3/8-28 UN"),
                    *("3/8-16 BSW", "3/8-20 BSF", "3/8-26 brass", "3/8-26 cycle", "G 3/8"),
                ),
                "angles": (*("60°",) * 5, *("55°",) * 3, "60°", "55°"),
            },
        ),
        (
            "1/4 26",
            "thread_ambiguous",
            {
                "typed": "1/4 26",
                "candidates": ("1/4-26 BSF", "1/4-26 brass", "1/4-26 cycle"),
                "angles": ("55°", "55°", "60°"),
            },
        ),
        (
            "1/4-26 LH",
            "thread_ambiguous",
            {
                "typed": "1/4-26 LH",
                "candidates": ("1/4-26 BSF-LH", "1/4-26 brass-LH", "1/4-26 cycle-LH"),
                "angles": ("55°", "55°", "60°"),
            },
        ),
        (
            "3/8-20",
            "thread_ambiguous",
            {"typed": "3/8-20", "candidates": ("3/8-20 UN", "3/8-20 BSF"), "angles": ("60°", "55°")},
        ),
        (
            "1/2 cycle",
            "thread_ambiguous",
            {"typed": "1/2 cycle", "candidates": ("1/2-20 cycle", "1/2-26 cycle")},
        ),
        (
            "3/8-16 BSF",
            "thread_pitch_not_in_series",
            {
                "size": "3/8",
                "pitch": "16",
                "unit": "tpi",
                "belongs": "UNC, BSW",
                "candidates": ("3/8-20 BSF",),
            },
        ),
        (
            "3/8-24 BSF",
            "thread_wrong_series",
            {
                "typed": "3/8-24 BSF",
                "series": "BSF",
                "found": "3/8-24 UNF",
                "found_series": "UNF",
                "candidates": ("3/8-20 BSF", "3/8-24 UNF"),
            },
        ),
        (
            "1/4-26 UNF",
            "thread_pitch_not_in_series",
            {
                "size": "1/4",
                "pitch": "26",
                "unit": "tpi",
                "belongs": "BSF, brass, cycle",
                "candidates": ("1/4-28 UNF",),
            },
        ),
        (
            "1/2-14",
            "thread_pitch_not_in_series",
            {
                "size": "1/2",
                "pitch": "14",
                "unit": "tpi",
                "belongs": "pipe",
                "candidates": (*("G 1/2", "1/2-13 UNC", "1/2-16 UN", "1/2-12 BSW", "1/2-16 BSF", "1/2-20 UNF"),),
            },
        ),
        (
            "3/8-200 BSF",
            "thread_pitch_impossible",
            {"size": "3/8", "pitch": "200", "unit": "tpi", "candidates": ("3/8-20 BSF",)},
        ),
        ("5/7 BSF", "thread_unreadable", {"typed": "5/7 BSF"}),
        ("10 BSF", "thread_size_unknown", {"size": "10 BSF", "candidates": ("2-7 BSF",)}),
        ("5 BSF", "thread_size_unknown", {"size": "5 BSF", "candidates": ("2-7 BSF",)}),
        ("#5 BSF", "thread_size_unknown", {"size": "#5 BSF", "candidates": ("#5-40 UNC", "#5-44 UNF")}),
        ("17BA", "thread_size_unknown", {"size": "17 BA", "candidates": ("16 BA",)}),
        ("2.5 BA", "thread_unreadable", {"typed": "2.5 BA"}),
        ("G 1/3", "thread_size_unknown", {"size": "G 1/3", "candidates": ("G 3/8", "G 1/4")}),
        ("G 1/0", "thread_unreadable", {"typed": "G 1/0"}),
        ("G 1/4 C", "thread_unreadable", {"typed": "G 1/4 C"}),
        (
            "G 1/4-18",
            "thread_pitch_not_in_series",
            {"size": "G 1/4", "pitch": "18", "unit": "tpi", "belongs": "", "candidates": ("G 1/4",)},
        ),
        ("W 21.8x1/14", "thread_unreadable", {"typed": "W 21.8x1/14"}),
        ("EG 3/8 BSF", "thread_no_insert_hole", {"thread": "3/8-20 BSF"}),
        (
            "M12 spark plug x",
            "thread_unreadable",
            {"typed": "M12 spark plug x"},
        ),
        (
            "M16 spark plug",
            "thread_wrong_series",
            {
                "typed": "M16 spark plug",
                "series": "spark plug",
                "found": "",
                "found_series": "",
                "candidates": ("M16x2", "M16x1.5", "M16x1"),
            },
        ),
        (
            "M14x1.5 spark plug",
            "thread_wrong_series",
            {
                "typed": "M14x1.5 spark plug",
                "series": "spark plug",
                "found": "M14x1.5",
                "found_series": "fine",
                "candidates": ("M14x1.25", "M14x1.5"),
            },
        ),
        (
            "3/8 BSF 6H",
            "thread_class_unknown",
            {
                "thread_class": "6H",
                "thread": "3/8-20 BSF",
                "known": ("close", "medium", "normal", "free"),
            },
        ),
        (
            "G 1/4 medium",
            "thread_class_unknown",
            {"thread_class": "medium", "thread": "G 1/4", "known": ("internal", "A", "B")},
        ),
        ("1/2 UN", "thread_ambiguous", {"typed": "1/2 UN", "candidates": ("1/2-16 UN", "1/2-32 UN")}),
        ("14", "thread_ambiguous", {"typed": "14", "candidates": ("M14x2", "M14x1.5", "M14x1.25", "M14x1")}),
        (
            "10",
            "thread_ambiguous",
            {
                "typed": "10",
                "candidates": ("#10-24 UNC", "#10-32 UNF", "M10x1.5", "M10x1.25", "M10x1", "M10x0.75"),
            },
        ),
        ("EG M15", "thread_ambiguous", {"typed": "EG M15", "candidates": ("EG M15x1.5", "EG M15x1")}),
        (
            "M14x1.5 2B",
            "thread_class_unknown",
            {
                "thread_class": "2B",
                "thread": "M14x1.5",
                "known": ("4H", "5H", "6H", "7H", "6G", "4h", "6h", "6g"),
            },
        ),
        (
            "M2x0.25-6H",
            "thread_class_unknown",
            {"thread_class": "6H", "thread": "M2x0.25", "known": ("4H", "5H", "4h", "6h", "6g")},
        ),
        (
            "EG M14x1.5 6g",
            "thread_class_unknown",
            {"thread_class": "6g", "thread": "EG M14x1.5", "known": ("4H5H", "5H", "6H")},
        ),
    ],
)
def test_a_refusal_says_what_is_wrong_and_what_would_do(typed: str, code: str, data: dict[str, object]) -> None:
    assert refusal(typed) == (code, data)


@pytest.mark.parametrize(
    ("typed", "system"),
    [
        ("1/2-14 NPT", "NPT"),
        ("1/2 NPTF", "NPT"),
        ("1/2 BSPT", "BSPT"),
        ("R 1/2", "R"),
        ("Rc1/2", "R"),
        ("Rp 1/2", "R"),
        ("1/2 Rc", "R"),
        ("Tr 20x4", "Tr"),
        ("Tr20x4 LH", "Tr"),
        ("1/2 ACME", "ACME"),
        ("Pg 16", "Pg"),
        ("1/4-28 UNJF", "UNJ"),
        ("M16x4 trapezoidal", "Tr"),
        ("LH Tr 16x4", "Tr"),
        ("Tr.16x4", "Tr"),
        ("1/2 R", "R"),
        ("R-1/2", "R"),
        ("1/2 B.S.P.T.", "BSPT"),
        ("1/2 BSP taper", "BSPT"),
        ("1/2 N.P.T.", "NPT"),
    ],
)
def test_systems_that_are_not_covered_are_never_turned_into_something_else(typed: str, system: str) -> None:
    assert refusal(typed) == ("thread_not_covered", {"system": system, "typed": typed})


def test_printing_and_reading_give_the_same_thread_again() -> None:
    for thread in EVERY_THREAD:
        for hand in (thread, thread.mirrored()):
            assert read(hand.designation) == Reading(hand, "", (), hand.designation)


@pytest.mark.parametrize("hand", "RL")
def test_a_class_survives_printing_and_reading(hand: str) -> None:
    for thread in covered(hand):
        for name in classes(thread) + classes(thread, internal=False):
            for text in (f"{thread.designation} {name}", f"{thread.designation}-{name}"):
                reading = read(text)
                assert (reading.thread, reading.thread_class) == (thread, name), text


@given(st.text(max_size=LONGEST + 5))
def test_any_text_is_read_or_refused(text: str) -> None:
    with contextlib.suppress(ThreadError):
        assert read(text).typed == text


def test_a_hundred_thousand_strings_raise_nothing_but_a_thread_error() -> None:
    chance = random.Random(20261125)
    pieces = [
        *"0123456789./-x #MGR,'\"×½²–\x00💧٣",
        *("M14", "1.5", "9/16", "UNF", "UN", "LH", "EG ", "STI ", "6H", "2B", " 1/2", "TPI", "10-32", "NO"),
        *(" BSF", "WHIT", "BA", "G1/4", "BSP", " CEI", " BRASS", "W ", "MEDIUM", " SPARK PLUG", "26", "1/4"),
    ]
    outcomes = {True: 0, False: 0}
    for _ in range(100_000):
        text = "".join(chance.choices(pieces, k=chance.randint(0, 9)))
        try:
            thread = read(text).thread
        except ThreadError as refused:
            outcomes[False] += 1
            for value in refused.reason.data.values():
                assert isinstance(value, str | int | tuple)
        else:
            outcomes[True] += 1
            assert Thread.from_key(thread.key) == thread
    assert outcomes[True] > 100
    assert outcomes[False] > 100


def test_the_room_is_imported_without_a_framework() -> None:
    """What reading and import cost is told by `python -m tests.load.benchmark_threads`, not tested."""
    probe = "import inventory.threads, sys; print('django' in sys.modules, 'pint' in sys.modules)"
    root = Path(__file__).parents[3]
    found = subprocess.run([sys.executable, "-c", probe], cwd=root, capture_output=True, text=True, check=True)
    assert found.stdout.split() == ["False", "False"]
