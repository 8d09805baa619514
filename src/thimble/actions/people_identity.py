"""Who a person's file is about: kept apart from the ledger, behind its own port."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, runtime_checkable

from thimble.people.identity import PersonIdentity


@dataclass(frozen=True, slots=True)
class Written:
    """An identity as it was written with the entry at `position` of the file of `person`."""

    person: str
    position: int
    identity: PersonIdentity


@runtime_checkable
class PeopleIdentities(Protocol):
    """Where the identities of people are kept. Rows are added; the latest of a person holds."""

    def save_all(self, rows: Iterable[Written], *, by: str, now: datetime) -> None:
        """Keep what was written with entries of several files."""

    def identity(self, person: str) -> PersonIdentity | None:
        """Who the person is, or None."""

    def all_identities(self) -> Mapping[str, PersonIdentity]:
        """Everybody, by reference."""

    def before(self, positions: Mapping[str, int]) -> Mapping[str, PersonIdentity]:
        """The identity that held before the entry at that position, of each person who had one."""

    def erase(self, people: Iterable[str]) -> None:
        """Erase every identity of these people for good; the chain stays whole."""


class MemoryPeopleIdentities:
    """Identities of people in memory: for tests and the demo's rehearsal."""

    def __init__(self) -> None:
        self._rows: dict[str, list[Written]] = {}

    def save_all(self, rows: Iterable[Written], *, by: str, now: datetime) -> None:
        """See `PeopleIdentities.save_all`."""
        del by, now
        for row in rows:
            self._rows.setdefault(row.person, []).append(row)

    def identity(self, person: str) -> PersonIdentity | None:
        """See `PeopleIdentities.identity`."""
        rows = self._rows.get(person)
        return rows[-1].identity if rows else None

    def all_identities(self) -> Mapping[str, PersonIdentity]:
        """See `PeopleIdentities.all_identities`."""
        return {person: rows[-1].identity for person, rows in self._rows.items()}

    def before(self, positions: Mapping[str, int]) -> Mapping[str, PersonIdentity]:
        """See `PeopleIdentities.before`."""
        found: dict[str, PersonIdentity] = {}
        for person, position in positions.items():
            for row in self._rows.get(person, []):
                if row.position < position:
                    found[person] = row.identity
        return found

    def erase(self, people: Iterable[str]) -> None:
        """See `PeopleIdentities.erase`."""
        for person in people:
            self._rows.pop(person, None)
