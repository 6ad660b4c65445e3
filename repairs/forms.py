"""What people answer about a job: forms for job, part and hole group, and the job file that fills them.

A job file is TOML; every value is text as a person types it. Keys are documented in `JOB_KEYS`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.conf import settings

from inventory.errors import Reason, Refused
from inventory.forms import Fault, LengthField, ThreadField, TorqueField, WordField
from repairs.jobs import JobRequest, PartRequest
from repairs.methods.values import BEFORE, FAILED, MADE, MATERIALS, ORDER, YES_NO, HoleGroup
from repairs.models import SAFETY, Position
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
    "depth": "blind: depth at full diameter; through: thickness of the metal",
    "floor": "metal below that depth",
    "edge": "from the axis to the nearest edge",
    "material": "the parent metal",
    "before": "what was done to the hole before: none, wire insert, solid bush, keyed bush, unknown",
    "before_thread": "the thread that now stands in the metal because of it",
    "before_major": "its measured major diameter",
    "failed": "what failed there: insert, parent or unknown",
    "passes_gauge": "the thread in the metal still passes its hole gauge: yes, no, unknown",
    "made": "how the old thread was made: cut, formed (by the screw) or unknown",
    "torque": "the torque that the bolt is proved to",
    "method": "the wished method, or none",
    "starts": "first day, where the group has a window of its own",
    "ends": "last day, inclusive",
}

LONGEST_LABEL = Position._meta.get_field("label").max_length or 0

_AS_ANSWERED = (
    "depth", "floor", "edge", "material", "before", "before_major", "failed", "passes_gauge", "made", "torque",
)  # fmt: skip

RELATIVE = re.compile(r"^([+-]\d{1,4})d$")
EARLIEST, LATEST = date(2000, 1, 1), date(2199, 12, 31)  # beyond them it is a slip of the pen


def _words(codes: tuple[str, ...]) -> dict[str, str]:
    return {code: word(code) for code in codes if code}


class DayField(forms.CharField):
    """Cleans to a date: ISO, or "+5d" counted from the form's `today`."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=20, **kwargs)
        self.today: date | None = None

    def clean(self, value: Any) -> date | None:
        text = super().clean(str(value) if value is not None else value)
        if text in self.empty_values:
            return None
        relative = RELATIVE.match(text)
        if relative and self.today:
            return self.today + timedelta(days=int(relative[1]))
        try:
            day = date.fromisoformat(text)
        except ValueError:
            reason = Reason("date_unreadable", typed=text)
            raise Fault(reason, SENTENCES) from None
        if not EARLIEST <= day <= LATEST:
            reason = Reason("date_absurd", typed=text, first=EARLIEST, last=LATEST)
            raise Fault(reason, SENTENCES)
        return day


def midnight(day: date) -> datetime:
    """The first moment of a day in the shop's zone."""
    return datetime.combine(day, time.min, settings.SHOP_ZONE)


class _WindowForm(forms.Form):
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
            self.add_error("ends", say(Reason("window_backwards", starts=starts, ends=ends)))
        elif ends and not starts and "starts" not in self.errors:
            self.add_error("starts", say(Reason("window_without_start", ends=ends)))
        return cleaned

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


class PartForm(forms.Form):
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
    depth = LengthField(required=False)
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
    method = WordField(words=_words(ORDER), required=False)
    starts = DayField(required=False)
    ends = DayField(required=False)

    def clean_positions(self) -> tuple[str, ...]:
        labels = tuple(filter(None, (label.strip() for label in self.cleaned_data["positions"].split(","))))
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
        labels, holes = cleaned.get("positions") or (), cleaned.get("holes")
        if "holes" not in self.errors and "positions" not in self.errors:
            if not labels and not holes:
                self.add_error("holes", say(Reason("holes_missing")))
            elif labels and holes and len(labels) != holes:
                self.add_error("holes", say(Reason("holes_and_positions", holes=holes, positions=len(labels))))
        return cleaned

    def value(self, *, code: str, window: tuple[datetime, datetime], site: str, part: PartForm) -> HoleGroup:
        """The frozen hole group that the methods read."""
        answers = self.cleaned_data
        reading, earlier = answers["thread"], answers["before_thread"]
        start, end = self.window() or window
        # Holes that nobody named are named after their group, so that no two of a part share a position.
        labels = answers["positions"] or tuple(f"{code}{n}" for n in range(1, (answers["holes"] or 0) + 1))
        return HoleGroup(
            code=code,
            bolt=reading.thread,
            bolt_class=reading.thread_class,
            as_typed=reading.typed,
            notes=reading.notes,
            holes=len(labels),
            positions=labels,
            through=answers["hole"] == "through",
            before_thread=earlier.thread if earlier else None,
            fixture=part.cleaned_data["fixture"],
            hand=part.cleaned_data["hand"],
            safety=part.cleaned_data["safety"],
            wished=answers["method"],
            start=start,
            end=end,
            site=site,
            **{name: answers[name] for name in _AS_ANSWERED},
        )


class JobFileError(Refused):
    """A job file that cannot be read: every wrong place by name."""

    def __init__(self, problems: list[tuple[str, str]]) -> None:
        super().__init__(Reason("job_file_wrong", problems=tuple(f"{place}: {text}" for place, text in problems)))
        self.problems = problems


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
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise JobFileError([("file", say(Reason("toml_unreadable", where=str(error))))]) from error
    return read_job(document, as_of=as_of)


def read_job(document: Mapping[str, Any], *, as_of: datetime) -> JobRequest:
    """Read a job from nested mappings (a job file, a request's body); raises `JobFileError`."""
    problems: list[tuple[str, str]] = []

    def filled(form: forms.Form, place: str) -> bool:
        problems.extend((place + name, str(error)) for name, errors in form.errors.items() for error in errors)
        return form.is_valid()

    def texts(table: Any, keys: Mapping[str, str], place: str, nested: str = "") -> dict[str, Any]:
        if not isinstance(table, Mapping):
            problems.append((place.rstrip(".") or "file", say(Reason("table_expected"))))
            return {}
        unknown = sorted(set(table) - set(keys) - {nested})
        problems.extend((place + key, say(Reason("key_unknown", key=key, known=tuple(keys)))) for key in unknown)
        return {
            key: ", ".join(map(str, value)) if isinstance(value, list) else str(value)
            for key, value in table.items()
            if key in keys
        }

    def rows(table: Any, key: str, place: str) -> list[Any]:
        found = table.get(key) if isinstance(table, Mapping) else None
        if not isinstance(found, list) or not found:
            problems.append((place + key, say(Reason("rows_missing", key=key))))
            return []
        return found

    head = JobForm(texts(document, JOB_KEYS, "", "parts"), as_of=as_of)
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
            form = GroupForm(typed, as_of=as_of)
            good = filled(form, group_place)
            labels = set(form.cleaned_data.get("positions") or ())
            if labels & taken:
                reason = Reason("position_twice", labels=tuple(sorted(labels & taken)))
                problems.append((f"{group_place}positions", say(reason)))
            taken |= labels
            if good and part_good and window:
                value = form.value(code=letters(count), window=window, site=head.cleaned_data["site"], part=part)
                groups.append((value, typed))
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
