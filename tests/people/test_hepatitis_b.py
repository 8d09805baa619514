"""A file's evidence as the clearance tables take it; the tables themselves are tried elsewhere."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from people.files import DECLINED, DOSE, ENROLLED, GOOD, NOW, ONE, RESULT, people, write
from thimble.clinical.series import (
    Contraindicated,
    Declined,
    DoseGiven,
    MarkerResult,
    PartialDate,
)
from thimble.clinical.serology import Analyte
from thimble.clinical.serology.results import Quantity
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.hepatitis_b import WEAK_IMMUNITY, evidence_of, hepatitis_b, subject
from thimble.people.hepatitis_b_many import hepatitis_b_of
from thimble.people.immunity import about, offered_by_series
from thimble.web.people.hepatitis import state_of

ON = date(2026, 3, 2)
BORN = date(1999, 2, 28)


def person(*drafts: tuple[Kind, dict[str, Any]]) -> Person:
    store = people()
    write(store, (Kind.ENROLLED, ENROLLED), *drafts)
    return fold(store.entries(ONE), NOW)


def dose(
    when: str | None, product: str | None = "43", *diseases: str
) -> tuple[Kind, dict[str, Any]]:
    against = list(diseases) or ["hepatitis_b"]
    return Kind.DOSE_RECORDED, {**DOSE, "when": when, "product": product, "diseases": against}


def titre(when: str, number: float, sign: str = "=") -> tuple[Kind, dict[str, Any]]:
    return Kind.RESULT_RECORDED, {**RESULT, "when": when, "number": number, "comparator": sign}


SERIES = (dose("2019-02-04"), dose("2019-03-07"), dose("2019-08-11"))


def test_evidence_keeps_its_dates_as_they_are_known_and_nothing_else_is_taken() -> None:
    contraindicated = GOOD[Kind.CONTRAINDICATED]
    told, undated = evidence_of(
        person(
            dose("2019-03"),
            dose("2020", "110", "hepatitis_b", "pertussis"),
            dose(None),
            dose("2019", "03", "measles"),
            titre("2019-11-02", 10, "<"),
            (Kind.RESULT_RECORDED, {**RESULT, "test": "measles_igg"}),
            (Kind.DECLINED, DECLINED),
            (Kind.DECLINED, {**DECLINED, "disease": "influenza"}),
            (Kind.CONTRAINDICATED, {**contraindicated, "on": None}),
            (Kind.CONTRAINDICATED, {**contraindicated, "until": "2025"}),
            (Kind.CONTRAINDICATED, {**contraindicated, "disease": "influenza"}),
            dose("2027"),
        ),
        ON,
    )
    assert told == [
        DoseGiven("43", PartialDate(2019, 3)),
        DoseGiven("110", PartialDate(2020)),
        MarkerResult(
            Analyte.ANTI_HBS, PartialDate(2019, 11, 2), None, Quantity(10, "m[IU]/mL", "<")
        ),
        Declined(PartialDate(2026, 3, 1)),
        # Found, but nobody wrote when: it holds from when it was written down.
        Contraindicated(PartialDate(2026, 3, 2)),
    ]
    assert undated == 1


@pytest.mark.parametrize(
    ("drafts", "series", "immunity", "facts"),
    [
        # hbv.md rows P-1, P-2, P-7a: read in "Ask the Experts: hepatitis B", 21 July 2023.
        (
            (*SERIES, titre("2019-10-02", 312)),
            "complete",
            "immune",
            {"worker_hbv_series": "one_complete", "worker_hbv_response": "responder"},
        ),
        ((*SERIES,), "complete", "not_known", {"worker_hbv_series": "one_complete"}),
        ((*SERIES[:2], titre("2019-05-02", 312)), "incomplete", "not_known", {}),
        ((), "none", "not_known", {}),
        (
            (*SERIES, titre("2019-10-02", 10, "<")),
            "complete",
            "not_immune",
            {"worker_hbv_series": "one_complete", "worker_hbv_response": "non_responder"},
        ),
    ],
)
def test_what_the_tables_say_is_offered_to_a_case_only_where_it_is_complete(
    drafts: tuple[Any, ...], series: str, immunity: str, facts: dict[str, str]
) -> None:
    held = person(*drafts)
    found = hepatitis_b(held, BORN, ON, "us")
    assert found is not None
    assert (found.cleared.series, found.cleared.immunity) == (series, immunity)
    offered = offered_by_series(held, found.cleared)
    assert {each.fact: each.value for each in offered} == facts


def test_without_a_birth_date_or_tables_there_is_no_answer_rather_than_a_guess() -> None:
    held = person(*SERIES)
    assert hepatitis_b(held, None, ON, "us") is None
    assert hepatitis_b(held, BORN, ON, "nowhere") is None
    assert hepatitis_b(held, date(2020, 1, 1), ON, "us") is None
    assert hepatitis_b(held, BORN, ON, "uk") is not None


def test_a_contraindication_without_a_day_holds_also_while_the_calendar_of_the_site_is_behind() -> (
    None
):
    """West of Greenwich it is still yesterday when it is written down in the evening."""
    undated = person(
        (Kind.CONTRAINDICATED, {**GOOD[Kind.CONTRAINDICATED], "on": None, "until": None})
    )
    yesterday = NOW.date() - timedelta(days=1)

    assert evidence_of(undated, yesterday) == ([Contraindicated(PartialDate.of(yesterday))], 0)
    answer = hepatitis_b(undated, BORN, yesterday, "us")
    assert answer is not None
    assert answer.cleared.next_step == "refer"


@pytest.mark.parametrize(
    ("until", "stands"), [("2026-03-01", False), ("2026-03-02", True), ("2026-03", True)]
)
def test_a_contraindication_stands_to_the_end_of_its_last_day(until: str, stands: bool) -> None:
    body = {**GOOD[Kind.CONTRAINDICATED], "on": "2026-01-05", "until": until}
    answer = hepatitis_b(person((Kind.CONTRAINDICATED, body)), BORN, ON, "us")
    assert answer is not None
    assert (answer.cleared.next_step == "refer") is stands


def test_a_test_that_was_declined_is_no_refusal_of_vaccine() -> None:
    answer = hepatitis_b(person((Kind.DECLINED, {**DECLINED, "what": "test"})), BORN, ON, "us")
    assert answer is not None
    assert answer.cleared.next_step == "dose"


@pytest.mark.parametrize(
    ("on", "series"), [(NOW.date(), "complete"), (date(2026, 1, 5), "incomplete")]
)
def test_a_year_written_down_after_an_exposure_is_not_taken_to_lie_before_it(
    on: date, series: str
) -> None:
    late = person(dose("2019-02-04"), dose("2019-03-07"), dose("2026"))
    answer = hepatitis_b(late, BORN, on, "us")

    assert answer is not None
    assert (answer.cleared.series, answer.undated) == (
        series,
        int(series == "incomplete"),
    )


def marker(test: str, word: str | None, when: str | None) -> tuple[Kind, dict[str, Any]]:
    body = {"test": test, "word": word, "when": when, "number": None, "unit": ""}
    return Kind.RESULT_RECORDED, {**RESULT, **body}


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (marker("hbsag", "positive", None), ("not_known", "refer", 0)),
        (marker("anti_hbc_total", "positive", None), ("immune", "none", 0)),
        (marker("hbsag", "indeterminate", None), ("immune", "none", 1)),
        (marker("hbsag", "negative", None), ("immune", "none", 1)),
    ],
)
def test_an_antigen_found_on_a_day_that_nobody_knows_is_not_passed_over(
    found: tuple[Kind, dict[str, Any]], expected: tuple[str, str, int]
) -> None:
    """A dose at birth explains it as little as a negative result of a later day undoes it."""
    born = date(2001, 3, 1)
    panel = [marker(test, "negative", "2020-02-03") for test in ("hbsag", "anti_hbc_total")]
    course = [dose("2001-03-01", "08"), dose("2001-04-01", "08"), dose("2001-09-01", "08")]
    held = person(*course, titre("2020-02-03", 80), *panel, found)
    answer = hepatitis_b(held, born, ON, "us")

    assert answer is not None
    got = (answer.cleared.immunity, answer.cleared.next_step, answer.undated)
    assert got == expected
    many = hepatitis_b_of([held], {held.reference: born}, ON, "us")[held.reference]
    assert (many.immunity, many.next_step) == expected[:2]


def test_a_result_without_a_day_written_down_after_an_exposure_may_be_of_a_later_day() -> None:
    late = person(*SERIES, marker("hbsag", "positive", None))

    assert evidence_of(late, date(2026, 1, 5))[1] == 1


@pytest.mark.parametrize(
    ("tests", "open_"), [((), True), (("hbsag",), True), (("hbsag", "anti_hbc_total"), False)]
)
def test_a_past_hepatitis_b_is_told_until_a_panel_shows_what_is_left_of_it(
    tests: tuple[str, ...], open_: bool
) -> None:
    past = {"disease": "hepatitis_b", "basis": "laboratory", "when": "2010", "text": ""}
    panel = [marker(test, "negative", "2020-02-03") for test in tests]
    held = person(*SERIES, titre("2019-10-02", 80), (Kind.HISTORY_RECORDED, past), *panel)
    answer = hepatitis_b(held, BORN, ON, "us")
    assert answer is not None
    assert answer.past is open_
    without = hepatitis_b(person(*SERIES), BORN, ON, "us")
    assert without is not None
    assert not without.past
    state = state_of(held, BORN, ON, "us")
    assert state is not None
    assert ("A past hepatitis B is on file" in state.note) is open_


def asked(when: str | None, word: str) -> tuple[Kind, dict[str, Any]]:
    body = {**RESULT, "test": WEAK_IMMUNITY, "when": when, "word": word, "number": None, "unit": ""}
    return Kind.RESULT_RECORDED, body


@pytest.mark.parametrize(
    ("answers", "known"),
    [
        ((), "unknown"),
        ((asked("2026-01-10", "negative"),), "no"),
        ((asked("2026-01-10", "positive"),), "yes"),
        ((asked("2026-01-10", "indeterminate"),), "unknown"),
        ((asked("2026-01-10", "negative"), asked("2025-01-10", "positive")), "no"),
        ((asked("2025-01-10", "negative"), asked("2026-01-10", "indeterminate")), "unknown"),
        ((asked("2026-03-02", "negative"),), "no"),
        # Of one day the later answer; where it is not certain which was the last, none.
        ((asked("2026-01-10", "positive"), asked("2026-01-10", "negative")), "no"),
        ((asked("2026-01-10", "positive"), asked("2026", "negative")), "unknown"),
        ((asked("2026-01", "positive"), asked("2026-01-10", "positive")), "yes"),
        ((asked("2025", "positive"), asked("2026-01-10", "negative")), "no"),
    ],
)
def test_the_last_answer_about_the_immune_system_counts_and_no_answer_is_not_known(
    answers: tuple[tuple[Kind, dict[str, Any]], ...], known: str
) -> None:
    assert subject(person(*answers), BORN, ON).immunocompromised == known
    assert subject(person(*answers), BORN, date(2024, 12, 31)).immunocompromised == "unknown"


def test_an_answer_about_the_person_documents_no_disease_and_lets_the_uk_tables_go_on() -> None:
    """UKR-06: a response in weak immunity, or where nobody asked, is for the physician."""
    answered = person(*SERIES, titre("2019-11-02", 240), asked("2026-01-10", "negative"))
    assert about(answered.evidence[-1]) == ()
    not_asked = hepatitis_b(person(*SERIES, titre("2019-11-02", 240)), BORN, ON, "uk")
    known = hepatitis_b(answered, BORN, ON, "uk")
    assert not_asked is not None
    assert known is not None
    assert not_asked.cleared.immunity == "not_known"
    assert known.cleared.immunity == "immune"


@pytest.mark.parametrize(("ahead", "known"), [(0, "no"), (1, "no"), (2, "unknown")])
def test_an_answer_without_a_day_counts_on_the_evening_on_which_it_is_written_down(
    ahead: int, known: str
) -> None:
    """In the evening west of Greenwich the universal calendar is a day ahead of the site's."""
    store = people()
    answer = {**RESULT, "test": WEAK_IMMUNITY, "word": "negative", "number": None, "when": None}
    write(store, (Kind.ENROLLED, ENROLLED), (Kind.RESULT_RECORDED, {**answer, "comparator": "="}))
    file = fold(store.entries(ONE), NOW)

    on = NOW.date() - timedelta(days=ahead)
    assert subject(file, BORN, on).immunocompromised == known
