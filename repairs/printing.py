"""The job card: a plan on paper, frozen when it is printed, and what has changed since.

`card.typ` lays it out. What it lays out is made here, from the plan document alone, so that a card that was printed
can be read again as it was. Everything but the layout's fixed words is said by `wording.py`.

A card is out of date when what stands on it no longer holds, judged part by part (`out_of_date`): the days, the
holes, the method and size, each setting, caution, check and need, and the fitness of each printed unit. What the job
itself has reserved, taken out or used since is no change. Nor is stock that came in since and would now be chosen
instead: a printed unit is judged by itself, and while it still serves, the card stands. A gap that is met by now does
count, since the card says that nothing is there. Look-alikes do not: those that are printed remain what they are, and
a card that aged with every delivery would be believed by nobody.
"""

from __future__ import annotations

import io
import json
import re
from collections import Counter, defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from itertools import zip_longest
from pathlib import Path
from typing import Any, cast

import segno
import typst
from django.conf import settings
from django.db.models import Max
from django.template.loader import render_to_string

from inventory import stock
from inventory.errors import Reason, Refused, rebuilt
from inventory.guards import act
from inventory.kinds import KINDS, StockLine
from inventory.quantities import show_length, show_torque, to_nm
from inventory.wording import show_end, show_moment
from repairs import cards, jobs, limits
from repairs.drawings import Layout, section
from repairs.jobs import GroupPlan, JobPlan
from repairs.matching import REFUSED, judge
from repairs.matching.amounts import room_of, short
from repairs.methods.values import DOUBTFUL, GAP, MATCH, NOT_CHECKED, Need, Window
from repairs.models import Card, Job
from repairs.wording import CHECKED, between, look_alike_rows, name, say, word

TEMPLATE = Path(__file__).with_name("card.typ")
# As wide as half a sheet, so that a letter of 14 units is read at arm's length.
DRAWING = Layout("card", Decimal(132), Decimal(170), Decimal(190), Decimal(15), Decimal(12), Decimal("2.6"))
LONG_FIELD = 30  # letters of a field that may take several lines
SHORT_LABEL = 3  # letters of a hole's name that its box has room for; longer ones are numbered
# Why a number is what it is, and what it would be in a harder metal. It is read before the work, not during it, so it
# stands in the small print.
GROUNDS = frozenset(
    {"cut_slower", "drill_window", "drill_of_the_family", "in_window", "pilot_fits", "lead_added", "scrap_allowance"}
)
DRILLS = ("drill", "removal_drill")  # whose window is the hole's own, and is measured
# What is measured when a hole is proved: the steps that do it, the reason that sets the limit.
PROOF = (("gauge_passed", ("hole_gauge", "final_gauge"), ""), ("set_down", ("set_down",), ""),
         ("torque_reached", ("torque",), "torque_to"), ("insert_still", ("torque",), ""))  # fmt: skip

UNIT = re.compile(r"(?<=\d) (?=(?:mm|in|N·m|lbf·ft|rpm)\b|%)")  # a number and its unit stay on one line
FIGURE = re.compile(r"(\d[\d.,]*\u00a0(?:mm|in|N·m|lbf·ft|rpm)\b)")

_FONTS = typst.Fonts(include_system_fonts=False)

Document = Mapping[str, Any]


# On paper


def pdf(
    document: Document,
    sections: Mapping[str, str],
    *,
    address: str,
    units: str,
    number: int = 1,
    title: Sequence[tuple[str, str]] = (),
) -> bytes:
    """A plan document (`plan.schema.json`) as a card on A4, with one SVG per hole group in `sections`.

    `address` is where the job stands, in full, for the QR code; `title` are more fields of the title block. Equal
    input gives equal bytes.
    """
    told = json.dumps(_sheet(document, sections, units, number, title), ensure_ascii=False)
    inputs = {
        "card": UNIT.sub("\u00a0", told),
        "code": _code(address),
        **{f"section-{code}": svg for code, svg in sections.items()},
    }
    made: bytes = typst.compile(
        TEMPLATE.read_bytes(), format="pdf", font_paths=_FONTS, ignore_system_fonts=True, sys_inputs=inputs, timestamp=0
    )
    return made


