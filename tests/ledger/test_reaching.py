"""The next step about a worker who did not come, over every way that it can go."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.ladder import Ladder, Step
from thimble.ledger.bodies import CONTACT_BY, CONTACT_OUTCOMES
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.reaching import NOT_GONE, Rung, next_rung
from thimble.ledger.follow_up.record import AgreedVisit, FollowUp, ReachingDecision
from thimble.ledger.follow_up.visiting import Expected, Kept
from thimble.ledger.pressing import Group, group_of, urgency
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore

from .builders import NIGHT, ZONE, reported, us, write

VISIT = date(2026, 4, 13)
DAY = timedelta(days=1)
LADDER = Ladder(
    "t", "s", "memory", 7,
    (
        Step("telephone", "Telephone", ("telephone", "in_person"), 0),
        Step("write", "Write", ("email", "letter"), 3),
        Step("registered_letter", "Send a registered letter", ("registered_letter",), 10),
        Step("decide", "Decide", (), 21),
    ),
)  # fmt: skip


def at(days: int, hour: int = 9) -> datetime:
    """An hour on a day counted from the missed visit."""
    return datetime.combine(VISIT + DAY * days, time(hour), tzinfo=ZONE)


def base() -> Situation:
    store = MemoryStore()
    write(store, "K7QM-2F49", (Kind.REPORTED, reported()), at=NIGHT)
    return fold(store.entries("K7QM-2F49"), NIGHT, us().vocabulary)


BASE = base()


def rung(
    *contacts: tuple[int, str, str],
    kept: Kept = Kept.MISSED,
    decisions: tuple[tuple[int, str, int | None], ...] = (),
    **changes: Any,
) -> Rung | None:
    follow_up = FollowUp(
        contacts=tuple((at(days), how, outcome) for days, how, outcome in contacts),
        decisions=tuple(
            ReachingDecision(
                9, at(days, 12), what, None if until is None else VISIT + DAY * until, "r"
            )
            for days, what, until in decisions
        ),
    )
    situation = replace(BASE, follow_up=follow_up, **changes)
    expected = [Expected(AgreedVisit(VISIT, ("follow_up_hiv_6w",)), kept, ("follow_up_hiv_6w",))]
    return next_rung(situation, expected, LADDER, ZONE)


def step(*contacts: tuple[int, str, str], **more: Any) -> tuple[str, int]:
    """Which step is next, and how many days after the visit it is due."""
    found = rung(*contacts, **more)
    assert found is not None
    return found.step, (found.due - VISIT).days


def test_the_steps_follow_one_another_as_attempts_fail():
    phone, mail = (0, "telephone", "no_answer"), (3, "email", "sent")
    letter = (10, "registered_letter", "sent")
    assert step() == ("telephone", 0)
    assert step(phone) == ("write", 3)
    assert step(phone, mail) == ("registered_letter", 10)
    assert step(phone, mail, letter) == ("decide", 21)


def test_a_step_is_taken_in_any_of_its_ways_and_a_message_that_could_not_be_sent_takes_none():
    assert step((0, "in_person", "no_answer")) == ("write", 3)
    assert step((0, "telephone", "no_answer"), (3, "email", "not_sent")) == ("write", 3)
    assert step((0, "telephone", "no_answer"), (4, "letter", "sent")) == ("registered_letter", 10)


def test_an_attempt_before_the_missed_visit_counts_for_nothing():
    assert step((-1, "telephone", "no_answer")) == ("telephone", 0)


def test_a_reminder_of_the_next_visit_is_no_attempt_about_the_one_that_was_missed():
    """Neither does it take the step of writing, nor count as the last word."""
    store = MemoryStore()
    said = [
        (0, {"how": "telephone", "outcome": "no_answer"}),
        (2, {"how": "email", "outcome": "sent", "about": "reminder", "visit": "2026-04-16"}),
    ]
    write(store, "K7QM-2F49", (Kind.REPORTED, reported()), at=NIGHT)
    for days, body in said:
        write(store, "K7QM-2F49", (Kind.CONTACTED, {"text": "", **body}), at=at(days))
    situation = fold(store.entries("K7QM-2F49"), at(3), us().vocabulary)
    missed = Expected(AgreedVisit(VISIT, ("follow_up_hiv_6w",)), Kept.MISSED, ("follow_up_hiv_6w",))
    found = next_rung(situation, [missed], LADDER, ZONE)
    assert found is not None
    assert found.step == "write"


def test_a_worker_who_is_reached_gets_a_new_date_and_one_who_declines_a_decision_at_once():
    assert step((2, "telephone", "reached")) == ("agree", 2)
    assert step((2, "telephone", "declined")) == ("decide", 2)
    assert step((2, "telephone", "reached"), (4, "telephone", "no_answer")) == ("write", 3)


def test_a_visit_of_which_nobody_said_anything_asks_for_that_first():
    assert step(kept=Kept.NOT_RECORDED) == ("came", 0)


@pytest.mark.parametrize("kept", [Kept.KEPT, Kept.TODAY, Kept.AHEAD])
def test_a_visit_that_was_kept_or_is_to_come_asks_for_nothing(kept: Kept):
    assert rung(kept=kept) is None


def test_a_closed_case_asks_for_nothing():
    assert rung(closed_at=at(1)) is None


def test_after_a_decision_to_keep_trying_an_attempt_is_due_each_week_until_it_is_decided_anew():
    keep = ((21, "keep_trying", 40),)
    assert step(decisions=keep) == ("again", 28)
    assert step((28, "telephone", "no_answer"), decisions=keep) == ("again", 35)
    assert step((33, "telephone", "no_answer"), decisions=keep) == ("decide", 40)
    assert step((30, "telephone", "reached"), decisions=keep) == ("agree", 30)


def test_a_decision_to_close_leaves_the_closing_to_be_done():
    assert step(decisions=((21, "close", None),)) == ("close", 21)


def test_a_decision_about_an_earlier_visit_does_not_hold_for_this_one():
    assert step(decisions=((-30, "close", None),)) == ("telephone", 0)


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.sampled_from(list(CONTACT_BY)),
                  st.sampled_from(list(CONTACT_OUTCOMES))),
        max_size=6,
    )
)  # fmt: skip
def test_a_missed_visit_always_has_a_next_step_and_ends_only_with_a_person(
    contacts: list[tuple[int, str, str]],
):
    found = rung(*contacts)
    assert found is not None
    # Where every way was tried in vain, and only there or where the worker declined, it is decided.
    tried = {how for _, how, outcome in contacts if outcome not in NOT_GONE}
    exhausted = all(s.decides or tried & set(s.how) for s in LADDER.steps)
    last = max(contacts, key=lambda c: c[0], default=None)
    if found.step == "decide":
        assert exhausted or any(outcome == "declined" for _, _, outcome in contacts)
    if (
        exhausted
        and last is not None
        and all(c[2] not in ("reached", "declined") for c in contacts)
    ):
        assert found.step == "decide"


def test_the_step_stands_in_the_one_order_of_what_is_to_be_done():
    """Due on its day from midnight to midnight; overdue after it; ahead of it before."""
    found = rung((0, "telephone", "no_answer"))
    assert found is not None
    assert (
        group_of(found.action, at(1)) is Group.AHEAD or group_of(found.action, at(1)) is Group.NOW
    )
    assert group_of(found.action, at(3)) is Group.NOW
    assert group_of(found.action, at(40)) is Group.NOW
    window = found.action.window
    assert window.earliest == datetime(2026, 4, 15, 22, tzinfo=UTC)
    assert window.target == datetime(2026, 4, 16, 22, tzinfo=UTC)


def test_what_is_overdue_for_longer_stands_first_and_both_before_what_is_due_later():
    found = (
        rung(),
        rung((0, "telephone", "no_answer")),
        rung(decisions=((21, "keep_trying", 90),)),
    )
    now = at(20)
    keys = [urgency(each.action, now) for each in found if each is not None]
    assert keys == sorted(keys)
    assert len(set(keys)) == 3
