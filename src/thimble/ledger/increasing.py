"""A longest run of numbers that do not fall."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence


def longest_increasing(numbers: Sequence[int]) -> set[int]:
    """The places of a longest run of numbers that do not fall (patience sorting)."""
    tails: list[int] = []
    tail_places: list[int] = []
    before: list[int] = []
    for place, number in enumerate(numbers):
        # bisect_left on number + 1: equal numbers count as in order; repeats are told elsewhere.
        pile = bisect_left(tails, number + 1)
        before.append(tail_places[pile - 1] if pile else -1)
        if pile == len(tails):
            tails.append(number)
            tail_places.append(place)
        else:
            tails[pile], tail_places[pile] = number, place
    kept: set[int] = set()
    place = tail_places[-1] if tail_places else -1
    while place >= 0:
        kept.add(place)
        place = before[place]
    return kept