def _code(address: str) -> str:
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=0, dark="#1d1c1a", xmldecl=False)
    return out.getvalue().decode()


def sections(plan: JobPlan, *, units: str) -> dict[str, str]:
    """The section drawing of every hole group that has a method, as SVG, by the group's letter. One query."""
    shop = limits.current()
    return {
        group.group.code: render_to_string(
            "repairs/section.html",
            {
                "drawn": section(group.group, group.chosen, limits=shop, layout=DRAWING, units=units),
                "id": group.group.code,
                "name": group.group.bolt.designation,
            },
        )
        for group in plan.groups
        if group.chosen is not None
    }


def _sheet(
    document: Document, sections: Mapping[str, str], units: str, number: int, title: Sequence[tuple[str, str]]
) -> dict[str, Any]:
    """All that `card.typ` lays out: texts as they are read, in their order."""
    counts = {**document["counts"], "not_checked": len(document["not_checked"])}
    verdict = Reason("plan_complete" if document["complete"] else "plan_not_complete", **counts)
    days = " to ".join(dict.fromkeys(_days(document["window"])))
    fields = [
        ("owner", document["owner"]), ("days", days), ("site", document["site"]), ("kit", say(verdict, units)), *title,
    ]  # fmt: skip
    several = len(document["groups"]) > 1
    return {
        "job": document["job"],
        "number": str(number),
        "fields": _fields(fields),
        "groups": [_Group(group, units, several, sections).sheet() for group in document["groups"]],
    }


def _fields(told: Iterable[tuple[str, str]]) -> list[list[dict[str, Any]]]:
    """Fields of the title block that have a value, in two rows: the short ones, then those that take more room."""
    filled = [(label, value) for label, value in told if value]
    rows = ([each for each in filled if (len(each[1]) > LONG_FIELD) is long] for long in (False, True))
    return [
        [{"label": word(label), "value": value, "wide": n == len(row) - 1} for n, (label, value) in enumerate(row)]
        for row in rows
        if row
    ]


def _figures(told: str) -> list[str]:
    """A sentence in parts: every second one is a number with its unit."""
    return FIGURE.split(UNIT.sub("\u00a0", told))


def _days(window: Document) -> tuple[str, str]:
    start, end = (datetime.fromisoformat(window[key]) for key in ("start", "end"))
    return show_moment(start), show_end(end)


