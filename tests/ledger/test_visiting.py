"""The visits of a case: nothing outside its window, nothing that is due now put off, no date told twice."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from demo.staging import Told, stage, tell
from ledger.builders import NIGHT, after
from thimble import actions
from thimble.clinical import library
from thimble.demo.stories import STORIES, Story
from thimble.ledger.assess import assess
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.visiting import Kept, Visiting, expected, to_agree, visiting
from thimble.ledger.plan import TO_DO, Plan
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore

ZONE = ZoneInfo("America/New_York")
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=ZONE)
TODAY = NOW.date()
SITE = stage().site
NURSE = {"by": "u-nurse", "role": "occupational_nurse"}


def visits_of(told: Told, **more: object) -> Visiting:
    return visiting(told.plan, told.situation, told.stage.site, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.id)
def test_each_visit_lies_in_the_window_of_all_that_is_held(story: Story) -> None:
    told = tell(story.id, NOW)
    found = visits_of(told)
    windows = {a.id: a.window for a in told.plan.actions}

    for visit in found.planned.visits:
        assert visit.day in found.planned.days
        for id_ in visit.items:
            window = windows[id_]
            begins = datetime.combine(visit.day, datetime.min.time(), ZONE)
            ends = begins + timedelta(days=1)
            assert window.earliest is None or window.earliest < ends
            assert window.latest is None or window.latest > begins


@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.id)
def test_everything_with_a_limit_is_planned_due_or_waits_and_nothing_twice(story: Story) -> None:
    told = tell(story.id, NOW)
    found = visits_of(told)
    asked = {
        a.id for a in told.plan.actions
        if a.whom == "worker" and a.state in TO_DO and a.stands
        and a.kind in ("sample", "dose", "review")
        and (a.window.waits_for or a.window.target or a.window.latest)
    }  # fmt: skip

    parts = [
        {a.id for a in found.due},
        {a.id for a in found.waiting},
        {item.id for item in found.planned.items},
    ]
    assert set.union(*parts) == asked
    assert sum(map(len, parts)) == len(asked)
    placed = set(found.planned.held) | {u.item for u in found.planned.unplaceable}
    placed |= {o.item for o in found.planned.overdue}
    assert placed == parts[2]


def test_immunoglobulin_that_can_be_given_waits_for_no_visit() -> None:
    found = visits_of(tell("awaiting-hbig", NOW))

    assert [a.id for a in found.due] == ["hbig_first_dose"]


def test_dates_that_were_told_are_kept_and_named_as_agreed() -> None:
    told = tell("splash", NOW)
    free = visits_of(told)
    assert not free.as_agreed
    actions.agree_visits(
        told.stage.store, told.case, to_agree(free.planned, free.expected), now=NOW, **NURSE
    )
    again = visits_of(told)

    assert again.as_agreed
    assert [v.day for v in again.planned.visits] == [v.day for v in free.planned.visits]
    assert all(v.agreed for v in again.planned.visits)
    assert [e.kept for e in again.expected] == [Kept.AHEAD] * len(free.planned.visits)


def test_a_stretch_in_which_the_worker_is_away_is_planned_around() -> None:
    told = tell("splash", NOW)
    first = visits_of(told).planned.visits[0].day
    away = (first, first + timedelta(days=6))
    found = visits_of(told, unavailable=[away])

    assert not any(away[0] <= visit.day <= away[1] for visit in found.planned.visits)


def test_what_became_of_an_agreed_visit() -> None:
    told = tell("splash", NOW)
    rna = next(v for v in visits_of(told).planned.visits if "follow_up_hcv_rna" in v.items)
    actions.agree_visits(
        told.stage.store, told.case, to_agree(visits_of(told).planned, ()), now=NOW, **NURSE
    )

    def kept(today: date, at: datetime) -> Kept:
        situation = fold(told.stage.store.entries(told.case), at, told.stage.protocol.vocabulary)
        plan = told.plan_as_of(at)
        return next(e for e in expected(plan, situation, today) if e.visit.day == rna.day).kept

    def noon(day: date) -> datetime:
        return datetime.combine(day, datetime.min.time(), ZONE) + timedelta(hours=12)

    after = rna.day + timedelta(days=1)
    assert kept(TODAY, NOW) is Kept.AHEAD
    assert kept(rna.day, noon(rna.day)) is Kept.TODAY
    assert kept(after, noon(after)) is Kept.NOT_RECORDED
    actions.miss_visit(told.stage.store, told.case, rna.day, today=after, now=noon(after), **NURSE)
    assert kept(after, noon(after)) is Kept.MISSED
    later = noon(after) + timedelta(days=2)
    actions.take_sample(told.stage.store, told.case, "follow_up_hcv_rna", now=later, **NURSE)
    assert kept(later.date(), later) is Kept.KEPT


def test_a_chosen_day_is_honoured_and_a_closed_one_refused() -> None:
    told = tell("splash", NOW)
    found = visits_of(told)
    visit = found.planned.visits[0]
    other = next(
        day for day in found.planned.days.days
        if day > visit.day and visit.closes is not None and day <= visit.closes.day
    )  # fmt: skip
    taken = visits_of(told, chosen=dict.fromkeys(visit.items, other))
    assert other in {v.day for v in taken.planned.visits}

    sunday = other + timedelta(days=6 - other.weekday())
    refused = visits_of(told, chosen=dict.fromkeys(visit.items, sunday)).planned.refused
    assert refused


def followed_in_the_uk(**facts: str) -> tuple[Plan, Situation]:
    """A needlestick from a source with hepatitis C, two weeks ago, everything at once done."""
    uk = library.protocol("uk")
    store = MemoryStore()
    case = actions.report(
        store, facts={"route": "percutaneous", "fluid": "blood", **facts}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=uk.vocabulary, now=after(1),
    ).case  # fmt: skip
    now = after(14 * 24)
    situation = fold(store.entries(case), now, uk.vocabulary)
    return assess(situation, uk, now, SITE), situation


def test_tests_of_six_twelve_and_24_weeks_are_not_put_into_one_visit() -> None:
    """UK99: hepatitis C tests at 6, 12 and 24 weeks; the table gives them no last day."""
    plan, situation = followed_in_the_uk(source_hcv_rna="positive", worker_anti_hcv="negative")
    found = visiting(plan, situation, SITE)
    held = {id_: found.planned.held[id_] for id_ in found.planned.held if "hcv" in id_}
    night = NIGHT.astimezone(SITE.zone).date()
    for id_, weeks in {
        "follow_up_hcv_rna": 6, "follow_up_hcv_rna_12w": 12, "follow_up_hcv_antibody_12w": 12,
        "follow_up_hcv_antibody": 24,
    }.items():  # fmt: skip
        late = held.pop(id_) - night - timedelta(weeks=weeks)
        # `share_within` of the protocol is one week.
        assert timedelta(0) <= late <= timedelta(days=7), id_
    assert held == {}
    assert len({v.day for v in found.planned.visits}) == 3


def test_a_test_without_a_last_day_comes_on_the_first_day_after_a_long_absence() -> None:
    plan, situation = followed_in_the_uk(source_hcv_rna="positive", worker_anti_hcv="negative")
    six_weeks = NIGHT.astimezone(SITE.zone).date() + timedelta(weeks=6)
    back = six_weeks + timedelta(days=30)
    away = [(six_weeks - timedelta(days=2), back - timedelta(days=1))]
    found = visiting(plan, situation, SITE, unavailable=away)

    assert found.planned.unplaceable == ()
    day = found.planned.held["follow_up_hcv_rna"]
    assert back <= day <= back + timedelta(days=7)
    assert day == found.planned.days.from_day(back)


def test_what_can_be_done_before_its_best_day_is_not_put_off_beyond_it() -> None:
    """Tablets for ten days are fetched while there are some, not with the blood of two weeks."""
    stage_ = stage()
    store = MemoryStore()
    vocabulary = stage_.protocol.vocabulary
    case = actions.report(
        store, facts={"route": "percutaneous", "fluid": "blood", "source_hiv": "positive"},
        occurred_at=NIGHT, occurred_at_precision="minute", vocabulary=vocabulary, now=after(1),
    ).case  # fmt: skip
    actions.give_dose(
        store, case, action="hiv_pep_first_dose", product="Three in one", days=10, now=after(1),
        **NURSE,
    )  # fmt: skip
    plan_of = {}
    for protocol in (stage_.protocol, library.protocol("uk")):
        situation = fold(store.entries(case), after(2), vocabulary)
        plan = assess(situation, protocol, after(2), SITE)
        plan_of[protocol.id] = visiting(plan, situation, SITE)
    used_up = (after(1) + timedelta(days=10)).astimezone(SITE.zone).date()
    for found in plan_of.values():
        days = {id_: visit.day for visit in found.planned.visits for id_ in visit.items}
        assert days["pep_next_supply"] <= used_up


def test_a_dose_is_not_put_off_to_share_a_visit() -> None:
    told = tell("second-hbig", NOW)
    doses = [
        a for a in told.plan.actions
        if a.kind == "dose" and a.window.target is not None and a.window.latest is None
    ]  # fmt: skip
    assert doses
    for action in doses:
        assert action.window.put_off_to == action.window.target, action.id
