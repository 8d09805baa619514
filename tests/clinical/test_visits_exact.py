"""The planner against every possible plan, and against an independent solver."""

from datetime import UTC, date, datetime, timedelta
from itertools import product

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from thimble.clinical.durations import Duration
from thimble.clinical.visits import After, Item, OpenDays, PartOfDay, plan_visits

FIRST = date(2026, 1, 26)  # the end of January: months clamp here


def later(day, by):
    """Calendar arithmetic by another library than the code's own."""
    return day + relativedelta(**{by.unit: by.count})


def oclock(day, hour):
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


@st.composite
def hours_of(draw, days):
    """Hours of a few open days: one stretch, or two around noon."""
    found = []
    for day in days:
        low = draw(st.sampled_from((8, 8, 10, 13)))
        if draw(st.integers(0, 2)) == 0:
            continue
        high = draw(st.integers(low, low + 3))
        spans = [(oclock(day, low), oclock(day, high))]
        if low < 12 < high:
            spans = [(oclock(day, low), oclock(day, 12)), (oclock(day, 13), oclock(day, high))]
            spans = [(one, two) for one, two in spans if one <= two]
        found.append(PartOfDay(day, spans[0][0], spans[-1][1], tuple(spans)))
    return tuple(sorted(found, key=lambda part: part.day))


def an_hour_for_all(items, day):
    """Whether some minute of the day lies in the hours of every item that has any that day."""
    parts = [part for item in items for part in item.hours if part.day == day]
    minutes = (oclock(day, 8) + timedelta(minutes=30 * n) for n in range(20))
    return any(
        all(any(one <= at <= two for one, two in part.spans) for part in parts) for at in minutes
    )


def on(offset):
    return None if offset is None else FIRST + timedelta(days=offset)


@st.composite
def cases(draw, *, most_items, length, most_open, spans):
    """Items of every shape over a few open days; many can be placed, some cannot."""
    offsets = draw(st.sets(st.integers(0, length), max_size=most_open))
    days = OpenDays(FIRST, on(length), tuple(on(n) for n in sorted(offsets)))
    names = [f"i{n}" for n in range(draw(st.integers(0, most_items)))]
    order = draw(st.permutations(names))
    done = {"was": on(draw(st.integers(-40, 0)))}
    items = []
    for name in names:
        low = draw(st.none() | st.integers(-3, length))
        high = draw(st.none() | st.integers(-1 if low is None else max(-1, low - 1), length + 3))
        target = draw(st.none() | st.integers(-3, length + 3))
        before = [*order[: order.index(name)], "was"]
        after = []
        for other in draw(st.lists(st.sampled_from(before), max_size=2, unique=True)):
            least = draw(st.sampled_from(spans))
            most = draw(st.none() | st.sampled_from(spans))
            after.append(After(other, least, most))
        foes = draw(st.lists(st.sampled_from(names), max_size=1)) if draw(st.booleans()) else []
        items.append(
            Item(
                name,
                on(low),
                on(target),
                on(high),
                tuple(after),
                alone=draw(st.integers(0, 9)) == 0,
                apart_from=tuple(foe for foe in foes if foe != name),
                hours=draw(hours_of(days.days[:6])) if draw(st.booleans()) else (),
            )
        )
    kept = frozenset(on(n) for n in draw(st.sets(st.integers(0, length), max_size=3)))
    return items, days, done, kept


def keeps_rules(items, held, done):
    """Every rule, written as it would be said: windows, stretches, no shared day."""
    for item in items:
        if (day := held[item.id]) is None:
            continue
        for rule in item.after:
            other = held.get(rule.item) or done.get(rule.item)
            if other is None or day < later(other, rule.at_least):
                return False
            if rule.at_most is not None and day > later(other, rule.at_most):
                return False
        mates = {name for name, its in held.items() if its == day and name != item.id}
        if mates & set(item.apart_from) or (item.alone and mates):
            return False
        if not an_hour_for_all([i for i in items if held[i.id] == day], day):
            return False
    return True


def price(items, held, kept):
    """The order of preference, word for word."""
    days = [day for day in held.values() if day is not None]
    visits = set(days)
    return (
        sum(day is None for day in held.values()),
        len(visits),
        sum(abs((held[i.id] - i.target).days) for i in items if i.target and held[i.id]),
        -len(visits & kept),
        sum(day.toordinal() for day in days),
    )


def held_by(plan):
    return {item.id: plan.held.get(item.id) for item in plan.items}


SMALL = (*(Duration(n, "days") for n in (0, 1, 2, 3, 5)), Duration(1, "months"))


