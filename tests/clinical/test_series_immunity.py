"""Immunity and the next step, row by row of the reference texts, with each threshold at its edge.

US rows: Immunize.org, Ask the Experts: hepatitis B (21 July 2023), as `response.csv` cites it. UK rows are
remembered from the Green Book, chapter 18, and so marked there.
"""

from __future__ import annotations

from datetime import date

import pytest

from clinical.clearance import doses, marker, said, short, titre
from thimble.clinical.series import Contraindicated, Declined, PartialDate

TODAY = "2026-03-02"
FIRST = doses("2015-01-01", "2015-02-01", "2015-07-01")
SECOND = doses("2016-01-01", "2016-02-01", "2016-07-01")
CLEAN = [
    marker("hbsag", "negative", "2016-09-01"),
    marker("anti_hbc_total", "negative", "2016-09-01"),
]


@pytest.mark.parametrize(
    ("value", "us", "uk"),
    [
        (9.99, ("not_immune", "second_series"), ("not_immune", "infection_tests")),
        ("<10", ("not_immune", "second_series"), ("not_immune", "infection_tests")),
        ("<=10", ("not_known", "titre"), ("not_known", "titre")),
        (10.0, ("immune", "none"), ("immune", "booster")),
        (99.9, ("immune", "none"), ("immune", "booster")),
        (">10", ("immune", "none"), ("not_known", "titre")),
        (100.0, ("immune", "none"), ("immune", "none")),
        (">1000", ("immune", "none"), ("immune", "none")),
        ("positive", ("not_known", "titre"), ("not_known", "titre")),
        ("indeterminate", ("not_known", "titre"), ("not_known", "titre")),
        ("<100", ("not_known", "titre"), ("not_known", "titre")),
    ],
)
def test_a_titre_six_weeks_after_the_series_is_read_at_its_thresholds(value, us, uk):
    evidence = (FIRST, titre(value, "2015-08-12"))

    assert short(*evidence)[:2] == us
    assert short(*evidence, protocol="uk")[:2] == uk


@pytest.mark.parametrize(
    ("drawn", "expected"),
    [
        ("2015-07-28", ("not_known", "titre")),  # 27 days after the dose: too early to say
        ("2015-07-29", ("not_immune", "second_series")),  # 28 days
        ("2015-09-01", ("not_immune", "second_series")),  # two months
        ("2015-09-02", ("not_known", "challenge_dose")),  # a day more: waned, or never responded
        ("2015-08", ("not_immune", "second_series")),  # any day of August
        ("2015-07", ("not_known", "titre")),
        ("2015-09", ("not_known", "challenge_dose")),
        ("2015", ("not_known", "titre")),
    ],
)
def test_when_a_low_titre_was_drawn_decides_what_it_says(drawn, expected):
    assert short(FIRST, titre(4, drawn))[:2] == expected


@pytest.mark.parametrize(
    ("drawn", "expected"),
    [
        ("2015-07-28", ("not_known", "titre")),
        ("2015-07-29", ("not_immune", "infection_tests")),
        ("2015-09-01", ("not_immune", "infection_tests")),
        ("2015-09-02", ("not_known", "booster")),
    ],
)
def test_the_same_days_decide_in_the_united_kingdom(drawn, expected):
    assert short(FIRST, titre(4, drawn), protocol="uk")[:2] == expected


def test_the_waits_of_the_united_kingdom():
    assert short(FIRST, on="2015-07-02", protocol="uk") == ("not_known", "titre", "2015-08-01")
    early = (doses("2026-04-01"), marker("hbsag", "positive", "2026-04-10"))
    assert short(*early, on="2026-04-11", protocol="uk")[1:] == ("infection_tests", "2026-04-29")
    course = (doses("2025-09-01", "2025-10-06", "2026-03-01"), doses("2026-02-10/30"))
    passive, own = (
        short(*course, titre(150, day), on="2026-09-01", protocol="uk")
        for day in ("2026-08-09", "2026-08-10")
    )
    assert (passive[0], own[0]) == ("not_known", "immune")


def test_a_complete_series_never_tested_needs_a_titre_a_month_after_the_last_dose():
    assert short(FIRST) == ("not_known", "titre", TODAY)
    assert short(FIRST, on="2015-07-02") == ("not_known", "titre", "2015-08-01")


def test_a_documented_response_outlasts_a_later_fall():
    assert short(FIRST, titre(56, "2015-08-10"), titre(4, TODAY)) == ("immune", "none", "")


