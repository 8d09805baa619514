"""The decisions of a plan in words, and what was decided otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from thimble.clinical.saying import inside
from thimble.ledger.situation import Departure
from thimble.ledger.telling import ASKS_FOR_NOTHING, told
from thimble.protocol.finding import Finding
from thimble.protocol.protocol import Protocol
from thimble.web.desk.plan.expert import EXPERT_DECIDES
from thimble.web.desk.plan.lens import Lens
from thimble.web.desk.words import (
    ReasonWords,
    join,
    point,
)

LEFT_TO_A_PERSON = frozenset({EXPERT_DECIDES, "clinician_decides", "consider"})


@dataclass(frozen=True, slots=True)
class Waiting:
    """A fact that something waits for."""

    fact: str
    question: str


@dataclass(frozen=True, slots=True)
class DepartureView:
    """What a clinician decided otherwise."""

    decided: str
    reason: str
    by: str
    at: str
    subject: str = ""
    advised: str = ""

    @classmethod
    def of(cls, departure: Departure, lens: Lens) -> DepartureView:
        """A departure in words."""
        return cls(
            departure.decided,
            departure.reason,
            lens.who(departure.by),
            point(departure.at, lens.now, lens.zone),
            lens.label(departure.subject),
            departure.advised,
        )


@dataclass(frozen=True, slots=True)
class DecisionView:
    """One decision. `value` is "" while it is open; `possible` then lists what it can become.

    `stuck_on` are the questions that nobody can answer; the clinician then decides among `possible`,
    with the most protective first where the protocol orders them (`ordered`).
    """

    id: str
    label: str
    value: str
    quiet: bool
    possible: tuple[str, ...]
    waits_for: tuple[Waiting, ...]
    more_waits: int
    stuck_on: tuple[str, ...]
    reasons: tuple[ReasonWords, ...]
    confirmed: bool
    to_a_person: bool
    ordered: bool
    departure: DepartureView | None
    asks_expert: bool = False

    @property
    def open_words(self) -> str:
        """The possible outcomes in one line."""
        return join(self.possible)


def decisions_of(lens: Lens) -> list[DecisionView]:
    """Every decision that is told."""
    departed = {d.subject: d for d in lens.situation.departures}
    return [
        _decision(finding, departed.get(finding.decision), lens)
        for finding in told(lens.plan, lens.protocol)
    ]


def _decision(finding: Finding, departure: Departure | None, lens: Lens) -> DecisionView:
    name = finding.decision
    stuck = lens.plan.undecidable.get(name, ())
    possible = (
        protective_first(name, finding.possible, lens.protocol) if stuck else finding.possible
    )
    waits = [fact for fact in finding.open_facts if fact not in stuck]
    return DecisionView(
        id=name,
        label=lens.label(name),
        value="" if finding.value is None else lens.value(name, finding.value),
        quiet=finding.value in ASKS_FOR_NOTHING,
        possible=tuple(
            lens.value(name, v) if at == 0 else inside(lens.value(name, v))
            for at, v in enumerate(possible)
        ),
        waits_for=tuple(Waiting(fact, lens.question(fact)) for fact in waits[:3]),
        more_waits=max(0, len(waits) - 3),
        stuck_on=tuple(lens.question(fact) for fact in stuck),
        reasons=lens.reasons(finding.because),
        confirmed=all(reason.confirmed for reason in finding.because),
        to_a_person=bool(stuck) or finding.value in LEFT_TO_A_PERSON,
        ordered=name in lens.protocol.manifest.outcome_order,
        departure=None if departure is None else DepartureView.of(departure, lens),
        asks_expert=EXPERT_DECIDES in finding.possible,
    )


def protective_first(decision: str, possible: Sequence[str], protocol: Protocol) -> tuple[str, ...]:
    """Outcomes with the most protective first, by the protocol's own order of severity.

    An outcome that the order does not name (a person decides) stands before the named ones: it closes
    no door. Without an order the protocol's own sequence stands.
    """
    order = protocol.manifest.outcome_order.get(decision)
    if not order:
        return tuple(possible)
    rank = {value: at for at, tie in enumerate(order) for value in tie}
    return tuple(sorted(possible, key=lambda value: -rank.get(value, len(order))))
