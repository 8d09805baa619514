"""The settings of a site: who it is, where people go, when that is open, which protocol it follows.

Read from a TOML file, as strictly as a protocol: an unknown key is refused, and every fault is told at
once, in a sentence.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import holidays

from thimble.clinical.diseases import ASKED, DISEASES
from thimble.clinical.durations import Duration, parse
from thimble.clinical.fitness.vocabulary import vocabulary as fitness_vocabulary
from thimble.clinical.labels import Labels, read_labels
from thimble.clinical.laboratory import Local, read_local
from thimble.clinical.library import shipped
from thimble.clinical.neutral import is_mail_address, telling_words
from thimble.clinical.source_rules import SourceRules, read_source_rules
from thimble.clinical.stocked import Stocked, read_stocked

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_LONGEST_HOLD = {"days": 1826, "weeks": 260, "months": 60, "years": 5}
"""The most of each unit that a certificate of clearance may be made to hold."""

_SESSION = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])-([01][0-9]|2[0-3]):([0-5][0-9])", re.A)
_WEB_ADDRESS = re.compile(
    r"https?://[A-Za-z0-9.\-]*[A-Za-z0-9](?::[0-9]{1,5})?(?:/[A-Za-z0-9._~\-]+)*", re.A
)
_NUMBER = re.compile(r"[0-9+*#(). /\-]*[0-9][0-9+*#(). /\-]*(?: ext\.? [0-9]+)?", re.A)


@dataclass(frozen=True, slots=True)
class Session:
    """One stretch of opening on one day, in wall time: `opens` included, `closes` not."""

    opens: time
    closes: time

    def __str__(self) -> str:
        return f"{self.opens:%H:%M}-{self.closes:%H:%M}"


@dataclass(frozen=True, slots=True)
class Hours:
    """Weekly opening hours: seven days from Monday, each with its sessions in order; or always open."""

    week: tuple[tuple[Session, ...], ...] = ((),) * 7
    always: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere to go: its name, the way there, its telephone number and when it is open."""

    name: str
    where: str
    phone: str
    hours: Hours


@dataclass(frozen=True, slots=True)
class Expert:
    """Whom to call for advice."""

    name: str
    number: str


@dataclass(frozen=True, slots=True)
class ClosedDay:
    """A day on which occupational medicine stays closed, beside public holidays, and why."""

    day: date
    reason: str


@dataclass(frozen=True, slots=True)
class Messages:
    """What calendars and mail to a worker may say, and whether mail is sent at all.

    Others see them: nothing here may tell what a visit is for. `appointment` is the whole of a subject
    and of a calendar's entry; `place` may be empty. `sender` is the address that mail comes from; while
    it is empty, none is sent. `days_ahead` is how many days before a visit a reminder goes out.
    """

    appointment: str = "Appointment"
    place: str = ""
    sender: str = ""
    days_ahead: int = 2


@dataclass(frozen=True, slots=True)
class Site:
    """One hospital's settings.

    `certificates_hold` is how long a certificate of clearance holds at most; None takes the shipped rule.

    `holidays_subdivision`, `consent_wording` and `first_aid_notes` may be empty; a document leaves a
    space to write in for an empty wording. `fitness_rule_set` is the one that fitness for work is decided
    by; empty, it is asked each time. `invented` marks a site that does not exist.
    """

    name: str
    short_name: str
    address_lines: tuple[str, ...]
    base_url: str
    zone: ZoneInfo
    holidays_country: str
    holidays_subdivision: str
    closed_days: tuple[ClosedDay, ...]
    protocol: str
    invented: bool
    occupational_medicine: Place
    emergency_department: Place
    expert_phone: Expert
    laboratory_phone: str
    emergency_phone: str
    consent_wording: str
    first_aid_notes: tuple[str, ...]
    evidence_asked: tuple[str, ...] = ASKED
    fitness_rule_set: str = ""
    certificates_hold: Duration | None = None
    messages: Messages = Messages()
    stocked: Stocked = field(default_factory=Stocked)
    source_patient: SourceRules = field(default_factory=SourceRules)
    laboratory: Local = field(default_factory=Local)
    labels: Labels = field(default_factory=Labels)


