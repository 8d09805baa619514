"""`judge` for many people at once, of any shape: one row a dose's place, one column a person.

The rules are those of `walking` and `judging`, in the same order; a test holds the two against each other.
Two doses of one date in one person are not for this module: `cohort` answers those people one by one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from thimble.clinical.durations import Duration

from .calendar_days import Days, steps
from .doses_many import PRODUCTS, Bools, Bytes, Doses, Ints, Places
from .schedule import Schedule, Target, Way, products
from .standing import LATE, NONE, NOWHERE, Reached, Standing, after, earliest_day, ways
from .walking import Verdict

_NO_PRODUCT = len(PRODUCTS)
_COMPLETE = np.int32(1000)
"""A complete path goes before any other."""
Age = Callable[[Duration], Days]


@dataclass(frozen=True, slots=True)
class _Block:
    """`low`, `high`, `product` and `fit` of shape (places, people); the rest (people,)."""

    low: Days
    high: Days
    product: Bytes
    fit: Bytes
    count: Ints
    born: Days


@dataclass(slots=True)
class _Walk:
    """One path walked by everybody; places are NOWHERE, days NONE, where there is no such dose."""

    counts: Bools
    counted: Ints
    done: Ints
    begun: Ints
    second: Ints
    previous: Ints
    previous_day: Days


def judge_many(doses: Doses, plan: Schedule) -> Standing:
    """Where everybody stands."""
    people = len(doses.born)
    ages: dict[Duration, Days] = {}

    def age(by: Duration) -> Days:
        if by not in ages:
            ages[by] = steps(doses.born, by)
        return ages[by]

    block = _block(doses, plan, age)
    floor = _last(block.fit == Verdict.INADVERTENT, block.high)
    paths = ways(plan)
    walks = [_walk(way, block, age) for way in paths]
    score = np.full(people, -1, np.int32)
    path = np.zeros(people, np.int8)
    for place, (way, walk) in enumerate(zip(paths, walks, strict=True)):
        whole = walk.done >= 0
        possible = np.full(people, way.offered) | (walk.counted > 0)
        if any(target.before_age for target in way.targets):
            some = np.flatnonzero(possible & ~whole)
            possible[some] = _can_go_on(way, walk, doses, floor, some)
        own = np.where(whole, _COMPLETE + walk.counted, np.where(possible, walk.counted, -1))
        better = own > score
        score[better], path[better] = own[better], place
    return _standing(paths, walks, path, score, floor)


def _standing(
    paths: tuple[Way, ...], walks: list[_Walk], path: Ints, score: Ints, floor: Ints
) -> Standing:
    """What the walks come to once everybody's path is chosen."""
    complete = score >= _COMPLETE
    every = np.arange(len(path))

    def chosen(column: str) -> Ints:
        found: Ints = np.array([getattr(walk, column) for walk in walks])[path, every]
        return found

    number, end = chosen("counted"), chosen("done")
    first = np.array([np.where(walk.done < 0, LATE, walk.done) for walk in walks]).min(axis=0)
    counts = np.array([walk.counts for walk in walks])[path, :, every].T
    until = np.arange(len(counts))[:, None] <= end
    settled = complete.copy()
    for place, (way, walk) in enumerate(zip(paths, walks, strict=True)):
        if not way.own:
            counts |= walk.counts & until & complete
        # A path that is still open could be finished, and go before the one that stands.
        wins = np.where(place < path, len(way.targets) >= number, len(way.targets) > number)
        settled &= (walk.done >= 0) | ~wins
    bits = np.int32(1) << np.arange(len(counts), dtype=np.int32)
    return Standing(
        path,
        number,
        complete,
        np.where(first == LATE, NOWHERE, first).astype(np.int8),
        bits @ counts.astype(np.int32),
        chosen("begun"),
        chosen("second"),
        chosen("previous"),
        floor,
        settled,
        np.ones(len(path), np.bool_),
    )


def _block(doses: Doses, plan: Schedule, age: Age) -> _Block:
    places = range(int(doses.count.max(initial=0)))
    shape = (len(places), len(doses.born))
    low, high = np.zeros(shape, np.int32), np.zeros(shape, np.int32)
    product = np.full(shape, _NO_PRODUCT, np.uint8)
    for k in places:
        there = np.flatnonzero(doses.count > k)
        at = doses.begin[there] + k
        low[k, there], high[k, there], product[k, there] = (
            column.take(at) for column in (doses.low, doses.high, doses.product)
        )
    fit = _fit(low, high, product, plan.allowance, age)
    return _Block(low, high, product, fit, doses.count, doses.born)


