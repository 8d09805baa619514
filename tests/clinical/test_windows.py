"""Windows: each boundary just before, on and just after; the words at each change of unit."""

# ruff: noqa: DTZ001 - naive datetimes are what is refused here, and what strategies ask for

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.clinical.windows import WindowKind, ago, span_down, span_up, window_state

START = datetime(2026, 3, 2, 2, 40, tzinfo=UTC)
TICK = timedelta(microseconds=1)
HOUR = timedelta(hours=1)
EARLIEST, TARGET, LATEST = START + 10 * HOUR, START + 20 * HOUR, START + 30 * HOUR


@pytest.mark.parametrize(
    ("now", "kind", "span", "until"),
    [
        (START, "not_yet", 10 * HOUR, EARLIEST),
        (EARLIEST - TICK, "not_yet", TICK, EARLIEST),
        (EARLIEST, "open", 20 * HOUR, TARGET),
        (TARGET, "open", 10 * HOUR, TARGET),
        (TARGET + TICK, "past_target", 10 * HOUR - TICK, LATEST),
        (LATEST, "past_target", timedelta(0), LATEST),
        (LATEST + TICK, "late", TICK, None),
        (LATEST + 2 * HOUR, "late", 2 * HOUR, None),
    ],
)
def test_each_limit_belongs_to_the_window_that_it_ends(now, kind, span, until):
    state = window_state(EARLIEST, TARGET, LATEST, now)

    assert (state.kind, state.span, state.until) == (kind, span, until)


def test_a_window_without_limits_has_none():
    assert window_state(None, None, None, START).kind is WindowKind.NO_LIMIT
    assert window_state(None, None, None, START).words == "no time limit"
    assert window_state(START, None, None, START).kind is WindowKind.NO_LIMIT
    assert window_state(START, None, None, START - TICK).kind is WindowKind.NOT_YET


def test_a_window_with_a_target_alone_is_never_late():
    assert window_state(None, TARGET, None, TARGET).words == "less than 1 min to the target"
    assert window_state(None, TARGET, None, TARGET - HOUR).words == "1 h to the target"
    after = window_state(None, TARGET, None, TARGET + 500 * HOUR)
    assert (after.kind, after.words, after.until) == (
        "past_target",
        "20 days past the target",
        None,
    )


def test_a_window_of_one_instant_is_open_at_it():
    assert window_state(LATEST, LATEST, LATEST, LATEST).kind is WindowKind.OPEN
    assert window_state(LATEST, LATEST, LATEST, LATEST + TICK).kind is WindowKind.LATE
    assert window_state(LATEST, LATEST, LATEST, LATEST - TICK).kind is WindowKind.NOT_YET


@pytest.mark.parametrize(
    ("now", "fraction"),
    [
        (EARLIEST - HOUR, 1.0),
        (EARLIEST, 1.0),
        (EARLIEST + 5 * HOUR, 0.75),
        (LATEST - 5 * HOUR, 0.25),
        (LATEST, 0.0),
        (LATEST + HOUR, 0.0),
    ],
)
def test_the_ring_empties_from_the_earliest_to_the_latest_instant(now, fraction):
    assert window_state(EARLIEST, TARGET, LATEST, now).fraction_left == pytest.approx(fraction)


def test_the_ring_can_start_with_the_exposure_and_is_left_out_without_a_start():
    since = window_state(None, None, LATEST, START + 15 * HOUR, since=START)

    assert since.fraction_left == pytest.approx(0.5)
    assert window_state(None, None, LATEST, START).fraction_left is None


def test_limits_of_other_zones_are_the_same_instants():
    """02:30 occurs twice on 25 October 2026 in Zurich; the second one is an hour later."""
    zone = ZoneInfo("Europe/Zurich")
    first = datetime(2026, 10, 25, 2, 30, tzinfo=zone)
    second = first.replace(fold=1)

    assert window_state(None, None, second, first).words == "1 h left"
    assert window_state(None, None, first, second).words == "1 h late"


@pytest.mark.parametrize(
    ("limits", "sentence"),
    [
        ((LATEST, None, EARLIEST), "opens before its latest instant"),
        ((datetime(2026, 1, 1), None, None), "The earliest instant needs a time zone"),
        ((None, datetime(2026, 1, 1), None), "The target needs a time zone"),
        ((None, None, datetime(2026, 1, 1)), "The latest instant needs a time zone"),
    ],
)
def test_a_window_that_makes_no_sense_is_refused(limits, sentence):
    with pytest.raises(ValueError, match=sentence):
        window_state(*limits, START)


