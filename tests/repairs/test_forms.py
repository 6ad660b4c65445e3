"""Job files: what people type is read or refused, every wrong place at once, and nothing else is ever raised."""

import re
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import override_settings
from hypothesis import given, settings
from hypothesis import strategies as st

from repairs.forms import GROUP_KEYS, JOB_KEYS, PART_KEYS, JobFileError, letters, read_job, read_job_file
from repairs.jobs import JobRequest
from repairs.wording import say

AS_OF = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
GROUP: dict[str, Any] = {
    "thread": "M14 x 1,5", "holes": 4, "hole": "blind", "depth": 40, "before": "none", "made": "cut",
}  # fmt: skip


def _job(*groups: dict[str, Any], **head: Any) -> dict[str, Any]:
    parts = [{"name": "Casing", "groups": list(groups) or [GROUP]}]
    return {"number": "J-1", "site": "Main", "starts": "2026-03-04", "parts": parts} | head


def _read(document: dict[str, Any]) -> JobRequest:
    return read_job(document, as_of=AS_OF)


def _problems(document: dict[str, Any]) -> dict[str, list[str]]:
    with pytest.raises(JobFileError) as wrong:
        _read(document)
    found: dict[str, list[str]] = {}
    for place, text in wrong.value.problems:
        found.setdefault(place, []).append(text)
    return found


def _days(day: int, month: int = 3) -> datetime:
    return datetime(2026, month, day, tzinfo=UTC)


# What is read


def test_every_answer_reaches_the_value_that_the_methods_read(db: None) -> None:
    group = {
        "thread": "M14 x 1,5-6H", "positions": ["1", "top left"], "hole": "Blind", "depth": "1.5 in", "floor": 12,
        "edge": "22,5 mm", "material": "Cast-Aluminium", "before": "WIRE INSERT", "before_thread": "EG M14x1.5",
        "before_major": "16.1", "failed": "parent", "passes_gauge": "no", "made": "formed by the screw",
        "torque": "59 ft-lb", "method": "flanged_bush",
    }  # fmt: skip
    part = {"name": "Casing", "serial": "7", "drawing": "D-1", "fixture": "F-07", "hand": "left", "safety": "brakes"}
    request = _read(_job() | {"parts": [part | {"groups": [group]}], "owner": "Ida", "note": "n", "booked": True})
    value = request.groups[0]
    assert (request.number, request.owner, request.site, request.note, request.booked) == (
        "J-1", "Ida", "Main", "n", True,
    )  # fmt: skip
    assert (value.bolt.designation, value.bolt_class, value.as_typed) == ("M14x1.5", "6H", "M14 x 1,5-6H")
    assert (value.code, value.holes, value.positions, value.through) == ("A", 2, ("1", "top left"), False)
    assert (value.depth, value.floor, value.edge, value.before_major) == (
        38_100_000, 12_000_000, 22_500_000, 16_100_000,
    )  # fmt: skip
    assert (value.material, value.before, value.failed, value.passes_gauge, value.made, value.wished) == (
        "cast_aluminium", "wire_insert", "parent", "no", "formed", "flanged_bush",
    )  # fmt: skip
    assert value.before_thread is not None
    assert value.before_thread.designation == "EG M14x1.5"
    assert value.torque == 79_993  # 59 x 1.3558179483314004 N·m
    assert (value.fixture, value.hand, value.safety, value.site) == ("F-07", "L", "brakes", "Main")
    assert request.parts[0].groups[0][1]["depth"] == "1.5 in", "what was typed is kept"


@pytest.mark.parametrize("typed", ["wire insert", "Wire-Insert", "wire_insert", "  WIRE   INSERT "])
def test_a_word_is_read_in_any_spelling(typed: str) -> None:
    assert _read(_job(GROUP | {"before": typed})).groups[0].before == "wire_insert"


def test_what_is_left_out_is_unknown_or_nothing() -> None:
    value = _read(_job(GROUP | {"depth": "Unknown"})).groups[0]
    assert (value.passes_gauge, value.failed, value.material, value.wished) == ("unknown", "", "", "")
    assert (value.depth, value.floor, value.edge, value.torque, value.before_thread) == (None,) * 5


