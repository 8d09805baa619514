"""Who closed a case, when and why, in words that tell nothing of the source patient."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from thimble.documents.record import Record
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.entries import Kind
from thimble.ledger.situation import Situation
from thimble.ledger.standing import known_by, standing

_WITHHELD = {"source_negative": "for a reason that stands in the case, and not on paper"}
"""Reasons whose own words would tell a result of the source patient."""


@dataclass(frozen=True, slots=True)
class Closing:
    """The entry that closed the case: when, why, whether in words of their own, and by whom."""

    at: datetime
    reason: str
    worded: bool
    by: str
    entry: int


def closing_of(situation: Situation, record: Record) -> Closing | None:
    """The closing that stands; None while the case is open. Without its entry the writer is ""."""
    if situation.closed_at is None:
        return None
    found = [
        stands
        for stands in standing(known_by(record.entries, situation.as_of)).values()
        if stands is not None and stands.entry.kind is Kind.CLOSED
    ]
    if not found:
        return Closing(situation.closed_at, situation.closed_reason, False, "", 0)
    last = found[-1]
    return Closing(
        situation.closed_at,
        situation.closed_reason,
        bool(last.body["text"].strip()),
        record.who(last.entry.by, last.entry.position),
        last.entry.position,
    )


def reason_in_words(reason: str) -> str:
    """Why a case was closed, in words that tell nothing of the source patient.

    >>> reason_in_words("transferred")
    'followed elsewhere'
    """
    return _WITHHELD.get(reason) or CLOSED_REASONS.get(reason, reason)
