"""What the body of each kind of entry must hold. Checked before every append; faults are sentences."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from thimble.clinical.series.evidence import PartialDate
from thimble.clinical.serology.analytes import Analyte
from thimble.clinical.serology.results import COMPARATORS, Against, Status, Word
from thimble.ledger.checks import MAY, SAY, Check
from thimble.ledger.checks import Key as _Key
from thimble.ledger.checks import boolean as _boolean
from thimble.ledger.checks import code as _code
from thimble.ledger.checks import cvx as _cvx
from thimble.ledger.checks import day as _day
from thimble.ledger.checks import digest as _digest
from thimble.ledger.checks import id_ as _id
from thimble.ledger.checks import instant as _instant
from thimble.ledger.checks import list_of as _list_of
from thimble.ledger.checks import map_of as _map_of
from thimble.ledger.checks import number as _number
from thimble.ledger.checks import one_of as _one_of
from thimble.ledger.checks import or_null as _or_null
from thimble.ledger.checks import reference as _reference
from thimble.ledger.checks import whole as _whole
from thimble.ledger.checks import whole_body as _body_map
from thimble.ledger.entries import Kind
from thimble.protocol.vocabulary import Fact, Value

PRECISIONS = ("minute", "hour", "date", "unknown")
"""How exactly the instant of the exposure is known."""

SAID_BY = ("worker", "clinician", "laboratory", "record")
"""Who a fact comes from."""

CLOSED_REASONS = {
    "all_clear": "follow-up complete, all clear",
    "not_significant": "no significant exposure",
    "source_negative": "source patient negative",
    "transferred": "followed elsewhere",
    "worker_withdrew": "the worker does not want follow-up",
    "lost_to_follow_up": "the worker could not be reached any more",
    "duplicate": "reported twice",
    "other": "another reason",
}
"""Why a case is closed, with the words for it."""

CONTACT_BY = {
    "telephone": "by telephone",
    "letter": "by letter",
    "registered_letter": "by registered letter",
    "email": "by e-mail",
    "in_person": "in person",
}
"""How a worker was contacted."""

CONTACT_OUTCOMES = {
    "reached": "reached",
    "no_answer": "no answer",
    "declined": "does not want to come",
    "sent": "sent, no answer yet",
    "not_sent": "could not be sent",
    "not_known": "not known whether it was sent",
}
"""What came of it."""

CONTACT_ABOUT = {"reminder": "a reminder", "missed": "a missed visit"}
"""What a message that was sent by itself was about."""
SEVERITIES = {
    "mild": "goes on as usual",
    "moderate": "hampers the day",
    "severe": "cannot go on like this",
}
"""How bad a side effect is, as the worker lives with it."""

ADHERENCE = {
    "all_taken": "every dose taken",
    "some_missed": "some doses missed",
    "stopped": "takes none any more",
    "not_asked": "not asked",
}
"""What a review of a course found of the doses."""

BASELINE_BLOODS = {
    "normal": "normal",
    "abnormal": "not normal",
    "not_known": "not back, or not looked at",
}
"""Creatinine and liver enzymes of the baseline sample."""

SOURCE_RESULT = {
    "in": "in, and looked at",
    "awaited": "still awaited",
    "none_to_come": "none will come",
    "not_asked": "not looked into",
}
"""Where the source patient's result stood at a review."""

REVIEW_DECISIONS = {
    "go_on": "go on with the course",
    "change": "change the medicine",
    "stop": "stop the course",
    "ask": "ask an expert first",
}
"""What a review of a course came to."""

STOP_REASONS = {
    "complete": "course completed",
    "source_negative": "source patient negative",
    "side_effects": "side effects",
    "worker_wish": "the worker does not want to go on",
    "worker_hiv_positive": "the worker's own HIV test is reactive: handed on to HIV care",
    "doses_missed": "too many doses missed, on an expert's advice",
    "not_significant": "no significant exposure after all",
    "other": "another reason",
}
"""Why a course ended."""

