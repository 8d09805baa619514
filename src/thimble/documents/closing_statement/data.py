"""The end of a case on paper, for its record: never a result of the source patient, nor who that is.

The worker's results are read without the source's: the same words stand here whatever the source has.
What somebody typed stays in the case, as it could name the source: the sheet names the entry it stands in.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime, tzinfo
from typing import Any

from thimble.clinical.saying import calendar_day, minute, occurrence, opening, stamp
from thimble.clinical.serology import (
    Course,
    Reading,
    Result,
    current,
    negative_at_exposure,
    tables,
)
from thimble.clinical.serology.statement import Marker
from thimble.clinical.site import Site
from thimble.documents.frame import Frame, frame, mark_of, unconfirmed
from thimble.documents.record import Record
from thimble.ledger.bodies import CLOSED_REASONS, CONTACT_BY, CONTACT_OUTCOMES
from thimble.ledger.clearance import without_source
from thimble.ledger.entries import Kind
from thimble.ledger.exposed import protocol_for, say, told
from thimble.ledger.fold import Standing, known_by, standing
from thimble.ledger.plan import TO_DO, Action, Departure, Plan, Situation, State
from thimble.ledger.resulting import said_of
from thimble.ledger.telling import INSTEAD_OF_AN_ACTION
from thimble.ledger.workers_results import WorkersResults
from thimble.protocol.protocol import Protocol

MARKERS: tuple[Marker, ...] = ("hiv", "hbv", "hcv")
OPEN = "This case is open"
PROVISIONAL = "Provisional: not the last word"
_WITHHELD = {"source_negative": "for a reason that stands in the case, and not on paper"}
"""Reasons whose own words would tell a result of the source patient."""


@dataclass(frozen=True, slots=True)
class Closing:
    """The entry that closed the case: when, why, whether in words of their own, and by whom."""

    at: datetime
    reason: str
    worded: bool
    by: str
    entry: int


@dataclass(frozen=True, slots=True)
class Line:
    """A question and its answer, or a day and what happened on it."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Became:
    """An item of the plan and what became of it. `state` is words; `details` one line each."""

    what: str
    state: str
    details: tuple[str, ...]
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Tested:
    """A result that counts, or waits, or is held: `standing` is "" where it counts."""

    test: str
    taken: str
    result: str
    purpose: str
    standing: str
    entry: str


@dataclass(frozen=True, slots=True)
class Shown:
    """What the tables read since the exposure. `standing` is "" where the reading is final."""

    question: str
    words: str
    standing: str
    next: str
    note: str
    rules: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Stated:
    """A sentence about the worker at the time of the exposure."""

    words: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class ClosingStatement:
    """Every word of the sheet. `open` is "" once the case is closed; `whose` names who is exposed.

    `before` are the closings that a reopening undid, and the reopenings.
    """

    frame: Frame
    whose: str
    open: str
    occurred: str
    reported: str
    exposure: tuple[Line, ...]
    closed: tuple[Line, ...]
    before: tuple[Line, ...]
    items: tuple[Became, ...]
    perhaps: tuple[Became, ...]
    otherwise: tuple[Became, ...]
    results: tuple[Tested, ...]
    held: tuple[str, ...]
    shown: tuple[Shown, ...]
    statements: tuple[Stated, ...]
    missed: tuple[str, ...]
    contacts: tuple[Line, ...]
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def closing_of(situation: Situation, record: Record) -> Closing | None:
    """The closing that stands; None while the case is open. Without its entry the writer is ""."""
    if situation.closed_at is None:
        return None
    found = [
        stands
        for stands in standing(known_by(record.entries, situation.as_of)).values()
        if stands is not None and stands.entry.kind is Kind.CLOSED
    ]
    if not found:
        return Closing(situation.closed_at, situation.closed_reason, False, "", 0)
    last = found[-1]
    return Closing(
        situation.closed_at,
        situation.closed_reason,
        bool(last.body["text"].strip()),
        record.who(last.entry.by, last.entry.position),
        last.entry.position,
    )


def reason_in_words(reason: str) -> str:
    """Why a case was closed, in words that tell nothing of the source patient.

    >>> reason_in_words("transferred")
    'followed elsewhere'
    """
    return _WITHHELD.get(reason) or CLOSED_REASONS.get(reason, reason)