def test_an_unfinished_series_is_finished_whatever_the_titre():
    """Worked example: doses 1 September and 6 October 2025, anti-HBs 85."""
    found = said(doses("2025-09-01", "2025-10-06"), titre(85, "2025-11-20"))

    assert (found.immunity, found.next_step, found.series) == ("not_known", "dose", "incomplete")
    assert found.next_dose_earliest == date(2025, 12, 22)
    assert found.next_dose_recommended == date(2026, 3, 1)
    assert found.next_due == date(2026, 3, 2)


def test_the_challenge_dose_is_followed_by_a_titre_that_decides():
    """Worked example: childhood series, anti-HBs 6 on 2 March, challenge that day, 240 on 10 April."""
    begun = (FIRST, titre(6, TODAY), doses(TODAY))

    assert short(*begun) == ("not_known", "titre", "2026-04-02")
    assert short(*begun, titre(240, "2026-04-10"), on="2026-04-11") == ("immune", "none", "")
    failed = said(*begun, titre(4, "2026-04-10"), on="2026-04-11")
    assert (failed.immunity, failed.next_step) == ("not_immune", "second_series")
    # The challenge dose counts as dose 1 of the second series.
    assert failed.next_dose_earliest == date(2026, 3, 30)


def test_a_second_series_under_way_goes_on_by_the_schedule():
    found = said(FIRST, titre(4, "2015-08-10"), doses("2026-01-05", "2026-02-02"))

    assert (found.next_step, found.valid_doses) == ("second_series", 5)
    assert found.next_dose_earliest == date(2026, 4, 27)  # 16 weeks after its first dose
    assert found.next_dose_recommended == date(2026, 7, 5)


def test_six_doses_without_response_need_both_markers_and_then_counsel():
    """Worked example: six valid doses, titre below 10."""
    low = titre("<10", "2016-08-10")

    assert said(FIRST, SECOND).series == "two_complete"
    assert said(FIRST, SECOND).valid_doses == 6
    assert short(FIRST, SECOND)[:2] == ("not_known", "titre")
    assert short(FIRST, SECOND, low)[:2] == ("not_immune", "infection_tests")
    assert short(FIRST, SECOND, low, CLEAN)[:2] == ("non_responder", "counsel_non_responder")
    assert short(FIRST, SECOND, low, CLEAN[0])[:2] == ("not_immune", "infection_tests")
    old = [
        marker("hbsag", "negative", "2014-09-01"),
        marker("anti_hbc_total", "negative", "2014-09-01"),
    ]
    assert short(FIRST, SECOND, low, old)[:2] == ("not_immune", "infection_tests")
    both = [
        marker("hbsag", "positive", "2016-09-01"),
        marker("anti_hbc_total", "positive", "2016-09-01"),
    ]
    assert short(FIRST, SECOND, low, both)[:2] == ("infected", "refer")


@pytest.mark.parametrize("protocol", ["us", "uk"])
def test_two_series_never_tested_in_time_make_nobody_a_non_responder(protocol):
    """Row P-8: a titre taken late cannot tell waning from non-response; one dose and its titre can."""
    late = (FIRST, SECOND, titre(4, "2026-01-05"))
    challenged = (*late, doses("2026-01-12"))

    assert short(*late, protocol=protocol)[0] == "not_known"
    assert short(*late, protocol=protocol)[1] == {"us": "challenge_dose", "uk": "booster"}[protocol]
    assert short(*challenged, protocol=protocol)[:2] == ("not_known", "titre")
    assert short(*challenged, titre(400, "2026-02-16"), protocol=protocol)[:2] == ("immune", "none")
    failed = (*challenged, titre("<10", "2026-02-16"))
    assert short(*failed, protocol=protocol)[:2] == ("not_immune", "infection_tests")
    tested = [
        marker("hbsag", "negative", "2026-02-23"),
        marker("anti_hbc_total", "negative", "2026-02-23"),
    ]
    assert short(*failed, tested, protocol=protocol)[0] == "non_responder"


def test_the_same_in_the_united_kingdom_after_the_first_course():
    low = titre(4, "2015-08-10")
    clean = [
        marker("hbsag", "negative", "2015-09-01"),
        marker("anti_hbc_total", "negative", "2015-09-01"),
    ]

    assert short(FIRST, low, protocol="uk")[:2] == ("not_immune", "infection_tests")
    assert short(FIRST, low, clean, protocol="uk")[:2] == ("not_immune", "second_series")


def test_one_further_dose_settles_a_low_response_in_the_united_kingdom():
    """Worked example: titre 45 six weeks after the course; one extra dose, no titre after it."""
    low = (FIRST, titre(45, "2015-08-12"))

    assert short(*low, protocol="uk")[:2] == ("immune", "booster")
    assert short(*low, doses("2015-08-20"), protocol="uk") == ("immune", "none", "")