def test_a_target_outside_the_window_counts_as_its_nearer_limit():
    """On 29 March 2026 in Zurich one calendar day is 23 hours: 24 hours lie beyond it."""
    beyond = LATEST + HOUR
    assert window_state(EARLIEST, beyond, LATEST, LATEST).words == "less than 1 min left"
    assert window_state(EARLIEST, beyond, LATEST, TARGET).until == LATEST
    assert window_state(EARLIEST, beyond, LATEST, LATEST + TICK).kind is WindowKind.LATE
    assert window_state(EARLIEST, EARLIEST - HOUR, LATEST, EARLIEST).kind is WindowKind.OPEN
    assert window_state(EARLIEST, START, LATEST, EARLIEST + TICK).kind is WindowKind.PAST_TARGET


def test_a_naive_now_is_refused():
    with pytest.raises(ValueError, match="Now needs a time zone"):
        window_state(None, None, LATEST, datetime(2026, 1, 1))


MIN, DAY = timedelta(minutes=1), timedelta(days=1)


@pytest.mark.parametrize(
    ("span", "down", "up"),
    [
        (timedelta(0), "less than 1 min", "less than 1 min"),
        (MIN - TICK, "less than 1 min", "less than 1 min"),
        (MIN, "1 min", "1 min"),
        (MIN + TICK, "1 min", "2 min"),
        (35 * MIN, "35 min", "35 min"),
        (59 * MIN, "59 min", "59 min"),
        (HOUR - TICK, "59 min", "1 h"),
        (HOUR, "1 h", "1 h"),
        (HOUR + TICK, "1 h", "1 h 1 min"),
        (HOUR + MIN, "1 h 1 min", "1 h 1 min"),
        (2 * HOUR, "2 h", "2 h"),
        (3 * HOUR - TICK, "2 h 59 min", "3 h"),
        (3 * HOUR, "3 h", "3 h"),
        (3 * HOUR + TICK, "3 h", "4 h"),
        (5 * HOUR, "5 h", "5 h"),
        (48 * HOUR - TICK, "47 h", "2 days"),
        (48 * HOUR, "2 days", "2 days"),
        (48 * HOUR + TICK, "2 days", "3 days"),
        (21 * DAY - TICK, "20 days", "3 weeks"),
        (21 * DAY, "3 weeks", "3 weeks"),
        (21 * DAY + TICK, "3 weeks", "4 weeks"),
        (26 * 7 * DAY, "26 weeks", "26 weeks"),
        (27 * 7 * DAY - TICK, "26 weeks", "7 months"),
        (27 * 7 * DAY, "6 months", "7 months"),
        (730.5 * DAY - TICK, "23 months", "2 years"),
        (730.5 * DAY, "2 years", "2 years"),
        (730.5 * DAY + TICK, "2 years", "3 years"),
    ],
)
def test_words_at_each_change_of_unit(span, down, up):
    assert (span_down(span), span_up(span)) == (down, up)


def test_a_negative_span_is_refused():
    with pytest.raises(ValueError, match="0 or more"):
        span_down(-TICK)


UNITS = {
    "min": MIN,
    "h": HOUR,
    "days": DAY,
    "weeks": 7 * DAY,
    "months": 30.4375 * DAY,
    "years": 365.25 * DAY,
}


def read_back(words):
    parts = words.split()
    return sum((int(n) * UNITS[u] for n, u in zip(parts[::2], parts[1::2], strict=True)), 0 * DAY)


@given(st.timedeltas(min_value=MIN, max_value=timedelta(days=4000)))
def test_words_never_promise_more_time_than_there_is_nor_open_too_early(span):
    """Read back from the words, by another road than they were made."""
    assert read_back(span_down(span)) <= span <= read_back(span_up(span))


@pytest.mark.parametrize(
    ("earlier", "words"),
    [
        (timedelta(0), "just now"),
        (MIN - TICK, "just now"),
        (MIN, "1 min ago"),
        (35 * MIN, "35 min ago"),
        (-5 * HOUR, "in 5 h"),
    ],
)
def test_how_long_ago(earlier, words):
    assert ago(START - earlier, START) == words


def test_words_of_a_window():
    assert window_state(None, None, START + 5 * HOUR, START).words == "5 h left"
    assert window_state(None, None, START + 35 * MIN, START).words == "35 min left"
    assert window_state(START + 21 * DAY, None, None, START).words == "opens in 3 weeks"
    assert window_state(None, None, START, START + 2 * HOUR).words == "2 h late"
