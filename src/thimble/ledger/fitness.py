"""What a physician decided about a worker's fitness: the entry's words, and the one that holds.

The outcome, the restriction and the day of review are all that leaves the department. The restriction is
one of fixed words of work, so that nothing clinical can be typed into it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from thimble.clinical.saying import calendar_day
from thimble.ledger.bodies import FITNESS_OUTCOMES, FITNESS_RESTRICTIONS
from thimble.ledger.entries import Entry, K, Kind
from thimble.ledger.standing import known_by, standing


@dataclass(frozen=True, slots=True)
class FitnessDecision:
    """A decision as its corrections leave it. `facts` and `days` are what it rested on; `of` is the
    reference of the case, or of the person's file, in which it stands as the entry `entry`."""

    of: str
    entry: int
    by: str
    at: datetime
    outcome: str
    restriction: str
    review_on: date | None
    rule_set: str
    tables: str
    edition: str
    digest: str
    rules: tuple[str, ...]
    facts: Mapping[str, Any]
    days: Mapping[str, date]
    reason: str

    @property
    def words(self) -> str:
        """Outcome and restriction, in terms of work."""
        said = FITNESS_OUTCOMES[self.outcome].capitalize()
        return (
            said
            if self.restriction == "none"
            else f"{said}: {FITNESS_RESTRICTIONS[self.restriction]}"
        )

    def due(self, today: date) -> bool:
        """Whether it is to be reviewed by `today`."""
        return self.review_on is not None and self.review_on <= today


def decided_words(body: Mapping[str, Any]) -> str:
    """The body of a decision in terms of work, with its day of review: all that leaves the department."""
    outcome, restriction = body["outcome"], body["restriction"]
    said = FITNESS_OUTCOMES[outcome]
    if restriction != "none":
        said += f": {FITNESS_RESTRICTIONS[restriction]}"
    review = body["review_on"]
    return f"{said}; review {calendar_day(date.fromisoformat(review))}" if review else said


def fitness_decisions(entries: Iterable[Entry[K]], as_of: datetime) -> tuple[FitnessDecision, ...]:
    """The decisions of one case, or of one file, recorded by `as_of`, the earliest first."""
    return tuple(
        _decision(found.entry, found.body, found.happened_at)
        for found in standing(known_by(entries, as_of)).values()
        if found is not None and found.entry.kind == Kind.FITNESS_DECIDED.value
    )


def in_order(decisions: Iterable[FitnessDecision]) -> tuple[FitnessDecision, ...]:
    """Decisions about one worker, wherever they were made, the earliest first: the last one holds."""
    return tuple(sorted(decisions, key=lambda d: (d.at, d.of, d.entry)))


def still_held(decisions: Sequence[FitnessDecision], occasion: object) -> FitnessDecision | None:
    """The decision whose restriction an exposure finds in force; None where there is none.

    After an exposure the tables say what the exposure adds: nothing that was decided before is lifted.
    """
    last = decisions[-1] if decisions else None
    if occasion != "after_exposure" or last is None or last.outcome == "fit":
        return None
    return last


def _decision(entry: Entry[K], body: Mapping[str, Any], at: datetime) -> FitnessDecision:
    review = body["review_on"]
    return FitnessDecision(
        of=entry.case,
        entry=entry.position,
        by=entry.by,
        at=at,
        outcome=body["outcome"],
        restriction=body["restriction"],
        review_on=None if review is None else date.fromisoformat(review),
        rule_set=body["rule_set"],
        tables=body["protocol"]["id"],
        edition=body["protocol"]["edition"],
        digest=body["protocol"]["digest"],
        rules=tuple(body["rules"]),
        facts=body["fitness_facts"],
        days={name: date.fromisoformat(day) for name, day in body["days"].items()},
        reason=body["reason"],
    )
