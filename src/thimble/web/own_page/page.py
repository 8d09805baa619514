"""What a person reads on their own page: what is missing and what comes next, in plain words.

Nothing that only the department knows: no notes, no readings, no judgement of infection or immunity.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, tzinfo

from thimble.clinical.readiness import Need
from thimble.clinical.saying import calendar_day, inside
from thimble.clinical.site import Site
from thimble.ledger.fitness import FitnessDecision
from thimble.people import choices
from thimble.people.fold import Document, Person
from thimble.people.identity import PersonIdentity
from thimble.people.products import products
from thimble.people.readiness import Asked, readiness
from thimble.web.cohort.standings import asked_of
from thimble.web.people.words import size, undocumented
from thimble.web.words import moment

_TEST = "A test or blood sample at occupational medicine"
_FITNESS = (
    "What holds for your work occupational medicine tells you itself; nothing on this page changes it. "
    "Please call if you do not know it."
)
"""The same words whatever was decided: a page on a phone is read over shoulders."""
_TALK = "Occupational medicine would like to talk with you: please call"


@dataclass(frozen=True, slots=True)
class OwnPage:
    """Everything on the page. `missing` are names of diseases of which nothing came yet."""

    greeting: str
    first_day: str
    missing: tuple[str, ...]
    steps: tuple[str, ...]
    fitness: str
    brought: tuple[Brought, ...]


@dataclass(frozen=True, slots=True)
class Brought:
    """A scan that the person brought themself."""

    entry: int
    shows: str
    facts: str
    may_withdraw: bool


def own_page(
    person: Person,
    identity: PersonIdentity,
    site: Site,
    today: date,
    zone: tzinfo,
    decision: FitnessDecision | None = None,
) -> OwnPage:
    """The page on a day; `decision` is the one about their fitness that is in force."""
    start = person.employment.starts_on
    return OwnPage(
        greeting=identity.given_name.partition(" ")[0],
        first_day=calendar_day(start) if start is not None and start >= today else "",
        missing=undocumented(person, site.evidence_asked),
        steps=_steps(person, identity, asked_of(site), today, decision),
        fitness=_FITNESS if decision is not None and _speaks(decision, today) else "",
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


def _speaks(decision: FitnessDecision, today: date) -> bool:
    """Whether having brought everything is not yet a yes."""
    return decision.outcome != "fit" or decision.due(today)


def _steps(
    person: Person,
    identity: PersonIdentity,
    asked: Asked,
    today: date,
    decision: FitnessDecision | None,
) -> tuple[str, ...]:
    """The next dose of each vaccine, a test, a talk: no more than what will be done."""
    # Where nothing came yet the card comes first: doses may be on it.
    if not person.evidence:
        return ()
    told: dict[str, str] = {}
    for lack in readiness(person, identity.birth_date, today, asked, decision).lacks:
        if lack.need is Need.DOSE:
            day = lack.recommended
            later = f", from {calendar_day(day)}" if day is not None and day > today else ""
            told.setdefault(lack.item, f"A dose of {_vaccine(lack.item)}{later}")
        elif lack.told:
            told.setdefault(lack.told, lack.told)
        elif lack.need is Need.TEST:
            told.setdefault(_TEST, _TEST)
        elif lack.need is Need.PHYSICIAN:
            told.setdefault(_TALK, _TALK)
    return tuple(told.values())


def _vaccine(item: str) -> str:
    """A vaccine inside a sentence: the name of a product, such as Tdap, as its table has it."""
    named = {product.name for product in products().values()}
    return item if item in named else inside(item)
