"""What people answer about a job: forms for job, part and hole group, and the job file that fills them.

A job file is TOML; every value is text as a person types it. Keys are documented in `JOB_KEYS`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.conf import settings

from inventory.errors import Reason, Refused
from inventory.forms import Answers, Fault, LengthField, StressField, ThreadField, TorqueField, WordField
from inventory.quantities import read_day, to_mm, to_nm
from inventory.threads import SYSTEMS, Reading, Thread, ThreadError, basic, insert_hole, read
from repairs import proving
from repairs.jobs import OPEN, READINESS, JobRequest, PartRequest
from repairs.limits import METHOD_ORDER
from repairs.methods.families_file import place_in_toml
from repairs.methods.values import BEFORE, DAMAGE, FAILED, MADE, MATERIALS, ORDER, WEAKEST, YES_NO, HoleGroup
from repairs.models import SAFETY, Job, Position
from repairs.strength import bolt_metal, metal, metals
from repairs.wording import SENTENCES, say, word

JOB_KEYS = {
    "number": "the job's number",
    "owner": "whose part it is",
    "site": "the site where the work is done",
    "starts": "first day, 2026-12-01 or +5d from today",
    "ends": "last day, inclusive",
    "note": "anything to remember",
    "booked": "true: the kit is reserved when the demo loads the file",
}
PART_KEYS = {
    "name": "what the part is",
    "serial": "its serial number",
    "drawing": "its drawing number",
    "fixture": "the fixture that holds it, if it needs one",
    "hand": "left or right, for mirrored parts",
    "safety": "suspension, steering, brakes, lifting, pressure or aircraft",
}
GROUP_KEYS = {
    "thread": "the bolt's thread as typed",
    "holes": "how many like holes",
    "positions": 'which holes, ["1", "2"]',
    "hole": "blind or through",
    "depth": "blind: depth at full diameter, or unknown; through: thickness of the metal",
    "floor": "blind: metal below that depth",
    "edge": "from the axis to the nearest edge",
    "material": "the parent metal",
    "before": "what was done to the hole before: none, wire insert, solid bush, keyed bush, unknown",
    "before_thread": "the thread that now stands in the metal because of it (wire insert: its insert-hole thread)",
    "before_major": "its measured major diameter",
    "failed": "what failed there: insert, parent or unknown",
    "passes_gauge": "the thread in the metal still passes its hole gauge: yes, no, unknown",
    "made": "how the old thread was made: cut, formed (by the screw) or unknown",
    "torque": "the torque that the bolt is proved to",
    "damage": "what is wrong with the thread: burred, worn, stripped, cracked or unknown",
    "bore": "the widest diameter of the hole as it is now",
    "off_axis": "how far its axis stands from where it belongs",
    "grade": "the bolt's property class or grade: 10.9, J429 8",
    "reach": "how far the bolt reaches in from the surface",
    "alloy": "the parent's alloy, a code of the table of metals, or weakest",
    "tensile": "tensile strength of the parent metal, where it is known better: 240 MPa, 35 ksi",
    "shear": "its shear strength, likewise",
    "method": "the wished method, or none",
    "starts": "first day, where the group has a window of its own",
    "ends": "last day, inclusive",
}

# Only a metal that the table knows by one code is named; a grey iron's rows differ by the wall alone.
ALLOYS = {WEAKEST: word(WEAKEST), **{each.code: each.word for each in metals()}}

LONGEST_LABEL = Position._meta.get_field("label").max_length or 0

_AS_ANSWERED = (
    "depth", "floor", "edge", "material", "before", "before_major", "failed", "passes_gauge", "made", "torque",
    "damage", "bore", "off_axis", "grade", "reach", "alloy", "tensile", "shear",
)  # fmt: skip

_NO_ADDRESS = (".", "..", "new")  # what /jobs/…/ leads elsewhere with

EARLIEST, LATEST = date(2000, 1, 1), date(2199, 12, 31)  # beyond them it is a slip of the pen
MOST_GROUPS = 60  # of one job: the plan of each takes its time
LARGEST_NUMBER = 10**30  # beyond it Python itself may refuse to write a number out


def _words(codes: tuple[str, ...]) -> dict[str, str]:
    return {code: word(code) for code in codes if code}


class DayField(forms.CharField):
    """Cleans to a date: ISO, or "+5d" counted from the form's `today`."""

    missing = Reason("date_missing")

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=20, **kwargs)
        self.today = date.min

    def clean(self, value: Any) -> date | None:
        text = super().clean(str(value) if value is not None else value)
        if text in self.empty_values:
            return None
        try:
            day = read_day(text, self.today)
        except Refused as refused:
            raise Fault(refused.reason, SENTENCES) from refused
        if not EARLIEST <= day <= LATEST:
            reason = Reason("date_absurd", typed=text, first=EARLIEST, last=LATEST)
            raise Fault(reason, SENTENCES)
        return day


