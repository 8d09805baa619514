"""The plan: what follows from a situation under a protocol at a moment. A value, never stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from thimble.clinical.durations import Duration
from thimble.protocol.finding import Finding, Item, Question, Reason


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
