"""`facts` for a block of people at once: doses in order, titres, second series, markers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thimble.clinical.serology import Analyte

from .calendar_days import steps
from .deciding import BEST, LATEST, LOW
from .infection import (
    LEVELS,
    MARKERS,
    OPEN,
    STATES,
    TEN,
    days_of_antigen,
    days_together,
    infection,
)
from .judging_many import LATE, Block, JudgedMany, judge_many
from .schedule import Schedule, products

Ints = NDArray[Any]
Places = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Bools = NDArray[np.bool_]


PRODUCTS = tuple(sorted(cvx for cvx, product in products().items() if product.vaccine))
"""What `said` of a dose counts through, in the order in which one person's doses are sorted."""
FAR = 1 << 62
NEVER = 0
"""Stands for no date; ordinals begin at 1."""


def _segments(person: Places) -> tuple[Places, Places]:
    """Where each person's run of a sorted array begins, and who has one."""
    if not len(person):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    starts = np.flatnonzero(np.concatenate(([True], person[1:] != person[:-1])))
    return starts, person[starts]


def in_order(who: Places, said: Bytes, low: Ints, high: Ints, born: Ints) -> tuple[Block, Bools]:
    """Everybody's doses in order of time, and who has two of one date."""
    key = _key(who, low, high, 5) | said
    key.sort()
    who, low, high = _parts(key, 5)
    people = len(born)
    count = np.bincount(who, minlength=people)
    place = np.arange(len(key)) - (np.cumsum(count) - count)[who]
    shape = (int(count.max(initial=0)), people)
    lows, highs = np.zeros(shape, np.int32), np.zeros(shape, np.int32)
    product = np.full(shape, len(PRODUCTS), np.uint8)
    lows[place, who], highs[place, who], product[place, who] = low, high, key & 31
    apart = np.zeros(people, np.bool_)
    alike = (key[1:] >> 5) == (key[:-1] >> 5)
    apart[who[1:][alike]] = True
    return Block(lows, highs, product, count, born), apart


@dataclass(frozen=True, slots=True)
class TitresMany:
    """By person: the facts, and the days that they rest on (NEVER for none)."""

    best: Bytes
    latest: Bytes
    low_titre: Bytes
    dose_since_latest: Bools
    dose_since_ten: Bools
    latest_high: Ints
    low_day: Ints
    low_high: Ints
    panel: Bytes


_BEST = np.array([BEST.index("open" if x in OPEN else x if x in BEST else "none") for x in LEVELS])
_LATEST = np.array(
    [
        LATEST.index(
            "open" if x in OPEN else "ten_or_more" if x in TEN else x if x in LATEST else "none"
        )
        for x in LEVELS
    ]
)
_TEN = np.array([x in TEN for x in LEVELS])
_BELOW = LEVELS.index("below_10")


def titre_facts(
    who: Places, level: Bytes, low: Ints, high: Ints, block: Block, judged: JudgedMany,
    plan: Schedule, people: int,
) -> TitresMany:  # fmt: skip
    best, latest, panel = (np.zeros(people, np.uint8) for _ in range(3))
    low_titre = np.zeros(people, np.uint8)
    latest_low, latest_high, low_day, low_high, ten = (np.zeros(people, np.int32) for _ in range(5))
    key = _key(who, high, low, 4) | (15 - level.astype(np.int64))
    key.sort()
    who, high, low = _parts(key, 4)
    level = (15 - (key & 15)).astype(np.uint8)
    starts, own = _segments(who)
    panel[own] = level[_ends(starts, len(who))]

    before = np.full(len(who), NEVER, np.int32)
    last_low = np.full(len(who), NEVER, np.int32)
    for k in range(len(block.low)):
        given = (k < block.count[who]) & (block.low[k, who] < high)
        np.maximum(before, block.high[k, who], out=before, where=given)
        np.maximum(last_low, block.low[k, who], out=last_low, where=given)
    place = np.maximum(judged.first[who], 0)
    counts = (judged.first[who] >= 0) & (level > 0)
    if len(block.low):
        counts &= block.low[place, who] < high
    counts &= steps(np.maximum(before, 1), plan.titre.counts_from.after) <= low
    who, high, low, level = who[counts], high[counts], low[counts], level[counts]
    last_low = last_low[counts]
    starts, own = _segments(who)
    if len(own):
        ends = _ends(starts, len(who))
        best[own] = _BEST[np.maximum.reduceat(level, starts)]
        latest[own] = _LATEST[level[ends]]
        latest_low[own], latest_high[own] = low[ends], high[ends]
        ten[own] = np.minimum.reduceat(np.where(_TEN[level], low, LATE), starts)
        order = low.astype(np.int64) << 20 | high
        least = np.minimum.reduceat(np.where(level == _BELOW, order, FAR), starts)
        has = least < FAR
        low_day[own[has]] = least[has] >> 20
        low_high[own[has]] = least[has] & _DAY
        # The dose before that titre; titres of one person and one pair of days share it.
        run = np.diff(np.append(starts, len(who)))
        at = np.flatnonzero((level == _BELOW) & (order == np.repeat(least, run)))
        window = steps(last_low[at], plan.titre.window_ends.after)
        low_titre[who[at]] = np.where(high[at] <= window, LOW.index("in_window"), LOW.index("late"))
    ten[ten == LATE] = NEVER
    since_latest, since_ten = (np.zeros(people, np.bool_) for _ in range(2))
    for k in range(len(block.low)):
        later = (k < block.count) & (k > judged.first)
        since_latest |= later & (latest_low > 0) & (block.low[k] >= latest_low)
        since_ten |= later & (ten > 0) & (block.low[k] >= ten)
    return TitresMany(
        best, latest, low_titre, since_latest, since_ten, latest_high, low_day, low_high, panel
    )


