"""Over the counter: a label's kit is handed out by one press, comes back by one, and what broke is told by one."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory import issuing, labels
from inventory.errors import Reason, Refused
from inventory.forms import ComeBackForm, CounterForm, HandOutForm
from inventory.issuing import KitLine, LinesRefused, key_of, parted
from inventory.labels import scanned
from inventory.models import Unit
from inventory.presses import pressed
from inventory.refusals import NotThere, status_of
from inventory.roles import MOVE_STOCK, known_as, page
from inventory.wording import say


@page(MOVE_STOCK)
@require_safe
def counter(request: HttpRequest) -> HttpResponse:
    """One field for a job's number, or the tag of anything that is kept for it or in its hand."""
    typed = request.GET.get("for", "").replace("\0", "").strip()
    told: dict[str, Any] = {"area": "shelf", "typed": typed}
    if typed:
        try:
            label = issuing.label_for(typed)
        except Refused as refused:
            told |= {"sentence": say(refused.reason), "meant": refused.reason.data.get("labels", ())}
        else:
            return redirect("counter-kit", label=label)
    return render(request, "inventory/counter.html", told)


@page(MOVE_STOCK)
@require_safe
def kit(request: HttpRequest, label: str) -> HttpResponse:
    """What is kept for a label and what it has in hand, each line as it would be pressed."""
    return _page(request, label, timezone.now())


def _page(
    request: HttpRequest,
    label: str,
    now: datetime,
    *,
    issue: tuple[CounterForm, Sequence[HandOutForm]] | None = None,
    back: tuple[CounterForm, Sequence[ComeBackForm]] | None = None,
    ended: Reason | None = None,
    status: int = 200,
) -> HttpResponse:
    """The page of a kit; the half that was sent as it came, the other as it is now."""
    found = issuing.kit(label, as_of=now)
    if not found.anything and issue is None and back is None and "done" not in request.GET:
        raise NotThere(Reason("counter_keeps_nothing", tag=label[:80]))
    fresh = {"request_key": uuid.uuid4().hex}
    issue = issue or (CounterForm(prefix="out", initial=fresh), [HandOutForm(line=line) for line in found.to_issue])
    back = back or (CounterForm(prefix="in", initial=fresh), [ComeBackForm(line=line) for line in found.out])
    told = {
        "area": "shelf", "kit": found, "issue": issue[0], "to_issue": issue[1], "back": back[0], "coming": back[1],
        "done": request.GET.get("done", ""), "count": _number(request.GET.get("count", "")), "ended": ended,
    }  # fmt: skip
    return render(request, "inventory/counter_kit.html", told, status=status)


def _number(typed: str) -> int:
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 9 else 0


def _keys(request: HttpRequest) -> list[str]:
    return request.POST.getlist("line")[: issuing.MOST]


def _lines(found: Sequence[KitLine], keys: Sequence[str]) -> list[KitLine]:
    """The lines as they were sent, in the order of the walk; what is no thing any more is left out."""
    return [line for line in found if line.key in set(keys)]


def _done(label: str, deed: str, count: int) -> HttpResponse:
    asked = urlencode({"done": deed, "count": count})
    return redirect(f"{reverse('counter-kit', args=[label])}?{asked}")


