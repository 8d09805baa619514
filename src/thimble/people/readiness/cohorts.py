"""Many people towards their first day: who stands where, week by week, and what that will take."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta, tzinfo

from thimble.clinical.readiness import DiseaseState, Lack, Need, Readiness, Status
from thimble.ledger.fitness import FitnessDecision
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.people.readiness.asked import Asked
from thimble.people.readiness.judging import readiness, steps
from thimble.people.readiness.waiting import due_since

WEEK = timedelta(days=7)
PROCEDURES = "procedures"
"""In groups of what is missing: whatever is asked before exposure-prone procedures, of no infection."""
DRAWS = "draws"
"""In a week's demand: how often blood is drawn, however many tests are made of it."""


@dataclass(frozen=True, slots=True)
class Member:
    """One person of a cohort. `since` is the day from which those who are ready were so on record;
    `exposure_prone` whether they do such procedures, as the file has it; `decision` the one about their
    fitness that is in force."""

    reference: str
    role: str
    site: str
    start: date | None
    readiness: Readiness
    since: date | None
    declined: bool
    unanswered: bool
    exposure_prone: str
    decision: FitnessDecision | None = None

    @property
    def ready(self) -> bool:
        """Whether nothing is missing and nothing is left to judge."""
        return self.readiness.status is Status.READY

    @property
    def projected(self) -> date | None:
        """The day on which they will be ready; None where none can be said, or a decision forbids a part
        of the work."""
        barred = self.readiness.restriction and self.exposure_prone != "no"
        return None if barred else self.readiness.ready_on

    def missing(self) -> frozenset[str]:
        """What is missing, in groups such as `dose:hepatitis_b`."""
        whole = self.readiness
        parts = [(state.disease, state.lacks) for state in whole.states]
        parts += [(PROCEDURES, state.lacks) for state in whole.procedures]
        return frozenset(f"{lack.need}:{what}" for what, lacks in parts for lack in lacks)

    @property
    def waits_since(self) -> date | None:
        """The day of the step that has been due longest; None where none is."""
        return min((lack.since for lack in self.readiness.lacks if lack.since), default=None)


def member(
    person: Person,
    born: date | None,
    on: date,
    asked: Asked,
    zone: tzinfo,
    decisions: Sequence[FitnessDecision] = (),
) -> Member:
    """Where a person stands on a day.

    Args:
        zone: the one whose days the register is read in.
        decisions: those about the person's fitness, wherever they were made, the earliest first.
    """
    decision = decisions[-1] if decisions else None
    work = person.employment
    whole = _with_since(readiness(person, born, on, asked, decision), person, born, on, asked, zone)
    states = (*whole.states, *whole.procedures)
    open_ = {state.disease for state in states if state.satisfied is not True}
    return Member(
        person.reference,
        work.role,
        work.site,
        work.starts_on,
        whole,
        _since(person, born, on, asked, zone, decisions) if whole.status is Status.READY else None,
        any(e.body["disease"] in open_ for e in person.of(Kind.DECLINED)),
        _unanswered(person, whole),
        work.exposure_prone,
        decision,
    )


def _with_since(
    whole: Readiness, person: Person, born: date | None, on: date, asked: Asked, zone: tzinfo
) -> Readiness:
    """The same with the day since which each step that is due could have been done."""
    due = {lack.what for lack in whole.lacks if lack.due(on)}
    if not due:
        return whole

    lacking = tuple(s.disease for s in whole.states if any(lack.due(on) for lack in s.lacks))
    asked = replace(asked, diseases=lacking)

    def seen(then: Person, day: date) -> dict[Hashable, date]:
        found = steps(then, born, day, asked)
        return {lack.what: lack.recommended for lack in found if lack.recommended is not None}

    since = due_since(due, person, on, zone, seen)
    # Nobody asked for it before somebody said that the work holds such procedures.
    said_on = person.exposure_prone_since.astimezone(zone).date()
    before = {lack.what for state in whole.procedures for lack in state.lacks}

    def of(state: DiseaseState) -> DiseaseState:
        return replace(
            state,
            lacks=tuple(
                replace(
                    lack, since=max(since[lack.what], said_on if lack.what in before else date.min)
                )
                if lack.due(on)
                else lack
                for lack in state.lacks
            ),
        )

    return replace(
        whole, states=tuple(map(of, whole.states)), procedures=tuple(map(of, whole.procedures))
    )


