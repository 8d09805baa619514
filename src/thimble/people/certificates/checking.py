"""What a certificate is worth on a day: it holds, has run out, was withdrawn, or is none of the house's."""

from __future__ import annotations

from datetime import date
from enum import StrEnum


class Worth(StrEnum):
    """What somebody is told who is shown a certificate."""

    HOLDS = "holds"
    EXPIRED = "expired"
    WITHDRAWN = "withdrawn"
    NOT_OURS = "not_ours"


def worth_on(day: date, until: date, withdrawn: bool = False) -> Worth:
    """What a certificate of the house is worth. The day until which it holds is still a day of it.

    >>> worth_on(date(2026, 3, 3), date(2026, 3, 3)), worth_on(date(2026, 3, 4), date(2026, 3, 3))
    (<Worth.HOLDS: 'holds'>, <Worth.EXPIRED: 'expired'>)
    """
    if withdrawn:
        return Worth.WITHDRAWN
    return Worth.HOLDS if day <= until else Worth.EXPIRED
