"""A course that was stopped and goes on: its days, its end, its tablets, what is asked of whom."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble import actions
from thimble.actions import Refused
from thimble.clinical.prophylaxis import put
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.bodies import RESUMED_END
from thimble.ledger.plan import State
from thimble.ledger.prophylaxis.supply import IN_HAND
from thimble.ledger.prophylaxis.told import course_told, not_covered_words

from .test_course import NEW_YEAR, ZONE, Case, local


def stopped(*, days: int = 28, last: float = 4) -> Case:
    """Begun on 1 January at 9:00, stopped with the last dose on day `last` + 1."""
    case = Case(NEW_YEAR, days=days)
    case.do(
        actions.stop_course,
        case.after(last + 1),
        reason="worker_wish",
        happened_at=case.after(last),
    )
    return case


def resume(case: Case, at: float, *, end: str = "moved", in_hand: int | None = 20, **more: object):
    return case.do(
        actions.resume_course,
        case.after(at),
        reason="thought again",
        end=end,
        in_hand=in_hand,
        **more,
    )


@pytest.mark.parametrize(
    ("end", "planned"),
    [
        ("moved", local(2026, 2, 1, 9)),
        ("not_decided", local(2026, 2, 1, 9)),
        ("planned", local(2026, 1, 29, 9)),
    ],
)
def test_the_days_between_move_the_end_unless_it_was_decided_that_it_stays(end, planned):
    """Last dose 5 January, first again 9 January: 6, 7 and 8 January are without."""
    case = stopped()
    resume(case, 8, end=end)
    course = case.course(case.after(8))

    assert course.ended is None
    assert [date.fromordinal(day) for day in course.without[0]] == [
        date(2026, 1, 6), date(2026, 1, 7), date(2026, 1, 8),
    ]  # fmt: skip
    assert course.planned_end == planned
    assert course.day == 9


def test_a_dose_on_the_very_next_day_leaves_no_day_without():
    case = stopped()
    resume(case, 5)

    assert list(case.course(case.after(5)).without[0]) == []
    assert case.course(case.after(5)).planned_end == local(2026, 1, 29, 9)


@pytest.mark.parametrize(
    ("in_hand", "until", "known"),
    [(20, 28, True), (0, 8, True), (1, 9, True), (None, None, False)],
)
def test_only_what_is_still_in_hand_reaches_beyond_the_stop(in_hand, until, known):
    case = stopped(days=28)
    resume(case, 8, in_hand=in_hand)
    course = case.course(case.after(8))

    assert course.covered_until == (case.after(until) if known else None)
    assert course.uncovered == 0
    assert case.action("pep_next_supply", case.after(8)) is not None
    first = course.packs[0]
    assert (first.first, first.last) == (date(2026, 1, 1), date(2026, 1, 5))
    assert [p.product for p in course.packs[1:]] == ([IN_HAND] if in_hand else [])


@pytest.mark.parametrize("guideline", ["us", "uk", "other"])
@pytest.mark.parametrize("hours", [0, 1, 48, 49, 2000])
def test_the_expert_is_asked_however_short_or_long_the_stop_was(guideline, hours):
    """No document on taking up a stopped course could be read: the rows ask always, and say why."""
    case = stopped()
    at = case.after(4) + timedelta(hours=hours)
    case.do(
        actions.resume_course,
        at + timedelta(days=9),
        reason="x",
        end="moved",
        in_hand=None,
        happened_at=at,
    )
    facts = case.course(at + timedelta(days=9), guideline).facts

    said = put(facts).items
    asked = [
        item for item in said["course_actions"] if item.outputs["action"] == "pep_resumed_advice"
    ]
    assert len(asked) == 1
    assert ("ends here" in asked[0].outputs["what"]) == (guideline == "uk" and hours > 48)
    assert "resumed" in {item.outputs["topic"] for item in said["course_advice"]}


def test_a_second_resumption_is_asked_about_and_reviewed_anew():
    case = stopped()
    resume(case, 8)
    case.do(
        actions.seek_advice, case.after(8), of="HIV", advice="go on", action="pep_resumed_advice"
    )
    assert case.action("pep_resumed_advice", case.after(8)).state is State.DONE
    case.do(actions.stop_course, case.after(12), reason="side_effects", happened_at=case.after(11))
    resume(case, 14)

    assert case.action("pep_resumed_advice", case.after(14)).state is State.OPEN
    assert case.course(case.after(14)).planned_end == local(2026, 2, 3, 9)


def test_a_course_that_was_stopped_as_the_plan_advised_runs_again_and_the_plan_asks_anew():
    case = Case(NEW_YEAR, days=28)
    case.do(
        actions.learn_facts, case.after(1), facts={"source_hiv": "negative"}, said_by="laboratory",
        vocabulary=vocabulary(),
    )  # fmt: skip
    case.do(actions.stop_course, case.after(2), reason="source_negative", action="stop_hiv_pep")
    assert case.action("stop_hiv_pep", case.after(2)).state is State.DONE
    resume(case, 3)

    assert case.course(case.after(3)).ended is None
    assert case.action("stop_hiv_pep", case.after(3)).state is State.OPEN


def test_withdrawing_the_resumption_leaves_the_course_ended():
    case = stopped()
    (entry,) = resume(case, 8)
    case.do(
        actions.correct, case.after(8), position=entry.position, reason="wrong case", withdrawn=True,
        vocabulary=vocabulary(),
    )  # fmt: skip

    assert case.course(case.after(9)).ended == case.after(4)
    assert case.course(case.after(9)).without == ()


def test_what_cannot_be_is_refused():
    running = Case(NEW_YEAR, days=28)
    with pytest.raises(Refused, match="nothing to take up again"):
        resume(running, 3)
    case = stopped()
    with pytest.raises(Refused, match="before the last dose on record"):
        resume(case, 8, happened_at=case.after(3))
    resume(case, 8)
    with pytest.raises(Refused, match="nothing to take up again"):
        resume(case, 9)


def test_what_is_told_of_the_course_names_the_stop_and_which_pack_covers_which_days():
    case = Case(NEW_YEAR, days=5, product="Starter pack")
    case.do(actions.hand_out, case.after(3), product="Further supply", days=23)
    told = course_told(case.situation(case.after(3)), "us", case.after(3), ZONE)
    assert [words for label, words in told if label == "Supply"] == [
        "Starter pack, 5 days: covers Thu 1 Jan 2026 to Mon 5 Jan 2026",
        "Further supply, 23 days: covers Tue 6 Jan 2026 to Wed 28 Jan 2026",
    ]
    assert not_covered_words(case.course(case.after(3)), ZONE) == ""
    case.do(actions.stop_course, case.after(9), reason="worker_wish", happened_at=case.after(7))
    resume(case, 10)
    told = dict(course_told(case.situation(case.after(10)), "us", case.after(10), ZONE))
    assert (
        "2 days without between; end of the course later, by the days without a dose"
        in told["Stopped and resumed"]
    )


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (0, "23 days are not covered yet: Tue 6 Jan 2026 to Wed 28 Jan 2026"),
        (22, "1 day is not covered yet: Wed 28 Jan 2026"),
        (23, ""),
        (24, ""),
    ],
)
def test_the_days_that_no_tablets_are_there_for_are_named(more, said):
    case = Case(NEW_YEAR, days=5)
    if more:
        case.do(actions.hand_out, case.after(3), product="Further supply", days=more)

    assert not_covered_words(case.course(case.after(3)), ZONE) == said


@pytest.mark.parametrize(("day", "left"), [(0, 5), (3, 2), (4, 1), (5, 0), (6, 0)])
def test_on_the_last_day_of_a_pack_only_todays_tablets_are_left(day, left):
    """A pack for 5 days from 1 January: 5 January is its last day, on the 6th there is none."""
    case = Case(NEW_YEAR, days=5)

    assert case.course(case.after(day)).days_left(case.after(day), ZONE) == left


@given(
    handed=st.lists(st.tuples(st.integers(0, 20), st.integers(1, 30)), max_size=4),
    stop=st.integers(1, 15), gap=st.integers(0, 10), in_hand=st.none() | st.integers(0, 30),
    end=st.sampled_from(list(RESUMED_END)),
)  # fmt: skip
def test_no_day_is_covered_by_two_packs_and_no_pack_covers_a_day_of_the_stop(
    handed, stop, gap, in_hand, end
):
    """Counted day by day beside it: each pack lies after the one before, none on a day without."""
    case = Case(NEW_YEAR, days=5)
    for day, days in sorted(handed):
        if day < stop:
            case.do(actions.hand_out, case.after(day), product="P", days=days)
    case.do(actions.stop_course, case.after(stop), reason="worker_wish")
    resume(case, stop + gap, in_hand=in_hand, end=end)
    course = case.course(case.after(stop + gap))
    days = [
        day
        for pack in course.packs
        for day in range(pack.first.toordinal(), pack.last.toordinal() + 1)
    ]

    assert days == sorted(set(days))
    assert not set(days) & set(course.without[0])
    moved = len(course.without[0]) if end != "planned" else 0
    assert course.days == 28 + moved
