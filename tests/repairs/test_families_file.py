"""Family files: what they say is what is read, and a bad row is refused by name with every other bad row."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.threads import insert_hole, read
from repairs.methods.families_file import REQUIRED, FamilyError, FamilyFile, read_family
from repairs.methods.room import wall_check
from repairs.methods.values import FITS, INSERTS, Limits, Window

MM = 1_000_000
ROOT = Path(__file__).resolve().parents[2]
PUBLISHED = sorted((ROOT / "repairs" / "published").glob("*.toml"))
HOUSE = sorted((ROOT / "fixtures" / "families").glob("*.toml"))

HEAD = """
code = "own-flanged"
edition = "2"
method = "flanged_bush"
standing = "house"
source = "drawing 17"
"""
ROW = """
[[size]]
inner = "M14 x 1,5"
outer = "M16x1.5"
lengths = [14, "0.75 in", 21.5]
seat = 22
seat_depth = 2
flange = 21.8
nose = 4
locate = "flange"
lock = "expansion"
"""
WIRE = """
code = "w"
edition = "1"
method = "wire_insert"
standing = "house"
source = "own"
"""


def family(path: Path) -> FamilyFile:
    return read_family(path.read_bytes())


def refused(text: str | bytes) -> list[tuple[str, dict[str, Any]]]:
    with pytest.raises(FamilyError) as caught:
        read_family(text)
    assert caught.value.reason == caught.value.reasons[0]
    return [(reason.code, dict(reason.data)) for reason in caught.value.reasons]


def only(text: str | bytes) -> tuple[str, dict[str, Any]]:
    (found,) = refused(text)
    return found


def test_a_row_is_read_with_mixed_units_and_spellings() -> None:
    read_back = read_family(HEAD + ROW)
    assert (read_back.code, read_back.edition, read_back.standing) == ("own-flanged", "2", "house")
    assert [size.length for size in read_back.sizes] == [14 * MM, 19_050_000, 21_500_000]
    size = read_back.sizes[0]
    assert (size.inner, size.outer) == (read("M14x1.5").thread, read("M16x1.5").thread)
    assert (size.seat, size.seat_depth, size.flange, size.nose) == (22 * MM, 2 * MM, 21_800_000, 4 * MM)
    assert (size.locate, size.lock, size.family_key, size.source) == (
        "flange",
        "expansion",
        "own-flanged/2",
        "drawing 17",
    )


def test_decimals_are_exact() -> None:
    (size,) = read_family(HEAD + ROW.replace('[14, "0.75 in", 21.5]', "[16.376001]")).sizes
    assert size.length == 16_376_001


def test_defaults_hold_for_every_row_that_does_not_say_otherwise() -> None:
    text = HEAD + '[defaults]\nlocate = "flange"\nlock = "expansion"\nnose = 3\n' + ROW.replace("nose = 4\n", "")
    assert {size.nose for size in read_family(text).sizes} == {3 * MM}
    assert {size.nose for size in read_family(text.replace("seat = 22", "seat = 22\nnose = 5")).sizes} == {5 * MM}


def test_hands_add_the_mirrored_size_of_both_threads() -> None:
    both = read_family(HEAD + ROW + 'hands = ["R", "L"]\n').sizes
    assert [size.inner.hand for size in both] == ["R", "R", "R", "L", "L", "L"]
    assert all(size.inner.hand == size.outer.hand for size in both)
    assert {size.inner.hand for size in read_family(HEAD + ROW + 'hands = ["L"]\n').sizes} == {"L"}


def test_the_rule_of_wire_inserts_expands_to_lengths_and_set_down() -> None:
    sizes = read_family(WIRE + '[rule]\nthreads = ["M10x1.25", "5/16-18"]\nmultiples = [1, 1.5]\n').sizes
    assert [(size.inner.designation, size.length) for size in sizes] == [
        ("M10x1.25", 10 * MM),
        ("M10x1.25", 15 * MM),
        ("5/16-18 UNC", 7_937_500),
        ("5/16-18 UNC", 11_906_250),
    ]
    assert all(size.outer == insert_hole(size.inner) for size in sizes)
    assert sizes[0].below == Window(937_500, 1_875_000)  # 0.75 and 1.5 P, ASME B18.29.2M


def test_rows_of_wire_inserts_take_the_same_set_down_unless_they_say_their_own() -> None:
    row = '[[size]]\ninner = "M10x1.25"\nlengths = [12]\n'
    assert read_family(WIRE + row).sizes[0].below == Window(937_500, 1_875_000)
    own = row + "below_least = 0\nbelow_most = 1\n"
    assert read_family(WIRE + own).sizes[0].below == Window(0, MM)


def test_a_drill_named_by_the_family_becomes_a_window_of_its_tolerance() -> None:
    text = (
        HEAD.replace("flanged_bush", "keyed_bush")
        + """
