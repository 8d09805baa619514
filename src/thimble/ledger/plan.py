"""The plan: what follows from a situation under a protocol at a moment. A value, never stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from enum import StrEnum
from typing import Any

from thimble.clinical.durations import Duration
from thimble.clinical.saying import calendar_day
from thimble.clinical.series import DoseGiven
from thimble.clinical.serology.results import Result
from thimble.protocol.finding import Finding, Item, Question, Reason
from thimble.protocol.vocabulary import Value


class State(StrEnum):
    """Where an action stands."""

    OPEN = "open"
    DONE = "done"
    LATE = "late"
    NO_LONGER_NEEDED = "no_longer_needed"
    DEPARTED = "departed"


CHASE = "chase_"
"""What the ids of actions begin with that chase the source: no clinician signs them."""

TO_DO = (State.OPEN, State.LATE)
"""What somebody still has to do, or to decide about."""


@dataclass(frozen=True, slots=True)
class Follows:
    """How an action that waits for another will follow it: at least and at most so long after it, in whole
    days or more, and not before an instant; each None without such a limit."""

    at_least: Duration
    at_most: Duration | None
    not_before: datetime | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """When an action is due: not before `earliest`, best by `target`, no later than `latest`.

    Each is an aware instant or None where the protocol sets no such limit, or where the instant
    that it counts from has not happened yet (`waits_for` then says which action it waits for).
    `put_off_to` is how far it may be put off to share a visit, where there is a target and no latest:
    after it the action is not late, it is overdue. A dose, and what can be done before its target, is
    not put off beyond the target. `follows` says how what waits will come, to plan its visit ahead.
    """

    earliest: datetime | None
    target: datetime | None
    latest: datetime | None
    waits_for: str = ""
    put_off_to: datetime | None = None
    follows: Follows | None = None


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do, with its window, its state and its reasons.

    `kind` is one of first_aid, sample, dose, ask, advice, counsel, review: it decides which entry
    completes it. `certain` is False while `open_facts` could still make it unnecessary; `stuck` is
    True where nobody can answer any of these: no answer will ever settle it, a clinician decides.
    `amount` is a computed dose ("4.32 mL IM"), or "" where there is none.
    """

    id: str
    what: str
    kind: str
    whom: str
    window: Window
    state: State
    certain: bool
    because: tuple[Reason, ...]
    open_facts: tuple[str, ...] = ()
    amount: str = ""
    done_at: datetime | None = None
    done_by_entry: int | None = None
    stuck: bool = False

    @property
    def stands(self) -> bool:
        """Whether it is to be done unless somebody decides otherwise: an unknown is never a no."""
        return self.certain or self.stuck


@dataclass(frozen=True, slots=True)
class Caution:
    """A sentence that must be seen, with the rules that raise it. `topic` groups: hiv, hbv, hcv,
    tetanus, medicines, precautions, warning_signs, first_aid, general."""

    topic: str
    text: str
    certain: bool
    because: tuple[Reason, ...]
    open_facts: tuple[str, ...] = ()


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
class AgreedVisit:
    """A visit that the worker was told: its day, in the site's calendar, what it is for, and the hour on
    the clock of the site if one was agreed."""

    day: date
    actions: tuple[str, ...]
    at: time | None = None

    @property
    def words(self) -> str:
        """Day and hour: "Thu 26 Nov 2026, 09:30"."""
        day = calendar_day(self.day)
        return day if self.at is None else f"{day}, {self.at:%H:%M}"


@dataclass(frozen=True, slots=True)
class ReachingDecision:
    """What a physician decided about a worker who was not reached (an id of `ledger.bodies`).

    `until` is the day on which it is decided anew; None where the case is to be closed.
    """

    entry: int
    at: datetime
    decision: str
    until: date | None
    reason: str


