"""The rules of a time zone as a calendar file carries them (RFC 5545, 3.6.5), for some years."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

_MINUTE, _DAY = timedelta(minutes=1), timedelta(days=1)


def time_zone(zone: ZoneInfo, first: int, last: int) -> Timezone:
    """The zone from the first to the last of these years, both included.

    Each change of the clocks stands by itself: none is repeated into years that nobody has ruled on.
    """
    made = Timezone()
    made.add("tzid", zone.key)
    start = datetime(first - 1, 12, 1, tzinfo=UTC)
    _add(made, start, start, zone)
    for at in _changes(zone, start, datetime(last + 1, 1, 2, tzinfo=UTC)):
        _add(made, at - _MINUTE, at, zone)
    return made


def _changes(zone: ZoneInfo, start: datetime, end: datetime) -> list[datetime]:
    """The instants at which the clocks change, to the minute."""
    found = []
    day = start
    while day < end:
        if _offset(day, zone) != _offset(day + _DAY, zone):
            low, high = day, day + _DAY
            while high - low > _MINUTE:
                middle = low + (high - low) // 2 // _MINUTE * _MINUTE
                if _offset(middle, zone) == _offset(low, zone):
                    low = middle
                else:
                    high = middle
            found.append(high)
        day += _DAY
    return found


def _add(made: Timezone, before: datetime, at: datetime, zone: ZoneInfo) -> None:
    local = at.astimezone(zone)
    part = TimezoneDaylight() if local.dst() else TimezoneStandard()
    # The clock on the wall as it still stood: what the change is counted from.
    part.add("dtstart", at.replace(tzinfo=None) + _offset(before, zone))
    part.add("tzoffsetfrom", _offset(before, zone))
    part.add("tzoffsetto", _offset(at, zone))
    part.add("tzname", local.tzname() or zone.key)
    made.add_component(part)


def _offset(at: datetime, zone: ZoneInfo) -> timedelta:
    return at.astimezone(zone).utcoffset() or timedelta(0)
