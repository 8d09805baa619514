"""What the titres of many people say, beside the doses they followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .calendar_days import Days, steps
from .deciding import BEST, LATEST, LOW
from .doses_many import Bools, Bytes, Doses, Ints, Places, key_of, parts, put_in_order
from .infection import LEVELS, OPEN, TEN
from .schedule import Schedule
from .standing import LATE, Standing

NEVER = 0
"""Stands for no date; ordinals begin at 1."""
_MOST = len(LEVELS)


@dataclass(frozen=True, slots=True)
class TitresMany:
    """By person: the facts, and the days that they rest on (NEVER for none).

    `panel` is the level of the latest titre of all, whether or not it tells of the response.
    """

    best: Bytes
    latest: Bytes
    low_titre: Bytes
    dose_since_latest: Bools
    dose_since_ten: Bools
    latest_high: Days
    low_day: Days
    low_high: Days
    panel: Bytes


def _best(level: str) -> int:
    return BEST.index("open" if level in OPEN else level if level in BEST else "none")


def _latest(level: str) -> int:
    if level in OPEN:
        return LATEST.index("open")
    return LATEST.index("ten_or_more" if level in TEN else level if level in LATEST else "none")


_BEST = np.array([_best(level) for level in LEVELS], np.uint8)
_LATEST = np.array([_latest(level) for level in LEVELS], np.uint8)
_TEN = np.array([level in TEN for level in LEVELS])
_BELOW = LEVELS.index("below_10")
_NOT_KNOWN = LEVELS.index("not_known")


@dataclass(frozen=True, slots=True)
class _Rows:
    """Titres in order; `before` is the row of the last dose before each."""

    who: Ints
    low: Days
    high: Days
    level: Ints
    before: Places

    def only(self, some: Places) -> _Rows:
        return _Rows(
            self.who.take(some),
            self.low.take(some),
            self.high.take(some),
            self.level.take(some),
            self.before.take(some),
        )


def titre_facts(
    who: Ints, level: Ints, low: Days, high: Days, doses: Doses, standing: Standing, plan: Schedule
) -> TitresMany:  # fmt: skip
    """The facts of everybody; `who` ascends."""
    people = len(doses.born)
    best, latest, low_titre, panel = (np.zeros(people, np.uint8) for _ in range(4))
    latest_low, latest_high, low_day, low_high, ten = (np.zeros(people, np.int32) for _ in range(5))
    # Of two of the same days the more protective stands first.
    key = key_of(who, high, low, _MOST - level)
    put_in_order(key)
    who, high, low, turned = parts(key)
    level = _MOST - turned
    ends = last_of_each(who)
    panel[who.take(ends)] = level.take(ends)

    told = _telling(who, low, high, level, doses, standing, plan)
    who, low, high, level = told.who, told.low, told.high, told.level
    ends = last_of_each(who)
    if len(ends):
        own = who.take(ends)
        starts = np.append(0, ends[:-1] + 1)
        best[own] = _BEST.take(np.maximum.reduceat(level, starts))
        latest[own] = _LATEST.take(level.take(ends))
        latest_low[own], latest_high[own] = low.take(ends), high.take(ends)
        ten[own] = np.minimum.reduceat(np.where(_TEN.take(level), low, LATE), starts)
        ten[ten == LATE] = NEVER
        below = told.only(np.flatnonzero(level == _BELOW))
        first = np.lexsort((below.high, below.low, below.who))
        first = first[first_of_each(below.who.take(first))]
        asking = below.only(first)
        low_day[asking.who], low_high[asking.who] = asking.low, asking.high
        window = steps(doses.low.take(asking.before), plan.titre.window_ends.after)
        in_window = asking.high <= window
        low_titre[asking.who] = np.where(in_window, LOW.index("in_window"), LOW.index("late"))
    last = doses.at(doses.low, doses.count - 1)
    later = doses.count - 1 > standing.first
    return TitresMany(
        best,
        latest,
        low_titre,
        later & (latest_low > 0) & (last >= latest_low),
        later & (ten > 0) & (last >= ten),
        latest_high,
        low_day,
        low_high,
        panel,
    )


def _telling(
    who: Ints, low: Days, high: Days, level: Ints, doses: Doses, standing: Standing, plan: Schedule
) -> _Rows:  # fmt: skip
    """The titres that tell of the response: after a complete series, late enough after the dose before."""
    rows = np.flatnonzero((standing.first.take(who) >= 0) & (level != _NOT_KNOWN))
    begin = doses.begin.take(who.take(rows))
    completing = begin + standing.first.take(who.take(rows))
    after = doses.low.take(completing) < high.take(rows)
    rows, begin = rows[after], begin[after]
    drawn = high.take(rows)
    before = begin + doses.count.take(who.take(rows)) - 1
    later = np.flatnonzero(doses.low.take(before) >= drawn)
    while len(later):
        before[later] -= 1
        later = later[doses.low.take(before[later]) >= drawn[later]]
    wait = steps(doses.reach.take(before), plan.titre.counts_from.after)
    late = np.flatnonzero(wait <= low.take(rows))
    rows = rows[late]
    return _Rows(who.take(rows), low.take(rows), high.take(rows), level.take(rows), before[late])


def first_of_each(who: Ints) -> Places:
    """The first row of each person, of rows in order."""
    return np.flatnonzero(np.append(True, who[1:] != who[:-1])) if len(who) else who


def last_of_each(who: Ints) -> Places:
    """The last row of each person, of rows in order."""
    return np.flatnonzero(np.append(who[1:] != who[:-1], True)) if len(who) else who
