"""The commands as people and programs call them: plan, load_family, demo; exit codes, tables and documents."""

import io
import json
import os
import re
import socket
import sqlite3
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.management import CommandError, call_command
from django.test import override_settings
from django.utils import timezone
from jsonschema import Draft202012Validator

from inventory import catalogue, order_points, purchasing
from repairs import jobs
from repairs.cards import schema
from repairs.forms import JobFileError, read_job_file
from repairs.management.commands.demo import FIXTURES
from repairs.management.printing import readiness_table
from repairs.models import Family
from tests.factories import SupplierFactory
from tests.repairs.bench import TAP, Bench
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
    assert text.rstrip().endswith("Complete: 11 match, 0 gap, 0 doubtful, and 3 not checked.")
    for told in ("M14x1.5 (typed 'M14 x 1,5'), 4 holes, blind", "T-16 from bin", "flanged bush, M14x1.5 in M16x1.5"):
        assert told in text


def test_what_nobody_entered_is_counted_as_not_checked_beside_a_complete_kit(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    edge = OPTIONS.index("--edge")
    code, text = _table(*OPTIONS[:edge], *OPTIONS[edge + 2 :])
    assert code == 0
    assert text.rstrip().endswith("Complete: 11 match, 0 gap, 0 doubtful, and 4 not checked.")


def test_plan_leaves_with_one_for_a_gap_and_for_what_someone_must_sign(now: Bench) -> None:
    now.stock(*(row for row in BUSH_KIT if row is not SETTING))
    code, text = _table(*OPTIONS)
    assert code == 1
    assert "None owned: there is no setting tool for M14x1.5" in text
    now.stock(SETTING)
    code, text = _table(*OPTIONS, "--made", "unknown")
    assert code == 1
    assert "Not complete: 11 match, 0 gap, 1 doubtful, and 3 not checked." in text


def test_plan_leaves_with_two_when_no_method_stands(now: Bench) -> None:
    code, text = _table(*OPTIONS, "--hole", "through", "--floor", "", "--depth", "2")
    assert code == 2
    assert "No method stands for these holes" in text
    assert "Not complete: 1 without a method" in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("M14x15",), "\n  thread: M14: a pitch of 15 mm cannot be"),
        (("",), "\n  thread: A thread is missing here; write for example M14 x 1.5"),
        (("--thread", ""), "\n  thread: A thread is missing here"),
        (("7/8",), "\n  thread: "),
        (("M14x1.5", "--depth", "deep", "--made", "glued"), "\n  --depth: “deep” cannot be read as a length"),
        (("M14x1.5", "--depth", "-3"), "\n  --depth: “-3” must be more than zero."),
        (("M14x1.5", "--depth", ""), "\n  --depth: A blind hole has a depth"),
        (("M14x1.5", "--holes", "0"), "\n  --holes: “0” must be a whole number of at least 1 and at most 500."),
        (("M14x1.5", "--holes", "abc"), "\n  --holes: “abc” must be a whole number"),
        (("M14x1.5", "--before-thread", "M12"), "\n  --before-thread: M12x1.75 is smaller than the bolt"),
        (("M14x1.5", "--hole", ""), "\n  --hole: An answer is missing here; write one of: blind, through."),
        (("M14x1.5", "--site", ""), "\n  --site: Nothing is entered here"),
        (("M14x1.5", "--starts", ""), "\n  --starts: A day is missing here"),
        (("M14x1.5", "--starts", "+2d", "--ends", "+1d"), "\n  --ends: The last day, "),
        ((), "Give one of: a thread, --file FILE, --job NUMBER."),
        (("M14x1.5", "--job", "J-1"), "Give one of"),
        (("M14x1.5", "--thread", "M16x1.5"), "Give one of"),
        (("--job", "J-404"), "There is no job “J-404”."),
        (("--job", ""), "There is no job “”."),
        (("--file", "not/there.toml"), "There is no file not/there.toml."),
        (("--file", "tests"), "tests is a folder; name a file in it."),
        (("--file", "manage.py/job.toml"), "manage.py/job.toml cannot be read."),
        (("M14x1.5", "--starts", "tomorrow"), "\n  --starts: “tomorrow” is no date"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
@pytest.mark.django_db
def test_plan_leaves_with_two_when_it_cannot_read_what_it_is_given(words: tuple[str, ...], told: str) -> None:
    code, text = _refused(*words)
    assert code == 2
    assert told in text
    if "glued" in words:
        assert "\n  --made: " in text, "every wrong place is told"
    assert not re.search(r"Errno|Traceback|Error|required|\w+\(", text), "nothing but the project's own words"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("held", "told"),
    [
        (b"number = \n", "file: This is no job file, which is TOML"),
        (b"\xff\xfe", "is no text in UTF-8 (byte 1); save it as UTF-8."),
        (b"number = 1\n\x00\x01", "file: This is no job file, which is TOML"),
        (b"", "file: There is nothing in it; a job file has the keys number, owner, site"),
        (b'[{"number": "J-1"}]', "file: This is no job file, which is TOML"),
        (b'number = "1"\n', "site: Nothing is entered here"),
        (b'number = "1"\n', "parts: There is no table “parts” here"),
    ],
)
def test_plan_leaves_with_two_for_a_file_that_is_no_job(tmp_path: Path, held: bytes, told: str) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(held)
    code, text = _refused("--file", str(path))
    assert code == 2
    assert told in text
    assert not re.search(r"Errno|codec|Error|[(]at line|Invalid", text)


