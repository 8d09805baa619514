"""Offers that a law asks for, made by letter: on record once it is known that they reached somebody.

A letter on paper goes out by hand: it is an offer once somebody says that it was posted or handed out. A
mail says nothing of what it is about: it is one once the person has read the offer on their own page.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import QuerySet

from thimble.actions import people as acts
from thimble.clinical.offers import OfferLaw, offer_law
from thimble.documents.letters.starter_letters import offered
from thimble.ledger.store import Overtaken
from thimble.people.entries import THEMSELF
from thimble.people.fold import Invitation, Person
from thimble.people.hepatitis_b_many import hepatitis_b_of
from thimble.people.readiness import readiness
from thimble.people.rechecks import wants_offer, was_offered
from thimble.web.cohort.sending import letters_of
from thimble.web.cohort.standings import asked_of
from thimble.web.context import get_people, get_people_identities, get_site
from thimble.web.models import LetterRun, LetterTo
from thimble.web.people.roster import roster
from thimble.web.rechecks.views import house_of


def law_of(run: LetterRun) -> OfferLaw | None:
    """The law that a run's letters on paper answer once they are handed out; None where there is none."""
    return offer_law(get_site().protocol) if run.about == "offer" and _made(run).exists() else None


def _made(run: LetterRun) -> QuerySet[LetterTo]:
    return letters_of(run).filter(how="paper", state=LetterTo.SENT)


def hand_out(run: LetterRun, on: date, now: datetime, by: str, role: str) -> int:
    """Put on record that a run's letters on paper were posted or handed out on a day, and the offers that
    this made: one for each person to whom one was due. Returns how many.

    Said twice, nothing is written twice; after a stop the rest is.
    """
    law = law_of(run)
    if law is None:
        return 0
    LetterRun.objects.filter(pk=run.pk).update(handed_on=on)
    made = set(_made(run).values_list("person", flat=True))
    due = [
        person
        for person in roster().people(now)
        if person.reference in made
        and any(each.letters == run.pk for each in _letters(person, law))
        and not was_offered(person, law)
    ]
    return sum(
        _record(person.reference, law, "paper", run.pk, on, now, by, role)
        for person in _wanting(due, on)
    )


def offer_to_read(person: Person, born: date | None, on: date) -> str:
    """What the law has told to somebody whom a letter offered its vaccine; "" where nothing is open."""
    law = offer_law(get_site().protocol)
    if law is None or not _letters(person, law) or not _wanting([person], on):
        return ""
    whole = readiness(person, born, on, asked_of(get_site()))
    return law.told if law.disease in offered("offer", whole) else ""


def record_read(person: Person, on: date, now: datetime) -> None:
    """Put on record, once, that the person has read the offer on their own page."""
    law = offer_law(get_site().protocol)
    if law is not None and not was_offered(person, law):
        run = _letters(person, law)[-1].letters
        _record(person.reference, law, "own_page", run, on, now, THEMSELF, THEMSELF)


def _letters(person: Person, law: OfferLaw) -> list[Invitation]:
    """The letters that offered somebody the law's vaccine."""
    return [each for each in person.invitations if law.disease in each.offers]


def _wanting(people: Iterable[Person], on: date) -> list[Person]:
    asked = list(people)
    known = get_people_identities().some_identities(person.reference for person in asked)
    births = {reference: who.birth_date for reference, who in known.items()}
    house = house_of(get_site())
    said = hepatitis_b_of(asked, births, on, house.protocol)
    return [p for p in asked if wants_offer(p, on, house, said.get(p.reference))]


def _record(
    person: str, law: OfferLaw, how: str, run: str, on: date, now: datetime, by: str, role: str
) -> bool:
    # Whoever wrote in the file meanwhile may have recorded an offer: it is read anew.
    for _ in range(3):
        with contextlib.suppress(Overtaken):
            return acts.record_offer(
                get_people(), person, law.disease, how=how, letters=run, on=on, now=now, by=by,
                role=role,
            )  # fmt: skip
    return False