def second_many(
    block: Block, judged: JudgedMany, titres: TitresMany, today: int, plan: Schedule
) -> tuple[JudgedMany, Ints, Ints]:
    """The second series of everybody (empty where there is none), its doses that count, and all that do."""
    people = len(block.born)
    valid = judged.counts.sum(axis=0, dtype=np.int32)
    asked = np.zeros(people, np.int32)
    second = JudgedMany(
        np.zeros((0, 0), np.bool_),
        np.zeros(people, np.bool_),
        np.full(people, -1, np.int32),
        np.zeros(people, np.int32),
        np.zeros(people, np.int32),
        np.zeros(people, np.int32),
    )
    some = np.flatnonzero(
        (judged.first >= 0) & ((judged.first + 1 < block.count) | (titres.low_day > 0))
    )
    if not len(some):
        return second, asked, valid
    end = block.high[judged.first[some], some]
    whole = _suffix(block, some, judged.first[some] + 1, end + 1)
    found = judge_many(whole[0], PRODUCTS, today, plan)
    _keep(second, asked, valid, judged, some, found, whole[1], found.complete)
    # Where the second series is whole already, every dose since the low titre counts towards it.
    since = np.arange(len(whole[0].low))[:, None] < whole[0].count
    since &= whole[0].low >= titres.low_day[some]
    asked[some] = np.where(found.complete, since.sum(axis=0), asked[some])
    low = np.flatnonzero((titres.low_day[some] > 0) & ~found.complete)
    if len(low):
        who = some[low]
        rest, start = _suffix(
            block, who, judged.first[who] + 1, np.maximum(end[low] + 1, titres.low_day[who])
        )
        found = judge_many(rest, PRODUCTS, today, plan)
        _keep(second, asked, valid, judged, who, found, start, np.ones(len(who), np.bool_))
    return second, asked, valid


def _suffix(block: Block, some: Places, start: Ints, day: Ints) -> tuple[Block, Ints]:
    """The doses of `some` from a place on and not before a day, and the place where they begin."""
    places = len(block.low)
    count = block.count[some]
    begin = start.astype(np.int64)
    for k in range(places):
        begin += (k >= start) & (k < count) & (block.low[k, some] < day)
    left = (count - begin).clip(0)
    shape = int(left.max(initial=0))
    at = np.minimum(begin[None, :] + np.arange(shape)[:, None], max(places - 1, 0))
    inside = np.arange(shape)[:, None] < left
    product = np.where(inside, block.product[at, some], np.uint8(len(PRODUCTS)))
    return (
        Block(block.low[at, some], block.high[at, some], product, left, block.born[some]),
        begin,
    )


def _keep(
    second: JudgedMany, asked: Ints, valid: Ints, judged: JudgedMany, some: Places,
    found: JudgedMany, begin: Ints, where: Bools,
) -> None:  # fmt: skip
    """Take over a second series of those for whom it stands."""
    who = some[where]
    second.complete[who] = found.complete[where]
    second.earliest[who] = found.earliest[where]
    second.recommended[who] = found.recommended[where]
    asked[who] = found.counts[:, where].sum(axis=0)
    for k in range(len(found.counts)):
        at = np.minimum(begin[where] + k, len(judged.counts) - 1)
        valid[who] += found.counts[k, where] & ~judged.counts[at, who]


