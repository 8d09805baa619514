"""Towards the first day by the tables of evidence: what is missing, by when, and never half an answer."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from people.files import DECLINED, DOSE, ENROLLED, GOOD, NOW, ONE, RESULT, people, write
from thimble.clinical.durations import Duration
from thimble.clinical.immunity import JUDGED
from thimble.clinical.readiness import DiseaseState, Need
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.readiness import Asked, readiness

ON = date(2026, 3, 2)
BORN = date(1990, 5, 6)
MMR = ["measles", "mumps", "rubella"]
Draft = tuple[Kind, dict[str, Any]]


def of(*drafts: Draft) -> Person:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED), *drafts)
    return fold(store.entries(ONE), NOW)


def state(disease: str, *drafts: Draft, by: str = "us", born: date | None = BORN) -> DiseaseState:
    asked = Asked((disease,), by, Duration(3, "days"))
    (found,) = readiness(of(*drafts), born, ON, asked).states
    return found


def dose(when: str | None, product: str, *diseases: str) -> Draft:
    return Kind.DOSE_RECORDED, {
        **DOSE,
        "when": when,
        "product": product,
        "diseases": list(diseases),
    }


def result(test: str, word: str | None, when: str | None = "2026-01-05") -> Draft:
    number = 7 if word is None else None
    return Kind.RESULT_RECORDED, {
        **RESULT,
        "test": test,
        "word": word,
        "number": number,
        "when": when,
    }


def test_two_doses_of_mmr_are_four_weeks_and_one_lack_for_three_diseases() -> None:
    found = readiness(of(), BORN, ON, Asked(tuple(MMR), "us", Duration(3, "days")))
    assert [lack.said(ON) for lack in found.lacks] == [
        "First dose of MMR, now.",
        "Second dose of MMR, from Mon 30 Mar 2026.",
    ]
    assert found.ready_on == ON + timedelta(days=28)


def test_the_second_dose_waits_for_the_first() -> None:
    found = state("measles", dose("2026-02-20", "03", *MMR))
    (lack,) = found.lacks
    assert (lack.need, lack.earliest, found.ready_on) == (
        Need.DOSE,
        date(2026, 3, 20),
        date(2026, 3, 20),
    )


def test_an_antibody_is_back_after_the_laboratorys_time_if_it_turns_out_well() -> None:
    found = state("varicella")
    (lack,) = found.lacks
    assert (lack.need, lack.item) == (Need.TEST, "varicella_igg")
    assert found.ready_on == ON + timedelta(days=3)
    assert found.provided == "varicella IgG is positive"


def test_a_test_for_tuberculosis_has_to_be_negative_and_a_film_normal() -> None:
    assert state("tuberculosis").provided == "IGRA is negative"
    known = result("igra", "positive"), result("tb_symptoms", "negative")
    assert state("tuberculosis", *known).provided == "chest X-ray is normal"


def test_no_day_follows_from_a_positive_test_that_is_repeated() -> None:
    """Two results that differ are for the physician: that the second is negative makes nobody ready."""
    known = (
        result("igra", "positive"),
        result("tb_symptoms", "negative"),
        result("tb_risk", "negative"),
    )
    found = state("tuberculosis", *known)
    assert [(lack.need, lack.item, lack.recommended) for lack in found.lacks] == [
        (Need.TEST, "igra", ON)
    ]
    assert (found.ready_on, found.provided) == (None, "")
    assert "depends on the test" in found.open
    assert (
        state("tuberculosis", *known, result("igra", "negative", "2026-02-01")).satisfied is False
    )


@pytest.mark.parametrize(
    ("disease", "drafts", "need", "why"),
    [
        ("measles", (dose(None, "03", *MMR), dose(None, "03", *MMR)), Need.RECORD, "days or products"),
        ("measles", (result("measles_igg", None),), Need.RECORD, "laboratory's word"),
        ("varicella", (result("varicella_igg", "positive"), result("varicella_igg", "negative")),
         Need.PHYSICIAN, "physician decides"),
        ("measles", ((Kind.DECLINED, {**DECLINED, "disease": "measles"}),), Need.RECORD,
         "offer stands"),
        ("measles", ((Kind.CONTRAINDICATED, {**GOOD[Kind.CONTRAINDICATED], "disease": "measles",
                                             "until": None}),), Need.PHYSICIAN, "physician"),
    ],
)  # fmt: skip
def test_where_no_day_can_be_said_the_reason_is(
    disease: str, drafts: tuple[Draft, ...], need: Need, why: str
) -> None:
    found = state(disease, *drafts)
    assert found.ready_on is None
    assert why in found.open
    assert [lack.need for lack in found.lacks] == [need]


def test_what_is_satisfied_or_not_due_lacks_nothing() -> None:
    assert state("measles", result("measles_igg", "positive")).satisfied is True
    on = Asked(("influenza",), "us", Duration(3, "days"))
    (found,) = readiness(of(), BORN, date(2026, 5, 1), on).states
    assert (found.satisfied, found.lacks) == (True, ())


def test_without_tables_evidence_is_shown_as_not_judged() -> None:
    assert state("measles", result("measles_igg", "positive"), by="xx").satisfied is None


DRAFTS = st.lists(
    st.one_of(
        st.builds(
            dose,
            st.sampled_from([None, "1991", "2020-01-01", "2026-02-20"]),
            st.sampled_from(["03", "21", "115", "88", "19"]),
            st.sampled_from([*MMR, "varicella", "pertussis", "influenza", "tuberculosis"]),
        ),
        st.builds(
            result,
            st.sampled_from(["measles_igg", "varicella_igg", "igra", "tuberculin", "tb_risk",
                             "tb_symptoms", "chest_x_ray"]),
            st.sampled_from(["positive", "negative", "indeterminate", None]),
            st.sampled_from([None, "2024-01-01", "2026-01-05"]),
        ),
    ),
    max_size=4,
)  # fmt: skip


@settings(max_examples=120, deadline=None)
@given(DRAFTS, st.sampled_from(["us", "uk"]), st.sampled_from([BORN, None]))
def test_no_file_makes_half_an_answer_and_no_day_lies_behind(drafts, by, born) -> None:
    """A state that is not met has a day or says why not (`DiseaseState` refuses anything else)."""
    found = readiness(of(*drafts), born, ON, Asked(JUDGED, by, Duration(3, "days")))
    for each in found.states:
        assert each.words
        assert each.ready_on is None or each.ready_on >= ON
        for lack in each.lacks:
            assert lack.recommended is None or lack.recommended >= ON
            assert (
                lack.earliest is None
                or lack.recommended is None
                or lack.earliest <= lack.recommended
            )
