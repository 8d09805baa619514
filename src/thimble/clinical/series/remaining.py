"""What is left of a vaccine series: each dose to come with the first day on which it counts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from thimble.clinical.durations import Duration

from .evidence import DoseGiven
from .schedule import UNKNOWN, products, schedule
from .walking import Given, Walk, best, earliest, fitted, recommended, walk

GROWN_UP = 20 * 366
"""Days. No case holds a birth date, and workers are vaccinated as adults: so old at the first dose."""


@dataclass(frozen=True, slots=True)
class DoseAhead:
    """One dose to come.

    `number` is its place in the series, from 1. `earliest` is the first day on which it counts, without
    any allowance, if every dose before it is given as soon as it may be; `target` is the day for which
    it is recommended. `after_previous` is how long after the dose before it it counts at all.
    """

    number: int
    earliest: date
    target: date
    after_previous: Duration | None


@dataclass(frozen=True, slots=True)
class Remaining:
    """The doses to come, in order; () where the series is complete, with the day on which it was."""

    ahead: tuple[DoseAhead, ...]
    completed: date | None
    path: str


def remaining(
    doses: Iterable[DoseGiven], on: date, protocol: str, *, soonest: bool = False
) -> Remaining:
    """What is left of a series of a grown-up after these doses.

    Args:
        doses: of vaccine, in any order, each by `on`; a dose known to the month or year counts only
            where it counts whatever the day was.
        on: no dose to come is given before this day.
        protocol: a protocol's id for which there is a schedule.
        soonest: every dose is wanted as soon as it counts, whatever is recommended for it.

    Raises:
        LookupError: there is no schedule for this protocol.
    """
    plan = schedule(protocol)
    given = [
        Given(d.when.first.toordinal(), d.when.last.toordinal(), d.cvx or UNKNOWN)
        for d in doses
        if products()[d.cvx or UNKNOWN].vaccine
    ]
    first = min((d.low for d in given), default=on.toordinal())
    born = first - GROWN_UP
    counted = list(fitted(given, born, plan.allowance))
    chosen, _ = best(counted, born, plan, dialysis=False)
    if chosen.completed is not None:
        return Remaining((), date.fromordinal(counted[chosen.completed].high), chosen.way.id)
    ahead: list[DoseAhead] = []
    walked: Walk = chosen
    today = on.toordinal()
    while walked.completed is None:
        soon = earliest(walked, counted, born)
        assert soon is not None  # noqa: S101 - a path that cannot be continued is not chosen
        day, goal = recommended(walked, counted, born, today, soon)
        target = walked.way.targets[len(walked.counted)]
        day = max(day, today)
        ahead.append(
            DoseAhead(
                len(walked.counted) + 1,
                date.fromordinal(day),
                date.fromordinal(day if soonest else max(day, goal)),
                target.from_previous,
            )
        )
        counted.append(fitted([Given(day, day, _product(target.products))], born, 0)[0])
        walked = walk(chosen.way, counted, born)
        today = day + 1
    return Remaining(tuple(ahead), None, chosen.way.id)


def _product(taken: frozenset[str] | None) -> str:
    """A product that the dose of a path takes."""
    return UNKNOWN if taken is None else min(taken)
