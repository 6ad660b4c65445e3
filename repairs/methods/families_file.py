"""Insert families as files: one TOML document is one family in one edition. PURE.

At its head stand `code`, `edition`, `method`, `standing` ("published" or "house"), `source` and, if there is
something to mind, `note`. `metal` names what a solid insert is made of, a row of `repairs/published/parent_metals.csv`.
Then its sizes, in either of two forms:

- `[[size]]`, one row for each pair of threads. `inner` is the bolt's thread, `outer` the one in the parent
metal (not for wire inserts, whose hole follows from the bolt), `lengths` what it is made in. `[defaults]`
gives what holds for every row that does not say otherwise. - `[rule]`, for wire inserts by the published
rule: `threads` and `multiples` of the nominal diameter as lengths.

Numbers are millimetres; text is read as people type it ("0.25 in", a drill as "29/64" or "Q"). `hands` makes
a size left-handed as well ("L") or only.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, TypeVar

from inventory.errors import Reason, Refused
from inventory.quantities import read_length, to_mm, to_nm
from inventory.threads import Thread, basic, insert_hole, read, read_drill
from repairs.methods.room import down, up
from repairs.methods.values import INSERTS, Size, Window
from repairs.strength import metals

STANDINGS = ("published", "house")
LOCATES = ("flange", "tap_shoulder", "depth_stop", "tool_collar")
LOCKS = ("expansion", "adhesive", "keys", "friction")
HANDS = ("R", "L")

# Set-down of a wire insert in pitches (ASME B18.29.2M); the inch form was not seen and is taken to be the
# same.
WIRE_BELOW = (Decimal("0.75"), Decimal("1.5"))

HEAD = ("code", "edition", "method", "standing", "source", "note", "metal", "defaults", "size", "rule")
FIELDS = (
    "inner",
    "outer",
    "lengths",
    "hands",
    "drill",
    "drill_tolerance",
    "seat",
    "seat_depth",
    "flange",
    "below_least",
    "below_most",
    "removal_drill",
    "removal_depth",
    "nose",
    "locate",
    "lock",
    "tang_free",
    "locking",
)
RULE_FIELDS = ("threads", "multiples", "hands", "tang_free", "locking")

# What a row of each method cannot do without, besides its threads and lengths.
REQUIRED = {
    "wire_insert": (),
    "flanged_bush": ("seat", "seat_depth", "flange", "locate", "lock"),
    "plain_bush": ("below_least", "below_most", "locate", "lock"),
    "keyed_bush": ("drill", "seat", "below_least", "below_most"),
    "oversize_insert": ("below_least", "below_most", "locate", "lock"),
}

MOST_DIAMETERS = 20  # no insert is longer: a slip of the decimal point

_CODE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*", re.ASCII)
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class FamilyFile:
    """One family in one edition, as its file says it; `sizes` in the order of the file."""

    code: str
    edition: str
    method: str
    standing: str
    source: str
    note: str
    metal: str
    sizes: tuple[Size, ...]


class FamilyError(Refused):
    """A family file that cannot be read; `reasons` names every bad place, each row and field.

    >>> FamilyError((Reason("family_empty"),)).reasons[0].code
    'family_empty'
    """

    def __init__(self, reasons: tuple[Reason, ...]) -> None:
        super().__init__(reasons[0])
        self.reasons = reasons


def read_family(text: str | bytes) -> FamilyFile:
    """Read a family file; lengths become nm. Raises `FamilyError` with every bad row and field by name.

    Codes: family_toml_unreadable, family_key_unknown, family_key_missing, family_key_wrong, family_empty,
    family_rule_for_wire_only, family_row_field_unknown, family_row_field_missing, family_row_field_wrong,
    family_row_backwards, family_row_hands, family_row_flange_wide, family_row_seat_narrow,
    family_row_drill_odd, family_row_no_room, family_row_twice.

    >>> family = read_family('''
    ... code = "own-plain"
    ... edition = "1"
    ... method = "plain_bush"
    ... standing = "house"
    ... source = "invented for this example"
    ... [[size]]
    ... inner = "M14x1.5"
    ... outer = "M16x1.5"
    ... lengths = [14, "0.75 in"]
    ... below_least = 0.2
    ... below_most = 0.5
    ... locate = "depth_stop"
    ... lock = "adhesive"
    ... ''')
    >>> [(size.outer.designation, size.length) for size in family.sizes]
    [('M16x1.5', 14000000), ('M16x1.5', 19050000)]
    """
    try:
        if isinstance(text, bytes):
            text = text.decode("utf-8-sig")
        document = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError) as error:  # bad UTF-8, bad TOML, numbers of thousands of digits
        raise FamilyError((Reason("family_toml_unreadable", **place_in_toml(error)),)) from error
    return _Reader(document).family()


def place_in_toml(error: Exception) -> dict[str, int]:
    """The line and column that the reader of TOML stopped at, as data of a `Reason`; nothing where it named none.

    >>> place_in_toml(ValueError("Invalid value (at line 3, column 7)")), place_in_toml(RecursionError())
    ({'line': 3, 'column': 7}, {})
    """
    found = re.search(r"line (\d+), column (\d+)", str(error))
    return {"line": int(found[1]), "column": int(found[2])} if found else {}


@dataclass(frozen=True, slots=True)
class _Row:
    """Where a row stands: its number and the words it is named by in an error."""

    number: int
    label: str


class _Reader:
    """Reads one document and gathers what is wrong with it."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self.document = document
        self.wrong: list[Reason] = []

    def family(self) -> FamilyFile:
        for key in self.document:
            if key not in HEAD:
                self.wrong.append(Reason("family_key_unknown", key=key, known=HEAD))
        code = self._head("code", lambda text: _CODE.fullmatch(text) is not None and len(text) <= 60)
        edition = self._head("edition", lambda text: len(text) <= 30 and "/" not in text)
        method = self._head("method", lambda text: text in INSERTS, INSERTS)
        standing = self._head("standing", lambda text: text in STANDINGS, STANDINGS)
        source = self._head("source", lambda text: len(text) <= 300)
        note = self.document.get("note", "")
        if not isinstance(note, str):
            self.wrong.append(Reason("family_key_wrong", key="note", typed=str(note), known=()))
        named = tuple(dict.fromkeys(each.code for each in metals()))
        metal = self._head("metal", lambda text: text in named, named) if "metal" in self.document else ""
        blank = Size(method, code, edition, _NO_THREAD, _NO_THREAD, 0, standing=standing, source=source, metal=metal)
        sizes = self._sizes(blank) if method in INSERTS else ()
        if not sizes and not self.wrong:
            self.wrong.append(Reason("family_empty"))
        if self.wrong:
            raise FamilyError(tuple(self.wrong))
        return FamilyFile(code, edition, method, standing, source, str(note).strip(), metal, sizes)

    def _head(self, key: str, good: Callable[[str], bool], known: tuple[str, ...] = ()) -> str:
        value = self.document.get(key)
        if value is None:
            self.wrong.append(Reason("family_key_missing", key=key))
            return ""
        if not isinstance(value, str) or not value.strip() or not good(value.strip()):
            self.wrong.append(Reason("family_key_wrong", key=key, typed=str(value)[:80], known=known))
            return ""
        return value.strip()

    def _table(self, key: str) -> Mapping[str, Any]:
        found = self.document.get(key, {})
        if isinstance(found, Mapping):
            return found
        self.wrong.append(Reason("family_key_wrong", key=key, typed=str(found)[:80], known=()))
        return {}

    def _sizes(self, blank: Size) -> tuple[Size, ...]:
        defaults = self._table("defaults")
        self._known(_Row(0, "defaults"), defaults, FIELDS)
        rows = self.document.get("size", [])
        if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
            self.wrong.append(Reason("family_key_wrong", key="size", typed=str(rows)[:80], known=("[[size]]",)))
            rows = []
        sizes: list[Size] = []
        first: dict[tuple[str, str, int], int] = {}
        for number, typed in enumerate(rows, start=1):
            row = _Row(number, _label(typed))
            self._known(row, typed, FIELDS)
            self._add(row, self._row(row, {**defaults, **typed}, blank), sizes, first)
        if "rule" in self.document:
            self._rule(self._table("rule"), blank, sizes, first)
        return tuple(sizes)

    def _add(self, row: _Row, found: list[Size], sizes: list[Size], first: dict[tuple[str, str, int], int]) -> None:
        for size in found:
            key = (size.inner.key, size.outer.key, size.length)
            if key in first:
                twice = Reason(
                    "family_row_twice",
                    row=row.number,
                    label=row.label,
                    first=first[key],
                    length_nm=size.length,
                )
                self.wrong.append(twice)
            else:
                first[key] = row.number
                sizes.append(size)

    def _known(self, row: _Row, typed: Mapping[str, Any], known: tuple[str, ...]) -> None:
        for field in typed:
            if field not in known:
                reason = Reason("family_row_field_unknown", row=row.number, label=row.label, field=field, known=known)
                self.wrong.append(reason)

    def _rule(
        self,
        typed: Mapping[str, Any],
        blank: Size,
        sizes: list[Size],
        first: dict[tuple[str, str, int], int],
    ) -> None:
        if blank.method != "wire_insert":
            self.wrong.append(Reason("family_rule_for_wire_only", method=blank.method))
            return
        rule = _Row(0, "rule")
        self._known(rule, typed, RULE_FIELDS)
        multiples = self._each(rule, "multiples", typed, self._multiple)
        threads = self._each(rule, "threads", typed, self._thread)
        hands = self._hands(rule, typed)
        form = replace(
            blank, tang_free=self._flag(rule, "tang_free", typed), locking=self._flag(rule, "locking", typed)
        )
        for thread in threads:
            lengths = [int(multiple * thread.nominal) for multiple in multiples]
            row = _Row(0, thread.designation)
            self._add(row, self._in_hands(row, replace(form, inner=thread), lengths, hands), sizes, first)

    def _row(self, row: _Row, typed: Mapping[str, Any], blank: Size) -> list[Size]:
        before = len(self.wrong)
        wire = blank.method == "wire_insert"
        needed = ("inner", "lengths", *(() if wire else ("outer",)), *REQUIRED[blank.method])
        for field in needed:
            if field not in typed:
                self._lacks(row, field)
        inner = self._value(row, "inner", typed, self._thread)
        outer = None if wire else self._value(row, "outer", typed, self._thread)
        if wire and "outer" in typed:
            known = tuple(field for field in FIELDS if field != "outer")
            self.wrong.append(
                Reason("family_row_field_unknown", row=row.number, label=row.label, field="outer", known=known)
            )
        lengths = self._each(row, "lengths", typed, self._length) if "lengths" in typed else []
        hands = self._hands(row, typed)
        drill = self._drill_window(row, typed)
        size = replace(
            blank,
            drill=drill,
            seat=self._value(row, "seat", typed, self._length),
            seat_depth=self._value(row, "seat_depth", typed, self._length) or 0,
            flange=self._value(row, "flange", typed, self._length),
            below=self._below(row, typed, REQUIRED[blank.method]),
            removal_drill=self._value(row, "removal_drill", typed, self._drill),
            removal_depth=self._value(row, "removal_depth", typed, self._length),
            nose=self._value(row, "nose", typed, self._room) or 0,
            locate=self._value(row, "locate", typed, self._word(LOCATES)) or "",
            lock=self._value(row, "lock", typed, self._word(LOCKS)) or "",
            tang_free=self._flag(row, "tang_free", typed),
            locking=self._flag(row, "locking", typed),
        )
        if len(self.wrong) > before or inner is None or (outer is None and not wire):
            return []
        return self._in_hands(row, replace(size, inner=inner, outer=outer or _NO_THREAD), lengths, hands)

    def _in_hands(self, row: _Row, size: Size, lengths: list[int], hands: tuple[str, ...]) -> list[Size]:
        if size.method == "wire_insert":
            try:
                size = replace(size, outer=insert_hole(size.inner), below=size.below or _wire_below(size.inner))
            except Refused as refused:
                self._refuse(row, "inner", size.inner.designation, refused.reason)
                return []
        if size.inner.left or size.outer.left:
            self.wrong.append(Reason("family_row_hands", row=row.number, label=row.label))
            return []
        if not self._possible(row, size):
            return []
        mirrored = replace(size, inner=size.inner.mirrored(), outer=size.outer.mirrored())
        return [replace(size if hand == "R" else mirrored, length=nm) for hand in hands for nm in lengths]

    def _possible(self, row: _Row, size: Size) -> bool:
        """Whether the bush has a wall and its flange fits its seat."""
        before = len(self.wrong)
        named = {"row": row.number, "label": row.label}
        inside, outside = basic(size.inner).major, basic(size.outer).minor_internal
        if size.method != "wire_insert" and basic(size.outer).major <= inside:
            outer = size.outer.designation
            self.wrong.append(Reason("family_row_no_room", **named, inner=size.inner.designation, outer=outer))
        if size.flange is not None and size.seat is not None and size.flange > size.seat:
            self.wrong.append(Reason("family_row_flange_wide", **named, flange_nm=size.flange, seat_nm=size.seat))
        if size.seat is not None and size.seat < down(basic(size.outer).major):
            major = up(basic(size.outer).major)
            self.wrong.append(Reason("family_row_seat_narrow", **named, seat_nm=size.seat, major_nm=major))
        drill = size.drill
        if drill is not None and not (to_mm(drill.least) >= outside and to_mm(drill.most) < basic(size.outer).major):
            self.wrong.append(
                Reason(
                    "family_row_drill_odd",
                    **named,
                    least_nm=drill.least,
                    most_nm=drill.most,
                    minor_nm=down(outside),
                    major_nm=up(basic(size.outer).major),
                )
            )
        return len(self.wrong) == before

    def _drill_window(self, row: _Row, typed: Mapping[str, Any]) -> Window | None:
        drill = self._value(row, "drill", typed, self._drill)
        tolerance = self._value(row, "drill_tolerance", typed, self._length)
        if "drill" in typed and "drill_tolerance" not in typed:
            self._lacks(row, "drill_tolerance")
        if drill is None or tolerance is None:
            return None
        return Window(drill - tolerance, drill + tolerance)

    def _below(self, row: _Row, typed: Mapping[str, Any], required: tuple[str, ...]) -> Window | None:
        least = self._value(row, "below_least", typed, self._room)
        most = self._value(row, "below_most", typed, self._length)
        if least is None and most is None:
            return None
        if least is None or most is None:
            for field in ("below_least", "below_most"):
                if field not in typed and field not in required:
                    self._lacks(row, field)
            return None
        if least > most:
            named = {"row": row.number, "label": row.label}
            self.wrong.append(Reason("family_row_backwards", **named, least_nm=least, most_nm=most))
        return Window(least, most)

    def _hands(self, row: _Row, typed: Mapping[str, Any]) -> tuple[str, ...]:
        if "hands" not in typed:
            return ("R",)
        return tuple(dict.fromkeys(self._each(row, "hands", typed, self._word(HANDS))))

    def _flag(self, row: _Row, field: str, typed: Mapping[str, Any]) -> bool:
        value = typed.get(field, False)
        if not isinstance(value, bool):
            self._refuse(row, field, value, Reason("family_value_not_a_flag"))
        return value is True

    def _lacks(self, row: _Row, field: str) -> None:
        self.wrong.append(Reason("family_row_field_missing", row=row.number, label=row.label, field=field))

    def _refuse(self, row: _Row, field: str, value: object, cause: Reason) -> None:
        self.wrong.append(
            Reason(
                "family_row_field_wrong",
                row=row.number,
                label=row.label,
                field=field,
                typed=str(value)[:80],
                cause=cause,
            )
        )

    def _value(self, row: _Row, field: str, typed: Mapping[str, Any], parse: Callable[[object], T]) -> T | None:
        if field not in typed:
            return None
        try:
            return parse(typed[field])
        except Refused as refused:
            self._refuse(row, field, typed[field], refused.reason)
            return None

    def _each(self, row: _Row, field: str, typed: Mapping[str, Any], parse: Callable[[object], T]) -> list[T]:
        values = typed.get(field)
        if not isinstance(values, list) or not values:
            if field in typed:
                self._refuse(row, field, values, Reason("family_value_not_a_list"))
            else:
                self._lacks(row, field)
            return []
        found = (self._value(row, field, {field: value}, parse) for value in values)
        return [value for value in found if value is not None]

    def _length(self, value: object) -> int:
        if isinstance(value, str):
            return read_length(value)
        return read_length(f"{self._number(value):f}")

    def _room(self, value: object) -> int:
        """A length that may be nothing: typed as the number 0."""
        return 0 if not isinstance(value, str) and self._number(value) == 0 else self._length(value)

    def _multiple(self, value: object) -> Decimal:
        number = self._number(value)
        if not 0 < number <= MOST_DIAMETERS:
            raise Refused(Reason("family_value_absurd"))
        return number

    def _number(self, value: object) -> Decimal:
        if isinstance(value, bool) or not isinstance(value, int | Decimal) or not Decimal(value).is_finite():
            raise Refused(Reason("family_value_not_a_number"))
        number = Decimal(value)
        if not -12 <= number.adjusted() <= 6:
            raise Refused(Reason("family_value_absurd"))
        return number

    def _drill(self, value: object) -> int:
        return read_drill(value if isinstance(value, str) else f"{self._number(value):f}").diameter_nm

    def _thread(self, value: object) -> Thread:
        if not isinstance(value, str):
            raise Refused(Reason("family_value_not_text"))
        return read(value).thread

    def _word(self, known: tuple[str, ...]) -> Callable[[object], str]:
        def word(value: object) -> str:
            if not isinstance(value, str) or value not in known:
                raise Refused(Reason("family_value_not_known", known=known))
            return value

        return word


def _wire_below(inner: Thread) -> Window:
    least, most = (multiple * inner.pitch_mm for multiple in WIRE_BELOW)
    return Window(to_nm(least, "up"), to_nm(most, "down"))


def _label(typed: Mapping[str, Any]) -> str:
    inner, outer = typed.get("inner", "?"), typed.get("outer")
    return f"{inner} in {outer}" if outer is not None else f"{inner}"


_NO_THREAD = Thread("M", 1, 1)  # stands in a size until its own threads are read
