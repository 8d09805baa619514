"""One block of a workforce, from rows of evidence to answers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from .calendar_days import Days, steps
from .cohort_apart import answer_one
from .cohort_arrays import (
    CONTRAINDICATED,
    DECLINED,
    DOSE,
    IMMUNITY,
    IMMUNOGLOBULIN,
    MARKER,
    NEXT_STEP,
    TITRE,
    Answers,
    Cohort,
)  # fmt: skip
from .deciding import FACTS, SERIES, SIZES, decide
from .doses_many import Bools, Bytes, Doses, Ints, Places, doses_of
from .infection import MARKERS
from .markers_many import infection_many
from .marks import Marks
from .remembered import Remembered, code_of
from .schedule import Schedule, schedule
from .second_many import Judge, SecondMany, second_many
from .standing import Standing, next_doses
from .titres_many import NEVER, TitresMany, titre_facts

_NEXT_DOSE = ("none", "series", "second", "now", "by_response")
_DUE = ("none", "now", "series", "titre", "tests", "watched")
_SERIES = np.array(
    [SERIES.index(x) for x in ("none", "incomplete", "complete", "two_complete")], np.uint8
)
MOST = 30
"""Doses of a person who is not answered one by one: their places are the bits of a number."""


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of a block of people, each with its person's place in the block."""

    who: Ints
    kind: Bytes
    said: Bytes
    low: Days
    high: Days

    @classmethod
    def of(cls, cohort: Cohort, first: int, last: int) -> Rows:
        """Those of the people from `first` up to `last`."""
        start = cohort.start[first : last + 1]
        own = slice(int(start[0]), int(start[-1]))
        who = np.repeat(np.arange(last - first, dtype=np.int32), np.diff(start))
        return cls(who, cohort.kind[own], cohort.said[own], cohort.low[own], cohort.high[own])

    def where(self, which: Bools) -> tuple[Ints, Bytes, Days, Days]:
        """Some of the rows: whose, what they say, and both days."""
        at = np.flatnonzero(which)
        return self.who.take(at), self.said.take(at), self.low.take(at), self.high.take(at)


def answer_block(
    cohort: Cohort, first: int, last: int, judge: Judge, today: int, plan: Schedule, found: Answers
) -> Places:  # fmt: skip
    """Answer the people from `first` up to `last` into `found`; returned are those unknown to `judge`."""
    people, born = last - first, cohort.born[first:last]
    rows = Rows.of(cohort, first, last)
    doses, apart = doses_in(rows, born, plan)
    end = doses.at(doses.reach, doses.count - 1) * (doses.count > 0)
    standing = judge(doses)
    titres = titre_facts(*rows.where(rows.kind == TITRE), doses, standing, plan)
    second = second_many(doses, standing, titres, today, plan, judge)
    marker = rows.kind - np.uint8(MARKER)
    marked = marker < len(MARKERS)
    infected, since = infection_many(marker[marked], *rows.where(marked), doses, titres.panel, end)
    refused = np.full(people, NEVER, np.int32)
    who, _, low, _ = rows.where(rows.kind == DECLINED)
    np.maximum.at(refused, who, low)
    barred = np.zeros(people, np.bool_)
    barred[rows.who[rows.kind == CONTRAINDICATED]] = True

    two = standing.complete & second.complete
    series = (doses.count > 0).astype(np.int64) + standing.complete + two
    facts = {
        "series": _SERIES.take(series),
        "best_titre": titres.best,
        "latest_titre": titres.latest,
        "dose_since_latest": titres.dose_since_latest,
        "dose_since_ten": titres.dose_since_ten,
        "low_titre": titres.low_titre,
        "doses_since_low": np.minimum(second.asked, 2) * (titres.low_day > 0),
        "immunocompromised": cohort.immunocompromised[first:last],
        "infection": infected,
        "tested_since": since,
        "vaccination": np.where(barred, 2, (refused > NEVER) & (refused >= end)),
        "exposure_prone": cohort.exposure_prone[first:last],
    }
    # Nobody is asked about who is answered elsewhere: theirs may be a situation that cannot be.
    situation = code_of([facts[fact] for fact in FACTS], SIZES) * (second.known & ~apart)
    out = slice(first, last)
    found.series[out] = facts["series"]
    found.valid_doses[out] = second.valid
    found.situation[out] = situation
    found.path[out] = standing.path
    found.complete[out] = standing.complete
    found.documented[out] = doses.count
    _outcomes(found, out, situation, standing, doses, second, titres, end, barred, today, plan)
    for person in np.flatnonzero(apart).tolist():
        answer_one(cohort, first + person, today, plan, found)
    return np.flatnonzero(~second.known & ~apart) + first


