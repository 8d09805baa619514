"""Windows in instants become windows in days that are never wider, whatever the clocks do."""

# ruff: noqa: DTZ001 - naive datetimes are what strategies ask for

import tomllib
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinical.conftest import SITE_TOML
from thimble.clinical.site import parse_site
from thimble.clinical.visits import Item, day_window, open_days, plan_visits
from thimble.clinical.where_to_go import openings

ZONE = ZoneInfo("Europe/Zurich")
DAY = timedelta(days=1)


def at(text):
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def a_site(**hours):
    """The invented hospital, with other hours on some days of the week."""
    settings = tomllib.loads(SITE_TOML)
    settings["occupational_medicine"]["hours"] |= hours
    return parse_site(settings)


SITE = a_site()
# Open in the hours that daylight saving skips and repeats.
NIGHTS = a_site(
    saturday=["00:00-23:59"],
    sunday=["00:00-01:30", "02:30-03:30", "22:00-23:59"],
    friday=["23:00-23:59"],
)


def window(earliest, latest, site=SITE, target=None):
    days = open_days(site, date(2026, 3, 2), date(2026, 12, 31))
    return day_window(
        None if earliest is None else at(earliest),
        None if target is None else at(target),
        None if latest is None else at(latest),
        site,
        days,
    )


# Monday 2 March 2026: 08:00-12:00 and 13:00-16:30.
@pytest.mark.parametrize(
    ("earliest", "first"),
    [
        ("2026-03-02 07:59", 2),
        ("2026-03-02 08:00", 2),
        ("2026-03-02 08:00:00.000001", 3),
        ("2026-03-02 12:30", 3),
        ("2026-03-02 23:59", 3),
        ("2026-03-07 10:00", 7),
    ],
)
def test_the_first_day_is_one_on_which_no_session_begins_too_early(earliest, first):
    assert window(earliest, None).earliest == date(2026, 3, first)


@pytest.mark.parametrize(
    ("latest", "last"),
    [
        ("2026-03-05 07:59", 4),
        ("2026-03-05 16:29:59.999999", 4),
        ("2026-03-05 16:30", 5),
        ("2026-03-05 23:00", 5),
        ("2026-03-07 00:00", 7),
    ],
)
def test_the_last_day_is_one_on_which_no_session_ends_too_late(latest, last):
    assert window(None, latest).latest == date(2026, 3, last)


def test_a_review_within_72_hours_of_friday_afternoon_is_due_on_monday_before_that_hour():
    found = window("2026-03-06 15:30", "2026-03-09 15:30")

    (part,) = found.hours
    assert (found.earliest, found.latest) == (date(2026, 3, 9), date(2026, 3, 9))
    assert (part.day, part.opens, part.closes) == (
        date(2026, 3, 9),
        at("2026-03-09 08:00"),
        at("2026-03-09 15:30"),
    )


def test_parts_of_two_days_are_taken_where_no_whole_day_is_left():
    found = window("2026-03-05 15:00", "2026-03-06 10:00")

    assert [(part.opens, part.closes) for part in found.hours] == [
        (at("2026-03-05 15:00"), at("2026-03-05 16:30")),
        (at("2026-03-06 08:00"), at("2026-03-06 10:00")),
    ]


@pytest.mark.parametrize(
    ("earliest", "latest", "parts"),
    [
        ("2026-03-06 14:59:59", "2026-03-08 10:00", 1),
        ("2026-03-06 15:00", "2026-03-08 10:00", 0),
        ("2026-03-07 10:00", "2026-03-09 08:00", 1),
        ("2026-03-07 10:00", "2026-03-09 07:59:59", 0),
        ("2026-03-02 12:00", "2026-03-02 12:59", 0),
    ],
)
def test_a_part_of_a_day_counts_from_its_first_moment(earliest, latest, parts):
    """Friday closes at 15:00, exclusive; Monday opens at 08:00, inclusive; noon is a break."""
    found = window(earliest, latest)

    assert len(found.hours) == parts
    days = open_days(SITE, date(2026, 3, 2), date(2026, 3, 31))
    plan = plan_visits([Item("a", found.earliest, None, found.latest)], days)
    assert len(plan.visits) == parts


