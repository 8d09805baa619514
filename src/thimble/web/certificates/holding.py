"""The certificates of a person that hold today and whose paper is kept, for their own page."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.documents.clearance_certificate.data import on
from thimble.people.certificates.checking import Worth
from thimble.people.fold import Person
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.context import today


@dataclass(frozen=True, slots=True)
class Held:
    """One of them, as its holder reads it."""

    number: str
    result: str
    until: str


def holding(person: Person) -> tuple[Held, ...]:
    """Those that hold, the newest first."""
    kept = DjangoPapers().papers(each.number for each in person.certificates)
    return tuple(
        Held(each.number, each.statement.words, on(each.valid_until))
        for each in reversed(person.certificates)
        if each.number in kept and each.worth(today()) is Worth.HOLDS
    )
