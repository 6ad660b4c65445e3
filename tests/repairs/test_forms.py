"""Job files: what people type is read or refused, every wrong place at once, and nothing else is ever raised."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import override_settings
from hypothesis import given, settings
from hypothesis import strategies as st

from repairs.forms import GROUP_KEYS, JOB_KEYS, PART_KEYS, JobFileError, letters, read_job, read_job_file
from repairs.jobs import JobRequest

AS_OF = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
GROUP: dict[str, Any] = {"thread": "M14 x 1,5", "holes": 4, "hole": "blind", "before": "none", "made": "cut"}


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


def test_every_answer_reaches_the_value_that_the_methods_read() -> None:
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
    value = _read(_job()).groups[0]
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
    text += 'thread = "M14 x 1,5"\nholes = 4\nhole = "blind"\nbefore = "none"\nmade = "cut"\n'
    assert read_job_file(text, as_of=AS_OF) == _read(_job())


# What is refused


BAD: list[tuple[str, str, Any, str]] = [
    ("thread", "", "", "required"),
    ("thread", "", "M14x15", "pitch"),
    ("thread", "", "NPT 1/4", "not covered"),
    ("thread", "", {"size": "M14"}, ""),
    ("holes", "", 0, "greater than or equal to 1"),
    ("holes", "", 501, "less than or equal to 500"),
    ("holes", "", "some", "whole number"),
    ("hole", "", "bottomless", "blind, through"),
    ("depth", "", "-3", "more than zero"),
    ("depth", "", "3/8", "fraction without a unit"),
    ("depth", "", False, "cannot be read as a length"),
    ("floor", "", "12 apples", "cannot be read|no unit"),
    ("edge", "", "40 m", "unit right"),
    ("material", "", "cheese", "cast aluminium"),
    ("before", "", "glue", "wire insert"),
    ("before", "", "", "required"),
    ("before_thread", "", "M", ""),
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
    import re

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
        ("number", "", "required"),
        ("number", "x" * 41, "at most 40"),
        ("site", "", "required"),
        ("starts", "", "required"),
        ("starts", "31.12.2026", "no date"),
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
        ({"parts": ["Casing"]}, {"parts[1]", "parts[1].name", "parts[1].groups"}),
    ],
)
def test_a_missing_or_misshapen_table_is_named(change: dict[str, Any], places: set[str]) -> None:
    assert set(_problems(_job() | change)) == places


def test_what_is_no_toml_is_refused_with_its_place() -> None:
    with pytest.raises(JobFileError) as wrong:
        read_job_file("number = \n", as_of=AS_OF)
    ((place, text),) = wrong.value.problems
    assert place == "file"
    assert "line 1" in text


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
