"""Dates that are known in part, and the evidence that carries them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.series import MarkerResult, PartialDate
from thimble.clinical.serology import Analyte

DAYS = st.dates(date(1900, 1, 1), date(2199, 12, 31))


@given(DAYS, st.sampled_from([4, 7, 10]))
def test_a_shortened_date_holds_the_day_and_nothing_outside_its_month_or_year(day, length):
    known = PartialDate.parse(day.isoformat()[:length])

    assert known.first <= day <= known.last
    assert str(known) == day.isoformat()[:length]
    assert known.exact == (length == 10)
    for outside in (known.first - timedelta(days=1), known.last + timedelta(days=1)):
        assert outside.isoformat()[:length] != str(known)


@pytest.mark.parametrize(
    "text",
    ["", "2019-3", "2019-13", "2019-02-29", "2019-00", "2019-03-00", "19", "14.03.2019", "2019-03-14 ",
     "0000", "２０１９"],
)  # fmt: skip
def test_what_is_no_date_is_refused_with_an_example(text):
    with pytest.raises(ValueError, match=r"written 2019-03-14, or 2019-03 or 2019"):
        PartialDate.parse(text)


def test_a_date_is_said_no_more_exactly_than_it_is_known():
    assert [PartialDate.parse(t).words for t in ("2019-03-14", "2019-03", "2019")] == [
        "Thu 14 Mar 2019",
        "Mar 2019",
        "2019",
    ]


def test_a_result_that_says_nothing_is_no_result():
    with pytest.raises(ValueError, match="found neither"):
        MarkerResult(Analyte.HBSAG, PartialDate(2020))
