"""Who a case is about: kept apart from the ledger, behind its own port, seen by the fewest.

The ledger can be verified, exported and shown to an auditor without a name in it; a name can be
erased when its time is over without breaking the chain.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, Protocol, runtime_checkable

Whose = Literal["worker", "source"]
"""Whom an identity is of: the exposed worker, or the source patient."""


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
    """Where identities are kept. Saving again replaces. Whoever shows a name records the look."""

    def save_worker(self, case: str, identity: WorkerIdentity, *, by: str, now: datetime) -> None:
        """Keep who the exposed worker of a case is."""

    def save_source(self, case: str, identity: SourceIdentity, *, by: str, now: datetime) -> None:
        """Keep who the source patient of a case is."""

    def worker(self, case: str) -> WorkerIdentity | None:
        """The exposed worker, or None if nobody has said."""

    def source(self, case: str) -> SourceIdentity | None:
        """The source patient, or None if nobody has said."""

    def source_cases(self) -> list[str]:
        """The cases of which it is kept who the source patient is."""

    def erase_source(self, case: str) -> None:
        """Forget who the source patient of a case is, every version of it."""

    def erase_worker(self, case: str) -> None:
        """Forget who the exposed worker of a case is, every version of it."""

    def looked(
        self, cases: Iterable[str], *, whose: Whose, where: str, by: str, now: datetime
    ) -> None:
        """Put on record that `by` is shown who these cases are about, on the screen or paper
        `where`. Never the name itself."""


class MemoryIdentityStore:
    """Identities in memory: for tests and the demo's rehearsal."""

    def __init__(self) -> None:
        self._workers: dict[str, WorkerIdentity] = {}
        self._sources: dict[str, SourceIdentity] = {}
        self.looks: list[tuple[str, Whose, str, str, datetime]] = []

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

    def source_cases(self) -> list[str]:
        """See `IdentityStore.source_cases`."""
        return list(self._sources)

    def erase_source(self, case: str) -> None:
        """See `IdentityStore.erase_source`."""
        self._sources.pop(case, None)

    def erase_worker(self, case: str) -> None:
        """See `IdentityStore.erase_worker`."""
        self._workers.pop(case, None)

    def looked(
        self, cases: Iterable[str], *, whose: Whose, where: str, by: str, now: datetime
    ) -> None:
        """See `IdentityStore.looked`."""
        self.looks += [(case, whose, where, by, now) for case in cases]
