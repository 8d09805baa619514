"""Steps of the calendar from day to day, for one day and for arrays of days alike.

A day is its ordinal (`date.toordinal`). Months and years follow the rule of immunisation schedules: a
day that the month lacks becomes the first of the next month, so that a step is never too short. (The
times of a follow-up end at the last day of a shorter month instead: see `durations`.)
"""

from __future__ import annotations

from datetime import date
from functools import cache

import numpy as np
from numpy.typing import NDArray

from thimble.clinical.durations import Duration

Days = NDArray[np.int32]
"""Ordinals, one a person or one a dose."""

_EPOCH = date(1970, 1, 1).toordinal()
_LENGTH = {"days": 1, "weeks": 7}
_MONTHS = {"months": 1, "years": 12}


def step(day: int, by: Duration) -> int:
    """`day` plus a calendar step.

    Source: date rules of the published immunisation logic, as remembered; its cases bear them out.

    >>> from thimble.clinical.durations import parse
    >>> born = date(2025, 5, 31).toordinal()
    >>> date.fromordinal(step(born, parse("P6M"))).isoformat()
    '2025-12-01'
    """
    if by.unit in _LENGTH:
        return day + by.count * _LENGTH[by.unit]
    start = date.fromordinal(day)
    year, month0 = divmod(start.year * 12 + start.month - 1 + by.count * _MONTHS[by.unit], 12)
    try:
        return date(year, month0 + 1, start.day).toordinal()
    except ValueError:
        return date(year + (month0 == 11), (month0 + 1) % 12 + 1, 1).toordinal()


def steps(days: Days, by: Duration) -> Days:
    """Each of `days` plus a calendar step; shape as `days`."""
    if by.unit in _LENGTH:
        return days + np.int32(by.count * _LENGTH[by.unit])
    if days.size and (days.min() < _FROM or days.max() >= _TO):
        return _computed(days, by)
    found: Days = _table(by)[days - _FROM]
    return found


_FROM, _TO = date(1800, 1, 1).toordinal(), date(2300, 1, 1).toordinal()


@cache
def _table(by: Duration) -> Days:
    """Every day of five centuries plus a step: looking one up is far faster than computing it."""
    return _computed(np.arange(_FROM, _TO, dtype=np.int32), by)


def _computed(days: Days, by: Duration) -> Days:
    at = (days - np.int32(_EPOCH)).astype("datetime64[D]")
    month = at.astype("datetime64[M]")
    within = (at - month).astype(np.int32)
    moved = month + np.timedelta64(by.count * _MONTHS[by.unit], "M")
    first = moved.astype("datetime64[D]").astype(np.int32)
    after = (moved + np.timedelta64(1, "M")).astype("datetime64[D]").astype(np.int32)
    found: Days = np.minimum(first + within, after) + np.int32(_EPOCH)
    return found


@cache
def span_days(by: Duration) -> tuple[int, int]:
    """The shortest and the longest that a calendar step can be, in days.

    >>> from thimble.clinical.durations import parse
    >>> span_days(parse("P1M")), span_days(parse("P28D"))
    ((28, 31), (28, 28))
    """
    if by.unit in _LENGTH:
        return (by.count * _LENGTH[by.unit],) * 2
    days = _table(by) - np.arange(_FROM, _TO, dtype=np.int32)
    return int(days.min()), int(days.max())
