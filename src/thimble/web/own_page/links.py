"""The links to a person's own page: one made in place of all others, or all revoked, by hand."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from thimble.actions import people as acts
from thimble.clinical.saying import calendar_day
from thimble.people.fold import Person
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.context import get_people, get_people_identities, get_site, looked, zone
from thimble.web.models import PersonLink
from thimble.web.own_page.visitor import STANDS_FOR, STOPPED, whose
from thimble.web.qr import qr
from thimble.web.secret_links import end_link, make_link


@never_cache
@needs("view_people", "edit_people")
@require_POST
def make(request: HttpRequest, person: str) -> HttpResponse:
    """A new secret address, shown this once; every one before it stops."""
    found = _person(person)
    now = clock.now()
    looked(request, [found.reference], whose="worker", where="own page link")
    identity = get_people_identities().identity(found.reference)
    fault = ""
    if identity is None or identity.birth_date is None:
        fault = (
            "Not made: enter the birth date first. The page asks for it before it shows anything."
        )
    elif not found.employment.here_on(now.astimezone(zone()).date()):
        fault = "Not made: this person has left. If they come back, write that down first."
    if fault or identity is None:
        messages.error(request, fault)
        return redirect("people:person", found.reference)
    by, until = account_of(request).pk, now + STANDS_FOR
    secret = make_link(PersonLink, found.reference, by=by, now=now, until=until)
    log.event("own_page_link_made", case=found.reference, account=by)
    address = get_site().base_url + reverse("own_page:open", args=[secret])
    context = {
        "reference": found.reference,
        "name": identity.name,
        "address": address,
        "qr": qr(address),
        "until": _day(until),
    }
    return render(request, "own_page/link.html", context)


@never_cache
@needs("view_people", "edit_people")
@require_POST
def end(request: HttpRequest, person: str) -> HttpResponse:
    """The address opens nothing any more, nor does a page that it opened."""
    found = _person(person)
    by = account_of(request).pk
    if end_link(PersonLink, found.reference, by=by, now=clock.now()):
        log.event("own_page_link_ended", case=found.reference, account=by)
        messages.success(request, "Revoked. Nobody opens the page with that address any more.")
    return redirect("people:person", found.reference)


def state_of_link(person: str) -> tuple[bool, str]:
    """Whether a link stands, and what there is to say about it."""
    links = list(PersonLink.objects.filter(case=person))
    if not links:
        return False, "No address was made yet."
    now = clock.now()
    # What ends one for the person's own sake ends all.
    standing = [link for link in links if link.ended_at is None and now < link.until]
    standing = [link for link in standing if whose(link, now) is not None]
    if standing:
        made, until = _day(standing[0].made_at), _day(max(link.until for link in standing))
        if len(standing) == 1:
            told = f"One of {made} is in use; it opens until {until}."
        else:
            told = f"{len(standing)} are in use, the last of {made}; one opens until {until}."
        if wrong := sum(link.wrong for link in standing):
            told += f" {wrong} wrong {'birth date' if wrong == 1 else 'birth dates'}."
        return True, told
    if links[0].ended_by == STOPPED:
        return False, "The last one stopped after too many wrong birth dates."
    return False, "None is in use."


def _person(person: str) -> Person:
    try:
        return acts.person_of(get_people(), person, clock.now())
    except acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing


def _day(at: datetime) -> str:
    return calendar_day(at.astimezone(zone()).date())
