"""Everybody's lines, kept in memory: only files with news, or another day, are judged anew."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache

from thimble.people.fold import Person
from thimble.people.hepatitis_b_many import hepatitis_b_of
from thimble.people.rechecks import House, Recheck, rechecks

Key = tuple[int, date | None]
"""What a person's lines hang on beside the day and the house: last entry, birth date."""


class Board:
    """The lines of every person of the register. Safe between threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._for: tuple[date, House] | None = None
        self._lines: dict[str, tuple[Key, tuple[Recheck, ...]]] = {}

    def lines(
        self,
        people: Sequence[Person],
        births: Mapping[str, date | None],
        on: date,
        house: House,
    ) -> list[Recheck]:
        """Every line, overdue first, then by day."""
        with self._lock:
            if self._for != (on, house):
                self._for, self._lines = (on, house), {}
            keys = {p.reference: (p.entries, births.get(p.reference)) for p in people}
            stale = [p for p in people if self._key(p.reference) != keys[p.reference]]
            found = hepatitis_b_of(stale, births, on, house.protocol)
            for person in stale:
                born, answer = births.get(person.reference), found.get(person.reference)
                told = rechecks(person, born, on, house, answer)
                self._lines[person.reference] = (keys[person.reference], told)
            every = [line for p in people for line in self._lines[p.reference][1]]
        return sorted(every, key=lambda line: line.order)

    def _key(self, reference: str) -> Key | None:
        held = self._lines.get(reference)
        return None if held is None else held[0]


@cache
def board() -> Board:
    """The board of this process."""
    return Board()
