"""What compiling yields: one dense array for each question, all over one set of axes.

A grid's axes are the facts that its outcome can depend on, directly, through feeding tables, or through
a declared impossibility. The array holds, for each combination of classes, which rule fires (UNIQUE) or
which rules apply (COLLECT, a bit a rule). Mixed radix turns a situation into a flat index; one decision
is then one lookup, and what is still possible is one slice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..model import Rule, Table

Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

IMPOSSIBLE, GAP, FED_BY_GAP = -1, -2, -3
"""Codes of cells where no rule fires: cannot be; no rule; a feeding table has no rule."""


@dataclass(frozen=True, slots=True)
class Grid:
    """One compiled question.

    `axes` are column ids in protocol-wide order; `classes[a][cell]` is the class of an elementary
    cell of axis `a` (-1 where the cell cannot occur); `members[a][k]` are the cells of class k.
    `codes` has one dimension an axis. `clash` marks where two rules of a UNIQUE table fire.
    """

    table: Table
    rules: tuple[Rule, ...]
    axes: tuple[str, ...]
    classes: tuple[tuple[int, ...], ...]
    members: tuple[tuple[tuple[int, ...], ...], ...]
    codes: Codes
    clash: Mask | None

    @property
    def unique(self) -> bool:
        return self.table.hit_policy == "UNIQUE"