@pytest.mark.parametrize(
    ("head", "start", "end"),
    [
        ({"starts": "2026-03-04"}, _days(4), _days(5)),
        ({"starts": "2026-03-04", "ends": "2026-03-06"}, _days(4), _days(7)),
        ({"starts": date(2026, 3, 4), "ends": date(2026, 3, 4)}, _days(4), _days(5)),
        ({"starts": "+2d", "ends": "+3d"}, _days(4), _days(6)),
        ({"starts": "-1d", "ends": "+0d"}, _days(1), _days(3)),
        ({"starts": "+30d"}, _days(1, month=4), _days(2, month=4)),
    ],
)
def test_days_are_typed_inclusive_and_kept_half_open(head: dict[str, Any], start: datetime, end: datetime) -> None:
    request = _read(_job() | head)
    assert (request.start, request.end) == (start, end)
    assert (request.groups[0].start, request.groups[0].end) == (start, end)


def test_days_are_the_shops_own() -> None:
    from zoneinfo import ZoneInfo

    with override_settings(SHOP_ZONE=ZoneInfo("Pacific/Auckland")):
        request = read_job(_job(starts="+0d"), as_of=datetime(2026, 3, 2, 12, tzinfo=UTC))  # there it is the 3rd
    assert request.start.astimezone(UTC) == datetime(2026, 3, 2, 11, tzinfo=UTC)
    assert request.end.astimezone(UTC) == datetime(2026, 3, 3, 11, tzinfo=UTC)


def test_a_group_may_have_a_window_of_its_own() -> None:
    request = _read(_job(GROUP, GROUP | {"starts": "2026-03-09", "ends": "2026-03-10"}))
    assert [(value.start, value.end) for value in request.groups] == [(_days(4), _days(5)), (_days(9), _days(11))]


def test_holes_that_nobody_named_never_share_a_position() -> None:
    labels = [label for value in _read(_job(GROUP, GROUP)).groups for label in value.positions]
    assert len(labels) == len(set(labels)) == 8