def closing_statement(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    course: Course,
    *,
    record: Record | None = None,
) -> ClosingStatement:
    """The case as of `plan.now`, closed or said to be open.

    Args:
        course: around the worker's results (`ledger.resulting.course_around`).
        record: the entries of the case, for who closed it, who did what, and the doses.
    """
    kept, zone = record or Record(), site.zone
    protocol = protocol_for(protocol, situation)
    says = _Words(plan, situation, protocol, zone, kept)
    tested = _tested(situation, without_source(course), plan.now, zone)
    own = [action for action in plan.actions if action.whom != "source"]
    items = tuple(says.became(action) for action in own if action.stands or not _to_do(action))
    perhaps = tuple(says.became(action) for action in own if not action.stands and _to_do(action))
    flags = [
        *(item.unconfirmed for item in (*items, *perhaps)),
        *(shown.unconfirmed for shown in tested.shown),
        *(stated.unconfirmed for stated in tested.statements),
    ]
    occurred = situation.occurred_at
    return ClosingStatement(
        frame=frame(
            "Closing statement", f"As recorded at {stamp(plan.now, zone)}", site, plan.now,
            mark_of(protocol), situation,
        ),
        whose=say("the worker", situation),
        open="" if situation.closed_at else OPEN,
        occurred=(
            occurrence(occurred, situation.occurred_at_precision, zone)
            if occurred
            else "Time not known"
        ),
        reported=minute(situation.reported_at, zone) if situation.reported_at else "not recorded",
        exposure=says.exposure(),
        closed=says.closed(),
        before=says.before(),
        items=items,
        perhaps=perhaps,
        otherwise=says.otherwise(),
        results=tested.results,
        held=told(tested.held, situation),
        shown=told(tested.shown, situation),
        statements=told(tested.statements, situation),
        missed=tuple(calendar_day(missed) for missed in situation.follow_up.missed),
        contacts=tuple(
            Line(minute(at, zone), f"{CONTACT_BY.get(how, how)}: {CONTACT_OUTCOMES.get(came, came)}")
            for at, how, came in situation.follow_up.contacts
        ),
        any_unconfirmed=any(flags),
    )  # fmt: skip


def _to_do(action: Action) -> bool:
    return action.state in TO_DO


@dataclass(frozen=True, slots=True)
class _Tested:
    results: tuple[Tested, ...]
    held: tuple[str, ...]
    shown: tuple[Shown, ...]
    statements: tuple[Stated, ...]


def _tested(situation: Situation, course: Course, now: datetime, zone: tzinfo) -> _Tested:
    mine = WorkersResults.of(situation)
    read = mine.since(course, now)
    held = {each.result for each in read.held}
    rows: list[tuple[Result, Tested]] = []
    entries = {one.result: one.entry for one in mine.entries}
    for purpose, drawn in (("At the exposure", mine.baseline), ("Since the exposure", mine.later)):
        # As the tables read them: each purpose by itself.
        counts = current((one.result for one in drawn), now)
        for result in (*counts.settled, *counts.preliminary, *counts.conflicting):
            if result in counts.preliminary:
                stands = "Waits for the final result"
            else:
                stands = "Held for a person" if result in held else ""
            taken = "time not known" if result.taken_at is None else minute(result.taken_at, zone)
            row = Tested(result.name, taken, said_of(result), purpose, stands, str(entries[result]))
            rows.append((result, row))
    rows.sort(key=lambda pair: (pair[0].taken_at is None, pair[0].taken_at or now))
    return _Tested(
        results=tuple(row for _, row in rows),
        held=tuple(
            f"{each.result.name}, {said_of(each.result)}: {each.why}"
            for each in dict.fromkeys(read.held)
        ),
        shown=tuple(_shown(reading) for reading in read.readings),
        statements=tuple(
            Stated(statement.sentence, unconfirmed(statement.because))
            for statement in (
                negative_at_exposure(mine.results, course, marker, now) for marker in MARKERS
            )
        )
        if mine.entries
        else (),
    )


def _shown(reading: Reading) -> Shown:
    return Shown(
        tables().outputs[reading.decision].label,
        reading.words,
        "" if reading.final else PROVISIONAL,
        reading.next_words,
        reading.note,
        "; ".join(f"{reason.rule}: {reason.source}" for reason in reading.because),
        unconfirmed(reading.because),
    )


