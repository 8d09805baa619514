"""Sessions: listed, made, called off; a nurse books for a person."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from thimble.actions import Refused
from thimble.actions import clinic as acts
from thimble.actions import people as people_acts
from thimble.clinical.saying import calendar_day
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.sessions import PURPOSES, Session
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.clinic.choosing import closed, mine, offers, read_choice, session_when
from thimble.web.clinic.forms import SessionForm
from thimble.web.clinic.store import get_clinic
from thimble.web.context import get_people, get_people_identities, get_site, looked, zone
from thimble.web.digits import whole

BEHIND = timedelta(weeks=4)
"""How long sessions stay on the list."""


@dataclass(frozen=True, slots=True)
class Row:
    """A session in a line."""

    id: int
    when: str
    what: str
    place: str
    booked: str
    note: str


def wall() -> datetime:
    """Now, by the clock on the wall of the site."""
    return clock.now().astimezone(zone())


@never_cache
@needs("view_people", "edit_people")
@require_GET
def sessions(request: HttpRequest) -> HttpResponse:
    """The sessions ahead, and those of the last weeks, without a name."""
    today = wall().date()
    found = get_clinic().between(today - BEHIND)
    booked = Counter(b.session.id for b in get_clinic().of_sessions([s.id for s in found]))
    rows = [(s.day >= today, _row(s, booked[s.id])) for s in found]
    context = {
        "ahead": [row for ahead, row in rows if ahead],
        "behind": [row for ahead, row in reversed(rows) if not ahead],
    }
    return render(request, "clinic/sessions.html", context)


def _row(session: Session, booked: int) -> Row:
    places = session.capacity * len(session.times)
    why = closed(session.day)
    note = "Called off" if session.called_off else f"Closed that day: {why}" if why else ""
    full = ", full" if booked >= places else ""
    return Row(
        id=session.id,
        when=session_when(session),
        what=PURPOSES[session.purpose],
        place=session.place,
        booked=f"{booked} of {places}{full}",
        note=note,
    )


@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Make a session, once or each week."""
    now = wall()
    stocked = get_site().stocked
    shelves = stocked.places if any(product.cvx for product in stocked.products) else ()
    form = SessionForm(
        request.POST or None,
        initial={
            "now": now,
            "day": now.date(),
            "capacity": 1,
            "stock_place": get_clinic().last_stock_place(),
        },
        shelves=shelves,
    )
    if request.method == "POST" and form.is_valid():
        try:
            made, left_out = acts.make_sessions(
                get_clinic(), form.session(), until=form.cleaned_data["until"], closed=closed,
                today=now.date(), now=clock.now(), by=account_of(request).pk,
            )  # fmt: skip
        except Refused as refused:
            for fault in refused.faults:
                form.add_error(None, fault)
        else:
            log.event("clinic_sessions_made", account=account_of(request).pk, count=len(made))
            said = f"{len(made)} {'session' if len(made) == 1 else 'sessions'} made."
            for day, why in left_out:
                said += f" Left out {calendar_day(day)}: {why}."
            messages.success(request, said)
            return redirect("clinic:sessions")
    context = {"form": form}
    return render(request, "clinic/new.html", context, status=422 if form.errors else 200)


@needs("view_people", "edit_people")
@require_POST
def call_off(request: HttpRequest, session: int) -> HttpResponse:
    """A session will not be held. Whoever is booked reads it on their own page."""
    find_session(session)
    try:
        told = acts.call_off(get_clinic(), session, by=account_of(request).pk, now=clock.now())
    except Refused as refused:
        messages.error(request, " ".join(refused.faults))
    else:
        log.event("clinic_session_called_off", account=account_of(request).pk, count=len(told))
        messages.success(
            request,
            f"Called off. {len(told)} {'person is' if len(told) == 1 else 'people are'} booked: tell "
            "them; Thimble sends nothing.",
        )
    return redirect("clinic:session", session)


@never_cache
@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def book(request: HttpRequest, person: str) -> HttpResponse:
    """Book a person, or move a booking of theirs."""
    found, identity = _person(request, person)
    instead = whole(request.POST.get("instead", request.GET.get("instead", "")))
    fault = ""
    if request.method == "POST":
        choice = read_choice(request.POST.get("time", ""))
        try:
            if choice is None:
                raise Refused("Choose a time.")
            acts.book(
                get_clinic(), get_people(), choice[0], found.reference, choice[1], instead=instead,
                closed=closed, zone=zone(), now=clock.now(), by=account_of(request).pk,
            )  # fmt: skip
        except Refused as refused:
            fault = " ".join(refused.faults)
        else:
            log.event("clinic_booked", case=found.reference, account=account_of(request).pk)
            messages.success(request, "Moved." if instead else "Booked.")
            return redirect("clinic:book", found.reference)
    context = {
        "reference": found.reference,
        "name": identity.name,
        "mine": mine(get_clinic().of_person(found.reference), wall()),
        "offers": offers(
            get_clinic(), found.reference, last_day=found.employment.ends_on, wall=wall(),
            instead=instead,
        ),
        "instead": instead,
        "chosen": request.POST.get("time", ""),
        "fault": fault,
    }  # fmt: skip
    return render(request, "clinic/book.html", context, status=422 if fault else 200)


@needs("view_people", "edit_people")
@require_POST
def cancel(request: HttpRequest, person: str, booking: int) -> HttpResponse:
    """Give a person's booking back."""
    found, _ = _person(request, person)
    try:
        acts.cancel(
            get_clinic(), found.reference, booking, zone=zone(), now=clock.now(),
            by=account_of(request).pk,
        )  # fmt: skip
    except Refused as refused:
        messages.error(request, " ".join(refused.faults))
    else:
        log.event("clinic_cancelled", case=found.reference, account=account_of(request).pk)
        messages.success(request, "Cancelled. The place is free again.")
    return redirect("clinic:book", found.reference)


def find_session(id_: int) -> Session:
    """A session.

    Raises:
        Http404: there is none.
    """
    found = get_clinic().session(id_)
    if found is None:
        raise Http404("there is no such session")
    return found


def _person(request: HttpRequest, person: str) -> tuple[Person, PersonIdentity]:
    try:
        found = people_acts.person_of(get_people(), person, clock.now())
    except people_acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    looked(request, [found.reference], whose="worker", where="clinic")
    return found, get_people_identities().identity(found.reference) or PersonIdentity()
