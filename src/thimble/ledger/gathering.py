"""Many small writers share one write: what they append waits in memory and is written once, together.

A disk takes a hundred entries as fast as one, and a database is asked once for what many cases hold.
Each writer still writes all of its own or nothing (`Gathering.whole`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Protocol

from thimble.ledger.entries import Entry, K
from thimble.ledger.store import CASES, Addition, Book, Head, LedgerStore, chain_all, head_of, own


class Readable(Protocol[K]):
    """What is asked of the store below."""

    def entries_of(self, cases: Sequence[str]) -> Mapping[str, Sequence[Entry[K]]]:
        """The entries of each of many cases by position; an unknown case has none."""
        ...

    def all_entries(self) -> Iterator[Entry[K]]:
        """Every entry by number, streamed."""
        ...

    def cases(self) -> list[str]:
        """Every case, in order of its first entry."""
        ...


class Gathering(LedgerStore[K]):
    """See `LedgerStore`. Nobody else may write to the store below while this one gathers.

    Args:
        below: where earlier entries are read.
        head: the end of the ledger below.
    """

    def __init__(self, below: Readable[K], head: Head, book: Book[K] = CASES) -> None:  # type: ignore[assignment]
        self._below, self._head, self._book = below, head, book
        self._of_case: dict[str, list[Entry[K]]] = {}
        self.added: list[Entry[K]] = []
        """What is to be written, in order."""

    def _read_ahead(self, cases: Sequence[str]) -> None:
        """Ask once for what these cases hold."""
        wanted = [case for case in dict.fromkeys(cases) if case not in self._of_case]
        if wanted:
            for case, entries in self._below.entries_of(wanted).items():
                self._of_case[case] = list(entries)

    @contextmanager
    def whole(self) -> Iterator[None]:
        """All that is appended inside, or nothing of it where an exception leaves."""
        before, head = len(self.added), self._head
        try:
            yield
        except BaseException:
            for entry in self.added[before:]:
                self._of_case[entry.case].remove(entry)
            del self.added[before:]
            self._head = head
            raise

    def append_all(
        self, additions: Sequence[Addition[K]], *, by: str, role: str, now: datetime
    ) -> list[Entry[K]]:
        """See `LedgerStore.append_all`. Nothing is on the disk until the gathering was written."""
        self._read_ahead([addition.case for addition in additions])
        chained = chain_all(
            additions,
            existing=self._of_case,
            head=self._head,
            by=by,
            role=role,
            now=now,
            book=self._book,
        )
        self._head = head_of(chained[-1])
        for entry in chained:
            self._of_case[entry.case].append(entry)
        self.added += chained
        return [own(entry) for entry in chained]

    def entries(self, case: str) -> list[Entry[K]]:
        """See `LedgerStore.entries`: what is written and what waits."""
        self._read_ahead([case])
        return [own(entry) for entry in self._of_case[case]]

    def all_entries(self) -> Iterator[Entry[K]]:
        """See `LedgerStore.all_entries`."""
        yield from self._below.all_entries()
        yield from [own(entry) for entry in self.added]

    def cases(self) -> list[str]:
        """See `LedgerStore.cases`."""
        return list(dict.fromkeys([*self._below.cases(), *(entry.case for entry in self.added)]))