[[size]]
inner = "5/16-18"
outer = "1/2-13"
drill = "29/64"
drill_tolerance = 0.05
seat = "33/64 in"
below_least = "0.010 in"
below_most = "0.030 in"
removal_drill = "13/32"
removal_depth = "1/4 in"
lengths = ["1/2 in"]
"""
    )
    (size,) = read_family(text).sizes
    assert size.drill == Window(11_459_375, 11_559_375)
    assert (size.seat, size.removal_drill, size.removal_depth) == (13_096_875, 10_318_750, 6_350_000)
    assert size.below == Window(254_000, 762_000)


# What is refused, by name


def test_every_bad_row_is_named_and_none_hides_another() -> None:
    text = (
        HEAD
        + ROW.replace('lock = "expansion"', 'lock = "glue"')
        + ROW.replace("M16x1.5", "M16x1.7").replace("seat = 22", 'seat = "wide"')
        + ROW.replace("flange = 21.8\n", "")
    )
    found = refused(text)
    assert [(code, data["row"], data["field"]) for code, data in found] == [
        ("family_row_field_wrong", 1, "lock"),
        ("family_row_field_wrong", 2, "outer"),
        ("family_row_field_wrong", 2, "seat"),
        ("family_row_field_missing", 3, "flange"),
    ]
    assert found[0][1]["label"] == "M14 x 1,5 in M16x1.5"
    assert found[0][1]["cause"].code == "family_value_not_known"
    assert found[1][1]["typed"] == "M16x1.7"
    assert found[1][1]["cause"].code.startswith("thread_")
    assert found[2][1]["cause"].code == "length_unreadable"


@pytest.mark.parametrize(
    ("old", "new", "code", "field"),
    [
        ('outer = "M16x1.5"\n', "", "family_row_field_missing", "outer"),
        ("seat_depth", "seat_deep", "family_row_field_unknown", "seat_deep"),
        ("seat = 22", "seat = -22", "family_row_field_wrong", "seat"),
        ("seat = 22", "seat = 0", "family_row_field_wrong", "seat"),
        ("seat = 22", "seat = true", "family_row_field_wrong", "seat"),
        ("seat = 22", "seat = 1e999999999", "family_row_field_wrong", "seat"),
        ("seat = 22", "seat = 1e-999999999", "family_row_field_wrong", "seat"),
        ("seat = 22", "seat = nan", "family_row_field_wrong", "seat"),
        ('inner = "M14 x 1,5"', "inner = 14", "family_row_field_wrong", "inner"),
        ("nose = 4", 'tang_free = "yes"', "family_row_field_wrong", "tang_free"),
        ("nose = 4", 'hands = ["B"]', "family_row_field_wrong", "hands"),
        ('[14, "0.75 in", 21.5]', "14", "family_row_field_wrong", "lengths"),
        ('[14, "0.75 in", 21.5]', "[]", "family_row_field_wrong", "lengths"),
        ('[14, "0.75 in", 21.5]', "[14, []]", "family_row_field_wrong", "lengths"),
        ("nose = 4", 'drill = "14.5"', "family_row_field_missing", "drill_tolerance"),
        ("nose = 4", "below_least = 0.2", "family_row_field_missing", "below_most"),
    ],
)
def test_a_bad_field_is_refused_by_row_and_field(old: str, new: str, code: str, field: str) -> None:
    assert old in ROW
    found = [(found_code, data["row"], data["field"]) for found_code, data in refused(HEAD + ROW.replace(old, new))]
    assert (code, 1, field) in found


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("M16x1.5", "M14x1", "family_row_no_room"),
        ("flange = 21.8", "flange = 22.1", "family_row_flange_wide"),
        ("seat = 22", "seat = 15.5", "family_row_seat_narrow"),
        ("M14 x 1,5", "M14x1.5 LH", "family_row_hands"),
        ("nose = 4", "below_least = 0.5\nbelow_most = 0.2", "family_row_backwards"),
        ("nose = 4", 'drill = "16.5"\ndrill_tolerance = 0.05', "family_row_drill_odd"),
        ("nose = 4", 'drill = "14.0"\ndrill_tolerance = 0.05', "family_row_drill_odd"),
        ('[14, "0.75 in", 21.5]', "[14, 14.0]", "family_row_twice"),
    ],
)
def test_a_size_that_cannot_be_is_refused_by_row(old: str, new: str, code: str) -> None:
    assert old in ROW
    found = refused(HEAD + ROW.replace(old, new))
    assert (code, 1) in [(found_code, data["row"]) for found_code, data in found]


def test_a_size_listed_twice_names_the_row_it_stands_in_first() -> None:
    code, data = refused(HEAD + ROW + ROW)[0]
    assert (code, data["row"], data["first"]) == ("family_row_twice", 2, 1)


@pytest.mark.parametrize("key", ["code", "edition", "method", "standing", "source"])
def test_a_head_without_a_key_is_refused(key: str) -> None:
    lines = [line for line in HEAD.splitlines() if not line.startswith(key)]
    assert ("family_key_missing", {"key": key}) in refused("\n".join(lines) + ROW)


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("own-flanged", "Own Flanged", "code"),
        ('edition = "2"', "edition = 2", "edition"),
        ('edition = "2"', 'edition = "2/3"', "edition"),
        ("flanged_bush", "glued_bush", "method"),
        ("house", "mine", "standing"),
        ("drawing 17", " ", "source"),
    ],
)
def test_a_head_that_says_what_cannot_be_is_refused(old: str, new: str, key: str) -> None:
    code, data = refused(HEAD.replace(old, new) + ROW)[0]
    assert (code, data["key"]) == ("family_key_wrong", key)


def test_other_mistakes_of_the_document_are_named() -> None:
    assert only("code = ")[0] == "family_toml_unreadable"
    with pytest.raises(FamilyError) as wrong:
        read_family("code = \n")
    assert dict(wrong.value.reason.data) == {"line": 1, "column": 8}
    assert only(b"\xff\xfe")[0] == "family_toml_unreadable"
    assert only(HEAD)[0] == "family_empty"
    assert only("colour = 1\n" + HEAD + ROW)[0] == "family_key_unknown"
    assert only(HEAD + "note = 1\n" + ROW)[1]["key"] == "note"
    assert only(HEAD + "[size]\n")[1]["key"] == "size"
    assert only(HEAD + ROW + '[rule]\nthreads = ["M10"]\nmultiples = [1]\n')[0] == "family_rule_for_wire_only"
    assert only(HEAD + "[defaults]\ncolour = 1\n" + ROW)[1]["label"] == "defaults"
    assert only(WIRE + '[[size]]\ninner = "M10"\nouter = "M12"\nlengths = [10]\n')[1]["field"] == "outer"
    hole = only(WIRE + '[[size]]\ninner = "EG M10"\nlengths = [10]\n')[1]
    assert (hole["field"], hole["cause"].code) == ("inner", "thread_no_insert_hole")
    assert refused(WIRE + "rule = 3\n")[0][1]["key"] == "rule"
    assert only(f"code = {'9' * 5000}")[0] == "family_toml_unreadable"


def test_a_bad_rule_is_named_field_by_field() -> None:
    text = WIRE + '[rule]\nthreads = ["M10x1.25", "M10x1.3"]\nmultiples = [1, 0, 1e99, "x"]\nlocking = 1\n'
    fields = [data["field"] for _, data in refused(text)]
    assert fields == ["multiples", "multiples", "multiples", "threads", "locking"]
    assert [data["field"] for _, data in refused(WIRE + "[rule]\n")] == ["multiples", "threads"]


VALUE = st.recursive(
    st.none().map(lambda _: '"M14x1.5"')
    | st.sampled_from(
        [
            '"29/64"',
            '"0.2 in"',
            "1",
            "-3",
            "1.5",
            "nan",
            "true",
            '"R"',
            '"expansion"',
            '"\\u0000"',
            "1979-05-27",
        ]
    ),
    lambda inner: st.lists(inner, max_size=3).map(lambda values: "[" + ", ".join(values) + "]"),
    max_leaves=4,
)
FIELD = st.sampled_from(
    ["inner", "outer", "lengths", "hands", "drill", "drill_tolerance", "seat", "below_least", "lock"]
)


@settings(max_examples=150)
@given(
    method=st.sampled_from(INSERTS),
    row=st.dictionaries(FIELD, VALUE),
    rule=st.dictionaries(FIELD, VALUE, max_size=2),
)
def test_no_document_raises_anything_but_a_family_error(method: str, row: dict[str, str], rule: dict[str, str]) -> None:
    text = HEAD.replace("flanged_bush", method)
    text += "[[size]]\n" + "\n".join(f"{key} = {value}" for key, value in row.items())
    text += "\n[rule]\n" + "\n".join(f"{key} = {value}" for key, value in rule.items())
    with pytest.raises(FamilyError) as caught:
        read_family(text)
    assert caught.value.reasons


@settings(max_examples=100)
@given(text=st.text(max_size=200))
def test_no_text_raises_anything_but_a_family_error(text: str) -> None:
    with pytest.raises(FamilyError):
        read_family(text)


# The families that come with the program


@pytest.mark.parametrize("path", [*PUBLISHED, *HOUSE], ids=lambda path: path.name)
def test_every_family_that_comes_with_the_program_reads_and_says_its_standing(path: Path) -> None:
    found = family(path)
    assert found.sizes
    assert found.standing == ("published" if path in PUBLISHED else "house")
    assert found.method in REQUIRED
    assert all(size.standing == found.standing and size.source == found.source for size in found.sizes)


def test_each_method_has_a_family_and_no_code_stands_twice() -> None:
    found = [family(path) for path in (*PUBLISHED, *HOUSE)]
    assert {each.method for each in found} == set(INSERTS)
    assert len({each.code for each in found}) == len(found)


@pytest.mark.parametrize("path", HOUSE, ids=lambda path: path.name)
def test_house_families_say_that_they_are_invented(path: Path) -> None:
    words = "Invented for the demo: type in your own drawing"
    assert {size.metal for size in family(path).sizes} == {"11smn30-c"}
    assert family(path).source == words
    assert words in family(path).note


@pytest.mark.parametrize("path", HOUSE, ids=lambda path: path.name)
def test_every_house_bush_keeps_its_wall(path: Path) -> None:
    thin = [size for size in family(path).sizes if wall_check(size, Limits()).status != FITS]
    assert thin == []


def test_house_bushes_step_up_for_the_same_bolt_and_come_left_handed() -> None:
    for path in HOUSE:
        outers = {size.outer for size in family(path).sizes if size.inner == read("M14x1.5").thread}
        oversize = family(path).method == "oversize_insert"
        assert outers == {read(outer).thread for outer in (("M20x1.5",) if oversize else ("M16x1.5", "M18x1.5"))}
        left = {size.outer for size in family(path).sizes if size.inner == read("M14x1.5 LH").thread}
        assert left == {outer.mirrored() for outer in outers}


def test_the_keyed_table_s_six_rows_in_both_pitches() -> None:
    # TM 9-2520-215-34 table 1: internal thread, external thread, hole drill, countersink, removal drill.
    rows = {
        ("#10-24", "#10-32"): ("3/8-16", "Q", "25/64", "9/32"),
        ("1/4-20", "1/4-28"): ("7/16-14", "X", "29/64", "11/32"),
        ("5/16-18", "5/16-24"): ("1/2-13", "29/64", "33/64", "13/32"),
        ("3/8-16", "3/8-24"): ("9/16-12", "33/64", "37/64", "15/32"),
        ("7/16-14", "7/16-20"): ("5/8-11", "37/64", "41/64", "17/32"),
        ("1/2-13", "1/2-20"): ("11/16-11 UNS", "41/64", "45/64", "19/32"),
    }
    inches = {"Q": "0.332", "X": "0.397"}  # ASME B94.11M

    def nm(typed: str) -> int:
        over, _, under = inches.get(typed, typed).partition("/")
        return int(over) * 25_400_000 // int(under) if under else round(float(over) * 25_400_000)

    found = {
        (
            size.inner,
            size.outer,
            (size.drill.least + size.drill.most) // 2,
            size.seat,
            size.removal_drill,
            size.removal_depth,
        )
        for size in family(ROOT / "repairs" / "published" / "keyed_heavy.toml").sizes
        if size.drill is not None
    }
    wanted = {
        (read(inner).thread, read(outer).thread, nm(drill), nm(sink), nm(removal), 6_350_000)
        for inners, (outer, drill, sink, removal) in rows.items()
        for inner in inners
    }
    assert found == wanted


def test_the_keyed_family_owns_up_that_its_lengths_are_not_the_table_s() -> None:
    found = family(ROOT / "repairs" / "published" / "keyed_heavy.toml")
    assert "not in that table" in found.source
    assert "lengths" in found.note


def test_published_wire_inserts_come_in_one_to_three_diameters_metric_and_inch() -> None:
    for name, typed in (("wire_metric", "M10x1.25"), ("wire_inch", "5/16-18"), ("wire_metric_locking", "M8")):
        bolt = read(typed).thread
        sizes = [size for size in family(ROOT / "repairs" / "published" / f"{name}.toml").sizes if size.inner == bolt]
        assert [size.length * 2 / bolt.nominal for size in sizes] == [2, 3, 4, 5, 6]


def test_forms_of_wire_inserts_are_families_of_their_own() -> None:
    forms = {path.stem: {(size.tang_free, size.locking) for size in family(path).sizes} for path in PUBLISHED}
    assert forms["wire_metric"] == forms["wire_inch"] == {(False, False)}
    assert forms["wire_metric_locking"] == forms["wire_inch_locking"] == {(False, True)}
    assert forms["wire_metric_tang_free"] == {(True, False)}
