"""Diseases other than hepatitis B towards the first day, by the tables of evidence."""

from __future__ import annotations

from datetime import date

from thimble.clinical.diseases import DISEASES
from thimble.clinical.durations import Duration
from thimble.clinical.immunity import Judgement, rules
from thimble.clinical.readiness import DiseaseState, Lack, Need, ordinal
from thimble.clinical.saying import inside
from thimble.clinical.series.calendar_days import step
from thimble.people.choices import TESTS

TESTED = {
    "test_or_dose": "antibody",
    "antibody_test": "antibody",
    "verify_history": "antibody",
    "tb_test": "igra",
    "second_skin_test": "tuberculin",
    "chest_film": "chest_x_ray",
}
"""Steps that a test may settle → the test; an antibody is of the disease."""
WELL = {"antibody": "is positive", "chest_x_ray": "is normal"}
ASKED_AT_ONCE = frozenset({"ask_risk_and_symptoms", "ask_symptoms"})
OPEN = {
    "find_days": "days or products of what is documented are missing",
    "read_number": "the number needs the laboratory's word",
    "ask_contact": "nobody has written down whether the work is with infants or pregnant women",
    "birth_date": "the birth date is missing",
    "offer_again": "it was declined; the offer stands",
    "refer": "the physician decides",
}
"""Steps that no day follows from, and why."""


def state_of(found: Judgement, on: date, protocol: str, turnaround: Duration) -> DiseaseState:
    """A judgement in the shape in which readiness is told."""
    disease, name = found.disease, DISEASES[found.disease]
    if found.satisfied:
        return DiseaseState(disease, True, found.words, confirmed=found.confirmed)
    if found.next_step == "dose":
        lacks = _doses(found, on, protocol)
        days = [lack.recommended for lack in lacks if lack.recommended]
        return _not_met(found, lacks, days[-1])
    day = found.recommended or on
    if found.next_step in ASKED_AT_ONCE:
        lack = Lack(Need.RECORD, found.step_words, earliest=day, recommended=day)
        return _not_met(found, (lack,), day, "nothing is found")
    if found.next_step == "repeat_test":
        # However it turns out, what comes next is not known before.
        lack = Lack(Need.TEST, f"{name}: {inside(found.step_words)}", "igra", day, day)
        why = f"{name}: what comes next depends on the test."
        return DiseaseState(
            disease, False, found.words, (lack,), open=why, confirmed=found.confirmed
        )
    if found.next_step in TESTED:
        kind = TESTED[found.next_step]
        test = f"{disease}_igg" if kind == "antibody" else kind
        lack = Lack(Need.TEST, f"{name}: {inside(found.step_words)}", test, day, day)
        ready = date.fromordinal(step(day.toordinal(), turnaround))
        well = f"{inside(TESTS[test][1])} {WELL.get(kind, 'is negative')}"
        return _not_met(found, (lack,), ready, well)
    need = Need.PHYSICIAN if found.next_step == "refer" else Need.RECORD
    return DiseaseState(
        disease,
        False,
        found.words,
        (Lack(need, f"{name}: {inside(found.step_words)}"),),
        open=f"{name}: {OPEN[found.next_step]}.",
        confirmed=found.confirmed,
    )


def _not_met(
    found: Judgement, lacks: tuple[Lack, ...], ready: date, provided: str = ""
) -> DiseaseState:
    return DiseaseState(
        found.disease,
        False,
        found.words,
        lacks,
        ready,
        ready,
        provided,
        confirmed=found.confirmed,
    )


def _doses(found: Judgement, on: date, protocol: str) -> tuple[Lack, ...]:
    """The doses that complete it, each as early after the one before as it counts."""
    rule = rules(protocol).doses[found.disease]
    day = found.recommended or on
    lacks = []
    for number in range(rule.needed - found.doses_missing, rule.needed):
        which = "One" if rule.apart is None else ordinal(number + 1)
        lacks.append(Lack(Need.DOSE, f"{which} dose of {rule.vaccine}", rule.vaccine, day, day))
        if rule.apart is not None:
            day = date.fromordinal(step(day.toordinal(), rule.apart))
    return tuple(lacks)
