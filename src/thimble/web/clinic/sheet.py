"""The sheet of a session in plain values: who comes, what is due, who is open now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from thimble.clinical.readiness import Readiness, said_together
from thimble.clinical.saying import calendar_day
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.names import list_key
from thimble.people.products import product_name
from thimble.people.sessions import CAME, MISSED, Booked
from thimble.web.clinic.choosing import hour
from thimble.web.people.words import born as born_words


@dataclass(frozen=True, slots=True)
class Done:
    """Something written down here today, that can be taken back."""

    entry: int
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """Somebody on the sheet."""

    person: str
    at: str
    name: str
    born: str
    due: tuple[str, ...]
    later: tuple[str, ...]
    scans: int
    done: tuple[Done, ...]
    came: str
    open: bool


def line(
    person: Person,
    identity: PersonIdentity | None,
    booked: Booked | None,
    whole: Readiness,
    *,
    today: date,
    opened: bool,
) -> Line:
    """Somebody in a line: what is due now, and what only later."""
    who = identity or PersonIdentity()
    now = [lack for lack in whole.lacks if lack.recommended is None or lack.recommended <= today]
    return Line(
        person=person.reference,
        at=hour(booked.at) if booked and booked.session.slot_minutes else "",
        name=who.name or "Name erased",
        born=born_words(who.birth_date) if who.birth_date else "birth date missing",
        due=said_together(now, today),
        later=said_together((lack for lack in whole.lacks if lack not in now), today)[:2],
        scans=len(person.to_look_at),
        done=done_today(person, today),
        came={CAME: "Came", MISSED: "Did not attend"}.get(booked.came, "")
        if booked
        else "Not booked",
        open=opened,
    )


def done_today(person: Person, today: date) -> tuple[Done, ...]:
    """Doses and samples that were written down here today."""
    doses = [
        Done(e.entry, f"{product_name(e.body['product'])}, lot {e.body['lot']}")
        for e in person.of(Kind.DOSE_RECORDED)
        if e.body.get("given_here") and e.body["when"] == today.isoformat()
    ]
    samples = [Done(s.entry, f"Sample {s.number}") for s in person.samples if s.on == today]
    return (*doses, *samples)


def was_here(person: Person, session: int) -> bool:
    """Whether a dose or a sample of a session stands in a file."""
    return any(e.body.get("session") == session for e in person.evidence) or any(
        sample.session == session for sample in person.samples
    )


def in_order(lines: Sequence[Line], by: str, identities: dict[str, PersonIdentity]) -> list[Line]:
    """By time, as they are booked, or by name."""
    if by != "name":
        return list(lines)

    def key(one: Line) -> tuple[str, ...]:
        who = identities.get(one.person, PersonIdentity())
        return (*list_key(who.family_name), *list_key(who.given_name))

    return sorted(lines, key=key)


def day_words(day: date) -> str:
    """A day for a heading."""
    return calendar_day(day)
