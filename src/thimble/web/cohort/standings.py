"""Where everybody stands today, kept in memory: whoever's file, birth date, day and decision about fitness
are the same is not judged again. Each process has its own; it may be forgotten at any time."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from datetime import date
from functools import cache

from thimble.clinical.durations import Duration
from thimble.clinical.series.projecting import rules
from thimble.clinical.site import Site
from thimble.ledger.fitness import FitnessDecision
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.readiness import Asked
from thimble.people.readiness.cohorts import Member, member
from thimble.web import clock
from thimble.web.fitness.joined import of_people

_Key = tuple[int, date | None, date, Asked, tuple[FitnessDecision, ...]]


class Standings:
    """Members by reference, each with what it was judged from. Safe between threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: dict[str, tuple[_Key, Member]] = {}

    def forget(self) -> None:
        """Judge everybody anew at the next use."""
        with self._lock:
            self._known.clear()

    def of(
        self,
        people: Iterable[Person],
        identities: Mapping[str, PersonIdentity],
        today: date,
        site: Site,
    ) -> list[Member]:
        """Where these people stand on a day, in their order."""
        asked, everybody, found = asked_of(site), list(people), []
        decisions = _decisions(everybody)
        for person in everybody:
            who = identities.get(person.reference)
            born = who.birth_date if who else None
            decided = decisions.get(person.reference, ())
            key = (person.last_number, born, today, asked, decided)
            with self._lock:
                known = self._known.get(person.reference)
            if known is None or known[0] != key:
                known = (key, member(person, born, today, asked, site.zone, decided))
                with self._lock:
                    self._known[person.reference] = known
            found.append(known[1])
        return found


def _decisions(people: Iterable[Person]) -> dict[str, tuple[FitnessDecision, ...]]:
    """The decisions about fitness, the earliest first: the last one is in force."""
    found = of_people((person.reference for person in people), clock.now())
    return {person: each.decisions for person, each in found.items()}


@cache
def standings() -> Standings:
    """Those of this process."""
    return Standings()


def asked_of(site: Site) -> Asked:
    """What a site asks for, by which protocol and rule set, and how long its laboratory takes."""
    days = site.laboratory.days_to_result
    turnaround = rules().to_result.after if days is None else Duration(days, "days")
    return Asked(site.evidence_asked, site.protocol, turnaround, site.fitness_rule_set)
