"""What is on record of the source patient, read entry by entry."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from thimble.ledger.standing import Standing


@dataclass(frozen=True, slots=True)
class SourceStep:
    """One step with the source patient as it stands: ids of `ledger.bodies`, "" where nobody said.

    `step` is one of the values of `fold.SOURCE_STEPS`.
    """

    step: str
    at: datetime
    entry: int
    whom: str = ""
    asker: str = ""
    capacity: str = ""
    blood_held: str = ""


@dataclass(frozen=True, slots=True)
class Escalation:
    """A call to the registrar on call: about which step, whom, what came of it."""

    about: str
    to: str
    outcome: str
    answer: str
    at: datetime
    entry: int


@dataclass(frozen=True, slots=True)
class ChartStatus:
    """What the chart says of the source, and the day that its evidence is of."""

    infection: str
    status: str
    evidence: str
    evidence_on: date
    entry: int


@dataclass(frozen=True, slots=True)
class SourceCourse:
    """Everything done about the source patient, each in order of time."""

    steps: tuple[SourceStep, ...] = ()
    escalations: tuple[Escalation, ...] = ()
    chart: tuple[ChartStatus, ...] = ()


class SourceReading:
    """The course of the source patient while it is being read."""

    def __init__(self) -> None:
        self._steps: list[SourceStep] = []
        self._escalations: list[Escalation] = []
        self._chart: list[ChartStatus] = []

    def step(self, step: str, found: Standing) -> None:
        """Take in a step."""
        said = ("whom", "asker", "capacity", "blood_held")
        more = {key: str(found.body.get(key, "")) for key in said}
        self._steps.append(SourceStep(step, found.happened_at, found.entry.position, **more))

    def escalated(self, found: Standing) -> None:
        """Take in a call to the registrar."""
        body = found.body
        self._escalations.append(
            Escalation(
                body["about"],
                body["to"],
                body["outcome"],
                body["answer"],
                found.happened_at,
                found.entry.position,
            )
        )

    def charted(self, found: Standing) -> None:
        """Take in what the chart says."""
        body = found.body
        self._chart.append(
            ChartStatus(
                body["infection"],
                body["status"],
                body["evidence"],
                date.fromisoformat(body["evidence_on"]),
                found.entry.position,
            )
        )

    def course(self) -> SourceCourse:
        """What was read. A step that was written down late stands where it happened."""
        return SourceCourse(
            tuple(sorted(self._steps, key=lambda step: (step.at, step.entry))),
            tuple(sorted(self._escalations, key=lambda call: (call.at, call.entry))),
            tuple(self._chart),
        )