@dataclass(frozen=True, slots=True)
class _Group:
    """One hole group of a document, as its sheet tells it."""

    group: Document
    units: str
    several: bool
    sections: Mapping[str, str]

    def sheet(self) -> dict[str, Any]:
        group, letter = self.group, self.group["code"]
        often = self.often()
        steps = [self.step(number, step, often) for number, step in enumerate(planned_steps(group), 1)]
        return {
            "code": letter,
            "stands": group["method"] is not None,
            "drawn": letter in self.sections,
            "part": group["part"] or word("not_entered"),
            "which": self.which(),
            "repair": self.repair(),
            "holes": self.labels()[0],
            "cautions": [
                *(caution["text"] for caution in group["cautions"]),
                *(say(Reason("at_steps", steps=tuple(at), why=told), self.units) for told, at in often.items()),
            ],
            "critical": bool(group["cautions"]),
            "signs": self.signs(),
            "steps": steps,
            "kit": self.kit(),
            "alikes": look_alike_rows(_reason(told) for line in group["lines"] for told in line["look_alikes"]),
            "proof": self.proof(),
            "small": self.small(),
            "refused": self.refused(),
        }

    def labels(self) -> tuple[list[str], bool]:
        """What each hole is called in its box, and whether those are numbers that stand for longer names."""
        names = self.group["answers"]["positions"] or [str(n) for n in range(1, self.group["holes"] + 1)]
        if all(len(each) <= SHORT_LABEL for each in names):
            return list(names), False
        return [str(n) for n in range(1, len(names) + 1)], True

    def which(self) -> str:
        group, (labels, numbered) = self.group, self.labels()
        names = group["answers"]["positions"]
        told = [f"{label} = {name}" for label, name in zip(labels, names, strict=True)] if numbered else labels
        thread = group["thread"]
        bolt = " ".join(filter(None, [thread.get("designation") or thread["typed"], thread["class"]]))
        kind = word("through" if group["answers"]["through"] else "blind")
        head = f"{group['holes']} × {bolt}, {kind}: {', '.join(told)}"
        return f"{word('group')} {group['code']}: {head}" if self.several else head

    def repair(self) -> str:
        if self.group["method"] is None:
            return word("unplanned")
        told, size = word(self.group["method"]), self.group["size"] or {}
        inner, outer = ((size.get(key) or {}).get("designation") for key in ("inner", "outer"))
        if size.get("family"):
            told += f" {inner}" + (f" in {outer}" if outer and self.group["method"] != "wire_insert" else "")
            told += f" x {self.length(size['length_mm'])}, {size['family']}/{size['edition']}"
        elif inner:
            told += f" {inner}"
        return told

    def length(self, mm: str) -> str:
        return show_length(to_nm(Decimal(mm)), self.units)

    def signs(self) -> list[str]:
        """What somebody signs for before the work starts: doubtful checks, and a ruling that was overruled."""
        told = [f"{word('doubtful').capitalize()}: {each['reason']['text']}" for each in self.checks(DOUBTFUL)]
        by, why = _overruled(self.group)[:2]
        if by or why:
            told += [f"{word('ruled_out').capitalize()}: {each['reason']['text']}" for each in self.checks("ruled_out")]
            told.append(say(Reason("overruled", answers=by, given=why), self.units))
        return told

    def checks(self, *status: str) -> Iterator[Document]:
        return (each for each in self.group["checks"] if each["status"] in status)

    def often(self) -> dict[Reason, list[str]]:
        """Cautions that stand at several steps, with the numbers of those: told once, above them all."""
        at: dict[Reason, list[str]] = defaultdict(list)
        for number, step in enumerate(planned_steps(self.group), 1):
            for told in (each for each in step["cautions"] if each["code"] not in GROUNDS):
                at[_reason(told)].append(str(number))
        return {told: numbers for told, numbers in at.items() if len(numbers) > 1}

    def step(self, number: int, step: Document, often: Container[Reason]) -> dict[str, Any]:
        lines = {line["need"]["id"]: line for line in self.group["lines"]}
        tools = [tool for need in step["needs"] for tool in self.tools(lines[need["id"]])]
        return {
            "number": number,
            "word": word(step["step"]).capitalize(),
            "settings": [_figures(_plainly(told)) for told in step["settings"] if told["code"] not in GROUNDS],
            "minds": [
                _plainly(told)
                for told in step["cautions"]
                if told["code"] not in GROUNDS and _reason(told) not in often
            ],
            "check": CHECKED.get(step["step"], ""),
            "tools": tools,
        }

    def tools(self, line: Document) -> Iterator[dict[str, Any]]:
        """A row a thing that is taken, or one that says what is short."""
        need = _need(line["need"])
        named = name(replace(need, diameter=None), self.units)
        window = self.window(need)
        doubts = [f"{word('doubtful').capitalize()}: {told['text']}" for told in line["reasons"]]
        if line["status"] == GAP or not line["takes"]:
            told = [*window, *(each["text"] for each in line["reasons"])]
            yield {
                "gap": True,
                "what": named,
                "called": "",
                "told": [*map(_figures, told)],
                "tag": "",
                "bin": "",
                "amount": "",
            }
            return
        for take in line["takes"]:
            size = f" {self.length(take['diameter_mm'])}" if take["diameter_mm"] else ""
            called = f", {take['name']}" if take["name"] and take["name"] not in (need.name, named) else ""
            why = [told for told in take["reasons"] if told["code"] not in GROUNDS]
            marked = [
                f"{word('doubtful').capitalize()}: {told['text']}" if take["status"] == DOUBTFUL else told["text"]
                for told in why
            ]
            yield {
                "gap": False,
                "what": f"{named}{size}",
                "called": called,
                "told": [*map(_figures, dict.fromkeys([*(window if need.kind in DRILLS else ()), *marked, *doubts]))],
                "tag": take["tag"] or word("no_lot"),
                "bin": take["bin"],
                "amount": self.amount(take, len(line["takes"])),
            }

    def window(self, need: Need) -> list[str]:
        if need.diameter is None:
            return []
        return [between(need.diameter.least, need.diameter.most, self.units)]

    def amount(self, take: Document, takes: int) -> str:
        if take["counted"]:
            return f"{take['quantity']} ×" if take["quantity"] else ""
        return f"{take['holes']} {word('holes')}" if takes > 1 and take["holes"] else ""

    def kit(self) -> list[dict[str, Any]]:
        """What is fetched, each thing once, in the order of the bins; what is short first."""
        found: dict[tuple[str, str], dict[str, Any]] = {}
        for line in self.group["lines"]:
            for tool in self.tools(line):
                # Whatever is short is a row of its own; a thing that serves two steps is fetched once.
                key = (line["need"]["id"], "") if tool["gap"] else (tool["tag"], tool["bin"])
                what = " ".join(filter(None, [tool["amount"] if "×" in tool["amount"] else "", tool["what"]]))
                found.setdefault(key, {**tool, "what": what})
        rows = sorted(found.values(), key=lambda tool: (not tool["gap"], _natural(tool["bin"]), _natural(tool["tag"])))
        return [{key: row[key] for key in ("gap", "bin", "tag", "what")} for row in rows]

    def proof(self) -> list[dict[str, Any]]:
        """The columns of the table in which each hole is proved, as far as the method has such a step."""
        steps = {step["step"]: step for step in planned_steps(self.group)}
        found = []
        for head, of, setting in PROOF:
            if not steps.keys() & set(of) or (head == "insert_still" and "wind_in" not in steps):
                continue
            told = [
                each for code in of if code in steps for each in steps[code]["settings"]
                if (each["code"] == setting if setting else code == "set_down")
            ]  # fmt: skip
            limit = " ".join(self.limit(each) for each in told)
            if head == "torque_reached" and not told:
                limit = word("not_entered")
            found.append({"head": word(head), "limit": _figures(limit) if limit else []})
        return found

    def limit(self, told: Document) -> str:
        data = told["data"]
        if told["code"] == "torque_to":
            return show_torque(data["torque_nmm"], self.units)
        if told["code"] == "set_down_between":
            return between(data["least_nm"], data.get("deepest_nm") or data["least_nm"], self.units)
        return str(told["text"])

    def small(self) -> list[list[dict[str, Any]]]:
        """The small print in columns: what was answered, what nobody checked and who says so; what was judged; why."""
        group, steps = self.group, planned_steps(self.group)
        grounds = [
            f"{number}: {_plainly(told)}"
            for number, step in enumerate(steps, 1)
            for told in (*step["settings"], *step["cautions"])
            if told["code"] in GROUNDS
        ]
        for line in group["lines"]:
            grounds += [told["text"] for told in line["need"]["why"]]
            for take in line["takes"]:
                grounds += [f"{take['tag']}: {told['text']}" for told in take["reasons"] if told["code"] in GROUNDS]
        judged = [f"{word(each['status']).capitalize()}: {each['reason']['text']}" for each in self.checks("fits")]
        rows = {
            "assumed": [*self.answers(), *(told["text"] for told in group["thread"]["notes"])],
            "not_checked": [each["reason"]["text"] for each in self.checks(NOT_CHECKED)],
            "sources": [f"{'; '.join(_sources(group, steps))}."],
            "judged": judged,
            "grounds": grounds,
        }
        told = {head: {"head": word(head).capitalize(), "told": list(dict.fromkeys(texts)) or [f"{word('nothing')}."]}
                for head, texts in rows.items()}  # fmt: skip
        return [[told["assumed"], told["not_checked"], told["sources"]], [told["judged"]], [told["grounds"]]]

    def answers(self) -> list[str]:
        """What was answered about the holes, each with its name; what was not is told too."""
        told, missing = [], []
        for key, value in self.group["answers"].items():
            if key in ("positions", "window", "fixture", "hand", "wished", "through"):
                continue
            if value is None or value == "":
                missing.append(word(_plain(key)))
            else:
                told.append(f"{word(_plain(key))} {self.answer(key, value)}")
        if missing:
            told.append(f"{word('not_entered')}: {', '.join(missing)}")
        return [f"{'; '.join(told)}."]

    def answer(self, key: str, value: Any) -> str:
        if key.endswith("_mm"):
            return self.length(value)
        if key.endswith("_Nm"):
            return show_torque(int(Decimal(value) * 1000), self.units)
        if isinstance(value, Mapping):
            return str(value.get("designation", ""))
        return word(value) if isinstance(value, str) else word("yes" if value else "no")

    def refused(self) -> list[str]:
        if self.group["method"] is not None:
            return []
        return [
            f"{word(each['method']).capitalize()}: "
            + " ".join(told["text"] for told in (*each["reasons"], *each["remedies"]))
            for each in self.group["methods"]
        ]


