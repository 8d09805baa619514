"""Planning the visits of one case: `python -m bench visits`.

Seeded cases: a course after one exposure (tests, a vaccine series, a titre after it, reviews) with
targets moved by a few days, a random holiday calendar and agreed days; and crowded ones of 25 items
with random windows and six rules. The peer is OR-Tools CP-SAT on the same courses, asked for the fewest
visits and then the least distance; where it is installed, its two numbers are compared before anything
is timed.
"""

from __future__ import annotations

import random
import statistics
import time
import tomllib
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import Any

from thimble.clinical.durations import Duration
from thimble.clinical.site import parse_site
from thimble.clinical.visits import (
    After,
    Item,
    OpenDays,
    VisitPlan,
    alternatives,
    open_days,
    plan_visits,
    sentences,
)

AIM_MS = 5.0
CASES = 200
JUDGED = 12
FIRST = date(2026, 3, 2)
LENGTH = 215

# Offsets in days from the exposure: earliest, target, latest. Form only; protocols hold the real ones.
COURSE: tuple[tuple[str, int | None, int | None, int | None, tuple[After, ...]], ...] = (
    ("review", 0, None, 3, ()),
    ("bloods", 13, 14, 20, ()),
    ("course end", 27, 28, 30, ()),
    ("early test", 21, None, 42, ()),
    ("test 1", 40, 42, 49, ()),
    ("test 2", 84, 84, 112, ()),
    ("test 3", 120, 150, 181, ()),
    ("test 4", 181, 181, 210, ()),
    ("dose 1", 0, 0, 7, ()),
    ("dose 2", 28, 30, 60, (After("dose 1", Duration(1, "months")),)),
    ("dose 3", 84, 120, 150, (After("dose 2", Duration(8, "weeks")),)),
    ("titre", 100, None, 214, (After("dose 3", Duration(1, "months"), Duration(2, "months")),)),
)
Case = tuple[list[Item], OpenDays, frozenset[date]]


def day(offset: int) -> date:
    """The day so many days after the exposure."""
    return FIRST + timedelta(days=offset)


def calendar(draw: random.Random) -> OpenDays:
    """Seven months of weekdays without ten of them."""
    weekdays = [day(n) for n in range(LENGTH) if day(n).weekday() < 5]
    away = set(draw.sample(weekdays[4:], 10))
    return OpenDays(FIRST, day(LENGTH), tuple(each for each in weekdays if each not in away))


def course(draw: random.Random) -> Case:
    """One exposure's course."""
    days = calendar(draw)
    items = [
        Item(
            name,
            None if low is None else day(low),
            None if target is None else day(target + draw.randint(-2, 2)),
            None if high is None else day(high),
            after,
        )
        for name, low, target, high, after in COURSE
    ]
    return items, days, frozenset(draw.sample(days.days, 3))


def crowded(draw: random.Random, count: int = 25, rules: int = 6) -> Case:
    """Random windows around a hidden plan, so that every item can be placed."""
    days = calendar(draw)
    hidden = sorted(draw.choice(days.days) for _ in range(count))
    after: dict[int, list[After]] = {}
    for _ in range(rules):
        one, two = sorted(draw.sample(range(count), 2))
        apart = (hidden[two] - hidden[one]).days
        after.setdefault(two, []).append(
            After(f"{one:02}", Duration(draw.randint(0, apart), "days"))
        )
    items = []
    for number, mark in enumerate(hidden):
        low, high = (draw.choice((0, 2, 10, 40, 150)) for _ in range(2))
        target = mark + timedelta(days=draw.randint(-low, high)) if draw.random() < 0.5 else None
        items.append(
            Item(
                f"{number:02}",
                mark - timedelta(days=low),
                target,
                mark + timedelta(days=high),
                tuple(after.get(number, ())),
            )
        )
    return items, days, frozenset(draw.sample(days.days, 3))


def plan(case: Case) -> VisitPlan:
    """One case, planned and explained as data."""
    items, days, kept = case
    return plan_visits(items, days, kept=kept)


