"""Certificates as a person's file has them: issued, withdrawn, found to hold still."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from thimble.ledger.entries import Entry
from thimble.ledger.fitness import FitnessDecision
from thimble.people.certificates.checking import Worth, says_less, worth_on
from thimble.people.certificates.stating import Statement
from thimble.people.entries import Kind


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """That somebody withdrew a certificate, and why. The reason stays in the file."""

    by: str
    at: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class Issued:
    """A certificate that was issued.

    Args:
        entry: the position of its entry; `looked` is that of the last entry up to which somebody found
            that it holds (its own, at first), `looked_at` when that was.
        asked: disease to whether it was met when it was issued: `yes`, `no`, `not_judged`.
        limited_by: an id of `limits.LIMITS`.
        payload: SHA-256 of what was signed, `key` the id of the key.
        reason: why a physician decided otherwise than the tables; "" where nobody did.
        in_spite_of: the restriction in force in spite of which a physician last found that it holds;
            "none" where there was none.
    """

    number: str
    entry: int
    by: str
    role: str
    at: datetime
    statement: Statement
    issued_on: date
    valid_until: date
    limited_by: str
    asked: Mapping[str, str]
    payload: str
    key: str
    reason: str
    looked: int
    looked_at: datetime
    in_spite_of: str = "none"
    withdrawn: Withdrawn | None = None

    def worth(self, day: date, decision: FitnessDecision | None) -> Worth:
        """What it is worth on a day of the site's calendar.

        Args:
            decision: the one about the person's fitness that is in force, wherever it was made.
        """
        return worth_on(
            day,
            self.valid_until,
            withdrawn=self.withdrawn is not None,
            decided_less=self.decided_less(decision),
        )

    def decided_less(self, decision: FitnessDecision | None) -> bool:
        """Whether the decision in force says less than what it states, and no physician looked at that
        decision and found that it holds all the same. Nobody who is not fit is cleared by a look."""
        if decision is None or not says_less(decision, self.statement):
            return False
        looked = decision.at <= self.looked_at and decision.restriction == self.in_spite_of
        return not looked or decision.outcome == "not_fit"


def taken(held: Mapping[str, Issued], entry: Entry[Kind], body: Mapping[str, Any]) -> Issued | None:
    """The certificate that an entry makes or changes; None where the entry is about none that is held."""
    if entry.kind is Kind.CERTIFIED:
        return Issued(
            number=body["number"],
            entry=entry.position,
            by=entry.by,
            role=entry.role,
            at=entry.recorded_at,
            statement=Statement(body["restriction"], body["exposure_prone"]),
            issued_on=date.fromisoformat(body["issued_on"]),
            valid_until=date.fromisoformat(body["valid_until"]),
            limited_by=body["limited_by"],
            asked=dict(body["asked"]),
            payload=body["payload"],
            key=body["key"],
            reason=body["reason"],
            looked=entry.position,
            looked_at=entry.recorded_at,
        )
    found = held.get(body["number"])
    if found is None:
        return None
    if entry.kind is Kind.CERTIFICATE_WITHDRAWN:
        return replace(found, withdrawn=Withdrawn(entry.by, entry.recorded_at, body["reason"]))
    return replace(
        found,
        looked=entry.position,
        looked_at=entry.recorded_at,
        in_spite_of=body.get("in_spite_of", "none"),
    )