def test_groups_are_lettered_through_all_parts() -> None:
    document = _job()
    document["parts"] = [{"name": "Left", "groups": [GROUP, GROUP]}, {"name": "Right", "groups": [GROUP]}]
    assert [value.code for value in _read(document).groups] == ["A", "B", "C"]
    assert [letters(index) for index in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


@pytest.mark.parametrize(
    ("typed", "read"), [(True, True), ("true", True), ("yes", True), (False, False), ("no", False)]
)
def test_booked_is_yes_or_no(typed: object, read: bool) -> None:
    assert _read(_job(booked=typed)).booked is read


def test_a_file_is_read_as_the_same_mapping() -> None:
    text = 'number = "J-1"\nsite = "Main"\nstarts = 2026-03-04\n[[parts]]\nname = "Casing"\n[[parts.groups]]\n'
    text += 'thread = "M14 x 1,5"\nholes = 4\nhole = "blind"\ndepth = 40\nbefore = "none"\nmade = "cut"\n'
    assert read_job_file(text, as_of=AS_OF) == _read(_job())


def test_numbers_may_be_written_as_text_and_text_as_numbers() -> None:
    one, other = _job(GROUP | {"holes": "4", "depth": "40", "edge": "30"}), _job(GROUP | {"edge": 30.0})
    assert [value.depth for value in _read(one).groups] == [value.depth for value in _read(other).groups]
    assert _read(one).groups[0].holes == _read(other).groups[0].holes == 4
    assert _read(one).groups[0].edge == _read(other).groups[0].edge == 30_000_000


def test_the_bolts_thread_is_taken_for_the_hole_of_its_wire_insert_and_said_back() -> None:
    value = _read(_job(GROUP | {"before": "wire insert", "before_thread": "M14 x 1,5"})).groups[0]
    assert value.before_thread is not None
    assert value.before_thread.designation == "EG M14x1.5"
    (note,) = value.notes
    assert note.code == "before_thread_taken"
    assert say(note).startswith("“M14 x 1,5” is the bolt's thread")
    assert _read(_job(GROUP | {"before": "wire insert", "before_thread": "EG M14x1.5"})).groups[0].notes == ()
    inch = {"thread": "3/8-16 UNC", "before": "wire insert", "before_thread": "3/8-16"}
    stands = _read(_job(GROUP | inch)).groups[0].before_thread
    assert stands is not None
    assert stands.designation == "STI 3/8-16"


def test_a_part_is_named_with_its_serial_number() -> None:
    request = _read(_job() | {"parts": [{"name": "Casing", "serial": "7", "groups": [GROUP]}]})
    assert request.groups[0].part == "Casing 7"


# What is refused


BAD: list[tuple[str, str, Any, str]] = [
    ("thread", "", "", "A thread is missing here; write for example"),
    ("thread", "", "M14x15", "pitch"),
    ("thread", "", "NPT 1/4", "not covered"),
    ("thread", "", {"size": "M14"}, ""),
    ("thread", "", "EG M14x1.5", "write the bolt's, M14x1.5"),
    ("thread", "", ["M14x1.5", "M16x1.5"], "One value is expected"),
    ("thread", "", "M14\0", "cannot be kept"),
    ("thread", "", "M" * 81, "81 characters long; write at most 80"),
    ("holes", "", 0, "“0” must be a whole number of at least 1 and at most 500"),
    ("holes", "", -3, "must be a whole number of at least 1"),
    ("holes", "", 501, "“501” must be a whole number of at least 1 and at most 500"),
    ("holes", "", "some", "“some” must be a whole number"),
    ("holes", "", 10**40, "One value is expected"),
    ("hole", "", "", "write one of: blind, through"),
    ("hole", "", "bottomless", "blind, through"),
    ("depth", "", "-3", "more than zero"),
    ("depth", "", "3/8", "fraction without a unit"),
    ("depth", "", False, "One value is expected"),
    ("floor", "", "12 apples", "cannot be read|no unit"),
    ("edge", "", "40 m", "unit right"),
    ("material", "", "cheese", "cast aluminium"),
    ("before", "", "glue", "wire insert"),
    ("before", "", "", "write one of: none, wire insert"),
    ("made", "", "", "write one of: cut, formed by the screw, unknown"),
    ("before_thread", "", "M", ""),
    ("positions", "", [["1"]], "One value is expected"),
    ("positions", "", [{"name": "1"}], "One value is expected"),
    ("before_major", "", "wide", "cannot be read"),
    ("failed", "", "everything", "insert"),
    ("passes_gauge", "", "perhaps", "yes"),
    ("made", "", "by hand", "formed by the screw"),
    ("torque", "", "80 mm", "no unit of torque"),
    ("method", "", "weld", "flanged bush"),
    ("starts", "", "tomorrow", "no date"),
    ("starts", "", "9999-12-31", "from 2000-01-01 to 2199-12-31"),
    ("starts", "", "0001-01-01", "from 2000-01-01 to 2199-12-31"),
    ("positions", "holes", ["1", "1", "2", "3"], "stands there more than once"),
    ("positions", "holes", ["x" * 41], "at most 40"),
]


@pytest.mark.parametrize(("key", "without", "value", "told"), BAD, ids=lambda value: str(value)[:24])
def test_a_bad_value_is_named_at_its_place_in_one_sentence(key: str, without: str, value: Any, told: str) -> None:
    group = {name: each for name, each in (GROUP | {key: value}).items() if name != without}
    found = _problems(_job(group))
    assert list(found) == [f"parts[1].groups[1].{key}"], found
    (text,) = found[f"parts[1].groups[1].{key}"]
    assert re.search(told, text), text
    assert "{" not in text.replace("{'size'", "")
    assert text[-1] in ".?"


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("number", "", "Nothing is entered here"),
        ("number", "x" * 41, "at most 40"),
        ("site", "", "Nothing is entered here"),
        ("starts", "", "A day is missing here; write for example"),
        ("starts", "12/31/2026", "no date"),
        ("ends", "2026-03-03", "before the first"),
        ("ends", "9999-12-31", "from 2000"),
        ("booked", "perhaps", "true, false"),
        ("owner", "x" * 121, "at most 120"),
    ],
)
def test_a_bad_head_is_named_at_its_place(key: str, value: str, told: str) -> None:
    found = _problems(_job() | {key: value})
    assert list(found) == [key]
    assert told in found[key][0]


