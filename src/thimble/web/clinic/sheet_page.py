"""The page of a session as it is worked through, and whoever is open on it."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from thimble.actions import people as people_acts
from thimble.clinical.immunity.rules import Live
from thimble.clinical.readiness import Readiness
from thimble.people.fold import Person
from thimble.people.giving import Against, against, asked_first, dose_number
from thimble.people.identity import PersonIdentity
from thimble.people.sessions import PURPOSES, Booked, Session
from thimble.web import clock
from thimble.web.access import can
from thimble.web.clinic import inhand
from thimble.web.clinic.choosing import closed, session_when
from thimble.web.clinic.sheet import Line, in_order, line, was_here
from thimble.web.clinic.store import get_clinic
from thimble.web.clinic.to_give import lot_to_confirm, to_give
from thimble.web.clinic.views import wall
from thimble.web.cohort.standings import standings
from thimble.web.context import get_people, get_people_identities, get_site, looked
from thimble.web.people.card import suggestions
from thimble.web.people.roster import roster
from thimble.web.stock.words import place_name


@dataclass(frozen=True, slots=True)
class Opened:
    """Who is open: their line, which dose comes, and what speaks against it.

    `may` says whether whoever looks may give it all the same, `ask` what is asked first, and `off_shelf`
    that the lot does not lie on the shelf.
    """

    line: Line
    number: str
    against: tuple[Against, ...]
    may: bool
    ask: Live | None
    asked: str
    lot: str
    off_shelf: str

    @property
    def focus(self) -> str:
        """What has to be answered before the dose is written down; "" for nothing."""
        if self.ask is not None and not self.asked:
            return "asked"
        if self.off_shelf:
            return "lot_given"
        return "reason" if self.against and self.may else ""


def show(
    request: HttpRequest,
    found: Session,
    opened: str,
    *,
    fault: str = "",
    against: tuple[Against, ...] = (),
) -> HttpResponse:
    """The page; with a fault, or with what speaks against a dose, and what was typed."""
    today, bookings = wall().date(), get_clinic().of_session(found.id)
    here = roster().people(clock.now())
    booked = {b.person for b in bookings}
    walked_in = [p for p in here if p.reference not in booked and was_here(p, found.id)]
    people = [*booked, *(p.reference for p in walked_in)]
    # First: whoever is none is refused before anything is put on record.
    held = inhand.in_hand(request, found.id)
    open_now = _opened(request, found, opened, against)
    looked(request, people, whose="worker", where="clinic")
    identities = get_people_identities().some_identities(people)
    lines = _lines(here, bookings, identities, opened, today)
    not_booked = _lines_of([(p, None) for p in walked_in], identities, opened, today)
    by = "name" if request.GET.get("by") == "name" else "time"
    context: dict[str, Any] = {
        "session": found,
        "what": PURPOSES[found.purpose],
        "shelf": place_name(found.stock_place, get_site().stocked) if found.stock_place else "",
        "when": session_when(found),
        "closed": closed(found.day),
        "today": found.day == today,
        "lines": in_order(lines, by, identities),
        "not_booked": in_order(not_booked, "name", identities),
        "came": sum(each.came == "Came" for each in lines),
        "by": by,
        "in_hand": held,
        "opened": open_now,
        "fault": fault,
        "focus": open_now.focus if open_now and _pressed(request) else "",
        "typed": {
            name: request.POST.get(name, "") for name in ("product", "lot", "reason", "sample")
        },
        "products": suggestions(),
        "labels_on_a_sheet": get_site().labels.on_a_sheet,
        "shown": int(time.time() * 1000),
        "sample_first": found.purpose == "sample",
    }
    status = 422 if fault or against else 200
    return render(request, "clinic/sheet.html", context, status=status)


def _pressed(request: HttpRequest) -> bool:
    """Whether a dose was to be written down, with the button or with Enter in an empty box."""
    do = request.POST.get("do", "scan")
    return request.method == "POST" and (
        do == "dose" or (do == "scan" and not request.POST.get("scan", "").strip())
    )


def _lines(
    people: Sequence[Person],
    bookings: Sequence[Booked],
    identities: dict[str, PersonIdentity],
    opened: str,
    today: date,
) -> list[Line]:
    """Everybody who is booked and on file, from what is kept in memory of the register."""
    wanted = {b.person for b in bookings}
    here = {p.reference: p for p in people if p.reference in wanted}
    booked = [(here[b.person], b) for b in bookings if b.person in here]
    return _lines_of(booked, identities, opened, today)


def _lines_of(
    people: Sequence[tuple[Person, Booked | None]],
    identities: dict[str, PersonIdentity],
    opened: str,
    today: date,
) -> list[Line]:
    stand = _standing([person for person, _ in people], identities, today)
    return [
        line(
            person,
            identities.get(person.reference),
            booked,
            stand[person.reference],
            today=today,
            opened=person.reference == opened,
        )
        for person, booked in people
    ]


def _standing(
    people: Sequence[Person], identities: Mapping[str, PersonIdentity], today: date
) -> dict[str, Readiness]:
    members = standings().of(people, identities, today, get_site())
    return {member.reference: member.readiness for member in members}


def _opened(
    request: HttpRequest,
    session: Session,
    reference: str,
    found: tuple[Against, ...],
) -> Opened | None:
    if not reference:
        return None
    person, identity = person_here(request, reference)
    today, site = wall().date(), get_site()
    given = to_give(request, session.id)
    product = given.product
    number, ask = "", None
    if product is not None:
        number = dose_number(person, identity.birth_date, product, today, site.protocol)
        ask = asked_first(product, site.protocol)
        found = found or against(
            person, identity.birth_date, product, today, site.protocol, asked=given.asked
        )
    booked = next((b for b in get_clinic().of_session(session.id) if b.person == reference), None)
    return Opened(
        line(
            person,
            identity,
            booked,
            _standing([person], {reference: identity}, today)[reference],
            today=today,
            opened=True,
        ),
        number,
        found,
        may_decide(request, found),
        ask,
        given.asked,
        given.lot,
        lot_to_confirm(request, session, given, today),
    )


def person_here(request: HttpRequest, reference: str) -> tuple[Person, PersonIdentity]:
    """Somebody on file, put on record as looked at.

    Raises:
        Http404: there is no such file.
    """
    try:
        found = people_acts.person_of(get_people(), reference, clock.now())
    except people_acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    looked(request, [reference], whose="worker", where="clinic")
    return found, get_people_identities().identity(reference) or PersonIdentity()


def may_decide(request: HttpRequest, found: Sequence[Against]) -> bool:
    """Whether whoever is signed in may give a dose although these speak against it."""
    return can(request, "depart") or not any(each.physician for each in found)