def planned_steps(group: Document) -> Sequence[Document]:
    """The steps of a group's planned size, in order; none where no method stands."""
    for method in group["methods"]:
        if method["method"] == group["method"]:
            sizes = method["sizes"]
            same = [each for each in sizes if each["size"] == group["size"]] or sizes
            return cast(Sequence[Document], same[0]["steps"]) if same else ()
    return ()


def _overruled(group: Document) -> tuple[str, str, tuple[str, ...]]:
    """Who answers for what is doubtful or ruled out, why, and the codes of what that covers."""
    accepted = group.get("accepted") or {}
    return accepted.get("answers") or "", accepted.get("why") or "", tuple(accepted.get("signed") or ())


def _plainly(told: Document) -> str:
    """A sentence of a step as it is read at the machine; its source stands in the small print."""
    source = told["data"].get("source")
    return str(told["text"]).replace(f" ({source})", "") if source else str(told["text"])


def _sources(group: Document, steps: Sequence[Document]) -> list[str]:
    """Where the numbers come from, each source once: of the size, of what was judged, of which steps."""
    found: dict[str, list[str]] = {group["size"]["source"]: []} if group["size"] and group["size"]["source"] else {}
    for each in group["checks"]:
        if source := each["reason"]["data"].get("source"):
            found.setdefault(str(source), [])
    for number, step in enumerate(steps, 1):
        for told in (*step["settings"], *step["cautions"]):
            if source := told["data"].get("source"):
                at = found.setdefault(str(source), [])
                at += [str(number)] if str(number) not in at else []
    return [f"{source} ({', '.join(at)})" if at else source for source, at in found.items()]


