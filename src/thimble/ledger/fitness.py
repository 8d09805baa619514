"""What a physician decided about a worker's fitness: the entry's words, and the one that holds.

The outcome, the restriction and the day of review are all that leaves the department. The restriction is
one of fixed words of work, so that nothing clinical can be typed into it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from thimble.ledger.bodies import FITNESS_OUTCOMES, FITNESS_RESTRICTIONS
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import known_by, standing


@dataclass(frozen=True, slots=True)
class FitnessDecision:
    """A decision as its corrections leave it. `facts` and `days` are what it rested on."""

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


def fitness_decisions(entries: Iterable[Entry], as_of: datetime) -> tuple[FitnessDecision, ...]:
    """The decisions of one case recorded by `as_of`, the earliest first; the last one holds."""
    return tuple(
        _decision(found.entry, found.body, found.happened_at)
        for found in standing(known_by(entries, as_of)).values()
        if found is not None and found.entry.kind is Kind.FITNESS_DECIDED
    )


def still_held(decisions: Sequence[FitnessDecision], occasion: object) -> FitnessDecision | None:
    """The decision whose restriction an exposure finds in force; None where there is none.

    After an exposure the tables say what the exposure adds: nothing that was decided before is lifted.
    """
    last = decisions[-1] if decisions else None
    if occasion != "after_exposure" or last is None or last.outcome == "fit":
        return None
    return last


def _decision(entry: Entry, body: Mapping[str, Any], at: datetime) -> FitnessDecision:
    review = body["review_on"]
    return FitnessDecision(
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
