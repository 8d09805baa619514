"""The chase of the source: over every path of steps there is a next one, and nothing turns into a yes."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import product
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble import actions
from thimble.clinical.source_law import jurisdictions, next_step, tables, vocabulary
from thimble.clinical.source_rules import SourceRules
from thimble.ledger.assess import assess
from thimble.ledger.entries import Kind
from thimble.ledger.fold import SOURCE_STEPS, fold
from thimble.ledger.next_thing import source_words
from thimble.ledger.pressing import to_do, urgency
from thimble.ledger.signature import SignatureState, signature_of
from thimble.ledger.source.chasing import CALL, chase_of, held_of, speaking, state_of
from thimble.ledger.source.record import SourceStep
from thimble.ledger.store import MemoryStore
from thimble.protocol import check_protocol

from .builders import ZONE, after, learned, reported, us, write

STATES = tuple(vocabulary()["source_state"].values)
HELD = ("yes", "no", "unknown")
AWAITS = ("hiv", "hbv", "hcv")
SIGNIFICANT = {"route": "percutaneous", "fluid": "blood", "device": "hollow_bore_needle"}

steps = st.lists(
    st.builds(
        SourceStep,
        step=st.sampled_from(tuple(SOURCE_STEPS.values())),
        at=st.integers(0, 600).map(lambda minutes: after(minutes=minutes)),
        entry=st.integers(2, 60),
        whom=st.sampled_from(("", "patient", "representative")),
        capacity=st.sampled_from(("", "expected", "not_expected", "unknown")),
        blood_held=st.sampled_from(("", "yes", "no", "unknown")),
    ),
    max_size=8,
).map(lambda found: tuple(sorted(found, key=lambda step: (step.at, step.entry))))


def site(jurisdiction: str) -> SimpleNamespace:
    return SimpleNamespace(zone=ZONE, source_patient=SourceRules(jurisdiction))


def test_the_tables_are_proved_complete_and_unambiguous_and_their_cases_come_out():
    assert check_protocol(tables()) == ()


@given(path=steps, jurisdiction=st.sampled_from(jurisdictions()), awaits=st.sampled_from(AWAITS))
def test_no_path_of_steps_ends_without_a_next_one_and_a_time_for_it(path, jurisdiction, awaits):
    step = next_step(jurisdiction, state_of(path), held_of(path), awaits)

    assert step.next in tables().outputs["source_next"].values
    assert step.target.count > 0
    assert step.again.count > 0


@given(path=steps, awaits=st.sampled_from(AWAITS))
def test_where_the_law_is_not_entered_only_a_persons_word_leads_to_a_test(path, awaits):
    step = next_step("not_listed", state_of(path), held_of(path), awaits)

    told = speaking(path)
    if told is None or told.step not in ("consented", "authorised", "sampled", "not_identified"):
        assert step.testing == "ask_first"
    if told is not None and (told.step, told.whom) == ("consented", "representative"):
        assert step.testing == "ask_first"


def test_nothing_is_permitted_but_by_consent_or_where_the_site_says_so_and_blood_is_there():
    for jurisdiction, state, held in product(jurisdictions(), STATES, HELD):
        if next_step(jurisdiction, state, held, "hiv").testing == "permitted":
            consent = state == "consented" or (
                state == "representative_consented"
                and jurisdiction in ("england_wales_ni", "scotland")
            )
            assert consent or (jurisdiction == "us_available_blood" and held == "yes")


@given(path=steps, after_it=steps, jurisdiction=st.sampled_from(jurisdictions()))
def test_a_patients_own_refusal_outlasts_everything_but_their_own_word(
    path, after_it, jurisdiction
):
    refused = SourceStep("refused", after(minutes=500), 500, whom="patient")
    words = ("asked", "consented", "refused")
    later = tuple(
        replace(step, at=after(minutes=501 + n), entry=501 + n)
        for n, step in enumerate(after_it)
        if (step.whom == "representative" and step.step in words)
        or step.step in ("lacks_capacity", "died", "discharged")
    )
    found = (*path, refused, *later)

    assert state_of(found) == "refused"
    step = next_step(jurisdiction, state_of(found), held_of(found), "hiv")
    assert step.testing in ("not_permitted", "ask_first")
    again = SourceStep("asked", after(minutes=900), 900, whom="patient")
    assert state_of((*found, again)) == "asked"
    # To be asked again is no consent: who falls asleep over it has refused.
    asleep = SourceStep("lacks_capacity", after(minutes=910), 910)
    assert state_of((*found, again, asleep)) == "refused"
    decided = SourceStep("authorised", after(minutes=910), 910)
    assert state_of((*found, decided)) == "authorised"


@pytest.mark.parametrize("later", ["lacks_capacity", "died", "discharged"])
def test_a_sample_that_is_taken_has_a_result_wherever_the_patient_is(later):
    """The call to the laboratory is due two hours after the sample, however late the patient went home."""
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(SIGNIFICANT)), at=after(minutes=5))
    write(store, "C", (Kind.SOURCE_SAMPLED, {}), at=after(minutes=10))
    kind = next(kind for kind, name in SOURCE_STEPS.items() if name == later)
    write(store, "C", (kind, {}), at=after(minutes=90))
    law = us()
    situation = fold(store.entries("C"), after(hours=3), law.vocabulary)
    chase = chase_of(situation, None, SourceRules("ireland"), ZONE)

    assert chase is not None
    assert (chase.state, chase.step.next) == ("sampled", "await_result")
    assert chase.target == after(minutes=130)
    again = SourceStep("asked", after(minutes=95), 9, whom="patient")
    assert state_of((*situation.source.steps, again)) == "asked"


def test_a_row_that_was_not_read_never_permits_and_never_refuses():
    unread = [r for r in tables().table("source_next").rules if r.standing == "unread"]
    assert unread
    for rule in unread:
        said = "as_consented" if rule.id == "NEXT-09c" else "ask_first"
        assert rule.outputs["source_testing"] == said, rule.id


def test_what_is_permitted_was_read_in_a_document_of_that_law():
    documents = {
        "england_wales_ni": {"BMA", "RCEM"}, "scotland": {"BMA", "RCEM"}, "us": {"OSHA"},
        "us_available_blood": {"OSHA"},
    }  # fmt: skip
    for jurisdiction, state, held in product(jurisdictions(), STATES, HELD):
        step = next_step(jurisdiction, state, held, "hiv")
        if step.testing == "permitted":
            law = step.because[0]
            assert law.standing == "read"
            cited = {place.partition(":")[0] for place in law.source.split("; ")}
            assert cited <= documents.get(jurisdiction, set()), law.rule


@pytest.mark.parametrize("jurisdiction", jurisdictions())
@pytest.mark.parametrize("kind", list(SOURCE_STEPS))
def test_after_each_step_something_is_to_be_done_until_the_results_are_in(jurisdiction, kind):
    body = {"ground": "court", "decided_by": "x"} if kind is Kind.SOURCE_AUTHORISED else {}
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(SIGNIFICANT)), at=after(minutes=5))
    write(store, "C", (kind, body), at=after(minutes=10))
    law = us()

    def plan():
        situation = fold(store.entries("C"), after(hours=3), law.vocabulary)
        return assess(situation, law, after(hours=3), site(jurisdiction))

    found = [action.id for action in to_do(plan()) if action.id.startswith("chase_")]
    assert CALL in found
    assert len(found) == 2 or kind in (Kind.SOURCE_CONSENTED, Kind.SOURCE_AUTHORISED)

    results = {"source_hiv": "negative", "source_hbsag": "negative", "source_hcv_rna": "negative"}
    write(store, "C", learned("laboratory", **results), at=after(hours=2))
    assert not [action.id for action in plan().actions if action.id.startswith("chase_")]


def chased(*drafts, minutes):
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(SIGNIFICANT)), at=after(minutes=5))
    for at, draft in drafts:
        write(store, "C", draft, at=after(minutes=at))
    now = after(minutes=minutes)
    return fold(store.entries("C"), now, us().vocabulary), now


def call(outcome: str = "no_answer", about: str = "await_answer"):
    return Kind.ESCALATED, {"about": about, "to": "registrar", "outcome": outcome, "answer": ""}


@pytest.mark.parametrize(("minutes", "overdue"), [(69, False), (70, False), (71, True)])
def test_the_target_is_inclusive_and_the_registrar_is_called_when_it_has_passed(minutes, overdue):
    """Asked at minute 10; the table allows an hour."""
    situation, now = chased((10, (Kind.SOURCE_ASKED, {})), minutes=minutes)
    chase = chase_of(situation, None, SourceRules("us"), ZONE)

    assert chase.overdue(now) is overdue
    assert chase.call_at == chase.target == after(minutes=70)


def test_an_overdue_answer_stands_before_what_has_time_in_the_one_order():
    situation, now = chased((10, (Kind.SOURCE_ASKED, {})), minutes=90)
    plan = assess(situation, us(), now, site("us"))
    open_actions = to_do(plan)

    assert list(open_actions) == sorted(open_actions, key=lambda action: urgency(action, now))
    place = {action.id: at for at, action in enumerate(open_actions)}
    later = [a.id for a in open_actions if a.window.target and a.window.target > now + timedelta(1)]
    assert later
    assert all(place["chase_await_answer"] < place[id_] for id_ in later)


def test_the_registrar_is_called_again_after_the_interval_and_anew_for_another_step():
    asked = (10, (Kind.SOURCE_ASKED, {}))
    rules = SourceRules("us")
    situation, _ = chased(asked, (75, call()), minutes=80)
    assert chase_of(situation, None, rules, ZONE).call_at == after(minutes=135)

    situation, _ = chased(asked, (20, call()), minutes=80)
    assert chase_of(situation, None, rules, ZONE).call_at == after(minutes=80)

    sampled = (100, (Kind.SOURCE_SAMPLED, {}))
    situation, _ = chased(asked, (75, call()), sampled, minutes=110)
    chase = chase_of(situation, None, rules, ZONE)
    assert chase.step.next == "await_result"
    assert (chase.calls, chase.call_at) == ((), after(minutes=220))


def test_a_result_that_takes_the_most_urgent_away_leaves_the_others_chased():
    sampled = (10, (Kind.SOURCE_SAMPLED, {}))
    hiv = (60, learned("laboratory", source_hiv="negative"))
    situation, _ = chased(sampled, hiv, minutes=70)
    chase = chase_of(situation, None, SourceRules("us"), ZONE)

    assert chase.awaits == ("hbv", "hcv")
    assert chase.target == after(minutes=10 + 24 * 60)


def test_a_negative_in_the_chart_is_no_negative_now():
    chart = {
        "infection": "hiv",
        "status": "negative",
        "evidence": "report in the chart",
        "evidence_on": "2025-12-01",
    }
    situation, _ = chased((10, (Kind.SOURCE_STATUS_FOUND, chart)), minutes=20)

    assert "source_hiv" not in situation.facts
    assert "hiv" in chase_of(situation, None, SourceRules("us"), ZONE).awaits


def test_a_step_written_down_late_stands_where_it_happened():
    situation, _ = chased((60, (Kind.SOURCE_CONSENTED, {})), minutes=70)
    late = SourceStep("asked", after(minutes=30), 9)
    found = tuple(sorted([*situation.source.steps, late], key=lambda step: (step.at, step.entry)))

    assert state_of(found) == "consented"


def test_a_source_whom_nobody_asked_is_not_forgotten():
    """Reported at minute 5; the tables allow an hour to ask, and half an hour from call to call."""
    situation, now = chased(minutes=20)
    plan = assess(situation, us(), now, site("us"))
    (due,) = [a for a in plan.actions if a.id.startswith("chase_")]
    assert (due.id, due.window.target) == (CALL, after(minutes=65))

    situation, now = chased((70, call(about="ask_patient")), minutes=90)
    plan = assess(situation, us(), now, site("us"))
    (due,) = [a for a in plan.actions if a.id.startswith("chase_")]
    assert due.window.target == after(minutes=100)


def test_a_late_report_does_not_call_in_its_first_minute():
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(SIGNIFICANT)), at=after(hours=50))
    situation = fold(store.entries("C"), after(hours=51), us().vocabulary)

    assert chase_of(situation, None, SourceRules("us"), ZONE).call_at == after(hours=51)


@pytest.mark.parametrize("facts", [{}, {"route": "intact_skin", "fluid": "blood"}])
def test_nobody_is_called_about_a_source_while_the_exposure_may_be_none(facts):
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(facts)), at=after(minutes=5))
    situation = fold(store.entries("C"), after(hours=9), us().vocabulary)
    plan = assess(situation, us(), after(hours=9), site("us"))

    assert not [action.id for action in plan.actions if action.id.startswith("chase_")]


def test_the_chase_leaves_a_signature_standing():
    store = MemoryStore()
    write(store, "C", (Kind.REPORTED, reported(SIGNIFICANT)), at=after(minutes=5))
    actions.sign_plan(
        store, "C", protocol=us(), site=site("us"), seen_position=1, now=after(minutes=6),
        by="u", role="emergency_clinician",
    )  # fmt: skip
    write(store, "C", (Kind.SOURCE_ASKED, {}), at=after(minutes=10))
    situation = fold(store.entries("C"), after(hours=5), us().vocabulary)
    plan = assess(situation, us(), after(hours=5), site("us"))

    assert {"chase_await_answer", CALL} <= {action.id for action in to_do(plan)}
    assert signature_of(plan, situation, us(), None) is SignatureState.AS_SIGNED


@pytest.mark.parametrize(
    ("draft", "words"),
    [
        ((Kind.SOURCE_DIED, {}), "source has died, 20 min"),
        ((Kind.SOURCE_DISCHARGED, {}), "source has gone home, not tested, 20 min"),
        (
            (Kind.SOURCE_REFUSED, {"whom": "representative"}),
            "representative of the source refuses, 20 min",
        ),
        ((Kind.SOURCE_REFUSED, {}), "source refuses, 20 min"),
        ((Kind.SOURCE_ASKED, {}), "source asked, no answer yet, 20 min"),
    ],
)
def test_the_worklist_says_where_the_source_stands_and_never_that_nobody_looked(draft, words):
    situation, now = chased((10, draft), minutes=30)
    plan = assess(situation, us(), now, site("us"))

    assert source_words(situation, plan, now) == words


def test_a_physician_settles_it_and_a_new_step_takes_it_up_again():
    refused = (10, (Kind.SOURCE_REFUSED, {}))
    settled = (30, (Kind.COUNSELLED, {"action": "chase_settle_without", "text": ""}))
    situation, _ = chased(refused, settled, minutes=40)
    assert chase_of(situation, None, SourceRules("us"), ZONE) is None

    again = (50, (Kind.SOURCE_CONSENTED, {}))
    situation, _ = chased(refused, settled, again, minutes=60)
    assert chase_of(situation, None, SourceRules("us"), ZONE).step.next == "take_blood"
