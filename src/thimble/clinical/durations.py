"""Durations as protocols write them, and how they are counted from an instant.

Hours and minutes are elapsed time. Days, weeks, months and years are calendar steps: the same time on
the wall of the site, however long the day is. Months and years end at the last day of a shorter month
(no guideline defines a month; this is a choice). A wall time that daylight saving skips moves forward
by the gap; one that occurs twice is the first.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

Unit = Literal["minutes", "hours", "days", "weeks", "months", "years"]

_FORM = re.compile(r"P(?:(?P<date>[0-9]+)(?P<step>[DWMY])|T(?P<time>[0-9]+)(?P<clock>[HM]))", re.A)
_STEPS: dict[str, Unit] = {"D": "days", "W": "weeks", "M": "months", "Y": "years"}
_CLOCKS: dict[str, Unit] = {"H": "hours", "M": "minutes"}
_LETTERS = {unit: f"P{{}}{letter}" for letter, unit in _STEPS.items()} | {
    unit: f"PT{{}}{letter}" for letter, unit in _CLOCKS.items()
}


@dataclass(frozen=True, slots=True)
class Duration:
    """A whole number of one unit, 0 or more."""

    count: int
    unit: Unit

    def __post_init__(self) -> None:
        """Refuse what no protocol can mean."""
        if self.unit not in _LETTERS:
            raise ValueError(
                f"A duration's unit is one of {', '.join(_LETTERS)}; found {self.unit!r}"
            )
        if isinstance(self.count, bool) or not isinstance(self.count, int) or self.count < 0:
            raise ValueError(f"A duration is a whole number, 0 or more; found {self.count!r}")

    def __str__(self) -> str:
        """ISO 8601: `PT72H`, `P6W`."""
        return _LETTERS[self.unit].format(self.count)

    @property
    def words(self) -> str:
        """For people.

        >>> Duration(72, "hours").words, Duration(1, "weeks").words
        ('72 hours', '1 week')
        """
        return f"{self.count} {self.unit if self.count != 1 else self.unit[:-1]}"


def parse(text: str) -> Duration:
    """An ISO 8601 duration of one component: `PTnH`, `PTnM`, `PnD`, `PnW`, `PnM` or `PnY`.

    Raises:
        ValueError: any other text.

    >>> parse("PT72H"), parse("P4M")
    (Duration(count=72, unit='hours'), Duration(count=4, unit='months'))
    """
    match = _FORM.fullmatch(text)
    if match is None:
        raise ValueError(
            "A duration is written PTnH (hours), PTnM (minutes), PnD (days), PnW (weeks), PnM (months) "
            f"or PnY (years) with a whole number n, as in PT72H or P6W; found {text!r}"
        )
    if match["date"] is not None:
        return Duration(int(match["date"]), _STEPS[match["step"]])
    return Duration(int(match["time"]), _CLOCKS[match["clock"]])


def aware(instant: datetime, what: str = "An instant") -> datetime:
    """`instant`, if it has a time zone.

    Raises:
        ValueError: it has none.
    """
    if instant.tzinfo is None or instant.utcoffset() is None:
        raise ValueError(
            f"{what} needs a time zone, as in 2026-03-02T02:40:00+01:00; found {instant.isoformat()}"
        )
    return instant


def on_the_wall(day: date, clock: time, zone: tzinfo) -> datetime:
    """The instant at which the clock on the wall in `zone` shows `clock` on `day`.

    A time that daylight saving skips moves forward by the gap; one that occurs twice is the first.

    >>> from zoneinfo import ZoneInfo
    >>> on_the_wall(date(2026, 3, 29), time(2, 30), ZoneInfo("Europe/Zurich")).isoformat()
    '2026-03-29T03:30:00+02:00'
    """
    # fold=0 reads a skipped time with the offset before the gap; the way over UTC then lands after it.
    wall = datetime.combine(day, clock.replace(tzinfo=None, fold=0), tzinfo=zone)
    return wall.astimezone(UTC).astimezone(zone)


def add(instant: datetime, duration: Duration, zone: tzinfo) -> datetime:
    """`instant` plus `duration`, as an aware datetime in `zone`.

    For a retention period that starts on 29 February do not use this: it ends on 28 February of a
    common year, and a retention period must not be shortened.

    Args:
        instant: aware.
        duration: hours and minutes elapse; the rest are calendar steps in `zone`.
        zone: the site's zone.

    Raises:
        ValueError: a naive instant, or a result outside the calendar.

    >>> from zoneinfo import ZoneInfo
    >>> zone = ZoneInfo("Europe/Zurich")
    >>> saturday = datetime(2026, 3, 28, 12, tzinfo=zone)
    >>> add(saturday, parse("PT24H"), zone).isoformat()
    '2026-03-29T13:00:00+02:00'
    >>> add(saturday, parse("P1D"), zone).isoformat()
    '2026-03-29T12:00:00+02:00'
    """
    start = aware(instant).astimezone(zone)
    # A step of nothing must not move an instant in the hour that occurs twice.
    if duration.count == 0:
        return start
    try:
        if duration.unit in ("hours", "minutes"):
            elapsed = timedelta(**{duration.unit: duration.count})
            return (instant.astimezone(UTC) + elapsed).astimezone(zone)
        return on_the_wall(_step(start.date(), duration), start.time(), zone)
    except (OverflowError, ValueError) as error:
        raise ValueError(
            f"{instant.isoformat()} plus {duration.words} lies outside the calendar"
        ) from error


def hours_between(earlier: datetime, later: datetime) -> float:
    """Elapsed hours from `earlier` to `later`, negative if it lies before; daylight saving is counted.

    Raises:
        ValueError: an instant has no time zone.

    >>> from zoneinfo import ZoneInfo
    >>> zone = ZoneInfo("Europe/Zurich")
    >>> hours_between(datetime(2026, 3, 28, 12, tzinfo=zone), datetime(2026, 3, 29, 12, tzinfo=zone))
    23.0
    """
    # Datetimes of one zone subtract as wall times; UTC makes it elapsed time.
    elapsed = aware(later).astimezone(UTC) - aware(earlier).astimezone(UTC)
    return elapsed / timedelta(hours=1)


def _step(day: date, duration: Duration) -> date:
    if duration.unit == "days":
        return day + timedelta(days=duration.count)
    if duration.unit == "weeks":
        return day + timedelta(weeks=duration.count)
    months = duration.count * (12 if duration.unit == "years" else 1)
    year, month0 = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month0 + 1)[1]
    return date(year, month0 + 1, min(day.day, last))
