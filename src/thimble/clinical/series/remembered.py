"""Answers that hang on a few small facts, asked for once and looked up for everybody."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from .doses_many import Ints

_NOT_ASKED = -1


def code_of(places: Sequence[Ints], sizes: Sequence[int]) -> Ints:
    """The places of several facts in one number each."""
    code = np.zeros(len(places[0]), np.int32)
    for place, size in zip(places, sizes, strict=True):
        code *= np.int32(size)
        code += place
    return code


def places_of(code: int, sizes: Sequence[int]) -> tuple[int, ...]:
    """The places that a number stands for."""
    return tuple(int(place) for place in np.unravel_index(code, tuple(sizes)))


class Remembered:
    """What `ask` says of the places that a number stands for; safe between threads, for it is pure."""

    def __init__(self, sizes: Sequence[int], ask: Callable[[tuple[int, ...]], int]) -> None:
        self._sizes, self._ask = sizes, ask
        self._answers = np.full(int(np.prod(sizes)), _NOT_ASKED, np.int16)

    def __call__(self, codes: Ints) -> Ints:
        """The answers, in the shape of `codes`."""
        found = self._answers.take(codes)
        new = codes[found == _NOT_ASKED]
        if len(new):
            for code in np.unique(new).tolist():
                self._answers[code] = self._ask(places_of(code, self._sizes))
            found = self._answers.take(codes)
        return found
