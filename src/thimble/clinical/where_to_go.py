"""Where an exposed worker goes now: occupational medicine while it is open, otherwise emergency."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

import holidays

from thimble.clinical.durations import aware, on_the_wall
from thimble.clinical.site import DAYS, Place, Site

HORIZON_DAYS = 400
"""How far ahead to look for the next opening. A year holds every yearly closure once."""


@dataclass(frozen=True, slots=True)
class WhereToGo:
    """Where to go, until when, and where after that.

    `until` is when `then` takes over, exclusive; both are None when that does not happen within
    `HORIZON_DAYS`. `opens_again` is when occupational medicine next opens after `now`. Instants are
    in the site's zone.
    """

    place: Place
    until: datetime | None
    then: Place | None
    opens_again: datetime | None
    why: str


def where_to_go(site: Site, now: datetime) -> WhereToGo:
    """Where a worker exposed at this site goes at `now`. Opening inclusive, closing exclusive.

    Raises:
        ValueError: `now` has no time zone.
    """
    local = aware(now, "Now").astimezone(site.zone)
    moment = local.astimezone(UTC)
    medicine, emergency = site.occupational_medicine, site.emergency_department
    if medicine.hours.always:
        return WhereToGo(medicine, None, None, None, f"{medicine.name} is always open.")
    closes: datetime | None = None
    opens_again: datetime | None = None
    for ahead in range(HORIZON_DAYS):
        for opens, ends in openings(site, local.date() + timedelta(days=ahead)):
            if opens.astimezone(UTC) <= moment < ends.astimezone(UTC):
                closes = ends
            elif opens.astimezone(UTC) > moment and opens_again is None:
                opens_again = opens
        if opens_again is not None:
            break
    if closes is not None:
        why = f"{medicine.name} is open until {closes:%H:%M}."
        return WhereToGo(medicine, closes, emergency, opens_again, why)
    then = medicine if opens_again is not None else None
    return WhereToGo(emergency, opens_again, then, opens_again, _why_closed(site, local))


def openings(site: Site, day: date) -> tuple[tuple[datetime, datetime], ...]:
    """When occupational medicine opens and closes on `day`, as instants in the site's zone."""
    if closed_because(site, day) is not None:
        return ()
    return tuple(
        (on_the_wall(day, session.opens, site.zone), on_the_wall(day, session.closes, site.zone))
        for session in site.occupational_medicine.hours.week[day.weekday()]
    )


def closed_because(site: Site, day: date) -> str | None:
    """Why occupational medicine stays closed on `day`: the site's reason or a public holiday.

    None on any other day, also on one that has no opening hours.
    """
    for closed in site.closed_days:
        if closed.day == day:
            return closed.reason
    return public_holiday(site.holidays_country, site.holidays_subdivision, day)


def public_holiday(country: str, subdivision: str, day: date) -> str | None:
    """The name of the public holiday on `day`, in English where the calendar has it, else None.

    Args:
        country: ISO 3166-1 two-letter code.
        subdivision: the part of the country, or "".
        day: the date.
    """
    name = _year(country, subdivision, day.year).get(day)
    return None if name is None else str(name)


@lru_cache(maxsize=64)
def _year(country: str, subdivision: str, year: int) -> holidays.HolidayBase:
    entity = getattr(holidays, country)
    english = [tag for tag in ("en_GB", "en_US") if tag in entity.supported_languages]
    return holidays.country_holidays(
        country,
        subdiv=subdivision or None,
        years=year,
        # Another year must come from its own call: the calendar is shared and must not grow.
        expand=False,
        language=english[0] if english else None,
    )


def _why_closed(site: Site, local: datetime) -> str:
    name = site.occupational_medicine.name
    reason = closed_because(site, local.date())
    if reason is not None:
        return f"{name} is closed today: {reason}."
    today = openings(site, local.date())
    if not today:
        return f"{name} is closed on {DAYS[local.weekday()].capitalize()}s."
    moment = local.astimezone(UTC)
    later = [opens for opens, _ in today if opens.astimezone(UTC) > moment]
    if later:
        return f"{name} is closed until {later[0]:%H:%M}."
    return f"{name} closed at {today[-1][1]:%H:%M}."
