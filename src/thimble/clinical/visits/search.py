"""The search for the fewest attendances, on plain whole numbers: open days are counted 0, 1, 2, …

Everything here is exact. The order of preference is one whole number, a plan's *cost*, built so that no
amount of a later preference outweighs the smallest amount of an earlier one: attendances, then days away
from targets, then agreed days that are not kept, then how late the items are (the sum over items).

Without rules between items the problem is a walk along the calendar. Once the days of the visits are
chosen, each item goes to the cheapest visit inside its window; as its cost falls towards one best day
and rises after it, that is one of the two visits on either side of that day. So the cost of a plan is a
sum over neighbouring visits, and the best plan is a shortest path over days (`_walk`). Only few days
need be tried: all items of one visit held fixed, the sum of their distances is convex, so some best day
is the first day of a window, the last day of one, an open day next to a target, or an agreed day.

Rules between items (a minimum or maximum stretch of time, no shared visit) are added by branch and
bound. A node is the same problem with narrower windows; its walk ignores the rules and can therefore
only be too cheap: a lower bound. The cheapest node is taken first. If its walk breaks no rule it is the
best plan of all. Otherwise one broken rule splits the node in two that together hold every plan it held
and that both exclude the walk just made: either the first item is held by day m, or after day m and
then the second one is due later. Items that may not share are split by who comes first; items whose
hours of one day never meet are split by which of them is held before that day or after it. Windows are
narrowed by the rules until nothing changes before each walk.

An item that shares its visit with nobody walks by itself: it costs an attendance whatever the others do.
That its day is none of theirs is again left to the branches.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import count

from thimble.clinical.visits.problem import Problem, Rule, Window, narrowed, weights
from thimble.clinical.visits.walking import walk


@dataclass(slots=True)
class Counted:
    """How much work a search was; for benchmarks."""

    walks: int = 0


@dataclass(frozen=True, slots=True)
class _Node:
    windows: tuple[Window, ...]
    rules: tuple[Rule, ...]
    apart: tuple[tuple[int, int], ...]
    days: tuple[int, ...] = field(default=())


def fewest(problem: Problem, counted: Counted | None = None) -> tuple[int, ...] | None:
    """The day of each task in the best plan, or None when no plan keeps every rule."""
    if not problem.tasks:
        return ()
    weigh = weights(problem)
    tie = count()
    heap: list[tuple[int, int, _Node]] = []

    def add(
        windows: Sequence[Window], rules: tuple[Rule, ...], apart: tuple[tuple[int, int], ...]
    ) -> None:
        tight = narrowed(windows, rules, apart)
        if isinstance(tight, int):
            return
        if counted is not None:
            counted.walks += 1
        cost, days = walk(problem, weigh, tight)
        heapq.heappush(heap, (cost, next(tie), _Node(tight, rules, apart, days)))

    if all(task.window[0] <= task.window[1] for task in problem.tasks):
        add([task.window for task in problem.tasks], tuple(problem.rules), tuple(problem.apart))
    while heap:
        _, _, node = heapq.heappop(heap)
        broken = _broken(node)
        if broken is None:
            clash = _clash(problem, node)
            if clash is None:
                return node.days
            one, two, day = clash
            for which in (one, two):
                low, high = node.windows[which]
                for part in ((low, min(high, day - 1)), (max(low, day + 1), high)):
                    if part[0] <= part[1]:
                        windows = list(node.windows)
                        windows[which] = part
                        add(windows, node.rules, node.apart)
            continue
        if isinstance(broken, Rule):
            one = broken.first
            low, high = node.windows[one]
            day = _split(broken, node.days[one], node.days[broken.second])
            for part in ((low, min(high, day)), (max(low, day + 1), high)):
                if part[0] <= part[1]:
                    windows = list(node.windows)
                    windows[one] = part
                    add(windows, node.rules, node.apart)
        else:
            rest = tuple(pair for pair in node.apart if pair != broken)
            for one, two in (broken, broken[::-1]):
                order = Rule(one, two, len(problem.days), _the_next)
                add(node.windows, (*node.rules, order), rest)
    return None


def _the_next(day: int) -> int:
    return day + 1


def _broken(node: _Node) -> Rule | tuple[int, int] | None:
    """The rule that the walk breaks most, or a pair that shares a day and may not."""
    worst, found = 0, None
    for rule in node.rules:
        one, two = node.days[rule.first], node.days[rule.second]
        by = max(rule.soonest(one) - two, two - rule.utmost(one))
        if by > worst:
            worst, found = by, rule
    if found is not None:
        return found
    return next((pair for pair in node.apart if node.days[pair[0]] == node.days[pair[1]]), None)


def _clash(problem: Problem, node: _Node) -> tuple[int, int, int] | None:
    """A pair that shares the one day that it may not."""
    return next(
        (c for c in problem.clashes if node.days[c[0]] == node.days[c[1]] == c[2]),
        None,
    )


def _split(rule: Rule, one: int, two: int) -> int:
    """A day m such that neither "first by m" nor "first after m" holds the two days of the walk."""
    if two < rule.soonest(one):
        return (rule.last_first_for(two) + one - 1) // 2
    return (one + rule.first_first_for(two) - 1) // 2
