"""Days as they are typed."""

from __future__ import annotations

from datetime import date, datetime

_YEARS = 100


def far_off(day: date, now: datetime) -> bool:
    """Whether a day lies a lifetime away from now: a slip of the keyboard, not a day that is meant.

    It also keeps off the ends of the calendar (the years 1 and 9999), where a change of zone has
    nowhere to go.
    """
    return abs(day.year - now.year) > _YEARS