def _natural(text: str) -> list[tuple[int, str]]:
    """A name as people count: B2 before B10."""
    return [(int(part), "") if part.isdigit() else (0, part) for part in re.split(r"(\d+)", text)]


def _reason(told: Document) -> Reason:
    return rebuilt(told["code"], told["data"])


def _need(told: Document) -> Need:
    """A need read back from its document, as far as it is put into words."""
    start, end = (datetime.fromisoformat(told["window"][key]) for key in ("start", "end"))
    diameter = told["diameter"]
    return Need(
        id=told["id"],
        group="",
        step="",
        kind=told["kind"],
        start=start,
        end=end,
        site="",
        thread=told["thread"]["key"] if told["thread"] else None,
        inner=told["inner"]["key"] if told["inner"] else None,
        length=_nm(told["length_mm"]),
        diameter=Window(_nm(diameter["least_mm"]) or 0, _nm(diameter["most_mm"]) or 0) if diameter else None,
        name=told["name"] or "",
        hand=told["hand"] or "",
    )


def _nm(mm: str | None) -> int | None:
    return None if mm is None else to_nm(Decimal(mm))


# Printing one


@act()
def print_card(
    job: Job, *, by: str, as_of: datetime, address: str, units: str = "mm", request_key: str | None = None
) -> Card:
    """Plan the job, print its card and keep both as they are now. The cards of a job are numbered from 1.

    `address` is the page of the job, in full. The same `request_key` is answered with the card of the first time.
    Raises `Refused`: job_not_open, card_without_method, accepted_no_longer_stands.
    """
    job.refresh_from_db(from_queryset=Job.objects.select_for_update(of=("self",)).select_related("site", "reservation"))
    done = job.cards.filter(request_key=request_key).first() if request_key is not None else None
    if done is not None:
        return done
    if job.state not in jobs.OPEN:
        raise Refused(Reason("job_not_open", number=job.number, state=job.state))
    plan = jobs.plan_job(job, as_of=as_of, every_size=False)
    if not plan.groups or len(plan.unplanned) == len(plan.groups):
        raise Refused(Reason("card_without_method", number=job.number))
    for group in plan.groups:
        for bar in group.bars:
            if bar.reason.code == "accepted_no_longer_stands":  # a card of what nobody accepted would be followed
                raise Refused(bar.reason)
    number = (job.cards.aggregate(last=Max("number"))["last"] or 0) + 1
    frozen = cards.document(plan, units=units)
    parts = {row.part for row in job.groups.select_related("part")}
    title = [
        ("drawing", ", ".join(sorted({part.drawing for part in parts if part.drawing}))),
        ("printed", f"{by}, {show_moment(as_of)}"),
        ("note", job.note),
    ]
    made = pdf(frozen, sections(plan, units=units), address=address, units=units, number=number, title=title)
    return Card.objects.create(
        job=job,
        number=number,
        plan=frozen,
        schema_version=cards.SCHEMA_VERSION,
        digest=cards.digest(frozen),
        pdf=made,
        by=by,
        at=as_of,
        request_key=request_key,
    )


