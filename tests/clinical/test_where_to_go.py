"""Where to go: each boundary of the opening hours, and holidays reached by another road."""

# ruff: noqa: DTZ001 - naive datetimes are what is refused here, and what strategies ask for

import tomllib
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.easter import easter
from dateutil.relativedelta import MO, TH, relativedelta
from hypothesis import given
from hypothesis import strategies as st

from clinical.conftest import SITE_TOML
from thimble.clinical.site import parse_site
from thimble.clinical.where_to_go import closed_because, public_holiday, where_to_go

ZONE = ZoneInfo("Europe/Zurich")
TICK = timedelta(microseconds=1)


def at(text):
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def wall(instant):
    return None if instant is None else f"{instant:%Y-%m-%d %H:%M}"


# 2 March 2026 is a Monday.
@pytest.mark.parametrize(
    ("now", "place", "until", "opens_again", "why"),
    [
        ("2026-03-02 02:40", "E", "2026-03-02 08:00", "2026-03-02 08:00", "is closed until 08:00."),
        ("2026-03-02 07:59:59.999999", "E", "2026-03-02 08:00", "2026-03-02 08:00", "until 08:00."),
        ("2026-03-02 08:00", "O", "2026-03-02 12:00", "2026-03-02 13:00", "is open until 12:00."),
        ("2026-03-02 11:59:59.999999", "O", "2026-03-02 12:00", "2026-03-02 13:00", "until 12:00."),
        ("2026-03-02 12:00", "E", "2026-03-02 13:00", "2026-03-02 13:00", "is closed until 13:00."),
        ("2026-03-02 12:59:59.999999", "E", "2026-03-02 13:00", "2026-03-02 13:00", "until 13:00."),
        ("2026-03-02 13:00", "O", "2026-03-02 16:30", "2026-03-03 08:00", "is open until 16:30."),
        ("2026-03-02 16:30", "E", "2026-03-03 08:00", "2026-03-03 08:00", "closed at 16:30."),
        # Friday afternoon to Monday.
        ("2026-03-06 14:59", "O", "2026-03-06 15:00", "2026-03-09 08:00", "is open until 15:00."),
        ("2026-03-06 15:00", "E", "2026-03-09 08:00", "2026-03-09 08:00", "closed at 15:00."),
        ("2026-03-07 10:00", "E", "2026-03-09 08:00", "2026-03-09 08:00", "closed on Saturdays."),
        ("2026-03-08 10:00", "E", "2026-03-09 08:00", "2026-03-09 08:00", "closed on Sundays."),
        # Eve of Good Friday, 3 April 2026; Easter Monday is closed too.
        ("2026-04-02 16:29", "O", "2026-04-02 16:30", "2026-04-07 08:00", "is open until 16:30."),
        ("2026-04-02 16:30", "E", "2026-04-07 08:00", "2026-04-07 08:00", "closed at 16:30."),
        ("2026-04-03 10:00", "E", "2026-04-07 08:00", "2026-04-07 08:00", "today: Good Friday."),
        ("2026-04-06 10:00", "E", "2026-04-07 08:00", "2026-04-07 08:00", "today: Easter Monday."),
        ("2026-04-07 07:59", "E", "2026-04-07 08:00", "2026-04-07 08:00", "is closed until 08:00."),
        # The site's own closed days: a Friday, and Christmas Eve before two holidays and a Sunday.
        ("2026-06-05 10:00", "E", "2026-06-08 08:00", "2026-06-08 08:00", "today: team day."),
        ("2026-12-23 11:59", "O", "2026-12-23 12:00", "2026-12-28 08:00", "is open until 12:00."),
        ("2026-12-24 10:00", "E", "2026-12-28 08:00", "2026-12-28 08:00", "today: Christmas Eve."),
    ],
)
def test_where_to_go_at_each_boundary(site, now, place, until, opens_again, why):
    found = where_to_go(site, at(now))

    places = {"O": site.occupational_medicine, "E": site.emergency_department}
    assert found.place == places[place]
    assert found.then == places["E" if place == "O" else "O"]
    assert (wall(found.until), wall(found.opens_again)) == (until, opens_again)
    assert found.why.startswith("Occupational medicine ")
    assert found.why.endswith(why)


def test_the_clocks_of_spring_move_the_opening_by_an_hour(site):
    """Saturday 28 March to Monday 30 March 2026: 43 hours, not 44, from noon to 08:00."""
    noon = at("2026-03-28 12:00")

    opens = where_to_go(site, noon).until

    assert opens.isoformat() == "2026-03-30T08:00:00+02:00"
    assert opens.astimezone(UTC) - noon.astimezone(UTC) == timedelta(hours=43)


@pytest.mark.parametrize(
    ("day", "hours", "open_for"),
    [
        ("2026-03-29", "01:00-04:00", timedelta(hours=2)),
        ("2026-03-29", "02:30-04:00", timedelta(minutes=30)),
        ("2026-10-25", "01:00-04:00", timedelta(hours=4)),
    ],
)
def test_opening_hours_over_a_change_of_clocks(settings, day, hours, open_for):
    settings["occupational_medicine"]["hours"]["sunday"] = [hours]
    site = parse_site(settings)
    opens = where_to_go(site, at(f"{day} 00:30")).until

    assert where_to_go(site, opens - TICK).place == site.emergency_department
    during = where_to_go(site, opens)
    assert during.place == site.occupational_medicine
    assert during.until.astimezone(UTC) - opens.astimezone(UTC) == open_for


