"""How far the series of each of many people is, and when the next dose counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from thimble.clinical.durations import Duration

from .calendar_days import Days, steps
from .doses_many import Bools, Doses, Ints, Places
from .schedule import Recommended, Schedule, Target, Way

NOWHERE = -1
NONE = np.int32(-1)
LATE = np.int32(2_000_000_000)
_NO_STAGE = 255


@dataclass(frozen=True, slots=True)
class Standing:
    """The path that each person is judged by, and how far along it they are: shape (n,) throughout.

    `first`, `begun`, `second`, `previous` and `floor` are places among the person's doses, or NOWHERE: of
    the dose that completed the first series; of the first and the second that count on the path; of the
    latest that the next must keep its distance from; of the latest inadvertent one. `counts` has a bit for
    each place. `settled` is whether doses to come can change none of it.
    """

    path: Ints
    number: Ints
    complete: Bools
    first: Ints
    counts: Ints
    begun: Ints
    second: Ints
    previous: Ints
    floor: Ints
    settled: Bools
    known: Bools

    def only(self, some: Places) -> Standing:
        """Some of the people."""
        return Standing(*(getattr(self, field.name).take(some) for field in fields(self)))

    @classmethod
    def unknown(cls, people: int) -> Standing:
        """People of whom nothing is known: as if none had a dose."""
        small, places = np.zeros(people, np.int8), np.full(people, NOWHERE, np.int8)
        no = np.zeros(people, np.bool_)
        counts = np.zeros(people, np.int32)
        return cls(small, small, no, places, counts, places, places, places, places, no, no)

    @classmethod
    def joined(cls, parts: Sequence[Standing]) -> Standing:
        """The people of several, one after the other."""
        return cls(
            *(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(cls))
        )


@dataclass(frozen=True, slots=True)
class Reached:
    """Some people, and the places of the doses that their next one is counted from, those of everybody."""

    doses: Doses
    some: Places
    begun: Ints
    second: Ints
    previous: Ints
    floor: Ints

    def from_birth(self, by: Duration) -> Days:
        """The day of an age."""
        return steps(self.doses.born.take(self.some), by)

    def day(self, place: Ints) -> Days:
        """The last day that the dose at a place can have been, NONE where there is none."""
        at = place.take(self.some)
        found = self.doses.high.take(self.doses.begin.take(self.some) + at, mode="clip")
        np.putmask(found, at < 0, NONE)
        return found


def ways(plan: Schedule) -> tuple[Way, ...]:
    """The paths of people who are not on dialysis."""
    return tuple(way for way in plan.paths if not way.dialysis)


def next_doses(standing: Standing, doses: Doses, today: int, plan: Schedule) -> tuple[Days, Days]:
    """The first day on which the next dose counts and that for which it is recommended; 0 for none."""
    earliest, recommended = (np.zeros(len(doses.born), np.int32) for _ in range(2))
    stage = standing.path.astype(np.uint8) << 4 | standing.number.astype(np.uint8)
    np.putmask(stage, standing.complete | ~standing.known, _NO_STAGE)
    for place, way in enumerate(ways(plan)):
        for number, target in enumerate(way.targets):
            some = np.flatnonzero(stage == (place << 4 | number))
            if len(some):
                reached = Reached(
                    doses, some, standing.begun, standing.second, standing.previous, standing.floor
                )
                day = earliest_day(target, reached)
                rows = way.recommended.get(number + 1, ())
                earliest[some], recommended[some] = recommended_day(rows, reached, day, today)
    return earliest, recommended


def earliest_day(target: Target, reached: Reached) -> Days:
    """The first day for the dose of a target, LATE where it cannot be given any more."""
    day = reached.doses.born.take(reached.some)
    if reached.floor.max(initial=NOWHERE) > NOWHERE:
        np.maximum(day, reached.day(reached.floor), out=day)
    if target.min_age:
        np.maximum(day, reached.from_birth(target.min_age), out=day)
    for span, since in (
        (target.from_previous, reached.previous),
        (target.from_first, reached.begun),
        (target.from_second, reached.second),
    ):
        if span:
            np.maximum(day, after(reached.day(since), span), out=day)
    if target.before_age:
        day[day >= reached.from_birth(target.before_age)] = LATE
    return day


def after(since: Days, span: Duration) -> Days:
    """A span after each day, NONE after none."""
    none = since < 0
    if none.any():
        return np.where(none, NONE, steps(np.maximum(since, 1), span))
    return steps(since, span)


def recommended_day(
    rows: tuple[Recommended, ...], reached: Reached, first: Days, today: int
) -> tuple[Days, Days]:
    """The first day on which the dose is offered, and the day for which it is recommended."""
    if not rows:
        return first, first
    start = reached.day(reached.begun)
    np.putmask(start, start < 0, today)
    day, goal = first, first
    for row in rows:
        at = np.ones(len(first), np.bool_)
        if row.first_from:
            at &= start >= reached.from_birth(row.first_from)
        if row.first_before:
            at &= start < reached.from_birth(row.first_before)
        if row.not_before:
            day = np.maximum(day, reached.from_birth(row.not_before) * at)
        if row.age:
            goal = np.maximum(goal, reached.from_birth(row.age) * at)
        if row.from_first:
            goal = np.maximum(goal, steps(start, row.from_first) * at)
    return day, np.maximum(day, goal)
