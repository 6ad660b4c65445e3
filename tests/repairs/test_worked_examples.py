"""The worked examples in `fixtures/worked_examples/`: whole cases, reckoned by hand in their comments, planned here.

Each is a job file under `[job]`, and beside it what must come out. `[[expect]]` names one option by its group, method,
outer thread and length, and `[[shelf]]` a stock and what is taken from it. Every key is compared; none is passed over.
A hand reckons with five figures: loads and preloads are compared within 0.05 %, margins within 0.1 of a per cent.
Lengths, counts, statuses and codes are compared as they stand.
"""

import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from inventory.kinds import KINDS, Facts, StockLine
from inventory.quantities import read_length, to_mm
from inventory.threads import read
from repairs.forms import read_job
from repairs.matching import match
from repairs.methods import consider
from repairs.methods.families_file import read_family
from repairs.methods.values import HoleGroup, Limits, MethodPlan, Option, Size, Step
from repairs.strength import Sum

Table = dict[str, Any]
ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((ROOT / "fixtures" / "worked_examples").glob("*.toml"))
FAMILIES = [
    ROOT / "repairs" / "published" / "wire_metric.toml",
    *sorted((ROOT / "fixtures" / "worked_examples" / "families").glob("*.toml")),
]
LOADS, PER_CENTS = 5e-4, 0.1
NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)


@pytest.fixture(scope="module")
def sizes() -> list[Size]:
    return [size for path in FAMILIES for size in read_family(path.read_bytes()).sizes]


def example(path: Path) -> Table:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def groups(document: Table) -> dict[str, HoleGroup]:
    job = read_job(document["job"], as_of=NOW)
    return {group.code: group for part in job.parts for group, _ in part.groups}


def option_of(plans: tuple[MethodPlan, ...], asked: Table) -> Option:
    outer, length = read(asked["outer"]).thread, read_length(asked["length"])
    (found,) = (
        option
        for plan in plans
        for option in plan.options
        if (option.method, option.size.outer, option.size.length) == (asked["method"], outer, length)
    )
    return found


def mm(nm: int) -> str:
    return f"{to_mm(nm).normalize():f}"


def said(name: str, data: Table) -> Any:
    """One number of a reason by the name that the example gives it: `needed_mm` is what stands as `needed_nm`."""
    if name.endswith("_mm") and f"{name[:-3]}_nm" in data:
        return mm(data[f"{name[:-3]}_nm"])
    return list(data[name]) if isinstance(data[name], tuple) else data[name]


def compare_sum(found: Sum, wanted: Table) -> None:
    for key, value in wanted.items():
        if key == "carries_newton":
            assert found.carries == pytest.approx(value, rel=LOADS)
        elif key == "needed_newton":
            assert found.needed == pytest.approx(value, rel=LOADS)
        elif key == "margin_percent":
            assert found.margin is not None
            assert found.margin * 100 == pytest.approx(value, abs=PER_CENTS)
        elif key == "least_mm":
            assert float(to_mm(found.reason["least_nm"])) == pytest.approx(float(value), rel=LOADS)
        elif key == "torque_less_newton_metre":
            (less,) = (each for each in found.remedies if each.code == "torque_less")
            assert less["most_nmm"] / 1000 == pytest.approx(value, rel=LOADS)
        else:
            assert {"status": found.status, "code": found.reason.code, "by": found.by}[key] == value, key


def compare_need(option: Option, id: str, wanted: Table) -> None:
    (need,) = (each for each in option.needs if each.id == id)
    for key, value in wanted.items():
        if key == "diameter_mm":
            assert need.diameter is not None
            assert [mm(need.diameter.least), mm(need.diameter.most)] == value
        elif key == "lead_tenths":
            assert need.lead is not None
            assert [need.lead.match, need.lead.doubt] == value
        elif key == "reach_mm":
            assert need.reach is not None
            assert mm(need.reach) == value
        else:
            assert getattr(need, key) == value, key


def told(steps: tuple[Step, ...]) -> Iterator[tuple[str, str, Table]]:
    for step in steps:
        for reason in (*step.settings, *step.cautions):
            yield step.code, reason.code, dict(reason.data)


def compare_step(option: Option, code: str, wanted: Table) -> None:
    """What a step says: each reason by its code, with the data that the example names."""
    for reason, numbers in wanted.items():
        (data,) = (data for step, each, data in told(option.steps) if (step, each) == (code, reason))
        for name, value in numbers.items():
            assert said(name, data) == value, (code, reason, name)


