"""The register: who is in it, found and filtered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from thimble.clinical.saying import calendar_day
from thimble.people import choices
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.names import list_key, name_key, number_key
from thimble.web.people.words import born, undocumented

PAGE = 50
"""People on a page."""
SOON = timedelta(days=60)
JUST = timedelta(days=30)

SHOWS: Mapping[str, str] = {
    "here": "Here or expected",
    "starting": "Starting",
    "missing": "Something undocumented",
    "brought": "Scans to look at",
    "left": "Left",
    "all": "Everybody",
}
"""Parts of the register."""


@dataclass(frozen=True, slots=True)
class Row:
    """One person as a list shows them."""

    reference: str
    name: str
    number: str
    born: str
    works: str
    place: str
    cohort: str
    when: str
    missing: str
    exposure_prone: bool
    waiting: int


def passes(person: Person, show: str, today: date, asked: tuple[str, ...]) -> bool:
    """Whether somebody belongs to a part of the register."""
    work = person.employment
    here = work.here_on(today)
    if show == "here":
        return here
    if show == "starting":
        start = work.starts_on
        return here and start is not None and today - JUST <= start <= today + SOON
    if show == "missing":
        return here and bool(undocumented(person, asked))
    if show == "brought":
        return bool(person.to_look_at)
    if show == "left":
        return not here
    return True


def matches(typed: str, identity: PersonIdentity | None) -> bool:
    """Whether what was typed is the beginning of words of the name, or part of the number."""
    if identity is None:
        return False
    number = number_key(typed)
    if number and number in number_key(identity.number):
        return True
    words = name_key(identity.family_name, identity.given_name)
    asked = name_key(typed)
    return bool(asked) and all(any(word.startswith(part) for word in words) for part in asked)


def ordered(people: Sequence[Person], identities: Mapping[str, PersonIdentity]) -> list[Person]:
    """By family name, without accents or case."""

    def key(person: Person) -> tuple[str, ...]:
        who = identities.get(person.reference)
        return () if who is None else (*list_key(who.family_name), *list_key(who.given_name))

    return sorted(people, key=key)


def row(
    person: Person, identity: PersonIdentity | None, today: date, asked: tuple[str, ...]
) -> Row:
    """Somebody in a line."""
    work = person.employment
    who = identity or PersonIdentity()
    lacking = undocumented(person, asked)
    return Row(
        reference=person.reference,
        name=who.name or "Name erased",
        number=who.number,
        born=born(who.birth_date) if who.birth_date else "",
        works=", ".join(part for part in (choices.WORKS_AS[work.works_as], work.role) if part),
        place=", ".join(part for part in (work.department, work.site) if part),
        cohort=work.cohort,
        when=when(person, today),
        missing=_lacking(lacking, len(asked)),
        exposure_prone=work.exposure_prone == "yes",
        waiting=len(person.to_look_at),
    )


def _lacking(names: tuple[str, ...], asked: int) -> str:
    if not names:
        return ""
    if len(names) == asked:
        return "Nothing documented yet"
    shown = ", ".join(
        name[:1].lower() + name[1:] if name[1:2].islower() else name for name in names
    )
    return f"Nothing for {shown}"


def when(person: Person, today: date) -> str:
    """`starts Wed 1 Apr 2026`, `here since …`, `left …`."""
    start, end = person.employment.starts_on, person.employment.ends_on
    if end is not None and end < today:
        return f"left {calendar_day(end)}"
    if start is None:
        told = "start not known"
    elif start > today:
        told = f"starts {calendar_day(start)}"
    else:
        told = f"here since {calendar_day(start)}"
    return f"{told}, until {calendar_day(end)}" if end is not None else told
