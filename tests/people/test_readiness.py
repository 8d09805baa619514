"""A file towards its first day: what is missing in words, and agreement with what `clear` says of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from people.files import DECLINED, DOSE, ENROLLED, GOOD, NOW, ONE, RESULT, people, write
from thimble.clinical.durations import Duration
from thimble.clinical.readiness import Readiness, Status
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.readiness import Asked, readiness

ON = NOW.date()
BORN = date(1999, 2, 28)
ASKED = Asked(("hepatitis_b",), "us", Duration(3, "days"), "us_shea_2020")
Draft = tuple[Kind, dict[str, Any]]


def person(*drafts: Draft, starts_on: str | None = "2026-09-01") -> Person:
    store = people()
    write(store, (Kind.ENROLLED, {**ENROLLED, "starts_on": starts_on}), *drafts)
    return fold(store.entries(ONE), NOW)


def dose(when: str | None, product: str = "43") -> Draft:
    return Kind.DOSE_RECORDED, {
        **DOSE,
        "when": when,
        "product": product,
        "diseases": ["hepatitis_b"],
    }


def titre(when: str, number: float) -> Draft:
    return Kind.RESULT_RECORDED, {**RESULT, "when": when, "number": number, "comparator": "="}


def whole(*drafts: Draft, asked: Asked = ASKED, born: date | None = BORN) -> Readiness:
    return readiness(person(*drafts), born, ON, asked)


def test_the_fixture_says_the_day_that_the_sentences_below_count_from() -> None:
    assert date(2026, 3, 2) == ON


def test_each_thing_that_is_missing_is_one_sentence_with_its_day() -> None:
    found = whole(dose("2026-01-05"))

    assert [lack.said(ON) for lack in found.lacks] == [
        "Second dose of hepatitis B vaccine, now.",
        "Third dose of hepatitis B vaccine, from Sun 5 Jul 2026.",
        "Anti-HBs titre, 1 to 2 months after the last dose, from Wed 5 Aug 2026.",
    ]
    assert found.status is Status.ON_COURSE
    assert found.said() == "Ready by Sat 8 Aug 2026 if the titre is 10 or more."
    # Second dose 2 March, third 27 April (8 and 16 weeks), a titre 28 days later, three days to its result.
    assert found.soonest == date(2026, 5, 28)


def test_who_answered_lacks_nothing() -> None:
    found = whole(
        dose("2019-02-04"), dose("2019-03-07"), dose("2019-08-11"), titre("2019-10-02", 12)
    )

    assert found.status is Status.READY
    assert found.said() == "Ready."


@pytest.mark.parametrize(
    ("drafts", "why"),
    [
        ([(Kind.DECLINED, DECLINED)], "Hepatitis B vaccine was declined; the offer stands."),
        (
            [(Kind.CONTRAINDICATED, GOOD[Kind.CONTRAINDICATED])],
            "Hepatitis B vaccine is contraindicated: the physician decides.",
        ),
        (
            [dose("2024-01-01"), dose("2024-02-01"), dose("2024-08-01"), titre("2024-09-15", 3),
             dose("2025-01-01"), dose("2025-02-01"), dose("2025-08-01"), titre("2025-09-15", 3)],
            "Hepatitis B: what comes next depends on HBsAg and total anti-HBc.",
        ),
    ],
)  # fmt: skip
def test_what_nobody_can_project_says_so_instead_of_a_day(drafts: list[Draft], why: str) -> None:
    found = whole(*drafts)

    assert (found.status, found.ready_on, found.open) == (Status.OPEN, None, (why,))
    assert found.said() == "No day can be said."


def test_without_a_birth_date_nothing_is_claimed() -> None:
    found = whole(dose("2026-01-05"), born=None)

    assert found.open == ("The birth date is missing: enter it.",)


def test_undated_evidence_is_counted_and_not_judged() -> None:
    (state,) = whole(dose(None), dose("2026-01-05")).states

    assert state.words == "Immunity not known, 1 dose counts; 1 without a date could not be judged"


def test_the_laboratory_s_own_days_count() -> None:
    slow = replace(ASKED, turnaround=Duration(10, "days"))

    assert whole(dose("2026-01-05"), asked=slow).ready_on == date(2026, 8, 15)


def test_a_disease_without_a_judge_is_shown_as_documented_or_not() -> None:
    asked = Asked(("haemophilus", "zoster"), "us", Duration(3, "days"))
    given = (Kind.DOSE_RECORDED, {**DOSE, "product": "187", "diseases": ["zoster"]})
    found = whole(given, asked=asked)

    assert [(state.disease, state.satisfied) for state in found.states] == [
        ("haemophilus", False),
        ("zoster", None),
    ]
    assert found.unjudged == ("zoster",)


@pytest.mark.parametrize(
    ("last", "said"),
    [
        # IMM: one to two months after the last dose; the test is asked for on 2 March 2026.
        ("2026-01-01", "Anti-HBs titre, now."),
        ("2026-01-02", "Anti-HBs titre, 1 to 2 months after the last dose, now."),
        (
            "2026-02-20",
            "Anti-HBs titre, 1 to 2 months after the last dose, from Fri 20 Mar 2026.",
        ),
        ("2019-08-11", "Anti-HBs titre, now."),
    ],
)
def test_the_months_of_a_titre_are_said_while_they_run(last: str, said: str) -> None:
    found = whole(dose("2018-02-04"), dose("2018-03-07"), dose(last))

    assert [lack.said(ON) for lack in found.lacks] == [said]
