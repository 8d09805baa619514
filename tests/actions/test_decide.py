"""Signing, departing, correcting: nothing is decided on a plan that nobody saw."""

import threading

import pytest

from actions.detectable import RULES, VOCABULARY, opened, plan
from ledger.builders import after, us
from thimble import actions
from thimble.ledger.compare import fingerprint
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.plan import State
from thimble.ledger.store import Overtaken
from thimble.ledger.verify import verify

WHO = {"by": "u2", "role": "emergency_clinician"}


@pytest.fixture
def case(store):
    return opened(store)


def test_what_is_signed_is_the_plan_as_it_stands(store, case):
    seen = plan(store, case, after(1))
    (entry,) = actions.sign_plan(
        store, case, **RULES, seen_position=1, seen_plan=fingerprint(seen), now=after(1), **WHO
    )
    assert entry.body["protocol"]["digest"] == us().digest
    assert entry.body["decisions"]["hiv_pep"] == "recommended"
    assert entry.body["decisions"]["hbig_doses"] is None
    assert "hiv_pep_first_dose" in entry.body["actions"]
    assert "hbig_first_dose" not in entry.body["actions"]  # possible only
    assert entry.body["at_entry"] == 1
    assert entry.body["cautions_shown"] == len(seen.cautions)
    assert fold(store.entries(case), after(1), VOCABULARY).signed[0].by == "u2"


def test_a_plan_that_somebody_has_moved_is_not_signed(store, case):
    actions.note(store, case, "wait", now=after(1), **WHO)
    with pytest.raises(Overtaken):
        actions.sign_plan(store, case, **RULES, seen_position=1, now=after(1), **WHO)
    assert [e.kind for e in store.entries(case)] == [Kind.REPORTED, Kind.NOTED]


def test_a_plan_that_time_has_moved_is_not_signed(store, case):
    seen = fingerprint(plan(store, case, after(72)))
    with pytest.raises(actions.PlanMoved) as moved:
        actions.sign_plan(
            store, case, **RULES, seen_position=1, seen_plan=seen, now=after(72, 1), **WHO
        )
    assert moved.value.plan.findings["hiv_pep"].value == "expert_decides"
    assert len(store.entries(case)) == 1


def test_the_minutes_between_looking_and_signing_do_not_matter(store, case):
    seen = fingerprint(plan(store, case, after(2)))
    actions.sign_plan(store, case, **RULES, seen_position=1, seen_plan=seen, now=after(2, 9), **WHO)
    assert store.entries(case)[-1].kind is Kind.PLAN_SIGNED


def test_a_departure_is_signed_with_the_plan_or_neither_is(store, case):
    given = {"subject": "hiv_pep_first_dose", "advised": "give it", "decided": "not given"}
    with pytest.raises(actions.Refused, match="reason must say something"):
        actions.sign_plan(
            store,
            case,
            **RULES,
            seen_position=1,
            now=after(1),
            departures=[actions.Departing(**given, reason=" ")],
            **WHO,
        )
    assert len(store.entries(case)) == 1
    actions.sign_plan(
        store,
        case,
        **RULES,
        seen_position=1,
        now=after(1),
        departures=[actions.Departing(**given, reason="the worker declines")],
        **WHO,
    )
    found = plan(store, case, after(2))
    assert next(a for a in found.actions if a.id == "hiv_pep_first_dose").state is State.DEPARTED


def test_a_departure_needs_its_reason(store, case):
    given = {"subject": "hiv_pep", "advised": "recommended", "decided": "not given"}
    for reason in ("", " \n"):
        with pytest.raises(actions.Refused, match="needs its reason"):
            actions.depart(store, case, **given, reason=reason, now=after(1), **WHO)
    actions.depart(store, case, **given, reason="declined", now=after(1), **WHO)
    assert fold(store.entries(case), after(1), VOCABULARY).departures[0].reason == "declined"


def correct(store, case, position, **more):
    given = {"reason": "wrong", "vocabulary": VOCABULARY, "now": after(1), **WHO}
    return actions.correct(store, case, position, **{**given, **more})


@pytest.mark.parametrize(
    ("position", "more", "words"),
    [
        (7, {"withdrawn": True}, "has no entry 7; its last is 2"),
        (1, {"withdrawn": True}, "the report itself cannot be withdrawn"),
        (2, {"withdrawn": True, "reason": " "}, "needs its reason"),
        (2, {}, "a correction needs facts, body or happened_at"),
        (2, {"facts": {"route": "teleport"}}, "route is one of"),
        (2, {"facts": {"shoe_size": None, "worker_weight": None}}, "withdraw it instead"),
        (2, {"body": {"text": "not a fact"}}, "text is not a key"),
        (1, {"body": {"facts": {}}}, "occurred_at is missing"),
        (2, {"happened_at": after(1, 1)}, "lies before now"),
        (2, {"withdrawn": True, "facts": {"worker_weight": 1.0}}, "one or the other"),
    ],
)
def test_a_correction_that_makes_no_sense_is_refused(store, case, position, more, words):
    actions.learn_facts(
        store,
        case,
        {"worker_weight": 70.0},
        said_by="worker",
        vocabulary=VOCABULARY,
        now=after(1),
        **WHO,
    )
    with pytest.raises(actions.Refused, match=words):
        correct(store, case, position, **more)
    assert len(store.entries(case)) == 2


def test_a_note_holds_no_facts_to_correct(store, case):
    actions.note(store, case, "x", now=after(1), **WHO)
    with pytest.raises(actions.Refused, match="holds no facts"):
        correct(store, case, 2, facts={"worker_weight": 1.0})
    correct(store, case, 2, body={"text": "y"})


def test_a_withdrawn_entry_is_not_withdrawn_twice_and_comes_back_when_that_is_withdrawn(
    store, case
):
    actions.learn_facts(
        store,
        case,
        {"worker_weight": 70.0},
        said_by="worker",
        vocabulary=VOCABULARY,
        now=after(1),
        **WHO,
    )
    correct(store, case, 2, withdrawn=True)
    with pytest.raises(actions.Refused, match="withdrawn already"):
        correct(store, case, 2, withdrawn=True)
    with pytest.raises(actions.Refused, match="withdraw its withdrawal first"):
        correct(store, case, 2, facts={"worker_weight": 71.0})
    correct(store, case, 3, withdrawn=True)
    correct(store, case, 2, facts={"worker_weight": 71.0})
    assert fold(store.entries(case), after(1), VOCABULARY).facts["worker_weight"].value == 71.0


def test_of_two_clinicians_who_sign_at_once_one_is_told(store, case):
    start = threading.Barrier(2)
    outcomes: list[str] = []

    def sign(who: str) -> None:
        start.wait()
        try:
            actions.sign_plan(
                store, case, **RULES, seen_position=1, now=after(1), by=who, role="physician"
            )
            outcomes.append("signed")
        except Overtaken as overtaken:
            outcomes.append(f"told of {overtaken.new_entries[0].kind}")

    both = [threading.Thread(target=sign, args=(who,)) for who in ("u1", "u2")]
    for one in both:
        one.start()
    for one in both:
        one.join()

    assert sorted(outcomes) == ["signed", "told of plan_signed"]
    assert verify(store.all_entries()) == []
