"""How long ago something was, in the words of somebody who looks whether a date is right."""

from __future__ import annotations

import calendar
from datetime import date, datetime, tzinfo

from thimble.clinical.saying import counted, elapsed, minute, occurrence

_IN_MONTHS_FROM = 3
"""Months. Below, days tell more: nobody notices that "2 months" was to be "30 days"."""


def span(day: date, today: date) -> str:
    """Whole calendar days, months or years between two days: "45 days", "7 years and 2 months".

    Rounded down. A month ends as `clinical.durations` counts it: at the last day of a shorter one.

    >>> span(date(2019, 1, 1), date(2026, 3, 3)), span(date(2026, 1, 31), date(2026, 3, 3))
    ('7 years and 2 months', '31 days')
    """
    months = (today.year - day.year) * 12 + today.month - day.month
    last = calendar.monthrange(today.year, today.month)[1]
    if today.day < min(day.day, last):
        months -= 1
    if months < _IN_MONTHS_FROM:
        return counted((today - day).days, "day")
    years, rest = divmod(months, 12)
    return " and ".join(
        counted(number, unit) for number, unit in ((years, "year"), (rest, "month")) if number
    )


def ago(at: datetime, precision: str, now: datetime, zone: tzinfo) -> str:
    """How long ago: "15 min ago"; "up to 1 h 40 min ago" where the hour or the day alone is known,
    counted from its first moment as the plan counts."""
    start = at.astimezone(zone)
    if precision in ("hour", "date"):
        start = start.replace(minute=0, second=0, microsecond=0)
    if precision == "date":
        start = start.replace(hour=0)
    days = (now - at).days
    words = elapsed(start, now) if days < 3 else span(start.date(), now.astimezone(zone).date())
    return f"{'up to ' if precision in ('hour', 'date') else ''}{words} ago"


def at_in_words(at: datetime, precision: str, zone: tzinfo) -> str:
    """The instant itself, no more exactly than it is known, and always with its year."""
    if precision in ("hour", "date"):
        return occurrence(at, precision, zone)
    return minute(at, zone)
