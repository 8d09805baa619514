"""The chase in words: what comes next, by when, of whom, and whom to call. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from thimble.clinical.saying import elapsed
from thimble.clinical.site import Site
from thimble.clinical.source_law import tables, vocabulary
from thimble.clinical.windows import best_within, span_down, span_up
from thimble.ledger.bodies import (
    ASKED_WHOM,
    ASKERS,
    BLOOD_HELD,
    CALL_OUTCOMES,
    CAPACITY,
    GROUNDS,
    INFECTIONS,
)
from thimble.ledger.situation import Situation
from thimble.ledger.source.chasing import Chase, chase_of
from thimble.ledger.source.pace import Pace, paces
from thimble.protocol.citing import cited
from thimble.protocol.finding import Finding
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import point

CHOICES: Mapping[str, Mapping[str, str]] = {
    "whom": ASKED_WHOM,
    "asker": ASKERS,
    "capacity": CAPACITY,
    "blood_held": BLOOD_HELD,
    "ground": GROUNDS,
}
"""What may be said of a step, each a choice: key of the body → its values in words."""

ASKED_OF: Mapping[str, tuple[str, ...]] = {
    "asked": ("whom", "asker", "blood_held"),
    "consented": ("whom",),
    "refused": ("whom",),
    "lacks_capacity": ("capacity", "blood_held"),
    "died": ("blood_held",),
    "discharged": ("blood_held",),
    "not_identified": (),
    "authorised": ("ground",),
    "sampled": (),
}
"""Which of them belong to which step."""

QUESTIONS = {
    "whom": "Who was asked?",
    "asker": "Who asked?",
    "capacity": "Will they be able to decide?",
    "blood_held": "Is there blood of the source patient in the laboratory already?",
    "ground": "On what ground?",
}


@dataclass(frozen=True, slots=True)
class ChaseView:
    """What the page says first. `share` is what is left of the time, 0 to 1."""

    next: str
    code: str
    state: str
    testing: str
    waits_for: str
    since: str
    share: float
    left: str
    overdue: bool
    awaits: str
    law: str
    law_entered: bool
    confirmed: bool
    note: str
    sources: tuple[str, ...]
    call_due: bool
    call_words: str
    registrar: str
    phone: str
    calls: tuple[str, ...]


def chase_view(reading: Reading, site: Site) -> ChaseView | None:
    """The chase at the reading's moment; None where nothing is chased."""
    situation, now, zone = reading.situation, reading.plan.now, site.zone
    rules = site.source_patient
    chase = chase_of(situation, reading.plan.findings.get("significance"), rules, zone)
    if chase is None:
        return None
    step = chase.step
    words = vocabulary()
    whole = (chase.target - chase.began).total_seconds()
    left = (chase.target - now).total_seconds()
    law = step.because[0]
    return ChaseView(
        next=step.words("next"),
        code=step.next,
        state=words["source_state"].label(chase.state),
        testing=step.words("testing"),
        waits_for=step.words("waits_for"),
        since=span_down(now - chase.began) if now > chase.began else "a moment",
        share=max(0.0, min(1.0, left / whole)),
        left=f"due since {span_down(now - chase.target)}"
        if chase.overdue(now)
        else best_within(chase.target - now),
        overdue=chase.overdue(now),
        awaits=", ".join(INFECTIONS[name] for name in chase.awaits),
        law=words["source_jurisdiction"].label(rules.jurisdiction),
        law_entered=rules.jurisdiction != "not_listed",
        confirmed=law.confirmed,
        note="" if law.note == "-" else law.note,
        sources=tuple(
            f"{place.locator}. {place.citation}"
            for reason in step.because
            for place in cited(reason.source, tables().sources)
        ),
        call_due=now > chase.call_at,
        call_words=_call_words(
            chase, now > chase.call_at, span_up(max(chase.call_at - now, now - now))
        ),
        registrar=rules.registrar or site.expert_phone.name,
        phone=rules.registrar_phone or site.expert_phone.number,
        calls=tuple(
            f"{point(call.at, now, zone)}: {call.to}, {CALL_OUTCOMES[call.outcome]}"
            + (f". {call.answer}" if call.answer else "")
            for call in chase.calls
        ),
    )


def _call_words(chase: Chase, due: bool, ahead: str) -> str:
    again = " again" if chase.calls else ""
    return f"Call{again} now" if due else f"To be called{again} in {ahead}, if nothing has come"


@dataclass(frozen=True, slots=True)
class Span:
    """One stretch of the chase beside its target. `over`: it took, or takes, longer; `runs`: still."""

    took: str
    target: str
    over: str
    runs: bool
    confirmed: bool


DONE: Mapping[str, str] = {
    "report": "the report",
    "asked": "asked",
    "consented": "consent",
    "refused": "the refusal",
    "lacks_capacity": "the record that they cannot decide",
    "sampled": "the blood was taken",
    "died": "the death",
    "discharged": "they went home",
    "not_identified": "the record that nobody knows the source",
    "authorised": "the decision to test",
}
"""What a stretch is counted from, after "since" and "after"."""

_DID = {
    "asked": "Asked",
    "consented": "Consented",
    "refused": "Refused",
    "lacks_capacity": "Found unable to decide",
    "sampled": "Blood taken",
    "died": "Died",
    "discharged": "Went home",
    "not_identified": "Found not to be known",
    "authorised": "Testing decided on",
}


def spans(
    situation: Situation, significance: Finding | None, site: Site, now: datetime
) -> tuple[Span, ...]:
    """How long each step took, beside its target; what runs still says what to do once it is over."""
    found = paces(situation, significance, site.source_patient, site.zone, now)
    return tuple(
        _span(pace, site.source_patient.registrar or "the registrar on call") for pace in found
    )


def _span(pace: Pace, registrar: str) -> Span:
    since = "being asked" if pace.since == "asked" else DONE[pace.since]
    runs = pace.ended is None
    if pace.span < timedelta(0):
        # A step before its start (the patient was asked before anybody reported) kept every target.
        took = f"{_DID.get(pace.until, 'Result')} before {since}"
        return Span(took, "", "", runs=False, confirmed=True)
    length = elapsed(pace.began, pace.began + pace.span)
    if pace.until in INFECTIONS:
        name = INFECTIONS[pace.until]
        took = (
            f"{name} result awaited for {length}"
            if runs
            else f"{name} result {length} after {since}"
        )
    elif runs:
        took = f"{length} since {since}: {pace.step.words('next').lower()}"
    else:
        took = f"{_DID[pace.until]} {length} after {since}"
    over = ""
    if pace.over:
        over = f"over by {span_down(pace.began + pace.span - pace.target)}"
        over += f": call {registrar}" if runs else ""
    confirmed = all(why.confirmed for why in pace.step.because if why.table == "turnaround")
    return Span(took, f"target {pace.allowed.words}", over, runs, confirmed)
