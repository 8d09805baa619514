"""Calendars out of the house: to the worker's own device, with nothing on them but days and a place."""

from __future__ import annotations

import hashlib

from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST, require_safe

from thimble.clinical.site import Site
from thimble.exchange.calendars import Words, calendar
from thimble.ledger.follow_up.appointments import appointments
from thimble.web import clock, log
from thimble.web.access import needs, public
from thimble.web.context import get_site, get_store
from thimble.web.desk.handling import canonical, read
from thimble.web.limits import over_limit
from thimble.web.models import CalendarLink
from thimble.web.on_record.finding import cases_of_person
from thimble.web.qr import qr
from thimble.web.secret_links import end_link, link_of, make_link

FETCHES_PER_WINDOW = 120
"""From one address; services that fetch for many people share some."""

FETCH_WINDOW_SECONDS = 600

_TYPE = "text/calendar; charset=utf-8"


@public
@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponseBase:
    """The calendar that this secret opens, or 304 where nothing changed since it was last fetched.

    404 for any other secret, one revoked included; 429 where an address asks too often.
    """
    if over_limit(request, event="calendar", most=FETCHES_PER_WINDOW, seconds=FETCH_WINDOW_SECONDS):
        log.event("calendar_limited")
        return HttpResponse(
            "Asked too often; ask again later.\n",
            status=429,
            content_type="text/plain; charset=utf-8",
            headers={"Retry-After": str(FETCH_WINDOW_SECONDS)},
        )
    link = link_of(CalendarLink, secret)
    if link is None:
        # A plain page: the address holds what may be a secret, and no page is to repeat it.
        return HttpResponse(
            "There is no such calendar.\n",
            status=404,
            content_type="text/plain; charset=utf-8",
        )
    body = _calendar(link.case, get_site())
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    response = get_conditional_response(request, etag=tag) or HttpResponse(body)
    response["ETag"] = tag
    # Kept by whoever fetched it, asked about each time.
    response["Cache-Control"] = "private, no-cache"
    if response.status_code == 200:
        response["Content-Type"] = _TYPE
    return response


@never_cache
@needs("view_case")
@require_GET
def download(request: HttpRequest, ref: str) -> HttpResponse:
    """The same calendar as a file, to hand over once. 404 where no date was ever agreed."""
    case = read(canonical(ref)).case
    if not appointments(get_store().entries(case), get_site().zone):
        raise Http404("no visit was agreed")
    log.event("calendar_downloaded", case=case, account=str(request.user.pk))
    response = HttpResponse(_calendar(case, get_site()), content_type=_TYPE)
    # The worker's device keeps the name: it says nothing, not even the case.
    response["Content-Disposition"] = 'attachment; filename="appointments.ics"'
    return response


@never_cache
@needs("view_case", "record_facts")
@require_POST
def make(request: HttpRequest, ref: str) -> HttpResponse:
    """A new secret address for all cases of the worker, shown this once; any before it stops."""
    case = read(canonical(ref)).case
    by, now = str(request.user.pk), clock.now()
    with transaction.atomic():
        # One address for all that the worker comes for: any other of theirs stops.
        for each in cases_of_person(case):
            end_link(CalendarLink, each, by=by, now=now)
        secret = make_link(CalendarLink, case, by=by, now=now)
    log.event("calendar_link_made", case=case, account=str(request.user.pk))
    address = get_site().base_url + reverse("calendars:feed", args=[secret])
    context = {"case": case, "address": address, "qr": qr(address)}
    return render(request, "calendars/link.html", context)


@never_cache
@needs("view_case", "record_facts")
@require_POST
def end(request: HttpRequest, ref: str) -> HttpResponse:
    """The secret address opens nothing any more."""
    case = read(canonical(ref)).case
    by, now = str(request.user.pk), clock.now()
    if sum(end_link(CalendarLink, each, by=by, now=now) for each in cases_of_person(case)):
        log.event("calendar_link_ended", case=case, account=str(request.user.pk))
    return HttpResponseRedirect(reverse("visits:visits", args=[case]))


def _calendar(case: str, site: Site) -> bytes:
    """The appointments of the worker of a case, of all their cases."""
    words = Words(
        name="Appointments",
        summary=site.messages.appointment,
        place=site.messages.place,
        advice=f"If you cannot come, please call {site.occupational_medicine.phone}.",
    )
    # What a closed case had is told as well: a calendar hears only so that a date has fallen away.
    told = [
        each
        for one in cases_of_person(case)
        for each in appointments(get_store().entries(one), site.zone)
    ]
    return calendar(told, words, site.zone)
