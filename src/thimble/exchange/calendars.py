"""Appointments as an iCalendar file (RFC 5545, RFC 7986). Bytes only; nothing here opens a socket.

A visit with an hour is at that hour in the zone of the site, with the zone's rules in the file; one
without is a whole day in the site's calendar (`VALUE=DATE`), marked as time that stays free. No METHOD is
named: the file is a calendar to read, no invitation to answer; DTSTAMP is then when the appointment last
changed, and the same appointments give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event, Timezone, TimezoneStandard

from thimble import __version__
from thimble.clinical.durations import on_the_wall
from thimble.clinical.neutral import require_neutral
from thimble.clinical.visits.appointments import Appointment
from thimble.exchange.time_zones import time_zone

FETCHED_AGAIN = timedelta(hours=12)
"""How often a calendar is asked to look for changes."""

REMINDED = timedelta(hours=-15)
"""When a calendar reminds, counted from midnight of the day: nine in the morning of the day before."""

SHOWN_FOR = timedelta(minutes=30)
"""How long a calendar shows a visit with an hour; how long it takes, nobody has said."""

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Words:
    """What a calendar says: its own name, and of each appointment what, where and a line of advice.

    Nobody but the worker may learn from it what the visits are for.
    """

    name: str
    summary: str
    place: str = ""
    advice: str = ""


def calendar(appointments: Iterable[Appointment], words: Words, zone: ZoneInfo) -> bytes:
    """A calendar of these appointments, in order of their days, those that fell away as cancelled.

    Args:
        zone: of the site, whose clock shows the hours.

    Raises:
        Telling: the words give away what the visits are for.
    """
    for text in (words.name, words.summary, words.place, words.advice):
        require_neutral(text)
    made = Calendar()
    made.add("prodid", f"-//Thimble//Appointments {__version__}//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("name", words.name)
    made.add("x-wr-calname", words.name)
    made.add("refresh-interval", FETCHED_AGAIN, parameters={"VALUE": "DURATION"})
    made.add("x-published-ttl", f"PT{FETCHED_AGAIN // timedelta(hours=1)}H")
    known = sorted(appointments, key=_in_order)
    if years := [each.day.year for each in known if each.hour is not None]:
        made.add_component(time_zone(zone, min(years), max(years)))
    for appointment in known:
        made.add_component(_event(appointment, words, zone))
    if not made.subcomponents:
        # A calendar holds at least one component (RFC 5545, 3.6).
        made.add_component(_utc())
    return bytes(made.to_ical())


@dataclass(frozen=True, slots=True)
class AtAnHour:
    """An appointment with a beginning and an end, both aware; `uid` and `sequence` as `Appointment`'s."""

    uid: str
    sequence: int
    begins: datetime
    ends: datetime
    made_at: datetime


def one_at_an_hour(appointment: AtAnHour, words: Words) -> bytes:
    """A calendar file of one appointment at an hour, in UTC, so that every device shows its own time.

    Raises:
        Telling: the words give away what it is for.
    """
    for text in (words.summary, words.place, words.advice):
        require_neutral(text)
    made = Calendar()
    made.add("prodid", f"-//Thimble//Appointments {__version__}//EN")
    made.add("version", "2.0")
    event = Event()
    event.add("uid", appointment.uid)
    event.add("dtstamp", appointment.made_at.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", appointment.sequence)
    event.add("status", "CONFIRMED")
    event.add("dtstart", appointment.begins.astimezone(UTC))
    event.add("dtend", appointment.ends.astimezone(UTC))
    _say(event, words)
    made.add_component(event)
    return bytes(made.to_ical())


def _say(event: Event, words: Words) -> None:
    event.add("summary", words.summary)
    if words.place:
        event.add("location", words.place)
    if words.advice:
        event.add("description", words.advice)
    event.add("class", "PRIVATE")


def _in_order(each: Appointment) -> tuple[date, time, str]:
    return each.day, each.hour or time(0), each.uid


def _event(appointment: Appointment, words: Words, zone: ZoneInfo) -> Event:
    event = Event()
    changed = appointment.changed_at.astimezone(UTC).replace(microsecond=0)
    event.add("uid", appointment.uid)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("created", appointment.made_at.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", appointment.sequence)
    event.add("status", "CANCELLED" if appointment.cancelled else "CONFIRMED")
    if appointment.hour is None:
        event.add("dtstart", appointment.day)
        event.add("dtend", appointment.day + _DAY)
    else:
        # On the wall: an hour that summer time skips is the one after it, and no zone is left out.
        begins = on_the_wall(appointment.day, appointment.hour, zone)
        event.add("dtstart", begins)
        event.add("dtend", (begins.astimezone(UTC) + SHOWN_FOR).astimezone(zone))
    _say(event, words)
    event.add("transp", "TRANSPARENT" if appointment.hour is None else "OPAQUE")
    if not appointment.cancelled:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", words.summary)
        alarm.add("trigger", REMINDED if appointment.hour is None else -_DAY)
        event.add_component(alarm)
    return event


def _utc() -> Timezone:
    zone = Timezone()
    zone.add("tzid", "UTC")
    standard = TimezoneStandard()
    standard.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 - local to the zone it defines
    standard.add("tzoffsetfrom", timedelta(0))
    standard.add("tzoffsetto", timedelta(0))
    zone.add_component(standard)
    return zone