@pytest.mark.parametrize(
    ("markers", "expected"),
    [
        ({"hbsag": "positive", "anti_hbc_total": "positive"}, ("infected", "refer")),
        ({"hbsag": "positive"}, ("not_known", "refer")),
        ({"hbsag": "indeterminate"}, ("not_known", "infection_tests")),
        ({"hbsag": "negative", "anti_hbc_total": "positive", "anti_hbc_igm": "negative"},
         ("isolated_core", "infection_tests")),
        ({"hbsag": "negative", "anti_hbc_total": "positive", "anti_hbc_igm": "negative",
          "hbv_dna": "negative"}, ("isolated_core", "challenge_dose")),
        ({"hbsag": "negative", "anti_hbc_total": "positive", "anti_hbc_igm": "positive"},
         ("not_known", "refer")),
        ({"hbsag": "negative", "anti_hbc_total": "negative", "hbv_dna": "positive"},
         ("not_known", "refer")),
        ({"hbsag": "negative", "anti_hbc_total": "negative"}, ("not_known", "dose")),
    ],
)  # fmt: skip
def test_markers_of_infection_come_before_the_vaccine(markers, expected):
    panel = [marker(code, word, "2025-06-01") for code, word in markers.items()]
    if markers.get("anti_hbc_total") == "positive" and "anti_hbc_igm" in markers:
        panel.append(titre(2, "2025-06-01"))

    assert short(panel)[:2] == expected


def test_past_infection_needs_no_vaccine():
    panel = [
        marker("hbsag", "negative", "2025-06-01"),
        marker("anti_hbc_total", "positive", "2025-06-01"),
        titre(300, "2025-06-01"),
    ]
    found = said(panel)

    assert (found.immunity, found.next_step, found.next_dose_earliest) == (
        "past_infection",
        "none",
        None,
    )


def test_antigen_within_28_days_of_a_dose_labels_nobody():
    """Worked example: HBsAg positive on 10 April, dose on 1 April: repeat from 29 April."""
    early = (doses("2026-04-01"), marker("hbsag", "positive", "2026-04-10"))
    late = (doses("2026-04-01"), marker("hbsag", "positive", "2026-04-29"))

    assert short(*early, on="2026-04-11") == ("not_known", "infection_tests", "2026-04-29")
    assert short(*late, on="2026-04-30") == ("not_known", "refer", "2026-04-30")


def test_antigen_once_found_is_not_undone_by_a_later_negative():
    found = short(
        marker("hbsag", "positive", "2020-01-01"), marker("hbsag", "negative", "2025-01-01")
    )

    assert found[:2] == ("not_known", "refer")


def test_antibody_after_immunoglobulin_says_nothing_until_six_months():
    course = doses("2025-09-01", "2025-10-06", "2026-03-01")
    given = doses("2026-02-10/30")
    on = "2026-09-01"

    assert short(course, given, titre(50, "2026-08-09"), on=on)[:2] == ("not_known", "titre")
    assert short(course, given, titre(50, "2026-08-10"), on=on)[:2] == ("immune", "none")
    assert short(course, given, titre(5, "2026-04-10"), on=on)[:2] == (
        "not_immune",
        "second_series",
    )
    # The titre is due when both the dose and the immunoglobulin lie far enough back.
    assert short(course, given, on="2026-03-02") == ("not_known", "titre", "2026-08-10")


@pytest.mark.parametrize(
    ("weak", "value", "expected"),
    [
        ("yes", 50, ("immune", "titre", "2026-08-10")),
        ("yes", 4, ("not_immune", "booster", TODAY)),
        ("unknown", 50, ("immune", "none", "")),
        ("unknown", 4, ("not_known", "refer", TODAY)),
        ("no", 4, ("immune", "none", "")),
    ],
)
def test_a_later_fall_counts_only_where_immunity_is_weak(weak, value, expected):
    found = short(FIRST, titre(56, "2015-08-10"), titre(value, "2025-08-10"), weak=weak)

    assert found == expected


def test_a_refusal_stands_until_the_next_dose_and_a_contraindication_for_good():
    declined = Declined(PartialDate.parse("2020-01-01"))
    refused = said(declined)

    assert (refused.immunity, refused.next_step, refused.next_due) == ("not_known", "none", None)
    assert short(declined, doses("2021-01-01"))[:2] == ("not_known", "dose")
    stopped = said(doses("2021-01-01"), Contraindicated(PartialDate.parse("2021-02")))
    assert (stopped.next_step, stopped.next_dose_earliest) == ("refer", None)


