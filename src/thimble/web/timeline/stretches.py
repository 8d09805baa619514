"""Which stretches of time are drawn, each on a scale that is honest in itself.

The first six hours and the first three days run in elapsed time, the months to the last window in calendar
months. A window stands in each stretch that one of its limits falls in; an event in the finest that
reaches it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from thimble.clinical.durations import Duration, add, on_the_wall
from thimble.clinical.saying import day
from thimble.ledger.plan import Action, Plan
from thimble.web.timeline.scales import WIDE, Scale, Size, utc
from thimble.web.timeline.telling import Event, end_of, limits

HOURS_SCALE = timedelta(hours=6)
DAYS_SCALE = timedelta(hours=72)
"""How long the first and the second scale run."""

HOUR_TICKS = (0, 1, 2, 3, 4, 5, 6)
DAY_TICKS = (0, 6, 12, 24, 36, 48, 60, 72)


@dataclass(frozen=True, slots=True)
class Picture:
    """What is drawn: a case from `start`, which is the exposure, or the report where nobody knows it
    (`begins` says which). `unsure_to` is up to when the exposure may have been."""

    start: datetime
    begins: str
    unsure_to: datetime | None
    now: datetime
    zone: tzinfo
    plan: Plan
    actions: Sequence[Action]
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """One scale with its windows. Events up to `events_after` stand in a finer stretch."""

    title: str
    axis: str
    scale: Scale
    ticks: Sequence[tuple[datetime, str]]
    rows: Sequence[Action]
    midnights: Sequence[tuple[datetime, str]]
    events_after: datetime


def stretches(picture: Picture, size: Size) -> Iterator[Stretch]:
    """The stretches in which there is anything to see, the first hours always."""
    yield _hours(picture, size)
    for coarser in (_days(picture, size), _months(picture, size)):
        if coarser is not None:
            yield coarser


def _hours(picture: Picture, size: Size) -> Stretch:
    """The first hours: where most of what happens happens."""
    rows = _rows(picture, timedelta(0), HOURS_SCALE)
    title, axis = "The first six hours", f"Hours since the {picture.begins}"
    scale = _from_start(picture, size, utc(picture.start) + HOURS_SCALE)
    return Stretch(title, axis, scale, _ticks_at(picture, HOUR_TICKS), rows, (), picture.start)


def _days(picture: Picture, size: Size) -> Stretch | None:
    """The days after, where anything falls into them."""
    rows = _rows(picture, HOURS_SCALE, DAYS_SCALE)
    after = utc(picture.start) + HOURS_SCALE
    if not rows and max([utc(picture.now), *(utc(e.at) for e in picture.events)]) <= after:
        return None
    title, axis = "The first three days", f"Hours since the {picture.begins}"
    scale = _from_start(picture, size, utc(picture.start) + DAYS_SCALE)
    ticks = DAY_TICKS if size is WIDE else (0, 12, 24, 48, 72)
    midnights = _midnights(picture, scale)
    return Stretch(title, axis, scale, _ticks_at(picture, ticks), rows, midnights, after)


def _months(picture: Picture, size: Size) -> Stretch | None:
    """The months to the last window."""
    after = utc(picture.start) + DAYS_SCALE
    rows = _rows(picture, DAYS_SCALE, None)
    ends = [utc(at) for action in picture.actions for at in limits(action)]
    ends += [utc(event.at) for event in picture.events]
    last = max([*ends, utc(picture.now)])
    if last <= after:
        return None
    months = 1
    while utc(_month(picture, months)) < last:
        months += 1
    scale = _from_start(picture, size, _month(picture, months))
    step = math.ceil(months / (12 if size is WIDE else 6))
    ticks = [(_month(picture, n), f"{n} mo" if n else "0") for n in range(0, months + 1, step)]
    title = "The months after" if rows else "Until now"
    axis = f"Months since the {picture.begins}"
    return Stretch(title, axis, scale, ticks, rows, (), after)


def _from_start(picture: Picture, size: Size, end: datetime) -> Scale:
    return Scale(picture.start, end, size.margin, size.width - size.margin)


def _ticks_at(picture: Picture, hours: Iterable[int]) -> list[tuple[datetime, str]]:
    return [(utc(picture.start) + timedelta(hours=hour), f"{hour} h") for hour in hours]


def _rows(picture: Picture, after: timedelta, until: timedelta | None) -> list[Action]:
    """The windows with a limit in this stretch after the start; its end is included."""
    begin = utc(picture.start) + after
    end = None if until is None else utc(picture.start) + until
    return [
        action
        for action in picture.actions
        if end_of(action) is not None
        and any(
            utc(at) > begin and (end is None or utc(at) <= end)
            for at in (action.window.target, action.window.latest)
            if at is not None
        )
    ]


def _month(picture: Picture, count: int) -> datetime:
    return add(picture.start, Duration(count, "months"), picture.zone)


def _midnights(picture: Picture, scale: Scale) -> tuple[tuple[datetime, str], ...]:
    """The midnights on a scale, as the clocks of the site have them: a day may be 23 or 25 h."""
    found = []
    first = scale.start.astimezone(picture.zone).date()
    for ahead in range(1, 5):
        at = on_the_wall(first + timedelta(days=ahead), time(0), picture.zone)
        if scale.holds(at):
            found.append((at, day(at, picture.zone).rsplit(" ", 1)[0]))
    return tuple(found)
