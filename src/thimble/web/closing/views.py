"""Closing a case, with everything that is left of it in sight."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import say, told
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.closing.page import ClosingPage
from thimble.web.context import get_protocol, get_site, get_store
from thimble.web.desk.handling import (
    canonical,
    go,
    overtaken_response,
    position_of,
    read,
    who,
    write,
)


@never_cache
@needs("view_case", "close_case")
@require_http_methods(["GET", "POST"])
def closing(request: HttpRequest, ref: str) -> HttpResponse:
    """What is left of the plan, and the end of the case."""
    reading = read(canonical(ref))
    if request.method == "GET":
        return _show(request, reading.case)
    reason, text = request.POST.get("reason", ""), request.POST.get("text", "").strip()
    if reason not in CLOSED_REASONS:
        return _show(request, reading.case, ("Choose why the case is closed.",))

    def mine(entry: Entry) -> bool:
        return entry.kind is Kind.CLOSED and (entry.body["reason"], entry.body["text"]) == (
            reason,
            text,
        )

    try:
        position = position_of(request)
        came_first = write(
            lambda: actions.close(
                get_store(), reading.case, reason=reason, text=text, protocol=get_protocol(),
                site=get_site(), may_leave=can(request, "depart"), now=clock.now(),
                expected_position=position, **who(request),
            ),
            mine=mine,
            by=str(request.user.pk),
        )  # fmt: skip
    except Refused as refused:
        return _show(request, reading.case, told(refused.faults, reading.situation))
    if came_first:
        said = [("Close", say(CLOSED_REASONS[reason], reading.situation)), ("Why", text)]
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event("closed", case=reading.case, account=str(request.user.pk))
    return go(request, reverse("desk:case", args=[reading.case]))


def _show(request: HttpRequest, case: str, faults: tuple[str, ...] = ()) -> HttpResponse:
    page = ClosingPage.of(
        read(case),
        get_protocol(),
        get_site().zone,
        may_leave=can(request, "depart"),
        reason=request.POST.get("reason", ""),
        text=request.POST.get("text", ""),
        faults=faults,
    )
    return render(request, "closing/closing.html", {"page": page}, status=422 if faults else 200)
