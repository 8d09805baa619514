"""The safety overview: counts that lead to nobody, also by subtraction."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from thimble import actions
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.store import MemoryStore
from thimble.web import clock
from thimble.web.context import get_protocol, get_site, get_store
from thimble.web.roles import Role
from thimble.web.safety.overview import (
    NOT_KNOWN,
    delay_band,
    exposures,
    hour_band,
    overview,
    period_at,
)
from thimble.web.safety.small_cells import Published, publish

from .conftest import NIGHT
from .made import situation

ZURICH = ZoneInfo("Europe/Zurich")
WORDS = vocabulary()
counts = st.dictionaries(st.sampled_from("abcdefgh"), st.integers(0, 40), min_size=1)


# -- small cells ----------------------------------------------------------------------------------


def test_the_worked_example_of_a_row_is_kept_back() -> None:
    """Theatre 12, intensive care 3, laboratory 2: the total would give the sum of the small ones,
    5, which is small itself; so nothing but the total is left."""
    assert publish({"theatre": 12, "icu": 3, "lab": 2}) == Published(
        17, (), ("theatre", "icu", "lab"), None
    )


@pytest.mark.parametrize(("count", "shown"), [(1, False), (9, False), (10, True), (11, True)])
def test_counts_from_1_to_9_are_small(count: int, shown: bool) -> None:
    published = publish({"a": 60, "b": 50, "c": 40, "d": count})

    assert (("d", count) in published.shown) is shown


def test_an_empty_category_is_shown_only_where_none_is_small() -> None:
    assert ("b", 0) in publish({"a": 30, "b": 0}).shown
    assert "b" in publish({"a": 30, "b": 0, "c": 7, "d": 8, "e": 60}).together


@pytest.mark.parametrize("total", [1, 9])
def test_a_small_total_is_not_told(total: int) -> None:
    assert publish({"a": total, "b": 0}) == Published(None, (), ("a", "b"), None)


@pytest.mark.parametrize(
    ("threshold", "categories", "most", "least_left"),
    [(4, 3, 15, 2), (5, 3, 17, 2), (4, 4, 9, 2), (10, 2, 45, 5), (10, 3, 33, 5)],
)
def test_no_hidden_count_can_be_computed_from_what_is_shown(
    threshold: int, categories: int, most: int, least_left: int
) -> None:
    """Brute force, as by somebody who knows the method: of every table that gives the same page,
    each hidden count takes several values."""
    names = "abcd"[:categories]
    behind: dict[Published, list[tuple[int, ...]]] = defaultdict(list)
    for table in product(range(most + 1), repeat=categories):
        behind[publish(dict(zip(names, table, strict=True)), threshold)].append(table)

    looked_at = 0
    for page, tables in behind.items():
        # At the edge of what is tried, tables that give the same page are missing.
        if page.total is not None and page.total > most:
            continue
        for at, name in enumerate(names):
            if name in page.together:
                looked_at += 1
                values = {table[at] for table in tables}
                assert len(values) >= least_left, (page, tables)
    assert looked_at > 3


@given(counts)
def test_what_is_shown_is_true_and_adds_up(table: dict[str, int]) -> None:
    page = publish(table)
    shown = dict(page.shown)

    assert all(table[name] == count for name, count in shown.items())
    assert not set(shown) & set(page.together)
    assert set(shown) | set(page.together) == set(table)
    if page.sum_together is not None:
        assert page.total == sum(shown.values()) + page.sum_together
        assert page.sum_together >= 10
        assert len(page.together) >= 2


@given(counts)
def test_no_small_count_is_ever_shown(table: dict[str, int]) -> None:
    page = publish(table)

    assert not any(0 < count < 10 for _, count in page.shown)
    assert page.total is None or page.total == 0 or page.total >= 10


@pytest.mark.parametrize("bad", [{"a": -1}, {"a": 3, "b": -2}])
def test_a_negative_count_is_refused(bad: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        publish(bad)


# -- what is counted ------------------------------------------------------------------------------


def test_the_period_is_twelve_complete_months_by_the_clocks_of_the_site() -> None:
    # 23:30 UTC on 31 March is 1 April in Zurich.
    period = period_at(datetime(2026, 3, 31, 23, 30, tzinfo=UTC), ZURICH)

    assert period.start == datetime(2025, 4, 1, tzinfo=ZURICH)
    assert period.end == datetime(2026, 4, 1, tzinfo=ZURICH)
    assert period.words == "April 2025 to March 2026"


@pytest.mark.parametrize(
    ("minutes", "band"),
    [
        (60, "Within 1 hour"),
        (60.01, "After 1 to 4 hours"),
        (240, "After 1 to 4 hours"),
        (24 * 60, "After 4 to 24 hours"),
        (72 * 60, "After 1 to 3 days"),
        (72 * 60 + 1, "After more than 3 days"),
    ],
)
def test_the_time_to_report_falls_in_its_band(minutes: float, band: str) -> None:
    known = situation(NIGHT, reported_at=NIGHT + timedelta(minutes=minutes))

    assert delay_band(known) == band


def test_hours_are_those_on_the_wall_and_a_rough_time_is_not_made_exact() -> None:
    assert hour_band(situation(NIGHT), ZURICH) == "00:00 to 03:59"  # 02:40 in Zurich
    assert hour_band(situation(NIGHT, precision="date"), ZURICH) == NOT_KNOWN
    assert delay_band(situation(NIGHT, precision="hour")) == NOT_KNOWN
    assert hour_band(situation(None), ZURICH) == NOT_KNOWN


def _report(store: object, at: datetime, number: int, **facts: str) -> str:
    return actions.report(
        store, facts=facts or {"route": "percutaneous", "fluid": "blood"},  # type: ignore[arg-type]
        occurred_at=at - timedelta(minutes=20), occurred_at_precision="minute", vocabulary=WORDS,
        now=at, place="Ward 4", token=f"case {number}",
    ).case  # fmt: skip


def test_what_was_recorded_after_the_period_changes_nothing_in_it() -> None:
    """Otherwise two looks at the page would differ by one person."""
    store = MemoryStore()
    period = period_at(NIGHT, ZURICH)
    inside = period.end - timedelta(days=3)
    cases = [_report(store, inside + timedelta(minutes=n), n) for n in range(14)]
    before = overview(exposures(store.all_entries(), period, WORDS, ZURICH), period, WORDS)
    _report(store, period.end + timedelta(minutes=30), 99)
    actions.learn_facts(
        store, cases[0], {"device": "blade"}, said_by="worker", vocabulary=WORDS,
        now=period.end + timedelta(hours=1), by="u-1", role="occupational_nurse",
    )  # fmt: skip
    after = overview(exposures(store.all_entries(), period, WORDS, ZURICH), period, WORDS)

    assert before == after
    assert before.total == "14 exposures"


@pytest.mark.django_db
def test_an_exposure_reported_twice_counts_once() -> None:
    store = MemoryStore()
    period = period_at(NIGHT, ZURICH)
    at = period.end - timedelta(days=3)
    first, second = _report(store, at, 1), _report(store, at, 2)
    actions.close(
        store, second, may_leave=True, reason="duplicate", text=f"see {first}", protocol=get_protocol(),
        site=get_site(), now=at + timedelta(hours=1), by="u-1", role="occupational_nurse",
    )  # fmt: skip

    assert len(exposures(store.all_entries(), period, WORDS, ZURICH)) == 1


@pytest.mark.django_db
def test_who_was_lost_to_follow_up_is_counted_by_itself() -> None:
    store = MemoryStore()
    period = period_at(NIGHT, ZURICH)
    at = period.end - timedelta(days=9)
    cases = [_report(store, at + timedelta(minutes=n), n) for n in range(30)]
    for case in cases[:12]:
        actions.close(
            store, case, may_leave=True, reason="lost_to_follow_up", text="called thrice",
            protocol=get_protocol(), site=get_site(), now=at + timedelta(hours=1), by="u-1",
            role="occupational_physician",
        )  # fmt: skip
    page = overview(exposures(store.all_entries(), period, WORDS, ZURICH), period, WORDS)

    ended = next(table for table in page.tables if table.id == "ended")
    assert {(line.label, line.count) for line in ended.lines if line.count} == {
        ("The worker could not be reached any more", 12),
        ("Still followed", 18),
    }


def test_a_place_that_is_hidden_is_not_named_either() -> None:
    store = MemoryStore()
    period = period_at(NIGHT, ZURICH)
    at = period.end - timedelta(days=9)
    for number, place in enumerate(
        ["Theatre 2"] * 30 + ["theatre  2"] * 2 + ["Dr Who's room"] * 6 + ["Lab"] * 5
    ):
        actions.report(
            store, facts={"route": "percutaneous"}, occurred_at=at, occurred_at_precision="minute",
            vocabulary=WORDS, now=at + timedelta(minutes=number), place=place, token=f"p{number}",
        )  # fmt: skip
    page = overview(exposures(store.all_entries(), period, WORDS, ZURICH), period, WORDS)

    where = next(table for table in page.tables if table.id == "place")
    assert [(line.label, line.count) for line in where.lines] == [("Theatre 2", 32)]
    assert where.together.startswith("11 together")
    assert "Who" not in where.together


# -- the page -------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_only_those_who_prevent_see_the_counts(signed_in: Callable[[Role], Client]) -> None:
    assert Client().get("/safety/").status_code == 302
    for role in Role:
        allowed = role in (Role.SAFETY_OFFICER, Role.OCCUPATIONAL_PHYSICIAN)
        assert signed_in(role).get("/safety/").status_code == (200 if allowed else 403), role


@pytest.mark.django_db
def test_no_reference_place_of_one_or_exact_time_is_on_the_page(
    signed_in: Callable[[Role], Client],
) -> None:
    at = NIGHT - timedelta(days=40)
    references = []
    for number in range(24):
        moment = at + timedelta(minutes=number)
        references.append(_report(get_store(), moment, number))
    with clock.standing_at(NIGHT):
        text = signed_in(Role.SAFETY_OFFICER).get("/safety/").text

    assert "24 exposures" in text
    assert "Through the skin" in text
    assert not any(reference in text for reference in references)
    assert "u-" not in text.split("<main")[1].split("</main>")[0]
    assert "No rates" in text
    # No way from here to a case, a worklist or a history.
    assert "/case/" not in text
    assert "/worklist/" not in text


@pytest.mark.django_db
def test_few_exposures_are_not_divided(signed_in: Callable[[Role], Client]) -> None:
    for number in range(9):
        _report(get_store(), NIGHT - timedelta(days=40, minutes=-number), number)
    text = signed_in(Role.SAFETY_OFFICER).get("/safety/").text

    assert "Fewer than 10 exposures" in text
    assert "Through the skin" not in text
    assert text.count("Not shown: its parts") == 6