def midnight(day: date) -> datetime:
    """The first moment of a day in the shop's zone."""
    return datetime.combine(day, time.min, settings.SHOP_ZONE)


class _WindowForm(Answers):
    """A window of days: typed inclusive, kept half-open."""

    def __init__(self, *args: Any, as_of: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.as_of = as_of
        for field in self.fields.values():
            if isinstance(field, DayField):
                field.today = as_of.astimezone(settings.SHOP_ZONE).date()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        starts, ends = cleaned.get("starts"), cleaned.get("ends")
        if starts and ends and ends < starts:
            self.refuse("ends", Reason("window_backwards", starts=starts, ends=ends))
        elif ends and not starts and "starts" not in self.errors:
            self.refuse("starts", Reason("window_without_start", ends=ends))
        return cleaned

    def refuse(self, field: str, reason: Reason) -> None:
        """Put what is wrong at the field."""
        self.add_error(field, Fault(reason, SENTENCES))

    def window(self) -> tuple[datetime, datetime] | None:
        """The half-open window in the shop's zone, or None where no days were given."""
        starts = self.cleaned_data.get("starts")
        if not starts:
            return None
        return midnight(starts), midnight((self.cleaned_data.get("ends") or starts) + timedelta(days=1))


class JobForm(_WindowForm):
    """The head of a job."""

    number = forms.CharField(max_length=40)
    owner = forms.CharField(max_length=120, required=False)
    site = forms.CharField(max_length=60)
    starts = DayField()
    ends = DayField(required=False)
    note = forms.CharField(required=False, max_length=2000)
    booked = WordField(words={"yes": "true", "no": "false"}, required=False)

    def clean_number(self) -> str:
        number: str = self.cleaned_data["number"]
        if "/" in number or number in _NO_ADDRESS:
            other = number.replace("/", "-") if "/" in number else "J-1"
            raise Fault(Reason("job_number_no_address", number=number, other=other), SENTENCES)
        return number


class JobsForm(Answers):
    """What is looked for in the list of jobs: text, state, readiness, days. Nothing answered: every open job."""

    q = forms.CharField(max_length=80, required=False)
    state = forms.ChoiceField(choices=[("", "open"), ("every", "every"), *Job.STATES], required=False)
    readiness = forms.ChoiceField(choices=[("", "any"), *((code, word(code)) for code in READINESS)], required=False)
    first = DayField(required=False)
    last = DayField(required=False)

    def __init__(self, *args: Any, as_of: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, DayField):
                field.today = as_of.astimezone(settings.SHOP_ZONE).date()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and last and last < first:
            self.add_error("last", Fault(Reason("window_backwards", starts=first, ends=last), SENTENCES))
        return cleaned

    def states(self) -> tuple[str, ...]:
        """The states that are looked for; how ready a job is, is told of open ones alone."""
        asked = self.cleaned_data["state"]
        if not asked or (asked == "every" and self.cleaned_data["readiness"]):
            return OPEN
        return tuple(code for code, _ in Job.STATES) if asked == "every" else (asked,)

    def window(self) -> tuple[datetime | None, datetime | None]:
        """The days that are looked at as a half-open window in the shop's zone."""
        first, last = self.cleaned_data["first"], self.cleaned_data["last"]
        return midnight(first) if first else None, midnight(last + timedelta(days=1)) if last else None


class AnsweredForm(Answers):
    """Who answers by name for a method that is doubtful or ruled out, and why it may be done all the same."""

    answers = forms.CharField(max_length=120, required=False, label="who answers for it")
    why = forms.CharField(max_length=400, required=False, label="why it may be done")

    def lacks(self, reason: Reason) -> bool:
        """Whether the act refused because one of the two is missing, which then stands at its field."""
        if reason.code != "overrule_needs_a_reason":
            return False
        for field in AnsweredForm.base_fields:
            if not self.cleaned_data[field]:
                self.add_error(field, Fault(reason, SENTENCES))
        return True


class PartForm(Answers):
    """One part of a job."""

    name = forms.CharField(max_length=120)
    serial = forms.CharField(max_length=80, required=False)
    drawing = forms.CharField(max_length=80, required=False)
    fixture = forms.CharField(max_length=60, required=False)
    hand = WordField(words={"L": "left", "R": "right"}, required=False)
    safety = WordField(words=_words(SAFETY), required=False)


class GroupForm(_WindowForm):
    """n like holes: the questions. Answers that rule a method in or out may be "unknown", never left out."""

    thread = ThreadField()
    holes = forms.IntegerField(min_value=1, max_value=500, required=False)
    positions = forms.CharField(required=False, max_length=2000)
    hole = WordField(words={"blind": "blind", "through": "through"})
    depth = LengthField(required=False, unknown="unknown")
    floor = LengthField(required=False)
    edge = LengthField(required=False)
    material = WordField(words={code: each.word for code, each in MATERIALS.items()}, required=False)
    before = WordField(words=_words(BEFORE))
    before_thread = ThreadField(required=False)
    before_major = LengthField(required=False)
    failed = WordField(words=_words(FAILED), required=False)
    passes_gauge = WordField(words=_words(YES_NO), required=False, otherwise="unknown")
    made = WordField(words={**_words(MADE), "formed": "formed by the screw"})
    torque = TorqueField(required=False)
    damage = WordField(words={**_words(DAMAGE), "burred": "burred or dirty"}, required=False)
    bore = LengthField(required=False)
    off_axis = LengthField(required=False)
    grade = forms.CharField(required=False, max_length=20)
    reach = LengthField(required=False)
    alloy = WordField(words=ALLOYS, required=False)
    tensile = StressField(required=False)
    shear = StressField(required=False)
    method = WordField(words=_words(ORDER), required=False)
    starts = DayField(required=False)
    ends = DayField(required=False)

    def clean_positions(self) -> tuple[str, ...]:
        labels = _labels(self.cleaned_data["positions"])
        long = next((label for label in labels if len(label) > LONGEST_LABEL), None)
        if long is not None:
            reason = Reason("position_too_long", label=long, longest=LONGEST_LABEL)
            raise Fault(reason, SENTENCES)
        twice = sorted({label for label in labels if labels.count(label) > 1})
        if twice:
            raise Fault(Reason("position_twice", labels=tuple(twice)), SENTENCES)
        return labels

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if (alloy := cleaned.get("alloy")) and alloy != WEAKEST and not cleaned.get("material"):
            cleaned["material"] = metal(alloy).kind  # an alloy says what metal it is
        labels, holes = cleaned.get("positions") or (), cleaned.get("holes")
        if "holes" not in self.errors and "positions" not in self.errors:
            if not labels and not holes:
                self.refuse("holes", Reason("holes_missing"))
            elif labels and holes and len(labels) != holes:
                self.refuse("holes", Reason("holes_and_positions", holes=holes, positions=len(labels)))
        for field, reason in self._contradictions(cleaned):
            if field not in self.errors:  # one sentence a field
                self.refuse(field, reason)
        return cleaned

    def _contradictions(self, cleaned: dict[str, Any]) -> Iterator[tuple[str, Reason]]:
        """Answers that cannot all be true, each at the field to look at; what was not answered contradicts nothing."""
        if cleaned.get("hole") == "blind" and "depth" not in self.errors and not str(self["depth"].data or "").strip():
            yield "depth", Reason("depth_not_answered")
        if cleaned.get("hole") == "through" and cleaned.get("floor"):
            yield "floor", Reason("floor_of_a_through_hole", floor_nm=cleaned["floor"])
        if cleaned.get("before") == "none" and cleaned.get("failed") == "insert":
            yield "failed", Reason("no_insert_to_fail")
        yield from _contradicting_the_metal(cleaned)
        if reading := cleaned.get("thread"):
            yield from _contradicting_the_thread(reading.thread, cleaned)
            if typed := cleaned.get("grade"):
                try:
                    bolt_metal(typed, reading.thread)
                except Refused as refused:
                    yield "grade", refused.reason

    def _stands_there(self) -> tuple[Thread | None, tuple[Reason, ...]]:
        """The thread that was told to stand in the metal, and how it was taken.

        A fitter who is asked what stood there names the bolt's thread: a wire insert's hole follows from it.
        """
        earlier: Reading | None = self.cleaned_data["before_thread"]
        bolt: Thread = self.cleaned_data["thread"].thread
        if earlier is None:
            return None, ()
        hole = _hole_of_a_wire_insert(bolt)
        if self.cleaned_data.get("before") == "wire_insert" and earlier.thread == bolt and hole is not None:
            taken = Reason("before_thread_taken", typed=earlier.typed, thread=hole.designation, bolt=bolt.designation)
            return hole, (taken,)
        return earlier.thread, ()

    def so_far(self) -> HoleGroup | None:
        """The hole as far as it is answered and read, to be drawn; None until its thread is."""
        answers = self.cleaned_data
        if not answers.get("thread"):
            return None
        kept = {name: answers[name] for name in _AS_ANSWERED if answers.get(name)}
        earlier = self._stands_there()[0] if answers.get("before_thread") else None
        return HoleGroup(
            code="",
            bolt=answers["thread"].thread,
            bolt_class=answers["thread"].thread_class,
            holes=answers.get("holes") or 1,
            start=self.as_of,
            end=self.as_of,
            site="",
            through=answers.get("hole") == "through",
            before_thread=earlier,
            wished=answers.get("method") or "",
            **kept,
        )

    @property
    def says_enough(self) -> bool:
        """Whether the answers suffice to pick a method; how many holes there are and when is not asked for that."""
        return set(self.errors) <= {"holes", "positions", "starts", "ends"}

    def value(self, *, code: str, window: tuple[datetime, datetime], site: str, part: PartForm) -> HoleGroup:
        """The frozen hole group that the methods read."""
        answers = self.cleaned_data
        reading = answers["thread"]
        earlier, taken = self._stands_there()
        start, end = self.window() or window
        # Holes that nobody named are named after their group, so that no two of a part share a position.
        labels = answers["positions"] or tuple(f"{code}{n}" for n in range(1, (answers["holes"] or 0) + 1))
        return HoleGroup(
            code=code,
            bolt=reading.thread,
            bolt_class=reading.thread_class,
            as_typed=reading.typed,
            notes=reading.notes + taken,
            holes=len(labels),
            positions=labels,
            through=answers["hole"] == "through",
            before_thread=earlier,
            fixture=part.cleaned_data["fixture"],
            hand=part.cleaned_data["hand"],
            safety=part.cleaned_data["safety"],
            part=f"{part.cleaned_data['name']} {part.cleaned_data['serial']}".strip(),
            wished=answers["method"],
            start=start,
            end=end,
            site=site,
            **{name: answers[name] for name in _AS_ANSWERED},
        )


def _hole_of_a_wire_insert(bolt: Thread) -> Thread | None:
    try:
        return insert_hole(bolt)
    except ThreadError:  # a system without wire inserts of its own
        return None


def _contradicting_the_metal(cleaned: dict[str, Any]) -> Iterator[tuple[str, Reason]]:
    """An alloy of another metal than was told, or "the weakest" of none."""
    material, alloy = cleaned.get("material"), cleaned.get("alloy")
    if alloy == WEAKEST and not any(each.kind == material for each in metals()):
        yield "alloy", Reason("weakest_of_nothing", material=material or "")
    elif alloy and alloy != WEAKEST and material and metal(alloy).kind != material:
        yield "alloy", Reason("alloy_of_another_metal", alloy=metal(alloy).word, material=material)
    tensile, shear = cleaned.get("tensile"), cleaned.get("shear")
    if tensile and shear and shear > 2 * tensile:
        yield "shear", Reason("shear_over_tensile")


def _contradicting_the_thread(bolt: Thread, cleaned: dict[str, Any]) -> Iterator[tuple[str, Reason]]:
    """What cannot be true of a hole for this bolt: its edge, the thread that stands there, the measured diameter."""
    if SYSTEMS[bolt.system].bolt:
        meant = Thread(SYSTEMS[bolt.system].bolt, bolt.nominal, bolt.pitch, bolt.hand)
        yield "thread", Reason("thread_of_an_insert_hole", thread=bolt.designation, bolt=meant.designation)
        return
    before, told = cleaned.get("before"), cleaned.get("before_thread")
    hole = _hole_of_a_wire_insert(bolt)
    stands: Thread = {"wire_insert": hole}.get(before or "") or bolt
    if told:
        named = {"thread": told.thread.designation, "bolt": bolt.designation}
        if before == "none" and told.thread != bolt:
            yield "before_thread", Reason("before_thread_of_nothing", **named)
        elif before == "wire_insert" and hole is not None and told.thread not in (hole, bolt):
            yield "before_thread", Reason("before_thread_not_insert_hole", **named, wanted=hole.designation)
        elif before in ("solid_bush", "keyed_bush") and basic(told.thread).major <= basic(bolt).major:
            yield "before_thread", Reason("before_thread_holds_no_bush", **named, before=before)
        elif basic(told.thread).major < basic(bolt).major:
            yield "before_thread", Reason("before_thread_under_bolt", **named)
        if before != "wire_insert" or hole is None:
            stands = told.thread
    measured, edge = cleaned.get("before_major"), cleaned.get("edge")
    if measured:
        least = to_nm(basic(stands).minor_internal, "down")
        if measured < least:
            yield "before_major", Reason("major_under_minor", thread=stands.designation, minor_nm=least)
    if edge:
        # Half the bolt, or half of what stands there already: nearer than that, the hole would break out.
        across = max(to_nm(basic(bolt).major), to_nm(basic(stands).major), measured or 0, cleaned.get("bore") or 0)
        if 2 * edge <= across:
            yield "edge", Reason("edge_inside_hole", edge_nm=edge, across_nm=across)


class SettingForm(Answers):
    """One setting set anew. The order of methods comes as a place for each method, anything else as one value."""

    code = forms.CharField(max_length=40)
    value = forms.CharField(required=False, max_length=400)
    source = forms.CharField(max_length=200)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("code") == METHOD_ORDER and any(f"place-{code}" in self.data for code in ORDER):
            places = {code: str(self.data.get(f"place-{code}", "")).strip() for code in ORDER}
            if sorted(places.values(), key=lambda text: (len(text), text)) != [
                str(place) for place in range(1, len(ORDER) + 1)
            ]:
                self.refuse("value", Reason("places_unclear", most=len(ORDER)))
            else:
                cleaned["value"] = " ".join(sorted(ORDER, key=lambda code: int(places[code])))
        return cleaned

    def refuse(self, field: str, reason: Reason) -> None:
        """Tell at a field why it will not do."""
        self.add_error(field, Fault(reason, SENTENCES))

    @property
    def value_typed(self) -> str:
        """The value as it was typed."""
        return str(self.data.get("value", ""))

    @property
    def source_typed(self) -> str:
        """Where it comes from, as it was typed."""
        return str(self.data.get("source", ""))


class JobFileError(Refused):
    """A job file that cannot be read: every wrong place by name, with its reason."""

    def __init__(self, faults: list[tuple[str, Reason]]) -> None:
        self.faults = faults
        self.problems = [(place, say(reason)) for place, reason in faults]
        told = tuple(f"{place}: {text}" for place, text in self.problems)
        super().__init__(Reason("job_file_wrong", problems=told))


def letters(index: int) -> str:
    """The letter of a hole group: A … Z, AA, AB …"""
    name = ""
    while index >= 0:
        index, rest = divmod(index, 26)
        name = chr(ord("A") + rest) + name
        index -= 1
    return name


def read_job_file(text: str, *, as_of: datetime) -> JobRequest:
    """Read a job file; raises `JobFileError` with every wrong place."""
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is a ValueError of its own
        raise JobFileError([("file", Reason("toml_unreadable", **place_in_toml(error)))]) from error
    if not document:
        raise JobFileError([("file", Reason("job_file_empty", known=(*JOB_KEYS, "parts")))])
    return read_job(document, as_of=as_of)


def _typed(value: Any, *, several: bool = False, switch: bool = False) -> str | None:
    """A value of a job file as text as a person types it; None for what is no single value, nor a list of them.

    True and false are answers where the question is a `switch`, and nowhere else.
    """
    if isinstance(value, list) and several:
        texts = [_typed(each) for each in value]
        return None if None in texts else ", ".join(filter(None, texts))
    if value is None or isinstance(value, Mapping | list) or (isinstance(value, bool) and not switch):
        return None
    if isinstance(value, int) and abs(value) > LARGEST_NUMBER:
        return None
    return str(value)


def _groups_told(document: Mapping[str, Any]) -> int:
    """How many hole groups stand there; a part without any counts as one."""
    parts = document.get("parts")
    tables = [part.get("groups") if isinstance(part, Mapping) else None for part in _listed(parts)]
    return sum(max(1, len(_listed(table))) for table in tables)


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def read_job(document: Mapping[str, Any], *, as_of: datetime) -> JobRequest:
    """Read a job from nested mappings (a job file, a request's body); raises `JobFileError`."""
    problems: list[tuple[str, Reason]] = []

    def filled(form: forms.Form, place: str) -> bool:
        refused = {place for place, _ in problems}  # what is no value at all is not told to be missing as well
        problems.extend(
            (place + name, fault.reason)
            for name, faults in form.errors.as_data().items()
            for fault in faults
            if isinstance(fault, Fault)  # as every fault of `Answers` is
            and place + name not in refused
            and place.rstrip(".") not in refused
        )
        return form.is_valid()

    def texts(table: Any, keys: Mapping[str, str], place: str, nested: str = "") -> dict[str, Any]:
        if not isinstance(table, Mapping):
            problems.append((place.rstrip(".") or "file", Reason("table_expected")))
            return {}
        unknown = sorted(set(table) - set(keys) - {nested})
        problems.extend((place + key, Reason("key_unknown", key=key, known=tuple(keys))) for key in unknown)
        answers = {
            key: _typed(value, several=key == "positions", switch=key == "booked")
            for key, value in table.items()
            if key in keys and value is not None  # null in JSON: not answered
        }
        wrong = [key for key, text in answers.items() if text is None]
        problems.extend((place + key, Reason("value_expected")) for key in wrong)
        return {key: text for key, text in answers.items() if text is not None}

    def rows(table: Any, key: str, place: str) -> list[Any]:
        if not isinstance(table, Mapping):
            return []
        found = table.get(key)
        if not isinstance(found, list) or not found:
            problems.append((place + key, Reason("rows_missing", key=key)))
            return []
        return found

    if not isinstance(document, Mapping):
        raise JobFileError([("file", Reason("table_expected"))])
    if (groups_told := _groups_told(document)) > MOST_GROUPS:
        raise JobFileError([("parts", Reason("groups_too_many", groups=groups_told, most=MOST_GROUPS))])
    head = JobForm(texts(document, JOB_KEYS, "", "parts"), as_of=as_of)
    starts = starts_of(document)
    head_good = filled(head, "")
    window = head.window() if head_good else None
    parts: list[PartRequest] = []
    count = 0
    for number, table in enumerate(rows(document, "parts", ""), start=1):
        place = f"parts[{number}]."
        part = PartForm(texts(table, PART_KEYS, place, "groups"))
        part_good = filled(part, place)
        groups: list[tuple[HoleGroup, dict[str, Any]]] = []
        taken: set[str] = set()
        for group_number, group_table in enumerate(rows(table, "groups", place), start=1):
            group_place = f"{place}groups[{group_number}]."
            typed = texts(group_table, GROUP_KEYS, group_place)
            begun = starts.get((number - 1, group_number - 1), Started({}, ()))
            form = GroupForm(typed | begun.answers, as_of=as_of)
            good = filled(form, group_place)
            labels = set(form.cleaned_data.get("positions") or ())
            if labels & taken:
                reason = Reason("position_twice", labels=tuple(sorted(labels & taken)))
                problems.append((f"{group_place}positions", reason))
            taken |= labels
            if good and part_good and window:
                value = form.value(code=letters(count), window=window, site=head.cleaned_data["site"], part=part)
                groups.append((replace(value, notes=value.notes + begun.notes), typed))
            count += 1
        if part_good:
            parts.append(PartRequest(**part.cleaned_data, groups=tuple(groups)))
    if problems or not window:
        raise JobFileError(problems)
    answers = head.cleaned_data
    return JobRequest(
        number=answers["number"],
        owner=answers["owner"],
        site=answers["site"],
        note=answers["note"],
        start=window[0],
        end=window[1],
        booked=answers["booked"] == "yes",
        parts=tuple(parts),
    )


# The page "New job": each field is named by its place, parts-0-groups-1-thread

_FIELD = re.compile(r"parts-([0-9]{1,4})-(?:groups-([0-9]{1,4})-)?([a-z_]+)")


def document_of(fields: Mapping[str, str]) -> dict[str, Any]:
    """The fields of a page as the mapping that `read_job` reads; parts and groups in the order of their numbers.

    What is empty is left out, and so is every field that is no question; a row all of whose fields are empty stays.
    """
    head = {key: text for key in JOB_KEYS if (text := fields.get(key))}
    parts: dict[int, dict[str, str]] = {}
    groups: dict[int, dict[int, dict[str, str]]] = {}
    for name, text in fields.items():
        place = _FIELD.fullmatch(name)
        if place is None:
            continue
        keys, row = PART_KEYS, parts.setdefault(int(place[1]), {})
        if place[2]:
            keys, row = GROUP_KEYS, groups.setdefault(int(place[1]), {}).setdefault(int(place[2]), {})
        if text and place[3] in keys:
            row[place[3]] = text
    of_part = {at: [row for _, row in sorted(rows.items())] for at, rows in groups.items()}
    return head | {"parts": [parts.get(at, {}) | {"groups": of_part.get(at, [])} for at in sorted(parts)]}


def field_at(place: str) -> str:
    """The field of a place: that of parts[1].groups[2].thread is parts-0-groups-1-thread."""
    return re.sub(r"\[([0-9]+)]", lambda number: f"-{int(number[1]) - 1}", place).replace(".", "-")


# What earlier proofs of the same holes answer


@dataclass(frozen=True, slots=True)
class Started:
    """What a group of holes takes from earlier proofs: `answers` to questions that were left out, and what is told."""

    answers: dict[str, str]
    notes: tuple[Reason, ...]


def starts_of(document: Mapping[str, Any]) -> dict[tuple[int, int], Started]:
    """What the groups of a job start from, by the places of part and group; one query, none without serial numbers."""
    told: list[tuple[tuple[int, int], str, str, Mapping[str, Any], tuple[str, ...]]] = []
    for at, part in enumerate(_listed(document.get("parts"))):
        if not isinstance(part, Mapping):
            continue
        name, serial = (_text(part, key) for key in ("name", "serial"))
        for of, group in enumerate(_listed(part.get("groups"))):
            if serial and isinstance(group, Mapping) and (labels := _labels(_text(group, "positions"))):
                told.append(((at, of), name, serial, group, labels))
    known = proving.known_of(_text(document, "owner"), [(name, serial) for _, name, serial, _, _ in told])
    found = {}
    for place, name, serial, group, labels in told:
        start = proving.start(
            known.get(proving.part_key(name, serial), {}),
            labels,
            before=_code("before", group),
            thread=_key(_text(group, "before_thread")),
            failed=_code("failed", group),
        )
        answers = {"before": word(start.before), "before_thread": start.before_thread, "failed": word(start.failed)}
        found[place] = Started({key: text for key, text in answers.items() if text}, start.notes)
    return found


def _text(table: Mapping[str, Any], key: str) -> str:
    """An answer as text that a database can compare: without a zero or half of a pair of surrogates."""
    text = _typed(table.get(key), several=key == "positions") or ""
    return text.replace("\0", "").encode(errors="ignore").decode().strip()


def _labels(text: str) -> tuple[str, ...]:
    return tuple(filter(None, (label.strip() for label in text.split(","))))


def _code(question: str, group: Mapping[str, Any]) -> str:
    """The code of an answer in words; the words themselves where they are none, which is told elsewhere."""
    text = _text(group, question)
    try:
        return str(GroupForm.base_fields[question].clean(text)) if text else ""
    except forms.ValidationError:
        return text


def _key(text: str) -> str:
    try:
        return read(text).thread.key if text else ""
    except ThreadError:
        return text


# What was measured at a hole


class SetDownField(LengthField):
    """How far an insert stands below the surface: a length, or 0 where it stands level with it."""

    def clean(self, value: Any) -> Any:
        text = str(value or "").strip().lower()
        return 0 if text in ("0", "0 mm", "0 in", "flush") else super().clean(value)


class MeasuredForm(Answers):
    """What was measured at one hole: the questions that its method asks, then what failed, if anything did."""

    def __init__(self, data: Any = None, *, asks: Sequence[proving.Ask], **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        for ask in asks:
            self.fields[ask.thing] = _measured_field(ask.thing)
        self.fields["failed"] = WordField(words=_words(("insert", "parent")), required=False)
        self.fields["why"] = forms.CharField(max_length=400, required=False)

    def value(self) -> proving.Measured:
        """What was entered, lengths in nm and torques in N·mm; None where nothing was."""
        answers: dict[str, Any] = {
            name: {"yes": True, "no": False}.get(value) if name in proving.YES_NO else value
            for name, value in self.cleaned_data.items()
        }
        return proving.Measured(**answers)


def _measured_field(thing: str) -> forms.Field:
    if thing in proving.YES_NO:
        return WordField(words={"yes": "yes", "no": "no"}, required=False)
    if thing in proving.TORQUES:
        return TorqueField(required=False)
    return SetDownField(required=False) if thing == "set_down" else LengthField(required=False)


def as_typed(thing: str, value: Any) -> str:
    """What was entered, as somebody would type it again: nothing of it is lost."""
    if value is None or value == "":
        return ""
    if thing in proving.YES_NO:
        return "yes" if value else "no"
    if thing in proving.TORQUES:
        return f"{Decimal(value).scaleb(-3).normalize():f} N·m"
    return f"{to_mm(value).normalize():f} mm" if thing in proving.LENGTHS else str(value)
