"""What the months before the demo's day left behind, each thing by its own act at its own day.

What happened is told in days before the demo's day and done in that order, whatever it is: an order, a delivery, a use,
a count, a calibration, a job with its kit and its proofs. So each figure has its months, and every balance its ledger.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from inventory import catalogue, counting, order_points, purchasing, stock
from inventory.counting import Finding
from inventory.errors import Refused
from repairs import jobs, proving
from repairs.forms import MeasuredForm, read_job
from repairs.models import Job

Deed = tuple[int, Callable[[datetime], object]]  # so many days ago, this was done

# All that a hole of one of the jobs of before was: the same metal and depth, an insert of wire.
_HOLE = {
    "hole": "blind", "depth": "34", "floor": "14", "edge": "36", "material": "grey cast iron", "alloy": "weakest",
    "grade": "8.8", "before": "none", "made": "cut", "method": "wire insert",
}  # fmt: skip
_WORN = "worn below its size; a new set is on the shelf"
_PASSED = {"hole_gauge": "yes", "tang_out": "yes", "final_gauge": "yes", "held_still": "yes"}


def load_months(path: Path, *, people: Mapping[str, str], as_of: datetime) -> None:
    """Do what a history file tells, the oldest first. `people` are names by login: who keeps the store, who fits."""
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    rows = _items(told)
    keeper, fitter, foreman = (people[login] for login in ("storekeeper", "fitter", "foreman"))
    deeds: list[Deed] = []
    for row in told["item"]:
        deeds += _consumable(row, rows[row["number"]], keeper=keeper, fitter=fitter)
    for row in told["idle"]:
        deeds.append((row["ago"], _coming(row, rows[row["number"]], keeper=keeper)))
    for row in told["gauge"]:
        deeds += _gauge(row, rows[row["number"]], keeper=keeper)
    deeds += [(row["ago"], _count(row, told, keeper=keeper)) for row in told["count"]]
    deeds += [(row["ago"], _job(row, foreman=foreman, fitter=fitter)) for row in told["job"]]
    for ago, deed in sorted(deeds, key=lambda each: -each[0]):  # of one day in the order in which they stand here
        deed(as_of - timedelta(days=ago))


def _items(told: Mapping[str, Any]) -> dict[str, Any]:
    return catalogue.by_number([row["number"] for sort in ("item", "idle", "gauge") for row in told[sort]])


def _consumable(row: Mapping[str, Any], item: Any, *, keeper: str, fitter: str) -> Iterator[Deed]:
    """A consumable that was ordered, delivered and used; an order without `took` is still on its way."""
    shelf = stock.bin_named(site=row["site"], name=row["bin"])
    offers = [each for each in purchasing.offers_for([item.pk]) if {of for of, _ in each.pieces} == {item.pk}]
    offer = offers[0]

    def order(of: Mapping[str, Any]) -> Iterator[Deed]:
        def place(at: datetime) -> None:
            purchasing.place_order(
                supplier=offer.supplier, number=f"{at:%Y}-{row['number']}-{of['ago']}",
                lines=[(offer.offer, of["packs"], offer.price)], by=keeper, as_of=at,
                due=(at + timedelta(days=offer.lead_days)).date(), urgent_why=of.get("urgent", ""),
            )  # fmt: skip

        def receive(at: datetime) -> None:
            placed = at - timedelta(days=of["took"])
            number = f"{placed:%Y}-{row['number']}-{of['ago']}"
            (line,) = purchasing.expected(purchasing.order_numbered(number))
            came = purchasing.Came(line=line.line, item=item.pk, bin=shelf, quantity=line.ordered, lot=row["lot"])
            purchasing.receive_order(number=number, came=[came], by=keeper, as_of=at)

        yield of["ago"], place
        if "took" in of:
            yield of["ago"] - of["took"], receive

    def use(ago: int, pieces: int) -> Deed:
        def issue(at: datetime) -> None:
            batch = stock.batch_of(item=item, bin=shelf, lot=row["lot"])
            stock.issue_batch(batch=batch, quantity=pieces, label=f"J-{900 - ago}", by=fitter, as_of=at)

        return ago, issue

    for of in row["orders"]:
        yield from order(of)
    for ago, pieces in row["uses"]:
        yield use(ago, pieces)
    if "order point" in row:
        least, point, most = row["order point"]
        three = {"minimum": least, "order_point": point, "maximum": most}
        yield 0, lambda at: order_points.set_order_point(item=item, why=row["why"], by=keeper, as_of=at, **three)


def _coming(row: Mapping[str, Any], item: Any, *, keeper: str) -> Callable[[datetime], object]:
    """Something that came, and that nobody touched since."""
    shelf = stock.bin_named(site=row["site"], name=row["bin"])
    if "tag" in row:
        return lambda at: stock.receive_unit(item=item, tag=row["tag"], bin=shelf, by=keeper, as_of=at)
    lot, pieces = row["lot"], row["pieces"]
    return lambda at: stock.receive_batch(item=item, quantity=pieces, bin=shelf, lot=lot, by=keeper, as_of=at)


def _gauge(row: Mapping[str, Any], item: Any, *, keeper: str) -> Iterator[Deed]:
    """A gauge that came with its calibration, was calibrated again on some days, and is scrapped on the demo's day."""
    shelf = stock.bin_named(site=row["site"], name=row["bin"])
    tag = row["tag"]

    def good_until(at: datetime, days: int) -> Any:
        return (at + timedelta(days=days)).date()

    (came, first), *later = row["calibrated"]

    def receive(at: datetime) -> None:
        due = good_until(at, first)
        stock.receive_unit(item=item, tag=tag, bin=shelf, calibration_due=due, by=keeper, as_of=at)

    def again(days: int) -> Callable[[datetime], object]:
        return lambda at: stock.calibrate_unit(
            unit=stock.unit_by_tag(tag), due=good_until(at, days), by=keeper, as_of=at
        )

    yield came, receive
    for ago, days in later:
        yield ago, again(days)
    yield 0, lambda at: stock.scrap_unit(unit=stock.unit_by_tag(tag), reason=_WORN, by=keeper, as_of=at)


