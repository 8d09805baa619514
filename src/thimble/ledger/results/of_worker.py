"""The worker's results of a case, each for what it was drawn for: at the exposure, or since."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from thimble.clinical.serology import Read, current, read_follow_up, read_worker_baseline
from thimble.clinical.serology.course import Course
from thimble.clinical.serology.results import Result
from thimble.ledger.results.recorded import BASELINE, HEPATITIS_SUSPECTED, WEAK_IMMUNITY
from thimble.ledger.situation import LabResult, Situation


@dataclass(frozen=True, slots=True)
class WorkersResults:
    """Every result of the worker as the ledger holds it, in its order."""

    entries: tuple[LabResult, ...]

    @classmethod
    def of(cls, situation: Situation) -> WorkersResults:
        """Those among the results of a case."""
        return cls(tuple(one for one in situation.results if one.result.of == "worker"))

    @property
    def results(self) -> list[Result]:
        return _results(self.entries)

    @property
    def baseline(self) -> tuple[LabResult, ...]:
        """Drawn at the exposure."""
        return tuple(one for one in self.entries if one.drawn_for == BASELINE)

    @property
    def later(self) -> tuple[LabResult, ...]:
        """Drawn since the exposure."""
        return tuple(one for one in self.entries if one.drawn_for != BASELINE)

    def at_exposure(self, course: Course, now: datetime) -> Read:
        """What is read in the results of the exposure."""
        return read_worker_baseline(_results(self.baseline), course, now)

    def since(self, course: Course, now: datetime) -> Read:
        """What is read in the results since the exposure, against those of the exposure."""
        return read_follow_up(_results(self.baseline), _results(self.later), course, now)

    def counting(self, now: datetime) -> tuple[tuple[Result, ...], tuple[Result, ...]]:
        """The results that count of those at the exposure, and of those since: each judged by itself."""
        return (
            current(_results(self.baseline), now).settled,
            current(_results(self.later), now).settled,
        )


def _results(entries: Iterable[LabResult]) -> list[Result]:
    return [one.result for one in entries]


def waits_for(situation: Situation, course: Course, now: datetime) -> tuple[str, ...]:
    """The facts about the worker that are not known and could change what the results show."""
    mine = WorkersResults.of(situation)

    def shown(tried: Course) -> tuple[tuple[str, str | None, bool], ...]:
        readings = mine.since(tried, now).readings
        return tuple((each.decision, each.value, each.final) for each in readings)

    weak, ill = course.weak_immunity_or_liver_disease, course.hepatitis_suspected
    answers = (True, False, None)
    tried = {
        (one, two): shown(
            replace(course, weak_immunity_or_liver_disease=one, hepatitis_suspected=two)
        )
        for one in (answers if weak is None else (weak,))
        for two in (answers if ill is None else (ill,))
    }
    # An answer matters if, with some answer to the other question, it changes what is shown.
    found = []
    if weak is None and any(tried[one, two] != tried[None, two] for one, two in tried):
        found.append(WEAK_IMMUNITY)
    if ill is None and any(tried[one, two] != tried[one, None] for one, two in tried):
        found.append(HEPATITIS_SUSPECTED)
    return tuple(found)
