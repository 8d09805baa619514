"""What the bookings of the coming sessions ask of the shelves that those sessions take vaccines from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta

from thimble.clinical.readiness import DiseaseState, Need
from thimble.clinical.site import Site
from thimble.clinical.stocked import Stocked
from thimble.ledger.stock.wanted import Wanted
from thimble.people.products import products
from thimble.people.readiness.cohorts import Member
from thimble.people.sessions import VACCINATING, Booked
from thimble.web.clinic.store import get_clinic
from thimble.web.cohort.standings import standings
from thimble.web.context import get_people_identities
from thimble.web.people.roster import roster

AHEAD = timedelta(weeks=12)
"""How far ahead bookings are asked: as far as times are offered."""


def wanted(site: Site, now: datetime) -> list[Wanted]:
    """One unit for each dose that somebody who is booked lacks on the day of the session.

    Who came already took what they took. What nobody keeps on the session's shelf is not asked of it. A
    dose whose product is chosen by a test first is not known yet, and is not counted.
    """
    today = now.astimezone(site.zone).date()
    vaccinating = [
        session.id
        for session in get_clinic().between(today, today + AHEAD)
        if session.stock_place and session.purpose in VACCINATING and not session.called_off
    ]
    if not vaccinating:
        return []
    bookings = [b for b in get_clinic().of_sessions(vaccinating) if not b.came]
    booked = {b.person for b in bookings}
    people = [p for p in roster().people(now) if p.reference in booked]
    identities = get_people_identities().some_identities(booked)
    members = standings().of(people, identities, today, site)
    return of_bookings(bookings, {m.reference: m for m in members}, site.stocked)


def of_bookings(
    bookings: Sequence[Booked], members: Mapping[str, Member], stocked: Stocked
) -> list[Wanted]:
    """The units that these bookings ask for; a dose that one booking takes, the next does not."""
    found: list[Wanted] = []
    taken: dict[tuple[str, str], int] = {}
    for one in sorted(bookings, key=lambda b: (b.session.day, b.at)):
        member = members.get(one.person)
        if member is None:
            continue
        due = set()
        for state in member.readiness.states:
            number = taken.get((one.person, state.disease), 0)
            if _dose_due(state, number, one.session.day):
                due.add(state.disease)
        for needed, against in _units(due, stocked):
            found.append(Wanted(one.session.day, one.session.stock_place, needed))
            for disease in against:
                taken[one.person, disease] = taken.get((one.person, disease), 0) + 1
    return found


def _dose_due(state: DiseaseState, number: int, day: date) -> bool:
    """Whether the dose after `number` others is the next thing by a day."""
    for lack in state.lacks:
        if lack.need is not Need.DOSE:
            return False
        if number == 0:
            return lack.recommended is not None and lack.recommended <= day
        number -= 1
    return False


def _units(due: set[str], stocked: Stocked) -> Iterator[tuple[tuple[str, ...], set[str]]]:
    """The units that are against these diseases, a combined vaccine before several single ones: each with
    the products that would do, in the order of the settings, and what it is against."""
    known = products()
    against: dict[str, set[str]] = {}
    for product in stocked.products:
        vaccines = [known[code] for code in product.cvx if code in known]
        if vaccines and all(vaccine.kind == "vaccine" for vaccine in vaccines):
            against[product.id] = {d for vaccine in vaccines for d in vaccine.diseases}
    left = set(due)
    while left:
        most = max((len(left & diseases) for diseases in against.values()), default=0)
        if not most:
            return
        first = next(id_ for id_, diseases in against.items() if len(left & diseases) == most)
        covered = left & against[first]
        yield tuple(id_ for id_, diseases in against.items() if covered <= diseases), covered
        left -= covered
