"""What a file answers of an exposure: shown by documents, never assumed."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from people.files import DECLINED, DOSE, ENROLLED, NOW, ONE, RESULT, people, write
from thimble.clinical.vocabulary import vocabulary
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.immunity import offered, shown, years_between

ON = date(2026, 3, 2)


def tetanus(when: str | None, product: str | None = "115") -> tuple[Kind, dict[str, Any]]:
    return Kind.DOSE_RECORDED, {**DOSE, "product": product, "diseases": ["tetanus"], "when": when}


def hepatitis(when: str | None, product: str | None = "43") -> tuple[Kind, dict[str, Any]]:
    return Kind.DOSE_RECORDED, {**DOSE, "product": product, "when": when}


def person(*drafts: tuple[Kind, dict[str, Any]]) -> Person:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED), *drafts)
    return fold(store.entries(ONE), NOW)


def answers(*drafts: tuple[Kind, dict[str, Any]]) -> dict[str, Any]:
    return {each.fact: each.value for each in offered(person(*drafts), ON)}


def test_a_file_without_evidence_answers_nothing() -> None:
    assert answers() == {}
    assert answers((Kind.DECLINED, DECLINED)) == {}


@pytest.mark.parametrize(
    ("count", "value"), [(1, None), (2, None), (3, "three_or_more"), (4, "three_or_more")]
)
def test_three_documented_doses_are_three_and_fewer_are_not_said_to_be_all(
    count: int, value: str | None
) -> None:
    doses = [tetanus(f"{2000 + n}") for n in range(count)]
    assert answers(*doses).get("worker_tetanus_doses") == value


@pytest.mark.parametrize(
    ("when", "value"),
    [
        (("2001-05-02", "2001-05-02", "2002", "2002-07-01"), None),
        (("2001", "2001-05-02", "2002-07-01", "2002"), None),
        (("2001-05", "2001-05-31", "2001-06-01", "2002"), "three_or_more"),
    ],
)
def test_one_dose_that_is_on_record_twice_is_one_dose(
    when: tuple[str, ...], value: str | None
) -> None:
    """Typed from the card and imported from a register: somebody with two doses has not three."""
    assert answers(*map(tetanus, when)).get("worker_tetanus_doses") == value


def test_immunoglobulin_and_a_dose_without_date_or_after_the_exposure_count_in_no_series() -> None:
    two = [tetanus("2001"), tetanus("2002")]
    for third in (tetanus("2003", "13"), tetanus(None), tetanus("2026")):
        assert "worker_tetanus_doses" not in answers(*two, third)
    assert "worker_tetanus_doses" in answers(*two, tetanus("2003", None))
    assert "worker_hbv_last_dose_over_1_year" not in answers(hepatitis("2020-01-01", "30"))


@pytest.mark.parametrize(
    ("when", "years"),
    [
        ("2016-03-02", 10.0),
        ("2016-03-03", 9.99),
        ("2016-03-01", 10.0),
        ("2021-03-02", 5.0),
        ("2021-03-03", 4.99),
        ("2026-03-02", 0.0),
        ("2021-03", None),
        ("2021", None),
    ],
)
def test_years_since_the_last_tetanus_dose_are_those_of_the_calendar(
    when: str, years: float | None
) -> None:
    assert answers(tetanus(when)).get("worker_years_since_tetanus_dose") == years


def test_where_it_is_not_certain_which_dose_was_last_nothing_is_said_of_it() -> None:
    assert "worker_years_since_tetanus_dose" not in answers(tetanus("2020-05-01"), tetanus("2020"))
    found = answers(tetanus("2020-05-01"), tetanus("2019"))
    assert found["worker_years_since_tetanus_dose"] == 5.83


@pytest.mark.parametrize(
    ("when", "value"),
    [
        ("2025-03-02", "yes"),
        ("2025-03-03", "no"),
        ("2025-02", "yes"),
        ("2025-03", None),
        ("2025-04", "no"),
        ("2024", "yes"),
        ("2025", None),
        (None, None),
    ],
)
def test_a_hepatitis_b_dose_a_year_ago_or_more(when: str | None, value: str | None) -> None:
    assert answers(hepatitis(when)).get("worker_hbv_last_dose_over_1_year") == value


@pytest.mark.parametrize(
    ("other", "value"),
    [
        ("2026", None),  # may lie before the exposure or after it
        (None, None),
        ("2026-03-03", "yes"),
        ("2019", "yes"),
        ("2025-10", "no"),
    ],
)
def test_a_dose_that_may_be_the_last_is_not_passed_over(
    other: str | None, value: str | None
) -> None:
    assert (
        answers(hepatitis("2020-05-01"), hepatitis(other)).get("worker_hbv_last_dose_over_1_year")
        == value
    )
    years = answers(tetanus("2020-05-01"), tetanus(other)).get("worker_years_since_tetanus_dose")
    assert years == (5.83 if value == "yes" else None)


def test_a_dose_within_the_year_settles_it_whatever_else_was_given() -> None:
    for other in (None, "2026", "2025"):
        found = answers(hepatitis("2025-10-01"), hepatitis(other))
        assert found["worker_hbv_last_dose_over_1_year"] == "no"


def test_what_is_offered_is_a_fact_of_the_vocabulary_with_a_value_that_it_allows() -> None:
    doses = [tetanus("2001"), tetanus("2002"), tetanus("2003-04-05"), hepatitis("2020-01-01")]
    found = offered(person(*doses), ON)
    assert len(found) == 3
    for each in found:
        vocabulary()[each.fact].check(each.value)
        assert set(each.entries) <= {2, 3, 4, 5}


def test_a_case_shows_hepatitis_b_and_tetanus_and_nothing_else_of_the_file() -> None:
    hiv = {**RESULT, "test": "hiv_ag_ab", "number": None, "word": "negative", "unit": ""}
    mmr = {**DOSE, "product": "03", "diseases": ["measles", "mumps", "rubella"]}
    file = person(
        (Kind.RESULT_RECORDED, hiv),
        (Kind.DOSE_RECORDED, mmr),
        (Kind.RESULT_RECORDED, RESULT),
        tetanus("2019"),
    )
    assert [e.entry for e in shown(file)] == [4, 5]


@given(st.dates(date(1930, 1, 1), date(2026, 1, 1)), st.integers(0, 30_000))
def test_years_never_run_ahead_of_the_calendar(start: date, days: int) -> None:
    """By another road: so many whole anniversaries have passed, and the next has not."""
    end = start + timedelta(days=days)
    years = years_between(start, end)
    whole = int(years)

    def anniversary(n: int) -> date:
        try:
            return date(start.year + n, start.month, start.day)
        except ValueError:
            return date(start.year + n, 2, 28)

    assert anniversary(whole) <= end < anniversary(whole + 1)
    assert years - whole <= (end - anniversary(whole)).days / 365 + 1e-9
