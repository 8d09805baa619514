"""The published cases of hepatitis B series, one by one.

Source: Centers for Disease Control and Prevention, Clinical Decision Support for Immunization, test cases
"healthy childhood and adult" 4.45 and "underlying conditions" 4.6, hepatitis B. A work of the United States
government; the facts of each case (dates, products, verdicts, next dose) are copied to
`hepatitis_b_series.csv`. Past-due dates are not carried over: Thimble does not give any.
"""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest

from thimble.clinical.series import Contraindicated, DoseGiven, PartialDate, Person, clear
from thimble.clinical.series.walking import Verdict

with Path(__file__).with_suffix("").with_name("hepatitis_b_series.csv").open(newline="") as file:
    CASES = list(csv.DictReader(file))
WORDS = {Verdict.COUNTS: "valid", Verdict.EXTRA: "extraneous"}


def answer(case):
    evidence = [
        DoseGiven(cvx, PartialDate.parse(day))
        for day, cvx, _ in (given.split("/") for given in case["doses"].split())
    ]
    on = date.fromisoformat(case["on"])
    if case["contraindicated"] == "yes":
        evidence.append(Contraindicated(PartialDate.of(on)))
    person = Person(date.fromisoformat(case["born"]), dialysis=case["dialysis"] == "yes")
    return clear(person, evidence, on)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["case"])
def test_each_dose_the_state_and_the_next_dose_are_as_published(case):
    said = answer(case)
    verdicts = [given.split("/")[2] for given in case["doses"].split()]
    planned = (said.next_dose_earliest, said.next_dose_recommended)

    assert [WORDS.get(dose.verdict, "not_valid") for dose in said.doses] == verdicts
    assert said.valid_doses == verdicts.count("valid")
    begun = "incomplete" if verdicts else "none"
    assert said.series == ("complete" if case["complete"] == "yes" else begun)
    if case["complete"] == "no":
        assert [day.isoformat() if day else "" for day in planned] == [
            case["next_earliest"],
            case["next_recommended"],
        ]


def test_all_cases_are_there():
    assert len(CASES) == 106
    assert sum(case["contraindicated"] == "yes" for case in CASES) == 2