@settings(max_examples=600, deadline=None)
@given(cases(most_items=4, length=9, most_open=6, spans=SMALL))
def test_no_plan_whatsoever_is_better(case):
    """Every assignment of every item to every open day of its window, or to none."""
    items, days, done, kept = case
    options = [
        [None] + [day for day in days.days if (item.earliest or day) <= day <= (item.latest or day)]
        for item in items
    ]
    possible = [
        held
        for choice in product(*options)
        if keeps_rules(items, held := dict(zip([i.id for i in items], choice, strict=True)), done)
    ]

    plan = plan_visits(items, days, done=done, kept=kept)

    found = held_by(plan)
    assert keeps_rules(items, found, done)
    assert price(items, found, kept)[0] == min(price(items, held, kept)[0] for held in possible)
    # Which of several items to leave out is told apart below.
    left = {name for name, day in found.items() if day is None}
    same = [held for held in possible if {name for name in held if held[name] is None} == left]
    best = min(price(items, held, kept) for held in same)
    assert price(items, found, kept) == best
    assert plan.distance == best[2]
    assert len(plan.visits) == best[1]


@settings(max_examples=100, deadline=None)
@given(cases(most_items=7, length=40, most_open=25, spans=SMALL), st.randoms())
def test_the_order_in_which_items_are_passed_changes_nothing(case, random):
    items, days, done, kept = case
    shuffled = random.sample(items, len(items))

    assert plan_visits(items, days, done=done, kept=kept) == plan_visits(
        shuffled, days, done=done, kept=kept
    )


@settings(max_examples=150, deadline=None)
@given(cases(most_items=7, length=40, most_open=25, spans=SMALL))
def test_each_item_has_a_day_in_its_window_or_a_report_and_never_both(case):
    items, days, done, kept = case

    plan = plan_visits(items, days, done=done, kept=kept)

    reported = [each.item for each in (*plan.unplaceable, *plan.overdue)]
    assert sorted([*plan.held, *reported]) == sorted(item.id for item in items)
    for item in items:
        if (day := plan.held.get(item.id)) is not None:
            assert day in days.days
            assert (item.earliest or day) <= day <= (item.latest or day)
    for visit in plan.visits:
        assert visit.opens.day <= visit.day
        assert visit.closes is None or visit.day <= visit.closes.day


# An independent solver, for sizes that nobody can enumerate.


class Judge:
    """The same question put to CP-SAT, one preference after the other."""

    def __init__(self, items, days, kept):
        self.model = cp_model.CpModel()
        self.items, self.kept = items, kept
        numbers = [day.toordinal() for day in days.days]
        model = self.model
        self.day, self.at = {}, {}
        for item in items:
            inside = [
                d.toordinal() for d in days.days if (item.earliest or d) <= d <= (item.latest or d)
            ]
            self.at[item.id] = {n: model.new_bool_var(f"{item.id}@{n}") for n in inside}
            model.add_exactly_one(self.at[item.id].values())
            self.day[item.id] = sum(n * var for n, var in self.at[item.id].items())
        self.used = {n: model.new_bool_var(f"used {n}") for n in numbers}
        for item in items:
            for n, var in self.at[item.id].items():
                model.add_implication(var, self.used[n])
            for rule in item.after:
                # Held on n or later, so the other on what follows from n or later; and so for "by".
                mine, its = self.at[item.id], self.at[rule.item]
                for n in its:
                    soonest = later(date.fromordinal(n), rule.at_least).toordinal()
                    model.add(
                        sum(var for m, var in its.items() if m >= n)
                        <= sum(var for m, var in mine.items() if m >= soonest)
                    )
                    if rule.at_most is not None:
                        utmost = later(date.fromordinal(n), rule.at_most).toordinal()
                        model.add(
                            sum(var for m, var in its.items() if m <= n)
                            <= sum(var for m, var in mine.items() if m <= utmost)
                        )
            others = {each.id for each in items} - {item.id}
            for foe in others if item.alone else item.apart_from:
                for n in self.at[item.id].keys() & self.at[foe].keys():
                    model.add_at_most_one(self.at[item.id][n], self.at[foe][n])
            for foe in items:
                for n in self.at[item.id].keys() & self.at.get(foe.id, {}).keys():
                    if not an_hour_for_all([item, foe], date.fromordinal(n)):
                        model.add_at_most_one(self.at[item.id][n], self.at[foe.id][n])
        for n in numbers:  # a day without an item is no visit
            here = [self.at[i.id][n] for i in items if n in self.at[i.id]]
            model.add(sum(here) >= self.used[n])

    def best(self):
        """Visits, distance, agreed days kept (negative), sum of days; None when there is no plan."""
        found = []
        for goal in (
            sum(self.used.values()),
            sum(
                abs(n - i.target.toordinal()) * var
                for i in self.items
                if i.target
                for n, var in self.at[i.id].items()
            ),
            -sum(var for n, var in self.used.items() if date.fromordinal(n) in self.kept),
            sum(self.day.values()),
        ):
            if isinstance(goal, int):
                found.append(goal)
                continue
            self.model.minimize(goal)
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = 1
            solver.parameters.linearization_level = 2
            status = solver.solve(self.model)
            if status == cp_model.INFEASIBLE:
                return None
            assert status == cp_model.OPTIMAL
            found.append(round(solver.objective_value))
            self.model.add(goal == found[-1])
        return tuple(found)