def printed(job: Job, plan: JobPlan) -> tuple[list[Card], tuple[Reason, ...]]:
    """The cards of a job, the newest first, and what has changed since the newest was printed.

    Only the newest is asked: the older ones are overtaken by it. Two queries where there is a card, and five more
    where a printed unit is no longer what would be taken.
    """
    found = list(job.cards.defer("pdf", "plan").order_by("-number"))
    return found, out_of_date(found[0], plan) if found else ()


def card(job: Job, number: int) -> Card:
    """A card of a job by its number. Raises `Refused`: card_unknown."""
    found = job.cards.defer("plan").filter(number=number).first()
    if found is None:
        raise Refused(Reason("card_unknown", number=number, job=job.number))
    return found


# What has changed since


def out_of_date(card: Card, plan: JobPlan) -> tuple[Reason, ...]:
    """What no longer holds of what a card says, judged by the job's plan of now; nothing where it still holds.

    The head of this file says what counts.
    """
    if card.schema_version != cards.SCHEMA_VERSION:
        return (Reason("card_of_older_form"),)
    old = cast(Document, card.plan)
    new = cards.document(_planned(plan))
    found = list(_days_changed(old, new))
    before = {group["code"]: group for group in old["groups"]}
    now = {group["code"]: group for group in new["groups"]}
    found += [Reason("card_group_gone", group=code) for code in before if code not in now]
    found += [Reason("card_group_new", group=code) for code in now if code not in before]
    kept = [code for code in before if code in now]
    for code in kept:
        if old["window"] == new["window"]:
            found += _days_changed({**old, **before[code]["answers"]}, {**new, **now[code]["answers"]})
        found += _group_changed(before[code], now[code])
    # Where a group is planned otherwise altogether, its tools are beside the point.
    same = [code for code in kept if _what(before[code]) == _what(now[code])]
    plans = {group.group.code: group for group in plan.groups}
    found += _tools_changed(card, [(before[code], now[code], plans[code]) for code in same])
    return tuple(dict.fromkeys(found))


def _planned(plan: JobPlan) -> JobPlan:
    """The same plan with nothing but what is printed of it: the method that is planned, in its size."""
    groups = []
    for group in plan.groups:
        taken = [
            replace(answer, plan=replace(answer.plan, options=()), sizes=answer.sizes[:1])
            for answer in group.methods
            if group.chosen is not None and answer.plan.method == group.chosen.method
        ]
        groups.append(replace(group, methods=tuple(taken)))
    return replace(plan, groups=tuple(groups))


def _days_changed(old: Document, new: Document) -> Iterator[Reason]:
    if old["window"] != new["window"]:
        start, end = (datetime.fromisoformat(new["window"][key]) for key in ("start", "end"))
        yield Reason("card_days_changed", start=start, end=end)
    if old["site"] != new["site"]:
        yield Reason("card_site_changed", was=old["site"], now=new["site"])