@page(MOVE_STOCK)
@pressed("counter-kit")
def issue(request: HttpRequest, label: str) -> HttpResponse:
    """Hand out what is ticked, so many pieces as are entered, and what was scanned: all of it or nothing."""
    now, keys = timezone.now(), _keys(request)
    lines = _lines(issuing.kit(label, as_of=now, also=keys).to_issue, keys)
    whole, forms = CounterForm(request.POST, prefix="out"), [HandOutForm(request.POST, line=line) for line in lines]
    if not all([whole.is_valid(), *(form.is_valid() for form in forms)]):
        return _page(request, label, now, issue=(whole, forms), status=400)
    units = [form.line.thing.pk for form in forms if form.cleaned_data.get("take")]
    batches = {form.line.thing.pk: pieces for form in forms if (pieces := form.cleaned_data.get("pieces"))}
    signed = {form.line.thing.pk: form.cleaned_data.get("signed", "") for form in forms}
    seen = {form.line.thing.pk: kept for form in forms if (kept := form.cleaned_data.get("seen")) is not None}
    try:
        count = issuing.issue(
            label, units=units, batches=batches, seen=seen, tags=whole.cleaned_data["tags"], signed=signed,
            by=known_as(request.user), as_of=now, request_key=whole.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except LinesRefused as refused:
        asked = _to_sign(refused.reasons)
        forms += _lines_to_sign(request, label, now, asked.values(), forms)
        _place({asked.get(key, key): reason for key, reason in refused.reasons.items()}, whole, forms)
        return _page(request, label, now, issue=(whole, forms), status=status_of(refused.reason))
    except Refused as refused:
        whole.refuse({"": refused.reason})
        return _page(request, label, now, issue=(whole, forms), status=status_of(refused.reason))
    return _done(label, "issued", count)


def _to_sign(reasons: Mapping[str, Reason]) -> dict[str, str]:
    """What was scanned and needs a signature first, by the tag as it was scanned: the key of its line."""
    found = {}
    for tag, reason in reasons.items():
        if reason.code == "unit_calibration_missing":
            thing = None if parted([tag])[0] else labels.opened(scanned(tag))
            found[tag] = key_of(thing) if isinstance(thing, Unit) else tag
    return found


def _lines_to_sign(
    request: HttpRequest, label: str, now: datetime, keys: Collection[str], forms: Sequence[HandOutForm]
) -> list[HandOutForm]:
    """Lines, ticked, of what was scanned: there it is signed for. Those that have a line already are left out."""
    new = set(keys) - {form.key for form in forms}
    sent = request.POST.copy()
    sent.update({f"out-{key}-take": "on" for key in new})
    lines = [line for line in issuing.kit(label, as_of=now, also=new).to_issue if line.key in new] if new else []
    found = [HandOutForm(sent, line=line) for line in lines]
    return [form for form in found if form.is_valid()]


def _place(
    reasons: Mapping[str, Reason], whole: CounterForm, forms: Sequence[HandOutForm] | Sequence[ComeBackForm]
) -> None:
    """Put each refusal at its line, and what belongs to none at the field for tags."""
    at = {form.key: form for form in forms}
    for key, reason in reasons.items():
        if key in at:
            at[key].refuse(reason)
        else:
            whole.refuse({key: reason})


@page(MOVE_STOCK)
@pressed("counter-kit")
def take_back(request: HttpRequest, label: str) -> HttpResponse:
    """Take back what is ticked, or of that only what was scanned; or write off the one line whose button it was."""
    now, keys = timezone.now(), _keys(request)
    lines = _lines(issuing.kit(label, as_of=now, also=keys).out, keys)
    whole, forms = CounterForm(request.POST, prefix="in"), [ComeBackForm(request.POST, line=line) for line in lines]
    valid = all([whole.is_valid(), *(form.is_valid() for form in forms)])
    for how in ("broke", "lost"):
        if how in request.POST:
            return _ended(request, label, now, whole, forms, how)
    unpressed = [form for form in forms if form.refuse_unpressed()]
    if not valid or unpressed or not _scanned_alone(label, whole, forms):
        return _page(request, label, now, back=(whole, forms), status=400)
    units = {
        form.line.thing.pk: (form.cleaned_data.get("holes") or 0, form.cleaned_data.get("condition") or None)
        for form in forms
        if form.cleaned_data.get("back")
    }
    batches = {form.line.thing.pk: pieces for form in forms if (pieces := form.cleaned_data.get("pieces"))}
    materials = {form.line.thing.pk: form.cleaned_data.get("material", "") for form in forms}
    try:
        count = issuing.take_back(
            label, units=units, batches=batches, materials=materials, by=known_as(request.user), as_of=now,
            request_key=whole.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except LinesRefused as refused:
        _place(refused.reasons, whole, forms)
        return _page(request, label, now, back=(whole, forms), status=status_of(refused.reason))
    except Refused as refused:
        whole.refuse({"": refused.reason})
        return _page(request, label, now, back=(whole, forms), status=status_of(refused.reason))
    return _done(label, "back", count)


def _scanned_alone(label: str, whole: CounterForm, forms: Sequence[ComeBackForm]) -> bool:
    """Where tags were scanned, leave what was not as it is; False where one of them is nothing that is out."""
    tags = {scanned(tag).upper(): tag for tag in whole.cleaned_data["tags"]}
    if not tags:
        return True
    # Lots of one name in two bins are both meant: which of them came back, the pieces tell.
    named: dict[str, list[ComeBackForm]] = defaultdict(list)
    for form in forms:
        for name in {form.line.name.upper(), form.line.code.upper()}:
            named[name].append(form)
    strange = {
        tag: Reason("tag_not_out", typed=tag[:80], label=label) for name, tag in tags.items() if name not in named
    }
    whole.refuse(strange)
    meant = [named[name] for name in tags if name in named]
    came = {id(form) for several in meant for form in several}
    for form in forms:
        if id(form) not in came:
            form.cleaned_data |= {"back": False, "pieces": None}
        elif form.line.unit is not None:
            form.cleaned_data["back"] = True
    missing = [
        form for several in meant if not any(each.line.unit or each.cleaned_data.get("pieces") for each in several)
        for form in several
    ]  # fmt: skip
    for form in missing:
        form.refuse(Reason("pieces_missing", name=form.line.name))
    return not strange and not missing


def _ended(
    request: HttpRequest, label: str, now: datetime, whole: CounterForm, forms: Sequence[ComeBackForm], how: str
) -> HttpResponse:
    """One line is broken or lost; what was typed at the others stays as it was."""
    key = request.POST[how]
    form = next((form for form in forms if form.key == key), None)
    if form is None:
        raise NotThere(Reason("thing_unknown", key=key[:20]))
    if not whole.is_valid() or not form.is_valid():
        return _page(request, label, now, back=(whole, forms), status=400)
    asked = form.cleaned_data
    try:
        issuing.broke(
            label, key, holes=asked.get("holes") or 0, material=asked.get("material", ""),
            pieces=asked.get("gone") or 1, lost=how == "lost",
            reason=asked["why"] or say(Reason("lost_by_default" if how == "lost" else "broke_by_default")),
            by=known_as(request.user), as_of=now, request_key=whole.cleaned_data["request_key"] or None,
        )  # fmt: skip
    except Refused as refused:
        form.refuse(refused.reason)
        return _page(request, label, now, back=(whole, forms), status=status_of(refused.reason))
    # The next press is another one: a key that is done with would be answered as this one was.
    sent = request.POST.copy()
    sent["in-request_key"] = uuid.uuid4().hex
    for name in ("gone", "why"):
        sent.pop(f"in-{key}-{name}", None)
    left = [each for each in issuing.kit(label, as_of=now).out if each.key in {form.key for form in forms}]
    kept = [ComeBackForm(sent, line=line) for line in left]
    return _page(request, label, now, back=(CounterForm(sent, prefix="in"), kept), ended=_written_off(form))


def _written_off(form: ComeBackForm) -> Reason:
    """What was written off: a unit, or so many pieces of a lot."""
    if form.line.unit:
        return Reason("unit_written_off", tag=form.line.name)
    return Reason("pieces_written_off", name=form.line.name, pieces=form.cleaned_data.get("gone") or 1)