def test_plan_reads_a_file_that_begins_with_a_byte_order_mark(now: Bench, tmp_path: Path) -> None:
    now.stock(*BUSH_KIT)
    path = tmp_path / "job.toml"
    path.write_text(now.job(GROUP), encoding="utf-8-sig")
    assert run_plan("--file", str(path))[0] == 0


def test_the_plan_of_the_job_stands_before_the_methods_side_by_side(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    text = _table(*OPTIONS)[1]
    places = [
        text.index(told) for told in ("Planned: flanged bush", "1. clamp", "12. torque", "\nmethod ", "Complete:")
    ]
    assert places == sorted(places)
    methods = text[places[3] : places[4]]
    assert methods.count("planned: M14x1.5 in M16x1.5 x 21 mm") == 1
    rows = [line.split("  ")[0] for line in methods.splitlines()[3:] if not line.startswith(" ")]
    assert [name for name in rows if name in ("wire insert", "flanged bush", "plain bush", "keyed bush")] == [
        "wire insert", "flanged bush", "plain bush", "keyed bush",
    ]  # fmt: skip
    assert "No family has one for M14x1.5" in " ".join(methods.split())


def test_each_method_says_whether_it_holds_from_when_on_for_what_money_and_metal(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    held = ("--grade", "8.8", "--shear", "400 MPa", "--reach", "40", "--bore", "12.5", "--damage", "stripped")
    text = _table(*OPTIONS, *held)[1]
    heads = next(line for line in text.splitlines() if line.startswith("method "))
    assert [head for head in re.split("  +", heads) if head][1:8] == [
        "holds?", "match", "gap", "doubtful", "can start", "to buy", "metal away",
    ]  # fmt: skip
    (row,) = [line for line in text.splitlines() if line.startswith("flanged bush ")]
    day = (now.as_of + timedelta(days=2)).date()
    assert re.match(rf"flanged bush +holds +11 +0 +0 +{day} +nothing +[\d.]+ c?m", row), row
    assert re.search(r"The [a-z ]+ carries [0-9.]+ % more than", " ".join(text.split()))


def test_every_size_is_told_only_where_it_is_asked_for_or_as_json(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    short, long = _table(*OPTIONS)[1], _table(*OPTIONS, "--every-size")[1]
    assert short.count("M14x1.5 in M18x1.5") == 0
    assert long.count("M14x1.5 in M18x1.5") > 1
    assert long.count("planned: ") == 1
    assert "M14x1.5 x 42 mm (1.6535 in) long (wire-metric/2005, published): Too deep for this hole" in " ".join(
        long.split()
    )
    assert "Too deep for this hole" not in short
    (flanged,) = (each for each in run_plan(*OPTIONS)[1]["groups"][0]["methods"] if each["method"] == "flanged_bush")
    assert len(flanged["sizes"]) > 1


def test_where_no_site_is_named_the_largest_is_taken_and_said_so(
    now: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    now.stock(*BUSH_KIT)
    document = run_plan(*OPTIONS)[1]
    assert document["site"] == "Main"
    assert capsys.readouterr().err == "", "there is no other"
    now.stock(TAP | {"tag": "T-9", "thread": "M8", "class": "6H", "lead": "4", "site": "Annexe"})
    code, document = run_plan(*OPTIONS)
    assert (code, document["site"]) == (0, "Main")
    assert "planned at Main, where most units stand, and not at Annexe; --site names" in capsys.readouterr().err
    _refused("M14x15")
    assert capsys.readouterr().err == "", "nothing was planned anywhere"
    assert run_plan(*OPTIONS, "--site", "Annexe")[1]["site"] == "Annexe"
    assert capsys.readouterr().err == ""


def test_a_table_of_several_parts_tells_group_and_part(now: Bench, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    part = '[[parts]]\nname = "trumpet, {}"\n[[parts.groups]]\n' + "".join(
        f"{key} = '{value}'\n" for key, value in GROUP.items()
    )
    head = 'number = "J-1"\nsite = "Main"\nstarts = "+2d"\n'
    path.write_text(head + part.format("left") + part.format("right"))
    text = _table("--file", str(path))[1]
    assert "A  M14x1.5 (typed 'M14 x 1,5'), 4 holes, blind, trumpet, left" in text
    assert "B  M14x1.5 (typed 'M14 x 1,5'), 4 holes, blind, trumpet, right" in text
    plan = jobs.plan_request(read_job_file(path.read_text(), as_of=now.as_of), as_of=now.as_of)
    rows = [line for line in readiness_table([plan]) if not line.startswith("   ")][2:]
    assert [row.split("  ")[1] for row in rows[::1] if row.startswith("J-1")] == ["A 4 × M14x1.5", "B 4 × M14x1.5"]
    assert sum(line.strip().startswith("trumpet, ") for line in readiness_table([plan])) == 2


def test_windows_are_told_in_the_shops_zone_with_their_last_day(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    with override_settings(SHOP_ZONE=ZoneInfo("Pacific/Auckland")):
        words = (*OPTIONS[:-4], "--starts", "2027-03-04", "--ends", "2027-03-05")
        text = _table(*words)[1]
        document = run_plan(*words)[1]
    assert "2027-03-04 to 2027-03-05\n" in text
    assert document["window"] == {"start": "2027-03-03T11:00:00Z", "end": "2027-03-05T11:00:00Z"}


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
    with pytest.raises(CommandError, match=r"own.toml: nothing was loaded\. .*already loaded in edition 1"):
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
@pytest.mark.parametrize(
    ("files", "told"),
    [
        ((), "Name at least one"),
        (("not/there.toml",), "not/there.toml: nothing was loaded. There is no file not/there.toml."),
    ],
)
def test_a_family_that_is_not_there_is_told(files: tuple[str, ...], told: str) -> None:
    with pytest.raises(CommandError, match=told):
        call_command("load_family", *files)


@pytest.mark.django_db
def test_a_family_file_may_begin_with_a_byte_order_mark(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(PLAIN, encoding="utf-8-sig")
    call_command("load_family", str(tmp_path / "own.toml"), stdout=io.StringIO())
    assert str(Family.objects.get()) == "own-plain/1"


@pytest.mark.only_on("sqlite")
@pytest.mark.parametrize("words", [("load_family", "--published"), ("plan", "M10x1.5"), ("shopping_list",)])
def test_a_command_without_its_tables_says_how_to_make_them(tmp_path: Path, words: tuple[str, ...]) -> None:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("THREADCRIB_", "DJANGO_"))}
    env = kept | {"THREADCRIB_DATA": str(tmp_path)}
    ran = subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, env=env, capture_output=True, text=True)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr.count("\n") == 1
    assert "python3 manage.py migrate" in ran.stderr


# demo


@pytest.mark.parametrize("port", ["taken", 0, 70_000])
def test_the_demo_looks_for_its_port_before_anything_else(port: int | str) -> None:
    out = io.StringIO()
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        wanted = other.getsockname()[1] if port == "taken" else port
        with pytest.raises(CommandError, match=f"Port {wanted} .*--port 8000") as refused:
            call_command("demo", port=wanted, stdout=out)
    assert (refused.value.returncode, out.getvalue()) == (2, "")


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
    assert "15 jobs, ready in" in first.stdout
    (path,) = tmp_path.glob("*.sqlite3")
    with sqlite3.connect(path) as database:
        database.execute("UPDATE repairs_job SET note = 'changed' WHERE number = 'J-1052'")
    database.close()
    again = run("demo", "--no-serve")
    assert "Loading" not in again.stdout
    assert again.stdout.split("15 jobs")[0] == first.stdout.split("workshop.\n")[1].split("15 jobs")[0]
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


# shopping_list


def _shopping(*words: str) -> str:
    out = io.StringIO()
    call_command("shopping_list", *words, stdout=out)
    return out.getvalue()


def test_the_shopping_list_of_one_job_or_of_all_open_ones_in_three_forms(now: Bench) -> None:
    now.stock(*(row for row in BUSH_KIT if row is not SETTING))
    tool = catalogue.add_item(kind="setting_tool", number="5012", thread="M14x1.5")
    supplier = SupplierFactory.create(name="Nord Tools", carriage=1500)
    purchasing.add_offer(supplier=supplier, items=[(tool, 1)], price=8500, lead_days=21, number="D/008")
    now.save(GROUP)
    now.save(GROUP | {"thread": "M10"}, number="J-2")
    text = _shopping("--job", "J-1")
    assert "setting tool M14x1.5. Buy 1 × 5012 setting tool" in " ".join(text.split())
    assert "EUR 100.00" in text
    assert "Late by 19 days" in " ".join(text.split())
    assert "J-2" not in text
    assert "J-2" in _shopping()
    assert [row["jobs"] for row in json.loads(_shopping("--job", "J-1", "--format", "json"))["rows"]] == [["J-1"]]
    head, *rows = _shopping("--job", "J-1", "--format", "csv").splitlines()
    assert head.startswith("line,what,jobs,needed on")
    assert len(rows) == 1


def test_the_shopping_list_of_all_jobs_names_what_stands_at_its_order_point_in_every_form(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    now.save(GROUP)
    oil, rag = (catalogue.add_item(kind=kind, number=kind, name=kind) for kind in ("oil", "cleaner"))
    supplier = SupplierFactory.create(name="Nord Tools", carriage=1500)
    purchasing.add_offer(supplier=supplier, items=[(oil, 1)], price=850, lead_days=21, number="D/009")
    for item in (oil, rag):
        order_points.set_order_point(
            item=item, minimum=1, order_point=2, maximum=4, why="x", by="Bram", as_of=timezone.now()
        )
    text = " ".join(_shopping().split())
    assert "oil stands at its order point: 4 × D/009 from Nord Tools for 4 more, EUR 49.00 with carriage" in text
    assert "cleaner stands at its order point: 4 more are wanted, and nobody offers it alone." in text
    rows = json.loads(_shopping("--format", "json"))["for_stock"]
    assert [(row["item"]["number"], row["pieces"], row["purchase"] is None) for row in rows] == [
        ("oil", 4, False), ("cleaner", 4, True),
    ]  # fmt: skip
    assert "buy for stock" in _shopping("--format", "csv")
    assert "order point" not in _shopping("--job", "J-1")
    assert json.loads(_shopping("--job", "J-1", "--format", "json"))["for_stock"] == []
    assert "for stock" not in _shopping("--job", "J-1", "--format", "csv")


def test_a_shopping_list_with_nothing_on_it_says_so(now: Bench) -> None:
    now.stock(*BUSH_KIT)
    now.save(GROUP)
    assert _shopping() == "Nothing is missing that could be bought.\n"
    with pytest.raises(CommandError, match="There is no job “J-404”"):
        _shopping("--job", "J-404")


# card


def test_card_writes_the_pdf_and_keeps_the_card(now: Bench, tmp_path: Path) -> None:
    now.stock(*BUSH_KIT)
    job, out = now.save(GROUP), io.StringIO()
    call_command("card", "J-1", "--out", str(tmp_path / "one.pdf"), "--by", "Cleo", stdout=out)
    assert (tmp_path / "one.pdf").read_bytes() == bytes(job.cards.get().pdf)
    assert (job.cards.get().by, job.cards.get().number) == ("Cleo", 1)
    assert out.getvalue() == f"Card 1 of job J-1: {tmp_path / 'one.pdf'}.\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("J-9",), "There is no job “J-9”."),
        (("J-1", "--out", "/dev/null/x.pdf"), "Card 1 of job J-1 is printed, but /dev/null/x.pdf cannot be written"),
    ],
)
def test_card_says_what_is_in_the_way(now: Bench, words: tuple[str, ...], told: str) -> None:
    now.stock(*BUSH_KIT)
    now.save(GROUP)
    with pytest.raises(CommandError, match=re.escape(told)):
        call_command("card", *words, stdout=io.StringIO())
