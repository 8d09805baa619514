"""The smallest situation that shows a fault: found in a grid, and told in the words of the facts."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from ..compiling.boxes import Boxes
from ..compiling.grids import Grid, Mask
from ..protocol import Protocol

Kept = list[tuple[int, int]]
"""(axis, class) pairs: the facts of a situation that are set."""


def fewest(shows: Mask, cannot_be: Mask) -> Kept:
    """(axis, class) pairs, as few as can be, whose every possible completion shows the fault.

    Raises:
        ValueError: nothing shows it.
    """
    dimensions = shows.ndim
    always = shows | cannot_be
    for size in range(dimensions + 1):
        for kept in combinations(range(dimensions), size):
            rest = tuple(at for at in range(dimensions) if at not in kept)
            sure = np.asarray(always.all(axis=rest) & shows.any(axis=rest))
            if sure.any():
                place = np.argwhere(sure)[0].tolist() if kept else []
                return list(zip(kept, place, strict=True))
    raise ValueError("nothing shows the fault")


def told(protocol: Protocol, question: Grid | Boxes, keep: Kept) -> str:
    """A situation in words: `sky = storm and wind >= 10 m/s`."""
    words = [say(protocol, question, at, k) for at, k in keep]
    return " and ".join(words) if words else "every situation"


def say(protocol: Protocol, question: Grid | Boxes, at: int, k: int) -> str:
    """One fact of a situation in words."""
    axis = protocol.index.axes[question.axes[at]]
    members = question.members[at][k]
    if axis.fact.kind != "number":
        # One value is a smaller witness than the list of all that behave alike.
        return f"{axis.id} = {axis.cells[members[0]]}"
    words = axis.words(members)
    if words[0] in "<>":
        return f"{axis.id} {words}"
    return f"{axis.id} {'in' if words[0] in '[(' else '='} {words}"
