"""What comes up again: the law's day at its boundary, then each line, and who stands on no list."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from people.files import DOSE, ENROLLED, GOOD, NOW, ONE, RESULT, people, write
from thimble.clinical.diseases import ASKED
from thimble.clinical.offers import last_day, offer_law
from thimble.demo.starters import STATES
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.hepatitis_b import hepatitis_b
from thimble.people.hepatitis_b_many import hepatitis_b_of
from thimble.people.judged import judged
from thimble.people.rechecks import House, Recheck, Topic, _to_judge, rechecks
from thimble.web.rechecks.board import Board

BORN = date(1990, 5, 6)
ON = date(2025, 3, 17)
Draft = tuple[Kind, dict[str, Any]]


def house(protocol: str = "us", rule_set: str = "", asked: tuple[str, ...] = ASKED) -> House:
    return House(asked, protocol, rule_set, "US", "", offer_law(protocol))


def of(*drafts: Draft, **work: Any) -> Person:
    store = people()
    write(store, (Kind.ENROLLED, {**ENROLLED, "starts_on": "2025-03-03", **work}), *drafts)
    return fold(store.entries(ONE), NOW)


def lines(person: Person, on: date = ON, by: House | None = None) -> list[Recheck]:
    by = by or house()
    found = hepatitis_b_of([person], {ONE: BORN}, on, by.protocol).get(ONE)
    return list(rechecks(person, BORN, on, by, found))


def about(person: Person, topic: Topic, on: date = ON, by: House | None = None) -> list[Recheck]:
    return [line for line in lines(person, on, by) if line.topic is topic]


def dose(when: str | None, product: str = "43", *diseases: str) -> Draft:
    against = list(diseases) or ["hepatitis_b"]
    return Kind.DOSE_RECORDED, {**DOSE, "when": when, "product": product, "diseases": against}


def result(test: str, when: str, word: str | None = None, number: float | None = None) -> Draft:
    body = {"test": test, "when": when, "word": word, "number": number, "comparator": "="}
    return Kind.RESULT_RECORDED, {**RESULT, **body, "unit": "m[IU]/mL" if number else ""}


def refused(on: str, disease: str = "hepatitis_b") -> Draft:
    return Kind.DECLINED, {
        "what": "vaccine", "disease": disease, "on": on, "informed": True, "signed": "on_paper",
        "reason": "",
    }  # fmt: skip


OFFERED: Draft = (Kind.OFFERED, {"disease": "hepatitis_b", "on": "2025-03-10", "informed": True})
SERIES = (dose("2019-02-04"), dose("2019-03-07"), dose("2019-08-11"))
FAILED = (
    *SERIES,
    result("anti_hbs", "2019-10-01", number=4),
    dose("2019-11-04"),
    dose("2019-12-09"),
    dose("2020-05-11"),
    result("anti_hbs", "2020-07-01", number=3),
    result("hbsag", "2020-07-01", "negative"),
    result("anti_hbc_total", "2020-07-01", "negative"),
)


def test_ten_working_days_from_a_monday_end_on_the_monday_two_weeks_later() -> None:
    """29 CFR 1910.1030(f)(2)(i); begun Monday 3 March 2025, the first day not counted: 17 March."""
    law = offer_law("us")
    assert law is not None
    assert last_day(date(2025, 3, 3), law.working_days, "US") == date(2025, 3, 17)
    assert offer_law("uk") is None


def test_a_public_holiday_is_no_working_day() -> None:
    """Memorial Day, Monday 26 May 2025, lies between."""
    assert last_day(date(2025, 5, 19), 10, "US") == date(2025, 6, 3)


@given(st.dates(date(2020, 1, 1), date(2030, 1, 1)), st.integers(1, 30))
def test_at_least_so_many_weekdays_lie_between_and_the_last_is_one(start: date, count: int) -> None:
    end = last_day(start, count, "US")
    days = [start + timedelta(days=n) for n in range(1, (end - start).days + 1)]
    assert sum(day.weekday() < 5 for day in days) >= count
    assert end.weekday() < 5


@pytest.mark.parametrize(("on", "late"), [(ON, False), (ON + timedelta(days=1), True)])
def test_an_offer_is_overdue_from_the_day_after_its_last(on: date, late: bool) -> None:
    (line,) = about(of(), Topic.OFFER, on)
    assert (line.due, line.late) == (ON, late)
    assert "1910.1030(f)(2)(i)" in line.why


@pytest.mark.parametrize(
    "drafts",
    [
        (OFFERED,),
        (refused("2025-03-10"),),
        (dose("2025-03-05"),),
        SERIES,
        (
            Kind.CONTRAINDICATED,
            {"disease": "hepatitis_b", "on": "2020", "reason": "anaphylaxis", "until": None},
        ),
    ],
    ids=["offered", "declined", "begun", "complete", "contraindicated"],
)
def test_who_was_offered_it_declined_it_has_it_or_must_not_have_it_is_not_asked_for(drafts) -> None:
    drafts = (drafts,) if isinstance(drafts[0], Kind) else drafts
    assert about(of(*drafts), Topic.OFFER) == []


def test_a_dose_of_before_the_first_day_does_not_make_the_offer() -> None:
    assert len(about(of(dose("2019-02-04")), Topic.OFFER)) == 1
    assert len(about(of(dose("2025-03-02")), Topic.OFFER)) == 1
    assert about(of(dose("2025-03-03")), Topic.OFFER) == []


def test_without_a_first_day_no_day_is_counted_and_the_line_says_so() -> None:
    (line,) = about(of(starts_on=None), Topic.OFFER)
    assert line.due is None
    assert "The first day is not known" in line.why


def test_where_no_such_law_is_known_nothing_is_counted() -> None:
    assert about(of(), Topic.OFFER, by=house("uk")) == []
    assert about(of(), Topic.OFFER, by=house(asked=("measles",))) == []


@pytest.mark.parametrize("work", [{"starts_on": "2025-03-18"}, {"ends_on": "2025-03-16"}])
def test_who_has_not_begun_or_has_left_stands_on_no_list(work: dict[str, str]) -> None:
    assert lines(of(refused("2025-03-10"), **work)) == []
    # The first and the last day are days here.
    assert lines(of(refused("2025-03-10"), starts_on="2025-03-17", ends_on="2025-03-17")) != []


def test_immunoglobulin_neither_makes_an_offer_nor_ends_a_refusal_nor_begins_a_series() -> None:
    serum = dose("2025-03-12", "30")
    assert len(about(of(serum), Topic.OFFER)) == 1
    assert len(about(of(refused("2025-03-10"), serum), Topic.REFUSED)) == 1
    assert about(of(OFFERED, serum), Topic.SERIES) == []
    assert len(about(of(OFFERED, dose("2025-03-12")), Topic.SERIES)) == 1


def test_a_refusal_stands_open_until_a_dose_follows() -> None:
    (line,) = about(of(refused("2025-03-10")), Topic.REFUSED)
    assert line.due is None
    assert "may be withdrawn at any time" in line.why
    assert about(of(refused("2025-03-10"), dose("2025-03-12")), Topic.REFUSED) == []
    assert len(about(of(refused("2025-03-10", "measles")), Topic.REFUSED)) == 1
    assert about(of(refused("2025-03-10"), *SERIES, result("anti_hbs", "2019-10-01", number=90)),
                 Topic.REFUSED) == []  # fmt: skip


def test_a_non_responder_is_counselled_and_in_exposure_prone_work_tested_yearly() -> None:
    (line,) = about(of(*FAILED, exposure_prone="no"), Topic.NON_RESPONDER)
    assert (line.stands, line.late) == (True, False)
    by = house("uk", "uk_2023")
    found = about(of(*FAILED, exposure_prone="yes"), Topic.NON_RESPONDER, by=by)
    assert [(each.due, each.stands) for each in found] == [(date(2021, 7, 1), False), (ON, True)]
    assert found[0].late
    # The latest negative result counts, whenever an older one was typed in.
    older = result("hbsag", "2018-01-01", "negative")
    again = about(of(*FAILED, older, exposure_prone="yes"), Topic.NON_RESPONDER, by=by)
    assert [each.due for each in again] == [date(2021, 7, 1), ON]
    assert len(about(of(*FAILED, exposure_prone="yes"), Topic.NON_RESPONDER)) == 1


def test_the_talk_with_a_non_responder_is_asked_for_until_it_is_on_record() -> None:
    talk = Kind.COUNSELLED, {**GOOD[Kind.COUNSELLED], "on": "2025-03-10"}
    before = Kind.COUNSELLED, {**GOOD[Kind.COUNSELLED], "on": "2020-06-30"}

    assert about(of(*FAILED, talk, exposure_prone="no"), Topic.NON_RESPONDER) == []
    # What was said before the last titre was said of another answer.
    assert len(about(of(*FAILED, before, exposure_prone="no"), Topic.NON_RESPONDER)) == 1
    # The yearly test goes on.
    by = house("uk", "uk_2023")
    (line,) = about(of(*FAILED, talk, exposure_prone="yes"), Topic.NON_RESPONDER, by=by)
    assert line.what.startswith("HBsAg again")


def test_a_titre_that_is_due_says_since_when_and_not_today_on_every_day() -> None:
    """The last dose of 10 February: a titre one month later, from 10 March."""
    store = people()
    enrolled = (Kind.ENROLLED, {**ENROLLED, "starts_on": "2025-03-03"})
    write(store, enrolled, at=datetime(2025, 1, 7, 9, tzinfo=UTC))
    doses = (dose("2024-08-05"), dose("2024-09-09"), dose("2025-02-10"))
    write(store, *doses, at=datetime(2025, 2, 11, 9, tzinfo=UTC))
    person = fold(store.entries(ONE), NOW)
    (line,) = about(person, Topic.SERIES)

    assert (line.due, line.late, line.stands) == (date(2025, 3, 10), True, True)
    (later,) = about(person, Topic.SERIES, ON + timedelta(days=30))
    assert later.due == date(2025, 3, 10)


def test_a_series_that_was_begun_is_late_no_earlier_than_the_first_day_of_work() -> None:
    (line,) = about(of(OFFERED, dose("2019-02-04")), Topic.SERIES)
    assert line.due == date(2025, 3, 3)
    assert about(of(OFFERED), Topic.SERIES) == []
    assert about(of(dose("2019-02-04")), Topic.SERIES) == []  # the offer says it


def test_the_yearly_review_after_a_positive_test_runs_out() -> None:
    known = (
        result("igra", "2020-01-01", "positive"),
        result("chest_x_ray", "2020-02-01", "negative"),
        result("tb_symptoms", "2024-03-17", "negative"),
    )
    (line,) = about(of(*known), Topic.RUNS_OUT)
    assert (line.due, line.late) == (ON, False)
    (after,) = about(of(*known), Topic.RUNS_OUT, ON + timedelta(days=1))
    assert after.late
    assert "symptoms" in after.what


def test_the_seasons_vaccine_is_asked_until_the_offer_ends() -> None:
    (line,) = about(of(), Topic.SEASON)
    assert line.due == date(2025, 3, 31)
    given_ = dose("2024-10-01", "88", "influenza")
    assert about(of(given_), Topic.SEASON) == []
    assert about(of(given_), Topic.SEASON, date(2025, 4, 1)) == []
    assert len(about(of(given_), Topic.SEASON, date(2025, 9, 1))) == 1


def test_a_contraindication_that_is_over_calls_for_the_offer() -> None:
    pregnant = (
        Kind.CONTRAINDICATED,
        {"disease": "measles", "on": "2024-10", "reason": "pregnancy", "until": "2025-02"},
    )
    (line,) = about(of(pregnant), Topic.OVER)
    assert line.due == date(2025, 3, 1)
    assert about(of(pregnant), Topic.OVER, date(2025, 2, 28)) == []
    for on, step in ((date(2025, 2, 28), "refer"), (date(2025, 3, 1), "dose")):
        assert judged(of(pregnant), BORN, on, "us")["measles"].next_step == step
    mmr = ("measles", "mumps", "rubella")
    given_ = (dose("2001-01-01", "03", *mmr), dose("2002-01-01", "03", *mmr))
    assert about(of(pregnant, *given_), Topic.OVER) == []


def test_hepatitis_b_is_offered_from_the_day_after_the_contraindication_unless_it_is_complete() -> (
    None
):
    until = (
        Kind.CONTRAINDICATED,
        {"disease": "hepatitis_b", "on": "2024-10", "reason": "Fever", "until": "2025-03-17"},
    )
    assert about(of(until), Topic.OVER) == []
    (line,) = about(of(until), Topic.OVER, ON + timedelta(days=1))
    assert (line.due, line.late) == (ON + timedelta(days=1), False)
    assert about(of(until, *SERIES), Topic.OVER, ON + timedelta(days=1)) == []


@pytest.mark.parametrize("protocol", ["us", "uk"])
def test_what_is_not_judged_would_have_added_nothing(protocol: str, monkeypatch) -> None:
    over = {**GOOD[Kind.CONTRAINDICATED], "disease": "varicella", "on": "2024", "until": "2024-12"}
    files = [state(ON) for state in STATES]
    files += [[refused("2025-03-10", disease)] for disease in ASKED]
    files += [[(Kind.CONTRAINDICATED, {**over, "disease": disease})] for disease in ASKED]
    everybody = [of(*drafts) for drafts in files]
    by = house(protocol)
    sparing = [lines(person, by=by) for person in everybody]
    counted = sum(len(_to_judge(person, by)) for person in everybody)

    monkeypatch.setattr("thimble.people.rechecks._to_judge", lambda _, by: by.asked)

    assert sparing == [lines(person, by=by) for person in everybody]
    assert counted < len(everybody) * len(ASKED) / 2
    assert {line.topic for told in sparing for line in told} >= {
        Topic.REFUSED,
        Topic.OVER,
        Topic.SEASON,
    }


@pytest.mark.parametrize(
    ("starts_on", "due"), [("2025-03-03", date(2025, 3, 3)), ("2018-03-01", date(2019, 3, 14))]
)
def test_what_ran_out_before_somebody_came_stands_since_they_came(
    starts_on: str, due: date
) -> None:
    """United Kingdom, pertussis: a dose within five years."""
    pertussis = dose("2014-03-14", "115", "pertussis")
    (line,) = about(of(pertussis, starts_on=starts_on), Topic.RUNS_OUT, by=house("uk"))
    assert (line.due, line.late) == (due, True)


def test_overdue_stands_first_and_what_has_no_day_last() -> None:
    found = lines(of(*FAILED, refused("2025-03-01", "measles"), exposure_prone="yes"),
                  by=house("uk", "uk_2023"))  # fmt: skip
    lates = [line.late for line in found]
    assert lates == sorted(lates, reverse=True)
    assert found[-1].due is None


def test_the_board_judges_again_what_has_news_and_everything_on_another_day() -> None:
    before, after = of(), of(OFFERED)
    board = Board()
    births = {ONE: BORN}

    def topics(person: Person, on: date = ON) -> list[Topic]:
        return [line.topic for line in board.lines([person], births, on, house())]

    assert Topic.OFFER in topics(before)
    assert Topic.OFFER not in topics(after)
    assert topics(after) == [line.topic for line in lines(after)]
    assert Topic.SEASON not in topics(after, date(2025, 4, 1))
    assert board.lines([], births, ON, house()) == []


def test_many_at_once_are_told_what_each_is_told_alone() -> None:
    everybody = [of(), of(OFFERED, dose("2019-02-04")), of(*FAILED), of(*SERIES)]
    for person in everybody:
        alone = hepatitis_b_of([person], {ONE: BORN}, ON, "us")
        assert alone[ONE].complete is (len(person.evidence) >= 3)
    assert hepatitis_b_of(everybody, {}, ON, "us") == {}
    # A piece of evidence before the birth may be the contraindication: no answer, as on the page.
    early = (
        Kind.CONTRAINDICATED,
        {**GOOD[Kind.CONTRAINDICATED], "on": "1955-02-03", "until": None},
    )
    odd = of(*SERIES, early)
    assert hepatitis_b(odd, BORN, ON, "us") is None
    assert hepatitis_b_of([odd], {ONE: BORN}, ON, "us") == {}
    assert hepatitis_b_of(everybody[:1], {ONE: BORN}, ON, "xx") == {}
