"""The page "Buy": the shopping list of one job or of all open ones, and the orders that are written from it."""

from __future__ import annotations

import hashlib
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.conf import settings
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from inventory import order_points, purchasing
from inventory.errors import Reason, Refused
from inventory.forms import Answers, Fault
from inventory.kinds import OfferFacts
from inventory.preferences import units_of
from inventory.presses import pressed, sent
from inventory.purchasing import OnOrder
from inventory.refusals import NotThere, status_of
from inventory.roles import BUY, READ, known_as, page
from repairs import jobs
from repairs.buying import Restock, Row, ShoppingList, pack_price
from repairs.cards import gap_words, order_notes, row_notes, set_note, shopping_csv, unlisted
from repairs.wording import SENTENCES, item_words

MOST_JOBS = 200  # to choose from; any other is reached from its own page


@dataclass(frozen=True, slots=True)
class RowShown:
    """A gap as the page tells it: `status` is not_on_offer, late, tight or in_time; `coming` is already on order."""

    number: int
    row: Row
    what: str
    item: str
    address: str
    status: str
    notes: tuple[Reason, ...]
    coming: tuple[OnOrder, ...]
    covered: bool


@dataclass(frozen=True, slots=True)
class LineShown:
    """One offer of an order that is proposed: packs, the price of one, and the rows that it is for."""

    offer: OfferFacts
    packs: int
    rows: tuple[int, ...]
    covered: bool

    @property
    def each(self) -> int:
        return pack_price(self.offer, self.packs)

    @property
    def goods(self) -> int:
        return self.each * self.packs


@dataclass(frozen=True, slots=True)
class Proposal:
    """An order that could be written: one supplier's rows, or a set in their place. `seen` tells it from another."""

    code: str
    supplier: str
    currency: str
    carriage: int
    minimum: int
    latest: date
    lines: tuple[LineShown, ...]
    notes: tuple[Reason, ...]
    items: frozenset[int]
    coming: tuple[OnOrder, ...]

    @property
    def place(self) -> str:
        """The place of its form on the page, the same however the list moves."""
        return f"order-{hashlib.sha256(self.code.encode()).hexdigest()[:8]}"

    @property
    def seen(self) -> str:
        """What tells this proposal from any other, prices and what is on order already included."""
        decided = [(line.offer.offer, line.packs, line.each) for line in self.lines]
        return hashlib.sha256(repr((decided, self.coming)).encode()).hexdigest()[:32]

    @property
    def goods(self) -> int:
        return sum(line.goods for line in self.lines)

    @property
    def total(self) -> int:
        return self.goods + self.carriage

    @property
    def covered(self) -> bool:
        return all(line.covered for line in self.lines)


@dataclass(frozen=True, slots=True)
class Shown:
    """The whole list as the page tells it."""

    shopping: ShoppingList
    rows: tuple[RowShown, ...]
    proposals: tuple[Proposal, ...]
    sets: tuple[tuple[Reason, Proposal], ...]
    unlisted: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Stocked:
    """What stands at or below its order point, and the orders that bring it up to its most."""

    rows: tuple[tuple[order_points.Standing, Restock], ...] = ()
    proposals: tuple[Proposal, ...] = ()


class OrderForm(Answers):
    """What is sent to write an order: which proposal, as it was `seen`, and the offers of it that are ticked."""

    number = forms.CharField(max_length=40, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    code = forms.CharField(max_length=200, widget=forms.HiddenInput)
    seen = forms.CharField(max_length=80, widget=forms.HiddenInput)
    urgent_why = forms.CharField(max_length=200, required=False)
    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)


# The list


@page(READ)
@require_safe
def buy(request: HttpRequest) -> HttpResponse:
    """What is short, what to buy for it, from whom and by when."""
    return _page(request, request.GET.get("job", ""))


def _page(
    request: HttpRequest, number: str, sent: OrderForm | None = None, refused: Reason | None = None
) -> HttpResponse:
    """The page for one job, or for all; after an order that was not written, with the reason at its place."""
    now = timezone.now()
    told: dict[str, Any] = {"area": "buy", "job": number, "sent": sent, "units": units_of(request)}
    try:
        told["shown"] = _shown(_shopping(number, now), units_of(request))
    except Refused as unknown:
        told["unknown"] = refused = unknown.reason
    shown = told.get("shown")
    told["stocked"] = stocked = _stocked(now) if not number else Stocked()
    codes = {each.code for each in (*shown.proposals, *(each for _, each in shown.sets))} if shown else set()
    codes |= {each.code for each in stocked.proposals}
    told |= {
        "lost": sent is not None and sent["code"].value() not in codes,
        "open_jobs": jobs.open_jobs().values_list("number", flat=True)[:MOST_JOBS],
        "orders": purchasing.open_orders(),
        "done": request.GET.get("done", ""),
        "next_number": purchasing.next_number(now),
        "key": uuid.uuid4().hex,
        "refused": refused,
        "buyers": BUY.roles,
    }
    return render(request, "repairs/buy.html", told, status=status_of(refused) if refused else 400 if sent else 200)


