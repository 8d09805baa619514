"""Where people go, whom they call, and when that is open."""

from __future__ import annotations

import re
from datetime import date, datetime, time

from thimble.clinical.settings import Settings
from thimble.clinical.site.model import DAYS, ClosedDay, Expert, Hours, Place, Session

_SESSION = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])-([01][0-9]|2[0-3]):([0-5][0-9])", re.A)


def read_closed_days(read: Settings) -> tuple[ClosedDay, ...]:
    """The days on which occupational medicine stays closed, in order."""
    days: dict[date, ClosedDay] = {}
    for item in read.tables("closed_days"):
        day = item.take("date")
        reason = item.text("reason")
        item.refuse_the_rest()
        if day is None:
            continue
        # A TOML date-time is a date to Python.
        if not isinstance(day, date) or isinstance(day, datetime):
            item.fault("date", f"is a date without quotes, such as 2026-12-24; found {day!r}")
        elif day in days:
            item.fault("date", f"is listed twice: {day.isoformat()}")
        else:
            days[day] = ClosedDay(day, reason)
    return tuple(days[day] for day in sorted(days))


def read_place(read: Settings, key: str, *, always: bool) -> Place:
    """Somewhere to go; `always`: it is open day and night."""
    table = read.table(key)
    if table is None:
        return Place("", "", "", Hours())
    place = Place(
        name=table.text("name"),
        where=table.text("where"),
        phone=table.phone("phone"),
        hours=Hours(always=True) if always else _weekly_hours(table),
    )
    if always and table.has("hours"):
        table.take("hours")
        table.fault("hours", "is not a key here: the emergency department is always open")
    table.refuse_the_rest()
    return place


def _weekly_hours(read: Settings) -> Hours:
    table = read.table("hours")
    if table is None:
        return Hours()
    table.allow(*DAYS)
    week = tuple(_sessions(table, day) if table.has(day) else () for day in DAYS)
    table.refuse_the_rest()
    if not any(table.has(day) for day in DAYS):
        read.fault("hours", 'names no day: list at least one, as in monday = ["08:00-16:30"]')
    return Hours(week=week)


def _sessions(read: Settings, day: str) -> tuple[Session, ...]:
    found = read.take(day)
    form = 'a list of opening hours, such as ["08:00-12:00", "13:00-16:30"]'
    if not isinstance(found, list):
        read.fault(day, f"is {form}; found {found!r}")
        return ()
    sessions: list[Session] = []
    for text in found:
        match = _SESSION.fullmatch(text) if isinstance(text, str) else None
        if match is None:
            read.fault(day, f"is {form}; found {text!r}")
            return ()
        opens_hour, opens_minute, closes_hour, closes_minute = map(int, match.groups())
        session = Session(time(opens_hour, opens_minute), time(closes_hour, closes_minute))
        if session.closes <= session.opens:
            read.fault(day, f"closes after it opens, on the same day; found {text!r}")
            return ()
        if sessions and session.opens <= sessions[-1].closes:
            read.fault(day, f"has its hours in order and apart; found {sessions[-1]} then {text}")
            return ()
        sessions.append(session)
    return tuple(sessions)


def read_expert(read: Settings) -> Expert:
    """Whom to call for advice."""
    table = read.table("expert_phone")
    if table is None:
        return Expert("", "")
    expert = Expert(name=table.text("name"), number=table.phone("number"))
    table.refuse_the_rest()
    return expert
