"""Dates, windows, hours and table cells in words."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from thimble.clinical.saying import day, elapsed, minute, stamp
from thimble.clinical.site import Hours
from thimble.documents.words import (
    cell_in_words,
    duration_in_words,
    hours_in_words,
    window_for_a_person,
    window_in_full,
)
from thimble.ledger.plan import Window
from thimble.protocol.feel import parse_codes, parse_numbers

ZURICH = ZoneInfo("Europe/Zurich")
NOW = datetime(2026, 11, 26, 3, 45, tzinfo=ZURICH)


def test_an_instant_is_told_in_the_zone_of_the_site_not_of_the_machine():
    """26 November 2026 is a Thursday (ISO week date 2026-W48-4)."""
    at = datetime(2026, 11, 26, 1, 40, tzinfo=UTC)

    assert minute(at, ZURICH) == "Thu 26 Nov 2026, 02:40"
    assert day(at, ZoneInfo("America/New_York")) == "Wed 25 Nov 2026"
    assert stamp(at, ZURICH) == "Thu 26 Nov 2026, 02:40 CET (UTC+01:00)"
    assert stamp(at, UTC) == "Thu 26 Nov 2026, 01:40 (UTC+00:00)"


def test_the_hour_that_comes_twice_in_autumn_is_told_apart_by_its_offset():
    first = datetime(2026, 10, 25, 2, 30, tzinfo=ZURICH)

    assert stamp(first, ZURICH).endswith("CEST (UTC+02:00)")
    assert stamp(first.replace(fold=1), ZURICH).endswith("CET (UTC+01:00)")


@pytest.mark.parametrize(
    ("minutes", "told"),
    [
        (-1, "0 min"), (0, "0 min"), (59, "59 min"), (60, "1 h"), (61, "1 h 1 min"),
        (72 * 60 - 1, "71 h 59 min"), (72 * 60, "3 days"), (5 * 24 * 60 - 1, "4 days"),
    ],
)  # fmt: skip
def test_elapsed_time_is_never_rounded_up(minutes: int, told: str):
    assert elapsed(NOW, NOW + timedelta(minutes=minutes)) == told


def after(**span: float) -> datetime:
    return NOW + timedelta(**span)


@pytest.mark.parametrize(
    ("earliest", "target", "latest", "told"),
    [
        (NOW, None, after(days=3), "As soon as you can, no later than Sun 29 Nov 2026, 03:45"),
        (None, after(hours=2), None, "As soon as you can, best by Thu 26 Nov 2026, 05:45"),
        (None, None, None, "As soon as you can"),
        (NOW, None, NOW, "As soon as you can, no later than Thu 26 Nov 2026, 03:45"),
        (None, None, after(minutes=-1), "Was due by Thu 26 Nov 2026, 03:44. "
         "Ask today whether it is still of use."),
        (after(days=28), None, after(days=42), "Between Thu 24 Dec 2026 and Thu 7 Jan 2027"),
        (after(days=84), after(days=84), None, "On Thu 18 Feb 2027 or soon after"),
        (after(days=84), None, after(days=84), "On Thu 18 Feb 2027"),
        # Seven days on is still told to the minute, a minute later by day.
        (None, None, after(days=7), "As soon as you can, no later than Thu 3 Dec 2026, 03:45"),
        (None, None, after(days=7, minutes=1), "As soon as you can, no later than Thu 3 Dec 2026"),
    ],
)  # fmt: skip
def test_a_window_is_told_to_the_one_who_acts(
    earliest: datetime | None, target: datetime | None, latest: datetime | None, told: str
):
    assert window_for_a_person(Window(earliest, target, latest), NOW, ZURICH) == told


def test_a_window_that_waits_names_what_it_waits_for():
    window = Window(None, None, None, waits_for="hbig_first_dose")

    assert window_for_a_person(window, NOW, ZURICH, "Give the first dose").endswith(
        "once this is done: Give the first dose"
    )
    assert window_in_full(window, NOW, ZURICH)["earliest"] == "after: hbig_first_dose"


def test_a_clinician_is_told_each_limit_to_the_minute():
    window = Window(NOW, None, NOW + timedelta(days=90))

    assert window_in_full(window, NOW, ZURICH) == {
        "earliest": "now", "target": "–", "latest": "Wed 24 Feb 2027, 03:45",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("-", "any"),
        ("<= 72 h", "72 h or less"),
        ("> 72 h", "more than 72 h"),
        ("< 10", "less than 10 h"),
        (">= 60", "60 h or more"),
        ("72", "72 h"),
        ("< 24, > 168", "less than 24 h or more than 168 h"),
        ("not([10..100])", "any but 10 h or more, up to and including 100 h"),
        ("[10..100)", "10 h or more, less than 100 h"),
        ("(24..168] h", "more than 24 h, up to and including 168 h"),
        ("none, incomplete", "No dose or Started, not complete"),
        ("not(none)", "any but No dose"),
        ("not(none, incomplete)", "any but No dose or Started, not complete"),
        ("something_else", "something else"),
    ],
)
def test_a_cell_keeps_its_open_and_closed_ends_in_words(cell: str, told: str):
    labels = {"none": "No dose", "incomplete": "Started, not complete"}

    codes = (*labels, "something_else")
    coded = cell[:1].isalpha() and not cell.startswith("not([")
    test = parse_codes(cell, codes) if coded else parse_numbers(cell, "h")
    assert cell_in_words(test, labels, "h") == told


@pytest.mark.parametrize(
    ("written", "told"),
    [("PT72H", "72 hours"), ("PT1H", "1 hour"), ("P7D", "7 days"), ("P6W", "6 weeks"),
     ("P4M", "4 months"), ("PT30M", "30 minutes"), ("-", "")],
)  # fmt: skip
def test_minutes_and_months_are_not_mistaken_for_each_other(written: str, told: str):
    assert duration_in_words(written) == told


def test_opening_hours_join_days_that_are_alike():
    assert hours_in_words(Hours(always=True)) == "Day and night, every day"
    assert hours_in_words(Hours()) == "No fixed hours"
