"""Each action writes what it says, for a case that exists, in words that are checked first."""

import pytest

from ledger.builders import NIGHT, after, us
from thimble import actions
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.store import Overtaken

WHO = {"by": "u2", "role": "nurse", "now": after(1)}
VOCABULARY = us().vocabulary
V = {"vocabulary": VOCABULARY}
NAIVE = NIGHT.replace(tzinfo=None)
SAID = {"said_by": "worker", **V}


@pytest.fixture
def case(store):
    return actions.report(
        store,
        facts={"route": "percutaneous"},
        occurred_at=NIGHT,
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=after(minutes=10),
    ).case


def situation(store, case):
    return fold(store.entries(case), after(2), VOCABULARY)


WRITES = [
    (actions.learn_facts, ({"source_hiv": "unknown"},), SAID, [Kind.FACT_LEARNED]),
    (actions.give_first_aid, (), {"steps": ["washed"]}, [Kind.FIRST_AID_GIVEN]),
    (actions.assessed, (), {}, [Kind.ASSESSED]),
    (actions.take_sample, ("baseline_hiv",), {}, [Kind.SAMPLE_TAKEN]),
    (actions.take_sample, (["baseline_hiv", "baseline_hcv"],), {}, [Kind.SAMPLE_TAKEN] * 2),
    (actions.receive_result, (), {"facts": {"source_hiv": "negative"}, **V}, [Kind.RESULT_RECEIVED]),
    (actions.give_dose, ("hbig_first_dose",), {"product": "HBIG"}, [Kind.DOSE_GIVEN]),
    (actions.ask_source, (), {}, [Kind.SOURCE_ASKED]),
    (actions.source_consents, (), {}, [Kind.SOURCE_CONSENTED, Kind.FACT_LEARNED]),
    (actions.source_refuses, (), {}, [Kind.SOURCE_REFUSED, Kind.FACT_LEARNED]),
    (actions.source_lacks_capacity, (), {}, [Kind.SOURCE_LACKS_CAPACITY]),
    (actions.sample_source, (), {}, [Kind.SOURCE_SAMPLED, Kind.FACT_LEARNED]),
    (actions.sample_source, (), {"action": ["source_hiv_test", "source_hbsag_test"]},
     [Kind.SOURCE_SAMPLED, Kind.SOURCE_SAMPLED, Kind.FACT_LEARNED]),
    (actions.seek_advice, (), {"of": "virologist on call"}, [Kind.ADVICE_SOUGHT]),
    (actions.counsel, ("counsel_precautions",), {}, [Kind.COUNSELLED]),
    (actions.note, ("rang back",), {}, [Kind.NOTED]),
    (actions.cannot_be_known, ("worker_weight",), V, [Kind.CANNOT_BE_KNOWN]),
    (actions.cannot_be_known, ("source_hiv",), V, [Kind.FACT_LEARNED]),
    (actions.cannot_be_known, ("source_hiv",), {"reason": "gone", **V}, [Kind.FACT_LEARNED, Kind.NOTED]),
]  # fmt: skip


@pytest.mark.parametrize(("act", "args", "more", "kinds"), WRITES)
def test_each_action_writes_its_entries(store, case, act, args, more, kinds):
    written = act(store, case, *args, **more, **WHO)
    assert [e.kind for e in written] == kinds
    assert store.entries(case)[1:] == written
    assert {(e.by, e.role, e.recorded_at) for e in written} == {("u2", "nurse", after(1))}


@pytest.mark.parametrize(("act", "args", "more", "kinds"), WRITES)
def test_no_action_opens_a_case(store, act, args, more, kinds):
    with pytest.raises(actions.NoSuchCase, match="there is no case AAAA-AAAA"):
        act(store, "AAAA-AAAA", *args, **more, **WHO)
    assert store.cases() == []


@pytest.mark.parametrize(("act", "args", "more", "kinds"), WRITES)
def test_whoever_was_overtaken_is_told_and_writes_nothing(store, case, act, args, more, kinds):
    actions.note(store, case, "first", **WHO)
    with pytest.raises(Overtaken) as told:
        act(store, case, *args, **more, **WHO, expected_position=1)
    assert [e.body for e in told.value.new_entries] == [{"text": "first"}]
    assert len(store.entries(case)) == 2


@pytest.mark.parametrize(
    ("act", "args", "more", "words"),
    [
        (actions.learn_facts, ({},), SAID, "at least one fact"),
        (actions.learn_facts, ({"route": "x"},), SAID, "route is one of"),
        (actions.learn_facts, ({"worker_weight": float("nan")},), SAID, "finite"),
        (actions.learn_facts, ({"route": "human_bite"},), {"said_by": "rumour", **V}, "said_by is one of"),
        (actions.receive_result, (), {"facts": {}, **V}, "facts or a text"),
        (actions.give_dose, ("hbig_first_dose",), {"product": ""}, "product must say something"),
        (actions.give_dose, ("HBIG now",), {"product": "HBIG"}, "action is an id"),
        (actions.seek_advice, (), {"of": ""}, "from must say something"),
        (actions.note, ("",), {}, "text must say something"),
        (actions.cannot_be_known, ("shoe_size",), V, "not a fact"),
        (actions.give_dose, ("x",), {"product": "p", "happened_at": after(1, 1)}, "lies ahead of now"),
        (actions.give_dose, ("x",), {"product": "p", "happened_at": NAIVE}, "needs its offset"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused_and_nothing_is_written(store, case, act, args, more, words):
    with pytest.raises(actions.Refused, match=words):
        act(store, case, *args, **more, **WHO)
    assert len(store.entries(case)) == 1


def test_what_has_a_value_unknown_is_answered_unknown_and_the_rest_stays_open(store, case):
    actions.cannot_be_known(store, case, "source_hiv", vocabulary=VOCABULARY, **WHO)
    actions.cannot_be_known(
        store, case, "worker_weight", vocabulary=VOCABULARY, reason="out cold", **WHO
    )
    found = situation(store, case)
    assert found.facts["source_hiv"].value == "unknown"
    assert found.cannot_be_known == {"worker_weight": "out cold"}


def test_a_step_of_the_source_says_whether_the_source_can_be_tested(store, case):
    actions.source_refuses(store, case, **WHO)
    found = situation(store, case)
    assert found.facts["source_access"].value == "refuses"
    assert "source_hiv" not in found.facts
    actions.source_consents(store, case, **WHO)
    assert situation(store, case).facts["source_access"].value == "testable"
    assert set(found.done) == {"ask_source"}


def test_a_source_that_cannot_decide_now_is_still_to_be_asked(store, case):
    actions.source_lacks_capacity(store, case, **WHO)
    found = situation(store, case)
    assert found.done == {}
    assert "source_access" not in found.facts


def test_a_dose_written_down_later_counts_from_when_it_was_given(store, case):
    actions.give_dose(
        store, case, "hbig_first_dose", product="HBIG", happened_at=after(minutes=30), **WHO
    )
    assert situation(store, case).done["hbig_first_dose"].at == after(minutes=30)


def test_first_aid_and_assessment_do_the_actions_of_that_name(store, case):
    actions.give_first_aid(store, case, steps=["washed"], minutes=5, **WHO)
    actions.assessed(store, case, **WHO)
    assert set(situation(store, case).done) == {"first_aid", "assess"}
