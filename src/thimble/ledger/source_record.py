"""What is on record of the source patient, read entry by entry."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from typing import Protocol as Shape

from thimble.ledger.entries import Entry
from thimble.ledger.plan import ChartStatus, Escalation, SourceCourse, SourceStep


class Standing(Shape):
    """An entry as its corrections leave it: see `fold.Standing`."""

    @property
    def entry(self) -> Entry: ...
    @property
    def body(self) -> Mapping[str, Any]: ...
    @property
    def happened_at(self) -> datetime: ...


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
