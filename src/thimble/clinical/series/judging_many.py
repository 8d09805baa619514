"""`judge` for a block of people at once: one row a dose's place, one column a person.

The rules are those of `walking` and `judging`, in the same order; a test holds the two against each other.
Two doses of one date in one person are not for this module: `cohort` answers those people one by one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thimble.clinical.durations import Duration

from .calendar_days import Days, steps
from .schedule import Schedule, Target, Way, products
from .walking import Verdict

Bools = NDArray[np.bool_]
Ints = NDArray[Any]
NONE = np.int32(-1)
LATE = np.int32(2_000_000_000)


@dataclass(frozen=True, slots=True)
class Block:
    """Doses in order of time: `low`, `high`, `product` of shape (places, people); the rest (people,)."""

    low: Days
    high: Days
    product: Ints
    count: Ints
    born: Days


@dataclass(frozen=True, slots=True)
class JudgedMany:
    """`counts` has shape (places, people), the rest (people,); `first` is -1 and dates are 0 for none."""

    counts: Bools
    complete: Bools
    first: Ints
    path: Ints
    earliest: Days
    recommended: Days


@dataclass(slots=True)
class _Walk:
    counts: Bools
    counted: Ints
    done: Ints
    previous: Days
    floor: Days
    first: Ints
    second: Ints


def judge_many(block: Block, names: tuple[str, ...], as_of: int, plan: Schedule) -> JudgedMany:
    """Judge everybody of a block; `names` are the products that `block.product` counts through."""
    people = len(block.born)
    ages: dict[Duration, Days] = {}

    def age(by: Duration) -> Days:
        if by not in ages:
            ages[by] = steps(block.born, by)
        return ages[by]

    fit = _fit(block, names, plan.allowance, age)
    ways = [way for way in plan.paths if not way.dialysis]
    walks = [_walk(way, block, fit, names, age) for way in ways]
    score = np.full(people, -1, np.int32)
    path = np.zeros(people, np.int32)
    first = np.full(people, LATE, np.int32)
    for place, (way, walk) in enumerate(zip(ways, walks, strict=True)):
        whole = walk.done >= 0
        first = np.where(whole, np.minimum(first, walk.done), first)
        possible = np.full(people, way.offered) | (walk.counted > 0)
        if any(target.before_age for target in way.targets):
            some = np.flatnonzero(possible & ~whole)
            possible[some] = _earliest(way, walk, block, age, some) < LATE
        own = np.where(whole, 1000 + walk.counted, np.where(possible, walk.counted, -1))
        better = own > score
        score[better], path[better] = own[better], place
    complete = score >= 1000
    counts = np.zeros_like(walks[0].counts)
    earliest = np.zeros(people, np.int32)
    recommended = np.zeros(people, np.int32)
    end = np.zeros(people, np.int32)
    for place, (way, walk) in enumerate(zip(ways, walks, strict=True)):
        mine = path == place
        if not mine.any():
            continue
        counts[:, mine] = walk.counts[:, mine]
        end[mine] = walk.done[mine]
        some = np.flatnonzero(mine & ~complete)
        if len(some):
            day = _earliest(way, walk, block, age, some)
            earliest[some], recommended[some] = _recommended(
                way, walk, block, age, some, day, as_of
            )
    until = np.arange(len(counts))[:, None] <= end[None, :]
    for way, walk in zip(ways, walks, strict=True):
        if not way.own:
            counts |= walk.counts & until & complete[None, :]
    first[first == LATE] = -1
    return JudgedMany(counts, complete, first, path, earliest, recommended)


def _fit(block: Block, names: tuple[str, ...], allowance: int, age: Any) -> Ints:
    fit = np.full(block.low.shape, Verdict.COUNTS, np.uint8)
    present = set(np.unique(block.product).tolist())
    for place, name in enumerate(names):
        product = products()[name]
        if place not in present or not (product.min_age or product.before_age):
            continue
        k, who = np.nonzero(block.product == place)
        low, high = block.low[k, who], block.high[k, who]
        own = np.full(len(k), Verdict.COUNTS, np.uint8)
        if product.before_age:
            limit = age(product.before_age)[who]
            own[high >= limit] = Verdict.OPEN
            own[low >= limit] = Verdict.TOO_OLD
        if product.min_age:
            start = age(product.min_age)[who] - allowance
            own[low < start] = Verdict.OPEN
            young = Verdict.INADVERTENT if product.inadvertent else Verdict.TOO_YOUNG
            own[high < start] = young
        fit[k, who] = own
    return fit


def _walk(way: Way, block: Block, fit: Ints, names: tuple[str, ...], age: Any) -> _Walk:
    places, people = block.low.shape
    walk = _Walk(
        np.zeros((places, people), np.bool_),
        np.zeros(people, np.int32),
        np.full(people, -1, np.int32),
        np.full(people, NONE, np.int32),
        np.full(people, NONE, np.int32),
        np.zeros(people, np.int32),
        np.zeros(people, np.int32),
    )
    own = way.products if way.own else None
    taken = np.array([own is None or name in own for name in names] + [False])
    if own is not None and not taken[block.product].any():
        _floors(walk, block, fit)
        return walk
    for k in range(places):
        there = k < block.count
        mine = there & taken[block.product[k]] & (walk.done < 0) & (fit[k] == Verdict.COUNTS)
        todo = np.flatnonzero(mine)
        number = walk.counted[todo]
        for n, target in enumerate(way.targets):
            some = todo[number == n]
            if not len(some):
                continue
            good = some[_meets(target, n, walk, block, k, some, names, age)]
            walk.counts[k, good] = True
            walk.counted[good] = n + 1
            if n == 0:
                walk.first[good] = k
            if n == 1:
                walk.second[good] = k
            if n + 1 == len(way.targets):
                walk.done[good] = k
        delays = there & taken[block.product[k]] & (fit[k] != Verdict.INADVERTENT)
        np.maximum(walk.previous, block.high[k], out=walk.previous, where=delays)
    _floors(walk, block, fit)
    return walk


def _floors(walk: _Walk, block: Block, fit: Ints) -> None:
    inadvertent = fit == Verdict.INADVERTENT
    if inadvertent.any():
        walk.floor = np.where(inadvertent, block.high, NONE).max(axis=0)


def _meets(
    target: Target, n: int, walk: _Walk, block: Block, k: int, some: Ints,
    names: tuple[str, ...], age: Any,
) -> Bools:  # fmt: skip
    """Who of `some` has a dose at place k that counts as that target, whatever the days were."""
    low, high = block.low[k, some], block.high[k, some]
    most = np.full(len(some), -LATE, np.int32)
    if target.min_age:
        most = np.maximum(most, age(target.min_age)[some] - target.allowance)
    previous = walk.previous[some]
    if target.from_previous:
        after = steps(np.maximum(previous, 1), target.from_previous) - target.allowance
        after = np.maximum(after, previous + 1)
        most = np.where(previous >= 0, np.maximum(most, after), most)
    for span, own, least in (
        (target.from_first, walk.first, 1),
        (target.from_second, walk.second, 2),
    ):
        if span and n >= least:
            start = block.high[own[some], some]
            most = np.maximum(most, steps(start, span) - target.allowance)
    good: Bools = low >= most
    if target.before_age:
        good &= high < age(target.before_age)[some]
    if target.products is not None:
        allowed = np.array([name in target.products for name in names] + [False])
        good &= allowed[block.product[k, some]]
    if target.from_previous and k + 1 < len(block.low):
        following = np.where(k + 1 < block.count[some], block.low[k + 1, some], LATE)
        good &= ~((low < high) & (high >= following) & (previous >= 0))
    return good


def _earliest(way: Way, walk: _Walk, block: Block, age: Any, some: Ints) -> Days:
    """The first day for the next dose of `some`, LATE where it cannot be given any more."""
    day = np.maximum(block.born[some], walk.floor[some])
    number = walk.counted[some]
    for n, target in enumerate(way.targets):
        at = np.flatnonzero(number == n)
        who = some[at]
        if not len(who):
            continue
        own = day[at]
        if target.min_age:
            own = np.maximum(own, age(target.min_age)[who])
        if target.from_previous:
            previous = walk.previous[who]
            after = steps(np.maximum(previous, 1), target.from_previous)
            own = np.where(previous >= 0, np.maximum(own, after), own)
        for span, place, least in (
            (target.from_first, walk.first, 1),
            (target.from_second, walk.second, 2),
        ):
            if span and n >= least:
                own = np.maximum(own, steps(block.high[place[who], who], span))
        if target.before_age:
            own = np.where(own >= age(target.before_age)[who], LATE, own)
        day[at] = own
    return day


def _recommended(
    way: Way, walk: _Walk, block: Block, age: Any, some: Ints, first: Days, as_of: int
) -> tuple[Days, Days]:
    number = walk.counted[some]
    begun = block.high[walk.first[some], some] if len(block.high) else first
    start = np.where(number > 0, begun, np.int32(as_of))
    day, goal = first.copy(), first.copy()
    for dose, rows in way.recommended.items():
        for row in rows:
            at = number == dose - 1
            if row.first_from:
                at &= start >= age(row.first_from)[some]
            if row.first_before:
                at &= start < age(row.first_before)[some]
            if not at.any():
                continue
            if row.not_before:
                day[at] = np.maximum(day, age(row.not_before)[some])[at]
            if row.age:
                goal[at] = np.maximum(goal, age(row.age)[some])[at]
            if row.from_first:
                goal[at] = np.maximum(goal[at], steps(start[at], row.from_first))
    return day, np.maximum(day, goal)