RESUMED_END = {
    "not_decided": "not decided yet: the expert is asked",
    "moved": "later, by the days without a dose",
    "planned": "as first planned",
}
"""Where a course that is resumed is to end. While that is not decided it counts as moved: tablets then do
not run short, and no test that counts from the end comes early."""


AGREEMENTS = {
    "email": "mail about appointments",
    "gp_letter": "a letter to the general practitioner",
}
"""What a worker is asked to agree to, and may take back."""

REACHING_DECISIONS = {
    "keep_trying": "keep trying to reach the worker",
    "inform_gp": "tell the general practitioner",
    "close": "close the case: the worker cannot be reached",
}
"""What a physician decides once every step to reach a worker was taken."""

FITNESS_OUTCOMES = {
    "fit": "fit",
    "fit_with_restriction": "fit with a restriction",
    "not_fit": "not fit",
}
"""What a physician decides about fitness, in the words that a manager reads."""

FITNESS_RESTRICTIONS = {
    "none": "no restriction",
    "no_exposure_prone": "no exposure-prone procedures",
    "no_exposure_prone_for_now": "no exposure-prone procedures until further notice",
}
"""A restriction in terms of work: fixed words, so that nothing clinical can be typed into it."""

LINKS = {
    "patient_case": "the patient may have been exposed too, and is followed as a case of their own",
    "worker_case": "opened for the patient of that case, whose worker's blood may have come back",
}
"""What another case is to this one."""

ANSWERS = {"accepted": "offered and accepted", "declined": "offered and declined"}
"""What the worker said to an offer. Counselling without an answer was given."""


def _facts(*, removals: bool = False) -> Check:
    """Ids to values as JSON has them. What the values may be is the vocabulary's to say."""

    def check(path: str, value: object) -> list[str]:
        if not isinstance(value, Mapping):
            return [f"{path} maps facts to values; found {value!r}"]
        return [fault for key, given in value.items() for fault in one(path, key, given)]

    def one(path: str, key: object, given: object) -> list[str]:
        if _id(path, key):
            return _id(f"a key of {path}", key)
        at = f"{path}.{key}"
        if given is None and removals:
            return []
        if isinstance(given, str):
            return _code(at, given)
        if isinstance(given, list):
            faults = _list_of(_code)(at, given)
            if not faults and given != sorted(set(given)):
                faults = [f"{at} is a sorted list without repeats; found {given!r}"]
            return faults
        if isinstance(given, bool) or not isinstance(given, int | float):
            return [f"{at} is a code, a number or a sorted list of codes; found {given!r}"]
        if not math.isfinite(given):
            return [f"{at} must be a finite number; found {given!r}"]
        return []

    return check


def _decisions(path: str, value: object) -> list[str]:
    if not isinstance(value, Mapping):
        return [f"{path} maps decisions to values; found {value!r}"]
    faults: list[str] = []
    for key, given in value.items():
        faults += _id(f"a key of {path}", key)
        if given is not None and (not isinstance(given, str) or not given):
            faults.append(f"{path}.{key} is a value, or null while it is open; found {given!r}")
    return faults


def _clock(path: str, value: object) -> list[str]:
    if isinstance(value, str) and re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", value):
        return []
    return [f"{path} is an hour such as 09:30; found {value!r}"]


def _partial(path: str, value: object) -> list[str]:
    try:
        PartialDate.parse(value if isinstance(value, str) else "")
    except ValueError:
        return [
            f"{path} is a day, month or year such as 2019-03-14, 2019-03 or 2019; found {value!r}"
        ]
    return []


PEOPLE = ("worker", "source")
"""Whose blood it is."""

DRAWN_FOR = ("baseline", "follow_up")
"""What a worker's sample was drawn for: to show the state at the exposure, or what came of it."""

ASKED_WHOM = {
    "patient": "the source patient",
    "representative": "whoever may decide for the source patient",
}
"""Whose consent was asked for."""

