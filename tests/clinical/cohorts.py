"""Workforces as arrays, and the answers of both roads side by side."""

from __future__ import annotations

from datetime import date

import numpy as np

from thimble.clinical.series.clearing import answer
from thimble.clinical.series.cohort import (
    CONTRAINDICATED,
    DECLINED,
    DOSE,
    IMMUNITY,
    IMMUNOGLOBULIN,
    MARKER,
    NEXT_STEP,
    PRODUCTS,
    TITRE,
    Cohort,
    clear_many,
)
from thimble.clinical.series.deciding import SERIES, SIZES
from thimble.clinical.series.documented import Documented, Person, Titre
from thimble.clinical.series.infection import MARKERS
from thimble.clinical.series.schedule import schedule
from thimble.clinical.series.walking import Given

WEAK = ("no", "yes", "unknown")


def cohort_of(people):
    """Arrays from a list of (born, prone, weak, rows of (kind, said, low, high))."""
    rows = [row for person in people for row in person[3]]
    columns = np.array(rows, dtype=np.int64).reshape(-1, 4).T
    counts = [len(person[3]) for person in people]
    return Cohort(
        np.array([p[0] for p in people], np.int32),
        np.array([p[1] for p in people], np.bool_),
        np.array([p[2] for p in people], np.uint8),
        np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        columns[0].astype(np.uint8),
        columns[1].astype(np.uint8),
        columns[2].astype(np.int32),
        columns[3].astype(np.int32),
    )


def one_by_one(person, today, protocol):
    """The row that `answer` gives, in the columns of `Answers`."""
    born, prone, weak, rows = person
    told = Documented()
    for kind, said, low, high in rows:
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
    found = answer(Person(date.fromordinal(born), prone, WEAK[weak]), told, today, protocol)
    days = (found.next_dose_earliest, found.next_dose_recommended, found.next_due)
    earliest, recommended, due = (day.toordinal() if day else 0 for day in days)
    return {
        "series": SERIES.index(found.series),
        "valid_doses": found.valid_doses,
        "next_dose_earliest": earliest,
        "next_dose_recommended": recommended,
        "immunity": IMMUNITY.index(found.immunity),
        "next_step": NEXT_STEP.index(found.next_step),
        "next_due": due,
        "situation": int(np.ravel_multi_index(found.situation, SIZES)),
        "path": [way.id for way in schedule(protocol).paths].index(found.path),
        "complete": found.complete,
        "documented": len(found.doses),
    }


def differences(people, today, protocol):
    """Every person and column for which the two roads disagree."""
    many = clear_many(cohort_of(people), date.fromordinal(today), protocol)
    found = []
    for place, person in enumerate(people):
        for column, value in one_by_one(person, today, protocol).items():
            own = getattr(many, column)[place]
            if own != value:
                found.append((place, column, value, int(own)))
    return found
