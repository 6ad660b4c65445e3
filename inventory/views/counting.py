"""Stock counts: begun, entered bin by bin on a tablet, looked at line by line, posted or given up.

In a blind count only whoever may post is shown what the book says, and everybody once it is posted.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import counting
from inventory.counting import Judged, PostRefused, Review
from inventory.errors import Reason, Refused
from inventory.forms import CountEndForm, CountPostForm, CountSheetForm, CountStartForm, Fault
from inventory.models import StockCount
from inventory.presses import pressed, sent
from inventory.refusals import NotThere, status_of
from inventory.roles import COUNT, POST_COUNT, known_as, page


def _count(pk: int) -> StockCount:
    try:
        return counting.count_by_id(pk)
    except Refused as refused:
        raise NotThere(refused.reason) from refused


def _number(typed: str) -> int:
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 19 else 0


# The list, and a new count


@page(COUNT)
@require_safe
def counts(request: HttpRequest) -> HttpResponse:
    """The counts that go on, what a new one takes, and those that are closed."""
    ticked = {_number(each) for each in request.GET.getlist("bin")}
    return _counts_page(request, request.GET.get("site", "").replace("\0", ""), ticked)


def _counts_page(
    request: HttpRequest, site: str, ticked: set[int], form: CountStartForm | None = None, status: int = 200
) -> HttpResponse:
    sites = counting.sites()
    site = site if site in sites else sites[0] if sites else ""
    closed, more = counting.closed_counts(before=_number(request.GET.get("before", "")))
    told = {
        "area": "shelf", "open": counting.open_counts(), "closed": closed, "more": more, "sites": sites, "site": site,
        "bins": [(bin, held, bin.pk in ticked) for bin, held in counting.bins_to_count(site)],
        "form": form or CountStartForm(initial={"site": site, "request_key": uuid.uuid4().hex}),
        "posters": POST_COUNT.roles,
    }  # fmt: skip
    return render(request, "inventory/counts.html", told, status=status)


@page(COUNT)
@pressed("counts")
def start(request: HttpRequest) -> HttpResponse:
    """Begin with the bins that are ticked, or with all of the site that nobody counts already."""
    form = CountStartForm(request.POST)
    ticked = {_number(each) for each in request.POST.getlist("bin")}
    site = sent(request, "site")
    if not form.is_valid():
        return _counts_page(request, site, ticked, form, 400)
    bins = ticked
    if sent(request, "all"):
        bins = {bin.pk for bin, held in counting.bins_to_count(site) if held is None}
    try:
        begun = counting.start(
            site=site, bins=bins, blind=form.cleaned_data["blind"] == "blind", by=known_as(request.user),
            as_of=timezone.now(), request_key=form.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except Refused as refused:
        form.add_error(None, Fault(refused.reason))
        return _counts_page(request, site, ticked, form, status_of(refused.reason))
    return _go_on(begun)


def _go_on(count: StockCount, after: int | None = None) -> HttpResponse:
    """The bin to go on with, or the count where all are done."""
    place = counting.next_place(counting.places(count), after)
    if place is None:
        return redirect("count", pk=count.pk)
    return redirect("count-sheet", pk=count.pk, bin=place.bin.pk)


# One count


@page(COUNT)
@require_safe
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """How far a count is, bin by bin; of a posted one what it came to."""
    return _count_page(request, _count(pk))


def _count_page(
    request: HttpRequest, found: StockCount, ending: CountEndForm | None = None, status: int = 200
) -> HttpResponse:
    places = counting.places(found)
    told: dict[str, Any] = {
        "area": "shelf", "count": found, "places": places, "done": sum(each.done_at is not None for each in places),
        "next": counting.next_place(places), "posters": POST_COUNT.roles,
        "ending": ending or CountEndForm(initial={"request_key": uuid.uuid4().hex}),
    }  # fmt: skip
    if found.state == "posted":
        told |= {"lines": counting.posted_lines(found), "accuracy": counting.accuracy_of(found)}
    return render(request, "inventory/count.html", told, status=status)


# The sheet of one bin


@page(COUNT)
@require_safe
def sheet(request: HttpRequest, pk: int, bin: int) -> HttpResponse:
    """What one person finds in one bin."""
    found = _count(pk)
    if found.state != "open":
        return redirect("count", pk=pk)
    return _sheet_page(request, found, CountSheetForm(sheet=_sheet(request, found, bin)))


def _sheet(request: HttpRequest, count: StockCount, bin: int) -> counting.Sheet:
    try:
        return counting.sheet(count=count, bin=bin, counter=_counter(request), as_of=timezone.now())
    except Refused as refused:
        raise NotThere(refused.reason) from refused


def _counter(request: HttpRequest) -> str:
    """Tells two people of one name apart."""
    return str(request.user.get_username())


def _sheet_page(request: HttpRequest, count: StockCount, form: CountSheetForm, status: int = 200) -> HttpResponse:
    places = counting.places(count)
    here = form.sheet.place.bin_id
    told = {
        "area": "shelf", "count": count, "form": form, "place": form.sheet.place, "bin": form.sheet.place.bin,
        "saved": "saved" in request.GET, "of": len(places),
        "at": next((number for number, each in enumerate(places, 1) if each.bin.pk == here), 0),
        "next": counting.next_place(places, here),
    }  # fmt: skip
    return render(request, "inventory/count_sheet.html", told, status=status)


@page(COUNT)
@pressed("count-sheet")
def enter(request: HttpRequest, pk: int, bin: int) -> HttpResponse:
    """Keep what was found; done with the bin, or to go on with it later."""
    found = _count(pk)
    done = not sent(request, "later")
    form = CountSheetForm(request.POST, sheet=_sheet(request, found, bin), done=done)
    if not form.is_valid():
        return _sheet_page(request, found, form, 400)
    try:
        counting.enter(
            count=pk, bin=bin, findings=form.findings, by=known_as(request.user), counter=_counter(request),
            as_of=timezone.now(), nothing_else=done, request_key=form.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except Refused as refused:
        form.add_error(None, Fault(refused.reason))
        return _sheet_page(request, found, form, status_of(refused.reason))
    return _go_on(found, bin) if done else redirect(f"{reverse('count-sheet', args=[pk, bin])}?saved=1")


# The review, for whoever posts


@page(POST_COUNT)
@require_safe
def review(request: HttpRequest, pk: int) -> HttpResponse:
    """Each line against the book, who found what, and what posting would do."""
    found = _count(pk)
    return redirect("count", pk=pk) if found.state != "open" else _review_page(request, found)


def _review_page(
    request: HttpRequest,
    count: StockCount,
    form: CountPostForm | None = None,
    *,
    refused: Reason | None = None,
    done: Reason | None = None,
    ending: CountEndForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """The review as it is now, with what was typed on it; `done` says what the press did."""
    now = counting.review(count)
    form = _post_form(now) if form is None else form
    ending = ending or CountEndForm(initial={"why": sent(request, "why")})
    told = {
        "area": "shelf", "count": count, "form": form, "accuracy": now.accuracy, "review": now, "refused": refused,
        "in_the_way": now.of("disputed", "again"), "not_counted": now.of("not_counted"), "done": done,
        "differs": [(each, _reason_field(form, each)) for each in now.of("differs")],
        "right": now.of("right"),
        "undone": [each for each in counting.places(count) if each.done_at is None],
        "ending": ending, "within": "review",
    }  # fmt: skip
    return render(request, "inventory/count_review.html", told, status=status_of(refused) if refused else status)


def _reason_field(form: CountPostForm, judged: Judged) -> Any:
    return form.of(judged.line.pk) if judged.line and judged.line.pk in form.lines else None


def _post_form(review: Review, data: Any = None) -> CountPostForm:
    lines = [each.line.pk for each in review.of("differs") if each.line]
    return CountPostForm(data, lines=lines, seen=review.seen)


@page(POST_COUNT)
@pressed("count-review")
def decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Of what several found of one line, one figure stands."""
    found = _count(pk)
    try:
        stands = counting.decide(
            count=pk, entry=_number(sent(request, "entry")), by=known_as(request.user), counter=_counter(request),
            as_of=timezone.now(), seen=_seen(request),
        )  # fmt: skip
    except Refused as refused:
        return _settled(request, found, refused=refused.reason)
    line = stands.line
    done = Reason("count_stands", found=stands.found, thing=str(line), bin=line.bin.name)
    return _settled(request, found, done=done)


