"""What a certificate is worth on a day, and whether a decision about fitness says less than it states."""

from __future__ import annotations

from datetime import date
from enum import StrEnum

from thimble.ledger.fitness import FitnessDecision
from thimble.people.certificates.stating import Statement


class Worth(StrEnum):
    """What somebody is told who is shown a certificate."""

    HOLDS = "holds"
    NOT_AT_PRESENT = "not_at_present"
    EXPIRED = "expired"
    WITHDRAWN = "withdrawn"
    NOT_OURS = "not_ours"


def says_less(decision: FitnessDecision, statement: Statement) -> bool:
    """Whether a decision about fitness allows less work than a certificate states.

    No exposure-prone procedures for good, and until further notice, allow the same today.
    """
    if decision.outcome == "not_fit":
        return True
    return decision.restriction != "none" and statement.restriction == "none"


def worth_on(
    day: date, until: date, *, withdrawn: bool = False, decided_less: bool = False
) -> Worth:
    """What a certificate of the house is worth. The day until which it holds is still a day of it.

    `decided_less` is whether a decision in force says less than what it states (`says_less`).

    >>> worth_on(date(2026, 3, 3), date(2026, 3, 3)), worth_on(date(2026, 3, 4), date(2026, 3, 3))
    (<Worth.HOLDS: 'holds'>, <Worth.EXPIRED: 'expired'>)
    """
    if withdrawn:
        return Worth.WITHDRAWN
    if day > until:
        return Worth.EXPIRED
    return Worth.NOT_AT_PRESENT if decided_less else Worth.HOLDS