def _fit(low: Days, high: Days, product: Bytes, allowance: int, age: Age) -> Bytes:
    fit = np.full(low.shape, Verdict.COUNTS, np.uint8)
    present = set(np.unique(product).tolist())
    for place, name in enumerate(PRODUCTS):
        limits = products()[name]
        if place not in present or not (limits.min_age or limits.before_age):
            continue
        k, who = np.nonzero(product == place)
        begins, ends = low[k, who], high[k, who]
        own = np.full(len(k), Verdict.COUNTS, np.uint8)
        if limits.before_age:
            limit = age(limits.before_age)[who]
            own[ends >= limit] = Verdict.OPEN
            own[begins >= limit] = Verdict.TOO_OLD
        if limits.min_age:
            start = age(limits.min_age)[who] - allowance
            own[begins < start] = Verdict.OPEN
            young = Verdict.INADVERTENT if limits.inadvertent else Verdict.TOO_YOUNG
            own[ends < start] = young
        fit[k, who] = own
    return fit


def _last(where: Bools, day: Days) -> Ints:
    """The place of the latest day among those, NOWHERE for none."""
    if not len(day):
        return np.full(day.shape[1], NOWHERE, np.int8)
    place = np.where(where, day, -1).argmax(axis=0)
    return np.where(where.any(axis=0), place, NOWHERE).astype(np.int8)


def _days(block: _Block, place: Ints, who: Places) -> Days:
    """The last day of the dose at a place of each of these people, NONE where there is none."""
    if not len(block.high):
        return np.full(len(who), NONE)
    return np.where(place < 0, NONE, block.high[np.maximum(place, 0), who])


def _walk(way: Way, block: _Block, age: Age) -> _Walk:
    places, people = block.low.shape
    nowhere = np.full(people, NOWHERE, np.int8)
    walk = _Walk(
        np.zeros((places, people), np.bool_),
        np.zeros(people, np.int8),
        nowhere,
        nowhere.copy(),
        nowhere.copy(),
        nowhere.copy(),
        np.full(people, NONE, np.int32),
    )
    own = way.products if way.own else None
    taken = np.array([own is None or name in own for name in PRODUCTS] + [False])
    if own is not None and not taken[block.product].any():
        return walk
    for k in range(places):
        there = (k < block.count) & taken[block.product[k]]
        mine = there & (walk.done < 0) & (block.fit[k] == Verdict.COUNTS)
        todo = np.flatnonzero(mine)
        number = walk.counted[todo]
        for n, target in enumerate(way.targets):
            some = todo[number == n]
            if not len(some):
                continue
            good = some[_meets(target, walk, block, k, some, age)]
            walk.counts[k, good] = True
            walk.counted[good] = n + 1
            if n == 0:
                walk.begun[good] = k
            if n == 1:
                walk.second[good] = k
            if n + 1 == len(way.targets):
                walk.done[good] = k
        there &= (block.fit[k] != Verdict.INADVERTENT) & (block.high[k] >= walk.previous_day)
        delays = np.flatnonzero(there)
        walk.previous[delays] = k
        walk.previous_day[delays] = block.high[k].take(delays)
    return walk


def _meets(target: Target, walk: _Walk, block: _Block, k: int, some: Places, age: Age) -> Bools:
    """Who of `some` has a dose at place k that counts as that target, whatever the days were."""
    low, high = block.low[k, some], block.high[k, some]
    most = np.full(len(some), NONE)
    if target.min_age:
        most = np.maximum(most, age(target.min_age)[some] - target.allowance)
    previous = walk.previous_day[some]
    if target.from_previous:
        since = after(previous, target.from_previous) - target.allowance
        most = np.maximum(most, np.maximum(since, previous + 1))
    for span, place in ((target.from_first, walk.begun), (target.from_second, walk.second)):
        if span:
            since = _days(block, place[some], some)
            most = np.maximum(most, after(since, span) - target.allowance)
    good: Bools = low >= most
    if target.before_age:
        good &= high < age(target.before_age)[some]
    if target.products is not None:
        allowed = np.array([name in target.products for name in PRODUCTS] + [False])
        good &= allowed[block.product[k, some]]
    if target.from_previous and k + 1 < len(block.low):
        following = np.where(k + 1 < block.count[some], block.low[k + 1, some], LATE)
        good &= ~((low < high) & (high >= following) & (previous >= 0))
    return good


def _can_go_on(way: Way, walk: _Walk, doses: Doses, floor: Ints, some: Places) -> Bools:
    """Who of `some` has a day left for the next dose of a path."""
    found = np.zeros(len(some), np.bool_)
    for n, target in enumerate(way.targets):
        at = np.flatnonzero(walk.counted[some] == n)
        reached = Reached(doses, some[at], walk.begun, walk.second, walk.previous, floor)
        found[at] = earliest_day(target, reached) < LATE
    return found
