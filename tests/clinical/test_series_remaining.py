"""What is left of a series: printed intervals, then the judgement of doses, which this must agree with."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.series import DoseGiven, PartialDate, Person, clear
from thimble.clinical.series.remaining import remaining

START = date(2026, 3, 2)


def doses(*when: str | date) -> list[DoseGiven]:
    return [DoseGiven(None, PartialDate.parse(str(each))) for each in when]


def days(found) -> list[tuple[int, str, str]]:
    return [(d.number, d.earliest.isoformat(), d.target.isoformat()) for d in found.ahead]


def test_after_the_first_dose_of_an_adult():
    """Immunize.org: 4 weeks to dose 2; then 8 weeks after it and 16 after dose 1, best at 6 months."""
    assert days(remaining(doses(START), START, "us")) == [
        (2, "2026-03-30", "2026-03-30"),
        (3, "2026-06-22", "2026-09-02"),
    ]


def test_a_late_second_dose_puts_off_the_third_by_eight_weeks():
    """Dose 2 five months after dose 1: the 8 weeks bind, not the 16 weeks nor the 6 months."""
    found = remaining(doses(START, "2026-08-03"), date(2026, 8, 3), "us")
    assert days(found) == [(3, "2026-09-28", "2026-09-28")]


def test_an_accelerated_course_wants_each_dose_as_soon_as_it_counts():
    """Lothian 2022-2024: 0, 1 and 2 months; at the least four weeks each."""
    assert days(remaining(doses(START), START, "uk", soonest=True)) == [
        (2, "2026-03-30", "2026-03-30"),
        (3, "2026-04-27", "2026-04-27"),
    ]


@pytest.mark.parametrize(
    ("second", "left"), [("2026-03-26", 1), ("2026-03-25", 2)], ids=["4 days early", "5 days early"]
)
def test_a_dose_five_days_early_is_given_again(second: str, left: int):
    """Immunize.org: up to 4 days before the interval counts, 5 days before does not."""
    assert len(remaining(doses(START, second), date(2026, 4, 1), "us").ahead) == left


def test_two_doses_of_the_adjuvanted_product_are_a_whole_series():
    two = [DoseGiven("189", PartialDate.parse(d)) for d in ("2026-03-02", "2026-03-30")]
    found = remaining(two, date(2026, 4, 1), "us")
    assert (found.ahead, found.completed, found.path) == ((), date(2026, 3, 30), "adjuvanted")


def test_a_dose_known_to_the_year_delays_the_next_by_its_latest_day():
    found = remaining(doses("2025"), date(2026, 1, 5), "us")
    assert days(found)[0] == (2, "2026-01-28", "2026-01-28")


def test_a_protocol_without_a_schedule_is_refused():
    with pytest.raises(LookupError, match="no vaccine schedule for 'xx'"):
        remaining([], START, "xx")


gaps = st.lists(st.integers(1, 400), min_size=0, max_size=4)


@given(gaps, st.integers(0, 200))
def test_doses_given_as_planned_complete_the_series_and_none_was_asked_too_early(
    between: list[int], wait: int
):
    """`clear` judges doses without planning them: given on its first day each dose counts, and all of
    them are a whole series; without the last the series is not whole."""
    told = [START]
    for gap in between:
        told.append(told[-1] + timedelta(days=gap))
    on = told[-1] + timedelta(days=wait)
    found = remaining(doses(*told), on, "us")
    planned = [each.earliest for each in found.ahead]
    born = Person(date(1990, 1, 1))

    def judged(upto: list[date]):
        return clear(born, doses(*told, *upto), date(2032, 1, 1), "us")

    assert all(day >= on for day in planned)
    assert all(each.target >= each.earliest for each in found.ahead)
    assert judged(planned).complete
    if planned:
        assert not judged(planned[:-1]).complete
        early = planned[-1] - timedelta(days=5)
        if early > max([*told, *planned[:-1], on]):
            assert not judged([*planned[:-1], early]).complete
