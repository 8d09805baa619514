"""Visits: each boundary of windows, days and rules; what is reported; choices; the words."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clinical.test_visits_exact import SMALL, cases, courses, held_by, keeps_rules, price
from thimble.clinical.durations import Duration
from thimble.clinical.site import parse_site
from thimble.clinical.visits import (
    After,
    Because,
    Cause,
    Item,
    Nearest,
    OpenDays,
    PartOfDay,
    Refused,
    Why,
    alternatives,
    choice,
    last_day_needed,
    open_days,
    plan_visits,
    sentences,
    shared,
)

MONDAY = date(2026, 3, 2)
SIX_MONTHS, ONE_MONTH = Duration(6, "months"), Duration(1, "months")


def march(day):
    return date(2026, 3, day)


def week(*closed, weeks=5):
    """Weekdays from Monday 2 March 2026, without the days of March that are named."""
    away = {march(day) for day in closed}
    end = MONDAY + timedelta(days=7 * weeks - 1)
    every = [MONDAY + timedelta(days=n) for n in range(7 * weeks)]
    return OpenDays(
        MONDAY,
        end,
        tuple(day for day in every if day.weekday() < 5 and day not in away),
        dict.fromkeys(away, "team day"),
    )


def dates(plan):
    return {name: day.day for name, day in plan.held.items()}


# Windows and open days.


def test_a_window_of_a_single_open_day_is_met_on_that_day():
    plan = plan_visits([Item("a", march(11), None, march(11))], week())

    assert dates(plan) == {"a": 11}


def test_a_window_of_a_weekend_is_reported_with_the_days_around_it_and_the_rest_is_planned():
    plan = plan_visits([Item("a", march(7), march(7), march(8)), Item("b", march(9))], week())

    (report,) = plan.unplaceable
    assert dates(plan) == {"b": 9}
    assert (report.item, report.because) == ("a", Because.NO_OPEN_DAY)
    assert (report.before, report.after) == (Nearest(march(6), 1), Nearest(march(9), 1))


@pytest.mark.parametrize(("latest", "held"), [(14, 13), (13, 13), (12, 12)])
def test_a_target_on_a_closed_day_moves_to_the_nearest_open_one_in_the_window(latest, held):
    """14 March 2026 is a Saturday; Monday would be farther and too late."""
    plan = plan_visits([Item("a", march(9), march(14), march(latest))], week())

    assert dates(plan) == {"a": held}


def test_a_window_that_closes_on_a_closed_day_is_met_before_it():
    plan = plan_visits([Item("a", march(9), march(13), march(13))], week(13))

    (visit,) = plan.visits
    assert visit.day == march(12)
    assert visit.placements[0].why is Why.CLOSED
    assert visit.placements[0].note == "team day"
    assert visit.placements[0].off == -1


def test_two_items_that_share_exactly_one_day_meet_on_it():
    one, two = Item("a", march(2), march(3), march(11)), Item("b", march(11), march(20), march(25))

    assert dates(plan_visits([one, two], week())) == {"a": 11, "b": 11}


def test_two_items_that_miss_each_other_by_a_day_need_two_visits_on_their_targets():
    one, two = Item("a", march(2), march(3), march(10)), Item("b", march(11), march(20), march(25))

    assert dates(plan_visits([one, two], week())) == {"a": 3, "b": 20}


def test_the_only_shared_day_is_closed():
    one, two = Item("a", march(2), march(3), march(11)), Item("b", march(11), march(20), march(25))

    assert dates(plan_visits([one, two], week(11))) == {"a": 3, "b": 20}


def test_an_item_without_a_target_goes_to_the_first_day_and_draws_nobody():
    alone = plan_visits([Item("a", march(4), None, march(20))], week())
    together = plan_visits(
        [Item("a", march(4), None, march(20)), Item("b", None, march(18))], week()
    )

    assert dates(alone) == {"a": 4}
    assert dates(together) == {"a": 18, "b": 18}


def test_nothing_is_planned_before_today_or_after_the_last_day():
    soon = plan_visits([Item("a", date(2026, 2, 1), date(2026, 2, 10))], week())
    far = plan_visits([Item("a", date(2026, 9, 1), date(2026, 9, 10))], week())

    assert dates(soon) == {"a": 2}
    assert soon.visits[0].placements[0].why is Why.PAST
    assert [each.because for each in far.unplaceable] == [Because.BEYOND]
    assert far.unplaceable[0].before.day == date(2026, 4, 3)


@pytest.mark.parametrize("late", [1, 30])
def test_an_overdue_item_is_reported_with_the_first_open_day(late):
    plan = plan_visits([Item("a", None, None, MONDAY - timedelta(days=late))], week(2))

    (report,) = plan.overdue
    assert (report.days_late, report.proposal) == (late, march(3))
    assert plan.visits == ()


def test_an_overdue_item_that_waits_for_another_proposes_no_day():
    items = [
        Item("one", march(7), None, march(8)),
        Item("two", None, None, date(2026, 2, 27), (After("one", Duration(4, "weeks")),)),
    ]

    plan = plan_visits(items, week())

    assert [(each.item, each.proposal) for each in plan.overdue] == [("two", None)]


def test_an_item_whose_last_day_is_today_is_held_today():
    plan = plan_visits([Item("a", None, None, MONDAY)], week())

    assert (plan.overdue, dates(plan)) == ((), {"a": 2})


def test_a_window_that_holds_no_day_is_reported():
    plan = plan_visits([Item("a", march(11), None, march(10))], week())

    assert [each.because for each in plan.unplaceable] == [Because.NO_OPEN_DAY]


# Rules.


@pytest.mark.parametrize(
    ("latest", "held", "report"),
    [(date(2026, 9, 15), date(2026, 9, 15), ()), (date(2026, 9, 14), None, (Because.RULE,))],
)
def test_a_titre_six_months_after_immunoglobulin_to_the_day(latest, held, report):
    titre = Item("titre", None, None, latest, (After("immunoglobulin", SIX_MONTHS),))
    days = OpenDays(MONDAY, date(2026, 9, 15), tuple(MONDAY + timedelta(n) for n in range(198)))

    plan = plan_visits([titre], days, done={"immunoglobulin": march(15)})

    assert plan.held.get("titre") == held
    assert tuple(each.because for each in plan.unplaceable) == report


@pytest.mark.parametrize(("latest", "second"), [(30, 30), (29, None)])
def test_a_second_dose_four_weeks_after_one_that_is_still_planned(latest, second):
    doses = [
        Item("one", None, None, march(20)),
        Item("two", None, None, march(latest), (After("one", Duration(4, "weeks")),)),
    ]

    plan = plan_visits(doses, week())

    assert plan.held.get("one") == MONDAY
    assert plan.held.get("two") == (march(second) if second else None)
    if second is None:
        (report,) = plan.unplaceable
        assert (report.because, report.others) == (Because.RULE, ("one",))
        assert (report.before, report.after) == (Nearest(march(27), 3), Nearest(march(30), 1))


def test_what_follows_an_item_without_a_day_waits_for_it():
    """With the first on no day, nobody can say when the second is due."""
    first = Item("a", march(7), None, march(8))
    second = Item("b", march(9), None, None, (After("a", Duration(1, "days")),))
    third = Item("c", None, None, None, (After("b", Duration(1, "days")),))

    plan = plan_visits([first, second, third], week())

    assert [each.because for each in plan.unplaceable] == [
        Because.NO_OPEN_DAY,
        Because.WAITS,
        Because.WAITS,
    ]
    assert [each.others for each in plan.unplaceable] == [(), ("a",), ("b",)]


def test_the_end_of_a_month_clamps():
    """A month after 31 January is 28 February 2026, a Saturday; the next open day is 2 March."""
    days = OpenDays(
        date(2026, 1, 31), date(2026, 3, 5), (date(2026, 1, 31), date(2026, 2, 28), MONDAY)
    )
    doses = [Item("a", None, None, date(2026, 1, 31)), Item("b", after=(After("a", ONE_MONTH),))]

    assert plan_visits(doses, days).held["b"] == date(2026, 2, 28)


@pytest.mark.parametrize(("most", "held"), [(9, 11), (10, 12)])
def test_at_most_so_long_after_draws_the_earlier_item_on(most, held):
    """`b` opens on the 21st; `a` would be held at once."""
    items = [
        Item("a", None, None, march(25)),
        Item(
            "b", march(21), None, None, (After("a", Duration(1, "days"), Duration(most, "days")),)
        ),
    ]

    plan = plan_visits(items, week(21, 22, 24, 25, 26, 27))

    assert plan.held["b"] == march(23)
    assert plan.held["a"] == march(23 - most if (23 - most) not in (14, 15) else 16)


def test_items_that_may_not_share_a_visit_are_held_on_two_days():
    one, two = Item("a", march(9), march(11), march(13)), Item("b", march(9), march(11), march(13))

    plan = plan_visits([one, Item("b", march(9), march(11), march(13), apart_from=("a",))], week())
    alone = plan_visits([one, Item("b", march(9), march(11), march(13), alone=True)], week())

    assert dates(plan_visits([one, two], week())) == {"a": 11, "b": 11}
    for found in (plan, alone):
        assert sorted(dates(found).values()) == [10, 11]
        assert {each.why for visit in found.visits for each in visit.placements} == {
            Why.ON_TARGET,
            Why.APART,
        }


def test_rules_that_cannot_all_be_kept_leave_out_as_few_as_possible_and_the_latest_to_close():
    only = [Item(name, march(9), None, march(9), alone=True) for name in "ab"]
    wide = Item("c", None, None, march(9), apart_from=("a", "b"))

    plan = plan_visits([*only, wide], week())

    (report,) = plan.unplaceable
    assert (report.item, report.because, report.others) == ("b", Because.CONFLICT, ("a", "c"))
    assert dates(plan) == {"a": 9, "c": 2}


def test_what_is_done_moves_what_comes_after_it():
    titre = Item("titre", None, None, None, (After("dose", ONE_MONTH),))
    dose = Item("dose", march(4), march(4), march(4))

    planned = plan_visits([dose, titre], week(weeks=10)).held["titre"]
    late = plan_visits([titre], week(weeks=10), done={"dose": march(6)}).held["titre"]

    assert (planned, late) == (date(2026, 4, 6), date(2026, 4, 6))
    assert plan_visits([titre], week(weeks=10), done={"dose": march(7)}).held["titre"] == date(
        2026, 4, 7
    )


# Agreed days.


def test_items_whose_hours_of_a_day_never_meet_are_not_held_on_it_together():
    """One only until 10, the other only from 10:01 on Monday; both may come on Tuesday."""

    def at(hour, minute=0):
        return datetime(2026, 3, 2, hour, minute, tzinfo=UTC)

    def items(from_minute, day=3):
        latest = march(day)
        return [
            Item("early", latest=latest, hours=(PartOfDay(MONDAY, at(8), at(10)),)),
            Item("late", latest=latest, hours=(PartOfDay(MONDAY, at(10, from_minute), at(16)),)),
        ]

    assert dates(plan_visits(items(0), week())) == {"early": 2, "late": 2}
    assert dates(plan_visits(items(1), week())) == {"early": 3, "late": 3}
    (left,) = plan_visits(items(1, day=2), week()).unplaceable
    assert (left.item, left.because, left.others) == ("late", Because.CONFLICT, ("early",))


def test_the_noon_break_is_no_hour_in_common():
    def part(*spans):
        spans = tuple(
            tuple(datetime(2026, 3, 2, *each, tzinfo=UTC) for each in span) for span in spans
        )
        return PartOfDay(MONDAY, spans[0][0], spans[-1][1], spans)

    until_noon = part(((8, 0), (11, 50)))
    whole = part(((8, 0), (12, 0)), ((13, 0), (16, 0)))
    after_noon = part(((11, 55), (12, 0)), ((13, 0), (16, 0)))
    assert shared((until_noon, whole)) == until_noon.spans
    assert shared((after_noon, whole)) == after_noon.spans
    assert shared((until_noon, after_noon)) == ()


def test_an_agreed_day_is_kept_among_equal_plans_only():
    free = Item("a", march(9), None, march(20))
    drawn = Item("a", march(9), march(11), march(20))

    assert dates(plan_visits([free], week(), kept=[march(18)])) == {"a": 18}
    kept = plan_visits([drawn], week(), kept=[march(18)])
    assert dates(kept) == {"a": 11}
    assert kept.dropped == (march(18),)


def test_no_number_of_agreed_days_outweighs_one_day_away_from_a_target():
    """`b` is bound to `a`: one day more would keep two agreed days."""
    week_later = After("a", Duration(7, "days"), Duration(7, "days"))
    items = [Item("a", None, march(11)), Item("b", after=(week_later,))]

    plan = plan_visits(items, week(), kept=[march(12), march(19)])

    assert dates(plan) == {"a": 11, "b": 18}


def test_an_agreed_day_on_which_the_clinic_has_closed_since_is_dropped():
    plan = plan_visits([Item("a", march(9))], week(18), kept=[march(18)])

    assert (dates(plan), plan.dropped) == ({"a": 9}, (march(18),))


# Reasons.


def test_each_limit_of_a_visit_names_what_sets_it():
    items = [
        Item("hcv_rna", march(10), None, march(13)),
        Item("review", None, march(19), march(20)),
        Item("dose", None, None, None),
        Item("next", march(26), march(26), march(26), (After("dose", Duration(2, "weeks")),)),
    ]

    plan = plan_visits(items, week())

    first, second = plan.visits
    assert (first.day, second.day) == (march(12), march(26))
    assert (first.opens.day, first.opens.cause, first.opens.item) == (
        march(10),
        Cause.WINDOW,
        "hcv_rna",
    )
    assert (first.closes.day, first.closes.cause) == (march(12), Cause.BEFORE)
    assert (first.closes.other, first.closes.other_day) == ("next", march(26))
    (review,) = [each for each in first.placements if each.item == "review"]
    assert (review.why, review.off, review.others) == (Why.SHARED, -7, ("dose", "hcv_rna"))
    assert second.closes.cause is Cause.WINDOW


def test_a_rule_that_keeps_an_item_off_its_target_is_named():
    doses = [
        Item("one", march(9), march(9), march(9)),
        Item("two", march(9), march(20), None, (After("one", Duration(2, "weeks")),)),
    ]

    (placed,) = plan_visits(doses, week()).visits[1].placements

    assert (placed.day, placed.why) == (march(23), Why.RULE)
    assert (placed.bound.cause, placed.bound.other) == (Cause.AFTER, "one")


@settings(max_examples=150, deadline=None)
@given(cases(most_items=6, length=30, most_open=20, spans=SMALL))
def test_the_limits_of_a_visit_are_exact(case):
    """On each open day within them every rule holds, and on the ones just outside some rule breaks."""
    items, days, done, kept = case
    plan = plan_visits(items, days, done=done, kept=kept)
    loose = [
        Item(**{**fields(item), "alone": False, "apart_from": (), "hours": ()}) for item in items
    ]
    for visit in plan.visits:
        for day in (days.first + timedelta(days=n) for n in range(31)):
            held = held_by(plan) | dict.fromkeys(visit.items, day)
            fits = keeps_rules(loose, held, done) and all(
                (item.earliest or day) <= day <= (item.latest or day)
                for item in items
                if item.id in visit.items
            )
            assert fits == (
                visit.opens.day <= day and (visit.closes is None or day <= visit.closes.day)
            )


def fields(item):
    return {name: getattr(item, name) for name in Item.__slots__}


@settings(max_examples=150, deadline=None)
@given(cases(most_items=6, length=30, most_open=20, spans=SMALL))
def test_only_an_item_that_shares_its_visit_is_said_to_share_it(case):
    items, days, done, kept = case
    plan = plan_visits(items, days, done=done, kept=kept)

    for visit in plan.visits:
        for each in visit.placements:
            assert (each.off == 0) == (each.why is Why.ON_TARGET)
            assert (each.off is None) == (each.why is Why.NO_TARGET)
            if each.why is Why.SHARED:
                assert each.others
                assert set(each.others) == set(visit.items) - {each.item}
            if each.why is Why.RULE:
                assert each.bound is not None
            if each.why is Why.APART:
                assert each.others
            if each.why is Why.CLOSED:
                assert each.target not in days


# Choosing.


def test_the_days_on_which_a_visit_may_be_held_instead():
    plan = plan_visits([Item("a", march(9), march(11), march(16))], week(10))

    found = alternatives(plan, plan.visits[0])

    assert [(each.day.day, each.change) for each in found] == [(12, 1), (9, 2), (13, 2), (16, 5)]


def test_the_target_of_one_item_pulls_against_that_of_another():
    items = [Item("a", march(9), march(9), march(13)), Item("b", march(11), march(13), march(20))]
    plan = plan_visits(items, week())

    found = alternatives(plan, plan.visits[0])

    assert [(each.day.day, each.change) for each in found] == [(12, 0), (13, 0)]


@settings(max_examples=150, deadline=None)
@given(cases(most_items=5, length=20, most_open=12, spans=SMALL))
def test_alternatives_are_all_the_days_that_cost_no_attendance_and_break_nothing(case):
    items, days, done, kept = case
    plan = plan_visits(items, days, done=done, kept=kept)
    held = held_by(plan)

    for visit in plan.visits:
        expected = {}
        for day in days.days:
            moved = held | dict.fromkeys(visit.items, day)
            inside = all(
                (item.earliest or day) <= day <= (item.latest or day)
                for item in items
                if item.id in visit.items
            )
            if day != visit.day and inside and keeps_rules(items, moved, done):
                expected[day] = price(items, moved, kept)[2] - plan.distance
        assert {each.day: each.change for each in alternatives(plan, visit)} == expected


@settings(max_examples=100, deadline=None)
@given(courses(most_items=8), st.randoms())
def test_an_alternative_that_is_chosen_is_honoured_at_no_more_than_the_price_it_named(case, random):
    items, days, kept = case
    plan = plan_visits(items, days, kept=kept)
    assume(plan.visits)
    visit = random.choice(plan.visits)
    offered = alternatives(plan, visit)
    assume(offered)
    picked = random.choice(offered)

    again = plan_visits(items, days, kept=kept, chosen=choice(visit, picked.day))

    assert again.refused == ()
    assert {again.held[name] for name in visit.items} == {picked.day}
    assert again.added == 0
    assert again.distance <= plan.distance + picked.change


@pytest.mark.parametrize(
    ("day", "because"),
    [
        (8, Refused.TOO_EARLY),
        (9, None),
        (11, Refused.CLOSED),
        (14, Refused.CLOSED),
        (20, None),
        (21, Refused.TOO_LATE),
    ],
)
def test_a_chosen_day_is_honoured_or_refused_with_the_reason(day, because):
    plan = plan_visits(
        [Item("a", march(9), march(12), march(20))], week(11), chosen={"a": march(day)}
    )

    assert [each.because for each in plan.refused] == ([] if because is None else [because])
    assert dates(plan) == {"a": 12 if because else day}


def test_a_choice_that_leaves_another_item_without_a_day_is_refused_and_names_it():
    items = [
        Item("one", None, march(3), march(20)),
        Item("two", None, None, march(20), (After("one", Duration(2, "weeks")),)),
    ]

    kept = plan_visits(items, week(), chosen={"one": march(6)})
    lost = plan_visits(items, week(), chosen={"one": march(9)})

    assert dates(kept) == {"one": 6, "two": 20}
    assert [(each.because, each.others) for each in lost.refused] == [(Refused.CONFLICT, ("two",))]
    assert dates(lost) == {"one": 3, "two": 17}


def test_two_choices_that_exclude_each_other():
    items = [Item("a", None, march(3)), Item("b", None, march(5), apart_from=("a",))]

    plan = plan_visits(items, week(), chosen={"a": march(10), "b": march(10)})

    assert [(each.item, each.others) for each in plan.refused] == [("b", ("a",))]
    assert dates(plan) == {"a": 10, "b": 5}


def test_a_choice_that_costs_an_attendance_is_honoured_and_counted():
    items = [Item("a", march(9), None, march(13)), Item("b", march(9), None, march(20))]

    plan = plan_visits(items, week(), chosen={"b": march(20)})

    assert (dates(plan), plan.added) == ({"a": 9, "b": 20}, 1)


@pytest.mark.parametrize(("hard", "held"), [(True, None), (False, 16)])
def test_a_day_outside_a_window_may_be_chosen_only_where_a_clinician_allows_it(hard, held):
    item = Item("a", march(14), march(14), march(15), hard=hard)

    plan = plan_visits([item], week(), chosen={"a": march(16)})

    assert plan.held.get("a") == (march(held) if held else None)
    if held:
        assert plan.visits[0].placements[0].outside == 1
        assert plan.refused == ()
    else:
        assert [each.because for each in plan.refused] == [Refused.TOO_LATE]


def test_an_overdue_item_is_planned_once_a_clinician_has_chosen_its_day():
    item = Item("a", None, None, date(2026, 2, 20), hard=False)

    plan = plan_visits([item], week(), chosen={"a": march(5)})

    assert (dates(plan), plan.overdue) == ({"a": 5}, ())
    assert plan.visits[0].placements[0].outside == 13


def test_no_choice_moves_a_rule():
    titre = Item("titre", None, None, None, (After("dose", Duration(2, "weeks")),), hard=False)

    plan = plan_visits([titre], week(), done={"dose": march(2)}, chosen={"titre": march(13)})

    (refusal,) = plan.refused
    assert (refusal.because, refusal.bound.other) == (Refused.TOO_EARLY, "dose")
    assert dates(plan) == {"titre": 16}


# Bad input.


@pytest.mark.parametrize(
    ("items", "words"),
    [
        ([Item("a"), Item("a")], "'a' is listed twice"),
        ([Item("dose")], "'dose' is done"),
        ([Item("a", after=(After("a", ONE_MONTH),))], "cannot come after itself"),
        ([Item("a", after=(After("x", ONE_MONTH),))], "neither planned nor done"),
        ([Item("a", apart_from=("a",))], "kept apart from itself"),
        (
            [
                Item("a", after=(After("b", ONE_MONTH),)),
                Item("b", after=(After("a", ONE_MONTH),)),
            ],
            "round in a circle",
        ),
    ],
)
def test_items_that_contradict_each_other_are_refused(items, words):
    with pytest.raises(ValueError, match=words):
        plan_visits(items, week(), done={"dose": march(1)})


def test_a_choice_for_nothing_is_refused():
    with pytest.raises(ValueError, match="chosen for 'b'"):
        plan_visits([Item("a")], week(), chosen={"b": march(3)})


def test_hours_between_visits_are_refused():
    with pytest.raises(ValueError, match="days, weeks, months or years; found 72 hours"):
        After("a", Duration(72, "hours"))


def test_a_visit_of_another_plan_has_no_alternatives():
    one, two = plan_visits([Item("a")], week()), plan_visits([Item("b")], week())

    with pytest.raises(ValueError, match="no such visit on 2026-03-02"):
        alternatives(one, two.visits[0])


@pytest.mark.parametrize(
    "days", [(march(4), march(3)), (march(3), march(3)), (march(1),), (march(31),)]
)
def test_open_days_out_of_order_or_out_of_place_are_refused(days):
    with pytest.raises(ValueError, match="Open days"):
        OpenDays(MONDAY, march(30), days)


# Open days of a site.


def test_open_days_leave_out_weekends_holidays_closures_and_absence_each_with_its_reason(site):
    found = open_days(site, date(2026, 4, 1), date(2026, 4, 8), [date(2026, 4, 8)])

    assert found.days == (date(2026, 4, 1), date(2026, 4, 2), date(2026, 4, 7))
    assert {day.day: why for day, why in found.closed.items()} == {
        3: "Good Friday",
        4: "closed on Saturdays",
        5: "closed on Sundays",
        6: "Easter Monday",
        8: "the worker is not available",
    }
    assert open_days(site, date(2026, 6, 5), date(2026, 6, 5)).closed == {
        date(2026, 6, 5): "team day"
    }


def test_a_day_of_the_week_without_hours_is_closed(settings):
    del settings["occupational_medicine"]["hours"]["wednesday"]
    found = open_days(parse_site(settings), MONDAY, march(8))

    assert [day.day for day in found.days] == [2, 3, 5, 6]
    assert found.why_closed(march(4)) == "closed on Wednesdays"
    assert found.why_closed(march(5)) == ""
    assert found.why_closed(march(1)) == "past"
    assert found.why_closed(march(9)) == "after the last day planned"


def test_days_that_end_before_they_begin_are_refused(site):
    with pytest.raises(ValueError, match="from the first to the last"):
        open_days(site, MONDAY, date(2026, 3, 1))


def test_how_far_ahead_to_look():
    items = [
        Item("a", march(4), march(10)),
        Item("b", None, None, None, (After("a", SIX_MONTHS),)),
    ]

    assert last_day_needed(items, MONDAY, spare=0) == date(2026, 9, 4)
    assert last_day_needed(items[:1], MONDAY, spare=0) == march(10)
    assert last_day_needed([Item("a", None, None, march(20))], MONDAY, spare=0) == march(20)
    assert last_day_needed([], MONDAY, spare=3) == march(5)


# Words.


def test_a_plan_is_told_in_sentences():
    items = [
        Item("rna", march(10), None, march(13)),
        Item("review", None, march(14), march(20)),
        Item("late", None, None, date(2026, 2, 27)),
        Item("shut", march(7), None, march(8)),
    ]
    names = {"rna": "HCV RNA", "review": "the review", "late": "the titre", "shut": "the X-ray"}

    plan = plan_visits(items, week(), kept=[march(13), march(18)], chosen={"rna": march(9)})

    assert sentences(plan, names) == (
        "the titre is overdue by 3 days: its last day was Fri 27 Feb 2026. "
        "First open day: Mon 2 Mar 2026; a clinician decides.",
        "the X-ray is not planned: no open day lies in its window "
        "(from Sat 7 Mar 2026 to Sun 8 Mar 2026). Nearest open days: "
        "Fri 6 Mar 2026, 1 day too early; Mon 9 Mar 2026, 1 day too late. A clinician decides.",
        "HCV RNA cannot be held on Mon 9 Mar 2026: not before Tue 10 Mar 2026, "
        "because the window of HCV RNA opens.",
        "Fri 13 Mar 2026 (as agreed): the review and HCV RNA.",
        "Not before Tue 10 Mar 2026: the window of HCV RNA opens.",
        "No later than Fri 13 Mar 2026: the window of HCV RNA closes.",
        "the review: moved from Sat 14 Mar 2026 to Fri 13 Mar 2026 (1 day before its target): "
        "closed.",
        "The agreed date Wed 18 Mar 2026 is no longer needed.",
    )


@settings(max_examples=150, deadline=None)
@given(cases(most_items=6, length=30, most_open=20, spans=SMALL), st.randoms())
def test_every_plan_can_be_told_and_names_every_item(case, random):
    items, days, done, kept = case
    wanted = {item.id: days.first + timedelta(random.randrange(31)) for item in items[:2]}

    plan = plan_visits(items, days, done=done, kept=kept, chosen=wanted)
    told = " ".join(sentences(plan))

    assert all(item.id in told for item in items)
    assert "None" not in told
    assert {each.item for each in plan.refused} == wanted.keys() - plan.chosen.keys()
    assert all(plan.held[name] == day for name, day in plan.chosen.items())
