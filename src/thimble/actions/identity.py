"""Who a case is about: kept apart from the ledger, behind its own port, seen by the fewest.

The ledger can be verified, exported and shown to an auditor without a name in it; a name can be
erased when its time is over without breaking the chain.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol, runtime_checkable


@dataclass(frozen=True, slots=True, repr=False)
class WorkerIdentity:
    """The exposed worker. No `repr`: a name must not reach a log by accident."""

    name: str
    staff_number: str = ""
    phone: str = ""
    date_of_birth: date | None = None
    email: str = ""
    occupation: str = ""
    department: str = ""

    def __repr__(self) -> str:
        return "WorkerIdentity(…)"


@dataclass(frozen=True, slots=True, repr=False)
class SourceIdentity:
    """The source patient. No `repr`, as above."""

    name: str = ""
    hospital_number: str = ""
    date_of_birth: date | None = None
    ward: str = ""
    attending: str = ""

    def __repr__(self) -> str:
        return "SourceIdentity(…)"


@runtime_checkable
class IdentityStore(Protocol):
    """Where identities are kept. Saving again replaces; the store keeps its own record of access."""

    def save_worker(self, case: str, identity: WorkerIdentity, *, by: str, now: datetime) -> None:
        """Keep who the exposed worker of a case is."""

    def save_source(self, case: str, identity: SourceIdentity, *, by: str, now: datetime) -> None:
        """Keep who the source patient of a case is."""

    def worker(self, case: str) -> WorkerIdentity | None:
        """The exposed worker, or None if nobody has said."""

    def source(self, case: str) -> SourceIdentity | None:
        """The source patient, or None if nobody has said."""


class MemoryIdentityStore:
    """Identities in memory: for tests and the demo's rehearsal."""

    def __init__(self) -> None:
        self._workers: dict[str, WorkerIdentity] = {}
        self._sources: dict[str, SourceIdentity] = {}

    def save_worker(self, case: str, identity: WorkerIdentity, *, by: str, now: datetime) -> None:
        """See `IdentityStore.save_worker`."""
        del by, now
        self._workers[case] = identity

    def save_source(self, case: str, identity: SourceIdentity, *, by: str, now: datetime) -> None:
        """See `IdentityStore.save_source`."""
        del by, now
        self._sources[case] = identity

    def worker(self, case: str) -> WorkerIdentity | None:
        """See `IdentityStore.worker`."""
        return self._workers.get(case)

    def source(self, case: str) -> SourceIdentity | None:
        """See `IdentityStore.source`."""
        return self._sources.get(case)
