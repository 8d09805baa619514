"""The few people of a cohort who are answered one by one, by `answer` itself."""

from __future__ import annotations

from datetime import date
from typing import cast

import numpy as np

from .clearing import answer
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
)
from .deciding import FACTS, SERIES, SIZES, VALUES
from .documented import Documented, Immunocompromised, Person, Titre
from .doses_many import PRODUCTS
from .infection import MARKERS
from .schedule import Schedule
from .titres_many import NEVER
from .walking import Given


def answer_one(cohort: Cohort, person: int, today: int, plan: Schedule, found: Answers) -> None:
    """Answer one person of a cohort into `found`."""
    weak = VALUES[FACTS.index("immunocompromised")][int(cohort.immunocompromised[person])]
    subject = Person(
        date.fromordinal(int(cohort.born[person])),
        bool(cohort.exposure_prone[person]),
        cast(Immunocompromised, weak),
    )
    said = answer(subject, _told(cohort, person), today, plan.id)
    found.series[person] = SERIES.index(said.series)
    found.valid_doses[person] = said.valid_doses
    found.next_dose_earliest[person] = _ordinal(said.next_dose_earliest)
    found.next_dose_recommended[person] = _ordinal(said.next_dose_recommended)
    found.immunity[person] = IMMUNITY.index(said.immunity)
    found.next_step[person] = NEXT_STEP.index(said.next_step)
    found.next_due[person] = _ordinal(said.next_due)
    found.situation[person] = np.ravel_multi_index(said.situation, SIZES)
    found.path[person] = next(n for n, way in enumerate(plan.paths) if way.id == said.path)
    found.complete[person] = said.complete
    found.documented[person] = len(said.doses)


def _told(cohort: Cohort, person: int) -> Documented:
    told = Documented()
    for row in range(int(cohort.start[person]), int(cohort.start[person + 1])):
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
    return told


def _ordinal(day: date | None) -> int:
    return NEVER if day is None else day.toordinal()
