"""What a person reads on their own page: what is missing and what comes next, in plain words.

Nothing that only the department knows: no notes, no readings, no judgement of infection or immunity.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, tzinfo

from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site
from thimble.people import choices
from thimble.people.fold import Document, Person
from thimble.people.hepatitis_b import hepatitis_b
from thimble.people.identity import PersonIdentity
from thimble.web.people.words import size, undocumented
from thimble.web.words import moment

_STEPS: Mapping[str, str] = {
    "dose": "The next dose of hepatitis B vaccine",
    "booster": "A further dose of hepatitis B vaccine",
    "challenge_dose": "A further dose of hepatitis B vaccine",
    "second_series": "The next dose of hepatitis B vaccine",
    "titre": "A blood sample about hepatitis B",
}
"""Steps that say no more than what will be done. Every other one is talked over, see `_TALK`."""

_TALK = "Occupational medicine would like to talk with you: please call"


@dataclass(frozen=True, slots=True)
class OwnPage:
    """Everything on the page. `missing` are names of diseases of which nothing came yet."""

    greeting: str
    first_day: str
    missing: tuple[str, ...]
    steps: tuple[str, ...]
    brought: tuple[Brought, ...]


@dataclass(frozen=True, slots=True)
class Brought:
    """A scan that the person brought themself."""

    entry: int
    shows: str
    facts: str
    may_withdraw: bool


def own_page(
    person: Person, identity: PersonIdentity, site: Site, today: date, zone: tzinfo
) -> OwnPage:
    """The page on a day."""
    start = person.employment.starts_on
    return OwnPage(
        greeting=identity.given_name.partition(" ")[0],
        first_day=calendar_day(start) if start is not None and start >= today else "",
        missing=undocumented(person, site.evidence_asked),
        steps=_steps(person, identity, site, today),
        brought=tuple(_brought(each, zone) for each in person.documents if each.brought),
    )


def _brought(scan: Document, zone: tzinfo) -> Brought:
    kind = choices.FILE_TYPES[scan.type]
    state = "looked at" if scan.looked_at else "nobody has looked at it yet"
    when = moment(scan.recorded_at, None, zone)
    shows = choices.DOCUMENTS[scan.shows]
    return Brought(
        entry=scan.entry,
        shows=f"{shows}: {scan.text}" if scan.text else shows,
        facts=f"{kind}, {size(scan.size)}, sent {when}; {state}",
        may_withdraw=scan.looked_at is None,
    )


def _steps(person: Person, identity: PersonIdentity, site: Site, today: date) -> tuple[str, ...]:
    found = hepatitis_b(person, identity.birth_date, today, site.protocol)
    # Where nothing came yet the card comes first: doses may be on it.
    if found is None or found.cleared.next_step == "none" or not person.evidence:
        return ()
    due = found.cleared.next_due
    told = _STEPS.get(found.cleared.next_step, _TALK)
    if due is not None and due > today and told != _TALK:
        told += f", from {calendar_day(due)}"
    return (told,)
