"""Everybody of the register, kept in memory and brought up to date by what is new in their ledger.

Only files with news are folded anew; each process has its own roster, filled from the ledger. Names are
not kept: they are read for each page, from where they lie apart.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import datetime
from functools import cache

from thimble.ledger.entries import Entry
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.web.context import get_people
from thimble.web.tail import Since, Tail


class Roster:
    """Every person of the register as they stand. Safe between threads."""

    def __init__(self, since: Since[Kind]) -> None:
        self._tail = Tail(since)
        self._lock = threading.Lock()
        self._entries: dict[str, list[Entry[Kind]]] = {}
        self._people: dict[str, Person] = {}

    def people(self, now: datetime) -> list[Person]:
        """Everybody, in the order in which they were enrolled."""
        with self._lock:
            another, news = self._tail.read()
            if another:
                self._entries.clear()
                self._people.clear()
            for entry in news:
                self._entries.setdefault(entry.case, []).append(entry)
            for person in dict.fromkeys(entry.case for entry in news):
                entries = self._entries[person]
                self._people[person] = fold(entries, max(now, entries[-1].recorded_at))
            return [person for person in self._people.values() if person.enrolled]


def _since(number: int) -> Sequence[Entry[Kind]]:
    return list(get_people().since(number))


@cache
def roster() -> Roster:
    """The roster of this process, over the ledger in the database."""
    return Roster(_since)
