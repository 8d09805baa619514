"""The same answers for a whole workforce: arrays in, arrays out, the rules of `clear` throughout.

People are taken in blocks that fit the processor's cache, as many at a time as there are cores; within a
block each dose of everybody is judged at once. A few people are answered one by one by `answer` itself:
immunoglobulin, two doses of one date.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from datetime import date
from typing import cast

import numpy as np
from numpy.typing import NDArray

from .calendar_days import steps
from .clearing import answer
from .cohort_facts import (
    NEVER,
    PRODUCTS,
    Bools,
    Bytes,
    Ints,
    Places,
    TitresMany,
    in_order,
    infection_many,
    second_many,
    titre_facts,
)
from .deciding import FACTS, IMMUNOCOMPROMISED, SERIES, SIZES, VALUES, decide
from .documented import Documented, Immunocompromised, Person, Titre, documented
from .evidence import Evidence
from .infection import MARKERS
from .judging_many import JudgedMany, judge_many
from .schedule import Schedule, schedule
from .walking import Given

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
_NEXT_DOSE = ("none", "series", "second", "now", "by_response")
_DUE = ("none", "now", "series", "titre", "tests", "watched")
BLOCK = 1 << 16


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
    start: NDArray[np.int64]
    kind: Bytes
    said: Bytes
    low: Ints
    high: Ints


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
    situation: Places
    path: Bytes
    complete: Bools
    documented: Ints

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


def situation_of(code: int) -> tuple[int, ...]:
    """The situation that a row of `Answers.situation` stands for."""
    return tuple(int(place) for place in np.unravel_index(code, SIZES))


def clear_many(cohort: Cohort, as_of: date, protocol: str = "us") -> Answers:
    """What `clear` says of each person, on a day.

    Raises:
        LookupError: there is no such protocol.
    """
    people = len(cohort.born)
    plan = schedule(protocol)
    kinds = {"Bytes": np.uint8, "Ints": np.int32, "Places": np.int64, "Bools": np.bool_}
    found = Answers(*(np.zeros(people, kinds[str(f.type)]) for f in fields(Answers)))

    def block(first: int) -> None:
        last = min(first + BLOCK, people)
        _block(cohort, first, last, as_of.toordinal(), protocol, plan, found)

    # A block writes its own people only, and NumPy works outside the interpreter's lock.
    with ThreadPoolExecutor(os.cpu_count()) as cores:
        for _ in cores.map(block, range(0, people, BLOCK)):
            pass
    return found


def _block(
    cohort: Cohort, first: int, last: int, today: int, protocol: str, plan: Schedule, found: Answers
) -> None:
    """Answer the people from `first` up to `last` into `found`."""
    rows = slice(int(cohort.start[first]), int(cohort.start[last]))
    people = last - first
    who = np.repeat(np.arange(people), np.diff(cohort.start[first : last + 1]))
    kind, said = cohort.kind[rows], cohort.said[rows]
    low, high = cohort.low[rows], cohort.high[rows]
    dose = kind == DOSE
    block, apart = in_order(who[dose], said[dose], low[dose], high[dose], cohort.born[first:last])
    apart[who[kind == IMMUNOGLOBULIN]] = True
    judged = judge_many(block, PRODUCTS, today, plan)
    final = np.where(np.arange(len(block.low))[:, None] < block.count, block.high, NEVER)
    end = final.max(axis=0, initial=NEVER)

    drawn = kind == TITRE
    titres = titre_facts(
        who[drawn], said[drawn], low[drawn], high[drawn], block, judged, plan, people
    )
    second, asked, valid = second_many(block, judged, titres, today, plan)
    marked = (kind >= MARKER) & (kind < MARKER + len(MARKERS))
    infected, since = infection_many(
        who[marked], kind[marked] - MARKER, said[marked], low[marked], high[marked],
        block, titres.panel, end, people,
    )  # fmt: skip
    refused = np.full(people, NEVER, np.int32)
    np.maximum.at(refused, who[kind == DECLINED], low[kind == DECLINED])
    barred = np.zeros(people, np.bool_)
    barred[who[kind == CONTRAINDICATED]] = True

    series = np.where(block.count == 0, SERIES.index("none"), SERIES.index("incomplete"))
    series = np.where(judged.complete, SERIES.index("complete"), series)
    series = np.where(judged.complete & second.complete, SERIES.index("two_complete"), series)
    facts = {
        "series": series,
        "best_titre": titres.best,
        "latest_titre": titres.latest,
        "dose_since_latest": titres.dose_since_latest,
        "dose_since_ten": titres.dose_since_ten,
        "low_titre": titres.low_titre,
        "doses_since_low": np.where(titres.low_day > 0, np.minimum(asked, 2), 0),
        "immunocompromised": cohort.immunocompromised[first:last],
        "infection": infected,
        "tested_since": since,
        "vaccination": np.where(barred, 2, (refused > NEVER) & (refused >= end)),
        "exposure_prone": cohort.exposure_prone[first:last],
    }
    situation = np.ravel_multi_index(tuple(facts[fact].astype(np.intp) for fact in FACTS), SIZES)
    out = slice(first, last)
    found.series[out] = series
    found.valid_doses[out] = valid
    found.situation[out] = situation
    found.path[out] = judged.path
    found.complete[out] = judged.complete
    found.documented[out] = block.count
    _outcomes(found, out, situation, judged, second, titres, end, barred, today, protocol, plan)
    for person in np.flatnonzero(apart).tolist():
        _one(cohort, first + person, today, protocol, plan, found)


def _outcomes(
    found: Answers, out: slice, situation: Places, judged: JudgedMany, second: JudgedMany,
    titres: TitresMany, end: Ints, barred: Bools, today: int, protocol: str, plan: Schedule,
) -> None:  # fmt: skip
    """What the tables decide, once for each situation that occurs, and the dates that follow."""
    codes, place = np.unique(situation, return_inverse=True)
    decisions = [decide(protocol, situation_of(code)) for code in codes.tolist()]
    found.immunity[out] = np.array([IMMUNITY.index(d.immunity) for d in decisions])[place]
    found.next_step[out] = np.array([NEXT_STEP.index(d.next_step) for d in decisions])[place]
    planned = np.array([_NEXT_DOSE.index(d.next_dose) for d in decisions])[place]
    due = np.array([_DUE.index(d.due) for d in decisions])[place]

    series = (planned == 1) | (planned == 4)
    day = np.where(series, judged.earliest, NEVER)
    goal = np.where(series, judged.recommended, NEVER)
    again = (planned == 2) & (titres.low_day > 0) & (second.earliest > 0)
    day = np.where(again, np.maximum(second.earliest, titres.low_high), day)
    goal = np.where(again, np.maximum(second.recommended, titres.low_high), goal)
    now = np.where(titres.latest_high > 0, titres.latest_high, today)
    day, goal = (np.where(planned == 3, now, x) for x in (day, goal))
    day, goal = (np.where(barred, NEVER, x) for x in (day, goal))

    given = end > NEVER
    at = np.full(len(place), today, np.int64)
    at = np.where((due == 2) & (goal > 0), goal, at)
    some = np.flatnonzero((due == 3) & given)
    at[some] = steps(end[some], plan.titre.due_from.after)
    some = np.flatnonzero((due == 4) & given)
    at[some] = steps(end[some], plan.tests_after_dose.after)
    some = np.flatnonzero((due == 5) & (titres.latest_high > 0))
    at[some] = steps(titres.latest_high[some], plan.titre.watched.after)
    found.next_dose_earliest[out], found.next_dose_recommended[out] = day, goal
    found.next_due[out] = np.where(due == 0, NEVER, np.maximum(at, today))


def _one(
    cohort: Cohort, person: int, today: int, protocol: str, plan: Schedule, found: Answers
) -> None:
    """Answer one person by the function for one."""
    rows = range(int(cohort.start[person]), int(cohort.start[person + 1]))
    told = Documented()
    for row in rows:
        kind, said = int(cohort.kind[row]), int(cohort.said[row])
        low, high = int(cohort.low[row]), int(cohort.high[row])
        if kind == DOSE:
            told.given.append(Given(low, high, PRODUCTS[said]))
        elif kind == IMMUNOGLOBULIN:
            told.serum.append((low, high))
        elif kind == TITRE:
            told.titres.append(Titre(low, high, said))
        elif MARKER <= kind < MARKER + len(MARKERS):
            told.markers.append((kind - MARKER, low, high, said))
        elif kind == DECLINED:
            told.refused.append(low)
        elif kind == CONTRAINDICATED:
            told.contraindicated = True
    weak = VALUES[FACTS.index("immunocompromised")][int(cohort.immunocompromised[person])]
    subject = Person(
        date.fromordinal(int(cohort.born[person])),
        bool(cohort.exposure_prone[person]),
        cast(Immunocompromised, weak),
    )
    said_ = answer(subject, told, today, protocol)
    found.series[person] = SERIES.index(said_.series)
    found.valid_doses[person] = said_.valid_doses
    found.next_dose_earliest[person] = _ordinal(said_.next_dose_earliest)
    found.next_dose_recommended[person] = _ordinal(said_.next_dose_recommended)
    found.immunity[person] = IMMUNITY.index(said_.immunity)
    found.next_step[person] = NEXT_STEP.index(said_.next_step)
    found.next_due[person] = _ordinal(said_.next_due)
    found.situation[person] = np.ravel_multi_index(said_.situation, SIZES)
    found.path[person] = next(n for n, w in enumerate(plan.paths) if w.id == said_.path)
    found.complete[person] = said_.complete
    found.documented[person] = len(said_.doses)


def _ordinal(day: date | None) -> int:
    return NEVER if day is None else day.toordinal()