def judged(case: Case) -> tuple[int, int]:
    """Fewest visits and then least distance, by the peer."""
    from ortools.sat.python import cp_model

    items, days, _ = case
    model = cp_model.CpModel()
    at: dict[str, dict[date, Any]] = {}
    used = {each: model.new_bool_var("") for each in days.days}
    for item in items:
        inside = [
            each for each in days.days if (item.earliest or each) <= each <= (item.latest or each)
        ]
        at[item.id] = {each: model.new_bool_var("") for each in inside}
        model.add_exactly_one(at[item.id].values())
        for each, var in at[item.id].items():
            model.add_implication(var, used[each])
    for item in items:
        for rule in item.after:
            model_rule(model, at[rule.item], at[item.id], rule)
    goals = (
        sum(used.values()),
        sum(
            abs((each - item.target).days) * var
            for item in items
            if item.target is not None
            for each, var in at[item.id].items()
        ),
    )
    found = []
    for goal in goals:
        model.minimize(goal)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
        assert solver.solve(model) == cp_model.OPTIMAL
        found.append(round(solver.objective_value))
        model.add(goal == found[-1])
    return found[0], found[1]


def model_rule(model: Any, its: dict[date, Any], mine: dict[date, Any], rule: After) -> None:
    """One held on a day or later, so the other on what follows from it or later; and so for "by"."""
    from thimble.clinical.visits.items import shifted

    for each in its:
        soonest = shifted(each, rule.at_least)
        model.add(
            sum(var for on, var in its.items() if on >= each)
            <= sum(var for on, var in mine.items() if on >= soonest)
        )
        if rule.at_most is not None:
            utmost = shifted(each, rule.at_most)
            model.add(
                sum(var for on, var in its.items() if on <= each)
                <= sum(var for on, var in mine.items() if on <= utmost)
            )


def timed(ask: Callable[[Any], object], of: Sequence[Any]) -> list[float]:
    """Milliseconds of each call, ascending."""
    found = []
    for each in of:
        begin = time.perf_counter()
        ask(each)
        found.append((time.perf_counter() - begin) * 1000)
    return sorted(found)


def line(label: str, times: list[float], aim: float | None = AIM_MS) -> None:
    """Median, 95th percentile and the slowest, and whether the median meets the aim."""
    median = statistics.median(times)
    verdict = "" if aim is None else f"   aim {aim:g} ms: {'met' if median <= aim else 'not met'}"
    print(
        f"{label:<44}{median:>8.2f} ms{times[int(len(times) * 0.95)]:>9.2f} ms"
        f"{times[-1]:>9.2f} ms{verdict}"
    )


def main() -> int:
    """Compare, measure, print."""
    courses = [course(random.Random(seed)) for seed in range(CASES)]
    crowds = [crowded(random.Random(seed)) for seed in range(CASES)]
    try:
        import ortools  # noqa: F401
    except ImportError:
        print("OR-Tools is not installed; its answers are left out.")
        peer: list[float] = []
    else:
        for case in courses[:JUDGED]:
            found = plan(case)
            assert not found.unplaceable
            assert (len(found.visits), found.distance) == judged(case)
        peer = timed(judged, courses[:JUDGED])
    print(f"{'one case':<44}{'median':>11}{'95 %':>12}{'slowest':>12}")
    ours = timed(plan, courses)
    line(f"course of {len(COURSE)} items, 3 rules", ours)
    line("crowded: 25 items, 6 rules, random windows", timed(plan, crowds))
    line("open days of seven months, a site's calendar", timed(site_days, [None] * 20), None)
    plans = [plan(case) for case in courses]
    line("the same course in sentences", timed(sentences, plans), None)
    line("all other days of its first visit", timed(first_visit, plans), None)
    if peer:
        line(f"OR-Tools on {JUDGED} of the courses", peer, None)
        print(f"{statistics.median(peer) / statistics.median(ours):.0f} times faster than OR-Tools")
    return 0


def site_days(_: object) -> object:
    """As before each plan; the holidays of a year are remembered."""
    from bench.pages import SITE

    return open_days(parse_site(tomllib.loads(SITE)), FIRST, day(LENGTH))


def first_visit(found: VisitPlan) -> object:
    """What the worker is offered."""
    return alternatives(found, found.visits[0])


if __name__ == "__main__":
    main()
