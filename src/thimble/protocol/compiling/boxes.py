"""Rows as boxes of bitmasks: a table whose grid would not fit, judged without laying it out.

A rule accepts, on each axis, some of the axis' classes: a bitmask. The rule is then a box, the product
of its masks. Boxes meet where their masks meet on every axis; a box has as many situations as the
product of its masks' bits; a box less another box is a handful of disjoint boxes. So the exact answers
that a grid gives by enumeration follow from integers, however many situations there are.

Only a table that asks nothing but facts, untouched by declared impossibilities, is a set of boxes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import prod

from ..model import Rule, Table

Box = tuple[int, ...]
"""One bitmask an axis, a bit a class."""


@dataclass(frozen=True, slots=True)
class Boxes:
    """One compiled question, as `index.Grid` but with `boxes[n]` for rule n in place of the codes."""

    table: Table
    rules: tuple[Rule, ...]
    axes: tuple[str, ...]
    classes: tuple[tuple[int, ...], ...]
    members: tuple[tuple[tuple[int, ...], ...], ...]
    boxes: tuple[Box, ...]

    @property
    def unique(self) -> bool:
        return self.table.hit_policy == "UNIQUE"

    @property
    def whole(self) -> Box:
        """The box of every situation."""
        return tuple((1 << len(members)) - 1 for members in self.members)

    def firsts(self) -> list[tuple[int, Box]]:
        """Disjoint (rule, box) pieces: where each rule is the first to fire, as a grid has it."""
        found: list[tuple[int, Box]] = []
        for number, box in enumerate(self.boxes):
            found += [(number, piece) for piece in without(box, self.boxes[:number])]
        return found

    def gaps(self) -> list[Box]:
        """Disjoint boxes of the situations that no rule covers; counted first, split only if any."""
        firsts = self.firsts()
        if sum(volume(piece) for _, piece in firsts) == volume(self.whole):
            return []
        return without(self.whole, self.boxes)


def meet(first: Box, second: Box) -> Box | None:
    """What two boxes share, or None."""
    shared = tuple(a & b for a, b in zip(first, second, strict=True))
    return shared if all(shared) else None


def volume(box: Box) -> int:
    """How many situations a box holds."""
    return prod(mask.bit_count() for mask in box)


def without(box: Box, others: Iterable[Box]) -> list[Box]:
    """Disjoint boxes that hold exactly the situations of `box` that no other holds."""
    left = [box] if all(box) else []
    for other in others:
        left = [piece for part in left for piece in _less(part, other)]
    return left


def _less(box: Box, other: Box) -> Iterator[Box]:
    """`box` less `other`: one slice an axis, each narrowed to `other` on the axes before it."""
    if meet(box, other) is None:
        yield box
        return
    rest = list(box)
    for at, mask in enumerate(other):
        outside = rest[at] & ~mask
        if outside:
            yield (*rest[:at], outside, *rest[at + 1 :])
            rest[at] &= mask


def that_differ(first: Sequence[Box], second: Sequence[Box], axes: Sequence[int]) -> set[int]:
    """The groups of axes along which a step leads from one set of boxes into the other.

    `axes[a]` is the group of axis a (the members of one set fact move together). The sets of boxes
    share no situation.
    """
    found: set[int] = set()
    everything = set(axes)
    for a in first:
        for b in second:
            apart = {axes[at] for at, (m, n) in enumerate(zip(a, b, strict=True)) if not m & n}
            if len(apart) == 1:
                found |= apart
                if found == everything:
                    return found
    return found


def fewest_outside(boxes: Sequence[Box], whole: Box) -> list[tuple[int, int]] | None:
    """(axis, class) pairs, as few as can be, that leave every box; None if the boxes cover all.

    Deepens step by step: some box is not yet left, so one of its axes must be set outside it.
    """
    living = [box for box in boxes if all(box)]
    for depth in range(len(whole) + 1):
        found = _outside(living, whole, {}, depth)
        if found is not None:
            return sorted(found.items())
    return None


def _outside(
    boxes: Sequence[Box], whole: Box, chosen: dict[int, int], depth: int
) -> dict[int, int] | None:
    staying = [box for box in boxes if all(box[at] >> k & 1 for at, k in chosen.items())]
    if not staying:
        return chosen
    if depth == 0:
        return None
    box = min(staying, key=lambda b: sum(m != w for m, w in zip(b, whole, strict=True)))
    for at, mask in enumerate(box):
        if at in chosen:
            continue
        for k in bits(whole[at] & ~mask):
            found = _outside(staying, whole, {**chosen, at: k}, depth - 1)
            if found is not None:
                return found
    return None


def fewest_inside(box: Box, whole: Box) -> list[tuple[int, int]]:
    """(axis, class) pairs, as few as can be, that lead into the box."""
    return [
        (at, next(bits(mask)))
        for at, (mask, every) in enumerate(zip(box, whole, strict=True))
        if mask != every
    ]


def bits(mask: int) -> Iterator[int]:
    """The places of the set bits, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low
