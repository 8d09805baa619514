"""Sessions: their times, their places, and every reason why somebody cannot be booked."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.people.sessions import (
    FULL,
    Booked,
    Session,
    faults_of,
    free_numbers,
    weekly,
    why_not,
)

DAY = date(2026, 3, 10)
SLOTS = Session(1, DAY, time(9), time(10), "House C", "vaccination", 2, 20)
OPEN = Session(2, DAY, time(9), time(12), "House C", "sample", 3, 0)
BEFORE = datetime(2026, 3, 9, 8, tzinfo=UTC)


def booked(
    session: Session, at: time, number: int = 1, id_: int = 1, person: str = "P-1"
) -> Booked:
    return Booked(id_, session, person, at, number, "u", 0, BEFORE)


def why(
    session: Session,
    at: time,
    *,
    of_session: tuple[Booked, ...] = (),
    of_person: tuple[Booked, ...] = (),
    closed: str | None = None,
    last_day: date | None = None,
    now: datetime = BEFORE,
) -> str:
    return why_not(
        session, at, of_session=of_session, of_person=of_person, closed=closed,
        last_day=last_day, now=now,
    )  # fmt: skip


@given(opens=st.integers(0, 23 * 60), length=st.integers(1, 600), step=st.integers(0, 240))
def test_each_time_fits_whole_and_one_more_would_not(opens: int, length: int, step: int) -> None:
    start = datetime.combine(DAY, time()) + timedelta(minutes=opens)
    end = min(start + timedelta(minutes=length), datetime.combine(DAY, time(23, 59)))
    session = replace(SLOTS, opens=start.time(), closes=end.time(), slot_minutes=step)
    if step == 0:
        assert session.times == (start.time(),)
        return
    # Reached minute by minute, another way than the code takes.
    expected = [
        start + timedelta(minutes=minute)
        for minute in range(0, 24 * 60, step)
        if start + timedelta(minutes=minute + step) <= end
    ]
    assert list(session.times) == [at.time() for at in expected]


def test_one_that_ends_as_another_begins_does_not_overlap_and_a_minute_more_does() -> None:
    first = booked(SLOTS, time(9, 20))
    assert not first.overlaps(DAY, time(9, 40), time(10))
    assert not first.overlaps(DAY, time(9), time(9, 20))
    assert first.overlaps(DAY, time(9, 39), time(10))
    assert first.overlaps(DAY, time(9), time(9, 21))
    assert not first.overlaps(DAY + timedelta(days=1), time(9, 20), time(9, 40))


def test_whoever_may_be_booked_may() -> None:
    assert why(SLOTS, time(9, 40)) == ""
    assert why(OPEN, time(9)) == ""
    assert why(SLOTS, time(9), last_day=DAY) == ""
    assert why(SLOTS, time(9), of_session=(booked(SLOTS, time(9), 2),)) == ""


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        (why(replace(SLOTS, called_off=True), time(9)), "called off"),
        (why(SLOTS, time(9), closed="Ascension"), "closed that day (Ascension)"),
        (why(SLOTS, time(9, 10)), "no such time"),
        (why(SLOTS, time(10)), "no such time"),
        (why(SLOTS, time(9), last_day=DAY - timedelta(days=1)), "after the last day here"),
        (why(SLOTS, time(9), of_person=(booked(SLOTS, time(9, 40)),)), "for this session already"),
        (why(SLOTS, time(9), of_person=(booked(OPEN, time(9)),)), "at the same hour already"),
        (why(OPEN, time(9), of_person=(booked(SLOTS, time(9, 40)),)), "at the same hour already"),
        (why(SLOTS, time(9), of_session=tuple(booked(SLOTS, time(9), n) for n in (1, 2))), FULL),
        (why(OPEN, time(9), of_session=tuple(booked(OPEN, time(9), n) for n in (1, 2, 3))), FULL),
    ],
)
def test_each_reason_is_a_sentence_of_its_own(said: str, sentence: str) -> None:
    assert sentence in said


def test_a_time_is_over_once_it_begins_and_an_open_session_once_it_closes() -> None:
    at = datetime(2026, 3, 10, 9, 20, tzinfo=UTC)
    assert why(SLOTS, time(9, 20), now=at - timedelta(seconds=1)) == ""
    assert "is over" in why(SLOTS, time(9, 20), now=at)
    assert why(OPEN, time(9), now=datetime(2026, 3, 10, 11, 59, tzinfo=UTC)) == ""
    assert "is over" in why(OPEN, time(9), now=datetime(2026, 3, 10, 12, tzinfo=UTC))


@given(st.sets(st.integers(1, 9)), st.integers(1, 9))
def test_free_places_are_those_that_nobody_has(taken: set[int], capacity: int) -> None:
    session = replace(OPEN, capacity=capacity)
    bookings = [booked(session, time(9), n, id_=n) for n in taken]
    free = free_numbers(session, time(9), bookings)
    assert set(free) | (taken & set(range(1, capacity + 1))) == set(range(1, capacity + 1))
    assert not set(free) & taken


def test_weeks_are_counted_with_both_ends() -> None:
    assert weekly(DAY, None) == (DAY,)
    assert weekly(DAY, DAY + timedelta(days=13)) == (DAY, DAY + timedelta(days=7))
    assert len(weekly(DAY, DAY + timedelta(days=14))) == 3


@pytest.mark.parametrize(
    ("session", "fault"),
    [
        (replace(SLOTS, closes=time(9)), "ends after it begins"),
        (replace(SLOTS, slot_minutes=61), "Not even one time"),
        (replace(SLOTS, capacity=0), "At least one person"),
        (replace(SLOTS, purpose="tea"), "what it is for"),
    ],
)
def test_a_session_that_cannot_be_is_told(session: Session, fault: str) -> None:
    assert any(fault in said for said in faults_of(session))
    assert faults_of(SLOTS) == []
