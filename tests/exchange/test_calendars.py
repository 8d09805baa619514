"""Calendar files, read back by a library that did not write them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
import vobject
from dateutil import tz
from hypothesis import given, settings
from hypothesis import strategies as st

from thimble.clinical.neutral import Telling, telling_words
from thimble.clinical.visits.appointments import Appointment
from thimble.exchange.calendars import Words, calendar
from thimble.exchange.time_zones import time_zone

WHEN = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Zurich")
ZONES = (
    "Europe/Zurich",
    "America/New_York",
    "Asia/Kolkata",
    "Australia/Lord_Howe",
    "Europe/Dublin",
)
PLAIN = Words("Appointments", "Appointment")

# The library writes a backslash before N as a line break; no advice has one.
TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1, max_size=120
).filter(lambda t: t.strip() == t and "\\N" not in t and not telling_words(t))  # fmt: skip


@st.composite
def appointments(draw: st.DrawFn) -> list[Appointment]:
    names = draw(st.lists(st.uuids(), unique=True, max_size=6))
    return [
        Appointment(
            str(name),
            draw(st.dates(date(2020, 1, 1), date(2040, 12, 31))),
            ("follow_up_hiv_6w",),
            draw(st.integers(0, 50)),
            draw(st.booleans()),
            WHEN,
            WHEN + timedelta(seconds=draw(st.integers(0, 10**8))),
            draw(st.none() | st.times(time(4)).map(lambda at: at.replace(second=0, microsecond=0))),
        )
        for name in names
    ]


def instant(value: date | datetime) -> date | datetime:
    """A day as it is; a zoned hour in UTC, by the rules of the zone that stand in the file."""
    return value.astimezone(UTC) if isinstance(value, datetime) else value


def expected(a: Appointment) -> tuple[date | datetime, date | datetime]:
    if a.hour is None:
        return a.day, a.day + timedelta(days=1)
    # An hour that the clocks skip is read on either side of the gap; nobody is given one at night.
    begins = datetime.combine(a.day, a.hour, ZONE).astimezone(UTC)
    return begins, begins + timedelta(minutes=30)


@settings(deadline=None)
@given(appointments(), TEXT, TEXT, TEXT)
def test_vobject_reads_the_same_events(made: list[Appointment], what: str, place: str, advice: str):
    # It keeps the rules of a zone that it has read once, also for another file.
    vars(vobject.icalendar)["__tzidMap"].pop(ZONE.key, None)
    read = vobject.readOne(
        calendar(made, Words("Appointments", what, place, advice), ZONE).decode()
    )
    events = list(getattr(read, "vevent_list", []))

    found = {
        (e.uid.value, instant(e.dtstart.value), instant(e.dtend.value), e.transp.value,
         int(e.sequence.value), e.status.value, e.dtstamp.value, e.summary.value,
         e.location.value, e.description.value)
        for e in events
    }  # fmt: skip
    assert len(events) == len(made)
    assert found == {
        (a.uid, *expected(a), "TRANSPARENT" if a.hour is None else "OPAQUE", a.sequence,
         "CANCELLED" if a.cancelled else "CONFIRMED", a.changed_at, what, place, advice)
        for a in made
    }  # fmt: skip


@settings(deadline=None)
@given(appointments(), TEXT)
def test_lines_end_and_fold_as_the_standard_says_and_properties_stand_once(
    made: list[Appointment], what: str
):
    """RFC 5545: 3.1 lines of at most 75 octets, CRLF; 3.6 one component or more; 3.6.1 UID, DTSTAMP."""
    raw = calendar(made, Words("Appointments", what), ZONE)
    assert raw.endswith(b"\r\n")
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    assert b"\n" not in raw.replace(b"\r\n", b"")
    lines = raw.replace(b"\r\n ", b"").split(b"\r\n")
    for name in (b"UID:", b"DTSTAMP:", b"SEQUENCE:"):
        assert sum(line.startswith(name) for line in lines) == len(made)
    whole = sum(each.hour is None for each in made)
    assert sum(line.startswith(b"DTSTART;VALUE=DATE:") for line in lines) == whole
    zoned = b"DTSTART;TZID=Europe/Zurich:"
    assert sum(line.startswith(zoned) for line in lines) == len(made) - whole
    assert [line for line in lines if line.startswith(b"REFRESH-INTERVAL")] == [
        b"REFRESH-INTERVAL;VALUE=DURATION:PT12H"
    ]
    assert b"VERSION:2.0" in lines
    assert not any(line.startswith(b"METHOD") for line in lines)
    assert sum(line.startswith(b"BEGIN:") for line in lines) >= 2


@settings(deadline=None)
@given(appointments())
def test_what_a_visit_is_for_is_not_in_the_file(made: list[Appointment]):
    text = calendar(made, PLAIN, ZONE).decode()
    assert "hiv" not in text.lower()
    assert "follow" not in text.lower()


@settings(deadline=None)
@given(appointments())
def test_the_same_appointments_give_the_same_bytes_in_any_order(made: list[Appointment]):
    assert calendar(made, PLAIN, ZONE) == calendar(reversed(made), PLAIN, ZONE)


@pytest.mark.parametrize(
    "words",
    [Words("HIV visits", "A"), Words("A", "Hepatitis B"), Words("A", "A", "Virology"),
     Words("A", "A", "", "Bring your test results")],
)  # fmt: skip
def test_words_that_tell_too_much_are_refused(words: Words):
    with pytest.raises(Telling, match="names nothing of what a visit is for"):
        calendar([], words, ZONE)


def test_a_zoned_hour_stands_with_the_rules_of_its_zone_and_reminds_a_day_before():
    """RFC 5545, 3.6.5: every TZID that is named has its VTIMEZONE in the file; 3.2.19: none on a date."""
    made = Appointment("u", date(2026, 7, 1), (), 0, False, WHEN, WHEN, time(9, 30))
    text = calendar([made], PLAIN, ZONE).decode()
    assert "DTSTART;TZID=Europe/Zurich:20260701T093000\r\n" in text
    assert "DTEND;TZID=Europe/Zurich:20260701T100000\r\n" in text
    assert text.count("BEGIN:VTIMEZONE") == 1
    assert "TZID:Europe/Zurich\r\n" in text
    assert "TRIGGER:-P1D\r\n" in text
    assert "VTIMEZONE" not in calendar([replace(made, hour=None)], PLAIN, ZONE).decode()


@settings(deadline=None)
@given(st.sampled_from(ZONES), st.integers(1990, 2035), st.integers(0, 365 * 24 * 4))
def test_the_rules_of_a_zone_are_those_of_the_zone_at_every_quarter_of_an_hour(
    name: str, year: int, quarter: int
):
    """Read by dateutil, which knows nothing of the zone but what the file says."""
    zone = ZoneInfo(name)
    text = time_zone(zone, year, year).to_ical().decode()
    read = tz.tzical(StringIO(f"BEGIN:VCALENDAR\r\n{text}END:VCALENDAR\r\n")).get(name)
    at = (datetime(year, 1, 1, tzinfo=UTC) + timedelta(minutes=15 * quarter)).astimezone(zone)
    if at.year == year and tz.datetime_exists(at) and not tz.datetime_ambiguous(at):
        assert at.replace(tzinfo=read).utcoffset() == at.utcoffset()
