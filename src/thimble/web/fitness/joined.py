"""Decisions about one worker's fitness, wherever they were made: in cases, and on the worker's own file.

A case belongs to a file of the register as in `web.on_record`: by number, and only under a fitting name.
Where that is in doubt nothing is joined.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from thimble.ledger.entries import Kind
from thimble.ledger.fitness import FitnessDecision, fitness_decisions, in_order
from thimble.people.names import number_key
from thimble.web.context import get_identities, get_people, get_people_identities, get_store
from thimble.web.models import LedgerEntry, PersonEntry
from thimble.web.on_record.finding import on_record

DECIDED = Kind.FITNESS_DECIDED.value


@dataclass(frozen=True, slots=True)
class Joined:
    """Every decision about one worker, the earliest first: the last one holds.

    `person` is the reference of their file, "" where the register has none that is theirs for certain;
    `cases` are those that belong to it.
    """

    decisions: tuple[FitnessDecision, ...]
    person: str
    cases: tuple[str, ...]

    @property
    def holds(self) -> FitnessDecision | None:
        """The decision in force; None where nothing was decided."""
        return self.decisions[-1] if self.decisions else None


def of_case(case: str, now: datetime) -> Joined:
    """What was decided about the worker of a case, in it and elsewhere."""
    found = on_record(case)
    if found is None or found.doubt:
        return Joined(fitness_decisions(get_store().entries(case), now), "", (case,))
    return of_person(found.person.reference, now, also=(case,))


def of_person(person: str, now: datetime, *, also: Iterable[str] = ()) -> Joined:
    """What was decided about somebody of the register, on their file and in their cases.

    `also` are cases that are known to be theirs.
    """
    others = _cases_of([person]).get(person, ())
    return _joined(person, tuple(dict.fromkeys((*also, *others))), now)


def of_people(people: Iterable[str], now: datetime) -> dict[str, Joined]:
    """As `of_person`, of those among many of the register about whom anything was decided."""
    asked = list(people)
    cases, on_file = _cases_of(asked), frozenset(_decided_people())
    decided = [person for person in asked if person in on_file or person in cases]
    return {person: _joined(person, cases.get(person, ()), now) for person in decided}


def _cases_of(people: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """The cases with a decision that belong to these people; who has none is left out.

    Only a case whose worker has the number of one of them is looked at closer.
    """
    known = get_people_identities().some_identities(people)
    numbers = {number_key(who.number): person for person, who in known.items() if who.number}
    cases = _decided_cases() if numbers else []
    workers = get_identities().cases_of_workers() if cases else {}
    found: dict[str, list[str]] = {}
    for case in cases:
        worker = workers.get(case)
        person = numbers.get(number_key(worker.staff_number)) if worker else None
        if person and _file_of(case) == person:
            found.setdefault(person, []).append(case)
    return {person: tuple(of) for person, of in found.items()}


def everybody(now: datetime) -> Iterator[Joined]:
    """Every worker about whom anything was decided, once: each case is looked at once."""
    files: dict[str, list[str]] = {person: [] for person in _decided_people()}
    for case in _decided_cases():
        if person := _file_of(case):
            files.setdefault(person, []).append(case)
        else:
            yield Joined(fitness_decisions(get_store().entries(case), now), "", (case,))
    for person, cases in files.items():
        yield _joined(person, tuple(cases), now)


def _joined(person: str, cases: tuple[str, ...], now: datetime) -> Joined:
    decided = [*fitness_decisions(get_people().entries(person), now)]
    for case in cases:
        decided += fitness_decisions(get_store().entries(case), now)
    return Joined(in_order(decided), person, cases)


def _file_of(case: str) -> str:
    """The reference of the file of a case's worker; "" where none is theirs for certain."""
    found = on_record(case)
    return "" if found is None or found.doubt else found.person.reference


def _decided_cases() -> list[str]:
    """The cases in which anything was ever decided about fitness."""
    rows = LedgerEntry.objects.filter(kind=DECIDED).order_by("case")
    return list(rows.values_list("case", flat=True).distinct())


def _decided_people() -> list[str]:
    """The files on which anything was ever decided about fitness."""
    rows = PersonEntry.objects.filter(kind=DECIDED).order_by("case")
    return list(rows.values_list("case", flat=True).distinct())
