"""The worker's results and what they show, without the source's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.saying import minute
from thimble.clinical.serology import (
    Course,
    Reading,
    Result,
    current,
    negative_at_exposure,
    tables,
)
from thimble.clinical.serology.statement import Marker
from thimble.documents.frame import unconfirmed
from thimble.ledger.results.of_worker import WorkersResults
from thimble.ledger.results.recorded import said_of
from thimble.ledger.situation import Situation

MARKERS: tuple[Marker, ...] = ("hiv", "hbv", "hcv")
PROVISIONAL = "Provisional: not the last word"


@dataclass(frozen=True, slots=True)
class Tested:
    """A result that counts, or waits, or is held: `standing` is "" where it counts."""

    test: str
    taken: str
    result: str
    purpose: str
    standing: str
    entry: str


@dataclass(frozen=True, slots=True)
class Shown:
    """What the tables read since the exposure. `standing` is "" where the reading is final."""

    question: str
    words: str
    standing: str
    next: str
    note: str
    rules: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Stated:
    """A sentence about the worker at the time of the exposure."""

    words: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class AllTested:
    """What the laboratory said of the worker, and what it shows."""

    results: tuple[Tested, ...]
    held: tuple[str, ...]
    shown: tuple[Shown, ...]
    statements: tuple[Stated, ...]


def tested_of(situation: Situation, course: Course, now: datetime, zone: tzinfo) -> AllTested:
    """The worker's results as the statement has them."""
    mine = WorkersResults.of(situation)
    read = mine.since(course, now)
    held = {each.result for each in read.held}
    rows: list[tuple[Result, Tested]] = []
    entries = {one.result: one.entry for one in mine.entries}
    for purpose, drawn in (("At the exposure", mine.baseline), ("Since the exposure", mine.later)):
        # As the tables read them: each purpose by itself.
        counts = current((one.result for one in drawn), now)
        for result in (*counts.settled, *counts.preliminary, *counts.conflicting):
            if result in counts.preliminary:
                stands = "Waits for the final result"
            else:
                stands = "Held for a person" if result in held else ""
            taken = "time not known" if result.taken_at is None else minute(result.taken_at, zone)
            row = Tested(result.name, taken, said_of(result), purpose, stands, str(entries[result]))
            rows.append((result, row))
    rows.sort(key=lambda pair: (pair[0].taken_at is None, pair[0].taken_at or now))
    return AllTested(
        results=tuple(row for _, row in rows),
        held=tuple(
            f"{each.result.name}, {said_of(each.result)}: {each.why}"
            for each in dict.fromkeys(read.held)
        ),
        shown=tuple(_shown(reading) for reading in read.readings),
        statements=tuple(
            Stated(statement.sentence, unconfirmed(statement.because))
            for statement in (
                negative_at_exposure(mine.results, course, marker, now) for marker in MARKERS
            )
        )
        if mine.entries
        else (),
    )


def _shown(reading: Reading) -> Shown:
    return Shown(
        tables().outputs[reading.decision].label,
        reading.words,
        "" if reading.final else PROVISIONAL,
        reading.next_words,
        reading.note,
        "; ".join(f"{reason.rule}: {reason.source}" for reason in reading.because),
        unconfirmed(reading.because),
    )
