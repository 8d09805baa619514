"""Instants, spans and units in words, the same on every screen, sheet and line.

Names of days and months are spelled here and not taken from the machine's locale: a plan reads the same
wherever it is shown or printed.
"""

from __future__ import annotations

import re
from datetime import date, datetime, tzinfo

DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day(at: datetime, zone: tzinfo) -> str:
    """The day in the site's zone: "Thu 26 Nov 2026"."""
    return calendar_day(at.astimezone(zone).date())


def calendar_day(on: date) -> str:
    """A day of the calendar: "Thu 26 Nov 2026"."""
    return f"{DAY_NAMES[on.weekday()]} {on.day} {_MONTHS[on.month - 1]} {on.year}"


def month_name(number: int) -> str:
    """A month from 1 to 12: "Nov"."""
    return _MONTHS[number - 1]


def minute(at: datetime, zone: tzinfo) -> str:
    """Day and time in the site's zone: "Thu 26 Nov 2026, 02:40"."""
    return f"{day(at, zone)}, {at.astimezone(zone):%H:%M}"


def stamp(at: datetime, zone: tzinfo) -> str:
    """Day, time and zone: "Thu 26 Nov 2026, 02:40 CET (UTC+01:00)"."""
    local = at.astimezone(zone)
    offset = local.strftime("%z")
    name = local.tzname() or ""
    shown = f"{name} " if name.isalpha() and name != "UTC" else ""
    return f"{minute(at, zone)} {shown}(UTC{offset[:3]}:{offset[3:5]})"


def occurrence(at: datetime, precision: str, zone: tzinfo) -> str:
    """When something happened, no more exactly than it is known: to the minute, hour or date."""
    if precision == "date":
        return f"{day(at, zone)} (hour not known)"
    if precision == "hour":
        return f"{day(at, zone)} (in the hour from {at.astimezone(zone):%H}:00)"
    return stamp(at, zone)


def elapsed(since: datetime, now: datetime) -> str:
    """Whole minutes between two instants in words: "35 min", "5 h 10 min", "12 days".

    Rounded down: what is shown has certainly passed. A negative span reads "0 min".
    """
    minutes = max(0, int((now - since).total_seconds() // 60))
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 72 * 60:
        rest = f" {minutes % 60} min" if minutes % 60 else ""
        return f"{minutes // 60} h{rest}"
    return f"{minutes // (24 * 60)} days"


def inside(words: str) -> str:
    """Words as they stand inside a sentence: a small first letter, but for abbreviations and names of
    tests.

    >>> inside("Draw HCV RNA"), inside("HBsAg of the source"), inside("A booster")
    ('draw HCV RNA', 'HBsAg of the source', 'a booster')
    """
    rest = words.partition(" ")[0][1:]
    kept = any(letter.isupper() or letter.isdigit() for letter in rest)
    return words if kept else words[:1].lower() + words[1:]


def opening(words: str) -> str:
    """Words as they open a sentence: a capital first letter, the rest as it is.

    >>> opening("anti-HBs was drawn"), opening("")
    ('Anti-HBs was drawn', '')
    """
    return words[:1].upper() + words[1:]


def sentence(words: str) -> str:
    """Words with the stop that ends a sentence, unless they end in one.

    >>> sentence("The lot was recalled"), sentence("The lot was recalled."), sentence("Is it right?")
    ('The lot was recalled.', 'The lot was recalled.', 'Is it right?')
    """
    return words if words.endswith((".", "?", "!")) else f"{words}."


def counted(number: int, thing: str) -> str:
    """A number of things.

    >>> counted(1, "question"), counted(3, "question")
    ('1 question', '3 questions')
    """
    return f"{number} {thing}{'' if number == 1 else 's'}"


def unit(ucum: str) -> str:
    """A unit as people write it. UCUM has brackets around units outside the SI and braces around remarks.

    >>> unit("m[IU]/mL"), unit("{copies}/mL"), unit("umol/L"), unit("U/L")
    ('mIU/mL', 'copies/mL', 'µmol/L', 'U/L')
    """
    bare = ucum.translate(str.maketrans("", "", "[]{}"))
    return re.sub(r"^u(?=[a-z])", "µ", bare)
