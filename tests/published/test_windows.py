"""Windows and dates of the published schedules, worked out on a calendar outside this code."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from thimble.clinical.durations import add, parse
from thimble.clinical.windows import WindowKind, window_state

ZONE = ZoneInfo("Europe/Zurich")
HIV = datetime(2026, 1, 1, 9, tzinfo=ZONE)
HBV = datetime(2026, 3, 2, 10, tzinfo=ZONE)


def plus(start, duration):
    return add(start, parse(duration), ZONE)


@pytest.mark.parametrize(
    ("duration", "day"),
    [
        ("P28D", date(2026, 1, 29)),  # four weeks of prophylaxis: Kuhar 2013, UK 2021
        ("P45D", date(2026, 2, 15)),  # UK 2021, 45 days after the end or the exposure
        ("P73D", date(2026, 3, 15)),  # UK 2021, 28 + 45 days
        ("P4W", date(2026, 1, 29)),
        ("P6W", date(2026, 2, 12)),
        ("P12W", date(2026, 3, 26)),  # US 2025, final test
        ("P4M", date(2026, 5, 1)),  # Kuhar 2013, final antigen/antibody test
        ("P6M", date(2026, 7, 1)),
        ("P12M", date(2027, 1, 1)),
        ("P1Y", date(2027, 1, 1)),
    ],
)
def test_hiv_follow_up_of_an_exposure_on_new_years_day_falls_on(duration, day):
    found = plus(HIV, duration)

    assert found.date() == day
    assert (found.hour, found.minute) == (9, 0)


@pytest.mark.parametrize(
    ("elapsed", "kind"),
    [
        (timedelta(hours=72) - timedelta(microseconds=1), WindowKind.OPEN),
        (timedelta(hours=72), WindowKind.OPEN),
        (timedelta(hours=72, microseconds=1), WindowKind.LATE),
    ],
)
def test_72_hours_to_the_instant_is_in_time_and_any_more_is_late(elapsed, kind):
    """Kuhar 2013, Box 1: the trigger for expert advice is a report later than 72 h."""
    latest = plus(HIV, "PT72H")

    assert latest == datetime(2026, 1, 4, 9, tzinfo=ZONE)
    assert window_state(HIV, None, latest, HIV + elapsed).kind is kind


def test_72_hours_are_elapsed_hours_over_the_change_to_summer_time():
    """Exposed on Friday at noon; the clocks go forward on Sunday: the limit is Monday 13:00."""
    exposed = datetime(2026, 3, 27, 12, tzinfo=ZONE)
    latest = plus(exposed, "PT72H")

    assert latest.isoformat() == "2026-03-30T13:00:00+02:00"
    on_it = datetime(2026, 3, 30, 11, tzinfo=UTC)
    assert window_state(exposed, None, latest, on_it).kind is WindowKind.OPEN
    assert window_state(exposed, None, latest, on_it + timedelta(seconds=1)).kind is WindowKind.LATE


@pytest.mark.parametrize(
    ("duration", "day"),
    [
        ("PT48H", date(2026, 1, 3)),  # US 2020: baseline
        ("P3W", date(2026, 1, 22)),  # US 2020: RNA from
        ("P6W", date(2026, 2, 12)),  # US 2020: RNA to; UK: first RNA
        ("P4M", date(2026, 5, 1)),  # US 2020: antibody from
        ("P6M", date(2026, 7, 1)),  # US 2020: antibody to
        ("P12W", date(2026, 3, 26)),  # UK: RNA and antibody
        ("P24W", date(2026, 6, 18)),  # UK: antibody
    ],
)
def test_hepatitis_c_follow_up_of_an_exposure_on_new_years_day_falls_on(duration, day):
    assert plus(HIV, duration).date() == day


@pytest.mark.parametrize(
    ("start", "duration", "day"),
    [
        # US 2018 (MMWR Recomm Rep 67(1)), unvaccinated worker exposed on 2 March 2026.
        (date(2026, 3, 2), "PT24H", date(2026, 3, 3)),  # HBIG, preferred
        (date(2026, 3, 2), "P7D", date(2026, 3, 9)),  # HBIG, limit
        (date(2026, 3, 2), "P6M", date(2026, 9, 2)),  # infection tests; anti-HBs after HBIG
        (date(2026, 3, 2), "P4W", date(2026, 3, 30)),  # second dose, earliest
        (date(2026, 9, 2), "P1M", date(2026, 10, 2)),  # titre after a third dose, from
        (date(2026, 9, 2), "P2M", date(2026, 11, 2)),  # titre after a third dose, to
        (date(2026, 3, 30), "P1M", date(2026, 4, 30)),  # titre after a second and last dose
        (date(2026, 3, 2), "P4M", date(2026, 7, 2)),  # 2013: anti-HBs after HBIG
        (date(2026, 3, 2), "P1M", date(2026, 4, 2)),  # second HBIG of a non-responder
        (date(2025, 9, 1), "P16W", date(2025, 12, 22)),  # third dose, earliest
        (date(2025, 9, 1), "P6M", date(2026, 3, 1)),  # third dose, recommended
        (date(2026, 3, 2), "P2M", date(2026, 5, 2)),
        (date(2026, 1, 28), "P4W", date(2026, 2, 25)),  # repeat of a dose given too early
        (date(2025, 10, 6), "P8W", date(2025, 12, 1)),
        (date(2025, 12, 17), "P8W", date(2026, 2, 11)),
        (date(2026, 2, 2), "P7D", date(2026, 2, 9)),  # accelerated course
        (date(2026, 2, 2), "P21D", date(2026, 2, 23)),
        (date(2026, 2, 2), "P30D", date(2026, 3, 4)),
        (date(2026, 2, 2), "P12M", date(2027, 2, 2)),
        # 29 CFR 1910.1030: baseline sample kept 90 days; written opinion within 15 days.
        (date(2025, 1, 1), "P90D", date(2025, 4, 1)),
        (date(2025, 1, 10), "P15D", date(2025, 1, 25)),
        # Records: employment + 30 years (1910.1020); end of exposure + 40 years (2000/54/EC).
        (date(2025, 6, 30), "P30Y", date(2055, 6, 30)),
        (date(2024, 2, 29), "P40Y", date(2064, 2, 29)),
    ],
)
def test_hepatitis_b_and_legal_dates_fall_on(start, duration, day):
    instant = datetime(start.year, start.month, start.day, 10, tzinfo=ZONE)

    found = plus(instant, duration)

    assert found.date() == day
    assert (found.hour, found.minute) == (10, 0)


@pytest.mark.parametrize(
    ("elapsed", "kind", "words"),
    [
        (timedelta(hours=19), WindowKind.OPEN, "6 days left"),
        (timedelta(hours=24), WindowKind.OPEN, "6 days left"),
        (timedelta(hours=24, seconds=1), WindowKind.PAST_TARGET, "5 days left, past the target"),
        (timedelta(days=7), WindowKind.PAST_TARGET, "less than 1 min left, past the target"),
        (timedelta(days=7, seconds=1), WindowKind.LATE, "less than 1 min late"),
        (timedelta(days=9), WindowKind.LATE, "2 days late"),
    ],
)
def test_hepatitis_b_immunoglobulin_best_in_a_day_and_within_seven(elapsed, kind, words):
    """US 2018: as soon as possible, preferably within 24 h; value unclear after 7 days."""
    state = window_state(HBV, plus(HBV, "PT24H"), plus(HBV, "P7D"), HBV + elapsed)

    assert (state.kind, state.words) == (kind, words)
