"""Clinic sessions of the invented hospital, with some of its cohort booked."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from thimble.actions import Refused
from thimble.actions import clinic as acts
from thimble.actions.people import People
from thimble.clinical.site import Site
from thimble.clinical.where_to_go import closed_because
from thimble.people.sessions import Session

WEEKS = timedelta(weeks=5)
FRIDAY = 4


def build(
    clinic: acts.Clinic, people: People, who: Sequence[str], site: Site, by: str, now: datetime
) -> None:
    """Vaccination each week from today, blood samples from tomorrow; `who` are booked in turn."""
    today = now.astimezone(site.zone).date()

    tomorrow = today + timedelta(days=1)
    while tomorrow.weekday() > FRIDAY:
        tomorrow += timedelta(days=1)

    def closed(day: date) -> str | None:
        return closed_because(site, day)

    slots = Session(
        0, today, time(8), time(16), "House C, room 4", "vaccination", 2, 20,
        stock_place="occupational",
    )  # fmt: skip
    open_ = Session(0, tomorrow, time(7, 30), time(9), "House C, window 2", "sample", 12, 0)
    made: list[int] = []
    for session in (slots, open_):
        new, _ = acts.make_sessions(
            clinic, session, until=session.day + WEEKS, closed=closed, today=today, now=now, by=by
        )
        made += new[:2]
    for number, person in enumerate(who):
        session_id = made[number % len(made)]
        found = clinic.session(session_id)
        if found is None:
            continue
        at = found.times[number // len(made) % len(found.times)]
        try:
            acts.book(
                clinic,
                people,
                session_id,
                person,
                at,
                closed=closed,
                zone=site.zone,
                now=now,
                by=by,
            )
        except Refused:
            # A time of today that is over already, by the hour at which the hospital is made.
            continue
