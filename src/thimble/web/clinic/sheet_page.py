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
from thimble.clinical.readiness import Readiness
from thimble.people.fold import Person
from thimble.people.giving import Against, against, dose_number
from thimble.people.identity import PersonIdentity
from thimble.people.products import Product, find_product
from thimble.people.sessions import PURPOSES, Booked, Session
from thimble.web import clock
from thimble.web.access import can
from thimble.web.clinic import inhand
from thimble.web.clinic.choosing import closed, session_when
from thimble.web.clinic.sheet import Line, in_order, line
from thimble.web.clinic.store import get_clinic
from thimble.web.clinic.views import wall
from thimble.web.cohort.standings import standings
from thimble.web.context import get_people, get_people_identities, get_site, looked
from thimble.web.people.card import suggestions
from thimble.web.people.roster import roster
from thimble.web.stock.words import place_name


@dataclass(frozen=True, slots=True)
class Opened:
    """Who is open: their line, which dose comes, and what speaks against it."""

    line: Line
    number: str
    against: tuple[Against, ...]
    physician: bool


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
    people = [b.person for b in bookings]
    # First: whoever is none is refused before anything is put on record.
    held = inhand.in_hand(request, found.id)
    open_now = _opened(request, found.id, opened, held, against)
    looked(request, people, whose="worker", where="clinic")
    identities = get_people_identities().some_identities(people)
    lines = _lines(bookings, identities, opened, today)
    by = "name" if request.GET.get("by") == "name" else "time"
    context: dict[str, Any] = {
        "session": found,
        "what": PURPOSES[found.purpose],
        "shelf": place_name(found.stock_place, get_site().stocked) if found.stock_place else "",
        "when": session_when(found),
        "closed": closed(found.day),
        "today": found.day == today,
        "lines": in_order(lines, by, identities),
        "came": sum(each.came == "Came" for each in lines),
        "by": by,
        "in_hand": held,
        "opened": open_now,
        "fault": fault,
        "stopped": bool(against),
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


def _lines(
    bookings: Sequence[Booked], identities: dict[str, PersonIdentity], opened: str, today: date
) -> list[Line]:
    """Everybody who is booked and on file, from what is kept in memory of the register."""
    wanted = {b.person for b in bookings}
    here = {p.reference: p for p in roster().people(clock.now()) if p.reference in wanted}
    stand = _standing([*here.values()], identities, today)
    return [
        line(
            here[b.person],
            identities.get(b.person),
            b,
            stand[b.person],
            today=today,
            opened=b.person == opened,
        )
        for b in bookings
        if b.person in here
    ]


def _standing(
    people: Sequence[Person], identities: Mapping[str, PersonIdentity], today: date
) -> dict[str, Readiness]:
    members = standings().of(people, identities, today, get_site())
    return {member.reference: member.readiness for member in members}


def _opened(
    request: HttpRequest,
    session: int,
    reference: str,
    held: inhand.InHand | None,
    found: tuple[Against, ...],
) -> Opened | None:
    if not reference:
        return None
    person, identity = person_here(request, reference)
    today, site = wall().date(), get_site()
    typed = request.POST.get("product", "").strip()
    product = product_named(typed) if typed else held.product if held else None
    number = ""
    if product is not None:
        number = dose_number(person, identity.birth_date, product, today, site.protocol)
        found = found or against(person, identity.birth_date, product, today, site.protocol)
    booked = next((b for b in get_clinic().of_session(session) if b.person == reference), None)
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
        can(request, "depart"),
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


def product_named(typed: str) -> Product | None:
    """The one product that a code or a name is of; None where it is none or several."""
    found = find_product(typed)
    return found[0] if len(found) == 1 else None