def test_a_whole_day_is_taken_before_any_part():
    assert window("2026-03-02 09:00", "2026-03-03 16:30").hours == ()


def test_the_target_is_its_day_in_the_zone_of_the_site():
    found = day_window(
        None,
        datetime(2026, 3, 2, 23, 30, tzinfo=UTC),
        None,
        SITE,
        open_days(SITE, date(2026, 3, 2), date(2026, 3, 9)),
    )

    assert (found.earliest, found.target, found.latest) == (None, date(2026, 3, 3), None)


@pytest.mark.parametrize("which", [0, 1, 2])
def test_instants_without_a_zone_are_refused(which):
    instants = [None, None, None]
    instants[which] = datetime(2026, 3, 2, 8)

    with pytest.raises(ValueError, match="needs a time zone"):
        day_window(*instants, SITE, open_days(SITE, date(2026, 3, 2), date(2026, 3, 9)))


def test_a_window_that_ends_before_it_opens_is_refused():
    with pytest.raises(ValueError, match="opens before its latest instant"):
        window("2026-03-03 08:00", "2026-03-02 08:00")


# Around both changes of the clocks: 29 March and 25 October 2026.
moments = st.one_of(
    st.datetimes(datetime(2026, 3, 26), datetime(2026, 4, 2), timezones=st.just(UTC)),
    st.datetimes(datetime(2026, 10, 22), datetime(2026, 10, 29), timezones=st.just(UTC)),
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 1), timezones=st.just(UTC)),
)
spans = st.timedeltas(timedelta(0), timedelta(days=9))


@settings(max_examples=500)
@given(moments, spans, st.sampled_from([SITE, NIGHTS]))
def test_no_moment_of_any_visit_lies_outside_the_instants(start, span, site):
    """Every session of every day in the window, or the hours that it names."""
    end = start + span
    days = open_days(site, start.date() - DAY, end.date() + 3 * DAY)

    found = day_window(start, None, end, site, days)

    named = {part.day: part for part in found.hours}
    for day in days.days:
        if not found.earliest <= day <= found.latest:
            continue
        if named:
            opens, closes = named[day].opens, named[day].closes
        else:
            opens, closes = openings(site, day)[0][0], openings(site, day)[-1][1]
        # In UTC: datetimes of one zone compare as wall times, which here occur twice.
        opens, closes = opens.astimezone(UTC), closes.astimezone(UTC)
        assert start <= opens <= closes <= end
        assert any(
            one.astimezone(UTC) <= opens < two.astimezone(UTC) for one, two in openings(site, day)
        )


@settings(max_examples=500)
@given(moments, spans, st.sampled_from([SITE, NIGHTS]))
def test_no_day_that_lies_wholly_in_the_window_is_lost(start, span, site):
    """And where there is none, no part of a day in which somebody could be seen is."""
    end = start + span
    days = open_days(site, start.date() - DAY, end.date() + 3 * DAY)

    found = day_window(start, None, end, site, days)

    sessions = {
        day: [(a.astimezone(UTC), b.astimezone(UTC)) for a, b in openings(site, day)]
        for day in days.days
    }
    whole = {
        day for day, times in sessions.items() if all(start <= a and b <= end for a, b in times)
    }
    some = {day for day, times in sessions.items() if any(start < b and a <= end for a, b in times)}
    inside = {day for day in days.days if found.earliest <= day <= found.latest}
    assert inside == (whole or some)


@settings(max_examples=200)
@given(moments, st.sampled_from([SITE, NIGHTS]))
def test_a_window_without_an_end_has_none(start, site):
    days = open_days(site, start.date() - DAY, start.date() + 20 * DAY)

    opening = day_window(start, None, None, site, days)
    closing = day_window(None, None, start, site, days)

    assert (opening.latest, closing.earliest if not closing.hours else None) == (None, None)
    assert all(
        a.astimezone(UTC) >= start
        for day in days.days
        if day >= opening.earliest
        for a, _ in openings(site, day)
    )
