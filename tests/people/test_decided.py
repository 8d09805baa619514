"""Readiness under a physician's decision: evidence alone never makes ready whom it does not clear."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from people.test_procedures import ALL_THREE, BORN, IMMUNE, ON, TITRE, UK, decided, person, whole
from thimble.clinical.readiness import Status
from thimble.people.readiness.cohorts import by_week, member
from thimble.people.readiness.decided import REVIEW_DUE

RESTRICTED = decided("fit_with_restriction", restriction="no_exposure_prone")
SAID = "Ready, with a restriction: no exposure-prone procedures."
WORK = ("yes", "no", "not_known")


@pytest.mark.parametrize("prone", WORK)
@pytest.mark.parametrize("evidence", [(), IMMUNE, (*IMMUNE, *ALL_THREE)])
@pytest.mark.parametrize("review", [None, ON - timedelta(days=1), date(2099, 1, 1)])
def test_whoever_is_not_fit_is_not_ready_whatever_is_documented(
    prone: str, evidence: tuple, review: date | None
) -> None:
    found = whole(*evidence, prone=prone, decision=decided("not_fit", review_on=review))

    assert (found.status, found.ready_on, found.soonest, found.without) == (
        Status.NOT_FIT, None, None, None,
    )  # fmt: skip
    assert found.said() == "Not fit by decision."
    # What is missing is still asked for.
    assert found.lacks == whole(*evidence, prone=prone).lacks


@pytest.mark.parametrize(
    ("prone", "status"),
    [("no", Status.READY), ("yes", Status.READY_WITHOUT), ("not_known", Status.READY_WITHOUT)],
)
def test_a_restriction_stands_beside_ready_and_is_no_ready_for_what_it_forbids(
    prone: str, status: Status
) -> None:
    found = whole(*IMMUNE, *ALL_THREE, prone=prone, decision=RESTRICTED)

    assert (found.status, found.ready_on, found.said()) == (status, None, SAID)


def test_under_a_restriction_no_day_is_said_for_what_it_forbids() -> None:
    before = whole(*IMMUNE)
    assert (before.status, before.ready_on) == (Status.READY_WITHOUT, date(2026, 3, 5))

    after = whole(*IMMUNE, decision=RESTRICTED)
    assert (after.status, after.ready_on, after.said()) == (Status.READY_WITHOUT, None, SAID)


@pytest.mark.parametrize(
    ("review", "status"),
    [
        (ON - timedelta(days=1), Status.TO_JUDGE),
        (ON, Status.TO_JUDGE),
        (ON + timedelta(days=1), Status.READY),
        (None, Status.READY),
    ],
)
def test_a_decision_is_no_yes_from_the_day_of_its_review(
    review: date | None, status: Status
) -> None:
    found = whole(*IMMUNE, *ALL_THREE, decision=decided(review_on=review))

    assert found.status is status
    assert found.open == (() if status is Status.READY else (REVIEW_DUE,))
    assert found.said() == ("Ready." if status is Status.READY else "Nothing is missing.")


def test_what_is_missing_has_no_day_while_a_review_is_due() -> None:
    found = whole(*IMMUNE, decision=replace(RESTRICTED, review_on=ON))

    assert (found.status, found.ready_on) == (Status.OPEN, None)
    assert REVIEW_DUE in found.open
    assert found.lacks == whole(*IMMUNE).lacks


def test_the_weeks_count_ready_from_the_decision_that_lifted_an_earlier_one() -> None:
    today = ON + timedelta(days=9)
    unfit = decided("not_fit", at=datetime.combine(ON, datetime.min.time(), UTC))
    fit = decided(at=unfit.at + timedelta(days=4))
    file = person(*IMMUNE, *ALL_THREE, prone="no")

    assert member(file, BORN, today, UK, UTC, [unfit, fit]).since == ON + timedelta(days=4)
    assert member(file, BORN, today, UK, UTC, [fit]).since == ON
    assert member(file, BORN, today, UK, UTC, [fit, unfit]).since is None


@pytest.mark.parametrize(("prone", "in_the_end"), [("no", 1), ("yes", 0)])
def test_nobody_is_projected_to_be_ready_for_work_that_a_decision_forbids(
    prone: str, in_the_end: int
) -> None:
    series = [draft for draft in IMMUNE if draft is not TITRE]
    free = member(person(*series, prone=prone), BORN, ON, UK, UTC)
    held = member(person(*series, prone=prone), BORN, ON, UK, UTC, [RESTRICTED])
    unfit = member(person(*series, prone=prone), BORN, ON, UK, UTC, [decided("not_fit")])

    assert by_week([free], ON)[-1].projected == 1
    assert by_week([held], ON)[-1].projected == in_the_end
    assert by_week([unfit], ON)[-1].projected == 0
