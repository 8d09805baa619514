"""All questions asked at once: one sum for the offsets, one gather for the answers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..compiling.boxes import Boxes
from ..compiling.grids import Grid
from ..compiling.index import Index
from ..compiling.space import Axis
from ..model import Manifest
from .in_boxes import BoxAnswering
from .in_grids import GridAnswering
from .question import Answer, Answering


def answering(question: Grid | Boxes, index: Index, manifest: Manifest) -> Answering:
    """The lookups for one compiled question."""
    if isinstance(question, Boxes):
        return BoxAnswering(question, index, manifest)
    return GridAnswering(question, index, manifest)


class Lookup:
    """Every grid's answer to one situation: one sum for the offsets, one gather for the answers."""

    def __init__(self, questions: Sequence[Answering], axes: Sequence[Axis]) -> None:
        cells = max((len(axis.cells) for axis in axes), default=0)
        self._offsets = np.zeros((len(axes) + 1, cells + 1, len(questions)), np.int64)
        self._rows = np.arange(len(axes) + 1)
        self._answers: list[Answer | None] = [None, Answer("")]
        self._bases = np.zeros(len(questions), np.int64)
        numbers: list[NDArray[np.int32]] = []
        size = 0
        for number, question in enumerate(questions):
            if not isinstance(question, GridAnswering):
                self._offsets[-1, :, number] = -1  # boxes have no offset: always asked themselves
                continue
            for position, offsets, unknown in question.path:
                self._offsets[position, : len(offsets), number] = offsets
                self._offsets[position, -1, number] = unknown
            self._bases[number] = size
            numbers.append(question.numbered(self._answers))
            size += numbers[-1].size
        self._numbers = np.concatenate(numbers) if numbers else np.zeros(0, np.int32)

    def offsets(self, cells: list[int]) -> NDArray[np.int64]:
        """One offset a question: flat where all is known, else a negative number of its own.

        A fact that is not known takes away its axis' own power of two above every flat offset.
        """
        found: NDArray[np.int64] = self._offsets[self._rows, [*cells, 0]].sum(axis=0)
        return found

    def settled(self, offsets: NDArray[np.int64]) -> list[Answer] | None:
        """The answers that say something, in order; None where some question is not settled."""
        if not len(offsets) or int(offsets.min()) < 0:
            return None
        numbers = self._numbers[self._bases + offsets]
        if not numbers.all():
            return None
        answers = self._answers
        return [answers[n] for n in numbers[numbers > 1].tolist()]