def test_a_last_day_without_a_first_is_not_passed_over() -> None:
    found = _problems(_job(GROUP | {"ends": "2026-03-09"}))
    assert list(found) == ["parts[1].groups[1].starts"]
    assert "2026-03-09" in found["parts[1].groups[1].starts"][0]


def test_holes_and_positions_must_agree() -> None:
    assert list(_problems(_job(GROUP | {"positions": ["1", "2"]}))) == ["parts[1].groups[1].holes"]
    without = {key: value for key, value in GROUP.items() if key != "holes"}
    (text,) = _problems(_job(without))["parts[1].groups[1].holes"]
    assert "how many like holes" in text
    assert _read(_job(without | {"positions": ["1", "2"]})).groups[0].holes == 2


def test_two_groups_of_a_part_cannot_name_the_same_position() -> None:
    one, other = GROUP | {"holes": 2, "positions": "1, 2"}, GROUP | {"holes": 2, "positions": "2, 3"}
    found = _problems(_job(one, other))
    assert list(found) == ["parts[1].groups[2].positions"]
    assert "2 stands there" in found["parts[1].groups[2].positions"][0]
    apart = _job()
    apart["parts"] = [{"name": "Left", "groups": [one]}, {"name": "Right", "groups": [other]}]
    assert len(_read(apart).groups) == 2


def test_an_unknown_key_is_named_with_the_known_ones() -> None:
    document = _job(GROUP | {"colour": "red"}, weight="3 kg")
    document["parts"][0]["maker"] = "x"
    found = _problems(document)
    assert set(found) == {"weight", "parts[1].maker", "parts[1].groups[1].colour"}
    for (text,), keys in zip(found.values(), (JOB_KEYS, PART_KEYS, GROUP_KEYS), strict=True):
        assert all(key in text for key in keys)


def test_all_that_is_wrong_is_told_at_once() -> None:
    document = _job(GROUP | {"thread": "M14x15", "depth": "deep"}, GROUP | {"made": ""}, number="", starts="then")
    document["parts"].append({"groups": [GROUP | {"before": "glue"}]})
    assert set(_problems(document)) == {
        "number", "starts", "parts[1].groups[1].thread", "parts[1].groups[1].depth", "parts[1].groups[2].made",
        "parts[2].name", "parts[2].groups[1].before",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("change", "places"),
    [
        ({"parts": []}, {"parts"}),
        ({"parts": "none"}, {"parts"}),
        ({"parts": [{"name": "Casing"}]}, {"parts[1].groups"}),
        ({"parts": [{"name": "Casing", "groups": {}}]}, {"parts[1].groups"}),
        ({"parts": ["Casing"]}, {"parts[1]"}),
        ({"parts": [{"name": "Casing", "groups": ["M14x1.5"]}]}, {"parts[1].groups[1]"}),
    ],
)
def test_a_missing_or_misshapen_table_is_named(change: dict[str, Any], places: set[str]) -> None:
    assert set(_problems(_job() | change)) == places


def test_what_is_no_toml_is_refused_with_its_place() -> None:
    with pytest.raises(JobFileError) as wrong:
        read_job_file("number = \n", as_of=AS_OF)
    ((place, text),) = wrong.value.problems
    assert place == "file"
    assert "look at line 1, column 10." in text


@pytest.mark.parametrize("document", [[1, 2], "M14x1.5", None, 3])
def test_what_is_no_table_at_all_is_refused_in_one_sentence(document: Any) -> None:
    assert _problems(document) == {"file": ["Here a table of keys and values is expected."]}


