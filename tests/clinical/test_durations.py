"""Durations: forms, daylight saving in both directions, and month ends against another library."""

# ruff: noqa: DTZ001 - naive datetimes are what is refused here, and what strategies ask for

from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.tz import datetime_exists
from hypothesis import assume, given
from hypothesis import strategies as st

from thimble.clinical.durations import Duration, add, hours_between, on_the_wall, parse

ZURICH = ZoneInfo("Europe/Zurich")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")  # its summer time is half an hour
ZONES = [ZURICH, LORD_HOWE, ZoneInfo("America/New_York"), ZoneInfo("Asia/Kathmandu"), UTC]

instants = st.datetimes(
    min_value=datetime(1990, 1, 1), max_value=datetime(2060, 1, 1), timezones=st.just(UTC)
)
zones = st.sampled_from(ZONES)


@pytest.mark.parametrize(
    ("text", "count", "unit", "words"),
    [
        ("PT0H", 0, "hours", "0 hours"),
        ("PT72H", 72, "hours", "72 hours"),
        ("PT30M", 30, "minutes", "30 minutes"),
        ("P1D", 1, "days", "1 day"),
        ("P6W", 6, "weeks", "6 weeks"),
        ("P4M", 4, "months", "4 months"),
        ("P30Y", 30, "years", "30 years"),
    ],
)
def test_a_duration_is_read_and_written(text, count, unit, words):
    duration = parse(text)

    assert duration == Duration(count, unit)
    assert (str(duration), duration.words) == (text, words)


@pytest.mark.parametrize(
    "text",
    ["", "P", "PT", "72h", "P72H", "PT3D", "P1.5D", "-P1D", "P-1D", "P1DT2H", "P1Y2M", "pt72h",
     " PT72H", "PT72H\n", "P6W ", "PT10S", "P٣D"],
)  # fmt: skip
def test_any_other_text_is_refused_with_what_is_allowed(text):
    with pytest.raises(ValueError, match=r"A duration is written PTnH .* found "):
        parse(text)


@pytest.mark.parametrize("count", [-1, 1.5, True])
def test_a_count_that_is_not_whole_is_refused(count):
    with pytest.raises(ValueError, match="whole number, 0 or more"):
        Duration(count, "days")


def test_an_unknown_unit_is_refused():
    with pytest.raises(ValueError, match="unit is one of"):
        Duration(1, "fortnights")


@pytest.mark.parametrize(
    ("start", "duration", "expected"),
    [
        # Clocks go forward on Sunday 29 March 2026, from 02:00 to 03:00.
        ("2026-03-28T12:00:00+01:00", "PT24H", "2026-03-29T13:00:00+02:00"),
        ("2026-03-28T12:00:00+01:00", "P1D", "2026-03-29T12:00:00+02:00"),
        ("2026-03-29T01:59:00+01:00", "PT1M", "2026-03-29T03:00:00+02:00"),
        ("2026-03-28T01:59:00+01:00", "P1D", "2026-03-29T01:59:00+01:00"),
        ("2026-03-28T02:00:00+01:00", "P1D", "2026-03-29T03:00:00+02:00"),
        ("2026-03-28T02:30:00+01:00", "P1D", "2026-03-29T03:30:00+02:00"),
        ("2026-03-28T03:00:00+01:00", "P1D", "2026-03-29T03:00:00+02:00"),
        ("2026-02-28T02:30:00+01:00", "P29D", "2026-03-29T03:30:00+02:00"),
        ("2026-03-22T02:30:00+01:00", "P1W", "2026-03-29T03:30:00+02:00"),
        ("2025-12-29T02:30:00+01:00", "P3M", "2026-03-29T03:30:00+02:00"),
        ("2025-03-29T02:30:00+01:00", "P1Y", "2026-03-29T03:30:00+02:00"),
        # Clocks go back on Sunday 25 October 2026, from 03:00 to 02:00: 02:30 occurs twice.
        ("2026-10-24T12:00:00+02:00", "PT24H", "2026-10-25T11:00:00+01:00"),
        ("2026-10-24T12:00:00+02:00", "P1D", "2026-10-25T12:00:00+01:00"),
        ("2026-10-24T02:30:00+02:00", "P1D", "2026-10-25T02:30:00+02:00"),
        ("2026-10-25T02:30:00+02:00", "PT60M", "2026-10-25T02:30:00+01:00"),
        ("2026-10-25T02:30:00+01:00", "P1D", "2026-10-26T02:30:00+01:00"),
        ("2026-10-25T02:30:00+01:00", "P0D", "2026-10-25T02:30:00+01:00"),
        # The day is the site's: 23:30 UTC is the next day in Zurich.
        ("2026-01-30T23:30:00+00:00", "P1M", "2026-02-28T00:30:00+01:00"),
        # Month ends.
        ("2026-01-31T09:00:00+01:00", "P1M", "2026-02-28T09:00:00+01:00"),
        ("2027-12-31T09:00:00+01:00", "P2M", "2028-02-29T09:00:00+01:00"),
        ("2026-08-31T09:00:00+02:00", "P6M", "2027-02-28T09:00:00+01:00"),
        ("2024-02-29T09:00:00+01:00", "P1Y", "2025-02-28T09:00:00+01:00"),
        ("2024-02-29T09:00:00+01:00", "P4Y", "2028-02-29T09:00:00+01:00"),
    ],
)
def test_hours_elapse_and_days_keep_the_time_on_the_wall(start, duration, expected):
    found = add(datetime.fromisoformat(start), parse(duration), ZURICH)

    assert found.isoformat() == expected
    assert found.tzinfo is ZURICH


