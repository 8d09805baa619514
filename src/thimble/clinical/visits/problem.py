"""The problem that is searched, in whole numbers: items, their windows, rules, what a plan costs."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

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