ASKERS = {
    "treating_doctor": "a doctor who treats the source patient",
    "treating_nurse": "a nurse of the ward",
    "other_doctor": "a doctor with no part in the case",
    "occupational_medicine": "occupational medicine",
    "other": "somebody else",
}
"""Who asked. The exposed worker is none of them: they never ask."""

CAPACITY = {
    "expected": "will be able to in time",
    "not_expected": "not in time",
    "unknown": "cannot be told",
}
"""Whether a patient who cannot decide now is expected to before the answer is needed."""

BLOOD_HELD = {"yes": "yes", "no": "no", "unknown": "not known"}
"""Whether blood of the source is in the laboratory already."""

GROUNDS = {
    "best_interests": "best interests or benefit of the source patient",
    "legal_advice": "advice of the legal department",
    "local_law": "the law here asks for no consent",
    "court": "a court",
}
"""On what ground it was decided that the source may be tested."""

INFECTIONS = {"hiv": "HIV", "hbv": "Hepatitis B (HBsAg)", "hcv": "Hepatitis C"}
"""What a chart can say of the source."""

CALL_OUTCOMES = {"reached": "reached", "no_answer": "no answer"}
"""What came of a call to the registrar."""

# The numbers under which the laboratory knows a sample.
_NUMBERS = {"request": _Key(MAY, required=False), "specimen": _Key(MAY, required=False)}

_RESULT = {
    "analyte": _Key(_one_of(tuple(Analyte))),
    "word": _Key(_or_null(_one_of(tuple(Word)))),
    "number": _Key(_or_null(_number)),
    "comparator": _Key(_one_of(COMPARATORS)),
    "unit": _Key(MAY),
    "status": _Key(_one_of(tuple(Status))),
    "as_sent": _Key(MAY),
    # How a number stands to the laboratory's own reference range, where it says so.
    "against_range": _Key(_one_of(tuple(Against)), required=False),
}
_SOURCE_STEP = {
    "action": _Key(_id, required=False),
    "note": _Key(MAY, required=False),
    # Whether the patient or whoever may decide for them; by whom; what else is known of it.
    "whom": _Key(_one_of(tuple(ASKED_WHOM)), required=False),
    "asker": _Key(_one_of(tuple(ASKERS)), required=False),
    "capacity": _Key(_one_of(tuple(CAPACITY)), required=False),
    "blood_held": _Key(_one_of(tuple(BLOOD_HELD)), required=False),
}

