"""A workforce as arrays, and its answers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date

import numpy as np

from .calendar_days import Days
from .deciding import IMMUNOCOMPROMISED, SERIES
from .documented import Person, documented
from .doses_many import PRODUCTS, Bools, Bytes, Ints, Places
from .evidence import Evidence
from .titres_many import NEVER

DOSE = 0
IMMUNOGLOBULIN = 1
TITRE = 2
MARKER = 3
DECLINED = 7
CONTRAINDICATED = 8
OTHER = 9
"""Kinds of evidence; MARKER + n is the marker at place n of MARKERS."""
IMMUNITY = (
    "immune", "not_immune", "not_known", "infected", "past_infection", "isolated_core", "non_responder",
)  # fmt: skip
NEXT_STEP = (
    "none", "dose", "titre", "challenge_dose", "second_series", "booster", "infection_tests", "refer",
    "counsel_non_responder",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cohort:
    """People and their evidence as arrays, each person's rows together.

    Args:
        born: shape (n,), ordinals.
        exposure_prone: shape (n,).
        immunocompromised: shape (n,), places among the values of that fact.
        start: shape (n + 1,); the rows of person i are start[i] up to start[i + 1].
        kind: shape (m,), one of the kinds above.
        said: shape (m,); of a dose its place in PRODUCTS, of a titre in LEVELS, of a marker in STATES.
        low, high: shape (m,); the first and last day it can have been, within birth and the day asked for,
            or 1 for a result of a day that nobody knows.
    """

    born: Ints
    exposure_prone: Bools
    immunocompromised: Bytes
    start: Places
    kind: Bytes
    said: Bytes
    low: Days
    high: Days

    def only(self, some: Places) -> Cohort:
        """Some of the people, with their rows."""
        count = np.diff(self.start).take(some)
        start = np.append(0, np.cumsum(count))
        rows = np.arange(start[-1]) + np.repeat(self.start.take(some) - start[:-1], count)
        return Cohort(
            self.born.take(some),
            self.exposure_prone.take(some),
            self.immunocompromised.take(some),
            start,
            self.kind.take(rows),
            self.said.take(rows),
            self.low.take(rows),
            self.high.take(rows),
        )


@dataclass(frozen=True, slots=True)
class Answers:
    """One row a person. Dates are ordinals, NEVER where there is none.

    `series` are places in SERIES; `immunity` and `next_step` in the tuples of those names; `situation`
    is what `decide` was asked; `path` the place of the path in the schedule; `documented` the number of
    doses.
    """

    series: Bytes
    valid_doses: Ints
    next_dose_earliest: Ints
    next_dose_recommended: Ints
    immunity: Bytes
    next_step: Bytes
    next_due: Ints
    situation: Ints
    path: Bytes
    complete: Bools
    documented: Ints

    @classmethod
    def empty(cls, people: int) -> Answers:
        """Room for the answers of so many."""
        kinds = {"Bytes": np.uint8, "Ints": np.int32, "Days": np.int32, "Bools": np.bool_}
        return cls(*(np.zeros(people, kinds[str(field.type)]) for field in fields(cls)))

    def put(self, some: Places, others: Answers) -> None:
        """Take over the answers of some of the people."""
        for field in fields(self):
            getattr(self, field.name)[some] = getattr(others, field.name)

    def row(self, n: int) -> tuple[str | int, ...]:
        """Person n as words: the series, the doses that count, both days of the next dose ("" for none),
        the immunity, the next step and when it is due."""
        days = (self.next_dose_earliest[n], self.next_dose_recommended[n], self.next_due[n])
        earliest, recommended, due = (
            "" if day == NEVER else date.fromordinal(int(day)).isoformat() for day in days
        )
        return (
            SERIES[self.series[n]],
            int(self.valid_doses[n]),
            earliest,
            recommended,
            IMMUNITY[self.immunity[n]],
            NEXT_STEP[self.next_step[n]],
            due,
        )


def gather(people: Sequence[tuple[Person, Iterable[Evidence]]], as_of: date) -> Cohort:
    """People with their evidence as arrays.

    Raises:
        ValueError: evidence lies wholly before the birth or after the day asked for.
    """
    today = as_of.toordinal()
    rows: list[tuple[int, int, int, int]] = []
    start = [0]
    for person, evidence in people:
        told = documented(evidence, person.birth_date.toordinal(), today)
        rows += [(DOSE, PRODUCTS.index(d.cvx), d.low, d.high) for d in told.given]
        rows += [(IMMUNOGLOBULIN, 0, low, high) for low, high in told.serum]
        rows += [(TITRE, t.level, t.low, t.high) for t in told.titres]
        rows += [(MARKER + n, state, low, high) for n, low, high, state in told.markers]
        rows += [(DECLINED, 0, low, low) for low in told.refused]
        rows += [(CONTRAINDICATED, 0, today, today)] * told.contraindicated
        start.append(len(rows))
    kind, said, low, high = np.array(rows, np.int32).reshape(-1, 4).T
    return Cohort(
        np.array([p.birth_date.toordinal() for p, _ in people], np.int32),
        np.array([p.exposure_prone for p, _ in people], np.bool_),
        np.array([IMMUNOCOMPROMISED.index(p.immunocompromised) for p, _ in people], np.uint8),
        np.array(start, np.int64),
        kind.astype(np.uint8),
        said.astype(np.uint8),
        low,
        high,
    )
