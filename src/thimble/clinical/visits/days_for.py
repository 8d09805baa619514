"""The best days for the items that have a window, or for as many of them as can have one."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from itertools import combinations

from thimble.clinical.visits.days import OpenDays
from thimble.clinical.visits.items import (
    After,
    Item,
    clashes,
    pairs_apart,
    shifted,
)
from thimble.clinical.visits.problem import Problem, Rule, Task, Window
from thimble.clinical.visits.search import fewest


def best_days(
    listed: Mapping[str, Item],
    windows: Mapping[str, Window],
    days: OpenDays,
    agreed: Collection[date],
) -> dict[str, date] | None:
    """The best days for the items that have a window."""
    names = sorted(windows)
    number = {name: place for place, name in enumerate(names)}
    rules = [
        _rule(number[each.item], number[name], each, days.days)
        for name in names
        for each in listed[name].after
        if each.item in number
    ]
    problem = Problem(
        days=[day.toordinal() for day in days.days],
        tasks=[
            Task(
                windows[name],
                None if (target := listed[name].target) is None else target.toordinal(),
            )
            for name in names
        ],
        rules=rules,
        apart=[
            (number[one], number[two]) for one, two in pairs_apart([listed[name] for name in names])
        ],
        clashes=[
            (number[one], number[two], bisect_left(days.days, day))
            for one, two, day in clashes([listed[name] for name in names])
            if day in days
        ],
        kept=frozenset(bisect_left(days.days, day) for day in agreed if day in days),
        alone=frozenset(number[name] for name in names if listed[name].alone),
    )
    found = fewest(problem)
    if found is None:
        return None
    return {name: days.days[day] for name, day in zip(names, found, strict=True)}


def _rule(first: int, second: int, after: After, days: Sequence[date]) -> Rule:
    def soonest(day: int) -> int:
        return bisect_left(days, shifted(days[day], after.at_least))

    most = after.at_most
    if most is None:
        return Rule(first, second, len(days), soonest)
    return Rule(
        first,
        second,
        len(days),
        soonest,
        lambda day: bisect_right(days, shifted(days[day], most)) - 1,
    )


def tied(listed: Mapping[str, Item], windows: Mapping[str, Window]) -> dict[str, set[str]]:
    """Who has a rule towards whom."""
    tied: dict[str, set[str]] = {name: set() for name in windows}
    pairs = [*pairs_apart([listed[name] for name in sorted(windows)])]
    pairs += [(each.item, name) for name in windows for each in listed[name].after]
    pairs += [(one, two) for one, two, _ in clashes([listed[name] for name in sorted(windows)])]
    for one, two in pairs:
        if one in tied and two in tied:
            tied[one].add(two)
            tied[two].add(one)
    return tied


def without_fewest(
    listed: Mapping[str, Item],
    windows: Mapping[str, Window],
    days: OpenDays,
    agreed: Collection[date],
) -> tuple[dict[str, date], set[str]]:
    """The best plan without as few items as possible, and these; what comes after one goes with it.

    Among as few, those whose windows end last: they leave most time to decide; then by id.
    """
    bound = [name for name, others in tied(listed, windows).items() if others]
    bound.sort(key=lambda name: (windows[name][1], name), reverse=True)
    for size in range(1, len(bound) + 1):
        for left in map(set, combinations(bound, size)):
            whole = all(
                name in left or not left.intersection(each.item for each in listed[name].after)
                for name in windows
            )
            if not whole:
                continue
            rest = {name: window for name, window in windows.items() if name not in left}
            held = best_days(listed, rest, days, agreed)
            if held is not None:
                return held, left
    raise AssertionError("items without rules between them always have days")