def test_a_gap_of_half_an_hour_moves_by_half_an_hour():
    """Lord Howe Island: 4 October 2026, 02:00 becomes 02:30."""
    found = on_the_wall(date(2026, 10, 4), time(2, 15), LORD_HOWE)

    assert found.isoformat() == "2026-10-04T02:45:00+11:00"


@pytest.mark.parametrize(
    ("earlier", "later", "hours"),
    [
        ((2026, 3, 28, 12), (2026, 3, 29, 12), 23.0),
        ((2026, 10, 24, 12), (2026, 10, 25, 12), 25.0),
        ((2026, 3, 29, 12), (2026, 3, 28, 12), -23.0),
        ((2026, 7, 1, 12), (2026, 7, 4, 12), 72.0),
    ],
)
def test_elapsed_hours_over_daylight_saving(earlier, later, hours):
    first, second = datetime(*earlier, tzinfo=ZURICH), datetime(*later, tzinfo=ZURICH)

    assert hours_between(first, second) == hours


def test_the_hour_that_occurs_twice_has_an_hour_between():
    first = datetime(2026, 10, 25, 2, 30, tzinfo=ZURICH)

    assert hours_between(first, first.replace(fold=1)) == 1.0


@given(instants, st.integers(0, 24 * 365 * 5), zones, zones)
def test_adding_hours_and_counting_them_is_no_change(instant, hours, zone, own):
    start = instant.astimezone(own)

    assert hours_between(start, add(start, Duration(hours, "hours"), zone)) == hours


@given(
    instants,
    st.sampled_from(["days", "weeks", "months", "years"]),
    st.integers(1, 30),
    zones,
)
def test_calendar_steps_agree_with_another_library(instant, unit, count, zone):
    wall = instant.astimezone(zone).replace(tzinfo=None, fold=0)
    expected = (wall + relativedelta(**{unit: count})).replace(tzinfo=zone)
    assume(datetime_exists(expected))

    found = add(instant, Duration(count, unit), zone)

    assert found.replace(tzinfo=None, fold=0) == expected.replace(tzinfo=None)
    assert found.fold == 0


@given(instants, st.integers(1, 240), st.integers(1, 240), zones)
def test_more_months_never_end_earlier(instant, fewer, more, zone):
    assume(fewer <= more)

    first, second = (add(instant, Duration(n, "months"), zone) for n in (fewer, more))

    assert first.astimezone(UTC) <= second.astimezone(UTC)


@given(instants, zones)
def test_a_step_of_nothing_leaves_the_instant(instant, zone):
    for unit in ("minutes", "hours", "days", "weeks", "months", "years"):
        assert add(instant, Duration(0, unit), zone).astimezone(UTC) == instant


def test_an_instant_without_a_zone_is_refused_in_a_sentence():
    naive = datetime(2026, 3, 2, 2, 40)

    with pytest.raises(ValueError, match="needs a time zone, as in"):
        add(naive, Duration(1, "hours"), ZURICH)
    for pair in ((naive, naive.replace(tzinfo=UTC)), (naive.replace(tzinfo=UTC), naive)):
        with pytest.raises(ValueError, match="needs a time zone, as in"):
            hours_between(*pair)


@pytest.mark.parametrize("duration", ["P9000Y", "P999999999D", "PT99999999H", "P9999999999999M"])
def test_a_result_outside_the_calendar_is_refused_in_a_sentence(duration):
    with pytest.raises(ValueError, match="lies outside the calendar"):
        add(datetime(2026, 3, 2, tzinfo=UTC), parse(duration), ZURICH)


def test_a_fixed_offset_counts_as_aware():
    start = datetime(2026, 3, 2, 2, 40, tzinfo=timezone(timedelta(hours=1)))

    assert add(start, parse("PT1H"), ZURICH) == start + timedelta(hours=1)
