"""Clinic sessions and who is booked for them: pure rules over plain values.

A session either has times, each for so many people, or is open: people come when they like, so many in all.
Times are wall times of the site on the session's day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

PURPOSES: Mapping[str, str] = {
    "vaccination": "Vaccination",
    "sample": "Blood sample",
    "both": "Vaccination and blood sample",
    "talk": "Talk with the physician",
}
"""What a session is for."""

VACCINATING = frozenset({"vaccination", "both"})
"""The purposes for which vaccine is wanted."""

FULL = "This time is full. Choose another."

CAME, MISSED = "came", "missed"
"""What became of a booking; "" while nobody has said."""


@dataclass(frozen=True, slots=True)
class Session:
    """One session. `capacity` counts people at each time, or in all where `slot_minutes` is 0.

    `stock_place` is the id of the shelf that its vaccines are taken from; "" where none is counted.
    """

    id: int
    day: date
    opens: time
    closes: time
    place: str
    purpose: str
    capacity: int
    slot_minutes: int
    called_off: bool = False
    stock_place: str = ""

    @property
    def times(self) -> tuple[time, ...]:
        """The times that can be booked: each with its whole length before closing; one where open."""
        if not self.slot_minutes:
            return (self.opens,)
        step = timedelta(minutes=self.slot_minutes)
        start, end = (datetime.combine(self.day, at) for at in (self.opens, self.closes))
        count = (end - start) // step
        return tuple((start + number * step).time() for number in range(count))

    def until(self, at: time) -> time:
        """When a booking at a time is over: its length later, or when an open session closes."""
        if not self.slot_minutes:
            return self.closes
        return (datetime.combine(self.day, at) + timedelta(minutes=self.slot_minutes)).time()


@dataclass(frozen=True, slots=True)
class Booked:
    """A booking that stands. `number` is which of the session's places at that time it takes, from 1.

    `uid` names it in calendars and stays when it is moved; `sequence` then rises by one.
    """

    id: int
    session: Session
    person: str
    at: time
    number: int
    uid: str
    sequence: int
    made_at: datetime
    came: str = ""

    @property
    def until(self) -> time:
        """When it is over."""
        return self.session.until(self.at)

    def overlaps(self, day: date, start: time, end: time) -> bool:
        """Whether some of the time is the same. One that begins as another ends does not overlap."""
        return self.session.day == day and self.at < end and start < self.until


def faults_of(session: Session) -> list[str]:
    """What cannot be about a session, in sentences."""
    faults = []
    if session.closes <= session.opens:
        faults.append("It ends after it begins, on the same day.")
    elif not session.times:
        faults.append("Not even one time fits between its beginning and its end.")
    if session.capacity < 1:
        faults.append("At least one person can be booked.")
    if session.purpose not in PURPOSES:
        faults.append("Choose what it is for.")
    return faults


def weekly(first: date, until: date | None) -> tuple[date, ...]:
    """The days of a session that is repeated each week, `until` included; only the first without one."""
    last = first if until is None else until
    return tuple(first + timedelta(weeks=week) for week in range((last - first).days // 7 + 1))


def free_numbers(session: Session, at: time, bookings: Iterable[Booked]) -> tuple[int, ...]:
    """The places that are free at a time, in order."""
    taken = {b.number for b in bookings if b.session.id == session.id and b.at == at}
    return tuple(number for number in range(1, session.capacity + 1) if number not in taken)


def why_not(
    session: Session,
    at: time,
    *,
    of_session: Sequence[Booked],
    of_person: Sequence[Booked],
    closed: str | None,
    last_day: date | None,
    now: datetime,
) -> str:
    """Why a person cannot be booked for a time, in a sentence; "" if they can.

    Args:
        of_session: bookings of the session that stand.
        of_person: bookings of the person that stand, without one that this is to replace.
        closed: why the site is closed on the day, or None.
        last_day: the person's last day here, or None.
        now: wall time of the site.
    """
    if session.called_off:
        return "This session was called off. Choose another."
    if closed is not None:
        return f"This session cannot be held: the department is closed that day ({closed})."
    if at not in session.times:
        return "This session has no such time. Choose one of those shown."
    # Who comes to an open session may come until it closes.
    ends = session.closes if not session.slot_minutes else at
    if datetime.combine(session.day, ends) <= now.replace(tzinfo=None):
        return "That time is over. Choose a later one."
    if last_day is not None and session.day > last_day:
        return "That day lies after the last day here."
    if any(b.session.id == session.id for b in of_person):
        return "There is a booking for this session already. Move that one instead."
    if any(b.overlaps(session.day, at, session.until(at)) for b in of_person):
        return "There is a booking at the same hour already. Choose another time."
    if not free_numbers(session, at, of_session):
        return FULL
    return ""
