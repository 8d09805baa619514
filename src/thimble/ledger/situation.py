"""The situation: what is known of one case as of a moment. Made by `fold`, never stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from thimble.clinical.series import DoseGiven
from thimble.clinical.serology.results import Result
from thimble.ledger.follow_up.record import FollowUp
from thimble.ledger.prophylaxis.record import CourseRecord
from thimble.ledger.source.record import SourceCourse
from thimble.protocol.vocabulary import Value


@dataclass(frozen=True, slots=True)
class KnownFact:
    """A value and where it came from (`entry` is None for a computed fact)."""

    fact: str
    value: Value
    said_by: str
    known_at: datetime | None
    entry: int | None


@dataclass(frozen=True, slots=True)
class Departure:
    """A clinician decided otherwise than advised, and said why."""

    entry: int
    subject: str
    advised: str
    decided: str
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class SignedPlan:
    """A plan as a clinician signed it: what it said then."""

    entry: int
    by: str
    at: datetime
    decisions: Mapping[str, str | None]
    actions: tuple[str, ...]
    protocol_digest: str


@dataclass(frozen=True, slots=True)
class LabResult:
    """A result as an entry holds it: what a sample of the worker was drawn for ("" for the source)."""

    result: Result
    drawn_for: str
    entry: int


@dataclass(frozen=True, slots=True)
class Link:
    """Another case that belongs to this one, and what it is to it (an id of `ledger.bodies`)."""

    case: str
    what: str
    entry: int


@dataclass(frozen=True, slots=True)
class Situation:
    """What is known of one case as of a moment: `fold(entries, as_of)`.

    `cannot_be_known` maps facts that were asked, that nobody can answer and that have no value
    `unknown` of their own, to the reason: they stay open, and are not asked again.
    `done` maps action ids to the entry that did them first, `last_done` to the latest instant at which one
    did, `last_entry` to the last entry that says so. `course` is what is on record of doses and of a
    course. `source_steps` maps asked, consented, refused, lacks_capacity, sampled to their instants.
    `last_number` and `last_digest` are those of the
    last entry in the whole ledger's count: the anchor that a printed page shows. `doses_before` are doses
    of hepatitis B vaccine that were given before the exposure or elsewhere.
    """

    case: str
    as_of: datetime
    occurred_at: datetime | None
    occurred_at_precision: str
    reported_at: datetime | None
    facts: Mapping[str, KnownFact]
    cannot_be_known: Mapping[str, str]
    done: Mapping[str, Any]
    source_steps: Mapping[str, datetime]
    signed: tuple[SignedPlan, ...]
    departures: tuple[Departure, ...]
    closed_at: datetime | None
    closed_reason: str
    entries: int
    last_digest: str
    last_number: int = 0
    follow_up: FollowUp = field(default_factory=FollowUp)
    results: tuple[LabResult, ...] = ()
    links: tuple[Link, ...] = ()
    course: CourseRecord = field(default_factory=CourseRecord)
    last_done: Mapping[str, datetime] = field(default_factory=dict)
    last_entry: Mapping[str, int] = field(default_factory=dict)
    source: SourceCourse = field(default_factory=SourceCourse)
    doses_before: tuple[DoseGiven, ...] = ()

    def departure_from(self, *subjects: str) -> Departure | None:
        """The last departure from one of these decisions or actions."""
        found = (d for d in reversed(self.departures) if d.subject in subjects)
        return next(found, None)