@page(POST_COUNT)
@pressed("count-review")
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Have one line counted again."""
    found = _count(pk)
    try:
        line = counting.ask_again(count=pk, line=_number(sent(request, "line")), seen=_seen(request))
    except Refused as refused:
        return _settled(request, found, refused=refused.reason)
    return _settled(request, found, done=Reason("count_asked_again", thing=str(line), bin=line.bin.name))


def _seen(request: HttpRequest) -> int | None:
    """What the review on the page had regard to; None where no page says so."""
    return _number(seen) if (seen := sent(request, "seen")) else None


def _settled(
    request: HttpRequest, count: StockCount, *, done: Reason | None = None, refused: Reason | None = None
) -> HttpResponse:
    """The review after a press at one line, with every reason that was typed at others; sent again it does nothing."""
    if refused is not None and refused.code == "count_closed":
        return redirect("count", pk=count.pk)
    return _review_page(request, count, _as_typed(request, counting.review(count)), done=done, refused=refused)


@page(POST_COUNT)
@pressed("count-review")
def post(request: HttpRequest, pk: int) -> HttpResponse:
    """Post all of it or nothing, with the reasons as they were typed. Enter in a field posts nothing."""
    found = _count(pk)
    if sent(request, "keep"):
        return _settled(request, found, done=Reason("count_reasons_kept"))
    form = _post_form(counting.review(found), request.POST)
    if not form.is_valid():
        return _review_page(request, found, form, status=400)
    try:
        counting.post(
            count=pk, reason=form.cleaned_data["reason"], reasons=form.reasons, seen=form.cleaned_data["seen"],
            by=known_as(request.user), as_of=timezone.now(), request_key=form.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except Refused as refused:
        if refused.reason.code == "count_closed":
            return redirect("count", pk=pk)
        lines = refused.lines if isinstance(refused, PostRefused) else {}
        told = Reason("count_reasons_missing") if refused.reason.code == "reason_missing" else refused.reason
        return _review_page(request, found, _seen_anew(request, found, lines), refused=told)
    return redirect(f"{reverse('count', args=[pk])}#lines")


def _seen_anew(request: HttpRequest, count: StockCount, refused: Mapping[int, Reason]) -> CountPostForm:
    """What was typed, about the count as it stands by now, with what was refused of each line."""
    now, data = counting.review(count), request.POST.copy()
    data["seen"] = str(now.seen)
    form = _post_form(now, data)
    for line in [line for line in form.lines if line in refused]:
        form.add_error(f"reason-{line}", Fault(refused[line]))
    return form


def _as_typed(request: HttpRequest, now: Review) -> CountPostForm:
    """What was typed, not judged yet: no field is found fault with by a press that was not about it."""
    typed = {name: sent(request, name) for name in request.POST}
    lines = [each.line.pk for each in now.of("differs") if each.line]
    return CountPostForm(lines=lines, seen=now.seen, typed=typed)


@page(POST_COUNT)
@pressed("count")
def abandon(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a count up: nothing of it is posted."""
    found, form = _count(pk), CountEndForm(request.POST)
    if form.is_valid():
        try:
            counting.abandon(
                count=pk, reason=form.cleaned_data["why"], by=known_as(request.user), as_of=timezone.now(),
                request_key=form.cleaned_data["request_key"] or None,
            )  # fmt: skip
        except Refused as refused:
            form.add_error(None, Fault(refused.reason))
            return _count_page(request, found, form, status_of(refused.reason))
        return redirect("count", pk=pk)
    if _seen(request) is not None and found.state == "open":  # from the review, where more was typed
        return _review_page(request, found, _as_typed(request, counting.review(found)), ending=form, status=400)
    return _count_page(request, found, form, 400)