def _shopping(number: str, now: datetime) -> ShoppingList:
    """The list of one open job, or of all. Raises `Refused`: job_number_unknown, job_not_open."""
    wanted = [jobs.open_job(number)] if number else list(jobs.open_jobs())
    return jobs.shopping(jobs.plan_jobs(wanted, as_of=now, side_by_side=False), as_of=now)


@page(READ)
@require_safe
def as_csv(request: HttpRequest) -> HttpResponse:
    """The same list for a spreadsheet."""
    number = request.GET.get("job", "")
    try:
        shopping = _shopping(number, timezone.now())
    except Refused as refused:
        raise NotThere(refused.reason) from refused
    # What is bought for stock is for no job.
    stocked = () if number else jobs.for_stock(as_of=timezone.now())
    # The mark in front is what a spreadsheet knows UTF-8 by.
    text = "\ufeff" + shopping_csv(shopping, stocked=stocked, units=units_of(request))
    name = f"shopping-list-{shopping.today.isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(text, content_type="text/csv; charset=utf-8", headers=headers)


def _shown(shopping: ShoppingList, units: str) -> Shown:
    items = {choice.facts.item for row in shopping.rows for choice in row.gap.choices}
    coming = purchasing.on_order(items)
    rows = tuple(_row(number, row, coming, units) for number, row in enumerate(shopping.rows, 1))
    proposals, sets = [], []
    for order in shopping.orders:
        bought = [(purchase.offer, purchase.packs, at) for at in order.rows if (purchase := shopping.rows[at].purchase)]
        proposals.append(_proposal(f"from {order.supplier}", bought, order.latest, order_notes(order), rows, coming))
    for whole in shopping.sets:
        bought = [(whole.offer, whole.packs, at) for at in whole.rows]
        sets.append((set_note(whole), _proposal(f"set {whole.offer.offer}", bought, whole.latest, [], rows, coming)))
    return Shown(shopping, rows, tuple(proposals), tuple(sets), tuple(unlisted(shopping)))


def _row(number: int, row: Row, on_order: dict[int, list[OnOrder]], units: str) -> RowShown:
    bought = row.purchase
    coming = _coming({choice.facts.item for choice in row.gap.choices}, on_order)
    codes = {note.code for note in row.notes}
    facts = bought.choice.facts if bought else None
    return RowShown(
        number=number,
        row=row,
        what=gap_words(row.gap, units),
        item=item_words(bought.choice, units) if bought else "",
        address=(bought.choice.number or f"~{facts.item}") if bought and facts else "",
        status="not_on_offer" if bought is None else "late" if bought.late else "tight" if "arrives_on_the_day" in codes
        else "in_time",
        notes=tuple(row_notes(row)),
        coming=coming,
        covered=bought is not None and sum(each.pieces for each in coming) >= bought.pieces,
    )  # fmt: skip


def _stocked(now: datetime) -> Stocked:
    """What stands at or below its order point, and the orders that bring it up to its most; at most eight queries."""
    rows, today = jobs.for_stock(as_of=now), now.astimezone(settings.SHOP_ZONE).date()
    coming = {each.item.pk: each.coming for each, _ in rows}
    by_supplier: dict[str, list[Restock]] = defaultdict(list)
    for _, each in rows:
        if each.purchase:
            by_supplier[each.purchase.offer.supplier].append(each)
    proposals = []
    for supplier, bought in sorted(by_supplier.items()):
        purchases = [each.purchase for each in bought if each.purchase]
        items, offer = frozenset(each.choice.facts.item for each in bought), purchases[0].offer
        proposals.append(
            Proposal(
                code=f"stock {supplier}", supplier=supplier, currency=offer.currency, carriage=offer.carriage,
                minimum=offer.minimum, latest=today,
                lines=tuple(LineShown(each.offer, each.packs, (), False) for each in purchases),
                notes=(), items=items, coming=_coming(items, coming),
            )
        )  # fmt: skip
    return Stocked(rows, tuple(proposals))