def test_both_passes_of_the_hour_that_occurs_twice_are_open(settings):
    settings["occupational_medicine"]["hours"]["sunday"] = ["01:00-04:00"]
    site = parse_site(settings)
    first = at("2026-10-25 02:30")

    for instant in (first, first.replace(fold=1)):
        assert where_to_go(site, instant).place == site.occupational_medicine


SITE = parse_site(tomllib.loads(SITE_TOML))
CLOSED = {date(2026, 6, 5), date(2026, 12, 24)}
moments = st.datetimes(
    min_value=datetime(2026, 1, 1), max_value=datetime(2026, 12, 31), timezones=st.just(UTC)
)


def zurich_holidays_2026():
    """From the date of Easter and the calendar alone: public holidays in the canton of Zurich."""
    sunday = easter(2026)
    moving = {sunday + timedelta(days=d) for d in (-2, 1, 39, 50)}
    return moving | {
        date(2026, month, day) for month, day in ((1, 1), (5, 1), (8, 1), (12, 25), (12, 26))
    }


@given(moments)
def test_any_moment_agrees_with_the_clock_on_the_wall(moment):
    """The opening hours once more, written as a porter would read them from the door."""
    local = moment.astimezone(ZONE)
    day, clock = local.weekday(), local.time()
    morning = day < 4 and time(8) <= clock < time(12)
    afternoon = day in (0, 1, 3) and time(13) <= clock < time(16, 30)
    friday = day == 4 and time(8) <= clock < time(15)
    closed = local.date() in CLOSED | zurich_holidays_2026()
    is_open = (morning or afternoon or friday) and not closed

    found = where_to_go(SITE, moment)

    assert (found.place == SITE.occupational_medicine) == is_open


@given(moments)
def test_until_is_the_first_instant_at_which_the_answer_changes(moment):
    found = where_to_go(SITE, moment)

    assert found.until.astimezone(UTC) > moment
    before, after = (
        where_to_go(SITE, t) for t in (found.until.astimezone(UTC) - TICK, found.until)
    )
    assert (before.place, before.until) == (found.place, found.until)
    assert after.place == found.then
    again = where_to_go(SITE, found.opens_again)
    assert again.place == SITE.occupational_medicine
    assert found.opens_again.astimezone(UTC) > moment


def test_every_day_of_2026_in_zurich_is_a_holiday_exactly_when_the_calendar_says():
    days = (date(2026, 1, 1) + timedelta(days=n) for n in range(365))

    assert {d for d in days if public_holiday("CH", "ZH", d)} == zurich_holidays_2026()


@pytest.mark.parametrize("year", range(2024, 2031))
def test_moving_holidays_agree_with_their_definitions(year):
    """Good Friday and Easter Monday from the date of Easter; bank holidays and Thanksgiving as defined."""
    sunday = easter(year)
    for days in (-2, 1):
        assert public_holiday("GB", "ENG", sunday + timedelta(days=days))
    first_of = lambda month: date(year, month, 1)  # noqa: E731
    assert public_holiday("GB", "ENG", first_of(5) + relativedelta(weekday=MO(1)))
    assert public_holiday("GB", "ENG", first_of(9) + relativedelta(day=31, month=8, weekday=MO(-1)))
    assert (
        public_holiday("US", "", first_of(11) + relativedelta(weekday=TH(4))) == "Thanksgiving Day"
    )
    assert public_holiday("US", "", first_of(9) + relativedelta(weekday=MO(1))) == "Labor Day"


def test_a_holiday_on_a_weekend_is_kept_on_the_next_working_day():
    """England 2026: Boxing Day is a Saturday, its substitute Monday 28 December (gov.uk)."""
    assert public_holiday("GB", "ENG", date(2026, 12, 28))
    assert not public_holiday("GB", "ENG", date(2026, 12, 29))


def test_holidays_differ_within_a_country():
    """2 January is a holiday in Scotland and not in England."""
    assert public_holiday("GB", "SCT", date(2026, 1, 2))
    assert not public_holiday("GB", "ENG", date(2026, 1, 2))


def test_looking_at_one_year_does_not_change_another():
    public_holiday("CH", "ZH", date(2026, 1, 1))

    assert public_holiday("CH", "ZH", date(2031, 8, 1))
    assert not public_holiday("CH", "ZH", date(2031, 8, 2))


def test_new_year_is_reached_over_the_year_end(site):
    """New Year's Day 2027 is a Friday."""
    found = where_to_go(site, at("2026-12-31 16:30"))

    assert wall(found.opens_again) == "2027-01-04 08:00"


def test_the_site_s_own_reason_comes_before_the_holiday(settings):
    settings["closed_days"].append({"date": date(2026, 12, 25), "reason": "moving house"})

    assert closed_because(parse_site(settings), date(2026, 12, 25)) == "moving house"


def test_a_department_that_does_not_open_again_leaves_emergency(settings):
    settings["occupational_medicine"]["hours"] = {"monday": []}
    site = parse_site(settings)

    found = where_to_go(site, at("2026-03-02 10:00"))

    assert found.place == site.emergency_department
    assert (found.until, found.then, found.opens_again) == (None, None, None)
    assert found.why == "Occupational medicine is closed on Mondays."


def test_now_of_another_zone_is_the_same_moment(site):
    assert where_to_go(site, datetime(2026, 3, 2, 7, 0, tzinfo=UTC)).place.name.startswith("Occ")
    assert where_to_go(site, datetime(2026, 3, 2, 6, 59, tzinfo=UTC)).place.name.startswith("Emer")


def test_a_naive_now_is_refused(site):
    with pytest.raises(ValueError, match="Now needs a time zone"):
        where_to_go(site, datetime(2026, 3, 2, 10))
