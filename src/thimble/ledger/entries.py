"""Entries: typed, chained by digest, never changed.

An entry says one thing that happened. Its digest is SHA-256 over the canonical form (RFC 8785) of
everything else in it, the digest of the entry before it included, so that a change, a gap or a swap
anywhere shows. Entries carry no name of worker or source: a case is known by its reference only.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

import rfc8785

GENESIS = "0" * 64
"""What the first entry names as the digest before it."""


class Kind(StrEnum):
    """What an entry can say. The body's keys for each kind are in `ledger/bodies.py`."""

    REPORTED = "reported"
    FACT_LEARNED = "fact_learned"
    CANNOT_BE_KNOWN = "cannot_be_known"
    FIRST_AID_GIVEN = "first_aid_given"
    ASSESSED = "assessed"
    SAMPLE_TAKEN = "sample_taken"
    RESULT_RECEIVED = "result_received"
    SOURCE_ASKED = "source_asked"
    SOURCE_CONSENTED = "source_consented"
    SOURCE_REFUSED = "source_refused"
    SOURCE_LACKS_CAPACITY = "source_lacks_capacity"
    SOURCE_SAMPLED = "source_sampled"
    DOSE_GIVEN = "dose_given"
    ADVICE_SOUGHT = "advice_sought"
    COUNSELLED = "counselled"
    PLAN_SIGNED = "plan_signed"
    DEPARTED = "departed"
    VISITS_AGREED = "visits_agreed"
    VISIT_MISSED = "visit_missed"
    CONTACTED = "contacted"
    CORRECTED = "corrected"
    NOTED = "noted"
    CLOSED = "closed"
    REOPENED = "reopened"


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry that somebody wants to append. `happened_at` is when it was so, in the world."""

    kind: Kind
    happened_at: datetime
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Entry:
    """One appended entry.

    `number` counts from 1 over the whole ledger, `position` from 1 within the case. `by` is the
    pseudonymous account of who wrote it (or `worker` for a report without sign-in), `role` what
    they acted as.
    """

    number: int
    case: str
    position: int
    kind: Kind
    happened_at: datetime
    recorded_at: datetime
    by: str
    role: str
    body: Mapping[str, Any]
    previous: str
    digest: str


def instant(at: datetime) -> str:
    """An instant as the digest sees it: UTC, always six decimals, however it was stored since.

    Raises:
        ValueError: the instant names no offset from UTC.
    """
    if at.utcoffset() is None:
        raise ValueError(f"an instant needs its offset from UTC; found {at.isoformat()}")
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def canonical(entry: Entry) -> bytes:
    """The bytes that the digest is taken over: every field but the digest itself (RFC 8785)."""
    return rfc8785.dumps(
        {
            "number": entry.number,
            "case": entry.case,
            "position": entry.position,
            "kind": entry.kind.value,
            "happened_at": instant(entry.happened_at),
            "recorded_at": instant(entry.recorded_at),
            "by": entry.by,
            "role": entry.role,
            "body": entry.body,
            "previous": entry.previous,
        }
    )


def digest_of(entry: Entry) -> str:
    """SHA-256 of the canonical form, in hex."""
    return hashlib.sha256(canonical(entry)).hexdigest()
