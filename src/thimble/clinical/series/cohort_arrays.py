"""A workforce as arrays, and its answers."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
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
_COLUMNS = 4
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


def gather(people: Iterable[tuple[Person, Iterable[Evidence]]], as_of: date) -> Cohort:
    """People with their evidence as arrays, one after the other: nobody's need be kept for the next.

    Raises:
        ValueError: evidence lies wholly before the birth or after the day asked for.
    """
    today = as_of.toordinal()
    # Rows and people lie flat: of a list of tuples the interpreter would look for cycles over and over.
    rows, facts, start = array("i"), array("i"), array("q", (0,))
    for person, evidence in people:
        born = person.birth_date.toordinal()
        told = documented(evidence, born, today)
        for dose in told.given:
            rows.extend((DOSE, PRODUCTS.index(dose.cvx), dose.low, dose.high))
        for low, high in told.serum:
            rows.extend((IMMUNOGLOBULIN, 0, low, high))
        for titre in told.titres:
            rows.extend((TITRE, titre.level, titre.low, titre.high))
        for n, low, high, state in told.markers:
            rows.extend((MARKER + n, state, low, high))
        for low in told.refused:
            rows.extend((DECLINED, 0, low, low))
        if told.contraindicated:
            rows.extend((CONTRAINDICATED, 0, today, today))
        weak = IMMUNOCOMPROMISED.index(person.immunocompromised)
        facts.extend((born, person.exposure_prone, weak))
        start.append(len(rows) // _COLUMNS)
    kind, said, low_days, high_days = np.array(rows).reshape(-1, _COLUMNS).T.astype(np.int32)
    births, prone, weak_all = np.array(facts).reshape(-1, 3).T.astype(np.int32)
    return Cohort(
        births,
        prone.astype(np.bool_),
        weak_all.astype(np.uint8),
        np.array(start, np.int64),
        kind.astype(np.uint8),
        said.astype(np.uint8),
        low_days,
        high_days,
    )
