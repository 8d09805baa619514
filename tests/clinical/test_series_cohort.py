"""Many people at once are answered exactly as each of them alone, in every column."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinical.cohorts import cohort_of, differences
from thimble.clinical.durations import parse
from thimble.clinical.series import (
    Contraindicated,
    Declined,
    DoseGiven,
    MarkerResult,
    PartialDate,
    Person,
    clear,
)
from thimble.clinical.series import cohort as many
from thimble.clinical.series.calendar_days import step, steps
from thimble.clinical.series.cohort import clear_many, gather
from thimble.clinical.serology import Analyte, Quantity, Word

TODAY = date(2026, 3, 2)
GAPS = st.sampled_from(
    [0, 1, 6, 7, 13, 14, 20, 23, 24, 28, 31, 51, 52, 56, 61, 108, 112, 150, 183, 365]
)
CUTS = st.sampled_from([10, 10, 10, 10, 7, 4])
PRODUCTS = st.sampled_from(["43", "43", "189", "104", "08", "220", "45", "30", None])
NUMBERS = st.sampled_from([0.0, 9.99, 10.0, 10.5, 99.9, 100.0, 1000.0])


@st.composite
def histories(draw):
    """A person, with evidence in no order: doses that follow each other closely, results around them."""
    born = draw(st.dates(date(1940, 1, 1), date(2010, 12, 31)))
    day = draw(st.dates(max(born, date(2004, 1, 1)), TODAY))
    favourite = draw(PRODUCTS)
    evidence = []

    def known(at):
        at = min(max(at, born), TODAY)
        return PartialDate.parse(at.isoformat()[: draw(CUTS)])

    for gap in draw(st.lists(GAPS, max_size=8)):
        day = min(day + timedelta(days=gap), TODAY)
        product = favourite if draw(st.booleans()) else draw(PRODUCTS)
        evidence.append(DoseGiven(product, known(day)))
    for gap in draw(st.lists(st.integers(-100, 120), max_size=3)):
        sign = draw(st.sampled_from(["=", "=", "<", ">", "<="]))
        quantity = Quantity(draw(NUMBERS), "m[IU]/mL", sign)
        word = draw(st.sampled_from([None, None, None, Word.INDETERMINATE, Word.POSITIVE]))
        at = known(day + timedelta(days=gap))
        evidence.append(MarkerResult(Analyte.ANTI_HBS, at, word, None if word else quantity))
    for gap in draw(st.lists(st.integers(-60, 60), max_size=5)):
        code = draw(
            st.sampled_from(["hbsag", "anti_hbc_total", "anti_hbc_igm", "hbv_dna", "anti_hcv"])
        )
        word = draw(
            st.sampled_from([Word.NEGATIVE, Word.NEGATIVE, Word.POSITIVE, Word.INDETERMINATE])
        )
        when = known(day + timedelta(days=gap)) if draw(st.integers(0, 9)) else None
        evidence.append(MarkerResult(Analyte(code), when, word))
    if draw(st.integers(0, 9)) == 0:
        evidence.append(Declined(known(day + timedelta(days=draw(st.integers(-30, 30))))))
    if draw(st.integers(0, 19)) == 0:
        evidence.append(Contraindicated(known(day)))
    weak = draw(st.sampled_from(["yes", "no", "unknown"]))
    return Person(born, draw(st.booleans()), weak), draw(st.permutations(evidence))


@given(st.lists(histories(), min_size=1, max_size=12), st.sampled_from(["us", "uk"]))
@settings(max_examples=120, deadline=None)
def test_a_workforce_is_answered_as_each_person_alone(people, protocol):
    found = clear_many(gather(people, TODAY), TODAY, protocol)

    for n, (person, evidence) in enumerate(people):
        alone = clear(person, evidence, TODAY, protocol)
        days = (alone.next_dose_earliest, alone.next_dose_recommended, alone.next_due)
        earliest, recommended, due = (day.isoformat() if day else "" for day in days)
        assert found.row(n) == (
            alone.series, alone.valid_doses, earliest, recommended, alone.immunity, alone.next_step, due,
        )  # fmt: skip
        assert many.situation_of(int(found.situation[n])) == alone.situation
        assert (bool(found.complete[n]), int(found.documented[n])) == (
            alone.complete,
            len(alone.doses),
        )


def random_people(seed, count):
    """Rows as arrays hold them, among them what files cannot say: marker states without a word."""
    rng = np.random.default_rng(seed)
    today = TODAY.toordinal()
    people = []
    for _ in range(count):
        born = today - int(rng.integers(16 * 365, 70 * 365))
        at = int(rng.integers(born, today))
        product = int(rng.integers(0, len(many.PRODUCTS)))
        rows = []
        for _ in range(int(rng.choice([0, 1, 2, 3, 3, 3, 4, 6, 7]))):
            at = min(at + int(rng.choice([1, 7, 14, 23, 24, 28, 28, 56, 112, 180])), today)
            high = min(at + int(rng.choice([0, 0, 0, 27])), today)
            other = int(rng.integers(0, len(many.PRODUCTS)))
            rows.append((many.DOSE, other if rng.random() < 0.1 else product, at, high))
        for _ in range(int(rng.integers(0, 4))):
            day = min(max(at + int(rng.integers(-30, 100)), born), today)
            rows.append((many.TITRE, int(rng.integers(0, 9)), day, day))
        for _ in range(int(rng.integers(0, 4))):
            day = min(max(at + int(rng.integers(-30, 100)), born), today)
            rows.append((many.MARKER + int(rng.integers(0, 4)), int(rng.integers(0, 4)), day, day))
        people.append((born, bool(rng.random() < 0.3), int(rng.integers(0, 3)), rows))
    return people


@pytest.mark.parametrize("protocol", ["us", "uk"])
def test_thousands_of_random_people_agree_across_the_ends_of_blocks(protocol, monkeypatch):
    monkeypatch.setattr(many, "BLOCK", 700)
    people = random_people(11, 2_500)

    assert differences(people, TODAY.toordinal(), protocol) == []
    found = clear_many(cohort_of(people), TODAY, protocol)
    assert len(np.unique(found.situation)) > 150
    assert {many.IMMUNITY[i] for i in np.unique(found.immunity)} >= {
        "immune",
        "infected",
        "not_immune",
    }


def test_nobody_and_nothing_are_answered_too():
    assert len(clear_many(gather([], TODAY), TODAY).series) == 0
    found = clear_many(gather([(Person(date(1990, 1, 1)), [])], TODAY), TODAY)
    assert found.row(0) == (
        "none",
        0,
        "1990-01-01",
        "1990-01-01",
        "not_known",
        "dose",
        "2026-03-02",
    )


@given(
    st.lists(st.dates(date(1750, 1, 1), date(2400, 1, 1)), min_size=1, max_size=20),
    st.sampled_from(["P1D", "P4W", "P1M", "P4M", "P6M", "P12M", "P18Y", "P60Y"]),
)
@settings(deadline=None)
def test_steps_of_many_days_are_those_of_each(days, text):
    ordinals = [day.toordinal() for day in days]
    by = parse(text)

    assert steps(np.array(ordinals, np.int32), by).tolist() == [step(day, by) for day in ordinals]


def test_a_day_that_the_month_lacks_is_the_first_of_the_next():
    month = parse("P1M")

    for day, expected in (
        ("2025-01-31", "2025-03-01"),
        ("2024-01-30", "2024-03-01"),
        ("2025-12-31", "2026-01-31"),
    ):
        assert (
            date.fromordinal(step(date.fromisoformat(day).toordinal(), month)).isoformat()
            == expected
        )
