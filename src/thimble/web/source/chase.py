"""The chase in words: what comes next, by when, of whom, and whom to call. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

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
from thimble.ledger.chasing import Chase, chase_of
from thimble.ledger.plan import Situation
from thimble.protocol.citing import cited
from thimble.web.desk.page import Reading
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
    "blood_held": "Is there blood of the patient in the laboratory already?",
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
    """One stretch of the chase: between which steps, and how long it took, or has run so far."""

    label: str
    took: str
    runs: bool


_STEPS = (
    ("asked", frozenset({"asked"})),
    ("answered", frozenset({"consented", "refused", "lacks_capacity"})),
    ("blood taken", frozenset({"sampled"})),
)
_RESULTS = ("source_hiv", "source_hbsag", "source_hcv_rna", "source_anti_hcv")


def spans(situation: Situation, now: datetime) -> tuple[Span, ...]:
    """How long it took from the report to each step on record, each counted once: the first of its kind.

    A step that is not on record is left out, and the stretch goes on to the next one that is. Until the
    laboratory has said something the last stretch runs to `now`, and no longer than to the closing.
    """
    if situation.reported_at is None:
        return ()
    points = [("reported", situation.reported_at)]
    for label, names in _STEPS:
        found = [s.at for s in situation.source.steps if s.step in names]
        points += [(label, min(found))] if found else []
    told = [
        known.known_at
        for fact in _RESULTS
        if (known := situation.facts.get(fact)) is not None
        and known.said_by == "laboratory"
        and known.known_at is not None
    ]
    points += [("first result", min(told))] if told else []
    points.sort(key=lambda point: point[1])
    if len(points) == 1:
        return ()
    taken = [
        Span(f"From {a} to {b}", span_down(until - since), runs=False)
        for (a, since), (b, until) in pairwise(points)
    ]
    if not told:
        last, since = points[-1]
        until = situation.closed_at or now
        taken.append(Span(f"Since {last}", span_down(max(until, since) - since), runs=True))
    return tuple(taken)