def doses_in(rows: Rows, born: Days, plan: Schedule) -> tuple[Doses, Bools]:
    """Everybody's doses, marked, and who cannot be judged by them and is taken as having none."""
    who, product, low, high = rows.where(rows.kind == DOSE)
    count = np.bincount(who, minlength=len(born))
    doses, twice = doses_of(who, product, low, high, count, born)
    apart = count > MOST
    apart[twice] = True
    apart[rows.who[rows.kind == IMMUNOGLOBULIN]] = True
    mark = _marks(plan.id).on(doses.low, doses.high, doses.product, born.take(np.append(who, 0)))
    return replace(doses, mark=mark, count=count * ~apart), apart


@cache
def _marks(protocol: str) -> Marks:
    return Marks.of(schedule(protocol))


def _outcomes(
    found: Answers, out: slice, situation: Ints, standing: Standing, doses: Doses, second: SecondMany,
    titres: TitresMany, end: Days, barred: Bools, today: int, plan: Schedule,
) -> None:  # fmt: skip
    """What the tables decide, once for each situation that occurs, and the dates that follow."""
    said = _decisions(plan.id)(situation)
    found.immunity[out] = said & 15
    found.next_step[out] = (said >> 4) & 15
    planned, due = (said >> 8) & 7, said >> 11

    def plans(word: str) -> Bools:
        asked: Bools = planned == _NEXT_DOSE.index(word)
        return asked

    day, goal = next_doses(standing, doses, today, plan)
    in_series = plans("series") | plans("by_response")
    day *= in_series
    goal *= in_series
    again = np.flatnonzero(plans("second") & (titres.low_day > 0) & (second.earliest > 0))
    day[again] = np.maximum(second.earliest[again], titres.low_high[again])
    goal[again] = np.maximum(second.recommended[again], titres.low_high[again])
    now = np.flatnonzero(plans("now"))
    drawn = titres.latest_high[now]
    day[now] = goal[now] = np.where(drawn > NEVER, drawn, today)
    day[barred] = goal[barred] = NEVER

    at = goal * (due == _DUE.index("series"))
    for word, since, wait in (
        ("titre", end, plan.titre.due_from.after),
        ("tests", end, plan.tests_after_dose.after),
        ("watched", titres.latest_high, plan.titre.watched.after),
    ):
        some = np.flatnonzero((due == _DUE.index(word)) & (since > NEVER))
        at[some] = steps(since[some], wait)
    found.next_dose_earliest[out], found.next_dose_recommended[out] = day, goal
    found.next_due[out] = np.maximum(at, today) * (due != _DUE.index("none"))


@cache
def _decisions(protocol: str) -> Remembered:
    """Immunity, next step, next dose and due in one number: four bits, four, three and three."""

    def ask(situation: tuple[int, ...]) -> int:
        said = decide(protocol, situation)
        return (
            IMMUNITY.index(said.immunity)
            | NEXT_STEP.index(said.next_step) << 4
            | _NEXT_DOSE.index(said.next_dose) << 8
            | _DUE.index(said.due) << 11
        )

    return Remembered(SIZES, ask)