@dataclass(frozen=True, slots=True)
class Link:
    """Another case that belongs to this one, and what it is to it (an id of `ledger.bodies`)."""

    case: str
    what: str
    entry: int


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


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What was agreed with the worker and what came of it.

    `visits` are those that stand, in order of their days; `agreed_by` is the entry that says so, None
    while nothing was agreed. `unavailable` are stretches of days, first and last included. `missed`
    are days on which the worker was expected and did not come; `contacts` are the attempts to reach
    the worker, each with its instant, how, and what came of it (ids of `ledger.bodies`); `reminders` are
    the instants of those that only reminded of a visit to come.
    `agreements` are the worker's last words on what they were asked to agree to: what is not in it was
    never asked, and counts as not agreed. `decisions` are those about a worker who was not reached.
    `answers` are the worker's answers to what was offered: instant, action, answer.
    """

    visits: tuple[AgreedVisit, ...] = ()
    agreed_by: int | None = None
    unavailable: tuple[tuple[date, date], ...] = ()
    missed: tuple[date, ...] = ()
    contacts: tuple[tuple[datetime, str, str], ...] = ()
    reminders: frozenset[datetime] = frozenset()
    agreements: Mapping[str, bool] = field(default_factory=dict)
    decisions: tuple[ReachingDecision, ...] = ()
    answers: tuple[tuple[datetime, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class GivenDose:
    """A dose, or tablets for the days to come: `days` is 0 where nobody said for how many.

    `action` is "" for tablets that were handed out without a dose.
    """

    action: str
    product: str
    amount: str
    batch: str
    days: int
    at: datetime
    entry: int


@dataclass(frozen=True, slots=True)
class MissedDoses:
    """Doses that were missed: how many, and the last taken before and the first after, if told."""

    count: int
    last_taken: datetime | None
    taken_again: datetime | None
    text: str
    at: datetime
    entry: int


@dataclass(frozen=True, slots=True)
class Told:
    """An entry of a course as it is read out: its words, its code, who wrote it and when it was so.

    `code` is a severity, a review's decision, or the reason of an end; "" for a change of medicine.
    `more` is what was done about a side effect.
    """

    words: str
    code: str
    at: datetime
    by: str
    entry: int
    more: str = ""


@dataclass(frozen=True, slots=True)
class Sought:
    """Advice that was sought: of whom, when, what was said. It is open while nothing was said."""

    action: str
    of: str
    at: datetime
    entry: int
    advice: str = ""
    answered_at: datetime | None = None

    @property
    def open(self) -> bool:
        """Whether the answer is still to come."""
        return not self.advice


@dataclass(frozen=True, slots=True)
class Pause:
    """A course that was stopped and taken up again.

    `stopped` happened at the last dose before, `resumed` at the first one after; its code is one of
    `ledger.bodies.RESUMED_END`, `more` on whose advice. `in_hand` is for how many days the worker still
    had tablets, None where that is not known.
    """

    stopped: Told
    resumed: Told
    in_hand: int | None


@dataclass(frozen=True, slots=True)
class CourseRecord:
    """What is on record of medicines that were given and of the course that followed.

    `changes` have the new product as their words. `baseline_bloods` is what the last review said of
    them that knew. `adherence` is what the last review found.
    """

    given: tuple[GivenDose, ...] = ()
    missed: tuple[MissedDoses, ...] = ()
    side_effects: tuple[Told, ...] = ()
    reviews: tuple[Told, ...] = ()
    changes: tuple[Told, ...] = ()
    stopped: Told | None = None
    pauses: tuple[Pause, ...] = ()
    sought: tuple[Sought, ...] = ()
    baseline_bloods: str = "not_known"
    adherence: str = "not_asked"


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
    follow_up: FollowUp = FollowUp()
    results: tuple[LabResult, ...] = ()
    links: tuple[Link, ...] = ()
    course: CourseRecord = field(default_factory=CourseRecord)
    last_done: Mapping[str, datetime] = field(default_factory=dict)
    last_entry: Mapping[str, int] = field(default_factory=dict)
    source: SourceCourse = SourceCourse()
    doses_before: tuple[DoseGiven, ...] = ()

    def departure_from(self, *subjects: str) -> Departure | None:
        """The last departure from one of these decisions or actions."""
        found = (d for d in reversed(self.departures) if d.subject in subjects)
        return next(found, None)


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything to do and to know, for one situation under one protocol at one moment.

    `questions` leaves out what cannot be known; `undecidable` maps each decision that rests on such
    a fact to those facts: a clinician decides it among `possible`.
    `contradictions` are sentences about facts that cannot hold together; such facts are treated as
    not settled until corrected. `reasons` holds the set-valued decisions (why to seek expert advice):
    for each, the items that apply for certain or may apply. `words` says what every action is that the
    tables can ask for, by id, asked for now or not.
    """

    now: datetime
    protocol_id: str
    protocol_edition: str
    protocol_digest: str
    findings: Mapping[str, Finding]
    questions: tuple[Question, ...]
    actions: tuple[Action, ...]
    cautions: tuple[Caution, ...]
    undecidable: Mapping[str, tuple[str, ...]]
    contradictions: tuple[str, ...]
    computed: Mapping[str, str]
    reasons: Mapping[str, tuple[Item, ...]] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