def infection_many(
    who: Places, which: Bytes, state: Bytes, low: Ints, high: Ints, block: Block, level: Bytes,
    end: Ints, people: int,
) -> tuple[Ints, Bools]:  # fmt: skip
    """The places of `infection` and `tested_since`."""
    positive, negative = STATES.index("positive"), STATES.index("negative")
    result = np.zeros(people, np.int64)
    since = np.zeros(people, np.bool_)
    if not len(who):
        return result, since
    visit = np.zeros(people, np.int32)
    np.maximum.at(visit, who, high)
    kept = np.zeros((len(MARKERS), people), np.uint8)
    days = np.zeros((2, people), np.int32)
    antigen_high = np.zeros(people, np.int32)
    for n, marker in enumerate(MARKERS):
        mine = which == n
        key = _key(who[mine], high[mine], low[mine], 4) | state[mine]
        key.sort()
        person, ends_on, begins_on = _parts(key, 4)
        starts, own = _segments(person)
        if not len(own):
            continue
        last = _ends(starts, len(person))
        place = (key[last] & 15).astype(np.uint8)
        # Samples of the same days that disagree settle nothing; sorted, the least stands first.
        odd = np.flatnonzero(((key[1:] ^ key[:-1]) < 16) & (key[1:] != key[:-1]))
        latest = np.zeros(people, np.int64)
        latest[own] = key[last] >> 4
        disagree = odd[(key[odd] >> 4) == latest[person[odd]]]
        doubtful = np.zeros(people, np.bool_)
        doubtful[person[disagree]] = True
        place[doubtful[own]] = STATES.index("indeterminate")
        stays = (place == positive) & (marker is not Analyte.ANTI_HBC_IGM)
        stays |= visit[own] - begins_on[last] <= days_together()
        kept[n, own] = np.where(stays, place, 0)
        if n < 2:
            days[n, own] = np.where(stays, begins_on[last], 0)
        if n == 0:
            antigen_high[own] = np.where(stays, ends_on[last], 0)
    is_positive = kept[0] == positive
    vaccine = np.zeros(people, np.bool_)
    some = np.flatnonzero(is_positive)
    vaccine[some] = _of_vaccine(block, some, days[0, some], antigen_high[some])
    before = np.flatnonzero((which == 0) & (state == positive) & ~is_positive[who])
    before = before[~_of_vaccine(block, who[before], low[before], high[before])]
    once = np.zeros(people, np.bool_)
    once[who[before]] = True
    parts = (kept[0], kept[1], kept[2], kept[3], level, vaccine, once)
    sizes = (4, 4, 4, 4, 16, 2, 2)
    panel = np.ravel_multi_index(tuple(p.astype(np.intp) for p in parts), sizes)
    kinds, place = np.unique(panel, return_inverse=True)
    told = []
    for kind in kinds.tolist():
        a, c, m, d, lv, v, o = (int(x) for x in np.unravel_index(kind, sizes))
        told.append(infection(a, c, m, d, lv, 0, vaccine=bool(v), once=bool(o)))
    both = (kept[0] >= negative) & (kept[1] >= negative)
    since = both & ((block.count == 0) | (np.minimum(days[0], days[1]) >= end))
    return np.array(told)[place], since


def _of_vaccine(block: Block, who: Places, low: Ints, high: Ints) -> Bools:
    """Whether antigen in samples of these people can come from a dose."""
    found = np.zeros(len(who), np.bool_)
    for k in range(len(block.low)):
        given = (k < block.count[who]) & (block.low[k, who] <= high)
        found |= given & (low - block.high[k, who] <= days_of_antigen())
    return found


_DAY = (1 << 20) - 1
"""An ordinal fits twenty bits up to the year 2871."""


def _key(who: Places, one: Ints, other: Ints, bits: int) -> Places:
    """Person and two days in one number that sorts by them; `bits` are left free below."""
    key = who.astype(np.int64) << (40 + bits)
    key |= one.astype(np.int64) << (20 + bits)
    key |= other.astype(np.int64) << bits
    return key


def _parts(key: Places, bits: int) -> tuple[Places, Ints, Ints]:
    """The person and the two days of a key."""
    one, other = (key >> (20 + bits)) & _DAY, (key >> bits) & _DAY
    return key >> (40 + bits), one.astype(np.int32), other.astype(np.int32)


def _ends(starts: Places, length: int) -> Places:
    return np.append(starts[1:], length) - 1 if len(starts) else starts
