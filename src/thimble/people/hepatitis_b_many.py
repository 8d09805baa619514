"""What the clearance tables say of hepatitis B for many people at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from thimble.clinical.series import Evidence, Person
from thimble.clinical.series.cohort import clear_many, gather
from thimble.clinical.series.deciding import rules
from thimble.people import fold
from thimble.people.hepatitis_b import before_birth, evidence_of, subject


@dataclass(frozen=True, slots=True)
class HepatitisBSaid:
    """Ids of the tables and their words: `due` as they give it, `dose_due` by the schedule alone."""

    immunity: str
    words: str
    next_step: str
    step_words: str
    complete: bool
    due: date | None
    dose_due: date | None


def hepatitis_b_of(
    people: Iterable[fold.Person], births: Mapping[str, date | None], on: date, protocol: str
) -> dict[str, HepatitisBSaid]:
    """The answer for each person, by reference; of who has no birth date none, and none at all where the
    protocol has no clearance tables. Nor is there one of whom something is documented before the birth:
    whether its day or the birth date is wrong is not known, and it may be a contraindication."""
    asked: list[str] = []

    def evidence() -> Iterator[tuple[Person, list[Evidence]]]:
        for person in people:
            born = births.get(person.reference)
            if born is not None and born <= on:
                told, _ = evidence_of(person, on)
                if not before_birth(told, born):
                    asked.append(person.reference)
                    yield subject(person, born, on), told

    try:
        outputs = rules(protocol).outputs
        answers = clear_many(gather(evidence(), on), on, protocol)
    except LookupError:
        return {}
    states, steps = outputs["immunity"].labels or {}, outputs["next_step"].labels or {}
    found = {}
    for at, reference in enumerate(asked):
        series, _, _, recommended, immunity, next_step, due = map(str, answers.row(at))
        found[reference] = HepatitisBSaid(
            immunity,
            states.get(immunity, immunity),
            next_step,
            steps.get(next_step, next_step),
            series in ("complete", "two_complete"),
            _day(due),
            _day(recommended),
        )
    return found


def _day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None
