"""What diseases say, put together: the last of them decides, and an unknown is neither yes nor no."""

from __future__ import annotations

from datetime import date

import pytest

from thimble.clinical.readiness import (
    DiseaseState,
    Lack,
    Need,
    Status,
    not_judged,
    nothing_documented,
    ordinal,
    together,
)

TODAY, START = date(2026, 11, 27), date(2027, 2, 1)
MET = DiseaseState("measles", True, "Immune")


def lacking(ready_on, disease="hepatitis_b", soonest=None, provided=""):
    lack = Lack(Need.DOSE, "Third dose", "vaccine", TODAY, ready_on)
    return DiseaseState(
        disease, False, "2 doses count", (lack,), ready_on, soonest, provided=provided
    )


@pytest.mark.parametrize(
    ("states", "status", "ready_on"),
    [
        ([MET], Status.READY, None),
        ([], Status.READY, None),
        ([MET, not_judged("mumps")], Status.TO_JUDGE, None),
        ([MET, lacking(START)], Status.ON_COURSE, START),
        ([lacking(START), lacking(date(2027, 2, 2), "mumps")], Status.LATE, date(2027, 2, 2)),
        ([lacking(START), nothing_documented("rubella", "Rubella")], Status.OPEN, None),
        ([lacking(START), not_judged("mumps")], Status.ON_COURSE, START),
    ],
)
def test_the_last_of_what_is_missing_decides(states, status, ready_on):
    whole = together(states, START)

    assert (whole.status, whole.ready_on) == (status, ready_on)


def test_without_a_first_day_nobody_is_on_course():
    assert together([lacking(START)], None).status is Status.LATE


def test_the_sentence_says_what_has_to_turn_out_well():
    provided = "the titre is 10 or more"
    whole = together(
        [lacking(START, provided=provided), lacking(TODAY, "mumps", TODAY, provided)], START
    )

    assert whole.said() == "Ready by Mon 1 Feb 2027 if the titre is 10 or more."
    assert whole.soonest == START


def test_what_is_missing_is_told_in_the_order_of_its_days():
    whole = together(
        [nothing_documented("rubella", "Rubella"), lacking(START), lacking(TODAY, "mumps")], START
    )

    assert [lack.said(TODAY) for lack in whole.lacks] == [
        "Third dose, now.",
        "Third dose, from Mon 1 Feb 2027.",
        "A record of vaccination or immunity: rubella.",
    ]
    assert whole.open == ("Nothing is documented for rubella.",)


@pytest.mark.parametrize(
    "fields",
    [
        {"satisfied": False},
        {"satisfied": False, "ready_on": START, "open": "Declined."},
        {"satisfied": True, "ready_on": START},
        {"satisfied": None, "open": "Declined."},
        {"satisfied": True, "lacks": (Lack(Need.RECORD, "A record"),)},
    ],
)
def test_half_an_answer_is_refused(fields):
    with pytest.raises(ValueError, match="hepatitis_b"):
        DiseaseState("hepatitis_b", words="", **fields)


def test_ordinals_begin_a_sentence():
    assert [ordinal(n) for n in (1, 6, 7)] == ["First", "Sixth", "Dose 7:"]


def test_one_dose_against_three_diseases_is_one_thing_to_do():
    states = [lacking(START, disease) for disease in ("measles", "mumps", "rubella")]

    assert len(together(states, START).lacks) == 1
