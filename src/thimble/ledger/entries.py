"""Entries: typed, chained by digest, never changed.

An entry says one thing that happened. Its digest is SHA-256 over the canonical form (RFC 8785) of
everything else in it, the digest of the entry before it included, so that a change, a gap or a swap
anywhere shows. Entries carry no name of worker or source: a case is known by its reference only.

There is more than one ledger, each with its own chain: of cases (the kinds below) and of people
(`thimble.people.entries`). Both keep their entries by these rules; what they can say differs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Generic

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
    SOURCE_DIED = "source_died"
    SOURCE_DISCHARGED = "source_discharged"
    SOURCE_NOT_IDENTIFIED = "source_not_identified"
    SOURCE_AUTHORISED = "source_authorised"
    SOURCE_STATUS_FOUND = "source_status_found"
    SOURCE_IDENTITY_PURGED = "source_identity_purged"
    WORKER_IDENTITY_PURGED = "worker_identity_purged"
    ESCALATED = "escalated"
    DOSE_GIVEN = "dose_given"
    ADVICE_SOUGHT = "advice_sought"
    ADVICE_GIVEN = "advice_given"
    COUNSELLED = "counselled"
    TABLETS_HANDED_OUT = "tablets_handed_out"
    DOSES_MISSED = "doses_missed"
    SIDE_EFFECT = "side_effect"
    COURSE_REVIEWED = "course_reviewed"
    COURSE_CHANGED = "course_changed"
    COURSE_STOPPED = "course_stopped"
    COURSE_RESUMED = "course_resumed"
    PLAN_SIGNED = "plan_signed"
    DEPARTED = "departed"
    VISITS_AGREED = "visits_agreed"
    VISIT_MISSED = "visit_missed"
    CONTACTED = "contacted"
    WORKER_AGREED = "worker_agreed"
    REACHING_DECIDED = "reaching_decided"
    DOSES_ON_RECORD = "doses_on_record"
    FITNESS_DECIDED = "fitness_decided"
    LINKED = "linked"
    CORRECTED = "corrected"
    NOTED = "noted"
    CLOSED = "closed"
    REOPENED = "reopened"


if TYPE_CHECKING:
    from typing_extensions import TypeVar

    K = TypeVar("K", bound=StrEnum, default=Kind)
else:  # a default is for the type checker alone: an `Entry` is one of a case unless it says otherwise
    from typing import TypeVar

    K = TypeVar("K", bound=StrEnum)


@dataclass(frozen=True, slots=True)
class Draft(Generic[K]):
    """An entry that somebody wants to append. `happened_at` is when it was so, in the world."""

    kind: K
    happened_at: datetime
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Entry(Generic[K]):
    """One appended entry.

    `case` is the reference of what the entry is about: a case, or a person's file. `number` counts
    from 1 over the whole ledger, `position` from 1 within the case. `by` is the
    pseudonymous account of who wrote it (or `worker` for a report without sign-in), `role` what
    they acted as.
    """

    number: int
    case: str
    position: int
    kind: K
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


def canonical(entry: Entry[K]) -> bytes:
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


def digest_of(entry: Entry[K]) -> str:
    """SHA-256 of the canonical form, in hex."""
    return hashlib.sha256(canonical(entry)).hexdigest()
