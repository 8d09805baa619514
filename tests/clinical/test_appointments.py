"""Appointments over any history of re-planning: names last, counts rise, nothing is lost."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.neutral import is_mail_address, require_neutral, telling_words
from thimble.clinical.visits.appointments import Agreed, Appointment, replanned

FIRST = date(2026, 3, 2)
START = datetime(2026, 3, 1, 9, tzinfo=UTC)


def play(history: list[list[Agreed]]) -> list[tuple[Appointment, ...]]:
    """Every state after each re-planning, an hour apart."""
    states: list[tuple[Appointment, ...]] = [()]
    for step, agreed in enumerate(history):
        states.append(
            replanned(
                states[-1],
                agreed,
                at=START + timedelta(hours=step),
                new_uid=lambda index, step=step: f"{step}/{index}",  # type: ignore[misc]
            )
        )
    return states[1:]


@st.composite
def plans(draw: st.DrawFn) -> list[Agreed]:
    """Dates as they are agreed: one visit a day, each thing in one visit."""
    things = draw(st.lists(st.sampled_from("abcdef"), unique=True))
    held: dict[date, tuple[str, ...]] = {}
    for thing in things:
        day = FIRST + timedelta(days=draw(st.integers(0, 4)))
        held[day] = (*held.get(day, ()), thing)
    hours = st.none() | st.sampled_from([time(9), time(14, 30)])
    return [Agreed(day, things, draw(hours)) for day, things in sorted(held.items())]


HISTORIES = st.lists(plans(), min_size=1, max_size=6)


@given(HISTORIES)
def test_what_stands_after_a_replanning_is_what_was_agreed(history: list[list[Agreed]]):
    for agreed, state in zip(history, play(history), strict=True):
        stands = [Agreed(a.day, a.actions, a.hour) for a in state if not a.cancelled]
        assert sorted(stands, key=lambda each: each.day) == agreed


@given(HISTORIES)
def test_a_name_lasts_and_no_two_appointments_share_one(history: list[list[Agreed]]):
    for before, after in pairwise(play(history)):
        names = [each.uid for each in after]
        assert len(set(names)) == len(names)
        assert names[: len(before)] == [each.uid for each in before]


@given(HISTORIES)
def test_the_count_rises_by_one_with_each_change_that_a_calendar_shows_and_never_otherwise(
    history: list[list[Agreed]],
):
    for before, after in pairwise(play(history)):
        for old, new in zip(before, after, strict=False):
            changed = (old.day, old.hour, old.cancelled) != (new.day, new.hour, new.cancelled)
            assert new.sequence == old.sequence + changed
            assert (new.changed_at > old.changed_at) == changed


def test_a_visit_that_moves_keeps_its_name():
    first, then = play(
        [[Agreed(FIRST, ("a", "b"))], [Agreed(FIRST + timedelta(days=9), ("a", "b"))]]
    )
    assert [(each.uid, each.sequence) for each in first] == [("0/0", 0)]
    assert [(each.uid, each.sequence, each.day) for each in then] == [
        ("0/0", 1, FIRST + timedelta(days=9))
    ]


def test_an_hour_that_is_agreed_changed_or_given_up_counts_as_a_change():
    states = play(
        [[Agreed(FIRST, ("a",), hour)] for hour in (None, time(9), time(9), time(10), None)]
    )
    assert [(s[0].uid, s[0].hour, s[0].sequence) for s in states] == [
        ("0/0", None, 0),
        ("0/0", time(9), 1),
        ("0/0", time(9), 1),
        ("0/0", time(10), 2),
        ("0/0", None, 3),
    ]


def test_a_visit_that_is_split_goes_on_with_its_larger_part_and_the_rest_is_new():
    day = timedelta(days=1)
    _, then = play(
        [
            [Agreed(FIRST, ("a", "b", "c"))],
            [Agreed(FIRST + day, ("a",)), Agreed(FIRST + 2 * day, ("b", "c"))],
        ]
    )
    assert [(each.uid, each.day) for each in then] == [
        ("0/0", FIRST + 2 * day),
        ("1/0", FIRST + day),
    ]


def test_a_visit_that_falls_away_is_cancelled_and_comes_back_under_its_own_name():
    gone, back, other = play([[Agreed(FIRST, ("a",))], [], [Agreed(FIRST, ("a",))]])[0:3]
    assert [each.cancelled for each in gone] == [False]
    assert [(each.cancelled, each.sequence) for each in back] == [(True, 1)]
    assert [(each.uid, each.cancelled, each.sequence) for each in other] == [("0/0", False, 2)]


def test_another_thing_on_the_same_day_is_the_same_appointment():
    _, then = play([[Agreed(FIRST, ("a",))], [Agreed(FIRST, ("z",))]])
    assert [(each.uid, each.sequence, each.actions) for each in then] == [("0/0", 0, ("z",))]


@pytest.mark.parametrize(
    "text",
    ["HIV test", "hepatitis", "Anti-HBs", "needlestick", "Blood drawn", "PEP", "vaccination"],
)
def test_a_word_that_tells_what_a_visit_is_for_is_found(text: str):
    assert telling_words(f"Appointment: {text}")
    with pytest.raises(ValueError, match="names nothing of what a visit is for"):
        require_neutral(text)


@pytest.mark.parametrize(
    "text",
    [
        "Appointment, occupational medicine",
        "House C, ground floor",
        "If you cannot come, please call 1",
    ],
)
def test_a_neutral_sentence_passes(text: str):
    assert require_neutral(text) == text


@pytest.mark.parametrize(
    ("text", "good"),
    [("a@b.example", True), ("a.b+c@x-y.example", True), ("a@b", True), ("a@-b", False), ("a", False),
     ("a@b\n", False), ("a@b\r\nBcc: c@d", False), ("a b@c", False), ("A <a@b>", False),
     ("a@b,c@d", False), (f"{'x' * 65}@b", False), ("ä@b", False)],
)  # fmt: skip
def test_one_address_and_nothing_else_is_an_address(text: str, good: bool):
    assert is_mail_address(text) is good