def test_exposure_prone_work_in_the_united_kingdom_needs_the_markers():
    shown = marker("hbsag", "negative", "2025-01-01")
    immune = (FIRST, titre(150, "2015-08-10"))

    assert short(*immune, protocol="uk", prone=True)[:2] == ("immune", "infection_tests")
    assert short(*immune, shown, protocol="uk", prone=True)[:2] == ("immune", "none")
    assert short(*immune, prone=True)[:2] == ("immune", "none")
    begun = said(doses("2026-01-01"), protocol="uk", prone=True)
    assert (begun.next_step, begun.next_dose_earliest) == ("infection_tests", date(2026, 1, 29))


def test_each_answer_names_its_rules_with_source_and_standing():
    found = said(FIRST, titre(10, "2015-08-10"))

    assert [reason.rule for reason in found.decision.because] == ["USR-02", "USI-13"]
    assert (
        "USR-02 (IMM: responder from 10 mIU/mL after a complete series; read in the source)"
        in found.reason
    )


def test_a_titre_that_is_passed_over_is_told_with_the_reason():
    early = said(FIRST, titre(50, "2015-07-28")).reason
    unfinished = said(FIRST[:2], titre(85, "2015-06-01")).reason
    passive = said(FIRST, doses("2015-07-02/30"), titre(50, "2015-08-10")).reason

    assert (
        "The anti-HBs of Tue 28 Jul 2015 was passed over: a dose may lie less than 28 days" in early
    )
    assert (
        "The anti-HBs of Mon 1 Jun 2015 was passed over: the series is not complete." in unfinished
    )
    assert "immunoglobulin given less than 6 months before it may be what was measured" in passive
    assert "passed over" not in said(FIRST, titre(50, "2015-08-10")).reason


SERIES = doses("2010-01-04", "2010-02-04", "2010-07-05")


@pytest.mark.parametrize("old", ["positive", "negative", "indeterminate", "<100", "<12"])
def test_a_number_below_10_is_followed_whatever_could_not_be_told_before_it(old):
    """Row P-8: once the number is there, asking for it again and again would lead nowhere."""
    known = [*SERIES, titre(old, "2010-08-20"), titre(4, "2026-02-01")]

    assert short(known) == ("not_known", "challenge_dose", "2026-03-02")
    assert short(known, doses("2026-02-16")) == ("not_known", "titre", "2026-03-16")
    assert short(known, protocol="uk")[1] == "booster"
    # The other way round the number is old and what cannot be told is new: ask for the number.
    assert short(SERIES, titre(4, "2020-08-20"), titre(old, "2026-02-01"))[1] == "titre"


def test_nobody_is_a_non_responder_while_an_earlier_result_may_have_been_a_response():
    two = [*SERIES, *doses("2011-01-04", "2011-02-04", "2011-07-05")]

    assert short(two, titre("positive", "2011-08-20"), titre(4, "2026-02-01")) == (
        "not_known", "refer", "2026-03-02",
    )  # fmt: skip


def test_after_the_dose_that_tells_isolated_core_antibody_apart_its_titre_is_due_and_no_other_dose():
    worked_up = [
        marker("hbsag", "negative", "2025-10-01"), marker("anti_hbc_total", "positive", "2025-10-01"),
        marker("anti_hbc_igm", "negative", "2025-10-01"), marker("hbv_dna", "negative", "2025-10-01"),
        titre("<10", "2025-10-01"),
    ]  # fmt: skip

    assert short(worked_up) == ("isolated_core", "challenge_dose", "2026-03-02")
    for protocol in ("us", "uk"):
        assert short(worked_up, doses("2026-02-20"), protocol=protocol) == (
            "isolated_core", "titre", "2026-03-20",
        )  # fmt: skip


def test_a_dose_too_early_in_a_second_series_says_from_when_it_would_have_counted():
    second = [*SERIES, titre(3, "2010-08-20"), *doses("2025-12-01", "2025-12-09")]

    assert (
        "The dose of Tue 9 Dec 2025 (recombinant, adult dose) does not count: it was given too early; "
        "it would have counted from Thu 25 Dec 2025."
    ) in said(second).reasons


def test_after_a_dose_without_a_day_nothing_is_said_to_have_been_too_early():
    """15 January may be the first dose or lie a day after the one of "2019": neither is known."""
    mixed = [*doses("2019"), *doses("2019-01-15")]

    found = " ".join(said(mixed).reasons)
    assert "The dose of Tue 15 Jan 2019 (recombinant, adult dose) is not counted" in found
    assert "it may have been too early. Find the day of 2019, month not known." in found
    assert "was given too early" not in found
