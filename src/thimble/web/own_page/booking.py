"""A person books, moves or gives back a time by themself, and takes it into their own calendar."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from thimble.actions import Refused
from thimble.actions import clinic as acts
from thimble.clinical.durations import on_the_wall
from thimble.exchange.calendars import AtAnHour, Words, one_at_an_hour
from thimble.people.entries import THEMSELF
from thimble.web import clock, log
from thimble.web.clinic.choosing import booked_when, closed, offers, read_choice
from thimble.web.clinic.store import get_clinic
from thimble.web.context import get_people, get_site, zone
from thimble.web.digits import whole
from thimble.web.own_page.views import proved, too_often
from thimble.web.own_page.visitor import Visitor

CHANGES_PER_WINDOW = 60
"""Bookings and cancellations from one address: a ward books from one."""


@proved
@require_http_methods(["GET", "POST"])
def book(request: HttpRequest, here: Visitor) -> HttpResponse:
    """Choose a time; with `instead` in place of one that is booked."""
    person, fault = here.person.reference, ""
    instead = whole(request.POST.get("instead", request.GET.get("instead", "")))
    if request.method == "POST":
        if refusal := too_often(request, "own_page_booked", CHANGES_PER_WINDOW):
            return refusal
        choice = read_choice(request.POST.get("time", ""))
        try:
            if choice is None:
                raise Refused("Choose a time.")
            acts.book(
                get_clinic(), get_people(), choice[0], person, choice[1], instead=instead,
                closed=closed, zone=zone(), now=clock.now(), by=THEMSELF,
            )  # fmt: skip
        except Refused as refused:
            fault = " ".join(refused.faults)
        else:
            log.event("own_page_booked", case=person)
            messages.success(request, "Moved." if instead else "Booked.")
            return redirect("own_page:own")
    wall = clock.now().astimezone(zone())
    last_day = here.person.employment.ends_on
    moved = next((b for b in get_clinic().of_person(person) if b.id == instead), None)
    context: dict[str, Any] = {
        "site": get_site(),
        "offers": offers(get_clinic(), person, last_day=last_day, wall=wall, instead=instead),
        "instead": instead,
        "moved": booked_when(moved) if moved else "",
        "chosen": request.POST.get("time", ""),
        "fault": fault,
    }
    return render(request, "own_page/book.html", context, status=422 if fault else 200)


@proved
@require_POST
def cancel(request: HttpRequest, here: Visitor, booking: int) -> HttpResponse:
    """Give a booking back."""
    if refusal := too_often(request, "own_page_booked", CHANGES_PER_WINDOW):
        return refusal
    person = here.person.reference
    try:
        acts.cancel(get_clinic(), person, booking, zone=zone(), now=clock.now(), by=THEMSELF)
    except Refused as refused:
        messages.error(request, " ".join(refused.faults))
    else:
        log.event("own_page_cancelled", case=person)
        messages.success(request, "Cancelled. Somebody else can have the time.")
    return redirect("own_page:own")


@proved
@require_GET
def calendar_file(_request: HttpRequest, here: Visitor, booking: int) -> HttpResponse:
    """A booking as a calendar file, which tells a time and a place and nothing of what it is for."""
    found = next(
        (b for b in get_clinic().of_person(here.person.reference) if b.id == booking), None
    )
    if found is None:
        raise Http404("there is no such booking")
    site = get_site()
    day = found.session.day
    body = one_at_an_hour(
        AtAnHour(
            uid=f"{found.uid}@thimble",
            sequence=found.sequence,
            begins=on_the_wall(day, found.at, site.zone),
            ends=on_the_wall(day, found.until, site.zone),
            made_at=found.made_at,
        ),
        Words(
            name="Appointment",
            summary=site.messages.appointment,
            # As the site lets calendars say it: where a session is held may tell what it is for.
            place=site.messages.place,
            advice=f"If you cannot come, please call {site.occupational_medicine.phone}.",
        ),
    )
    answer = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="appointment.ics"'
    return answer
