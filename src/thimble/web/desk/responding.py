"""How the case comes back: whole or in part, after something was recorded, or with a fault."""

from __future__ import annotations

import re
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from thimble.actions import AgainstIt, Refused
from thimble.clinical.saying import opening
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.linking import is_patient_case
from thimble.web import log
from thimble.web.access import can
from thimble.web.context import get_protocol, get_site
from thimble.web.context import looked as record_look
from thimble.web.desk.handling import (
    canonical,
    capabilities_of,
    go,
    is_htmx,
    last_look,
    looked,
    names_of,
    overtaken_response,
    position_of,
    read,
    rule_links,
    worker_of,
    write,
)
from thimble.web.desk.page import CasePage, Typed
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.on_record.finding import OnRecord, on_record
from thimble.web.on_record.glance import Glance, glance
from thimble.web.stock.giving import lots_for, vaccines_for
from thimble.web.timeline import draw


def show(
    request: HttpRequest,
    reading: Reading,
    *,
    since: int | None = None,
    ask: str = "",
    typed: Typed | None = None,
    focus: str = "",
) -> HttpResponse:
    """The case as it stands; what others wrote counts as new until this account says that it saw it."""
    seen = last_look(request, reading.case)
    page = CasePage.of(
        reading,
        protocol=get_protocol(),
        site=get_site(),
        capabilities=capabilities_of(request),
        account=str(request.user.pk),
        names=names_of(reading.entries),
        worker=worker_of(request, reading.case, where="case"),
        seen=seen,
        since=since,
        ask=ask,
        doing=request.GET.get("do", ""),
        typed=typed,
        link=rule_links(reading.case),
    )
    if not page.written and seen != reading.position:
        looked(request, reading.case, reading.position, reading.plan.now)
    file, line = _on_record(request, reading)
    context = {
        "page": page,
        "timeline": draw(reading.situation, reading.plan, reading.plan.now, get_site().zone),
        "focus": focus or _focus(page),
        "swap": is_htmx(request),
        "on_record": file is not None,
        "glance": line,
        "lots": lots_for(request, reading.plan) if page.may.record else {},
        "vaccines": vaccines_for(reading.plan),
    }
    if is_htmx(request):
        return render(request, "desk/_work.html", context)
    return render(request, "desk/case.html", context, status=422 if typed else 200)


def _on_record(request: HttpRequest, reading: Reading) -> tuple[OnRecord | None, Glance | None]:
    """The worker's file and the line about it, for those who may see it. What it tells is put on record."""
    if not can(request, "see_immunity") or is_patient_case(reading.situation):
        return None, None
    found = on_record(reading.case)
    line = glance(found, reading) if can(request, "see_worker_identity") else None
    if found is not None and line is not None and not line.doubt:
        record_look(request, [found.person.reference], whose="worker", where="on record")
    return found, line


def _focus(page: CasePage) -> str:
    """Where the keyboard stands after a swap: at a fault, else at the next question."""
    if page.typed is not None and page.typed.form != "answer":
        return "fault"
    return "question"


def written(
    request: HttpRequest, reading: Reading, position: int, *, at: str = "recorded"
) -> HttpResponse:
    """The case again after something was recorded, with what that changed; the reader stands `at`."""
    address = reverse("desk:case", args=[reading.case])
    if is_htmx(request):
        now = read(reading.case)
        response = show(request, now, since=position, focus="" if at == "question" else at)
        response["HX-Replace-Url"] = address
        return response
    return go(request, f"{address}?since={position}#{at}")


def record(
    request: HttpRequest,
    ref: str,
    act: Callable[[Reading, int], tuple[Callable[[], object], Callable[[Entry], bool]]],
    *,
    form: str,
    subject: str,
    said: Callable[[Reading], list[tuple[str, str]]],
) -> HttpResponse:
    """What every form of the case page does: one action, or the page again with all that was typed."""
    reading = read(canonical(ref))
    try:
        position = position_of(request)
        doing, mine = act(reading, position)
        came_first = write(doing, mine=mine, by=str(request.user.pk))
    except (Refused, BadAnswer) as fault:
        against = isinstance(fault, AgainstIt)
        typed = Typed(form, subject, dict(request.POST.lists()), sentence(fault), against)
        return show(request, reading, typed=typed)
    if came_first:
        return overtaken_response(request, read(reading.case), came_first, said(reading))
    log.event(f"recorded_{form}", case=reading.case, account=str(request.user.pk))
    at = "question" if form == "answer" else "recorded"
    return written(request, reading, position, at=at)


_PREFIX = re.compile(rf"^(?:{'|'.join(kind.value for kind in Kind)}): ")


def sentence(fault: Exception) -> str:
    """A fault as whole sentences for whoever typed: capital first, full stop last.

    The kind of the entry before a fault of its body is left out: it is a word of the ledger.
    """
    said = fault.faults if isinstance(fault, Refused) else (str(fault),)
    text = " ".join(_PREFIX.sub("", each) for each in said).strip()
    return opening(text) + ("" if text.endswith((".", "!", "?")) else ".")
