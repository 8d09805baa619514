"""Sessions as somebody chooses a time in them: for a person on their own page and for a nurse alike."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from thimble.actions.clinic import is_over
from thimble.clinical.saying import calendar_day
from thimble.clinical.where_to_go import closed_because
from thimble.people.sessions import FULL, PURPOSES, Booked, Session, free_numbers, why_not
from thimble.web.clinic.store import DjangoClinic
from thimble.web.context import get_site

AHEAD = timedelta(weeks=12)
"""How far ahead times are offered."""


@dataclass(frozen=True, slots=True)
class Time:
    """A time that can be chosen, or `full`. `value` is what the form sends."""

    value: str
    label: str
    full: bool


@dataclass(frozen=True, slots=True)
class Offer:
    """A session with its times. `why` says why none of them can be chosen, "" where some can."""

    heading: str
    place: str
    times: tuple[Time, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Mine:
    """A booking of a person in words."""

    id: int
    when: str
    what: str
    place: str
    may_change: bool


def closed(day: date) -> str | None:
    """Why the site is closed on a day, or None."""
    return closed_because(get_site(), day)


def hour(at: time) -> str:
    """`09:10`."""
    return f"{at:%H:%M}"


def session_when(session: Session) -> str:
    """`Tue 3 Mar 2026, 09:00 to 12:00`."""
    return f"{calendar_day(session.day)}, {hour(session.opens)} to {hour(session.closes)}"


def booked_when(booked: Booked) -> str:
    """`Tue 3 Mar 2026, 09:10`; of an open session between when and when."""
    if booked.session.slot_minutes:
        return f"{calendar_day(booked.session.day)}, {hour(booked.at)}"
    return session_when(booked.session)


def mine(bookings: list[Booked], wall: datetime) -> tuple[Mine, ...]:
    """Bookings that are not over on the day, in order."""
    return tuple(
        Mine(
            id=b.id,
            when=booked_when(b),
            what=PURPOSES[b.session.purpose],
            place=b.session.place,
            may_change=not is_over(b, wall),
        )
        for b in bookings
        if b.session.day >= wall.date()
    )


def offers(
    clinic: DjangoClinic,
    person: str,
    *,
    last_day: date | None,
    wall: datetime,
    instead: int | None = None,
) -> tuple[Offer, ...]:
    """The sessions ahead as this person may choose in them; full times are shown as full.

    `instead` is a booking that would be replaced: its place counts as free for them.
    """
    today = wall.date()
    sessions = clinic.between(today, today + AHEAD)
    taken: dict[int, list[Booked]] = defaultdict(list)
    for each in clinic.of_sessions([session.id for session in sessions]):
        if each.id != instead:
            taken[each.session.id].append(each)
    theirs = [b for b in clinic.of_person(person) if b.id != instead]
    found = []
    for session in sessions:
        if session.called_off:
            continue
        said = {
            at: why_not(
                session, at, of_session=taken[session.id], of_person=theirs,
                closed=closed(session.day), last_day=last_day, now=wall,
            )
            for at in session.times
        }  # fmt: skip
        times = tuple(
            _time(session, at, taken[session.id])
            for at in session.times
            # A full time is shown; one that cannot be for another reason is not.
            if not said[at] or not free_numbers(session, at, taken[session.id])
        )
        open_ = any(not why for why in said.values())
        why = "" if open_ else next((w for w in said.values() if w != FULL), "Full.")
        heading = f"{session_when(session)}: {PURPOSES[session.purpose]}"
        found.append(Offer(heading, session.place, times if open_ else (), why))
    return tuple(found)


def _time(session: Session, at: time, taken: list[Booked]) -> Time:
    left = len(free_numbers(session, at, taken))
    if session.slot_minutes:
        label = hour(at) if left else f"{hour(at)} full"
    else:
        label = f"Come between {hour(at)} and {hour(session.closes)} ({left} of {session.capacity} free)"
    return Time(f"{session.id}-{at:%H%M}", label, not left)


def read_choice(value: str) -> tuple[int, time] | None:
    """What a form sent: the session and the time; None where it is neither."""
    number, _, at = value.partition("-")
    try:
        return (int(number), time.fromisoformat(f"{at[:2]}:{at[2:]}")) if len(number) < 10 else None
    except ValueError:
        return None