def _proposal(
    code: str,
    bought: Sequence[tuple[OfferFacts, int, int]],
    latest: date,
    notes: Sequence[Reason],
    rows: Sequence[RowShown],
    on_order: Mapping[int, Sequence[OnOrder]],
) -> Proposal:
    """The order for these purchases; an offer that several rows take is one line of it."""
    packs: dict[int, int] = defaultdict(int)
    of: dict[int, list[int]] = defaultdict(list)
    offers = {offer.offer: offer for offer, _, _ in bought}
    for offer, count, at in bought:
        packs[offer.offer] = count if code.startswith("set ") else packs[offer.offer] + count
        of[offer.offer].append(at + 1)
    lines = tuple(
        LineShown(offer, packs[pk], tuple(of[pk]), all(rows[number - 1].covered for number in of[pk]))
        for pk, offer in offers.items()
    )
    items = {choice.facts.item for line in lines for number in line.rows for choice in rows[number - 1].row.gap.choices}
    offer = bought[0][0]
    return Proposal(
        code=code,
        supplier=offer.supplier,
        currency=offer.currency,
        carriage=offer.carriage,
        minimum=offer.minimum,
        latest=latest,
        lines=lines,
        notes=tuple(notes),
        items=frozenset(items),
        coming=_coming(items, on_order),
    )


def _coming(items: Iterable[int], on_order: Mapping[int, Sequence[OnOrder]]) -> tuple[OnOrder, ...]:
    return tuple(each for item in sorted(items) for each in on_order.get(item, ()))


# Orders


@page(BUY)
@pressed("buy")
def order(request: HttpRequest) -> HttpResponse:
    """Write the order that was shown, with the lines that are ticked."""
    now, number, form = timezone.now(), sent(request, "job"), OrderForm(request.POST)
    if not form.is_valid():
        return _page(request, number, form)
    done = purchasing.order_of_request(form.cleaned_data["request_key"])
    try:
        written = done or _write(form, request, number, now)
    except Refused as refused:
        at = "number" if refused.reason.code == "order_number_taken" else None
        form.add_error(at, Fault(refused.reason, SENTENCES))
        return _page(request, number, form, refused.reason)
    return redirect(_back(number, written.number))


def _write(form: OrderForm, request: HttpRequest, number: str, now: datetime) -> Any:
    asked = form.cleaned_data
    shown = _shown(_shopping(number, now), units_of(request))
    stocked = _stocked(now) if not number else Stocked()
    found = (*shown.proposals, *(each for _, each in shown.sets), *stocked.proposals)
    proposals = {each.code: each for each in found}
    proposal = proposals.get(asked["code"])
    if proposal is None or proposal.seen != asked["seen"]:
        raise Refused(Reason("list_moved"))
    ticked = set(request.POST.getlist("line"))
    lines = [line for line in proposal.lines if str(line.offer.offer) in ticked]
    if not lines:
        raise Refused(Reason("lines_not_chosen"))
    with transaction.atomic():
        purchasing.lock_supplier(proposal.supplier)
        if _coming(proposal.items, purchasing.on_order(proposal.items)) != proposal.coming:
            raise Refused(Reason("list_moved"))
        return purchasing.place_order(
            supplier=proposal.supplier,
            number=asked["number"],
            lines=[(line.offer.offer, line.packs, line.each) for line in lines],
            by=known_as(request.user),
            as_of=now,
            due=shown.shopping.today + timedelta(days=max(line.offer.lead_days for line in lines)),
            urgent_why=asked["urgent_why"],
            request_key=asked["request_key"] or None,
        )


@page(BUY)
@pressed("buy")
def close(request: HttpRequest) -> HttpResponse:
    """An order came in, or was cancelled: it is no longer on order."""
    state = "received" if sent(request, "state") == "received" else "cancelled"
    number = sent(request, "job")
    try:
        purchasing.close_order(
            number=sent(request, "number"), state=state, by=known_as(request.user), as_of=timezone.now()
        )
    except Refused as refused:
        return _page(request, number, None, refused.reason)
    return redirect(_back(number))


def _back(job: str, done: str = "") -> str:
    asked = urlencode({key: value for key, value in (("job", job), ("done", done)) if value})
    return reverse("buy") + (f"?{asked}" if asked else "") + "#orders"
