"""The days on which a worker can be seen, and why the others are not among them."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from thimble.clinical.site import DAYS, Site
from thimble.clinical.where_to_go import closed_because

UNAVAILABLE = "the worker is not available"


@dataclass(frozen=True, slots=True)
class OpenDays:
    """Open days from `first` to `last`, both included, ascending.

    `closed` says why each other day is not open; a day that it does not name is simply closed.
    """

    first: date
    last: date
    days: tuple[date, ...]
    closed: Mapping[date, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse days that are out of order, twice, or outside."""
        if self.last < self.first:
            raise ValueError(
                f"Days run from the first to the last; found {self.first.isoformat()} to "
                f"{self.last.isoformat()}"
            )
        if any(one >= two for one, two in zip(self.days, self.days[1:], strict=False)):
            raise ValueError("Open days are listed once each, in order")
        if self.days and not self.first <= self.days[0] <= self.days[-1] <= self.last:
            raise ValueError(
                f"Open days lie between {self.first.isoformat()} and {self.last.isoformat()}; found "
                f"{self.days[0].isoformat()} to {self.days[-1].isoformat()}"
            )

    def __contains__(self, day: date) -> bool:
        """Whether `day` is open."""
        place = bisect_left(self.days, day)
        return place < len(self.days) and self.days[place] == day

    def from_day(self, day: date) -> date | None:
        """The first open day on or after `day`; None when there is none."""
        place = bisect_left(self.days, day)
        return self.days[place] if place < len(self.days) else None

    def why_closed(self, day: date) -> str:
        """Why `day` is not open, in words; "" for an open day."""
        if day in self:
            return ""
        if day < self.first:
            return "past"
        if day > self.last:
            return "after the last day planned"
        return self.closed.get(day, "closed")


def open_days(site: Site, first: date, last: date, unavailable: Iterable[date] = ()) -> OpenDays:
    """The days on which occupational medicine has a session and the worker can come.

    Public holidays and the site's own closed days come from the site's settings. A department that is
    always open is so on holidays as well, as for where to go now.

    Args:
        site: whose opening hours.
        first: the first day looked at, usually today.
        last: the last one, included.
        unavailable: days on which the worker said not to be free.

    Raises:
        ValueError: `last` before `first`.
    """
    away = frozenset(unavailable)
    hours = site.occupational_medicine.hours
    days: list[date] = []
    closed: dict[date, str] = {}
    for ahead in range((last - first).days + 1):
        day = first + timedelta(days=ahead)
        why = None if hours.always else closed_because(site, day)
        if why is None and not hours.always and not hours.week[day.weekday()]:
            why = f"closed on {DAYS[day.weekday()].capitalize()}s"
        if why is None and day in away:
            why = UNAVAILABLE
        if why is None:
            days.append(day)
        else:
            closed[day] = why
    return OpenDays(first, last, tuple(days), closed)