@pytest.mark.parametrize("text", ["", "\n", "# nothing yet\n"])
def test_an_empty_file_is_refused_in_one_sentence_with_its_keys(text: str) -> None:
    with pytest.raises(JobFileError) as wrong:
        read_job_file(text, as_of=AS_OF)
    ((place, told),) = wrong.value.problems
    assert place == "file"
    assert all(key in told for key in (*JOB_KEYS, "parts"))


@pytest.mark.parametrize("text", ['{"number": "J-1"}', "[1, 2]", "holes = " + "9" * 5000, "starts = 2026-13-45"])
def test_what_other_programs_write_is_refused_without_their_own_words(text: str) -> None:
    with pytest.raises(JobFileError) as wrong:
        read_job_file(text, as_of=AS_OF)
    ((place, told),) = wrong.value.problems
    assert place == "file"
    assert told.startswith("This is no job file, which is TOML")
    assert not re.search("Invalid|Exceeds|Expected|integer string", told)


# Answers that contradict each other


AFTER_WIRE = {"before": "wire insert"}
CONTRADICTIONS: list[tuple[str, dict[str, Any], str]] = [
    ("before_major", {"before_major": "12.3"}, "under the minor diameter of M14x1.5, 12.376 mm"),  # ISO 724
    ("before_major", AFTER_WIRE | {"before_major": "14.2"}, "under the minor diameter of EG M14x1.5, 14.325 mm"),
    ("before_major", {"before": "unknown", "before_major": "8"}, "minor diameter of M14x1.5"),
    (
        "before_major",
        {"before": "solid bush", "before_thread": "M16x1.5", "before_major": "14"},
        "minor diameter of M16x1.5, 14.376 mm",
    ),
    ("before_thread", AFTER_WIRE | {"before_thread": "M16x1.5"}, "stands in EG M14x1.5, not in M16x1.5"),
    ("before_thread", AFTER_WIRE | {"before_thread": "EG M14x1.25"}, "stands in EG M14x1.5, not in EG M14x1.25"),
    ("before_thread", AFTER_WIRE | {"before_thread": "M14x1.5 LH"}, "not in M14x1.5-LH"),
    ("before_thread", AFTER_WIRE | {"thread": "3/8-16", "before_thread": "STI 3/8-24"}, "stands in STI 3/8-16"),
    ("before_thread", {"before_thread": "M16x1.5"}, "Nothing was done to this hole before, so M14x1.5 stands"),
    ("before_thread", {"before": "solid bush", "before_thread": "M14x1.5"}, "no solid bush for M14x1.5"),
    ("before_thread", {"before": "keyed bush", "before_thread": "M12x1.5"}, "no keyed bush for M14x1.5"),
    ("before_thread", {"before": "unknown", "before_thread": "M12x1.75"}, "smaller than the bolt, M14x1.5"),
    ("floor", {"hole": "through", "floor": "10"}, "A through hole has no floor, and 10 mm (0.3937 in)"),
    ("depth", {"depth": ""}, "write it, or unknown"),
    ("depth", {"depth": "  "}, "write it, or unknown"),
    ("edge", {"edge": "7"}, "7 mm (0.2756 in) to the edge is within the hole itself, 14 mm"),
    ("edge", AFTER_WIRE | {"edge": "8", "before_major": "16.1"}, "within the hole itself, 16.1 mm"),
    ("edge", AFTER_WIRE | {"edge": "7.9"}, "within the hole itself, 15.949 mm"),
    ("failed", {"failed": "insert"}, "no insert can have failed"),
    ("ends", {"starts": "2026-03-09", "ends": "2026-03-08"}, "before the first"),
    ("holes", {"positions": "1, 2, 3"}, "4 holes and 3 positions do not agree"),
    ("positions", {"positions": "1, 2, 3, 1"}, "1 stands there more than once"),
]


