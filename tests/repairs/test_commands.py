"""The commands as people and programs call them: plan, load_family, demo; exit codes, tables and documents."""

import io
import os
import sqlite3
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from jsonschema import Draft202012Validator

from repairs.cards import schema
from repairs.forms import JobFileError, read_job_file
from repairs.management.commands.demo import FIXTURES
from repairs.models import Family
from tests.repairs.bench import Bench
from tests.repairs.conftest import Demo, run_plan
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING

ROOT = Path(__file__).parents[2]
OPTIONS = (
    "M14 x 1,5", "--holes", "4", "--depth", "40", "--floor", "10", "--edge", "30", "--material", "cast aluminium",
    "--before", "none", "--made", "cut", "--torque", "80 N·m", "--method", "flanged bush", "--starts", "+2d",
    "--ends", "+3d",
)  # fmt: skip


@pytest.fixture
def now(bench: Bench) -> Bench:
    """A bench at this very moment, since the commands ask the clock."""
    bench.as_of = timezone.now()
    return bench


def _table(*words: str) -> tuple[int, str]:
    out = io.StringIO()
    try:
        call_command("plan", *words, stdout=out)
    except SystemExit as left:
        return int(left.code or 0), out.getvalue()
    return 0, out.getvalue()


def _refused(*words: str) -> tuple[int, str]:
    with pytest.raises(CommandError) as error:
        call_command("plan", *words, stdout=io.StringIO())
    return error.value.returncode, str(error.value)


# plan


def test_plan_leaves_with_nought_when_everything_is_there(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    code, text = _table(*OPTIONS)
    assert code == 0
    assert text.rstrip().endswith("Complete: 11 match, 0 gap, 0 doubtful.")
    for told in ("M14x1.5 (typed 'M14 x 1,5'), 4 holes, blind", "T-16 from bin", "flanged bush, M14x1.5 in M16x1.5"):
        assert told in text


def test_plan_leaves_with_one_for_a_gap_and_for_what_someone_must_sign(now: Bench) -> None:
    now.stock(*(row for row in BUSH_KIT if row is not SETTING))
    code, text = _table(*OPTIONS)
    assert code == 1
    assert "None owned: there is no setting tool for M14x1.5" in text
    now.stock(SETTING)
    code, text = _table(*OPTIONS, "--made", "unknown")
    assert code == 1
    assert "Not complete: 11 match, 0 gap, 1 doubtful." in text


def test_plan_leaves_with_two_when_no_method_stands(now: Bench) -> None:
    code, text = _table(*OPTIONS, "--hole", "through", "--depth", "2")
    assert code == 2
    assert "No method stands for these holes." in text
    assert "Not complete: 1 without a method" in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("M14x15",), "parts[1].groups[1].thread: "),
        (("M14x1.5", "--depth", "deep", "--made", "glued"), "parts[1].groups[1].depth: "),
        ((), "Give one of: a thread, --file FILE, --job NUMBER."),
        (("M14x1.5", "--job", "J-1"), "Give one of"),
        (("--job", "J-404"), "There is no open job 'J-404'."),
        (("--file", "not/there.toml"), "not/there.toml: cannot be read"),
        (("M14x1.5", "--starts", "tomorrow"), "starts: "),
    ],
    ids=["thread", "two answers", "nothing", "two things", "job", "file", "date"],
)
@pytest.mark.django_db
def test_plan_leaves_with_two_when_it_cannot_read_what_it_is_given(words: tuple[str, ...], told: str) -> None:
    code, text = _refused(*words)
    assert code == 2
    assert told in text
    if "glued" in words:
        assert "parts[1].groups[1].made: " in text, "every wrong place is told"


@pytest.mark.django_db
@pytest.mark.parametrize("held", [b"number = \n", b"\xff\xfe", b"", b'number = "1"\n'])
def test_plan_leaves_with_two_for_a_file_that_is_no_job(tmp_path: Path, held: bytes) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(held)
    assert _refused("--file", str(path))[0] == 2


def test_options_a_file_and_a_saved_job_say_the_same(now: Bench, tmp_path: Path) -> None:
    now.stock(*BUSH_KIT)
    path = tmp_path / "job.toml"
    path.write_text(now.job(GROUP))
    now.save(GROUP)
    by_options, by_file, by_number = run_plan(*OPTIONS), run_plan("--file", str(path)), run_plan("--job", "J-1")
    assert by_options[0] == by_file[0] == by_number[0] == 0
    moment = {"as_of": None}
    assert by_file[1] | moment == by_number[1] | moment
    assert [line["takes"] for line in by_options[1]["groups"][0]["lines"]] == [
        line["takes"] for line in by_file[1]["groups"][0]["lines"]
    ]
    Draft202012Validator(schema()).validate(by_options[1])


