"""Bodies: one good body of every kind, then what is refused, in which words."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.builders import reported
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.bodies import BODIES, faults_of, from_json, to_json
from thimble.ledger.entries import Kind

SIGNED = {
    "protocol": {"id": "us", "edition": "2026.1", "digest": "ab" * 32},
    "decisions": {"hiv_pep": "recommended", "hbig_doses": None},
    "actions": ["hiv_pep_first_dose"],
    "cautions_shown": 4,
    "at_entry": 1,
}
DEPARTED = {
    "subject": "hiv_pep",
    "advised": "recommended",
    "decided": "not given",
    "reason": "declined",
}
GOOD = {
    Kind.REPORTED: reported(
        {"route": "percutaneous", "worker_medicines": ["calcium_iron", "metformin"]}
    ),
    Kind.FACT_LEARNED: {"facts": {"worker_weight": 72.5}, "said_by": "worker"},
    Kind.CANNOT_BE_KNOWN: {"fact": "worker_weight", "reason": ""},
    Kind.FIRST_AID_GIVEN: {"steps": ["washed with soap and water"], "minutes": 5},
    Kind.ASSESSED: {},
    Kind.SAMPLE_TAKEN: {"action": "baseline_hiv"},
    Kind.RESULT_RECEIVED: {"facts": {"source_hiv": "negative"}, "text": ""},
    Kind.SOURCE_ASKED: {"note": ""},
    Kind.SOURCE_CONSENTED: {},
    Kind.SOURCE_REFUSED: {"action": "ask_source"},
    Kind.SOURCE_LACKS_CAPACITY: {"note": "asleep"},
    Kind.SOURCE_SAMPLED: {"action": "source_hiv_test", "note": ""},
    Kind.SOURCE_DIED: {"blood_held": "yes"},
    Kind.SOURCE_DISCHARGED: {"note": "home since noon"},
    Kind.SOURCE_NOT_IDENTIFIED: {},
    Kind.SOURCE_AUTHORISED: {"ground": "best_interests", "decided_by": "consultant on call"},
    Kind.SOURCE_STATUS_FOUND: {
        "infection": "hiv",
        "status": "negative",
        "evidence": "virology report in the chart",
        "evidence_on": "2025-12-01",
    },
    Kind.WORKER_IDENTITY_PURGED: {
        "kept_until": "2055-06-30",
        "rule": "people.keep_after_leaving",
        "left_on": "2025-06-30",
    },
    Kind.SOURCE_IDENTITY_PURGED: {"kept": "1 year", "rule": "KEEP-01", "closed_on": "2025-02-01"},
    Kind.ESCALATED: {
        "about": "await_result",
        "to": "registrar on call",
        "outcome": "reached",
        "answer": "rings the laboratory",
    },
    Kind.DOSE_GIVEN: {
        "action": "hbig_first_dose",
        "product": "HBIG",
        "amount": "4.32 mL IM",
        "batch": "B1",
    },
    Kind.ADVICE_GIVEN: {"asked": 4, "from": "infectious diseases on call", "advice": "go on"},
    Kind.TABLETS_HANDED_OUT: {"product": "Pack", "days": 23, "batch": "QR-1", "text": ""},
    Kind.DOSES_MISSED: {
        "count": 2,
        "last_taken": "2026-03-04T08:00:00+01:00",
        "taken_again": "2026-03-06T08:00:00+01:00",
        "text": "",
    },
    Kind.SIDE_EFFECT: {"words": "sick in the morning", "severity": "mild", "done": ""},
    Kind.COURSE_REVIEWED: {
        "adherence": "all_taken",
        "baseline_bloods": "normal",
        "source_result": "awaited",
        "decision": "go_on",
        "text": "",
    },
    Kind.COURSE_CHANGED: {"product": "Another pack", "reason": "rash"},
    Kind.COURSE_STOPPED: {"reason": "complete", "text": ""},
    Kind.COURSE_RESUMED: {"reason": "went on", "advised_by": "", "in_hand": None, "end": "moved"},
    Kind.ADVICE_SOUGHT: {"from": "infectious diseases on call", "advice": ""},
    Kind.COUNSELLED: {"action": "counsel_precautions", "text": ""},
    Kind.PLAN_SIGNED: SIGNED,
    Kind.DEPARTED: DEPARTED,
    Kind.VISITS_AGREED: {
        "visits": [{"day": "2026-04-13", "actions": ["follow_up_hcv_rna"]}],
        "unavailable": [{"first": "2026-04-01", "last": "2026-04-09"}],
        "text": "",
    },
    Kind.VISIT_MISSED: {"day": "2026-04-13", "text": ""},
    Kind.CONTACTED: {"how": "telephone", "outcome": "no_answer", "text": ""},
    Kind.WORKER_AGREED: {"to": "email", "agreed": True, "text": "by phone"},
    Kind.DOSES_ON_RECORD: {
        "doses": [{"when": "2019-03", "product": "43"}, {"when": "2019-04-11", "product": ""}],
        "text": "",
    },
    Kind.REACHING_DECIDED: {"decision": "keep_trying", "until": "2026-05-01", "text": "on leave"},
    Kind.FITNESS_DECIDED: {
        "outcome": "fit_with_restriction",
        "restriction": "no_exposure_prone",
        "review_on": "2026-09-01",
        "rule_set": "uk_2023",
        "protocol": {"id": "fitness", "edition": "2026.1", "digest": "0" * 64},
        "proposed": {"outcome": "fit_with_restriction", "restriction": "no_exposure_prone"},
        "rules": ["HBV-04"],
        "fitness_facts": {"hbv_dna": 640.0},
        "days": {"hbv_sample": "2026-03-01"},
        "reason": "",
    },
    Kind.LINKED: {"case": "K7QM-2F49", "is": "patient_case"},
    Kind.CORRECTED: {"corrects": 1, "reason": "wrong arm", "facts": {"route": None}},
    Kind.NOTED: {"text": "called back"},
    Kind.CLOSED: {"reason": "all_clear", "text": ""},
    Kind.REOPENED: {"reason": "a result came"},
}


def without(body, key):
    return {k: v for k, v in body.items() if k != key}


@pytest.mark.parametrize("kind", list(Kind))
def test_a_good_body_of_each_kind_passes(kind):
    assert faults_of(kind, GOOD[kind], vocabulary()) == []


@pytest.mark.parametrize("kind", list(Kind))
def test_a_key_that_the_kind_does_not_have_is_refused(kind):
    faults = faults_of(kind, {**GOOD[kind], "name": "somebody"})
    assert len(faults) == 1
    assert faults[0].startswith(f"{kind.value}: name is not a key of this body; allowed: ")


@pytest.mark.parametrize(
    ("kind", "key"),
    [(kind, key) for kind, keys in BODIES.items() for key, k in keys.items() if k.required],
)
def test_each_required_key_is_missed(kind, key):
    assert faults_of(kind, without(GOOD[kind], key)) == [f"{kind.value}: {key} is missing"]


@pytest.mark.parametrize(
    ("kind", "key"), [(kind, key) for kind, keys in BODIES.items() for key in keys]
)
def test_a_value_of_no_possible_type_is_refused(kind, key):
    faults = faults_of(kind, {**GOOD[kind], key: object()})
    assert faults
    assert all(fault.startswith(f"{kind.value}: {key} ") for fault in faults)


@pytest.mark.parametrize(
    ("kind", "changes", "words"),
    [
        (Kind.REPORTED, {"occurred_at": "2026-03-02T02:40:00"}, "an instant with its offset"),
        (Kind.REPORTED, {"occurred_at": "last night"}, "an instant with its offset"),
        (Kind.REPORTED, {"occurred_at": None}, "exactly when occurred_at_precision is unknown"),
        (Kind.REPORTED, {"occurred_at_precision": "unknown"}, "exactly when"),
        (Kind.REPORTED, {"occurred_at_precision": "roughly"}, "date, unknown; found 'roughly'"),
        (Kind.REPORTED, {"reported_by": "police"}, "worker, clinician; found 'police'"),
        (Kind.REPORTED, {"contact_left": "yes"}, "true or false; found 'yes'"),
        (Kind.REPORTED, {"account": "a\x00b"}, "cannot be kept"),
        (Kind.REPORTED, {"account": "\ud800"}, "cannot be kept"),
        (Kind.REPORTED, {"account": "x" * 20_001}, "at most 20000 characters"),
        (Kind.REPORTED, {"facts": {"route": "by magic"}}, "facts.route is a code"),
        (Kind.REPORTED, {"facts": {"Route": "x"}}, "a key of facts is an id"),
        (Kind.REPORTED, {"facts": {"worker_weight": math.nan}}, "finite"),
        (Kind.REPORTED, {"facts": {"worker_weight": math.inf}}, "finite"),
        (Kind.REPORTED, {"facts": {"worker_weight": True}}, "a code, a number or a sorted list"),
        (Kind.REPORTED, {"facts": {"route": None}}, "a code, a number or a sorted list"),
        (Kind.REPORTED, {"facts": {"worker_medicines": ["metformin", "calcium_iron"]}}, "sorted list"),
        (Kind.REPORTED, {"facts": {"worker_medicines": ["metformin", "metformin"]}}, "without repeats"),
        (Kind.FACT_LEARNED, {"facts": {}}, "at least one fact"),
        (Kind.FACT_LEARNED, {"said_by": "rumour"}, "worker, clinician, laboratory, record"),
        (Kind.FIRST_AID_GIVEN, {"steps": [""]}, "steps[0] must say something"),
        (Kind.FIRST_AID_GIVEN, {"minutes": -1}, "0 or more"),
        (Kind.FIRST_AID_GIVEN, {"minutes": math.nan}, "finite"),
        (Kind.SAMPLE_TAKEN, {"action": "Baseline HIV"}, "is an id"),
        (Kind.VISIT_MISSED, {"day": "13.4.2026"}, "a day such as 2026-03-02"),
        (Kind.VISIT_MISSED, {"day": "2026-02-30"}, "a day such as 2026-03-02"),
        (Kind.VISITS_AGREED, {"visits": [{"day": "2026-04-13", "actions": []}]}, "at least 1 member"),
        (Kind.VISITS_AGREED, {"visits": [{"day": "2026-04-13", "actions": ["a"]},
                                         {"day": "2026-04-13", "actions": ["b"]}]}, "one a day"),
        (Kind.VISITS_AGREED, {"visits": [{"day": "2026-04-13", "actions": ["a"]},
                                         {"day": "2026-04-12", "actions": ["b"]}]}, "in order"),
        (Kind.VISITS_AGREED, {"visits": [{"day": "2026-04-13", "actions": ["a"]},
                                         {"day": "2026-04-14", "actions": ["a"]}]}, "one visit"),
        (Kind.VISITS_AGREED, {"unavailable": [{"first": "2026-04-02", "last": "2026-04-01"}]},
         "ends no earlier"),
        (Kind.VISITS_AGREED, {"visits": [{"day": "2026-04-13", "actions": ["a"], "at": "24:00"}]},
         "at is an hour such as 09:30; found '24:00'"),
        (Kind.CONTACTED, {"how": "pigeon"}, "letter, registered_letter, email, in_person"),
        (Kind.CONTACTED, {"outcome": "maybe"}, "declined, sent, not_sent, not_known; found"),
        (Kind.WORKER_AGREED, {"to": "anything"}, "email, gp_letter; found 'anything'"),
        (Kind.DOSES_ON_RECORD, {"doses": [{"when": "spring", "product": ""}]}, "2019-03 or 2019; found"),
        (Kind.FITNESS_DECIDED, {"restriction": "none"}, "exactly where the outcome is fit or not_fit"),
        (Kind.FITNESS_DECIDED, {"outcome": "fit"}, "exactly where the outcome is fit or not_fit"),
        (Kind.FITNESS_DECIDED, {"review_on": None}, "review_on is a day"),
        (Kind.FITNESS_DECIDED, {"restriction": "no_exposure_prone_for_now"}, "reason must say why"),
        (Kind.FITNESS_DECIDED, {"restriction": "takes tenofovir"}, "restriction is one of"),
        (Kind.REACHING_DECIDED, {"until": None}, "null for close alone"),
        (Kind.REACHING_DECIDED, {"decision": "close"}, "null for close alone"),
        (Kind.REACHING_DECIDED, {"text": " "}, "text must say something"),
        (Kind.LINKED, {"case": "somewhere"}, "the reference of a case"),
        (Kind.LINKED, {"is": "a cousin"}, "patient_case, worker_case"),
        (Kind.COUNSELLED, {"answer": "perhaps"}, "accepted, declined"),
        (Kind.DOSE_GIVEN, {"product": " "}, "product must say something"),
        (Kind.DOSE_GIVEN, {"days": 0}, "days is a whole number, 1 or more"),
        (Kind.ADVICE_GIVEN, {"advice": " "}, "advice must say something"),
        (Kind.TABLETS_HANDED_OUT, {"days": 0}, "days is a whole number, 1 or more"),
        (Kind.DOSES_MISSED, {"count": 0}, "count is a whole number, 1 or more"),
        (
            Kind.DOSES_MISSED,
            {"taken_again": "2026-03-04T08:00:00+01:00"},
            "taken_again lies after last_taken",
        ),
        (Kind.SIDE_EFFECT, {"severity": "awful"}, "severity is one of mild, moderate, severe"),
        (Kind.COURSE_REVIEWED, {"decision": "wait"}, "decision is one of go_on"),
        (Kind.COURSE_STOPPED, {"reason": "other"}, "text must say why the course ended"),
        (Kind.PLAN_SIGNED, {"cautions_shown": 1.5}, "whole number, 0 or more"),
        (Kind.PLAN_SIGNED, {"cautions_shown": True}, "whole number"),
        (Kind.PLAN_SIGNED, {"at_entry": 0}, "whole number, 1 or more"),
        (Kind.PLAN_SIGNED, {"at_entry": 2**53}, "whole number"),
        (Kind.PLAN_SIGNED, {"decisions": {"hiv_pep": ""}}, "or null while it is open"),
        (Kind.PLAN_SIGNED, {"protocol": {"id": "us", "edition": "1"}}, "protocol.digest is missing"),
        (Kind.DEPARTED, {"reason": ""}, "reason must say something"),
        (Kind.DEPARTED, {"reason": "\n "}, "reason must say something"),
        (Kind.CORRECTED, {"corrects": 0}, "whole number, 1 or more"),
        (Kind.CORRECTED, {"withdrawn": True}, "one or the other"),
        (Kind.CORRECTED, {"body": {}}, "not both"),
        (Kind.CLOSED, {"reason": "tired"}, "all_clear, not_significant, source_negative"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_in_a_sentence(kind, changes, words):
    faults = faults_of(kind, {**GOOD[kind], **changes})
    assert len(faults) == 1
    assert words in faults[0]


def test_a_correction_that_changes_nothing_is_refused():
    body = {"corrects": 1, "reason": "hm"}
    assert "needs facts, body or happened_at" in faults_of(Kind.CORRECTED, body)[0]
    assert "needs facts" in faults_of(Kind.CORRECTED, {**body, "withdrawn": False})[0]


def test_every_fault_is_told_at_once():
    faults = faults_of(Kind.DEPARTED, {"subject": "Not An Id", "advised": "", "extra": 1})
    assert len(faults) == 5


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"shoe_size": 42.0}, "shoe_size is not a fact of the vocabulary"),
        ({"route": "teleport"}, "route is one of percutaneous"),
        ({"worker_weight": "heavy"}, "worker_weight is a number in kg"),
        ({"worker_weight": 100000}, "worker_weight lies between"),
        ({"worker_medicines": ["wine"]}, "worker_medicines is a list of any of"),
        ({"worker_medicines": "metformin"}, "worker_medicines is a list of any of"),
    ],
)
def test_with_the_vocabulary_the_facts_are_checked_too(facts, words):
    body = {"facts": facts, "said_by": "worker"}
    assert faults_of(Kind.FACT_LEARNED, body) == []
    assert words in faults_of(Kind.FACT_LEARNED, body, vocabulary())[0]


def test_a_fact_that_cannot_be_known_must_exist():
    body = {"fact": "shoe_size", "reason": ""}
    assert faults_of(Kind.CANNOT_BE_KNOWN, body) == []
    assert "not a fact" in faults_of(Kind.CANNOT_BE_KNOWN, body, vocabulary())[0]


@given(
    st.one_of(
        st.sampled_from(["yes", "unknown"]),
        st.floats(0, 1e6),
        st.frozensets(st.sampled_from(["a", "b", "c"])),
    )
)
def test_values_survive_the_way_through_json(value):
    assert from_json(json.loads(json.dumps(to_json(value)))) == value


@given(
    st.dictionaries(
        st.text(),
        st.recursive(
            st.none() | st.booleans() | st.floats() | st.text(),
            lambda x: st.lists(x) | st.dictionaries(st.text(), x),
        ),
    ),
    st.sampled_from(Kind),
)
def test_no_body_whatever_makes_the_check_itself_fail(body, kind):
    assert isinstance(faults_of(kind, body, vocabulary()), list)
