"""A cohort by week, counted by hand; and that a week's demand is the sum of what single people lack."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from people.files import DECLINED, DOSE, ENROLLED, ONE, RESULT, people, write
from thimble.clinical.durations import Duration
from thimble.clinical.readiness import Need, Readiness, Status
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.readiness import Asked, readiness
from thimble.people.readiness.cohorts import DRAWS, Member, by_week, demand, member, monday

TODAY = date(2026, 3, 4)  # a Wednesday
BORN = date(1999, 2, 28)
ASKED = Asked(("hepatitis_b",), "us", Duration(3, "days"), "us_shea_2020")
SERIES = ("2019-02-04", "2019-03-07", "2019-08-11")
Draft = tuple[Kind, dict[str, Any]]


def dose(when: str) -> Draft:
    return Kind.DOSE_RECORDED, {**DOSE, "when": when, "product": "43", "diseases": ["hepatitis_b"]}


def titre(when: str, number: float = 120) -> Draft:
    return Kind.RESULT_RECORDED, {**RESULT, "when": when, "number": number, "comparator": "="}


def person(*written: tuple[str, Draft], starts_on: str = "2026-04-06") -> Person:
    """Somebody enrolled on 5 January 2026, and what was written down on later days."""
    store = people()
    at = datetime(2026, 1, 5, 9, tzinfo=UTC)
    write(store, (Kind.ENROLLED, {**ENROLLED, "starts_on": starts_on}), at=at)
    for day, draft in written:
        at = datetime.combine(date.fromisoformat(day), datetime.min.time(), UTC) + timedelta(
            hours=9
        )
        write(store, draft, at=at)
    return fold(store.entries(ONE), datetime(2026, 3, 4, 12, tzinfo=UTC))


def of(*written: tuple[str, Draft], **more: str) -> Member:
    return member(person(*written, **more), BORN, TODAY, ASKED, UTC)


def card(day: str) -> list[tuple[str, Draft]]:
    return [(day, draft) for draft in (*map(dose, SERIES), titre("2019-10-02"))]


def test_somebody_is_ready_since_what_is_on_record_says_so_and_not_since_the_titre() -> None:
    late = [*((d, x) for d, x in card("2026-02-03")[:3]), ("2026-02-17", titre("2019-10-02"))]

    assert of(*card("2026-02-03")).since == date(2026, 2, 3)
    assert of(*late).since == date(2026, 2, 17)
    assert of(*late[:3]).since is None


def test_weeks_show_the_past_until_today_and_the_projection_from_today() -> None:
    ready = of(*card("2026-02-25"))
    awaiting = of(*card("2026-02-25")[:3])  # titre now, result three days later: 7 March
    refused = of(("2026-02-25", (Kind.DECLINED, {**DECLINED, "on": "2026-02-24"})))
    weeks = by_week([ready, awaiting, refused], TODAY, before=2)

    assert [(w.monday.isoformat(), w.shown, w.projected) for w in weeks] == [
        ("2026-02-16", 0, None),
        ("2026-02-23", 1, None),
        ("2026-03-02", 1, 2),
        ("2026-03-09", None, 2),
        ("2026-03-16", None, 2),
        ("2026-03-23", None, 2),
        ("2026-03-30", None, 2),
        ("2026-04-06", None, 2),
    ]
    assert (refused.declined, refused.readiness.status) == (True, Status.OPEN)


def test_a_day_counts_for_its_week_on_sunday_and_for_the_next_on_monday() -> None:
    """The result comes on Sunday 8 March with four days to it, on Monday 9 March with five."""
    for days, first in ((4, 1), (5, 0)):
        asked = Asked(("hepatitis_b",), "us", Duration(days, "days"))
        waiting = member(person(*card("2026-02-25")[:3]), BORN, TODAY, asked, UTC)
        weeks = by_week([waiting], TODAY, before=0)

        assert [w.projected for w in weeks][:2] == [first, 1]


def test_what_is_overdue_counts_for_this_week_and_one_draw_for_several_tests() -> None:
    begun = of(("2026-02-25", dose("2026-01-05")))

    assert [
        (w.monday.isoformat(), dict(w.doses), dict(w.tests)) for w in demand([begun], TODAY)
    ] == [
        ("2026-03-02", {"Hepatitis B vaccine": 1}, {}),
        ("2026-06-29", {"Hepatitis B vaccine": 1}, {}),
        ("2026-08-03", {}, {"anti_hbs": 1, DRAWS: 1}),
    ]


def test_blood_for_several_tests_of_one_day_is_drawn_once() -> None:
    """United Kingdom, exposure-prone, series complete: the panel and the titre, both now."""
    asked = Asked(("hepatitis_b",), "uk", Duration(3, "days"))
    whole = member(person(*card("2026-02-25")[:3]), BORN, TODAY, asked, UTC)

    assert [dict(week.tests) for week in demand([whole], TODAY)] == [
        {"hbsag": 1, "anti_hbs": 1, DRAWS: 1}
    ]


def test_whoever_was_written_to_and_sent_nothing_since_has_not_answered() -> None:
    invited: Draft = (
        Kind.INVITED,
        {"about": "missing", "how": "mail", "on": "2026-02-02", "letters": "l1"},
    )

    assert of(("2026-02-02", invited)).unanswered
    assert not of(("2026-02-02", invited), ("2026-02-09", dose("2026-01-05"))).unanswered
    assert not of().unanswered
    assert not of(*card("2026-01-20"), ("2026-02-02", invited)).unanswered


def _without_since(whole: Readiness) -> Readiness:
    """The same as one person is told where nobody looks back."""
    states = (
        replace(state, lacks=tuple(replace(lack, since=None) for lack in state.lacks))
        for state in whole.states
    )
    return replace(whole, states=tuple(states))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(st.integers(0, 60), max_size=4), max_size=5))
def test_demand_and_weeks_add_up_to_what_each_person_is_told(cohort: list[list[int]]) -> None:
    members = []
    for doses in cohort:
        days = sorted({TODAY - timedelta(days=back) for back in doses})
        written = [(TODAY.isoformat(), dose(day.isoformat())) for day in days]
        members.append(of(*written))
    told = Counter(lack.item for m in members for lack in m.readiness.lacks if lack.recommended)
    weeks = demand(members, TODAY)
    planned = sum((Counter(w.doses) + Counter(w.tests) for w in weeks), Counter())
    del planned[DRAWS]

    assert planned == told
    assert all(w.monday >= monday(TODAY) for w in weeks)
    last = by_week(members, TODAY)[-1] if members else None
    days = [m.readiness.ready_on for m in members if m.readiness.ready_on]
    assert last is None or last.projected == len(days)
    assert all(
        _without_since(m.readiness) == readiness(person(), BORN, TODAY, ASKED)
        for m, d in zip(members, cohort, strict=True)
        if not d
    )
    assert {lack.need for m in members for lack in m.readiness.lacks} <= {Need.DOSE, Need.TEST}
