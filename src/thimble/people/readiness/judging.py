"""One judge a disease, and the diseases of a house together.

Those that the tables of evidence judge (`people.judged`) come with them. To have another disease judged,
write a `Judge` and add it to `JUDGES`; until then what is documented of it is shown as not judged.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from thimble.clinical.diseases import DISEASES
from thimble.clinical.durations import Duration
from thimble.clinical.immunity import Judgement
from thimble.clinical.readiness import (
    DiseaseState,
    Readiness,
    not_judged,
    nothing_documented,
    together,
)
from thimble.people.fold import Person
from thimble.people.immunity import about
from thimble.people.judged import judged
from thimble.people.readiness.by_evidence import state_of
from thimble.people.readiness.hepatitis_b import hepatitis_b_state


@dataclass(frozen=True, slots=True)
class Asked:
    """What a house asks for: diseases in its order, the protocol they are judged by, and how long its
    laboratory takes from the draw to the result."""

    diseases: tuple[str, ...]
    protocol: str
    turnaround: Duration


Judge = Callable[[Person, date | None, date, Asked], DiseaseState]
"""Person, birth date, day, what is asked: the state on that day."""

JUDGES: Mapping[str, Judge] = {
    "hepatitis_b": lambda person, born, on, asked: hepatitis_b_state(
        person, born, on, asked.protocol, asked.turnaround
    ),
}
"""Disease to its judge."""


def readiness(person: Person, born: date | None, on: date, asked: Asked) -> Readiness:
    """Where somebody stands on a day towards their first day, by what is documented."""
    told = {disease for evidence in person.evidence for disease in about(evidence)}
    found = judged(person, born, on, asked.protocol, asked.diseases)
    return together(
        [_state(person, born, on, asked, disease, told, found) for disease in asked.diseases],
        person.employment.starts_on,
    )


def _state(
    person: Person,
    born: date | None,
    on: date,
    asked: Asked,
    disease: str,
    told: set[str],
    found: Mapping[str, Judgement],
) -> DiseaseState:
    judge = JUDGES.get(disease)
    if judge is not None:
        return judge(person, born, on, asked)
    if disease in found:
        return state_of(found[disease], on, asked.protocol, asked.turnaround)
    return (
        not_judged(disease) if disease in told else nothing_documented(disease, DISEASES[disease])
    )
