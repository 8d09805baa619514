"""Since when a step that is due could have been done: the first day from which it was due without a break.

Nobody set a day for most steps, so none is ever overdue by itself; how long one stands is counted instead.
What was on record by each day is judged as of that day; work and what the house asks for are today's.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta, tzinfo

from thimble.people.fold import Person

Steps = Mapping[Hashable, date]
"""What is still to be done, as seen on a day, each with its day: never before the one it is seen on."""

_DAY = timedelta(days=1)


def due_since(
    due: Iterable[Hashable],
    person: Person,
    on: date,
    zone: tzinfo,
    steps: Callable[[Person, date], Steps],
) -> dict[Hashable, date]:
    """Of each step that is due on a day the first day of the time for which it has been.

    No day lies before the file was opened: nobody could have known of it here.

    Args:
        zone: the one whose days the register is read in.
        steps: what is to be done by the file of a person on a day. While nothing is written down, a step
            that has come stays.
    """
    if person.enrolled_at.astimezone(zone).date() >= on:
        return dict.fromkeys(due, on)
    written = {e.entry: e.recorded_at.astimezone(zone).date() for e in person.evidence}
    opened = person.enrolled_at.astimezone(zone).date()

    def known(day: date) -> Person:
        told = tuple(e for e in person.evidence if written[e.entry] <= day)
        return person if len(told) == len(person.evidence) else replace(person, evidence=told)

    left = set(due)
    found: dict[Hashable, date] = {}
    end = on
    for day in sorted({opened, *(d for d in written.values() if opened < d <= on)}, reverse=True):
        if not left:
            break
        then = known(day)
        if end < on:
            # As it stood before what was written down on the day after.
            last = steps(then, end)
            new = {step for step in left if last.get(step, date.max) > end}
            found |= dict.fromkeys(new, end + _DAY)
            left -= new
        first = steps(then, day)
        for step in sorted(left, key=str):
            if (from_ := first.get(step)) is None:
                found[step] = _first(steps, then, step, day, end)
            elif from_ > day:
                found[step] = min(from_, end)
        left -= set(found)
        end = day - _DAY
    return found | dict.fromkeys(left, opened)


def _first(
    steps: Callable[[Person, date], Steps], then: Person, step: Hashable, low: date, high: date
) -> date:
    """The first day after `low` on which a step is due that is due on `high`."""
    while (high - low).days > 1:
        middle = low + (high - low) // 2
        due = steps(then, middle).get(step, date.max) <= middle
        low, high = (low, middle) if due else (middle, high)
    return high
