"""What is known of one case as of a moment: a pure function of its entries.

Entries are taken in the order of their positions; a later answer stands over an earlier one. A
correction acts where the entry it corrects stands, not where it was written itself, so that an
answer given since then still counts. Withdrawing an entry brings back whatever it had replaced.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from thimble.clinical.series import DoseGiven, PartialDate
from thimble.ledger.bodies import from_json
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.follow_up.record import FOLLOWING, FollowUpReading
from thimble.ledger.prophylaxis.record import COURSE_KINDS, STOP, CourseReading
from thimble.ledger.results.recorded import results_in
from thimble.ledger.situation import Departure, KnownFact, LabResult, Link, SignedPlan, Situation
from thimble.ledger.source.record import SourceReading
from thimble.ledger.standing import Standing, known_by, standing
from thimble.protocol.vocabulary import Fact, Value

ASSESS = "assess"
"""The action that a signature completes."""
TO_DECIDE = "_decision"
"""The action `hiv_pep_decision` asks to decide `hiv_pep`: deciding it is doing it."""
SOURCE_STEPS: Mapping[Kind, str] = {
    Kind.SOURCE_ASKED: "asked",
    Kind.SOURCE_CONSENTED: "consented",
    Kind.SOURCE_REFUSED: "refused",
    Kind.SOURCE_LACKS_CAPACITY: "lacks_capacity",
    Kind.SOURCE_SAMPLED: "sampled",
    Kind.SOURCE_DIED: "died",
    Kind.SOURCE_DISCHARGED: "discharged",
    Kind.SOURCE_NOT_IDENTIFIED: "not_identified",
    Kind.SOURCE_AUTHORISED: "authorised",
}


@dataclass(frozen=True, slots=True)
class Done:
    """An action that was done: by which entry (its position), and when."""

    entry: int
    at: datetime
    kind: Kind


def fold(entries: Iterable[Entry], as_of: datetime, vocabulary: Mapping[str, Fact]) -> Situation:
    """The situation of one case as of a moment.

    Only entries recorded by `as_of` count, so the situation at any past moment is the one that
    was shown then. Facts that the vocabulary does not hold, or values it no longer allows (it may
    have changed since), are left out: they stay in the history and are asked again.

    Raises:
        ValueError: there is no entry by `as_of`, the entries belong to more than one case, or
            `as_of` has no offset.
    """
    if as_of.utcoffset() is None:
        raise ValueError(f"as_of needs its offset from UTC; found {as_of.isoformat()}")
    known = known_by(entries, as_of)
    if not known:
        raise ValueError(f"nothing is recorded by {as_of.isoformat()}")
    cases = {entry.case for entry in known}
    if len(cases) > 1:
        raise ValueError(f"fold takes one case at a time; found {', '.join(sorted(cases))}")
    reading = _Reading(vocabulary)
    for found in standing(known).values():
        if found is not None:
            reading.take(found)
    return Situation(
        case=known[0].case,
        as_of=as_of,
        occurred_at=reading.occurred_at,
        occurred_at_precision=reading.precision,
        reported_at=reading.reported_at,
        facts=reading.facts,
        cannot_be_known=reading.cannot_be_known,
        done=reading.done,
        source_steps=reading.source_steps,
        signed=tuple(reading.signed),
        departures=tuple(reading.departures),
        closed_at=reading.closed_at,
        closed_reason=reading.closed_reason,
        entries=known[-1].position,
        last_digest=known[-1].digest,
        last_number=known[-1].number,
        follow_up=reading.follow_up.record,
        results=tuple(reading.results),
        links=tuple(reading.links),
        course=reading.course.record(),
        last_done=reading.last_done,
        last_entry=reading.last_entry,
        source=reading.source.course(),
        doses_before=reading.doses_before,
    )


class _Reading:
    """The situation while it is being read; one entry at a time."""

    def __init__(self, vocabulary: Mapping[str, Fact]) -> None:
        self.vocabulary = vocabulary
        self.occurred_at: datetime | None = None
        self.precision = "unknown"
        self.reported_at: datetime | None = None
        self.facts: dict[str, KnownFact] = {}
        self.cannot_be_known: dict[str, str] = {}
        self.done: dict[str, Done] = {}
        self.source_steps: dict[str, datetime] = {}
        self.source = SourceReading()
        self.signed: list[SignedPlan] = []
        self.departures: list[Departure] = []
        self.closed_at: datetime | None = None
        self.closed_reason = ""
        self.follow_up = FollowUpReading()
        self.results: list[LabResult] = []
        self.links: list[Link] = []
        self.course = CourseReading()
        self.last_done: dict[str, datetime] = {}
        self.last_entry: dict[str, int] = {}
        self.doses_before: tuple[DoseGiven, ...] = ()

    def take(self, found: Standing) -> None:
        kind, body = found.entry.kind, found.body
        if kind is Kind.REPORTED:
            self._report(found)
        elif kind is Kind.FACT_LEARNED:
            self._learn(found, body["said_by"])
        elif kind is Kind.RESULT_RECEIVED:
            self._learn(found, "laboratory")
            self.results += results_in(found.body, found.entry.position)
        elif kind is Kind.CANNOT_BE_KNOWN:
            # What was answered before and cannot be told now is not settled any more.
            self.facts.pop(body["fact"], None)
            self.cannot_be_known[body["fact"]] = body["reason"]
        elif kind in SOURCE_STEPS:
            self.source_steps[SOURCE_STEPS[kind]] = found.happened_at
            self.source.step(SOURCE_STEPS[kind], found)
        elif kind is Kind.ESCALATED:
            self.source.escalated(found)
        elif kind is Kind.SOURCE_STATUS_FOUND:
            self.source.charted(found)
        elif kind is Kind.PLAN_SIGNED:
            self._sign(found)
        elif kind is Kind.DEPARTED:
            self._depart(found)
        elif kind is Kind.CLOSED:
            self.closed_at, self.closed_reason = found.happened_at, body["reason"]
        elif kind is Kind.REOPENED:
            self.closed_at, self.closed_reason = None, ""
        elif kind is Kind.DOSES_ON_RECORD:
            self.doses_before = tuple(
                DoseGiven(dose["product"] or None, PartialDate.parse(dose["when"]))
                for dose in body["doses"]
            )
        elif kind is Kind.LINKED:
            self.links.append(Link(body["case"], body["is"], found.entry.position))
        elif kind in FOLLOWING:
            self.follow_up.take(found)
        elif kind in COURSE_KINDS:
            self.course.take(found.entry, body, found.happened_at)
            if kind is Kind.COURSE_RESUMED:
                # Where the plan still asks to stop, that is to be decided anew.
                for kept in (self.done, self.last_done, self.last_entry):
                    kept.pop(STOP, None)
        if kind is not Kind.DEPARTED:
            self._do(found)

    def _report(self, found: Standing) -> None:
        at = found.body["occurred_at"]
        self.occurred_at = None if at is None else datetime.fromisoformat(at)
        self.precision = found.body["occurred_at_precision"]
        self.reported_at = found.entry.recorded_at
        self._learn(found, found.body["reported_by"])

    def _learn(self, found: Standing, said_by: str) -> None:
        for fact, given in found.body.get("facts", {}).items():
            if given is None:
                # The laboratory takes back what it said; what others said is not its to take away.
                if fact in self.facts and self.facts[fact].said_by == said_by:
                    del self.facts[fact]
                continue
            value = self._value(fact, given)
            if value is not None:
                self.cannot_be_known.pop(fact, None)
                self.facts[fact] = KnownFact(
                    fact, value, said_by, found.happened_at, found.entry.position
                )

    def _value(self, fact: str, given: object) -> Value | None:
        if fact not in self.vocabulary:
            return None
        try:
            return self.vocabulary[fact].check(from_json(given))
        except ValueError:
            return None

    def _do(self, found: Standing) -> None:
        action = found.body.get("action")
        # Advice that was asked for and not yet given has done nothing.
        if found.entry.kind is Kind.ADVICE_SOUGHT and not found.body["advice"].strip():
            return
        # An offer of support is answered; it completes nothing of the plan.
        if found.entry.kind is Kind.COUNSELLED and "answer" in found.body:
            return
        if action is not None:
            self.last_done[action] = max(
                self.last_done.get(action, found.happened_at), found.happened_at
            )
            self.last_entry[action] = found.entry.position
            # Done once is done: the first time starts the clocks that count from it.
            self.done.setdefault(
                action, Done(found.entry.position, found.happened_at, found.entry.kind)
            )

    def _sign(self, found: Standing) -> None:
        # Whoever signs a plan has assessed the exposure.
        self.done.setdefault(
            ASSESS, Done(found.entry.position, found.happened_at, found.entry.kind)
        )
        self.signed.append(
            SignedPlan(
                entry=found.entry.position,
                by=found.entry.by,
                at=found.happened_at,
                decisions=dict(found.body["decisions"]),
                actions=tuple(found.body["actions"]),
                protocol_digest=found.body["protocol"]["digest"],
            )
        )

    def _depart(self, found: Standing) -> None:
        # What a person decides in place of the plan answers the action that asks to decide it.
        self.done.setdefault(
            f"{found.body['subject']}{TO_DECIDE}",
            Done(found.entry.position, found.happened_at, found.entry.kind),
        )
        self.departures.append(
            Departure(
                entry=found.entry.position,
                subject=found.body["subject"],
                advised=found.body["advised"],
                decided=found.body["decided"],
                reason=found.body["reason"],
                by=found.entry.by,
                at=found.happened_at,
            )
        )
