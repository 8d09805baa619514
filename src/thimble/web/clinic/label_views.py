"""Labels for a session: the numbers of its samples, or the codes of its people."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from thimble.clinical.labels import Labels
from thimble.documents.labels.data import Label, initials, label_sheets
from thimble.documents.render import Template, render
from thimble.people.identity import PersonIdentity
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.clinic.labels import number_for
from thimble.web.clinic.store import get_clinic
from thimble.web.clinic.views import find_session
from thimble.web.context import get_people_identities, get_site, looked
from thimble.web.papers.views import pdf
from thimble.web.people.words import born as born_words

KINDS = ("samples", "people")
MOST_COPIES = 6


@never_cache
@needs("view_people", "edit_people")
@require_POST
def labels(request: HttpRequest, session: int) -> HttpResponse:
    """A sheet of labels for everybody who is booked. A sample keeps its number when it is printed again."""
    found, site = find_session(session), get_site()
    bookings = get_clinic().of_session(session)
    kind = request.POST.get("kind", "")
    copies, first = (_whole(request.POST.get(name, "")) for name in ("copies", "first"))
    fault = ""
    if not bookings:
        fault = "Nobody is booked: there is nothing to print."
    elif kind not in KINDS or not 1 <= copies <= MOST_COPIES:
        fault = f"Choose what is printed, and 1 to {MOST_COPIES} for each person."
    elif not 1 <= first <= site.labels.on_a_sheet:
        fault = f"The first free label is 1 to {site.labels.on_a_sheet}."
    if fault:
        messages.error(request, fault)
        return redirect("clinic:session", session)
    people = [b.person for b in bookings]
    looked(request, people, whose="worker", where="labels")
    identities = get_people_identities().some_identities(people)
    now, by = clock.now(), account_of(request).pk
    printed = []
    for person in people:
        who = identities.get(person, PersonIdentity())
        code = number_for(person, session, by=by, now=now) if kind == "samples" else person
        note = f"{person} · {born_words(found.day)}" if kind == "samples" else site.short_name
        printed += [Label(code, _named(who, site.labels), who.birth_date, note)] * copies
    data = label_sheets(printed, site.labels, first=first, invented=site.invented)
    log.event("clinic_labels_printed", account=by, count=len(printed))
    return pdf(request, render(Template.LABELS, data, at=now), "labels", saved=True)


def _named(who: PersonIdentity, settings: Labels) -> str:
    if settings.name == "none":
        return ""
    return who.name if settings.name == "full" else initials(who.given_name, who.family_name)


def _whole(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 5 else 0
