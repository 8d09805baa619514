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
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import count

Window = tuple[int, int]
"""First and last open day, both included, by index."""


@dataclass(frozen=True, slots=True)
class Task:
    """An item: its window as indices of open days; its target as a day's ordinal, or None."""

    window: Window
    target: int | None = None


class Rule:
    """`second` is held no sooner, and perhaps no later, than so long after `first`.

    `soonest(a)` is the first open day allowed for `second` when `first` is held on day `a` (the number
    of open days when there is none); `utmost(a)` the last one. Both never fall as `a` rises.
    """

    __slots__ = ("_days", "_soonest", "_utmost", "first", "second", "soonest_of", "utmost_of")

    def __init__(
        self,
        first: int,
        second: int,
        days: int,
        soonest: Callable[[int], int],
        utmost: Callable[[int], int] | None = None,
    ) -> None:
        self.first, self.second = first, second
        self.soonest_of, self.utmost_of = soonest, utmost
        self._days = range(days)
        self._soonest: dict[int, int] = {}
        self._utmost: dict[int, int] = {}

    def soonest(self, day: int) -> int:
        """The first day allowed for `second`."""
        if day not in self._soonest:
            self._soonest[day] = self.soonest_of(day)
        return self._soonest[day]

    def utmost(self, day: int) -> int:
        """The last day allowed for `second`."""
        if self.utmost_of is None:
            return len(self._days) - 1
        if day not in self._utmost:
            self._utmost[day] = self.utmost_of(day)
        return self._utmost[day]

    def last_first_for(self, day: int) -> int:
        """The last day of `first` that lets `second` be held by `day`; -1 when there is none."""
        return bisect_right(self._days, day, key=self.soonest) - 1

    def first_first_for(self, day: int) -> int:
        """The first day of `first` that lets `second` be held as late as `day`."""
        if self.utmost_of is None:
            return 0
        return bisect_left(self._days, day, key=self.utmost)


@dataclass(frozen=True, slots=True)
class Problem:
    """Open days as ordinals, ascending; the items; the rules; pairs that may not share a day; pairs that
    may not share one day, with its index; the indices of the days that were agreed; the items that share
    with nobody, whose pairs are listed too."""

    days: Sequence[int]
    tasks: Sequence[Task]
    rules: Sequence[Rule] = ()
    apart: Sequence[tuple[int, int]] = ()
    clashes: Sequence[tuple[int, int, int]] = ()
    kept: frozenset[int] = frozenset()
    alone: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Weights:
    """How the preferences are packed into one number."""

    visit: int
    distance: int
    moved: int


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


def weights(problem: Problem) -> Weights:
    """So large that each preference outweighs all that come after it together."""
    items = len(problem.tasks)
    first, last = problem.days[0], problem.days[-1]
    moved = items * (last - first) + 1
    distance = moved * (items + 1)
    far = sum(
        max(abs(task.target - first), abs(task.target - last))
        for task in problem.tasks
        if task.target is not None
    )
    return Weights(visit=distance * (far + 1), distance=distance, moved=moved)


def narrowed(
    windows: Sequence[Window], rules: Sequence[Rule], apart: Sequence[tuple[int, int]] = ()
) -> tuple[Window, ...] | int:
    """The windows without the days that no plan can use; the item whose window empties, if one does."""
    lows = [window[0] for window in windows]
    highs = [window[1] for window in windows]
    changed = True
    while changed:
        changed = False
        for rule in rules:
            one, two = rule.first, rule.second
            if (day := rule.soonest(lows[one])) > lows[two]:
                lows[two], changed = day, True
                if day > highs[two]:
                    return two
            if (day := rule.last_first_for(highs[two])) < highs[one]:
                highs[one], changed = day, True
                if day < lows[one]:
                    return two
            if rule.utmost_of is None:
                continue
            if (day := rule.utmost(highs[one])) < highs[two]:
                highs[two], changed = day, True
                if day < lows[two]:
                    return two
            if (day := rule.first_first_for(lows[two])) > lows[one]:
                lows[one], changed = day, True
                if day > highs[one]:
                    return two
        for one, two in apart:
            forth, back = lows[one] < highs[two], lows[two] < highs[one]
            if forth and back:
                continue
            if not forth and not back:
                return two
            first, second = (one, two) if forth else (two, one)
            if lows[second] <= lows[first]:
                lows[second], changed = lows[first] + 1, True
            if highs[first] >= highs[second]:
                highs[first], changed = highs[second] - 1, True
    return tuple(zip(lows, highs, strict=True))


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
        cost, days = _walk(problem, weigh, tight)
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