class SiteError(ValueError):
    """Faults of a site's settings. `faults` holds one sentence each."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


def load_site(path: Path) -> Site:
    """The site that a TOML file describes.

    Raises:
        SiteError: the file cannot be read or has faults; every one is listed.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise SiteError([f"{path} cannot be read: {error.strerror}"]) from error
    except UnicodeDecodeError as error:
        raise SiteError([f"{path} is not UTF-8 text"]) from error
    try:
        settings = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SiteError([f"{path} is not TOML: {error}"]) from error
    return parse_site(settings, where=path.name)


def parse_site(settings: Mapping[str, Any], where: str = "site") -> Site:
    """The site that `settings` describe.

    Args:
        settings: keys as the fields of `Site`; `zone` as a name such as `Europe/Zurich`;
            `closed_days` as tables of `date` and `reason`; `occupational_medicine` as a table of
            `name`, `where`, `phone` and `hours`, which maps days to lists of `08:00-16:30`;
            `emergency_department` likewise without hours, as it is always open; `expert_phone` as a
            table of `name` and `number`; `stock_places` and `stock_products` as lists of tables
            (see `clinical.stocked`), both of which may be left out.
        where: the file's name, for messages.

    Raises:
        SiteError: one sentence for each fault: key, what was found, what is allowed.
    """
    read = _Reader(settings, where)
    site = _site(read)
    read.refuse_the_rest()
    if read.faults:
        raise SiteError(read.faults)
    return site


def _site(read: _Reader) -> Site:
    return Site(
        name=read.text("name"),
        short_name=read.text("short_name"),
        address_lines=read.texts("address_lines"),
        base_url=_base_url(read),
        zone=_zone(read),
        holidays_country=(country := _country(read)),
        holidays_subdivision=_subdivision(read, country),
        closed_days=_closed_days(read),
        protocol=read.one_of("protocol", shipped()),
        invented=read.flag("invented"),
        occupational_medicine=_place(read, "occupational_medicine", always=False),
        emergency_department=_place(read, "emergency_department", always=True),
        expert_phone=_expert(read),
        laboratory_phone=read.phone("laboratory_phone"),
        emergency_phone=read.phone("emergency_phone"),
        consent_wording=read.text("consent_wording", may_be_empty=True),
        first_aid_notes=read.texts("first_aid_notes", may_be_empty=True),
        evidence_asked=_evidence_asked(read),
        fitness_rule_set=_fitness_rule_set(read),
        certificates_hold=_certificates_hold(read),
        messages=_messages(read),
        stocked=read_stocked(read),
        source_patient=read_source_rules(read),
        laboratory=read_local(read),
        labels=read_labels(read),
    )


