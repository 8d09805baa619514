"""Workers whose fitness is decided with a review or tests to come: who, what, and by which day.

For those alone who decide about fitness: that somebody is monitored tells a diagnosis.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from thimble.actions import people as acts
from thimble.clinical.fitness import Due, schedule
from thimble.clinical.saying import calendar_day
from thimble.ledger.fitness import FitnessDecision
from thimble.people.fold import Person
from thimble.people.rechecks import Recheck, Topic
from thimble.web.context import get_people, get_site
from thimble.web.fitness.joined import Joined, everybody

REVIEW = "review of the decision"


@dataclass(frozen=True, slots=True)
class Monitored:
    """One thing that is due of one worker.

    `person` is the reference of their file, "" where only a case is known; `case` that of the case in which
    it was decided, "" where it was on the file. In time from `opens` to `closes`, both included; `what` is
    the infection, or `REVIEW`.
    """

    person: str
    case: str
    what: str
    opens: date
    due: date
    closes: date
    decision: FitnessDecision

    def overdue(self, today: date) -> bool:
        """Whether the window has closed before `today`."""
        return self.closes < today


def monitored(now: datetime) -> tuple[Monitored, ...]:
    """What is due of every worker whose decision holds, the earliest day first; leavers are left out.

    Decisions that a later one took the place of count no more, wherever it was made.
    """
    found = [one for joined in _workers(now) for one in _due(joined)]
    return tuple(sorted(found, key=lambda one: (one.due, one.person, one.case, one.what)))


def _workers(now: datetime) -> Iterator[Joined]:
    """Every worker about whom something was decided, without who left."""
    today = now.astimezone(get_site().zone).date()
    for joined in everybody(now):
        if not joined.person or _here(joined.person, now, today):
            yield joined


def _here(person: str, now: datetime, today: date) -> bool:
    found = acts.person_of(get_people(), person, now)
    return found.enrolled and found.employment.here_on(today)


def tests_of(decision: FitnessDecision) -> tuple[Due, ...]:
    """The next tests by what a decision rested on; none where the tables no longer know its facts."""
    try:
        return schedule(decision.facts, decision.days).due
    except ValueError:
        return ()


def _due(joined: Joined) -> Iterator[Monitored]:
    decision = joined.holds
    if decision is None:
        return
    case = "" if decision.of == joined.person else decision.of
    if (on := decision.review_on) is not None:
        yield Monitored(joined.person, case, REVIEW, on, on, on, decision)
    for test in tests_of(decision):
        yield Monitored(
            joined.person, case, test.infection, test.opens, test.on, test.closes, decision
        )


def monitored_lines(people: Iterable[Person], now: datetime) -> list[Recheck]:
    """What is due of these people, as lines of the rechecks; for who decides about fitness alone."""
    today = now.astimezone(get_site().zone).date()
    listed = {person.reference for person in people}
    return [
        Recheck(
            one.person,
            Topic.MONITORED,
            f"Fitness: {one.what}"
            if one.what == REVIEW
            else f"Monitoring of fitness, next test: {one.what}",
            f"Decided: {one.decision.words}. In time from {calendar_day(one.opens)} to "
            f"{calendar_day(one.closes)}, by the tables of fitness that the decision followed.",
            one.due,
            one.overdue(today),
        )
        for one in monitored(now)
        if one.person in listed
    ]
