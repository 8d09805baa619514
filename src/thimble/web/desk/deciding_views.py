"""Deciding and signing: the clinician's own part."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from thimble import actions
from thimble.actions import Departing, PlanMoved, Refused
from thimble.ledger.compare import diff
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.store import Overtaken
from thimble.web import clock, log
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_site, get_store
from thimble.web.desk.changes import Change
from thimble.web.desk.handling import (
    canonical,
    names_of,
    overtaken_response,
    position_of,
    read,
    rule_links,
    who,
    write,
)
from thimble.web.desk.otherwise import OtherwisePage
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import sentence, written
from thimble.web.desk.signing import SignPage, read_departures


@never_cache
@needs("view_case", "depart")
@require_http_methods(["GET", "POST"])
def otherwise(request: HttpRequest, ref: str, subject: str) -> HttpResponse:
    """Decide what is left to a clinician, or otherwise than advised; with the reason."""
    reading = read(canonical(ref))
    page = OtherwisePage.of(
        reading, subject, protocol=get_protocol(), site=get_site(), names=names_of(reading.entries),
        link=rule_links(reading.case),
    )  # fmt: skip
    if page is None:
        raise Http404("no such decision or action")
    if request.method == "GET":
        return render(request, "desk/otherwise.html", {"page": page})
    chosen, other = request.POST.get("decided", "").strip(), request.POST.get("other", "").strip()
    decided = chosen or other
    reason = request.POST.get("reason", "").strip()
    try:
        if not decided:
            raise BadAnswer("Say what you decide.")
        if chosen and other:
            raise BadAnswer(
                f"You chose “{chosen}” and wrote other words as well. Leave one of the two."
            )
        if not reason:
            raise BadAnswer("Say why: a decision of yours needs its reason in your words.")
        position = position_of(request)
        came_first = write(
            lambda: actions.depart(
                get_store(),
                reading.case,
                subject=subject,
                advised=page.advised,
                decided=decided,
                reason=reason,
                now=clock.now(),
                expected_position=position,
                **who(request),
            ),
            mine=lambda e: (
                e.kind is Kind.DEPARTED
                and (e.body["subject"], e.body["decided"], e.body["reason"])
                == (subject, decided, reason)
            ),
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        context = {"page": page, "fault": sentence(fault), "typed": request.POST}
        return render(request, "desk/otherwise.html", context, status=422)
    if came_first:
        said = [("About", page.label), ("You decide", decided), ("Because", reason)]
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event("departed", case=reading.case, account=str(request.user.pk))
    return written(request, reading, position)


@never_cache
@needs("view_case", "sign_plan")
@require_http_methods(["GET", "POST"])
def sign(request: HttpRequest, ref: str) -> HttpResponse:
    """Exactly what is signed; then the signature, unless the case has moved."""
    reading = read(canonical(ref))
    if request.method == "GET":
        return _sign_page(request, reading)
    departures: list[Departing] = []
    try:
        position = position_of(request)
        departures = read_departures(request.POST, reading, get_protocol())
        actions.sign_plan(
            get_store(),
            reading.case,
            protocol=get_protocol(),
            site=get_site(),
            seen_position=position,
            seen_plan=request.POST.get("seen_plan", ""),
            departures=departures,
            now=reading.plan.now,
            **who(request),
        )
    except Overtaken as overtaken:
        mine = [e for e in overtaken.new_entries if e.by == str(request.user.pk)]
        if len(mine) == len(overtaken.new_entries) and mine[-1].kind is Kind.PLAN_SIGNED:
            return written(request, reading, position)
        now = read(reading.case)
        before = now.plan_at(position, get_protocol(), get_site())
        words = diff(before, now.plan).words(get_protocol().outputs) if before else ()
        return _sign_page(
            request, now, moved=overtaken.new_entries, change=Change.of("What that changed", words)
        )
    except PlanMoved:
        return _sign_page(request, read(reading.case), time_passed=True)
    except ValueError as fault:
        return _sign_page(request, reading, fault=sentence(fault))
    log.event("signed", case=reading.case, account=str(request.user.pk))
    return written(request, reading, position)


def _sign_page(
    request: HttpRequest,
    reading: Reading,
    *,
    moved: tuple[Entry, ...] = (),
    change: Change | None = None,
    time_passed: bool = False,
    fault: str = "",
) -> HttpResponse:
    page = SignPage.of(
        reading,
        protocol=get_protocol(),
        site=get_site(),
        names=names_of(reading.entries),
        typed={name: request.POST.get(name, "") for name in request.POST},
        moved=moved,
        change=change,
        time_passed=time_passed,
        fault=fault,
        link=rule_links(reading.case),
    )
    status = 409 if moved or time_passed else 422 if fault else 200
    return render(request, "desk/sign.html", {"page": page}, status=status)