class _Reader:
    """Takes keys from a table, notes faults, and goes on with a stand-in so that all are found.

    Stand-ins never leave this module: a table with a fault raises.
    """

    def __init__(
        self,
        table: Mapping[str, Any],
        where: str,
        prefix: str = "",
        faults: list[str] | None = None,
    ) -> None:
        self._table = table
        self._where = where
        self._prefix = prefix
        self._taken: dict[str, None] = {}  # in the order to name them
        self.faults: list[str] = [] if faults is None else faults

    def fault(self, key: str, sentence: str) -> None:
        self.faults.append(f"{self._where}: {self._prefix}{key} {sentence}")

    def allow(self, *keys: str) -> None:
        """Keys that may be there or not."""
        self._taken |= dict.fromkeys(keys)

    def take(self, key: str) -> Any:
        """The value of `key`, or None with a fault if it is missing."""
        self._taken[key] = None
        if key not in self._table:
            self.fault(key, "is missing")
            return None
        return self._table[key]

    def refuse_the_rest(self) -> None:
        for key in self._table:
            if key not in self._taken:
                self.fault(str(key), f"is not a key here; allowed: {', '.join(self._taken)}")

    def text(self, key: str, *, may_be_empty: bool = False) -> str:
        if may_be_empty and key not in self._table:
            self.allow(key)
            return ""
        found = self.take(key)
        if isinstance(found, str) and (found.strip() or may_be_empty):
            return found.strip()
        if found is not None:
            allowed = "a text" if may_be_empty else "a text that is not empty"
            self.fault(key, f"is {allowed}; found {found!r}")
        return ""

    def texts(self, key: str, *, may_be_empty: bool = False) -> tuple[str, ...]:
        if may_be_empty and key not in self._table:
            self.allow(key)
            return ()
        found = self.take(key)
        if found is None:
            return ()
        if (
            not isinstance(found, list)
            or not (found or may_be_empty)
            or any(not isinstance(line, str) or not line.strip() for line in found)
        ):
            self.fault(key, f"is a list of texts, none of them empty; found {found!r}")
            return ()
        return tuple(line.strip() for line in found)

    def one_of(self, key: str, allowed: tuple[str, ...]) -> str:
        found = self.take(key)
        if found in allowed:
            return str(found)
        if found is not None:
            self.fault(key, f"is one of {', '.join(allowed)}; found {found!r}")
        return ""

    def flag(self, key: str) -> bool:
        found = self.take(key)
        if isinstance(found, bool):
            return found
        if found is not None:
            self.fault(key, f"is true or false; found {found!r}")
        return False

    def phone(self, key: str) -> str:
        found = self.take(key)
        if isinstance(found, str) and len(found) <= 40 and _NUMBER.fullmatch(found.strip()):
            return found.strip()
        if found is not None:
            self.fault(key, f"is a telephone number, such as +41 00 000 00 00; found {found!r}")
        return ""

    def table(self, key: str) -> _Reader | None:
        found = self.take(key)
        if isinstance(found, Mapping):
            return _Reader(found, self._where, f"{self._prefix}{key}.", self.faults)
        if found is not None:
            self.fault(key, f"is a table; found {found!r}")
        return None

    def tables(self, key: str) -> list[_Reader]:
        """The tables of a list that may be left out."""
        self.allow(key)
        found = self._table.get(key, [])
        if not isinstance(found, list) or any(not isinstance(item, Mapping) for item in found):
            self.fault(key, f"is a list of tables; found {found!r}")
            return []
        return [
            _Reader(item, self._where, f"{self._prefix}{key}[{number}].", self.faults)
            for number, item in enumerate(found, start=1)
        ]

    def has(self, key: str) -> bool:
        return key in self._table


def _zone(read: _Reader) -> ZoneInfo:
    found = read.take("zone")
    stand_in = ZoneInfo("UTC")
    if found is None:
        return stand_in
    try:
        return ZoneInfo(found)
    # ZoneInfo answers odd names with various errors; each means that there is no such zone.
    except (ValueError, KeyError, OSError, TypeError, AttributeError):
        read.fault("zone", f"is the name of a time zone, such as Europe/Zurich; found {found!r}")
        return stand_in


def _country(read: _Reader) -> str:
    country = read.text("holidays_country")
    if country and country not in _parts_of_countries():
        read.fault(
            "holidays_country",
            f"is a country's two-letter code (ISO 3166-1), such as CH; found {country!r}",
        )
        return ""
    return country


def _subdivision(read: _Reader, country: str) -> str:
    subdivision = read.text("holidays_subdivision", may_be_empty=True)
    # Without a country there is nothing to check it against, and its fault is told already.
    if country and subdivision and subdivision not in _parts_of_countries()[country]:
        allowed = ", ".join(_parts_of_countries()[country]) or "none; leave it empty"
        read.fault(
            "holidays_subdivision",
            f"is a part of {country}; allowed: {allowed}; found {subdivision!r}",
        )
    return subdivision