def _what(group: Document) -> tuple[Any, ...]:
    """What is repaired and by which method and size."""
    thread, answers = group["thread"].get("key"), group["answers"]
    code = group["size"] and group["size"]["code"]
    return thread, group["holes"], answers["positions"], group["method"], code


def _group_changed(old: Document, new: Document) -> Iterator[Reason]:
    code = new["code"]
    if _what(old)[:3] != _what(new)[:3]:
        positions = tuple(new["answers"]["positions"])
        thread = new["thread"].get("designation", new["thread"]["typed"])
        yield Reason("card_holes_changed", group=code, holes=new["holes"], thread=thread, positions=positions)
    answered = [key for key in old["answers"] if old["answers"][key] != new["answers"].get(key)]
    what = [_plain(key) for key in answered if key not in ("positions", "window", "wished")]
    if what:
        yield Reason("card_answers_changed", group=code, what=tuple(what))
    if _what(old)[3:] != _what(new)[3:]:
        yield Reason("card_method_changed", group=code, **_method_of("was", old), **_method_of("now", new))
        return
    before, now = ({step["step"]: step for step in planned_steps(group)} for group in (old, new))
    yield from (Reason("card_step_gone", group=code, step=step) for step in before if step not in now)
    yield from (Reason("card_step_new", group=code, step=step) for step in now if step not in before)
    for step in (each for each in now if each in before):
        told = ((*each["settings"], *each["cautions"]) for each in (before[step], now[step]))
        yield from _told_changed(code, step, *told)
    yield from _told_changed(code, "room", *([each["reason"] for each in group["checks"]] for group in (old, new)))
    yield from _told_changed(code, "cautions", old["cautions"], new["cautions"])
    if _overruled(old) != _overruled(new):
        yield Reason("card_decision_changed", group=code)


def _method_of(when: str, group: Document) -> dict[str, Any]:
    size = group["size"] or {}
    return {
        f"{when}_method": group["method"] or "no_method",
        f"{when}_thread": (size.get("outer") or {}).get("designation", ""),
        f"{when}_length_nm": _nm(size.get("length_mm")),
    }


def _told_changed(group: str, step: str, old: Iterable[Document], new: Iterable[Document]) -> Iterator[Reason]:
    """Sentences that went, came or now have other numbers, compared by what they say and not by how."""
    before, now = _by_code(old), _by_code(new)
    for code in dict.fromkeys((*before, *now)):
        was = [each for each in before.get(code, ()) if each not in now.get(code, ())]
        come = [each for each in now.get(code, ()) if each not in before.get(code, ())]
        for one, other in zip_longest(was, come):
            data = {when: each for when, each in (("cause", one), ("why", other)) if each is not None}
            kind = "card_told_changed" if len(data) > 1 else "card_told_gone" if one else "card_told_new"
            yield Reason(kind, group=group, step=step, **data)


def _by_code(told: Iterable[Document]) -> dict[str, list[Reason]]:
    found: dict[str, list[Reason]] = defaultdict(list)
    for each in told:
        found[each["code"]].append(_reason(each))
    return found


def _tools_changed(card: Card, groups: Sequence[tuple[Document, Document, GroupPlan]]) -> Iterator[Reason]:
    """Needs that ask for something else now, gaps that are met, and printed things that no longer serve."""
    doubted: list[tuple[Need, Document, Document]] = []
    for old, new, plan in groups:
        now = {line["need"]["id"]: line for line in new["lines"]}
        needs = {line.need.id: line.need for line in plan.lines}
        for line in old["lines"]:
            need = needs.get(line["need"]["id"])
            if need is None:
                continue  # its step is gone, or its method, and that is told
            fresh = now[need.id]
            if differs := _asked_otherwise(line["need"], fresh["need"]):
                yield Reason("card_need_changed", group=old["code"], kind=need.kind, what=differs)
            elif line["status"] == GAP and fresh["status"] != GAP:
                tags = tuple(take["tag"] or take["name"] for take in fresh["takes"])
                yield Reason("card_gap_met", kind=need.kind, need=need.id, tags=tags)
            doubted += [(need, take, old) for take in line["takes"] if not _taken_again(take, fresh)]
    yield from _unfit(card, doubted)


