"""The list of what comes up again, in plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from thimble.clinical.saying import calendar_day
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.rechecks import Recheck, Topic

PAGE = 50
"""Lines on a page."""
AHEAD = timedelta(days=60)
"""How far ahead lines are shown; what comes later waits."""

TOPICS: Mapping[Topic, str] = {
    Topic.LOOK_AT: "Results to look at",
    Topic.OFFER: "To be offered by law",
    Topic.NON_RESPONDER: "Non-responders",
    Topic.SERIES: "Hepatitis B to go on with",
    Topic.RUNS_OUT: "Evidence that runs out",
    Topic.SEASON: "Influenza this season",
    Topic.REFUSED: "Declined, offer stands",
    Topic.OVER: "Contraindication over",
    Topic.MONITORED: "Monitored",
}
_BY = frozenset({Topic.OFFER, Topic.SEASON})


@dataclass(frozen=True, slots=True)
class Chosen:
    """What somebody asked to see; empty texts ask for everything."""

    topic: str = ""
    department: str = ""
    late: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One line as the list shows it."""

    reference: str
    name: str
    number: str
    place: str
    topic: str
    what: str
    why: str
    when: str
    late: bool


def seen(lines: Iterable[Recheck], on: date, *, monitored: bool) -> list[Recheck]:
    """What is near enough to be shown, and may be. A season's vaccine is, as long as it is offered."""
    return [
        line
        for line in lines
        if (line.due is None or line.due <= on + AHEAD or line.topic is Topic.SEASON)
        and (monitored or line.topic is not Topic.MONITORED)
    ]


def chosen_of(
    lines: Iterable[Recheck], chosen: Chosen, departments: Mapping[str, str]
) -> list[Recheck]:
    """The lines that somebody asked to see; `departments` by person."""
    return [
        line
        for line in lines
        if (not chosen.topic or line.topic == chosen.topic)
        and (not chosen.department or departments.get(line.person) == chosen.department)
        and (line.late or not chosen.late)
    ]


def rows(
    lines: Sequence[Recheck],
    people: Mapping[str, Person],
    identities: Mapping[str, PersonIdentity],
    on: date,
) -> list[Row]:
    """Lines with who they are about."""
    found = []
    for line in lines:
        who = identities.get(line.person, PersonIdentity())
        work = people[line.person].employment
        found.append(
            Row(
                line.person,
                who.name or "Name erased",
                who.number,
                ", ".join(part for part in (work.role, work.department, work.site) if part),
                TOPICS[line.topic],
                line.what,
                line.why,
                when(line, on),
                line.late,
            )
        )
    return found


def when(line: Recheck, on: date) -> str:
    """`overdue since …`, `since …, 12 days`, `by …`, `now`, `no day is set`."""
    if line.due is None:
        return "no day is set"
    day = calendar_day(line.due)
    if line.late and line.stands:
        days = (on - line.due).days
        return f"since {day}, {days} {'day' if days == 1 else 'days'}"
    if line.late:
        return f"overdue since {day}"
    if line.topic in _BY:
        return f"by {day}"
    if line.due == on:
        return "now"
    return f"from {day}" if line.stands else day