@dataclass(frozen=True)
class _Words:
    plan: Plan
    situation: Situation
    protocol: Protocol
    zone: tzinfo
    record: Record

    def exposure(self) -> tuple[Line, ...]:
        return tuple(
            Line(fact.question, fact.label(self.situation.facts[id_].value))
            for id_, fact in self.protocol.vocabulary.items()
            if fact.about == "exposure" and id_ in self.situation.facts
        )

    def closed(self) -> tuple[Line, ...]:
        closing = closing_of(self.situation, self.record)
        if closing is None:
            return ()
        lines = [
            Line("When", minute(closing.at, self.zone)),
            Line("Why", opening(reason_in_words(closing.reason))),
            Line("By", closing.by or "not recorded here"),
        ]
        if closing.worded:
            lines.append(Line("In their words", _entry(closing.entry)))
        return tuple(lines)

    def before(self) -> tuple[Line, ...]:
        """Earlier closings and reopenings, in order; the closing that stands is not among them."""
        turns = [
            found
            for found in standing(known_by(self.record.entries, self.situation.as_of)).values()
            if found is not None and found.entry.kind in (Kind.CLOSED, Kind.REOPENED)
        ]
        if self.situation.closed_at is not None:
            turns = turns[:-1]
        return tuple(Line(minute(turn.happened_at, self.zone), self._turn(turn)) for turn in turns)

    def _turn(self, turn: Standing) -> str:
        number = turn.entry.position
        by = self.record.who(turn.entry.by, number)
        if turn.entry.kind is Kind.CLOSED:
            return f"Closed: {reason_in_words(turn.body['reason'])}. {by}, entry {number}"
        return f"Opened again, for the reason in entry {number}. {by}"

    def became(self, action: Action) -> Became:
        details: list[str] = []
        departure = self.situation.departure_from(action.id)
        if action.done_at is not None:
            details.append(f"{minute(action.done_at, self.zone)}{self._by(action.done_by_entry)}")
        details += [
            ", ".join(part for part in (dose.product, dose.amount, _batch(dose.batch)) if part)
            for dose in self.record.doses(self.situation.as_of)
            if dose.action == action.id
        ]
        if departure is not None:
            details += self._decided(departure)
        return Became(action.what, self._state(action), tuple(details), unconfirmed(action.because))

    def _state(self, action: Action) -> str:
        if action.state is State.DONE:
            return "Done"
        if action.state is State.NO_LONGER_NEEDED:
            return "No longer needed"
        if action.state is State.DEPARTED:
            return "Decided otherwise"
        if self.situation.closed_at is not None:
            return "Not done"
        return "Not done, and late" if action.state is State.LATE else "Not done yet"

    def otherwise(self) -> tuple[Became, ...]:
        """What was decided in place of the plan and stands beside none of its items."""
        items = {action.id for action in self.plan.actions}
        return tuple(
            Became(
                self._subject(departure.subject),
                "Decided otherwise",
                self._decided(departure),
                False,
            )
            for departure in self.situation.departures
            if departure.subject not in items and not self._of_source(departure.subject)
        )

    def _of_source(self, subject: str) -> bool:
        """Whether it was about the source patient: then nothing of it stands here."""
        whom = {rule.outputs["for"] for rule in self.protocol.giving(subject)}
        return subject.startswith("source_") or "source" in whom

    def _subject(self, id_: str) -> str:
        output = self.protocol.outputs.get(id_)
        if output is not None and output.label:
            return output.label
        return self.protocol.action_words(id_)

    def _value(self, departure: Departure) -> str:
        """What was decided, where it is one of the words that the case page offers."""
        output = self.protocol.outputs.get(departure.subject)
        if output is not None and departure.decided in output.values:
            return output.words(departure.decided)
        known = departure.decided.strip().rstrip(".")
        return known if known in INSTEAD_OF_AN_ACTION else _entry(departure.entry)

    def _decided(self, departure: Departure) -> tuple[str, ...]:
        return (
            f"Decided: {opening(self._value(departure))}.",
            f"{opening(self.record.who(departure.by, departure.entry))}, "
            f"{minute(departure.at, self.zone)}; why stands in entry {departure.entry}",
        )

    def _by(self, position: int | None) -> str:
        if position is None:
            return ""
        writer = self.record.writer(position)
        who = f", by {writer}" if writer else ""
        return f"{who}, entry {position}"


def _batch(batch: str) -> str:
    return f"batch {batch}" if batch else ""


def _entry(number: int) -> str:
    return f"as it stands in entry {number}"
