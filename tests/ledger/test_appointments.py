"""The appointments of a case from its entries, over any history of agreeing, correcting and closing."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from thimble.ledger.entries import Entry, Kind
from thimble.ledger.follow_up.appointments import appointments
from thimble.ledger.store import MemoryStore

from .builders import NIGHT, ZONE, after, reported, write

DAY = timedelta(days=1)
CASE = "K7QM-2F49"


def agreed(*visits: tuple[int, str]) -> tuple[Kind, dict[str, Any]]:
    """Visits by days after the exposure, each for the things named by single letters."""
    return Kind.VISITS_AGREED, {
        "visits": [
            {"day": (NIGHT.date() + DAY * days).isoformat(), "actions": list(things)}
            for days, things in sorted(visits)
        ],
        "unavailable": [],
        "text": "",
    }


def ledger(*drafts: tuple[Kind, dict[str, Any]]) -> Sequence[Entry]:
    store = MemoryStore()
    write(store, CASE, (Kind.REPORTED, reported()), at=NIGHT)
    for hours, draft in enumerate(drafts, start=1):
        write(store, CASE, draft, at=after(hours))
    return store.entries(CASE)


def shown(entries: Sequence[Entry]) -> list[tuple[int, int, bool]]:
    """Day after the exposure, count, whether it fell away."""
    return [
        ((a.day - NIGHT.date()).days, a.sequence, a.cancelled) for a in appointments(entries, ZONE)
    ]


def test_nothing_agreed_is_no_appointment():
    assert appointments(ledger(), ZONE) == ()


def test_a_new_date_moves_the_appointment_and_a_date_left_out_falls_away():
    entries = ledger(agreed((21, "a"), (42, "b")), agreed((28, "a")))
    assert shown(entries) == [(28, 1, False), (42, 1, True)]


def test_closing_cancels_what_was_to_come_and_reopening_brings_it_back():
    closed = (Kind.CLOSED, {"reason": "worker_withdrew", "text": ""})
    entries = ledger(agreed((0, "a"), (21, "b")), closed, (Kind.REOPENED, {"reason": "came back"}))
    assert shown(entries[:3]) == [(0, 0, False), (21, 1, True)]
    assert shown(entries) == [(0, 0, False), (21, 2, False)]


def test_withdrawing_an_agreement_takes_its_dates_away_by_a_change_that_is_counted():
    gone = (Kind.CORRECTED, {"corrects": 3, "reason": "another worker's dates", "withdrawn": True})
    entries = ledger(agreed((21, "a")), agreed((28, "a")), gone)
    assert shown(entries) == [(21, 2, False)]


def test_the_name_is_a_uuid_and_another_for_the_same_dates_of_another_case():
    [made] = appointments(ledger(agreed((21, "a"))), ZONE)
    [other] = appointments(ledger((Kind.NOTED, {"text": "n"}), agreed((21, "a"))), ZONE)
    assert str(UUID(made.uid)) == made.uid
    assert made.uid != other.uid


@st.composite
def histories(draw: st.DrawFn) -> list[tuple[Kind, dict[str, Any]]]:
    drafts: list[tuple[Kind, dict[str, Any]]] = []
    for count in range(draw(st.integers(1, 6))):
        kind = draw(st.sampled_from(["agree", "agree", "agree", "close", "reopen", "withdraw"]))
        if kind == "agree":
            held: dict[int, str] = {}
            for thing in draw(st.lists(st.sampled_from("abcd"), unique=True)):
                day = draw(st.integers(0, 3)) * 7
                held[day] = held.get(day, "") + thing
            drafts.append(agreed(*held.items()))
        elif kind == "close":
            drafts.append((Kind.CLOSED, {"reason": "other", "text": ""}))
        elif kind == "reopen":
            drafts.append((Kind.REOPENED, {"reason": "r"}))
        elif count:
            target = draw(st.integers(2, count + 1))
            body = {"corrects": target, "reason": "r", "withdrawn": True}
            drafts.append((Kind.CORRECTED, body))
        else:
            drafts.append((Kind.NOTED, {"text": "n"}))
    return drafts


@given(histories())
def test_whoever_saw_a_shorter_ledger_only_sees_counts_rise_and_names_stay(
    drafts: list[tuple[Kind, dict[str, Any]]],
):
    entries = ledger(*drafts)
    before: dict[str, Any] = {}
    for count in range(1, len(entries) + 1):
        now = {each.uid: each for each in appointments(entries[:count], ZONE)}
        assert before.keys() <= now.keys()
        for uid, old in before.items():
            new = now[uid]
            changed = (old.day, old.cancelled) != (new.day, new.cancelled)
            assert new.sequence == old.sequence + changed
        before = now
