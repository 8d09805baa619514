"""From windows in instants to windows in days, never wider than they were.

A visit is on a day, at an hour that is agreed later. So a day counts only if every moment of every
session on it lies in the window. Where no such day is open, the days that lie in it in part are taken,
each with the hours that do: a review due within 72 hours of a Friday afternoon is due on Monday before
that hour, and must not be lost to rounding.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from thimble.clinical.durations import aware, on_the_wall
from thimble.clinical.site import Site
from thimble.clinical.visits.days import OpenDays
from thimble.clinical.visits.items import PartOfDay, Span, shared
from thimble.clinical.where_to_go import openings

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class DayWindow:
    """A window in days, for an `Item`. Where `hours` is not empty the days in the window may only be
    used within these hours: say so wherever the visit is shown."""

    earliest: date | None
    target: date | None
    latest: date | None
    hours: tuple[PartOfDay, ...] = ()


def day_window(
    earliest: datetime | None,
    target: datetime | None,
    latest: datetime | None,
    site: Site,
    days: OpenDays,
) -> DayWindow:
    """The days of a window that is given in instants.

    The first day is that of `earliest` if its sessions begin no sooner, else the next; the last day is
    that of `latest` if its sessions end by then, else the one before. A window too short for a whole
    session holds no day: its `earliest` lies after its `latest`.

    Args:
        earliest: not before, inclusive, or None.
        target: the best instant, or None; it becomes its day in the site's zone.
        latest: no later than, inclusive, or None.
        site: whose opening hours and zone.
        days: the days on which the worker can be seen; only to tell whether parts of days are needed.

    Raises:
        ValueError: an instant without a time zone, or a window that ends before it opens.
    """
    zone = site.zone
    opens = None if earliest is None else aware(earliest, "The earliest instant").astimezone(UTC)
    best = None if target is None else aware(target, "The target").astimezone(zone).date()
    ends = None if latest is None else aware(latest, "The latest instant").astimezone(UTC)
    if opens is not None and ends is not None and opens > ends:
        raise ValueError(
            "A window opens before its latest instant; found "
            f"{opens.isoformat()} and {ends.isoformat()}"
        )
    first = None if opens is None else _first_whole(opens, site)
    last = None if ends is None else _last_whole(ends, site)
    if _holds(days, first, last):
        return DayWindow(first, best, last)
    edges = {instant.astimezone(zone).date() for instant in (opens, ends) if instant is not None}
    parts = tuple(
        part for day in sorted(edges) if day in days and (part := _part(day, opens, ends, site))
    )
    if not parts:
        return DayWindow(first, best, last)
    return DayWindow(parts[0].day, best, parts[-1].day, parts)


def why_not_at(at: datetime, parts: Iterable[PartOfDay], site: Site) -> str:
    """Why a visit cannot be held at an instant, in half a sentence; "" where it can.

    Args:
        at: the hour that was agreed, aware.
        parts: the hours of that day, of all that is held then and is limited to some.
    """
    day = at.astimezone(site.zone).date()
    open_ = sessions(day, site)
    limited = shared(parts)
    if not any(start <= at < end for start, end in open_):
        return (
            f"the clinic is open from {_listed(open_, site)}" if open_ else "the clinic is closed"
        )
    if limited and not any(start <= at <= end for start, end in limited):
        return f"what is held then counts only from {_listed(limited, site)}"
    return ""


def _listed(spans: Iterable[Span], site: Site) -> str:
    return " or ".join(
        f"{start.astimezone(site.zone):%H:%M} to {end.astimezone(site.zone):%H:%M}"
        for start, end in spans
    )


def sessions(day: date, site: Site) -> tuple[Span, ...]:
    """The sessions of a day in UTC; none on a day that is closed."""
    hours = site.occupational_medicine.hours
    if hours.always:
        start, end = (
            on_the_wall(each, datetime.min.time(), site.zone).astimezone(UTC)
            for each in (day, day + _DAY)
        )
        return ((start, end),)
    return tuple((one.astimezone(UTC), two.astimezone(UTC)) for one, two in openings(site, day))


def _first_whole(instant: datetime, site: Site) -> date:
    day = instant.astimezone(site.zone).date()
    return day if all(start >= instant for start, _ in sessions(day, site)) else day + _DAY


def _last_whole(instant: datetime, site: Site) -> date:
    day = instant.astimezone(site.zone).date()
    return day if all(end <= instant for _, end in sessions(day, site)) else day - _DAY


def _holds(days: OpenDays, first: date | None, last: date | None) -> bool:
    """Whether an open day lies in the window. One that goes on past what is planned is taken to."""
    found = days.from_day(first or days.first)
    if found is None:
        return last is None or last > days.last
    return last is None or found <= last


def _part(day: date, opens: datetime | None, ends: datetime | None, site: Site) -> PartOfDay | None:
    """From the first to the last moment of the day's sessions that lies in the window."""
    inside = [
        (start if opens is None else max(start, opens), end if ends is None else min(end, ends))
        for start, end in sessions(day, site)
        # Closing is exclusive, the end of a window is not.
        if (opens is None or opens < end) and (ends is None or start <= ends)
    ]
    if not inside:
        return None
    spans = tuple((one.astimezone(site.zone), two.astimezone(site.zone)) for one, two in inside)
    return PartOfDay(day, spans[0][0], spans[-1][1], spans)