SPANS = (
    *(Duration(n, "days") for n in (0, 1, 7, 28)),
    Duration(2, "weeks"),
    Duration(1, "months"),
    Duration(2, "months"),
)


@st.composite
def courses(draw, most_items, length=120):
    """Windows that hold an open day each, over months of weekdays with holidays, and sound rules."""
    away = draw(st.sets(st.integers(0, length), max_size=12))
    days = tuple(on(n) for n in range(length) if on(n).weekday() < 5 and n not in away)
    items = []
    for number in range(draw(st.integers(most_items // 2, most_items))):
        mark = draw(st.sampled_from(days))
        reach = st.sampled_from((0, 1, 3, 10, 40, 120))
        low, high = (timedelta(days=draw(reach)) for _ in range(2))
        target = draw(
            st.none() | st.integers(-low.days, high.days).map(lambda n, m=mark: m + timedelta(n))
        )
        after = []
        if items and draw(st.integers(0, 2)) == 0:
            most = draw(st.none() | st.sampled_from(SPANS[2:]))
            after = [After(draw(st.sampled_from(items)).id, draw(st.sampled_from(SPANS)), most)]
        foes = ()
        if items and draw(st.integers(0, 5)) == 0:
            foes = (draw(st.sampled_from(items)).id,)
        items.append(
            Item(
                f"i{number:02}",
                mark - low,
                target,
                mark + high,
                tuple(after),
                alone=draw(st.integers(0, 11)) == 0,
                apart_from=foes,
                hours=draw(hours_of((mark, mark + timedelta(1)))) if draw(st.booleans()) else (),
            )
        )
    kept = frozenset(draw(st.sets(st.sampled_from(days), max_size=4)))
    return items, OpenDays(FIRST, on(length), days), kept


@settings(max_examples=60, deadline=None)
@given(courses(most_items=14))
def test_an_independent_solver_finds_nothing_better(case):
    items, days, kept = case
    best = Judge(items, days, kept).best()

    plan = plan_visits(items, days, kept=kept)

    if best is None:
        assert plan.unplaceable
    else:
        assert not plan.unplaceable
        assert price(items, plan.held, kept) == (0, *best)
        assert keeps_rules(items, plan.held, {})


def course(seed_days):
    """A whole course after one exposure, with a vaccine series: offsets in days from exposure."""
    span = Duration
    w = [
        ("review", 0, None, 3, ()),
        ("pep_bloods", 13, 14, 20, ()),
        ("pep_end", 27, 28, 30, ()),
        ("hcv_rna", 21, None, 42, ()),
        ("hiv_6w", 42, 42, 49, ()),
        ("hiv_12w", 84, 84, 112, ()),
        ("hcv_antibody", 120, None, 181, ()),
        ("hbv_markers", 181, 181, 224, ()),
        ("dose_1", 0, 0, 7, ()),
        ("dose_2", 28, 30, 60, (After("dose_1", span(1, "months")),)),
        ("dose_3", 112, 182, 224, (After("dose_2", span(8, "weeks")),)),
        ("titre", 182, None, 280, (After("dose_3", span(1, "months"), span(2, "months")),)),
        ("counsel", 5, 10, 60, ()),
        ("fitness", 20, 40, 100, ()),
        ("close", 181, None, 280, (After("hcv_antibody", span(7, "days")),)),
    ]
    shifted = zip(w, seed_days, strict=True)
    return [
        Item(name, on(low), None if target is None else on(target + by), on(high), after)
        for (name, low, target, high, after), by in shifted
    ]


@settings(max_examples=8, deadline=None)
@given(st.lists(st.integers(-2, 2), min_size=15, max_size=15))
def test_a_whole_course_of_fifteen_items_over_nine_months(by):
    days = tuple(on(n) for n in range(280) if on(n).weekday() < 5)
    items = course(by)

    plan = plan_visits(items, OpenDays(FIRST, on(280), days))

    judge = Judge(items, OpenDays(FIRST, on(280), days), frozenset()).best()
    assert price(items, plan.held, frozenset()) == (0, *judge)


def test_the_judge_itself_can_say_no():
    """Two items that may not meet, one open day."""
    items = [Item("a"), Item("b", apart_from=("a",))]

    assert Judge(items, OpenDays(FIRST, FIRST, (FIRST,)), frozenset()).best() is None
    assert len(plan_visits(items, OpenDays(FIRST, FIRST, (FIRST,))).unplaceable) == 1


@pytest.mark.parametrize("items", [[], [Item("a")]])
def test_nothing_open_and_nothing_to_do_are_no_error(items):
    plan = plan_visits(items, OpenDays(FIRST, FIRST, ()))

    assert plan.visits == ()
    assert [each.item for each in plan.unplaceable] == [item.id for item in items]
