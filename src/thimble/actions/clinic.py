"""Sessions are made and called off, people are booked for them: never more than fit, whoever asks at once.

Bookings are arrangements, not evidence: what is done at a session is written in the people's files.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import date, datetime, time, tzinfo
from typing import Any, Protocol

from thimble.actions._append import Refused
from thimble.actions.people import People, person_of
from thimble.people.sessions import (
    CAME,
    MISSED,
    Booked,
    Session,
    faults_of,
    free_numbers,
    weekly,
    why_not,
)

MOST_WEEKS = 53
"""Sessions that one repetition makes."""

Closed = Callable[[date], str | None]
"""Why the site is closed on a day, or None."""


class Clinic(Protocol):
    """Where sessions and bookings are kept."""

    def alone(self) -> AbstractContextManager[Any]:
        """A transaction in which nobody else books: what is read in it holds until it ends."""

    def session(self, id_: int) -> Session | None:
        """One session."""

    def of_session(self, id_: int) -> Sequence[Booked]:
        """The bookings of a session that stand."""

    def of_person(self, person: str) -> Sequence[Booked]:
        """The bookings of a person that stand, those of sessions called off left out."""

    def add_sessions(self, sessions: Sequence[Session], *, by: str, now: datetime) -> list[int]:
        """Keep new sessions, whatever their ids; returns theirs."""

    def call_off(self, id_: int, *, by: str, now: datetime) -> None:
        """A session will not be held."""

    def add(
        self, session: Session, person: str, at: time, number: int, *,
        uid: str | None, sequence: int, by: str, now: datetime,
    ) -> int:  # fmt: skip
        """Keep a booking; returns its id. `uid` None makes a new one."""

    def end(self, booking: int, *, by: str, now: datetime) -> None:
        """A booking stands no more."""

    def mark(self, booking: int, came: str) -> None:
        """Say what became of a booking."""


def make_sessions(
    clinic: Clinic,
    session: Session,
    *,
    until: date | None,
    closed: Closed,
    today: date,
    now: datetime,
    by: str,
) -> tuple[list[int], list[tuple[date, str]]]:
    """Make a session, and the same each week until a day; days on which the site is closed are left out.

    Returns:
        The ids of the sessions, and the days left out with the reason.

    Raises:
        Refused: something cannot be, or every day is closed.
    """
    faults = faults_of(session)
    if session.day < today:
        faults.append("The day lies behind.")
    if until is not None and until < session.day:
        faults.append("It is repeated until a day after the first.")
    days = weekly(session.day, until)
    if len(days) > MOST_WEEKS:
        faults.append(f"At most {MOST_WEEKS} weeks are made at once.")
    if faults:
        raise Refused(faults)
    left_out = [(day, why) for day in days if (why := closed(day)) is not None]
    held = [day for day in days if day not in dict(left_out)]
    if not held:
        raise Refused(f"The department is closed that day: {left_out[0][1]}.")
    made = [_on(session, day) for day in held]
    return clinic.add_sessions(made, by=by, now=now), left_out


def _on(session: Session, day: date) -> Session:
    return replace(session, id=0, day=day)


def book(
    clinic: Clinic,
    people: People,
    session: int,
    person: str,
    at: time,
    *,
    instead: int | None = None,
    closed: Closed,
    zone: tzinfo,
    now: datetime,
    by: str,
) -> int:
    """Book a person for a time; returns the booking's id.

    Args:
        instead: a booking of theirs that this one replaces: both or neither.

    Raises:
        NoSuchPerson.
        Refused: the sentence says why it cannot be; nothing has changed.
    """
    wall = now.astimezone(zone)
    with clinic.alone():
        last_day = person_of(people, person, now).employment.ends_on
        found = clinic.session(session)
        if found is None:
            raise Refused("There is no such session. Choose one of those shown.")
        theirs = clinic.of_person(person)
        before = next((b for b in theirs if b.id == instead), None)
        if instead is not None and before is None:
            raise Refused(
                "The booking to be moved does not stand any more. Look at the page again."
            )
        if before is not None and is_over(before, wall):
            raise Refused("The booking to be moved is over.")
        others = [b for b in clinic.of_session(session) if before is None or b.id != before.id]
        said = why_not(
            found,
            at,
            of_session=others,
            of_person=[b for b in theirs if b is not before],
            closed=closed(found.day),
            last_day=last_day,
            now=wall,
        )
        if said:
            raise Refused(said)
        if before is not None:
            clinic.end(before.id, by=by, now=now)
        return clinic.add(
            found,
            person,
            at,
            free_numbers(found, at, others)[0],
            uid=before.uid if before else None,
            sequence=before.sequence + 1 if before else 0,
            by=by,
            now=now,
        )


def cancel(
    clinic: Clinic, person: str, booking: int, *, zone: tzinfo, now: datetime, by: str
) -> Booked:
    """Give a booking back before it is over.

    Raises:
        Refused: it does not stand, is another person's, or is over.
    """
    with clinic.alone():
        found = next((b for b in clinic.of_person(person) if b.id == booking), None)
        if found is None:
            raise Refused("This booking does not stand any more.")
        if is_over(found, now.astimezone(zone)):
            raise Refused("This booking is over.")
        clinic.end(booking, by=by, now=now)
    return found


def call_off(clinic: Clinic, session: int, *, by: str, now: datetime) -> Sequence[Booked]:
    """Call a session off; returns the bookings of those who must be told.

    Raises:
        Refused: there is no such session, or it is called off already.
    """
    with clinic.alone():
        found = clinic.session(session)
        if found is None or found.called_off:
            raise Refused("This session is called off already.")
        told = clinic.of_session(session)
        clinic.call_off(session, by=by, now=now)
    return told


def mark_came(clinic: Clinic, session: int, person: str, came: str) -> None:
    """Say whether somebody came; "" takes it back.

    Raises:
        Refused: they have no booking for this session.
    """
    if came not in ("", CAME, MISSED):
        raise Refused("Say that they came or did not.")
    with clinic.alone():
        found = next((b for b in clinic.of_session(session) if b.person == person), None)
        if found is None:
            raise Refused("They have no booking for this session.")
        clinic.mark(found.id, came)


def is_over(booked: Booked, wall: datetime) -> bool:
    """Whether a booking lies behind. `wall` is the site's wall time."""
    end = booked.session.closes if not booked.session.slot_minutes else booked.at
    return datetime.combine(booked.session.day, end) <= wall.replace(tzinfo=None)
