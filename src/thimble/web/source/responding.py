"""What is shown after a step, a call or a result was sent: the page again, or what came first."""

from __future__ import annotations

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from thimble.ledger.entries import Entry
from thimble.web import log
from thimble.web.context import get_identities, get_protocol, get_site
from thimble.web.desk.handling import (
    capabilities_of,
    go,
    looked,
    overtaken_response,
    read,
)
from thimble.web.desk.page import Typed
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import sentence
from thimble.web.source.page import SourcePage


def show(
    request: HttpRequest,
    reading: Reading,
    *,
    since: int | None = None,
    typed: Typed | None = None,
) -> HttpResponse:
    """The page of the source, with a form that came back where one did."""
    page = SourcePage.of(
        reading,
        protocol=get_protocol(),
        site=get_site(),
        capabilities=capabilities_of(request),
        identity_known=get_identities().source(reading.case) is not None,
        since=since,
        typed=typed,
        by=str(request.user.pk),
    )
    return render(request, "source/source.html", {"page": page}, status=422 if typed else 200)


def faulty(
    request: HttpRequest, reading: Reading, form: str, subject: str, fault: Exception
) -> HttpResponse:
    """The page again, with what was typed and what is wrong with it."""
    typed = Typed(form, subject, dict(request.POST.lists()), sentence(fault))
    return show(request, reading, typed=typed)


def after(
    request: HttpRequest,
    reading: Reading,
    position: int,
    came_first: Sequence[Entry],
    said: list[tuple[str, str]],
    event: str,
) -> HttpResponse:
    """Back to the page; where somebody else wrote first, what they wrote and what was typed."""
    if came_first:
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event(event, case=reading.case, account=str(request.user.pk))
    now = read(reading.case)
    looked(request, now.case, now.position, now.plan.now)
    return go(request, f"{reverse('source:source', args=[reading.case])}?since={position}")
