"""What is agreed with the worker stands until something else is agreed; what was missed is kept."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.record import AgreedVisit, FollowUp
from thimble.ledger.store import MemoryStore

NIGHT = datetime(2026, 3, 2, 2, 40, tzinfo=UTC)
NURSE = {"by": "u-nurse", "role": "occupational_nurse"}
FIRST = AgreedVisit(date(2026, 4, 7), ("follow_up_hcv_rna",))
LAST = AgreedVisit(date(2026, 7, 6), ("follow_up_hcv_antibody", "follow_up_hiv_12w"))


@pytest.fixture
def case(store: MemoryStore) -> str:
    return actions.report(
        store, facts={"route": "percutaneous"}, occurred_at=NIGHT, occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip


def following(store: MemoryStore, case: str, at: datetime) -> FollowUp:
    return fold(store.entries(case), at, VOCABULARY).follow_up


def test_before_anything_is_agreed_nothing_is(store: MemoryStore, case: str):
    assert following(store, case, NIGHT) == FollowUp()


def test_the_last_agreement_stands_and_the_one_before_is_seen_as_of_then(
    store: MemoryStore, case: str
):
    away = (date(2026, 4, 1), date(2026, 4, 6))
    actions.agree_visits(store, case, [LAST, FIRST], now=NIGHT, **NURSE)
    later = NIGHT + timedelta(days=9)
    actions.agree_visits(store, case, [LAST], unavailable=[away], now=later, **NURSE)

    assert following(store, case, NIGHT).visits == (FIRST, LAST)
    now = following(store, case, later)
    assert (now.visits, now.unavailable, now.agreed_by) == ((LAST,), (away,), 3)


def test_an_agreement_that_is_withdrawn_brings_back_the_one_before(store: MemoryStore, case: str):
    actions.agree_visits(store, case, [FIRST], now=NIGHT, **NURSE)
    wrong = actions.agree_visits(store, case, [LAST], now=NIGHT, **NURSE)[0]
    actions.correct(
        store, case, wrong.position, reason="another worker", withdrawn=True, vocabulary=VOCABULARY,
        now=NIGHT, **NURSE,
    )  # fmt: skip

    assert following(store, case, NIGHT).visits == (FIRST,)


@pytest.mark.parametrize("ahead", [0, 1])
def test_a_visit_is_missed_on_its_day_at_the_earliest(store: MemoryStore, case: str, ahead: int):
    day = date(2026, 4, 7)
    today = day - timedelta(days=ahead)
    at = datetime(today.year, today.month, today.day, 16, tzinfo=UTC)
    if ahead:
        with pytest.raises(actions.Refused, match="still to come"):
            actions.miss_visit(store, case, day, today=today, now=at, **NURSE)
        assert following(store, case, at).missed == ()
    else:
        actions.miss_visit(store, case, day, today=today, now=at, **NURSE)
        actions.miss_visit(store, case, day, today=today, now=at, **NURSE)
        assert following(store, case, at).missed == (day,)


def test_every_attempt_to_reach_the_worker_is_kept_in_order(store: MemoryStore, case: str):
    for hours, outcome in ((1, "no_answer"), (5, "reached")):
        at = NIGHT + timedelta(hours=hours)
        actions.contact(store, case, how="telephone", outcome=outcome, now=at, **NURSE)

    assert following(store, case, NIGHT + timedelta(hours=5)).contacts == (
        (NIGHT + timedelta(hours=1), "telephone", "no_answer"),
        (NIGHT + timedelta(hours=5), "telephone", "reached"),
    )


def test_two_visits_on_one_day_are_refused_and_nothing_is_written(store: MemoryStore, case: str):
    before = store.entries(case)
    with pytest.raises(actions.Refused, match="one a day"):
        actions.agree_visits(
            store, case, [FIRST, AgreedVisit(FIRST.day, ("follow_up_hbv",))], now=NIGHT, **NURSE
        )

    assert store.entries(case) == before
