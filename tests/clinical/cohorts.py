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


GAPS = (1, 6, 7, 13, 14, 23, 24, 27, 28, 51, 52, 55, 56, 107, 108, 111, 112, 115, 116, 118, 119, 122, 123,
        180, 360, 361, 362, 365, 366)  # fmt: skip
"""Days between doses around what the schedules ask for: weeks, four months, a year, less four days."""
REGULAR = (30, 60, 150)
"""Days that many people of a workforce have between their doses."""
AGES = (28, 168, 11 * 365, 15.67 * 365.25, 16 * 365.25, 18 * 365.25, 20 * 365.25, 40 * 365)
"""Days of age around the limits of products and targets."""


def near_the_limits(seed, count):
    """People whose doses lie about where the rules change, some known to the month; results after them."""
    rng = np.random.default_rng(seed)
    today = date(2026, 3, 2).toordinal()
    people = []
    for _ in range(count):
        at = today - int(rng.integers(2_000, 7_000))
        born = at - max(int(rng.choice(AGES)) + int(rng.integers(-8, 9)), 0)
        favourite = int(
            rng.choice([PRODUCTS.index(p) for p in ("43", "189", "104", "08", "unknown")])
        )
        rows, gaps = [], REGULAR if rng.random() < 0.4 else GAPS
        for n in range(int(rng.choice(8, p=[0.04, 0.1, 0.2, 0.3, 0.2, 0.08, 0.05, 0.03]))):
            at += int(rng.choice(gaps)) if n else 0
            other = rng.choice([int(rng.integers(0, len(PRODUCTS))), PRODUCTS.index("189")])
            product = int(other) if rng.random() < 0.1 else favourite
            rows.append((DOSE, product, at, at + int(rng.choice([0, 27], p=[0.95, 0.05]))))
        for _ in range(int(rng.integers(0, 3))):
            day = at + int(rng.choice([-30, 0, 27, 28, 59, 60, 61, 62, 400]))
            rows.append((TITRE, int(rng.integers(0, 9)), max(day, born), max(day, born)))
        for _ in range(int(rng.integers(0, 3))):
            day = max(at + int(rng.choice([-20, -18, 0, 10, 20])), born)
            state = int(rng.choice([1, 1, 1, 2, 3]))
            rows.append((MARKER + int(rng.integers(0, 4)), state, day, day))
        people.append((born, bool(rng.random() < 0.3), int(rng.integers(0, 3)), rows))
    return people


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
