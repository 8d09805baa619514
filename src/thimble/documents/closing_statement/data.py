"""The end of a case on paper, for its record: never a result of the source patient, nor who that is."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from thimble.clinical.saying import calendar_day, minute, occurrence, opening, stamp
from thimble.clinical.serology import (
    Course,
)
from thimble.clinical.site import Site
from thimble.documents.closing_statement.closing import closing_of, reason_in_words
from thimble.documents.closing_statement.items import Became, Items
from thimble.documents.closing_statement.results import Shown, Stated, Tested, tested_of
from thimble.documents.closing_statement.telling import Telling
from thimble.documents.frame import Frame, frame, mark_of
from thimble.documents.record import Record, in_entry
from thimble.ledger.bodies import CONTACT_BY, CONTACT_OUTCOMES
from thimble.ledger.entries import Kind
from thimble.ledger.exposed import protocol_for, say, told
from thimble.ledger.plan import TO_DO, Action, Plan
from thimble.ledger.results.clearance import without_source
from thimble.ledger.situation import Situation
from thimble.ledger.standing import Standing, known_by, standing
from thimble.protocol.protocol import Protocol

OPEN = "This case is open"


@dataclass(frozen=True, slots=True)
class Line:
    """A question and its answer, or a day and what happened on it."""

    label: str
    value: str


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
        course: around the worker's results (`ledger.results.recorded.course_around`).
        record: the entries of the case, for who closed it, who did what, and the doses.
    """
    kept, zone = record or Record(), site.zone
    protocol = protocol_for(protocol, situation)
    told_from = (plan, situation, protocol, zone, kept)
    says, became = _Words(*told_from), Items(*told_from)
    tested = tested_of(situation, without_source(course), plan.now, zone)
    own = [action for action in plan.actions if action.whom != "source"]
    items = tuple(became.became(action) for action in own if action.stands or not _to_do(action))
    perhaps = tuple(became.became(action) for action in own if not action.stands and _to_do(action))
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
        otherwise=became.otherwise(),
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


class _Words(Telling):
    """The rest of the sheet."""

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
            lines.append(Line("In their words", in_entry(closing.entry)))
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
