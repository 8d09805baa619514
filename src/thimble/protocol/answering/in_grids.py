"""A question kept as a grid: one lookup when all is known, one slice when not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..compiling.boxes import bits
from ..compiling.grids import IMPOSSIBLE, Codes, Grid
from ..compiling.index import Index
from ..model import Manifest
from .mattering import Field, that_matter
from .question import REMEMBERED, Answer, Answering, Open

MARK_BITS = 62
"""Marks in one signed 64-bit word, one bit left free for the sign and one for safety."""

UNKNOWN = -(1 << 36)
"""What an unknown first axis adds to an offset, far beyond the largest grid; the next axis twice that."""


class GridAnswering(Answering):
    """Lookups in a grid: a flat offset when all is known, a slice when not.

    Beside the code, each cell holds marks: a bit for each outcome of each decision, or two bits (applies,
    does not) for each item; none where the cell cannot be. Marks laid over each other along an axis
    then show at once which decisions and items that axis can change.
    """

    def __init__(self, grid: Grid, index: Index, manifest: Manifest) -> None:
        super().__init__(grid, index, manifest)
        self._by_offset: dict[int, Answer | None] = {}
        shape = [grid.codes.shape[at] for at in self.kept]
        self._codes: Codes = np.ascontiguousarray(grid.codes.reshape(shape))
        self._flat = memoryview(self._codes.reshape(-1))  # type: ignore[arg-type]
        strides = [int(np.prod(shape[at + 1 :], dtype=np.int64)) for at in range(len(shape))]
        self.path = [
            (position, [stride * k for k in classes], UNKNOWN << at)
            for at, (stride, (position, classes)) in enumerate(
                zip(strides, self._positions, strict=True)
            )
        ]
        self._seen, self._dense = _distinct(self._codes)
        self._fired = np.where(self._codes == IMPOSSIBLE, 0, self._codes)
        self._by_code = {c: self._settled(c) if c >= 0 else None for c in self._seen}
        self._some_cannot_be = IMPOSSIBLE in self._seen
        self._fields = self._marked()
        words = [[self._mark(code, field) for code in self._seen] for field in self._fields]
        self._marks = [np.array(word, np.int64)[self._dense] for word in words]

    def at(self, offset: int, cells: list[int]) -> Answer | None:
        if offset >= 0:
            return self._by_code[self._flat[offset]]
        if offset not in self._by_offset:
            if len(self._by_offset) >= REMEMBERED:
                self._by_offset.clear()
            self._by_offset[offset] = self._answer(self._key(cells))
        return self._by_offset[offset]

    def forget(self) -> None:
        self._by_offset.clear()

    def numbered(self, answers: list[Answer | None]) -> NDArray[np.int32]:
        """For each cell, the place of its answer in `answers`, which grows by this grid's own.

        Place 0 stands for no answer, place 1 for one that says nothing.
        """
        places = []
        for code in self._seen:
            answer = self._by_code[code]
            if answer is None or not (answer.findings or answer.items):
                places.append(0 if answer is None else 1)
            else:
                places.append(len(answers))
                answers.append(answer)
        return np.array(places, np.int32)[self._dense.reshape(-1)]

    # -- marks --------------------------------------------------------------------------------

    def _marked(self) -> list[list[Field]]:
        """(number, first bit, bits) of each decision or item, in words of 62 bits at most."""
        if self.unique:
            widths = [len(values) for _, values, _ in self._decisions]
        else:
            widths = [2] * len(self._items)
        fields: list[list[Field]] = [[]]
        used = 0
        for number, width in enumerate(widths):
            if used + width > MARK_BITS:
                fields.append([])
                used = 0
            fields[-1].append((number, used, width))
            used += width
        return fields

    def _mark(self, code: int, field: list[Field]) -> int:
        if code < 0:
            return 0
        if self.unique:
            return sum(1 << first + self._decisions[n][2][code] for n, first, _ in field)
        return sum(1 << first + int(code & self._items[n][1] == 0) for n, first, _ in field)

    # -- something missing --------------------------------------------------------------------

    def _open(self, key: tuple[int, ...]) -> Open | None:
        part = tuple(slice(None) if k < 0 else k for k in key)
        rules = self._rules_in(part)
        if rules is None:
            return None
        certain: set[int] = set()
        matter: dict[int, tuple[str, ...]] = {}
        missing = self._missing(key)
        for field, marks in zip(self._fields, self._marks, strict=True):
            here = marks[part]
            every = int(np.bitwise_or.reduce(here, axis=None))
            wanted = []
            for number, first, width in field:
                own = every >> first & (1 << width) - 1
                if own & (own - 1):
                    wanted.append((number, first, width))
                elif own == 1:
                    certain.add(number)
            if wanted:
                matter.update(that_matter(wanted, here, missing, gaps=self._some_cannot_be))
        return Open(rules, frozenset() if self.unique else frozenset(certain), matter)

    def _rules_in(self, part: tuple[int | slice, ...]) -> tuple[int, ...] | None:
        """The rules that some completion fires; None where one has no rule, or there is none."""
        if not self.unique:
            ever = int(np.bitwise_or.reduce(self._fired[part], axis=None))
            if ever < 0 or (self._some_cannot_be and ever == 0 and self._nothing_can_be(part)):
                return None
            return tuple(bits(ever))
        there = np.bincount(self._dense[part].reshape(-1), minlength=len(self._seen)).tolist()
        codes = [c for c, n in zip(self._seen, there, strict=True) if n and c != IMPOSSIBLE]
        return tuple(codes) if codes and codes[0] >= 0 else None

    def _nothing_can_be(self, part: tuple[int | slice, ...]) -> bool:
        return bool((self._codes[part] == IMPOSSIBLE).all())


def _distinct(codes: Codes) -> tuple[list[int], Codes]:
    """The codes that occur, ascending, and for each cell the place of its code among them."""
    lowest, highest = int(codes.min()), int(codes.max())
    if highest - lowest >= 1 << 16:
        seen, dense = np.unique(codes, return_inverse=True)
        return seen.tolist(), dense.reshape(codes.shape)
    shifted = codes - lowest  # counting is quicker than sorting where the codes lie close together
    occurs = np.bincount(shifted.reshape(-1)) > 0
    places = np.cumsum(occurs) - 1
    return (np.flatnonzero(occurs) + lowest).tolist(), places[shifted]