def _count(row: Mapping[str, Any], told: Mapping[str, Any], *, keeper: str) -> Callable[[datetime], object]:
    """A count of what of all this lies there on that day: a lot is found as the book has it, but for those that are
    `off`."""

    def count(at: datetime) -> None:
        off = dict(row["off"])
        found: dict[int, list[Finding]] = {}
        for of in told["item"]:
            shelf = stock.bin_named(site=of["site"], name=of["bin"])
            item = catalogue.by_number([of["number"]])[of["number"]]
            try:
                lot = stock.batch_of(item=item, bin=shelf, lot=of["lot"])
            except Refused:  # nothing of it had come yet
                continue
            if lot.on_hand:
                finding = Finding(found=lot.on_hand + off.pop(of["lot"], 0), batch=lot.pk)
                found.setdefault(shelf.pk, []).append(finding)
        for of in told["gauge"]:
            if of["calibrated"][0][0] > row["ago"]:
                unit = stock.unit_by_tag(of["tag"])
                found.setdefault(unit.bin_id, []).append(Finding(found=1, unit=unit.pk))
        if off:
            raise ValueError(off, row["ago"])  # nothing of it lay there on that day
        begun = counting.start(site="Main", bins=list(found), blind=True, by=keeper, as_of=at)
        for shelf_pk, findings in found.items():
            counting.enter(count=begun.pk, bin=shelf_pk, findings=findings, by=keeper, as_of=at)
        counting.post(count=begun.pk, by=keeper, as_of=at, reason=row.get("why", ""))

    return count


def _job(row: Mapping[str, Any], *, foreman: str, fitter: str) -> Callable[[datetime], object]:
    """A job that kept its kit, or what there was of it, the day before, was proved at every hole and handed over."""
    group = {
        **_HOLE, "thread": row["thread"], "torque": row["torque"],
        "positions": [str(number) for number in range(1, row["holes"] + 1)],
    }  # fmt: skip
    part = {"name": row["part"], "serial": row["serial"], "groups": [group]}
    window = {"starts": "+1d", "ends": "+2d"}
    document = {"number": row["number"], "owner": row["owner"], "site": "Main", **window, "parts": [part]}
    typed = {**_PASSED, "minor": row["minor"], "set_down": row["set_down"], "torque": row["torque"]}

    def done(at: datetime) -> None:
        job = jobs.create(read_job(document, as_of=at))
        jobs.book(job, by=foreman, as_of=at)
        (plan,) = jobs.plan_jobs([job], as_of=job.start, side_by_side=False)
        for each in plan.groups:
            proofs = dict.fromkeys(each.group.positions, typed)
            _measured(job, each, proofs, by=fitter, as_of=job.end - timedelta(hours=8))
        proving.hand_over(job, by=foreman, as_of=job.end - timedelta(hours=6))

    return done


def _measured(job: Job, group: jobs.GroupPlan, proofs: Mapping[str, Mapping[str, str]], **entry: Any) -> None:
    """Enter what was measured at each hole, as it was typed at the machine."""
    asks = proving.asked(group.chosen)
    forms = {hole: MeasuredForm(typed, asks=asks) for hole, typed in proofs.items()}
    if not all(form.is_valid() for form in forms.values()):
        raise CommandError(f"{job.number}: {[form.errors for form in forms.values()]}")
    measured = {hole: form.value() for hole, form in forms.items()}
    proving.measure(job, group=group.group.code, measured=measured, **entry)


def load_earlier(path: Path, *, people: Mapping[str, str], as_of: datetime) -> None:
    """A job that was done and handed over before the demo begins: every step signed, every hole proved as it says."""
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    proofs = document.pop("proofs")
    job = jobs.create(read_job(document, as_of=as_of))
    entry: dict[str, Any] = {"by": people["fitter"], "as_of": job.end - timedelta(hours=8)}
    (plan,) = jobs.plan_jobs([job], as_of=job.start, side_by_side=False)
    for group in plan.groups:
        code = group.group.code
        for step in group.chosen.steps if group.chosen else ():
            proving.sign(job, group=code, step=step.code, holes=group.group.positions, **entry)
        _measured(job, group, proofs[code], **entry)
    proving.hand_over(job, by=people["foreman"], as_of=job.end - timedelta(hours=6))
