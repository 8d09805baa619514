"""Signing, departing, correcting, closing: nothing is decided on a plan that nobody saw."""

import threading

import pytest

from ledger.builders import NIGHT, SITE, after, us
from thimble import actions
from thimble.ledger.assess import assess
from thimble.ledger.compare import fingerprint
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.plan import State
from thimble.ledger.store import MemoryStore, Overtaken
from thimble.ledger.verify import verify

VOCABULARY = us().vocabulary
RULES = {"protocol": us(), "site": SITE}
WHO = {"by": "u2", "role": "emergency_clinician"}
DETECTABLE = {
    "route": "percutaneous",
    "fluid": "blood",
    "source_hiv": "positive",
    "source_hiv_load": "detectable",
    "source_hiv_acute_illness": "no",
    "worker_hiv": "negative",
    "worker_on_prep": "no",
}


@pytest.fixture
def store():
    return MemoryStore()


def opened(store, facts=None, at=None):
    return actions.report(
        store,
        facts=DETECTABLE if facts is None else facts,
        occurred_at=NIGHT,
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=at or after(minutes=10),
    ).case


@pytest.fixture
def case(store):
    return opened(store)


def plan(store, case, at):
    return assess(fold(store.entries(case), at, VOCABULARY), us(), at, SITE)


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


def test_a_case_with_open_actions_is_closed_only_with_a_reason_for_leaving_them(store, case):
    given = {"reason": "transferred", **RULES, "now": after(1), **WHO}
    with pytest.raises(actions.Refused, match="not done") as refused:
        actions.close(store, case, **given)
    assert "Give the first dose of HIV prophylaxis now" in refused.value.faults
    actions.close(store, case, **given, text="followed at the other hospital")
    with pytest.raises(actions.Refused, match="closed already"):
        actions.close(store, case, **given, text="again")


def test_nobody_is_told_all_clear_while_something_is_left(store, case):
    """No words make it so: what is left is done, or decided otherwise with a reason of its own."""
    with pytest.raises(actions.Refused, match="no all clear") as refused:
        actions.close(
            store, case, reason="all_clear", text="surely fine", **RULES, now=after(1), **WHO
        )
    assert "Give the first dose of HIV prophylaxis now" in refused.value.faults
    assert fold(store.entries(case), after(1), VOCABULARY).closed_at is None


def test_what_nobody_asked_is_no_all_clear(store):
    """Every action that is certain decided otherwise, nothing else known: unknown is no "no"."""
    case = opened(store, {"route": "percutaneous", "fluid": "blood"})
    for action in plan(store, case, after(1)).actions:
        if action.certain:
            actions.depart(
                store, case, subject=action.id, advised=action.what, decided="Not done",
                reason="said so", now=after(1), **WHO,
            )  # fmt: skip
    with pytest.raises(actions.Refused, match="no all clear") as refused:
        actions.close(store, case, reason="all_clear", **RULES, now=after(1), **WHO)
    assert "Open: HIV prophylaxis" in refused.value.faults


def test_a_worker_who_cannot_be_reached_is_a_kind_of_closing_of_its_own(store, case):
    actions.close(
        store, case, reason="lost_to_follow_up", text="three letters", **RULES, now=after(1), **WHO
    )
    assert fold(store.entries(case), after(1), VOCABULARY).closed_reason == "lost_to_follow_up"


def test_a_case_with_nothing_left_is_closed_without_more_words(store):
    case = opened(store, {"route": "intact_skin", "fluid": "urine"})
    left = [a.id for a in plan(store, case, after(1)).actions if a.certain]
    actions.give_first_aid(store, case, steps=["washed"], now=after(1), **WHO)
    for action in left:
        actions.counsel(store, case, action, now=after(1), **WHO)
    actions.close(store, case, reason="not_significant", **RULES, now=after(1), **WHO)
    assert fold(store.entries(case), after(1), VOCABULARY).closed_reason == "not_significant"


def test_only_a_closed_case_is_reopened(store, case):
    given = {"reason": "a result came", "vocabulary": VOCABULARY, "now": after(2), **WHO}
    with pytest.raises(actions.Refused, match="is not closed"):
        actions.reopen(store, case, **given)
    actions.close(store, case, reason="other", text="left", **RULES, now=after(1), **WHO)
    with pytest.raises(actions.Refused, match="reason must say something"):
        actions.reopen(store, case, **{**given, "reason": ""})
    actions.reopen(store, case, **given)
    assert fold(store.entries(case), after(2), VOCABULARY).closed_at is None


def test_a_result_after_closing_is_still_recorded(store, case):
    actions.close(store, case, reason="other", text="left", **RULES, now=after(1), **WHO)
    actions.receive_result(
        store, case, facts={"source_hbsag": "positive"}, vocabulary=VOCABULARY, now=after(2), **WHO
    )
    found = fold(store.entries(case), after(2), VOCABULARY)
    assert found.facts["source_hbsag"].value == "positive"


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
