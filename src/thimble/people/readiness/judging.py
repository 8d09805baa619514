"""One judge a disease, and the diseases of a house together.

Those that the tables of evidence judge (`people.judged`) come with them. To have another disease judged,
write a `Judge` and add it to `JUDGES`; until then what is documented of it is shown as not judged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import date

from thimble.clinical.diseases import DISEASES
from thimble.clinical.immunity import Judgement
from thimble.clinical.readiness import (
    DiseaseState,
    Lack,
    Readiness,
    not_judged,
    nothing_documented,
    together,
)
from thimble.ledger.fitness import FitnessDecision
from thimble.people.counselled import titre_since
from thimble.people.fold import Person
from thimble.people.hepatitis_b import DISEASE as HEPATITIS_B
from thimble.people.immunity import about
from thimble.people.judged import judged
from thimble.people.readiness.asked import Asked
from thimble.people.readiness.by_evidence import state_of
from thimble.people.readiness.decided import as_decided
from thimble.people.readiness.hepatitis_b import hepatitis_b_state, hepatitis_b_steps
from thimble.people.readiness.procedures import (
    HBSAG,
    as_if,
    found_fit,
    one_sample,
    other_work_may_begin,
    procedure_states,
)

Judge = Callable[[Person, date | None, date, Asked], DiseaseState]
"""Person, birth date, day, what is asked: the state on that day."""

JUDGES: Mapping[str, Judge] = {
    "hepatitis_b": lambda person, born, on, asked: hepatitis_b_state(
        person, born, on, asked.protocol, asked.turnaround
    ),
}
"""Disease to its judge."""


def readiness(
    person: Person,
    born: date | None,
    on: date,
    asked: Asked,
    decision: FitnessDecision | None = None,
) -> Readiness:
    """Where somebody stands on a day towards their first day, by what is documented and was decided.

    Args:
        decision: the one about the person's fitness that is in force, wherever it was made.
    """
    whole = _documented(person, born, on, asked, decision)
    return as_decided(whole, decision, on, person.employment.exposure_prone)


def _documented(
    person: Person, born: date | None, on: date, asked: Asked, decision: FitnessDecision | None
) -> Readiness:
    told = {disease for evidence in person.evidence for disease in about(evidence)}
    found = judged(person, born, on, asked.protocol, asked.diseases)
    states = tuple(
        _state(person, born, on, asked, disease, told, found) for disease in asked.diseases
    )
    fit = found_fit(decision, on, person.employment.exposure_prone)
    if fit and decision is not None and not titre_since(person, decision.at):
        # Whether a non-responder may work is the physician's, who decided it.
        states = tuple(
            replace(state, satisfied=True)
            if state.disease == HEPATITIS_B and state.satisfied is None
            else state
            for state in states
        )
    start = person.employment.starts_on
    procedures = procedure_states(person, on, asked, decision)
    if not procedures:
        return together(states, start)
    without = None
    if other_work_may_begin(person, on, asked):
        without = together(_of_other_work(person, born, on, asked, states), start)
    one = one_sample(lack for state in (*states, *procedures) for lack in state.lacks)
    return together(_with(states, one), start, _with(procedures, one), without)


def _with(states: Iterable[DiseaseState], instead: Mapping[Lack, Lack]) -> list[DiseaseState]:
    return [
        replace(state, lacks=tuple(instead.get(lack, lack) for lack in state.lacks))
        for state in states
    ]


def steps(person: Person, born: date | None, on: date, asked: Asked) -> tuple[Lack, ...]:
    """What is to be done by a day and what comes next, without the day by which everything will be."""
    found = judged(person, born, on, asked.protocol, asked.diseases).values()
    states = [state_of(each, on, asked.protocol, asked.turnaround) for each in found]
    lacks = [lack for state in states for lack in state.lacks]
    if HEPATITIS_B in asked.diseases:
        lacks += hepatitis_b_steps(person, born, on, asked.protocol, asked.turnaround)
    before = procedure_states(person, on, asked)
    lacks += [lack for state in before for lack in state.lacks]
    one = one_sample(lacks)
    return tuple(one.get(lack, lack) for lack in lacks)


def _of_other_work(
    person: Person, born: date | None, on: date, asked: Asked, states: tuple[DiseaseState, ...]
) -> list[DiseaseState]:
    """The states for work without exposure-prone procedures: before these a series asks for HBsAg."""
    other = as_if(person, "no")
    return [
        JUDGES[state.disease](other, born, on, asked)
        if any(lack.item == HBSAG for lack in state.lacks)
        else state
        for state in states
    ]


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