def _walk(
    problem: Problem, weigh: Weights, windows: Sequence[Window]
) -> tuple[int, tuple[int, ...]]:
    """The cheapest plan with these windows and no rules, and its cost."""
    days = problem.days
    tried = _tried(problem, windows)
    tasks: dict[tuple[Window, int | None], int] = {}
    for number, (task, window) in enumerate(zip(problem.tasks, windows, strict=True)):
        if number not in problem.alone:
            tasks[window, task.target] = tasks.get((window, task.target), 0) + 1
    rows = [
        _Row.of(window, target, many, tried, days, weigh)
        for (window, target), many in tasks.items()
    ]
    rows.sort(key=lambda row: row.best)
    size = len(tried)
    # The next visit after position p is no later than the first end of a window that opens after p.
    limits = [size] * (size + 1)
    for row in rows:
        limits[row.low] = min(limits[row.low], row.high)
    for place in range(size - 1, -1, -1):
        limits[place] = min(limits[place], limits[place + 1])
    attend = [weigh.visit + (0 if day in problem.kept else weigh.moved) for day in tried]
    attend.append(0)
    bests = [row.best for row in rows]
    unreached = -1
    cheapest = [unreached] * (size + 1)
    origin = [unreached] * (size + 1)
    for start in range(-1, size):
        so_far = 0 if start < 0 else cheapest[start]
        if so_far == unreached:
            continue
        ahead = bisect_right(bests, start)
        for stop in range(start + 1, limits[start + 1] + 1):
            cost = so_far + attend[stop]
            for row in rows[ahead : bisect_right(bests, stop)]:
                cost += row.between(start, stop)
            if cheapest[stop] == unreached or cost < cheapest[stop]:
                cheapest[stop], origin[stop] = cost, start
    visits = []
    at = origin[size]
    while at >= 0:
        visits.append(at)
        at = origin[at]
    visits.reverse()
    chosen = {row.key: tried[row.nearest(visits)] for row in rows}
    total, found = cheapest[size], []
    for number, (task, window) in enumerate(zip(problem.tasks, windows, strict=True)):
        if number in problem.alone:
            row = _Row.of(window, task.target, 1, tried, days, weigh)
            cost, place = row.by_itself(attend)
            total += cost
            found.append(tried[place])
        else:
            found.append(chosen[window, task.target])
    return total, tuple(found)


def _tried(problem: Problem, windows: Sequence[Window]) -> list[int]:
    """The days among which some best plan lies; see the module's docstring."""
    days = problem.days
    last = len(days) - 1
    found = {window[0] for window in windows} | set(problem.kept)
    furthest = -1
    for task in problem.tasks:
        if task.target is not None:
            at = bisect_left(days, task.target)
            found.add(min(at, last))
            if at and (at > last or days[at] != task.target):
                found.add(at - 1)
            furthest = max(furthest, min(at, last))
    # A visit goes to the end of a window only when a target draws it there.
    found |= {window[1] for window in windows if window[1] < furthest}
    return sorted(found)


@dataclass(frozen=True, slots=True)
class _Row:
    """The costs of all items of one window and target on the days that are tried."""

    key: tuple[Window, int | None]
    low: int
    high: int
    best: int
    costs: tuple[int, ...]

    @classmethod
    def of(
        cls,
        window: Window,
        target: int | None,
        many: int,
        tried: Sequence[int],
        days: Sequence[int],
        weigh: Weights,
    ) -> _Row:
        low, high = bisect_left(tried, window[0]), bisect_right(tried, window[1]) - 1
        base = days[0]
        inside = [days[tried[place]] for place in range(low, high + 1)]
        if target is None:
            costs = tuple(many * (day - base) for day in inside)
            best = low
        else:
            costs = tuple(
                many * (abs(day - target) * weigh.distance + day - base) for day in inside
            )
            best = low + costs.index(min(costs))
        return cls((window, target), low, high, best, costs)

    def between(self, start: int, stop: int) -> int:
        """The cost at the cheaper of two neighbouring visits around the best place."""
        if start < self.low:
            return self.costs[stop - self.low]
        if stop > self.high:
            return self.costs[start - self.low]
        return min(self.costs[start - self.low], self.costs[stop - self.low])

    def by_itself(self, attend: Sequence[int]) -> tuple[int, int]:
        """The cost and the place of the best visit for this item and no other."""
        return min(
            (cost + attend[place], place) for place, cost in enumerate(self.costs, start=self.low)
        )

    def nearest(self, visits: Sequence[int]) -> int:
        """The visit that the item goes to."""
        inside = [place for place in visits if self.low <= place <= self.high]
        return min(inside, key=lambda place: self.costs[place - self.low])