def test_inches_lead_where_they_are_asked_for(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    assert "0.5709 in (14.5 mm)" in _table(*OPTIONS, "--units", "in")[1]
    assert "14.5 mm (0.5709 in)" in _table(*OPTIONS)[1]


# load_family


def _family(tmp_path: Path, text: str) -> str:
    path = tmp_path / "own.toml"
    path.write_text(text)
    return str(path)


PLAIN = (FIXTURES / "families" / "own_plain.toml").read_text()


@pytest.mark.django_db
def test_a_family_is_loaded_once_and_says_what_came_in(tmp_path: Path) -> None:
    out = io.StringIO()
    call_command("load_family", _family(tmp_path, PLAIN), stdout=out)
    count = Family.objects.get().sizes.count()
    assert out.getvalue() == f"own.toml: own-plain/1, {count} sizes, house\n"
    with pytest.raises(CommandError, match=r"already loaded in edition 1.*Nothing was loaded"):
        call_command("load_family", _family(tmp_path, PLAIN), stdout=io.StringIO())
    call_command("load_family", _family(tmp_path, PLAIN.replace('"1"', '"2"', 1)), stdout=out)
    assert [str(family) for family in Family.objects.all()] == ["own-plain/1", "own-plain/2"]


@pytest.mark.django_db
def test_a_bad_row_is_named_and_nothing_of_any_file_is_loaded(tmp_path: Path) -> None:
    good = str(FIXTURES / "families" / "own_flanged.toml")
    bad = _family(tmp_path, PLAIN.replace('outer = "M8x0.75"', 'outer = "M4x0.7"', 1))
    with pytest.raises(CommandError) as error:
        call_command("load_family", good, bad, stdout=io.StringIO())
    assert "own.toml: nothing was loaded.\n  Row 1 (M5x0.8 in M4x0.7)" in str(error.value)
    assert not Family.objects.exists()


@pytest.mark.django_db
def test_published_families_may_be_asked_for_again() -> None:
    first, second = io.StringIO(), io.StringIO()
    call_command("load_family", published=True, stdout=first)
    call_command("load_family", published=True, stdout=second)
    assert first.getvalue().count("sizes, published\n") == Family.objects.count() > 3
    assert second.getvalue() == ""


@pytest.mark.django_db
@pytest.mark.parametrize(("files", "told"), [((), "Name at least one"), (("not/there.toml",), "cannot be read")])
def test_a_family_that_is_not_there_is_told(files: tuple[str, ...], told: str) -> None:
    with pytest.raises(CommandError, match=told):
        call_command("load_family", *files)


# demo


def _reasons(found: Any) -> set[str]:
    if isinstance(found, list):
        return {code for each in found for code in _reasons(each)}
    if not isinstance(found, dict):
        return set()
    own = {found["code"]} if "code" in found and "data" in found else set()
    return own | {code for each in found.values() for code in _reasons(each)}


def _all(document: dict[str, Any], kind: str) -> dict[str, Any]:
    lines = [line for group in document["groups"] for line in group["lines"]]
    (found,) = [line for line in lines if line["need"]["kind"] == kind and line["status"] != "match"]
    return found


def _near(line: dict[str, Any]) -> dict[str, set[str]]:
    return {miss["tag"]: {reason["code"] for reason in miss["reasons"]} for miss in line["near"]}


def test_the_demo_workshop_is_as_large_as_a_real_one(demo: Demo) -> None:
    least = {"Item": 150, "Unit": 250, "Batch": 60, "Supplier": 6, "sets": 3}
    assert {name: demo.counts[name] for name in least if demo.counts[name] < least[name]} == {}
    assert demo.counts["Offer"] > 0
    assert len(demo.documents) == len(demo.files) == 15


def test_each_demo_job_comes_out_as_its_head_says(demo: Demo) -> None:
    exits = {number: code for number, (code, _) in demo.files.items()}
    complete, none = {"J-1041", "J-1042", "J-1046", "J-1047", "J-1053"}, {"J-1050"}
    # Asked by file, a booked job's own tools are held for the saved one: the file is another job of that number.
    free = complete - demo.reserved
    assert exits == {number: 0 if number in free else 2 if number in none else 1 for number in demo.documents}
    assert {number for number, found in demo.documents.items() if found["complete"]} == complete
    assert demo.reserved == {"J-1041", "J-1042", "J-1046"}


@pytest.mark.parametrize(
    ("job", "codes"),
    {
        "J-1041": {"look_alike"},
        "J-1042": {"pitch_assumed_coarse"},
        "J-1043": {"away", "other_site"},
        "J-1044": {"none_owned", "look_alike", "maker_governs"},
        "J-1045": {"out_of_calibration", "wire_failed_in_parent", "bite_short", "stepped_up"},
        "J-1047": {"drill_of_the_family"},
        "J-1048": {"life_short_in_all", "away", "made_formed"},
        "J-1049": {"wrong_hand", "other_site"},
        "J-1050": {"through_too_thin", "no_size_for_bolt"},
        "J-1051": {
            "depth_bottoming_only", "lead_too_long", "forming_tap", "other_site", "flute_needs_through", "depth_short",
        },
        "J-1052": {"all_held", "held", "expired", "other_site", "maker_governs"},
        "J-1054": {"measurement_missing", "too_short", "away"},
        "J-1055": {"top_of_window", "calibration_missing", "before_unknown", "made_unknown"},
    }.items(),
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_each_demo_job_shows_the_reasons_it_is_there_for(demo: Demo, job: str, codes: set[str]) -> None:
    assert codes - _reasons(demo.files[job][1]) == set()


def test_the_numbers_behind_the_demos_gaps(demo: Demo) -> None:
    found = {number: document for number, (_, document) in demo.files.items()}
    assert _near(_all(found["J-1043"], "setting_tool"))["ST-014"] == {"away"}
    assert {reason["data"]["thread"] for reason in _all(found["J-1044"], "tap")["look_alikes"]} == {"M22x2"}
    assert _near(_all(found["J-1045"], "hole_gauge"))["GH-014"] == {"out_of_calibration"}
    tap = _all(found["J-1048"], "tap")
    assert (tap["reasons"][0]["data"]["left"], tap["reasons"][0]["data"]["needed"]) == (5, 8)
    assert _near(tap)["T-051"] == {"away"}
    assert _near(_all(found["J-1051"], "tap"))["T-059"] == {"lead_too_long", "flute_needs_through"}
    held = _all(found["J-1052"], "final_gauge")["reasons"][0]
    assert (held["code"], held["data"]["labels"]) == ("all_held", ["J-1041"])
    (short,) = (miss for miss in _all(found["J-1054"], "tap")["near"] if miss["tag"] == "T-040")
    assert [reason["data"]["by_nm"] for reason in short["reasons"]] == [3_000_000]
    whys = {
        reason["data"]["why"]
        for number, kind in (("J-1043", "setting_tool"), ("J-1048", "tap"), ("J-1054", "final_gauge"))
        for miss in _all(found[number], kind)["near"]
        for reason in miss["reasons"]
        if reason["code"] == "away"
    }
    assert whys == {"loan", "regrind", "calibration"}
    assert "drill" not in {line["need"]["kind"] for line in found["J-1046"]["groups"][0]["lines"]}, "like for like"
    hands = [
        line["need"]["hand"]
        for group in found["J-1053"]["groups"]
        for line in group["lines"]
        if line["need"]["kind"] == "fixture"
    ]
    assert sorted(hands) == ["L", "R"]


@pytest.mark.only_on("sqlite")
def test_the_demo_runs_again_without_losing_anything_and_starts_over_when_told(tmp_path: Path) -> None:
    """The commands as they are typed, on a database of their own."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("THREADCRIB_", "DJANGO_"))}

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "manage.py", *words],
            cwd=ROOT,
            env=kept | {"THREADCRIB_DATA": str(tmp_path), "COLUMNS": "132"},
            capture_output=True,
            text=True,
        )

    def notes() -> list[str]:
        (path,) = tmp_path.glob("*.sqlite3")
        with sqlite3.connect(path) as database:
            return [note for (note,) in database.execute("SELECT note FROM repairs_job WHERE number = 'J-1052'")]

    first = run("demo", "--no-serve")
    assert first.returncode == 0, first.stderr
    assert "(15 jobs, ready in" in first.stdout
    (path,) = tmp_path.glob("*.sqlite3")
    with sqlite3.connect(path) as database:
        database.execute("UPDATE repairs_job SET note = 'changed' WHERE number = 'J-1052'")
    database.close()
    again = run("demo", "--no-serve")
    assert "Loading" not in again.stdout
    assert again.stdout.split("(15 jobs")[0] == first.stdout.split("…\n")[1].split("(15 jobs")[0]
    assert notes() == ["changed"]
    assert run("plan", "M14x15").returncode == 2
    fresh = run("demo", "--no-serve", "--fresh")
    assert fresh.returncode == 0, fresh.stderr
    assert notes() != ["changed"]
    assert len(notes()) == 1


@pytest.mark.only_on("sqlite")
def test_the_demo_leaves_a_shops_own_database_alone(tmp_path: Path) -> None:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("THREADCRIB_", "DJANGO_"))}

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        env = kept | {"THREADCRIB_DATA": str(tmp_path)}
        return subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, env=env, capture_output=True, text=True)

    unmade = run("plan", "M10x1.5")
    assert unmade.returncode == 2
    assert "migrate" in unmade.stderr
    assert run("migrate", "-v0").returncode == 0
    assert run("load_stock", "fixtures/sample_sheets/stock.csv", "--apply").returncode == 0
    (path,) = tmp_path.glob("*.sqlite3")
    for words in (("demo", "--no-serve"), ("demo", "--no-serve", "--fresh")):
        refused = run(*words)
        assert refused.returncode == 1
        assert "no demo database" in refused.stderr
        with sqlite3.connect(path) as database:
            assert database.execute("SELECT count(*) FROM inventory_unit").fetchone() == (15,)
        database.close()
    elsewhere = run("plan", "M10x1.5", "--site", "Nowhere")
    assert elsewhere.returncode == 2
    assert "Nowhere" in elsewhere.stderr


def test_a_job_file_nested_beyond_reason_is_refused_like_any_other(as_of: datetime) -> None:
    with pytest.raises(JobFileError):
        read_job_file("a=" + "[" * 5000, as_of=as_of)
