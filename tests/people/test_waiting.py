"""Since when a step stands: day by day against the short cut, and the cases that a nurse would name."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from people.files import DOSE, ENROLLED, ONE, RESULT, people, write
from thimble.clinical.durations import Duration
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.readiness import Asked
from thimble.people.readiness.cohorts import member
from thimble.people.readiness.judging import steps

TODAY = date(2026, 3, 4)
BORN = date(1999, 2, 28)
ASKED = Asked(
    ("hepatitis_b", "measles", "mumps", "rubella", "influenza", "tuberculosis"),
    "us", Duration(3, "days"), "us_shea_2020",
)  # fmt: skip
Draft = tuple[Kind, dict[str, Any]]


def dose(when: str, product: str = "43", *diseases: str) -> Draft:
    return Kind.DOSE_RECORDED, {
        **DOSE, "when": when, "product": product, "diseases": list(diseases or ("hepatitis_b",)),
    }  # fmt: skip


def result(test: str, word: str, when: str) -> Draft:
    body = {"word": word, "number": None, "comparator": "=", "unit": "", "when": when}
    return Kind.RESULT_RECORDED, {**RESULT, **body, "test": test}


def person(*written: tuple[str, Draft], opened: str = "2026-01-05", **work: Any) -> Person:
    """Somebody enrolled on a day, and what was written down on later ones."""
    store = people()
    write(store, (Kind.ENROLLED, {**ENROLLED, **work}), at=at(opened))
    for day, draft in written:
        write(store, draft, at=at(day))
    return fold(store.entries(ONE), datetime(2026, 3, 4, 12, tzinfo=UTC))


def at(day: str) -> datetime:
    return datetime.combine(date.fromisoformat(day), datetime.min.time(), UTC) + timedelta(hours=9)


def since(file: Person, asked: Asked = ASKED, on: date = TODAY) -> dict[str, date]:
    found = member(file, BORN, on, asked, UTC).readiness
    return {lack.what: lack.since for lack in found.lacks if lack.since is not None}


HEPATITIS = replace(ASKED, diseases=("hepatitis_b",))
SECOND = "Second dose of hepatitis B vaccine"


@pytest.mark.parametrize(
    ("opened", "written", "from_"),
    [
        # The first dose was given and written down here: from 4 weeks after it.
        ("2026-01-05", ("2026-01-12", dose("2026-01-12")), "2026-02-09"),
        # The card came late: from the day on which it was known here.
        ("2026-01-05", ("2026-02-20", dose("2025-11-03")), "2026-02-20"),
        # Nobody was late here before they came.
        ("2026-02-16", ("2026-02-16", dose("2025-11-03")), "2026-02-16"),
    ],
)
def test_a_dose_stands_since_it_could_be_given_and_was_known_here(
    opened: str, written: tuple[str, Draft], from_: str
) -> None:
    assert since(person(written, opened=opened), HEPATITIS) == {SECOND: date.fromisoformat(from_)}


def test_what_is_written_down_of_something_else_moves_no_day() -> None:
    begun = ("2026-01-12", dose("2026-01-12"))
    other = ("2026-03-02", dose("2026-03-02", "03", "measles", "mumps", "rubella"))
    again = ("2026-03-03", dose("2026-01-12"))

    assert since(person(begun, other, again), HEPATITIS) == {SECOND: date(2026, 2, 9)}


def test_a_season_s_vaccine_stands_since_the_season_s_offer_began() -> None:
    """Nothing is written down on the day on which it begins."""
    file = person(opened="2025-05-05")
    asked = replace(ASKED, diseases=("influenza",))
    (day,) = since(file, asked, date(2026, 2, 2)).values()

    assert day.month in (9, 10)
    assert since(file, asked, day) == dict.fromkeys(since(file, asked, day), day)


def test_tests_before_such_procedures_stand_since_somebody_said_that_the_work_holds_them() -> None:
    uk = Asked((), "uk", Duration(3, "days"), "uk_2023")
    changed = ("2026-02-23", (Kind.CHANGED, {"exposure_prone": "yes"}))
    other = ("2026-03-02", (Kind.CHANGED, {"role": "resident"}))

    assert set(since(person(changed, other, exposure_prone="no"), uk).values()) == {
        date(2026, 2, 23)
    }
    assert set(since(person(other, exposure_prone="yes"), uk).values()) == {date(2026, 1, 5)}


WRITTEN = st.lists(
    st.tuples(
        st.integers(0, 58),
        st.one_of(
            st.builds(dose, st.sampled_from(["2025-06-02", "2025-12-29", "2026-01-05"])),
            st.builds(
                dose,
                st.sampled_from(["1991", "2000-01-03", "2025-12-22"]),
                st.just("03"), st.just("measles"), st.just("mumps"), st.just("rubella"),
            ),
            st.builds(
                result,
                st.sampled_from(["measles_igg", "mumps_igg", "tb_risk", "tb_symptoms", "igra"]),
                st.sampled_from(["positive", "negative"]),
                st.sampled_from(["2025-12-01", "2026-01-02"]),
            ),
            st.builds(
                lambda number, when: (
                    Kind.RESULT_RECORDED,
                    {**RESULT, "number": number, "when": when},
                ),
                st.sampled_from([4, 140]),
                st.sampled_from(["2025-12-15", "2026-01-04"]),
            ),
        ),
    ),
    max_size=5,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(WRITTEN)
def test_the_day_is_the_one_that_a_look_at_every_day_finds(
    written: list[tuple[int, Draft]],
) -> None:
    opened = date(2026, 1, 5)
    told = sorted(
        ((opened + timedelta(days=after), draft) for after, draft in written), key=lambda w: w[0]
    )
    file = person(*((day.isoformat(), draft) for day, draft in told))
    known = {e.entry: e.recorded_at.date() for e in file.evidence}

    def due_on(day: date) -> set[str]:
        then = replace(file, evidence=tuple(e for e in file.evidence if known[e.entry] <= day))
        return {each.what for each in steps(then, BORN, day, ASKED) if each.due(day)}

    for what, day in since(file).items():
        at_ = TODAY
        while at_ > opened and what in due_on(at_ - timedelta(days=1)):
            at_ -= timedelta(days=1)
        assert day == at_, what
