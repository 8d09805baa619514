"""The doses of a block of people as rows: each person's together, in order of time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .calendar_days import Days
from .schedule import products

Ints = NDArray[Any]
Places = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Bools = NDArray[np.bool_]

PRODUCTS = tuple(sorted(cvx for cvx, product in products().items() if product.vaccine))
"""What `product` counts through."""
_DAY_BITS, _SAID_BITS = 20, 5
_DAY = (1 << _DAY_BITS) - 1
"""An ordinal fits twenty bits up to the year 2871."""
_PERSON = 2 * _DAY_BITS + _SAID_BITS
SAID = 1 << _SAID_BITS
"""Keys that differ by less are of one person and the same days."""


@dataclass(frozen=True, slots=True)
class Doses:
    """Doses of n people in m rows, and one row more that is nobody's.

    Args:
        low, high: shape (m + 1,), the first and last day that a dose can have been.
        reach: shape (m + 1,), the latest day that it or a dose before it can have been.
        product: shape (m + 1,), places in PRODUCTS.
        mark: shape (m + 1,), how a dose stands to those after it (see `alike`).
        begin, count: shape (n,); person i has `count[i]` rows from `begin[i]` on.
        born: shape (n,).
    """

    low: Days
    high: Days
    reach: Days
    product: Bytes
    mark: Ints
    begin: Places
    count: Ints
    born: Days

    def at(self, column: Ints, place: Ints | int) -> Ints:
        """The value of a column at a place of each person; anything where there is no such place."""
        return column.take(self.begin + place, mode="clip")

    def only(self, some: Places) -> Doses:
        """Some of the people."""
        return replace(
            self,
            begin=self.begin.take(some),
            count=self.count.take(some),
            born=self.born.take(some),
        )

    def up_to(self, most: int) -> Doses:
        """The first doses of everybody."""
        return replace(self, count=np.minimum(self.count, most))

    def after(self, places: Ints, day: Ints) -> Doses:
        """The doses after the first `places` of each person, on or after a day."""
        begin, count = self.begin + places, self.count - places
        early = np.flatnonzero(count)
        while len(early := early[self.low.take(begin[early]) < day[early]]):
            begin[early] += 1
            count[early] -= 1
            early = early[count[early] > 0]
        return replace(self, begin=begin, count=count)


def key_of(who: Places, one: Ints, other: Ints, said: Ints) -> Places:
    """A person, one of up to 2**18, two days and a small number in one number that sorts by them."""
    key = who.astype(np.int64) << (2 * _DAY_BITS)
    key |= one.astype(np.int64) << _DAY_BITS
    key |= other
    key <<= _SAID_BITS
    key |= said
    return key


def put_in_order(key: Places, each: int = 1) -> None:
    """Sort keys of people who stand in order, where `each` numbers are one person's.

    Only the rows of those move whose rows are not in order: most are recorded as they happened.
    """
    wrong = np.flatnonzero(key[1:] < key[:-1])
    if len(wrong):
        who = (key >> _PERSON) // each
        astray = np.zeros(int(who[-1]) + 1, np.bool_)
        astray[who.take(wrong)] = True
        rows = np.flatnonzero(astray.take(who))
        key[rows] = np.sort(key.take(rows))


def parts(key: Places) -> tuple[Places, Days, Days, Ints]:
    """The person, the two days and the small number of keys."""
    days = key >> _SAID_BITS
    return (
        key >> _PERSON,
        ((days >> _DAY_BITS) & _DAY).astype(np.int32),
        (days & _DAY).astype(np.int32),
        key & (SAID - 1),
    )


def doses_of(
    who: Places, product: Bytes, low: Days, high: Days, count: Ints, born: Days
) -> tuple[Doses, Places]:
    """Everybody's doses in order, unmarked, and who has two of one date.

    Args:
        who: shape (m,), ascending; the others of that shape follow it in any order within a person.
        count: shape (n,), how many rows each has.
    """
    twice = np.zeros(0, np.int64)
    same, gap = who[1:] == who[:-1], low[1:] - low[:-1]
    if (same & ((gap < 0) | (gap == 0) & (high[1:] <= high[:-1]))).any():
        key = key_of(who, low, high, product)
        put_in_order(key)
        twice = who.take(np.flatnonzero((key[1:] >> _SAID_BITS) == (key[:-1] >> _SAID_BITS)))
        _, low, high, said = parts(key)
        product = said.astype(np.uint8)
    low, high = np.append(low, np.int32(0)), np.append(high, np.int32(0))
    product = np.append(product, np.uint8(0))
    begin = np.cumsum(count, dtype=np.int64)
    begin -= count
    reach = high
    while len(lags := np.flatnonzero((reach[1:-1] < reach[:-2]) & same)):
        reach = reach.copy() if reach is high else reach
        reach[lags + 1] = reach[lags]
    mark = np.zeros(len(low), np.int32)
    return Doses(low, high, reach, product, mark, begin, count, born), twice
