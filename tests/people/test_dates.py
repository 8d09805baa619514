"""Days as people and spreadsheets write them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.people.dates import EitherDay, NotADate, Order, order_of, read_date

TODAY = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("2019-03-14", "2019-03-14"),
        ("2019/3/14", "2019-03-14"),
        ("20190314", "2019-03-14"),
        ("2019-03-14 00:00:00", "2019-03-14"),
        ("2019-03-14T00:00:00Z", "2019-03-14"),
        ("14.3.2019", "2019-03-14"),
        (" 14. 03. 2019 ", "2019-03-14"),
        ("14/03/19", "2019-03-14"),
        ("3/14/2019", "2019-03-14"),
        ("5.5.2019", "2019-05-05"),
        ("14 Mar 2019", "2019-03-14"),
        ("March 14, 2019", "2019-03-14"),
        ("14. März 2019", "2019-03-14"),
        ("14 mars 2019", "2019-03-14"),
        ("14 août 1998", "1998-08-14"),
        ("2019-03", "2019-03"),
        ("3.2019", "2019-03"),
        ("03/2019", "2019-03"),
        ("Okt. 2019", "2019-10"),
        ("2019", "2019"),
        ("29.2.2020", "2020-02-29"),
        # A year of two digits is the latest that has begun.
        ("14.3.26", "2026-03-14"),
        ("14.3.27", "1927-03-14"),
        ("14.3.00", "2000-03-14"),
    ],
)
def test_what_can_only_be_one_day_is_read(text: str, means: str) -> None:
    assert read_date(text, today=TODAY) == means


@pytest.mark.parametrize(
    "text",
    [
        "", "soon", "14", "143", "14032019x", "31.2.2019", "29.2.2019", "0.0.2019", "13/13/2019",
        "3.19", "14 Foo 2019", "1.1.1", "2019-13", "99999999", "12:30", "1899", "14.3.2019 08:15",
        "1.2.2019 - 3.4.2019", "=TODAY()",
    ],
)  # fmt: skip
def test_what_is_no_day_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(NotADate, match=r"write 14\.3\.2019"):
        read_date(text, today=TODAY)


def test_an_expected_day_has_the_nearest_year() -> None:
    assert read_date("14.3.27", today=TODAY, ahead=True) == "2027-03-14"
    assert read_date("14.3.99", today=TODAY, ahead=True) == "1999-03-14"


def test_what_can_be_two_days_is_asked() -> None:
    for text in ("4.5.2019", "12/1/20", "1-2-2019"):
        with pytest.raises(EitherDay, match="day or the month comes first"):
            read_date(text, today=TODAY)
    assert read_date("4.5.2019", today=TODAY, order="day_first") == "2019-05-04"
    assert read_date("4.5.2019", today=TODAY, order="month_first") == "2019-04-05"


@pytest.mark.parametrize("order", [None, "day_first", "month_first"])
@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("3/14/2019", "2019-03-14"),
        ("14.3.2019", "2019-03-14"),
        ("12/13/2019", "2019-12-13"),
        ("13/12/2019", "2019-12-13"),
        ("12/12/2019", "2019-12-12"),
        ("2019-03-04", "2019-03-04"),
        ("4 March 2019", "2019-03-04"),
    ],
)
def test_an_answer_settles_only_what_can_be_read_in_two_ways(
    text: str, means: str, order: Order | None
) -> None:
    assert read_date(text, today=TODAY, order=order) == means


@pytest.mark.parametrize("order", [None, "day_first", "month_first"])
@pytest.mark.parametrize("text", ["13/13/2019", "14/15/2019", "31.4.2019", "2/30/2019", "0/5/2019"])
def test_what_is_no_day_in_either_order_is_refused_whatever_was_answered(
    text: str, order: Order | None
) -> None:
    with pytest.raises(NotADate):
        read_date(text, today=TODAY, order=order)


@given(
    st.dates(date(1950, 1, 1), date(2030, 12, 31)),
    st.sampled_from("./- "),
    st.sampled_from(["day_first", "month_first"]),
)
def test_a_day_written_in_an_order_is_read_in_it_and_never_as_another(
    day: date, mark: str, order: Order
) -> None:
    numbers = (day.day, day.month) if order == "day_first" else (day.month, day.day)
    text = f"{numbers[0]}{mark}{numbers[1]}{mark}{day.year}"

    assert read_date(text, today=TODAY, order=order) == day.isoformat()
    try:
        assert read_date(text, today=TODAY) == day.isoformat()
        shown = order_of(text)
        assert shown in (None, order)
        assert (shown is None) == (day.day == day.month)
    except EitherDay:
        assert day.day <= 12
        assert order_of(text) is None


@given(st.text(max_size=30))
def test_no_text_breaks_the_reader_or_yields_a_day_that_no_calendar_has(text: str) -> None:
    try:
        found = read_date(text, today=TODAY)
    except NotADate:
        return
    padded = found + "-01-01"[len(found) - 4 :] if len(found) < 10 else found
    assert date.fromisoformat(padded) - timedelta(days=1)