BODIES: Mapping[Kind, Mapping[str, _Key]] = {
    Kind.REPORTED: {
        "facts": _Key(_facts()),
        "occurred_at": _Key(_or_null(_instant)),
        "occurred_at_precision": _Key(_one_of(PRECISIONS)),
        "place": _Key(MAY),
        "task": _Key(MAY),
        "account": _Key(MAY),
        "contact_left": _Key(_boolean),
        "reported_by": _Key(_one_of(("worker", "clinician"))),
        # SHA-256 of the form's token: a report sent twice is one case.
        "token": _Key(_digest, required=False),
    },
    Kind.FACT_LEARNED: {"facts": _Key(_facts()), "said_by": _Key(_one_of(SAID_BY))},
    Kind.CANNOT_BE_KNOWN: {"fact": _Key(_id), "reason": _Key(MAY)},
    Kind.FIRST_AID_GIVEN: {
        "steps": _Key(_list_of(SAY)),
        "minutes": _Key(_or_null(_number), required=False),
        "action": _Key(_id, required=False),
    },
    Kind.ASSESSED: {"action": _Key(_id, required=False)},
    Kind.SAMPLE_TAKEN: {"action": _Key(_id), **_NUMBERS},
    # `facts` are what the results settle for the plan; null takes back what an earlier result said.
    Kind.RESULT_RECEIVED: {
        "action": _Key(_id, required=False),
        "facts": _Key(_facts(removals=True)),
        "text": _Key(MAY),
        "of": _Key(_one_of(PEOPLE), required=False),
        "drawn_for": _Key(_one_of(DRAWN_FOR), required=False),
        "results": _Key(_list_of(_map_of(_RESULT), least=1), required=False),
        "taken_at": _Key(_or_null(_instant), required=False),
        "reported_at": _Key(_instant, required=False),
        "request": _Key(MAY, required=False),
        "specimen": _Key(MAY, required=False),
        "laboratory": _Key(MAY, required=False),
        # A person looked at what could not be right and recorded it all the same: why.
        "looked_at": _Key(MAY, required=False),
        # SHA-256 of the message that it came in: a message processed twice is recorded once.
        "message": _Key(_digest, required=False),
    },
    Kind.SOURCE_ASKED: _SOURCE_STEP,
    Kind.SOURCE_CONSENTED: _SOURCE_STEP,
    Kind.SOURCE_REFUSED: _SOURCE_STEP,
    Kind.SOURCE_LACKS_CAPACITY: _SOURCE_STEP,
    Kind.SOURCE_SAMPLED: {**_SOURCE_STEP, **_NUMBERS},
    Kind.SOURCE_DIED: _SOURCE_STEP,
    Kind.SOURCE_DISCHARGED: _SOURCE_STEP,
    Kind.SOURCE_NOT_IDENTIFIED: _SOURCE_STEP,
    # Who decided that the source may be tested (a function, no name), and on what ground.
    Kind.SOURCE_AUTHORISED: {
        **_SOURCE_STEP,
        "ground": _Key(_one_of(tuple(GROUNDS))),
        "decided_by": _Key(SAY),
    },
    # What the chart says of the source: its evidence, and the day that the evidence is of.
    Kind.SOURCE_STATUS_FOUND: {
        "infection": _Key(_one_of(tuple(INFECTIONS))),
        "status": _Key(_one_of(("positive", "negative"))),
        "evidence": _Key(SAY),
        "evidence_on": _Key(_day),
    },
    # That it was erased who the source was: when the case was closed, and by which rule.
    Kind.SOURCE_IDENTITY_PURGED: {"kept": _Key(SAY), "rule": _Key(SAY), "closed_on": _Key(_day)},
    # With the worker's file of the register: who they are is kept nowhere any more.
    Kind.WORKER_IDENTITY_PURGED: {
        "kept_until": _Key(_day),
        "rule": _Key(SAY),
        "left_on": _Key(_day),
    },
    Kind.ESCALATED: {
        "about": _Key(_id),
        "to": _Key(SAY),
        "outcome": _Key(_one_of(tuple(CALL_OUTCOMES))),
        "answer": _Key(MAY),
    },
    Kind.DOSE_GIVEN: {
        "action": _Key(_id),
        "product": _Key(SAY),
        "amount": _Key(MAY),
        "batch": _Key(MAY),
        # Days of a course that were handed out with it.
        "days": _Key(_whole(low=1), required=False),
        # Of a vaccine, which: how many doses the series has follows from it. Left out where nobody knows.
        "cvx": _Key(_cvx, required=False),
    },
    Kind.ADVICE_SOUGHT: {
        "action": _Key(_id, required=False),
        "from": _Key(SAY),
        "advice": _Key(MAY),
    },
    Kind.COUNSELLED: {
        "action": _Key(_id),
        "text": _Key(MAY),
        "answer": _Key(_one_of(tuple(ANSWERS)), required=False),
    },
    # The answer to advice that was sought: `asked` is the position of the entry that sought it.
    Kind.ADVICE_GIVEN: {
        "action": _Key(_id, required=False),
        "asked": _Key(_or_null(_whole(low=1))),
        "from": _Key(SAY),
        "advice": _Key(SAY),
    },
    Kind.TABLETS_HANDED_OUT: {
        "product": _Key(SAY),
        "days": _Key(_whole(low=1)),
        "batch": _Key(MAY),
        "text": _Key(MAY),
    },
    # `last_taken` is the last dose before the gap, `taken_again` the first one after it.
    Kind.DOSES_MISSED: {
        "count": _Key(_whole(low=1)),
        "last_taken": _Key(_or_null(_instant)),
        "taken_again": _Key(_or_null(_instant)),
        "text": _Key(MAY),
    },
    Kind.SIDE_EFFECT: {
        "words": _Key(SAY),
        "severity": _Key(_one_of(tuple(SEVERITIES))),
        "done": _Key(MAY),
    },
    Kind.COURSE_REVIEWED: {
        "action": _Key(_id, required=False),
        "adherence": _Key(_one_of(tuple(ADHERENCE))),
        "baseline_bloods": _Key(_one_of(tuple(BASELINE_BLOODS))),
        "source_result": _Key(_one_of(tuple(SOURCE_RESULT))),
        "decision": _Key(_one_of(tuple(REVIEW_DECISIONS))),
        "text": _Key(MAY),
    },
    Kind.COURSE_CHANGED: {"product": _Key(SAY), "reason": _Key(SAY)},
    # It happened when the last dose was taken.
    Kind.COURSE_STOPPED: {
        "action": _Key(_id, required=False),
        "reason": _Key(_one_of(tuple(STOP_REASONS))),
        "text": _Key(MAY),
    },
    # It happened when the first dose after the stop was taken. `in_hand`: days of tablets still there.
    Kind.COURSE_RESUMED: {
        "reason": _Key(SAY),
        "advised_by": _Key(MAY),
        "in_hand": _Key(_or_null(_whole(low=0))),
        "end": _Key(_one_of(tuple(RESUMED_END))),
    },
    Kind.PLAN_SIGNED: {
        "protocol": _Key(_map_of({"id": _Key(SAY), "edition": _Key(SAY), "digest": _Key(_digest)})),
        "decisions": _Key(_decisions),
        "actions": _Key(_list_of(_id)),
        "cautions_shown": _Key(_whole(low=0)),
        "at_entry": _Key(_whole(low=1)),
    },
    Kind.DEPARTED: {
        "subject": _Key(_id),
        "advised": _Key(SAY),
        "decided": _Key(SAY),
        "reason": _Key(SAY),
    },
    # The dates that the worker was told. The last such entry stands for all before it.
    Kind.VISITS_AGREED: {
        "visits": _Key(
            # `at` is the hour on the clock of the site, where one was agreed.
            _list_of(
                _map_of(
                    {
                        "day": _Key(_day),
                        "actions": _Key(_list_of(_id, least=1)),
                        "at": _Key(_clock, required=False),
                    }
                )
            )
        ),
        # Stretches of days on which the worker cannot come, first and last included.
        "unavailable": _Key(_list_of(_map_of({"first": _Key(_day), "last": _Key(_day)}))),
        "text": _Key(MAY),
    },
    Kind.VISIT_MISSED: {"day": _Key(_day), "text": _Key(MAY)},
    Kind.CONTACTED: {
        "how": _Key(_one_of(tuple(CONTACT_BY))),
        "outcome": _Key(_one_of(tuple(CONTACT_OUTCOMES))),
        "text": _Key(MAY),
        # A message that went out by itself: about what, and about the visit of which day.
        "about": _Key(_one_of(tuple(CONTACT_ABOUT)), required=False),
        "visit": _Key(_day, required=False),
    },
    Kind.WORKER_AGREED: {
        "to": _Key(_one_of(tuple(AGREEMENTS))),
        "agreed": _Key(_boolean),
        "text": _Key(MAY),
    },
    # Doses of hepatitis B vaccine given before the exposure or elsewhere, in place of those told before:
    # each with its day, or the month or year, and the product's CVX number, "" where nobody knows it.
    Kind.DOSES_ON_RECORD: {
        "doses": _Key(_list_of(_map_of({"when": _Key(_partial), "product": _Key(MAY)}))),
        "text": _Key(MAY),
    },
    # `until` is the day on which it is decided anew; only a case that is closed has none.
    Kind.REACHING_DECIDED: {
        "decision": _Key(_one_of(tuple(REACHING_DECISIONS))),
        "until": _Key(_or_null(_day)),
        "text": _Key(SAY),
    },
    # `proposed` is what the tables said then, null where it was open; `days` what intervals count from.
    Kind.FITNESS_DECIDED: {
        "outcome": _Key(_one_of(tuple(FITNESS_OUTCOMES))),
        "restriction": _Key(_one_of(tuple(FITNESS_RESTRICTIONS))),
        "review_on": _Key(_or_null(_day)),
        "rule_set": _Key(_id),
        "protocol": _Key(_map_of({"id": _Key(SAY), "edition": _Key(SAY), "digest": _Key(_digest)})),
        "proposed": _Key(
            _map_of({"outcome": _Key(_or_null(_id)), "restriction": _Key(_or_null(_id))})
        ),
        "rules": _Key(_list_of(SAY)),
        "fitness_facts": _Key(_facts()),
        "days": _Key(
            _map_of(
                {
                    "hbv_sample": _Key(_day, required=False),
                    "hcv_treatment_end": _Key(_day, required=False),
                    "hiv_sample": _Key(_day, required=False),
                }
            )
        ),
        "reason": _Key(MAY),
    },
    Kind.LINKED: {"case": _Key(_reference), "is": _Key(_one_of(tuple(LINKS)))},
    Kind.CORRECTED: {
        "corrects": _Key(_whole(low=1)),
        "reason": _Key(SAY),
        "facts": _Key(_facts(removals=True), required=False),
        "body": _Key(_body_map, required=False),
        "happened_at": _Key(_instant, required=False),
        "withdrawn": _Key(_boolean, required=False),
    },
    Kind.NOTED: {"text": _Key(SAY)},
    # `left` are the actions that were not done then; they are to be done again once reopened.
    Kind.CLOSED: {
        "reason": _Key(_one_of(tuple(CLOSED_REASONS))),
        "text": _Key(MAY),
        "left": _Key(_list_of(_id), required=False),
    },
    Kind.REOPENED: {"reason": _Key(SAY)},
}
"""The keys of each kind's body. Every key is required unless marked otherwise."""


