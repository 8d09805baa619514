"""Which doses count: the allowance at its edge, mixed products, dates known in part."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinical.clearance import BORN, doses, said
from thimble.clinical.series import DoseGiven, PartialDate, Person, clear
from thimble.clinical.series.walking import Verdict

PRODUCTS = st.sampled_from(["08", "43", "44", "45", "104", "189", "220", None])


def ahead(text):
    return date.fromisoformat(text)


@pytest.mark.parametrize(
    ("given", "series", "counted", "earliest"),
    [
        # Worked examples of the reference text; allowance of four days, five are too many.
        (["2026-01-05/189", "2026-01-29/189"], "complete", 2, None),
        (["2026-01-05/189", "2026-01-28/189"], "incomplete", 1, "2026-02-25"),
        (["2025-09-01", "2025-10-06", "2025-12-18"], "complete", 3, None),
        (["2025-09-01", "2025-10-06", "2025-12-17"], "incomplete", 3, "2025-12-22"),
        # Four doses: the last keeps its distance from the second and the first, not from the early third.
        (["2025-01-01", "2025-01-25", "2025-03-10", "2025-04-19"], "complete", 4, None),
        (["2025-01-01", "2025-01-24", "2025-03-10", "2025-04-19"], "incomplete", 3, "2025-05-05"),
        (["2025-01-01", "2025-01-25", "2025-03-10", "2025-04-18"], "incomplete", 3, "2025-04-23"),
        (["2025-01-01", "2025-03-01", "2025-03-02", "2025-04-22"], "complete", 4, None),
        (["2025-01-01", "2025-03-01", "2025-03-02", "2025-04-21"], "incomplete", 3, "2025-04-26"),
        # The accelerated combined series has no allowance.
        (["2026-02-02/104", "2026-02-08/104"], "incomplete", 1, "2026-03-08"),
        (["2026-02-02/104", "2026-02-09/104"], "incomplete", 2, "2026-02-23"),
        (["2026-02-02/104", "2026-02-09/104", "2026-02-22/104"], "incomplete", 2, "2026-03-08"),
        (["2026-02-02/104", "2026-02-09/104", "2026-02-23/104"], "incomplete", 3, "2027-02-02"),
        # Its fourth dose a year after the first, with the allowance, and a day after the third at least.
        (
            ["2024-01-01/104", "2024-01-08/104", "2024-12-27/104", "2024-12-28/104"],
            "complete",
            4,
            None,
        ),
        (
            ["2024-01-01/104", "2024-01-08/104", "2024-12-26/104", "2024-12-27/104"],
            "incomplete",
            3,
            "2025-02-20",
        ),
        # An unknown product counts as one of three doses; an interrupted series is not begun again.
        (["1999-01-01/unknown", "2009-01-01/unknown", "2019-01-01"], "complete", 3, None),
        (["1999-01-01"], "incomplete", 1, "1999-01-29"),
        # Half the dose for an adult does not count, and the next keeps its distance from it.
        (["2026-01-05", "2026-02-09/08"], "incomplete", 1, "2026-03-09"),
        # Two records of one day are one dose, also where the second tells no more than the month.
        (["2026-01-05", "2026-02-09", "2026-02-09/45"], "incomplete", 2, "2026-04-27"),
        (
            ["2018-01-01/104", "2019-06-10/104", "2019-07-01/104", "2019-07/104"],
            "incomplete",
            3,
            "2019-08-05",
        ),
        (["2025-01-01", "2025-02-01", "2025-02-01/unknown", "2025-05-26"], "complete", 3, None),
    ],
)
def test_doses_count_by_the_schedule(given, series, counted, earliest):
    found = said(doses(*given), on="2026-03-02")

    assert (found.series, found.valid_doses) == (series, counted)
    assert found.next_dose_earliest == (ahead(earliest) if earliest else None)


def test_the_fourth_dose_after_an_early_third_is_recommended_six_months_after_the_first():
    found = said(doses("2025-09-01", "2025-10-06", "2025-12-17"))

    assert found.next_dose_recommended == date(2026, 3, 1)


def test_a_month_is_told_to_be_too_little_and_which_day_would_do():
    found = said(doses("2019-03-01", "2019-03", "2019-10-01"))

    assert [dose.verdict for dose in found.doses] == [Verdict.COUNTS, Verdict.OPEN, Verdict.COUNTS]
    assert "It counts if it was on or after Mon 25 Mar 2019" in found.reason
    assert found.series == "incomplete"
    assert said(doses("2019-03-01", "2019-03-25", "2019-10-01")).series == "complete"


def test_a_month_is_enough_where_every_day_of_it_would_do():
    assert said(doses("2019-01", "2019-03", "2019-10")).series == "complete"
    assert said(doses("2015", "2017", "2019")).series == "complete"
    assert said(doses("2019", "2019", "2019")).valid_doses == 1


def test_the_accelerated_course_is_a_primary_course_in_the_united_kingdom_only():
    course = doses("2026-01-01", "2026-01-29", "2026-02-26")

    assert said(course, protocol="uk").series == "complete"
    assert said(course).series == "incomplete"
    rapid = doses("2025-01-01", "2025-01-08", "2025-01-22")
    assert said(rapid, protocol="uk").next_dose_earliest == date(2026, 1, 1)


@pytest.mark.parametrize(
    ("given", "series", "counted"),
    [
        # No source read gives an allowance there: not a day too early, nor too young.
        (["2026-06-01/189", "2026-06-29/189"], "complete", 2),
        (["2026-06-01/189", "2026-06-28/189"], "incomplete", 2),
        (["2026-05-31/189", "2026-06-29/189"], "incomplete", 1),
        (["2026-06-01", "2026-06-08", "2026-06-22"], "incomplete", 3),
        (["2026-05-31", "2026-06-07", "2026-06-21"], "incomplete", 2),
        (["2026-06-01", "2026-06-07", "2026-06-22"], "incomplete", 2),
        (["2026-06-01", "2026-06-08", "2026-06-21"], "incomplete", 2),
        # The fourth dose of the very rapid course a year after the first, on a day of its own.
        (["2026-06-01", "2026-06-08", "2027-05-31", "2027-06-01"], "complete", 4),
        (["2026-06-01", "2026-06-08", "2027-05-30", "2027-05-31"], "incomplete", 3),
    ],
)
def test_doses_count_by_the_courses_of_the_united_kingdom(given, series, counted):
    """Born on 1 June 2008; the very rapid course is for those of eighteen years."""
    found = said(doses(*given), on="2027-07-01", protocol="uk", born=date(2008, 6, 1))

    assert (found.series, found.valid_doses) == (series, counted)


@given(
    st.lists(
        st.tuples(
            st.dates(date(2005, 1, 1), date(2012, 1, 1)), st.sampled_from([4, 7, 10]), PRODUCTS
        ),
        max_size=7,
    ),
    st.data(),
    st.sampled_from(["us", "uk"]),
)
@settings(max_examples=200, deadline=None)
def test_no_exact_date_makes_less_of_doses_than_their_partial_dates_do(given, data, protocol):
    """Whatever the days were, the series is at least as far as what is told from less."""
    known = [DoseGiven(cvx, PartialDate.parse(day.isoformat()[:cut])) for day, cut, cvx in given]
    exact = []
    for dose in known:
        first, last = dose.when.first, min(dose.when.last, date(2026, 1, 1))
        offset = data.draw(st.integers(0, (last - first).days))
        exact.append(DoseGiven(dose.cvx, PartialDate.of(first + timedelta(days=offset))))
    person = Person(BORN)
    told, truth = (clear(person, e, date(2026, 1, 1), protocol) for e in (known, exact))

    order = ["none", "incomplete", "complete", "two_complete"]
    assert order.index(told.series) <= order.index(truth.series)


@pytest.mark.parametrize(
    ("first", "second", "series"),
    [
        # From eleven years on, with the four days.
        ("2020-12-28", "2021-06-01", "complete"),
        ("2020-12-27", "2021-06-01", "incomplete"),
        # Four months apart, with the four days.
        ("2021-01-01", "2021-04-27", "complete"),
        ("2021-01-01", "2021-04-26", "incomplete"),
        # Before the sixteenth birthday, without them.
        ("2025-06-01", "2025-12-31", "complete"),
        ("2025-06-01", "2026-01-01", "incomplete"),
    ],
)
def test_two_doses_of_a_grown_up_are_a_series_of_eleven_to_fifteen_year_olds(first, second, series):
    found = said(doses(first, second), on="2026-03-02", born=date(2010, 1, 1))

    assert found.series == series


def test_an_adjuvanted_dose_given_too_young_delays_no_other():
    young = date(2008, 6, 1)
    mixed = said(doses("2026-01-01", "2026-01-20/189", "2026-01-29"), born=young)

    assert [dose.verdict for dose in mixed.doses] == [
        Verdict.COUNTS,
        Verdict.INADVERTENT,
        Verdict.COUNTS,
    ]
    # Its own series begins anew; the next counts from the eighteenth birthday, four days before at most.
    again = doses("2026-05-27/189", "2026-05-28/189", "2026-06-25/189")
    assert said(again, on="2026-07-01", born=young).series == "complete"


@pytest.mark.parametrize(
    ("first", "recommended"), [("2008-12-31", "2009-04-22"), ("2009-01-01", "2009-07-01")]
)
def test_six_months_are_recommended_for_a_series_begun_on_the_nineteenth_birthday_or_later(
    first, recommended
):
    found = said(doses(first, "2009-02-01"), on="2009-03-01")

    assert found.next_dose_recommended == ahead(recommended)


GAPS = st.sampled_from([1, 7, 14, 21, 24, 28, 52, 56, 108, 112, 150, 183, 365, 520])


@given(
    st.dates(date(2018, 1, 1), date(2018, 2, 28)),
    st.lists(st.tuples(GAPS, PRODUCTS, st.booleans()), min_size=1, max_size=5),
    PRODUCTS,
    st.data(),
    st.sampled_from(["us", "uk"]),
)
@settings(max_examples=200, deadline=None)
def test_another_record_of_a_dose_makes_no_more_of_the_series(begun, given, usual, data, protocol):
    """Known to the day, the month or the year."""
    told, day = [], begun
    for gap, other, first in given:
        day += timedelta(days=gap)
        day = day.replace(day=1) if first else day
        told.append((data.draw(st.sampled_from([usual, usual, other])), day))
    once = [DoseGiven(cvx, PartialDate.of(day)) for cvx, day in told]
    cvx, day = data.draw(st.sampled_from(told))
    again = DoseGiven(
        cvx, PartialDate.parse(day.isoformat()[: data.draw(st.sampled_from([4, 7, 10]))])
    )
    alone, twice = (
        clear(Person(BORN), e, date(2026, 1, 1), protocol) for e in (once, [*once, again])
    )

    order = ["none", "incomplete", "complete", "two_complete"]
    assert order.index(twice.series) <= order.index(alone.series)


@pytest.mark.parametrize(("first", "counted"), [("2026-05-28", 2), ("2026-05-27", 1)])
def test_the_accelerated_combined_series_begins_at_eighteen_with_the_four_days(first, counted):
    """A week apart they are two doses of it; begun too young, the second is the first that counts."""
    second = (ahead(first) + timedelta(days=7)).isoformat()
    found = said(doses(f"{first}/104", f"{second}/104"), on="2026-07-01", born=date(2008, 6, 1))

    assert found.valid_doses == counted


@pytest.mark.parametrize("cvx", ["08", "51", "102", "110", "132", "146", "198"])
def test_half_the_dose_counts_up_to_the_day_before_the_twentieth_birthday(cvx):
    verdicts = [said(doses(day, cvx=cvx)).doses[0].verdict for day in ("2009-12-31", "2010-01-01")]

    assert verdicts == [Verdict.COUNTS, Verdict.TOO_OLD]


@pytest.mark.parametrize("cvx", ["104", "220"])
@pytest.mark.parametrize(
    ("protocol", "first"), [("us", date(2007, 12, 28)), ("uk", date(2008, 1, 1))]
)
def test_a_product_of_grown_ups_counts_from_eighteen_on(cvx, protocol, first):
    """In the United States with the four days of allowance."""
    days = [(first - timedelta(days=n)).isoformat() for n in (0, 1)]
    verdicts = [said(doses(day, cvx=cvx), protocol=protocol).doses[0].verdict for day in days]

    assert verdicts == [Verdict.COUNTS, Verdict.TOO_YOUNG]


def test_a_second_product_of_the_day_that_completes_a_series_is_not_counted_again():
    found = said(doses("2025-01-10", "2025-05-10", "2025-05-10/08"), born=date(2013, 1, 1))

    assert (found.series, found.valid_doses) == ("complete", 2)


def test_another_record_of_the_completing_dose_begins_no_second_series():
    given = doses(
        "2008-01-14/220",
        "2008-01-27",
        "2008-02-25",
        "2008-08-01/45",
        "2008-08",
        "2009-01-04/104",
        "2010",
    )

    assert said(given, protocol="uk").series == "complete"
