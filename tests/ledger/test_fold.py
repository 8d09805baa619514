"""The fold: later answers win, corrections act in place, and any past moment can be had again."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.builders import NIGHT, after, learned, reported, write
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.store import MemoryStore

CASE = "K7QM-2F49"


def case(*steps):
    """A case reported 10 minutes after; then each (kind, body) five minutes after the one before."""
    store = MemoryStore()
    write(store, CASE, (Kind.REPORTED, reported({"route": "percutaneous"})), at=after(minutes=10))
    for count, step in enumerate(steps, start=1):
        write(store, CASE, step, at=after(minutes=10 + 5 * count))
    return store.entries(CASE)


def situation(*steps, as_of=None):
    return fold(case(*steps), as_of or after(hours=100), vocabulary())


def values(found):
    return {fact: known.value for fact, known in found.facts.items()}


def corrected(position, **more):
    return Kind.CORRECTED, {"corrects": position, "reason": "wrong", **more}


WEIGHT_70 = learned(worker_weight=70.0)
WEIGHT_80 = learned(worker_weight=80.0)


def test_a_report_gives_its_facts_with_where_they_come_from():
    found = situation()
    assert found.occurred_at == NIGHT
    assert found.reported_at == after(minutes=10)
    known = found.facts["route"]
    assert (known.value, known.said_by, known.entry) == ("percutaneous", "worker", 1)
    assert (found.entries, found.closed_at) == (1, None)


def test_a_later_answer_stands_over_an_earlier_one():
    found = situation(WEIGHT_70, WEIGHT_80)
    assert values(found)["worker_weight"] == 80.0
    assert found.facts["worker_weight"].entry == 3


def test_a_laboratory_result_sets_facts_in_the_name_of_the_laboratory():
    found = situation((Kind.RESULT_RECEIVED, {"facts": {"source_hiv": "negative"}, "text": ""}))
    assert found.facts["source_hiv"].said_by == "laboratory"


def test_a_set_comes_back_as_a_set():
    found = situation(learned(worker_medicines=["calcium_iron", "metformin"]))
    assert values(found)["worker_medicines"] == frozenset({"calcium_iron", "metformin"})


def test_nothing_recorded_later_is_known():
    steps = (WEIGHT_70, WEIGHT_80)
    assert values(situation(*steps, as_of=after(minutes=19)))["worker_weight"] == 70.0
    # On the instant itself it is known.
    assert values(situation(*steps, as_of=after(minutes=20)))["worker_weight"] == 80.0
    assert "worker_weight" not in values(situation(*steps, as_of=after(minutes=14)))


def test_before_the_report_there_is_no_situation():
    with pytest.raises(ValueError, match="nothing is recorded by"):
        situation(as_of=after(minutes=9))


def test_what_cannot_be_known_is_open_and_an_answer_after_all_settles_it():
    cannot = (Kind.CANNOT_BE_KNOWN, {"fact": "worker_weight", "reason": "unconscious"})
    found = situation(WEIGHT_70, cannot)
    assert found.cannot_be_known == {"worker_weight": "unconscious"}
    assert "worker_weight" not in found.facts
    found = situation(WEIGHT_70, cannot, WEIGHT_80)
    assert found.cannot_be_known == {}
    assert values(found)["worker_weight"] == 80.0


def test_a_corrected_fact_replaces_and_a_later_answer_still_stands():
    assert (
        values(situation(WEIGHT_70, corrected(2, facts={"worker_weight": 75.0})))["worker_weight"]
        == 75.0
    )
    assert (
        values(situation(WEIGHT_70, WEIGHT_80, corrected(2, facts={"worker_weight": 75.0})))[
            "worker_weight"
        ]
        == 80.0
    )


def test_a_fact_taken_back_is_not_settled_any_more():
    assert "route" not in values(situation(corrected(1, facts={"route": None})))


def test_withdrawing_brings_back_the_earlier_value_and_undoing_that_the_later():
    steps = [WEIGHT_70, WEIGHT_80, corrected(3, withdrawn=True)]
    assert values(situation(*steps))["worker_weight"] == 70.0
    steps.append(corrected(4, withdrawn=True))
    assert values(situation(*steps))["worker_weight"] == 80.0
    steps.append(corrected(5, withdrawn=True))
    assert values(situation(*steps))["worker_weight"] == 70.0


def test_a_correction_counts_only_once_it_is_recorded():
    steps = (WEIGHT_70, WEIGHT_80, corrected(3, withdrawn=True))
    assert values(situation(*steps, as_of=after(minutes=24)))["worker_weight"] == 80.0


def test_the_whole_report_can_be_set_right():
    later = reported({"route": "human_bite"}, occurred_at=after(minutes=5).isoformat())
    found = situation(WEIGHT_70, corrected(1, body=later))
    assert found.occurred_at == after(minutes=5)
    assert values(found) == {"route": "human_bite", "worker_weight": 70.0}


DOSE = (
    Kind.DOSE_GIVEN,
    {"action": "hiv_pep_first_dose", "product": "PEP", "amount": "", "batch": ""},
)


def test_the_first_dose_is_the_one_that_counts_and_its_time_can_be_set_right():
    found = situation(DOSE, DOSE)
    assert (found.done["hiv_pep_first_dose"].entry, found.done["hiv_pep_first_dose"].at) == (
        2,
        after(minutes=15),
    )
    found = situation(DOSE, corrected(2, happened_at=after(minutes=12).isoformat()))
    assert found.done["hiv_pep_first_dose"].at == after(minutes=12)
    assert situation(DOSE, corrected(2, withdrawn=True)).done == {}


def test_steps_of_the_source_keep_their_instants():
    found = situation((Kind.SOURCE_ASKED, {}), (Kind.SOURCE_REFUSED, {}))
    assert found.source_steps == {"asked": after(minutes=15), "refused": after(minutes=20)}


def test_closing_reopening_and_taking_back_a_closure():
    close = (Kind.CLOSED, {"reason": "all_clear", "text": ""})
    reopen = (Kind.REOPENED, {"reason": "result"})
    assert situation(close).closed_reason == "all_clear"
    assert situation(close, reopen).closed_at is None
    assert situation(close, reopen, corrected(3, withdrawn=True)).closed_at == after(minutes=15)


def test_a_fact_that_the_vocabulary_no_longer_holds_is_asked_again():
    entries = case(learned(worker_weight=70.0, shoe_size=42.0))
    entries[1] = replace(
        entries[1], body={"facts": {"shoe_size": 42.0, "route": "gone"}, "said_by": "worker"}
    )
    assert values(fold(entries, after(1), vocabulary())) == {"route": "percutaneous"}


def test_two_cases_are_not_folded_into_one():
    other = replace(case()[0], case="other")
    with pytest.raises(ValueError, match="one case at a time"):
        fold([*case(), other], after(1), vocabulary())


def test_a_moment_without_offset_is_refused():
    with pytest.raises(ValueError, match="as_of needs its offset"):
        fold(case(), NIGHT.replace(tzinfo=None), vocabulary())


# -- properties ---------------------------------------------------------------------------------

FACTS = {
    "route": ["percutaneous", "human_bite"],
    "worker_weight": [60.0, 70.0, 80.0],
    "source_hiv": ["positive", "negative", "unknown"],
}


@st.composite
def stories(draw):
    """Any sequence of answers, doses, doubts and corrections, corrections of corrections included."""
    steps = []
    for position in range(2, draw(st.integers(2, 14))):
        kind = draw(
            st.sampled_from(["learn", "learn", "dose", "cannot", "withdraw", "facts", "time"])
        )
        fact = draw(st.sampled_from(sorted(FACTS)))
        value = draw(st.sampled_from(FACTS[fact]))
        target = draw(st.integers(1, position - 1))
        if kind == "learn":
            steps.append(learned(**{fact: value}))
        elif kind == "dose":
            steps.append(DOSE)
        elif kind == "cannot":
            steps.append((Kind.CANNOT_BE_KNOWN, {"fact": fact, "reason": ""}))
        elif kind == "withdraw" and target > 1:
            steps.append(corrected(target, withdrawn=True))
        elif kind == "time":
            steps.append(corrected(target, happened_at=after(minutes=1).isoformat()))
        else:
            first = target == 1 or steps[target - 2][0] is Kind.FACT_LEARNED
            steps.append(
                corrected(
                    target if first else 1, facts={fact: draw(st.sampled_from([value, None]))}
                )
            )
    return steps


def _by_replaying(entries):
    """The values of facts by another road: apply corrections to the list of entries, one at a time,
    from the newest to the oldest, then read what is left from the oldest to the newest."""
    bodies = {e.position: dict(e.body) for e in entries}
    kinds = {e.position: e.kind for e in entries}
    patches = {p: [] for p in bodies}
    for position in sorted(bodies, reverse=True):
        for patch in reversed(patches[position]):
            if bodies[position] is None:
                break
            if patch.get("withdrawn"):
                bodies[position] = None
            elif "facts" in patch:
                merged = {**bodies[position].get("facts", {}), **patch["facts"]}
                bodies[position]["facts"] = {f: v for f, v in merged.items() if v is not None}
        if bodies[position] is not None and kinds[position] is Kind.CORRECTED:
            patches[bodies[position]["corrects"]].append(bodies[position])
    known = {}
    for position in sorted(bodies):
        if bodies[position] is None or kinds[position] is Kind.CORRECTED:
            continue
        if kinds[position] is Kind.CANNOT_BE_KNOWN:
            known.pop(bodies[position]["fact"], None)
        known.update(bodies[position].get("facts", {}))
    return known


@given(stories())
def test_any_story_reads_as_replayed_by_hand(steps):
    entries = case(*steps)
    assert values(fold(entries, after(100), vocabulary())) == _by_replaying(entries)


@given(stories())
def test_the_same_entries_give_the_same_situation_whatever_order_they_are_read_in(steps):
    entries = case(*steps)
    once = fold(entries, after(100), vocabulary())
    assert fold(entries, after(100), vocabulary()) == once
    assert fold(reversed(entries), after(100), vocabulary()) == once


@given(stories(), st.integers(10, 90))
def test_a_past_moment_is_the_fold_of_what_was_recorded_by_then(steps, minutes):
    entries = case(*steps)
    moment = after(minutes=minutes)
    prefix = [e for e in entries if e.recorded_at <= moment]
    assert fold(entries, moment, vocabulary()) == fold(prefix, moment, vocabulary())


@given(stories(), st.data())
def test_withdrawing_an_answer_is_as_if_it_had_never_been_given(steps, data):
    """Tried at the end of any story, on an answer that nothing corrects."""
    touched = {s[1]["corrects"] for s in steps if s[0] is Kind.CORRECTED}
    free = [
        at
        for at, s in enumerate(steps)
        if s[0] in (Kind.FACT_LEARNED, Kind.DOSE_GIVEN) and at + 2 not in touched
    ]
    if not free:
        return
    at = data.draw(st.sampled_from(free))
    note = (Kind.NOTED, {"text": "in its place, so that the other positions stay"})
    instead = [*steps[:at], note, *steps[at + 1 :]]

    withdrawn = situation(*steps, corrected(at + 2, withdrawn=True))
    never = situation(*instead, note)

    same = {"last_digest": "", "as_of": after(1)}
    assert replace(withdrawn, **same) == replace(never, **same)


def test_the_clock_of_the_server_and_the_zone_of_as_of_do_not_matter():
    entries = case(WEIGHT_70)
    moment = after(minutes=15)
    utc = fold(entries, moment.astimezone(tz=None) + timedelta(0), vocabulary())
    assert replace(utc, as_of=moment) == fold(entries, moment, vocabulary())
