"""The worker's sheet does not tell of the source patient, nor the source's sheet of the worker."""

from __future__ import annotations

import inspect
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from documents.examples import FACTS, NOW, OCCURRED, plan, protocol, site, situation, words_in
from thimble.clinical.vocabulary import vocabulary
from thimble.documents.clinician_summary.data import clinician_summary
from thimble.documents.source_request.data import source_request
from thimble.documents.worker_plan.data import worker_plan
from thimble.documents.worker_plan.plain import plain_words
from thimble.ledger.situation import Departure, KnownFact
from thimble.protocol.vocabulary import Value

V = vocabulary()
SOURCE_FACTS = [id_ for id_, fact in V.items() if fact.about == "source" and fact.kind == "code"]
WORKER_FACTS = [id_ for id_, fact in V.items() if fact.about == "worker" and fact.kind == "code"]


def answers(ids: list[str]) -> st.SearchStrategy[dict[str, Value]]:
    return st.fixed_dictionaries({}, optional={id_: st.sampled_from(V[id_].values) for id_ in ids})


@settings(max_examples=80, deadline=None)
@given(others=answers(SOURCE_FACTS))
def test_with_the_same_decisions_the_workers_sheet_is_the_same_whatever_is_known_of_the_source(
    others: dict[str, Value],
):
    """Nothing flows from a fact about the source to the sheet except through the decisions."""
    decided = plan()
    without = {k: v for k, v in FACTS.items() if k not in SOURCE_FACTS}

    told = worker_plan(decided, situation(), site(), protocol())
    told_otherwise = worker_plan(decided, situation({**without, **others}), site(), protocol())

    assert told.to_data() == told_otherwise.to_data()


@settings(max_examples=60, deadline=None)
@given(known=answers(SOURCE_FACTS))
def test_no_question_about_the_source_and_no_answer_to_one_is_on_the_workers_sheet(
    known: dict[str, Value],
):
    at_hand = situation({**FACTS, **known})
    decided = plan(at_hand)
    told = words_in(worker_plan(decided, at_hand, site(), protocol()).to_data())

    for id_ in SOURCE_FACTS:
        assert V[id_].question not in told
    assert "HIV positive" not in told
    assert "HBsAg positive" not in told


def test_inner_classes_are_not_printed_for_the_worker():
    """`hbv_class` and the like serve the clinician; only listed decisions reach the worker."""
    told = worker_plan(plan(), situation(), site(), protocol())
    questions = {item.question for item in (*told.decided, *told.still_open)}

    assert questions <= {words["question"] for words in plain_words().decisions.values()}
    assert not set(plain_words().facts) & set(SOURCE_FACTS)


def test_what_a_clinician_typed_about_the_source_stays_off_the_workers_sheet():
    departure = Departure(
        entry=12, subject="hiv_pep", advised="recommended", decided="not_indicated",
        reason="Source Mr Invented is known on the ward", by="clinician-7", at=NOW,
    )  # fmt: skip
    at_hand = situation(departures=(departure,))

    told = words_in(worker_plan(plan(at_hand), at_hand, site(), protocol()).to_data())
    summary = words_in(clinician_summary(plan(at_hand), at_hand, site(), protocol()).to_data())

    assert "Mr Invented" not in told
    assert "otherwise than the protocol advises" in told
    assert "Mr Invented" in summary


@settings(max_examples=60, deadline=None)
@given(
    others=answers(WORKER_FACTS), medicines=st.sets(st.sampled_from(V["worker_medicines"].values))
)
def test_the_request_is_the_same_whoever_was_exposed(others: dict[str, Value], medicines: set[str]):
    decided = plan()
    about_the_worker: dict[str, Value] = {**others, "worker_medicines": frozenset(medicines)}
    without = {k: v for k, v in FACTS.items() if V[k].about != "worker"}

    asked = source_request(decided, situation(), site(), protocol())
    asked_otherwise = source_request(
        decided, situation({**without, **about_the_worker}), site(), protocol()
    )

    assert asked.to_data() == asked_otherwise.to_data()


def test_the_request_has_no_place_for_the_workers_name_nor_for_how_they_were_hurt():
    assert set(inspect.signature(source_request).parameters) == {
        "plan", "situation", "site", "protocol", "patient", "ward",
    }  # fmt: skip
    told = words_in(source_request(plan(), situation(), site(), protocol()).to_data())

    for id_ in ("route", "device"):
        value = FACTS[id_]
        assert V[id_].label(value) not in told


def test_only_what_is_for_the_source_is_asked_of_their_team():
    known = {fact: value for fact, value in FACTS.items() if fact != "source_hbsag"}
    at_hand = situation({**known, "source_access": "testable"})
    decided = plan(at_hand)
    asked = {item.what for item in source_request(decided, at_hand, site(), protocol()).asked}

    assert asked == {a.what for a in decided.actions if a.whom == "source"}
    assert asked


def test_the_summary_has_no_place_for_the_workers_name():
    told = words_in(clinician_summary(plan(), situation(), site(), protocol()).to_data())

    assert "Ada Invented" not in told
    assert set(inspect.signature(clinician_summary).parameters) == {
        "plan", "situation", "site", "protocol", "record",
    }  # fmt: skip


def test_a_name_is_on_the_workers_sheet_only_when_it_is_given():
    named = worker_plan(plan(), situation(), site(), protocol(), name="Ada Invented")

    assert named.name == "Ada Invented"
    assert replace(named, name="") == worker_plan(plan(), situation(), site(), protocol())


def test_who_said_a_fact_is_only_on_the_summary():
    at_hand = situation()
    fact = KnownFact("gloves", "single", "nurse-account-4", OCCURRED + timedelta(minutes=30), 9)
    at_hand = replace(at_hand, facts={**at_hand.facts, "gloves": fact})
    decided = plan(at_hand)

    assert "nurse-account-4" in words_in(
        clinician_summary(decided, at_hand, site(), protocol()).to_data()
    )
    assert "nurse-account-4" not in words_in(
        worker_plan(decided, at_hand, site(), protocol()).to_data()
    )
