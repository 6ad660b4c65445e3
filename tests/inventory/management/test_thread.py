"""The command `thread`: for people and for programs, with an answer or with what would do."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command


def told(*arguments: str) -> str:
    out = StringIO()
    call_command("thread", *arguments, stdout=out)
    return out.getvalue()


def documents(*arguments: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(told(*arguments, "--format", "json"))
    return found


def refused(*arguments: str) -> CommandError:
    with pytest.raises(CommandError) as caught:
        told(*arguments)
    assert caught.value.returncode == 2
    return caught.value


def test_several_threads_are_told_in_their_order() -> None:
    text = told("M14 x 1,5", "9/16-18")
    assert text.index("M14x1.5  (typed 'M14 x 1,5')") < text.index("9/16-18 UNF  (typed '9/16-18')")


def test_a_program_gets_every_size_in_mm_and_inch() -> None:
    (found,) = documents("M14 x 1,5")
    # ISO 724 basic sizes of M14x1.5; ISO 965-2 6H and 6g
    assert found["basic"]["pitch_diameter"]["mm"] == "13.026"
    assert found["internal"]["minor_max"] == {"mm": "12.676", "in": "0.49906"}
    assert found["external"]["major_max"]["mm"] == "13.968"
    assert found["stress_area"]["mm2"].startswith("124.5")
    assert found["insert_hole"]["limits"]["minor_min"]["mm"] == "14.325"
    drill = found["drills"][0]
    assert (drill["diameter"]["mm"], drill["position_percent"]) == ("12.5", "41.3")
    assert [each["basis"] for each in drill["percent_of_thread"]] == ["5/8 H", "3/4 H", "the form's own depth"]
    assert found["look_alikes"]
    assert found["sources"]


def test_one_answer_for_each_class() -> None:
    found = documents("M14x1.5", "--class", "4H", "--class", "6g")
    assert [(each["internal"] or each["external"])["class"] for each in found] == ["4H", "6g"]


def test_all_classes_are_every_one_the_thread_has() -> None:
    found = documents("M14x1.5", "--class", "all")
    classes = {*found[0]["classes"]["internal"], *found[0]["classes"]["external"]}
    assert {(each["internal"] or each["external"])["class"] for each in found} == classes


def test_the_usual_drill_above_the_window_is_flagged() -> None:
    # 33/64 for 9/16-18 UNF is 0.0006 in above the 2B maximum of 0.515 in (ASME B1.1).
    (found,) = documents("9/16-18 UNF")
    flags = {drill["name"]: drill["flag"] for drill in found["drills"]}
    assert flags["33/64 in"] == "published_above"


def test_inches_lead_where_asked() -> None:
    assert "0.5512 in    14.000 mm" in told("M14x1.5", "--units", "in")


@pytest.mark.parametrize(
    ("typed", "proposal"),
    [("M14x15", "M14x1.5"), ("5/8-18 UNC", "5/8-11 UNC"), ("1/4 26", "1/4-26 cycle"), ("", "for example")],
)
def test_what_cannot_be_read_is_refused_with_what_would_do(typed: str, proposal: str) -> None:
    assert proposal in str(refused(typed))


def test_one_slip_does_not_hide_the_other_threads() -> None:
    out = StringIO()
    with pytest.raises(CommandError) as caught:
        call_command("thread", "M14x15", "9/16-18", "1/4 26", stdout=out)
    assert caught.value.returncode == 2
    assert out.getvalue().startswith("9/16-18 UNF")
    assert [line.split(":")[0] for line in str(caught.value).splitlines()] == [
        "M14x15",
        "“1/4 26” can be more than one thread; which is it",
    ]


def test_a_class_is_read_in_any_case_where_the_case_means_nothing() -> None:
    (found,) = documents("9/16-18", "--class", "2b")
    assert found["internal"]["class"] == "2B"
    (found,) = documents("M14x1.5", "--class", "6h")
    assert (found["internal"], found["external"]["class"]) == (None, "6h")


def test_a_hole_that_no_standard_drill_fits_says_so() -> None:
    # 2B minor limits of 1 1/2-18 UNEF: 1.440 to 1.453 in (ASME B1.1 table 2); 36.5 and 37 mm and 1 29/64 in miss it
    assert "No standard drill lies between 36.576 mm (1.4400 in) and 36.906 mm" in told("1 1/2-18 UNEF")
    (found,) = documents("1 1/2-18 UNEF")
    assert (found["drills"], found["no_drill"]["code"]) == ([], "drill_none_fits")
    assert documents("M14x1.5")[0]["no_drill"] is None


def test_an_unknown_class_is_refused() -> None:
    assert "9Z" in str(refused("M14x1.5", "--class", "9Z"))


def test_a_measured_thread_is_identified() -> None:
    assert told("--outside", "9,47", "--tpi", "20").startswith(" 1. 3/8-20 BSF")


def test_wrong_measurements_are_named() -> None:
    text = str(refused("--outside", "much", "--pitch-doubt", "-1"))
    assert "--outside:" in text
    assert "--pitch-doubt:" in text


@pytest.mark.parametrize("arguments", [(), ("M14", "--outside", "14")])
def test_a_thread_or_measurements_not_both(arguments: tuple[str, ...]) -> None:
    assert "measurements" in str(refused(*arguments))


def test_a_whitworth_drill_has_its_per_cent_on_the_forms_own_depth() -> None:
    # 3/8 BSW: (0.375 - 0.3125) / (2 x 0.640327 / 16) in = 78.09 % with 5/16 (BS 84, depth 0.640327 p)
    (found,) = documents("3/8 BSW")
    drill = next(each for each in found["drills"] if each["name"] == "5/16 in")
    assert drill["percent_of_thread"][2]["percent"].startswith("78.09")