def _since(
    person: Person,
    born: date | None,
    on: date,
    asked: Asked,
    zone: tzinfo,
    decisions: Sequence[FitnessDecision],
) -> date:
    """The first day on which what was on record by then already made the person ready."""
    written = {e.entry: e.recorded_at.astimezone(zone).date() for e in person.evidence}
    days = {*written.values(), person.enrolled_at.astimezone(zone).date()}
    decided = [(each.at.astimezone(zone).date(), each) for each in decisions]
    days |= {day for day, _ in decided}
    for day in sorted(day for day in days if day < on):
        then = replace(
            person, evidence=tuple(e for e in person.evidence if written[e.entry] <= day)
        )
        by_then = [decision for at, decision in decided if at <= day]
        held = by_then[-1] if by_then else None
        if readiness(then, born, day, asked, held).status is Status.READY:
            return day
    return on


def _unanswered(person: Person, whole: Readiness) -> bool:
    """Whether somebody who is not ready was written to, and nothing was written down since."""
    if whole.status is Status.READY or not person.invitations:
        return False
    last = person.invitations[-1].entry
    written = [e.entry for e in person.evidence] + [d.entry for d in person.documents]
    return not any(entry > last for entry in written)


@dataclass(frozen=True, slots=True)
class Week:
    """How many are ready by the end of the week that begins on a Monday. `shown` is None after today;
    `projected` is None before. In the week of today both stand."""

    monday: date
    shown: int | None
    projected: int | None


def by_week(
    members: Sequence[Member], today: date, before: int = 8, most: int = 52
) -> tuple[Week, ...]:
    """Readiness by week: `before` weeks back, ahead until the last projected day or first day.

    What is shown counts those who are ready today from the day on which they were; what is projected
    adds those of whom a day can be said. At most `most` weeks ahead.
    """
    this = monday(today)
    ahead = [m.projected for m in members if m.projected is not None]
    last = max([this, *(monday(d) for d in ahead), *(monday(m.start) for m in members if m.start)])
    last = min(last, this + most * WEEK)
    found = []
    at = this - before * WEEK
    while at <= last:
        end = at + WEEK - timedelta(days=1)
        since = sum(m.since is not None and m.since <= min(end, today) for m in members)
        found.append(
            Week(
                at,
                since if at <= this else None,
                since + sum(day <= end for day in ahead) if at >= this else None,
            )
        )
        at += WEEK
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Demand:
    """What one week takes: doses by class of product, tests by id, and `DRAWS`."""

    monday: date
    doses: Mapping[str, int]
    tests: Mapping[str, int]


def demand(members: Iterable[Member], today: date) -> tuple[Demand, ...]:
    """Doses and tests by the week they are recommended for; what is overdue counts for this week.

    Later steps stand where the steps before them are taken on their days.
    """
    doses: dict[date, Counter[str]] = {}
    tests: dict[date, Counter[str]] = {}
    drawn: set[tuple[str, date]] = set()
    for each in members:
        for lack, day in _dated(each.readiness.lacks, today):
            week = monday(day)
            if lack.need is Need.DOSE:
                doses.setdefault(week, Counter())[lack.item] += 1
            else:
                tests.setdefault(week, Counter())[lack.item] += 1
                if (each.reference, day) not in drawn:
                    drawn.add((each.reference, day))
                    tests[week][DRAWS] += 1
    return tuple(
        Demand(week, dict(doses.get(week, {})), dict(tests.get(week, {})))
        for week in sorted({*doses, *tests})
    )


def _dated(lacks: Iterable[Lack], today: date) -> list[tuple[Lack, date]]:
    return [
        (lack, max(lack.recommended, today))
        for lack in lacks
        if lack.recommended is not None and lack.item and lack.need in (Need.DOSE, Need.TEST)
    ]


def monday(day: date) -> date:
    """The Monday of its week."""
    return day - timedelta(days=day.weekday())