def _asked_otherwise(old: Document, new: Document) -> tuple[str, ...]:
    """What of a need differs; its days are told for the whole group."""
    keys = [key for key in new if key not in ("why", "status", "window") and key in old and old[key] != new[key]]
    return tuple(map(_plain, keys))


def _plain(key: str) -> str:
    """A key of the document without its unit."""
    return re.sub("_(mm|Nm|kPa|MPa)$", "", key)


def _taken_again(take: Document, line: Document) -> bool:
    """Whether the plan of now takes as much of the same thing from the same place, as surely."""
    key = ("tag", "bin", "site", "counted", "name", "diameter_mm")
    return any(
        all(take[each] == other[each] for each in key)
        and other["holes"] >= take["holes"]
        and other["quantity"] >= take["quantity"]
        and (other["status"] == MATCH or other["status"] == take["status"])
        for other in line["takes"]
    )


def _unfit(card: Card, doubted: Sequence[tuple[Need, Document, Document]]) -> Iterator[Reason]:
    """Which of these printed things no longer serve their need, each judged by itself. Five queries, if any at all."""
    if not doubted:
        return
    needs = [need for need, _, _ in doubted]
    lying: dict[tuple[bool, str], list[StockLine]] = defaultdict(list)
    for line in stock.lines(
        kinds={need.kind for need in needs},
        threads={need.thread for need in needs if need.thread},
        diameters={(need.diameter.least, need.diameter.most) for need in needs if need.diameter},
        named={take["tag"] for _, take, _ in doubted if take["tag"]},  # whatever they measure by now
    ):
        lying[line.batch is not None, line.tag].append(line)
    label = card.job.number
    used = Counter(stock.used_for(label, since=card.at))
    for need, take, group in doubted:
        here = [line for line in lying[take["counted"], take["tag"]] if line.facts.kind == need.kind]
        if take["counted"]:  # a lot of the same number may lie in several bins
            here = [line for line in here if line.bin == take["bin"] and line.site == take["site"]] or here
        key = (take["counted"], take["tag"])
        left = {"holes": take["holes"], "quantity": take["quantity"]}
        amount = left["quantity"] if KINDS[need.kind].counted else left["holes"]
        spent = min(amount, used[key])
        used[key] -= spent
        if amount and spent == amount:
            continue  # it has done what was printed
        yield from _unfit_for(need, take, here, amount - spent, label, _drilled(group, need))


def _drilled(group: Document, need: Need) -> int | None:
    """The printed drill that guides a cutter."""
    for line in group["lines"]:
        if need.pilot_of and line["need"]["id"] == need.pilot_of:
            return next((_nm(take["diameter_mm"]) for take in line["takes"]), None)
    return None


def _unfit_for(
    need: Need, take: Document, here: Sequence[StockLine], amount: int, label: str, drilled: int | None
) -> Iterator[Reason]:
    tag, kind = take["tag"] or take["name"], need.kind
    if not here:
        yield Reason("card_unit_gone", tag=tag, kind=kind, bin=take["bin"])
        return
    line = here[0]
    judged = judge(need, line, label=label, drilled=drilled, zone=settings.SHOP_ZONE)
    room = room_of(line, label, (need.material,))
    if judged.status == REFUSED:
        yield Reason("card_unit_unfit", tag=tag, kind=kind, why=judged.reasons[0])
    elif room is not None and room < amount:
        yield Reason("card_unit_unfit", tag=tag, kind=kind, why=short(line, label, room, amount, need.material))
    elif judged.status == DOUBTFUL and take["status"] == MATCH:
        yield Reason("card_unit_doubtful", tag=tag, kind=kind, why=judged.reasons[0])
    elif line.facts.diameter is not None and line.facts.diameter != _nm(take["diameter_mm"]):
        yield Reason(
            "card_unit_measured",
            tag=tag,
            kind=kind,
            **({"was_nm": was} if (was := _nm(take["diameter_mm"])) else {}),
            now_nm=line.facts.diameter,
        )
    if (line.site, line.bin) != (take["site"], take["bin"]):
        yield Reason("card_unit_moved", tag=tag, kind=kind, was=take["bin"], now=line.bin)
