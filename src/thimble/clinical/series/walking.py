"""Which doses of one person count: each path of the schedule walked dose by dose.

Days are ordinals. A dose that is known to the month or year lies between `low` and `high`; it counts
only where it counts whatever the day was, and it delays the next dose by the latest day it can have been.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from thimble.clinical.durations import Duration

from .calendar_days import step
from .schedule import Product, Schedule, Target, Way, products


class Verdict(IntEnum):
    """What became of a dose."""

    COUNTS = 0
    TOO_EARLY = 1
    TOO_YOUNG = 2
    TOO_OLD = 3
    OPEN = 4
    SAME_DAY = 5
    INADVERTENT = 6
    OTHER_PRODUCT = 7
    EXTRA = 8


@dataclass(frozen=True, slots=True)
class Given:
    """One dose of vaccine: the first and last day that it can have been."""

    low: int
    high: int
    cvx: str
    fit: Verdict = Verdict.COUNTS

    @property
    def delays(self) -> bool:
        """Whether the next dose keeps its distance from this one."""
        return self.fit is not Verdict.INADVERTENT


@dataclass(frozen=True, slots=True)
class Walk:
    """One path walked. `counted` are places of doses; `completed` is that of the last, or None."""

    way: Way
    counted: tuple[int, ...]
    verdicts: tuple[Verdict, ...]
    completed: int | None
    previous: int | None
    """The latest day of any dose that the next must keep its distance from."""
    floor: int | None
    """The latest day of an inadvertent dose."""


def fitted(given: Sequence[Given], born: int, allowance: int) -> tuple[Given, ...]:
    """The doses in order of time, each with what its product, its age and its day say of it."""
    own = [replace(d, fit=_fit(d, products()[d.cvx], born, allowance)) for d in given]
    # Of two doses of one day the one that fits comes first.
    return tuple(sorted(own, key=lambda d: (d.low, d.high, d.fit, d.cvx)))


def _fit(dose: Given, product: Product, born: int, allowance: int) -> Verdict:
    if product.min_age is not None:
        from_day = step(born, product.min_age) - allowance
        if dose.high < from_day:
            return Verdict.INADVERTENT if product.inadvertent else Verdict.TOO_YOUNG
        if dose.low < from_day:
            return Verdict.OPEN
    if product.before_age is not None:
        limit = step(born, product.before_age)
        if dose.low >= limit:
            return Verdict.TOO_OLD
        if dose.high >= limit:
            return Verdict.OPEN
    return Verdict.COUNTS


def same_day(one: Given, other: Given) -> bool:
    """Whether two doses were given on one day that is known."""
    return one.low == one.high == other.low == other.high


def walk(way: Way, doses: Sequence[Given], born: int) -> Walk:
    """The doses, in order of time, along one path."""
    counted: list[int] = []
    verdicts: list[Verdict] = []
    completed: int | None = None
    # The earliest and the latest that "the dose before" can have been.
    low: int | None = None
    high: int | None = None
    floor: int | None = None
    own = way.products if way.own else None
    for place, dose in enumerate(doses):
        verdict = dose.fit
        taken = own is None or dose.cvx in own
        if dose.fit is Verdict.INADVERTENT:
            floor = dose.high if floor is None else max(floor, dose.high)
        elif completed is not None:
            verdict = Verdict.EXTRA if verdict is Verdict.COUNTS else verdict
        elif not taken:
            verdict = Verdict.OTHER_PRODUCT if verdict is Verdict.COUNTS else verdict
        elif verdict is Verdict.COUNTS:
            target = way.targets[len(counted)]
            verdict = _against(target, dose, doses, counted, born, low, high)
            if counted and same_day(dose, doses[counted[-1]]):
                verdict = Verdict.SAME_DAY
            # What may have been given before this dose may have been given too shortly before it.
            following = doses[place + 1].low if place + 1 < len(doses) else None
            overtaken = following is not None and dose.low < dose.high >= following
            if (
                verdict is Verdict.COUNTS
                and overtaken
                and target.from_previous
                and high is not None
            ):
                verdict = Verdict.OPEN
            if verdict is Verdict.COUNTS:
                counted.append(place)
                completed = place if len(counted) == len(way.targets) else None
        if taken and dose.delays:
            low = dose.low if low is None else max(low, dose.low)
            high = dose.high if high is None else max(high, dose.high)
        verdicts.append(verdict)
    return Walk(way, tuple(counted), tuple(verdicts), completed, high, floor)


def _against(
    target: Target,
    dose: Given,
    doses: Sequence[Given],
    counted: Sequence[int],
    born: int,
    low: int | None,
    high: int | None,
) -> Verdict:
    if target.products is not None and dose.cvx not in target.products:
        return Verdict.OTHER_PRODUCT
    least, most, young = 0, 0, False
    for by, earliest, latest in _limits(target, doses, counted, born, low, high):
        least = max(least, step(earliest, by) - target.allowance)
        # On the day of the dose before it may be that dose, written down twice: no allowance goes so far.
        most = max(most, step(latest, by) - target.allowance, latest + 1)
        young = young or (by is target.min_age and dose.high < step(born, by) - target.allowance)
    if target.before_age is not None:
        limit = step(born, target.before_age)
        if dose.low >= limit:
            return Verdict.TOO_OLD
        if dose.high >= limit:
            return Verdict.OPEN
    if young:
        return Verdict.TOO_YOUNG
    if dose.high < least:
        return Verdict.TOO_EARLY
    return Verdict.COUNTS if dose.low >= most else Verdict.OPEN


def _limits(
    target: Target,
    doses: Sequence[Given],
    counted: Sequence[int],
    born: int,
    low: int | None,
    high: int | None,
) -> list[tuple[Duration, int, int]]:
    """Each span that is asked, with the earliest and latest day it is counted from."""
    found = []
    if target.min_age is not None:
        found.append((target.min_age, born, born))
    if target.from_previous is not None and low is not None and high is not None:
        found.append((target.from_previous, low, high))
    for span, place in ((target.from_first, 0), (target.from_second, 1)):
        if span is not None and len(counted) > place:
            dose = doses[counted[place]]
            found.append((span, dose.low, dose.high))
    return found


def earliest(walked: Walk, doses: Sequence[Given], born: int) -> int | None:
    """The first day on which the next dose counts, without any allowance; None where it cannot any more."""
    target = walked.way.targets[len(walked.counted)]
    days = [born]
    days += [
        step(latest, by)
        for by, _, latest in _limits(
            target, doses, walked.counted, born, walked.previous, walked.previous
        )
    ]
    if walked.floor is not None:
        days.append(walked.floor)
    day = max(days)
    if target.before_age is not None and day >= step(born, target.before_age):
        return None
    return day


def recommended(
    walked: Walk, doses: Sequence[Given], born: int, as_of: int, first: int
) -> tuple[int, int]:
    """The first day on which the next dose counts, and the day for which it is recommended."""
    number = len(walked.counted) + 1
    start = doses[walked.counted[0]].high if walked.counted else as_of
    day = goal = first
    for row in walked.way.recommended.get(number, ()):
        if row.first_from is not None and start < step(born, row.first_from):
            continue
        if row.first_before is not None and start >= step(born, row.first_before):
            continue
        if row.not_before is not None:
            day = max(day, step(born, row.not_before))
        if row.age is not None:
            goal = max(goal, step(born, row.age))
        if row.from_first is not None:
            goal = max(goal, step(start, row.from_first))
    return day, max(day, goal)


def best(
    doses: Sequence[Given], born: int, plan: Schedule, dialysis: bool
) -> tuple[Walk, tuple[Walk, ...]]:
    """The path that stands for the person, and all that were walked.

    A complete path before any other; then the path on which most doses count; then the schedule's order.
    """
    walks = tuple(walk(way, doses, born) for way in plan.paths if way.dialysis is dialysis)
    if not walks:
        walks = tuple(walk(way, doses, born) for way in plan.paths)
    finished = [w for w in walks if w.completed is not None]
    if finished:
        return max(finished, key=_counted), walks
    viable = [
        w for w in walks if (w.counted or w.way.offered) and earliest(w, doses, born) is not None
    ]
    return max(viable, key=_counted), walks


def _counted(walked: Walk) -> int:
    return len(walked.counted)