def faults_of(
    kind: Kind, body: Mapping[str, Any], vocabulary: Mapping[str, Fact] | None = None
) -> list[str]:
    """Everything that is wrong with a body, as sentences that begin with the kind; none if it fits.

    With a vocabulary, facts and their values are checked against it too.
    """
    faults = _map_of(BODIES[kind])("", body)
    if not faults:
        faults = _across(kind, body)
    if not faults and vocabulary is not None:
        faults = _against(vocabulary, kind, body)
    return [f"{kind.value}: {fault}" for fault in faults]


def fitness_fits(body: Mapping[str, Any]) -> list[str]:
    if (body["outcome"] == "fit_with_restriction") == (body["restriction"] == "none"):
        return ["restriction is none exactly where the outcome is fit or not_fit"]
    if body["outcome"] != "fit" and body["review_on"] is None:
        return ["review_on is a day where the outcome is not fit without a restriction"]
    decided = {"outcome": body["outcome"], "restriction": body["restriction"]}
    if dict(body["proposed"]) != decided and not body["reason"].strip():
        return ["reason must say why, where the decision is not what the tables proposed"]
    return []


def _across(kind: Kind, body: Mapping[str, Any]) -> list[str]:
    """What one key says about another."""
    if kind is Kind.REPORTED:
        known = body["occurred_at"] is not None
        if known == (body["occurred_at_precision"] == "unknown"):
            return [
                "occurred_at is null exactly when occurred_at_precision is unknown; found "
                f"{body['occurred_at']!r} with {body['occurred_at_precision']}"
            ]
    if kind is Kind.FACT_LEARNED and not body["facts"]:
        return ["facts must hold at least one fact"]
    if kind is Kind.VISITS_AGREED:
        return _visits_fit(body)
    if kind is Kind.REACHING_DECIDED and (body["until"] is None) != (body["decision"] == "close"):
        return ["until is the day to decide anew, and null for close alone"]
    if kind is Kind.FITNESS_DECIDED:
        return fitness_fits(body)
    if kind is Kind.RESULT_RECEIVED and "results" in body:
        return _results_fit(body)
    if kind is Kind.DOSES_MISSED and body["last_taken"] and body["taken_again"]:
        last, again = (datetime.fromisoformat(body[key]) for key in ("last_taken", "taken_again"))
        if again <= last:
            return ["taken_again lies after last_taken; found them the other way round"]
    if kind is Kind.COURSE_STOPPED and body["reason"] == "other" and not body["text"].strip():
        return ["text must say why the course ended where the reason is another"]
    if kind is Kind.CORRECTED:
        if body.get("withdrawn"):
            if {"facts", "body", "happened_at"} & set(body):
                return [
                    "a withdrawn entry has no facts, body or happened_at; give one or the other"
                ]
        elif not {"facts", "body", "happened_at"} & set(body):
            return ["a correction needs facts, body or happened_at, or withdrawn = true"]
        if "facts" in body and "body" in body:
            return ["a correction replaces the facts or the whole body, not both"]
    return []