@cache
def _parts_of_countries() -> Mapping[str, list[str]]:
    return holidays.list_supported_countries(include_aliases=False)


def _base_url(read: _Reader) -> str:
    found = read.text("base_url")
    if not found:
        return ""
    if _WEB_ADDRESS.fullmatch(found) is None:
        read.fault(
            "base_url",
            "is a web address without a slash at its end, such as https://thimble.example; "
            f"found {found!r}",
        )
    return found


def _evidence_asked(read: _Reader) -> tuple[str, ...]:
    found = read.texts("evidence_asked", may_be_empty=True)
    for disease in found:
        if disease not in DISEASES:
            read.fault(
                "evidence_asked",
                f"names diseases; allowed: {', '.join(DISEASES)}; found {disease!r}",
            )
            return ()
    return tuple(dict.fromkeys(found)) or ASKED


def _fitness_rule_set(read: _Reader) -> str:
    if not read.has("fitness_rule_set"):
        read.allow("fitness_rule_set")
        return ""
    return read.one_of("fitness_rule_set", fitness_vocabulary()["rule_set"].values)


def _certificates_hold(read: _Reader) -> Duration | None:
    if not read.has("certificates_hold"):
        read.allow("certificates_hold")
        return None
    found = read.text("certificates_hold")
    try:
        told = parse(found)
    except ValueError:
        told = Duration(0, "days")
    if not 1 <= told.count <= _LONGEST_HOLD.get(told.unit, 0):
        read.fault(
            "certificates_hold",
            f"is days, weeks, months or years up to P5Y, such as P1Y; found {found!r}",
        )
        return None
    return told


def _closed_days(read: _Reader) -> tuple[ClosedDay, ...]:
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


def _place(read: _Reader, key: str, *, always: bool) -> Place:
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


def _weekly_hours(read: _Reader) -> Hours:
    table = read.table("hours")
    if table is None:
        return Hours()
    table.allow(*DAYS)
    week = tuple(_sessions(table, day) if table.has(day) else () for day in DAYS)
    table.refuse_the_rest()
    if not any(table.has(day) for day in DAYS):
        read.fault("hours", 'names no day: list at least one, as in monday = ["08:00-16:30"]')
    return Hours(week=week)


def _sessions(read: _Reader, day: str) -> tuple[Session, ...]:
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


def _expert(read: _Reader) -> Expert:
    table = read.table("expert_phone")
    if table is None:
        return Expert("", "")
    expert = Expert(name=table.text("name"), number=table.phone("number"))
    table.refuse_the_rest()
    return expert


def _messages(read: _Reader) -> Messages:
    if not read.has("messages"):
        read.allow("messages")
        return Messages()
    table = read.table("messages")
    if table is None:
        return Messages()
    found = Messages(
        appointment=table.text("appointment"),
        place=table.text("place", may_be_empty=True),
        sender=_sender(table),
        days_ahead=_days_ahead(table),
    )
    for key in ("appointment", "place", "sender"):
        text = str(getattr(found, key))
        if words := telling_words(text):
            table.fault(
                key,
                f"is seen by others and tells nothing of what a visit is for; found {words[0]!r}",
            )
        if "\n" in text or "\r" in text:
            table.fault(key, "is one line")
    table.refuse_the_rest()
    return found


def _sender(read: _Reader) -> str:
    found = read.text("sender", may_be_empty=True)
    if found and not is_mail_address(found):
        read.fault("sender", f"is a mail address, such as visits@hospital.example; found {found!r}")
        return ""
    return found


def _days_ahead(read: _Reader) -> int:
    if not read.has("days_ahead"):
        read.allow("days_ahead")
        return Messages().days_ahead
    found = read.take("days_ahead")
    if isinstance(found, int) and not isinstance(found, bool) and 1 <= found <= 14:
        return found
    read.fault("days_ahead", f"is a whole number of days from 1 to 14; found {found!r}")
    return Messages().days_ahead
