"""Everybody's lines, kept in memory: only files with news, or another day, are judged anew."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache

from thimble.clinical.series import Evidence, Person
from thimble.clinical.series.cohort import clear_many, gather
from thimble.clinical.series.deciding import rules
from thimble.people import fold
from thimble.people.hepatitis_b import evidence_of, subject
from thimble.people.rechecks import HepatitisB, House, Recheck, rechecks

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
        people: Sequence[fold.Person],
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


def hepatitis_b_of(
    people: Sequence[fold.Person],
    births: Mapping[str, date | None],
    on: date,
    protocol: str,
) -> dict[str, HepatitisB]:
    """What the clearance tables say of many people at once; of who has no birth date nothing."""
    asked: list[tuple[str, Person, list[Evidence]]] = []
    for person in people:
        born = births.get(person.reference)
        if born is not None and born <= on:
            told = [e for e in evidence_of(person, on)[0] if e.when.last >= born]
            asked.append((person.reference, subject(person, born), told))
    if not asked:
        return {}
    try:
        labels = rules(protocol).outputs["next_step"].labels or {}
        answers = clear_many(gather([(who, told) for _, who, told in asked], on), on, protocol)
    except LookupError:
        return {}
    found = {}
    for at, (reference, _, _) in enumerate(asked):
        series, _, _, recommended, immunity, next_step, due = map(str, answers.row(at))
        found[reference] = HepatitisB(
            immunity,
            next_step,
            labels.get(next_step, next_step),
            series in ("complete", "two_complete"),
            _day(due),
            _day(recommended),
        )
    return found


def _day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


@cache
def board() -> Board:
    """The board of this process."""
    return Board()
