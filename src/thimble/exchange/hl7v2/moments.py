"""Times as messages write them: YYYY[MM[DD[HH[MM[SS[.S]]]]]][+ZZZZ].

A time may be a whole day, and without an offset its hour depends on where it was written. So a
moment is kept as written and gives the span of instants that it can mean.

Source: HL7 v2 chapter 2, data types TS and DTM (from memory; forms seen in public test messages).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo

_SHAPE = re.compile(
    r"(?P<year>[0-9]{4})(?:(?P<month>[0-9]{2})(?:(?P<day>[0-9]{2})(?:(?P<hour>[0-9]{2})"
    r"(?:(?P<minute>[0-9]{2})(?:(?P<second>[0-9]{2})(?:\.[0-9]{1,6})?)?)?)?)?)?"
    r"(?P<offset>[+-][0-9]{4})?"
)
_STEPS = {
    "hour": timedelta(hours=1),
    "minute": timedelta(minutes=1),
    "second": timedelta(seconds=1),
}


@dataclass(frozen=True, slots=True)
class Moment:
    """A time as it was written.

    `local` is the first wall-clock time that it can mean, `upto` the first that it cannot any
    more. `offset` is the time's own, `sender` the one of the message's header.
    """

    written: str
    local: datetime
    upto: datetime
    offset: timezone | None = None
    sender: timezone | None = None

    @property
    def day(self) -> date | None:
        """The calendar day, where one is written."""
        return self.local.date() if self.upto - self.local <= timedelta(days=1) else None

    def span(self, zone: tzinfo) -> tuple[datetime, datetime]:
        """The first instant that this can mean and the first that it cannot, both in UTC.

        Args:
            zone: the site's. It is used where the time has no offset of its own; where the header
                of the message names another offset, both are held possible.
        """
        if self.offset:
            starts = [self.local.replace(tzinfo=self.offset)]
        else:
            # At the end of summer time one hour is written twice.
            starts = [self.local.replace(tzinfo=zone, fold=fold) for fold in (0, 1)]
            if self.sender:
                starts.append(self.local.replace(tzinfo=self.sender))
        ends = [self.upto.replace(tzinfo=start.tzinfo, fold=start.fold) for start in starts]
        first = min(starts, key=lambda each: each.timestamp())
        last = max(ends, key=lambda each: each.timestamp())
        # Not in `zone`: two times of one zone are compared by their clocks, not as instants.
        return first.astimezone(UTC), last.astimezone(UTC)


def read_moment(text: str, sender: timezone | None = None) -> Moment | None:
    """This time, or None where nothing is written or it is no time.

    >>> read_moment("20260302").day
    datetime.date(2026, 3, 2)
    >>> read_moment("20260230") is None
    True
    """
    shape = _SHAPE.fullmatch(text.strip())
    if shape is None:
        return None
    parts = {
        name: int(part) for name, part in shape.groupdict().items() if part and name != "offset"
    }
    try:
        offset = _offset(shape["offset"])
        local = datetime(  # noqa: DTZ001 - a wall clock; `span` gives it a zone
            parts["year"],
            parts.get("month", 1),
            parts.get("day", 1),
            parts.get("hour", 0),
            parts.get("minute", 0),
            min(parts.get("second", 0), 59),  # a leap second is the last of its minute
        )
        upto = _after(local, parts)
        # What no zone can express would fail later, far from here.
        if not 1800 <= local.year <= 2200 or parts.get("second", 0) > 60:
            return None
    except (ValueError, OverflowError):
        return None
    return Moment(text.strip(), local, upto, offset, sender)


def _after(local: datetime, parts: dict[str, int]) -> datetime:
    for name in ("second", "minute", "hour"):
        if name in parts:
            return local + _STEPS[name]
    if "day" in parts:
        return local + timedelta(days=1)
    if "month" in parts:
        return (local + timedelta(days=31)).replace(day=1)
    return local.replace(year=local.year + 1)


def _offset(text: str | None) -> timezone | None:
    if not text:
        return None
    hours, minutes = int(text[1:3]), int(text[3:])
    if hours > 14 or minutes > 59:
        raise ValueError("no offset")
    sign = -1 if text[0] == "-" else 1
    return timezone(sign * timedelta(hours=hours, minutes=minutes))
