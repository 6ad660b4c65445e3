"""A bench for whole-path tests: a shelf from a sheet, a job from a job file, a plan; all through the real doors."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from inventory import sheets
from repairs import families, jobs
from repairs.cards import document
from repairs.forms import read_job_file
from repairs.jobs import GroupPlan, JobPlan
from repairs.matching import Line
from repairs.models import Job

PUBLISHED = ("keyed_heavy", "wire_inch", "wire_metric")
FAMILIES = Path(__file__).parents[2] / "fixtures" / "families"
HEADS = (
    "kind", "name", "thread", "class", "inner", "diameter", "pilot", "usable length", "lead", "flute", "action",
    "insert length", "flange", "hand", "torque min", "torque max", "family", "life", "tag", "condition",
    "holes cut", "calibration due", "away why", "away until", "away with", "quantity", "lot", "expires", "site",
    "cure hours",
)  # fmt: skip

TAP = {"kind": "tap", "usable length": "60", "flute": "straight", "action": "cut", "life": "200"}


class Bench:
    """Rows are laid on the shelf by `stock`, jobs planned by `plan`."""

    def __init__(self, folder: Path, as_of: datetime) -> None:
        self.folder, self.as_of, self.sheets = folder, as_of, 0
        # The tang-free and screw-locking ranges are left out: they are never the first choice, and reading them
        # in takes as long again as most of these tests.
        published = [path for path in families.published_files() if path.stem in PUBLISHED]
        for path in (*published, *sorted(FAMILIES.glob("*.toml"))):
            families.load(text=path.read_text())

    def stock(self, *rows: dict[str, str]) -> None:
        """Take rows in as a sheet; site and bin are filled in, all else is as given."""
        self.sheets += 1
        lines = [";".join((*HEADS, "bin", "walk"))]
        for number, row in enumerate(rows, start=1):
            full = {"site": "Main"} | row
            assert set(full) <= set(HEADS), set(full) - set(HEADS)
            cells = ['"' + full.get(head, "").replace('"', '""') + '"' for head in HEADS]
            lines.append(";".join((*cells, f"B{self.sheets}-{number}", str(number))))
        path = self.folder / f"sheet{self.sheets}.csv"
        path.write_text("\n".join(lines) + "\n")
        intake = sheets.load(paths=[path], as_of=self.as_of, by="tests", apply=True)
        assert not intake.faults, [dict(fault.data) for fault in intake.faults]

    def job(self, *groups: dict[str, str], number: str = "J-1", part: str = "") -> str:
        """A job file with one part and these groups."""
        text = f'number = "{number}"\nowner = "Test"\nsite = "Main"\nstarts = "+2d"\nends = "+3d"\n'
        text += f'[[parts]]\nname = "Casing"\n{part}\n'
        for group in groups:
            text += "[[parts.groups]]\n" + "".join(f"{key} = '{value}'\n" for key, value in group.items())
        return text

    def plan(self, *groups: dict[str, str], number: str = "J-1", part: str = "") -> JobPlan:
        """Plan a job that is not saved."""
        request = read_job_file(self.job(*groups, number=number, part=part), as_of=self.as_of)
        return jobs.plan_request(request, as_of=self.as_of)

    def save(self, *groups: dict[str, str], number: str = "J-1", part: str = "") -> Job:
        """Save a job."""
        return jobs.create(read_job_file(self.job(*groups, number=number, part=part), as_of=self.as_of))


def line(plan: JobPlan | GroupPlan, step: str, kind: str = "") -> Line:
    """The one line of this step (and kind)."""
    found = [each for each in plan.lines if each.need.step == step and (not kind or each.need.kind == kind)]
    assert len(found) == 1, [(each.need.id, each.need.kind) for each in plan.lines]
    return found[0]


def gaps(plan: JobPlan) -> list[str]:
    """The kinds of the gaps."""
    return sorted(each.need.kind for each in plan.lines if each.status == "gap")


def near(found: Line) -> dict[str, set[str]]:
    """The near misses of a gap: tag to reason codes."""
    return {miss.line.tag: {reason.code for reason in miss.reasons} for miss in found.near}


def chosen(plan: JobPlan, group: int = 0) -> str:
    """The chosen size of a group in short: "flanged_bush M14x1.5 in M16x1.5 x 21"."""
    option = plan.groups[group].chosen
    if option is None:
        return ""
    size = option.size
    return f"{option.method} {size.inner.designation} in {size.outer.designation} x {size.length / 1_000_000:g}"


def texts(plan: JobPlan) -> Iterable[str]:
    """Every sentence of the plan's document."""
    stack: list[object] = [document(plan)]
    while stack:
        each = stack.pop()
        if isinstance(each, dict):
            if "text" in each:
                yield str(each["text"])
            stack.extend(each.values())
        elif isinstance(each, list):
            stack.extend(each)
