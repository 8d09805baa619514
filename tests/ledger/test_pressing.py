"""The one order of what is to be done: what can be lost comes first, and every reader says the same."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thimble.ledger.plan import Action, State, Window
from thimble.ledger.pressing import AT_ONCE, NEAR, OVERDUE, Group, group_of, has_opened, urgency

NOW = datetime(2026, 11, 28, 2, 10, tzinfo=UTC)
SECOND = timedelta(seconds=1)
HOUR = timedelta(hours=1)


def thing(
    id_: str = "thing",
    *,
    earliest: timedelta | None = timedelta(hours=-100),
    target: timedelta | None = None,
    latest: timedelta | None = None,
    kind: str = "review",
    certain: bool = True,
    waits_for: str = "",
) -> Action:
    """An action whose window is told from NOW."""
    opens, best, ends = (None if t is None else NOW + t for t in (earliest, target, latest))
    late = ends is not None and ends < NOW
    return Action(
        id=id_, what=id_, kind=kind, whom="worker", window=Window(opens, best, ends, waits_for),
        state=State.LATE if late else State.OPEN, certain=certain, because=(),
    )  # fmt: skip


def in_order(*things: Action) -> list[str]:
    return [a.id for a in sorted(things, key=lambda a: urgency(a, NOW))]


def test_immunoglobulin_with_days_left_stands_before_a_review_whose_window_has_closed():
    """Past its target for two days, four to go: what can still be given is not behind what cannot."""
    hbig = thing("hbig", target=-48 * HOUR, latest=96 * HOUR, kind="dose")
    review = thing("review", latest=-5 * HOUR)

    assert in_order(review, hbig) == ["hbig", "review"]
    assert group_of(hbig, NOW) is Group.NOW


def test_a_decision_past_its_target_and_without_an_end_is_due_and_not_past():
    decision = thing("decision", target=-71 * HOUR)

    assert group_of(decision, NOW) is Group.NOW
    assert in_order(thing("review", latest=-HOUR), decision) == ["decision", "review"]


@pytest.mark.parametrize(
    ("minutes", "first"), [(1, "aid"), (59, "aid"), (60, "aid"), (61, "dose"), (600, "dose")]
)
def test_first_aid_leads_for_an_hour_and_then_a_dose_that_is_due(minutes: int, first: str):
    since = timedelta(minutes=-minutes)
    aid = thing("aid", target=since, kind="first_aid")
    dose = thing("dose", target=since + HOUR, latest=since + 72 * HOUR, kind="dose")

    assert in_order(dose, aid)[0] == first


def test_the_exposure_of_this_hour_stands_before_what_was_missed_yesterday():
    """Both are due at once; the one of now has the most to gain."""
    fresh = thing("fresh", target=timedelta(minutes=40), latest=72 * HOUR, kind="dose")
    missed = thing("missed", target=-20 * HOUR, latest=52 * HOUR, kind="dose")

    assert in_order(missed, fresh) == ["fresh", "missed"]


def test_first_aid_that_nobody_recorded_does_not_lead_for_days():
    aid = thing("aid", target=-70 * HOUR, kind="first_aid")

    assert in_order(aid, thing("assess", target=-69 * HOUR)) == ["assess", "aid"]


@pytest.mark.parametrize(
    ("target", "latest", "group"),
    [
        (None, NEAR - SECOND, Group.NOW),
        (None, NEAR, Group.NOW),
        (None, NEAR + SECOND, Group.OPEN),
        (None, timedelta(0), Group.NOW),
        (None, -SECOND, Group.PAST),
        (-SECOND, None, Group.NOW),
        (timedelta(0), None, Group.NOW),
        (-SECOND, 10 * NEAR, Group.NOW),
        (-5 * OVERDUE, 10 * NEAR, Group.NOW),
        (NEAR + SECOND, 10 * NEAR, Group.OPEN),
        (None, None, Group.OPEN),
    ],
)
def test_every_limit_on_just_before_and_just_after(
    target: timedelta | None, latest: timedelta | None, group: Group
):
    assert group_of(thing(target=target, latest=latest), NOW) is group


def test_a_passed_target_counts_for_a_day_and_then_the_last_instant_does():
    """On the day it stands before what closes in hours, a second later behind it."""
    closing = thing("closing", latest=5 * HOUR)

    on = thing("overdue", target=-OVERDUE, latest=48 * HOUR)
    over = thing("overdue", target=-OVERDUE - SECOND, latest=48 * HOUR)
    assert in_order(closing, on) == ["overdue", "closing"]
    assert in_order(over, closing) == ["closing", "overdue"]


@pytest.mark.parametrize(
    ("limit", "first"),
    [(AT_ONCE - SECOND, "soon"), (AT_ONCE, "soon"), (AT_ONCE + SECOND, "missed")],
)
def test_what_is_due_within_the_hour_is_due_at_once(limit: timedelta, first: str):
    missed = thing("missed", target=-2 * HOUR)

    assert in_order(missed, thing("soon", target=limit))[0] == first


def test_what_opens_later_or_waits_comes_last_unless_it_closes_soon():
    later = thing("later", earliest=200 * HOUR, target=300 * HOUR)
    sooner = thing("sooner", earliest=100 * HOUR, target=400 * HOUR)
    waits = thing("waits", waits_for="dose")
    near = thing("near", earliest=HOUR, latest=48 * HOUR)
    free = thing("free")

    assert in_order(waits, later, free, near, sooner) == [
        "near", "free", "sooner", "later", "waits",
    ]  # fmt: skip


spans = st.integers(-400 * 60, 400 * 60).map(lambda minutes: timedelta(minutes=minutes))
things = st.builds(
    thing,
    id_=st.uuids().map(str),
    earliest=st.none() | spans,
    target=st.none() | spans,
    latest=st.none() | spans,
    kind=st.sampled_from(["dose", "review", "first_aid", "sample"]),
    certain=st.booleans(),
    waits_for=st.sampled_from(["", "", "dose"]),
)


@given(st.lists(things, min_size=2, max_size=8))
def test_nothing_that_can_still_be_done_in_time_stands_behind_what_cannot(made: list[Action]):
    order = sorted(made, key=lambda a: urgency(a, NOW))

    for one, other in pairwise(order):
        if group_of(one, NOW) is Group.PAST:
            window = other.window
            limit = window.target or window.latest
            possible = has_opened(other, NOW) and (window.latest is None or window.latest >= NOW)
            assert not (possible and limit is not None and limit <= NOW + NEAR)


@given(st.lists(things, max_size=8))
def test_of_what_has_hours_left_the_one_that_closes_first_comes_first(made: list[Action]):
    limits = [
        a.window.latest
        for a in sorted(made, key=lambda a: urgency(a, NOW))
        if a.window.target is None and a.window.latest is not None and not a.window.waits_for
        and NOW + AT_ONCE < a.window.latest <= NOW + NEAR
    ]  # fmt: skip

    assert limits == sorted(limits)


def test_a_decision_that_is_certain_and_overdue_stands_before_a_dose_that_may_be_needed():
    """Eighty hours after a needle from a source with HIV: the decision on HIV leads."""
    decision = thing("decision", target=-79 * HOUR)
    perhaps = thing("hbig", target=-56 * HOUR, latest=88 * HOUR, kind="dose", certain=False)

    assert in_order(perhaps, decision) == ["decision", "hbig"]


@pytest.mark.parametrize("hours", [2, 20, 25.5, 49, 60, 71.9])
def test_the_first_dose_leads_for_as_long_as_it_can_be_given(hours: float):
    """No sample and no review comes before it, whatever has been missed meanwhile."""
    at = -timedelta(hours=hours)
    pep = thing("pep", target=at + HOUR, latest=at + 72 * HOUR, kind="dose")
    hbig = thing("hbig", target=at + 24 * HOUR, latest=at + 168 * HOUR, kind="dose")
    vaccine = thing("vaccine", target=at + 24 * HOUR, kind="dose")
    hcv = thing("hcv", target=at + 48 * HOUR, kind="sample")
    titre = thing("titre", target=at + 24 * HOUR, kind="sample")
    assess = thing("assess", target=at + HOUR)

    order = in_order(titre, hcv, vaccine, assess, hbig, pep)
    assert order[0] == "pep"
    if hours > 24 and hours < 47:
        assert order[:3] == ["pep", "hbig", "vaccine"]


def test_between_cases_the_dose_with_hours_left_stands_before_a_missed_sample():
    pep = thing("pep", target=-57 * HOUR, latest=14 * HOUR, kind="dose")
    sample = thing("sample", target=-2 * HOUR, kind="sample")

    assert in_order(sample, pep) == ["pep", "sample"]
