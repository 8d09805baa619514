"""A closed case on entries in memory, for the papers that end one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from documents.examples import FACTS, OCCURRED, ZONE, protocol, site
from thimble import actions
from thimble.clinical.serology import Analyte, Course, Quantity, Result, Status, Word
from thimble.clinical.vocabulary import vocabulary
from thimble.documents.all_clear.data import AllClear, all_clear, why_no_all_clear
from thimble.documents.closing_statement.data import (
    ClosingStatement,
    closing_statement,
)
from thimble.documents.record import Record
from thimble.ledger.assess import assess
from thimble.ledger.entries import GENESIS, Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.plan import Action, Plan, State
from thimble.ledger.results.recorded import body_of, course_around
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore
from thimble.protocol.vocabulary import Value

V = vocabulary()
END = OCCURRED + timedelta(days=215)
LAST = OCCURRED + timedelta(days=200)
NAMES = {"u-9": "Dr. Odo Invented"}
ROLES = {"occupational_physician": "Occupational physician"}
SOURCE_FACTS = [id_ for id_, fact in V.items() if fact.about == "source" and fact.kind == "code"]
NEGATIVE_AT_END = (
    Analyte.HIV_AG_AB,
    Analyte.HIV_RNA,
    Analyte.HBSAG,
    Analyte.ANTI_HBC_TOTAL,
    Analyte.ANTI_HCV,
    Analyte.HCV_RNA,
)


def one(
    analyte: Analyte,
    word: Word | None = Word.NEGATIVE,
    *,
    taken: datetime = LAST,
    of: str = "worker",
    status: Status = Status.FINAL,
    specimen: str = "S-9",
    quantity: Quantity | None = None,
) -> Result:
    return Result(
        analyte=analyte, of=of, status=status, taken_at=taken,  # type: ignore[arg-type]
        reported_at=taken + timedelta(hours=6), word=word, quantity=quantity, specimen=specimen,
    )  # fmt: skip


@dataclass
class Case:
    """A case on entries in memory; every action is done unless a test says otherwise."""

    facts: dict[str, Value] = field(default_factory=lambda: dict(FACTS))
    precision: str = "minute"
    occurred_at: datetime | None = OCCURRED
    state: State = State.DONE
    entries: list[Entry] = field(default_factory=list)

    def __post_init__(self) -> None:
        store = MemoryStore()
        ref = actions.report(
            store, facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=self.occurred_at,
            occurred_at_precision=self.precision, vocabulary=V,  # type: ignore[arg-type]
            now=OCCURRED + timedelta(minutes=30),
        ).case  # fmt: skip
        actions.learn_facts(
            store, ref, self.facts, said_by="clinician", vocabulary=V,
            now=OCCURRED + timedelta(hours=1), by="u-7", role="emergency_clinician",
        )  # fmt: skip
        self.entries = list(store.entries(ref))

    def add(self, kind: Kind, body: dict[str, object], at: datetime = END) -> Entry:
        last = self.entries[-1]
        made = Entry(
            number=last.number + 1, case=last.case, position=last.position + 1, kind=kind,
            happened_at=at, recorded_at=at, by="u-9", role="occupational_physician", body=body,
            previous=GENESIS, digest="ab" * 32,
        )  # fmt: skip
        self.entries.append(made)
        return made

    def result(self, *results: Result, drawn_for: str = "") -> Case:
        at = results[0].reported_at
        body = body_of(results, {}, drawn_for=drawn_for)
        self.add(Kind.RESULT_RECEIVED, body, at)
        return self

    def negative(self) -> Case:
        return self.result(*map(one, NEGATIVE_AT_END))

    def close(self, reason: str = "all_clear", text: str = "") -> Case:
        self.add(Kind.CLOSED, {"reason": reason, "text": text})
        return self

    def read(self, **changes: object) -> tuple[Plan, Situation, Course, Record]:
        known = replace(fold(self.entries, END, V), **changes)  # type: ignore[arg-type]
        decided = assess(known, protocol(), END, site())
        plan = replace(
            decided,
            actions=tuple(
                self.made(a)
                for a in decided.actions
            ),
        )  # fmt: skip
        course = course_around(known, plan.actions, protocol(), ZONE)
        return plan, known, course, Record(self.entries, NAMES, ROLES)

    def made(self, action: Action) -> Action:
        if self.state is not State.DONE:
            return replace(action, state=self.state)
        return replace(action, state=self.state, done_at=LAST, done_by_entry=2)

    def statement(self, **changes: object) -> ClosingStatement:
        plan, known, course, record = self.read(**changes)
        return closing_statement(plan, known, site(), protocol(), course, record=record)

    def certificate(self, name: str = "", **changes: object) -> AllClear:
        plan, known, course, record = self.read(**changes)
        return all_clear(plan, known, site(), protocol(), course, name=name, record=record)

    def why(self, **changes: object) -> str:
        plan, known, course, record = self.read(**changes)
        return why_no_all_clear(plan, known, course, record)