def _results_fit(body: Mapping[str, Any]) -> list[str]:
    missing = [key for key in ("of", "reported_at", "taken_at") if key not in body]
    faults = [f"{key} belongs to results; it is missing" for key in missing]
    if body.get("of") == "worker" and "drawn_for" not in body:
        faults.append("drawn_for belongs to results of the worker; it is missing")
    for index, result in enumerate(body["results"]):
        empty = result["word"] is None and result["number"] is None
        if empty and result["status"] != Status.RETRACTED:
            faults.append(f"results[{index}] has a word or a number; found neither")
    return faults


def _visits_fit(body: Mapping[str, Any]) -> list[str]:
    days = [visit["day"] for visit in body["visits"]]
    actions = [action for visit in body["visits"] for action in visit["actions"]]
    faults = []
    if days != sorted(set(days)):
        faults.append(f"visits are in order of their days, one a day; found {', '.join(days)}")
    if twice := sorted({action for action in actions if actions.count(action) > 1}):
        faults.append(f"each action belongs to one visit; found twice: {', '.join(twice)}")
    faults += [
        f"a stretch ends no earlier than it begins; found {away['first']} to {away['last']}"
        for away in body["unavailable"]
        if away["last"] < away["first"]
    ]
    return faults


def _against(vocabulary: Mapping[str, Fact], kind: Kind, body: Mapping[str, Any]) -> list[str]:
    if kind is Kind.CANNOT_BE_KNOWN:
        fact = body["fact"]
        return [] if fact in vocabulary else [f"{fact} is not a fact of the vocabulary"]
    faults: list[str] = []
    for fact, given in body.get("facts", {}).items():
        if fact not in vocabulary:
            faults.append(f"{fact} is not a fact of the vocabulary")
        elif given is not None:
            try:
                vocabulary[fact].check(given)
            except ValueError as error:
                faults.append(str(error))
    return faults


def to_json(value: Value) -> str | float | list[str]:
    """A fact's value as bodies hold it: a set becomes a sorted list."""
    return sorted(value) if isinstance(value, frozenset) else value


def facts_to_json(facts: Mapping[str, Value]) -> dict[str, Any]:
    """Facts as bodies hold them."""
    return {fact: to_json(value) for fact, value in facts.items()}


def from_json(value: object) -> Value:
    """The inverse of `to_json`, for a value that has passed `faults_of`.

    Raises:
        ValueError: the value is none of a code, a number or a list.
    """
    if isinstance(value, list):
        return frozenset(str(member) for member in value)
    if isinstance(value, str):
        return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    raise ValueError(f"a fact's value is a code, a number or a list; found {value!r}")
