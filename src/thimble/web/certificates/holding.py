"""The certificates of a person for their own page: neither over nor withdrawn, with their paper kept."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.documents.clearance_certificate.data import on
from thimble.people.certificates.checking import Worth
from thimble.people.fold import Person
from thimble.web.certificates.house import decision_today
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.context import today


@dataclass(frozen=True, slots=True)
class Held:
    """One of them, as its holder reads it. One that does not `hold` today is not handed out."""

    number: str
    result: str
    until: str
    holds: bool


def holding(person: Person) -> tuple[Held, ...]:
    """The newest first."""
    running = [each for each in person.certificates if each.worth(today(), None) is Worth.HOLDS]
    if not running:
        return ()
    decision = decision_today(person.reference)
    kept = DjangoPapers().papers(each.number for each in running)
    return tuple(
        Held(
            each.number,
            each.statement.words,
            on(each.valid_until),
            each.worth(today(), decision) is Worth.HOLDS,
        )
        for each in reversed(running)
        if each.number in kept
    )
