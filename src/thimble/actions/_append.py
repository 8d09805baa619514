"""What every action does last: check the whole body, then append, or refuse in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NotRequired, TypedDict, Unpack

from thimble.ledger.bodies import faults_of
from thimble.ledger.entries import Draft, Entry, Kind
from thimble.ledger.store import LedgerStore
from thimble.protocol.vocabulary import Fact


class Refused(ValueError):
    """An action that was not done. `faults` are sentences for whoever tried; nothing was written."""

    def __init__(self, faults: str | Iterable[str]) -> None:
        self.faults = (faults,) if isinstance(faults, str) else tuple(faults)
        super().__init__("; ".join(self.faults))


class NoSuchCase(Refused):
    """The reference is well formed or not, but no case has it."""


class Writing(TypedDict):
    """Who writes, in which role, and when; and the last position of the case that they saw, where a newer
    entry is to hold them up (see `LedgerStore.append`)."""

    now: datetime
    by: str
    role: str
    expected_position: NotRequired[int | None]


class Told(Writing):
    """As `Writing`, with when it was so, where that is not now."""

    happened_at: NotRequired[datetime | None]


def append(
    store: LedgerStore,
    case: str,
    drafts: Sequence[tuple[Kind, Mapping[str, Any]]],
    *,
    vocabulary: Mapping[str, Fact] | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """Append to a case that exists.

    Raises:
        NoSuchCase: the case has no entries.
        Refused: a body does not fit its kind or the vocabulary, or `happened_at` is still to come.
        thimble.ledger.store.Overtaken: see `LedgerStore.append`.
    """
    existing(store, case)
    return append_new(store, case, drafts, vocabulary=vocabulary, **told)


def append_new(
    store: LedgerStore,
    case: str,
    drafts: Sequence[tuple[Kind, Mapping[str, Any]]],
    *,
    now: datetime,
    by: str,
    role: str,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
    vocabulary: Mapping[str, Fact] | None = None,
) -> list[Entry]:
    """As `append`, for a case that may not exist yet."""
    faults = [fault for kind, body in drafts for fault in faults_of(kind, body, vocabulary)]
    faults += who_and_when(now=now, by=by, role=role, happened_at=happened_at)
    if faults:
        raise Refused(faults)
    return store.append(
        case,
        [Draft(kind, now if happened_at is None else happened_at, body) for kind, body in drafts],
        expected_position=expected_position,
        by=by,
        role=role,
        now=now,
    )


def who_and_when(
    *, now: datetime, by: str, role: str, happened_at: datetime | None = None
) -> list[str]:
    """What is wrong with who writes and when it happened, in sentences."""
    faults: list[str] = []
    for name, text in (("by", by), ("role", role)):
        if not text.strip():
            faults.append(f"{name} is missing: every entry names who wrote it and as what")
    if happened_at is not None:
        if happened_at.utcoffset() is None:
            faults.append(f"the time needs its offset from UTC; found {happened_at.isoformat()}")
        elif happened_at > now:
            faults.append(
                f"the time lies ahead of now ({now.isoformat(timespec='minutes')}); found "
                f"{happened_at.isoformat(timespec='minutes')}. Write it down once it has happened"
            )
    return faults


def existing(store: LedgerStore, case: str) -> list[Entry]:
    """The entries of a case.

    Raises:
        NoSuchCase: there are none.
    """
    entries = store.entries(case)
    if not entries:
        raise NoSuchCase(f"there is no case {case}")
    return entries
