"""The second series of many people: the doses after the first one, judged as a series of their own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .calendar_days import Days
from .doses_many import Bools, Doses, Ints, Places
from .schedule import Schedule
from .standing import Standing, next_doses
from .titres_many import TitresMany

Judge = Callable[[Doses], Standing]


@dataclass(frozen=True, slots=True)
class SecondMany:
    """By person. `asked` are its doses that count, `valid` those of both series; dates are 0 for none.

    `known` is False of whom the judge did not know.
    """

    complete: Bools
    asked: Ints
    valid: Ints
    earliest: Days
    recommended: Days
    known: Bools


def second_many(
    doses: Doses, first: Standing, titres: TitresMany, today: int, plan: Schedule, judge: Judge
) -> SecondMany:
    """The second series of everybody, empty where there is none."""
    people = len(doses.born)
    second = SecondMany(
        np.zeros(people, np.bool_),
        np.zeros(people, np.uint8),
        np.bitwise_count(first.counts),
        np.zeros(people, np.int32),
        np.zeros(people, np.int32),
        first.known.copy(),
    )
    more = (first.first + 1 < doses.count) | (titres.low_day > 0)
    some = np.flatnonzero((first.first >= 0) & more)
    own = doses.only(some)
    done = first.first.take(some)
    # What may be another record of the completing dose begins nothing.
    end = own.at(own.high, done) + 1
    rest = own.after(done + 1, end)
    found = judge(rest)
    whole = np.flatnonzero(found.complete)
    rest, who = rest.only(whole), some[whole]
    _keep(second, first, who, doses, rest, found.only(whole))
    # Where the second series is whole already, every dose since the low titre counts towards it.
    second.asked[who] = rest.after(np.zeros_like(whole), titres.low_day.take(who)).count
    second.known[some] &= found.known

    # Without a titre that asked for them, doses are a second series only once they make a whole one.
    low = np.flatnonzero(found.known & ~found.complete & (titres.low_day.take(some) > 0))
    some = some.take(low)
    rest = own.only(low).after(
        done.take(low) + 1, np.maximum(end.take(low), titres.low_day.take(some))
    )
    found = judge(rest)
    _keep(second, first, some, doses, rest, found)
    second.known[some] &= found.known
    second.earliest[some], second.recommended[some] = next_doses(found, rest, today, plan)
    return second


def _keep(
    second: SecondMany, first: Standing, some: Places, doses: Doses, rest: Doses, found: Standing
) -> None:
    """Take over a second series of those for whom it stands."""
    second.complete[some] = found.complete
    second.asked[some] = np.bitwise_count(found.counts)
    again = found.counts << (rest.begin - doses.begin.take(some)).astype(np.int32)
    second.valid[some] = np.bitwise_count(first.counts.take(some) | again)