def compare(option: Option, wanted: Table) -> None:
    for key, value in wanted.items():
        if key in ("group", "method", "outer", "length"):
            continue
        if key == "checks":
            for code, numbers in value.items():
                (check,) = (each for each in option.checks if each.reason.code == code)
                for name, number in numbers.items():
                    assert (check.status if name == "status" else said(name, dict(check.reason.data))) == number, (
                        code,
                        name,
                    )
        elif key == "absent":
            assert not {check.reason.code for check in option.checks} & set(value)
        elif key == "sums":
            assert option.strength is not None
            sums = {each.what: each for each in option.strength.sums}
            assert set(value) <= set(sums)
            for what, numbers in value.items():
                compare_sum(sums[what], numbers)
        elif key == "preload_newton":
            assert option.strength is not None
            assert option.strength.preload is not None
            band = [option.strength.preload.least, option.strength.preload.most]
            assert band == pytest.approx(value, rel=LOADS)
        elif key == "strength":
            assert option.strength is not None
            found: Table = {"status": option.strength.status, "governs": option.strength.governs}
            found["missing"] = [reason.code for reason in option.strength.missing]
            found["reasons"] = [reason.code for reason in option.strength.reasons]
            assert {name: found[name] for name in value} == value
        elif key == "needs":
            for id, numbers in value.items():
                compare_need(option, id, numbers)
        elif key == "says":
            for step, reasons in value.items():
                compare_step(option, step, reasons)
        elif key == "steps":
            assert [step.code for step in option.steps] == value
        else:
            assert {"verdict": option.verdict, "ruled_out": option.ruled_out}[key] == value, key


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_worked_example_comes_out_as_it_was_reckoned_by_hand(path: Path, sizes: list[Size]) -> None:
    document = example(path)
    assert set(document) <= {"title", "job", "expect", "shelf"}
    found = groups(document)
    for wanted in document["expect"]:
        compare(option_of(consider(found[wanted["group"]], sizes, Limits()), wanted), wanted)


def thing(number: int, row: Table) -> StockLine:
    """A tool on the shelf as the example writes it: lengths as typed, the lead in threads."""
    facts: Table = {}
    for key, value in row.items():
        if key in ("thread", "inner"):
            thread = read(value).thread
            assert thread is not None
            facts[key] = thread.key
        elif key == "lead_threads":
            facts["lead"] = int(Decimal(value) * 10)
        elif key in ("diameter", "pilot", "usable_length", "insert_length"):
            facts[key] = read_length(value)
        elif key != "tag":
            facts[key] = value
    counted = KINDS[row["kind"]].counted
    here: Table = {"batch": number, "on_hand": 100, "available": 100} if counted else {"unit": number}
    return StockLine(row["tag"], Facts(item=number, **facts), "Main", "A1", walk=1, life_left=facts.get("life"), **here)


SHELVES = [(path, shelf) for path in EXAMPLES for shelf in example(path).get("shelf", ())]


@pytest.mark.parametrize(("path", "shelf"), SHELVES, ids=lambda each: each["title"] if isinstance(each, dict) else "")
def test_real_stock_is_matched_as_the_example_says(path: Path, shelf: Table, sizes: list[Size]) -> None:
    document = example(path)
    plans = consider(groups(document)[shelf["group"]], sizes, Limits())
    option = option_of(plans, shelf)
    assert not option.ruled_out
    stock = [thing(number, row) for number, row in enumerate(shelf["stock"], start=1)]
    wanted: Table = shelf["lines"]
    lines = {line.need.id: line for line in match(option.needs, stock)}
    for id, numbers in wanted.items():
        line = lines[id]
        found = {
            "status": line.status,
            "tags": [take.line.tag for take in line.takes],
            "reasons": [reason.code for reason in line.reasons],
            "near": {miss.line.tag: [reason.code for reason in miss.reasons] for miss in line.near},
        }
        assert {name: found[name] for name in numbers} == numbers, id


def test_every_example_states_its_sums_in_its_comments() -> None:
    """An example is there to be followed with a pocket calculator: no expected load without its reckoning."""
    assert len(EXAMPLES) >= 6
    for path in EXAMPLES:
        text = path.read_text(encoding="utf-8")
        remarks = "".join(line.lstrip("# ") for line in text.splitlines() if line.startswith("#"))
        for wanted in example(path)["expect"]:
            for what, numbers in wanted.get("sums", {}).items():
                if "carries_newton" in numbers:
                    assert str(numbers["carries_newton"]) in remarks, f"{path.stem}: {what} {numbers['carries_newton']}"
