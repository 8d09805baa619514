"""How long it is kept who somebody is: the latest time holds, never a day early, none is made up."""

from __future__ import annotations

import tomllib
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.durations import parse
from thimble.clinical.people_rules import (
    PeopleRules,
    kept_until,
    retention_law,
    shorter,
)
from thimble.clinical.site import SiteError, parse_site

THIRTY = PeopleRules(after_leaving=parse("P30Y"))


@pytest.mark.parametrize(
    ("left", "last"),
    [
        # duties, test vectors: employment end 30 Jun 2025 + 30 years = 30 Jun 2055.
        (date(2025, 6, 30), date(2055, 6, 30)),
        (date(2024, 2, 29), date(2054, 3, 1)),
        (date(2024, 12, 31), date(2054, 12, 31)),
    ],
)
def test_it_is_kept_to_the_day_thirty_years_after_leaving(left, last):
    assert kept_until(THIRTY, None, left, ()) == (last, "site.toml: people.keep_after_leaving")


def test_a_last_exposure_on_29_february_is_kept_forty_years():
    """last exposure 29 Feb 2024 + 40 years = 29 Feb 2064, a leap year as well."""
    rules = PeopleRules(after_leaving=parse("P1Y"), after_exposure=parse("P40Y"))

    assert kept_until(rules, None, date(2024, 3, 1), [date(2024, 2, 29)]) == (
        date(2064, 2, 29), "site.toml: people.keep_after_exposure",
    )  # fmt: skip


def test_nothing_is_erased_where_the_site_sets_no_time_whatever_the_law_says():
    assert kept_until(PeopleRules(), retention_law("us"), date(1950, 1, 1), ()) is None
    assert kept_until(PeopleRules(after_exposure=parse("P40Y")), None, date(1950, 1, 1), ()) is None


def test_the_law_of_the_protocol_is_what_was_read_of_it():
    us, uk = retention_law("us"), retention_law("uk")
    assert us is not None
    assert uk is not None
    assert (us.after_leaving, us.after_exposure, us.standing) == (
        parse("P30Y"), None, "secondary",
    )  # fmt: skip
    assert (uk.after_leaving, uk.after_exposure, uk.standing) == (None, parse("P40Y"), "memory")
    assert retention_law("nowhere") is None


def test_the_law_counts_an_exposure_where_the_site_says_nothing_of_it():
    rules = PeopleRules(after_leaving=parse("P10Y"))
    kept = kept_until(
        rules, retention_law("uk"), date(2026, 1, 1), [date(2001, 5, 4), date(2020, 5, 4)]
    )

    assert kept is not None
    assert kept[0] == date(2060, 5, 4)
    assert "COSHH" in kept[1]


@given(
    st.dates(date(1960, 1, 1), date(2060, 1, 1)),
    st.lists(st.dates(date(1960, 1, 1), date(2060, 1, 1)), max_size=4),
)
def test_no_exposure_ever_shortens_the_time(left, exposures):
    rules = PeopleRules(after_leaving=parse("P30Y"), after_exposure=parse("P40Y"))
    alone, found = kept_until(rules, None, left, ()), kept_until(rules, None, left, exposures)

    assert alone is not None
    assert found is not None
    assert found[0] >= alone[0] >= left + timedelta(days=30 * 365)


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [("P30Y", "P360M", False), ("P359M", "P30Y", True), ("P40Y", "P30Y", False)],
)
def test_times_are_compared_whatever_they_are_counted_in(one, other, said):
    assert shorter(parse(one), parse(other)) is said


@pytest.mark.parametrize(
    ("people", "said"),
    [
        ({"keep_after_leaving": "P29Y"}, "shorter than the 30 years of 29 CFR"),
        ({"keep_after_leaving": "P359M"}, "shorter than the 30 years"),
        ({"keep_after_leaving": "P90D"}, "is a time in months or years"),
        ({"keep_after_leaving": "soon"}, "is a time in months or years"),
        ({"keep_after_exposure": "P0Y"}, "is a time in months or years"),
        ({"keep": "P30Y"}, "is not a key here"),
    ],
)
def test_a_time_that_is_none_or_too_short_is_refused_in_a_sentence(site_settings, people, said):
    with pytest.raises(SiteError, match=said):
        parse_site({**site_settings, "people": people})


def test_a_shorter_time_needs_its_reason(site_settings):
    people = {"keep_after_leaving": "P10Y", "shorter_because": "students alone, counsel 4/2026"}

    assert parse_site({**site_settings, "people": people}).people.after_leaving == parse("P10Y")
    assert parse_site(site_settings).people == PeopleRules()


@pytest.fixture
def site_settings():
    from web.conftest import SITE

    return tomllib.loads(SITE)
