"""Calendar files, read back by a library that did not write them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.neutral import Telling, telling_words
from thimble.clinical.visits.appointments import Appointment
from thimble.exchange.calendars import Words, calendar

WHEN = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
PLAIN = Words("Appointments", "Appointment")

TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1, max_size=120
).filter(lambda text: text.strip() == text and not telling_words(text))  # fmt: skip


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
        )
        for name in names
    ]


@given(appointments(), TEXT, TEXT, TEXT)
def test_vobject_reads_the_same_events(made: list[Appointment], what: str, place: str, advice: str):
    read = vobject.readOne(calendar(made, Words("Appointments", what, place, advice)).decode())
    events = list(getattr(read, "vevent_list", []))

    found = {
        (e.uid.value, e.dtstart.value, e.dtend.value, int(e.sequence.value), e.status.value,
         e.dtstamp.value, e.summary.value, e.location.value, e.description.value)
        for e in events
    }  # fmt: skip
    assert len(events) == len(made)
    assert found == {
        (a.uid, a.day, a.day + timedelta(days=1), a.sequence,
         "CANCELLED" if a.cancelled else "CONFIRMED", a.changed_at, what, place, advice)
        for a in made
    }  # fmt: skip


@given(appointments(), TEXT)
def test_lines_end_and_fold_as_the_standard_says_and_properties_stand_once(
    made: list[Appointment], what: str
):
    """RFC 5545: 3.1 lines of at most 75 octets, CRLF; 3.6 one component or more; 3.6.1 UID, DTSTAMP."""
    raw = calendar(made, Words("Appointments", what))
    assert raw.endswith(b"\r\n")
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    assert b"\n" not in raw.replace(b"\r\n", b"")
    lines = raw.replace(b"\r\n ", b"").split(b"\r\n")
    for name in (b"UID:", b"DTSTAMP:", b"SEQUENCE:", b"DTSTART;VALUE=DATE:"):
        assert sum(line.startswith(name) for line in lines) == len(made)
    assert [line for line in lines if line.startswith(b"REFRESH-INTERVAL")] == [
        b"REFRESH-INTERVAL;VALUE=DURATION:PT12H"
    ]
    assert b"VERSION:2.0" in lines
    assert not any(line.startswith(b"METHOD") for line in lines)
    assert sum(line.startswith(b"BEGIN:") for line in lines) >= 2


@given(appointments())
def test_what_a_visit_is_for_is_not_in_the_file(made: list[Appointment]):
    text = calendar(made, PLAIN).decode()
    assert "hiv" not in text.lower()
    assert "follow" not in text.lower()


@given(appointments())
def test_the_same_appointments_give_the_same_bytes_in_any_order(made: list[Appointment]):
    assert calendar(made, PLAIN) == calendar(reversed(made), PLAIN)


@pytest.mark.parametrize(
    "words",
    [Words("HIV visits", "A"), Words("A", "Hepatitis B"), Words("A", "A", "Virology"),
     Words("A", "A", "", "Bring your test results")],
)  # fmt: skip
def test_words_that_tell_too_much_are_refused(words: Words):
    with pytest.raises(Telling, match="names nothing of what a visit is for"):
        calendar([], words)