@pytest.mark.parametrize(("key", "answers", "told"), CONTRADICTIONS, ids=lambda value: str(value)[:32])
def test_answers_that_cannot_all_be_true_are_refused_at_their_field(
    key: str, answers: dict[str, Any], told: str
) -> None:
    found = _problems(_job(GROUP | answers))
    assert list(found) == [f"parts[1].groups[1].{key}"]
    (text,) = found[f"parts[1].groups[1].{key}"]
    assert told in text, text


@pytest.mark.parametrize(
    "answers",
    [
        {"before_major": "12.376"},
        AFTER_WIRE | {"before_major": "14.325"},
        {"before_thread": "M14x1.5"},
        {"before": "unknown", "before_thread": "M16x1.5"},
        {"before": "solid bush", "before_thread": "M16x1.5", "before_major": "16.05"},
        {"edge": "7.001"},
        {"hole": "through", "depth": ""},
        {"failed": "parent"},
        # No wire insert is published for a Whitworth bolt, so nobody can say what its hole must be.
        {"thread": "1/2 BSW", "before": "wire insert", "before_thread": "9/16-12 UNC"},
    ],
    ids=str,
)
def test_answers_that_only_just_agree_are_taken(answers: dict[str, Any]) -> None:
    assert len(_read(_job(GROUP | answers)).groups) == 1


_SCALARS = st.one_of(
    st.text(max_size=12),
    st.integers(-10_000, 10_000),
    st.floats(),
    st.booleans(),
    st.dates(),
    st.sampled_from(
        ["M14x1.5", "M10", "blind", "through", "none", "cut", "unknown", "+2d", "-9999d", "9999-12-31", "40", "1/2 in"]
    ),
)
_ANY = st.recursive(_SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner))


def _table(keys: dict[str, str], **nested: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    optional = dict.fromkeys(keys, _ANY) | {"odd": _ANY} | nested
    return st.fixed_dictionaries({}, optional=optional) | _ANY


_GROUPS = st.lists(_table(GROUP_KEYS), max_size=2) | _ANY
_DOCUMENTS = st.fixed_dictionaries(
    {}, optional=dict.fromkeys(JOB_KEYS, _ANY) | {"parts": st.lists(_table(PART_KEYS, groups=_GROUPS), max_size=2)}
)


@settings(max_examples=60)
@given(document=_DOCUMENTS)
def test_whatever_the_file_holds_it_is_read_or_refused_place_by_place(document: dict[str, Any]) -> None:
    try:
        request = _read(document)
    except JobFileError as wrong:
        problems = wrong.problems
    else:
        assert request.groups
        return
    assert problems
    assert all(place and text for place, text in problems)


@settings(max_examples=150)
@given(answers=st.dictionaries(st.sampled_from(sorted(GROUP_KEYS)), _SCALARS, max_size=3))
def test_whatever_one_group_answers_it_is_read_or_refused_at_its_place(answers: dict[str, Any]) -> None:
    try:
        value = _read(_job(GROUP | answers)).groups[0]
    except JobFileError as wrong:
        places = [place for place, _ in wrong.problems]
    else:
        assert value.holes == len(value.positions) > 0
        assert value.start < value.end
        return
    assert places
    assert all(place.startswith("parts[1].groups[1].") for place in places)


@settings(max_examples=100)
@given(text=st.text(max_size=200))
def test_whatever_text_is_given_it_is_no_job_or_refused(text: str) -> None:
    with pytest.raises(JobFileError):
        read_job_file(text, as_of=AS_OF)


def test_null_is_no_answer_and_every_fault_carries_its_reason() -> None:
    plain = _read(_job(GROUP | {"edge": None}))
    assert plain.groups[0].edge is None
    with pytest.raises(JobFileError) as wrong:
        _read(_job(GROUP | {"thread": None, "torque": "80 mm"}) | {"owner": True})
    assert {(place, reason.code) for place, reason in wrong.value.faults} == {
        ("owner", "value_expected"),
        ("parts[1].groups[1].thread", "thread_empty"),
        ("parts[1].groups[1].torque", "torque_unit_unknown"),
    }
