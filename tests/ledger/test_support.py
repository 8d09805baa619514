"""Support: asked at each moment once, and an offer completes nothing of the plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from ledger.builders import NIGHT, after, reported, us, write
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.support import SOURCE_POSITIVE, due_offer, offering
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore

REPORT, NEWS, MISSED = (moment.id for moment in offering().moments)


Dated = tuple[float, Kind, dict[str, Any]]
"""Hours after the exposure, and what was written then."""


def situation(*drafts: Dated, **facts: str) -> Situation:
    store = MemoryStore()
    write(store, "K7QM-2F49", (Kind.REPORTED, reported(facts)), at=NIGHT)
    for hours, kind, body in drafts:
        write(store, "K7QM-2F49", (kind, body), at=after(hours))
    return fold(store.entries("K7QM-2F49"), after(100), us().vocabulary)


def answered(hours: float, moment: str = REPORT, answer: str = "declined") -> Dated:
    return hours, Kind.COUNSELLED, {"action": moment, "text": "", "answer": answer}


def learned(hours: float, **facts: str) -> Dated:
    return hours, Kind.FACT_LEARNED, {"facts": facts, "said_by": "laboratory"}


def due(*drafts: Dated, **facts: str) -> str | None:
    found = due_offer(situation(*drafts, **facts))
    return None if found is None else found.id


def test_support_is_to_be_offered_from_the_report_on():
    assert due() == REPORT


@pytest.mark.parametrize(("fact", "value"), SOURCE_POSITIVE.items())
def test_news_that_weighs_asks_again_also_of_who_declined_before(fact: str, value: str):
    assert due(answered(1), learned(2, **{fact: value})) == NEWS
    assert due(answered(1), learned(2, **{fact: "negative"})) is None


def test_one_offer_answers_for_all_that_had_come_by_then():
    assert due(learned(2, source_hiv="positive")) == NEWS
    assert due(learned(2, source_hiv="positive"), answered(3)) is None


def test_a_missed_visit_asks_again():
    missed = (70.0, Kind.VISIT_MISSED, {"day": "2026-03-04", "text": ""})
    assert due(answered(1, answer="accepted"), missed) == MISSED
    assert due(answered(1), missed, answered(75, MISSED)) is None


def test_an_answer_withdrawn_is_asked_for_anew():
    gone = (2.0, Kind.CORRECTED, {"corrects": 2, "reason": "another worker", "withdrawn": True})
    assert due(answered(1)) is None
    assert due(answered(1), gone) == REPORT


def test_a_closed_case_asks_for_nothing():
    assert due_offer(replace(situation(), closed_at=NIGHT + timedelta(days=1))) is None


def test_an_offer_is_no_action_of_the_plan_and_counselling_without_an_answer_still_is():
    assert situation(answered(1)).done == {}
    told = (1.0, Kind.COUNSELLED, {"action": "counsel_precautions", "text": ""})
    assert list(situation(told).done) == ["counsel_precautions"]
    assert due(told) == REPORT


def test_the_moments_say_that_they_are_common_practice():
    assert "no published source" in offering().source
