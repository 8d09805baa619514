"""Support: asked at each moment once, and an offer completes nothing of the plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from ledger.builders import NIGHT, after, reported, us, write
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.plan import Situation
from thimble.ledger.store import MemoryStore
from thimble.ledger.support import SOURCE_POSITIVE, due_offers, offering

REPORT, NEWS, MISSED = (moment.id for moment in offering().moments)


def situation(*drafts: tuple[Kind, dict[str, Any]], **facts: str) -> Situation:
    store = MemoryStore()
    write(store, "K7QM-2F49", (Kind.REPORTED, reported(facts)), *drafts, at=NIGHT)
    return fold(store.entries("K7QM-2F49"), after(1), us().vocabulary)


def answered(moment: str, answer: str = "declined") -> tuple[Kind, dict[str, Any]]:
    return Kind.COUNSELLED, {"action": moment, "text": "", "answer": answer}


def due(*drafts: tuple[Kind, dict[str, Any]], **facts: str) -> list[str]:
    return [moment.id for moment in due_offers(situation(*drafts, **facts))]


def test_support_is_to_be_offered_from_the_report_on():
    assert due() == [REPORT]


@pytest.mark.parametrize(("fact", "value"), SOURCE_POSITIVE.items())
def test_news_that_weighs_asks_again_also_of_who_declined_before(fact: str, value: str):
    assert due(answered(REPORT), **{fact: value}) == [NEWS]
    assert due(answered(REPORT), **{fact: "unknown"}) == [] or fact == "source_hcv_rna"


def test_a_missed_visit_asks_again():
    missed = (Kind.VISIT_MISSED, {"day": "2026-03-02", "text": ""})
    assert due(answered(REPORT, "accepted"), missed) == [MISSED]


def test_an_answer_withdrawn_is_asked_for_anew():
    gone = (Kind.CORRECTED, {"corrects": 2, "reason": "another worker", "withdrawn": True})
    assert due(answered(REPORT)) == []
    assert due(answered(REPORT), gone) == [REPORT]


def test_a_closed_case_asks_for_nothing():
    closed = replace(situation(), closed_at=NIGHT + timedelta(days=1))
    assert due_offers(closed) == ()


def test_an_offer_is_no_action_of_the_plan_and_counselling_without_an_answer_still_is():
    assert situation(answered(REPORT)).done == {}
    given = situation((Kind.COUNSELLED, {"action": "counsel_precautions", "text": ""}))
    assert list(given.done) == ["counsel_precautions"]
    assert due((Kind.COUNSELLED, {"action": "counsel_precautions", "text": ""})) == [REPORT]


def test_the_moments_say_that_they_are_common_practice():
    assert "no published source" in offering().source
