"""Which missing facts can still change an open decision or item: along which axes its marks vary."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import combinations

import numpy as np

from ..compiling.grids import Codes

Field = tuple[int, int, int]
"""A decision or item by its number, with the first of its bits in a word of marks, and how many."""


def that_matter(
    wanted: list[Field], marks: Codes, missing: Mapping[str, tuple[int, ...]], *, gaps: bool
) -> dict[int, tuple[str, ...]]:
    """For each open decision or item, the facts along which it varies, all else the same.

    Declared impossibilities can leave no single step, only one of several facts together; then
    the fewest that move together matter. So the facts that matter, once known, always settle it.

    Args:
        marks: the marks of every completion, with the missing axes alone.
        missing: each missing fact with its axes in `marks`.
        gaps: whether some situation of the question cannot be.
    """
    found = {fact: _varying(wanted, marks, axes) for fact, axes in missing.items()}
    matter = {n: {fact for fact in missing if n in found[fact]} for n, _, _ in wanted}
    if gaps and not marks.all():
        by_rest: dict[tuple[str, ...], list[Field]] = {}
        for field in wanted:
            rest = tuple(fact for fact in missing if fact not in matter[field[0]])
            by_rest.setdefault(rest, []).append(field)
        for rest, fields in by_rest.items():
            for number, facts in _steps_together(rest, fields, marks, missing).items():
                matter[number] |= facts
    return {n: tuple(f for f in missing if f in facts) for n, facts in matter.items()}


def _varying(fields: list[Field], marks: Codes, axes: tuple[int, ...]) -> set[int]:
    """The decisions or items that have more than one outcome along these axes somewhere."""
    along = np.bitwise_or.reduce(marks, axis=axes)
    if fields[0][2] == 2:  # items: applies, and beside it does not
        both = int(np.bitwise_or.reduce(along & along >> 1, axis=None))
        return {n for n, first, _ in fields if both >> first & 1}
    found = set()
    for n, first, width in fields:
        own = along & ((1 << width) - 1 << first)
        if (own & (own - 1)).any():
            found.add(n)
    return found


def _steps_together(
    rest: tuple[str, ...],
    fields: list[Field],
    marks: Codes,
    missing: Mapping[str, tuple[int, ...]],
) -> dict[int, set[str]]:
    """For each field, the facts of the smallest sets of two or more that must move together."""

    def varying(facts: Iterable[str], among: list[Field]) -> set[int]:
        return _varying(among, marks, tuple(axis for fact in facts for axis in missing[fact]))

    open_still = varying(rest, fields) if len(rest) > 1 else set()
    sets: dict[int, list[set[str]]] = {n: [] for n in open_still}
    for size in range(2, len(rest) + 1 if open_still else 2):
        for facts in combinations(rest, size):
            among = [
                f for f in fields if f[0] in sets and not any(t <= set(facts) for t in sets[f[0]])
            ]
            for number in varying(facts, among) if among else ():
                sets[number].append(set(facts))
    return {n: set().union(*found) for n, found in sets.items()}
