"""The cheapest plan without rules between items: a shortest path over the days that need be tried."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from thimble.clinical.visits.problem import Problem, Weights, Window


def walk(
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
